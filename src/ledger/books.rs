//! Many jobs read at once, each with all that was agreed for it and all that was logged on it.
//!
//! A question about many jobs is asked once for all of them. There is one query for each kind of row (quotes, their rooms
//! and lines, entries, receipts, rental days, …), each in the order of jobs; they are stepped through side by side, and a
//! job is handed out as soon as its rows are there. So memory holds one job, however many there are.
//!
//! Which jobs are asked about is a [`Span`] of ids: every one, or from one to itself, in which SQLite looks rows up by
//! index. So one job is the same code with one job in it.

use std::cmp::Ordering;

use anyhow::Result;
use rusqlite::{CachedStatement, Rows, named_params};

use super::columns::{NamedRow, names_of_columns};
use super::jobs::job_from_row;
use super::{Agreed, Job, Ledger};
use crate::trade::job_cost::Logged;
use crate::trade::{JobId, QuoteId};

/// From which id to which is read.
#[derive(Clone, Copy, Debug)]
pub struct Span {
    first: i64,
    last: i64,
}

impl Span {
    /// Every one that there is.
    pub const EVERY: Span = Span {
        first: i64::MIN,
        last: i64::MAX,
    };

    const fn one(id: i64) -> Span {
        Span {
            first: id,
            last: id,
        }
    }
}

impl From<JobId> for Span {
    fn from(job: JobId) -> Span {
        Span::one(job.0)
    }
}

impl From<QuoteId> for Span {
    fn from(quote: QuoteId) -> Span {
        Span::one(quote.0)
    }
}

/// A job with all that was agreed for it and all that was logged on it.
#[derive(Clone, Debug)]
pub(super) struct JobRecord {
    pub(super) job: Job,
    pub(super) agreed: Agreed,
    /// What it cost.
    pub(super) logged: Vec<Logged>,
}

/// What reads a part from its row.
type Reader<'statement, Part> = Box<dyn Fn(&NamedRow<'_>) -> rusqlite::Result<Part> + 'statement>;

/// The rows of a query, in the order of the wholes that they are part of.
pub(super) struct Parts<'statement, Whole, Part> {
    rows: Rows<'statement>,
    /// What their columns are called.
    names: Vec<String>,
    whole: fn(&NamedRow<'_>) -> rusqlite::Result<Whole>,
    part: Reader<'statement, Part>,
    /// What was read and not handed out: it is of a later whole.
    next: Option<(Whole, rusqlite::Result<Part>)>,
}

impl<'statement, Whole: Ord, Part> Parts<'statement, Whole, Part> {
    /// Asks a query of a span, whose rows have first what says of which whole they are.
    pub(super) fn of(
        statement: &'statement mut CachedStatement<'_>,
        span: Span,
        whole: fn(&NamedRow<'_>) -> rusqlite::Result<Whole>,
        part: impl Fn(&NamedRow<'_>) -> rusqlite::Result<Part> + 'statement,
    ) -> Result<Self> {
        let span = named_params! { ":first": span.first, ":last": span.last };
        Ok(Parts {
            names: names_of_columns(statement),
            rows: statement.query(span)?,
            whole,
            part: Box::new(part),
            next: None,
        })
    }

    /// Returns the parts of a whole, which comes after all those that were asked for before.
    pub(super) fn take(&mut self, whole: &Whole) -> Result<Vec<Part>> {
        self.take_by(|of| of.cmp(whole))
    }

    /// Returns the parts of the wholes that are found equal, which come after all those that were asked for before.
    pub(super) fn take_by(&mut self, place: impl Fn(&Whole) -> Ordering) -> Result<Vec<Part>> {
        let mut parts = Vec::new();
        while let Some((of, part)) = self.step()? {
            match place(&of) {
                // Of no whole that is there, in a damaged file; `check` tells of it.
                Ordering::Less => {}
                Ordering::Equal => parts.push(part?),
                Ordering::Greater => {
                    self.next = Some((of, part));
                    break;
                }
            }
        }
        Ok(parts)
    }

    /// Returns the next part, whatever it is of.
    pub(super) fn pop(&mut self) -> Result<Option<Part>> {
        Ok(self.step()?.map(|(_, part)| part).transpose()?)
    }

    fn step(&mut self) -> Result<Option<(Whole, rusqlite::Result<Part>)>> {
        if self.next.is_some() {
            return Ok(self.next.take());
        }
        let Some(row) = self.rows.next()? else {
            return Ok(None);
        };
        let row = NamedRow::with_names(row, &self.names);
        Ok(Some(((self.whole)(&row)?, (self.part)(&row))))
    }
}

/// Reads of which job a row is.
pub(super) fn of_job(row: &NamedRow<'_>) -> rusqlite::Result<JobId> {
    row.get("job_id")
}

impl Ledger {
    /// Hands out the jobs of spans, one after another, each with what was agreed for it and what was logged on it.
    ///
    /// # Errors
    /// Fails if the file can't be read, and with whatever `hear` fails with.
    pub(super) fn read_jobs(
        &self,
        spans: &[Span],
        mut hear: impl FnMut(JobRecord) -> Result<()>,
    ) -> Result<()> {
        let mut jobs = self.job_query()?;
        let (mut agreed, mut logged) = (self.agreed_queries()?, self.logged_queries()?);
        for span in spans {
            let mut jobs = Parts::of(&mut jobs, *span, |_| Ok(()), job_from_row)?;
            let (mut agreed, mut logged) = (agreed.rows(*span)?, logged.rows(*span)?);
            while let Some(job) = jobs.pop()? {
                hear(JobRecord {
                    agreed: agreed.of(&job)?,
                    logged: logged.of(job.id)?,
                    job,
                })?;
            }
        }
        Ok(())
    }

    /// Returns a job with what was agreed for it and what was logged on it.
    pub(super) fn record_of(&self, job: &Job) -> Result<JobRecord> {
        Ok(JobRecord {
            job: job.clone(),
            agreed: self.agreed(job)?,
            logged: self.logged(job)?,
        })
    }

    /// Returns what was agreed for a job.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn agreed(&self, job: &Job) -> Result<Agreed> {
        self.agreed_queries()?.rows(job.id.into())?.of(job)
    }

    /// Returns everything that a job cost, in trade words.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn logged(&self, job: &Job) -> Result<Vec<Logged>> {
        self.logged_queries()?.rows(job.id.into())?.of(job.id)
    }
}

#[cfg(test)]
mod tests {
    use rusqlite::StatementStatus;

    use super::*;
    use crate::ledger::demo::tests::demo;

    #[test]
    fn one_job_is_looked_up_by_index() {
        let (_folder, ledger) = demo();
        let job = &ledger.jobs().unwrap()[5];
        let mut agreed = ledger.agreed_queries().unwrap();
        let mut logged = ledger.logged_queries().unwrap();
        let quoted = agreed.rows(job.id.into()).unwrap().of(job).unwrap();
        assert!(!quoted.quotes.is_empty() && !quoted.room_names.is_empty());
        let cost = logged.rows(job.id.into()).unwrap().of(job.id).unwrap();
        assert!(!cost.is_empty());
        let statements = agreed.statements().into_iter().chain(logged.statements());
        for statement in statements {
            let worked = |status| statement.get_status(status);
            let read_through = worked(StatementStatus::FullscanStep);
            let made_for_it = worked(StatementStatus::AutoIndex);
            let sql = statement.expanded_sql().unwrap_or_default();
            assert_eq!((read_through, made_for_it), (0, 0), "{sql}");
        }
    }

    #[test]
    fn every_job_at_once_is_each_of_them_alone() {
        let (_folder, ledger) = demo();
        let mut at_once = Vec::new();
        let read = ledger.read_jobs(&[Span::EVERY], |record| {
            at_once.push(record);
            Ok(())
        });
        read.unwrap();
        let jobs = ledger.jobs().unwrap();
        assert_eq!(at_once.len(), jobs.len());
        for (record, job) in at_once.into_iter().zip(jobs) {
            let alone = ledger.record_of(&job).unwrap();
            assert_eq!(record.job, job);
            assert_eq!(record.agreed.quotes, alone.agreed.quotes, "{}", job.number);
            assert_eq!(record.agreed.room_names, alone.agreed.room_names);
            assert_eq!(record.logged, alone.logged, "{}", job.number);
        }
    }
}
