//! Rates that learn: what a notebook teaches, what is foretold, what looks like a slip, what its owner says.

use serde_json::{Value, json};

use crate::harness::TestLedger;

/// A notebook of so many jobs of two rooms each, whose discs follow the area by one rule.
fn notebook(jobs: u32) -> String {
    let mut text =
        "finished_on,job,room,operation,condition,species,area,edge,item_quantity,hours\n"
            .to_owned();
    for job in 1..=jobs {
        let (year, month) = (2024 + job / 12, job % 12 + 1);
        for (room, area) in [("Front", 100 + job * 7), ("Back", 220 - job * 5)] {
            let discs = area * 10 / 70 / 3 * 3 + job % 2 * 3;
            let hours = area * 25 / 210;
            let hours = format!("{}.{:02}", hours / 25, hours % 25 * 4);
            text.push_str(&format!(
                "{year}-{month:02}-10,Job {job},{room},rotary-36,worn-film,red-oak,{area},,{discs},{hours}\n"
            ));
        }
    }
    text
}

fn taught(jobs: u32) -> TestLedger {
    let ledger = TestLedger::new();
    let file = ledger.file("notebook.csv", notebook(jobs));
    ledger.run(&["import", "past-rooms", &file]).ok();
    ledger
}

fn learned(ledger: &TestLedger) -> Value {
    ledger.json("rate list --learned")
}

#[test]
fn an_empty_ledger_predicts_from_the_book_with_honest_width() {
    let ledger = TestLedger::new();
    let found = ledger.json("rate predict rotary-36 --condition worn-film --area 247");
    // The book: 3 discs on 24.7 sq ft, and 0.9 for the room.
    assert_eq!(found["mean"], json!("30.9"));
    let sets = |key: &str| found[key].as_str().unwrap().parse::<u32>().unwrap();
    assert!(sets("p10") < 27 && sets("p90") > 39, "{found}");
    for key in ["p10", "p50", "p80", "p90"] {
        assert_eq!(sets(key) % 3, 0, "discs come in sets of three: {found}");
    }
    let list = ledger.json("rate list");
    for rate in list.as_array().unwrap() {
        assert_eq!(
            (&rate["learned"], &rate["learned_fixed"]),
            (&rate["book"], &rate["book_fixed"])
        );
        assert_eq!(rate["share_percent"]["book"], json!(100));
    }
}

#[test]
fn the_order_and_the_pieces_of_an_import_do_not_matter() {
    let whole = taught(12);
    let text = notebook(12);
    let (heading, rows) = text.split_once('\n').unwrap();
    let rows: Vec<&str> = rows.lines().collect();
    let backwards: Vec<&str> = rows.iter().rev().copied().collect();
    for pieces in [vec![&backwards[..]], vec![&rows[12..], &rows[..12]]] {
        let ledger = TestLedger::new();
        for (place, piece) in pieces.iter().enumerate() {
            let file = ledger.file(
                &format!("{place}.csv"),
                format!("{heading}\n{}\n", piece.join("\n")),
            );
            ledger.run(&["import", "past-rooms", &file]).ok();
            learned(&ledger); // What is learned on the way leaves no trace.
        }
        assert_eq!(learned(&ledger), learned(&whole));
    }
}

#[test]
fn a_floor_never_done_predicts_from_its_operation() {
    let ledger = taught(20);
    let list = ledger.json("rate list --operation rotary-36");
    let rate = |condition: &str| {
        let rows = list.as_array().unwrap();
        let found = rows
            .iter()
            .find(|rate| rate["kind"] == "item" && rate["condition"] == condition);
        found.expect("a rate").clone()
    };
    let number = |value: &Value| value.as_str().unwrap().parse::<f64>().unwrap();
    let multiplier = |rate: &Value| number(&rate["learned"]) / number(&rate["book"]);
    let (done, paint, glue) = (rate("worn-film"), rate("paint"), rate("glue"));
    assert_eq!(paint["share_percent"]["own_rooms"], json!(0));
    assert!((multiplier(&paint) - multiplier(&glue)).abs() < 1e-4);
    assert!((multiplier(&paint) - 1.0).signum() == (multiplier(&done) - 1.0).signum());
    let width = |rate: &Value| number(&rate["high"]) / number(&rate["low"]);
    assert!(width(&paint) > width(&done));
}

#[test]
fn a_slip_of_the_notebook_is_set_aside_until_its_owner_answers() {
    let ledger = taught(20);
    let before = learned(&ledger);
    let slip = ledger.file(
        "slip.csv",
        "finished_on,job,room,operation,condition,species,area,edge,item_quantity,hours\n\
         2026-02-02,Late,Hall,rotary-36,worn-film,red-oak,200,,300,\n",
    );
    ledger.run(&["import", "past-rooms", &slip]).ok();
    assert_eq!(learned(&ledger), before, "a doubted record teaches nothing");
    let check = ledger.json("rate check");
    let slips = check["slips"].as_array().unwrap();
    assert_eq!(slips.len(), 1, "{check}");
    let found = &slips[0];
    assert_eq!(
        (
            &found["job"],
            &found["room"],
            &found["operation"],
            &found["quantity"]
        ),
        (
            &json!("Late"),
            &json!("Hall"),
            &json!("rotary-36"),
            &json!("300")
        )
    );
    assert_eq!(found["reason"], json!("a zero too many"));
    let id = found["id"].as_str().unwrap().to_owned();

    ledger.line(&format!("rate confirm {id}")).ok();
    assert_ne!(
        learned(&ledger),
        before,
        "a confirmed record counts in full"
    );
    assert_eq!(ledger.json("rate check")["slips"], json!([]));
    assert_eq!(
        ledger.line(&format!("rate confirm {id}")).refused(),
        format!("error: {id} is confirmed already")
    );
    ledger
        .line(&format!("void {id} --reason \"another house\""))
        .ok();
    assert_eq!(
        learned(&ledger),
        before,
        "a row that was taken back teaches nothing"
    );
    ledger.line("check").ok();
}

#[test]
fn rooms_that_agree_with_each_other_outweigh_a_book_that_is_far_off() {
    let heading =
        "finished_on,job,room,operation,condition,species,area,edge,item_quantity,hours\n";
    // The book's 220 sq ft an hour against 50, in every room.
    let rows: String = (1..=8)
        .flat_map(|job| {
            [("Front", 150, 3), ("Back", 200, 4), ("Side", 100, 2)].map(|(room, area, hours)| {
                format!("2025-{job:02}-02,Job {job},{room},rotary-36,worn-film,red-oak,{area},,,{hours}\n")
            })
        })
        .collect();
    let ledger = TestLedger::new();
    let file = ledger.file("slow.csv", format!("{heading}{rows}"));
    ledger.run(&["import", "past-rooms", &file]).ok();
    assert_eq!(ledger.json("rate check")["slips"], json!([]));
    let found = ledger.json("rate predict rotary-36 --kind hours --condition worn-film --area 200");
    let mean: f64 = found["mean"].as_str().unwrap().parse().unwrap();
    assert!((3.0..4.5).contains(&mean), "{found}");
}

#[test]
fn an_entry_that_looks_like_a_slip_is_told_at_once() {
    let ledger = TestLedger::job_open();
    let run = ledger.line("use disc-7in-36 60 --room Landing");
    assert!(run.stderr().contains("a zero too many"), "{}", run.stderr());
    assert!(run.stderr().contains("gritledger rate confirm E1"));
    let run = ledger.line("use disc-7in-36 3 --room \"Back bedroom\"");
    assert!(
        !run.stderr().contains("warning: E2"),
        "what isn't finished may be little: {}",
        run.stderr()
    );
    assert_eq!(ledger.json("rate check")["slips"][0]["id"], json!("E1"));
    ledger.line("rate confirm E1").ok();
    assert_eq!(ledger.json("rate check")["slips"], json!([]));
    ledger.line("job close J1").ok();
    let slips = ledger.json("rate check")["slips"].clone();
    let doubted: Vec<&Value> = slips
        .as_array()
        .unwrap()
        .iter()
        .map(|slip| &slip["id"])
        .collect();
    assert!(!doubted.contains(&&json!("E1")), "{slips}");
}

/// Three entries of one job that look like slips: 60 and 120 discs of grit 36, 60 of grit 50.
fn doubted() -> TestLedger {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        use disc-7in-36 60 --room Landing
        use disc-7in-36 120 --room "Back bedroom"
        use disc-7in-50 60 --room Landing
        use disc-7in-80 6 --room Landing
        "#,
    );
    ledger
}

fn set_aside(ledger: &TestLedger) -> Vec<String> {
    let found = ledger.json("rate check")["slips"].clone();
    let ids = found.as_array().unwrap().iter();
    ids.map(|slip| slip["id"].as_str().unwrap().to_owned())
        .collect()
}

#[test]
fn several_entries_or_all_of_a_job_are_confirmed_at_once() {
    let ledger = doubted();
    assert_eq!(set_aside(&ledger), ["E1", "E2", "E3"]);
    let told = ledger.line("rate check").ok();
    assert!(
        told.ends_with("If all that is doubted of J1 is right:\n  gritledger rate confirm J1\n"),
        "{told}"
    );
    // All of them or none.
    assert_eq!(
        ledger.line("rate confirm E1 E99").refused(),
        "error: no entry E99\nhint: gritledger log"
    );
    assert_eq!(
        ledger.line("rate confirm E1 E1").refused(),
        "error: E1 is confirmed already"
    );
    assert_eq!(set_aside(&ledger), ["E1", "E2", "E3"]);
    let run = ledger.line("rate confirm e1 E2");
    assert_eq!(
        (run.code(), run.stderr()),
        (0, "Confirmed E1, E2: they count in full.\n".to_owned())
    );
    let told = ledger.line("rate check").ok();
    assert!(!told.contains("rate confirm J1"), "{told}");
    assert_eq!(
        ledger.json("rate confirm j1"),
        json!({ "confirmed": ["E3"] })
    );
    assert_eq!(set_aside(&ledger), Vec::<String>::new());
    assert_eq!(
        ledger.line("rate confirm J1").refused(),
        "error: nothing on J1 looks like a slip\nhint: gritledger rate check"
    );
    assert_eq!(
        ledger.line("rate confirm J9").refused(),
        "error: no job J9\nhint: gritledger job list"
    );
}

#[test]
fn a_hard_house_is_confirmed_in_one_word_after_it_was_closed() {
    let ledger = doubted();
    ledger.line("job close J1").ok();
    let mut before = set_aside(&ledger);
    before.sort();
    assert!(before.len() > 1, "{before:?}");
    let confirmed = ledger.json("rate confirm J1")["confirmed"].clone();
    assert_eq!(confirmed, json!(before));
    assert_eq!(set_aside(&ledger), Vec::<String>::new());
    assert_eq!(
        ledger.line("rate confirm J1").refused(),
        "error: nothing on J1 looks like a slip\nhint: gritledger rate check"
    );
}

#[test]
fn cases_are_summed_and_answered_as_csv() {
    let ledger = taught(12);
    let cases = ledger.file(
        "cases.csv",
        "case_id,job,operation,condition,species,area,edge,kind\n\
         A,1,rotary-36,worn-film,red-oak,300,,item\n\
         B,1,rotary-36,worn-film,red-oak,120,,hours\n\
         A,1,rotary-36,worn-film,red-oak,120,,item\n",
    );
    let answer = ledger.run(&["rate", "predict", "--cases", &cases]).ok();
    let lines: Vec<&str> = answer.lines().collect();
    assert_eq!(lines[0], "case_id,mean,p10,p50,p80,p90");
    assert!(lines[1].starts_with("A,") && lines[2].starts_with("B,") && lines.len() == 3);
    let sum = ledger.json(
        "rate predict rotary-36 --condition worn-film --species red-oak --area 300 --area 120",
    );
    let cells: Vec<&str> = lines[1].split(',').collect();
    for (cell, key) in cells[2..].iter().zip(["p10", "p50", "p80", "p90"]) {
        assert_eq!(sum[key].as_str(), Some(*cell));
    }
}

#[test]
fn bad_cases_and_bad_questions_are_refused_with_their_place() {
    let ledger = TestLedger::new();
    let heading = "case_id,job,operation,condition,species,area,edge,kind\n";
    for (row, expected) in [
        (
            "A,1,rotary-36,worn-film,red-oak,0,,item",
            "error: cases.csv:2: area: `0` is not above zero",
        ),
        (
            "A,1,rotary-36,worn-film,red-oak,-5,,item",
            "error: cases.csv:2: area: `-5` is not above zero",
        ),
        (
            "A,1,rotary-99,worn-film,red-oak,5,,item",
            "error: cases.csv:2: operation: no operation `rotary-99`",
        ),
        (
            "A,1,load-in,worn-film,red-oak,,,item",
            "error: cases.csv:2: kind: load-in takes no item",
        ),
        (
            "A,1,rotary-36,shiny,red-oak,5,,item",
            "error: cases.csv:2: condition: `shiny` is not a floor condition; one of: bare, sound-film, worn-film, oil-wax, paint, glue",
        ),
        (
            "A,1,rotary-36,bare,red-oak,5,,item\nA,1,oil-coat,bare,red-oak,5,,item",
            "error: cases.csv:2: case_id `A`: discs, gallons, litres and hours can't be added up",
        ),
    ] {
        let file = ledger.file("cases.csv", format!("{heading}{row}\n"));
        assert_eq!(
            ledger.run(&["rate", "predict", "--cases", &file]).refused(),
            expected
        );
    }
    for (line, expected) in [
        (
            "rate predict rotary-36 --area 100",
            "error: the rates of `rotary-36` differ by condition: say which",
        ),
        (
            "rate predict rotary-36 --condition paint",
            "error: `rotary-36` is measured by area: say how much",
        ),
        (
            "rate predict rotary-36 --condition paint --area -3",
            "error: `-3` is not above zero",
        ),
        (
            "rate predict load-in --kind item",
            "error: `load-in` takes no item, only hours",
        ),
        (
            "rate change rotary-36 --since 2026-09-09 --note \"new discs\"",
            "error: 2026-09-09 is after today, 2026-03-02",
        ),
        (
            "rate change rotary-36 --since 2026-01-01 --note \" \"",
            "error: say what was changed",
        ),
        ("rate confirm E99", "error: no entry E99"),
        ("rate confirm N99", "error: no row N99 of a notebook"),
        ("void N99 --reason x", "error: no row N99 of a notebook"),
    ] {
        let refused = ledger.line(line).refused();
        assert_eq!(refused.lines().next(), Some(expected), "{line}");
    }
}

#[test]
fn a_dated_change_begins_anew_and_keeps_the_old_rooms_as_other_work() {
    let ledger = taught(20);
    let rate = |ledger: &TestLedger| {
        let rows = ledger.json("rate show rotary-36 --condition worn-film --kind item");
        rows[0].clone()
    };
    let before = rate(&ledger);
    assert!(
        before["rate"]["share_percent"]["own_rooms"]
            .as_u64()
            .unwrap()
            > 50
    );
    assert!(!before["course"].as_array().unwrap().is_empty());
    ledger
        .line("rate change rotary-36 --since 2026-02-01 --note \"new discs\"")
        .ok();
    let after = rate(&ledger);
    assert_eq!(after["rate"]["share_percent"]["own_rooms"], json!(0));
    assert!(after["rate"]["share_percent"]["all_work"].as_u64().unwrap() > 0);
    assert_eq!(after["changes"][0]["note"], json!("new discs"));
    ledger.line("check").ok();
}

#[test]
fn opening_a_job_to_mend_its_record_does_not_make_its_work_newer() {
    let ledger = TestLedger::job_open();
    ledger.lines("use disc-7in-36 6 --room Landing\njob close J1");
    let before = learned(&ledger);
    let shown = |ledger: &TestLedger| {
        ledger.json("rate show rotary-36 --condition worn-film --kind item")[0]["taught_by"].clone()
    };
    assert_eq!(shown(&ledger)[0]["finished_on"], json!("2026-03-02"));
    let ledger = ledger.on("2026-04-20");
    ledger.lines("job reopen J1\njob close J1");
    assert_eq!(shown(&ledger)[0]["finished_on"], json!("2026-03-02"));
    assert_eq!(learned(&ledger), before);
    // More work, logged after it was opened again, was finished later.
    ledger.lines("job reopen J1\nuse disc-7in-36 3 --room Landing\njob close J1");
    assert_eq!(shown(&ledger)[0]["finished_on"], json!("2026-04-20"));
}

#[test]
fn a_story_names_the_newest_records_and_is_told_anew_when_they_change() {
    let ledger = TestLedger::new().on("2026-04-01");
    let file = ledger.file("notebook.csv", notebook(26));
    ledger.run(&["import", "past-rooms", &file]).ok();
    let story = |ledger: &TestLedger| {
        ledger.json("rate show rotary-36 --condition worn-film --kind item")[0].clone()
    };
    let told = story(&ledger);
    let named = told["taught_by"].as_array().unwrap();
    assert_eq!(named.len(), 50);
    assert_eq!(told["earlier"], json!(2));
    assert_eq!(named[49]["id"], json!("N103"));
    let text = ledger
        .line("rate show rotary-36 --condition worn-film --kind item")
        .ok();
    assert!(text.contains("\n2 records before these.\n"), "{text}");
    // What is kept is what is told anew.
    assert_eq!(story(&ledger), told);
    ledger.line("void N103 --reason \"typed twice\"").ok();
    let again = story(&ledger);
    assert_eq!(again["earlier"], json!(1));
    assert_eq!(again["taught_by"][49]["id"], json!("N101"));
    assert_ne!(again["course"], told["course"]);
    ledger.line("check").ok();
}

#[test]
fn a_row_of_a_notebook_that_was_taken_back_can_be_brought_in_again() {
    let ledger = taught(3);
    let heading =
        "finished_on,job,room,operation,condition,species,area,edge,item_quantity,hours\n";
    let again = |items: &str, hours: &str| {
        let row =
            format!("2024-02-10,Job 1,Front,rotary-36,worn-film,red-oak,107,,{items},{hours}\n");
        ledger.file("again.csv", format!("{heading}{row}"))
    };
    let file = again("15", "");
    assert_eq!(
        ledger.run(&["import", "past-rooms", &file]).refused(),
        "error: again.csv:2: operation: `Front` of `Job 1` has rotary-36 (item) already: N1"
    );
    ledger.line("void N1 --reason \"misread\"").ok();
    ledger.run(&["import", "past-rooms", &again("15", "")]).ok();
    ledger.line("check").ok();
}

#[test]
fn figures_that_the_rates_rest_on_are_not_changed_under_them() {
    let ledger = taught(3);
    let file = ledger.file(
        "o.csv",
        "operation,task,driver,item,set_size,group,rates_by\nrotary-36,sand,edge,disc-7in-36,3,rotary,condition\n",
    );
    let refused = ledger.run(&["import", "operations", &file]).refused();
    assert_eq!(
        refused.lines().next(),
        Some(
            "error: o.csv:2: operation: finished rooms of rotary-36 are measured by area, not by edge"
        )
    );
    let file = ledger.file(
        "b.csv",
        "operation,condition,species,kind,driver_per_item,fixed_items,own_work\nrotary-36,,,item,9,0.9,99999999999\n",
    );
    assert_eq!(
        ledger.run(&["import", "book-rates", &file]).refused(),
        "error: b.csv:2: own_work: `99999999999` is more than 1076391042 sqft"
    );
    ledger.line("rate list").ok();
    // A new book opens no question that was settled.
    ledger
        .line("rate set rotary-36 --kind item --per 45 --condition worn-film")
        .ok();
    assert_eq!(ledger.json("rate check")["slips"], json!([]));
}

#[test]
fn a_quote_explains_itself_by_the_rates_that_it_was_priced_with() {
    let ledger = TestLedger::tannery_row();
    let file = ledger.file("notebook.csv", notebook(6));
    ledger.run(&["import", "past-rooms", &file]).ok();
    ledger
        .line("quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule oil-2-coat")
        .ok();
    let why = ledger.json("quote show Q1 --why");
    let sentence = |why: &Value| {
        let lines = why["lines"].as_array().unwrap();
        let line = lines.iter().find(|line| line["operation"] == "rotary-36");
        line.unwrap()["why"]["item"].as_str().unwrap().to_owned()
    };
    assert!(
        sentence(&why).contains("% from your 12 rooms like this"),
        "{}",
        sentence(&why)
    );
    // Hours are learned by the task: its share has no count of this operation's rooms.
    let lines = why["lines"].as_array().unwrap();
    let sanding = lines.iter().find(|line| line["operation"] == "rotary-36");
    let hours = sanding.unwrap()["why"]["hours"].as_str().unwrap();
    assert!(
        hours.contains("% from your hours on sand in rooms like this"),
        "{hours}"
    );
    assert!(
        sentence(&why).contains("Taught by Job 5 Front (2024-06-10), Job 6 "),
        "{}",
        sentence(&why)
    );
    for line in why["lines"].as_array().unwrap() {
        if line["kind"] == "work" {
            assert!(line["why"]["hours"].is_string(), "{line}");
        }
    }
    assert!(ledger.json("quote show Q1")["lines"][0]["why"].is_null());
    // What is learned later doesn't change what the quote says of itself.
    ledger
        .line("rate set rotary-36 --kind item --per 20 --condition worn-film")
        .ok();
    assert_eq!(
        sentence(&ledger.json("quote show Q1 --why")),
        sentence(&why)
    );
}

/// A job with rooms of 10 by 10 ft that is closed on a day, each room sanded in so many hours.
fn closed_job(ledger: TestLedger, number: usize, day: &'static str, hours: &[&str]) -> TestLedger {
    let ledger = ledger.on(day);
    ledger.lines(&format!(
        r#"
        client add "Client {number}"
        site add "Client {number}" "{number} Mill Lane" --year-built 1990
        "#
    ));
    for room in 1..=hours.len() {
        ledger.lines(&format!(
            r#"room add "{number} Mill Lane" "Room {room}" --shape "10 x 10" --condition bare --species red-oak"#
        ));
    }
    ledger.lines(&format!(
        r#"
        quote draft "{number} Mill Lane" --schedule none
        quote send Q{number}
        quote accept Q{number}
        job start J{number}
        "#
    ));
    for (place, hours) in hours.iter().enumerate() {
        ledger.lines(&format!(
            r#"hours "Ruben Vale" {hours} --on sand --room "Room {}" --job J{number} --confirm"#,
            place + 1
        ));
    }
    ledger.lines(&format!("job close J{number}"));
    ledger
}

/// What looks like a slip, by job.
fn slips(ledger: &TestLedger) -> Vec<(String, String)> {
    let found = ledger.json("rate check")["slips"].clone();
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let mut slips: Vec<(String, String)> = found
        .as_array()
        .unwrap()
        .iter()
        .map(|slip| (text(&slip["job"]), text(&slip["room"])))
        .collect();
    slips.sort();
    slips
}

#[test]
fn no_jobs_closing_changes_another_jobs_records() {
    let ledger = TestLedger::new();
    ledger.lines(r#"worker add "Ruben Vale" --wage 28.00"#);
    let none: Vec<(String, String)> = Vec::new();
    // The book: 100 sq ft three times, at 220, 270 and 320 an hour, 0.08 h each: 1.38 h. Three rooms agree on 7.
    let ledger = closed_job(ledger, 1, "2026-03-02", &["7", "7", "7"]);
    assert_eq!(slips(&ledger), none);
    // Five rooms as the book says, in another house: against them the three would be few.
    let ledger = closed_job(
        ledger,
        2,
        "2026-03-09",
        &["1.5", "1.25", "1.5", "1.25", "1.5"],
    );
    assert_eq!(slips(&ledger), none);
    // One room that is far off in each of three houses: nobody agrees with it.
    let ledger = closed_job(ledger, 3, "2026-03-16", &["7"]);
    let third = ("J3".to_owned(), "Room 1".to_owned());
    assert_eq!(slips(&ledger), std::slice::from_ref(&third));
    let ledger = closed_job(ledger, 4, "2026-03-16", &["7"]);
    let ledger = closed_job(ledger, 5, "2026-03-16", &["7"]);
    let fourth = ("J4".to_owned(), "Room 1".to_owned());
    let fifth = ("J5".to_owned(), "Room 1".to_owned());
    let told = [third.clone(), fourth.clone(), fifth.clone()];
    assert_eq!(slips(&ledger), told);
    // Neither does a job that is opened and closed again change what is thought of another.
    let ledger = ledger.on("2026-03-17");
    ledger.lines("job reopen J1");
    assert_eq!(slips(&ledger), told);
    ledger.lines("job close J1");
    assert_eq!(slips(&ledger), told);
    ledger.run(&["check"]).ok();
}

#[test]
fn closing_a_job_names_the_rates_that_it_moved_most() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        "use disc-7in-36 9 --room Landing
         use disc-7in-36 15 --room \"Back bedroom\"
         use disc-7in-50 3 --room Landing
         use oil-finish 0.5 --room Landing
         hours 1.5 --on sand --room Landing",
    );
    // Hours of sanding are one rate, told once; what moved less than the first three is told to programs.
    let at_80 = "It taught the rates 5 things.\n\
                 * rotary-36 on worn film: 220 to 176 sq ft an hour\n\
                 * rotary-36 on worn film: 8.23 to 7.52 sq ft a disc\n\
                 * oil-coat: 400 to 366 sq ft a gallon";
    let at_45 = "It taught the rates 5 things.\n\
                 * rotary-36 on worn film: 220 to 176 sq ft an\n  hour\n\
                 * rotary-36 on worn film: 8.23 to 7.52 sq ft\n  a disc\n\
                 * oil-coat: 400 to 366 sq ft a gallon";
    for (width, told) in [("80", at_80), ("45", at_45)] {
        let arguments = ["--dry-run", "job", "close", "J1"];
        let run = ledger.run_with(&arguments, &[("COLUMNS", width)]);
        assert_eq!(what_it_taught(&run.ok()), told, "{width}");
    }
    let closed = ledger.json("job close J1");
    let moved = closed["moved"].as_array().expect("rates that moved");
    assert!(moved.len() > 3, "{closed}");
    assert_eq!(
        moved[1],
        json!({
            "operation": "rotary-36",
            "condition": "worn-film",
            "species": null,
            "kind": "item",
            "unit": "disc",
            "per_unit": "sqft",
            "before": "8.233333",
            "after": "7.516734",
            "change_percent": -8.7,
        })
    );
    // What is told is what quotes are priced with from now on.
    let rates = ledger.json("rate list");
    let is_moved = |rate: &&Value| {
        ["operation", "condition", "species", "kind"]
            .iter()
            .all(|key| rate[key] == moved[1][key])
    };
    let rate = rates.as_array().expect("rates").iter().find(is_moved);
    assert_eq!(
        rate.expect("the rate")["each_does"]["learned"],
        moved[1]["after"]
    );
}

#[test]
fn closing_a_job_that_moved_nothing_says_so() {
    let ledger = TestLedger::job_open();
    ledger.line("spent 5 --for tape").ok();
    let closed = ledger.line("--dry-run job close J1").ok();
    assert_eq!(
        what_it_taught(&closed),
        "It taught the rates 0 things.\nNo rate moved by 1 %."
    );
    assert_eq!(ledger.json("job close J1")["moved"], json!([]));
}

/// What stands between what a job came to and the gaps of its record.
fn what_it_taught(closed: &str) -> &str {
    let (head, _) = closed.split_once("\n\n").expect("gaps");
    let begins = head.find("It taught").expect("what it taught");
    &head[begins..]
}
