//! Machines out, with whom, and back; what each rental day is charged to.

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime};
use rusqlite::{Row, named_params};

use super::day_book::NewEntry;
use super::{BookMachine, Job, Ledger, Recorded, Refusal, Writing, numbered, refuse};
use crate::money::{Decimal, Money};
use crate::trade::rental::{cover_between, days_between};
use crate::trade::{EntryId, JobId, MachineId};

/// A machine's time away from the yard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rental {
    /// The entry that took it out.
    pub id: EntryId,
    /// That entry's number.
    pub entry: String,
    /// The machine.
    pub machine_id: MachineId,
    /// Its name.
    pub machine: String,
    /// The job that took it out.
    pub job_id: JobId,
    /// That job's number.
    pub job: String,
    /// When it went out.
    pub out_at: NaiveDateTime,
    /// When it came back; `None`: it is out.
    pub back_at: Option<NaiveDateTime>,
    /// What the yard charged; `None`: it is out.
    pub charge: Option<Money>,
    /// Rental days charged.
    pub days: usize,
}

/// A machine's return, as it was charged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Returned {
    /// The entry.
    pub recorded: Recorded,
    /// Each day and the job that it is charged to.
    pub days: Vec<(NaiveDate, String, Money)>,
}

const RENTALS: &str = "
    SELECT went.id, went.number, went.machine_id, machine.name AS machine, went.job_id, job.number AS job_number,
           went.at AS out_at, back.at AS back_at, back.amount_minor AS charge,
           (SELECT COUNT(*) FROM rental_day WHERE entry_id = back.id) AS days
    FROM live_entry AS went
    JOIN machine ON machine.id = went.machine_id
    JOIN job ON job.id = went.job_id
    LEFT JOIN live_entry AS back ON back.rental_id = went.id AND back.kind = 'rental-back'
    WHERE went.kind = 'rental-out'";

impl Ledger {
    /// Returns every rental that counts, oldest first.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn rentals(&self) -> Result<Vec<Rental>> {
        let sql = format!("{RENTALS} ORDER BY went.at, went.id");
        let mut statement = self.connection.prepare_cached(&sql)?;
        let rentals = statement.query_map([], rental_from_row)?;
        Ok(rentals.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the machines that are out.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn rentals_out(&self) -> Result<Vec<Rental>> {
        let sql = format!("{RENTALS} AND back.id IS NULL ORDER BY went.at, went.id");
        let mut statement = self.connection.prepare_cached(&sql)?;
        let rentals = statement.query_map([], rental_from_row)?;
        Ok(rentals.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the rental of a machine that is out.
    ///
    /// # Errors
    /// Refuses a machine that is not.
    pub fn rental_out_of(&self, machine: &BookMachine) -> Result<Rental> {
        match self
            .rentals_out()?
            .into_iter()
            .find(|rental| rental.machine_id == machine.id)
        {
            Some(rental) => Ok(rental),
            None => Err(Refusal::new(format!("{} is not out", machine.name))
                .hint(format!(
                    "gritledger rental out {} --at \"HH:MM\"",
                    machine.name
                ))
                .into()),
        }
    }

    /// Returns the job that a machine is with now.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn holder_of(&self, rental: &Rental) -> Result<JobId> {
        Ok(self
            .holders(rental)?
            .last()
            .map_or(rental.job_id, |(_, job)| *job))
    }

    /// Returns from which dates on a rental was with which job, first the one that took it out.
    fn holders(&self, rental: &Rental) -> Result<Vec<(NaiveDate, JobId)>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT happened_on, job_id FROM live_entry
             WHERE kind = 'rental-day' AND rental_id = :rental ORDER BY happened_on, id",
        )?;
        let moved = statement.query_map(named_params! { ":rental": rental.id }, |row| {
            Ok((row.get("happened_on")?, row.get("job_id")?))
        })?;
        let mut holders = vec![(NaiveDate::MIN, rental.job_id)];
        for holder in moved {
            holders.push(holder?);
        }
        Ok(holders)
    }
}

fn rental_from_row(row: &Row<'_>) -> rusqlite::Result<Rental> {
    let (id, job): (EntryId, JobId) = (row.get("id")?, row.get("job_id")?);
    let days: i64 = row.get("days")?;
    Ok(Rental {
        id,
        entry: numbered('E', id.0, row.get("number")?),
        machine_id: row.get("machine_id")?,
        machine: row.get("machine")?,
        job_id: job,
        job: numbered('J', job.0, row.get("job_number")?),
        out_at: row.get("out_at")?,
        back_at: row.get("back_at")?,
        charge: row.get("charge")?,
        days: usize::try_from(days).unwrap_or_default(),
    })
}

impl Writing<'_> {
    /// Takes a machine out for a job.
    ///
    /// # Errors
    /// Refuses a machine that is out already, and a moment after today.
    pub fn rental_out(
        &self,
        machine: &BookMachine,
        at: NaiveDateTime,
        job: &Job,
    ) -> Result<Recorded> {
        if let Some(rental) = self
            .rentals_out()?
            .into_iter()
            .find(|rental| rental.machine_id == machine.id)
        {
            return Err(Refusal::new(format!(
                "{} is out already, since {} on {}",
                machine.name,
                rental.out_at.format("%Y-%m-%d %H:%M"),
                rental.job
            ))
            .hint(format!(
                "gritledger rental back {} --at \"HH:MM\"",
                machine.name
            ))
            .into());
        }
        let recorded = self.insert_entry(&NewEntry {
            kind: "rental-out",
            job: Some(job.id),
            late: job.is_closed(),
            on: at.date(),
            machine: Some(machine.id),
            at: Some(at),
            ..NewEntry::default()
        })?;
        self.log(&format!(
            "{}: {} out at {} for {}.",
            recorded.number,
            machine.name,
            at.format("%Y-%m-%d %H:%M"),
            job.number
        ))?;
        Ok(recorded)
    }

    /// Says that from a date on a machine is with another job.
    ///
    /// # Errors
    /// Refuses a machine that isn't out, and a date before it went out or after today.
    pub fn rental_day(&self, machine: &BookMachine, on: NaiveDate, job: &Job) -> Result<Recorded> {
        let rental = self.rental_out_of(machine)?;
        if on < rental.out_at.date() {
            refuse!(
                "{} went out on {}, after {on}",
                machine.name,
                rental.out_at.date()
            );
        }
        let recorded = self.insert_entry(&NewEntry {
            kind: "rental-day",
            job: Some(job.id),
            late: job.is_closed(),
            on,
            machine: Some(machine.id),
            rental: Some(rental.id),
            ..NewEntry::default()
        })?;
        self.log(&format!(
            "{}: {} with {} from {on}.",
            recorded.number, machine.name, job.number
        ))?;
        Ok(recorded)
    }

    /// Takes a machine back: by the receipt's figure, or by tariff. Each day is charged to the job that had the machine
    /// on the date it began.
    ///
    /// # Errors
    /// Refuses a machine that isn't out, a return before it went out, and a moment after today.
    pub fn rental_back(
        &self,
        machine: &BookMachine,
        at: NaiveDateTime,
        charged: Option<Money>,
    ) -> Result<Returned> {
        let rental = self.rental_out_of(machine)?;
        if at <= rental.out_at {
            refuse!(
                "{} went out at {}, not before {}",
                machine.name,
                rental.out_at.format("%Y-%m-%d %H:%M"),
                at.format("%Y-%m-%d %H:%M")
            );
        }
        let charge = match charged {
            Some(charged) if charged.is_negative() => {
                refuse!("a rental does not cost less than nothing")
            }
            Some(charged) => charged,
            None => cover_between(&machine.tariff, rental.out_at, at).total(),
        };
        let recorded = self.insert_entry(&NewEntry {
            kind: "rental-back",
            job: Some(rental.job_id),
            on: at.date(),
            machine: Some(machine.id),
            rental: Some(rental.id),
            amount: Some(charge),
            at: Some(at),
            by_tariff: Some(charged.is_none()),
            ..NewEntry::default()
        })?;
        let days = self.charge_days(&rental, &recorded, at, charge)?;
        let paid = self.currency().text(charge);
        self.log(&format!(
            "{}: {} back at {}, {paid}.",
            recorded.number,
            machine.name,
            at.format("%Y-%m-%d %H:%M")
        ))?;
        Ok(Returned { recorded, days })
    }

    fn charge_days(
        &self,
        rental: &Rental,
        returned: &Recorded,
        at: NaiveDateTime,
        charge: Money,
    ) -> Result<Vec<(NaiveDate, String, Money)>> {
        let holders = self.holders(rental)?;
        let days = days_between(rental.out_at, at);
        let charges = charge.spread(&vec![Decimal::ONE; days.len()]);
        let mut charged = Vec::new();
        for (position, (began_on, charge)) in days.into_iter().zip(charges).enumerate() {
            let holder = holders
                .iter()
                .rev()
                .find(|(from, _)| *from <= began_on)
                .map_or(rental.job_id, |(_, job)| *job);
            self.connection
                .prepare_cached(
                    "INSERT INTO rental_day (id, entry_id, position, began_on, job_id, charge_minor)
                     VALUES (:id, :entry, :position, :began_on, :job, :charge)",
                )?
                .execute(named_params! {
                    ":id": self.new_id("rental_day")?, ":entry": returned.id,
                    ":position": i64::try_from(position + 1).expect("a rental has fewer days than 2^63"),
                    ":began_on": began_on, ":job": holder, ":charge": charge,
                })?;
            charged.push((began_on, self.job_by_id(holder)?.number, charge));
        }
        Ok(charged)
    }
}
