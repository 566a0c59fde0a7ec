//! How old what is owed is, and what of it will not come in.
//!
//! Ages are told apart in the trade's usual steps of thirty days, counted from the day an invoice fell due or, where a firm
//! does it so, from its own date. What isn't due yet is with the youngest.

use crate::money::{Decimal, Money};

/// How many steps of age there are.
pub const AGES: usize = 4;

/// The last day of each age but the oldest.
const UNTIL: [i64; AGES - 1] = [30, 60, 90];

/// What is owed, by its age: up to 30 days, 60, 90, and older.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ByAge(pub [Money; AGES]);

impl ByAge {
    /// Adds what is owed for so many days; below zero, it isn't due yet.
    pub fn add(&mut self, days: i64, owed: Money) {
        let older = UNTIL.iter().take_while(|until| days > **until).count();
        self.0[older] += owed;
    }

    /// Adds another client's.
    pub fn add_all(&mut self, other: ByAge) {
        for (sum, owed) in self.0.iter_mut().zip(other.0) {
            *sum += owed;
        }
    }

    /// Returns what is owed at any age.
    pub fn total(&self) -> Money {
        self.0.iter().copied().sum()
    }

    /// Returns what of it will not come in, by the share that is lost at each age; each age is rounded by itself.
    pub fn allowance(&self, lost: [Decimal; AGES]) -> Money {
        let parts = self.0.iter().zip(lost);
        parts.map(|(owed, share)| owed.times(share)).sum()
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;

    #[test]
    fn thirty_days_are_young_and_thirty_one_are_not() {
        for (days, age) in [
            (-14, 0),
            (0, 0),
            (30, 0),
            (31, 1),
            (60, 1),
            (61, 2),
            (90, 2),
            (91, 3),
            (400, 3),
        ] {
            let mut owed = ByAge::default();
            owed.add(days, Money::from_minor(100));
            let found = owed.0.iter().position(|part| !part.is_zero());
            assert_eq!(found, Some(age), "{days} days");
        }
    }

    #[test]
    fn the_allowance_is_that_of_a_worked_example() {
        // An ageing schedule of a public worked answer to a textbook exercise (trade.md, section 9, row O), in thousands:
        // 5,500, 1,200, 850 and 420 at 1, 3, 6 and 10 % are 55 + 36 + 51 + 42 = 184.
        let owed =
            ByAge([5_500, 1_200, 850, 420].map(|thousands| Money::from_minor(thousands * 100_000)));
        let allowance = owed.allowance([dec!(0.01), dec!(0.03), dec!(0.06), dec!(0.10)]);
        assert_eq!(allowance, Money::from_minor(184 * 100_000));
        assert_eq!(owed.total(), Money::from_minor(7_970 * 100_000));
    }
}
