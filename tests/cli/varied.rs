//! Agreed work that is changed: rooms and operations taken away, rooms measured again.

use proptest::prelude::*;
use serde_json::{Value, json};

use crate::harness::TestLedger;

/// Two rooms, agreed with overhead and a price step: 3240.00 for an expected cost of 1818.05.
fn two_rooms() -> TestLedger {
    two_rooms_after("")
}

/// The same, with something typed first.
fn two_rooms_after(first: &str) -> TestLedger {
    let ledger = TestLedger::new();
    ledger.lines(first);
    ledger.lines(
        r#"
        worker add "Ruben Vale" --wage 30
        setting set overhead 10%
        setting set price-step 5
        client add "Ada Quill"
        site add "Ada Quill" "4 Tannery Row" --year-built 1931
        room add "4 Tannery Row" "Parlour" --shape "20 x 20" --condition worn-film --species red-oak
        room add "4 Tannery Row" "Den" --shape "20 x 18" --condition worn-film --species red-oak
        finding add "Den" proud-nails 12
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat --other "disposal=45"
        quote send Q1
        quote accept Q1
        job start J1
        "#,
    );
    ledger
}

fn agree(ledger: &TestLedger, quote: &str) {
    ledger.lines(&format!("quote send {quote}\nquote accept {quote}"));
}

fn margin_of(ledger: &TestLedger, job: &str) -> [Value; 4] {
    let margins = ledger.json("report margin --by job");
    let rows = margins["jobs"].as_array().expect("jobs").clone();
    let row = rows.into_iter().find(|row| row["job"] == job);
    let row = row.expect("a row");
    ["price", "variations", "estimated_cost", "actual_cost"].map(|key| row[key].clone())
}

/// On paper, from the lines of Q1 as they are printed.
///
/// The Den's own work: 13.40 + 34.22 + 16.16 + 167.15 + 76.01 + 63.01 + 88.56 + 16.25 + 169.88 + 38.42 = 683.06, of it
/// 10.19 h of labour at 30.00 × 1.4236 (each line rounded): 435.16. Overhead falls from 95.58 to 10 % of 955.75 − 435.16,
/// 52.06: by 43.52. The rotary ran 9.13 h, which is a day and a half (80 + 62, waiver 10 %, cleaning 25: 181.20), and runs
/// 4.79 h, which is a day (113.00): 158.33 were quoted, and less than a day's 113.00 it can't be, so 45.33 fall away. The
/// buffer takes its half day all the same; load-in, clean-up and disposal stay.
///
/// 683.06 + 45.33 + 43.52 = 771.91. Q1 charges 3240.00 for 1818.05: the 1046.14 that stand are worth
/// 3240.00 × 1046.14 ÷ 1818.05 = 1864.36, so 1375.64 are taken off.
#[test]
fn a_room_that_is_taken_away_takes_its_work_along_and_what_is_shared_stays() {
    let ledger = two_rooms();
    ledger.line("quote vary J1 --without Den").ok();
    for (name, arguments) in [
        ("away", vec!["quote", "show", "Q2"]),
        ("away_client", vec!["quote", "show", "Q2", "--for-client"]),
    ] {
        for columns in ["45", "80"] {
            let shown = ledger.run_with(&arguments, &[("COLUMNS", columns)]);
            insta::assert_snapshot!(format!("{name}_{columns}"), shown.ok());
        }
    }
    let drafted = ledger.json("quote show Q2");
    assert_eq!(
        (&drafted["price"], &drafted["varies"], &drafted["variation"]),
        (&json!("-1375.64"), &json!("Q1"), &json!(true))
    );
    // A draft changes nothing yet.
    assert_eq!(
        margin_of(&ledger, "J1"),
        ["3240.00", "0.00", "1818.05", "0.00"].map(|figure| json!(figure))
    );
    agree(&ledger, "Q2");
    assert_eq!(
        margin_of(&ledger, "J1"),
        ["3240.00", "-1375.64", "1046.14", "0.00"].map(|figure| json!(figure))
    );
    let shown = ledger.line("job show J1").ok();
    assert!(
        shown.contains("Agreed for 1864.36 USD (Q1, Q2)") && !shown.contains("set-nails"),
        "{shown}"
    );
    // The hours of the Parlour's three cuts: 1.9 + 1.56 + 1.33.
    let sand = shown.lines().find(|line| line.starts_with("sand (h)"));
    let sand: Vec<&str> = sand.expect("sand").split_whitespace().collect();
    assert_eq!(sand.join(" "), "sand (h) 4.79 4.79");
    let list = ledger.line("job buy J1").ok();
    assert!(!list.contains("wood-filler"), "{list}");
    let variance = ledger.line("report variance J1 --all").ok();
    assert!(!variance.contains("Den"), "{variance}");
    let bill = ledger.line("invoice final J1").ok();
    assert!(
        bill.contains("Den: as changed in Q2, a variation") && bill.contains("1864.36"),
        "{bill}"
    );
    // What isn't quoted isn't missed, and teaches nothing.
    ledger.line("use disc-7in-36 50 --room Parlour").ok();
    let closed = ledger.line("job close J1");
    assert!(!closed.to_string().contains("Den"), "{closed}");
}

/// On paper: 60 sq ft less are 5.29 + 27.24 + 11.73 + 9.73 + 6.80 + 25.85 + 5.37 = 92.01 less, of it 54.64 of labour, and so
/// 5.47 of overhead; the rotary runs 8.44 h in place of 9.13, which are a day and a half all the same. 97.48 of cost are
/// 173.72 of price: 3240.00 − 3240.00 × 1720.57 ÷ 1818.05.
#[test]
fn a_room_that_is_measured_again_is_priced_by_the_difference() {
    let ledger = two_rooms();
    assert_eq!(
        ledger.line("quote vary J1 --room Den").refused(),
        "error: `Den` measures what was agreed: nothing changes"
    );
    let edited = ledger.line("room edit Den --shape \"20 x 15\"");
    assert_eq!(
        edited.stderr(),
        "warning: J1 has agreed to do it as it was\nhint: gritledger quote vary J1 --room Den\n"
    );
    insta::assert_snapshot!("again", ledger.line("quote vary J1 --room Den").ok());
    agree(&ledger, "Q2");
    assert_eq!(
        margin_of(&ledger, "J1"),
        ["3240.00", "-173.72", "1720.57", "0.00"].map(|figure| json!(figure))
    );
    // Later prices and wages don't reach back: as it was, it costs what it did.
    ledger.lines(
        r#"
        worker edit "Ruben Vale" --wage 60
        rate set rotary-36 --kind hours --per "50 sqft"
        room edit Den --shape "20 x 18"
        quote vary J1 --room Den
        "#,
    );
    agree(&ledger, "Q3");
    assert_eq!(
        margin_of(&ledger, "J1"),
        ["3240.00", "0.00", "1818.05", "0.00"].map(|figure| json!(figure))
    );
    assert_eq!(
        ledger.line("quote vary J1 --room Den").refused(),
        "error: `Den` measures what was agreed: nothing changes"
    );
}

#[test]
fn an_operation_is_taken_away_and_what_was_logged_on_it_stays_as_cost() {
    let ledger = two_rooms();
    ledger.lines("hours 1 --on set-nails --room Den\nhours 2 --on sand --room Parlour");
    assert_eq!(
        ledger
            .line("quote vary J1 --without \"Den: set-nails\"")
            .refused(),
        "error: work in `Den` is logged already (E1): it stays as cost, and its price falls away\n\
         hint: the same command with --confirm says that it is meant"
    );
    ledger
        .line("quote vary J1 --without \"Den: set-nails\" --confirm")
        .ok();
    agree(&ledger, "Q2");
    let variance = ledger.line("report variance J1 --all").ok();
    let repair = variance.lines().find(|line| line.contains("set-nails"));
    let repair: Vec<&str> = repair.expect("the hour").split_whitespace().collect();
    assert_eq!(
        repair.join(" "),
        "set-nails, labour 0 h 1 h at 42.71 0.00 42.71 42.71 unfavourable"
    );
    // What is left of the room can go too, and then it isn't in the job.
    assert_eq!(
        ledger
            .line("quote vary J1 --without \"Den: set-nails\"")
            .code(),
        1
    );
    ledger.line("quote vary J1 --without Den --confirm").ok();
    agree(&ledger, "Q3");
    assert_eq!(
        ledger.line("quote vary J1 --room Den").refused(),
        "error: nothing is agreed in `Den` by J1, so nothing of it is changed\n\
         hint: gritledger quote draft \"4 Tannery Row\" --variation-of J1 --room Den"
    );
    ledger
        .line("quote draft \"4 Tannery Row\" --variation-of J1 --room Den --sequence rotary-36-50-80 --schedule oil-2-coat")
        .ok();
    ledger.line("quote withdraw Q4").ok();
    ledger.line("room void Den").ok();
}

#[test]
fn work_that_two_variations_price_is_asked_about_when_the_second_is_accepted() {
    let ledger = two_rooms();
    let closet = "quote draft \"4 Tannery Row\" --variation-of J1 --room Closet --sequence rotary-36-50-80 --schedule none";
    ledger.lines(&format!(
        r#"
        room add "4 Tannery Row" Closet --shape "5 x 4" --condition bare --species red-oak
        finding add Parlour squeaks 4
        {closet}
        {closet}
        quote draft "4 Tannery Row" --variation-of J1 --room Parlour --sequence none --schedule none
        quote draft "4 Tannery Row" --variation-of J1 --room Parlour --sequence none --schedule none
        quote send Q2
        quote send Q3
        quote send Q4
        quote send Q5
        "#
    ));
    for (first, second, room) in [("Q2", "Q3", "Closet"), ("Q4", "Q5", "Parlour")] {
        assert_eq!(ledger.line(&format!("quote accept {first}")).code(), 0);
        let accept = format!("quote accept {second}");
        let asked = ledger.line(&accept);
        assert_eq!(asked.code(), 1, "{asked}");
        assert!(
            asked.stderr().contains(&format!(
                "`{room}` is in J1 already, and {second} prices some of its work again"
            )),
            "{asked}"
        );
        assert_eq!(
            ledger.json(&format!("quote show {second}"))["status"],
            json!("sent")
        );
        ledger.line(&format!("{accept} --confirm")).ok();
    }
}

#[test]
fn what_cannot_be_accepted_any_more_is_no_quote_without_an_answer() {
    let ledger = two_rooms();
    ledger.lines(
        r#"
        quote vary J1 --without Den
        quote vary J1 --without "Den: set-nails"
        quote send Q2
        quote send Q3
        "#,
    );
    let waiting = || {
        let quotes = ledger.json("today")["quotes"].clone();
        let quotes = quotes.as_array().expect("quotes").clone();
        let numbers = quotes.into_iter().map(|quote| quote["number"].clone());
        numbers.collect::<Vec<Value>>()
    };
    assert_eq!(waiting(), [json!("Q2"), json!("Q3")]);
    ledger.line("quote accept Q3").ok();
    assert_eq!(waiting(), Vec::<Value>::new(), "Q2 was overtaken by Q3");
    ledger.lines("quote vary J1 --without Parlour\nquote send Q4");
    assert_eq!(waiting(), [json!("Q4")]);
    ledger.line("job close J1").ok();
    assert_eq!(waiting(), Vec::<Value>::new(), "J1 is closed");
    ledger.lines("job reopen J1");
    assert_eq!(waiting(), [json!("Q4")]);
}

#[test]
fn what_cannot_be_changed_is_refused_with_the_way_on() {
    let ledger = two_rooms();
    for (line, refused) in [
        (
            "quote vary J1",
            "error: say what of J1 changes\nhint: gritledger quote vary J1 --without Parlour",
        ),
        (
            "quote vary J1 --without Den --without Parlour",
            "error: that is all that J1 does\nhint: gritledger job cancel J1 --reason \"the client withdrew\"",
        ),
        (
            "quote vary J1 --room Den --without Den",
            "error: `Den` can't be measured again and taken away",
        ),
        (
            "quote vary J1 --without \"Den: waltz\"",
            "error: no operation `waltz`",
        ),
    ] {
        let said = ledger.line(line).refused();
        assert!(said.starts_with(refused), "{line}\n{said}");
    }
    // Two drafts of the same: the second was worked out from what isn't so any more.
    ledger.line("quote vary J1 --without Den").ok();
    ledger
        .line("quote vary J1 --without \"Den: set-nails, palm-80\"")
        .ok();
    ledger.line("quote send Q3").ok();
    assert_eq!(
        ledger.line("quote buy Q2").refused(),
        "error: Q2 changes J1: what is to be bought is the job's\nhint: gritledger job buy J1"
    );
    assert_eq!(
        ledger
            .line("quote draft \"4 Tannery Row\" --revises Q2")
            .refused(),
        "error: Q2 changes a job: it is drafted anew, by another number\nhint: gritledger quote vary J1 --without Den"
    );
    agree(&ledger, "Q2");
    let said = ledger.line("quote accept Q3").refused();
    assert_eq!(
        said,
        "error: J1 was changed by Q2 since Q3 was drafted\nhint: gritledger job show J1"
    );
    ledger.line("quote withdraw Q3").ok();
    ledger.line("job close J1").ok();
    assert_eq!(
        ledger.line("quote vary J1 --room Parlour").refused(),
        "error: J1 is closed: it is done\nhint: gritledger job reopen J1"
    );
}

/// The least that the firm comes for is 2000.00: from 3240.00, no more than 1240.00 is taken off.
#[test]
fn no_more_is_taken_off_than_down_to_the_minimum_charge() {
    let ledger = two_rooms_after("setting set minimum-charge 2000");
    let said = ledger.line("quote vary J1 --without Den").ok();
    assert!(
        said.starts_with("Variation Q2 takes 1240.00 off J1: ")
            && said.contains("The minimum charge of 2000.00 keeps more from being taken off."),
        "{said}"
    );
    agree(&ledger, "Q2");
}

/// Half of 3240.00 was invoiced, 1620.00; the parlour alone is worth 1864.36: 244.36 are left.
///
/// Without its coats, its screening and the second cut, 187.11 + 42.15 + 83.98 = 313.24 of its work fall away, 17.55 of
/// overhead on 175.52 of labour, the buffer's 34.11, since nothing else runs it, and the rotary runs 3.23 h in place of
/// 4.79: half a day (93.20) in place of a day (113.00). 1046.14 − 384.70 = 661.44 are worth 3240.00 × 661.44 ÷ 1818.05 =
/// 1178.77, and 1620.00 − 1178.77 = 441.23.
#[test]
fn what_was_invoiced_beyond_the_price_is_said_to_be_owed_back() {
    let ledger = two_rooms();
    ledger.lines(
        r#"
        invoice deposit J1 --amount 1620
        invoice issue J1
        payment add I1 1620
        quote vary J1 --without Den
        "#,
    );
    agree(&ledger, "Q2");
    let bill = ledger.json("invoice final J1");
    assert_eq!(bill["net"], json!("244.36"));
    ledger
        .line("quote vary J1 --without \"Parlour: oil-coat, screen-between, rotary-50\"")
        .ok();
    agree(&ledger, "Q3");
    let said = ledger.line("invoice final J1").refused();
    assert_eq!(
        said,
        "error: J1 was invoiced 441.23 beyond its price, tax included: that is owed back to Ada Quill\n\
         hint: gritledger invoice credit I1 --amount 441.23 --reason WHY"
    );
}

/// The Den is done by Q1; the nails that turned up in it are Q2's, at a margin of its own. Without it, each takes off what it
/// charges: Q1 1375.64, and Q2 all of its own.
#[test]
fn work_that_was_agreed_twice_is_changed_by_two_variations() {
    let ledger = two_rooms();
    ledger.lines(
        r#"
        finding add "Den" proud-nails 30
        quote draft "4 Tannery Row" --variation-of J1 --room Den --sequence none --schedule none --margin 20%
        "#,
    );
    agree(&ledger, "Q2");
    assert_ne!(margin_of(&ledger, "J1")[1], json!("0.00"));
    let said = ledger.line("quote vary J1 --without Den");
    assert!(
        said.stderr().contains("gritledger quote send Q3")
            && said.stderr().contains("gritledger quote send Q4"),
        "{said}"
    );
    agree(&ledger, "Q3");
    agree(&ledger, "Q4");
    assert_eq!(
        margin_of(&ledger, "J1"),
        ["3240.00", "-1375.64", "1046.14", "0.00"].map(|figure| json!(figure))
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(6))]

    /// However a job is changed, it is worth its share of the quote: every sum holds (each ledger is checked at its end),
    /// and what is measured as it was costs what it did.
    #[test]
    fn changed_at_random_and_back_a_job_costs_what_it_did(
        steps in prop::collection::vec((0..2_usize, 4..40_u32), 1..6),
    ) {
        let ledger = two_rooms();
        let mut quote = 1;
        let mut vary = |room: &str, shape: String| {
            ledger.line(&format!("room edit {room} --shape \"{shape}\"")).ok();
            if ledger.line(&format!("quote vary J1 --room {room}")).code() == 0 {
                quote += 1;
                agree(&ledger, &format!("Q{quote}"));
            }
        };
        for (room, feet) in &steps {
            vary(["Parlour", "Den"][*room], format!("20 x {feet}"));
        }
        let [price, variations, ..] = margin_of(&ledger, "J1");
        let bill = ledger.json("invoice final J1");
        let of = |figure: &Value| figure.as_str().expect("text").parse::<rust_decimal::Decimal>().expect("a figure");
        prop_assert_eq!(of(&bill["net"]), of(&price) + of(&variations));
        vary("Parlour", "20 x 20".to_owned());
        vary("Den", "20 x 18".to_owned());
        prop_assert_eq!(
            margin_of(&ledger, "J1"),
            ["3240.00", "0.00", "1818.05", "0.00"].map(|figure| json!(figure))
        );
    }
}

#[test]
fn a_room_in_another_condition_than_agreed_is_priced_by_the_difference() {
    let ledger = two_rooms();
    let told =
        "warning: J1 has agreed to do it as it was\nhint: gritledger quote vary J1 --room Den\n";
    // Under the film there is paint: it is seen on a walk.
    let walked = ledger.answered(
        "walk \"4 Tannery Row\"",
        &["Den", "", "", "paint", "", "", "", "", "leave"],
    );
    assert!(walked.stderr().contains(told), "{walked}");
    ledger.line("quote vary J1 --room Den").ok();
    let varied = ledger.json("quote show Q2");
    let operations = |lines: &Value| -> Vec<Value> {
        let lines = lines.as_array().expect("lines").iter();
        lines.map(|line| line["operation"].clone()).collect()
    };
    // Cuts meet another floor; coats meet bare wood as before.
    let cuts = operations(&varied["lines"]);
    assert!(
        cuts.contains(&json!("rotary-36")) && !cuts.contains(&json!("oil-coat")),
        "{cuts:?}"
    );
    agree(&ledger, "Q2");
    let more = margin_of(&ledger, "J1")[1].clone();
    assert!(
        more.as_str()
            .is_some_and(|more| !more.starts_with('-') && more != "0.00"),
        "{more}"
    );
    // Agreed as it is now, it is spoken of no more, and another change is.
    assert_eq!(ledger.line("room edit Den --note painted").stderr(), "");
    assert_eq!(
        ledger.line("quote vary J1 --room Den").refused(),
        "error: `Den` measures what was agreed: nothing changes"
    );
    assert_eq!(
        ledger.line("room edit Den --condition worn-film").stderr(),
        told
    );
}

#[test]
fn rooms_are_named_in_a_list() {
    let ledger = two_rooms();
    for how in ["--without", "--room"] {
        let list = ledger.line(&format!("quote vary J1 {how} \"Den, Parlour\" --dry-run"));
        let each = ledger.line(&format!("quote vary J1 {how} Den {how} Parlour --dry-run"));
        assert_eq!(list.stderr(), each.stderr());
        assert_eq!(list.stdout(), each.stdout());
    }
    assert_eq!(
        ledger
            .line("quote vary J1 --without \"Den,, Parlour\"")
            .refused(),
        "error: `Den,, Parlour` names no room, or one too few"
    );
}
