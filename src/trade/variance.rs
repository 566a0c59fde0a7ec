//! Quoted against actual, split into a price part and a quantity part.
//!
//! The split is that of standard costing (OpenStax, *Principles of Accounting 2: Managerial*, chapter 8):
//!
//! ```text
//! price part    = actual cost − AQ × SP          paid more for each than quoted
//! quantity part = AQ × SP − quoted cost          used more than quoted
//! ```
//!
//! with AQ the actual quantity and SP the quoted unit price. AQ × SP is rounded once, so the two parts add up to the
//! whole difference to the cent. Positive means that it cost more than quoted (unfavourable). With nothing actual there
//! is no price part; with nothing quoted the whole difference is quantity.

use std::collections::BTreeMap;

use crate::money::{Currency, Decimal, Money, product};
use crate::trade::job_cost::{Logged, What, spread, totals};
use crate::trade::quote::{Line, Terms};
use crate::trade::{CostKind, RoomId, Unit, closed_set};

/// One side of a comparison: how much, and what it cost.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Side {
    /// Units.
    pub quantity: Decimal,
    /// Cost.
    pub cost: Money,
}

impl Side {
    fn add(&mut self, quantity: Decimal, cost: Money) {
        self.quantity += quantity;
        self.cost += cost;
    }

    /// Returns the cost of one unit in major units; `None`: there are none.
    pub fn unit_price(&self, currency: Currency) -> Option<Decimal> {
        (!self.quantity.is_zero()).then(|| currency.decimal(self.cost) / self.quantity)
    }
}

/// A difference in cost, by cause.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Split {
    /// Because of the price paid.
    pub price: Money,
    /// Because of the amount used.
    pub quantity: Money,
}

impl Split {
    /// Returns the whole difference.
    pub fn total(self) -> Money {
        self.price + self.quantity
    }
}

/// Splits the difference between quoted and actual; `standard` is the quoted unit price in major units.
pub fn split(quoted: Side, standard: Option<Decimal>, actual: Side, currency: Currency) -> Split {
    match standard {
        Some(standard) if !actual.quantity.is_zero() => {
            let at_standard = currency.amount(product([actual.quantity, standard]));
            Split {
                price: actual.cost - at_standard,
                quantity: at_standard - quoted.cost,
            }
        }
        _ => Split {
            price: Money::ZERO,
            quantity: actual.cost - quoted.cost,
        },
    }
}

/// Returns the word for a difference in cost.
pub fn favour(difference: Money) -> &'static str {
    match difference.minor() {
        0 => "as quoted",
        more if more > 0 => "unfavourable",
        _ => "favourable",
    }
}

closed_set! {
    /// What a variance line compares.
    LineKind, "kind of line" {
        /// An item used.
        Item = "item",
        /// Hours on a task.
        Labour = "labour",
        /// Rental days.
        Rental = "rental",
        /// Everything else.
        Other = "other",
    }
}

/// What a line compares: its place in the report.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Subject {
    /// What is compared.
    pub kind: LineKind,
    /// The room; `None`: the job as a whole.
    pub room: Option<RoomId>,
    /// The operation of an item, the task of hours; `None`: not said, or neither.
    pub operation: Option<String>,
    /// The item, the machine, or what money was spent for; `None`: hours.
    pub item: Option<String>,
    /// The unit of its quantities.
    pub unit: Unit,
}

/// One line of the report.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VarianceLine {
    /// What it compares.
    pub subject: Subject,
    /// As quoted.
    pub quoted: Side,
    /// Quoted unit price, major units; `None`: nothing quoted.
    pub quoted_unit_price: Option<Decimal>,
    /// As it was.
    pub actual: Side,
    /// Actual unit price, major units; `None`: nothing actual.
    pub actual_unit_price: Option<Decimal>,
    /// The difference.
    pub split: Split,
}

/// What was quoted, unit price included, before it is compared.
#[derive(Clone, Copy, Debug, Default)]
struct Pair {
    quoted: Side,
    standard: Option<Decimal>,
    actual: Side,
}

/// Compares the lines of a job's quotes with what was logged on it, line by line, by kind and room.
///
/// `terms` are the quote's: wage and burden price the quoted hours; overhead is charged on quoted and actual labour alike.
/// `operation_names` names operations that were logged but not quoted.
pub fn compare(
    lines: &[Line],
    terms: &Terms,
    logged: &[Logged],
    operation_names: impl Fn(crate::trade::OperationId) -> String,
    currency: Currency,
) -> Vec<VarianceLine> {
    let mut pairs: BTreeMap<Subject, Pair> = BTreeMap::new();
    for line in lines {
        add_quoted(&mut pairs, line, terms);
    }
    for cost in logged {
        for part in spread(cost, lines) {
            let subject = subject_of(&cost.what, part.room, lines, &operation_names);
            pairs
                .entry(subject)
                .or_default()
                .actual
                .add(part.quantity, part.cost);
        }
    }
    let overhead = totals(logged, terms.overhead).overhead;
    if !overhead.is_zero() {
        pairs
            .entry(overhead_subject())
            .or_default()
            .actual
            .add(Decimal::ONE, overhead);
    }
    pairs
        .into_iter()
        .map(|(subject, pair)| {
            let Pair {
                quoted,
                standard,
                mut actual,
            } = pair;
            if subject.kind == LineKind::Other
                && subject.unit == Unit::Each
                && !actual.quantity.is_zero()
            {
                // Money spent twice for one thing is still one thing: only its price differs.
                actual.quantity = Decimal::ONE;
            }
            let standard = standard.or_else(|| quoted.unit_price(currency));
            VarianceLine {
                subject,
                quoted,
                quoted_unit_price: standard,
                actual,
                actual_unit_price: actual.unit_price(currency),
                split: split(quoted, standard, actual, currency),
            }
        })
        .collect()
}

/// Where an operation is named: what is left in the opened packs of an item that doesn't keep.
const OPENED: &str = "opened";

fn add_quoted(pairs: &mut BTreeMap<Subject, Pair>, line: &Line, terms: &Terms) {
    match line {
        Line::Work(work) => {
            if let Some(item) = &work.item {
                let subject = Subject {
                    kind: LineKind::Item,
                    room: work.room,
                    operation: Some(work.name.clone()),
                    item: Some(item.name.clone()),
                    unit: item.unit,
                };
                let pair = pairs.entry(subject).or_default();
                pair.quoted.add(item.expected, item.cost);
                pair.standard = Some(item.unit_price);
            }
            let pair = pairs
                .entry(labour_subject(work.room, Some(work.task.name.clone())))
                .or_default();
            pair.quoted.add(work.hours, work.labour);
            pair.standard = Some(terms.wage * terms.burden);
        }
        Line::Rental {
            name, days, cost, ..
        } => {
            pairs
                .entry(rental_subject(name))
                .or_default()
                .quoted
                .add(*days, *cost);
        }
        Line::Opened {
            name,
            unit,
            left,
            cost,
            ..
        } => {
            pairs
                .entry(opened_subject(name, *unit))
                .or_default()
                .quoted
                .add(*left, *cost);
        }
        Line::Other { what, cost } => {
            pairs
                .entry(other_subject(what, Unit::Each))
                .or_default()
                .quoted
                .add(Decimal::ONE, *cost);
        }
        Line::Overhead { cost } => pairs
            .entry(overhead_subject())
            .or_default()
            .quoted
            .add(Decimal::ONE, *cost),
    }
}

fn subject_of(
    what: &What,
    room: Option<RoomId>,
    lines: &[Line],
    operation_names: &impl Fn(crate::trade::OperationId) -> String,
) -> Subject {
    match what {
        What::Hours { task, .. } => {
            labour_subject(room, task.as_ref().map(|task| task.name.clone()))
        }
        What::Item {
            item,
            name,
            unit,
            operation,
        } => {
            let planned = || {
                lines.iter().find_map(|line| match line {
                    Line::Work(work)
                        if work.item.as_ref().is_some_and(|needed| needed.id == *item) =>
                    {
                        Some(work.name.clone())
                    }
                    _ => None,
                })
            };
            let operation = operation.map(operation_names).or_else(planned);
            Subject {
                kind: LineKind::Item,
                room,
                operation,
                item: Some(name.clone()),
                unit: *unit,
            }
        }
        What::LeftOver { name, unit, .. } => opened_subject(name, *unit),
        What::Rental { name, .. } => rental_subject(name),
        What::Other { label, unit } => other_subject(label, *unit),
    }
}

fn labour_subject(room: Option<RoomId>, task: Option<String>) -> Subject {
    Subject {
        kind: LineKind::Labour,
        room,
        operation: task,
        item: None,
        unit: Unit::Hour,
    }
}

fn rental_subject(machine: &str) -> Subject {
    Subject {
        kind: LineKind::Rental,
        room: None,
        operation: None,
        item: Some(machine.to_owned()),
        unit: Unit::Day,
    }
}

/// What is left in opened packs is no operation's.
fn opened_subject(item: &str, unit: Unit) -> Subject {
    Subject {
        kind: LineKind::Item,
        room: None,
        operation: Some(OPENED.to_owned()),
        item: Some(item.to_owned()),
        unit,
    }
}

fn other_subject(what: &str, unit: Unit) -> Subject {
    Subject {
        kind: LineKind::Other,
        room: None,
        operation: None,
        item: Some(what.to_owned()),
        unit,
    }
}

fn overhead_subject() -> Subject {
    other_subject(CostKind::Overhead.as_str(), Unit::Each)
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;

    fn usd() -> Currency {
        Currency::from_code("USD").unwrap()
    }

    fn side(quantity: Decimal, price: Decimal) -> Side {
        Side {
            quantity,
            cost: usd().amount(quantity * price),
        }
    }

    #[test]
    fn the_split_matches_published_worked_answers() {
        // Public worked answers to textbook exercises on material and labour variances, recomputed; positive costs more.
        // (case, quoted quantity, quoted price, actual quantity, actual price, price part, quantity part) in dollars.
        let cases = [
            (
                "A material",
                dec!(1680000),
                dec!(1.40),
                dec!(1780000),
                dec!(1.30),
                -178_000,
                140_000,
            ),
            (
                "A labour",
                dec!(5040),
                dec!(12),
                dec!(4900),
                dec!(13),
                4_900,
                -1_680,
            ),
            (
                "B material",
                dec!(185000),
                dec!(6),
                dec!(183200),
                dec!(5.80),
                -36_640,
                -10_800,
            ),
            (
                "B labour",
                dec!(18500),
                dec!(16.50),
                dec!(18930),
                dec!(16.90),
                7_572,
                7_095,
            ),
            (
                "C material",
                dec!(26250),
                dec!(3.10),
                dec!(27300),
                dec!(3.05),
                -1_365,
                3_255,
            ),
            (
                "C labour",
                dec!(3000),
                dec!(5.30),
                dec!(3260),
                dec!(5.95),
                2_119,
                1_378,
            ),
            (
                "E material",
                dec!(11130),
                dec!(6),
                dec!(10860),
                dec!(6),
                0,
                -1_620,
            ),
        ];
        for (case, quoted_quantity, standard, actual_quantity, paid, price, quantity) in cases {
            let quoted = side(quoted_quantity, standard);
            let actual = side(actual_quantity, paid);
            let split = split(quoted, Some(standard), actual, usd());
            let dollars = |amount: i64| Money::from_minor(amount * 100);
            assert_eq!(
                split,
                Split {
                    price: dollars(price),
                    quantity: dollars(quantity)
                },
                "{case}"
            );
            assert_eq!(split.total(), actual.cost - quoted.cost, "{case}");
        }
    }

    #[test]
    fn one_empty_side_has_no_price_part() {
        let some = side(dec!(3), dec!(10));
        let nothing = Side::default();
        assert_eq!(
            split(some, Some(dec!(10)), nothing, usd()),
            Split {
                price: Money::ZERO,
                quantity: -some.cost
            }
        );
        assert_eq!(
            split(nothing, None, some, usd()),
            Split {
                price: Money::ZERO,
                quantity: some.cost
            }
        );
    }

    proptest::proptest! {
        #[test]
        fn parts_add_up_to_the_difference(quoted in 0_i64..10_000_000, actual in 0_i64..10_000_000, quantity in 0_i64..100_000_000, standard in 0_i64..100_000_000) {
            let quoted = Side { quantity: dec!(1), cost: Money::from_minor(quoted) };
            let actual = Side { quantity: Decimal::new(quantity, 6), cost: Money::from_minor(actual) };
            let split = split(quoted, Some(Decimal::new(standard, 6)), actual, usd());
            proptest::prop_assert_eq!(split.total(), actual.cost - quoted.cost);
        }
    }
}
