//! `rate`: how far one disc, gallon or hour goes, by the book and by your own rooms.

use anyhow::Result;
use clap::{Args, Subcommand};

use super::read_number;
use super::ui::Context;
use crate::document::Page;
use crate::document::book::{rate_json, rates_json, rates_text};
use crate::ledger::{Ledger, OWN_FIGURE, Refusal, refuse};
use crate::measure::{Area, Length};
use crate::money::{Decimal, number};
use crate::trade::operation::{Driver, Operation};
use crate::trade::rates::{BookRate, Cell, RateKind, RateRow};
use crate::trade::{FloorCondition, Species, Unit};

/// Manage rates: what one unit of an operation takes
#[derive(Debug, Subcommand)]
pub(super) enum RateCommand {
    List(ListArgs),
    Set(SetArgs),
}

/// List the rates: book, observed and learned
///
/// Observed is what your finished rooms took; learned is what quotes use, your book and your rooms together.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger rate list --operation rotary-36")]
pub(super) struct ListArgs {
    /// Only those of this operation
    #[arg(long)]
    operation: Option<String>,
    /// Only those that finished rooms have taught
    #[arg(long)]
    learned: bool,
}

/// Set a book rate; the one before stays in the record
///
/// The rate is how much of what measures the operation one item or one hour does: square feet, feet or a count.
/// What your finished rooms taught stays, and is weighed against the new figure.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  gritledger rate set rotary-36 --kind item --per 45 --condition worn-film
  gritledger rate set set-nails --kind hours --per 90 --fixed 0.1")]
pub(super) struct SetArgs {
    /// The operation
    operation: String,
    /// What it counts: item or hours
    #[arg(long)]
    kind: String,
    /// How much one item or one hour does, such as "45 sqft", "120 ft" or 90
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    per: String,
    /// Items or hours that each room and pass adds, whatever its size (default: as before, else 0)
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    fixed: Option<String>,
    /// Only on this floor condition
    #[arg(long)]
    condition: Option<String>,
    /// Only on this wood
    #[arg(long)]
    species: Option<String>,
}

pub(super) fn cmd_rate(context: &Context, command: RateCommand) -> Result<()> {
    let ledger = context.open()?;
    match command {
        RateCommand::List(args) => {
            let operation = args
                .operation
                .map(|name| ledger.operation(&name))
                .transpose()?;
            let mut rows = ledger.rates()?.rows();
            rows.retain(|row| {
                operation
                    .as_ref()
                    .is_none_or(|operation| operation.id == row.cell.operation)
            });
            rows.retain(|row| row.rooms > 0 || !args.learned);
            let (operations, page) = (ledger.operations_by_id()?, context.page(&ledger));
            context.answer(
                || rates_json(&rows, &operations, &page),
                || rates_text(&rows, &operations, &page),
            )
        }
        RateCommand::Set(args) => set(context, &ledger, &args),
    }
}

fn set(context: &Context, ledger: &Ledger, args: &SetArgs) -> Result<()> {
    let operation = ledger.operation(&args.operation)?;
    let cell = read_cell(&operation, args)?;
    let page = context.page(ledger);
    let driver_per_item = read_driver(&args.per, operation.driver, &page)?;
    let fixed = match &args.fixed {
        Some(text) => read_number(text, "a fixed amount")?,
        None => fixed_before(ledger, cell)?,
    };
    let Cell {
        operation: id,
        kind,
        condition,
        species,
    } = cell;
    let source = OWN_FIGURE.to_owned();
    let rate = BookRate {
        operation: id,
        condition,
        species,
        kind,
        driver_per_item,
        fixed,
        source,
    };
    let row = context.write(ledger, |writing| {
        writing.set_rate(&rate)?;
        row_of(writing, cell)
    })?;
    let (per, unit) = page.in_units(driver_per_item, operation.driver.unit());
    context.status(&format!(
        "Set the {kind} rate of {}: one does {}.",
        operation.name,
        amount(per, unit)
    ));
    context.answer_if_json(|| rate_json(&row, &operation, &page))
}

fn amount(per: Decimal, unit: Unit) -> String {
    let per = crate::money::plain(per, 4);
    if unit == Unit::Each {
        per
    } else {
        format!("{per} {unit}")
    }
}

/// Reads which rate is meant; what the operation's rates don't differ by is refused.
fn read_cell(operation: &Operation, args: &SetArgs) -> Result<Cell> {
    let kind: RateKind = args.kind.parse()?;
    if kind == RateKind::Item && operation.item.is_none() {
        return Err(
            Refusal::new(format!("`{}` takes no item, only hours", operation.name))
                .hint(format!(
                    "gritledger operation edit {} --item ITEM",
                    operation.name
                ))
                .into(),
        );
    }
    let condition = args
        .condition
        .as_deref()
        .map(str::parse::<FloorCondition>)
        .transpose()?;
    let species = args
        .species
        .as_deref()
        .map(str::parse::<Species>)
        .transpose()?;
    let differs = |what: &str, splits: &str| {
        Refusal::new(format!(
            "the rates of `{}` don't differ by {what}",
            operation.name
        ))
        .hint(format!(
            "gritledger operation edit {} --splits {splits}",
            operation.name
        ))
    };
    let (by_condition, by_species) = (
        operation.splits.by_condition(),
        operation.splits.by_species(),
    );
    if condition.is_some() && !by_condition {
        return Err(differs(
            "floor condition",
            if by_species { "both" } else { "condition" },
        )
        .into());
    }
    if species.is_some() && !by_species {
        return Err(differs("species", if by_condition { "both" } else { "species" }).into());
    }
    Ok(Cell {
        operation: operation.id,
        kind,
        condition,
        species,
    })
}

/// Reads an amount of what measures an operation, in canonical units.
fn read_driver(text: &str, driver: Driver, page: &Page) -> Result<Decimal> {
    if number(text).is_some_and(|amount| amount <= Decimal::ZERO) {
        refuse!("`{text}` is not above zero");
    }
    match driver {
        Driver::Area => Ok(Area::parse(text, page.units)?.square_feet()),
        Driver::Edge | Driver::Length => Ok(Length::parse(text, page.units)?.feet()),
        Driver::Count | Driver::Room | Driver::Job => read_number(text, "a number"),
    }
}

fn fixed_before(ledger: &Ledger, cell: Cell) -> Result<Decimal> {
    let Cell {
        operation,
        kind,
        condition,
        species,
    } = cell;
    let same = |rate: &&BookRate| {
        (rate.operation, rate.kind, rate.condition, rate.species)
            == (operation, kind, condition, species)
    };
    Ok(ledger
        .book()?
        .rows()
        .find(same)
        .map_or(Decimal::ZERO, |rate| rate.fixed))
}

fn row_of(ledger: &Ledger, cell: Cell) -> Result<RateRow> {
    match ledger
        .rates()?
        .rows()
        .into_iter()
        .find(|row| row.cell == cell)
    {
        Some(row) => Ok(row),
        None => refuse!("the rate was not kept"),
    }
}
