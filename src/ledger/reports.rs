//! Looking back and around: margins, variances, consumables, and what today asks for.

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Result;
use chrono::{Days, NaiveDate, NaiveDateTime, TimeDelta};

use super::books::{JobRecord, Parts, of_job};
use super::columns::NamedRow;
use super::groups::About;
use super::{
    Agreed, AwaitingReceipt, Barred, Credit, Group, Grouping, Invoice, Job, JobState, KeptPlan,
    Ledger, Outdated, QuoteHeader, QuoteStatus, Span, Spare,
};
use crate::money::{Currency, Decimal, Money, quantity};
use crate::trade::evidence::FinishedRoom;
use crate::trade::invoice::InvoiceKind;
use crate::trade::job_cost::{Logged, Missing, Outcome, What, by_room, totals};
use crate::trade::operation::Operation;
use crate::trade::plan::promised::Twice;
use crate::trade::rental::{days_begun, due_back};
use crate::trade::variance::{LineKind, Side, Variance, compare};
use crate::trade::{FloorCondition, JobId, OperationId, RoomId, Unit};

/// How many days ahead `today` looks for quotes that expire.
const EXPIRING_DAYS: u64 = 5;

/// How many days ahead `today` looks for invoices that fall due.
const DUE_DAYS: u64 = 7;

/// How many jobs to be billed `today` names.
const MOST_TO_BILL: usize = 10;

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

/// A machine that is out, and when it must be back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DueBack {
    /// The machine's name.
    pub machine: String,
    /// The job that has it.
    pub job: String,
    /// When it went out.
    pub out_at: NaiveDateTime,
    /// Days that the quote planned; `None`: it planned none.
    pub planned_days: Option<u32>,
    /// By when it must be back to cost no more than planned (or than one more day, once that is past).
    pub due: NaiveDateTime,
    /// The plan is past.
    pub overdue: bool,
}

/// A coat that can go on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CoatDue {
    /// The job.
    pub job: String,
    /// What is next.
    pub operation: String,
    /// Which coat it is, and of how many.
    pub coat: (usize, usize),
    /// From when on it may go on.
    pub from: NaiveDate,
}

/// What a job has to do with money today.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JobMoney {
    /// The job.
    pub job: Job,
    /// How much, before tax.
    pub amount: Money,
}

/// What is to be bought for the next job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NextPurchase {
    /// The job.
    pub job: String,
    /// How many items.
    pub items: usize,
    /// What they cost by the book.
    pub cost: Money,
}

fn in_state(jobs: &[JobRecord], state: JobState) -> impl Iterator<Item = &JobRecord> {
    jobs.iter().filter(move |record| record.job.state == state)
}

/// Everything that today asks for.
#[derive(Clone, Debug)]
pub struct Today {
    /// The date.
    pub date: NaiveDate,
    /// Finished jobs without a final invoice, the first finished first, with what of their price isn't invoiced; then those on
    /// the way that were invoiced beyond their price, by how much below zero.
    pub to_bill: Vec<JobMoney>,
    /// How many others there are.
    pub more_to_bill: usize,
    /// Jobs agreed or begun for which no deposit was asked, with what it would be; none where the firm takes none.
    pub deposits: Vec<JobMoney>,
    /// Invoices that are drafted and not issued, with what has changed since.
    pub drafts: Vec<(Invoice, Vec<String>)>,
    /// Invoices that fall due within the week, and deposits that aren't paid.
    pub due_soon: Vec<Invoice>,
    /// Jobs that were to begin by today, with the day, and haven't.
    pub to_begin: Vec<(Job, NaiveDate)>,
    /// What is to be bought for the job that begins or goes on first.
    pub to_buy: Option<NextPurchase>,
    /// What was bought for jobs that are closed, and may be handed back if it is unopened.
    pub to_hand_back: Vec<Spare>,
    /// Rooms of jobs that aren't to be ground by what was read of them, each with the number of its job.
    pub barred: Vec<(String, Barred)>,
    /// Jobs that are open or agreed.
    pub jobs: Vec<Job>,
    /// Machines that are out.
    pub machines: Vec<DueBack>,
    /// Coats that are due.
    pub coats: Vec<CoatDue>,
    /// The plans of those jobs that have one.
    pub plans: Vec<(Job, KeptPlan)>,
    /// How some of those plans differ from what is agreed by now, each with the number of its job.
    pub outdated: Vec<(String, Outdated)>,
    /// What they promise for the same days.
    pub promised_twice: Vec<Twice>,
    /// Quotes sent and not answered; those about to expire come first.
    pub quotes: Vec<QuoteHeader>,
    /// Invoices past their due date.
    pub overdue: Vec<Invoice>,
    /// Credits that are left, each with the first invoice that it could be applied to.
    pub credits: Vec<(Credit, Option<String>)>,
    /// Items used without a receipt.
    pub awaiting: Vec<AwaitingReceipt>,
    /// Finished records that look like slips and wait for their owner's word.
    pub doubted: usize,
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
        Ok(JobVariance {
            variance: self.judge(&[job.id.into()])?.variance(&record),
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
                 JOIN invoice ON invoice.job_id = job_event.job_id AND invoice.number IS NOT NULL
                 WHERE job_event.what = 'cancelled' AND job_event.job_id BETWEEN :first AND :last
                 GROUP BY job_event.job_id",
                spans,
            )?,
            credited: self.sums_of(
                "SELECT job_id, SUM(off_price_minor) FROM invoice
                 WHERE off_price_minor > 0 AND number IS NOT NULL AND job_id BETWEEN :first AND :last
                 GROUP BY job_id",
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

    /// Returns what today asks for.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn what_today_asks(&self) -> Result<Today> {
        let planned = self.planned_jobs()?;
        let jobs = planned.iter().map(|(job, _)| self.record_of(job));
        let jobs: Vec<JobRecord> = jobs.collect::<Result<_>>()?;
        let promised_twice = self.twice_among(&planned, None)?;
        let planned = planned.into_iter();
        let plans: Vec<(Job, KeptPlan)> = planned
            .filter_map(|(job, plan)| Some((job, plan?)))
            .collect();
        let outdated = plans
            .iter()
            .map(|(job, kept)| Ok((job.number.clone(), self.outdated(job, kept)?)));
        let mut outdated: Vec<(String, Outdated)> = outdated.collect::<Result<_>>()?;
        outdated.retain(|(_, outdated)| !outdated.is_empty());
        let soon = self.today() + Days::new(EXPIRING_DAYS);
        // An expired quote is news for as long as it was about to expire.
        let lately = self.today() - Days::new(EXPIRING_DAYS);
        let mut quotes: Vec<QuoteHeader> = self
            .quotes_valid_on(lately)?
            .into_iter()
            .filter(|quote| match quote.status {
                QuoteStatus::Sent | QuoteStatus::Expired => true,
                QuoteStatus::Draft
                | QuoteStatus::Accepted
                | QuoteStatus::Declined
                | QuoteStatus::Withdrawn => false,
            })
            .collect();
        let mut overtaken = Vec::new();
        for quote in &quotes {
            if self.is_overtaken(quote)? {
                overtaken.push(quote.id);
            }
        }
        quotes.retain(|quote| !overtaken.contains(&quote.id));
        quotes.sort_by_key(|quote| (quote.valid_until > Some(soon), quote.valid_until, quote.id));
        let invoices = self.unsettled_invoices()?;
        let owing = |invoice: &&Invoice| !invoice.due().is_zero();
        let credits = self.credits()?.into_iter().map(|credit| {
            let mut owed = invoices.iter().filter(owing);
            let first = owed.find(|invoice| credit.fits(invoice)).map(Invoice::name);
            (credit, first)
        });
        let credits = credits.collect();
        let invoices = invoices
            .into_iter()
            .filter(|invoice| invoice.due() > Money::ZERO);
        let (overdue, due_later): (Vec<Invoice>, Vec<Invoice>) =
            invoices.partition(|invoice| invoice.due_on.is_some_and(|due| due < self.today()));
        let week = self.today() + Days::new(DUE_DAYS);
        let due_soon = due_later.into_iter().filter(|invoice| {
            invoice.kind == InvoiceKind::Deposit || invoice.due_on.is_some_and(|due| due <= week)
        });
        let (to_bill, more_to_bill) = self.jobs_to_bill(MOST_TO_BILL)?;
        let not_billed = to_bill.into_iter().map(|job| {
            let amount = self.left_to_invoice(&job)?;
            Ok(JobMoney { job, amount })
        });
        let mut not_billed: Vec<JobMoney> = not_billed.collect::<Result<_>>()?;
        not_billed.extend(self.owed_back(&jobs)?);
        let drafts = self.invoice_drafts()?.into_iter().map(|draft| {
            let changes = self.changed_since(&draft)?;
            Ok((draft, changes))
        });
        Ok(Today {
            date: self.today(),
            to_bill: not_billed,
            more_to_bill,
            deposits: self.deposits_to_ask(&jobs)?,
            drafts: drafts.collect::<Result<_>>()?,
            due_soon: due_soon.collect(),
            to_begin: self.to_begin(&jobs),
            to_buy: self.next_purchase(&jobs)?,
            to_hand_back: self.to_hand_back(&jobs)?,
            machines: self.machines_due(&jobs)?,
            coats: self.coats_due(&jobs)?,
            barred: self.barred_in(&jobs)?,
            jobs: jobs.into_iter().map(|record| record.job).collect(),
            plans,
            outdated,
            promised_twice,
            quotes,
            overdue,
            credits,
            awaiting: self.awaiting_receipt()?,
            doubted: self.doubted()?,
        })
    }

    /// Returns the jobs on the way that were invoiced beyond their price, by how much below zero: variations may take work away
    /// that was asked for.
    fn owed_back(&self, jobs: &[JobRecord]) -> Result<Vec<JobMoney>> {
        let mut owed_back = Vec::new();
        for JobRecord { job, agreed, .. } in jobs {
            let Some((invoiced, off_price)) = self.invoiced(job.id)? else {
                continue;
            };
            let amount = agreed.price() + agreed.variations() - off_price - invoiced;
            if amount.is_negative() {
                let job = job.clone();
                owed_back.push(JobMoney { job, amount });
            }
        }
        Ok(owed_back)
    }

    /// Returns the jobs for which a deposit could be asked, where the firm takes deposits.
    fn deposits_to_ask(&self, jobs: &[JobRecord]) -> Result<Vec<JobMoney>> {
        let share = self.settings()?.deposit;
        let mut deposits = Vec::new();
        for JobRecord { job, agreed, .. } in jobs.iter().filter(|_| !share.is_zero()) {
            let amount = agreed.price_to_come().times(share);
            let is_asked = self.invoiced(job.id)?.is_some();
            if !is_asked && !amount.is_zero() && job.before.is_none() {
                let job = job.clone();
                deposits.push(JobMoney { job, amount });
            }
        }
        Ok(deposits)
    }

    /// Returns the jobs whose quote says a day on which they were to begin, and that haven't.
    fn to_begin(&self, jobs: &[JobRecord]) -> Vec<(Job, NaiveDate)> {
        let waiting = in_state(jobs, JobState::Agreed);
        let begins = waiting.filter_map(|record| {
            let start = record.agreed.quotes.first()?.header.start_on?;
            Some((record.job.clone(), start))
        });
        begins.filter(|(_, start)| *start < self.today()).collect()
    }

    /// Returns what is to be bought for the first open job that needs something, else for the first agreed one.
    fn next_purchase(&self, jobs: &[JobRecord]) -> Result<Option<NextPurchase>> {
        let agreed = in_state(jobs, JobState::Agreed);
        for record in in_state(jobs, JobState::Open).chain(agreed) {
            let list = self.shopping_for_record(record)?;
            if !list.is_empty() {
                return Ok(Some(NextPurchase {
                    job: record.job.number.clone(),
                    items: list.len(),
                    cost: list.iter().map(|line| line.basket.total).sum(),
                }));
            }
        }
        Ok(None)
    }

    fn machines_due(&self, jobs: &[JobRecord]) -> Result<Vec<DueBack>> {
        let mut machines = Vec::new();
        let start_of_today = self.today().and_time(chrono::NaiveTime::MIN);
        for rental in self.rentals_out()? {
            let (holder, job) = rental.holder();
            let job = job.to_owned();
            let closed;
            let agreed = match jobs.iter().find(|record| record.job.id == holder) {
                Some(record) => &record.agreed,
                None => {
                    closed = self.agreed(&self.job_by_id(holder)?)?;
                    &closed
                }
            };
            let planned = self.outlooks_of(&agreed.quotes)?;
            let planned_days = planned
                .iter()
                .flat_map(|outlook| &outlook.rentals)
                .find(|planned| planned.machine == rental.machine_id)
                .map(|planned| planned.plan.need.begun());
            let planned = due_back(rental.out_at, planned_days.unwrap_or(1));
            let overdue = planned < start_of_today;
            let due = if overdue {
                // The plan is past: what matters is when the next day begins to cost.
                due_back(rental.out_at, days_begun(rental.out_at, start_of_today))
            } else {
                planned
            };
            machines.push(DueBack {
                machine: rental.machine,
                job,
                out_at: rental.out_at,
                planned_days,
                due,
                overdue,
            });
        }
        Ok(machines)
    }

    fn barred_in(&self, jobs: &[JobRecord]) -> Result<Vec<(String, Barred)>> {
        let mut all = Vec::new();
        for JobRecord { job, .. } in jobs {
            let barred = self.barred_of(job)?.into_iter();
            all.extend(barred.map(|barred| (job.number.clone(), barred)));
        }
        Ok(all)
    }

    fn coats_due(&self, jobs: &[JobRecord]) -> Result<Vec<CoatDue>> {
        let open = in_state(jobs, JobState::Open);
        let coats = open.map(|record| self.coat_due(record));
        coats.filter_map(Result::transpose).collect()
    }

    /// Returns the next coat of a job that has begun to be coated, if one is left.
    fn coat_due(&self, record: &JobRecord) -> Result<Option<CoatDue>> {
        let JobRecord {
            job,
            agreed,
            logged,
        } = record;
        let Some(name) = agreed
            .quotes
            .first()
            .and_then(|record| record.quote.schedule.clone())
        else {
            return Ok(None);
        };
        let schedule = self.schedule(&name)?;
        let coats: Vec<_> = schedule
            .steps
            .iter()
            .filter(|step| {
                step.drying.is_some()
                    && step.operation.driver == crate::trade::operation::Driver::Area
            })
            .collect();
        let days = self.days_of_entries(job.id)?;
        let is_coat = |cost: &&Logged| match &cost.what {
            What::Item {
                item, operation, ..
            } => coats.iter().any(|step| {
                *operation == Some(step.operation.id)
                    || step
                        .operation
                        .item
                        .as_ref()
                        .is_some_and(|needed| needed.id == *item)
            }),
            What::Hours {
                task: Some(task), ..
            } => coats.iter().any(|step| step.operation.task == *task),
            What::Hours { .. }
            | What::OnTheRoad
            | What::LeftOver { .. }
            | What::Rental { .. }
            | What::Other { .. } => false,
        };
        let mut dates: Vec<NaiveDate> = logged
            .iter()
            .filter(is_coat)
            .filter_map(|cost| days.get(&cost.entry).copied())
            .collect();
        dates.sort_unstable();
        dates.dedup();
        let (Some(last), Some(next)) = (dates.last(), coats.get(dates.len())) else {
            return Ok(None);
        };
        let hours = coats[dates.len() - 1]
            .drying
            .map_or(Decimal::ZERO, |drying| drying.recoat_hours);
        let minutes =
            rust_decimal::prelude::ToPrimitive::to_i64(&quantity(hours * Decimal::from(60)))
                .unwrap_or(0);
        // Laid at some hour of that day; counted from its start, the date is the earliest that the next may go on.
        let from = (last.and_time(chrono::NaiveTime::MIN) + TimeDelta::minutes(minutes)).date();
        Ok(Some(CoatDue {
            job: job.number.clone(),
            operation: next.operation.name.clone(),
            coat: (dates.len() + 1, coats.len()),
            from,
        }))
    }
}
