//! Stock at moving average cost.
//!
//! What is bought goes on the shelf at what was paid; what is used leaves at the average of what is there.
//! A tired person logs a use before its receipt: what goes beyond the shelf is **awaiting receipt** at an assumed value,
//! and the next purchase settles it. The difference between paid and assumed is a correction to the job that used it.
//!
//! What was typed is the record; what it comes to follows from it, one entry after the other ([`Stock::apply`]), and is
//! worked out again from the first entry that was taken back or put in between. So a void is as if the slip had never been.
//! Entries stand in the order of the days on which they happened, because a count says what was there that evening, and a
//! receipt out of the glove box paid for what was used after it. Within a day they stand as they were typed, and what is
//! typed again for a slip stands in the slip's place: the rest of that day came after it then, and comes after it now.
//! The book price beyond the shelf is the one that stood when the entry was typed.
//!
//! Every history has a value, the middle of a correction too: a purchase taken back may leave a hand-back or a count with
//! less than it needs. What is handed back beyond the shelf awaits a receipt like what is used beyond it, and what a count
//! finds is worth the average, or the book price where nothing was. Whatever happens, for each item
//!
//! ```text
//! paid − refunded = value on hand + charged to jobs − assumed value still awaiting + lost in counts and hand-backs
//! ```
//!
//! to the cent, and a shelf with nothing on it is worth nothing.

use crate::money::{Currency, Decimal, Money, product};
use crate::trade::EntryId;

/// What is there of one item.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Stock {
    /// Units on the shelf; never below zero.
    pub on_hand: Decimal,
    /// What they cost.
    pub value: Money,
    /// What left without a receipt, oldest first.
    pub awaiting: Vec<Awaiting>,
}

/// A quantity that left before its receipt came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Awaiting {
    /// The use, or the hand-back.
    pub entry: EntryId,
    /// Units not yet settled.
    pub quantity: Decimal,
    /// What they were assumed to cost.
    pub value: Money,
}

/// What was typed of one item's stock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Typed {
    /// The entry.
    pub entry: EntryId,
    /// What happened.
    pub what: Happening,
    /// How many units.
    pub quantity: Decimal,
    /// What a unit costs by the book; of no meaning to a purchase.
    pub book_price: Decimal,
}

/// What can happen to stock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Happening {
    /// Units came, and were paid for.
    Bought(Money),
    /// Units were used.
    Used,
    /// Units went back to the shop.
    HandedBack,
    /// The shelf was counted.
    Counted,
}

/// What an entry does to the stock.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Effect {
    /// How many units came to the shelf; below zero: left it.
    pub change: Decimal,
    /// What those are worth.
    pub value: Money,
    /// Units that left beyond the shelf.
    pub awaiting: Decimal,
    /// What those are assumed to cost, at book price.
    pub awaiting_value: Money,
    /// What it settles of what was awaiting.
    pub settled: Vec<Settled>,
    /// Units on the shelf after it.
    pub on_hand: Decimal,
    /// What the shelf is worth after it.
    pub worth: Money,
}

/// Part of an awaiting quantity that a purchase settles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settled {
    /// The entry that was awaiting.
    pub entry: EntryId,
    /// Units.
    pub quantity: Decimal,
    /// What they were assumed to cost.
    pub value: Money,
    /// What they did cost.
    pub paid: Money,
}

impl Effect {
    /// Returns what left: at its average from the shelf, as assumed beyond it. For a count, what is lost.
    pub fn taken(&self) -> Money {
        self.awaiting_value - self.value
    }
}

impl Stock {
    /// Brings the stock on by one entry, and returns what the entry does.
    pub fn apply(&mut self, typed: &Typed, currency: Currency) -> Effect {
        let mut effect = match typed.what {
            Happening::Bought(paid) => self.buy(typed.quantity, paid),
            Happening::Used | Happening::HandedBack => self.take(typed, currency),
            Happening::Counted => self.count(typed, currency),
        };
        self.on_hand += effect.change;
        self.value += effect.value;
        (effect.on_hand, effect.worth) = (self.on_hand, self.value);
        effect
    }

    /// Takes units from the shelf at their average, and beyond it at the book price.
    fn take(&mut self, typed: &Typed, currency: Currency) -> Effect {
        let from_stock = typed.quantity.min(self.on_hand);
        let awaiting = typed.quantity - from_stock;
        let awaiting_value = currency.amount(product([awaiting, typed.book_price]));
        if !awaiting.is_zero() {
            self.awaiting.push(Awaiting {
                entry: typed.entry,
                quantity: awaiting,
                value: awaiting_value,
            });
        }
        Effect {
            change: -from_stock,
            value: -self.value_of(from_stock),
            awaiting,
            awaiting_value,
            ..Effect::default()
        }
    }

    /// Settles what awaits, oldest first, and puts the rest on the shelf.
    fn buy(&mut self, quantity: Decimal, paid: Money) -> Effect {
        let (mut left, mut left_paid) = (quantity, paid);
        let mut settled = Vec::new();
        for awaiting in &mut self.awaiting {
            let part = left.min(awaiting.quantity);
            if part.is_zero() {
                break;
            }
            let part_paid = left_paid.share(part, left);
            let value = awaiting.value.share(part, awaiting.quantity);
            settled.push(Settled {
                entry: awaiting.entry,
                quantity: part,
                value,
                paid: part_paid,
            });
            awaiting.quantity -= part;
            awaiting.value -= value;
            left -= part;
            left_paid -= part_paid;
        }
        self.awaiting
            .retain(|awaiting| !awaiting.quantity.is_zero());
        Effect {
            change: left,
            value: left_paid,
            settled,
            ..Effect::default()
        }
    }

    /// Makes the shelf what was counted; what is found is worth the average, or the book price if there was nothing.
    fn count(&self, typed: &Typed, currency: Currency) -> Effect {
        let change = typed.quantity - self.on_hand;
        let value = if self.on_hand.is_zero() {
            currency.amount(product([change, typed.book_price]))
        } else {
            self.value.share(typed.quantity, self.on_hand) - self.value
        };
        Effect {
            change,
            value,
            ..Effect::default()
        }
    }

    /// Returns the average value of units that leave the shelf; all of them take all of the value.
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

    /// Replays a history of one item whose book price is 9.00, and returns what each entry does, and what is left.
    fn replayed(history: &[(Happening, Decimal)]) -> (Vec<Effect>, Stock) {
        let usd = Currency::from_code("USD").unwrap();
        let mut stock = Stock::default();
        let apply = |(entry, (what, quantity)): (i64, &(Happening, Decimal))| {
            let typed = Typed {
                entry: EntryId(entry),
                what: *what,
                quantity: *quantity,
                book_price: dec!(9),
            };
            stock.apply(&typed, usd)
        };
        let effects = (1..).zip(history).map(apply).collect();
        (effects, stock)
    }

    fn bought(cents: i64) -> Happening {
        Happening::Bought(Money::from_minor(cents))
    }

    #[test]
    fn a_use_leaves_at_the_average_and_the_last_unit_takes_the_rest() {
        let (effects, stock) = replayed(&[
            (bought(1000), dec!(3)),
            (Happening::Used, dec!(1)),
            (Happening::Used, dec!(4)),
        ]);
        // 10.00 / 3 = 3.33; then the 6.67 that are left, and two at book price.
        assert_eq!(effects[1].taken(), Money::from_minor(333));
        assert_eq!(effects[2].value, Money::from_minor(-667));
        assert_eq!(
            (effects[2].awaiting, effects[2].awaiting_value),
            (dec!(2), Money::from_minor(1800))
        );
        assert_eq!((stock.on_hand, stock.value), (dec!(0), Money::ZERO));
    }

    #[test]
    fn a_purchase_settles_the_oldest_use_first() {
        let (effects, stock) = replayed(&[
            (Happening::Used, dec!(2)),
            (Happening::Used, dec!(4)),
            (bought(5000), dec!(5)),
        ]);
        let settled = |entry, quantity, cents, paid| Settled {
            entry: EntryId(entry),
            quantity,
            value: Money::from_minor(cents),
            paid: Money::from_minor(paid),
        };
        // Book price 9.00, paid 10.00 each: one of the second use's four still awaits, at the 9.00 that are left of it.
        assert_eq!(
            effects[2].settled,
            [
                settled(1, dec!(2), 1800, 2000),
                settled(2, dec!(3), 2700, 3000)
            ]
        );
        assert_eq!(
            (effects[2].change, effects[2].value),
            (dec!(0), Money::ZERO)
        );
        assert_eq!(
            stock.awaiting,
            [Awaiting {
                entry: EntryId(2),
                quantity: dec!(1),
                value: Money::from_minor(900)
            }]
        );
    }

    #[test]
    fn a_count_values_what_is_lost_or_found_at_the_average() {
        let counted = |counted| {
            replayed(&[(bought(1000), dec!(4)), (Happening::Counted, counted)])
                .0
                .remove(1)
        };
        let lost = counted(dec!(3));
        assert_eq!(
            (lost.change, lost.value),
            (dec!(-1), Money::from_minor(-250))
        );
        let gone = counted(dec!(0));
        assert_eq!(
            (gone.change, gone.value),
            (dec!(-4), Money::from_minor(-1000))
        );
        let (effects, _) = replayed(&[(Happening::Counted, dec!(2))]);
        assert_eq!(
            (effects[0].change, effects[0].value),
            (dec!(2), Money::from_minor(1800))
        );
    }

    #[test]
    fn what_goes_back_beyond_the_shelf_awaits_its_receipt() {
        // As it stands after a purchase is taken back: two on the shelf, three handed back; then the receipt again.
        let (effects, stock) = replayed(&[
            (bought(1000), dec!(2)),
            (Happening::HandedBack, dec!(3)),
            (bought(4000), dec!(4)),
        ]);
        assert_eq!(effects[1].taken(), Money::from_minor(1000 + 900));
        assert_eq!(effects[2].settled[0].paid, Money::from_minor(1000));
        assert_eq!(
            (stock.on_hand, stock.value),
            (dec!(3), Money::from_minor(3000))
        );
    }
}
