//! Book and experience together: what rates are learned by, what was learned, and changes that their owner has dated.

use anyhow::Result;
use rusqlite::named_params;

use super::{Job, Ledger, Writing, refuse};
use crate::trade::OperationId;
use crate::trade::rates::{Basis, Change, Observation, RateMoved, Rates, learn_from, moved};

impl Ledger {
    /// Returns book and experience together, as quotes use them: as they are kept, or learned anew and kept.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn rates(&self) -> Result<Rates> {
        let basis = self.basis()?;
        let key = self.fit_key(&basis)?;
        // One that can't be read is made again like one that isn't there; `check` tells of it.
        let kept = self.kept_fit(&key)?.and_then(Result::ok);
        if let Some(rates) = kept.and_then(|fit| Rates::from_fit(basis.clone(), fit)) {
            return Ok(rates);
        }
        let rates = self.learned(basis)?;
        self.keep_fit(&key, rates.fit())?;
        Ok(rates)
    }

    /// Learns the rates from the evidence in force.
    pub(super) fn learned(&self, basis: Basis) -> Result<Rates> {
        self.in_passing(|| learn_from(basis, &self.evidence()?))
    }

    /// Returns the rates that a job moved which was just closed, from what they were before.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn moved_by(&self, job: &Job, before: &Rates) -> Result<Vec<RateMoved>> {
        let lessons = self.lessons_of(job)?.into_iter();
        let taught: Vec<Observation> = lessons.map(|lesson| lesson.observation).collect();
        Ok(moved(before, &self.rates()?, &taught))
    }

    /// Returns everything that rates are learned by, beside the rooms.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn basis(&self) -> Result<Basis> {
        Ok(Basis {
            book: self.book()?,
            prior_weights: self.settings()?.prior_weights(),
            operations: self.operations_by_id()?,
            changes: self.rate_changes()?,
        })
    }

    /// Returns the changes that the owner has dated, in order.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn rate_changes(&self) -> Result<Vec<Change>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT operation_id, kind, since, note FROM rate_change ORDER BY since, id",
        )?;
        let changes = statement.query_map([], |row| {
            Ok(Change {
                operation: row.get(0)?,
                kind: row.get(1)?,
                since: row.get(2)?,
                note: row.get(3)?,
            })
        })?;
        Ok(changes.collect::<rusqlite::Result<_>>()?)
    }
}

impl Writing<'_> {
    /// Dates a change of supplier or technique.
    ///
    /// # Errors
    /// Refuses a day after today, no note, and a change that is there already.
    pub fn change_rate(&self, change: &Change) -> Result<()> {
        self.refuse_future(change.since)?;
        if change.note.trim().is_empty() {
            refuse!("say what was changed");
        }
        let there = self.rate_changes()?.iter().any(|known| {
            (known.operation, known.kind, known.since)
                == (change.operation, change.kind, change.since)
        });
        let name = self.operation_name(change.operation)?;
        if there {
            refuse!("a change of {name} on {} is noted already", change.since);
        }
        self.connection.execute(
            "INSERT INTO rate_change (id, operation_id, kind, since, note, recorded_at)
             VALUES (:id, :operation, :kind, :since, :note, :now)",
            named_params! {
                ":id": self.new_id("rate_change")?, ":operation": change.operation, ":kind": change.kind,
                ":since": change.since, ":note": change.note.trim(), ":now": self.now(),
            },
        )?;
        self.log(&format!(
            "{name} is learned anew since {}: {}.",
            change.since,
            change.note.trim()
        ))
    }

    fn operation_name(&self, operation: OperationId) -> Result<String> {
        Ok(self
            .operations_by_id()?
            .get(&operation)
            .map_or_else(String::new, |operation| operation.name.clone()))
    }
}
