//! Numbers that are each believable, or nearly, and together beyond what can be counted: refused in words, nothing written.

use crate::harness::TestLedger;

const BEYOND: &str = "error: these numbers come to more than can be counted: one of them is a slip";

#[test]
fn what_comes_to_more_than_can_be_counted_is_refused_and_writes_nothing() {
    let ledger = TestLedger::tannery_row();
    ledger.lines(
        r#"
        room add "4 Tannery Row" Hall --shape "300 x 300" --condition glue --species hickory --door "Landing:3'" --confirm
        finding add Hall proud-nails 10000
        finding add Hall missing-quarter-round 10000
        rate set rotary-36 --kind item --per 0.0001
        setting set default-sequence rotary-36-50-80
        item edit disc-7in-36 --pack 30=100000000
        "#,
    );
    let before = std::fs::read(ledger.path()).unwrap();
    // 90,000 sq ft at a ten-thousandth of a square foot a disc, each at 3,333,333.33: 3 × 10^15, and 10^10 is kept.
    for line in [
        "quote draft \"4 Tannery Row\" --room Hall",
        "quote draft \"4 Tannery Row\" --room Hall --json",
        "quote draft \"4 Tannery Row\" --room Landing --option \"All: with=Hall\"",
    ] {
        assert_eq!(ledger.line(line).refused(), BEYOND, "{line}");
        assert_eq!(std::fs::read(ledger.path()).unwrap(), before, "{line}");
    }
}

#[test]
fn an_entry_of_more_than_is_kept_is_refused() {
    let ledger = TestLedger::job_open();
    ledger.lines("item edit disc-7in-36 --pack 30=100000000");
    // 10,000,000 discs at 3,333,333.33 come to 33,333,333,333,333.33: countable, and no entry's amount.
    assert_eq!(ledger.line("use disc-7in-36 10000000").refused(), BEYOND);
    // A hundred packs are 10,000,000,000.00, the largest amount that is kept.
    ledger.line("use disc-7in-36 3000").ok();
    assert_eq!(ledger.line("use disc-7in-36 3001").refused(), BEYOND);
    ledger.line("report margin J1").ok();
    assert_eq!(ledger.json("check")["ok"], true);
}
