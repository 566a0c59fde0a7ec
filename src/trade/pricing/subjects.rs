//! What a job's cost and risk are told apart by: its operations, machines and items; and the lines that only the draws
//! decide.

use super::Offer;
use crate::money::{Decimal, Money, round};
use crate::trade::operation::{Item, Operation};
use crate::trade::plan::{Machine, Rental};
use crate::trade::quote::Line;
use crate::trade::rental::Tariff;
use crate::trade::simulate::{Draws, MeanRental};
use crate::trade::takeoff::Work;
use crate::trade::{ItemId, MachineId};

/// What a job's cost and risk are told apart by; the model and the draws name them by their places.
pub(super) struct Subjects<'a> {
    /// Its operations, in the order of the work.
    pub(super) operations: Vec<&'a Operation>,
    pub(super) machines: Vec<RentedMachine<'a>>,
    pub(super) items: Vec<UsedItem<'a>>,
}

/// A machine that is rented for a job.
pub(super) struct RentedMachine<'a> {
    pub(super) machine: &'a Machine,
    /// The hours expected of it.
    pub(super) hours: Decimal,
}

/// An item that a job uses.
pub(super) struct UsedItem<'a> {
    pub(super) item: &'a Item,
    /// The operations that take it.
    pub(super) users: Vec<&'a Operation>,
}

impl<'a> Subjects<'a> {
    pub(super) fn of(offer: &'a Offer) -> Subjects<'a> {
        let mut subjects = Subjects {
            operations: Vec::new(),
            machines: Vec::new(),
            items: Vec::new(),
        };
        for work in &offer.work {
            add_once(&mut subjects.operations, &work.operation);
            subjects.add_machine(work, offer);
            subjects.add_item(&work.operation);
        }
        subjects
    }

    fn add_machine(&mut self, work: &Work, offer: &'a Offer) {
        let Some(id) = work.operation.machine else {
            return;
        };
        let Some(machine) = offer.machines.get(&id) else {
            return;
        };
        match self.machine(id) {
            Some(place) => self.machines[place].hours += work.hours,
            None => self.machines.push(RentedMachine {
                machine,
                hours: work.hours,
            }),
        }
    }

    fn add_item(&mut self, operation: &'a Operation) {
        let Some(item) = &operation.item else {
            return;
        };
        match self.item(item.id) {
            Some(place) => add_once(&mut self.items[place].users, operation),
            None => self.items.push(UsedItem {
                item,
                users: vec![operation],
            }),
        }
    }

    pub(super) fn operation(&self, operation: &Operation) -> usize {
        let mut operations = self.operations.iter();
        let place = operations.position(|known| known.id == operation.id);
        place.expect("the work of an offer names its operations")
    }

    pub(super) fn machine(&self, id: MachineId) -> Option<usize> {
        let mut machines = self.machines.iter();
        machines.position(|rented| rented.machine.id == id)
    }

    pub(super) fn item(&self, id: ItemId) -> Option<usize> {
        self.items.iter().position(|used| used.item.id == id)
    }

    /// Returns a line for each machine, at its mean days and cost.
    pub(super) fn rental_lines(&self, draws: &Draws) -> Vec<Line> {
        let machines = self.machines.iter().enumerate();
        machines
            .map(|(place, RentedMachine { machine, .. })| {
                let mean = draws.rental(place);
                Line::Rental {
                    machine: machine.id,
                    name: machine.name.clone(),
                    days: round(mean.days, 2),
                    cost: mean.cost,
                    once: once_of(&machine.tariff, &mean),
                    tariff: machine.tariff.clone(),
                }
            })
            .filter(|line| !line.cost().is_zero())
            .collect()
    }

    /// Returns a line for each item of which something is left in opened packs.
    pub(super) fn opened_lines(&self, draws: &Draws) -> Vec<Line> {
        let items = self.items.iter().enumerate();
        items
            .map(|(place, UsedItem { item, .. })| {
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
}

fn add_once<'a>(operations: &mut Vec<&'a Operation>, operation: &'a Operation) {
    if !operations.iter().any(|known| known.id == operation.id) {
        operations.push(operation);
    }
}

/// Returns how much of a mean cost is waiver and cleaning. Cleaning is paid in those draws in which the machine is rented
/// at all; the rest is periods and the waiver on them.
fn once_of(tariff: &Tariff, mean: &MeanRental) -> Money {
    let periods_and_waiver = mean.cost - tariff.cleaning.times(mean.chance);
    let with_waiver = Decimal::ONE_HUNDRED + tariff.waiver_percent;
    mean.cost - periods_and_waiver.share(Decimal::ONE_HUNDRED, with_waiver)
}

/// Returns a line for each machine of planned rentals.
pub(super) fn planned_rental_lines(rentals: &[Rental], offer: &Offer) -> Vec<Line> {
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
            (None, Some(machine)) => lines.push(Line::Rental {
                machine: rental.machine,
                name: rental.name.clone(),
                days: Decimal::from(rental.days()),
                cost: cover.total(),
                once: cover.once(),
                tariff: machine.tariff.clone(),
            }),
            (None, None) => {}
        }
    }
    lines
}
