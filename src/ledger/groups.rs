//! By what reports over many jobs add up, and which jobs they are about: the same words for all of them.

use chrono::NaiveDate;

use super::Job;
use crate::trade::{ClientId, FloorCondition, JobId, closed_set};

closed_set! {
    /// What the rows of a report are.
    Grouping, "grouping" {
        /// Jobs.
        Job = "job",
        /// Rooms, each of one job.
        Room = "room",
        /// Clients.
        Client = "client",
        /// Months.
        Month = "month",
        /// Years.
        Year = "year",
        /// Floor conditions, a room by its own.
        Condition = "condition",
        /// Operations.
        Operation = "operation",
        /// Items.
        Item = "item",
        /// Grits of abrasives.
        Grit = "grit",
        /// Rented machines.
        Machine = "machine",
    }
}

impl Grouping {
    /// What a margin can be told by: a price is shared over rooms, and no further.
    pub const OF_MARGINS: &'static [Grouping] = &[
        Grouping::Job,
        Grouping::Room,
        Grouping::Client,
        Grouping::Month,
        Grouping::Year,
        Grouping::Condition,
    ];

    /// What consumables can be told by.
    pub const OF_CONSUMABLES: &'static [Grouping] = &[
        Grouping::Job,
        Grouping::Room,
        Grouping::Client,
        Grouping::Month,
        Grouping::Year,
        Grouping::Condition,
        Grouping::Operation,
        Grouping::Item,
        Grouping::Grit,
    ];

    /// What rentals can be told by: a machine is the whole job's.
    pub const OF_RENTALS: &'static [Grouping] = &[
        Grouping::Job,
        Grouping::Client,
        Grouping::Month,
        Grouping::Year,
        Grouping::Machine,
    ];

    /// Tells whether its rows are times, which are told in their order.
    pub const fn is_time(self) -> bool {
        matches!(self, Grouping::Month | Grouping::Year)
    }
}

/// What a row of a report is about.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Group {
    /// A job.
    Job {
        /// Its identity, which orders it.
        id: JobId,
        /// Its number.
        job: String,
        /// Who pays.
        client: String,
    },
    /// A room of a job.
    Room {
        /// The job's identity, which orders it.
        id: JobId,
        /// The job's number.
        job: String,
        /// Who pays.
        client: String,
        /// The room; `None`: the job as a whole.
        room: Option<String>,
    },
    /// A client.
    Client(String),
    /// A month: `2026-03`.
    Month(String),
    /// A year: `2026`.
    Year(String),
    /// A floor condition; `None`: of no room.
    Condition(Option<FloorCondition>),
    /// An operation; `None`: not said.
    Operation(Option<String>),
    /// An item.
    Item(String),
    /// A grit; `None`: no abrasive.
    Grit(Option<u32>),
    /// A machine.
    Machine(String),
}

/// What of its job a line is about, as far as it is known.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct About<'a> {
    pub(super) room: Option<&'a str>,
    pub(super) condition: Option<FloorCondition>,
    pub(super) operation: Option<&'a str>,
    pub(super) item: Option<&'a str>,
    pub(super) grit: Option<u32>,
    pub(super) machine: Option<&'a str>,
}

impl Group {
    /// Returns what a line of a job adds to; `day` is the one that it counts on.
    pub(super) fn of(by: Grouping, job: &Job, day: NaiveDate, about: About<'_>) -> Group {
        let text = |text: Option<&str>| text.map(str::to_owned);
        match by {
            Grouping::Job => Group::Job {
                id: job.id,
                job: job.number.clone(),
                client: job.client.clone(),
            },
            Grouping::Room => Group::Room {
                id: job.id,
                job: job.number.clone(),
                client: job.client.clone(),
                room: text(about.room),
            },
            Grouping::Client => Group::Client(job.client.clone()),
            Grouping::Month => Group::Month(day.format("%Y-%m").to_string()),
            Grouping::Year => Group::Year(day.format("%Y").to_string()),
            Grouping::Condition => Group::Condition(about.condition),
            Grouping::Operation => Group::Operation(text(about.operation)),
            Grouping::Item => Group::Item(text(about.item).unwrap_or_default()),
            Grouping::Grit => Group::Grit(about.grit),
            Grouping::Machine => Group::Machine(text(about.machine).unwrap_or_default()),
        }
    }
}

/// From which day to which, both included; `None`: without end.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Days {
    /// The first.
    pub from: Option<NaiveDate>,
    /// The last.
    pub to: Option<NaiveDate>,
}

impl Days {
    /// Tells whether a day is one of them.
    pub fn hold(&self, day: NaiveDate) -> bool {
        self.from.is_none_or(|from| from <= day) && self.to.is_none_or(|to| day <= to)
    }
}

/// Which jobs a report is about.
#[derive(Clone, Copy, Debug, Default)]
pub struct Which {
    /// Those that count on these days.
    pub days: Days,
    /// Those of this client; `None`: of any.
    pub client: Option<ClientId>,
    /// Those that aren't over.
    pub open: bool,
}

impl Which {
    /// Tells whether a job is one of them.
    pub fn has(&self, job: &Job) -> bool {
        let of_client = self.client.is_none_or(|client| client == job.client_id);
        of_client && self.days.hold(job.counted_on()) && !(self.open && job.is_over())
    }
}
