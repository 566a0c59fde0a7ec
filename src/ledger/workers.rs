//! The firm's workers and their wages.

use anyhow::Result;
use rusqlite::{Row, named_params};

use super::names::Names;
use super::{Ledger, Refusal, Writing, typed};
use crate::money::{Decimal, Money, quantity};
use crate::trade::WorkerId;
use crate::trade::bounds::check_wage;

/// Someone who works for the firm.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Worker {
    /// Identity.
    pub id: WorkerId,
    /// Name; unique.
    pub name: String,
    /// Wage per hour, before burden.
    pub wage: Money,
    /// Whether quotes count them in.
    pub active: bool,
}

const WORKERS: &str = "SELECT id, name, wage_minor, active FROM worker WHERE true";

impl Ledger {
    /// Returns the firm's workers, by name.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn workers(&self) -> Result<Vec<Worker>> {
        let mut statement = self
            .connection
            .prepare_cached(&format!("{WORKERS} ORDER BY name, id"))?;
        let workers = statement.query_map([], worker_from_row)?;
        Ok(workers.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the worker of that name.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn worker(&self, name: &str) -> Result<Worker> {
        let likely = self.may_be_meant(name, (WORKERS, "name"), worker_from_row)?;
        let likely = named_workers(likely);
        match likely.fits(name) {
            true => likely.find(name).cloned(),
            false => self.workers_by_name()?.find(name).cloned(),
        }
    }

    /// Returns the worker named, or the only active one.
    ///
    /// # Errors
    /// Refuses a name that fits none or several, and none where not exactly one is active.
    pub fn worker_or_only(&self, name: Option<&str>) -> Result<Worker> {
        if let Some(name) = name {
            return self.worker(name);
        }
        let mut active = self.workers()?;
        active.retain(|worker| worker.active);
        match &active[..] {
            [only] => Ok(only.clone()),
            [] => Err(self.nobody_works("there is no active worker")?),
            several => {
                let names: Vec<String> = several.iter().map(|worker| typed(&worker.name)).collect();
                Err(Refusal::new("several people work here")
                    .hint(format!("say who: {}", names.join(", ")))
                    .into())
            }
        }
    }

    /// Returns the refusal of what takes an active worker, with what to type: those who are out of use can come back.
    pub(super) fn nobody_works(&self, without_any: &str) -> Result<anyhow::Error> {
        let out = self.workers()?;
        let refusal = match out[..] {
            [] => Refusal::new(without_any).hint("gritledger worker add \"NAME\" --wage 28.00"),
            _ => Refusal::new("every worker is out of use"),
        };
        let back =
            |worker: &Worker| format!("gritledger worker edit {} --active", typed(&worker.name));
        Ok(out.iter().map(back).fold(refusal, Refusal::hint).into())
    }

    pub(super) fn workers_by_name(&self) -> Result<Names<Worker>> {
        Ok(named_workers(self.workers()?))
    }

    /// Returns the mean wage of the active workers in major units; `None`: there are none.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn mean_wage(&self) -> Result<Option<Decimal>> {
        let wages: Vec<Money> = self
            .workers()?
            .into_iter()
            .filter(|worker| worker.active)
            .map(|worker| worker.wage)
            .collect();
        if wages.is_empty() {
            return Ok(None);
        }
        let total: Money = wages.iter().copied().sum();
        Ok(Some(quantity(
            self.currency().decimal(total) / Decimal::from(wages.len()),
        )))
    }
}

fn named_workers(workers: Vec<Worker>) -> Names<Worker> {
    let workers = workers.into_iter();
    let named = workers.map(|worker| (worker.name.clone(), worker));
    Names::new("worker", named).only_whole(|worker| !worker.active)
}

fn worker_from_row(row: &Row<'_>) -> rusqlite::Result<Worker> {
    let active: i64 = row.get("active")?;
    Ok(Worker {
        id: row.get("id")?,
        name: row.get("name")?,
        wage: row.get("wage_minor")?,
        active: active == 1,
    })
}

impl Writing<'_> {
    /// Adds a worker.
    ///
    /// # Errors
    /// Refuses an empty name and one that is taken.
    pub fn add_worker(&self, name: &str, wage: Money) -> Result<WorkerId> {
        let name = self.workers_by_name()?.free(name)?;
        check_wage(wage)?;
        let id = WorkerId(self.new_id("worker")?);
        self.connection
            .prepare_cached("INSERT INTO worker (id, name, wage_minor, recorded_at) VALUES (:id, :name, :wage, :now)")?
            .execute(named_params! { ":id": id, ":name": name, ":wage": wage, ":now": self.now() })?;
        self.log(&format!("Added worker {name}."))?;
        Ok(id)
    }

    /// Changes a worker's wage, from now on.
    ///
    /// # Errors
    /// Fails if the file can't be written.
    pub fn edit_worker(&self, worker: &Worker) -> Result<()> {
        check_wage(worker.wage)?;
        self.connection.execute(
            "UPDATE worker SET wage_minor = :wage WHERE id = :id",
            named_params! { ":wage": worker.wage, ":id": worker.id },
        )?;
        self.log(&format!("Changed worker {}.", worker.name))
    }
}
