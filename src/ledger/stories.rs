//! How rates came to be what they are: the rooms that taught them, and their course.
//!
//! The course is learned anew for each of its days, so a story takes many times as long as the rates themselves. It is
//! kept like the fit, and read again until it goes stale (`fit.rs` says when).

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::{OptionalExtension, named_params};

use super::evidence::{EvidenceById, KeptObservation};
use super::fit::FitKey;
use super::{Ledger, Refusal, kept};
use crate::trade::OperationId;
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

/// Whose story it is: the rate of an operation on a floor.
#[derive(Clone, Copy)]
struct StoryOf<'a> {
    operation: &'a Operation,
    kind: RateKind,
    class: FloorClass,
}

impl StoryOf<'_> {
    /// Tells its story from the evidence in force.
    fn story(self, rates: &Rates, evidence: &EvidenceById) -> KeptStory {
        let Story {
            taught_by,
            earlier,
            course,
        } = rates.story(
            &evidence.observations,
            self.operation,
            self.kind,
            self.class,
        );
        KeptStory {
            taught_by: taught_by
                .into_iter()
                .map(|place| evidence.ids[place])
                .collect(),
            earlier,
            course,
        }
    }
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
        let of = StoryOf {
            operation,
            kind,
            class,
        };
        let key = self.fit_key(rates.basis())?;
        // One that can't be read is worked out again like one that isn't there; `check` tells of it.
        let kept = self.kept_story(&key, of)?.and_then(Result::ok);
        let KeptStory {
            taught_by,
            earlier,
            course,
        } = match kept {
            Some(kept) => kept,
            None => {
                let told = of.story(rates, &self.evidence_by_id()?);
                self.keep_story(&told, &key, of)?;
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

    fn kept_story(
        &self,
        key: &FitKey,
        of: StoryOf<'_>,
    ) -> Result<Option<Result<KeptStory, Refusal>>> {
        let kept: Option<String> = self
            .connection
            .prepare_cached(
                "SELECT story FROM rate_story WHERE operation_id = :operation AND kind = :kind
                 AND floor_condition = :condition AND species = :species AND digest = :digest",
            )?
            .query_row(
                named_params! {
                    ":operation": of.operation.id, ":kind": of.kind, ":condition": of.class.condition,
                    ":species": of.class.species, ":digest": key.0,
                },
                |row| row.get(0),
            )
            .optional()?;
        let name = &of.operation.name;
        Ok(kept.map(|text| kept::read(&text, &format!("the rate of {name}"))))
    }

    fn keep_story(&self, story: &KeptStory, key: &FitKey, of: StoryOf<'_>) -> Result<()> {
        self.keep_copy(
            "INSERT OR REPLACE INTO rate_story (operation_id, kind, floor_condition, species, digest, story)
             VALUES (:operation, :kind, :condition, :species, :digest, :story)",
            named_params! {
                ":operation": of.operation.id, ":kind": of.kind, ":condition": of.class.condition,
                ":species": of.class.species, ":digest": key.0, ":story": kept::text(story)?,
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
        let kept: Vec<(OperationId, RateKind, FloorClass)> =
            kept.collect::<rusqlite::Result<_>>()?;
        if kept.is_empty() {
            return Ok(Vec::new());
        }
        let (rates, evidence) = (self.rates()?, self.evidence_by_id()?);
        let key = self.fit_key(rates.basis())?;
        let mut wrong = Vec::new();
        for (operation, kind, class) in kept {
            let Some(operation) = rates.operations().get(&operation) else {
                continue;
            };
            let of = StoryOf {
                operation,
                kind,
                class,
            };
            let kept = self.kept_story(&key, of)?.transpose()?;
            if kept.is_some_and(|kept| kept != of.story(&rates, &evidence)) {
                wrong.push(operation.name.clone());
            }
        }
        Ok(wrong)
    }
}
