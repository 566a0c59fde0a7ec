//! Evidence as it is kept, and the rates learned from it.

use std::collections::BTreeMap;

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::named_params;

use super::columns::Micro;
use super::{Job, Ledger, Writing};
use crate::money::Decimal;
use crate::trade::JobId;
use crate::trade::evidence::observations;
use crate::trade::rates::{FloorClass, Observation, ObservedPart, RateKind, Rates, learn};

/// A row to be added to the evidence.
#[derive(Clone, Debug)]
pub(super) struct NewObservation<'a> {
    pub(super) job: Option<JobId>,
    pub(super) observation: &'a Observation,
    /// Area and edge as a notebook gave them, for its one part.
    pub(super) measures: (Option<Decimal>, Option<Decimal>),
}

impl Ledger {
    /// Returns book and experience together, as quotes use them.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn rates(&self) -> Result<Rates> {
        Ok(learn(
            self.book()?,
            self.trust()?,
            self.operations_by_id()?,
            &self.observations()?,
        ))
    }

    /// Returns what finished rooms took, in a fixed order: by date, job, and when it was written.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn observations(&self) -> Result<Vec<Observation>> {
        let mut parts = self.observed_parts()?;
        let mut statement = self.connection.prepare_cached(
            "SELECT id, kind, job_label, finished_on, quantity_micro FROM observation
             ORDER BY finished_on, job_label, id",
        )?;
        let observations = statement.query_map([], |row| {
            let id: i64 = row.get("id")?;
            let quantity: Micro = row.get("quantity_micro")?;
            Ok(Observation {
                kind: row.get::<_, RateKind>("kind")?,
                job: row.get("job_label")?,
                finished_on: row.get::<_, NaiveDate>("finished_on")?,
                quantity: quantity.0,
                parts: parts.remove(&id).unwrap_or_default(),
            })
        })?;
        Ok(observations.collect::<rusqlite::Result<_>>()?)
    }

    fn observed_parts(&self) -> Result<BTreeMap<i64, Vec<ObservedPart>>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT observation_id, operation_id, room_label, floor_condition, species, driver_micro, passes
             FROM observation_part ORDER BY id",
        )?;
        let rows = statement.query_map([], |row| {
            let driver: Micro = row.get("driver_micro")?;
            let part = ObservedPart {
                operation: row.get("operation_id")?,
                room: row.get("room_label")?,
                class: FloorClass {
                    condition: row.get("floor_condition")?,
                    species: row.get("species")?,
                },
                driver: driver.0,
                passes: row.get("passes")?,
            };
            Ok((row.get::<_, i64>("observation_id")?, part))
        })?;
        let mut parts: BTreeMap<i64, Vec<ObservedPart>> = BTreeMap::new();
        for row in rows {
            let (observation, part) = row?;
            parts.entry(observation).or_default().push(part);
        }
        Ok(parts)
    }
}

impl Writing<'_> {
    /// Writes what a closed job teaches, in place of what it taught before; returns how many observations.
    pub(super) fn write_evidence(&self, job: &Job) -> Result<usize> {
        self.clear_evidence(job.id)?;
        let found = observations(&self.finished(job)?);
        for observation in &found {
            self.add_observation(&NewObservation {
                job: Some(job.id),
                observation,
                measures: (None, None),
            })?;
        }
        Ok(found.len())
    }

    pub(super) fn clear_evidence(&self, job: JobId) -> Result<()> {
        self.connection.execute(
            "DELETE FROM observation WHERE job_id = :job",
            named_params! { ":job": job },
        )?;
        Ok(())
    }

    pub(super) fn add_observation(&self, new: &NewObservation<'_>) -> Result<()> {
        let NewObservation {
            job,
            observation,
            measures: (area, edge),
        } = new;
        let id = self.new_id("observation")?;
        self.connection
            .prepare_cached(
                "INSERT INTO observation (id, kind, job_id, job_label, finished_on, recorded_at, quantity_micro)
                 VALUES (:id, :kind, :job, :label, :finished_on, :now, :quantity)",
            )?
            .execute(named_params! {
                ":id": id, ":kind": observation.kind, ":job": job, ":label": observation.job,
                ":finished_on": observation.finished_on, ":now": self.now(), ":quantity": Micro(observation.quantity),
            })?;
        for part in &observation.parts {
            self.connection
                .prepare_cached(
                    "INSERT INTO observation_part (id, observation_id, operation_id, room_label, floor_condition, species,
                                                   driver_micro, passes, area_micro, edge_micro)
                     VALUES (:id, :observation, :operation, :room, :condition, :species, :driver, :passes, :area, :edge)",
                )?
                .execute(named_params! {
                    ":id": self.new_id("observation_part")?, ":observation": id, ":operation": part.operation,
                    ":room": part.room, ":condition": part.class.condition, ":species": part.class.species,
                    ":driver": Micro(part.driver), ":passes": part.passes, ":area": area.map(Micro),
                    ":edge": edge.map(Micro),
                })?;
        }
        Ok(())
    }
}
