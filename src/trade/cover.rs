//! The cheapest way to have enough, in steps that are sold whole: packs for a quantity, periods for a rental.
//!
//! [`Stairs`] are all covers worth having: none is at least as dear and reaches no further than another. They are found
//! in order of price, each from an earlier one by one more pack or period (Dijkstra 1959). A cover that a cheaper one
//! outreaches is left out: whatever is added to it can be added to the cheaper one instead, as long as the same pack or
//! period, added to the cover that reaches further, never ends earlier. So the stairs are exact, and one climb answers
//! every need up to the top.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use crate::money::Money;

/// One cover worth having.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stair {
    /// How far it reaches.
    pub reach: i64,
    /// What it costs.
    pub price: Money,
    /// The cover before its last choice, and that choice.
    last: Option<(usize, usize)>,
}

/// The covers worth having, by reach and by price at once.
#[derive(Clone, Debug)]
pub struct Stairs {
    stairs: Vec<Stair>,
    choices: usize,
}

impl Stairs {
    /// Climbs until `most` is reached, by so many stairs at most. `next` says how far a choice leads from a place and what it costs there, and
    /// leads on; `None`: the choice isn't offered there.
    ///
    /// Returns `None` if nothing leads that far, or only by more stairs.
    pub fn climb(
        most: i64,
        stairs_at_most: usize,
        choices: usize,
        next: impl Fn(i64, usize) -> Option<(i64, Money)>,
    ) -> Option<Stairs> {
        let mut stairs: Vec<Stair> = Vec::new();
        // The cheapest first; of equals the one that reaches furthest, then the one of fewest choices.
        let mut found = BinaryHeap::new();
        found.push(Reverse((Money::ZERO, Reverse(0), 0_usize, None)));
        while let Some(Reverse((price, Reverse(reach), taken, last))) = found.pop() {
            if stairs.last().is_some_and(|stair| stair.reach >= reach) {
                continue;
            }
            let place = stairs.len();
            stairs.push(Stair { reach, price, last });
            if reach >= most {
                return Some(Stairs { stairs, choices });
            }
            if place == stairs_at_most {
                return None;
            }
            for choice in 0..choices {
                if let Some((further, paid)) = next(reach, choice) {
                    found.push(Reverse((
                        price + paid,
                        Reverse(further),
                        taken + 1,
                        Some((place, choice)),
                    )));
                }
            }
        }
        None
    }

    /// Returns the covers, cheapest first.
    pub fn stairs(&self) -> &[Stair] {
        &self.stairs
    }

    /// Returns the place of the cheapest cover that reaches as far as needed; the top, if none does.
    pub fn place(&self, need: i64) -> usize {
        let place = self.stairs.partition_point(|stair| stair.reach < need);
        place.min(self.stairs.len() - 1)
    }

    /// Returns how often the cover at a place takes each choice.
    pub fn counts(&self, place: usize) -> Vec<u32> {
        let mut counts = vec![0; self.choices];
        let mut at = self.stairs[place].last;
        while let Some((before, choice)) = at {
            counts[choice] += 1;
            at = self.stairs[before].last;
        }
        counts
    }
}

/// Returns the largest number that divides both; of nothing and another, the other.
pub(in crate::trade) fn greatest_common_divisor(one: i64, another: i64) -> i64 {
    match another {
        0 => one,
        _ => greatest_common_divisor(another, one % another),
    }
}
