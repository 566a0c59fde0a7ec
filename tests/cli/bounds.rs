//! What may be typed: the impossible is refused by whoever writes it, the unlikely is asked about, and `--confirm` says
//! that it is meant.

use crate::harness::{Run, TestLedger};

const MEANT: &str = "hint: the same command with --confirm says that it is meant";

/// Asserts that nobody was there to answer that question, and nothing was done.
#[track_caller]
fn asked(run: Run, doubt: &str) {
    assert_eq!(run.refused(), format!("error: {doubt}\n{MEANT}"));
}

#[test]
fn days_before_1990_and_more_than_two_years_ahead_are_refused_wherever_they_are_typed() {
    let ledger = TestLedger::job_open();
    ledger.lines("tax-area add Harrow 6%\ninvoice final J1\ninvoice issue J1");
    let early = "error: 1989-12-31 is before 1990-01-01: no ledger goes back that far";
    for line in [
        r#"hours "Ruben Vale" 1 --date 1989-12-31"#,
        "use disc-7in-36 1 --date 1989-12-31",
        "spent 5 --for tape --date 1989-12-31",
        "drive 5 --date 1989-12-31",
        "buy disc-7in-36 1 --cost 5 --date 1989-12-31",
        "hand-back disc-7in-36 1 --date 1989-12-31",
        "stock count disc-7in-36 1 --date 1989-12-31",
        r#"rental out rotary --at "1989-12-31 08:00""#,
        "payment add I1 5 --date 1989-12-31",
        "rate change rotary-36 --since 1989-12-31 --note x",
        "tax-area set Harrow 7% --from 1989-12-31",
        r#"setting set holidays "1989-12-31 New Year's Eve""#,
    ] {
        assert_eq!(
            ledger.line(&format!("{line} --confirm")).refused(),
            early,
            "{line}"
        );
    }
    let far = "error: 2028-03-03 is more than 2 years ahead";
    for line in [
        "quote draft 4 --start 2028-03-03",
        "plan house 4 --start 2028-03-03",
        "plan house 4 --start 2026-03-09 --end 2028-03-03",
        "plan house 4 --start 2026-03-09 --away 2026-03-10 2028-03-03",
        "tax-area set Harrow 7% --from 2028-03-03",
        "setting set holidays 2028-03-03",
    ] {
        assert_eq!(
            ledger.line(&format!("{line} --confirm")).refused(),
            far,
            "{line}"
        );
    }
    ledger.line("tax-area set Harrow 7% --from 2028-03-02").ok();
    assert_eq!(
        ledger
            .line(r#"rental out rotary --at "0026-03-02 08:00""#)
            .refused(),
        "error: 0026-03-02 is before 1990-01-01: no ledger goes back that far"
    );
}

#[test]
fn what_is_long_ago_or_before_its_job_is_asked_about() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        "quote draft 4 --sequence rotary-36-50-80 --schedule oil-2-coat\nquote send Q1\nquote accept Q1",
    );
    asked(
        ledger.line("job start J1 --date 2025-12-31"),
        "2025-12-31 is 61 days ago",
    );
    // 61 days are over 60, and 60 are not: January has 31 days, February 28.
    ledger.line("job start J1 --date 2026-01-01").ok();
    for (line, doubt) in [
        (
            r#"hours "Ruben Vale" 1 --date 2025-12-31"#,
            "2025-12-31 is 61 days ago",
        ),
        (
            "buy disc-7in-36 3 --cost 9 --date 2025-12-31",
            "2025-12-31 is 61 days ago",
        ),
        (
            r#"rental out rotary --at "2025-12-31 08:00""#,
            "2025-12-31 is 61 days ago",
        ),
    ] {
        asked(ledger.line(line), doubt);
        ledger.line(&format!("{line} --confirm")).ok();
    }
    let ledger = TestLedger::job_open();
    for line in [
        r#"hours "Ruben Vale" 1 --date yesterday"#,
        "use disc-7in-36 1 --date yesterday",
        "spent 5 --for tape --date yesterday",
        "drive 5 --date yesterday",
    ] {
        asked(
            ledger.line(line),
            "2026-03-01 is before J1 began, on 2026-03-02",
        );
        ledger.line(&format!("{line} --confirm")).ok();
    }
    // A machine is fetched the afternoon before.
    ledger
        .line(r#"rental out rotary --at "yesterday 16:00""#)
        .ok();
    assert_eq!(ledger.json("check")["ok"], true);
}

#[test]
fn files_of_older_work_are_not_asked_about() {
    let ledger = TestLedger::job_open();
    let head = "date,job,site,worker,hours,wage\n";
    let row = |day, wage| format!("{head}{day},J1,4 Tannery Row,Ruben Vale,2,{wage}\n");
    let refused = |text: String| {
        let file = ledger.file("h.csv", text);
        ledger.line(&format!("import hours {file}")).refused()
    };
    assert_eq!(
        refused(row("1989-12-31", "20")),
        "error: h.csv:2: date: 1989-12-31 is before 1990-01-01: no ledger goes back that far"
    );
    assert_eq!(
        refused(row("2020-05-04", "10000.01")),
        "error: h.csv:2: wage: nobody earns that much in an hour"
    );
    let file = ledger.file("h.csv", row("2020-05-04", "20"));
    ledger.line(&format!("import hours {file}")).ok();
}

#[test]
fn the_same_line_for_the_same_day_is_asked_about() {
    let ledger = TestLedger::job_open();
    ledger.lines("invoice final J1\ninvoice issue J1");
    let lines = [
        "buy disc-7in-36 30 --cost 96.00",
        "use disc-7in-36 3 --room Landing",
        r#"hours "Ruben Vale" 1 --room Landing --on sand"#,
        "spent 5 --for tape",
        "drive 5",
        "hand-back disc-7in-36 3",
        "stock count disc-7in-36 24",
    ];
    for (number, line) in (1..).zip(lines) {
        ledger.line(line).ok();
        asked(
            ledger.line(line),
            &format!("the same is logged for that day already, as E{number}"),
        );
    }
    // Another day, room, note, amount or worker, and another after the first was taken back, is another line.
    ledger.lines(
        r#"
        use disc-7in-36 3 --room "Back bedroom"
        use disc-7in-36 3
        use disc-7in-36 3 --room Landing --note "the hearth"
        spent 6 --for tape
        drive 5 --note "back for the edger"
        void E3 --reason "typed twice"
        hours "Ruben Vale" 1 --room Landing --on sand
        use disc-7in-36 3 --room Landing --confirm
        payment add I1 5
        payment add I1 6
        "#,
    );
    asked(
        ledger.line("payment add I1 5"),
        "the same payment is noted already, as P1",
    );
    ledger.line("payment add I1 5 --confirm").ok();
}

#[test]
fn wages_floors_and_margins_have_bounds() {
    let ledger = TestLedger::tannery_row();
    for line in [
        r#"worker add "Ana Reed" --wage 10000.01"#,
        r#"worker edit "Ruben Vale" --wage 100000000"#,
    ] {
        assert_eq!(
            ledger.line(line).refused(),
            "error: nobody earns that much in an hour"
        );
    }
    ledger.line(r#"worker add "Ana Reed" --wage 10000"#).ok();
    let hall = |shape: &str| {
        format!(r#"room add 4 Hall --shape "{shape}" --condition bare --species pine"#)
    };
    // 316.3 ft squared are 100,045.69 sq ft.
    assert_eq!(
        ledger.line(&hall("316.3 x 316.3")).refused(),
        "error: 100045.69 sq ft is more than one room has: 100000 sq ft at most"
    );
    asked(
        ledger.line(&hall("100 x 50.5")),
        "5050 sq ft is a large room",
    );
    ledger
        .line(&format!("{} --confirm", hall("100 x 50.5")))
        .ok();
    ledger.line(r#"room edit Hall --shape "100 x 50""#).ok();
    asked(
        ledger.line(r#"room edit Hall --shape "100 x 60""#),
        "6000 sq ft is a large room",
    );
    let thin = "a margin of 1.5 % keeps next to nothing";
    for line in [
        "quote draft 4 --margin 1.5",
        "plan house 4 --start 2026-03-09 --margin 1.5%",
        "setting set margin 1.5",
    ] {
        asked(ledger.line(line), thin);
    }
    ledger.lines("setting set margin 1.5 --confirm\nquote draft 4 --margin 0");
}

#[test]
fn a_dry_run_asks_as_the_real_one_does() {
    let ledger = TestLedger::job_open();
    ledger.line("drive 5").ok();
    asked(
        ledger.line("drive 5 --dry-run"),
        "the same is logged for that day already, as E1",
    );
    ledger.line("drive 5 --dry-run --confirm").ok();
    assert_eq!(
        ledger.json("job show J1")["entries"]
            .as_array()
            .map(Vec::len),
        Some(1)
    );
}

#[test]
fn rates_and_findings_that_cannot_be_meant_are_refused() {
    let ledger = TestLedger::tannery_row();
    for (line, said) in [
        (
            "rate set rotary-36 --kind item --per 0.00001 --condition worn-film",
            "error: `0.00001` is too small a rate: 0.0001 at least",
        ),
        (
            "rate set rotary-36 --kind item --per 8 --fixed 99999999",
            "error: `99999999` is too large a fixed amount: 1000 at most",
        ),
        (
            "finding add Landing proud-nails 9999999",
            "error: `9999999` is more than a room holds: 1000000 at most",
        ),
    ] {
        assert_eq!(ledger.line(line).refused(), said);
    }
}
