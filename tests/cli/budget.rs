//! A budget while working: what entries say of it, and what a job has used and will cost.
//!
//! The job at 4 Tannery Row quotes 6.37 + 18.63 = 25 discs of 36 grit and 0.75 + 1.9 = 2.65 h of sanding in its landing and
//! back bedroom.

use serde_json::json;

use crate::harness::TestLedger;

#[test]
fn a_use_and_hours_say_how_far_they_have_come() {
    let ledger = TestLedger::job_open();
    let said = |line: &str| ledger.line(line).ok();
    assert_eq!(
        said("use 36 6 --room Landing"),
        "E1: used 6 discs of disc-7in-36 on J1, Landing, 12.60.\n\
         disc-7in-36: 6 of 25 quoted; Landing 6 of 6.37, 1 of 3 passes begun\n"
    );
    assert_eq!(
        said("hours 1:30 --on sand --room Landing"),
        "E2: Ruben Vale worked 1.5 h on J1, Landing, sand, 59.79.\n\
         sand: 1.5 of 2.65 h quoted; Landing 1.5 of 0.75\n"
    );
    // For several rooms, or the whole job, there is no room to tell of; hours on an operation are its task's.
    assert_eq!(
        said("hours 0.5 --on rotary-36"),
        "E3: Ruben Vale worked 0.5 h on J1, rotary-36, 19.93.\n\
         sand: 2 of 2.65 h quoted\n"
    );
    assert_eq!(
        said("use oil-f 1qt --room \"Landing, Back bedroom\""),
        "E4: used 0.25 gal of oil-finish on J1, Landing, Back bedroom, 13.00.\n\
         oil-finish: 0.25 of 1.2 gal quoted\n"
    );
    assert_eq!(
        said("use disc-7in-24 3 --room Landing --on rotary-24"),
        "E5: used 3 discs of disc-7in-24 on J1, Landing, 7.20.\n\
         disc-7in-24: not quoted\n"
    );
    // A true zero is something that is known.
    assert_eq!(
        said("use disc-7in-80 0 --room Landing --on rotary-80"),
        "E6: used 0 discs of disc-7in-80 on J1, Landing.\n\
         disc-7in-80: 0 of 4.66 quoted; Landing 0 of 1.57, 1 of 3 passes begun\n"
    );
    // What is left over, money and hours on nothing are no part of it.
    ledger.line("item edit oil-finish --not-kept").ok();
    for line in [
        "use oil-finish 0.1 --left-over",
        "spent 5 --for tape",
        "drive 3",
        "hours 0.25",
    ] {
        assert_eq!(said(line).lines().count(), 1, "{line}");
    }
}

#[test]
fn a_budget_fits_a_telephone() {
    let ledger = TestLedger::job_open();
    let arguments = ["hours", "1.25", "--on", "sand", "--room", "Landing"];
    let run = ledger.run_with(&arguments, &[("COLUMNS", "45")]);
    assert_eq!(
        run.ok(),
        "E1: Ruben Vale worked 1.25 h on J1, Landing,\n\
         sand, 49.82.\n\
         sand: 1.25 of 2.65 h quoted; Landing 1.25 of\n\
         0.75\n"
    );
}

#[test]
fn programs_read_the_budget_of_an_entry() {
    let ledger = TestLedger::job_open();
    assert_eq!(
        ledger.json("use 36 6 --room Landing")["budget"],
        json!({
            "job": "J1",
            "of": "disc-7in-36",
            "unit": "disc",
            "quoted": "25",
            "used": "6",
            "left": "19",
            "room": "Landing",
            "in_room": { "quoted": "6.37", "used": "6", "left": "0.37" },
            "passes_begun": 1,
            "passes": 3,
        })
    );
    assert_eq!(
        ledger.json("use disc-7in-24 3 --on rotary-24")["budget"],
        json!({
            "job": "J1",
            "of": "disc-7in-24",
            "unit": "disc",
            "quoted": null,
            "used": "3",
            "left": null,
            "room": null,
            "in_room": null,
            "passes_begun": null,
            "passes": null,
        })
    );
    for line in [
        "spent 5 --for tape",
        "buy disc-7in-36 3 --cost 9",
        "void E1 --reason slip",
    ] {
        let answer = ledger.json(line);
        assert!(answer["budget"].is_null(), "{line}");
        assert!(answer.as_object().expect("keys").contains_key("budget"));
    }
}

#[test]
fn notes_tell_each_thing_once_as_it_stands_in_the_end() {
    let ledger = TestLedger::job_open();
    let notes = ledger.file(
        "notes.txt",
        "room Landing\nuse 36 6\nuse 36 3\nroom Back bedroom\nuse 36 12\nhours 1 --on sand\nvoid E2 --reason \"typed twice\"\n",
    );
    assert_eq!(
        ledger.line(&format!("daybook {notes}")).ok(),
        "Wrote 5 lines:\n\
         E1: used 6 discs of disc-7in-36 on J1, Landing, 12.60.\n\
         E2: used 3 discs of disc-7in-36 on J1, Landing, 6.30.\n\
         E3: used 12 discs of disc-7in-36 on J1, Back bedroom, 25.20.\n\
         E4: Ruben Vale worked 1 h on J1, Back bedroom, sand, 39.86.\n\
         E5: took back E2.\n\
         disc-7in-36: 18 of 25 quoted; Back bedroom 12 of 18.63, 1 of 3 passes begun\n\
         sand: 1 of 2.65 h quoted; Back bedroom 1 of 1.9\n"
    );
}

#[test]
fn a_variation_adds_to_the_budget() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        "quote draft \"4 Tannery Row\" --room Landing --sequence rotary-36-50-80 --schedule none --variation-of J1
         quote send Q2
         quote accept Q2 --confirm",
    );
    // 25 and, for the landing again, 6.37.
    assert_eq!(
        ledger.line("use 36 6 --room Landing").ok(),
        "E1: used 6 discs of disc-7in-36 on J1, Landing, 12.60.\n\
         disc-7in-36: 6 of 31.37 quoted; Landing 6 of 12.74, 1 of 3 passes begun\n"
    );
}

#[test]
fn a_closed_job_has_no_budget_any_more() {
    let ledger = TestLedger::job_open();
    ledger.lines("use 36 6 --room Landing\njob close J1");
    let late = ledger.json("use disc-7in-36 2 --job J1 --room Landing");
    assert!(late["budget"].is_null());
}

#[test]
fn a_job_says_what_it_has_used_and_what_it_is_expected_to_cost() {
    let ledger = TestLedger::job_open();
    let shown = ledger.json("job show J1");
    assert!(shown["expected_cost"].is_null());
    let untouched = ledger.line("job show J1").ok();
    assert!(
        untouched.starts_with("J1, open: nothing is logged yet.\n"),
        "{untouched}"
    );
    assert!(!untouched.contains("It is expected"), "{untouched}");
    // Eight discs in the landing, 16.80 for the 13.38 of 6.37 that were quoted; all else is to come as it was quoted.
    ledger.line("use 36 8 --room Landing").ok();
    let shown = ledger.json("job show J1");
    assert_eq!(shown["expected_cost"], json!("757.63"));
    assert_eq!(
        ledger.line("job show J1").ok().lines().nth(3),
        Some("It is expected to cost 757.63 USD, 3.42 more than quoted.")
    );
    let budget = shown["budget"].as_array().expect("a budget");
    let discs = budget
        .iter()
        .find(|line| line["operation"] == json!("rotary-36"));
    assert_eq!(
        discs.expect("the discs"),
        &json!({
            "operation": "rotary-36",
            "item": "disc-7in-36",
            "task": null,
            "unit": "disc",
            "quoted": "25",
            "used": "8",
            "left": "17",
            "rooms": [
                { "room": "Landing", "quoted": "6.37", "used": "8", "left": "-1.63" },
                { "room": "Back bedroom", "quoted": "18.63", "used": null, "left": "18.63" },
            ],
        })
    );
    // Of a job that is over nothing is expected.
    ledger
        .line("job cancel J1 --reason \"the client withdrew\"")
        .ok();
    let shown = ledger.json("job show J1");
    assert!(shown["expected_cost"].is_null());
    let text = ledger.line("job show J1").ok();
    assert!(
        !text.contains("It is expected") && !text.contains("Left"),
        "{text}"
    );
}

#[test]
fn of_a_room_it_is_said_how_many_of_its_passes_are_begun() {
    let ledger = TestLedger::job_open();
    ledger.lines("use 36 6 --room Landing");
    let line = ledger.line("use 50 6 --room Landing").ok();
    assert!(line.ends_with(", 2 of 3 passes begun\n"), "{line}");
    // Another room has passes of its own, and coats aren't cuts.
    let line = ledger
        .line("use disc-7in-80 3 --room \"Back bedroom\"")
        .ok();
    assert!(line.ends_with(", 1 of 3 passes begun\n"), "{line}");
    let line = ledger.line("use oil-finish 0.25 --room Landing").ok();
    assert!(!line.contains("passes"), "{line}");
}
