//! `item`.

use anyhow::{Context as _, Result};
use clap::{Args, Subcommand};

use super::book::{AllArgs, InUseArgs, change_use, read_price_of};
use super::people::is_none;
use super::read::{read_length, read_number};
use super::ui::Context;
use crate::document::book::{ItemAnswer, ItemList};
use crate::document::cover::{BasketAnswer, CuttingAnswer};
use crate::ledger::{
    BookItem, InBook, Ledger, NewItem, OWN_FIGURE, Pack, Refusal, read_saw_loss, refuse, typed,
};
use crate::measure::Length;
use crate::money::{Decimal, MOST_UNITS, plain};
use crate::trade::Unit;
use crate::trade::bounds::{MOST_OFF_CUTS, MOST_PIECES};
use crate::trade::buying::{cheapest_packs, sticks};
use crate::trade::cutting::{Aim, Stock, TooLong, cut};

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

/// After an event, the JSON answer is the item as it stands; people were told in a sentence.
fn tell_item(context: &Context, ledger: &Ledger, item: BookItem) -> Result<()> {
    context.give_json(|| Ok(ItemAnswer::new(item, &context.page(ledger))))
}
