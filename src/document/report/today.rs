//! What today asks for.

use std::fmt::Write as _;

use chrono::{Days, NaiveDate};
use serde::Serialize;

use crate::document::figures::{Amount, Moment, Number};
use crate::document::invoice::{CreditFacts, InvoiceFacts};
use crate::document::job::{AwaitingFacts, JobList};
use crate::document::plan::agenda;
use crate::document::plan::words::TwiceFacts;
use crate::document::quote::list::QuoteRow;
use crate::document::{Answer, Page, agree, count, or_blank};
use crate::ledger::{
    Barred, CoatDue, Credit, DueBack, Invoice, Job, JobMoney, KeptPlan, NextPurchase, Outdated,
    Spare, Today, typed,
};
use crate::trade::Unit;

/// Days that `today` looks ahead for what is planned.
const AHEAD: u64 = 3;

answer! {
    /// A machine that is out, and when it must be back.
    struct MachineOut from due: DueBack on page {
        machine: String,
        job: String,
        out_at: Moment,
        planned_days: Option<u32>,
        due_back: Moment = Moment(due.due),
        overdue: bool,
        .. { due }
    }
}

impl MachineOut {
    fn words(&self) -> String {
        let planned = match self.overdue {
            true => "past its plan; another day begins",
            false => "back by",
        };
        let by = self.due_back.0.format("%a %Y-%m-%d %H:%M");
        format!("{} on {}: {planned} {by}", self.machine, self.job)
    }
}

answer! {
    /// A coat that can go on.
    struct Coat from due: CoatDue on page {
        job: String,
        operation: String,
        coat: usize = due.coat.0,
        coats: usize = due.coat.1,
        from: NaiveDate,
        .. { coat }
    }
}

impl Coat {
    fn words(&self, today: NaiveDate) -> String {
        let when = match self.from <= today {
            true => "today".to_owned(),
            false => format!("from {}", self.from),
        };
        let coat = format!("coat {} of {}", self.coat, self.coats);
        format!("{}: {}, {coat}, {when}", self.job, self.operation)
    }
}

/// A step of a job's plan; phases count from 1 on.
#[derive(Debug, Serialize)]
struct Step {
    job: String,
    date: NaiveDate,
    phase: usize,
    work: String,
    rooms: Vec<String>,
}

impl Step {
    /// Returns what the plans of jobs have for today and the days that follow.
    fn all(plans: &[(Job, KeptPlan)], today: NaiveDate) -> Vec<Step> {
        let soon = today..=today + Days::new(AHEAD);
        let mut steps = Vec::new();
        for (job, kept) in plans {
            for (number, phase) in kept.plan.phases.iter().enumerate() {
                let events = agenda(&kept.plan, number).into_iter();
                let due = events.filter(|event| soon.contains(&event.date));
                let rooms = phase.coating_order.iter();
                let rooms = rooms.filter_map(|room| kept.names.get(room).cloned());
                let rooms: Vec<String> = rooms.collect();
                steps.extend(due.map(|event| Step {
                    job: job.number.clone(),
                    date: event.date,
                    phase: number + 1,
                    work: event.what,
                    rooms: rooms.clone(),
                }));
            }
        }
        steps.sort_by_key(|step| step.date);
        steps
    }

    fn words(&self, today: NaiveDate) -> String {
        let when = match self.date == today {
            true => "today".to_owned(),
            false => self.date.format("%a %Y-%m-%d").to_string(),
        };
        let rooms = self.rooms.join(", ");
        format!("{}, {when}: {} ({rooms})", self.job, self.work)
    }
}

answer! {
    /// A credit that is left, and the first invoice that it could be applied to.
    struct CreditLeft of (left: (Credit, Option<String>)) on page
    let (credit, apply_to) = left;
    {
        #[serde(flatten)]
        credit: CreditFacts,
        apply_to: Option<String>,
    }
}

impl CreditLeft {
    fn words(&self) -> String {
        let apply = self.apply_to.as_ref();
        let apply = apply.map(|invoice| format!(": gritledger payment apply {invoice}"));
        format!("{}{}", self.credit, or_blank(apply))
    }
}

answer! {
    /// A job and the money that it is about.
    struct MoneyOf from about: JobMoney on page {
        job: String = about.job.number,
        client: String = about.job.client,
        amount: Amount,
        /// What was invoiced beyond the price.
        #[serde(skip)]
        owed_back: Option<Amount> = about.amount.is_negative().then(|| page.amount(about.amount.abs())),
        since: Option<NaiveDate> = about.job.closed_on,
        .. { job }
    }
}

impl MoneyOf {
    fn to_bill(&self, today: NaiveDate) -> String {
        let age = self.since.map_or(0, |closed| (today - closed).num_days());
        let age = count(age, "day");
        if let Some(back) = self.owed_back {
            return format!(
                "{}: {} was invoiced {} before tax beyond its price, which is owed back",
                self.job,
                self.client,
                back.with_currency()
            );
        }
        let amount = self.amount.with_currency();
        format!(
            "{}: {}, {amount}, closed {age} ago: gritledger invoice final {}",
            self.job, self.client, self.job
        )
    }

    fn to_ask(&self) -> String {
        let amount = self.amount.with_currency();
        format!(
            "{}: {}, {amount}: gritledger invoice deposit {}",
            self.job, self.client, self.job
        )
    }
}

answer! {
    /// What is to be bought next.
    struct ToBuyNext from next: NextPurchase on page {
        job: String,
        items: usize,
        cost: Amount,
        .. { }
    }
}

impl ToBuyNext {
    fn words(&self) -> String {
        let (items, cost) = (count(self.items, "item"), self.cost.with_currency());
        format!(
            "{}: {items}, {cost}: gritledger job buy {}",
            self.job, self.job
        )
    }
}

answer! {
    /// What may be handed back if it is unopened.
    struct ToHandBack from spare: Spare on page {
        item: String,
        quantity: Number,
        unit: Unit,
        value: Amount,
        .. { }
    }
}

impl ToHandBack {
    fn words(&self) -> String {
        let (item, value) = (&self.item, self.value.with_currency());
        format!(
            "{item}: of {}, {value}, what is unopened: gritledger hand-back {} QTY",
            self.quantity.of(self.unit),
            typed(item)
        )
    }
}

answer! {
    /// A draft of an invoice, with what has changed since it was made.
    struct DraftFacts of (draft: (Invoice, Vec<String>)) on page
    let (invoice, changes) = draft;
    {
        #[serde(flatten)]
        invoice: InvoiceFacts,
        changed_since: Vec<String> = changes,
    }
}

impl DraftFacts {
    /// Says how it is issued; if it would be another today, how it is drafted again.
    fn words(&self) -> String {
        match self.changed_since.is_empty() {
            true => self.invoice.to_issue(),
            false => self
                .invoice
                .to_draft_again(&self.changed_since.join(", and ")),
        }
    }
}

answer! {
    /// A room that isn't to be ground by what was read of it.
    struct BarredRoom of (barred: (String, Barred)) on page
    let (job, Barred { room, because, check }) = barred;
    {
        job: String,
        room: String,
        because: String,
        check: String,
    }
}

impl BarredRoom {
    fn words(&self) -> String {
        let BarredRoom {
            job,
            room,
            because,
            check,
        } = self;
        format!("{job}: {room}: {because}: {check}")
    }
}

answer! {
    /// A plan of other rooms than are agreed by now.
    struct PlanOutdated of (outdated: (String, Outdated)) on page
    let (job, Outdated { gone, new }) = outdated;
    {
        job: String,
        gone: Vec<String>,
        new: Vec<String>,
    }
}

impl PlanOutdated {
    fn words(&self) -> String {
        let job = &self.job;
        let rooms = |what: &str, rooms: &[String]| {
            (!rooms.is_empty()).then(|| format!("{what} {}", rooms.join(", ")))
        };
        let parts = [rooms("still has", &self.gone), rooms("lacks", &self.new)];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        let parts = parts.join(", and ");
        format!("{job}: its plan {parts}: gritledger job dates {job} --varied")
    }
}

answer! {
    /// A job that was to begin.
    struct ToBegin of (to_begin: (Job, NaiveDate)) on page
    let (job, start_on) = to_begin;
    {
        job: String = job.number,
        client: String = job.client,
        start_on: NaiveDate,
    }
}

impl ToBegin {
    fn words(&self) -> String {
        let day = self.start_on.format("%a %Y-%m-%d");
        format!(
            "{}: {}, since {day}: gritledger job start {}",
            self.job, self.client, self.job
        )
    }
}

answer! {
    /// What today asks for.
    pub struct TodayAnswer from today: Today on page {
        date: NaiveDate,
        currency: &'static str = page.currency.code(),
        jobs: JobList,
        machines: Vec<MachineOut>,
        coats: Vec<Coat>,
        not_to_be_sanded: Vec<BarredRoom> = page.each(today.barred, BarredRoom::new),
        planned: Vec<Step> = Step::all(&today.plans, today.date),
        plans_outdated: Vec<PlanOutdated> = page.each(today.outdated, PlanOutdated::new),
        promised_twice: Vec<TwiceFacts>,
        quotes: Vec<QuoteRow>,
        overdue: Vec<InvoiceFacts>,
        credits: Vec<CreditLeft>,
        awaiting_receipt: Vec<AwaitingFacts> = page.each(today.awaiting, AwaitingFacts::new),
        doubted_records: usize = today.doubted,
        to_bill: Vec<MoneyOf>,
        more_to_bill: usize,
        deposits_to_ask: Vec<MoneyOf> = page.each(today.deposits, MoneyOf::new),
        invoice_drafts: Vec<DraftFacts> = page.each(today.drafts, DraftFacts::new),
        due_soon: Vec<InvoiceFacts>,
        to_begin: Vec<ToBegin>,
        to_buy: Option<ToBuyNext>,
        to_hand_back: Vec<ToHandBack>,
        .. { barred, plans, outdated, awaiting, doubted, deposits, drafts }
    }
}

impl TodayAnswer {
    /// Says what presses: what harms somebody, then what is late, then what can be done today.
    fn answer(&self, lines: usize) -> String {
        let today = self.date;
        let late = self.machines.iter().filter(|machine| machine.overdue);
        let coats = self.coats.iter().filter(|coat| coat.from <= today);
        let steps = self.planned.iter().filter(|step| step.date == today);
        let counted = [
            (
                self.not_to_be_sanded.len(),
                "room not to be sanded",
                "rooms not to be sanded",
            ),
            (
                late.count(),
                "machine past its plan",
                "machines past their plans",
            ),
        ];
        let counted = counted.into_iter().filter(|(number, ..)| *number > 0);
        let mut pressing: Vec<String> = counted
            .map(|(number, one, several)| agree(number, one, several))
            .collect();
        let overdue = self.overdue.iter().map(InvoiceFacts::owed);
        if let Some(owed) = overdue.reduce(Amount::and) {
            pressing.push(format!("{} overdue", owed.with_currency()));
        }
        let billed = self
            .to_bill
            .iter()
            .filter(|about| about.owed_back.is_none());
        let to_bill = billed.count() + self.more_to_bill;
        let counted = [
            (to_bill, "job to bill", "jobs to bill"),
            (coats.count(), "coat to put on", "coats to put on"),
            (steps.count(), "planned step", "planned steps"),
        ];
        let counted = counted.into_iter().filter(|(number, ..)| *number > 0);
        pressing.extend(counted.map(|(number, one, several)| agree(number, one, several)));
        match (pressing.is_empty(), lines) {
            (false, _) => format!("Today: {}.", pressing.join(", ")),
            (true, 0) => "Nothing asks for you today.".to_owned(),
            (true, lines) => format!(
                "Nothing presses today; {} to look at.",
                count(lines, "thing")
            ),
        }
    }
}

impl Answer for TodayAnswer {
    fn text(&self, page: &Page) -> String {
        fn all<T>(facts: &[T], words: impl Fn(&T) -> String) -> Vec<String> {
            facts.iter().map(words).collect()
        }
        let slips = (self.doubted_records > 0).then(|| {
            let records = count(self.doubted_records, "record");
            format!("{records} set aside until you answer: gritledger rate check")
        });
        let today = self.date;
        let mut to_bill = all(&self.to_bill, |about| about.to_bill(today));
        if self.more_to_bill > 0 {
            to_bill.push(format!("and {} more", self.more_to_bill));
        }
        // What harms somebody stands first, then what makes or loses most.
        let sections = [
            (
                "Not to be sanded",
                all(&self.not_to_be_sanded, BarredRoom::words),
            ),
            ("Machines out", all(&self.machines, MachineOut::words)),
            (
                "Money overdue",
                all(&self.overdue, |invoice| invoice.overdue(today)),
            ),
            ("To bill", to_bill),
            (
                "Deposits to ask for",
                all(&self.deposits_to_ask, MoneyOf::to_ask),
            ),
            (
                "Drafts to issue",
                all(&self.invoice_drafts, DraftFacts::words),
            ),
            ("Due soon", all(&self.due_soon, InvoiceFacts::due_words)),
            (
                "Quotes without an answer",
                all(&self.quotes, |quote| quote.waiting(today)),
            ),
            ("To begin", all(&self.to_begin, ToBegin::words)),
            ("Coats", all(&self.coats, |coat| coat.words(today))),
            ("Planned", all(&self.planned, |step| step.words(today))),
            (
                "Plans to make again",
                all(&self.plans_outdated, PlanOutdated::words),
            ),
            (
                "Promised twice",
                all(&self.promised_twice, |twice| twice.words.clone()),
            ),
            ("To buy", self.to_buy.iter().map(ToBuyNext::words).collect()),
            ("To hand back", all(&self.to_hand_back, ToHandBack::words)),
            ("Jobs", self.jobs.words()),
            ("Credits kept", all(&self.credits, CreditLeft::words)),
            (
                "Receipts awaited",
                all(&self.awaiting_receipt, AwaitingFacts::words),
            ),
            ("Slips?", slips.into_iter().collect()),
        ];
        let lines = sections.iter().map(|(_, lines)| lines.len()).sum();
        let answer = page.prose(&self.answer(lines));
        let mut text = format!("{answer}\n{}\n", today.format("%A, %Y-%m-%d"));
        for (heading, lines) in sections.iter().filter(|(_, lines)| !lines.is_empty()) {
            let _ = writeln!(text, "\n{heading}");
            text.extend(lines.iter().map(|line| page.point(line)));
        }
        text
    }
}
