//! Pricing: rooms, methods and rates become a quote.
//!
//! The take-off says what is expected of each line. The same work, drawn many times by `simulate`, says what the
//! whole may cost, and with it what only the whole decides: rentals, which are paid by the period and not by the hour,
//! and what is left in cans that don't keep. Those two are lines of their own, at their mean.
//!
//! The expected cost is the sum of the lines. The mean of the draws differs from it a little: there are only so many draws,
//! and lines are rounded. All draws are moved by that difference, so that what is added for risk is for risk alone.

mod drawing;
mod outlook;
mod subjects;

use std::collections::BTreeMap;
use std::hash::Hasher;

use chrono::NaiveDate;
use siphasher::sip::SipHasher13;
use thiserror::Error;

pub(in crate::trade) use self::drawing::asked;
use self::subjects::{Subjects, planned_rental_lines};
use crate::money::{Currency, Decimal, Money, product, quantity};
use crate::trade::buying::{BuyError, PackSize};
use crate::trade::cautions::Caution;
use crate::trade::operation::Item;
use crate::trade::plan::{Machine, Rental};
use crate::trade::quote::{
    Discount, ItemLine, Line, Outlook, Priced, Quote, QuotedRoom, Terms, WorkLine, cost_within,
};
use crate::trade::rates::Rates;
use crate::trade::simulate::{Draws, Model};
use crate::trade::takeoff::{MeasuredRoom, Work};
use crate::trade::tax::TaxedCosts;
use crate::trade::trips::{Road, Visits};
use crate::trade::{ItemId, MachineId, RoomId};

/// What a quote is made from.
#[derive(Clone, Debug)]
pub struct Offer {
    /// Name of the sanding sequence.
    pub sequence: Option<String>,
    /// Name of the coating schedule.
    pub schedule: Option<String>,
    /// The rooms; one at least.
    pub rooms: Vec<MeasuredRoom>,
    /// The take-off.
    pub work: Vec<Work>,
    /// What is paid for at once.
    pub others: Vec<LumpSum>,
    /// What is taken off the price.
    pub discounts: Vec<Discount>,
    /// The machines of the book.
    pub machines: BTreeMap<MachineId, Machine>,
    /// The items of the book, as they are bought.
    pub items: BTreeMap<ItemId, Supply>,
    /// Machine hours in a working day.
    pub day_hours: Decimal,
    /// When the work begins; `None`: not known yet, and no weekend rate is counted on.
    pub start: Option<NaiveDate>,
    /// When machines go out and back, if that is planned; `None`: each is rented for as long as its hours take.
    pub rentals: Option<Vec<Rental>>,
    /// How far it is, and what driving costs; `None`: it isn't counted.
    pub road: Option<Road>,
    /// How often somebody drives.
    pub visits: Visits,
    /// Cautions that apply.
    pub cautions: Vec<Caution>,
    /// What to price with.
    pub terms: Terms,
    /// How to draw.
    pub luck: Luck,
    /// With what chance enough is to be bought.
    pub stocking: Stocking,
}

/// A cost that no rate knows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LumpSum {
    /// What it is for.
    pub what: String,
    /// How much it is.
    pub cost: Money,
}

impl Offer {
    /// Adds the tax that the firm pays on what it buys, percent, to the prices of items.
    pub fn with_tax_on_items(mut self, percent: Decimal) -> Offer {
        let factor = Decimal::ONE + percent / Decimal::ONE_HUNDRED;
        if percent.is_zero() {
            return self;
        }
        for item in self
            .work
            .iter_mut()
            .filter_map(|work| work.operation.item.as_mut())
        {
            item.price = quantity(item.price * factor);
        }
        for pack in self.items.values_mut().flat_map(|item| &mut item.packs) {
            pack.price = pack.price.times(factor);
        }
        self
    }
}

/// How an item is bought.
#[derive(Clone, Debug)]
pub struct Supply {
    /// The packs it is sold in.
    pub packs: Vec<PackSize>,
    /// Whether an opened pack keeps.
    pub kept: bool,
    /// Whether unopened packs can be handed back.
    pub returnable: bool,
}

/// How often a job is drawn, and from what.
#[derive(Clone, Copy, Debug)]
pub struct Luck {
    /// How many times; above zero.
    pub draws: u32,
    /// What its random numbers follow from.
    pub seed: u64,
}

/// With what chance enough of an item is to be at hand, as fractions of one.
#[derive(Clone, Copy, Debug)]
pub struct Stocking {
    /// Of items whose unopened packs can be handed back.
    pub returnable: Decimal,
    /// Of other items.
    pub other: Decimal,
}

/// Why an offer can't be priced.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum PriceError {
    /// A margin that no price can keep.
    #[error("a margin of {0} % cannot be kept: it must be below 100 %")]
    MarginTooLarge(Decimal),
    /// Discounts that leave nothing to be paid.
    #[error("{off} off leaves nothing of the price of {price}")]
    DiscountTooLarge {
        /// What all discounts come to.
        off: String,
        /// The price that they are taken off.
        price: String,
    },
    /// An item that doesn't keep can't be bought.
    #[error("`{item}` doesn't keep once opened, so its packs decide what it costs")]
    Packs {
        /// The item's name.
        item: String,
        /// What is wrong with its packs.
        source: BuyError,
    },
}

/// Returns the number that a quote's random numbers follow from: the same words give the same ones, on every machine.
pub fn seed_of(words: &str) -> u64 {
    digest(&[words])
}

fn digest(words: &[&str]) -> u64 {
    let mut hasher = SipHasher13::new();
    for word in words {
        hasher.write(word.as_bytes());
        hasher.write_u8(0xff); // No byte of UTF-8: words can't run into each other.
    }
    hasher.finish()
}

/// Prices an offer.
///
/// # Errors
/// Refuses a margin of 100 % or more, and items that don't keep and can't be bought.
pub fn price(offer: Offer, rates: &Rates, currency: Currency) -> Result<Priced, PriceError> {
    check(&offer)?;
    let terms = offer.terms;
    let costing = Costing::of(&offer, rates, currency)?;
    let quote = Quote {
        sequence: offer.sequence.clone(),
        schedule: offer.schedule.clone(),
        rooms: offer.rooms.iter().cloned().map(quoted).collect(),
        lines: costing.lines.clone(),
        replaced: Vec::new(),
        cautions: offer.cautions.clone(),
        terms,
        discounts: offer.discounts.clone(),
        price: Money::ZERO,
        taxed_by: TaxedCosts::default(),
        tax: Money::ZERO,
        rounding: Money::ZERO,
    };
    let quote = quote.taxed_as_it_costs();
    let full = terms.price_for(costing.cost_at(terms.confidence), &quote.taxed_by);
    refuse_all_off(full, &offer.discounts, currency)?;
    let quote = quote.offered(full, &direct_costs(&offer.rooms, &costing.lines));
    let outlook = costing.outlook(&quote, &offer, rates);
    Ok(Priced { quote, outlook })
}

/// Refuses discounts that leave nothing to be paid.
fn refuse_all_off(
    full: Money,
    discounts: &[Discount],
    currency: Currency,
) -> Result<(), PriceError> {
    let off = discounts.iter().map(|off| off.told).sum();
    match discounts.is_empty() || full > off {
        true => Ok(()),
        false => Err(PriceError::DiscountTooLarge {
            off: currency.text(off),
            price: currency.text(full),
        }),
    }
}

/// Returns what setting up costs, once for each phase: all work that belongs to no room, overhead on its labour included.
pub fn set_up_cost(offer: &Offer, currency: Currency) -> Money {
    let set_up = offer.work.iter().filter(|work| work.room.is_none());
    let costs = set_up.map(|work| {
        let line = work_line(work, &offer.terms, currency);
        line.labour + line.labour.times(offer.terms.overhead) + line.item_cost()
    });
    costs.sum()
}

fn check(offer: &Offer) -> Result<(), PriceError> {
    if offer.terms.margin >= Decimal::ONE {
        return Err(PriceError::MarginTooLarge(
            (offer.terms.margin * Decimal::ONE_HUNDRED).normalize(),
        ));
    }
    Ok(())
}

/// An offer's expected cost line by line, and the draws around it.
struct Costing<'a> {
    subjects: Subjects<'a>,
    model: Model,
    draws: Draws,
    lines: Vec<Line>,
    expected: Money,
    /// What all draws are moved by, so that their mean is the expected cost: what isn't drawn (lump sums, driving, planned rentals),
    /// rounding, and the chance in finitely many draws.
    moved: Money,
}

impl<'a> Costing<'a> {
    fn of(offer: &'a Offer, rates: &Rates, currency: Currency) -> Result<Costing<'a>, PriceError> {
        let subjects = Subjects::of(offer);
        let model = drawing::model(&subjects, offer, rates, currency);
        let draws = model
            .draw(offer.luck.draws as usize, offer.luck.seed)
            .map_err(|why| PriceError::Packs {
                item: subjects.items[why.item].item.name.clone(),
                source: why.source,
            })?;
        let lines = quote_lines(offer, &subjects, &draws, currency);
        let expected: Money = lines.iter().map(Line::cost).sum();
        Ok(Costing {
            moved: expected - draws.mean_cost(),
            subjects,
            model,
            draws,
            lines,
            expected,
        })
    }

    /// Returns the cost that isn't exceeded with that chance.
    fn cost_at(&self, level: Decimal) -> Money {
        self.draws.cost_at(level) + self.moved
    }

    fn outlook(&self, quote: &Quote, offer: &Offer, rates: &Rates) -> Outlook {
        let price = quote.price;
        let Costing {
            subjects,
            model,
            draws,
            ..
        } = self;
        Outlook {
            draws: offer.luck.draws,
            seed: offer.luck.seed,
            expected_cost: self.expected,
            cost_at_confidence: self.cost_at(offer.terms.confidence),
            p10: self.cost_at(Decimal::new(1, 1)),
            p50: self.cost_at(Decimal::new(5, 1)),
            p80: self.cost_at(Decimal::new(8, 1)),
            p90: self.cost_at(Decimal::new(9, 1)),
            loss: draws.chance_above(price - self.moved),
            below_margin: draws.chance_above(cost_within(price, offer.terms.margin) - self.moved),
            risks: subjects.risks(draws, model, offer, rates),
            rentals: match &offer.rentals {
                Some(rentals) => subjects.dated_rentals(draws, rentals, offer),
                None => subjects.planned_rentals(draws, offer),
            },
            needs: subjects.needs(draws, offer),
            // A planned house is compared with other plans, and not with jobs that have none.
            room_by_room: (offer.rooms.len() > 1 && offer.rentals.is_none())
                .then(|| self.room_by_room(offer, &quote.taxed_by)),
        }
    }

    /// Returns what the rooms would be offered for together if each were a job of its own, with its own set-up and
    /// rentals, as prices are told. Lump sums and driving come once, in the price of the first room.
    fn room_by_room(&self, offer: &Offer, by: &TaxedCosts) -> Money {
        let terms = &offer.terms;
        let is_lump = |line: &&Line| matches!(line, Line::Other { .. } | Line::Trips(_));
        let lumps = self.lines.iter().filter(is_lump);
        let lumps: Money = lumps
            .map(|line| line.cost() + line.labour().times(terms.overhead))
            .sum();
        let alone = offer.rooms.iter().enumerate().map(|(place, room)| {
            let own = |line: &&Line| {
                matches!(line, Line::Work(_)) && line.room().is_none_or(|id| id == room.id)
            };
            let expected: Money = self.lines.iter().filter(own).map(Line::cost).sum();
            let labour: Money = self.lines.iter().filter(own).map(Line::labour).sum();
            let alone = self.draws.alone_at(place, terms.confidence);
            let moved = expected + labour.times(terms.overhead) - alone.plain;
            let lumps = if place == 0 { lumps } else { Money::ZERO };
            terms.asked_for(alone.at_level + moved + lumps, by)
        });
        alone.sum()
    }
}

/// Returns what a quote is made up of: the work at the take-off's expectation, the rest at the mean of the draws.
fn quote_lines(
    offer: &Offer,
    subjects: &Subjects<'_>,
    draws: &Draws,
    currency: Currency,
) -> Vec<Line> {
    let work = offer.work.iter();
    let mut lines: Vec<Line> = work
        .map(|work| Line::Work(work_line(work, &offer.terms, currency)))
        .collect();
    lines.extend(match &offer.rentals {
        Some(rentals) => planned_rental_lines(rentals, offer),
        None => subjects.rental_lines(draws),
    });
    let driven = offer.road.iter();
    let driven = driven.flat_map(|road| road.trips(offer.visits, &offer.terms, currency));
    lines.extend(driven.map(Line::Trips));
    lines.extend(subjects.opened_lines(draws));
    let others = offer.others.iter().cloned();
    lines.extend(others.map(|LumpSum { what, cost }| Line::Other { what, cost }));
    let labour: Money = lines.iter().map(Line::labour).sum();
    let overhead = labour.times(offer.terms.overhead);
    if !overhead.is_zero() {
        lines.push(Line::Overhead { cost: overhead });
    }
    lines
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
                cost: currency.amount(product([need.expected, *price])),
            }
        });
    WorkLine {
        room: work.room,
        part: work.part,
        operation: work.operation.id,
        name: work.operation.name.clone(),
        task: work.operation.task.clone(),
        driver: work.operation.driver,
        quantity: work.driver,
        passes: work.passes,
        contingency: work.contingency,
        item,
        hours: work.hours,
        labour: currency.amount(product([work.hours, terms.wage, terms.burden])),
    }
}

fn quoted(room: MeasuredRoom) -> QuotedRoom {
    let MeasuredRoom {
        id,
        name,
        area,
        edge,
        steps,
        class,
        parts,
        findings: _,
        contingencies: _,
    } = room;
    QuotedRoom {
        id,
        name,
        area,
        edge,
        steps,
        class,
        parts,
        price: Money::ZERO,
    }
}

fn direct_costs(rooms: &[MeasuredRoom], lines: &[Line]) -> Vec<Decimal> {
    let cost_of = |room: RoomId| {
        let lines = lines.iter().filter(|line| line.room() == Some(room));
        lines.map(|line| Decimal::from(line.cost().minor())).sum()
    };
    rooms.iter().map(|room| cost_of(room.id)).collect()
}
