//! Refusals word for word, each with what to type instead; many of them over one ledger.

use gritledger::ledger::{Clock, Ledger, NewItem, Occasion, Pack, UsedFor};
use gritledger::money::Money;
use gritledger::trade::Unit;

use crate::harness::TestLedger;

/// Each line is refused with exactly these words and hints, and the ledger stays as it was.
fn refuses(ledger: &TestLedger, cases: &[(&str, &str)]) {
    let before = std::fs::read(ledger.path()).expect("the ledger");
    for (line, words) in cases {
        assert_eq!(
            ledger.line(line).refused(),
            format!("error: {words}"),
            "{line}"
        );
    }
    let after = std::fs::read(ledger.path()).expect("the ledger");
    assert_eq!(after, before, "a refusal wrote something");
}

/// A job under way, and a second house that is quoted.
fn two_houses() -> TestLedger {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        client add "Bo Marsh"
        site add "Bo Marsh" "7 Mill Lane"
        room add "7 Mill Lane" Hall --shape "12 x 5" --condition bare --species white-oak --door "outside:3'"
        room add "7 Mill Lane" Den --shape "12 x 9" --condition bare --species white-oak --door "Hall:3'"
        quote draft "7 Mill Lane" --sequence rotary-36-50-80 --schedule oil-2-coat
        "#,
    );
    ledger
}

#[test]
fn of_the_book_and_its_rates() {
    let ledger = two_houses();
    ledger.lines(
        r#"
        operation add tail --task trim --driver job
        item add odd --unit each --pack 0.000001=1 --pack 7.3=2
        "#,
    );
    let pieces = format!("item cut quarter-round{}", " 3ft".repeat(201));
    let off_cuts = format!("item cut quarter-round 3ft{}", " --off-cut 2ft".repeat(31));
    refuses(
        &ledger,
        &[
            (
                "machine cover rotary --days \"\"",
                "`` is not a number of days",
            ),
            (
                "item add thing --unit h --pack 1=2",
                "an item isn't counted in `h`\nhint: --unit: sqft, ft, m2, m, disc, gal, l, each",
            ),
            (
                "item cover odd 9000000",
                "`odd` can't be bought\ncaused by: that would be more packs than can be worked out",
            ),
            (&pieces, "200 pieces are cut together at most"),
            (&off_cuts, "30 off-cuts are used up together at most"),
            (
                "operation list --task scrub",
                "no task `scrub`\nhint: tasks: sand, edge, coat, repair, trim, set-up",
            ),
            (
                "rate show tail",
                "the book has no rate for `tail` on that floor\nhint: gritledger rate set tail --kind hours --per AMOUNT",
            ),
            (
                "rate set set-nails --kind hours --per 5 --condition bare",
                "the rates of `set-nails` don't differ by floor condition\n\
                 hint: gritledger operation edit set-nails --rates-by condition",
            ),
            (
                "rate set clean-up --kind hours --per 5 --species ash",
                "the rates of `clean-up` don't differ by species\n\
                 hint: gritledger operation edit clean-up --rates-by species",
            ),
            (
                "rate set rotary-36 --kind item --per 30 --fixed=-1",
                "a fixed amount is not below zero: `-1`",
            ),
            (
                "setting set coating-temperature \"x to y\"",
                "`x` is not a temperature, such as 68 F or 20 C",
            ),
            (
                "spent 100000001 --for x",
                "`100000001` is too large an amount",
            ),
        ],
    );
}

#[test]
fn of_rooms_and_what_is_found_in_them() {
    let ledger = two_houses();
    let walls = format!("room edit Den --walls \"{}\"", "1' r 1' l ".repeat(101));
    refuses(
        &ledger,
        &[
            (
                "room edit Landing --door \"7 Mill Lane/Hall:3'\"",
                "a doorway stays in the house: `Hall` is at `7 Mill Lane`",
            ),
            (
                "room edit Den --walls \"4' r90 3' r 4' r 3' r\"",
                "`r90` is not a turn (r and l are right angles, r45 and l45 half of one)",
            ),
            (&walls, "a room has at most 200 walls and 200 parts"),
            (
                "finding add Landing missing 3",
                "`missing` could be any kind of `missing-quarter-round`, `missing-threshold`",
            ),
        ],
    );
    let walked = ledger.answered(
        "walk \"7 Mill Lane\"",
        &["Hall", "", "", "", "", "", "", "proud-nails", ""],
    );
    let said = walked.stderr();
    assert!(
        said.ends_with(
            "error: `proud-nails` doesn't say how much of it there is\nhint: proud-nails 12\n"
        ),
        "{said}"
    );
}

#[test]
fn of_the_day_book() {
    let ledger = two_houses();
    ledger
        .line("rental out edger --at \"2024-01-02 08:00\" --confirm")
        .ok();
    refuses(
        &ledger,
        &[
            (
                "rental back edger",
                "edger went out at 2024-01-02 08:00: nobody rents for more than 730 days\n\
                 hint: gritledger void E1 --reason \"wrong date\"",
            ),
            (
                "rental day edger --job J1 --date 2023-12-01 --confirm",
                "edger went out on 2024-01-02, after 2023-12-01",
            ),
            (
                "void N99-x --reason y",
                "`N99-X` is not the number of a row of a notebook\nhint: gritledger rate check",
            ),
        ],
    );
    let hours = ledger.line("hours 20 sand --room Landing");
    assert_eq!(
        hours.stderr(),
        "warning: E2: 20 h for Landing so far; rooms like this take 0.39 to 1.17: far more than rooms like this took?\n\
         hint: gritledger rate confirm E2\n\
         hint: gritledger void E2 --reason \"a slip\"\n"
    );
    let fed = ledger.fed("daybook", b"Landing: 36 \xff\n").refused();
    assert_eq!(
        fed,
        "error: failed to read the lines\ncaused by: stream did not contain valid UTF-8"
    );
}

#[test]
fn of_quotes_and_plans() {
    let ledger = two_houses();
    ledger.lines(
        r#"
        sequence add plain rotary-36
        schedule add once oil-coat:8
        operation add scour --task sand --driver area
        sequence add scoured scour
        site add "Bo Marsh" "9 Long Row"
        room add "9 Long Row" Stair --steps 13 --width 3ft --tread 10in --riser 7in --condition bare --species ash
        site add "Bo Marsh" "10 Long Row"
        "#,
    );
    let rooms: String = (1..66)
        .map(|room| format!("10 Long Row,Room {room},10 x 12,bare,ash,outside:3'\n"))
        .collect();
    let rooms = ledger.file(
        "rooms.csv",
        format!("site,room,shape,condition,species,doors\n{rooms}"),
    );
    ledger.line(&format!("import rooms {rooms}")).ok();
    ledger.line("setting set holidays 2026-03-09").ok();
    refuses(
        &ledger,
        &[
            (
                "quote draft \"4 Tannery Row\" --revises Q2",
                "Q2 is for `7 Mill Lane`, not for `4 Tannery Row`\nhint: gritledger quote draft \"7 Mill Lane\" --revises Q2",
            ),
            (
                "quote draft \"7 Mill Lane\" --room Den --room Den",
                "`Den` is named twice",
            ),
            (
                "quote draft \"7 Mill Lane\" --room Den --sequence scoured --schedule none",
                "the book has no hours rate for `scour` on bare white-oak",
            ),
            (
                "quote draft \"9 Long Row\" --sequence plain --schedule none",
                "`Stair` is a stair, and the sequence and schedule have no operation for steps",
            ),
            (
                "plan house \"7 Mill Lane\" --start 2026-03-10 --keep \"Hall, Hall\"",
                "`Hall` is named twice in `Hall, Hall`",
            ),
            (
                "plan house \"7 Mill Lane\" --start 2026-03-09",
                "2026-03-09 is a holiday\nhint: --start 2026-03-10",
            ),
            (
                "plan house \"7 Mill Lane\" --start 2026-03-10 --sequence plain --schedule once",
                "the schedule doesn't say when `oil-coat` is walked on",
            ),
            (
                "plan house \"7 Mill Lane\" --start 2026-03-10 --end 2026-03-10 --sequence plain --schedule oil-2-coat --accept",
                "a plan that isn't feasible makes no quote\n\
                 hint: the same command without --accept says what stands in its way",
            ),
            (
                "plan house \"10 Long Row\" --start 2026-03-10 --sequence plain --schedule oil-2-coat",
                "a house of 65 rooms is more than can be planned at once; 64 can",
            ),
        ],
    );
    ledger.lines(
        r#"
        plan house "7 Mill Lane" --room Den --start 2026-03-10 --sequence plain --schedule oil-2-coat --accept
        quote send Q3
        quote accept Q3
        job start J2
        job close J2
        "#,
    );
    refuses(
        &ledger,
        &[(
            "job dates J2 --lost 2026-03-02",
            "J2 is closed: its dates are past",
        )],
    );
}

#[test]
fn of_invoices_and_payments() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        invoice deposit J1 --amount 100
        invoice issue J1
        invoice final J1
        invoice issue J1
        payment add I1 120 --keep-credit
        payment add I1 150 --keep-credit
        payment void P2 --reason bounced
        "#,
    );
    let ledger = ledger.on("2026-03-05");
    ledger.lines("payment void P1 --reason bounced\npayment add I1 120 --keep-credit");
    refuses(
        &ledger,
        &[
            (
                "payment void X7 --reason x",
                "`X7` is not a payment number\nhint: gritledger payment list",
            ),
            (
                "payment void P2 --reason again",
                "P2 was taken back already\nhint: gritledger payment list",
            ),
            (
                "payment apply I2 --date 2026-03-03",
                "P3 came after 2026-03-03",
            ),
            ("invoice final J1", "nothing is left to invoice"),
        ],
    );
}

#[test]
fn of_jobs_from_before_the_ledger() {
    let ledger = TestLedger::tannery_row();
    let jobs = ledger.file(
        "jobs.csv",
        "job,site,agreed_on,price,closed_on\nOld,4 Tannery Row,2026-02-02,900,2026-02-20\n",
    );
    ledger.line(&format!("import jobs {jobs}")).ok();
    ledger.line("job reopen J1").ok();
    refuses(
        &ledger,
        &[
            ("job dates J1", "J1 has no quote, and so no plan"),
            (
                "quote vary J1 --room Landing",
                "J1 is from before the ledger: it has no quote to change",
            ),
        ],
    );
}

/// Each file is refused as a whole, at its line and column.
#[test]
fn of_files_brought_in() {
    let ledger = TestLedger::job_open();
    for (kind, rows, words) in [
        (
            "operations",
            "operation,task,driver,item,set_size,group,rates_by\nscour,sand,area,,,,none\nScour,sand,area,,,,none",
            "3: operation: `Scour` is there twice",
        ),
        (
            "operations",
            "operation,task,driver,item,set_size,group,rates_by\nscour,sand,area,,3,,none",
            "2: set_size: needs an item",
        ),
        (
            "book-rates",
            "operation,condition,species,kind,driver_per_item,fixed_items,own_work\nclean-up,,,hours,1,0,300\nclean-up,,,hours,2,0,300",
            "3: operation: `clean-up` has this rate twice",
        ),
        (
            "usage",
            "date,job,site,item,quantity\n2026-03-02,Den,4 Tannery Row,disc-7in-36,2",
            "2: job: `Den` is not a job number like J1",
        ),
        (
            "rentals",
            "machine,out_at,job,site\nrotary,yesterday,J1,4 Tannery Row",
            "2: out_at: `yesterday` is not a time like 2026-03-02 08:00",
        ),
        (
            "rentals",
            "machine,out_at,job,site,day,waiver_percent\nrotary,2026-03-02 08:00,J1,4 Tannery Row,60,101",
            "2: waiver_percent: a waiver is no more than 100 %",
        ),
        (
            "rooms",
            "site,room,shape,condition,species,doors\n4 Tannery Row,Den,10 x 12,bare,ash,outside",
            "2: doors: `outside` is not a doorway like `outside:2'8\"`",
        ),
    ] {
        let file = ledger.file("rows.csv", rows);
        assert_eq!(
            ledger.line(&format!("import {kind} {file}")).refused(),
            format!("error: rows.csv:{words}")
        );
    }
}

#[test]
fn of_the_environment_and_of_files() {
    let ledger = TestLedger::job_open();
    let folder = ledger.folder().display().to_string();
    let path = ledger.path().display().to_string();
    for today in ["soon", "2026-03-02 noon"] {
        assert_eq!(
            ledger
                .run_with(&["today"], &[("GRITLEDGER_TODAY", today)])
                .refused(),
            format!("error: GRITLEDGER_TODAY is `{today}`, not a date like 2026-03-02")
        );
    }
    ledger.file("plain", "words");
    std::fs::copy(ledger.path(), ledger.folder().join("other.db")).expect("a copy");
    for (line, words) in [
        (
            format!("export clients --to {folder}/other.db"),
            format!(
                "`{folder}/other.db` is a database, perhaps another ledger: choose another file"
            ),
        ),
        (
            format!("export clients --to {folder}"),
            format!("`{folder}` is a directory"),
        ),
        (
            format!("export clients --to {path}"),
            format!("`{path}` is the ledger itself: choose another file"),
        ),
        (
            format!("export clients --to {path}-wal"),
            format!(
                "`{path}-wal` is the name or the contents of a database's journal: choose another file"
            ),
        ),
        (
            format!("export clients --to {folder}/none/x.csv"),
            format!(
                "failed to write `{folder}/none/x.csv`\ncaused by: No such file or directory (os error 2)"
            ),
        ),
        (
            format!("--ledger {folder}/plain/x/t.db init --business Y"),
            format!(
                "failed to make the folder `{folder}/plain/x`\ncaused by: Not a directory (os error 20)"
            ),
        ),
        (
            format!("restore {path}"),
            format!("`{path}` is the ledger itself"),
        ),
    ] {
        assert_eq!(ledger.line(&line).refused(), format!("error: {words}"));
    }
}

/// What damages a file outside of the program is told, and what to do about it.
#[test]
fn of_damaged_files() {
    let damaged = |sql: &str| {
        let ledger = TestLedger::tannery_row();
        ledger.raw().execute_batch(sql).expect("some damage");
        ledger
    };
    let broken = "broken reference in job_under_way, row 99: its job is gone";
    let ledger = damaged("PRAGMA foreign_keys = 0; INSERT INTO job_under_way VALUES (99)");
    let check = ledger.line("check");
    assert_eq!(check.stdout(), format!("{broken}\n"));
    assert_eq!(check.stderr(), "error: the check found 1 problem\n");
    let backup = ledger.folder().join("backup.db").display().to_string();
    assert_eq!(
        ledger.line(&format!("backup {backup}")).refused(),
        format!("error: the copy is not sound: {broken}\nhint: gritledger check")
    );
    std::fs::copy(ledger.path(), &backup).expect("a copy");
    for line in ["restore", "--dry-run restore"] {
        assert_eq!(
            ledger.line(&format!("{line} {backup}")).refused(),
            format!(
                "error: `{backup}` is not sound: {broken}\nhint: gritledger --ledger {backup} check"
            )
        );
    }
    for (sql, line, words) in [
        (
            "UPDATE room SET shape = 'a hall' WHERE name = 'Landing'",
            "room list \"4 Tannery Row\"",
            "the stored shape `a hall` is damaged",
        ),
        (
            "UPDATE room SET parts = 'a path' WHERE name = 'Landing'",
            "room list \"4 Tannery Row\"",
            "the stored parts `a path` are damaged",
        ),
        (
            "DROP TRIGGER setting_kept; DELETE FROM setting WHERE name = 'margin'",
            "quote draft \"4 Tannery Row\"",
            "the setting margin has no value",
        ),
        (
            "DROP TRIGGER setting_stays; UPDATE setting SET value = 'much' WHERE name = 'margin'",
            "quote draft \"4 Tannery Row\"",
            "the setting margin is `much`",
        ),
        (
            "DROP TRIGGER ledger_stays; UPDATE ledger SET currency = 'ZZZ'",
            "client list",
            "unknown currency `ZZZ`",
        ),
    ] {
        let said = damaged(sql).line(line).refused();
        assert_eq!(
            said.lines().next(),
            Some(format!("error: {words}").as_str()),
            "{sql}"
        );
    }
    for (version, words) in [
        (
            -3,
            "error: `{path}` says that its schema is -3: no gritledger wrote that",
        ),
        (
            99,
            "error: `{path}` was written by a newer gritledger (schema 99, this one knows 9)",
        ),
    ] {
        let ledger = damaged(&format!("PRAGMA user_version = {version}"));
        let path = ledger.path().display().to_string();
        assert_eq!(
            ledger.line("today").refused(),
            words.replace("{path}", &path)
        );
    }
    let ledger = TestLedger::new();
    let path = ledger.path();
    let bytes = std::fs::read(&path).expect("the ledger");
    std::fs::write(&path, &bytes[..bytes.len() / 2]).expect("half of it");
    let path = path.display();
    assert_eq!(
        ledger.line("today").refused(),
        format!("error: `{path}` is damaged\nhint: gritledger restore FILE")
    );
}

/// What the command line asks for itself is refused by the library as well.
#[test]
fn of_the_library_alone() {
    let ledger = TestLedger::job_open();
    let today: chrono::NaiveDate = "2026-03-02".parse().expect("a date");
    let library = Ledger::open(&ledger.path(), Clock::at(today)).expect("the ledger");
    let occasion = Occasion {
        job: None,
        rooms: &[],
        on: today,
        note: "",
    };
    let refused = |words: &str, done: anyhow::Result<()>| {
        let error = done.expect_err(words);
        assert_eq!(error.to_string(), words);
    };
    refused(
        "an item is used on a job",
        library.write(false, |writing| {
            let item = writing.item("disc-7in-36")?;
            let used_for = UsedFor::Operation(None);
            writing
                .record_use(&item, 1.into(), used_for, &occasion)
                .map(drop)
        }),
    );
    refused(
        "a sequence needs at least one operation",
        library.write(false, |writing| writing.add_sequence("nothing", &[])),
    );
    refused(
        "a price is not below zero",
        library.write(false, |writing| {
            let gift = NewItem {
                name: "gift".into(),
                description: String::new(),
                unit: Unit::Each,
                kept: true,
                returnable: false,
                packs: vec![Pack {
                    size: 1.into(),
                    price: Money::from_minor(-1),
                    source: String::new(),
                }],
            };
            writing.add_item(&gift).map(drop)
        }),
    );
}
