//! Interest on what is paid late.
//!
//! Where the firm has set a yearly rate, it may ask for simple interest by the day. Each stretch of days on which the same was
//! owed has a line, rounded by itself:
//!
//! ```text
//! interest = owed × rate × days ÷ 365
//! ```
//!
//! The day on which an invoice falls due is free, and a day counts with what was owed at its end, so the day of a payment
//! doesn't. Interest bears none. (Common practice, no source; whether interest may be asked, and how much, is for the firm to
//! confirm where it works.)

use chrono::NaiveDate;

use crate::money::{Decimal, Money, product};

/// The days by which a yearly rate is divided, in leap years, too.
const DAYS_A_YEAR: Decimal = Decimal::from_parts(365, 0, 0, false, 0);

/// Days in a row on which the same was owed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// Its first day.
    pub first: NaiveDate,
    /// Its last day.
    pub last: NaiveDate,
    /// What was owed.
    pub owed: Money,
    /// The interest on it.
    pub interest: Money,
}

impl Stretch {
    /// Returns how many days it has.
    pub fn days(&self) -> i64 {
        (self.last - self.first).num_days() + 1
    }
}

/// Returns the interest from one day to another, both included, at a yearly rate in percent, on what is owed by changes (day,
/// by how much more).
pub fn late_interest(
    changes: &[(NaiveDate, Money)],
    (from, until): (NaiveDate, NaiveDate),
    percent: Decimal,
) -> Vec<Stretch> {
    let owed_on = |day: NaiveDate| -> Money {
        let by_then = changes.iter().filter(|(changed, _)| *changed <= day);
        by_then.map(|(_, more)| *more).sum()
    };
    let mut begins: Vec<NaiveDate> = changes.iter().map(|(day, _)| *day).collect();
    begins.retain(|day| *day > from && *day <= until);
    begins.extend((from <= until).then_some(from));
    begins.sort_unstable();
    begins.dedup();
    let ends = begins.iter().skip(1).filter_map(NaiveDate::pred_opt);
    let stretches = begins.iter().zip(ends.chain([until]));
    let stretches = stretches.map(|(first, last)| {
        let owed = owed_on(*first);
        let days = Decimal::from((last - *first).num_days() + 1);
        let of_a_year = DAYS_A_YEAR * Decimal::ONE_HUNDRED;
        Stretch {
            first: *first,
            last,
            owed,
            interest: owed.share(product([percent, days]), of_a_year),
        }
    });
    stretches
        .filter(|part| part.interest > Money::ZERO)
        .collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rust_decimal_macros::dec;

    use super::*;

    fn day(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, month, day).unwrap()
    }

    fn cents(minor: i64) -> Money {
        Money::from_minor(minor)
    }

    #[test]
    fn each_stretch_of_days_has_interest_on_what_was_owed() {
        // 1000.00 falls due on 31 March. 400.00 come on 20 April: 19 days on 1000.00, then 11 on 600.00 to 30 April.
        // 1000 × 8 % × 19 ÷ 365 = 4.16438, and 600 × 8 % × 11 ÷ 365 = 1.44658.
        let changes = [(day(3, 17), cents(100_000)), (day(4, 20), cents(-40_000))];
        let parts = late_interest(&changes, (day(4, 1), day(4, 30)), dec!(8));
        let seen: Vec<_> = parts
            .iter()
            .map(|part| {
                (
                    part.first,
                    part.last,
                    part.days(),
                    part.owed.minor(),
                    part.interest.minor(),
                )
            })
            .collect();
        assert_eq!(
            seen,
            [
                (day(4, 1), day(4, 19), 19, 100_000, 416),
                (day(4, 20), day(4, 30), 11, 60_000, 145),
            ]
        );
        // A year is the rate: 85.00 on 1000.00 at 8.5 %.
        let year = (day(4, 1), NaiveDate::from_ymd_opt(2027, 3, 31).unwrap());
        assert_eq!(
            late_interest(&changes[..1], year, dec!(8.5))[0]
                .interest
                .minor(),
            8_500
        );
        // Nothing before its day, on what was paid, or on less than a cent.
        assert_eq!(
            late_interest(&changes, (day(4, 1), day(3, 31)), dec!(8)),
            []
        );
        let paid = [changes[0], (day(3, 31), cents(-100_000))];
        assert_eq!(late_interest(&paid, (day(4, 1), day(4, 30)), dec!(8)), []);
        assert_eq!(
            late_interest(&[(day(3, 1), cents(100))], (day(4, 1), day(4, 1)), dec!(8)),
            []
        );
    }

    proptest! {
        /// Days are counted once, whatever the changes: stretches follow each other, and asked for in two parts they are the
        /// same days.
        #[test]
        fn no_day_is_asked_for_twice(
            changes in prop::collection::vec((0_i64..60, 1_000_i64..500_000), 1..6),
            cut in 1_i64..39,
        ) {
            let start = day(3, 1);
            let on = |days: i64| start + chrono::Days::new(days.unsigned_abs());
            let changes: Vec<_> = changes.iter().map(|(days, minor)| (on(*days), cents(*minor))).collect();
            let all = late_interest(&changes, (on(20), on(59)), dec!(36.5));
            let days: i64 = all.iter().map(Stretch::days).sum();
            let owed = (20..60).filter(|days| changes.iter().any(|(day, _)| *day <= on(*days))).count();
            prop_assert_eq!(days, i64::try_from(owed).unwrap());
            let first = late_interest(&changes, (on(20), on(20 + cut - 1)), dec!(36.5));
            let second = late_interest(&changes, (on(20 + cut), on(59)), dec!(36.5));
            let parts: i64 = first.iter().chain(&second).map(Stretch::days).sum();
            prop_assert_eq!(parts, days);
            // At 36.5 % a day costs a thousandth: by the day the same, but for half a cent a stretch.
            let naive: i64 = (20..60).map(|days| changes.iter().filter(|(day, _)| *day <= on(days)).map(|(_, more)| more.minor()).sum::<i64>()).sum();
            let told: i64 = all.iter().map(|part| part.interest.minor()).sum();
            prop_assert!((told * 1000 - naive).abs() <= 500 * i64::try_from(all.len()).unwrap());
        }
    }
}
