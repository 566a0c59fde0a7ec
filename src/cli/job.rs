//! `job`: from agreed to closed.

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Result;
use chrono::NaiveDate;
use clap::{Args, Subcommand};

use super::list::{DaysArgs, OfClientArgs, RowsArgs, give_list};
use super::quote::warn_of_no_rate;
use super::read::{MethodArgs, confirm_day, read_date, read_plan_date};
use super::ui::Context;
use crate::document::close::{CloseAnswer, quoted_chance};
use crate::document::job::{JobAnswer, Jobs};
use crate::document::outlook::ShoppingAnswer;
use crate::document::plan::dates::{DatesAnswer, Moved};
use crate::document::plan::words::twice_words;
use crate::document::quote::QuoteAnswer;
use crate::document::rate::moved::RateMovedFacts;
use crate::document::{Page, View};
use crate::ledger::{Barred, DraftRequest, Job, JobState, KeptPlan, Ledger, Which, Writing};
use crate::money::Money;
use crate::trade::OperationId;
use crate::trade::operation::Operation;
use crate::trade::rates::RateMoved;

/// Manage jobs: accepted quotes being done
#[derive(Debug, Subcommand)]
pub(super) enum JobCommand {
    List(JobListArgs),
    /// Show a job with its day book
    #[command(after_long_help = "Examples:\n  gritledger job show J1\n  gritledger job show ada")]
    Show(JobArgs),
    Own(OwnArgs),
    Start(StartArgs),
    /// Close a job: what was logged becomes evidence for the rates
    ///
    /// Lists what the record leaves out. Refuses only while a machine is out. At a terminal it asks once whether what the
    /// quote wasn't sure of turned up; finding edit --turned-up says it as well.
    #[command(after_long_help = "Example:\n  gritledger job close J1")]
    Close(JobArgs),
    Reopen(ReopenArgs),
    Cancel(CancelArgs),
    Dates(DatesArgs),
    /// List what is still to be bought for a job, in the cheapest packs
    ///
    /// What was agreed needs, less what the job has used, less what is in stock.
    #[command(after_long_help = "Example:\n  gritledger job buy J1")]
    Buy(JobArgs),
}

/// List the jobs
///
/// A job counts on the day on which it was closed, or else begun or agreed.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger job list --open\n  gritledger job list --sort billed --top 10"
)]
pub(super) struct JobListArgs {
    #[command(flatten)]
    days: DaysArgs,
    #[command(flatten)]
    client: OfClientArgs,
    /// Only jobs that aren't over
    #[arg(long)]
    open: bool,
    #[command(flatten)]
    rows: RowsArgs,
}

#[derive(Debug, Args)]
pub(super) struct JobArgs {
    /// The job, such as J1 (default: the only open one)
    job: Option<String>,
}

/// Begin work on your own floors, at cost: nothing to send, accept or bill
///
/// Plans the rooms, names what they cost and what to buy, and opens the day book. Your hours are counted and cost nothing;
/// somebody you pay is money spent. Rates learn of what it takes, as of any other job.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger job own \"8 Reed Lane\" --room Den")]
pub(super) struct OwnArgs {
    /// The site's address
    site: String,
    /// A room to be done (can be repeated; default: all that are refinished and in no job)
    #[arg(long = "room", value_name = "ROOM")]
    rooms: Vec<String>,
    #[command(flatten)]
    methods: MethodArgs,
    /// When it was begun: a date, or yesterday (default: today)
    #[arg(long)]
    date: Option<String>,
}

/// Begin a job
///
/// Work that is logged on a job begins it, too: this is for the day on which it began, if that is another.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger job start J1")]
pub(super) struct StartArgs {
    /// The job
    job: String,
    /// When it was begun: a date, or yesterday (default: today)
    #[arg(long)]
    date: Option<String>,
}

/// Open a closed job again; no rate learns of it until it is closed again
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger job reopen J1")]
pub(super) struct ReopenArgs {
    /// The job
    job: String,
}

/// Take a job back: the client withdrew, or it can't be done
///
/// Its rooms are free again. What is invoiced stays income and what was logged stays its cost; the rest of the price is no
/// income any more.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger job cancel J2 --reason \"the client withdrew\""
)]
pub(super) struct CancelArgs {
    /// The job
    job: String,
    /// Why
    #[arg(long)]
    reason: String,
}

/// Show the dates of a planned job, or plan the rest again after a lost day or a variation
///
/// What has begun goes on, one working day later after a lost day; the rest is planned anew, as it is agreed by then.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  gritledger job dates J1 --lost 2026-03-11
  gritledger job dates J1 --start 2026-03-23
  gritledger job dates J1 --varied")]
pub(super) struct DatesArgs {
    /// The job, such as J1 (default: the only open one)
    job: Option<String>,
    /// A day on which nothing could be done: rain, a slow coat, a sick crew (can be repeated)
    #[arg(long, value_name = "DATE")]
    lost: Vec<String>,
    /// Begin on this day or later instead, while no hours are logged yet
    #[arg(long, value_name = "DATE", conflicts_with = "lost")]
    start: Option<String>,
    /// Plan it as variations have left it: without the rooms that were taken away, with those that came
    #[arg(long, conflicts_with_all = ["lost", "start"])]
    varied: bool,
}

pub(super) fn cmd_job(context: &Context, command: JobCommand) -> Result<()> {
    match command {
        JobCommand::List(args) => context.read(|ledger| {
            let which = Which {
                days: args.days.read(context, ledger)?,
                client: args.client.read(ledger)?,
                open: args.open,
            };
            let (mut jobs, billed) = (ledger.jobs()?, ledger.billed()?);
            jobs.retain(|job| which.has(job));
            let jobs = Jobs::new(jobs, &billed, &context.page(ledger));
            let narrowed = args.open || args.days.narrow() || args.client.narrows();
            give_list(context, ledger, jobs, &args.rows, narrowed)
        }),
        JobCommand::Show(args) => context.read(|ledger| {
            let job = ledger.job_or_only_open(args.job.as_deref())?;
            context.give(ledger, job_answer(context, ledger, job)?)
        }),
        JobCommand::Own(args) => own(context, &args),
        JobCommand::Start(args) => start(context, &args),
        JobCommand::Close(args) => close(context, &args),
        JobCommand::Buy(args) => context.read(|ledger| {
            let job = ledger.job_or_only_open(args.job.as_deref())?;
            let (list, page) = (ledger.shopping_for_job(&job)?, context.page(ledger));
            context.give(ledger, ShoppingAnswer::new(job.number, list, &page))
        }),
        JobCommand::Dates(args) => dates(context, &args),
        JobCommand::Cancel(args) => cancel(context, &args),
        JobCommand::Reopen(args) => context.write(|writing| {
            let job = writing.job(&args.job)?;
            writing.reopen_job(&job)?;
            context.status(&format!("{} is open again.", job.number));
            show_if_json(context, writing, &job)
        }),
    }
}

/// Returns what is told of rates that moved.
fn moved_facts(
    moved: &[RateMoved],
    operations: &BTreeMap<OperationId, Operation>,
    page: &Page,
) -> Vec<RateMovedFacts> {
    let facts = moved.iter().filter_map(|moved| {
        let operation = operations.get(&moved.after.cell.operation)?;
        Some(RateMovedFacts::new(moved, operation, page))
    });
    facts.collect()
}

fn close(context: &Context, args: &JobArgs) -> Result<()> {
    let (job, unanswered) = context.read(|ledger| {
        let job = ledger.job_or_only_open(args.job.as_deref())?;
        ledger.refuse_to_close(&job)?;
        let unanswered = ledger.unanswered(&job)?;
        Ok((job, unanswered))
    })?;
    let mut answers = Vec::new();
    for (finding, operation) in &unanswered {
        let chance = quoted_chance(finding, operation);
        let did = context.ask_if_known(&format!("{chance}: did it turn up?"))?;
        answers.push((finding.id, chance, did));
    }
    context.write(|writing| {
        for (id, _, did) in &answers {
            if let Some(did) = did {
                writing.say_turned_up(*id, *did)?;
            }
        }
        let before = writing.rates()?;
        let found = writing.close_job(&job)?;
        let (job, page) = (writing.job_by_id(job.id)?, context.page(writing));
        let moved = writing.moved_by(&job, &before)?;
        let moved = moved_facts(&moved, before.operations(), &page);
        let is_billed = job.quote_id.is_none() || writing.left_to_invoice(&job)? <= Money::ZERO;
        let next = match job.own || is_billed {
            true => format!("gritledger report variance {}", job.number),
            false => format!("gritledger invoice final {} --issue", job.number),
        };
        context.give(writing, CloseAnswer::new(found, job, moved, &page))?;
        context.hint(&next);
        for (id, chance, _) in answers.iter().filter(|(.., did)| did.is_none()) {
            context.status(&format!("{chance}: nobody has said whether it turned up."));
            context.hint(&format!("gritledger finding edit {} --turned-up yes", id.0));
        }
        Ok(())
    })
}

fn own(context: &Context, args: &OwnArgs) -> Result<()> {
    context.write(|writing| {
        let on = read_date(context, writing, args.date.as_deref())?;
        let site = writing.site(&args.site)?;
        confirm_day(context, on, None)?;
        let request = DraftRequest {
            rooms: args.rooms.clone(),
            methods: args.methods.read()?,
            ..DraftRequest::default()
        };
        let (drafted, job) = writing.begin_own(&site, request, on)?;
        for warning in &drafted.warnings {
            context.warn(warning);
        }
        let page = context.page(writing);
        context.status(&format!("{} at {} is open.", job.number, job.site));
        context.give(writing, QuoteAnswer::new(drafted.sheet, View::Owner, &page))?;
        warn_of_no_rate(context, writing.own_driving_left_out(&site)?);
        context.hint(&format!("gritledger job buy {}", job.number));
        Ok(())
    })
}

fn start(context: &Context, args: &StartArgs) -> Result<()> {
    context.write(|writing| {
        let on = read_date(context, writing, args.date.as_deref())?;
        let job = writing.job(&args.job)?;
        confirm_day(context, on, None)?;
        begin(context, writing, &job, on)?;
        if let Some(kept) = writing.plan_of_job(&job)? {
            warn_of_past_dates(context, &job, &kept);
        }
        show_if_json(context, writing, &job)
    })
}

fn begin(context: &Context, writing: &Writing<'_>, job: &Job, on: NaiveDate) -> Result<()> {
    writing.start_job(job, on)?;
    context.status(&format!("{} at {} is open.", job.number, job.site));
    warn_of_barred(context, &writing.barred_of(job)?);
    warn_of_cancellation(context, writing, job, on)
}

/// Warns of rooms that aren't to be ground by what is known of them.
pub(super) fn warn_of_barred(context: &Context, barred: &[Barred]) {
    for barred in barred {
        context.warn(&barred.to_string());
        context.hint(&barred.check);
    }
}

/// Returns a job that work is logged on: one that is only agreed has begun with that.
pub(super) fn begun_by_work(
    context: &Context,
    writing: &Writing<'_>,
    job: Job,
    on: NaiveDate,
) -> Result<Job> {
    if job.state != JobState::Agreed {
        return Ok(job);
    }
    begin(context, writing, &job, on)?;
    if let Some(kept) = writing.plan_of_job(&job)? {
        warn_of_lost_days(context, &job, &kept, on);
    }
    writing.job_by_id(job.id)
}

/// Warns of days of a plan on which nothing can have been done, since work began after them.
fn warn_of_lost_days(context: &Context, job: &Job, kept: &KeptPlan, begun: NaiveDate) {
    let work = kept.plan.phases.iter().flat_map(|phase| &phase.work);
    let days: BTreeSet<NaiveDate> = work.map(|stretch| stretch.day).collect();
    let lost: Vec<NaiveDate> = days.into_iter().filter(|day| *day < begun).collect();
    if let Some(first) = lost.first() {
        let number = &job.number;
        context.warn(&format!(
            "its plan begins on {first}, and {number} on {begun}"
        ));
        let lost = lost.iter().map(|day| format!(" --lost {day}"));
        context.hint(&format!(
            "gritledger job dates {number}{}",
            lost.collect::<String>()
        ));
    }
}

fn dates(context: &Context, args: &DatesArgs) -> Result<()> {
    if !args.lost.is_empty() || args.start.is_some() || args.varied {
        return change_dates(context, args);
    }
    context.read(|ledger| {
        let job = ledger.job_or_only_open(args.job.as_deref())?;
        let kept = ledger.kept_plan_of_job(&job)?;
        if !job.is_over() && warn_of_outdated(context, ledger, &job, &kept)? {
            context.hint(&format!("gritledger job dates {} --varied", job.number));
        }
        let answer = DatesAnswer::new(kept, None, &context.page(ledger));
        context.give(ledger, answer)
    })
}

fn read_lost(context: &Context, ledger: &Ledger, texts: &[String]) -> Result<Vec<NaiveDate>> {
    let mut lost = Vec::new();
    for text in texts {
        let day = read_date(context, ledger, Some(text))?;
        if !lost.contains(&day) {
            lost.push(day);
        }
    }
    Ok(lost)
}

/// Plans the rest of a job again: from a later start, as it was varied, else after days that were lost.
fn change_dates(context: &Context, args: &DatesArgs) -> Result<()> {
    context.write(|writing| {
        let lost = read_lost(context, writing, &args.lost)?;
        let start = args.start.as_deref();
        let start = start
            .map(|text| read_plan_date(context, writing, text))
            .transpose()?;
        let job = writing.job_or_only_open(args.job.as_deref())?;
        let before = writing.kept_plan_of_job(&job)?;
        let progress = context.progress();
        let why = match start {
            Some(start) => writing.begin_on(&job, start, &progress)?,
            None if args.varied => writing.plan_as_varied(&job, &progress)?,
            None => writing.lose_days(&job, &lost, &progress)?,
        };
        let kept = writing.kept_plan_of_job(&job)?;
        let moved = Moved {
            before: before.plan,
            why,
        };
        let answer = DatesAnswer::new(kept, Some(moved), &context.page(writing));
        context.give(writing, answer)?;
        warn_of_promises(context, writing, &job)?;
        for entry in writing.day_book_of(&job)?.entries {
            if entry.kind == "hours" && !entry.voided && lost.contains(&entry.happened_on) {
                context.warn(&format!(
                    "{} logs hours on {}, which is told as lost",
                    entry.number, entry.happened_on
                ));
            }
        }
        context.hint(&format!(
            "gritledger plan write {} --format ics --to FILE",
            job.number
        ));
        Ok(())
    })
}

/// Warns of what a job's plan promises for days on which another's does too.
pub(super) fn warn_of_promises(context: &Context, ledger: &Ledger, job: &Job) -> Result<()> {
    for twice in ledger.promised_beside(job)? {
        context.warn(twice_words(&twice).trim_end_matches('.'));
    }
    Ok(())
}

/// Warns of rooms that the plan of a job still has, and of those that it doesn't have; tells whether there are any.
pub(super) fn warn_of_outdated(
    context: &Context,
    ledger: &Ledger,
    job: &Job,
    kept: &KeptPlan,
) -> Result<bool> {
    let outdated = ledger.outdated(job, kept)?;
    for room in &outdated.gone {
        context.warn(&format!(
            "the plan of {} still has `{room}` in it: its days are free",
            job.number
        ));
    }
    for room in &outdated.new {
        context.warn(&format!(
            "the plan of {} doesn't have `{room}` in it: no day is promised for it",
            job.number
        ));
    }
    Ok(!outdated.is_empty())
}

/// Warns of a plan that begins before today: its dates can't be kept any more.
pub(super) fn warn_of_past_dates(context: &Context, job: &Job, kept: &KeptPlan) {
    let begins = kept
        .plan
        .phases
        .first()
        .and_then(|phase| phase.work.first());
    if let Some(begins) = begins.filter(|begins| begins.day < context.today()) {
        context.warn(&format!(
            "its plan begins on {}, which is past: begin it later",
            begins.day
        ));
        context.hint(&format!("gritledger job dates {} --start DATE", job.number));
    }
}

/// Warns of work that begins while the client may still take the acceptance back.
fn warn_of_cancellation(
    context: &Context,
    ledger: &Ledger,
    job: &Job,
    begun: NaiveDate,
) -> Result<()> {
    let agreed = ledger.agreed(job)?;
    let Some(header) = agreed.quotes.first().map(|record| &record.header) else {
        return Ok(());
    };
    let right = ledger.cancellation_of(header)?;
    let Some((right, accepted)) = right.zip(header.decided_on) else {
        return Ok(());
    };
    if let Some(last) = right.last_day(accepted).filter(|last| begun <= *last) {
        context.warn(&format!(
            "the client may take the acceptance back until {last}, holidays not counted{}: it is for you to check",
            right.cited()
        ));
    }
    Ok(())
}

fn cancel(context: &Context, args: &CancelArgs) -> Result<()> {
    context.write(|writing| {
        let job = writing.job(&args.job)?;
        let invoices = writing.cancel_job(&job, &args.reason)?;
        context.status(&format!(
            "{} at {} is cancelled: its rooms are free again.",
            job.number, job.site
        ));
        tell_right(context, writing, &job)?;
        for invoice in invoices.iter().filter(|invoice| !invoice.asked().is_zero()) {
            let what = match invoice.due() {
                due if due.is_zero() => "is paid, and stays income".to_owned(),
                due => format!(
                    "was issued, and asks for {} yet",
                    writing.currency().text(due)
                ),
            };
            context.warn(&format!("{} {what}", invoice.name()));
            context.hint(&format!(
                "gritledger invoice credit {} --reason \"{} is cancelled\"",
                invoice.name(),
                job.number
            ));
        }
        show_if_json(context, writing, &job)
    })
}

/// Says whether the client's right to take the acceptance back still stands.
fn tell_right(context: &Context, ledger: &Ledger, job: &Job) -> Result<()> {
    let agreed = ledger.agreed(job)?;
    let Some(header) = agreed.quotes.first().map(|record| &record.header) else {
        return Ok(());
    };
    let right = ledger.cancellation_of(header)?.zip(header.decided_on);
    let last = right.and_then(|(right, accepted)| Some((right.last_day(accepted)?, right)));
    if let Some((last, right)) = last {
        let when = match ledger.today() <= last {
            true => "within",
            false => "after",
        };
        context.status(&format!(
            "That is {when} the time in which the client may take the acceptance back, until {last}, holidays not counted{}: it is for you to check.",
            right.cited()
        ));
    }
    Ok(())
}

/// Returns a job as it stands.
fn job_answer(context: &Context, ledger: &Ledger, job: Job) -> Result<JobAnswer> {
    let (agreed, book) = (ledger.agreed(&job)?, ledger.day_book_of(&job)?);
    let budget = ledger.budget_and_cost_of(&job)?;
    let page = context.page(ledger);
    Ok(JobAnswer::new(book, job, &agreed, budget, &page))
}

fn show_if_json(context: &Context, ledger: &Ledger, job: &Job) -> Result<()> {
    context.give_json(|| job_answer(context, ledger, ledger.job_by_id(job.id)?))
}
