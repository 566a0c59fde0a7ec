//! Talking to the person: streams, width, colour, the clock, and what an error becomes.
//!
//! stdout is the answer; stderr is everything else. The environment and the machine's clock are read here and nowhere
//! else.

use std::io::{self, IsTerminal, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use anstyle::{AnsiColor, Style};
use anyhow::{Context as _, Result};
use chrono::{NaiveDate, NaiveDateTime};
use etcetera::BaseStrategy;
use serde_json::Value;

use super::Globals;
use crate::document::Page;
use crate::ledger::{Clock, Ledger, Refusal, Writing};

/// Columns assumed when nothing says.
const USUAL_WIDTH: usize = 80;

/// Everything a command needs beside its own arguments.
#[derive(Debug)]
pub(crate) struct Context {
    globals: Globals,
    clock: Clock,
    width: usize,
    unicode: bool,
}

impl Context {
    pub(crate) fn new(globals: Globals) -> Result<Context> {
        globals.color.write_global();
        let clock = clock()?;
        Ok(Context {
            globals,
            clock,
            width: width(),
            unicode: speaks_utf8(),
        })
    }

    pub(crate) fn clock(&self) -> Clock {
        self.clock
    }

    pub(crate) fn today(&self) -> NaiveDate {
        self.clock.today
    }

    pub(crate) fn dry_run(&self) -> bool {
        self.globals.dry_run
    }

    /// Returns where the ledger is: `--ledger`, `GRITLEDGER_PATH`, or the platform's data directory.
    pub(crate) fn ledger_path(&self) -> Result<PathBuf> {
        if let Some(path) = &self.globals.ledger {
            return Ok(path.clone());
        }
        let base =
            etcetera::choose_base_strategy().context("failed to find your data directory")?;
        Ok(base.data_dir().join("gritledger").join("ledger.db"))
    }

    pub(crate) fn open(&self) -> Result<Ledger> {
        Ledger::open(&self.ledger_path()?, self.clock)
    }

    pub(crate) fn page(&self, ledger: &Ledger) -> Page {
        Page {
            currency: ledger.currency(),
            units: ledger.units(),
            width: self.width,
            unicode: self.unicode,
        }
    }

    /// Does the events in one transaction; with `--dry-run` they are rolled back, and that is said.
    pub(crate) fn write<T>(
        &self,
        ledger: &Ledger,
        events: impl FnOnce(&Writing<'_>) -> Result<T>,
    ) -> Result<T> {
        let outcome = ledger.write(self.dry_run(), events)?;
        if self.dry_run() {
            self.status("Dry run: nothing was written.");
        }
        Ok(outcome)
    }

    /// Gives the answer: JSON if asked for, else text.
    pub(crate) fn answer(
        &self,
        json: impl FnOnce() -> Value,
        text: impl FnOnce() -> String,
    ) -> Result<()> {
        let text = if self.globals.json {
            serde_json::to_string_pretty(&json()).context("failed to write JSON")?
        } else {
            text()
        };
        self.print(text.trim_end())
    }

    /// Gives a JSON answer to whoever asked for one; people were told in a sentence.
    pub(crate) fn answer_if_json(&self, json: impl FnOnce() -> Value) -> Result<()> {
        if self.globals.json {
            self.answer(json, String::new)
        } else {
            Ok(())
        }
    }

    /// Gives an answer that is a file of its own: CSV, completions, a manual page.
    pub(crate) fn print(&self, text: &str) -> Result<()> {
        let mut stdout = anstream::stdout().lock();
        writeln!(stdout, "{text}").context("failed to write the answer")
    }

    /// Says what was done, as a sentence; silenced by `--quiet`.
    pub(crate) fn status(&self, sentence: &str) {
        if !self.globals.quiet {
            say(&crate::document::inert(sentence));
        }
    }

    /// Says what to mind.
    pub(crate) fn warn(&self, words: &str) {
        labelled("warning", AnsiColor::Yellow, words);
    }

    /// Says what to type.
    pub(crate) fn hint(&self, words: &str) {
        if !self.globals.quiet {
            labelled("hint", AnsiColor::Cyan, words);
        }
    }

    /// Asks a person whether something is so; `None`: nobody is there to answer.
    pub(crate) fn ask(&self, question: &str) -> Result<Option<bool>> {
        if !io::stdin().is_terminal() || !io::stderr().is_terminal() {
            return Ok(None);
        }
        loop {
            let _ = write!(
                anstream::stderr().lock(),
                "{} [yes/no] ",
                crate::document::inert(question)
            );
            let mut answer = String::new();
            if io::stdin()
                .read_line(&mut answer)
                .context("failed to read the answer")?
                == 0
            {
                return Ok(Some(false));
            }
            match answer.trim().to_lowercase().as_str() {
                "y" | "yes" => return Ok(Some(true)),
                "n" | "no" => return Ok(Some(false)),
                _ => say("Please answer yes or no."),
            }
        }
    }

    /// Tells whether JSON was asked for.
    pub(crate) fn json(&self) -> bool {
        self.globals.json
    }
}

/// Says one line on stderr. A stderr that is gone can't be told so.
fn say(words: &str) {
    let _ = writeln!(anstream::stderr().lock(), "{words}");
}

fn labelled(label: &str, color: AnsiColor, words: &str) {
    let style = Style::new().fg_color(Some(color.into())).bold();
    let words = words
        .split('\n')
        .map(crate::document::inert)
        .collect::<Vec<_>>()
        .join("\n");
    say(&format!("{style}{label}:{style:#} {words}"));
}

/// Tells an error and returns the exit code that it calls for.
pub(crate) fn fail(error: &anyhow::Error) -> ExitCode {
    let broken_pipe = error.chain().any(|cause| {
        cause
            .downcast_ref::<io::Error>()
            .is_some_and(|error| error.kind() == io::ErrorKind::BrokenPipe)
    });
    if broken_pipe {
        // Whoever read the answer has had enough of it.
        return ExitCode::SUCCESS;
    }
    labelled("error", AnsiColor::Red, &error.to_string());
    for cause in error.chain().skip(1) {
        labelled("caused by", AnsiColor::Red, &cause.to_string());
    }
    for refusal in error
        .chain()
        .filter_map(|cause| cause.downcast_ref::<Refusal>())
    {
        for hint in &refusal.hints {
            labelled("hint", AnsiColor::Cyan, hint);
        }
    }
    ExitCode::from(1)
}

fn variable(name: &str) -> Option<String> {
    #[expect(
        clippy::disallowed_methods,
        reason = "this is the one place that reads the environment"
    )]
    std::env::var(name).ok().filter(|value| !value.is_empty())
}

/// Returns the time: the machine's, or the start of `GRITLEDGER_TODAY`.
fn clock() -> Result<Clock> {
    match variable("GRITLEDGER_TODAY") {
        Some(text) => {
            let Ok(today) = NaiveDate::parse_from_str(&text, "%Y-%m-%d") else {
                return Err(Refusal::new(format!(
                    "GRITLEDGER_TODAY is `{text}`, not a date like 2026-03-02"
                ))
                .into());
            };
            Ok(Clock::at(today))
        }
        None => {
            #[expect(
                clippy::disallowed_methods,
                reason = "this is the one place that reads the clock"
            )]
            let now: NaiveDateTime = chrono::Local::now().naive_local();
            Ok(Clock {
                today: now.date(),
                now,
            })
        }
    }
}

fn width() -> usize {
    let told = variable("COLUMNS")
        .and_then(|columns| columns.parse().ok())
        .filter(|columns| *columns > 0);
    let seen = || terminal_size::terminal_size().map(|(width, _)| usize::from(width.0));
    told.or_else(seen).unwrap_or(USUAL_WIDTH)
}

fn speaks_utf8() -> bool {
    let told = variable("LC_ALL")
        .or_else(|| variable("LC_CTYPE"))
        .or_else(|| variable("LANG"));
    told.is_some_and(|locale| {
        let locale = locale.to_ascii_lowercase();
        locale.contains("utf-8") || locale.contains("utf8")
    })
}
