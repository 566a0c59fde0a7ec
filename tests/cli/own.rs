//! One's own floors: from rooms to the day book in one step, at cost, and taught by like any others.

use serde_json::json;

use crate::harness::TestLedger;

const DAY: &str = r#"
    use 36 18 --room Landing
    use 50 4 --room Landing
    use oil-finish 0.9 --room Landing
    hours 2.5 sand --room Landing
    hours 1 coat --room Landing
"#;

fn own_landing() -> TestLedger {
    let ledger = TestLedger::tannery_row();
    ledger
        .line("job own \"4 Tannery Row\" --room Landing --sequence rotary-36-50-80 --schedule oil-2-coat")
        .ok();
    ledger
}

/// The same day book teaches the same, whether somebody pays for it or not.
#[test]
fn own_floors_teach_what_a_paid_job_teaches() {
    let paid = TestLedger::tannery_row();
    paid.lines(
        r#"
        quote draft "4 Tannery Row" --room Landing --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q1
        quote accept Q1
        job start J1
        "#,
    );
    let own = own_landing();
    let before = own.json("rate list");
    for ledger in [&paid, &own] {
        ledger.lines(DAY);
        ledger.line("job close J1").ok();
    }
    let learned = own.json("rate list");
    assert_eq!(learned, paid.json("rate list"));
    assert_ne!(learned, before);
    let quantities = |ledger: &TestLedger| {
        let lines = ledger.json("quote show Q1")["lines"].clone();
        let of = |line: &serde_json::Value| {
            json!([line["operation"], line["item_quantity"], line["hours"]])
        };
        lines
            .as_array()
            .expect("lines")
            .iter()
            .map(of)
            .collect::<Vec<_>>()
    };
    let work = |all: Vec<serde_json::Value>| all.into_iter().filter(|line| !line[0].is_null());
    assert!(work(quantities(&own)).eq(work(quantities(&paid))));
}

/// On paper: 18 discs at 2.10 are 37.80, 4 at 1.95 are 7.80, 0.9 gal at 52.00 are 46.80; 3.5 h are counted and cost nothing.
/// 92.40 in all. The same hours of another's job cost 28.00 each.
#[test]
fn hours_count_and_cost_nothing() {
    let ledger = own_landing();
    ledger.lines(DAY);
    let shown = ledger.json("job show J1");
    assert_eq!(
        [&shown["own"], &shown["cost"], &shown["price"]],
        [&json!(true), &json!("92.40"), &json!("0.00")]
    );
    let hours = shown["entries"].as_array().expect("entries").iter();
    let hours: Vec<_> = hours.filter(|entry| entry["kind"] == "hours").collect();
    assert_eq!(
        hours
            .iter()
            .map(|entry| json!([entry["quantity"], entry["amount"]]))
            .collect::<Vec<_>>(),
        [json!(["2.5", "0.00"]), json!(["1", "0.00"])]
    );
    let plan = ledger.json("quote show Q1");
    assert_eq!(
        [
            &plan["own"],
            &plan["price"],
            &plan["chance_of_loss_percent"],
            &plan["cost"]["labour"]
        ],
        [&json!(true), &json!("0.00"), &json!(null), &json!("0.00")]
    );
    let text = ledger.line("quote show Q1").ok();
    for word in [
        "Price", "Tax", "Margin", "margin", "loss", "Rounded", " 0.00",
    ] {
        assert!(!text.contains(word), "{word} in {text}");
    }
    assert_eq!(plan["cancel_within_days"], json!(null));
    ledger.line("check").ok();
}

/// 2.5 h of sanding and 1 h of coating cost nothing, as they were to: they are compared by the hours.
#[test]
fn hours_that_cost_nothing_are_compared_as_hours() {
    let ledger = own_landing();
    ledger.lines(DAY);
    let variance = ledger.json("report variance J1");
    let lines = variance["lines"].as_array().expect("lines").iter();
    let hours = lines.filter(|line| line["kind"] == "labour" && line["recorded"] == true);
    let number = |line: &serde_json::Value, key: &str| -> f64 {
        line[key].as_str().expect("a number").parse().expect("one")
    };
    let (mut told, mut quoted, mut worked) = (Vec::new(), 0.0, 0.0);
    for line in hours {
        let [was, is] = ["quoted_quantity", "actual_quantity"].map(|key| number(line, key));
        (quoted, worked) = (quoted + was, worked + is);
        let word = if is > was {
            "more than quoted"
        } else {
            "less than quoted"
        };
        assert_eq!(line["verdict"], word, "{line}");
        told.push(line["operation"].clone());
    }
    assert_eq!(told, [json!("coat"), json!("sand")]);
    let text = ledger.line("report variance J1 --all").ok();
    let hours = format!("Of hours that cost nothing, 3.5 were worked and {quoted:.2} were planned");
    assert!(
        (worked - 3.5).abs() < 1e-9 && text.contains(&hours),
        "{hours} in {text}"
    );
}

/// Hours that are moved from the owner's floors to a client's cost what they cost there, and back nothing.
#[test]
fn hours_moved_to_a_paid_job_cost_their_wage() {
    let ledger = own_landing();
    ledger.lines(
        r#"
        hours 2 sand --room Landing
        quote draft "4 Tannery Row" --room "Back bedroom" --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q2
        quote accept Q2
        job start J2
        correct E1 --job J2 --room "Back bedroom"
        "#,
    );
    let amount = |job: &str| {
        let shown = ledger.json(&format!("job show {job}"));
        let entries = shown["entries"].as_array().expect("entries").clone();
        entries
            .into_iter()
            .rfind(|entry| entry["kind"] == "hours" && entry["voided"] == false)
    };
    let paid = amount("J2").expect("hours")["amount"].clone();
    ledger.line("hours 2 sand --job J2").ok();
    assert_eq!(paid, amount("J2").expect("hours")["amount"]);
    assert_ne!(paid, json!("0.00"));
    ledger.line("correct E3 --job J1 --room Landing").ok();
    assert_eq!(amount("J1").expect("hours")["amount"], json!("0.00"));
    ledger.line("check").ok();
}

#[test]
fn nothing_of_own_floors_is_sent_billed_or_judged_by_its_margin() {
    let ledger = own_landing();
    for (line, refused) in [
        (
            "job own \"4 Tannery Row\" --room Landing",
            "error: `Landing` is in J1 already",
        ),
        (
            "quote send Q1",
            "error: Q1 is accepted, not a draft\nhint: gritledger job own \"4 Tannery Row\"",
        ),
        (
            "quote draft \"4 Tannery Row\" --variation-of J1",
            "error: J1 is work on your own floors: other rooms are a job of their own\n\
             hint: gritledger job own \"4 Tannery Row\"",
        ),
        (
            "quote withdraw Q1",
            "error: Q1 is accepted\nhint: gritledger job cancel J1 --reason \"not now\"",
        ),
        (
            "invoice deposit J1",
            "error: J1 is work on your own floors: nothing is invoiced for it",
        ),
        (
            "quote vary J1 --without Landing",
            "error: J1 is work on your own floors: nobody pays for it\nhint: gritledger job cancel J1 --reason \"not now\"",
        ),
        (
            "report margin J1",
            "error: J1 is work on your own floors, at cost\nhint: gritledger report variance J1",
        ),
    ] {
        assert_eq!(ledger.line(line).refused(), refused, "{line}");
    }
    ledger.lines(DAY);
    let closed = ledger.line("job close J1");
    assert!(
        closed
            .stderr()
            .ends_with("hint: gritledger report variance J1\n"),
        "{}",
        closed.stderr()
    );
    assert_eq!(
        ledger.line("report margin").ok(),
        "No margins yet: 1 job on your own floors, at cost.\n"
    );
    let listed = ledger.line("quote list").ok();
    assert!(
        listed.contains("at cost") && !listed.contains("0.00"),
        "{listed}"
    );
    assert_eq!(ledger.json("quote list")["quotes"][0]["own"], json!(true));
    assert!(!ledger.line("today").ok().contains("To bill"));
    assert_eq!(
        ledger.line("invoice final J1").refused(),
        "error: J1 is work on your own floors: nothing is invoiced for it"
    );
    // The rest of the house: what is in no job.
    let rest = ledger.json("job own \"4 Tannery Row\"");
    let rooms: Vec<_> = rest["rooms"]
        .as_array()
        .expect("rooms")
        .iter()
        .map(|room| room["name"].clone())
        .collect();
    assert_eq!(rooms, [json!("Back bedroom")]);
    assert_eq!(
        ledger.line("job own \"4 Tannery Row\"").refused(),
        "error: `4 Tannery Row` has no rooms left to do\nhint: gritledger room add \"4 Tannery Row\" \"ROOM\" --shape \"L x W\" --condition sound-film --species red-oak"
    );
    ledger.line("job cancel J2 --reason \"not now\"").ok();
    ledger.line("job own \"4 Tannery Row\"").ok();
    ledger.line("check").ok();
}

/// Nobody agreed to anything: what is measured again is said, and no variation is offered.
#[test]
fn own_floors_are_measured_again_without_a_variation() {
    let ledger = own_landing();
    let said = ledger.line("room edit Landing --shape \"10 x 6\"");
    assert_eq!(said.stderr(), "warning: J1 is planned for it as it was\n");
}
