//! Driving: visits that a quote counts from its own days, at what a mile or a kilometre costs.

use std::collections::BTreeSet;

use gritledger::money::Decimal;
use serde_json::{Value, json};

use crate::harness::TestLedger;

const DRAFT: &str =
    r#"quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat"#;

/// The two rooms of the example, 12.4 miles from the firm, and 9.3 to the rental place.
fn far_away() -> TestLedger {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        site edit "4 Tannery Row" --distance 12.4
        setting set rental-distance 9.3
        "#,
    );
    ledger
}

fn trips(quote: &Value) -> Vec<&Value> {
    let lines = quote["lines"].as_array().expect("lines");
    lines
        .iter()
        .filter(|line| line["kind"] == "trips")
        .collect()
}

/// Returns place, trips, miles of each, hours and cost.
fn told(quote: &Value) -> Value {
    let fields = |line: &Value| {
        let distance = &line["distance"]["quantity"];
        json!([
            line["what"],
            line["trips"],
            distance,
            line["hours"],
            line["cost"]
        ])
    };
    trips(quote).into_iter().map(fields).collect()
}

fn cents(amount: &Value) -> i64 {
    let text = amount.as_str().expect("an amount").replace('.', "");
    text.parse().expect("an amount of cents")
}

/// On paper. Of the 10.6 h that are quoted 8 are what a crew does in a day: load-in and sanding take Monday and a part of
/// Tuesday, then the first coat; the second coat is Wednesday's; the floor is walked on from Thursday afternoon, and the
/// trim that doesn't fit in what is left of it is Friday's: five days, as the plan of the house has them. The mile costs
/// 72.5 cents, IRS Notice 2026-10.
///
/// 5 × 2 × 12.4 = 124 mi, 124 × 0.725 = 89.90; 2 × 2 × 9.3 = 37.2 mi, 37.2 × 0.725 = 26.97.
#[test]
fn a_quote_counts_a_trip_for_each_day_with_work_and_two_for_machines() {
    let ledger = far_away();
    ledger.lines(DRAFT);
    let quote = ledger.json("quote show Q1");
    assert_eq!(
        told(&quote),
        json!([
            ["site", 5, "24.8", null, "89.90"],
            ["rental-place", 2, "18.6", null, "26.97"]
        ])
    );
    assert_eq!(quote["cost"]["other"], json!("116.87"));
    let lines = quote["lines"].as_array().expect("lines");
    let sum: i64 = lines.iter().map(|line| cents(&line["cost"])).sum();
    assert_eq!(sum, cents(&quote["cost"]["total"]));
    let text = ledger.line("quote show Q1 --lines").ok();
    for line in [
        "driving to the site: 5 trips of 24.8 mi          89.90",
        "driving to the rental place: 2 trips of 18.6 mi  26.97",
    ] {
        assert!(text.contains(line), "{text}");
    }
    let why = ledger.line("quote show Q1 --why").ok();
    assert!(
        why.contains(
            "89.90: a day with work each, at the confidence; 124 mi there and back at 0.725."
        ),
        "{why}"
    );
    // The client is told no distance and no hours.
    let client = ledger.json("quote show Q1 --for-client");
    assert_eq!(
        told(&client),
        json!([
            ["site", null, null, null, null],
            ["rental-place", null, null, null, null]
        ])
    );
}

/// What driving adds to the cost it adds to the price, margin included: 116.87 / (1 − 0.35) = 179.80.
#[test]
fn driving_is_in_the_price_with_its_margin() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(DRAFT);
    ledger.lines(
        r#"
        site edit "4 Tannery Row" --distance 12.4
        setting set rental-distance 9.3
        quote draft "4 Tannery Row" --revises Q1
        "#,
    );
    let [before, after] = ["Q1", "Q1.2"].map(|number| ledger.json(&format!("quote show {number}")));
    let more = cents(&after["price"]) - cents(&before["price"]);
    assert!((more - 17_980).abs() <= 1, "{more}");
}

/// 124 mi at 31 an hour are 4 h, at 28.00 × 1.4235 = 39.858 an hour 159.43; 37.2 mi are 1.2 h, 47.83.
#[test]
fn hours_on_the_road_are_quoted_if_the_firm_counts_them() {
    let ledger = far_away();
    ledger.lines("setting set drive-speed 31\nsetting set overhead 10%");
    ledger.lines(DRAFT);
    let quote = ledger.json("quote show Q1");
    assert_eq!(
        told(&quote),
        json!([
            ["site", 5, "24.8", "4", "249.33"],
            ["rental-place", 2, "18.6", "1.2", "74.80"]
        ])
    );
    let ten = cents(&quote["cost"]["labour"]);
    assert_eq!(cents(&quote["cost"]["overhead"]), (ten + 5) / 10);
    ledger.lines("quote send Q1\nquote accept Q1\njob start J1\ndrive 10");
    let job = ledger.line("job show J1").ok();
    let total = quote["cost"]["total"].as_str().expect("an amount");
    let cost = format!("It is expected to cost {total} USD, as quoted.");
    assert!(job.contains(&cost), "{job}");
    let variance = ledger.json("report variance J1");
    let lines = variance["lines"].as_array().expect("lines");
    let road: Vec<&Value> = lines
        .iter()
        .filter(|line| line["operation"] == "driving")
        .collect();
    assert_eq!(road.len(), 1, "{road:?}");
    assert_eq!(road[0]["quoted_cost"], json!("207.26"));
}

/// Quoted as above: 5.2 h at 39.858 for 207.26. On the road: 2 h at 28.00 × 1.4235 = 39.858 are 79.72, 3 h at 30.00 × 1.4235 =
/// 42.705 are 128.12, in all 207.84. 5 × 39.858 = 199.29: 207.84 − 199.29 = 8.55 are the wage's, 199.29 − 207.26 = −7.97 the
/// hours'. A tenth of overhead on them was quoted at 20.73 and came to 20.78.
#[test]
fn hours_on_the_road_stand_beside_those_that_were_quoted() {
    let ledger = far_away();
    ledger.lines("setting set drive-speed 31\nsetting set overhead 10%");
    ledger.lines(DRAFT);
    ledger.lines("quote send Q1\nquote accept Q1\njob start J1");
    let road = |list: &str, of: &str| {
        let answer = ledger.json(list);
        let lines = answer[of].as_array().expect("lines").iter();
        let is_road = |line: &&Value| line["operation"] == "driving" || line["task"] == "driving";
        let lines: Vec<Value> = lines.filter(is_road).cloned().collect();
        assert_eq!(lines.len(), 1, "{list}: {lines:?}");
        lines[0].clone()
    };
    let nothing_yet = road("report variance J1", "lines");
    assert_eq!(nothing_yet["verdict"], json!("not recorded"));
    assert_eq!(
        ledger.line("hours 2 driving --room Landing").ok(),
        "E1: Ruben Vale worked 2 h on J1, driving, 79.72.\ndriving: 2 of 5.2 h quoted\n"
    );
    ledger.lines("worker edit \"Ruben Vale\" --wage 30");
    let notes = ledger.file("notes.txt", "room Landing\nhours 3 driving\n");
    ledger.line(&format!("daybook {notes}")).ok();
    let budget = road("job show J1", "budget");
    assert_eq!(
        json!([
            budget["unit"],
            budget["quoted"],
            budget["used"],
            budget["left"],
            budget["rooms"][0]["room"]
        ]),
        json!(["h", "5.2", "5", "0.2", null])
    );
    let line = road("report variance J1", "lines");
    for (key, value) in [
        ("room", Value::Null),
        ("quoted_quantity", json!("5.2")),
        ("quoted_cost", json!("207.26")),
        ("actual_quantity", json!("5")),
        ("actual_cost", json!("207.84")),
        ("price_variance", json!("8.55")),
        ("quantity_variance", json!("-7.97")),
    ] {
        assert_eq!(line[key], value, "{key} of {line}");
    }
    let variance = ledger.json("report variance J1");
    let lines = variance["lines"].as_array().expect("lines").iter();
    let overhead: Vec<Value> = lines
        .filter(|line| line["item"] == "overhead" && line["verdict"] != "not recorded")
        .map(|line| json!([line["quoted_cost"], line["actual_cost"]]))
        .collect();
    assert_eq!(overhead, [json!(["20.73", "20.78"])]);
    let margin = ledger.json("report margin");
    assert_eq!(margin["jobs"][0]["actual_cost"], json!("228.62"));
    // It is nobody's task: nothing is learned from it, and no room was worked in by it.
    let closed = ledger.json("job close J1");
    assert_eq!(
        json!([closed["hours_on_nothing"], closed["observations"]]),
        json!(["0", 0])
    );
    assert_eq!(ledger.line("export past-rooms").ok().lines().count(), 1);
    assert_eq!(
        ledger.line("rate confirm E1").refused(),
        "error: E1 is neither a use nor hours of work on a job: nothing is learned from it"
    );
}

/// Without `drive-speed` they are labour outside the quote: 1.5 h at 39.858 are 59.79, all of it by quantity.
#[test]
fn hours_on_the_road_outside_the_quote_and_of_no_job() {
    let ledger = far_away();
    ledger.lines(DRAFT);
    ledger.lines("quote send Q1\nquote accept Q1\njob start J1");
    ledger.lines("hours 1:30 driving\nhours 1 driving --no-job --note \"estimate visit\"");
    let variance = ledger.json("report variance J1");
    let lines = variance["lines"].as_array().expect("lines").iter();
    let road: Vec<Value> = lines
        .filter(|line| line["operation"] == "driving")
        .map(|line| {
            json!([
                line["quoted_cost"],
                line["actual_quantity"],
                line["quantity_variance"]
            ])
        })
        .collect();
    assert_eq!(road, [json!(["0.00", "1.5", "59.79"])]);
    let overheads = ledger.json("report overheads");
    assert_eq!(overheads["total"], json!("39.86"));
    // A correction moves them to and from the road, and to a job; what is on the road is of no room.
    let said = |line: &str| ledger.line(line).ok();
    assert_eq!(
        said("correct E1 --on sand --room Landing"),
        "E4: Ruben Vale worked 1.5 h on J1, Landing, sand in the place of E1, 59.79.\n\
         sand: 1.5 of 2.65 h quoted; Landing 1.5 of 0.75\n"
    );
    assert_eq!(
        said("correct E4 --on driving"),
        "E6: Ruben Vale worked 1.5 h on J1, driving in the place of E4, 59.79.\n\
         driving: not quoted\n"
    );
    assert_eq!(
        ledger.line("correct E6 --room Landing").refused(),
        "error: hours on the road are of the whole job, not of `Landing`"
    );
    ledger.lines("correct E2 --job J1\nvoid E6 --reason \"another day\"\nhours 2.5 driving");
    let exported = ledger.line("export hours").ok();
    // What is typed again stands where the slip stood.
    assert_eq!(
        exported.lines().skip(1).collect::<Vec<_>>(),
        [
            "2026-03-02,J1,4 Tannery Row,Ruben Vale,2.5,,driving,28.00,,",
            "2026-03-02,J1,4 Tannery Row,Ruben Vale,1,,driving,28.00,estimate visit,",
        ]
    );
    let file = ledger.file(
        "hours.csv",
        "date,job,site,worker,hours,room,on\n2026-02-27,J1,4 Tannery Row,Ruben Vale,2,Landing,driving\n",
    );
    assert_eq!(
        ledger.line(&format!("import hours {file}")).refused(),
        "error: hours.csv:2: hours: hours on the road are of the whole job, not of `Landing`"
    );
    let text = std::fs::read_to_string(&file).expect("the rows");
    let file = ledger.file("hours.csv", text.replace("Landing", ""));
    ledger.line(&format!("import hours {file}")).ok();
    assert!(ledger.line("export hours").ok().contains("Vale,2,,driving"));
    for (line, name) in [
        ("operation add driving --task trim --driver job", "driving"),
        ("operation add fetch --driver job --task Driving", "Driving"),
    ] {
        assert_eq!(
            ledger.line(line).refused(),
            format!("error: hours on the road are logged on `{name}`: give it another name")
        );
    }
}

/// Quoted 161.2 mi for 116.87. Driven: 100 mi at 0.725 are 72.50, 80 mi at 0.80 are 64.00; 180 mi × 0.725 = 130.50, so
/// 6.00 are the price's, 130.50 − 116.87 = 13.63 the distance's, wherever it was logged.
#[test]
fn what_was_driven_stands_beside_what_was_quoted() {
    let ledger = far_away();
    ledger.lines(DRAFT);
    ledger.lines(
        r#"
        quote send Q1
        quote accept Q1
        job start J1
        drive 100 --room Landing
        setting set mile-rate 0.80
        drive 80mi
        "#,
    );
    let budget = ledger.json("job show J1")["budget"].clone();
    let lines = budget.as_array().expect("lines");
    let driven = lines.iter().find(|line| line["item"] == "driving");
    let driven = driven.expect("a line for driving");
    assert_eq!(
        json!([
            driven["unit"],
            driven["quoted"],
            driven["used"],
            driven["left"]
        ]),
        json!(["mi", "161.2", "180", "-18.8"])
    );
    let variance = ledger.json("report variance J1");
    let lines = variance["lines"].as_array().expect("lines");
    let driven: Vec<&Value> = lines
        .iter()
        .filter(|line| line["item"] == "driving")
        .collect();
    assert_eq!(driven.len(), 1, "{driven:?}");
    for (key, value) in [
        ("room", Value::Null),
        ("quoted_quantity", json!("161.2")),
        ("quoted_cost", json!("116.87")),
        ("actual_quantity", json!("180")),
        ("actual_cost", json!("136.50")),
        ("price_variance", json!("6.00")),
        ("quantity_variance", json!("13.63")),
    ] {
        assert_eq!(driven[0][key], value, "{key} of {}", driven[0]);
    }
}

/// A planned house has a trip for each of its days with work, and one for each morning on which machines go out or back.
#[test]
fn a_planned_house_drives_on_its_own_days() {
    let ledger = far_away();
    ledger.lines(
        "setting set default-schedule oil-2-coat\nsetting set default-sequence rotary-36-50-80",
    );
    let plan = ledger.json(
        r#"plan house "4 Tannery Row" --start 2026-03-09 --phases "Landing; Back bedroom" --accept"#,
    );
    let phases = plan["phases"].as_array().expect("phases");
    let each = |key: &'static str| {
        phases
            .iter()
            .flat_map(move |phase| phase[key].as_array().cloned().unwrap_or_default())
    };
    let is_work = |day: &Value| {
        let words = day["work"].as_str().unwrap_or_default();
        ["sand", "coat", "trim"]
            .iter()
            .any(|word| words.contains(word))
    };
    let days: BTreeSet<String> = each("days")
        .filter(is_work)
        .map(|day| day["date"].to_string())
        .collect();
    let mornings: BTreeSet<String> = each("rental")
        .flat_map(|rental| [rental["out"].to_string(), rental["back"].to_string()])
        .collect();
    let quote = ledger.json("quote show Q1");
    let counted = trips(&quote);
    assert_eq!(counted[0]["trips"], json!(days.len()));
    assert_eq!(counted[1]["trips"], json!(mornings.len()));
    assert!(days.len() > 5, "{days:?}");
}

/// 6.11 of 10.61 h fall away: of 5 trips 5 × 4.50 / 10.61 = 2.1, so 3 whole ones stay, 3 × 24.8 × 0.725 = 53.94; the machines
/// come all the same.
#[test]
fn less_work_takes_fewer_trips_at_the_quotes_own_distance() {
    let ledger = far_away();
    ledger.lines(DRAFT);
    ledger.lines(
        r#"
        quote send Q1
        quote accept Q1
        site edit "4 Tannery Row" --distance 40
        "#,
    );
    ledger.lines(r#"quote vary J1 --without "Back bedroom""#);
    let change = ledger.json("quote show Q2");
    let [now] = trips(&change)[..] else {
        panic!("{change}");
    };
    assert_eq!(now["distance"]["quantity"], json!("24.8"));
    assert_eq!(now["trips"], json!(3));
    assert_eq!(now["cost"], json!("53.94"));
}

/// Hours on one's own floors cost nothing, fuel does: 89.90 and 26.97 as above.
#[test]
fn own_floors_cost_their_driving() {
    let ledger = far_away();
    ledger.lines(
        r#"
        setting set drive-speed 31
        job own "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
        "#,
    );
    assert_eq!(
        told(&ledger.json("quote show Q1")),
        json!([
            ["site", 5, "24.8", "4", "89.90"],
            ["rental-place", 2, "18.6", "1.2", "26.97"]
        ])
    );
}

/// What is added to a job is done on the days that it has; it drives again only where they don't suffice.
#[test]
fn a_little_more_work_takes_no_more_trips() {
    let ledger = far_away();
    ledger.lines(
        r#"
        quote draft "4 Tannery Row" --room Landing --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q1
        quote accept Q1
        room add "4 Tannery Row" Closet --shape "3 x 3" --condition bare --species red-oak
        quote draft "4 Tannery Row" --variation-of J1 --room Closet --sequence rotary-36-50-80 --schedule none
        quote draft "4 Tannery Row" --variation-of J1 --room "Back bedroom" --sequence rotary-36-50-80 --schedule oil-2-coat
        "#,
    );
    assert_eq!(told(&ledger.json("quote show Q2")), json!([]));
    assert_eq!(trips(&ledger.json("quote show Q3"))[0]["trips"], json!(1));
}

/// A day of the crew is 8 h. 168 sq ft at 33 an hour are 5.09 h, with 0.75 + 0.75 + 0.25 + 0.33 h of set-up 7.17 h, with a
/// coat of 0.44 h 7.61 h: one day, if they take what is expected. With four chances in five they take longer than a day. A
/// closet of 0.25 + 0.07 + 12 / 33 = 0.68 h just fits into the day, 7.17 + 0.68 = 7.85 h, if it takes what is expected.
#[test]
fn trips_follow_the_days_at_the_confidence_and_not_those_that_are_expected() {
    let ledger = far_away();
    ledger.lines(
        r#"
        room add "4 Tannery Row" Parlour --shape "12 x 14" --condition sound-film --species red-oak
        room add "4 Tannery Row" Closet --shape "4 x 3" --condition sound-film --species red-oak
        operation add r60 --task sand --driver area --grit 60 --family by-hand
        rate set r60 --kind hours --per 33 --fixed 0
        sequence add s60 r60
        schedule add nobody-walks oil-coat:12
        "#,
    );
    let told = |draft: &str| {
        let quote = ledger.json(draft);
        let lines = quote["lines"].as_array().expect("lines").iter();
        let hours = lines.filter_map(|line| line["hours"].as_str());
        let hours: Decimal = hours
            .map(|hours| hours.parse::<Decimal>().expect("hours"))
            .sum();
        let trips = trips(&quote)
            .first()
            .map_or(0, |trip| trip["trips"].as_u64().expect("trips"));
        (hours.to_string(), trips)
    };
    for (schedule, hours) in [("none", "7.17"), ("nobody-walks", "7.61")] {
        for (confidence, trips) in [("50%", 1), ("80%", 2)] {
            let draft = format!(
                "quote draft \"4 Tannery Row\" --room Parlour --sequence s60 --schedule {schedule} --confidence {confidence}"
            );
            assert_eq!(told(&draft), (hours.to_owned(), trips), "{draft}");
        }
    }
    ledger.lines("quote send Q1\nquote accept Q1");
    for (confidence, trips) in [("50%", 0), ("95%", 1)] {
        let draft = format!(
            "quote draft \"4 Tannery Row\" --variation-of J1 --room Closet --sequence s60 --schedule none --confidence {confidence}"
        );
        assert_eq!(told(&draft), ("0.68".to_owned(), trips), "{draft}");
    }
}

#[test]
fn without_a_distance_a_draft_says_what_to_type_and_counts_nothing() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(DRAFT);
    let run = ledger.line("quote show Q1");
    assert_eq!(
        run.stderr(),
        "hint: gritledger site edit \"4 Tannery Row\" --distance 12\n"
    );
    assert_eq!(told(&ledger.json("quote show Q1")), json!([]));
    let run = ledger.line("site edit \"4 Tannery Row\" --distance 12");
    assert_eq!(
        run.stderr(),
        "Changed site 4 Tannery Row.\nhint: gritledger setting set rental-distance 9\n"
    );
    ledger.lines("setting set rental-distance 9");
    let run = ledger.line("site edit \"4 Tannery Row\" --distance \"13 mi\"");
    assert_eq!(run.stderr(), "Changed site 4 Tannery Row.\n");
    let site = ledger.json("site show \"4 Tannery Row\"");
    assert_eq!(site["distance"], json!({ "quantity": "13", "unit": "mi" }));
    assert!(
        ledger
            .line("site show \"4 Tannery Row\"")
            .ok()
            .contains("built 1931, 13 mi away\n")
    );
    assert_eq!(ledger.line("quote show Q1").stderr(), "");
    for (distance, words) in [
        ("-1", "`-1` is not how far a site is away: from 0 to 5000"),
        (
            "5001",
            "`5001` is not how far a site is away: from 0 to 5000",
        ),
        ("12km", "`12km` is not a number of miles"),
    ] {
        let refused = ledger.line(&format!(
            "site edit \"4 Tannery Row\" --distance={distance}"
        ));
        assert_eq!(refused.refused(), format!("error: {words}"));
    }
    ledger.lines("setting set rental-distance none");
    for distance in ["0", "none"] {
        let run = ledger.line(&format!(
            "site edit \"4 Tannery Row\" --distance {distance}"
        ));
        assert_eq!(run.stderr(), "Changed site 4 Tannery Row.\n");
    }
    assert_eq!(
        ledger.json("site show \"4 Tannery Row\"")["distance"],
        Value::Null
    );
}

/// Nobody but the firm knows what a kilometre costs: a trip of 2 × 20 km at 0.36 is 14.40.
#[test]
fn a_metric_quote_drives_kilometres_once_they_have_a_rate() {
    let ledger = TestLedger::nowhere();
    ledger.lines(
        r#"
        init --business "Marsh End Floors" --units metric --currency EUR
        worker add "Ruben Vale" --wage 28.00
        client add "Ada Quill"
        site add "Ada Quill" "4 Tannery Row" --distance 20km
        room add "4 Tannery Row" "Landing" --shape "3 x 4" --condition worn-film --species red-oak --door outside:80cm
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
        "#,
    );
    let none_in_price = "warning: nobody has said what a kilometre costs: none is in the price\n\
                hint: gritledger setting set km-rate 0.50\n";
    assert_eq!(ledger.line("quote show Q1").stderr(), none_in_price);
    assert_eq!(trips(&ledger.json("quote show Q1")), [&Value::Null; 0]);
    let planned = ledger.line("plan house \"4 Tannery Row\" --start 2026-03-09 --sequence rotary-36-50-80 --schedule oil-2-coat --accept");
    assert!(planned.stderr().contains(none_in_price), "{planned}");
    let own = ledger.line(
        "job own \"4 Tannery Row\" --dry-run --sequence rotary-36-50-80 --schedule oil-2-coat",
    );
    let none_in_cost = "warning: nobody has said what a kilometre costs: none is in the cost\n";
    assert!(own.stderr().contains(none_in_cost), "{own}");
    // Hours on the road have their wage all the same: 40 km at 50 an hour are 0.8 h.
    ledger.lines("setting set drive-speed \"50 km/h\"");
    let drafted = ledger.line("quote draft \"4 Tannery Row\" --revises Q1");
    assert!(drafted.stderr().contains(none_in_price), "{drafted}");
    let quote = ledger.json("quote show Q1.2");
    let [site] = trips(&quote)[..] else {
        panic!("{quote}");
    };
    let visits = site["trips"].as_i64().expect("trips");
    let hours: f64 = site["hours"].as_str().expect("hours").parse().unwrap();
    assert!((hours - 0.8 * visits as f64).abs() < 0.001, "{site}");
    assert!(cents(&site["cost"]) > 0, "{site}");
    ledger.lines("setting set drive-speed none");
    ledger.lines("setting set km-rate 0.36\nquote draft \"4 Tannery Row\" --revises Q1.2");
    let quote = ledger.json("quote show Q1.3");
    let [site] = trips(&quote)[..] else {
        panic!("{quote}");
    };
    assert_eq!(site["distance"], json!({ "quantity": "40", "unit": "km" }));
    assert_eq!(site["unit_price"], json!("0.36"));
    assert_eq!(
        cents(&site["cost"]),
        site["trips"].as_i64().expect("trips") * 1_440
    );
}

#[test]
fn settings_of_the_road_may_have_their_unit() {
    let ledger = TestLedger::tannery_row();
    for (setting, typed, shown) in [
        ("rental-distance", "9 mi", "9 mi"),
        ("rental-distance", "9.5mi", "9.5mi"),
        ("drive-speed", "30 mph", "30 mph"),
        ("drive-speed", "30 mi/h", "30 mi/h"),
    ] {
        ledger
            .line(&format!("setting set {setting} \"{typed}\""))
            .ok();
        assert_eq!(
            ledger.json(&format!("setting show {setting}"))["value"],
            json!(shown)
        );
    }
    for (line, words) in [
        (
            "setting set rental-distance \"9 km\"",
            "`9 km` is not a distance one way, from 0 to 5000",
        ),
        (
            "setting set drive-speed \"50 km/h\"",
            "`50 km/h` is not a speed on the road, from 1 to 200",
        ),
    ] {
        assert_eq!(ledger.line(line).refused(), format!("error: {words}"));
    }
}

/// A mile is 1.609344 km (NIST Handbook 44, appendix C): 20 km are 12.427423845 mi.
#[test]
fn distances_go_between_ledgers_of_other_units() {
    let metric = TestLedger::nowhere();
    metric.lines(
        r#"
        init --business "Marsh End Floors" --units metric
        client add "Ada Quill"
        site add "Ada Quill" "4 Tannery Row" --distance 20
        "#,
    );
    let sites = metric.line("export sites").ok();
    assert!(sites.contains(",20,km,"), "{sites}");
    let us = TestLedger::nowhere();
    us.lines("init --business \"Weir Floors\"\nclient add \"Ada Quill\"");
    let file = us.file("sites.csv", &sites);
    us.line(&format!("import sites {file}")).ok();
    assert_eq!(
        us.json("site show \"4 Tannery Row\"")["distance"],
        json!({ "quantity": "12.4274", "unit": "mi" })
    );
    let back = TestLedger::nowhere();
    back.lines("init --business \"Marsh End Floors\" --units metric\nclient add \"Ada Quill\"");
    let file = back.file("sites.csv", &sites);
    back.line(&format!("import sites {file}")).ok();
    assert_eq!(
        back.json("site show \"4 Tannery Row\"")["distance"],
        json!({ "quantity": "20", "unit": "km" })
    );
    let file = back.file(
        "metric.csv",
        "client;site;distance\nAda Quill;7 Weir Road;20,5\n",
    );
    back.line(&format!("import sites {file}")).ok();
    assert_eq!(
        back.json("site show \"7 Weir Road\"")["distance"],
        json!({ "quantity": "20.5", "unit": "km" })
    );
}

/// 20 km at 0.36 are 12.427423845 mi at 0.36 × 1.609344 = 0.57936384, and 7.20 either way.
#[test]
fn drives_go_between_ledgers_of_other_units() {
    let metric = TestLedger::nowhere();
    let us = TestLedger::nowhere();
    let back = TestLedger::nowhere();
    metric.lines("init --business \"Marsh End Floors\" --units metric\nsetting set km-rate 0.36\ndrive 20 --no-job");
    us.lines("init --business \"Weir Floors\"");
    back.lines("init --business \"Marsh End Floors\" --units metric");
    let drives = metric.line("export drives").ok();
    assert_eq!(
        drives.lines().collect::<Vec<_>>(),
        [
            "date,job,site,distance,distance_unit,room,rate,note,no_job",
            "2026-03-02,,,20,km,,0.36,,yes"
        ]
    );
    for ledger in [&us, &back] {
        let file = ledger.file("drives.csv", &drives);
        ledger.line(&format!("import drives {file}")).ok();
        let costs = ledger.json("report overheads");
        assert!(costs.to_string().contains("\"7.20\""), "{costs}");
        ledger.line("check").ok();
    }
    assert_eq!(back.line("export drives").ok(), drives);
    let file = back.file(
        "bare.csv",
        "date,job,site,distance,no_job\n2026-03-02,,,5,yes\n",
    );
    assert_eq!(
        back.line(&format!("import drives {file}")).refused(),
        "error: bare.csv:2: distance: nobody has said what a kilometre costs\nhint: gritledger setting set km-rate 0.50"
    );
}

#[test]
fn a_walk_asks_the_distance_until_somebody_says_it() {
    let ledger = TestLedger::tannery_row();
    let distance = || ledger.json("site show \"4 Tannery Row\"")["distance"]["quantity"].clone();
    ledger
        .answered("walk \"4 Tannery Row\"", &["done", ""])
        .ok();
    assert_eq!(distance(), Value::Null);
    ledger
        .answered("walk \"4 Tannery Row\"", &["done", "12.4"])
        .ok();
    assert_eq!(distance(), json!("12.4"));
    ledger
        .answered("walk \"4 Tannery Row\"", &["done", "99"])
        .ok();
    assert_eq!(distance(), json!("12.4"));
}
