//! How trade values sit in SQLite columns: money and quantities as scaled integers, closed sets and dates as text.

use std::cell::Cell;

use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSqlOutput, ValueRef};
use rusqlite::{Row, Statement, ToSql};
use rust_decimal::prelude::ToPrimitive;

use crate::measure::{Length, Units};
use crate::money::{Decimal, LARGEST_KEPT, Money, counted, product, round};
use crate::notation::{Country, DateOrder, DecimalMark};
use crate::trade::accounts::Account;
use crate::trade::cautions::Hazard;
use crate::trade::invoice::InvoiceKind;
use crate::trade::operation::{Driver, Splits};
use crate::trade::parts::MeasuredPart;
use crate::trade::quote::LineKind;
use crate::trade::rates::{RateKind, Status};
use crate::trade::reading::{Layer, ReadingKind};
use crate::trade::tax::TaxedKind;
use crate::trade::{
    ClientId, EntryId, FindingId, FloorCondition, InvoiceId, ItemId, JobId, Layout, MachineId,
    OperationId, PaymentId, QuoteId, ReadingId, RoomId, SiteId, Species, TaskId, Unit, WorkerId,
};

/// A row whose columns are asked for by name in the order of its query: each is looked for from the last one on, so it is
/// found at once. In another order it is found too, later.
pub(super) struct NamedRow<'row> {
    pub(super) row: &'row Row<'row>,
    /// What its columns are called, if whoever reads many rows has asked for that once; none: each is asked for.
    names: &'row [String],
    next: Cell<usize>,
}

/// Returns what the columns of a query are called.
pub(super) fn names_of_columns(statement: &Statement<'_>) -> Vec<String> {
    let names = statement.column_names();
    names.map(str::to_owned).collect()
}

impl<'row> NamedRow<'row> {
    pub(super) fn of(row: &'row Row<'row>) -> NamedRow<'row> {
        NamedRow::with_names(row, &[])
    }

    pub(super) fn with_names(row: &'row Row<'row>, names: &'row [String]) -> NamedRow<'row> {
        NamedRow {
            row,
            names,
            next: Cell::new(0),
        }
    }

    pub(super) fn get<T: FromSql>(&self, name: &str) -> rusqlite::Result<T> {
        self.row.get(self.position(name)?)
    }

    /// Returns a quantity.
    pub(super) fn micro(&self, name: &str) -> rusqlite::Result<Decimal> {
        Ok(self.get::<Micro>(name)?.0)
    }

    /// Returns a text as it stands in the row.
    pub(super) fn text(&self, name: &str) -> rusqlite::Result<&'row str> {
        let position = self.position(name)?;
        Ok(self.row.get_ref(position)?.as_str()?)
    }

    pub(super) fn position(&self, name: &str) -> rusqlite::Result<usize> {
        let statement: &Statement<'_> = self.row.as_ref();
        let (next, count) = (self.next.get(), statement.column_count());
        for position in (next..count).chain(0..next) {
            let found = match self.names.get(position) {
                Some(found) => found,
                None => statement.column_name(position)?,
            };
            if found == name {
                self.next.set(position + 1);
                return Ok(position);
            }
        }
        Err(rusqlite::Error::InvalidColumnName(name.to_owned()))
    }
}

/// A quantity in millionths (`_micro` columns).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Micro(pub(super) Decimal);

/// A rate in thousand-millionths (`_nano` columns).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Nano(pub(super) Decimal);

/// A length in nanometres (`_nm` columns).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Nanometres(pub(super) Length);

fn scaled(value: Decimal, decimals: u32) -> rusqlite::Result<ToSqlOutput<'static>> {
    let integer = product([round(value, decimals), Decimal::from(10_i64.pow(decimals))]);
    Ok(ToSqlOutput::from(counted(integer.to_i64())))
}

/// Returns the number without zeros at its end, which are taken off where that is cheap.
fn unscaled(mut integer: i64, mut decimals: u32) -> Decimal {
    while decimals > 0 && integer % 10 == 0 {
        integer /= 10;
        decimals -= 1;
    }
    Decimal::new(integer, decimals)
}

impl ToSql for Micro {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        scaled(self.0, 6)
    }
}

impl FromSql for Micro {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        value.as_i64().map(|integer| Micro(unscaled(integer, 6)))
    }
}

impl ToSql for Nano {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        scaled(self.0, 9)
    }
}

impl FromSql for Nano {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        value.as_i64().map(|integer| Nano(unscaled(integer, 9)))
    }
}

impl ToSql for Nanometres {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(ToSqlOutput::from(self.0.nanometres()))
    }
}

impl FromSql for Nanometres {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        value
            .as_i64()
            .map(|integer| Nanometres(Length::from_nanometres(integer)))
    }
}

impl ToSql for Money {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        let kept = (self.abs() <= LARGEST_KEPT).then(|| self.minor());
        Ok(ToSqlOutput::from(counted(kept)))
    }
}

impl FromSql for Money {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        value.as_i64().map(Money::from_minor)
    }
}

macro_rules! id_columns {
    ($($name:ident),+ $(,)?) => {$(
        impl ToSql for $name {
            fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
                Ok(ToSqlOutput::from(self.0))
            }
        }

        impl FromSql for $name {
            fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
                value.as_i64().map($name)
            }
        }
    )+};
}

id_columns!(
    ClientId,
    SiteId,
    RoomId,
    FindingId,
    ReadingId,
    WorkerId,
    TaskId,
    ItemId,
    MachineId,
    OperationId,
    QuoteId,
    JobId,
    EntryId,
    InvoiceId,
    PaymentId,
);

macro_rules! word_columns {
    ($($name:ident),+ $(,)?) => {$(
        impl ToSql for $name {
            fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
                Ok(ToSqlOutput::from(self.as_str()))
            }
        }

        impl FromSql for $name {
            fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
                // What the program wrote is a word of the set as it stands; parsing is for what people write.
                let written = value.as_bytes()?;
                let known = $name::ALL.iter().find(|word| word.as_str().as_bytes() == written);
                match known {
                    Some(word) => Ok(*word),
                    None => value.as_str()?.parse().map_err(FromSqlError::other),
                }
            }
        }
    )+};
}

word_columns!(
    FloorCondition,
    Species,
    Layout,
    Driver,
    Splits,
    RateKind,
    Status,
    Unit,
    Hazard,
    InvoiceKind,
    LineKind,
    ReadingKind,
    Layer,
    TaxedKind,
    Account,
);

impl ToSql for Units {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(ToSqlOutput::from(self.as_str()))
    }
}

impl FromSql for Units {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let text = value.as_str()?;
        Units::parse(text)
            .ok_or_else(|| FromSqlError::Other(format!("`{text}` is not a system of units").into()))
    }
}

impl ToSql for Country {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(ToSqlOutput::from(self.code()))
    }
}

impl FromSql for Country {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let text = value.as_str()?;
        Country::parse(text)
            .ok_or_else(|| FromSqlError::Other(format!("`{text}` is not a country").into()))
    }
}

/// Parts of a room in other conditions as they were, with sq ft and ft of edge: `paint 48 49; bare 80 0`.
#[derive(Clone, Debug)]
pub(super) struct KeptParts(pub(super) Vec<MeasuredPart>);

impl ToSql for KeptParts {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        let parts = self.0.iter().map(|part| {
            let MeasuredPart {
                condition,
                area,
                edge,
            } = part;
            format!("{condition} {} {}", area.normalize(), edge.normalize())
        });
        Ok(parts.collect::<Vec<_>>().join("; ").into())
    }
}

impl FromSql for KeptParts {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let text = value.as_str()?;
        let read = |part: &str| {
            let mut words = part.split(' ');
            Some(MeasuredPart {
                condition: words.next()?.parse().ok()?,
                area: words.next()?.parse().ok()?,
                edge: words.next()?.parse().ok()?,
            })
        };
        let parts = text.split("; ").filter(|part| !part.is_empty()).map(read);
        let parts: Option<Vec<_>> = parts.collect();
        let broken = || FromSqlError::Other(format!("`{text}` are no parts of a room").into());
        parts.map(KeptParts).ok_or_else(broken)
    }
}

impl FromSql for DecimalMark {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let text = value.as_str()?;
        DecimalMark::parse(text)
            .ok_or_else(|| FromSqlError::Other(format!("`{text}` is not a decimal mark").into()))
    }
}

impl FromSql for DateOrder {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let text = value.as_str()?;
        DateOrder::parse(text)
            .ok_or_else(|| FromSqlError::Other(format!("`{text}` is not an order of dates").into()))
    }
}

#[cfg(test)]
mod tests {
    use std::collections::{BTreeMap, BTreeSet};

    use super::super::QuoteStatus;
    use super::super::file::MIGRATIONS;
    use super::super::items::ITEM_UNITS;
    use super::*;

    /// Returns the words that the schema lets into a column, for each `CHECK (column IN ('a', 'b'))`.
    fn words_of_the_schema() -> BTreeMap<String, BTreeSet<&'static str>> {
        let tables = MIGRATIONS
            .iter()
            .flat_map(|(_, sql)| sql.split("CREATE TABLE ").skip(1));
        let mut lists = BTreeMap::new();
        for table in tables {
            let (name, columns) = table.split_once(" (").unwrap();
            let (columns, _) = columns.split_once(") STRICT").unwrap();
            let checks = columns.split("CHECK (").skip(1);
            for (column, words) in checks.filter_map(|check| check.split_once(" IN ('")) {
                let (words, _) = words.split_once("')").unwrap();
                let words = words.split(',').map(|word| word.trim().trim_matches('\''));
                if column
                    .chars()
                    .all(|sign| sign.is_alphanumeric() || sign == '_')
                {
                    lists.insert(format!("{name}.{column}"), words.collect());
                }
            }
        }
        lists
    }

    macro_rules! words {
        ($set:expr) => {
            $set.iter().map(|word| word.as_str()).collect()
        };
    }

    #[test]
    fn the_schema_lets_in_what_the_closed_sets_have_and_nothing_else() {
        let drivers: Vec<Unit> = Driver::ALL.iter().map(|driver| driver.unit()).collect();
        let sets: [(&str, BTreeSet<&str>); 26] = [
            ("account_name.account", words!(Account::ALL)),
            ("book_rate.kind", words!(RateKind::ALL)),
            ("finding.unit", words!(drivers)),
            ("invoice.kind", words!(InvoiceKind::ALL)),
            ("item.unit", words!(ITEM_UNITS)),
            (
                "ledger.date_order",
                words!([DateOrder::MonthDay, DateOrder::DayMonth]),
            ),
            (
                "ledger.decimal_mark",
                words!([DecimalMark::Point, DecimalMark::Comma]),
            ),
            ("ledger.units", words!([Units::Us, Units::Metric])),
            ("observation.kind", words!(RateKind::ALL)),
            ("observation.word", words!(Status::ALL)),
            ("operation.driver", words!(Driver::ALL)),
            ("operation.splits", words!(Splits::ALL)),
            ("operation_hazard.hazard", words!(Hazard::ALL)),
            ("quote_line.driver", words!(Driver::ALL)),
            ("quote_line.kind", words!(LineKind::ALL)),
            ("quote_line.part", words!(FloorCondition::ALL)),
            ("quote_rate.kind", words!(RateKind::ALL)),
            ("rate_change.kind", words!(RateKind::ALL)),
            ("rate_story.kind", words!(RateKind::ALL)),
            ("reading.kind", words!(ReadingKind::ALL)),
            ("reading.layer", words!(Layer::ALL)),
            ("room.floor_condition", words!(FloorCondition::ALL)),
            ("room.layout", words!(Layout::ALL)),
            ("room.species", words!(Species::ALL)),
            ("tax_rate.applies_to", words!(TaxedKind::ALL)),
            // What has happened to a quote; a draft and one that expired are states without an event.
            (
                "quote_event.what",
                words!([
                    QuoteStatus::Sent,
                    QuoteStatus::Accepted,
                    QuoteStatus::Declined,
                    QuoteStatus::Withdrawn
                ]),
            ),
        ];
        let mut schema = words_of_the_schema();
        for (column, words) in sets {
            assert_eq!(schema.remove(column).as_ref(), Some(&words), "{column}");
        }
        // Each of these words is written by the one method that records such a row, and is in no set.
        let alone: Vec<&str> = schema.keys().map(String::as_str).collect();
        assert_eq!(alone, ["entry.kind", "job_event.what"]);
    }
}
