//! Why more or less was used than quoted: how large the room turned out to be, the condition in which its floor was found,
//! and the rest.
//!
//! It is the flexible budget of standard costing, in two steps: what the quote would have said for the room as it measured
//! in the end, and then for its floor as it was found. The quantity part of a line is taken apart by them, at the quoted
//! unit price SP:
//!
//! ```text
//! size       = SP × Q(measured) − SP × Q(quoted)       Q: what the quote's rates expect
//! condition  = SP × Q(found) − SP × Q(measured)        of the same room in the condition that was found
//! rest       = quantity part − size − condition        what was really used more or less for such a room
//! ```
//!
//! Each SP × Q is rounded once, so that the three add up to the quantity part to the cent. A room that was measured again
//! with a variation was quoted for what it measures, and has nothing of size.

use super::rental::RentalPart;
use super::{LineKind, Variance, VarianceLine};
use crate::money::{Currency, Decimal, Money, product};

/// The quantity part of a line, by why.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Flexible {
    /// The room's size.
    pub size: Money,
    /// The floor's condition.
    pub condition: Money,
    /// All else.
    pub rest: Money,
}

/// What the quote would have expected of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Expected {
    /// For the room as it was quoted.
    pub quoted: Decimal,
    /// As it measured in the end.
    pub measured: Decimal,
    /// And in the condition that was found.
    pub found: Decimal,
}

impl VarianceLine {
    /// Takes the quantity part apart; `expected` is what the quote would have said, `None`: the room turned out as quoted.
    pub fn flexible(&self, expected: Option<Expected>, currency: Currency) -> Flexible {
        let quantity = self.compared().map(|compared| compared.split.quantity);
        let rest = quantity.unwrap_or_default();
        let (Some(expected), Some(standard), Some(_)) =
            (expected, self.quoted_unit_price, quantity)
        else {
            return Flexible {
                rest,
                ..Flexible::default()
            };
        };
        let at = |quantity: Decimal| currency.amount(product([quantity, standard]));
        let size = at(expected.measured) - at(expected.quoted);
        let condition = at(expected.found) - at(expected.measured);
        Flexible {
            size,
            condition,
            rest: rest - size - condition,
        }
    }
}

/// What jobs differ by from their quotes, by kind of cost and why: more is positive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reasons {
    /// Items at other prices.
    pub item_price: Money,
    /// More or fewer items.
    pub items: Flexible,
    /// Hours at other wages.
    pub labour_rate: Money,
    /// More or fewer hours: efficiency.
    pub labour: Flexible,
    /// Machines that were out for longer.
    pub rental_days: Money,
    /// Yards that asked more for the same time.
    pub rental_tariff: Money,
    /// Waiver and cleaning.
    pub rental_fixed: Money,
    /// Bills that say otherwise than their tariff.
    pub rental_rest: Money,
    /// Driving, lumps of money, overhead.
    pub other: Money,
    /// What was quoted and isn't recorded, below zero.
    pub not_recorded: Money,
}

impl Reasons {
    /// Adds a job; `flexible` has the quantity part of each of its lines.
    pub fn add(&mut self, variance: &Variance, flexible: &[Flexible]) {
        for (line, flexible) in variance.lines.iter().zip(flexible) {
            let Some(compared) = line.compared() else {
                self.not_recorded -= line.quoted.cost;
                continue;
            };
            let split = compared.split;
            match line.subject.kind {
                LineKind::Item => {
                    self.item_price += split.price;
                    self.items.add(flexible);
                }
                LineKind::Labour => {
                    self.labour_rate += split.price;
                    self.labour.add(flexible);
                }
                LineKind::Rental => {
                    *match line.subject.part {
                        Some(RentalPart::Days) => &mut self.rental_days,
                        Some(RentalPart::Tariff) => &mut self.rental_tariff,
                        Some(RentalPart::Once) => &mut self.rental_fixed,
                        Some(RentalPart::Rest) | None => &mut self.rental_rest,
                    } += split.total();
                }
                LineKind::Other => self.other += split.total(),
            }
        }
    }

    /// Returns what is recorded of it.
    pub fn recorded(&self) -> Money {
        let Reasons {
            item_price,
            items,
            labour_rate,
            labour,
            rental_days,
            rental_tariff,
            rental_fixed,
            rental_rest,
            other,
            not_recorded: _,
        } = self;
        let rental = *rental_days + *rental_tariff + *rental_fixed + *rental_rest;
        *item_price + items.total() + *labour_rate + labour.total() + rental + *other
    }

    /// Returns the whole difference.
    pub fn total(&self) -> Money {
        self.recorded() + self.not_recorded
    }
}

impl Flexible {
    /// Returns the whole quantity part.
    pub fn total(&self) -> Money {
        self.size + self.condition + self.rest
    }

    fn add(&mut self, other: &Flexible) {
        self.size += other.size;
        self.condition += other.condition;
        self.rest += other.rest;
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rust_decimal_macros::dec;

    use super::*;
    use crate::trade::Unit;
    use crate::trade::variance::{Actual, Side, Subject};

    fn usd() -> Currency {
        Currency::from_code("USD").unwrap()
    }

    fn line(
        kind: LineKind,
        part: Option<RentalPart>,
        quoted: Side,
        actual: Option<Side>,
    ) -> VarianceLine {
        let subject = Subject {
            kind,
            room: None,
            operation: None,
            item: None,
            part,
            unit: Unit::Disc,
        };
        match actual {
            Some(actual) => {
                VarianceLine::recorded(subject, quoted, quoted.unit_price(usd()), actual, usd())
            }
            None => VarianceLine {
                subject,
                quoted,
                quoted_unit_price: quoted.unit_price(usd()),
                actual: Actual::NotRecorded {
                    operations: Default::default(),
                    might: Money::ZERO,
                },
            },
        }
    }

    fn side(quantity: Decimal, cents: i64) -> Side {
        Side {
            quantity,
            cost: Money::from_minor(cents),
        }
    }

    /// 10 discs were quoted at 2.00. The room measured half as much again: 15. Under paint they would have been 24. 26 were
    /// used, at 2.10: 2.60 by price, 10.00 by size, 18.00 by condition, and 4.00 were really more.
    #[test]
    fn the_quantity_part_is_taken_apart_by_what_the_room_turned_out_to_be() {
        let line = line(
            LineKind::Item,
            None,
            side(dec!(10), 2_000),
            Some(side(dec!(26), 5_460)),
        );
        let expected = Expected {
            quoted: dec!(10),
            measured: dec!(15),
            found: dec!(24),
        };
        let parts = line.flexible(Some(expected), usd());
        assert_eq!(
            [parts.size, parts.condition, parts.rest].map(Money::minor),
            [1_000, 1_800, 400]
        );
        let as_quoted = line.flexible(None, usd());
        assert_eq!(as_quoted.rest.minor(), 3_200);
        let mut reasons = Reasons::default();
        reasons.add(&Variance { lines: vec![line] }, &[parts]);
        assert_eq!(reasons.item_price.minor(), 260);
        assert_eq!(reasons.total().minor(), 3_460);
    }

    fn any_line() -> impl Strategy<Value = (VarianceLine, Option<Expected>)> {
        let kinds = prop_oneof![
            Just((LineKind::Item, None)),
            Just((LineKind::Labour, None)),
            Just((LineKind::Rental, Some(RentalPart::Days))),
            Just((LineKind::Rental, Some(RentalPart::Once))),
            Just((LineKind::Other, None)),
        ];
        let quantity = || (0_i64..100_000).prop_map(|units| Decimal::new(units, 2));
        let sides = (quantity(), 0_i64..1_000_000);
        let actual = proptest::option::of((quantity(), 0_i64..1_000_000));
        let expected = proptest::option::of([quantity(), quantity(), quantity()]);
        (kinds, sides, actual, expected).prop_map(|((kind, part), quoted, actual, expected)| {
            let actual = actual.map(|(quantity, cents)| side(quantity, cents));
            let expected = expected.map(|[quoted, measured, found]| Expected {
                quoted,
                measured,
                found,
            });
            (line(kind, part, side(quoted.0, quoted.1), actual), expected)
        })
    }

    proptest! {
        #[test]
        fn the_reasons_come_to_the_whole_difference(
            jobs in proptest::collection::vec(proptest::collection::vec(any_line(), 0..8), 0..4),
        ) {
            let mut reasons = Reasons::default();
            let (mut difference, mut recorded) = (Money::ZERO, Money::ZERO);
            for lines in jobs {
                let flexible: Vec<Flexible> =
                    lines.iter().map(|(line, expected)| line.flexible(*expected, usd())).collect();
                for ((line, _), flexible) in lines.iter().zip(&flexible) {
                    let quantity = line.compared().map(|compared| compared.split.quantity);
                    prop_assert_eq!(flexible.total(), quantity.unwrap_or_default());
                }
                let variance = Variance { lines: lines.into_iter().map(|(line, _)| line).collect() };
                reasons.add(&variance, &flexible);
                difference += variance.difference();
                recorded += variance.recorded().total();
            }
            prop_assert_eq!(reasons.total(), difference);
            prop_assert_eq!(reasons.recorded(), recorded);
        }
    }
}
