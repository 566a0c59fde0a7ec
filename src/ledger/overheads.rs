//! What belongs to no job: insurance, the phone, a tool, an estimate visit, the van.
//!
//! Such entries stand in the day book without a job. They are in no job's cost, variance, margin or evidence.

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::{Row, named_params};

use super::columns::Micro;
use super::{Ledger, numbered};
use crate::money::{Decimal, Money};
use crate::trade::job_cost::DRIVING;
use crate::trade::{EntryId, Unit};

/// An entry of no job that counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Overhead {
    /// `E1`.
    pub entry: String,
    /// When it happened.
    pub date: NaiveDate,
    /// `hours`, `spent` or `drive`.
    pub kind: String,
    /// What it was for: what was said of it, else its kind, `driving` for hours on the road.
    pub what_for: String,
    /// Who worked; `None`: not hours.
    pub worker: Option<String>,
    /// Hours, or what is driven; `None`: money.
    pub quantity: Option<Decimal>,
    /// Their unit; `None`: money.
    pub unit: Option<Unit>,
    /// What it cost.
    pub cost: Money,
}

impl Ledger {
    /// Returns what was logged of no job in a time, oldest first.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn overheads(&self, from: NaiveDate, to: NaiveDate) -> Result<Vec<Overhead>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT live_entry.id, number, kind, on_the_road, happened_on, what, quantity_micro, amount_minor,
                    worker.name AS worker
             FROM live_entry
             LEFT JOIN worker ON worker.id = worker_id
             WHERE job_id IS NULL AND kind IN ('hours', 'spent', 'drive') AND happened_on BETWEEN :from AND :to
             ORDER BY happened_on, place_id, live_entry.id",
        )?;
        let period = named_params! { ":from": from, ":to": to };
        let road = self.road();
        let entries = statement.query_map(period, |row| overhead_from_row(row, road))?;
        Ok(entries.collect::<rusqlite::Result<_>>()?)
    }
}

fn overhead_from_row(row: &Row<'_>, road: Unit) -> rusqlite::Result<Overhead> {
    let (id, kind): (EntryId, String) = (row.get("id")?, row.get("kind")?);
    let (said, on_the_road): (String, bool) = (row.get("what")?, row.get("on_the_road")?);
    let quantity: Option<Micro> = row.get("quantity_micro")?;
    Ok(Overhead {
        entry: numbered('E', id.0, row.get("number")?),
        date: row.get("happened_on")?,
        what_for: match said.trim() {
            "" if on_the_road => DRIVING.to_owned(),
            "" => kind.clone(),
            said => said.to_owned(),
        },
        worker: row.get("worker")?,
        quantity: quantity.map(|quantity| quantity.0),
        unit: match kind.as_str() {
            "hours" => Some(Unit::Hour),
            "drive" => Some(road),
            _ => None,
        },
        cost: row.get("amount_minor")?,
        kind,
    })
}
