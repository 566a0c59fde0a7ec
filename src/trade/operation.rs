//! Operations, and the sanding sequences and coating schedules that put them in order.
//!
//! An operation is one thing that is done. Its **driver** says what measures it: floor area, edge length, a count,
//! a length, or once per room or job. In a sequence or schedule, operations driven by area, edge or room are done on
//! floors, and those driven by a count are done on stairs, once per step. Operations of the task [`SET_UP`] belong to
//! every quote. Operations that answer a kind of finding are done where that kind was found.
//!
//! # Grit ladder
//! A cut removes the scratches of the one before. The trade's rule of thumb is never to skip more than one grade
//! between successive cuts (*Wood Floor Business*, "Sanding 101", 2008); the association's guideline of 2016 is
//! stricter, everyday practice is looser, so it is a warning with a named ladder, not a refusal.

use crate::money::Decimal;
use crate::trade::cautions::Hazard;
use crate::trade::{ItemId, MachineId, OperationId, TaskId, Unit, closed_set};

/// The task whose operations are part of every quote.
pub const SET_UP: &str = "set-up";

/// Grades of floor abrasive, coarse to fine, on which steps are counted.
pub const LADDER: [u32; 8] = [16, 24, 36, 50, 60, 80, 100, 120];

/// Most steps down the ladder from one cut to the next: two, which skips one grade.
const LARGEST_STEP: usize = 2;

closed_set! {
    /// What measures an operation.
    Driver, "driver" {
        /// Floor area, in square feet.
        Area = "area",
        /// Edge length, in feet.
        Edge = "edge",
        /// A number of things: nails, holes, steps.
        Count = "count",
        /// A length found on the walk-through, in feet.
        Length = "length",
        /// Once per room.
        Room = "room",
        /// Once per job.
        Job = "job",
    }
}

impl Driver {
    /// Returns the canonical unit that the driver is measured in.
    pub const fn unit(self) -> Unit {
        match self {
            Driver::Area => Unit::SquareFoot,
            Driver::Edge | Driver::Length => Unit::Foot,
            Driver::Count | Driver::Room | Driver::Job => Unit::Each,
        }
    }
}

closed_set! {
    /// What an operation's rates differ by.
    Splits, "kind of split" {
        /// One rate for all floors.
        None = "none",
        /// By floor condition.
        Condition = "condition",
        /// By species.
        Species = "species",
        /// By both.
        Both = "both",
    }
}

impl Splits {
    /// Tells whether rates differ by floor condition.
    pub const fn by_condition(self) -> bool {
        matches!(self, Splits::Condition | Splits::Both)
    }

    /// Tells whether rates differ by species.
    pub const fn by_species(self) -> bool {
        matches!(self, Splits::Species | Splits::Both)
    }

    /// Returns what rates differ by where either of two do.
    pub const fn or(self, other: Splits) -> Splits {
        let by_condition = self.by_condition() || other.by_condition();
        let by_species = self.by_species() || other.by_species();
        match (by_condition, by_species) {
            (false, false) => Splits::None,
            (true, false) => Splits::Condition,
            (false, true) => Splits::Species,
            (true, true) => Splits::Both,
        }
    }
}

/// One thing that is done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Operation {
    /// Identity in the ledger.
    pub id: OperationId,
    /// Its name, such as `rotary-36`.
    pub name: String,
    /// The task that its hours are logged and learned on.
    pub task: Task,
    /// What measures it.
    pub driver: Driver,
    /// The item that it uses up; `None`: labour only.
    pub item: Option<Item>,
    /// How many items are changed at once; `None`: the item is measured, or there is none.
    pub set_size: Option<u32>,
    /// Operations of one family share a fixed amount and a dispersion.
    pub family: String,
    /// What its rates differ by.
    pub splits: Splits,
    /// The rented machine it runs on.
    pub machine: Option<MachineId>,
    /// The grade of its abrasive.
    pub grit: Option<u32>,
    /// Hours on the clock until it can be sanded, such as those of filler; `None`: at once.
    pub harden_hours: Option<Decimal>,
    /// The kind of finding that it answers.
    pub answers: Option<String>,
    /// What can hurt while it is done.
    pub hazards: Vec<Hazard>,
    /// A short phrase for people.
    pub description: String,
    /// Where its place in the trade is documented.
    pub source: String,
}

/// A group of operations that hours are logged on.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Task {
    /// Identity in the ledger.
    pub id: TaskId,
    /// Its name, such as `sand`.
    pub name: String,
}

/// The item an operation uses, as far as a take-off needs it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Item {
    /// Identity in the ledger.
    pub id: ItemId,
    /// Its name, such as `disc-7in-36`.
    pub name: String,
    /// The unit it is counted or measured in.
    pub unit: Unit,
    /// Book price per unit, in major units of the currency.
    pub price: Decimal,
}

/// An ordered list of sanding operations.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sequence {
    /// Its name, such as `rotary-36-50-80`.
    pub name: String,
    /// The operations in order; one that is named twice is done twice.
    pub steps: Vec<Operation>,
}

/// An ordered list of coats, with what is done between them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Schedule {
    /// Its name, such as `oil-2-coat`.
    pub name: String,
    /// Coats and the abrading between them, in order.
    pub steps: Vec<ScheduleStep>,
}

/// One step of a coating schedule.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScheduleStep {
    /// What is done.
    pub operation: Operation,
    /// Drying times, if the step is a coat.
    pub drying: Option<Drying>,
}

/// How long after a coat the floor can take what.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Drying {
    /// Hours before the next coat.
    pub recoat_hours: Decimal,
    /// Hours before light use; `None`: another coat always follows.
    pub light_use_hours: Option<Decimal>,
    /// Days before furniture is carried back; `None`: as soon as the floor is walked on.
    pub furniture_days: Option<Decimal>,
    /// Days to full cure; `None`: another coat always follows.
    pub cure_days: Option<Decimal>,
}

/// A cut that skips more than one grade.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SkippedGrades {
    /// The earlier cut's grade.
    pub from: u32,
    /// The later cut's grade.
    pub to: u32,
    /// The grades of the ladder between them.
    pub skipped: Vec<u32>,
}

impl std::fmt::Display for SkippedGrades {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let skipped: Vec<String> = self.skipped.iter().map(u32::to_string).collect();
        write!(
            f,
            "from {} to {} skips {}: the coarser scratches may stay (rule: skip one grade at most; Wood Floor Business, \
             \"Sanding 101\", 2008)",
            self.from,
            self.to,
            skipped.join(", ")
        )
    }
}

/// Returns every step of the sequence that goes more than two places down the ladder.
///
/// Cuts of the field and cuts of the edge are separate chains: each is compared with the one before it on the same wood.
/// Grades off the ladder count as the next coarser one on it.
pub fn skipped_grades(sequence: &Sequence) -> Vec<SkippedGrades> {
    let mut found = Vec::new();
    for driver in [Driver::Area, Driver::Edge, Driver::Count] {
        let grits: Vec<u32> = sequence
            .steps
            .iter()
            .filter(|step| step.driver == driver)
            .filter_map(|step| step.grit)
            .collect();
        found.extend(
            grits
                .windows(2)
                .filter_map(|pair| skip_between(pair[0], pair[1])),
        );
    }
    found
}

fn skip_between(from: u32, to: u32) -> Option<SkippedGrades> {
    let rung = |grit: u32| LADDER.iter().rposition(|grade| *grade <= grit).unwrap_or(0);
    let (start, end) = (rung(from), rung(to));
    (end > start + LARGEST_STEP).then(|| SkippedGrades {
        from,
        to,
        skipped: LADDER[start + 1..end].to_vec(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ladder_allows_one_skipped_grade() {
        // Wood Floor Business, "Sanding 101", 2008, question 1: index step of at most 2 on the named ladder.
        for (from, to, skipped) in [
            (36, 50, vec![]),
            (36, 60, vec![]),
            (60, 100, vec![]),
            (50, 80, vec![]),
            (80, 80, vec![]),
            (36, 80, vec![50, 60]),
            (24, 60, vec![36, 50]),
            (16, 120, vec![24, 36, 50, 60, 80, 100]),
        ] {
            let found = skip_between(from, to)
                .map(|skip| skip.skipped)
                .unwrap_or_default();
            assert_eq!(found, skipped, "{from} to {to}");
        }
    }

    #[test]
    fn closed_sets_read_what_they_write() {
        for driver in Driver::ALL {
            assert_eq!(driver.as_str().parse(), Ok(*driver));
        }
        assert_eq!(
            "areas".parse::<Driver>().unwrap_err().to_string(),
            "`areas` is not a driver; one of: area, edge, count, length, room, job"
        );
    }
}
