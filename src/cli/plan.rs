//! `plan`: the whole house, and its calendar.

use std::num::NonZeroU32;
use std::path::PathBuf;

use anyhow::Result;
use clap::{Args, Subcommand, ValueEnum};

use super::job::warn_of_barred;
use super::quote::{PriceArgs, warn_of_no_rate};
use super::read::{MethodArgs, read_list, read_margin, read_money, read_percent, read_plan_date};
use super::ui::{Context, is_stdout};
use crate::document::Answer as _;
use crate::document::calendar::ics;
use crate::document::plan::dates::DatesAnswer;
use crate::document::plan::house::HouseAnswer;
use crate::ledger::{HouseRequest, KeepRequest, Ledger, Refusal, Site, refuse, same};
use crate::money::{Decimal, Money};

/// Plan a whole house: which rooms together, in what order, on which days
#[derive(Debug, Subcommand)]
pub(super) enum PlanCommand {
    House(Box<HouseArgs>),
    Write(WriteArgs),
}

/// Plan the rooms of a site: phases, dates, ways out, rentals and cost
///
/// Finds the cheapest order in which everybody can still live there, and sets it beside one room at a time and all at
/// once. Rooms that a job has are left out. What must stay in use is kept reachable every night; a night on which it
/// can't be is either priced (--night-away), or one that the household is away anyway (--away).
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  gritledger plan house \"4 Tannery Row\" --start 2026-03-09 --keep Bath --keep \"one of Bedroom 1, Bedroom 2\"
  gritledger plan house \"4 Tannery Row\" --start 2026-03-09 --away 2026-03-14 2026-03-17 --max-rooms 3
  gritledger plan house \"4 Tannery Row\" --start 2026-03-09 --phases \"Hall, Landing; Bedroom 1\" --accept")]
pub(super) struct HouseArgs {
    /// The site's address
    site: String,
    /// The first day on which work can begin
    #[arg(long, value_name = "DATE")]
    start: String,
    /// The day by which everything is back in place
    #[arg(long, value_name = "DATE")]
    end: Option<String>,
    /// A room to be done (can be repeated; default: all that are refinished and in no job)
    #[arg(long = "room", value_name = "ROOM")]
    rooms: Vec<String>,
    #[command(flatten)]
    methods: MethodArgs,
    /// What must stay in use at night: "Bath", "one of Bedroom 1, Bedroom 2" (can be repeated)
    #[arg(long = "keep", value_name = "ROOMS")]
    keeps: Vec<String>,
    /// The first and the last night that the household is away anyway (can be repeated)
    #[arg(long, num_args = 2, value_names = ["FROM", "TO"])]
    away: Vec<String>,
    /// What a night costs on which something that must stay in use can't be reached
    #[arg(long, value_name = "AMOUNT", allow_negative_numbers = true)]
    night_away: Option<String>,
    /// What a room that is closed costs the household a day (default: 0)
    #[arg(long, value_name = "AMOUNT", allow_negative_numbers = true)]
    day_closed: Option<String>,
    /// How many rooms can be emptied at once
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    max_rooms: Option<String>,
    /// The room that takes the furniture of the others
    #[arg(long, value_name = "ROOM")]
    furniture_room: Option<String>,
    /// Rooms that are done together, such as an open plan (can be repeated)
    #[arg(long, value_name = "ROOMS")]
    together: Vec<String>,
    /// Rooms of which no two are done together (can be repeated)
    #[arg(long, value_name = "ROOMS")]
    apart: Vec<String>,
    /// Check this plan instead: "Hall, Landing; Bedroom 1"
    #[arg(long, value_name = "ROOMS; ROOMS")]
    phases: Option<String>,
    /// The share of the price to keep (default: the setting margin)
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    margin: Option<String>,
    #[command(flatten)]
    asked: PriceArgs,
    /// How sure it is to be that days suffice and the margin is kept (default: the setting confidence)
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    confidence: Option<String>,
    /// Price the hours at this worker's wage (default: the mean of the active ones)
    #[arg(long)]
    worker: Option<String>,
    /// Say what each phase takes and what to buy, too
    #[arg(long)]
    buy: bool,
    /// Draft the quote with these phases and dates
    #[arg(long)]
    accept: bool,
}

/// Write the dates of a planned quote or job as a calendar
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger plan write J1 --format ics --to house.ics")]
pub(super) struct WriteArgs {
    /// The quote or job, such as Q1 or J1
    #[arg(value_name = "QUOTE")]
    number: String,
    /// In what format
    #[arg(long, value_enum, default_value_t = CalendarFormat::Ics)]
    format: CalendarFormat,
    /// The file to write; `-` is the terminal; an earlier calendar is replaced
    #[arg(long, value_name = "FILE", default_value = "-")]
    to: PathBuf,
    /// Replace whatever file is there
    #[arg(long)]
    replace: bool,
}

/// A calendar's format.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum CalendarFormat {
    /// RFC 5545
    Ics,
}

/// How every calendar begins (RFC 5545).
const CALENDAR: &str = "BEGIN:VCALENDAR";

pub(super) fn cmd_plan(context: &Context, command: PlanCommand) -> Result<()> {
    match command {
        PlanCommand::House(args) if args.accept => accept(context, &args),
        PlanCommand::House(args) => context.read(|ledger| house(context, ledger, &args)),
        PlanCommand::Write(args) => write(context, &args),
    }
}

fn house(context: &Context, ledger: &Ledger, args: &HouseArgs) -> Result<()> {
    let site = ledger.site(&args.site)?;
    let request = read_request(context, ledger, &site, args)?;
    let sheet = ledger.plan_house(
        &site,
        &request,
        &args.asked.read(ledger)?,
        &context.progress(),
    )?;
    let (warnings, is_priced) = (sheet.warnings.clone(), sheet.priced.is_some());
    give_house(
        context,
        ledger,
        HouseAnswer::new(sheet, None, &context.page(ledger)),
        args,
    )?;
    for warning in &warnings {
        context.warn(warning);
    }
    if is_priced {
        context.hint("the same command with --accept drafts the quote with these dates");
    }
    Ok(())
}

fn give_house(
    context: &Context,
    ledger: &Ledger,
    answer: HouseAnswer,
    args: &HouseArgs,
) -> Result<()> {
    let page = context.page(ledger);
    context.give_in_words(ledger, answer, |answer| match args.buy {
        true => format!("{}\n{}", answer.text(&page), answer.shopping(&page)),
        false => answer.text(&page),
    })
}

fn accept(context: &Context, args: &HouseArgs) -> Result<()> {
    context.write(|writing| {
        let site = writing.site(&args.site)?;
        let request = read_request(context, writing, &site, args)?;
        let (sheet, record) = writing.accept_plan(
            &site,
            &request,
            &args.asked.read(writing)?,
            &context.progress(),
        )?;
        let number = &record.header.number;
        let answer = HouseAnswer::new(sheet, Some(number.clone()), &context.page(writing));
        give_house(context, writing, answer, args)?;
        context.status(&format!("{number} is drafted from this plan."));
        warn_of_no_rate(context, writing.driving_left_out(&record.header)?);
        let barred = writing.barred_by(&record)?;
        warn_of_barred(context, &barred);
        if barred.is_empty() {
            context.hint(&format!("gritledger quote send {number}"));
        }
        Ok(())
    })
}

fn read_request(
    context: &Context,
    ledger: &Ledger,
    site: &Site,
    args: &HouseArgs,
) -> Result<HouseRequest> {
    let amount = |text: Option<&String>, what: &str| -> Result<Option<Money>> {
        let Some(text) = text else { return Ok(None) };
        let amount = read_money(ledger, text)?;
        if amount.is_negative() {
            refuse!("{what} doesn't cost less than nothing");
        }
        Ok(Some(amount))
    };
    let margin = args.margin.as_deref();
    let margin = margin
        .map(|text| read_margin(context, ledger, text))
        .transpose()?;
    let confidence = args.confidence.as_deref();
    let confidence = confidence
        .map(|text| read_percent(ledger, text, "a confidence"))
        .transpose()?;
    if confidence.is_some_and(|sure| sure <= Decimal::ZERO || sure >= Decimal::ONE) {
        refuse!("a confidence is between 0 and 100 %, and neither");
    }
    let max_rooms = match &args.max_rooms {
        None => None,
        Some(text) => match text.trim().parse::<NonZeroU32>() {
            Ok(most) => Some(most),
            Err(_) => {
                return Err(Refusal::new(format!("`{text}` is not a number of rooms"))
                    .hint("--max-rooms 3")
                    .into());
            }
        },
    };
    let away = args.away.chunks_exact(2).map(|pair| {
        Ok((
            read_plan_date(context, ledger, &pair[0])?,
            read_plan_date(context, ledger, &pair[1])?,
        ))
    });
    let rooms = ledger.rooms_of(site.id)?;
    let keep = |text: &String| read_keep(text, rooms.iter().any(|room| same(&room.name, text)));
    let lists = |texts: &[String]| {
        texts
            .iter()
            .map(|text| read_list(text))
            .collect::<Result<_>>()
    };
    Ok(HouseRequest {
        start: read_plan_date(context, ledger, &args.start)?,
        end: args
            .end
            .as_deref()
            .map(|text| read_plan_date(context, ledger, text))
            .transpose()?,
        away: away.collect::<Result<_>>()?,
        night_away: amount(args.night_away.as_ref(), "a night away")?,
        day_closed: amount(args.day_closed.as_ref(), "a closed day")?.unwrap_or(Money::ZERO),
        rooms: args.rooms.clone(),
        methods: args.methods.read()?,
        margin,
        confidence,
        worker: args.worker.clone(),
        keeps: args.keeps.iter().map(keep).collect::<Result<_>>()?,
        max_rooms,
        furniture_room: args.furniture_room.clone(),
        together: lists(&args.together)?,
        apart: lists(&args.apart)?,
        phases: args.phases.as_deref().map(read_phases).transpose()?,
    })
}

/// Reads what must stay in use: `Bath`, `one of Bedroom 1, Bedroom 2`. A room may be called so as well.
fn read_keep(text: &str, is_room: bool) -> Result<KeepRequest> {
    let some = text
        .split_once(" of ")
        .and_then(|(number, names)| Some((read_count(number)?, names)))
        .filter(|_| !is_room);
    Ok(KeepRequest {
        said: text.to_owned(),
        least: some.map(|(least, _)| least),
        rooms: read_list(some.map_or(text, |(_, names)| names))?,
    })
}

/// Reads how many: `one`, `2`.
fn read_count(text: &str) -> Option<u32> {
    let text = text.trim().to_lowercase();
    let words = [
        "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
    ];
    let word = (1..).zip(words).find(|(_, word)| *word == text);
    word.map(|(number, _)| number)
        .or_else(|| text.parse().ok().filter(|number| *number > 0))
}

/// Reads phases as they are named: `Hall, Landing; Bedroom 1`.
fn read_phases(text: &str) -> Result<Vec<Vec<String>>> {
    let parts = text.split(';').filter(|part| !part.trim().is_empty());
    let phases: Vec<Vec<String>> = parts.map(read_list).collect::<Result<_>>()?;
    if phases.is_empty() {
        refuse!("the phases name no room");
    }
    Ok(phases)
}

fn write(context: &Context, args: &WriteArgs) -> Result<()> {
    context.refuse_csv()?;
    let CalendarFormat::Ics = args.format;
    let (kept, page) =
        context.read(|ledger| Ok((ledger.kept_plan(&args.number)?, context.page(ledger))))?;
    let calendar = ics(&kept);
    if !is_stdout(&args.to) {
        context.write_file(&args.to, &calendar, CALENDAR, args.replace)?;
        context.status(&format!(
            "Wrote the dates of {} to {}.",
            args.number,
            args.to.display()
        ));
    } else if !context.json() {
        context.print_exactly(calendar);
    }
    context.give_json(|| Ok(DatesAnswer::new(kept, None, &page)))
}
