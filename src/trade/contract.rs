//! What the law where the firm works may ask of its contracts, as far as the firm has set it: how large a deposit may
//! be, and for how long a client may take back an acceptance. The program warns and cites; it judges no law.

use chrono::{Datelike, NaiveDate, Weekday};
use rust_decimal::prelude::ToPrimitive;

use crate::money::{Decimal, Money, counted, product};

/// A share of a price, as a fraction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Share {
    /// So many parts.
    pub part: Decimal,
    /// Of so many.
    pub of: Decimal,
}

/// The law on home-improvement contracts as a firm has set it; what isn't set isn't looked at.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ContractLaw {
    /// The most that a deposit may be, as a share of the price.
    pub deposit_share: Option<Share>,
    /// The most that a deposit may be, as an amount.
    pub deposit_amount: Option<Money>,
    /// The right to take back an acceptance.
    pub cancellation: Option<Cancellation>,
    /// Where that is written.
    pub source: Option<String>,
}

/// A client's right to take back an acceptance.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cancellation {
    /// Business days within which it can be done.
    pub days: u32,
    /// Where that is written.
    pub source: Option<String>,
}

impl ContractLaw {
    /// Returns the largest deposit on a price: the lesser of share and amount; `None`: no limit is set.
    ///
    /// A share is cut off at the minor unit, never rounded past the limit.
    pub fn largest_deposit(&self, price: Money) -> Option<Money> {
        let share = self.deposit_share.map(|Share { part, of }| {
            let minor = (product([Decimal::from(price.minor()), part]) / of).floor();
            Money::from_minor(counted(minor.to_i64()))
        });
        share.into_iter().chain(self.deposit_amount).min()
    }

    /// Returns where the limits are written, for the end of a sentence.
    pub fn cited(&self) -> String {
        cited(self.source.as_deref())
    }
}

impl Cancellation {
    /// Returns the last day on which an acceptance can be taken back; `None`: the calendar ends before it.
    ///
    /// Business days are all but Sundays, as in 16 CFR 429.0; holidays aren't known here.
    pub fn last_day(&self, accepted: NaiveDate) -> Option<NaiveDate> {
        let mut left = self.days;
        let mut day = accepted;
        while left > 0 {
            day = day.succ_opt()?;
            if day.weekday() != Weekday::Sun {
                left -= 1;
            }
        }
        Some(day)
    }

    /// Returns where that is written, for the end of a sentence.
    pub fn cited(&self) -> String {
        cited(self.source.as_deref())
    }
}

fn cited(source: Option<&str>) -> String {
    source.map_or_else(String::new, |source| format!(" ({source})"))
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;

    #[test]
    fn deposits_are_limited_as_the_law_that_is_set_says() {
        let dollars = |amount: i64| Money::from_minor(amount * 100);
        // California Bus. & Prof. Code §7159.5(a)(3): the lesser of 1,000 and 10 % of the contract price.
        let california = ContractLaw {
            deposit_share: Some(Share {
                part: dec!(10),
                of: dec!(100),
            }),
            deposit_amount: Some(dollars(1000)),
            ..ContractLaw::default()
        };
        for (price, largest) in [(3_400, 340), (10_000, 1000), (12_000, 1000)] {
            let found = california.largest_deposit(dollars(price));
            assert_eq!(found, Some(dollars(largest)), "{price}");
        }
        // Md. Bus. Reg. §8-617, M.G.L. c.142A §2, 73 P.S. §517.9, 10 M.R.S. §1487: one third.
        let third = ContractLaw {
            deposit_share: Some(Share {
                part: dec!(1),
                of: dec!(3),
            }),
            ..ContractLaw::default()
        };
        assert_eq!(
            third.largest_deposit(dollars(3_400)),
            Some(Money::from_minor(113_333))
        );
        assert_eq!(ContractLaw::default().largest_deposit(dollars(1)), None);
    }

    #[test]
    fn an_acceptance_can_be_taken_back_for_some_business_days() {
        // FTC 16 CFR 429.1: three business days, and 429.0: all but Sundays and holidays (from memory).
        let right = Cancellation {
            days: 3,
            source: None,
        };
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        // 2026-03-06 is a Friday: Saturday, Monday, Tuesday. From Wednesday on, a Saturday is the third day.
        assert_eq!(right.last_day(day("2026-03-02")), Some(day("2026-03-05")));
        assert_eq!(right.last_day(day("2026-03-04")), Some(day("2026-03-07")));
        assert_eq!(right.last_day(day("2026-03-06")), Some(day("2026-03-10")));
        assert_eq!(right.last_day(day("2026-03-07")), Some(day("2026-03-11")));
    }
}
