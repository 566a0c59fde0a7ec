//! What the program looks like: help, tables, streams and exit codes.

use serde_json::json;

use crate::harness::TestLedger;

#[test]
fn exit_codes_tell_done_refused_and_usage_apart() {
    let ledger = TestLedger::new();
    assert_eq!(ledger.run(&["client", "list"]).code(), 0);
    assert_eq!(ledger.run(&["client", "show", "Nobody"]).code(), 1);
    assert_eq!(ledger.run(&["client", "paint"]).code(), 2);
    assert_eq!(ledger.run(&[]).code(), 2);
    assert_eq!(
        ledger.run(&["--version"]).ok(),
        format!("gritledger {}\n", env!("CARGO_PKG_VERSION"))
    );
}

#[test]
fn global_options_may_stand_anywhere() {
    let ledger = TestLedger::new();
    for arguments in [
        ["--json", "client", "list"],
        ["client", "--json", "list"],
        ["client", "list", "--json"],
    ] {
        assert_eq!(ledger.run(&arguments).ok(), "[]\n");
    }
}

#[test]
fn answers_go_to_stdout_and_the_rest_to_stderr() {
    let ledger = TestLedger::new();
    let run = ledger.run(&["client", "add", "Ada Quill"]);
    assert_eq!((run.stdout().as_str(), run.code()), ("", 0));
    assert!(run.stderr().contains("Added client Ada Quill."));
    let run = ledger.run(&["client", "add", "Bea Rowe", "--quiet"]);
    assert_eq!((run.stdout().as_str(), run.stderr().as_str()), ("", ""));
}

#[test]
fn every_command_that_answers_answers_in_json() {
    let ledger = TestLedger::job_open();
    ledger.lines("buy disc-7in-36 30 --cost 96.00\nuse disc-7in-36 6\nrental out rotary --at 08:00\ninvoice deposit J1\ninvoice issue J1\npayment add I1 10");
    for line in [
        "client list",
        "client show Ada",
        "site list",
        "site show 4",
        "room list 4",
        "room show Landing",
        "finding list 4",
        "worker list",
        "item list",
        "item show disc-7in-36",
        "machine list",
        "machine show rotary",
        "operation list",
        "operation show rotary-36",
        "sequence list",
        "sequence show rotary-36-50-80",
        "schedule list",
        "schedule show oil-2-coat",
        "rate list",
        "quote list",
        "quote show Q1",
        "plan house 4 --start 2026-03-09 --room Landing",
        "job list",
        "job show J1",
        "stock list",
        "rental list",
        "invoice list",
        "invoice show I1",
        "payment list",
        "report margin",
        "report variance J1",
        "report consumables J1",
        "report rentals",
        "today",
        "setting list",
        "setting show margin",
        "tax-area list",
        "check",
        "log",
    ] {
        ledger.json(line);
    }
}

/// What `export` writes is CSV; whoever asks for JSON is told so, and what to type.
#[test]
fn an_export_isn_t_json() {
    let ledger = TestLedger::tannery_row();
    let said = ledger.line("export clients --json").refused();
    assert_eq!(
        said,
        "error: `export` writes CSV, not JSON\nhint: gritledger export clients"
    );
    ledger.line("export clients").ok();
}

#[test]
fn a_narrow_terminal_gets_narrow_answers() {
    let ledger = TestLedger::job_open();
    for columns in ["72", "48", "30"] {
        let width = columns.parse::<usize>().unwrap().max(40);
        for line in [
            vec!["quote", "show", "Q1"],
            vec!["report", "variance", "J1"],
            vec!["room", "list", "4"],
            vec!["today"],
            vec![
                "plan",
                "house",
                "4",
                "--start",
                "2026-03-09",
                "--room",
                "Landing",
            ],
        ] {
            let text = ledger.run_with(&line, &[("COLUMNS", columns)]).ok();
            for printed in text
                .lines()
                .filter(|printed| !printed.contains(' ') || printed.contains('─'))
            {
                assert!(printed.chars().count() <= width, "{width}: {printed}");
            }
        }
    }
}

#[test]
fn without_utf8_no_line_is_drawn_beyond_ascii() {
    let ledger = TestLedger::tannery_row();
    let text = ledger
        .run_with(&["room", "list", "4"], &[("LC_ALL", "C")])
        .ok();
    assert!(text.is_ascii(), "{text}");
}

#[test]
fn control_characters_are_shown_not_sent() {
    let ledger = TestLedger::new();
    ledger
        .run(&[
            "client",
            "add",
            "Ada Quill",
            "--address",
            "4 \u{1b}[31mTannery\u{7} Row",
        ])
        .ok();
    let text = ledger.line("client list").ok();
    assert!(
        !text.contains('\u{1b}') && !text.contains('\u{7}'),
        "{text:?}"
    );
    assert!(text.contains("␛[31m"), "{text}");
}

#[test]
fn a_sequence_that_skips_grades_warns() {
    let ledger = TestLedger::tannery_row();
    let run = ledger.line("sequence add hasty rotary-36 rotary-80 orbit-80");
    let said = run.stderr();
    assert!(
        said.contains("warning: from 36 to 80 skips 50, 60"),
        "{said}"
    );
    let run = ledger.line("quote draft \"4 Tannery Row\" --sequence hasty");
    assert!(
        run.stderr().contains("warning: from 36 to 80 skips 50, 60"),
        "{run}"
    );
    let run = ledger.line("quote draft \"4 Tannery Row\" --sequence rotary-36-50-80");
    assert!(!run.stderr().contains("skips"), "{run}");
}

#[test]
fn the_help_is_as_agreed() {
    let help = TestLedger::nowhere().run(&["--help"]).ok();
    insta::assert_snapshot!("help", help);
}

#[test]
fn completions_and_the_manual_page_are_generated() {
    let ledger = TestLedger::nowhere();
    for shell in ["bash", "zsh", "fish"] {
        assert!(
            ledger
                .run(&["generate", "completions", shell])
                .ok()
                .contains("gritledger")
        );
    }
    assert!(
        ledger
            .run(&["generate", "man"])
            .ok()
            .contains(".TH gritledger 1")
    );
}

#[test]
fn the_demo_writes_a_ledger_worth_looking_at() {
    let ledger = TestLedger::nowhere();
    let text = ledger.run(&["demo", "--to", "demo.db"]).ok();
    for heading in [
        "quote show",
        "report variance",
        "report margin",
        "rate list",
    ] {
        assert!(text.contains(heading), "{heading} in:\n{text}");
    }
    let demo = ledger.folder().join("demo.db");
    let ask = |line: &[&str]| {
        let mut arguments = vec!["--ledger", demo.to_str().unwrap(), "--json"];
        arguments.extend(line);
        serde_json::from_str::<serde_json::Value>(&ledger.run(&arguments).ok()).unwrap()
    };
    assert_eq!(ask(&["check"]), json!({ "ok": true, "problems": [] }));
    let jobs = ask(&["job", "list"]);
    let closed = jobs
        .as_array()
        .unwrap()
        .iter()
        .filter(|job| job["state"] == json!("closed"))
        .count();
    assert!(closed >= 14, "{closed} finished jobs");
    assert_eq!(
        ask(&["worker", "list"])["workers"]
            .as_array()
            .unwrap()
            .len(),
        3
    );
    let margins = ask(&["report", "margin"]);
    let lost = margins["jobs"]
        .as_array()
        .unwrap()
        .iter()
        .any(|job| job["margin"].as_str().unwrap().starts_with('-'));
    assert!(lost, "a job that lost money");
    ledger.run(&["demo", "--to", "demo.db"]).ok();
}
