//! The take-off: rooms, findings and methods in; quantities out.
//!
//! What is done in a room follows from three lists: the set-up that every room and job gets, the operations that answer
//! what the walk-through found, and the chosen sequence and schedule. A floor takes the area-, edge- and room-driven
//! steps of a sequence or schedule; a stair takes the count-driven ones, once per step. The same operation named twice
//! (two coats) is one line with two passes: its driver is the floor twice, and its fixed amount comes twice.
//!
//! Where a room has [`parts`](super::parts) in other conditions, a cut is a line for each condition that it meets.
//!
//! What may turn up once the floor is sanded is a line of its own, in working order; its quantity and hours are those of
//! its mean extent times its chance.
//!
//! Expected quantities and hours are rounded to two decimals, as they are printed, and costs are worked from those, so
//! that anyone can check a quote by hand. What goes on the truck, the **load**, is the expected quantity rounded up to
//! whole sets for items that are changed as a set.

use thiserror::Error;

use crate::money::{Decimal, round};
use crate::trade::operation::{Driver, Operation, SET_UP, Schedule, Sequence};
use crate::trade::parts::{MeasuredPart, Start, begun_with, goes_by_parts, start};
use crate::trade::rates::{FloorClass, RateKind, Rates};
use crate::trade::{FloorCondition, OperationId, RoomId};

/// Decimals of expected items and hours.
pub(in crate::trade) const PRINTED_DECIMALS: u32 = 2;

/// A room as measured and walked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MeasuredRoom {
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
    /// Parts in other conditions, each condition once; together less than the room.
    pub parts: Vec<MeasuredPart>,
    /// What the walk-through found.
    pub findings: Vec<Found>,
    /// What may turn up once the floor is sanded.
    pub contingencies: Vec<MayTurnUp>,
}

/// A kind of finding and how much of it there is in a room.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// The kind, such as `proud-nails`.
    pub kind: String,
    /// Count, feet or square feet, as the operation that answers it is driven.
    pub quantity: Decimal,
}

/// Work that may turn up in a room.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MayTurnUp {
    /// What would have to be done.
    pub operation: OperationId,
    /// How likely, and how much.
    pub contingency: Contingency,
}

/// How likely something is, and how much of it there would be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Contingency {
    /// As a fraction of one; 1: it is there, only its extent isn't known.
    pub chance: Decimal,
    /// The least, in driver units.
    pub low: Decimal,
    /// The most, in driver units; any amount between is as likely as any other.
    pub high: Decimal,
}

impl Contingency {
    /// Returns how much of it there is if it turns up, on the mean.
    pub fn extent(&self) -> Decimal {
        (self.low + self.high) / Decimal::TWO
    }
}

impl MeasuredRoom {
    /// Returns what drives a sequence, schedule or set-up operation here; `None`: it isn't done in this room.
    pub fn driver(&self, driver: Driver) -> Option<Decimal> {
        match (driver, self.steps) {
            (Driver::Area, None) => Some(self.area),
            (Driver::Edge, None) => Some(self.edge),
            (Driver::Count, Some(steps)) => Some(Decimal::from(steps)),
            (Driver::Room, _) => Some(Decimal::ONE),
            (Driver::Area | Driver::Edge, Some(_))
            | (Driver::Count, None)
            | (Driver::Length | Driver::Job, _) => None,
        }
    }

    /// Returns what drives an operation in the part of a condition, its own condition's too; `None` of a condition: all of it.
    pub fn driver_in(&self, driver: Driver, part: Option<FloorCondition>) -> Option<Decimal> {
        let Some(condition) = part else {
            return self.driver(driver);
        };
        let part = self.parts.iter().find(|part| part.condition == condition);
        match part {
            Some(part) => part.driver(driver),
            None if condition == self.class.condition => self.own_driver(driver),
            None => None,
        }
    }

    /// Returns what drives a cut in its own condition; `None`: all of it is in parts, or it isn't done in this room.
    fn own_driver(&self, driver: Driver) -> Option<Decimal> {
        let in_parts: Decimal = self
            .parts
            .iter()
            .filter_map(|part| part.driver(driver))
            .sum();
        let left = self.driver(driver)? - in_parts;
        (in_parts.is_zero() || left > Decimal::ZERO).then_some(left)
    }
}

/// How the rooms are to be done.
#[derive(Clone, Debug)]
pub struct Methods {
    /// Every operation of the book: set-up and repairs are picked from it.
    pub operations: Vec<Operation>,
    /// The sanding sequence, if the floors are sanded.
    pub sequence: Option<Sequence>,
    /// Every sequence of the book: a part of a room may start with the first cuts of another.
    pub sequences: Vec<Sequence>,
    /// The sequences whose first cuts parts in a condition begin with, by somebody's word.
    pub begun_with: Vec<(FloorCondition, Sequence)>,
    /// The coating schedule, if they are coated.
    pub schedule: Option<Schedule>,
}

impl Methods {
    /// Returns where a part starts in a room that is sanded by a sequence, by somebody's word or else by the book.
    pub fn start(
        &self,
        part: FloorCondition,
        room: FloorCondition,
        sequence: &Sequence,
    ) -> Option<Start<'_>> {
        let mut said = self.begun_with.iter();
        match said.find(|(condition, _)| *condition == part) {
            Some((_, said)) => begun_with(said, sequence),
            None => start(part, room, sequence, &self.sequences),
        }
    }
}

/// One operation in one room, or once for the job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Work {
    /// The room; `None`: once for the job.
    pub room: Option<RoomId>,
    /// The condition of the part that it is done on, which may be the room's own; `None`: all of the room.
    pub part: Option<FloorCondition>,
    /// What is done.
    pub operation: Operation,
    /// Driver units, all passes; of what may turn up, what there is if it does.
    pub driver: Decimal,
    /// How often it is done.
    pub passes: u32,
    /// That it may turn up; `None`: it is sure.
    pub contingency: Option<Contingency>,
    /// The item it takes.
    pub item: Option<Need>,
    /// Expected hours.
    pub hours: Decimal,
}

/// How much of its item an operation takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Need {
    /// Expected, in item units.
    pub expected: Decimal,
    /// To be loaded: whole sets where the item is changed as a set.
    pub load: Decimal,
}

/// Why a take-off can't be made.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum TakeoffError {
    /// The book has no rate for the operation on that floor.
    #[error("the book has no {kind} rate for `{operation}` on {condition} {species}")]
    NoRate {
        /// The operation's name.
        operation: String,
        /// Items or hours.
        kind: RateKind,
        /// The floor condition.
        condition: FloorCondition,
        /// The species.
        species: crate::trade::Species,
    },
    /// A stair, but the chosen methods have nothing for steps.
    #[error("`{0}` is a stair, and the sequence and schedule have no operation for steps")]
    NothingForSteps(String),
    /// Nothing answers a finding any more.
    #[error("no operation of the book puts `{kind}` right in `{room}`")]
    NothingAnswers {
        /// The kind of finding.
        kind: String,
        /// The room.
        room: String,
    },
}

/// Takes off quantities, room by room in the order given; work done once for the job comes first.
///
/// # Errors
/// Refuses operations without a rate, stairs without step operations, and findings that no operation answers.
pub fn take_off(
    rooms: &[MeasuredRoom],
    methods: &Methods,
    rates: &Rates,
) -> Result<Vec<Work>, TakeoffError> {
    let mut lines = Vec::new();
    let Some(first) = rooms.first() else {
        return Ok(lines);
    };
    for operation in methods
        .operations
        .iter()
        .filter(|operation| is_set_up(operation, Driver::Job))
    {
        let task = Doing::sure(operation, Decimal::ONE, 1);
        lines.push(work(None, first.class, task, rates)?);
    }
    for room in rooms {
        for task in in_room(room, methods)? {
            let class = room.class.in_part(task.part);
            lines.push(work(Some(room.id), class, task, rates)?);
        }
    }
    Ok(lines)
}

fn is_set_up(operation: &Operation, driver: Driver) -> bool {
    operation.task.name == SET_UP && operation.driver == driver
}

/// What is done, how much of it and how often.
struct Doing<'a> {
    operation: &'a Operation,
    part: Option<FloorCondition>,
    driver: Decimal,
    passes: u32,
    contingency: Option<Contingency>,
}

impl<'a> Doing<'a> {
    fn sure(operation: &'a Operation, driver: Decimal, passes: u32) -> Doing<'a> {
        Doing {
            operation,
            part: None,
            driver,
            passes,
            contingency: None,
        }
    }

    /// Returns a cut in a part; `None`: it doesn't go there.
    fn in_part(operation: &'a Operation, part: &MeasuredPart) -> Option<Doing<'a>> {
        Some(Doing {
            part: Some(part.condition),
            ..Doing::sure(operation, part.driver(operation.driver)?, 1)
        })
    }
}

/// Returns what is done in a room, in working order.
fn in_room<'a>(room: &MeasuredRoom, methods: &'a Methods) -> Result<Vec<Doing<'a>>, TakeoffError> {
    let mut done: Vec<Doing<'_>> = Vec::new();
    for operation in methods
        .operations
        .iter()
        .filter(|operation| operation.task.name == SET_UP)
    {
        if let Some(driver) = room.driver(operation.driver) {
            done.push(Doing::sure(operation, driver, 1));
        }
    }
    let mut trim = Vec::new();
    for operation in &methods.operations {
        let Some(kind) = &operation.answers else {
            continue;
        };
        let found: Decimal = room
            .findings
            .iter()
            .filter(|found| &found.kind == kind)
            .map(|found| found.quantity)
            .sum();
        if !found.is_zero() {
            let task = Doing::sure(operation, found, 1);
            if is_trim(operation) {
                trim.push(task);
            } else {
                done.push(task);
            }
        }
    }
    for may in &room.contingencies {
        let operation = methods
            .operations
            .iter()
            .find(|operation| operation.id == may.operation);
        if let Some(operation) = operation {
            let task = Doing {
                contingency: Some(may.contingency),
                ..Doing::sure(operation, may.contingency.extent(), 1)
            };
            if is_trim(operation) {
                trim.push(task);
            } else {
                done.push(task);
            }
        }
    }
    if let Some(found) = room.findings.iter().find(|found| {
        !methods
            .operations
            .iter()
            .any(|operation| operation.answers.as_deref() == Some(found.kind.as_str()))
    }) {
        return Err(TakeoffError::NothingAnswers {
            kind: found.kind.clone(),
            room: room.name.clone(),
        });
    }
    let before_steps = done.len();
    for step in cuts(room, methods).into_iter().chain(coats(room, methods)) {
        let same = |earlier: &&mut Doing<'_>| {
            (earlier.operation.id, earlier.part) == (step.operation.id, step.part)
        };
        match done[before_steps..].iter_mut().find(same) {
            Some(earlier) => {
                earlier.driver += step.driver;
                earlier.passes += 1;
            }
            None => done.push(step),
        }
    }
    let has_methods = methods.sequence.is_some() || methods.schedule.is_some();
    if has_methods
        && room.steps.is_some()
        && !done[before_steps..]
            .iter()
            .any(|step| step.operation.driver == Driver::Count)
    {
        return Err(TakeoffError::NothingForSteps(room.name.clone()));
    }
    done.extend(trim);
    Ok(done)
}

/// Returns the cuts of a room in order, each once for each condition that it meets. Own first cuts of parts come first.
fn cuts<'a>(room: &MeasuredRoom, methods: &'a Methods) -> Vec<Doing<'a>> {
    let Some(sequence) = &methods.sequence else {
        return Vec::new();
    };
    let own = room.class.condition;
    let parts = room.parts.iter();
    let parts: Vec<(&MeasuredPart, Start<'a>)> = parts
        .map(|part| {
            let start = methods.start(part.condition, own, sequence);
            (part, start.unwrap_or_default())
        })
        .collect();
    let has_parts = !parts.is_empty();
    let mut cuts = Vec::new();
    for (part, start) in &parts {
        let own = start.own.iter();
        cuts.extend(own.filter_map(|operation| Doing::in_part(operation, part)));
    }
    for (place, operation) in sequence.steps.iter().enumerate() {
        let driver = room.own_driver(operation.driver);
        cuts.extend(driver.map(|driver| Doing {
            part: (has_parts && goes_by_parts(operation.driver)).then_some(own),
            ..Doing::sure(operation, driver, 1)
        }));
        let here = parts
            .iter()
            .filter(|(_, start)| start.has(place, operation.driver));
        cuts.extend(here.filter_map(|(part, _)| Doing::in_part(operation, part)));
    }
    cuts
}

/// Returns the coats of a room in order, with what is done between them.
fn coats<'a>(room: &MeasuredRoom, methods: &'a Methods) -> impl Iterator<Item = Doing<'a>> {
    let steps = methods.schedule.iter().flat_map(|schedule| &schedule.steps);
    steps.filter_map(|step| {
        let driver = room.driver(step.operation.driver)?;
        Some(Doing::sure(&step.operation, driver, 1))
    })
}

/// Tells whether an operation is done after the coats.
pub(super) fn is_trim(operation: &Operation) -> bool {
    operation.task.name == "trim"
}

fn work(
    room: Option<RoomId>,
    class: FloorClass,
    task: Doing<'_>,
    rates: &Rates,
) -> Result<Work, TakeoffError> {
    let Doing {
        operation,
        part,
        driver,
        passes,
        contingency,
    } = task;
    let chance = contingency.map_or(Decimal::ONE, |contingency| contingency.chance);
    let expect = |kind| {
        let rate = rates
            .rate(operation, kind, class)
            .ok_or_else(|| TakeoffError::NoRate {
                operation: operation.name.clone(),
                kind,
                condition: class.condition,
                species: class.species,
            })?;
        Ok(round(
            chance * rate.expect(driver, passes),
            PRINTED_DECIMALS,
        ))
    };
    let item = match &operation.item {
        Some(_) => Some(need(expect(RateKind::Item)?, operation.set_size)),
        None => None,
    };
    Ok(Work {
        room,
        part,
        operation: operation.clone(),
        driver,
        passes,
        contingency,
        item,
        hours: expect(RateKind::Hours)?,
    })
}

pub(in crate::trade) fn need(expected: Decimal, set_size: Option<u32>) -> Need {
    let load = match set_size {
        Some(size) => {
            let size = Decimal::from(size);
            (expected / size).ceil() * size
        }
        None => expected,
    };
    Need { expected, load }
}
