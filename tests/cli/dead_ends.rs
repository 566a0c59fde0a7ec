//! No dead ends: what was agreed, sent or drafted can be taken back, and what was issued or logged stays.

use serde_json::{Value, json};

use crate::harness::TestLedger;

fn row(ledger: &TestLedger, job: &str) -> Value {
    let margins = ledger.json("report margin --by job");
    let rows = margins["jobs"].as_array().expect("jobs").clone();
    let mut rows = rows.into_iter();
    rows.find(|row| row["job"] == job).expect("a row")
}

/// On paper: the price is 1314.14; a deposit of 300.00 was invoiced; 6 discs at 2.10 are 12.60 and 1.5 h at 39.86 are 59.79, so
/// 72.39 was spent. Cancelled, 300.00 came in and 72.39 went out: 227.61 are kept.
#[test]
fn a_cancelled_job_keeps_what_was_invoiced_and_logged() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        invoice deposit J1 --amount 300
        invoice issue J1
        payment add I1 300
        use 36 6 --room Landing
        hours 1:30 --room Landing --on sand
        rental out rotary --at "2026-03-02 08:00"
        "#,
    );
    assert_eq!(
        ledger
            .line("job cancel J1 --reason \"the client moves\"")
            .refused(),
        "error: rotary is still out on J1\nhint: gritledger rental back rotary"
    );
    ledger
        .line("void E3 --reason \"not fetched after all\"")
        .ok();
    assert_eq!(
        ledger.line("job cancel J1 --reason \" \"").refused(),
        "error: say why J1 is cancelled"
    );
    let said = ledger.line("job cancel J1 --reason \"the client moves\"");
    assert_eq!(
        said.stderr(),
        "J1 at 4 Tannery Row is cancelled: its rooms are free again.\nwarning: I1 is paid, and stays income\n"
    );
    let row = row(&ledger, "J1");
    let figures = ["price", "variations", "actual_cost", "margin"].map(|key| row[key].clone());
    assert_eq!(
        figures,
        [
            json!("300.00"),
            json!("0.00"),
            json!("72.39"),
            json!("227.61")
        ]
    );
    assert_eq!(
        (&row["cancelled"], &row["so_far"]),
        (&json!(true), &json!(false))
    );
    let shown = ledger.line("job show J1").ok();
    assert!(
        shown.starts_with(
            "J1, cancelled: Ada Quill, 4 Tannery Row\nCancelled on 2026-03-02: the client moves\n"
        ),
        "{shown}"
    );
    for (line, refused) in [
        (
            "job cancel J1 --reason again",
            "error: J1 is cancelled already",
        ),
        ("job start J1", "error: J1 is cancelled already"),
        ("job close J1", "error: J1 is cancelled, not open"),
        (
            "invoice final J1",
            "error: J1 was cancelled on 2026-03-02: nothing more is invoiced for it",
        ),
        (
            "job reopen J1",
            "error: J1 is cancelled: what is done after all needs a quote of its own\nhint: gritledger quote draft \"4 Tannery Row\"",
        ),
        (
            "quote draft \"4 Tannery Row\" --variation-of J1",
            "error: J1 was cancelled on 2026-03-02: nothing is added to it",
        ),
    ] {
        assert_eq!(ledger.line(line).refused(), refused, "{line}");
    }
    // Its rooms can be quoted, agreed and done again, and its discs teach nothing.
    assert_eq!(ledger.json("today")["jobs"], json!([]));
    let drafted = ledger
        .line("quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule oil-2-coat");
    assert!(!drafted.stderr().contains("warning"), "{drafted}");
    ledger.lines("quote send Q2\nquote accept Q2");
    let agreed = ledger.line("job start J2");
    assert!(!agreed.stderr().contains("is in J1"), "{agreed}");
    let rate = ledger
        .line("rate show rotary-36 --condition worn-film")
        .ok();
    assert!(!rate.contains("Landing"), "{rate}");
}

#[test]
fn an_acceptance_is_taken_back_within_the_time_for_it_or_after() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        setting set cancellation-days 3
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q1
        quote accept Q1
        "#,
    );
    let within = ledger.line("job cancel J1 --reason \"a change of mind\" --dry-run");
    assert!(
        within.stderr().contains("That is within the time in which the client may take the acceptance back, until 2026-03-05"),
        "{within}"
    );
    let ledger = ledger.on("2026-03-20");
    let after = ledger.line("job cancel J1 --reason \"a change of mind\"");
    assert!(
        after.stderr().contains("That is after the time in which"),
        "{after}"
    );
}

#[test]
fn quotes_are_withdrawn_and_drafts_thrown_away() {
    let ledger = TestLedger::tannery_row();
    let draft = "quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule oil-2-coat";
    ledger.line(draft).ok();
    let second = ledger.line(draft);
    assert_eq!(
        second.stderr(),
        "warning: Q1 for this site is open too (draft)\nhint: gritledger quote withdraw Q1\nhint: gritledger quote send Q2\n"
    );
    assert_eq!(
        ledger.line("quote withdraw Q2").stderr(),
        "Q2 is thrown away.\n"
    );
    ledger.line("quote send Q1").ok();
    ledger
        .line(&format!("{draft} --revises Q1 --margin 40%"))
        .ok();
    let listed = |number: &str| {
        let listed = ledger.json("quote list");
        let quotes = listed["quotes"].as_array().expect("quotes").clone();
        let quote = quotes.into_iter().find(|quote| quote["number"] == number);
        let quote = quote.expect("a quote");
        (quote["status"].clone(), quote["replaced_by"].clone())
    };
    assert_eq!(listed("Q1"), (json!("sent"), json!("Q1.2")));
    assert_eq!(listed("Q2"), (json!("withdrawn"), json!(null)));
    assert!(
        ledger
            .line("quote list")
            .ok()
            .contains("sent, replaced by Q1.2")
    );
    assert_eq!(
        ledger.line("quote accept Q1").refused(),
        "error: Q1.2 was drafted in place of Q1\nhint: gritledger quote send Q1.2\nhint: the same command with --confirm says that it is meant"
    );
    // Thrown away, the draft replaces nothing.
    ledger.line("quote withdraw Q1.2").ok();
    assert_eq!(listed("Q1"), (json!("sent"), json!(null)));
    ledger.line("quote withdraw Q1").ok();
    assert_eq!(
        ledger.line("quote accept Q1").refused(),
        "error: Q1 was withdrawn already\nhint: gritledger quote draft \"4 Tannery Row\" --revises Q1"
    );
    assert_eq!(
        ledger.line("quote withdraw Q1").refused(),
        "error: Q1 was withdrawn already"
    );
    ledger.line(&format!("{draft} --revises Q1")).ok();
    ledger.lines("quote send Q1.3\nquote accept Q1.3");
    assert_eq!(
        ledger.line("quote withdraw Q1.3").refused(),
        "error: Q1.3 is accepted\nhint: gritledger job cancel J1 --reason \"the client withdrew\""
    );
}
