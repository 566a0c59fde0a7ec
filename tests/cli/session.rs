//! The main job, typed as its user would, and the figures that follow from it.

use serde_json::{Value, json};

use crate::harness::TestLedger;

#[test]
fn the_main_job_runs_as_typed() {
    let ledger = TestLedger::nowhere();
    ledger.lines(
        r#"
        init --business "Marsh End Floors" --country US
        worker add "Ruben Vale" --wage 28.00
        client add "Ada Quill" --phone 555-0142
        site add "Ada Quill" "4 Tannery Row" --year-built 1931
        room add "4 Tannery Row" "Landing" --shape "10 x 4.5" --condition worn-film --species red-oak --door "outside:2'8\""
        room add "4 Tannery Row" "Back bedroom" --walls "14' r 11'6\" r 9' r 3' l 5' r 8'6\" r" --condition sound-film --species red-oak --door "Landing:2'6\""
        finding add "Landing" proud-nails 12
        finding add "Back bedroom" missing-quarter-round "22 ft"
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
        quote show Q1
        quote send Q1
        quote accept Q1
        job start J1
        buy disc-7in-36 30 --cost 96.00
        rental out rotary --at "2026-03-02 08:00"
        use disc-7in-36 6 --room Landing
        hours "Ruben Vale" 1.5 --room Landing --on sand
        "#,
    );
    let ledger = ledger.on("2026-03-03");
    ledger.lines(
        r#"
        rental back rotary --at "07:45"
        spent 18.40 --for disposal
        job close J1
        report margin J1
        report variance J1
        rate list
        invoice final J1
        invoice issue J1
        payment add I1 500
        today
        check
        "#,
    );

    let landing = ledger.json("room show Landing");
    assert_eq!(landing["area"], json!({ "quantity": "45", "unit": "sqft" }));
    // 29 ft of wall less 5 ft 2 in of doorways = 23 ft 10 in.
    assert_eq!(
        landing["edge"],
        json!({ "quantity": "23.8333", "unit": "ft" })
    );
    let bedroom = ledger.json("room show \"Back bedroom\"");
    assert_eq!(
        bedroom["area"],
        json!({ "quantity": "146", "unit": "sqft" })
    );
    assert_eq!(bedroom["edge"], json!({ "quantity": "48.5", "unit": "ft" }));

    // 08:00 to 07:45 the next day is one rental day.
    let rentals = ledger.json("report rentals");
    assert_eq!(
        (
            &rentals["machines"][0]["machine"],
            &rentals["machines"][0]["days"]
        ),
        (&json!("rotary"), &json!(1))
    );

    let quote = ledger.json("quote show Q1");
    let cautions = quote["cautions"].to_string();
    assert!(
        cautions.contains("40 CFR 745"),
        "a house of 1931 brings the lead caution: {cautions}"
    );
    assert_eq!(ledger.json("check"), json!({ "ok": true, "problems": [] }));
}

#[test]
fn a_floor_of_42_square_feet_takes_two_sets_of_36_grit() {
    // Common practice, no source: a set of three is spent after about 21 sq ft, so 42 sq ft takes two sets (6 discs).
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        room add "4 Tannery Row" Box --shape "7 x 6" --condition worn-film --species red-oak
        quote draft "4 Tannery Row" --room Box
        "#,
    );
    let quote = ledger.json("quote show Q1");
    let line = line(&quote, "Box", "rotary-36");
    assert_eq!(
        (&line["item_quantity"], &line["load_quantity"]),
        (&json!("6"), &json!("6"))
    );
    assert_eq!(line["item_unit"], json!("disc"));
}

#[test]
fn the_starting_book_keeps_to_common_practice() {
    // Common practice, no source, each of these: a three-head rotary takes three discs at once; its sequence is 36, 50
    // and 80, the whole floor once with each, with edges and corners at 80 after it; two coats of oil, 24 h apart.
    let ledger = TestLedger::new();
    assert_eq!(
        ledger.json("operation show rotary-36")["set_size"],
        json!(3)
    );
    let sequence = ledger.json("sequence show rotary-36-50-80");
    let grits = |driver: &str| -> Vec<i64> {
        let steps = sequence["steps"].as_array().expect("steps").iter();
        let steps = steps.filter(|step| step["driver"] == json!(driver));
        steps
            .map(|step| step["grit"].as_i64().expect("a grit"))
            .collect()
    };
    assert_eq!(grits("area"), [36, 50, 80]);
    assert_eq!((grits("edge"), grits("room")), (vec![80], vec![80]));
    let schedule = ledger.json("schedule show oil-2-coat");
    let coats: Vec<&Value> = schedule["steps"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|step| step["operation"] == json!("oil-coat"))
        .collect();
    assert_eq!(coats.len(), 2);
    assert!(
        coats
            .iter()
            .all(|coat| coat["recoat"] == json!({ "quantity": "24", "unit": "h" })),
        "{schedule:#}"
    );
    // 400 sq ft per gallon leaves 231 / 0.144 / 400 = 4.0104 mils of wet film.
    assert_eq!(coats[0]["wet_film_micrometres"], json!("101.8646"));
}

/// Returns the line of a quote for a room and operation.
fn line<'a>(quote: &'a Value, room: &str, operation: &str) -> &'a Value {
    let lines = quote["lines"].as_array().expect("lines");
    let found = lines
        .iter()
        .find(|line| line["room"] == json!(room) && line["operation"] == json!(operation));
    found.unwrap_or_else(|| panic!("no {operation} in {room}: {quote:#}"))
}

#[test]
fn the_owner_sees_cost_and_margin_and_the_client_does_not() {
    let ledger = TestLedger::tannery_row();
    ledger
        .line("quote draft \"4 Tannery Row\" --margin 40%")
        .ok();
    let (owner, client) = (
        ledger.json("quote show Q1"),
        ledger.json("quote show Q1 --for-client"),
    );
    assert_eq!(keys(&owner), keys(&client), "keys don't come and go");
    for key in ["price", "tax", "total", "rooms", "cautions"] {
        assert_eq!(owner[key], client[key], "{key}");
    }
    for kind in [
        "labour",
        "consumables",
        "rental",
        "other",
        "overhead",
        "total",
    ] {
        assert!(
            owner["cost"][kind].is_string() && client["cost"][kind].is_null(),
            "{kind}"
        );
    }
    assert!(client["margin_percent"].is_null());
    assert!(
        client["lines"]
            .as_array()
            .unwrap()
            .iter()
            .all(|line| line["cost"].is_null())
    );

    let text = ledger.line("quote show Q1 --for-client").ok();
    for word in ["Margin", "Cost", "Labour", "Consumables", "hours"] {
        assert!(!text.contains(word), "{word} in:\n{text}");
    }
}

fn keys(value: &Value) -> Vec<String> {
    value
        .as_object()
        .expect("an object")
        .keys()
        .cloned()
        .collect()
}

#[test]
fn versions_and_expiry() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        quote draft "4 Tannery Row"
        quote draft "4 Tannery Row" --margin 20% --revises Q1
        quote draft "4 Tannery Row"
        quote send Q1.2 --valid 3d
        "#,
    );
    let numbers: Vec<Value> = ledger.json("quote list")["quotes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|quote| quote["number"].clone())
        .collect();
    assert_eq!(numbers, [json!("Q1"), json!("Q1.2"), json!("Q2")]);
    assert_eq!(
        ledger.json("quote show Q1")["status"],
        json!("draft"),
        "Q1 is its first version"
    );
    assert_eq!(
        ledger.line("quote send Q1").refused(),
        "error: Q1.2 replaces Q1
hint: gritledger quote accept Q1.2
hint: gritledger quote draft \"4 Tannery Row\" --revises Q1.2"
    );

    let ledger = ledger.on("2026-03-06");
    assert_eq!(ledger.json("quote show Q1.2")["status"], json!("expired"));
    let refusal = ledger.line("quote accept Q1.2").refused();
    assert!(
        refusal.starts_with("error: Q1.2 expired\nhint: gritledger quote accept Q1.2 --expired"),
        "{refusal}"
    );
    ledger.line("quote accept Q1.2 --expired").ok();
    assert_eq!(ledger.json("quote show Q1.2")["status"], json!("accepted"));
    // What is agreed is changed by a variation, not by another version: that would be a second job for the same rooms.
    let said = ledger
        .line("quote draft \"4 Tannery Row\" --revises Q1")
        .refused();
    assert_eq!(
        said,
        "error: Q1.2 is accepted already\nhint: gritledger quote draft \"4 Tannery Row\" --variation-of J1"
    );
}

#[test]
fn a_published_variance_comes_out_of_the_command_line() {
    // Public worked answer to a textbook exercise (materials): 210,000 units of 8 ft at 1.40 allowed; 1,780,000 ft
    // bought and used at 1.30. Price variance 178,000 favourable, quantity variance 140,000 unfavourable.
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        item add strip --unit ft --pack 1=1.40
        operation add lay-strip --task repair --driver count --item strip --for-finding units
        rate set lay-strip --kind item --per 0.125
        rate set lay-strip --kind hours --per 1000000
        finding add Landing units 210000
        quote draft "4 Tannery Row" --room Landing --sequence none --schedule none
        quote send Q1
        quote accept Q1
        job start J1
        buy strip 1780000 --cost 2314000.00
        use strip 1780000 --room Landing
        "#,
    );
    let variance = ledger.json("report variance J1");
    let lines = variance["lines"].as_array().unwrap();
    let strip = lines
        .iter()
        .find(|line| line["item"] == json!("strip"))
        .expect("a line for the strip");
    assert_eq!(strip["quoted_quantity"], json!("1680000"));
    assert_eq!(strip["price_variance"], json!("-178000.00"));
    assert_eq!(strip["quantity_variance"], json!("140000.00"));
    assert_eq!(strip["total_variance"], json!("-38000.00"));
    assert_eq!(strip["verdict"], json!("favourable"));
}

#[test]
fn an_own_house_is_quoted_at_the_cost_that_is_sure_enough() {
    let ledger = TestLedger::tannery_row();
    ledger.line("quote draft \"4 Tannery Row\" --margin 0").ok();
    let quote = ledger.json("quote show Q1");
    assert_eq!(quote["price"], quote["cost_at"]["p80"]);
    assert_eq!(quote["target_margin_percent"], json!(0));
    let even = ledger.json("quote draft \"4 Tannery Row\" --margin 0 --confidence 50%");
    assert_eq!(even["price"], even["cost_at"]["p50"]);
}

#[test]
fn closing_a_job_lists_what_is_missing_and_teaches_the_rates() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        use disc-7in-36 6 --room Landing
        hours "Ruben Vale" 1.5 --room Landing --on sand
        hours "Ruben Vale" 0.5
        "#,
    );
    let closed = ledger.json("job close J1");
    assert_eq!(closed["rooms_without_discs"], json!(["Back bedroom"]));
    assert_eq!(closed["hours_on_nothing"], json!("0.5"));
    assert_eq!(closed["awaiting_receipt"][0]["item"], json!("disc-7in-36"));
    assert_eq!(closed["observations"], json!(2));

    let rates = ledger.json("rate list --operation rotary-36");
    let rate = rates
        .as_array()
        .unwrap()
        .iter()
        .find(|rate| rate["kind"] == json!("item") && rate["condition"] == json!("worn-film"))
        .expect("the rate on worn film");
    // 6 discs on 45 sq ft; 3 discs on 24.7 sq ft and 0.9 more in the book, which expected 6.37.
    assert_eq!(rate["observed"], json!("0.133333"));
    assert_eq!(rate["book"], json!("0.121457"));
    assert_eq!(
        (&rate["rooms"], &rate["exposure"]),
        (&json!(1), &json!("45"))
    );
    let number = |key: &str| rate[key].as_str().unwrap().parse::<f64>().unwrap();
    assert!(number("learned") < number("book") && number("learned") > 0.9 * number("book"));
    assert!(number("low") < number("learned") && number("learned") < number("high"));
    let shares = rate["share_percent"].as_object().unwrap();
    let shares: Vec<u64> = shares
        .values()
        .map(|share| share.as_u64().unwrap())
        .collect();
    assert_eq!(shares.iter().sum::<u64>(), 100);
    assert!(
        shares[0] > 0 && shares[3] > 50,
        "one room leaves most to the book: {shares:?}"
    );
}

#[test]
fn entries_on_a_closed_job_are_late_costs() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        "hours \"Ruben Vale\" 2 --on sand\njob close J1\nspent 40 --for \"touch-up kit\" --job J1",
    );
    let margin = ledger.json("report margin J1");
    assert_eq!(margin["jobs"][0]["late_cost"], json!("40.00"));
    // 2 h × 28.00 × 1.4235 = 79.716 → 79.72, and 40.00 after close-out.
    assert_eq!(margin["jobs"][0]["actual_cost"], json!("119.72"));
}

#[test]
fn late_hours_carry_their_overhead() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        setting set overhead 10
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q1
        quote accept Q1
        job start J1
        hours "Ruben Vale" 2 --on sand
        job close J1
        hours "Ruben Vale" 1 --on sand --job J1
        "#,
    );
    let margin = ledger.json("report margin J1");
    // 1 h × 28.00 × 1.4235 = 39.858 → 39.86, and a tenth of it: 3.99.
    assert_eq!(margin["jobs"][0]["late_cost"], json!("43.85"));
    // 3 h are 79.72 + 39.86 = 119.58, and a tenth of that: 11.96.
    assert_eq!(margin["jobs"][0]["actual_cost"], json!("131.54"));
}

#[test]
fn a_variation_adds_to_the_price() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        finding add "Back bedroom" squeaks 4
        quote draft "4 Tannery Row" --room "Back bedroom" --sequence none --schedule none --variation-of J1
        quote send Q2
        quote accept Q2
        "#,
    );
    let (quote, margin) = (
        ledger.json("quote show Q2"),
        ledger.json("report margin J1"),
    );
    assert_eq!(margin["jobs"][0]["variations"], quote["price"]);
    assert_eq!(
        ledger.json("job list").as_array().unwrap().len(),
        1,
        "a variation is no job of its own"
    );
    ledger.line("invoice final J1").ok();
    let draft = ledger.json("invoice show J1");
    let total = |value: &Value| {
        value
            .as_str()
            .unwrap()
            .replace('.', "")
            .parse::<i64>()
            .unwrap()
    };
    assert_eq!(
        total(&draft["net"]),
        total(&margin["jobs"][0]["price"]) + total(&margin["jobs"][0]["variations"])
    );
}

#[test]
fn a_rental_shared_by_two_jobs_is_charged_by_days() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        quote draft "4 Tannery Row" --room Landing
        quote send Q2
        quote accept Q2
        job start J2
        rental out rotary --at "2026-02-26 08:00" --job J1
        rental move rotary --job J2 --date 2026-02-28
        "#,
    );
    let back = ledger.json("rental back rotary --at \"2026-03-01 08:00\" --charged 100.00");
    let days: Vec<(&Value, &Value)> = back["days"]
        .as_array()
        .unwrap()
        .iter()
        .map(|day| (&day["job"], &day["charge"]))
        .collect();
    // Three periods: two began with J1, one with J2; the cent that rounding leaves goes to the first of equals.
    assert_eq!(
        days,
        [
            (&json!("J1"), &json!("33.34")),
            (&json!("J1"), &json!("33.33")),
            (&json!("J2"), &json!("33.33"))
        ]
    );
}

#[test]
fn today_tells_what_is_due() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        rental out rotary --at "08:00"
        use oil-finish 0.5 --room Landing
        quote draft "4 Tannery Row" --room Landing
        quote send Q2 --valid 2d
        invoice deposit J1
        invoice issue J1
        "#,
    );
    let ledger = ledger.on("2026-03-04");
    let today = ledger.json("today");
    assert_eq!(today["machines"][0]["machine"], json!("rotary"));
    assert_eq!(today["machines"][0]["due_back"], json!("2026-03-04T08:00"));
    assert_eq!(today["coats"][0]["operation"], json!("oil-coat"));
    assert_eq!(
        (&today["coats"][0]["coat"], &today["coats"][0]["from"]),
        (&json!(2), &json!("2026-03-03"))
    );
    assert_eq!(today["quotes"][0]["number"], json!("Q2"));
    assert_eq!(today["awaiting_receipt"][0]["item"], json!("oil-finish"));
    let ledger = ledger.on("2026-03-20");
    assert_eq!(ledger.json("today")["overdue"][0]["number"], json!("I1"));
}

#[test]
fn a_metric_ledger_speaks_metres() {
    let ledger = TestLedger::nowhere();
    ledger.lines(
        r#"
        init --business "Marsh End Floors" --units metric --currency EUR
        worker add "Ruben Vale" --wage 26
        client add "Ada Quill"
        site add "Ada Quill" "4 Tannery Row"
        room add "4 Tannery Row" Hall --shape "3.81m x 2" --condition bare --species beech
        quote draft "4 Tannery Row"
        "#,
    );
    let room = ledger.json("room show Hall");
    assert_eq!(room["area"], json!({ "quantity": "7.62", "unit": "m2" }));
    assert_eq!(room["edge"], json!({ "quantity": "11.62", "unit": "m" }));
    let quote = ledger.json("quote show Q1");
    assert_eq!(quote["currency"], json!("EUR"));
    assert_eq!(
        line(&quote, "Hall", "rotary-36")["driver"],
        json!({ "quantity": "7.62", "unit": "m2" })
    );
}

#[test]
fn stairs_are_done_per_step() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        room add "4 Tannery Row" Stair --steps 13 --width 3' --tread 10in --riser "7 1/2 in" --condition paint --species pine
        quote draft "4 Tannery Row" --room Stair
        "#,
    );
    let quote = ledger.json("quote show Q1");
    let drivers: Vec<&Value> = quote["lines"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|line| line["task"] == json!("sand") || line["task"] == json!("coat"))
        .map(|line| &line["driver"])
        .collect();
    assert!(!drivers.is_empty());
    for driver in drivers {
        assert_eq!(driver["unit"], json!("each"), "{quote:#}");
    }
}
