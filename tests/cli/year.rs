//! A year's figures: what an accountant is handed.

use std::collections::BTreeMap;

use serde_json::json;

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
            "date,payment,kind,invoice,client,amount,applied_to,note,of_closed,currency
2026-01-12,P1,received,I1,Ada Quill,215.00,,check 12,,USD
2026-03-16,P2,received,I2,Ada Quill,600.00,,,,USD
",
        ),
        (
            "expenses",
            "date,entry,kind,what,quantity,unit,amount,job,client,note,of_closed,currency
2026-01-08,E1,bought,disc-7in-36,30,disc,96.00,,,,,USD
2026-01-09,E6,rented,rotary,,,84.00,J1,Ada Quill,,,USD
2026-01-12,E7,spent,disposal,,,45.50,J1,Ada Quill,,,USD
2026-02-10,E10,spent,insurance,,,300.00,,,,,USD
2026-02-16,E13,bought,disc-7in-50,30,disc,90.00,,,,,USD
2026-02-16,E14,handed back,disc-7in-36,5,disc,-15.00,,,,,USD
",
        ),
        (
            "mileage",
            "date,entry,distance,unit,rate,amount,job,client,place,purpose,of_closed,currency
2026-01-09,E4,14,mi,0.7,9.80,J1,Ada Quill,4 Tannery Row,to the floor and back,,USD
2026-02-11,E12,40,mi,0.7,28.00,,,,estimate visit,,USD
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
            "2026-03-24,P4,received,I2,Ada Quill,200.00,,,,USD",
            "2026-03-25,P4,paid back,I2,Ada Quill,-47.50,,by transfer,,USD"
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
        (
            "export payments --as-of 2026-02-01",
            "error: --as-of is for `export accounts`, not for payments",
        ),
        (
            "export rooms --as-of 2026-02-01",
            "error: --as-of is for `export accounts`, not for rooms",
        ),
        (
            "report year --as-of 2026-04-01",
            "error: 2026-04-01 is after today, 2026-03-31",
        ),
    ] {
        assert_eq!(ledger.line(line).refused(), words, "{line}");
    }
    let said = ledger.line("export years");
    assert_eq!(said.code(), 2);
    assert!(
        said.stderr().contains(
            "one of: invoices, payments, expenses, mileage, quotes, jobs, accounts, clients"
        ),
        "{said}"
    );
}

#[test]
fn a_quarter_worked_by_hand_is_what_the_report_says() {
    let ledger = quarter();
    let year = ledger.json("report year 2026");
    for (figure, amount) in [
        // 200.00 + 800.00 − 100.00
        ("revenue", "900.00"),
        // (8 + 6) × 35.00
        ("labour", "490.00"),
        // 10 × 3.20 + 3 × 3.00: the three came before their receipt, 90.00 for 30
        ("consumables", "41.00"),
        ("rental", "84.00"),
        // 14 × 0.70
        ("driving", "9.80"),
        ("other", "45.50"),
        // 490.00 + 41.00 + 84.00 + 9.80 + 45.50
        ("job_costs", "670.30"),
        // 900.00 − 670.30
        ("gross_margin", "229.70"),
        // 2 × 35.00
        ("overhead_labour", "70.00"),
        // 40 × 0.70
        ("overhead_driving", "28.00"),
        ("overhead_other", "300.00"),
        ("overheads", "398.00"),
        // 490.00 × 10 %
        ("overheads_recovered", "49.00"),
        // 860.00 − 107.50 − 600.00 − 52.50 are owed still
        ("written_off", "52.50"),
        // five at 3.20 went back for 15.00, and one of the fifteen that were left was missing: 1.00 + 3.20
        ("shelf_loss", "4.20"),
        // 229.70 − 398.00 − 52.50 − 4.20
        ("result", "-225.00"),
    ] {
        assert_eq!(year[figure], json!(amount), "{figure}");
    }
    // 15.00 + 60.00 − 7.50
    assert_eq!(
        year["tax"],
        json!([{ "area": "Ash County", "percent": 7.5, "net": "900.00", "tax": "67.50" }])
    );
    // 16 × 28.00, and a quarter of that on top
    assert_eq!(
        year["wages"],
        json!([{ "worker": "Ruben Vale", "hours": "16", "wage": "448.00", "on_top": "112.00", "cost": "560.00" }])
    );
    assert_eq!(
        year["driven"],
        json!([{ "distance": "54", "unit": "mi", "rate": "0.70", "amount": "37.80" }])
    );
    // 14 × 3.20 and 27 × 3.00
    assert_eq!(
        year["shelf"],
        json!([{ "item": "disc-7in-36", "quantity": "14", "unit": "disc", "value": "44.80" },
               { "item": "disc-7in-50", "quantity": "27", "unit": "disc", "value": "81.00" }])
    );
    let part = |list: &str, place: usize| {
        let part = &year[list][place];
        ["name", "revenue", "job_costs", "overheads", "result"]
            .map(|key| part[key].as_str().unwrap().to_owned())
    };
    // 32.00 + 280.00 + 9.80 + 84.00 + 45.50 in January; 210.00 + 9.00, and 4.20 lost, in February
    assert_eq!(
        part("by_month", 0),
        ["2026-01", "200.00", "451.30", "0.00", "-251.30"]
    );
    assert_eq!(
        part("by_month", 1),
        ["2026-02", "0.00", "219.00", "398.00", "-621.20"]
    );
    assert_eq!(
        part("by_month", 2),
        ["2026-03", "700.00", "0.00", "0.00", "647.50"]
    );
    // 900.00 − 670.30 − 52.50; the rest is nobody's
    assert_eq!(
        part("by_client", 0),
        ["Ada Quill", "900.00", "670.30", "0.00", "177.20"]
    );
    assert_eq!(
        part("by_client", 1),
        ["", "0.00", "0.00", "398.00", "-402.20"]
    );
    // Overheads tie to their own report, and the job to its day book.
    assert_eq!(ledger.json("report overheads")["total"], json!("398.00"));
    assert_eq!(
        ledger.json("report margin J1")["jobs"][0]["actual_cost"],
        json!("719.30"),
        "670.30 + 49.00"
    );
}

/// The quarter's accounts, worked out on paper.
const ACCOUNTS: &str = "date,document,account,debit,credit,note,currency
2026-01-07,I1,Owed by clients,215.00,,\"deposit invoice, Ada Quill\",USD
2026-01-07,I1,Tax collected,,15.00,\"deposit invoice, Ada Quill\",USD
2026-01-07,I1,Floor work,,200.00,\"deposit invoice, Ada Quill\",USD
2026-01-08,E1,Consumables on the shelf,96.00,,\"bought, disc-7in-36\",USD
2026-01-08,E1,Bank and cash,,96.00,\"bought, disc-7in-36\",USD
2026-01-09,E2,Consumables on jobs,32.00,,\"used, disc-7in-36\",USD
2026-01-09,E2,Consumables on the shelf,,32.00,\"used, disc-7in-36\",USD
2026-01-09,E3,Labour on jobs,280.00,,\"hours, Ruben Vale\",USD
2026-01-09,E3,Wages to pay,,280.00,\"hours, Ruben Vale\",USD
2026-01-09,E4,Driving for jobs,9.80,,\"driven, to the floor and back\",USD
2026-01-09,E4,Own vehicle,,9.80,\"driven, to the floor and back\",USD
2026-01-09,E6,Rented machines,84.00,,\"rented, rotary\",USD
2026-01-09,E6,Bank and cash,,84.00,\"rented, rotary\",USD
2026-01-12,E7,Other costs of jobs,45.50,,\"spent, disposal\",USD
2026-01-12,E7,Bank and cash,,45.50,\"spent, disposal\",USD
2026-01-12,P1,Bank and cash,215.00,,\"received, Ada Quill, check 12\",USD
2026-01-12,P1,Owed by clients,,215.00,\"received, Ada Quill, check 12\",USD
2026-02-03,E8,Labour on jobs,210.00,,\"hours, Ruben Vale\",USD
2026-02-03,E8,Wages to pay,,210.00,\"hours, Ruben Vale\",USD
2026-02-03,E9,Consumables on jobs,5.85,,\"used, disc-7in-50\",USD
2026-02-03,E9,Used before its receipt,,5.85,\"used, disc-7in-50\",USD
2026-02-10,E10,Costs of no job,300.00,,\"spent, insurance\",USD
2026-02-10,E10,Bank and cash,,300.00,\"spent, insurance\",USD
2026-02-11,E11,Hours of no job,70.00,,\"hours, Ruben Vale, estimate visit\",USD
2026-02-11,E11,Wages to pay,,70.00,\"hours, Ruben Vale, estimate visit\",USD
2026-02-11,E12,Driving of no job,28.00,,\"driven, estimate visit\",USD
2026-02-11,E12,Own vehicle,,28.00,\"driven, estimate visit\",USD
2026-02-16,E13,Used before its receipt,5.85,,\"bought, disc-7in-50\",USD
2026-02-16,E13,Consumables on jobs,3.15,,\"bought, disc-7in-50\",USD
2026-02-16,E13,Consumables on the shelf,81.00,,\"bought, disc-7in-50\",USD
2026-02-16,E13,Bank and cash,,90.00,\"bought, disc-7in-50\",USD
2026-02-16,E14,Bank and cash,15.00,,\"handed back, disc-7in-36\",USD
2026-02-16,E14,Lost from the shelf,1.00,,\"handed back, disc-7in-36\",USD
2026-02-16,E14,Consumables on the shelf,,16.00,\"handed back, disc-7in-36\",USD
2026-02-20,E15,Lost from the shelf,3.20,,\"counted, disc-7in-36\",USD
2026-02-20,E15,Consumables on the shelf,,3.20,\"counted, disc-7in-36\",USD
2026-03-03,I2,Owed by clients,860.00,,\"final invoice, Ada Quill\",USD
2026-03-03,I2,Tax collected,,60.00,\"final invoice, Ada Quill\",USD
2026-03-03,I2,Floor work,,800.00,\"final invoice, Ada Quill\",USD
2026-03-05,I3,Tax collected,7.50,,\"credit note, Ada Quill, a scratch\",USD
2026-03-05,I3,Floor work,100.00,,\"credit note, Ada Quill, a scratch\",USD
2026-03-05,I3,Owed by clients,,107.50,\"credit note, Ada Quill, a scratch\",USD
2026-03-16,P2,Bank and cash,600.00,,\"received, Ada Quill\",USD
2026-03-16,P2,Owed by clients,,600.00,\"received, Ada Quill\",USD
2026-03-20,I2,Written off,52.50,,\"written off, Ada Quill\",USD
2026-03-20,I2,Owed by clients,,52.50,\"written off, Ada Quill\",USD
";

/// Returns what each account of an export comes to, debits less credits, in cents.
fn balances(csv: &str) -> BTreeMap<String, i64> {
    let mut balances = BTreeMap::new();
    for row in csv::Reader::from_reader(csv.as_bytes()).records() {
        let row = row.unwrap();
        let cents = |cell: &str| cell.replace('.', "").parse::<i64>().unwrap_or_default();
        *balances.entry(row[2].to_owned()).or_default() += cents(&row[3]) - cents(&row[4]);
    }
    balances
}

#[test]
fn every_line_of_the_accounts_is_what_paper_says() {
    let ledger = quarter();
    let said = ledger
        .line("export accounts --from 2026-01-01 --to 2026-03-31")
        .ok();
    // The book's price of a disc is 58.50 for 30: three of them 5.85, and 9.00 − 5.85 when their receipt came.
    assert_eq!(said, ACCOUNTS.replace('\n', "\r\n"));
    let balances = balances(&said);
    // 215.00 + 600.00 + 15.00 − 96.00 − 84.00 − 45.50 − 300.00 − 90.00
    assert_eq!(balances["Bank and cash"], 21_450);
    // What is owed by their own report: 860.00 − 107.50 − 600.00 − 52.50.
    assert_eq!(balances["Owed by clients"], 10_000);
    assert_eq!(ledger.json("report receivables")["total"], json!("100.00"));
    assert_eq!(balances["Floor work"], -90_000);
    assert_eq!(balances["Used before its receipt"], 0);
    assert_eq!(balances.values().sum::<i64>(), 0);
    // What there is, 214.50 + 100.00 + 125.80, is what is owed, 67.50 + 560.00 + 37.80, and the result.
    let has = [
        "Bank and cash",
        "Owed by clients",
        "Consumables on the shelf",
    ]
    .map(|account| balances[account]);
    let owes = ["Tax collected", "Wages to pay", "Own vehicle"].map(|account| balances[account]);
    assert_eq!(has.iter().sum::<i64>() + owes.iter().sum::<i64>(), -22_500);
}

#[test]
fn an_account_has_the_name_that_the_firm_gives_it() {
    let ledger = quarter();
    let said = ledger.line("account rename money \"Current account\"");
    assert_eq!(
        said.stderr(),
        "The account money is called Current account.\n"
    );
    let said = ledger.line("account rename \"current acc\" Giro");
    assert_eq!(said.stderr(), "The account money is called Giro.\n");
    assert!(
        ledger
            .line("export accounts")
            .ok()
            .contains(",E1,Giro,,96.00,")
    );
    assert_eq!(
        ledger.line("account rename shelf giro").refused(),
        "error: the account money is called `Giro` already\nhint: gritledger account rename money \"ANOTHER NAME\""
    );
    assert_eq!(
        ledger.line("account rename nowhere Somewhere").refused(),
        "error: no account `nowhere`"
    );
    insta::assert_snapshot!(
        "accounts_80",
        ledger
            .run_with(&["account", "list"], &[("COLUMNS", "80")])
            .ok()
    );
}

#[test]
fn the_year_holds_at_any_width() {
    let ledger = quarter();
    for width in ["45", "60", "80", "120"] {
        let year = ledger
            .run_with(&["report", "year", "2026"], &[("COLUMNS", width)])
            .ok();
        insta::assert_snapshot!(format!("year_{width}"), year);
    }
    for (width, line) in [
        ("45", "report year 2026 --mileage"),
        ("100", "report year 2026 --mileage"),
        ("80", "report year --by client"),
    ] {
        let words: Vec<&str> = line.split(' ').collect();
        let said = ledger.run_with(&words, &[("COLUMNS", width)]).ok();
        insta::assert_snapshot!(format!("{}_{width}", line.replace([' ', '-'], "_")), said);
    }
}

#[test]
fn a_day_sees_what_was_known_then_whatever_comes_later() {
    let ledger = quarter();
    let ask = |as_of: &str| {
        let year = ledger
            .line(&format!("report year 2026 --as-of {as_of} --json"))
            .ok();
        let accounts = ledger
            .line(&format!("export accounts --as-of {as_of} --to {as_of}"))
            .ok();
        (year, accounts)
    };
    let days = [
        "2026-01-08",
        "2026-01-31",
        "2026-02-12",
        "2026-03-10",
        "2026-03-31",
    ];
    let before: Vec<_> = days.map(ask).into();
    for day in days {
        // What is owed by the accounts on a day is what the report said then.
        let owed = ledger.json(&format!("report receivables --as-of {day}"))["total"].clone();
        let accounts = ask(day).1;
        let owed: i64 = owed.as_str().unwrap().replace('.', "").parse().unwrap();
        assert_eq!(
            balances(&accounts)
                .get("Owed by clients")
                .copied()
                .unwrap_or_default(),
            owed,
            "{day}"
        );
    }
    typed(
        &ledger,
        r#"
        2026-04-01 void E7 --reason "another firm's"
        2026-04-01 spent 12.00 --for parking --job J1 --date 2026-01-10 --confirm
        2026-04-02 buy disc-7in-36 10 --cost 50.00 --date 2026-01-07 --confirm
        2026-04-02 void E1 --reason "typed twice"
        2026-04-03 payment void P2 --reason bounced
        2026-04-03 payment add I2 100 --date 2026-03-10 --confirm
        2026-04-04 invoice write-off I2 --undo --reason "they pay"
        "#,
    );
    let after: Vec<_> = days.map(ask).into();
    assert_eq!(before, after);
    let now = on(&ledger, "2026-04-04", "report year 2026 --json").ok();
    assert_ne!(now, before[4].0);
}

#[test]
fn what_is_closed_never_moves_and_what_comes_later_says_what_it_corrects() {
    let ledger = quarter();
    let closed = |ledger: &TestLedger| {
        let at = |line: &str| on(ledger, "2026-06-30", line).ok();
        (
            at("report year --from 2026-01-01 --to 2026-01-31 --json"),
            at("export accounts --to 2026-01-31"),
            at("export payments --to 2026-01-31"),
            at("export expenses --to 2026-01-31"),
            at("export mileage --to 2026-01-31"),
        )
    };
    let said = on(
        &ledger,
        "2026-03-31",
        "report year --from 2026-01-01 --to 2026-01-31 --close",
    );
    assert_eq!(
        said.refused(),
        "error: 2026-01-01 to 2026-01-31 is closed for good, with everything before it: its figures never change again\n\
         hint: the same command with --confirm says that it is meant"
    );
    let said = on(
        &ledger,
        "2026-03-31",
        "report year --from 2026-01-01 --to 2026-01-31 --close --confirm",
    );
    assert_eq!(said.stderr(), "Closed 2026-01-01 to 2026-01-31.\n");
    assert!(said.ok().starts_with(
        "2026-01-01 to 2026-01-31: a loss of 251.30 USD, with 200.00 invoiced. It is closed.\n"
    ));
    let before = closed(&ledger);
    // The same lines that were there before it was closed.
    let january: String = ACCOUNTS
        .lines()
        .take_while(|line| !line.starts_with("2026-02"))
        .fold(String::new(), |text, line| text + line + "\r\n");
    assert_eq!(before.1, january);
    typed(
        &ledger,
        r#"
        2026-04-01 void E7 --reason "another firm's"
        2026-04-01 spent 12.00 --for parking --job J1 --date 2026-01-10 --confirm
        2026-04-02 buy disc-7in-36 10 --cost 50.00 --date 2026-01-08 --confirm
        2026-04-03 drive 10 --job J1 --date 2026-01-12 --confirm --note "a second time"
        2026-04-03 void E4 --reason "another day"
        2026-04-06 payment void P1 --reason bounced
        2026-04-07 payment add I1 100 --date 2026-01-20 --confirm
        "#,
    );
    assert_eq!(closed(&ledger), before);
    let april = on(&ledger, "2026-06-30", "export accounts --from 2026-04-01").ok();
    let april: Vec<&str> = april.lines().skip(1).collect();
    // The tenth of forty discs cost 146.00 ÷ 40 = 3.65 each now: the ten of January 4.50 more, as of the second of April. What
    // was handed back and missed in February, which is open, is put right there.
    assert_eq!(
        april,
        [
            "2026-04-01,E16,Bank and cash,45.50,,takes back E7 of 2026-01-12: another firm's,USD",
            "2026-04-01,E16,Other costs of jobs,,45.50,takes back E7 of 2026-01-12: another firm's,USD",
            "2026-04-01,E17,Other costs of jobs,12.00,,\"spent, parking; of 2026-01-10, which was closed\",USD",
            "2026-04-01,E17,Bank and cash,,12.00,\"spent, parking; of 2026-01-10, which was closed\",USD",
            "2026-04-02,E2,Consumables on jobs,4.50,,\"used of 2026-01-09, disc-7in-36: worked out again for E18\",USD",
            "2026-04-02,E2,Consumables on the shelf,,4.50,\"used of 2026-01-09, disc-7in-36: worked out again for E18\",USD",
            "2026-04-02,E18,Consumables on the shelf,50.00,,\"bought, disc-7in-36; of 2026-01-08, which was closed\",USD",
            "2026-04-02,E18,Bank and cash,,50.00,\"bought, disc-7in-36; of 2026-01-08, which was closed\",USD",
            "2026-04-03,E19,Driving for jobs,7.00,,\"driven, a second time; of 2026-01-12, which was closed\",USD",
            "2026-04-03,E19,Own vehicle,,7.00,\"driven, a second time; of 2026-01-12, which was closed\",USD",
            "2026-04-03,E20,Own vehicle,9.80,,takes back E4 of 2026-01-09: another day,USD",
            "2026-04-03,E20,Driving for jobs,,9.80,takes back E4 of 2026-01-09: another day,USD",
            "2026-04-06,P1,Owed by clients,215.00,,\"taken back, received 2026-01-12: bounced\",USD",
            "2026-04-06,P1,Bank and cash,,215.00,\"taken back, received 2026-01-12: bounced\",USD",
            "2026-04-07,P3,Bank and cash,100.00,,\"received, Ada Quill; of 2026-01-20, which was closed\",USD",
            "2026-04-07,P3,Owed by clients,,100.00,\"received, Ada Quill; of 2026-01-20, which was closed\",USD",
        ]
    );
    let year = on(
        &ledger,
        "2026-06-30",
        "report year --from 2026-02-01 --to 2026-06-30",
    )
    .ok();
    insta::assert_snapshot!("year_with_corrections", year);
    let mileage = on(
        &ledger,
        "2026-06-30",
        "report year --from 2026-02-01 --to 2026-06-30 --mileage",
    )
    .ok();
    insta::assert_snapshot!("mileage_with_corrections", mileage);
    // Taken back in an open time it simply isn't there: E12 of February.
    typed(&ledger, "2026-04-08 void E12 --reason \"no visit\"");
    assert!(
        !on(&ledger, "2026-06-30", "export accounts")
            .ok()
            .contains(",E12,")
    );
    // The next time begins where the last one ended.
    let close = |days: &str| {
        on(
            &ledger,
            "2026-06-30",
            &format!("report year {days} --close --confirm"),
        )
    };
    for (days, words) in [
        (
            "--from 2026-01-01 --to 2026-03-31",
            "error: everything to 2026-01-31 is closed: the next time begins on 2026-02-01\n\
             hint: gritledger report year --from 2026-02-01 --to 2026-03-31 --close",
        ),
        (
            "--from 2026-03-01 --to 2026-03-31",
            "error: everything to 2026-01-31 is closed: the next time begins on 2026-02-01\n\
             hint: gritledger report year --from 2026-02-01 --to 2026-03-31 --close",
        ),
        (
            "--from 2026-01-15 --to 2026-01-31",
            "error: everything to 2026-01-31 is closed, for good: what was wrong in it is put right in the time after it\n\
             hint: gritledger report year --from 2026-02-01",
        ),
        (
            "2026",
            "error: 2026-01-01 to 2026-12-31 isn't over: a time is closed when its last day is",
        ),
    ] {
        assert_eq!(close(days).refused(), words, "{days}");
    }
    close("--from 2026-02-01 --to 2026-05-31").ok();
    assert_eq!(closed(&ledger), before);
}

#[test]
fn rows_of_a_file_that_are_of_a_closed_time_count_when_they_come() {
    let ledger = quarter();
    on(
        &ledger,
        "2026-04-01",
        "report year --from 2026-01-01 --to 2026-03-31 --close --confirm",
    )
    .ok();
    let rows = "date,job,site,worker,hours\n2026-03-30,J1,4 Tannery Row,Ruben Vale,1\n2026-04-02,J1,4 Tannery Row,Ruben Vale,2\n";
    let file = ledger.file("hours.csv", rows);
    on(&ledger, "2026-04-20", &format!("import hours {file}")).ok();
    let lines = on(&ledger, "2026-04-20", "export accounts --from 2026-04-01").ok();
    let dates: Vec<&str> = lines
        .lines()
        .skip(1)
        .step_by(2)
        .map(|line| &line[..14])
        .collect();
    assert_eq!(dates, ["2026-04-02,E17", "2026-04-20,E16"]);
}

#[test]
fn the_database_itself_lets_nothing_into_a_closed_time() {
    let ledger = quarter();
    typed(&ledger, "2026-04-01 payment void P2 --reason bounced");
    on(
        &ledger,
        "2026-04-01",
        "report year --from 2026-01-01 --to 2026-03-31 --close --confirm",
    )
    .ok();
    let file = ledger.raw();
    let entry = "INSERT INTO entry (id, number, kind, happened_on, recorded_at, place_id, amount_minor, what";
    for (sql, words) in [
        (format!("{entry}) VALUES (99, 99, 'spent', '2026-03-31', '2026-04-02', 99, 1, 'x')"), "a closed time takes nothing more"),
        (format!("{entry}, voids_id) VALUES (99, 99, 'void', '2026-04-02', '2026-04-02', 99, NULL, 'x', 7)"), "what is closed is taken back on a later day"),
        ("INSERT INTO payment (id, number, invoice_id, amount_minor, happened_on, recorded_at) VALUES (99, 99, 2, 1, '2026-03-31', '2026-04-02')".into(), "a closed time takes nothing more"),
        ("INSERT INTO payment_void (id, payment_id, reason, happened_on, recorded_at) VALUES (99, 1, 'x', '2026-04-02', '2026-04-02')".into(), "what is closed is taken back on a later day"),
        ("INSERT INTO payment_application (id, payment_id, amount_minor, happened_on, recorded_at) VALUES (99, 1, 1, '2026-03-31', '2026-04-02')".into(), "a closed time takes nothing more"),
        ("INSERT INTO write_off (id, invoice_id, amount_minor, reason, happened_on, recorded_at) VALUES (99, 2, 1, 'x', '2026-03-31', '2026-04-02')".into(), "a closed time takes nothing more"),
        ("INSERT INTO write_off_void (id, write_off_id, reason, happened_on, recorded_at) VALUES (99, 1, 'x', '2026-04-02', '2026-04-02')".into(), "what is closed is taken back on a later day"),
        ("INSERT INTO closed_period (id, from_on, to_on, last_entry_id, recorded_at) VALUES (99, '2026-04-03', '2026-04-04', 1, '2026-04-05')".into(), "a closed time begins after the one before it"),
        ("UPDATE closed_period SET to_on = '2026-01-31'".into(), "a closed time stays closed"),
        ("DELETE FROM closed_period".into(), "a closed time stays closed"),
        ("UPDATE filed_total SET moved_minor = 0".into(), "filed figures never change"),
        ("DELETE FROM filed_total".into(), "filed figures never change"),
        ("UPDATE account_name SET name = 'x'".into(), ""),
    ] {
        let refused = file.execute_batch(&sql);
        match words {
            "" => assert!(refused.is_ok(), "no row to refuse: {sql}"),
            words => assert_eq!(refused.expect_err(&sql).to_string().split(" in INSERT").next().unwrap(), words, "{sql}"),
        }
    }
}
