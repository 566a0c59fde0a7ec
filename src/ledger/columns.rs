//! How trade values sit in SQLite columns: money and quantities as scaled integers, closed sets and dates as text.

use rusqlite::ToSql;
use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSqlOutput, ValueRef};
use rust_decimal::prelude::ToPrimitive;

use crate::measure::{Length, Units};
use crate::money::{Decimal, LARGEST_KEPT, Money, counted, product, round};
use crate::trade::cautions::Hazard;
use crate::trade::invoice::InvoiceKind;
use crate::trade::operation::{Driver, Splits};
use crate::trade::rates::{RateKind, Word};
use crate::trade::{
    ClientId, EntryId, FindingId, FloorCondition, InvoiceId, ItemId, JobId, Layout, MachineId,
    OperationId, PaymentId, QuoteId, RoomId, SiteId, Species, TaskId, Unit, WorkerId,
};

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

impl ToSql for Micro {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        scaled(self.0, 6)
    }
}

impl FromSql for Micro {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        value
            .as_i64()
            .map(|integer| Micro(Decimal::new(integer, 6).normalize()))
    }
}

impl ToSql for Nano {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        scaled(self.0, 9)
    }
}

impl FromSql for Nano {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        value
            .as_i64()
            .map(|integer| Nano(Decimal::new(integer, 9).normalize()))
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
    Word,
    Unit,
    Hazard,
    InvoiceKind
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
