//! Looking back: margins, variances, consumables.

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Result;

use super::books::{JobRecord, Parts, of_job};
use super::columns::NamedRow;
use super::groups::About;
use super::{Agreed, Group, Grouping, Job, Ledger, Span};
use crate::money::{Currency, Decimal, Money};
use crate::trade::evidence::FinishedRoom;
use crate::trade::job_cost::{Logged, Missing, Outcome, by_room, totals};
use crate::trade::operation::Operation;
use crate::trade::variance::flexible::Flexible;
use crate::trade::variance::{LineKind, Side, Variance, compare};
use crate::trade::{FloorCondition, JobId, OperationId, RoomId, Unit};

/// A job's outcome.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JobMargin {
    /// The job.
    pub job: Job,
    /// What it brought in and cost.
    pub outcome: Outcome,
    /// The same for each of its rooms, where that was asked for; a job without any has all of it in none.
    pub rooms: Vec<RoomMargin>,
}

/// The outcome of a room.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RoomMargin {
    /// Its name, and what its first cut met; `None`: the job as a whole.
    pub room: Option<(String, FloorCondition)>,
    /// Its share of what the job brought in and cost.
    pub outcome: Outcome,
}

impl JobMargin {
    /// Returns the outcomes of what its rows are about.
    pub fn by(self, by: Grouping) -> Vec<(Group, Outcome)> {
        let JobMargin {
            job,
            outcome,
            rooms,
        } = self;
        let rooms = match by {
            Grouping::Room | Grouping::Condition => rooms,
            _ => vec![RoomMargin {
                room: None,
                outcome,
            }],
        };
        let day = job.counted_on();
        let rows = rooms.into_iter().map(|RoomMargin { room, outcome }| {
            let about = About {
                room: room.as_ref().map(|(name, _)| name.as_str()),
                condition: room.as_ref().map(|(_, condition)| *condition),
                ..About::default()
            };
            (Group::of(by, &job, day, about), outcome)
        });
        rows.collect()
    }
}

/// A job's variance, with what is needed to print it.
#[derive(Clone, Debug)]
pub struct JobVariance {
    /// The job.
    pub job: Job,
    /// Quoted beside actual.
    pub variance: Variance,
    /// Of each of its lines, why more or less was used.
    pub flexible: Vec<Flexible>,
    /// Names of the rooms.
    pub rooms: BTreeMap<RoomId, String>,
}

/// Quoted and used of one item, over jobs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ConsumableLine {
    /// What it adds to; `None`: nothing was asked for.
    pub group: Option<Group>,
    /// The item's name.
    pub item: String,
    /// The operation; `None`: not said, or not told apart.
    pub operation: Option<String>,
    /// The item's unit.
    pub unit: Unit,
    /// Jobs that quoted or used it.
    pub jobs: usize,
    /// Quoted, where something was recorded.
    pub quoted: Side,
    /// Used; `None`: nothing was recorded anywhere.
    pub used: Option<Side>,
    /// Quoted, where nothing was recorded.
    pub not_recorded: Side,
}

/// What tells lines apart: group, item, operation and unit.
type ConsumableKey = (Option<Group>, String, Option<String>, Unit);

/// The items of jobs, added up.
struct Consumables {
    by: Option<Grouping>,
    grits: Grits,
    lines: BTreeMap<ConsumableKey, ConsumableLine>,
}

impl Consumables {
    /// Adds the items of a job.
    fn add(&mut self, job: &Job, agreed: &Agreed, variance: Variance) {
        let rooms = match self.by {
            Some(Grouping::Room | Grouping::Condition) => agreed.rooms(),
            _ => Vec::new(),
        };
        let rooms: BTreeMap<RoomId, FinishedRoom> = rooms
            .into_iter()
            .map(|(room, ..)| (room.id, room))
            .collect();
        let mut seen: BTreeSet<ConsumableKey> = BTreeSet::new();
        for line in variance.lines {
            let compared = line.compared().copied();
            let subject = line.subject;
            let (LineKind::Item, Some(item)) = (subject.kind, &subject.item) else {
                continue;
            };
            let room = subject.room.and_then(|room| rooms.get(&room));
            let operation = subject.operation.as_deref();
            let about = About {
                room: room.map(|room| room.name.as_str()),
                condition: room.map(|room| room.class.condition),
                operation,
                item: Some(item),
                grit: self.grits.of(item, operation),
                ..About::default()
            };
            let group = self
                .by
                .map(|by| Group::of(by, job, job.counted_on(), about));
            let apart = matches!(self.by, None | Some(Grouping::Item | Grouping::Operation));
            let operation = subject.operation.clone().filter(|_| apart);
            let key = (group, item.clone(), operation, subject.unit);
            let total = self
                .lines
                .entry(key.clone())
                .or_insert_with(|| ConsumableLine {
                    group: key.0.clone(),
                    item: key.1.clone(),
                    operation: key.2.clone(),
                    unit: key.3,
                    jobs: 0,
                    quoted: Side::default(),
                    used: None,
                    not_recorded: Side::default(),
                });
            match compared {
                Some(compared) => {
                    total.quoted.add(line.quoted);
                    total.used.get_or_insert_default().add(compared.side);
                }
                None => total.not_recorded.add(line.quoted),
            }
            total.jobs += usize::from(seen.insert(key));
        }
    }
}

/// How fine abrasives are.
#[derive(Default)]
struct Grits {
    by_operation: BTreeMap<String, u32>,
    /// Of items that operations of one grit alone take.
    by_item: BTreeMap<String, Option<u32>>,
}

impl Grits {
    fn new(operations: Vec<Operation>) -> Grits {
        let mut grits = Grits::default();
        for operation in operations {
            if let Some(item) = operation.item {
                let known = grits.by_item.entry(item.name).or_insert(operation.grit);
                *known = known.filter(|known| operation.grit == Some(*known));
            }
            let grit = operation.grit.map(|grit| (operation.name, grit));
            grits.by_operation.extend(grit);
        }
        grits
    }

    /// Returns the grit of an item in an operation; `None`: it is no abrasive.
    fn of(&self, item: &str, operation: Option<&str>) -> Option<u32> {
        let by_operation = operation.and_then(|name| self.by_operation.get(name));
        by_operation.copied().or(*self.by_item.get(item)?)
    }
}

/// What jobs are judged by, beside their own records.
pub(super) struct Judge {
    /// Overhead of jobs that have no quote.
    overhead: Decimal,
    /// What operations are called.
    operations: BTreeMap<OperationId, String>,
    /// What was invoiced for cancelled jobs, before tax.
    invoiced: BTreeMap<JobId, Money>,
    /// What credit notes took off the price of jobs, before tax.
    credited: BTreeMap<JobId, Money>,
    currency: Currency,
}

impl Judge {
    fn overhead(&self, agreed: &Agreed) -> Decimal {
        agreed.overhead().unwrap_or(self.overhead)
    }

    pub(super) fn variance(&self, record: &JobRecord) -> Variance {
        compare(
            &record.agreed.quoted(),
            &record.logged,
            self.overhead(&record.agreed),
            |operation| self.operations.get(&operation).cloned().unwrap_or_default(),
            self.currency,
        )
    }

    fn margin(&self, record: JobRecord, with_rooms: bool) -> JobMargin {
        let variance = self.variance(&record);
        let JobRecord {
            job,
            agreed,
            logged,
        } = record;
        let overhead = self.overhead(&agreed);
        let late = logged.iter().filter(|cost| cost.late);
        let credited = self.credited.get(&job.id).copied();
        let outcome = Outcome {
            price: agreed.price(),
            variations: agreed.variations() - credited.unwrap_or_default(),
            estimated: agreed.estimated(),
            unestimated: agreed.unestimated(),
            actual: totals(&logged, overhead).total(),
            late: totals(late, overhead).total(),
            missing: match &agreed.before {
                // Without a day book nobody knows what it cost: that isn't nothing.
                Some(before) if logged.is_empty() => Missing {
                    others: 1,
                    quoted: before.cost.unwrap_or_default(),
                    ..Missing::default()
                },
                _ => variance.missing(),
            },
            over: Money::ZERO,
        }
        .compared();
        if job.cancelled.is_some() {
            return self.cancelled_margin(job, outcome);
        }
        let rooms = if with_rooms {
            rooms_of(&agreed, &logged, &outcome, &variance)
        } else {
            Vec::new()
        };
        JobMargin {
            job,
            outcome,
            rooms,
        }
    }
}

impl Judge {
    /// Returns the outcome of a cancelled job: what was invoiced for it is its income, what was logged its cost, and nothing
    /// of that was quoted so.
    fn cancelled_margin(&self, job: Job, outcome: Outcome) -> JobMargin {
        let invoiced = self.invoiced.get(&job.id).copied().unwrap_or_default();
        let outcome = Outcome {
            price: invoiced,
            unestimated: invoiced,
            actual: outcome.actual,
            late: outcome.late,
            ..Outcome::default()
        };
        JobMargin {
            rooms: vec![RoomMargin {
                room: None,
                outcome,
            }],
            job,
            outcome,
        }
    }
}

/// Returns the outcome of each room of a job.
fn rooms_of(
    agreed: &Agreed,
    logged: &[Logged],
    outcome: &Outcome,
    variance: &Variance,
) -> Vec<RoomMargin> {
    let rooms = agreed.rooms();
    if rooms.is_empty() {
        let (room, outcome) = (None, *outcome);
        return vec![RoomMargin { room, outcome }];
    }
    let shares: Vec<(RoomId, Money, Money)> = rooms
        .iter()
        .map(|(room, price, variations)| (room.id, *price, *variations))
        .collect();
    let missing = |room| variance.missing_in(room);
    let by_room = by_room(outcome, &shares, &agreed.quoted(), logged, missing);
    let rooms = rooms.into_iter().zip(by_room);
    let rooms = rooms.map(|((room, ..), (_, outcome))| RoomMargin {
        room: Some((room.name, room.class.condition)),
        outcome,
    });
    rooms.collect()
}

impl Ledger {
    /// Hands out the outcome of each job of those spans that passes, with or without that of its rooms; work on the owner's
    /// own floors has none. Returns how many jobs were left out for that.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn margins(
        &self,
        spans: &[Span],
        with_rooms: bool,
        passes: impl Fn(&Job) -> bool,
        mut hear: impl FnMut(JobMargin) -> Result<()>,
    ) -> Result<usize> {
        let judge = self.judge(spans)?;
        let mut own = 0;
        self.read_jobs(spans, |record| {
            if !passes(&record.job) {
                return Ok(());
            }
            own += usize::from(record.job.own);
            match record.job.own {
                true => Ok(()),
                false => hear(judge.margin(record, with_rooms)),
            }
        })?;
        Ok(own)
    }

    /// Returns the outcome of a job.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn margin_of(&self, job: &Job) -> Result<JobMargin> {
        let judge = self.judge(&[job.id.into()])?;
        Ok(judge.margin(self.record_of(job)?, true))
    }

    /// Returns overhead as a fraction of labour, as a job was quoted; as it is set, where there is no quote.
    pub(super) fn overhead_of(&self, agreed: &Agreed) -> Result<Decimal> {
        match agreed.overhead() {
            Some(overhead) => Ok(overhead),
            None => Ok(self.settings()?.overhead),
        }
    }

    /// Returns a job's quoted lines beside its actual ones.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn variance_of(&self, job: &Job) -> Result<JobVariance> {
        let record = self.record_of(job)?;
        let variance = self.judge(&[job.id.into()])?.variance(&record);
        let rooms = self.rooms_in_the_end(&record)?;
        Ok(JobVariance {
            flexible: self.flexible(&record, &variance, &rooms)?,
            variance,
            job: record.job,
            rooms: record.agreed.room_names,
        })
    }

    /// Returns what the jobs of spans are judged by, beside their own records.
    pub(super) fn judge(&self, spans: &[Span]) -> Result<Judge> {
        Ok(Judge {
            overhead: self.settings()?.overhead,
            operations: self.operation_names()?,
            invoiced: self.sums_of(
                "SELECT job_event.job_id, SUM(IIF(credits_id IS NULL, net_minor, -net_minor)) FROM job_event
                 JOIN invoice_of_work AS invoice ON invoice.job_id = job_event.job_id AND invoice.number IS NOT NULL
                 WHERE job_event.what = 'cancelled' AND job_event.job_id BETWEEN :first AND :last
                 GROUP BY job_event.job_id",
                spans,
            )?,
            credited: self.sums_of(
                "SELECT job_id, off_price_minor FROM job_off_price WHERE job_id BETWEEN :first AND :last",
                spans,
            )?,
            currency: self.currency(),
        })
    }

    /// Returns the amounts that a query has for jobs of those spans.
    fn sums_of(&self, sql: &str, spans: &[Span]) -> Result<BTreeMap<JobId, Money>> {
        let mut statement = self.connection.prepare_cached(sql)?;
        let mut all = BTreeMap::new();
        for span in spans {
            let sum = |row: &NamedRow<'_>| Ok((of_job(row)?, row.row.get(1)?));
            let mut sums = Parts::of(&mut statement, *span, |_| Ok(()), sum)?;
            all.extend(sums.take(&())?);
        }
        Ok(all)
    }

    pub(super) fn operation_names(&self) -> Result<BTreeMap<OperationId, String>> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT id, name FROM operation")?;
        let names = statement.query_map([], |row| Ok((row.get("id")?, row.get("name")?)))?;
        Ok(names.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns quoted against used for every item and operation, or for what they are told by, over those jobs of the spans
    /// that pass.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn consumables(
        &self,
        spans: &[Span],
        by: Option<Grouping>,
        passes: impl Fn(&Job) -> bool,
    ) -> Result<Vec<ConsumableLine>> {
        let judge = self.judge(spans)?;
        let mut consumables = Consumables {
            by,
            grits: match by {
                Some(Grouping::Grit) => Grits::new(self.operations()?),
                _ => Grits::default(),
            },
            lines: BTreeMap::new(),
        };
        self.read_jobs(spans, |record| {
            if passes(&record.job) {
                consumables.add(&record.job, &record.agreed, judge.variance(&record));
            }
            Ok(())
        })?;
        Ok(consumables.lines.into_values().collect())
    }
}
