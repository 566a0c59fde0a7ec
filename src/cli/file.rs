//! The ledger as a file: making one, checking it, copying it, bringing data in and out.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, Result};
use clap::{Args, ValueEnum};

use super::list::{DaysArgs, read_days, sorted};
use super::rate::FURTHEST;
use super::read::read_date;
use super::ui::{Context, is_stdout};
use crate::document::file::{
    BackupAnswer, CheckAnswer, DemoAnswer, ImportAnswer, InitAnswer, LogAnswer, RestoreAnswer,
};
use crate::document::quote::QuoteAnswer;
use crate::document::rate::RateList;
use crate::document::report::margin::Margins;
use crate::document::report::variance::VarianceAnswer;
use crate::document::showing::Showing;
use crate::document::{Page, View, count};
use crate::ledger::{
    Clock, Days, Grouping, Identity, Imported, Job, Ledger, QuoteHeader, QuoteStatus, Records,
    Refusal, Transfer, refuse, typed,
};
use crate::measure::Units;
use crate::money::Currency;
use crate::notation::{Country, DateOrder, DecimalMark, Notation};
use crate::trade::NotInSet;

/// The day that the demo ends on, unless GRITLEDGER_TODAY says otherwise.
const DEMO_DAY: chrono::NaiveDate = chrono::NaiveDate::from_ymd_opt(2026, 3, 2).expect("a date");

/// Jobs whose margin the demo shows.
const DEMO_JOBS: usize = 6;

/// Make a new ledger
///
/// It starts with a book of operations, rates, items, machines, sequences and schedules. Prices in it are invented:
/// set your own.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger init --business \"Marsh End Floors\" --country US"
)]
pub(super) struct InitArgs {
    /// Your firm's name
    #[arg(long)]
    business: String,
    /// The currency of every amount, by its ISO 4217 code
    #[arg(long, default_value = "USD")]
    currency: String,
    /// Units of bare numbers and of what is printed: us or metric
    #[arg(long, default_value = "us")]
    units: String,
    /// The country whose laws cautions name, by its ISO 3166 code such as US; without it they refer to local rules
    #[arg(long, value_name = "CODE")]
    country: Option<String>,
    /// What parts whole numbers from decimals when they are typed: point or comma (default: point)
    #[arg(long, value_name = "MARK")]
    decimal_mark: Option<String>,
    /// What comes first in a date such as 3/2: month-day or day-month (default: month-day, with metric units day-month)
    #[arg(long, value_name = "ORDER")]
    date_order: Option<String>,
    /// Which copy of a ledger this is (0 for the first); each hands out ids and numbers of its own
    #[arg(long, default_value_t = 0, value_parser = clap::value_parser!(i64).range(0..=1000))]
    copy: i64,
}

/// Write the ledger of an invented firm and walk through it
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger demo --to demo.db")]
pub(super) struct DemoArgs {
    /// Where to write it (default: gritledger-demo.db here; a demo that nobody added to is replaced)
    #[arg(long, value_name = "FILE", default_value = "gritledger-demo.db")]
    to: PathBuf,
}

/// Check the file and every rule of the ledger
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger check")]
pub(super) struct CheckArgs {}

/// Copy the ledger to a new file, and check the copy
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger backup ledger-2026-03.db")]
pub(super) struct BackupArgs {
    /// The new file
    file: PathBuf,
}

/// Put a backup in the place of the ledger, and keep what was there beside it
///
/// The backup is checked first; while another program writes in the ledger it is refused. Use this, and don't copy a
/// backup over a ledger by hand: what SQLite keeps beside a file whose last write was cut short belongs to that file.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger restore ledger-2026-03.db")]
pub(super) struct RestoreArgs {
    /// The backup
    file: PathBuf,
}

/// Show the newest sentences of the log
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger log --top 50\n  gritledger log --from 2026-02-01 --to 2026-02-28"
)]
pub(super) struct LogArgs {
    #[command(flatten)]
    days: DaysArgs,
    /// How many
    #[arg(long, alias = "last", value_name = "COUNT", default_value_t = 20)]
    top: u32,
}

/// Bring rows in from a CSV file: all of them, or none
///
/// Where each row of what happened is in the day book already, word for word, it is asked whether they are meant again.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger import past-rooms notebook.csv --dry-run")]
pub(super) struct ImportArgs {
    /// What the rows are
    #[arg(value_parser = read_kind)]
    kind: Transfer,
    /// The CSV file
    file: PathBuf,
    /// Units of areas, lengths and distances that don't say theirs: us or metric (default: the ledger's)
    #[arg(long)]
    units: Option<String>,
}

/// Write rows as CSV: what import reads back, or what an accountant asks for
///
/// Of a time (--from, --to) go out: invoices, payments, expenses, mileage, quotes, jobs, and accounts: all of it as
/// double entries. All else is written whole, as
/// import reads it back.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger export rooms --to rooms.csv\n  gritledger export invoices --from 2026-01-01 --to 2026-12-31 --to invoices.csv"
)]
pub(super) struct ExportArgs {
    /// What the rows are
    kind: Exported,
    /// The first day (default: the first that there is)
    #[arg(long, value_name = "DATE")]
    from: Option<String>,
    /// The last day (default: today), or the file to write (default: stdout); can be repeated, for both
    ///
    /// What reads as a date is one: a file of such a name is written as ./2026-03-02. An earlier export of the same kind is
    /// replaced.
    #[arg(long, value_name = "DATE|FILE")]
    to: Vec<PathBuf>,
    /// Of accounts: as they were known at the end of a day (default: today)
    #[arg(long, value_name = "DATE")]
    as_of: Option<String>,
    /// Replace whatever file is there
    #[arg(long)]
    replace: bool,
}

/// What can be written as CSV.
#[derive(Clone, Copy, Debug)]
enum Exported {
    /// What import reads back.
    Rows(Transfer),
    /// What an accountant is handed.
    Records(Records),
}

impl std::str::FromStr for Exported {
    type Err = String;

    fn from_str(text: &str) -> Result<Exported, String> {
        if let Ok(records) = text.parse() {
            return Ok(Exported::Records(records));
        }
        text.parse().map(Exported::Rows).map_err(|_| {
            let records = Records::ALL.iter().map(ToString::to_string);
            let rows = Transfer::ALL.iter().map(ToString::to_string);
            let all: Vec<String> = records.chain(rows).collect();
            format!("one of: {}", all.join(", "))
        })
    }
}

impl std::fmt::Display for Exported {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Exported::Rows(rows) => rows.fmt(f),
            Exported::Records(records) => records.fmt(f),
        }
    }
}

/// Reads what a file brings in: jobs that are brought in are past ones.
fn read_kind(text: &str) -> Result<Transfer, NotInSet> {
    match text.trim() {
        "jobs" => Ok(Transfer::PastJobs),
        text => text.parse(),
    }
}

/// Print shell completions, or the manual page
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger generate completions bash")]
pub(super) struct GenerateArgs {
    /// What to print
    what: Generated,
    /// The shell that completions are for
    #[arg(default_value = "bash")]
    shell: clap_complete::Shell,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Generated {
    Completions,
    Man,
}

pub(super) fn cmd_init(context: &Context, args: InitArgs) -> Result<()> {
    context.refuse_csv()?;
    let path = context.ledger_path()?;
    let business = args.business.trim().to_owned();
    if business.is_empty() {
        refuse!("the firm needs a name");
    }
    let Some(currency) = Currency::from_code(&args.currency) else {
        return Err(
            Refusal::new(format!("`{}` is not a currency", args.currency))
                .hint("ISO 4217 codes have three letters: USD, EUR, CAD")
                .into(),
        );
    };
    let units = read_units(&args.units)?;
    let country = args.country.as_deref().map(read_country).transpose()?;
    let notation = notation_of(&args, units)?;
    if context.dry_run() {
        Ledger::could_be_made(&path)?;
        context.status(&format!(
            "Dry run: a ledger would be made at {}.",
            path.display()
        ));
        return Ok(());
    }
    make_folder_of(&path)?;
    let identity = Identity {
        business,
        currency,
        units,
        country,
        notation,
        copy: args.copy,
    };
    let ledger = Ledger::create(&path, identity, context.clock())?;
    context.done(format!("{} is made.", path.display()));
    let page = context.page(&ledger);
    let answer = InitAnswer::new(path.display().to_string(), ledger.identity(), &page);
    context.give_as(answer, InitAnswer::sentence)?;
    context.status("The prices in its book are invented: look them through.");
    context.hint("gritledger item list");
    context.hint("gritledger machine list");
    context.hint("gritledger worker add \"NAME\" --wage 28.00");
    Ok(())
}

fn read_country(text: &str) -> Result<Country> {
    match Country::parse(text) {
        Some(country) => Ok(country),
        None => Err(Refusal::new(format!("`{text}` is not a country"))
            .hint("ISO 3166 codes have two letters: US, DE, CA")
            .into()),
    }
}

/// Reads how figures and dates are typed; what isn't said follows from the units.
fn notation_of(args: &InitArgs, units: Units) -> Result<Notation> {
    let date_order = match units {
        Units::Us => DateOrder::MonthDay,
        Units::Metric => DateOrder::DayMonth,
    };
    Ok(Notation {
        decimal_mark: match args.decimal_mark.as_deref() {
            None => DecimalMark::Point,
            Some(text) => match DecimalMark::parse(text) {
                Some(mark) => mark,
                None => refuse!("`{text}` is not a decimal mark; one of: point, comma"),
            },
        },
        date_order: match args.date_order.as_deref() {
            None => date_order,
            Some(text) => match DateOrder::parse(text) {
                Some(order) => order,
                None => refuse!("`{text}` is not an order of dates; one of: month-day, day-month"),
            },
        },
    })
}

fn make_folder_of(path: &Path) -> Result<()> {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => std::fs::create_dir_all(folder)
            .with_context(|| format!("failed to make the folder `{}`", folder.display())),
        _ => Ok(()),
    }
}

pub(super) fn read_units(text: &str) -> Result<Units> {
    match Units::parse(text) {
        Some(units) => Ok(units),
        None => refuse!("`{text}` is not a system of units; one of: us, metric"),
    }
}

pub(super) fn cmd_demo(context: &Context, args: &DemoArgs) -> Result<()> {
    context.refuse_csv()?;
    let clock = Clock::at(DEMO_DAY);
    if context.dry_run() {
        context.status(&format!(
            "Dry run: the demo would be written to {}.",
            args.to.display()
        ));
        return Ok(());
    }
    let begins =
        || context.tell("Making the demo's ledger: two years of an invented firm, day by day");
    let ledger = Ledger::create_demo(&args.to, clock, begins)?;
    context.done(format!("{} is written.", args.to.display()));
    let answer = demo_answer(&args.to, &ledger, &context.page(&ledger))?;
    context.give(&ledger, answer)?;
    context.hint(&format!(
        "GRITLEDGER_TODAY={DEMO_DAY} gritledger --ledger {} today",
        typed(&args.to.display().to_string())
    ));
    Ok(())
}

/// Walks through the demo: a quote that waits, a job that left its quote, what jobs made, and what they taught.
fn demo_answer(path: &Path, ledger: &Ledger, page: &Page) -> Result<DemoAnswer> {
    let closed: Vec<Job> = ledger.jobs()?.into_iter().filter(Job::is_closed).collect();
    let margins = closed.iter().map(|job| ledger.margin_of(job));
    let margins = margins.collect::<Result<Vec<_>>>()?;
    let sent = |quote: &QuoteHeader| quote.status == QuoteStatus::Sent;
    let quote = ledger.quotes()?.into_iter().rfind(sent);
    let quote = quote.map(|quote| quote.number);
    let waiting = quote.as_ref().map(|number| {
        let sheet = ledger.sheet(ledger.quote(number)?)?;
        Ok::<_, anyhow::Error>(QuoteAnswer::new(sheet, View::Owner, page))
    });
    // The job that left its quote furthest tells most.
    let furthest = margins
        .iter()
        .max_by_key(|margin| margin.outcome.over.abs())
        .map(|margin| &margin.job);
    let variance = furthest.map(|job| ledger.variance_of(job)).transpose()?;
    let last = &margins[margins.len().saturating_sub(DEMO_JOBS)..];
    let mut shown = Margins::by(Grouping::Job, *page);
    for margin in last {
        shown.add(margin.clone());
    }
    sorted(shown.show(&Showing::default()))?;
    let rates = ledger.rates()?.rows();
    let rates = RateList::new(&rates, Some(FURTHEST), &ledger.operations_by_id()?, page);
    Ok(DemoAnswer {
        ledger: path.display().to_string(),
        business: ledger.identity().business.clone(),
        jobs: closed.len(),
        rooms: margins.iter().map(|margin| margin.rooms.len()).sum(),
        quote,
        waiting: waiting.transpose()?,
        variance: furthest.map(|job| job.number.clone()),
        furthest: variance.map(|variance| VarianceAnswer::new(variance, page)),
        last: last
            .iter()
            .map(|margin| margin.job.number.clone())
            .collect(),
        margins: shown,
        learned: rates.learned(),
    })
}

pub(super) fn cmd_check(context: &Context, args: &CheckArgs) -> Result<()> {
    let CheckArgs {} = args;
    let problems = context.read(Ledger::problems)?;
    let found = problems.len();
    context.give_as(CheckAnswer::new(problems), CheckAnswer::text)?;
    match found {
        0 => Ok(()),
        found => refuse!("the check found {}", count(found, "problem")),
    }
}

pub(super) fn cmd_backup(context: &Context, args: &BackupArgs) -> Result<()> {
    context.refuse_csv()?;
    let ledger = context.open()?;
    if context.dry_run() {
        context.status("Dry run: nothing was written.");
        return Ok(());
    }
    ledger.backup(&args.file)?;
    context.done(format!("{} is a sound copy.", args.file.display()));
    let answer = BackupAnswer::new(args.file.display().to_string());
    context.give_as(answer, BackupAnswer::sentence)
}

pub(super) fn cmd_restore(context: &Context, args: &RestoreArgs) -> Result<()> {
    context.refuse_csv()?;
    let path = context.ledger_path()?;
    if context.dry_run() {
        let backup = Ledger::open(&args.file, context.clock())?;
        let problems = backup.read(Ledger::problems)?;
        if let Some(problem) = problems.first() {
            let file = args.file.display();
            return Err(Refusal::new(format!("`{file}` is not sound: {problem}"))
                .hint(format!(
                    "gritledger --ledger {} check",
                    typed(&file.to_string())
                ))
                .into());
        }
        context.status("Dry run: nothing was written.");
        return Ok(());
    }
    make_folder_of(&path)?;
    let restored = Ledger::restore(&path, &args.file, context.clock())?;
    let answer = RestoreAnswer {
        ledger: path.display().to_string(),
        restored_from: args.file.display().to_string(),
        kept: restored.kept.map(|kept| kept.display().to_string()),
    };
    let RestoreAnswer {
        ledger,
        restored_from,
        ..
    } = &answer;
    context.done(format!("{ledger} is {restored_from} again."));
    context.give_as(answer, RestoreAnswer::sentence)
}

pub(super) fn cmd_log(context: &Context, args: &LogArgs) -> Result<()> {
    context.read(|ledger| {
        let days = args.days.read(context, ledger)?;
        let (lines, earlier) = ledger.log_lines(args.top, days)?;
        context.give(ledger, LogAnswer::new(lines, earlier))
    })
}

pub(super) fn cmd_import(context: &Context, args: &ImportArgs) -> Result<()> {
    let units = args.units.as_deref().map(read_units).transpose()?;
    let (name, text) = read_file(&args.file)?;
    let Imported { rows, again, .. } = context.write(|writing| {
        let imported = writing.import(args.kind, &name, &text, units.unwrap_or(writing.units()))?;
        let Imported {
            rows,
            again,
            doubts,
        } = &imported;
        doubts.iter().try_for_each(|doubt| context.confirm(doubt))?;
        let lines: Vec<String> = again.iter().map(ToString::to_string).collect();
        let known = match &lines[..] {
            [] => return Ok(imported),
            [_] if *rows == 1 => "its row is".to_owned(),
            all if all.len() == *rows => format!("all {rows} rows are"),
            [line] => format!("line {line} is"),
            several => format!("lines {} are", several.join(", ")),
        };
        context.confirm(&format!("{name}: {known} in the ledger already"))?;
        Ok(imported)
    })?;
    let answer = ImportAnswer {
        kind: args.kind,
        rows,
        again,
    };
    context.give_as(answer, ImportAnswer::sentence)
}

/// Reads a file; returns its name, as mistakes are told by it, and what is in it.
pub(super) fn read_file(path: &Path) -> Result<(String, Vec<u8>)> {
    let text =
        std::fs::read(path).with_context(|| format!("failed to read `{}`", path.display()))?;
    let name = path.file_name().unwrap_or(path.as_os_str());
    Ok((name.to_string_lossy().into_owned(), text))
}

pub(super) fn cmd_export(context: &Context, args: &ExportArgs) -> Result<()> {
    if context.json() {
        return Err(Refusal::new("`export` writes CSV, not JSON")
            .hint(format!("gritledger export {}", args.kind))
            .into());
    }
    let (text, file) = context.read(|ledger| {
        let (days, file) = days_and_file(context, ledger, args)?;
        let text = match args.kind {
            Exported::Records(kind) => {
                if args.as_of.is_some() && kind != Records::Accounts {
                    refuse!("--as-of is for `export accounts`, not for {kind}");
                }
                let as_of = read_date(context, ledger, args.as_of.as_deref())?;
                ledger.records(kind, days, as_of)?
            }
            Exported::Rows(kind) if args.as_of.is_some() => {
                refuse!("--as-of is for `export accounts`, not for {kind}");
            }
            Exported::Rows(kind) if days == Days::default() => ledger.export(kind)?,
            Exported::Rows(kind) => {
                let words = format!("`export {kind}` writes all of them, of no time");
                return Err(Refusal::new(words)
                    .hint(format!("gritledger export {kind}"))
                    .into());
            }
        };
        Ok((text, file))
    })?;
    match file {
        Some(path) if !is_stdout(path) => {
            // The headings tell an earlier export of the same kind.
            let headings = text.lines().next().unwrap_or_default();
            context.write_file(path, &text, headings, args.replace)?;
            context.status(&format!("Wrote {}.", path.display()));
            Ok(())
        }
        _ => {
            context.print_exactly(text);
            Ok(())
        }
    }
}

/// Reads of which days, and to which file: `--to` says either.
fn days_and_file<'a>(
    context: &Context,
    ledger: &Ledger,
    args: &'a ExportArgs,
) -> Result<(Days, Option<&'a Path>)> {
    let (mut last, mut file) = (None, None);
    for to in &args.to {
        let text = to.to_str().unwrap_or_default();
        let is_day = ledger.notation().past_day(text, ledger.today()).is_some();
        let is_second = match is_day {
            true => last.replace(text).is_some(),
            false => file.replace(to.as_path()).is_some(),
        };
        if is_second {
            let twice = if is_day { "days" } else { "files" };
            refuse!("--to names two {twice}: one day and one file are enough");
        }
    }
    let from = args.from.as_deref();
    let days = read_days(context, ledger, from, last)?;
    Ok((days, file))
}

pub(super) fn cmd_generate(context: &Context, args: &GenerateArgs) -> Result<()> {
    context.refuse_csv()?;
    let mut command = super::command();
    let mut bytes = Vec::new();
    match args.what {
        Generated::Completions => {
            clap_complete::generate(args.shell, &mut command, "gritledger", &mut bytes);
        }
        Generated::Man => clap_mangen::Man::new(command)
            .render(&mut bytes)
            .expect("memory can be written to"),
    }
    context.print(String::from_utf8_lossy(&bytes).trim_end());
    Ok(())
}
