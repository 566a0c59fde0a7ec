//! Rented machines: what they are charged, on which job each day falls, and why a job's rental left its quote.

use serde_json::{Value, json};

use crate::harness::TestLedger;

/// The documentation's job beside a second one of the same site: J1 and J2 are open.
fn two_jobs() -> TestLedger {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        quote draft "4 Tannery Row" --room Landing
        quote send Q2
        quote accept Q2
        job start J2
        "#,
    );
    ledger
}

/// Reads an amount as cents.
fn cents(value: &Value) -> i64 {
    let text = value
        .as_str()
        .unwrap_or_else(|| panic!("no amount: {value}"));
    text.replace('.', "").parse().expect("an amount")
}

fn list(value: &Value) -> &Vec<Value> {
    value
        .as_array()
        .unwrap_or_else(|| panic!("no list: {value}"))
}

/// The sum of a job's day-book lines.
fn day_book(ledger: &TestLedger, job: &str) -> i64 {
    let shown = ledger.json(&format!("job show {job}"));
    let lines = list(&shown["entries"]).iter();
    let amounts = lines.filter(|entry| !entry["amount"].is_null());
    let sum: i64 = amounts.map(|entry| cents(&entry["amount"])).sum();
    let sum = sum + cents(&shown["overhead"]);
    assert_eq!(sum, cents(&shown["cost"]), "{shown:#}");
    sum
}

fn cost(ledger: &TestLedger, job: &str) -> i64 {
    cents(&ledger.json(&format!("report margin {job}"))["jobs"][0]["actual_cost"])
}

#[test]
fn a_machine_is_charged_at_the_tariff_with_which_it_went_out() {
    let ledger = TestLedger::job_open();
    // One day: 80.00, waiver 10 % of it, cleaning 25.00: 113.00. By the tariff of its return: 200.00 + 20.00 + 25.00.
    ledger.lines(
        "rental out rotary --at \"2026-03-01 08:00\"\nmachine edit rotary --day 200 --waiver 0",
    );
    let back = ledger.json("rental back rotary --at 07:45");
    assert_eq!(
        (&back["amount"], &back["by_tariff"]),
        (&json!("113.00"), &json!("113.00"))
    );
    // The next rental has the new tariff: 200.00 and 25.00.
    ledger.lines("rental out rotary --at 08:00");
    let ledger = ledger.on("2026-03-03");
    let back = ledger.json("rental back rotary --at 07:45");
    assert_eq!(back["amount"], json!("225.00"));
    // Opening the first again reprices nothing: void it, type it again.
    ledger.lines("rental out edger --at 07:00");
    let ledger = ledger.on("2026-03-04");
    ledger.lines("machine edit edger --cleaning 99");
    // 45.00 + 4.50 + 15.00.
    let back = ledger.json("rental back edger --at 06:00");
    assert_eq!(back["amount"], json!("64.50"));
    ledger
        .line(&format!(
            "void {} --reason slip",
            back["entry"].as_str().unwrap()
        ))
        .ok();
    let again = ledger.json("rental back edger --at 06:00");
    assert_eq!(again["amount"], json!("64.50"));
    ledger.line("check").ok();
}

#[test]
fn a_receipt_is_charged_as_it_stands_and_the_tariff_told_beside_it() {
    let ledger = TestLedger::job_open();
    ledger.lines("rental out rotary --at \"2026-03-01 08:00\"");
    let told = ledger
        .line("rental back rotary --at 07:45 --charged 100.00")
        .ok();
    assert_eq!(
        told,
        "E2: rotary back after 1 rental day, 100.00. The tariff with which it went out asks 113.00.\n\
         2026-03-01 J1 100.00\n"
    );
    let rentals = ledger.json("rental list");
    let rental = &rentals["rentals"][0];
    assert_eq!(
        (&rental["charge"], &rental["by_tariff"]),
        (&json!("100.00"), &json!(false))
    );
}

#[test]
fn a_shared_rental_shows_each_jobs_days_wherever_it_shows() {
    let ledger = two_jobs();
    ledger.lines(
        r#"
        rental out rotary --at "2026-02-26 08:00" --job J1
        rental day rotary --job J2 --date 2026-02-28
        rental back rotary --at "2026-03-01 08:00" --charged 100.00
        "#,
    );
    let shares = json!([
        { "date": "2026-02-26", "job": "J1", "charge": "33.34" },
        { "date": "2026-02-27", "job": "J1", "charge": "33.33" },
        { "date": "2026-02-28", "job": "J2", "charge": "33.33" },
    ]);
    for question in ["rental list", "report rentals"] {
        assert_eq!(
            ledger.json(question)["rentals"][0]["shares"],
            shares,
            "{question}"
        );
        let text = ledger.line(question).ok();
        assert!(text.contains("E1     rotary   J1, J2"), "{text}");
        assert!(
            text.contains(
                "* E1 rotary: 2026-02-26 J1 33.34, 2026-02-27 J1 33.33, 2026-02-28 J2 33.33"
            ),
            "{text}"
        );
    }
    // 33.34 + 33.33 on the job that took it out, 33.33 on the other, which has the return in its day book too.
    for (job, days, amount) in [("J1", "2", "66.67"), ("J2", "1", "33.33")] {
        let shown = ledger.json(&format!("job show {job}"));
        let back = list(&shown["entries"])
            .iter()
            .find(|entry| entry["kind"] == json!("rental-back"));
        let back = back.unwrap_or_else(|| panic!("{job} has no return: {shown:#}"));
        assert_eq!(
            (&back["amount"], &back["quantity"]),
            (&json!(amount), &json!(days)),
            "{job}"
        );
        assert_eq!(
            (&back["unit"], &back["shares"]),
            (&json!("day"), &shares),
            "{job}"
        );
        assert_eq!(shown["cost"], json!(amount), "{job}");
        let text = ledger.line(&format!("job show {job}")).ok();
        assert!(text.contains("rental-back rotary (shared)"), "{text}");
        assert!(text.contains("* E3 rotary: 2026-02-26 J1 33.34"), "{text}");
        assert_eq!(day_book(&ledger, job), cost(&ledger, job), "{job}");
    }
}

#[test]
fn a_day_book_adds_up_to_the_cost_of_its_job() {
    let ledger = two_jobs();
    ledger.lines(
        r#"
        setting set overhead 12.5%
        buy disc-7in-36 30 --cost 96.00
        use disc-7in-36 6 --room Landing --job J1
        use oil-finish 0.5 --room Landing --job J1
        hours "Ruben Vale" 7.25 --on sand --job J1
        hours "Ruben Vale" 3 --on edge --job J2
        spent 18.40 --for disposal --job J1
        drive 31 --job J2
        hand-back disc-7in-36 4 --refund 9.00 --job J1
        rental out rotary --at "2026-02-26 08:00" --job J1
        rental day rotary --job J2 --date 2026-02-27
        rental back rotary --at "2026-03-01 08:00"
        buy oil-finish 1 --cost 41.17
        "#,
    );
    for job in ["J1", "J2"] {
        assert_eq!(day_book(&ledger, job), cost(&ledger, job), "{job}");
    }
    ledger.lines("void E4 --reason slip");
    let shown = ledger.json("job show J1");
    let voided = list(&shown["entries"])
        .iter()
        .find(|entry| entry["voided"] == json!(true));
    assert_eq!(
        voided.unwrap()["amount"],
        Value::Null,
        "what doesn't count costs nothing"
    );
    for job in ["J1", "J2"] {
        assert_eq!(day_book(&ledger, job), cost(&ledger, job), "{job}");
    }
}

#[test]
fn days_without_hours_are_told_with_what_they_cost() {
    let ledger = two_jobs().on("2026-03-10");
    // Friday 2026-02-27 to Friday 2026-03-06: a week, 280.00 + 28.00 + 25.00 = 333.00: 47.58 the first day, 47.57 each
    // other. The firm works from Monday to Friday, and not on 2026-03-04.
    ledger.lines(
        r#"
        setting set holidays "2026-03-04 Candle Day"
        hours "Ruben Vale" 6 --on sand --job J1 --date 2026-02-27 --confirm
        hours "Ruben Vale" 6 --on sand --job J1 --date 2026-03-02
        rental out rotary --at "2026-02-27 08:00" --job J1
        rental day rotary --job J2 --date 2026-03-05
        rental back rotary --at "2026-03-06 08:00"
        "#,
    );
    let report = ledger.json("report rentals");
    let days: Vec<(&str, &str, &str, &str)> = list(&report["unworked_days"])
        .iter()
        .map(|day| {
            let text = |key: &str| day[key].as_str().unwrap();
            (text("date"), text("job"), text("charge"), text("use"))
        })
        .collect();
    assert_eq!(
        days,
        [
            ("2026-02-28", "J1", "47.57", "day off"),
            ("2026-03-01", "J1", "47.57", "day off"),
            ("2026-03-03", "J1", "47.57", "idle"),
            ("2026-03-04", "J1", "47.57", "day off"),
            ("2026-03-05", "J2", "47.57", "hours not recorded"),
        ]
    );
    // Three days off: 3 × 47.57 = 142.71.
    assert_eq!(
        (
            &report["idle_charge"],
            &report["day_off_charge"],
            &report["not_recorded_charge"]
        ),
        (&json!("47.57"), &json!("142.71"), &json!("47.57"))
    );
    let text = ledger.line("report rentals").ok();
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("rotary J1 1 2026-03-03 47.57 idle rotary J1 3 2026-02-28, 2026-03-01, 2026-03-04 142.71 day off"), "{text}");
    assert!(
        text.contains(
            "Idle days cost 47.57 USD; days on which the firm doesn't work 142.71; days of jobs without hours 47.57."
        ),
        "{text}"
    );
    // Hours that come later make them days of work.
    ledger.lines(
        r#"
        hours "Ruben Vale" 2 --on sand --job J1 --date 2026-03-03
        hours "Ruben Vale" 2 --on sand --job J2 --date 2026-03-05
        "#,
    );
    let report = ledger.json("report rentals");
    assert_eq!(list(&report["unworked_days"]).len(), 3);
    assert_eq!(report["idle_charge"], json!("0.00"));
}

#[test]
fn a_machine_fetched_the_afternoon_before_works_the_next_day() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        hours "Ruben Vale" 6 --on sand --job J1 --date 2026-02-27 --confirm
        rental out rotary --at "2026-02-26 15:30"
        rental back rotary --at "2026-02-27 15:00"
        "#,
    );
    assert_eq!(ledger.json("report rentals")["unworked_days"], json!([]));
}

#[test]
fn what_a_return_rests_on_is_voided_after_it() {
    let ledger = two_jobs();
    ledger.lines(
        r#"
        rental out rotary --at "2026-02-26 08:00" --job J1
        rental day rotary --job J2 --date 2026-02-28
        rental back rotary --at "2026-03-01 08:00" --charged 100.00
        "#,
    );
    for entry in ["E1", "E2"] {
        assert_eq!(
            ledger
                .line(&format!("void {entry} --reason slip"))
                .refused(),
            format!(
                "error: {entry} can't be voided while E3 rests on it: void E3 first\n\
                 hint: gritledger void E3 --reason \"{entry} was wrong\""
            )
        );
    }
    ledger.lines(
        r#"
        void E3 --reason slip
        void E2 --reason slip
        rental back rotary --at "2026-03-01 08:00" --charged 100.00
        "#,
    );
    assert_eq!((cost(&ledger, "J1"), cost(&ledger, "J2")), (10_000, 0));
    for job in ["J1", "J2"] {
        assert_eq!(day_book(&ledger, job), cost(&ledger, job), "{job}");
    }
    ledger.line("check").ok();
}

#[test]
fn a_shared_rental_by_an_old_tariff_comes_back_from_its_export() {
    let ledger = two_jobs();
    ledger.lines(
        r#"
        rental out rotary --at "2026-02-26 08:00" --job J1
        rental day rotary --job J2 --date 2026-02-28
        machine edit rotary --day 200
        rental back rotary --at "2026-03-01 08:00"
        "#,
    );
    let rows = ledger.line("export rentals").ok();
    let (copy, file) = (two_jobs(), ledger.file("rentals.csv", &rows));
    copy.line(&format!("import rentals {file}")).ok();
    assert_eq!(copy.line("export rentals").ok(), rows);
    // Three days: 240.00 + 24.00 + 25.00 = 289.00; two of them on J1, one on J2.
    assert_eq!((cost(&copy, "J1"), cost(&copy, "J2")), (19_267, 9_633));
    let wrong = copy.file("wrong.csv", rows.replace("2026-02-28 J2", "2026-02-28"));
    let refused = copy.line(&format!("import rentals {wrong}")).refused();
    assert!(
        refused.contains("2: moved: `2026-02-28` is not a date and a job, like 2026-02-28 J2"),
        "{refused}"
    );
}

/// The rental lines of a job's variance: part, quoted, actual, by price, by quantity.
fn parts(variance: &Value, machine: &str) -> Vec<(String, [i64; 4])> {
    let lines = list(&variance["lines"]).iter();
    let rental =
        lines.filter(|line| line["kind"] == json!("rental") && line["item"] == json!(machine));
    let parts = rental.map(|line| {
        let sums = [
            "quoted_cost",
            "actual_cost",
            "price_variance",
            "quantity_variance",
        ];
        let part = line["part"].as_str().unwrap_or("none");
        (part.to_owned(), sums.map(|key| cents(&line[key])))
    });
    parts.collect()
}

#[test]
fn a_rental_leaves_its_quote_in_parts_that_mean_something() {
    let ledger = TestLedger::tannery_row();
    // A plan rents by whole days, and the filler of the nails hardens from one to the next: two of the rotary,
    // 160.00 + 16.00 + 25.00, and one of the buffer.
    ledger.lines(
        r#"
        plan house "4 Tannery Row" --start 2026-03-02 --room Landing --accept
        quote send Q1
        quote accept Q1
        job start J1
        machine edit rotary --day 90 --half-day 70 --cleaning 30
        rental out rotary --at 08:00
        machine edit rotary --day 500 --cleaning 500
        "#,
    );
    let ledger = ledger.on("2026-03-04");
    ledger.lines("rental back rotary --at 12:00 --charged 400");
    let variance = ledger.json("report variance J1");
    let expected = [
        // Two days and four hours by the quote's tariff: 2 × 80 + 62 = 222; 222 − 160.
        ("days", [16_000, 22_200, 0, 6_200]),
        // By the tariff with which it went out: 2 × 90 + 70 = 250; 250 − 222.
        ("tariff", [0, 2_800, 2_800, 0]),
        // Quoted 16.00 + 25; by the quote's tariff 22.20 + 25 = 47.20; by its own 25.00 + 30 = 55.00.
        ("once", [4_100, 5_500, 780, 620]),
        // 400 − 250 − 55.
        ("rest", [0, 9_500, 9_500, 0]),
    ];
    let expected = expected.map(|(part, sums)| (part.to_owned(), sums));
    assert_eq!(parts(&variance, "rotary"), expected);
    let days = list(&variance["lines"])
        .iter()
        .find(|line| line["part"] == json!("days"));
    let days = days.expect("a line for the days");
    assert_eq!(
        (
            &days["quoted_quantity"],
            &days["actual_quantity"],
            &days["quoted_unit_price"]
        ),
        (&json!("2"), &json!("2.5"), &Value::Null)
    );
    // Nobody fetched the buffer: nothing is split, nothing saved.
    assert_eq!(
        parts(&variance, "buffer"),
        [("none".to_owned(), [4_400, 0, 0, 0])]
    );
    let text = ledger.line("report variance J1 --all").ok();
    let text = text.split(' ').filter(|word| !word.is_empty());
    let text = text.collect::<Vec<_>>().join(" ");
    for words in [
        "2 days, 160.00 2.5 days, 222.00 0.00 62.00 62.00",
        "rotary, tariff 28.00 28.00 0.00 28.00",
        "41.00 55.00 7.80 6.20 14.00",
        "95.00 95.00 0.00 95.00",
    ] {
        assert!(text.contains(words), "{words}:\n{text}");
    }
}

#[test]
fn the_mean_rental_of_a_quote_knows_what_of_it_is_waiver_and_cleaning() {
    let ledger = TestLedger::job_open();
    let quote = ledger.json("quote show Q1");
    let line = list(&quote["lines"])
        .iter()
        .find(|line| line["kind"] == json!("rental") && line["machine"] == json!("rotary"))
        .expect("a rental line");
    ledger.lines("rental out rotary --at \"2026-03-01 08:00\"\nrental back rotary --at 07:45");
    let parts = parts(&ledger.json("report variance J1"), "rotary");
    // Every draw rents it and cleans it once; the waiver is 10 % of what is left.
    let (cost, cleaning) = (cents(&line["cost"]), 2_500);
    let cover = ((cost - cleaning) * 100 + 55) / 110;
    assert_eq!(parts[0].1, [cover, 8_000, 0, 8_000 - cover]);
    let once = cost - cover;
    assert_eq!(parts[2].1, [once, 3_300, 0, 3_300 - once]);
    // It came back by its tariff, which is the quote's.
    assert_eq!((parts[1].1, parts[3].1), ([0; 4], [0; 4]));
}

#[test]
fn what_is_typed_again_for_a_slip_goes_out_with_the_slips_tariff() {
    let ledger = two_jobs();
    ledger.lines(
        r#"
        rental out rotary --at "2026-03-01 08:00" --job J1
        machine edit rotary --day 200
        void E1 --reason "the other job"
        rental out rotary --at "2026-03-01 08:00" --job J2
        "#,
    );
    // 80.00 + 8.00 + 25.00, as if the slip had never been; what goes out next pays 200.00 + 20.00 + 25.00.
    let back = ledger.json("rental back rotary --at 07:45");
    assert_eq!(back["amount"], json!("113.00"));
    ledger.lines("rental out rotary --at 08:00 --job J2");
    let ledger = ledger.on("2026-03-03");
    let back = ledger.json("rental back rotary --at 08:00");
    assert_eq!(back["amount"], json!("245.00"));
}

#[test]
fn a_machine_that_is_out_shows_every_job_that_had_it() {
    let ledger = two_jobs();
    ledger.lines(
        r#"
        rental out rotary --at "2026-02-26 08:00" --job J1
        rental day rotary --job J2 --date 2026-02-28
        "#,
    );
    let text = ledger.line("rental list").ok();
    assert!(
        text.contains("J1, J2  2026-02-26 08:00  still out"),
        "{text}"
    );
    let rental = &ledger.json("rental list")["rentals"][0];
    assert_eq!(
        rental["moved"],
        json!([{ "date": "2026-02-28", "job": "J2" }])
    );
    assert_eq!(rental["shares"], Value::Null, "nothing is charged yet");
    assert_eq!(
        ledger
            .line("rental out rotary --at 08:00 --job J1")
            .refused(),
        "error: rotary is out already, since 2026-02-26 08:00 on J2\n\
         hint: gritledger rental back rotary --at \"HH:MM\""
    );
}
