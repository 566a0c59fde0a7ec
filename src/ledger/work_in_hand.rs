//! Work in hand: how far each job has come, what it has earned and what it will keep, and the money that it moves.

use std::collections::BTreeMap;

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::named_params;

use super::books::JobRecord;
use super::{Agreed, Job, JobState, Ledger, Refusal, Settings, Span};
use crate::money::{Decimal, Money, product};
use crate::trade::budget::ahead::Ahead;
use crate::trade::budget::budget;
use crate::trade::budget::today::{OffBy, Today};
use crate::trade::cash::{Done, JobCash, Pace, WeekCash, by_week, days_of};
use crate::trade::job_cost::{Quoted, totals};
use crate::trade::progress::Progress;
use crate::trade::quote::{Line, Quote, WorkLine};
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

/// What jobs under way are expected to move in money, as it stood on a day.
#[derive(Clone, Debug)]
pub struct CashInHand {
    /// The day.
    pub as_of: NaiveDate,
    /// What moves, by the Monday of its week.
    pub weeks: Vec<(NaiveDate, WeekCash)>,
    /// The number of each job and when it is done, those that are begun first.
    pub jobs: Vec<(String, Done)>,
    /// Jobs under way that were agreed at one price before the ledger.
    pub before: Vec<String>,
    /// Hours of labour in a working day.
    pub crew_hours: Decimal,
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

    /// Returns the rooms of a job as they measure now; none, if one of them can't be measured any more (doorways wider than
    /// its walls), so that its job can still be shown and closed.
    pub(super) fn rooms_as_measured(
        &self,
        job: &Job,
        agreed: &Agreed,
    ) -> Result<Vec<MeasuredRoom>> {
        let in_job: Vec<RoomId> = agreed.rooms_to_do().iter().map(|room| room.id).collect();
        let mut rooms = self.rooms_of(job.site_id)?;
        rooms.retain(|room| in_job.contains(&room.id) && room.floor.is_measured());
        match self.measured(&rooms) {
            Err(error) if error.is::<Refusal>() => Ok(Vec::new()),
            measured => measured,
        }
    }

    /// Returns the jobs that are agreed or begun, one client's or all, as they stood on a day.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn work_in_hand(&self, on: NaiveDate, client: Option<ClientId>) -> Result<WorkInHand> {
        let is_past = on < self.today();
        self.as_it_stood(on, |ledger| ledger.in_hand(is_past, client, |_, _| Ok(())))
    }

    /// Returns what the same jobs are expected to move in money, week by week, and when each of them is done.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn cash_in_hand(&self, on: NaiveDate, client: Option<ClientId>) -> Result<CashInHand> {
        let is_past = on < self.today();
        self.as_it_stood(on, |ledger| {
            let mut jobs: Vec<(Job, JobCash)> = Vec::new();
            let in_hand = ledger.in_hand(is_past, client, |job, agreed| {
                jobs.push((job.job.clone(), ledger.cash_of(job, agreed)?));
                Ok(())
            })?;
            // Those that are begun are finished before others.
            jobs.sort_by_key(|(job, _)| job.state == JobState::Agreed);
            let (jobs, cash): (Vec<Job>, Vec<JobCash>) = jobs.into_iter().unzip();
            let settings = ledger.settings()?;
            let calendar = settings.calendar();
            let pace = Pace {
                today: ledger.today(),
                calendar: &calendar,
                payment_days: settings.payment_days,
            };
            let days = days_of(&cash, &pace);
            Ok(CashInHand {
                as_of: in_hand.as_of,
                weeks: by_week(&cash, &days, &pace).into_iter().collect(),
                jobs: jobs.into_iter().map(|job| job.number).zip(days).collect(),
                before: in_hand.before,
                crew_hours: settings.crew_hours,
            })
        })
    }

    fn in_hand(
        &self,
        is_past: bool,
        client: Option<ClientId>,
        mut hear: impl FnMut(&JobInHand, &Agreed) -> Result<()>,
    ) -> Result<WorkInHand> {
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
            let job = JobInHand {
                progress: Progress {
                    price: record.agreed.price() + record.agreed.variations() - off_price,
                    cost_to_date: estimate.cost_to_date,
                    cost_to_complete: estimate.ahead.costs.total(),
                    invoiced,
                },
                ahead: estimate.ahead,
                off_by: estimate.off_by,
                job: record.job,
            };
            hear(&job, &record.agreed)?;
            in_hand.jobs.push(job);
            Ok(())
        })?;
        Ok(in_hand)
    }

    /// Returns what a job is still to cost and to bring in.
    fn cash_of(&self, in_hand: &JobInHand, agreed: &Agreed) -> Result<JobCash> {
        let JobInHand {
            job,
            progress,
            ahead,
            ..
        } = in_hand;
        let plan = self.plan_of_job(job)?.map(|kept| kept.plan);
        let work = plan.iter().flat_map(|plan| &plan.phases);
        let work = work.flat_map(|phase| &phase.work);
        let mut planned: Vec<NaiveDate> = work.map(|stretch| stretch.day).collect();
        planned.sort_unstable();
        planned.dedup();
        let quotes = || agreed.quotes.iter().map(|record| &record.quote);
        let net: Money = quotes().map(|quote| quote.price).sum();
        let told: Money = quotes().map(Quote::total).sum();
        let left = (progress.price - progress.invoiced).max(Money::ZERO);
        let minor = |money: Money| Decimal::from(money.minor());
        Ok(JobCash {
            planned,
            begins: agreed
                .quotes
                .first()
                .and_then(|record| record.header.start_on),
            hours: ahead.hours,
            costs: ahead.costs,
            owed: self.owed_of(job)?,
            to_invoice: match net.is_zero() {
                true => left,
                false => left.share(minor(told), minor(net)),
            },
        })
    }

    /// Returns what is invoiced to a job and not paid, with the days on which it falls due.
    fn owed_of(&self, job: &Job) -> Result<Vec<(NaiveDate, Money)>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT due_on, asked_minor - paid_minor - lost_minor AS owed_minor
             FROM invoice_balance JOIN invoice ON invoice.id = invoice_id
             WHERE job_id = :job AND asked_minor > paid_minor + lost_minor ORDER BY invoice.id",
        )?;
        let owed = statement.query_map(named_params! { ":job": job.id }, |row| {
            Ok((row.get("due_on")?, row.get("owed_minor")?))
        })?;
        Ok(owed.collect::<rusqlite::Result<_>>()?)
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
