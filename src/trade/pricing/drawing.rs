//! The job as it is drawn: which quantities it has, what each of them costs, and what each hangs on.
//!
//! Hours of one task in one room are one quantity, as they will be logged and learned from; so is an item of one
//! operation in one room. A part in another condition is as a room of its own. What may turn up is a quantity of its own.

use std::collections::BTreeMap;

use super::subjects::{RentedMachine, Subjects, UsedItem};
use super::{Offer, digest};
use crate::money::{Currency, Decimal, Money, product};
use crate::trade::operation::Item;
use crate::trade::quote::Terms;
use crate::trade::rates::{Asked, FloorClass, RateKind, Rates};
use crate::trade::rental::{Need, Yard};
use crate::trade::simulate::{self, ItemModel, MachineModel, Model, Quantity, Use};
use crate::trade::takeoff::{Contingency, MeasuredRoom, Work};
use crate::trade::{FloorCondition, OperationId};

/// A draw may have a machine out for longer than is expected. The yard's prices are worked out for four times the expected
/// days and 14 days more; whatever lasts longer costs as much as that.
const TIMES_EXPECTED: u32 = 4;
const MORE_DAYS: u32 = 14;

/// Returns the job as it is drawn.
pub(super) fn model(
    subjects: &Subjects<'_>,
    offer: &Offer,
    rates: &Rates,
    currency: Currency,
) -> Model {
    let costs = UnitCosts::new(&offer.terms, currency);
    let machines = subjects.machines.iter();
    let items = subjects.items.iter();
    let mut drawing = Drawing {
        subjects,
        rates,
        model: Model {
            operations: subjects.operations.len(),
            machines: machines
                .map(|rented| machine_model(rented, offer))
                .collect(),
            items: items.map(|used| item_model(used, offer, costs)).collect(),
            rooms: match offer.rooms.len() {
                1 => 0,
                rooms => rooms,
            },
            ..Model::default()
        },
        costs,
        times: BTreeMap::new(),
    };
    drawing.add_all(offer);
    drawing.model
}

fn machine_model(rented: &RentedMachine<'_>, offer: &Offer) -> MachineModel {
    MachineModel {
        totals: yard_totals(rented, offer),
        day_hours: offer.day_hours,
    }
}

/// Returns what the yard asks for each number of half days that may come. A rental that is planned is paid for as it was
/// planned, whatever comes, and is a line of its own: the draws have nothing to ask for.
fn yard_totals(rented: &RentedMachine<'_>, offer: &Offer) -> Vec<Money> {
    if offer.rentals.is_some() {
        return vec![Money::ZERO];
    }
    let expected = Need::for_hours(rented.hours, offer.day_hours).begun();
    let days = Decimal::from(expected * TIMES_EXPECTED + MORE_DAYS);
    let most = Need::days(days).unwrap_or(Need::LONGEST);
    Yard::planned(&rented.machine.tariff, offer.start, most).totals()
}

fn item_model(used: &UsedItem<'_>, offer: &Offer, costs: UnitCosts) -> ItemModel {
    let supply = offer.items.get(&used.item.id);
    ItemModel {
        opened: supply
            .filter(|supply| !supply.kept)
            .map(|supply| supply.packs.clone()),
        unit_cost: costs.of(used.item),
    }
}

/// What an hour and a unit of an item cost, in minor units.
#[derive(Clone, Copy)]
struct UnitCosts {
    hour: Decimal,
    /// Minor units in a major one.
    minor_units: Decimal,
}

impl UnitCosts {
    fn new(terms: &Terms, currency: Currency) -> UnitCosts {
        let minor_units = Decimal::from(10_i64.pow(currency.decimals()));
        let hour = product([terms.wage, terms.burden, Decimal::ONE + terms.overhead]);
        UnitCosts {
            hour: product([hour, minor_units]),
            minor_units,
        }
    }

    fn of(self, item: &Item) -> Decimal {
        product([item.price, self.minor_units])
    }
}

/// Where work is done.
#[derive(Clone, Copy)]
struct Place<'a> {
    /// The room's name; empty for work of the whole job.
    name: &'a str,
    /// The room's place in the offer.
    room: Option<usize>,
    /// The condition of a part of the room; `None`: all of it.
    part: Option<FloorCondition>,
    class: FloorClass,
}

impl<'a> Place<'a> {
    fn of(work: &Work, rooms: &'a [MeasuredRoom]) -> Option<Place<'a>> {
        let Some(id) = work.room else {
            return Some(Place {
                name: "",
                room: None,
                part: None,
                class: rooms.first()?.class,
            });
        };
        let place = rooms.iter().position(|room| room.id == id)?;
        Some(Place {
            name: &rooms[place].name,
            room: Some(place),
            part: work.part,
            class: rooms[place].class.in_part(work.part),
        })
    }

    /// Returns the number that a quantity's random numbers follow from, by its words; those of a part are others.
    fn stream(&self, words: &[&str]) -> u64 {
        let part = self.part.iter().map(|part| part.as_str());
        let words: Vec<&str> = words.iter().copied().chain(part).collect();
        digest(&words)
    }
}

/// Returns the floor that work is done on, its part's if it has one; work for the whole job has the first room's.
pub(super) fn class_of(work: &Work, rooms: &[MeasuredRoom]) -> Option<FloorClass> {
    Place::of(work, rooms).map(|place| place.class)
}

/// Something that may turn up, as it stands in the model.
struct MayTurnUp {
    contingency: usize,
    /// Tells its random numbers from those of work that is sure, and from those of what else may turn up.
    name: String,
}

/// A task's work in a room or in a part of it, or for the whole job.
struct TaskInRoom<'a> {
    place: Place<'a>,
    /// What it consists of, each on its floor.
    works: Vec<(&'a Work, FloorClass)>,
}

/// A model in the making.
struct Drawing<'a> {
    subjects: &'a Subjects<'a>,
    rates: &'a Rates,
    costs: UnitCosts,
    model: Model,
    /// How many times over an operation may turn up in a room, in the work that was gone through so far.
    times: BTreeMap<(&'a str, OperationId), usize>,
}

impl<'a> Drawing<'a> {
    fn add_all(&mut self, offer: &'a Offer) {
        let mut tasks: BTreeMap<_, TaskInRoom<'_>> = BTreeMap::new();
        for work in &offer.work {
            let Some(place) = Place::of(work, &offer.rooms) else {
                continue;
            };
            if let Some(contingency) = work.contingency {
                self.add_uncertain(work, place, contingency);
                continue;
            }
            self.add_item(work, place, None);
            let task = tasks
                .entry((place.name, &work.operation.task.name, place.part))
                .or_insert(TaskInRoom {
                    place,
                    works: Vec::new(),
                });
            task.works.push((work, place.class));
        }
        for ((room, name, _), task) in tasks {
            let stream = task.place.stream(&["hours", room, name]);
            self.add_hours(&task.works, task.place.room, stream, None);
        }
    }

    /// Adds work that may turn up: how much of it, and what it takes.
    fn add_uncertain(&mut self, work: &Work, place: Place<'a>, contingency: Contingency) {
        let operation = &work.operation;
        let times = self.times.entry((place.name, operation.id)).or_default();
        *times += 1;
        let name = format!("may turn up, {times}");
        self.model.contingencies.push(simulate::Contingency {
            chance: contingency.chance,
            low: contingency.low,
            high: contingency.high,
            stream: digest(&["turns up", place.name, &operation.name, &name]),
        });
        let may = MayTurnUp {
            contingency: self.model.contingencies.len() - 1,
            name,
        };
        self.add_item(work, place, Some(&may));
        let stream = digest(&["hours", place.name, &operation.name, &may.name]);
        self.add_hours(
            &[(work, place.class)],
            place.room,
            stream,
            Some(may.contingency),
        );
    }

    /// Adds the item that work takes, if it takes one.
    fn add_item(&mut self, work: &Work, place: Place<'_>, may: Option<&MayTurnUp>) {
        let operation = &work.operation;
        let Some(item) = &operation.item else {
            return;
        };
        let asked = asked(&[(work, place.class)], RateKind::Item);
        let Some(spread) = self.rates.forecast(&asked) else {
            return;
        };
        let name = may.map_or("", |may| may.name.as_str());
        self.model.quantities.push(Quantity {
            spread,
            stream: place.stream(&["item", place.name, &operation.name, name]),
            room: place.room,
            contingency: may.map(|may| may.contingency),
            item: self.subjects.item(item.id),
            unit_cost: self.costs.of(item),
            uses: vec![Use {
                operation: self.subjects.operation(operation),
                machine: None,
            }],
        });
    }

    /// Adds hours that are one quantity, if the book expects any.
    fn add_hours(
        &mut self,
        works: &[(&Work, FloorClass)],
        room: Option<usize>,
        stream: u64,
        contingency: Option<usize>,
    ) {
        let Some(spread) = self.rates.forecast(&asked(works, RateKind::Hours)) else {
            return;
        };
        let uses = works.iter().map(|(work, _)| {
            let machine = work.operation.machine;
            Use {
                operation: self.subjects.operation(&work.operation),
                machine: machine.and_then(|id| self.subjects.machine(id)),
            }
        });
        self.model.quantities.push(Quantity {
            spread,
            stream,
            room,
            contingency,
            item: None,
            unit_cost: self.costs.hour,
            uses: uses.collect(),
        });
    }
}

pub(in crate::trade) fn asked(works: &[(&Work, FloorClass)], kind: RateKind) -> Vec<Asked> {
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
