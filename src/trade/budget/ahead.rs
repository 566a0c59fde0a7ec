//! What of a job is still to come, and what that will cost.
//!
//! Nobody logs how far a room has come, only what went into it. What is left is told from that by rules of the trade, one
//! room after another, at what the work is expected to take today: the rates as they are learned, today's prices and
//! wages.
//!
//! - Of what **nothing is logged**, all is to come: what was used and not written down is a cost all the same.
//! - What is **begun** takes at least what is logged; the rest of what it is expected to take is to come. A zero that is
//!   typed says that it takes nothing.
//! - Of what something is logged, it is **finished** once a later pass of its task over the same floor, edges or steps is
//!   begun, or a coat in that room (setting up goes on beside the coats). A pass that is done several times is finished
//!   by none of these: the screen between the coats comes before the last of them.
//! - **Hours** are those of their task. Once passes of it are begun, the passes that aren't take their own hours, however
//!   many the others took.
//! - What only **might turn up**, at its chance, won't any more where nothing of it is logged by the time of a later pass or
//!   of a coat.
//! - **Rentals, driving, opened packs and lumps of money** have no passes: of each the larger of quoted and logged is
//!   expected, so that a bill that is still to come is counted, and nothing that is spent comes again.
//!
//! The limits: begun is what an entry names, its operation and its rooms (or the only room of the job); discs that are
//! logged of a whole house are shared over its rooms, and say of none that a pass is over. A pass that is begun by one disc
//! finishes the one before it. A machine is rented for as long as it was quoted, whatever the rates are now. A job goes at
//! the rates that other jobs have taught, and not at a pace of its own: it teaches when it is closed.

use std::collections::{BTreeMap, BTreeSet};

use super::{Budget, BudgetLine, Lump, Place, Subject};
use crate::money::{Decimal, Money};
use crate::trade::job_cost::{Logged, What, spread};
use crate::trade::operation::SET_UP;
use crate::trade::quote::{Costs, WorkLine};
use crate::trade::{CostKind, OperationId, RoomId, TaskId, Unit};

/// What is still to come of a job.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Ahead {
    /// What it will cost.
    pub costs: Costs,
    /// Hours of work and on the road.
    pub hours: Decimal,
    /// What part of each operation's item is to come in a room, as a fraction of one.
    pub items: BTreeMap<(Option<RoomId>, OperationId), Decimal>,
    /// What part of each task's hours.
    pub tasks: BTreeMap<(Option<RoomId>, TaskId), Decimal>,
}

/// How far rooms have come, by what names them.
struct Begun<'a> {
    /// In working order.
    work: &'a [&'a WorkLine],
    operations: BTreeSet<(Option<RoomId>, OperationId)>,
}

impl<'a> Begun<'a> {
    fn new(work: &'a [&'a WorkLine], logged: &[Logged]) -> Begun<'a> {
        let rooms: BTreeSet<RoomId> = work.iter().filter_map(|line| line.room).collect();
        let says_where = |cost: &&Logged| !cost.rooms.is_empty() || rooms.len() == 1;
        let mut operations = BTreeSet::new();
        for cost in logged.iter().filter(says_where) {
            if let What::Item { .. } | What::Hours { .. } = cost.what {
                let parts = spread(cost, work);
                let parts = parts.iter().filter(|part| part.quantity > Decimal::ZERO);
                let mut named: BTreeMap<Option<RoomId>, BTreeSet<OperationId>> = BTreeMap::new();
                for part in parts {
                    let of_room = named.entry(part.room).or_default();
                    of_room.extend(part.operation);
                }
                // An item that several operations of a room may have taken says of none that it is begun.
                let one = named.into_iter().filter(|(_, of_room)| of_room.len() == 1);
                operations.extend(one.flat_map(|(room, of_room)| {
                    of_room.into_iter().map(move |operation| (room, operation))
                }));
            }
        }
        Begun { work, operations }
    }

    fn has(&self, line: &WorkLine) -> bool {
        self.operations.contains(&(line.room, line.operation))
    }

    /// Returns the lines of a room, in working order.
    fn in_room(&self, room: Option<RoomId>) -> Vec<&'a WorkLine> {
        let lines = self.work.iter().copied();
        lines.filter(|line| line.room == room).collect()
    }

    /// Tells whether something that is begun says that an operation of a room is over.
    fn is_passed(&self, room: Option<RoomId>, operation: OperationId) -> bool {
        let lines = self.in_room(room);
        let is_it = |line: &&WorkLine| line.operation == operation;
        let Some(last) = lines.iter().rposition(is_it) else {
            return false;
        };
        let line = lines[last];
        let is_new = |later: &WorkLine| {
            let mut earlier = lines[..=last].iter();
            earlier.all(|known| known.operation != later.operation)
        };
        let follows = |later: &&&WorkLine| {
            self.has(later)
                && is_new(later)
                && (later.task.id, later.driver) == (line.task.id, line.driver)
        };
        let by_pass = line.passes == 1 && lines[last + 1..].iter().any(|later| follows(&later));
        by_pass || self.is_coated_over(&lines, line)
    }

    /// Tells whether a line stands before the first coat of its room, and a coat is begun there.
    fn is_coated_over(&self, lines: &[&WorkLine], line: &WorkLine) -> bool {
        let first = lines.iter().position(|line| is_coat(line));
        let last = lines.iter().rposition(|of| of.operation == line.operation);
        let coated = lines.iter().any(|of| is_coat(of) && self.has(of));
        coated && last < first && line.task.name != SET_UP
    }

    /// Returns the hours of a task's passes in a room that are neither begun nor over; `None`: none of them is begun, and
    /// nothing is known of them.
    fn not_begun(&self, room: Option<RoomId>, task: TaskId) -> Option<Decimal> {
        let mut of_task = self.in_room(room);
        of_task.retain(|line| line.task.id == task);
        if !of_task.iter().any(|line| self.has(line)) {
            return None;
        }
        of_task.retain(|line| !self.has(line) && !self.is_passed(room, line.operation));
        Some(of_task.iter().map(|line| line.hours).sum())
    }

    /// Tells whether all of a task in a room is over by its coats.
    fn is_task_over(&self, room: Option<RoomId>, task: TaskId) -> bool {
        let lines = self.in_room(room);
        let mut of_task = lines.iter().filter(|line| line.task.id == task).peekable();
        of_task.peek().is_some() && of_task.all(|line| self.is_coated_over(&lines, line))
    }

    /// Tells whether lines that are meant only might turn up.
    fn only_might(&self, is_meant: impl Fn(&WorkLine) -> bool) -> bool {
        let mut meant = self.work.iter().filter(|line| is_meant(line)).peekable();
        meant.peek().is_some() && meant.all(|line| line.contingency.is_some())
    }
}

/// Tells whether a line is a coat: what is counted by its volume is spread on the floor.
fn is_coat(line: &WorkLine) -> bool {
    let item = line.item.as_ref();
    item.is_some_and(|item| matches!(item.unit, Unit::Gallon | Unit::Litre))
}

impl Budget {
    /// Returns what is still to come; the budget is one of lines as they are expected today, `work` among them in working
    /// order, and `overhead` is charged on labour.
    pub fn ahead(&self, work: &[&WorkLine], logged: &[Logged], overhead: Decimal) -> Ahead {
        let begun = Begun::new(work, logged);
        let mut ahead = Ahead::default();
        for line in &self.lines {
            ahead.add(line, &begun);
        }
        for (lump, cost) in &self.lumps {
            let kind = match lump {
                Lump::Rental(_) => CostKind::Rental,
                Lump::Opened(_) => CostKind::Consumables,
                Lump::Other(_) => CostKind::Other,
            };
            let left = (cost.quoted - cost.logged).max(Money::ZERO);
            ahead.costs.add(kind, left);
        }
        ahead.costs.overhead = ahead.costs.labour.times(overhead);
        ahead
    }
}

impl Ahead {
    fn add(&mut self, line: &BudgetLine, begun: &Begun<'_>) {
        match &line.subject {
            Subject::Item {
                operation: Some((operation, _)),
                ..
            } => {
                for (room, place) in &line.places {
                    self.add_item(*room, *operation, place, begun);
                }
            }
            // Nothing says that it was expected.
            Subject::Item {
                operation: None, ..
            } => {}
            Subject::Hours(task) => {
                for (room, place) in &line.places {
                    self.add_hours(*room, task.id, place, begun);
                }
            }
            Subject::OnTheRoad | Subject::Road(_) => self.add_road(line),
        }
    }

    fn add_item(
        &mut self,
        room: Option<RoomId>,
        operation: OperationId,
        place: &Place,
        begun: &Begun<'_>,
    ) {
        let Some(expected) = place.quoted else {
            return;
        };
        let is_over = begun.is_passed(room, operation);
        let might = || begun.only_might(|line| (line.room, line.operation) == (room, operation));
        let left = match place.used {
            Some(_) if is_over => Decimal::ZERO,
            None if is_over && might() => Decimal::ZERO,
            _ => left_of(place, expected.quantity),
        };
        let share = fraction(left, expected.quantity);
        let cost = part(expected.cost, left, expected.quantity);
        self.costs.add(CostKind::Consumables, cost);
        self.items.insert((room, operation), share);
    }

    fn add_hours(&mut self, room: Option<RoomId>, task: TaskId, place: &Place, begun: &Begun<'_>) {
        let Some(expected) = place.quoted else {
            return;
        };
        let is_over = begun.is_task_over(room, task);
        let might = || begun.only_might(|line| (line.room, line.task.id) == (room, task));
        let left = match place.used {
            Some(_) if is_over => Decimal::ZERO,
            None if is_over && might() => Decimal::ZERO,
            None => expected.quantity,
            Some(_) => {
                let rest = left_of(place, expected.quantity);
                rest.max(begun.not_begun(room, task).unwrap_or_default())
            }
        };
        self.hours += left;
        let cost = part(expected.cost, left, expected.quantity);
        self.costs.add(CostKind::Labour, cost);
        self.tasks
            .insert((room, task), fraction(left, expected.quantity));
    }

    fn add_road(&mut self, line: &BudgetLine) {
        let Place { quoted, used, cost } = line.total();
        let expected = quoted.unwrap_or_default();
        let left = (expected.cost - cost).max(Money::ZERO);
        let is_labour = line.subject == Subject::OnTheRoad;
        let kind = if is_labour {
            CostKind::Labour
        } else {
            CostKind::Other
        };
        self.costs.add(kind, left);
        if is_labour {
            let hours = expected.quantity - used.unwrap_or_default();
            self.hours += hours.max(Decimal::ZERO);
        }
    }
}

/// Returns what is left of what is expected of something that isn't over.
fn left_of(place: &Place, expected: Decimal) -> Decimal {
    match place.used {
        None => expected,
        Some(used) if used.is_zero() => Decimal::ZERO,
        Some(used) => (expected - used).max(Decimal::ZERO),
    }
}

fn part(cost: Money, left: Decimal, of: Decimal) -> Money {
    match of.is_zero() {
        true => Money::ZERO,
        false => cost.share(left, of),
    }
}

fn fraction(left: Decimal, of: Decimal) -> Decimal {
    match of.is_zero() {
        true => Decimal::ZERO,
        false => left / of,
    }
}
