//! How did the rate for a floor come to be what it is?

use chrono::NaiveDate;

use super::fit::learn_in_order;
use super::{FloorClass, Observations, RateKind, RateRow, Rates};
use crate::trade::operation::Operation;

/// How many days the course of a rate shows at most.
const LONGEST_COURSE: usize = 10;

/// How many observations the story of a rate names at most.
const NAMED_OBSERVATIONS: usize = 50;

/// How the rate for a floor came to be what it is.
#[derive(Clone, Debug, PartialEq)]
pub struct Story {
    /// The places of the newest observations that taught it, oldest first; those that were set aside too.
    pub taught_by: Vec<usize>,
    /// How many taught it before those.
    pub earlier: usize,
    /// The rate as it stood after some of the days that taught it.
    pub course: Vec<(NaiveDate, RateRow)>,
}

impl Rates {
    /// Tells how the rate for a floor came to be what it is, from the observations of its kind.
    pub fn story(
        &self,
        observations: &Observations,
        operation: &Operation,
        kind: RateKind,
        class: FloorClass,
    ) -> Story {
        let mut taught_by: Vec<usize> = (0..observations.len())
            .filter(|place| self.is_like(observations, *place, operation, kind, class))
            .collect();
        taught_by.sort_by_key(|place| observations.at(*place).finished_on);
        let mut days: Vec<NaiveDate> = taught_by
            .iter()
            .map(|place| observations.at(*place).finished_on)
            .collect();
        days.dedup();
        let every = days.len().div_ceil(LONGEST_COURSE).max(1);
        let shown = days.iter().rev().step_by(every).rev();
        let mut ordered = observations.in_order();
        ordered.retain(|place| observations.at(*place as usize).kind == kind);
        let at = |day: &NaiveDate| {
            let mut basis = self.basis.clone();
            basis.changes.retain(|change| change.since <= *day);
            let known = ordered
                .partition_point(|place| observations.at(*place as usize).finished_on <= *day);
            let rates = learn_in_order(basis, observations, &ordered[..known]);
            Some((*day, rates.row_for(operation, kind, class)?))
        };
        let course = shown.filter_map(at).collect();
        let earlier = taught_by.len().saturating_sub(NAMED_OBSERVATIONS);
        taught_by.drain(..earlier);
        Story {
            taught_by,
            earlier,
            course,
        }
    }

    /// Tells whether an observation is of the cell that a floor belongs to, as things are done now: rooms like it.
    fn is_like(
        &self,
        observations: &Observations,
        place: usize,
        operation: &Operation,
        kind: RateKind,
        class: FloorClass,
    ) -> bool {
        let observation = observations.at(place);
        let on = Some(observation.finished_on);
        let work = observations.work_of(place);
        let place = self
            .scheme
            .place(observation.kind, on, work, &mut Vec::new());
        let plan = self.scheme.plan(operation.id, kind);
        plan.zip(place).is_some_and(|(plan, place)| {
            place.consumption == plan.consumption
                && place.step == plan.step(None)
                && place.code == plan.code(class)
        })
    }
}
