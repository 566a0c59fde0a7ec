//! Pricing: rooms, methods and rates become a quote.
//!
//! The take-off says what is expected of each line. The same work, drawn many times by `simulate`, says what the
//! whole may cost, and with it what only the whole decides: rentals, which are paid by the period and not by the hour,
//! and what is left in cans that don't keep. Those two are lines of their own, at their mean.
//!
//! The expected cost is the sum of the lines. The mean of the draws misses it by the luck of finitely many draws and by
//! the rounding of the lines, and all quantiles with it; they are moved by that difference, so that a contingency is
//! about risk alone.
//!
//! Hours of one task in one room are one quantity, as they will be logged and learned from; so is an item of one
//! operation in one room. What may turn up is a quantity of its own.

use std::collections::BTreeMap;
use std::hash::Hasher;

use chrono::NaiveDate;
use siphasher::sip::SipHasher13;
use thiserror::Error;

use crate::money::{Currency, Decimal, Money, product, quantity, round};
use crate::trade::buying::{BuyError, PackSize, whole_sets};
use crate::trade::cautions::Caution;
use crate::trade::operation::{Item, Operation};
use crate::trade::plan::Rental;
use crate::trade::quote::{
    Cause, ItemLine, ItemNeed, Line, Outlook, PlannedRental, Priced, Quote, QuotedRoom, Risk,
    Terms, WorkLine,
};
use crate::trade::rates::{Asked, FloorClass, RateKind, Rates};
use crate::trade::rental::{Need, Plan, Tariff, Yard};
use crate::trade::simulate::{self, Draws, MeanRental, Model, Quantity};
use crate::trade::takeoff::{MeasuredRoom, Work};
use crate::trade::{ItemId, MachineId, OperationId, RoomId};

/// Draws may take longer than is expected: rentals have prices up to four times the expected days, plus 14 days.
const LONGEST_RENTAL: (u32, u32) = (4, 14);

/// Decimals of a share of risk, in percent.
const SHARE_DECIMALS: u32 = 1;

/// What a quote is made from.
#[derive(Clone, Debug)]
pub struct Offer {
    /// Name of the sanding sequence.
    pub sequence: Option<String>,
    /// Name of the coating schedule.
    pub schedule: Option<String>,
    /// The rooms.
    pub rooms: Vec<MeasuredRoom>,
    /// The take-off.
    pub work: Vec<Work>,
    /// Lump sums of money: what for, and how much.
    pub others: Vec<(String, Money)>,
    /// The machines of the book: name and tariff.
    pub machines: BTreeMap<MachineId, (String, Tariff)>,
    /// The items of the book, as they are bought.
    pub items: BTreeMap<ItemId, Supply>,
    /// Machine hours in a working day.
    pub day_hours: Decimal,
    /// When the work begins; `None`: not known yet, and no weekend rate is counted on.
    pub start: Option<NaiveDate>,
    /// When machines go out and back, if that is planned; `None`: as long as their hours take.
    pub rentals: Option<Vec<Rental>>,
    /// Cautions that apply.
    pub cautions: Vec<Caution>,
    /// What to price with.
    pub terms: Terms,
    /// How to draw.
    pub luck: Luck,
    /// How sure it is to be that enough is bought.
    pub stocking: Stocking,
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
    /// What the luck is drawn from.
    pub seed: u64,
}

/// How sure it is to be that enough of an item is at hand, as fractions of one.
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
    /// Nothing to do.
    #[error("a quote needs at least one room")]
    NoRooms,
    /// A margin that no price can keep.
    #[error("a margin of {0} % cannot be kept: it must be below 100 %")]
    MarginTooLarge(Decimal),
    /// Work that isn't part of the offer.
    #[error("`{0}` is not part of the offer")]
    NotOffered(String),
    /// An item that doesn't keep can't be bought.
    #[error("`{item}` doesn't keep once opened, so its packs decide what it costs")]
    Packs {
        /// The item's name.
        item: String,
        /// What is wrong with its packs.
        source: BuyError,
    },
}

/// Returns the number that a quote's luck is drawn from: the same words give the same luck, on every machine.
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
/// Refuses an offer without rooms, a margin of 100 % or more, and items that don't keep and can't be bought.
pub fn price(offer: Offer, rates: &Rates, currency: Currency) -> Result<Priced, PriceError> {
    check(&offer)?;
    let terms = offer.terms;
    let costing = Costing::of(&offer, rates, currency)?;
    let price = terms.price_for(costing.cost_at(terms.confidence));
    let outlook = costing.outlook(price, &offer, rates);
    let lines = costing.lines;
    let shares = price.spread(&direct_costs(&offer.rooms, &lines));
    let rooms = offer.rooms.into_iter().zip(shares);
    let quote = Quote {
        sequence: offer.sequence,
        schedule: offer.schedule,
        rooms: rooms.map(|(room, price)| quoted(room, price)).collect(),
        lines,
        cautions: offer.cautions,
        terms,
        price,
        tax: price.share(terms.tax_percent, Decimal::ONE_HUNDRED),
    };
    Ok(Priced { quote, outlook })
}

/// Returns what work for the whole job costs each time that a phase is set up for, overhead on its labour included.
pub fn set_up_cost(offer: &Offer, currency: Currency) -> Money {
    let set_up = offer.work.iter().filter(|work| work.room.is_none());
    let costs = set_up.map(|work| {
        let line = work_line(work, &offer.terms, currency);
        line.labour + line.labour.times(offer.terms.overhead) + line.item_cost()
    });
    costs.sum()
}

fn check(offer: &Offer) -> Result<(), PriceError> {
    if offer.rooms.is_empty() {
        return Err(PriceError::NoRooms);
    }
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
    /// What all draws are moved by: lumps, the rounding of the lines, and the luck of finitely many draws.
    moved: Money,
}

impl<'a> Costing<'a> {
    fn of(offer: &'a Offer, rates: &Rates, currency: Currency) -> Result<Costing<'a>, PriceError> {
        let terms = offer.terms;
        let subjects = Subjects::of(offer);
        let model = subjects.model(offer, rates, currency)?;
        let draws = model
            .draw(offer.luck.draws as usize, offer.luck.seed)
            .map_err(|why| PriceError::Packs {
                item: subjects.items[why.item].0.name.clone(),
                source: why.source,
            })?;
        let mut lines: Vec<Line> = offer
            .work
            .iter()
            .map(|work| Line::Work(work_line(work, &terms, currency)))
            .collect();
        lines.extend(match &offer.rentals {
            Some(rentals) => lines_of(rentals, offer),
            None => subjects.rental_lines(&draws),
        });
        lines.extend(subjects.opened_lines(&draws));
        let others = offer.others.iter().cloned();
        lines.extend(others.map(|(what, cost)| Line::Other { what, cost }));
        let labour: Money = lines.iter().map(labour_of).sum();
        let overhead = labour.times(terms.overhead);
        if !overhead.is_zero() {
            lines.push(Line::Overhead { cost: overhead });
        }
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

    fn outlook(&self, price: Money, offer: &Offer, rates: &Rates) -> Outlook {
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
            risks: subjects.risks(draws, model, offer, rates),
            rentals: match &offer.rentals {
                Some(rentals) => subjects.dated_rentals(draws, rentals, offer),
                None => subjects.planned_rentals(draws, offer),
            },
            needs: subjects.needs(draws, offer),
            // A planned house is compared with other plans, and not with jobs that have none.
            room_by_room: (offer.rooms.len() > 1 && offer.rentals.is_none())
                .then(|| self.room_by_room(offer)),
        }
    }

    /// Returns what the rooms would be offered for together if each were a job of its own, with its own set-up and
    /// rentals. A lump sum is for the house: it comes once, whoever's price it is in.
    fn room_by_room(&self, offer: &Offer) -> Money {
        let terms = &offer.terms;
        let lumps: Money = offer.others.iter().map(|(_, cost)| *cost).sum();
        let alone = offer.rooms.iter().enumerate().map(|(place, room)| {
            let own = |line: &&Line| {
                matches!(line, Line::Work(_)) && line.room().is_none_or(|id| id == room.id)
            };
            let expected: Money = self.lines.iter().filter(own).map(Line::cost).sum();
            let labour: Money = self.lines.iter().filter(own).map(labour_of).sum();
            let alone = self.draws.alone_at(place, terms.confidence);
            let moved = expected + labour.times(terms.overhead) - alone.plain;
            let lumps = if place == 0 { lumps } else { Money::ZERO };
            terms.price_for(alone.at_level + moved + lumps)
        });
        alone.sum()
    }
}

fn labour_of(line: &Line) -> Money {
    match line {
        Line::Work(work) => work.labour,
        Line::Rental { .. } | Line::Opened { .. } | Line::Other { .. } | Line::Overhead { .. } => {
            Money::ZERO
        }
    }
}

/// What a job's cost and risk are told apart by.
struct Subjects<'a> {
    /// Its operations, in the order of the work.
    operations: Vec<&'a Operation>,
    /// Its rented machines, with name and tariff and the hours expected of them.
    machines: Vec<(MachineId, &'a str, &'a Tariff, Decimal)>,
    /// Its items, each with the operations that take it.
    items: Vec<(&'a Item, Vec<&'a Operation>)>,
}

impl<'a> Subjects<'a> {
    fn of(offer: &'a Offer) -> Subjects<'a> {
        let mut subjects = Subjects {
            operations: Vec::new(),
            machines: Vec::new(),
            items: Vec::new(),
        };
        for work in &offer.work {
            let operation = &work.operation;
            if !subjects
                .operations
                .iter()
                .any(|known| known.id == operation.id)
            {
                subjects.operations.push(operation);
            }
            if let Some((id, (name, tariff))) = operation
                .machine
                .and_then(|id| Some((id, offer.machines.get(&id)?)))
            {
                match subjects.machine(id) {
                    Some(place) => subjects.machines[place].3 += work.hours,
                    None => subjects.machines.push((id, name, tariff, work.hours)),
                }
            }
            if let Some(item) = &operation.item {
                match subjects.item(item.id) {
                    Some(place) => {
                        let users = &mut subjects.items[place].1;
                        if !users.iter().any(|known| known.id == operation.id) {
                            users.push(operation);
                        }
                    }
                    None => subjects.items.push((item, vec![operation])),
                }
            }
        }
        subjects
    }

    fn operation(&self, operation: &Operation) -> Result<usize, PriceError> {
        let mut operations = self.operations.iter();
        operations
            .position(|known| known.id == operation.id)
            .ok_or_else(|| PriceError::NotOffered(operation.name.clone()))
    }

    fn machine(&self, id: MachineId) -> Option<usize> {
        self.machines.iter().position(|(known, ..)| *known == id)
    }

    fn item(&self, id: ItemId) -> Option<usize> {
        self.items.iter().position(|(known, _)| known.id == id)
    }

    /// Returns the job as it is drawn.
    fn model(&self, offer: &Offer, rates: &Rates, currency: Currency) -> Result<Model, PriceError> {
        let terms = &offer.terms;
        let minor =
            |major: Decimal| product([major, Decimal::from(10_i64.pow(currency.decimals()))]);
        let hour = minor(product([
            terms.wage,
            terms.burden,
            Decimal::ONE + terms.overhead,
        ]));
        let mut model = Model {
            operations: self.operations.len(),
            machines: self
                .machines
                .iter()
                .map(|(_, _, tariff, hours)| simulate::MachineModel {
                    totals: yard_totals(tariff, *hours, offer),
                    day_hours: offer.day_hours,
                })
                .collect(),
            items: self
                .items
                .iter()
                .map(|(item, _)| simulate::ItemModel {
                    opened: offer
                        .items
                        .get(&item.id)
                        .filter(|supply| !supply.kept)
                        .map(|supply| supply.packs.clone()),
                    unit_cost: minor(item.price),
                })
                .collect(),
            rooms: match offer.rooms.len() {
                1 => 0,
                rooms => rooms,
            },
            ..Model::default()
        };
        let room_of = |work: &Work| {
            offer
                .rooms
                .iter()
                .position(|room| Some(room.id) == work.room)
        };
        let mut may: BTreeMap<(&str, OperationId), usize> = BTreeMap::new();
        // Hours of one task in one room are one quantity.
        let mut together: BTreeMap<(&str, &str), Vec<(&Work, FloorClass)>> = BTreeMap::new();
        for work in &offer.work {
            let Some((room, class)) = place_of(work, &offer.rooms) else {
                continue;
            };
            let operation = &work.operation;
            let contingency = work.contingency.map(|contingency| {
                let earlier = may.entry((room, operation.id)).or_insert(0_usize);
                *earlier += 1;
                let name = format!("may turn up, {earlier}");
                model.contingencies.push(simulate::Contingency {
                    chance: contingency.chance,
                    low: contingency.low,
                    high: contingency.high,
                    stream: digest(&["turns up", room, &operation.name, &name]),
                });
                (model.contingencies.len() - 1, name)
            });
            // What tells the luck of what may turn up from that of what is sure.
            let (contingency, luck) = match &contingency {
                Some((place, name)) => (Some(*place), name.as_str()),
                None => (None, ""),
            };
            if let Some(item) = &operation.item
                && let Some(spread) = rates.forecast(&asked(&[(work, class)], RateKind::Item))
            {
                model.quantities.push(Quantity {
                    spread,
                    stream: digest(&["item", room, &operation.name, luck]),
                    room: room_of(work),
                    contingency,
                    item: self.item(item.id),
                    unit_cost: minor(item.price),
                    uses: vec![simulate::Use {
                        operation: self.operation(operation)?,
                        machine: None,
                    }],
                });
            }
            if contingency.is_some() {
                let stream = digest(&["hours", room, &operation.name, luck]);
                let hours = self.hours(&[(work, class)], stream, hour, rates)?;
                model.quantities.extend(hours.map(|hours| Quantity {
                    room: room_of(work),
                    contingency,
                    ..hours
                }));
                continue;
            }
            let task = operation.task.name.as_str();
            together
                .entry((room, task))
                .or_default()
                .push((work, class));
        }
        for ((room, task), works) in together {
            let stream = digest(&["hours", room, task]);
            let hours = self.hours(&works, stream, hour, rates)?;
            let place = works.first().and_then(|(work, _)| room_of(work));
            model.quantities.extend(hours.map(|hours| Quantity {
                room: place,
                ..hours
            }));
        }
        Ok(model)
    }

    /// Returns hours that are one quantity, sure and of the whole job as far as is known here.
    fn hours(
        &self,
        works: &[(&Work, FloorClass)],
        stream: u64,
        hour: Decimal,
        rates: &Rates,
    ) -> Result<Option<Quantity>, PriceError> {
        let Some(spread) = rates.forecast(&asked(works, RateKind::Hours)) else {
            return Ok(None);
        };
        let uses = works.iter().map(|(work, _)| {
            Ok(simulate::Use {
                operation: self.operation(&work.operation)?,
                machine: work.operation.machine.and_then(|id| self.machine(id)),
            })
        });
        Ok(Some(Quantity {
            spread,
            stream,
            room: None,
            contingency: None,
            item: None,
            unit_cost: hour,
            uses: uses.collect::<Result<_, _>>()?,
        }))
    }

    /// Returns a line for each machine, at its mean days and cost.
    fn rental_lines(&self, draws: &Draws) -> Vec<Line> {
        let machines = self.machines.iter().enumerate();
        machines
            .map(|(place, (machine, name, tariff, _))| {
                let mean = draws.rental(place);
                Line::Rental {
                    machine: *machine,
                    name: (*name).to_owned(),
                    days: round(mean.days, 2),
                    cost: mean.cost,
                    once: once_of(tariff, &mean),
                    tariff: (*tariff).clone(),
                }
            })
            .filter(|line| !line.cost().is_zero())
            .collect()
    }

    /// Returns a line for each item of which something is left in opened packs.
    fn opened_lines(&self, draws: &Draws) -> Vec<Line> {
        let items = self.items.iter().enumerate();
        items
            .map(|(place, (item, _))| {
                let left = draws.left(place);
                Line::Opened {
                    item: item.id,
                    name: item.name.clone(),
                    unit: item.unit,
                    left: round(left.units, 2),
                    cost: left.cost,
                }
            })
            .filter(|line| !line.cost().is_zero())
            .collect()
    }

    /// Returns what to rent for the hours at the confidence.
    fn planned_rentals(&self, draws: &Draws, offer: &Offer) -> Vec<PlannedRental> {
        let machines = self.machines.iter().enumerate();
        machines
            .map(|(place, (machine, name, tariff, _))| {
                let hours = draws.machine_hours_at(place, offer.terms.confidence);
                PlannedRental {
                    machine: *machine,
                    name: (*name).to_owned(),
                    hours,
                    plan: Plan::new(tariff, Need::for_hours(hours, offer.day_hours), offer.start),
                }
            })
            .filter(|rental| rental.hours > Decimal::ZERO)
            .collect()
    }

    /// Returns what to rent as it was planned; the machine's hours at the confidence are shared out by days.
    fn dated_rentals(
        &self,
        draws: &Draws,
        rentals: &[Rental],
        offer: &Offer,
    ) -> Vec<PlannedRental> {
        let days = |rental: &Rental| Decimal::from(rental.days());
        let planned = rentals.iter().map(|rental| {
            let of_machine = rentals
                .iter()
                .filter(|other| other.machine == rental.machine);
            let all: Decimal = of_machine.map(days).sum();
            let hours = self.machine(rental.machine).map_or(Decimal::ZERO, |place| {
                draws.machine_hours_at(place, offer.terms.confidence)
            });
            PlannedRental {
                machine: rental.machine,
                name: rental.name.clone(),
                hours: quantity(hours * days(rental) / all),
                plan: rental.plan.clone(),
            }
        });
        planned.collect()
    }

    /// Returns how much of each item to have at hand.
    fn needs(&self, draws: &Draws, offer: &Offer) -> Vec<ItemNeed> {
        let items = self.items.iter().enumerate();
        items
            .map(|(place, (item, users))| {
                let supply = offer.items.get(&item.id);
                let confidence = match supply.is_some_and(|supply| supply.returnable) {
                    true => offer.stocking.returnable,
                    false => offer.stocking.other,
                };
                let works = offer.work.iter().filter(|work| {
                    work.operation
                        .item
                        .as_ref()
                        .is_some_and(|used| used.id == item.id)
                });
                ItemNeed {
                    item: item.id,
                    expected: works.filter_map(|work| Some(work.item?.expected)).sum(),
                    need: in_sets(draws.item_at(place, confidence), users),
                    confidence,
                }
            })
            .filter(|need| need.need > Decimal::ZERO)
            .collect()
    }

    /// Returns what drives the risk.
    fn risks(&self, draws: &Draws, model: &Model, offer: &Offer, rates: &Rates) -> Vec<Risk> {
        let operations = self.operations.iter().zip(model.causes());
        let operations = operations.map(|(operation, cause)| {
            let rooms = rooms_behind(operation, offer, rates);
            (operation.name.clone(), cause, rooms)
        });
        let machines = self.machines.iter();
        let machines =
            machines.map(|(_, name, ..)| (format!("rental of {name}"), Cause::Rental, 0));
        let items = self.items.iter();
        let items = items.map(|(item, _)| (format!("opened {}", item.name), Cause::Pack, 0));
        let named = operations.chain(machines).chain(items);
        let shares = percents(&draws.shares());
        let mut risks: Vec<Risk> = named
            .zip(shares)
            .filter(|(_, share)| *share > Decimal::ZERO)
            .map(|((operation, cause, rooms), share_percent)| Risk {
                operation,
                share_percent,
                cause,
                rooms,
            })
            .collect();
        risks.sort_by_key(|risk| std::cmp::Reverse(risk.share_percent));
        risks
    }
}

/// Returns how many finished rooms the rate rests on that an operation's cost depends on most: its hours, if it has any.
fn rooms_behind(operation: &Operation, offer: &Offer, rates: &Rates) -> usize {
    let work = offer
        .work
        .iter()
        .find(|work| work.operation.id == operation.id);
    let class = work.and_then(|work| place_of(work, &offer.rooms));
    let row = class.and_then(|(_, class)| rates.row_for(operation, RateKind::Hours, class));
    row.map_or(0, |row| row.rooms)
}

/// Returns the room's name and the floor that work is done on; work for the whole job has the first room's floor.
fn place_of<'a>(work: &Work, rooms: &'a [MeasuredRoom]) -> Option<(&'a str, FloorClass)> {
    match work.room {
        Some(id) => {
            let room = rooms.iter().find(|room| room.id == id)?;
            Some((&room.name, room.class))
        }
        None => Some(("", rooms.first()?.class)),
    }
}

pub(super) fn asked(works: &[(&Work, FloorClass)], kind: RateKind) -> Vec<Asked> {
    let works = works.iter();
    works
        .map(|(work, class)| Asked {
            job: 0,
            operation: work.operation.id,
            kind,
            class: *class,
            driver: work.driver,
            passes: work.passes,
        })
        .collect()
}

/// Returns what of a mean cost is waiver and cleaning: cleaning as often as the machine is rented, the waiver on the rest.
fn once_of(tariff: &Tariff, mean: &MeanRental) -> Money {
    let periods_and_waiver = mean.cost - tariff.cleaning.times(mean.chance);
    let with_waiver = Decimal::ONE_HUNDRED + tariff.waiver_percent;
    mean.cost - periods_and_waiver.share(Decimal::ONE_HUNDRED, with_waiver)
}

/// Returns a line for each machine of planned rentals.
fn lines_of(rentals: &[Rental], offer: &Offer) -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    for rental in rentals {
        let cover = &rental.plan.cover;
        let known = lines.iter_mut().find_map(|line| match line {
            Line::Rental {
                machine,
                days,
                cost,
                once,
                ..
            } if *machine == rental.machine => Some((days, cost, once)),
            _ => None,
        });
        match (known, offer.machines.get(&rental.machine)) {
            (Some((days, cost, once)), _) => {
                *days += Decimal::from(rental.days());
                *cost += cover.total();
                *once += cover.once();
            }
            (None, Some((_, tariff))) => lines.push(Line::Rental {
                machine: rental.machine,
                name: rental.name.clone(),
                days: Decimal::from(rental.days()),
                cost: cover.total(),
                once: cover.once(),
                tariff: tariff.clone(),
            }),
            (None, None) => {}
        }
    }
    lines
}

/// Returns what the yard asks for each number of half days that may come; what is planned is paid for whatever comes.
fn yard_totals(tariff: &Tariff, hours: Decimal, offer: &Offer) -> Vec<Money> {
    if offer.rentals.is_some() {
        return vec![Money::ZERO];
    }
    let (times, more) = LONGEST_RENTAL;
    let days = Need::for_hours(hours, offer.day_hours).begun() * times + more;
    let most = Need::days(Decimal::from(days)).unwrap_or(Need::LONGEST);
    Yard::planned(tariff, offer.start, most).totals()
}

/// Rounds a need to whole sets, if the operations that take the item change it in sets.
fn in_sets(units: Decimal, users: &[&Operation]) -> Decimal {
    let mut sizes = users.iter().map(|operation| operation.set_size);
    let Some(Some(first)) = sizes.next() else {
        return units;
    };
    // Operations that change different sets of one item: what is needed is counted one by one.
    let all_alike = sizes.all(|size| size == Some(first));
    whole_sets(units, if all_alike { first } else { 1 })
}

/// Returns shares as percents of one decimal that sum to 100: the largest remainders are rounded up. A part that moves
/// against the whole takes no risk, and has none.
fn percents(shares: &[Decimal]) -> Vec<Decimal> {
    let steps = Decimal::from(100 * 10_i64.pow(SHARE_DECIMALS));
    let total: Decimal = shares.iter().map(|share| (*share).max(Decimal::ZERO)).sum();
    if total.is_zero() {
        return vec![Decimal::ZERO; shares.len()];
    }
    let exact: Vec<Decimal> = shares
        .iter()
        .map(|share| (*share).max(Decimal::ZERO) * steps / total)
        .collect();
    let mut whole: Vec<Decimal> = exact.iter().map(Decimal::floor).collect();
    let mut missing = steps - whole.iter().sum::<Decimal>();
    let mut by_rest: Vec<usize> = (0..exact.len()).collect();
    by_rest.sort_by_key(|place| std::cmp::Reverse(exact[*place].fract()));
    for place in by_rest {
        if missing < Decimal::ONE {
            break;
        }
        whole[place] += Decimal::ONE;
        missing -= Decimal::ONE;
    }
    let scale = Decimal::from(10_i64.pow(SHARE_DECIMALS));
    whole.into_iter().map(|steps| steps / scale).collect()
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

fn quoted(room: MeasuredRoom, price: Money) -> QuotedRoom {
    let MeasuredRoom {
        id,
        name,
        area,
        edge,
        steps,
        class,
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
        price,
    }
}

fn direct_costs(rooms: &[MeasuredRoom], lines: &[Line]) -> Vec<Decimal> {
    let cost_of = |room: RoomId| {
        let lines = lines.iter().filter(|line| line.room() == Some(room));
        lines.map(|line| Decimal::from(line.cost().minor())).sum()
    };
    rooms.iter().map(|room| cost_of(room.id)).collect()
}
