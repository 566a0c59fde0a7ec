//! The take-off: rooms, findings and methods in; quantities out.
//!
//! What is done in a room follows from three lists: the set-up that every room and job gets, the operations that answer
//! what the walk-through found, and the chosen sequence and schedule. A floor takes the area-, edge- and room-driven
//! steps of a sequence or schedule; a stair takes the count-driven ones, once per step. The same operation named twice
//! (two coats) is one line with two passes: its driver is the floor twice, and its fixed amount comes twice.
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
use crate::trade::rates::{FloorClass, RateKind, Rates};
use crate::trade::{OperationId, RoomId};

/// Decimals of expected items and hours.
pub(super) const PRINTED_DECIMALS: u32 = 2;

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
}

/// How the rooms are to be done.
#[derive(Clone, Debug)]
pub struct Methods {
    /// Every operation of the book: set-up and repairs are picked from it.
    pub operations: Vec<Operation>,
    /// The sanding sequence, if the floors are sanded.
    pub sequence: Option<Sequence>,
    /// The coating schedule, if they are coated.
    pub schedule: Option<Schedule>,
}

/// One operation in one room, or once for the job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Work {
    /// The room; `None`: once for the job.
    pub room: Option<RoomId>,
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
        condition: crate::trade::FloorCondition,
        /// The species.
        species: crate::trade::Species,
    },
    /// A stair, but the chosen methods have nothing for steps.
    #[error("`{0}` is a stair, and the sequence and schedule have no operation for steps")]
    NothingForSteps(String),
    /// Nothing answers a finding any more.
    #[error("no operation of the book answers `{kind}` in `{room}`")]
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
            lines.push(work(Some(room.id), room.class, task, rates)?);
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
    driver: Decimal,
    passes: u32,
    contingency: Option<Contingency>,
}

impl<'a> Doing<'a> {
    fn sure(operation: &'a Operation, driver: Decimal, passes: u32) -> Doing<'a> {
        Doing {
            operation,
            driver,
            passes,
            contingency: None,
        }
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
    let steps = methods
        .sequence
        .iter()
        .flat_map(|sequence| sequence.steps.iter());
    let steps = steps.chain(
        methods
            .schedule
            .iter()
            .flat_map(|schedule| schedule.steps.iter().map(|step| &step.operation)),
    );
    for operation in steps {
        let Some(driver) = room.driver(operation.driver) else {
            continue;
        };
        match done[before_steps..]
            .iter_mut()
            .find(|earlier| earlier.operation.id == operation.id)
        {
            Some(earlier) => {
                earlier.driver += driver;
                earlier.passes += 1;
            }
            None => done.push(Doing::sure(operation, driver, 1)),
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
        operation: operation.clone(),
        driver,
        passes,
        contingency,
        item,
        hours: expect(RateKind::Hours)?,
    })
}

pub(super) fn need(expected: Decimal, set_size: Option<u32>) -> Need {
    let load = match set_size {
        Some(size) => {
            let size = Decimal::from(size);
            (expected / size).ceil() * size
        }
        None => expected,
    };
    Need { expected, load }
}
