//! Renting: how long a machine is needed, how long it is out, and what the yard charges for it.
//!
//! A rental day is a period of 24 hours from the moment the machine goes out; a started period counts whole.
//! The charge is the **lowest** combination of period rates that covers the time (general US rental practice, a
//! rental-yard terms page: rates 100 a day, 300 a week, 800 for four weeks make 9 days cost 300 + 2 × 100):
//!
//! * a half day is four hours on the clock (the usual minimum of rental-yard terms pages);
//! * a day is 24 hours, a week seven days, four weeks 28;
//! * a weekend is from Friday 15:00 to Monday 9:00, whatever part of it the machine is out (the same terms pages).
//!
//! A cover is a chain of such periods from the moment out to the moment back, so a weekend can stand anywhere in it, if
//! the dates are known; when only the number of days is, no weekend is counted on. The damage waiver is a percentage of
//! the charge; cleaning is a flat fee for each rental.
//!
//! A plan starts from the hours that a machine runs. They make full working days; what is left makes a half day, if that is
//! long enough, else one day more. The machine is out from the morning of the first day to the morning after the last.

use std::collections::BTreeSet;

use chrono::{Datelike, Days, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Weekday};
use rust_decimal::prelude::ToPrimitive;

use crate::money::{Decimal, Money};
use crate::trade::closed_set;
use crate::trade::cover::{Stairs, Step};

/// Minutes in an hour.
const HOUR: i64 = 60;
/// Minutes in a rental day.
const DAY: i64 = 24 * HOUR;
/// Minutes that a half day covers.
const HALF_DAY: i64 = 4 * HOUR;
/// Hours that a half day covers.
pub(in crate::trade) const HALF_DAY_HOURS: Decimal = Decimal::from_parts(4, 0, 0, false, 0);
/// The hour at which a planned rental begins, and by which the machine is back.
pub const MORNING: u32 = 8;
/// The hour on Friday from which the weekend rate holds.
const WEEKEND_FROM: i64 = 15;
/// The hour on Monday until which it holds.
const WEEKEND_UNTIL: i64 = 9;

/// The longest rental that is planned or charged: two years.
pub const MOST_DAYS: u32 = 730;

closed_set! {
    /// A period that a tariff prices.
    Period, "rental period" {
        /// Four hours.
        HalfDay = "half-day",
        /// 24 hours.
        Day = "day",
        /// Friday afternoon to Monday morning.
        Weekend = "weekend",
        /// Seven days.
        Week = "week",
        /// 28 days.
        FourWeeks = "four-weeks",
    }
}

/// What the yard charges for one machine.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
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

impl Tariff {
    /// Returns the price of a period, if it is offered.
    pub fn price(&self, period: Period) -> Option<Money> {
        match period {
            Period::HalfDay => self.half_day,
            Period::Day => Some(self.day),
            Period::Weekend => self.weekend,
            Period::Week => self.week,
            Period::FourWeeks => self.four_weeks,
        }
    }
}

/// The cheapest way to cover a rental.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cover {
    /// Its periods, longest first.
    pub periods: Vec<Periods>,
    /// The periods together.
    pub charge: Money,
    /// Damage waiver on the charge.
    pub waiver: Money,
    /// Cleaning.
    pub cleaning: Money,
}

/// So many of a period.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Periods {
    /// Which period.
    pub period: Period,
    /// How many of it.
    pub count: u32,
    /// The price of one.
    pub price: Money,
}

impl Cover {
    /// Returns what the yard will ask.
    pub fn total(&self) -> Money {
        self.charge + self.once()
    }

    /// Returns what comes on top of the periods: waiver and cleaning.
    pub fn once(&self) -> Money {
        self.waiver + self.cleaning
    }
}

/// How long a machine is needed: whole days, and perhaps a half day more. Counted in half days.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Need(u32);

impl Need {
    /// The longest that is planned.
    pub const LONGEST: Need = Need(2 * MOST_DAYS);

    /// Returns that many half days.
    pub const fn half_days(count: u32) -> Need {
        Need(count)
    }

    /// Returns the need of that many days, rounded up to half days; `None`: they are below zero, or longer than anybody
    /// rents.
    pub fn days(days: Decimal) -> Option<Need> {
        let half_days = (days * Decimal::TWO).ceil().to_u32()?;
        let need = Need(half_days);
        (need <= Need::LONGEST).then_some(need)
    }

    /// Returns what a machine's hours need, at the firm's hours in a working day: full days, and for what is left a half
    /// day, if that is long enough, else one day more; never more than the longest rental.
    pub fn for_hours(hours: Decimal, day_hours: Decimal) -> Need {
        let days = (hours / day_hours).floor();
        let left = hours - days * day_hours;
        let half_days = match left {
            left if left <= Decimal::ZERO => 0,
            left if left <= HALF_DAY_HOURS => 1,
            _ => 2,
        };
        let days = days.to_u32().unwrap_or(MOST_DAYS).min(MOST_DAYS);
        Need(2 * days + half_days).min(Need::LONGEST)
    }

    /// Returns how many half days it is.
    pub const fn in_half_days(self) -> u32 {
        self.0
    }

    /// Returns how many days it is.
    pub fn in_days(self) -> Decimal {
        Decimal::from(self.0) / Decimal::TWO
    }

    /// Returns how many rental days begin; each counts whole.
    pub fn begun(self) -> u32 {
        self.0.div_ceil(2)
    }

    /// Returns the need of one day more.
    #[must_use]
    pub fn and_a_day(self) -> Need {
        Need(self.0 + 2)
    }

    /// Returns how long the machine is out, in minutes.
    fn minutes(self) -> i64 {
        i64::from(self.0 / 2) * DAY + i64::from(self.0 % 2) * HALF_DAY
    }
}

/// A tariff worked out for every length of a rental that begins at one moment.
#[derive(Clone, Debug)]
pub struct Yard<'a> {
    tariff: &'a Tariff,
    stairs: Stairs,
}

impl<'a> Yard<'a> {
    /// Works out the cheapest covers of rentals that begin on the morning of a day; `None`: the day isn't known yet.
    pub fn planned(tariff: &'a Tariff, from: Option<NaiveDate>, most: Need) -> Yard<'a> {
        Yard::new(tariff, from.map(morning), most.minutes())
    }

    fn new(tariff: &'a Tariff, out: Option<NaiveDateTime>, most: i64) -> Yard<'a> {
        let next = |reach: i64, choice: usize| {
            let period = Period::ALL[choice];
            let price = tariff.price(period)?;
            let length = match period {
                Period::HalfDay => HALF_DAY,
                Period::Day => DAY,
                Period::Weekend => left_of_weekend(out? + TimeDelta::minutes(reach))?,
                Period::Week => 7 * DAY,
                Period::FourWeeks => 28 * DAY,
            };
            Some(Step {
                reach: reach + length,
                price,
            })
        };
        Yard {
            tariff,
            stairs: Stairs::climb(most, usize::MAX, Period::ALL.len(), next)
                .expect("a day is always offered"),
        }
    }

    /// Returns the cheapest cover of a need within what was worked out.
    pub fn cover(&self, need: Need) -> Cover {
        self.cover_minutes(need.minutes())
    }

    /// Returns what each need costs, from none on, as long as it is within what was worked out.
    pub fn totals(&self) -> Vec<Money> {
        let most = self.stairs.stairs().last().map_or(0, |top| top.reach);
        (0..)
            .map(Need)
            .take_while(|need| need.minutes() <= most)
            .map(|need| match need {
                Need(0) => Money::ZERO,
                need => self.cover(need).total(),
            })
            .collect()
    }

    fn cover_minutes(&self, minutes: i64) -> Cover {
        let counts = self.stairs.counts(self.stairs.place(minutes));
        let periods = Period::ALL.iter().zip(counts).rev();
        let periods: Vec<Periods> = periods
            .filter(|(_, count)| *count > 0)
            .filter_map(|(period, count)| {
                Some(Periods {
                    period: *period,
                    count,
                    price: self.tariff.price(*period)?,
                })
            })
            .collect();
        let charge = periods.iter();
        let charge: Money = charge
            .map(|periods| periods.price.times(Decimal::from(periods.count)))
            .sum();
        Cover {
            periods,
            charge,
            waiver: charge.share(self.tariff.waiver_percent, Decimal::ONE_HUNDRED),
            cleaning: self.tariff.cleaning,
        }
    }
}

/// Returns the minutes until the weekend rate ends; `None`: the moment isn't in a weekend.
fn left_of_weekend(at: NaiveDateTime) -> Option<i64> {
    let minute = (at.time() - NaiveTime::MIN).num_minutes();
    let days = match at.weekday() {
        Weekday::Fri if minute >= WEEKEND_FROM * HOUR => 3,
        Weekday::Sat => 2,
        Weekday::Sun => 1,
        Weekday::Mon if minute < WEEKEND_UNTIL * HOUR => 0,
        _ => return None,
    };
    Some(days * DAY + WEEKEND_UNTIL * HOUR - minute)
}

fn morning(day: NaiveDate) -> NaiveDateTime {
    day.and_hms_opt(MORNING, 0, 0)
        .expect("the morning is an hour of the day")
}

/// A rental as it is planned.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plan {
    /// How long the machine is needed.
    pub need: Need,
    /// The first day; `None`: not known yet.
    pub from: Option<NaiveDate>,
    /// The cheapest cover.
    pub cover: Cover,
    /// What one day more would cost.
    pub one_day_more: Money,
}

impl Plan {
    /// Plans a rental.
    pub fn new(tariff: &Tariff, need: Need, from: Option<NaiveDate>) -> Plan {
        let longer = need.and_a_day();
        let yard = Yard::planned(tariff, from, longer);
        let cover = yard.cover(need);
        Plan {
            need,
            from,
            one_day_more: yard.cover(longer).total() - cover.total(),
            cover,
        }
    }

    /// Returns the moment by which the machine must be back; `None`: the first day isn't known.
    pub fn back_by(&self) -> Option<NaiveDateTime> {
        Some(morning(self.from?) + TimeDelta::minutes(self.need.minutes()))
    }
}

/// A machine's time away from the yard: it came back after it went out, and within [`MOST_DAYS`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Away {
    out: NaiveDateTime,
    minutes: i64,
}

impl Away {
    /// Returns the time between two moments; `None`: the second isn't after the first, or later than anybody rents.
    pub fn new(out: NaiveDateTime, back: NaiveDateTime) -> Option<Away> {
        let minutes = (back - out).num_minutes();
        (1..=Need::LONGEST.minutes())
            .contains(&minutes)
            .then_some(Away { out, minutes })
    }

    /// Returns the cheapest cover of it.
    pub fn cover(&self, tariff: &Tariff) -> Cover {
        Yard::new(tariff, Some(self.out), self.minutes).cover_minutes(self.minutes)
    }

    /// Returns its rental days; the last one may be shorter than 24 hours.
    pub fn days(&self) -> Vec<RentalDay> {
        let begun = (self.minutes + DAY - 1) / DAY;
        let days = (0..begun).map(|day| RentalDay {
            began: self.out + TimeDelta::minutes(day * DAY),
            minutes: (self.minutes - day * DAY).min(DAY),
        });
        days.collect()
    }
}

/// A rental day: the 24 hours from the time of day at which the machine went out, or the part of them until it came back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RentalDay {
    /// When it began.
    pub began: NaiveDateTime,
    minutes: i64,
}

impl RentalDay {
    /// Returns how much of a day it was, as needs are counted: a half day up to four hours, else a whole one.
    pub fn length(&self) -> Need {
        match self.minutes {
            minutes if minutes <= HALF_DAY => Need(1),
            _ => Need(2),
        }
    }

    /// Returns the dates whose work it served: the one on which it began, and the next one, if it lasted beyond its noon.
    pub fn dates(&self) -> Vec<NaiveDate> {
        let began_on = self.began.date();
        let next = began_on + Days::new(1);
        let noon = next.and_time(NaiveTime::MIN) + TimeDelta::minutes(12 * HOUR);
        match self.began + TimeDelta::minutes(self.minutes) > noon {
            true => vec![began_on, next],
            false => vec![began_on],
        }
    }
}

closed_set! {
    /// What a rental day was used for, as far as the hours of its job tell.
    DayUse, "use of a rental day" {
        /// Somebody worked on the job.
        Worked = "worked",
        /// Nobody did, on a job that has hours on other days.
        Idle = "idle",
        /// Nobody did, and the firm doesn't work on such days.
        DayOff = "day off",
        /// The job has no hours at all.
        NotRecorded = "hours not recorded",
    }
}

impl RentalDay {
    /// Returns what the day was used for: `worked` are the dates on which its job has hours.
    pub fn used(
        &self,
        worked: &BTreeSet<NaiveDate>,
        works_on: impl Fn(NaiveDate) -> bool,
    ) -> DayUse {
        let dates = self.dates();
        if dates.iter().any(|date| worked.contains(date)) {
            DayUse::Worked
        } else if !dates.into_iter().any(works_on) {
            DayUse::DayOff
        } else if worked.is_empty() {
            DayUse::NotRecorded
        } else {
            DayUse::Idle
        }
    }
}

/// Returns how many rental days have begun before a moment; one at least.
pub fn days_begun(out: NaiveDateTime, before: NaiveDateTime) -> u32 {
    let begun = ((before - out).num_minutes() + DAY - 1) / DAY;
    u32::try_from(begun.max(1)).unwrap_or(u32::MAX)
}

/// Returns the moment by which a machine must be back to be charged that many days.
pub fn due_back(out: NaiveDateTime, days: u32) -> NaiveDateTime {
    out.checked_add_days(Days::new(u64::from(days.max(1))))
        .unwrap_or(NaiveDateTime::MAX)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
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

    fn away(out: &str, back: &str) -> Away {
        Away::new(at(out), at(back)).unwrap()
    }

    fn cover(tariff: &Tariff, days: Decimal, from: Option<&str>) -> Cover {
        let from = from.map(|day| day.parse().unwrap());
        Plan::new(tariff, Need::days(days).unwrap(), from).cover
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
            let cover = cover(&published(), Decimal::from(days), None);
            assert_eq!(cover.charge, dollars(charge), "{days} days");
        }
        // Waiver 10 % on 500.
        let nine = cover(&published(), dec!(9), None);
        assert_eq!(nine.waiver, dollars(50));
        let of = |period, count, amount| Periods {
            period,
            count,
            price: dollars(amount),
        };
        assert_eq!(
            nine.periods,
            [of(Period::Week, 1, 300), of(Period::Day, 2, 100)]
        );
    }

    #[test]
    fn a_weekend_is_friday_afternoon_to_monday_morning() {
        // Rental-yard terms page: out after 3 pm on Friday, back by 9 am on Monday. The charges are computed.
        let tariff = Tariff {
            weekend: Some(dollars(140)),
            ..published()
        };
        // 2026-03-06 is a Friday.
        for (from, days, charge) in [
            (None, dec!(2), 200),
            (Some("2026-03-07"), dec!(2), 140),
            (Some("2026-03-07"), dec!(1), 100),
            (Some("2026-03-06"), dec!(2), 200),
            (Some("2026-03-06"), dec!(3), 240),
            (Some("2026-03-05"), dec!(4), 300),
            (Some("2026-03-07"), dec!(3), 240),
            (Some("2026-03-02"), dec!(2), 200),
        ] {
            let cover = cover(&tariff, days, from);
            assert_eq!(cover.charge, dollars(charge), "{days} days from {from:?}");
        }
        let charge = |out, back| away(out, back).cover(&tariff).charge;
        assert_eq!(charge("2026-03-06 15:00", "2026-03-09 09:00"), dollars(140));
        assert_eq!(charge("2026-03-06 14:59", "2026-03-09 09:00"), dollars(240));
        assert_eq!(charge("2026-03-06 15:00", "2026-03-09 09:01"), dollars(240));
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
            assert_eq!(away(out, back).days().len(), days, "{out} to {back}");
            let begun = days_begun(at(out), at(back));
            assert_eq!(begun as usize, days, "{out} to {back}");
        }
        assert_eq!(
            days_begun(at("2026-03-02 08:00"), at("2026-03-01 00:00")),
            1
        );
    }

    #[test]
    fn a_machine_is_away_for_two_years_at_most() {
        let out = at("2026-03-02 08:00");
        assert_eq!(Away::new(out, out), None);
        assert_eq!(Away::new(out, out - TimeDelta::minutes(1)), None);
        let longest = Away::new(out, out + Days::new(730)).unwrap();
        assert_eq!(longest.days().len(), 730);
        // 730 days are 26 times four weeks (728 days) and two days more.
        assert_eq!(longest.cover(&published()).charge, dollars(26 * 800 + 200));
        let later = out + Days::new(730) + TimeDelta::minutes(1);
        assert_eq!(Away::new(out, later), None);
        // What a slip of the pen would make of it is refused, not counted.
        assert_eq!(
            Away::new(NaiveDateTime::MIN, out),
            None,
            "nothing walks through a million days"
        );
        assert_eq!(due_back(NaiveDateTime::MAX, u32::MAX), NaiveDateTime::MAX);
    }

    #[test]
    fn a_rental_day_serves_the_dates_whose_noon_it_holds() {
        let date = |text: &str| text.parse::<NaiveDate>().unwrap();
        // From eight to eight: each day serves its own date, and the last hour of a late return none but its own.
        let days = away("2026-03-02 08:00", "2026-03-03 09:00").days();
        let served: Vec<Vec<NaiveDate>> = days.iter().map(RentalDay::dates).collect();
        assert_eq!(served, [[date("2026-03-02")], [date("2026-03-03")]]);
        let lengths: Vec<Decimal> = days.iter().map(|day| day.length().in_days()).collect();
        assert_eq!(lengths, [dec!(1), dec!(0.5)]);
        // Fetched in the afternoon for the next day's work.
        let days = away("2026-03-02 15:00", "2026-03-03 17:00").days();
        let served: Vec<Vec<NaiveDate>> = days.iter().map(RentalDay::dates).collect();
        assert_eq!(
            served,
            [
                vec![date("2026-03-02"), date("2026-03-03")],
                vec![date("2026-03-03")]
            ]
        );
    }

    #[test]
    fn four_hours_are_a_half_day_where_it_is_offered() {
        // The guide's ratio of four hours to a day: 0.76 to 0.80.
        let tariff = Tariff {
            half_day: Some(dollars(76)),
            ..published()
        };
        let charge = |back| away("2026-03-02 08:00", back).cover(&tariff).charge;
        assert_eq!(charge("2026-03-02 12:00"), dollars(76));
        assert_eq!(charge("2026-03-02 12:01"), dollars(100));
        assert_eq!(charge("2026-03-03 12:00"), dollars(176));
        let an_hour = away("2026-03-02 08:00", "2026-03-02 09:00");
        assert_eq!(an_hour.cover(&published()).charge, dollars(100));
    }

    #[test]
    fn hours_become_days_and_half_days() {
        for (hours, day_hours, days) in [
            (dec!(0), dec!(8), dec!(0)),
            (dec!(0.01), dec!(8), dec!(0.5)),
            (dec!(4), dec!(8), dec!(0.5)),
            (dec!(4.01), dec!(8), dec!(1)),
            (dec!(8), dec!(8), dec!(1)),
            (dec!(8.01), dec!(8), dec!(1.5)),
            (dec!(20.5), dec!(8), dec!(3)),
            (dec!(3), dec!(3), dec!(1)),
            (dec!(7.4), dec!(7), dec!(1.5)),
        ] {
            let need = Need::for_hours(hours, day_hours);
            assert_eq!(need.in_days(), days, "{hours} h of {day_hours}");
        }
        assert_eq!(Need::days(dec!(2.2)).unwrap().in_days(), dec!(2.5));
        assert_eq!(Need::days(dec!(-1)), None);
        assert_eq!(Need::days(dec!(731)), None);
    }

    #[test]
    fn a_plan_says_what_a_day_more_costs_and_when_to_be_back() {
        let need = Need::days(dec!(2)).unwrap();
        let plan = Plan::new(&published(), need, "2026-03-02".parse().ok());
        assert_eq!(plan.back_by(), Some(at("2026-03-04 08:00")));
        assert_eq!(plan.one_day_more, dollars(110));
        let week = Need::days(dec!(5)).unwrap();
        let plan = Plan::new(&published(), week, None);
        assert_eq!((plan.back_by(), plan.one_day_more), (None, Money::ZERO));
    }

    /// Returns the lowest charge by trying every chain of periods.
    fn lowest(tariff: &Tariff, out: Option<NaiveDateTime>, reach: i64, until: i64) -> i64 {
        if reach >= until {
            return 0;
        }
        let weekend = out.and_then(|out| left_of_weekend(out + TimeDelta::minutes(reach)));
        [
            (tariff.half_day, Some(240)),
            (Some(tariff.day), Some(1440)),
            (tariff.weekend, weekend),
            (tariff.week, Some(10_080)),
            (tariff.four_weeks, Some(40_320)),
        ]
        .into_iter()
        .filter_map(|(price, length)| {
            Some(price?.minor() + lowest(tariff, out, reach + length?, until))
        })
        .min()
        .unwrap()
    }

    fn offered(highest: i64) -> impl Strategy<Value = Option<Money>> {
        proptest::option::of((0..highest).prop_map(Money::from_minor))
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2_000))]

        #[test]
        fn no_chain_of_periods_is_cheaper(
            half_day in offered(100), day in 1_i64..100, weekend in offered(200), week in offered(500),
            hours in 1_i64..80, from in proptest::option::of(0_i64..168),
        ) {
            let tariff = Tariff {
                half_day, day: Money::from_minor(day), weekend, week, four_weeks: None, ..published()
            };
            let out = from.map(|hour| at("2026-03-02 00:00") + TimeDelta::hours(hour));
            let found = Yard::new(&tariff, out, hours * HOUR).cover_minutes(hours * HOUR).charge;
            prop_assert_eq!(found.minor(), lowest(&tariff, out, 0, hours * HOUR));
        }

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
            prop_assert_eq!(cover(&tariff, Decimal::from(days), None).charge, dollars(lowest));
        }
    }
}
