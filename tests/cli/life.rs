//! The whole life of a small-room job, typed: in `tests/life/before.txt` as it was at its shortest, in `after.txt` as it is
//! now. Both still work and come to the same figures; the words of both are counted and printed.

use serde_json::Value;

use crate::harness::TestLedger;

const BEFORE: &str = include_str!("../life/before.txt");
const AFTER: &str = include_str!("../life/after.txt");

/// What a life took to type, and what it came to.
struct Life {
    lines: usize,
    words: usize,
    margin: Value,
    variance: Value,
    due: Value,
}

fn lived(typed: &str) -> Life {
    let mut ledger = TestLedger::nowhere();
    let (mut lines, mut words) = (0, 0);
    let typed: Vec<&str> = typed
        .lines()
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
        .collect();
    let mut rest = &typed[..];
    while let [line, after @ ..] = rest {
        // What follows a line and is set in is given to it.
        let given = after.iter().take_while(|line| line.starts_with("    "));
        let given: Vec<&str> = given.map(|line| line.trim()).collect();
        rest = &after[given.len()..];
        if let Some(date) = line.strip_prefix("date ") {
            ledger = ledger.on(Box::leak(date.to_owned().into_boxed_str()));
            continue;
        }
        match given.is_empty() {
            true => ledger.line(line).ok(),
            false => {
                let answers = given.iter().map(|answer| match *answer {
                    "(enter)" => "",
                    answer => answer,
                });
                ledger.answered(line, &answers.collect::<Vec<_>>()).ok()
            }
        };
        lines += 1 + given.len();
        words += crate::harness::split(line).len();
        let typed = given.iter().filter(|answer| **answer != "(enter)");
        words += typed
            .map(|answer| answer.split_whitespace().count())
            .sum::<usize>();
    }
    Life {
        lines,
        words,
        margin: ledger.json("report margin J1"),
        variance: ledger.json("report variance J1"),
        due: ledger.json("invoice show I1")["due"].clone(),
    }
}

#[test]
fn a_small_job_takes_half_the_words_that_it_took_and_comes_to_the_same() {
    let (before, after) = (lived(BEFORE), lived(AFTER));
    println!(
        "a small-room job: {} words in {} lines before, {} in {} now",
        before.words, before.lines, after.words, after.lines
    );
    assert_eq!(before.margin, after.margin);
    assert_eq!(before.variance, after.variance);
    assert_eq!(before.due, after.due);
    assert!(after.words * 2 <= before.words, "{} words", after.words);
}
