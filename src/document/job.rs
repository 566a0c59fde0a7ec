//! Jobs: the list, one job with its day book, what closing found, and the lines that day-book commands answer with.

use std::fmt::{self, Write as _};

use chrono::NaiveDate;
use serde::Serialize;

use super::figures::{Amount, Moment, Number, UnitPrice};
use super::report::NotRecorded;
use super::{Answer, Page, count, inert, or_blank};
use crate::ledger::{
    Agreed, AwaitingReceipt, Before, CloseOut, DayBook, DayCharged, Entry, Job, JobState, Moved,
    Recorded, Rental, Returned, StockLine,
};
use crate::trade::Unit;
use crate::trade::evidence::Gaps;

/// What is known of a job.
#[derive(Debug, Serialize)]
struct JobFacts {
    number: String,
    own_name: Option<String>,
    #[serde(skip)]
    title: String,
    state: JobState,
    client: String,
    site: String,
    agreed_on: NaiveDate,
    started_on: Option<NaiveDate>,
    closed_on: Option<NaiveDate>,
}

impl From<Job> for JobFacts {
    fn from(job: Job) -> JobFacts {
        let title = job.title();
        let Job {
            id: _,
            number,
            site_id: _,
            site,
            client_id: _,
            client,
            quote_id: _,
            before,
            state,
            agreed_on,
            started_on,
            closed_on,
        } = job;
        JobFacts {
            number,
            own_name: before.map(|before| before.name),
            title,
            state,
            client,
            site,
            agreed_on,
            started_on,
            closed_on,
        }
    }
}

/// The jobs.
#[derive(Debug, Serialize)]
pub struct JobList(Vec<JobFacts>);

impl JobList {
    /// Returns the answer about these jobs.
    pub fn new(jobs: Vec<Job>) -> JobList {
        JobList(jobs.into_iter().map(JobFacts::from).collect())
    }

    /// Says of each where it stands, for whom and where it is.
    pub(super) fn words(&self) -> Vec<String> {
        let words = |job: &JobFacts| {
            let (client, site) = (&job.client, &job.site);
            format!("{} {}: {client}, {site}", job.number, job.state)
        };
        self.0.iter().map(words).collect()
    }
}

impl Answer for JobList {
    fn text(&self, page: &Page) -> String {
        if self.0.is_empty() {
            return "No jobs yet.".to_owned();
        }
        let mut table = page.table(["Job", "State", "Client", "Site", "Started", "Closed"]);
        for job in &self.0 {
            let closed_on = job.closed_on.filter(|_| job.state == JobState::Closed);
            table.line([
                &job.title,
                &job.state,
                &job.client,
                &job.site,
                &or_blank(job.started_on),
                &or_blank(closed_on),
            ]);
        }
        table.to_string()
    }
}

/// A day of a rental, charged to the job that had the machine.
#[derive(Debug, Serialize)]
struct Share {
    date: NaiveDate,
    job: String,
    charge: Amount,
}

impl Share {
    fn new(day: DayCharged, page: &Page) -> Share {
        let DayCharged {
            began_on,
            job_id: _,
            job,
            charge,
        } = day;
        Share {
            date: began_on,
            job,
            charge: page.amount(charge),
        }
    }

    /// Returns the days of a return; `None`: it is none.
    fn all(days: Vec<DayCharged>, page: &Page) -> Option<Vec<Share>> {
        (!days.is_empty()).then(|| page.each(days, Share::new))
    }
}

impl fmt::Display for Share {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {} {}", self.date, self.job, self.charge)
    }
}

/// Writes the days of a return that jobs shared: `2026-02-26 J1 33.33, 2026-02-27 J2 33.34`; `None`: one job had it.
fn shares_text(days: Option<&Vec<Share>>) -> Option<String> {
    let (first, others) = days?.split_first()?;
    let shared = others.iter().any(|day| day.job != first.job);
    let words = days?.iter().map(Share::to_string);
    shared.then(|| words.collect::<Vec<_>>().join(", "))
}

/// Lists the rentals that jobs shared, day by day, below a table.
fn shared_text(shared: &[String], page: &Page) -> String {
    let points: String = shared.iter().map(|line| page.point(line)).collect();
    match points.trim_end() {
        "" => String::new(),
        points => {
            format!("\n\nShared, each day charged to the job that had the machine:\n{points}")
        }
    }
}

/// An entry of a day book.
#[derive(Debug, Serialize)]
struct EntryFacts {
    number: String,
    kind: String,
    date: NaiveDate,
    rooms: Vec<String>,
    subject: String,
    on: Option<String>,
    quantity: Option<Number>,
    unit: Option<Unit>,
    amount: Option<Amount>,
    shares: Option<Vec<Share>>,
    late: bool,
    voided: bool,
}

impl EntryFacts {
    fn new(entry: Entry, page: &Page) -> EntryFacts {
        let Entry {
            id: _,
            number,
            kind,
            job_id: _,
            happened_on,
            rooms,
            subject,
            on,
            quantity,
            unit,
            amount,
            days,
            late,
            voided,
        } = entry;
        EntryFacts {
            number,
            kind,
            date: happened_on,
            rooms,
            subject,
            on,
            quantity: quantity.map(Number),
            unit,
            amount: amount.map(|amount| page.amount(amount)),
            shares: Share::all(days, page),
            late,
            voided,
        }
    }

    /// Says what was done, and what is peculiar about it.
    fn what(&self, is_shared: bool) -> String {
        let asides = [
            (self.voided, " (voided)"),
            (self.late, " (after close-out)"),
            (is_shared, " (shared)"),
        ];
        let told = asides.into_iter().filter(|(so, _)| *so);
        let asides: String = told.map(|(_, aside)| aside).collect();
        format!("{} {}{asides}", self.kind, self.subject)
    }

    /// Says what it was done for: the task or operation, and the rooms.
    fn places(&self) -> String {
        let on = self.on.clone().into_iter();
        let rooms = (!self.rooms.is_empty()).then(|| self.rooms.join(", "));
        on.chain(rooms).collect::<Vec<_>>().join("; ")
    }
}

/// A job with what was agreed and its day book.
#[derive(Debug, Serialize)]
pub struct JobAnswer {
    #[serde(flatten)]
    job: JobFacts,
    currency: &'static str,
    quotes: Vec<String>,
    price: Amount,
    variations: Amount,
    #[serde(skip)]
    agreed: Amount,
    #[serde(skip)]
    before: Option<Before>,
    entries: Vec<EntryFacts>,
    overhead: Amount,
    cost: Amount,
}

impl JobAnswer {
    /// Returns the answer about a job.
    pub fn new(job: Job, agreed: &Agreed, book: DayBook, page: &Page) -> JobAnswer {
        let (price, variations) = (agreed.price(), agreed.variations());
        let numbers = agreed.quotes.iter().map(|record| &record.header.number);
        let cost = page.amount(book.total());
        let DayBook { entries, overhead } = book;
        JobAnswer {
            before: job.before.clone(),
            job: job.into(),
            currency: page.currency.code(),
            quotes: numbers.cloned().collect(),
            price: page.amount(price),
            variations: page.amount(variations),
            agreed: page.amount(price + variations),
            entries: page.each(entries, EntryFacts::new),
            overhead: page.amount(overhead),
            cost,
        }
    }

    /// Says what was agreed, by quotes or before the ledger.
    fn agreed_text(&self, page: &Page) -> String {
        let mut text = String::new();
        if !self.quotes.is_empty() {
            let (agreed, quotes) = (self.agreed.with_currency(), self.quotes.join(", "));
            let _ = writeln!(text, "Agreed for {agreed} ({quotes})");
        }
        if let Some(before) = &self.before {
            let cost = before.cost.map(|cost| page.amount(cost));
            let cost = cost.map(|cost| format!(", to cost {cost}"));
            let _ = writeln!(
                text,
                "Agreed for {}{} on {}, before the ledger",
                page.amount(before.price).with_currency(),
                or_blank(cost),
                self.job.agreed_on
            );
        }
        text
    }
}

impl Answer for JobAnswer {
    fn text(&self, page: &Page) -> String {
        let JobFacts {
            title,
            state,
            client,
            site,
            ..
        } = &self.job;
        let title = inert(&format!("{title}, {state}: {client}, {site}"));
        let head = format!("{}\n{}", page.prose(&title), self.agreed_text(page));
        if self.entries.is_empty() {
            return format!("{head}Nothing is logged yet.\n");
        }
        let mut table = page
            .table(["Entry", "Date", "What", "For", "Quantity", "Amount"])
            .numbers([4, 5]);
        let mut shared = Vec::new();
        for entry in &self.entries {
            let shares = shares_text(entry.shares.as_ref());
            let unit = entry.unit.map(|unit| format!(" {unit}"));
            table.line([
                &entry.number,
                &entry.date,
                &entry.what(shares.is_some()),
                &entry.places(),
                &(or_blank(entry.quantity) + &or_blank(unit)),
                &or_blank(entry.amount),
            ]);
            let named = |shares| format!("{} {}: {shares}", entry.number, entry.subject);
            shared.extend(shares.map(named));
        }
        if !self.overhead.money.is_zero() {
            table.line([&"", &"", &"overhead", &"", &"", &self.overhead]);
        }
        table.line([&"", &"", &"Cost", &"", &"", &self.cost]);
        format!("{head}\n{table}{}", shared_text(&shared, page))
    }
}

/// A use whose receipt hasn't come.
#[derive(Debug, Serialize)]
pub(super) struct AwaitingFacts {
    entry: String,
    job: String,
    item: String,
    quantity: Number,
    unit: Unit,
    assumed_cost: Amount,
}

impl AwaitingFacts {
    /// Returns what is told of it.
    pub(super) fn new(awaiting: AwaitingReceipt, page: &Page) -> AwaitingFacts {
        let AwaitingReceipt {
            entry,
            job_id: _,
            job,
            item,
            unit,
            quantity,
            value,
        } = awaiting;
        AwaitingFacts {
            entry,
            job,
            item,
            quantity: Number(quantity),
            unit,
            assumed_cost: page.amount(value),
        }
    }

    /// Says which use it is.
    pub(super) fn words(&self) -> String {
        format!("{}: {} on {}", self.entry, self.much(), self.job)
    }

    /// Writes how much it is of what: `3 each of disc-7in-36`.
    fn much(&self) -> String {
        format!("{} {} of {}", self.quantity, self.unit, self.item)
    }
}

/// What closing a job found.
#[derive(Debug, Serialize)]
pub struct CloseAnswer {
    job: String,
    state: JobState,
    currency: &'static str,
    observations: usize,
    rooms_without_discs: Vec<String>,
    operations_without_entries: Vec<String>,
    hours_on_nothing: Number,
    not_recorded: NotRecorded,
    #[serde(skip)]
    is_gap: bool,
    awaiting_receipt: Vec<AwaitingFacts>,
}

impl CloseAnswer {
    /// Returns the answer about a job that was just closed.
    pub fn new(job: Job, found: CloseOut, page: &Page) -> CloseAnswer {
        let CloseOut {
            gaps:
                Gaps {
                    rooms_without_discs,
                    operations_without_entries,
                    hours_on_nothing,
                },
            awaiting,
            observations,
            missing,
        } = found;
        CloseAnswer {
            job: job.number,
            state: job.state,
            currency: page.currency.code(),
            observations,
            rooms_without_discs,
            operations_without_entries,
            hours_on_nothing: Number(hours_on_nothing),
            not_recorded: NotRecorded::new(missing, page),
            is_gap: missing.is_gap(),
            awaiting_receipt: page.each(awaiting, AwaitingFacts::new),
        }
    }

    /// Lists what the record leaves out.
    fn gaps(&self, page: &Page) -> String {
        let hours = self.hours_on_nothing;
        let hours = (!hours.0.is_zero()).then(|| format!("{hours} h"));
        let receipts = self.awaiting_receipt.iter();
        let receipts = receipts.map(|use_| format!("{} ({})", use_.much(), use_.entry));
        let missing = self.is_gap.then_some(self.not_recorded);
        let gaps = [
            ("rooms without discs", self.rooms_without_discs.join(", ")),
            (
                "quoted operations without entries",
                self.operations_without_entries.join(", "),
            ),
            ("hours on no task (cost only, no evidence)", or_blank(hours)),
            ("receipts awaited", receipts.collect::<Vec<_>>().join(", ")),
            ("of what was quoted", or_blank(missing)),
        ];
        let gaps = gaps.iter().filter(|(_, names)| !names.is_empty());
        gaps.map(|(what, names)| page.point(&format!("{what}: {names}")))
            .collect()
    }
}

impl Answer for CloseAnswer {
    fn text(&self, page: &Page) -> String {
        let learned = count(self.observations, "thing");
        let gaps = match self.gaps(page) {
            none if none.is_empty() => "Nothing is missing from its record.\n".to_owned(),
            gaps => format!(
                "\nNot recorded (not logged is not known: nothing is learned of it, and nothing was saved; log a zero if it took none):\n{gaps}"
            ),
        };
        format!(
            "Closed {}: it taught the rates {learned}.\n{gaps}",
            self.job
        )
    }
}

/// An entry that was just written.
#[derive(Debug, Serialize)]
pub struct RecordedAnswer {
    entry: String,
    what: String,
    currency: &'static str,
    amount: Amount,
    instead_of: Option<String>,
    #[serde(skip)]
    in_place_of: String,
}

impl RecordedAnswer {
    /// Returns the answer about an entry that says this.
    pub fn new(recorded: Recorded, what: String, page: &Page) -> RecordedAnswer {
        let in_place_of = recorded.in_place_of();
        let Recorded {
            id: _,
            number,
            amount,
            instead_of,
            late: _,
        } = recorded;
        RecordedAnswer {
            entry: number,
            what,
            currency: page.currency.code(),
            amount: page.amount(amount),
            instead_of,
            in_place_of,
        }
    }
}

impl Answer for RecordedAnswer {
    fn text(&self, _: &Page) -> String {
        let amount = match self.amount {
            none if none.money.is_zero() => String::new(),
            amount => format!(", {amount}"),
        };
        let what = inert(&self.what);
        format!("{}: {what}{}{amount}.", self.entry, self.in_place_of)
    }
}

/// A machine's return that was just charged.
#[derive(Debug, Serialize)]
pub struct ReturnedAnswer {
    entry: String,
    #[serde(skip)]
    machine: String,
    currency: &'static str,
    amount: Amount,
    by_tariff: Amount,
    days: Option<Vec<Share>>,
}

impl ReturnedAnswer {
    /// Returns the answer about a machine's return.
    pub fn new(returned: Returned, machine: String, page: &Page) -> ReturnedAnswer {
        let Returned {
            recorded,
            by_tariff,
            days,
        } = returned;
        ReturnedAnswer {
            entry: recorded.number,
            machine,
            currency: page.currency.code(),
            amount: page.amount(recorded.amount),
            by_tariff: page.amount(by_tariff),
            days: Share::all(days, page),
        }
    }
}

impl Answer for ReturnedAnswer {
    fn text(&self, _: &Page) -> String {
        let days = self.days.as_deref().unwrap_or_default();
        let mut text = format!(
            "{}: {} back after {}, {}.",
            self.entry,
            inert(&self.machine),
            count(days.len(), "rental day"),
            self.amount
        );
        if self.by_tariff != self.amount {
            let asked = self.by_tariff;
            let _ = write!(text, " The tariff with which it went out asks {asked}.");
        }
        let days: Vec<String> = days.iter().map(Share::to_string).collect();
        format!("{text}\n{}", days.join("\n"))
    }
}

/// From which date on another job had a machine.
#[derive(Debug, Serialize)]
struct MovedFacts {
    date: NaiveDate,
    job: String,
}

/// A machine that is or was rented.
#[derive(Debug, Serialize)]
pub(super) struct RentalFacts {
    entry: String,
    machine: String,
    job: String,
    #[serde(skip)]
    jobs: String,
    out_at: Moment,
    back_at: Option<Moment>,
    days: usize,
    charge: Option<Amount>,
    moved: Vec<MovedFacts>,
    by_tariff: Option<bool>,
    shares: Option<Vec<Share>>,
}

impl RentalFacts {
    /// Returns what is told of a rental.
    pub(super) fn new(rental: Rental, page: &Page) -> RentalFacts {
        let jobs = rental.jobs().join(", ");
        let Rental {
            id: _,
            entry,
            machine_id: _,
            machine,
            job_id: _,
            job,
            out_at,
            tariff: _,
            moved,
            back,
        } = rental;
        let moved = moved
            .into_iter()
            .map(|Moved { on, job_id: _, job }| MovedFacts { date: on, job });
        let back = back.as_ref();
        let days = back.map(|back| back.days.clone()).unwrap_or_default();
        RentalFacts {
            entry,
            machine,
            job,
            jobs,
            out_at: Moment(out_at),
            back_at: back.map(|back| Moment(back.at)),
            days: days.len(),
            charge: back.map(|back| page.amount(back.charge)),
            moved: moved.collect(),
            by_tariff: back.map(|back| back.by_tariff),
            shares: Share::all(days, page),
        }
    }
}

/// The rentals.
#[derive(Debug, Serialize)]
pub struct RentalList {
    currency: &'static str,
    rentals: Vec<RentalFacts>,
}

impl RentalList {
    /// Returns the answer about these rentals.
    pub fn new(rentals: Vec<Rental>, page: &Page) -> RentalList {
        RentalList {
            currency: page.currency.code(),
            rentals: page.each(rentals, RentalFacts::new),
        }
    }
}

impl Answer for RentalList {
    fn text(&self, page: &Page) -> String {
        rentals_text(&self.rentals, page)
    }
}

/// Lists rentals.
pub(super) fn rentals_text(rentals: &[RentalFacts], page: &Page) -> String {
    if rentals.is_empty() {
        return "No machine was rented yet.".to_owned();
    }
    let mut table = page
        .table(["Entry", "Machine", "Job", "Out", "Back", "Days", "Charge"])
        .numbers([5, 6]);
    let mut shared = Vec::new();
    for rental in rentals {
        let back_at = rental.back_at.map(|at| at.to_string());
        table.line([
            &rental.entry,
            &rental.machine,
            &rental.jobs,
            &rental.out_at,
            &back_at.as_deref().unwrap_or("still out"),
            &or_blank(rental.back_at.map(|_| rental.days)),
            &or_blank(rental.charge),
        ]);
        let named = |shares| format!("{} {}: {shares}", rental.entry, rental.machine);
        shared.extend(shares_text(rental.shares.as_ref()).map(named));
    }
    format!("{table}{}", shared_text(&shared, page))
}

/// What is on the shelf of an item.
#[derive(Debug, Serialize)]
struct StockFacts {
    item: String,
    unit: Unit,
    on_hand: Number,
    #[serde(skip)]
    average: Option<UnitPrice>,
    value: Amount,
    awaiting_receipt: Number,
    awaiting_cost: Amount,
}

impl StockFacts {
    fn new(line: StockLine, page: &Page) -> StockFacts {
        let StockLine {
            item,
            unit,
            on_hand,
            value,
            awaiting,
            awaiting_value,
        } = line;
        let average = (!on_hand.is_zero()).then(|| page.currency.decimal(value) / on_hand);
        StockFacts {
            item,
            unit,
            on_hand: Number(on_hand),
            average: average.map(|price| page.price_of_one(price)),
            value: page.amount(value),
            awaiting_receipt: Number(awaiting),
            awaiting_cost: page.amount(awaiting_value),
        }
    }
}

/// The stock, and what was used without a receipt.
#[derive(Debug, Serialize)]
pub struct StockList {
    currency: &'static str,
    items: Vec<StockFacts>,
    awaiting_receipt: Vec<AwaitingFacts>,
}

impl StockList {
    /// Returns the answer about these items and uses.
    pub fn new(lines: Vec<StockLine>, awaiting: Vec<AwaitingReceipt>, page: &Page) -> StockList {
        StockList {
            currency: page.currency.code(),
            items: page.each(lines, StockFacts::new),
            awaiting_receipt: page.each(awaiting, AwaitingFacts::new),
        }
    }
}

impl Answer for StockList {
    fn text(&self, page: &Page) -> String {
        if self.items.is_empty() {
            return "Nothing is in stock.".to_owned();
        }
        let mut table = page
            .table(["Item", "In stock", "Average", "Value", "Awaiting receipt"])
            .numbers([1, 2, 3, 4]);
        for line in &self.items {
            let awaiting = Some(line.awaiting_receipt).filter(|awaiting| !awaiting.0.is_zero());
            table.line([
                &line.item,
                &format!("{} {}", line.on_hand, line.unit),
                &or_blank(line.average),
                &line.value,
                &or_blank(awaiting.map(|awaiting| format!("{awaiting} {}", line.unit))),
            ]);
        }
        let mut text = table.to_string();
        if !self.awaiting_receipt.is_empty() {
            text.push_str("\n\nUsed at book price until the receipt comes:\n");
        }
        for used in &self.awaiting_receipt {
            let (much, cost) = (used.much(), used.assumed_cost);
            let _ = writeln!(text, "* {}: {much} on {}, {cost}", used.entry, used.job);
        }
        text
    }
}

/// A row of the notebook that was taken back.
#[derive(Debug, Serialize)]
pub struct VoidedAnswer {
    /// Its number.
    pub voided: String,
}
