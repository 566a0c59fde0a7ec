//! `today` and `report`: what is asked for now, and what it came to.

use std::cell::Cell;

use anyhow::Result;
use chrono::{Datelike, NaiveDate};
use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, Subcommand};

use super::list::{DaysArgs, NONE, OfClientArgs, RowsArgs, give_list, sorted};
use super::read::read_date;
use super::ui::Context;
use crate::document::Answer as _;
use crate::document::receivables::ReceivablesAnswer;
use crate::document::report::cash::CashAnswer;
use crate::document::report::causes::CausesAnswer;
use crate::document::report::consumables::ConsumablesAnswer;
use crate::document::report::explained::ExplainedAnswer;
use crate::document::report::margin::Margins;
use crate::document::report::overheads::OverheadsAnswer;
use crate::document::report::rentals::{RentalSums, RentalsAnswer};
use crate::document::report::today::TodayAnswer;
use crate::document::report::variance::{FURTHEST, VarianceAnswer};
use crate::document::report::work_in_hand::WorkInHandAnswer;
use crate::document::report::year::{MileageAnswer, YearAnswer};
use crate::document::showing::Showing;
use crate::ledger::{Days, Grouping, Job, Ledger, Refusal, Span, Which, refuse};
use crate::trade::bounds;

/// Show what today asks for: machines due, coats, quotes, money
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger today")]
pub(super) struct TodayArgs {}

/// Look back: margins, variances, causes, rentals, overheads, work in hand, the year
#[derive(Debug, Subcommand)]
pub(super) enum ReportCommand {
    Margin(MarginArgs),
    Variance(VarianceArgs),
    Causes(CausesArgs),
    Consumables(ConsumablesArgs),
    Rentals(RentalsArgs),
    Overheads(OverheadsArgs),
    Receivables(ReceivablesArgs),
    WorkInHand(WorkInHandArgs),
    Year(YearArgs),
}

/// Which jobs: by the day on which each was closed, or else begun or agreed.
#[derive(Debug, Args)]
struct JobsArgs {
    /// A job (can be repeated; default: every job)
    jobs: Vec<String>,
    #[command(flatten)]
    days: DaysArgs,
    #[command(flatten)]
    client: OfClientArgs,
}

impl JobsArgs {
    /// Tells whether days or a client were named.
    fn narrow(&self) -> bool {
        self.days.narrow() || self.client.narrows()
    }

    fn which(&self, context: &Context, ledger: &Ledger, open: bool) -> Result<Which> {
        Ok(Which {
            days: self.days.read(context, ledger)?,
            client: self.client.read(ledger)?,
            open,
        })
    }
}

/// Show quoted and actual margin, those furthest over their quote first
///
/// A room's part of what belongs to the whole job (rental, set-up, overhead) goes by its direct cost. A job counts on the
/// day on which it was closed, or else begun or agreed; a room counts as its own floor condition.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger report margin --by month\n  gritledger report margin --by room --top 5"
)]
pub(super) struct MarginArgs {
    #[command(flatten)]
    which: JobsArgs,
    /// Only jobs that aren't over
    #[arg(long)]
    open: bool,
    /// What each row is
    #[arg(long, value_name = "WHAT", default_value = "job", value_parser = one_of(Grouping::OF_MARGINS))]
    by: Grouping,
    #[command(flatten)]
    rows: RowsArgs,
}

/// Reads the words that a report can be told by.
fn one_of(can: &'static [Grouping]) -> impl TypedValueParser<Value = Grouping> {
    PossibleValuesParser::new(can.iter().map(|by| by.as_str())).try_map(|word| word.parse())
}

/// Show where a job's cost left its quote, or that of all jobs of a time, and why
///
/// By price and by quantity: of items, hours (rate and efficiency) and rentals (days, tariff and fixed charges). Of what was
/// used more or less, the part that the room's size explains, the part that its floor's condition does, and the rest: what
/// the quote would have said for the rooms as they turned out. A job of a time counts on the day on which it was closed.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger report variance J1\n  gritledger report variance --from 2026-01-01 --top 5"
)]
pub(super) struct VarianceArgs {
    /// The job (default: the only open one, or all of a time or client that is named)
    job: Option<String>,
    #[command(flatten)]
    days: DaysArgs,
    #[command(flatten)]
    client: OfClientArgs,
    /// How many lines of all jobs, the furthest first (default: 10)
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(1..))]
    top: Option<u32>,
    /// Every line, room by room, instead of those furthest from the quote
    #[arg(long)]
    all: bool,
}

/// Show what made jobs cost more or less than quoted, the largest causes first
///
/// Of every finished job with a quote, as far as it is recorded; a job counts on the day on which it was closed. What is
/// learned is counted on by the next quote once today's rates have gone at least half the way from what was quoted to what
/// was taken, for the same rooms; prices, wages and tariffs once today's book has. Ten causes, or as many as --top says; the
/// others are one sum.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger report causes\n  gritledger report causes --from 2026-01-01 --top 5"
)]
pub(super) struct CausesArgs {
    #[command(flatten)]
    days: DaysArgs,
    #[command(flatten)]
    client: OfClientArgs,
    #[command(flatten)]
    rows: RowsArgs,
}

/// Show quoted against used: sandpaper, finish and all else, those furthest over first
///
/// By item and operation, or by what `--by` names, each with its items and their sum. A job counts on the day on which it was
/// closed; what was used for a whole job stands in a row of its own where rooms are told.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger report consumables\n  gritledger report consumables --by grit\n  gritledger report consumables --by room --top 10"
)]
pub(super) struct ConsumablesArgs {
    #[command(flatten)]
    which: JobsArgs,
    /// Only jobs that aren't over, as far as they have come
    #[arg(long)]
    open: bool,
    /// What is added up
    #[arg(long, value_name = "WHAT", value_parser = one_of(Grouping::OF_CONSUMABLES))]
    by: Option<Grouping>,
    #[command(flatten)]
    rows: RowsArgs,
}

/// Show what rented machines cost, by machine and rental, with their idle days
///
/// A day is idle if the job that had the machine has no hours on it, but on others. Days on which the firm doesn't work
/// are told apart, and so are those of jobs without any hours. A rental counts on the day on which it went out, each of its
/// days with the job that had the machine.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger report rentals\n  gritledger report rentals --by job"
)]
pub(super) struct RentalsArgs {
    #[command(flatten)]
    days: DaysArgs,
    #[command(flatten)]
    client: OfClientArgs,
    /// Only machines that are still out
    #[arg(long)]
    open: bool,
    /// Only sums, by this
    #[arg(long, value_name = "WHAT", value_parser = one_of(Grouping::OF_RENTALS))]
    by: Option<Grouping>,
    #[command(flatten)]
    rows: RowsArgs,
}

/// Show what was logged of no job: insurance, tools, estimate visits
///
/// The entries, and their sums by what they were for and by month. They are in no job's cost.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger report overheads --from 2026-01-01\n  gritledger report overheads --sort cost --top 10"
)]
pub(super) struct OverheadsArgs {
    #[command(flatten)]
    days: DaysArgs,
    #[command(flatten)]
    rows: RowsArgs,
}

/// Show what clients owe, by its age, today or as it stood on a day
///
/// A day sees what had happened by then and was recorded by then. How one client's came about: client statement.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger report receivables --as-of 2026-03-31\n  gritledger report receivables --sort total --top 10"
)]
pub(super) struct ReceivablesArgs {
    /// The day (default: today)
    #[arg(long, value_name = "DATE")]
    as_of: Option<String>,
    #[command(flatten)]
    rows: RowsArgs,
}

/// Show how far each job under way has come by cost, what it earned and what it will keep
///
/// What is done is known by what is logged: a pass is over once a later one or a coat is begun in its room, what is begun
/// takes at least what is logged, and the rest is left, at the rates as they are learned today. A job that will cost more
/// than its price has the whole loss as its provision. Amounts are without tax. A day in the past sees what had happened and
/// was recorded by then; wages, prices and the book's own rates are those of today.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger report work-in-hand\n  gritledger report work-in-hand --as-of 2026-03-31 --sort provision\n  gritledger report work-in-hand --cash"
)]
pub(super) struct WorkInHandArgs {
    /// The day (default: today)
    #[arg(long, value_name = "DATE")]
    as_of: Option<String>,
    /// The money that these jobs are expected to move, week by week
    ///
    /// Out: wages, items, rentals and all else to come, over a job's days: those of its plan, from the day it is to begin,
    /// or one after another from today at crew-hours a working day. In: what is invoiced when it falls due, and the rest of
    /// the price with its tax when the invoice of the last day does.
    #[arg(long)]
    cash: bool,
    #[command(flatten)]
    client: OfClientArgs,
    #[command(flatten)]
    rows: RowsArgs,
}

/// Show what a year came to: revenue, costs, result, by month and by client
///
/// Then tax by area, wages, what was driven and what is on the shelf. Revenue is what was invoiced before tax less credit
/// notes, on the days of the invoices. With --close the figures are fixed for good, with all that was before: what is
/// recorded or taken back later counts on the day of its recording, and says what it corrects. A time is closed once it is
/// over, begins where the last one ended, and is never opened again.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger report year 2026\n  gritledger report year --from 2026-01-01 --to 2026-03-31 --by client\n  gritledger report year 2026 --mileage --csv\n  gritledger report year --from 2026-01-01 --to 2026-01-31 --close"
)]
pub(super) struct YearArgs {
    /// The year (default: this one)
    #[arg(value_name = "YEAR", conflicts_with_all = ["from", "to"], value_parser = clap::value_parser!(i32).range(1900..=2999))]
    year: Option<i32>,
    #[command(flatten)]
    days: DaysArgs,
    /// As it was known at the end of a day (default: today)
    #[arg(long, value_name = "DATE")]
    as_of: Option<String>,
    /// Only the figures by this
    #[arg(long, value_name = "WHAT", value_parser = one_of(&[Grouping::Month, Grouping::Client]))]
    by: Option<Grouping>,
    /// The log of what was driven, with days, places and purposes
    #[arg(long, conflicts_with = "by")]
    mileage: bool,
    /// Fix the figures for good
    #[arg(long, conflicts_with_all = ["by", "mileage", "as_of", "top", "sort"])]
    close: bool,
    #[command(flatten)]
    rows: RowsArgs,
}

impl YearArgs {
    /// Reads from which day to which: those of the year, this one's if nothing is said.
    fn read(&self, context: &Context, ledger: &Ledger) -> Result<(NaiveDate, NaiveDate)> {
        let days = self.days.read(context, ledger)?;
        let year = self.year.unwrap_or(ledger.today().year());
        let day = |month, day| NaiveDate::from_ymd_opt(year, month, day).unwrap_or(ledger.today());
        Ok(match days {
            Days {
                from: None,
                to: None,
            } => (day(1, 1), day(12, 31)),
            Days { from, to } => ledger.first_and_last(Days { from, to }),
        })
    }
}

pub(super) fn cmd_today(context: &Context, args: &TodayArgs) -> Result<()> {
    let TodayArgs {} = args;
    context.give_told::<TodayAnswer, _>(Ledger::what_today_asks)
}

pub(super) fn cmd_report(context: &Context, command: ReportCommand) -> Result<()> {
    match &command {
        ReportCommand::Year(args) if args.close => close(context, args),
        command => context.read(|ledger| report(context, ledger, command)),
    }
}

fn report(context: &Context, ledger: &Ledger, command: &ReportCommand) -> Result<()> {
    match command {
        ReportCommand::Margin(args) => margin(context, ledger, args),
        ReportCommand::Variance(args) => variance(context, ledger, args),
        ReportCommand::Causes(args) => causes(context, ledger, args),
        ReportCommand::Consumables(args) => consumables(context, ledger, args),
        ReportCommand::Rentals(args) => rentals(context, ledger, args),
        ReportCommand::Overheads(args) => overheads(context, ledger, args),
        ReportCommand::Receivables(args) => {
            let on = read_date(context, ledger, args.as_of.as_deref())?;
            let receivables =
                ReceivablesAnswer::new(ledger.receivables(on)?, &context.page(ledger));
            give_list(context, ledger, receivables, &args.rows, false)
        }
        ReportCommand::WorkInHand(args) => work_in_hand(context, ledger, args),
        ReportCommand::Year(args) => year(context, ledger, args),
    }
}

fn margin(context: &Context, ledger: &Ledger, args: &MarginArgs) -> Result<()> {
    let which = args.which.which(context, ledger, args.open)?;
    let jobs = jobs_named(ledger, &args.which.jobs)?;
    for name in &args.which.jobs {
        refuse_own(&ledger.job(name)?)?;
    }
    let mut margins = Margins::by(args.by, context.page(ledger));
    let with_rooms = matches!(args.by, Grouping::Room | Grouping::Condition);
    let passes = |job: &Job| which.has(job);
    let own = ledger.margins(&jobs, with_rooms, passes, |margin| {
        margins.add(margin);
        Ok(())
    })?;
    margins.leave_out(own);
    sorted(margins.show(&args.rows.showing()))?;
    let page = context.page(ledger);
    let none = args.open || args.which.narrow();
    context.give_in_words(ledger, margins, |margins| {
        match none && margins.is_empty() {
            true => NONE.to_owned(),
            false => margins.text(&page),
        }
    })
}

fn variance(context: &Context, ledger: &Ledger, args: &VarianceArgs) -> Result<()> {
    let page = context.page(ledger);
    if args.days.narrow() || args.client.narrows() || args.top.is_some() {
        return explained(context, ledger, args);
    }
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

/// Gives the variances of the jobs of a time, or of a client.
fn explained(context: &Context, ledger: &Ledger, args: &VarianceArgs) -> Result<()> {
    if let Some(job) = &args.job {
        let job = ledger.job(job)?.number;
        let words = format!("{job} is one job, and a time, a client or a count is of several");
        return Err(Refusal::new(words)
            .hint(format!("gritledger report variance {job}"))
            .into());
    }
    if args.all {
        refuse!("--all has every line of one job: of several jobs, say how many with --top");
    }
    let days = args.days.read(context, ledger)?;
    let which = Which {
        days,
        client: args.client.read(ledger)?,
        open: false,
    };
    let most = args.top.map_or(FURTHEST, |top| top as usize);
    let passes = |job: &Job| was_quoted_and_closed(job) && which.has(job);
    let explained = ledger.explained(most, passes)?;
    let answer = ExplainedAnswer::new(explained, days, &context.page(ledger));
    context.give(ledger, answer)
}

fn causes(context: &Context, ledger: &Ledger, args: &CausesArgs) -> Result<()> {
    let which = Which {
        days: args.days.read(context, ledger)?,
        client: args.client.read(ledger)?,
        open: false,
    };
    let passes = |job: &Job| was_quoted_and_closed(job) && which.has(job);
    let causes = ledger.causes(&[Span::EVERY], passes)?;
    let (page, showing) = (context.page(ledger), args.rows.showing());
    context.give(ledger, sorted(CausesAnswer::new(causes, &showing, &page))?)
}

fn consumables(context: &Context, ledger: &Ledger, args: &ConsumablesArgs) -> Result<()> {
    let which = args.which.which(context, ledger, args.open)?;
    let named = !args.which.jobs.is_empty() || args.open;
    let spans = jobs_named(ledger, &args.which.jobs)?;
    let jobs = Cell::new(0);
    let passes = |job: &Job| {
        let passes = (named || was_quoted_and_closed(job)) && which.has(job);
        jobs.set(jobs.get() + usize::from(passes));
        passes
    };
    let lines = ledger.consumables(&spans, args.by, passes)?;
    let (page, showing) = (context.page(ledger), args.rows.showing());
    let answer = ConsumablesAnswer::new(args.by, lines, jobs.get(), &showing, &page);
    context.give(ledger, sorted(answer)?)
}

fn rentals(context: &Context, ledger: &Ledger, args: &RentalsArgs) -> Result<()> {
    let page = context.page(ledger);
    let by = args.by.unwrap_or(Grouping::Machine);
    let rentals = ledger.rentals_that(&Which {
        days: args.days.read(context, ledger)?,
        client: args.client.read(ledger)?,
        open: args.open,
    })?;
    let sums = ledger.rental_sums(&rentals, by)?;
    if args.by.is_some() {
        let sums = RentalSums::new(by, sums, &args.rows.showing(), &page);
        return context.give(ledger, sorted(sums)?);
    }
    let sums = sorted(RentalSums::new(by, sums, &Showing::default(), &page))?;
    let unworked = ledger.unworked(&rentals)?;
    let rentals = RentalsAnswer::new(sums, rentals, unworked, &page);
    let narrowed = args.open || args.days.narrow() || args.client.narrows();
    give_list(context, ledger, rentals, &args.rows, narrowed)
}

fn overheads(context: &Context, ledger: &Ledger, args: &OverheadsArgs) -> Result<()> {
    let days = args.days.read(context, ledger)?;
    let first = days.from.unwrap_or(bounds::FIRST_DAY);
    let entries = ledger.overheads(first, days.to.unwrap_or(ledger.today()))?;
    let overheads = OverheadsAnswer::new(days.from, days.to, entries, &context.page(ledger));
    give_list(context, ledger, overheads, &args.rows, args.days.narrow())
}

fn work_in_hand(context: &Context, ledger: &Ledger, args: &WorkInHandArgs) -> Result<()> {
    let on = read_date(context, ledger, args.as_of.as_deref())?;
    if on > ledger.today() {
        refuse!("{on} is after today, {}", ledger.today());
    }
    let (client, page) = (args.client.read(ledger)?, context.page(ledger));
    if args.cash {
        let answer = CashAnswer::new(ledger.cash_in_hand(on, client)?, &page);
        return give_list(context, ledger, answer, &args.rows, args.client.narrows());
    }
    let answer = WorkInHandAnswer::new(ledger.work_in_hand(on, client)?, &page);
    give_list(context, ledger, answer, &args.rows, args.client.narrows())
}

fn year(context: &Context, ledger: &Ledger, args: &YearArgs) -> Result<()> {
    let (from, to) = args.read(context, ledger)?;
    let as_of = read_date(context, ledger, args.as_of.as_deref())?;
    if as_of > ledger.today() {
        refuse!("{as_of} is after today, {}", ledger.today());
    }
    let page = context.page(ledger);
    if args.mileage {
        let drives = ledger.drives(from, to, as_of)?;
        let mileage = MileageAnswer::new(drives, from, to, &page);
        return give_list(context, ledger, mileage, &args.rows, false);
    }
    let year = YearAnswer::new(
        ledger.year(from, to, as_of)?,
        args.by,
        ledger.today(),
        &page,
    );
    give_list(context, ledger, year, &args.rows, false)
}

/// Fixes the figures of a time, if that is meant.
fn close(context: &Context, args: &YearArgs) -> Result<()> {
    context.write(|writing| {
        let (from, to) = args.read(context, writing)?;
        writing.refuse_unclosable(from, to)?;
        context.confirm(&format!(
            "{from} to {to} is closed for good, with everything before it: its figures never change again"
        ))?;
        writing.close(from, to)?;
        context.status(&format!("Closed {from} to {to}."));
        let year = writing.year(from, to, writing.today())?;
        let year = YearAnswer::new(year, None, writing.today(), &context.page(writing));
        context.give(writing, year)
    })
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
