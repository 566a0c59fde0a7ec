//! Reports by what they are told by: one set of words, rows that add up, and what is shown of them.

use std::fs;
use std::sync::OnceLock;

use serde_json::{Value, json};

use crate::harness::TestLedger;

fn cents(value: &Value) -> i64 {
    let text = value.as_str().expect("an amount");
    text.replace('.', "").parse().expect("an amount")
}

/// The demo, written once and copied.
fn demo() -> TestLedger {
    static DEMO: OnceLock<Vec<u8>> = OnceLock::new();
    let bytes = DEMO.get_or_init(|| {
        let ledger = TestLedger::nowhere();
        ledger.line("demo --to t.db").ok();
        fs::read(ledger.path()).expect("the demo")
    });
    let ledger = TestLedger::nowhere();
    fs::write(ledger.path(), bytes).expect("a file");
    ledger
}

fn rows(report: &Value, key: &str) -> Vec<Value> {
    let rows = report[key].as_array();
    rows.unwrap_or_else(|| panic!("no {key}: {report:#}"))
        .clone()
}

fn sum(rows: &[Value], key: &str) -> i64 {
    rows.iter().map(|row| cents(&row[key])).sum()
}

/// The last amount of a line of a table.
fn last_amount(line: &str) -> &str {
    line.split_whitespace().last().unwrap_or_default()
}

#[test]
fn whatever_margins_are_told_by_comes_to_the_same() {
    let ledger = demo();
    let jobs = ledger.json("report margin");
    for (by, key) in [
        ("job", "jobs"),
        ("room", "rooms"),
        ("client", "clients"),
        ("month", "months"),
        ("year", "years"),
        ("condition", "conditions"),
    ] {
        let report = ledger.json(&format!("report margin --by {by}"));
        assert_eq!(report["total"]["margin"], jobs["total"]["margin"], "{by}");
        let mut done = rows(&report, key);
        done.retain(|row| row["so_far"] == json!(false));
        for key in ["price", "actual_cost", "over_quote", "margin", "late_cost"] {
            assert_eq!(sum(&done, key), cents(&report["total"][key]), "{by} {key}");
            assert_eq!(report["total"][key], jobs["total"][key], "{by} {key}");
        }
        let overs: Vec<i64> = done.iter().map(|row| cents(&row["over_quote"])).collect();
        let is_time = ["month", "year"].contains(&by);
        assert!(
            is_time || overs.is_sorted_by(|one, other| one >= other),
            "{by}: {overs:?}"
        );
    }
    let mut years = rows(&ledger.json("report margin --by year"), "years");
    years.retain(|row| row["so_far"] == json!(false));
    let years: Vec<_> = years
        .iter()
        .map(|row| row["year"].as_str().unwrap())
        .collect();
    assert_eq!(years, ["2024", "2025", "2026"]);
    // What was furthest over is over by what its variance says of what is recorded.
    let first = &rows(&jobs, "jobs")[0];
    let job = first["job"].as_str().unwrap();
    let variance = ledger.json(&format!("report variance {job}"));
    assert_eq!(first["over_quote"], variance["total_variance"]);
}

#[test]
fn whatever_consumables_are_told_by_comes_to_the_same() {
    let ledger = demo();
    let all = ledger.json("report consumables");
    let lines = rows(&all, "lines");
    for key in [
        "quoted_cost",
        "used_cost",
        "over_quote",
        "not_recorded_cost",
    ] {
        assert_eq!(sum(&lines, key), cents(&all["total"][key]), "{key}");
    }
    for (by, key) in [
        ("job", "jobs"),
        ("room", "rooms"),
        ("client", "clients"),
        ("month", "months"),
        ("year", "years"),
        ("condition", "conditions"),
        ("operation", "operations"),
        ("item", "items"),
        ("grit", "grits"),
    ] {
        let report = ledger.json(&format!("report consumables --by {by}"));
        assert_eq!(report["total"], all["total"], "{by}");
        let groups = rows(&report, key);
        for key in ["quoted_cost", "used_cost", "over_quote"] {
            assert_eq!(
                sum(&groups, key),
                cents(&report["total"][key]),
                "{by} {key}"
            );
            for group in &groups {
                assert_eq!(
                    sum(&rows(group, "lines"), key),
                    cents(&group[key]),
                    "{by}: {group:#}"
                );
            }
        }
    }
}

/// Discs of one grit are together whatever machine they were on; what has no grit is no abrasive.
#[test]
fn sandpaper_is_told_by_its_grit() {
    let ledger = demo();
    let report = ledger.json("report consumables --by grit");
    let grits = rows(&report, "grits");
    let of = |grit: Value| {
        let found = grits.iter().find(|row| row["grit"] == grit);
        let lines = rows(
            found.unwrap_or_else(|| panic!("no {grit}: {report:#}")),
            "lines",
        );
        let mut items: Vec<String> = lines
            .iter()
            .map(|line| line["item"].as_str().unwrap().to_owned())
            .collect();
        items.sort();
        items
    };
    assert_eq!(
        of(json!(36)),
        ["disc-7in-36", "drum-sheet-8in-36", "edger-disc-7in-36"]
    );
    assert!(of(json!(null)).contains(&"oil-finish".to_owned()));
    let text = ledger.line("report consumables --by grit --top 1").ok();
    for told in [
        "\nFurthest over: 36 grit, by ",
        "\n36 grit ",
        "\n  disc-7in-36 ",
        "\n8 others ",
    ] {
        assert!(text.contains(told), "{told} in:\n{text}");
    }
}

#[test]
fn rentals_are_told_by_job_client_time_and_machine() {
    let ledger = demo();
    let charge = |row: &Value| cents(&row["charge"]);
    let rentals = rows(&ledger.json("report rentals"), "rentals");
    let back: Vec<Value> = rentals
        .into_iter()
        .filter(|rental| !rental["charge"].is_null())
        .collect();
    let all: i64 = back.iter().map(charge).sum();
    for (by, key) in [
        ("job", "jobs"),
        ("client", "clients"),
        ("month", "months"),
        ("year", "years"),
        ("machine", "machines"),
    ] {
        let report = ledger.json(&format!("report rentals --by {by}"));
        assert_eq!(
            rows(&report, key).iter().map(charge).sum::<i64>(),
            all,
            "{by}"
        );
        assert_eq!(charge(&report["total"]), all, "{by}");
    }
    // A rental of two jobs is each one's by its days, as in the jobs' own cost.
    let jobs = ledger.json("report rentals --by job");
    let shared = rows(&jobs, "jobs");
    let of = |number: &str| shared.iter().find(|row| row["job"] == number).map(charge);
    let show = |number: &str| {
        let lines = rows(&ledger.json(&format!("report variance {number}")), "lines");
        let rental = lines.iter().filter(|line| line["kind"] == "rental");
        rental.map(|line| cents(&line["actual_cost"])).sum::<i64>()
    };
    for job in ["J12", "J13"] {
        assert_eq!(of(job), Some(show(job)), "{job}");
    }
}

#[test]
fn what_makes_no_sense_is_refused_with_what_does() {
    let ledger = demo();
    for (line, can) in [
        (
            "report margin --by item",
            "job, room, client, month, year, condition",
        ),
        (
            "report consumables --by machine",
            "job, room, client, month, year, condition, operation, item, grit",
        ),
        (
            "report rentals --by room",
            "job, client, month, year, machine",
        ),
    ] {
        let run = ledger.line(line);
        assert_eq!(run.code(), 2, "{line}");
        let said = run.stderr();
        assert!(
            said.contains(&format!("[possible values: {can}]")),
            "{said}"
        );
    }
    for (line, refused) in [
        (
            "report margin --by month --sort colour",
            "error: no column is called `colour`: sort by month, so-far, cancelled, price, variations, estimated-cost, \
             actual-cost, late-cost, over-quote, margin, margin-percent, quoted-margin-percent, not-recorded-operations, \
             not-recorded-others, not-recorded-quoted-cost, not-recorded-might-turn-up-cost",
        ),
        (
            "report margin --from 2026-02-01 --to 2026-01-01",
            "error: 2026-02-01 is after 2026-01-01: no day is in that time",
        ),
    ] {
        assert_eq!(ledger.line(line).refused(), refused, "{line}");
    }
}

/// What `--top` leaves out is one row more, so that the total is still the sum of what is printed.
#[test]
fn the_first_rows_and_the_others_come_to_the_total() {
    let ledger = demo();
    for (line, key, column) in [
        ("report margin --top 4", "jobs", "margin"),
        (
            "report margin --by room --top 3 --sort price",
            "rooms",
            "margin",
        ),
        (
            "report consumables --top 4 --sort used-cost",
            "lines",
            "used_cost",
        ),
        (
            "report consumables --by room --top 2",
            "rooms",
            "over_quote",
        ),
        (
            "report rentals --by month --top 5 --sort charge",
            "months",
            "charge",
        ),
    ] {
        let report = ledger.json(line);
        let shown = rows(&report, key);
        let others = cents(&report["others"][column]);
        assert_eq!(
            sum(&shown, column) + others,
            cents(&report["total"][column]),
            "{line}: {report:#}"
        );
        let text = ledger.line(line).ok();
        let named = format!("\n{} others ", report["others"]["rows"]);
        assert!(text.contains(&named), "{named} in:\n{text}");
    }
    assert_eq!(ledger.json("report margin")["others"], json!(null));
    let text = ledger.run_with(
        &["report", "consumables", "--by", "year", "--top", "1"],
        &[("COLUMNS", "80")],
    );
    let text = text.ok();
    let ends = |with: &str| {
        let line = text.lines().find(|line| line.starts_with(with));
        let amount = last_amount(line.unwrap_or_else(|| panic!("no {with}:\n{text}")));
        cents(&json!(amount))
    };
    assert_eq!(ends("2024 ") + ends("2 others "), ends("Total "), "{text}");
}

#[test]
fn reports_are_about_days_clients_and_open_jobs() {
    let ledger = demo();
    let jobs = |line: &str| {
        let jobs = rows(&ledger.json(line), "jobs");
        let mut jobs: Vec<String> = jobs.iter().map(|row| row["job"].to_string()).collect();
        jobs.sort();
        jobs.join(" ")
    };
    assert_eq!(
        jobs("report margin --from 2026-01-01 --to 2026-02-18"),
        "\"J17\""
    );
    assert_eq!(jobs("report margin --client dov"), "\"J8\"");
    assert_eq!(jobs("report margin --open"), "\"J19\"");
    assert_eq!(
        jobs("report consumables --by job --from 2026-01-01"),
        "\"J17\" \"J18\""
    );
    assert_eq!(
        jobs("report rentals --by job --from 2025-07-01 --to 2025-07-31"),
        "\"J12\" \"J13\""
    );
    // Of a rental of two clients, the days of one.
    let of_one = ledger.json("report rentals --client caspar");
    let shared = rows(&of_one, "rentals")[0].clone();
    assert_eq!(
        (&shared["days"], &shared["charge"]),
        (&json!(2), &json!("166.50"))
    );
    assert_eq!(
        sum(&rows(&of_one, "machines"), "charge"),
        sum(&rows(&of_one, "rentals"), "charge")
    );
}

/// What makes jobs leave their quotes comes to what their variances say is recorded, and is told by one sentence each.
#[test]
fn causes_come_to_the_differences_of_the_jobs() {
    let ledger = demo();
    let report = ledger.json("report causes");
    let causes = rows(&report, "causes");
    assert_eq!(causes.len(), 10);
    let shown = sum(&causes, "difference");
    let total = cents(&report["total_variance"]);
    assert_eq!(shown + cents(&report["others_difference"]), total);
    let jobs = ledger.json("job list");
    let closed = jobs.as_array().unwrap().iter();
    let closed = closed.filter(|job| job["state"] == json!("closed"));
    let numbers: Vec<&str> = closed.map(|job| job["number"].as_str().unwrap()).collect();
    assert_eq!(json!(numbers.len()), report["jobs"]);
    let of = |key: &str| {
        let jobs = numbers.iter();
        let differences =
            jobs.map(|job| cents(&ledger.json(&format!("report variance {job}"))[key]));
        differences.sum::<i64>()
    };
    for key in ["total_variance", "price_variance", "quantity_variance"] {
        assert_eq!(of(key), cents(&report[key]), "{key}");
    }
    let sizes: Vec<i64> = causes
        .iter()
        .map(|cause| cents(&cause["difference"]).abs())
        .collect();
    assert!(sizes.is_sorted_by(|one, other| one >= other), "{sizes:?}");

    let text = ledger.line("report causes").ok();
    assert!(text.starts_with("18 finished jobs: "), "{text}");
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    // 306 − 22 of J9's discs were on paint; later quotes on paint have the rates that J9 taught.
    let paint = "rotary-36 on paint, disc-7in-36, took 217 % of the quote in 1 job: 346.75 more; the rates count on it now";
    assert!(words.contains(paint), "{text}");
    // What isn't counted on yet can be looked at, and so can what no rate learns.
    let hints: Vec<&str> = words
        .split("gritledger ")
        .skip(1)
        .map(|hint| hint.split(" * ").next().unwrap())
        .collect();
    assert!(
        hints.iter().any(|hint| hint.starts_with("rate show ")),
        "{text}"
    );
    for hint in hints {
        ledger.line(hint).ok();
    }
    // Of no job, of one client's, and all of them.
    let none = ledger.line("report causes --from 2026-02-20").ok();
    assert_eq!(
        none,
        "No job with a quote is finished: nothing to compare yet.\n"
    );
    let one = ledger.json("report causes --client thora --top 1000");
    assert_eq!(
        (&one["total_variance"], &one["others"]),
        (
            &ledger.json("report variance J17")["total_variance"],
            &json!(0)
        )
    );
}

/// The same words for every list that grows: whose, from when to when, what is open, in which order, and how many.
#[test]
fn lists_are_narrowed_sorted_and_cut_alike() {
    let ledger = demo();
    let of = |line: &str, key: &str, column: &str| {
        let list = ledger.json(line);
        let list = if key.is_empty() { &list } else { &list[key] };
        let cells = list
            .as_array()
            .unwrap_or_else(|| panic!("{line}: {list:#}"));
        let cells = cells.iter().map(|row| match &row[column] {
            Value::String(text) => text.clone(),
            other => other.to_string(),
        });
        cells.collect::<Vec<_>>().join(" ")
    };
    for (line, key, column, cells) in [
        ("job list --open", "", "number", "J19"),
        ("job list --client dov", "", "number", "J8"),
        (
            "job list --from 2026-01-01 --to 2026-02-18",
            "",
            "number",
            "J17",
        ),
        ("job list --sort billed --top 2", "", "number", "J9 J14"),
        ("quote list --open", "quotes", "number", "Q22"),
        ("quote list --client thora", "quotes", "number", "Q19"),
        ("quote list --sort price --top 1", "quotes", "number", "Q10"),
        (
            "invoice list --open --sort due --top 1",
            "invoices",
            "number",
            "I27",
        ),
        (
            "invoice list --client emrys",
            "invoices",
            "number",
            "I28 I29",
        ),
        (
            "finding list \"9 Kelp Cottages\" --sort kind --top 2",
            "findings",
            "kind",
            "black-stains missing-quarter-round",
        ),
        (
            "invoice list --from 2026-02-01",
            "invoices",
            "number",
            "I27 I28 I29",
        ),
        ("client list --open", "", "name", "Emrys Holt Thora Benning"),
        (
            "client list --sort balance --top 1",
            "",
            "name",
            "Thora Benning",
        ),
        ("site list --top 1", "", "address", "1 Signal House"),
        (
            "room list \"9 Kelp Cottages\" --sort name --top 1",
            "",
            "name",
            "Back bedroom",
        ),
        ("payment list --client emrys", "payments", "number", "P27"),
        (
            "payment list --sort amount --top 1",
            "payments",
            "number",
            "P5",
        ),
        ("rental list --open", "rentals", "entry", "E1003"),
        (
            "rental list --from 2026-02-20",
            "rentals",
            "entry",
            "E997 E1003",
        ),
        (
            "rental list --sort charge --top 1",
            "rentals",
            "entry",
            "E615",
        ),
        (
            "report rentals --sort charge --top 1",
            "rentals",
            "entry",
            "E615",
        ),
        (
            "stock list --sort value --top 1",
            "items",
            "item",
            "water-sealer",
        ),
        (
            "log --from 2026-02-28 --top 1",
            "",
            "sentence",
            "The demo ends here: what follows was added to it.",
        ),
    ] {
        assert_eq!(of(line, key, column), cells, "{line}");
    }
    for (line, end) in [
        (
            "job list --top 2",
            "\n\n17 more aren't shown; the first line counts them.\n",
        ),
        (
            "invoice list --top 2",
            "\n\n27 more aren't shown; the first line counts them.\n",
        ),
        (
            "job list --open --client dov",
            "None is as you asked for.\n",
        ),
        (
            "report margin --client sabine",
            "None is as you asked for.\n",
        ),
    ] {
        let text = ledger.line(line).ok();
        assert!(text.ends_with(end), "{line}:\n{text}");
    }
    let log = ledger.line("log --from 2026-02-28 --top 2").ok();
    assert!(log.starts_with("The newest 2 of 6 sentences:\n\n"), "{log}");
    // Of what stands by its days, the newest come first.
    for (line, key, first) in [
        ("job list --top 1", "number", "J19"),
        ("quote list --top 1", "number", "Q22"),
        ("invoice list --top 1", "number", "I29"),
        ("payment list --top 1", "number", "P27"),
        ("rental list --top 1", "entry", "E1003"),
        ("report rentals --top 1", "entry", "E1003"),
    ] {
        let told = ledger.line(&format!("{line} --csv")).ok();
        let (head, row) = told.split_once("\r\n").expect("a row");
        let at = head.split(',').position(|name| name == key);
        let cell = at.and_then(|at| row.split(',').nth(at));
        assert_eq!(cell, Some(first), "{line}: {told}");
    }
    let statement = ledger.json("client statement benning --top 1");
    assert_eq!(statement["before"], "0.00");
    assert_eq!(statement["lines"][0]["balance"], "1569.96");
    let owed = ledger
        .line("report receivables --sort buckets-over-90 --top 1")
        .ok();
    assert!(
        owed.starts_with("2569.36 USD is owed by 2 clients on"),
        "{owed}"
    );
    assert!(
        owed.ends_with("1 more isn't shown; the first line counts it.\n"),
        "{owed}"
    );
}
