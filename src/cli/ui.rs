//! Talking to the person: streams, width, colour, the clock, and what an error becomes.
//!
//! stdout is the answer; stderr is everything else. The environment and the machine's clock are read here and nowhere
//! else.
//!
//! A command meets the ledger inside [`Context::read`] or [`Context::write`], so that everything an answer shows is of
//! one moment, and everything that a write rests on still holds when it is written. Whatever the command says meanwhile
//! is kept and said when the ledger is free again: nobody waits for a pager, or for a person to make up their mind.

use std::cell::Cell;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fmt;
use std::io::{self, BufWriter, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

use anstyle::{AnsiColor, Style};
use anyhow::{Context as _, Result};
use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime, Timelike};
use etcetera::BaseStrategy;
use serde::Serialize;
use thiserror::Error;

use super::Globals;
use crate::document::{Answer, List, Page, Told};
use crate::files::Outlet;
use crate::ledger::{Clock, Ledger, Refusal, Writing, refuse};
use crate::money::within;

/// The exit code of what was done though its answer could not be delivered.
const DONE_UNTOLD: u8 = 3;

/// The exit code of a command line that can't be read.
pub(crate) const MISUSED: u8 = 2;

/// Sentences of what was done that are said then.
const MOST_SAID: usize = 3;

/// Years that the clock may be in: outside of them it is wrong, and the arithmetic of dates ends.
const YEARS: std::ops::RangeInclusive<i32> = 1990..=2999;

/// Columns assumed when nothing says.
const USUAL_WIDTH: usize = 80;

/// Everything a command needs beside its own arguments.
#[derive(Debug)]
pub(crate) struct Context {
    globals: Globals,
    /// The words of the command: `client show`.
    asked: String,
    clock: Clock,
    time: NaiveTime,
    width: usize,
    unicode: bool,
    said: RefCell<Vec<Said>>,
    confirmed: RefCell<Vec<String>>,
    lines: RefCell<Lines>,
    /// What was done for good, a sentence each: it is said if the answer can't be delivered.
    done: RefCell<Vec<String>>,
}

/// Lines that are written at once.
#[derive(Debug, Default)]
struct Lines {
    /// The one that is being written.
    at: Option<usize>,
    /// Which of them wrote an entry.
    wrote: BTreeMap<String, usize>,
}

/// Something said, and on which stream.
#[derive(Debug)]
enum Said {
    Answer(String),
    Value(Printed),
    Status(String),
    Warning(String),
    Hint(String),
}

/// What prints a value.
struct Printed(Box<Print>);

type Print = dyn FnOnce(&mut dyn Write) -> io::Result<()>;

impl fmt::Debug for Printed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Printed")
    }
}

/// Something to be said of what was done, after the answer.
#[derive(Clone, Debug)]
pub(crate) enum Remark {
    /// That something is perhaps not as it should be.
    Warning(String),
    /// What to type next.
    Hint(String),
}

/// What only the person can judge: it ends the transaction that it came up in, and then they are asked.
#[derive(Debug, Error)]
#[error("{words}")]
struct Doubt {
    words: String,
    /// What to type if it isn't meant; `None`: it is a slip, or it is not.
    instead: Option<String>,
    /// The line that it came up in, of several that are written at once.
    line: Option<usize>,
}

impl Context {
    pub(crate) fn new(globals: Globals, asked: String) -> Result<Context> {
        globals.color.write_global();
        let (clock, time) = clock()?;
        Ok(Context {
            globals,
            asked,
            clock,
            time,
            width: width(),
            unicode: speaks_utf8(),
            said: RefCell::default(),
            confirmed: RefCell::default(),
            lines: RefCell::default(),
            done: RefCell::default(),
        })
    }

    pub(crate) fn clock(&self) -> Clock {
        self.clock
    }

    pub(crate) fn today(&self) -> NaiveDate {
        self.clock.today
    }

    /// Returns the moment that it is, to the minute: `GRITLEDGER_TODAY` may fix it.
    pub(crate) fn now(&self) -> NaiveDateTime {
        self.clock.today.and_time(self.time)
    }

    pub(crate) fn dry_run(&self) -> bool {
        self.globals.dry_run
    }

    /// Returns where the ledger is: `--ledger`, `GRITLEDGER_PATH`, or the platform's data directory.
    pub(crate) fn ledger_path(&self) -> Result<PathBuf> {
        if let Some(path) = &self.globals.ledger {
            return Ok(path.clone());
        }
        if let Some(path) = variable("GRITLEDGER_PATH") {
            return Ok(PathBuf::from(path));
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

    /// Answers a question from one snapshot of the ledger.
    pub(crate) fn read<T>(&self, questions: impl Fn(&Ledger) -> Result<T>) -> Result<T> {
        let ledger = self.open()?;
        self.settle(|| ledger.read(&questions))
    }

    /// Does the events in one transaction; with `--dry-run` they are rolled back, and that is said.
    pub(crate) fn write<T>(&self, events: impl Fn(&Writing<'_>) -> Result<T>) -> Result<T> {
        self.refuse_csv()?;
        let ledger = self.open()?;
        let outcome = self.settle(|| {
            if self.dry_run() {
                self.status("Dry run: nothing was written.");
            }
            ledger.write(self.dry_run(), &events)
        })?;
        self.done.borrow_mut().extend(ledger.take_said());
        Ok(outcome)
    }

    /// Does work in which doubts may come up: its transaction ends with the doubt, the person is asked, and the work
    /// begins anew on the ledger as it is then. What has changed meanwhile is judged again, and asked about again if it
    /// must be.
    fn settle<T>(&self, work: impl Fn() -> Result<T>) -> Result<T> {
        loop {
            match within(&work).map_err(Into::into).flatten() {
                Ok(outcome) => return Ok(outcome),
                Err(error) => self.settle_failure(error)?,
            }
        }
    }

    /// Asks about a doubt that work ended with; without one, or if it isn't settled, that is how the work ends.
    fn settle_failure(&self, error: anyhow::Error) -> Result<()> {
        // What it was about to say isn't so.
        self.said.borrow_mut().clear();
        self.lines.take();
        let Doubt {
            words: doubt,
            instead,
            line,
        } = error.downcast::<Doubt>()?;
        let words = line.map_or_else(|| doubt.clone(), |line| format!("line {line}: {doubt}"));
        let question = match instead {
            Some(_) => "Go on all the same?",
            None => "Is it right?",
        };
        let mut refusal = match self.ask(&format!("{words}. {question}"))? {
            Some(true) => {
                self.confirmed.borrow_mut().push(doubt);
                return Ok(());
            }
            Some(false) => Refusal::new("nothing was done"),
            None => {
                Refusal::new(words).hint("the same command with --confirm says that it is meant")
            }
        };
        if let Some(instead) = instead {
            refusal.hints.insert(0, instead);
        }
        Err(refusal.into())
    }

    /// Has the person confirm what is unlikely; where nobody is there to answer, `--confirm` does.
    pub(crate) fn confirm(&self, doubt: &str) -> Result<()> {
        self.settle_doubt(doubt, None)
    }

    /// Has the person confirm what was right when it was drafted; if it isn't any more, they are told what to type.
    pub(crate) fn confirm_or(&self, doubt: &str, instead: String) -> Result<()> {
        self.settle_doubt(doubt, Some(instead))
    }

    fn settle_doubt(&self, doubt: &str, instead: Option<String>) -> Result<()> {
        match self.is_confirmed(doubt) {
            true => Ok(()),
            false => Err(Doubt {
                words: doubt.to_owned(),
                instead,
                line: self.lines.borrow().at,
            }
            .into()),
        }
    }

    /// Has the person confirm what is unlikely; `false`: nobody is there to answer.
    pub(crate) fn confirm_if_there(&self, doubt: &str) -> Result<bool> {
        if !somebody_is_there() && !self.is_confirmed(doubt) {
            return Ok(false);
        }
        self.confirm(doubt).map(|()| true)
    }

    fn is_confirmed(&self, doubt: &str) -> bool {
        self.globals.confirm || self.confirmed.borrow().iter().any(|known| known == doubt)
    }

    /// Does the work of one of several lines that are written at once.
    pub(crate) fn at_line<T>(&self, line: usize, work: impl FnOnce() -> Result<T>) -> Result<T> {
        self.lines.borrow_mut().at = Some(line);
        let outcome = work();
        self.lines.borrow_mut().at = None;
        outcome
    }

    /// Notes that the line at hand wrote an entry.
    pub(crate) fn wrote(&self, entry: &str) {
        let mut lines = self.lines.borrow_mut();
        if let Some(line) = lines.at {
            lines.wrote.insert(entry.to_owned(), line);
        }
    }

    /// Says where an entry stands: one that a line before this one writes has no number yet.
    pub(crate) fn whereabouts(&self, entry: &str) -> String {
        match self.lines.borrow().wrote.get(entry) {
            Some(line) => format!("in line {line}"),
            None => format!("as {entry}"),
        }
    }

    /// Tells whether work ended because a person must be asked.
    pub(crate) fn is_doubt(error: &anyhow::Error) -> bool {
        error.is::<Doubt>()
    }

    /// Notes what was done for good beside the ledger's own writes.
    pub(crate) fn done(&self, sentence: String) {
        self.done.borrow_mut().push(sentence);
    }

    /// Writes a document to the file that a person named, whole or not at all. `begins` is how files of its kind begin.
    pub(crate) fn write_file(
        &self,
        to: &Path,
        document: &str,
        begins: &str,
        replace: bool,
    ) -> Result<()> {
        let ledger = self.ledger_path()?;
        let outlet = Outlet {
            to,
            begins: begins.as_bytes(),
            replace,
            private: true,
            ledger: &ledger,
        };
        let outcome = match self.dry_run() {
            true => outlet.judge(),
            false => outlet.write(document.as_bytes()),
        };
        outcome.map_err(|error| match error.can_be_replaced() {
            true => Refusal::new(error.to_string())
                .hint("--replace writes over it")
                .into(),
            false => anyhow::Error::new(error),
        })?;
        if self.dry_run() {
            self.status("Dry run: nothing was written.");
        } else {
            self.done(format!("{} is written.", to.display()));
        }
        Ok(())
    }

    /// Gives an answer: JSON or CSV if asked for, else its text on a page of the ledger.
    pub(crate) fn give<A: Answer + 'static>(&self, ledger: &Ledger, answer: A) -> Result<()> {
        let page = self.page(ledger);
        self.give_in_words(ledger, answer, |answer| answer.text(&page))
    }

    /// Gives an answer: JSON or CSV if asked for, else these words of it.
    pub(crate) fn give_in_words<A: Answer + 'static>(
        &self,
        ledger: &Ledger,
        answer: A,
        words: impl FnOnce(&A) -> String,
    ) -> Result<()> {
        match self.globals.csv {
            true => self.give_list(ledger, answer, A::list),
            false => self.give_as(answer, words),
        }
    }

    /// Gives the list of a value as CSV.
    pub(crate) fn give_list<V: 'static>(
        &self,
        ledger: &Ledger,
        value: V,
        list: for<'a> fn(&'a V) -> Option<List<'a>>,
    ) -> Result<()> {
        if list(&value).is_none() {
            self.refuse_csv()?;
        }
        let currency = ledger.currency();
        let print = move |out: &mut dyn Write| match list(&value) {
            Some(list) => list.write(currency, out),
            None => Ok(()),
        };
        self.say(Said::Value(Printed(Box::new(print))));
        Ok(())
    }

    /// Refuses to write as CSV what is no list, and says which list is nearest.
    pub(crate) fn refuse_csv(&self) -> Result<()> {
        if !self.globals.csv {
            return Ok(());
        }
        let nearest = super::list_beside(&self.asked);
        let words = format!("`{}` has no list to write as CSV", self.asked);
        Err(Refusal::new(words)
            .hint(format!("gritledger {nearest} --csv"))
            .into())
    }

    /// Gives the answer that is told of what a question found, and of that alone.
    pub(crate) fn give_told<A, Of>(&self, question: impl Fn(&Ledger) -> Result<Of>) -> Result<()>
    where
        A: Answer + Told<Of> + 'static,
    {
        self.read(|ledger| self.give(ledger, A::told(question(ledger)?, &self.page(ledger))))
    }

    /// Gives an answer: JSON if asked for, else these words about it.
    ///
    /// What is a value becomes JSON as it is printed, so a long answer is never held as text.
    pub(crate) fn give_as<V: Serialize + 'static>(
        &self,
        value: V,
        text: impl FnOnce(&V) -> String,
    ) -> Result<()> {
        self.refuse_csv()?;
        if self.globals.json {
            let print = move |mut out: &mut dyn Write| {
                serde_json::to_writer_pretty(&mut out, &value)?;
                out.write_all(b"\n")
            };
            self.say(Said::Value(Printed(Box::new(print))));
        } else {
            let text = crate::document::fit(&text(&value), self.width);
            self.print(text.trim_end());
        }
        Ok(())
    }

    /// Gives a JSON answer to whoever asked for one; people were told in a sentence.
    pub(crate) fn give_json<V: Serialize + 'static>(
        &self,
        value: impl FnOnce() -> Result<V>,
    ) -> Result<()> {
        match self.globals.json {
            true => self.give_as(value()?, |_| String::new()),
            false => Ok(()),
        }
    }

    /// Gives an answer and ends its line.
    pub(crate) fn print(&self, text: &str) {
        self.print_exactly(format!("{text}\n"));
    }

    /// Gives an answer that is a file of its own, to the byte: CSV, a calendar.
    pub(crate) fn print_exactly(&self, text: String) {
        self.say(Said::Answer(text));
    }

    /// Says what was done, as a sentence, once; silenced by `--quiet`.
    pub(crate) fn status(&self, sentence: &str) {
        let sentence = crate::document::inert(sentence);
        let is_known = |said: &Said| matches!(said, Said::Status(known) if *known == sentence);
        if !self.globals.quiet && !self.said.borrow().iter().any(is_known) {
            self.say(Said::Status(sentence));
        }
    }

    /// Says a remark on what was done.
    pub(crate) fn remark(&self, remark: &Remark) {
        match remark {
            Remark::Warning(words) => self.warn(words),
            Remark::Hint(line) => self.hint(line),
        }
    }

    /// Returns what says on stderr how far long work has come: after a second, and then half as often each time.
    pub(crate) fn progress(&self) -> impl Fn(u32) + use<> {
        let (begun, next, quiet) = (Instant::now(), Cell::new(1), self.globals.quiet);
        move |hundredths| {
            if !quiet && begun.elapsed() >= Duration::from_secs(next.get()) {
                next.set(next.get() * 2);
                say(&format!(
                    "Planning: {hundredths} % of the work that a plan may take is done."
                ));
            }
        }
    }

    /// Says what to mind, once.
    pub(crate) fn warn(&self, words: &str) {
        let is_known = |said: &Said| matches!(said, Said::Warning(known) if known == words);
        if !self.said.borrow().iter().any(is_known) {
            self.say(Said::Warning(words.to_owned()));
        }
    }

    /// Says what to type next; after a dry run there is nothing that it could go on from.
    pub(crate) fn hint(&self, words: &str) {
        if !self.globals.quiet && !self.dry_run() {
            self.say(Said::Hint(words.to_owned()));
        }
    }

    fn say(&self, said: Said) {
        self.said.borrow_mut().push(said);
    }

    /// Says everything that the command had to say, in its order.
    pub(crate) fn deliver(&self) -> Result<()> {
        let mut outcome = Ok(());
        for said in self.said.take() {
            match said {
                Said::Answer(text) => {
                    // Not through anstream, which takes out what it holds for colour.
                    let mut stdout = io::stdout().lock();
                    let printed = stdout
                        .write_all(text.as_bytes())
                        .and_then(|()| stdout.flush());
                    outcome = outcome.and(printed.context("failed to write the answer"));
                }
                Said::Value(Printed(print)) => {
                    let mut stdout = BufWriter::new(io::stdout().lock());
                    let printed = print(&mut stdout).and_then(|()| stdout.flush());
                    outcome = outcome.and(printed.context("failed to write the answer"));
                }
                Said::Status(sentence) => say(&sentence),
                Said::Warning(words) => labelled("warning", AnsiColor::Yellow, &words),
                Said::Hint(words) => labelled("hint", AnsiColor::Cyan, &words),
            }
        }
        outcome
    }

    /// Tells an error, and what was done all the same; returns the exit code.
    pub(crate) fn fail(&self, error: &anyhow::Error) -> ExitCode {
        let done = self.done.take();
        if done.is_empty() || is_broken_pipe(error) {
            return fail(error);
        }
        labelled(
            "error",
            AnsiColor::Red,
            "it is done, but the answer could not be delivered",
        );
        tell_causes(error.chain());
        let (said, more) = done.split_at(done.len().min(MOST_SAID));
        for sentence in said {
            labelled("done", AnsiColor::Green, sentence);
        }
        if !more.is_empty() {
            labelled(
                "done",
                AnsiColor::Green,
                &format!("and {} more: gritledger log", more.len()),
            );
        }
        ExitCode::from(DONE_UNTOLD)
    }

    /// Asks a person whether something is so; `None`: nobody is there to answer.
    fn ask(&self, question: &str) -> Result<Option<bool>> {
        if !somebody_is_there() {
            return Ok(None);
        }
        loop {
            let question = format!("{} [yes/no]", crate::document::inert(question));
            let _ = write!(anstream::stderr().lock(), "{} ", fitted(&question));
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

    /// Asks a person whether something came true; `None`: it isn't known, or nobody is there to answer.
    pub(crate) fn ask_if_known(&self, question: &str) -> Result<Option<bool>> {
        let prompt = format!(
            "{} [y/n, enter: not known] ",
            crate::document::inert(question)
        );
        while somebody_is_there() {
            let answer = self.line(&prompt)?.unwrap_or_default();
            match answer.to_lowercase().as_str() {
                "y" | "yes" => return Ok(Some(true)),
                "n" | "no" => return Ok(Some(false)),
                "" => break,
                _ => say("Please answer y or n, or press enter."),
            }
        }
        Ok(None)
    }

    /// Says something at once: in a dialogue, nothing can wait for its end.
    pub(crate) fn tell(&self, sentence: &str) {
        if !self.globals.quiet {
            say(sentence);
        }
    }

    /// Says what was done for good, at once: that is told then, whatever comes after it.
    pub(crate) fn tell_done(&self, sentence: &str) {
        self.tell(sentence);
        self.done.borrow_mut().clear();
    }

    /// Asks for a line; `None`: there are no more.
    pub(crate) fn line(&self, prompt: &str) -> Result<Option<String>> {
        if somebody_is_there() {
            let _ = write!(anstream::stderr().lock(), "{prompt}");
        }
        let mut line = String::new();
        let read = io::stdin().read_line(&mut line);
        let read = read.context("failed to read the answer")?;
        Ok((read > 0).then(|| line.trim().to_owned()))
    }

    /// Tells whether JSON or CSV was asked for.
    pub(crate) fn is_for_programs(&self) -> bool {
        self.globals.json || self.globals.csv
    }

    /// Tells whether JSON was asked for.
    pub(crate) fn json(&self) -> bool {
        self.globals.json
    }
}

/// Tells whether a person can be asked.
pub(crate) fn somebody_is_there() -> bool {
    io::stdin().is_terminal() && io::stderr().is_terminal()
}

/// Tells whether a file that was named is stdout.
pub(crate) fn is_stdout(path: &Path) -> bool {
    path == Path::new("-") || path == Path::new("/dev/stdout")
}

/// Says something on stderr. A stderr that is gone can't be told so.
fn say(words: &str) {
    let _ = writeln!(anstream::stderr().lock(), "{}", fitted(words));
}

/// Fits words to the terminal that they are said on; programs read a line each.
fn fitted(words: &str) -> String {
    match io::stderr().is_terminal() {
        true => crate::document::fit(words, width()),
        false => words.to_owned(),
    }
}

fn labelled(label: &str, color: AnsiColor, words: &str) {
    let style = Style::new().fg_color(Some(color.into())).bold();
    let words = words
        .split('\n')
        .map(crate::document::inert)
        .collect::<Vec<_>>()
        .join("\n");
    let said = fitted(&format!("{label}: {words}"));
    let words = said.get(label.len() + 1..).unwrap_or_default();
    let _ = writeln!(anstream::stderr().lock(), "{style}{label}:{style:#}{words}");
}

fn is_broken_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|cause| {
        cause
            .downcast_ref::<io::Error>()
            .is_some_and(|error| error.kind() == io::ErrorKind::BrokenPipe)
    })
}

fn tell_causes<'a>(causes: impl Iterator<Item = &'a (dyn std::error::Error + 'static)>) {
    for cause in causes {
        labelled("caused by", AnsiColor::Red, &cause.to_string());
    }
}

/// Tells an error and returns the exit code that it calls for.
pub(crate) fn fail(error: &anyhow::Error) -> ExitCode {
    if is_broken_pipe(error) {
        // Whoever read the answer has had enough of it.
        return ExitCode::SUCCESS;
    }
    labelled("error", AnsiColor::Red, &error.to_string());
    tell_causes(error.chain().skip(1));
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

/// Tells why a command line can't be read, and what must be typed.
pub(crate) fn misuse(why: &Refusal, usage: Option<String>) -> ExitCode {
    labelled("error", AnsiColor::Red, &why.to_string());
    for hint in &why.hints {
        labelled("hint", AnsiColor::Cyan, hint);
    }
    if let Some(usage) = usage {
        say(&usage);
    }
    ExitCode::from(MISUSED)
}

fn variable(name: &str) -> Option<String> {
    #[expect(
        clippy::disallowed_methods,
        reason = "this is the one place that reads the environment"
    )]
    std::env::var(name).ok().filter(|value| !value.is_empty())
}

/// Returns the day with the moment that is recorded, and the time of day to the minute: the machine's, or as
/// `GRITLEDGER_TODAY` says, `2026-03-02` or `2026-03-02 08:15`.
fn clock() -> Result<(Clock, NaiveTime)> {
    #[expect(
        clippy::disallowed_methods,
        reason = "this is the one place that reads the clock"
    )]
    let machine: NaiveDateTime = chrono::Local::now().naive_local();
    clock_of(machine, variable("GRITLEDGER_TODAY"))
}

fn clock_of(machine: NaiveDateTime, told: Option<String>) -> Result<(Clock, NaiveTime)> {
    let (clock, time) = match &told {
        Some(text) => {
            let (day, time) = match text.trim().split_once([' ', 'T']) {
                Some((day, time)) => (day, NaiveTime::parse_from_str(time, "%H:%M").ok()),
                None => (text.trim(), Some(machine.time())),
            };
            let day = NaiveDate::parse_from_str(day, "%Y-%m-%d").ok();
            let Some((today, time)) = day.zip(time) else {
                refuse!("GRITLEDGER_TODAY is `{text}`, not a date like 2026-03-02");
            };
            (Clock::at(today), time)
        }
        None => {
            let clock = Clock {
                today: machine.date(),
                now: machine,
            };
            (clock, machine.time())
        }
    };
    let minute = NaiveTime::from_hms_opt(time.hour(), time.minute(), 0).unwrap_or_default();
    if YEARS.contains(&clock.today.year()) {
        return Ok((clock, minute));
    }
    match told {
        Some(text) => refuse!("GRITLEDGER_TODAY is `{text}`: the year is one of 1990 to 2999"),
        None => Err(Refusal::new(format!(
            "this machine's clock says that it is {}",
            clock.today
        ))
        .hint("set the clock, or say the date: GRITLEDGER_TODAY=2026-03-02")
        .into()),
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_that_has_stopped_is_not_believed() {
        let machine = NaiveDate::from_ymd_opt(1970, 1, 1)
            .and_then(|day| day.and_hms_opt(0, 0, 7))
            .expect("a moment");
        let refused = clock_of(machine, None).expect_err("a refusal");
        let refusal: Refusal = refused.downcast().expect("a refusal");
        assert_eq!(
            (refusal.to_string().as_str(), &refusal.hints[..]),
            (
                "this machine's clock says that it is 1970-01-01",
                &["set the clock, or say the date: GRITLEDGER_TODAY=2026-03-02".to_owned()][..]
            )
        );
        assert!(clock_of(machine, Some("2026-03-02".into())).is_ok());
    }
}
