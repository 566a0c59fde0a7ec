//! Work on the owner's own floors: from its rooms to the day book in one step.
//!
//! It is planned like any other work and kept as a quote that nobody is sent: at cost, with hours that are counted and cost
//! nothing. Its job is begun at once and teaches the rates like any job; no margin, invoice or price speaks of it.

use anyhow::Result;
use chrono::NaiveDate;

use super::{
    AgreedBy, DraftRequest, Drafted, Job, Ledger, Refusal, Room, Site, Writing, adding_a_room,
    refuse,
};
use crate::trade::SiteId;
use crate::trade::evidence::FinishedRoom;

impl Ledger {
    /// Returns the rooms of a site that a job has, with the job; a cancelled one has none.
    pub(super) fn rooms_in_jobs(&self, site: SiteId) -> Result<Vec<(FinishedRoom, Job)>> {
        let mut rooms = Vec::new();
        for job in self.jobs_at(site)? {
            if job.cancelled.is_none() {
                let to_do = self.agreed(&job)?.rooms_to_do();
                rooms.extend(to_do.into_iter().map(|room| (room, job.clone())));
            }
        }
        Ok(rooms)
    }

    /// Returns the rooms that the owner will do: those that are named, else all that no job has done or is doing.
    fn own_rooms(&self, site: &Site, names: &[String]) -> Result<Vec<Room>> {
        let in_jobs = self.rooms_in_jobs(site.id)?;
        if names.is_empty() {
            let free = free_rooms(&self.rooms_of(site.id)?, &in_jobs);
            if free.is_empty() {
                let refusal = Refusal::new(format!("`{}` has no rooms left to do", site.address));
                return Err(refusal.hint(adding_a_room(&site.address)).into());
            }
            return Ok(free);
        }
        let rooms = self.rooms_named(site, names)?;
        let under_way = in_jobs.iter().filter(|(_, job)| !job.is_over());
        for (known, job) in under_way {
            if rooms.iter().any(|room| room.id == known.id) {
                refuse!("`{}` is in {} already", known.name, job.number);
            }
        }
        Ok(rooms)
    }
}

/// Returns the rooms that are refinished and that no job has.
pub(super) fn free_rooms(rooms: &[Room], in_jobs: &[(FinishedRoom, Job)]) -> Vec<Room> {
    let is_free = |room: &&Room| !in_jobs.iter().any(|(known, _)| known.id == room.id);
    let refinished = rooms.iter().filter(|room| room.refinished);
    refinished.filter(is_free).cloned().collect()
}

impl Writing<'_> {
    /// Plans work on the owner's own floors, and begins it as a job.
    ///
    /// # Errors
    /// Refuses what [`Writing::draft_quote`] refuses, work that would grind what holds asbestos or lead, a room of a job that
    /// is under way, and a date after today.
    pub fn begin_own(
        &self,
        site: &Site,
        request: DraftRequest,
        on: NaiveDate,
    ) -> Result<(Drafted, Job)> {
        let rooms = self.own_rooms(site, &request.rooms)?;
        let request = DraftRequest {
            rooms: rooms.into_iter().map(|room| room.name).collect(),
            own: true,
            ..request
        };
        let mut drafted = self.draft_quote(site, &request)?;
        self.refuse_hazards(&drafted.sheet.record)?;
        let floors = std::mem::take(&mut drafted.sheet.floors);
        let quote = drafted.sheet.record.header.id;
        self.add_answer(quote, "accepted")?;
        let job = self.job_by_id(self.open_job(site.id, AgreedBy::Quote(quote))?)?;
        self.start_job(&job, on)?;
        drafted.sheet = self.sheet(self.quote_by_id(quote)?)?;
        drafted.sheet.floors = floors;
        Ok((drafted, self.job_by_id(job.id)?))
    }
}
