//! Bad input: refused in exact words, with nothing written.

use crate::harness::TestLedger;

/// Each line is refused with exactly these words, and the ledger stays as it was.
fn refuses(ledger: &TestLedger, cases: &[(&str, &str)]) {
    let before = std::fs::read(ledger.path()).expect("the ledger");
    for (line, words) in cases {
        let said = ledger.line(line).refused();
        let first = said.lines().next().unwrap_or_default();
        assert_eq!(first, format!("error: {words}"), "{line}\n{said}");
    }
    assert_eq!(
        std::fs::read(ledger.path()).expect("the ledger"),
        before,
        "a refusal wrote something"
    );
}

#[test]
fn rooms_that_are_none() {
    let add =
        |rest: &str| format!("room add \"4 Tannery Row\" X {rest} --condition bare --species ash");
    let ledger = TestLedger::tannery_row();
    let cases = [
        (add("--shape \"0 x 4\""), "`0` is not above zero"),
        (add("--shape \"-3 x 4\""), "`-3` is not above zero"),
        (
            add("--shape \"10 x 4 --\""),
            "`4 --` is not a length (try 12'6\", 12.5 or 3.81m)",
        ),
        (
            add("--shape \"NaN x 4\""),
            "`NaN` is not a length (try 12'6\", 12.5 or 3.81m)",
        ),
        (
            add("--shape \"10 x 4\" --less \"5 x 9\""),
            "the cut-out `5' x 9'` is larger than the room",
        ),
        (
            add("--shape \"2 x 2\" --door \"outside:9'\""),
            "`X` has no such edge",
        ),
        (
            add("--shape \"2 x 2\" --door \"Cellar:2'\""),
            "no room `Cellar`",
        ),
    ];
    for (line, words) in &cases {
        refuses(&ledger, &[(line, words)]);
    }
    assert_eq!(
        ledger.line(&add("")).code(),
        2,
        "a room without a shape is a usage error"
    );
    let open = ledger
        .line(&add("--walls \"14' r 11'6\\\" r 9' r 3' l 5' r 8' r\""))
        .refused();
    assert!(open.contains("6 in"), "the gap is told: {open}");
    let crossed = ledger
        .line(&add("--walls \"10' r 10' r 5' r 15' l 5' l 5'\""))
        .refused();
    assert!(
        crossed.contains("cross") || crossed.contains("meet"),
        "{crossed}"
    );
}

#[test]
fn quantities_rates_and_money_that_are_none() {
    let ledger = TestLedger::job_open();
    refuses(
        &ledger,
        &[
            ("use disc-7in-36 -1", "a quantity is not below zero: `-1`"),
            ("use disc-7in-36 NaN", "`NaN` is not a quantity"),
            ("use disc-7in-36 inf", "`inf` is not a quantity"),
            ("use disc-7in-36 1e3", "`1e3` is not a quantity"),
            ("use disc-7in-66 1", "no item `disc-7in-66`"),
            ("buy disc-7in-36 0 --cost 5", "`0` is not a quantity bought"),
            (
                "buy disc-7in-36 3 --cost 5.005",
                "`5.005` has more decimals than USD has (2)",
            ),
            (
                "buy disc-7in-36 3 --cost -5",
                "a purchase does not cost less than nothing",
            ),
            (
                "hours \"Ruben Vale\" 0",
                "`0` is not a number of hours worked",
            ),
            (
                "hours \"Ruben Vale\" 24.5",
                "Ruben Vale would have 24.5 hours on 2026-03-02: a day has 24",
            ),
            (
                "hours \"Ruben Vale\" 1 --on sanding",
                "`sanding` is neither a task nor an operation",
            ),
            ("spent 0 --for x", "money spent is more than nothing"),
            (
                "drive 1000000000000",
                "`1000000000000` is not a distance driven",
            ),
            (
                "use disc-7in-36 10000001",
                "`10000001` is more than one entry takes",
            ),
            ("drive -4", "`-4` is not a distance driven"),
            (
                "hand-back disc-7in-36 3",
                "of disc-7in-36 only 0 are in stock",
            ),
            (
                "rate set rotary-36 --kind item --per 0",
                "`0` is not above zero",
            ),
            (
                "rate set rotary-36 --kind item --per -2",
                "`-2` is not above zero",
            ),
            (
                "setting set margin 100%",
                "a margin of 100 % cannot be kept: it must be below 100 %",
            ),
            ("setting set margin 0.35", "`0.35` could be 0.35 % or 35 %"),
            (
                "quote draft \"4 Tannery Row\" --margin 0.4",
                "`0.4` could be 0.4 % or 40 %",
            ),
            (
                "quote draft \"4 Tannery Row\" --margin -5",
                "a margin is not below zero",
            ),
            (
                "operation edit rotary-36 --item oil-finish",
                "the rates of rotary-36 are in disc, and oil-finish is counted in gal",
            ),
            ("setting set margn 30%", "no setting `margn`"),
            (
                "quote draft \"4 Tannery Row\" --margin 100%",
                "a margin of 100 % cannot be kept: it must be below 100 %",
            ),
            (
                "quote draft \"4 Tannery Row\" --margin much",
                "`much` is not a margin",
            ),
            (
                "quote draft \"4 Tannery Row\" --sequence rotary-99",
                "no sequence `rotary-99`",
            ),
            (
                "quote draft \"4 Tannery Row\" --room Attic",
                "no room `Attic`",
            ),
            (
                "finding add Landing prod-nails 3",
                "no operation puts `prod-nails` right",
            ),
            (
                "finding add Landing proud-nails -3",
                "`-3` is not a whole number above zero",
            ),
        ],
    );
    let twelve = ledger.line("hours \"Ruben Vale\" 20").ok();
    assert!(
        twelve.starts_with("E1: Ruben Vale worked 20 h on J1"),
        "{twelve}"
    );
    refuses(
        &ledger,
        &[(
            "hours \"Ruben Vale\" 5",
            "Ruben Vale would have 25 hours on 2026-03-02: a day has 24",
        )],
    );
}

#[test]
fn dates_that_are_none_or_to_come() {
    let ledger = TestLedger::job_open();
    refuses(
        &ledger,
        &[
            (
                "spent 5 --for x --date 2026-02-30",
                "`2026-02-30` is not a date",
            ),
            ("spent 5 --for x --date soon", "`soon` is not a date"),
            (
                "spent 5 --for x --date 2026-03-03",
                "2026-03-03 is after today, 2026-03-02",
            ),
            ("rental out rotary --at 8am", "`8am` is not a time"),
            (
                "rental out rotary --at \"2026-03-09 08:00\"",
                "2026-03-09 is after today, 2026-03-02",
            ),
        ],
    );
}

#[test]
fn rentals_that_cannot_be() {
    let ledger = TestLedger::job_open();
    refuses(
        &ledger,
        &[
            ("rental back rotary --at 09:00", "rotary is not out"),
            ("rental out drumm --at 09:00", "no machine `drumm`"),
        ],
    );
    ledger.line("rental out rotary --at 08:00").ok();
    refuses(
        &ledger,
        &[
            (
                "rental out rotary --at 09:00",
                "rotary is out already, since 2026-03-02 08:00 on J1",
            ),
            (
                "rental back rotary --at 07:59",
                "rotary went out at 2026-03-02 08:00, not before 2026-03-02 07:59",
            ),
            ("job close J1", "rotary is still out on J1"),
        ],
    );
}

#[test]
fn quotes_jobs_and_payments_out_of_turn() {
    let ledger = TestLedger::tannery_row();
    ledger.line("quote draft \"4 Tannery Row\"").ok();
    refuses(
        &ledger,
        &[
            ("quote accept Q1", "Q1 was not sent"),
            (
                "quote decline Q1",
                "Q1 is draft: only a sent quote can be declined",
            ),
            ("quote show Q7", "no quote Q7"),
            ("quote show X7", "`X7` is not a quote number"),
            ("quote show Q1 --room Attic", "no room `Attic`"),
            ("use disc-7in-36 1", "no job is open"),
            ("job show J1", "no job J1"),
            ("job close seven", "`seven` is not a job number"),
        ],
    );
    ledger.lines("quote send Q1\nquote accept Q1\njob start J1\ninvoice deposit J1 --amount 100\ninvoice issue J1");
    refuses(
        &ledger,
        &[
            ("quote send Q1", "Q1 is accepted, not a draft"),
            ("quote accept Q1", "Q1 is accepted already"),
            ("job start J1", "J1 is open already"),
            (
                "invoice deposit J1",
                "J1 was invoiced already (I1): the deposit comes first",
            ),
            ("invoice issue J1", "J1 has no draft invoice"),
            ("invoice show I9", "no invoice I9"),
            (
                "payment add I1 100.01",
                "100.01 is more than I1 owes, 100.00",
            ),
            ("payment add I1 0", "a payment is more than nothing"),
            ("payment add I1 -5", "a payment is more than nothing"),
            ("payment void P1 --reason slip", "no payment P1"),
            ("void E99 --reason x", "no entry E99"),
        ],
    );
    ledger.line("payment add I1 120 --keep-credit").ok();
    assert_eq!(
        ledger.json("invoice show I1")["credit"],
        serde_json::json!("20.00")
    );
}

#[test]
fn a_site_without_rooms_and_a_firm_without_workers() {
    let ledger = TestLedger::new();
    ledger.lines("client add \"Ada Quill\"\nsite add \"Ada Quill\" \"4 Tannery Row\"");
    refuses(
        &ledger,
        &[(
            "quote draft \"4 Tannery Row\"",
            "`4 Tannery Row` has no rooms to quote",
        )],
    );
    ledger
        .line("room add \"4 Tannery Row\" Hall --shape \"8 x 4\" --condition bare --species ash")
        .ok();
    refuses(
        &ledger,
        &[
            (
                "quote draft \"4 Tannery Row\"",
                "nobody works here yet, so hours have no price",
            ),
            ("hours 1 --no-job", "there is no active worker"),
        ],
    );
    refuses(
        &ledger,
        &[("hours 1 --no-job", "there is no active worker")],
    );
    ledger.lines("worker add Me --wage 28\nworker add \"Ruben Vale\" --wage 28\nworker edit Me --inactive\nworker edit \"Ruben Vale\" --inactive");
    assert_eq!(
        ledger.line("quote draft \"4 Tannery Row\"").refused(),
        "error: every worker is out of use\n\
         hint: gritledger worker edit Me --active\n\
         hint: gritledger worker edit \"Ruben Vale\" --active"
    );
    ledger.lines("worker edit Me --active\nquote draft \"4 Tannery Row\"");
}

#[test]
fn of_hours_and_a_task_the_wrong_number_is_named() {
    let ledger = TestLedger::job_open();
    for (words, wrong) in [
        ("1:75 sand", "1:75"),
        ("1.5.5 sand", "1.5.5"),
        ("one sand", "one"),
        ("\"Ruben Vale\" sand", "sand"),
        ("\"Ruben Vale\" 1:75 sand", "1:75"),
    ] {
        let refused = ledger.line(&format!("hours {words}")).refused();
        assert_eq!(
            refused,
            format!(
                "error: `{wrong}` is not a number of hours\nhint: hours are written 1.5, 1:30, 1h30, 90m or 1 1/2"
            )
        );
    }
}

#[test]
fn names_that_fit_none_or_several() {
    let ledger = TestLedger::tannery_row();
    let said = ledger.line("room show Landnig").refused();
    assert_eq!(
        said,
        "error: no room `Landnig`\nhint: near names: `Landing`"
    );
    ledger.line("room add \"4 Tannery Row\" \"Back hall\" --shape \"8 x 4\" --condition bare --species ash").ok();
    let said = ledger.line("room show back").refused();
    assert_eq!(
        said,
        "error: `back` could be any room of `Back bedroom`, `Back hall`"
    );
    ledger.line("room show \"4 tannery row/back b\"").ok();
}

#[test]
fn files_that_are_no_ledger() {
    let ledger = TestLedger::nowhere();
    let path = ledger.path().display().to_string();
    let said = ledger.line("today").refused();
    assert!(
        said.starts_with(&format!(
            "error: no ledger at `{path}`\nhint: gritledger init"
        )),
        "{said}"
    );
    std::fs::write(
        ledger.path(),
        "not a database, only words that go on for a while",
    )
    .unwrap();
    assert_eq!(
        ledger.line("today").refused(),
        format!("error: `{path}` is not a ledger")
    );
    assert!(
        ledger
            .line("init --business X")
            .refused()
            .starts_with(&format!("error: `{path}` already exists"))
    );

    let ledger = TestLedger::nowhere();
    std::fs::create_dir(ledger.path()).unwrap();
    let path = ledger.path().display().to_string();
    assert_eq!(
        ledger.line("today").refused(),
        format!("error: `{path}` is a directory, not a ledger")
    );
}

#[test]
fn a_ledger_of_a_newer_version() {
    let ledger = TestLedger::new();
    let file = ledger.raw();
    file.pragma_update(None, "user_version", 99).unwrap();
    drop(file);
    let said = ledger.line("today").refused();
    assert!(
        said.contains("was written by a newer gritledger (schema 99, this one knows 9)"),
        "{said}"
    );
}

#[test]
fn another_program_s_database() {
    let ledger = TestLedger::nowhere();
    let file = ledger.raw();
    file.execute_batch(
        "CREATE TABLE stamps (id INTEGER PRIMARY KEY); INSERT INTO stamps VALUES (1);",
    )
    .unwrap();
    drop(file);
    let before = std::fs::read(ledger.path()).unwrap();
    assert!(ledger.line("today").refused().ends_with("is not a ledger"));
    assert_eq!(std::fs::read(ledger.path()).unwrap(), before);
}

#[test]
fn floors_that_cannot_be_walked() {
    let ledger = TestLedger::job_open();
    refuses(
        &ledger,
        &[
            (
                "finding add Landing proud-nails 3 --chance 50% --if-so \"bleach\"",
                "`bleach` doesn't say what is done, and how much of it",
            ),
            (
                "room add \"4 Tannery Row\" \"A;B\" --shape \"3 x 4\" --condition bare --species ash",
                "a room's name can't hold `;`: `A;B`",
            ),
            (
                "room add \"4 Tannery Row\" \"Outside\" --shape \"3 x 4\" --condition bare --species ash",
                "`Outside` is where doorways lead out: name the room otherwise",
            ),
            (
                "room add \"4 Tannery Row\" \"landing\" --shape \"3 x 4\" --condition bare --species ash",
                "there is already a room `landing` at that site",
            ),
            (
                "room add \"4 Tannery Row\" \" \" --shape \"3 x 4\" --condition bare --species ash",
                "a name is missing: what is the room called?",
            ),
            (
                "room edit Landing --door \"Landing:2'\"",
                "a doorway leads to another room",
            ),
            (
                "room add \"4 Tannery Row\" X --steps many --condition bare --species ash --width 3ft --tread 10in --riser 7in",
                "`many` is not a number of steps",
            ),
            (
                "room add \"4 Tannery Row\" X --shape \"10 x\" --condition bare --species ash",
                "`` is not a length (try 12'6\", 12.5 or 3.81m)",
            ),
            (
                "room add \"4 Tannery Row\" X --shape \"10 x 4 x\" --condition bare --species ash",
                "`4 x` is not a length (try 12'6\", 12.5 or 3.81m)",
            ),
            (
                "room add \"4 Tannery Row\" X --shape \"round 4\" --condition bare --species ash",
                "`round 4` is not a shape (try 12' x 10'6\", trapezoid 8',5' x 3', circle 9' or half-circle 6')",
            ),
            (
                "room add \"4 Tannery Row\" X --shape \"10' 14\\\" x 4'\" --condition bare --species ash",
                "`10' 14\"` has a whole foot or more after its first number",
            ),
            (
                "room add \"4 Tannery Row\" X --shape \"10 1/3 x 4\" --condition bare --species ash",
                "`10 1/3` has a fraction in parts of 3; a tape shows halves, 4ths, 8ths to 64ths",
            ),
            (
                "room add \"4 Tannery Row\" X --shape \"11km x 4\" --condition bare --species ash",
                "`11km` is not a length (try 12'6\", 12.5 or 3.81m)",
            ),
            (
                "room add \"4 Tannery Row\" X --shape \"99999 x 4\" --condition bare --species ash",
                "`99999` is too large (a length is at most 10 km)",
            ),
            (
                "room add \"4 Tannery Row\" X --walls \"14' r 11' s 9'\" --condition bare --species ash",
                "`11' s 9'` is not a length (try 12'6\", 12.5 or 3.81m)",
            ),
            (
                "room add \"4 Tannery Row\" X --walls \"14' 11' r 9'\" --condition bare --species ash",
                "a turn is missing within `14' 11'`: between two walls there is r, l, r45 or l45",
            ),
            (
                "room add \"4 Tannery Row\" X --walls \"14' r r 9'\" --condition bare --species ash",
                "the length of a wall is missing before the turn `r`",
            ),
            (
                "room add \"4 Tannery Row\" X --walls \"r 9' r 3' r 4'\" --condition bare --species ash",
                "the length of a wall is missing before the turn `r`",
            ),
            (
                "room add \"4 Tannery Row\" X --walls \"14' r 11'6\\\" r 9' r 3' l 5' r 8' r\" --condition bare --species ash",
                "the walls do not close: with the first wall going east, the last one ends 6 in south of the start",
            ),
            (
                "room add \"4 Tannery Row\" X --walls \"10' r 10' r 5' r 15' l 5' l 5'\" --condition bare --species ash",
                "the walls cross: wall 1 meets wall 4",
            ),
            (
                "room add \"4 Tannery Row\" X --walls \"10' r 10' r 10' r 10' l\" --condition bare --species ash",
                "the last turn, `l`, does not lead back along the first wall (it may be left out)",
            ),
            (
                "room add \"4 Tannery Row\" X --shape \"10 x 10\" --less \"10 x 5\" --less \"10 x 5\" --condition bare --species ash",
                "the cut-outs leave no floor of `10' x 10'; less 10' x 5'; less 10' x 5'`",
            ),
            (
                "room add \"4 Tannery Row\" X --shape \"10 x 10\" --less \"blob\" --condition bare --species ash",
                "`blob` is not a part of a room (try plus, less or island, and 5' x 2'6\")",
            ),
            (
                "room add \"4 Tannery Row\" X --steps 13 --width 3ft --tread 10in --riser 7in --less \"1 x 1\" --condition bare --species ash",
                "stairs have no parts; `less 1' x 1'` belongs to a room of its own",
            ),
            (
                "room add \"4 Tannery Row\" X --shape \"10 x 10\" --part \"border 1': paint\" --part \"border 2': glue\" --condition bare --species ash",
                "a room has one border",
            ),
            (
                "room add \"4 Tannery Row\" X --shape \"10 x 10\" --part \"border 6': paint\" --condition bare --species ash",
                "a border of `6'` leaves no floor within it",
            ),
            (
                "room add \"4 Tannery Row\" X --shape \"10 x 10\" --part \"1 x 1 edge 90': paint\" --condition bare --species ash",
                "the parts have `90'` of edge, and the walls are `40'`",
            ),
            (
                "room add \"4 Tannery Row\" X --shape \"10 x 10\" --part \"12 flats: paint\" --condition bare --species ash",
                "`12 flats` is not an area (try 12 sqft, 1.2 m2 or 3 x 4)",
            ),
            (
                "finding add Landing damaged-boards 1 --if-so \"bleach lots\" --chance 20%",
                "`lots` is not an area (try 12 sqft, 1.2 m2 or 3 x 4)",
            ),
        ],
    );
}

#[test]
fn entries_and_names_that_cannot_be() {
    let ledger = TestLedger::job_open();
    refuses(
        &ledger,
        &[
            ("use disc-7in-36 1 --on edge-80", "no operation `edge-80`"),
            (
                "use oil-finish 1 --on load-in",
                "`load-in` does not take oil-finish",
            ),
            (
                "hand-back disc-7in-36 0",
                "`0` is not a quantity handed back",
            ),
            (
                "stock count disc-7in-36 -1",
                "a count is not below zero: `-1`",
            ),
            (
                "hand-back disc-7in-36 1 --refund -5",
                "a refund is not below zero",
            ),
            ("correct E1", "no entry E1"),
            (
                "client void \"Ada Quill\"",
                "`Ada Quill` still has the site `4 Tannery Row`",
            ),
            (
                "site void \"4 Tannery Row\"",
                "`4 Tannery Row` has the job J1, which isn't closed",
            ),
            ("worker add \"Bo\" --wage -4", "a wage is not below zero"),
            (
                "worker add \"Bo\" --wage 99999",
                "nobody earns that much in an hour",
            ),
            (
                "site add \"Ada Quill\" \"9 Kelp\" --year-built old",
                "`old` is not a year",
            ),
            (
                "reading add Landing board 200",
                "`200` is not the moisture of the boards: from 1 to 60 %",
            ),
            (
                "stock count oil-finish 99999999999",
                "`99999999999` is more than one entry takes",
            ),
            (
                "spent 99999999999999999999 --for x",
                "`99999999999999999999` is not an amount of money",
            ),
            ("use oil-finish -3", "a quantity is not below zero: `-3`"),
        ],
    );
}

#[test]
fn quotes_and_plans_that_cannot_be() {
    let ledger = TestLedger::job_open();
    refuses(
        &ledger,
        &[
            (
                "quote draft \"4 Tannery Row\" --option \"A: with=Landing, without=Landing\"",
                "`A` is with `Landing` and without it",
            ),
            (
                "quote draft \"4 Tannery Row\" --option \"A: without=Landing\" --option \"B: without=Landing\" --option \"C: without=Landing\" --option \"D: without=Landing\" --option \"E: without=Landing\" --option \"F: without=Landing\" --option \"G: without=Landing\" --option \"H: without=Landing\" --option \"I: without=Landing\" --option \"J: without=Landing\"",
                "a quote has 10 options at most",
            ),
            (
                "quote draft \"4 Tannery Row\" --other \"disposal\"",
                "`disposal` is not a lump cost",
            ),
            (
                "quote draft \"4 Tannery Row\" --other \"disposal=-4\"",
                "a lump cost is not below zero: `disposal=-4`",
            ),
            (
                "quote draft \"4 Tannery Row\" --room \"Landing, Landing\" --variation-of J1",
                "no room `Landing, Landing`",
            ),
            (
                "quote send Q1 --valid soon",
                "`soon` is not a number of days, such as 30d",
            ),
            (
                "invoice deposit J1 --amount 999999",
                "the deposit is larger than the price",
            ),
            ("invoice show X9", "`X9` is not an invoice number"),
            (
                "plan house \"4 Tannery Row\" --start 2026-03-01",
                "2026-03-01 is past: nothing can be planned for it",
            ),
            (
                "plan house \"4 Tannery Row\" --start 2026-03-09 --max-rooms 0",
                "`0` is not a number of rooms",
            ),
            (
                "plan house \"4 Tannery Row\" --start 2026-03-09 --phases \"Landing, Landing\"",
                "`4 Tannery Row` has no rooms left to plan",
            ),
            (
                "plan house \"4 Tannery Row\" --start 2026-03-07",
                "`4 Tannery Row` has no rooms left to plan",
            ),
            ("job dates J1", "Q1 was not made from a plan"),
            (
                "job dates J1 --lost 2026-03-09",
                "Q1 was not made from a plan",
            ),
            ("report variance J9", "no job J9"),
            (
                "quote vary J1 --room Landing",
                "`Landing` measures what was agreed: nothing changes",
            ),
            (
                "job own \"4 Tannery Row\" --room Landing",
                "`Landing` is in J1 already",
            ),
        ],
    );
}

#[test]
fn what_the_book_does_not_take() {
    let ledger = TestLedger::job_open();
    refuses(
        &ledger,
        &[
            (
                "machine edit rotary --waiver 120%",
                "a damage waiver is between 0 and 100 %",
            ),
            (
                "machine edit rotary --waiver=-3%",
                "a damage waiver is between 0 and 100 %",
            ),
            ("item edit disc-7in-36 --pack 5", "`5` is not a pack"),
            (
                "item edit disc-7in-36 --pack 0=5",
                "a pack holds more than nothing: `0`",
            ),
            (
                "item edit disc-7in-36 --pack 5=-5",
                "a price is not below zero: `-5`",
            ),
            (
                "item edit disc-7in-36 --pack=-5=5",
                "a pack holds more than nothing: `-5`",
            ),
            (
                "operation add x --task repair --driver edge --for-finding gaps",
                "findings are measured by area, count or length, and `x` by edge",
            ),
            (
                "operation add x --task repair --driver count --for-finding \" \"",
                "a kind of finding needs a name",
            ),
            (
                "operation add x --task repair --driver count --for-finding proud-nails",
                "`set-nails` puts `proud-nails` right already",
            ),
            (
                "operation add x --task repair --driver count --set-size 3",
                "`x` has no item that could be changed in sets",
            ),
            (
                "operation add x --task repair --driver count --set-size 1.5",
                "`1.5` is not a number of items, whole and above zero",
            ),
            (
                "operation add x --task repair --driver count --grit 1.5",
                "`1.5` is not a grade, whole and above zero",
            ),
            (
                "item cover disc-7in-36 99999999999",
                "`99999999999` is not a quantity to buy",
            ),
            (
                "item cover oil-finish 99999999",
                "`99999999` is not a quantity to buy",
            ),
            (
                "sequence add s load-in",
                "`load-in` is measured by job, which no room has",
            ),
            (
                "schedule add s oil-coat:soon",
                "`oil-coat:soon` is not a step of a schedule",
            ),
            (
                "schedule add s screen-between",
                "a schedule needs at least one coat, with its hours before the next",
            ),
            (
                "rate predict load-in --quantity 4",
                "`load-in` is measured by job, not by --quantity",
            ),
            (
                "rate predict orbit-80 --quantity 5",
                "the rates of `orbit-80` differ by condition: say which",
            ),
            (
                "setting set working-days \"none\"",
                "`none` is not a day of the week",
            ),
            (
                "setting set working-days \"\"",
                "somebody has to work on some day of the week",
            ),
            (
                "setting set working-days \"mon, noday\"",
                "`noday` is not a day of the week",
            ),
            (
                "setting set holidays \"christmas\"",
                "`christmas` does not begin with a date",
            ),
            (
                "setting set plank-width 90in",
                "`90in` is more than a board is wide",
            ),
            (
                "setting set coating-temperature warm",
                "`warm` doesn't say from what to what, such as 2 to 3 mm",
            ),
            ("setting set own-area much", "no setting `own-area`"),
        ],
    );
}

#[test]
fn a_firm_that_begins_says_how_it_writes_and_pays() {
    let ledger = TestLedger::nowhere();
    for (option, words) in [
        (
            "--decimal-mark dot",
            "`dot` is not a decimal mark; one of: point, comma",
        ),
        (
            "--date-order year-month",
            "`year-month` is not an order of dates; one of: month-day, day-month",
        ),
        (
            "--units imperial",
            "`imperial` is not a system of units; one of: us, metric",
        ),
        ("--currency ABC", "`ABC` is not a currency"),
    ] {
        let said = ledger
            .line(&format!("init --business \"Marsh End Floors\" {option}"))
            .refused();
        let first = said.lines().next();
        assert_eq!(first, Some(&*format!("error: {words}")), "{said}");
    }
    let nameless = ledger.line("init --business \" \"").refused();
    assert_eq!(nameless, "error: the firm needs a name");
}

#[test]
fn what_is_too_much_or_there_already_is_named() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        "use disc-7in-36 6 --room Landing\nvoid E1\ntax-area add Wharf 5\n\
         rate change rotary-36 --since 2026-03-01 --note \"other discs\"\nrental out rotary --at 08:00",
    );
    refuses(
        &ledger,
        &[
            (
                "finding add Landing black-stains \"900 sqft\"",
                "900 sq ft of black-stains is more than the 45 sq ft of `Landing`",
            ),
            (
                "invoice deposit J1 --share 120%",
                "a deposit is a share between 0 and 100 %",
            ),
            (
                "rental back rotary --charged -5",
                "a rental does not cost less than nothing",
            ),
            ("rate confirm E1", "E1 was voided"),
            (
                "setting set own-work-discs \"300 gal\"",
                "`300 gal` is not an area of your own work, such as 300 sqft",
            ),
            (
                "tax-area add Wharf 5",
                "there is already a tax area `Wharf`",
            ),
            (
                "rate change rotary-36 --since 2026-03-01 --note again",
                "a change of rotary-36 on 2026-03-01 is noted already",
            ),
            (
                "client add \"Ada\u{202e}Quill\"",
                "no client is called `Ada\u{fffd}Quill`: it holds a sign that can't be shown, U+202E",
            ),
            ("import sites nowhere.csv", "failed to read `nowhere.csv`"),
            ("daybook nowhere.txt", "failed to read `nowhere.txt`"),
        ],
    );
}

#[test]
fn of_a_day_that_doesn_t_fit_the_cause_is_named() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        finding add Landing proud-nails 12
        finding add Landing open-holes 3
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q1
        quote accept Q1
        rental out rotary --at 08:00
        rental back rotary --at 12:00
        void E2
        void E1
        rental out rotary --at 08:00
        use oil-finish 1qt --room Landing
        "#,
    );
    refuses(
        &ledger,
        &[
            ("void E3", "rotary went out by another entry since, E5"),
            (
                "use wood-filler 1 --room Landing",
                "wood-filler is used by several operations of J1",
            ),
            (
                "stock count oil-finish 1",
                "oil-finish awaits a receipt: log the purchase before counting it",
            ),
        ],
    );
    for site in ["5 Kelp Row", "6 Kelp Row"] {
        ledger.lines(&format!(
            "site add \"Ada Quill\" \"{site}\"\n\
             room add \"{site}\" Den --shape \"10 x 10\" --condition worn-film --species red-oak\n\
             quote draft \"{site}\" --sequence rotary-36-50-80 --schedule oil-2-coat"
        ));
    }
    ledger.lines("quote send Q2\nquote accept Q2\nquote send Q3\nquote accept Q3");
    refuses(
        &ledger,
        &[
            ("room show Den", "`Den` is a room at several sites"),
            (
                "hours 1 sand --room Den",
                "several agreed jobs have such a room",
            ),
        ],
    );
}

#[test]
fn what_the_book_has_no_figures_for_is_refused() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        operation add unrated --task sand --driver area
        item add odd --unit each --pack 0.000001=1 --pack 7.3=2 --not-kept
        operation add odd-cut --task sand --driver area --item odd
        rate set odd-cut --kind hours --per 100 --fixed 0
        rate set odd-cut --kind item --per 0.0001 --fixed 0 --confirm
        sequence add odd-cuts odd-cut
        operation add film-cut --task sand --driver area --grit 24 --splits condition
        rate set film-cut --kind hours --per 80 --fixed 0 --condition sound-film
        sequence add film-cuts film-cut
        client add "Bela Stone"
        site add "Bela Stone" "6 Reed Row"
        room add "6 Reed Row" Den --shape "14 x 12" --condition sound-film --species red-oak
        quote draft "6 Reed Row" --sequence film-cuts --schedule none
        quote send Q1
        quote accept Q1
        room edit Den --condition paint --quiet
        "#,
    );
    assert_eq!(
        ledger
            .line("quote draft \"4 Tannery Row\" --sequence odd-cuts --schedule none")
            .refused(),
        "error: `odd` doesn't keep once opened, so its packs decide what it costs\n\
         caused by: that would be more packs than can be worked out"
    );
    assert_eq!(
        ledger.line("quote vary J1 --room Den").refused(),
        "error: `film-cut` has no rate for `Den` as it is now"
    );
    let cases = |rows: &str| {
        let head = "case_id,job,operation,condition,species,area,edge,kind\n";
        let cases = ledger.file("cases.csv", format!("{head}{rows}"));
        ledger
            .line(&format!("rate predict --cases {cases}"))
            .refused()
    };
    assert_eq!(
        cases("A,1,unrated,bare,red-oak,100,,hours\n"),
        "error: cases.csv:2: case_id `A`: the book has no rate for this work"
    );
    assert_eq!(
        cases("A,1,rotary-36,bare,red-oak,100,,hours\nA,1,rotary-36,bare,red-oak,100,,item\n"),
        "error: cases.csv:2: case_id `A`: discs, gallons, litres and hours can't be added up"
    );
}

#[test]
fn a_plan_that_no_coat_fits_in_any_more_says_where_to_look() {
    let ledger = TestLedger::new();
    ledger.lines(
        r#"
        worker add "Ruben Vale" --wage 28
        client add "Ada Quill"
        site add "Ada Quill" "4 Tannery Row"
        room add "4 Tannery Row" Hall --shape "14 x 12" --condition sound-film --species red-oak --door "outside:3'"
        room add "4 Tannery Row" Barn --shape "14 x 12" --condition sound-film --species red-oak --door "Hall:3'"
        plan house "4 Tannery Row" --start 2026-03-09 --accept
        quote send Q1
        quote accept Q1
        room edit Barn --shape "100 x 60" --confirm
        quote vary J1 --room Barn
        quote send Q2
        quote accept Q2 --quiet
        "#,
    );
    let hint = "plan house \"4 Tannery Row\" --start 2026-03-09 --room Hall --room Barn";
    assert_eq!(
        ledger.line("job dates J1 --varied").refused(),
        format!(
            "error: the rest can't be planned again as it was asked for\nhint: gritledger {hint}"
        )
    );
    let plan = ledger
        .line(hint)
        .ok()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    let why = "Barn can't be coated in a day: `oil-coat` takes 15.85 hours at once, and the crew has 8 in a working day";
    assert!(plan.contains(why), "{plan}");
}
