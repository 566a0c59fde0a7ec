//! `daybook`: many lines of the day book at once, as somebody notes them through the day.
//!
//! A line is a command of the day book without the program's name, `use 36 6`, or says what the lines after it have in
//! common: `room Den`, `job J1`, `on yesterday`; the same word alone takes that back. What was used and done in a room fits
//! one line, `Den: 45m sand, 36 6, oil 1qt`. All lines are written in one transaction, or none; every mistake is told with
//! its line.

use std::io::BufRead as _;
use std::path::PathBuf;

use anyhow::{Context as _, Result};
use clap::{Args, CommandFactory as _, Parser};

use super::day_book::{Line, Standing, add_budgets, write_line};
use super::read::read_date;
use super::ui::{Context, is_stdout, somebody_is_there};
use crate::document::count;
use crate::document::job::DayBookAnswer;
use crate::ledger::{Refusal, near_names, refuse};

/// Write many lines of the day book at once
///
/// One line each, as it is typed without the program's name; or all of a room in one: Den: 45m sand, 36 6, oil 1qt. Lines such as room Den, job J1 and on yesterday stand for those
/// after them; what a line says itself goes first. Lines that begin with # are passed over. All of them are written, or
/// none. Typed by hand, an empty line ends them.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger daybook notes.txt\n  gritledger daybook < notes.txt"
)]
pub(super) struct DaybookArgs {
    /// The file (default: what is typed)
    file: Option<PathBuf>,
}

/// One line, as the command line reads it.
#[derive(Debug, Parser)]
#[command(
    no_binary_name = true,
    disable_help_subcommand = true,
    disable_help_flag = true
)]
struct Typed {
    #[command(subcommand)]
    line: Line,
}

/// A line of notes with its number.
struct Note {
    number: usize,
    line: Line,
    /// The line that says its day.
    day: Option<usize>,
}

pub(super) fn cmd_daybook(context: &Context, args: &DaybookArgs) -> Result<()> {
    let text = read_notes(args)?;
    let text = text.trim_start_matches('\u{feff}');
    let mut mistakes = Vec::new();
    let mut notes = Vec::new();
    let mut days = Vec::new();
    let mut standing = Standing::default();
    for (place, text) in text.lines().enumerate() {
        let (number, before) = (place + 1, standing.date.clone());
        match read_note(text.trim(), &mut standing) {
            Ok(lines) => notes.extend(lines.into_iter().map(|line| Note {
                number,
                line,
                day: days.last().map(|(day, _)| *day),
            })),
            Err(error) => mistakes.push(mistake(number, &error)),
        }
        if standing.date != before {
            days.push((number, standing.date.clone()));
        }
    }
    if notes.is_empty() && mistakes.is_empty() {
        return Err(Refusal::new("there is no line to write")
            .hint("gritledger daybook FILE")
            .into());
    }
    context.write(|writing| {
        // Those that can be read are tried beside mistakes, so that all are told at once.
        let (mut written, mut mistakes) = (Vec::new(), mistakes.clone());
        let mut no_days = Vec::new();
        for (number, day) in &days {
            if let Err(error) = read_date(context, writing, day.as_deref()) {
                mistakes.push(mistake(*number, &error));
                no_days.push(Some(*number));
            }
        }
        for note in notes.iter().filter(|note| !no_days.contains(&note.day)) {
            match write_line(context, writing, &note.line) {
                Ok(noted) => written.push(noted),
                Err(error) if !Context::is_doubt(&error) => {
                    mistakes.push(mistake(note.number, &error));
                }
                Err(doubt) if mistakes.is_empty() => return Err(doubt),
                Err(_) => {}
            }
        }
        if !mistakes.is_empty() {
            return Err(none_written(mistakes));
        }
        add_budgets(context, writing, &mut written)?;
        let (mut lines, mut remarks) = (Vec::new(), Vec::new());
        for noted in written {
            // A later line may have taken it back.
            if noted.stands(writing)? {
                remarks.extend(noted.remarks);
            }
            lines.push(noted.answer);
        }
        context.give(writing, DayBookAnswer::new(lines))?;
        remarks.iter().for_each(|remark| context.remark(remark));
        Ok(())
    })
}

fn read_notes(args: &DaybookArgs) -> Result<String> {
    match &args.file {
        Some(path) if !is_stdout(path) => std::fs::read_to_string(path)
            .with_context(|| format!("failed to read `{}`", path.display())),
        _ => {
            let mut text = String::new();
            for line in std::io::stdin().lock().lines() {
                let line = line.context("failed to read the lines")?;
                if line.trim().is_empty() && somebody_is_there() {
                    break;
                }
                text.push_str(&line);
                text.push('\n');
            }
            Ok(text)
        }
    }
}

/// Reads a line of notes; none: it says something of the lines after it, or nothing.
fn read_note(text: &str, standing: &mut Standing) -> Result<Vec<Line>> {
    if text.is_empty() || text.starts_with('#') {
        return Ok(Vec::new());
    }
    let (word, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    let rest = Some(rest.trim().to_owned()).filter(|rest| !rest.is_empty());
    match word {
        "room" => standing.rooms = rest,
        "job" => standing.job = rest,
        "on" => standing.date = rest,
        _ => return read_lines(text, word, standing),
    }
    Ok(Vec::new())
}

/// Reads one line of the day book, or all that a line says of a room.
fn read_lines(text: &str, word: &str, standing: &Standing) -> Result<Vec<Line>> {
    let is_command = Typed::command().find_subcommand(word).is_some();
    let Some((room, things)) = text.split_once(": ").filter(|_| !is_command) else {
        let Some(words) = shlex::split(text) else {
            refuse!("a quotation mark has no second one: {text}");
        };
        return match is_command {
            true => Ok(vec![read_line(words, standing)?]),
            false => Err(no_line(text, word)),
        };
    };
    let here = Standing {
        rooms: Some(room.trim().to_owned()),
        ..standing.clone()
    };
    let things = things.split(", ").filter(|thing| !thing.trim().is_empty());
    things
        .map(|thing| read_line(in_full(thing)?, &here))
        .collect()
}

/// Refuses what neither begins with a command nor has a colon behind its room.
fn no_line(text: &str, word: &str) -> anyhow::Error {
    let refusal = Refusal::new(format!("`{word}` is no command of the day book"));
    let commands = Typed::command();
    let commands = commands.get_subcommands().map(clap::Command::get_name);
    let near = near_names(&word.to_lowercase(), commands);
    let is_figure =
        |(at, _): &(usize, &str)| text[at + 1..].starts_with(|sign: char| sign.is_ascii_digit());
    let refusal = match near.is_empty() {
        true => refusal,
        false => refusal.hint(format!("near commands: {}", near.join(", "))),
    };
    let (room, things) = match text.match_indices(' ').find(is_figure) {
        Some((at, _)) => text.split_at(at),
        None => ("Den", " 45m sand, 36 6"),
    };
    refusal
        .hint(format!("a room has a colon behind it, {room}:{things}"))
        .into()
}

fn read_line(words: Vec<String>, standing: &Standing) -> Result<Line> {
    let typed = Typed::try_parse_from(words).map_err(|error| in_a_line(&error))?;
    let mut line = typed.line;
    line.stand_in(standing);
    Ok(line)
}

/// Returns the words of a line for what was done in a room: hours are told by a figure in front of a word, `45m sand`, and
/// what was used by a figure at its end, `36 6`, `oil 1qt`.
fn in_full(thing: &str) -> Result<Vec<String>> {
    let begins_with_digit = |word: &&str| word.starts_with(|sign: char| sign.is_ascii_digit());
    let words: Vec<&str> = thing.split_whitespace().collect();
    let (Some(first), Some(last)) = (words.first(), words.last()) else {
        refuse!("nothing is said between two commas");
    };
    let [command, one, other] = match words.len() {
        1 => {
            return Err(Refusal::new(format!("`{thing}` doesn't say how much"))
                .hint("45m sand, 36 6")
                .into());
        }
        _ if begins_with_digit(first) && !begins_with_digit(last) => {
            let (task, hours) = (last, &words[..words.len() - 1]);
            ["hours".to_owned(), hours.join(" "), (*task).to_owned()]
        }
        _ => ["use".to_owned(), (*first).to_owned(), words[1..].join(" ")],
    };
    Ok(vec![command, one, other])
}

/// Returns in one line why a line can't be read.
fn in_a_line(error: &clap::Error) -> Refusal {
    let text = error.to_string();
    let told: Vec<&str> = text
        .lines()
        .map(str::trim)
        .take_while(|line| !line.starts_with("Usage:") && !line.starts_with("For more"))
        .filter(|line| !line.is_empty())
        .collect();
    let told = told.join(" ");
    Refusal::new(told.strip_prefix("error: ").unwrap_or(&told))
}

/// A line's number, and what is wrong with it in one line.
type Mistake = (usize, String);

fn mistake(number: usize, error: &anyhow::Error) -> Mistake {
    let hints = error.downcast_ref::<Refusal>();
    let hints = hints.map_or(&[][..], |refusal| &refusal.hints);
    let causes = error.chain().map(ToString::to_string);
    let told: Vec<String> = causes.chain(hints.iter().cloned()).collect();
    (number, told.join("; "))
}

fn none_written(mut mistakes: Vec<Mistake>) -> anyhow::Error {
    mistakes.sort();
    let refusal = Refusal::new(match &mistakes[..] {
        [_] => "nothing was written: a line has a mistake".to_owned(),
        several => format!(
            "nothing was written: {} have mistakes",
            count(several.len(), "line")
        ),
    });
    let told = |refusal: Refusal, (number, told)| refusal.hint(format!("line {number}: {told}"));
    mistakes.into_iter().fold(refusal, told).into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_says_all_of_a_room() {
        let standing = &mut Standing {
            rooms: Some("Den".to_owned()),
            job: Some("J2".to_owned()),
            date: None,
        };
        let short = "Back bedroom: 45m sand, 36 6, 1 1/2 edge, oil 1/2 gal";
        let long = [
            "hours 45m sand --room 'Back bedroom'",
            "use 36 6 --room 'Back bedroom'",
            "hours '1 1/2' edge --room 'Back bedroom'",
            "use oil '1/2 gal' --room 'Back bedroom'",
        ];
        let told = |line: &Line| format!("{line:?}");
        let short: Vec<String> = read_note(short, standing)
            .unwrap()
            .iter()
            .map(told)
            .collect();
        let long = long.map(|line| told(&read_note(line, standing).unwrap()[0]));
        assert_eq!(short, long);
        // It says nothing of the lines after it.
        assert!(format!("{:?}", read_note("use 36 6", standing).unwrap()).contains("\"Den\""));
        for (text, told) in [
            ("Den: 36", "`36` doesn't say how much"),
            ("Den: 36 6, sand", "`sand` doesn't say how much"),
        ] {
            assert_eq!(read_note(text, standing).unwrap_err().to_string(), told);
        }
    }

    #[test]
    fn a_line_says_what_the_next_have_in_common() {
        let mut standing = Standing::default();
        for text in [
            "",
            "# Monday",
            "room Den, Parlour",
            "job J2",
            "on yesterday",
        ] {
            assert!(read_note(text, &mut standing).unwrap().is_empty(), "{text}");
        }
        let line = read_note("use 36 6 --room Attic", &mut standing).unwrap();
        assert_eq!(line.len(), 1);
        let told = format!("{line:?}");
        assert!(
            told.contains("\"Attic\"") && !told.contains("Parlour"),
            "{told}"
        );
        assert!(
            told.contains("\"J2\"") && told.contains("\"yesterday\""),
            "{told}"
        );
        let line = read_note("hours 1:30 --on sand", &mut standing).unwrap();
        assert!(format!("{line:?}").contains("\"Den, Parlour\""));
        read_note("room", &mut standing).unwrap();
        let line = read_note("hours 1:30 --on sand", &mut standing).unwrap();
        assert!(!format!("{line:?}").contains("Den"));
        for (text, told) in [
            ("usw 36 6", "`usw` is no command of the day book"),
            (
                "use 36",
                "the following required arguments were not provided: <QUANTITY>",
            ),
            (
                "spent 18 --for \"bin",
                "a quotation mark has no second one: spent 18 --for \"bin",
            ),
        ] {
            let error = read_note(text, &mut standing).unwrap_err();
            assert!(error.to_string().starts_with(told), "{error}");
        }
    }
}
