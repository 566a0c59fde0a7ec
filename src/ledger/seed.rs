//! The starting book as it is embedded, in the units of the ledger that starts with it.
//!
//! `seed-data/` is written in US units. `seed-data/metric/` has what differs in a metric ledger: what is sold by the litre
//! and the metre, and the words for sizes; rates of what is sold so are converted.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use anyhow::{Context, Result};

use crate::measure::{METRES_PER_FOOT, Units};
use crate::money::{Decimal, number, plain};
use crate::trade::film::LITRES_PER_GALLON;

const ITEMS: &str = include_str!("../../seed-data/items.csv");
const MACHINES: &str = include_str!("../../seed-data/machines.csv");
const OPERATIONS: &str = include_str!("../../seed-data/operations.csv");
const BOOK_RATES: &str = include_str!("../../seed-data/book-rates.csv");
const METRIC_ITEMS: &str = include_str!("../../seed-data/metric/items.csv");
const METRIC_WORDS: &str = include_str!("../../seed-data/metric/words.csv");

/// Decimals of a rate as it is kept.
const RATE_DECIMALS: u32 = 9;

type Record = BTreeMap<String, String>;

/// Returns the rows of `items.csv` for a ledger in such units.
pub(super) fn items(units: Units) -> Result<Cow<'static, str>> {
    let Units::Metric = units else {
        return Ok(Cow::Borrowed(ITEMS));
    };
    let metric: BTreeSet<String> = sold_in(METRIC_ITEMS)?.into_keys().collect();
    let (headings, mut rows) = records(ITEMS)?;
    rows.retain(|row| !metric.contains(&row["item"]));
    rows.extend(records(METRIC_ITEMS)?.1);
    in_words(&written(&headings, &rows)?).map(Cow::Owned)
}

/// Returns the rows of `machines.csv`.
pub(super) fn machines(units: Units) -> Result<Cow<'static, str>> {
    told(MACHINES, units)
}

/// Returns the rows of `operations.csv`.
pub(super) fn operations(units: Units) -> Result<Cow<'static, str>> {
    told(OPERATIONS, units)
}

/// Returns the rows of `book-rates.csv`; the trusts are settings of the ledger already.
pub(super) fn book_rates(units: Units) -> Result<Cow<'static, str>> {
    let Units::Metric = units else {
        return Ok(Cow::Borrowed(BOOK_RATES));
    };
    let sold = sold_in(METRIC_ITEMS)?;
    let operations = records(OPERATIONS)?.1.into_iter();
    let used: BTreeMap<String, String> = operations
        .map(|mut row| {
            (
                row.remove("operation").unwrap_or_default(),
                row.remove("item").unwrap_or_default(),
            )
        })
        .collect();
    let (headings, mut rows) = records(BOOK_RATES)?;
    for row in &mut rows {
        row.insert("own_work".to_owned(), String::new());
        let unit = used.get(&row["operation"]).and_then(|item| sold.get(item));
        if let Some(unit) = unit.filter(|_| row["kind"] == "item") {
            let per_old = match unit.as_str() {
                "l" => LITRES_PER_GALLON,
                _ => METRES_PER_FOOT,
            };
            convert(row, "driver_per_item", |rate| rate / per_old)?;
            convert(row, "fixed_items", |fixed| fixed * per_old)?;
        }
    }
    in_words(&written(&headings, &rows)?).map(Cow::Owned)
}

fn convert(row: &mut Record, column: &str, by: impl Fn(Decimal) -> Decimal) -> Result<()> {
    if let Some(cell) = row.get_mut(column).filter(|cell| !cell.is_empty()) {
        let figure = number(cell).with_context(|| format!("{column}: `{cell}`"))?;
        *cell = plain(by(figure), RATE_DECIMALS);
    }
    Ok(())
}

fn told(text: &'static str, units: Units) -> Result<Cow<'static, str>> {
    match units {
        Units::Us => Ok(Cow::Borrowed(text)),
        Units::Metric => in_words(text).map(Cow::Owned),
    }
}

/// Writes sizes as they are called where figures are metric, in the order of `words.csv`: longer words come first.
fn in_words(text: &str) -> Result<String> {
    let words = records(METRIC_WORDS)?.1;
    Ok(words.iter().fold(text.to_owned(), |text, word| {
        text.replace(&word["us"], &word["metric"])
    }))
}

/// Returns the unit that each item is sold in.
fn sold_in(items: &str) -> Result<BTreeMap<String, String>> {
    let rows = records(items)?.1.into_iter();
    Ok(rows
        .map(|row| (row["item"].clone(), row["unit"].clone()))
        .collect())
}

fn records(text: &str) -> Result<(Vec<String>, Vec<Record>)> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let headings: Vec<String> = reader.headers()?.iter().map(str::to_owned).collect();
    let rows = reader.deserialize().collect::<Result<_, csv::Error>>()?;
    Ok((headings, rows))
}

fn written(headings: &[String], rows: &[Record]) -> Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(headings)?;
    for row in rows {
        writer.write_record(headings.iter().map(|heading| row[heading].as_str()))?;
    }
    Ok(String::from_utf8(writer.into_inner()?)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_metric_book_has_no_word_of_feet_inches_and_gallons() {
        let metric = Units::Metric;
        for text in [
            items(metric),
            machines(metric),
            operations(metric),
            book_rates(metric),
        ] {
            let text = text.unwrap();
            let foreign = ["ft", "sq", "lin", "gal", "oz", "quart", "pint"];
            for word in text.split(|sign: char| !sign.is_alphabetic()) {
                assert!(!foreign.contains(&word), "{word}");
            }
            let inches = text.match_indices("in").any(|(at, _)| {
                let is_word = !text[at + 2..].starts_with(char::is_alphabetic);
                is_word
                    && text[..at]
                        .trim_end()
                        .ends_with(|sign: char| sign.is_ascii_digit())
            });
            assert!(!inches, "{text}");
        }
    }

    #[test]
    fn every_metric_word_is_of_the_book() {
        let book = [ITEMS, MACHINES, OPERATIONS, BOOK_RATES].concat();
        for word in records(METRIC_WORDS).unwrap().1 {
            assert!(book.contains(&word["us"]), "{}", word["us"]);
        }
    }

    /// 400 sq ft a gallon are 9.81695 m² a litre (× 0.0245423867, NIST SP 811); in square feet a litre, 105.668821.
    #[test]
    fn rates_are_of_the_litre_and_the_metre() {
        let rates = book_rates(Units::Metric).unwrap();
        let row = |start: &str| {
            rates
                .lines()
                .find(|line| line.starts_with(start))
                .unwrap()
                .to_owned()
        };
        assert!(row("oil-coat,,,item").starts_with("oil-coat,,,item,105.668820943,0.227124707,,"));
        assert!(
            row("fit-quarter-round,,,item").starts_with("fit-quarter-round,,,item,2.982582021,0,,")
        );
        assert!(row("oil-coat,,,hours").starts_with("oil-coat,,,hours,500,0.1,,"));
        let packs = items(Units::Metric).unwrap();
        assert!(
            packs.contains("oil-finish,oil-modified polyurethane floor finish,l,yes,yes,5,66.00,")
        );
        assert_eq!(items(Units::Us).unwrap(), ITEMS);
    }
}
