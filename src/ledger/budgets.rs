//! How far a job has come beside what was quoted for it.

use std::collections::BTreeMap;

use anyhow::Result;

use super::books::JobRecord;
use super::{Job, JobState, Ledger};
use crate::money::Money;
use crate::trade::budget::{Budget, Standing, budget};
use crate::trade::job_cost::Logged;
use crate::trade::{EntryId, RoomId};

/// A job's budget, with what is needed to print it.
#[derive(Clone, Debug)]
pub struct JobBudget {
    /// The job.
    pub job: Job,
    /// What was quoted and used.
    pub budget: Budget,
    /// Names of the rooms.
    pub rooms: BTreeMap<RoomId, String>,
    /// What it will cost if it goes on like that; `None`: nothing is logged yet, or the job is over.
    pub at_this_pace: Option<Money>,
    /// What it was quoted to cost, variations included.
    pub quoted: Money,
    logged: Vec<Logged>,
}

/// How far something has come that an entry logged.
#[derive(Clone, Debug)]
pub struct EntryBudget {
    /// The job's number.
    pub job: String,
    /// What was quoted and used.
    pub standing: Standing,
    /// The room that the entry names, if it names one.
    pub room: Option<String>,
}

impl Ledger {
    /// Returns a job's budget; `None`: nothing was quoted for it.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn budget_of(&self, job: &Job) -> Result<Option<JobBudget>> {
        let JobRecord {
            job,
            agreed,
            logged,
        } = self.record_of(job)?;
        if agreed.quotes.is_empty() || agreed.before.is_some() {
            return Ok(None);
        }
        let names = self.operation_names()?;
        let name_of = |operation| names.get(&operation).cloned().unwrap_or_default();
        let budget = budget(&agreed.quoted(), &logged, name_of);
        let is_under_way = job.state == JobState::Open && !logged.is_empty();
        let overhead = self.overhead_of(&agreed)?;
        Ok(Some(JobBudget {
            at_this_pace: is_under_way.then(|| budget.at_this_pace(overhead)),
            quoted: agreed.estimated(),
            rooms: agreed.room_names,
            job,
            budget,
            logged,
        }))
    }
}

impl JobBudget {
    /// Returns how far that has come which an entry logged; `None`: it is nothing that is counted, or came after the job.
    pub fn after(&self, entry: EntryId) -> Option<EntryBudget> {
        let is_meant = |cost: &&Logged| cost.entry == entry && !cost.correction && !cost.late;
        let logged = self.logged.iter().find(is_meant)?;
        let room = match logged.rooms[..] {
            [only] => Some(only),
            _ => None,
        };
        let standing = self.budget.standing(&logged.what, room)?;
        let name = room.and_then(|room| self.rooms.get(&room).cloned());
        Some(EntryBudget {
            job: self.job.number.clone(),
            room: name.filter(|_| standing.there.is_some()),
            standing,
        })
    }
}
