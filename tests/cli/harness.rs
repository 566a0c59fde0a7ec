//! A ledger in a temporary folder, and the real program run on it with a fixed date and nothing of the environment.

use std::fmt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::atomic::{AtomicBool, Ordering};

use gritledger::ledger::{Clock, Ledger};
use tempfile::TempDir;

use crate::hinted;

/// A folder with a ledger in it.
pub(crate) struct TestLedger {
    folder: TempDir,
    today: &'static str,
    /// The test wrote in the file itself.
    is_touched: AtomicBool,
}

/// What a run gave: shown as stdout, stderr and exit status together.
#[must_use = "snapshot the output, or assert with .ok() or .refused()"]
pub(crate) struct Run {
    arguments: String,
    output: Output,
}

impl TestLedger {
    /// An empty folder; no ledger yet.
    pub(crate) fn nowhere() -> TestLedger {
        TestLedger {
            folder: TempDir::new().expect("a temporary folder"),
            today: "2026-03-02",
            is_touched: AtomicBool::new(false),
        }
    }

    /// A new ledger.
    pub(crate) fn new() -> TestLedger {
        let ledger = TestLedger::nowhere();
        ledger
            .line("init --business \"Marsh End Floors\" --country US --quiet")
            .ok();
        ledger
    }

    /// The ledger of the documentation's example up to its walk-through: two rooms, two findings, one worker.
    pub(crate) fn tannery_row() -> TestLedger {
        let ledger = TestLedger::new();
        ledger.lines(
            r#"
            worker add "Ruben Vale" --wage 28.00
            client add "Ada Quill" --phone 555-0142
            site add "Ada Quill" "4 Tannery Row" --year-built 1931
            room add "4 Tannery Row" "Landing" --shape "10 x 4.5" --condition worn-film --species red-oak --door "outside:2'8\""
            room add "4 Tannery Row" "Back bedroom" --walls "14' r 11'6\" r 9' r 3' l 5' r 8'6\" r" --condition sound-film --species red-oak --door "Landing:2'6\""
            finding add "Landing" proud-nails 12
            finding add "Back bedroom" missing-quarter-round "22 ft"
            "#,
        );
        ledger
    }

    /// The same with its quote accepted and the job begun.
    pub(crate) fn job_open() -> TestLedger {
        let ledger = TestLedger::tannery_row();
        ledger.lines(
            r#"
            quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
            quote send Q1
            quote accept Q1
            job start J1
            "#,
        );
        ledger
    }

    /// Returns the date of the runs, perhaps with an hour.
    pub(crate) fn today(&self) -> &str {
        self.today
    }

    /// Sets the date of the runs that follow.
    pub(crate) fn on(mut self, today: &'static str) -> TestLedger {
        self.today = today;
        self
    }

    /// Opens the file for the test to write in it, behind the program's back.
    pub(crate) fn raw(&self) -> rusqlite::Connection {
        self.is_touched.store(true, Ordering::Relaxed);
        rusqlite::Connection::open(self.path()).expect("the file opens")
    }

    pub(crate) fn path(&self) -> PathBuf {
        self.folder.path().join("t.db")
    }

    /// Writes a file beside the ledger and returns its name.
    pub(crate) fn file(&self, name: &str, text: impl AsRef<[u8]>) -> String {
        let path = self.folder.path().join(name);
        std::fs::write(&path, text).expect("a file is written");
        path.to_str().expect("a temporary path is UTF-8").to_owned()
    }

    pub(crate) fn folder(&self) -> &Path {
        self.folder.path()
    }

    pub(crate) fn run(&self, arguments: &[&str]) -> Run {
        self.run_with(arguments, &[])
    }

    pub(crate) fn run_with(&self, arguments: &[&str], variables: &[(&str, &str)]) -> Run {
        let output = self
            .command(arguments)
            .envs(variables.iter().copied())
            .output()
            .expect("the program runs");
        let run = Run {
            arguments: arguments.join(" "),
            output,
        };
        hinted::type_again(self, arguments, &run, variables);
        run
    }

    /// Runs what a hint says, to see that it is done; what it hints at itself is left.
    pub(crate) fn on_trial(&self, arguments: &[&str], variables: &[(&str, &str)]) -> Run {
        let mut command = self.command(arguments);
        let output = command.envs(variables.iter().copied()).output();
        Run {
            arguments: arguments.join(" "),
            output: output.expect("the program runs"),
        }
    }

    /// Runs one line typed as in a shell, with what its questions are answered, a line each.
    pub(crate) fn answered(&self, line: &str, answers: &[&str]) -> Run {
        self.fed(line, (answers.join("\n") + "\n").as_bytes())
    }

    /// Runs one line typed as in a shell, with what it reads from stdin.
    pub(crate) fn fed(&self, line: &str, stdin: &[u8]) -> Run {
        let words = split(line);
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let typed = self.file("answers.txt", stdin);
        let output = self
            .command(&words)
            .stdin(std::fs::File::open(typed).expect("the answers"))
            .output()
            .expect("the program runs");
        let run = Run {
            arguments: line.to_owned(),
            output,
        };
        hinted::type_again(self, &words, &run, &[]);
        run
    }

    /// Returns the day of the runs, with an hour: what is done now is done at the same time whenever the tests run.
    fn moment(&self) -> String {
        match self.today.len() {
            10 => format!("{} 18:00", self.today),
            _ => self.today.to_owned(),
        }
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_gritledger"));
        command
            .args(arguments)
            .env_clear()
            .env("GRITLEDGER_PATH", self.path())
            .env("GRITLEDGER_TODAY", self.moment())
            .env("COLUMNS", "100")
            .env("LC_ALL", "C.UTF-8")
            .current_dir(self.folder.path());
        command
    }

    /// Runs lines typed as in a shell; each must succeed.
    pub(crate) fn lines(&self, lines: &str) {
        for line in lines.lines().map(str::trim).filter(|line| !line.is_empty()) {
            let words = split(line);
            self.run(&words.iter().map(String::as_str).collect::<Vec<_>>())
                .ok();
        }
    }

    /// Runs one line typed as in a shell.
    pub(crate) fn line(&self, line: &str) -> Run {
        let words = split(line);
        self.run(&words.iter().map(String::as_str).collect::<Vec<_>>())
    }

    /// Runs one line with `--json` and returns its value.
    pub(crate) fn json(&self, line: &str) -> serde_json::Value {
        let text = self.line(&format!("{line} --json")).ok();
        serde_json::from_str(&text)
            .unwrap_or_else(|error| panic!("{line}: not JSON: {error}\n{text}"))
    }
}

impl Drop for TestLedger {
    /// Whatever a test did with the program, `check` has nothing to say of it. Who writes in the file says so with `raw`.
    fn drop(&mut self) {
        if std::thread::panicking()
            || self.is_touched.load(Ordering::Relaxed)
            || !self.path().is_file()
        {
            return;
        }
        let today = self.today[..10].parse().expect("a date");
        if let Ok(ledger) = Ledger::open(&self.path(), Clock::at(today)) {
            let problems = ledger.problems().expect("a check");
            assert_eq!(problems, Vec::<String>::new(), "a sound ledger");
        }
    }
}

/// Splits a line at blanks, with double quotes and `\"` inside them.
pub(crate) fn split(line: &str) -> Vec<String> {
    let (mut words, mut word, mut quoted, mut begun) = (Vec::new(), String::new(), false, false);
    let mut signs = line.chars();
    while let Some(sign) = signs.next() {
        match sign {
            '\\' => word.extend(signs.next()),
            '"' => (quoted, begun) = (!quoted, true),
            ' ' if !quoted => {
                if begun || !word.is_empty() {
                    words.push(std::mem::take(&mut word));
                }
                begun = false;
            }
            _ => word.push(sign),
        }
    }
    if begun || !word.is_empty() {
        words.push(word);
    }
    words
}

impl Run {
    pub(crate) fn stdout(&self) -> String {
        String::from_utf8_lossy(&self.output.stdout).into_owned()
    }

    pub(crate) fn stderr(&self) -> String {
        String::from_utf8_lossy(&self.output.stderr).into_owned()
    }

    pub(crate) fn code(&self) -> i32 {
        self.output.status.code().expect("an exit code")
    }

    /// Asserts success and returns stdout.
    #[track_caller]
    pub(crate) fn ok(self) -> String {
        assert_eq!(self.code(), 0, "{self}");
        self.stdout()
    }

    /// Asserts a refusal (exit 1) and returns what was said of it.
    #[track_caller]
    pub(crate) fn refused(self) -> String {
        assert_eq!(self.code(), 1, "{self}");
        assert_eq!(self.stdout(), "", "{self}");
        self.stderr().trim_end().to_owned()
    }
}

impl fmt::Display for Run {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "gritledger {}\n{}------- stderr -------\n{}[exit status: {}]",
            self.arguments,
            self.stdout(),
            self.stderr(),
            self.code()
        )
    }
}
