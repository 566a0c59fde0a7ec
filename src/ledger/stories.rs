//! How rates came to be what they are: the rooms that taught them, and their course.
//!
//! The course is learned anew for each of its days, so a story takes many times as long as the rates themselves. It is
//! kept as long as the fit is in force and no observation was written or set aside since (triggers see to that), and is
//! then read again, however long the history is.

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::{OptionalExtension, named_params};

use super::evidence::KeptObservation;
use super::rates::Digest;
use super::{Ledger, Refusal, kept};
use crate::trade::operation::Operation;
use crate::trade::rates::{FloorClass, RateKind, RateRow, Rates, Story};

/// A story as it is kept: observations by their ids.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct KeptStory {
    pub(super) taught_by: Vec<i64>,
    pub(super) earlier: usize,
    pub(super) course: Vec<(NaiveDate, RateRow)>,
}

/// How the rate for a floor came to be what it is.
#[derive(Clone, Debug)]
pub struct RateHistory {
    /// The newest records that taught it, oldest first; those that were set aside too.
    pub taught_by: Vec<KeptObservation>,
    /// How many taught it before those.
    pub earlier: usize,
    /// The rate as it stood after some of the days that taught it.
    pub course: Vec<(NaiveDate, RateRow)>,
}

impl Ledger {
    /// Tells how the rate for a floor came to be what it is.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn rate_history(
        &self,
        rates: &Rates,
        operation: &Operation,
        kind: RateKind,
        class: FloorClass,
    ) -> Result<RateHistory> {
        // One that can't be read is worked out again like one that isn't there; `check` tells of it.
        let digest = self.digest(rates.basis())?;
        let kept = self.kept_story(&digest, operation, kind, class)?;
        let KeptStory {
            taught_by,
            earlier,
            course,
        } = match kept.and_then(Result::ok) {
            Some(kept) => kept,
            None => {
                let told = self.tell_story(rates, operation, kind, class)?;
                self.keep_story(&told, &digest, operation, kind, class)?;
                told
            }
        };
        let named = taught_by.into_iter().map(|id| self.kept_observation(id));
        Ok(RateHistory {
            taught_by: named.collect::<Result<_>>()?,
            earlier,
            course,
        })
    }

    fn tell_story(
        &self,
        rates: &Rates,
        operation: &Operation,
        kind: RateKind,
        class: FloorClass,
    ) -> Result<KeptStory> {
        let (ids, observations) = self.observations_by_id()?;
        let Story {
            taught_by,
            earlier,
            course,
        } = rates.story(&observations, operation, kind, class);
        Ok(KeptStory {
            taught_by: taught_by.into_iter().map(|place| ids[place]).collect(),
            earlier,
            course,
        })
    }

    fn kept_story(
        &self,
        digest: &Digest,
        operation: &Operation,
        kind: RateKind,
        class: FloorClass,
    ) -> Result<Option<Result<KeptStory, Refusal>>> {
        let kept: Option<String> = self
            .connection
            .prepare_cached(
                "SELECT story FROM rate_story WHERE operation_id = :operation AND kind = :kind
                 AND floor_condition = :condition AND species = :species AND digest = :digest",
            )?
            .query_row(
                named_params! {
                    ":operation": operation.id, ":kind": kind, ":condition": class.condition, ":species": class.species,
                    ":digest": digest.0,
                },
                |row| row.get(0),
            )
            .optional()?;
        Ok(kept.map(|text| kept::read(&text, &format!("the rate of {}", operation.name))))
    }

    fn keep_story(
        &self,
        story: &KeptStory,
        digest: &Digest,
        operation: &Operation,
        kind: RateKind,
        class: FloorClass,
    ) -> Result<()> {
        self.keep_copy(
            "INSERT OR REPLACE INTO rate_story (operation_id, kind, floor_condition, species, digest, story)
             VALUES (:operation, :kind, :condition, :species, :digest, :story)",
            named_params! {
                ":operation": operation.id, ":kind": kind, ":condition": class.condition, ":species": class.species,
                ":digest": digest.0, ":story": kept::text(story)?,
            },
        )
    }

    /// Returns the operations whose stories are kept, are in force, and aren't what evidence and book give.
    ///
    /// # Errors
    /// Refuses what can't be read any more.
    pub(super) fn wrong_stories(&self) -> Result<Vec<String>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT operation_id, kind, floor_condition, species FROM rate_story",
        )?;
        let kept = statement.query_map([], |row| {
            let class = FloorClass {
                condition: row.get(2)?,
                species: row.get(3)?,
            };
            Ok((row.get(0)?, row.get(1)?, class))
        })?;
        let rates = self.rates()?;
        let digest = self.digest(rates.basis())?;
        let mut wrong = Vec::new();
        for story in kept {
            let (operation, kind, class) = story?;
            let Some(operation) = rates.operations().get(&operation) else {
                continue;
            };
            let Some(kept) = self
                .kept_story(&digest, operation, kind, class)?
                .transpose()?
            else {
                continue;
            };
            if kept != self.tell_story(&rates, operation, kind, class)? {
                wrong.push(operation.name.clone());
            }
        }
        Ok(wrong)
    }
}
