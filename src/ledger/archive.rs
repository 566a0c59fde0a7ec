//! The evidence as learning goes through it: job by job, in the canonical order of observations, and never held at once.

use std::collections::HashMap;
use std::ops::ControlFlow;

use anyhow::{Error, Result};
use chrono::NaiveDate;
use rusqlite::{CachedStatement, named_params};

use super::Ledger;
use super::evidence::{Dates, EvidenceById, observation_columns, part_columns};
use crate::trade::rates::{Archive, Filed, Order};

/// The evidence in force, but for what is doubted.
pub(super) struct Evidence<'a> {
    ledger: &'a Ledger,
    /// In their canonical order.
    runs: Vec<Run>,
    count: usize,
}

/// Observations of a job and a day that were written one after the other.
struct Run {
    day: NaiveDate,
    /// The job, by the order in which jobs have their first observation.
    job: u32,
    first: i64,
    last: i64,
}

/// A run whose job is known by its name only.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct NamedRun {
    day: NaiveDate,
    job: Box<str>,
    from_notebook: bool,
    first: i64,
    last: i64,
}

impl Ledger {
    /// Returns the evidence in force, but for what is doubted, to be gone through.
    pub(super) fn evidence(&self) -> Result<Evidence<'_>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT id, finished_on, job_label, job_id IS NULL FROM observation
             WHERE voided_at IS NULL AND word <> 'doubted' ORDER BY id",
        )?;
        let mut rows = statement.query([])?;
        let mut dates = Dates::default();
        let (mut runs, mut count): (Vec<NamedRun>, usize) = (Vec::new(), 0);
        while let Some(row) = rows.next()? {
            let (id, day) = (row.get(0)?, dates.get(row.get_ref(1)?)?);
            let (job, from_notebook) = (row.get_ref(2)?.as_str()?, row.get(3)?);
            count += 1;
            match runs.last_mut() {
                Some(run)
                    if (run.day, &*run.job, run.from_notebook) == (day, job, from_notebook) =>
                {
                    run.last = id;
                }
                _ => runs.push(NamedRun {
                    day,
                    job: job.into(),
                    from_notebook,
                    first: id,
                    last: id,
                }),
            }
        }
        runs.sort_unstable();
        Ok(Evidence {
            ledger: self,
            runs: known_jobs(runs),
            count,
        })
    }
}

/// Numbers the jobs of runs that are in their order.
fn known_jobs(runs: Vec<NamedRun>) -> Vec<Run> {
    let mut jobs: HashMap<(Box<str>, bool), u32> = HashMap::new();
    let mut found = Vec::with_capacity(runs.len());
    for run in runs {
        let next = jobs.len() as u32;
        found.push(Run {
            day: run.day,
            job: *jobs.entry((run.job, run.from_notebook)).or_insert(next),
            first: run.first,
            last: run.last,
        });
    }
    found
}

impl Archive for Evidence<'_> {
    type Error = Error;

    fn count(&self) -> usize {
        self.count
    }

    fn each(&self, order: Order, take: &mut dyn FnMut(Filed<'_>) -> ControlFlow<()>) -> Result<()> {
        let mut reading = self.reading()?;
        let lots = self
            .runs
            .chunk_by(|one, next| (one.day, one.job) == (next.day, next.job));
        let mut each = |lot: &[Run]| reading.lot(lot, order, take);
        let mut lots = lots;
        loop {
            let lot = match order {
                Order::OldestFirst => lots.next(),
                Order::NewestFirst => lots.next_back(),
            };
            match lot {
                Some(lot) if each(lot)?.is_continue() => {}
                _ => return Ok(()),
            }
        }
    }
}

impl Evidence<'_> {
    fn reading(&self) -> Result<Reading<'_>> {
        let connection = &self.ledger.connection;
        Ok(Reading {
            observations: connection.prepare_cached(concat!(
                observation_columns!(),
                " WHERE id BETWEEN :first AND :last AND voided_at IS NULL AND word <> 'doubted' ORDER BY id"
            ))?,
            parts: connection.prepare_cached(concat!(
                part_columns!(),
                " WHERE observation_id BETWEEN :first AND :last ORDER BY observation_id, id"
            ))?,
            dates: Dates::default(),
        })
    }
}

/// The statements that a lot is read with.
struct Reading<'a> {
    observations: CachedStatement<'a>,
    parts: CachedStatement<'a>,
    dates: Dates,
}

impl Reading<'_> {
    /// Hands on what a job took on a day.
    fn lot(
        &mut self,
        runs: &[Run],
        order: Order,
        take: &mut dyn FnMut(Filed<'_>) -> ControlFlow<()>,
    ) -> Result<ControlFlow<()>> {
        let mut found = EvidenceById::default();
        for Run { first, last, .. } in runs {
            let between = named_params! { ":first": first, ":last": last };
            found.read_observations(self.observations.query(between)?, &mut self.dates)?;
            found.read_parts(self.parts.query(between)?)?;
        }
        let mut places = found.observations.in_order();
        if order == Order::NewestFirst {
            places.reverse();
        }
        Ok(places.into_iter().try_for_each(|place| {
            take(Filed {
                observations: &found.observations,
                place: place as usize,
                job: runs[0].job,
            })
        }))
    }
}
