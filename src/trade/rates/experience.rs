//! What finished rooms took of each rate, added up: what a rate is shown beside.

use std::sync::Arc;

use chrono::NaiveDate;

use super::float::float;
use super::scheme::{CODES, Scheme};
use super::{Book, Observations, PartOf, RateKind, Status};
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
    newest: Vec<NewRoom>,
}

/// A room by the place of its observation, and by that of its part there.
#[derive(Debug)]
struct NewRoom {
    place: usize,
    part: usize,
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

/// Adds up what finished rooms took as things are done now, cell by cell.
///
/// A record over several parts is shared by what the book expects of each.
pub(super) fn experience(
    book: &Book,
    scheme: &Scheme,
    observations: &Observations,
    ordered: &[u32],
) -> Vec<Experience> {
    let plans = scheme.by_index();
    let mut sums: Vec<Sums> = Vec::new();
    sums.resize_with(plans.len() * CODES, Sums::default);
    for place in ordered {
        let place = *place as usize;
        if observations.at(place).status != Status::Doubted {
            add_up(&mut sums, book, scheme, observations, place);
        }
    }
    let found = sums.into_iter().enumerate();
    found
        .filter(|(_, sum)| sum.rooms > 0)
        .map(|(cell, sum)| Experience {
            operation: plans[cell / CODES].0,
            kind: plans[cell / CODES].1,
            code: cell % CODES,
            quantity: sum.quantity,
            exposure: sum.exposure,
            rooms: sum.rooms,
            newest: sum
                .newest
                .into_iter()
                .map(|NewRoom { place, part }| observations.taught(place, part))
                .collect(),
        })
        .collect()
}

/// Adds what an observation took to the cells of its parts, as far as they are done now as they were then.
fn add_up(
    sums: &mut [Sums],
    book: &Book,
    scheme: &Scheme,
    observations: &Observations,
    place: usize,
) {
    let observation = observations.at(place);
    let parts = observations.parts_of(place);
    let is_one = parts.len() == 1;
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
        let Some(plan) = scheme.plan(part.operation, observation.kind) else {
            continue;
        };
        if plan.step(Some(observation.finished_on)) != plan.step(None) {
            continue;
        }
        let share = if is_one { 1.0 } else { expected(part) / total };
        let sum = &mut sums[plan.index * CODES + plan.code(part.class)];
        sum.quantity += float(observation.quantity) * share;
        sum.exposure += float(part.driver);
        sum.rooms += 1;
        if sum.newest.len() == NAMED_ROOMS {
            sum.newest.remove(0);
        }
        sum.newest.push(NewRoom { place, part: at });
    }
}
