//! Work in hand: what is left of jobs, what they have earned, and that a day in the past looks as it did then. One job is
//! worked by hand in `on_paper.rs`.

use serde_json::{Value, json};

use crate::harness::TestLedger;

fn cents(value: &Value) -> i64 {
    let text = value.as_str().expect("an amount");
    text.replace('.', "").parse().expect("cents")
}

fn row(ledger: &TestLedger, job: &str) -> Value {
    let rows = ledger.json("report work-in-hand");
    let mut rows = rows.as_array().expect("jobs").iter();
    rows.find(|row| row["job"] == job).expect("the job").clone()
}

#[test]
fn before_anything_is_logged_all_that_a_quote_expects_is_to_come() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        setting set overhead 10%
        setting set mile-rate 0.725
        setting set drive-speed 30
        site edit "4 Tannery Row" --distance "9 mi"
        quote draft "4 Tannery Row" --other "disposal=40"
        quote send Q1
        quote accept Q1
        "#,
    );
    let quote = ledger.json("quote show Q1");
    let landing = row(&ledger, "J1");
    assert_eq!(landing["cost_to_complete"], quote["cost"]["total"]);
    assert_eq!(landing["cost_to_date"], json!("0.00"));
    assert_eq!(landing["price"], quote["price"]);
    assert_eq!(landing["percent_complete"], json!(0));
    // Half of it is asked for at once: over-billed by all of that.
    ledger.lines("invoice deposit J1 --amount 300 --issue");
    let billed = row(&ledger, "J1");
    assert_eq!(
        [&billed["invoiced"], &billed["over_billed"]],
        ["300.00", "300.00"]
    );
}

#[test]
fn what_is_left_is_what_a_quote_drafted_today_would_say() {
    let ledger = TestLedger::job_open();
    // Another job took three times the discs that it was quoted, and as many hours.
    ledger.lines(
        r#"
        site add "Ada Quill" "2 Salt Lane" --year-built 1990
        room add "2 Salt Lane" Hall --shape "20 x 15" --condition worn-film --species red-oak
        quote draft "2 Salt Lane"
        quote send Q2
        quote accept Q2
        job start J2
        use disc-7in-36 120 --room Hall --job J2
        hours "Ruben Vale" 12 --on sand --room Hall --job J2
        job close J2
        room edit "Landing" --site "4 Tannery Row" --shape "10 x 5"
        item edit disc-7in-36 --pack 30=75
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
        "#,
    );
    let [then, now] = ["Q1", "Q3"].map(|quote| ledger.json(&format!("quote show {quote}")));
    let left = row(&ledger, "J1");
    assert!(cents(&now["cost"]["total"]) > cents(&then["cost"]["total"]) + 5_000);
    // Rentals are as long as they were quoted.
    let but_rental = |cost: &Value| cents(&cost["total"]) - cents(&cost["rental"]);
    let rental = cents(&then["cost"]["rental"]);
    assert_eq!(
        cents(&left["cost_to_complete"]) - rental,
        but_rental(&now["cost"])
    );
}

#[test]
fn a_job_that_will_lose_money_has_its_whole_loss_as_provision() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        quote draft "4 Tannery Row" --price 700
        quote send Q1
        quote accept Q1
        job start J1
        use disc-7in-36 12 --room Landing
        "#,
    );
    let losing = row(&ledger, "J1");
    let cost = cents(&losing["cost_to_date"]) + cents(&losing["cost_to_complete"]);
    assert!(cost > 70_000, "{losing}");
    assert_eq!(cents(&losing["provision"]), cost - 70_000);
    assert_eq!(cents(&losing["expected_margin"]), 70_000 - cost);
    let text = ledger.line("report work-in-hand").ok();
    let loss = losing["provision"].as_str().expect("an amount");
    let text = text.replace('\n', " ");
    assert!(
        text.contains(&format!(
            "{loss} to be lost. A loss of {loss} is to be booked now."
        )),
        "{text}"
    );
}

#[test]
fn the_band_narrows_as_the_job_comes_to_its_end() {
    let ledger = TestLedger::job_open();
    let wide = |row: &Value| cents(&row["margin_high"]) - cents(&row["margin_low"]);
    let before = row(&ledger, "J1");
    ledger.lines(
        r#"
        use disc-7in-36 6 --room Landing
        use disc-7in-36 18 --room "Back bedroom"
        hours "Ruben Vale" 2.7 --on sand --room "Landing, Back bedroom"
        use oil-finish 0.3 --room Landing
        use oil-finish 0.4 --room "Back bedroom"
        "#,
    );
    let after = row(&ledger, "J1");
    assert!(
        0 < wide(&after) && wide(&after) < wide(&before),
        "{before} {after}"
    );
    // More sure, it is wider.
    ledger.line("setting set confidence 95%").ok();
    assert!(wide(&row(&ledger, "J1")) > wide(&after));
}

#[test]
fn work_on_ones_own_floors_and_other_clients_are_left_out() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        client add "Berta Hale"
        site add "Berta Hale" "3 Ferry Row" --year-built 1990
        room add "3 Ferry Row" Hall --shape "20 x 15" --condition worn-film --species red-oak
        quote draft "3 Ferry Row"
        quote send Q2
        quote accept Q2
        "#,
    );
    let jobs = |line: &str| {
        let rows = ledger.json(line);
        let rows = rows.as_array().expect("jobs").iter();
        rows.map(|row| row["job"].as_str().unwrap_or_default().to_owned())
            .collect::<Vec<_>>()
    };
    assert_eq!(jobs("report work-in-hand"), ["J1", "J2"]);
    assert_eq!(jobs("report work-in-hand --client Berta"), ["J2"]);
    assert_eq!(jobs("report work-in-hand --sort price --top 1").len(), 1);
    let text = ledger.line("report work-in-hand").ok();
    assert!(text.starts_with("2 jobs in hand on "), "{text}");
    assert!(text.contains("\nTotal "), "{text}");
    ledger.lines("job cancel J1 --reason \"withdrew\"\njob cancel J2 --reason \"withdrew\"");
    let none = ledger.line("report work-in-hand").ok();
    assert_eq!(none, format!("No job is in hand on {}.\n", ledger.today()));
}

/// Whatever happens afterwards: a day sees what had happened and was recorded by then.
#[test]
fn a_day_in_the_past_looks_as_it_did_then() {
    let mut ledger = TestLedger::tannery_row().on("2026-03-02");
    ledger.lines(
        r#"
        site add "Ada Quill" "2 Salt Lane" --year-built 1990
        room add "2 Salt Lane" Hall --shape "20 x 15" --condition worn-film --species red-oak
        quote draft "4 Tannery Row"
        quote send Q1
        quote accept Q1
        job start J1
        quote draft "2 Salt Lane"
        quote send Q2
        quote accept Q2
        job start J2
        "#,
    );
    let days: [(&str, &str); 5] = [
        (
            "2026-03-03",
            r#"
            buy disc-7in-36 30 --cost 66
            use disc-7in-36 6 --room Landing --job J1
            hours "Ruben Vale" 2 --on sand --room Landing --job J1
            use disc-7in-36 40 --room Hall --job J2
            rental out rotary --at 08:00 --job J2
            invoice deposit J1 --issue
            "#,
        ),
        (
            "2026-03-04",
            r#"
            hours "Ruben Vale" 6 --on sand --room Hall --job J2
            rental back rotary --at 17:00
            void E2 --reason "it was the other room"
            setting set overhead 12%
            "#,
        ),
        (
            "2026-03-05",
            r#"
            use disc-7in-36 2 --room Landing --job J1 --date 2026-03-03
            buy disc-7in-36 20 --cost 90 --date 2026-03-02
            quote draft "4 Tannery Row" --room Landing --sequence none --schedule screen-recoat-oil --variation-of J1
            quote send Q3
            quote accept Q3 --confirm
            job close J2
            invoice final J2 --issue
            "#,
        ),
        (
            "2026-03-06",
            r#"
            invoice credit I1 --amount 20 --reason dust --issue
            hours "Ruben Vale" 3 --on coat --job J1
            "#,
        ),
        ("2026-03-09", "job close J1"),
    ];
    let answer = |ledger: &TestLedger, on: &str| {
        ["", " --cash"].map(|of| ledger.json(&format!("report work-in-hand{of}{on}")))
    };
    let mut seen = vec![("2026-03-02", answer(&ledger, ""))];
    for (day, lines) in days {
        ledger = ledger.on(day);
        ledger.lines(lines);
        seen.push((day, answer(&ledger, "")));
    }
    for pair in seen.windows(2) {
        assert_ne!(pair[0].1, pair[1].1, "{} taught nothing", pair[1].0);
    }
    for (day, then) in seen {
        let now = answer(&ledger, &format!(" --as-of {day}"));
        assert_eq!(now, then, "{day}");
    }
    let future = ledger.line("report work-in-hand --as-of 2026-03-10");
    assert_eq!(
        future.refused(),
        "error: 2026-03-10 is after today, 2026-03-09"
    );
}

/// Three jobs: one that is begun, one that begins later, and one that waits for its turn.
#[test]
fn money_by_week_is_what_is_to_come_and_what_is_to_be_paid() {
    let ledger = TestLedger::job_open().on("2026-03-05");
    ledger.lines(
        r#"
        setting set crew-hours 4
        setting set payment-days 14
        setting set tax-percent 8%
        site add "Ada Quill" "2 Salt Lane" --year-built 1990
        room add "2 Salt Lane" Hall --shape "20 x 15" --condition worn-film --species red-oak
        quote draft "2 Salt Lane" --start 2026-03-18
        quote send Q2
        quote accept Q2
        site add "Ada Quill" "5 Rope Walk" --year-built 1990
        room add "5 Rope Walk" Den --shape "10 x 9" --condition worn-film --species red-oak
        quote draft "5 Rope Walk"
        quote send Q3
        quote accept Q3
        invoice deposit J2 --amount 100 --issue
        "#,
    );
    let rows = ledger.json("report work-in-hand");
    let weeks = ledger.json("report work-in-hand --cash");
    let sum = |rows: &Value, key: &str| -> i64 {
        rows.as_array()
            .expect("rows")
            .iter()
            .map(|row| cents(&row[key]))
            .sum()
    };
    let out: i64 = ["wages", "consumables", "rental", "other"]
        .iter()
        .map(|key| sum(&weeks, key))
        .sum();
    assert_eq!(out, sum(&rows, "cost_to_complete"));
    // The price of J1 was agreed without tax, the others have 8 % of it; 100.00 and 8.00 are asked for, due on the 19th.
    let price = |place: usize| cents(&rows[place]["price"]);
    let taxed = |net: i64| net + (net * 8 + 50) / 100;
    let to_invoice = price(0) + taxed(price(1) - 10_000) + taxed(price(2));
    assert_eq!(sum(&weeks, "to_invoice"), to_invoice);
    let weeks = weeks.as_array().expect("weeks");
    let due: Vec<&Value> = weeks
        .iter()
        .filter(|week| week["invoiced"] != "0.00")
        .collect();
    assert_eq!(due.len(), 1, "{due:?}");
    assert_eq!(
        [&due[0]["week"], &due[0]["invoiced"]],
        ["2026-03-16", "108.00"]
    );
    let last = weeks.last().expect("a week");
    assert_eq!(cents(&last["balance"]), to_invoice + 10_800 - out);
    let text = ledger.run_with(&["report", "work-in-hand", "--cash"], &[("COLUMNS", "80")]);
    insta::assert_snapshot!("cash_80", text.ok());
    let paid = ledger.run_with(&["payment", "add", "I1", "108"], &[]);
    paid.ok();
    let weeks = ledger.json("report work-in-hand --cash");
    assert_eq!(sum(&weeks, "invoiced"), 0);
    let none = ledger.line("report work-in-hand --cash --client Ada --sort colour");
    assert!(
        none.refused()
            .starts_with("error: no column is called `colour`")
    );
}
