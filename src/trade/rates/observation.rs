//! What goes in: what finished rooms took.

use std::sync::Arc;

use chrono::NaiveDate;

use super::{FloorClass, RateKind};
use crate::money::Decimal;
use crate::trade::{OperationId, closed_set};

/// What finished rooms took: one quantity over one or more rooms and operations.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Observation {
    /// Items or hours.
    pub kind: RateKind,
    /// The job, by its number or the notebook's name.
    pub job: Arc<str>,
    /// Whether it comes from a notebook, whose names of jobs are its own.
    pub from_notebook: bool,
    /// When the work was finished.
    pub finished_on: NaiveDate,
    /// How much it took.
    pub quantity: Decimal,
    /// What it covers.
    pub parts: Vec<ObservedPart>,
    /// What the entry check and the owner say of it.
    pub status: Status,
}

closed_set! {
    /// What the entry check and the owner say of an observation.
    Status, "word on an observation" {
        /// Nothing speaks against it.
        Good = "good",
        /// It looks like a slip: kept, shown, and set aside from learning until its owner answers.
        Doubted = "doubted",
        /// It looked like a slip, and its owner says that it is right.
        Confirmed = "confirmed",
    }
}

/// One room and operation that an observation covers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ObservedPart {
    /// The operation.
    pub operation: OperationId,
    /// The room's name.
    pub room: Arc<str>,
    /// The floor.
    pub class: FloorClass,
    /// Driver units, all passes.
    pub driver: Decimal,
    /// How often the room was gone over.
    pub passes: u32,
}

impl Observation {
    /// Returns the names of the rooms that it covers, each once; work in no room is that of the whole job.
    pub fn rooms(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for part in self.parts.iter().filter(|part| !part.room.is_empty()) {
            if !names.contains(&&*part.room) {
                names.push(&part.room);
            }
        }
        if names.is_empty() {
            names.push("the whole job");
        }
        names
    }
}
