//! The working day: few words in, and what follows from them.

use serde_json::{Value, json};

use crate::harness::TestLedger;

/// Two open jobs: at 4 Tannery Row with a landing and a back bedroom, and at 7 Mill Lane with a hall.
fn two_jobs() -> TestLedger {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        client add "Bo Marsh"
        site add "Bo Marsh" "7 Mill Lane" --year-built 1990
        room add "7 Mill Lane" "Hall" --shape "12ft x 5ft" --condition bare --species white-oak
        room add "7 Mill Lane" "Landing" --shape "8ft x 5ft" --condition bare --species white-oak --not-refinished
        quote draft "7 Mill Lane" --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q2
        quote accept Q2
        job start J2
        "#,
    );
    ledger
}

fn entries(ledger: &TestLedger, job: &str) -> Vec<Value> {
    let shown = ledger.json(&format!("job show {job}"));
    shown["entries"].as_array().expect("a day book").clone()
}

#[test]
fn the_room_says_the_job_and_who_works_alone_is_not_named() {
    let ledger = two_jobs();
    let said = ledger.line("hours 1:30 --room Hall --on sand").ok();
    assert_eq!(
        said,
        "E1: Ruben Vale worked 1.5 h on J2, Hall, sand, 59.79.\nsand: 1.5 of 0.85 h quoted\n"
    );
    // Both sites have a landing; only one job does it.
    let said = ledger.line("use disc-7in-36 6 --room landing").ok();
    assert!(
        said.starts_with("E2: used 6 discs of disc-7in-36 on J1, Landing"),
        "{said}"
    );
    let said = ledger
        .line("use disc-7in-36 3 --room \"Landing, Back bedroom\"")
        .ok();
    assert!(said.contains("on J1, Landing, Back bedroom"), "{said}");
    assert_eq!(
        ledger.line("spent 5 --for tape").refused(),
        "error: several jobs are open\nhint: say which: J1 (4 Tannery Row), J2 (7 Mill Lane)"
    );
    ledger.line("worker add \"Una Reed\" --wage 31").ok();
    assert_eq!(
        ledger.line("hours 2 --room Hall --on sand").refused(),
        "error: several people work here\nhint: say who: \"Ruben Vale\", \"Una Reed\""
    );
    ledger.line("hours una 2 --room Hall --on sand").ok();
    let said = ledger.line("hours una 0:30 edge --room Hall").ok();
    assert!(
        said.starts_with("E5: Una Reed worked 0.5 h on J2, Hall, edge"),
        "{said}"
    );
    assert_eq!(
        ledger
            .line("hours una 2 sand --on sand --room Hall")
            .refused(),
        "error: the task is said twice, once with --on"
    );
    assert_eq!(
        ledger.line("hours 2 dusting --room Hall").refused(),
        "error: several people work here\nhint: say who: \"Ruben Vale\", \"Una Reed\""
    );
}

#[test]
fn an_item_is_known_by_a_part_of_its_name_on_its_job() {
    let ledger = TestLedger::job_open();
    let used = |line: &str| ledger.line(line).ok();
    assert!(used("use 36 6 --room Landing").starts_with("E1: used 6 discs of disc-7in-36"));
    assert!(used("use oil-f 1qt --room Landing").starts_with("E2: used 0.25 gal of oil-finish"));
    assert!(used("use OIL-FINISH 1/2gal").starts_with("E3: used 0.5 gal of oil-finish"));
    let refused = ledger.line("use disc 6").refused();
    assert!(
        refused.starts_with("error: `disc` fits several items of J1\nhint: say which: "),
        "{refused}"
    );
    assert_eq!(
        ledger.line("use 36 1qt").refused(),
        "error: `1qt` is no quantity of what is counted in `disc`"
    );
    assert_eq!(
        ledger.line("use 36 1,234").refused(),
        "error: `1,234` could be 1234 or 1.2340"
    );
    assert_eq!(
        ledger.line("use 36 six").refused(),
        "error: `six` is not a quantity"
    );
}

#[test]
fn now_is_now_and_days_are_said_as_people_say_them() {
    let ledger = TestLedger::job_open().on("2026-03-04 08:15");
    assert_eq!(
        ledger.line("rental out rotary").ok(),
        "E1: rotary out at 2026-03-04 08:15 for J1.\n"
    );
    let run = ledger.line("use 36 6 --room Landing --date tue");
    let said = format!("{}{}", run.stdout(), run.stderr());
    assert!(said.contains("tue is Tue 2026-03-03.\n"), "{said}");
    let ledger = ledger.on("2026-03-05 07:45");
    let back = ledger.json("rental back rotary");
    assert_eq!(back["days"].as_array().map(Vec::len), Some(1));
    assert_eq!(entries(&ledger, "J1")[0]["date"], json!("2026-03-03"));
    assert_eq!(
        ledger.line("use 36 6 --date someday").refused(),
        "error: `someday` is not a date\nhint: dates are written 2026-03-02, today, yesterday, 3 days ago or mon"
    );
}

#[test]
fn amounts_are_typed_as_they_are_written() {
    let ledger = TestLedger::job_open();
    for (amount, kept) in [
        ("$5", "5.00"),
        ("1,234.50", "1234.50"),
        ("USD 7.25", "7.25"),
        ("5 $", "5.00"),
    ] {
        let spent = ledger.json(&format!("spent \"{amount}\" --for disposal --confirm"));
        assert_eq!(spent["amount"], json!(kept), "{amount}");
    }
    for (amount, refused) in [
        ("1,234", "error: `1,234` could be 1234 or 1.2340"),
        ("€5", "error: `€5` is not an amount"),
        ("12,5", "error: `12,5` is not an amount"),
    ] {
        let told = ledger
            .line(&format!("spent \"{amount}\" --for disposal"))
            .refused();
        assert!(told.starts_with(refused), "{told}");
    }
}

/// What was used before its receipt is told with the first such line of a day; the lists always have all of it.
#[test]
fn receipts_awaited_are_told_once_a_day() {
    let ledger = TestLedger::job_open();
    let used = |ledger: &TestLedger, line: &str| {
        let run = ledger.line(line);
        assert_eq!(run.code(), 0, "{run}");
        run.stderr()
    };
    let first = "warning: 6 discs of it not in stock: taken at book price until the receipt comes\n\
                 hint: gritledger buy disc-7in-36 QTY --cost TOTAL\n";
    assert_eq!(used(&ledger, "use 36 6 --room Landing"), first);
    assert_eq!(used(&ledger, "use 50 2 --room Landing"), "");
    assert_eq!(used(&ledger, "use 36 5 --room \"Back bedroom\""), "");
    let awaited = |ledger: &TestLedger| {
        let count = |line: &str, key: &str| ledger.json(line)[key].as_array().map(Vec::len);
        [
            count("today", "awaiting_receipt"),
            count("stock list", "awaiting_receipt"),
        ]
    };
    assert_eq!(awaited(&ledger), [Some(3), Some(3)]);
    let ledger = ledger.on("2026-03-03");
    assert_eq!(
        used(&ledger, "use disc-7in-80 3 --room Landing"),
        "warning: 3 discs of it not in stock: taken at book price until the receipt comes\n\
         hint: gritledger buy disc-7in-80 QTY --cost TOTAL\n"
    );
    assert_eq!(
        used(&ledger, "use disc-7in-80 2 --room \"Back bedroom\""),
        ""
    );
    assert_eq!(awaited(&ledger), [Some(5), Some(5)]);
    // What a receipt settles isn't awaited any more.
    ledger.line("buy disc-7in-36 30 --cost 96").ok();
    assert_eq!(awaited(&ledger), [Some(3), Some(3)]);
}

/// A receipt of 412.60 for a list of 376.50: each item bears its part, and the parts are the receipt to the cent.
#[test]
fn a_shopping_list_is_bought_in_one_line() {
    let ledger = TestLedger::job_open();
    let list = ledger.json("job buy J1");
    assert_eq!(list["total"], json!("376.50"));
    assert_eq!(
        ledger.line("buy --list J1 --cost 1129.51").refused(),
        "error: 1129.51 for J1 is far from the list price, 376.50\nhint: the same command with --confirm says that it is meant"
    );
    assert_eq!(
        ledger.line("buy --list J1 --cost 125.49").refused(),
        "error: 125.49 for J1 is far from the list price, 376.50\nhint: the same command with --confirm says that it is meant"
    );
    for cost in ["1129.50", "125.50", "1129.51 --confirm", "125.49 --confirm"] {
        ledger
            .line(&format!("buy --list J1 --cost {cost} --dry-run"))
            .ok();
    }
    let tried = ledger.json("buy --list J1 --cost 412.60 --note \"receipt 7\" --dry-run");
    let bought = ledger.json("buy --list J1 --cost 412.60 --note \"receipt 7\"");
    assert_eq!(tried, bought);
    assert_eq!(
        (&bought["list"], &bought["paid"]),
        (&json!("J1"), &json!("412.60"))
    );
    let lines = bought["lines"].as_array().unwrap();
    assert_eq!(lines.len(), list["buy"].as_array().unwrap().len());
    let cents = |amount: &Value| -> i64 {
        let text = amount.as_str().unwrap().replace('.', "");
        text.parse().unwrap()
    };
    let paid: i64 = lines.iter().map(|line| cents(&line["amount"])).sum();
    assert_eq!(paid, 41260);
    for (line, item) in lines.iter().zip(list["buy"].as_array().unwrap()) {
        // 412.60 / 376.50 of the list price, to the cent; what rounding leaves over is with the dearest.
        let part = cents(&item["total"]) * 41260;
        let off = cents(&line["amount"]) * 37650 - part;
        assert!(off.abs() <= 6 * 37650, "{line} {item}");
    }
    // It is on the shelf, so nothing is left to buy.
    assert_eq!(
        ledger.line("buy --list J1 --cost 412.60").refused(),
        "error: there is nothing to buy for J1\nhint: gritledger job buy J1"
    );
    ledger.line("job buy J1").ok();
    for (line, said) in [
        (
            "buy disc-7in-36 30 --list J1 --cost 5",
            "cannot be used with",
        ),
        ("buy disc-7in-36 --cost 5", "<QUANTITY>"),
        ("buy --cost 5", "<ITEM>"),
    ] {
        let run = ledger.line(line);
        assert_eq!(run.code(), 2, "{run}");
        assert!(run.stderr().contains(said), "{run}");
    }
}

#[test]
fn the_list_of_a_quote_is_bought_too_and_in_notes() {
    let ledger = TestLedger::tannery_row();
    ledger
        .line("quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule none")
        .ok();
    let notes = ledger.file("notes.txt", "on yesterday\nbuy --list q1 --cost 200\n");
    let said = ledger.line(&format!("daybook {notes}")).ok();
    let lines: Vec<&str> = said.lines().collect();
    assert_eq!(lines[0], "Wrote 1 line:");
    assert!(
        lines[1].starts_with("Bought ") && lines[1].ends_with(" items for Q1, 200.00 in all:"),
        "{said}"
    );
    assert!(lines[2].starts_with("E1: bought "), "{said}");
    assert_eq!(
        ledger.line("buy --list Q1 --cost 200").refused(),
        "error: there is nothing to buy for Q1\nhint: gritledger quote buy Q1"
    );
    assert_eq!(
        ledger.line("buy --list J9 --cost 200").refused(),
        "error: no job J9\nhint: gritledger job list"
    );
}

#[test]
fn a_firm_that_writes_commas_types_commas() {
    let ledger = TestLedger::nowhere();
    ledger.lines(
        r#"
        init --business "Marsh End Floors" --units metric --currency EUR --decimal-mark comma
        worker add "Ruben Vale" --wage "28,50"
        client add "Ada Quill"
        site add "Ada Quill" "4 Tannery Row"
        room add "4 Tannery Row" "Landing" --shape "3,5 x 4,25" --door "outside:0,85" --condition worn-film --species red-oak
        finding add Landing missing-quarter-round "6,5 m"
        setting set margin 32,5%
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat --margin 30,5%
        quote send Q1
        quote accept Q1
        job start J1 --date 2.3.2026
        hours "1,5" --room Landing --on sand
        spent "1.234,50 €" --for disposal
        "#,
    );
    let room = ledger.json("room show Landing");
    assert_eq!(room["area"]["quantity"], json!("14.875"));
    let day_book = entries(&ledger, "J1");
    assert_eq!(day_book[0]["quantity"], json!("1.5"));
    assert_eq!(day_book[1]["amount"], json!("1234.50"));
    assert_eq!(
        ledger.line("hours 1.234 --room Landing").refused(),
        "error: `1.234` could be 1234 or 1.2340"
    );
}

/// A metric ledger counts kilometres, at a rate that only the firm can know: 40 km at 0,36 are 14,40.
#[test]
fn where_figures_are_metric_driving_is_in_kilometres() {
    let ledger = TestLedger::nowhere();
    ledger.lines(
        r#"
        init --business "Marsh End Floors" --units metric --currency EUR --decimal-mark comma
        "#,
    );
    assert_eq!(
        ledger.line("drive 40 --no-job").refused(),
        "error: nobody has said what a kilometre costs\nhint: gritledger setting set km-rate 0.50"
    );
    ledger.lines("setting set km-rate 0.50");
    ledger.lines("setting set km-rate 0,36");
    let run = ledger.line("drive 40 --no-job --note yard");
    assert_eq!(run.ok(), "E1: drove 40 km, no job, yard, 14.40.\n");
    let overheads = ledger.json("report overheads");
    let entry = &overheads["entries"][0];
    assert_eq!(entry["quantity"], json!("40"));
    assert_eq!(entry["unit"], json!("km"));
    assert_eq!(
        ledger.line("drive 40mi --no-job").refused(),
        "error: `40mi` is not a number of kilometres"
    );
    ledger.lines("correct E1 --quantity 41km");
    assert_eq!(
        ledger.json("report overheads")["entries"][0]["cost"],
        json!("14.76")
    );
}

#[test]
fn many_lines_are_written_at_once_or_none() {
    let ledger = two_jobs();
    let notes = ledger.file(
        "notes.txt",
        "# Monday\nroom Landing\nuse 36 6\nhours 1:30 --on sand\nroom\n\njob J2\nspent 18.40 --for disposal\nuse oil-finish 1qt --room Hall\n",
    );
    let said = ledger.line(&format!("daybook {notes}")).ok();
    assert_eq!(
        said,
        "Wrote 4 lines:\n\
         E1: used 6 discs of disc-7in-36 on J1, Landing, 12.60.\n\
         E2: Ruben Vale worked 1.5 h on J1, Landing, sand, 59.79.\n\
         E3: spent for disposal on J2, 18.40.\n\
         E4: used 0.25 gal of oil-finish on J2, Hall, 13.00.\n\
         J1 disc-7in-36: 6 of 25 quoted; Landing 6 of 6.37, 1 of 3 passes begun\n\
         J1 sand: 1.5 of 2.65 h quoted; Landing 1.5 of 0.75\n\
         J2 oil-finish: 0.25 of 0.42 gal quoted\n"
    );
    assert_eq!(entries(&ledger, "J1").len(), 2);
    let wrong = ledger.file(
        "wrong.txt",
        "room Landing\nuse 36 2\nuse 99 2\nhours soon --on sand\nusw 36 2\n",
    );
    assert_eq!(
        ledger.line(&format!("daybook {wrong}")).refused(),
        "error: nothing was written: 3 lines have mistakes\n\
         hint: line 3: no item `99`\n\
         hint: line 4: `soon` is not a number of hours; hours are written 1.5, 1:30, 1h30, 90m or 1 1/2\n\
         hint: line 5: `usw` is no command of the day book; near commands: `use`; a room has a colon behind it, usw: 36 2"
    );
    assert_eq!(entries(&ledger, "J1").len(), 2);
    let empty = ledger.file("empty.txt", "\n# nothing\n");
    assert_eq!(
        ledger.line(&format!("daybook {empty}")).refused(),
        "error: there is no line to write\nhint: gritledger daybook FILE"
    );
}

#[test]
fn jobs_and_quotes_are_known_by_their_client_and_site() {
    let ledger = two_jobs();
    let number = |line: &str, key: &str| ledger.json(line)[key].clone();
    assert_eq!(number("job show marsh", "number"), json!("J2"));
    assert_eq!(number("job show \"4 tannery\"", "number"), json!("J1"));
    assert_eq!(number("quote show quill", "number"), json!("Q1"));
    ledger.line("job close quill").ok();
    // Of two jobs for a client the one that is under way is meant.
    ledger.lines(
        "quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule none
         quote send Q3
         quote accept Q3",
    );
    assert_eq!(number("job show Ada", "number"), json!("J3"));
    ledger.line("job start J3").ok();
    ledger.line("job close J3").ok();
    assert_eq!(
        ledger.line("job show Ada").refused(),
        "error: `Ada` fits several jobs\nhint: say which: J1 (Ada Quill, 4 Tannery Row), J3 (Ada Quill, 4 Tannery Row)"
    );
    assert_eq!(
        ledger.line("job show nobody").refused(),
        "error: `nobody` is not a job number\nhint: jobs are numbered J1, J2"
    );
}

/// A job that is agreed, and the client's right to take the acceptance back.
fn agreed() -> TestLedger {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        setting set cancellation-days 3
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q1
        quote accept Q1
        "#,
    );
    ledger
}

#[test]
fn work_on_an_accepted_job_begins_it() {
    let warning = "warning: the client may take the acceptance back until 2026-03-05, holidays not counted: it is for you to check\n";
    let begun = format!("J1 at 4 Tannery Row is open.\n{warning}");
    for line in [
        "use disc-7in-36 6 --room Landing",
        "hours 1 --on sand",
        "hours 1 --room Landing",
        "hours 1 --job ada",
        "rental out rotary --at 08:00",
    ] {
        let ledger = agreed();
        let said = ledger.line(line);
        assert!(said.stderr().starts_with(&begun), "{line}: {said}");
        assert_eq!(entries(&ledger, "J1").len(), 1, "{line}");
        assert_eq!(ledger.json("job show J1")["state"], json!("open"));
        assert_eq!(
            ledger.json("job list")[0]["started_on"],
            json!("2026-03-02")
        );
        // It has begun once.
        let said = ledger.line("hours 0:30 --on edge");
        assert!(!said.stderr().contains("is open"), "{said}");
    }
    let ledger = agreed();
    let notes = ledger.file("notes.txt", "on 2026-03-01\nLanding: 1 sand, 36 6\n");
    let written = ledger.line(&format!("daybook {notes}"));
    assert!(
        written
            .stderr()
            .starts_with("J1 at 4 Tannery Row is open.\n"),
        "{written}"
    );
    assert_eq!(
        ledger.json("job list")[0]["started_on"],
        json!("2026-03-01")
    );
    // What is refused, only tried, or no work begins nothing.
    let ledger = agreed();
    ledger.line("hours 1 --on sand --room Attic").refused();
    ledger.line("hours 1 --on sand --dry-run").ok();
    ledger.line("spent 18.40 --for permit --job J1").ok();
    ledger.line("buy --list ada --cost 380").ok();
    assert_eq!(ledger.json("job show J1")["state"], json!("agreed"));
    assert_eq!(
        ledger.line("job close J1").refused(),
        "error: J1 is agreed, not open\nhint: gritledger job start J1"
    );
}

#[test]
fn of_several_accepted_jobs_the_rooms_say_which_begins() {
    let ledger = agreed();
    ledger.lines(
        r#"
        client add "Bo Marsh"
        site add "Bo Marsh" "7 Mill Lane" --year-built 1990
        room add "7 Mill Lane" "Hall" --shape "12ft x 5ft" --condition bare --species white-oak
        quote draft "7 Mill Lane" --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q2
        quote accept Q2
        "#,
    );
    assert_eq!(
        ledger.line("hours 1 --on sand").refused(),
        "error: no job is open, and several are agreed\nhint: say which: J1 (4 Tannery Row), J2 (7 Mill Lane)"
    );
    let said = ledger.line("hours 1 --on sand --room Hall");
    assert!(
        said.stderr().starts_with("J2 at 7 Mill Lane is open.\n"),
        "{said}"
    );
    // Rooms of the other begin that one, although this one is open.
    let said = ledger.line("hours 1 --on sand --room Landing");
    assert!(
        said.stderr().starts_with("J1 at 4 Tannery Row is open.\n"),
        "{said}"
    );
}

/// On paper: nothing but 1.5 hours of sanding is logged, 59.79 at 39.86 an hour; 0.28 + 0.25 + 0.22 = 0.75 h were quoted.
#[test]
fn closing_a_job_says_first_what_it_came_to() {
    let ledger = TestLedger::job_open();
    ledger.lines("hours 1.5 --on sand --room Landing\nuse disc-7in-36 6 --room Landing");
    let run = ledger.line("job close");
    let told = run.ok();
    let margin = &ledger.json("report margin J1")["jobs"][0];
    let left = format!(
        "Closed J1: margin {:.1} %, with gaps, quoted {:.1} %: {} of 1314.14.\n",
        margin["margin_percent"].as_f64().expect("a margin"),
        margin["quoted_margin_percent"].as_f64().expect("a margin"),
        margin["margin"].as_str().expect("an amount"),
    );
    let furthest = "Furthest from the quote:\n\
        * Landing, sand, labour: 29.90 more (1.5 h at 39.86; quoted 0.75 h at 39.86)\n\
        * Landing, rotary-36: 0.78 less (6 discs at 2.10; quoted 6.37 discs at 2.10)\n";
    assert!(told.starts_with(&(left + furthest)), "{told}");
    let ledger = TestLedger::job_open();
    let run = ledger.line("job close J1");
    assert!(
        run.stderr()
            .contains("hint: gritledger invoice final J1 --issue\n"),
        "{run}"
    );
    let issued = ledger.line("invoice final J1 --issue");
    assert!(
        issued
            .stderr()
            .starts_with("Issued I1: 1314.14 is due by 2026-03-16.\n"),
        "{issued}"
    );
    assert_eq!(ledger.json("invoice show I1")["number"], json!("I1"));
    // Nothing is left to be invoiced then.
    ledger.line("job reopen J1").ok();
    let run = ledger.line("job close J1");
    assert!(
        run.stderr()
            .contains("hint: gritledger report variance J1\n"),
        "{run}"
    );
}

#[test]
fn a_draft_that_a_variation_made_stale_is_to_be_drafted_again() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        invoice final J1
        quote draft "4 Tannery Row" --variation-of J1 --sequence none --schedule none --other "disposal=45"
        quote send Q2
        quote accept Q2
        "#,
    );
    let price = ledger.json("quote show Q2")["price"].clone();
    let price = price.as_str().expect("a price");
    let told = ledger.line("today").ok();
    let again = format!(
        "\nDrafts to issue\n* J1: since the final for Ada Quill was drafted, Q2 over {price} was accepted:\n  gritledger invoice final J1\n"
    );
    assert!(told.contains(&again), "{told}");
    let facts = ledger.json("today")["invoice_drafts"][0]["changed_since"].clone();
    assert_eq!(facts, json!([format!("Q2 over {price} was accepted")]));
    ledger.line("invoice final J1").ok();
    let told = ledger.line("today").ok();
    assert!(told.contains("gritledger invoice issue J1"), "{told}");
}

/// On paper: 30 discs at 96.00, 6 used: 24 are left, at 3.20 each.
#[test]
fn today_says_what_may_be_handed_back() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        "buy disc-7in-36 30 --cost 96
         buy oil-finish 2 --cost 104
         use disc-7in-36 6 --room Landing",
    );
    assert_eq!(ledger.json("today")["to_hand_back"], json!([]));
    ledger.line("job close").ok();
    let told = ledger.line("today").ok();
    assert!(
        told.contains("\nTo hand back\n* disc-7in-36: of 24 discs, 76.80 USD, what is unopened: gritledger hand-back disc-7in-36 QTY\n"),
        "{told}"
    );
    // Of the finish nobody logged a use: it may be used up.
    assert_eq!(
        ledger.json("today")["to_hand_back"],
        json!([{ "item": "disc-7in-36", "quantity": "24", "unit": "disc", "value": "76.80" }])
    );
    // Fewer than the smallest pack of 3 are in no unopened one.
    ledger.line("hand-back disc-7in-36 22").ok();
    assert_eq!(ledger.json("today")["to_hand_back"], json!([]));
    ledger.line("void").ok();
    // After thirty days no shop takes them back.
    let ledger = ledger.on("2026-04-01");
    assert_eq!(
        ledger.json("today")["to_hand_back"][0]["quantity"],
        json!("24")
    );
    let ledger = ledger.on("2026-04-02");
    assert_eq!(ledger.json("today")["to_hand_back"], json!([]));
}

#[test]
fn an_invoice_is_meant_by_its_client_or_site() {
    let ledger = TestLedger::job_open();
    let deposit = ledger.line("invoice deposit ada --amount 300 --issue");
    assert!(
        deposit.stderr().starts_with("Issued I1: 300.00 is due by "),
        "{deposit}"
    );
    assert_eq!(
        ledger.line("payment add ada 300").ok(),
        "P1: 300.00 paid on I1; 0.00 is due.\n"
    );
    ledger.lines("job close\ninvoice final tannery --issue");
    // Of two the one on which something is owed is meant.
    assert_eq!(ledger.json("invoice show ada")["number"], json!("I2"));
    assert_eq!(
        ledger.line("payment add \"4 tannery\" 14.14").ok(),
        "P2: 14.14 paid on I2; 1000.00 is due.\n"
    );
    assert_eq!(
        ledger.line("payment add nobody 5").refused(),
        "error: `nobody` is not an invoice number\nhint: issued invoices are numbered I1, I2; a draft is addressed by its job, J1"
    );
    ledger.line("payment add ada 1000").ok();
    assert_eq!(
        ledger.line("invoice show ada").refused(),
        "error: `ada` fits several invoices\nhint: say which: I1 (Ada Quill, 4 Tannery Row), I2 (Ada Quill, 4 Tannery Row)"
    );
}

/// On paper: J1's price is 1314.14, of which nothing is invoiced; its deposit would be 30 percent of 1314.14, 394.24.
#[test]
fn today_says_what_makes_or_loses_most_first() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        setting set deposit 30%
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat --start 2026-03-03
        quote send Q1
        quote accept Q1
        "#,
    );
    let ledger = ledger.on("2026-03-05");
    let asked = ledger.line("today").ok();
    for line in [
        "\nDeposits to ask for\n* J1: Ada Quill, 394.24 USD: gritledger invoice deposit J1\n",
        "\nTo begin\n* J1: Ada Quill, since Tue 2026-03-03: gritledger job start J1\n",
    ] {
        assert!(asked.contains(line), "{asked}");
    }
    assert!(asked.contains("USD: gritledger job buy J1"), "{asked}");
    ledger.line("invoice deposit J1").ok();
    let drafted = ledger.line("today").ok();
    assert!(
        drafted.contains("\nDrafts to issue\n* J1: deposit of 394.24 USD for Ada Quill: gritledger invoice issue J1\n"),
        "{drafted}"
    );
    assert!(!drafted.contains("Deposits to ask for"), "{drafted}");
    ledger.line("invoice issue J1").ok();
    let due = ledger.json("invoice show I1")["due_on"].clone();
    let owed = ledger.line("today").ok();
    let owes = format!(
        "\nDue soon\n* I1: Ada Quill owes 394.24 USD by {}\n",
        due.as_str().expect("a date")
    );
    assert!(owed.contains(&owes), "{owed}");
    ledger.lines("payment add I1 394.24\njob start J1\njob close J1");
    let ledger = ledger.on("2026-03-25");
    let closed = ledger.line("today").ok();
    assert!(
        closed.contains("\nTo bill\n* J1: Ada Quill, 919.90 USD, closed 20 days ago: gritledger invoice final J1\n"),
        "{closed}"
    );
    ledger.lines("invoice final J1\ninvoice issue J1");
    let billed = ledger.json("today");
    assert_eq!(
        (&billed["to_bill"], &billed["more_to_bill"]),
        (&json!([]), &json!(0))
    );
    // Opened again it isn't finished; closed again it is billed already.
    ledger.lines("job reopen J1\njob close J1");
    assert_eq!(ledger.json("today")["to_bill"], json!([]));
    // What was billed and paid stands in the lists: 394.24 and 919.90 asked, 394.24 paid.
    let job = &ledger.json("job list")[0];
    assert_eq!(
        (&job["billed"], &job["paid"]),
        (&json!("1314.14"), &json!("394.24"))
    );
    assert_eq!(ledger.json("client list")[0]["balance"], json!("919.90"));
    let open = ledger.json("invoice list --open");
    assert_eq!(open["invoices"].as_array().map(Vec::len), Some(1));
    assert_eq!(open["invoices"][0]["number"], json!("I2"));
}

#[test]
fn a_list_of_days_keeps_its_commas_where_commas_part_decimals() {
    let ledger = TestLedger::nowhere();
    ledger.lines(
        r#"
        init --business "Marsh End Floors" --units metric --currency EUR --decimal-mark comma
        setting set holidays 2026-07-03,2026-12-25
        setting set margin 32,5%
        "#,
    );
    let kept = |name: &str| ledger.json(&format!("setting show {name}"))["value"].clone();
    assert_eq!(kept("holidays"), json!("2026-07-03,2026-12-25"));
    assert_eq!(kept("margin"), json!("32.5%"));
}

#[test]
fn a_mistake_of_notes_is_told_on_the_line_that_makes_it() {
    let ledger = TestLedger::job_open();
    let notes = ledger.file(
        "notes.txt",
        "on soon\nuse 36 6 --room Landing\nuse 99 2\non\nuse 99 2 --room Landing\nBack bedroom 45m sand\nLanding: 36 6,, 45m\nLanding\n",
    );
    assert_eq!(
        ledger.line(&format!("daybook {notes}")).refused(),
        "error: nothing was written: 5 lines have mistakes\n\
         hint: line 1: `soon` is not a date; dates are written 2026-03-02, today, yesterday, 3 days ago or mon\n\
         hint: line 5: no item `99`\n\
         hint: line 6: `Back` is no command of the day book; near commands: `hand-back`; a room has a colon behind it, Back bedroom: 45m sand\n\
         hint: line 7: `45m` doesn't say how much; 45m sand, 36 6\n\
         hint: line 8: `Landing` is no command of the day book; a room has a colon behind it, Den: 45m sand, 36 6"
    );
    let notes = ledger.file("notes.txt", "use 36 6 --date soon\n");
    assert_eq!(
        ledger.line(&format!("daybook {notes}")).refused(),
        "error: nothing was written: a line has a mistake\n\
         hint: line 1: `soon` is not a date; dates are written 2026-03-02, today, yesterday, 3 days ago or mon"
    );
}

#[test]
fn notes_that_are_asked_about_say_their_line() {
    let ledger = TestLedger::job_open();
    let asks = |text: &str, told: &str| {
        let notes = ledger.file("notes.txt", text);
        assert_eq!(
            ledger.line(&format!("daybook {notes}")).refused(),
            format!("error: {told}\nhint: the same command with --confirm says that it is meant")
        );
    };
    // An entry that is about to be written has no number yet.
    asks(
        "Landing: 36 6\n\nuse 36 6 --room Landing\n",
        "line 3: the same is logged for that day already, in line 1",
    );
    asks(
        "# Monday\ndrive 9\nspent 5 --for tape\ndrive 9\n",
        "line 4: the same is logged for that day already, in line 2",
    );
    asks(
        "on 2025-11-01\n\nspent 5 --for tape\n",
        "line 3: 2025-11-01 is 121 days ago",
    );
    ledger.line("drive 9").ok();
    asks(
        "drive 8\ndrive 9\n",
        "line 2: the same is logged for that day already, as E1",
    );
    let notes = ledger.file("notes.txt", "drive 9\ndrive 9\n");
    ledger.line(&format!("daybook {notes} --confirm")).ok();
    assert_eq!(entries(&ledger, "J1").len(), 3);
}

#[test]
fn what_notes_say_for_nothing_is_told() {
    let ledger = TestLedger::job_open();
    let notes = ledger.file(
        "notes.txt",
        "on mon\nroom Attic\nLanding: 36 6\non yesterday\njob J1\nroom Back bedroom\n",
    );
    let run = ledger.line(&format!("daybook {notes}"));
    assert_eq!(
        run.stderr(),
        "mon is Mon 2026-03-02.\n\
         warning: 6 discs of it not in stock: taken at book price until the receipt comes\n\
         hint: gritledger buy disc-7in-36 QTY --cost TOTAL\n\
         warning: line 2: no line goes by `room Attic`\n\
         warning: line 4: no line goes by `on yesterday`\n\
         warning: line 5: no line goes by `job J1`\n\
         warning: line 6: no line goes by `room Back bedroom`\n"
    );
    run.ok();
    let notes = ledger.file(
        "notes.txt",
        "on today\nroom Landing\nhours 5m sand\nroom\non\n",
    );
    let run = ledger.line(&format!("daybook {notes}"));
    assert_eq!(run.stderr(), "");
    run.ok();
}

#[test]
fn an_unknown_job_of_notes_is_told_on_the_line_that_says_it() {
    let ledger = TestLedger::job_open();
    for (text, told) in [
        ("job J9\nuse 36 6\nuse 50 3\n", "line 1: no job J9"),
        ("use 36 6 --room Landing\njob J9\n", "line 2: no job J9"),
        ("\nuse 36 6 --job J9\n", "line 2: no job J9"),
    ] {
        let notes = ledger.file("notes.txt", text);
        assert_eq!(
            ledger.line(&format!("daybook {notes}")).refused(),
            format!(
                "error: nothing was written: a line has a mistake\nhint: {told}\nhint: gritledger job list"
            ),
        );
    }
    // What such lines say themselves is looked through all the same.
    let notes = ledger.file("notes.txt", "job J9\nuse 36 6\nuse 99 2 --job J1\n");
    assert_eq!(
        ledger.line(&format!("daybook {notes}")).refused(),
        "error: nothing was written: 2 lines have mistakes\n\
         hint: line 1: no job J9\n\
         hint: line 3: no item `99`\n\
         hint: gritledger job list"
    );
}

#[test]
fn a_decimal_comma_in_notes_parts_no_things() {
    let written = |mark: &str, text: &str| {
        let ledger = TestLedger::nowhere();
        ledger.lines(&format!(
            r#"
            init --business "Marsh End Floors" --decimal-mark {mark} --quiet
            worker add "Ruben Vale" --wage 28
            client add "Ada Quill"
            site add "Ada Quill" "4 Tannery Row"
            room add "4 Tannery Row" Hall --shape "10 x 4" --condition worn-film --species red-oak
            quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
            quote send Q1
            quote accept Q1
            "#
        ));
        let notes = ledger.file("notes.txt", text);
        ledger.line(&format!("daybook {notes}"))
    };
    let said = written("comma", "Hall: 1,5 coat, 36 6, oil 0,25 gal\n").ok();
    for told in [
        "Ruben Vale worked 1.5 h on J1, Hall, coat",
        "used 6 discs of disc-7in-36 on J1, Hall",
        "used 0.25 gal of oil-finish on J1, Hall",
    ] {
        assert!(said.contains(told), "{said}");
    }
    let said = written("comma", "Hall: 1.5 coat\n").ok();
    assert!(
        said.contains("Ruben Vale worked 1.5 h on J1, Hall, coat"),
        "{said}"
    );
    assert_eq!(
        written("point", "Hall: 1,5 coat, 36 6\n").refused(),
        "error: nothing was written: a line has a mistake\n\
         hint: line 1: `1,5` is not a number of hours; hours are written 1.5, 1:30, 1h30, 90m or 1 1/2"
    );
}

#[test]
fn a_unit_of_hours_may_stand_apart() {
    let ledger = TestLedger::job_open();
    for (line, told) in [
        ("hours 1 h sand --room Landing", "1 h on J1, Landing, sand"),
        (
            "hours 30 min edge --room Landing",
            "0.5 h on J1, Landing, edge",
        ),
        ("hours Ruben 1 H sand", "1 h on J1, sand"),
    ] {
        let said = ledger.line(&format!("{line} --confirm")).ok();
        assert!(said.contains(told), "{said}");
    }
    assert_eq!(
        ledger.line("hours Ruben 1 sand edge").refused(),
        "error: `Ruben 1 sand edge` is more than who worked, how long and on what"
    );
    let notes = ledger.file("notes.txt", "Landing: 1 h clean\n");
    let said = ledger.line(&format!("daybook {notes}")).ok();
    assert!(said.contains("1 h on J1, Landing, clean"), "{said}");
}

#[test]
fn a_name_in_a_note_may_stand_in_quotation_marks() {
    let ledger = TestLedger::job_open();
    let notes =
        "job \"J1\"\non \"today\"\nroom \"Back bedroom\"\nuse 36 12\n\"Landing\": 1h sand\n";
    let written = ledger.fed("daybook", notes.as_bytes()).ok();
    assert!(
        written.contains("12 discs of disc-7in-36 on J1, Back bedroom"),
        "{written}"
    );
    assert!(
        written.contains("worked 1 h on J1, Landing, sand"),
        "{written}"
    );
}
