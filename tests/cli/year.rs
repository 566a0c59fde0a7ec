//! A year's figures: what an accountant is handed.

use crate::harness::{TestLedger, split};

/// A quarter of an invented firm, day by day. Its figures are worked out by hand in the tests that ask for them.
///
/// An hour of Ruben Vale costs 28.00 × 1.25 = 35.00, a mile 0.70, a disc 96.00 ÷ 30 = 3.20.
const QUARTER: &str = r#"
    2026-01-02 setting set burden 1.25
    2026-01-02 setting set overhead 10%
    2026-01-02 setting set mile-rate 0.70
    2026-01-02 worker add "Ruben Vale" --wage 28.00
    2026-01-02 tax-area add "Ash County" 7.5 --from 2025-01-01
    2026-01-02 client add "Ada Quill" --address "9 Cooper Lane"
    2026-01-02 site add "Ada Quill" "4 Tannery Row" --year-built 1931 --tax-area "Ash County" --distance 7
    2026-01-02 room add "4 Tannery Row" Landing --shape "10 x 4.5" --condition worn-film --species red-oak
    2026-01-02 quote draft "4 Tannery Row" --sequence rotary-36-50-80 --schedule none --price 1000
    2026-01-02 quote send Q1
    2026-01-05 quote accept Q1
    2026-01-05 job start J1
    2026-01-07 invoice deposit J1 --amount 200
    2026-01-07 invoice issue J1
    2026-01-08 buy disc-7in-36 30 --cost 96.00
    2026-01-09 use disc-7in-36 10 --room Landing
    2026-01-09 hours "Ruben Vale" 8 --room Landing --on sand
    2026-01-09 drive 14 --note "to the floor and back"
    2026-01-09 rental out rotary --at "2026-01-09 08:00"
    2026-01-09 rental back rotary --at "2026-01-09 17:00" --charged 84.00
    2026-01-12 payment add I1 215 --note "check 12"
    2026-01-12 spent 45.50 --for disposal
    2026-02-03 hours "Ruben Vale" 6 --room Landing --on sand
    2026-02-03 use disc-7in-50 3 --room Landing
    2026-02-10 spent 300 --for insurance --no-job
    2026-02-11 hours "Ruben Vale" 2 --no-job --note "estimate visit"
    2026-02-11 drive 40 --no-job --note "estimate visit"
    2026-02-16 buy disc-7in-50 30 --cost 90.00
    2026-02-16 hand-back disc-7in-36 5 --refund 15.00
    2026-02-20 stock count disc-7in-36 14
    2026-03-02 job close J1
    2026-03-03 invoice final J1
    2026-03-03 invoice issue J1
    2026-03-05 invoice credit I2 --line 1 --amount 100 --reason "a scratch" --issue
    2026-03-16 payment add I2 600
    2026-03-20 invoice write-off I2 52.50 --reason "moved away"
"#;

/// Types lines, each behind its day.
fn typed(ledger: &TestLedger, lines: &str) {
    for line in lines.lines().map(str::trim).filter(|line| !line.is_empty()) {
        let (day, line) = line.split_once(' ').expect("a day and a line");
        on(ledger, day, line).ok();
    }
}

/// Runs one line on a day.
fn on(ledger: &TestLedger, day: &str, line: &str) -> crate::harness::Run {
    let words = split(line);
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    ledger.run_with(&words, &[("GRITLEDGER_TODAY", &format!("{day} 18:00"))])
}

fn quarter() -> TestLedger {
    let ledger = TestLedger::nowhere().on("2026-03-31");
    on(
        &ledger,
        "2026-01-02",
        "init --business \"Marsh End Floors\" --country US --quiet",
    )
    .ok();
    typed(&ledger, QUARTER);
    ledger
}

#[test]
fn an_accountant_is_handed_the_records_of_a_time() {
    let ledger = quarter();
    for (kind, rows) in [
        (
            "invoices",
            "invoice,kind,issued_on,due_on,job,client,client_tax_number,site,net,tax,rounding,total,tax_percents,exemption,credits,reason,currency
I1,deposit,2026-01-07,2026-01-21,J1,Ada Quill,,4 Tannery Row,200.00,15.00,0.00,215.00,7.5,,,,USD
I2,final,2026-03-03,2026-03-17,J1,Ada Quill,,4 Tannery Row,800.00,60.00,0.00,860.00,7.5,,,,USD
I3,credit,2026-03-05,2026-03-05,J1,Ada Quill,,4 Tannery Row,-100.00,-7.50,0.00,-107.50,7.5,,I2,a scratch,USD
",
        ),
        (
            "payments",
            "date,payment,kind,invoice,client,amount,applied_to,note,currency
2026-01-12,P1,received,I1,Ada Quill,215.00,,check 12,USD
2026-03-16,P2,received,I2,Ada Quill,600.00,,,USD
",
        ),
        (
            "expenses",
            "date,entry,kind,what,quantity,unit,amount,job,client,note,currency
2026-01-08,E1,bought,disc-7in-36,30,disc,96.00,,,,USD
2026-01-09,E6,rented,rotary,,,84.00,J1,Ada Quill,,USD
2026-01-12,E7,spent,disposal,,,45.50,J1,Ada Quill,,USD
2026-02-10,E10,spent,insurance,,,300.00,,,,USD
2026-02-16,E13,bought,disc-7in-50,30,disc,90.00,,,,USD
2026-02-16,E14,handed back,disc-7in-36,5,disc,-15.00,,,,USD
",
        ),
        (
            "mileage",
            "date,entry,distance,unit,rate,amount,job,client,place,purpose,currency
2026-01-09,E4,14,mi,0.7,9.80,J1,Ada Quill,4 Tannery Row,to the floor and back,USD
2026-02-11,E12,40,mi,0.7,28.00,,,,estimate visit,USD
",
        ),
        (
            "quotes",
            "quote,option,client,site,variation_of,drafted_on,sent_on,valid_until,decided,decided_on,price,tax,rounding,currency
Q1,,Ada Quill,4 Tannery Row,,2026-01-02,2026-01-02,2026-02-01,accepted,2026-01-05,1000.00,75.00,0.00,USD
",
        ),
        // 10 × 3.20 + 3 × 3.00 + (8 + 6) × 35.00 + 9.80 + 84.00 + 45.50 = 670.30.
        (
            "jobs",
            "job,client,site,state,agreed_on,started_on,closed_on,cancelled_on,price,invoiced,paid,cost,currency
J1,Ada Quill,4 Tannery Row,closed,2026-01-05,2026-01-05,2026-03-02,,1000.00,900.00,815.00,670.30,USD
",
        ),
    ] {
        let said = ledger.line(&format!("export {kind} --from 2026-01-01 --to 2026-03-31")).ok();
        assert_eq!(said, rows.replace('\n', "\r\n"));
    }
    // The days are the first and the last that count.
    let dates = |from: &str, to: &str| {
        let said = ledger
            .line(&format!("export expenses --from {from} --to {to}"))
            .ok();
        said.lines()
            .skip(1)
            .map(|row| row[..10].to_owned())
            .collect::<Vec<_>>()
    };
    assert_eq!(
        dates("2026-01-12", "2026-02-10"),
        ["2026-01-12", "2026-02-10"]
    );
    assert_eq!(dates("2026-01-13", "2026-02-09"), [""; 0]);
}

#[test]
fn what_is_taken_back_is_no_record_and_what_is_paid_back_is_one() {
    let ledger = quarter();
    typed(
        &ledger,
        r#"
        2026-03-21 void E7 --reason "another firm's"
        2026-03-22 payment add I2 20 --keep-credit
        2026-03-23 payment void P3 --reason bounced
        2026-03-24 payment add I2 200 --keep-credit
        2026-03-25 payment refund I2 47.50 --note "by transfer"
        "#,
    );
    let payments = ledger.line("export payments --from 2026-03-20").ok();
    assert_eq!(
        payments.lines().skip(1).collect::<Vec<_>>(),
        [
            "2026-03-24,P4,received,I2,Ada Quill,200.00,,,USD",
            "2026-03-25,P4,paid back,I2,Ada Quill,-47.50,,by transfer,USD"
        ]
    );
    assert!(!ledger.line("export expenses").ok().contains("disposal"));
}

#[test]
fn a_time_and_a_file_are_told_apart() {
    let ledger = quarter();
    let said = ledger.line("export payments --to 2026-02-01 --to payments.csv");
    assert_eq!(said.stderr(), "Wrote payments.csv.\n");
    let written = std::fs::read_to_string(ledger.folder().join("payments.csv")).unwrap();
    assert_eq!(written, ledger.line("export payments --to 2026-02-01").ok());
    for (line, words) in [
        (
            "export rooms --from 2026-01-01",
            "error: `export rooms` writes all of them, of no time\nhint: gritledger export rooms",
        ),
        (
            "export payments --to 2026-02-01 --to 2026-02-02",
            "error: --to names two days: one day and one file are enough",
        ),
        (
            "export payments --to a.csv --to b.csv",
            "error: --to names two files: one day and one file are enough",
        ),
        (
            "export payments --from 2026-02-02 --to 2026-02-01",
            "error: 2026-02-02 is after 2026-02-01: no day is in that time",
        ),
    ] {
        assert_eq!(ledger.line(line).refused(), words, "{line}");
    }
    let said = ledger.line("export years");
    assert_eq!(said.code(), 2);
    assert!(
        said.stderr()
            .contains("one of: invoices, payments, expenses, mileage, quotes, jobs, clients"),
        "{said}"
    );
}
