//! What the firm's book says is what is counted with: fixed amounts, packs, prices of nothing.

use serde_json::json;

use crate::harness::TestLedger;

/// Mean hours foretold for a room of 100 sq ft.
fn hours_for_100(ledger: &TestLedger, operation: &str) -> serde_json::Value {
    let line = format!(
        "rate predict {operation} --kind hours --area 100 --condition bare --species red-oak"
    );
    ledger.json(&line)["mean"].clone()
}

#[test]
fn a_fixed_amount_of_zero_is_a_figure() {
    let ledger = TestLedger::new();
    ledger.lines(
        "operation add broom-rooms --task set-up --driver area
         rate set broom-rooms --kind hours --per 100",
    );
    // 100 sq ft at 100 an hour, and the 0.3 h that are typical of work on floors where the book doesn't say.
    assert_eq!(hours_for_100(&ledger, "broom-rooms"), json!("1.3"));
    ledger.lines("rate set broom-rooms --kind hours --per 100 --fixed 0");
    assert_eq!(hours_for_100(&ledger, "broom-rooms"), json!("1"));
    // Set again without a word on it, it stays what it was.
    ledger.lines("rate set broom-rooms --kind hours --per 50");
    assert_eq!(hours_for_100(&ledger, "broom-rooms"), json!("2"));
}

#[test]
fn a_file_says_zero_or_nothing_and_both_come_back_out() {
    let ledger = TestLedger::new();
    let operations = ledger.file(
        "operations.csv",
        "operation,task,driver,item,set_size,group,rates_by\nwax-off,set-up,area,,,,none\nwax-on,set-up,area,,,,none\n",
    );
    let rates = ledger.file(
        "rates.csv",
        "operation,condition,species,kind,driver_per_item,fixed_items,own_work\nwax-off,,,hours,100,0,300\nwax-on,,,hours,100,,300\n",
    );
    ledger.lines(&format!(
        "import operations {operations}\nimport book-rates {rates}"
    ));
    assert_eq!(hours_for_100(&ledger, "wax-off"), json!("1"));
    assert_eq!(hours_for_100(&ledger, "wax-on"), json!("1.3"));
    let out = ledger.line("export book-rates").ok();
    assert!(out.contains("\nwax-off,,,hours,100,0,300,"), "{out}");
    assert!(out.contains("\nwax-on,,,hours,100,,300,"), "{out}");
}

/// The packs of an item as sizes and prices.
fn packs(ledger: &TestLedger, item: &str) -> Vec<(String, String)> {
    let shown = ledger.json(&format!("item show {item}"));
    let text = |value: &serde_json::Value| value.as_str().unwrap().to_owned();
    let packs = shown["packs"].as_array().unwrap();
    packs
        .iter()
        .map(|pack| (text(&pack["size"]["quantity"]), text(&pack["price"])))
        .collect()
}

fn owned(packs: &[(&str, &str)]) -> Vec<(String, String)> {
    let packs = packs.iter();
    packs
        .map(|(size, price)| ((*size).to_owned(), (*price).to_owned()))
        .collect()
}

#[test]
fn a_pack_is_taken_out_by_a_word_and_the_last_one_stays() {
    let ledger = TestLedger::new();
    ledger.lines("item add rag --unit each --pack 3=8.10 --pack 30=63.00");
    ledger.lines("item edit rag --pack 3=none");
    assert_eq!(packs(&ledger, "rag"), owned(&[("30", "63.00")]));
    assert_eq!(ledger.json("item cover rag 3")["total"], json!("63.00"));
    assert_eq!(
        ledger.line("item edit rag --pack 30=none").refused(),
        "error: `30` is the last pack of rag: without one it would have no price"
    );
    assert_eq!(
        ledger.line("item edit rag --pack 4=none").refused(),
        "error: rag has no pack of `4`\nhint: packs: 30"
    );
    // One pack for another, in one command.
    ledger.lines("item edit rag --pack 30=none --pack 50=99.00");
    assert_eq!(packs(&ledger, "rag"), owned(&[("50", "99.00")]));
    ledger.lines("item add swab --unit each --pack 10=4.00\noperation add swab-rooms --task set-up --driver room --item swab");
    assert_eq!(
        ledger.line("item edit swab --pack 10=none").refused(),
        "error: `10` is the last pack of swab: without one it would have no price\n\
         hint: gritledger operation edit swab-rooms --item none"
    );
    ledger.run(&["check"]).ok();
}

#[test]
fn what_costs_nothing_is_asked_about() {
    let ledger = TestLedger::new();
    ledger.lines("item add rag --unit each --pack 30=63.00");
    let before = packs(&ledger, "rag");
    assert_eq!(
        ledger.line("item edit rag --pack 3=0").refused(),
        "error: a pack of 3 at `0` costs nothing; `none` would take it out of the book\n\
         hint: the same command with --confirm says that it is meant"
    );
    assert_eq!(packs(&ledger, "rag"), before);
    ledger.lines("item edit rag --pack 3=0 --confirm");
    assert_eq!(ledger.json("item cover rag 3")["total"], json!("0.00"));
    for line in [
        "item add felt --unit each --pack 5=0.00",
        "machine add fan --day 0",
        "machine edit rotary --half-day 0",
    ] {
        let refused = ledger.line(line).refused();
        assert!(refused.contains("costs nothing"), "{line}: {refused}");
        assert!(refused.ends_with("--confirm says that it is meant"));
    }
    // That nothing is asked for cleaning is nothing to wonder at.
    ledger.lines("machine edit rotary --cleaning 0");
}

#[test]
fn nails_are_set_and_filled_and_holes_in_boards_are_plugged() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        "finding add Landing board-holes 1
         finding add Landing board-holes 2
         quote draft \"4 Tannery Row\" --room Landing",
    );
    let quote = ledger.json("quote show Q1");
    let line = |operation: &str| {
        let lines = quote["lines"].as_array().unwrap().iter();
        let mut lines = lines.filter(|line| line["operation"] == json!(operation));
        let line = lines.next().unwrap();
        ["item_quantity", "load_quantity", "hours"].map(|key| line[key].clone())
    };
    // 12 nails: 12 / 2000 + 0.1 = 0.106 tubs of filler; 12 / 40 + 0.05 = 0.35 h.
    assert_eq!(
        line("set-nails"),
        [json!("0.11"), json!("1"), json!("0.35")]
    );
    // 1 hole and 2 more: three plugs; 3 / 6 + 0.1 = 0.6 h.
    assert_eq!(line("plug-holes"), [json!("3"), json!("3"), json!("0.6")]);
    let sheet = ledger
        .line("quote show Q1 --cautions")
        .ok()
        .replace("\n  ", " ");
    for told in [
        "Filler: overfill by 10 to 15 %",
        "after 1 h in small holes, 2 to 4 h over a floor, 6 h in large ones. (woodworkingadvisor.com)",
        "yellow glue cures in 12 to 24 h, and is sanded then. (ehow.com 6297980)",
    ] {
        assert!(sheet.contains(told), "{told}:\n{sheet}");
    }
}

#[test]
fn an_operation_says_when_what_it_does_can_be_sanded() {
    let ledger = TestLedger::new();
    let hours = |name: &str| ledger.json(&format!("operation show {name}"))["harden_hours"].clone();
    assert_eq!(hours("set-nails"), json!("4"));
    assert_eq!(hours("plug-holes"), json!("24"));
    assert_eq!(hours("fasten-squeaks"), json!(null));
    ledger.lines(
        "operation add fill-joints --task repair --driver length --harden-hours 2.5
         operation edit set-nails --harden-hours none",
    );
    let shown = ledger.line("operation show fill-joints").ok();
    assert!(shown.contains("Can be sanded after: 2.5 hours"), "{shown}");
    assert_eq!(hours("set-nails"), json!(null));
    for wrong in ["0", "-1", "721"] {
        let line = format!("operation edit set-nails --harden-hours {wrong}");
        assert_eq!(
            ledger.line(&line).refused(),
            format!(
                "error: what hardens takes more than 0 hours and 720 at most; `{wrong}` is not that"
            )
        );
    }
    // It leaves with the book, and a file without the column changes nothing of it.
    let book = ledger.line("export operations").ok();
    let other = TestLedger::new();
    let file = other.file("book.csv", &book);
    other.lines(&format!("import operations {file}"));
    assert_eq!(other.line("export operations").ok(), book);
    let file = other.file(
        "old.csv",
        "operation,task,driver,item,set_size,group,rates_by\nfill-joints,repair,length,,,,none\n",
    );
    other.lines(&format!("import operations {file}"));
    let kept = other.json("operation show fill-joints");
    assert_eq!(kept["harden_hours"], json!("2.5"));
}

/// What is out of use is neither listed nor guessed, quoted nor rented, stays in old jobs, and can be put back.
#[test]
fn what_is_out_of_use_stays_in_old_jobs_and_begins_no_new_one() {
    let ledger = TestLedger::job_open();
    for (line, whole, beginning, noun) in [
        ("item", "disc-7in-36", "disc-7in-3", "item"),
        ("machine", "rotary", "rota", "machine"),
        ("operation", "oil-coat", "oil-coa", "operation"),
    ] {
        ledger.line(&format!("{line} edit {whole} --inactive")).ok();
        let listed = ledger.line(&format!("{line} list")).ok();
        let is_named = |text: &str| {
            text.lines()
                .any(|row| row.split_whitespace().next() == Some(whole))
        };
        assert!(!is_named(&listed), "{listed}");
        let all = ledger.line(&format!("{line} list --all")).ok();
        assert!(all.contains(&format!("{whole} (inactive)")), "{all}");
        let shown = ledger.json(&format!("{line} show {whole}"));
        assert_eq!(shown["active"], serde_json::json!(false));
        let refused = ledger.line(&format!("{line} show {beginning}")).refused();
        assert!(
            refused.starts_with(&format!("error: no {noun} `{beginning}`")),
            "{refused}"
        );
        assert!(!refused.contains(&format!("names: {whole}\n")), "{refused}");
    }
    assert_eq!(
        ledger.line("rental out rotary").refused(),
        "error: machine `rotary` is out of use\nhint: gritledger machine edit rotary --active"
    );
    let quote = "quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule oil-2-coat";
    for hint in [
        "item edit disc-7in-36",
        "machine edit rotary",
        "operation edit oil-coat",
    ] {
        let (noun, name) = hint.split_once(" edit ").unwrap();
        assert_eq!(
            ledger.line(quote).refused(),
            format!("error: {noun} `{name}` is out of use\nhint: gritledger {hint} --active")
        );
        // The old job goes on.
        ledger.line("job show J1").ok();
        ledger.line(&format!("{hint} --active")).ok();
    }
    ledger.line(quote).ok();
    ledger.line("use disc-7in-36 6 --room Landing").ok();
    // Set-up that is out of use isn't done any more, and a finding has no answer.
    ledger.line("operation edit vacuum-room --inactive").ok();
    let drafted = ledger.line(quote).ok();
    assert!(!drafted.contains("vacuum-room"), "{drafted}");
    ledger.line("operation edit set-nails --inactive").ok();
    assert_eq!(
        ledger.line(quote).refused(),
        "error: no operation of the book puts `proud-nails` right in `Landing`"
    );
    assert!(
        ledger
            .line("finding add Landing proud-nails 3")
            .refused()
            .starts_with("error: ")
    );
    ledger.line("worker edit \"Ruben Vale\" --inactive").ok();
    assert_eq!(ledger.line("worker list").ok().trim(), "No workers yet.");
    assert!(ledger.line("worker list --all").ok().contains("inactive"));
    assert_eq!(
        ledger.line("item edit rotary --inactive --active").code(),
        2
    );
    let log = ledger.line("log").ok();
    assert!(
        log.contains("Took item disc-7in-36 out of use.")
            && log.contains("Put item disc-7in-36 back in use."),
        "{log}"
    );
}

/// What is out of use is so in a file too, and what a file says nothing of stays as it is.
#[test]
fn a_file_of_items_and_operations_says_what_is_out_of_use() {
    let ledger = TestLedger::new();
    ledger.lines("item edit disc-7in-36 --inactive\noperation edit rotary-36 --inactive");
    let other = TestLedger::new();
    for kind in ["items", "operations"] {
        let written = ledger.line(&format!("export {kind}")).ok();
        let file = other.file(&format!("{kind}.csv"), &written);
        other.line(&format!("import {kind} {file}")).ok();
        assert_eq!(other.line(&format!("export {kind}")).ok(), written);
    }
    assert_eq!(
        other.json("item show disc-7in-36")["active"],
        serde_json::json!(false)
    );
    let file = other.file("plain.csv", "item,unit\ndisc-7in-36,disc\n");
    other.line(&format!("import items {file}")).ok();
    assert_eq!(
        other.json("item show disc-7in-36")["active"],
        serde_json::json!(false)
    );
}

#[test]
fn what_is_put_back_in_use_is_known_by_how_its_name_begins() {
    let ledger = TestLedger::tannery_row();
    ledger.lines("item edit disc-7in-36 --inactive\nworker edit \"Ruben Vale\" --inactive");
    ledger.lines("item edit disc-7in-3 --active\nworker edit rub --active");
    assert_eq!(ledger.json("item show disc-7in-36")["active"], true);
    ledger.lines("item edit disc-7in-36 --inactive\nitem edit disc-7in-80 --inactive");
    assert_eq!(
        ledger.line("item edit disc-7in --active").refused(),
        "error: `disc-7in` could be any item of `disc-7in-36`, `disc-7in-80`"
    );
    assert_eq!(
        ledger.line("item edit disc-99 --active").refused(),
        "error: no item `disc-99`"
    );
}
