//! What sets of rooms take when they are done together: the take-off, sorted by what comes before which coat.
//!
//! Hours of one task in one room are one quantity, as they are logged and learned. How much of it comes before the coats, in
//! each coat and after them is known from its operations. The hours of a set of rooms are those that aren't exceeded with the
//! confidence: rooms share what isn't known of the rates, so ten rooms take less than ten times the hours that one room
//! alone would be planned with. `rates::forecast` says what is shared.
//!
//! What hardens is put in before the finer cuts. So what comes before the coats is told apart once more: the set-up, the
//! repairs and the cut with the coarsest grade, and then the rest. What may turn up, and would have to
//! harden, is waited for if plans that don't wait would fail more often than the confidence allows.

#![allow(
    clippy::float_arithmetic,
    reason = "shares of hours that may come: estimates, never amounts that are owed"
)]

use std::collections::BTreeMap;

use rust_decimal::prelude::ToPrimitive;
use thiserror::Error;

use super::calendar::{Coat, HOUR, Hardening, Needs};
use super::ways::Places;
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
    share: Share,
    contingency: Option<Contingency>,
}

/// Something that hardens in a room before its coats.
#[derive(Clone, Copy, Debug)]
struct RoomHardening {
    place: usize,
    minutes: i64,
    /// How likely it is there.
    chance: Decimal,
}

/// A share of a quantity of hours.
#[derive(Clone, Copy, Debug, Default)]
struct Share {
    all: f64,
    /// As much of it as is done before something hardens, if something does.
    early: f64,
}

/// An operation of a schedule.
#[derive(Clone, Copy, Debug)]
struct Layer {
    operation: OperationId,
    /// The number of the coat that it belongs to.
    coat: usize,
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

/// What each room takes, ready to be summed up for any set of rooms.
#[derive(Clone, Debug)]
pub struct Labour {
    confidence: Decimal,
    parts: Vec<HoursPart>,
    /// The coats of each place, in order.
    coats: BTreeMap<usize, Vec<RoomCoat>>,
    /// What hardens before the coats.
    hardening: Vec<RoomHardening>,
    /// The machines that each place is sanded with.
    sanded_with: BTreeMap<usize, Vec<MachineId>>,
    sanding_machines: Vec<MachineId>,
    coating_machines: Vec<MachineId>,
}

impl Labour {
    /// Sorts a take-off by room and coat; hours are those at the confidence. The numbers of rooms are their places.
    /// Machines count if they are rented.
    ///
    /// # Errors
    /// Refuses a schedule that doesn't say when its last coat is walked on.
    pub fn new(
        places: &[RoomId],
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
        let place_of = |id: RoomId| places.iter().position(|place| *place == id);
        let set_up: Vec<&Work> = work.iter().filter(|work| work.room.is_none()).collect();
        if let Some(first) = rooms.first() {
            labour.add_hours(None, first.class, &set_up, &Order::default(), rates);
        }
        for room in rooms {
            let works = work.iter().filter(|work| work.room == Some(room.id));
            let works: Vec<&Work> = works.collect();
            if let Some(place) = place_of(room.id) {
                labour.add_room(place, room, &works, methods, rates, rented)?;
            }
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

    /// Adds what a room takes.
    ///
    /// # Errors
    /// Refuses a schedule that doesn't say when its last coat is walked on.
    fn add_room(
        &mut self,
        place: usize,
        room: &MeasuredRoom,
        works: &[&Work],
        methods: &Methods,
        rates: &Rates,
        rented: &[MachineId],
    ) -> Result<(), LabourError> {
        let order = Order::of(room, methods);
        self.add_hours(Some(place), room.class, works, &order, rates);
        self.hardening.extend(order.hardening(place, works));
        let mut coats = match &methods.schedule {
            Some(schedule) => coats_of(schedule, room),
            None => Vec::new(),
        };
        let last = coats.last();
        if let Some(coat) = last.filter(|coat| coat.drying.light_use_hours.is_none()) {
            return Err(LabourError::NoLightUse(coat.names.join(", ")));
        }
        for coat in &mut coats {
            coat.machines.retain(|machine| rented.contains(machine));
        }
        let sanding = works.iter().map(|work| &work.operation);
        let sanding =
            sanding.filter(|operation| !order.coats_with(operation) && !is_trim(operation));
        let machines = sanding.filter_map(|operation| operation.machine);
        let machines = machines.filter(|machine| rented.contains(machine));
        self.sanded_with.insert(place, machines.collect());
        self.coats.insert(place, coats);
        Ok(())
    }

    /// Adds the hours of a room, or of setting up for a phase.
    fn add_hours(
        &mut self,
        place: Option<usize>,
        class: FloorClass,
        works: &[&Work],
        order: &Order,
        rates: &Rates,
    ) {
        let mut tasks: BTreeMap<_, Vec<(&Work, FloorClass)>> = BTreeMap::new();
        for work in works.iter().copied() {
            if work.contingency.is_some() {
                self.parts
                    .extend(contingent(place, class, work, order, rates));
                continue;
            }
            let task = work.operation.task.name.as_str();
            let class = class.in_part(work.part);
            tasks
                .entry((task, work.part))
                .or_default()
                .push((work, class));
        }
        for works in tasks.values() {
            let Some(spread) = rates.forecast(&asked(works, RateKind::Hours)) else {
                continue;
            };
            let operations = works.iter().map(|(work, _)| *work);
            let stages = order.shares(operations.zip(spread.shares.iter().copied()));
            self.parts
                .extend(stages.into_iter().map(|(stage, share)| HoursPart {
                    place,
                    stage,
                    spread: spread.clone(),
                    share,
                    contingency: None,
                }));
        }
    }

    /// Returns for how many minutes something in these rooms hardens, at the confidence; `None`: nothing does.
    fn longest(&self, rooms: Places) -> Option<i64> {
        let here = self.hardening.iter();
        let here = here.filter(|hardening| rooms.has(hardening.place));
        let mut longest_first: Vec<&RoomHardening> = here.collect();
        longest_first.sort_by_key(|hardening| -hardening.minutes);
        // How likely it is that nothing takes as long.
        let mut nothing = Decimal::ONE;
        let longest = longest_first.into_iter().find(|hardening| {
            nothing *= Decimal::ONE - hardening.chance;
            nothing < self.confidence
        });
        longest.map(|hardening| hardening.minutes)
    }

    /// Returns the hours of a set of rooms, in whole minutes, when it is done together.
    pub fn hours(&self, rooms: Places) -> Decimal {
        let mut sum = Sum::default();
        for part in self.parts_in(rooms) {
            sum.add(&part.spread, part.share.all, part.contingency.as_ref());
        }
        Decimal::from(sum.minutes_at(self.confidence)) / Decimal::from(HOUR)
    }

    fn parts_in(&self, rooms: Places) -> impl Iterator<Item = &HoursPart> {
        let parts = self.parts.iter();
        parts.filter(move |part| part.place.is_none_or(|place| rooms.has(place)))
    }

    /// Returns what a set of rooms takes when it is done together.
    pub fn needs(&self, rooms: Places) -> Needs {
        let mut sums: BTreeMap<Stage, Sum> = BTreeMap::new();
        let mut early = Sum::default();
        for part in self.parts_in(rooms) {
            early.add(&part.spread, part.share.early, part.contingency.as_ref());
            let sum = sums.entry(part.stage).or_default();
            sum.add(&part.spread, part.share.all, part.contingency.as_ref());
        }
        let minutes = |stage| {
            sums.get(&stage)
                .map_or(0, |sum: &Sum| sum.minutes_at(self.confidence))
        };
        let before = minutes(Stage::Before);
        let hardening = self.longest(rooms).map(|lasts| Hardening {
            after: early.minutes_at(self.confidence).min(before),
            lasts,
        });
        let coats = rooms.numbers().filter_map(|place| self.coats.get(&place));
        let coats: Vec<&[RoomCoat]> = coats.map(Vec::as_slice).collect();
        let last = coats.iter().filter_map(|coats| Some(coats.last()?.drying));
        let last: Vec<Drying> = last.collect();
        let most = |of: fn(&Drying) -> Option<Decimal>| last.iter().filter_map(of).max();
        let days = |days: Option<Decimal>| days.and_then(|days| days.ceil().to_i64());
        let layers = coats.iter().map(|coats| coats.len()).max().unwrap_or(0);
        let together = |layer| coat_of(layer, &coats, minutes(Stage::Coat(layer)));
        Needs {
            before,
            // What takes no time isn't done, and doesn't harden.
            hardening: hardening.filter(|hardening| hardening.after > 0),
            coats: (0..layers).map(together).collect(),
            light_use: in_minutes(most(|drying| drying.light_use_hours).unwrap_or_default()),
            after: minutes(Stage::After),
            furniture_days: days(most(|drying| drying.furniture_days)),
            cure_days: days(most(|drying| drying.cure_days)),
            sands_by_machine: self.sands_with(rooms, &self.sanding_machines),
            sands_with_coating_machines: self.sands_with(rooms, &self.coating_machines),
        }
    }

    /// Tells whether one of these rooms is sanded with one of these machines.
    fn sands_with(&self, rooms: Places, machines: &[MachineId]) -> bool {
        let mut used = rooms
            .numbers()
            .filter_map(|place| self.sanded_with.get(&place))
            .flatten();
        used.any(|machine| machines.contains(machine))
    }
}

/// Returns the hours of what may turn up.
fn contingent(
    place: Option<usize>,
    class: FloorClass,
    work: &Work,
    order: &Order,
    rates: &Rates,
) -> Option<HoursPart> {
    let spread = rates.forecast(&asked(&[(work, class)], RateKind::Hours))?;
    let stage = *order.stages(&work.operation, 1).first()?;
    Some(HoursPart {
        place,
        stage,
        spread,
        share: order.share(&work.operation, stage, 1.0),
        contingency: work.contingency,
    })
}

/// Returns a coat, by its number, over several rooms with the coats of each.
fn coat_of(number: usize, rooms: &[&[RoomCoat]], minutes: i64) -> Coat {
    let coats = rooms.iter().filter_map(|coats| coats.get(number));
    let names = coats.clone().flat_map(|coat| coat.names.iter().cloned());
    let recoat = coats.clone().map(|coat| coat.drying.recoat_hours).max();
    Coat {
        name: once(names).join(", "),
        minutes,
        recoat: in_minutes(recoat.unwrap_or_default()),
        by_machine: coats.into_iter().any(|coat| !coat.machines.is_empty()),
    }
}

/// In what order a room is worked on.
#[derive(Default)]
struct Order {
    /// Every operation of the schedule.
    layers: Vec<Layer>,
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
        let layers = self.layers.iter();
        let in_coats = layers.filter(|layer| layer.operation == operation.id);
        let mut stages: Vec<Stage> = in_coats.map(|layer| Stage::Coat(layer.coat)).collect();
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

    /// Returns a share of an operation's hours that is worked in a stage.
    fn share(&self, operation: &Operation, stage: Stage, all: f64) -> Share {
        let is_early = stage == Stage::Before && !self.late.contains(&operation.id);
        let early = if is_early { all } else { 0.0 };
        Share { all, early }
    }

    /// Returns the shares of works by when they are done.
    fn shares<'w>(&self, works: impl Iterator<Item = (&'w Work, f64)>) -> BTreeMap<Stage, Share> {
        let mut shares: BTreeMap<Stage, Share> = BTreeMap::new();
        for (work, share) in works {
            let stages = self.stages(&work.operation, work.passes);
            for stage in &stages {
                let part = self.share(&work.operation, *stage, share / stages.len() as f64);
                let of_stage = shares.entry(*stage).or_default();
                of_stage.all += part.all;
                of_stage.early += part.early;
            }
        }
        shares
    }

    /// Tells whether an operation belongs to the coats.
    fn coats_with(&self, operation: &Operation) -> bool {
        let mut layers = self.layers.iter();
        layers.any(|layer| layer.operation == operation.id)
    }

    /// Returns what hardens in a room before its coats.
    fn hardening(&self, place: usize, works: &[&Work]) -> Vec<RoomHardening> {
        let before = works.iter().filter(|work| {
            self.stages(&work.operation, work.passes)
                .contains(&Stage::Before)
        });
        let hardening = before.filter_map(|work| {
            let chance = work
                .contingency
                .map_or(Decimal::ONE, |contingency| contingency.chance);
            Some(RoomHardening {
                place,
                minutes: in_minutes(work.operation.harden_hours?),
                chance,
            })
        });
        hardening.collect()
    }
}

/// Returns every operation of a schedule by the coat that it belongs to: abrading belongs to the coat after it, or to the
/// last.
fn layers(schedule: &Schedule) -> Vec<Layer> {
    let mut layers = Vec::new();
    let (mut coat, mut coated) = (0, false);
    let last = schedule
        .steps
        .iter()
        .rposition(|step| step.drying.is_some());
    for (place, step) in schedule.steps.iter().enumerate() {
        let opens = match step.drying {
            // A coat beside another (of steps, beside that of floors) is the same coat.
            Some(_) => coated && is_laid_again(schedule, place, coat, &layers),
            None => coated && last.is_some_and(|last| place < last),
        };
        if opens {
            coat += 1;
            coated = false;
        }
        coated |= step.drying.is_some();
        layers.push(Layer {
            operation: step.operation.id,
            coat,
        });
    }
    layers
}

/// Tells whether a step of a schedule goes over a coat, by its number: something in that has the same driver.
fn is_laid_again(schedule: &Schedule, place: usize, coat: usize, layers: &[Layer]) -> bool {
    let driver = schedule.steps[place].operation.driver;
    let here = schedule
        .steps
        .iter()
        .zip(layers)
        .filter(|(_, layer)| layer.coat == coat);
    here.into_iter()
        .any(|(step, _)| step.drying.is_some() && step.operation.driver == driver)
}

/// Returns the coats that a room gets.
fn coats_of(schedule: &Schedule, room: &MeasuredRoom) -> Vec<RoomCoat> {
    let mut coats: BTreeMap<usize, RoomCoat> = BTreeMap::new();
    let steps = schedule.steps.iter().zip(layers(schedule));
    let steps = steps.filter(|(step, _)| room.driver(step.operation.driver).is_some());
    let mut machines: BTreeMap<usize, Vec<MachineId>> = BTreeMap::new();
    for (step, layer) in steps {
        machines
            .entry(layer.coat)
            .or_default()
            .extend(step.operation.machine);
        let Some(drying) = step.drying else {
            continue;
        };
        let name = step.operation.name.clone();
        match coats.get_mut(&layer.coat) {
            Some(coat) => {
                coat.names.push(name);
                coat.drying = slower(coat.drying, drying);
            }
            None => {
                coats.insert(
                    layer.coat,
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
