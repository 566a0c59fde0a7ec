//! Can the floor be sanded? What is noted of it, what it says, and what a quote does with that.

use serde_json::{Value, json};

use crate::harness::{Run, TestLedger};

/// What no text of this ever says, whatever a laboratory found: a reading is of its day, layer and place.
const NEVER_SAID: &[&str] = &[
    "safe",
    "lead-free",
    "asbestos-free",
    "legal",
    "compliant",
    "clean",
    "hazard-free",
];

/// Refuses those words in what a run says of floors: all of it, but of a quote only what stands before its methods.
#[track_caller]
fn never_says(run: &Run) {
    let text = format!("{}{}", run.stdout(), run.stderr()).to_lowercase();
    let of_floors = text.split("\nsanding:").next().unwrap();
    for word in NEVER_SAID {
        assert!(!of_floors.contains(word), "`{word}` in: {of_floors}");
    }
}

/// Everything that is asked of the landing, as it should be; 2026-03-02.
const LANDING: &str = r#"
    reading add Landing seen nothing wood-left "1/4 in" --place register --by "Ruben Vale"
    reading add Landing board 8.5 subfloor 10 temperature 70 humidity 45
    reading add Landing lead negative --layer finish --by "Hill Laboratory" --date 2026-02-20 --place "north wall"
"#;

#[test]
fn a_floor_of_which_nothing_is_known_waits_and_asks_in_one_line() {
    let ledger = TestLedger::tannery_row();
    let run = ledger.line("room check \"Back bedroom\"");
    let text = run.stdout();
    let first = text.lines().next().unwrap();
    assert_eq!(
        first,
        "Back bedroom: wait. Asbestos: nobody has looked for tile, sheet, backing, mastic."
    );
    assert_eq!(
        run.stderr(),
        "hint: gritledger reading add \"4 Tannery Row/Back bedroom\" wood-left VALUE board VALUE subfloor VALUE \
         temperature VALUE humidity VALUE lead VALUE seen VALUE --layer LAYER --by NAME\n"
    );
    let filled = run.stderr();
    let filled = filled
        .trim_end()
        .strip_prefix("hint: gritledger ")
        .unwrap()
        .replace("wood-left VALUE", "wood-left \"3/16 in\"")
        .replace("lead VALUE", "lead negative")
        .replace("seen VALUE", "seen nothing")
        .replace("VALUE", "10")
        .replace("LAYER", "finish")
        .replace("NAME", "\"Hill Laboratory\"");
    let noted = ledger.line(&filled);
    assert_eq!(noted.code(), 0, "{noted}");
    let check = ledger.json("room check \"Back bedroom\"");
    assert_eq!(check["asks"], json!([]), "{check}");
}

#[test]
fn every_row_shows_its_threshold_and_source_and_the_worst_wins() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(LANDING);
    let check = ledger.json("room check Landing");
    let rows = check["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 8);
    for row in rows {
        assert_ne!(row["threshold"], json!(""), "{row}");
        assert_ne!(row["source"], json!(""), "{row}");
    }
    // 12 proud nails were found there.
    assert_eq!(check["verdict"], json!("wait"));
    assert_eq!(check["question"], json!("proud-nails"));
    assert_eq!(check["because"], json!("12 noted: set them first"));
    let others = rows
        .iter()
        .filter(|row| row["question"] != json!("proud-nails"));
    for row in others {
        assert_eq!(row["verdict"], json!("go"), "{row}");
    }
    let lead = &rows[1];
    assert_eq!(
        lead["because"],
        json!("negative for lead in finish (Hill Laboratory, 2026-02-20, north wall)")
    );
    ledger.line("finding void 1").ok();
    let run = ledger.line("room check Landing");
    assert!(run.stdout().starts_with("Landing: go"), "{run}");
    ledger.line("reading add Landing seen thin-signs").ok();
    let run = ledger.line("room check Landing");
    assert!(
        run.stdout().starts_with(
            "Landing: don't sand. Wood left: thin-signs (2026-03-02): screen it, no more."
        ),
        "{run}"
    );
    let run = ledger.line("site check \"4 Tannery Row\"");
    assert!(
        run.stdout()
            .starts_with("4 Tannery Row: don't sand. 0 of 2 rooms can go.\n"),
        "{run}"
    );
    ledger.line("reading void 8 --reason \"another room\"").ok();
    assert_eq!(ledger.json("room check Landing")["verdict"], json!("go"));
}

#[test]
fn readings_are_listed_with_value_and_unit_in_the_ledger_s_units() {
    let metric = TestLedger::nowhere();
    metric.lines(
        r#"
        init --business "Marsh End Floors" --units metric --currency EUR --decimal-mark comma --date-order day-month
        client add "Ada Quill"
        site add "Ada Quill" "4 Tannery Row" --year-built 1931
        room add "4 Tannery Row" Landing --shape "3m x 1,4m" --condition worn-film --species red-oak
        reading add Landing wood-left "4,5 mm" temperature 20 humidity 45 board "8,5 %"
        "#,
    );
    let readings = metric.json("reading list \"4 Tannery Row\"");
    let of = |place: usize, key: &str| readings[place][key].clone();
    assert_eq!((of(0, "value"), of(0, "unit")), (json!("4.5"), json!("mm")));
    assert_eq!((of(1, "value"), of(1, "unit")), (json!("20"), json!("C")));
    assert_eq!((of(3, "value"), of(3, "unit")), (json!("8.5"), json!("%")));
    let run = metric.line("room check Landing");
    // 4.5 mm less 2.4 mm is 2.1 mm, less than 3.2 mm.
    assert!(
        run.stdout()
            .starts_with("Landing: don't sand. Wood left: 2.1 mm would be left of 4.5 mm"),
        "{run}"
    );
    metric.lines("setting set sanding-cut 0,5mm\nsetting set coating-temperature \"15 to 25 C\"");
    let check = metric.json("room check Landing");
    let wood = &check["rows"][2];
    assert_eq!(wood["verdict"], json!("go"), "{wood}");
    assert!(
        wood["source"].as_str().unwrap().contains("own choice"),
        "{wood}"
    );
    let us = TestLedger::tannery_row();
    us.line("reading add Landing wood-left \"3/32 in\" temperature 20C")
        .ok();
    let readings = us.json("reading list \"4 Tannery Row\"");
    assert_eq!(
        (&readings[0]["value"], &readings[0]["unit"]),
        (&json!("0.0938"), &json!("in"))
    );
    assert_eq!(
        (&readings[1]["value"], &readings[1]["unit"]),
        (&json!("68"), &json!("F"))
    );
}

#[test]
fn what_is_no_reading_is_refused() {
    let ledger = TestLedger::tannery_row();
    for (line, words) in [
        (
            "reading add Landing wood-left 1/4",
            "error: `1/4` has no unit: a thickness is written 1/4 in or 6 mm",
        ),
        (
            "reading add Landing board",
            "error: `board` has no value: what was read?",
        ),
        (
            "reading add Landing humidity 45 board 9 humidity 50",
            "error: `humidity` is there twice: one reading has one",
        ),
        (
            "reading add Landing lead negative --by Hill",
            "error: a result for lead is of one layer: say which, --layer paint|finish|tile|sheet|backing|mastic",
        ),
        (
            "reading add Landing lead negative --layer finish",
            "error: who tested for lead? --by NAME says it",
        ),
        (
            "reading add \"4 Tannery Row\" lead negative --layer finish --by Hill --house",
            "error: a result that found nothing is of one layer in one room: say which room",
        ),
        (
            "reading add Landing board 9 --layer finish",
            "error: only tests for lead and asbestos are of a layer, not board",
        ),
        (
            "reading add Landing board 9 --date 2026-03-03",
            "error: 2026-03-03 is after today, 2026-03-02",
        ),
        (
            "reading void 7",
            "error: no reading 7\nhint: gritledger reading list SITE",
        ),
        (
            "reading void first",
            "error: `first` is not the number of a reading\nhint: gritledger reading list SITE",
        ),
        (
            "setting set sanding-cut 0.1",
            "error: `0.1` has no unit: a thickness is written 1/4 in or 6 mm",
        ),
        (
            "setting set top-layer \"3 to 2 mm\"",
            "error: `3 to 2 mm` ends before it begins",
        ),
        (
            "setting set top-layer \"2 mm\"",
            "error: `2 mm` doesn't say from what to what, such as 2 to 3 mm",
        ),
        (
            "setting set lead-year old",
            "error: `old` is not a year, such as 1978",
        ),
    ] {
        assert_eq!(ledger.line(line).refused(), words, "{line}");
    }
    ledger.line("reading add Landing board 9").ok();
    ledger.line("reading list \"4 Tannery Row\"").ok();
    ledger.line("reading void 1").ok();
    assert_eq!(
        ledger.line("reading list \"4 Tannery Row\"").ok(),
        "Nothing read yet.\n"
    );
    ledger.line("reading void 1").refused();
}

/// A house of 1968 with glue under old tiles in one room.
fn glued() -> TestLedger {
    let ledger = TestLedger::new();
    ledger.lines(
        r#"
        worker add "Ruben Vale" --wage 28.00
        client add "Ada Quill"
        site add "Ada Quill" "9 Quarry Lane" --year-built 1968
        room add "9 Quarry Lane" Family --shape "20 x 15" --condition glue --species red-oak
        room add "9 Quarry Lane" Hall --shape "8 x 4" --condition bare --species red-oak
        quote draft "9 Quarry Lane"
        "#,
    );
    ledger
}

#[test]
fn what_may_hold_asbestos_is_not_sent_until_its_layer_was_tested() {
    let ledger = glued();
    let refused = ledger.line("quote send Q1").refused();
    assert_eq!(
        refused,
        "error: `Family` isn't sanded: asbestos: mastic, built 1968, no result: presumed to hold it; ask a licensed \
         asbestos person\n\
         hint: gritledger room check \"9 Quarry Lane/Family\"\n\
         hint: gritledger quote draft \"9 Quarry Lane\" --revises Q1 --room Hall"
    );
    // What is refused comes before what is only asked about.
    ledger.line("reading add Family wood-left \"3/16 in\"").ok();
    assert_eq!(ledger.line("quote send Q1").refused(), refused);
    ledger.line("reading void 1").ok();
    for line in [
        "room check \"9 Quarry Lane/Family\"",
        "quote draft \"9 Quarry Lane\" --revises Q1 --room Hall --dry-run",
    ] {
        ledger.line(line).ok();
    }
    // It isn't meant, however it is said.
    ledger.line("quote send Q1 --confirm").refused();
    ledger
        .line("reading add Family asbestos negative --layer mastic --by \"Hill Laboratory\" --place hearth")
        .ok();
    ledger.line("quote send Q1").ok();
}

#[test]
fn one_s_own_floors_are_judged_before_they_are_begun() {
    let ledger = glued();
    assert_eq!(
        ledger.line("job own \"9 Quarry Lane\"").refused(),
        "error: `Family` isn't sanded: asbestos: mastic, built 1968, no result: presumed to hold it; ask a licensed \
         asbestos person\n\
         hint: gritledger room check \"9 Quarry Lane/Family\"\n\
         hint: gritledger job own \"9 Quarry Lane\" --room Hall"
    );
    let begun = ledger.line("job own \"9 Quarry Lane\" --room Hall");
    assert!(begun.stdout().contains("Not known: wood left"), "{begun}");
}

#[test]
fn who_is_certified_sends_what_holds_lead() {
    let ledger = TestLedger::tannery_row();
    ledger
        .line("reading add Landing lead \"1.2 mg/cm2\" --layer finish --by \"Hill Laboratory\"")
        .ok();
    ledger.line("quote draft \"4 Tannery Row\"").ok();
    let refused = ledger.line("quote send Q1").refused();
    assert!(
        refused.starts_with(
            "error: `Landing` isn't sanded: lead: 1.2 mg/cm² for lead in finish (Hill Laboratory, 2026-03-02): ask a certified firm\n"
        ),
        "{refused}"
    );
    ledger
        .line("setting set lead-firm \"certificate 12-345\"")
        .ok();
    assert_eq!(
        ledger.json("room check Landing")["verdict"],
        json!("ask-licensed")
    );
    ledger.line("quote send Q1").ok();
}

#[test]
fn a_floor_too_thin_to_sand_is_asked_about_and_may_be_screened() {
    let ledger = TestLedger::tannery_row();
    ledger
        .line("reading add Landing wood-left \"3/16 in\"")
        .ok();
    ledger
        .line("quote draft \"4 Tannery Row\" --room Landing")
        .ok();
    assert_eq!(
        ledger.line("quote send Q1").refused(),
        "error: `Landing`: don't sand: 3/32 in would be left of 3/16 in (2026-03-02)\n\
         hint: gritledger room check \"4 Tannery Row/Landing\"\n\
         hint: the same command with --confirm says that it is meant"
    );
    ledger.line("quote send Q1 --confirm").ok();
    let recoat = ledger.line("quote draft \"4 Tannery Row\" --room Landing --sequence none --schedule oil-2-coat --revises Q1");
    assert!(!recoat.stdout().contains("don't sand"), "{recoat}");
    ledger.line("quote send Q1.2").ok();
}

#[test]
fn a_draft_says_what_is_against_it_in_a_line_and_asks_for_the_rest_in_one() {
    let ledger = TestLedger::tannery_row();
    let quiet = ledger.line("quote draft \"4 Tannery Row\"");
    let lines: Vec<String> = quiet.stdout().lines().map(str::to_owned).collect();
    let told = lines
        .iter()
        .position(|line| line.starts_with("Not known: "))
        .unwrap();
    let words = lines[told..].iter().take_while(|line| !line.is_empty());
    assert_eq!(
        words.cloned().collect::<Vec<_>>().join(" "),
        "Not known: wood left above the tongue or the nails, moisture of the boards, moisture of the subfloor, temperature, \
         humidity, a test for lead, a look at the floor: gritledger site check \"4 Tannery Row\""
    );
    assert!(told < 24, "{quiet}");
    ledger.lines(LANDING);
    ledger
        .line("reading add \"Back bedroom\" seen cupped board 9 board-bottom 12")
        .ok();
    let draft = ledger.line("quote show Q1");
    assert!(
        draft.stdout().contains(
            "Back bedroom: don't sand. Cupping: 3 points: face 9 % (2026-03-02), bottom 12 % (2026-03-02)."
        ),
        "{draft}"
    );
    assert!(
        !draft.stdout().contains("Landing: wait"),
        "its nails are set by the quote: {draft}"
    );
    let floors = ledger.json("quote show Q1")["floors"].clone();
    assert_eq!(floors["rooms"][1]["verdict"], json!("dont-sand"));
    assert_eq!(
        ledger.json("quote show Q1 --for-client")["floors"],
        Value::Null
    );
    ledger.line("quote send Q1 --confirm").ok();
    assert_eq!(ledger.json("quote show Q1")["floors"], Value::Null);
}

#[test]
fn nothing_that_is_said_of_a_floor_calls_it_anything_it_may_not_be_called() {
    let ledger = glued();
    ledger.lines(
        r#"
        client add "Bo Marsh"
        site add "Bo Marsh" "7 Mill Lane" --year-built 1999
        room add "7 Mill Lane" Den --shape "12 x 9" --condition paint --species pine
        "#,
    );
    let everything = [
        "room check Family",
        "room check Hall",
        "room check Den",
        "site check \"9 Quarry Lane\"",
        "site check \"7 Mill Lane\"",
        "reading list \"9 Quarry Lane\"",
        "quote show Q1",
        "quote send Q1 --dry-run",
        "room check --help",
        "site check --help",
        "reading --help",
        "reading add --help",
        "reading list --help",
        "reading void --help",
        "setting show lead-year",
        "setting show lead-firm",
        "setting show asbestos-year",
        "setting show sanding-cut",
    ];
    let results = [
        "reading add Family seen nothing",
        "reading add Family asbestos negative --layer mastic --by \"Hill Laboratory\"",
        "reading add Family lead negative --layer finish --by \"Hill Laboratory\"",
        "reading add Den lead \"0.2 mg/cm2\" --layer paint --by \"Hill Laboratory\"",
        "reading add Den seen tile",
        "reading add Den asbestos \"0.5 %\" --layer tile --by \"Hill Laboratory\"",
        "reading add Hall wood-left \"1/4 in\" board 9 subfloor 10 temperature 70 humidity 45 seen nothing",
        "reading add Hall lead negative --layer finish --by \"Hill Laboratory\"",
        "reading add Family asbestos positive --layer mastic --by \"Hill Laboratory\"",
        "reading add Den lead positive --layer paint --by \"Hill Laboratory\"",
        "reading add \"9 Quarry Lane\" temperature 45 --house",
        "reading void 1",
    ];
    for result in results {
        never_says(&ledger.line(result));
        for line in everything {
            never_says(&ledger.line(line));
        }
        for line in &everything[..6] {
            never_says(&ledger.line(&format!("{line} --json")));
        }
        let floors = ledger.json("quote show Q1")["floors"].to_string();
        assert!(
            NEVER_SAID.iter().all(|word| !floors.contains(word)),
            "{floors}"
        );
    }
}

#[test]
fn what_is_found_after_acceptance_is_said_when_the_job_begins_and_every_day() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(LANDING);
    ledger.lines(
        r#"
        quote draft "4 Tannery Row" --room Landing
        quote send Q1
        quote accept Q1
        "#,
    );
    assert!(!ledger.line("today").ok().contains("Not to be sanded"));
    ledger
        .line("reading add Landing asbestos \"2 %\" --layer backing --by \"Hill Laboratory\"")
        .ok();
    let because = "asbestos: 2 % for asbestos in backing (Hill Laboratory, 2026-03-02): it is not sanded; ask a licensed asbestos person";
    let check = "gritledger room check \"4 Tannery Row/Landing\"";
    let started = ledger.line("job start J1");
    assert!(
        started.stderr().contains(&format!(
            "warning: `Landing` isn't sanded: {because}\nhint: {check}\n"
        )),
        "{started}"
    );
    let today = ledger.json("today");
    assert_eq!(
        today["not_to_be_sanded"],
        json!([{ "job": "J1", "room": "Landing", "because": because, "check": check }])
    );
    let today = ledger.line("today");
    assert!(today.stdout().contains("Not to be sanded\n"), "{today}");
    never_says(&today);
    ledger.line(check.trim_start_matches("gritledger ")).ok();
    // What isn't cut any more, or is over, is none of it.
    ledger.line("job cancel J1 --reason \"asbestos\"").ok();
    assert_eq!(ledger.json("today")["not_to_be_sanded"], json!([]));
}

#[test]
fn what_is_found_of_a_floor_is_said_with_the_plan_the_acceptance_and_the_work() {
    let ledger = glued();
    ledger
        .line("room edit Hall --door outside:3ft --door Family:3ft")
        .ok();
    let presumed = "warning: `Family` isn't sanded: asbestos: mastic, built 1968, no result: presumed to hold it; ask a \
                    licensed asbestos person\nhint: gritledger room check \"9 Quarry Lane/Family\"\n";
    let planned = ledger.line("plan house \"9 Quarry Lane\" --start 2026-03-09 --accept");
    assert!(planned.stderr().contains(presumed), "{planned}");

    let ledger = TestLedger::tannery_row();
    ledger.lines(LANDING);
    ledger.lines(
        r#"
        quote draft "4 Tannery Row"
        quote send Q1
        reading add Landing asbestos "2 %" --layer backing --by "Hill Laboratory"
        "#,
    );
    let warning = "warning: `Landing` isn't sanded: asbestos: 2 % for asbestos in backing (Hill Laboratory, 2026-03-02): it \
                   is not sanded; ask a licensed asbestos person\n";
    let accepted = ledger.line("quote accept Q1");
    assert!(
        accepted.stderr().contains(&format!(
            "{warning}hint: gritledger room check \"4 Tannery Row/Landing\"\n"
        )),
        "{accepted}"
    );
    ledger.line("job start J1").ok();
    for (line, is_said) in [
        ("use 36 2 --room Landing", true),
        ("hours 1 sand --room Landing", true),
        ("hours 2 sand", true),
        ("use 36 2 --room \"Back bedroom\"", false),
        ("hours 1:30 sand --room \"Back bedroom\"", false),
    ] {
        let run = ledger.line(line);
        assert_eq!(run.code(), 0, "{run}");
        assert_eq!(
            run.stderr().matches(warning).count(),
            usize::from(is_said),
            "{run}"
        );
    }
}
