//! Every plan, tried: for each set of rooms that may be done, after all sets within it, each phase that can come next.

use std::rc::Rc;

use super::facts::Facts;
use super::label::{Label, Trail};
use super::rest::{Left, NEVER, subsets};
use super::search::{Chosen, ChosenPhase, Search};
use super::ways::Places;
use crate::money::Money;

/// The cheapest plan, as far as every plan was tried.
pub(super) struct Best {
    pub(super) plan: Option<Chosen>,
    /// Whether every plan was tried that could be cheaper.
    pub(super) proven: bool,
    /// No plan costs less.
    pub(super) bound: Money,
}

/// A search over every plan of some rooms. Sets of them are numbers whose bits are the rooms, in their order.
struct Every<'s, 'a> {
    search: &'s Search<'a>,
    /// The set of all rooms.
    full: usize,
    /// What is known of each set.
    facts: Vec<Rc<Facts>>,
    /// What each set costs at least if it is left.
    lefts: Vec<Left>,
    /// Whether all furniture waits alike: then the last phase's is back last, and no other's need be told apart.
    furniture_alike: bool,
    /// What a plan costs that is known.
    most: i64,
    /// How far plans have come, by what is done.
    labels: Vec<Vec<Label>>,
    trail: Trail,
}

impl Search<'_> {
    /// Returns the cheapest plan of all, the earliest among equals, as far as the steps suffice. What a plan costs that is
    /// known makes the search shorter.
    pub(super) fn best_of_all(&self, rooms: Places, known: Option<Money>) -> Best {
        let mut every = Every::new(self, rooms, known);
        let proven = (0..every.full).all(|done| every.go_on_from(done));
        every.best(proven)
    }
}

impl<'s, 'a> Every<'s, 'a> {
    fn new(search: &'s Search<'a>, rooms: Places, known: Option<Money>) -> Every<'s, 'a> {
        let places: Vec<usize> = rooms.numbers().collect();
        let full = (1_usize << places.len()) - 1;
        let facts = (0..=full).map(|set| {
            let bits = Places(set as u64).numbers();
            search.facts(bits.map(|bit| places[bit]).collect())
        });
        let facts: Vec<Rc<Facts>> = facts.collect();
        let waits = facts[1..].iter().map(|facts| facts.needs.furniture_days);
        let mut trail = Trail::default();
        let mut labels = vec![Vec::new(); full + 1];
        labels[0] = search.begun(&mut trail);
        Every {
            search,
            full,
            lefts: search.lefts(&facts),
            furniture_alike: waits.clone().min() == waits.max(),
            facts,
            most: known.map_or(NEVER / 2, Money::minor),
            labels,
            trail,
        }
    }

    /// Tries every phase after a set of rooms that are done; false, if the steps don't suffice for that.
    fn go_on_from(&mut self, done: usize) -> bool {
        let rest = self.full & !done;
        let mut here = std::mem::take(&mut self.labels[done]);
        here.retain(|label| self.search.least_after(label, &self.lefts[rest]) <= self.most);
        if here.is_empty() {
            return true;
        }
        for phase in subsets(rest) {
            if !self.search.work.is_left() {
                self.labels[done] = here;
                return false;
            }
            self.search.work.count(here.len());
            self.try_phase(&here, phase, done | phase);
        }
        true
    }

    /// Tries a phase after some labels, with which a set of rooms is done.
    fn try_phase(&mut self, here: &[Label], phase: usize, then: usize) {
        let search = self.search;
        let facts = Rc::clone(&self.facts[phase]);
        if facts.obstacle.is_some() {
            return;
        }
        let fresh = search.left_fresh(&self.lefts[self.full & !then], &facts);
        for label in here {
            let left = &self.lefts[self.full & !then];
            if search.least_with(label, &facts, left, fresh) > self.most {
                continue;
            }
            search.extend(label, &facts, search.days_after(label), |label, start| {
                let rooms = facts.places;
                self.keep(label, ChosenPhase { rooms, start }, then);
            });
        }
    }

    /// Keeps a label with which a set of rooms is done, unless it costs more than a plan that is known.
    fn keep(&mut self, label: Label, phase: ChosenPhase, then: usize) {
        let left = &self.lefts[self.full & !then];
        if self.search.least_after(&label, left) > self.most {
            return;
        }
        let mut label = label;
        if then == self.full {
            let total = self.search.total(&label).unwrap_or(NEVER);
            self.most = self.most.min(total);
        } else if self.furniture_alike {
            label.finish = 0;
        }
        self.search
            .add(&mut self.labels[then], &mut self.trail, label, phase);
    }

    /// Returns the cheapest plan of those that were tried.
    fn best(&self, proven: bool) -> Best {
        let plan = self.search.cheapest(&self.labels[self.full], &self.trail);
        let cost = plan.as_ref().map_or(NEVER, |plan| plan.cost.minor());
        let untried = if proven { NEVER } else { self.least_untried() };
        Best {
            plan,
            proven,
            bound: Money::from_minor(cost.min(untried).min(self.most)),
        }
    }

    /// Returns what a plan costs at least that wasn't tried to its end.
    fn least_untried(&self) -> i64 {
        let labels = self.labels.iter().enumerate();
        let least = labels.flat_map(|(done, labels)| {
            let left = &self.lefts[self.full & !done];
            let least = |label| self.search.least_after(label, left);
            labels.iter().map(least)
        });
        least.min().unwrap_or(NEVER)
    }
}
