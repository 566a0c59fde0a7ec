//! Cutting: which pieces of trim are cut from which stock lengths, at the least price or from the fewest sticks.
//!
//! Pieces `p` fit a stick `L` with saw loss `k` between them if `Σ (p + k) ≤ L + k`. There are few ways to buy sticks for
//! about the least price, and many ways to cut them. So the plan is sought in two steps, one inside the other:
//!
//! 1. **What is bought.** `measures` goes through the purchases, so many sticks of each length, the cheapest first. Most
//!    are ruled out at once: by some worths of the pieces, their sticks hold less than all pieces are worth. The first such
//!    measure is length. When a purchase gets by, a linear program looks for worths that rule it out (`worths`), and with
//!    it many of those that follow.
//! 2. **How it is cut.** A purchase that can't be ruled out is nearly always enough. A search puts the longest piece left
//!    into the fillings that lose least by all measures, until all pieces have their place (`packing`), or until it is
//!    certain that they have none.
//!
//! The first purchase that all pieces can be cut from is the cheapest, and no other proof is needed. Floats only propose
//! worths and which filling is tried first; what a measure rules out is checked in whole numbers (`filling`). All work is
//! counted, and a search that would take too long is cut short: then some plan that costs a little more is found in haste,
//! and says that it isn't proven.

#![allow(
    clippy::float_arithmetic,
    reason = "floats propose worths; what follows from them is checked in whole numbers"
)]

mod filling;
mod measures;
mod packing;
mod worths;

#[cfg(test)]
mod tests;

use std::cell::Cell;

use thiserror::Error;

use crate::money::Money;
use crate::trade::cover::greatest_common_divisor;

use measures::{Measure, Purchases};
use packing::{Packed, Packing};
use worths::Program;

/// Most pieces that are cut together.
pub const MOST_PIECES: usize = 200;
/// Worths are counted in so small parts of a minor unit at most.
const FINEST_PARTS: i64 = 1 << 20;
/// What all pieces together are worth stays below this, in parts: so many sticks can hold that much.
const MOST_WORTH: i64 = 1 << 52;
/// Work that any search may take.
const LEAST_WORK: u64 = 250_000;
/// Work that it may take for each cube of a row of its linear program.
const WORK_PER_CUBE: u64 = 4;
/// The part of all work that is taken once more for each plan that is sought after that.
const RENEWED: u64 = 8;
/// The parts that such a plan's purchase costs more.
const DEARER: [i64; 6] = [1024, 512, 256, 128, 64, 32];

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
    let (plan, proven) = problem.solve();
    Ok(problem.list(plan, proven))
}

/// Which sticks are cut, and how many pieces of each length from each.
type Plan = Vec<(usize, Vec<u32>)>;

/// What is left of the work that a search may take, in steps of about ten nanoseconds. It is counted, not timed, so that
/// the same list is found on any machine.
struct Work {
    all: u64,
    left: Cell<u64>,
}

impl Work {
    fn new(all: u64) -> Work {
        Work {
            all,
            left: Cell::new(all),
        }
    }

    /// Returns the work that a search may take with so many rows in its linear program.
    fn of(rows: usize) -> Work {
        Work::new(LEAST_WORK + WORK_PER_CUBE * (rows as u64).pow(3))
    }

    fn spend(&self, steps: u64) {
        self.left.set(self.left.get().saturating_sub(steps));
    }

    /// Gives a part of all work once more.
    fn renew(&self, part: u64) {
        self.left.set(self.all / part);
    }

    fn is_done(&self) -> bool {
        self.left.get() == 0
    }
}

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
    /// How many pieces of each length.
    counts: Vec<u32>,
    saw_loss: i64,
    work: Work,
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
        let (mut lengths, mut counts) = (Vec::new(), Vec::<u32>::new());
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
            work: Work::of(lengths.len() + sticks.len()),
            sticks,
            lengths,
            counts,
            saw_loss,
        }
    }

    /// Finds the best plan, as far as the work allows; tells whether it is proven to be the best.
    fn solve(&self) -> (Plan, bool) {
        let mut purchases = Purchases::new(self);
        let mut program = Program::new(self);
        let first = self.first_plan();
        let mut least = 0;
        while let Some(purchase) = purchases.next(self.cost(&first)) {
            least = purchase.0;
            if let Some(worths) = program.against(&self.counts, &purchase.1) {
                let measure = Measure::new(self, &worths);
                let rules_out = measure.spare(self, &self.counts, &purchase.1) < 0;
                purchases.measures.push(measure);
                if rules_out {
                    continue;
                }
            }
            match Packing::new(self, &mut purchases, Some(&mut program), &purchase.1).run() {
                Packed::All(plan) => return (plan, true),
                Packed::Never => purchases.pass(purchase),
                Packed::GivenUp => break,
            }
        }
        if !self.work.is_done() {
            return (first, true);
        }
        let dearer = self.dearer(least, self.cost(&first), purchases);
        (dearer.unwrap_or(first), false)
    }

    /// Finds a plan that costs more than a purchase that was given up, and less than another: the more a purchase has to
    /// spare, the sooner pieces are packed into it.
    fn dearer<'a>(&'a self, least: i64, most: i64, mut purchases: Purchases<'a>) -> Option<Plan> {
        DEARER.iter().find_map(|part| {
            self.work.renew(RENEWED);
            purchases.pass((least + least / part, Vec::new()));
            let purchase = purchases.next(most)?;
            match Packing::new(self, &mut purchases, None, &purchase.1).run() {
                Packed::All(plan) => Some(plan),
                Packed::GivenUp | Packed::Never => None,
            }
        })
    }

    /// Makes a first plan: each piece, the longest first, into the first stick that has room; then each stick as cheap
    /// as its pieces allow. New sticks are of one length, if it is long enough; of all lengths the cheapest plan is taken.
    fn first_plan(&self) -> Plan {
        let plans = (0..self.rooms.len()).map(|stick| self.longest_first(stick));
        plans.min_by_key(|plan| self.cost(plan)).unwrap_or_default()
    }

    fn longest_first(&self, new: usize) -> Plan {
        let mut bins: Vec<(i64, i64, Vec<u32>)> = Vec::new();
        for (place, count) in self.counts.iter().enumerate() {
            let taken = self.lengths[place];
            for _ in 0..*count {
                let fits = |(room, used, _): &(i64, i64, Vec<u32>)| used + taken <= *room;
                let at = bins.iter().position(fits).unwrap_or_else(|| {
                    let room = self.rooms[new];
                    let room = if room < taken { self.rooms[0] } else { room };
                    bins.push((room, 0, vec![0; self.lengths.len()]));
                    bins.len() - 1
                });
                bins[at].1 += taken;
                bins[at].2[place] += 1;
            }
        }
        bins.into_iter()
            .map(|(_, used, counts)| {
                let fitting = (0..self.rooms.len()).filter(|stick| self.rooms[*stick] >= used);
                let cheapest = fitting.min_by_key(|stick| self.costs[*stick]).unwrap_or(0);
                (cheapest, counts)
            })
            .collect()
    }

    /// Returns what pieces are worth together.
    fn worth(&self, worths: &[i64], pieces: &[u32]) -> i64 {
        let each = worths.iter().zip(pieces);
        each.map(|(worth, count)| worth * i64::from(*count)).sum()
    }

    fn cost(&self, plan: &[(usize, Vec<u32>)]) -> i64 {
        plan.iter().map(|(stick, _)| self.costs[*stick]).sum()
    }

    fn list(&self, plan: Plan, proven: bool) -> CuttingList {
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
