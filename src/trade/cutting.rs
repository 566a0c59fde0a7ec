//! Cutting: which pieces of trim are cut from which stock lengths, at the least price or from the fewest sticks.
//!
//! Pieces `p` fit a stick `L` with saw loss `k` between them if `Σ (p + k) ≤ L + k`. The plan is exact, in three steps:
//!
//! 1. **Worths.** Every piece gets a worth such that no stick can be filled with pieces worth more than it costs; then no
//!    plan costs less than all pieces are worth together. The best worths are the duals of the cutting-stock problem
//!    (Gilmore and Gomory 1961), found by adding fillings as long as one is worth more than its stick.
//! 2. **A first plan**: the longest piece first, into the first stick that has room.
//! 3. **The search.** A filled stick loses what it costs more than its pieces are worth, and a plan costs the worth of
//!    all pieces and what its sticks lose. So the longest piece left goes into every filling that loses no more than a
//!    better plan may, the least loss first (branch and bound). A filling that leaves room for one more piece is never
//!    needed: a piece can be moved into it. And what is left has to cost a sum of prices that sticks with room for it
//!    really have, which ends most branches before their last sticks.
//!
//! Floats only propose the worths. They are rounded to whole numbers and lowered until no filling is worth more than its
//! stick, which is checked exactly, so what is claimed to be the best doesn't rest on them. A search that would take too
//! long is cut short, and its plan says so.

#![allow(
    clippy::float_arithmetic,
    reason = "floats propose worths; what follows from them is checked in whole numbers"
)]

use std::collections::HashMap;
use std::ops::Add;

use thiserror::Error;

use crate::money::Money;
use crate::trade::cover::greatest_common_divisor;

/// Most pieces that are cut together.
pub const MOST_PIECES: usize = 200;
/// Steps that a search takes at most to find the best plan and to prove it.
const MOST_STEPS: u64 = 700_000;
/// Steps that it takes at most before, to find a good one.
const DIVE_STEPS: u64 = 10_000;
/// Fillings that it tries at each stick then.
const DIVE_WIDTH: usize = 6;
/// Costs that are looked through for the next lower one at most.
const MOST_COSTS: i64 = 1 << 20;
/// Worths are counted in so small parts of a minor unit at most.
const FINEST_PARTS: i64 = 1 << 20;
/// What all pieces together are worth stays below this, in parts.
const MOST_WORTH: i64 = 1 << 60;
/// Steps that the search for one filling takes at most, when it only proposes.
const MOST_PROPOSING: u64 = 20_000;
/// Steps that the exact check of a stick's filling takes at most; beyond it the worths are lowered more than they must.
const MOST_CHECKING: u64 = 1_000_000;
/// What a worth may be off and still be right, relative to the price of a stick.
const EXACT: f64 = 1e-9;

/// What a cutting list is to be best at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Aim {
    /// The lowest price.
    Cheapest,
    /// The fewest sticks, and of those plans the cheapest.
    Fewest,
}

/// A stock length. Lengths are whole numbers of any one unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stick {
    /// Its length.
    pub length: i64,
    /// Its price.
    pub price: Money,
}

/// One stick and what is cut from it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CutStick {
    /// The stock length.
    pub stick: Stick,
    /// The pieces, longest first.
    pub pieces: Vec<i64>,
    /// What is left after the last cut.
    pub left: i64,
}

/// Every stick with its pieces.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CuttingList {
    /// The sticks.
    pub sticks: Vec<CutStick>,
    /// What they cost.
    pub total: Money,
    /// Whether no other plan can be better.
    pub proven: bool,
}

/// Why pieces can't be cut.
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum CutError {
    /// The item has no stock length.
    #[error("there is no stock length")]
    NoStick,
    /// A piece that no stock length gives.
    #[error("no stock length gives a piece of {0}")]
    TooLong(i64),
}

/// Plans which pieces are cut from which stock lengths.
///
/// Pieces, sticks and saw loss are in one unit; all lengths are above zero, the saw loss is not below.
///
/// # Errors
/// Refuses an item without stock lengths, and a piece that none of them gives.
pub fn cut(
    pieces: &[i64],
    sticks: &[Stick],
    saw_loss: i64,
    aim: Aim,
) -> Result<CuttingList, CutError> {
    let longest = sticks.iter().map(|stick| stick.length).max();
    let longest = longest.ok_or(CutError::NoStick)?;
    if let Some(piece) = pieces.iter().find(|piece| **piece > longest) {
        return Err(CutError::TooLong(*piece));
    }
    let problem = Problem::new(pieces, sticks, saw_loss, aim);
    let worths = problem.worths();
    let mut search = Search::new(&problem, &worths);
    let proven = search.run();
    Ok(problem.list(search.best, proven))
}

/// How many pieces of each length.
type Counts = Vec<u32>;

/// What is to be cut. Lengths hold a saw loss each, and so do sticks: then everything fits that adds up. All are counted
/// in the largest unit that divides them.
struct Problem {
    unit: i64,
    /// Parts of a minor unit that worths are counted in.
    parts: i64,
    sticks: Vec<Stick>,
    /// What can be taken up by pieces of each stick.
    rooms: Vec<i64>,
    /// What a stick costs by the aim.
    costs: Vec<i64>,
    /// Distinct lengths, longest first.
    lengths: Vec<i64>,
    counts: Counts,
    saw_loss: i64,
}

impl Problem {
    fn new(pieces: &[i64], offered: &[Stick], saw_loss: i64, aim: Aim) -> Problem {
        let mut offered = offered.to_vec();
        offered.sort_by_key(|stick| (std::cmp::Reverse(stick.length), stick.price));
        // Of two sticks the longer one that costs no more is always as good.
        let mut sticks: Vec<Stick> = Vec::new();
        for stick in offered {
            if sticks.iter().all(|longer| longer.price > stick.price) {
                sticks.push(stick);
            }
        }
        let mut sorted = pieces.to_vec();
        sorted.sort_unstable_by_key(|piece| std::cmp::Reverse(*piece));
        let with_saw = sticks
            .iter()
            .map(|stick| stick.length)
            .chain(sorted.iter().copied());
        let unit = with_saw
            .map(|length| length + saw_loss)
            .fold(0, greatest_common_divisor)
            .max(1);
        let (mut lengths, mut counts) = (Vec::new(), Counts::new());
        for piece in sorted {
            let length = (piece + saw_loss) / unit;
            match (lengths.last(), counts.last_mut()) {
                (Some(last), Some(count)) if *last == length => *count += 1,
                _ => {
                    lengths.push(length);
                    counts.push(1);
                }
            }
        }
        // One stick counts for more than any difference in price.
        let dearest = sticks
            .iter()
            .map(|stick| stick.price.minor())
            .max()
            .unwrap_or(0);
        let one_stick = match aim {
            Aim::Cheapest => 0,
            Aim::Fewest => (dearest + 1) * (pieces.len() as i64 + 1),
        };
        Problem {
            unit,
            parts: (MOST_WORTH / ((one_stick + dearest + 1) * (pieces.len() as i64 + 1)))
                .clamp(1, FINEST_PARTS),
            rooms: sticks
                .iter()
                .map(|stick| (stick.length + saw_loss) / unit)
                .collect(),
            costs: sticks
                .iter()
                .map(|stick| one_stick + stick.price.minor())
                .collect(),
            sticks,
            lengths,
            counts,
            saw_loss,
        }
    }

    /// Returns worths of the pieces, in parts of a minor unit, of which no stick holds more than it costs.
    fn worths(&self) -> Vec<i64> {
        let proposed = Master::new(self).solve();
        let mut worths: Vec<i64> = proposed
            .iter()
            .map(|worth| (worth.max(0.0) * self.parts as f64) as i64)
            .collect();
        for (room, cost) in self.rooms.iter().zip(&self.costs) {
            let most = Filling::new(self, &worths).most(*room, MOST_CHECKING);
            let (most, cost) = (i128::from(most), i128::from(*cost) * i128::from(self.parts));
            if most > cost {
                for worth in &mut worths {
                    *worth = (i128::from(*worth) * cost / most) as i64;
                }
            }
        }
        worths
    }

    /// Makes a first plan: each piece, the longest first, into the first stick that has room; then each stick as cheap
    /// as its pieces allow.
    fn longest_first(&self) -> Vec<(usize, Counts)> {
        let mut bins: Vec<(i64, Counts)> = Vec::new();
        for (place, count) in self.counts.iter().enumerate() {
            let taken = self.lengths[place];
            for _ in 0..*count {
                let at = match bins
                    .iter()
                    .position(|(used, _)| used + taken <= self.rooms[0])
                {
                    Some(at) => at,
                    None => {
                        bins.push((0, vec![0; self.lengths.len()]));
                        bins.len() - 1
                    }
                };
                bins[at].0 += taken;
                bins[at].1[place] += 1;
            }
        }
        bins.into_iter()
            .map(|(used, counts)| {
                let fitting = (0..self.rooms.len()).filter(|stick| self.rooms[*stick] >= used);
                let cheapest = fitting.min_by_key(|stick| self.costs[*stick]).unwrap_or(0);
                (cheapest, counts)
            })
            .collect()
    }

    /// Returns the length of pieces together.
    fn whole(&self, counts: &[u32]) -> i64 {
        let each = self.lengths.iter().zip(counts);
        each.map(|(length, count)| length * i64::from(*count)).sum()
    }

    fn cost(&self, plan: &[(usize, Counts)]) -> i64 {
        plan.iter().map(|(stick, _)| self.costs[*stick]).sum()
    }

    fn list(&self, plan: Vec<(usize, Counts)>, proven: bool) -> CuttingList {
        let mut sticks: Vec<CutStick> = plan
            .into_iter()
            .map(|(stick, counts)| {
                let each = self.lengths.iter().zip(&counts);
                let pieces: Vec<i64> = each
                    .flat_map(|(length, count)| {
                        std::iter::repeat_n(length * self.unit - self.saw_loss, *count as usize)
                    })
                    .collect();
                let used: i64 = pieces.iter().map(|piece| piece + self.saw_loss).sum();
                CutStick {
                    left: (self.sticks[stick].length - used).max(0),
                    stick: self.sticks[stick],
                    pieces,
                }
            })
            .collect();
        sticks.sort_by(|one, another| {
            (another.stick.length, &another.pieces).cmp(&(one.stick.length, &one.pieces))
        });
        CuttingList {
            total: sticks.iter().map(|cut| cut.stick.price).sum(),
            sticks,
            proven,
        }
    }
}

/// What sums of prices there are, and how much room the sticks have at most that cost just that.
struct Sums {
    /// All prices are multiples of this.
    divisor: i64,
    /// The most room by cost; -1: no sticks cost that.
    rooms: Vec<i64>,
}

impl Sums {
    /// Adds up prices to a highest cost; `None`: there would be too many to look through, or sticks for nothing.
    fn new(problem: &Problem, highest: i64) -> Option<Sums> {
        let divisor = problem
            .costs
            .iter()
            .copied()
            .fold(0, greatest_common_divisor);
        if problem.costs.contains(&0) || divisor == 0 || highest / divisor > MOST_COSTS {
            return None;
        }
        let mut rooms = vec![-1_i64; (highest / divisor) as usize + 1];
        rooms[0] = 0;
        for cost in 0..rooms.len() {
            if rooms[cost] < 0 {
                continue;
            }
            for (room, price) in problem.rooms.iter().zip(&problem.costs) {
                let with = rooms[cost] + room;
                if let Some(reached) = rooms.get_mut(cost + (price / divisor) as usize) {
                    *reached = (*reached).max(with);
                }
            }
        }
        Some(Sums { divisor, rooms })
    }

    /// Returns the highest cost below another whose sticks have that much room; -1: there is none.
    fn below(&self, cost: i64, room: i64) -> i64 {
        let end = ((cost - 1).max(-1) + self.divisor) / self.divisor;
        let rooms = &self.rooms[..(end as usize).min(self.rooms.len())];
        let found = rooms.iter().rposition(|reached| *reached >= room);
        found.map_or(-1, |cost| cost as i64 * self.divisor)
    }

    /// Returns the lowest cost from one on whose sticks have that much room; `None`: it is higher than was looked at.
    fn from(&self, cost: i64, room: i64) -> Option<i64> {
        let begin = ((cost + self.divisor - 1) / self.divisor) as usize;
        let rooms = self.rooms.get(begin..)?;
        let found = rooms.iter().position(|reached| *reached >= room)?;
        Some((begin + found) as i64 * self.divisor)
    }
}

/// A worth of pieces: floats propose, whole numbers decide.
trait Worth: Copy + PartialOrd + Add<Output = Self> {
    const NOTHING: Self;
    fn times(self, count: u32) -> Self;
    /// The most that a room is worth if a piece of that length is worth so much, rounded up.
    fn of_room(self, length: i64, room: i64) -> Self;
    fn is_more_per_length(self, length: i64, other: Self, other_length: i64) -> bool;
}

impl Worth for f64 {
    const NOTHING: f64 = 0.0;

    fn times(self, count: u32) -> f64 {
        self * f64::from(count)
    }

    fn of_room(self, length: i64, room: i64) -> f64 {
        self * (room as f64) / (length as f64)
    }

    fn is_more_per_length(self, length: i64, other: f64, other_length: i64) -> bool {
        self * other_length as f64 > other * length as f64
    }
}

impl Worth for i64 {
    const NOTHING: i64 = 0;

    fn times(self, count: u32) -> i64 {
        self * i64::from(count)
    }

    fn of_room(self, length: i64, room: i64) -> i64 {
        match self
            .checked_mul(room)
            .and_then(|exact| exact.checked_add(length - 1))
        {
            Some(exact) => exact / length,
            None => {
                let exact = i128::from(self) * i128::from(room) + i128::from(length) - 1;
                (exact / i128::from(length)) as i64
            }
        }
    }

    fn is_more_per_length(self, length: i64, other: i64, other_length: i64) -> bool {
        i128::from(self) * i128::from(other_length) > i128::from(other) * i128::from(length)
    }
}

/// Returns places by worth per length, the best first.
fn by_worth<W: Worth>(lengths: &[i64], worths: &[W]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..lengths.len()).collect();
    order.sort_by(|one, another| {
        let of = |place: &usize| (worths[*place], lengths[*place]);
        let (one, another) = (of(one), of(another));
        let more = one.0.is_more_per_length(one.1, another.0, another.1);
        let less = another.0.is_more_per_length(another.1, one.0, one.1);
        less.cmp(&more)
    });
    order
}

/// Looks for the filling of a stick that is worth most: pieces by worth per length, with the rest at the next one's.
struct Filling<'a, W> {
    lengths: &'a [i64],
    counts: &'a [u32],
    worths: &'a [W],
    /// Places by worth per length, the best first.
    order: Vec<usize>,
    best: (W, Counts),
    at: Counts,
    steps: u64,
}

impl<'a, W: Worth> Filling<'a, W> {
    fn new(problem: &'a Problem, worths: &'a [W]) -> Filling<'a, W> {
        let size = problem.lengths.len();
        Filling {
            lengths: &problem.lengths,
            counts: &problem.counts,
            worths,
            order: by_worth(&problem.lengths, worths),
            best: (W::NOTHING, vec![0; size]),
            at: vec![0; size],
            steps: 0,
        }
    }

    /// Returns the best filling of a room that is found in so many steps.
    fn best(mut self, room: i64, steps: u64) -> (W, Counts) {
        self.steps = steps;
        self.search(0, room, W::NOTHING);
        self.best
    }

    /// Returns what no filling of a room is worth more than: what the best one is, if it is found in so many steps.
    fn most(mut self, room: i64, steps: u64) -> W {
        self.steps = steps;
        self.search(0, room, W::NOTHING);
        match (self.steps, self.order.first()) {
            (0, Some(place)) => self.worths[*place].of_room(self.lengths[*place], room),
            _ => self.best.0,
        }
    }

    fn search(&mut self, from: usize, room: i64, worth: W) {
        if worth > self.best.0 {
            self.best = (worth, self.at.clone());
        }
        let Some(place) = self.order.get(from).copied() else {
            return;
        };
        let (length, each) = (self.lengths[place], self.worths[place]);
        let rest = each.of_room(length, room);
        if worth + rest <= self.best.0 || self.steps == 0 {
            return;
        }
        self.steps -= 1;
        let most = (room / length).min(i64::from(self.counts[place])) as u32;
        for count in (0..=most).rev() {
            self.at[place] = count;
            let left = room - length * i64::from(count);
            self.search(from + 1, left, worth + each.times(count));
        }
        self.at[place] = 0;
    }
}

/// The linear program over fillings, solved by the revised simplex method.
struct Master<'a> {
    problem: &'a Problem,
    /// Inverse of the basis, by rows.
    inverse: Vec<Vec<f64>>,
    costs: Vec<f64>,
    amounts: Vec<f64>,
}

impl<'a> Master<'a> {
    /// Begins with sticks that are filled with one length each.
    fn new(problem: &'a Problem) -> Master<'a> {
        let size = problem.lengths.len();
        let mut master = Master {
            problem,
            inverse: vec![vec![0.0; size]; size],
            costs: Vec::new(),
            amounts: Vec::new(),
        };
        for (place, (length, count)) in problem.lengths.iter().zip(&problem.counts).enumerate() {
            let held = |room: &i64| (room / length).min(i64::from(*count)) as f64;
            let each = problem.rooms.iter().zip(&problem.costs);
            let cheapest = each
                .map(|(room, cost)| (*cost as f64 / held(room), held(room), *cost as f64))
                .min_by(|one, another| one.0.total_cmp(&another.0));
            let (_, held, cost) = cheapest.unwrap_or((0.0, 1.0, 0.0));
            master.inverse[place][place] = 1.0 / held;
            master.costs.push(cost);
            master.amounts.push(f64::from(*count) / held);
        }
        master
    }

    /// Returns what pieces are worth when no filling is worth more than its stick, or nearly so.
    fn solve(mut self) -> Vec<f64> {
        let rounds = 40 * self.costs.len() + 40;
        for _ in 0..rounds {
            let worths = self.worths();
            let Some((column, cost)) = self.entering(&worths) else {
                break;
            };
            if !self.pivot(&column, cost) {
                break;
            }
        }
        self.worths()
    }

    fn worths(&self) -> Vec<f64> {
        let mut worths = vec![0.0; self.costs.len()];
        for (row, cost) in self.inverse.iter().zip(&self.costs) {
            for (worth, entry) in worths.iter_mut().zip(row) {
                *worth += cost * entry;
            }
        }
        worths
    }

    /// Returns the filling that is worth most above its stick, or a piece too many that is worth less than nothing.
    fn entering(&self, worths: &[f64]) -> Option<(Vec<f64>, f64)> {
        let mut best: Option<(f64, Vec<f64>, f64)> = None;
        for (room, cost) in self.problem.rooms.iter().zip(&self.problem.costs) {
            let cost = *cost as f64;
            let (worth, counts) = Filling::new(self.problem, worths).best(*room, MOST_PROPOSING);
            let gain = worth - cost;
            if gain > EXACT * cost && best.as_ref().is_none_or(|best| gain > best.0) {
                best = Some((
                    gain,
                    counts.iter().map(|count| f64::from(*count)).collect(),
                    cost,
                ));
            }
        }
        for (place, worth) in worths.iter().enumerate() {
            if -worth > EXACT && best.as_ref().is_none_or(|best| -worth > best.0) {
                let mut column = vec![0.0; worths.len()];
                column[place] = -1.0;
                best = Some((-worth, column, 0.0));
            }
        }
        best.map(|(_, column, cost)| (column, cost))
    }

    /// Takes a column into the basis; tells whether there was a place for it.
    fn pivot(&mut self, column: &[f64], cost: f64) -> bool {
        let direction: Vec<f64> = self
            .inverse
            .iter()
            .map(|row| {
                row.iter()
                    .zip(column)
                    .map(|(entry, part)| entry * part)
                    .sum()
            })
            .collect();
        let leaving = direction
            .iter()
            .zip(&self.amounts)
            .enumerate()
            .filter(|(_, (step, _))| **step > 1e-9)
            .min_by(|one, another| {
                let ratio = |of: &(usize, (&f64, &f64))| of.1.1 / of.1.0;
                ratio(one).total_cmp(&ratio(another))
            })
            .map(|(place, _)| place);
        let Some(leaving) = leaving else {
            return false;
        };
        let step = self.amounts[leaving] / direction[leaving];
        let pivot = direction[leaving];
        for entry in &mut self.inverse[leaving] {
            *entry /= pivot;
        }
        let row = self.inverse[leaving].clone();
        for (place, along) in direction.iter().enumerate() {
            if place != leaving && *along != 0.0 {
                for (entry, pivoted) in self.inverse[place].iter_mut().zip(&row) {
                    *entry -= along * pivoted;
                }
                self.amounts[place] = (self.amounts[place] - along * step).max(0.0);
            }
        }
        self.amounts[leaving] = step;
        self.costs[leaving] = cost;
        true
    }
}

/// The search for a plan that loses least.
struct Search<'a> {
    problem: &'a Problem,
    worths: &'a [i64],
    /// Worth of all pieces together.
    worth: i64,
    /// Places by worth per length, the best first.
    order: Vec<usize>,
    best: Vec<(usize, Counts)>,
    best_cost: i64,
    /// The highest cost below that which some sticks with room for everything have.
    next_cost: i64,
    /// Sums of prices up to the first plan's.
    sums: Option<Sums>,
    plan: Vec<(usize, Counts)>,
    left: Counts,
    /// What was left to lose when pieces were left like that, and no plan was found.
    failed: HashMap<Counts, i64>,
    steps: u64,
}

/// A filling: what it loses, the room that is left, the stick, and the pieces.
type Filled = (i64, i64, usize, Counts);

impl<'a> Search<'a> {
    fn new(problem: &'a Problem, worths: &'a [i64]) -> Search<'a> {
        let best = problem.longest_first();
        let best_cost = problem.cost(&best);
        let each = worths.iter().zip(&problem.counts);
        let mut search = Search {
            worth: each.map(|(worth, count)| worth.times(*count)).sum(),
            order: by_worth(&problem.lengths, worths),
            next_cost: 0,
            sums: Sums::new(problem, best_cost),
            best_cost,
            best: Vec::new(),
            plan: Vec::new(),
            left: problem.counts.clone(),
            failed: HashMap::new(),
            steps: MOST_STEPS,
            problem,
            worths,
        };
        search.set_best(best_cost, best);
        search
    }

    /// What a plan that is better than the best one may lose at most; below zero: there is none.
    fn margin(&self) -> i64 {
        self.next_cost * self.problem.parts - self.worth
    }

    fn set_best(&mut self, cost: i64, plan: Vec<(usize, Counts)>) {
        (self.best_cost, self.best) = (cost, plan);
        self.next_cost = match &self.sums {
            Some(sums) => sums.below(cost, self.problem.whole(&self.problem.counts)),
            None => cost - 1,
        };
    }

    /// Tells whether no sticks for what is left have prices that make a better plan.
    fn is_hopeless(&self) -> bool {
        let Some(sums) = &self.sums else {
            return false;
        };
        let each = self.worths.iter().zip(&self.left);
        let worth: i64 = each.map(|(worth, count)| worth.times(*count)).sum();
        let parts = self.problem.parts;
        let least = (worth + parts - 1) / parts;
        let rest = sums.from(least, self.problem.whole(&self.left));
        rest.is_none_or(|rest| self.problem.cost(&self.plan) + rest > self.next_cost)
    }

    /// Searches; tells whether the best plan is proven to be the best of all.
    fn run(&mut self) -> bool {
        if self.margin() < 0 {
            return true;
        }
        // A good plan first: proofs are short once one is known.
        self.steps = DIVE_STEPS;
        self.dive(self.margin());
        self.steps = MOST_STEPS;
        if self.margin() >= 0 {
            self.complete(self.margin());
        }
        self.steps > 0
    }

    /// Puts the longest piece left into the few fillings that lose least, as long as there is something to lose.
    fn dive(&mut self, most: i64) {
        let Some(longest) = self.left.iter().position(|count| *count > 0) else {
            let cost = self.problem.cost(&self.plan);
            if cost < self.best_cost {
                self.set_best(cost, self.plan.clone());
            }
            return;
        };
        let mut allowed = self.problem.costs[0] * self.problem.parts / 64;
        let mut fillings = self.fillings(longest, allowed.min(most));
        while fillings.is_empty() && allowed < most && self.steps > 0 {
            allowed = allowed.saturating_mul(2);
            fillings = self.fillings(longest, allowed.min(most));
        }
        let spent = self.spent();
        for (loss, _, stick, filling) in fillings.into_iter().take(DIVE_WIDTH) {
            let left = self.margin() - spent - loss;
            if left < 0 || self.steps == 0 {
                return;
            }
            self.with(stick, filling, |search| search.dive(left));
        }
    }

    /// Does something with one more stick in the plan.
    fn with<T>(
        &mut self,
        stick: usize,
        filling: Counts,
        act: impl FnOnce(&mut Search<'a>) -> T,
    ) -> T {
        for (left, taken) in self.left.iter_mut().zip(&filling) {
            *left -= taken;
        }
        self.plan.push((stick, filling));
        let done = act(self);
        if let Some((_, filling)) = self.plan.pop() {
            for (left, taken) in self.left.iter_mut().zip(&filling) {
                *left += taken;
            }
        }
        done
    }

    /// Puts the longest piece left into every filling that loses little enough. Returns whether a plan was found.
    fn complete(&mut self, most: i64) -> bool {
        let Some(longest) = self.left.iter().position(|count| *count > 0) else {
            let cost = self.problem.cost(&self.plan);
            if cost < self.best_cost {
                self.set_best(cost, self.plan.clone());
            }
            return true;
        };
        if self.is_hopeless() {
            return false;
        }
        if self
            .failed
            .get(&self.left)
            .is_some_and(|failed| *failed >= most)
        {
            return false;
        }
        let mut found_any = false;
        let mut looked = most;
        let spent = self.spent();
        for (loss, _, stick, filling) in self.fillings(longest, most) {
            // When a better plan is found, less may be lost.
            let allowed = (self.margin() - spent).min(most);
            looked = looked.min(allowed);
            if loss > allowed {
                break;
            }
            found_any |= self.with(stick, filling, |search| search.complete(allowed - loss));
            if self.steps == 0 {
                return found_any;
            }
        }
        if !found_any {
            let failed = self.failed.entry(self.left.clone()).or_insert(looked);
            *failed = (*failed).max(looked);
        }
        found_any
    }

    /// Returns what the sticks of the plan so far lose.
    fn spent(&self) -> i64 {
        let lost = |(stick, filling): &(usize, Counts)| {
            let worth: i64 = self
                .worths
                .iter()
                .zip(filling)
                .map(|(worth, count)| worth.times(*count))
                .sum();
            self.problem.costs[*stick] * self.problem.parts - worth
        };
        self.plan.iter().map(lost).sum()
    }

    /// Returns the fillings around a piece that lose at most so much and have no room for one more, the least loss first.
    fn fillings(&mut self, longest: usize, most: i64) -> Vec<Filled> {
        let mut found = Vec::new();
        for stick in 0..self.problem.rooms.len() {
            let room = self.problem.rooms[stick] - self.problem.lengths[longest];
            if room < 0 {
                continue;
            }
            self.left[longest] -= 1;
            let mut at = vec![0; self.left.len()];
            at[longest] = 1;
            let missing =
                self.problem.costs[stick] * self.problem.parts - most - self.worths[longest];
            self.fill(0, room, missing, &mut at, &mut |room, missing, at| {
                found.push((most + missing, room, stick, at.clone()));
            });
            self.left[longest] += 1;
        }
        found.sort_unstable();
        found
    }

    /// Fills a room with pieces that are left and worth what is missing at least.
    fn fill(
        &mut self,
        from: usize,
        room: i64,
        missing: i64,
        at: &mut Counts,
        found: &mut impl FnMut(i64, i64, &Counts),
    ) {
        if self.steps == 0 {
            return;
        }
        self.steps -= 1;
        let fits = |place: usize| self.left[place] > 0 && self.problem.lengths[place] <= room;
        let Some(next) = (from..self.order.len()).find(|at| fits(self.order[*at])) else {
            let has_room = (0..self.left.len()).any(fits);
            if missing <= 0 && !has_room {
                found(room, missing, at);
            }
            return;
        };
        let place = self.order[next];
        let (length, worth) = (self.problem.lengths[place], self.worths[place]);
        if worth.of_room(length, room) < missing {
            return;
        }
        let most = (room / length).min(i64::from(self.left[place])) as u32;
        for count in (0..=most).rev() {
            at[place] += count;
            self.left[place] -= count;
            let left = room - length * i64::from(count);
            self.fill(next + 1, left, missing - worth.times(count), at, found);
            at[place] -= count;
            self.left[place] += count;
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn stick(length: i64, price: i64) -> Stick {
        Stick {
            length,
            price: Money::from_minor(price),
        }
    }

    #[test]
    fn pieces_share_sticks_with_saw_loss_between_them() {
        // Lengths in eighths of an inch; the saw takes one. One stick does two openings of less than 36 in each
        // (floorone.com, MeasuringMolding): 35 7/8 in twice from 6 ft, and 36 in twice no more.
        let six_feet = [stick(576, 3800)];
        let list = cut(&[287, 287], &six_feet, 1, Aim::Cheapest).unwrap();
        assert_eq!(list.sticks.len(), 1);
        assert_eq!(list.sticks[0].left, 0);
        let list = cut(&[288, 288], &six_feet, 1, Aim::Cheapest).unwrap();
        assert_eq!((list.sticks.len(), list.proven), (2, true));
        assert_eq!(list.sticks[0].left, 287);
        // A piece as long as the stick takes no cut.
        let list = cut(&[576], &six_feet, 1, Aim::Cheapest).unwrap();
        assert_eq!(list.sticks[0].left, 0);
        assert_eq!(
            cut(&[577], &six_feet, 1, Aim::Cheapest),
            Err(CutError::TooLong(577))
        );
        assert_eq!(cut(&[1], &[], 1, Aim::Cheapest), Err(CutError::NoStick));
        let nothing = cut(&[], &six_feet, 1, Aim::Cheapest).unwrap();
        assert!(nothing.sticks.is_empty() && nothing.proven);
        // The fewest sticks may cost more than the cheapest.
        let both = [stick(100, 100), stick(200, 250)];
        let pieces = [100, 100];
        let cheapest = cut(&pieces, &both, 0, Aim::Cheapest).unwrap();
        let fewest = cut(&pieces, &both, 0, Aim::Fewest).unwrap();
        assert_eq!((cheapest.sticks.len(), cheapest.total.minor()), (2, 200));
        assert_eq!((fewest.sticks.len(), fewest.total.minor()), (1, 250));
        // The largest amount that is read, and the most pieces.
        let dear = [stick(1000, 10_000_000_000), stick(900, 9_999_999_999)];
        for aim in [Aim::Cheapest, Aim::Fewest] {
            let list = cut(&[450; MOST_PIECES], &dear, 0, aim).unwrap();
            assert_eq!((list.sticks.len(), list.proven), (MOST_PIECES / 2, true));
        }
    }

    /// Returns the lowest cost by trying every place for every piece.
    fn lowest(pieces: &[i64], sticks: &[Stick], saw: i64, rooms: &mut Vec<i64>, each: i64) -> i64 {
        let Some((piece, rest)) = pieces.split_first() else {
            return 0;
        };
        let mut best = i64::MAX / 4;
        for at in 0..rooms.len() {
            if rooms[at] >= piece + saw {
                rooms[at] -= piece + saw;
                best = best.min(lowest(rest, sticks, saw, rooms, each));
                rooms[at] += piece + saw;
            }
        }
        for stick in sticks.iter().filter(|stick| stick.length >= *piece) {
            rooms.push(stick.length + saw - piece - saw);
            best = best.min(each + stick.price.minor() + lowest(rest, sticks, saw, rooms, each));
            rooms.pop();
        }
        best
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4_000))]

        #[test]
        fn no_cutting_list_is_better(
            pieces in proptest::collection::vec(1_i64..40, 0..7),
            sticks in proptest::collection::vec((20_i64..80, 0_i64..60), 1..4),
            saw in 0_i64..3,
            fewest in proptest::bool::ANY,
        ) {
            let sticks: Vec<Stick> = sticks.iter().map(|(length, price)| stick(*length, *price)).collect();
            let longest = sticks.iter().map(|stick| stick.length).max().unwrap();
            prop_assume!(pieces.iter().all(|piece| *piece <= longest));
            let (aim, each) = if fewest { (Aim::Fewest, 1_000_000) } else { (Aim::Cheapest, 0) };
            let list = cut(&pieces, &sticks, saw, aim).unwrap();
            prop_assert!(list.proven);
            let cost = each * list.sticks.len() as i64 + list.total.minor();
            prop_assert_eq!(cost, lowest(&pieces, &sticks, saw, &mut Vec::new(), each));
            let mut cut: Vec<i64> = list.sticks.iter().flat_map(|stick| stick.pieces.clone()).collect();
            let mut wanted = pieces.clone();
            cut.sort_unstable();
            wanted.sort_unstable();
            prop_assert_eq!(cut, wanted);
            for stick in &list.sticks {
                let used: i64 = stick.pieces.iter().map(|piece| piece + saw).sum();
                prop_assert!(used <= stick.stick.length + saw);
                prop_assert_eq!(stick.left, (stick.stick.length - used).max(0));
            }
        }
    }
}
