//! Two commands at once, on one file: the outcome is that of one after the other, in one of the two orders, to the last
//! row; whoever comes too late is refused in words; and `check` has nothing to say.
//!
//! Every pair is run once here; `.ci/run` runs each as often as `RACE_ROUNDS` says.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

use gritledger::ledger::{Clock, Ledger};
use rusqlite::types::Value;

use crate::harness::{TestLedger, split};

/// Words that only SQLite or the program's insides would say.
const RAW: [&str; 8] = [
    "constraint",
    "UNIQUE",
    "CHECK",
    "FOREIGN KEY",
    "database",
    "SQLite",
    "caused by",
    "panicked",
];

/// A sent quote with a second one beside it, on a site with two rooms.
const SENT: &str = r#"
    quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
    quote send Q1
    quote draft "4 Tannery Row" --room Landing --sequence rotary-36-50-80 --schedule none
"#;

/// Its job, open, with a shelf, a machine out, and entries.
const OPEN: &str = r#"
    quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
    quote send Q1
    quote accept Q1
    job start J1
    buy disc-7in-36 6 --cost 19.20
    use disc-7in-36 2 --room Landing
    hours "Ruben Vale" 1.5 --room Landing --on sand
    rental out rotary --at 08:00
"#;

/// The same, closed and invoiced, with a payment.
const CLOSED: &str = r#"
    quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
    quote send Q1
    quote accept Q1
    job start J1
    hours "Ruben Vale" 1.5 --room Landing --on sand
    job close J1
    invoice final J1
    invoice issue J1
    payment add I1 100
"#;

#[test]
fn names_are_taken_once_and_no_edit_loses_another() {
    race(
        "",
        &[
            (r#"client add "Bo Tern""#, r#"client add "Bo Tern""#),
            (r#"client add "Bo Tern""#, r#"client add "BO TERN""#),
            (
                r#"site add "Ada Quill" "9 Mill Lane""#,
                r#"site add "Ada Quill" "9 Mill Lane""#,
            ),
            (
                r#"room add 4 Hall --shape "10 x 5" --condition bare --species pine"#,
                r#"room add 4 Hall --shape "9 x 5" --condition bare --species pine"#,
            ),
            (
                r#"worker add "Ana Reed" --wage 27"#,
                r#"worker add "Ana Reed" --wage 29"#,
            ),
            (
                "item add felt --unit each --pack 1=2.00",
                "item add felt --unit each --pack 1=3.00",
            ),
            (
                "machine add planetary --day 110",
                "machine add planetary --day 120",
            ),
            (
                "operation add glue-strips --task repair --driver count",
                "operation add glue-strips --task mend --driver count",
            ),
            (
                "sequence add coarse rotary-36",
                "sequence add coarse edge-36",
            ),
            (
                "schedule add slow oil-coat:24",
                "schedule add slow oil-coat:48",
            ),
            (
                r#"tax-area add "Harrow County" 6.25%"#,
                r#"tax-area add "Harrow County" 6.5%"#,
            ),
            (
                r#"client edit "Ada Quill" --phone 1"#,
                r#"client edit "Ada Quill" --note two"#,
            ),
            (
                r#"client edit "Ada Quill" --name "Ada Pike""#,
                r#"client add "Ada Pike""#,
            ),
            (
                "site edit 4 --year-built 1950",
                r#"site edit 4 --note "by the river""#,
            ),
            (
                "room edit Landing --condition bare",
                "room edit Landing --species pine",
            ),
            (
                r#"worker edit "Ruben Vale" --wage 30"#,
                r#"worker edit "Ruben Vale" --inactive"#,
            ),
            (
                "item edit disc-7in-36 --pack 7=20",
                "item edit disc-7in-36 --description coarse",
            ),
            (
                "machine edit rotary --day 84",
                "machine edit rotary --cleaning 9",
            ),
            (
                "operation edit rotary-36 --grit 40",
                "operation edit rotary-36 --rates-by both",
            ),
            ("setting set margin 38%", "setting set margin 39%"),
            (
                "rate set rotary-36 --kind item --per 45 --condition bare",
                "rate set rotary-36 --kind item --per 46 --condition bare",
            ),
            (
                "rate change rotary-36 --since 2026-03-01 --note a",
                "rate change rotary-36 --since 2026-03-01 --note b",
            ),
            ("finding void 1", "finding void 1"),
            ("room void Landing", "finding add Landing proud-nails 3"),
            ("site void 4", r#"client void "Ada Quill""#),
            (r#"import clients CLIENTS"#, r#"import clients CLIENTS"#),
            ("quote draft 4", "quote draft 4"),
            ("quote draft 4", "room void Landing"),
        ],
    );
}

#[test]
fn a_quote_is_answered_once() {
    race(
        SENT,
        &[
            ("quote accept Q1", "quote accept Q1"),
            ("quote accept Q1", "quote decline Q1"),
            ("quote decline Q1", "quote decline Q1"),
            ("quote send Q2", "quote send Q2"),
            ("quote accept Q1", "site void 4"),
            ("quote draft 4 --revises Q1", "quote draft 4 --revises Q1"),
            ("quote accept Q1", "quote draft 4 --revises Q1"),
        ],
    );
}

#[test]
fn an_open_job_is_told_everything_once() {
    race(
        OPEN,
        &[
            (
                "use disc-7in-36 4 --room Landing",
                "use disc-7in-36 4 --room \"Back bedroom\"",
            ),
            ("stock count disc-7in-36 3", "use disc-7in-36 4"),
            ("hand-back disc-7in-36 4", "hand-back disc-7in-36 4"),
            ("buy disc-7in-36 3 --cost 9", "use disc-7in-36 5"),
            (
                "rental back rotary --at 16:00",
                "rental back rotary --at 17:00",
            ),
            (
                "rental back rotary --at 16:00",
                "rental move rotary --job J1",
            ),
            ("rental out edger --at 08:00", "rental out edger --at 09:00"),
            ("rental back rotary --at 16:00", "job close J1"),
            ("void E2 --reason slip", "void E2 --reason slip"),
            ("void E1 --reason slip", "use disc-7in-36 4"),
            ("void E4 --reason slip", "rental back rotary --at 16:00"),
            ("rate confirm E2", "void E2 --reason slip"),
            ("rate confirm E2", "rate confirm E2"),
            ("invoice deposit J1", "invoice final J1"),
            ("invoice final J1", "invoice final J1"),
            (
                "hours \"Ruben Vale\" 12 --on sand",
                "hours \"Ruben Vale\" 11 --on edge",
            ),
            ("import hours HOURS", "import hours HOURS"),
            (
                "quote draft 4 --room Landing --variation-of J1",
                "void E2 --reason slip",
            ),
        ],
    );
}

#[test]
fn a_job_is_closed_once_and_what_comes_later_is_late() {
    race(
        &format!("{OPEN} rental back rotary --at 16:00\n invoice deposit J1 --amount 50"),
        &[
            ("job close J1", "job close J1"),
            (
                "hours \"Ruben Vale\" 2 --room Landing --on edge --job J1",
                "job close J1",
            ),
            ("use disc-7in-36 1 --job J1", "job close J1"),
            ("void E2 --reason slip", "job close J1"),
            ("job close J1", "job reopen J1"),
            ("invoice issue J1", "invoice issue J1"),
            ("invoice issue J1", "invoice final J1"),
        ],
    );
}

#[test]
fn a_payment_is_taken_once() {
    race(
        CLOSED,
        &[
            ("job reopen J1", "job reopen J1"),
            ("job reopen J1", "job close J1"),
            ("job reopen J1", "void E1 --reason slip"),
            ("payment add I1 DUE", "payment add I1 DUE"),
            ("payment add I1 DUE", "payment void P1 --reason bounced"),
            (
                "payment void P1 --reason bounced",
                "payment void P1 --reason bounced",
            ),
            ("invoice final J1", "invoice final J1"),
            ("site void 4", "client edit \"Ada Quill\" --phone 1"),
        ],
    );
}

#[test]
fn a_credit_is_applied_once() {
    race(
        r#"
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q1
        quote accept Q1
        invoice deposit J1 --amount 100
        invoice issue J1
        payment add I1 130 --keep-credit
        invoice final J1
        invoice issue J1
        "#,
        &[
            ("payment apply I2", "payment apply I2"),
            ("payment apply I2 20", "payment apply I2 20"),
            ("payment apply I2", "payment void P1 --reason bounced"),
        ],
    );
}

#[test]
fn check_is_not_alarmed_by_who_writes_beside_it() {
    let ledger = TestLedger::job_open();
    let reads = 8 * rounds();
    std::thread::scope(|scope| {
        let writer = scope.spawn(|| {
            for entry in 1..=reads {
                ledger.lines(&format!(
                    "buy disc-7in-36 6 --cost 19.20 --confirm\nuse disc-7in-36 8 --room Landing --confirm\nvoid E{} --reason slip",
                    3 * entry - 1
                ));
            }
        });
        for _ in 0..reads {
            ledger.line("check").ok();
        }
        writer.join().unwrap();
    });
    ledger.line("check").ok();
}

/// An event that is handed what was read long before judges by what is so now.
#[test]
fn a_stale_record_is_read_again() {
    let test = TestLedger::new();
    test.lines(
        "client add A\nsite add A S\nroom add S Hall --shape \"10 x 5\" --condition bare --species pine\nworker add W --wage 20\nquote draft S",
    );
    let ledger = Ledger::open(&test.path(), clock()).unwrap();
    let twice = |event: &dyn Fn(&gritledger::ledger::Writing<'_>) -> anyhow::Result<()>| {
        ledger.write(false, event).unwrap();
        ledger.write(false, event).unwrap_err().to_string()
    };
    let quote = ledger.quote("Q1").unwrap().header;
    assert_eq!(
        twice(&|writing| writing.send_quote(&quote, 30).map(drop)),
        "Q1 is sent, not a draft"
    );
    let quote = ledger.quote("Q1").unwrap().header;
    assert_eq!(
        twice(&|writing| writing.accept_quote(&quote, false).map(drop)),
        "Q1 is accepted already"
    );
    let job = ledger.job("J1").unwrap();
    let today = ledger.today();
    assert_eq!(
        twice(&|writing| writing.start_job(&job, today)),
        "J1 is open already"
    );
    let job = ledger.job("J1").unwrap();
    assert_eq!(
        twice(&|writing| writing.close_job(&job).map(drop)),
        "J1 is closed, not open"
    );
    let invoice = ledger
        .write(false, |writing| {
            writing.draft_final(&job, &[])?;
            writing.issue_invoice(&job)
        })
        .unwrap();
    let refused = twice(&|writing| {
        writing
            .add_payment(&invoice, invoice.due(), today, false, "")
            .map(drop)
    });
    assert!(refused.ends_with("is more than I1 owes, 0.00"), "{refused}");
    let closed = ledger.job("J1").unwrap();
    assert_eq!(
        twice(&|writing| writing.reopen_job(&closed)),
        "J1 is open, not closed"
    );
}

/// Races each pair on copies of a ledger that those lines have made.
fn race(lines: &str, pairs: &[(&str, &str)]) {
    let ledger = TestLedger::tannery_row();
    ledger.lines(lines);
    let clients = ledger.file("c.csv", "client,phone\nBo Tern,1\nCy Reed,2\n");
    let hours = ledger.file(
        "h.csv",
        "date,job,site,worker,hours\n2026-03-01,J1,4 Tannery Row,Ruben Vale,13\n",
    );
    let due = match lines {
        CLOSED => ledger.json("invoice show I1")["due"]
            .as_str()
            .unwrap()
            .to_owned(),
        _ => String::new(),
    };
    let filled = |line: &str| {
        let line = line.replace("CLIENTS", &clients).replace("HOURS", &hours);
        split(&line.replace("DUE", &due))
    };
    for (first, second) in pairs {
        let pair = [filled(first), filled(second)];
        let serial = [[0, 1], [1, 0]].map(|order| {
            let copy = Copy::of(&ledger.path());
            let mut codes = [0; 2];
            for place in order {
                codes[place] = judged(copy.spawn(&pair[place]).wait_with_output().unwrap()).0;
            }
            (codes, copy.rows())
        });
        for round in 0..rounds() {
            let copy = Copy::of(&ledger.path());
            let ran = copy.at_once(&pair, round % 2 == 0).map(judged);
            let outcome = ([ran[0].0, ran[1].0], copy.rows());
            assert!(
                serial.contains(&outcome),
                "{first} | {second}: neither order gives this\n{ran:#?}\n{}",
                differences(&serial[0].1, &outcome.1)
            );
            let ledger = Ledger::open(&copy.path, clock()).unwrap();
            assert_eq!(ledger.problems().unwrap(), [""; 0], "{first} | {second}");
        }
    }
}

/// Returns the exit code and what was said, none of it in SQLite's words.
fn judged(output: Output) -> (i32, String) {
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(!RAW.iter().any(|word| said.contains(word)), "{said}");
    (output.status.code().unwrap(), said)
}

/// A ledger's file, copied to where it may be spoilt.
struct Copy {
    _folder: tempfile::TempDir,
    path: PathBuf,
}

impl Copy {
    fn of(path: &Path) -> Copy {
        let folder = tempfile::TempDir::new().unwrap();
        let copy = folder.path().join("t.db");
        std::fs::copy(path, &copy).unwrap();
        Copy {
            _folder: folder,
            path: copy,
        }
    }

    fn spawn(&self, arguments: &[String]) -> Child {
        Command::new(env!("CARGO_BIN_EXE_gritledger"))
            .args(arguments)
            .env_clear()
            .env("GRITLEDGER_PATH", &self.path)
            .env("GRITLEDGER_TODAY", "2026-03-02")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program runs")
    }

    /// Runs both at once; `held`: the ledger is held until they have had the time to look things up.
    fn at_once(&self, pair: &[Vec<String>; 2], held: bool) -> [Output; 2] {
        let file = rusqlite::Connection::open(&self.path).unwrap();
        if held {
            file.execute_batch("BEGIN IMMEDIATE").unwrap();
        }
        let running = [self.spawn(&pair[0]), self.spawn(&pair[1])];
        if held {
            let reader = self.spawn(&["client".to_owned(), "list".to_owned()]);
            judged(reader.wait_with_output().unwrap());
            file.execute_batch("ROLLBACK").unwrap();
        }
        running.map(|child| child.wait_with_output().unwrap())
    }

    /// Returns every row of every table but the kept fit, which a question may keep as well.
    fn rows(&self) -> Vec<String> {
        let file = rusqlite::Connection::open(&self.path).unwrap();
        let mut tables = file
            .prepare("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT IN ('rate_fit', 'rate_story') ORDER BY name")
            .unwrap();
        let tables: Vec<String> = tables
            .query_map([], |row| row.get(0))
            .unwrap()
            .map(Result::unwrap)
            .collect();
        let mut all = Vec::new();
        for table in tables {
            let mut rows = file.prepare(&format!("SELECT * FROM {table}")).unwrap();
            let columns = rows.column_count();
            let mut rows = rows.query([]).unwrap();
            while let Some(row) = rows.next().unwrap() {
                let values: Vec<Value> = (0..columns)
                    .map(|column| row.get(column).unwrap())
                    .collect();
                all.push(format!("{table}: {values:?}"));
            }
        }
        all
    }
}

fn differences(expected: &[String], found: &[String]) -> String {
    let missing = expected.iter().filter(|row| !found.contains(row));
    let more = found.iter().filter(|row| !expected.contains(row));
    let lines: Vec<String> = missing
        .map(|row| format!("- {row}"))
        .chain(more.map(|row| format!("+ {row}")))
        .collect();
    lines.join("\n")
}

fn rounds() -> usize {
    #[expect(
        clippy::disallowed_methods,
        reason = "how often is for whoever runs the tests to say; the program never sees it"
    )]
    let told = std::env::var("RACE_ROUNDS").ok();
    told.map_or(1, |rounds| rounds.parse().expect("a number of rounds"))
}

fn clock() -> Clock {
    Clock::at(chrono::NaiveDate::from_ymd_opt(2026, 3, 2).expect("a date"))
}
