//! What belongs to no job: it is logged, listed and taken back, and in no job's figures.

use serde_json::{Value, json};

use crate::harness::TestLedger;

/// What a job's figures are read from.
fn figures(ledger: &TestLedger) -> Vec<Value> {
    [
        "job show J1",
        "report variance J1",
        "report margin --by room",
        "report margin --by month",
        "report consumables J1",
        "rate list --learned",
        "today",
    ]
    .map(|line| ledger.json(line))
    .to_vec()
}

/// On paper: 2 h at 28.00 with a burden of 42.35 % are 79.72; 40 miles at 0.725 are 29.00.
#[test]
fn costs_of_no_job_touch_no_job() {
    let ledger = TestLedger::job_open();
    ledger.lines("use 36 6 --room Landing\nhours 1:30 --room Landing --on sand");
    let before = figures(&ledger);
    let said = |line: &str| ledger.line(line).ok();
    assert_eq!(
        said("spent 300 --for insurance --no-job"),
        "E3: spent for insurance, no job, 300.00.\n"
    );
    assert_eq!(
        said("hours 2 --no-job --note \"estimate visit\""),
        "E4: Ruben Vale worked 2 h, no job, estimate visit, 79.72.\n"
    );
    assert_eq!(
        said("hours 1 --no-job --date yesterday"),
        "E5: Ruben Vale worked 1 h, no job, 39.86.\n"
    );
    assert_eq!(
        said("drive 40 --no-job --note \"to the yard\""),
        "E6: drove 40 mi, no job, to the yard, 29.00.\n"
    );
    assert_eq!(figures(&ledger), before);
    ledger.line("job close J1").ok();
    let taught = ledger.json("rate list --learned");
    ledger.line("void E4 --reason \"it was for the job\"").ok();
    assert_eq!(ledger.json("rate list --learned"), taught);
    let listed = ledger.json("report overheads");
    assert_eq!(listed["total"], json!("368.86"));
    let log = ledger.line("log").ok();
    assert!(
        log.contains("E3: spent 300.00 for insurance on no job."),
        "{log}"
    );
    assert_eq!(
        ledger.line("rate confirm E5").refused(),
        "error: E5 is neither a use nor hours of work on a job: nothing is learned from it"
    );
}

#[test]
fn a_day_has_24_hours_whatever_they_are_for() {
    let ledger = TestLedger::job_open();
    ledger.lines("hours 14 --room Landing\nhours 8 --no-job");
    assert_eq!(
        ledger.line("hours 3 --no-job").refused(),
        "error: Ruben Vale would have 25 hours on 2026-03-02: a day has 24"
    );
    assert_eq!(
        ledger.line("hours 3 --room Landing").refused(),
        "error: Ruben Vale would have 25 hours on 2026-03-02: a day has 24"
    );
    // Twice the same line is asked about, as on a job.
    ledger.line("spent 20 --for phone --no-job").ok();
    let again = ledger.line("spent 20 --for phone --no-job").refused();
    assert!(
        again.starts_with("error: the same is logged for that day already, as E3"),
        "{again}"
    );
    // Typed again, a slip has its place.
    ledger.line("void E3 --reason \"a slip\"").ok();
    assert_eq!(
        ledger.line("spent 25 --for phone --no-job").ok(),
        "E5: spent for phone, no job in the place of E3, 25.00.\n"
    );
}

#[test]
fn without_an_open_job_both_lines_are_said() {
    let ledger = TestLedger::tannery_row();
    assert_eq!(
        ledger.line("spent 300 --for insurance").refused(),
        "error: no job is open\nhint: gritledger spent 300 --for insurance --no-job\nhint: gritledger job list"
    );
    ledger.lines(
        r#"
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q1
        quote accept Q1
        "#,
    );
    assert_eq!(
        ledger
            .line("spent $300 --for \"fire insurance\" --date yesterday --note \"policy 7\"")
            .refused(),
        "error: no job is open; J1 is agreed\n\
         hint: gritledger spent \"\\$300\" --for \"fire insurance\" --date yesterday --note \"policy 7\" --job J1\n\
         hint: gritledger spent \"\\$300\" --for \"fire insurance\" --date yesterday --note \"policy 7\" --no-job"
    );
    assert_eq!(
        ledger.line("hours 2").refused(),
        "error: no job is open; J1 is agreed\nhint: gritledger hours 2 --job J1\nhint: gritledger hours 2 --no-job"
    );
    // Hours on the road may be for an estimate visit, as driving may.
    assert_eq!(
        ledger.line("hours 1 driving").refused(),
        "error: no job is open; J1 is agreed\nhint: gritledger hours 1 driving --job J1\nhint: gritledger hours 1 driving --no-job"
    );
    assert_eq!(
        ledger.line("drive 40").refused(),
        "error: no job is open; J1 is agreed\nhint: gritledger drive 40 --job J1\nhint: gritledger drive 40 --no-job"
    );
    for (line, begins) in [
        ("spent 300 --for insurance", false),
        ("drive 40", true),
        ("hours 2", true),
    ] {
        ledger.line(&format!("{line} --no-job --dry-run")).ok();
        let run = ledger.line(&format!("{line} --job J1 --dry-run"));
        let begun = run.stderr().contains("J1 at 4 Tannery Row is open.");
        assert_eq!(begun, begins, "{run}");
        run.ok();
    }
    ledger.lines("drive 40 --job J1\njob close J1");
    assert_eq!(
        ledger.line("hours 2 --on sand").refused(),
        "error: no job is open\nhint: gritledger hours 2 --on sand --job J1"
    );
    assert_eq!(
        ledger.line("hours 2 sand").refused(),
        "error: no job is open\nhint: gritledger hours 2 sand --job J1"
    );
    assert_eq!(
        ledger.line("hours 2 sand --no-job").refused(),
        "error: hours of no job are for no task"
    );
    let refused = ledger.line("drive 40 --note \"to the yard\"").refused();
    assert_eq!(
        refused,
        "error: no job is open\n\
         hint: gritledger drive 40 --note \"to the yard\" --no-job\n\
         hint: gritledger drive 40 --note \"to the yard\" --job J1"
    );
    for hint in refused.lines().skip(1) {
        let line = hint.strip_prefix("hint: gritledger ").unwrap();
        ledger.line(&format!("{line} --dry-run")).ok();
    }
}

#[test]
fn no_job_and_a_job_exclude_each_other() {
    let ledger = TestLedger::job_open();
    for (line, with) in [
        ("spent 5 --for tape --no-job --job J1", "--job <JOB>"),
        ("drive 5 --no-job --room Landing", "--room <ROOM>"),
        ("hours 2 --no-job --on sand", "--no-job"),
    ] {
        let run = ledger.line(line);
        assert_eq!(run.code(), 2, "{run}");
        assert!(
            run.stderr().contains("cannot be used with") && run.stderr().contains(with),
            "{run}"
        );
    }
    // In notes a line says so itself, whatever stands before it.
    let notes = ledger.file(
        "notes.txt",
        "room Landing\njob J1\non yesterday\nspent 300 --for insurance --no-job\nhours 1 --on sand\n",
    );
    assert_eq!(
        ledger.line(&format!("daybook {notes} --confirm")).ok(),
        "Wrote 2 lines:\n\
         E1: spent for insurance, no job, 300.00.\n\
         E2: Ruben Vale worked 1 h on J1, Landing, sand, 39.86.\n\
         sand: 1 of 2.65 h quoted; Landing 1 of 0.75\n"
    );
}

fn overheads() -> TestLedger {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        spent 300 --for insurance --no-job --date 2026-01-15
        spent 45 --for Phone --no-job --date 2026-01-31
        spent 45 --for phone --no-job --date 2026-02-28
        hours 2 --no-job --note "estimate visit" --date 2026-02-28
        drive 40 --no-job
        "#,
    );
    ledger
}

#[test]
fn what_belongs_to_no_job_is_listed_and_summed() {
    let ledger = overheads();
    assert_eq!(
        ledger.line("report overheads").ok(),
        "\
498.72 USD in all; 5 entries belong to no job.

Entry  Date        For             Who         How much    Cost
───────────────────────────────────────────────────────────────
E1     2026-01-15  insurance                             300.00
E2     2026-01-31  Phone                                  45.00
E3     2026-02-28  phone                                  45.00
E4     2026-02-28  estimate visit  Ruben Vale       2 h   79.72
E5     2026-03-02  drive                          40 mi   29.00
Total                                                    498.72

For             Entries    Cost
───────────────────────────────
insurance             1  300.00
Phone                 2   90.00
estimate visit        1   79.72
drive                 1   29.00

Month    Entries    Cost
────────────────────────
2026-01        2  345.00
2026-02        2  124.72
2026-03        1   29.00
"
    );
    let february = ledger.json("report overheads --from 2026-02-01 --to 2026-02-28");
    assert_eq!(
        february,
        json!({
            "currency": "USD",
            "from": "2026-02-01",
            "to": "2026-02-28",
            "by_what_for": [
                { "name": "phone", "entries": 1, "cost": "45.00" },
                { "name": "estimate visit", "entries": 1, "cost": "79.72" },
            ],
            "by_month": [{ "name": "2026-02", "entries": 2, "cost": "124.72" }],
            "total": "124.72",
            "entries": [
                {
                    "entry": "E3", "date": "2026-02-28", "kind": "spent", "what_for": "phone",
                    "worker": null, "quantity": null, "unit": null, "cost": "45.00",
                },
                {
                    "entry": "E4", "date": "2026-02-28", "kind": "hours", "what_for": "estimate visit",
                    "worker": "Ruben Vale", "quantity": "2", "unit": "h", "cost": "79.72",
                },
            ],
        })
    );
    assert_eq!(
        ledger.line("report overheads --to 2025-12-31").ok(),
        "None is as you asked for.\n"
    );
    assert_eq!(
        ledger
            .line("report overheads --from 2026-02-01 --to 2026-01-01")
            .refused(),
        "error: 2026-02-01 is after 2026-01-01: no day is in that time"
    );
    for columns in ["80", "45"] {
        let run = ledger.run_with(&["report", "overheads"], &[("COLUMNS", columns)]);
        let width: usize = columns.parse().unwrap();
        let text = run.ok();
        for line in text.lines() {
            assert!(line.chars().count() <= width, "{columns}: {line}");
        }
        for said in ["estimate", "498.72", "2026-02", "124.72"] {
            assert!(text.contains(said), "{said} at {columns}:\n{text}");
        }
    }
}

#[test]
fn files_say_which_rows_belong_to_no_job() {
    let ledger = overheads();
    let (hours, spent) = (
        ledger.line("export hours").ok(),
        ledger.line("export spent").ok(),
    );
    assert_eq!(
        hours.lines().collect::<Vec<_>>(),
        [
            "date,job,site,worker,hours,room,on,wage,note,no_job",
            "2026-02-28,,,Ruben Vale,2,,,28.00,estimate visit,yes"
        ]
    );
    assert_eq!(
        spent.lines().nth(1),
        Some("2026-01-15,,,300.00,insurance,,yes")
    );
    let other = TestLedger::tannery_row();
    for (kind, text) in [("hours", &hours), ("spent", &spent)] {
        let file = other.file(kind, text);
        other.line(&format!("import {kind} {file}")).ok();
        assert_eq!(other.line(&format!("export {kind}")).ok(), *text);
    }
    for (kind, text, refused) in [
        (
            "spent",
            "date,job,site,amount,what\n2026-01-15,,,300,insurance\n",
            ":2: job: is empty",
        ),
        (
            "spent",
            "date,job,site,amount,what,no_job\n2026-01-15,,,300,insurance,no\n",
            ":2: job: is empty",
        ),
        (
            "spent",
            "date,job,site,amount,what,no_job\n2026-01-15,,,300,insurance,maybe\n",
            ":2: no_job: `maybe` is neither yes nor no",
        ),
        (
            "spent",
            "date,job,site,amount,what,no_job\n2026-01-15,J1,,300,insurance,yes\n",
            ":2: job: a cost of no job has none",
        ),
        (
            "spent",
            "date,job,site,amount,what,no_job\n2026-01-15,,4 Tannery Row,300,insurance,yes\n",
            ":2: site: a cost of no job has none",
        ),
        (
            "hours",
            "date,job,site,worker,hours,room,no_job\n2026-01-15,,,Ruben Vale,2,Landing,yes\n",
            ":2: room: a cost of no job has none",
        ),
        (
            "hours",
            "date,job,site,worker,hours,on,no_job\n2026-01-15,,,Ruben Vale,2,sand,yes\n",
            ":2: on: hours of no job are for no task",
        ),
    ] {
        let file = other.file("f.csv", text);
        let told = other.line(&format!("import {kind} {file}")).refused();
        assert!(told.ends_with(refused), "{told}");
    }
}
