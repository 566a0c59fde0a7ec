//! What agreed work is expected to take and cost if it is done today: the rooms as they measure now, the rates as they are
//! learned, today's prices and wages; and how far the cost may be off.
//!
//! It is what a quote drafted today would say of the same work. What was found in a room counts as it is found now; what
//! may turn up, rentals, driving and lumps of money as they were quoted. Work that the book knows nothing of any more takes
//! what it was quoted at.

use std::collections::BTreeMap;

use super::ahead::Ahead;
use crate::money::{Currency, Decimal, Money, product, quantity, round};
use crate::trade::operation::Operation;
use crate::trade::quote::{ItemLine, WorkLine};
use crate::trade::rates::forecast::Sum;
use crate::trade::rates::{Asked, FloorClass, RateKind, Rates};
use crate::trade::takeoff::{MeasuredRoom, PRINTED_DECIMALS, need};
use crate::trade::{FloorCondition, RoomId, TaskId};

/// What work costs today.
#[derive(Clone, Copy, Debug)]
pub struct Today<'a> {
    /// What was learned.
    pub rates: &'a Rates,
    /// What an hour costs, wage and burden, in major units.
    pub hour: Decimal,
    /// What the firm pays on items above their price: 1.08 for 8 % of tax.
    pub items_times: Decimal,
    /// The ledger's.
    pub currency: Currency,
}

/// How much less and more than expected something may cost.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct OffBy {
    /// Less.
    pub less: Money,
    /// More.
    pub more: Money,
}

impl Today<'_> {
    /// Returns quoted work as it is expected today, with the floor that it is done on; `room` is its room as it measures now,
    /// if that is known, and `class` the floor that it was quoted on.
    pub fn work(
        &self,
        work: &WorkLine,
        room: Option<&MeasuredRoom>,
        class: FloorClass,
    ) -> (WorkLine, FloorClass) {
        let Some(operation) = self.rates.operations().get(&work.operation) else {
            return (work.clone(), class);
        };
        let class = room.map_or(class, |room| room.class.in_part(work.part));
        let now = WorkLine {
            quantity: room
                .and_then(|room| driver_now(work, operation, room))
                .unwrap_or(work.quantity),
            ..work.clone()
        };
        let expect = |kind| self.expected(&now, operation, kind, class);
        let hours = expect(RateKind::Hours).unwrap_or(work.hours);
        let item = now.item.as_ref().map(|item| {
            let expected = expect(RateKind::Item).unwrap_or(item.expected);
            self.item(item, operation, expected)
        });
        let labour = self.currency.amount(product([hours, self.hour]));
        let work = WorkLine {
            hours,
            item,
            labour,
            ..now
        };
        (work, class)
    }

    fn expected(
        &self,
        work: &WorkLine,
        operation: &Operation,
        kind: RateKind,
        class: FloorClass,
    ) -> Option<Decimal> {
        let rate = self.rates.rate(operation, kind, class)?;
        let chance = work.contingency.as_ref();
        let chance = chance.map_or(Decimal::ONE, |contingency| contingency.chance);
        let expected = chance * rate.expect(work.quantity, work.passes);
        Some(round(expected, PRINTED_DECIMALS).normalize())
    }

    fn item(&self, item: &ItemLine, operation: &Operation, expected: Decimal) -> ItemLine {
        let in_book = operation.item.as_ref().filter(|known| known.id == item.id);
        let price = in_book.map_or(item.unit_price, |known| {
            quantity(product([known.price, self.items_times]))
        });
        ItemLine {
            expected,
            load: need(expected, operation.set_size).load.normalize(),
            unit_price: price,
            cost: self.currency.amount(product([expected, price])),
            ..item.clone()
        }
    }

    /// Returns how far the cost of what is to come may be off, so that it is within that with the confidence; `overhead` is
    /// charged on labour.
    pub fn off_by(
        &self,
        ahead: &Ahead,
        work: &[(WorkLine, FloorClass)],
        overhead: Decimal,
        confidence: Decimal,
    ) -> OffBy {
        let minor = Decimal::from(10_i64.pow(self.currency.decimals()));
        let hour = product([self.hour, Decimal::ONE + overhead, minor]);
        let mut sum = Sum::default();
        type Task = (Option<RoomId>, TaskId, Option<FloorCondition>);
        let mut tasks: BTreeMap<Task, Vec<Asked>> = BTreeMap::new();
        for (line, class) in work {
            let contingency = line.contingency.as_ref();
            if let Some(item) = &line.item
                && let Some(share) = ahead.items.get(&(line.room, line.operation))
                && let Some(spread) = self.rates.forecast(&[asked(line, RateKind::Item, *class)])
            {
                sum.add_cost(
                    &spread,
                    *share,
                    product([item.unit_price, minor]),
                    contingency,
                );
            }
            let hours = asked(line, RateKind::Hours, *class);
            match contingency {
                None => {
                    let task = (line.room, line.task.id, line.part);
                    tasks.entry(task).or_default().push(hours);
                }
                Some(_) => {
                    let share = ahead.tasks.get(&(line.room, line.task.id));
                    if let (Some(share), Some(spread)) = (share, self.rates.forecast(&[hours])) {
                        sum.add_cost(&spread, *share, hour, contingency);
                    }
                }
            }
        }
        for ((room, task, _), asked) in tasks {
            let share = ahead.tasks.get(&(room, task));
            if let (Some(share), Some(spread)) = (share, self.rates.forecast(&asked)) {
                sum.add_cost(&spread, *share, hour, None);
            }
        }
        let tail = (Decimal::ONE - confidence) / Decimal::TWO;
        let at = |level| Money::from_minor(counted(sum.beyond_mean(level)));
        OffBy {
            less: (-at(tail)).max(Money::ZERO),
            more: at(Decimal::ONE - tail).max(Money::ZERO),
        }
    }
}

fn counted(minor: Decimal) -> i64 {
    round(minor, 0).try_into().unwrap_or_default()
}

fn asked(line: &WorkLine, kind: RateKind, class: FloorClass) -> Asked {
    Asked {
        job: 0,
        operation: line.operation,
        kind,
        class,
        driver: line.quantity,
        passes: line.passes,
    }
}

/// Returns how much of it there is in a room now, all passes; `None`: that isn't known.
fn driver_now(work: &WorkLine, operation: &Operation, room: &MeasuredRoom) -> Option<Decimal> {
    if work.contingency.is_some() {
        return None;
    }
    let now = match &operation.answers {
        Some(kind) => {
            let found = room.findings.iter().filter(|found| &found.kind == kind);
            let found: Decimal = found.map(|found| found.quantity).sum();
            (!found.is_zero()).then_some(found)?
        }
        None => room.driver_in(work.driver, work.part)?,
    };
    Some((now * Decimal::from(work.passes)).normalize())
}
