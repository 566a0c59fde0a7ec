//! Many observations: what is learned from.
//!
//! A long history is hundreds of thousands of them, and their rooms and jobs are named by few texts. So each text stands
//! once, the parts of all stand one after the other, and no observation owns anything.

use std::borrow::Borrow;
use std::cmp::Ordering;
use std::collections::HashMap;
use std::convert::Infallible;
use std::hash::Hash;
use std::ops::{ControlFlow, Range};
use std::sync::Arc;

use chrono::NaiveDate;

use super::fit::{Archive, Filed, Order};
use super::records::Jobs;
use super::{FloorClass, Observation, ObservedPart, RateKind, Status, Taught};
use crate::money::Decimal;
use crate::trade::OperationId;

/// What finished rooms took, observation by observation, each known by its place.
#[derive(Clone, Debug, Default)]
pub struct Observations {
    rows: Vec<Row>,
    parts: Vec<PartRow>,
    jobs: Once<Arc<str>>,
    rooms: Once<Arc<str>>,
    operations: Once<OperationId>,
}

/// An observation, but for its parts.
#[derive(Clone, Copy, Debug)]
pub struct Observed<'a> {
    /// Items or hours.
    pub kind: RateKind,
    /// The job, by its number or the notebook's name.
    pub job: &'a str,
    /// Whether it comes from a notebook, whose names of jobs are its own.
    pub from_notebook: bool,
    /// When the work was finished.
    pub finished_on: NaiveDate,
    /// How much it took.
    pub quantity: Decimal,
    /// What the entry check and the owner say of it.
    pub status: Status,
}

/// One room and operation that an observation covers.
#[derive(Clone, Copy, Debug)]
pub struct PartOf<'a> {
    /// The operation.
    pub operation: OperationId,
    /// The room's name.
    pub room: &'a str,
    /// The floor.
    pub class: FloorClass,
    /// Driver units, all passes.
    pub driver: Decimal,
    /// How often the room was gone over.
    pub passes: u32,
}

/// An observation as it is held: its job by its place, its parts by theirs.
#[derive(Clone, Debug)]
struct Row {
    kind: RateKind,
    job: u32,
    from_notebook: bool,
    finished_on: NaiveDate,
    quantity: Decimal,
    parts: Range<u32>,
    status: Status,
}

/// A part as it is held: its operation and room by their places.
#[derive(Clone, Copy, Debug)]
struct PartRow {
    operation: u32,
    room: u32,
    class: FloorClass,
    driver: Decimal,
    passes: u32,
}

/// Values that come again and again, each kept once.
#[derive(Clone, Debug)]
struct Once<T> {
    all: Vec<T>,
    places: HashMap<T, u32>,
    last: u32,
}

impl<T> Default for Once<T> {
    fn default() -> Once<T> {
        Once {
            all: Vec::new(),
            places: HashMap::new(),
            last: 0,
        }
    }
}

impl<T: Clone + Eq + Hash> Once<T> {
    /// Returns the place of a value; often it is that of the last one.
    fn place<Q>(&mut self, value: &Q, own: impl Fn(&Q) -> T) -> u32
    where
        Q: Eq + Hash + ?Sized,
        T: Borrow<Q>,
    {
        let last = self.all.get(self.last as usize);
        if last.is_none_or(|last| last.borrow() != value) {
            self.last = match self.places.get(value) {
                Some(place) => *place,
                None => self.add(own(value)),
            };
        }
        self.last
    }

    fn add(&mut self, value: T) -> u32 {
        let place = self.all.len() as u32;
        self.places.insert(value.clone(), place);
        self.all.push(value);
        place
    }
}

impl<T> std::ops::Index<u32> for Once<T> {
    type Output = T;

    fn index(&self, place: u32) -> &T {
        &self.all[place as usize]
    }
}

/// Which job an observation is of: jobs of a notebook are others than those of the ledger, whatever they are called.
pub(super) type JobKey = (u32, bool);

impl Observations {
    /// Returns how many there are.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Tells whether there are none.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Adds an observation that has no parts yet.
    pub fn add(&mut self, new: Observed<'_>) {
        let Observed {
            kind,
            job,
            from_notebook,
            finished_on,
            quantity,
            status,
        } = new;
        let end = self.parts.len() as u32;
        self.rows.push(Row {
            kind,
            job: self.jobs.place(job, |job| job.into()),
            from_notebook,
            finished_on,
            quantity,
            parts: end..end,
            status,
        });
    }

    /// Adds a part to an observation.
    pub fn add_part(&mut self, place: usize, new: PartOf<'_>) {
        let PartOf {
            operation,
            room,
            class,
            driver,
            passes,
        } = new;
        let part = PartRow {
            operation: self.operations.place(&operation, |operation| *operation),
            room: self.rooms.place(room, |room| room.into()),
            class,
            driver,
            passes,
        };
        let end = self.parts.len() as u32;
        let held = &mut self.rows[place].parts;
        if held.start == held.end {
            *held = end..end;
        } else if held.end != end {
            // Parts of another one stand in between: those that it has move behind them.
            self.parts
                .extend_from_within(held.start as usize..held.end as usize);
            *held = end..self.parts.len() as u32;
        }
        held.end += 1;
        self.parts.push(part);
    }

    /// Adds an observation with its parts.
    pub fn push(&mut self, observation: &Observation) {
        let Observation {
            kind,
            job,
            from_notebook,
            finished_on,
            quantity,
            parts,
            status,
        } = observation;
        let place = self.len();
        self.add(Observed {
            kind: *kind,
            job,
            from_notebook: *from_notebook,
            finished_on: *finished_on,
            quantity: *quantity,
            status: *status,
        });
        for part in parts {
            let ObservedPart {
                operation,
                room,
                class,
                driver,
                passes,
            } = part;
            self.add_part(
                place,
                PartOf {
                    operation: *operation,
                    room,
                    class: *class,
                    driver: *driver,
                    passes: *passes,
                },
            );
        }
    }

    /// Returns an observation, but for its parts.
    pub fn at(&self, place: usize) -> Observed<'_> {
        let row = &self.rows[place];
        Observed {
            kind: row.kind,
            job: &self.jobs[row.job],
            from_notebook: row.from_notebook,
            finished_on: row.finished_on,
            quantity: row.quantity,
            status: row.status,
        }
    }

    /// Returns the parts of an observation.
    pub fn parts_of(&self, place: usize) -> impl ExactSizeIterator<Item = PartOf<'_>> + Clone {
        let Range { start, end } = self.rows[place].parts;
        let parts = self.parts[start as usize..end as usize].iter();
        parts.map(|part| PartOf {
            operation: self.operations[part.operation],
            room: &self.rooms[part.room],
            class: part.class,
            driver: part.driver,
            passes: part.passes,
        })
    }

    /// Returns an observation by itself.
    pub fn get(&self, place: usize) -> Observation {
        let row = &self.rows[place];
        let Range { start, end } = row.parts;
        let parts = self.parts[start as usize..end as usize].iter();
        Observation {
            kind: row.kind,
            job: self.jobs[row.job].clone(),
            from_notebook: row.from_notebook,
            finished_on: row.finished_on,
            quantity: row.quantity,
            parts: parts
                .map(|part| ObservedPart {
                    operation: self.operations[part.operation],
                    room: self.rooms[part.room].clone(),
                    class: part.class,
                    driver: part.driver,
                    passes: part.passes,
                })
                .collect(),
            status: row.status,
        }
    }

    /// Returns all of them, each by itself.
    pub fn iter(&self) -> impl Iterator<Item = Observation> {
        (0..self.len()).map(|place| self.get(place))
    }

    /// Returns a finished room that taught a rate.
    pub(super) fn taught(&self, place: usize, part: usize) -> Taught {
        let row = &self.rows[place];
        let part = &self.parts[row.parts.start as usize + part];
        Taught {
            job: self.jobs[row.job].clone(),
            room: self.rooms[part.room].clone(),
            finished_on: row.finished_on,
        }
    }

    pub(super) fn job_key(&self, place: usize) -> JobKey {
        let row = &self.rows[place];
        (row.job, row.from_notebook)
    }

    /// Returns the places of all in their canonical order: by date, job, room, operation, kind and quantity.
    pub fn in_order(&self) -> Vec<u32> {
        let mut ordered: Vec<u32> = (0..self.len() as u32).collect();
        ordered.sort_by(|one, another| self.compare(*one as usize, *another as usize));
        ordered
    }

    fn compare(&self, one: usize, another: usize) -> Ordering {
        let (first, second) = (&self.rows[one], &self.rows[another]);
        let rooms = |place| self.parts_of(place).map(|part| part.room);
        let operations = |place| self.parts_of(place).map(|part| part.operation);
        first
            .finished_on
            .cmp(&second.finished_on)
            .then_with(|| match first.job == second.job {
                true => Ordering::Equal,
                false => self.jobs[first.job].cmp(&self.jobs[second.job]),
            })
            .then_with(|| first.from_notebook.cmp(&second.from_notebook))
            .then_with(|| rooms(one).cmp(rooms(another)))
            .then_with(|| operations(one).cmp(operations(another)))
            .then_with(|| first.kind.cmp(&second.kind))
            .then_with(|| first.quantity.cmp(&second.quantity))
    }
}

/// Observations in their canonical order, or so many of the first of them, but for those that are doubted.
pub(super) struct InOrder<'a> {
    observations: &'a Observations,
    /// The place of each, and its job by the order in which jobs come.
    places: Vec<(u32, u32)>,
}

impl InOrder<'_> {
    pub(super) fn new<'a>(observations: &'a Observations, ordered: &[u32]) -> InOrder<'a> {
        let mut jobs = Jobs::default();
        let at = |place: &&u32| observations.at(**place as usize).status != Status::Doubted;
        let places = ordered.iter().filter(at);
        InOrder {
            places: places
                .map(|place| (*place, jobs.place(observations.job_key(*place as usize))))
                .collect(),
            observations,
        }
    }
}

impl Archive for InOrder<'_> {
    type Error = Infallible;

    fn count(&self) -> usize {
        self.places.len()
    }

    fn each(
        &self,
        order: Order,
        take: &mut dyn FnMut(Filed<'_>) -> ControlFlow<()>,
    ) -> Result<(), Infallible> {
        let mut take = |(place, job): &(u32, u32)| {
            take(Filed {
                observations: self.observations,
                place: *place as usize,
                job: *job,
            })
        };
        // Whether all were taken is the taker's business.
        let _ = match order {
            Order::OldestFirst => self.places.iter().try_for_each(&mut take),
            Order::NewestFirst => self.places.iter().rev().try_for_each(&mut take),
        };
        Ok(())
    }
}

impl FromIterator<Observation> for Observations {
    fn from_iter<I: IntoIterator<Item = Observation>>(from: I) -> Observations {
        let mut observations = Observations::default();
        for observation in from {
            observations.push(&observation);
        }
        observations
    }
}
