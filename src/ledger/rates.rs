//! Book and experience together: what rates are learned by, and the fit that was learned.
//!
//! A fit is kept beside the digest of what it was made from: the observations in force (a sum of their own digests, in
//! whatever order they came), the book, the trust in it, the operations and the dated changes. While the digest is the
//! same the fit is read, else it is made again, always from the same start: the answer never depends on the history of
//! commands.

use std::hash::Hasher;

use anyhow::Result;
use rusqlite::ErrorCode::{DatabaseBusy, DatabaseLocked, ReadOnly};
use rusqlite::{OptionalExtension, Params, named_params};
use siphasher::sip::SipHasher13;

use super::{Ledger, Refusal, Writing, kept, refuse};
use crate::money::Decimal;
use crate::trade::operation::Operation;
use crate::trade::rates::{
    Basis, BookRate, Change, Fit, MODEL, Observation, PriorWeights, Rates, learn,
};
use crate::trade::{FloorCondition, OperationId, Species};

/// The digest of what a fit is made from: that of the basis, how many observations are in force, and the two halves of the
/// sum of their digests.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Digest(pub(super) String);

impl Ledger {
    /// Returns book and experience together, as quotes use them.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn rates(&self) -> Result<Rates> {
        let basis = self.basis()?;
        let digest = self.digest(&basis)?;
        // One that can't be read is made again like one that isn't there; `check` tells of it.
        let kept = self.kept_fit(&digest)?.and_then(Result::ok);
        if let Some(rates) = kept.and_then(|fit| Rates::from_fit(basis.clone(), fit)) {
            return Ok(rates);
        }
        let rates = learn(basis, self.observations()?);
        self.keep_rates(&digest, &rates)?;
        Ok(rates)
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

    pub(super) fn digest(&self, basis: &Basis) -> Result<Digest> {
        let (count, low, high): (i64, i64, i64) = self
            .connection
            .prepare_cached("SELECT count, low, high FROM evidence_digest")?
            .query_row([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
        let basis = digest_of_basis(MODEL, basis);
        Ok(Digest(format!("{basis:016x} {count} {low} {high}")))
    }

    fn kept_fit(&self, digest: &Digest) -> Result<Option<Result<Fit, Refusal>>> {
        let kept: Option<String> = self
            .connection
            .prepare_cached("SELECT fit FROM rate_fit WHERE digest = :digest")?
            .query_row(named_params! { ":digest": digest.0 }, |row| row.get(0))
            .optional()?;
        Ok(kept.map(|text| kept::read(&text, "the rates")))
    }

    fn keep_rates(&self, digest: &Digest, rates: &Rates) -> Result<()> {
        let fit = kept::text(rates.fit())?;
        self.keep_copy(
            "INSERT OR REPLACE INTO rate_fit (id, digest, fit) VALUES (1, :digest, :fit)",
            named_params! { ":digest": digest.0, ":fit": fit },
        )
    }

    /// Keeps a copy of what can be worked out; where the file can't be written just now, it is worked out the next time.
    pub(super) fn keep_copy(&self, sql: &str, values: impl Params) -> Result<()> {
        let not_now = |error: &rusqlite::Error| {
            let code = error.sqlite_error_code();
            matches!(code, Some(DatabaseBusy | DatabaseLocked | ReadOnly))
        };
        match self.connection.prepare_cached(sql)?.execute(values) {
            Err(error) if !not_now(&error) => Err(error.into()),
            _ => Ok(()),
        }
    }

    /// Tells whether the rates that are kept, if any are in force, are what evidence and book give.
    ///
    /// # Errors
    /// Refuses what can't be read any more.
    pub(super) fn kept_rates_hold(&self) -> Result<bool> {
        let basis = self.basis()?;
        let Some(kept) = self.kept_fit(&self.digest(&basis)?)?.transpose()? else {
            return Ok(true);
        };
        Ok(kept == *learn(basis, self.observations()?).fit())
    }

    /// Tells whether the digest of the evidence in force is the sum of the digests of its observations.
    pub(super) fn evidence_digest_holds(&self) -> Result<bool> {
        let sum = self
            .connection
            .prepare_cached(
                "SELECT 1 FROM evidence_digest AS kept
                 JOIN (SELECT COUNT(*) AS count, COALESCE(SUM(digest & 0xffffffff), 0) AS low,
                              COALESCE(SUM(digest >> 32), 0) AS high
                       FROM observation WHERE word <> 'doubted' AND voided_at IS NULL) AS summed
                      ON summed.count = kept.count AND summed.low = kept.low AND summed.high = kept.high",
            )?
            .exists([])?;
        Ok(sum)
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

/// A digest of texts, one after the other.
#[derive(Default)]
struct Hashed(SipHasher13);

impl Hashed {
    fn text(&mut self, text: &str) {
        self.0.write(text.as_bytes());
        self.0.write(&[0]);
    }

    fn number(&mut self, number: impl Into<Decimal>) {
        self.text(&number.into().normalize().to_string());
    }

    /// Takes a text that may not be there; no text is like it.
    fn maybe(&mut self, text: Option<&str>) {
        self.text(text.unwrap_or("\u{1}"));
    }

    fn rate(&mut self, rate: &BookRate) {
        let BookRate {
            operation,
            condition,
            species,
            kind,
            driver_per_item,
            fixed,
            source: _,
        } = rate;
        self.text("rate");
        self.number(operation.0);
        self.maybe(condition.map(FloorCondition::as_str));
        self.maybe(species.map(Species::as_str));
        self.text(kind.as_str());
        self.number(*driver_per_item);
        self.maybe(fixed.map(|fixed| fixed.normalize().to_string()).as_deref());
    }

    fn operation(&mut self, operation: &Operation) {
        let Operation {
            id,
            name: _,
            task,
            driver,
            item,
            set_size,
            family,
            splits,
            machine: _,
            grit: _,
            harden_hours: _,
            answers: _,
            hazards: _,
            description: _,
            source: _,
        } = operation;
        self.text("operation");
        self.number(id.0);
        self.number(task.id.0);
        self.text(driver.as_str());
        self.maybe(item.as_ref().map(|item| item.unit.as_str()));
        self.number(set_size.unwrap_or_default());
        self.text(family);
        self.text(splits.as_str());
    }

    fn change(&mut self, change: &Change) {
        let Change {
            operation,
            kind,
            since,
            note: _,
        } = change;
        self.text("change");
        self.number(operation.0);
        self.text(kind.as_str());
        self.text(&since.to_string());
    }
}

/// Returns the digest of a model and what it learns by: of every field that a fit can depend on, by name. What is left
/// out (what things are called, cost and are documented by) makes no fit another one.
fn digest_of_basis(model: u32, basis: &Basis) -> u64 {
    let Basis {
        book,
        prior_weights,
        operations,
        changes,
    } = basis;
    let PriorWeights {
        discs,
        finish,
        hours,
    } = *prior_weights;
    let mut hashed = Hashed::default();
    hashed.number(model);
    for weight in [discs, finish, hours] {
        hashed.number(weight);
    }
    for rate in book.rows() {
        hashed.rate(rate);
    }
    for operation in operations.values() {
        hashed.operation(operation);
    }
    for change in changes {
        hashed.change(change);
    }
    hashed.0.finish()
}

/// Returns the digest of an observation: of everything that rates are learned from.
pub(super) fn digest_of(observation: &Observation) -> i64 {
    let mut hashed = Hashed::default();
    hashed.text(observation.kind.as_str());
    hashed.text(&observation.job);
    hashed.text(if observation.from_notebook {
        "notebook"
    } else {
        "job"
    });
    hashed.text(&observation.finished_on.to_string());
    hashed.number(observation.quantity);
    for part in &observation.parts {
        hashed.text(&part.room);
        hashed.text(part.class.condition.as_str());
        hashed.text(part.class.species.as_str());
        hashed.number(part.operation.0);
        hashed.number(part.driver);
        hashed.number(part.passes);
    }
    hashed.0.finish().cast_signed()
}
