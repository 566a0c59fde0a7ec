//! CSV in and out.

use crate::harness::TestLedger;

const KINDS: [&str; 15] = [
    "clients",
    "sites",
    "rooms",
    "readings",
    "past-jobs",
    "items",
    "operations",
    "book-rates",
    "purchases",
    "usage",
    "hours",
    "spent",
    "drives",
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
        site add "=SUM" "7 Weir Road, flat 2" --tax-area Marsh --year-built 2004 --distance 12.5 --note "line one"
        room add "7 Weir Road" "Bay room" --shape "trapezoid 10',6'6 1/2\" x 4'" --plus "5 x 2" --island "2 x 1.5" --condition glue --species other --layout herringbone --not-refinished
        room edit Landing --part "3 x 4: paint"
        reading add Landing seen nothing wood-left "1/4 in" --place register --by "Ruben Vale"
        reading add Landing board 8.5 subfloor 10.25 --date 2026-02-20
        reading add Landing lead "0.3 mg/cm2" --layer paint --by "=HILL()" --place "north wall, \"low\""
        reading add "4 Tannery Row" temperature "20.5 C" humidity 41 --house
        reading add Landing board 30
        reading void 8 --reason "another room"
        item add felt --unit m2 --pack 12.5=31.20 --not-kept
        operation add felt-laying --task repair --driver area --item felt --for-finding hollow
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
        spent 45.50 --for "dump fee, \"two\" loads"
        spent 300 --for insurance --no-job
        drive 14.5 --room Landing --note "to the tip, twice"
        drive 40 --no-job
        hours "Ruben Vale" 2 --no-job --note "estimate visit"
        "#,
    );
    let jobs = ledger.file(
        "jobs.csv",
        "job,site,agreed_on,price,closed_on,cost\n\
         \"Weir Road 2019, upstairs\",\"7 Weir Road, flat 2\",2019-05-06,1200.00,2019-05-17,840.00\n\
         2020-3,4 Tannery Row,2020-01-07,310,2020-01-07,\n",
    );
    ledger.line(&format!("import past-jobs {jobs}")).ok();
    ledger.lines(
        r#"
        use disc-7in-36 3 --job 2020-3 --on rotary-36 --room Landing --date 2020-01-07 --confirm
        hours "Ruben Vale" 1.25 --job 2020-3 --on rotary-36 --room Landing --date 2020-01-07 --confirm
        spent 12 --for parking --job Weir --date 2019-05-08 --confirm
        rental out edger --job Weir --at "2019-05-08 08:00" --confirm
        rental day edger --job 2020-3 --date 2020-01-07 --confirm
        rental back edger --at "2020-01-07 17:00" --charged 90.00 --confirm
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
        if kind == "rooms" {
            // A job begins with its quote: day books come into one that is there.
            copy.lines("worker add \"Ruben Vale\" --wage 28.00\nquote draft \"4 Tannery Row\"\nquote send Q1\nquote accept Q1\njob start J1");
        }
        assert_eq!(copy.line(&format!("export {kind}")).ok(), rows, "{kind}");
    }
    assert_eq!(
        copy.json("check"),
        serde_json::json!({ "ok": true, "problems": [] })
    );
}

/// A metric ledger with rows of every kind that has measures, and the notebook of a firm that measures in feet.
fn metric() -> TestLedger {
    let ledger = TestLedger::nowhere();
    ledger.lines(
        r#"
        init --business "Weir Floors" --units metric --currency EUR
        setting set km-rate 0.36
        setting set own-work-discs "27.5 m2"
        worker add "Jörg Weiß" --wage 28.00
        client add "Zoë Müller"
        site add "Zoë Müller" "Lindenweg 4a" --distance "14.3 km"
        room add "Lindenweg 4a" Flur --shape "4.2 x 1.6 m" --condition worn-film --species ash --part "3 x 1: paint"
        reading add Flur wood-left "6 mm"
        rate set rotary-50 --kind item --per "4.6 m2" --condition bare
        rate set orbit-80 --kind hours --per "20 m"
        drive 30.5 --no-job
        "#,
    );
    let notebook = ledger.file(
        "notebook.csv",
        "finished_on,job,room,operation,condition,species,area,edge,quantity,item_quantity,hours,area_unit,edge_unit,quantity_unit\n\
         2025-11-03,Mill Lane,Hall,rotary-36,worn-film,red-oak,9.1,7.26,,15,1.25,,,\n\
         2025-11-03,Mill Lane,Den,rotary-36,worn-film,red-oak,100,40,,15,1.25,sqft,ft,\n\
         2025-11-04,Mill Lane,Hall,fit-quarter-round,worn-film,red-oak,,,5.5,6,,,,m\n",
    );
    ledger.line(&format!("import past-rooms {notebook}")).ok();
    ledger
}

#[test]
fn a_metric_ledger_leaves_in_its_own_units_and_comes_back() {
    let (ledger, copy) = (metric(), TestLedger::nowhere());
    copy.lines("init --business \"Weir Floors\" --units metric --currency EUR");
    for (kind, told) in [
        ("clients", "Zoë Müller"),
        ("sites", ",14.3,km,"),
        (
            "rooms",
            ",4200mm x 1600mm,worn-film,ash,strip,yes,,,3000mm x 1000mm: paint",
        ),
        ("readings", "6mm"),
        ("items", "oil-finish,l,"),
        ("operations", "rotary-36"),
        ("book-rates", "\r\nrotary-50,bare,,item,4.6,"),
        ("book-rates", ",27.5,m2,m2,"),
        ("drives", ",30.5,km,,0.36,"),
        ("past-rooms", ",9.1,7.26,15,1.25,,m2,m,\r\n"),
        ("past-rooms", ",9.290304,12.192,15,1.25,,m2,m,\r\n"),
        ("past-rooms", ",6,,5.5,,,m\r\n"),
    ] {
        let rows = ledger.line(&format!("export {kind}")).ok();
        assert!(rows.contains(told), "{kind}: {rows}");
        if copy.line(&format!("export {kind}")).ok() != rows {
            let file = copy.file(&format!("{kind}.csv"), &rows);
            copy.line(&format!("import {kind} {file}")).ok();
        }
        assert_eq!(copy.line(&format!("export {kind}")).ok(), rows, "{kind}");
    }
    // A ledger of feet knows them by their unit, and leaves them in its own.
    let feet = TestLedger::new();
    for kind in ["clients", "sites", "rooms", "past-rooms", "drives"] {
        let rows = ledger.line(&format!("export {kind}")).ok();
        let file = feet.file(&format!("{kind}.csv"), &rows);
        feet.line(&format!("import {kind} {file}")).ok();
    }
    let told = feet.line("export past-rooms").ok();
    assert!(told.contains(",100,40,15,1.25,,sqft,ft,\r\n"), "{told}");
    // 14.3 km ÷ 1.609344 (NIST Handbook 44, Appendix C).
    let told = feet.line("export sites").ok();
    assert!(told.contains(",8.885608,mi,"), "{told}");
    // What costs 0.36 a kilometre costs 0.57936384 a mile.
    let told = feet.line("export drives").ok();
    assert!(told.contains(",18.951821,mi,,0.579364,"), "{told}");
}

#[test]
fn a_unit_that_a_column_cannot_have_is_refused() {
    let ledger = full();
    for (kind, text, words) in [
        (
            "sites",
            "client,site,distance,distance_unit\nAda Quill,9 Mill Lane,3,furlong\n",
            "distance_unit: `furlong` is not one of its units: mi, km",
        ),
        (
            "past-rooms",
            "finished_on,job,room,operation,condition,species,area,edge,item_quantity,hours,area_unit\n2025-01-02,A,Den,rotary-36,bare,ash,9,40,3,1,ft\n",
            "area_unit: `ft` is not one of its units: sqft, m2",
        ),
        (
            "book-rates",
            "operation,condition,species,kind,driver_per_item,fixed_items,own_work,driver_unit\nset-nails,,,item,9,0,300,m\n",
            "driver_unit: `m` is not its unit, each",
        ),
    ] {
        let file = ledger.file("rows.csv", text);
        assert_eq!(
            ledger.line(&format!("import {kind} {file}")).refused(),
            format!("error: rows.csv:2: {words}")
        );
    }
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
    let readings = "date,site,room,kind,value,layer,place,by\n2026-01-05,4 Tannery Row";
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
            "operation,condition,species,kind,driver_per_item,fixed_items,own_work\nrotary-36,,,item,8,0,300\nrotary-50,,,item,8,0,200\n".to_owned(),
            "3: own_work: `200` disagrees with `300` above: own-work-discs is one figure",
        ),
        (
            "book-rates",
            "operation,condition,species,kind,driver_per_item,fixed_items,own_work\nrotary-36,,,item,0,0,300\n".to_owned(),
            "2: driver_per_item: `0` is not above zero",
        ),
        ("readings", format!("{readings},Landing,wood-left,0.25,,,\n"), "2: value: `0.25` has no unit: a thickness is written 1/4 in or 6 mm"),
        ("readings", format!("{readings},Attic,board,8,,,\n"), "2: room: no room `Attic`"),
        ("readings", format!("{readings},Landing,bord,8,,,\n"), "2: kind: `bord` is not a kind of reading; one of: wood-left, top-layer, board-width, board, board-bottom, subfloor, temperature, humidity, lead, asbestos, seen"),
        ("readings", format!("{readings},Landing,lead,negative,paint,,\n"), "2: by: who tested for lead? --by NAME says it"),
        ("readings", format!("{readings},Landing,lead,negative,,,Hill Laboratory\n"), "2: layer: a result for lead is of one layer: say which, --layer paint|finish|tile|sheet|backing|mastic"),
        ("readings", format!("{readings},Landing,board,8,paint,,\n"), "2: layer: only tests for lead and asbestos are of a layer, not board"),
        ("readings", format!("{readings},,lead,negative,paint,,Hill Laboratory\n"), "2: room: a result that found nothing is of one layer in one room: say which room"),
        ("hours", "date,job,site,worker,hours\n2026-01-05,J9,4 Tannery Row,Nobody,3\n".to_owned(), "2: worker: no worker `Nobody`"),
        ("usage", "date,job,site,item,quantity\n2026-01-05,Mill,4 Tannery Row,disc-7in-36,3\n".to_owned(), "2: job: no job `Mill`"),
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

#[test]
fn a_job_that_is_not_there_is_refused_at_its_line_with_near_numbers() {
    let ledger = TestLedger::job_open();
    let before = ledger.json("job list");
    for (kind, row, place) in [
        (
            "usage",
            "date,job,site,item,quantity\n2026-03-01,J1,4 Tannery Row,disc-7in-36,3\n2026-03-01,J7,4 Tannery Row,disc-7in-36,3\n",
            3,
        ),
        (
            "hours",
            "date,job,site,worker,hours\n2026-03-01,J7,4 Tannery Row,Ruben Vale,3\n",
            2,
        ),
        (
            "rentals",
            "machine,out_at,back_at,job,site\nrotary,2026-03-01 08:00,,J7,4 Tannery Row\n",
            2,
        ),
    ] {
        let file = ledger.file("f.csv", row);
        assert_eq!(
            ledger.line(&format!("import {kind} {file}")).refused(),
            format!("error: f.csv:{place}: job: no job `J7`\nhint: near numbers: `J1`"),
            "{kind}"
        );
    }
    assert_eq!(ledger.json("job list"), before);
    assert_eq!(ledger.json("job show J1")["entries"], serde_json::json!([]));
}

#[test]
fn names_that_look_the_same_are_one_name_and_what_cannot_be_shown_is_none() {
    let ledger = TestLedger::tannery_row();
    // The first is typed with an accent of its own, as some keyboards and files have it.
    ledger.line("client add \"Zoe\u{301}  Lind\"").ok();
    for name in ["Zo\u{e9} Lind", "zo\u{c9} lind", "Zoe\u{301}\u{a0}Lind"] {
        assert_eq!(
            ledger.line(&format!("client add \"{name}\"")).refused(),
            format!(
                "error: there is already a client `{}`",
                name.replace("e\u{301}\u{a0}", "\u{e9} ")
            ),
            "{name:?}"
        );
        ledger.line(&format!("client show \"{name}\"")).ok();
    }
    ledger
        .line("item add \"fe\u{301}utre\" --unit each --pack 1=2.00")
        .ok();
    assert_eq!(
        ledger
            .line("item add f\u{c9}utre --unit each --pack 1=2.00")
            .refused(),
        "error: there is already the item `f\u{c9}utre`"
    );
    for line in [
        "client add \"Ada\u{7}Quill\"",
        "client edit \"Ada Quill\" --name \"Ada\u{7}Quill\"",
        "site add \"Ada Quill\" \"9 Mill\u{7}Lane\"",
        "room add 4 \"Ha\u{7}ll\" --shape \"10 x 5\" --condition bare --species pine",
        "room edit Landing --name \"Land\u{7}ing\"",
        "worker add \"Ana\u{7}Reed\" --wage 20",
        "item add \"fel\u{7}t\" --unit each --pack 1=2.00",
        "machine add \"plane\u{7}tary\" --day 110",
        "operation add \"glue\u{7}down\" --task repair --driver count",
        "operation add glue-down --task \"re\u{7}pair\" --driver count",
        "sequence add \"coa\u{7}rse\" rotary-36",
        "schedule add \"slo\u{7}w\" oil-coat:24",
        "tax-area add \"Har\u{7}row\" 6%",
    ] {
        let refused = ledger.line(line).refused();
        assert!(
            refused.contains("holds a sign that can't be shown, U+0007"),
            "{line:?}: {refused}"
        );
    }
    // What is let in comes back from its export.
    let rows = ledger.line("export clients").ok();
    let (copy, file) = (TestLedger::new(), ledger.file("c.csv", &rows));
    copy.line(&format!("import clients {file}")).ok();
    assert_eq!(copy.line("export clients").ok(), rows);
    // A file may spell it the other way.
    let file = copy.file("c.csv", "client\nZoe\u{301} Lind\n");
    assert_eq!(
        copy.line(&format!("import clients {file}")).refused(),
        "error: c.csv:2: client: there is already a client `Zo\u{e9} Lind`"
    );
}

/// A row again is most likely a slip, of a file that has grown or of a whole one; it may be another of the same day.
#[test]
fn a_file_with_rows_that_are_there_already_is_asked_about() {
    let ledger = TestLedger::job_open();
    let usage = "date,job,site,item,quantity,room\n";
    let row = |quantity: &str, room: &str| {
        format!("2026-03-02,J1,4 Tannery Row,disc-7in-36,{quantity},{room}\n")
    };
    let files = [
        (
            "purchases",
            "date,item,quantity,cost\n2026-02-27,disc-7in-36,30,96.00\n2026-02-27,oil-finish,1,52.00\n".to_owned(),
        ),
        ("usage", format!("{usage}{}{}", row("6", "Landing"), row("2.5", "Landing; Back bedroom"))),
        ("hours", "date,job,site,worker,hours,on\n2026-03-02,J1,4 Tannery Row,Ruben Vale,1.5,sand\n2026-03-02,J1,4 Tannery Row,Ruben Vale,0.5,coat\n".to_owned()),
        ("spent", "date,job,site,amount,what,no_job\n2026-03-02,J1,4 Tannery Row,45.50,dump fee,\n2026-03-02,,,300,insurance,yes\n".to_owned()),
    ];
    for (kind, text) in &files {
        let file = ledger.file(&format!("{kind}.csv"), text);
        let first = ledger.line(&format!("import {kind} {file}"));
        assert!(!first.stderr().contains("already"), "{first}");
        let rows = ledger.line(&format!("export {kind}")).ok();
        assert_eq!(
            ledger.line(&format!("import {kind} {file}")).refused(),
            format!(
                "error: {kind}.csv: all 2 rows are in the ledger already\nhint: the same command with --confirm says that it is meant"
            )
        );
        assert_eq!(ledger.line(&format!("export {kind}")).ok(), rows);
    }
    let one = ledger.file("one.csv", format!("{usage}{}", row("6.0", "Landing")));
    assert_eq!(
        ledger.line(&format!("import usage {one}")).refused(),
        "error: one.csv: its row is in the ledger already\nhint: the same command with --confirm says that it is meant"
    );
    ledger.line(&format!("import usage {one} --confirm")).ok();
    // Another quantity, room or note is another entry.
    let some = [
        row("7", "Landing"),
        row("6", "Landing"),
        row("6", ""),
        row("2.5", "Back bedroom; Landing"),
    ];
    let some = ledger.file("some.csv", format!("{usage}{}", some.concat()));
    assert_eq!(
        ledger.line(&format!("import usage {some}")).refused(),
        "error: some.csv: lines 3, 5 are in the ledger already\nhint: the same command with --confirm says that it is meant"
    );
    ledger.line(&format!("import usage {some} --confirm")).ok();
    let fewer = ledger.file(
        "fewer.csv",
        format!("{usage}{}{}", row("6", "Landing"), row("8", "")),
    );
    assert_eq!(
        ledger.line(&format!("import usage {fewer}")).refused(),
        "error: fewer.csv: line 2 is in the ledger already\nhint: the same command with --confirm says that it is meant"
    );
    // What was taken back isn't there.
    ledger.line("buy oil-finish 3 --cost 150.00").ok();
    ledger.line("void").ok();
    let taken = ledger.file(
        "taken.csv",
        "date,item,quantity,cost\n2026-03-02,oil-finish,3,150.00\n",
    );
    ledger.line(&format!("import purchases {taken}")).ok();
    // A machine that went out at the same time for the same job is the same one.
    let out = ledger.file(
        "out.csv",
        "machine,out_at,job,site,back_at\nrotary,2026-02-27 08:00,J1,4 Tannery Row,2026-02-28 08:00\n",
    );
    ledger.line(&format!("import rentals {out}")).ok();
    assert_eq!(
        ledger.line(&format!("import rentals {out}")).refused(),
        "error: out.csv: its row is in the ledger already\nhint: the same command with --confirm says that it is meant"
    );
}

#[test]
fn a_mistake_is_told_as_it_was_typed() {
    let ledger = full();
    let file = ledger.file(
        "rooms.csv",
        "site;room;shape;condition;species\n4 Tannery Row;Nook;12,5 x 3,2y m;bare;ash\n",
    );
    assert_eq!(
        ledger.line(&format!("import rooms {file}")).refused(),
        "error: rooms.csv:2: shape: `3,2y m` is not a length (try 12'6\", 12.5 or 3.81m)"
    );
    let file = ledger.file(
        "purchases.csv",
        "date;item;quantity;cost\n2026-02-30,5;disc-7in-36;3;4\n",
    );
    assert_eq!(
        ledger.line(&format!("import purchases {file}")).refused(),
        "error: purchases.csv:2: date: `2026-02-30,5` is not a date like 2026-03-02"
    );
}

#[test]
fn a_large_room_is_asked_about_when_it_is_imported() {
    let ledger = full();
    let file = ledger.file(
        "rooms.csv",
        "site,room,shape,condition,species\n4 Tannery Row,Barn,100ft x 60ft,bare,ash\n",
    );
    let line = format!("import rooms {file}");
    assert_eq!(
        ledger.line(&line).refused(),
        "error: rooms.csv:2: shape: 6000 sq ft is a large room\n\
         hint: the same command with --confirm says that it is meant"
    );
    ledger.line(&format!("{line} --confirm")).ok();
}
