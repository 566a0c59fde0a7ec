//! What finished rooms took of each rate, added up: what a rate is shown beside.

use std::sync::Arc;

use chrono::NaiveDate;

use super::float::float;
use super::scheme::{CODES, Scheme};
use super::{Book, Observations, PartOf, RateKind};
use crate::trade::OperationId;

/// What finished rooms of a cell add up to.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Experience {
    pub(crate) operation: OperationId,
    pub(crate) kind: RateKind,
    pub(crate) code: usize,
    pub(crate) quantity: f64,
    pub(crate) exposure: f64,
    pub(crate) rooms: usize,
    pub(crate) newest: Vec<Taught>,
}

/// What is added up for a cell.
#[derive(Debug, Default)]
struct Sums {
    quantity: f64,
    exposure: f64,
    rooms: usize,
    newest: Vec<Taught>,
}

/// A finished room that taught a rate.
#[derive(Clone, Debug, PartialEq)]
pub struct Taught {
    /// The job.
    pub job: Arc<str>,
    /// The room.
    pub room: Arc<str>,
    /// When it was finished.
    pub finished_on: NaiveDate,
}

/// How many finished rooms a cell names.
const NAMED_ROOMS: usize = 3;

/// What finished rooms took as things are done now, cell by cell.
///
/// A record over several parts is shared by what the book expects of each.
pub(super) struct Experienced<'a> {
    book: &'a Book,
    scheme: &'a Scheme,
    /// Which operation and kind each plan of the scheme is for.
    plans: Vec<(OperationId, RateKind)>,
    sums: Vec<Sums>,
}

impl<'a> Experienced<'a> {
    pub(super) fn new(book: &'a Book, scheme: &'a Scheme) -> Experienced<'a> {
        let plans = scheme.by_index();
        let mut sums = Vec::new();
        sums.resize_with(plans.len() * CODES, Sums::default);
        Experienced {
            book,
            scheme,
            plans,
            sums,
        }
    }

    /// Adds what an observation took to the cells of its parts, as far as they are done now as they were then. Observations
    /// come in their canonical order.
    pub(super) fn add(&mut self, observations: &Observations, place: usize) {
        let observation = observations.at(place);
        let parts = observations.parts_of(place);
        let is_one = parts.len() == 1;
        let book = self.book;
        let expected = |part: PartOf<'_>| {
            let row = book.row(part.operation, observation.kind, part.class);
            row.map_or(0.0, |row| {
                float(row.rate().expect(part.driver, part.passes))
            })
        };
        let total: f64 = if is_one {
            1.0
        } else {
            parts.clone().map(expected).sum()
        };
        if total <= 0.0 {
            return;
        }
        for (at, part) in parts.enumerate() {
            let Some(plan) = self.scheme.plan(part.operation, observation.kind) else {
                continue;
            };
            if plan.step(Some(observation.finished_on)) != plan.step(None) {
                continue;
            }
            let share = if is_one { 1.0 } else { expected(part) / total };
            let sum = &mut self.sums[plan.index * CODES + plan.code(part.class)];
            sum.quantity += float(observation.quantity) * share;
            sum.exposure += float(part.driver);
            sum.rooms += 1;
            if sum.newest.len() == NAMED_ROOMS {
                sum.newest.remove(0);
            }
            sum.newest.push(observations.taught(place, at));
        }
    }

    /// Returns the cells of which anything is known.
    pub(super) fn add_up(self) -> Vec<Experience> {
        let plans = self.plans;
        let found = self.sums.into_iter().enumerate();
        found
            .filter(|(_, sums)| sums.rooms > 0)
            .map(|(cell, sums)| Experience {
                operation: plans[cell / CODES].0,
                kind: plans[cell / CODES].1,
                code: cell % CODES,
                quantity: sums.quantity,
                exposure: sums.exposure,
                rooms: sums.rooms,
                newest: sums.newest,
            })
            .collect()
    }
}
