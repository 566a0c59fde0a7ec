//! Which rows of an answer are shown, and in which order: `--sort` and `--top`, the same for every list and report.
//!
//! A column is what programs call it: a key of the row's JSON. So whatever a row tells can be sorted by, in both faces alike.

use std::cmp::Ordering;

use serde_json::{Map, Value};

use super::{Answer, Page};
use crate::money::Decimal;

/// What was asked for; nothing: every row, as the answer orders them.
#[derive(Clone, Debug, Default)]
pub struct Showing {
    /// The column that rows are sorted by.
    pub sort: Option<String>,
    /// How many rows, from the first on.
    pub top: Option<usize>,
}

/// A column that the rows don't have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoSuchColumn {
    /// What was typed.
    pub typed: String,
    /// What there is.
    pub columns: Vec<String>,
}

/// A row by its columns.
type Columns = Map<String, Value>;

/// What a row is sorted by; derived order: what there is comes first.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Key {
    Number(Decimal),
    /// Letters, then a number: `E9` stands before `E10`.
    Word(String, Decimal, String),
    Nothing,
}

impl Key {
    fn of(row: &Columns, column: &str) -> Key {
        row.get(column).map_or(Key::Nothing, Key::new)
    }

    fn new(value: &Value) -> Key {
        let text = match value {
            Value::Number(number) => number.to_string(),
            Value::String(text) => text.to_lowercase(),
            Value::Bool(is_so) => (if *is_so { "0" } else { "1" }).to_owned(),
            Value::Null | Value::Array(_) | Value::Object(_) => return Key::Nothing,
        };
        if let Ok(number) = text.parse() {
            return Key::Number(number);
        }
        let digits = text.trim_start_matches(|sign: char| !sign.is_ascii_digit());
        let letters = text[..text.len() - digits.len()].to_owned();
        let number = digits.parse().unwrap_or_default();
        Key::Word(letters, number, text)
    }
}

impl Ord for Key {
    /// Numbers from the largest down, words and dates from the first on, and what has nothing last.
    fn cmp(&self, other: &Key) -> Ordering {
        match (self, other) {
            (Key::Number(one), Key::Number(other)) => other.cmp(one),
            (Key::Word(one, number, text), Key::Word(other, another, as_text)) => {
                (one, number, text).cmp(&(other, another, as_text))
            }
            (Key::Nothing, Key::Nothing) => Ordering::Equal,
            (Key::Number(_), _) | (_, Key::Nothing) => Ordering::Less,
            (_, Key::Number(_)) | (Key::Nothing, _) => Ordering::Greater,
        }
    }
}

impl PartialOrd for Key {
    fn partial_cmp(&self, other: &Key) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Showing {
    /// Sorts rows by the column that was asked for; `told` is what programs are told of a row.
    ///
    /// # Errors
    /// Returns the column, if the rows don't have it.
    pub fn sort<T>(
        &self,
        rows: &mut Vec<T>,
        told: impl Fn(&T) -> serde_json::Result<Value>,
    ) -> Result<(), NoSuchColumn> {
        let Some(typed) = &self.sort else {
            return Ok(());
        };
        let column = typed.trim().to_lowercase().replace([' ', '-'], "_");
        let values: Vec<Columns> = rows
            .iter()
            .map(|row| columns_of(told(row).unwrap_or_default()))
            .collect();
        let Some(first) = values.first() else {
            return Ok(());
        };
        if !values.iter().any(|row| row.contains_key(&column)) {
            let has_value =
                |name: &&String| values.iter().any(|row| Key::of(row, name) != Key::Nothing);
            let columns = first.keys().filter(has_value);
            return Err(NoSuchColumn {
                typed: typed.clone(),
                columns: columns.map(|name| name.replace('_', "-")).collect(),
            });
        }
        let mut keyed: Vec<(Key, T)> = values
            .iter()
            .map(|row| Key::of(row, &column))
            .zip(rows.drain(..))
            .collect();
        keyed.sort_by(|(one, _), (other, _)| one.cmp(other));
        rows.extend(keyed.into_iter().map(|(_, row)| row));
        Ok(())
    }

    /// Has the newest first where only some rows, in the order of their days, are asked for.
    pub fn newest_first<T>(&self, rows: &mut [T]) {
        if self.top.is_some() && self.sort.is_none() {
            rows.reverse();
        }
    }

    /// Takes away the rows that aren't shown, and returns them.
    pub fn cut<T>(&self, rows: &mut Vec<T>) -> Vec<T> {
        match self.top {
            Some(top) if top < rows.len() => rows.split_off(top),
            _ => Vec::new(),
        }
    }
}

/// Returns a row's columns as its CSV has them: `area` for the quantity in it, `buckets_over_90` for another part.
fn columns_of(row: Value) -> Columns {
    let Value::Object(fields) = row else {
        return Columns::new();
    };
    let columns = fields.into_iter().flat_map(|(name, value)| match value {
        Value::Object(parts) => {
            let named = parts.into_iter().map(|(part, value)| match part.as_str() {
                "quantity" => (name.clone(), value),
                _ => (format!("{name}_{part}"), value),
            });
            named.collect()
        }
        value => vec![(name, value)],
    });
    columns.collect()
}

/// An answer that is a list of rows.
pub trait Listed: Answer {
    /// Says the answer that stands before its rows, if it is added up from them: it is asked for before any are left out.
    fn answer(&self, page: &Page) -> Option<String>;

    /// Tells whether it has no rows.
    fn is_empty(&self) -> bool;

    /// Puts its rows in order, takes away those that aren't shown, and returns how many they are.
    ///
    /// # Errors
    /// Returns the column that they were to be sorted by, if they don't have it.
    fn show(&mut self, showing: &Showing) -> Result<usize, NoSuchColumn>;
}

/// Says where the rows of a list are, whether its answer is added up from them (`by_rows`) or was before (`made`), and
/// whether they stand in the order of their days.
macro_rules! listed {
    ($list:ty, $($rows:tt).+, answer: $answer:ident, by_day: $by_day:literal) => {
        impl $crate::document::showing::Listed for $list {
            fn answer(&self, page: &$crate::document::Page) -> Option<String> {
                listed!(@answer $answer self page)
            }

            fn is_empty(&self) -> bool {
                self.$($rows).+.is_empty()
            }

            fn show(
                &mut self,
                showing: &$crate::document::showing::Showing,
            ) -> Result<usize, $crate::document::showing::NoSuchColumn> {
                if $by_day {
                    showing.newest_first(&mut self.$($rows).+);
                }
                showing.sort(&mut self.$($rows).+, |row| serde_json::to_value(row))?;
                Ok(showing.cut(&mut self.$($rows).+).len())
            }
        }
    };
    (@answer by_rows $list:ident $page:ident) => {
        Some($list.answer($page))
    };
    (@answer made $list:ident $page:ident) => {{
        let _ = $page;
        None
    }};
}

#[cfg(test)]
mod tests {
    use serde::Serialize;

    use super::*;

    #[test]
    fn rows_are_sorted_by_any_key_of_their_json() {
        #[derive(Clone, Debug, PartialEq, Serialize)]
        struct Row {
            job: &'static str,
            price: Option<&'static str>,
            day: &'static str,
        }
        let row = |job, price, day| Row { job, price, day };
        let rows = [
            row("J9", Some("9.50"), "2026-03-01"),
            row("J10", None, "2025-12-01"),
            row("J2", Some("100.00"), "2026-01-15"),
            row("J1", Some("-3.00"), "2026-02-01"),
        ];
        let by = |sort: &str| {
            let mut sorted = rows.to_vec();
            let sort = Some(sort.to_owned());
            let showing = Showing { sort, top: None };
            showing.sort(&mut sorted, |row| serde_json::to_value(row))?;
            Ok(sorted.iter().map(|row| row.job).collect::<Vec<_>>())
        };
        assert_eq!(by("price"), Ok(vec!["J2", "J9", "J1", "J10"]));
        assert_eq!(by("Job"), Ok(vec!["J1", "J2", "J9", "J10"]));
        assert_eq!(by("day"), Ok(vec!["J10", "J2", "J1", "J9"]));
        let columns = ["job", "price", "day"].map(str::to_owned).to_vec();
        let typed = "colour".to_owned();
        assert_eq!(by("colour"), Err(NoSuchColumn { typed, columns }));
        let mut shown = rows.to_vec();
        let showing = Showing {
            top: Some(3),
            ..Showing::default()
        };
        assert_eq!(showing.cut(&mut shown).len(), 1);
        assert_eq!(shown.len(), 3);
    }
}
