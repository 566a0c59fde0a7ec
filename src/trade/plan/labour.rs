//! What sets of rooms take when they are done together: the take-off, sorted by what comes before which coat.
//!
//! Hours of one task in one room are one quantity, as they are logged and learned. Its part before the coats, in each coat
//! and after them follows the operations. The hours of a set of rooms are those that aren't exceeded with the
//! confidence: rooms share what isn't known of the rates, so ten rooms take less than ten times the hours that one room
//! alone would be planned with. `rates::forecast` says what is shared.
//!
//! What hardens is put in before the finer cuts. So what comes before the coats is told apart once more: the set-up, the
//! repairs and the cut with the coarsest grade, and then the rest. What may turn up hardens for the plan if it isn't less
//! likely than the confidence allows.

#![allow(
    clippy::float_arithmetic,
    reason = "shares of hours that may come: estimates, never amounts that are owed"
)]

use std::collections::BTreeMap;

use rust_decimal::prelude::ToPrimitive;
use thiserror::Error;

use super::calendar::{Coat, HOUR, Hardening, Needs};
use super::ways::{House, Places};
use crate::money::{Decimal, counted, product};
use crate::trade::operation::{Drying, Operation, Schedule};
use crate::trade::pricing::asked;
use crate::trade::rates::forecast::{Spread, Sum};
use crate::trade::rates::{FloorClass, RateKind, Rates};
use crate::trade::takeoff::{Contingency, MeasuredRoom, Methods, Work, is_trim};
use crate::trade::{MachineId, OperationId, RoomId};

/// When in a phase something is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Stage {
    Before,
    Coat(usize),
    After,
}

/// A part of a quantity of hours.
#[derive(Clone, Debug)]
struct HoursPart {
    /// The place; `None`: it comes with each phase.
    place: Option<usize>,
    stage: Stage,
    spread: Spread,
    share: f64,
    /// As much of the share as is done before something hardens, if something does.
    early: f64,
    contingency: Option<Contingency>,
}

/// A coat of one room.
#[derive(Clone, Debug)]
struct RoomCoat {
    names: Vec<String>,
    drying: Drying,
    machines: Vec<MachineId>,
}

/// Why the dates of rooms can't be told.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum LabourError {
    /// Nobody knows when the floor is walked on.
    #[error("the schedule doesn't say when `{0}` is walked on")]
    NoLightUse(String),
}

/// What each room takes, ready to be summed up for any set of them.
#[derive(Clone, Debug)]
pub struct Labour {
    confidence: Decimal,
    parts: Vec<HoursPart>,
    /// The coats of each place, in order.
    coats: BTreeMap<usize, Vec<RoomCoat>>,
    /// What hardens before the coats: where, for how many minutes, and how likely it is there.
    hardening: Vec<(usize, i64, Decimal)>,
    /// The machines that each place is sanded with.
    sanded_with: BTreeMap<usize, Vec<MachineId>>,
    sanding_machines: Vec<MachineId>,
    coating_machines: Vec<MachineId>,
}

impl Labour {
    /// Sorts a take-off by room and coat; hours are those at the confidence. Machines count if they are rented.
    ///
    /// # Errors
    /// Refuses a schedule that doesn't say when its last coat is walked on.
    pub fn new(
        house: &House,
        rooms: &[MeasuredRoom],
        work: &[Work],
        methods: &Methods,
        rates: &Rates,
        confidence: Decimal,
        rented: &[MachineId],
    ) -> Result<Labour, LabourError> {
        let mut labour = Labour {
            confidence,
            parts: Vec::new(),
            coats: BTreeMap::new(),
            hardening: Vec::new(),
            sanded_with: BTreeMap::new(),
            sanding_machines: Vec::new(),
            coating_machines: Vec::new(),
        };
        let place_of = |id: RoomId| house.places().iter().position(|place| place.id == id);
        let set_up: Vec<&Work> = work.iter().filter(|work| work.room.is_none()).collect();
        if let Some(first) = rooms.first() {
            labour.add_room(None, first.class, &set_up, &Order::default(), rates);
        }
        for room in rooms {
            let Some(place) = place_of(room.id) else {
                continue;
            };
            let works = work.iter().filter(|work| work.room == Some(room.id));
            let works: Vec<&Work> = works.collect();
            let schedule = methods.schedule.as_ref();
            let order = Order::of(room, methods);
            labour.add_room(Some(place), room.class, &works, &order, rates);
            labour.hardening.extend(order.hardening(place, &works));
            let coats = schedule
                .map(|schedule| coats_of(schedule, room))
                .unwrap_or_default();
            if let Some(coat) = coats
                .last()
                .filter(|coat| coat.drying.light_use_hours.is_none())
            {
                return Err(LabourError::NoLightUse(coat.names.join(", ")));
            }
            let is_rented = |machine: &MachineId| rented.contains(machine);
            let coats: Vec<RoomCoat> = coats
                .into_iter()
                .map(|mut coat| {
                    coat.machines.retain(is_rented);
                    coat
                })
                .collect();
            let in_coats = |operation: &Operation| {
                let steps = schedule.into_iter().flat_map(|schedule| &schedule.steps);
                steps
                    .into_iter()
                    .any(|step| step.operation.id == operation.id)
            };
            let sanding = works.iter().filter(|work| !in_coats(&work.operation));
            let sanding = sanding.filter(|work| !is_trim(&work.operation));
            let with: Vec<MachineId> = sanding
                .filter_map(|work| work.operation.machine)
                .filter(is_rented)
                .collect();
            labour.coats.insert(place, coats);
            labour.sanded_with.insert(place, with);
        }
        let coats = labour.coats.values().flatten();
        labour.coating_machines = once(coats.flat_map(|coat| coat.machines.iter().copied()));
        labour.sanding_machines = once(labour.sanded_with.values().flatten().copied())
            .into_iter()
            .filter(|machine| !labour.coating_machines.contains(machine))
            .collect();
        Ok(labour)
    }

    /// Returns the machines that only sanding takes.
    pub fn sanding_machines(&self) -> &[MachineId] {
        &self.sanding_machines
    }

    /// Returns the machines that coats take, if perhaps not only coats.
    pub fn coating_machines(&self) -> &[MachineId] {
        &self.coating_machines
    }

    /// Adds the hours of a room, or of setting up for a phase.
    fn add_room(
        &mut self,
        place: Option<usize>,
        class: FloorClass,
        works: &[&Work],
        order: &Order,
        rates: &Rates,
    ) {
        let mut tasks: BTreeMap<&str, Vec<(&Work, FloorClass)>> = BTreeMap::new();
        for work in works.iter().copied() {
            if work.contingency.is_some() {
                let Some(spread) = rates.forecast(&asked(&[(work, class)], RateKind::Hours)) else {
                    continue;
                };
                let stages = order.stages(&work.operation, 1);
                self.parts.extend(stages.first().map(|stage| HoursPart {
                    place,
                    stage: *stage,
                    spread,
                    share: 1.0,
                    early: order.early(&work.operation, *stage, 1.0),
                    contingency: work.contingency,
                }));
                continue;
            }
            let task = work.operation.task.name.as_str();
            tasks.entry(task).or_default().push((work, class));
        }
        for works in tasks.values() {
            let Some(spread) = rates.forecast(&asked(works, RateKind::Hours)) else {
                continue;
            };
            let mut shares: BTreeMap<Stage, (f64, f64)> = BTreeMap::new();
            for ((work, _), share) in works.iter().zip(&spread.shares) {
                let stages = order.stages(&work.operation, work.passes);
                for stage in &stages {
                    let part = share / stages.len() as f64;
                    let (of_stage, early) = shares.entry(*stage).or_default();
                    *of_stage += part;
                    *early += order.early(&work.operation, *stage, part);
                }
            }
            self.parts
                .extend(shares.into_iter().map(|(stage, (share, early))| HoursPart {
                    place,
                    stage,
                    spread: spread.clone(),
                    share,
                    early,
                    contingency: None,
                }));
        }
    }

    /// Returns for how many minutes something in these rooms hardens, at the confidence; `None`: nothing does.
    fn longest(&self, rooms: Places) -> Option<i64> {
        let here = self
            .hardening
            .iter()
            .filter(|(place, ..)| rooms.has(*place));
        let mut longest_first: Vec<_> = here.collect();
        longest_first.sort_by_key(|(_, minutes, _)| -minutes);
        // How likely it is that nothing takes as long.
        let mut nothing = Decimal::ONE;
        let longest = longest_first.into_iter().find(|(.., chance)| {
            nothing *= Decimal::ONE - chance;
            nothing < self.confidence
        });
        longest.map(|(_, minutes, _)| *minutes)
    }

    /// Returns what a set of rooms takes when it is done together.
    pub fn needs(&self, rooms: Places) -> Needs {
        let mut sums: BTreeMap<Stage, Sum> = BTreeMap::new();
        let mut early = Sum::default();
        for part in &self.parts {
            if part.place.is_none_or(|place| rooms.has(place)) {
                early.add(&part.spread, part.early, part.contingency.as_ref());
                let sum = sums.entry(part.stage).or_default();
                sum.add(&part.spread, part.share, part.contingency.as_ref());
            }
        }
        let minutes = |stage| {
            sums.get(&stage)
                .map_or(0, |sum: &Sum| sum.minutes_at(self.confidence))
        };
        let of_rooms: Vec<&Vec<RoomCoat>> = rooms
            .numbers()
            .filter_map(|place| self.coats.get(&place))
            .collect();
        let layers = of_rooms.iter().map(|coats| coats.len()).max().unwrap_or(0);
        let coats = (0..layers).map(|layer| {
            let together: Vec<&RoomCoat> = of_rooms
                .iter()
                .filter_map(|coats| coats.get(layer))
                .collect();
            let hours = together.iter().map(|coat| coat.drying.recoat_hours).max();
            Coat {
                name: once(together.iter().flat_map(|coat| coat.names.iter().cloned())).join(", "),
                minutes: minutes(Stage::Coat(layer)),
                recoat: in_minutes(hours.unwrap_or_default()),
                by_machine: together.iter().any(|coat| !coat.machines.is_empty()),
            }
        });
        let last: Vec<Drying> = of_rooms
            .iter()
            .filter_map(|coats| Some(coats.last()?.drying))
            .collect();
        let most = |of: fn(&Drying) -> Option<Decimal>| last.iter().filter_map(of).max();
        let days = |days: Option<Decimal>| days.and_then(|days| days.ceil().to_i64());
        let with = |places: &BTreeMap<usize, Vec<MachineId>>, wanted: &[MachineId]| {
            let used = rooms
                .numbers()
                .filter_map(|place| places.get(&place))
                .flatten();
            used.into_iter().any(|machine| wanted.contains(machine))
        };
        let before = minutes(Stage::Before);
        let hardening = self.longest(rooms).map(|lasts| Hardening {
            after: early.minutes_at(self.confidence).min(before),
            lasts,
        });
        // What takes no time isn't done, and doesn't harden.
        let hardening = hardening.filter(|hardening| hardening.after > 0);
        Needs {
            before,
            hardening,
            coats: coats.collect(),
            light_use: in_minutes(most(|drying| drying.light_use_hours).unwrap_or_default()),
            after: minutes(Stage::After),
            furniture_days: days(most(|drying| drying.furniture_days)),
            cure_days: days(most(|drying| drying.cure_days)),
            sands_by_machine: with(&self.sanded_with, &self.sanding_machines),
            sands_with_coating_machines: with(&self.sanded_with, &self.coating_machines),
        }
    }
}

/// In what order a room is worked on.
#[derive(Default)]
struct Order {
    /// Every operation of the schedule, with the number of its coat.
    layers: Vec<(OperationId, usize)>,
    /// The operations of the sequence that come after what hardens: those that don't cut with its coarsest grade here.
    late: Vec<OperationId>,
}

impl Order {
    fn of(room: &MeasuredRoom, methods: &Methods) -> Order {
        let steps = methods.sequence.iter().flat_map(|sequence| &sequence.steps);
        let steps = steps.filter(|step| room.driver(step.driver).is_some());
        let grits = steps.clone().filter_map(|step| step.grit);
        // Where there is one grade alone, that is the fine one.
        let coarsest = grits.clone().min().filter(|grit| grits.max() > Some(*grit));
        let late = steps.filter(|step| {
            step.harden_hours.is_none() && (coarsest.is_none() || step.grit != coarsest)
        });
        Order {
            layers: methods.schedule.as_ref().map(layers).unwrap_or_default(),
            late: late.map(|step| step.id).collect(),
        }
    }

    /// Returns when each pass of an operation is done.
    fn stages(&self, operation: &Operation, passes: u32) -> Vec<Stage> {
        let in_coats = self.layers.iter().filter(|(id, _)| *id == operation.id);
        let mut stages: Vec<Stage> = in_coats.map(|(_, layer)| Stage::Coat(*layer)).collect();
        let otherwise = if is_trim(operation) {
            Stage::After
        } else {
            Stage::Before
        };
        // What a sequence does as well comes before the coats.
        while stages.len() < passes as usize {
            stages.push(otherwise);
        }
        stages
    }

    /// Returns how much of a share is done before something hardens.
    fn early(&self, operation: &Operation, stage: Stage, share: f64) -> f64 {
        match stage == Stage::Before && !self.late.contains(&operation.id) {
            true => share,
            false => 0.0,
        }
    }

    /// Returns what hardens in a room before its coats, with the minutes that it takes and how likely it is there.
    fn hardening(
        &self,
        place: usize,
        works: &[&Work],
    ) -> impl Iterator<Item = (usize, i64, Decimal)> {
        let before = works.iter().filter(|work| {
            self.stages(&work.operation, work.passes)
                .contains(&Stage::Before)
        });
        let hardening = before.filter_map(|work| {
            let chance = work
                .contingency
                .map_or(Decimal::ONE, |contingency| contingency.chance);
            Some((place, in_minutes(work.operation.harden_hours?), chance))
        });
        hardening.collect::<Vec<_>>().into_iter()
    }
}

/// Returns every operation of a schedule with the number of the coat that it belongs to: what is abraded belongs to the
/// coat after it, or to the last.
fn layers(schedule: &Schedule) -> Vec<(OperationId, usize)> {
    let mut layers = Vec::new();
    let (mut layer, mut coated) = (0, false);
    let last = schedule
        .steps
        .iter()
        .rposition(|step| step.drying.is_some());
    for (place, step) in schedule.steps.iter().enumerate() {
        let opens = match step.drying {
            // A coat beside another (of steps, beside that of floors) is the same coat.
            Some(_) => coated && is_laid_again(schedule, place, layer, &layers),
            None => coated && last.is_some_and(|last| place < last),
        };
        if opens {
            layer += 1;
            coated = false;
        }
        coated |= step.drying.is_some();
        layers.push((step.operation.id, layer));
    }
    layers
}

/// Tells whether a coat goes over the one of this layer: something in it has the same driver.
fn is_laid_again(
    schedule: &Schedule,
    place: usize,
    layer: usize,
    layers: &[(OperationId, usize)],
) -> bool {
    let driver = schedule.steps[place].operation.driver;
    let here = schedule
        .steps
        .iter()
        .zip(layers)
        .filter(|(_, (_, known))| *known == layer);
    here.into_iter()
        .any(|(step, _)| step.drying.is_some() && step.operation.driver == driver)
}

/// Returns the coats that a room gets.
fn coats_of(schedule: &Schedule, room: &MeasuredRoom) -> Vec<RoomCoat> {
    let mut coats: BTreeMap<usize, RoomCoat> = BTreeMap::new();
    let steps = schedule.steps.iter().zip(layers(schedule));
    let steps = steps.filter(|(step, _)| room.driver(step.operation.driver).is_some());
    let mut machines: BTreeMap<usize, Vec<MachineId>> = BTreeMap::new();
    for (step, (_, layer)) in steps {
        machines
            .entry(layer)
            .or_default()
            .extend(step.operation.machine);
        let Some(drying) = step.drying else {
            continue;
        };
        let name = step.operation.name.clone();
        match coats.get_mut(&layer) {
            Some(coat) => {
                coat.names.push(name);
                coat.drying = slower(coat.drying, drying);
            }
            None => {
                coats.insert(
                    layer,
                    RoomCoat {
                        names: vec![name],
                        drying,
                        machines: Vec::new(),
                    },
                );
            }
        }
    }
    for (layer, coat) in &mut coats {
        coat.machines = machines.remove(layer).unwrap_or_default();
    }
    coats.into_values().collect()
}

fn slower(one: Drying, another: Drying) -> Drying {
    Drying {
        recoat_hours: one.recoat_hours.max(another.recoat_hours),
        light_use_hours: one.light_use_hours.max(another.light_use_hours),
        furniture_days: one.furniture_days.max(another.furniture_days),
        cure_days: one.cure_days.max(another.cure_days),
    }
}

fn in_minutes(hours: Decimal) -> i64 {
    counted(product([hours, Decimal::from(HOUR)]).ceil().to_i64())
}

/// Returns each of several things once, in their order.
fn once<T: PartialEq>(things: impl Iterator<Item = T>) -> Vec<T> {
    let mut once = Vec::new();
    for thing in things {
        if !once.contains(&thing) {
            once.push(thing);
        }
    }
    once
}
