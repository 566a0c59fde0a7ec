//! What makes quotes and reality differ, over many jobs.
//!
//! Every line of a variance that is recorded goes to its causes: the quantity part to what was done more or less of (an item
//! in an operation, the hours of a task, by floor condition where rates differ by it), the price part to what one of it cost
//! (an item, an hour); a rental's parts are its machine's, and all else is its own cause. So causes come to what is recorded,
//! to the cent.
//!
//! The next quote counts on a quantity once the rates in force have gone at least half the way from what was quoted to what
//! was taken, for the same rooms:
//!
//! ```text
//! quoted 100 discs, taken 120:  rates that ask for 110 or more today count on it, those that ask for 109 don't yet
//! ```
//!
//! In the same way it counts on a price, a wage or a tariff once today's book asks for at least half of what it was more or
//! less, for what was taken. How long machines are out follows from the hours, and what a bill says otherwise from nothing.

use std::collections::{BTreeMap, BTreeSet};

use super::rental::RentalPart;
use super::{Compared, LineKind, Side, Split, Subject, Variance, VarianceLine};
use crate::money::{Decimal, Money};
use crate::trade::{FloorCondition, Species, Unit};

/// What differs.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Source {
    /// How much of an item an operation takes.
    Item {
        /// The item.
        item: String,
        /// The operation; `None`: not said.
        operation: Option<String>,
        /// The floor, where rates differ by it.
        condition: Option<FloorCondition>,
        /// Its unit.
        unit: Unit,
    },
    /// How many hours a task takes.
    Hours {
        /// The task, or the operation where hours name it; `None`: not said.
        task: Option<String>,
        /// The floor, where rates differ by it.
        condition: Option<FloorCondition>,
    },
    /// What one of an item costs.
    Price {
        /// The item.
        item: String,
    },
    /// What an hour costs.
    Wage,
    /// A part of what a machine costs.
    Rental {
        /// The machine.
        machine: String,
        /// Which part.
        part: RentalPart,
    },
    /// What money was for, or what is driven.
    Other {
        /// What.
        what: String,
        /// Its unit.
        unit: Unit,
    },
}

impl Source {
    /// Tells whether it is what one of something costs, which the book says.
    const fn is_price(&self) -> bool {
        matches!(
            self,
            Source::Price { .. } | Source::Wage | Source::Rental { .. }
        )
    }
}

/// What is known of a line beside its figures.
#[derive(Clone, Debug, Default)]
pub struct Known {
    /// The floor, where rates differ by it.
    pub condition: Option<FloorCondition>,
    /// What the rates in force ask for the same work; `None`: no rate counts it.
    pub now: Option<Decimal>,
    /// The rate that says more.
    pub rate: Option<RateAsked>,
    /// What the line would cost at the prices of today's book, for what was taken; `None`: the book has no price for it.
    pub at_book: Option<Money>,
}

/// A rate, as it is asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RateAsked {
    /// The operation.
    pub operation: String,
    /// The floor, where its rate differs by it.
    pub condition: Option<FloorCondition>,
    /// The wood, where its rate differs by it.
    pub species: Option<Species>,
}

/// One cause.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cause {
    /// What differs.
    pub source: Source,
    /// The jobs that have it.
    pub jobs: usize,
    /// As quoted.
    pub quoted: Side,
    /// As it was.
    pub actual: Side,
    /// What the rates in force ask for the same; `None`: no rate counts it.
    pub now: Option<Decimal>,
    /// The rate that says more.
    pub rate: Option<RateAsked>,
    /// What today's book asks for what was taken; `None`: it is no cause of price.
    pub at_book: Option<Money>,
}

impl Cause {
    fn new(source: Source) -> Cause {
        Cause {
            source,
            jobs: 0,
            quoted: Side::default(),
            actual: Side::default(),
            now: None,
            rate: None,
            at_book: None,
        }
    }

    /// Returns how much more it cost than quoted.
    pub fn difference(&self) -> Money {
        self.actual.cost - self.quoted.cost
    }

    /// Tells whether the next quote counts on it; `None`: neither a rate nor the book says anything of it.
    pub fn is_counted_on(&self) -> Option<bool> {
        let minor = |money: Money| Decimal::from(money.minor());
        let (quoted, actual, now) = match self.at_book {
            Some(now) => (minor(self.quoted.cost), minor(self.actual.cost), minor(now)),
            None => (self.quoted.quantity, self.actual.quantity, self.now?),
        };
        let half_way = (quoted + actual) / Decimal::TWO;
        Some(match actual > quoted {
            true => now >= half_way,
            false => now <= half_way,
        })
    }
}

/// The causes of jobs, added up.
#[derive(Clone, Debug, Default)]
pub struct Causes {
    causes: BTreeMap<Source, Cause>,
    /// Jobs that were added.
    pub jobs: usize,
    /// Their differences, as far as they are recorded.
    pub recorded: Split,
}

impl Causes {
    /// Adds a job; `known` tells of its lines.
    pub fn add(&mut self, variance: &Variance, known: impl Fn(&Subject, &Compared) -> Known) {
        let recorded = variance.recorded();
        self.jobs += 1;
        self.recorded.price += recorded.price;
        self.recorded.quantity += recorded.quantity;
        let mut seen = BTreeSet::new();
        for line in &variance.lines {
            let Some(compared) = line.compared() else {
                continue;
            };
            let known = known(&line.subject, compared);
            for (source, quoted, actual) in parts(line, compared, known.condition) {
                let is_priced = source.is_price();
                let is_new = seen.insert(source.clone());
                let cause = self.causes.entry(source);
                let cause = cause.or_insert_with_key(|source| Cause::new(source.clone()));
                cause.jobs += usize::from(is_new);
                cause.quoted.add(quoted);
                cause.actual.add(actual);
                if let Some(at_book) = known.at_book.filter(|_| is_priced) {
                    *cause.at_book.get_or_insert_default() += at_book;
                }
                if let Some(now) = known.now.filter(|_| !is_priced) {
                    *cause.now.get_or_insert_default() += now;
                    cause.rate = cause.rate.take().or(known.rate.clone());
                }
            }
        }
    }

    /// Returns those that made a difference, the largest first.
    pub fn largest(self) -> Vec<Cause> {
        let mut causes: Vec<Cause> = self.causes.into_values().collect();
        causes.retain(|cause| !cause.difference().is_zero());
        causes.sort_by_key(|cause| std::cmp::Reverse(cause.difference().abs()));
        causes
    }
}

/// Returns what a line adds to which causes, each as quoted and as it was. What was taken at the prices quoted stands between
/// its quantity part and its price part.
fn parts(
    line: &VarianceLine,
    compared: &Compared,
    condition: Option<FloorCondition>,
) -> Vec<(Source, Side, Side)> {
    let Subject {
        kind,
        room: _,
        operation,
        item,
        part,
        unit,
    } = line.subject.clone();
    let item = item.unwrap_or_default();
    let whole = |source| vec![(source, line.quoted, compared.side)];
    let (quantity, price) = match (kind, part) {
        (LineKind::Rental, Some(part)) => {
            return whole(Source::Rental {
                machine: item,
                part,
            });
        }
        (LineKind::Rental | LineKind::Other, _) => {
            return whole(Source::Other { what: item, unit });
        }
        (LineKind::Labour, _) => (
            Source::Hours {
                task: operation,
                condition,
            },
            Source::Wage,
        ),
        (LineKind::Item, _) => (
            Source::Item {
                item: item.clone(),
                operation,
                condition,
                unit,
            },
            Source::Price { item },
        ),
    };
    let between = Side {
        cost: line.quoted.cost + compared.split.quantity,
        ..compared.side
    };
    vec![
        (quantity, line.quoted, between),
        (price, between, compared.side),
    ]
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;
    use crate::money::Currency;
    use crate::trade::RoomId;

    fn line(
        kind: LineKind,
        item: Option<&str>,
        quoted: (Decimal, i64),
        side: (Decimal, i64),
    ) -> VarianceLine {
        let usd = Currency::from_code("USD").unwrap();
        let side_of = |(quantity, cents): (Decimal, i64)| Side {
            quantity,
            cost: Money::from_minor(cents),
        };
        let quoted = side_of(quoted);
        let subject = Subject {
            kind,
            room: Some(RoomId(1)),
            operation: Some("rotary-36".to_owned()),
            item: item.map(str::to_owned),
            part: None,
            unit: Unit::Disc,
        };
        VarianceLine::recorded(subject, quoted, quoted.unit_price(usd), side_of(side), usd)
    }

    /// 100 discs quoted at 2.00, 120 taken at 1.90: 20 × 2.00 = 40.00 more by quantity, 120 × 0.10 = 12.00 less by price.
    /// 10 h quoted at 30.00, 8 h at 31.00: 60.00 less, and 8.00 more. Together 24.00 less.
    #[test]
    fn causes_come_to_what_is_recorded() {
        let lines = vec![
            line(
                LineKind::Item,
                Some("disc"),
                (dec!(100), 20_000),
                (dec!(120), 22_800),
            ),
            line(
                LineKind::Labour,
                None,
                (dec!(10), 30_000),
                (dec!(8), 24_800),
            ),
            line(
                LineKind::Other,
                Some("disposal"),
                (dec!(1), 4_500),
                (dec!(1), 4_500),
            ),
        ];
        let variance = Variance { lines };
        for (now, counted) in [(dec!(110), true), (dec!(109.99), false)] {
            let mut causes = Causes::default();
            causes.add(&variance, |subject, _| Known {
                condition: Some(FloorCondition::WornFilm),
                now: (subject.kind == LineKind::Item).then_some(now),
                rate: None,
                // Half of the 12.00 that the discs were less; nothing of the 8.00 that hours were more.
                at_book: match subject.kind {
                    LineKind::Item => Some(Money::from_minor(23_400)),
                    LineKind::Labour => Some(Money::from_minor(24_000)),
                    _ => None,
                },
            });
            assert_eq!(causes.recorded, variance.recorded());
            let largest = causes.largest();
            let minor = largest.iter().map(|cause| cause.difference().minor());
            assert_eq!(minor.collect::<Vec<_>>(), [-6_000, 4_000, -1_200, 800]);
            let counts: Vec<_> = largest.iter().map(Cause::is_counted_on).collect();
            assert_eq!(counts, [None, Some(counted), Some(true), Some(false)]);
        }
    }
}
