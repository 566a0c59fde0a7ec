//! CSV in and out.

use crate::harness::TestLedger;

const KINDS: [&str; 11] = [
    "clients",
    "sites",
    "rooms",
    "items",
    "operations",
    "book-rates",
    "purchases",
    "usage",
    "hours",
    "rentals",
    "past-rooms",
];

/// A ledger with rows of every kind, some of them awkward.
fn full() -> TestLedger {
    let ledger = TestLedger::job_open();
    let notebook = ledger.file(
        "notebook.csv",
        "finished_on,job,room,operation,condition,species,area,edge,quantity,item_quantity,hours\n\
         2025-11-03,Mill Lane,Hall,rotary-36,worn-film,red-oak,120,44,,15,1.25\n\
         2025-11-03,Mill Lane,Hall,orbit-80,worn-film,red-oak,120,44,,6,\n\
         2025-11-04,Mill Lane,Hall,set-nails,worn-film,red-oak,,,40,,0.75\n",
    );
    ledger.lines(
        r#"
        client add "=SUM(A1), \"the\" client" --note "+1 on Sundays"
        tax-area add "Marsh County" 8.25%
        site add "=SUM" "7 Weir Road, flat 2" --tax-area Marsh --year-built 2004 --note "line one"
        room add "7 Weir Road" "Bay room" --shape "trapezoid 10',6'6 1/2\" x 4'" --plus "5 x 2" --island "2 x 1.5" --condition glue --species other --layout herringbone --not-refinished
        item add felt --unit m2 --pack 12.5=31.20 --not-kept
        operation add felt-laying --task repair --driver area --item felt --answers hollow
        rate set felt-laying --kind item --per 0.333333333 --fixed 0.000001
        rate set felt-laying --kind hours --per 40
        buy disc-7in-36 30 --cost 96.00
        buy oil-finish 1.5 --cost 77.77 --note "-receipt 12"
        use disc-7in-36 6 --room Landing --room "Back bedroom"
        use oil-finish 0.333333 --on oil-coat --note "@home"
        hours "Ruben Vale" 1.5 --room Landing --on sand
        hours "Ruben Vale" 0.25 --on rotary-36
        hours "Ruben Vale" 0.75
        rental out rotary --at "2026-02-27 15:00"
        rental back rotary --at "2026-03-02 08:30"
        rental out edger --at "2026-03-01 09:00"
        rental back edger --at "2026-03-01 12:00" --charged 35.25
        machine edit rotary --half-day none --day 91.5 --waiver 12.25
        rental out buffer --at "2026-03-02 09:00"
        "#,
    );
    ledger.line(&format!("import past-rooms {notebook}")).ok();
    ledger
}

#[test]
fn export_then_import_into_a_new_file_is_an_identity() {
    let (ledger, copy) = (full(), TestLedger::new());
    copy.line("tax-area add \"Marsh County\" 8.25%").ok();
    for kind in KINDS {
        let rows = ledger.line(&format!("export {kind}")).ok();
        assert!(rows.lines().count() > 1, "{kind} has rows");
        let file = copy.file(&format!("{kind}.csv"), &rows);
        copy.line(&format!("import {kind} {file}")).ok();
        assert_eq!(copy.line(&format!("export {kind}")).ok(), rows, "{kind}");
    }
    assert_eq!(
        copy.json("check"),
        serde_json::json!({ "ok": true, "problems": [] })
    );
}

#[test]
fn cells_that_a_spreadsheet_would_run_are_defused() {
    let rows = full().line("export clients").ok();
    assert!(rows.contains("\"'=SUM(A1), \"\"the\"\" client\""), "{rows}");
    assert!(rows.contains(",'+1 on Sundays"), "{rows}");
}

#[test]
fn mistakes_are_told_by_file_line_and_column_and_nothing_is_imported() {
    let ledger = full();
    let past = "finished_on,job,room,operation,condition,species,area,edge,item_quantity,hours\n";
    let good = "2025-01-02,A,Hall,rotary-36,bare,ash,100,40,3,1\n";
    let rows = [
        ("past-rooms", format!("{past}{good}2025-01-02,A,Den,rotary-36,bare,ash,0,40,3,1\n"), "3: area: `0` is not above zero"),
        ("past-rooms", format!("{past}2025-01-02,A,Den,rotary-36,bare,ash,-5,40,3,1\n"), "2: area: `-5` is not above zero"),
        ("past-rooms", format!("{past}2025-01-02,A,Den,rotary-36,bare,ash,100,40,-3,1\n"), "2: item_quantity: `-3` is below zero"),
        ("past-rooms", format!("{past}2025-01-02,A,Den,rotary-36,bare,ash,100,40,three,1\n"), "2: item_quantity: `three` is not a number"),
        ("past-rooms", format!("{past}2025-01-02,A,Den,rotary-37,bare,ash,100,40,3,1\n"), "2: operation: no operation `rotary-37`"),
        (
            "past-rooms",
            format!("{past}2025-01-02,A,Den,rotary-36,wet,ash,100,40,3,1\n"),
            "2: condition: `wet` is not a floor condition; one of: bare, sound-film, worn-film, oil-wax, paint, glue",
        ),
        ("past-rooms", format!("{past}2027-01-02,A,Den,rotary-36,bare,ash,100,40,3,1\n"), "2: finished_on: `2027-01-02` is after today, 2026-03-02"),
        ("past-rooms", format!("{past}{good}{good}"), "3: operation: `Hall` of `A` has rotary-36 already"),
        ("past-rooms", format!("{past}2025-01-02,A,Den,rotary-36,bare,ash,100,40,,\n"), "2: item_quantity: neither items nor hours are recorded"),
        ("rooms", "site,room,shape,condition,spcies\n".to_owned(), "1: `spcies` is not a column of rooms; did you mean `species`?"),
        ("rooms", "site,room,shape,condition,species\n4 Tannery Row,Den,4 x,bare,ash\n".to_owned(), "2: shape: `` is not a length (try 12'6\", 12.5 or 3.81m)"),
        ("clients", "client\nB\n\nB\n".to_owned(), "4: client: there is already a client `B`"),
        (
            "book-rates",
            "operation,condition,species,kind,driver_per_item,fixed_items,trust\nrotary-36,,,item,8,0,300\nrotary-50,,,item,8,0,200\n".to_owned(),
            "3: trust: `200` disagrees with `300` above: trust-discs is one figure",
        ),
        (
            "book-rates",
            "operation,condition,species,kind,driver_per_item,fixed_items,trust\nrotary-36,,,item,0,0,300\n".to_owned(),
            "2: driver_per_item: `0` is not above zero",
        ),
        ("hours", "date,job,site,worker,hours\n2026-01-05,J9,4 Tannery Row,Nobody,3\n".to_owned(), "2: worker: no worker `Nobody`"),
        ("usage", "date,job,site,item,quantity\n2026-01-05,Mill,4 Tannery Row,disc-7in-36,3\n".to_owned(), "2: job: `Mill` is not a job number like J1"),
    ];
    for (kind, text, words) in rows {
        let before = ledger.line(&format!("export {kind}")).ok();
        let file = ledger.file("rows.csv", text);
        let said = ledger.line(&format!("import {kind} {file}")).refused();
        assert_eq!(
            said.lines().next().unwrap(),
            format!("error: rows.csv:{words}"),
            "{said}"
        );
        assert_eq!(
            ledger.line(&format!("export {kind}")).ok(),
            before,
            "nothing is imported"
        );
    }
}

#[test]
fn a_dry_run_does_the_work_and_rolls_it_back() {
    let ledger = full();
    let file = ledger.file("clients.csv", "client\nBeatrix Rowe\n");
    let run = ledger.line(&format!("import clients {file} --dry-run"));
    assert!(run.stderr().contains("Dry run: nothing was written."));
    assert_eq!(run.ok(), "Imported 1 row of clients.\n");
    assert!(!ledger.line("client list").ok().contains("Beatrix"));
}

#[test]
fn a_metric_notebook_gives_the_same_rates() {
    let heading =
        "finished_on,job,room,operation,condition,species,area,edge,item_quantity,hours\n";
    let (feet, metres) = (TestLedger::new(), TestLedger::new());
    // 100 sq ft = 9.290304 m², 40 ft = 12.192 m (NIST Handbook 44, Appendix C).
    let file = feet.file(
        "n.csv",
        format!("{heading}2025-01-02,A,Hall,rotary-36,bare,ash,100,40,3,1\n"),
    );
    feet.line(&format!("import past-rooms {file}")).ok();
    let file = metres.file(
        "n.csv",
        format!("{heading}2025-01-02,A,Hall,rotary-36,bare,ash,9.290304,12.192,3,1\n"),
    );
    metres
        .line(&format!("import past-rooms {file} --units metric"))
        .ok();
    assert_eq!(
        feet.json("rate list --learned"),
        metres.json("rate list --learned")
    );
}
