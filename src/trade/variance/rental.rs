//! Why a rental cost something else than quoted, in parts that mean something.
//!
//! A unit price of rentals would mean nothing: the yard charges by periods, and cleaning comes once however long the
//! machine is out. So each machine of a job is compared in four parts, with C(tariff, time) the cheapest cover of a time
//! by a tariff, and O(tariff, time) what comes on top of it once, waiver and cleaning:
//!
//! ```text
//!         quoted                  actual                                          by price       by quantity
//! days    C as quoted             C(quote's tariff, time out)                     –              the difference
//! tariff  –                       C(its own tariff, time out)
//!                                     − C(quote's tariff, time out)               all of it      –
//! once    O as quoted             O(its own tariff, time out)                     actual less O(quote's tariff, time
//!                                                                                 out), and that less quoted
//! rest    –                       billed − (C + O)(its own tariff, time out)      all of it      –
//! ```
//!
//! *Its own tariff* is the one with which the machine went out. Being out longer is quantity; paying more for the same
//! time is price. Both columns add up, to the quoted cost and to what was billed, and price + quantity is the difference.
//!
//! Worked through: quoted for 2 days by a tariff of 80 a day, 62 a half day, waiver 10 %, cleaning 15:
//!
//! ```text
//! quoted   C = 2 × 80 = 160             O = 16.00 + 15 = 31.00                    together 191.00
//! out for 3 days and 4 hours; by then a day is 90, a half day 70, cleaning 20; the receipt says 400.00
//! days     3 × 80 + 62 = 302            302 − 160 = 142.00 by quantity
//! tariff   3 × 90 + 70 = 340            340 − 302 = 38.00 by price
//! once     34.00 + 20 = 54.00           30.20 + 15 = 45.20 by the quote's tariff:
//!                                       54.00 − 45.20 = 8.80 by price, 45.20 − 31.00 = 14.20 by quantity
//! rest     400.00 − 340 − 54.00         6.00 by price
//! together 302 + 38 + 54 + 6 = 400.00   142 + 38 + 8.80 + 14.20 + 6 = 209.00 = 400.00 − 191.00
//! ```
//!
//! What a quote says is the mean of what may come: its days, its C and its O are means of the covers of the days that the
//! drawn hours take. A machine that no quote has is compared by its own tariff. Where several quotes have it, each one's
//! tariff counts by the days that it quotes. A rental that jobs shared is worked out for all of its time, and each sum is
//! spread over its days as the charge is; a part of a job's is the difference of two such shares, so that nothing is lost.

use std::collections::BTreeMap;

use super::{Actual, Compared, LineKind, Side, Split, Subject, VarianceLine};
use crate::money::{Decimal, Money};
use crate::trade::job_cost::{DayRented, Logged, Quoted, What};
use crate::trade::quote::Line;
use crate::trade::rental::{Away, Cover, RentalDay, Tariff};
use crate::trade::{EntryId, MachineId, Unit, closed_set};

closed_set! {
    /// A part of the difference of a rental.
    RentalPart, "part of a rental" {
        /// The machine was out for longer, or less long, than quoted.
        Days = "days",
        /// The yard asked more, or less, for the same time.
        Tariff = "tariff",
        /// Waiver and cleaning.
        Once = "once",
        /// The bill says otherwise than the tariff.
        Rest = "rest",
    }
}

/// What a quote says of a machine.
#[derive(Clone, Copy, Debug)]
struct QuotedRental<'a> {
    days: Decimal,
    /// Waiver and cleaning included.
    cost: Money,
    /// Waiver and cleaning.
    once: Money,
    tariff: &'a Tariff,
}

/// A machine's time away as it was charged, seen from one of the jobs that had it.
#[derive(Clone, Debug)]
struct ChargedRental<'a> {
    away: Away,
    tariff: &'a Tariff,
    /// Which of its days, counted from 0 on, the job had it.
    own: Vec<usize>,
    /// What those days were charged.
    charge: Money,
}

/// One machine on a job, as quoted and as charged.
#[derive(Clone, Debug, Default)]
struct Machine<'a> {
    name: &'a str,
    quoted: Vec<QuotedRental<'a>>,
    charged: BTreeMap<EntryId, ChargedRental<'a>>,
}

/// Compares the machines of a job's quotes with what their rentals were charged: four lines for each that was rented, one
/// for each that wasn't.
pub fn lines(quotes: &[Quoted<'_>], logged: &[Logged]) -> Vec<VarianceLine> {
    let mut machines: BTreeMap<MachineId, Machine<'_>> = BTreeMap::new();
    for line in quotes.iter().flat_map(|quoted| quoted.lines) {
        if let Line::Rental {
            machine,
            name,
            days,
            cost,
            once,
            tariff,
        } = line
        {
            let machine = machines.entry(*machine).or_default();
            machine.name = name;
            machine.quoted.push(QuotedRental {
                days: *days,
                cost: *cost,
                once: *once,
                tariff,
            });
        }
    }
    for cost in logged {
        if let What::Rental { machine, name, day } = &cost.what {
            let DayRented {
                away,
                tariff,
                position,
            } = &**day;
            let machine = machines.entry(*machine).or_default();
            machine.name = name;
            let rental = machine.charged.entry(cost.entry);
            let rental = rental.or_insert_with(|| ChargedRental {
                away: *away,
                tariff,
                own: Vec::new(),
                charge: Money::ZERO,
            });
            rental.own.push(*position);
            rental.charge += cost.cost;
        }
    }
    machines.values().flat_map(Machine::lines).collect()
}

impl Machine<'_> {
    fn lines(&self) -> Vec<VarianceLine> {
        let charged: Vec<ChargedRental<'_>> = self.charged.values().cloned().collect();
        let line = |part, quoted, actual| VarianceLine {
            subject: Subject {
                kind: LineKind::Rental,
                room: None,
                operation: None,
                item: Some(self.name.to_owned()),
                part,
                unit: Unit::Day,
            },
            quoted,
            quoted_unit_price: None,
            actual,
        };
        if charged.is_empty() {
            let mut all = Side::default();
            for quote in &self.quoted {
                all.add(Side {
                    quantity: quote.days,
                    cost: quote.cost,
                });
            }
            let nothing = Actual::NotRecorded {
                operations: Default::default(),
                might: Money::ZERO,
            };
            return vec![line(None, all, nothing)];
        }
        let parts = compare(&self.quoted, &charged).into_iter();
        let lines = parts.map(|(part, quoted, side, split)| {
            let actual = Actual::Recorded(Compared {
                side,
                unit_price: None,
                split,
            });
            line(Some(part), quoted, actual)
        });
        lines.collect()
    }
}

/// Compares one machine of a job with its quotes: each part as quoted, as it was, and its difference. Days are counted in
/// their own part alone.
fn compare(
    quoted: &[QuotedRental<'_>],
    charged: &[ChargedRental<'_>],
) -> [(RentalPart, Side, Side, Split); 4] {
    let mut sums = Shares::default();
    for rental in charged {
        sums.add(&Shares::of(rental, quoted));
    }
    let once: Money = quoted.iter().map(|quote| quote.once).sum();
    let cover = quoted.iter().map(|quote| quote.cost).sum::<Money>() - once;
    let days = quoted.iter().map(|quote| quote.days).sum();
    let own_days = charged.iter().map(ChargedRental::days).sum();
    let (tariff, rest) = (
        sums.by_own - sums.by_quoted,
        sums.billed - sums.with_own_once,
    );
    let once_by_quoted = sums.with_quoted_once - sums.by_own;
    let once_by_own = sums.with_own_once - sums.by_own;
    let side = |quantity, cost| Side { quantity, cost };
    let none = |cost| side(Decimal::ZERO, cost);
    let split = |price, quantity| Split { price, quantity };
    let zero = Money::ZERO;
    [
        (
            RentalPart::Days,
            side(days, cover),
            side(own_days, sums.by_quoted),
            split(zero, sums.by_quoted - cover),
        ),
        (
            RentalPart::Tariff,
            none(zero),
            none(tariff),
            split(tariff, zero),
        ),
        (
            RentalPart::Once,
            none(once),
            none(once_by_own),
            split(once_by_own - once_by_quoted, once_by_quoted - once),
        ),
        (RentalPart::Rest, none(zero), none(rest), split(rest, zero)),
    ]
}

impl ChargedRental<'_> {
    /// Returns the days of the job's own, as needs are counted.
    fn days(&self) -> Decimal {
        let days = self.away.days();
        let own = self.own.iter().filter_map(|position| days.get(*position));
        own.map(|day: &RentalDay| day.length().in_days()).sum()
    }

    /// Returns the job's part of a sum that goes by days.
    fn share(&self, sum: Money) -> Money {
        let parts = sum.spread(&vec![Decimal::ONE; self.away.days().len()]);
        let own = self.own.iter().filter_map(|position| parts.get(*position));
        own.copied().sum()
    }
}

/// The job's shares of what a rental comes to, each sum with all that is in the one before.
#[derive(Clone, Copy, Debug, Default)]
struct Shares {
    /// The cover by the quote's tariff.
    by_quoted: Money,
    /// The cover by its own.
    by_own: Money,
    /// That, with what the quote's tariff puts on top of its cover.
    with_quoted_once: Money,
    /// That, with what its own tariff puts on top: all that it asks.
    with_own_once: Money,
    /// What was billed.
    billed: Money,
}

impl Shares {
    fn of(rental: &ChargedRental<'_>, quoted: &[QuotedRental<'_>]) -> Shares {
        let own = rental.away.cover(rental.tariff);
        let by_quotes: Vec<(Decimal, Cover)> = quoted
            .iter()
            .map(|quote| (quote.days, rental.away.cover(quote.tariff)))
            .collect();
        let at_quotes = |sum: fn(&Cover) -> Money| mean(&by_quotes, sum).unwrap_or(sum(&own));
        let once = at_quotes(Cover::once);
        Shares {
            by_quoted: rental.share(at_quotes(|cover| cover.charge)),
            by_own: rental.share(own.charge),
            with_quoted_once: rental.share(own.charge + once),
            with_own_once: rental.share(own.total()),
            billed: rental.charge,
        }
    }

    fn add(&mut self, other: &Shares) {
        self.by_quoted += other.by_quoted;
        self.by_own += other.by_own;
        self.with_quoted_once += other.with_quoted_once;
        self.with_own_once += other.with_own_once;
        self.billed += other.billed;
    }
}

/// Returns the mean of a sum over covers, each by its days; `None`: there is none. Equal sums have themselves as mean.
fn mean(covers: &[(Decimal, Cover)], sum: impl Fn(&Cover) -> Money) -> Option<Money> {
    let (_, first) = covers.first()?;
    let first = sum(first);
    let days: Decimal = covers.iter().map(|(days, _)| *days).sum();
    let above = covers.iter().filter(|_| !days.is_zero());
    let above = above.map(|(weight, cover)| (sum(cover) - first).share(*weight, days));
    Some(first + above.sum())
}

#[cfg(test)]
mod tests {
    use chrono::{NaiveDateTime, TimeDelta};
    use proptest::prelude::*;
    use rust_decimal_macros::dec;

    use super::*;

    fn tariff(half_day: i64, day: i64, cleaning: i64) -> Tariff {
        Tariff {
            half_day: Some(Money::from_minor(half_day)),
            day: Money::from_minor(day),
            weekend: None,
            week: None,
            four_weeks: None,
            waiver_percent: dec!(10),
            cleaning: Money::from_minor(cleaning),
        }
    }

    /// Monday morning.
    fn monday() -> NaiveDateTime {
        "2026-03-02T08:00:00".parse().unwrap()
    }

    fn away(hours: i64) -> Away {
        Away::new(monday(), monday() + TimeDelta::hours(hours)).unwrap()
    }

    fn quote(tariff: &Tariff, days: Decimal, cover: i64, once: i64) -> QuotedRental<'_> {
        QuotedRental {
            days,
            cost: Money::from_minor(cover + once),
            once: Money::from_minor(once),
            tariff,
        }
    }

    fn rental<'a>(tariff: &'a Tariff, hours: i64, own: &[usize], charge: i64) -> ChargedRental<'a> {
        ChargedRental {
            away: away(hours),
            tariff,
            own: own.to_vec(),
            charge: Money::from_minor(charge),
        }
    }

    /// The parts in cents: quoted, actual, by price, by quantity.
    fn table(parts: &[(RentalPart, Side, Side, Split); 4]) -> [[i64; 4]; 4] {
        parts.map(|(_, quoted, actual, Split { price, quantity })| {
            [quoted.cost, actual.cost, price, quantity].map(Money::minor)
        })
    }

    #[test]
    fn the_worked_example_of_the_head_of_this_file() {
        let (quoted, own) = (tariff(6_200, 8_000, 1_500), tariff(7_000, 9_000, 2_000));
        let parts = compare(
            &[quote(&quoted, dec!(2), 16_000, 3_100)],
            &[rental(&own, 3 * 24 + 4, &[0, 1, 2, 3], 40_000)],
        );
        assert_eq!(
            table(&parts),
            [
                [16_000, 30_200, 0, 14_200],
                [0, 3_800, 3_800, 0],
                [3_100, 5_400, 880, 1_420],
                [0, 600, 600, 0],
            ]
        );
        assert_eq!(
            (parts[0].1.quantity, parts[0].2.quantity),
            (dec!(2), dec!(3.5))
        );
    }

    #[test]
    fn a_half_day_as_quoted_has_no_difference_at_all() {
        // 62.00, waiver 6.20, cleaning 15.00.
        let tariff = tariff(6_200, 8_000, 1_500);
        let parts = compare(
            &[quote(&tariff, dec!(0.5), 6_200, 2_120)],
            &[rental(&tariff, 4, &[0], 8_320)],
        );
        assert_eq!(
            table(&parts),
            [[6_200, 6_200, 0, 0], [0; 4], [2_120, 2_120, 0, 0], [0; 4]]
        );
        assert_eq!(parts[0].2.quantity, dec!(0.5));
    }

    #[test]
    fn a_machine_that_no_quote_has_is_quantity_by_its_own_tariff() {
        // A day 80.00, waiver 8.00, cleaning 15.00: 103.00; the receipt says 100.00.
        let tariff = tariff(6_200, 8_000, 1_500);
        let parts = compare(&[], &[rental(&tariff, 24, &[0], 10_000)]);
        assert_eq!(
            table(&parts),
            [
                [0, 8_000, 0, 8_000],
                [0; 4],
                [0, 2_300, 0, 2_300],
                [0, -300, -300, 0]
            ]
        );
    }

    #[test]
    fn a_variation_has_a_tariff_of_its_own() {
        // Two days at 80 in the quote, one at 110 in the variation; out for three days at 110. Three days by the quote's
        // tariff are 240, by the variation's 330: two thirds and one third of them are 270, as quoted (160 + 110).
        let (first, second) = (tariff(6_200, 8_000, 0), tariff(6_200, 11_000, 0));
        let parts = compare(
            &[
                quote(&first, dec!(2), 16_000, 1_600),
                quote(&second, dec!(1), 11_000, 1_100),
            ],
            &[rental(&second, 72, &[0, 1, 2], 36_300)],
        );
        // Waiver: 24.00 and 33.00 by the tariffs, 27.00 in the mean, as quoted.
        assert_eq!(
            table(&parts),
            [
                [27_000, 27_000, 0, 0],
                [0, 6_000, 6_000, 0],
                [2_700, 3_300, 600, 0],
                [0; 4]
            ]
        );
    }

    #[test]
    fn two_rentals_are_cleaned_twice() {
        // Each a day: 80.00 + 8.00 + 15.00. Quoted once for two days: 160.00 + 16.00 + 15.00.
        let tariff = tariff(6_200, 8_000, 1_500);
        let day = rental(&tariff, 24, &[0], 10_300);
        let parts = compare(
            &[quote(&tariff, dec!(2), 16_000, 3_100)],
            &[day.clone(), day],
        );
        assert_eq!(
            table(&parts),
            [
                [16_000, 16_000, 0, 0],
                [0; 4],
                [3_100, 4_600, 0, 1_500],
                [0; 4]
            ]
        );
    }

    #[test]
    fn a_shared_rental_is_compared_by_days() {
        // Three days are 240.00 + 24.00 + 15.01, together 279.01: 93.01 the first day, 93.00 the others. The cover is
        // 80.00 a day. This job had the last two: 160.00, and 26.00 of what comes on top.
        let tariff = tariff(6_200, 8_000, 1_501);
        let parts = compare(
            &[quote(&tariff, dec!(1), 8_000, 2_301)],
            &[rental(&tariff, 72, &[1, 2], 18_600)],
        );
        assert_eq!(
            table(&parts),
            [
                [8_000, 16_000, 0, 8_000],
                [0; 4],
                [2_301, 2_600, 0, 299],
                [0; 4]
            ]
        );
        assert_eq!(parts[0].2.quantity, dec!(2));
    }

    fn any_tariff() -> impl Strategy<Value = Tariff> {
        let price = 0_i64..30_000;
        (
            proptest::option::of(price.clone()),
            price.clone(),
            proptest::option::of(price.clone()),
            0_i64..2_500,
            price,
        )
            .prop_map(|(half_day, day, week, waiver, cleaning)| Tariff {
                half_day: half_day.map(Money::from_minor),
                week: week.map(Money::from_minor),
                waiver_percent: Decimal::new(waiver, 2),
                ..tariff(0, day, cleaning)
            })
    }

    proptest! {
        /// Whatever was quoted, rented and billed: the parts are the difference, and those of all jobs the rental's.
        #[test]
        fn parts_add_up_to_the_cent(
            tariffs in (any_tariff(), any_tariff(), any_tariff()),
            quotes in proptest::collection::vec((0_i64..900, 0_i64..90_000, 0_i64..20_000), 0..3),
            rentals in proptest::collection::vec((1_i64..900, any::<u64>(), proptest::option::of(0_i64..200_000)), 0..4),
        ) {
            let of_quotes = [&tariffs.0, &tariffs.1];
            let quoted: Vec<QuotedRental<'_>> = quotes.iter().zip(of_quotes).map(|((days, cover, once), tariff)| {
                quote(tariff, Decimal::new(*days, 2), *cover, *once)
            }).collect();
            let (mut ours, mut theirs, mut whole) = (Vec::new(), Vec::new(), Vec::new());
            for (hours, holders, receipt) in &rentals {
                let away = away(*hours);
                let days = away.days().len();
                let asked = away.cover(&tariffs.2).total().minor();
                let charge = Money::from_minor(receipt.unwrap_or(asked));
                let charges = charge.spread(&vec![Decimal::ONE; days]);
                let (own, other): (Vec<usize>, Vec<usize>) = (0..days).partition(|day| holders >> (day % 64) & 1 == 1);
                for (own, jobs) in [(own, &mut ours), (other, &mut theirs), ((0..days).collect(), &mut whole)] {
                    let charge: Money = own.iter().map(|day| charges[*day]).sum();
                    jobs.push(rental(&tariffs.2, *hours, &own, charge.minor()));
                }
            }
            let cost = |rentals: &[ChargedRental<'_>]| rentals.iter().map(|rental| rental.charge).sum::<Money>();
            let estimate: Money = quoted.iter().map(|quote| quote.cost).sum();
            for rentals in [&ours, &theirs, &whole] {
                let parts = compare(&quoted, rentals);
                prop_assert_eq!(parts.iter().map(|(_, quoted, ..)| quoted.cost).sum::<Money>(), estimate);
                prop_assert_eq!(parts.iter().map(|(_, _, actual, _)| actual.cost).sum::<Money>(), cost(rentals));
                for (_, quoted, actual, split) in &parts {
                    prop_assert_eq!(split.total(), actual.cost - quoted.cost);
                }
                let by_tariff = |rental: &ChargedRental<'_>| {
                    rental.charge == rental.share(rental.away.cover(rental.tariff).total())
                };
                if rentals.iter().all(by_tariff) {
                    prop_assert_eq!(parts[3].2.cost, Money::ZERO, "nothing was billed otherwise");
                }
            }
            // What two jobs shared is together what one would have had.
            let actual = |rentals: &[ChargedRental<'_>]| compare(&[], rentals).map(|(_, _, actual, _)| actual);
            let (ours, theirs, whole) = (actual(&ours), actual(&theirs), actual(&whole));
            for ((ours, theirs), whole) in ours.into_iter().zip(theirs).zip(whole) {
                prop_assert_eq!(ours.cost + theirs.cost, whole.cost);
                prop_assert_eq!(ours.quantity + theirs.quantity, whole.quantity);
            }
        }
    }
}
