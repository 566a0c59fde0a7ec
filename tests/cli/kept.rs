//! What is kept as JSON: read by its format, and told by its row when it can't be.

use serde_json::json;

use crate::harness::TestLedger;

/// Changes rows past the triggers that keep them.
fn damage(ledger: &TestLedger, triggers: &[&str], statement: &str) {
    let file = ledger.raw();
    for trigger in triggers {
        file.execute_batch(&format!("DROP TRIGGER {trigger}"))
            .unwrap();
    }
    file.execute_batch(statement).unwrap();
}

/// Two jobs: that of the documentation's example, and one planned as a house.
fn two_jobs() -> TestLedger {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        hours "Ruben Vale" 2.5 --on sand --room Landing
        job close J1
        client add "Bo Wren"
        site add "Bo Wren" "9 Mill Lane" --year-built 1990
        room add "9 Mill Lane" "Hall" --shape "12 x 10" --condition bare --species red-oak --door "outside:2'8\""
        plan house "9 Mill Lane" --start 2026-03-09 --accept
        quote send Q2
        quote accept Q2
        "#,
    );
    ledger
}

fn problems(ledger: &TestLedger) -> String {
    let run = ledger.run(&["check"]);
    assert_eq!(run.code(), 1, "{run}");
    run.stdout()
}

#[test]
fn each_kept_text_that_cant_be_read_is_one_problem_among_others() {
    let ledger = two_jobs();
    ledger.run(&["check"]).ok();
    damage(
        &ledger,
        &["quote_stays", "quote_rate_stays", "house_plan_stays"],
        "UPDATE quote SET tax_minor = tax_minor + 1 WHERE id = 1;
         UPDATE quote SET outlook = json_remove(outlook, '$.kept.p80') WHERE id = 2;
         UPDATE quote_rate SET rate = json_set(rate, '$.kept.rooms', 'many') WHERE quote_id = 1;
         UPDATE house_plan SET plan = json_set(plan, '$.format', 9);
         UPDATE rate_fit SET fit = json_set(fit, '$.kept.pools[0].posterior.root', json('null'));",
    );
    let problems = problems(&ledger);
    for told in [
        "quote Q1: tax is",
        "the outlook of quote Q2 can't be read: missing field `p80`",
        "the rate of quote Q1 can't be read: invalid type: string \"many\"",
        "the plan of quote Q2 is kept in format 9, and this program reads format 1",
        "the fit of the rates can't be read: invalid type: null",
    ] {
        assert!(problems.contains(told), "{told}:\n{problems}");
    }
}

#[test]
fn what_doesnt_rest_on_a_damaged_outlook_is_answered() {
    let ledger = two_jobs();
    let before = (
        ledger.json("quote list"),
        ledger.json("report margin"),
        ledger.json("job show J2"),
    );
    damage(
        &ledger,
        &["quote_stays"],
        r#"UPDATE quote SET outlook = '{"format":1,"kept":{}}' WHERE id = 2"#,
    );
    let after = (
        ledger.json("quote list"),
        ledger.json("report margin"),
        ledger.json("job show J2"),
    );
    assert_eq!(before, after);
    ledger.lines("invoice final J2\ninvoice issue J2");
    assert!(
        ledger
            .line("quote show Q2")
            .refused()
            .contains("error: the outlook of quote Q2 can't be read: missing field `draws`")
    );
    ledger.line("quote show Q1").ok();
}

#[test]
fn a_fit_that_cant_be_read_is_made_again() {
    let ledger = two_jobs();
    let before = ledger.json("rate list --learned");
    damage(&ledger, &[], "UPDATE rate_fit SET fit = 'torn'");
    assert_eq!(ledger.json("rate list --learned"), before);
    assert_eq!(ledger.json("check")["ok"], json!(true));
}

#[test]
fn a_newer_format_is_refused_in_words() {
    let ledger = two_jobs();
    damage(
        &ledger,
        &["quote_stays"],
        "UPDATE quote SET outlook = json_set(outlook, '$.format', 2) WHERE id = 1",
    );
    assert_eq!(
        ledger.line("quote show Q1").refused(),
        "error: the outlook of quote Q1 is kept in format 2, and this program reads format 1\n\
         hint: use the program that wrote it, or a newer one"
    );
}
