//! How the demo's answers read: what a person sees first of the program, in a window and on a phone.
//!
//! Only the answers that everybody meets; the joints are held by `on_paper.rs`, whose figures were worked by hand. What
//! changes here is read before it is renewed with `INSTA_UPDATE=always`.

use crate::harness::TestLedger;

#[test]
fn the_demo_reads_as_it_was_read() {
    let ledger = TestLedger::nowhere();
    let written = ledger.run_with(&["demo", "--to", "t.db"], &[("COLUMNS", "80")]);
    insta::assert_snapshot!("demo_80", written.ok());
    for (name, line) in [
        ("today", "today"),
        ("margin", "report margin"),
        ("quote", "quote show Q22"),
    ] {
        let words: Vec<&str> = line.split(' ').collect();
        for columns in ["80", "45"] {
            let text = ledger.run_with(&words, &[("COLUMNS", columns)]).ok();
            insta::assert_snapshot!(format!("{name}_{columns}"), text);
        }
    }
    let phone = TestLedger::nowhere();
    let written = phone.run_with(&["demo", "--to", "t.db"], &[("COLUMNS", "45")]);
    insta::assert_snapshot!("demo_45", written.ok());
}

/// Who decides on a price reads no further than the first page of a small terminal.
#[test]
fn a_quote_s_decision_fits_the_first_page() {
    let ledger = TestLedger::nowhere();
    ledger.line("demo --to t.db").ok();
    let text = ledger
        .run_with(&["quote", "show", "Q22"], &[("COLUMNS", "80")])
        .ok();
    let first: String = text.lines().take(24).collect::<Vec<_>>().join("\n");
    let answer = "Q22: 1864.63 USD; cost 1212.01 at most, 80 % sure, 17.83 h, chance of a loss\n\
                  0.0 %, risk replace-boards.";
    assert!(first.starts_with(answer), "{first}");
    for part in [
        "\nRoom ",
        "\nLanding ",
        "\nRent ",
        "\nbuffer ",
        "\nMargin: 35 % ",
    ] {
        assert!(first.contains(part), "{part} in {first}");
    }
}
