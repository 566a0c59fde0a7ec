//! Rooms of which parts have a condition of their own.

use serde_json::json;

use crate::harness::TestLedger;

/// A parlour of 12 by 14 ft: sound film, a painted border, and bare wood where a rug lay.
fn parlour() -> TestLedger {
    let ledger = TestLedger::new();
    ledger.lines(
        r#"
        worker add "Ruben Vale" --wage 28.00
        client add "Ada Quill"
        site add "Ada Quill" "4 Tannery Row" --year-built 1931
        room add "4 Tannery Row" "Parlour" --shape "12 x 14" --condition sound-film --species red-oak --door "outside:3'" --part "border 12in: paint" --part "80 sq ft: bare"
        "#,
    );
    ledger
}

#[test]
fn a_room_shows_its_parts() {
    let ledger = parlour();
    let shown = ledger.line("room show Parlour").ok();
    assert_eq!(
        shown,
        "Parlour: 168 sq ft, edge 49 ft.
Site: 4 Tannery Row
Floor: sound-film, red-oak, strip
Part: paint, border 1': 48 sq ft, edge 49 ft
Part: bare, 80 sqft: 80 sq ft, edge 0 ft
Shape: 12' x 14'
Doorway: outside, 3 ft
"
    );
    let listed = ledger.line("room list \"4 Tannery Row\"").ok();
    assert!(
        listed.contains("sound-film, part paint, part bare"),
        "{listed}"
    );
    let parts = &ledger.json("room show Parlour")["parts"];
    assert_eq!(parts[0]["size"], "border 1'");
    assert_eq!(parts[0]["condition"], "paint");
    assert_eq!(parts[0]["area"], json!({"quantity": "48", "unit": "sqft"}));
    assert_eq!(parts[0]["edge"], json!({"quantity": "49", "unit": "ft"}));
    assert_eq!(parts[1]["area"], json!({"quantity": "80", "unit": "sqft"}));
}

#[test]
fn parts_are_given_anew_and_taken_away() {
    let ledger = parlour();
    let parts = || {
        ledger.json("room show Parlour")["parts"]
            .as_array()
            .map(Vec::len)
    };
    ledger
        .line("room edit Parlour --note \"rug rolled up\"")
        .ok();
    assert_eq!(parts(), Some(2));
    ledger
        .line("room edit Parlour --part \"3 x 12: worn-film\"")
        .ok();
    assert_eq!(parts(), Some(1));
    ledger.line("room edit Parlour --no-parts").ok();
    assert_eq!(parts(), Some(0));
}

#[test]
fn parts_are_less_than_the_room_however_it_is_measured() {
    let ledger = parlour();
    assert_eq!(
        ledger
            .line("room edit Parlour --shape \"10 x 12\"")
            .refused(),
        "error: the parts, 120 sq ft in all, leave nothing of the floor's 120: give the room the condition of the largest part"
    );
    assert_eq!(
        ledger
            .line("room edit Parlour --shape \"circle 16\"")
            .refused(),
        "error: only a plain rectangle or a walk of right angles has a border that can be worked out: say its area, as in \"48 sq ft edge 52': paint\""
    );
    // What the refusal says to type can be typed.
    ledger
        .line("room edit Parlour --shape \"circle 16\" --part \"48 sq ft edge 47': paint\"")
        .ok();
    assert_eq!(
        ledger.line("room edit Parlour --part \"3 x 12\"").refused(),
        "error: `3 x 12` is not a part of a floor (try \"3 x 12: worn-film\", \"60 sq ft edge 20': glue\" or \"border 12in: paint\")"
    );
}

#[test]
fn parts_leave_with_their_room_and_come_back() {
    let ledger = parlour();
    let rooms = ledger.line("export rooms").ok();
    assert!(
        rooms.contains(",border 1': paint; 80 sqft: bare"),
        "{rooms}"
    );
    let other = TestLedger::new();
    other.lines("client add \"Ada Quill\"\nsite add \"Ada Quill\" \"4 Tannery Row\"");
    let file = other.file("rooms.csv", &rooms);
    other.line(&format!("import rooms {file}")).ok();
    assert_eq!(other.line("export rooms").ok(), rooms);
    let file = other.file(
        "wrong.csv",
        "site,room,shape,condition,species,parts\n4 Tannery Row,Den,10 x 4,bare,ash,4 x 10: paint\n",
    );
    let refused = other.line(&format!("import rooms {file}")).refused();
    assert!(
        refused.contains("leave nothing of the floor's 40"),
        "{refused}"
    );
}
