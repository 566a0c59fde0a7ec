//! How far a job has come by its cost, what it has earned by that, and what it will keep.
//!
//! ```text
//! percent complete = cost to date ÷ (cost to date + cost to complete)
//! earned           = price × percent complete
//! over-billed      = invoiced − earned                  below zero: under-billed
//! margin           = price − cost to date − cost to complete
//! provision        = the whole loss at once, where the margin is below zero, however far the job has come
//! ```
//!
//! A job that is to cost nothing more and has cost nothing has come nowhere. What is earned is rounded once.

use crate::money::{Decimal, Money};

/// A job's price, cost and bills, without tax.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Progress {
    /// What is agreed, variations included.
    pub price: Money,
    /// What it has cost.
    pub cost_to_date: Money,
    /// What it is expected to cost from now on.
    pub cost_to_complete: Money,
    /// What was invoiced, less credit notes.
    pub invoiced: Money,
}

impl Progress {
    /// Returns what it is expected to cost in the end.
    pub fn cost(&self) -> Money {
        self.cost_to_date + self.cost_to_complete
    }

    /// Returns the part of its cost that was spent, as a fraction of one.
    pub fn complete(&self) -> Decimal {
        match self.cost() {
            nothing if nothing.is_zero() => Decimal::ZERO,
            cost => minor(self.cost_to_date) / minor(cost),
        }
    }

    /// Returns the part of its price that its cost has earned.
    pub fn earned(&self) -> Money {
        match self.cost() {
            nothing if nothing.is_zero() => Money::ZERO,
            cost => self.price.share(minor(self.cost_to_date), minor(cost)),
        }
    }

    /// Returns by how much more was invoiced than earned; below zero, by how much less.
    pub fn over_billed(&self) -> Money {
        self.invoiced - self.earned()
    }

    /// Returns what it is expected to keep; below zero, to lose.
    pub fn margin(&self) -> Money {
        self.price - self.cost()
    }

    /// Returns the loss that is to be booked now.
    pub fn provision(&self) -> Money {
        (-self.margin()).max(Money::ZERO)
    }

    /// Adds another job's, part by part.
    pub fn add(&mut self, other: &Progress) {
        self.price += other.price;
        self.cost_to_date += other.cost_to_date;
        self.cost_to_complete += other.cost_to_complete;
        self.invoiced += other.invoiced;
    }
}

fn minor(money: Money) -> Decimal {
    Decimal::from(money.minor())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rust_decimal_macros::dec;

    use super::*;
    use crate::money::quantity;

    fn major(amount: i64) -> Money {
        Money::from_minor(amount * 100)
    }

    fn at(price: i64, cost_to_date: i64, cost_to_complete: i64) -> Progress {
        Progress {
            price: major(price),
            cost_to_date: major(cost_to_date),
            cost_to_complete: major(cost_to_complete),
            invoiced: Money::ZERO,
        }
    }

    /// Three public answers to exercises of a textbook, worked out again.
    #[test]
    fn revenue_by_percentage_of_completion_is_as_published() {
        type Year = (i64, i64);
        let cases: [(&str, i64, &[Year], &[Year]); 3] = [
            // qammunity.org 1923541: costs of 1, 3 and 4 million, 5, 4 and 0 to complete.
            (
                "I",
                9_000_000,
                &[
                    (1_000_000, 5_000_000),
                    (3_000_000, 4_000_000),
                    (4_000_000, 0),
                ],
                &[(1_500_000, 500_000), (3_000_000, 0), (4_500_000, 500_000)],
            ),
            // petfoodhonesty.com 18296758: 30, 77 and 100 %.
            (
                "J",
                10_000_000,
                &[
                    (2_580_000, 6_020_000),
                    (4_042_000, 1_978_000),
                    (2_175_800, 0),
                ],
                &[
                    (3_000_000, 420_000),
                    (4_700_000, 658_000),
                    (2_300_000, 124_200),
                ],
            ),
            // brainmass.com 242178: 60 %.
            (
                "L",
                15_000_000,
                &[(7_200_000, 4_800_000)],
                &[(9_000_000, 1_800_000)],
            ),
        ];
        for (row, price, years, expected) in cases {
            let (mut cost, mut earned) = (0, Money::ZERO);
            for ((spent, left), (revenue, profit)) in years.iter().zip(expected) {
                cost += spent;
                let now = at(price, cost, *left).earned();
                let of_year = now - earned;
                assert_eq!(of_year, major(*revenue), "{row} at {cost}");
                assert_eq!(of_year - major(*spent), major(*profit), "{row} at {cost}");
                earned = now;
            }
        }
        let percents = [(1, 5), (4, 4), (8, 0)].map(|(cost, left)| at(9, cost, left).complete());
        assert_eq!(
            percents.map(|part| quantity(part * dec!(6))),
            [dec!(1), dec!(3), dec!(6)]
        );
    }

    /// A contract whose cost exceeds its price books the whole loss at once (forum.another71.com): not 30 % of it at 30 %.
    #[test]
    fn a_loss_is_booked_whole_as_soon_as_it_is_seen() {
        let losing = at(1_000, 330, 770);
        assert_eq!(losing.complete(), dec!(0.3));
        assert_eq!(
            (losing.margin(), losing.provision()),
            (major(-100), major(100))
        );
        let keeping = at(1_200, 330, 770);
        assert_eq!(
            (keeping.margin(), keeping.provision()),
            (major(100), Money::ZERO)
        );
        assert_eq!(at(1_100, 330, 770).provision(), Money::ZERO);
    }

    #[test]
    fn what_is_invoiced_beyond_the_part_that_is_done_is_over_billed() {
        let half = Progress {
            invoiced: major(700),
            ..at(1_000, 300, 300)
        };
        assert_eq!(
            (half.earned(), half.over_billed()),
            (major(500), major(200))
        );
        let unbilled = at(1_000, 300, 300);
        assert_eq!(unbilled.over_billed(), major(-500));
    }

    #[test]
    fn a_job_without_any_cost_has_come_nowhere() {
        let nothing = at(1_000, 0, 0);
        assert_eq!(
            (nothing.complete(), nothing.earned()),
            (dec!(0), Money::ZERO)
        );
        assert_eq!(nothing.margin(), major(1_000));
    }

    proptest! {
        #[test]
        fn all_is_earned_in_the_end_and_never_more(
            price in 1_i64..1_000_000, cost in 1_i64..1_000_000, left in 0_i64..1_000_000,
        ) {
            let job = at(price, cost, left);
            prop_assert!(job.earned() <= job.price && job.complete() <= Decimal::ONE);
            prop_assert_eq!(at(price, cost, 0).earned(), job.price);
            prop_assert_eq!(job.over_billed() + job.earned(), job.invoiced);
        }
    }
}
