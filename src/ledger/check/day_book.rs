//! Do the amounts, days and places of entries follow from what they say?

use anyhow::Result;
use chrono::NaiveDate;

use super::super::columns::Micro;
use super::super::numbered;
use super::{Ledger, Problems, called};
use crate::money::{Decimal, product};

/// Rows (id, number of an entry) that contradict another, and what is wrong.
const CONTRADICTIONS: &[(&str, &str)] = &[
    (
        "it happened after it was recorded",
        "SELECT id, number FROM entry WHERE happened_on > date(recorded_at)",
    ),
    (
        "it happened on another day than its machine went out or came back",
        "SELECT id, number FROM entry WHERE at IS NOT NULL AND date(at) <> happened_on",
    ),
    (
        "it takes back a void",
        "SELECT void.id, void.number FROM entry AS void JOIN entry ON entry.id = void.voids_id WHERE entry.kind = 'void'",
    ),
    (
        "it takes back an entry of another job",
        "SELECT void.id, void.number FROM entry AS void JOIN entry ON entry.id = void.voids_id
         WHERE entry.job_id IS NOT void.job_id",
    ),
    (
        "it takes back an entry that comes after it",
        "SELECT void.id, void.number FROM entry AS void JOIN entry ON entry.id = void.voids_id
         WHERE entry.id >> 40 = void.id >> 40 AND entry.id > void.id",
    ),
    (
        "it was logged after its job was closed, and isn't a call-back",
        // Events of one moment, as of a day that was set by hand, are in no order with it. A job from before the ledger goes
        // by the days on which things happened.
        "SELECT entry.id, entry.number FROM entry JOIN job ON job.id = entry.job_id
         JOIN job_event AS last ON last.id = (
             SELECT MAX(id) FROM job_event WHERE job_id = entry.job_id AND recorded_at <= entry.recorded_at)
         WHERE late = 0 AND place_id = entry.id AND kind IN ('use', 'hours', 'spent', 'drive')
               AND last.what = 'closed' AND last.recorded_at < entry.recorded_at
               AND (job.quote_id IS NOT NULL OR entry.happened_on > last.happened_on)",
    ),
    (
        "a call-back from before its job was closed",
        "SELECT entry.id, entry.number FROM entry JOIN job ON job.id = entry.job_id AND job.quote_id IS NULL
         WHERE late = 1 AND NOT EXISTS (
             SELECT 1 FROM job_event WHERE job_id = job.id AND what = 'closed' AND happened_on < entry.happened_on)",
    ),
    (
        "it says what its room was like, and a quote does too, or neither does",
        "SELECT DISTINCT entry.id, entry.number FROM entry_room
         JOIN entry ON entry.id = entry_id JOIN job ON job.id = entry.job_id
         WHERE (job.quote_id IS NULL) <> (area_micro IS NOT NULL)",
    ),
    (
        "it names rooms, and no job",
        "SELECT DISTINCT entry.id, entry.number FROM entry_room JOIN entry ON entry.id = entry_id WHERE job_id IS NULL",
    ),
    (
        "it is hours on the road, and names rooms",
        "SELECT DISTINCT entry.id, entry.number FROM entry_room JOIN entry ON entry.id = entry_id WHERE on_the_road = 1",
    ),
    (
        "a call-back on a job that was never closed",
        "SELECT entry.id, entry.number FROM entry WHERE late = 1 AND NOT EXISTS (
             SELECT 1 FROM job_event WHERE job_id = entry.job_id AND what = 'closed')",
    ),
];

impl Ledger {
    pub(super) fn check_day_book(&self, problems: &mut Problems) -> Result<()> {
        for (words, sql) in CONTRADICTIONS {
            self.each(problems, sql, |row| {
                Ok(format!("{}: {words}", called('E', row)?))
            })?;
        }
        self.check_hours_and_driving(problems)?;
        self.each(
            problems,
            "SELECT entry.id, entry.number, room.name, job.id AS job_id, job.number AS job_number FROM entry_room
             JOIN entry ON entry.id = entry_id JOIN room ON room.id = room_id JOIN job ON job.id = entry.job_id
             WHERE room.site_id <> job.site_id",
            |row| {
                let room: String = row.get("name")?;
                let job = numbered('J', row.get("job_id")?, row.get("job_number")?);
                Ok(format!("{}: `{room}` isn't where {job} is", called('E', row)?))
            },
        )?;
        self.each(
            problems,
            "SELECT worker.name, happened_on FROM live_entry
             JOIN worker ON worker.id = worker_id
             WHERE kind = 'hours' GROUP BY worker.id, happened_on HAVING SUM(quantity_micro) > 24000000",
            |row| {
                let (name, day): (String, NaiveDate) = (row.get(0)?, row.get(1)?);
                Ok(format!("{name} has more than 24 hours on {day}"))
            },
        )
    }

    /// Hours cost wage × burden, driving its rate, each as it stood.
    fn check_hours_and_driving(&self, problems: &mut Problems) -> Result<()> {
        let currency = self.currency();
        self.each_that(
            problems,
            "SELECT id, number, kind, quantity_micro, price_micro, burden_micro, amount_minor FROM entry
             WHERE kind IN ('hours', 'drive')",
            |row| {
                let (quantity, price): (Micro, Micro) =
                    (row.get("quantity_micro")?, row.get("price_micro")?);
                let burden: Option<Micro> = row.get("burden_micro")?;
                let burden = burden.map_or(Decimal::ONE, |burden| burden.0);
                let cost = currency.amount(product([quantity.0, price.0, burden]));
                let what = match row.get_ref("kind")?.as_str()? {
                    "hours" => "its hours cost",
                    _ => "its driving costs",
                };
                Ok(self.unlike(&called('E', row)?, what, row.get("amount_minor")?, cost))
            },
        )
    }
}
