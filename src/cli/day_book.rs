//! The day book as it is typed: one short line for each thing done, for a tired person on a phone terminal.
//! `write.rs` writes the lines down.

mod write;

use anyhow::Result;
use clap::{Args, Subcommand};

use super::correction::CorrectArgs;
use super::list::{DaysArgs, OfClientArgs, RowsArgs};
use super::read::read_hours;
use crate::ledger::{Ledger, refuse};
use crate::money::Decimal;

pub(super) use write::{
    Noted, add_budgets, cmd_line, cmd_rental, cmd_stock, confirm_new, remarks_on, said,
    settle_doubt, worked_on, write_line,
};

/// Where and when: options that day-book entries share.
#[derive(Debug, Args)]
struct OccasionArgs {
    /// A room, or several: "Den, Parlour" (can be repeated; default: the whole job)
    #[arg(long = "room", value_name = "ROOM")]
    rooms: Vec<String>,
    #[command(flatten)]
    job: JobArgs,
    /// When it happened: a date, yesterday, 3 days ago, mon (default: today)
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

/// Where and when a cost belongs: it may belong to no job.
#[derive(Debug, Args)]
struct CostArgs {
    /// It belongs to no job: insurance, the phone, a tool, an estimate visit
    #[arg(long, conflicts_with_all = ["job", "rooms"])]
    no_job: bool,
    #[command(flatten)]
    occasion: OccasionArgs,
}

#[derive(Debug, Args)]
struct JobArgs {
    /// The job (default: the one that the rooms say, or the only open one)
    #[arg(long, value_name = "JOB")]
    job: Option<String>,
}

/// Log an item used
///
/// A part of the item's name is enough if only one of the job's items has it: use 36 6. A quantity may have a unit of its own,
/// or a fraction: 1qt, 1/2 gal, 500 ml. Leaves the stock at its average cost. What goes beyond the stock is taken at book
/// price until its receipt comes (gritledger buy). A true zero is typed; nothing logged means not recorded.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger use disc-7in-36 6 --room Landing\n  gritledger use oil-finish 1qt --room \"Landing, Back bedroom\""
)]
pub(super) struct UseArgs {
    /// The item
    item: String,
    /// How many, in the item's unit or in one that is said: 6, 1qt, 1/2 gal
    #[arg(required = true, num_args = 1..=3, value_name = "QUANTITY", allow_negative_numbers = true)]
    quantity: Vec<String>,
    /// The operation (default: the only one that takes the item)
    #[arg(long, value_name = "OPERATION")]
    on: Option<String>,
    /// It was left in an opened pack and doesn't keep: it costs the job, and no rate learns of it
    #[arg(long, conflicts_with = "on")]
    left_over: bool,
    #[command(flatten)]
    occasion: OccasionArgs,
}

/// Log hours worked
///
/// Who works alone needn't say who. Hours are written 1.5, 1:30, 1h30, 90m or 1 1/2. Those of no job are for no task:
/// --note says what for. Hours on the road are for driving, and of the whole job: hours 1 driving.
/// Hours on a task begin the job that is agreed. Others may be the firm's own: while no job is open, they take --job, a
/// room, or --no-job.
#[derive(Debug, Args)]
#[command(
    override_usage = "gritledger hours [OPTIONS] [WORKER] <HOURS> [TASK]",
    after_long_help = "Examples:\n  gritledger hours 1:30 sand --room Landing\n  gritledger hours \"Ruben Vale\" 1.5 --room Landing --on sand\n  gritledger hours 1 driving\n  gritledger hours 2 --no-job --note \"estimate visit\""
)]
pub(super) struct HoursArgs {
    /// How many hours; before it who worked (default: the only active worker), after it the task
    #[arg(required = true, num_args = 1..=4, value_name = "HOURS", allow_negative_numbers = true)]
    words: Vec<String>,
    /// The task or operation, or driving; without one the hours are a cost and no evidence
    #[arg(long, value_name = "TASK", conflicts_with = "no_job")]
    on: Option<String>,
    #[command(flatten)]
    cost: CostArgs,
}

/// Log money spent for a job, or for the firm
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger spent 18.40 --for disposal\n  gritledger spent 300 --for insurance --no-job"
)]
pub(super) struct SpentArgs {
    /// How much
    #[arg(allow_hyphen_values = true)]
    amount: String,
    /// What for
    #[arg(long = "for", value_name = "WHAT")]
    purpose: String,
    #[command(flatten)]
    cost: CostArgs,
}

/// Log miles driven, or kilometres in a metric ledger
///
/// At the rate of the setting mile-rate, or km-rate in a metric ledger. It may be the firm's own: while no job is open, it
/// takes --job, a room, or --no-job.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger drive 14 --job J1\n  gritledger drive 40 --no-job --note \"to the yard\""
)]
pub(super) struct DriveArgs {
    /// How far
    #[arg(allow_hyphen_values = true)]
    distance: String,
    #[command(flatten)]
    cost: CostArgs,
}

/// Log a purchase: it goes into stock, and settles what was used before its receipt
///
/// --list buys all that the shopping list of a job or quote has (gritledger job buy), in its packs; the receipt's total is
/// shared over the items by their list prices.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger buy disc-7in-36 30 --cost 96.00\n  gritledger buy --list J1 --cost 412.60"
)]
pub(super) struct BuyArgs {
    /// The item
    #[arg(required_unless_present = "list", conflicts_with = "list")]
    item: Option<String>,
    /// How many, in the item's unit (not packs)
    #[arg(
        required_unless_present = "list",
        conflicts_with = "list",
        num_args = 1..=3,
        value_name = "QUANTITY",
        allow_negative_numbers = true
    )]
    quantity: Vec<String>,
    /// The shopping list of this job or quote, instead of one item
    #[arg(long, value_name = "JOB")]
    list: Option<String>,
    /// What was paid in all, tax included
    #[arg(long, value_name = "TOTAL", allow_hyphen_values = true)]
    cost: String,
    /// When: a date, yesterday, 3 days ago, mon (default: today)
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
    #[arg(required = true, num_args = 1..=3, value_name = "QUANTITY", allow_negative_numbers = true)]
    quantity: Vec<String>,
    /// What was refunded in all
    #[arg(long, value_name = "TOTAL", allow_hyphen_values = true)]
    refund: Option<String>,
    /// The job that bears a difference
    #[arg(long, value_name = "JOB")]
    job: Option<String>,
    /// When: a date, yesterday, 3 days ago, mon (default: today)
    #[arg(long)]
    date: Option<String>,
}

/// Manage rented machines: out, with whom, and back
#[derive(Debug, Subcommand)]
pub(super) enum RentalCommand {
    Out(OutArgs),
    Back(BackArgs),
    #[command(name = "move", visible_alias = "day")]
    Move(MoveArgs),
    List(RentalListArgs),
}

/// Take a machine out
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger rental out rotary\n  gritledger rental out rotary --at \"2026-03-02 08:00\""
)]
pub(super) struct OutArgs {
    /// The machine
    machine: String,
    /// When: 08:00 today, or with a date (default: now)
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    #[command(flatten)]
    job: JobArgs,
}

/// Take a machine back
///
/// Each 24 hours begun are a rental day, charged to the job that had the machine on the date it began.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger rental back rotary\n  gritledger rental back rotary --at 07:45 --charged 78.50"
)]
pub(super) struct BackArgs {
    /// The machine
    machine: String,
    /// When: 07:45 today, or with a date (default: now)
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// What the receipt says (default: by tariff)
    #[arg(long, value_name = "TOTAL", allow_hyphen_values = true)]
    charged: Option<String>,
}

/// Say that from a date on a machine is with another job
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger rental move rotary --job J2 --date yesterday")]
pub(super) struct MoveArgs {
    /// The machine
    machine: String,
    /// The job that has it
    #[arg(long, value_name = "JOB")]
    job: String,
    /// From when on: a date, yesterday, 3 days ago, mon (default: today)
    #[arg(long)]
    date: Option<String>,
}

/// List the rentals
///
/// A rental counts on the day on which it went out; of one that jobs of several clients shared, a client has the days of
/// their jobs.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger rental list --open\n  gritledger rental list --sort charge --top 10"
)]
pub(super) struct RentalListArgs {
    #[command(flatten)]
    days: DaysArgs,
    #[command(flatten)]
    client: OfClientArgs,
    /// Only machines that are still out
    #[arg(long)]
    open: bool,
    #[command(flatten)]
    rows: RowsArgs,
}

/// List what is in stock, and what awaits a receipt
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger stock list --sort value --top 10")]
pub(super) struct StockListArgs {
    #[command(flatten)]
    rows: RowsArgs,
}

/// Manage the stock: what was bought and not yet used
#[derive(Debug, Subcommand)]
pub(super) enum StockCommand {
    List(StockListArgs),
    Count(CountArgs),
}

/// Log a count of the shelf
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger stock count disc-7in-36 24")]
pub(super) struct CountArgs {
    /// The item
    item: String,
    /// How many there are, in the item's unit
    #[arg(required = true, num_args = 1..=3, value_name = "QUANTITY", allow_negative_numbers = true)]
    quantity: Vec<String>,
    /// When: a date, yesterday, 3 days ago, mon (default: today)
    #[arg(long)]
    date: Option<String>,
}

/// Take an entry of the day book, or a row of a notebook, back
///
/// The entry and its void both stay in the record. Entries of a closed job are taken back too, and what the job taught
/// is worked out again. A void can be taken back: what it took back is entered again, in its own place.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger void\n  gritledger void E12 --reason \"typed twice\""
)]
pub(super) struct VoidArgs {
    /// The entry, such as E12, or a row of a notebook, such as N3 (default: the last entry that counts)
    entry: Option<String>,
    /// Why (default: a slip, for what was written today on an open job)
    #[arg(long)]
    reason: Option<String>,
}

/// One line of the day book, as it is typed.
#[derive(Debug, Subcommand)]
pub(super) enum Line {
    Use(UseArgs),
    Hours(HoursArgs),
    Spent(SpentArgs),
    Drive(DriveArgs),
    Buy(BuyArgs),
    HandBack(HandBackArgs),
    #[command(subcommand)]
    Rental(MachineLine),
    #[command(subcommand)]
    Stock(ShelfLine),
    Correct(CorrectArgs),
    Void(VoidArgs),
}

/// Lines about a machine.
#[derive(Debug, Subcommand)]
pub(super) enum MachineLine {
    Out(OutArgs),
    Back(BackArgs),
    #[command(name = "move", visible_alias = "day")]
    Move(MoveArgs),
}

/// Lines about the shelf.
#[derive(Debug, Subcommand)]
pub(super) enum ShelfLine {
    Count(CountArgs),
}

/// What lines of notes have in common.
#[derive(Clone, Debug, Default)]
pub(super) struct Standing {
    pub(super) rooms: Option<Said>,
    pub(super) job: Option<Said>,
    pub(super) date: Option<Said>,
}

/// What a line of notes says for those after it.
#[derive(Clone, Debug)]
pub(super) struct Said {
    pub(super) text: String,
    pub(super) line: usize,
}

impl Line {
    /// Takes what the line doesn't say itself from what the lines have in common; returns the lines that say that.
    pub(super) fn stand_in(&mut self, standing: &Standing) -> Vec<usize> {
        let (job, date) = (&standing.job, &standing.date);
        let mut from = Vec::new();
        match self {
            Line::Use(args) => args.occasion.stand_in(standing, &mut from),
            Line::Hours(HoursArgs { cost, .. })
            | Line::Spent(SpentArgs { cost, .. })
            | Line::Drive(DriveArgs { cost, .. }) => {
                if cost.no_job {
                    say(&mut cost.occasion.date, date, &mut from);
                } else {
                    cost.occasion.stand_in(standing, &mut from);
                }
            }
            Line::Buy(args) => say(&mut args.date, date, &mut from),
            Line::HandBack(args) => say(&mut args.date, date, &mut from),
            Line::Rental(MachineLine::Out(args)) => {
                say(&mut args.job.job, job, &mut from);
                say_day(&mut args.at, date, &mut from);
            }
            Line::Rental(MachineLine::Back(args)) => say_day(&mut args.at, date, &mut from),
            Line::Rental(MachineLine::Move(args)) => say(&mut args.date, date, &mut from),
            Line::Stock(ShelfLine::Count(args)) => say(&mut args.date, date, &mut from),
            Line::Correct(_) | Line::Void(_) => {}
        }
        from
    }
}

impl OccasionArgs {
    fn stand_in(&mut self, standing: &Standing, from: &mut Vec<usize>) {
        if let Some(said) = standing.rooms.as_ref().filter(|_| self.rooms.is_empty()) {
            self.rooms.push(said.text.clone());
            from.push(said.line);
        }
        say(&mut self.job.job, &standing.job, from);
        say(&mut self.date, &standing.date, from);
    }
}

fn say(own: &mut Option<String>, standing: &Option<Said>, from: &mut Vec<usize>) {
    if let (None, Some(said)) = (&own, standing) {
        *own = Some(said.text.clone());
        from.push(said.line);
    }
}

/// Puts a day before a time of day that was said without one.
fn say_day(at: &mut Option<String>, day: &Option<Said>, from: &mut Vec<usize>) {
    if let (Some(time), Some(day)) = (at.as_mut(), day)
        && !time.contains([' ', 'T'])
    {
        *time = format!("{} {time}", day.text);
        from.push(day.line);
    }
}

/// How a unit of hours worked is written, apart from its figure.
const UNITS_OF_TIME: [&str; 7] = ["h", "hr", "hrs", "hour", "hours", "m", "min"];

impl HoursArgs {
    /// Tells who worked, for how long and on what: the first of the words that says how long parts the others.
    fn parted(&self, ledger: &Ledger) -> Result<(Option<String>, Decimal, Option<String>)> {
        let notation = ledger.notation();
        let is_hours = |word: &str| read_hours(notation, word).is_ok();
        // Neither is hours: somebody who works here was named first, or else the hours were.
        let is_meant = |word: &str, other: &str| {
            is_hours(word) || !is_hours(other) && ledger.worker(word).is_err()
        };
        let words = self.words_with_units();
        let (worker, hours, task) = match &words[..] {
            [hours] => (None, hours, None),
            [hours, task] if is_meant(hours, task) => (None, hours, Some(task)),
            [worker, hours] => (Some(worker), hours, None),
            [worker, hours, task] => (Some(worker), hours, Some(task)),
            _ => refuse!(
                "`{}` is more than who worked, how long and on what",
                self.words.join(" ")
            ),
        };
        if task.is_some() && self.on.is_some() {
            refuse!("the task is said twice, once with --on");
        }
        let task = task.or(self.on.as_ref());
        Ok((worker.cloned(), read_hours(notation, hours)?, task.cloned()))
    }

    /// Returns the words, with a unit or a fraction that stands alone beside its figure: `1 h` is one, and so is `1 1/2`.
    fn words_with_units(&self) -> Vec<String> {
        let is_digit = |sign: char| sign.is_ascii_digit();
        let mut words: Vec<String> = Vec::new();
        for word in &self.words {
            let is_unit = UNITS_OF_TIME.contains(&&*word.to_lowercase());
            let is_fraction = word.starts_with(is_digit) && word.contains('/');
            match words.last_mut() {
                Some(figure) if figure.starts_with(is_digit) && (is_unit || is_fraction) => {
                    figure.push_str(if is_unit { "" } else { " " });
                    figure.push_str(word);
                }
                _ => words.push(word.clone()),
            }
        }
        words
    }
}
