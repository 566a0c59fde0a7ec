//! `setting`, `tax-area` and `account`: figures that quotes and invoices start from, and what accounts are called.

use anyhow::Result;
use clap::{Args, Subcommand};

use super::read::{read_date, read_margin, read_percent};
use super::ui::Context;
use crate::document::accounts::{AccountAnswer, AccountList};
use crate::document::book::{SettingAnswer, SettingList, TaxAreaAnswer, TaxAreaList};
use crate::ledger::{Ledger, TaxArea, rates_text};
use crate::money::Decimal;
use crate::trade::tax::TaxedKind;

/// Manage settings: margin, burden, deposit and the like
#[derive(Debug, Subcommand)]
pub(super) enum SettingCommand {
    List(SettingListArgs),
    Show(SettingArgs),
    Set(SettingSetArgs),
}

/// List the settings, or those whose name has a word in it
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger setting list firm")]
pub(super) struct SettingListArgs {
    /// A word of the names
    word: Option<String>,
}

/// Show a setting, with where its value comes from
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger setting show margin")]
pub(super) struct SettingArgs {
    /// The setting
    #[arg(value_name = "SETTING")]
    name: String,
}

/// Set a setting; the value before stays in the record
///
/// Quotes and invoices that were written before keep theirs.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger setting set margin 38%")]
pub(super) struct SettingSetArgs {
    /// The setting
    #[arg(value_name = "SETTING")]
    name: String,
    /// Its value
    #[arg(allow_hyphen_values = true)]
    value: String,
}

/// Manage tax areas: places with their own tax on the price
#[derive(Debug, Subcommand)]
pub(super) enum TaxAreaCommand {
    Add(TaxAreaAddArgs),
    /// List the tax areas
    #[command(after_long_help = "Example:\n  gritledger tax-area list")]
    List,
    Show(TaxAreaArgs),
    Set(TaxAreaSetArgs),
}

/// Add a tax area
///
/// Whether floor work is taxed, and how, differs by place: confirm your own rules.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger tax-area add \"Harrow County\" 6.25%\n  gritledger tax-area add \"Tarn County\" 0% --bought 7.25%"
)]
pub(super) struct TaxAreaAddArgs {
    /// The name; no other tax area has it
    name: String,
    /// Tax, percent of the price
    #[arg(allow_hyphen_values = true)]
    percent: String,
    #[command(flatten)]
    kinds: KindsArgs,
}

/// Rates of kinds of lines, and from when on
#[derive(Debug, Args)]
struct KindsArgs {
    /// Tax on labour, if it is another
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    labour: Option<String>,
    /// Tax on materials sold with the work, if it is another
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    materials: Option<String>,
    /// Tax on rentals passed on, if it is another
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    rental: Option<String>,
    /// Tax on materials that you buy, where it is your cost: it is added to their prices
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    bought: Option<String>,
    /// The first day it holds (default: today)
    #[arg(long, value_name = "DATE")]
    from: Option<String>,
}

impl KindsArgs {
    /// Reads what is typed: a rate of the whole price, then those of kinds of lines.
    fn read(&self, ledger: &Ledger, price: Option<&str>) -> Result<Vec<(TaxedKind, Decimal)>> {
        let typed = [
            (TaxedKind::Price, price),
            (TaxedKind::Labour, self.labour.as_deref()),
            (TaxedKind::Materials, self.materials.as_deref()),
            (TaxedKind::Rental, self.rental.as_deref()),
            (TaxedKind::Bought, self.bought.as_deref()),
        ];
        let typed = typed.into_iter();
        let typed = typed.filter_map(|(kind, text)| text.map(|text| (kind, text)));
        typed
            .map(|(kind, text)| Ok((kind, read_tax(ledger, text)?)))
            .collect()
    }
}

/// Show a tax area with every rate it had
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger tax-area show \"Harrow County\"")]
pub(super) struct TaxAreaArgs {
    /// The tax area
    #[arg(value_name = "AREA")]
    name: String,
}

/// Set the tax of an area from a date on
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger tax-area set \"Harrow County\" 6.5% --from 2026-07-01"
)]
pub(super) struct TaxAreaSetArgs {
    /// The tax area
    #[arg(value_name = "AREA")]
    name: String,
    /// Tax, percent of the price
    #[arg(
        allow_hyphen_values = true,
        required_unless_present_any = ["labour", "materials", "rental", "bought"]
    )]
    percent: Option<String>,
    #[command(flatten)]
    kinds: KindsArgs,
}

/// Manage accounts: what the firm calls those that its figures add up in
#[derive(Debug, Subcommand)]
pub(super) enum AccountCommand {
    /// List the accounts, with what each holds
    #[command(after_long_help = "Example:\n  gritledger account list")]
    List,
    Rename(AccountRenameArgs),
}

/// Call an account something else, in exports from now on
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger account rename money \"Current account\"")]
pub(super) struct AccountRenameArgs {
    /// The account, by its word or by what it is called
    account: String,
    /// What it is called from now on; no other account is
    #[arg(value_name = "WORDS")]
    name: String,
}

pub(super) fn cmd_account(context: &Context, command: AccountCommand) -> Result<()> {
    match command {
        AccountCommand::List => context.give_told::<AccountList, _>(Ledger::accounts),
        AccountCommand::Rename(args) => context.write(|writing| {
            let account = writing.account(&args.account)?.account;
            let row = writing.rename_account(account, &args.name)?;
            context.status(&format!(
                "The account {} is called {}.",
                row.account, row.name
            ));
            context.give_json(|| Ok(AccountAnswer::new(row, &context.page(writing))))
        }),
    }
}

pub(super) fn cmd_setting(context: &Context, command: SettingCommand) -> Result<()> {
    match command {
        SettingCommand::List(args) => context.give_told::<SettingList, _>(|ledger| {
            ledger.settings_named(args.word.as_deref().unwrap_or_default())
        }),
        SettingCommand::Show(args) => {
            context.give_told::<SettingAnswer, _>(|ledger| ledger.setting(&args.name))
        }
        SettingCommand::Set(args) => set(context, &args),
    }
}

fn set(context: &Context, args: &SettingSetArgs) -> Result<()> {
    context.write(|writing| {
        if args.name.trim().eq_ignore_ascii_case("margin") {
            read_margin(context, writing, &args.value)?;
        }
        // A list of days keeps its commas; what can't be read as it stands may be a figure with a decimal comma.
        let plain = writing.notation().plain(&args.value);
        let as_typed = writing.set_setting(&args.name, &args.value);
        if let Err(error) = as_typed {
            match plain == args.value {
                true => return Err(error),
                false => writing.set_setting(&args.name, &plain)?,
            };
        }
        let setting = writing.setting(&args.name)?;
        context.status(&format!("Set {} to {}.", setting.name, setting.value));
        context.give_json(|| Ok(SettingAnswer::new(setting, &context.page(writing))))
    })
}

pub(super) fn cmd_tax_area(context: &Context, command: TaxAreaCommand) -> Result<()> {
    let today = context.today();
    match command {
        TaxAreaCommand::Add(args) => add_tax_area(context, &args),
        TaxAreaCommand::List => context.read(|ledger| {
            context.give(
                ledger,
                TaxAreaList::new(ledger.tax_areas()?, today, &context.page(ledger)),
            )
        }),
        TaxAreaCommand::Show(args) => context.read(|ledger| {
            let area = ledger.tax_area(&args.name)?;
            context.give(
                ledger,
                TaxAreaAnswer::new(area, today, &context.page(ledger)),
            )
        }),
        TaxAreaCommand::Set(args) => set_tax(context, &args),
    }
}

fn add_tax_area(context: &Context, args: &TaxAreaAddArgs) -> Result<()> {
    context.write(|writing| {
        let rates = args.kinds.read(writing, Some(&args.percent))?;
        let from = read_date(context, writing, args.kinds.from.as_deref())?;
        writing.add_tax_area(&args.name, &rates, from)?;
        let area = writing.tax_area(&args.name)?;
        context.status(&format!(
            "Added tax area {} at {} from {from}.",
            area.name,
            rates_text(&rates)
        ));
        tell(context, writing, area)
    })
}

fn set_tax(context: &Context, args: &TaxAreaSetArgs) -> Result<()> {
    context.write(|writing| {
        let rates = args.kinds.read(writing, args.percent.as_deref())?;
        let from = read_date(context, writing, args.kinds.from.as_deref())?;
        let area = writing.tax_area(&args.name)?;
        writing.set_tax_rates(&area, &rates, from)?;
        let area = writing.tax_area(&area.name)?;
        context.status(&format!(
            "Set tax in {} to {} from {from}.",
            area.name,
            rates_text(&rates)
        ));
        tell(context, writing, area)
    })
}

/// After an event, the JSON answer is the area as it stands; people were told in a sentence.
fn tell(context: &Context, ledger: &Ledger, area: TaxArea) -> Result<()> {
    context.give_json(|| {
        Ok(TaxAreaAnswer::new(
            area,
            context.today(),
            &context.page(ledger),
        ))
    })
}

/// Reads a tax as percent: `8.25%` or `8.25`.
fn read_tax(ledger: &Ledger, text: &str) -> Result<Decimal> {
    Ok(read_percent(ledger, text, "a percentage")? * Decimal::ONE_HUNDRED)
}
