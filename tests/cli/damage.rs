//! Damage: a ledger in which one thing was changed behind the program's back, and what `check` says of it.
//!
//! One cell after another of every table is given another value that its column allows, and one row after another is
//! taken away: each must be found, or stand on a list below with the reason why nothing contradicts it. What another row
//! contradicts must be found in its own words too, not by its seal alone.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use gritledger::ledger::{Clock, Identity, Ledger};
use gritledger::measure::Units;
use gritledger::money::Currency;
use gritledger::notation::{Country, Notation};
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
    ("finding_piece", "id", "only the order of the pieces"),
    (
        "finding_piece",
        "length_nm",
        "what a quantity doesn't show of a length isn't seen; a foot more is, below",
    ),
    (
        "reading",
        "by_whom",
        "who somebody is: it must be able to be forgotten, so it isn't sealed",
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
    ("rate_fit", "row", "a fit that is gone is made again"),
    (
        "rate_story",
        "digest",
        "a story of another digest is told again",
    ),
    ("rate_story", "row", "a story that is gone is told again"),
    ("rental_day", "id", "nothing refers to it"),
    ("stock_effect", "id", "an order, within one entry"),
    (
        "stock_effect",
        "cause_id",
        "since when it is known, which only a look back asks",
    ),
    ("stock_settlement", "id", "nothing refers to it"),
    (
        "invoice",
        "client",
        "who a client is: it must be able to be forgotten, so it isn't sealed",
    ),
    ("invoice", "client_address", "who a client is"),
    ("invoice", "client_tax_number", "who a client is"),
    ("invoice", "site", "where a client is"),
    (
        "invoice_line",
        "what",
        "a deposit's line says where a client is; others are sealed",
    ),
    ("quote_event", "client", "who a client is"),
    ("quote_event", "client_address", "who a client is"),
    ("quote_event", "site", "where a client is"),
    ("job_event", "client", "who a client is"),
    ("job_event", "site", "where a client is"),
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
    site add "Bo Marsh" "7 Mill Lane" --distance 8.5
    room add "4 Tannery Row" "Landing" --shape "10ft x 4.5ft" --condition worn-film --species red-oak --door "outside:2'8\""
    room add "4 Tannery Row" "Back bedroom" --shape "14ft x 11ft" --condition sound-film --species red-oak --door "Landing:2'6\""
    room add "4 Tannery Row" "Closet" --shape "5ft x 4ft" --condition worn-film --species red-oak --door "Back bedroom:2'4\""
    room add "7 Mill Lane" "Hall" --shape "12ft x 5ft" --condition bare --species white-oak --door "outside:3'"
    finding add "Landing" proud-nails "10 to 30" --chance 40
    finding add "Back bedroom" missing-quarter-round "12 ft + 10 ft"
    setting set overhead 12.5%
    setting set margin 30%
    setting set km-rate 0.36
    setting set rental-distance 6
    setting set drive-speed 30
    item edit oil-finish --not-kept
    rate set rotary-36 --kind item --per "30 sqft"
    quote draft "4 Tannery Row" --room Landing --room "Back bedroom" --sequence rotary-36-50-80 --schedule oil-2-coat --option "One coat less: without=Landing" --other "disposal=45.55" --discount "neighbours=40"
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
    use disc-7in-36 2 --room Landing --job J1
    void E3 --reason "another job"
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
    rental move rotary --date 2026-02-27 --job J2
    rental back rotary --at "2026-03-01 16:00"
    rental out edger --at "2026-03-01 08:00" --job J2
    rental back edger --at "2026-03-02 07:00" --charged 52.00
    rental out rotary --at "2026-03-02 08:00" --job J2
    spent 9.99 --for "the wrong thing" --job J2
    void E23 --reason "slip"
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
    payment add I1 900 --keep-credit
    payment apply I2 50
    payment add I2 20
    invoice deposit J2
    invoice issue J2
    rate change rotary-50 --since 2026-02-01 --note "another supplier"
    rate confirm E5
    finding edit #1 --turned-up yes
    job close J1
    spent 300 --for insurance --no-job
    hours "Ruben Vale" 2 --no-job --note "estimate visit"
    drive 40 --no-job
    quote draft "4 Tannery Row" --room Closet --sequence rotary-36-50-80 --schedule none
    quote send Q6
    quote accept Q6
    job start J3
    job close J3
    room edit "7 Mill Lane/Hall" --shape "12.5ft x 5ft"
    quote vary J2 --room Hall
    quote send Q7
    quote accept Q7
    reading add Landing wood-left "1/4 in" board 8.5 --place register --by "Ruben Vale" --date 2026-02-28
    reading add Landing lead negative --layer finish --by "Hill Laboratory"
    reading add "7 Mill Lane" temperature 68F --house
    reading add Hall seen cupped
    reading void #5 --reason "another room"
    hours "Ruben Vale" 0.5 driving --job J2
    invoice credit I3 --line 1 --amount 1 --reason "dust on the stairs" --issue
    invoice write-off I3 1 --reason "moved away"
    invoice write-off I3 --undo --reason "they pay"
    invoice write-off I3 2 --reason "moved away"
    payment refund I1 3 --note "by transfer"
    invoice progress J2 --amount 5 --issue
    account rename money "Current account"
    buy disc-7in-80 10 --cost 30 --date 2026-02-20 --confirm
    use disc-7in-80 2 --job J2 --date 2026-02-21 --confirm
    spent 3 --for stamps --no-job --date 2026-02-24 --confirm
    report year --from 2026-02-01 --to 2026-02-24 --close --confirm
    report year --from 2026-02-25 --to 2026-02-26 --close --confirm
    void E31 --reason "none were bought"
    buy disc-7in-80 10 --cost 40 --date 2026-02-20 --confirm
    spent 4 --for tape --no-job --date 2026-02-25 --confirm
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
        currency: Currency::from_code(currency).expect("the file answers"),
        units,
        country: Some(Country::US),
        notation: Notation::default(),
        copy,
    };
    let day = "2026-02-20".parse().expect("the file answers");
    drop(Ledger::create(&ledger.path(), identity, Clock::at(day)).expect("the file answers"));
    let of_copy = |line: &str| -> String {
        // A row without a number of its series is known by its id.
        let row = |line: &str, row: i64| {
            line.replace(&format!("#{row}"), &((copy << 40) + row).to_string())
        };
        let line = row(&row(line, 5), 1);
        if copy == 0 {
            return line.replace("km-rate", "mile-rate");
        }
        let line = line.replace("disc-7in", "disc-178mm"); // The metric book's.
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
    // What was learned is kept from here on.
    ledger
        .line("rate show rotary-36 --condition worn-film")
        .ok();
    ledger
}

/// The first copy, made once for all tests.
fn first_copy() -> TestLedger {
    static FILE: OnceLock<Vec<u8>> = OnceLock::new();
    let file = FILE.get_or_init(|| std::fs::read(rich(0).path()).expect("a ledger"));
    let ledger = TestLedger::nowhere();
    ledger.file("t.db", file);
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
            .expect("the file answers");
        file.pragma_update(None, "foreign_keys", false)
            .expect("the file answers");
        let is_done = damage(&file);
        drop(file);
        is_done.then(|| problems(&self.copy))
    }
}

fn problems(path: &Path) -> Vec<String> {
    let clock = Clock::at("2026-03-02".parse().expect("the file answers"));
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
        .expect("the file answers");
    let pairs = statement
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .expect("the file answers");
    let mut tables: Vec<(String, Vec<String>)> = Vec::new();
    for pair in pairs {
        let (table, column): (String, String) = pair.expect("the file answers");
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
        let mut statement = file.prepare(sql).expect("the file answers");
        let values = statement
            .query_map([value], |row| row.get(0))
            .expect("the file answers");
        values.map(Result::unwrap).collect()
    };
    let refers: Option<(String, String)> = file
        .query_row(
            "SELECT \"table\", COALESCE(\"to\", 'id') FROM pragma_foreign_key_list(?1) WHERE \"from\" = ?2",
            [table, column],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
        .optional()
        .expect("the file answers");
    let mut values = match (&refers, value) {
        (Some((other, id)), _) => others(&format!(
            "SELECT {id} FROM {other} WHERE {id} <> COALESCE(?1, -1) ORDER BY {id} LIMIT 6"
        )),
        (None, Value::Integer(number)) => vec![
            // A millionth of something may be lost in rounding; a whole one isn't.
            Value::Integer(
                number
                    + if column.ends_with("_micro") {
                        1_000_000
                    } else {
                        1
                    },
            ),
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
            let shifted = shifted
                .expect("the file answers")
                .filter(|_| text.starts_with("20"));
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
    let mut statement = file.prepare(&sql).expect("the file answers");
    let all: Vec<i64> = statement
        .query_map([], |row| row.get(0))
        .expect("the file answers")
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
        .expect("the file answers");
    let keys: Vec<String> = keys
        .query_map([table], |row| row.get(0))
        .expect("the file answers")
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
        .expect("the file answers");
    let conditions: Vec<String> = keys.iter().map(|key| format!("\"{key}\" = ?")).collect();
    (conditions.join(" AND "), values)
}

/// Changes one cell to another value that the database allows; tells whether there was one.
fn change(file: &Connection, table: &str, column: &str, place: i64) -> bool {
    let (row, key) = row_at(file, table, place);
    let sql = format!("SELECT \"{column}\" FROM \"{table}\" WHERE {row}");
    let value: Value = file
        .query_row(&sql, rusqlite::params_from_iter(&key), |row| row.get(0))
        .expect("the file answers");
    other_values(file, table, column, &value)
        .into_iter()
        .any(|other| {
            let sql = format!("UPDATE \"{table}\" SET \"{column}\" = ? WHERE {row}");
            let parameters = std::iter::once(other).chain(key.iter().cloned());
            file.execute(&sql, rusqlite::params_from_iter(parameters))
                .is_ok()
        })
}

/// Damages whose contradiction is told in words of its own: what is done, and what must be said of it.
const PLANTED: &[(&str, &str)] = &[
    // The file and its schema.
    ("DROP TRIGGER entry_stays", "schema: the trigger `entry_stays` is gone"),
    ("DROP TRIGGER invoice_gapless", "schema: the trigger `invoice_gapless` is gone"),
    ("DROP VIEW live_payment", "schema: the view `live_payment` is gone"),
    ("DROP INDEX invoice_number", "schema: the index `invoice_number` is gone"),
    ("DROP TABLE rate_change", "schema: the table `rate_change` is gone"),
    (
        "DROP TRIGGER log_kept; CREATE TRIGGER log_kept BEFORE DELETE ON log BEGIN SELECT 1; END",
        "schema: the trigger `log_kept` was changed",
    ),
    (
        "CREATE TRIGGER helpful AFTER INSERT ON entry BEGIN SELECT 1; END",
        "schema: the trigger `helpful` is none of the ledger's",
    ),
    ("ALTER TABLE client ADD COLUMN nickname TEXT", "schema: the table `client` was changed"),
    ("PRAGMA ignore_check_constraints = 1; UPDATE room SET species = 'plastic' WHERE name = 'Hall'", "file: CHECK constraint failed in room"),
    ("UPDATE entry SET recorded_at = 'noon' WHERE number = 5", "entry: `noon` in recorded_at is not a moment"),
    ("UPDATE log SET recorded_at = '2026-13-02 00:00:00' WHERE id = 1", "log: `2026-13-02 00:00:00` in recorded_at is not a moment"),
    ("DELETE FROM room WHERE name = 'Hall'", "its room is gone"),
    // Numbers.
    ("DELETE FROM entry WHERE number = 9", "E9 is missing"),
    ("UPDATE payment SET number = 40 WHERE number = 2", "payment numbers of copy 0"),
    ("UPDATE invoice SET number = 9 WHERE number = 2", "invoice numbers of copy 0"),
    ("UPDATE quote SET number = 31 WHERE number = 4", "quote numbers of copy 0"),
    ("UPDATE job SET number = 12 WHERE number = 2", "J12: it isn't as it was written"),
    ("UPDATE observation SET number = 7 WHERE number = 2", "numbers of the notebook of copy 0"),
    ("UPDATE entry SET number = 999 WHERE number = 7; UPDATE entry SET number = 7 WHERE number = 8; UPDATE entry SET number = 8 WHERE number = 999", "its number is lower than the one before it"),
    ("DELETE FROM quote_line WHERE quote_id = 1 AND position = 3", "lines of Q1"),
    ("DELETE FROM quote WHERE number = 2 AND version = 1", "versions of Q2"),
    ("UPDATE sequence_step SET position = position + 10 WHERE sequence_id = 1 AND position = 2", "steps of the sequence"),
    // Clients, sites and rooms.
    ("UPDATE room SET shape = '10ft of 12' WHERE name = 'Hall'", "room `Hall`: its shape `10ft of 12` can't be read"),
    ("UPDATE doorway SET other_room_id = (SELECT id FROM room WHERE name = 'Hall') WHERE other_room_id = (SELECT id FROM room WHERE name = 'Landing')", "they are at two sites"),
    ("UPDATE client SET voided_on = '2026-03-01' WHERE name = 'Ada Quill'", "site `4 Tannery Row`: it is in use, and its client isn't"),
    ("UPDATE room SET voided_on = '2026-03-01' WHERE name = 'Back bedroom'", "doorway of `Back bedroom`: it is in use, and the room isn't"),
    ("UPDATE finding SET kind = 'ghosts' WHERE kind = 'proud-nails'", "no operation puts `ghosts` right"),
    ("UPDATE finding_piece SET length_nm = length_nm + 304800000 WHERE id = 1", "22 ft of missing-quarter-round, and its pieces are 23 ft"),
    (
        "PRAGMA ignore_check_constraints = 1; UPDATE finding SET turned_up = 1 WHERE kind = 'missing-quarter-round'",
        "file: CHECK constraint failed in finding",
    ),
    ("UPDATE finding SET unit = 'sqft' WHERE kind = 'proud-nails'", "proud-nails is counted in each, not in sqft"),
    // Settings and book.
    ("UPDATE setting SET value = 'lots' WHERE name = 'margin'", "setting margin: `lots` can't be read"),
    ("UPDATE setting SET value = 'someday' WHERE name = 'working-days'", "setting working-days: `someday` can't be read"),
    ("UPDATE setting SET name = 'mood' WHERE name = 'burden'", "setting mood: there is no such setting"),
    ("DELETE FROM setting WHERE name = 'burden'", "setting burden: it has no value"),
    ("DELETE FROM item_pack WHERE item_id = (SELECT id FROM item WHERE name = 'disc-7in-36')", "item `disc-7in-36`: its packs are gone"),
    ("DELETE FROM sequence_step WHERE sequence_id = (SELECT id FROM sequence WHERE name = 'rotary-36-50-80')", "sequence `rotary-36-50-80`: its steps are gone"),
    ("DELETE FROM schedule_step WHERE schedule_id = (SELECT id FROM schedule WHERE name = 'oil-2-coat')", "schedule `oil-2-coat`: its steps are gone"),
    ("DELETE FROM tax_rate", "tax area `Ash County`: its rates are gone"),
    ("DELETE FROM book_rate WHERE kind = 'hours' AND operation_id = (SELECT id FROM operation WHERE name = 'rotary-36')", "operation `rotary-36`: its rate of hours is gone"),
    ("UPDATE book_rate SET species = 'plastic' WHERE id = 3", "its floor can't be read"),
    ("UPDATE ledger SET units = 'metric'", "the firm: it isn't as it was written"),
    ("UPDATE ledger SET currency = 'EUR'", "the firm: it isn't as it was written"),
    // Quotes.
    ("UPDATE quote SET price_minor = price_minor + 1 WHERE id = 1", "quote Q1: its cost asks for"),
    ("UPDATE quote SET named_minor = price_minor - 1 WHERE id = 1", "quote Q1: its price is named as"),
    ("UPDATE quote SET tax_minor = tax_minor + 1 WHERE id = 1", "quote Q1: tax is"),
    ("DELETE FROM quote_discount", "quote Q1: its rooms add up to"),
    ("UPDATE quote_discount SET position = 2", "discounts of Q1"),
    ("UPDATE quote_discount SET reason = 'x'", "Q1 (As drafted): it isn't as it was written"),
    ("UPDATE quote_room SET price_minor = price_minor + 1 WHERE quote_id = 1 AND position = 1", "quote Q1: its rooms add up to"),
    ("UPDATE quote_line SET hours_micro = hours_micro + 1000000 WHERE quote_id = 1 AND position = 2", "quote Q1: its rate gives"),
    ("UPDATE quote_line SET driver_micro = driver_micro + 10000000 WHERE quote_id = 1 AND position = 2", "quote Q1: its rate gives"),
    ("UPDATE quote_line SET other_cost_minor = other_cost_minor + 1 WHERE kind = 'trips' AND what = 'site'", "driving to the site costs"),
    ("UPDATE quote_line SET passes = passes + 1 WHERE kind = 'trips' AND what = 'site'", "driving to the site costs"),
    ("UPDATE quote_line SET hours_micro = hours_micro + 1000000 WHERE kind = 'trips' AND what = 'site'", "hours to the site cost"),
    ("UPDATE quote_line SET labour_cost_minor = labour_cost_minor + 1 WHERE quote_id = 1 AND position = 2", "quote Q1: its hours of"),
    ("UPDATE quote_line SET other_cost_minor = other_cost_minor + 1 WHERE quote_id = 1 AND kind = 'overhead'", "quote Q1: its overhead is"),
    ("UPDATE quote SET price_minor = price_minor + 1 WHERE varies_id IS NOT NULL", "quote Q2.2: with its variations it is worth"),
    ("UPDATE quote_line SET other_cost_minor = other_cost_minor + 1 WHERE quote_id IN (SELECT id FROM quote WHERE varies_id IS NOT NULL) AND kind = 'overhead'", "quote Q2.2: its overhead is"),
    ("UPDATE quote SET varies_id = 1 WHERE varies_id IS NOT NULL", "quote Q7: it is at the prices of a quote that isn't its job's"),
    ("DELETE FROM replaced_line", "quote Q7: it changes nothing"),
    ("UPDATE replaced_line SET line_id = 1 WHERE line_id = (SELECT MAX(line_id) FROM replaced_line)", "quote Q7: it replaces a line that is at other prices"),
    ("INSERT INTO replaced_line SELECT id, (SELECT MIN(line_id) FROM replaced_line) FROM quote WHERE number = 3", "quote Q7: it replaces a line that another has replaced"),
    ("DELETE FROM quote_rate WHERE quote_id = 1 AND kind = 'hours'", "quote Q1: its rate of hours of"),
    ("UPDATE quote SET outlook = json_remove(outlook, '$.kept.p80') WHERE id = 1", "the outlook of quote Q1, option `As drafted` can't be read"),
    (
        "UPDATE house_plan SET plan = json_set(plan, '$.kept.costs.rental', 1)",
        "plan of Q5: its rentals",
    ),
    (
        "UPDATE house_plan SET plan = json_set(plan, '$.kept.phases[0].rooms', json('[]'))",
        "plan of Q5: its rooms",
    ),
    (
        "UPDATE house_plan SET plan = json_set(plan, '$.kept.phases[0].needs.coats[0].recoat', 99999)",
        "plan of Q5: it doesn't hold on 2026-03-",
    ),
    (
        "UPDATE house_plan SET plan = json_set(plan, '$.kept.phases[0].furniture', '2026-03-30')",
        "furniture isn't back when it says",
    ),
    (
        "UPDATE house_plan SET plan = json_set(plan, '$.kept.day.crew_minutes', 0)",
        "it has minutes that nobody can count",
    ),
    ("UPDATE house_plan SET plan = '{}'", "the plan of quote Q5"),
    ("UPDATE quote_room SET room_id = (SELECT id FROM room WHERE name = 'Hall') WHERE quote_id = 1 AND position = 1", "quote Q1: `Hall` is at another site"),
    ("UPDATE quote SET site_id = 2 WHERE number = 3", "quote Q3: it varies a job at another site"),
    ("UPDATE quote SET drafted_on = '2026-03-01' WHERE number = 4", "quote Q4: it was drafted on another day than it was recorded"),
    // What happened to quotes and jobs.
    ("DELETE FROM quote_event WHERE quote_id = 1 AND what = 'sent'", "quote Q1: it was decided and never sent"),
    ("UPDATE quote_event SET happened_on = '2026-03-01' WHERE quote_id = 1 AND what = 'accepted'", "quote Q1: it was decided before it was sent"),
    ("UPDATE quote_event SET happened_on = '2026-02-01' WHERE quote_id = 1 AND what = 'sent'", "quote Q1: it was sent before it was drafted"),
    ("UPDATE quote_event SET what = 'declined' WHERE quote_id = 1 AND what = 'accepted'", "J1: its quote was declined"),
    ("UPDATE quote_event SET what = 'accepted' WHERE quote_id = 2 AND what = 'declined'", "quote Q1: it was accepted more than once"),
    ("DELETE FROM job WHERE number = 2", "it was accepted, and is neither a job nor a variation"),
    ("UPDATE job SET site_id = 2 WHERE number = 1", "J1: its quote is for another site"),
    ("DELETE FROM job_event WHERE job_id = 1 AND what = 'started'", "J1: agreed, started, closed and reopened don't follow each other"),
    ("UPDATE job_event SET happened_on = '2026-02-21' WHERE job_id = 1 AND what = 'closed'", "J1: it was begun, closed or opened again before it could be"),
    ("UPDATE job_event SET happened_on = '2026-03-09' WHERE job_id = 1 AND what = 'started'", "J1: what happened to it was recorded before it happened"),
    // What is open.
    ("INSERT INTO job_to_bill VALUES (2)", "J2: it is listed as not billed, and isn't"),
    ("DELETE FROM job_under_way", "J2: it isn't closed, and isn't listed as under way"),
    ("INSERT INTO job_under_way VALUES (1)", "J1: it is listed as under way, and isn't"),
    ("DELETE FROM machine_out", "its machine is out, and isn't listed so"),
    ("INSERT OR IGNORE INTO machine_out SELECT id FROM entry WHERE kind = 'rental-out'", "its machine is listed as out, and isn't"),
    ("DELETE FROM unsettled_invoice", "it isn't settled, and isn't listed so"),
    ("DELETE FROM awaiting_receipt", "stock of disc-7in-50: what is kept of E6"),
    ("UPDATE evidence_digest SET low = low + 1", "rates: the digest of the evidence isn't that of its observations"),
    // The day book.
    ("UPDATE entry SET amount_minor = amount_minor + 1 WHERE number = 9", "E9: its hours cost"),
    ("UPDATE entry SET quantity_micro = quantity_micro + 1000000 WHERE number = 9", "E9: its hours cost"),
    ("UPDATE entry SET price_micro = price_micro + 10000 WHERE number = 9", "E9: its hours cost"),
    ("UPDATE entry SET burden_micro = burden_micro + 100000 WHERE number = 9", "E9: its hours cost"),
    ("UPDATE entry SET amount_minor = amount_minor + 1 WHERE kind = 'drive'", "its driving costs"),
    ("UPDATE entry SET quantity_micro = 23000000 WHERE kind = 'hours'", "more than 24 hours on 2026-03-02"),
    ("UPDATE entry SET happened_on = '2026-04-01' WHERE number = 9", "E9: it happened after it was recorded"),
    ("UPDATE entry_room SET room_id = (SELECT id FROM room WHERE name = 'Hall') WHERE entry_id = 1", "E1: `Hall` isn't where J1 is"),
    (
        "INSERT INTO entry_room (entry_id, room_id) SELECT entry.id, room.id FROM entry, room
         WHERE kind = 'drive' AND job_id IS NULL AND name = 'Hall'",
        "it names rooms, and no job",
    ),
    (
        "INSERT INTO entry_room (entry_id, room_id) SELECT entry.id, room.id FROM entry, room
         WHERE on_the_road = 1 AND name = 'Hall'",
        "it is hours on the road, and names rooms",
    ),
    ("UPDATE entry SET job_id = 1 WHERE what = 'insurance'", "it isn't as it was written"),
    ("UPDATE entry SET job_id = NULL WHERE kind = 'drive' AND job_id IS NOT NULL", "it isn't as it was written"),
    ("PRAGMA ignore_check_constraints = 1; UPDATE entry SET job_id = NULL WHERE kind = 'use'", "file: CHECK constraint failed in entry"),
    (
        "PRAGMA ignore_check_constraints = 1; UPDATE entry SET late = 1 WHERE what = 'insurance'",
        "file: CHECK constraint failed in entry",
    ),
    ("UPDATE entry SET job_id = 2 WHERE number = 4", "E4: it takes back an entry of another job"),
    // Stock.
    ("UPDATE stock_effect SET value_minor = value_minor - 7 WHERE id = 2", "stock of disc-7in-36:"),
    ("UPDATE stock_effect SET quantity_micro = quantity_micro - 1000000 WHERE id = 2", "what is kept of E2 isn't what the entries come to"),
    ("UPDATE entry SET quantity_micro = quantity_micro + 1000000 WHERE number = 2", "what is kept of E2 isn't what the entries come to"),
    ("UPDATE stock_settlement SET paid_minor = paid_minor + 1", "isn't what the entries come to"),
    ("DELETE FROM stock_effect WHERE entry_id = 2", "E2: it did nothing to the stock of its item"),
    // Rentals.
    ("UPDATE rental_day SET charge_minor = charge_minor + 1 WHERE position = 1", "its days add up to"),
    ("UPDATE rental_day SET charge_minor = charge_minor + CASE position WHEN 1 THEN 5 ELSE -5 END WHERE position < 3 AND entry_id = (SELECT MIN(entry_id) FROM rental_day)", "its day of 2026-02-25 costs"),
    ("DELETE FROM rental_day WHERE position = 5", "charged for 4 days, 5 began"),
    ("UPDATE rental_day SET began_on = '2026-02-20' WHERE position = 1", "is charged as 2026-02-20"),
    ("UPDATE rental_day SET job_id = 2 WHERE position = 1", "which hadn't the machine"),
    ("UPDATE rental_tariff SET day_minor = day_minor + 100, week_minor = NULL", "its tariff asks"),
    ("UPDATE entry SET machine_id = 2 WHERE kind = 'rental-back' AND machine_id = 1", "it isn't the machine that went out"),
    // Closed times.
    ("UPDATE filed_total SET moved_minor = moved_minor + 1 WHERE period_id = 1 AND account = 'overhead'", "2026-02-01 to 2026-02-24: overhead was filed at 3.01, and comes to 3.00"),
    ("UPDATE filed_total SET balance_minor = balance_minor + 1 WHERE period_id = 2 AND account = 'overhead'", "2026-02-25 to 2026-02-26: overhead was filed to stand at 3.01 in the end, and stands at 3.00"),
    ("DELETE FROM filed_total WHERE account = 'shelf'", "shelf was filed at 0.00"),
    ("UPDATE closed_period SET from_on = '2026-02-26' WHERE id = 2", "2026-02-26 to 2026-02-26: it doesn't begin where the one before it ends"),
    ("UPDATE closed_period SET to_on = '2026-03-03' WHERE id = 2", "2026-02-25 to 2026-03-03: it was closed before it was over"),
    ("UPDATE closed_period SET recorded_at = '2026-03-01 00:00:00' WHERE id = 2", "2026-02-25 to 2026-02-26: it was closed before the one before it"),
    ("UPDATE entry SET posted_on = NULL WHERE what = 'tape'", "it counts on another day than it must"),
    ("UPDATE entry SET posted_on = '2026-02-28' WHERE what = 'none were bought'", "it counts on another day than it must"),
    ("UPDATE entry SET posted_on = '2026-03-01' WHERE what = 'insurance'", "it counts on another day than it must"),
    ("UPDATE stock_effect SET posted_on = NULL WHERE posted_on IS NOT NULL", "it counts on another day than it must"),
    ("UPDATE payment SET posted_on = '2026-03-03' WHERE number = 1", "P1: it counts on another day than it must"),
    ("UPDATE payment_void SET posted_on = '2026-03-03'", "P2: it counts on another day than it must"),
    ("UPDATE payment_application SET posted_on = '2026-03-03'", "it counts on another day than it must"),
    ("UPDATE write_off_void SET posted_on = '2026-03-03'", "I3: it counts on another day than it must"),
    ("UPDATE account_name SET name = 'Till'", "name of the account money: it isn't as it was written"),
    // Invoices and payments.
    ("UPDATE invoice SET net_minor = net_minor + 1 WHERE number = 1", "invoice I1: the lines add up to"),
    ("UPDATE invoice SET tax_minor = tax_minor + 1 WHERE number = 1", "invoice I1: its tax by rate adds up to"),
    ("UPDATE invoice_tax SET tax_minor = tax_minor + 1; UPDATE invoice SET tax_minor = tax_minor + 1", "invoice I1: its tax at"),
    ("UPDATE invoice_line SET net_minor = net_minor + 1 WHERE invoice_id = 1", "invoice I1: its line 1 comes to"),
    ("UPDATE invoice_line SET net_minor = net_minor + 100, unit_price_micro = unit_price_micro + 1000000 WHERE invoice_id = 2 AND position = 1;
      UPDATE invoice SET net_minor = net_minor + 100 WHERE id = 2; UPDATE invoice_tax SET net_minor = net_minor + 100 WHERE invoice_id = 2", "invoice I2: Q1 is agreed at"),
    ("DELETE FROM invoice_allowance", "invoice I2: the lines add up to"),
    ("UPDATE invoice_allowance SET amount_minor = amount_minor + 100; UPDATE invoice SET net_minor = net_minor - 100 WHERE id = 2;
      UPDATE invoice_tax SET net_minor = net_minor - 100 WHERE invoice_id = 2", "invoice I2: Q1 is agreed at"),
    ("UPDATE invoice_allowance SET quote_id = NULL", "invoice I2: its goodwill adds up to"),
    ("UPDATE invoice_allowance SET tax_micro = 1000000", "invoice I2: its lines at 1 % have no tax"),
    ("UPDATE invoice_allowance SET position = 2", "allowances of I2"),
    ("UPDATE invoice SET issued_on = '2026-03-01' WHERE number = 2", "invoice I2: it was issued before"),
    ("UPDATE invoice SET due_on = '2026-02-01' WHERE number = 1", "invoice I1: it falls due before it was issued"),
    ("UPDATE invoice SET job_id = 2 WHERE number = 1", "invoice I1: Q1 is no quote of J2"),
    ("UPDATE payment SET happened_on = '2026-02-01' WHERE number = 1", "payment P1: it came before its invoice was issued"),
    ("UPDATE payment SET kept_credit = 0", "payment P3: it is more than its invoice owed, and nobody said that the rest is kept"),
    ("UPDATE payment_application SET amount_minor = 1000000", "more of it is applied elsewhere than it is"),
    ("UPDATE invoice SET credits_id = 1 WHERE kind = 'credit'", "invoice I4: what it credits is no invoice of its job"),
    ("UPDATE invoice_line SET credits = 9 WHERE credits IS NOT NULL", "invoice I4: I3 has no such line at that tax"),
    ("UPDATE invoice_line SET net_minor = net_minor * 1000, unit_price_micro = unit_price_micro * 1000 WHERE credits IS NOT NULL", "invoice I4: it takes back more than I3 asked for"),
    ("UPDATE invoice_tax SET tax_minor = tax_minor + 50 WHERE invoice_id = 4", "invoice I4: its tax at"),
    ("UPDATE invoice SET rounding_minor = 1 WHERE number = 2", "invoice I2: its rounding is"),
    ("UPDATE invoice SET rounding_minor = 100 WHERE number = 1", "invoice I1: its rounding is more than cents"),
    ("UPDATE invoice SET rounding_minor = 100 WHERE kind = 'credit'", "invoice I4: its rounding is more than cents"),
    ("UPDATE quote SET taxed_labour_minor = taxed_labour_minor + 1 WHERE id = 1", "quote Q1: it isn't taxed as its lines cost"),
    ("UPDATE quote SET tax_included = 1, rounding_minor = 1 WHERE id = 1", "quote Q1: its cost asks for"),
    ("UPDATE invoice SET off_price_minor = 1 WHERE kind = 'credit'", "I4: it isn't as it was written"),
    ("UPDATE write_off SET amount_minor = 900000000", "invoice I3: more of it is written off than it asks for"),
    ("UPDATE write_off SET invoice_id = 4", "invoice I4: it is a draft or a credit note, and written off"),
    ("UPDATE write_off SET happened_on = '2026-02-01'", "invoice I3: it was written off on another day than that was recorded"),
    ("UPDATE write_off_void SET recorded_at = '2026-01-01 00:00:00'", "invoice I3: its loss was taken back before it was recorded"),
    ("UPDATE write_off SET reason = 'x'", "I3 written off: it isn't as it was written"),
    ("UPDATE payment SET amount_minor = amount_minor + 1 WHERE number = 1", "P1: it isn't as it was written"),
    ("UPDATE payment SET note = 'cash' WHERE number = 1", "P1: it isn't as it was written"),
    // Evidence.
    ("UPDATE observation SET quantity_micro = quantity_micro + 1000000 WHERE job_id IS NOT NULL", "isn't the observation that was written"),
    ("UPDATE observation_part SET passes = passes + 1", "isn't the observation that was written"),
    ("UPDATE observation SET job_label = 'J9' WHERE job_id IS NOT NULL", "what J1 taught is said to be of J9"),
    ("UPDATE observation_entry SET entry_id = 4 WHERE observation_id = (SELECT MIN(observation_id) FROM observation_entry)", "are learned from J1 where"),
    ("UPDATE rate_fit SET fit = '[]'", "the fit of the rates can't be read"),
    ("UPDATE rate_story SET story = json_set(story, '$.kept.earlier', 3)", "how that of rotary-36 came about is kept otherwise"),
    ("UPDATE rate_story SET story = '[]'", "the story of the rate of rotary-36 can't be read"),
    // Seals.
    ("UPDATE entry SET what = 'something else' WHERE kind = 'spent' AND number = 13", "E13: it isn't as it was written"),
    ("UPDATE seal SET digest = digest + 1 WHERE sealed = 'entry' AND row_id = 13", "E13: it isn't as it was written"),
    ("DELETE FROM seal WHERE sealed = 'entry' AND row_id = 13", "E13: it has no seal"),
    ("INSERT INTO payment_void (id, payment_id, reason, happened_on, recorded_at) VALUES (77, 1, 'x', '2026-03-02', '2026-03-02 00:00:00')", "P1 taken back: it has no seal"),
];

#[test]
fn what_another_row_contradicts_is_told_in_words_of_its_own() {
    let original = Original::new(first_copy());
    let mut missed = Vec::new();
    for (sql, words) in PLANTED {
        let said = original.problems_after(|file| {
            file.execute_batch(sql)
                .unwrap_or_else(|error| panic!("{sql}: {error}"));
            true
        });
        let said = said.unwrap_or_default();
        if !said.iter().any(|problem| problem.contains(words)) {
            missed.push(format!("{sql}\n  should say: {words}\n  says: {said:#?}"));
        }
    }
    assert!(
        missed.is_empty(),
        "{} of {}:\n{}",
        missed.len(),
        PLANTED.len(),
        missed.join("\n")
    );
}

#[test]
fn a_changed_row_is_named_alone() {
    let original = Original::new(first_copy());
    let said = original.problems_after(|file| {
        file.execute_batch("UPDATE entry SET what = 'x' WHERE number = 13")
            .is_ok()
    });
    assert_eq!(
        said,
        Some(vec!["E13: it isn't as it was written".to_owned()])
    );
}

/// Tells which damages are tried: all, if `.ci/run` says so, else one of many.
fn is_tried(number: usize) -> bool {
    #[expect(
        clippy::disallowed_methods,
        reason = "how many is for whoever runs the tests to say; the program never sees it"
    )]
    let told = std::env::var("DAMAGES").ok();
    told.as_deref() == Some("all") || number.is_multiple_of(16)
}

/// Damages cell after cell and row after row; returns how many damages there are, and those that weren't found.
fn damage_everything(original: &Original, every: usize) -> (usize, Vec<String>) {
    let (mut damages, mut missed) = (0_usize, Vec::new());
    let file = Connection::open(original.ledger.path()).expect("the file answers");
    let mut try_one = |what: String, damage: &dyn Fn(&Connection) -> bool| {
        damages += 1;
        if !damages.is_multiple_of(every) || !is_tried(damages / every) {
            return;
        }
        if original
            .problems_after(damage)
            .is_some_and(|said| said.is_empty())
        {
            missed.push(what);
        }
    };
    for (table, columns) in tables(&file) {
        for column in columns.iter().filter(|column| !is_listed(&table, column)) {
            for place in places(&file, &table, column) {
                try_one(format!("{table}.{column} of row {place}"), &|file| {
                    change(file, &table, column, place)
                });
            }
        }
        if is_listed(&table, "row") {
            continue;
        }
        let rows: i64 = file
            .query_row(&format!("SELECT COUNT(*) FROM \"{table}\""), [], |row| {
                row.get(0)
            })
            .expect("the file answers");
        for place in if rows > 0 { vec![1, rows] } else { vec![] } {
            try_one(format!("row {place} of {table} is gone"), &|file| {
                let (row, key) = row_at(file, &table, place);
                let sql = format!("DELETE FROM \"{table}\" WHERE {row}");
                file.execute(&sql, rusqlite::params_from_iter(&key)).is_ok()
            });
        }
    }
    (damages, missed)
}

#[test]
fn every_cell_that_another_row_contradicts_is_found_when_it_is_changed() {
    let original = Original::new(first_copy());
    let file = Connection::open(original.ledger.path()).expect("the file answers");
    for (table, _) in tables(&file) {
        let is_empty = !file
            .prepare(&format!("SELECT 1 FROM \"{table}\""))
            .expect("the file answers")
            .exists([])
            .expect("the file answers");
        assert!(!is_empty, "{table} has no row to damage");
    }
    let (damages, missed) = damage_everything(&original, 1);
    assert_eq!(missed, Vec::<String>::new(), "missed of {damages}");
    assert!(damages >= 300, "only {damages} damages");
}

#[test]
fn the_same_in_another_copy_in_metres_and_euros() {
    let (damages, missed) = damage_everything(&Original::new(rich(2)), 1);
    assert_eq!(missed, Vec::<String>::new(), "missed of {damages}");
}

#[test]
fn the_same_in_two_years_of_the_demo() {
    let demo = TestLedger::nowhere();
    demo.line(&format!("demo --to {}", demo.path().display()))
        .ok();
    let (damages, missed) = damage_everything(&Original::new(demo), 8);
    assert_eq!(missed, Vec::<String>::new(), "missed of {damages}");
}
