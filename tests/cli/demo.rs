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
        ("work_in_hand", "report work-in-hand"),
        ("cash", "report work-in-hand --cash"),
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

/// Who decides on a price or a plan reads no further than the first page of a small terminal.
#[test]
fn what_is_decided_on_fits_the_first_page() {
    let ledger = TestLedger::nowhere();
    ledger.line("demo --to t.db").ok();
    let text = ledger
        .run_with(&["quote", "show", "Q22"], &[("COLUMNS", "80")])
        .ok();
    let first: String = text.lines().take(24).collect::<Vec<_>>().join("\n");
    let answer = "Q22: 1864.63 USD; cost 1212.01 at most, 80 % sure, 2.5 days of work, chance of a\n\
                  loss 0.0 %, risk replace-boards.";
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
    let line = r#"plan house "1 Signal House" --start 2026-03-09 --keep "one of Bedroom one, Bedroom two" --keep "Tiled bath" --night-away 140 --day-closed 10"#;
    let words = shlex::split(line).expect("words");
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let text = ledger.run_with(&words, &[("COLUMNS", "80")]).ok();
    let first: String = text.lines().take(24).collect::<Vec<_>>().join("\n");
    // The figures are those of the JSON, which house.rs compares with every plan that there is.
    let plan = ledger.json(line);
    let figure = |name: &str| plan[name].as_str().unwrap_or_default().to_owned();
    let answer = format!(
        "1 Signal House: {} USD (cost {}, {} of it the household's), 2\n\
         phases, 14 days of work, 2 nights away, Mon 2026-03-09 to Mon 2026-03-30.\n\
         Otherwise: one room at a time costs ",
        figure("price"),
        figure("cost"),
        figure("household_loses"),
    );
    assert!(first.starts_with(&answer), "{first}");
    for part in [
        " more, done 2026-04-26; all at once\ncosts ",
        "\n1 Bedroom one, ",
        "\nHousehold ....... nn",
        "\nMachines  11111",
    ] {
        assert!(first.contains(part), "{part} in {first}");
    }
    assert!(!text.contains("To buy"), "{text}");
    let bought = ledger.run_with(&[&words[..], &["--buy"]].concat(), &[("COLUMNS", "80")]);
    assert!(
        bought
            .ok()
            .contains("\nTo buy for the whole plan: 13 items for ")
    );
}

/// What the demo shows can be asked for on any ledger: each part is the answer of the command above it.
#[test]
fn each_part_of_the_demo_is_what_its_command_answers() {
    let making = "Making the demo's ledger: two years of an invented firm, day by day\n";
    let ledger = TestLedger::nowhere();
    for (columns, said, quiet) in [("80", making, None), ("45", "", Some("--quiet"))] {
        let width = [("COLUMNS", columns)];
        let words = ["demo", "--to", "t.db"].into_iter().chain(quiet);
        let shown = ledger.run_with(&words.collect::<Vec<_>>(), &width);
        let begins = shown.stderr();
        assert!(
            begins.starts_with(said) && begins.is_empty() == said.is_empty(),
            "{begins}"
        );
        let shown = shown.ok();
        let parts: Vec<&str> = shown.split("\n== ").skip(1).collect();
        assert_eq!(parts.len(), 4, "{shown}");
        for part in parts {
            let (heading, body) = part.split_once("\n\n").expect("a heading");
            let command = heading.split_once("gritledger ").expect("a command").1;
            let words: Vec<&str> = command.split_whitespace().collect();
            let answer = ledger.run_with(&words, &width).ok();
            assert_eq!(body.trim_end(), answer.trim_end(), "{command}");
        }
    }
}

/// So does who asks what a year of jobs left over, and where one of them left its quote: the answer, what was furthest from
/// it, and how that adds up.
#[test]
fn what_margins_and_a_variance_say_fits_the_first_page() {
    let ledger = TestLedger::nowhere();
    ledger.line("demo --to t.db").ok();
    let page = |line: &str| {
        let words: Vec<&str> = line.split(' ').collect();
        let text = ledger.run_with(&words, &[("COLUMNS", "80")]).ok();
        text.lines().take(24).collect::<Vec<_>>().join("\n")
    };
    let margin = page("report margin");
    let answer = "18 jobs done: margin 35.1 %, with gaps, quoted 39.6 %: 14135.45 of 40256.05 USD.\n\
                  Furthest over its quote: J9 Elspeth Crane, by 1410.14.\n";
    assert!(margin.starts_with(answer), "{margin}");
    for part in ["\nJ9 Elspeth Crane ", "\nTotal "] {
        assert!(margin.contains(part), "{part} in {margin}");
    }
    let consumables = page("report consumables");
    let answer = "Consumables of 18 jobs: 8012.85 USD, 231.88 more than quoted.\n\
                  Furthest over: disc-7in-36 (rotary-36), by 263.78.\n";
    assert!(consumables.starts_with(answer), "{consumables}");
    assert!(consumables.contains("\ndisc-7in-36 "), "{consumables}");
    let variance = page("report variance J9");
    let answer = "J9, 15 Barley Mow: 1410.14 USD more than quoted.\n";
    assert!(variance.starts_with(answer), "{variance}");
    for part in [
        "\nRoom ",
        "\nTogether ",
        "gritledger report variance J9 --all",
    ] {
        assert!(variance.contains(part), "{part} in {variance}");
    }
}

/// Every answer begins with what was asked for: no heading of a table, no date and no bare name.
#[test]
fn every_answer_begins_with_the_answer() {
    let ledger = TestLedger::nowhere();
    ledger.line("demo --to t.db --quiet").ok();
    let answers = [
        (
            "today",
            "Today: 1 machine past its plan, 1569.96 USD overdue, 1 coat to put on.",
        ),
        ("quote compare Q20", "Q20: 1427.72 USD, its only option."),
        ("account list", "21 accounts."),
        (
            "report year 2025",
            "2025: 6311.95 USD is left of 21420.03 that was invoiced.",
        ),
        ("client list", "21 clients; 2 owe 2569.36 USD."),
        ("client show thora", "Thora Benning owes 1569.96 USD."),
        ("client show linnea", "Linnea Foss owes nothing."),
        (
            "client statement linnea",
            "Linnea Foss owes nothing on 2026-03-02.",
        ),
        ("site list", "21 sites of 21 clients."),
        (
            "site show \"9 Kelp\"",
            "9 Kelp Cottages: 3 rooms to refinish, 312 sq ft.",
        ),
        (
            "site check \"9 Kelp\"",
            "9 Kelp Cottages: wait. 0 of 3 rooms can go.",
        ),
        ("room list \"9 Kelp\"", "3 rooms to refinish, 312 sq ft."),
        (
            "finding list \"9 Kelp\"",
            "3 findings in 2 rooms, 1 of them not certain.",
        ),
        ("worker list", "3 workers at 22.75 to 27.50 USD an hour."),
        (
            "quote list",
            "22 quotes; 1 waits for an answer: 1864.63 USD.",
        ),
        (
            "quote compare Q22",
            "Q22: 1864.63 USD (As drafted) to 1998.98 (Three coats).",
        ),
        ("quote buy Q22", "To buy for Q22: 10 items for 315.70 USD."),
        (
            "quote show Q22 --for-client",
            "Quote Q22 (option 1: As drafted): 1864.63 USD",
        ),
        (
            "quote show Q22 --why",
            "Q22 takes 17.83 h and 1115.67 USD, line by line:",
        ),
        (
            "job list",
            "19 jobs, 1 is open; of 40558.69 USD billed, 37989.33 is paid.",
        ),
        ("job show J3", "J3, closed: it cost 1515.66 USD."),
        ("job show J19", "J19, open: 691.08 USD so far."),
        ("rental list", "42 rentals for 3691.48 USD; 1 is still out."),
        ("stock list", "24 items worth 590.81 USD."),
        ("invoice list", "2569.36 USD is owed on 2 of 29 invoices."),
        (
            "invoice list --top 1",
            "2569.36 USD is owed on 2 of 29 invoices.",
        ),
        ("payment list", "27 payments: 37989.33 USD came in."),
        (
            "report causes",
            "18 finished jobs: 2193.97 USD more than quoted by what is recorded.",
        ),
        (
            "report rentals",
            "Rentals: 58 days for 3691.48 USD; most of it rotary, 2306.67.",
        ),
        (
            "report receivables",
            "2569.36 USD is owed by 2 clients on 2026-03-02: 1569.96 of it is late.",
        ),
        (
            "rate list",
            "Furthest from the book: orbit-80 on paint, 1.69 ft per disc, 4 by the book.",
        ),
        (
            "rate show rotary-36 --condition worn-film --kind item",
            "rotary-36 on worn-film: 6.91 sq ft per disc, 8.23 by the book (disc-7in-36).",
        ),
        ("item list", "36 items."),
        ("item show disc-7in-36", "disc-7in-36: 2.10 USD/disc"),
        ("machine list", "4 machines, 40.00 to 80.00 USD a day."),
        ("machine show rotary", "rotary: 80.00 USD a day"),
        ("operation list", "50 operations; 9 mend findings."),
        (
            "operation show rotary-36",
            "rotary-36: sand, by area, disc-7in-36",
        ),
        ("sequence list", "6 sanding sequences."),
        (
            "sequence show rotary-36-50-80",
            "rotary-36-50-80: 7 operations, 36 to 80 grit.",
        ),
        ("schedule list", "7 coating schedules."),
        (
            "schedule show oil-2-coat",
            "oil-2-coat: 2 coats, furniture back after 4 days, cured after 30 days.",
        ),
        ("setting list own-work", "3 settings."),
        ("setting show margin", "margin = 35%"),
        ("tax-area list", "1 tax area."),
        ("tax-area show shop", "Shop floors: 5.5 % on the price."),
        ("log", "The newest 20 of 1343 sentences:"),
    ];
    for (line, answer) in answers {
        let text = ledger.line(line).ok();
        assert_eq!(text.lines().next(), Some(answer), "{line}:\n{text}");
    }
}

/// Of what a firm looks at every day, no table of a window of 60 columns or more stands in bands, and no line is longer than
/// it is wide.
#[test]
fn tables_stay_tables_down_to_sixty_columns() {
    let ledger = TestLedger::nowhere();
    ledger.line("demo --to t.db --quiet").ok();
    for line in [
        "client list",
        "site list",
        "finding list kelp",
        "quote list",
        "quote show Q22 --lines",
        "quote compare Q22",
        "job list",
        "job show J3",
        "rental list",
        "invoice list",
        "report margin --by room",
        "report variance J9 --all",
        "report consumables",
        "report consumables --by job",
        "rate list --all",
        "item list",
        "operation list",
        "schedule show oil-2-coat",
        "setting list",
    ] {
        let words: Vec<&str> = line.split(' ').collect();
        for columns in [45, 60, 80, 100] {
            let width = columns.to_string();
            let text = ledger.run_with(&words, &[("COLUMNS", &width)]).ok();
            let widest = text.lines().map(|line| line.chars().count()).max();
            assert!(widest <= Some(columns), "{line} at {columns}:\n{text}");
            let lines: Vec<&str> = text.lines().collect();
            let rules = (1..lines.len()).filter(|at| lines[*at].starts_with("───"));
            for rule in rules.filter(|_| columns >= 60) {
                // The last line of a heading begins where rows do, unless a second band is set in below the first.
                let above = lines[rule - 2];
                let is_band = lines[rule - 1].starts_with("  ") && !above.is_empty();
                let first = lines[rule + 1];
                assert!(
                    !(is_band && !above.starts_with(' ') && !first.starts_with(' ')),
                    "{line} at {columns}:\n{text}"
                );
            }
        }
    }
}
