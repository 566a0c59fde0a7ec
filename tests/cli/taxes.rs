//! Tax on what is sold and on what is bought: two set-ups of published law, rates by kind of line, clients who are exempt.

use serde_json::{Value, json};

use crate::harness::TestLedger;
use crate::money::{AGREED, at_the_minimum};

/// Returns an amount in cents.
fn cents(value: &Value) -> i64 {
    let text = value.as_str().expect("an amount");
    text.replace('.', "").parse().expect("an amount")
}

/// Returns a part of a whole, in cents, half away from zero.
fn share(cents: i64, part: i64, whole: i64) -> i64 {
    let (scaled, whole) = (i128::from(cents) * i128::from(part) * 2, i128::from(whole));
    let half = if (scaled < 0) == (whole < 0) {
        whole
    } else {
        -whole
    };
    i64::try_from((scaled + half) / (whole * 2)).expect("an amount")
}

/// BR-CO-10 to -17 of EN 16931-1 on what is said of an invoice.
fn held_to_the_standard(invoice: &Value) {
    let sum = |list: &str, amount: &str| -> i64 {
        let parts = invoice[list].as_array().expect("a list").iter();
        parts.map(|part| cents(&part[amount])).sum()
    };
    let [net, tax, rounding, total] =
        ["net", "tax", "rounding", "total"].map(|name| cents(&invoice[name]));
    assert_eq!(
        net,
        sum("lines", "net") - sum("allowances", "amount"),
        "{invoice}"
    ); // BR-CO-10, -11, -13
    assert_eq!(
        (net, tax),
        (sum("taxes", "net"), sum("taxes", "tax")),
        "{invoice}"
    ); // BR-CO-14
    assert_eq!(total, net + tax + rounding, "{invoice}"); // BR-CO-15
    assert_eq!(
        cents(&invoice["due"]),
        total - cents(&invoice["paid"]),
        "{invoice}"
    ); // BR-CO-16
    for part in invoice["taxes"].as_array().expect("rates") {
        let percent = part["tax_percent"].as_f64().expect("a rate");
        let thousandths = [0.0, 7.0, 19.0].iter().position(|known| *known == percent);
        let thousandths = [0, 7_000, 19_000][thousandths.expect("a rate of the test")];
        let of_it = share(cents(&part["net"]), thousandths, 100_000);
        assert_eq!(cents(&part["tax"]), of_it, "{invoice}"); // BR-CO-17
    }
}

#[test]
fn in_new_york_the_whole_charge_is_taxed() {
    // New York Tax Department, Publication 862 (4/01), and Advisory Opinion TSB-A-18(4)S (2018): refinishing wood floors is
    // taxable maintenance of real property, and tax is collected on the whole charge; the tax paid on materials passed on is
    // credited, so it is no cost. 8.875 % is the city's rate (from memory): 350.00 × 8.875 % = 31.0625.
    let ledger = at_the_minimum("350");
    ledger.lines(
        "tax-area add \"New York\" 8.875%\nsite edit \"4 Tannery Row\" --tax-area \"New York\"",
    );
    ledger.lines(AGREED);
    ledger.lines("invoice final J1 --issue");
    let invoice = ledger.json("invoice show I1");
    let figures = ["net", "tax", "total"].map(|name| invoice[name].as_str().unwrap_or_default());
    assert_eq!(figures, ["350.00", "31.06", "381.06"]);
    let area = ledger.line("tax-area show \"New York\"").ok();
    assert!(area.contains("confirm your own rules"), "{area}");
    ledger.lines("check");
}

#[test]
fn in_california_the_firm_is_the_consumer_of_materials() {
    // California Department of Tax and Fee Administration, Publication 9 and Regulation 1521 (18 CCR 1521): a construction
    // contractor is the consumer of the materials it installs and pays tax on buying them; labour on real property isn't
    // taxed. 7.25 % is the state's base rate (from memory).
    let ledger = TestLedger::tannery_row();
    let draft = "quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule oil-2-coat";
    ledger.lines(draft);
    ledger.lines("quote withdraw Q1\ntax-area add California 0% --bought 7.25%\nsite edit \"4 Tannery Row\" --tax-area California");
    ledger.lines(draft);
    let [before, after] = ["Q1", "Q2"].map(|quote| ledger.json(&format!("quote show {quote}")));
    let lines = |quote: &Value| quote["lines"].as_array().cloned().unwrap_or_default();
    let mut items = 0;
    for (was, is) in lines(&before).iter().zip(&lines(&after)) {
        let Some(was_price) = was["unit_price"].as_str() else {
            continue;
        };
        let micro = |text: &str| {
            let (whole, decimals) = text.split_once('.').unwrap_or((text, ""));
            format!("{whole}{decimals:0<6}")
                .parse::<i64>()
                .expect("a price")
        };
        let is_price = is["unit_price"].as_str().expect("it has a price still");
        let taxed = share(micro(was_price), 10_725, 10_000);
        assert!(
            (taxed - micro(is_price)).abs() <= 50,
            "{was_price} and {is_price}: four decimals are shown"
        );
        items += 1;
    }
    assert!(items > 3, "{items}");
    assert_eq!(after["tax"], json!("0.00"));
    assert_eq!(after["cost"]["labour"], before["cost"]["labour"]);
    // Each line is rounded by itself: the sum is 7.25 % more but for a cent a line.
    let [was, is] = [&before, &after].map(|quote| cents(&quote["cost"]["consumables"]));
    assert!(
        (share(was, 10_725, 10_000) - is).abs() <= items,
        "{was} and {is}"
    );
    assert!(
        cents(&after["price"]) > cents(&before["price"]),
        "tax on materials is a cost"
    );
    ledger.lines("check");
}

#[test]
fn labour_materials_and_rental_are_taxed_each_at_its_own_rate() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        "tax-area add Ashdale 0% --materials 8.25% --rental 6%
         site edit \"4 Tannery Row\" --tax-area Ashdale
         quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule oil-2-coat
         quote send Q1
         quote accept Q1",
    );
    let quote = ledger.json("quote show Q1");
    let cost = &quote["cost"];
    let [labour, consumables, rental, other, overhead, total] = [
        "labour",
        "consumables",
        "rental",
        "other",
        "overhead",
        "total",
    ]
    .map(|kind| cents(&cost[kind]));
    // Each room's price by cost, the cents left over to the largest kind; then the tax of each kind on the sum of the rooms.
    let mut nets = [0; 3];
    for room in quote["rooms"].as_array().expect("rooms") {
        let price = cents(&room["price"]);
        let kinds = [labour + other + overhead, consumables, rental];
        let mut parts = kinds.map(|kind| share(price, kind, total));
        let largest = (0..3).max_by_key(|place| kinds[*place]).expect("three");
        parts[largest] += price - parts.iter().sum::<i64>();
        for (net, part) in nets.iter_mut().zip(parts) {
            *net += part;
        }
    }
    let taxes = quote["taxes"].as_array().expect("taxes");
    let seen: Vec<(f64, i64, i64)> = taxes
        .iter()
        .map(|part| {
            (
                part["tax_percent"].as_f64().expect("a rate"),
                cents(&part["net"]),
                cents(&part["tax"]),
            )
        })
        .collect();
    let asked = [
        (0.0, nets[0], 0),
        (6.0, nets[2], share(nets[2], 6, 100)),
        (8.25, nets[1], share(nets[1], 825, 10_000)),
    ];
    assert_eq!(seen, asked);
    assert_eq!(quote["tax_percent"], json!(null), "there are three");
    let shown = ledger.line("quote show Q1 --for-client").ok();
    assert!(shown.contains("Tax 8.25 % on "), "{shown}");

    // Deposit, a share on the way and the rest ask for each rate's part and its tax, to the cent.
    ledger.lines(
        "invoice deposit J1 --issue\ninvoice progress J1 --share 25% --issue\ninvoice final J1",
    );
    let last = ledger.line("invoice show J1").ok();
    assert!(
        last.contains("Landing: floor as quoted in Q1, labour"),
        "{last}"
    );
    assert!(
        last.contains("Landing: floor as quoted in Q1, materials"),
        "{last}"
    );
    ledger.lines("invoice issue J1");
    let (mut sums, mut all) = ([0; 3], 0);
    for invoice in ["I1", "I2", "I3"] {
        let answer = ledger.json(&format!("invoice show {invoice}"));
        for part in answer["taxes"].as_array().expect("taxes") {
            let rate = part["tax_percent"].as_f64().expect("a rate");
            let place = asked
                .iter()
                .position(|(known, ..)| *known == rate)
                .expect("a rate of the quote");
            let net = cents(&part["net"]);
            let micro = [0, 60_000, 82_500][[0.0, 6.0, 8.25]
                .iter()
                .position(|known| *known == rate)
                .expect("known")];
            // BR-CO-17 of EN 16931: on each invoice the tax is that of the amount at its rate.
            assert_eq!(cents(&part["tax"]), share(net, micro, 1_000_000));
            sums[place] += net;
        }
        all += cents(&answer["total"]);
    }
    assert_eq!(sums, asked.map(|(_, net, _)| net));
    // What invoices round is made up for by the last one, BT-114.
    assert_eq!(all, cents(&quote["total"]));
    ledger.lines("check");
}

#[test]
fn prices_told_with_tax_come_to_the_cent_and_what_no_price_makes_up_is_rounded() {
    // 1190.00 with 19 % is 1000.00 and 190.00. 30 % of it are 357.00: 300.00 and 57.00. 500.00 are 420.17 and 79.83 (of
    // 79.8323). 333.00 are left: 279.83 and 53.17 (of 53.1677).
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        "setting set tax-percent 19%
         setting set tax-included yes
         quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule oil-2-coat --price 1190
         quote send Q1
         quote accept Q1
         invoice deposit J1 --share 30% --issue
         invoice progress J1 --amount 500 --issue
         invoice final J1 --issue",
    );
    let quote = ledger.json("quote show Q1");
    let figures = |answer: &Value| {
        ["price", "tax", "rounding", "total"]
            .map(|name| answer[name].as_str().unwrap_or_default().to_owned())
    };
    assert_eq!(figures(&quote), ["1000.00", "190.00", "0.00", "1190.00"]);
    let told: i64 = quote["rooms"]
        .as_array()
        .expect("rooms")
        .iter()
        .map(|room| cents(&room["price_with_tax"]))
        .sum();
    assert_eq!(told, 119_000);
    let shown = ledger.line("quote show Q1").ok();
    assert!(shown.starts_with("Q1: 1190.00 USD with tax; "), "{shown}");
    let of_invoice = |ledger: &TestLedger, number: &str| {
        let answer = ledger.json(&format!("invoice show {number}"));
        ["net", "tax", "rounding", "total"]
            .map(|name| answer[name].as_str().unwrap_or_default().to_owned())
    };
    for (number, asked) in [
        ("I1", ["300.00", "57.00", "0.00", "357.00"]),
        ("I2", ["420.17", "79.83", "0.00", "500.00"]),
        ("I3", ["279.83", "53.17", "0.00", "333.00"]),
    ] {
        assert_eq!(of_invoice(&ledger, number), asked, "{number}");
    }
    // 100.00 are credited with their tax: 84.03 and 15.97.
    ledger.lines("invoice credit I3 --amount 100 --reason streaks --off-price --issue");
    assert_eq!(
        of_invoice(&ledger, "I4"),
        ["84.03", "15.97", "0.00", "100.00"]
    );
    assert_eq!(ledger.json("invoice show I3")["due"], json!("233.00"));
    let refused = ledger.line("invoice final J1").refused();
    assert_eq!(refused, "error: nothing is left to invoice");
    ledger.lines("check");

    // With 25 % nothing comes to 105.02: 84.02 has 21.01 of tax and comes to 105.03, so a cent is taken off.
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        "setting set tax-percent 25%
         setting set tax-included yes
         quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule oil-2-coat --price 105.02
         quote send Q1
         quote accept Q1
         invoice final J1 --issue",
    );
    assert_eq!(
        figures(&ledger.json("quote show Q1")),
        ["84.02", "21.01", "-0.01", "105.02"]
    );
    assert_eq!(
        of_invoice(&ledger, "I1"),
        ["84.02", "21.01", "-0.01", "105.02"]
    );
    for (command, line) in [
        ("quote show Q1 --for-client", "Rounding"),
        ("invoice show I1", "Rounding"),
    ] {
        let shown = ledger.line(command).ok();
        let rounding = shown.lines().find(|shown| shown.starts_with(line));
        assert!(
            rounding.is_some_and(|shown| shown.ends_with("-0.01")),
            "{shown}"
        );
    }
    let refused = ledger.line("payment add I1 105.03").refused();
    assert!(
        refused.starts_with("error: 105.03 is more than I1 owes, 105.02"),
        "{refused}"
    );
    ledger.lines("payment add I1 105.02\ncheck");
    // The cent is on an account of its own, so that debits are credits.
    let accounts = ledger
        .line("export accounts --from 2026-01-01 --to 2026-12-31")
        .ok();
    let of_invoice: Vec<&str> = accounts
        .lines()
        .filter(|row| row.contains(",I1,"))
        .collect();
    let seen: Vec<String> = of_invoice
        .iter()
        .map(|row| row.split(',').skip(2).take(3).collect::<Vec<_>>().join(" "))
        .collect();
    assert_eq!(
        seen,
        [
            "Owed by clients 105.02 ",
            "Rounding of totals 0.01 ",
            "Tax collected  21.01",
            "Floor work  84.02"
        ],
        "{accounts}"
    );
    assert_eq!(ledger.json("invoice show I1")["status"], json!("paid"));
}

#[test]
fn a_step_and_a_minimum_are_told_with_tax_and_goodwill_comes_off_by_what_is_said() {
    let ledger = at_the_minimum("1190");
    ledger.lines("setting set tax-percent 19%\nsetting set tax-included yes");
    ledger.lines(AGREED);
    let quote = ledger.json("quote show Q1");
    assert_eq!(
        (&quote["price"], &quote["total"]),
        (&json!("1000.00"), &json!("1190.00"))
    );
    // 20.00 off: 16.81, whose tax is 3.19. 983.19 are left, and 186.81 of tax (of 186.8061): 1170.00.
    let job = ledger.line("job show J1").ok();
    assert!(
        job.contains("Agreed for 1000.00 USD (Q1), 1190.00 with tax"),
        "{job}"
    );
    ledger.lines("invoice final J1 --discount \"scratch=20\" --issue\ncheck");
    let invoice = ledger.json("invoice show I1");
    let figures =
        ["net", "tax", "rounding", "total"].map(|name| invoice[name].as_str().unwrap_or_default());
    assert_eq!(figures, ["983.19", "186.81", "0.00", "1170.00"]);
}

#[test]
fn a_variation_leaves_its_quote_taxed_as_it_was_written() {
    for told in ["no", "yes"] {
        let ledger = TestLedger::tannery_row();
        ledger.lines(&format!(
            "setting set tax-included {told}
             tax-area add Ashdale 19% --labour 7%
             site edit \"4 Tannery Row\" --tax-area Ashdale
             room add \"4 Tannery Row\" Den --shape \"10 x 12\" --condition worn-film --species red-oak
             quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule oil-2-coat --price 2000 --discount neighbours=45.55 --retention 5%
             quote send Q1
             quote accept Q1
             quote vary J1 --without Den
             quote send Q2"
        ));
        let taxes = |quote: &str| ledger.json(&format!("quote show {quote}"))["taxes"].clone();
        let before = [taxes("Q1"), taxes("Q2")];
        for quote in &before {
            assert_eq!(quote.as_array().map(Vec::len), Some(2), "{quote}");
        }
        ledger.lines("quote accept Q2");
        assert_eq!([taxes("Q1"), taxes("Q2")], before);
        ledger.lines(
            "invoice progress J1 --share 40% --issue
             invoice final J1 --issue
             invoice release J1 --issue
             check",
        );
        let total = |what: &str| cents(&ledger.json(what)["total"]);
        let asked: i64 = ["I1", "I2", "I3"]
            .map(|number| total(&format!("invoice show {number}")))
            .iter()
            .sum();
        assert_eq!(
            asked,
            total("quote show Q1") + total("quote show Q2"),
            "with tax: {told}"
        );
        for number in ["I1", "I2", "I3"] {
            let invoice = ledger.json(&format!("invoice show {number}"));
            held_to_the_standard(&invoice);
            let rounding = cents(&invoice["rounding"]);
            assert!(rounding.abs() <= 2, "{number}: {rounding}");
        }
    }
}

#[test]
fn a_rate_holds_from_its_day_for_its_kind_or_for_the_whole_price() {
    let ledger = at_the_minimum("350");
    ledger.lines(
        "tax-area add Ashdale 8% --labour 0% --from 2026-01-01
         tax-area set Ashdale 9% --from 2026-06-01
         tax-area set Ashdale --labour 2% --bought 5% --from 2026-02-01
         site edit \"4 Tannery Row\" --tax-area Ashdale",
    );
    let percents = |day: &'static str| {
        let run = ledger.run_with(
            &["tax-area", "show", "Ashdale", "--json"],
            &[("GRITLEDGER_TODAY", day)],
        );
        let area: Value = serde_json::from_str(&run.ok()).expect("JSON");
        ["labour", "materials", "rental", "bought"]
            .map(|kind| area[format!("{kind}_percent")].clone())
    };
    assert_eq!(
        percents("2025-12-31"),
        [json!(null), json!(null), json!(null), json!(0)]
    );
    assert_eq!(
        percents("2026-01-15"),
        [json!(0), json!(8), json!(8), json!(0)]
    );
    assert_eq!(
        percents("2026-03-02"),
        [json!(2), json!(8), json!(8), json!(5)]
    );
    assert_eq!(
        percents("2026-06-01"),
        [json!(9), json!(9), json!(9), json!(5)],
        "a rate of the whole price is one of all"
    );
    let run = ledger.line("tax-area set Ashdale");
    assert_eq!(run.code(), 2, "{run}");
    // What was agreed keeps its rates; a draft of the time before is asked about.
    ledger.lines("quote draft \"4 Tannery Row\" --sequence none --schedule none --margin 0%\ntax-area set Ashdale 9%");
    assert_eq!(
        ledger.line("quote send Q1").refused(),
        "error: since Q1 was drafted, tax at `4 Tannery Row` went from 2 % on labour, 8 % on materials and 8 % on rental to 9 %\n\
         hint: gritledger quote draft \"4 Tannery Row\" --revises Q1 --room Landing --sequence none --schedule none --margin 0% --confidence 80%\n\
         hint: the same command with --confirm says that it is meant"
    );
}

#[test]
fn of_a_client_who_is_exempt_no_tax_is_asked_and_the_papers_say_why() {
    let ledger = at_the_minimum("350");
    ledger.lines(
        "setting set tax-percent 8
         client edit \"Ada Quill\" --exempt \"certificate 4471\" --tax-number \"ATU 417\"",
    );
    ledger.lines(AGREED);
    ledger.lines("invoice final J1 --issue");
    ledger.lines("client edit \"Ada Quill\" --exempt none --tax-number \"\"");
    let quote = ledger.line("quote show Q1 --for-client").ok();
    assert!(quote.contains("\nNo tax: certificate 4471\n"), "{quote}");
    let text = ledger.line("invoice show I1").ok();
    assert!(text.contains("\nTheir tax number ATU 417\n"), "{text}");
    assert!(text.contains("\nNo tax: certificate 4471\n"), "{text}");
    let invoice = ledger.json("invoice show I1");
    assert_eq!(
        (&invoice["tax"], &invoice["total"]),
        (&json!("0.00"), &json!("350.00"))
    );
    ledger.lines("check");
}
