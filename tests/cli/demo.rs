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
        "\n1 Bedroom one, Upper landing, Stair, Porch hall\n",
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
    let answer = "18 finished jobs: margin 35.1 %, with gaps, quoted 39.6 %: 14135.45 of 40256.05\n\
                  USD; furthest over its quote is J9 Elspeth Crane, by 1410.14.\n";
    assert!(margin.starts_with(answer), "{margin}");
    for part in ["\nJ9 Elspeth Crane ", "\nTotal "] {
        assert!(margin.contains(part), "{part} in {margin}");
    }
    let consumables = page("report consumables");
    let answer = "Consumables of 18 jobs: 8012.85 USD, 231.88 more than quoted; furthest over is\n\
                  disc-7in-36 (rotary-36), by 263.78.\n";
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
