//! What finished rooms took of each rate, added up: what a rate is shown beside.

use std::sync::Arc;

use chrono::NaiveDate;

use super::float::float;
use super::scheme::{CODES, Scheme};
use super::{Book, Observation, ObservedPart, RateKind, Status};
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

/// What is added up for a cell; the newest rooms by observation and part.
#[derive(Debug, Default)]
struct Sums {
    quantity: f64,
    exposure: f64,
    rooms: usize,
    newest: Vec<(usize, usize)>,
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
    observations: &[&Observation],
) -> Vec<Experience> {
    let plans = scheme.by_index();
    let mut found: Vec<Sums> = Vec::new();
    found.resize_with(plans.len() * CODES, Sums::default);
    for (place, observation) in observations.iter().enumerate() {
        let expected = |part: &ObservedPart| {
            let row = book.row(part.operation, observation.kind, part.class);
            row.map_or(0.0, |row| {
                float(row.rate().expect(part.driver, part.passes))
            })
        };
        let total: f64 = match &observation.parts[..] {
            [_] => 1.0,
            parts => parts.iter().map(expected).sum(),
        };
        for (at, part) in observation.parts.iter().enumerate() {
            let Some(plan) = scheme.plan(part.operation, observation.kind) else {
                continue;
            };
            let is_old_way = plan.step(Some(observation.finished_on)) != plan.step(None);
            if total <= 0.0 || observation.status == Status::Doubted || is_old_way {
                continue;
            }
            let share = if observation.parts.len() == 1 {
                1.0
            } else {
                expected(part) / total
            };
            let sum = &mut found[plan.index * CODES + plan.code(part.class)];
            sum.quantity += float(observation.quantity) * share;
            sum.exposure += float(part.driver);
            sum.rooms += 1;
            if sum.newest.len() == NAMED_ROOMS {
                sum.newest.remove(0);
            }
            sum.newest.push((place, at));
        }
    }
    found
        .into_iter()
        .enumerate()
        .filter(|(_, sum)| sum.rooms > 0)
        .map(|(place, sum)| Experience {
            operation: plans[place / CODES].0,
            kind: plans[place / CODES].1,
            code: place % CODES,
            quantity: sum.quantity,
            exposure: sum.exposure,
            rooms: sum.rooms,
            newest: sum
                .newest
                .into_iter()
                .map(|(place, at)| Taught {
                    job: observations[place].job.clone(),
                    room: observations[place].parts[at].room.clone(),
                    finished_on: observations[place].finished_on,
                })
                .collect(),
        })
        .collect()
}
