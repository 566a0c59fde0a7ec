//! Hints that are commands: whichever test has one printed, it is typed as it was said, on trial, in the state in which it
//! was said. `TestLedger` does that after every run, so no hint is forgotten.

use chrono::{Datelike as _, Days, NaiveDate};

use crate::harness::{Run, TestLedger, split};

/// What a person puts in place of the words in capitals.
const BLANKS: &[(&str, &str)] = &[
    ("\"L x W\"", "\"10 x 4.5\""),
    ("\"ROOM\"", "Snug"),
    ("\"ADDRESS\"", "\"9 Kelp Row\""),
    ("\"NAME\"", "\"Una Marl\""),
    ("\"YOUR FIRM\"", "\"Marsh End Floors\""),
    ("\"HH:MM\"", "12:00"),
    ("\"...\"", "\"a slip\""),
    ("QUANTITY", "5"),
    ("PERCENT", "5"),
    ("AMOUNT", "2"),
    ("TOTAL", "9.00"),
    ("FILE", "dates.ics"),
    ("ITEM", "palm-sheet-80"),
    ("NAME", "fresh"),
    ("KIND", "draughts"),
    ("QTY", "3"),
    ("LAYER", "tile"),
];

/// Readings, by their kinds.
const READINGS: &[(&str, &str)] = &[
    ("wood-left", "\"1/4 in\""),
    ("top-layer", "\"3 mm\""),
    ("board-width", "\"3 in\""),
    ("board", "9"),
    ("board-bottom", "9"),
    ("subfloor", "10"),
    ("temperature", "\"68 F\""),
    ("humidity", "45"),
    ("lead", "negative"),
    ("asbestos", "negative"),
    ("seen", "nothing"),
];

/// Hints that need more than a dry run can give, each with why.
const ASIDE: &[(&str, &str)] = &[
    ("daybook FILE", "the notes are still to be written"),
    (
        "check",
        "it ends with 1 when it finds what it was hinted at for",
    ),
    (
        "restore FILE",
        "which file is the backup, only its owner knows",
    ),
];

/// Returns the commands among the hints of a run; no other hint hides one.
pub(crate) fn commands(run: &Run) -> Vec<String> {
    let said = run.stderr();
    let hints = said.lines().filter_map(|line| line.strip_prefix("hint: "));
    let (commands, words): (Vec<&str>, Vec<&str>) =
        hints.partition(|hint| hint.starts_with("gritledger "));
    for hint in words {
        assert!(
            !hint.contains("gritledger ") || hint.starts_with("GRITLEDGER_TODAY="),
            "a command amid words: {hint}"
        );
    }
    commands.into_iter().map(str::to_owned).collect()
}

/// Types each command among the hints of a run, on trial; each must be done.
pub(crate) fn type_again(
    ledger: &TestLedger,
    typed: &[&str],
    run: &Run,
    variables: &[(&str, &str)],
) {
    for command in commands(run) {
        let Some(filled) = filled(ledger, &command, today(ledger, variables)) else {
            continue;
        };
        let mut words = split(&filled);
        words[0] = "--dry-run".to_owned();
        // Who names a ledger with each command does so with this one.
        if let Some(at) = typed.iter().position(|word| *word == "--ledger")
            && !words.iter().any(|word| word == "--ledger")
        {
            words.extend(typed[at..at + 2].iter().map(|word| (*word).to_owned()));
        }
        let mut words: Vec<&str> = words.iter().map(String::as_str).collect();
        let mut again = ledger.on_trial(&words, variables);
        // What is only asked about is done when it is meant.
        if again.stderr().contains("--confirm says that it is meant") {
            words.push("--confirm");
            again = ledger.on_trial(&words, variables);
        }
        assert_eq!(
            again.code(),
            0,
            "{run}\nsays `{command}`, and then: {again}"
        );
    }
}

/// Returns a command with its blanks filled; none: it can't be tried.
fn filled(ledger: &TestLedger, command: &str, today: NaiveDate) -> Option<String> {
    let words = command.strip_prefix("gritledger ")?;
    if ASIDE.iter().any(|(aside, _)| words.ends_with(aside)) {
        return None;
    }
    let day = match words.contains("--lost") {
        true => today,
        false => monday_after(today + Days::new(7)),
    };
    let site = match words.contains("SITE") {
        true => a_site(ledger),
        false => String::new(),
    };
    let words = command
        .replace("DATE", &day.to_string())
        .replace("SITE", &format!("\"{site}\""));
    let values = READINGS.iter().map(|(kind, value)| {
        let blank = format!(" {kind} VALUE");
        (blank, format!(" {kind} {value}"))
    });
    let words = values.fold(words, |text, (blank, word)| text.replace(&blank, &word));
    let blanks = BLANKS.iter();
    Some(blanks.fold(words, |text, (blank, word)| text.replace(blank, word)))
}

/// Returns the day of a run: the ledger's, or one that was said for it alone.
fn today(ledger: &TestLedger, variables: &[(&str, &str)]) -> NaiveDate {
    let said = variables
        .iter()
        .find(|(name, _)| *name == "GRITLEDGER_TODAY");
    let day = said.map_or(ledger.today(), |(_, day)| day);
    day[..10].parse().expect("a date")
}

fn monday_after(day: NaiveDate) -> NaiveDate {
    day + Days::new(u64::from(7 - day.weekday().num_days_from_monday()))
}

fn a_site(ledger: &TestLedger) -> String {
    let file = rusqlite::Connection::open(ledger.path()).expect("the file opens");
    file.query_row("SELECT address FROM site ORDER BY id LIMIT 1", [], |row| {
        row.get(0)
    })
    .expect("a site")
}
