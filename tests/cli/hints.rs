//! Which lines hint at a command; `hinted.rs` types it.

use crate::harness::TestLedger;
use crate::hinted::commands;

/// Has each line refused, with a command hinted at.
#[track_caller]
fn refused(ledger: &TestLedger, lines: &str) {
    for line in lines.lines().map(str::trim).filter(|line| !line.is_empty()) {
        let run = ledger.line(line);
        assert_eq!(run.code(), 1, "{run}");
        assert!(!commands(&run).is_empty(), "no command is hinted at: {run}");
    }
}

/// Has each line done, with a command hinted at.
#[track_caller]
fn done(ledger: &TestLedger, lines: &str) {
    for line in lines.lines().map(str::trim).filter(|line| !line.is_empty()) {
        let run = ledger.line(line);
        assert_eq!(run.code(), 0, "{run}");
        assert!(!commands(&run).is_empty(), "no command is hinted at: {run}");
    }
}

#[test]
fn what_a_beginner_is_told_can_be_typed() {
    let ledger = TestLedger::nowhere();
    let run = ledger.line("client list");
    assert_eq!(
        commands(&run),
        [
            "gritledger init --business \"YOUR FIRM\"",
            "gritledger demo"
        ]
    );
    done(&ledger, "init --business \"Marsh End Floors\"");
    done(&ledger, "client add \"Ada \\\"the Quill\\\" $5 Marl\"");
    done(
        &ledger,
        "site add \"Ada \\\"the Quill\\\" $5 Marl\" \"4 Tannery Row\" --year-built 1990",
    );
    refused(
        &ledger,
        r#"
        quote draft "4 Tannery Row"
        plan house "4 Tannery Row" --start 2026-03-09
        client void "Ada \"the Quill\" $5 Marl"
        "#,
    );
    ledger.lines(
        r#"room add "4 Tannery Row" Landing --shape "10 x 4.5" --condition worn-film --species red-oak"#,
    );
    refused(
        &ledger,
        r#"
        quote draft "4 Tannery Row"
        plan house "4 Tannery Row" --start 2026-03-09
        "#,
    );
}

#[test]
fn a_number_that_is_not_there_leads_to_the_list() {
    let ledger = TestLedger::job_open();
    refused(
        &ledger,
        r#"
        job show J9
        quote show Q9
        invoice show I9
        void E9 --reason "a slip"
        payment void X --reason "a slip"
        rate confirm E9
        finding void X
        finding void 99
        finding edit 99 --turned-up yes
        finding edit 1 --turned-up yes
        setting show nothing-like-it
        quote show Q1 --option 7
        "#,
    );
}

#[test]
fn every_state_of_a_quote_says_how_to_go_on() {
    let ledger = TestLedger::tannery_row();
    let two = "--option \"Three coats: schedule=oil-3-coat\"";
    done(
        &ledger,
        "quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule oil-2-coat",
    );
    refused(&ledger, "quote accept Q1");
    // A newer draft stands in its place.
    ledger.lines("quote draft \"4 Tannery Row\" --revises Q1");
    refused(&ledger, "quote accept Q1\nquote send Q1");
    // A newer one that was sent does too.
    ledger.lines("quote send Q1.2");
    refused(&ledger, "quote accept Q1\nquote send Q1\nquote send Q1.2");
    let said = ledger.line("quote send Q1").refused();
    assert!(
        said.contains("hint: gritledger quote accept Q1.2"),
        "{said}"
    );
    ledger.lines("quote decline Q1.2");
    refused(&ledger, "quote send Q1.2\nquote accept Q1.2");
    // One with options.
    ledger.lines(&format!("quote draft \"4 Tannery Row\" {two}"));
    refused(&ledger, "quote accept Q2\nquote accept Q2 --option 2");
    ledger.lines("quote send Q2");
    refused(&ledger, "quote accept Q2\nquote send Q2");
    let ledger = ledger.on("2026-05-04");
    refused(
        &ledger,
        "quote accept Q2 --option 2\nquote accept Q2 --expired\nquote send Q2",
    );
    let said = ledger.line("quote accept Q2 --option 2").refused();
    assert!(
        said.contains("hint: gritledger quote accept Q2 --expired --option 2"),
        "{said}"
    );
    done(&ledger, "quote accept Q2 --expired --option 2");
    refused(
        &ledger,
        r#"
        quote accept Q2
        quote send Q2
        quote draft "4 Tannery Row" --revises Q2
        job close
        "#,
    );
    done(
        &ledger,
        "quote draft \"4 Tannery Row\" --variation-of J1 --other \"disposal=45\"",
    );
    ledger.lines("quote send Q3\nquote accept Q3 --confirm");
    refused(&ledger, "quote accept Q3");
}

#[test]
fn a_job_s_hints_can_be_typed() {
    let ledger = TestLedger::tannery_row();
    // None is open, and none is agreed either.
    refused(&ledger, "job show\nreport variance");
    ledger.lines(
        r#"
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q1
        "#,
    );
    done(&ledger, "quote accept Q1");
    refused(&ledger, "job close\nhours 1\njob dates J1");
    ledger.lines("job start J1");
    refused(
        &ledger,
        r#"
        rental back rotary --at 12:00
        use oil-finish 1 --left-over
        invoice issue J1
        invoice show J1
        "#,
    );
    done(&ledger, "use disc-7in-36 6 --room Landing");
    ledger.lines("rental out rotary --at 08:00");
    refused(&ledger, "rental out rotary --at 09:00\njob close J1");
    let said = ledger.line("use palm-sheet-80 1 --on rotary-36").refused();
    assert!(!said.contains("gritledger"), "{said}");
    ledger.lines("rental back rotary --at 12:00");
    done(&ledger, "job close J1\ninvoice final J1");
    // None is open, and all are closed.
    refused(&ledger, "job show\nspent 5 --for sand");
}

#[test]
fn the_book_s_hints_can_be_typed() {
    let ledger = TestLedger::tannery_row();
    done(
        &ledger,
        r#"
        operation add patch --task repair --driver count --item wood-filler --for-finding patches
        "#,
    );
    ledger.lines("rate set patch --kind hours --per 1");
    refused(
        &ledger,
        r#"
        operation add mend --task repair --driver count --for-finding patches
        operation edit rotary-36 --item oil-finish
        rate set set-nails --kind hours --per 90 --condition worn-film
        rate set load-in --kind item --per 3
        setting set working-days "mon, noday"
        setting set holidays "christmas"
        "#,
    );
    ledger.lines("tax-area add Downtown 5");
    refused(&ledger, "tax-area add Downtown 6");
}

#[test]
fn a_client_s_sheet_tells_no_command() {
    let ledger = TestLedger::tannery_row();
    ledger.lines("quote draft \"4 Tannery Row\" --option \"Three coats: schedule=oil-3-coat\"");
    let owner = ledger.line("quote show Q1").ok();
    assert!(
        owner.contains("2 options: gritledger quote compare Q1\n"),
        "{owner}"
    );
    let second = ledger.line("quote show Q1 --option 2").ok();
    for (number, text) in [(1, owner), (2, second)] {
        for line in [
            "quote buy Q1 --option N",
            "quote show Q1 --option N --lines",
        ] {
            let line = line.replace('N', &number.to_string());
            assert!(text.contains(&format!(": gritledger {line}\n")), "{text}");
            ledger.line(&line).ok();
        }
    }
    for line in [
        "quote show Q1 --for-client",
        "quote compare Q1 --for-client",
    ] {
        let sheet = ledger.line(line).ok();
        assert!(!sheet.contains("gritledger"), "{sheet}");
    }
}
