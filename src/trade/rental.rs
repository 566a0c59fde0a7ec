//! Renting: how long a machine is out, and what the yard charges for it.
//!
//! A rental day is a period of 24 hours from the moment the machine goes out; a started period counts whole.
//! The charge is the **lowest** combination of period rates that covers the days (general US rental practice, a
//! rental-yard terms page: rates 100 a day, 300 a week, 800 for four weeks make 9 days cost 300 + 2 × 100).
//! A machine back within four hours is charged a half day where the yard offers one (the usual minimum).
//! The damage waiver is a percentage of that charge; cleaning is a flat fee.

use chrono::{Days, NaiveDate, NaiveDateTime, TimeDelta};

use crate::money::{Decimal, Money};
use crate::trade::closed_set;

/// Hours in a rental day.
const DAY_HOURS: i64 = 24;

/// Hours that a half day covers: the minimum of rental-yard terms pages.
const HALF_DAY_HOURS: i64 = 4;

closed_set! {
    /// A period that a tariff prices.
    Period, "rental period" {
        /// Four hours.
        HalfDay = "half-day",
        /// 24 hours.
        Day = "day",
        /// Seven days.
        Week = "week",
        /// 28 days.
        FourWeeks = "four-weeks",
    }
}

/// What the yard charges for one machine.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tariff {
    /// A half day, if offered.
    pub half_day: Option<Money>,
    /// A day.
    pub day: Money,
    /// A weekend, if offered.
    pub weekend: Option<Money>,
    /// A week, if offered.
    pub week: Option<Money>,
    /// Four weeks, if offered.
    pub four_weeks: Option<Money>,
    /// Damage waiver, percent of the charge.
    pub waiver_percent: Decimal,
    /// Cleaning, flat.
    pub cleaning: Money,
}

/// The cheapest way to cover a rental.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cover {
    /// Which periods, how many of each, at what price.
    pub periods: Vec<(Period, u32, Money)>,
    /// The periods together.
    pub charge: Money,
    /// Damage waiver on the charge.
    pub waiver: Money,
    /// Cleaning.
    pub cleaning: Money,
}

impl Cover {
    /// Returns what the yard will ask.
    pub fn total(&self) -> Money {
        self.charge + self.waiver + self.cleaning
    }
}

/// Returns the cheapest cover of a number of days; fewer, longer periods where prices are equal.
pub fn cheapest_cover(tariff: &Tariff, days: u32) -> Cover {
    let offered: Vec<(Period, usize, Money)> = [
        (Period::FourWeeks, 28, tariff.four_weeks),
        (Period::Week, 7, tariff.week),
        (Period::Day, 1, Some(tariff.day)),
    ]
    .into_iter()
    .filter_map(|(period, length, price)| price.map(|price| (period, length, price)))
    .collect();

    // best[d]: the lowest charge that covers d days, and the period it ends with; a longer period may overshoot.
    let days = days as usize;
    let mut best: Vec<(Money, usize)> = vec![(Money::ZERO, 0)];
    for day in 1..=days {
        let choice = offered
            .iter()
            .enumerate()
            .map(|(choice, (_, length, price))| {
                (best[day.saturating_sub(*length)].0 + *price, choice)
            });
        best.push(choice.min().expect("a day is always offered"));
    }

    let mut counts = vec![0_u32; offered.len()];
    let mut left = days;
    while left > 0 {
        let choice = best[left].1;
        counts[choice] += 1;
        left = left.saturating_sub(offered[choice].1);
    }
    let periods = offered.iter().zip(counts).filter(|(_, count)| *count > 0);
    with_fees(
        tariff,
        periods
            .map(|((period, _, price), count)| (*period, count, *price))
            .collect(),
    )
}

/// Returns the cover of a machine that was out from one moment to another.
pub fn cover_between(tariff: &Tariff, out: NaiveDateTime, back: NaiveDateTime) -> Cover {
    match tariff.half_day {
        Some(price) if back - out <= TimeDelta::hours(HALF_DAY_HOURS) && price < tariff.day => {
            with_fees(tariff, vec![(Period::HalfDay, 1, price)])
        }
        _ => {
            let days = days_between(out, back).len();
            cheapest_cover(
                tariff,
                u32::try_from(days).expect("a rental is shorter than four billion days"),
            )
        }
    }
}

fn with_fees(tariff: &Tariff, periods: Vec<(Period, u32, Money)>) -> Cover {
    let charge: Money = periods
        .iter()
        .map(|(_, count, price)| price.times(Decimal::from(*count)))
        .sum();
    let waiver = charge.share(tariff.waiver_percent, Decimal::ONE_HUNDRED);
    Cover {
        periods,
        charge,
        waiver,
        cleaning: tariff.cleaning,
    }
}

/// Returns the dates on which the rental days began; a machine that goes out is out for one day at least.
pub fn days_between(out: NaiveDateTime, back: NaiveDateTime) -> Vec<NaiveDate> {
    let mut began = vec![out.date()];
    let mut next = out + TimeDelta::hours(DAY_HOURS);
    while next < back {
        began.push(next.date());
        next += TimeDelta::hours(DAY_HOURS);
    }
    began
}

/// Returns the moment by which a machine must be back to be charged that many days.
pub fn due_back(out: NaiveDateTime, days: u32) -> NaiveDateTime {
    out + Days::new(u64::from(days.max(1)))
}

/// Returns the rental days that a machine's hours take, at the firm's hours in a day; one at least if it runs at all.
pub fn days_for_hours(hours: Decimal, day_hours: Decimal) -> u32 {
    use rust_decimal::prelude::ToPrimitive;
    (hours / day_hours)
        .ceil()
        .to_u32()
        .expect("hours are counted, and a day has some")
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;

    fn dollars(amount: i64) -> Money {
        Money::from_minor(amount * 100)
    }

    fn published() -> Tariff {
        Tariff {
            half_day: None,
            day: dollars(100),
            weekend: None,
            week: Some(dollars(300)),
            four_weeks: Some(dollars(800)),
            waiver_percent: dec!(10),
            cleaning: Money::ZERO,
        }
    }

    fn at(text: &str) -> NaiveDateTime {
        NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M").unwrap()
    }

    #[test]
    fn the_charge_is_the_lowest_combination_of_periods() {
        // Rental-yard terms page (rates 100/day, 300/week, 800/28 days): 9 days = 300 + 2 × 100. The others are computed.
        for (days, charge) in [
            (1, 100),
            (2, 200),
            (3, 300),
            (5, 300),
            (7, 300),
            (9, 500),
            (10, 600),
            (20, 800),
            (30, 1000),
        ] {
            assert_eq!(
                cheapest_cover(&published(), days).charge,
                dollars(charge),
                "{days} days"
            );
        }
        // Waiver 10 % on 500.
        assert_eq!(cheapest_cover(&published(), 9).waiver, dollars(50));
        assert_eq!(
            cheapest_cover(&published(), 9).periods,
            [
                (Period::Week, 1, dollars(300)),
                (Period::Day, 2, dollars(100))
            ]
        );
    }

    #[test]
    fn a_rental_day_is_twenty_four_hours_begun() {
        for (out, back, days) in [
            ("2026-03-02 08:00", "2026-03-03 07:45", 1),
            ("2026-03-02 08:00", "2026-03-03 08:00", 1),
            ("2026-03-02 08:00", "2026-03-03 08:01", 2),
            ("2026-03-02 08:00", "2026-03-02 09:00", 1),
            ("2026-02-28 15:00", "2026-03-02 09:00", 2),
        ] {
            assert_eq!(
                days_between(at(out), at(back)).len(),
                days,
                "{out} to {back}"
            );
        }
    }

    #[test]
    fn a_short_rental_is_a_half_day_where_it_is_offered() {
        let tariff = Tariff {
            half_day: Some(dollars(76)),
            ..published()
        };
        let cover = |back| cover_between(&tariff, at("2026-03-02 08:00"), at(back)).charge;
        assert_eq!(cover("2026-03-02 12:00"), dollars(76));
        assert_eq!(cover("2026-03-02 12:01"), dollars(100));
        assert_eq!(
            cover_between(&published(), at("2026-03-02 08:00"), at("2026-03-02 09:00")).charge,
            dollars(100)
        );
    }

    proptest::proptest! {
        #[test]
        fn no_combination_is_cheaper(days in 1_u32..70, day in 1_i64..200, week in 1_i64..900, four in 1_i64..2500) {
            let tariff = Tariff { day: dollars(day), week: Some(dollars(week)), four_weeks: Some(dollars(four)), ..published() };
            let mut lowest = i64::MAX;
            for fours in 0..=days.div_ceil(28) {
                for weeks in 0..=days.div_ceil(7) {
                    let rest = days.saturating_sub(fours * 28 + weeks * 7);
                    lowest = lowest.min(i64::from(fours) * four + i64::from(weeks) * week + i64::from(rest) * day);
                }
            }
            proptest::prop_assert_eq!(cheapest_cover(&tariff, days).charge, dollars(lowest));
        }
    }
}
