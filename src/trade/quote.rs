//! The quote: what a floor is expected to cost, how sure that is, and what it is offered for.
//!
//! A [`Quote`] is one value from which the owner's view, the client's view and the file are all drawn, so that they
//! can't disagree. Every line is an expected cost, rounded once; totals are sums of lines. The [`Outlook`] beside it is
//! what the simulation said of the whole: what it may cost, where the risk is, what to rent and to buy. What was agreed is
//! the quote; nothing that is owed rests on the outlook. How both come about is in [`super::pricing`].
//!
//! The price keeps the margin with the stated confidence: price = cost at the confidence ÷ (1 − margin), the usual
//! conversion (a markup of 53.8462 % is a margin of 35 %), at least the minimum charge, and rounded up to the firm's step.
//! Its owner may name another one: then that is the price, and what it keeps of the margin is said.
//!
//! Where prices are **told with tax**, the minimum charge, the step, a named price and discounts are amounts with tax, and so
//! is what the client reads. The price before tax follows from the total: the one whose tax makes it up to the cent. Some
//! totals no price makes up; the cent that is left is the quote's **rounding amount** (BT-114 of EN 16931).
//!
//! The cost at the confidence less the expected cost is the **contingency**; only the owner sees it.
//!
//! The client sees a price for each room. Costs of the whole job (set-up, rental, driving, overhead) are spread over the rooms by
//! their direct cost, and the cents left by rounding go to the largest, so the rooms add up to the price.

use crate::money::{Decimal, Money, round};
use crate::trade::cautions::Caution;
use crate::trade::operation::{Driver, Task};
use crate::trade::parts::MeasuredPart;
use crate::trade::rates::FloorClass;
use crate::trade::rental::{Plan, Tariff};
use crate::trade::takeoff::Contingency;
use crate::trade::tax::{TaxAtRate, TaxRates, TaxedCosts, TaxedPart};
use crate::trade::trips::Trips;
use crate::trade::{
    CostKind, FloorCondition, ItemId, MachineId, OperationId, RoomId, Unit, closed_set,
};

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
    /// Of a variation: the agreed lines that its own stand in the place of, or that nothing does.
    pub replaced: Vec<Line>,
    /// Cautions that apply.
    pub cautions: Vec<Caution>,
    /// What it was priced with.
    pub terms: Terms,
    /// What is taken off the price of its rooms, each for a reason.
    pub discounts: Vec<Discount>,
    /// The price before tax, discounts taken off.
    pub price: Money,
    /// What its price is taken apart by for tax: the costs that it was written with.
    pub taxed_by: TaxedCosts,
    /// Tax on the price.
    pub tax: Money,
    /// What price and tax are short of the total, where prices are told with tax; most often nothing.
    pub rounding: Money,
}

/// What is taken off the price of a quote.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Discount {
    /// Why, as the client reads it.
    pub reason: String,
    /// How much before tax; above zero.
    pub amount: Money,
    /// How much as the client reads it: with tax, where prices are told so.
    pub told: Money,
}

impl Discount {
    /// Shares it over rooms by their prices: no share is below zero, and they add up to it.
    pub fn over(&self, rooms: &[QuotedRoom]) -> Vec<Money> {
        let minor = |money: Money| Decimal::from(money.minor());
        let all: Money = rooms.iter().map(|room| room.price).sum();
        let (mut until, mut given) = (Money::ZERO, Money::ZERO);
        let share = |room: &QuotedRoom| {
            until += room.price;
            let by_now = match all.is_zero() {
                true => self.amount,
                false => self.amount.share(minor(until), minor(all)),
            };
            let share = by_now - given;
            given = by_now;
            share
        };
        rooms.iter().map(share).collect()
    }
}

/// What a quote is priced with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Terms {
    /// The share of the price that is kept, 0.35 for 35 %; below 1.
    pub margin: Decimal,
    /// How sure it is that the margin is kept, 0.8 for 80 %; between 0 and 1.
    pub confidence: Decimal,
    /// The least that a job is done for.
    pub minimum: Money,
    /// What prices are rounded up to multiples of; nothing: they aren't.
    pub step: Money,
    /// The price that its owner named, as prices are told; `None`: it follows from the cost.
    pub named: Option<Money>,
    /// Wage per hour, in major units.
    pub wage: Decimal,
    /// What an hour costs over its wage, as a factor.
    pub burden: Decimal,
    /// Overhead as a share of labour, 0.1 for 10 %.
    pub overhead: Decimal,
    /// Tax on the price.
    pub tax: TaxRates,
    /// Prices are told with tax: so are the minimum, the step, a named price and discounts.
    pub tax_included: bool,
    /// The share of invoices that isn't asked for until it is released, 0.05 for 5 %; below 1.
    pub retention: Decimal,
    /// Work on the owner's own floors: nobody pays, so it has a cost and no price.
    pub own: bool,
}

impl Terms {
    /// Returns the terms of work on the owner's own floors: hours are counted and cost nothing.
    pub fn at_cost(confidence: Decimal, burden: Decimal, overhead: Decimal) -> Terms {
        Terms {
            margin: Decimal::ZERO,
            confidence,
            minimum: Money::ZERO,
            step: Money::ZERO,
            named: None,
            wage: Decimal::ZERO,
            burden,
            overhead,
            tax: TaxRates::default(),
            tax_included: false,
            retention: Decimal::ZERO,
            own: true,
        }
    }

    /// Returns the price for a cost at the confidence, as prices are told: the one that was named, else the one that the cost
    /// asks for. What it is taken apart by says how it is taxed.
    pub fn price_for(&self, cost: Money, by: &TaxedCosts) -> Money {
        self.named.unwrap_or_else(|| self.asked_for(cost, by))
    }

    /// Returns the price that a cost at the confidence asks for, as prices are told: the margin kept, at least the minimum,
    /// rounded up to the step; none for one's own floors.
    pub fn asked_for(&self, cost: Money, by: &TaxedCosts) -> Money {
        if self.own {
            return Money::ZERO;
        }
        let price = self
            .told(price_for(cost, self.margin), by)
            .max(self.minimum);
        if self.step.is_zero() {
            return price;
        }
        let steps = Decimal::from(price.minor()) / Decimal::from(self.step.minor());
        self.step.times(steps.ceil())
    }

    /// Returns an amount before tax as prices are told.
    pub fn told(&self, net: Money, by: &TaxedCosts) -> Money {
        match self.tax_included {
            true => net + self.tax.on(net, by),
            false => net,
        }
    }
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
    /// Parts in other conditions.
    pub parts: Vec<MeasuredPart>,
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
        /// Expected rental days: the mean of what may come.
        days: Decimal,
        /// What the yard is expected to ask.
        cost: Money,
        /// What of it is waiver and cleaning.
        once: Money,
        /// The tariff that it was priced with.
        tariff: Tariff,
    },
    /// Driving to the site, or for machines.
    Trips(Trips),
    /// What is left in the opened packs of an item that doesn't keep.
    Opened {
        /// The item.
        item: ItemId,
        /// Its name.
        name: String,
        /// Its unit.
        unit: Unit,
        /// Expected to be left, in item units.
        left: Decimal,
        /// What is expected to be paid for and not used.
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

closed_set! {
    /// What a line is about.
    #[derive(Default)]
    LineKind, "kind of line" {
        /// An operation, in a room or once for the job.
        #[default]
        Work = "work",
        /// A rented machine.
        Rental = "rental",
        /// Driving to the site, or for machines.
        Trips = "trips",
        /// What is left in opened packs.
        Opened = "opened",
        /// A lump of money.
        Other = "other",
        /// The share of labour that runs the firm.
        Overhead = "overhead",
    }
}

/// One operation with its quantities and costs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WorkLine {
    /// The room; `None`: once for the job.
    pub room: Option<RoomId>,
    /// The condition of the part that it is done on, which may be the room's own; `None`: all of the room.
    pub part: Option<FloorCondition>,
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
    /// That it may turn up, and how much of it; `None`: it is sure.
    pub contingency: Option<Contingency>,
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
    /// Returns what the line is about.
    pub fn kind(&self) -> LineKind {
        match self {
            Line::Work(_) => LineKind::Work,
            Line::Rental { .. } => LineKind::Rental,
            Line::Trips(_) => LineKind::Trips,
            Line::Opened { .. } => LineKind::Opened,
            Line::Other { .. } => LineKind::Other,
            Line::Overhead { .. } => LineKind::Overhead,
        }
    }

    /// Returns the line's cost.
    pub fn cost(&self) -> Money {
        match self {
            Line::Work(work) => work.labour + work.item_cost(),
            Line::Trips(trips) => trips.labour + trips.cost,
            Line::Rental { cost, .. }
            | Line::Opened { cost, .. }
            | Line::Other { cost, .. }
            | Line::Overhead { cost } => *cost,
        }
    }

    /// Returns its hours.
    pub fn hours(&self) -> Decimal {
        match self {
            Line::Work(work) => work.hours,
            Line::Trips(trips) => trips.hours,
            Line::Rental { .. }
            | Line::Opened { .. }
            | Line::Other { .. }
            | Line::Overhead { .. } => Decimal::ZERO,
        }
    }

    /// Returns what its hours cost.
    pub fn labour(&self) -> Money {
        match self {
            Line::Work(work) => work.labour,
            Line::Trips(trips) => trips.labour,
            Line::Rental { .. }
            | Line::Opened { .. }
            | Line::Other { .. }
            | Line::Overhead { .. } => Money::ZERO,
        }
    }

    /// Tells whether it is about the same as another: it stands in its place, if that is replaced.
    pub fn stands_for(&self, was: &Line) -> bool {
        match (self, was) {
            (Line::Work(is), Line::Work(was)) => {
                (is.room, is.operation, is.contingency)
                    == (was.room, was.operation, was.contingency)
            }
            (Line::Rental { machine: is, .. }, Line::Rental { machine: was, .. }) => is == was,
            (Line::Trips(is), Line::Trips(was)) => is.to == was.to,
            (Line::Opened { item: is, .. }, Line::Opened { item: was, .. }) => is == was,
            (Line::Other { what: is, .. }, Line::Other { what: was, .. }) => is == was,
            (Line::Overhead { .. }, Line::Overhead { .. }) => true,
            _ => false,
        }
    }

    /// Returns the line's cost by what it is for.
    fn costs(&self) -> Vec<(CostKind, Money)> {
        match self {
            Line::Work(work) => vec![
                (CostKind::Labour, work.labour),
                (CostKind::Consumables, work.item_cost()),
            ],
            Line::Rental { cost, .. } => vec![(CostKind::Rental, *cost)],
            Line::Trips(trips) => vec![
                (CostKind::Labour, trips.labour),
                (CostKind::Other, trips.cost),
            ],
            Line::Opened { cost, .. } => vec![(CostKind::Consumables, *cost)],
            Line::Other { cost, .. } => vec![(CostKind::Other, *cost)],
            Line::Overhead { cost } => vec![(CostKind::Overhead, *cost)],
        }
    }

    /// Returns the room that the line belongs to; `None`: the job.
    pub fn room(&self) -> Option<RoomId> {
        match self {
            Line::Work(work) => work.room,
            Line::Rental { .. }
            | Line::Trips(_)
            | Line::Opened { .. }
            | Line::Other { .. }
            | Line::Overhead { .. } => None,
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
    /// Returns the cost by kind: of its lines, less that of the lines which they stand in the place of.
    pub fn costs(&self) -> Costs {
        let mut costs = Costs::default();
        for line in &self.lines {
            for (kind, cost) in line.costs() {
                costs.add(kind, cost);
            }
        }
        for line in &self.replaced {
            for (kind, cost) in line.costs() {
                costs.add(kind, -cost);
            }
        }
        costs
    }

    /// Returns what a variation changes, line by line.
    pub fn changes(&self) -> Vec<LineChange<'_>> {
        let mut left: Vec<&Line> = self.lines.iter().collect();
        let changes = self.replaced.iter().map(|was| {
            let place = left.iter().position(|is| is.stands_for(was));
            let is = place.map(|place| left.remove(place));
            LineChange {
                was,
                is,
                hours: is.map_or(Decimal::ZERO, Line::hours) - was.hours(),
                cost: is.map_or(Money::ZERO, Line::cost) - was.cost(),
            }
        });
        changes.collect()
    }

    /// Returns the price of its rooms, before discounts are taken off.
    pub fn full_price(&self) -> Money {
        self.price + self.discounts.iter().map(|off| off.amount).sum()
    }

    /// Returns the price as the client reads it: with tax, where prices are told so.
    pub fn told(&self) -> Money {
        match self.terms.tax_included {
            true => self.total(),
            false => self.price,
        }
    }

    /// Returns the price of its rooms as the client reads it, before discounts are taken off.
    pub fn told_full(&self) -> Money {
        self.told() + self.discounts.iter().map(|off| off.told).sum()
    }

    /// Returns what the client reads as the price of each room, before discounts; they add up to that of all.
    pub fn told_rooms(&self) -> Vec<Money> {
        let (full, told) = (self.full_price(), self.told_full());
        let as_told = |room: &QuotedRoom| match full.is_zero() {
            true => room.price,
            false => room.price.share(told.minor().into(), full.minor().into()),
        };
        let mut rooms: Vec<Money> = self.rooms.iter().map(as_told).collect();
        let rest = told - rooms.iter().copied().sum();
        if let Some(largest) = rooms.iter_mut().rev().max_by_key(|price| price.abs()) {
            *largest += rest;
        }
        rooms
    }

    /// Returns the minimum charge before tax, no more than the price.
    pub fn minimum(&self) -> Money {
        let least = self.terms.minimum.min(self.told());
        match self.terms.tax_included && !self.total().is_zero() {
            true => least.share(self.price.minor().into(), self.total().minor().into()),
            false => least,
        }
    }

    /// Returns it at a price before discounts, as prices are told; rooms share it by their weights.
    pub fn offered(mut self, full: Money, weights: &[Decimal]) -> Quote {
        let total = full - self.discounts.iter().map(|off| off.told).sum();
        if !self.terms.tax_included {
            return self.at(total, weights);
        }
        let near = self.terms.tax.untaxed(total, &self.taxed_by);
        for off in &mut self.discounts {
            off.amount = off.told.share(near.minor().into(), total.minor().into());
        }
        let cents = [0, 1, -1, 2, -2, 3, -3].map(Money::from_minor);
        let offers = cents.map(|cents| self.clone().at(near + cents, weights));
        let closest = offers
            .into_iter()
            .min_by_key(|offer| (offer.total() - total).abs());
        let mut closest = closest.expect("there are seven");
        closest.rounding = total - closest.total();
        closest
    }

    /// Returns it at a price before tax, discounts taken off.
    fn at(mut self, price: Money, weights: &[Decimal]) -> Quote {
        self.price = price;
        let shares = self.full_price().spread(weights);
        for (room, share) in self.rooms.iter_mut().zip(shares) {
            room.price = share;
        }
        self.with_tax()
    }

    /// Returns what each room is agreed at, its share of discounts taken off; they add up to the price.
    pub fn room_shares(&self) -> Vec<Money> {
        let mut shares: Vec<Money> = self.rooms.iter().map(|room| room.price).collect();
        for off in &self.discounts {
            for (share, off) in shares.iter_mut().zip(off.over(&self.rooms)) {
                *share -= off;
            }
        }
        shares
    }

    /// Returns what of a room's price is taxed at which rate, before discounts.
    pub fn taxed(&self, room: &QuotedRoom) -> Vec<TaxedPart> {
        self.terms.tax.parts(room.price, &self.taxed_by)
    }

    /// Returns what of a discount is taken off some rooms, at which rate: of each its share.
    pub fn taxed_off(&self, off: &Discount, of: impl Fn(RoomId) -> bool) -> Vec<TaxAtRate> {
        let shares = self.rooms.iter().zip(off.over(&self.rooms));
        let shares = shares.filter(|(room, _)| of(room.id));
        self.by_rate(shares.map(|(_, share)| share))
    }

    /// Returns the price and its tax at each rate, the lowest first.
    pub fn taxes(&self) -> Vec<TaxAtRate> {
        let prices = self.rooms.iter().map(|room| room.price);
        let off = self.discounts.iter().flat_map(|off| off.over(&self.rooms));
        self.by_rate(prices.chain(off.map(|off| -off)))
    }

    /// Adds up amounts by the rate that each part of them is taxed at.
    fn by_rate(&self, amounts: impl Iterator<Item = Money>) -> Vec<TaxAtRate> {
        let parts = amounts.flat_map(|amount| self.terms.tax.parts(amount, &self.taxed_by));
        TaxAtRate::on_sums(parts.map(|part| (part.percent, part.net)))
    }

    /// Returns it with its price to be taken apart for tax by its costs.
    pub fn taxed_as_it_costs(self) -> Quote {
        let taxed_by = TaxedCosts::of(&self.costs());
        Quote { taxed_by, ..self }
    }

    /// Returns it with the tax on its price.
    pub fn with_tax(self) -> Quote {
        let tax = self.taxes().iter().map(|part| part.tax).sum();
        Quote { tax, ..self }
    }

    /// Returns what is to be paid: price, tax and rounding.
    pub fn total(&self) -> Money {
        self.price + self.tax + self.rounding
    }

    /// Returns the work lines.
    pub fn work(&self) -> impl Iterator<Item = &WorkLine> {
        work_of(&self.lines)
    }

    /// Returns the floor that a work line was taken off for: its part's, or its room's; work for the whole job has the first room's.
    pub fn class_of(&self, work: &WorkLine) -> Option<FloorClass> {
        let room = match work.room {
            Some(id) => self.rooms.iter().find(|room| room.id == id),
            None => self.rooms.first(),
        };
        room.map(|room| room.class.in_part(work.part))
    }

    /// Returns the expected hours: of its lines, less those of the lines which they stand in the place of.
    pub fn hours(&self) -> Decimal {
        let sum = |lines: &[Line]| lines.iter().map(Line::hours).sum::<Decimal>();
        sum(&self.lines) - sum(&self.replaced)
    }

    /// Returns the expected cost: the sum of the lines.
    pub fn expected_cost(&self) -> Money {
        self.costs().total()
    }

    /// Returns the margin expected of the price, percent; `None`: the price is nothing.
    pub fn margin_percent(&self) -> Option<Decimal> {
        margin_percent(self.price, self.costs().total())
    }
}

/// An agreed line, and what stands in its place.
#[derive(Clone, Copy, Debug)]
pub struct LineChange<'a> {
    /// The line as it was agreed.
    pub was: &'a Line,
    /// As it is; `None`: it isn't done.
    pub is: Option<&'a Line>,
    /// By how many hours more it is.
    pub hours: Decimal,
    /// By how much it costs more.
    pub cost: Money,
}

/// Returns the work lines among lines.
pub fn work_of(lines: &[Line]) -> impl Iterator<Item = &WorkLine> {
    lines.iter().filter_map(|line| match line {
        Line::Work(work) => Some(work),
        Line::Rental { .. }
        | Line::Trips(_)
        | Line::Opened { .. }
        | Line::Other { .. }
        | Line::Overhead { .. } => None,
    })
}

/// A quote as it was just priced.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Priced {
    /// What is offered.
    pub quote: Quote,
    /// What it may cost, and what that takes.
    pub outlook: Outlook,
}

/// Returns what is left of a price after its cost, percent of the price; `None`: the price is nothing.
pub fn margin_percent(price: Money, cost: Money) -> Option<Decimal> {
    let kept = Decimal::from((price - cost).minor()) * Decimal::ONE_HUNDRED;
    (!price.is_zero()).then(|| round(kept / Decimal::from(price.minor()), 2))
}

/// What the simulation said of a job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outlook {
    /// How many times the job was drawn.
    pub draws: u32,
    /// What the luck was drawn from.
    pub seed: u64,
    /// The expected cost: what the lines add up to.
    pub expected_cost: Money,
    /// The cost that isn't exceeded with the confidence.
    pub cost_at_confidence: Money,
    /// The cost that isn't exceeded 1 time in 10.
    pub p10: Money,
    /// The cost that isn't exceeded 5 times in 10.
    pub p50: Money,
    /// The cost that isn't exceeded 8 times in 10.
    pub p80: Money,
    /// The cost that isn't exceeded 9 times in 10.
    pub p90: Money,
    /// How likely the job costs more than its price, as a fraction of one.
    pub loss: Decimal,
    /// How likely less than the margin that was asked for is kept, as a fraction of one.
    pub below_margin: Decimal,
    /// What drives the risk, the largest part first.
    pub risks: Vec<Risk>,
    /// What to rent.
    pub rentals: Vec<PlannedRental>,
    /// What will be used.
    pub needs: Vec<ItemNeed>,
    /// What the rooms would be offered for together if each were a job of its own; `None`: there is only one.
    pub room_by_room: Option<Money>,
}

impl Outlook {
    /// Returns what is set aside so that the margin is kept with the confidence.
    pub fn contingency(&self) -> Money {
        self.cost_at_confidence - self.expected_cost
    }

    /// Returns what a price keeps of the cost at the confidence, before it is raised to the minimum and the step.
    pub fn kept_margin(&self, terms: &Terms) -> Money {
        price_for(self.cost_at_confidence, terms.margin) - self.cost_at_confidence
    }

    /// Returns by how much the price of its quote is above the one that keeps the margin: minimum charge and rounding, or
    /// that another was named. Where there is no price, nothing is raised.
    pub fn raised_by(&self, quote: &Quote) -> Money {
        if quote.terms.own {
            return Money::ZERO;
        }
        quote.full_price() - self.cost_at_confidence - self.kept_margin(&quote.terms)
    }
}

/// A part of a job's risk.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Risk {
    /// The operation, or what else it comes from.
    pub operation: String,
    /// What part of the variance of the cost it makes, percent; the parts sum to 100.
    pub share_percent: Decimal,
    /// What most of it is due to.
    pub cause: Cause,
    /// Finished rooms that its rate rests on.
    pub rooms: usize,
}

closed_set! {
    /// What makes a cost hard to foretell.
    Cause, "cause of a risk" {
        /// The firm's own rate isn't known well yet.
        Rate = "rate",
        /// Jobs differ.
        Job = "job",
        /// Rooms differ, also those of one job.
        Room = "room",
        /// Something may turn up.
        Contingency = "contingency",
        /// A rental is charged in whole periods.
        Rental = "rental",
        /// An opened pack is paid for whole.
        Pack = "pack",
    }
}

/// A machine to rent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlannedRental {
    /// The machine.
    pub machine: MachineId,
    /// Its name.
    pub name: String,
    /// Hours that it will run, at the confidence.
    pub hours: Decimal,
    /// What to rent for that.
    pub plan: Plan,
}

/// How much of an item to have at hand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ItemNeed {
    /// The item.
    pub item: ItemId,
    /// Expected, in item units.
    pub expected: Decimal,
    /// Enough with the confidence: whole sets of what is changed in sets.
    pub need: Decimal,
    /// With what confidence, as a fraction of one.
    pub confidence: Decimal,
}

/// Returns the most that a job may cost for its price to keep the margin.
pub fn cost_within(price: Money, margin: Decimal) -> Money {
    price.times(Decimal::ONE - margin)
}

/// Returns the lowest price that keeps the margin on a cost.
pub fn price_for(cost: Money, margin: Decimal) -> Money {
    cost.share(Decimal::ONE, Decimal::ONE - margin)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rust_decimal_macros::dec;

    use super::*;
    use crate::trade::Species;

    proptest! {
        /// A price that is named is the price, whatever the cost asks for.
        #[test]
        fn a_named_price_is_the_price_whatever_its_cost_asks_for(
            named in 1_i64..100_000_000,
            cost in 0_i64..100_000_000,
            margin in 0_i64..99,
        ) {
            let margin = Decimal::new(margin, 2);
            let terms = Terms {
                margin,
                minimum: Money::from_minor(25_000),
                named: Some(Money::from_minor(named)),
                own: false,
                ..Terms::at_cost(dec!(0.8), dec!(1), dec!(0))
            };
            let none = TaxedCosts::default();
            prop_assert_eq!(terms.price_for(Money::from_minor(cost), &none).minor(), named);
            let asked = terms.asked_for(Money::from_minor(cost), &none);
            prop_assert_eq!(asked, price_for(Money::from_minor(cost), margin).max(terms.minimum));
            // The price that a cost asks for may cost just that, so its own chance is the confidence.
            let own = price_for(Money::from_minor(cost), margin);
            prop_assert_eq!(cost_within(own, margin).minor(), cost);
        }
    }

    /// A quote of rooms that cost so much, taxed and discounted, whose prices are told with tax.
    fn told(tax: TaxRates, costs: [i64; 3], rooms: usize, off: &[i64]) -> Quote {
        let line = |kind: usize, cost: i64| match kind {
            0 => Line::Other {
                what: "felling".into(),
                cost: Money::from_minor(cost),
            },
            1 => Line::Opened {
                item: ItemId(1),
                name: "oil".into(),
                unit: Unit::Litre,
                left: dec!(1),
                cost: Money::from_minor(cost),
            },
            _ => Line::Rental {
                machine: MachineId(1),
                name: "rotary".into(),
                days: dec!(1),
                cost: Money::from_minor(cost),
                once: Money::ZERO,
                tariff: Tariff {
                    half_day: None,
                    day: Money::from_minor(cost),
                    weekend: None,
                    week: None,
                    four_weeks: None,
                    waiver_percent: Decimal::ZERO,
                    cleaning: Money::ZERO,
                },
            },
        };
        let room = |place: usize| QuotedRoom {
            id: RoomId(place as i64),
            name: "Hall".into(),
            area: dec!(100),
            edge: dec!(40),
            steps: None,
            class: FloorClass {
                condition: FloorCondition::WornFilm,
                species: Species::RedOak,
            },
            parts: Vec::new(),
            price: Money::ZERO,
        };
        let off = off.iter().map(|cents| Discount {
            reason: "neighbours".into(),
            amount: Money::from_minor(*cents),
            told: Money::from_minor(*cents),
        });
        Quote {
            sequence: None,
            schedule: None,
            rooms: (0..rooms).map(room).collect(),
            lines: (0..)
                .zip(costs)
                .map(|(kind, cost)| line(kind, cost))
                .collect(),
            replaced: Vec::new(),
            cautions: Vec::new(),
            terms: Terms {
                tax,
                tax_included: true,
                own: false,
                ..Terms::at_cost(dec!(0.8), dec!(1), dec!(0))
            },
            discounts: off.collect(),
            price: Money::ZERO,
            taxed_by: TaxedCosts::default(),
            tax: Money::ZERO,
            rounding: Money::ZERO,
        }
        .taxed_as_it_costs()
    }

    #[test]
    fn a_price_told_with_tax_is_the_total_and_the_cent_that_no_price_makes_up_is_rounded() {
        // 100.00 with 19 %: 84.03, whose tax of 15.9657 is 15.97. With 25 %, 84.01 has 21.0025 and comes to 105.01, 84.02 has
        // 21.005, which is 21.01, and comes to 105.03: nothing comes to 105.02.
        for (percent, full, price, tax, rounding) in [
            (dec!(19), 10_000, 8_403, 1_597, 0),
            (dec!(25), 10_501, 8_401, 2_100, 0),
            (dec!(25), 10_503, 8_402, 2_101, 0),
            (dec!(25), 10_502, 8_402, 2_101, -1),
            (dec!(0), 10_000, 10_000, 0, 0),
        ] {
            let quote = told(TaxRates::all(percent), [1, 0, 0], 1, &[]);
            let quote = quote.offered(Money::from_minor(full), &[dec!(1)]);
            let seen = [quote.price, quote.tax, quote.rounding].map(Money::minor);
            assert_eq!(seen, [price, tax, rounding], "{full} at {percent} %");
        }
        // Two rooms at 1:3 for 1000.00 with 19 %, 100.00 of it off: 900.00 is 756.30 and 143.70; 84.03 come off 840.33.
        let quote = told(TaxRates::all(dec!(19)), [1, 0, 0], 2, &[10_000]);
        let quote = quote.offered(Money::from_minor(100_000), &[dec!(1), dec!(3)]);
        let seen = [
            quote.price,
            quote.tax,
            quote.discounts[0].amount,
            quote.full_price(),
        ];
        assert_eq!(seen.map(Money::minor), [75_630, 14_370, 8_403, 84_033]);
        let rooms: Vec<i64> = quote.told_rooms().iter().map(|told| told.minor()).collect();
        assert_eq!(rooms, [25_000, 75_000]);
        // A minimum of 900.00 is told with tax, too: before it that is 756.30.
        let quote = Quote {
            terms: Terms {
                minimum: Money::from_minor(90_000),
                ..quote.terms
            },
            ..quote
        };
        assert_eq!(quote.minimum().minor(), 75_630);
        // What a cost of 500.00 asks for with a margin of 20 %: 625.00, with tax 743.75, in steps of 5 then 745.00.
        let terms = Terms {
            margin: dec!(0.2),
            step: Money::from_minor(500),
            minimum: Money::ZERO,
            ..quote.terms
        };
        assert_eq!(
            terms
                .asked_for(Money::from_minor(50_000), &quote.taxed_by)
                .minor(),
            74_500
        );
    }

    proptest! {
        /// Whatever is told with tax is the total, to the cent; what is rounded is a cent or two; rooms add up as they are
        /// told and before tax.
        #[test]
        fn what_is_told_with_tax_is_the_total(
            full in 1_000_i64..10_000_000,
            costs in proptest::array::uniform3(0_i64..100_000),
            rates in proptest::array::uniform3(0_usize..4),
            weights in proptest::collection::vec(0_u32..1000, 1..7),
            off in proptest::collection::vec(1_i64..300, 0..3),
        ) {
            let percent = |rate: usize| [dec!(0), dec!(8.875), dec!(19), dec!(25)][rate];
            let [labour, materials, rental] = rates.map(percent);
            let quote = told(TaxRates { labour, materials, rental }, costs, weights.len(), &off);
            let weights: Vec<Decimal> = weights.into_iter().map(Decimal::from).collect();
            let quote = quote.offered(Money::from_minor(full), &weights);
            prop_assert_eq!(quote.total().minor(), full - off.iter().sum::<i64>());
            prop_assert_eq!(quote.told_full().minor(), full);
            prop_assert!(quote.rounding.abs().minor() <= 2, "{}", quote.rounding.minor());
            prop_assert_eq!(quote.told_rooms().into_iter().sum::<Money>().minor(), full);
            let rooms: Money = quote.rooms.iter().map(|room| room.price).sum();
            prop_assert_eq!(rooms, quote.full_price());
            let parts = quote.taxes();
            prop_assert_eq!(parts.iter().map(|part| part.net).sum::<Money>(), quote.price);
            prop_assert_eq!(parts.iter().map(|part| part.tax).sum::<Money>(), quote.tax);
        }
    }

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
