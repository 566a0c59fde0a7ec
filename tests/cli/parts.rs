//! Rooms of which parts have a condition of their own.

use gritledger::money::Decimal;
use rust_decimal_macros::dec;
use serde_json::{Value, json};

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
Part: paint, border 12in: 48 sq ft, edge 49 ft
Part: bare, 80 sq ft: 80 sq ft, edge 0 ft
Shape: 12 x 14
Doorway: outside, 3 ft
"
    );
    let listed = ledger.line("room list \"4 Tannery Row\"").ok();
    assert!(
        listed.contains("sound-film, part paint, part bare"),
        "{listed}"
    );
    let parts = &ledger.json("room show Parlour")["parts"];
    assert_eq!(parts[0]["size"], "border 12in");
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
        "error: the parts, 120 sq ft in all, leave nothing of the floor's 120 sq ft: give the room the condition of the largest part"
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

/// A book of five cuts by hand, which take no items, and the sequences of paint, film and bare wood.
fn five_cuts() -> TestLedger {
    let ledger = parlour();
    ledger.lines("setting set burden 1.0");
    for (cut, grit, per) in [
        ("r16", 16, 48),
        ("r24", 24, 80),
        ("r36", 36, 100),
        ("r60", 60, 200),
        ("r80", 80, 250),
    ] {
        ledger.lines(&format!(
            "operation add {cut} --task sand --driver area --grit {grit} --rates-by condition --group by-hand
             rate set {cut} --kind hours --per {per} --fixed 0"
        ));
    }
    ledger.lines(
        "rate set r24 --kind hours --per 32 --fixed 0 --condition paint
         rate set r36 --kind hours --per 160 --fixed 0 --condition bare
         sequence add s16 r16 r24 r36 r60 r80
         sequence add s24 r24 r36 r60 r80
         sequence add s36 r36 r60 r80",
    );
    ledger
}

/// The cuts of a quote: operation, part, square feet, hours, cost.
fn cuts(ledger: &TestLedger, quote: &str) -> Vec<[String; 5]> {
    let lines = ledger.json(&format!("quote show {quote}"))["lines"].clone();
    let cuts = lines.as_array().unwrap().iter();
    let cuts = cuts.filter(|line| line["task"] == "sand");
    let word = |value: &Value| value.as_str().unwrap_or("").to_owned();
    cuts.map(|line| {
        [
            word(&line["operation"]),
            word(&line["part"]),
            word(&line["driver"]["quantity"]),
            word(&line["hours"]),
            word(&line["cost"]),
        ]
    })
    .collect()
}

fn pass_square_feet(ledger: &TestLedger, quote: &str) -> u32 {
    let cuts = cuts(ledger, quote);
    cuts.iter()
        .map(|[.., area, _, _]| area.parse::<u32>().unwrap())
        .sum()
}

#[test]
fn a_room_with_parts_on_paper() {
    // The room of the trade figures' check value 9: a border of 48 sq ft from grit 16, a ring of 40 from 24, a rug patch of
    // 80 from 36; then 36, 60 and 80 everywhere: 48 + 88 + 168 x 3 = 640 sq ft of passes. Hours are area / rate, to two
    // decimals, and an hour costs 28.00.
    let ledger = five_cuts();
    ledger
        .line("quote draft \"4 Tannery Row\" --sequence s24 --schedule none")
        .ok();
    let on_paper = [
        ["r16", "paint", "48", "1", "28.00"],        // 48 / 48
        ["r24", "sound-film", "40", "0.5", "14.00"], // 40 / 80
        ["r24", "paint", "48", "1.5", "42.00"],      // 48 / 32
        ["r36", "sound-film", "40", "0.4", "11.20"], // 40 / 100
        ["r36", "paint", "48", "0.48", "13.44"],     // 48 / 100
        ["r36", "bare", "80", "0.5", "14.00"],       // 80 / 160
        ["r60", "sound-film", "40", "0.2", "5.60"],  // 40 / 200
        ["r60", "paint", "48", "0.24", "6.72"],      // 48 / 200
        ["r60", "bare", "80", "0.4", "11.20"],       // 80 / 200
        ["r80", "sound-film", "40", "0.16", "4.48"], // 40 / 250
        ["r80", "paint", "48", "0.19", "5.32"],      // 48 / 250 = 0.192
        ["r80", "bare", "80", "0.32", "8.96"],       // 80 / 250
    ];
    assert_eq!(cuts(&ledger, "Q1"), on_paper);
    assert_eq!(pass_square_feet(&ledger, "Q1"), 640);
    let text = ledger.line("quote show Q1 --lines").ok();
    let heading = "Parlour: 168 sq ft, edge 49 ft; sound-film red-oak
Part: paint, 48 sq ft, edge 49 ft
Part: bare, 80 sq ft, edge 0 ft
";
    assert!(
        text.contains(heading) && text.contains("r16 (paint) "),
        "{text}"
    );
    let room = ledger.json("quote show Q1")["rooms"][0].clone();
    assert_eq!(room["parts"][1]["condition"], "bare");
    assert_eq!(
        room["parts"][1]["area"],
        json!({"quantity": "80", "unit": "sqft"})
    );

    // All as the worst part, 168 x 5, and all as the best, 168 x 3.
    ledger.lines(
        r#"
        room edit Parlour --condition paint --no-parts
        quote draft "4 Tannery Row" --sequence s16 --schedule none
        room edit Parlour --condition bare
        quote draft "4 Tannery Row" --sequence s36 --schedule none
        "#,
    );
    assert_eq!(pass_square_feet(&ledger, "Q2"), 840);
    assert_eq!(pass_square_feet(&ledger, "Q3"), 504);
    // What was drafted keeps the parts as they were.
    assert_eq!(cuts(&ledger, "Q1"), on_paper);
    let text = ledger.line("quote show Q1 --room parlour").ok();
    assert!(text.contains(heading), "{text}");
}

#[test]
fn parts_in_the_condition_of_the_room_change_nothing() {
    let (plain, parted) = (parlour(), parlour());
    plain.line("room edit Parlour --no-parts").ok();
    parted
        .line(
            "room edit Parlour --part \"border 12in: sound-film\" --part \"80 sq ft: sound-film\"",
        )
        .ok();
    for ledger in [&plain, &parted] {
        ledger
            .line("quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule oil-2-coat")
            .ok();
    }
    let quote = |ledger: &TestLedger| ledger.json("quote show Q1");
    assert_eq!(quote(&plain), quote(&parted));
    let plan = |ledger: &TestLedger| ledger.json("plan house \"4 Tannery Row\" --start 2026-03-09");
    assert_eq!(plan(&plain), plan(&parted));
}

#[test]
fn a_part_starts_with_the_book_and_coats_cover_the_room() {
    let ledger = parlour();
    ledger
        .line("quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule oil-2-coat")
        .ok();
    let lines = ledger.json("quote show Q1")["lines"].clone();
    let told: Vec<String> = lines
        .as_array()
        .unwrap()
        .iter()
        .filter(|line| line["task"] == "sand" || line["task"] == "edge" || line["task"] == "coat")
        .map(|line| {
            let part = line["part"].as_str().unwrap_or("room");
            let driver = line["driver"]["quantity"].as_str().unwrap();
            format!("{} {part} {driver}", line["operation"].as_str().unwrap())
        })
        .collect();
    assert_eq!(
        told,
        [
            "rotary-24 paint 48",
            "edger-36 paint 49",
            "rotary-36-second paint 48",
            "edger-50 paint 49",
            "edger-80 paint 49",
            "orbit-blend-80 paint 49",
            "rotary-36 sound-film 40",
            "rotary-36 bare 80",
            "rotary-50 sound-film 40",
            "rotary-50 paint 48",
            "rotary-50 bare 80",
            "rotary-80 sound-film 40",
            "rotary-80 paint 48",
            "rotary-80 bare 80",
            "palm-80 room 1",
            "oil-coat room 336",
            "screen-between room 168",
        ]
    );
    // The client reads each operation once.
    let text = ledger.line("quote show Q1 --for-client").ok();
    assert_eq!(text.matches("rotary-50").count(), 1, "{text}");
    assert!(
        ledger
            .line("quote show Q1 --why")
            .ok()
            .contains("Parlour, rotary-24 (paint):")
    );
}

#[test]
fn a_part_joins_the_cuts_of_its_room_or_its_owner_is_told() {
    let ledger = parlour();
    // Field and edge of the paint, as they are cut before and with the rest of the room.
    let of_paint = |quote: &str| {
        let lines = ledger.json(&format!("quote show {quote}"))["lines"].clone();
        let lines = lines
            .as_array()
            .unwrap()
            .iter()
            .filter(|line| line["part"] == "paint");
        let names: Vec<String> = lines
            .map(|line| line["operation"].as_str().unwrap().to_owned())
            .collect();
        names.join(" ")
    };
    for (quote, sequence, paint) in [
        // The room starts as coarse as paint does, and its bare patch finer.
        (
            "Q1",
            "rotary-24-36-50-80",
            "rotary-24 edger-36 rotary-36-second edger-50 rotary-50 rotary-80 edger-80 orbit-blend-80",
        ),
        // The edger is the room's too.
        (
            "Q2",
            "rotary-edger-36-50-80",
            "rotary-24 rotary-36-second edger-36 rotary-50 edger-50 rotary-80 edger-80 orbit-blend-80",
        ),
        // The room's edges end finer: those of the paint end with them.
        (
            "Q3",
            "maple-36-50-80-100",
            "rotary-24 edger-36 rotary-36-second edger-50 rotary-50 rotary-80 orbit-80 orbit-100 screen-100",
        ),
    ] {
        let run = ledger.line(&format!(
            "quote draft \"4 Tannery Row\" --sequence {sequence}"
        ));
        assert!(!run.stderr().contains("the book"), "{}", run.stderr());
        assert_eq!(of_paint(quote), paint, "{sequence}");
    }
    let bare: Vec<[String; 5]> = cuts(&ledger, "Q1")
        .into_iter()
        .filter(|[_, part, ..]| part == "bare")
        .collect();
    let bare: Vec<&str> = bare.iter().map(|[name, ..]| name.as_str()).collect();
    assert_eq!(bare, ["rotary-36", "rotary-50", "rotary-80"]);

    let run = ledger.line("quote draft \"4 Tannery Row\" --sequence drum-36-60-80");
    let warning = "warning: the sequences of the book that start coarser share no cut with drum-36-60-80: \
                   the paint in Parlour is cut as the room is\n";
    assert!(run.stderr().contains(warning), "{}", run.stderr());
    assert_eq!(
        of_paint("Q4"),
        "drum-36 edger-36 drum-60 edger-50 drum-80 edger-80 screen-120"
    );
}

/// The room of the check value has 640 sq ft of passes. Without the first cut of its border it has 640 - 48 = 592; with one
/// more of the rug patch 640 + 80 = 720.
#[test]
fn what_parts_begin_with_can_be_said() {
    let ledger = five_cuts();
    let draft = "quote draft \"4 Tannery Row\" --sequence s24 --schedule none";
    for (quote, said, passes, changed) in [
        ("Q1", "--part-sequence paint=s24", 592, ("r16", "paint", 0)),
        ("Q2", "--part-sequence bare=s24", 720, ("r24", "bare", 1)),
        (
            "Q3",
            "--part-sequence bare=s24 --part-sequence paint=s24",
            672,
            ("r24", "bare", 1),
        ),
        // What the book decides may be said as well.
        ("Q4", "--part-sequence paint=s16", 640, ("r16", "paint", 1)),
    ] {
        ledger.line(&format!("{draft} {said}")).ok();
        assert_eq!(pass_square_feet(&ledger, quote), passes, "{said}");
        let (cut, part, times) = changed;
        let cuts = cuts(&ledger, quote).into_iter();
        let found = cuts.filter(|[name, of, ..]| name == cut && of == part);
        assert_eq!(found.count(), times, "{said}");
    }
    ledger.line(&format!("{draft} --part-sequence paint=s24 --option \"Coats alone: sequence=none, schedule=oil-2-coat\"")).ok();
    ledger.line("plan house \"4 Tannery Row\" --start 2026-03-09 --sequence s24 --part-sequence paint=s24 --accept").ok();
    assert_eq!(pass_square_feet(&ledger, "Q6"), 592);
    ledger
        .line("job own \"4 Tannery Row\" --sequence s24 --schedule none --part-sequence bare=s24")
        .ok();
    assert_eq!(pass_square_feet(&ledger, "Q7"), 720);
}

#[test]
fn what_parts_begin_with_is_refused_where_it_cant_be() {
    let ledger = five_cuts();
    ledger.lines("sequence add s16-alone r16");
    for (said, refusal) in [
        (
            "--part-sequence s24",
            "error: `s24` is not a condition and a sequence\nhint: --part-sequence paint=rotary-24-36-50-80",
        ),
        (
            "--part-sequence rust=s24",
            "error: `rust` is not a floor condition; one of: bare, sound-film, worn-film, oil-wax, paint, glue",
        ),
        (
            "--part-sequence glue=s24",
            "error: no room of it has a part in `glue`",
        ),
        (
            "--part-sequence paint=s16 --part-sequence paint=s24",
            "error: parts in `paint` begin with one sequence, and two are named",
        ),
        (
            "--part-sequence paint=s16-alone",
            "error: `s16-alone` shares no cut of the floor with `s24`: the last cuts cover the room",
        ),
        (
            "--part-sequence paint=s24 --option \"By drum: sequence=drum-36-60-80\"",
            "error: `s24` shares no cut of the floor with `drum-36-60-80`: the last cuts cover the room",
        ),
        (
            "--part-sequence paint=s16 --sequence none",
            "error: without a sanding sequence, parts have none either",
        ),
    ] {
        let sequence = if said.ends_with("none") {
            ""
        } else {
            "--sequence s24"
        };
        let draft = format!("quote draft \"4 Tannery Row\" {sequence} --schedule none {said}");
        assert_eq!(ledger.line(&draft).refused(), refusal);
    }
}

#[test]
fn parts_are_measured_again_in_a_variation() {
    let ledger = five_cuts();
    ledger.lines(
        r#"
        quote draft "4 Tannery Row" --sequence s24 --schedule none
        quote send Q1
        quote accept Q1
        job start J1
        room edit Parlour --part "border 12in: paint" --part "60 sq ft: bare"
        quote vary J1 --room Parlour
        "#,
    );
    // The rug patch has 60 sq ft in place of 80, the ring 60 in place of 40; the border is as it was.
    let now = [
        ["r24", "sound-film", "60", "0.75", "21.00"],
        ["r36", "sound-film", "60", "0.6", "16.80"],
        ["r36", "bare", "60", "0.38", "10.64"], // 60 / 160 = 0.375
        ["r60", "sound-film", "60", "0.3", "8.40"],
        ["r60", "bare", "60", "0.3", "8.40"],
        ["r80", "sound-film", "60", "0.24", "6.72"],
        ["r80", "bare", "60", "0.24", "6.72"],
    ];
    let mut found = cuts(&ledger, "Q2");
    found.sort_by_key(|[name, part, ..]| (name.clone(), part == "bare"));
    assert_eq!(found, now);
    assert_eq!(
        ledger
            .line("room edit Parlour --part \"60 sq ft: glue\"")
            .stderr(),
        "warning: J1 has agreed to do it as it was\nhint: gritledger job cancel J1 --reason \"quoted anew\"\nhint: gritledger quote draft \"4 Tannery Row\" --room Parlour\n"
    );
    let anew = "hint: gritledger job cancel J1 --reason \"quoted anew\"\nhint: gritledger quote draft \"4 Tannery Row\" --room Parlour";
    assert_eq!(
        ledger.line("quote vary J1 --room Parlour").refused(),
        format!(
            "error: `Parlour` has parts in other conditions than it was agreed with: take it away, and quote it anew\n{anew}"
        )
    );
    for hint in anew.lines() {
        ledger
            .line(hint.trim_start_matches("hint: gritledger "))
            .ok();
    }
}

#[test]
fn a_house_with_parts_is_planned() {
    let ledger = parlour();
    ledger.line("room add \"4 Tannery Row\" Hall --shape \"10 x 5\" --condition sound-film --species red-oak --door \"Parlour:2'6\\\"\" --door \"outside:3'\"").ok();
    ledger
        .line("plan house \"4 Tannery Row\" --start 2026-03-09 --accept")
        .ok();
    let parts: Vec<String> = cuts(&ledger, "Q1")
        .into_iter()
        .map(|[_, part, ..]| part)
        .collect();
    assert!(parts.contains(&"paint".to_owned()), "{parts:?}");
}

#[test]
fn a_part_brings_its_cautions() {
    let ledger = parlour();
    let cautions = |ledger: &TestLedger, quote: &str| {
        let quote = ledger.json(&format!("quote show {quote}"));
        let cautions = quote["cautions"].as_array().unwrap().iter();
        cautions
            .map(|one| one["caution"].as_str().unwrap().to_owned())
            .collect::<Vec<_>>()
    };
    ledger.line("quote draft \"4 Tannery Row\"").ok();
    assert!(cautions(&ledger, "Q1")[0].starts_with("Lead: built 1931"));
    assert!(!cautions(&ledger, "Q1")[1].starts_with("Asbestos"));
    ledger.lines(
        r#"
        room edit Parlour --part "60 sq ft edge 20': glue"
        quote draft "4 Tannery Row"
        "#,
    );
    assert!(
        cautions(&ledger, "Q2")[1].starts_with("Asbestos: presume it in old flooring adhesive")
    );
}

/// What was learned of the cuts, after a job of a room with a part, or of two rooms of the same floors.
fn taught(rooms: &str, named: &str) -> Vec<Value> {
    let ledger = parlour();
    ledger.line("room void Parlour").ok();
    ledger.lines(rooms);
    ledger.lines(&format!(
        r#"
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule none
        quote send Q1
        quote accept Q1
        job start J1
        use disc-7in-36 30 --room "{named}"
        use disc-7in-80 9 --room "{named}"
        hours 4:15 --on sand --room "{named}"
        job close J1
        "#
    ));
    let learned = ledger.json("rate list --learned");
    learned.as_array().unwrap().clone()
}

#[test]
fn a_part_teaches_as_a_room_does() {
    let parted = taught(
        r#"room add "4 Tannery Row" "Den" --shape "12 x 14" --condition sound-film --species red-oak --part "5 x 12: oil-wax""#,
        "Den",
    );
    let two = taught(
        r#"
        room add "4 Tannery Row" "Den" --shape "12 x 9" --condition sound-film --species red-oak
        room add "4 Tannery Row" "Parlour" --shape "12 x 5" --condition oil-wax --species red-oak
        "#,
        "Den, Parlour",
    );
    assert!(!two.is_empty());
    assert_eq!(parted, two);
}

/// On paper, by the rates of the five cuts: r16 is done on the border alone, 48 sq ft of paint, and takes 1.5 h in place of
/// 48 / 48 = 1 h. r36 goes over all of the room: 40 / 100 + 48 / 100 + 80 / 160 = 0.4 + 0.48 + 0.5 = 1.38 h. It takes half as
/// much again, 2.07 h, which are 0.6, 0.72 and 0.75 h: 0.015 h a square foot of film and of paint, 0.009375 of bare wood.
#[test]
fn what_is_logged_on_a_room_teaches_each_part_its_share() {
    let ledger = five_cuts();
    ledger.lines(
        r#"
        quote draft "4 Tannery Row" --sequence s24 --schedule none
        quote send Q1
        quote accept Q1
        hours 1.5 r16 --room Parlour
        hours 2.07 r36 --room Parlour
        job close J1
        "#,
    );
    let learned = ledger.json("rate list --learned");
    let rates = learned.as_array().unwrap().iter();
    let mut taught: Vec<[&str; 5]> = rates
        .map(|rate| {
            ["operation", "condition", "exposure", "book", "observed"]
                .map(|field| rate[field].as_str().unwrap())
        })
        .collect();
    taught.sort_unstable();
    assert_eq!(
        taught,
        [
            ["r16", "paint", "48", "0.020833", "0.03125"], // 1.5 / 48
            ["r36", "bare", "80", "0.00625", "0.009375"],
            ["r36", "paint", "48", "0.01", "0.015"],
            ["r36", "sound-film", "40", "0.01", "0.015"],
        ]
    );
    // The next quote takes each part off at what its own condition was found to take.
    ledger
        .line("quote draft \"4 Tannery Row\" --sequence s24 --schedule none")
        .ok();
    let anew = cuts(&ledger, "Q2");
    for rate in learned.as_array().unwrap() {
        let [operation, condition] =
            ["operation", "condition"].map(|field| rate[field].as_str().unwrap());
        let [area, learned] = ["exposure", "learned"]
            .map(|field| rate[field].as_str().unwrap().parse::<Decimal>().unwrap());
        let cut = anew
            .iter()
            .find(|[name, part, ..]| name == operation && part == condition)
            .unwrap();
        let off = cut[3].parse::<Decimal>().unwrap() - area * learned;
        assert!(off.abs() <= dec!(0.006), "{cut:?}: {area} x {learned}");
    }
}

#[test]
fn a_job_from_before_teaches_cuts_of_whole_rooms_alone() {
    let ledger = parlour();
    ledger.line("room add \"4 Tannery Row\" Hall --shape \"10 x 5\" --condition sound-film --species red-oak").ok();
    let jobs = ledger.file(
        "jobs.csv",
        "job,site,agreed_on,price,closed_on\nOld,4 Tannery Row,2026-01-05,900,2026-01-20\n",
    );
    let usage = ledger.file(
        "usage.csv",
        "date,job,site,item,quantity,room,operation\n\
         2026-01-08,Old,4 Tannery Row,disc-7in-36,18,Parlour,rotary-36\n\
         2026-01-08,Old,4 Tannery Row,disc-7in-36,6,Hall,rotary-36\n\
         2026-01-09,Old,4 Tannery Row,oil-finish,0.5,Parlour,oil-coat\n",
    );
    ledger.line(&format!("import jobs {jobs}")).ok();
    ledger.line(&format!("import usage {usage}")).ok();
    let learned = ledger.json("rate list --learned");
    let taught: Vec<(&str, &str)> = learned
        .as_array()
        .unwrap()
        .iter()
        .filter(|rate| rate["kind"] == "item")
        .map(|rate| {
            (
                rate["operation"].as_str().unwrap(),
                rate["exposure"].as_str().unwrap_or(""),
            )
        })
        .collect();
    assert_eq!(
        taught,
        [("rotary-36", "50"), ("oil-coat", "168")],
        "{learned}"
    );
}
