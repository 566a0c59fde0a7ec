//! Reading CSV from outside: every mistake is told as `file:line: column: what`, and nothing is guessed.
//!
//! Where commas part decimals, spreadsheets part cells by semicolons: a file whose headings are parted so has such figures.

use std::fmt::Display;
use std::str::FromStr;

use anyhow::Result;
use chrono::NaiveDate;
use csv::StringRecord;

use super::names::near_names;
use super::{Refusal, refuse};
use crate::money::{Decimal, number};
use crate::notation::{DateOrder, DecimalMark, FigureError, Notation};
use crate::trade::bounds::check_day;

/// The columns with figures in them; in the others a comma is a comma.
const FIGURES: [&str; 29] = [
    "amount",
    "area",
    "charge",
    "cleaning",
    "cost",
    "day",
    "distance",
    "doors",
    "driver_per_item",
    "edge",
    "fixed_items",
    "four_weeks",
    "half_day",
    "harden_hours",
    "hours",
    "item_quantity",
    "moved",
    "own_work",
    "pack",
    "parts",
    "price",
    "quantity",
    "rate",
    "set_size",
    "shape",
    "wage",
    "waiver_percent",
    "week",
    "weekend",
];

/// How figures are written where semicolons part cells.
const WITH_COMMAS: Notation = Notation {
    decimal_mark: DecimalMark::Comma,
    date_order: DateOrder::DayMonth,
};

/// The columns that a kind of file has.
#[derive(Clone, Copy, Debug)]
pub(super) struct Columns {
    /// What the rows are called.
    pub(super) kind: &'static str,
    /// Columns that must be there.
    pub(super) required: &'static [&'static str],
    /// Columns that may be.
    pub(super) optional: &'static [&'static str],
}

/// A CSV file that has been read.
#[derive(Debug)]
pub(super) struct Rows {
    file: String,
    headings: Vec<String>,
    records: Vec<(u64, StringRecord)>,
    /// The records as they were typed, where that isn't the program's own form; else none.
    typed: Vec<StringRecord>,
}

/// One row of it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row<'rows> {
    rows: &'rows Rows,
    /// The line that it begins on.
    pub(super) line: u64,
    record: &'rows StringRecord,
    /// The same as it was typed.
    typed: &'rows StringRecord,
}

impl Rows {
    /// Reads a file: UTF-8, with or without a byte-order mark, any line ends, blank lines skipped.
    pub(super) fn read(file: &str, text: &[u8], columns: Columns) -> Result<Rows> {
        let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
        let line_of = |byte: usize| text[..byte].iter().filter(|sign| **sign == b'\n').count() + 1;
        if let Some(byte) = text.iter().position(|sign| *sign == 0) {
            refuse!(
                "{file}:{}: a NUL byte: this is not a CSV file",
                line_of(byte)
            );
        }
        let text = match std::str::from_utf8(text) {
            Ok(text) => text,
            Err(error) => refuse!("{file}:{}: not UTF-8", line_of(error.valid_up_to())),
        };
        // Quotes come in pairs (RFC 4180); the reader itself would take the rest of the file for one cell.
        if text.matches('"').count() % 2 == 1 {
            let last = text.rfind('"').unwrap_or_default();
            refuse!(
                "{file}:{}: a quote is not closed, here or further up",
                line_of(last)
            );
        }
        let with_commas = text.lines().next().is_some_and(|first| first.contains(';'));
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(if with_commas { b';' } else { b',' })
            .trim(csv::Trim::Headers)
            .from_reader(text.as_bytes());
        let headings: Vec<String> = match reader.headers() {
            Ok(headings) => headings
                .iter()
                .map(|heading| heading.to_lowercase())
                .collect(),
            Err(error) => refuse!("{file}:1: {error}"),
        };
        check_headings(file, &headings, columns)?;
        let (mut records, mut typed) = (Vec::new(), Vec::new());
        for record in reader.into_records() {
            let record = match record {
                Ok(record) => record,
                Err(error) => return Err(unequal(file, &error)),
            };
            let line = line_of_record(&record, text);
            if with_commas {
                records.push((line, in_own_form(file, line, &headings, &record)?));
                typed.push(record);
            } else {
                records.push((line, record));
            }
        }
        Ok(Rows {
            file: file.to_owned(),
            headings,
            records,
            typed,
        })
    }

    /// Returns the rows in order.
    pub(super) fn iter(&self) -> impl Iterator<Item = Row<'_>> {
        let records = self.records.iter().enumerate();
        records.map(|(place, (line, record))| Row {
            rows: self,
            line: *line,
            record,
            typed: self.typed.get(place).unwrap_or(record),
        })
    }

    /// Returns how many rows there are.
    pub(super) fn len(&self) -> usize {
        self.records.len()
    }
}

fn check_headings(file: &str, headings: &[String], columns: Columns) -> Result<()> {
    let Columns {
        kind,
        required,
        optional,
    } = columns;
    let known = || required.iter().chain(optional).copied();
    for (position, heading) in headings.iter().enumerate() {
        if headings[..position].contains(heading) {
            refuse!("{file}:1: {heading}: this column is there twice");
        }
        if !known().any(|column| column == heading) {
            let near = near_names(heading, known());
            let meant = near
                .first()
                .map(|near| format!("; did you mean {near}?"))
                .unwrap_or_default();
            return Err(Refusal::new(format!(
                "{file}:1: `{heading}` is not a column of {kind}{meant}"
            ))
            .hint(format!(
                "columns: {}",
                known().collect::<Vec<_>>().join(",")
            ))
            .into());
        }
    }
    match required
        .iter()
        .find(|column| !headings.iter().any(|heading| heading == *column))
    {
        Some(missing) => Err(Refusal::new(format!(
            "{file}:1: {missing}: this column of {kind} is missing"
        ))
        .hint(format!(
            "columns: {}",
            known().collect::<Vec<_>>().join(",")
        ))
        .into()),
        None => Ok(()),
    }
}

/// Returns the line that a record begins on; the reader counts from the blank lines before it.
fn line_of_record(record: &StringRecord, text: &str) -> u64 {
    let Some(position) = record.position() else {
        return 0;
    };
    let begin = usize::try_from(position.byte()).unwrap_or_default();
    let blank = text.as_bytes()[begin.min(text.len())..]
        .iter()
        .take_while(|sign| matches!(sign, b'\r' | b'\n'));
    position.line() + blank.filter(|sign| **sign == b'\n').map(|_| 1).sum::<u64>()
}

/// Returns a record with its figures as the program writes them.
fn in_own_form(
    file: &str,
    line: u64,
    headings: &[String],
    record: &StringRecord,
) -> Result<StringRecord> {
    let cells = headings.iter().zip(record).map(|(heading, cell)| {
        if !FIGURES.contains(&heading.as_str()) {
            return Ok(cell.to_owned());
        }
        match WITH_COMMAS.number(cell) {
            Ok(figure) => Ok(figure.to_string()),
            Err(error @ FigureError::Ambiguous { .. }) => {
                refuse!("{file}:{line}: {heading}: {error}")
            }
            Err(FigureError::NotANumber(_)) => Ok(WITH_COMMAS.plain(cell)),
        }
    });
    Ok(cells.collect::<Result<Vec<_>>>()?.into())
}

fn unequal(file: &str, error: &csv::Error) -> anyhow::Error {
    let message = match error.kind() {
        csv::ErrorKind::UnequalLengths {
            pos,
            expected_len,
            len,
        } => {
            let line = pos.as_ref().map_or(0, csv::Position::line);
            format!("{file}:{line}: {len} cells, but {expected_len} columns")
        }
        _ => format!("{file}: {error}"),
    };
    Refusal::new(message).into()
}

impl<'rows> Row<'rows> {
    /// Returns a cell's text; empty if the column isn't there. A defused formula comes back as it was.
    pub(super) fn text(&self, column: &str) -> &'rows str {
        super::csv::armed(self.cell(self.record, column))
    }

    fn cell(&self, record: &'rows StringRecord, column: &str) -> &'rows str {
        let mut headings = self.rows.headings.iter();
        let position = headings.position(|heading| heading == column);
        position
            .and_then(|position| record.get(position))
            .unwrap_or_default()
    }

    /// Returns what is said of a cell, with what was typed in place of what was read.
    fn as_typed(&self, column: &str, what: String) -> String {
        let (read, typed) = (
            self.text(column).trim(),
            self.cell(self.typed, column).trim(),
        );
        if read == typed {
            return what;
        }
        let parts = what
            .split('`')
            .enumerate()
            .map(|(place, part)| match place % 2 {
                1 if part == read => typed,
                1 => read
                    .find(part)
                    .and_then(|at| typed.get(at..at + part.len()))
                    .filter(|_| read.len() == typed.len())
                    .unwrap_or(part),
                _ => part,
            });
        parts.collect::<Vec<_>>().join("`")
    }

    /// Returns a cell's text, refusing an empty one.
    pub(super) fn filled(&self, column: &str) -> Result<&'rows str> {
        match self.text(column).trim() {
            "" => Err(self.wrong(column, "is empty")),
            text => Ok(text),
        }
    }

    /// Returns a mistake in a cell, in words.
    pub(super) fn wrong(&self, column: &str, what: impl Display) -> anyhow::Error {
        self.refusal(column, what).into()
    }

    /// Returns the same, to which hints can be added.
    pub(super) fn refusal(&self, column: &str, what: impl Display) -> Refusal {
        let what = self.as_typed(column, what.to_string());
        Refusal::new(format!(
            "{}:{}: {column}: {what}",
            self.rows.file, self.line
        ))
    }

    /// Returns a cell read by a function; its error becomes the mistake in that cell.
    pub(super) fn read<T, E: Display>(
        &self,
        column: &str,
        read: impl FnOnce(&str) -> Result<T, E>,
    ) -> Result<T> {
        read(self.filled(column)?).map_err(|error| self.wrong(column, error))
    }

    /// Returns what a cell names, found by a function; what it is refused with keeps its hints.
    pub(super) fn find<T>(&self, column: &str, find: impl FnOnce(&str) -> Result<T>) -> Result<T> {
        find(self.filled(column)?).map_err(|error| self.refused(column, &error))
    }

    /// Returns what the ledger refuses about a cell, with its place in front.
    pub(super) fn refused(&self, column: &str, error: &anyhow::Error) -> anyhow::Error {
        let refusal = self.refusal(column, error);
        hints_of(error)
            .into_iter()
            .fold(refusal, Refusal::hint)
            .into()
    }

    /// Returns a cell read by a function; `None` if it is empty.
    pub(super) fn maybe<T, E: Display>(
        &self,
        column: &str,
        read: impl FnOnce(&str) -> Result<T, E>,
    ) -> Result<Option<T>> {
        match self.text(column).trim() {
            "" => Ok(None),
            text => read(text)
                .map(Some)
                .map_err(|error| self.wrong(column, error)),
        }
    }

    /// Returns a word of a closed set.
    pub(super) fn word<T: FromStr<Err: Display>>(&self, column: &str) -> Result<T> {
        self.read(column, str::parse)
    }

    /// Returns a number that is not below zero; `None` if the cell is empty.
    pub(super) fn number(&self, column: &str) -> Result<Option<Decimal>> {
        self.maybe(column, not_negative)
    }

    /// Returns a number above zero.
    pub(super) fn positive(&self, column: &str) -> Result<Decimal> {
        self.read(column, |text| match number(text) {
            Some(value) if value > Decimal::ZERO => Ok(value),
            Some(_) => Err(format!("`{text}` is not above zero")),
            None => Err(format!("`{text}` is not a number")),
        })
    }

    /// Returns a date that is not after `today`.
    pub(super) fn date(&self, column: &str, today: NaiveDate) -> Result<NaiveDate> {
        self.read(column, |text| {
            match NaiveDate::parse_from_str(text, "%Y-%m-%d") {
                Ok(date) if date > today => Err(format!("`{text}` is after today, {today}")),
                Ok(date) => match check_day(date, today) {
                    Ok(()) => Ok(date),
                    Err(impossible) => Err(impossible.to_string()),
                },
                Err(_) => Err(format!("`{text}` is not a date like 2026-03-02")),
            }
        })
    }

    /// Returns `yes` or `no` as a truth; the default if the cell is empty.
    pub(super) fn truth(&self, column: &str, default: bool) -> Result<bool> {
        let read = |text: &str| match text.to_ascii_lowercase().as_str() {
            "yes" => Ok(true),
            "no" => Ok(false),
            _ => Err(format!("`{text}` is neither yes nor no")),
        };
        Ok(self.maybe(column, read)?.unwrap_or(default))
    }

    /// Returns what the ledger refuses about a row, with its place in front.
    pub(super) fn place(&self, error: &anyhow::Error) -> anyhow::Error {
        Refusal {
            message: format!("{}:{}: {error:#}", self.rows.file, self.line),
            hints: hints_of(error),
        }
        .into()
    }
}

fn hints_of(error: &anyhow::Error) -> Vec<String> {
    let refusal = error.downcast_ref::<Refusal>();
    refusal.map_or_else(Vec::new, |refusal| refusal.hints.clone())
}

fn not_negative(text: &str) -> Result<Decimal, String> {
    match number(text) {
        Some(value) if value >= Decimal::ZERO => Ok(value),
        Some(_) => Err(format!("`{text}` is below zero")),
        None => Err(format!("`{text}` is not a number")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COLUMNS: Columns = Columns {
        kind: "rooms",
        required: &["room", "species"],
        optional: &["note"],
    };

    fn refusal(text: &[u8]) -> String {
        Rows::read("r.csv", text, COLUMNS)
            .map(|rows| rows.len())
            .unwrap_err()
            .to_string()
    }

    #[test]
    fn mistakes_of_the_file_are_told_with_their_place() {
        for (text, expected) in [
            (
                &b"room,spcies\nA,ash\n"[..],
                "r.csv:1: `spcies` is not a column of rooms; did you mean `species`?",
            ),
            (
                b"room\nA\n",
                "r.csv:1: species: this column of rooms is missing",
            ),
            (
                b"room,species,room\n",
                "r.csv:1: room: this column is there twice",
            ),
            (b"room,species\nA\n", "r.csv:2: 1 cells, but 2 columns"),
            (b"room,species\nA,ash\nB,\xff\n", "r.csv:3: not UTF-8"),
            (
                b"room,species\nA,\"ash\nB,oak\n",
                "r.csv:2: a quote is not closed, here or further up",
            ),
            (
                b"room,species\nA,a\0sh\n",
                "r.csv:2: a NUL byte: this is not a CSV file",
            ),
        ] {
            assert_eq!(refusal(text), expected);
        }
    }

    /// A spreadsheet of a country where commas part decimals.
    #[test]
    fn semicolons_part_cells_where_commas_part_decimals() {
        const COLUMNS: Columns = Columns {
            kind: "rooms",
            required: &["room", "shape"],
            optional: &["price"],
        };
        let read = |text: &[u8]| Rows::read("r.csv", text, COLUMNS);
        let rows = read(
            "Room;Shape;Price\r\nFlur 1,2;\"4,2 m x 3,1 m; plus 1,5 m x 0,8 m\";1.234,50\r\n"
                .as_bytes(),
        )
        .unwrap();
        let row = rows.iter().next().unwrap();
        assert_eq!(
            ["room", "shape", "price"].map(|column| row.text(column)),
            ["Flur 1,2", "4.2 m x 3.1 m; plus 1.5 m x 0.8 m", "1234.50"]
        );
        assert_eq!(
            read(b"room;shape;price\nA;1x1;2.5\nB;1x1;1,234\n")
                .unwrap_err()
                .to_string(),
            "r.csv:3: price: `1,234` could be 1234 or 1.2340"
        );
    }

    #[test]
    fn marks_blank_lines_and_line_ends_of_other_programs_are_taken() {
        let rows = Rows::read(
            "r.csv",
            b"\xef\xbb\xbfRoom,Species\r\n\r\nA,'=ash\r\n",
            COLUMNS,
        )
        .unwrap();
        let row = rows.iter().next().unwrap();
        assert_eq!(
            (
                row.line,
                row.text("room"),
                row.text("species"),
                row.text("note")
            ),
            (3, "A", "=ash", "")
        );
        assert_eq!(
            row.positive("room").unwrap_err().to_string(),
            "r.csv:3: room: `A` is not a number"
        );
    }
}
