//! The command line: the only code that knows there is a terminal.
//!
//! A command reads: resolve names, refuse early, work out, write, say what changed, all of it in one transaction
//! (`Context::write`), or answers from one snapshot (`Context::read`).
//! Types for clap check the shape of what was typed; anything that needs the ledger or the clock happens in `cmd_…`.

mod book;
mod day_book;
mod file;
mod finding;
mod invoice;
mod job;
mod method;
mod people;
mod plan;
mod quote;
mod rate;
mod report;
mod room;
mod setting;
mod ui;

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime, NaiveTime};
use clap::{Args, Parser, Subcommand};

use self::ui::Context;
use crate::ledger::{Job, Refusal, Room, read_percent, refuse};
use crate::money::{Decimal, number, within};
use crate::trade::{SiteId, bounds};

/// Estimate, log and learn from the wooden floors you sand and finish
///
/// One local file keeps clients, rooms, quotes, rental days, what was used and how long it took. One command answers
/// what a floor will cost, what it did cost, and how far a disc or a gallon goes on a floor like that.
#[derive(Debug, Parser)]
#[command(
    name = "gritledger",
    version,
    max_term_width = 100,
    disable_help_subcommand = true,
    after_help = "Look around first:\n  gritledger demo\n\nBegin:\n  gritledger init --business \"Your Firm\""
)]
struct Cli {
    #[command(flatten)]
    globals: Globals,
    #[command(subcommand)]
    command: Command,
}

/// Options that may stand anywhere.
#[derive(Debug, Args)]
struct Globals {
    /// The ledger file (default: GRITLEDGER_PATH, else one in the platform's data directory)
    #[arg(long, global = true, value_name = "FILE")]
    ledger: Option<PathBuf>,
    /// Answer with one JSON value
    #[arg(long, global = true)]
    json: bool,
    /// Do the work, then roll it back
    #[arg(long, global = true)]
    dry_run: bool,
    /// Say nothing but the answer, warnings and errors
    #[arg(long, global = true)]
    quiet: bool,
    /// Say that what is typed is meant, however unlikely
    #[arg(long, global = true)]
    confirm: bool,
    /// Colour: auto, always or never
    #[arg(long, global = true, value_name = "WHEN", default_value = "auto", value_parser = read_color, hide_possible_values = true)]
    color: anstream::ColorChoice,
}

#[derive(Debug, Subcommand)]
enum Command {
    Init(file::InitArgs),
    Demo(file::DemoArgs),
    Today(report::TodayArgs),
    #[command(subcommand)]
    Client(people::ClientCommand),
    #[command(subcommand)]
    Site(people::SiteCommand),
    #[command(subcommand)]
    Room(room::RoomCommand),
    #[command(subcommand)]
    Finding(finding::FindingCommand),
    #[command(subcommand)]
    Worker(people::WorkerCommand),
    #[command(subcommand)]
    Quote(quote::QuoteCommand),
    #[command(subcommand)]
    Plan(plan::PlanCommand),
    #[command(subcommand)]
    Job(job::JobCommand),
    Use(day_book::UseArgs),
    Hours(day_book::HoursArgs),
    Spent(day_book::SpentArgs),
    Drive(day_book::DriveArgs),
    Buy(day_book::BuyArgs),
    HandBack(day_book::HandBackArgs),
    #[command(subcommand)]
    Rental(day_book::RentalCommand),
    #[command(subcommand)]
    Stock(day_book::StockCommand),
    Void(day_book::VoidArgs),
    #[command(subcommand)]
    Invoice(invoice::InvoiceCommand),
    #[command(subcommand)]
    Payment(invoice::PaymentCommand),
    #[command(subcommand)]
    Report(report::ReportCommand),
    #[command(subcommand)]
    Rate(rate::RateCommand),
    #[command(subcommand)]
    Item(book::ItemCommand),
    #[command(subcommand)]
    Machine(book::MachineCommand),
    #[command(subcommand)]
    Operation(book::OperationCommand),
    #[command(subcommand)]
    Sequence(method::SequenceCommand),
    #[command(subcommand)]
    Schedule(method::ScheduleCommand),
    #[command(subcommand)]
    Setting(setting::SettingCommand),
    #[command(subcommand)]
    TaxArea(setting::TaxAreaCommand),
    Import(file::ImportArgs),
    Export(file::ExportArgs),
    Check(file::CheckArgs),
    Backup(file::BackupArgs),
    Restore(file::RestoreArgs),
    Log(file::LogArgs),
    #[command(hide = true)]
    Generate(file::GenerateArgs),
}

/// Runs the program on its arguments and returns its exit code.
pub fn run() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            // Help and version are answers (0), if they can be given; anything else is a usage error (2).
            let told = error.print();
            return match (told, error.exit_code()) {
                (Err(_), 0) => ExitCode::FAILURE,
                (_, code) => ExitCode::from(u8::try_from(code).unwrap_or(2)),
            };
        }
    };
    let context = match Context::new(cli.globals) {
        Ok(context) => context,
        Err(error) => return ui::fail(&error),
    };
    let outcome = within(|| dispatch(&context, cli.command))
        .map_err(Into::into)
        .flatten();
    let delivered = context.deliver();
    match outcome.and(delivered) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => context.fail(&error),
    }
}

fn dispatch(context: &Context, command: Command) -> Result<()> {
    match command {
        Command::Init(args) => file::cmd_init(context, args),
        Command::Demo(args) => file::cmd_demo(context, &args),
        Command::Today(args) => report::cmd_today(context, &args),
        Command::Client(command) => people::cmd_client(context, command),
        Command::Site(command) => people::cmd_site(context, command),
        Command::Room(command) => room::cmd_room(context, command),
        Command::Finding(command) => finding::cmd_finding(context, command),
        Command::Worker(command) => people::cmd_worker(context, command),
        Command::Quote(command) => quote::cmd_quote(context, command),
        Command::Plan(command) => plan::cmd_plan(context, command),
        Command::Job(command) => job::cmd_job(context, command),
        Command::Use(args) => day_book::cmd_use(context, &args),
        Command::Hours(args) => day_book::cmd_hours(context, &args),
        Command::Spent(args) => day_book::cmd_spent(context, &args),
        Command::Drive(args) => day_book::cmd_drive(context, &args),
        Command::Buy(args) => day_book::cmd_buy(context, &args),
        Command::HandBack(args) => day_book::cmd_hand_back(context, &args),
        Command::Rental(command) => day_book::cmd_rental(context, command),
        Command::Stock(command) => day_book::cmd_stock(context, command),
        Command::Void(args) => day_book::cmd_void(context, &args),
        Command::Invoice(command) => invoice::cmd_invoice(context, command),
        Command::Payment(command) => invoice::cmd_payment(context, command),
        Command::Report(command) => report::cmd_report(context, command),
        Command::Rate(command) => rate::cmd_rate(context, command),
        Command::Item(command) => book::cmd_item(context, command),
        Command::Machine(command) => book::cmd_machine(context, command),
        Command::Operation(command) => book::cmd_operation(context, command),
        Command::Sequence(command) => method::cmd_sequence(context, command),
        Command::Schedule(command) => method::cmd_schedule(context, command),
        Command::Setting(command) => setting::cmd_setting(context, command),
        Command::TaxArea(command) => setting::cmd_tax_area(context, command),
        Command::Import(args) => file::cmd_import(context, &args),
        Command::Export(args) => file::cmd_export(context, &args),
        Command::Check(args) => file::cmd_check(context, &args),
        Command::Backup(args) => file::cmd_backup(context, &args),
        Command::Restore(args) => file::cmd_restore(context, &args),
        Command::Log(args) => file::cmd_log(context, &args),
        Command::Generate(args) => file::cmd_generate(context, &args),
    }
}

/// Returns the command line as clap knows it, for manual pages and completions.
fn command() -> clap::Command {
    <Cli as clap::CommandFactory>::command()
}

fn read_color(text: &str) -> Result<anstream::ColorChoice, String> {
    match text {
        "auto" => Ok(anstream::ColorChoice::Auto),
        "always" => Ok(anstream::ColorChoice::Always),
        "never" => Ok(anstream::ColorChoice::Never),
        _ => Err("one of: auto, always, never".to_owned()),
    }
}

/// Reads a date: `2026-03-02`, `yesterday` or `today`; today if none is given.
fn read_date(text: Option<&str>, today: NaiveDate) -> Result<NaiveDate> {
    let text = match text.map(str::trim) {
        None | Some("today") => return Ok(today),
        Some("yesterday") => return Ok(today.pred_opt().unwrap_or(today)),
        Some(text) => text,
    };
    let Ok(date) = NaiveDate::parse_from_str(text, "%Y-%m-%d") else {
        return Err(Refusal::new(format!("`{text}` is not a date"))
            .hint("dates are written 2026-03-02, today or yesterday")
            .into());
    };
    bounds::check_day(date, today)?;
    Ok(date)
}

/// Has a day confirmed that is long past, or before its job began.
fn confirm_day(context: &Context, on: NaiveDate, job: Option<&Job>) -> Result<()> {
    if bounds::is_long_ago(on, context.today()) {
        let ago = (context.today() - on).num_days();
        context.confirm(&format!("{on} is {ago} days ago"))?;
    }
    let begun = job.and_then(|job| Some((job, job.started_on?)));
    if let Some((job, begun)) = begun.filter(|(_, begun)| on < *begun) {
        context.confirm(&format!("{on} is before {} began, on {begun}", job.number))?;
    }
    Ok(())
}

/// Reads a date on which something is planned: not before today.
fn read_plan_date(text: &str, today: NaiveDate) -> Result<NaiveDate> {
    let date = match text.trim() {
        "tomorrow" => today.succ_opt().unwrap_or(today),
        text => read_date(Some(text), today)?,
    };
    if date < today {
        return Err(Refusal::new(format!("{date} is past: nothing can be planned for it")).into());
    }
    Ok(date)
}

/// Reads a moment: `2026-03-02 08:00`, `yesterday 08:00`, or `08:00` today.
fn read_moment(text: &str, today: NaiveDate) -> Result<NaiveDateTime> {
    let text = text.trim();
    let (date, time) = match text.rsplit_once([' ', 'T']) {
        Some((date, time)) => (Some(date), time),
        None => (None, text),
    };
    let Ok(time) = NaiveTime::parse_from_str(time, "%H:%M") else {
        return Err(Refusal::new(format!("`{text}` is not a time"))
            .hint("times are written 08:00, or with a date 2026-03-02 08:00")
            .into());
    };
    Ok(read_date(date, today)?.and_time(time))
}

/// Reads a plain number; `what` names it in the refusal.
fn read_number(text: &str, what: &str) -> Result<Decimal> {
    match number(text) {
        Some(value) => Ok(value),
        None => Err(Refusal::new(format!("`{text}` is not {what}")).into()),
    }
}

/// Reads a margin; one that is next to nothing must be meant.
fn read_margin(context: &Context, text: &str) -> Result<Decimal> {
    let margin = read_percent(text, "a margin")?;
    if margin < Decimal::ZERO {
        refuse!("a margin is not below zero");
    }
    if bounds::is_thin(margin) {
        let percent = (margin * Decimal::ONE_HUNDRED).normalize();
        context.confirm(&format!("a margin of {percent} % keeps next to nothing"))?;
    }
    Ok(margin)
}

/// Resolves the rooms that an entry names, at the job's site.
fn rooms_named(
    ledger: &crate::ledger::Ledger,
    names: &[String],
    site: SiteId,
) -> Result<Vec<Room>> {
    let mut rooms: Vec<Room> = Vec::new();
    for name in names {
        let room = ledger.room(name, Some(site))?;
        if !rooms.iter().any(|known| known.id == room.id) {
            rooms.push(room);
        }
    }
    Ok(rooms)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_line_is_sound() {
        command().debug_assert();
    }

    /// Checks one command and everything below it.
    fn check_help(command: &clap::Command, path: &str) {
        let about = command
            .get_about()
            .map(ToString::to_string)
            .unwrap_or_default();
        assert!(!about.is_empty(), "{path} has no line of help");
        assert!(
            about.chars().count() <= 90 && !about.ends_with('.'),
            "{path}: {about}"
        );
        for argument in command.get_arguments() {
            assert!(
                argument.get_help().is_some(),
                "{path} {} has no help",
                argument.get_id()
            );
        }
        for below in command.get_subcommands() {
            check_help(below, &format!("{path} {}", below.get_name()));
        }
    }

    #[test]
    fn every_command_and_argument_has_a_line_of_help() {
        check_help(&command(), "gritledger");
    }

    #[test]
    fn dates_and_moments_are_read_as_people_write_them() {
        let today = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
        for (text, expected) in [
            ("08:00", Some("2026-03-02 08:00")),
            ("2026-03-01 07:45", Some("2026-03-01 07:45")),
            ("yesterday 15:00", Some("2026-03-01 15:00")),
            ("2026-03-01T07:45", Some("2026-03-01 07:45")),
            ("8am", None),
            ("2026-03-01", None),
            ("25:00", None),
            ("2026-02-30 08:00", None),
        ] {
            let read = read_moment(text, today)
                .ok()
                .map(|at| at.format("%Y-%m-%d %H:%M").to_string());
            assert_eq!(read.as_deref(), expected, "{text}");
        }
    }
}
