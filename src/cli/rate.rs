//! `rate`: what one disc, gallon or hour does, by the book and by experience.

use anyhow::Result;
use clap::{Args, Subcommand};

use super::read_number;
use super::ui::Context;
use crate::document::book::{rates_json, rates_text};
use crate::ledger::{Ledger, OWN_FIGURE, refuse};
use crate::money::Decimal;
use crate::trade::rates::{BookRate, RateKind, RateRow};
use crate::trade::{FloorCondition, Species};

/// Manage rates: how far a disc, a gallon or an hour goes
#[derive(Debug, Subcommand)]
pub(super) enum RateCommand {
    List(ListArgs),
    Set(SetArgs),
}

/// List book rates beside what finished rooms took, and what was learned
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger rate list --operation rotary-36")]
pub(super) struct ListArgs {
    /// Only those of an operation
    #[arg(long)]
    operation: Option<String>,
    /// Only those that finished rooms have taught
    #[arg(long)]
    learned: bool,
}

/// Set a book rate; the one before stays in the record
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger rate set rotary-36 --kind item --per 8.5 --fixed 0.9 --condition worn-film")]
pub(super) struct SetArgs {
    /// The operation
    operation: String,
    /// What it counts: item or hours
    #[arg(long, default_value = "item")]
    kind: RateKind,
    /// Square feet, feet or counts per single item, or per hour
    #[arg(long, value_name = "N", allow_hyphen_values = true)]
    per: String,
    /// Items or hours for each room and pass, whatever its size
    #[arg(long, value_name = "N", default_value = "0", allow_hyphen_values = true)]
    fixed: String,
    /// Only on floors of this condition
    #[arg(long)]
    condition: Option<FloorCondition>,
    /// Only on this wood
    #[arg(long)]
    species: Option<Species>,
}

pub(super) fn cmd_rate(context: &Context, command: RateCommand) -> Result<()> {
    let ledger = context.open()?;
    match command {
        RateCommand::List(args) => {
            let operation = args.operation.map(|name| ledger.operation(&name)).transpose()?;
            show(context, &ledger, |row| {
                operation.as_ref().is_none_or(|operation| operation.id == row.cell.operation) && (!args.learned || row.rooms > 0)
            })
        }
        RateCommand::Set(args) => {
            let operation = ledger.operation(&args.operation)?;
            if args.kind == RateKind::Item && operation.item.is_none() {
                refuse!("{} takes no item", operation.name);
            }
            let splits = operation.splits;
            if (args.condition.is_some() && !splits.by_condition()) || (args.species.is_some() && !splits.by_species()) {
                refuse!("the rates of {} differ by {splits}: gritledger operation edit {} --splits both changes that", operation.name, operation.name);
            }
            let rate = BookRate {
                operation: operation.id,
                condition: args.condition,
                species: args.species,
                kind: args.kind,
                driver_per_item: read_number(&args.per, "a rate")?,
                fixed: read_number(&args.fixed, "a fixed amount")?,
                source: OWN_FIGURE.to_owned(),
            };
            if rate.driver_per_item <= Decimal::ZERO {
                refuse!("a rate is above zero: `{}`", args.per);
            }
            context.write(&ledger, |writing| writing.set_rate(&rate))?;
            context.status(&format!("Set the {} rate of {}.", args.kind, operation.name));
            show(context, &ledger, |row| row.cell.operation == operation.id)
        }
    }
}

fn show(context: &Context, ledger: &Ledger, wanted: impl Fn(&RateRow) -> bool) -> Result<()> {
    let rows: Vec<RateRow> = ledger.rates()?.rows().into_iter().filter(wanted).collect();
    let (operations, page) = (ledger.operations_by_id()?, context.page(ledger));
    context.answer(|| rates_json(&rows, &operations, &page), || rates_text(&rows, &operations, &page))
}
