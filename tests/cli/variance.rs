//! Quoted beside actual: what nobody logged is no saving, and each part of a job is compared at its own prices.

use serde_json::{Value, json};

use crate::harness::TestLedger;

/// One room with ten patches of an hour each, at a wage of 20.00 and no burden; agreed as J1 and begun.
fn ten_hours_at_twenty() -> TestLedger {
    with_job(TestLedger::new())
}

fn with_job(ledger: TestLedger) -> TestLedger {
    ledger.lines(
        r#"
        setting set burden 1
        worker add "Ruben Vale" --wage 20
        client add "Ada Quill"
        site add "Ada Quill" "4 Tannery Row" --year-built 1990
        room add "4 Tannery Row" Landing --shape "10 x 4.5" --condition worn-film --species red-oak
        item add plug --unit each --pack 1=2.00
        operation add patch --task repair --driver count --item plug --for-finding patches
        rate set patch --kind hours --per 1
        rate set patch --kind item --per 1
        finding add Landing patches 10
        quote draft "4 Tannery Row" --sequence none --schedule none --other "disposal=45"
        quote send Q1
        quote accept Q1
        job start J1
        "#,
    );
    ledger
}

/// Ten more in another room, agreed as a variation at a wage of 24.00 and a price of 3.00.
const VARIATION: &str = r#"
    worker edit "Ruben Vale" --wage 24
    item edit plug --pack 1=3.00
    room add "4 Tannery Row" Closet --shape "10 x 4.5" --condition worn-film --species red-oak
    finding add Closet patches 10
    quote draft "4 Tannery Row" --variation-of J1 --room Closet --sequence none --schedule none
    quote send Q2
    quote accept Q2
"#;

fn cents(value: &Value) -> i64 {
    let text = value.as_str().expect("money is a string");
    text.replace('.', "").parse().expect("money")
}

fn lines(variance: &Value) -> &Vec<Value> {
    variance["lines"].as_array().expect("lines")
}

/// The line of hours on repairs, or of plugs, in a room.
fn line<'a>(variance: &'a Value, kind: &str, room: &str) -> &'a Value {
    let operation = if kind == "labour" { "repair" } else { "patch" };
    lines(variance)
        .iter()
        .find(|line| line["kind"] == kind && line["room"] == room && line["operation"] == operation)
        .unwrap_or_else(|| panic!("no {kind} in {room}: {variance:#}"))
}

#[test]
fn what_nobody_logged_is_no_saving() {
    let ledger = ten_hours_at_twenty();
    ledger.lines("hours \"Ruben Vale\" 11 --on repair --room Landing");
    let variance = ledger.json("report variance J1");
    // 11 h for 10 h at 20.00.
    let labour = line(&variance, "labour", "Landing");
    assert_eq!(labour["recorded"], json!(true));
    assert_eq!(
        (&labour["price_variance"], &labour["quantity_variance"]),
        (&json!("0.00"), &json!("20.00"))
    );
    // 10 plugs at 2.00, of which nobody wrote anything down.
    let plugs = line(&variance, "item", "Landing");
    assert_eq!(plugs["quoted_cost"], json!("20.00"));
    for (key, value) in [
        ("recorded", json!(false)),
        ("actual_quantity", json!(null)),
        ("actual_unit_price", json!(null)),
        ("price_variance", json!("0.00")),
        ("quantity_variance", json!("0.00")),
        ("total_variance", json!("0.00")),
        ("verdict", json!("not recorded")),
    ] {
        assert_eq!(plugs[key], value, "{key}");
    }
    assert_eq!(variance["total_variance"], json!("20.00"));
    let not_recorded: i64 = lines(&variance)
        .iter()
        .filter(|line| line["recorded"] == json!(false))
        .map(|line| cents(&line["quoted_cost"]))
        .sum();
    assert_eq!(cents(&variance["not_recorded_difference"]), -not_recorded);
    assert_eq!(
        cents(&variance["total_difference"]),
        2_000 - not_recorded,
        "recorded plus not recorded"
    );
    let text = ledger.line("report variance J1 --all").ok();
    let row = text.lines().find(|line| line.starts_with("patch "));
    assert!(
        row.is_some_and(|row| row.ends_with("not recorded")),
        "{text}"
    );
    assert!(
        text.contains(" more than quoted by what is recorded, so far."),
        "{text}"
    );

    // A zero that is typed is a saving.
    ledger.lines("use plug 0 --room Landing");
    let variance = ledger.json("report variance J1");
    let plugs = line(&variance, "item", "Landing");
    assert_eq!(
        (&plugs["recorded"], &plugs["actual_quantity"]),
        (&json!(true), &json!("0"))
    );
    assert_eq!(plugs["total_variance"], json!("-20.00"));
    assert_eq!(plugs["verdict"], json!("favourable"));
    assert_eq!(variance["total_variance"], json!("0.00"));
}

#[test]
fn a_margin_tells_jobs_that_are_not_finished_and_records_with_gaps() {
    let ledger = ten_hours_at_twenty();
    ledger.lines("hours \"Ruben Vale\" 10 --on repair --room Landing");
    let open = ledger.json("report margin");
    assert_eq!(open["jobs"][0]["so_far"], json!(true));
    assert_eq!(open["total"]["price"], json!("0.00"), "none is finished");
    let text = ledger.line("report margin").ok();
    assert!(text.contains("J1 Ada Quill, so far"), "{text}");
    assert!(!text.contains("of it not recorded"), "{text}");

    ledger.lines("job close J1");
    ledger.lines(
        r#"
        finding add Landing patches 3
        quote draft "4 Tannery Row" --sequence none --schedule none
        quote send Q2
        quote accept Q2
        "#,
    );
    let margins = ledger.json("report margin");
    let [done, agreed] = [&margins["jobs"][0], &margins["jobs"][1]];
    assert_eq!(
        (&done["so_far"], &agreed["so_far"]),
        (&json!(false), &json!(true))
    );
    for key in ["price", "actual_cost", "margin", "not_recorded"] {
        assert_eq!(margins["total"][key], done[key], "{key}");
    }
    // All but the hours of repair (200.00): what was quoted less that.
    let missing = &done["not_recorded"];
    assert_eq!(
        cents(&missing["quoted_cost"]),
        cents(&done["estimated_cost"]) - 20_000
    );
    // load-in, clean-up, protect-room, vacuum-room and the plugs of patch; disposal is no operation.
    assert_eq!(
        (&missing["operations"], &missing["others"]),
        (&json!(5), &json!(1))
    );
    let quoted = missing["quoted_cost"].as_str().expect("money");
    let said = format!("J1, of it not recorded: 5 operations and 1 other line, quoted at {quoted}");
    for by in ["job", "room"] {
        let text = ledger.line(&format!("report margin --by {by}")).ok();
        assert!(text.contains(&said), "{by}: {text}");
        assert!(text.contains(", gaps"), "{by}: {text}");
        assert!(text.contains(", so far"), "{by}: {text}");
    }
    // A client with a finished job and an agreed one has a row of each.
    let clients = ledger.json("report margin --by client");
    let rows: Vec<_> = clients["clients"].as_array().unwrap().iter().collect();
    assert_eq!(rows.len(), 2);
    assert_eq!(rows[0]["price"], done["price"]);
    assert_eq!(rows[1]["price"], agreed["price"]);
    assert_eq!(clients["total"]["price"], done["price"]);
}

#[test]
fn an_hour_and_an_item_of_a_variation_are_compared_at_its_own_prices() {
    let ledger = ten_hours_at_twenty();
    ledger.lines(VARIATION);
    ledger.lines(
        r#"
        hours "Ruben Vale" 10 --on repair --room Closet
        buy plug 10 --cost 30.00
        use plug 10 --room Closet
        "#,
    );
    let variance = ledger.json("report variance J1");
    for (kind, price, cost) in [("labour", "24.00", "240.00"), ("item", "3.00", "30.00")] {
        let line = line(&variance, kind, "Closet");
        assert_eq!(line["quoted_unit_price"], json!(price), "{line:#}");
        assert_eq!(line["actual_cost"], json!(cost), "{line:#}");
        assert_eq!(
            (&line["price_variance"], &line["quantity_variance"]),
            (&json!("0.00"), &json!("0.00")),
            "{line:#}"
        );
    }
    assert_eq!(
        line(&variance, "labour", "Landing")["quoted_unit_price"],
        json!("20.00")
    );
}

#[test]
fn overhead_is_that_of_each_quote_by_its_labour() {
    let ledger = TestLedger::new();
    ledger.lines("setting set overhead 10%");
    let ledger = with_job(ledger);
    ledger.lines("setting set overhead 20%");
    ledger.lines(VARIATION);
    ledger.lines("hours \"Ruben Vale\" 10 --on repair --room Landing");
    let labour =
        |quote: &str| cents(&ledger.json(&format!("quote show {quote}"))["cost"]["labour"]);
    let (first, second) = (labour("Q1"), labour("Q2"));
    // 10 h at 24.00 by now, at 10 % of the one labour and 20 % of the other: between 24.00 and 48.00, rounded half up.
    let of = 100 * (first + second);
    let expected = (24_000 * (10 * first + 20 * second) + of / 2) / of;
    let variance = ledger.json("report variance J1");
    let overhead = lines(&variance)
        .iter()
        .find(|line| line["item"] == json!("overhead") && line["recorded"] == json!(true));
    let overhead = overhead.unwrap_or_else(|| panic!("{variance:#}"));
    assert_eq!(cents(&overhead["actual_cost"]), expected);
    // What was quoted on those hours: 10 % of 10 h at 20.00.
    assert_eq!(overhead["quoted_cost"], json!("20.00"));
    let margin = &ledger.json("report margin J1")["jobs"][0];
    assert_eq!(cents(&margin["actual_cost"]), 24_000 + expected);
}

#[test]
fn money_spent_and_miles_driven_in_a_room_are_compared_there() {
    let ledger = ten_hours_at_twenty();
    ledger.lines(VARIATION);
    ledger.lines(
        r#"
        spent 51.07 --for Disposal --room Closet
        drive 10 --room Landing
        "#,
    );
    let variance = ledger.json("report variance J1");
    let other: Vec<(&Value, &Value, &Value)> = lines(&variance)
        .iter()
        .filter(|line| line["kind"] == json!("other"))
        .map(|line| (&line["room"], &line["item"], &line["total_variance"]))
        .collect();
    // 45.00 was quoted for disposal; ten miles at the rate of the book, 0.725, were not.
    assert_eq!(
        other,
        [
            (&json!("Landing"), &json!("driving"), &json!("7.25")),
            (&json!("Closet"), &json!("disposal"), &json!("6.07")),
        ]
    );
    // The margin has them in the same rooms: nothing else was logged.
    let margin = ledger.json("report margin J1 --by room");
    let rooms = margin["rooms"].as_array().expect("rooms");
    let actual = |room: &str| {
        let found = rooms.iter().find(|row| row["room"] == room);
        found.map(|row| row["actual_cost"].clone())
    };
    assert_eq!(
        (actual("Landing"), actual("Closet")),
        (Some(json!("7.25")), Some(json!("51.07")))
    );
}

#[test]
fn consumables_compare_only_what_was_recorded() {
    let ledger = ten_hours_at_twenty();
    ledger.lines(VARIATION);
    ledger.lines("use plug 12 --room Landing\njob close J1");
    let report = ledger.json("report consumables");
    let of = |item: &str| {
        let lines = lines(&report).iter();
        let line = lines.clone().find(|line| line["item"] == item);
        line.unwrap_or_else(|| panic!("no {item}: {report:#}"))
    };
    // 12 for 10 in the landing is 120 %; the 10 of the closet (30.00) are in no ratio.
    let plug = of("plug");
    assert_eq!(
        (&plug["quoted_quantity"], &plug["used_quantity"]),
        (&json!("20"), &json!("12"))
    );
    assert_eq!(plug["used_percent"], json!(120));
    assert_eq!(plug["jobs"], json!(1), "in two rooms of one job");
    assert_eq!(plug["not_recorded_quantity"], json!("10"));
    assert_eq!(plug["not_recorded_cost"], json!("30.00"));
    let bags = of("vacuum-bag");
    assert_eq!(
        (&bags["recorded"], &bags["used_quantity"]),
        (&json!(false), &json!(null))
    );
    assert_eq!(bags["used_percent"], json!(null));
    let text = ledger.line("report consumables").ok();
    assert!(
        text.starts_with(
            "Consumables of 1 job: 36.00 USD, 16.00 more than quoted.\nFurthest over: plug (patch), by 16.00.\n"
        ),
        "{text}"
    );
    let rows: Vec<&str> = text.lines().collect();
    let plug = rows.iter().find(|row| row.starts_with("plug "));
    let plug = plug.map(|row| row.split_whitespace().rev().take(2).collect::<Vec<_>>());
    assert_eq!(plug, Some(vec!["16.00", "36.00"]), "{text}");
    // 12 plugs at 3.00 for 10 quoted at 2.00 are the sum too.
    let sum = rows.iter().find(|row| row.starts_with("Total"));
    let sum: Vec<&str> = sum.unwrap_or(&"").split_whitespace().collect();
    assert_eq!(sum, ["Total", "20.00", "36.00", "16.00"], "{text}");
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("10 of plug (patch)"), "{text}");
}

#[test]
fn an_operation_that_moved_to_another_task_stays_where_it_was_quoted() {
    let ledger = ten_hours_at_twenty();
    ledger.lines("use plug 11 --room Landing\nhours \"Ruben Vale\" 9 --on patch --room Landing");
    let before = ledger.json("report variance J1");
    ledger.lines("operation edit patch --task sand");
    assert_eq!(ledger.json("report variance J1"), before);
}

/// The Hall measured 375 sq ft and not 300, and its floor was oiled and waxed and not worn film:
///
/// ```text
/// 36 grit  quoted     300 / 8.2333 + 0.9 = 37.34 discs at 2.10   78.41
///          measured   375 / 8.2333 + 0.9 = 46.45                 97.55    19.14 by size
///          found      375 / 6      + 0.9 = 63.40                133.14    35.59 by condition
///          used                            66                   138.60     5.46 by use
/// ```
#[test]
fn what_was_used_more_is_told_by_size_and_condition_and_use() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        site add "Ada Quill" "2 Salt Lane" --year-built 1990
        room add "2 Salt Lane" Hall --shape "20 x 15" --condition worn-film --species red-oak
        quote draft "2 Salt Lane"
        quote send Q1
        quote accept Q1
        job start J1
        room edit Hall --site "2 Salt Lane" --shape "25 x 15" --condition oil-wax
        use disc-7in-36 66 --room Hall --job J1
        hours "Ruben Vale" 5 --on sand --room Hall --job J1
        "#,
    );
    let discs = |answer: &Value| {
        let lines = answer["lines"].as_array().expect("lines").iter();
        let line = lines.clone().find(|line| line["operation"] == "rotary-36");
        let line = line.expect("the discs").clone();
        [
            "price_variance",
            "size_variance",
            "condition_variance",
            "rest_variance",
            "quantity_variance",
        ]
        .map(|key| line[key].as_str().unwrap_or("-").to_owned())
    };
    let paper = ["0.00", "19.14", "35.59", "5.46", "60.19"];
    let open = ledger.json("report variance J1");
    assert_eq!(discs(&open), paper);
    let text = ledger.line("report variance J1").ok().replace("\n  ", " ");
    let said = "* Hall, rotary-36: 60.19 more (66 discs at 2.10; quoted 37.34 discs at 2.10): 19.14 by the room's size, \
                35.59 by the floor's condition, 5.46 by use.\n";
    assert!(text.contains(said), "{text}");
    // Closed, it is as it was found, whatever is done to the floor afterwards.
    ledger.lines(
        r#"
        job close J1
        room edit Hall --site "2 Salt Lane" --shape "10 x 10" --condition sound-film
        "#,
    );
    let closed = ledger.json("report variance J1");
    assert_eq!(discs(&closed), paper);
    let all = ledger.json("report variance --from 2026-01-01");
    assert_eq!(discs(&all), paper);
    assert_eq!(all["jobs"], json!(1));
    for key in [
        "total_variance",
        "not_recorded_difference",
        "total_difference",
        "reasons",
    ] {
        assert_eq!(all[key], closed[key], "{key}");
    }
}

/// Over all jobs of the demo: the reasons come to the whole difference, and that to the differences of the jobs.
#[test]
fn reasons_over_a_time_come_to_the_differences_of_its_jobs() {
    let ledger = TestLedger::nowhere();
    ledger.line("demo --to t.db").ok();
    let cents = |value: &Value| -> i64 {
        let text = value.as_str().expect("an amount");
        text.replace('.', "").parse().expect("cents")
    };
    let reasons = |answer: &Value| -> i64 {
        let reasons = answer["reasons"].as_array().expect("reasons").iter();
        reasons.map(|reason| cents(&reason["difference"])).sum()
    };
    let all = ledger.json("report variance --from 2025-06-01 --to 2025-12-31 --top 3");
    assert_eq!(reasons(&all), cents(&all["total_difference"]));
    assert_eq!(all["lines"].as_array().map(Vec::len), Some(3));
    let jobs = ledger.json("job list");
    let jobs = jobs["jobs"]
        .as_array()
        .or(jobs.as_array())
        .expect("jobs")
        .iter();
    let in_time = |job: &&Value| {
        let closed = job["closed_on"].as_str().unwrap_or_default();
        ("2025-06-01"..="2025-12-31").contains(&closed)
    };
    let mut sum = 0;
    let mut count = 0;
    for job in jobs.filter(in_time) {
        let number = job["number"]
            .as_str()
            .or(job["job"].as_str())
            .expect("a number");
        let one = ledger.json(&format!("report variance {number}"));
        assert_eq!(reasons(&one), cents(&one["total_difference"]), "{number}");
        sum += cents(&one["total_difference"]);
        count += 1;
    }
    assert_eq!(
        (sum, json!(count)),
        (cents(&all["total_difference"]), all["jobs"].clone())
    );
    assert!(count > 3, "{count}");
    let none = ledger
        .line("report variance --from 2020-01-01 --to 2020-12-31")
        .ok();
    assert_eq!(none, "No job with a quote was finished in that time.\n");
    let one = ledger
        .line("report variance J3 --from 2025-01-01")
        .refused();
    assert_eq!(
        one,
        "error: J3 is one job, and a time, a client or a count is of several\nhint: gritledger report variance J3"
    );
    let every = ledger
        .line("report variance --all --from 2025-01-01")
        .refused();
    assert_eq!(
        every,
        "error: --all has every line of one job: of several jobs, say how many with --top"
    );
}
