//! Lines of the day book written down: names looked up, what is unlikely asked about, what follows said.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

use anyhow::Result;

use super::{
    BackArgs, BuyArgs, CostArgs, CountArgs, DriveArgs, HandBackArgs, HoursArgs, Line, MachineLine,
    MoveArgs, OccasionArgs, OutArgs, RentalCommand, ShelfLine, SpentArgs, StockCommand, UseArgs,
    VoidArgs,
};
use crate::cli::correction::{entry_or_last, words_of, write_correct};
use crate::cli::job::begun_by_work;
use crate::cli::list::give_list;
use crate::cli::read::{
    confirm_day, names_in, read_date, read_distance, read_moment, read_money, read_quantity,
    rooms_named,
};
use crate::cli::ui::{Context, Remark};
use crate::document::job::{
    BoughtAnswer, LineAnswer, RecordedAnswer, RentalList, ReturnedAnswer, StockList, VoidedAnswer,
};
use crate::ledger::{
    BookItem, InBook, Job, JobState, Ledger, Occasion, Recorded, Refusal, Room, ToBuy, UsedFor,
    Which, WorkedOn, Writing, same, typed,
};
use crate::money::{Decimal, Money, plain};
use crate::trade::job_cost::DRIVING;
use crate::trade::rates::Band;
use crate::trade::{EntryId, Unit};

/// A receipt this many times above or below the list price is asked about.
const TIMES_THE_LIST: Decimal = Decimal::from_parts(3, 0, 0, false, 0);

/// An occasion with its names looked up.
struct Resolved {
    /// `None`: it belongs to no job.
    job: Option<Job>,
    rooms: Vec<Room>,
    on: chrono::NaiveDate,
    note: String,
}

impl Resolved {
    /// Returns an occasion of a job, and the job.
    fn new(
        context: &Context,
        writing: &Writing<'_>,
        args: &OccasionArgs,
    ) -> Result<(Resolved, Job)> {
        let names = names_in(&args.rooms)?;
        let job = writing.job_for(args.job.job.as_deref(), &names)?;
        let rooms = rooms_named(writing, &names, job.site_id)?;
        let on = read_date(context, writing, args.date.as_deref())?;
        let resolved = Resolved {
            job: Some(job.clone()),
            rooms,
            on,
            note: args.note.clone(),
        };
        Ok((resolved, job))
    }

    fn of_cost(
        context: &Context,
        writing: &Writing<'_>,
        args: &CostArgs,
        line: &CostLine,
    ) -> Result<Resolved> {
        let occasion = &args.occasion;
        if args.no_job {
            return Ok(Resolved {
                job: None,
                rooms: Vec::new(),
                on: read_date(context, writing, occasion.date.as_deref())?,
                note: occasion.note.clone(),
            });
        }
        if occasion.job.job.is_none() && occasion.rooms.is_empty() {
            let jobs = writing.jobs_not_closed()?;
            let is_meant = |job: &Job| job.state == JobState::Open || !line.may_be_of_no_job;
            if !jobs.iter().any(is_meant) {
                return Err(line.without_a_job(writing, occasion, &jobs)?.into());
            }
        }
        Resolved::new(context, writing, occasion).map(|(resolved, _)| resolved)
    }

    /// Begins its job with the work that was done on it, if it is only agreed.
    fn begun_by_work(self, context: &Context, writing: &Writing<'_>) -> Result<Resolved> {
        let job = self
            .job
            .map(|job| begun_by_work(context, writing, job, self.on))
            .transpose()?;
        Ok(Resolved { job, ..self })
    }

    fn occasion(&self) -> Occasion<'_> {
        Occasion {
            job: self.job.as_ref(),
            rooms: &self.rooms,
            on: self.on,
            note: &self.note,
        }
    }

    /// Has confirmed what is unlikely about an entry on this occasion.
    fn confirm(&self, context: &Context, writing: &Writing<'_>, recorded: &Recorded) -> Result<()> {
        confirm_day(context, self.on, self.job.as_ref())?;
        confirm_new(context, writing, recorded)?;
        if let Some(job) = &self.job
            && let Some(cancelled) = &job.cancelled
        {
            context.warn(&format!("{} was cancelled on {}", job.number, cancelled.on));
        }
        Ok(())
    }

    /// Says which rooms of its job aren't to be ground: those that it names, or any of the whole job.
    fn remarks_on_barred(&self, ledger: &Ledger) -> Result<Vec<Remark>> {
        let Some(job) = &self.job else {
            return Ok(Vec::new());
        };
        let is_meant = |name: &String| {
            self.rooms.is_empty() || self.rooms.iter().any(|room| room.name == *name)
        };
        let barred = ledger.barred_of(job)?.into_iter();
        let barred = barred.filter(|barred| is_meant(&barred.room));
        Ok(barred
            .map(|barred| Remark::Warning(barred.to_string()))
            .collect())
    }

    /// Returns the places in words: ` on J1, Landing`, `, no job`.
    fn words(&self) -> String {
        let Some(job) = &self.job else {
            return ", no job".to_owned();
        };
        let rooms: String = self
            .rooms
            .iter()
            .map(|room| format!(", {}", room.name))
            .collect();
        let late = if job.is_late_on(self.on) {
            " (closed: a late cost)"
        } else {
            ""
        };
        format!(" on {}{rooms}{late}", job.number)
    }

    /// Returns what hours or miles of no job were for, in words: `, estimate visit`.
    fn what_for(&self) -> String {
        match self.note.trim() {
            note if self.job.is_none() && !note.is_empty() => format!(", {note}"),
            _ => String::new(),
        }
    }
}

/// The line of a cost as it was typed, without where and when.
struct CostLine {
    words: String,
    /// The task that was named with --on.
    task: Option<String>,
    /// Hours on a task are of a job.
    may_be_of_no_job: bool,
}

impl CostLine {
    fn new(words: String) -> CostLine {
        CostLine {
            words,
            task: None,
            may_be_of_no_job: true,
        }
    }

    /// Says that no job is open, and with which lines the cost is logged all the same.
    fn without_a_job(
        &self,
        ledger: &Ledger,
        occasion: &OccasionArgs,
        not_closed: &[Job],
    ) -> Result<Refusal> {
        let option = |name: &str, value: Option<&str>| {
            let value = value.filter(|value| !value.is_empty());
            value.map_or_else(String::new, |value| format!(" --{name} {}", typed(value)))
        };
        let line = [
            "gritledger ",
            &self.words,
            &option("on", self.task.as_deref()),
            &option("date", occasion.date.as_deref()),
            &option("note", Some(&occasion.note)),
        ]
        .concat();
        let of_no_job = |refusal: Refusal| match self.may_be_of_no_job {
            true => refusal.hint(format!("{line} --no-job")),
            false => refusal,
        };
        // It may be the firm's own, so no job is begun with it before somebody says so.
        if let Some(job) = not_closed.iter().find(|job| job.state == JobState::Agreed) {
            let number = &job.number;
            let refusal = Refusal::new(format!("no job is open; {number} is agreed"));
            return Ok(of_no_job(refusal.hint(format!("{line} --job {number}"))));
        }
        let refusal = of_no_job(Refusal::new("no job is open"));
        let jobs = ledger.jobs()?;
        Ok(match jobs.iter().rev().find(|job| job.is_closed()) {
            Some(job) => refusal.hint(format!("{line} --job {}", job.number)),
            None => refusal.hint("gritledger job list"),
        })
    }
}

/// A line that was written, and what is to be said of it.
pub(in crate::cli) struct Noted {
    pub(in crate::cli) answer: LineAnswer,
    pub(in crate::cli) remarks: Vec<Remark>,
    /// The job that it logged something on, and the entry.
    pub(in crate::cli) logged: Option<(Job, EntryId)>,
}

impl Noted {
    fn of(answer: LineAnswer) -> Noted {
        Noted {
            answer,
            remarks: Vec::new(),
            logged: None,
        }
    }

    /// Tells whether its entry still counts.
    pub(in crate::cli) fn stands(&self, ledger: &Ledger) -> Result<bool> {
        match &self.logged {
            Some((_, entry)) => ledger.counts(*entry),
            None => Ok(true),
        }
    }
}

/// Adds to lines how far that has come which they logged, as it stands after the last of them.
pub(in crate::cli) fn add_budgets(
    context: &Context,
    ledger: &Ledger,
    lines: &mut [Noted],
) -> Result<()> {
    let page = context.page(ledger);
    let mut budgets = BTreeMap::new();
    for line in lines {
        let Some((job, entry)) = &line.logged else {
            continue;
        };
        let budget = match budgets.entry(job.id) {
            Entry::Occupied(known) => known.into_mut(),
            Entry::Vacant(place) => place.insert(ledger.budget_of(job)?),
        };
        let after = budget.as_ref().and_then(|budget| budget.after(*entry));
        if let (LineAnswer::Recorded(answer), Some(after)) = (&mut line.answer, after) {
            answer.add_budget(after, &page);
        }
    }
    Ok(())
}

/// Writes one line of the day book and answers with it.
pub(in crate::cli) fn cmd_line(context: &Context, line: &Line) -> Result<()> {
    context.write(|writing| {
        let mut noted = write_line(context, writing, line)?;
        add_budgets(context, writing, std::slice::from_mut(&mut noted))?;
        context.give(writing, noted.answer)?;
        let remarks = noted.remarks.iter();
        remarks.for_each(|remark| context.remark(remark));
        Ok(())
    })
}

/// Writes a line of the day book down; what is unlikely about it is asked about, what speaks against it is said.
pub(in crate::cli) fn write_line(
    context: &Context,
    writing: &Writing<'_>,
    line: &Line,
) -> Result<Noted> {
    match line {
        Line::Use(args) => write_use(context, writing, args),
        Line::Hours(args) => write_hours(context, writing, args),
        Line::Spent(args) => write_spent(context, writing, args),
        Line::Drive(args) => write_drive(context, writing, args),
        Line::Buy(args) => write_buy(context, writing, args),
        Line::HandBack(args) => write_hand_back(context, writing, args),
        Line::Rental(MachineLine::Out(args)) => write_out(context, writing, args),
        Line::Rental(MachineLine::Back(args)) => write_back(context, writing, args),
        Line::Rental(MachineLine::Move(args)) => write_move(context, writing, args),
        Line::Stock(ShelfLine::Count(args)) => write_count(context, writing, args),
        Line::Correct(args) => write_correct(context, writing, args),
        Line::Void(args) => write_void(context, writing, args),
    }
}

fn write_use(context: &Context, writing: &Writing<'_>, args: &UseArgs) -> Result<Noted> {
    let (resolved, job) = Resolved::new(context, writing, &args.occasion)?;
    let job = &begun_by_work(context, writing, job, resolved.on)?;
    let resolved = Resolved {
        job: Some(job.clone()),
        ..resolved
    };
    let item = writing.item_for(job, &args.item)?;
    let quantity = read_quantity(writing.notation(), &args.quantity.join(" "), item.unit)?;
    let operation = match args.left_over {
        true => None,
        false => writing.operation_for(&item, job, args.on.as_deref())?,
    };
    let used_for = match args.left_over {
        true => UsedFor::LeftOver,
        false => UsedFor::Operation(operation.as_ref()),
    };
    let recorded = writing.record_use(&item, quantity, used_for, &resolved.occasion())?;
    resolved.confirm(context, writing, &recorded)?;
    let doubt = settle_doubt(context, writing, job, &recorded, item.unit)?;
    let what = format!(
        "used {} of {}{}",
        item.unit.told(quantity, 2),
        item.name,
        resolved.words()
    );
    let mut remarks = remarks_on(&recorded, doubt);
    remarks.extend(resolved.remarks_on_barred(writing)?);
    remarks.extend(remarks_on_awaiting(writing, &recorded, &item)?);
    said_on(context, writing, resolved.job, recorded, what).map(|noted| Noted { remarks, ..noted })
}

/// Says that more was used than there was, once a day: the receipts of a day come together.
fn remarks_on_awaiting(
    writing: &Writing<'_>,
    recorded: &Recorded,
    item: &BookItem,
) -> Result<Vec<Remark>> {
    let awaiting = writing.awaiting_receipt()?;
    let own = awaiting.iter().find(|line| line.entry == recorded.number);
    let Some(line) = own else {
        return Ok(Vec::new());
    };
    if writing.awaited_before(recorded.id)? {
        return Ok(Vec::new());
    }
    let short = line.unit.told(line.quantity, 2);
    Ok(vec![
        Remark::Warning(format!(
            "{short} of it not in stock: taken at book price until the receipt comes"
        )),
        Remark::Hint(format!(
            "gritledger buy {} QTY --cost TOTAL",
            typed(&item.name)
        )),
    ])
}

fn write_hours(context: &Context, writing: &Writing<'_>, args: &HoursArgs) -> Result<Noted> {
    let (worker, hours, task) = args.parted(writing)?;
    let worker = writing.worker_or_only(worker.as_deref())?;
    let worked_on = match &task {
        Some(name) => worked_on(writing, name)?,
        None => WorkedOn::Nothing,
    };
    let words: Vec<String> = args.words.iter().map(|word| typed(word)).collect();
    let line = CostLine {
        words: format!("hours {}", words.join(" ")),
        task: args.on.clone(),
        may_be_of_no_job: matches!(worked_on, WorkedOn::TheRoad | WorkedOn::Nothing),
    };
    let mut resolved =
        Resolved::of_cost(context, writing, &args.cost, &line)?.begun_by_work(context, writing)?;
    let on_the_road = worked_on == WorkedOn::TheRoad;
    if on_the_road {
        // Its rooms said the job.
        resolved.rooms.clear();
    }
    let recorded = writing.record_hours(&worker, hours, &worked_on, &resolved.occasion())?;
    resolved.confirm(context, writing, &recorded)?;
    let doubt = match &resolved.job {
        Some(job) => settle_doubt(context, writing, job, &recorded, Unit::Hour)?,
        None => None,
    };
    let on = match &worked_on {
        WorkedOn::Task(task) => format!(", {}", task.name),
        WorkedOn::Operation(operation) => format!(", {}", operation.name),
        WorkedOn::TheRoad => format!(", {DRIVING}{}", resolved.what_for()),
        WorkedOn::Nothing if resolved.job.is_none() => resolved.what_for(),
        WorkedOn::Nothing => ", no task said".to_owned(),
    };
    let what = format!(
        "{} worked {} h{}{on}",
        worker.name,
        plain(hours, 2),
        resolved.words()
    );
    let mut remarks = remarks_on(&recorded, doubt);
    if !on_the_road {
        remarks.extend(resolved.remarks_on_barred(writing)?);
    }
    said_on(context, writing, resolved.job, recorded, what).map(|noted| Noted { remarks, ..noted })
}

/// Has an entry confirmed that says what another one says of the same day.
pub(in crate::cli) fn confirm_new(
    context: &Context,
    writing: &Writing<'_>,
    recorded: &Recorded,
) -> Result<()> {
    context.wrote(&recorded.number);
    match writing.said_before(recorded.id)? {
        Some(earlier) => context.confirm(&format!(
            "the same is logged for that day already, {}",
            context.whereabouts(&earlier)
        )),
        None => Ok(()),
    }
}

/// Asks about an entry that looks like a slip, before it is kept; returns what speaks against it if nobody was there to
/// answer.
pub(in crate::cli) fn settle_doubt(
    context: &Context,
    writing: &Writing<'_>,
    job: &Job,
    recorded: &Recorded,
    unit: Unit,
) -> Result<Option<String>> {
    let Some((observation, judgement)) = writing.doubt_about(job, recorded.id)? else {
        return Ok(None);
    };
    let Band { low, high } = judgement.band;
    let rooms = observation.rooms();
    let doubt = format!(
        "{} {unit} for {} so far; rooms like this take {} to {}: {}",
        plain(observation.quantity, 2),
        rooms.join(", "),
        plain(low, 2),
        plain(high, 2),
        judgement
            .slip
            .map_or_else(String::new, |slip| slip.to_string())
    );
    if context.confirm_if_there(&doubt)? {
        writing.confirm(&recorded.number)?;
        return Ok(None);
    }
    Ok(Some(doubt))
}

/// Says what speaks against an entry, and what to type if it is right and if it isn't.
pub(in crate::cli) fn remarks_on(recorded: &Recorded, doubt: Option<String>) -> Vec<Remark> {
    let number = &recorded.number;
    let Some(doubt) = doubt else {
        return Vec::new();
    };
    vec![
        Remark::Warning(format!("{number}: {doubt}?")),
        Remark::Hint(format!("gritledger rate confirm {number}")),
        Remark::Hint(format!("gritledger void {number} --reason \"a slip\"")),
    ]
}

/// Looks a name up: the road, then the tasks, then the operations.
pub(in crate::cli) fn worked_on(ledger: &Ledger, name: &str) -> Result<WorkedOn> {
    if WorkedOn::is_the_road(name) {
        return Ok(WorkedOn::TheRoad);
    }
    if let Some(task) = ledger
        .tasks()?
        .into_iter()
        .find(|task| same(&task.name, name))
    {
        return Ok(WorkedOn::Task(task));
    }
    match ledger.operation(name) {
        Ok(operation) => Ok(WorkedOn::Operation(Box::new(operation))),
        Err(_) => {
            let tasks: Vec<String> = ledger.tasks()?.into_iter().map(|task| task.name).collect();
            Err(
                Refusal::new(format!("`{name}` is neither a task nor an operation"))
                    .hint(format!("tasks: {}, {DRIVING}", tasks.join(", ")))
                    .into(),
            )
        }
    }
}

fn write_spent(context: &Context, writing: &Writing<'_>, args: &SpentArgs) -> Result<Noted> {
    let amount = read_money(writing, &args.amount)?;
    let line = CostLine::new(format!(
        "spent {} --for {}",
        typed(&args.amount),
        typed(&args.purpose)
    ));
    // A permit is paid before work begins.
    let resolved = Resolved::of_cost(context, writing, &args.cost, &line)?;
    let recorded = writing.record_spent(amount, &args.purpose, &resolved.occasion())?;
    resolved.confirm(context, writing, &recorded)?;
    let what = format!("spent for {}{}", args.purpose, resolved.words());
    said(context, writing, recorded, what)
}

fn write_drive(context: &Context, writing: &Writing<'_>, args: &DriveArgs) -> Result<Noted> {
    let driven = read_distance(writing, &args.distance)?;
    let line = CostLine::new(format!("drive {}", typed(&args.distance)));
    let resolved =
        Resolved::of_cost(context, writing, &args.cost, &line)?.begun_by_work(context, writing)?;
    let recorded = writing.record_drive(driven, &resolved.occasion())?;
    resolved.confirm(context, writing, &recorded)?;
    let what = format!(
        "drove {}{}{}",
        writing.road().told(driven, 1),
        resolved.words(),
        resolved.what_for()
    );
    said(context, writing, recorded, what)
}

/// Returns an item of the shelf: while one job is open, as that job knows it.
fn shelf_item(writing: &Writing<'_>, wanted: &str) -> Result<BookItem> {
    match writing.job_or_only_open(None) {
        Ok(job) => writing.item_for(&job, wanted),
        Err(_) => writing.item(wanted),
    }
}

fn write_buy(context: &Context, writing: &Writing<'_>, args: &BuyArgs) -> Result<Noted> {
    if let Some(list) = &args.list {
        return write_buy_list(context, writing, list, args);
    }
    // Without a list both are asked for.
    let item = shelf_item(writing, args.item.as_deref().unwrap_or_default())?;
    let quantity = read_quantity(writing.notation(), &args.quantity.join(" "), item.unit)?;
    let on = read_date(context, writing, args.date.as_deref())?;
    let paid = read_money(writing, &args.cost)?;
    let bought = Bought { quantity, paid, on };
    let answer = record_bought(context, writing, &item, &bought, &args.note)?;
    Ok(Noted::of(LineAnswer::Recorded(answer)))
}

/// Writes down that all of a shopping list was bought, in its packs.
fn write_buy_list(
    context: &Context,
    writing: &Writing<'_>,
    list: &str,
    args: &BuyArgs,
) -> Result<Noted> {
    let (of, again, lines) = shopping_list(writing, list)?;
    if lines.is_empty() {
        return Err(Refusal::new(format!("there is nothing to buy for {of}"))
            .hint(again)
            .into());
    }
    let on = read_date(context, writing, args.date.as_deref())?;
    let paid = read_money(writing, &args.cost)?;
    let listed: Money = lines.iter().map(|line| line.basket.total).sum();
    let currency = writing.currency();
    let [cost, price] = [paid, listed].map(|money| currency.decimal(money));
    if cost > price * TIMES_THE_LIST || cost * TIMES_THE_LIST < price {
        context.confirm(&format!(
            "{} for {of} is far from the list price, {}",
            currency.text(paid),
            currency.text(listed)
        ))?;
    }
    let weights = lines.iter().map(|line| currency.decimal(line.basket.total));
    let shares = paid.spread(&weights.collect::<Vec<_>>());
    let bought = lines.iter().zip(shares).map(|(line, paid)| {
        let quantity = line.basket.content();
        let bought = Bought { quantity, paid, on };
        record_bought(
            context,
            writing,
            &writing.item(&line.item)?,
            &bought,
            &args.note,
        )
    });
    let bought: Vec<RecordedAnswer> = bought.collect::<Result<_>>()?;
    let answer = BoughtAnswer::new(of, paid, bought, &context.page(writing));
    Ok(Noted::of(LineAnswer::Bought(answer)))
}

/// Returns whose shopping list is meant, the command that shows it, and the list.
fn shopping_list(ledger: &Ledger, of: &str) -> Result<(String, String, Vec<ToBuy>)> {
    let number = of.rsplit('-').next().unwrap_or_default();
    let is_quote = number
        .strip_prefix(['Q', 'q'])
        .is_some_and(|digits| digits.starts_with(|sign: char| sign.is_ascii_digit()));
    if is_quote {
        let record = ledger.quote(of)?;
        let list = ledger.shopping_for_quote(&record)?;
        let number = record.header.number;
        let again = format!("gritledger quote buy {number}");
        return Ok((number, again, list));
    }
    let job = ledger.job(of)?;
    let again = format!("gritledger job buy {}", job.number);
    Ok((job.number.clone(), again, ledger.shopping_for_job(&job)?))
}

/// So much of an item that was bought.
struct Bought {
    quantity: Decimal,
    paid: Money,
    on: chrono::NaiveDate,
}

fn record_bought(
    context: &Context,
    writing: &Writing<'_>,
    item: &BookItem,
    bought: &Bought,
    note: &str,
) -> Result<RecordedAnswer> {
    let Bought { quantity, paid, on } = *bought;
    let recorded = writing.record_buy(item, quantity, paid, on, note)?;
    confirm_day(context, on, None)?;
    confirm_new(context, writing, &recorded)?;
    let what = format!("bought {} of {}", item.unit.told(quantity, 2), item.name);
    Ok(RecordedAnswer::new(recorded, what, &context.page(writing)))
}

fn write_hand_back(context: &Context, writing: &Writing<'_>, args: &HandBackArgs) -> Result<Noted> {
    let item = shelf_item(writing, &args.item)?;
    let quantity = read_quantity(writing.notation(), &args.quantity.join(" "), item.unit)?;
    let on = read_date(context, writing, args.date.as_deref())?;
    let refund = args.refund.as_deref();
    let refund = refund.map(|text| read_money(writing, text)).transpose()?;
    let job = args.job.as_deref();
    let job = job.map(|number| writing.job(number)).transpose()?;
    let recorded = writing.record_hand_back(&item, quantity, refund, job.as_ref(), on)?;
    confirm_day(context, on, job.as_ref())?;
    confirm_new(context, writing, &recorded)?;
    let what = format!(
        "handed back {} of {}",
        item.unit.told(quantity, 2),
        item.name
    );
    said(context, writing, recorded, what)
}

pub(in crate::cli) fn cmd_rental(context: &Context, command: RentalCommand) -> Result<()> {
    match command {
        RentalCommand::Out(args) => cmd_line(context, &Line::Rental(MachineLine::Out(args))),
        RentalCommand::Back(args) => cmd_line(context, &Line::Rental(MachineLine::Back(args))),
        RentalCommand::Move(args) => cmd_line(context, &Line::Rental(MachineLine::Move(args))),
        RentalCommand::List(args) => context.read(|ledger| {
            let rentals = ledger.rentals_that(&Which {
                days: args.days.read(context, ledger)?,
                client: args.client.read(ledger)?,
                open: args.open,
            })?;
            let rentals = RentalList::new(rentals, &context.page(ledger));
            let narrowed = args.open || args.days.narrow() || args.client.narrows();
            give_list(context, ledger, rentals, &args.rows, narrowed)
        }),
    }
}

fn write_out(context: &Context, writing: &Writing<'_>, args: &OutArgs) -> Result<Noted> {
    let at = read_moment(context, writing, args.at.as_deref())?;
    let machine = writing.machine(&args.machine)?;
    writing.refuse_out_of_use(InBook::Machine, machine.id.0, &machine.name)?;
    let job = writing.job_or_only_open(args.job.job.as_deref())?;
    let job = begun_by_work(context, writing, job, at.date())?;
    // Not before its job: a machine is often fetched the afternoon before.
    confirm_day(context, at.date(), None)?;
    let recorded = writing.rental_out(&machine, at, &job)?;
    let what = format!(
        "{} out at {} for {}",
        machine.name,
        at.format("%Y-%m-%d %H:%M"),
        job.number
    );
    said(context, writing, recorded, what)
}

fn write_back(context: &Context, writing: &Writing<'_>, args: &BackArgs) -> Result<Noted> {
    let at = read_moment(context, writing, args.at.as_deref())?;
    let machine = writing.machine(&args.machine)?;
    let charged = args.charged.as_deref();
    let charged = charged.map(|text| read_money(writing, text)).transpose()?;
    confirm_day(context, at.date(), None)?;
    let returned = writing.rental_back(&machine, at, charged)?;
    let page = context.page(writing);
    let answer = ReturnedAnswer::new(returned, machine.name, &page);
    Ok(Noted::of(LineAnswer::Returned(answer)))
}

fn write_move(context: &Context, writing: &Writing<'_>, args: &MoveArgs) -> Result<Noted> {
    let on = read_date(context, writing, args.date.as_deref())?;
    let machine = writing.machine(&args.machine)?;
    let job = writing.job(&args.job)?;
    confirm_day(context, on, None)?;
    let recorded = writing.rental_day(&machine, on, &job)?;
    let what = format!("{} is with {} from {on}", machine.name, job.number);
    said(context, writing, recorded, what)
}

pub(in crate::cli) fn cmd_stock(context: &Context, command: StockCommand) -> Result<()> {
    match command {
        StockCommand::List(args) => context.read(|ledger| {
            let (lines, awaiting, page) = (
                ledger.stock_list()?,
                ledger.awaiting_receipt()?,
                context.page(ledger),
            );
            let stock = StockList::new(lines, awaiting, &page);
            give_list(context, ledger, stock, &args.rows, false)
        }),
        StockCommand::Count(args) => cmd_line(context, &Line::Stock(ShelfLine::Count(args))),
    }
}

fn write_count(context: &Context, writing: &Writing<'_>, args: &CountArgs) -> Result<Noted> {
    let item = shelf_item(writing, &args.item)?;
    let counted = read_quantity(writing.notation(), &args.quantity.join(" "), item.unit)?;
    let on = read_date(context, writing, args.date.as_deref())?;
    let recorded = writing.record_count(&item, counted, on)?;
    confirm_day(context, on, None)?;
    confirm_new(context, writing, &recorded)?;
    let what = format!("counted {} of {}", item.unit.told(counted, 2), item.name);
    said(context, writing, recorded, what)
}

fn write_void(context: &Context, writing: &Writing<'_>, args: &VoidArgs) -> Result<Noted> {
    let number = args.entry.as_deref().map(str::to_uppercase);
    if let Some(row) = number.filter(|number| number.contains('N')) {
        writing.void_notebook_row(&row, args.reason.as_deref().unwrap_or_default())?;
        return Ok(Noted::of(LineAnswer::Voided(VoidedAnswer { voided: row })));
    }
    let id = entry_or_last(writing, args.entry.as_deref())?;
    let entry = writing.voidable(id)?;
    let command = format!("gritledger void {}", entry.number);
    let reason = writing.reason_for(&entry, None, args.reason.as_deref(), &command)?;
    let recorded = writing.void_entry(id, &reason)?;
    let what = match (entry.voids, &args.entry) {
        (Some(_), _) => words_of(writing, &writing.written(recorded.id)?)?,
        (None, Some(_)) => format!("took back {}", entry.number),
        (None, None) => format!(
            "took back {} ({})",
            entry.number,
            words_of(writing, &entry)?
        ),
    };
    said(context, writing, recorded, what)
}

/// Returns the same of an entry that is set beside what was quoted for its job, if it has one.
fn said_on(
    context: &Context,
    ledger: &Ledger,
    job: Option<Job>,
    recorded: Recorded,
    what: String,
) -> Result<Noted> {
    let logged = job.map(|job| (job, recorded.id));
    said(context, ledger, recorded, what).map(|noted| Noted { logged, ..noted })
}

/// Returns the answer with the entry's number, what it says, and its amount.
pub(in crate::cli) fn said(
    context: &Context,
    ledger: &Ledger,
    recorded: Recorded,
    what: String,
) -> Result<Noted> {
    let answer = RecordedAnswer::new(recorded, what, &context.page(ledger));
    Ok(Noted::of(LineAnswer::Recorded(answer)))
}
