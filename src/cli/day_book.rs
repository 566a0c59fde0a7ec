//! The day book: one short line for each thing done, for a tired person on a phone terminal.

use anyhow::Result;
use clap::{Args, Subcommand};

use super::read::{confirm_day, read_date, read_moment, read_number, rooms_named};
use super::ui::Context;
use crate::document::job::{RecordedAnswer, RentalList, ReturnedAnswer, StockList, VoidedAnswer};
use crate::ledger::{
    Job, Ledger, Occasion, Recorded, Refusal, Room, UsedFor, WorkedOn, Writing, typed,
};
use crate::money::plain;
use crate::trade::Unit;
use crate::trade::rates::Band;

/// Where and when: options that day-book entries share.
#[derive(Debug, Args)]
struct OccasionArgs {
    /// A room (can be repeated; default: the whole job)
    #[arg(long = "room", value_name = "ROOM")]
    rooms: Vec<String>,
    #[command(flatten)]
    job: JobArgs,
    /// When it happened: a date, or yesterday (default: today)
    #[arg(long)]
    date: Option<String>,
    /// A note
    #[arg(
        long,
        default_value = "",
        hide_default_value = true,
        allow_hyphen_values = true
    )]
    note: String,
}

#[derive(Debug, Args)]
struct JobArgs {
    /// The job (default: the only open one)
    #[arg(long, value_name = "JOB")]
    job: Option<String>,
}

/// Log an item used
///
/// Leaves the stock at its average cost. What goes beyond the stock is taken at book price until its receipt comes
/// (gritledger buy). A true zero is typed; nothing logged means not recorded.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger use disc-7in-36 6 --room Landing")]
pub(super) struct UseArgs {
    /// The item
    item: String,
    /// How many, in the item's unit
    #[arg(allow_hyphen_values = true)]
    quantity: String,
    /// The operation (default: the only one that takes the item)
    #[arg(long, value_name = "OPERATION")]
    on: Option<String>,
    /// It was left in an opened pack and doesn't keep: it costs the job, and teaches nothing
    #[arg(long, conflicts_with = "on")]
    left_over: bool,
    #[command(flatten)]
    occasion: OccasionArgs,
}

/// Log hours worked
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger hours \"Ruben Vale\" 1.5 --room Landing --on sand"
)]
pub(super) struct HoursArgs {
    /// Who worked
    worker: String,
    /// How many hours
    #[arg(allow_hyphen_values = true)]
    hours: String,
    /// The task or operation; without one the hours are a cost and no evidence
    #[arg(long, value_name = "TASK")]
    on: Option<String>,
    #[command(flatten)]
    occasion: OccasionArgs,
}

/// Log money spent for a job
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger spent 18.40 --for disposal")]
pub(super) struct SpentArgs {
    /// How much
    #[arg(allow_hyphen_values = true)]
    amount: String,
    /// What for
    #[arg(long = "for", value_name = "WHAT")]
    purpose: String,
    #[command(flatten)]
    occasion: OccasionArgs,
}

/// Log miles driven for a job, at the rate of the setting mile-rate
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger drive 14 --job J1")]
pub(super) struct DriveArgs {
    /// How many miles
    #[arg(allow_hyphen_values = true)]
    miles: String,
    #[command(flatten)]
    occasion: OccasionArgs,
}

/// Log a purchase: it goes into stock, and settles what was used before its receipt
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger buy disc-7in-36 30 --cost 96.00")]
pub(super) struct BuyArgs {
    /// The item
    item: String,
    /// How many, in the item's unit (not packs)
    #[arg(allow_hyphen_values = true)]
    quantity: String,
    /// What was paid in all, tax included
    #[arg(long, value_name = "TOTAL", allow_hyphen_values = true)]
    cost: String,
    /// When: a date, or yesterday (default: today)
    #[arg(long)]
    date: Option<String>,
    /// A note, such as the receipt's number
    #[arg(
        long,
        default_value = "",
        hide_default_value = true,
        allow_hyphen_values = true
    )]
    note: String,
}

/// Log items handed back to the shop
///
/// Without --refund they go back at their average cost. A refund of more or less is the job's gain or loss if one is
/// named.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger hand-back disc-7in-36 12 --refund 38.40")]
pub(super) struct HandBackArgs {
    /// The item
    item: String,
    /// How many, in the item's unit
    #[arg(allow_hyphen_values = true)]
    quantity: String,
    /// What was refunded in all
    #[arg(long, value_name = "TOTAL", allow_hyphen_values = true)]
    refund: Option<String>,
    /// The job that bears a difference
    #[arg(long, value_name = "JOB")]
    job: Option<String>,
    /// When: a date, or yesterday (default: today)
    #[arg(long)]
    date: Option<String>,
}

/// Manage rented machines: out, with whom, and back
#[derive(Debug, Subcommand)]
pub(super) enum RentalCommand {
    Out(OutArgs),
    Back(BackArgs),
    Day(DayArgs),
    /// List the rentals
    List,
}

/// Take a machine out
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger rental out rotary --at \"2026-03-02 08:00\"")]
pub(super) struct OutArgs {
    /// The machine
    machine: String,
    /// When: 08:00 today, or with a date
    #[arg(long)]
    at: String,
    #[command(flatten)]
    job: JobArgs,
}

/// Take a machine back
///
/// Each 24 hours begun are a rental day, charged to the job that had the machine on the date it began.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger rental back rotary --at 07:45 --charged 78.50")]
pub(super) struct BackArgs {
    /// The machine
    machine: String,
    /// When: 07:45 today, or with a date
    #[arg(long)]
    at: String,
    /// What the receipt says (default: by tariff)
    #[arg(long, value_name = "TOTAL", allow_hyphen_values = true)]
    charged: Option<String>,
}

/// Say that from a date on a machine is with another job
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger rental day rotary --job J2 --date yesterday")]
pub(super) struct DayArgs {
    /// The machine
    machine: String,
    /// The job that has it
    #[arg(long, value_name = "JOB")]
    job: String,
    /// From when on: a date, or yesterday (default: today)
    #[arg(long)]
    date: Option<String>,
}

/// Manage the stock: what was bought and not yet used
#[derive(Debug, Subcommand)]
pub(super) enum StockCommand {
    /// List what is in stock, and what awaits a receipt
    List,
    Count(CountArgs),
}

/// Log a count of the shelf
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger stock count disc-7in-36 24")]
pub(super) struct CountArgs {
    /// The item
    item: String,
    /// How many there are, in the item's unit
    #[arg(allow_hyphen_values = true)]
    quantity: String,
    /// When: a date, or yesterday (default: today)
    #[arg(long)]
    date: Option<String>,
}

/// Take an entry of the day book, or a row of a notebook, back
///
/// The entry and its void both stay in the record. Entries of a closed job are taken back too, and what the job taught
/// is worked out again.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger void E12 --reason \"typed twice\"")]
pub(super) struct VoidArgs {
    /// The entry, such as E12, or a row of a notebook, such as N3
    entry: String,
    /// Why
    #[arg(long)]
    reason: String,
}

/// An occasion with its names looked up.
struct Resolved {
    job: Job,
    rooms: Vec<Room>,
    on: chrono::NaiveDate,
    note: String,
}

impl Resolved {
    fn new(context: &Context, writing: &Writing<'_>, args: &OccasionArgs) -> Result<Resolved> {
        let job = writing.job_or_only_open(args.job.job.as_deref())?;
        let rooms = rooms_named(writing, &args.rooms, job.site_id)?;
        let on = read_date(args.date.as_deref(), context.today())?;
        Ok(Resolved {
            job,
            rooms,
            on,
            note: args.note.clone(),
        })
    }

    fn occasion(&self) -> Occasion<'_> {
        Occasion {
            job: &self.job,
            rooms: &self.rooms,
            on: self.on,
            note: &self.note,
        }
    }

    /// Has confirmed what is unlikely about an entry on this occasion.
    fn confirm(&self, context: &Context, writing: &Writing<'_>, recorded: &Recorded) -> Result<()> {
        confirm_day(context, self.on, Some(&self.job))?;
        confirm_new(context, writing, recorded)
    }

    /// Returns the places in words: ` on J1, Landing`.
    fn words(&self) -> String {
        let rooms: String = self
            .rooms
            .iter()
            .map(|room| format!(", {}", room.name))
            .collect();
        let late = if self.job.is_late_on(self.on) {
            " (closed: a late cost)"
        } else {
            ""
        };
        format!(" on {}{rooms}{late}", self.job.number)
    }
}

pub(super) fn cmd_use(context: &Context, args: &UseArgs) -> Result<()> {
    let quantity = read_number(&args.quantity, "a quantity")?;
    context.write(|writing| {
        let item = writing.item(&args.item)?;
        let resolved = Resolved::new(context, writing, &args.occasion)?;
        let operation = match args.left_over {
            true => None,
            false => writing.operation_for(&item, &resolved.job, args.on.as_deref())?,
        };
        let used_for = match args.left_over {
            true => UsedFor::LeftOver,
            false => UsedFor::Operation(operation.as_ref()),
        };
        let recorded = writing.record_use(&item, quantity, used_for, &resolved.occasion())?;
        resolved.confirm(context, writing, &recorded)?;
        let doubt = settle_doubt(context, writing, &resolved.job, &recorded, item.unit)?;
        let what = format!(
            "used {} {} of {}{}",
            plain(quantity, 2),
            item.unit,
            item.name,
            resolved.words()
        );
        tell(context, writing, &recorded, what)?;
        tell_doubt(context, &recorded, doubt.as_deref());
        let awaiting = writing
            .awaiting_receipt()?
            .into_iter()
            .find(|line| line.entry == recorded.number);
        if let Some(line) = awaiting {
            let short = plain(line.quantity, 2);
            context.warn(&format!(
                "{short} {} of it were not in stock: taken at book price until the receipt comes",
                line.unit
            ));
            context.hint(&format!(
                "gritledger buy {} QTY --cost TOTAL",
                typed(&item.name)
            ));
        }
        Ok(())
    })
}

pub(super) fn cmd_hours(context: &Context, args: &HoursArgs) -> Result<()> {
    let hours = read_number(&args.hours, "a number of hours")?;
    context.write(|writing| {
        let worker = writing.worker(&args.worker)?;
        let worked_on = match &args.on {
            Some(name) => worked_on(writing, name)?,
            None => WorkedOn::Nothing,
        };
        let resolved = Resolved::new(context, writing, &args.occasion)?;
        let recorded = writing.record_hours(&worker, hours, &worked_on, &resolved.occasion())?;
        resolved.confirm(context, writing, &recorded)?;
        let doubt = settle_doubt(context, writing, &resolved.job, &recorded, Unit::Hour)?;
        let on = match &worked_on {
            WorkedOn::Task(task) => format!(", {}", task.name),
            WorkedOn::Operation(operation) => format!(", {}", operation.name),
            WorkedOn::Nothing => ", no task said".to_owned(),
        };
        let what = format!(
            "{} worked {} h{}{on}",
            worker.name,
            plain(hours, 2),
            resolved.words()
        );
        tell(context, writing, &recorded, what)?;
        tell_doubt(context, &recorded, doubt.as_deref());
        Ok(())
    })
}

/// Has an entry confirmed that says what another one says of the same day.
fn confirm_new(context: &Context, writing: &Writing<'_>, recorded: &Recorded) -> Result<()> {
    match writing.said_before(recorded.id)? {
        Some(earlier) => context.confirm(&format!(
            "the same is logged for that day already, as {earlier}"
        )),
        None => Ok(()),
    }
}

/// Asks about an entry that looks like a slip, before it is kept; returns what speaks against it if nobody was there to
/// answer.
fn settle_doubt(
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

fn tell_doubt(context: &Context, recorded: &Recorded, doubt: Option<&str>) {
    if let Some(doubt) = doubt {
        context.warn(&format!("{}: {doubt}?", recorded.number));
        if context.dry_run() {
            return;
        }
        context.hint(&format!("gritledger rate confirm {}", recorded.number));
        context.hint(&format!(
            "gritledger void {} --reason \"a slip\"",
            recorded.number
        ));
    }
}

/// Looks a name up among the tasks, then among the operations.
fn worked_on(ledger: &Ledger, name: &str) -> Result<WorkedOn> {
    if let Some(task) = ledger
        .tasks()?
        .into_iter()
        .find(|task| task.name.eq_ignore_ascii_case(name.trim()))
    {
        return Ok(WorkedOn::Task(task));
    }
    match ledger.operation(name) {
        Ok(operation) => Ok(WorkedOn::Operation(Box::new(operation))),
        Err(_) => {
            let tasks: Vec<String> = ledger.tasks()?.into_iter().map(|task| task.name).collect();
            Err(
                Refusal::new(format!("`{name}` is neither a task nor an operation"))
                    .hint(format!("tasks: {}", tasks.join(", ")))
                    .into(),
            )
        }
    }
}

pub(super) fn cmd_spent(context: &Context, args: &SpentArgs) -> Result<()> {
    context.write(|writing| {
        let amount = writing.currency().parse(&args.amount)?;
        let resolved = Resolved::new(context, writing, &args.occasion)?;
        let recorded = writing.record_spent(amount, &args.purpose, &resolved.occasion())?;
        resolved.confirm(context, writing, &recorded)?;
        let what = format!("spent for {}{}", args.purpose, resolved.words());
        tell(context, writing, &recorded, what)
    })
}

pub(super) fn cmd_drive(context: &Context, args: &DriveArgs) -> Result<()> {
    let miles = read_number(&args.miles, "a number of miles")?;
    context.write(|writing| {
        let resolved = Resolved::new(context, writing, &args.occasion)?;
        let recorded = writing.record_drive(miles, &resolved.occasion())?;
        resolved.confirm(context, writing, &recorded)?;
        let what = format!("drove {} miles{}", plain(miles, 1), resolved.words());
        tell(context, writing, &recorded, what)
    })
}

pub(super) fn cmd_buy(context: &Context, args: &BuyArgs) -> Result<()> {
    let quantity = read_number(&args.quantity, "a quantity")?;
    let on = read_date(args.date.as_deref(), context.today())?;
    context.write(|writing| {
        let item = writing.item(&args.item)?;
        let paid = writing.currency().parse(&args.cost)?;
        let recorded = writing.record_buy(&item, quantity, paid, on, &args.note)?;
        confirm_day(context, on, None)?;
        confirm_new(context, writing, &recorded)?;
        let what = format!(
            "bought {} {} of {}",
            plain(quantity, 2),
            item.unit,
            item.name
        );
        tell(context, writing, &recorded, what)
    })
}

pub(super) fn cmd_hand_back(context: &Context, args: &HandBackArgs) -> Result<()> {
    let quantity = read_number(&args.quantity, "a quantity")?;
    let on = read_date(args.date.as_deref(), context.today())?;
    context.write(|writing| {
        let item = writing.item(&args.item)?;
        let refund = args.refund.as_deref();
        let refund = refund
            .map(|text| writing.currency().parse(text))
            .transpose()?;
        let job = args.job.as_deref();
        let job = job.map(|number| writing.job(number)).transpose()?;
        let recorded = writing.record_hand_back(&item, quantity, refund, job.as_ref(), on)?;
        confirm_day(context, on, job.as_ref())?;
        confirm_new(context, writing, &recorded)?;
        let what = format!(
            "handed back {} {} of {}",
            plain(quantity, 2),
            item.unit,
            item.name
        );
        tell(context, writing, &recorded, what)
    })
}

pub(super) fn cmd_rental(context: &Context, command: RentalCommand) -> Result<()> {
    match command {
        RentalCommand::Out(args) => rental_out(context, &args),
        RentalCommand::Back(args) => rental_back(context, &args),
        RentalCommand::Day(args) => rental_day(context, &args),
        RentalCommand::List => context.read(|ledger| {
            let (rentals, page) = (ledger.rentals()?, context.page(ledger));
            context.give(ledger, RentalList::new(rentals, &page))
        }),
    }
}

fn rental_out(context: &Context, args: &OutArgs) -> Result<()> {
    let at = read_moment(&args.at, context.today())?;
    context.write(|writing| {
        let machine = writing.machine(&args.machine)?;
        let job = writing.job_or_only_open(args.job.job.as_deref())?;
        // Not before its job: a machine is often fetched the afternoon before.
        confirm_day(context, at.date(), None)?;
        let recorded = writing.rental_out(&machine, at, &job)?;
        let what = format!(
            "{} out at {} for {}",
            machine.name,
            at.format("%Y-%m-%d %H:%M"),
            job.number
        );
        tell(context, writing, &recorded, what)
    })
}

fn rental_back(context: &Context, args: &BackArgs) -> Result<()> {
    let at = read_moment(&args.at, context.today())?;
    context.write(|writing| {
        let machine = writing.machine(&args.machine)?;
        let charged = args.charged.as_deref();
        let charged = charged
            .map(|text| writing.currency().parse(text))
            .transpose()?;
        confirm_day(context, at.date(), None)?;
        let returned = writing.rental_back(&machine, at, charged)?;
        let page = context.page(writing);
        context.give(writing, ReturnedAnswer::new(returned, machine.name, &page))
    })
}

fn rental_day(context: &Context, args: &DayArgs) -> Result<()> {
    let on = read_date(args.date.as_deref(), context.today())?;
    context.write(|writing| {
        let machine = writing.machine(&args.machine)?;
        let job = writing.job(&args.job)?;
        confirm_day(context, on, None)?;
        let recorded = writing.rental_day(&machine, on, &job)?;
        let what = format!("{} is with {} from {on}", machine.name, job.number);
        tell(context, writing, &recorded, what)
    })
}

pub(super) fn cmd_stock(context: &Context, command: StockCommand) -> Result<()> {
    match command {
        StockCommand::List => context.read(|ledger| {
            let (lines, awaiting, page) = (
                ledger.stock_list()?,
                ledger.awaiting_receipt()?,
                context.page(ledger),
            );
            context.give(ledger, StockList::new(lines, awaiting, &page))
        }),
        StockCommand::Count(args) => count_stock(context, &args),
    }
}

fn count_stock(context: &Context, args: &CountArgs) -> Result<()> {
    let counted = read_number(&args.quantity, "a quantity")?;
    let on = read_date(args.date.as_deref(), context.today())?;
    context.write(|writing| {
        let item = writing.item(&args.item)?;
        let recorded = writing.record_count(&item, counted, on)?;
        confirm_day(context, on, None)?;
        confirm_new(context, writing, &recorded)?;
        let what = format!(
            "counted {} {} of {}",
            plain(counted, 2),
            item.unit,
            item.name
        );
        tell(context, writing, &recorded, what)
    })
}

pub(super) fn cmd_void(context: &Context, args: &VoidArgs) -> Result<()> {
    let number = args.entry.to_uppercase();
    if number.contains('N') {
        context.write(|writing| writing.void_notebook_row(&args.entry, &args.reason))?;
        context.status(&format!("Took back {number} of the notebook."));
        return context.give_json(|| Ok(VoidedAnswer { voided: number }));
    }
    context.write(|writing| {
        let recorded = writing.void_entry(writing.entry(&args.entry)?, &args.reason)?;
        tell(context, writing, &recorded, format!("took back {number}"))
    })
}

/// Answers with the entry's number, what it says, and its amount.
fn tell(context: &Context, ledger: &Ledger, recorded: &Recorded, what: String) -> Result<()> {
    let page = context.page(ledger);
    context.give(ledger, RecordedAnswer::new(recorded.clone(), what, &page))
}
