//! Jobs: the list, one job with its day book, what closing found, and the lines that day-book commands answer with.

use std::collections::BTreeMap;
use std::fmt::{self, Write as _};

use chrono::NaiveDate;
use serde::Serialize;

use super::figures::{Amount, Moment, Number, UnitPrice};
use super::{Answer, List, Page, agree, count, inert, or_blank};
use crate::ledger::{
    Agreed, AwaitingReceipt, Before, Billed, DayBook, DayCharged, Entry, EntryBudget, Job,
    JobBudget, JobState, Moved, Recorded, Rental, Returned, StockLine,
};
use crate::money::Decimal;
use crate::money::Money;
use crate::trade::budget::{BudgetLine, Place, Subject};
use crate::trade::job_cost::DRIVING;
use crate::trade::{JobId, RoomId, Unit};

answer! {
    /// What is known of a job.
    struct JobFacts from job: Job on page {
        number: String,
        own_name: Option<String> = job.before.as_ref().map(|before| before.name.clone()),
        #[serde(skip)]
        title: String = job.title(),
        state: JobState,
        client: String,
        site: String,
        own: bool,
        agreed_on: NaiveDate,
        started_on: Option<NaiveDate>,
        closed_on: Option<NaiveDate>,
        cancelled_on: Option<NaiveDate> = job.cancelled.as_ref().map(|cancelled| cancelled.on),
        reason: Option<String> = job.cancelled.as_ref().map(|cancelled| cancelled.reason.clone()),
        .. { id, site_id, client_id, quote_id, before, cancelled }
    }
}

answer! {
    /// The jobs.
    pub struct JobList(Vec<JobFacts>) of (jobs: Vec<Job>) on page;
}

impl JobList {
    /// Says of each where it stands, for whom and where it is.
    pub(super) fn words(&self) -> Vec<String> {
        let words = |job: &JobFacts| {
            let (client, site) = (&job.client, &job.site);
            format!("{} {}: {client}, {site}", job.number, job.state)
        };
        self.0.iter().map(words).collect()
    }
}

answer! {
    /// A job in a list.
    struct JobRow of (job: Job, billed: &BTreeMap<JobId, Billed>) on page
    let billed = billed.get(&job.id).copied().unwrap_or_default();
    {
        #[serde(flatten)]
        job: JobFacts,
        billed: Amount = page.amount(billed.asked),
        paid: Amount = page.amount(billed.paid),
    }
}

answer! {
    /// The jobs, each with what was invoiced for it and paid, tax included, if anything was.
    pub struct Jobs(Vec<JobRow>) of (jobs: Vec<Job>) with (billed: &BTreeMap<JobId, Billed>) on page;
}

listed! { Jobs, 0, answer: by_rows, by_day: true }

impl Jobs {
    /// Says how many are open, and what was billed and paid.
    fn answer(&self, page: &Page) -> String {
        let open = |row: &&JobRow| !matches!(row.job.state, JobState::Closed | JobState::Cancelled);
        let open = self.0.iter().filter(open).count();
        let sum = |part: fn(&JobRow) -> Money| page.amount(self.0.iter().map(part).sum());
        let (billed, paid) = (sum(|row| row.billed.money), sum(|row| row.paid.money));
        let money = match (billed.money.is_zero(), billed.money == paid.money) {
            (true, _) => String::new(),
            (false, true) => format!("; {} is billed and paid", billed.with_currency()),
            (false, false) => format!("; of {} billed, {paid} is paid", billed.with_currency()),
        };
        let open = agree(open, "is open", "are open");
        format!("{}, {open}{money}.", count(self.0.len(), "job"))
    }
}

impl Answer for Jobs {
    fn text(&self, page: &Page) -> String {
        if self.0.is_empty() {
            return "No jobs yet.".to_owned();
        }
        let headings = [
            "Job", "State", "Client", "Site", "Started", "Closed", "Billed", "Paid",
        ];
        let mut table = page.table(headings).numbers([6, 7]).makes_room([1, 4]);
        for JobRow { job, billed, paid } in &self.0 {
            let closed_on = job.closed_on.filter(|_| job.state == JobState::Closed);
            let closed_on = closed_on.or(job.cancelled_on);
            table.line([
                &job.title,
                &job.state,
                &job.client,
                &job.site,
                &or_blank(job.started_on),
                &or_blank(closed_on),
                billed,
                paid,
            ]);
        }
        page.led(&self.answer(page), table)
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.0)
    }
}

answer! {
    /// A day of a rental, charged to the job that had the machine.
    struct Share from day: DayCharged on page {
        date: NaiveDate = day.began_on,
        job: String,
        charge: Amount,
        .. { began_on, job_id }
    }
}

impl Share {
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

answer! {
    /// An entry of a day book.
    struct EntryFacts from entry: Entry on page {
        number: String,
        kind: String,
        date: NaiveDate = entry.happened_on,
        rooms: Vec<String>,
        subject: String,
        on: Option<String>,
        quantity: Option<Number>,
        unit: Option<Unit>,
        amount: Option<Amount>,
        shares: Option<Vec<Share>> = Share::all(entry.days, page),
        late: bool,
        voided: bool,
        .. { id, job_id, happened_on, days }
    }
}

impl EntryFacts {
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

answer! {
    /// A job with what was agreed and its day book.
    pub struct JobAnswer from book: DayBook with (job: Job, agreed: &Agreed, budget: Option<JobBudget>) on page {
        #[serde(flatten)]
        job: JobFacts = JobFacts::new(job.clone(), page),
        currency: &'static str = page.currency.code(),
        quotes: Vec<String> = agreed.quotes.iter().map(|record| record.header.number.clone()).collect(),
        price: Amount = page.amount(agreed.price()),
        variations: Amount = page.amount(agreed.variations()),
        #[serde(skip)]
        agreed: Amount = page.amount(agreed.price() + agreed.variations()),
        /// What the client reads, where that is with tax.
        #[serde(skip)]
        with_tax: Option<Amount> = agreed.tax_included().then(|| page.amount(agreed.total())),
        #[serde(skip)]
        before: Option<Before> = job.before,
        entries: Vec<EntryFacts>,
        overhead: Amount,
        cost: Amount = page.amount(book.total()),
        expected_cost: Option<Amount> = budget
            .as_ref()
            .and_then(|budget| budget.expected)
            .map(|cost| page.amount(cost)),
        #[serde(skip)]
        expected: Option<String> = budget.as_ref().and_then(|budget| expected_sentence(budget, page)),
        budget: Vec<BudgetLineFacts> = budget.map_or_else(Vec::new, |budget| {
            BudgetLineFacts::all(&budget, page)
        }),
    }
}

/// Says what a job is expected to cost in the end, and how far that is from its quote; `None`: nothing is known of that.
fn expected_sentence(budget: &JobBudget, page: &Page) -> Option<String> {
    let expected = budget.expected?;
    let more = expected - budget.quoted;
    let by = page.amount(more.abs());
    let beside = match more.minor() {
        0 => "as quoted".to_owned(),
        more if more > 0 => format!("{by} more than quoted"),
        _ => format!("{by} less than quoted"),
    };
    let expected = page.amount(expected).with_currency();
    Some(format!("It is expected to cost {expected}, {beside}."))
}

answer! {
    /// What of a budget line is in a room.
    struct BudgetPlace of (room: Option<String>, place: Place) on page {
        room: Option<String>,
        #[serde(flatten)]
        place: PlaceFacts = PlaceFacts::new(place, page),
    }

    /// What of an operation's item or of a task's hours was quoted and used.
    struct BudgetLineFacts of (line: BudgetLine, rooms: &BTreeMap<RoomId, String>) on page {
        operation: Option<String> = match &line.subject {
            Subject::Item { operation, .. } => operation.as_ref().map(|(_, name)| name.clone()),
            Subject::Hours(_) | Subject::OnTheRoad | Subject::Road(_) => None,
        },
        item: Option<String> = match &line.subject {
            Subject::Item { name, .. } => Some(name.clone()),
            Subject::Hours(_) | Subject::OnTheRoad => None,
            Subject::Road(_) => Some(DRIVING.to_owned()),
        },
        task: Option<String> = match &line.subject {
            Subject::Item { .. } | Subject::Road(_) => None,
            Subject::Hours(task) => Some(task.name.clone()),
            Subject::OnTheRoad => Some(DRIVING.to_owned()),
        },
        unit: Unit = line.subject.unit(),
        #[serde(flatten)]
        total: PlaceFacts = PlaceFacts::new(line.total(), page),
        rooms: Vec<BudgetPlace> = line
            .places
            .iter()
            .map(|(room, place)| {
                let name = room.and_then(|room| rooms.get(&room).cloned());
                BudgetPlace::new(name, *place, page)
            })
            .collect(),
    }
}

impl BudgetLineFacts {
    /// Returns the lines of a job: items by operation as they are quoted, then hours by task.
    fn all(budget: &JobBudget, page: &Page) -> Vec<BudgetLineFacts> {
        let is_item = |line: &&BudgetLine| matches!(line.subject, Subject::Item { .. });
        let lines = budget.budget.lines.iter();
        let (items, hours): (Vec<_>, Vec<_>) = lines.partition(is_item);
        let lines = items.into_iter().chain(hours);
        lines
            .map(|line| BudgetLineFacts::new(line.clone(), &budget.rooms, page))
            .collect()
    }

    /// Says what it counts: `rotary-36: disc-7in-36`, `oil-coat: oil-finish (gal)`, `sand (h)`.
    fn what(&self) -> String {
        let names = [&self.operation, &self.item, &self.task];
        let names: Vec<&str> = names.into_iter().filter_map(Option::as_deref).collect();
        format!("{}{}", names.join(": "), in_unit(self.unit, " (", ")"))
    }
}

impl JobAnswer {
    /// Lists what was quoted, used and is left; of a job that is over, nothing is left to do.
    fn budget_text(&self, page: &Page) -> String {
        if self.budget.is_empty() {
            return String::new();
        }
        let is_over = matches!(self.job.state, JobState::Closed | JobState::Cancelled);
        let mut table = match is_over {
            true => page.table(["Budget", "Quoted", "Used", ""]),
            false => page.table(["Budget", "Quoted", "Used", "Left"]),
        }
        .numbers([1, 2, 3]);
        for line in &self.budget {
            let PlaceFacts { quoted, used, left } = line.total;
            table.line([
                &line.what(),
                &or_blank(quoted),
                &or_blank(used),
                &or_blank(left.filter(|_| !is_over)),
            ]);
        }
        format!("\n\n{table}")
    }

    /// Says what was agreed, by quotes or before the ledger.
    fn agreed_text(&self, page: &Page) -> String {
        let mut text = String::new();
        if !self.quotes.is_empty() {
            let quotes = self.quotes.join(", ");
            let agreed = self.agreed.with_currency();
            let _ = match (self.job.own, self.with_tax) {
                (true, _) => writeln!(text, "Your own floors: at cost, as planned in {quotes}"),
                (false, Some(told)) => {
                    writeln!(text, "Agreed for {agreed} ({quotes}), {told} with tax")
                }
                (false, None) => writeln!(text, "Agreed for {agreed} ({quotes})"),
            };
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
            cancelled_on,
            reason,
            ..
        } = &self.job;
        let cost = match self.entries.is_empty() {
            true => "nothing is logged yet".to_owned(),
            false if matches!(state, JobState::Closed | JobState::Cancelled) => {
                format!("it cost {}", self.cost.with_currency())
            }
            false => format!("{} so far", self.cost.with_currency()),
        };
        let answer = format!("{title}, {state}: {cost}.");
        let mut title = inert(&format!("{client}, {site}"));
        if let (Some(on), Some(reason)) = (cancelled_on, reason) {
            let _ = write!(title, "\nCancelled on {on}: {}", inert(reason));
        }
        let expected = self.expected.as_ref();
        let expected = expected.map(|cost| page.prose(cost) + "\n");
        let head = format!(
            "{}\n{}\n{}{}",
            page.prose(&inert(&answer)),
            page.prose(&title),
            self.agreed_text(page),
            or_blank(expected)
        );
        if self.entries.is_empty() {
            return format!("{}{}\n", head.trim_end(), self.budget_text(page));
        }
        let mut table = page
            .table(["Entry", "Date", "What", "For", "Quantity", "Amount"])
            .numbers([4, 5])
            .makes_room([1, 3]);
        let mut shared = Vec::new();
        for entry in &self.entries {
            let shares = shares_text(entry.shares.as_ref());
            let much = entry.quantity.zip(entry.unit);
            let much = much.map(|(quantity, unit)| quantity.of(unit));
            table.line([
                &entry.number,
                &entry.date,
                &entry.what(shares.is_some()),
                &entry.places(),
                &or_blank(much),
                &or_blank(entry.amount),
            ]);
            let named = |shares| format!("{} {}: {shares}", entry.number, entry.subject);
            shared.extend(shares.map(named));
        }
        if !self.overhead.money.is_zero() {
            table.line([&"", &"", &"overhead", &"", &"", &self.overhead]);
        }
        table.line([&"Cost", &"", &"", &"", &"", &self.cost]);
        let shared = shared_text(&shared, page);
        format!("{head}\n{table}{shared}{}", self.budget_text(page))
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.entries)
    }
}

answer! {
    /// A use whose receipt hasn't come.
    pub(super) struct AwaitingFacts from awaiting: AwaitingReceipt on page {
        entry: String,
        job: String,
        item: String,
        quantity: Number,
        unit: Unit,
        assumed_cost: Amount = page.amount(awaiting.value),
        .. { job_id, value }
    }
}

impl AwaitingFacts {
    /// Says which use it is.
    pub(super) fn words(&self) -> String {
        format!("{}: {} on {}", self.entry, self.much(), self.job)
    }

    /// Writes how much it is of what: `3 discs of disc-7in-36`.
    fn much(&self) -> String {
        format!("{} of {}", self.quantity.of(self.unit), self.item)
    }

    /// Writes that, and in which entry: `3 discs of disc-7in-36 (E4)`.
    pub(super) fn much_in(&self) -> String {
        format!("{} ({})", self.much(), self.entry)
    }
}

answer! {
    /// How much of something was quoted and used.
    #[derive(Clone, Copy)]
    struct PlaceFacts of (place: Place) on page {
        quoted: Option<Number> = place.quoted.map(|quoted| Number(quoted.quantity)),
        used: Option<Number> = place.used.map(Number),
        left: Option<Number> = place.left().map(Number),
    }

    /// How far something has come, in the whole job and in the room of an entry.
    struct BudgetFacts of (budget: EntryBudget) on page {
        job: String = budget.job,
        of: String = budget.standing.name.clone(),
        unit: Unit = budget.standing.unit,
        #[serde(flatten)]
        total: PlaceFacts = PlaceFacts::new(budget.standing.total, page),
        room: Option<String> = budget.room,
        in_room: Option<PlaceFacts> = budget.standing.there.map(|there| PlaceFacts::new(there, page)),
        passes_begun: Option<usize> = budget.standing.passes.map(|passes| passes.begun),
        passes: Option<usize> = budget.standing.passes.map(|passes| passes.quoted),
    }
}

/// Writes a unit between these, unless it is one that is counted.
fn in_unit(unit: Unit, before: &str, after: &str) -> String {
    match unit {
        Unit::Each | Unit::Disc | Unit::Day => String::new(),
        Unit::Hour
        | Unit::Gallon
        | Unit::Litre
        | Unit::Foot
        | Unit::Metre
        | Unit::SquareFoot
        | Unit::SquareMetre
        | Unit::Mile
        | Unit::Kilometre => format!("{before}{unit}{after}"),
    }
}

impl PlaceFacts {
    /// Says how much of what was quoted is used: `21 of 24`, with the unit where it isn't counted.
    fn words(&self, unit: &str) -> String {
        let used = self.used.unwrap_or(Number(Decimal::ZERO));
        match self.quoted {
            Some(quoted) => format!("{used} of {quoted}{unit}"),
            None => format!("{used}{unit}, not quoted"),
        }
    }
}

impl BudgetFacts {
    /// Says in a line how far it has come: `disc-7in-36: 21 of 24 quoted; Den 6 of 7, 2 of 3 passes begun`.
    fn words(&self) -> String {
        let of = inert(&self.of);
        if self.total.quoted.is_none() {
            return format!("{of}: not quoted");
        }
        let unit = in_unit(self.unit, " ", "");
        let there = self.room.as_ref().zip(self.in_room.as_ref());
        let there = there.map(|(room, there)| format!("; {} {}", inert(room), there.words("")));
        let begun = self.passes_begun.zip(self.passes);
        let begun = begun.map(|(begun, all)| format!(", {begun} of {all} passes begun"));
        format!(
            "{of}: {} quoted{}{}",
            self.total.words(&unit),
            or_blank(there),
            or_blank(begun)
        )
    }
}

answer! {
    /// An entry that was just written.
    pub struct RecordedAnswer from recorded: Recorded with (what: String) on page {
        entry: String = recorded.number.clone(),
        what: String = what,
        currency: &'static str = page.currency.code(),
        amount: Amount,
        instead_of: Option<String>,
        #[serde(skip)]
        in_place_of: String = recorded.in_place_of(),
        budget: Option<Box<BudgetFacts>> = None,
        .. { id, number, late }
    }
}

impl RecordedAnswer {
    /// Adds how far that has come which it logged.
    pub fn add_budget(&mut self, budget: EntryBudget, page: &Page) {
        self.budget = Some(Box::new(BudgetFacts::new(budget, page)));
    }

    /// Says what was written, in a line.
    fn line(&self) -> String {
        let amount = match self.amount {
            none if none.money.is_zero() => String::new(),
            amount => format!(", {amount}"),
        };
        let what = inert(&self.what);
        format!("{}: {what}{}{amount}.", self.entry, self.in_place_of)
    }
}

impl Answer for RecordedAnswer {
    fn text(&self, _: &Page) -> String {
        let budget = self.budget.as_ref().map(|budget| budget.words());
        let budget = budget.map(|words| format!("\n{words}"));
        self.line() + &or_blank(budget)
    }
}

answer! {
    /// A machine's return that was just charged.
    pub struct ReturnedAnswer from returned: Returned with (machine: String) on page {
        entry: String = returned.recorded.number,
        #[serde(skip)]
        machine: String = machine,
        currency: &'static str = page.currency.code(),
        amount: Amount = page.amount(returned.recorded.amount),
        by_tariff: Amount,
        days: Option<Vec<Share>> = Share::all(returned.days, page),
        .. { recorded, days }
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

answer! {
    /// From which date on another job had a machine.
    struct MovedFacts from moved: Moved on page {
        date: NaiveDate = moved.on,
        job: String,
        .. { on, job_id }
    }

    /// A machine that is or was rented.
    pub(super) struct RentalFacts from rental: Rental on page {
        entry: String,
        machine: String,
        job: String,
        #[serde(skip)]
        jobs: String = rental.jobs().join(", "),
        out_at: Moment,
        back_at: Option<Moment> = rental.back.as_ref().map(|back| Moment(back.at)),
        days: usize = rental.back.as_ref().map_or(0, |back| back.days.len()),
        charge: Option<Amount> = rental.back.as_ref().map(|back| page.amount(back.charge)),
        moved: Vec<MovedFacts>,
        by_tariff: Option<bool> = rental.back.as_ref().map(|back| back.by_tariff),
        shares: Option<Vec<Share>> = rental.back.and_then(|back| Share::all(back.days, page)),
        .. { id, machine_id, job_id, tariff, back }
    }

    /// The rentals.
    pub struct RentalList of (rentals: Vec<Rental>) on page {
        currency: &'static str = page.currency.code(),
        rentals: Vec<RentalFacts>,
    }
}

listed! { RentalList, rentals, answer: by_rows, by_day: true }

impl RentalList {
    /// Says what they cost, and how many are out.
    fn answer(&self, page: &Page) -> String {
        let out = self
            .rentals
            .iter()
            .filter(|rental| rental.back_at.is_none());
        let out = agree(out.count(), "is still out", "are still out");
        let charges = self.rentals.iter().filter_map(|rental| rental.charge);
        let charged = page.amount(charges.map(|charge| charge.money).sum());
        let charged = match charged.money.is_zero() {
            true => String::new(),
            false => format!(" for {}", charged.with_currency()),
        };
        let rentals = count(self.rentals.len(), "rental");
        format!("{rentals}{charged}; {out}.")
    }
}

impl Answer for RentalList {
    fn text(&self, page: &Page) -> String {
        if self.rentals.is_empty() {
            return "No machine was rented yet.".to_owned();
        }
        page.led(&self.answer(page), rentals_text(&self.rentals, page))
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.rentals)
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

answer! {
    /// What is on the shelf of an item.
    struct StockFacts from line: StockLine on page {
        item: String,
        unit: Unit,
        on_hand: Number,
        #[serde(skip)]
        average: Option<UnitPrice> = (!line.on_hand.is_zero())
            .then(|| page.price_of_one(page.currency.decimal(line.value) / line.on_hand)),
        value: Amount,
        awaiting_receipt: Number = Number(line.awaiting),
        awaiting_cost: Amount = page.amount(line.awaiting_value),
        .. { awaiting, awaiting_value }
    }

    /// The stock, and what was used without a receipt.
    pub struct StockList of (lines: Vec<StockLine>, awaiting: Vec<AwaitingReceipt>) on page {
        currency: &'static str = page.currency.code(),
        items: Vec<StockFacts> = page.each(lines, StockFacts::new),
        awaiting_receipt: Vec<AwaitingFacts> = page.each(awaiting, AwaitingFacts::new),
    }
}

listed! { StockList, items, answer: by_rows, by_day: false }

impl StockList {
    /// Says what is on the shelf, and what awaits a receipt.
    fn answer(&self, page: &Page) -> String {
        let worth = page.amount(self.items.iter().map(|line| line.value.money).sum());
        let awaiting = match self.awaiting_receipt.len() {
            0 => String::new(),
            uses => format!(
                "; {}",
                agree(uses, "use awaits its receipt", "uses await their receipts")
            ),
        };
        let items = count(self.items.len(), "item");
        format!("{items} worth {}{awaiting}.", worth.with_currency())
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
            let unit = line.unit;
            let of_unit = |quantity: Number| quantity.of(unit);
            let awaiting = Some(line.awaiting_receipt).filter(|awaiting| !awaiting.0.is_zero());
            table.line([
                &line.item,
                &of_unit(line.on_hand),
                &or_blank(line.average),
                &line.value,
                &or_blank(awaiting.map(of_unit)),
            ]);
        }
        let mut text = page.led(&self.answer(page), table);
        if !self.awaiting_receipt.is_empty() {
            text.push_str("\n\nUsed at book price until the receipt comes:\n");
        }
        for used in &self.awaiting_receipt {
            let (much, cost) = (used.much(), used.assumed_cost);
            let _ = writeln!(text, "* {}: {much} on {}, {cost}", used.entry, used.job);
        }
        text
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.items)
    }
}

/// A row of the notebook that was taken back.
#[derive(Debug, Serialize)]
pub struct VoidedAnswer {
    /// Its number.
    pub voided: String,
}

answer! {
    /// A shopping list that was bought: an entry for each of its items.
    pub struct BoughtAnswer of (list: String, paid: Money, lines: Vec<RecordedAnswer>) on page {
        list: String = list,
        currency: &'static str = page.currency.code(),
        paid: Amount = page.amount(paid),
        lines: Vec<RecordedAnswer> = lines,
    }
}

impl Answer for BoughtAnswer {
    fn text(&self, _: &Page) -> String {
        let (items, paid) = (count(self.lines.len(), "item"), self.paid);
        let lines = self.lines.iter().map(|line| format!("\n{}", line.line()));
        let lines: String = lines.collect();
        format!("Bought {items} for {}, {paid} in all:{lines}", self.list)
    }
}

/// What a line of the day book came to.
#[derive(Debug, Serialize)]
#[serde(untagged)]
pub enum LineAnswer {
    /// An entry.
    Recorded(RecordedAnswer),
    /// The entries of a shopping list.
    Bought(BoughtAnswer),
    /// A machine's return, with what each day is charged to.
    Returned(ReturnedAnswer),
    /// A row of the notebook is taken back.
    Voided(VoidedAnswer),
}

impl Answer for LineAnswer {
    fn text(&self, page: &Page) -> String {
        match self {
            LineAnswer::Recorded(answer) => answer.text(page),
            LineAnswer::Bought(answer) => answer.text(page),
            LineAnswer::Returned(answer) => answer.text(page),
            LineAnswer::Voided(VoidedAnswer { voided }) => {
                format!("Took back {voided} of the notebook.")
            }
        }
    }
}

/// What many lines of the day book came to.
#[derive(Debug, Serialize)]
#[serde(transparent)]
pub struct DayBookAnswer {
    lines: Vec<LineAnswer>,
}

impl DayBookAnswer {
    /// Returns the answer about these lines.
    pub fn new(lines: Vec<LineAnswer>) -> DayBookAnswer {
        DayBookAnswer { lines }
    }

    /// Says how far everything has come that was logged, each thing once and in its last room; with its job, if several have
    /// lines.
    fn budgets(&self) -> Vec<String> {
        let budgets = self.lines.iter().filter_map(|line| match line {
            LineAnswer::Recorded(recorded) => recorded.budget.as_deref(),
            LineAnswer::Bought(_) | LineAnswer::Returned(_) | LineAnswer::Voided(_) => None,
        });
        let mut last: Vec<&BudgetFacts> = Vec::new();
        for budget in budgets {
            let is_same =
                |known: &&BudgetFacts| (&known.job, &known.of) == (&budget.job, &budget.of);
            match last.iter().position(is_same) {
                Some(position) => last[position] = budget,
                None => last.push(budget),
            }
        }
        let several = last.iter().any(|budget| budget.job != last[0].job);
        let words = last.iter().map(|budget| match several {
            true => format!("{} {}", budget.job, budget.words()),
            false => budget.words(),
        });
        words.collect()
    }
}

impl Answer for DayBookAnswer {
    fn text(&self, page: &Page) -> String {
        let mut text = format!("Wrote {}:", count(self.lines.len(), "line"));
        for line in &self.lines {
            let line = match line {
                LineAnswer::Recorded(recorded) => recorded.line(),
                LineAnswer::Bought(_) | LineAnswer::Returned(_) | LineAnswer::Voided(_) => {
                    line.text(page)
                }
            };
            let _ = write!(text, "\n{line}");
        }
        for words in self.budgets() {
            let _ = write!(text, "\n{words}");
        }
        text
    }
}
