//! The command line: the only code that knows there is a terminal.
//!
//! A command reads: resolve names, refuse early, work out, write, say what changed, all of it in one transaction
//! (`Context::write`), or answers from one snapshot (`Context::read`).
//! Types for clap check the shape of what was typed; anything that needs the ledger or the clock happens in `cmd_…`.

mod book;
mod correction;
mod day_book;
mod file;
mod finding;
mod invoice;
mod item;
mod job;
mod list;
mod machine;
mod method;
mod notes;
mod operation;
mod people;
mod plan;
mod quote;
mod rate;
mod read;
mod reading;
mod report;
mod room;
mod setting;
mod ui;

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::Result;
use clap::error::{ContextKind, ContextValue, ErrorKind};
use clap::{Args, FromArgMatches as _, Parser, Subcommand};

use self::ui::Context;
use crate::ledger::Refusal;
use crate::money::within;

/// Estimate, log and learn from the wooden floors you sand and finish
///
/// One local file keeps clients, rooms, quotes, rental days, what was used and how long it took. One command answers
/// what a floor will cost, what it did cost, and how far a disc or a gallon goes on a floor like that.
#[derive(Debug, Parser)]
#[command(
    name = "gritledger",
    version,
    max_term_width = 100,
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
#[command(next_help_heading = "With every command")]
struct Globals {
    /// The ledger file (default: GRITLEDGER_PATH, else one in the platform's data directory)
    #[arg(long, global = true, value_name = "FILE")]
    ledger: Option<PathBuf>,
    /// Answer with one JSON value
    #[arg(long, global = true)]
    json: bool,
    /// Answer with the rows of a list or report as CSV
    #[arg(long, global = true, conflicts_with = "json")]
    csv: bool,
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
    Walk(room::walk::WalkArgs),
    #[command(subcommand)]
    Finding(finding::FindingCommand),
    #[command(subcommand)]
    Reading(reading::ReadingCommand),
    #[command(subcommand)]
    Worker(people::WorkerCommand),
    #[command(subcommand)]
    Quote(quote::QuoteCommand),
    #[command(subcommand)]
    Plan(plan::PlanCommand),
    #[command(subcommand)]
    Job(job::JobCommand),
    Daybook(notes::DaybookArgs),
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
    Correct(correction::CorrectArgs),
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
    Item(item::ItemCommand),
    #[command(subcommand)]
    Machine(machine::MachineCommand),
    #[command(subcommand)]
    Operation(operation::OperationCommand),
    #[command(subcommand)]
    Sequence(method::SequenceCommand),
    #[command(subcommand)]
    Schedule(method::ScheduleCommand),
    #[command(subcommand)]
    Setting(setting::SettingCommand),
    #[command(subcommand)]
    TaxArea(setting::TaxAreaCommand),
    #[command(subcommand)]
    Account(setting::AccountCommand),
    Import(file::ImportArgs),
    Export(file::ExportArgs),
    Check(file::CheckArgs),
    Backup(file::BackupArgs),
    Restore(file::RestoreArgs),
    Log(file::LogArgs),
    Generate(file::GenerateArgs),
}

/// Runs the program on its arguments and returns its exit code.
pub fn run() -> ExitCode {
    let (cli, asked) = match read_command_line() {
        Ok(read) => read,
        Err(error) => return tell_misuse(&error),
    };
    let context = match Context::new(cli.globals, asked) {
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

/// Reads what was typed; returns the words of the command with it, such as `client show`.
fn read_command_line() -> Result<(Cli, String), clap::Error> {
    let matches = command().try_get_matches()?;
    let cli = Cli::from_arg_matches(&matches)?;
    let (mut asked, mut inner) = (Vec::new(), &matches);
    while let Some((word, below)) = inner.subcommand() {
        asked.push(word);
        inner = below;
    }
    let asked = asked.join(" ");
    Ok((cli, asked))
}

/// Tells why the command line can't be read, and what must be typed; help and version are answers.
fn tell_misuse(error: &clap::Error) -> ExitCode {
    let is_help = error.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand;
    if is_help || !error.use_stderr() {
        // An answer is done (0) if it can be given.
        return match (error.print(), error.exit_code()) {
            (Err(_), 0) => ExitCode::FAILURE,
            (_, code) => ExitCode::from(u8::try_from(code).unwrap_or(ui::MISUSED)),
        };
    }
    ui::misuse(&misuse_in_words(error), must_be_typed(error))
}

/// Returns in one line why a command line can't be read, with what it is near to as hints.
fn misuse_in_words(error: &clap::Error) -> Refusal {
    let text = error.to_string();
    let told = text.lines().map(str::trim);
    let told = told.take_while(|line| !line.starts_with("Usage:") && !line.starts_with("For more"));
    let (tips, words): (Vec<&str>, Vec<&str>) = told
        .filter(|line| !line.is_empty())
        .partition(|line| line.starts_with("tip: "));
    let words = words.join(" ");
    let label = "error: ";
    let words = words.strip_prefix(label).unwrap_or(&words);
    let refusal = Refusal::new(words);
    let tips = tips.into_iter().filter_map(|tip| tip.strip_prefix("tip: "));
    // A slip in an option's name is hardly ever a value.
    let tips = tips.filter(|tip| !tip.starts_with("to pass "));
    tips.fold(refusal, |refusal, tip| refusal.hint(tip))
}

/// Returns the words of the command that a usage error is about, with all that must be typed after them and no more;
/// `None`: the error is about one value.
fn must_be_typed(error: &clap::Error) -> Option<String> {
    let text = error.to_string();
    let usage = text.lines().find_map(|line| line.strip_prefix("Usage: "))?;
    let mut whole = command();
    whole.build();
    let mut command = &whole;
    for word in usage.split(' ').skip(1) {
        let Some(below) = command.find_subcommand(word) else {
            break;
        };
        command = below;
    }
    let usage = command.clone().render_usage().to_string();
    let mut parts = usage_parts(&usage);
    parts.retain(|part| !part.starts_with('['));
    // What is required only beside something else stands in no usage.
    if let Some(ContextValue::Strings(missing)) = error.get(ContextKind::InvalidArg) {
        let missing = missing.iter().map(String::as_str);
        let stands = |missing: &str| usage.contains(missing.trim_end_matches("..."));
        parts.extend(missing.filter(|missing| !stands(missing)));
    }
    let is_option = |part: &&str| part.starts_with("--") || part.starts_with("<--");
    let (options, words): (Vec<&str>, Vec<&str>) = parts.into_iter().partition(is_option);
    Some([words, options].concat().join(" "))
}

/// Parts a usage: each word, option with its value, and what stands in brackets.
fn usage_parts(usage: &str) -> Vec<&str> {
    let (mut parts, mut begin, mut depth) = (Vec::new(), 0, 0_usize);
    for (at, sign) in usage.char_indices() {
        match sign {
            '<' | '[' => depth += 1,
            '>' | ']' => depth = depth.saturating_sub(1),
            ' ' if depth == 0 && !usage[begin..at].starts_with("--") => {
                parts.push(&usage[begin..at]);
                begin = at + 1;
            }
            _ => {}
        }
        // An option ends with its value.
        if sign == '>' && depth == 0 && usage[begin..].starts_with("--") {
            parts.push(&usage[begin..=at]);
            begin = at + 1;
        }
    }
    parts.push(&usage[begin..]);
    parts.retain(|part| !part.trim().is_empty());
    parts
}

/// Returns the list of a command's noun as it is typed; the jobs, if the noun has none.
fn list_beside(asked: &str) -> String {
    let noun = asked.split(' ').next().unwrap_or_default();
    let command = command();
    let list = command
        .find_subcommand(noun)
        .and_then(|noun| noun.find_subcommand("list"));
    let Some(list) = list else {
        return "job list".to_owned();
    };
    let wanted = list
        .get_positionals()
        .filter(|argument| argument.is_required_set());
    let wanted = wanted.map(|argument| format!(" {}", argument.get_id().as_str().to_uppercase()));
    format!("{noun} list{}", wanted.collect::<String>())
}

fn dispatch(context: &Context, command: Command) -> Result<()> {
    match command {
        Command::Init(args) => file::cmd_init(context, args),
        Command::Demo(args) => file::cmd_demo(context, &args),
        Command::Today(args) => report::cmd_today(context, &args),
        Command::Client(command) => people::cmd_client(context, command),
        Command::Site(command) => people::cmd_site(context, command),
        Command::Room(command) => room::cmd_room(context, command),
        Command::Walk(args) => room::walk::cmd_walk(context, &args),
        Command::Finding(command) => finding::cmd_finding(context, command),
        Command::Reading(command) => reading::cmd_reading(context, command),
        Command::Worker(command) => people::cmd_worker(context, command),
        Command::Quote(command) => quote::cmd_quote(context, command),
        Command::Plan(command) => plan::cmd_plan(context, command),
        Command::Job(command) => job::cmd_job(context, command),
        Command::Daybook(args) => notes::cmd_daybook(context, &args),
        Command::Use(args) => day_book::cmd_line(context, &day_book::Line::Use(args)),
        Command::Hours(args) => day_book::cmd_line(context, &day_book::Line::Hours(args)),
        Command::Spent(args) => day_book::cmd_line(context, &day_book::Line::Spent(args)),
        Command::Drive(args) => day_book::cmd_line(context, &day_book::Line::Drive(args)),
        Command::Buy(args) => day_book::cmd_line(context, &day_book::Line::Buy(args)),
        Command::HandBack(args) => day_book::cmd_line(context, &day_book::Line::HandBack(args)),
        Command::Rental(command) => day_book::cmd_rental(context, command),
        Command::Stock(command) => day_book::cmd_stock(context, command),
        Command::Correct(args) => day_book::cmd_line(context, &day_book::Line::Correct(args)),
        Command::Void(args) => day_book::cmd_line(context, &day_book::Line::Void(args)),
        Command::Invoice(command) => invoice::cmd_invoice(context, command),
        Command::Payment(command) => invoice::cmd_payment(context, command),
        Command::Report(command) => report::cmd_report(context, command),
        Command::Rate(command) => rate::cmd_rate(context, command),
        Command::Item(command) => item::cmd_item(context, command),
        Command::Machine(command) => machine::cmd_machine(context, command),
        Command::Operation(command) => operation::cmd_operation(context, command),
        Command::Sequence(command) => method::cmd_sequence(context, command),
        Command::Schedule(command) => method::cmd_schedule(context, command),
        Command::Setting(command) => setting::cmd_setting(context, command),
        Command::TaxArea(command) => setting::cmd_tax_area(context, command),
        Command::Account(command) => setting::cmd_account(context, command),
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
    <Cli as clap::CommandFactory>::command().mut_subcommands(with_examples)
}

/// Examples that the help of a noun has.
const EXAMPLES_OF_A_NOUN: usize = 3;

/// Gives a noun the first examples of what can be done with it.
fn with_examples(command: clap::Command) -> clap::Command {
    if !command.has_subcommands() || command.get_after_long_help().is_some() {
        return command;
    }
    let examples: Vec<String> = command
        .get_subcommands()
        .filter_map(|below| {
            let help = below.get_after_long_help()?.to_string();
            help.lines().nth(1).map(str::to_owned)
        })
        .take(EXAMPLES_OF_A_NOUN)
        .collect();
    command.after_long_help(format!("Examples:\n{}", examples.join("\n")))
}

fn read_color(text: &str) -> Result<anstream::ColorChoice, String> {
    match text {
        "auto" => Ok(anstream::ColorChoice::Auto),
        "always" => Ok(anstream::ColorChoice::Always),
        "never" => Ok(anstream::ColorChoice::Never),
        _ => Err("one of: auto, always, never".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trade::{FloorCondition, Layout, Species};

    #[test]
    fn colour_is_one_of_three() {
        let words = "one of: auto, always, never";
        assert_eq!(read_color("sometimes"), Err(words.to_owned()));
    }

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

    /// Says what is wrong with the examples of a command, and of everything below it: there are some, of it, that can be
    /// read.
    fn wrong_examples(shown: &clap::Command, path: &str) -> Vec<String> {
        if shown.get_name() == "help" {
            return Vec::new();
        }
        if shown.has_subcommands() {
            let below = shown.get_subcommands();
            let wrong = below
                .map(|command| wrong_examples(command, &format!("{path} {}", command.get_name())));
            return wrong.flatten().collect();
        }
        let help = shown.get_after_long_help().map(ToString::to_string);
        let help = help.unwrap_or_default();
        let examples = help
            .lines()
            .filter_map(|line| line.strip_prefix("  gritledger "));
        let examples: Vec<String> = examples.map(|line| format!("gritledger {line}")).collect();
        if examples.is_empty() {
            return vec![format!("{path}: no example")];
        }
        let wrong = examples.iter().filter_map(|example| {
            if !example.starts_with(path) {
                return Some(format!("{path}: {example}"));
            }
            let typed = example.split(" < ").next().unwrap_or_default();
            let words = shlex::split(typed).unwrap_or_default();
            let read = command().try_get_matches_from(words);
            read.err()
                .map(|error| format!("{path}: {example}: {error}"))
        });
        wrong.collect()
    }

    #[test]
    fn every_command_has_examples_that_can_be_typed() {
        let wrong = wrong_examples(&command(), "gritledger");
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }

    /// Returns each command that is typed, with its words.
    fn typed(shown: &clap::Command, path: &str) -> Vec<(String, clap::Command)> {
        if !shown.has_subcommands() {
            return vec![(path.to_owned(), shown.clone())];
        }
        let below = shown.get_subcommands();
        let below = below.flat_map(|below| typed(below, &format!("{path} {}", below.get_name())));
        below.collect()
    }

    #[test]
    fn what_is_there_already_is_named_by_its_noun() {
        for (path, shown) in typed(&command(), "gritledger") {
            for argument in shown.get_positionals() {
                let names = argument.get_value_names().unwrap_or_default();
                let is_new = path.ends_with(" add");
                for name in names {
                    assert!(
                        is_new || !["NAME", "ADDRESS", "NUMBER"].contains(&&**name),
                        "{path} {name}"
                    );
                }
            }
        }
    }

    fn all<T: ToString>(set: &[T]) -> Vec<String> {
        set.iter().map(ToString::to_string).collect()
    }

    #[test]
    fn what_may_be_typed_is_listed_where_it_is_needed() {
        let seeds = include_str!("../../seed-data/operations.csv");
        let mut operations = csv::Reader::from_reader(seeds.as_bytes());
        let answers = operations
            .headers()
            .unwrap()
            .iter()
            .position(|name| name == "for_finding");
        let kinds = operations
            .records()
            .map(|row| row.unwrap()[answers.unwrap()].to_owned());
        let kinds: Vec<String> = kinds.filter(|kind| !kind.is_empty()).collect();
        let conditions = all(FloorCondition::ALL);
        let species = all(Species::ALL);
        let layouts = all(Layout::ALL);
        for (path, listed) in [
            ("finding add", &kinds),
            ("operation add", &kinds),
            ("room add", &conditions),
            ("room add", &species),
            ("room add", &layouts),
            ("room edit", &conditions),
            ("room edit", &species),
            ("rate show", &conditions),
            ("rate show", &species),
            ("rate set", &conditions),
            ("rate set", &species),
            ("rate predict", &conditions),
            ("rate predict", &species),
        ] {
            let mut shown = command();
            shown.build();
            for word in path.split(' ') {
                shown = shown.find_subcommand(word).unwrap().clone();
            }
            let help = shown.render_long_help().to_string();
            let is_there = |word: &&String| {
                let mut words = help.split(|sign: char| !sign.is_alphanumeric() && sign != '-');
                words.any(|shown| shown == **word)
            };
            let missing: Vec<&String> = listed.iter().filter(|word| !is_there(word)).collect();
            assert!(missing.is_empty(), "{path} --help: {missing:?}");
        }
    }

    #[test]
    fn every_command_and_argument_has_a_line_of_help() {
        check_help(&command(), "gritledger");
    }
}
