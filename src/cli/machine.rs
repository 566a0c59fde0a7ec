//! `machine`.

use anyhow::Result;
use clap::{Args, Subcommand};

use super::book::{AllArgs, InUseArgs, change_use, read_price, read_price_of};
use super::people::is_none;
use super::read::{read_date, read_number, read_percent};
use super::ui::Context;
use crate::document::book::{MachineAnswer, MachineList};
use crate::document::cover::CoverAnswer;
use crate::ledger::{BookMachine, InBook, Ledger, OWN_FIGURE, refuse};
use crate::money::{Decimal, Money};
use crate::trade::rental::{MOST_DAYS, Need, Plan, Tariff};

/// Manage rented machines and what the yard charges
#[derive(Debug, Subcommand)]
pub(super) enum MachineCommand {
    Add(MachineAddArgs),
    /// List the machines with their tariffs
    #[command(after_long_help = "Example:\n  gritledger machine list")]
    List(AllArgs),
    Show(MachineArgs),
    Edit(MachineEditArgs),
    Cover(MachineCoverArgs),
}

/// Find the cheapest rental that covers some days
///
/// The lowest combination of half days, days, weekends, weeks and four weeks, with waiver and cleaning. A half day is
/// four hours. With a first day, the weekend rate is counted on where it fits, and the machine has a time to be back.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  gritledger machine cover rotary --days 9
  gritledger machine cover rotary --days 2.5 --from 2026-03-06
  gritledger machine cover rotary --hours 20")]
#[command(group = clap::ArgGroup::new("need").args(["days", "hours"]).required(true))]
pub(super) struct MachineCoverArgs {
    /// The machine
    #[arg(value_name = "MACHINE")]
    name: String,
    /// How many days it is needed, to half a day
    #[arg(long, value_name = "N", allow_hyphen_values = true)]
    days: Option<String>,
    /// How many hours it runs, at the setting day-hours
    #[arg(long, value_name = "H", allow_hyphen_values = true)]
    hours: Option<String>,
    /// The first day
    #[arg(long, value_name = "DATE")]
    from: Option<String>,
}

/// Add a machine
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger machine add planetary --day 110.00 --week 385.00 --waiver 10% --cleaning 25.00"
)]
pub(super) struct MachineAddArgs {
    /// The name; no other machine has it
    name: String,
    /// Price of a day
    #[arg(long, value_name = "PRICE", allow_hyphen_values = true)]
    day: String,
    #[command(flatten)]
    prices: PriceArgs,
}

/// What a tariff may have beside the price of a day.
#[derive(Debug, Args)]
#[group(skip)]
struct PriceArgs {
    /// Price of four hours, or `none`
    #[arg(long, value_name = "PRICE", allow_hyphen_values = true)]
    half_day: Option<String>,
    /// Price of a weekend, or `none`
    #[arg(long, value_name = "PRICE", allow_hyphen_values = true)]
    weekend: Option<String>,
    /// Price of seven days, or `none`
    #[arg(long, value_name = "PRICE", allow_hyphen_values = true)]
    week: Option<String>,
    /// Price of 28 days, or `none`
    #[arg(long, value_name = "PRICE", allow_hyphen_values = true)]
    four_weeks: Option<String>,
    /// Damage waiver, percent of the charge
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    waiver: Option<String>,
    /// Cleaning, once for each rental
    #[arg(long, value_name = "PRICE", allow_hyphen_values = true)]
    cleaning: Option<String>,
    /// A short phrase
    #[arg(long)]
    description: Option<String>,
}

/// Show a machine with its tariff
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger machine show rotary")]
pub(super) struct MachineArgs {
    /// The machine
    #[arg(value_name = "MACHINE")]
    name: String,
}

/// Change a machine's tariff
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger machine edit rotary --day 84.00 --half-day none"
)]
pub(super) struct MachineEditArgs {
    /// The machine
    #[arg(value_name = "MACHINE")]
    name: String,
    /// Price of a day
    #[arg(long, value_name = "PRICE", allow_hyphen_values = true)]
    day: Option<String>,
    #[command(flatten)]
    prices: PriceArgs,
    #[command(flatten)]
    in_use: InUseArgs,
}

pub(super) fn cmd_machine(context: &Context, command: MachineCommand) -> Result<()> {
    match command {
        MachineCommand::Add(args) => add_machine(context, &args),
        MachineCommand::List(args) => context.give_told::<MachineList, _>(|ledger| {
            let mut machines = ledger.machines()?;
            machines.retain(|machine| machine.active || args.all);
            Ok(machines)
        }),
        MachineCommand::Show(args) => {
            context.give_told::<MachineAnswer, _>(|ledger| ledger.machine(&args.name))
        }
        MachineCommand::Edit(args) => edit_machine(context, &args),
        MachineCommand::Cover(args) => context.read(|ledger| cover_machine(context, ledger, &args)),
    }
}

fn add_machine(context: &Context, args: &MachineAddArgs) -> Result<()> {
    context.write(|writing| {
        let bare = Tariff {
            half_day: None,
            day: read_price_of(context, writing, "a day", &args.day)?,
            weekend: None,
            week: None,
            four_weeks: None,
            waiver_percent: Decimal::ZERO,
            cleaning: Money::ZERO,
        };
        let tariff = read_tariff(context, writing, bare, &args.prices)?;
        let description = args.prices.description.as_deref().unwrap_or_default();
        writing.add_machine(&args.name, description, &tariff, OWN_FIGURE)?;
        let machine = writing.machine(&args.name)?;
        context.status(&format!("Added machine {}.", machine.name));
        tell_machine(context, writing, machine)
    })
}

fn cover_machine(context: &Context, ledger: &Ledger, args: &MachineCoverArgs) -> Result<()> {
    let machine = ledger.machine(&args.name)?;
    let (text, need) = match &args.hours {
        // One of the two is asked for.
        None => {
            let text = args.days.as_deref().unwrap_or_default();
            let days = read_number(ledger, text, "a number of days")?;
            (text, Need::days(days))
        }
        Some(text) => {
            let hours = read_number(ledger, text, "a number of hours")?;
            let longest = Decimal::from(24 * MOST_DAYS);
            let need = (Decimal::ZERO..=longest)
                .contains(&hours)
                .then_some(Need::for_hours(hours, ledger.settings()?.day_hours));
            (text.as_str(), need)
        }
    };
    let Some(need) = need.filter(|need| *need > Need::half_days(0)) else {
        refuse!(
            "`{}` is not how long anybody rents: up to {MOST_DAYS} days",
            text.trim()
        );
    };
    let from = args
        .from
        .as_deref()
        .map(|text| read_date(context, ledger, Some(text)))
        .transpose()?;
    let plan = Plan::new(&machine.tariff, need, from);
    let page = context.page(ledger);
    context.give(ledger, CoverAnswer::new(machine, plan, &page))
}

fn edit_machine(context: &Context, args: &MachineEditArgs) -> Result<()> {
    context.write(|writing| {
        let name = args.in_use.meant(writing, InBook::Machine, &args.name)?;
        let mut machine = writing.machine(&name)?;
        let before = machine.tariff.clone();
        if let Some(day) = &args.day {
            machine.tariff.day = read_price_of(context, writing, "a day", day)?;
        }
        machine.tariff = read_tariff(context, writing, machine.tariff, &args.prices)?;
        if machine.tariff != before {
            machine.source = OWN_FIGURE.to_owned();
        }
        if let Some(description) = &args.prices.description {
            machine.description.clone_from(description);
        }
        writing.edit_machine(&machine)?;
        let known = (InBook::Machine, machine.id.0, machine.name.as_str());
        change_use(writing, &args.in_use, known)?;
        let machine = writing.machine(&machine.name)?;
        context.status(&format!("Changed machine {}.", machine.name));
        tell_machine(context, writing, machine)
    })
}

/// Reads the prices typed over a tariff; `none` takes a period out of it.
fn read_tariff(
    context: &Context,
    ledger: &Ledger,
    tariff: Tariff,
    typed: &PriceArgs,
) -> Result<Tariff> {
    let optional =
        |what: &str, typed: &Option<String>, before: Option<Money>| match typed.as_deref() {
            Some(none) if is_none(none) => Ok(None),
            Some(text) => read_price_of(context, ledger, what, text).map(Some),
            None => Ok(before),
        };
    let waiver_percent = match &typed.waiver {
        Some(text) => read_percent(ledger, text, "a percentage")? * Decimal::ONE_HUNDRED,
        None => tariff.waiver_percent,
    };
    if waiver_percent < Decimal::ZERO || waiver_percent > Decimal::ONE_HUNDRED {
        refuse!("a damage waiver is between 0 and 100 %");
    }
    Ok(Tariff {
        half_day: optional("a half day", &typed.half_day, tariff.half_day)?,
        day: tariff.day,
        weekend: optional("a weekend", &typed.weekend, tariff.weekend)?,
        week: optional("a week", &typed.week, tariff.week)?,
        four_weeks: optional("four weeks", &typed.four_weeks, tariff.four_weeks)?,
        waiver_percent,
        cleaning: typed
            .cleaning
            .as_deref()
            .map_or(Ok(tariff.cleaning), |text| read_price(ledger, text))?,
    })
}

/// After an event, the JSON answer is the machine as it stands; people were told in a sentence.
fn tell_machine(context: &Context, ledger: &Ledger, machine: BookMachine) -> Result<()> {
    context.give_json(|| Ok(MachineAnswer::new(machine, &context.page(ledger))))
}
