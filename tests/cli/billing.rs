//! Invoices on the way, and what takes back what was issued: credit notes, losses, refunds.

use serde_json::json;

use crate::harness::{TestLedger, split};
use crate::money::{AGREED, at_the_minimum, overpaid};

/// 350.00 at 8 % agreed for one room: 378.00 with tax.
fn taxed() -> TestLedger {
    let ledger = at_the_minimum("350");
    ledger.lines("setting set tax-percent 8");
    ledger.lines(AGREED);
    ledger
}

/// 1400.00 at 8 % named for two rooms of 40 and 60 sq ft, which cost 1000.00 in a lump and what is used in them.
fn named() -> TestLedger {
    let ledger = at_the_minimum("0");
    ledger.lines(
        r#"
        room add "4 Tannery Row" "Den" --shape "10 x 6" --condition worn-film --species red-oak
        setting set tax-percent 8
        quote draft "4 Tannery Row" --sequence none --schedule none --other "oiling=1000" --price 1400
        "#,
    );
    ledger
}

/// Returns an amount of an answer in cents.
fn cents(amount: &serde_json::Value) -> i64 {
    amount.as_str().unwrap().replace('.', "").parse().unwrap()
}

#[test]
fn a_price_that_is_named_is_the_price_and_says_what_it_keeps() {
    let ledger = named();
    let quote = ledger.json("quote show Q1");
    let (price, total) = (&quote["price"], &quote["total"]);
    assert_eq!((price, total), (&json!("1400.00"), &json!("1512.00")));
    assert_eq!(quote["named_price"], json!("1400.00"));
    // Nothing of it is sure but the lump, and what else there is costs less than 60.00: (1400 - 1060) / 1400 is 24.3 %.
    let cost = cents(&quote["cost"]["total"]);
    assert!((100_000..106_000).contains(&cost), "{cost}");
    let kept = (140_000 - cost) as f64 / 1400.0;
    let expected = quote["expected_margin_percent"].as_f64().unwrap();
    assert!((expected - kept).abs() < 0.01, "{expected} {kept}");
    let at_80 = (140_000 - cents(&quote["cost_at"]["p80"])) as f64 / 1400.0;
    let sure = quote["margin_at_confidence_percent"].as_f64().unwrap();
    assert!((sure - at_80).abs() < 0.01, "{sure} {at_80}");
    assert_eq!(quote["chance_of_margin_percent"], json!(0));
    // At 35 % the cost at the confidence asks for itself ÷ 0.65, to the cent.
    let asked = (cents(&quote["cost_at"]["p80"]) as f64 / 0.65).round() as i64;
    assert_eq!(cents(&quote["asked_price"]), asked);
    let rooms = quote["rooms"].as_array().unwrap();
    let shares: i64 = rooms.iter().map(|room| cents(&room["price"])).sum();
    assert_eq!(shares, 140_000);
    let words = ledger.line("quote show Q1").ok();
    assert!(words.contains("Margin: 1400.00 is named; "), "{words}");
    assert!(!words.contains("A loss of"), "{words}");

    let client = ledger.json("quote show Q1 --for-client");
    assert_eq!(client["price"], json!("1400.00"));
    let hidden = ["named_price", "asked_price", "chance_of_margin_percent"];
    assert!(hidden.iter().all(|key| client[*key].is_null()), "{client}");
    let paper = ledger.line("quote show Q1 --for-client").ok();
    assert!(!paper.contains("named"), "{paper}");

    // Another version has what is typed for it; so has an option.
    let again = ledger.json(
        r#"quote draft "4 Tannery Row" --revises Q1 --sequence none --schedule none --other "oiling=1000" --option "Cheap: price=900""#,
    );
    assert_eq!(again["named_price"], json!(null));
    assert_eq!(cents(&again["price"]), asked);
    assert_eq!(again["chance_of_margin_percent"], json!(80));
    let loss = cost - 90_000;
    let words = ledger.line("quote show Q1.2 --option Cheap").ok();
    let said = format!(
        "A loss of {}.{:02} is expected: the job costs ",
        loss / 100,
        loss % 100
    );
    assert!(words.contains(&said), "{said}\n{words}");
    let compared = ledger.line("quote compare Q1.2").ok();
    assert!(
        compared.contains("* Cheap: its price is named, and the margin is kept 0.0 % of the time"),
        "{compared}"
    );
    for price in ["0", "-5"] {
        let draft = format!(r#"quote draft "4 Tannery Row" --price={price}"#);
        assert_eq!(
            ledger.line(&draft).refused(),
            format!("error: a price is above zero: `{price}`")
        );
    }
    ledger.lines("check");
}

#[test]
fn a_named_price_is_invoiced_and_varied_as_agreed() {
    let ledger = named();
    ledger.lines("quote send Q1\nquote accept Q1");
    // 30 % of 1400.00 is 420.00 with 33.60; 980.00 and 78.40 are left.
    ledger.lines("invoice deposit J1 --share 30% --issue");
    assert_eq!(figures(&ledger, "I1", &["net", "tax"]), ["420.00", "33.60"]);
    let cost = cents(&ledger.json("quote show Q1")["cost"]["total"]);
    let varied = &ledger.json("quote vary J1 --without Den")["variations"][0];
    let less = cents(&varied["cost"]["total"]);
    // What is left is worth 1400.00 × its cost ÷ what the whole was expected to cost.
    let worth = (140_000.0 * (cost + less) as f64 / cost as f64).round() as i64;
    assert_eq!(cents(&varied["price"]), worth - 140_000);
    assert_eq!(varied["named_price"], json!(null));
    ledger.lines("quote send Q2\nquote accept Q2\ninvoice final J1 --issue");
    assert_eq!(
        cents(&ledger.json("invoice show I2")["net"]),
        worth - 42_000
    );
    ledger.lines("check");
}

#[test]
fn a_draft_with_a_named_price_is_drafted_again_with_it() {
    let ledger = named();
    ledger.lines(
        r#"
        quote draft "4 Tannery Row" --revises Q1 --sequence none --schedule none --price 1400 --option "Cheap: price=900"
        setting set tax-percent 9
        "#,
    );
    let refused = ledger.line("quote send Q1.2").refused();
    let (_, again) = refused.split_once("hint: ").unwrap();
    let again = again.lines().next().unwrap();
    assert!(again.contains(" --price 1400.00 "), "{again}");
    assert!(again.contains("price=900.00"), "{again}");
    ledger.lines(again.trim_start_matches("gritledger "));
    let prices = |quote: &str| {
        let compared = ledger.json(&format!("quote compare {quote}"));
        let options = compared["options"].as_array().unwrap().iter();
        options
            .map(|option| option["named_price"].clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(prices("Q1.3"), [json!("1400.00"), json!("900.00")]);
}

#[test]
fn a_discount_is_off_the_price_and_an_allowance_on_the_invoices_that_ask_for_rooms() {
    let ledger = named();
    let draft = r#"quote draft "4 Tannery Row" --revises Q1 --sequence none --schedule none --other "oiling=1000" --price 1400"#;
    ledger
        .line(&format!("{draft} --discount neighbours=50"))
        .ok();
    // 1400.00 - 50.00 = 1350.00, with 8 % of 108.00: 1458.00.
    let quote = ledger.json("quote show Q1.2");
    assert_eq!(
        (&quote["price"], &quote["tax"], &quote["total"]),
        (&json!("1350.00"), &json!("108.00"), &json!("1458.00"))
    );
    assert_eq!(
        quote["discounts"],
        json!([{ "reason": "neighbours", "amount": "50.00" }])
    );
    let [landing, den] = [0, 1].map(|room: usize| cents(&quote["rooms"][room]["price"]));
    assert_eq!(landing + den, 140_000);
    let paper = ledger.line("quote send Q1.2").ok();
    let rows: Vec<_> = ["Discount: neighbours", "Price ", "Tax 8 %", "Total"]
        .iter()
        .map(|row| paper.lines().find(|line| line.starts_with(row)).unwrap())
        .map(|line| line.split_whitespace().last().unwrap())
        .collect();
    assert_eq!(rows, ["-50.00", "1350.00", "108.00", "1458.00"], "{paper}");
    ledger.lines("quote accept Q1.2");

    // 30 % of 1350.00 is 405.00 with 32.40. The Den is done: its part of 50.00 is what the Landing's leaves,
    // 50.00 × Landing ÷ 1400.00 to the cent.
    ledger.lines("invoice deposit J1 --share 30% --issue");
    assert_eq!(figures(&ledger, "I1", &["net", "tax"]), ["405.00", "32.40"]);
    ledger.lines("invoice progress J1 --room Den --issue");
    let of_landing = (5_000.0 * landing as f64 / 140_000.0).round() as i64;
    let stage = ledger.json("invoice show I2");
    assert_eq!(cents(&stage["allowances"][0]["amount"]), 5_000 - of_landing);
    assert_eq!(cents(&stage["net"]), den - (5_000 - of_landing));
    // The final has both rooms and all of the discount, less what was invoiced before.
    let last = ledger.line("invoice final J1 --issue").ok();
    assert!(last.contains("Discount: neighbours"), "{last}");
    let last = ledger.json("invoice show I3");
    assert_eq!(
        last["allowances"],
        json!([{ "reason": "neighbours", "amount": "50.00", "tax_percent": 8 }])
    );
    let lines = last["lines"].as_array().unwrap().iter();
    let lines: i64 = lines.map(|line| cents(&line["net"])).sum();
    assert_eq!(cents(&last["net"]), lines - 5_000);
    let sums = |names: [&str; 3], key: &str| -> i64 {
        let amounts = names.map(|name| cents(&ledger.json(&format!("invoice show {name}"))[key]));
        amounts.iter().sum()
    };
    assert_eq!(sums(["I1", "I2", "I3"], "net"), 135_000);
    assert_eq!(sums(["I1", "I2", "I3"], "tax"), 10_800);
    let margin = &ledger.json("report margin")["jobs"][0];
    assert_eq!(margin["price"], json!("1350.00"));
    let rooms = ledger.json("report margin --by room");
    let rooms = rooms["rooms"].as_array().unwrap().iter();
    let rooms: i64 = rooms.map(|room| cents(&room["price"])).sum();
    assert_eq!(rooms, 135_000);

    // Credited in whole, its allowance goes back with its lines, and all of it is asked for again.
    let amounts = figures(&ledger, "I3", &["net", "tax"]);
    ledger.lines("invoice credit I3 --reason \"wrong date\" --issue");
    assert_eq!(figures(&ledger, "I4", &["net", "tax"]), amounts);
    assert_eq!(
        ledger.json("invoice show I4")["allowances"],
        last["allowances"]
    );
    assert_eq!(
        ledger.line("invoice credit I3 --reason again").refused(),
        "error: I3 is credited in whole already"
    );
    ledger.lines("invoice final J1 --issue");
    assert_eq!(figures(&ledger, "I5", &["net", "tax"]), amounts);
    ledger.lines("check");
}

#[test]
fn a_discount_has_a_reason_an_amount_and_leaves_a_price() {
    let ledger = named();
    for (discount, refusal) in [
        (
            "50",
            "`50` is not a discount\nhint: --discount \"neighbours=50\"",
        ),
        (
            "=50",
            "`=50` is not a discount\nhint: --discount \"neighbours=50\"",
        ),
        ("friend=0", "a discount is above zero: `friend=0`"),
        ("friend=-1", "a discount is above zero: `friend=-1`"),
        (
            "friend=1400",
            "1400.00 off leaves nothing of the price of 1400.00",
        ),
    ] {
        let draft = format!(
            r#"quote draft "4 Tannery Row" --sequence none --schedule none --price 1400 --discount {discount}"#
        );
        assert_eq!(ledger.line(&draft).refused(), format!("error: {refusal}"));
    }
    // Below what it costs, which is 1000.00 and a little.
    let loss = ledger
        .line(r#"quote draft "4 Tannery Row" --revises Q1 --sequence none --schedule none --other "oiling=1000" --price 1400 --discount friend=500"#)
        .ok();
    assert!(loss.contains("A loss of "), "{loss}");
    assert!(
        loss.contains("Margin: 900.00 is left after discounts; "),
        "{loss}"
    );
}

#[test]
fn goodwill_on_the_final_invoice_is_off_the_price() {
    let ledger = taxed();
    ledger.lines("invoice deposit J1 --amount 100 --issue");
    // 350.00 - 100.00 are left: 250.00 off is all of it.
    assert_eq!(
        ledger
            .line("invoice final J1 --discount scratch=250")
            .refused(),
        "error: 250.00 off leaves nothing of the 250.00 that are left to invoice"
    );
    // 350.00 - 20.00 = 330.00 with 26.40, of which 100.00 and 8.00 were asked for.
    ledger.lines("invoice final J1 --discount \"scratch at the door=20\" --issue");
    assert_eq!(
        figures(&ledger, "I2", &["net", "tax", "off_price", "due"]),
        ["230.00", "18.40", "20.00", "248.40"]
    );
    let margin = &ledger.json("report margin")["jobs"][0];
    assert_eq!(
        (&margin["price"], &margin["variations"]),
        (&json!("350.00"), &json!("-20.00"))
    );
    assert_eq!(
        ledger.line("invoice final J1").refused(),
        "error: nothing is left to invoice"
    );
    // Issued wrong and credited in whole, its goodwill comes back: what is typed next gives it again, or doesn't.
    let credited = ledger.line("invoice credit I2 --reason \"wrong date\" --issue");
    let hint = "hint: gritledger invoice final J1 --discount \"scratch at the door=20.00\"";
    assert!(credited.stderr().contains(hint), "{credited}");
    ledger.lines("check\ninvoice final J1 --issue\ncheck");
    assert_eq!(figures(&ledger, "I4", &["net", "tax"]), ["250.00", "20.00"]);
    ledger.lines("invoice credit I4 --reason \"goodwill\" --issue\ninvoice final J1 --discount \"scratch at the door=20.00\" --issue");
    assert_eq!(
        figures(&ledger, "I6", &["net", "tax", "rounding"]),
        ["230.00", "18.40", "0.00"]
    );
    let margin = &ledger.json("report margin")["jobs"][0];
    assert_eq!(margin["variations"], json!("-20.00"));
    ledger.lines("check");
}

#[test]
fn a_draft_with_goodwill_is_drafted_again_with_it() {
    let ledger = taxed();
    ledger.lines("invoice final J1 --discount \"a scratch=20\"\nsetting set tax-percent 9");
    let refused = ledger.line("invoice issue J1").refused();
    let hint = "hint: gritledger invoice final J1 --discount \"a scratch=20.00\"";
    assert!(refused.contains(hint), "{refused}");
    ledger.lines("invoice final J1 --discount \"a scratch=20.00\"");
    assert_eq!(figures(&ledger, "J1", &["net"]), ["330.00"]);
}

#[test]
fn a_draft_takes_the_place_of_another_one_only_if_that_is_meant() {
    let ledger = taxed();
    ledger.lines("invoice deposit J1 --amount 100\ninvoice deposit J1 --amount 120");
    // The same one, drafted again; another one is asked about: 120.00 and 9.60 of tax.
    assert_eq!(
        ledger.line("invoice final J1").refused(),
        "error: the deposit invoice of J1 over 129.60 is drafted and not issued, and this draft takes its place\n\
         hint: gritledger invoice issue J1\nhint: the same command with --confirm says that it is meant"
    );
    ledger.lines("invoice issue J1\ninvoice credit I1 --amount 20 --reason \"too much\"");
    let refused = ledger.line("invoice final J1").refused();
    assert!(
        refused.starts_with("error: the credit note for I1 of J1 over 21.60 is drafted"),
        "{refused}"
    );
    ledger.lines("invoice credit I1 --amount 20 --reason \"too much\"");
    let refused = ledger
        .line("invoice credit I1 --amount 30 --reason \"too much\"")
        .refused();
    assert!(refused.contains("takes its place"), "{refused}");
    ledger.lines("invoice final J1 --confirm --issue");
    assert_eq!(figures(&ledger, "I2", &["net"]), ["230.00"]);
    ledger.lines("check");
}

#[test]
fn what_is_paid_back_by_name_is_of_the_invoice_that_has_a_credit() {
    let ledger = taxed();
    ledger.lines(
        r#"
        invoice deposit J1 --amount 100 --issue
        payment add I1 108
        invoice final J1 --issue
        payment add I2 280 --keep-credit
        "#,
    );
    // 270.00 of 280.00 were owed on I2; I1 is settled.
    assert_eq!(
        ledger.line("payment refund ada").ok(),
        "10.00 USD paid back to Ada Quill, of P2.\n"
    );
    let payment = &ledger.json("payment list")["payments"][1];
    assert_eq!(
        (&payment["applied"], &payment["paid_back"]),
        (&json!([]), &json!("10.00"))
    );
    assert_eq!(payment["refunds"][0]["amount"], json!("10.00"));
    let rows = ledger.line("payment list --csv").ok();
    let mut rows = rows.lines().map(|row| row.split(','));
    let place = rows.next().unwrap().position(|name| name == "paid_back");
    let cells: Vec<_> = rows
        .map(|mut row| row.nth(place.unwrap()).unwrap())
        .collect();
    assert_eq!(cells, ["0.00", "10.00"]);
    assert!(ledger.line("payment list").ok().contains("10.00 paid back"));
}

#[test]
fn a_client_is_shown_with_what_is_lost() {
    let ledger = taxed();
    ledger.lines("invoice final J1 --issue\ninvoice write-off I1 --reason \"moved away\"");
    let client = ledger.line("client show Ada").ok();
    assert!(
        client.starts_with("Ada Quill owes nothing; 378.00 is written off.\n"),
        "{client}"
    );
    assert_eq!(ledger.json("client show Ada")["lost"], json!("378.00"));
}

#[test]
fn today_says_what_was_invoiced_beyond_the_price_while_the_job_is_on() {
    let ledger = named();
    ledger.lines(
        r#"
        quote send Q1
        quote accept Q1
        invoice progress J1 --share 100% --issue
        "#,
    );
    assert_eq!(ledger.json("today")["to_bill"], json!([]));
    ledger.lines("quote vary J1 --without Den\nquote send Q2\nquote accept Q2");
    let off = cents(&ledger.json("quote show Q2")["price"]);
    let today = ledger.json("today");
    assert_eq!(cents(&today["to_bill"][0]["amount"]), off);
    let words = format!(
        "J1: Ada Quill was invoiced {}.{:02} USD before tax beyond its price, which is owed back",
        -off / 100,
        -off % 100
    );
    let shown = ledger.line("today").ok();
    let shown = shown.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(shown.contains(&words), "{words}\n{shown}");
    ledger.lines("check");
}

#[test]
fn what_is_held_is_asked_for_when_it_is_released() {
    let ledger = at_the_minimum("350");
    ledger.lines(
        r#"
        setting set tax-percent 8
        quote draft "4 Tannery Row" --sequence none --schedule none --margin 0% --retention 10%
        quote send Q1
        quote accept Q1
        invoice deposit J1 --amount 100 --issue
        "#,
    );
    let paper = ledger.line("quote show Q1 --for-client").ok();
    let said = "Of progress and final invoices 10 % is held until it is released.";
    assert!(paper.contains(said), "{paper}");
    // A deposit holds nothing. 40 % of 350.00 is 140.00, of which 14.00 is held: 126.00 with 10.08.
    ledger.lines("invoice progress J1 --share 40% --issue");
    let stage = ledger.line("invoice show I2").ok();
    assert!(
        stage.contains("2. Held until it is released: 10 %"),
        "{stage}"
    );
    assert_eq!(figures(&ledger, "I2", &["net", "tax"]), ["126.00", "10.08"]);
    // 350.00 less 35.00 that is held of all of it, 100.00 and 126.00: 89.00. Tax on 315.00 is 25.20, less 8.00 and 10.08.
    assert_eq!(
        ledger.line("invoice release J1").refused(),
        "error: J1 has more left to invoice than what is held\nhint: gritledger invoice final J1"
    );
    let last = ledger.line("invoice final J1 --issue");
    let said = "35.00 before tax is held until it is released.";
    assert!(last.stderr().contains(said), "{last}");
    assert_eq!(figures(&ledger, "I3", &["net", "tax"]), ["89.00", "7.12"]);
    assert_eq!(
        ledger.line("invoice final J1").refused(),
        "error: nothing is left to invoice for J1 but what is held: 35.00\nhint: gritledger invoice release J1"
    );
    // What is held is owed by nobody yet.
    ledger.lines("payment add I1,I2,I3 340.20");
    assert_eq!(ledger.json("client show Ada")["owed"], json!("0.00"));
    // 35.00 with what is left of 28.00 of tax: 2.80.
    ledger.lines("invoice release J1 --issue");
    assert_eq!(
        figures(&ledger, "I4", &["kind", "net", "tax", "due"]),
        ["release", "35.00", "2.80", "37.80"]
    );
    for (again, refusal) in [
        ("final", "nothing is left to invoice"),
        ("release", "nothing of J1 is held"),
    ] {
        let refused = ledger.line(&format!("invoice {again} J1")).refused();
        assert_eq!(refused, format!("error: {refusal}"));
    }
    ledger.lines("check");
}

#[test]
fn what_is_left_may_be_less_than_what_is_to_be_held() {
    let ledger = at_the_minimum("350");
    ledger.lines(
        r#"
        quote draft "4 Tannery Row" --sequence none --schedule none --margin 0% --retention 10%
        quote send Q1
        quote accept Q1
        invoice deposit J1 --amount 105 --issue
        invoice progress J1 --amount 240 --issue
        "#,
    );
    // 350.00 less 105.00 and 216.00: 29.00 are left, and 35.00 would be held of all of it.
    assert_eq!(
        ledger.line("invoice final J1").refused(),
        "error: nothing is left to invoice for J1 but what is held: 29.00\nhint: gritledger invoice release J1"
    );
    ledger.lines("invoice release J1 --issue");
    assert_eq!(figures(&ledger, "I3", &["net"]), ["29.00"]);
    ledger.lines("check");
}

#[test]
fn what_is_held_is_never_asked_for_on_the_way() {
    let ledger = at_the_minimum("350");
    ledger.lines(
        r#"
        quote draft "4 Tannery Row" --sequence none --schedule none --margin 0% --retention 10%
        quote send Q1
        quote accept Q1
        invoice progress J1 --amount 340 --issue
        "#,
    );
    // 340.00 less 34.00; of the 44.00 that are left 10.00 can be asked for, 1.00 of it held.
    assert_eq!(
        ledger.line("invoice progress J1 --amount 10.01").refused(),
        "error: that is more than is left to invoice for J1: 10.00\nhint: gritledger invoice final J1"
    );
    ledger.lines("invoice final J1 --issue\ninvoice release J1 --issue");
    let nets = ["I1", "I2", "I3"].map(|name| figures(&ledger, name, &["net"]).remove(0));
    assert_eq!(nets, ["306.00", "9.00", "35.00"]);
    let plain = taxed();
    assert_eq!(
        plain.line("invoice release J1").refused(),
        "error: nothing of J1 is held"
    );
    let refused = plain
        .line(r#"quote draft "4 Tannery Row" --retention 100%"#)
        .refused();
    assert_eq!(
        refused,
        "error: a retention is a share of 0 % or more, below 100 %"
    );
    ledger.lines("check");
}

/// Returns figures of an invoice.
fn figures(ledger: &TestLedger, invoice: &str, names: &[&str]) -> Vec<String> {
    let answer = ledger.json(&format!("invoice show {invoice}"));
    let figure = |name: &&str| answer[*name].as_str().unwrap_or_default().to_owned();
    names.iter().map(figure).collect()
}

#[test]
fn deposit_progress_and_final_ask_for_the_price_and_its_tax_once() {
    let ledger = taxed();
    // 30 % is 105.00 with 8.40; 40 % of 350.00 is 140.00 with 11.20; 105.00 and 8.40 are left of 350.00 and 28.00.
    ledger.lines("invoice deposit J1 --share 30% --issue");
    let progress = ledger.line("invoice progress J1 --share 40% --issue").ok();
    assert!(
        progress.starts_with("I2 (progress): 151.20 USD is owed, due 2026-03-16\n"),
        "{progress}"
    );
    assert!(progress.contains("1. 40 % of Q1"), "{progress}");
    ledger.lines("invoice final J1 --issue");
    let asked = ["I1", "I2", "I3"].map(|invoice| figures(&ledger, invoice, &["net", "tax"]));
    assert_eq!(
        asked,
        [["105.00", "8.40"], ["140.00", "11.20"], ["105.00", "8.40"]]
    );
    ledger.lines("check");
}

#[test]
fn a_room_that_is_done_is_asked_for_once() {
    let ledger = taxed();
    let run = ledger.line("invoice progress J1");
    assert_eq!(run.code(), 2, "{run}");
    assert_eq!(
        run.stderr(),
        "error: the following required arguments were not provided: <--share <PERCENT>|--amount <AMOUNT>|--room <ROOM>>\n\
         Usage: gritledger invoice progress <JOB> <--share <PERCENT>|--amount <AMOUNT>|--room <ROOM>>\n"
    );
    let run = ledger.line("invoice progress J1 --share 40% --amount 5");
    assert_eq!(run.code(), 2, "{run}");
    ledger.lines("invoice progress J1 --room Landing --issue");
    assert_eq!(figures(&ledger, "I1", &["net", "tax"]), ["350.00", "28.00"]);
    assert_eq!(
        ledger.line("invoice progress J1 --room Landing").refused(),
        "error: Landing was invoiced already, by I1"
    );
    assert_eq!(
        ledger.line("invoice final J1").refused(),
        "error: nothing is left to invoice"
    );
    ledger.lines("check");
}

#[test]
fn what_was_issued_wrong_is_credited_and_asked_for_again() {
    let ledger = taxed();
    ledger.lines("invoice final J1 --issue");
    let note = ledger.line("invoice credit I1 --reason \"wrong address\" --issue");
    assert!(
        note.stderr().contains("hint: gritledger invoice final J1"),
        "{note}"
    );
    let note = note.ok();
    assert!(
        note.starts_with("I2, credit note for I1: 378.00 USD\n"),
        "{note}"
    );
    assert_eq!(
        figures(&ledger, "I1", &["status", "credited", "due"]),
        ["credited", "378.00", "0.00"]
    );
    assert_eq!(
        figures(&ledger, "I2", &["status", "due"]),
        ["credit note", "0.00"]
    );
    ledger.lines("invoice final J1 --issue");
    assert_eq!(
        figures(&ledger, "I3", &["net", "tax", "due"]),
        ["350.00", "28.00", "378.00"]
    );
    assert_eq!(ledger.json("client show Ada")["owed"], json!("378.00"));
    ledger.lines("check");
}

#[test]
fn a_part_of_the_final_invoice_that_is_credited_is_off_the_price() {
    let ledger = taxed();
    ledger.lines("invoice final J1 --issue");
    // 50.00 of 350.00 with 4.00 of tax: 324.00 are owed, and the job has 300.00 for its work.
    let note = ledger
        .line("invoice credit I1 --amount 50 --reason \"scratch at the door\" --issue")
        .ok();
    assert!(note.contains("It is off the price of J1."), "{note}");
    assert_eq!(
        figures(&ledger, "I1", &["credited", "due"]),
        ["54.00", "324.00"]
    );
    let margin = &ledger.json("report margin")["jobs"][0];
    assert_eq!(
        (&margin["price"], &margin["variations"], &margin["margin"]),
        (&json!("350.00"), &json!("-50.00"), &json!("300.00"))
    );
    let rooms = &ledger.json("report margin --by room")["rooms"];
    assert_eq!(rooms[0]["variations"], json!("-50.00"));
    assert_eq!(
        ledger.line("invoice final J1").refused(),
        "error: nothing is left to invoice"
    );
    // The rest of it is issued wrong: what is off the price stays off.
    ledger.lines("invoice credit I1 --reason \"wrong client\" --issue");
    ledger.lines("invoice final J1 --issue");
    assert_eq!(
        figures(&ledger, "I4", &["net", "tax", "due"]),
        ["300.00", "24.00", "324.00"]
    );
    ledger.lines("check");
}

#[test]
fn a_final_invoice_that_is_credited_in_whole_can_be_off_the_price_too() {
    let ledger = taxed();
    ledger.lines(
        r#"
        invoice progress J1 --amount 300 --issue
        invoice final J1 --issue
        "#,
    );
    // 50.00 of it go back for good: 300.00 are left of 350.00.
    let note = ledger
        .line("invoice credit I2 --off-price --reason scratch --issue")
        .ok();
    assert!(note.contains("It is off the price of J1."), "{note}");
    assert_eq!(
        ledger.line("invoice final J1").refused(),
        "error: nothing is left to invoice"
    );
    assert_eq!(
        ledger.line("invoice progress J1 --amount 1").refused(),
        "error: nothing is left to invoice"
    );
    assert_eq!(
        ledger
            .line("invoice credit I1 --line 1 --amount 301 --reason x")
            .refused(),
        "error: that is more than is left of line 1 of I1: 300.00"
    );
    ledger.lines("check");
}

#[test]
fn no_more_is_credited_than_an_invoice_asks_for() {
    let ledger = taxed();
    ledger.lines(
        r#"
        invoice progress J1 --amount 300 --issue
        invoice final J1 --issue
        "#,
    );
    // The final asks for 50.00 and 4.00 of tax: 350.00 less 300.00.
    assert_eq!(
        ledger
            .line("invoice credit I2 --amount 60 --reason dust")
            .refused(),
        "error: that is more than is left of I2, tax included: 54.00\nhint: gritledger invoice credit I2 --reason WHY"
    );
}

#[test]
fn the_deposit_of_a_cancelled_job_is_credited_and_paid_back() {
    let ledger = taxed();
    ledger.lines(
        r#"
        invoice deposit J1 --amount 100 --issue
        payment add I1 108
        "#,
    );
    let cancelled = ledger.line("job cancel J1 --reason \"client withdrew\"");
    assert!(
        cancelled
            .stderr()
            .contains("hint: gritledger invoice credit I1 --reason \"J1 is cancelled\""),
        "{cancelled}"
    );
    let issued = ledger.line("invoice credit I1 --reason \"J1 is cancelled\" --issue");
    assert!(
        issued
            .stderr()
            .contains("hint: gritledger payment refund I1"),
        "{issued}"
    );
    issued.ok();
    assert_eq!(
        figures(&ledger, "I1", &["credit", "due"]),
        ["108.00", "0.00"]
    );
    assert_eq!(
        ledger.line("payment refund I1").ok(),
        "108.00 USD paid back to Ada Quill, of P1.\n"
    );
    assert_eq!(
        figures(&ledger, "I1", &["paid", "credit"]),
        ["0.00", "0.00"]
    );
    let payments = ledger.line("payment list").ok();
    assert!(payments.contains("108.00 paid back"), "{payments}");
    assert_eq!(
        ledger.json("report margin")["jobs"][0]["price"],
        json!("0.00")
    );
    // The check bounces after all: what was paid back is owed again.
    let bounced = ledger.line("payment void P1 --reason \"check bounced\"");
    assert!(
        bounced
            .stderr()
            .contains("108.00 of it was paid back, and is owed again."),
        "{bounced}"
    );
    bounced.ok();
    assert_eq!(
        figures(&ledger, "I1", &["paid", "due"]),
        ["-108.00", "108.00"]
    );
    ledger.lines("check");
}

#[test]
fn a_loss_is_no_payment_and_what_comes_after_all_is_taken() {
    let ledger = taxed();
    ledger.lines("invoice final J1 --issue");
    ledger.lines("payment add I1 200");
    let lost = ledger
        .line("invoice write-off I1 --reason \"moved away\"")
        .ok();
    assert!(lost.starts_with("I1 (final): written off\n"), "{lost}");
    assert_eq!(
        figures(&ledger, "I1", &["paid", "lost", "due"]),
        ["200.00", "178.00", "0.00"]
    );
    assert_eq!(ledger.json("client show Ada")["owed"], json!("0.00"));
    ledger.lines("payment add I1 100");
    assert_eq!(
        figures(&ledger, "I1", &["paid", "lost", "due", "credit"]),
        ["300.00", "78.00", "0.00", "0.00"]
    );
    assert_eq!(
        ledger.line("payment add I1 78.01").refused(),
        "error: 78.01 is more than I1 owes, 78.00\nhint: --keep-credit keeps the rest as the client's credit"
    );
    ledger.lines("invoice write-off I1 --undo --reason \"they pay\"");
    assert_eq!(figures(&ledger, "I1", &["lost", "due"]), ["0.00", "78.00"]);
    assert_eq!(
        ledger
            .line("invoice write-off I1 --undo --reason again")
            .refused(),
        "error: nothing of I1 is written off"
    );
    ledger.lines("check");
}

#[test]
fn a_payment_is_of_one_client_and_no_more_is_asked_for_than_the_price() {
    let ledger = taxed();
    ledger.lines(
        r#"
        invoice deposit J1 --amount 100 --issue
        client add "Bram Stott"
        site add "Bram Stott" "2 Mill Lane"
        room add "2 Mill Lane" "Den" --shape "10 x 10" --condition worn-film --species red-oak
        quote draft "2 Mill Lane" --sequence none --schedule none --margin 0%
        quote send Q2
        quote accept Q2
        invoice deposit J2 --amount 100 --issue
        "#,
    );
    assert_eq!(
        ledger.line("payment add I1,I2 216").refused(),
        "error: I2 is for another client than I1"
    );
    assert_eq!(
        ledger.line("invoice progress J1 --amount 250.01").refused(),
        "error: that is more than is left to invoice for J1: 250.00\nhint: gritledger invoice final J1"
    );
}

#[test]
fn one_payment_settles_several_invoices() {
    let ledger = taxed();
    ledger.lines(
        r#"
        invoice deposit J1 --amount 100 --issue
        invoice progress J1 --amount 100 --issue
        invoice final J1 --issue
        "#,
    );
    // 108.00, 108.00 and 162.00: 250.00 settles the first two, and 34.00 are for the third.
    assert_eq!(
        ledger.line("payment add I1,I2,I3 250").ok(),
        "P1: 108.00 paid on I1; 0.00 is due.\n\
         P1: 108.00 paid on I2; 0.00 is due.\n\
         P1: 34.00 paid on I3; 128.00 is due.\n"
    );
    assert_eq!(
        ledger.line("payment add I3,I2 128.01").refused(),
        "error: 128.01 is more than I3, I2 owe, 128.00\nhint: --keep-credit keeps the rest as the client's credit"
    );
    assert_eq!(
        ledger.line("payment add I3,I3 1").refused(),
        "error: I3 is named twice"
    );
    ledger.lines("payment void P1 --reason bounced");
    let due = ["I1", "I2", "I3"].map(|invoice| figures(&ledger, invoice, &["due"]));
    assert_eq!(due, [["108.00"], ["108.00"], ["162.00"]]);
    ledger.lines("check");
}

#[test]
fn what_cannot_be_credited_written_off_or_paid_back_says_why() {
    let ledger = overpaid();
    ledger.lines("invoice issue J1");
    ledger.lines("invoice credit I2 --line 1 --amount 10 --reason dust");
    let draft = ledger.line("invoice issue J1 --dry-run");
    assert!(
        draft
            .stderr()
            .contains("Issued I3: 10.00 of I2 is credited."),
        "{draft}"
    );
    for (line, said) in [
        (
            "invoice progress J1 --amount 1",
            "error: I2 is the final invoice of J1",
        ),
        (
            "invoice progress J1 --share 101%",
            "error: a progress invoice is a share between 0 and 100 %",
        ),
        (
            "invoice credit I2 --reason \" \"",
            "error: say why I2 is credited",
        ),
        (
            "invoice credit I2 --amount 0 --reason x",
            "error: what is credited is more than nothing",
        ),
        (
            "invoice credit I2 --line x --reason x",
            "error: `x` is not the number of a line: they are numbered 1, 2, 3",
        ),
        (
            "invoice credit I2 --line 3 --reason x",
            "error: I2: it has no line 3",
        ),
        (
            "invoice credit I2 --line 2 --reason x",
            "error: I2: its line 2 takes off what was invoiced before: credit that invoice, or the whole of this one",
        ),
        (
            "invoice credit I2 --line 1 --amount 350.01 --reason x",
            "error: that is more than is left of line 1 of I2: 350.00",
        ),
        (
            "invoice credit I1 --amount 100.01 --reason x",
            "error: that is more than is left of I1 before tax: 100.00",
        ),
        (
            "invoice credit I2 --line 1,2 --amount 1 --reason x",
            "error: an amount is of one line, or of the whole invoice",
        ),
        ("invoice write-off I1 --reason x", "error: I1 owes nothing"),
        (
            "invoice write-off I2 0 --reason x",
            "error: what is written off is more than nothing",
        ),
        (
            "invoice write-off I2 250.01 --reason x",
            "error: 250.01 is more than I2 owes, 250.00",
        ),
        (
            "invoice write-off I2 --reason \" \"",
            "error: say why I2 is written off",
        ),
        (
            "invoice write-off I2 --undo --reason \" \"",
            "error: say why the loss on I2 is taken back",
        ),
        (
            "payment refund I2",
            "error: nothing was paid beyond what I2 asks for",
        ),
        (
            "payment refund I1 20.01",
            "error: 20.01 is more than was paid beyond I1, 20.00",
        ),
        (
            "payment refund I1 0",
            "error: what is paid back is more than nothing",
        ),
        (
            "payment refund I1 --date 2026-03-01",
            "error: P1 came after 2026-03-01",
        ),
    ] {
        let refused = ledger.line(line).refused();
        assert!(refused.starts_with(said), "{line}: {refused}");
    }
    ledger.lines("invoice credit I2 --reason \"wrong client\" --issue --confirm");
    for (line, said) in [
        (
            "invoice credit I2 --reason x",
            "error: I2 is credited in whole already",
        ),
        (
            "invoice credit I3 --reason x",
            "error: I3 is a credit note itself, for I2",
        ),
        (
            "invoice write-off I3 --reason x",
            "error: I3 is a credit note for I2: it asks for nothing",
        ),
        (
            "payment add I3 1",
            "error: I3 is a credit note for I2: nobody pays it",
        ),
    ] {
        let refused = ledger.line(line).refused();
        assert!(refused.starts_with(said), "{line}: {refused}");
    }
    let file = ledger.raw();
    for statement in [
        "INSERT INTO write_off (id, invoice_id, amount_minor, reason, happened_on, recorded_at) VALUES (9, 3, 1, 'x', '2026-03-02', '2026-03-02 00:00:00')",
        "UPDATE invoice SET reason = 'another' WHERE number = 3",
        "INSERT INTO invoice (id, job_id, kind, drafted_on, tax_labour_micro, tax_materials_micro, tax_rental_micro, net_minor, tax_minor, credits_id, reason, recorded_at) VALUES (99, 1, 'credit', '2026-03-02', 0, 0, 0, 1, 0, 3, 'x', '2026-03-02 00:00:00')",
        "INSERT INTO invoice (id, job_id, kind, drafted_on, tax_labour_micro, tax_materials_micro, tax_rental_micro, net_minor, tax_minor, credits_id, reason, recorded_at) VALUES (99, 1, 'credit', '2026-03-02', 0, 0, 0, 999999, 0, 1, 'x', '2026-03-02 00:00:00'); UPDATE invoice SET number = 4, issued_on = '2026-03-02', due_on = '2026-03-02', client_id = 1, client = 'x', client_address = '', site = 'x' WHERE id = 99",
        "DELETE FROM write_off_void; DELETE FROM write_off; SELECT RAISE(ABORT, 'x')",
    ] {
        let refused = file.execute_batch(statement);
        assert!(refused.is_err(), "{statement} was let through");
    }
}

#[test]
fn what_is_owed_is_told_by_age_as_it_stood_on_any_day() {
    let ledger = taxed();
    let on = |day: &str, line: &str| {
        let arguments = split(line);
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
        ledger.run_with(&arguments, &[("GRITLEDGER_TODAY", day)])
    };
    // 108.00 fell due on 16 March and 270.00 on 15 April; 50.00 came on 2 May, when nobody had said it.
    on("2026-03-02", "invoice deposit J1 --amount 100 --issue").ok();
    on("2026-04-01", "invoice final J1 --issue").ok();
    on(
        "2026-05-10",
        "payment add I1 50 --date 2026-05-02 --confirm",
    )
    .ok();
    on(
        "2026-06-20",
        "invoice credit I2 --amount 25 --reason dust --issue",
    )
    .ok();
    on("2026-06-20", "payment add I1 58").ok();
    let owed = |on_day: &str| {
        let line = format!("report receivables --as-of {on_day} --json");
        let run = on("2026-06-20", &line).ok();
        let answer: serde_json::Value = serde_json::from_str(&run).unwrap();
        let buckets = &answer["clients"][0]["buckets"];
        let ages = ["days_0_30", "days_31_60", "days_61_90", "over_90"];
        let ages = ages.map(|age| buckets[age].as_str().unwrap_or("-").to_owned());
        let total = answer["total"].as_str().unwrap().to_owned();
        (ages.join(" "), total)
    };
    for (day, ages, total) in [
        ("2026-03-01", "- - - -", "0.00"),
        ("2026-03-02", "108.00 0.00 0.00 0.00", "108.00"),
        ("2026-04-15", "378.00 0.00 0.00 0.00", "378.00"),
        ("2026-04-16", "270.00 108.00 0.00 0.00", "378.00"),
        // What came on the second was recorded on the tenth.
        ("2026-05-09", "270.00 108.00 0.00 0.00", "378.00"),
        ("2026-05-10", "270.00 58.00 0.00 0.00", "328.00"),
        ("2026-06-15", "0.00 0.00 270.00 58.00", "328.00"),
        // 25.00 and 2.00 of tax are credited; I1 is paid.
        ("2026-06-20", "0.00 0.00 243.00 0.00", "243.00"),
    ] {
        assert_eq!(owed(day), (ages.to_owned(), total.to_owned()), "{day}");
    }
    on("2026-06-20", "setting set allowance-90 6%").ok();
    on("2026-06-20", "setting set age-from-invoice yes").ok();
    // 270.00 of 1 April is 74 days old on 14 June; 58.00 of 2 March are 104.
    assert_eq!(owed("2026-06-14").0, "0.00 0.00 270.00 58.00");
    assert_eq!(owed("2026-04-01").0, "378.00 0.00 0.00 0.00");
    assert_eq!(owed("2026-04-02").0, "270.00 108.00 0.00 0.00");
    insta::assert_snapshot!(
        "receivables",
        on("2026-06-20", "report receivables --as-of 2026-06-14").ok()
    );
    insta::assert_snapshot!(
        "statement_from",
        on("2026-06-20", "client statement Ada --from 2026-05-01").ok()
    );
    ledger.lines("check");
}

#[test]
fn a_statement_ends_with_what_the_client_owes() {
    let ledger = overpaid();
    ledger.lines(
        r#"
        invoice issue J1
        payment refund I1 5
        payment add I2 30
        payment void P2 --reason "check bounced"
        "#,
    );
    insta::assert_snapshot!("statement", ledger.line("client statement Ada").ok());
    let statement = ledger.json("client statement Ada");
    let client = ledger.json("client show Ada");
    assert_eq!(statement["balance"], client["balance"]);
    let before = ledger.json("client statement Ada --to 2026-03-01");
    assert_eq!(before["balance"], json!("0.00"));
    assert_eq!(
        ledger
            .line("client statement Ada --from 2026-03-02 --to 2026-03-01")
            .refused(),
        "error: 2026-03-02 is after 2026-03-01: no day is in that time"
    );
    let receivables = ledger.line("report receivables").ok();
    let first = "250.00 USD is owed by 1 client on 2026-03-02: nothing of it is late.\n";
    assert!(receivables.starts_with(first), "{receivables}");
    assert!(
        receivables.ends_with("Kept as credit: 15.00\n"),
        "{receivables}"
    );
}

/// What the firm says of itself, line by line as it is typed.
const FIRM: &str = "
    setting set firm-name \"Marsh End Floors, Sons & Co\"
    setting set firm-address \"2 Marsh End, Tarn Ferry\"
    setting set firm-phone 555-0100
    setting set firm-email floors@example.com
    setting set firm-tax-number 91-000417
    setting set firm-registration \"licence 3320\"
    setting set firm-account \"Tarn Ferry Savings, 000 417\"
    setting set quote-terms \"Furniture is out when we begin.\"
    setting set payment-terms \"By transfer or check.\"
";

#[test]
fn the_firm_stands_on_its_papers_as_it_was_when_they_went_out() {
    let ledger = at_the_minimum("350");
    ledger.lines(FIRM);
    ledger.lines(AGREED);
    ledger.lines("invoice final J1 --issue");
    let head = "Marsh End Floors, Sons & Co\n\
                2 Marsh End, Tarn Ferry\n\
                555-0100, floors@example.com\n\
                Tax number 91-000417, Registration licence 3320\n";
    let on_papers = || {
        let quote = ledger.line("quote show Q1 --for-client").ok().to_owned();
        let invoice = ledger.line("invoice show I1").ok().to_owned();
        (quote, invoice)
    };
    let (quote, invoice) = on_papers();
    assert!(
        quote.contains(head) && quote.contains("\nFurniture is out when we begin.\n"),
        "{quote}"
    );
    assert!(invoice.contains(head), "{invoice}");
    assert!(
        invoice.ends_with("\n\nPay to Tarn Ferry Savings, 000 417\nBy transfer or check.\n"),
        "{invoice}"
    );
    ledger.lines(
        "setting set firm-address \"5 Weir Hill, Tarn Ferry\"
         setting set quote-terms none
         setting set payment-terms none
         setting set firm-account none",
    );
    assert_eq!(
        on_papers(),
        (quote, invoice),
        "what went out stays as it was"
    );
    // What goes out from now on says it anew; a draft says what it would say today.
    ledger.lines("invoice credit I1 --reason \"wrong room\"");
    let draft = ledger.line("invoice show J1").ok().to_owned();
    assert!(draft.contains("\n5 Weir Hill, Tarn Ferry\n"), "{draft}");
    ledger.lines("invoice issue J1");
    let firm = &ledger.json("invoice show I2")["firm"];
    assert_eq!(firm["address"], "5 Weir Hill, Tarn Ferry");
    assert_eq!(firm["payment_terms"], "");
    let firm = &ledger.json("client statement \"Ada Quill\"")["firm"];
    assert_eq!(firm["name"], "Marsh End Floors, Sons & Co");
    ledger.lines("check");
}

#[test]
fn an_account_and_a_mail_address_are_checked_and_the_settings_of_the_firm_are_listed() {
    let ledger = at_the_minimum("350");
    // The example of the United Kingdom in the registry of ISO 13616 (from memory), and with two digits changed places.
    ledger.lines("setting set firm-account \"GB82 WEST 1234 5698 7654 32\"");
    assert_eq!(
        ledger
            .line("setting set firm-account \"GB82 WEST 1234 5698 7645 32\"")
            .refused(),
        "error: `GB82 WEST 1234 5698 7645 32` is not an IBAN: its check digits don't fit"
    );
    assert_eq!(
        ledger.line("setting set firm-email floors").refused(),
        "error: `floors` is not a mail address, such as floors@example.com"
    );
    let listed = ledger.json("setting list firm");
    let names = listed.as_array().expect("a list").iter();
    let names: Vec<&str> = names
        .filter_map(|setting| setting["name"].as_str())
        .collect();
    assert_eq!(
        names,
        [
            "lead-firm",
            "firm-name",
            "firm-address",
            "firm-phone",
            "firm-email",
            "firm-tax-number",
            "firm-registration",
            "firm-account"
        ]
    );
    assert_eq!(
        ledger.line("setting list frim").refused(),
        "error: no setting `frim`\nhint: gritledger setting list"
    );
}

#[test]
fn an_issued_invoice_is_written_as_en_16931_has_it_and_what_it_lacks_is_named() {
    let ledger = at_the_minimum("350");
    ledger.lines("setting set tax-percent 8\nclient edit \"Ada Quill\" --address \"\"");
    ledger.lines(AGREED);
    ledger.lines("invoice final J1 --issue");
    assert_eq!(
        ledger.line("invoice write I1").refused(),
        "error: I1 was issued without the firm's address, the firm's tax number, the client's address, which EN 16931 asks \
         for: set it, credit the invoice and issue it again\n\
         hint: gritledger setting set firm-address ADDRESS\n\
         hint: gritledger setting set firm-tax-number NUMBER\n\
         hint: gritledger client edit \"Ada Quill\" --address ADDRESS"
    );
    ledger.lines(FIRM);
    ledger.lines(
        "client edit \"Ada Quill\" --address \"9 Cooper Lane & Yard\"
         invoice credit I1 --reason \"address\" --issue
         invoice final J1 --issue",
    );
    let xml = ledger.line("invoice write I3 --format ubl").ok();
    for said in [
        "<cbc:CustomizationID>urn:cen.eu:en16931:2017</cbc:CustomizationID>",
        "<cbc:ID>I3</cbc:ID>",
        "<cbc:StreetName>9 Cooper Lane &amp; Yard</cbc:StreetName>",
        "<cbc:TaxAmount currencyID=\"USD\">28.00</cbc:TaxAmount>",
        "<cbc:PayableAmount currencyID=\"USD\">378.00</cbc:PayableAmount>",
    ] {
        assert!(xml.contains(said), "{said}: {xml}");
    }
    let note = ledger.line("invoice write I2").ok();
    assert!(
        note.contains("<cbc:CreditNoteTypeCode>381</cbc:CreditNoteTypeCode>"),
        "{note}"
    );
    ledger.line("invoice write I3 --to I3.xml").ok();
    let written = std::fs::read_to_string(ledger.folder().join("I3.xml")).expect("it is written");
    assert_eq!(written, xml);
    let elsewhere = TestLedger::nowhere();
    elsewhere
        .line("init --business \"Marsh End Floors\" --quiet")
        .ok();
    elsewhere.lines(&format!(
        "worker add \"Ruben Vale\" --wage 0
         client add \"Ada Quill\" --address \"9 Cooper Lane\"
         site add \"Ada Quill\" \"4 Tannery Row\" --year-built 1931
         room add \"4 Tannery Row\" \"Landing\" --shape \"10 x 4.5\" --condition worn-film --species red-oak
         setting set minimum-charge 350
         {AGREED}
         invoice final J1 --issue"
    ));
    assert_eq!(
        elsewhere.line("invoice write I1").refused(),
        "error: EN 16931 asks for a country, and this ledger was begun without one"
    );
}
