//! Worths that rule out purchases, proposed by a linear program.
//!
//! If fillings could be taken in parts, what would have to be bought at least beside a purchase? The program has a row for
//! each length, whose pieces have to be in fillings, and one for each stick, of which no more can be filled than are
//! bought, now or in addition. Its duals are worths: of each piece, and of each stick, no more than its price; no filling
//! is worth more than its stick. Pieces worth more than the purchase's sticks rule it out.
//!
//! There are far too many fillings to list (Gilmore and Gomory 1961): the program begins with a few around each length,
//! and a knapsack finds the others when they are needed. What was found for one purchase is kept for the next: only the
//! right hand side changes, so the dual simplex method goes on from where the last one ended.

use super::Problem;
use super::filling::Filling;

/// Steps that the search for one filling takes at most.
const FILLING_STEPS: u64 = 1_000;
/// Steps that the search for one of the first fillings takes at most.
const FIRST_STEPS: u64 = 40;
/// Pivots per row that one program takes at most.
const MOST_PIVOTS: usize = 20;
/// What counts as nothing, relative to the price of the dearest stick.
const NOTHING: f64 = 1e-7;
/// How much less than none of a column still counts as none.
const SLACK: f64 = 1e-7;
/// Parts of a column that count as none.
const NONE: f64 = 1e-9;

/// What pieces and sticks are worth.
pub(super) struct Worths {
    /// By length.
    pub(super) pieces: Vec<f64>,
    /// By stick.
    pub(super) sticks: Vec<f64>,
}

/// A variable of the program.
struct Column {
    /// Its rows, from one place to before another.
    rows: (usize, usize),
    /// 1 for a filling, -1 for a piece too many or a stick more.
    sign: f64,
    cost: f64,
    is_basic: bool,
}

/// The linear program, solved by the revised simplex method.
pub(super) struct Program<'a> {
    problem: &'a Problem,
    size: usize,
    columns: Vec<Column>,
    /// The rows of all columns; that of several pieces is repeated.
    rows: Vec<u32>,
    /// The column of each row.
    basis: Vec<usize>,
    /// The inverse of the basis, column by column.
    inverse: Vec<f64>,
    /// How much of each basic column is taken.
    amounts: Vec<f64>,
    /// How many pieces are needed of each length, and how many sticks are bought.
    needed: Vec<f64>,
    nothing: f64,
}

impl<'a> Program<'a> {
    /// Begins with nothing bought, and sticks that are filled with one length each.
    pub(super) fn new(problem: &'a Problem) -> Program<'a> {
        let (lengths, sticks) = (problem.lengths.len(), problem.rooms.len());
        let size = lengths + sticks;
        let dearest = problem.costs.iter().copied().max().unwrap_or(0);
        let mut program = Program {
            problem,
            size,
            columns: Vec::new(),
            rows: Vec::new(),
            basis: (0..size).collect(),
            inverse: vec![0.0; size * size],
            amounts: vec![0.0; size],
            needed: vec![0.0; size],
            nothing: NOTHING * dearest.max(1) as f64,
        };
        for (place, (length, count)) in problem.lengths.iter().zip(&problem.counts).enumerate() {
            let held = |stick: usize| (problem.rooms[stick] / length).min(i64::from(*count));
            let each = |stick: &usize| problem.costs[*stick] as f64 / held(*stick) as f64;
            let fitting = (0..sticks).filter(|stick| problem.rooms[*stick] >= *length);
            let cheapest = fitting.min_by(|one, another| each(one).total_cmp(&each(another)));
            let stick = cheapest.unwrap_or(0);
            program.add_filling(stick, &vec![place; held(stick) as usize]);
            program.inverse[place * size + place] = 1.0 / held(stick) as f64;
            program.inverse[place * size + lengths + stick] = 1.0 / held(stick) as f64;
        }
        for (stick, cost) in problem.costs.iter().enumerate() {
            let row = lengths + stick;
            program.add([row as u32].into_iter(), -1.0, *cost as f64);
            program.inverse[row * size + row] = -1.0;
        }
        for column in &mut program.columns {
            column.is_basic = true;
        }
        for place in 0..lengths {
            program.add([place as u32].into_iter(), -1.0, 0.0);
        }
        for stick in 0..sticks {
            program.add_filling(stick, &[]);
        }
        // What leaves little is likely to be needed, whatever the worths are.
        let by_length: Vec<f64> = problem
            .lengths
            .iter()
            .map(|length| *length as f64)
            .collect();
        let mut filling = Filling::new(problem, &by_length);
        for (stick, room) in problem.rooms.iter().enumerate() {
            let fitting = (0..lengths).filter(|place| problem.lengths[*place] <= *room);
            for place in fitting {
                program.add_filling(stick, &filling.around(place, *room, FIRST_STEPS));
            }
        }
        program
    }

    fn add(&mut self, rows: impl Iterator<Item = u32>, sign: f64, cost: f64) {
        let from = self.rows.len();
        self.rows.extend(rows);
        self.columns.push(Column {
            rows: (from, self.rows.len()),
            sign,
            cost,
            is_basic: false,
        });
    }

    fn add_filling(&mut self, stick: usize, pieces: &[usize]) {
        let stick = self.problem.lengths.len() + stick;
        let rows = pieces.iter().chain([&stick]).map(|row| *row as u32);
        self.add(rows, 1.0, 0.0);
    }

    /// Returns worths that rule out that pieces are cut from sticks, or `None` if there seem to be none.
    pub(super) fn against(&mut self, pieces: &[u32], sticks: &[i64]) -> Option<Worths> {
        let pieces = pieces.iter().map(|count| f64::from(*count));
        let sticks = sticks.iter().map(|count| *count as f64);
        for (needed, count) in self.needed.iter_mut().zip(pieces.chain(sticks)) {
            *needed = count;
        }
        self.amounts.fill(0.0);
        for (column, needed) in self.inverse.chunks(self.size).zip(&self.needed) {
            for (amount, entry) in self.amounts.iter_mut().zip(column) {
                *amount += needed * entry;
            }
        }
        self.make_feasible();
        let duals = self.minimise();
        let (pieces, sticks) = duals.split_at(self.problem.lengths.len());
        (self.value() > self.nothing).then(|| Worths {
            pieces: pieces.iter().map(|worth| worth.max(0.0)).collect(),
            sticks: sticks.iter().map(|worth| (-worth).max(0.0)).collect(),
        })
    }

    /// Takes columns in for those of which less than nothing is taken: the dual simplex method.
    fn make_feasible(&mut self) {
        for _ in 0..MOST_PIVOTS * self.size {
            let Some(leaving) = self.furthest_below() else {
                return;
            };
            if self.problem.work.is_done() {
                return;
            }
            let duals = self.duals();
            let row: Vec<f64> = self
                .inverse
                .iter()
                .skip(leaving)
                .step_by(self.size)
                .copied()
                .collect();
            let mut best: Option<(f64, f64, usize)> = None;
            for (place, column) in self.columns.iter().enumerate() {
                if column.is_basic {
                    continue;
                }
                let step = -self.times(column, &row);
                if step <= NONE {
                    continue;
                }
                let ratio = self.reduced(column, &duals).max(0.0) / step;
                // Of equals the one that goes furthest: it is the most exact, and ends sooner.
                let is_better = |(least, longest, _)| {
                    ratio < least - NONE || ratio <= least + NONE && step > longest
                };
                if best.is_none_or(is_better) {
                    best = Some((ratio, step, place));
                }
            }
            let Some((_, _, entering)) = best else { return };
            let along = self.along(entering);
            self.pivot(entering, leaving, &along);
        }
    }

    /// Returns the row whose amount is below nothing, the furthest for the length of its row.
    fn furthest_below(&self) -> Option<usize> {
        let mut squares = vec![0.0; self.size];
        for column in self.inverse.chunks(self.size) {
            for (square, entry) in squares.iter_mut().zip(column) {
                *square += entry * entry;
            }
        }
        let each = self.amounts.iter().zip(&squares).enumerate();
        let below = each.filter(|(_, (amount, _))| **amount < -SLACK);
        let far = below.map(|(row, (amount, square))| (row, amount * amount / square));
        let furthest = far.max_by(|one, another| one.1.total_cmp(&another.1));
        furthest.map(|(row, _)| row)
    }

    /// Takes columns in as long as that costs less, and finds more of them; returns the duals.
    fn minimise(&mut self) -> Vec<f64> {
        for _ in 0..MOST_PIVOTS * self.size {
            let duals = self.duals();
            let Some(entering) = self.entering(&duals) else {
                return duals;
            };
            if self.problem.work.is_done() {
                return duals;
            }
            let along = self.along(entering);
            let steps = along.iter().zip(&self.amounts).enumerate();
            let leaving = steps
                .filter(|(_, (step, _))| **step > NONE)
                .map(|(row, (step, amount))| (row, amount.max(0.0) / step))
                .min_by(|one, another| one.1.total_cmp(&another.1));
            let Some((leaving, _)) = leaving else { break };
            self.pivot(entering, leaving, &along);
        }
        self.duals()
    }

    /// Returns the column that lowers the cost most: one that is known, or else a new one.
    fn entering(&mut self, duals: &[f64]) -> Option<usize> {
        let known = self.cheapest(0, duals);
        if known.is_some() || self.value() < self.nothing {
            return known;
        }
        let before = self.columns.len();
        let (pieces, sticks) = duals.split_at(self.problem.lengths.len());
        let mut filling = Filling::new(self.problem, pieces);
        let needed = self.needed.iter().zip(pieces);
        let mut lacking: f64 = needed.map(|(count, worth)| count * worth).sum();
        let mut is_bought = false;
        for (stick, worth) in sticks.iter().enumerate() {
            let (room, held) = (self.problem.rooms[stick], -worth + self.nothing);
            let add = &mut |pieces: &[usize]| self.add_filling(stick, pieces);
            let most = filling.improve(room, held, FILLING_STEPS, add);
            let bought = self.needed[pieces.len() + stick];
            lacking -= most * bought;
            is_bought |= bought > 0.0;
        }
        // Once the worths rule out the purchase, it doesn't matter by how much.
        match is_bought && lacking > self.nothing {
            true => None,
            false => self.cheapest(before, duals),
        }
    }

    /// Returns the column from one on that lowers the cost most.
    fn cheapest(&self, from: usize, duals: &[f64]) -> Option<usize> {
        let (mut best, mut least) = (None, -self.nothing);
        for (place, column) in self.columns[from..].iter().enumerate() {
            if column.is_basic {
                continue;
            }
            let cost = self.reduced(column, duals);
            if cost < least {
                (best, least) = (Some(from + place), cost);
            }
        }
        best
    }

    /// Returns what would have to be bought beside the purchase.
    fn value(&self) -> f64 {
        let each = self.basis.iter().zip(&self.amounts);
        each.map(|(column, amount)| self.columns[*column].cost * amount)
            .sum()
    }

    fn duals(&self) -> Vec<f64> {
        let costs = self.basis.iter().map(|column| self.columns[*column].cost);
        let costs: Vec<(usize, f64)> = costs.enumerate().filter(|(_, cost)| *cost != 0.0).collect();
        let columns = self.inverse.chunks(self.size);
        columns
            .map(|column| costs.iter().map(|(row, cost)| cost * column[*row]).sum())
            .collect()
    }

    /// Returns the product of a column and a row of numbers.
    fn times(&self, column: &Column, numbers: &[f64]) -> f64 {
        let rows = self.rows[column.rows.0..column.rows.1].iter();
        column.sign * rows.map(|row| numbers[*row as usize]).sum::<f64>()
    }

    /// Returns what a column costs more than it is worth.
    fn reduced(&self, column: &Column, duals: &[f64]) -> f64 {
        column.cost - self.times(column, duals)
    }

    /// Returns how much less is taken of each basic column for each part of another.
    fn along(&self, column: usize) -> Vec<f64> {
        let column = &self.columns[column];
        let mut along = vec![0.0; self.size];
        for row in &self.rows[column.rows.0..column.rows.1] {
            let entries = &self.inverse[*row as usize * self.size..][..self.size];
            for (step, entry) in along.iter_mut().zip(entries) {
                *step += column.sign * entry;
            }
        }
        along
    }

    /// Takes a column into the basis for that of a row.
    fn pivot(&mut self, entering: usize, leaving: usize, along: &[f64]) {
        let work = self.size * self.size / 8 + self.columns.len() / 2;
        self.problem.work.spend(work as u64);
        let pivot = along[leaving];
        for column in self.inverse.chunks_mut(self.size) {
            let part = column[leaving] / pivot;
            if part != 0.0 {
                for (entry, step) in column.iter_mut().zip(along) {
                    *entry -= step * part;
                }
                column[leaving] = part;
            }
        }
        let amount = self.amounts[leaving] / pivot;
        for (amounts, step) in self.amounts.iter_mut().zip(along) {
            *amounts -= step * amount;
        }
        self.amounts[leaving] = amount;
        self.columns[self.basis[leaving]].is_basic = false;
        self.columns[entering].is_basic = true;
        self.basis[leaving] = entering;
    }
}
