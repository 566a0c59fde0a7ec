//! Houses planned again, beside others, and within a budget: what is told late, what is refused, and what is promised twice.

use serde_json::{Value, json};

use crate::harness::{Run, TestLedger};

/// The house of `house.rs`: one hall with the only way in, a bath and a kitchen behind it, and three rooms.
fn lantern_row() -> TestLedger {
    let ledger = TestLedger::new();
    ledger.lines(
        r#"
        worker add "Ruben Vale" --wage 28.00
        client add "Osric Vane"
        "#,
    );
    add_house(&ledger, "9 Lantern Row");
    ledger
}

fn add_house(ledger: &TestLedger, site: &str) {
    let lines = r#"
        site add "Osric Vane" "SITE" --year-built 1931
        room add "SITE" Hall --shape "14' x 5'" --condition worn-film --species red-oak --door "outside:3'"
        room add "SITE" Bath --shape "6' x 8'" --condition bare --species other --not-refinished --door "Hall:2'6\""
        room add "SITE" Kitchen --shape "12' x 12'" --condition bare --species other --not-refinished --door "Hall:3'" --door "outside:3'"
        room add "SITE" "Front room" --shape "16' x 14'" --condition worn-film --species red-oak --door "Hall:5'"
        room add "SITE" "Bedroom 1" --shape "12' x 11'" --condition worn-film --species red-oak --door "Hall:2'8\""
        room add "SITE" "Bedroom 2" --shape "12' x 10'" --condition worn-film --species red-oak --door "Hall:2'8\""
        "#;
    ledger.lines(&lines.replace("SITE", site));
}

/// Accepts the plan of a line and begins the job.
fn accept(ledger: &TestLedger, line: &str, number: usize) {
    ledger.line(&format!("{line} --accept")).ok();
    ledger.lines(&format!(
        "quote send Q{number}\nquote accept Q{number}\njob start J{number}"
    ));
}

fn on(ledger: &TestLedger, day: &str, line: &str) -> Run {
    let words: Vec<&str> = line.split(' ').collect();
    ledger.run_with(&words, &[("GRITLEDGER_TODAY", day)])
}

fn value(run: Run) -> Value {
    serde_json::from_str(&run.ok()).expect("JSON")
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map(Vec::as_slice).unwrap_or_default()
}

/// What there is of something in each phase.
fn of_phases<'a>(plan: &'a Value, what: &str) -> Vec<&'a Value> {
    let phases = list(&plan["phases"]).iter();
    phases.map(|phase| &phase[what]).collect()
}

#[test]
fn money_of_a_planned_house_goes_by_its_days() {
    let ledger = lantern_row();
    let line = r#"plan house "9 Lantern Row" --start 2026-03-09"#;
    accept(&ledger, line, 1);
    // The second coat is put on on Friday the 13th; what follows is drying.
    let dates = ledger.line("job dates J1").ok();
    assert!(
        dates.contains("\nFri 2026-03-13     1 coat 2 of 2 "),
        "{dates}"
    );
    let cash = ledger.line("report work-in-hand --cash").ok();
    let said = "\nAs planned: J1 2026-03-09 to 2026-03-13.\n";
    assert!(cash.ends_with(said), "{cash}");
    assert!(cash.contains("\n2026-03-09 "), "{cash}");
    // Once its days are over, and nothing was done, it takes its turn.
    let late = on(&ledger, "2026-06-01", "report work-in-hand --cash").ok();
    let late = late.replace('\n', " ");
    assert!(late.contains(" a working day: J1 2026-06-01 to "), "{late}");
}

#[test]
fn nights_that_were_refused_are_as_few_as_can_be_when_the_dates_move() {
    let ledger = lantern_row();
    accept(
        &ledger,
        r#"plan house "9 Lantern Row" --start 2026-03-09 --away 2026-03-10 2026-03-12 --keep Bath"#,
        1,
    );
    // The household is away by then, and no night has a price: the hall alone is wet for two nights whenever it is done,
    // and the bath is behind it. The cheapest plan (all at once) would take three.
    let moved = value(on(
        &ledger,
        "2026-03-23",
        "job dates J1 --start 2026-03-23 --json",
    ));
    let nights: usize = of_phases(&moved, "nights_away")
        .into_iter()
        .map(|nights| list(nights).len())
        .sum();
    assert_eq!(nights, 2, "{moved:#}");
    let why = moved["why"].as_str().unwrap();
    assert!(
        why.starts_with("No plan without a night away is left: 2 nights at least."),
        "{why}"
    );
    assert_eq!(moved["costs_more"]["household"], json!("0.00"));
}

#[test]
fn what_had_begun_by_today_stays_when_a_lost_day_is_told_late() {
    let ledger = lantern_row();
    accept(
        &ledger,
        r#"plan house "9 Lantern Row" --start 2026-03-09 --apart "Front room, Bedroom 1, Bedroom 2" --day-closed 30"#,
        1,
    );
    let before = ledger.json("job dates J1");
    assert_eq!(
        of_phases(&before, "from"),
        [
            &json!("2026-03-09"),
            &json!("2026-03-12"),
            &json!("2026-03-16")
        ]
    );
    // Told on the Friday of the second week, when all three phases had begun.
    let late = value(on(
        &ledger,
        "2026-03-20",
        "job dates J1 --lost 2026-03-10 --json",
    ));
    assert_eq!(of_phases(&late, "rooms"), of_phases(&before, "rooms"));
    assert_eq!(late["phases"][0]["from"], json!("2026-03-09"));
    let why = late["why"].as_str().unwrap();
    // One day of drying more: Bedroom 1 is walked on from Thursday 08:53, so the next begins on Friday.
    assert!(
        why.contains("Bedroom 2 can't have begun on 2026-03-12 with the days that were lost: 2026-03-13 is the first day on which it could."),
        "{why}"
    );
}

#[test]
fn nothing_new_is_put_before_today() {
    let ledger = lantern_row();
    accept(
        &ledger,
        r#"plan house "9 Lantern Row" --start 2026-03-09 --max-rooms 1"#,
        1,
    );
    let before = ledger.json("job dates J1");
    let begun = of_phases(&before, "from")
        .into_iter()
        .filter(|from| from.as_str() <= Some("2026-03-20"))
        .count();
    assert_eq!(begun, 2, "{before:#}");
    let late = value(on(
        &ledger,
        "2026-03-27",
        "job dates J1 --lost 2026-03-23 --lost 2026-03-24 --json",
    ));
    // The third phase was to be sanded and coated on the lost days: it hasn't begun, and can't have on the 25th either.
    assert_eq!(
        of_phases(&late, "from")[..2],
        of_phases(&before, "from")[..2]
    );
    for from in &of_phases(&late, "from")[2..] {
        assert!(from.as_str() >= Some("2026-03-27"), "{late:#}");
    }
}

#[test]
fn a_plan_says_which_nights_it_relies_on() {
    let ledger = lantern_row();
    let line =
        r#"plan house "9 Lantern Row" --start 2026-03-09 --away 2026-03-10 2026-03-12 --keep Bath"#;
    let plan = ledger.json(line);
    let first = &plan["phases"][0];
    assert_eq!(first["nights_away"], json!([]));
    // The hall's first coat is laid on the 11th, and it is walked on from the 13th on: two of the three nights.
    assert_eq!(
        first["nights_relied_on"],
        json!(["2026-03-11", "2026-03-12"])
    );
    let said = "Bath can't be reached: the plan relies on the household being away (2026-03-11 to 2026-03-12).";
    assert!(plan["why"].as_str().unwrap().contains(said), "{plan:#}");
    accept(&ledger, line, 1);
    let dates = ledger.line("job dates J1").ok();
    assert_eq!(dates.matches("night away, as told").count(), 2, "{dates}");
    let quote = ledger.json("quote show Q1");
    assert_eq!(
        quote["phases"][0]["nights_relied_on"],
        first["nights_relied_on"]
    );
}

#[test]
fn rooms_added_to_a_house_under_way_wait_for_what_is_wet_there() {
    let ledger = lantern_row();
    accept(
        &ledger,
        r#"plan house "9 Lantern Row" --start 2026-03-09 --room Hall --room "Front room" --phases "Hall, Front room""#,
        1,
    );
    let first = ledger.json("job dates J1");
    assert_eq!(
        of_phases(&first, "light_use"),
        [&json!("2026-03-12T14:03")],
        "coated on the 10th and the 11th"
    );
    let line = r#"plan house "9 Lantern Row" --start 2026-03-10"#;
    let added = ledger.json(line);
    // Wet from the first coat on the 10th until the afternoon of the 12th: nobody works in the house on those days.
    for day in of_phases(&added, "from") {
        assert!(day.as_str() >= Some("2026-03-13"), "{added:#}");
    }
    let why = added["why"].as_str().unwrap();
    assert!(
        why.contains(
            "Hall and Front room of J1 can't be walked on from 2026-03-10 until 2026-03-12 14:03"
        ),
        "{why}"
    );
    // Closed: the crew is in the house on the 9th, before anything is wet.
    let sooner = ledger.json(&line.replace("03-10", "03-09"));
    let days = of_phases(&sooner, "days").into_iter().flat_map(list);
    let days = days.filter(|day| {
        let work = day["work"].as_str().unwrap();
        work.starts_with("coat") || work.starts_with("repair")
    });
    let days: Vec<&str> = days.filter_map(|day| day["date"].as_str()).collect();
    assert!(
        !days
            .iter()
            .any(|day| ("2026-03-10"..="2026-03-12").contains(day)),
        "{days:?}"
    );
    // A job of which nobody knows the days is told as one.
    ledger.lines(
        r#"
        quote draft "9 Lantern Row" --room "Bedroom 2"
        quote send Q2
        quote accept Q2
        "#,
    );
    let why = ledger.json(line)["why"].as_str().unwrap().to_owned();
    assert!(why.contains("J2 is in this house too"), "{why}");
}

#[test]
fn a_crew_and_a_machine_promised_twice_are_told() {
    let ledger = lantern_row();
    add_house(&ledger, "11 Lantern Row");
    let line = |site: &str| {
        format!(
            r#"plan house "{site}" --start 2026-03-09 --phases "Hall, Front room; Bedroom 1, Bedroom 2""#
        )
    };
    let alone = ledger.json(&line("9 Lantern Row"));
    assert_eq!(alone["promised_twice"], json!([]));
    accept(&ledger, &line("9 Lantern Row"), 1);
    let second = ledger.json(&line("11 Lantern Row"));
    let twice = list(&second["promised_twice"]);
    let what: Vec<&Value> = twice.iter().map(|twice| &twice["what"]).collect();
    assert_eq!(what, [&json!("crew"), &json!("buffer"), &json!("rotary")]);
    assert_eq!(twice[0]["to"], json!(["J1", "this plan"]));
    // Both begin on Wednesday, for the sake of the rotary's weekend. On the days of sanding that are full in both, and on
    // the 12th with sanding and a coat, twice eight hours are promised; two second coats fit into a day, and so does the
    // 17th with the rest of the sanding and a coat, twice.
    assert_eq!(
        twice[0]["days"],
        json!(["2026-03-11", "2026-03-12", "2026-03-16"])
    );
    // The buffer is out for the second coats, the rotary from the first morning to the last day of sanding.
    assert_eq!(twice[1]["days"], json!(["2026-03-13", "2026-03-18"]));
    let rotary = list(&twice[2]["days"]);
    assert_eq!(rotary.len(), 7);
    assert_eq!(
        (&rotary[0], &rotary[6]),
        (&json!("2026-03-11"), &json!("2026-03-17"))
    );
    ledger
        .line(&format!("{} --accept", line("11 Lantern Row")))
        .ok();
    ledger.line("quote send Q2").ok();
    let accepted = ledger.line("quote accept Q2");
    assert!(
        accepted.stderr().contains(
            "warning: More hours than the crew has are promised to J1 and J2: 2026-03-11 to 2026-03-12, 2026-03-16"
        ),
        "{accepted}"
    );
    assert!(
        accepted
            .stderr()
            .contains("warning: rotary is promised to J1 and J2: 2026-03-11 to 2026-03-17"),
        "{accepted}"
    );
    let today = ledger.json("today");
    assert_eq!(today["promised_twice"][0]["to"], json!(["J1", "J2"]));
    let text = ledger.line("today").ok();
    assert!(text.contains("Promised twice"), "{text}");
    // What is past is no longer told.
    let later = value(on(&ledger, "2026-06-01", "today --json"));
    assert_eq!(later["promised_twice"], json!([]));
}

#[test]
fn no_coat_is_wet_while_another_job_makes_dust_in_the_house() {
    let ledger = lantern_row();
    accept(
        &ledger,
        r#"plan house "9 Lantern Row" --start 2026-03-09 --room Hall --room "Front room" --room "Bedroom 1" --phases "Hall, Front room; Bedroom 1""#,
        1,
    );
    // On the 9th and the 10th the hall and the front room are sanded, on the 13th the bedroom; in between and until the
    // 17th they are wet. A bedroom that is sanded and coated on the 9th, before anything else is wet, would catch all of it.
    let line = r#"plan house "9 Lantern Row" --start 2026-03-09"#;
    let added = ledger.json(line);
    assert_eq!(of_phases(&added, "from"), [&json!("2026-03-18")]);
    let why = added["why"].as_str().unwrap();
    assert!(
        why.contains("J1 makes dust in this house (2026-03-09 to 2026-03-10, 2026-03-13): no coat is wet then."),
        "{why}"
    );
    ledger.line("setting set seal-rooms yes").ok();
    let sealed = ledger.json(line);
    assert_eq!(of_phases(&sealed, "from"), [&json!("2026-03-09")]);
    assert!(!sealed["why"].as_str().unwrap().contains("dust"));
}

#[test]
fn dust_on_wet_coats_is_told_where_neither_plan_knew_of_the_other() {
    let ledger = lantern_row();
    ledger.lines(
        r#"
        plan house "9 Lantern Row" --start 2026-03-09 --room Hall --room "Front room" --accept
        plan house "9 Lantern Row" --start 2026-03-10 --room "Bedroom 1" --room "Bedroom 2" --accept
        quote send Q1
        quote send Q2
        quote accept Q1
        "#,
    );
    // J1 is coated on the 10th and the 11th, and walked on from the afternoon of the 12th; J2 is sanded on the 10th and
    // the 11th, and coated after that.
    let told =
        "While coats of J1 are wet, J2 makes dust in the same house: 2026-03-10 to 2026-03-11";
    let accepted = ledger.line("quote accept Q2");
    assert!(
        accepted.stderr().contains(&format!("warning: {told}")),
        "{accepted}"
    );
    let today = ledger.line("today").ok();
    assert!(today.contains(told), "{today}");
    let twice = ledger.json("today")["promised_twice"].clone();
    let air = list(&twice)
        .iter()
        .find(|twice| twice["what"] == json!("air"));
    assert_eq!(
        air.unwrap(),
        &json!({ "what": "air", "to": ["J2", "J1"], "days": ["2026-03-10", "2026-03-11"] })
    );
    ledger.line("setting set seal-rooms yes").ok();
    let today = ledger.line("today").ok();
    assert!(!today.contains("dust"), "{today}");
    ledger.line("setting set seal-rooms no").ok();
    // Two houses on the same days take no harm.
    add_house(&ledger, "11 Lantern Row");
    let beside = ledger.json(r#"plan house "11 Lantern Row" --start 2026-03-10"#);
    let twice = list(&beside["promised_twice"]).iter();
    let mut what = twice.map(|twice| &twice["what"]);
    assert!(what.all(|what| what != &json!("air")));
}

#[test]
fn a_plan_is_made_again_without_a_room_that_was_taken_away() {
    let ledger = lantern_row();
    accept(
        &ledger,
        r#"plan house "9 Lantern Row" --start 2026-03-09 --together "Bedroom 1, Bedroom 2" --max-rooms 2"#,
        1,
    );
    let before = ledger.json("job dates J1");
    ledger.lines("quote vary J1 --without \"Bedroom 2\"\nquote send Q2");
    let accepted = ledger.line("quote accept Q2");
    let told = "warning: the plan of J1 still has `Bedroom 2` in it: its days are free\nhint: gritledger job dates J1 --varied\n";
    assert!(accepted.stderr().ends_with(told), "{accepted}");
    assert_eq!(ledger.line("job dates J1").stderr(), told);
    let today = ledger.line("today").ok();
    assert!(
        today.contains("J1: its plan still has Bedroom 2: gritledger job dates J1 --varied"),
        "{today}"
    );
    let again = ledger.json("job dates J1 --varied");
    assert_eq!(ledger.json("today")["plans_outdated"], json!([]));
    let rooms = of_phases(&again, "rooms").into_iter().flat_map(list);
    let mut rooms: Vec<&str> = rooms.filter_map(Value::as_str).collect();
    rooms.sort_unstable();
    assert_eq!(rooms, ["Bedroom 1", "Front room", "Hall"]);
    assert!(again["finish"].as_str() < before["finish"].as_str());
    // What the household was told of the room is taken back.
    let moved = list(&again["rooms_moved"]).iter();
    let gone = moved.filter(|moved| moved["room"] == json!("Bedroom 2"));
    let gone: Vec<&Value> = gone.collect();
    assert_eq!(gone.len(), 1, "{again:#}");
    assert_eq!(
        [&gone[0]["from"], &gone[0]["light_use"]],
        [&Value::Null, &Value::Null]
    );
    assert!(gone[0]["from_before"].is_string());
    assert_eq!(ledger.line("job dates J1").stderr(), "");
    // A day that is lost later doesn't bring it back.
    let first = list(&again["phases"][0]["days"])[0]["date"].clone();
    let lost = ledger.json(&format!("job dates J1 --lost {}", first.as_str().unwrap()));
    assert_eq!(
        of_phases(&lost, "rooms")
            .into_iter()
            .flat_map(list)
            .filter(|room| *room == &json!("Bedroom 2"))
            .count(),
        0
    );
}

#[test]
fn a_plan_is_made_again_with_a_room_that_came_by_a_variation() {
    let ledger = lantern_row();
    accept(
        &ledger,
        r#"plan house "9 Lantern Row" --start 2026-03-09 --room Hall --room "Front room" --phases "Hall, Front room""#,
        1,
    );
    ledger.lines(
        "quote draft \"9 Lantern Row\" --variation-of J1 --room \"Bedroom 1\"\nquote send Q2",
    );
    let accepted = ledger.line("quote accept Q2");
    let told = "warning: the plan of J1 doesn't have `Bedroom 1` in it: no day is promised for it\nhint: gritledger job dates J1 --varied\n";
    assert!(accepted.stderr().ends_with(told), "{accepted}");
    let before = ledger.json("job dates J1");
    // Told on the second day: the phase that has begun stays.
    let again = value(on(&ledger, "2026-03-10", "job dates J1 --varied --json"));
    assert_eq!(
        of_phases(&again, "rooms"),
        [&json!(["Hall", "Front room"]), &json!(["Bedroom 1"])]
    );
    assert_eq!(again["phases"][0]["from"], before["phases"][0]["from"]);
    assert!(again["phases"][1]["from"].as_str() >= Some("2026-03-12"));
    assert_eq!(
        again["rooms_moved"],
        json!([{
            "room": "Bedroom 1", "from": again["phases"][1]["from"], "from_before": null,
            "light_use": again["phases"][1]["light_use"], "light_use_before": null
        }])
    );
    assert_eq!(ledger.line("job dates J1").stderr(), "");
    let text = on(&ledger, "2026-03-10", "job dates J1 --varied").ok();
    assert!(!text.contains("Rooms on other days than before"), "{text}");
}

#[test]
fn a_plan_is_made_again_with_a_room_as_it_measures_now() {
    let ledger = lantern_row();
    accept(
        &ledger,
        r#"plan house "9 Lantern Row" --start 2026-03-09"#,
        1,
    );
    let before = ledger.json("job dates J1");
    ledger.lines(
        "room edit \"Front room\" --shape \"40' x 30'\"\nquote vary J1 --room \"Front room\"\nquote send Q2",
    );
    let accepted = ledger.line("quote accept Q2");
    let told = "warning: the plan of J1 has `Front room` as it was before Q2\nhint: gritledger job dates J1 --varied\n";
    assert!(accepted.stderr().ends_with(told), "{accepted}");
    let again = ledger.line("job dates J1 --varied").ok();
    assert!(
        again.contains("Rooms on other days than before:"),
        "{again}"
    );
    let again = ledger.json("job dates J1");
    assert!(again["finish"].as_str() > before["finish"].as_str());
    // What is taken away of a room is no work of its plan either.
    ledger.lines("quote vary J1 --without \"Front room: palm-80\"\nquote send Q3\nquote accept Q3");
    let less = ledger.json("job dates J1 --varied");
    assert!(less["finish"].as_str() <= again["finish"].as_str());
}

#[test]
fn a_plan_of_a_cancelled_job_is_not_made_again() {
    let ledger = lantern_row();
    accept(
        &ledger,
        r#"plan house "9 Lantern Row" --start 2026-03-09"#,
        1,
    );
    ledger.line("job cancel J1 --reason \"sold\"").ok();
    assert_eq!(
        ledger.line("job dates J1 --varied").refused(),
        "error: J1 was cancelled on 2026-03-02: nothing of it is planned"
    );
}
