//! Did what happened to quotes and jobs happen in an order that can be?

use anyhow::Result;

use super::{Ledger, Problems, called};

/// Rows (id, number of a quote) that contradict another, and what is wrong.
const QUOTES: &[(&str, &str)] = &[
    (
        "it was decided and never sent",
        "SELECT quote.id, number FROM quote JOIN quote_event ON quote_id = quote.id AND what NOT IN ('sent', 'withdrawn')
         WHERE NOT own
               AND NOT EXISTS (SELECT 1 FROM quote_event AS sent WHERE sent.quote_id = quote.id AND sent.what = 'sent')",
    ),
    (
        "it was decided before it was sent",
        "SELECT quote.id, number FROM quote
         JOIN quote_event AS sent ON sent.quote_id = quote.id AND sent.what = 'sent'
         JOIN quote_event AS decided ON decided.quote_id = quote.id AND decided.what <> 'sent'
         WHERE decided.happened_on < sent.happened_on OR decided.id < sent.id",
    ),
    (
        "it was accepted, declined and withdrawn at once",
        "SELECT quote.id, number FROM quote JOIN quote_event ON quote_id = quote.id AND what <> 'sent'
         GROUP BY quote.id HAVING COUNT(*) > 1",
    ),
    (
        "it was sent before it was drafted",
        "SELECT quote.id, number FROM quote JOIN quote_event ON quote_id = quote.id
         WHERE happened_on < drafted_on",
    ),
    (
        "it could be accepted until a day before it was sent",
        "SELECT quote.id, number FROM quote JOIN quote_event ON quote_id = quote.id WHERE valid_until < happened_on",
    ),
    (
        "what happened to it was recorded on another day",
        "SELECT quote.id, number FROM quote JOIN quote_event ON quote_id = quote.id
         WHERE date(quote_event.recorded_at) <> happened_on",
    ),
    (
        "its options weren't sent together",
        "SELECT quote.id, quote.number FROM quote
         JOIN quote AS other ON other.number = quote.number AND other.version = quote.version AND other.id >> 40 = quote.id >> 40
         LEFT JOIN quote_event AS sent ON sent.quote_id = quote.id AND sent.what = 'sent'
         LEFT JOIN quote_event AS too ON too.quote_id = other.id AND too.what = 'sent'
         WHERE other.id > quote.id AND (sent.happened_on IS NOT too.happened_on OR sent.valid_until IS NOT too.valid_until)",
    ),
    (
        "it was accepted more than once",
        "SELECT MIN(quote.id) AS id, number FROM quote JOIN quote_event ON quote_id = quote.id AND what = 'accepted'
         GROUP BY quote.id >> 40, number HAVING COUNT(*) > 1",
    ),
    (
        "it was accepted, and is neither a job nor a variation",
        "SELECT quote.id, number FROM quote JOIN quote_event ON quote_id = quote.id AND what = 'accepted'
         WHERE job_id IS NULL AND NOT EXISTS (SELECT 1 FROM job WHERE job.quote_id = quote.id)",
    ),
    (
        "it is a variation, and a job of its own",
        "SELECT quote.id, quote.number FROM quote JOIN job ON job.quote_id = quote.id WHERE quote.job_id IS NOT NULL",
    ),
];

/// The same of jobs. An event's step is what comes before it.
const JOBS: &[(&str, &str)] = &[
    (
        "its quote was never accepted",
        "SELECT job.id, job.number FROM job WHERE quote_id IS NOT NULL AND NOT EXISTS (
             SELECT 1 FROM quote_event WHERE quote_event.quote_id = job.quote_id AND what = 'accepted')",
    ),
    (
        "its quote was declined",
        "SELECT job.id, job.number FROM job
         JOIN quote_event ON quote_event.quote_id = job.quote_id AND quote_event.what = 'declined'",
    ),
    (
        "its quote is for another site",
        "SELECT job.id, job.number FROM job JOIN quote ON quote.id = job.quote_id WHERE quote.site_id <> job.site_id",
    ),
    (
        "it was agreed on another day than its quote was accepted",
        "SELECT job.id, job.number FROM job
         JOIN quote_event ON quote_event.quote_id = job.quote_id AND quote_event.what = 'accepted'
         JOIN job_event ON job_event.job_id = job.id AND job_event.what = 'agreed'
         WHERE quote_event.happened_on <> job_event.happened_on",
    ),
    (
        "nobody agreed to it",
        "SELECT id, number FROM job WHERE NOT EXISTS (SELECT 1 FROM job_event WHERE job_id = job.id)",
    ),
    (
        "agreed, started, closed and reopened don't follow each other",
        "SELECT DISTINCT job.id, number FROM (
             SELECT job_id, what, LAG(what, 1, '') OVER (PARTITION BY job_id ORDER BY id) AS before FROM job_event) AS step
         JOIN job ON job.id = job_id
         WHERE (before, what) NOT IN (VALUES ('', 'agreed'), ('agreed', 'started'), ('started', 'closed'),
                                             ('closed', 'reopened'), ('reopened', 'closed'), ('agreed', 'cancelled'),
                                             ('started', 'cancelled'), ('reopened', 'cancelled'))
               -- Nobody knows when a job from before the ledger was begun.
               AND (before <> 'agreed' OR what <> 'closed' OR job.quote_id IS NOT NULL)",
    ),
    (
        "it was begun, closed or opened again before it could be",
        "SELECT DISTINCT job.id, number FROM (
             SELECT job_id, what, happened_on, LAG(happened_on) OVER (PARTITION BY job_id ORDER BY id) AS before FROM job_event) AS step
         JOIN job ON job.id = job_id
         -- A job may be begun before the paper was signed.
         WHERE happened_on < before AND what <> 'started'",
    ),
    (
        "what happened to it was recorded before it happened",
        "SELECT DISTINCT job.id, number FROM job_event JOIN job ON job.id = job_id
         WHERE happened_on > date(job_event.recorded_at)",
    ),
];

impl Ledger {
    pub(super) fn check_events(&self, problems: &mut Problems) -> Result<()> {
        for (letter, noun, contradictions) in [('Q', "quote ", QUOTES), ('J', "", JOBS)] {
            for (words, sql) in contradictions {
                self.each(problems, sql, |row| {
                    Ok(format!("{noun}{}: {words}", called(letter, row)?))
                })?;
            }
        }
        Ok(())
    }
}
