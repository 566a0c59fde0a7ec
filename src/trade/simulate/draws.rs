//! What came of all draws: what is collected of each block, and what is asked of it afterwards.

use rust_decimal::prelude::ToPrimitive;

use super::Model;
use super::run::JobTakes;
use crate::money::{Decimal, Money, counted, quantity, round};

/// What came of all draws.
#[derive(Clone, Debug)]
pub(in crate::trade) struct Draws {
    /// The whole cost of each draw, in minor units, in rising order.
    pub(super) costs: Vec<f64>,
    machines: Vec<MachineDraws>,
    items: Vec<ItemDraws>,
    /// What part of the variance comes from each subject; they sum to 1, or are nothing if nothing varies.
    pub(super) shares: BySubject<f64>,
    rooms: Vec<RoomDraws>,
}

/// What came of a machine.
#[derive(Clone, Debug)]
struct MachineDraws {
    hours: Vec<f64>,
    rental: MeanRental,
}

/// What a machine's rental comes to in the mean of the draws.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::trade) struct MeanRental {
    /// What the yard asks.
    pub(in crate::trade) cost: Money,
    /// For how many days.
    pub(in crate::trade) days: Decimal,
    /// In what part of the draws the machine is rented at all.
    pub(in crate::trade) chance: Decimal,
}

/// What came of an item.
#[derive(Clone, Debug)]
struct ItemDraws {
    units: Vec<f64>,
    left: MeanLeft,
}

/// What is left in an item's opened packs in the mean of the draws.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::trade) struct MeanLeft {
    /// What it costs: the packs, less what is used at its unit price.
    pub(in crate::trade) cost: Money,
    /// How much it is.
    pub(in crate::trade) units: Decimal,
}

/// What came of a room as a job of its own.
#[derive(Clone, Debug)]
struct RoomDraws {
    costs: Vec<f64>,
    /// The mean cost of what isn't paid in steps.
    plain: f64,
}

/// What a room costs as a job of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::trade) struct RoomCost {
    /// The cost that isn't exceeded with the chance that was asked for.
    pub(in crate::trade) at_level: Money,
    /// The mean cost of what isn't paid in steps.
    pub(in crate::trade) plain: Money,
}

/// One of something for each thing that the risk is told apart by.
#[derive(Clone, Debug)]
pub(super) struct BySubject<T> {
    pub(super) operations: Vec<T>,
    /// By machine.
    pub(super) rentals: Vec<T>,
    /// By item: what is left in its opened packs.
    pub(super) opened: Vec<T>,
}

impl<T> BySubject<T> {
    pub(super) fn new(model: &Model, one: impl Fn() -> T) -> BySubject<T> {
        let many = |count: usize| (0..count).map(|_| one()).collect();
        BySubject {
            operations: many(model.operations),
            rentals: many(model.machines.len()),
            opened: many(model.items.len()),
        }
    }

    /// Returns all of them: operations, then rentals, then opened packs.
    pub(super) fn all(&self) -> impl Iterator<Item = &T> {
        let sure = self.operations.iter().chain(&self.rentals);
        sure.chain(&self.opened)
    }

    pub(super) fn all_mut(&mut self) -> impl Iterator<Item = &mut T> {
        let sure = self.operations.iter_mut().chain(&mut self.rentals);
        sure.chain(&mut self.opened)
    }
}

/// What is kept of all blocks.
pub(super) struct Collected {
    costs: Vec<f64>,
    machines: Vec<CollectedMachine>,
    items: Vec<CollectedItem>,
    subjects: BySubject<SubjectSums>,
    rooms: Vec<CollectedRoom>,
}

struct CollectedMachine {
    hours: Vec<f64>,
    /// Half days that it is out, of all draws.
    half_days: f64,
    /// Draws in which it is rented at all.
    rented: f64,
}

struct CollectedItem {
    units: Vec<f64>,
    /// Units left in its opened packs, of all draws.
    left: f64,
}

struct CollectedRoom {
    costs: Vec<f64>,
    /// Cost of what isn't paid in steps, of all draws.
    plain: f64,
}

/// A subject's cost, summed over all draws.
#[derive(Default)]
struct SubjectSums {
    cost: f64,
    /// Its cost times the whole cost of the draw.
    times_whole: f64,
}

impl Collected {
    pub(super) fn new(model: &Model, draws: usize) -> Collected {
        let column = || Vec::with_capacity(draws);
        let (machines, items) = (model.machines.iter(), model.items.iter());
        Collected {
            costs: column(),
            machines: machines
                .map(|_| CollectedMachine {
                    hours: column(),
                    half_days: 0.0,
                    rented: 0.0,
                })
                .collect(),
            items: items
                .map(|_| CollectedItem {
                    units: column(),
                    left: 0.0,
                })
                .collect(),
            subjects: BySubject::new(model, SubjectSums::default),
            rooms: (0..model.rooms)
                .map(|_| CollectedRoom {
                    costs: column(),
                    plain: 0.0,
                })
                .collect(),
        }
    }

    /// Adds a draw's rental of a machine.
    #[inline]
    pub(super) fn add_rental(&mut self, machine: usize, half_days: usize) {
        let machine = &mut self.machines[machine];
        machine.half_days += half_days as f64;
        machine.rented += f64::from(u8::from(half_days > 0));
    }

    /// Adds what is left in an item's opened packs in the draws of a block.
    pub(super) fn add_left(&mut self, item: usize, units: f64) {
        self.items[item].left += units;
    }

    /// Adds a block of the whole job: what each draw costs, and what makes it up.
    pub(super) fn add_job(&mut self, costs: &[f64], job: &JobTakes) {
        let size = costs.len();
        for (subject, sums) in job.costs.all().zip(self.subjects.all_mut()) {
            sums.add(&subject[..size], costs);
        }
        self.costs.extend_from_slice(costs);
        for (machine, hours) in self.machines.iter_mut().zip(&job.machine_hours) {
            machine.hours.extend_from_slice(&hours[..size]);
        }
        for (item, units) in self.items.iter_mut().zip(&job.items) {
            item.units.extend_from_slice(&units[..size]);
        }
    }

    /// Adds a block of a room as a job of its own.
    pub(super) fn add_alone(&mut self, room: usize, costs: &[f64], plain: f64) {
        let room = &mut self.rooms[room];
        room.costs.extend_from_slice(costs);
        room.plain += plain;
    }

    pub(super) fn finish(self) -> Draws {
        let Collected {
            mut costs,
            machines,
            items,
            subjects,
            rooms,
        } = self;
        let draws = costs.len() as f64;
        costs.sort_unstable_by(f64::total_cmp);
        Draws {
            costs,
            machines: machines
                .into_iter()
                .zip(&subjects.rentals)
                .map(|(machine, sums)| machine.finish(sums, draws))
                .collect(),
            items: items
                .into_iter()
                .zip(&subjects.opened)
                .map(|(item, sums)| item.finish(sums, draws))
                .collect(),
            shares: shares_of_variance(&subjects, draws),
            rooms: rooms
                .into_iter()
                .map(|room| RoomDraws {
                    costs: room.costs,
                    plain: room.plain / draws,
                })
                .collect(),
        }
    }
}

impl CollectedMachine {
    fn finish(self, sums: &SubjectSums, draws: f64) -> MachineDraws {
        MachineDraws {
            hours: self.hours,
            rental: MeanRental {
                cost: money(sums.cost / draws),
                days: decimal(self.half_days / 2.0 / draws),
                chance: decimal(self.rented / draws),
            },
        }
    }
}

impl CollectedItem {
    fn finish(self, sums: &SubjectSums, draws: f64) -> ItemDraws {
        ItemDraws {
            units: self.units,
            left: MeanLeft {
                cost: money(sums.cost / draws),
                units: decimal(self.left / draws),
            },
        }
    }
}

impl SubjectSums {
    fn add(&mut self, costs: &[f64], wholes: &[f64]) {
        for (cost, whole) in costs.iter().zip(wholes) {
            self.cost += cost;
            self.times_whole += cost * whole;
        }
    }
}

/// Returns Cov(subject, whole) / Var(whole) of each subject.
fn shares_of_variance(subjects: &BySubject<SubjectSums>, draws: f64) -> BySubject<f64> {
    let whole = subjects.all().map(|sums| sums.cost).sum::<f64>() / draws;
    let covariance = |sums: &SubjectSums| sums.times_whole - sums.cost * whole;
    let variance: f64 = subjects.all().map(covariance).sum();
    let share = |sums: &SubjectSums| {
        if variance > 0.0 {
            covariance(sums) / variance
        } else {
            0.0
        }
    };
    let shares = |subjects: &[SubjectSums]| subjects.iter().map(share).collect();
    BySubject {
        operations: shares(&subjects.operations),
        rentals: shares(&subjects.rentals),
        opened: shares(&subjects.opened),
    }
}

impl Draws {
    /// Returns the mean cost.
    pub(in crate::trade) fn mean_cost(&self) -> Money {
        money(mean(&self.costs))
    }

    /// Returns the cost that isn't exceeded with that chance.
    pub(in crate::trade) fn cost_at(&self, level: Decimal) -> Money {
        money(self.costs[place_of(level, self.costs.len())])
    }

    /// Returns the chance of a higher cost, as a fraction of one.
    pub(in crate::trade) fn chance_above(&self, cost: Money) -> Decimal {
        let within = self
            .costs
            .partition_point(|drawn| *drawn <= cost.minor() as f64);
        let above = Decimal::from(self.costs.len() - within);
        round(above / Decimal::from(self.costs.len()), 4)
    }

    /// Returns the hours of a machine that aren't exceeded with that chance.
    pub(in crate::trade) fn machine_hours_at(&self, machine: usize, level: Decimal) -> Decimal {
        decimal(at(&self.machines[machine].hours, level))
    }

    /// Returns a machine's rental in the mean.
    pub(in crate::trade) fn rental(&self, machine: usize) -> MeanRental {
        self.machines[machine].rental
    }

    /// Returns the units of an item that aren't exceeded with that chance.
    pub(in crate::trade) fn item_at(&self, item: usize, level: Decimal) -> Decimal {
        decimal(at(&self.items[item].units, level))
    }

    /// Returns what is left in an item's opened packs in the mean; of an item that keeps, nothing.
    pub(in crate::trade) fn left(&self, item: usize) -> MeanLeft {
        self.items[item].left
    }

    /// Returns what a room costs as a job of its own, at the cost that isn't exceeded with that chance.
    pub(in crate::trade) fn alone_at(&self, room: usize, level: Decimal) -> RoomCost {
        let RoomDraws { costs, plain } = &self.rooms[room];
        RoomCost {
            at_level: money(at(costs, level)),
            plain: money(*plain),
        }
    }

    /// Returns what part of the variance comes from each operation, then each rental, then each item's opened packs.
    pub(in crate::trade) fn shares(&self) -> Vec<Decimal> {
        self.shares.all().map(|share| decimal(*share)).collect()
    }
}

pub(super) fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Returns the least draw that isn't exceeded with that chance.
fn at(draws: &[f64], level: Decimal) -> f64 {
    let mut draws = draws.to_vec();
    let place = place_of(level, draws.len());
    let (_, found, _) = draws.select_nth_unstable_by(place, f64::total_cmp);
    *found
}

/// Returns the place of that draw in rising order.
fn place_of(level: Decimal, draws: usize) -> usize {
    let place = (level * Decimal::from(draws)).ceil().to_usize();
    place.unwrap_or(draws).clamp(1, draws) - 1
}

fn money(minor: f64) -> Money {
    let minor = counted(Decimal::try_from(minor).ok());
    Money::from_minor(counted(round(minor, 0).to_i64()))
}

pub(super) fn decimal(value: f64) -> Decimal {
    quantity(counted(Decimal::try_from(value).ok()))
}
