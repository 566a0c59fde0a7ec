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

use super::day_book::{Line, Noted, Said, Standing, add_budgets, write_line};
use super::misuse_in_words;
use super::read::read_date;
use super::ui::{Context, Remark, is_stdout, somebody_is_there};
use crate::document::count;
use crate::document::job::DayBookAnswer;
use crate::ledger::{Ledger, Refusal, Writing, near_names, refuse};

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

/// A line of the day book in notes.
struct Note {
    number: usize,
    line: Line,
    /// The lines that say what it doesn't say itself.
    rests_on: Vec<usize>,
}

/// A line that says something of those after it: `room Den`.
struct Head {
    word: &'static str,
    said: Said,
}

/// Notes as they were read.
#[derive(Default)]
struct Notes {
    lines: Vec<Note>,
    heads: Vec<Head>,
    mistakes: Vec<Mistake>,
}

impl Notes {
    fn read(text: &str) -> Notes {
        let mut notes = Notes::default();
        let mut standing = Standing::default();
        for (number, text) in (1..).zip(text.trim_start_matches('\u{feff}').lines()) {
            match read_note(number, text.trim(), &mut standing) {
                Ok(Read::Lines(lines)) => notes.lines.extend(lines),
                Ok(Read::Head(head)) => notes.heads.extend(head),
                Err(error) => notes.mistakes.push(mistake(number, &error)),
            }
        }
        notes
    }

    /// Returns what is wrong with what lines say of those after them.
    fn wrong_heads(&self, context: &Context, ledger: &Ledger) -> Vec<Mistake> {
        let wrong = self.heads.iter().filter_map(|Head { word, said }| {
            let found = match *word {
                "on" => read_date(context, ledger, Some(&said.text)).map(|_| ()),
                "job" => ledger.job(&said.text).map(|_| ()),
                // Which room is meant follows from the job of each line.
                _ => Ok(()),
            };
            found.err().map(|error| mistake(said.line, &error))
        });
        wrong.collect()
    }

    /// Says which of these lines say something that no line goes by.
    fn unused_heads(&self) -> impl Iterator<Item = Remark> {
        let is_used = |line| self.lines.iter().any(|note| note.rests_on.contains(&line));
        let unused = self
            .heads
            .iter()
            .filter(move |head| !is_used(head.said.line));
        unused.map(|Head { word, said }| {
            let Said { text, line } = said;
            Remark::Warning(format!("line {line}: no line goes by `{word} {text}`"))
        })
    }
}

pub(super) fn cmd_daybook(context: &Context, args: &DaybookArgs) -> Result<()> {
    context.refuse_csv()?;
    let notes = Notes::read(&read_notes(args)?);
    if notes.lines.is_empty() && notes.mistakes.is_empty() {
        return Err(Refusal::new("there is no line to write")
            .hint("gritledger daybook FILE")
            .into());
    }
    context.write(|writing| {
        let mut written = write_notes(context, writing, &notes)?;
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
        let remarks = remarks.into_iter().chain(notes.unused_heads());
        remarks.for_each(|remark| context.remark(&remark));
        Ok(())
    })
}

/// Writes the lines; those that can be read are tried beside mistakes, so that all are told at once.
fn write_notes(context: &Context, writing: &Writing<'_>, notes: &Notes) -> Result<Vec<Noted>> {
    let mut mistakes = notes.wrong_heads(context, writing);
    let wrong: Vec<usize> = mistakes.iter().map(|mistake| mistake.line).collect();
    mistakes.extend(notes.mistakes.iter().cloned());
    let mut written = Vec::new();
    for note in &notes.lines {
        if note.rests_on.iter().any(|line| wrong.contains(line)) {
            continue;
        }
        let outcome = context.at_line(note.number, || write_line(context, writing, &note.line));
        match outcome {
            Ok(noted) => written.push(noted),
            Err(error) if !Context::is_doubt(&error) => mistakes.push(mistake(note.number, &error)),
            Err(doubt) if mistakes.is_empty() => return Err(doubt),
            Err(_) => {}
        }
    }
    match mistakes.is_empty() {
        true => Ok(written),
        false => Err(none_written(mistakes)),
    }
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

/// What a line of notes comes to.
enum Read {
    /// Lines of the day book; none, if it says nothing.
    Lines(Vec<Note>),
    /// What it says of the lines after it; `None`: it takes that back.
    Head(Option<Head>),
}

fn read_note(number: usize, text: &str, standing: &mut Standing) -> Result<Read> {
    if text.is_empty() || text.starts_with('#') {
        return Ok(Read::Lines(Vec::new()));
    }
    let (first, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    let (word, place) = match first {
        "room" => ("room", &mut standing.rooms),
        "job" => ("job", &mut standing.job),
        "on" => ("on", &mut standing.date),
        _ => return read_lines(number, text, first, standing).map(Read::Lines),
    };
    let (text, line) = (unquoted(rest.trim()).to_owned(), number);
    *place = (!text.is_empty()).then_some(Said { text, line });
    let said = place.clone();
    Ok(Read::Head(said.map(|said| Head { word, said })))
}

/// Returns words without the quotation marks around them: in a note they need none, and many type them all the same.
fn unquoted(words: &str) -> &str {
    let inner = words
        .strip_prefix('"')
        .and_then(|rest| rest.strip_suffix('"'));
    inner.filter(|inner| !inner.contains('"')).unwrap_or(words)
}

/// Reads one line of the day book, or all that a line says of a room.
fn read_lines(number: usize, text: &str, word: &str, standing: &Standing) -> Result<Vec<Note>> {
    let is_command = Typed::command().find_subcommand(word).is_some();
    let Some((room, things)) = text.split_once(": ").filter(|_| !is_command) else {
        let Some(words) = shlex::split(text) else {
            refuse!("a quotation mark has no second one: {text}");
        };
        return match is_command {
            true => Ok(vec![read_line(number, words, standing)?]),
            false => Err(no_line(text, word)),
        };
    };
    let (text, line) = (unquoted(room.trim()).to_owned(), number);
    let here = Standing {
        rooms: Some(Said { text, line }),
        ..standing.clone()
    };
    let things = things.split(", ").filter(|thing| !thing.trim().is_empty());
    things
        .map(|thing| read_line(number, in_full(thing)?, &here))
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

fn read_line(number: usize, words: Vec<String>, standing: &Standing) -> Result<Note> {
    let typed = Typed::try_parse_from(words).map_err(|error| misuse_in_words(&error))?;
    let mut line = typed.line;
    let rests_on = line.stand_in(standing);
    Ok(Note {
        number,
        line,
        rests_on,
    })
}

/// Returns the words of a line for what was done in a room: hours are told by a figure in front of a word, `45m sand`, and
/// what was used by a figure at its end, `36 6`, `oil 1qt`.
fn in_full(thing: &str) -> Result<Vec<String>> {
    let begins_with_digit = |word: &&str| word.starts_with(|sign: char| sign.is_ascii_digit());
    let words: Vec<&str> = thing.split_whitespace().collect();
    let [command, one, other] = match &words[..] {
        [] | [_] => {
            return Err(Refusal::new(format!("`{thing}` doesn't say how much"))
                .hint("45m sand, 36 6")
                .into());
        }
        [hours @ .., task] if begins_with_digit(&words[0]) && !begins_with_digit(task) => {
            ["hours".to_owned(), hours.join(" "), (*task).to_owned()]
        }
        [item, quantity @ ..] => ["use".to_owned(), (*item).to_owned(), quantity.join(" ")],
    };
    Ok(vec![command, one, other])
}

/// What is wrong with a line.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Mistake {
    line: usize,
    /// In one line.
    told: String,
    /// What to type, each a command.
    commands: Vec<String>,
}

fn mistake(line: usize, error: &anyhow::Error) -> Mistake {
    let hints = error.downcast_ref::<Refusal>();
    let hints = hints
        .map_or(&[][..], |refusal| &refusal.hints)
        .iter()
        .cloned();
    let (commands, words): (Vec<String>, Vec<String>) =
        hints.partition(|hint| hint.starts_with("gritledger "));
    let causes = error.chain().map(ToString::to_string);
    let told: Vec<String> = causes.chain(words).collect();
    Mistake {
        line,
        told: told.join("; "),
        commands,
    }
}

fn none_written(mut mistakes: Vec<Mistake>) -> anyhow::Error {
    mistakes.sort();
    let mut refusal = Refusal::new(match &mistakes[..] {
        [_] => "nothing was written: a line has a mistake".to_owned(),
        several => format!(
            "nothing was written: {} have mistakes",
            count(several.len(), "line")
        ),
    });
    for Mistake { line, told, .. } in &mistakes {
        refusal = refusal.hint(format!("line {line}: {told}"));
    }
    for command in mistakes.into_iter().flat_map(|mistake| mistake.commands) {
        if !refusal.hints.contains(&command) {
            refusal = refusal.hint(command);
        }
    }
    refusal.into()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reads notes that have no mistake; returns their lines in words.
    fn lines(text: &str) -> Vec<String> {
        let notes = Notes::read(text);
        assert_eq!(notes.mistakes, [], "{text}");
        let lines = notes.lines.iter();
        lines.map(|note| format!("{:?}", note.line)).collect()
    }

    #[test]
    fn a_line_says_all_of_a_room() {
        let short =
            "room Den\njob J2\nBack bedroom: 45m sand, 36 6, 1 1/2 edge, oil 1/2 gal\nuse 36 6";
        let long = "job J2\n\
                    hours 45m sand --room 'Back bedroom'\n\
                    use 36 6 --room 'Back bedroom'\n\
                    hours '1 1/2' edge --room 'Back bedroom'\n\
                    use oil '1/2 gal' --room 'Back bedroom'\n\
                    use 36 6 --room Den";
        assert_eq!(lines(short), lines(long));
        for (text, told) in [
            ("Den: 36", "`36` doesn't say how much; 45m sand, 36 6"),
            (
                "Den: 36 6, sand",
                "`sand` doesn't say how much; 45m sand, 36 6",
            ),
        ] {
            let mistakes = Notes::read(text).mistakes;
            assert_eq!((mistakes[0].line, mistakes[0].told.as_str()), (1, told));
        }
    }

    #[test]
    fn a_line_says_what_the_next_have_in_common() {
        let heads = "\n# Monday\nroom Den, Parlour\njob J2\non yesterday\n";
        assert_eq!(
            lines(&format!(
                "{heads}use 36 6 --room Attic\nhours 1:30 --on sand\nroom\ndrive 9"
            )),
            lines(
                "use 36 6 --room Attic --job J2 --date yesterday\n\
                 hours 1:30 --on sand --room 'Den, Parlour' --job J2 --date yesterday\n\
                 drive 9 --job J2 --date yesterday"
            )
        );
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
            let mistakes = Notes::read(text).mistakes;
            assert!(mistakes[0].told.starts_with(told), "{mistakes:?}");
        }
    }

    #[test]
    fn a_line_that_none_goes_by_is_known() {
        let text = "on mon\nroom Den\nroom Parlour\nuse 36 6 --date today\non tue\nrental back buffer --at 07:45\njob J2";
        let notes = Notes::read(text);
        let unused: Vec<usize> = notes
            .heads
            .iter()
            .map(|head| head.said.line)
            .filter(|line| !notes.lines.iter().any(|note| note.rests_on.contains(line)))
            .collect();
        assert_eq!(unused, [1, 2, 7]);
        assert_eq!(notes.unused_heads().count(), 3);
    }
}
