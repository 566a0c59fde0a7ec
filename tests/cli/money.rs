//! What is asked for, owed and paid; and that what was written stays as it was written.

use serde_json::json;

use crate::harness::TestLedger;

/// A room whose job costs next to nothing: it is quoted at the minimum charge, and a variation at its lump.
pub(crate) fn at_the_minimum(minimum: &str) -> TestLedger {
    let ledger = TestLedger::new();
    ledger.lines(&format!(
        r#"
        worker add "Ruben Vale" --wage 0
        client add "Ada Quill" --address "9 Cooper Lane"
        site add "Ada Quill" "4 Tannery Row" --year-built 1931
        room add "4 Tannery Row" "Landing" --shape "10 x 4.5" --condition worn-film --species red-oak
        setting set minimum-charge {minimum}
        "#
    ));
    ledger
}

/// Drafts, sends and accepts a quote at the minimum charge.
pub(crate) const AGREED: &str = r#"
    quote draft "4 Tannery Row" --sequence none --schedule none --margin 0%
    quote send Q1
    quote accept Q1
"#;

#[test]
fn each_quote_of_a_job_is_taxed_at_its_own_rate_in_every_view() {
    let ledger = at_the_minimum("397.90");
    ledger.lines("setting set tax-percent 6");
    ledger.lines(AGREED);
    ledger.lines(
        r#"
        setting set tax-percent 8
        quote draft "4 Tannery Row" --variation-of J1 --sequence none --schedule none --margin 0% --other "oiling=507.00"
        quote send Q2
        quote accept Q2
        invoice final J1
        "#,
    );
    // 397.90 at 6 % is 23.874 of tax, 507.00 at 8 % is 40.56; 904.90 + 23.87 + 40.56 = 969.33.
    // At the first quote's rate alone it would be 904.90 × 1.06 = 959.19.
    let draft = ledger.json("invoice show J1");
    assert_eq!(
        (&draft["net"], &draft["tax"], &draft["total"]),
        (&json!("904.90"), &json!("64.43"), &json!("969.33"))
    );
    let taxes = json!([
        { "tax_percent": 6, "net": "397.90", "tax": "23.87" },
        { "tax_percent": 8, "net": "507.00", "tax": "40.56" },
    ]);
    assert_eq!(draft["taxes"], taxes);
    assert_eq!(draft["tax_percent"], json!(null), "there are two");
    let rates: Vec<_> = draft["lines"].as_array().unwrap().iter().collect();
    assert_eq!(
        (&rates[0]["tax_percent"], &rates[1]["tax_percent"]),
        (&json!(6), &json!(8))
    );

    ledger.lines("invoice issue J1");
    let text = ledger.line("invoice show I1").ok();
    for row in [
        "Tax 6 % on 397.90",
        "23.87",
        "Tax 8 % on 507.00",
        "40.56",
        "969.33",
    ] {
        assert!(text.contains(row), "{row} in\n{text}");
    }
    assert_eq!(ledger.json("invoice list")["invoices"][0]["taxes"], taxes);
    assert_eq!(
        ledger.json("client show Ada")["invoices"][0]["taxes"],
        taxes
    );
    let page = ledger.line("client show Ada").ok();
    assert!(page.contains("23.87 (6 %), 40.56 (8 %)"), "{page}");
    assert_eq!(ledger.json("check")["ok"], json!(true));
}

#[test]
fn a_deposit_comes_off_at_the_rate_it_was_asked_for_with() {
    let ledger = at_the_minimum("397.90");
    ledger.lines("setting set tax-percent 6");
    ledger.lines(AGREED);
    ledger.lines(
        r#"
        invoice deposit J1 --amount 100
        invoice issue J1
        setting set tax-percent 8
        quote draft "4 Tannery Row" --variation-of J1 --sequence none --schedule none --margin 0% --other "oiling=507.00"
        quote send Q2
        quote accept Q2
        invoice final J1
        invoice issue J1
        "#,
    );
    // The deposit: 100.00 and 6.00. Left at 6 %: 297.90 and 23.87 - 6.00 = 17.87; at 8 %: 507.00 and 40.56.
    let last = ledger.json("invoice show I2");
    assert_eq!(
        last["taxes"],
        json!([
            { "tax_percent": 6, "net": "297.90", "tax": "17.87" },
            { "tax_percent": 8, "net": "507.00", "tax": "40.56" },
        ])
    );
    // 106.00 + 863.33 = 969.33, as without a deposit.
    assert_eq!(ledger.json("invoice show I1")["total"], json!("106.00"));
    assert_eq!(last["total"], json!("863.33"));
}

#[test]
fn a_variation_is_not_raised_to_the_minimum_charge() {
    let ledger = at_the_minimum("350");
    ledger.lines(AGREED);
    assert_eq!(ledger.json("quote show Q1")["price"], json!("350.00"));
    let vary = r#"quote draft "4 Tannery Row" --variation-of J1 --sequence none --schedule none --margin 20% --other "one more board=12.40""#;
    // 12.40 ÷ (1 - 0.20) = 15.50: what was added is charged at what it costs, and the job as a whole is above the least.
    assert_eq!(ledger.json(vary)["price"], json!("15.50"));
    // The firm's step is for every price that it names.
    ledger.lines("setting set price-step 5");
    assert_eq!(ledger.json(vary)["price"], json!("20.00"));
    let text = ledger.line("quote show Q3").ok();
    assert!(text.contains("Rounded up to the step"), "{text}");
    assert_eq!(ledger.json("check")["ok"], json!(true));
}

/// Every view of what was sent, issued, paid or closed in the ledger of `written`.
const VIEWS: [&str; 20] = [
    "quote list",
    "quote show Q1",
    "quote show Q1 --why",
    "quote show Q1 --for-client",
    "quote show Q2",
    "quote show Q2 --for-client",
    "quote compare Q2",
    "quote compare Q2 --for-client",
    "job list",
    "job show J1",
    "invoice list",
    "invoice show I1",
    "payment list",
    "report margin",
    "report margin J1",
    "report margin --by room",
    "report margin --by client",
    "report variance J1",
    "report consumables",
    "today",
];

/// A ledger with a closed job that was invoiced and paid in part, and with a sent quote of two options.
fn written() -> TestLedger {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        setting set cancellation-days 3
        setting set contract-law "the law of then"
        client edit "Ada Quill" --address "9 Cooper Lane"
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q1
        quote accept Q1
        job start J1
        buy disc-7in-36 30 --cost 96.00
        use disc-7in-36 6 --room Landing
        hours Ruben 2 --on rotary-36 --room Landing
        hours Ruben 1.5 --on sand
        spent 18.40 --for disposal --room "Back bedroom"
        job close J1
        invoice final J1
        invoice issue J1
        payment add I1 50
        quote draft "4 Tannery Row" --room Landing --sequence none --schedule oil-2-coat --option "Sanded: sequence=rotary-36-50-80"
        quote send Q2
        "#,
    );
    ledger.on("2026-04-20")
}

#[test]
fn what_was_written_is_as_it_was_written_whatever_is_renamed_or_moved() {
    let ledger = written();
    let seen = || -> Vec<(String, String)> {
        let views = VIEWS.iter();
        let faces = views.flat_map(|view| [(*view).to_owned(), format!("{view} --json")]);
        faces
            .map(|face| {
                let shown = ledger.line(&face).ok();
                (face, shown)
            })
            .collect()
    };
    let before = seen();
    for edit in [
        r#"client edit "Ada Quill" --name "Ada Quill-Marsh" --address "1 New Road""#,
        r#"site edit "4 Tannery Row" --address "4 Tannery Row, rear""#,
        r#"client add "Bram Holt""#,
        r#"site edit "4 Tannery Row" --client "Bram Holt""#,
        r#"room edit "Landing" --name "Upper hall""#,
        r#"room edit "Back bedroom" --name "Study" --condition paint"#,
        "operation edit rotary-36 --task rough-cut",
        "operation edit rotary-36 --item none",
        "operation edit oil-coat --task finish --item none",
        "setting set cancellation-days 10",
        r#"setting set contract-law "the law of now""#,
        "setting set tax-percent 9",
        "setting set payment-days 60",
        "setting set minimum-charge 900",
    ] {
        ledger.line(edit).ok();
    }
    for ((face, was), (_, is)) in before.iter().zip(seen()) {
        assert_eq!(was, &is, "{face}");
    }
    // What is written from now on says it in the new words.
    let draft = ledger.json(r#"quote draft "4 Tannery Row""#);
    assert_eq!(
        (
            &draft["client"],
            &draft["site"],
            &draft["cancel_within_days"]
        ),
        (
            &json!("Bram Holt"),
            &json!("4 Tannery Row, rear"),
            &json!(10)
        )
    );
    assert_eq!(draft["rooms"][0]["name"], json!("Upper hall"));
    assert_eq!(ledger.json("check")["ok"], json!(true));
}

#[test]
fn an_open_job_goes_with_its_site_and_a_closed_one_stays() {
    let ledger = at_the_minimum("350");
    ledger.lines(AGREED);
    ledger.lines("client add \"Bram Holt\"\ninvoice deposit J1 --amount 100\ninvoice issue J1");
    let moved = ledger.line("site edit 4 --client Bram");
    assert!(
        moved.stderr().contains(
            "warning: J1 isn't closed: what is invoiced for it from now on is for Bram Holt"
        ),
        "{moved}"
    );
    ledger.lines("job start J1\njob close J1\nsite edit 4 --client Ada");
    ledger.lines("invoice final J1\ninvoice issue J1");
    let to = |number| ledger.json(&format!("invoice show {number}"))["client"].clone();
    assert_eq!(
        (to("I1"), to("I2")),
        (json!("Ada Quill"), json!("Bram Holt"))
    );
    let jobs = |client| ledger.json(&format!("client show {client}"))["jobs"].clone();
    assert_eq!(jobs("Ada"), json!([]));
    assert_eq!(jobs("Bram")[0]["number"], json!("J1"));
}

/// A deposit of 100.00 of 350.00 is overpaid by 20.00, which is kept.
pub(crate) fn overpaid() -> TestLedger {
    let ledger = at_the_minimum("350");
    ledger.lines(AGREED);
    ledger.lines(
        r#"
        invoice deposit J1 --amount 100
        invoice issue J1
        payment add I1 120 --keep-credit
        invoice final J1
        "#,
    );
    ledger
}

#[test]
fn a_credit_is_offered_applied_by_a_command_and_counted_everywhere() {
    let ledger = overpaid();
    let draft = ledger.json("invoice show J1");
    assert_eq!(
        (&draft["total"], &draft["credit_to_apply"]),
        (&json!("250.00"), &json!("20.00"))
    );
    let issued = ledger.line("invoice issue J1");
    assert!(
        issued
            .stderr()
            .contains("hint: gritledger payment apply I2"),
        "{issued}"
    );
    assert!(issued.ok().contains("Credit from P1, to be applied"));

    let client = ledger.json("client show Ada");
    assert_eq!(
        (&client["owed"], &client["credit"], &client["balance"]),
        (&json!("250.00"), &json!("20.00"), &json!("230.00"))
    );
    let page = ledger.line("client show Ada").ok();
    assert!(
        page.starts_with("Ada Quill owes 250.00 USD; kept as credit: 20.00.\n"),
        "{page}"
    );
    let list = ledger.json("invoice list");
    assert_eq!(
        (&list["due"], &list["credit"]),
        (&json!("250.00"), &json!("20.00"))
    );
    assert_eq!(
        ledger.json("today")["credits"],
        json!([{ "client": "Ada Quill", "payment": "P1", "invoice": "I1", "amount": "20.00", "apply_to": "I2" }])
    );

    // 250.00 - 20.00 = 230.00 is due, and of the 120.00 that came for I1, 100.00 stay there.
    let said = ledger.line("payment apply I2").ok();
    assert_eq!(said, "20.00 of P1 applied to I2; 230.00 is due.\n");
    let [first, second] = ["I1", "I2"].map(|number| ledger.json(&format!("invoice show {number}")));
    assert_eq!(
        (&first["paid"], &first["due"], &first["credit"]),
        (&json!("100.00"), &json!("0.00"), &json!("0.00"))
    );
    assert_eq!(
        (&second["paid"], &second["due"], &second["credit_to_apply"]),
        (&json!("20.00"), &json!("230.00"), &json!("0.00"))
    );
    let payments = ledger.json("payment list");
    assert_eq!(
        (
            &payments["payments"][0]["amount"],
            &payments["payments"][0]["applied"]
        ),
        (
            &json!("120.00"),
            &json!([{ "payment": "P1", "invoice": "I2", "date": "2026-03-02", "amount": "20.00" }])
        )
    );
    assert_eq!(ledger.json("client show Ada")["balance"], json!("230.00"));
    assert_eq!(ledger.json("today")["credits"], json!([]));
    assert_eq!(ledger.json("check")["ok"], json!(true));

    // The check bounced: what was applied of it goes with it.
    let voided = ledger.line(r#"payment void P1 --reason "check bounced""#);
    assert!(
        voided
            .stderr()
            .contains("20.00 of it was applied to I2, and is taken back with it."),
        "{voided}"
    );
    let list = ledger.json("invoice list");
    let dues = [0, 1].map(|place| &list["invoices"][place]["due"]);
    assert_eq!(dues, [&json!("100.00"), &json!("250.00")]);
    assert_eq!(
        (&list["due"], &list["credit"]),
        (&json!("350.00"), &json!("0.00"))
    );
    assert_eq!(ledger.json("check")["ok"], json!(true));
}

#[test]
fn no_more_of_a_credit_is_applied_than_there_is_nor_to_another_client() {
    let ledger = overpaid();
    ledger.lines(
        r#"
        invoice issue J1
        client add "Bram Holt"
        site add "Bram Holt" "7 Weir Close" --year-built 1990
        room add "7 Weir Close" "Hall" --shape "10 x 4.5" --condition worn-film --species red-oak
        quote draft "7 Weir Close" --sequence none --schedule none --margin 0%
        quote send Q2
        quote accept Q2
        invoice final J2
        invoice issue J2
        "#,
    );
    assert_eq!(
        ledger.json("invoice show I3")["credit_to_apply"],
        json!("0.00")
    );
    for (line, said) in [
        (
            "payment apply I3",
            "error: Bram Holt has nothing left that could be applied to I3",
        ),
        (
            "payment apply I3 --from P1",
            "error: P1 has nothing left that could be applied to I3",
        ),
        ("payment apply I1", "error: I1 owes nothing"),
        (
            "payment apply I2 20.01",
            "error: 20.01 is more than Ada Quill has left, 20.00",
        ),
        (
            "payment apply I2 251",
            "error: 251.00 is more than I2 owes, 250.00",
        ),
        (
            "payment apply I2 0",
            "error: what is applied is more than nothing",
        ),
        ("payment apply I2 --from P9", "error: no payment P9"),
        (
            "payment apply I2 --date 2026-03-01",
            "error: I2 was issued after 2026-03-01",
        ),
    ] {
        let refused = ledger.line(line).refused();
        assert!(refused.starts_with(said), "{line}: {refused}");
    }
    ledger.lines("payment apply I2 5 --from P1");
    assert_eq!(
        ledger.json("invoice show I2")["credit_to_apply"],
        json!("15.00")
    );
    // The last of it; and one that pays by hand sees what is left.
    ledger.lines("payment apply I2");
    assert_eq!(ledger.json("invoice show I2")["due"], json!("230.00"));
    let file = ledger.raw();
    for statement in [
        "UPDATE payment_application SET amount_minor = 1",
        "DELETE FROM payment_application",
        "INSERT INTO payment_application (id, payment_id, invoice_id, amount_minor, happened_on, recorded_at) VALUES (999, 1, 2, 10001, '2026-03-02', '2026-03-02')",
    ] {
        let refused = file.execute_batch(statement);
        assert!(refused.is_err(), "{statement} was let through");
    }
}

#[test]
fn a_stale_draft_of_an_invoice_is_not_issued_without_a_word() {
    let ledger = at_the_minimum("397.90");
    ledger.lines("setting set tax-percent 6");
    ledger.lines(AGREED);
    ledger.lines(
        r#"
        invoice final J1
        quote draft "4 Tannery Row" --variation-of J1 --sequence none --schedule none --margin 0% --other "oiling=507.00"
        quote send Q2
        quote accept Q2
        "#,
    );
    let redraft = "hint: gritledger invoice final J1\nhint: the same command with --confirm says that it is meant";
    assert_eq!(
        ledger.line("invoice issue J1").refused(),
        format!(
            "error: since the final invoice of J1 was drafted, Q2 over 507.00 was accepted\n{redraft}"
        )
    );
    ledger.lines("invoice final J1\nsetting set tax-percent 8");
    assert_eq!(
        ledger.line("invoice issue J1").refused(),
        format!(
            "error: since the final invoice of J1 was drafted, tax at `4 Tannery Row` went from 6 % to 8 %\n{redraft}"
        )
    );
    // Drafted again it is taxed as it was agreed all the same, and that is said.
    let again = ledger.line("invoice final J1");
    assert!(
        again.stderr().contains("warning: what was agreed at 6 % tax is taxed like that, and 8 % is in force: it is for you to check"),
        "{again}"
    );
    // 904.90 and 6 % of it: 904.90 + 54.29.
    ledger.lines("invoice issue J1");
    assert_eq!(ledger.json("invoice show I1")["total"], json!("959.19"));
}

#[test]
fn a_stale_draft_is_issued_as_it_stands_if_that_is_meant() {
    let ledger = at_the_minimum("350");
    ledger.lines(AGREED);
    ledger.lines("invoice deposit J1 --amount 70\nsetting set tax-percent 8");
    let refused = ledger.line("invoice issue J1").refused();
    assert!(
        refused.contains("hint: gritledger invoice deposit J1 --amount 70.00\n"),
        "{refused}"
    );
    ledger.lines("invoice issue J1 --confirm");
    assert_eq!(ledger.json("invoice show I1")["total"], json!("70.00"));
}

#[test]
fn a_quote_drafted_before_a_change_of_tax_is_not_sent_without_a_word() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        setting set tax-percent 6
        quote draft "4 Tannery Row" --room Landing --sequence rotary-36-50-80 --schedule oil-2-coat --margin 30% --confidence 75% --start 2026-03-09 --other "parking=18.50" --option "Both: schedule=none, with=Back bedroom"
        setting set tax-percent 8
        "#,
    );
    let refused = ledger.line("quote send Q1").refused();
    let said: Vec<&str> = refused.lines().collect();
    assert_eq!(
        said[0],
        "error: since Q1 was drafted, tax at `4 Tannery Row` went from 6 % to 8 %"
    );
    assert_eq!(
        said[2],
        "hint: the same command with --confirm says that it is meant"
    );
    // What is to be typed drafts the same, but for the tax.
    let redraft = said[1].strip_prefix("hint: gritledger ").unwrap();
    ledger.line(redraft).ok();
    for option in [1, 2] {
        let [old, new] = ["Q1", "Q1.2"]
            .map(|number| ledger.json(&format!("quote show {number} --option {option}")));
        for same in [
            "price",
            "lines",
            "rooms",
            "sequence",
            "schedule",
            "start_on",
            "option_name",
        ] {
            assert_eq!(old[same], new[same], "{same} of option {option}");
        }
        assert_eq!(
            (&old["tax_percent"], &new["tax_percent"]),
            (&json!(6), &json!(8))
        );
    }
    ledger.lines("quote send Q1.2");
}

#[test]
fn another_version_of_a_variation_is_a_variation() {
    let ledger = at_the_minimum("350");
    ledger.lines(AGREED);
    let vary = |how: &str, cost: &str| {
        ledger.json(&format!(
            r#"quote draft "4 Tannery Row" {how} --sequence none --schedule none --margin 0% --other "oiling={cost}""#
        ))
    };
    vary("--variation-of J1", "50");
    let second = vary("--revises Q2", "40");
    assert_eq!(
        (&second["number"], &second["variation"], &second["price"]),
        (&json!("Q2.2"), &json!(true), &json!("40.00"))
    );
    ledger.lines("quote send Q2.2\nquote accept Q2.2");
    assert_eq!(ledger.json("job show J1")["variations"], json!("40.00"));
}
