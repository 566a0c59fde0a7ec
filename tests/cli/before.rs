//! Jobs from before the ledger: brought in by the names that their firm has for them.

use serde_json::json;

use crate::harness::TestLedger;

const JOBS: &str = "job,site,agreed_on,price,closed_on,cost\n\
    Tannery 2023,4 Tannery Row,2023-04-03,1200.00,2023-04-20,800.00\n\
    2024-17,7 Weir Road,2024-05-06,950.00,2024-05-17,\n\
    Tannery bedroom,4 Tannery Row,2024-05-20,700,2024-05-28,450\n";

const PURCHASES: &str = "date,item,quantity,cost\n\
    2023-01-09,disc-7in-36,90,270.00\n\
    2023-01-09,oil-finish,2,100.00\n";

/// Two coats in the landing; 24 discs for 120 sq ft of hall; and a use after the job was closed.
const USAGE: &str = "date,job,site,item,quantity,room,operation\n\
    2023-04-17,Tannery 2023,4 Tannery Row,disc-7in-36,12,Landing,rotary-36\n\
    2023-04-18,Tannery 2023,4 Tannery Row,oil-finish,0.1,Landing,oil-coat\n\
    2023-04-20,Tannery 2023,4 Tannery Row,oil-finish,0.1,Landing,oil-coat\n\
    2024-05-15,2024-17,7 Weir Road,disc-7in-36,24,Hall,rotary-36\n\
    2024-05-27,Tannery bedroom,4 Tannery Row,disc-7in-36,30,Back bedroom,rotary-36\n\
    2024-06-03,Tannery bedroom,4 Tannery Row,disc-7in-36,3,Back bedroom,rotary-36\n";

const HOURS: &str = "date,job,site,worker,hours,room,on,wage\n\
    2023-04-17,Tannery 2023,4 Tannery Row,Ruben Vale,3,Landing,rotary-36,28.00\n\
    2023-04-18,Tannery 2023,4 Tannery Row,Ruben Vale,5,Landing,coat,28.00\n\
    2024-05-15,2024-17,7 Weir Road,Ruben Vale,4,Hall,rotary-36,28.00\n";

const RENTALS: &str = "machine,out_at,job,site,back_at,charge\n\
    rotary,2023-04-17 08:00,Tannery 2023,4 Tannery Row,2023-04-18 17:00,120.00\n\
    rotary,2024-05-15 08:00,2024-17,7 Weir Road,2024-05-15 17:00,60.00\n";

const SPENT: &str = "date,job,site,amount,what,room\n\
    2023-04-19,Tannery 2023,4 Tannery Row,45.50,dump fee,\n\
    2024-05-16,2024-17,7 Weir Road,12,parking,Hall\n";

fn places() -> TestLedger {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        client add "Beatrix Rowe"
        site add "Beatrix Rowe" "7 Weir Road"
        room add "7 Weir Road" "Hall" --shape "12 x 10" --condition worn-film --species red-oak
        "#,
    );
    ledger
}

fn bring(ledger: &TestLedger, kind: &str, rows: &str) {
    let file = ledger.file(&format!("{kind}.csv"), rows);
    ledger.line(&format!("import {kind} {file}")).ok();
}

fn brought() -> TestLedger {
    let ledger = places();
    for (kind, rows) in [
        ("jobs", JOBS),
        ("purchases", PURCHASES),
        ("usage", USAGE),
        ("hours", HOURS),
        ("rentals", RENTALS),
        ("spent", SPENT),
    ] {
        bring(&ledger, kind, rows);
    }
    ledger
}

/// An hour costs 28.00 × 1.4235: 3 h are 119.57, 5 h 199.29, 4 h 159.43. A disc is 3.00, a gallon of finish 50.00.
#[test]
fn margins_by_client_and_by_month_begin_with_them() {
    let ledger = brought();
    let by_client = ledger.json("report margin --by client");
    let row = |name: &str| {
        let rows = by_client["clients"].as_array().unwrap();
        let found = rows.iter().find(|row| row["client"] == name);
        found.unwrap().clone()
    };
    // 12 discs, 0.2 gal, 8 h, the rotary, the dump: 36 + 10 + 318.86 + 120 + 45.50; and the bedroom's 33 discs.
    let ada = row("Ada Quill");
    assert_eq!(
        (
            &ada["price"],
            &ada["estimated_cost"],
            &ada["actual_cost"],
            &ada["margin"],
            &ada["late_cost"]
        ),
        (
            &json!("1900.00"),
            &json!("1250.00"),
            &json!("629.36"),
            &json!("1270.64"),
            &json!("9.00")
        )
    );
    // 24 discs, 4 h, the rotary, the parking: 72 + 159.43 + 60 + 12. What it was to cost nobody wrote down.
    let beatrix = row("Beatrix Rowe");
    assert_eq!(
        (
            &beatrix["price"],
            &beatrix["estimated_cost"],
            &beatrix["actual_cost"],
            &beatrix["quoted_margin_percent"]
        ),
        (
            &json!("950.00"),
            &json!(null),
            &json!("303.43"),
            &json!(null)
        )
    );
    let by_month = ledger.json("report margin --by month");
    let months = by_month["months"].as_array().unwrap();
    let prices: Vec<_> = months
        .iter()
        .map(|row| (&row["month"], &row["price"]))
        .collect();
    assert_eq!(
        prices,
        [
            (&json!("2023-04"), &json!("1200.00")),
            (&json!("2024-05"), &json!("1650.00"))
        ]
    );
    // 1900 of the 2850 had a cost: (1900 − 1250) / 1900.
    assert_eq!(by_month["total"]["quoted_margin_percent"], json!(34.21));
    let words = ledger.line("report margin").ok();
    assert!(
        words.contains("Of the price, 950.00 was agreed before the ledger without a cost"),
        "{words}"
    );
}

#[test]
fn they_keep_their_names_beside_their_numbers() {
    let ledger = brought();
    let list = ledger.line("job list").ok();
    assert!(
        list.contains("J1 (Tannery 2023)") && list.contains("J2 (2024-17)"),
        "{list}"
    );
    for name in ["J1", "Tannery 2023", "tannery 2"] {
        let shown = ledger.json(&format!("job show \"{name}\""));
        assert_eq!(
            (&shown["number"], &shown["own_name"]),
            (&json!("J1"), &json!("Tannery 2023"))
        );
        assert_eq!(
            (&shown["price"], &shown["cost"]),
            (&json!("1200.00"), &json!("530.36"))
        );
    }
    assert_eq!(ledger.json("job show 2024-17")["number"], "J2");
    // Without a quote there is no budget.
    let shown = ledger.json("job show J2");
    assert_eq!(
        (&shown["budget"], &shown["expected_cost"]),
        (&json!([]), &json!(null))
    );
    let shown = ledger.line("job show J2").ok();
    assert!(
        shown.contains("Agreed for 950.00 USD on 2024-05-06, before the ledger"),
        "{shown}"
    );
    assert_eq!(
        ledger.line("job show \"Tanery 2023\"").refused(),
        "error: no job `Tanery 2023`\nhint: near names: `Tannery 2023`"
    );
    assert_eq!(
        ledger.line("job show Tannery").refused(),
        "error: `Tannery` could be any job of `Tannery 2023`, `Tannery bedroom`"
    );
    ledger
        .line("use disc-7in-36 1 --job \"Tannery bedroom\"")
        .ok();
    assert_eq!(ledger.json("job show J3")["entries"][2]["late"], true);
}

#[test]
fn what_they_took_teaches() {
    let ledger = places();
    let asked = "rate predict rotary-36 --condition worn-film --area 100";
    let before = ledger.json(asked);
    bring(&ledger, "jobs", JOBS);
    assert_eq!(
        ledger.json(asked),
        before,
        "nothing is known of what was used yet"
    );
    bring(&ledger, "purchases", PURCHASES);
    bring(&ledger, "usage", USAGE);
    assert_ne!(ledger.json(asked), before);
    let taught = |operation: &str, kind: &str| {
        let shown = ledger.json(&format!("rate show {operation} --kind {kind}"));
        let records = shown[0]["taught_by"].as_array().unwrap().clone();
        let said = |record: &serde_json::Value| {
            let words =
                ["job", "room", "quantity"].map(|key| record[key].as_str().unwrap().to_owned());
            let done = record["done"]["quantity"].as_str().unwrap();
            format!("{} of {done}", words.join(" "))
        };
        records.iter().map(said).collect::<Vec<_>>()
    };
    assert_eq!(
        taught("rotary-36 --condition worn-film", "item"),
        ["J1 Landing 12 of 45", "J2 Hall 24 of 120"]
    );
    // The call-back after it was closed teaches nothing.
    assert_eq!(
        taught("rotary-36 --condition sound-film", "item"),
        ["J3 Back bedroom 30 of 146"]
    );
    // Two uses are two coats of the landing.
    assert_eq!(taught("oil-coat", "item"), ["J1 Landing 0.2 of 90"]);
    bring(&ledger, "hours", HOURS);
    assert_eq!(
        taught("rotary-36 --condition worn-film", "hours"),
        ["J1 Landing 3 of 45", "J2 Hall 4 of 120"]
    );
    // Hours on `coat` may have been for more than the coats that the record names.
    assert_eq!(
        taught("oil-coat --species red-oak", "hours"),
        Vec::<String>::new()
    );
}

/// A floor that is measured again, or sanded since, is not what it was when the job was done.
#[test]
fn a_room_that_is_edited_later_changes_nothing_that_was_taught() {
    let ledger = brought();
    let before = ledger.json("rate list --learned");
    ledger.lines(
        r#"
        room edit "7 Weir Road/Hall" --shape "20 x 10" --condition sound-film
        use disc-7in-36 1 --job 2024-17 --on rotary-36 --room Hall --date 2024-05-16 --confirm
        void E18 --reason "not that day"
        "#,
    );
    assert_eq!(ledger.json("rate list --learned"), before);
}

#[test]
fn they_are_billed_outside_and_have_no_lines_to_compare() {
    let ledger = brought();
    assert_eq!(
        ledger
            .line("invoice final \"Tannery 2023\"")
            .refused()
            .lines()
            .next()
            .unwrap(),
        "error: J1 has no quote to invoice"
    );
    assert_eq!(
        ledger.line("invoice deposit 2024-17").refused(),
        "error: J2 has no quote to take a deposit on"
    );
    assert_eq!(
        ledger.line("report variance 2024-17").refused(),
        "error: J2 (2024-17) was agreed at one price before the ledger: there are no lines to compare\n\
         hint: gritledger report margin J2"
    );
    assert_eq!(ledger.json("report consumables")["lines"], json!([]));
}

#[test]
fn mistakes_in_each_column_are_told_at_their_place() {
    let ledger = places();
    let heading = "job,site,agreed_on,price,closed_on,cost\n";
    for (row, words) in [
        (
            "J12,4 Tannery Row,2023-04-03,1200,2023-04-20,",
            "job: `J12` would be read as the number of a job: add a word to it",
        ),
        (
            "12,4 Tannery Row,2023-04-03,1200,2023-04-20,",
            "job: `12` would be read as the number of a job: add a word to it",
        ),
        (
            ",4 Tannery Row,2023-04-03,1200,2023-04-20,",
            "job: is empty",
        ),
        (
            "A; B,4 Tannery Row,2023-04-03,1200,2023-04-20,",
            "job: a job's name can't hold `;`: `A; B`",
        ),
        (
            "A,4 Tanery Row,2023-04-03,1200,2023-04-20,",
            "site: no site `4 Tanery Row`\nhint: near names: `4 Tannery Row`",
        ),
        (
            "A,4 Tannery Row,3 April,1200,2023-04-20,",
            "agreed_on: `3 April` is not a date like 2026-03-02",
        ),
        (
            "A,4 Tannery Row,2023-04-03,dear,2023-04-20,",
            "price: `dear` is not an amount of money",
        ),
        (
            "A,4 Tannery Row,2023-04-03,-1,2023-04-20,",
            "price: `-1` is below zero",
        ),
        (
            "A,4 Tannery Row,2023-04-03,1200,2023-04-02,",
            "closed_on: `2023-04-02` is before it was agreed on, 2023-04-03",
        ),
        (
            "A,4 Tannery Row,2023-04-03,1200,2026-04-02,",
            "closed_on: `2026-04-02` is after today, 2026-03-02",
        ),
        ("A,4 Tannery Row,2023-04-03,1200,,", "closed_on: is empty"),
        (
            "A,4 Tannery Row,2023-04-03,1200,2023-04-20,cheap",
            "cost: `cheap` is not an amount of money",
        ),
    ] {
        let file = ledger.file("f.csv", format!("{heading}{row}\n"));
        let said = ledger.line(&format!("import jobs {file}")).refused();
        assert_eq!(said, format!("error: f.csv:2: {words}"), "{row}");
    }
    let row = "Mill Lane,4 Tannery Row,2023-04-03,1200,2023-04-20,\n";
    let file = ledger.file("f.csv", format!("{heading}{row}{}", row.to_lowercase()));
    assert_eq!(
        ledger.line(&format!("import jobs {file}")).refused(),
        "error: f.csv:3: job: there is already a job `mill lane`"
    );
    assert_eq!(ledger.json("job list"), json!([]));
    bring(&ledger, "jobs", &format!("{heading}{row}"));
    for (kind, text, words) in [
        (
            "usage",
            "date,job,site,item,quantity\n2023-04-18,Mil Lane,4 Tannery Row,disc-7in-36,3\n",
            "job: no job `Mil Lane`\nhint: near names: `Mill Lane`",
        ),
        (
            "usage",
            "date,job,site,item,quantity,room\n2023-04-18,Mill Lane,4 Tannery Row,disc-7in-36,3,Landig\n",
            "room: no room `Landig`\nhint: near names: `Landing`",
        ),
        (
            "spent",
            "date,job,site,amount,what\n2023-04-18,Mill Lane,4 Tannery Row,0,x\n",
            "amount: money spent is more than nothing",
        ),
        (
            "spent",
            "date,job,site,amount,what\n2023-04-18,Mill Lane,4 Tannery Row,5,\n",
            "what: is empty",
        ),
        (
            "spent",
            "date,job,site,amount,what\n2023-04-18,Mill Lane,7 Weir Road,5,x\n",
            "site: Mill Lane is at `4 Tannery Row`, not at `7 Weir Road`",
        ),
    ] {
        let file = ledger.file("f.csv", text);
        assert_eq!(
            ledger.line(&format!("import {kind} {file}")).refused(),
            format!("error: f.csv:2: {words}")
        );
    }
}

/// What was brought in is found to be changed like everything else.
#[test]
fn check_sees_what_another_hand_changes_in_them() {
    let ledger = brought();
    let file = ledger.raw();
    file.execute_batch(
        "DROP TRIGGER job_stays; UPDATE job SET price_minor = 1 WHERE number = 1;
         DROP TRIGGER entry_room_stays; UPDATE entry_room SET area_micro = 1 WHERE entry_id = 3;",
    )
    .unwrap();
    let problems = ledger.line("check").stdout();
    for problem in [
        "J1: it isn't as it was written",
        "E3: it isn't as it was written",
    ] {
        assert!(problems.contains(problem), "{problems}");
    }
}

#[test]
fn a_job_without_a_day_book_did_not_cost_nothing() {
    let ledger = TestLedger::new();
    ledger.lines("client add \"Ada Quill\"\nsite add \"Ada Quill\" \"4 Tannery Row\"");
    bring(
        &ledger,
        "jobs",
        "job,site,agreed_on,price,closed_on,cost\n\
         Mill Lane,4 Tannery Row,2024-05-06,1200.00,2024-05-17,840.00\n\
         Kiln Walk,4 Tannery Row,2025-02-03,900.00,2025-02-10,\n",
    );
    let margin = ledger.json("report margin");
    let missing = |place: usize| margin["jobs"][place]["not_recorded"]["others"].clone();
    assert_eq!((missing(0), missing(1)), (json!(1), json!(1)));
    let words = ledger.line("report margin").ok();
    for told in [
        "J1, of it not recorded: 1 other line, quoted at 840.00",
        "J2, of it not recorded: 1 other line, quoted at 0.00",
    ] {
        assert!(words.contains(told), "{told}:\n{words}");
    }
    ledger.lines("spent 45.50 --for \"dump\" --job \"Mill Lane\" --date 2024-05-10 --confirm");
    let margin = ledger.json("report margin J1");
    assert_eq!(margin["jobs"][0]["not_recorded"]["others"], json!(0));
}
