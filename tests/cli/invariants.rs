//! What must always hold: totals, dry runs, voids, frozen rows.

use serde_json::{Value, json};

use crate::harness::TestLedger;

fn cents(value: &Value) -> i64 {
    value
        .as_str()
        .expect("money is a string")
        .replace('.', "")
        .parse()
        .expect("money")
}

#[test]
fn every_total_is_the_sum_of_its_lines() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        setting set overhead 12.5%
        setting set tax-percent 8.25%
        quote draft "4 Tannery Row" --other "disposal=45.55"
        quote send Q1
        quote accept Q1
        job start J1
        buy disc-7in-36 31 --cost 96.13
        use disc-7in-36 7 --room Landing --room "Back bedroom"
        hours "Ruben Vale" 3.33 --on sand
        hours "Ruben Vale" 0.4
        spent 51.07 --for disposal
        drive 13.7
        "#,
    );
    let quote = ledger.json("quote show Q1");
    let lines: i64 = quote["lines"]
        .as_array()
        .unwrap()
        .iter()
        .map(|line| cents(&line["cost"]))
        .sum();
    assert_eq!(lines, cents(&quote["cost"]["total"]));
    let kinds = ["labour", "consumables", "rental", "other", "overhead"];
    assert_eq!(
        kinds
            .iter()
            .map(|kind| cents(&quote["cost"][kind]))
            .sum::<i64>(),
        lines
    );
    let rooms: i64 = quote["rooms"]
        .as_array()
        .unwrap()
        .iter()
        .map(|room| cents(&room["price"]))
        .sum();
    assert_eq!(rooms, cents(&quote["price"]));
    assert_eq!(
        cents(&quote["price"]) + cents(&quote["tax"]),
        cents(&quote["total"])
    );

    let margin = &ledger.json("report margin J1")["jobs"][0];
    let variance = ledger.json("report variance J1");
    let by_line: i64 = variance["lines"]
        .as_array()
        .unwrap()
        .iter()
        .map(|line| cents(&line["total_variance"]))
        .sum();
    assert_eq!(by_line, cents(&variance["total_variance"]));
    assert_eq!(
        by_line + cents(&variance["not_recorded_difference"]),
        cents(&margin["actual_cost"]) - cents(&margin["estimated_cost"]),
        "what is recorded and what isn't are the whole difference"
    );
    for line in variance["lines"].as_array().unwrap() {
        assert_eq!(
            cents(&line["price_variance"]) + cents(&line["quantity_variance"]),
            cents(&line["total_variance"])
        );
        let difference = match line["recorded"] == json!(true) {
            true => cents(&line["actual_cost"]) - cents(&line["quoted_cost"]),
            false => 0,
        };
        assert_eq!(difference, cents(&line["total_variance"]));
    }
    let by_room = ledger.json("report margin J1 --by room");
    for key in ["price", "estimated_cost", "actual_cost", "margin"] {
        let rooms: i64 = by_room["rooms"]
            .as_array()
            .unwrap()
            .iter()
            .map(|room| cents(&room[key]))
            .sum();
        assert_eq!(rooms, cents(&margin[key]), "{key} over rooms");
    }
}

#[test]
fn a_dry_run_leaves_every_row_unchanged() {
    let ledger = TestLedger::job_open();
    let before = std::fs::read(ledger.path()).unwrap();
    for line in [
        "client add Somebody",
        "room add \"4 Tannery Row\" Den --shape \"8 x 9\" --condition bare --species ash",
        "quote draft \"4 Tannery Row\"",
        "buy disc-7in-36 3 --cost 9",
        "use disc-7in-36 3",
        "hours \"Ruben Vale\" 2 --on sand",
        "rental out rotary --at 08:00",
        "setting set margin 30%",
        "invoice final J1",
        "job close J1",
    ] {
        ledger.line(&format!("{line} --dry-run")).ok();
        assert_eq!(std::fs::read(ledger.path()).unwrap(), before, "{line}");
    }
}

#[test]
fn use_before_its_receipt_is_settled_by_the_next_purchase() {
    let ledger = TestLedger::job_open();
    // Book price: a pack of 30 at 63.00 is 2.10 a disc.
    ledger.lines("use disc-7in-36 6 --room Landing");
    let cost =
        |ledger: &TestLedger| cents(&ledger.json("report margin J1")["jobs"][0]["actual_cost"]);
    assert_eq!(cost(&ledger), 1260);
    assert_eq!(
        ledger.json("stock list")["awaiting_receipt"][0]["quantity"],
        json!("6")
    );
    ledger.lines("buy disc-7in-36 30 --cost 96.00");
    assert_eq!(cost(&ledger), 6 * 320, "6 of 30 at 96.00");
    let stock = ledger.json("stock list");
    assert_eq!(
        (&stock["items"][0]["on_hand"], &stock["items"][0]["value"]),
        (&json!("24"), &json!("76.80"))
    );
    assert_eq!(stock["awaiting_receipt"], json!([]));
    assert_eq!(ledger.json("check")["ok"], json!(true));
}

#[test]
fn voiding_in_any_order_keeps_the_stock_sound() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        buy disc-7in-36 30 --cost 96.00
        use disc-7in-36 6 --room Landing
        void E1 --reason "wrong total"
        "#,
    );
    assert_eq!(
        ledger.json("check")["ok"],
        json!(true),
        "a purchase voided after its use"
    );
    assert_eq!(
        ledger.json("stock list")["awaiting_receipt"][0]["quantity"],
        json!("6")
    );
    ledger.lines("buy disc-7in-36 30 --cost 90.00");
    assert_eq!(
        cents(&ledger.json("report margin J1")["jobs"][0]["actual_cost"]),
        1800
    );
    ledger.lines("void E2 --reason \"other job\"");
    let stock = ledger.json("stock list");
    assert_eq!(
        (&stock["items"][0]["on_hand"], &stock["items"][0]["value"]),
        (&json!("30"), &json!("90.00"))
    );
    assert_eq!(ledger.json("check")["ok"], json!(true));
    let said = ledger.line("void E2 --reason again").refused();
    assert_eq!(said, "error: E2 was voided already");
    assert_eq!(
        ledger.line("void E3").refused(),
        "error: E4 stands in the place of E1 already\nhint: gritledger void E4 --reason \"E1 was right\""
    );
    assert_eq!(
        ledger.line("void E5").ok(),
        "E6: used 6 discs of disc-7in-36 on J1, Landing in the place of E2, 18.00.\n"
    );
}

#[test]
fn what_a_void_leaves_on_the_shelf_is_worth_what_it_was_bought_for() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        buy disc-7in-36 30 --cost 96.00
        buy disc-7in-36 30 --cost 60.00
        hand-back disc-7in-36 24 --refund 48
        void E1 --reason "another firm's receipt"
        "#,
    );
    // 30 bought for 60.00 less 24 handed back: 6 discs at 2.00.
    let stock = ledger.json("stock list");
    assert_eq!(
        (&stock["items"][0]["on_hand"], &stock["items"][0]["value"]),
        (&json!("6"), &json!("12.00"))
    );
    assert_eq!(ledger.json("check")["ok"], json!(true));
    let entries = rusqlite::Connection::open(ledger.path())
        .and_then(|file| file.query_row("SELECT COUNT(*) FROM entry", [], |row| row.get(0)));
    assert_eq!(entries, Ok(4), "no entry that nobody typed");
}

#[test]
fn a_variation_stays_with_its_rooms() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        room add "4 Tannery Row" Closet --shape "5 x 4" --condition worn-film --species red-oak
        quote draft "4 Tannery Row" --room Closet --variation-of J1
        quote send Q2
        quote accept Q2
        "#,
    );
    // Each room is expected to keep what its quote is; the cents of rounding aside.
    let expected = ["Q1", "Q2"].map(|quote| {
        let quote = ledger.json(&format!("quote show {quote}"));
        quote["expected_margin_percent"].as_f64().unwrap()
    });
    let margins = ledger.json("report margin J1 J1 --by room");
    let rooms = margins["rooms"].as_array().unwrap();
    assert_eq!(rooms.len(), 3, "a job named twice counts once");
    for room in rooms {
        let percent = room["quoted_margin_percent"].as_f64().unwrap();
        let of_quote = expected[usize::from(room["room"] == json!("Closet"))];
        assert!((percent - of_quote).abs() < 0.1, "{of_quote}: {room:#}");
    }
    assert_eq!(
        ledger.line("room void Closet").refused(),
        "error: `Closet` is part of J1, which isn't closed"
    );
}

#[test]
fn voiding_an_entry_of_a_closed_job_derives_its_evidence_again() {
    let ledger = TestLedger::job_open();
    ledger
        .lines("use disc-7in-36 60 --room Landing\nuse disc-7in-36 6 --room Landing\njob close J1");
    let observed = |ledger: &TestLedger| {
        ledger.json("rate list --operation rotary-36 --learned")[0]["observed"].clone()
    };
    // 66 discs for 45 sq ft look like a slip, and teach nothing until their owner answers.
    assert_eq!(observed(&ledger), json!(null));
    let slips = ledger.json("rate check")["slips"].clone();
    assert_eq!(
        (&slips[0]["id"], &slips[0]["quantity"]),
        (&json!("E1"), &json!("66"))
    );
    ledger.line("void E1 --reason \"a zero too many\"").ok();
    assert_eq!(observed(&ledger), json!("0.133333"));
}

#[test]
fn the_database_itself_refuses_to_change_what_was_sent_issued_or_logged() {
    let ledger = TestLedger::job_open();
    ledger.lines("buy disc-7in-36 30 --cost 96.00\nuse disc-7in-36 6\nrental out rotary --at 08:00\ninvoice final J1 --discount goodwill=1\ninvoice issue J1\npayment add I1 5\nplan house 4 --start 2026-03-09 --room Landing --accept");
    let file = ledger.raw();
    for statement in [
        "UPDATE quote SET price_minor = 1",
        "DELETE FROM quote",
        "UPDATE quote_line SET item_cost_minor = 1",
        "DELETE FROM quote_line",
        "INSERT INTO quote_line (id, quote_id, position, kind, what) VALUES (999, 1, 999, 'other', 'x')",
        "UPDATE quote_tariff SET day_minor = 1",
        "DELETE FROM quote_tariff",
        "INSERT INTO quote_tariff (quote_id, machine_id, day_minor, waiver_micro, cleaning_minor) VALUES (1, 4, 1, 0, 0)",
        "INSERT INTO quote_discount (quote_id, position, reason, amount_minor) VALUES (1, 1, 'x', 1)",
        "UPDATE quote_room SET price_minor = 1",
        "DELETE FROM quote_event",
        "UPDATE quote_event SET client = 'x'",
        "UPDATE sent_room SET name = 'x'",
        "DELETE FROM sent_room",
        "UPDATE house_plan SET revision = 7",
        "DELETE FROM house_plan",
        "UPDATE job SET number = 7",
        "DELETE FROM job_event",
        "UPDATE entry SET amount_minor = 1",
        "UPDATE rental_tariff SET day_minor = 1",
        "DELETE FROM rental_tariff",
        "INSERT INTO rental_tariff (entry_id, day_minor, waiver_micro, cleaning_minor) VALUES (1, 1, 0, 0)",
        "DELETE FROM entry",
        "UPDATE stock_effect SET value_minor = 1",
        "UPDATE invoice SET net_minor = 1",
        "DELETE FROM invoice",
        "UPDATE invoice_line SET net_minor = 1",
        "INSERT INTO invoice_line (id, invoice_id, position, what, unit_price_micro, net_minor, tax_micro) VALUES (999, 1, 999, 'x', 1, 1, 0)",
        "UPDATE invoice_allowance SET amount_minor = 1",
        "DELETE FROM invoice_allowance",
        "INSERT INTO invoice_allowance (invoice_id, position, reason, amount_minor, tax_micro) VALUES (1, 9, 'x', 1, 0)",
        "UPDATE invoice_tax SET tax_minor = 1",
        "DELETE FROM invoice_tax",
        "INSERT INTO invoice_tax (invoice_id, tax_micro, net_minor, tax_minor) VALUES (1, 1, 1, 1)",
        "UPDATE payment SET amount_minor = 1",
        "DELETE FROM payment",
        "UPDATE log SET sentence = 'x'",
        "DELETE FROM log",
        "UPDATE setting SET value = '1'",
        "UPDATE book_rate SET fixed_micro = 0",
        "DELETE FROM client",
        "DELETE FROM room",
    ] {
        let refused = file.execute_batch(statement);
        assert!(refused.is_err(), "{statement} was let through");
    }
    drop(file);
    assert_eq!(ledger.json("check")["ok"], json!(true));
}

#[test]
fn invoices_are_numbered_without_gaps() {
    let ledger = TestLedger::job_open();
    ledger.lines("invoice deposit J1\ninvoice deposit J1 --share 10%\ninvoice issue J1\ninvoice final J1\ninvoice final J1\ninvoice issue J1");
    let list = ledger.json("invoice list");
    let numbers: Vec<&Value> = list["invoices"]
        .as_array()
        .unwrap()
        .iter()
        .map(|invoice| &invoice["number"])
        .collect();
    assert_eq!(numbers, [&json!("I1"), &json!("I2")]);
    let nets: i64 = list["invoices"]
        .as_array()
        .unwrap()
        .iter()
        .map(|invoice| cents(&invoice["net"]))
        .sum();
    assert_eq!(
        nets,
        cents(&ledger.json("quote show Q1")["price"]),
        "deposit and final ask for the whole price"
    );
    let file = ledger.raw();
    file.execute_batch("INSERT INTO invoice (id, job_id, kind, drafted_on, tax_labour_micro, tax_materials_micro, tax_rental_micro, net_minor, tax_minor, recorded_at) VALUES (99, 1, 'final', '2026-03-02', 0, 0, 0, 1, 0, '2026-03-02')").unwrap();
    let gap = file.execute_batch("UPDATE invoice SET number = 4, issued_on = '2026-03-02', due_on = '2026-03-02' WHERE id = 99");
    assert!(
        gap.unwrap_err()
            .to_string()
            .contains("invoice numbers run without gaps")
    );
}

#[test]
fn ids_and_numbers_of_a_copy_keep_clear_of_the_first() {
    let ledger = TestLedger::nowhere();
    ledger.lines("init --business X --copy 2\nclient add \"Ada Quill\"\nsite add \"Ada Quill\" \"4 Tannery Row\"\nroom add \"4 Tannery Row\" Hall --shape \"8 x 4\" --condition bare --species ash\nworker add R --wage 20\nquote draft \"4 Tannery Row\"");
    assert_eq!(
        ledger.json("quote list")["quotes"][0]["number"],
        json!("2-Q1")
    );
    ledger.line("quote send 2-Q1").ok();
    let file = ledger.raw();
    let id: i64 = file
        .query_row("SELECT id FROM client", [], |row| row.get(0))
        .unwrap();
    assert_eq!(id, (2 << 40) + 1);
}

#[test]
fn a_backup_is_a_sound_copy() {
    let ledger = TestLedger::job_open();
    ledger.lines("buy disc-7in-36 30 --cost 96.00\nbackup copy.db");
    let copy = ledger.folder().join("copy.db");
    let check = ledger
        .run(&["--ledger", copy.to_str().unwrap(), "check"])
        .ok();
    assert_eq!(check, "The ledger is sound.\n");
    assert_eq!(
        ledger.line("backup copy.db").refused(),
        "error: `copy.db` already exists"
    );
}

#[cfg(unix)]
#[test]
fn a_new_ledger_is_readable_by_its_owner_alone() {
    use std::os::unix::fs::PermissionsExt;
    let ledger = TestLedger::new();
    let mode = std::fs::metadata(ledger.path())
        .unwrap()
        .permissions()
        .mode();
    assert_eq!(mode & 0o777, 0o600);
}
