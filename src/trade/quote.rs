//! The quote: quantities become costs, costs become a price.
//!
//! A [`Quote`] is one value from which the owner's view, the client's view and the file are all drawn, so that they
//! can't disagree. Every line's cost is rounded once; totals are sums of lines. The price keeps the margin:
//! price = cost ÷ (1 − margin), the usual conversion (a markup of 53.8462 % is a margin of 35 %).
//!
//! The client sees a price for each room. Costs of the whole job (set-up, rental, overhead) are spread over the rooms by
//! their direct cost, and the cents left by rounding go to the largest, so the rooms add up to the price.

use std::collections::BTreeMap;

use thiserror::Error;

use crate::money::{Currency, Decimal, Money, round};
use crate::trade::cautions::Caution;
use crate::trade::operation::{Driver, Item, Task};
use crate::trade::rates::FloorClass;
use crate::trade::rental::{Tariff, cheapest_cover, days_for_hours};
use crate::trade::takeoff::{MeasuredRoom, Work};
use crate::trade::{CostKind, ItemId, MachineId, OperationId, RoomId, Unit};

/// A priced offer, complete in itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Quote {
    /// The sanding sequence's name, if floors are sanded.
    pub sequence: Option<String>,
    /// The coating schedule's name, if they are coated.
    pub schedule: Option<String>,
    /// The rooms as they were measured, each with its share of the price.
    pub rooms: Vec<QuotedRoom>,
    /// What is done, rented and spent.
    pub lines: Vec<Line>,
    /// Cautions that apply.
    pub cautions: Vec<Caution>,
    /// What it was priced with.
    pub terms: Terms,
    /// The price before tax.
    pub price: Money,
    /// Tax on the price.
    pub tax: Money,
}

/// What a quote is priced with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Terms {
    /// The share of the price that is kept, 0.35 for 35 %; below 1.
    pub margin: Decimal,
    /// Wage per hour, in major units.
    pub wage: Decimal,
    /// What an hour costs over its wage, as a factor.
    pub burden: Decimal,
    /// Overhead as a share of labour, 0.1 for 10 %.
    pub overhead: Decimal,
    /// Tax on the price, percent.
    pub tax_percent: Decimal,
}

/// A room in a quote.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct QuotedRoom {
    /// Identity in the ledger.
    pub id: RoomId,
    /// Its name.
    pub name: String,
    /// Floor area, sq ft.
    pub area: Decimal,
    /// Edge length, ft.
    pub edge: Decimal,
    /// Steps, if it is a stair.
    pub steps: Option<u32>,
    /// What the first cut meets, and the wood.
    pub class: FloorClass,
    /// Its share of the price.
    pub price: Money,
}

/// One line of a quote.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Line {
    /// An operation, in a room or once for the job.
    Work(WorkLine),
    /// A rented machine.
    Rental {
        /// The machine.
        machine: MachineId,
        /// Its name.
        name: String,
        /// Rental days.
        days: u32,
        /// What the yard will ask.
        cost: Money,
    },
    /// A lump of money.
    Other {
        /// What it is for.
        what: String,
        /// How much.
        cost: Money,
    },
    /// The share of labour that runs the firm.
    Overhead {
        /// How much.
        cost: Money,
    },
}

/// One operation with its quantities and costs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WorkLine {
    /// The room; `None`: once for the job.
    pub room: Option<RoomId>,
    /// The operation.
    pub operation: OperationId,
    /// Its name.
    pub name: String,
    /// The task its hours belong to.
    pub task: Task,
    /// What measures it.
    pub driver: Driver,
    /// Driver units, all passes.
    pub quantity: Decimal,
    /// How often it is done.
    pub passes: u32,
    /// The item it takes.
    pub item: Option<ItemLine>,
    /// Expected hours.
    pub hours: Decimal,
    /// What the hours cost.
    pub labour: Money,
}

/// The item of a work line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ItemLine {
    /// The item.
    pub id: ItemId,
    /// Its name.
    pub name: String,
    /// Its unit.
    pub unit: Unit,
    /// Expected, in item units.
    pub expected: Decimal,
    /// To be loaded, in whole sets.
    pub load: Decimal,
    /// Price per unit, major units.
    pub unit_price: Decimal,
    /// What the expected quantity costs.
    pub cost: Money,
}

impl Line {
    /// Returns the line's cost.
    pub fn cost(&self) -> Money {
        match self {
            Line::Work(work) => work.labour + work.item_cost(),
            Line::Rental { cost, .. } | Line::Other { cost, .. } | Line::Overhead { cost } => *cost,
        }
    }

    /// Returns the room that the line belongs to; `None`: the job.
    pub fn room(&self) -> Option<RoomId> {
        match self {
            Line::Work(work) => work.room,
            Line::Rental { .. } | Line::Other { .. } | Line::Overhead { .. } => None,
        }
    }
}

impl WorkLine {
    /// Returns what its item costs.
    pub fn item_cost(&self) -> Money {
        self.item.as_ref().map_or(Money::ZERO, |item| item.cost)
    }
}

/// A cost by what it is for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Costs {
    /// Hours worked.
    pub labour: Money,
    /// Items used.
    pub consumables: Money,
    /// Rented machines.
    pub rental: Money,
    /// Money spent otherwise.
    pub other: Money,
    /// The share of labour that runs the firm.
    pub overhead: Money,
}

impl Costs {
    /// Returns all of it.
    pub fn total(self) -> Money {
        let Costs {
            labour,
            consumables,
            rental,
            other,
            overhead,
        } = self;
        labour + consumables + rental + other + overhead
    }

    /// Adds a cost of one kind.
    pub fn add(&mut self, kind: CostKind, amount: Money) {
        *match kind {
            CostKind::Labour => &mut self.labour,
            CostKind::Consumables => &mut self.consumables,
            CostKind::Rental => &mut self.rental,
            CostKind::Other => &mut self.other,
            CostKind::Overhead => &mut self.overhead,
        } += amount;
    }
}

impl Quote {
    /// Returns the cost by kind.
    pub fn costs(&self) -> Costs {
        let mut costs = Costs::default();
        for line in &self.lines {
            match line {
                Line::Work(work) => {
                    costs.add(CostKind::Labour, work.labour);
                    costs.add(CostKind::Consumables, work.item_cost());
                }
                Line::Rental { cost, .. } => costs.add(CostKind::Rental, *cost),
                Line::Other { cost, .. } => costs.add(CostKind::Other, *cost),
                Line::Overhead { cost } => costs.add(CostKind::Overhead, *cost),
            }
        }
        costs
    }

    /// Returns price and tax together.
    pub fn total(&self) -> Money {
        self.price + self.tax
    }

    /// Returns the work lines.
    pub fn work(&self) -> impl Iterator<Item = &WorkLine> {
        self.lines.iter().filter_map(|line| match line {
            Line::Work(work) => Some(work),
            Line::Rental { .. } | Line::Other { .. } | Line::Overhead { .. } => None,
        })
    }

    /// Returns the floor that a work line was taken off for: its room's; work for the whole job has the first room's.
    pub fn class_of(&self, work: &WorkLine) -> Option<FloorClass> {
        let room = match work.room {
            Some(id) => self.rooms.iter().find(|room| room.id == id),
            None => self.rooms.first(),
        };
        room.map(|room| room.class)
    }

    /// Returns the expected hours.
    pub fn hours(&self) -> Decimal {
        self.work().map(|work| work.hours).sum()
    }

    /// Returns the margin of the price, percent; `None`: the price is nothing.
    pub fn margin_percent(&self) -> Option<Decimal> {
        margin_percent(self.price, self.costs().total())
    }
}

/// Returns what is left of a price after its cost, percent of the price; `None`: the price is nothing.
pub fn margin_percent(price: Money, cost: Money) -> Option<Decimal> {
    let kept = Decimal::from((price - cost).minor()) * Decimal::ONE_HUNDRED;
    (!price.is_zero()).then(|| round(kept / Decimal::from(price.minor()), 2))
}

/// Returns the lowest price that keeps the margin on a cost.
pub fn price_for(cost: Money, margin: Decimal) -> Money {
    cost.share(Decimal::ONE, Decimal::ONE - margin)
}

/// What a quote is made from.
#[derive(Clone, Debug)]
pub struct Offer {
    /// Names of the methods.
    pub sequence: Option<String>,
    /// Names of the methods.
    pub schedule: Option<String>,
    /// The rooms.
    pub rooms: Vec<MeasuredRoom>,
    /// The take-off.
    pub work: Vec<Work>,
    /// Lump sums of money: what for, and how much.
    pub others: Vec<(String, Money)>,
    /// The machines of the book: name and tariff.
    pub machines: BTreeMap<MachineId, (String, Tariff)>,
    /// Machine hours in a working day.
    pub day_hours: Decimal,
    /// Cautions that apply.
    pub cautions: Vec<Caution>,
    /// What to price with.
    pub terms: Terms,
}

/// Why an offer can't be priced.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum PriceError {
    /// Nothing to do.
    #[error("a quote needs at least one room")]
    NoRooms,
    /// A margin that no price can keep.
    #[error("a margin of {0} % cannot be kept: it must be below 100 %")]
    MarginTooLarge(Decimal),
}

/// Prices an offer.
///
/// # Errors
/// Refuses an offer without rooms and a margin of 100 % or more.
pub fn price(offer: Offer, currency: Currency) -> Result<Quote, PriceError> {
    let terms = offer.terms;
    if offer.rooms.is_empty() {
        return Err(PriceError::NoRooms);
    }
    if terms.margin >= Decimal::ONE {
        return Err(PriceError::MarginTooLarge(
            (terms.margin * Decimal::ONE_HUNDRED).normalize(),
        ));
    }
    let mut lines: Vec<Line> = Vec::new();
    let rentals = rental_lines(&offer);
    for work in &offer.work {
        lines.push(Line::Work(work_line(work, &terms, currency)));
    }
    lines.extend(rentals);
    lines.extend(
        offer
            .others
            .into_iter()
            .map(|(what, cost)| Line::Other { what, cost }),
    );
    let labour: Money = lines
        .iter()
        .map(|line| {
            if let Line::Work(work) = line {
                work.labour
            } else {
                Money::ZERO
            }
        })
        .sum();
    let overhead = labour.times(terms.overhead);
    if !overhead.is_zero() {
        lines.push(Line::Overhead { cost: overhead });
    }

    let cost: Money = lines.iter().map(Line::cost).sum();
    let price = price_for(cost, terms.margin);
    let shares = price.spread(&direct_costs(&offer.rooms, &lines));
    let rooms = offer
        .rooms
        .into_iter()
        .zip(shares)
        .map(|(room, price)| quoted(room, price))
        .collect();
    Ok(Quote {
        sequence: offer.sequence,
        schedule: offer.schedule,
        rooms,
        lines,
        cautions: offer.cautions,
        terms,
        price,
        tax: price.share(terms.tax_percent, Decimal::ONE_HUNDRED),
    })
}

fn work_line(work: &Work, terms: &Terms, currency: Currency) -> WorkLine {
    let item = work
        .item
        .zip(work.operation.item.as_ref())
        .map(|(need, item)| {
            let Item {
                id,
                name,
                unit,
                price,
            } = item;
            ItemLine {
                id: *id,
                name: name.clone(),
                unit: *unit,
                expected: need.expected,
                load: need.load,
                unit_price: *price,
                cost: currency.amount(need.expected * price),
            }
        });
    WorkLine {
        room: work.room,
        operation: work.operation.id,
        name: work.operation.name.clone(),
        task: work.operation.task.clone(),
        driver: work.operation.driver,
        quantity: work.driver,
        passes: work.passes,
        item,
        hours: work.hours,
        labour: currency.amount(work.hours * terms.wage * terms.burden),
    }
}

/// Returns a line for each machine that the work runs on, for the days that its hours take.
fn rental_lines(offer: &Offer) -> Vec<Line> {
    let mut hours: BTreeMap<MachineId, Decimal> = BTreeMap::new();
    for work in &offer.work {
        if let Some(machine) = work.operation.machine {
            *hours.entry(machine).or_default() += work.hours;
        }
    }
    let mut lines = Vec::new();
    for (machine, hours) in hours {
        let days = days_for_hours(hours, offer.day_hours);
        let Some((name, tariff)) = offer.machines.get(&machine) else {
            continue;
        };
        if days > 0 {
            lines.push(Line::Rental {
                machine,
                name: name.clone(),
                days,
                cost: cheapest_cover(tariff, days).total(),
            });
        }
    }
    lines
}

fn quoted(room: MeasuredRoom, price: Money) -> QuotedRoom {
    let MeasuredRoom {
        id,
        name,
        area,
        edge,
        steps,
        class,
        findings: _,
    } = room;
    QuotedRoom {
        id,
        name,
        area,
        edge,
        steps,
        class,
        price,
    }
}

fn direct_costs(rooms: &[MeasuredRoom], lines: &[Line]) -> Vec<Decimal> {
    rooms
        .iter()
        .map(|room| {
            let lines = lines.iter().filter(|line| line.room() == Some(room.id));
            lines.map(|line| Decimal::from(line.cost().minor())).sum()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;

    #[test]
    fn markup_and_margin_convert_both_ways() {
        // margin = markup ÷ (1 + markup): the usual pairs of cost-accounting texts, computed to four decimals.
        for (markup, margin) in [
            (dec!(10), dec!(9.0909)),
            (dec!(15), dec!(13.0435)),
            (dec!(20), dec!(16.6667)),
            (dec!(25), dec!(20)),
            (dec!(50), dec!(33.3333)),
            (dec!(100), dec!(50)),
        ] {
            let cost = Money::from_minor(100_000_000);
            let price = cost + cost.share(markup, dec!(100));
            let kept =
                Decimal::from((price - cost).minor()) * dec!(100) / Decimal::from(price.minor());
            assert_eq!(round(kept, 4), margin, "markup {markup}");
        }
        for (margin, markup) in [
            (dec!(0.15), dec!(17.6471)),
            (dec!(0.20), dec!(25)),
            (dec!(0.25), dec!(33.3333)),
            (dec!(0.30), dec!(42.8571)),
            (dec!(0.35), dec!(53.8462)),
            (dec!(0.40), dec!(66.6667)),
            (dec!(0.50), dec!(100)),
        ] {
            let cost = Money::from_minor(100_000_000);
            let added = price_for(cost, margin) - cost;
            assert_eq!(
                round(
                    Decimal::from(added.minor()) * dec!(100) / Decimal::from(cost.minor()),
                    4
                ),
                markup,
                "margin {margin}"
            );
        }
        // A public worked answer: cost 100, price 125: margin 20 %.
        assert_eq!(
            margin_percent(Money::from_minor(12_500), Money::from_minor(10_000)),
            Some(dec!(20))
        );
        assert_eq!(margin_percent(Money::ZERO, Money::from_minor(1)), None);
    }
}
