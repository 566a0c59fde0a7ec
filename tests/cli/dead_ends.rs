//! No dead ends: what was agreed, sent or drafted can be taken back, and what was issued or logged stays.

use serde_json::{Value, json};

use crate::harness::TestLedger;

fn row(ledger: &TestLedger, job: &str) -> Value {
    let margins = ledger.json("report margin --by job");
    let rows = margins["jobs"].as_array().expect("jobs").clone();
    let mut rows = rows.into_iter();
    rows.find(|row| row["job"] == job).expect("a row")
}

/// On paper: the price is 1314.14; a deposit of 300.00 was invoiced; 6 discs at 2.10 are 12.60 and 1.5 h at 39.86 are 59.79, so
/// 72.39 was spent. Cancelled, 300.00 came in and 72.39 went out: 227.61 are kept.
#[test]
fn a_cancelled_job_keeps_what_was_invoiced_and_logged() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        invoice deposit J1 --amount 300
        invoice issue J1
        payment add I1 300
        use 36 6 --room Landing
        hours 1:30 --room Landing --on sand
        rental out rotary --at "2026-03-02 08:00"
        "#,
    );
    assert_eq!(
        ledger
            .line("job cancel J1 --reason \"the client moves\"")
            .refused(),
        "error: rotary is still out on J1\nhint: gritledger rental back rotary"
    );
    ledger
        .line("void E3 --reason \"not fetched after all\"")
        .ok();
    assert_eq!(
        ledger.line("job cancel J1 --reason \" \"").refused(),
        "error: say why J1 is cancelled"
    );
    let said = ledger.line("job cancel J1 --reason \"the client moves\"");
    assert_eq!(
        said.stderr(),
        "J1 at 4 Tannery Row is cancelled: its rooms are free again.\nwarning: I1 is paid, and stays income\n\
         hint: gritledger invoice credit I1 --reason \"J1 is cancelled\"\n"
    );
    let row = row(&ledger, "J1");
    let figures = ["price", "variations", "actual_cost", "margin"].map(|key| row[key].clone());
    assert_eq!(
        figures,
        [
            json!("300.00"),
            json!("0.00"),
            json!("72.39"),
            json!("227.61")
        ]
    );
    assert_eq!(
        (&row["cancelled"], &row["so_far"]),
        (&json!(true), &json!(false))
    );
    let shown = ledger.line("job show J1").ok();
    assert!(
        shown.starts_with(
            "J1, cancelled: it cost 72.39 USD.\nAda Quill, 4 Tannery Row\nCancelled on 2026-03-02: the client moves\n"
        ),
        "{shown}"
    );
    for (line, refused) in [
        (
            "job cancel J1 --reason again",
            "error: J1 is cancelled already",
        ),
        ("job start J1", "error: J1 is cancelled already"),
        ("job close J1", "error: J1 is cancelled, not open"),
        (
            "invoice final J1",
            "error: J1 was cancelled on 2026-03-02: nothing more is invoiced for it",
        ),
        (
            "job reopen J1",
            "error: J1 is cancelled: what is done after all needs a quote of its own\nhint: gritledger quote draft \"4 Tannery Row\"",
        ),
        (
            "quote draft \"4 Tannery Row\" --variation-of J1",
            "error: J1 was cancelled on 2026-03-02: nothing is added to it",
        ),
    ] {
        assert_eq!(ledger.line(line).refused(), refused, "{line}");
    }
    // Its rooms can be quoted, agreed and done again, and its discs teach nothing.
    assert_eq!(ledger.json("today")["jobs"], json!([]));
    let drafted = ledger
        .line("quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule oil-2-coat");
    assert!(!drafted.stderr().contains("warning"), "{drafted}");
    ledger.lines("quote send Q2\nquote accept Q2");
    let agreed = ledger.line("job start J2");
    assert!(!agreed.stderr().contains("is in J1"), "{agreed}");
    let rate = ledger
        .line("rate show rotary-36 --condition worn-film")
        .ok();
    assert!(!rate.contains("Landing"), "{rate}");
}

#[test]
fn an_acceptance_is_taken_back_within_the_time_for_it_or_after() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        setting set cancellation-days 3
        quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q1
        quote accept Q1
        "#,
    );
    let within = ledger.line("job cancel J1 --reason \"a change of mind\" --dry-run");
    assert!(
        within.stderr().contains("That is within the time in which the client may take the acceptance back, until 2026-03-05"),
        "{within}"
    );
    let ledger = ledger.on("2026-03-20");
    let after = ledger.line("job cancel J1 --reason \"a change of mind\"");
    assert!(
        after.stderr().contains("That is after the time in which"),
        "{after}"
    );
}

#[test]
fn quotes_are_withdrawn_and_drafts_thrown_away() {
    let ledger = TestLedger::tannery_row();
    let draft = "quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule oil-2-coat";
    ledger.line(draft).ok();
    let second = ledger.line(draft);
    assert_eq!(
        second.stderr(),
        "warning: Q1 for this site is open too (draft)\nhint: gritledger quote withdraw Q1\nhint: gritledger quote send Q2\n"
    );
    assert_eq!(
        ledger.line("quote withdraw Q2").stderr(),
        "Q2 is thrown away.\n"
    );
    ledger.line("quote send Q1").ok();
    ledger
        .line(&format!("{draft} --revises Q1 --margin 40%"))
        .ok();
    let listed = |number: &str| {
        let listed = ledger.json("quote list");
        let quotes = listed["quotes"].as_array().expect("quotes").clone();
        let quote = quotes.into_iter().find(|quote| quote["number"] == number);
        let quote = quote.expect("a quote");
        (quote["status"].clone(), quote["replaced_by"].clone())
    };
    assert_eq!(listed("Q1"), (json!("sent"), json!("Q1.2")));
    assert_eq!(listed("Q2"), (json!("withdrawn"), json!(null)));
    assert!(
        ledger
            .line("quote list")
            .ok()
            .contains("sent, replaced by Q1.2")
    );
    assert_eq!(
        ledger.line("quote accept Q1").refused(),
        "error: Q1.2 was drafted in place of Q1\nhint: gritledger quote send Q1.2\nhint: the same command with --confirm says that it is meant"
    );
    // Thrown away, the draft replaces nothing.
    ledger.line("quote withdraw Q1.2").ok();
    assert_eq!(listed("Q1"), (json!("sent"), json!(null)));
    ledger.line("quote withdraw Q1").ok();
    assert_eq!(
        ledger.line("quote accept Q1").refused(),
        "error: Q1 was withdrawn already\nhint: gritledger quote draft \"4 Tannery Row\" --revises Q1"
    );
    assert_eq!(
        ledger.line("quote withdraw Q1").refused(),
        "error: Q1 was withdrawn already"
    );
    ledger.line(&format!("{draft} --revises Q1")).ok();
    ledger.lines("quote send Q1.3\nquote accept Q1.3");
    assert_eq!(
        ledger.line("quote withdraw Q1.3").refused(),
        "error: Q1.3 is accepted\nhint: gritledger job cancel J1 --reason \"the client withdrew\""
    );
}

/// A second open job, at 7 Mill Lane with a hall and a landing.
fn two_jobs() -> TestLedger {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        client add "Bo Marsh"
        site add "Bo Marsh" "7 Mill Lane" --year-built 1990
        room add "7 Mill Lane" "Hall" --shape "12ft x 5ft" --condition bare --species white-oak
        room add "7 Mill Lane" "Landing" --shape "8ft x 5ft" --condition bare --species white-oak
        quote draft "7 Mill Lane" --sequence rotary-36-50-80 --schedule oil-2-coat
        quote send Q2
        quote accept Q2
        job start J2
        "#,
    );
    ledger
}

fn cost(ledger: &TestLedger, job: &str) -> Value {
    row(ledger, job)["actual_cost"].clone()
}

#[test]
fn the_last_entry_is_taken_back_without_a_word() {
    let ledger = two_jobs();
    assert_eq!(
        ledger.line("void").refused(),
        "error: no entry of the day book counts\nhint: gritledger log"
    );
    ledger.lines("use 36 6 --room Hall\nhours 1:30 --room Hall --on sand");
    assert_eq!(
        ledger.line("void").ok(),
        "E3: took back E2 (Ruben Vale worked 1.5 h on J2, Hall, sand).\n"
    );
    assert_eq!(
        ledger.line("void").ok(),
        "E4: took back E1 (used 6 discs of disc-7in-36 on J2, Hall).\n"
    );
    assert_eq!(
        ledger.line("void E1 --reason again").refused(),
        "error: E1 was voided already"
    );
    let log = ledger.line("log").ok();
    assert!(log.contains("E4: took back E1 (use): a slip."), "{log}");
}

#[test]
fn a_reason_is_asked_for_where_others_have_seen_the_entry() {
    let ledger = TestLedger::job_open();
    ledger.lines("use 36 6 --room Landing\nuse 36 2 --room Landing --confirm\njob close J1");
    for line in ["void E2", "correct E2 --quantity 3"] {
        assert_eq!(
            ledger.line(line).refused(),
            format!(
                "error: say why E2 is taken back: J1 is closed\nhint: gritledger {line} --reason \"...\""
            )
        );
    }
    assert_eq!(
        ledger.line("void E2 --reason \" \"").refused(),
        "error: say why E2 is taken back\nhint: gritledger void E2 --reason \"...\""
    );
    ledger.line("void E2 --reason \"of another job\"").ok();
    let ledger = TestLedger::job_open();
    ledger.line("use 36 6 --room Landing").ok();
    let ledger = ledger.on("2026-03-03");
    assert_eq!(
        ledger
            .line("correct --room \"Back bedroom\" --quantity 7")
            .refused(),
        "error: say why E1 is taken back: it was written on 2026-03-02\n\
         hint: gritledger correct E1 --quantity 7 --room \"Back bedroom\" --reason \"...\""
    );
    ledger
        .line("correct --room \"Back bedroom\" --reason \"the other room\"")
        .ok();
}

/// On paper: 6 discs at the book's 2.10 are 12.60.
#[test]
fn a_void_is_taken_back_by_entering_again_what_it_took() {
    let ledger = TestLedger::job_open();
    ledger.lines("use 36 6 --room Landing\nspent 5 --for tape\nvoid E1");
    assert_eq!(cost(&ledger, "J1"), json!("5.00"));
    assert_eq!(
        ledger.line("void E3").ok(),
        "E4: used 6 discs of disc-7in-36 on J1, Landing in the place of E1, 12.60.\n"
    );
    assert_eq!(cost(&ledger, "J1"), json!("17.60"));
    assert_eq!(
        ledger.line("void E3").refused(),
        "error: E4 stands in the place of E1 already\nhint: gritledger void E4 --reason \"E1 was right\""
    );
    ledger.lines("void E4\nvoid E5");
    assert_eq!(cost(&ledger, "J1"), json!("17.60"));
    // A machine that went out again in the meantime isn't taken out twice.
    ledger.lines(
        r#"
        rental out rotary --at 08:00
        void
        rental out rotary --at 09:00
        "#,
    );
    assert_eq!(
        ledger.line("void E8").refused(),
        "error: rotary is out already, since 2026-03-02 09:00 on J1\nhint: gritledger rental back rotary --at \"HH:MM\""
    );
    ledger.lines("void E9\nvoid E8");
    assert!(ledger.line("rental list").ok().contains("08:00"));
}

/// On paper: 30 discs for 63.00 are 2.10 each; 6 were used and 1 handed back, so that 24 counted are one more than the 23 of the
/// book. 1.5 h at 39.86 are 59.79, 14 miles at 0.725 are 10.15.
#[test]
fn every_kind_of_entry_is_corrected_in_one_line() {
    let ledger = two_jobs();
    ledger.lines(
        r#"
        use 36 25 --room Landing --job J1
        hours 15 --room Landing --job J1 --on sand
        spent 184 --for disposal --job J1
        drive 140 --job J1
        buy disc-7in-36 30 --cost 630
        hand-back disc-7in-36 1 --refund 32
        stock count disc-7in-36 10
        rental out rotary --at 08:00 --job J1
        "#,
    );
    for (line, said) in [
        (
            "correct E1 --quantity 6 --job J2 --room Hall --date yesterday --confirm",
            "E10: used 6 discs of disc-7in-36 on J2, Hall in the place of E1, 12.60.\n",
        ),
        (
            "correct E2 --quantity 1:30 --on edge --job J2",
            "E12: Ruben Vale worked 1.5 h on J2, Landing, edge in the place of E2, 59.79.\n",
        ),
        (
            "correct E3 --cost 18.40 --for tape",
            "E14: spent for tape on J1 in the place of E3, 18.40.\n",
        ),
        (
            "correct E4 --quantity 14 --room \"Back bedroom\"",
            "E16: drove 14 mi on J1, Back bedroom in the place of E4, 10.15.\n",
        ),
        (
            "correct E5 --cost 63",
            "E18: bought 30 discs of disc-7in-36 in the place of E5, 63.00.\n",
        ),
        (
            "correct E6 --cost 3.20",
            "E20: handed back 1 disc of disc-7in-36 in the place of E6, 3.20.\n",
        ),
        (
            "correct E7 --quantity 24",
            "E22: counted 24 discs of disc-7in-36 in the place of E7, -2.10.\n",
        ),
        (
            "correct E8 --at 09:30 --job J2",
            "E24: rotary out at 2026-03-02 09:30 for J2 in the place of E8.\n",
        ),
    ] {
        let run = ledger.line(line);
        let first = run.ok().split_inclusive('\n').next().map(str::to_owned);
        assert_eq!(first.as_deref(), Some(said), "{line}");
    }
    ledger.lines("rental day rotary --job J1");
    assert_eq!(
        ledger.line("correct --job J2").ok(),
        "E27: rotary is with J2 from 2026-03-02 in the place of E25.\n"
    );
    let ledger = ledger.on("2026-03-03");
    ledger.lines("rental back rotary --at 07:45");
    assert_eq!(
        ledger.line("correct --cost 40").ok(),
        "E30: rotary back at 2026-03-03 07:45 in the place of E28, 40.00.\n"
    );
    assert_eq!(
        ledger
            .line("correct E24 --at \"2026-03-02 10:00\" --reason late")
            .refused(),
        "error: E24 can't be voided while E30 rests on it: void E30 first\nhint: gritledger void E30 --reason \"E24 was wrong\""
    );
    assert_eq!(ledger.json("check")["ok"], json!(true));
}

#[test]
fn what_is_not_named_stays_as_it_was() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        hours 1.5 --room Landing --on sand
        use 36 60 --room Landing
        rental out rotary --at 08:00
        worker edit "Ruben Vale" --wage 56
        item edit disc-7in-36 --pack 1=9.99
        machine edit rotary --day 200
        "#,
    );
    // 1.5 h at 28.00 with its burden were 59.79: a third of it more is 79.72. 6 discs were 12.60.
    assert_eq!(
        ledger.json("correct E1 --quantity 2")["amount"],
        json!("79.72")
    );
    assert_eq!(
        ledger.json("correct E2 --quantity 6")["amount"],
        json!("12.60")
    );
    let taken = ledger.json("correct E3 --at 07:00");
    let ledger = ledger.on("2026-03-03 06:00");
    let back = ledger.json("rental back rotary");
    assert_eq!(back["by_tariff"], back["amount"]);
    assert_eq!(taken["instead_of"], json!("E3"));
    assert_ne!(back["amount"], json!("200.00"));
    // Another worker has another wage.
    ledger.line("worker add \"Una Reed\" --wage 28").ok();
    let una = ledger.json("correct E5 --worker Una --reason \"it was Una\"");
    assert_eq!(una["amount"], json!("79.72"));
}

#[test]
fn what_can_not_be_corrected_is_refused_in_words() {
    let ledger = two_jobs();
    ledger.lines(
        r#"
        use 36 6 --room "Back bedroom" --job J1
        hours 1.5 --room Hall --on sand
        spent 18.40 --for disposal --job J1
        drive 14 --job J1
        buy disc-7in-36 30 --cost 63
        rental out rotary --at 08:00 --job J1
        spent 5 --for tape --job J1
        void E7
        "#,
    );
    for (line, refused) in [
        (
            "correct E3 --quantity 6",
            "error: E3 is money spent: it has no quantity\nhint: what it has: --cost, --for, --room, --whole-job, --job, --no-job, --date",
        ),
        (
            "correct E1 --cost 6",
            "error: E1 is an item used: it has no cost of its own\nhint: what it has: --quantity, --item, --on, --room, --whole-job, --job, --date",
        ),
        (
            "correct E2 --item disc-7in-36",
            "error: E2 is hours worked: it has no item\nhint: what it has: --quantity, --worker, --on, --room, --whole-job, --job, --no-job, --date",
        ),
        (
            "correct E4 --worker Ruben",
            "error: E4 is a drive: it has no worker\nhint: what it has: --quantity, --room, --whole-job, --job, --no-job, --date",
        ),
        (
            "correct E5 --job J1",
            "error: E5 is a purchase: it has no job\nhint: what it has: --quantity, --cost, --item, --date",
        ),
        (
            "correct E6 --date yesterday",
            "error: E6 is a machine taken out: it has no date apart from its time\nhint: what it has: --job, --at",
        ),
        (
            "correct E5",
            "error: say what of E5 should be otherwise\nhint: what it has: --quantity, --cost, --item, --date",
        ),
        ("correct E1 --quantity 6", "error: E1 says that already"),
        (
            "correct E1 --job J2",
            "error: E1 names Back bedroom, which isn't where J2 is\nhint: say which rooms: --room \"ROOM\", or --whole-job",
        ),
        (
            "correct E2 --quantity 25",
            "error: Ruben Vale would have 25 hours on 2026-03-02: a day has 24",
        ),
        (
            "correct E2 --quantity 0",
            "error: `0` is not a number of hours worked",
        ),
        (
            "correct E5 --cost -1",
            "error: a purchase does not cost less than nothing",
        ),
        (
            "correct E3 --for \" \"",
            "error: say what the money was for",
        ),
        (
            "correct E7 --cost 6",
            "error: E7 was voided already\nhint: gritledger void E8 --reason \"E7 was right\"",
        ),
        (
            "correct E8 --cost 6",
            "error: E8 is a void: it takes E7 back, and says nothing else\nhint: gritledger void E8 --reason \"E7 was right\"",
        ),
        (
            "correct E99 --cost 6",
            "error: no entry E99\nhint: gritledger log",
        ),
        (
            "correct twelve --cost 6",
            "error: `twelve` is not an entry number\nhint: entries are numbered E1, E2",
        ),
    ] {
        assert_eq!(ledger.line(line).refused(), refused, "{line}");
        for hint in refused
            .lines()
            .filter_map(|line| line.strip_prefix("hint: gritledger "))
        {
            ledger.line(&format!("{hint} --dry-run")).ok();
        }
    }
    ledger.line("correct E3 --cost 5").ok();
    assert_eq!(
        ledger.line("correct E3 --cost 6").refused(),
        "error: E3 was voided already, and E10 stands in its place\nhint: gritledger correct E10 --cost 6"
    );
}

#[test]
fn corrections_stand_among_the_lines_of_a_day() {
    let ledger = TestLedger::job_open();
    let notes = ledger.file(
        "notes.txt",
        "room Landing\nuse 36 60\ncorrect --quantity 6\nspent 5 --for tape\nvoid\n",
    );
    assert_eq!(
        ledger.line(&format!("daybook {notes}")).ok(),
        "Wrote 4 lines:\n\
         E1: used 60 discs of disc-7in-36 on J1, Landing, 126.00.\n\
         E3: used 6 discs of disc-7in-36 on J1, Landing in the place of E1, 12.60.\n\
         E4: spent for tape on J1, Landing, 5.00.\n\
         E5: took back E4 (spent for tape on J1, Landing).\n\
         disc-7in-36: 6 of 25 quoted; Landing 6 of 6.37, 1 of 3 passes begun\n"
    );
    assert_eq!(cost(&ledger, "J1"), json!("12.60"));
}

#[test]
fn a_cost_is_corrected_to_be_of_no_job_and_of_one() {
    let ledger = TestLedger::job_open();
    ledger.lines("spent 300 --for insurance\nhours 2 --room Landing --on sand\ndrive 14 --no-job");
    for (line, said) in [
        (
            "correct E1 --no-job",
            "E5: spent for insurance, no job in the place of E1, 300.00.\n",
        ),
        (
            "correct E2 --no-job",
            "E7: Ruben Vale worked 2 h, no job in the place of E2, 79.72.\n",
        ),
        (
            "correct E3 --job J1 --room Landing",
            "E9: drove 14 mi on J1, Landing in the place of E3, 10.15.\n",
        ),
    ] {
        assert_eq!(ledger.line(line).ok(), said, "{line}");
    }
    assert_eq!(cost(&ledger, "J1"), json!("10.15"));
    for line in ["correct E7 --room Landing", "correct E7 --on sand"] {
        assert_eq!(
            ledger.line(line).refused(),
            "error: E7 belongs to no job, and so to no room or task\nhint: say which job: --job J1",
            "{line}"
        );
    }
    ledger.line("buy disc-7in-36 30 --cost 63").ok();
    assert_eq!(
        ledger.line("correct --no-job").refused(),
        "error: E10 is a purchase: it has no reason to be of no job\nhint: what it has: --quantity, --cost, --item, --date"
    );
}

#[test]
fn a_finding_is_changed_and_what_is_not_said_stays() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        finding add Landing missing-quarter-round "22 ft" --place "north wall"
        finding add Landing proud-nails 12
        "#,
    );
    let found = || ledger.json("finding list \"4 Tannery Row\" --room Landing")["findings"].clone();
    let last = |of: &Value| {
        of.as_array()
            .and_then(|all| all.last().cloned())
            .expect("one")
    };
    let number = |kind: &str| {
        let all = found();
        let all = all.as_array().expect("findings").clone();
        let one = all.into_iter().rfind(|one| one["kind"] == kind);
        one.expect("a finding")["id"].clone()
    };
    let trim = number("missing-quarter-round");
    let said = ledger.line(&format!("finding edit {trim} \"14' + 8'6\\\"\""));
    assert_eq!(
        said.stderr(),
        format!(
            "Noted missing-quarter-round in Landing: 22.5 ft in 2 pieces, in place of finding {trim}.\n"
        )
    );
    assert_eq!(last(&found())["place"], json!("north wall"));
    let nails = number("proud-nails");
    ledger
        .line(&format!(
            "finding edit {nails} \"10 to 30\" --chance 50% --note \"under the rug\""
        ))
        .ok();
    assert_eq!(last(&found())["chance_percent"], json!(50));
    let nails = number("proud-nails");
    ledger.line(&format!("finding edit {nails} --sure")).ok();
    assert_eq!(last(&found())["chance_percent"], json!(null));
    assert_eq!(last(&found())["note"], json!("under the rug"));
    for (line, refused) in [
        (
            format!("finding edit {nails} 3"),
            format!("error: no finding {nails}\nhint: gritledger finding list SITE"),
        ),
        (
            "finding edit three 3".to_owned(),
            "error: `three` is not the number of a finding\nhint: gritledger finding list SITE"
                .to_owned(),
        ),
        (
            format!(
                "finding edit {} --if-so \"bleach 12 sqft\"",
                number("proud-nails")
            ),
            "error: say how likely it takes more: --chance 40%".to_owned(),
        ),
    ] {
        assert_eq!(ledger.line(&line).refused(), refused, "{line}");
    }
}

/// A room that is elsewhere belongs to no entry of a job: such a ledger wouldn't be sound.
#[test]
fn a_job_has_no_rooms_of_another_site() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        client add "Bo Ash"
        site add "Bo Ash" "9 Pier Lane"
        room add "9 Pier Lane" Attic --shape "9 x 9" --condition bare --species pine
        hours 1 sand --room Landing
        "#,
    );
    let elsewhere = "error: `Attic` is at `9 Pier Lane`, not where J1 is";
    for line in [
        "hours 1 edge --job J1 --room \"9 Pier Lane/Attic\"",
        "use 36 13 --job J1 --room \"4 Tannery Row/Landing\" --room \"9 Pier Lane/Attic\"",
        "spent 5 --for nails --job J1 --room \"9 Pier Lane/Attic\"",
        "correct E1 --room \"9 Pier Lane/Attic\"",
    ] {
        assert_eq!(ledger.line(line).refused(), elsewhere, "{line}");
    }
    let notes = ledger.file(
        "notes.txt",
        "\u{feff}job J1\r\n9 Pier Lane/Attic: 20m edge\r\n",
    );
    let refused = ledger.run(&["daybook", &notes]).refused();
    assert!(
        refused.ends_with("line 2: `Attic` is at `9 Pier Lane`, not where J1 is"),
        "{refused}"
    );
    ledger.line("check").ok();
}

/// What was drafted for a job goes with it, and nobody is asked to issue it.
#[test]
fn a_cancelled_job_has_no_drafts() {
    let ledger = TestLedger::job_open();
    ledger.lines("invoice deposit J1\njob cancel J1 --reason \"the client moves\"");
    assert!(!ledger.line("today").ok().contains("issue"));
    assert_eq!(ledger.json("invoice list")["invoices"], json!([]));
}

/// On paper: nine tenths of the price are invoiced, then most of the work is taken away.
#[test]
fn what_was_invoiced_beyond_the_price_is_not_to_be_billed() {
    let ledger = TestLedger::job_open();
    let price = ledger.json("job show J1")["price"]
        .as_str()
        .expect("a price")
        .to_owned();
    ledger.lines(&format!(
        "invoice deposit J1 --amount {price}\ninvoice issue J1\nquote vary J1 --without Landing\nquote send Q2\nquote accept Q2"
    ));
    ledger.line("job close J1").ok();
    let varied = ledger.json("quote show Q2")["price"]
        .as_str()
        .expect("a price")
        .to_owned();
    let back = varied.trim_start_matches('-');
    let today = ledger.line("today").ok();
    let told = format!(
        "J1: Ada Quill was invoiced {back} USD before tax beyond its price, which is owed back"
    );
    assert!(today.replace("\n  ", " ").contains(&told), "{today}");
    assert!(!today.contains("invoice final"), "{today}");
    assert_eq!(
        ledger
            .line("quote vary J1 --without \"Landing:\"")
            .refused(),
        "error: `Landing:` names no operation after its colon"
    );
}

#[test]
fn what_is_logged_on_a_cancelled_job_is_taken_with_a_warning() {
    let ledger = TestLedger::job_open();
    ledger.lines("job cancel J1 --reason \"the client moves\"");
    let run = ledger.line("spent 5 --for parking --job J1");
    assert_eq!(run.stderr(), "warning: J1 was cancelled on 2026-03-02\n");
    run.ok();
    let notes = ledger.file(
        "notes.txt",
        "job J1\nspent 6 --for parking\nhours 2 --note \"cleared out\"\n",
    );
    let run = ledger.line(&format!("daybook {notes}"));
    assert_eq!(run.stderr(), "warning: J1 was cancelled on 2026-03-02\n");
    run.ok();
}

#[test]
fn a_room_or_site_that_is_quoted_stays_in_use_and_one_that_is_not_is_neither_sent_nor_accepted() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        quote draft "4 Tannery Row"
        quote send Q1
        quote draft "4 Tannery Row" --room Landing
        "#,
    );
    let refused = ledger.line("room void Landing").refused();
    assert_eq!(
        refused,
        "error: `Landing` is quoted in Q1 (sent), Q2 (draft)\n\
         hint: gritledger quote withdraw Q1\n\
         hint: gritledger quote withdraw Q2"
    );
    assert_eq!(
        ledger.line("room void \"Back bedroom\"").refused(),
        "error: `Back bedroom` is quoted in Q1 (sent)\nhint: gritledger quote withdraw Q1"
    );
    assert_eq!(
        ledger.line("site void 4").refused(),
        refused.replace("`Landing`", "`4 Tannery Row`")
    );
    // A version that is withdrawn doesn't hold a room; the one before it stands again.
    ledger.lines(
        r#"
        quote draft "4 Tannery Row" --revises Q1 --room "Back bedroom"
        quote draft "4 Tannery Row" --revises Q2 --room "Back bedroom"
        room void Landing
        quote withdraw Q1.2
        quote withdraw Q2.2
        "#,
    );
    for line in ["quote accept Q1", "quote send Q2"] {
        let number = line.split(' ').next_back().expect("a number");
        assert_eq!(
            ledger.line(line).refused(),
            format!(
                "error: `Landing` is out of use, and {number} is for it\n\
                 hint: gritledger quote withdraw {number}"
            )
        );
        ledger.line(&format!("quote withdraw {number}")).ok();
    }
    ledger.line("site void 4").ok();

    let ledger = TestLedger::tannery_row();
    ledger.lines("quote draft \"4 Tannery Row\"\nquote send Q1 --valid 1d");
    let ledger = ledger.on("2026-03-20");
    ledger.line("site void 4").ok();
    assert_eq!(
        ledger.line("quote accept Q1 --expired").refused(),
        "error: `4 Tannery Row` is out of use, and Q1 is for it\nhint: gritledger quote withdraw Q1"
    );
    ledger.line("quote withdraw Q1").ok();
}
