//! Purchases: how many sticks of each length are bought, the cheapest first.
//!
//! A [`Measure`] gives pieces a worth, and says what a stick holds at most by it. Sticks that hold less than all pieces are
//! worth can't be enough, however they are cut. The first measure is length itself; the others come from a linear program,
//! each because some purchase was to be ruled out.
//!
//! Worths are whole numbers, and what a stick holds is what its best filling is worth, or a little more. So a purchase is
//! ruled out for certain, wherever the worths came from.

use super::Problem;
use super::filling::{Filling, Item, by_rate};
use super::worths::Worths;

/// Steps that the exact search for a stick's best filling takes at most; beyond it the stick counts as holding more.
const FILLING_STEPS: u64 = 50_000;

/// Worths of pieces, and what sticks hold.
pub(super) struct Measure {
    /// What a piece is worth, by length.
    pub(super) worths: Vec<i64>,
    /// What no filling is worth more than, by stick.
    pub(super) holds: Vec<i64>,
    /// What all pieces are worth.
    pub(super) needed: i64,
    /// The lengths by worth per length, the best first.
    pub(super) items: Vec<Item<i64>>,
}

impl Measure {
    /// Measures by length.
    fn by_length(problem: &Problem) -> Measure {
        Measure {
            worths: problem.lengths.clone(),
            holds: problem.rooms.clone(),
            needed: problem.worth(&problem.lengths, &problem.counts),
            items: by_rate(problem, &problem.lengths),
        }
    }

    /// Measures by worths, in parts of a minor unit. What sticks are worth is where the search for their fillings begins.
    pub(super) fn new(problem: &Problem, proposed: &Worths) -> Measure {
        let dearest = problem.costs.iter().copied().max().unwrap_or(0);
        let whole = |worth: &f64| {
            let parts = (worth * problem.parts as f64) as i64;
            parts.clamp(0, dearest * problem.parts)
        };
        let worths: Vec<i64> = proposed.pieces.iter().map(whole).collect();
        let needed = problem.worth(&worths, &problem.counts);
        let mut filling = Filling::new(problem, &worths);
        let most = |(room, stick): (&i64, &f64)| {
            let most = filling.most(*room, whole(stick), FILLING_STEPS);
            most.min(needed.max(whole(stick)))
        };
        Measure {
            holds: problem
                .rooms
                .iter()
                .zip(&proposed.sticks)
                .map(most)
                .collect(),
            items: by_rate(problem, &worths),
            worths,
            needed,
        }
    }

    /// Returns what sticks hold more than pieces are worth; below zero: the pieces can't be cut from them.
    pub(super) fn spare(&self, problem: &Problem, pieces: &[u32], sticks: &[i64]) -> i64 {
        let each = self.holds.iter().zip(sticks);
        let held: i64 = each.map(|(holds, count)| holds * count).sum();
        held - problem.worth(&self.worths, pieces)
    }
}

/// A purchase: its cost, and how many sticks of each length.
pub(super) type Purchase = (i64, Vec<i64>);

/// All purchases that no measure rules out, the cheapest first.
pub(super) struct Purchases<'a> {
    problem: &'a Problem,
    /// The measures so far.
    pub(super) measures: Vec<Measure>,
    /// The last purchase that turned out not to be enough.
    last: Option<Purchase>,
}

impl<'a> Purchases<'a> {
    pub(super) fn new(problem: &'a Problem) -> Purchases<'a> {
        Purchases {
            problem,
            measures: vec![Measure::by_length(problem)],
            last: None,
        }
    }

    /// Goes on behind a purchase.
    pub(super) fn pass(&mut self, purchase: Purchase) {
        self.last = Some(purchase);
    }

    /// Returns the next purchase that costs less than so much.
    pub(super) fn next(&self, cost: i64) -> Option<Purchase> {
        let mut choice = Choice {
            purchases: self,
            sticks: vec![0; self.problem.rooms.len()],
            limit: cost - 1,
            best: None,
        };
        let lacking: Vec<i64> = self.measures.iter().map(|measure| measure.needed).collect();
        choice.choose(0, 0, &lacking);
        choice.best
    }
}

/// The search for the next purchase, one length of stick after the other.
struct Choice<'a> {
    purchases: &'a Purchases<'a>,
    sticks: Vec<i64>,
    /// What a purchase may cost at most.
    limit: i64,
    best: Option<Purchase>,
}

impl Choice<'_> {
    /// Chooses how many sticks are bought from a length on; `lacking` is what those before don't hold, by measure.
    fn choose(&mut self, stick: usize, cost: i64, lacking: &[i64]) {
        let Purchases {
            problem,
            measures,
            last,
        } = self.purchases;
        problem.work.spend(1);
        let Some(price) = problem.costs.get(stick) else {
            let found = (cost, self.sticks.clone());
            let is_next = last.as_ref().is_none_or(|last| *last < found)
                && self.best.as_ref().is_none_or(|best| found < *best);
            if is_next && lacking.iter().all(|lacking| *lacking <= 0) {
                self.limit = cost;
                self.best = Some(found);
            }
            return;
        };
        // What is lacking costs at least what it does in the sticks that hold most for their price.
        let is_too_dear = |(measure, lacking): (&Measure, &i64)| {
            let mut sticks = measure.holds.iter().zip(&problem.costs).skip(stick);
            let left = i128::from(self.limit - cost);
            *lacking > 0
                && sticks.all(|(holds, price)| {
                    i128::from(*lacking) * i128::from(*price) > left * i128::from(*holds)
                })
        };
        if measures.iter().zip(lacking).any(is_too_dear) || problem.work.is_done() {
            return;
        }
        let most: i64 = problem.counts.iter().map(|count| i64::from(*count)).sum();
        let (mut cost, mut lacking) = (cost, lacking.to_vec());
        for count in 0..=most {
            if cost > self.limit {
                break;
            }
            // Sticks for nothing: as many as could be needed.
            if *price > 0 || count == most {
                self.sticks[stick] = count;
                self.choose(stick + 1, cost, &lacking);
            }
            cost += price;
            for (lacking, measure) in lacking.iter_mut().zip(measures) {
                *lacking -= measure.holds[stick];
            }
        }
        self.sticks[stick] = 0;
    }
}
