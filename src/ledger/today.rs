//! What today asks for.

use anyhow::Result;
use chrono::{Days, NaiveDate, NaiveDateTime, TimeDelta};

use super::books::JobRecord;
use super::{
    AwaitingReceipt, Barred, Credit, Invoice, Job, JobState, KeptPlan, Ledger, Outdated,
    QuoteHeader, QuoteStatus, Spare,
};
use crate::money::{Decimal, Money, quantity};
use crate::trade::invoice::InvoiceKind;
use crate::trade::job_cost::{Logged, What};
use crate::trade::plan::promised::Twice;
use crate::trade::rental::{days_begun, due_back};

/// How many days ahead `today` looks for quotes that expire.
const EXPIRING_DAYS: u64 = 5;

/// How many days ahead `today` looks for invoices that fall due.
const DUE_DAYS: u64 = 7;

/// How many jobs to be billed `today` names.
const MOST_TO_BILL: usize = 10;

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

impl Ledger {
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
            let amount = agreed.told_to_come().times(share);
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
