//! What the ledger keeps as JSON: shapes of its own, apart from the trade's types.
//!
//! What a simulation said of a quote, the rates it was priced with, a plan of a house with what was asked for, and the fit
//! are each kept whole, as one text in a column. A ledger has to be read for longer than the trade's types stay as they
//! are, so none of them is written as it stands. A [`Shape`] names every field that is kept and how it is written, and
//! takes its trade type apart field by field: a field that is new there doesn't compile here until somebody has decided
//! how it is kept, and one that is renamed there keeps its key here. The tests beside each shape hold the exact text.
//!
//! Each text says in which format it is: `{"format":1,"kept":…}`. The number stands in the text and not in a column
//! beside it, so that the two stay together wherever a row goes, and so that a format of a shape is no matter of the
//! schema. [`text`] and [`read`] are the only way in and out; `read` says which row it is that can't be read.
//!
//! Until 0.1.0 shapes are changed in place. From then on a changed shape has the next format, and the shape before stays
//! beside it, to be read.

mod fit;
mod outlook;
mod plan;
mod rate;
mod rental;
mod story;

use std::sync::Arc;

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::Refusal;
use crate::money::{Decimal, Money};
use crate::trade::quote::Cause;
use crate::trade::rates::RateKind;
use crate::trade::rental::Period;
use crate::trade::{FloorCondition, ItemId, MachineId, OperationId, RoomId, Species};

/// What is kept as JSON.
pub(super) trait Kept: Sized {
    /// How it is written.
    type Shape: Shape<Self> + Serialize + DeserializeOwned;
    /// What people call it.
    const NAME: &'static str;
    /// The number of the shape.
    const FORMAT: u32;
}

/// How a value of the trade is written.
pub(super) trait Shape<T>: Sized {
    /// Returns the shape of a value.
    fn keep(of: &T) -> Self;

    /// Returns the value of a shape.
    ///
    /// # Errors
    /// Fails if no value of the trade has that shape.
    fn give(self) -> Result<T, Broken>;
}

/// Why a shape has no value.
#[derive(Debug, Error)]
#[error("{0}")]
pub(super) struct Broken(&'static str);

/// A text as it is kept.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Envelope<S> {
    format: u32,
    kept: S,
}

/// As much of a text as says how to read the rest.
#[derive(Deserialize)]
struct Stamp {
    format: u32,
}

/// Returns the text that keeps a value.
///
/// # Errors
/// Fails if a part of it can't be written as JSON.
pub(super) fn text<K: Kept>(value: &K) -> Result<String> {
    let envelope = Envelope {
        format: K::FORMAT,
        kept: K::Shape::keep(value),
    };
    Ok(serde_json::to_string(&envelope)?)
}

/// Returns the value that a text keeps; `of` names the row that it stands in.
///
/// # Errors
/// Refuses a format that isn't known, and what can't be read.
pub(super) fn read<K: Kept>(text: &str, of: &str) -> Result<K, Refusal> {
    let broken = |why: String| {
        Refusal::new(format!("the {} of {of} can't be read: {why}", K::NAME))
            .hint("gritledger check")
    };
    // Nearly always it is of this format: only what isn't is asked for its stamp.
    let envelope = serde_json::from_str::<Envelope<K::Shape>>(text);
    if !matches!(&envelope, Ok(envelope) if envelope.format == K::FORMAT) {
        let stamp = serde_json::from_str(text);
        let Stamp { format } = stamp.map_err(|error| broken(error.to_string()))?;
        if format != K::FORMAT {
            let refusal = Refusal::new(format!(
                "the {} of {of} is kept in format {format}, and this program reads format {}",
                K::NAME,
                K::FORMAT
            ));
            return Err(refusal.hint("use the program that wrote it, or a newer one"));
        }
    }
    envelope
        .map_err(|error| broken(error.to_string()))?
        .kept
        .give()
        .map_err(|error| broken(error.to_string()))
}

/// Defines the shape of a struct: every field, each with the shape it is kept in.
macro_rules! shape {
    ($(#[$doc:meta])* $shape:ident of $trade:ident { $($(#[$attribute:meta])* $field:ident: $kind:ty),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(serde::Serialize, serde::Deserialize)]
        #[serde(deny_unknown_fields)]
        pub(in crate::ledger) struct $shape { $($(#[$attribute])* $field: $kind),+ }

        impl $crate::ledger::kept::Shape<$trade> for $shape {
            fn keep(of: &$trade) -> Self {
                let $trade { $($field),+ } = of;
                $shape { $($field: <$kind as $crate::ledger::kept::Shape<_>>::keep($field)),+ }
            }

            fn give(self) -> Result<$trade, $crate::ledger::kept::Broken> {
                let $shape { $($field),+ } = self;
                Ok($trade { $($field: $crate::ledger::kept::Shape::give($field)?),+ })
            }
        }
    };
}
use shape;

/// Says which values are written as they are: numbers and texts, dates, ids, and words of closed sets.
macro_rules! as_they_are {
    ($($kind:ty),+ $(,)?) => {$(
        impl Shape<$kind> for $kind {
            fn keep(of: &$kind) -> Self {
                of.clone()
            }

            fn give(self) -> Result<$kind, Broken> {
                Ok(self)
            }
        }
    )+};
}

as_they_are!(
    bool,
    u32,
    std::num::NonZeroU32,
    u64,
    i64,
    usize,
    f64,
    String,
    Decimal,
    NaiveDate,
    NaiveDateTime,
    [u32; 4],
    ItemId,
    MachineId,
    OperationId,
    RoomId,
    Cause,
    FloorCondition,
    Period,
    RateKind,
    Species,
);

/// Money, in minor units of the ledger's currency.
#[derive(Serialize, Deserialize)]
pub(super) struct Minor(i64);

impl Shape<Money> for Minor {
    fn keep(of: &Money) -> Self {
        Minor(of.minor())
    }

    fn give(self) -> Result<Money, Broken> {
        Ok(Money::from_minor(self.0))
    }
}

impl Shape<Arc<str>> for String {
    fn keep(of: &Arc<str>) -> Self {
        (**of).to_owned()
    }

    fn give(self) -> Result<Arc<str>, Broken> {
        Ok(self.into())
    }
}

impl<T, S: Shape<T>> Shape<Option<T>> for Option<S> {
    fn keep(of: &Option<T>) -> Self {
        of.as_ref().map(S::keep)
    }

    fn give(self) -> Result<Option<T>, Broken> {
        self.map(S::give).transpose()
    }
}

impl<T, S: Shape<T>> Shape<Vec<T>> for Vec<S> {
    fn keep(of: &Vec<T>) -> Self {
        of.iter().map(S::keep).collect()
    }

    fn give(self) -> Result<Vec<T>, Broken> {
        self.into_iter().map(S::give).collect()
    }
}

impl<T, U, S: Shape<T>, R: Shape<U>> Shape<(T, U)> for (S, R) {
    fn keep((one, other): &(T, U)) -> Self {
        (S::keep(one), R::keep(other))
    }

    fn give(self) -> Result<(T, U), Broken> {
        Ok((self.0.give()?, self.1.give()?))
    }
}

#[cfg(test)]
mod tests {
    use std::fmt::Debug;

    use super::*;

    /// Holds a value to its text, both ways.
    #[track_caller]
    pub(super) fn golden<K: Kept + Debug + PartialEq>(value: &K, kept: &str) {
        assert_eq!(text(value).unwrap(), kept, "what is kept has changed");
        assert_eq!(&read::<K>(kept, "a test").unwrap(), value);
    }

    fn refusal<K: Kept + Debug>(text: &str) -> String {
        read::<K>(text, "quote Q7").unwrap_err().message
    }

    #[test]
    fn what_cant_be_read_is_refused_in_words() {
        type Days = Vec<NaiveDate>;
        for (text, words) in [
            (
                r#"{"format":2,"kept":["2026-03-09"]}"#,
                "the list of lost days of quote Q7 is kept in format 2, and this program reads format 1",
            ),
            (
                "[]",
                "the list of lost days of quote Q7 can't be read: invalid length 0, expected struct Stamp with 1 element at line 1 column 2",
            ),
            (
                r#"{"format":1,"kept":["soon"]}"#,
                "the list of lost days of quote Q7 can't be read: input contains invalid characters at line 1 column 26",
            ),
            (
                r#"{"format":1,"kept":[],"more":1}"#,
                "the list of lost days of quote Q7 can't be read: unknown field `more`, expected `format` or `kept` at line 1 column 28",
            ),
        ] {
            assert_eq!(refusal::<Days>(text), words);
        }
    }
}
