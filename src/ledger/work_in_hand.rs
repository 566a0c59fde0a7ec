//! Work in hand: how far each job has come, what it has earned and what it will keep.

use std::collections::BTreeMap;

use anyhow::Result;
use chrono::NaiveDate;

use super::books::JobRecord;
use super::{Agreed, Job, Ledger, Settings, Span};
use crate::money::{Decimal, Money, product};
use crate::trade::budget::ahead::Ahead;
use crate::trade::budget::budget;
use crate::trade::budget::today::{OffBy, Today};
use crate::trade::job_cost::{Quoted, totals};
use crate::trade::progress::Progress;
use crate::trade::quote::{Line, WorkLine};
use crate::trade::rates::{FloorClass, Rates};
use crate::trade::takeoff::MeasuredRoom;
use crate::trade::{ClientId, OperationId, RoomId};

/// Every job under way, as it stood on a day.
#[derive(Clone, Debug)]
pub struct WorkInHand {
    /// The day.
    pub as_of: NaiveDate,
    /// How sure the bands are, as a fraction.
    pub confidence: Decimal,
    /// The jobs, oldest first.
    pub jobs: Vec<JobInHand>,
    /// Jobs under way that were agreed at one price before the ledger: nothing says what is left of them.
    pub before: Vec<String>,
}

/// A job that is agreed or begun, and not over.
#[derive(Clone, Debug)]
pub struct JobInHand {
    /// The job.
    pub job: Job,
    /// Its price, cost and bills.
    pub progress: Progress,
    /// What is still to come of its cost.
    pub ahead: Ahead,
    /// How far that may be off.
    pub off_by: OffBy,
}

/// What the rest of jobs is estimated by.
pub(super) struct Estimating {
    rates: Rates,
    operations: BTreeMap<OperationId, String>,
    settings: Settings,
    /// What an hour costs today; `None`: nobody works here.
    hour: Option<Decimal>,
    /// Rooms count as they measure now, and not as they were agreed.
    as_measured: bool,
}

/// What is estimated of the rest of a job.
pub(super) struct Estimate {
    pub(super) ahead: Ahead,
    pub(super) off_by: OffBy,
    /// What the job has cost.
    pub(super) cost_to_date: Money,
}

impl Ledger {
    /// Returns what the rest of jobs is estimated by, on the ledger's day.
    pub(super) fn estimating(&self, is_past: bool) -> Result<Estimating> {
        let settings = Settings::clone(&*self.settings()?);
        let wage = self.mean_wage()?;
        Ok(Estimating {
            // A fit that is kept is of all that was ever taught.
            rates: match is_past {
                true => self.learned(self.basis()?)?,
                false => self.rates()?,
            },
            operations: self.operation_names()?,
            hour: wage.map(|wage| product([wage, settings.burden])),
            settings,
            as_measured: !is_past,
        })
    }

    /// Estimates what is still to come of a job.
    pub(super) fn estimate(&self, record: &JobRecord, by: &Estimating) -> Result<Estimate> {
        let JobRecord {
            job,
            agreed,
            logged,
        } = record;
        let terms = agreed.terms();
        let hour = match terms {
            Some(terms) if terms.own => Decimal::ZERO,
            Some(terms) => by.hour.unwrap_or(product([terms.wage, terms.burden])),
            None => by.hour.unwrap_or_default(),
        };
        let taxed = self.tax_on_bought(job.site_id)?;
        let today = Today {
            rates: &by.rates,
            hour,
            items_times: Decimal::ONE + taxed / Decimal::ONE_HUNDRED,
            currency: self.currency(),
        };
        let rooms = match by.as_measured {
            true => self.rooms_as_measured(job, agreed)?,
            false => Vec::new(),
        };
        let (lines, work) = expected(agreed, &rooms, &today);
        let quoted = lines.iter().map(|lines| Quoted {
            rooms: Vec::new(),
            lines,
            hour,
        });
        let quoted: Vec<Quoted<'_>> = quoted.collect();
        let names = |operation| by.operations.get(&operation).cloned().unwrap_or_default();
        let overhead = agreed.overhead().unwrap_or(by.settings.overhead);
        let in_order: Vec<&WorkLine> = work.iter().map(|(line, _)| line).collect();
        let ahead = budget(&quoted, logged, names).ahead(&in_order, logged, overhead);
        let off_by = today.off_by(&ahead, &work, overhead, by.settings.confidence);
        Ok(Estimate {
            cost_to_date: totals(logged, overhead).total(),
            ahead,
            off_by,
        })
    }

    /// Returns the rooms of a job as they measure now.
    fn rooms_as_measured(&self, job: &Job, agreed: &Agreed) -> Result<Vec<MeasuredRoom>> {
        let in_job: Vec<RoomId> = agreed.rooms_to_do().iter().map(|room| room.id).collect();
        let mut rooms = self.rooms_of(job.site_id)?;
        rooms.retain(|room| in_job.contains(&room.id) && room.floor.is_measured());
        self.measured(&rooms)
    }

    /// Returns the jobs that are agreed or begun, one client's or all, as they stood on a day.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn work_in_hand(&self, on: NaiveDate, client: Option<ClientId>) -> Result<WorkInHand> {
        let is_past = on < self.today();
        self.as_it_stood(on, |ledger| ledger.in_hand(is_past, client))
    }

    fn in_hand(&self, is_past: bool, client: Option<ClientId>) -> Result<WorkInHand> {
        let by = self.estimating(is_past)?;
        let jobs = self.jobs_not_closed()?.into_iter();
        let is_asked = |job: &Job| !job.own && client.is_none_or(|client| job.client_id == client);
        let (jobs, before): (Vec<Job>, Vec<Job>) =
            jobs.filter(is_asked).partition(|job| job.before.is_none());
        let spans: Vec<Span> = jobs.iter().map(|job| job.id.into()).collect();
        let mut in_hand = WorkInHand {
            as_of: self.today(),
            confidence: by.settings.confidence,
            jobs: Vec::new(),
            before: before.into_iter().map(|job| job.number).collect(),
        };
        self.read_jobs(&spans, |record| {
            let estimate = self.estimate(&record, &by)?;
            let (invoiced, off_price) = self.invoiced(record.job.id)?.unwrap_or_default();
            in_hand.jobs.push(JobInHand {
                progress: Progress {
                    price: record.agreed.price() + record.agreed.variations() - off_price,
                    cost_to_date: estimate.cost_to_date,
                    cost_to_complete: estimate.ahead.costs.total(),
                    invoiced,
                },
                ahead: estimate.ahead,
                off_by: estimate.off_by,
                job: record.job,
            });
            Ok(())
        })?;
        Ok(in_hand)
    }
}

/// Returns what was agreed as it is expected today: the lines of each quote, and all work with its floor.
fn expected(
    agreed: &Agreed,
    rooms: &[MeasuredRoom],
    today: &Today<'_>,
) -> (Vec<Vec<Line>>, Vec<(WorkLine, FloorClass)>) {
    let mut all_work = Vec::new();
    let lines = agreed.quotes.iter().map(|record| {
        let lines = record.quote.lines.iter();
        let expected = lines.map(|line| match line {
            Line::Work(work) => {
                let room = rooms.iter().find(|room| Some(room.id) == work.room);
                let Some(class) = record.quote.class_of(work) else {
                    return line.clone(); // In a damaged file; `check` tells of it.
                };
                let (work, class) = today.work(work, room, class);
                all_work.push((work.clone(), class));
                Line::Work(work)
            }
            other => other.clone(),
        });
        expected.collect()
    });
    (lines.collect(), all_work)
}
