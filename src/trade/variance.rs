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
//!
//! **Not recorded is not zero.** A quoted line about which nobody wrote anything down is [`Actual::NotRecorded`] and has
//! no parts at all: it may have been done and not logged, or not done yet. A true zero is typed, and is recorded. The
//! whole difference of a job is what the recorded lines say, less what the others were quoted at.
//!
//! A quote and its variations have prices of their own. Where one of them alone plans a line, SP is its price. Where
//! several plan the same line, nobody logs for which of them an hour was, so SP is what was quoted for all of it, a unit:
//!
//! ```text
//! 10 h at 20 in the quote, 10 h at 24 in the variation:  SP = (10 × 20 + 10 × 24) ÷ (10 + 10) = 22
//! worked 10 h at 20 and 12 h at 24:  actual 488;  price 488 − 22 × 22 = 4;  quantity 22 × 22 − 440 = 44
//! ```
//!
//! Hours are compared by task in each room, since that is how most are logged. Where every hour of a task in a room names
//! its operation, they are compared by operation, so that an operation without hours isn't taken for one done in none.
//! Overhead follows labour: the part that was quoted on hours that nobody logged isn't recorded either. A lump of money
//! is quoted for the job and compared in the rooms where it was spent, by what was spent in each. Rentals have parts of
//! their own ([`rental`]), since the yard has no unit price.

pub mod causes;
pub mod flexible;
pub mod rental;
mod sheet;

use std::cmp::Ordering;
use std::collections::BTreeSet;

pub use sheet::compare;

use crate::money::{Currency, Decimal, Money, product, quantity};
use crate::trade::job_cost::Missing;
use crate::trade::{OperationId, RoomId, Unit, closed_set};

/// One side of a comparison: how much, and what it cost.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Side {
    /// Units.
    pub quantity: Decimal,
    /// Cost.
    pub cost: Money,
}

impl Side {
    /// Adds as much again.
    pub fn add(&mut self, more: Side) {
        self.quantity += more.quantity;
        self.cost += more.cost;
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
    /// The operation of an item, the task of hours (or their operation, where each names it); `None`: not said, or
    /// neither.
    pub operation: Option<String>,
    /// The item, the machine, or what money was spent for; `None`: hours.
    pub item: Option<String>,
    /// Which part of a rental's difference; `None`: it is no rental, or none was charged.
    pub part: Option<rental::RentalPart>,
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
    /// As it was, if anybody wrote it down.
    pub actual: Actual,
}

/// What the record says of a line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Actual {
    /// Something was logged; a true zero is something.
    Recorded(Compared),
    /// Nothing was logged: there is nothing to compare, and nothing was saved.
    NotRecorded {
        /// The quoted operations that it is about; none: a rental, an opened pack, a lump of money.
        operations: BTreeSet<OperationId>,
        /// The part of the quoted cost that only might turn up.
        might: Money,
    },
}

/// How it was, and how far that left the quote.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Compared {
    /// As it was.
    pub side: Side,
    /// Actual unit price, major units; `None`: nothing actual.
    pub unit_price: Option<Decimal>,
    /// The difference.
    pub split: Split,
}

impl VarianceLine {
    fn recorded(
        subject: Subject,
        quoted: Side,
        standard: Option<Decimal>,
        side: Side,
        currency: Currency,
    ) -> VarianceLine {
        VarianceLine {
            subject,
            quoted,
            quoted_unit_price: standard,
            actual: Actual::Recorded(Compared {
                side,
                unit_price: side.unit_price(currency),
                split: split(quoted, standard, side, currency),
            }),
        }
    }

    /// Returns how it was; `None`: that isn't recorded.
    pub const fn compared(&self) -> Option<&Compared> {
        match &self.actual {
            Actual::Recorded(compared) => Some(compared),
            Actual::NotRecorded { .. } => None,
        }
    }

    /// Returns the word for how it came out. What costs nothing, such as hours on the owner's own floors, is compared by
    /// how much of it there was.
    pub fn verdict(&self) -> &'static str {
        let Some(compared) = self.compared() else {
            return "not recorded";
        };
        let is_free = self.quoted.cost.is_zero() && compared.side.cost.is_zero();
        let more = quantity(compared.side.quantity).cmp(&quantity(self.quoted.quantity));
        match (is_free, more) {
            (true, Ordering::Greater) => "more than quoted",
            (true, Ordering::Less) => "less than quoted",
            _ => favour(compared.split.total()),
        }
    }
}

/// A job's lines, quoted beside actual.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Variance {
    /// The lines, by kind and room.
    pub lines: Vec<VarianceLine>,
}

impl Variance {
    /// Returns the difference of all that is recorded.
    pub fn recorded(&self) -> Split {
        let compared = self.lines.iter().filter_map(VarianceLine::compared);
        compared.fold(Split::default(), |sum, compared| Split {
            price: sum.price + compared.split.price,
            quantity: sum.quantity + compared.split.quantity,
        })
    }

    /// Returns what isn't recorded.
    pub fn missing(&self) -> Missing {
        missing(self.lines.iter())
    }

    /// Returns what isn't recorded of one room.
    pub fn missing_in(&self, room: RoomId) -> Missing {
        missing(
            self.lines
                .iter()
                .filter(|line| line.subject.room == Some(room)),
        )
    }

    /// Returns the hours that cost nothing, quoted and as they were, of the lines that are recorded; `None`: there are none.
    pub fn free_hours(&self) -> Option<(Decimal, Decimal)> {
        let mut hours: Option<(Decimal, Decimal)> = None;
        for line in self.lines.iter() {
            let Some(compared) = line.compared() else {
                continue;
            };
            let is_free = line.quoted.cost.is_zero() && compared.side.cost.is_zero();
            if line.subject.kind == LineKind::Labour && is_free {
                let (quoted, actual) = hours.get_or_insert_default();
                *quoted += line.quoted.quantity;
                *actual += compared.side.quantity;
            }
        }
        hours
    }

    /// Returns the actual cost less the whole quoted one: what is recorded, less what the rest was quoted at.
    pub fn difference(&self) -> Money {
        self.recorded().total() - self.missing().quoted
    }
}

fn missing<'a>(lines: impl Iterator<Item = &'a VarianceLine>) -> Missing {
    let mut missing = Missing::default();
    let mut without: BTreeSet<OperationId> = BTreeSet::new();
    for line in lines {
        let Actual::NotRecorded { operations, might } = &line.actual else {
            continue;
        };
        missing.others += usize::from(operations.is_empty());
        missing.quoted += line.quoted.cost;
        missing.might += *might;
        without.extend(operations);
    }
    missing.operations = without.len();
    missing
}

#[cfg(test)]
mod tests;
