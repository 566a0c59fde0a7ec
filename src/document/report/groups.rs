//! How reports over many jobs tell what their rows are about, and what they come to.

use std::fmt;

use serde::Serialize;
use serde::ser::{SerializeMap as _, Serializer};

use crate::document::Page;
use crate::document::list::{Columns, InColumns, joined};
use crate::ledger::{Group, Grouping};

/// Returns the key of a report's rows in JSON, and the heading above them.
pub(super) const fn words(by: Grouping) -> (&'static str, &'static str) {
    match by {
        Grouping::Job => ("jobs", "Job"),
        Grouping::Room => ("rooms", "Room"),
        Grouping::Client => ("clients", "Client"),
        Grouping::Month => ("months", "Month"),
        Grouping::Year => ("years", "Year"),
        Grouping::Condition => ("conditions", "Floor condition"),
        Grouping::Operation => ("operations", "Operation"),
        Grouping::Item => ("items", "Item"),
        Grouping::Grit => ("grits", "Grit"),
        Grouping::Machine => ("machines", "Machine"),
    }
}

/// A group, as its keys or in words.
#[derive(Clone, Copy, Debug)]
pub(super) struct Whose<'a>(pub(super) &'a Group);

impl Serialize for Whose<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut keys = serializer.serialize_map(None)?;
        match self.0 {
            Group::Job { id: _, job, client } => {
                keys.serialize_entry("job", job)?;
                keys.serialize_entry("client", client)?;
            }
            Group::Room {
                id: _,
                job,
                client,
                room,
            } => {
                keys.serialize_entry("job", job)?;
                keys.serialize_entry("client", client)?;
                keys.serialize_entry("room", room)?;
            }
            Group::Client(client) => keys.serialize_entry("client", client)?,
            Group::Month(month) => keys.serialize_entry("month", month)?,
            Group::Year(year) => keys.serialize_entry("year", year)?,
            Group::Condition(condition) => keys.serialize_entry("condition", condition)?,
            Group::Operation(operation) => keys.serialize_entry("operation", operation)?,
            Group::Item(item) => keys.serialize_entry("item", item)?,
            Group::Grit(grit) => keys.serialize_entry("grit", grit)?,
            Group::Machine(machine) => keys.serialize_entry("machine", machine)?,
        }
        keys.end()
    }
}

/// What rows of every report can be about, so that their columns are the same whatever a report is told by.
impl InColumns for Whose<'_> {
    fn columns(key: &str, to: &mut Columns) {
        for part in ["job", "client", "room", "month", "year", "condition"] {
            to.add(&joined(key, part));
        }
    }
}

impl fmt::Display for Whose<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            Group::Job { job, client, .. } => write!(f, "{job} {client}"),
            Group::Room { job, room, .. } => {
                write!(f, "{job} {}", room.as_deref().unwrap_or("whole job"))
            }
            Group::Client(name)
            | Group::Month(name)
            | Group::Year(name)
            | Group::Item(name)
            | Group::Machine(name) => f.write_str(name),
            Group::Condition(Some(condition)) => f.write_str(condition.as_str()),
            Group::Condition(None) => f.write_str("whole job"),
            Group::Operation(operation) => {
                f.write_str(operation.as_deref().unwrap_or("no operation said"))
            }
            Group::Grit(Some(grit)) => write!(f, "{grit} grit"),
            Group::Grit(None) => f.write_str("no abrasive"),
        }
    }
}

/// What a row is about, beside what it comes to.
#[derive(Debug, Serialize)]
pub(super) struct Row<'a, Sums> {
    #[serde(flatten)]
    pub(super) whose: Whose<'a>,
    #[serde(flatten)]
    pub(super) sums: Sums,
}

/// What the rows come to that `--top` leaves out.
#[derive(Debug, Serialize)]
pub(super) struct Others<Sums> {
    pub(super) rows: usize,
    #[serde(flatten)]
    pub(super) sums: Sums,
}

/// Writes a report: its rows under their key, what isn't shown, and what all of them come to.
pub(super) fn report<S: Serializer, Sums: Serialize>(
    serializer: S,
    page: &Page,
    (key, rows): (&'static str, impl Serialize),
    others: Option<Others<Sums>>,
    total: Sums,
) -> Result<S::Ok, S::Error> {
    let mut answer = serializer.serialize_map(None)?;
    answer.serialize_entry("currency", page.currency.code())?;
    answer.serialize_entry(key, &rows)?;
    answer.serialize_entry("others", &others)?;
    answer.serialize_entry("total", &total)?;
    answer.end()
}
