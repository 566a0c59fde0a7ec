//! `setting` and `tax-area`: what the firm has decided.

use anyhow::Result;
use clap::{Args, Subcommand};

use super::ui::Context;
use super::{read_date, read_percent};
use crate::document::book::{settings_json, settings_text, tax_areas_json, tax_areas_text};
use crate::ledger::{Ledger, refuse};
use crate::money::Decimal;

/// Manage settings: margin, burden, overhead, terms and defaults
#[derive(Debug, Subcommand)]
pub(super) enum SettingCommand {
    /// List the settings
    List,
    Show(ShowArgs),
    Set(SetArgs),
}

/// Show a setting
#[derive(Debug, Args)]
pub(super) struct ShowArgs {
    /// Its name
    name: String,
}

/// Set a setting; the value before stays in the record
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger setting set margin 40%")]
pub(super) struct SetArgs {
    /// Its name
    name: String,
    /// Its value
    #[arg(allow_hyphen_values = true)]
    value: String,
}

pub(super) fn cmd_setting(context: &Context, command: SettingCommand) -> Result<()> {
    let ledger = context.open()?;
    match command {
        SettingCommand::List => show_settings(context, &ledger, |_| true),
        SettingCommand::Show(args) => {
            ledger.setting(&args.name)?;
            show_settings(context, &ledger, |name| name.eq_ignore_ascii_case(args.name.trim()))
        }
        SettingCommand::Set(args) => {
            context.write(&ledger, |writing| writing.set_setting(&args.name, &args.value))?;
            context.status(&format!("Set {} to {}.", args.name.trim().to_lowercase(), args.value.trim()));
            if context.json() {
                show_settings(context, &ledger, |name| name.eq_ignore_ascii_case(args.name.trim()))?;
            }
            Ok(())
        }
    }
}

fn show_settings(context: &Context, ledger: &Ledger, wanted: impl Fn(&str) -> bool) -> Result<()> {
    let settings: Vec<_> = ledger.settings()?.into_iter().filter(|setting| wanted(&setting.name)).collect();
    let page = context.page(ledger);
    context.answer(|| settings_json(&settings), || settings_text(&settings, &page))
}

/// Manage tax areas: what is added to the price at which sites
#[derive(Debug, Subcommand)]
pub(super) enum TaxAreaCommand {
    Add(TaxAreaArgs),
    /// List the tax areas
    List,
    /// Show a tax area
    Show(ShowArgs),
    /// Set the rate of a tax area from a date on
    Set(TaxAreaArgs),
}

/// Add a tax area with its rate on the price
///
/// Rules differ by place and kind of work: confirm your own with its tax office.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger tax-area add \"Marsh County\" 8.25% --from 2026-01-01")]
pub(super) struct TaxAreaArgs {
    /// Its name
    name: String,
    /// Tax on the price
    #[arg(allow_hyphen_values = true)]
    percent: String,
    /// From when on (default: today)
    #[arg(long, value_name = "DATE")]
    from: Option<String>,
}

pub(super) fn cmd_tax_area(context: &Context, command: TaxAreaCommand) -> Result<()> {
    let ledger = context.open()?;
    let page = context.page(&ledger);
    match command {
        TaxAreaCommand::Add(args) => {
            let (percent, from) = read_rate(context, &args)?;
            context.write(&ledger, |writing| writing.add_tax_area(&args.name, percent, from))?;
            context.status(&format!("Added tax area {}.", args.name.trim()));
        }
        TaxAreaCommand::Set(args) => {
            let (area, (percent, from)) = (ledger.tax_area(&args.name)?, read_rate(context, &args)?);
            context.write(&ledger, |writing| writing.set_tax_rate(&area, percent, from))?;
            context.status(&format!("Set the rate of {} from {from}.", area.name));
        }
        TaxAreaCommand::List => {
            let areas = ledger.tax_areas()?;
            return context.answer(|| tax_areas_json(&areas), || tax_areas_text(&areas, &page));
        }
        TaxAreaCommand::Show(args) => {
            let areas = [ledger.tax_area(&args.name)?];
            return context.answer(|| tax_areas_json(&areas)[0].clone(), || tax_areas_text(&areas, &page));
        }
    }
    let areas = ledger.tax_areas()?;
    context.answer_if_json(|| tax_areas_json(&areas))
}

fn read_rate(context: &Context, args: &TaxAreaArgs) -> Result<(Decimal, chrono::NaiveDate)> {
    let percent = read_percent(&args.percent, "a percentage")? * Decimal::ONE_HUNDRED;
    if percent.is_sign_negative() || percent > Decimal::ONE_HUNDRED {
        refuse!("`{}` is not a percentage between 0 and 100", args.percent);
    }
    Ok((percent, read_date(args.from.as_deref(), context.today())?))
}
