//! `correct`: an entry of the day book as it should have been, in one line.

use anyhow::Result;
use clap::Args;

use super::day_book::{Noted, confirm_new, remarks_on, said, settle_doubt, worked_on};
use super::read::{
    confirm_day, read_date, read_distance, read_hours, read_moment, read_money, read_quantity,
    rooms_named,
};
use super::ui::Context;
use crate::ledger::{
    BookItem, Correction, Job, Ledger, Refusal, Room, WorkedOn, Worker, Writing, Written, typed,
};
use crate::money::{Decimal, plain};
use crate::trade::{EntryId, Unit};

/// Correct an entry of the day book
///
/// It is taken back, and entered again in its own place: what isn't named stays as it was, and everything that follows is as
/// if it had been typed right at once.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger correct --quantity 6\n  gritledger correct E12 --room Landing --job J2 --date yesterday\n  gritledger correct E7 --cost 63"
)]
pub(super) struct CorrectArgs {
    /// The entry, such as E12 (default: the last entry that counts)
    entry: Option<String>,
    /// How many items, hours, miles or kilometres
    #[arg(long, allow_hyphen_values = true)]
    quantity: Option<String>,
    /// What was spent, paid, refunded, or charged for a machine
    #[arg(long, value_name = "TOTAL", allow_hyphen_values = true)]
    cost: Option<String>,
    /// The item
    #[arg(long)]
    item: Option<String>,
    /// Who worked
    #[arg(long)]
    worker: Option<String>,
    /// The task or operation
    #[arg(long, value_name = "TASK")]
    on: Option<String>,
    /// What money was spent for
    #[arg(long = "for", value_name = "WHAT")]
    purpose: Option<String>,
    /// A room, or several: "Den, Parlour" (can be repeated)
    #[arg(long = "room", value_name = "ROOM")]
    rooms: Vec<String>,
    /// It was for the whole job, and no room
    #[arg(long, conflicts_with = "rooms")]
    whole_job: bool,
    /// The job
    #[arg(long)]
    job: Option<String>,
    /// It belongs to no job, and so to no room or task
    #[arg(long, conflicts_with_all = ["job", "rooms", "whole_job", "on"])]
    no_job: bool,
    /// When it happened: a date, yesterday, 3 days ago, mon
    #[arg(long)]
    date: Option<String>,
    /// When a machine went out or came back: 07:45 today, or with a date
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Why (default: a slip, for what was written today on an open job)
    #[arg(long)]
    reason: Option<String>,
}

/// An option of a correction: what an entry has or hasn't.
struct Part<'a> {
    option: &'static str,
    /// What an entry without it hasn't.
    noun: &'static str,
    said: Vec<&'a str>,
    /// The kinds of entries that have it.
    kinds: &'static [&'static str],
}

fn part<'a>(
    option: &'static str,
    noun: &'static str,
    said: &'a Option<String>,
    kinds: &'static [&'static str],
) -> Part<'a> {
    Part {
        option,
        noun,
        said: said.as_deref().into_iter().collect(),
        kinds,
    }
}

const ON_A_JOB: &[&str] = &["use", "hours", "spent", "drive"];

impl CorrectArgs {
    /// Returns each option with what was said by it.
    fn parts(&self) -> Vec<Part<'_>> {
        vec![
            part(
                "--quantity",
                "quantity",
                &self.quantity,
                &["use", "hours", "drive", "buy", "hand-back", "count"],
            ),
            part(
                "--cost",
                "cost of its own",
                &self.cost,
                &["spent", "buy", "hand-back", "rental-back"],
            ),
            part(
                "--item",
                "item",
                &self.item,
                &["use", "buy", "hand-back", "count"],
            ),
            part("--worker", "worker", &self.worker, &["hours"]),
            part("--on", "task or operation", &self.on, &["use", "hours"]),
            part("--for", "purpose", &self.purpose, &["spent"]),
            Part {
                said: self.rooms.iter().map(String::as_str).collect(),
                ..part("--room", "room", &None, ON_A_JOB)
            },
            Part {
                said: self.whole_job.then_some("").into_iter().collect(),
                ..part("--whole-job", "room", &None, ON_A_JOB)
            },
            part(
                "--job",
                "job",
                &self.job,
                &[
                    "use",
                    "hours",
                    "spent",
                    "drive",
                    "hand-back",
                    "rental-out",
                    "rental-day",
                ],
            ),
            Part {
                said: self.no_job.then_some("").into_iter().collect(),
                ..part(
                    "--no-job",
                    "reason to be of no job",
                    &None,
                    &["hours", "spent", "drive", "hand-back"],
                )
            },
            part(
                "--date",
                "date apart from its time",
                &self.date,
                &[
                    "use",
                    "hours",
                    "spent",
                    "drive",
                    "buy",
                    "hand-back",
                    "count",
                    "rental-day",
                ],
            ),
            part(
                "--at",
                "time of day",
                &self.at,
                &["rental-out", "rental-back"],
            ),
        ]
    }

    /// Refuses what an entry hasn't, and a correction of nothing.
    fn refuse_what_is_not_there(&self, entry: &Written) -> Result<()> {
        let (number, parts) = (&entry.number, self.parts());
        let said = || parts.iter().filter(|part| !part.said.is_empty());
        let has = |part: &&Part<'_>| part.kinds.contains(&&*entry.kind);
        let refusal = match said().find(|part| !has(part)) {
            Some(part) => format!("{number} is {}: it has no {}", kind_of(entry), part.noun),
            None if said().next().is_none() => format!("say what of {number} should be otherwise"),
            None => return Ok(()),
        };
        let options: Vec<&str> = parts.iter().filter(has).map(|part| part.option).collect();
        Err(Refusal::new(refusal)
            .hint(format!("what it has: {}", options.join(", ")))
            .into())
    }

    /// Returns the command as it was typed, for an entry.
    fn command(&self, number: &str) -> String {
        let parts = self.parts();
        let words = parts.iter().flat_map(|part| {
            let word = |said: &&str| match *said {
                "" => part.option.to_owned(),
                said => format!("{} {}", part.option, typed(said)),
            };
            part.said.iter().map(word).collect::<Vec<_>>()
        });
        let words: Vec<String> = words.collect();
        format!("gritledger correct {number} {}", words.join(" "))
    }
}

/// Returns what an entry is, in words.
fn kind_of(entry: &Written) -> &'static str {
    match entry.kind.as_str() {
        "use" => "an item used",
        "hours" => "hours worked",
        "spent" => "money spent",
        "drive" => "a drive",
        "buy" => "a purchase",
        "hand-back" => "items handed back",
        "count" => "a count",
        "rental-out" => "a machine taken out",
        "rental-back" => "a machine taken back",
        _ => "a machine with a job",
    }
}

pub(super) fn entry_or_last(writing: &Writing<'_>, number: Option<&str>) -> Result<EntryId> {
    number.map_or_else(|| writing.last_entry(), |number| writing.entry(number))
}

/// What was typed, with its names looked up.
struct Resolved {
    job: Option<Job>,
    other_job: Option<Job>,
    rooms: Option<Vec<Room>>,
    item: Option<BookItem>,
    worker: Option<Worker>,
    on: Option<WorkedOn>,
}

impl Resolved {
    fn new(writing: &Writing<'_>, args: &CorrectArgs, entry: &Written) -> Result<Resolved> {
        let job = args.job.as_deref();
        let other_job = job.map(|number| writing.job(number)).transpose()?;
        let own_job = entry.job.map(|job| writing.job_by_id(job)).transpose()?;
        let job = other_job.clone().or(own_job);
        let on = args.on.as_deref();
        let on_a_task = on.is_some_and(|name| !WorkedOn::is_the_road(name));
        if job.is_none() && (!args.rooms.is_empty() || on_a_task) {
            let number = &entry.number;
            return Err(Refusal::new(format!(
                "{number} belongs to no job, and so to no room or task"
            ))
            .hint("say which job: --job J1")
            .into());
        }
        let job = job.filter(|_| !args.no_job);
        let item = match (&args.item, &job) {
            (Some(name), Some(job)) => Some(writing.item_for(job, name)?),
            (Some(name), None) => Some(writing.item(name)?),
            (None, _) => None,
        };
        let rooms = match (&job, args.rooms.is_empty(), args.whole_job) {
            (Some(job), false, _) => Some(rooms_named(writing, &args.rooms, job.site_id)?),
            (_, _, true) => Some(Vec::new()),
            _ => None,
        };
        let worker = args.worker.as_deref();
        let worker = worker.map(|name| writing.worker(name)).transpose()?;
        let on = match (&args.on, entry.kind.as_str(), &job) {
            (Some(name), "hours", _) => Some(worked_on(writing, name)?),
            (on, "use", Some(job)) if on.is_some() || item.is_some() => {
                let used = match &item {
                    Some(item) => item.clone(),
                    None => writing.item(&entry.subject)?,
                };
                let operation = writing.operation_for(&used, job, on.as_deref())?;
                Some(operation.map_or(WorkedOn::Nothing, |operation| {
                    WorkedOn::Operation(Box::new(operation))
                }))
            }
            _ => None,
        };
        Ok(Resolved {
            job,
            other_job,
            rooms,
            item,
            worker,
            on,
        })
    }
}

/// Writes a correction down; what is unlikely about it is asked about, as about a line that is typed at once.
pub(super) fn write_correct(
    context: &Context,
    writing: &Writing<'_>,
    args: &CorrectArgs,
) -> Result<Noted> {
    let id = entry_or_last(writing, args.entry.as_deref())?;
    let entry = writing.correctable(id, |again| args.command(again))?;
    args.refuse_what_is_not_there(&entry)?;
    let resolved = Resolved::new(writing, args, &entry)?;
    let unit = resolved.item.as_ref().map(|item| item.unit).or(entry.unit);
    let quantity = args.quantity.as_deref();
    let quantity = quantity.map(|text| read_quantity_of(writing, &entry, unit, text));
    let cost = args.cost.as_deref();
    let cost = cost.map(|text| read_money(writing, text)).transpose()?;
    let date = args.date.as_deref();
    let date = date.map(|date| read_date(context, writing, Some(date)));
    let at = args.at.as_deref();
    let at = at.map(|at| read_moment(context, writing, Some(at)));
    let correction = Correction {
        quantity: quantity.transpose()?,
        cost,
        item: resolved.item.as_ref(),
        worker: resolved.worker.as_ref(),
        on: resolved.on.as_ref(),
        job: resolved.other_job.as_ref(),
        no_job: args.no_job,
        rooms: resolved.rooms.as_deref(),
        date: date.transpose()?,
        at: at.transpose()?,
        purpose: args.purpose.as_deref(),
    };
    let command = args.command(&entry.number);
    let other_job = resolved.other_job.as_ref();
    let reason = writing.reason_for(&entry, other_job, args.reason.as_deref(), &command)?;
    let recorded = writing.correct_entry(&entry, &correction, &reason)?;
    let entry = writing.written(recorded.id)?;
    let job = resolved.job.filter(|_| entry.at.is_none());
    if correction.date.is_some() || correction.at.is_some() || other_job.is_some() {
        confirm_day(context, entry.on, job.as_ref())?;
    }
    confirm_new(context, writing, &recorded)?;
    let unit = entry.unit.unwrap_or(Unit::Hour);
    let doubt = match (entry.kind.as_str(), &job) {
        ("use" | "hours", Some(job)) => settle_doubt(context, writing, job, &recorded, unit)?,
        _ => None,
    };
    let remarks = remarks_on(&recorded, doubt);
    let logged = job.map(|job| (job, recorded.id));
    let what = words_of(writing, &entry)?;
    let noted = said(context, writing, recorded, what)?;
    Ok(Noted {
        remarks,
        logged,
        ..noted
    })
}

fn read_quantity_of(
    writing: &Writing<'_>,
    entry: &Written,
    unit: Option<Unit>,
    text: &str,
) -> Result<Decimal> {
    match (entry.kind.as_str(), unit) {
        ("hours", _) => read_hours(writing.notation(), text),
        (_, Some(unit)) => read_quantity(writing.notation(), text, unit),
        _ => read_distance(writing, text),
    }
}

/// Returns what an entry says in words: `used 6 discs of disc-7in-36 on J1, Landing`.
pub(super) fn words_of(ledger: &Ledger, entry: &Written) -> Result<String> {
    let job = entry.job.map(|job| ledger.job_by_id(job)).transpose()?;
    let on_job = job.as_ref().map_or_else(
        || ", no job".to_owned(),
        |job| format!(" on {}", job.number),
    );
    let job = job.map_or_else(String::new, |job| job.number);
    let rooms: String = entry.rooms.iter().map(|room| format!(", {room}")).collect();
    let subject = &entry.subject;
    let figure = |places| {
        let quantity = entry.quantity;
        quantity.map_or_else(String::new, |quantity| plain(quantity, places))
    };
    let items = entry.quantity.zip(entry.unit);
    let items = items.map_or_else(String::new, |(quantity, unit)| unit.told(quantity, 2));
    let items = format!("{items} of {subject}");
    let at = entry.at.map(|at| at.format("%Y-%m-%d %H:%M").to_string());
    let at = at.unwrap_or_default();
    Ok(match entry.kind.as_str() {
        "use" => format!("used {items}{on_job}{rooms}"),
        "hours" => {
            let on = match (&entry.worked_on, entry.job) {
                (Some(on), _) => format!(", {on}"),
                (None, Some(_)) => ", no task said".to_owned(),
                (None, None) => String::new(),
            };
            format!("{subject} worked {} h{on_job}{rooms}{on}", figure(2))
        }
        "spent" => format!("spent for {}{on_job}{rooms}", entry.what),
        "drive" => {
            let driven = entry.quantity.unwrap_or_default();
            format!("drove {}{on_job}{rooms}", ledger.road().told(driven, 1))
        }
        "buy" => format!("bought {items}"),
        "hand-back" => format!("handed back {items}"),
        "count" => format!("counted {items}"),
        "rental-out" => format!("{subject} out at {at} for {job}"),
        "rental-back" => format!("{subject} back at {at}"),
        _ => format!("{subject} is with {job} from {}", entry.on),
    })
}
