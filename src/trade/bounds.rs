//! What may be typed: one small table for everything that a slip of the finger can make of a figure.
//!
//! What is impossible is refused, whoever writes it: the functions here do that. What is unlikely, but can be meant, is
//! asked about where it is typed; files of older work are taken at their word.

use chrono::{Days, Months, NaiveDate};
use thiserror::Error;

use crate::measure::{Area, Units};
use crate::money::{Decimal, Money};

/// Nothing is earlier: no ledger goes back further.
pub const FIRST_DAY: NaiveDate = NaiveDate::from_ymd_opt(1990, 1, 1).expect("a date");

/// Nothing is planned, and no tax dated, further ahead.
pub const YEARS_AHEAD: u32 = 2;

/// What is told as older is asked about.
pub const DAYS_BACK: u64 = 60;

/// The highest wage of an hour: 10,000 in a currency with cents.
pub const MOST_WAGE: Money = Money::from_minor(1_000_000);

/// The largest floor of a room: 100,000 sq ft.
pub const MOST_FLOOR: Area =
    Area::from_square_nanometres(100_000 * 304_800_000_i128 * 304_800_000_i128);

/// A larger floor is asked about, in square feet.
pub const LARGE_FLOOR: u32 = 5_000;

/// A margin above none and below this is asked about: 1.5 is 1.5 %, and was perhaps meant as half as much again.
pub const LEAST_MARGIN: Decimal = Decimal::from_parts(5, 0, 0, false, 2);

/// The most miles or kilometres of one drive.
pub const MOST_DRIVEN: Decimal = Decimal::from_parts(5_000, 0, 0, false, 0);

/// Most pieces that are cut together.
pub const MOST_PIECES: usize = 200;

/// Most off-cuts that are used up together.
pub const MOST_OFF_CUTS: usize = 30;

/// The hours of a day, of which nobody works more.
pub const HOURS_OF_A_DAY: Decimal = Decimal::from_parts(24, 0, 0, false, 0);

/// The least that an item or an hour does, in units of the driver: ten thousand hours for one job.
pub const LEAST_RATE: Decimal = Decimal::from_parts(1, 0, 0, false, 4);

/// The most items or hours that an operation takes whatever its extent.
pub const MOST_FIXED: Decimal = Decimal::from_parts(1_000, 0, 0, false, 0);

/// The most hours that anything hardens before it can be sanded: thirty days.
pub const MOST_HARDENING: Decimal = Decimal::from_parts(720, 0, 0, false, 0);

/// The most of anything, counted or in feet, that is found in one room.
pub const MOST_FOUND: Decimal = Decimal::from_parts(1_000_000, 0, 0, false, 0);

/// A figure that can't be meant.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum Impossible {
    /// The day is before every ledger.
    #[error("{0} is before {FIRST_DAY}: no ledger goes back that far")]
    TooEarly(NaiveDate),
    /// The day is further ahead than anything is planned.
    #[error("{0} is more than {YEARS_AHEAD} years ahead")]
    TooLate(NaiveDate),
    /// The wage is below nothing.
    #[error("a wage is not below zero")]
    NegativeWage,
    /// The wage is beyond what anybody earns.
    #[error("nobody earns that much in an hour")]
    HighWage,
    /// The floor is beyond any room.
    #[error("{0} is more than one room has: {1} at most")]
    LargeFloor(String, String),
    /// Nothing hardens in no time, or for a month.
    #[error("what hardens takes more than 0 hours and {MOST_HARDENING} at most; `{0}` is not that")]
    Hardening(Decimal),
}

/// Refuses hours in which nothing hardens.
///
/// # Errors
/// Says what they can be.
pub fn check_hardening(hours: Decimal) -> Result<(), Impossible> {
    match hours > Decimal::ZERO && hours <= MOST_HARDENING {
        true => Ok(()),
        false => Err(Impossible::Hardening(hours.normalize())),
    }
}

/// Refuses a day on which nothing can have happened, and nothing is planned.
///
/// # Errors
/// Says which bound it is beyond.
pub fn check_day(day: NaiveDate, today: NaiveDate) -> Result<(), Impossible> {
    let last = today.checked_add_months(Months::new(12 * YEARS_AHEAD));
    if day < FIRST_DAY {
        return Err(Impossible::TooEarly(day));
    }
    match last {
        Some(last) if day > last => Err(Impossible::TooLate(day)),
        _ => Ok(()),
    }
}

/// Tells whether a day is so long ago that it is asked about.
pub fn is_long_ago(day: NaiveDate, today: NaiveDate) -> bool {
    day.checked_add_days(Days::new(DAYS_BACK))
        .is_some_and(|limit| limit < today)
}

/// Refuses a wage that nobody earns.
///
/// # Errors
/// Says that it is below zero, or too high.
pub fn check_wage(wage: Money) -> Result<(), Impossible> {
    match wage {
        wage if wage.is_negative() => Err(Impossible::NegativeWage),
        wage if wage > MOST_WAGE => Err(Impossible::HighWage),
        _ => Ok(()),
    }
}

/// Refuses the floor of a room that is larger than any.
///
/// # Errors
/// Says how large it is.
pub fn check_floor(floor: Area, units: Units) -> Result<(), Impossible> {
    match floor > MOST_FLOOR {
        true => Err(Impossible::LargeFloor(
            floor.text(units),
            MOST_FLOOR.text(units),
        )),
        false => Ok(()),
    }
}

/// Tells whether the floor of a room is so large that it is asked about.
pub fn is_large(floor: Area) -> bool {
    floor.square_feet() > Decimal::from(LARGE_FLOOR)
}

/// Tells whether a margin is so thin that it is asked about; none at all is a decision.
pub fn is_thin(margin: Decimal) -> bool {
    margin > Decimal::ZERO && margin < LEAST_MARGIN
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[test]
    fn days_are_between_the_first_ledger_and_two_years_ahead() {
        let today = day("2026-03-02");
        for (text, outcome) in [
            ("0026-03-02", Err(Impossible::TooEarly(day("0026-03-02")))),
            ("1989-12-31", Err(Impossible::TooEarly(day("1989-12-31")))),
            ("1990-01-01", Ok(())),
            ("2028-03-02", Ok(())),
            ("2028-03-03", Err(Impossible::TooLate(day("2028-03-03")))),
        ] {
            assert_eq!(check_day(day(text), today), outcome, "{text}");
        }
        // 60 days back from 2026-03-02: 2 of March, 28 of February, 30 of January.
        assert!(!is_long_ago(day("2026-01-01"), today));
        assert!(is_long_ago(day("2025-12-31"), today));
    }

    #[test]
    fn the_last_figure_that_is_taken_and_the_first_that_is_not() {
        assert_eq!(check_wage(Money::from_minor(1_000_000)), Ok(()));
        assert_eq!(
            check_wage(Money::from_minor(1_000_001)),
            Err(Impossible::HighWage)
        );
        assert_eq!(
            check_wage(Money::from_minor(-1)),
            Err(Impossible::NegativeWage)
        );
        let floor = |text| Area::parse(text, crate::measure::Units::Us).unwrap();
        assert_eq!(check_floor(floor("100000"), Units::Us), Ok(()));
        assert!(check_floor(floor("100000.1"), Units::Us).is_err());
        assert!(!is_large(floor("5000")));
        assert!(is_large(floor("5000.1")));
        assert_eq!(check_hardening(MOST_HARDENING), Ok(()));
        assert!(check_hardening(MOST_HARDENING + Decimal::ONE).is_err());
        assert!(check_hardening(Decimal::ZERO).is_err());
        let percent = |hundredths: i64| Decimal::new(hundredths, 4);
        assert!(is_thin(percent(150)) && is_thin(percent(499)));
        assert!(!is_thin(percent(0)) && !is_thin(percent(500)));
    }
}
