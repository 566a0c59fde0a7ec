//! Which rates a job moved: those of what it recorded, as they were before and as they are with it.
//!
//! Every record moves every rate of its tree a little. What is worth telling is what the job itself is about: each operation
//! on each of its floors, items and hours by themselves. Hours are learned by task, so the operations of a task move
//! together, and one of them tells it. How far a rate moved is the ratio of after to before, whichever is larger on top, so
//! that halving and doubling are the same distance.

use super::{Observation, RateKind, RateRow, Rates};
use crate::money::Decimal;

/// The least move that is told: a hundredth.
fn least() -> Decimal {
    Decimal::new(101, 2)
}

/// A rate that a job moved.
#[derive(Clone, Debug, PartialEq)]
pub struct RateMoved {
    /// As it was.
    pub before: RateRow,
    /// As it is.
    pub after: RateRow,
}

impl RateMoved {
    /// Returns what one unit takes now, as a fraction of what it took; `None`: it took nothing.
    pub fn change(&self) -> Option<Decimal> {
        let (before, after) = (self.before.learned.per_unit, self.after.learned.per_unit);
        after.checked_div(before)
    }

    /// Returns how far it moved, 1 for not at all.
    fn distance(&self) -> Decimal {
        let change = self.change().unwrap_or(Decimal::ONE);
        let back = Decimal::ONE.checked_div(change).unwrap_or(Decimal::ONE);
        change.max(back)
    }
}

/// Returns the rates that moved by a hundredth or more, of what these observations are about; those that moved most come
/// first.
pub fn moved(before: &Rates, after: &Rates, taught: &[Observation]) -> Vec<RateMoved> {
    let mut found: Vec<RateMoved> = Vec::new();
    for observation in taught {
        for part in &observation.parts {
            let Some(operation) = after.operations().get(&part.operation) else {
                continue;
            };
            let row = |rates: &Rates| rates.row_for(operation, observation.kind, part.class);
            let Some((before, after)) = row(before).zip(row(after)) else {
                continue;
            };
            let moved = RateMoved { before, after };
            if moved.distance() >= least()
                && !found
                    .iter()
                    .any(|known| known.before.cell == moved.before.cell)
            {
                found.push(moved);
            }
        }
    }
    found.sort_by_key(|moved| moved.before.cell);
    let mut told: Vec<RateMoved> = Vec::new();
    for moved in found {
        if !told.iter().any(|known| move_together(after, known, &moved)) {
            told.push(moved);
        }
    }
    told.sort_by_key(|moved| std::cmp::Reverse(moved.distance()));
    told
}

/// Tells whether two rates are hours of the same task on the same floor.
fn move_together(rates: &Rates, one: &RateMoved, other: &RateMoved) -> bool {
    let task = |moved: &RateMoved| {
        let operation = rates.operations().get(&moved.after.cell.operation);
        operation.map(|operation| operation.task.id)
    };
    let (known, cell) = (one.after.cell, other.after.cell);
    (known.kind, cell.kind) == (RateKind::Hours, RateKind::Hours)
        && task(one) == task(other)
        && (known.condition, known.species) == (cell.condition, cell.species)
}
