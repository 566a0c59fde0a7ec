//! Damage: a ledger in which one thing was changed behind the program's back, and what `check` says of it.
//!
//! One cell after another of every table is given another value that its column allows, and one row after another is
//! taken away: each must be found, or stand on a list below with the reason why nothing contradicts it. What another row
//! contradicts must be found in its own words too, not by its seal alone.

use std::path::{Path, PathBuf};

use gritledger::ledger::{Clock, Identity, Ledger};
use gritledger::measure::Units;
use gritledger::money::Currency;
use rusqlite::config::DbConfig;
use rusqlite::types::Value;
use rusqlite::{Connection, OptionalExtension};

use crate::harness::TestLedger;

/// Columns that nothing contradicts, and why. `*` is every column of a table.
const NOTHING_CONTRADICTS: &[(&str, &str, &str)] = &[
    ("log", "*", "sentences about rows, which say it themselves"),
    (
        "client",
        "*",
        "a client's own data, which may be edited and forgotten",
    ),
    (
        "site",
        "*",
        "may be edited; quotes, invoices and jobs keep what they need of it",
    ),
    ("room", "*", "may be edited; quotes keep its measures"),
    (
        "doorway",
        "*",
        "may be edited; quotes keep the edge that it leaves",
    ),
    (
        "finding",
        "*",
        "may be edited; quotes keep the work that it takes",
    ),
    ("worker", "*", "may be edited; hours keep the wage"),
    ("task", "*", "a name"),
    (
        "item",
        "*",
        "may be edited; quotes and entries keep prices and amounts",
    ),
    (
        "item_pack",
        "*",
        "may be edited; quotes and entries keep prices and amounts",
    ),
    (
        "machine",
        "*",
        "may be edited; quotes and rentals keep the tariff",
    ),
    (
        "operation",
        "*",
        "may be edited; quotes and evidence keep what they were made with",
    ),
    (
        "operation_hazard",
        "*",
        "may be defined anew; quotes keep the cautions",
    ),
    ("sequence", "*", "may be defined anew; quotes keep the work"),
    (
        "sequence_step",
        "*",
        "may be defined anew; quotes keep the work",
    ),
    ("schedule", "*", "may be defined anew; quotes keep the work"),
    (
        "schedule_step",
        "*",
        "may be defined anew; quotes and plans keep the work",
    ),
    ("tax_area", "*", "a name, and when it was recorded"),
    ("observation", "recorded_at", "nothing rests on it"),
    (
        "observation",
        "word",
        "the owner's word, or the model's, which is worked out again from time to time",
    ),
    ("observation", "voided_at", "the owner's word"),
    ("observation", "void_reason", "the owner's word"),
    (
        "observation_part",
        "area_micro",
        "as in the notebook; the rates are learned from the driver",
    ),
    (
        "observation_part",
        "edge_micro",
        "as in the notebook; the rates are learned from the driver",
    ),
    (
        "observation_part",
        "id",
        "an order of parts, which are learned from together",
    ),
    ("entry_confirmation", "*", "the owner's word"),
    (
        "rate_fit",
        "digest",
        "a fit of another digest is made again",
    ),
];

fn is_listed(table: &str, column: &str) -> bool {
    NOTHING_CONTRADICTS
        .iter()
        .any(|(listed, which, _)| *listed == table && (*which == "*" || *which == column))
}

/// Events that leave rows in every table.
const EVENTS: &str = r#"
    worker add "Ruben Vale" --wage 28.00
    worker add "Una Reed" --wage 31.50
    tax-area add "Ash County" 7.5 --from 2025-01-01
    client add "Ada Quill" --phone 555-0142 --address "9 Cooper Lane"
    client add "Bo Marsh"
    client add "Gone Away"
    client void "Gone Away"
    site add "Ada Quill" "4 Tannery Row" --year-built 1931 --tax-area "Ash County"
    site add "Bo Marsh" "7 Mill Lane"
    room add "4 Tannery Row" "Landing" --shape "10ft x 4.5ft" --condition worn-film --species red-oak --door "outside:2'8\""
    room add "4 Tannery Row" "Back bedroom" --shape "14ft x 11ft" --condition sound-film --species red-oak --door "Landing:2'6\""
    room add "4 Tannery Row" "Closet" --shape "5ft x 4ft" --condition worn-film --species red-oak --door "Back bedroom:2'4\""
    room add "7 Mill Lane" "Hall" --shape "12ft x 5ft" --condition bare --species white-oak --door "outside:3'"
    finding add "Landing" proud-nails "10 to 30" --chance 40
    finding add "Back bedroom" missing-quarter-round "22 ft"
    setting set overhead 12.5%
    setting set margin 30%
    item edit oil-finish --not-kept
    rate set rotary-36 --kind item --per "30 sqft"
    quote draft "4 Tannery Row" --room Landing --room "Back bedroom" --sequence rotary-36-50-80 --schedule oil-2-coat --option "One coat less: without=Landing" --other "disposal=45.55"
    quote send Q1
    quote accept Q1 --option 1
    job start J1
    quote draft "7 Mill Lane" --sequence rotary-36-50-80 --schedule oil-2-coat
    quote draft "7 Mill Lane" --sequence rotary-36-50-80 --schedule none --revises Q2
    quote send Q2.2
    quote accept Q2.2
    job start J2
    invoice deposit J1
    invoice issue J1
    payment add I1 5
    payment add I1 6
    payment void P2 --reason "bounced"
    use disc-7in-36 6 --room Landing --job J1
    buy disc-7in-36 30 --cost 96.13
    use disc-7in-36 7 --room Landing --room "Back bedroom" --job J1
    use disc-7in-50 3 --room Hall --job J2
    buy oil-finish 2 --cost 131.40
    use oil-finish 1.25 --job J1 --room "Back bedroom"
    hours "Ruben Vale" 3.25 --on sand --job J1 --room Landing
    hours "Una Reed" 2.5 --on sand --job J1 --room "Back bedroom"
    hours "Una Reed" 1.5 --on rotary-36 --job J2 --room Hall
    hours "Ruben Vale" 0.4 --job J1
    spent 51.07 --for disposal --job J1
    drive 13.7 --job J1
    hand-back disc-7in-36 4 --refund 10 --job J1
    stock count disc-7in-36 10
    rental out rotary --at "2026-02-25 08:00" --job J1
    rental day rotary --date 2026-02-27 --job J2
    rental back rotary --at "2026-03-01 16:00"
    rental out edger --at "2026-03-01 08:00" --job J2
    rental back edger --at "2026-03-02 07:00" --charged 52.00
    rental out rotary --at "2026-03-02 08:00" --job J2
    spent 9.99 --for "the wrong thing" --job J2
    use disc-7in-36 2 --room Landing --job J1
    void E18 --reason "another job"
    void E17 --reason "slip"
    quote draft "4 Tannery Row" --room Closet --variation-of J1 --sequence rotary-36-50-80 --schedule none
    quote send Q3
    quote accept Q3
    quote draft "4 Tannery Row"
    quote send Q4
    quote decline Q4
    room add "7 Mill Lane" "Den" --shape "12ft x 9ft" --condition bare --species white-oak --door "Hall:3'"
    plan house "7 Mill Lane" --room Den --start 2026-03-09 --accept
    invoice final J1
    invoice issue J1
    payment add I2 20
    invoice deposit J2
    rate change rotary-50 --since 2026-02-01 --note "another supplier"
    job close J1
"#;

const NOTEBOOK: &str = "finished_on,job,room,operation,condition,species,area,edge,quantity,item_quantity,hours\n\
    2025-05-06,Old one,Den,rotary-36,worn-film,red-oak,200,60,200,9,2.5\n\
    2025-06-06,Old two,Hall,rotary-36,worn-film,red-oak,150,50,150,6,2\n";

/// A ledger with rows in every table: the first copy in feet and dollars, another in metres and euros.
fn rich(copy: i64) -> TestLedger {
    let ledger = TestLedger::nowhere();
    let (units, currency) = if copy == 0 {
        (Units::Us, "USD")
    } else {
        (Units::Metric, "EUR")
    };
    let identity = Identity {
        business: "Marsh End Floors".to_owned(),
        currency: Currency::from_code(currency).unwrap(),
        units,
        copy,
    };
    let day = "2026-02-20".parse().unwrap();
    drop(Ledger::create(&ledger.path(), identity, Clock::at(day)).unwrap());
    let of_copy = |line: &str| -> String {
        if copy == 0 {
            return line.to_owned();
        }
        let numbered = |word: &str| {
            let bare = word.trim_end_matches(".2");
            let is_number = bare.len() > 1
                && bare.starts_with(['Q', 'J', 'I', 'P', 'E'])
                && bare[1..].bytes().all(|byte| byte.is_ascii_digit());
            if is_number {
                format!("{copy}-{word}")
            } else {
                word.to_owned()
            }
        };
        line.split(' ').map(numbered).collect::<Vec<_>>().join(" ")
    };
    let lines: Vec<String> = EVENTS.lines().map(of_copy).collect();
    ledger.lines(&lines.join("\n"));
    let notebook = ledger.file("notebook.csv", NOTEBOOK);
    ledger.line(&format!("import past-rooms {notebook}")).ok();
    ledger.line("rate confirm N1").code();
    // What was learned is kept from here on.
    ledger.line("rate list").ok();
    ledger
}

/// A ledger's file, in copies of which things are damaged.
struct Original {
    ledger: TestLedger,
    copy: PathBuf,
}

impl Original {
    fn new(ledger: TestLedger) -> Original {
        let copy = ledger.folder().join("damaged.db");
        let original = Original { ledger, copy };
        assert_eq!(
            original.problems_after(|_| true),
            Some(Vec::new()),
            "sound before it is damaged"
        );
        original
    }

    /// Returns what `check` says after a damage that no trigger saw; `None`: the database wouldn't have it.
    fn problems_after(&self, damage: impl FnOnce(&Connection) -> bool) -> Option<Vec<String>> {
        std::fs::copy(self.ledger.path(), &self.copy).expect("a copy");
        let file = Connection::open(&self.copy).expect("the copy opens");
        file.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_TRIGGER, false)
            .unwrap();
        file.pragma_update(None, "foreign_keys", false).unwrap();
        let is_done = damage(&file);
        drop(file);
        is_done.then(|| problems(&self.copy))
    }
}

fn problems(path: &Path) -> Vec<String> {
    let clock = Clock::at("2026-03-02".parse().unwrap());
    match Ledger::open(path, clock) {
        Ok(ledger) => ledger.problems().expect("a check"),
        // What can't even be opened is told of.
        Err(error) => vec![format!("{error:#}")],
    }
}

/// Returns the tables of a file with their columns.
fn tables(file: &Connection) -> Vec<(String, Vec<String>)> {
    let mut statement = file
        .prepare(
            "SELECT tables.name, columns.name FROM pragma_table_list AS tables, pragma_table_info(tables.name) AS columns
             WHERE tables.type = 'table' AND tables.schema = 'main' AND tables.name NOT LIKE 'sqlite%'
             ORDER BY tables.name, columns.cid",
        )
        .unwrap();
    let pairs = statement
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap();
    let mut tables: Vec<(String, Vec<String>)> = Vec::new();
    for pair in pairs {
        let (table, column): (String, String) = pair.unwrap();
        match tables.last_mut() {
            Some((last, columns)) if *last == table => columns.push(column),
            _ => tables.push((table, vec![column])),
        }
    }
    tables
}

/// Returns values that a column may have instead of one, the likeliest first.
fn other_values(file: &Connection, table: &str, column: &str, value: &Value) -> Vec<Value> {
    let others = |sql: &str| -> Vec<Value> {
        let mut statement = file.prepare(sql).unwrap();
        let values = statement.query_map([value], |row| row.get(0)).unwrap();
        values.map(Result::unwrap).collect()
    };
    let refers: Option<(String, String)> = file
        .query_row(
            "SELECT \"table\", COALESCE(\"to\", 'id') FROM pragma_foreign_key_list(?1) WHERE \"from\" = ?2",
            [table, column],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
        .optional()
        .unwrap();
    let mut values = match (&refers, value) {
        (Some((other, id)), _) => others(&format!(
            "SELECT {id} FROM {other} WHERE {id} <> COALESCE(?1, -1) ORDER BY {id} LIMIT 6"
        )),
        (None, Value::Integer(number)) => vec![
            Value::Integer(number + 1),
            Value::Integer(number - 1),
            Value::Integer(number + 1000),
            Value::Integer(1 - number),
        ],
        (None, Value::Text(text)) => {
            let shifted = file.query_row(
                "SELECT CASE length(?1) WHEN 10 THEN date(?1, '+1 day') ELSE datetime(?1, '+1 minute') END",
                [text],
                |row| row.get::<_, Option<String>>(0),
            );
            let shifted = shifted.unwrap().filter(|_| text.starts_with("20"));
            let mut values: Vec<Value> = shifted.into_iter().map(Value::Text).collect();
            values.push(Value::Text(format!("{text}x")));
            values.extend(
                ["'none'", "'both'"].map(|word| Value::Text(word.trim_matches('\'').to_owned())),
            );
            values
        }
        _ => Vec::new(),
    };
    // What stands in other rows is allowed too: words of closed sets above all.
    values.extend(others(&format!(
        "SELECT DISTINCT \"{column}\" FROM \"{table}\" WHERE \"{column}\" IS NOT ?1 AND \"{column}\" IS NOT NULL LIMIT 6"
    )));
    values
}

/// Returns places of a column to be damaged: the first and the last row that have a value in it.
fn places(file: &Connection, table: &str, column: &str) -> Vec<i64> {
    let sql = format!(
        "SELECT place FROM (SELECT row_number() OVER () AS place, \"{column}\" AS value FROM \"{table}\") WHERE value IS NOT NULL"
    );
    let mut statement = file.prepare(&sql).unwrap();
    let all: Vec<i64> = statement
        .query_map([], |row| row.get(0))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    let mut places: Vec<i64> = all.first().into_iter().chain(all.last()).copied().collect();
    places.dedup();
    places
}

/// Returns the condition that is true of one row, by its primary key.
fn row_at(file: &Connection, table: &str, place: i64) -> (String, Vec<Value>) {
    let mut keys = file
        .prepare("SELECT name FROM pragma_table_info(?1) WHERE pk > 0 ORDER BY pk")
        .unwrap();
    let keys: Vec<String> = keys
        .query_map([table], |row| row.get(0))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    let sql = format!(
        "SELECT * FROM (SELECT {} FROM \"{table}\" LIMIT 1 OFFSET {})",
        keys.join(", "),
        place - 1
    );
    let values = file
        .query_row(&sql, [], |row| {
            (0..keys.len())
                .map(|key| row.get(key))
                .collect::<rusqlite::Result<Vec<Value>>>()
        })
        .unwrap();
    let conditions: Vec<String> = keys.iter().map(|key| format!("\"{key}\" = ?")).collect();
    (conditions.join(" AND "), values)
}

/// Changes one cell to another value that the database allows; tells whether there was one.
fn change(file: &Connection, table: &str, column: &str, place: i64) -> bool {
    let (row, key) = row_at(file, table, place);
    let sql = format!("SELECT \"{column}\" FROM \"{table}\" WHERE {row}");
    let value: Value = file
        .query_row(&sql, rusqlite::params_from_iter(&key), |row| row.get(0))
        .unwrap();
    other_values(file, table, column, &value)
        .into_iter()
        .any(|other| {
            let sql = format!("UPDATE \"{table}\" SET \"{column}\" = ? WHERE {row}");
            let parameters = std::iter::once(other).chain(key.iter().cloned());
            file.execute(&sql, rusqlite::params_from_iter(parameters))
                .is_ok()
        })
}

#[test]
fn every_cell_that_another_row_contradicts_is_found_when_it_is_changed() {
    let mut damages = 0;
    let mut missed = Vec::new();
    for copy in [0, 2] {
        let original = Original::new(rich(copy));
        let file = Connection::open(original.ledger.path()).unwrap();
        for (table, columns) in tables(&file) {
            let rows: i64 = file
                .query_row(&format!("SELECT COUNT(*) FROM \"{table}\""), [], |row| {
                    row.get(0)
                })
                .unwrap();
            assert!(rows > 0, "{table} has no row to damage");
            for column in &columns {
                if is_listed(&table, column) {
                    continue;
                }
                for place in places(&file, &table, column) {
                    let said = original.problems_after(|file| change(file, &table, column, place));
                    damages += usize::from(said.is_some());
                    if said.is_some_and(|said| said.is_empty()) {
                        missed.push(format!("copy {copy}: {table}.{column} of row {place}"));
                    }
                }
            }
            if is_listed(&table, "row") {
                continue;
            }
            for place in [1, rows] {
                let said = original.problems_after(|file| {
                    let (row, key) = row_at(file, &table, place);
                    let sql = format!("DELETE FROM \"{table}\" WHERE {row}");
                    file.execute(&sql, rusqlite::params_from_iter(&key)).is_ok()
                });
                damages += 1;
                if said.is_some_and(|said| said.is_empty()) {
                    missed.push(format!("copy {copy}: row {place} of {table} is gone"));
                }
            }
        }
    }
    assert_eq!(
        missed,
        Vec::<String>::new(),
        "{} of {damages} damages were missed",
        missed.len()
    );
    assert!(damages >= 300, "only {damages} damages were tried");
}
