//! Machines out, with whom, and back; what each rental day is charged to.

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime};
use rusqlite::{OptionalExtension, Row, named_params};

use super::columns::{Micro, NamedRow};
use super::day_book::check_amount;
use super::entries::NewEntry;
use super::groups::About;
use super::machines::tariff_from_row;
use super::{
    BookMachine, Group, Grouping, Job, Ledger, Recorded, Refusal, Which, Writing, numbered, refuse,
    typed,
};
use crate::money::{Decimal, Money};
use crate::trade::rental::{Away, DayUse, MOST_DAYS, Tariff};
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
    /// The tariff with which it went out, by which its return is charged.
    pub tariff: Tariff,
    /// From which dates on other jobs had it, in their order.
    pub moved: Vec<Moved>,
    /// Its return; `None`: it is out.
    pub back: Option<Return>,
}

impl Rental {
    /// Returns its time away; `None`: it is out.
    pub fn away(&self) -> Option<Away> {
        Away::new(self.out_at, self.back.as_ref()?.at)
    }

    /// Returns the jobs that its days were charged to, in the order in which they had it; while it is out, those that had
    /// it so far.
    pub fn jobs(&self) -> Vec<&str> {
        let had = || std::iter::once(&self.job).chain(self.moved.iter().map(|moved| &moved.job));
        let all: Vec<&String> = match &self.back {
            Some(back) => back.days.iter().map(|day| &day.job).collect(),
            None => had().collect(),
        };
        let mut jobs: Vec<&str> = Vec::new();
        for job in all {
            if !jobs.contains(&job.as_str()) {
                jobs.push(job);
            }
        }
        jobs
    }

    /// Returns the job that had it on a date, with its number.
    pub(super) fn holder_on(&self, date: NaiveDate) -> (JobId, &str) {
        let mut earlier = self.moved.iter().rev();
        let moved = earlier.find(|moved| moved.on <= date);
        moved.map_or((self.job_id, &self.job), |moved| (moved.job_id, &moved.job))
    }

    /// Refuses a date before it went out.
    pub(super) fn refuse_before(&self, on: NaiveDate) -> Result<()> {
        let out_on = self.out_at.date();
        if on < out_on {
            refuse!("{} went out on {out_on}, after {on}", self.machine);
        }
        Ok(())
    }

    /// Returns its time away if it comes back at a moment; refuses one before it went out or years after.
    pub(super) fn away_until(&self, at: NaiveDateTime) -> Result<Away> {
        let (machine, out_at) = (&self.machine, self.out_at.format("%Y-%m-%d %H:%M"));
        if at <= self.out_at {
            let at = at.format("%Y-%m-%d %H:%M");
            refuse!("{machine} went out at {out_at}, not before {at}");
        }
        match Away::new(self.out_at, at) {
            Some(away) => Ok(away),
            None => Err(Refusal::new(format!(
                "{machine} went out at {out_at}: nobody rents for more than {MOST_DAYS} days"
            ))
            .hint(format!(
                "gritledger void {} --reason \"wrong date\"",
                self.entry
            ))
            .into()),
        }
    }

    /// Returns the job that has it, or had it last, with its number.
    pub fn holder(&self) -> (JobId, &str) {
        self.holder_on(NaiveDate::MAX)
    }
}

/// A machine that another job has from a date on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moved {
    /// The date.
    pub on: NaiveDate,
    /// The job.
    pub job_id: JobId,
    /// Its number.
    pub job: String,
}

/// A machine's return.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Return {
    /// The entry.
    pub id: EntryId,
    /// When it came back.
    pub at: NaiveDateTime,
    /// What the yard charged.
    pub charge: Money,
    /// It was charged by its tariff; else as the receipt says.
    pub by_tariff: bool,
    /// Its days, each charged to the job that had the machine.
    pub days: Vec<DayCharged>,
}

/// One rental day, as it was charged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DayCharged {
    /// The date on which it began.
    pub began_on: NaiveDate,
    /// The job that had the machine.
    pub job_id: JobId,
    /// That job's number.
    pub job: String,
    /// Its part of the charge.
    pub charge: Money,
}

/// A rental day on which nobody worked on the job that had the machine.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unworked {
    /// The entry that took the machine out.
    pub rental: String,
    /// The machine.
    pub machine: String,
    /// The day.
    pub day: DayCharged,
    /// Why nobody did, as far as it is known.
    pub used: DayUse,
}

/// What rentals come to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RentalSum {
    /// What they are added up by.
    pub group: Group,
    /// How many; what is still out has no days and no charge yet.
    pub rentals: usize,
    /// Their days.
    pub days: usize,
    /// What those days were charged.
    pub charge: Money,
}

/// A machine's return, as it was just charged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Returned {
    /// The entry.
    pub recorded: Recorded,
    /// What the tariff with which it went out asks; the receipt may say otherwise.
    pub by_tariff: Money,
    /// Its days.
    pub days: Vec<DayCharged>,
}

const RENTALS: &str = "
    SELECT went.id, went.number, went.machine_id, machine.name AS machine, went.job_id, job.number AS job_number,
           went.at AS out_at, tariff.*, back.id AS back_id, back.at AS back_at, back.amount_minor AS charge, back.by_tariff
    FROM live_entry AS went
    JOIN rental_tariff AS tariff ON tariff.entry_id = went.id
    JOIN machine ON machine.id = went.machine_id
    JOIN job ON job.id = went.job_id
    LEFT JOIN entry AS back
         ON back.id = (SELECT MAX(id) FROM live_entry WHERE rental_id = went.id AND kind = 'rental-back')
    WHERE went.kind = 'rental-out'";

impl Ledger {
    /// Returns every rental that counts, oldest first.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn rentals(&self) -> Result<Vec<Rental>> {
        let mut rentals = self.rentals_of(&format!("{RENTALS} ORDER BY went.at, went.id"))?;
        let mut days = self.rental_days(None)?;
        for back in rentals.iter_mut().filter_map(|rental| rental.back.as_mut()) {
            back.days = days.remove(&back.id).unwrap_or_default();
        }
        Ok(rentals)
    }

    /// Leaves of rentals those that went out on some days and, of shared ones, the days of a client's jobs.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn rentals_that(&self, which: &Which) -> Result<Vec<Rental>> {
        let mut rentals = self.rentals()?;
        rentals.retain(|rental| which.days.hold(rental.out_at.date()));
        rentals.retain(|rental| !which.open || rental.back.is_none());
        let Some(client) = which.client else {
            return Ok(rentals);
        };
        let jobs: BTreeSet<JobId> = self.jobs_for(client)?.iter().map(|job| job.id).collect();
        rentals.retain_mut(|rental| match &mut rental.back {
            None => jobs.contains(&rental.holder().0),
            Some(back) => {
                back.days.retain(|day| jobs.contains(&day.job_id));
                back.charge = back.days.iter().map(|day| day.charge).sum();
                !back.days.is_empty()
            }
        });
        Ok(rentals)
    }

    /// Returns what rentals come to, a day with the job that had the machine and all of them in the time in which it went
    /// out.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn rental_sums(&self, rentals: &[Rental], by: Grouping) -> Result<Vec<RentalSum>> {
        let jobs = self.jobs()?.into_iter();
        let jobs: BTreeMap<JobId, Job> = jobs.map(|job| (job.id, job)).collect();
        let mut sums: BTreeMap<Group, RentalSum> = BTreeMap::new();
        for rental in rentals {
            let shares: Vec<(JobId, usize, Money)> = match &rental.back {
                None => vec![(rental.holder().0, 0, Money::ZERO)],
                Some(back) => {
                    let days = back.days.iter();
                    days.map(|day| (day.job_id, 1, day.charge)).collect()
                }
            };
            let mut seen: BTreeSet<Group> = BTreeSet::new();
            for (job, days, charge) in shares {
                let Some(job) = jobs.get(&job) else {
                    continue; // In a damaged file; `check` tells of it.
                };
                let about = About {
                    machine: Some(&rental.machine),
                    ..About::default()
                };
                let group = Group::of(by, job, rental.out_at.date(), about);
                let sum = sums.entry(group.clone()).or_insert_with(|| RentalSum {
                    group: group.clone(),
                    rentals: 0,
                    days: 0,
                    charge: Money::ZERO,
                });
                sum.rentals += usize::from(seen.insert(group));
                sum.days += days;
                sum.charge += charge;
            }
        }
        Ok(sums.into_values().collect())
    }

    /// Returns the days of rentals on which nobody worked on the job that had the machine, with what they cost.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn unworked(&self, rentals: &[Rental]) -> Result<Vec<Unworked>> {
        let (worked, calendar) = (self.dates_worked()?, self.settings()?.calendar());
        let never = BTreeSet::new();
        let mut unworked = Vec::new();
        for rental in rentals {
            let lasted = rental.away().map(|away| away.days()).unwrap_or_default();
            let began_on = |day: &DayCharged| {
                let mut days = lasted.iter();
                days.find(|lasted| lasted.began.date() == day.began_on)
            };
            let charged = rental.back.iter().flat_map(|back| &back.days);
            for (day, lasted) in charged.filter_map(|day| Some((day, began_on(day)?))) {
                let worked = worked.get(&day.job_id).unwrap_or(&never);
                let used = lasted.used(worked, |date| calendar.works_on(date));
                if used != DayUse::Worked {
                    unworked.push(Unworked {
                        rental: rental.entry.clone(),
                        machine: rental.machine.clone(),
                        day: day.clone(),
                        used,
                    });
                }
            }
        }
        Ok(unworked)
    }

    /// Returns the days of every return that counts, or of those that a job has a day of.
    pub(super) fn rental_days(
        &self,
        of: Option<JobId>,
    ) -> Result<BTreeMap<EntryId, Vec<DayCharged>>> {
        let which = match of {
            Some(_) => "day.entry_id IN (SELECT entry_id FROM rental_day WHERE job_id = :of)",
            None => ":of IS NULL",
        };
        let sql = format!(
            "SELECT day.entry_id, day.began_on, day.job_id, day.charge_minor, job.number AS job_number
             FROM rental_day AS day
             JOIN live_entry AS returned ON returned.id = day.entry_id
             JOIN job ON job.id = day.job_id
             WHERE {which}
             ORDER BY day.entry_id, day.position"
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let rows = statement.query_map(named_params! { ":of": of }, |row| {
            let job_id: JobId = row.get("job_id")?;
            let day = DayCharged {
                began_on: row.get("began_on")?,
                job_id,
                job: numbered('J', job_id.0, row.get("job_number")?),
                charge: row.get("charge_minor")?,
            };
            Ok((row.get("entry_id")?, day))
        })?;
        let mut days: BTreeMap<EntryId, Vec<DayCharged>> = BTreeMap::new();
        for row in rows {
            let (entry, day) = row?;
            days.entry(entry).or_default().push(day);
        }
        Ok(days)
    }

    /// Returns the dates on which somebody worked on each job; who was on the road took no machine to hand.
    fn dates_worked(&self) -> Result<BTreeMap<JobId, BTreeSet<NaiveDate>>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT job_id, happened_on FROM live_entry
                 WHERE kind = 'hours' AND on_the_road = 0 AND job_id IS NOT NULL",
        )?;
        let rows =
            statement.query_map([], |row| Ok((row.get("job_id")?, row.get("happened_on")?)))?;
        let mut worked: BTreeMap<JobId, BTreeSet<NaiveDate>> = BTreeMap::new();
        for row in rows {
            let (job, date) = row?;
            worked.entry(job).or_default().insert(date);
        }
        Ok(worked)
    }

    /// Returns the machines that are out.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn rentals_out(&self) -> Result<Vec<Rental>> {
        self.rentals_of(&format!(
            "{RENTALS} AND went.id IN (SELECT entry_id FROM machine_out) ORDER BY went.at, went.id"
        ))
    }

    /// Returns the rentals that a query finds, without the days of their returns.
    fn rentals_of(&self, sql: &str) -> Result<Vec<Rental>> {
        let mut statement = self.connection.prepare_cached(sql)?;
        let rentals = statement.query_map([], rental_from_row)?;
        let mut rentals: Vec<Rental> = rentals.collect::<rusqlite::Result<_>>()?;
        let mut moves = self.connection.prepare_cached(
            "SELECT happened_on, job_id, job.number FROM live_entry
             JOIN job ON job.id = job_id
             WHERE kind = 'rental-day' AND rental_id = :rental ORDER BY happened_on, live_entry.place_id",
        )?;
        for rental in &mut rentals {
            let moved = moves.query_map(named_params! { ":rental": rental.id }, |row| {
                let job_id: JobId = row.get("job_id")?;
                Ok(Moved {
                    on: row.get("happened_on")?,
                    job_id,
                    job: numbered('J', job_id.0, row.get("number")?),
                })
            })?;
            rental.moved = moved.collect::<rusqlite::Result<_>>()?;
        }
        Ok(rentals)
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
                    typed(&machine.name)
                ))
                .into()),
        }
    }
}

fn rental_from_row(row: &Row<'_>) -> rusqlite::Result<Rental> {
    let (id, job): (EntryId, JobId) = (row.get("id")?, row.get("job_id")?);
    let back: Option<EntryId> = row.get("back_id")?;
    let back = back.map(|id| {
        let by_tariff: i64 = row.get("by_tariff")?;
        Ok::<_, rusqlite::Error>(Return {
            id,
            at: row.get("back_at")?,
            charge: row.get("charge")?,
            by_tariff: by_tariff == 1,
            days: Vec::new(),
        })
    });
    Ok(Rental {
        id,
        entry: numbered('E', id.0, row.get("number")?),
        machine_id: row.get("machine_id")?,
        machine: row.get("machine")?,
        job_id: job,
        job: numbered('J', job.0, row.get("job_number")?),
        out_at: row.get("out_at")?,
        tariff: tariff_from_row(&NamedRow::of(row))?,
        moved: Vec::new(),
        back: back.transpose()?,
    })
}

impl Writing<'_> {
    /// Takes a machine out for a job. The entry keeps the machine's tariff, and its return is charged by it.
    ///
    /// # Errors
    /// Refuses a machine that is out already, and a moment after today.
    pub fn rental_out(
        &self,
        machine: &BookMachine,
        at: NaiveDateTime,
        job: &Job,
    ) -> Result<Recorded> {
        self.refuse_machine_out(machine)?;
        let slip = self.tariff_of_slip(machine.id)?;
        let tariff = slip.as_ref().unwrap_or(&machine.tariff);
        let recorded = self.insert_entry(&NewEntry {
            kind: "rental-out",
            job: Some(job.id),
            late: self.is_late(job, at.date())?,
            on: at.date(),
            machine: Some(machine.id),
            at: Some(at),
            ..NewEntry::default()
        })?;
        let Tariff {
            half_day,
            day,
            weekend,
            week,
            four_weeks,
            waiver_percent,
            cleaning,
        } = tariff;
        self.connection
            .prepare_cached(
                "INSERT INTO rental_tariff (entry_id, half_day_minor, day_minor, weekend_minor, week_minor,
                                            four_weeks_minor, waiver_micro, cleaning_minor)
                 VALUES (:entry, :half_day, :day, :weekend, :week, :four_weeks, :waiver, :cleaning)",
            )?
            .execute(named_params! {
                ":entry": recorded.id, ":half_day": half_day, ":day": day, ":weekend": weekend,
                ":week": week, ":four_weeks": four_weeks, ":waiver": Micro(*waiver_percent), ":cleaning": cleaning,
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

    /// Refuses a machine that is out.
    pub(super) fn refuse_machine_out(&self, machine: &BookMachine) -> Result<()> {
        let mut out = self.rentals_out()?.into_iter();
        let Some(rental) = out.find(|rental| rental.machine_id == machine.id) else {
            return Ok(());
        };
        Err(Refusal::new(format!(
            "{} is out already, since {} on {}",
            machine.name,
            rental.out_at.format("%Y-%m-%d %H:%M"),
            rental.holder().1
        ))
        .hint(format!(
            "gritledger rental back {} --at \"HH:MM\"",
            typed(&machine.name)
        ))
        .into())
    }

    /// Returns the tariff with which a machine went out by an entry that was taken back today: it is typed again, and goes
    /// out with the same. `None`: it was taken out since, or nothing was taken back.
    fn tariff_of_slip(&self, machine: MachineId) -> Result<Option<Tariff>> {
        let tariff = self
            .connection
            .prepare_cached(
                "SELECT tariff.* FROM entry AS void
                 CROSS JOIN entry AS slip ON slip.id = void.voids_id
                 JOIN rental_tariff AS tariff ON tariff.entry_id = slip.id
                 WHERE void.happened_on = :today AND void.kind = 'void'
                   AND slip.kind = 'rental-out' AND slip.machine_id = :machine
                   AND NOT EXISTS (SELECT 1 FROM live_entry AS again
                                   WHERE again.kind = 'rental-out' AND again.machine_id = :machine AND again.id > void.id)
                 ORDER BY void.id DESC LIMIT 1",
            )?
            .query_row(
                named_params! { ":machine": machine, ":today": self.today() },
                |row| tariff_from_row(&NamedRow::of(row)),
            )
            .optional()?;
        Ok(tariff)
    }

    /// Says that from a date on a machine is with another job.
    ///
    /// # Errors
    /// Refuses a machine that isn't out, and a date before it went out or after today.
    pub fn rental_day(&self, machine: &BookMachine, on: NaiveDate, job: &Job) -> Result<Recorded> {
        let rental = self.rental_out_of(machine)?;
        rental.refuse_before(on)?;
        let recorded = self.insert_entry(&NewEntry {
            kind: "rental-day",
            job: Some(job.id),
            late: self.is_late(job, on)?,
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

    /// Takes a machine back: by the tariff with which it went out, or by the receipt's figure, which is charged as it
    /// stands, waiver and cleaning included. Each day is charged to the job that had the machine on the date it began.
    ///
    /// # Errors
    /// Refuses a machine that isn't out, a return before it went out or more than two years after, and a moment after
    /// today.
    pub fn rental_back(
        &self,
        machine: &BookMachine,
        at: NaiveDateTime,
        charged: Option<Money>,
    ) -> Result<Returned> {
        let rental = self.rental_out_of(machine)?;
        let away = rental.away_until(at)?;
        let by_tariff = away.cover(&rental.tariff).total();
        let charge = charged.unwrap_or(by_tariff);
        check_amount("rental-back", charge)?;
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
        let days = self.charge_days(&rental, &recorded, away, charge)?;
        let paid = self.currency().text(charge);
        self.log(&format!(
            "{}: {} back at {}, {paid}.",
            recorded.number,
            machine.name,
            at.format("%Y-%m-%d %H:%M")
        ))?;
        Ok(Returned {
            recorded,
            by_tariff,
            days,
        })
    }

    pub(super) fn charge_days(
        &self,
        rental: &Rental,
        returned: &Recorded,
        away: Away,
        charge: Money,
    ) -> Result<Vec<DayCharged>> {
        let days = away.days();
        let charges = charge.spread(&vec![Decimal::ONE; days.len()]);
        let mut charged = Vec::new();
        for (position, (day, charge)) in (1_i64..).zip(days.into_iter().zip(charges)) {
            let began_on = day.began.date();
            let (job_id, job) = rental.holder_on(began_on);
            self.connection
                .prepare_cached(
                    "INSERT INTO rental_day (id, entry_id, position, began_on, job_id, charge_minor)
                     VALUES (:id, :entry, :position, :began_on, :job, :charge)",
                )?
                .execute(named_params! {
                    ":id": self.new_id("rental_day")?, ":entry": returned.id, ":position": position,
                    ":began_on": began_on, ":job": job_id, ":charge": charge,
                })?;
            charged.push(DayCharged {
                began_on,
                job_id,
                job: job.to_owned(),
                charge,
            });
        }
        Ok(charged)
    }
}
