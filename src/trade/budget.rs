//! A budget while working: of each operation's item and of each task's hours what was quoted, what is used, and what is
//! left.
//!
//! **Quoted** is what is expected, in the quote and every variation agreed since, with what only might turn up at its
//! chance. **Used** is what was logged, shared over rooms and operations as [`job_cost`](super::job_cost) shares it; with
//! nothing logged it isn't known, and what is left is what was quoted. Hours are counted by task, since that is how most
//! are logged; those on an operation are its task's.
//! What is still to come of it, and at what cost, is in [`ahead`].

pub mod ahead;
pub mod today;

use std::collections::BTreeMap;

use crate::money::{Decimal, Money};
use crate::trade::job_cost::{DRIVING, Logged, Quoted, What, spread};
use crate::trade::operation::Task;
use crate::trade::quote::{Line, WorkLine};
use crate::trade::variance::Side;
use crate::trade::{ItemId, MachineId, OperationId, RoomId, TaskId, Unit};

/// What a job was to take and has taken so far.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Budget {
    /// Each operation's item and each task's hours, as the quotes have them; then what wasn't quoted.
    pub lines: Vec<BudgetLine>,
    /// Rentals, opened packs and lumps of money.
    lumps: BTreeMap<Lump, LumpCost>,
    /// The tasks that operations were quoted under.
    tasks: BTreeMap<OperationId, Task>,
}

/// How far something has come that an entry logged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Standing {
    /// What it is called: the item, with its operation where others take it too, or the task.
    pub name: String,
    /// The unit of its quantities.
    pub unit: Unit,
    /// In the whole job.
    pub total: Place,
    /// In the room that was asked about; `None`: none was, or there is no other.
    pub there: Option<Place>,
    /// Of an item, how far the passes have come that the room takes; `None`: no room was asked about, or it takes but one.
    pub passes: Option<Passes>,
}

/// Of a task that goes over a room several times, how often it does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Passes {
    /// Passes of which something is used.
    pub begun: usize,
    /// Passes that were quoted.
    pub quoted: usize,
}

/// What is used of one thing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BudgetLine {
    /// What it is.
    pub subject: Subject,
    /// The rooms in which it was quoted or logged; `None`: the job as a whole.
    pub places: BTreeMap<Option<RoomId>, Place>,
}

/// What a line counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Subject {
    /// An operation's item.
    Item {
        /// The item.
        item: ItemId,
        /// Its name.
        name: String,
        /// Its unit.
        unit: Unit,
        /// The operation, with its name; `None`: none is known.
        operation: Option<(OperationId, String)>,
    },
    /// Hours on a task.
    Hours(Task),
    /// Hours on the road.
    OnTheRoad,
    /// What is driven, in miles or kilometres.
    Road(Unit),
}

/// How much of one thing was quoted and used in one room, or in several.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Place {
    /// As quoted; `None`: it wasn't.
    pub quoted: Option<Side>,
    /// Units used; `None`: nothing was logged.
    pub used: Option<Decimal>,
    /// What is logged of it cost.
    pub cost: Money,
}

impl Place {
    /// Returns what is left of what was quoted, below zero where more was used; `None`: nothing was quoted.
    pub fn left(&self) -> Option<Decimal> {
        let quoted = self.quoted?.quantity;
        Some(quoted - self.used.unwrap_or_default())
    }

    fn plan(&mut self, quantity: Decimal, cost: Money) {
        let more = Side { quantity, cost };
        self.quoted.get_or_insert_default().add(more);
    }

    fn add(&mut self, other: &Place) {
        if let Some(quoted) = other.quoted {
            self.quoted.get_or_insert_default().add(quoted);
        }
        if let Some(used) = other.used {
            *self.used.get_or_insert_default() += used;
        }
        self.cost += other.cost;
    }
}

/// What is paid for as a whole.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Lump {
    Rental(MachineId),
    Opened(ItemId),
    /// What it is for, in small letters: `Disposal` is `disposal`.
    Other(String),
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct LumpCost {
    quoted: Money,
    logged: Money,
}

/// What tells one line from another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Key {
    Item(ItemId, Unit, Option<OperationId>),
    Hours(TaskId),
    OnTheRoad,
    Road,
}

impl Subject {
    fn key(&self) -> Key {
        match self {
            Subject::Item {
                item,
                unit,
                operation,
                ..
            } => Key::Item(*item, *unit, operation.as_ref().map(|(id, _)| *id)),
            Subject::Hours(task) => Key::Hours(task.id),
            Subject::OnTheRoad => Key::OnTheRoad,
            Subject::Road(_) => Key::Road,
        }
    }

    /// Returns the unit that it is counted in.
    pub const fn unit(&self) -> Unit {
        match self {
            Subject::Item { unit, .. } => *unit,
            Subject::Hours(_) | Subject::OnTheRoad => Unit::Hour,
            Subject::Road(unit) => *unit,
        }
    }
}

impl BudgetLine {
    /// Returns what was quoted and used in all rooms.
    pub fn total(&self) -> Place {
        sum(self.places.values())
    }
}

fn sum<'a>(places: impl IntoIterator<Item = &'a Place>) -> Place {
    let mut total = Place::default();
    for place in places {
        total.add(place);
    }
    total
}

/// Sets what was logged on a job beside what its quotes expect. `operation_names` names operations that were logged and
/// not quoted.
pub fn budget(
    quotes: &[Quoted<'_>],
    logged: &[Logged],
    operation_names: impl Fn(OperationId) -> String,
) -> Budget {
    let mut budget = Budget {
        lines: Vec::new(),
        lumps: BTreeMap::new(),
        tasks: BTreeMap::new(),
    };
    for line in quotes.iter().flat_map(|quoted| quoted.lines) {
        budget.add_quoted(line);
    }
    let work: Vec<&WorkLine> = quotes.iter().flat_map(Quoted::work).collect();
    for cost in logged {
        budget.add_logged(cost, &work, &operation_names);
    }
    budget
}

impl Budget {
    fn line(&mut self, subject: Subject) -> &mut BudgetLine {
        let key = subject.key();
        let known = self.lines.iter().position(|line| line.subject.key() == key);
        let position = known.unwrap_or_else(|| {
            self.lines.push(BudgetLine {
                subject,
                places: BTreeMap::new(),
            });
            self.lines.len() - 1
        });
        &mut self.lines[position]
    }

    fn place(&mut self, subject: Subject, room: Option<RoomId>) -> &mut Place {
        self.line(subject).places.entry(room).or_default()
    }

    fn add_quoted(&mut self, line: &Line) {
        let (lump, cost) = match line {
            Line::Work(work) => return self.add_work(work),
            Line::Rental { machine, cost, .. } => (Lump::Rental(*machine), *cost),
            Line::Trips(trips) => {
                if !trips.hours.is_zero() {
                    self.place(Subject::OnTheRoad, None)
                        .plan(trips.hours, trips.labour);
                }
                let place = self.place(Subject::Road(trips.unit), None);
                return place.plan(trips.driven(), trips.cost);
            }
            Line::Opened { item, cost, .. } => (Lump::Opened(*item), *cost),
            Line::Other { what, cost } => (Lump::Other(what.to_lowercase()), *cost),
            Line::Overhead { .. } => return,
        };
        self.lumps.entry(lump).or_default().quoted += cost;
    }

    fn add_work(&mut self, work: &WorkLine) {
        if let Some(item) = &work.item {
            let subject = Subject::Item {
                item: item.id,
                name: item.name.clone(),
                unit: item.unit,
                operation: Some((work.operation, work.name.clone())),
            };
            self.place(subject, work.room)
                .plan(item.expected, item.cost);
        }
        self.place(Subject::Hours(work.task.clone()), work.room)
            .plan(work.hours, work.labour);
        let task = || work.task.clone();
        self.tasks.entry(work.operation).or_insert_with(task);
    }

    fn add_logged(
        &mut self,
        cost: &Logged,
        work: &[&WorkLine],
        operation_names: &impl Fn(OperationId) -> String,
    ) {
        if let Some(unit) = self.quoted_road(&cost.what) {
            let place = self.place(Subject::Road(unit), None);
            place.cost += cost.cost;
            *place.used.get_or_insert_default() += cost.quantity;
            return;
        }
        let lump = match &cost.what {
            What::Hours { .. } | What::OnTheRoad | What::Item { .. } => None,
            What::LeftOver { item, .. } => Some(Lump::Opened(*item)),
            What::Rental { machine, .. } => Some(Lump::Rental(*machine)),
            What::Other { label, .. } => Some(Lump::Other(label.to_lowercase())),
        };
        if let Some(lump) = lump {
            self.lumps.entry(lump).or_default().logged += cost.cost;
            return;
        }
        for part in spread(cost, work) {
            let named = |operation: OperationId| {
                let planned = work.iter().find(|line| line.operation == operation);
                planned.map_or_else(|| operation_names(operation), |line| line.name.clone())
            };
            let operation = part.operation.map(|id| (id, named(id)));
            let Some(subject) = self.subject_of(&cost.what, operation) else {
                continue; // Hours on no task.
            };
            let place = self.place(subject, part.room);
            place.cost += part.cost;
            if !cost.correction {
                *place.used.get_or_insert_default() += part.quantity;
            }
        }
    }

    /// Returns what driving is counted in, if it is that and was quoted.
    fn quoted_road(&self, what: &What) -> Option<Unit> {
        let What::Other { label, unit } = what else {
            return None;
        };
        let mut lines = self.lines.iter();
        let is_quoted = lines.any(|line| line.subject == Subject::Road(*unit));
        (label == DRIVING && is_quoted).then_some(*unit)
    }

    /// Returns what a logged item or hour counts as; `None`: hours on no task.
    fn subject_of(&self, what: &What, operation: Option<(OperationId, String)>) -> Option<Subject> {
        match what {
            What::Hours { .. } => self.task_of(what).cloned().map(Subject::Hours),
            What::OnTheRoad => Some(Subject::OnTheRoad),
            What::Item {
                item, name, unit, ..
            } => Some(Subject::Item {
                item: *item,
                name: name.clone(),
                unit: *unit,
                operation,
            }),
            What::LeftOver { .. } | What::Rental { .. } | What::Other { .. } => None,
        }
    }

    /// Returns the task of logged hours: of a planned operation the one that it was quoted under.
    fn task_of<'a>(&'a self, what: &'a What) -> Option<&'a Task> {
        let What::Hours { task, operation } = what else {
            return None;
        };
        let planned = operation.and_then(|operation| self.tasks.get(&operation));
        planned.or(task.as_ref())
    }

    /// Returns how far that has come which an entry logged, and how far in one room; `None`: it is nothing that is counted.
    pub fn standing(&self, what: &What, room: Option<RoomId>) -> Option<Standing> {
        let counts = |line: &&BudgetLine| match (&line.subject, what) {
            (
                Subject::Item {
                    item, operation, ..
                },
                What::Item {
                    item: used,
                    operation: named,
                    ..
                },
            ) => {
                let known = operation.as_ref().map(|(id, _)| *id);
                item == used && named.is_none_or(|named| known == Some(named))
            }
            (Subject::Hours(task), What::Hours { .. }) => {
                self.task_of(what).is_some_and(|of| of.id == task.id)
            }
            (Subject::OnTheRoad, _) => *what == What::OnTheRoad,
            (Subject::Road(_), _) => self.quoted_road(what).is_some(),
            (Subject::Item { .. } | Subject::Hours(_), _) => false,
        };
        let lines: Vec<&BudgetLine> = self.lines.iter().filter(counts).collect();
        let first = lines.first()?;
        let places = || lines.iter().flat_map(|line| &line.places);
        let is_there = |place: &Option<RoomId>| room.is_some() && *place == room;
        let there = sum(places()
            .filter(|(place, _)| is_there(place))
            .map(|(_, of)| of));
        let has_others = places().any(|(place, _)| !is_there(place));
        Some(Standing {
            name: self.name_of(&first.subject, lines.len()),
            unit: first.subject.unit(),
            total: sum(places().map(|(_, of)| of)),
            there: (room.is_some() && has_others).then_some(there),
            passes: room.and_then(|room| self.passes(&first.subject, room)),
        })
    }

    /// Returns how far the passes of a room have come that are of one task with an item's and take items of its unit: the
    /// cuts of its floor, and not the screen between its coats.
    fn passes(&self, subject: &Subject, room: RoomId) -> Option<Passes> {
        let task_of = |subject: &Subject| match subject {
            Subject::Item {
                operation: Some((operation, _)),
                ..
            } => self.tasks.get(operation).map(|task| task.id),
            _ => None,
        };
        let task = task_of(subject)?;
        let lines = self.lines.iter();
        let lines = lines.filter(|line| {
            task_of(&line.subject) == Some(task) && line.subject.unit() == subject.unit()
        });
        let places = lines.filter_map(|line| line.places.get(&Some(room)));
        let quoted: Vec<&Place> = places.filter(|place| place.quoted.is_some()).collect();
        let is_begun = |place: &&&Place| place.used.is_some_and(|used| used > Decimal::ZERO);
        (quoted.len() > 1).then(|| Passes {
            begun: quoted.iter().filter(is_begun).count(),
            quoted: quoted.len(),
        })
    }

    /// Returns what a subject is called: an item by itself, unless other operations take it that aren't meant.
    fn name_of(&self, subject: &Subject, meant: usize) -> String {
        match subject {
            Subject::Hours(task) => task.name.clone(),
            Subject::OnTheRoad | Subject::Road(_) => DRIVING.to_owned(),
            Subject::Item {
                item,
                name,
                operation,
                ..
            } => {
                let takes = |line: &&BudgetLine| matches!(&line.subject, Subject::Item { item: other, .. } if other == item);
                match operation {
                    Some((_, operation)) if self.lines.iter().filter(takes).count() > meant => {
                        format!("{name} for {operation}")
                    }
                    _ => name.clone(),
                }
            }
        }
    }
}

#[cfg(test)]
mod tests;
