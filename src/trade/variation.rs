//! A variation that changes agreed work: rooms and operations taken away, rooms measured again.
//!
//! It changes what one quote says, at the rates, prices, wage and tariffs of that quote. Lines of the quote that are
//! different, or gone, are **replaced**: its own lines stand in their place, or none does. What then stands is what is
//! expected of the job.
//!
//! # What it is charged at
//! Every line of a quote is charged with the quote's price ÷ its expected cost, so margin, contingency, minimum charge and
//! step are shared out by cost; so is a price that was named. What stands of a quote is worth
//!
//! ```text
//! price × cost that stands ÷ expected cost, to the cent, and not below the quote's minimum charge
//! ```
//!
//! and the price of a variation is that after it, less that before it. So it doesn't matter in how many steps work is
//! changed, what was changed back costs what it did, and no job ever costs less than nothing.
//!
//! # What is shared
//! A room that is taken away takes its own hours and items along. What the job has in common is worked out with it and
//! without it:
//!
//! - Set-up of the job and lump sums stay: the van comes all the same. (Common practice, no source.)
//! - A machine is paid by the period. Its rent falls by what the quote's tariff asks for the hours as quoted, less what it
//!   asks for those that are left: by nothing, where they take the same days. With the last of its hours all of it goes.
//! - What is left in opened packs stays, as long as any of the item is used.
//! - As many trips to the site are driven as the hours that are left ask for, of those that were quoted, in whole trips;
//!   none to the rental place without a machine.
//! - Overhead is its share of the labour that is left.
//!
//! A room that is measured again has all work that its floor, edge or steps measure at the quote's rates. Repairs stay:
//! what was found is counted by itself.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::money::{Currency, Decimal, Money, product, quantity, round};
use crate::trade::quote::{
    ItemLine, ItemNeed, Line, Outlook, PlannedRental, Quote, Terms, WorkLine, work_of,
};
use crate::trade::rates::{Rate, RateKind};
use crate::trade::rental::{Need, Plan, Tariff};
use crate::trade::takeoff::{MeasuredRoom, PRINTED_DECIMALS, need};
use crate::trade::trips::{Destination, Trips};
use crate::trade::{ItemId, MachineId, OperationId};

/// What was agreed at the rates and prices of one quote.
#[derive(Clone, Copy, Debug)]
pub struct Agreed<'a> {
    /// The quote, as it was accepted.
    pub quote: &'a Quote,
    /// Its lines that stand, with those that earlier variations put in the place of others.
    pub lines: &'a [Line],
}

/// How machines are rented.
#[derive(Clone, Debug)]
pub struct Renting {
    /// Which machine each operation runs on.
    pub machines: BTreeMap<OperationId, MachineId>,
    /// Machine hours in a working day.
    pub day_hours: Decimal,
    /// When the work was to begin; `None`: that wasn't known.
    pub start: Option<NaiveDate>,
}

/// What becomes of a line of work.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fate {
    /// It is as it was.
    Stays,
    /// It isn't done.
    FallsAway,
    /// It is done otherwise.
    Becomes(Box<WorkLine>),
}

/// What is different after a variation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Variation {
    /// The places of the lines that are replaced.
    pub replaced: Vec<usize>,
    /// The lines in their place.
    pub lines: Vec<Line>,
    /// All lines that stand then.
    pub left: Vec<Line>,
    /// What it adds to the price of the job; below zero: takes off.
    pub price: Money,
}

/// Returns what a variation changes of what was agreed with a quote; `None`: nothing.
pub fn vary(
    agreed: Agreed<'_>,
    renting: &Renting,
    currency: Currency,
    fate: impl Fn(&WorkLine) -> Fate,
) -> Option<Variation> {
    let lines = agreed.lines.iter();
    let mut after: Vec<Option<Line>> = lines.map(|line| changed(line, &fate)).collect();
    let work: Vec<Line> = after.iter().flatten().cloned().collect();
    let is_done = work_of(&work).any(|work| work.room.is_some());
    for (line, after) in agreed.lines.iter().zip(&mut after) {
        *after = match line {
            Line::Work(WorkLine { room: None, .. }) if !is_done => None,
            Line::Work(_) | Line::Other { .. } => continue,
            Line::Rental { machine, .. } => renting.line(agreed.quote, *machine, line, &work),
            Line::Trips(trips) => renting.trips(agreed.quote, trips, &work, currency),
            Line::Opened { item, .. } => {
                let takes = |work: &WorkLine| work.item.as_ref().is_some_and(|one| one.id == *item);
                Some(line.clone()).filter(|_| work_of(&work).any(takes))
            }
            Line::Overhead { .. } => continue,
        };
    }
    let labour = after.iter().flatten().map(Line::labour).sum();
    for after in &mut after {
        if let Some(Line::Overhead { .. }) = after {
            *after = overhead(&agreed.quote.terms, labour);
        }
    }
    let pairs = agreed.lines.iter().zip(&after).enumerate();
    let different = pairs.filter(|(_, (before, after))| after.as_ref() != Some(*before));
    let (replaced, lines): (Vec<usize>, Vec<Option<Line>>) = different
        .map(|(place, (_, after))| (place, after.clone()))
        .unzip();
    let cost = |lines: &[Line]| lines.iter().map(Line::cost).sum();
    let left: Vec<Line> = after.into_iter().flatten().collect();
    (!replaced.is_empty()).then(|| Variation {
        price: price_of(agreed.quote, cost(&left)) - price_of(agreed.quote, cost(agreed.lines)),
        lines: lines.into_iter().flatten().collect(),
        replaced,
        left,
    })
}

/// Returns what is charged for what stands of a quote.
pub fn price_of(quote: &Quote, cost: Money) -> Money {
    let quoted = quote.expected_cost();
    if quoted.is_zero() {
        return quote.price;
    }
    let [cost, quoted] = [cost, quoted].map(|cost| Decimal::from(cost.minor()));
    quote.price.share(cost, quoted).max(quote.minimum())
}

/// Returns a line of work for its room as it measures now, at the quote's rate; `None`: there is no such work in it.
pub fn measured_again(
    line: &WorkLine,
    room: &MeasuredRoom,
    set_size: Option<u32>,
    rate: impl Fn(RateKind) -> Option<Rate>,
    (terms, currency): (&Terms, Currency),
) -> Option<WorkLine> {
    let quantity = room.driver_in(line.driver, line.part)? * Decimal::from(line.passes);
    let expect = |kind| {
        let rate = rate(kind)?;
        Some(round(rate.expect(quantity, line.passes), PRINTED_DECIMALS).normalize())
    };
    let hours = expect(RateKind::Hours)?;
    let item = match &line.item {
        None => None,
        Some(item) => {
            let need = need(expect(RateKind::Item)?, set_size);
            Some(ItemLine {
                expected: need.expected,
                load: need.load.normalize(),
                cost: currency.amount(product([need.expected, item.unit_price])),
                ..item.clone()
            })
        }
    };
    Some(WorkLine {
        quantity: quantity.normalize(),
        hours,
        labour: currency.amount(product([hours, terms.wage, terms.burden])),
        item,
        ..line.clone()
    })
}

/// Returns the outlook of a variation: its own cost without any luck, and of what its quote had planned to rent and to have
/// at hand what is left, in proportion to the hours and items that are.
pub fn outlook(
    quote: &Quote,
    quoted: &Outlook,
    cost: Money,
    left: &[Line],
    renting: &Renting,
) -> Outlook {
    let rentals = quoted.rentals.iter().filter_map(|rental| {
        let [before, now] = [&quote.lines[..], left].map(|lines| renting.hours(rental.machine, lines));
        let is_of = |line: &&Line| matches!(line, Line::Rental { machine, .. } if *machine == rental.machine);
        match quote.lines.iter().find(is_of) {
            Some(Line::Rental { tariff, .. }) if before != now => {
                let hours = quantity(rental.hours * now / before);
                let plan = renting.plan(tariff, hours);
                let kept = PlannedRental { hours, plan, ..rental.clone() };
                (!now.is_zero()).then_some(kept)
            }
            _ => Some(rental.clone()),
        }
    });
    let needs = quoted.needs.iter().filter_map(|need| {
        let [before, now] = [&quote.lines[..], left].map(|lines| expected_of(need.item, lines));
        if before == now || before.is_zero() {
            return Some(need.clone());
        }
        let enough = quantity(need.need * now / before);
        let kept = ItemNeed {
            expected: now,
            need: if need.need.is_integer() {
                enough.ceil()
            } else {
                enough
            },
            ..need.clone()
        };
        (!now.is_zero()).then_some(kept)
    });
    Outlook {
        draws: 0,
        seed: 0,
        expected_cost: cost,
        cost_at_confidence: cost,
        p10: cost,
        p50: cost,
        p80: cost,
        p90: cost,
        loss: Decimal::ZERO,
        below_margin: Decimal::ZERO,
        risks: Vec::new(),
        rentals: rentals.collect(),
        needs: needs.collect(),
        room_by_room: None,
    }
}

fn expected_of(item: ItemId, lines: &[Line]) -> Decimal {
    let items = work_of(lines).filter_map(|work| work.item.as_ref());
    items.filter(|of| of.id == item).map(|of| of.expected).sum()
}

fn changed(line: &Line, fate: impl Fn(&WorkLine) -> Fate) -> Option<Line> {
    let Line::Work(work) = line else {
        return Some(line.clone());
    };
    match fate(work) {
        Fate::Stays => Some(line.clone()),
        Fate::FallsAway => None,
        Fate::Becomes(work) => Some(Line::Work(*work)),
    }
}

fn overhead(terms: &Terms, labour: Money) -> Option<Line> {
    let cost = labour.times(terms.overhead);
    (!cost.is_zero()).then_some(Line::Overhead { cost })
}

impl Renting {
    /// Returns the hours that lines have a machine run.
    pub fn hours(&self, machine: MachineId, lines: &[Line]) -> Decimal {
        let works =
            work_of(lines).filter(|work| self.machines.get(&work.operation) == Some(&machine));
        works.map(|work| work.hours).sum()
    }

    /// Returns what is rented for so many hours.
    pub fn plan(&self, tariff: &Tariff, hours: Decimal) -> Plan {
        Plan::new(tariff, Need::for_hours(hours, self.day_hours), self.start)
    }

    /// Returns the trips that the work takes now, at what the quote drives for; `None`: none.
    fn trips(
        &self,
        quote: &Quote,
        stand: &Trips,
        work: &[Line],
        currency: Currency,
    ) -> Option<Line> {
        let is_of = |line: &&Line| matches!(line, Line::Trips(trips) if trips.to == stand.to);
        let quoted = match quote.lines.iter().find(is_of) {
            Some(Line::Trips(quoted)) => quoted,
            _ => stand,
        };
        let is_rented = |work: &WorkLine| self.machines.contains_key(&work.operation);
        let left = match stand.to {
            Destination::RentalPlace => work_of(work).any(is_rented).then(|| quoted.clone()),
            Destination::Site => {
                let [left, of] =
                    [work, &quote.lines].map(|lines| work_of(lines).map(|work| work.hours).sum());
                quoted.for_part(left, of, &quote.terms, currency)
            }
        };
        left.map(Line::Trips)
    }

    /// Returns the rental of a machine as the work takes it now; `None`: it is needed no longer.
    fn line(
        &self,
        quote: &Quote,
        machine: MachineId,
        stands: &Line,
        work: &[Line],
    ) -> Option<Line> {
        let quoted = self.hours(machine, &quote.lines);
        let of_machine =
            |line: &&Line| matches!(line, Line::Rental { machine: of, .. } if *of == machine);
        let Some(Line::Rental {
            machine,
            name,
            days,
            cost,
            once,
            tariff,
        }) = quote
            .lines
            .iter()
            .find(of_machine)
            .filter(|_| !quoted.is_zero())
        else {
            return Some(stands.clone()); // It isn't known what it runs for.
        };
        let hours = self.hours(*machine, work);
        if hours.is_zero() {
            return None;
        }
        let [before, now] = [quoted, hours].map(|hours| self.plan(tariff, hours));
        // What is left is never less than its hours cost, unless the quote counted on less.
        let left =
            |quoted: Money, before: Money, now: Money| (quoted + now - before).max(now.min(quoted));
        let cost = left(*cost, before.cover.total(), now.cover.total());
        let (need_before, need) = (before.need.in_days(), now.need.in_days());
        Some(Line::Rental {
            machine: *machine,
            name: name.clone(),
            days: (*days + need - need_before).max(need.min(*days)),
            once: left(*once, before.cover.once(), now.cover.once()).min(cost),
            cost,
            tariff: tariff.clone(),
        })
    }
}
