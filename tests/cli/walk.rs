//! The walk-through as questions: it writes what the single commands would.

use serde_json::{Value, json};

use crate::harness::TestLedger;

const WALK: &str = "walk \"8 Reed Lane\"";

fn house() -> TestLedger {
    let ledger = TestLedger::new();
    ledger.lines(
        r#"
        client add "Ines Varga"
        site add Ines "8 Reed Lane" --year-built 1931
        "#,
    );
    ledger
}

/// Everything that the ledger knows of the house.
fn facts(ledger: &TestLedger) -> [Value; 2] {
    [
        ledger.json("room list \"8 Reed Lane\""),
        ledger.json("finding list \"8 Reed Lane\""),
    ]
}

fn walked() -> TestLedger {
    let ledger = house();
    let run = ledger.answered(
        WALK,
        &[
            "Den",
            "",
            "12' x 14'; plus 5' x 2'",
            "worn-film",
            "3' x 12': bare",
            "",
            "outside:2'8\", Hall:2'6\"",
            "proud-nails 12",
            "missing-quarter-round 14' + 8'6\"",
            "",
            // The doorway from the Den makes the Hall next, and stands there already.
            "",
            "no",
            "Hall is not asked for its shape",
            "",
        ],
    );
    assert_eq!(
        run.stderr(),
        "Enter keeps what stands in [brackets], back goes one question back, leave ends the walk.\n\
         Den: 178 sq ft, edge 53 ft 4 in.\n\
         error: `Hall is not asked for its shape` is not a doorway\n\
         hint: outside:2'8\"\n"
    );
    let run = ledger.answered(WALK, &["Hall", "no", "Den:2'6\"", "done"]);
    assert_eq!(
        run.stderr(),
        "Enter keeps what stands in [brackets], back goes one question back, leave ends the walk.\n\
         Hall: a way through, not measured.\n"
    );
    ledger
}

#[test]
fn a_walk_writes_what_the_single_commands_would() {
    let typed = house();
    typed.lines(
        r#"
        room add "8 Reed Lane" Den --shape "12' x 14'" --plus "5' x 2'" --condition worn-film --species red-oak --part "3' x 12': bare" --door "outside:2'8\""
        room add "8 Reed Lane" Hall --not-refinished --door "Den:2'6\""
        finding add Den proud-nails 12
        finding add Den missing-quarter-round "14' + 8'6\""
        "#,
    );
    assert_eq!(facts(&walked()), facts(&typed));
}

/// Whoever comes back and keeps every answer changes nothing, and nothing is said to have happened.
#[test]
fn empty_lines_keep_everything() {
    let ledger = walked();
    let (before, log) = (facts(&ledger), ledger.json("log"));
    ledger.answered(WALK, &[""; 20]).ok();
    assert_eq!(facts(&ledger), before);
    assert_eq!(ledger.json("log"), log);
}

#[test]
fn back_and_leave() {
    let ledger = house();
    // Back to the shape from the condition; then the walk is left in the middle of the next room.
    let run = ledger.answered(
        WALK,
        &[
            "Den", "", "12 x 14", "back", "10 x 10", "", "", "", "", "", "Parlour", "", "9 x 9",
            "leave",
        ],
    );
    assert_eq!(
        run.stderr(),
        "Enter keeps what stands in [brackets], back goes one question back, leave ends the walk.\n\
         Den: 100 sq ft, edge 40 ft.\n`Parlour` is left as it was.\n"
    );
    let rooms = ledger.json("room list \"8 Reed Lane\"");
    let named = |rooms: &Value| -> Vec<Value> {
        let rooms = rooms.as_array().expect("rooms").iter();
        rooms
            .map(|room| json!([room["name"], room["area"]["quantity"]]))
            .collect()
    };
    assert_eq!(named(&rooms), [json!(["Den", "100"])]);
    // A new room is likely of the wood and condition of the one before; another answer changes what was noted.
    ledger
        .answered(
            WALK,
            &[
                "Den", "", "", "paint", "", "pine", "", "", "Parlour", "", "9 x 9", "", "", "", "",
                "",
            ],
        )
        .ok();
    let parlour = ledger.json("room show Parlour");
    assert_eq!(
        [&parlour["condition"], &parlour["species"]],
        [&json!("paint"), &json!("pine")]
    );
}

/// A doorway to a room that the walk never came to is named when it ends.
#[test]
fn a_doorway_to_nowhere_is_named() {
    let ledger = house();
    let run = ledger.answered(
        WALK,
        &["Den", "", "12 x 14", "", "", "", "Hall:2'6\"", "", "leave"],
    );
    assert!(
        run.stderr().ends_with(
            "warning: the doorway from `Den` to `Hall`, 2'6\", isn't noted: there is no room `Hall` yet\n"
        ),
        "{}",
        run.stderr()
    );
}

#[test]
fn findings_are_taken_out() {
    let ledger = walked();
    ledger
        .answered(
            WALK,
            &[
                "Den",
                "",
                "",
                "",
                "",
                "",
                "",
                "void 1",
                "woodworm 3",
                "",
                "done",
            ],
        )
        .refused();
    ledger
        .answered(WALK, &["Den", "", "", "", "", "", "", "void 1", "", "done"])
        .ok();
    let found = &ledger.json("finding list \"8 Reed Lane\"")["findings"];
    let kinds: Vec<_> = found
        .as_array()
        .expect("findings")
        .iter()
        .map(|one| one["kind"].clone())
        .collect();
    assert_eq!(kinds, [json!("missing-quarter-round")]);
    assert_eq!(
        ledger
            .answered(WALK, &["Den", "", "", "", "", "", "", "void 9"])
            .refused(),
        "Enter keeps what stands in [brackets], back goes one question back, leave ends the walk.\nerror: `9` is no finding of `Den`"
    );
}

/// A way through the house is only its doorways until somebody wants it sanded.
#[test]
fn what_is_not_measured_is_not_sanded() {
    let ledger = walked();
    let hall = ledger.json("room show Hall");
    for unknown in ["area", "edge", "condition", "species", "layout"] {
        assert_eq!(hall[unknown], json!(null), "{unknown}");
    }
    let sand = "gritledger room edit \"8 Reed Lane/Hall\" --refinished --shape \"L x W\" --condition sound-film --species red-oak";
    for (line, refused) in [
        (
            "quote draft \"8 Reed Lane\" --room Hall".to_owned(),
            format!("error: `Hall` isn't measured\nhint: {sand}"),
        ),
        (
            "room edit Hall --refinished --shape \"3 x 4\"".to_owned(),
            format!("error: say what `Hall` is: it was only a way through\nhint: {sand}"),
        ),
        (
            "room edit Hall --refinished --condition bare --species pine".to_owned(),
            "error: `Hall` is to be sanded, so it must be measured".to_owned(),
        ),
        (
            "room edit Hall --part \"1 x 1: bare\"".to_owned(),
            "error: a room that isn't measured has no parts".to_owned(),
        ),
    ] {
        assert_eq!(ledger.line(&line).refused(), refused, "{line}");
    }
    // It leaves and comes back as it is.
    ledger.line("export rooms --to rooms.csv").ok();
    let again = house();
    std::fs::copy(
        ledger.folder().join("rooms.csv"),
        again.folder().join("rooms.csv"),
    )
    .expect("a copy");
    again.line("import rooms rooms.csv").ok();
    assert_eq!(again.json("room show Hall"), hall);
    ledger
        .line(&sand.replace("gritledger ", "").replace("L x W", "3 x 9"))
        .ok();
    assert_eq!(
        ledger.json("room show Hall")["area"]["quantity"],
        json!("27")
    );
}

#[test]
fn back_goes_from_the_first_question_to_the_room_and_from_there_to_the_room_before() {
    let ledger = house();
    let told = "Enter keeps what stands in [brackets], back goes one question back, leave ends the walk.\n";
    let run = ledger.answered(WALK, &["back"]);
    assert_eq!(
        run.stderr(),
        format!("{told}error: there is no question before the first one\nhint: a room, or done\n")
    );
    let run = ledger.answered(
        WALK,
        &[
            "Den",
            "back",
            "Hall",
            "no",
            "",
            "back",
            "no",
            "outside:3'",
            "done",
        ],
    );
    assert_eq!(
        run.stderr(),
        format!(
            "{told}`Den` is left as it was.\n\
             Hall: a way through, not measured.\n\
             Hall: a way through, not measured.\n"
        )
    );
    let rooms = ledger.json("room list \"8 Reed Lane\"");
    assert_eq!(rooms.as_array().map(Vec::len), Some(1));
    assert_eq!(rooms[0]["doors"][0]["to"], "outside");
}

#[test]
fn parts_that_do_not_fit_are_refused_at_their_question() {
    let ledger = house();
    for (part, words) in [
        (
            "40' x 40': bare",
            "the parts, 1600 sq ft in all, leave nothing of the floor's 168 sq ft: give the room the condition of the largest part",
        ),
        (
            "border 7ft: paint",
            "a border of `7'` leaves no floor within it",
        ),
        ("border 1': paint; border 2': glue", "a room has one border"),
        (
            "1' x 1' edge 90': bare",
            "the parts have `90'` of edge, and the walls are `52'`",
        ),
    ] {
        let run = ledger.answered(WALK, &["Den", "", "12' x 14'", "worn-film", part]);
        let said = run.stderr();
        assert!(said.ends_with(&format!("\nerror: {words}\n")), "{said}");
    }
    // The floor grew smaller since.
    let run = ledger.answered(
        WALK,
        &[
            "Den",
            "",
            "12' x 14'",
            "worn-film",
            "10' x 12': bare",
            "back",
            "back",
            "back",
            "5' x 5'",
            "",
            "",
        ],
    );
    let said = run.stderr();
    assert!(
        said.ends_with("error: the parts, 120 sq ft in all, leave nothing of the floor's 25 sq ft: give the room the condition of the largest part\n"),
        "{said}"
    );
}
