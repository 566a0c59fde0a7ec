//! What the firm's book says is what is counted with: fixed amounts, packs, prices of nothing.

use serde_json::json;

use crate::harness::TestLedger;

/// Mean hours foretold for a room of 100 sq ft.
fn hours_for_100(ledger: &TestLedger, operation: &str) -> serde_json::Value {
    let line = format!(
        "rate predict {operation} --kind hours --area 100 --condition bare --species red-oak"
    );
    ledger.json(&line)["mean"].clone()
}

#[test]
fn a_fixed_amount_of_zero_is_a_figure() {
    let ledger = TestLedger::new();
    ledger.lines(
        "operation add broom-rooms --task set-up --driver area
         rate set broom-rooms --kind hours --per 100",
    );
    // 100 sq ft at 100 an hour, and the 0.3 h that are typical of work on floors where the book doesn't say.
    assert_eq!(hours_for_100(&ledger, "broom-rooms"), json!("1.3"));
    ledger.lines("rate set broom-rooms --kind hours --per 100 --fixed 0");
    assert_eq!(hours_for_100(&ledger, "broom-rooms"), json!("1"));
    // Set again without a word on it, it stays what it was.
    ledger.lines("rate set broom-rooms --kind hours --per 50");
    assert_eq!(hours_for_100(&ledger, "broom-rooms"), json!("2"));
}

#[test]
fn a_file_says_zero_or_nothing_and_both_come_back_out() {
    let ledger = TestLedger::new();
    let operations = ledger.file(
        "operations.csv",
        "operation,task,driver,item,set_size,family,splits\nwax-off,set-up,area,,,,none\nwax-on,set-up,area,,,,none\n",
    );
    let rates = ledger.file(
        "rates.csv",
        "operation,condition,species,kind,driver_per_item,fixed_items,trust\nwax-off,,,hours,100,0,300\nwax-on,,,hours,100,,300\n",
    );
    ledger.lines(&format!(
        "import operations {operations}\nimport book-rates {rates}"
    ));
    assert_eq!(hours_for_100(&ledger, "wax-off"), json!("1"));
    assert_eq!(hours_for_100(&ledger, "wax-on"), json!("1.3"));
    let out = ledger.line("export book-rates").ok();
    assert!(out.contains("\nwax-off,,,hours,100,0,300,"), "{out}");
    assert!(out.contains("\nwax-on,,,hours,100,,300,"), "{out}");
}
