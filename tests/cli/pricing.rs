//! Quotes that carry their risk, options, renting and buying, on real ledgers.

use serde_json::{Value, json};

use crate::harness::TestLedger;

fn cents(value: &Value) -> i64 {
    let text = value
        .as_str()
        .unwrap_or_else(|| panic!("{value} is no amount"));
    text.replace('.', "").parse().expect("an amount")
}

fn number(value: &Value) -> f64 {
    match value {
        Value::String(text) => text.parse().expect("a number"),
        value => value
            .as_f64()
            .unwrap_or_else(|| panic!("{value} is no number")),
    }
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map(Vec::as_slice).unwrap_or_default()
}

/// The documentation's ledger with something that may turn up and something that doesn't keep.
fn uncertain() -> TestLedger {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        finding add "Back bedroom" damaged-boards 1 --chance 40% --if-so "bleach 8 to 12 sqft"
        finding add Landing gaps "6 to 20 ft" --chance 50%
        "#,
    );
    ledger
}

#[test]
fn a_quote_says_how_sure_it_is() {
    let ledger = uncertain();
    let quote = ledger.json(r#"quote draft "4 Tannery Row" --margin 35% --confidence 80%"#);
    assert_eq!(quote["confidence_percent"], json!(80));
    assert_eq!(quote["expected_cost"], quote["cost"]["total"]);
    let lines: i64 = list(&quote["lines"])
        .iter()
        .map(|line| cents(&line["cost"]))
        .sum();
    assert_eq!(lines, cents(&quote["expected_cost"]), "the lines add up");
    // The price keeps 35 % of itself on the cost at the confidence.
    let sure = cents(&quote["expected_cost"]) + cents(&quote["contingency"]);
    assert_eq!(
        quote["cost_at"]["p80"],
        json!(format!("{:.2}", sure as f64 / 100.0))
    );
    let price = (sure as f64 / 0.65).round() as i64;
    assert_eq!(cents(&quote["price"]), price);
    assert!(cents(&quote["contingency"]) > 0);
    let at = ["p10", "p50", "p80", "p90"].map(|level| cents(&quote["cost_at"][level]));
    assert!(at.is_sorted() && at[0] < at[3], "{at:?}");
    let expected = 100.0 * (1.0 - cents(&quote["expected_cost"]) as f64 / price as f64);
    assert!((number(&quote["expected_margin_percent"]) - expected).abs() < 0.01);
    assert!((0.0..5.0).contains(&number(&quote["chance_of_loss_percent"])));
    let shares: f64 = list(&quote["risk"])
        .iter()
        .map(|risk| number(&risk["share_percent"]))
        .sum();
    assert!((shares - 100.0).abs() < 1e-9, "{shares}");
    let sorted = list(&quote["risk"]).is_sorted_by(|one, another| {
        number(&one["share_percent"]) >= number(&another["share_percent"])
    });
    assert!(sorted && list(&quote["risk"]).len() > 5);
    let words = ledger.line("quote show Q1 --lines").ok();
    for said in [
        "Contingency, to be 80 % sure",
        "What drives the risk",
        "chance of a loss",
        "Rent",
    ] {
        assert!(words.contains(said), "{said}\n{words}");
    }
}

#[test]
fn the_same_work_has_the_same_price_and_more_confidence_costs_more() {
    let ledger = uncertain();
    let draft = |options: &str| ledger.json(&format!("quote draft \"4 Tannery Row\" {options}"));
    let (first, second) = (draft(""), draft(""));
    for figure in ["price", "expected_cost", "cost_at", "risk", "seed", "draws"] {
        assert_eq!(first[figure], second[figure], "{figure}");
    }
    assert_eq!(first["draws"], json!(20_000));
    let sure = draft("--confidence 95%");
    assert!(cents(&sure["price"]) > cents(&first["price"]));
    assert_eq!(sure["expected_cost"], first["expected_cost"]);
    ledger.lines("setting set draws 2000");
    let fewer = draft("");
    assert_eq!(fewer["draws"], json!(2000));
    let apart = (cents(&fewer["price"]) - cents(&first["price"])).abs();
    assert!(apart > 0 && apart * 50 < cents(&first["price"]), "{apart}");
}

#[test]
fn minimum_charge_and_step_raise_the_price() {
    let ledger = TestLedger::tannery_row();
    ledger.lines("setting set minimum-charge 5000\nsetting set price-step 5");
    let quote = ledger.json("quote draft \"4 Tannery Row\"");
    assert_eq!(quote["price"], json!("5000.00"));
    ledger.lines("setting set minimum-charge 0");
    let quote = ledger.json("quote draft \"4 Tannery Row\"");
    let price = cents(&quote["price"]);
    assert_eq!(price % 500, 0);
    assert!(
        (0..500).contains(&cents(&quote["raised_by"])),
        "{}",
        quote["raised_by"]
    );
    let rooms: i64 = list(&quote["rooms"])
        .iter()
        .map(|room| cents(&room["price"]))
        .sum();
    assert_eq!(rooms, price);
    assert_eq!(ledger.json("check")["ok"], json!(true));
}

#[test]
fn what_may_turn_up_is_a_line_of_its_own_and_teaches_nothing() {
    let ledger = uncertain();
    let quote = ledger.json("quote draft \"4 Tannery Row\"");
    let line = |operation: &str| {
        let mut lines = list(&quote["lines"]).iter();
        lines
            .find(|line| line["operation"] == json!(operation))
            .cloned()
            .unwrap_or_default()
    };
    let bleach = line("bleach-stains");
    assert_eq!(bleach["chance_percent"], json!(40));
    assert_eq!(bleach["least"], json!({ "quantity": "8", "unit": "sqft" }));
    assert_eq!(bleach["most"], json!({ "quantity": "12", "unit": "sqft" }));
    assert_eq!(bleach["driver"]["quantity"], json!("10"));
    // What bleaching 10 sq ft takes by the book, 4 times in 10.
    let book = ledger.json("rate list");
    let rate = list(&book)
        .iter()
        .find(|rate| rate["operation"] == json!("bleach-stains") && rate["kind"] == json!("hours"))
        .cloned()
        .unwrap_or_default();
    let hours = 0.4 * (10.0 * number(&rate["learned"]) + number(&rate["learned_fixed"]));
    assert!(
        (number(&bleach["hours"]) - hours).abs() < 0.006,
        "{bleach:#}\n{rate:#}"
    );
    assert_eq!(line("fill-gaps")["chance_percent"], json!(50));
    let client = ledger.line("quote show Q1 --for-client").ok();
    assert!(client.contains("bleach-stains if needed"), "{client}");

    ledger.lines(
        r#"
        quote send Q1
        quote accept Q1
        job start J1
        use oxalic-acid 1 --on bleach-stains --room "Back bedroom"
        hours "Ruben Vale" 2 --on repair --room "Back bedroom"
        hours "Ruben Vale" 1 --on repair --room Landing
        "#,
    );
    ledger.line("job close J1").ok();
    // The bedroom's repair hours hold an unknown part of bleaching; the landing's are nails alone.
    let taught = ledger.json("rate show set-nails --kind hours");
    assert!(taught.to_string().contains("Landing"), "{taught:#}");
    let bleaching = ledger.json("rate show bleach-stains --kind item");
    assert!(!bleaching.to_string().contains("J1"), "{bleaching:#}");
    assert_eq!(ledger.json("check")["ok"], json!(true));
}

#[test]
fn options_stand_side_by_side_and_one_is_accepted() {
    let ledger = TestLedger::tannery_row();
    let quote = ledger.json(
        r#"quote draft "4 Tannery Row" --option "Three coats: schedule=oil-3-coat" --option "Landing only: without=Back bedroom""#,
    );
    let options = list(&quote["options"]);
    assert_eq!(options.len(), 3);
    assert_eq!(options[0]["price"], quote["price"]);
    assert_eq!(options[1]["name"], json!("Three coats"));
    assert!(cents(&options[1]["price"]) > cents(&options[0]["price"]));
    assert_eq!(
        cents(&options[1]["difference"]),
        cents(&options[1]["price"]) - cents(&options[0]["price"])
    );
    assert_eq!(list(&options[2]["rooms"]).len(), 1);
    assert_eq!(options[2]["room_by_room"], json!(null));
    // Together the set-up and the rental days are paid once.
    let apart = cents(&options[0]["room_by_room"]);
    assert_eq!(cents(&options[0]["saves"]), apart - cents(&quote["price"]));
    assert!(cents(&options[0]["saves"]) > 0);

    let (owner, client) = (
        ledger.json("quote compare Q1"),
        ledger.json("quote compare Q1 --for-client"),
    );
    for (one, another) in list(&owner["options"]).iter().zip(list(&client["options"])) {
        for shown in [
            "option",
            "name",
            "rooms",
            "price",
            "tax",
            "total",
            "room_by_room",
            "saves",
        ] {
            assert_eq!(one[shown], another[shown], "{shown}");
        }
        for hidden in [
            "expected_cost",
            "contingency",
            "hours",
            "expected_margin_percent",
        ] {
            assert!(
                !one[hidden].is_null() && another[hidden].is_null(),
                "{hidden}"
            );
        }
    }
    // An option is the quote that would be drafted for it alone, and room by room is what those rooms alone would cost.
    let landing = ledger.json(r#"quote draft "4 Tannery Row" --room Landing"#);
    assert_eq!(landing["price"], options[2]["price"]);
    let bedroom = ledger.json(r#"quote draft "4 Tannery Row" --room "Back bedroom""#);
    // To the cent of each: sums of the same draws in another order.
    let each = cents(&landing["price"]) + cents(&bedroom["price"]);
    assert!((each - apart).abs() <= 2, "{each}, {apart}");

    ledger.lines("quote send Q1");
    assert_eq!(
        ledger.line("quote accept Q1").refused(),
        "error: Q1 has 3 options: say which one the client takes\n\
         hint: gritledger quote compare Q1\nhint: gritledger quote accept Q1 --option 1"
    );
    assert_eq!(
        ledger.line("quote accept Q1 --option 4").refused(),
        "error: Q1 has no option `4`\nhint: gritledger quote compare Q1"
    );
    ledger.lines("quote accept Q1 --option 2");
    let shown = ledger.json("quote show Q1");
    assert_eq!(
        (&shown["option"], &shown["status"]),
        (&json!(2), &json!("accepted"))
    );
    assert_eq!(shown["price"], options[1]["price"]);
    let other = ledger.json("quote show Q1 --option 1");
    assert_eq!(other["status"], json!("declined"));
    assert_eq!(ledger.json("job show J1")["price"], options[1]["price"]);
    let quotes = ledger.json("quote list");
    assert_eq!(list(&quotes["quotes"]).len(), 3, "one line a quote");
    assert_eq!(quotes["quotes"][0]["price"], options[1]["price"]);
    assert_eq!(ledger.json("check")["ok"], json!(true));
    // A lump sum is for the house: it comes once, however the rooms are priced.
    let lump = ledger.json(
        r#"quote draft "4 Tannery Row" --option "Three coats: schedule=oil-3-coat" --other "disposal=45.55""#,
    );
    let with = &list(&lump["options"])[0];
    let (more, more_apart) = (
        cents(&with["price"]) - cents(&quote["price"]),
        cents(&with["room_by_room"]) - apart,
    );
    assert!(
        more > 4555 && (more_apart - more).abs() <= 2,
        "{more}, {more_apart}"
    );
}

#[test]
fn options_that_make_no_sense_are_refused() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(r#"room add "4 Tannery Row" Bath --shape "8 x 5" --condition bare --species other --not-refinished"#);
    for (option, said) in [
        (
            "Three coats",
            "`Three coats` is not an option: it has no name before a colon",
        ),
        (
            ": schedule=oil-3-coat",
            "`: schedule=oil-3-coat` is not an option: it has no name before a colon",
        ),
        (
            "A: oil-3-coat",
            "`A: oil-3-coat` is not an option: `oil-3-coat` is no key=value",
        ),
        (
            "A: colour=red",
            "`A: colour=red` is not an option: `colour` is not a key",
        ),
        (
            "A: schedule=x, schedule=y",
            "`A: schedule=x, schedule=y` is not an option: `schedule` comes twice",
        ),
        (
            "A: without=Landing, without=Back bedroom",
            "`A` leaves no room to be done",
        ),
        ("A: with=Landing", "`Landing` is in the quote already"),
        (
            "A: without=Bath",
            "`Bath` is not in the quote, so no option is without it",
        ),
        (
            "As drafted: schedule=oil-3-coat",
            "there are two options called `As drafted`",
        ),
        ("A: schedule=oil-9-coat", "no schedule `oil-9-coat`"),
    ] {
        let refused = ledger
            .run(&["quote", "draft", "4 Tannery Row", "--option", option])
            .refused();
        let first = refused.lines().next().unwrap_or_default();
        assert_eq!(first, format!("error: {said}"), "{option}");
    }
    for (line, said) in [
        (
            "quote draft \"4 Tannery Row\" --confidence 100%",
            "a confidence is between 0 and 100 %, and neither",
        ),
        (
            "quote draft \"4 Tannery Row\" --confidence 0.8",
            "`0.8` could be 0.8 % or 80 %",
        ),
        (
            "quote draft \"4 Tannery Row\" --start 2026-02-01",
            "2026-02-01 is past: nothing can be planned for it",
        ),
        (
            "finding add Landing gaps \"20 to 6 ft\"",
            "from 20 to 6 is no range: the least comes first",
        ),
        (
            "finding add Landing gaps \"6 ft\" --chance 140%",
            "`140 %` is not a chance between 0 and 100 %",
        ),
        (
            "finding add Landing gaps \"6 ft\" --chance 40% --if-so bleach",
            "`bleach` doesn't say what is done, and how much of it",
        ),
        (
            "finding add Landing gaps \"6 ft\" --chance 40% --if-so \"load-in 1\"",
            "`load-in` is done once, so there can't be more of it",
        ),
        (
            "setting set confidence 100%",
            "`100%` is not a percentage between 0 and 100",
        ),
        (
            "setting set draws 10",
            "`10` is not a whole number between 1000 and 1000000",
        ),
        (
            "setting set deposit-limit 3/1",
            "`3/1` is not a share of a price, such as 10% or 1/3",
        ),
        (
            "setting set saw-loss \"2 in\"",
            "`2 in` is more than a saw takes: up to 1 in",
        ),
        (
            "setting set price-step -5",
            "`-5` is not an amount of money from 0 on",
        ),
    ] {
        let refused = ledger.line(line).refused();
        assert_eq!(
            refused.lines().next().unwrap_or_default(),
            format!("error: {said}"),
            "{line}"
        );
    }
    assert_eq!(list(&ledger.json("quote list")["quotes"]).len(), 0);
}

#[test]
fn a_machine_is_covered_at_least_cost() {
    let ledger = TestLedger::new();
    ledger.lines("machine add planer --day 100 --week 300 --four-weeks 800 --waiver 10%");
    // Rental-yard terms page (rates 100/day, 300/week, 800/28 days): 9 days = 300 + 2 × 100; waiver 10 % of it is 50.
    let cover = ledger.json("machine cover planer --days 9");
    assert_eq!(cover["days"], json!(9));
    assert_eq!(
        cover["cover"],
        json!([
            { "period": "week", "count": 1, "price": "300.00" },
            { "period": "day", "count": 2, "price": "100.00" },
        ])
    );
    assert_eq!(
        (&cover["waiver"], &cover["total"]),
        (&json!("50.00"), &json!("550.00"))
    );
    let week = ledger.json("machine cover planer --days 5");
    assert_eq!(
        week["cover"],
        json!([{ "period": "week", "count": 1, "price": "300.00" }])
    );
    assert_eq!(week["one_day_more"], json!("0.00"));
    assert_eq!(week["back_by"], json!(null));
    // 2026-03-07 is a Saturday: the weekend rate of the book (140) beats two days (160).
    let weekend = ledger.json("machine cover rotary --days 2 --from 2026-03-07");
    assert_eq!(weekend["cover"][0]["period"], json!("weekend"));
    assert_eq!(weekend["back_by"], json!("2026-03-09T08:00"));
    let hours = ledger.json("machine cover rotary --hours 19");
    assert_eq!(
        hours["days"],
        json!(2.5),
        "two days of eight hours, and a half day"
    );
    for (line, said) in [
        (
            "machine cover planer --days 0",
            "`0` is not how long anybody rents: up to 730 days",
        ),
        (
            "machine cover planer --days -2",
            "`-2` is not how long anybody rents: up to 730 days",
        ),
        (
            "machine cover planer --days 731",
            "`731` is not how long anybody rents: up to 730 days",
        ),
        (
            "machine cover planer --days x",
            "`x` is not a number of days",
        ),
        ("machine cover plane2 --days 1", "no machine `plane2`"),
    ] {
        let refused = ledger.line(line).refused();
        assert_eq!(
            refused.lines().next().unwrap_or_default(),
            format!("error: {said}"),
            "{line}"
        );
    }
}

#[test]
fn packs_and_sticks_at_least_cost() {
    let ledger = TestLedger::new();
    ledger.lines("item add shoe --unit ft --pack 8=9.60\nitem add batten --unit ft --pack 8=9.60 --pack 12=14.80");
    // Spread tables and a finish maker's can sizes: 800 sq ft take 2 gal of sealer at 400, and 3.2 gal of finish in two
    // coats at 500: 3 gal and a quart.
    let packs = |line: &str| ledger.json(line)["packs"].clone();
    assert_eq!(
        packs("item cover oil-sealer 2"),
        json!([{ "size": "1", "count": 2, "price": "46.00" }])
    );
    assert_eq!(
        packs("item cover oil-finish 3.2"),
        json!([
            { "size": "1", "count": 3, "price": "52.00" },
            { "size": "0.25", "count": 1, "price": "18.50" },
        ])
    );
    // floorone.com, MeasuringMolding: 80 ft from 8 ft sticks are 10; with 10 % waste 11 (computed).
    assert_eq!(packs("item cover shoe 80")[0]["count"], json!(10));
    assert_eq!(packs("item cover shoe 88")[0]["count"], json!(11));

    let cut = ledger.json(r#"item cut batten "7'2\"" "3'" "4' 6\"" "4'6\"" "11'""#);
    assert_eq!(cut["unit"], json!("ft"));
    let sticks = list(&cut["sticks"]);
    let price: i64 = sticks.iter().map(|stick| cents(&stick["price"])).sum();
    assert_eq!(price, cents(&cut["total"]));
    let pieces: usize = sticks
        .iter()
        .map(|stick| list(&stick["pieces"]).len())
        .sum();
    assert_eq!((pieces, &cut["proven"]), (5, &json!(true)));
    for stick in sticks {
        let used: f64 = list(&stick["pieces"]).iter().map(number).sum();
        let left = number(&stick["left"]);
        assert!(
            used + left <= number(&stick["length"]) + 1e-3 && left >= 0.0,
            "{stick:#}"
        );
    }
    // Two of 4 ft need more than 8 ft once the saw is counted in.
    let sticks = |line: &str| list(&ledger.json(line)["sticks"]).len();
    assert_eq!(sticks(r#"item cut shoe 4' 4'"#), 2);
    assert_eq!(sticks(r#"item cut shoe 4' 4' --saw-loss 0"#), 1);
    let refused = ledger.line("item cut shoe 4' 4' --saw-loss -1").refused();
    assert_eq!(refused, "error: `-1`: a saw takes no less than nothing");
    assert_eq!(
        ledger.line("item cut shoe 9'").refused(),
        "error: no stock length of `shoe` is as long as a piece of 9 ft"
    );
    assert_eq!(
        ledger.line("item cut oil-finish 9'").refused(),
        "error: `oil-finish` is sold by `gal`, not by length\nhint: gritledger item cover oil-finish QUANTITY"
    );
    assert_eq!(
        ledger.line("item cover oil-finish -1").refused(),
        "error: `-1` is not a quantity to buy"
    );
}

#[test]
fn the_shopping_list_is_less_what_is_there() {
    let ledger = TestLedger::job_open();
    let before = ledger.json("quote buy Q1");
    let line = |list: &Value, item: &str| {
        let mut lines = self::list(&list["buy"]).iter();
        lines.find(|line| line["item"] == json!(item)).cloned()
    };
    let discs = line(&before, "disc-7in-36").unwrap();
    assert_eq!(
        discs["confidence_percent"],
        json!(90),
        "unopened packs can be handed back"
    );
    assert_eq!(discs["hand_back"], json!(true));
    let cartridges = line(&before, "respirator-cartridge-pair").unwrap();
    assert_eq!(
        (&cartridges["confidence_percent"], &cartridges["hand_back"]),
        (&json!(80), &json!(false))
    );
    let need = number(&discs["need"]);
    assert!(
        need >= number(&discs["expected"]) && need % 3.0 == 0.0,
        "{discs:#}"
    );
    let total: i64 = self::list(&before["buy"])
        .iter()
        .map(|line| cents(&line["total"]))
        .sum();
    assert_eq!(total, cents(&before["total"]));

    ledger.lines("buy disc-7in-36 30 --cost 96.00");
    let after = line(&ledger.json("quote buy Q1"), "disc-7in-36");
    assert_eq!(
        after.map_or(0.0, |line| number(&line["need"])),
        (need - 30.0).max(0.0)
    );
    ledger.lines("use disc-7in-36 12");
    let job = line(&ledger.json("job buy J1"), "disc-7in-36");
    assert_eq!(
        job.map_or(0.0, |line| number(&line["need"])),
        (need - 30.0).max(0.0),
        "used and stock"
    );
    assert_eq!(
        ledger.json("quote show Q1")["buy"],
        ledger.json("quote buy Q1")["buy"]
    );
}

#[test]
fn an_opened_can_that_does_not_keep_is_paid_for() {
    let ledger = TestLedger::tannery_row();
    let quote = ledger.json(r#"quote draft "4 Tannery Row" --schedule water-two-part-3-coat"#);
    let opened = list(&quote["lines"])
        .iter()
        .find(|line| line["kind"] == json!("opened"))
        .cloned();
    let opened = opened.unwrap_or_else(|| panic!("{:#}", quote["lines"]));
    assert_eq!(opened["item"], json!("water-two-part-finish"));
    // What is used and what is left over together are whole cans.
    let used: f64 = list(&quote["lines"])
        .iter()
        .filter(|line| line["kind"] == json!("work") && line["item"] == opened["item"])
        .map(|line| number(&line["item_quantity"]))
        .sum();
    let cans = used + number(&opened["item_quantity"]);
    assert!((1.0..3.5).contains(&cans), "{cans}");
    assert!(cents(&opened["cost"]) > 0);
    ledger.lines(
        r#"
        quote send Q1
        quote accept Q1
        job start J1
        buy water-two-part-finish 2 --cost 236.00
        use water-two-part-finish 1.3
        use water-two-part-finish 0.7 --left-over
        "#,
    );
    assert_eq!(
        ledger.line("use disc-7in-36 1 --left-over").refused(),
        "error: disc-7in-36 keeps once opened: what is left is stock\nhint: gritledger item edit disc-7in-36 --not-kept"
    );
    let variance = ledger.json("report variance J1");
    let line = list(&variance["lines"])
        .iter()
        .find(|line| line["operation"] == json!("opened"))
        .cloned();
    let line = line.unwrap_or_else(|| panic!("{variance:#}"));
    assert_eq!(line["actual_cost"], json!("82.60"), "0.7 gal at 118");
    ledger.line("job close J1").ok();
    let taught = ledger.json("rate show water-two-part-coat --kind item");
    assert!(!taught.to_string().contains("0.7"), "{taught:#}");
    assert_eq!(ledger.json("check")["ok"], json!(true));
}

#[test]
fn a_sent_quote_keeps_what_it_was_priced_with() {
    let ledger = TestLedger::tannery_row();
    ledger.lines("quote draft \"4 Tannery Row\"\nquote send Q1");
    let before = ledger.json("quote show Q1 --why");
    ledger.lines(
        r#"
        rate set rotary-36 --kind item --per "5 sqft"
        machine edit rotary --day 999
        item edit oil-finish --pack 1=999
        setting set confidence 95%
        setting set draws 1000
        "#,
    );
    let after = ledger.json("quote show Q1 --why");
    for (key, value) in before.as_object().unwrap() {
        // What is bought is bought today, at today's prices.
        if key != "buy" {
            assert_eq!(value, &after[key], "{key}");
        }
    }
    let why = list(&before["lines"])
        .iter()
        .find(|line| line["kind"] == json!("rental"))
        .map(|line| line["why"]["cost"].to_string());
    assert!(why.is_some_and(|why| why.contains("20000 draws")));
}

#[test]
fn a_variation_is_priced_by_the_same_rules() {
    let ledger = TestLedger::job_open();
    ledger.lines(r#"room add "4 Tannery Row" Closet --shape "5 x 4" --condition worn-film --species red-oak"#);
    let variation = ledger.json(
        r#"quote draft "4 Tannery Row" --room Closet --variation-of J1 --option "With stain: schedule=oil-3-coat""#,
    );
    assert_eq!(variation["variation"], json!(true));
    ledger.lines("quote send Q2\nquote accept Q2 --option 2");
    let job = ledger.json("report margin J1");
    let accepted = ledger.json("quote show Q2");
    assert_eq!(accepted["option"], json!(2));
    assert_eq!(job["jobs"][0]["variations"], accepted["price"]);
    assert_eq!(ledger.json("check")["ok"], json!(true));
}

#[test]
fn legal_habits_warn_and_cite_when_they_are_set() {
    let ledger = TestLedger::tannery_row();
    ledger.lines("quote draft \"4 Tannery Row\"\nquote send Q1");
    let silent = ledger.line("quote accept Q1");
    assert!(!silent.stderr().contains("take it back"), "{silent}");
    let silent = ledger.line("invoice deposit J1 --share 30%");
    assert!(!silent.stderr().contains("warning"), "{silent}");

    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        setting set deposit-limit 10%
        setting set deposit-limit-amount 1000
        setting set cancellation-days 3
        setting set contract-law "Bus. & Prof. Code 7159.5"
        quote draft "4 Tannery Row"
        quote send Q1
        "#,
    );
    let price = cents(&ledger.json("quote show Q1")["price"]);
    let client = ledger.line("quote show Q1 --for-client").ok();
    assert!(
        client.contains("within 3 business days (Bus. & Prof. Code 7159.5)"),
        "{client}"
    );
    let accepted = ledger.line("quote accept Q1");
    assert!(accepted.stderr().contains("until 2026-03-05"), "{accepted}");
    let started = ledger.line("job start J1");
    assert!(started.stderr().contains("until 2026-03-05"), "{started}");
    let deposit = ledger.line("invoice deposit J1 --share 30%");
    let limit = format!("{:.2}", (price / 10) as f64 / 100.0);
    assert!(deposit.stderr().contains(&limit), "{limit}: {deposit}");
    assert!(deposit.stderr().contains("7159.5"), "{deposit}");
    let within = ledger.line(&format!("invoice deposit J1 --amount {limit}"));
    assert!(!within.stderr().contains("warning"), "{within}");
}

#[test]
fn a_start_date_counts_weekends_on() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        "machine edit rotary --half-day none --day 400 --weekend 140 --week none --four-weeks none",
    );
    let of = |quote: &Value| {
        let rentals = list(&quote["rental"]).iter();
        let rotary = rentals
            .clone()
            .find(|rental| rental["machine"] == json!("rotary"));
        rotary.cloned().unwrap_or_else(|| panic!("{quote:#}"))
    };
    let unknown = of(&ledger.json("quote draft \"4 Tannery Row\""));
    assert_eq!(unknown["cover"][0]["period"], json!("day"));
    // 2026-03-07 is a Saturday.
    let saturday = ledger.json("quote draft \"4 Tannery Row\" --start 2026-03-07");
    assert_eq!(saturday["start_on"], json!("2026-03-07"));
    assert_eq!(of(&saturday)["cover"][0]["period"], json!("weekend"));
    assert_eq!(of(&saturday)["from"], json!("2026-03-07"));
}

#[test]
fn a_variation_prices_what_is_new() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        finding add Landing damaged-boards "2 to 6" --chance 40
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q1
        quote accept Q1
        job start J1
        finding add Landing squeaks 4
        "#,
    );
    let line = r#"quote draft "4 Tannery Row" --variation-of J1 --room Landing --sequence none --schedule none"#;
    let variation = ledger.json(line);
    let operations: Vec<&Value> = list(&variation["lines"])
        .iter()
        .map(|line| &line["operation"])
        .filter(|operation| !operation.is_null())
        .collect();
    assert_eq!(
        operations,
        [&json!("fasten-squeaks")],
        "no set-up, and no nail or board that is sold already"
    );
    let again = ledger.line(r#"quote draft "4 Tannery Row" --variation-of J1 --room Landing"#);
    assert!(
        again.stderr().contains("`Landing` is in the job already"),
        "{again}"
    );
    ledger.line("quote send Q2").ok();
    ledger.line("quote accept Q2").ok();
    let refused = ledger.line(line).refused();
    assert_eq!(
        refused,
        "error: nothing in it is new: all of it is in the job already"
    );
}

#[test]
fn what_a_second_reader_slipped_through_is_refused() {
    let ledger = uncertain();
    ledger.lines(
        r#"
        client add Bob
        site add Bob "1 Elm"
        room add "1 Elm" Hall --shape "10 x 4" --condition bare --species pine
        quote draft "4 Tannery Row" --option "Landing only: without=Back bedroom"
        "#,
    );
    for (line, said) in [
        (
            r#"quote draft "1 Elm" --room "4 Tannery Row/Landing""#,
            "error: `Landing` is at `4 Tannery Row`, not at `1 Elm`",
        ),
        (
            "setting set confidence 0.8",
            "error: `0.8` could be 0.8 % or 80 %\nhint: write 0.8% or 80%",
        ),
        (
            "setting set margin 99.99999999%",
            "error: `99.99999999%` is finer than a percentage is kept: 4 decimals at most",
        ),
        (
            r#"quote draft "4 Tannery Row" --margin 99.99999%"#,
            "error: `99.99999%` is finer than a percentage is kept: 4 decimals at most",
        ),
    ] {
        assert_eq!(ledger.line(line).refused(), said, "{line}");
    }
    for line in [
        "machine cover rotary --hours -3",
        r#"quote draft "4 Tannery Row" --option "3: schedule=oil-3-coat""#,
        r#"quote draft "4 Tannery Row" --option "Both: with=Landing, without=Landing""#,
    ] {
        let refused = ledger.line(line).refused();
        assert!(!refused.contains("caused by"), "{line}: {refused}");
    }
    // Options are found by a unique beginning too; a quote with one option calls it as it is listed.
    assert_eq!(
        ledger.json("quote show Q1 --option landing")["option"],
        json!(2)
    );
    ledger.line("quote send Q1").ok();
    ledger.line("quote accept Q1 --option 2").ok();
    let refused = ledger.line("quote accept Q1 --option 1").refused();
    assert!(
        refused.starts_with("error: Q1 is accepted already"),
        "{refused}"
    );
    // A newer version that was sent stands in an older one's place.
    ledger.line(r#"quote draft "1 Elm""#).ok();
    ledger.line("quote send Q2").ok();
    ledger
        .line(r#"quote draft "1 Elm" --revises Q2 --margin 40%"#)
        .ok();
    ledger.line("quote send Q2.2").ok();
    assert_eq!(
        ledger.line("quote accept Q2").refused(),
        "error: Q2.2 was sent after Q2, and stands in its place
hint: gritledger quote accept Q2.2
hint: gritledger quote draft \"1 Elm\" --revises Q2.2"
    );
    // A tax of 8.875 % is told as such.
    ledger.line("tax-area add NYC 8.875%").ok();
    ledger.line(r#"site edit "1 Elm" --tax-area NYC"#).ok();
    ledger.line(r#"quote draft "1 Elm""#).ok();
    assert_eq!(ledger.json("quote show Q3")["tax_percent"], json!(8.875));
}

#[test]
fn a_deposit_of_the_limit_itself_is_not_rounded_beyond_it() {
    let ledger = uncertain();
    ledger.lines("setting set deposit 30%\nsetting set deposit-limit 30%");
    // Whatever the price: a share that is the limit is never asked for with a cent more.
    for (number, margin) in (1..).zip(["30%", "31%", "33%", "35%"]) {
        ledger.lines(&format!(
            r#"
            quote draft "4 Tannery Row" --margin {margin}
            quote send Q{number}
            quote accept Q{number}
            "#
        ));
        let run = ledger.line(&format!("invoice deposit J{number}"));
        assert!(!run.stderr().contains("above the"), "{margin}: {run}");
    }
}

#[test]
fn a_machine_is_rented_for_all_of_its_hours() {
    let ledger = TestLedger::new();
    ledger.lines(
        r#"
        worker add "Ruben Vale" --wage 28.00
        client add "Ada Quill"
        site add "Ada Quill" "4 Tannery Row"
        room add "4 Tannery Row" Hall --shape "120 x 160" --condition worn-film --species red-oak --confirm
        room add "4 Tannery Row" Annex --shape "120 x 160" --condition worn-film --species red-oak --confirm
        room add "4 Tannery Row" Loft --shape "120 x 160" --condition worn-film --species red-oak --confirm
        room add "4 Tannery Row" Gallery --shape "120 x 160" --condition worn-film --species red-oak --confirm
        "#,
    );
    let quote =
        ledger.json(r#"quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule none"#);
    let cuts = list(&quote["lines"]).iter().filter(|line| {
        line["operation"]
            .as_str()
            .is_some_and(|name| name.starts_with("rotary"))
    });
    let hours: Vec<f64> = cuts.map(|line| number(&line["hours"])).collect();
    let rental = list(&quote["lines"])
        .iter()
        .find(|line| line["machine"] == json!("rotary"))
        .expect("a rotary is rented");
    // Twelve cuts, none of them a tenth of it; a working day has eight hours.
    let (all, most) = (
        hours.iter().sum::<f64>(),
        hours
            .iter()
            .fold(0.0, |one: f64, another| one.max(*another)),
    );
    assert!(hours.len() == 12 && most < all / 9.0, "{hours:?}");
    let days = number(&rental["days"]);
    assert!((days - all / 8.0).abs() < 1.0, "{days}, {all}");
}

/// Trim that was measured piece by piece is bought as the sticks that it is cut from.
///
/// On paper: of sticks of 8 ft at 9.60, 12 ft at 14.80 and 16 ft at 20.50, a piece of 9' takes one of 12 or 16; with 6'6" it
/// is 15 ft 6 1/8 in, so one of 16 holds both, and 7'2" takes one of 8: 30.10. Apart they would be 12, 8 and 8: 34.00.
/// By length, 22 ft 8 in with waste and at 90 percent are 31.77 ft: four of 8, 38.40.
#[test]
fn trim_of_known_pieces_is_bought_by_the_stick() {
    let ledger = TestLedger::new();
    ledger.lines(
        r#"
        worker add "Ruben Vale" --wage 28.00
        client add "Ada Quill"
        site add "Ada Quill" "4 Tannery Row" --year-built 1990
        room add "4 Tannery Row" "Landing" --shape "10ft x 9ft" --condition worn-film --species red-oak
        room add "4 Tannery Row" "Parlour" --shape "14ft x 12ft" --condition worn-film --species red-oak
        finding add Landing missing-quarter-round "9' + 7'2\" + 6'6\""
        quote draft "4 Tannery Row" --room Landing --sequence none --schedule none
        finding add Parlour missing-quarter-round "22.67 ft"
        quote draft "4 Tannery Row" --room Parlour --sequence none --schedule none
    "#,
    );
    let found = &ledger.json("finding list \"4 Tannery Row\"")["findings"][0];
    assert_eq!(found["quantity"]["quantity"], json!("22.6667"));
    assert_eq!(list(&found["pieces"]).len(), 3);
    let bought = |line: &str| {
        let answer = ledger.json(line);
        let line = list(&answer["buy"])
            .iter()
            .find(|line| line["item"] == "quarter-round");
        line.expect("it is bought").clone()
    };
    let by_piece = bought("quote buy Q1");
    assert_eq!(
        by_piece["packs"],
        json!([
            { "size": "16", "count": 1, "price": "20.50" },
            { "size": "8", "count": 1, "price": "9.60" },
        ])
    );
    assert_eq!(
        (&by_piece["total"], &by_piece["need"]),
        (&json!("30.10"), &json!("22.6667"))
    );
    let pieces: Vec<&Value> = list(&by_piece["cut"])
        .iter()
        .map(|stick| &stick["pieces"])
        .collect();
    assert_eq!(json!(pieces), json!([["9", "6.5"], ["7.1667"]]));
    // The other room's length isn't known by pieces.
    let by_length = bought("quote buy Q2");
    assert_eq!(
        (&by_length["cut"], &by_length["total"]),
        (&json!(null), &json!("38.40"))
    );
    // What is in stock is known by its length alone.
    ledger.line("buy quarter-round 8 --cost 9.60").ok();
    assert_eq!(bought("quote buy Q1")["cut"], json!(null));
    assert_eq!(
        ledger
            .line("finding add Landing missing-quarter-round \"9' + x\"")
            .refused(),
        "error: `x` is not a length (try 12'6\", 12.5 or 3.81m)"
    );
}

/// The same with its quote accepted and the job begun.
fn uncertain_job() -> TestLedger {
    let ledger = uncertain();
    ledger.lines(
        r#"
        quote draft "4 Tannery Row"
        quote send Q1
        quote accept Q1
        job start J1
        "#,
    );
    ledger
}

/// What closing a job says of what nobody has answered, without its first hint.
fn not_answered(ledger: &TestLedger) -> String {
    let said = ledger.answered("job close J1", &["y", "y"]).stderr();
    let (next, not_answered) = said.split_once('\n').expect("a line");
    assert!(next.starts_with("hint: gritledger "), "{said}");
    not_answered.to_owned()
}

#[test]
fn closing_a_job_in_a_script_says_how_to_tell_what_turned_up_and_says_it_no_more_once_it_is_told() {
    let ledger = uncertain_job();
    let gaps = "Landing: fill-gaps, 50 % likely: nobody has said whether it turned up.\n\
                hint: gritledger finding edit 4 --turned-up yes\n";
    let bleach = "Back bedroom: bleach-stains, 40 % likely: nobody has said whether it turned up.\n\
                  hint: gritledger finding edit 3 --turned-up yes\n";
    assert_eq!(not_answered(&ledger), format!("{gaps}{bleach}"));
    let said = ledger.line("finding edit 3 --turned-up no").stderr();
    assert_eq!(said, "Finding 3 didn't turn up.\n");
    ledger.line("job reopen J1").ok();
    assert_eq!(not_answered(&ledger), gaps);
    let said = ledger.line("finding edit 4 --turned-up yes").stderr();
    assert_eq!(said, "Finding 4 turned up.\n");
    ledger.line("job reopen J1").ok();
    assert_eq!(not_answered(&ledger), "");

    let words = ["finding", "list", "4 Tannery Row"];
    let listed = ledger.run_with(&words, &[("COLUMNS", "140")]).ok();
    for words in [
        "may be bleach-stains   8 to 12 sq ft  40 % likely; didn't turn up",
        "may turn up                           50 % likely; turned up",
        "\n\nbleach-stains: 0 of 1 turned up, quoted 40 % on average\nfill-gaps: 1 of 1 turned up, quoted 50 % on average\n",
    ] {
        assert!(listed.contains(words), "{words} not in:\n{listed}");
    }
}

#[test]
fn what_turned_up_is_told_of_what_was_quoted_whatever_became_of_the_finding() {
    let ledger = uncertain_job();
    // What is known by now is noted as sure; what was found nowhere is taken out of use.
    ledger.lines("finding edit 4 \"9 ft\" --sure\nfinding void 3");
    let said = not_answered(&ledger);
    assert!(said.contains("edit 4 --turned-up yes") && said.contains("edit 3 --turned-up yes"));
    ledger.lines("finding edit 4 --turned-up yes\nfinding edit 3 --turned-up no\njob reopen J1");
    assert_eq!(not_answered(&ledger), "");

    // Another place is the same finding, and what was said goes along; with another chance it stays with what was quoted.
    let ledger = uncertain_job();
    ledger.lines("finding edit 4 --turned-up yes\nfinding edit 4 --place \"north wall\"");
    let listed = || ledger.json("finding list \"4 Tannery Row\" --room Landing");
    assert_eq!(listed()["findings"][1]["turned_up"], json!(true));
    assert!(!not_answered(&ledger).contains("fill-gaps"));
    ledger.line("finding edit 5 --chance 60%").ok();
    assert_eq!(listed()["findings"][1]["turned_up"], json!(null));
    let once =
        json!({ "operation": "fill-gaps", "turned_up": 1, "answered": 1, "quoted_percent": 50 });
    assert_eq!(listed()["turned_up"], json!([once]));
}

#[test]
fn each_of_two_that_are_alike_is_told_of_by_itself_on_own_floors_too() {
    let ledger = uncertain();
    // The squeaks are there, only not how many: that isn't asked about, nor what was taken out before it was quoted.
    ledger.lines(
        r#"
        finding add Landing gaps "6 to 20 ft" --chance 50%
        finding add Landing gaps "6 to 20 ft" --chance 50%
        finding void 6
        finding add Landing squeaks "2 to 5"
        job own "4 Tannery Row" --room Landing
        finding edit 4 --turned-up no
        "#,
    );
    assert_eq!(
        not_answered(&ledger),
        "Landing: fill-gaps, 50 % likely: nobody has said whether it turned up.\n\
         hint: gritledger finding edit 5 --turned-up yes\n"
    );
}

#[test]
fn only_what_had_a_chance_turns_up_or_does_not() {
    let ledger = uncertain();
    assert_eq!(
        ledger.line("finding edit 1 --turned-up yes").refused(),
        "error: finding 1 (proud-nails) is sure: only what has a chance turns up or doesn't\n\
         hint: gritledger finding edit 1 --chance 40%"
    );
    assert_eq!(
        ledger.line("finding edit 99 --turned-up no").refused(),
        "error: no finding 99\nhint: gritledger finding list SITE"
    );
    for more in ["perhaps", "yes --sure"] {
        let line = format!("finding edit 4 --turned-up {more}");
        assert_eq!(ledger.line(&line).code(), 2, "{line}");
    }
}
