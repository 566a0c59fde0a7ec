//! The cheapest way to have enough, in steps that are sold whole: packs for a quantity, periods for a rental.
//!
//! [`Stairs`] are all covers worth having: a cover is left out if another one costs no more and reaches as far. They are
//! found in order of price, each from an earlier one by one more pack or period (Dijkstra 1959). Leaving covers out loses
//! nothing: whatever is added to one of them can be added to the other one instead, as long as the same pack or period,
//! added to the cover that reaches further, never ends earlier. So the stairs are exact, and one climb answers every need
//! up to the top.

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
    /// How it was reached; `None`: it is the cover of nothing.
    last: Option<Choice>,
}

/// A pack or period that was added to a cover.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Choice {
    /// The place of the cover that it was added to.
    before: usize,
    choice: usize,
}

/// Where one more pack or period leads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Step {
    /// How far the cover then reaches.
    pub reach: i64,
    /// What the pack or period costs.
    pub price: Money,
}

/// A cover that may be worth having. The first in order is the cheapest; of equals the one that reaches furthest, then the
/// one of fewest choices.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Candidate {
    price: Money,
    reach: Reverse<i64>,
    choices: usize,
    last: Option<Choice>,
}

/// The covers worth having: what they cost rises with how far they reach.
#[derive(Clone, Debug)]
pub struct Stairs {
    stairs: Vec<Stair>,
    /// How many packs or periods there are to choose from.
    choices: usize,
}

impl Stairs {
    /// Climbs until `most` is reached, by so many stairs at most. `next` is asked where each choice leads from how far a
    /// cover reaches; it always leads further. `None`: the choice isn't offered there.
    ///
    /// Returns `None` if nothing leads that far, or only by more stairs.
    pub fn climb(
        most: i64,
        stairs_at_most: usize,
        choices: usize,
        next: impl Fn(i64, usize) -> Option<Step>,
    ) -> Option<Stairs> {
        let mut stairs: Vec<Stair> = Vec::new();
        let mut found = BinaryHeap::from([Reverse(Candidate {
            price: Money::ZERO,
            reach: Reverse(0),
            choices: 0,
            last: None,
        })]);
        while let Some(Reverse(candidate)) = found.pop() {
            let Reverse(reach) = candidate.reach;
            if stairs.last().is_some_and(|stair| stair.reach >= reach) {
                continue;
            }
            let before = stairs.len();
            stairs.push(Stair {
                reach,
                price: candidate.price,
                last: candidate.last,
            });
            if reach >= most {
                return Some(Stairs { stairs, choices });
            }
            if before == stairs_at_most {
                return None;
            }
            for choice in 0..choices {
                if let Some(step) = next(reach, choice) {
                    found.push(Reverse(Candidate {
                        price: candidate.price + step.price,
                        reach: Reverse(step.reach),
                        choices: candidate.choices + 1,
                        last: Some(Choice { before, choice }),
                    }));
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
        let mut last = self.stairs[place].last;
        while let Some(Choice { before, choice }) = last {
            counts[choice] += 1;
            last = self.stairs[before].last;
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
