//! The firm's book: `item`, `machine` and `operation`.

use anyhow::{Context as _, Result};
use clap::{Args, Subcommand};

use super::people::is_none;
use super::read::{read_date, read_length, read_money, read_number, read_percent};
use super::ui::Context;
use crate::document::book::{
    BesideOperations, ItemAnswer, ItemList, MachineAnswer, MachineList, OperationAnswer,
    OperationList,
};
use crate::document::cover::{BasketAnswer, CoverAnswer, CuttingAnswer};
use crate::ledger::{
    BookItem, BookMachine, InBook, Ledger, NewItem, NewOperation, OWN_FIGURE, Pack, Refusal,
    Writing, read_saw_loss, refuse, same, typed,
};
use crate::measure::Length;
use crate::money::{Decimal, MOST_UNITS, Money, plain};
use crate::trade::Unit;
use crate::trade::bounds::{MOST_OFF_CUTS, MOST_PIECES};
use crate::trade::buying::{cheapest_packs, sticks};
use crate::trade::cautions::Hazard;
use crate::trade::cutting::{Aim, Stock, TooLong, cut};
use crate::trade::operation::{Driver, Operation};
use crate::trade::rental::{MOST_DAYS, Need, Plan, Tariff};

/// Manage items: discs, finish, filler, trim
#[derive(Debug, Subcommand)]
pub(super) enum ItemCommand {
    Add(ItemAddArgs),
    /// List the items with their packs and prices
    #[command(after_long_help = "Example:\n  gritledger item list")]
    List(AllArgs),
    Show(ItemArgs),
    Edit(ItemEditArgs),
    Cover(ItemCoverArgs),
    Cut(ItemCutArgs),
}

/// Find the cheapest packs that hold a quantity
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger item cover oil-finish 3.2")]
pub(super) struct ItemCoverArgs {
    /// The item
    #[arg(value_name = "ITEM")]
    name: String,
    /// How much is needed, in the item's unit
    #[arg(allow_hyphen_values = true)]
    quantity: String,
}

/// Find the cheapest sticks that pieces can be cut from, with the cutting list
///
/// The packs of the item are its stock lengths. The saw takes the setting saw-loss between two pieces.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger item cut quarter-round \"7'2\\\"\" \"3'\" \"3'\" --fewest"
)]
pub(super) struct ItemCutArgs {
    /// The item, sold by length
    #[arg(value_name = "ITEM")]
    name: String,
    /// A piece (can be repeated)
    #[arg(required = true, value_name = "LENGTH", allow_negative_numbers = true)]
    pieces: Vec<String>,
    /// The fewest sticks, even if fewer cost more
    #[arg(long)]
    fewest: bool,
    /// An off-cut in stock, to be used up (can be repeated)
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    off_cut: Vec<String>,
    /// What the saw takes between two pieces (default: the setting saw-loss)
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    saw_loss: Option<String>,
}

/// Add an item
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger item add disc-7in-60 --unit disc --pack 30=63.00 --pack 3=8.10 --returnable"
)]
pub(super) struct ItemAddArgs {
    /// The name; no other item has it
    name: String,
    /// What it is counted or measured in: disc, gal, l, each, ft, m, sqft or m2
    #[arg(long)]
    unit: String,
    /// A pack it is sold in, the one usually bought first (can be repeated)
    #[arg(
        long = "pack",
        value_name = "SIZE=PRICE",
        required = true,
        allow_hyphen_values = true
    )]
    packs: Vec<String>,
    /// A short phrase
    #[arg(long, default_value = "", hide_default_value = true)]
    description: String,
    /// An opened container does not keep
    #[arg(long)]
    not_kept: bool,
    /// Unopened packs can be handed back
    #[arg(long)]
    returnable: bool,
}

/// Show an item with its packs
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger item show disc-7in-36")]
pub(super) struct ItemArgs {
    /// The item
    #[arg(value_name = "ITEM")]
    name: String,
}

/// Change an item, or what its packs cost
///
/// A pack of a known size gets the new price; another size is added; the price `none` takes a pack out of the book.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger item edit disc-7in-36 --pack 30=66.00\n  gritledger item edit disc-7in-36 --pack 3=none"
)]
pub(super) struct ItemEditArgs {
    /// The item
    #[arg(value_name = "ITEM")]
    name: String,
    /// A pack and its price, or `none` (can be repeated)
    #[arg(long = "pack", value_name = "SIZE=PRICE", allow_hyphen_values = true)]
    packs: Vec<String>,
    /// A short phrase
    #[arg(long)]
    description: Option<String>,
    /// An opened container keeps
    #[arg(long, conflicts_with = "not_kept")]
    kept: bool,
    /// An opened container does not keep
    #[arg(long)]
    not_kept: bool,
    /// Unopened packs can be handed back
    #[arg(long, conflicts_with = "not_returnable")]
    returnable: bool,
    /// Packs can't be handed back
    #[arg(long)]
    not_returnable: bool,
    #[command(flatten)]
    in_use: InUseArgs,
}

/// What a list leaves out, unless it is asked for.
#[derive(Debug, Args)]
#[group(skip)]
pub(super) struct AllArgs {
    /// Those too that are out of use
    #[arg(long)]
    pub(super) all: bool,
}

/// Whether something is in use.
#[derive(Debug, Args)]
#[group(skip)]
pub(super) struct InUseArgs {
    /// Take it out of use: old jobs keep it, and it is neither listed, guessed, quoted nor rented any more
    #[arg(long, conflicts_with = "active")]
    inactive: bool,
    /// Put it back in use
    #[arg(long)]
    active: bool,
}

impl InUseArgs {
    /// Returns the name that is meant: of what is put back in use, a beginning does.
    pub(super) fn meant(&self, ledger: &Ledger, kind: InBook, name: &str) -> Result<String> {
        match self.active {
            true => ledger.back_in_use(kind, name),
            false => Ok(name.to_owned()),
        }
    }
}

/// Takes something out of use or puts it back, if that was typed.
pub(super) fn change_use(
    writing: &Writing<'_>,
    typed: &InUseArgs,
    (kind, id, name): (InBook, i64, &str),
) -> Result<()> {
    match typed.active || typed.inactive {
        true => writing.set_in_use(kind, id, name, typed.active),
        false => Ok(()),
    }
}

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

/// Manage operations: the things that are done to a floor
#[derive(Debug, Subcommand)]
pub(super) enum OperationCommand {
    Add(OperationAddArgs),
    List(OperationListArgs),
    Show(OperationArgs),
    Edit(OperationEditArgs),
}

/// Add an operation
///
/// What measures it (its driver): area, edge, count, length, room or job. It has no rate yet: set one for hours, and one
/// for its item (gritledger rate set).
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger operation add glue-loose-strips --task repair --driver count --for-finding loose-strips"
)]
pub(super) struct OperationAddArgs {
    /// The name; no other operation has it
    name: String,
    /// The task that its hours are logged on; made if unknown
    #[arg(long)]
    task: String,
    /// What measures it: area, edge, count, length, room or job
    #[arg(long)]
    driver: String,
    #[command(flatten)]
    facts: OperationFacts,
}

/// What an operation may have beside task and driver.
#[derive(Debug, Args)]
#[group(skip)]
struct OperationFacts {
    /// The item that it uses up, or `none`
    #[arg(long)]
    item: Option<String>,
    /// How many items are changed at once, or `none` if the item is measured
    #[arg(long, value_name = "COUNT", allow_hyphen_values = true)]
    set_size: Option<String>,
    /// Operations of one group share what each room takes besides its area, as those of one machine do (default: its own)
    #[arg(long = "group", alias = "family")]
    family: Option<String>,
    /// What its rates differ by: none, condition, species or both
    #[arg(long = "rates-by", value_name = "WHAT", alias = "splits")]
    splits: Option<String>,
    /// The rented machine it runs on, or `none`
    #[arg(long)]
    machine: Option<String>,
    /// The grade of its abrasive, or `none`
    #[arg(long, allow_hyphen_values = true)]
    grit: Option<String>,
    /// Hours until it can be sanded, such as those of filler, or `none`
    #[arg(long, value_name = "HOURS", allow_hyphen_values = true)]
    harden_hours: Option<String>,
    /// The kind of finding that it puts right, and no other does, or `none`; the starting book puts right black-stains, board-holes, damaged-boards, gaps, missing-quarter-round, missing-threshold, open-holes, proud-nails and squeaks
    #[arg(long = "for-finding", value_name = "KIND", alias = "answers")]
    answers: Option<String>,
    /// What can hurt: dust, oily-rags, solvent, noise, acid, cables or none (can be repeated)
    #[arg(long = "hazard", value_name = "HAZARD")]
    hazards: Vec<String>,
    /// A short phrase
    #[arg(long)]
    description: Option<String>,
}

/// List the operations
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger operation list --task sand")]
pub(super) struct OperationListArgs {
    /// Only those of this task
    #[arg(long)]
    task: Option<String>,
    #[command(flatten)]
    all: AllArgs,
}

/// Show an operation
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger operation show rotary-36")]
pub(super) struct OperationArgs {
    /// The operation
    #[arg(value_name = "OPERATION")]
    name: String,
}

/// Change an operation
///
/// What measures it stays: its rates and all that was logged are in those units. Add another operation instead.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger operation edit rotary-36 --set-size 3 --rates-by both"
)]
pub(super) struct OperationEditArgs {
    /// The operation
    #[arg(value_name = "OPERATION")]
    name: String,
    /// The task that its hours are logged on; made if unknown
    #[arg(long)]
    task: Option<String>,
    #[command(flatten)]
    facts: OperationFacts,
    #[command(flatten)]
    in_use: InUseArgs,
}

pub(super) fn cmd_item(context: &Context, command: ItemCommand) -> Result<()> {
    match command {
        ItemCommand::Add(args) => add_item(context, &args),
        ItemCommand::List(args) => context.give_told::<ItemList, _>(|ledger| {
            let mut items = ledger.items()?;
            items.retain(|item| item.active || args.all);
            Ok(items)
        }),
        ItemCommand::Show(args) => {
            context.give_told::<ItemAnswer, _>(|ledger| ledger.item(&args.name))
        }
        ItemCommand::Edit(args) => edit_item(context, &args),
        ItemCommand::Cover(args) => context.read(|ledger| cover_item(context, ledger, &args)),
        ItemCommand::Cut(args) => context.read(|ledger| cut_item(context, ledger, &args)),
    }
}

fn add_item(context: &Context, args: &ItemAddArgs) -> Result<()> {
    let unit = args.unit.parse()?;
    let is_of_items =
        |unit: &Unit| !matches!(unit, Unit::Hour | Unit::Day | Unit::Mile | Unit::Kilometre);
    if !is_of_items(&unit) {
        let units = Unit::ALL.iter().filter(|unit| is_of_items(unit));
        let units: Vec<&str> = units.map(|unit| unit.as_str()).collect();
        return Err(Refusal::new(format!("an item isn't counted in `{unit}`"))
            .hint(format!("--unit: {}", units.join(", ")))
            .into());
    }
    context.write(|writing| {
        let new = NewItem {
            name: args.name.clone(),
            description: args.description.clone(),
            unit,
            kept: !args.not_kept,
            returnable: args.returnable,
            packs: args
                .packs
                .iter()
                .map(|text| read_pack(context, writing, text))
                .collect::<Result<_>>()?,
        };
        writing.add_item(&new)?;
        let item = writing.item(&new.name)?;
        context.status(&format!("Added item {}.", item.name));
        tell_item(context, writing, item)
    })
}

fn cover_item(context: &Context, ledger: &Ledger, args: &ItemCoverArgs) -> Result<()> {
    let item = ledger.item(&args.name)?;
    let need = read_number(ledger, &args.quantity, "a quantity")?;
    if need <= Decimal::ZERO || need > MOST_UNITS {
        refuse!("`{}` is not a quantity to buy", args.quantity.trim());
    }
    let basket = cheapest_packs(need, &item.supply().packs)
        .with_context(|| format!("`{}` can't be bought", item.name))?;
    let page = context.page(ledger);
    context.give(ledger, BasketAnswer::new(basket, item, &page))
}

fn cut_item(context: &Context, ledger: &Ledger, args: &ItemCutArgs) -> Result<()> {
    let item = ledger.item(&args.name)?;
    let Some(sticks) = sticks(&item.supply().packs, item.unit) else {
        let refusal = Refusal::new(format!(
            "`{}` is sold by `{}`, not by length",
            item.name, item.unit
        ));
        return Err(refusal
            .hint(format!(
                "gritledger item cover {} QUANTITY",
                typed(&item.name)
            ))
            .into());
    };
    if args.pieces.len() > MOST_PIECES {
        refuse!("{MOST_PIECES} pieces are cut together at most");
    }
    if args.off_cut.len() > MOST_OFF_CUTS {
        refuse!("{MOST_OFF_CUTS} off-cuts are used up together at most");
    }
    let lengths = |texts: &[String]| -> Result<Vec<i64>> {
        let lengths = texts.iter().map(|text| read_length(ledger, text));
        lengths.map(|length| Ok(length?.nanometres())).collect()
    };
    let (pieces, off_cuts) = (lengths(&args.pieces)?, lengths(&args.off_cut)?);
    let saw_loss = match &args.saw_loss {
        Some(text) => read_saw_loss(&ledger.notation().plain(text), ledger.units())?,
        None => ledger.settings()?.saw_loss,
    };
    let aim = match args.fewest {
        true => Aim::Fewest,
        false => Aim::Cheapest,
    };
    let page = context.page(ledger);
    let stock = Stock {
        sticks: &sticks,
        off_cuts: &off_cuts,
        saw_loss: saw_loss.nanometres(),
    };
    let list = cut(&pieces, stock, aim).map_err(|TooLong(piece)| {
        let piece = Length::from_nanometres(piece).text(page.units);
        Refusal::new(format!(
            "no stock length of `{}` is as long as a piece of {piece}",
            item.name
        ))
    })?;
    context.give(ledger, CuttingAnswer::new(list, item, saw_loss, aim, &page))
}

fn edit_item(context: &Context, args: &ItemEditArgs) -> Result<()> {
    context.write(|writing| {
        let name = args.in_use.meant(writing, InBook::Item, &args.name)?;
        let mut item = writing.item(&name)?;
        let (out, priced): (Vec<&String>, Vec<&String>) = args.packs.iter().partition(|text| {
            text.split_once('=')
                .is_some_and(|(_, price)| is_none(price))
        });
        for text in priced {
            let pack = read_pack(context, writing, text)?;
            match item.packs.iter_mut().find(|known| known.size == pack.size) {
                Some(known) => *known = pack,
                None => item.packs.push(pack),
            }
        }
        if let Some(description) = &args.description {
            item.description.clone_from(description);
        }
        item.kept = (item.kept || args.kept) && !args.not_kept;
        item.returnable = (item.returnable || args.returnable) && !args.not_returnable;
        writing.edit_item(&item)?;
        for text in out {
            let size = text.split_once('=').map_or("", |(size, _)| size);
            writing.remove_pack(&item.name, read_pack_size(writing, size)?)?;
        }
        change_use(writing, &args.in_use, (InBook::Item, item.id.0, &item.name))?;
        let item = writing.item(&item.name)?;
        context.status(&format!("Changed item {}.", item.name));
        tell_item(context, writing, item)
    })
}

/// Reads a pack: `30=63.00` is thirty for 63.00.
fn read_pack(context: &Context, ledger: &Ledger, text: &str) -> Result<Pack> {
    let Some((size, price)) = text.split_once('=') else {
        return Err(Refusal::new(format!("`{text}` is not a pack"))
            .hint("--pack 30=63.00, size and price")
            .into());
    };
    let size = read_pack_size(ledger, size)?;
    let what = format!("a pack of {}", plain(size, 6));
    Ok(Pack {
        size,
        price: read_price_of(context, ledger, &what, price)?,
        source: OWN_FIGURE.to_owned(),
    })
}

fn read_pack_size(ledger: &Ledger, text: &str) -> Result<Decimal> {
    let size = read_number(ledger, text.trim(), "the size of a pack")?;
    if size <= Decimal::ZERO {
        refuse!("a pack holds more than nothing: `{}`", text.trim());
    }
    Ok(size)
}

/// Reads what something is bought or rented for; asks about what would cost nothing.
fn read_price_of(context: &Context, ledger: &Ledger, what: &str, text: &str) -> Result<Money> {
    let price = read_price(ledger, text)?;
    if price.is_zero() {
        context.confirm(&format!(
            "{what} at `{}` costs nothing; `none` would take it out of the book",
            text.trim()
        ))?;
    }
    Ok(price)
}

fn read_price(ledger: &Ledger, text: &str) -> Result<Money> {
    let price = read_money(ledger, text)?;
    if price.is_negative() {
        refuse!("a price is not below zero: `{}`", text.trim());
    }
    Ok(price)
}

/// After an event, the JSON answer is the item as it stands; people were told in a sentence.
fn tell_item(context: &Context, ledger: &Ledger, item: BookItem) -> Result<()> {
    context.give_json(|| Ok(ItemAnswer::new(item, &context.page(ledger))))
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

pub(super) fn cmd_operation(context: &Context, command: OperationCommand) -> Result<()> {
    match command {
        OperationCommand::Add(args) => add_operation(context, &args),
        OperationCommand::List(args) => context.read(|ledger| {
            let mut operations = match args.all.all {
                true => ledger.operations()?,
                false => ledger.operations_in_use()?,
            };
            let out = ledger.out_of_use(InBook::Operation)?;
            if let Some(task) = &args.task {
                let task = task_named(ledger, task)?;
                operations.retain(|operation| operation.task.name == task);
            }
            let beside = BesideOperations {
                machines: &ledger.machines()?,
                out_of_use: &out,
            };
            let page = context.page(ledger);
            context.give(ledger, OperationList::new(operations, beside, &page))
        }),
        OperationCommand::Show(args) => context.read(|ledger| {
            let operation = ledger.operation(&args.name)?;
            context.give(ledger, operation_answer(context, ledger, operation)?)
        }),
        OperationCommand::Edit(args) => edit_operation(context, &args),
    }
}

fn task_named(ledger: &Ledger, name: &str) -> Result<String> {
    let tasks: Vec<String> = ledger.tasks()?.into_iter().map(|task| task.name).collect();
    match tasks.iter().find(|task| same(task, name)) {
        Some(task) => Ok(task.clone()),
        None => {
            let refusal = Refusal::new(format!("no task `{}`", name.trim()));
            Err(refusal.hint(format!("tasks: {}", tasks.join(", "))).into())
        }
    }
}

fn add_operation(context: &Context, args: &OperationAddArgs) -> Result<()> {
    let driver = args.driver.parse()?;
    context.write(|writing| {
        let mut new = NewOperation {
            name: args.name.clone(),
            task: args.task.clone(),
            driver,
            item: None,
            set_size: None,
            family: String::new(),
            splits: crate::trade::operation::Splits::None,
            machine: None,
            grit: None,
            harden_hours: None,
            answers: None,
            hazards: Vec::new(),
            description: String::new(),
            source: OWN_FIGURE.to_owned(),
        };
        read_facts(writing, &mut new, &args.facts)?;
        writing.add_operation(&new)?;
        let operation = writing.operation(&new.name)?;
        context.status(&format!("Added operation {}.", operation.name));
        if operation.item.is_some() {
            context.hint(&format!(
                "gritledger rate set {} --kind item --per AMOUNT",
                typed(&operation.name)
            ));
        }
        context.hint(&format!(
            "gritledger rate set {} --kind hours --per AMOUNT",
            typed(&operation.name)
        ));
        tell_operation(context, writing, operation)
    })
}

fn edit_operation(context: &Context, args: &OperationEditArgs) -> Result<()> {
    context.write(|writing| {
        let name = args.in_use.meant(writing, InBook::Operation, &args.name)?;
        let old = writing.operation(&name)?;
        let mut new = NewOperation {
            name: old.name,
            task: args.task.clone().unwrap_or(old.task.name),
            driver: old.driver,
            item: old.item.map(|item| item.id),
            set_size: old.set_size,
            family: old.family,
            splits: old.splits,
            machine: old.machine,
            grit: old.grit,
            harden_hours: old.harden_hours,
            answers: old.answers,
            hazards: old.hazards,
            description: old.description,
            source: old.source,
        };
        read_facts(writing, &mut new, &args.facts)?;
        writing.edit_operation(old.id, &new)?;
        let known = (InBook::Operation, old.id.0, new.name.as_str());
        change_use(writing, &args.in_use, known)?;
        let operation = writing.operation(&new.name)?;
        context.status(&format!("Changed operation {}.", operation.name));
        tell_operation(context, writing, operation)
    })
}

/// Reads the facts typed over an operation; `none` takes one away.
fn read_facts(ledger: &Ledger, new: &mut NewOperation, typed: &OperationFacts) -> Result<()> {
    let OperationFacts {
        item,
        set_size,
        family,
        splits,
        machine,
        grit,
        harden_hours,
        answers,
        hazards,
        description,
    } = typed;
    if let Some(name) = item {
        new.item = if is_none(name) {
            None
        } else {
            Some(ledger.item(name)?.id)
        };
        // What was changed at once was another item.
        new.set_size = None;
    }
    if let Some(text) = set_size {
        new.set_size = read_count(text, "a number of items")?;
    }
    if new.set_size.is_some() && new.item.is_none() {
        refuse!("`{}` has no item that could be changed in sets", new.name);
    }
    if let Some(name) = family {
        new.family = if is_none(name) {
            String::new()
        } else {
            name.clone()
        };
    }
    if let Some(word) = splits {
        new.splits = word.parse()?;
    }
    if let Some(name) = machine {
        new.machine = if is_none(name) {
            None
        } else {
            Some(ledger.machine(name)?.id)
        };
    }
    if let Some(text) = grit {
        new.grit = read_count(text, "a grade")?;
    }
    if let Some(text) = harden_hours {
        new.harden_hours = match is_none(text) {
            true => None,
            false => Some(read_number(ledger, text, "a number of hours")?),
        };
    }
    if let Some(kind) = answers {
        new.answers = if is_none(kind) {
            None
        } else {
            Some(read_kind(ledger, new, kind)?)
        };
    }
    if hazards.iter().any(|hazard| is_none(hazard)) {
        new.hazards = Vec::new();
    } else if !hazards.is_empty() {
        new.hazards = hazards
            .iter()
            .map(|hazard| hazard.parse::<Hazard>())
            .collect::<Result<_, _>>()?;
    }
    if let Some(description) = description {
        new.description.clone_from(description);
    }
    Ok(())
}

/// Reads a whole number above zero, or `none`.
fn read_count(text: &str, what: &str) -> Result<Option<u32>> {
    if is_none(text) {
        return Ok(None);
    }
    match text.trim().parse() {
        Ok(count) if count > 0 => Ok(Some(count)),
        _ => refuse!("`{text}` is not {what}, whole and above zero"),
    }
}

/// Reads the kind of finding that an operation puts right; no other does.
fn read_kind(ledger: &Ledger, new: &NewOperation, kind: &str) -> Result<String> {
    let kind = kind.trim().to_lowercase().replace(' ', "-");
    if kind.is_empty() {
        refuse!("a kind of finding needs a name");
    }
    if !matches!(new.driver, Driver::Area | Driver::Count | Driver::Length) {
        refuse!(
            "findings are measured by area, count or length, and `{}` by {}",
            new.name,
            new.driver
        );
    }
    let same = |operation: &Operation| {
        operation.answers.as_deref() == Some(&kind) && operation.name != new.name
    };
    match ledger.operations()?.into_iter().find(same) {
        Some(other) => Err(
            Refusal::new(format!("`{}` puts `{kind}` right already", other.name))
                .hint(format!(
                    "gritledger operation edit {} --for-finding none",
                    typed(&other.name)
                ))
                .into(),
        ),
        None => Ok(kind),
    }
}

/// After an event, the JSON answer is the operation as it stands; people were told in a sentence.
fn tell_operation(context: &Context, ledger: &Ledger, operation: Operation) -> Result<()> {
    context.give_json(|| operation_answer(context, ledger, operation))
}

fn operation_answer(
    context: &Context,
    ledger: &Ledger,
    operation: Operation,
) -> Result<OperationAnswer> {
    let beside = BesideOperations {
        machines: &ledger.machines()?,
        out_of_use: &ledger.out_of_use(InBook::Operation)?,
    };
    Ok(OperationAnswer::new(
        operation,
        beside,
        &context.page(ledger),
    ))
}
