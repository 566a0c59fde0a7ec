//! How an answer is declared: its fields once, each with how it is told of the ledger's record.

use chrono::{NaiveDate, NaiveDateTime};

use super::Page;
use super::figures::{Amount, Days, Moment, Number, Percent, Run, SetPercent, Surface, UnitPrice};
use crate::ledger::{JobState, QuoteStatus};
use crate::measure::{Area, Length};
use crate::money::{Decimal, Money};
use crate::trade::cautions::Hazard;
use crate::trade::invoice::InvoiceKind;
use crate::trade::operation::{Driver, Splits};
use crate::trade::quote::Cause;
use crate::trade::rates::RateKind;
use crate::trade::reading::{Layer as FloorLayer, ReadingKind};
use crate::trade::rental::Period;
use crate::trade::sandable::{Question, Verdict};
use crate::trade::{FloorCondition, Layout, Species, Unit};

/// What is told of a value of the ledger.
pub(crate) trait Told<Of> {
    /// Tells it on a page.
    fn told(of: Of, page: &Page) -> Self;
}

impl<Of, T: Told<Of>> Told<Option<Of>> for Option<T> {
    fn told(of: Option<Of>, page: &Page) -> Option<T> {
        of.map(|of| T::told(of, page))
    }
}

impl<Of, T: Told<Of>> Told<Vec<Of>> for Vec<T> {
    fn told(of: Vec<Of>, page: &Page) -> Vec<T> {
        of.into_iter().map(|of| T::told(of, page)).collect()
    }
}

/// Declares answers. The fields are the keys of the JSON, in order:
///
/// - `note: String` is told of the record's `note`, as [`Told`] says for these two types.
/// - `note: String = …` is what the expression says.
///
/// `from room: Room` takes the record apart: what it holds beside the fields of the first kind stands in `.. { }` at the
/// end, because an expression tells it, or because it is left out on purpose. A record with a field in neither doesn't
/// compile.
/// `of (rooms: Vec<Room>)` takes values as they are; there, a field of the first kind is told of the value of its name.
/// `let Plan { finish, day: _ } = plan;` before the fields takes a value apart, or names what several of them are told of.
macro_rules! answer {
    ($(
        $(#[$about:meta])*
        $vis:vis struct $name:ident
        $(from $record:ident: $of:ident $(with ($($with:ident: $With:ty),*))?)?
        $(of ($($value:ident: $Value:ty),*))?
        on $page:ident $(let $part:pat = $whole:expr;)* {
            $($(#[$($attribute:tt)*])* $field_vis:vis $field:ident: $type:ty $(= $told:expr)?,)*
            $(.. { $($beside:ident),* $(,)? })?
        }
    )+) => {$(
        columns! {
            #[derive(Debug, serde::Serialize)]
            $(#[$about])*
            $vis struct $name {
                $($(#[$($attribute)*])* $field_vis $field: $type,)*
            }
        }

        impl $name {
            /// Returns the answer about what is given.
            $vis fn new(
                $($record: $of, $($($with: $With,)*)?)?
                $($($value: $Value,)*)?
                $page: &$crate::document::Page,
            ) -> $name {
                let _ = $page;
                $(let $part = $whole;)*
                answer!(@made [$name $page $($record: $of)? { $($($beside)*)? }] {} {} $($field $(= $told)?,)*)
            }
        }

        answer!(@told $name $($of $(with $($With)*)?)? $(of $($Value)*)?);
    )+};

    // A list of answers, each told of one record, and of what they share.
    (
        $(#[$about:meta])*
        $vis:vis struct $name:ident(Vec<$each:ident>)
        of ($records:ident: Vec<$of:ty>) $(with ($with:ident: $With:ty))? on $page:ident;
    ) => {
        #[derive(Debug, serde::Serialize)]
        $(#[$about])*
        $vis struct $name(Vec<$each>);

        in_a_column! { $name }

        impl $name {
            /// Returns the answer about what is given.
            $vis fn new($records: Vec<$of>, $($with: $With,)? $page: &$crate::document::Page) -> $name {
                $name($page.each($records, |record, page| $each::new(record, $($with,)? page)))
            }
        }

        answer!(@told $name Vec<$of> $(with ($With))?);
    };

    // Sorts the fields into those with an expression, which come first since they may ask the whole record, and the others.
    (@made $made:tt { $($told:tt)* } { $($plain:ident)* } $field:ident, $($rest:tt)*) => {
        answer!(@made $made { $($told)* } { $($plain)* $field } $($rest)*)
    };
    (@made $made:tt { $($told:tt)* } { $($plain:ident)* } $field:ident = $expr:expr, $($rest:tt)*) => {
        answer!(@made $made { $($told)* $field: $expr, } { $($plain)* } $($rest)*)
    };
    (@made [$name:ident $page:ident $record:ident: $of:ident { $($beside:ident)* }] { $($told:tt)* } { $($plain:ident)* }) => {{
        // Put together again, the record is whole: a field that is in neither list is missing.
        let _ = |whole: $of| $of { $($plain: whole.$plain,)* $($beside: whole.$beside,)* };
        $name { $($told)* $($plain: $crate::document::told::Told::told($record.$plain, $page),)* }
    }};
    (@made [$name:ident $page:ident {}] { $($told:tt)* } { $($plain:ident)* }) => {
        $name { $($told)* $($plain: $crate::document::told::Told::told($plain, $page),)* }
    };

    // What is told of one value alone can stand in another answer.
    (@told $name:ident $of:ty) => {
        impl $crate::document::told::Told<$of> for $name {
            fn told(of: $of, page: &$crate::document::Page) -> $name {
                $name::new(of, page)
            }
        }
    };
    (@told $name:ident of $of:ty) => {
        answer!(@told $name $of);
    };
    (@told $($others:tt)*) => {};
}

/// Figures that are told of a value as it is kept.
macro_rules! told_by {
    ($($figure:ty, $of:ty, |$value:ident, $page:ident| $told:expr;)+) => {$(
        impl Told<$of> for $figure {
            fn told($value: $of, $page: &Page) -> $figure {
                $told
            }
        }
    )+};
}

told_by! {
    Amount, Money, |money, page| page.amount(money);
    UnitPrice, Decimal, |price, page| page.price_of_one(price);
    Number, Decimal, |number, _page| Number(number);
    Percent, Decimal, |percent, _page| Percent(Some(percent));
    Percent, Option<Decimal>, |percent, _page| Percent(percent);
    SetPercent, Decimal, |percent, _page| SetPercent(percent);
    Surface, Area, |area, page| page.surface(area);
    Run, Length, |length, page| page.run(length);
    Days, Decimal, |days, _page| Days(days);
    Moment, NaiveDateTime, |moment, _page| Moment(moment);
}

/// What is told as it is.
macro_rules! told_as_it_is {
    ($($type:ty),+) => {$(
        impl $crate::document::told::Told<$type> for $type {
            fn told(of: $type, _: &$crate::document::Page) -> $type {
                of
            }
        }
    )+};
}

told_as_it_is! { bool, i32, u32, usize, &'static str, String, NaiveDate }
told_as_it_is! { Cause, Driver, FloorCondition, Hazard, InvoiceKind, JobState, Layout }
told_as_it_is! { FloorLayer, Question, ReadingKind, Verdict }
told_as_it_is! { Period, QuoteStatus, RateKind, Species, Splits, Unit }
