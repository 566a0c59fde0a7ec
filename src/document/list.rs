//! The list of an answer as CSV: a row for each of its parts, with the keys of their JSON as columns.
//!
//! What columns there are follows from types, never from values: they are the same whatever the rows, and without any.

use std::collections::HashMap;
use std::io::{self, Write};

use chrono::{NaiveDate, NaiveDateTime};
use serde::Serialize;
use serde_json::Value;

use super::figures::{
    Amount, Days, Moment, Number, Percent, Quantity, Run, SetPercent, Surface, UnitPrice,
};
use crate::ledger::{JobState, QuoteStatus, defused};
use crate::money::Currency;
use crate::trade::cautions::Hazard;
use crate::trade::invoice::InvoiceKind;
use crate::trade::operation::{Driver, Splits};
use crate::trade::quote::{Cause, LineKind};
use crate::trade::rates::{RateKind, Status};
use crate::trade::reading::{Layer, ReadingKind};
use crate::trade::rental::{DayUse, Period};
use crate::trade::sandable::{Question, Verdict};
use crate::trade::tax::TaxedKind;
use crate::trade::variance::{self, rental::RentalPart};
use crate::trade::{FloorCondition, Layout, Species, Unit};

/// What parts the parts of a list that stands in one cell.
const BETWEEN: &str = "; ";

/// The heading of the column that names the currency of a row's amounts.
const CURRENCY: &str = "currency";

/// The list of an answer.
pub struct List<'a> {
    columns: Columns,
    rows: Box<dyn Iterator<Item = serde_json::Result<Value>> + 'a>,
}

impl<'a> List<'a> {
    /// Returns the list of these rows; each becomes cells when it is written.
    pub(super) fn of<T: Serialize + InColumns + 'a>(
        rows: impl IntoIterator<Item = T, IntoIter: 'a>,
    ) -> Option<List<'a>> {
        let mut columns = Columns::default();
        T::columns("", &mut columns);
        Some(List {
            columns,
            rows: Box::new(rows.into_iter().map(serde_json::to_value)),
        })
    }

    /// Writes it as CSV (RFC 4180); what a spreadsheet would run is defused.
    ///
    /// # Errors
    /// Fails if it can't be written.
    pub fn write(self, currency: Currency, to: impl Write) -> io::Result<()> {
        self.write_rows(currency, to)
            .map_err(|error| match error.into_kind() {
                csv::ErrorKind::Io(error) => error,
                other => io::Error::other(format!("{other:?}")),
            })
    }

    fn write_rows(self, currency: Currency, to: impl Write) -> csv::Result<()> {
        let mut writer = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer(to);
        let Columns { mut names, amounts } = self.columns;
        let has_currency = names.iter().any(|name| name == CURRENCY);
        let is_named = amounts && !has_currency;
        names.extend(is_named.then(|| CURRENCY.to_owned()));
        writer.write_record(&names)?;
        let names = names.iter().zip(0..);
        let places: HashMap<&str, usize> =
            names.map(|(name, place)| (name.as_str(), place)).collect();
        let mut cells = vec![String::new(); places.len()];
        for row in self.rows {
            cells.iter_mut().for_each(String::clear);
            fill("", &row.map_err(io::Error::from)?, &places, &mut cells);
            if let Some(last) = cells.last_mut().filter(|_| is_named) {
                currency.code().clone_into(last);
            }
            writer.write_record(cells.iter().map(|cell| defused(cell)))?;
        }
        Ok(writer.flush()?)
    }
}

/// The columns of rows, in their order.
#[derive(Debug, Default)]
pub(crate) struct Columns {
    names: Vec<String>,
    /// Whether amounts of money are among them.
    amounts: bool,
}

impl Columns {
    pub(super) fn add(&mut self, name: &str) {
        self.names.push(name.to_owned());
    }

    fn add_amount(&mut self, name: &str) {
        self.add(name);
        self.amounts = true;
    }
}

/// What has columns in the list that it is in.
pub(crate) trait InColumns {
    /// Adds the columns of a value with this key.
    fn columns(key: &str, to: &mut Columns);
}

impl<T: InColumns> InColumns for Option<T> {
    fn columns(key: &str, to: &mut Columns) {
        T::columns(key, to);
    }
}

impl<T: InColumns> InColumns for Box<T> {
    fn columns(key: &str, to: &mut Columns) {
        T::columns(key, to);
    }
}

impl<T: InColumns> InColumns for &T {
    fn columns(key: &str, to: &mut Columns) {
        T::columns(key, to);
    }
}

/// A list in a row is one cell.
impl<T> InColumns for Vec<T> {
    fn columns(key: &str, to: &mut Columns) {
        to.add(key);
    }
}

macro_rules! amounts_in_columns {
    ($($type:ty),+) => {$(
        impl InColumns for $type {
            fn columns(key: &str, to: &mut Columns) {
                to.add_amount(key);
            }
        }
    )+};
}

amounts_in_columns! { Amount, UnitPrice }

macro_rules! quantities_in_columns {
    ($($type:ty),+) => {$(
        impl InColumns for $type {
            fn columns(key: &str, to: &mut Columns) {
                to.add(if key.is_empty() { "quantity" } else { key });
                to.add(&joined(key, "unit"));
            }
        }
    )+};
}

quantities_in_columns! { Quantity, Surface, Run }

/// Values that are one cell each.
macro_rules! in_a_column {
    ($($type:ty),+ $(,)?) => {$(
        impl $crate::document::list::InColumns for $type {
            fn columns(key: &str, to: &mut $crate::document::list::Columns) {
                to.add(key);
            }
        }
    )+};
}

in_a_column! { bool, i32, i64, u32, usize, &'static str, String, NaiveDate, NaiveDateTime }
in_a_column! { Days, Moment, Number, Percent, SetPercent }
in_a_column! { Cause, DayUse, Driver, FloorCondition, Hazard, InvoiceKind, JobState, Layer, Layout, LineKind, Period, TaxedKind }
in_a_column! { Question, QuoteStatus, RateKind, ReadingKind, RentalPart, Species, Splits, Status, Unit, Verdict }
in_a_column! { variance::LineKind }

/// Declares a struct whose fields are columns: none for what JSON skips, and those of what it flattens.
macro_rules! columns {
    (
        $(#[$($about:tt)*])*
        $vis:vis struct $name:ident $(<$life:lifetime>)? {
            $($(#[$($attribute:tt)*])* $field_vis:vis $field:ident: $type:ty,)*
        }
    ) => {
        $(#[$($about)*])*
        $vis struct $name $(<$life>)? {
            $($(#[$($attribute)*])* $field_vis $field: $type,)*
        }

        impl $(<$life>)? $crate::document::list::InColumns for $name $(<$life>)? {
            fn columns(key: &str, to: &mut $crate::document::list::Columns) {
                let _ = (key, &to);
                $(columns!(@field key to $field [$type] $([$($attribute)*])*);)*
            }
        }
    };

    (@field $key:ident $to:ident $field:ident [$type:ty] [serde(skip)] $($rest:tt)*) => {};
    (@field $key:ident $to:ident $field:ident [$type:ty] [serde(flatten)] $($rest:tt)*) => {
        <$type as $crate::document::list::InColumns>::columns($key, $to)
    };
    (@field $key:ident $to:ident $field:ident [$type:ty] [$($other:tt)*] $($rest:tt)*) => {
        columns!(@field $key $to $field [$type] $($rest)*)
    };
    (@field $key:ident $to:ident $field:ident [$type:ty]) => {
        <$type as $crate::document::list::InColumns>::columns(
            &$crate::document::list::joined($key, stringify!($field)),
            $to,
        )
    };
}

/// Returns the name of the column of a value in a value: `area_unit`.
pub(super) fn joined(key: &str, part: &str) -> String {
    let part = part.trim_start_matches("r#");
    match key {
        "" => part.to_owned(),
        key => format!("{key}_{part}"),
    }
}

/// Puts what a value says into the cells of its columns.
fn fill(key: &str, value: &Value, places: &HashMap<&str, usize>, cells: &mut [String]) {
    match (places.get(key), value) {
        (Some(place), Value::Object(parts)) if is_quantity(value) => {
            cells[*place] = cell(&parts["quantity"]);
            fill(&joined(key, "unit"), &parts["unit"], places, cells);
        }
        (Some(place), value) => cells[*place] = cell(value),
        (None, Value::Object(parts)) => {
            for (part, value) in parts {
                fill(&joined(key, part), value, places, cells);
            }
        }
        (None, _) => {}
    }
}

/// Tells whether a value is a quantity with its unit.
fn is_quantity(value: &Value) -> bool {
    value
        .get("quantity")
        .and_then(|_| value.get("unit"))
        .is_some()
}

/// Returns a value in one cell: the parts of a list behind one another, each with what it says of what.
fn cell(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Bool(_) | Value::Number(_) => value.to_string(),
        Value::Array(parts) => parts.iter().map(cell).collect::<Vec<_>>().join(BETWEEN),
        Value::Object(parts) if is_quantity(value) => {
            format!("{} {}", cell(&parts["quantity"]), cell(&parts["unit"]))
        }
        Value::Object(parts) => {
            let parts = parts.iter().map(|(key, part)| (key, cell(part)));
            let said = parts.filter(|(_, cell)| !cell.is_empty());
            let said = said.map(|(key, cell)| format!("{key} {cell}"));
            said.collect::<Vec<_>>().join(", ")
        }
    }
}
