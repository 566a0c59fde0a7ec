//! Lists and reports as CSV: as many rows as the JSON has, every figure of it in a column of its own, the same columns
//! whatever the rows, and nothing that a spreadsheet would run.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::harness::TestLedger;

/// What has a list, and where it stands in its JSON; the demo has rows for most of them.
const LISTS: &[(&str, &str)] = &[
    ("client list", ""),
    ("site list", ""),
    ("site show \"9 Kelp Cottages\"", "/rooms"),
    ("site check \"9 Kelp Cottages\"", "/rooms"),
    ("room list \"9 Kelp Cottages\"", ""),
    ("room check Landing --site \"9 Kelp Cottages\"", "/rows"),
    ("finding list \"1 Signal House\"", "/findings"),
    ("reading list \"1 Signal House\"", ""),
    ("worker list", "/workers"),
    ("quote list", "/quotes"),
    ("quote show Q21", "/lines"),
    ("quote show Q22 --why", "/lines"),
    ("quote show Q22 --for-client", "/lines"),
    ("quote compare Q22", "/options"),
    ("quote buy Q22", "/buy"),
    (
        "plan house \"9 Kelp Cottages\" --start 2026-03-09",
        "/phases",
    ),
    ("job list", ""),
    ("job show J3", "/entries"),
    ("job buy J19", "/buy"),
    ("rental list", "/rentals"),
    ("stock list", "/items"),
    ("invoice list", "/invoices"),
    ("invoice show I1", "/lines"),
    ("payment list", "/payments"),
    ("client statement \"Linnea Foss\"", "/lines"),
    ("report receivables", "/clients"),
    ("report work-in-hand", ""),
    ("report work-in-hand --cash", ""),
    ("report margin", "/jobs"),
    ("report margin --by room", "/rooms"),
    ("report margin --by month", "/months"),
    ("report variance J3", "/lines"),
    ("report variance --from 2025-06-01", "/lines"),
    ("report causes", "/causes"),
    ("report consumables", "/lines"),
    ("report rentals", "/rentals"),
    ("report rentals --by job", "/jobs"),
    ("report overheads", "/entries"),
    ("report year 2025", "/by_month"),
    ("report year 2025 --by client", "/by_client"),
    ("report year 2025 --mileage", "/drives"),
    ("rate list", ""),
    (
        "rate show rotary-36 --condition worn-film --kind item",
        "/0/taught_by",
    ),
    ("rate check", "/slips"),
    ("item list", "/items"),
    ("item show disc-7in-36", "/packs"),
    ("item cover disc-7in-36 50", "/packs"),
    ("item cut quarter-round 14 8", "/sticks"),
    ("machine list", "/machines"),
    ("machine cover rotary --days 5", "/cover"),
    ("operation list", ""),
    ("sequence list", ""),
    ("sequence show rotary-36-50-80", "/steps"),
    ("schedule list", ""),
    ("schedule show oil-2-coat", "/steps"),
    ("setting list", ""),
    ("tax-area list", ""),
    ("account list", ""),
    ("tax-area show \"Shop floors\"", "/rates"),
    ("log", ""),
];

fn demo() -> TestLedger {
    let ledger = TestLedger::nowhere();
    ledger.line("demo --to t.db --quiet").ok();
    ledger
}

type Row = BTreeMap<String, String>;

/// Reads CSV; returns its columns and rows.
fn read(text: &str) -> (Vec<String>, Vec<Row>) {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let headings = reader.headers().unwrap().clone();
    let rows = reader.records().map(|record| {
        let record = record.unwrap();
        let cells = headings.iter().zip(record.iter());
        cells
            .map(|(name, cell)| (name.to_owned(), cell.to_owned()))
            .collect()
    });
    let rows = rows.collect();
    (headings.iter().map(str::to_owned).collect(), rows)
}

/// Asserts that each word, figure and list of a row's JSON stands in the column that its keys name.
fn assert_told(place: &str, key: &str, value: &Value, row: &Row) {
    match value {
        Value::Object(parts) => {
            for (part, value) in parts {
                let below = match (key, part.as_str()) {
                    ("", part) => part.to_owned(),
                    (key, "quantity") if parts.contains_key("unit") => key.to_owned(),
                    (key, part) => format!("{key}_{part}"),
                };
                assert_told(place, &below, value, row);
            }
        }
        // What isn't there says nothing in any column of its own.
        Value::Null => {
            let mut told = row
                .iter()
                .filter(|(name, _)| *name == key || name.starts_with(&format!("{key}_")));
            assert!(
                told.all(|(_, cell)| cell.is_empty()),
                "{place}: {key} in {row:?}"
            );
        }
        value => {
            let cell = row
                .get(key)
                .unwrap_or_else(|| panic!("{place}: no column {key}"));
            match value {
                Value::String(text) => assert_eq!(
                    cell.strip_prefix('\'').unwrap_or(cell),
                    text,
                    "{place}: {key}"
                ),
                Value::Array(parts) => {
                    assert_eq!(cell.is_empty(), parts.is_empty(), "{place}: {key}");
                }
                figure => assert_eq!(*cell, figure.to_string(), "{place}: {key}"),
            }
        }
    }
}

#[test]
fn every_list_and_report_gives_as_many_rows_as_its_json_has() {
    let ledger = demo();
    let mut without_rows = Vec::new();
    for (line, pointer) in LISTS {
        let json = ledger.json(line);
        let json = json.pointer(pointer).and_then(Value::as_array);
        let json = json.unwrap_or_else(|| panic!("{line}: no list at {pointer}"));
        let text = ledger.line(&format!("{line} --csv")).ok();
        assert!(text.ends_with("\r\n"), "{line}");
        let (columns, rows) = read(&text);
        assert_eq!(rows.len(), json.len(), "{line}");
        let names = columns.iter().enumerate();
        for (place, name) in names {
            let is_name =
                |sign: char| sign.is_ascii_lowercase() || sign.is_ascii_digit() || sign == '_';
            assert!(
                !name.is_empty() && name.chars().all(is_name),
                "{line}: {name}"
            );
            assert!(!columns[..place].contains(name), "{line}: {name} twice");
        }
        for (value, row) in json.iter().zip(&rows) {
            assert_told(line, "", value, row);
        }
        if json.is_empty() {
            without_rows.push(*line);
        }
    }
    assert_eq!(
        without_rows,
        ["reading list \"1 Signal House\"", "report overheads"]
    );
}

/// A list or report that is new is asked for here.
#[test]
fn no_list_or_report_is_forgotten() {
    let ledger = TestLedger::nowhere();
    let commands = |of: &str| -> Vec<String> {
        let help = ledger.line(&format!("{of} --help")).ok();
        let below = help.split("Commands:\n").nth(1).unwrap_or_default();
        let below = below.lines().take_while(|line| !line.is_empty());
        let below = below.filter_map(|line| line.strip_prefix("  "));
        let names = below
            .filter(|line| !line.starts_with(' '))
            .filter_map(|line| line.split(' ').next());
        names
            .filter(|name| *name != "help")
            .map(str::to_owned)
            .collect()
    };
    let nouns = commands("");
    assert!(nouns.len() > 30, "{nouns:?}");
    for noun in nouns {
        for verb in commands(&noun) {
            if verb == "list" || noun == "report" {
                let line = format!("{noun} {verb}");
                assert!(
                    LISTS.iter().any(|(known, _)| known.starts_with(&line)),
                    "{line}"
                );
            }
        }
    }
}

#[test]
fn the_columns_are_the_same_without_rows() {
    let (demo, empty) = (demo(), TestLedger::new());
    for (line, _) in LISTS
        .iter()
        .filter(|(line, _)| !line.contains(['"', '3', '1', '2']))
    {
        let columns = |ledger: &TestLedger| read(&ledger.line(&format!("{line} --csv")).ok()).0;
        assert_eq!(columns(&demo), columns(&empty), "{line}");
    }
    let rows = |line: &str| read(&empty.line(line).ok()).1.len();
    assert_eq!(rows("client list --csv"), 0);
    assert_eq!(rows("report margin --csv"), 0);
    assert_eq!(rows("report margin --by room --csv"), 0);
}

#[test]
fn what_a_spreadsheet_would_run_is_defused() {
    let ledger = TestLedger::new();
    ledger.lines(
        r#"
        client add "=1+1" --phone "+1 555 0142" "--note=-2 steps, \"@home\""
        site add "=1+1" "@4 Tannery Row"
        "#,
    );
    assert_eq!(
        ledger.line("client list --csv").ok(),
        "name,phone,email,address,tax_number,exempt,note,balance,currency\r\n\
         '=1+1,'+1 555 0142,,,,,\"'-2 steps, \"\"@home\"\"\",0.00,USD\r\n"
    );
    assert_eq!(
        ledger.line("site list --csv").ok(),
        "address,client,year_built,tax_area,distance,distance_unit,note\r\n\
         '@4 Tannery Row,'=1+1,,,,,\r\n"
    );
}

#[test]
fn figures_are_as_export_writes_them_wherever_somebody_lives() {
    let ledger = TestLedger::nowhere();
    ledger
        .line("init --business Fjord --currency EUR --units metric --decimal-mark comma --quiet")
        .ok();
    ledger.line("worker add \"Una Marl\" --wage 28,50").ok();
    assert_eq!(
        ledger.line("worker list --csv").ok(),
        "name,wage,active,currency\r\nUna Marl,28.50,true,EUR\r\n"
    );
}

#[test]
fn what_is_no_list_says_which_one_there_is() {
    let ledger = TestLedger::job_open();
    for (line, told, hint) in [
        ("client show \"Ada Quill\"", "client show", "client list"),
        ("room show Landing", "room show", "room list SITE"),
        ("today", "today", "job list"),
        ("check", "check", "job list"),
        (
            "rate predict rotary-36 --condition worn-film --area 300",
            "rate predict",
            "rate list",
        ),
        ("client add \"Una Marl\"", "client add", "client list"),
        ("use 36 6", "use", "job list"),
        ("daybook notes.txt", "daybook", "job list"),
        ("backup copy.db", "backup", "job list"),
        ("demo", "demo", "job list"),
        ("walk \"4 Tannery Row\"", "walk", "job list"),
        ("generate man", "generate", "job list"),
    ] {
        ledger.file("notes.txt", "use 36 6\n");
        assert_eq!(
            ledger.line(&format!("{line} --csv")).refused(),
            format!("error: `{told}` has no list to write as CSV\nhint: gritledger {hint} --csv"),
        );
    }
    assert!(!ledger.folder().join("copy.db").exists());
    assert!(
        ledger.json("job show")["entries"]
            .as_array()
            .unwrap()
            .is_empty()
    );
    assert_eq!(ledger.json("client list").as_array().unwrap().len(), 1);
}

#[test]
fn an_answer_has_one_form() {
    let run = TestLedger::new().line("client list --csv --json");
    assert_eq!(run.code(), 2, "{run}");
    let told = run.stderr();
    let told = told.lines().next().unwrap_or_default();
    assert_eq!(
        told,
        "error: the argument '--csv' cannot be used with '--json'"
    );
}

/// Read line by line beside the same answers as tables.
#[test]
fn lists_read_as_they_were_read() {
    let ledger = demo();
    for (name, line) in [
        ("csv_jobs", "job list"),
        ("csv_quote", "quote show Q22"),
        ("csv_variance", "report variance J19"),
        ("csv_rates", "rate list --operation rotary-36 --learned"),
    ] {
        let text = ledger.line(&format!("{line} --csv")).ok();
        insta::assert_snapshot!(name, text.replace("\r\n", "\n"));
    }
}
