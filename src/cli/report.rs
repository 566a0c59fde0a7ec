//! `today` and `report`: what is asked for now, and what it came to.

use anyhow::Result;
use clap::{Args, Subcommand, ValueEnum};

use super::read::read_date;
use super::ui::Context;
use crate::document::Answer as _;
use crate::document::receivables::ReceivablesAnswer;
use crate::document::report::consumables::ConsumablesAnswer;
use crate::document::report::margin::{By, Margins};
use crate::document::report::overheads::OverheadsAnswer;
use crate::document::report::rentals::RentalsAnswer;
use crate::document::report::today::TodayAnswer;
use crate::document::report::variance::VarianceAnswer;
use crate::ledger::{Job, Ledger, Refusal, Span, refuse};
use crate::trade::bounds;

/// Show what today asks for: machines due, coats, quotes, money
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger today")]
pub(super) struct TodayArgs {}

/// Look back: margins, variances, consumables, rentals, costs of no job
#[derive(Debug, Subcommand)]
pub(super) enum ReportCommand {
    Margin(MarginArgs),
    Variance(VarianceArgs),
    Consumables(ConsumablesArgs),
    /// Show what rented machines cost, by machine and rental, with their idle days
    ///
    /// A day is idle if the job that had the machine has no hours on it, but on others. Days on which the firm doesn't work
    /// are told apart, and so are those of jobs without any hours.
    #[command(after_long_help = "Example:\n  gritledger report rentals")]
    Rentals,
    Overheads(OverheadsArgs),
    Receivables(ReceivablesArgs),
}

/// Show quoted and actual margin, by job, room, client or month
///
/// A room's part of what belongs to the whole job (rental, set-up, overhead) goes by its direct cost.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger report margin --by month")]
pub(super) struct MarginArgs {
    /// A job (can be repeated; default: every job)
    jobs: Vec<String>,
    /// What each row is
    #[arg(long, value_enum, default_value = "job")]
    by: Grouping,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Grouping {
    Job,
    Room,
    Client,
    Month,
}

/// Show where a job's cost left its quote: by price and by quantity
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger report variance J1")]
pub(super) struct VarianceArgs {
    /// The job (default: the only open one)
    job: Option<String>,
    /// Every line, room by room, instead of those furthest from the quote
    #[arg(long)]
    all: bool,
}

/// Show quoted against used, by item and operation, across jobs
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger report consumables")]
pub(super) struct ConsumablesArgs {
    /// A job (can be repeated; default: every closed job)
    jobs: Vec<String>,
}

/// Show what was logged of no job: insurance, tools, estimate visits
///
/// The entries, and their sums by what they were for and by month. They are in no job's cost.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger report overheads --from 2026-01-01")]
pub(super) struct OverheadsArgs {
    /// The first day (default: the first entry's)
    #[arg(long, value_name = "DATE")]
    from: Option<String>,
    /// The last day (default: today)
    #[arg(long, value_name = "DATE")]
    to: Option<String>,
}

/// Show what clients owe, by its age, today or as it stood on a day
///
/// A day sees what had happened by then and was recorded by then.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger report receivables --as-of 2026-03-31")]
pub(super) struct ReceivablesArgs {
    /// The day (default: today)
    #[arg(long, value_name = "DATE")]
    as_of: Option<String>,
}

pub(super) fn cmd_today(context: &Context, args: &TodayArgs) -> Result<()> {
    let TodayArgs {} = args;
    context.give_told::<TodayAnswer, _>(Ledger::what_today_asks)
}

pub(super) fn cmd_report(context: &Context, command: ReportCommand) -> Result<()> {
    context.read(|ledger| report(context, ledger, &command))
}

fn report(context: &Context, ledger: &Ledger, command: &ReportCommand) -> Result<()> {
    let page = context.page(ledger);
    match command {
        ReportCommand::Margin(args) => {
            let by = match args.by {
                Grouping::Job => By::Job,
                Grouping::Room => By::Room,
                Grouping::Client => By::Client,
                Grouping::Month => By::Month,
            };
            let mut margins = Margins::by(by, page);
            let jobs = jobs_named(ledger, &args.jobs)?;
            for name in &args.jobs {
                refuse_own(&ledger.job(name)?)?;
            }
            let own = ledger.margins(&jobs, by == By::Room, |margin| {
                margins.add(margin);
                Ok(())
            })?;
            margins.leave_out(own);
            context.give(ledger, margins)
        }
        ReportCommand::Variance(args) => {
            let job = ledger.job_or_only_open(args.job.as_deref())?;
            if job.before.is_some() {
                return Err(Refusal::new(format!(
                    "{} was agreed at one price before the ledger: there are no lines to compare",
                    job.title()
                ))
                .hint(format!("gritledger report margin {}", job.number))
                .into());
            }
            let answer = VarianceAnswer::new(ledger.variance_of(&job)?, &page);
            context.give_in_words(ledger, answer, |answer| match args.all {
                true => answer.all_text(&page),
                false => answer.text(&page),
            })
        }
        ReportCommand::Consumables(args) => {
            let named = !args.jobs.is_empty();
            let jobs = jobs_named(ledger, &args.jobs)?;
            let lines = ledger.consumables(&jobs, |job| named || was_quoted_and_closed(job))?;
            context.give(ledger, ConsumablesAnswer::new(lines, &page))
        }
        ReportCommand::Rentals => {
            let rentals = ledger.rentals()?;
            let unworked = ledger.unworked(&rentals)?;
            context.give(ledger, RentalsAnswer::new(rentals, unworked, &page))
        }
        ReportCommand::Overheads(args) => {
            let day = |text: &Option<String>| {
                let text = text.as_deref();
                text.map(|text| read_date(context, ledger, Some(text)))
                    .transpose()
            };
            let (from, to) = (day(&args.from)?, day(&args.to)?);
            if let Some((from, to)) = from.zip(to).filter(|(from, to)| from > to) {
                refuse!("{from} is after {to}: no day is in that time");
            }
            let first = from.unwrap_or(bounds::FIRST_DAY);
            let entries = ledger.overheads(first, to.unwrap_or(ledger.today()))?;
            context.give(ledger, OverheadsAnswer::new(from, to, entries, &page))
        }
        ReportCommand::Receivables(args) => {
            let on = read_date(context, ledger, args.as_of.as_deref())?;
            context.give(
                ledger,
                ReceivablesAnswer::new(ledger.receivables(on)?, &page),
            )
        }
    }
}

/// Nobody pays for work on the owner's own floors: it has a cost, and no margin.
fn refuse_own(job: &Job) -> Result<()> {
    if !job.own {
        return Ok(());
    }
    Err(Refusal::new(format!(
        "{} is work on your own floors, at cost",
        job.number
    ))
    .hint(format!("gritledger report variance {}", job.number))
    .into())
}

/// A job from before the ledger has no quoted items to set what it used beside.
fn was_quoted_and_closed(job: &Job) -> bool {
    job.is_closed() && job.before.is_none()
}

/// Returns the jobs named, or every job.
fn jobs_named(ledger: &Ledger, names: &[String]) -> Result<Vec<Span>> {
    if names.is_empty() {
        return Ok(vec![Span::EVERY]);
    }
    let mut jobs = Vec::new();
    for name in names {
        let job = ledger.job(name)?.id;
        if !jobs.contains(&job) {
            jobs.push(job);
        }
    }
    Ok(jobs.into_iter().map(Span::from).collect())
}
