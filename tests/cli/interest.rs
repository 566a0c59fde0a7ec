//! Interest on what is paid late: asked for where the firm has set it, by the day, once, and beside the price.

use serde_json::json;

use crate::harness::TestLedger;
use crate::money::{AGREED, at_the_minimum};

/// A job that was invoiced on 2 March over 1000.00, due on the 16th, of which 400.00 came on the 21st.
fn late() -> TestLedger {
    let ledger = at_the_minimum("1000");
    ledger.lines(AGREED);
    ledger.lines("invoice final J1 --issue");
    let ledger = ledger.on("2026-03-21");
    ledger.lines("payment add I1 400");
    ledger
}

#[test]
fn interest_is_asked_for_by_the_day_where_the_firm_has_set_it() {
    let ledger = late();
    assert_eq!(
        ledger.line("invoice interest I1").refused(),
        "error: the firm asks for no interest on late payment\nhint: gritledger setting set late-interest 8%"
    );
    ledger.lines("setting set late-interest 8%");
    assert_eq!(
        ledger
            .line("invoice interest I1 --until 2026-03-16")
            .refused(),
        "error: I1 isn't late on 2026-03-16: it falls due on 2026-03-16"
    );
    // 17 to 20 March: 1000.00 × 8 % × 4 ÷ 365 = 0.87671; 21 March to 15 April: 600.00 × 8 % × 26 ÷ 365 = 3.41918.
    let ledger = ledger.on("2026-04-15");
    let draft = ledger.line("invoice interest I1").ok();
    for words in [
        "Draft of the interest invoice for J1: 4.30 USD",
        "Interest on I1: 1000.00 owed from 2026-03-17 to 2026-03-20, 4 days at 8 % a year",
        "Interest on I1: 600.00 owed from 2026-03-21 to 2026-04-15, 26 days at 8 % a year",
    ] {
        let said = draft.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(said.contains(words), "{draft}");
    }
    // A payment that comes before it is issued is told.
    ledger.lines("payment add I1 100 --date 2026-04-06");
    assert_eq!(
        ledger.line("invoice issue J1").refused(),
        "error: since the interest invoice of J1 was drafted, what was owed on I1 has changed\n\
         hint: gritledger invoice interest I1 --until 2026-04-15\n\
         hint: the same command with --confirm says that it is meant"
    );
    // 21 March to 5 April, 16 days on 600.00: 2.10411; then 10 days on 500.00: 1.09589.
    ledger.lines("invoice interest I1 --until 2026-04-15 --issue\ncheck");
    let interest = ledger.json("invoice show I2");
    assert_eq!(
        (&interest["kind"], &interest["interest_on"]),
        (&json!("interest"), &json!("I1"))
    );
    assert_eq!(
        (&interest["net"], &interest["tax"], &interest["total"]),
        (&json!("4.08"), &json!("0.00"), &json!("4.08"))
    );
    assert_eq!(
        ledger.line("invoice interest I1").refused(),
        "error: interest on I1 is asked for to 2026-04-15 already"
    );
    assert_eq!(
        ledger.line("invoice interest I2").refused(),
        "error: I2 is interest itself, which bears none"
    );
    // It goes on where it was left: one day on 500.00 is 0.10959.
    let ledger = ledger.on("2026-04-16");
    ledger.lines("invoice interest I1 --issue");
    let next = ledger.line("invoice show I3").ok();
    assert!(
        next.contains("500.00 owed from 2026-04-16 to 2026-04-16, 1 day"),
        "{next}"
    );
    assert_eq!(ledger.json("invoice show I3")["net"], json!("0.11"));
    let owed = ledger.json("report receivables");
    assert_eq!(owed["total"], json!("504.19"));
    ledger.lines("payment add I1,I2,I3 504.19\ncheck");
    let ledger = ledger.on("2026-05-20");
    assert_eq!(
        ledger.line("invoice interest I1").refused(),
        "error: nothing was owed on I1 in days that bear interest"
    );
}

#[test]
fn interest_is_no_part_of_the_price() {
    let ledger = late();
    ledger.lines("setting set late-interest 8%");
    let ledger = ledger.on("2026-04-15");
    ledger.lines("invoice interest I1 --issue");
    for command in [
        "invoice credit I2 --line 1 --reason slip",
        "invoice credit I2 --amount 1 --reason slip",
        "invoice credit I2 --reason slip --off-price",
    ] {
        assert_eq!(
            ledger.line(command).refused(),
            "error: I2 is interest, and no part of a price: it is credited in whole"
        );
    }
    assert_eq!(
        ledger.line("invoice final J1").refused(),
        "error: nothing is left to invoice"
    );
    let year = ledger.json("report year 2026");
    assert_eq!(
        (&year["revenue"], &year["interest"]),
        (&json!("1000.00"), &json!("4.30"))
    );
    let accounts = ledger
        .line("export accounts --from 2026-04-01 --to 2026-04-30")
        .ok();
    assert!(
        accounts.contains("2026-04-15,I2,Interest on late payment,,4.30,"),
        "{accounts}"
    );
    // Credited, it is asked for again; the price is as it was.
    ledger.lines("invoice credit I2 --reason slip --issue\ncheck");
    assert_eq!(
        ledger.line("invoice interest I3").refused(),
        "error: I3 is a credit note: nothing is owed on it"
    );
    assert_eq!(
        ledger.line("invoice final J1").refused(),
        "error: nothing is left to invoice"
    );
    assert_eq!(ledger.json("report year 2026")["interest"], json!("0.00"));
    ledger.lines("invoice interest I1 --issue\ncheck");
    assert_eq!(ledger.json("invoice show I4")["net"], json!("4.30"));
    // The final invoice credited in whole, the price is asked for again, and the interest isn't in it.
    ledger.lines(
        "invoice credit I1 --reason \"another name\" --issue\ninvoice final J1 --issue\ncheck",
    );
    assert_eq!(ledger.json("invoice show I6")["net"], json!("1000.00"));
}

#[test]
fn interest_that_was_changed_by_another_hand_is_found() {
    let ledger = late();
    ledger.lines("setting set late-interest 8%");
    let ledger = ledger.on("2026-04-15");
    ledger.lines("invoice interest I1 --issue");
    let file = ledger.raw();
    file.execute_batch("DROP TRIGGER invoice_frozen").unwrap();
    let found = |damage: &str, words: &str| {
        file.execute_batch(damage).unwrap();
        let said = ledger.line("check").stdout();
        assert!(said.contains(words), "{damage}: {said}");
    };
    found(
        "UPDATE invoice SET late_until = '2026-03-20' WHERE number = 2",
        "I2: it isn't as it was written",
    );
    found(
        "UPDATE invoice SET late_until = '2026-03-10' WHERE number = 2",
        "invoice I2: it asks for interest before its invoice fell due",
    );
    found(
        "UPDATE invoice SET late_until = '2026-05-10' WHERE number = 2",
        "invoice I2: it asks for interest of days to come",
    );
}
