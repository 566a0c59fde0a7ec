//! Whole houses: phases, dates, ways out, what it costs, and the calendar.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Value, json};

use crate::harness::TestLedger;

/// A house with one hall, a bath and a kitchen that aren't refinished, and three rooms.
fn lantern_row() -> TestLedger {
    let ledger = TestLedger::new();
    ledger.lines(
        r#"
        worker add "Ruben Vale" --wage 28.00
        client add "Osric Vane"
        site add "Osric Vane" "9 Lantern Row" --year-built 1931
        room add "9 Lantern Row" Hall --shape "14' x 5'" --condition worn-film --species red-oak --door "outside:3'"
        room add "9 Lantern Row" Bath --shape "6' x 8'" --condition bare --species other --not-refinished --door "Hall:2'6\""
        room add "9 Lantern Row" Kitchen --shape "12' x 12'" --condition bare --species other --not-refinished --door "Hall:3'" --door "outside:3'"
        room add "9 Lantern Row" "Front room" --shape "16' x 14'" --condition worn-film --species red-oak --door "Hall:5'"
        room add "9 Lantern Row" "Bedroom 1" --shape "12' x 11'" --condition worn-film --species red-oak --door "Hall:2'8\""
        room add "9 Lantern Row" "Bedroom 2" --shape "12' x 10'" --condition worn-film --species red-oak --door "Hall:2'8\""
        "#,
    );
    ledger
}

fn cents(value: &Value) -> i64 {
    let text = value
        .as_str()
        .unwrap_or_else(|| panic!("{value} is no amount"));
    text.replace('.', "").parse().expect("an amount")
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map(Vec::as_slice).unwrap_or_default()
}

#[test]
fn a_house_is_planned_beside_other_ways_and_priced() {
    let ledger = lantern_row();
    let plan = ledger.json(
        r#"plan house "9 Lantern Row" --start 2026-03-09 --keep "one of Bedroom 1, Bedroom 2" --keep Bath --night-away 120 --day-closed 5"#,
    );
    assert_eq!(plan["feasible"], json!(true));
    assert_eq!(plan["cost"], plan["bound"], "proven to be the cheapest");
    let phases: i64 = list(&plan["phases"])
        .iter()
        .map(|phase| cents(&phase["cost"]))
        .sum();
    assert_eq!(phases, cents(&plan["cost"]), "the phases add up");
    let parts = cents(&plan["expected_cost"]) + cents(&plan["household_loses"]);
    assert_eq!(
        parts,
        cents(&plan["cost"]),
        "the firm's cost and the household's"
    );
    let mut rooms: Vec<&str> = list(&plan["phases"])
        .iter()
        .flat_map(|phase| list(&phase["rooms"]))
        .filter_map(Value::as_str)
        .collect();
    rooms.sort_unstable();
    assert_eq!(rooms, ["Bedroom 1", "Bedroom 2", "Front room", "Hall"]);
    let names: Vec<&Value> = list(&plan["alternatives"])
        .iter()
        .map(|way| &way["name"])
        .collect();
    assert_eq!(names, [&json!("one room at a time"), &json!("all at once")]);
    for way in list(&plan["alternatives"]) {
        assert_eq!(way["feasible"], json!(true));
        assert!(cents(&way["cost"]) >= cents(&plan["cost"]));
    }
    for phase in list(&plan["phases"]) {
        let order: Vec<&Value> = list(&phase["coating_order"]).iter().collect();
        if order.contains(&&json!("Hall")) {
            assert_eq!(order.last(), Some(&&json!("Hall")), "nobody is shut in");
        }
        assert_eq!(phase["exit"], json!("Hall"));
    }
    let words = ledger
        .line(r#"plan house "9 Lantern Row" --start 2026-03-09 --keep "one of Bedroom 1, Bedroom 2" --night-away 120"#)
        .ok();
    assert!(words.contains("one of Bedroom 1 and Bedroom 2"), "{words}");
}

#[test]
fn nights_that_would_mend_a_plan_do() {
    let ledger = lantern_row();
    let plan = ledger.json(r#"plan house "9 Lantern Row" --start 2026-03-09 --keep Bath"#);
    assert_eq!(
        (&plan["feasible"], &plan["cost"]),
        (&json!(false), &Value::Null)
    );
    assert_eq!(plan["phases"], json!([]));
    let why = plan["why"].as_str().unwrap();
    assert!(
        why.contains("While Hall can't be walked on, Bath can't be reached at night."),
        "{why}"
    );
    let nights = why
        .split("away: ")
        .nth(1)
        .unwrap()
        .split(" (")
        .next()
        .unwrap();
    let (from, to) = nights.split_once(" to ").unwrap_or((nights, nights));
    let mended = ledger.json(&format!(
        r#"plan house "9 Lantern Row" --start 2026-03-09 --keep Bath --away {from} {to}"#
    ));
    assert_eq!(mended["feasible"], json!(true), "{nights}");
    assert_eq!(mended["household_loses"], json!("0.00"));
}

#[test]
fn a_plan_that_is_named_is_checked_and_never_beats_the_best() {
    let ledger = lantern_row();
    let named = ledger.json(
        r#"plan house "9 Lantern Row" --start 2026-03-09 --phases "bedroom 1; Hall, Front room; Bedroom 2""#,
    );
    let rooms: Vec<&Value> = list(&named["phases"])
        .iter()
        .map(|phase| &phase["rooms"])
        .collect();
    assert_eq!(
        rooms,
        [
            &json!(["Bedroom 1"]),
            &json!(["Hall", "Front room"]),
            &json!(["Bedroom 2"])
        ]
    );
    let best = &named["alternatives"][0];
    assert_eq!(best["name"], json!("cheapest plan"));
    assert!(cents(&best["cost"]) <= cents(&named["cost"]));
    let refused = ledger.json(
        r#"plan house "9 Lantern Row" --start 2026-03-09 --max-rooms 2 --phases "Bedroom 1, Hall, Front room; Bedroom 2""#,
    );
    assert_eq!(refused["feasible"], json!(false));
    assert_eq!(
        refused["why"],
        json!(
            "Hall, Front room and Bedroom 1 can't share a phase: 2 rooms can be emptied at once."
        )
    );
}

#[test]
fn a_planned_house_is_offered_at_the_price_that_is_named() {
    let ledger = lantern_row();
    let line =
        r#"plan house "9 Lantern Row" --start 2026-03-09 --price 9000 --discount "neighbours=250""#;
    let plan = ledger.json(line);
    assert_eq!(plan["price"], json!("8750.00"));
    let said = ledger.line(line).ok();
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("Price 8750.00 USD before tax, 0.00 of tax: the margin of 35 % is kept"),
        "{said}"
    );
    assert!(said.contains("of the time"), "{said}");
    assert!(said.contains("; the cost asks for "), "{said}");
    // What it costs, and when, is as without the price.
    let as_asked = ledger.json(r#"plan house "9 Lantern Row" --start 2026-03-09"#);
    assert_eq!(
        (&plan["cost"], &plan["phases"]),
        (&as_asked["cost"], &as_asked["phases"])
    );
    ledger.lines(&format!("{line} --accept\ncheck"));
    let quote = ledger.json("quote show Q1");
    assert_eq!(
        (&quote["price"], &quote["named_price"]),
        (&json!("8750.00"), &json!("9000.00"))
    );
    assert_eq!(quote["discounts"][0]["amount"], json!("250.00"));
    let refused = ledger.line(r#"plan house "9 Lantern Row" --start 2026-03-09 --price 200 --discount "neighbours=250""#).refused();
    assert_eq!(
        refused,
        "error: 250.00 off leaves nothing of the price of 200.00"
    );
}

#[test]
fn what_cannot_be_planned_is_said_by_name() {
    let ledger = lantern_row();
    ledger
        .line(r#"setting set holidays "2026-03-10 Founding day""#)
        .ok();
    for (line, said) in [
        (
            "--start 2026-03-08",
            "error: Sunday 2026-03-08 is not a working day\nhint: --start 2026-03-09",
        ),
        (
            "--start 2026-03-10",
            "error: 2026-03-10 is a holiday: Founding day\nhint: --start 2026-03-11",
        ),
        (
            "--start 2026-02-30",
            "error: `2026-02-30` is not a date\nhint: dates are written 2026-03-02, today, yesterday, 3 days ago or mon",
        ),
        (
            "--start 9999-12-31",
            "error: 9999-12-31 is more than 2 years ahead",
        ),
        (
            "--start 2026-03-09 --room Bath",
            "error: `Bath` is not refinished: it is a way through the house",
        ),
        (
            "--start 2026-03-09 --together \"Bath, Hall\"",
            "error: `Bath` is not refinished, so it is in no phase",
        ),
        (
            "--start 2026-03-01",
            "error: 2026-03-01 is past: nothing can be planned for it",
        ),
        (
            "--start 2026-03-09 --keep Bathroom",
            "error: no room `Bathroom` in this house\nhint: its rooms: Hall, Bath, Kitchen, Front room, Bedroom 1, Bedroom 2",
        ),
        (
            "--start 2026-03-09 --keep \"two of Bath\"",
            "error: no plan can keep `two of Bath`\nhint: it names 1 room",
        ),
        (
            "--start 2026-03-09 --phases \"Hall; Bath\"",
            "error: `Bath` is not refinished, so it is in no phase",
        ),
        (
            "--start 2026-03-09 --phases \"Hall; Front room\"",
            "error: no phase has `Bedroom 1 and Bedroom 2`",
        ),
        (
            "--start 2026-03-09 --phases \"Hall; Hall\"",
            "error: `Hall` is in two phases",
        ),
        (
            "--start 2026-03-09 --max-rooms 0",
            "error: `0` is not a number of rooms\nhint: --max-rooms 3",
        ),
        (
            "--start 2026-03-09 --night-away -5",
            "error: a night away doesn't cost less than nothing",
        ),
        (
            "--start 2026-03-09 --end 2026-03-03",
            "error: the end comes before the start",
        ),
        (
            "--start 2026-03-09 --away 2026-03-12 2026-03-11",
            "error: the household can't be back on 2026-03-11 before it leaves on 2026-03-12",
        ),
        (
            "--start 2026-03-09 --away 2026-03-12 2027-03-12",
            "error: 2027-03-12 is more than a year after 2026-03-09, and plans don't look so far",
        ),
        (
            "--start 2026-03-09 --phases \" ; \"",
            "error: the phases name no room",
        ),
        (
            "--start 2026-03-09 --sequence none --schedule none",
            "error: without a sequence and a schedule there is no phase to plan\nhint: gritledger quote draft \"9 Lantern Row\" --sequence none --schedule none",
        ),
        (
            "--start 2026-03-09 --together Hall",
            "error: `Hall` is one room, and that is always with itself",
        ),
        (
            "--start 2026-03-09 --keep \" , Bath\"",
            "error: ` , Bath` names no room, or one too few",
        ),
        (
            "--start 2026-03-09 --together \"Hall, Front room\" --together \"Front room, Bedroom 1\" --apart \"Hall, Bedroom 1\"",
            "error: Hall and Bedroom 1 can't be done both together and apart",
        ),
    ] {
        let refused = ledger
            .line(&format!(r#"plan house "9 Lantern Row" {line}"#))
            .refused();
        assert_eq!(refused, said, "{line}");
    }
    let soon = ledger.json(r#"plan house "9 Lantern Row" --start 2026-03-09 --end 2026-03-11"#);
    let why = soon["why"].as_str().unwrap();
    let later = why.strip_prefix("It can't be done by 2026-03-11; it can by ");
    let (day, _) = later.and_then(|later| later.split_once(' ')).unwrap();
    let in_time = ledger.json(&format!(
        r#"plan house "9 Lantern Row" --start 2026-03-09 --end {day}"#
    ));
    assert_eq!(in_time["finish"], json!(day));
    let before = day
        .parse::<chrono::NaiveDate>()
        .unwrap()
        .pred_opt()
        .unwrap();
    let sooner = ledger.json(&format!(
        r#"plan house "9 Lantern Row" --start 2026-03-09 --end {before}"#
    ));
    assert_eq!(sooner["feasible"], json!(false), "{day} is the earliest");
    ledger.line("setting set crew-hours 0.5").ok();
    let short =
        ledger.json(r#"plan house "9 Lantern Row" --start 2026-03-09 --schedule oil-2-coat"#);
    let why = short["why"].as_str().unwrap();
    assert!(
        why.contains("and the crew has 0.5 in a working day"),
        "{why}"
    );
    ledger.line("setting set crew-hours 8").ok();
    ledger
        .line(r#"room add "9 Lantern Row" Attic --shape "9 x 9" --condition bare --species pine"#)
        .ok();
    let refused = ledger
        .line(r#"plan house "9 Lantern Row" --start 2026-03-09"#)
        .refused();
    assert_eq!(
        refused,
        "error: `Attic` has no way out of the house, not even through other rooms\n\
         hint: gritledger room edit \"9 Lantern Row/Attic\" --door outside:3ft"
    );
    // The doorways that a room has are named with the new one, since doorways are given all at once.
    ledger.lines(
        r#"
        room add "9 Lantern Row" "Box room" --shape "9 x 9" --condition bare --species pine --door "Attic:2'6\""
        room edit Attic --door "Box room:2'6\"" --door "Box room:30in"
        "#,
    );
    let refused = ledger
        .line(r#"plan house "9 Lantern Row" --start 2026-03-09"#)
        .refused();
    let (_, hint) = refused.split_once("hint: gritledger ").expect("a hint");
    assert_eq!(
        hint,
        r#"room edit "9 Lantern Row/Attic" --door "Box room:2'6\"" --door "Box room:2'6\"" --door outside:3ft"#
    );
    ledger.line(hint).ok();
    let attic = ledger.json("room show Attic");
    assert_eq!(list(&attic["doors"]).len(), 3, "{attic:#}");
    ledger
        .line(r#"plan house "9 Lantern Row" --start 2026-03-09"#)
        .ok();
    let refused = ledger.line("plan write Q1").refused();
    assert_eq!(refused, "error: no quote Q1\nhint: gritledger quote list");
}

/// What a calendar says of each event: its properties by name.
fn calendar_events(text: &str) -> Vec<BTreeMap<String, String>> {
    let unfolded = text.replace("\r\n ", "");
    let events = unfolded.split("BEGIN:VEVENT\r\n").skip(1);
    events
        .map(|event| {
            let lines = event.split("END:VEVENT").next().unwrap_or_default().lines();
            let pairs = lines.filter_map(|line| line.split_once(':'));
            pairs
                .map(|(name, value)| (name.to_owned(), value.to_owned()))
                .collect()
        })
        .collect()
}

#[test]
fn an_accepted_plan_becomes_a_quote_a_job_and_a_calendar_that_moves() {
    let ledger = lantern_row();
    let line = r#"plan house "9 Lantern Row" --start 2026-03-09 --max-rooms 2"#;
    let planned = ledger.json(line);
    let accepted = ledger.json(&format!("{line} --accept"));
    assert_eq!(planned["phases"], accepted["phases"]);
    assert_eq!(accepted["quote"], json!("Q1"));
    let quote = ledger.json("quote show Q1");
    assert_eq!(quote["expected_cost"], planned["expected_cost"]);
    assert_eq!(quote["price"], planned["price"]);
    let rentals: i64 = list(&planned["phases"])
        .iter()
        .flat_map(|phase| list(&phase["rental"]))
        .map(|rental| cents(&rental["total"]))
        .sum();
    let quoted: i64 = list(&quote["rental"])
        .iter()
        .map(|rental| cents(&rental["total"]))
        .sum();
    assert_eq!(rentals, quoted, "the quote rents what the plan rents");
    let draft = ledger.line("plan write Q1").ok();
    assert!(draft.contains("STATUS:TENTATIVE") && !draft.contains("STATUS:CONFIRMED"));
    ledger.lines("quote send Q1\nquote accept Q1\njob start J1");
    let dates = ledger.json("job dates J1");
    let offered = ledger.json("quote show Q1")["phases"].clone();
    assert_eq!(list(&dates["phases"]).len(), list(&planned["phases"]).len());
    let calendar = ledger.line("plan write J1 --format ics").ok();
    let before = calendar_events(&calendar);
    let uids: BTreeSet<&String> = before.iter().map(|event| &event["UID"]).collect();
    assert_eq!(uids.len(), before.len(), "every event has a UID of its own");
    for event in &before {
        assert!(
            event["DTSTART;VALUE=DATE"] < event["DTEND;VALUE=DATE"],
            "the end is exclusive: {event:?}"
        );
        assert_eq!(event["SEQUENCE"], "0");
    }
    // A day of the first phase is lost: what has begun goes on, all that follows moves.
    let second = list(&dates["phases"])[0]["days"][1]["date"]
        .as_str()
        .unwrap();
    let moved = ledger.json(&format!("job dates J1 --lost {second}"));
    assert_eq!(moved["revision"], json!(1));
    assert_eq!(moved["lost_days"], json!([second]));
    assert_eq!(moved["finish_before"], dates["finish"]);
    let rental = |plan: &Value| -> i64 {
        let phases = list(&plan["phases"]).iter();
        let rentals = phases.flat_map(|phase| list(&phase["rental"]));
        rentals.map(|rental| cents(&rental["total"])).sum()
    };
    assert_eq!(
        cents(&moved["costs_more"]["firm"]),
        rental(&moved) - rental(&dates),
        "as many phases as before are set up for"
    );
    assert_eq!(moved["phases"][0]["rooms"], dates["phases"][0]["rooms"]);
    assert_eq!(moved["phases"][0]["from"], dates["phases"][0]["from"]);
    let walked_on = |plan: &Value| plan["phases"][0]["light_use"].as_str().map(str::to_owned);
    assert!(walked_on(&moved) > walked_on(&dates));
    assert!(
        moved["finish"].as_str() >= dates["finish"].as_str(),
        "a weekend may take the lost day in"
    );
    let works = |day: &Value| {
        day["date"] == json!(second) && !day["work"].as_str().unwrap().contains("back")
    };
    let on_that_day = list(&moved["phases"])
        .iter()
        .flat_map(|phase| list(&phase["days"]))
        .filter(|day| works(day));
    assert_eq!(on_that_day.count(), 0, "nobody works on the lost day");
    let after = calendar_events(&ledger.line("plan write J1").ok());
    let again: BTreeSet<&String> = after.iter().map(|event| &event["UID"]).collect();
    assert!(
        uids.is_subset(&again),
        "known events are moved, or cancelled"
    );
    assert!(after.iter().all(|event| event["SEQUENCE"] == "1"));
    assert_eq!(
        ledger.json("quote show Q1")["phases"],
        offered,
        "a quote says what was accepted"
    );
    let refused = ledger.line("job dates J1 --lost 2026-03-08").refused();
    assert_eq!(
        refused,
        "error: nothing is planned on 2026-03-08, so nothing is lost\nhint: gritledger job dates J1"
    );
    // The rooms are in a job now.
    let refused = ledger.line(line).refused();
    assert!(
        refused.starts_with("error: `9 Lantern Row` has no rooms left to plan"),
        "{refused}"
    );
}

#[test]
fn a_plan_moves_as_long_as_nothing_is_done_and_today_tells_of_it() {
    let ledger = lantern_row();
    ledger.lines(
        r#"
        plan house "9 Lantern Row" --start 2026-03-09 --end 2026-04-10 --max-rooms 2 --accept
        quote send Q1
        quote accept Q1
        "#,
    );
    let planned = ledger.json("job dates J1");
    assert_eq!(planned["costs_more"], Value::Null);
    let on = |day: &str, line: &str| {
        let words: Vec<&str> = line.split(' ').collect();
        ledger.run_with(&words, &[("GRITLEDGER_TODAY", day)])
    };
    let first = planned["phases"][0]["from"].as_str().unwrap();
    let today = on(first, "today").ok();
    let fetch = today
        .lines()
        .position(|line| line.starts_with("* J1, today: fetch "));
    let sand = today
        .lines()
        .position(|line| line.starts_with("* J1, today: repair and sand ("));
    assert!(fetch.is_some() && fetch < sand, "{today}");
    // A month later: all of it moves, and the day it was to be done by is past.
    let late = on("2026-04-06", "job dates J1 --start 2026-04-07").ok();
    assert!(late.contains("ends on"), "{late}");
    assert!(late.contains("It can't be done by 2026-04-10."), "{late}");
    let moved = ledger.json("job dates J1");
    assert!(moved["phases"][0]["from"].as_str() >= Some("2026-04-07"));
    assert_eq!(moved["lost_days"], json!([]));
    for (day, line, said) in [
        (
            "2026-04-06",
            "job dates J1 --start 2026-04-05",
            "error: 2026-04-05 is past: nothing can be planned for it",
        ),
        (
            "2026-04-06",
            "job dates J1 --start 2026-04-11",
            "error: Saturday 2026-04-11 is not a working day\nhint: --start 2026-04-13",
        ),
    ] {
        assert_eq!(on(day, line).refused(), said);
    }
    on("2026-04-07", "job start J1").ok();
    on("2026-04-07", "hours Ruben 6 --on sand").ok();
    assert_eq!(
        on("2026-04-07", "job dates J1 --start 2026-04-20").refused(),
        "error: J1 has begun: hours are logged on 2026-04-07\nhint: gritledger job dates J1 --lost DATE"
    );
}

#[test]
fn days_are_lost_together_and_nights_away_are_dates_too() {
    let ledger = lantern_row();
    ledger.lines(
        r#"
        plan house "9 Lantern Row" --start 2026-03-09 --phases "Front room, Bedroom 1; Hall, Bedroom 2" --keep Bath --night-away 100 --accept
        quote send Q1
        quote accept Q1
        job start J1
        "#,
    );
    let dates = ledger.json("job dates J1");
    let nights: Vec<&str> = list(&dates["phases"])
        .iter()
        .flat_map(|phase| list(&phase["nights_away"]))
        .filter_map(Value::as_str)
        .collect();
    assert!(!nights.is_empty());
    let text = ledger.line("job dates J1").ok();
    assert_eq!(text.matches(" night away ").count(), nights.len());
    let calendar = calendar_events(&ledger.line("plan write J1").ok());
    let away = calendar
        .iter()
        .find(|event| event["SUMMARY"].starts_with("night away"));
    assert_eq!(
        away.unwrap()["DTSTART;VALUE=DATE"],
        nights[0].replace('-', "")
    );
    // Two days of one phase at once: both were planned, and neither is worked on now.
    let days: Vec<&str> = list(&dates["phases"][0]["days"])
        .iter()
        .filter(|day| day["work"] == json!("repair and sand"))
        .filter_map(|day| day["date"].as_str())
        .collect();
    let (one, another) = (days[0], days[1]);
    ledger.line("hours \"Ruben Vale\" 2 --on sand").ok();
    let lost = ledger.run_with(
        &["job", "dates", "J1", "--lost", one, "--lost", another],
        &[("GRITLEDGER_TODAY", another)],
    );
    lost.ok();
    let moved = ledger.json("job dates J1");
    assert_eq!(moved["revision"], json!(1));
    assert_eq!(moved["lost_days"], json!([one, another]));
    assert!(moved["phases"][0]["from"].as_str() > Some(another));
}

#[test]
fn many_rooms_are_planned_no_worse_than_by_hand() {
    let ledger = TestLedger::new();
    let mut lines = String::from(
        r#"
        worker add "Ruben Vale" --wage 28.00
        client add "Osric Vane"
        site add "Osric Vane" "14 Fern Walk" --year-built 1931
        room add "14 Fern Walk" H0 --shape "14 x 5" --condition worn-film --species red-oak --door "outside:3'"
        room add "14 Fern Walk" H1 --shape "14 x 5" --condition worn-film --species red-oak --door "H0:3'" --door "outside:3'"
        "#,
    );
    for room in 1..=7 {
        lines.push_str(&format!(
            "room add \"14 Fern Walk\" R{room} --shape \"12 x 1{room}\" --condition worn-film --species red-oak --door \"H0:2'8\\\"\"\n"
        ));
    }
    for room in 1..=5 {
        lines.push_str(&format!(
            "room add \"14 Fern Walk\" S{room} --shape \"11 x 1{room}\" --condition sound-film --species red-oak --door \"H1:2'8\\\"\"\n"
        ));
    }
    ledger.lines(&lines);
    let plan = |line: &str| {
        ledger.json(&format!(
            r#"plan house "14 Fern Walk" --start 2026-03-09 --keep "two of S1, S2, S3" --keep R1 --max-rooms 4 {line}"#
        ))
    };
    // Where two nights away would do, two nights away do.
    let why = plan("")["why"].as_str().unwrap().to_owned();
    let nights = why
        .split("away: ")
        .nth(1)
        .and_then(|rest| rest.split(" (").next());
    let (from, to) = nights.and_then(|nights| nights.split_once(" to ")).unwrap();
    let mended = plan(&format!("--away {from} {to}"));
    assert_eq!(mended["feasible"], json!(true), "{why}");
    assert_eq!(mended["proven"], json!(false));
    // A plan named by hand never beats what is found beside it.
    let named = plan(
        r#"--night-away 140 --day-closed 10 --phases "R1, S1, H0, H1; R4, R5, R7; R2, R6, S2; R3, S3, S4, S5""#,
    );
    let best = &named["alternatives"][0];
    assert_eq!(best["name"], json!("best plan found"));
    assert!(cents(&best["cost"]) <= cents(&named["cost"]));
    let found = plan("--night-away 140 --day-closed 10");
    assert!(cents(&found["cost"]) <= cents(&named["cost"]));
    assert!(cents(&found["bound"]) <= cents(&best["cost"]));
}

#[test]
fn what_has_begun_is_told_as_it_was_planned() {
    let ledger = lantern_row();
    ledger.lines(
        r#"
        plan house "9 Lantern Row" --start 2026-03-09 --phases "Front room, Bedroom 1, Bedroom 2, Hall" --accept
        quote send Q1
        quote accept Q1
        job start J1
        "#,
    );
    let planned = ledger.json("job dates J1");
    let days = |plan: &Value| list(&plan["phases"][0]["days"]).to_vec();
    let sanded: Vec<Value> = days(&planned)
        .into_iter()
        .filter(|day| day["work"] == json!("repair and sand"))
        .collect();
    assert!(sanded.len() > 2, "several days of sanding");
    // By now sanding is known to take longer, which doesn't change the days that were.
    ledger
        .line("rate set rotary-36 --kind hours --per 20 --condition worn-film")
        .ok();
    let anew = ledger.json(
        r#"plan house "9 Lantern Row" --start 2026-03-09 --room "Front room" --room "Bedroom 1" --room "Bedroom 2" --room Hall --phases "Front room, Bedroom 1, Bedroom 2, Hall""#,
    );
    assert!(days(&anew).len() > days(&planned).len());
    let lost = sanded[2]["date"].as_str().unwrap();
    let moved = ledger.json(&format!("job dates J1 --lost {lost}"));
    assert_eq!(days(&moved)[..2], days(&planned)[..2]);
    let again: Vec<Value> = days(&moved)
        .into_iter()
        .filter(|day| day["work"] == json!("repair and sand"))
        .collect();
    assert_eq!(again.len(), sanded.len(), "as many days as it had");
}

#[test]
fn limits_are_kept() {
    let ledger = lantern_row();
    let together = |line: &str| -> Vec<BTreeSet<String>> {
        let plan = ledger.json(&format!(
            r#"plan house "9 Lantern Row" --start 2026-03-09 {line}"#
        ));
        assert_eq!(plan["feasible"], json!(true), "{line}: {}", plan["why"]);
        let phases = list(&plan["phases"]).iter();
        let rooms = phases.map(|phase| {
            list(&phase["rooms"])
                .iter()
                .filter_map(Value::as_str)
                .map(str::to_owned)
                .collect()
        });
        rooms.collect()
    };
    assert!(
        together("--max-rooms 1")
            .iter()
            .all(|phase| phase.len() == 1)
    );
    let own = ledger
        .json(r#"plan house "9 Lantern Row" --start 2026-03-09 --furniture-room "Front room""#);
    let why = own["why"].as_str().unwrap();
    assert!(
        why.contains("While Front room itself is done, its own furniture needs another place."),
        "{why}"
    );
    for phase in together(r#"--furniture-room "Front room""#) {
        assert!(
            !phase.contains("Front room") || phase.len() == 1,
            "{phase:?}"
        );
    }
    for phase in together(r#"--apart "Hall, Front room, Bedroom 1""#) {
        let of_them = ["Hall", "Front room", "Bedroom 1"];
        assert!(
            of_them.iter().filter(|room| phase.contains(**room)).count() < 2,
            "{phase:?}"
        );
    }
    for phase in together(r#"--max-rooms 2 --together "Hall, Bedroom 2""#) {
        assert_eq!(
            phase.contains("Hall"),
            phase.contains("Bedroom 2"),
            "{phase:?}"
        );
    }
    // Two people do twice the labour in a day, so the house is done sooner.
    let finish = |line: &str| {
        let plan = ledger.json(&format!(
            r#"plan house "9 Lantern Row" --start 2026-03-09 {line}"#
        ));
        plan["finish"].as_str().unwrap().to_owned()
    };
    let alone = finish(r#"--phases "Hall, Front room, Bedroom 1, Bedroom 2""#);
    ledger.line("setting set crew-hours 16").ok();
    assert!(finish(r#"--phases "Hall, Front room, Bedroom 1, Bedroom 2""#) < alone);
    // Waterborne coats are walked on and done with sooner than oil.
    let water =
        finish(r#"--schedule water-3-coat --phases "Hall, Front room, Bedroom 1, Bedroom 2""#);
    assert!(
        water
            < finish(r#"--schedule oil-3-coat --phases "Hall, Front room, Bedroom 1, Bedroom 2""#)
    );
}

#[test]
fn filler_hardens_before_the_finer_cuts() {
    let ledger = lantern_row();
    ledger
        .line(r#"finding add "9 Lantern Row/Front room" proud-nails 40"#)
        .ok();
    let planned = |hours: &str| {
        ledger
            .line(&format!("operation edit set-nails --harden-hours {hours}"))
            .ok();
        ledger.json(r#"plan house "9 Lantern Row" --start 2026-03-09 --room "Front room""#)
    };
    let sanded = |plan: &Value| -> Vec<String> {
        let days = list(&plan["phases"][0]["days"]).iter();
        let days = days.filter(|day| day["work"] == json!("repair and sand"));
        days.map(|day| day["date"].as_str().unwrap().to_owned())
            .collect()
    };
    let waits = |plan: &Value| {
        plan["why"]
            .as_str()
            .is_some_and(|why| why.contains("harden"))
    };
    // The first cut is done and the nails are filled by 13:23 on Monday, 157 minutes before the day ends.
    for (hours, days, light_use, idle) in [
        (
            "none",
            vec!["2026-03-09", "2026-03-10"],
            "2026-03-12T11:40",
            false,
        ),
        // Hard at 17:23: the 157 minutes are done on Tuesday.
        (
            "4",
            vec!["2026-03-09", "2026-03-10"],
            "2026-03-12T14:17",
            false,
        ),
        // Hard at 13:23 on Tuesday: everything comes a day later.
        (
            "24",
            vec!["2026-03-09", "2026-03-10", "2026-03-11"],
            "2026-03-13T11:40",
            false,
        ),
        // Hard at 5:23 on Wednesday: the 157 minutes, and nobody works on Tuesday.
        (
            "40",
            vec!["2026-03-09", "2026-03-11"],
            "2026-03-13T14:17",
            true,
        ),
    ] {
        let plan = planned(hours);
        assert_eq!(sanded(&plan), days, "{hours} hours");
        assert_eq!(plan["phases"][0]["light_use"], json!(light_use));
        assert_eq!(waits(&plan), idle, "{hours} hours");
        let out = &plan["phases"][0]["rental"][0];
        assert_eq!(out["out"], json!("2026-03-09"), "the machines wait as well");
        let last: chrono::NaiveDate = days[days.len() - 1].parse().unwrap();
        assert_eq!(out["back"], json!(last.succ_opt()));
    }
    let words = ledger
        .line(r#"plan house "9 Lantern Row" --start 2026-03-09 --room "Front room" --accept"#)
        .ok();
    let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("Nobody works on Front room on 2026-03-10: filler or glue has to harden before it is sanded."),
        "{words}"
    );
    // What has begun waits as it was planned to, whatever the book says by then.
    ledger.lines("quote send Q1\nquote accept Q1\njob start J1\noperation edit set-nails --harden-hours none");
    let moved = ledger.json("job dates J1 --lost 2026-03-11");
    assert_eq!(sanded(&moved), ["2026-03-09", "2026-03-12"]);
}

#[test]
fn an_agreement_that_comes_late_or_twice_is_warned_of() {
    let ledger = lantern_row();
    let line = r#"plan house "9 Lantern Row" --start 2026-03-09 --accept"#;
    ledger.line(line).ok();
    ledger.line(line).ok();
    ledger.lines("quote send Q1\nquote send Q2\nquote accept Q1");
    let twice = ledger.line("quote accept Q2");
    assert!(
        twice
            .stderr()
            .contains("`Hall` is in J1 too, which isn't closed"),
        "{twice}"
    );
    let late = ledger.run_with(
        &["job", "start", "J1"],
        &[("GRITLEDGER_TODAY", "2026-03-20")],
    );
    assert!(
        late.stderr()
            .contains("its plan begins on 2026-03-09, which is past"),
        "{late}"
    );
    // A room that nobody does may have no way out.
    ledger
        .line(r#"room add "9 Lantern Row" Attic --shape "9 x 9" --condition bare --species pine"#)
        .ok();
    let plan = ledger.json(r#"plan house "9 Lantern Row" --start 2026-03-09 --room Hall"#);
    assert_eq!(plan["feasible"], json!(true));
}
