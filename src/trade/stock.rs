//! Stock at moving average cost.
//!
//! What is bought goes on the shelf at what was paid; what is used leaves at the average of what is there.
//! A tired person logs a use before its receipt: what goes beyond the shelf is **awaiting receipt** at an assumed value,
//! and the next purchase settles it. The difference between paid and assumed is a correction to the job that used it.
//!
//! Averages move in the order of recording: a purchase entered late changes averages from then on, never before.
//! Whatever happens, for each item
//!
//! ```text
//! paid − refunded = value on hand + charged to jobs − assumed value still awaiting + lost in counts and hand-backs
//! ```
//!
//! to the cent, and a shelf with nothing on it is worth nothing.

use thiserror::Error;

use crate::money::{Currency, Decimal, Money, product};

/// What is there of one item.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Stock {
    /// Units on the shelf; never below zero.
    pub on_hand: Decimal,
    /// What they cost.
    pub value: Money,
    /// What was used without a receipt, oldest first.
    pub awaiting: Vec<Awaiting>,
}

/// A quantity that was used before its receipt came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Awaiting {
    /// The ledger's row.
    pub row: i64,
    /// Units not yet settled.
    pub quantity: Decimal,
    /// What they were assumed to cost.
    pub value: Money,
}

/// What a use takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Taken {
    /// Units from the shelf.
    pub from_stock: Decimal,
    /// What they cost.
    pub stock_value: Money,
    /// Units beyond the shelf.
    pub awaiting: Decimal,
    /// What those are assumed to cost, at book price.
    pub awaiting_value: Money,
}

/// What a purchase does.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bought {
    /// Awaiting quantities that it settles.
    pub settled: Vec<Settled>,
    /// Units that go on the shelf.
    pub to_stock: Decimal,
    /// What those cost.
    pub value: Money,
}

/// Part of an awaiting quantity that a purchase settles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settled {
    /// The awaiting row.
    pub row: i64,
    /// Units.
    pub quantity: Decimal,
    /// What they were assumed to cost.
    pub value: Money,
    /// What they did cost.
    pub paid: Money,
}

/// More handed back than there is.
#[derive(Debug, Error, PartialEq, Eq)]
#[error("only {on_hand} are in stock")]
pub struct NotInStock {
    /// Units on the shelf.
    pub on_hand: Decimal,
}

impl Stock {
    /// Returns what a use of that many units takes, beyond the shelf at the book price per unit.
    pub fn take(&self, quantity: Decimal, book_price: Decimal, currency: Currency) -> Taken {
        let from_stock = quantity.min(self.on_hand);
        let awaiting = quantity - from_stock;
        Taken {
            from_stock,
            stock_value: self.value_of(from_stock),
            awaiting,
            awaiting_value: currency.amount(product([awaiting, book_price])),
        }
    }

    /// Returns what a purchase of that many units for that much settles and puts on the shelf.
    pub fn buy(&self, quantity: Decimal, paid: Money) -> Bought {
        let (mut left, mut left_paid) = (quantity, paid);
        let mut settled = Vec::new();
        for awaiting in &self.awaiting {
            let part = left.min(awaiting.quantity);
            if part.is_zero() {
                break;
            }
            let part_paid = left_paid.share(part, left);
            let value = awaiting.value.share(part, awaiting.quantity);
            settled.push(Settled {
                row: awaiting.row,
                quantity: part,
                value,
                paid: part_paid,
            });
            left -= part;
            left_paid -= part_paid;
        }
        Bought {
            settled,
            to_stock: left,
            value: left_paid,
        }
    }

    /// Returns the average value of units that leave the shelf; all of them take all of the value.
    ///
    /// # Errors
    /// Refuses more than there is.
    pub fn remove(&self, quantity: Decimal) -> Result<Money, NotInStock> {
        if quantity > self.on_hand {
            return Err(NotInStock {
                on_hand: self.on_hand.normalize(),
            });
        }
        Ok(self.value_of(quantity))
    }

    /// Returns the change of quantity and value that a count of the shelf calls for; what is found is worth the average,
    /// or the book price if there was nothing.
    pub fn count(
        &self,
        counted: Decimal,
        book_price: Decimal,
        currency: Currency,
    ) -> (Decimal, Money) {
        let difference = counted - self.on_hand;
        let value = if self.on_hand.is_zero() {
            currency.amount(product([difference, book_price]))
        } else {
            self.value.share(counted, self.on_hand) - self.value
        };
        (difference, value)
    }

    fn value_of(&self, quantity: Decimal) -> Money {
        if self.on_hand.is_zero() {
            Money::ZERO
        } else {
            self.value.share(quantity, self.on_hand)
        }
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;

    fn usd() -> Currency {
        Currency::from_code("USD").unwrap()
    }

    #[test]
    fn a_use_leaves_at_the_average_and_the_last_unit_takes_the_rest() {
        let stock = Stock {
            on_hand: dec!(3),
            value: Money::from_minor(1000),
            awaiting: vec![],
        };
        assert_eq!(
            stock.take(dec!(1), dec!(9), usd()).stock_value,
            Money::from_minor(333)
        );
        assert_eq!(
            stock.take(dec!(3), dec!(9), usd()).stock_value,
            Money::from_minor(1000)
        );
        let taken = stock.take(dec!(5), dec!(9), usd());
        assert_eq!(
            (taken.awaiting, taken.awaiting_value),
            (dec!(2), Money::from_minor(1800))
        );
    }

    #[test]
    fn a_purchase_settles_the_oldest_use_first() {
        let awaiting = |row, quantity, cents| Awaiting {
            row,
            quantity,
            value: Money::from_minor(cents),
        };
        let stock = Stock {
            awaiting: vec![awaiting(1, dec!(2), 1800), awaiting(2, dec!(4), 3600)],
            ..Stock::default()
        };
        let bought = stock.buy(dec!(5), Money::from_minor(5000));
        assert_eq!(
            bought.settled,
            [
                Settled {
                    row: 1,
                    quantity: dec!(2),
                    value: Money::from_minor(1800),
                    paid: Money::from_minor(2000)
                },
                Settled {
                    row: 2,
                    quantity: dec!(3),
                    value: Money::from_minor(2700),
                    paid: Money::from_minor(3000)
                },
            ]
        );
        assert_eq!((bought.to_stock, bought.value), (dec!(0), Money::ZERO));
    }

    #[test]
    fn a_count_values_what_is_lost_or_found_at_the_average() {
        let stock = Stock {
            on_hand: dec!(4),
            value: Money::from_minor(1000),
            awaiting: vec![],
        };
        assert_eq!(
            stock.count(dec!(3), dec!(9), usd()),
            (dec!(-1), Money::from_minor(-250))
        );
        assert_eq!(
            stock.count(dec!(0), dec!(9), usd()),
            (dec!(-4), Money::from_minor(-1000))
        );
        assert_eq!(
            Stock::default().count(dec!(2), dec!(9), usd()),
            (dec!(2), Money::from_minor(1800))
        );
    }
}
