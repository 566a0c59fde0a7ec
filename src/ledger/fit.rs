//! What was learned is kept, and the key says when it must be learned again.
//!
//! A fit takes seconds on a long history, and nearly every command needs it. So the newest is kept, as one row with the
//! [`FitKey`] of what it was made from:
//!
//! | part of the key | goes stale when |
//! |---|---|
//! | digest of [`MODEL`] and [`Basis`] | the program's model is another; a book rate, a prior weight, an operation or a dated change is edited in what a fit depends on |
//! | number of observations in force, sums of the halves of their digests | a job is closed or its evidence written again; rows of a notebook are brought in or taken back; a record is set aside or taken up |
//!
//! While the key is the same the fit is read; else it is made again from all evidence, always from the same start: the
//! answer never depends on the history of commands. The sums stand in `evidence_digest`, where triggers move them with every
//! observation, so that the key is known without reading the evidence; a sum doesn't depend on the order in which it came.
//!
//! The stories of rates (`stories.rs`) are kept under the same key. They name records that are set aside, too, which aren't
//! in it: triggers delete all stories when any observation changes.
//!
//! All of this is a copy of what can be worked out: where it can't be written just now, or can't be read any more, it is
//! worked out.

use std::hash::Hasher;

use anyhow::Result;
use rusqlite::ErrorCode::{DatabaseBusy, DatabaseLocked, ReadOnly};
use rusqlite::{OptionalExtension, Params, named_params};
use siphasher::sip::SipHasher13;

use super::{Ledger, Refusal, kept};
use crate::money::Decimal;
use crate::trade::operation::Operation;
use crate::trade::rates::{Basis, BookRate, Change, Fit, MODEL, Observation, PriorWeights};
use crate::trade::{FloorCondition, Species};

/// What a fit was made from, as a text: the digest of the basis, the number of observations in force, and the sums of the
/// two halves of their digests.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct FitKey(pub(super) String);

impl Ledger {
    /// Returns the key of the fit that basis and evidence give.
    pub(super) fn fit_key(&self, basis: &Basis) -> Result<FitKey> {
        let (count, low, high): (i64, i64, i64) = self
            .connection
            .prepare_cached("SELECT count, low, high FROM evidence_digest")?
            .query_row([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
        let basis = digest_of_basis(MODEL, basis);
        Ok(FitKey(format!("{basis:016x} {count} {low} {high}")))
    }

    /// Returns the fit that is kept under that key; `None`: none is, or it has gone stale.
    pub(super) fn kept_fit(&self, key: &FitKey) -> Result<Option<Result<Fit, Refusal>>> {
        let kept: Option<String> = self
            .connection
            .prepare_cached("SELECT fit FROM rate_fit WHERE digest = :key")?
            .query_row(named_params! { ":key": key.0 }, |row| row.get(0))
            .optional()?;
        Ok(kept.map(|text| kept::read(&text, "the rates")))
    }

    /// Keeps a fit in place of the one before.
    pub(super) fn keep_fit(&self, key: &FitKey, fit: &Fit) -> Result<()> {
        self.keep_copy(
            "INSERT OR REPLACE INTO rate_fit (id, digest, fit) VALUES (1, :key, :fit)",
            named_params! { ":key": key.0, ":fit": kept::text(fit)? },
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

    /// Tells whether the fit that is kept, unless it has gone stale, is what evidence and book give.
    ///
    /// # Errors
    /// Refuses what can't be read any more.
    pub(super) fn kept_fit_holds(&self) -> Result<bool> {
        let basis = self.basis()?;
        let Some(kept) = self.kept_fit(&self.fit_key(&basis)?)?.transpose()? else {
            return Ok(true);
        };
        Ok(kept == *self.learned(basis)?.fit())
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
}

/// Returns the digest of a model and what it learns by: of every field that a fit can depend on, by name. What is left
/// out (names, prices, sources) changes no fit.
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

/// Returns the digest of an observation, kept beside it: of everything that rates are learned from, but for its status,
/// which decides whether it is in force.
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
