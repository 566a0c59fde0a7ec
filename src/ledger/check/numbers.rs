//! Do numbers and positions run without gaps, and in the order in which things were written?

use anyhow::Result;

use super::super::numbered;
use super::{Ledger, Problems};

/// A series of numbers from 1 on in each copy: what it is called, its letter, its rows (copy, number).
const SERIES: &[(&str, char, &str)] = &[
    (
        "quote numbers",
        'Q',
        "SELECT DISTINCT id >> 40 AS copy, number FROM quote",
    ),
    (
        "entry numbers",
        'E',
        "SELECT id >> 40 AS copy, number FROM entry",
    ),
    (
        "invoice numbers",
        'I',
        "SELECT id >> 40 AS copy, number FROM invoice WHERE number IS NOT NULL",
    ),
    (
        "payment numbers",
        'P',
        "SELECT id >> 40 AS copy, number FROM payment",
    ),
    (
        "numbers of the notebook",
        'N',
        "SELECT id >> 40 AS copy, number FROM observation WHERE number IS NOT NULL",
    ),
];

/// Positions from a first one on within what they are part of: what that is, its rows (whose, position), the first.
const POSITIONS: &[(&str, i64, &str)] = &[
    (
        "versions of",
        1,
        "SELECT DISTINCT id >> 40 AS copy, number, 'Q' AS letter, version AS position FROM quote",
    ),
    (
        "options of",
        1,
        "SELECT id >> 40 AS copy, number || '.' || version AS number, 'Q' AS letter, option AS position FROM quote",
    ),
    (
        "rooms of",
        1,
        "SELECT quote_id AS copy, number, 'Q' AS letter, position FROM quote_room JOIN quote ON quote.id = quote_id",
    ),
    (
        "lines of",
        1,
        "SELECT quote_id AS copy, number, 'Q' AS letter, position FROM quote_line JOIN quote ON quote.id = quote_id",
    ),
    (
        "cautions of",
        1,
        "SELECT quote_id AS copy, number, 'Q' AS letter, position FROM quote_caution JOIN quote ON quote.id = quote_id",
    ),
    (
        "discounts of",
        1,
        "SELECT quote_id AS copy, number, 'Q' AS letter, position FROM quote_discount JOIN quote ON quote.id = quote_id",
    ),
    (
        "allowances of",
        1,
        "SELECT invoice_id AS copy, COALESCE(number, 0) AS number, 'I' AS letter, position FROM invoice_allowance
         JOIN invoice ON invoice.id = invoice_id",
    ),
    (
        "plans of",
        0,
        "SELECT quote_id AS copy, number, 'Q' AS letter, revision AS position FROM house_plan JOIN quote ON quote.id = quote_id",
    ),
    (
        "lines of invoice",
        1,
        "SELECT invoice_id AS copy, COALESCE(number, 'draft') AS number, 'I' AS letter, position FROM invoice_line
         JOIN invoice ON invoice.id = invoice_id",
    ),
    (
        "rental days of",
        1,
        "SELECT entry_id AS copy, number, 'E' AS letter, position FROM rental_day JOIN entry ON entry.id = entry_id",
    ),
    (
        "steps of the sequence",
        1,
        "SELECT sequence_id AS copy, name AS number, '' AS letter, position FROM sequence_step JOIN sequence ON sequence.id = sequence_id",
    ),
    (
        "steps of the schedule",
        1,
        "SELECT schedule_id AS copy, name AS number, '' AS letter, position FROM schedule_step JOIN schedule ON schedule.id = schedule_id",
    ),
    (
        "entries of the observation",
        1,
        "SELECT observation_id AS copy, observation_id AS number, '' AS letter, position FROM observation_entry",
    ),
];

/// Tables whose numbers are given in the order of their ids.
const IN_ORDER: &[(char, &str)] = &[('E', "entry"), ('P', "payment"), ('Q', "quote")];

impl Ledger {
    pub(super) fn check_numbers(&self, problems: &mut Problems) -> Result<()> {
        for (name, letter, rows) in SERIES {
            self.each(
                problems,
                &format!(
                    "SELECT copy, COUNT(DISTINCT number) AS count, MAX(number) AS last,
                            (SELECT MIN(number) + 1 FROM (SELECT 0 AS number UNION SELECT number FROM ({rows}) WHERE copy = series.copy)
                             WHERE number + 1 NOT IN (SELECT number FROM ({rows}) WHERE copy = series.copy)) AS missing
                     FROM ({rows}) AS series GROUP BY copy HAVING count <> last OR COUNT(*) <> count"
                ),
                |row| {
                    let (copy, count, last, missing): (i64, i64, i64, i64) =
                        (row.get("copy")?, row.get("count")?, row.get("last")?, row.get("missing")?);
                    Ok(format!(
                        "{name} of copy {copy}: {count} numbers, the last is {last}, {} is missing",
                        numbered(*letter, copy << 40, missing)
                    ))
                },
            )?;
        }
        for (what, first, rows) in POSITIONS {
            self.each(
                problems,
                &format!(
                    "SELECT letter || number AS whose, COUNT(*) AS count, MIN(position) AS low, MAX(position) AS high
                     FROM ({rows}) GROUP BY copy, number
                     HAVING low <> {first} OR high - low + 1 <> count"
                ),
                |row| {
                    let (whose, count, low, high): (String, i64, i64, i64) =
                        (row.get("whose")?, row.get("count")?, row.get("low")?, row.get("high")?);
                    Ok(format!("{what} {whose}: {count} of them, from {low} to {high}"))
                },
            )?;
        }
        for (letter, table) in IN_ORDER {
            self.each(
                problems,
                &format!(
                    "SELECT id, number FROM (
                         SELECT id, number, LAG(number) OVER (PARTITION BY id >> 40 ORDER BY id) AS before FROM {table}
                         {})
                     WHERE number < before",
                    // Another version of a quote comes later.
                    if *table == "quote" { "WHERE version = 1 AND option = 1" } else { "" }
                ),
                |row| Ok(format!("{}: its number is lower than the one before it", super::called(*letter, row)?)),
            )?;
        }
        Ok(())
    }
}
