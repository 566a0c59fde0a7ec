//! Where somebody lives: how figures and dates are written there (which sign parts the decimals, and whether the day or
//! the month comes first), and whose laws may be named. All of it is fixed when a ledger is made, and never guessed.
//!
//! The program's own form, `1234.5` and `2026-03-02`, is read everywhere, so what it prints can be typed. A figure that
//! could be meant as two, `1,234`, is refused with both.

use std::fmt::Display;

use chrono::{Datelike, Days, NaiveDate, Weekday};
use thiserror::Error;

use crate::money::{Decimal, number};

/// Writes a number with its noun, in agreement: `1 room`, `2 rooms`, `0.5 hours`.
pub fn count(number: impl Display, noun: &str) -> String {
    match number.to_string() {
        one if one == "1" => format!("1 {noun}"),
        several => format!("{several} {noun}s"),
    }
}

/// A country of ISO 3166-1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Country(iso_currency::Country);

impl Country {
    /// The United Kingdom.
    pub const GB: Country = Country(iso_currency::Country::GB);

    /// The United States of America.
    pub const US: Country = Country(iso_currency::Country::US);

    /// Returns the country with that code of two letters, in any case, if there is one.
    pub fn parse(code: &str) -> Option<Country> {
        let code = code.trim().to_ascii_uppercase();
        let two = code.len() == 2;
        code.parse().ok().filter(|_| two).map(Country)
    }

    /// Returns its code of two letters.
    pub fn code(self) -> String {
        self.0.to_string()
    }
}

/// The sign that parts whole numbers from their decimals.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DecimalMark {
    /// `1234.5`
    #[default]
    Point,
    /// `1234,5`
    Comma,
}

/// Whether the day or the month comes first where a date has no year in front.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DateOrder {
    /// `3/2` is the second of March.
    #[default]
    MonthDay,
    /// `3/2` is the third of February.
    DayMonth,
}

impl DecimalMark {
    /// Returns the word that [`DecimalMark::parse`] reads.
    pub fn as_str(self) -> &'static str {
        match self {
            DecimalMark::Point => "point",
            DecimalMark::Comma => "comma",
        }
    }

    /// Returns the mark of that name, or that is written so, if there is one.
    pub fn parse(text: &str) -> Option<DecimalMark> {
        match text.trim().to_lowercase().as_str() {
            "point" | "." => Some(DecimalMark::Point),
            "comma" | "," => Some(DecimalMark::Comma),
            _ => None,
        }
    }
}

impl DateOrder {
    /// Returns the word that [`DateOrder::parse`] reads.
    pub fn as_str(self) -> &'static str {
        match self {
            DateOrder::MonthDay => "month-day",
            DateOrder::DayMonth => "day-month",
        }
    }

    /// Returns the order of that name, if there is one.
    pub fn parse(text: &str) -> Option<DateOrder> {
        let mut orders = [DateOrder::MonthDay, DateOrder::DayMonth].into_iter();
        orders.find(|order| order.as_str().eq_ignore_ascii_case(text.trim()))
    }
}

/// How figures and dates are written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Notation {
    /// What parts the decimals.
    pub decimal_mark: DecimalMark,
    /// What comes first in a date.
    pub date_order: DateOrder,
}

/// Why a text is no figure.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum FigureError {
    /// It is none.
    #[error("`{0}` is not a number")]
    NotANumber(String),
    /// It could be two.
    #[error("`{text}` could be {whole} or {parted}")]
    Ambiguous {
        /// The text.
        text: String,
        /// What it is if the mark groups thousands.
        whole: String,
        /// What it is if the mark parts decimals, written so that it can be nothing else.
        parted: String,
    },
}

impl Notation {
    /// Reads a figure: `1234.5`, `1,234.50`, and `1.234,50` where a comma parts the decimals.
    ///
    /// # Errors
    /// Refuses what is no figure, and what could be two.
    pub fn number(self, text: &str) -> Result<Decimal, FigureError> {
        let text = text.trim();
        let wrong = || FigureError::NotANumber(text.to_owned());
        let with_point = read_as(text, ',', '.');
        let with_comma = read_as(text, '.', ',');
        let (own, other) = match self.decimal_mark {
            DecimalMark::Point => (with_point, with_comma),
            DecimalMark::Comma => (with_comma, with_point),
        };
        match (own, other) {
            (Some(one), Some(another)) if one == another => Ok(one),
            // In the program's own form there is no thousands mark: a point parts decimals.
            (Some(one), Some(_))
                if self.decimal_mark == DecimalMark::Point && !text.contains(',') =>
            {
                Ok(one)
            }
            (Some(one), Some(another)) => Err(FigureError::Ambiguous {
                text: text.to_owned(),
                whole: one.max(another).normalize().to_string(),
                parted: format!("{}0", one.min(another)),
            }),
            (Some(one), None) => Ok(one),
            // `1.5` where a comma is usual: what the program prints.
            (None, Some(another)) if self.decimal_mark == DecimalMark::Comma => Ok(another),
            (None, _) => Err(wrong()),
        }
    }

    /// Returns a text with the decimals of its figures in the program's own form: `12.5 m x 3.2 m` for `12,5 m x 3,2 m`.
    pub fn plain(self, text: &str) -> String {
        let signs: Vec<char> = text.chars().collect();
        let is_digit = |place: Option<usize>| {
            place
                .and_then(|place| signs.get(place))
                .is_some_and(char::is_ascii_digit)
        };
        let plain = |(place, sign): (usize, &char)| match (sign, self.decimal_mark) {
            (',', DecimalMark::Comma)
                if is_digit(place.checked_sub(1)) && is_digit(Some(place + 1)) =>
            {
                '.'
            }
            _ => *sign,
        };
        signs.iter().enumerate().map(plain).collect()
    }

    /// Reads a date that has come: `2026-03-02`, `today`, `yesterday`, `3 days ago`, `mon` (the latest one not after today),
    /// and day and month in the order that is usual here, `3/2`, with or without a year. Without one it is the latest such
    /// day not after today.
    pub fn past_day(self, text: &str, today: NaiveDate) -> Option<NaiveDate> {
        let text = text.trim().to_lowercase();
        if let Some(day) = weekday(&text) {
            let back =
                (7 + today.weekday().num_days_from_monday() - day.num_days_from_monday()) % 7;
            return today.checked_sub_days(Days::new(back.into()));
        }
        match text.as_str() {
            "today" => return Some(today),
            "yesterday" => return today.pred_opt(),
            _ => {}
        }
        if let Some(days) = text.strip_suffix("ago") {
            let days = days
                .trim()
                .strip_suffix("days")
                .or(days.trim().strip_suffix("day"))?;
            return today.checked_sub_days(Days::new(days.trim().parse().ok()?));
        }
        self.calendar_day(&text, |year, month, day| {
            let date = NaiveDate::from_ymd_opt(year.unwrap_or(today.year()), month, day)?;
            match year {
                None if date > today => NaiveDate::from_ymd_opt(today.year() - 1, month, day),
                _ => Some(date),
            }
        })
    }

    /// Reads a date that is planned: as [`Notation::past_day`] does, but `tomorrow`, and weekdays and dates without a year
    /// are the next ones not before today.
    pub fn coming_day(self, text: &str, today: NaiveDate) -> Option<NaiveDate> {
        let text = text.trim().to_lowercase();
        if let Some(day) = weekday(&text) {
            let ahead =
                (7 + day.num_days_from_monday() - today.weekday().num_days_from_monday()) % 7;
            return today.checked_add_days(Days::new(ahead.into()));
        }
        match text.as_str() {
            "today" => return Some(today),
            "tomorrow" => return today.succ_opt(),
            _ => {}
        }
        self.calendar_day(&text, |year, month, day| {
            let date = NaiveDate::from_ymd_opt(year.unwrap_or(today.year()), month, day)?;
            match year {
                None if date < today => NaiveDate::from_ymd_opt(today.year() + 1, month, day),
                _ => Some(date),
            }
        })
    }

    /// Reads year, month and day: `2026-03-02`, or day and month with or without a year behind them.
    fn calendar_day(
        self,
        text: &str,
        date: impl Fn(Option<i32>, u32, u32) -> Option<NaiveDate>,
    ) -> Option<NaiveDate> {
        if text.contains('-') {
            return NaiveDate::parse_from_str(text, "%Y-%m-%d").ok();
        }
        let parts: Vec<&str> = text.split(['/', '.']).map(str::trim).collect();
        let (first, second, year) = match parts[..] {
            // `2.3.` as dates are written where the day comes first.
            [first, second] | [first, second, ""] => (first, second, None),
            [first, second, year] if year.len() == 4 => (first, second, Some(year.parse().ok()?)),
            _ => return None,
        };
        let (first, second) = (first.parse().ok()?, second.parse().ok()?);
        match self.date_order {
            DateOrder::MonthDay => date(year, first, second),
            DateOrder::DayMonth => date(year, second, first),
        }
    }
}

/// Reads a figure with one sign between thousands and another before the decimals.
fn read_as(text: &str, thousands: char, decimal: char) -> Option<Decimal> {
    let (whole, decimals) = match text.split_once(decimal) {
        Some((whole, decimals)) => (whole, Some(decimals)),
        None => (text, None),
    };
    let mut groups = whole.split(thousands);
    let first = groups.next()?.trim_start_matches(['-', '+']);
    let grouped: Vec<&str> = groups.collect();
    let is_figure = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    let in_threes = grouped
        .iter()
        .all(|group| group.len() == 3 && is_figure(group));
    let begins = grouped.is_empty() || (1..=3).contains(&first.len()) && !first.starts_with('0');
    if !in_threes || !begins || !decimals.is_none_or(is_figure) {
        return None;
    }
    let whole: String = whole.chars().filter(|sign| *sign != thousands).collect();
    number(&match decimals {
        Some(decimals) => format!("{whole}.{decimals}"),
        None => whole,
    })
}

fn weekday(text: &str) -> Option<Weekday> {
    match text {
        "mon" | "monday" => Some(Weekday::Mon),
        "tue" | "tuesday" => Some(Weekday::Tue),
        "wed" | "wednesday" => Some(Weekday::Wed),
        "thu" | "thursday" => Some(Weekday::Thu),
        "fri" | "friday" => Some(Weekday::Fri),
        "sat" | "saturday" => Some(Weekday::Sat),
        "sun" | "sunday" => Some(Weekday::Sun),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn notation(decimal_mark: DecimalMark, date_order: DateOrder) -> Notation {
        Notation {
            decimal_mark,
            date_order,
        }
    }

    #[test]
    fn figures_are_read_with_the_mark_that_is_usual() {
        use DecimalMark::{Comma, Point};
        let read = |text: &str, mark| {
            let read = notation(mark, DateOrder::default()).number(text);
            read.map(|value| value.normalize().to_string())
                .map_err(|error| error.to_string())
        };
        for (text, point, comma) in [
            ("1234.5", "1234.5", "1234.5"),
            ("12.5", "12.5", "12.5"),
            ("-3", "-3", "-3"),
            ("1,234.50", "1234.5", "1234.5"),
            ("1,234,567", "1234567", "1234567"),
            ("1.234,50", "`1.234,50` is not a number", "1234.5"),
            ("12,5", "`12,5` is not a number", "12.5"),
            ("1.234", "1.234", "`1.234` could be 1234 or 1.2340"),
            (
                "1,234",
                "`1,234` could be 1234 or 1.2340",
                "`1,234` could be 1234 or 1.2340",
            ),
            ("0,500", "`0,500` is not a number", "0.5"),
            ("1,23", "`1,23` is not a number", "1.23"),
            ("1,2345", "`1,2345` is not a number", "1.2345"),
            ("1234,567", "`1234,567` is not a number", "1234.567"),
            ("", "`` is not a number", "`` is not a number"),
            (
                "1,,234",
                "`1,,234` is not a number",
                "`1,,234` is not a number",
            ),
            ("1e3", "`1e3` is not a number", "`1e3` is not a number"),
            (
                "1 234",
                "`1 234` is not a number",
                "`1 234` is not a number",
            ),
        ] {
            let told = |read: Result<String, String>| read.unwrap_or_else(|error| error);
            assert_eq!(told(read(text, Point)), point, "{text} with a point");
            assert_eq!(told(read(text, Comma)), comma, "{text} with a comma");
        }
    }

    #[test]
    fn decimals_within_a_text_are_put_in_the_programs_form() {
        let comma = notation(DecimalMark::Comma, DateOrder::default());
        assert_eq!(comma.plain("12,5 m x 3,2 m"), "12.5 m x 3.2 m");
        assert_eq!(comma.plain("Den, Parlour"), "Den, Parlour");
        assert_eq!(Notation::default().plain("12,5 m"), "12,5 m");
    }

    #[test]
    fn days_are_read_as_people_say_them() {
        let day = |text: &str| NaiveDate::parse_from_str(text, "%Y-%m-%d").ok();
        let today = day("2026-03-04").unwrap(); // A Wednesday.
        let american = notation(DecimalMark::Point, DateOrder::MonthDay);
        let european = notation(DecimalMark::Comma, DateOrder::DayMonth);
        for (text, by_month, by_day) in [
            ("2026-02-27", "2026-02-27", "2026-02-27"),
            ("Today", "2026-03-04", "2026-03-04"),
            ("yesterday", "2026-03-03", "2026-03-03"),
            ("3 days ago", "2026-03-01", "2026-03-01"),
            ("1 day ago", "2026-03-03", "2026-03-03"),
            ("mon", "2026-03-02", "2026-03-02"),
            ("Wednesday", "2026-03-04", "2026-03-04"),
            ("thu", "2026-02-26", "2026-02-26"),
            ("3/2", "2026-03-02", "2026-02-03"),
            ("2/3", "2026-02-03", "2026-03-02"),
            ("2.3.", "2026-02-03", "2026-03-02"),
            ("12/5", "2025-12-05", "2025-05-12"),
            ("3/2/2025", "2025-03-02", "2025-02-03"),
        ] {
            assert_eq!(american.past_day(text, today), day(by_month), "{text}");
            assert_eq!(european.past_day(text, today), day(by_day), "{text}");
        }
        for text in [
            "",
            "ago",
            "x days ago",
            "13/13",
            "2026-02-30",
            "3/2/25",
            "moon",
            "-1 days ago",
        ] {
            assert_eq!(american.past_day(text, today), None, "{text}");
        }
        for (text, coming) in [
            ("tomorrow", "2026-03-05"),
            ("mon", "2026-03-09"),
            ("wed", "2026-03-04"),
            ("3/2", "2027-03-02"),
            ("3/9", "2026-03-09"),
        ] {
            assert_eq!(american.coming_day(text, today), day(coming), "{text}");
        }
    }
}
