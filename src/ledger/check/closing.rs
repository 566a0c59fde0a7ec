//! Do closed times follow each other, do things count on the days that follow from them, and are the filed figures still so?

use anyhow::Result;

use super::{Ledger, Problems, called};

/// Rows (id, number of an entry) that count on another day than they must.
const ENTRIES: &[&str] = &[
    // What was recorded when its day was closed counts on the day of its recording, or the first open one after it.
    "SELECT id, number FROM (
         SELECT entry.id, entry.number, entry.posted_on, date(entry.recorded_at) AS told_on,
                COALESCE(voided.posted_on, voided.happened_on, entry.happened_on) AS day,
                (SELECT MAX(to_on) FROM closed_period WHERE last_entry_id < entry.id AND id >> 40 = entry.id >> 40) AS until
         FROM entry LEFT JOIN entry AS voided ON voided.id = entry.voids_id)
     WHERE posted_on IS NOT IIF(day <= until, MAX(told_on, date(until, '+1 day')), NULL)",
    // So does what is worked out again of a closed day's stock, by its cause.
    "SELECT id, number FROM (
         SELECT entry.id, entry.number, effect.posted_on, date(cause.recorded_at) AS told_on, cause.id AS cause_id,
                COALESCE(entry.posted_on, entry.happened_on) AS day,
                (SELECT MAX(to_on) FROM closed_period WHERE last_entry_id < cause.id AND id >> 40 = cause.id >> 40) AS until
         FROM stock_effect AS effect JOIN entry ON entry.id = entry_id JOIN entry AS cause ON cause.id = cause_id)
     WHERE posted_on IS NOT IIF(day <= until AND cause_id <> id, MAX(told_on, date(until, '+1 day')), NULL)",
];

/// Rows (id, number of a payment or an invoice, its letter) that do: they have `day`, `told_at` and `posted_on`, and closed
/// times of the same moment may be before or after them.
const OTHERS: &[(char, &str)] = &[
    (
        'P',
        "SELECT id, number, happened_on AS day, recorded_at AS told_at, posted_on FROM payment",
    ),
    (
        'P',
        "SELECT payment.id, number, COALESCE(payment.posted_on, payment.happened_on) AS day, void.recorded_at AS told_at,
                void.posted_on
         FROM payment_void AS void JOIN payment ON payment.id = payment_id",
    ),
    (
        'P',
        "SELECT payment.id, number, part.happened_on AS day, part.recorded_at AS told_at, part.posted_on
         FROM payment_application AS part JOIN payment ON payment.id = payment_id",
    ),
    (
        'I',
        "SELECT invoice.id, number, write_off.happened_on AS day, void.recorded_at AS told_at, void.posted_on
         FROM write_off_void AS void JOIN write_off ON write_off.id = write_off_id JOIN invoice ON invoice.id = invoice_id",
    ),
];

/// Closed times that contradict another, in words.
const PERIODS: &[(&str, &str)] = &[
    (
        "doesn't begin where the one before it ends",
        "SELECT from_on, to_on FROM (
             SELECT from_on, to_on, LAG(to_on) OVER (ORDER BY to_on) AS before FROM closed_period)
         WHERE from_on <> date(before, '+1 day')",
    ),
    (
        "was closed before it was over",
        "SELECT from_on, to_on FROM closed_period WHERE to_on >= date(recorded_at)",
    ),
    (
        "was closed before the one before it",
        "SELECT from_on, to_on FROM (
             SELECT from_on, to_on, recorded_at, last_entry_id, LAG(recorded_at) OVER by_day AS before,
                    LAG(last_entry_id) OVER by_day AS last_before
             FROM closed_period WINDOW by_day AS (ORDER BY to_on))
         WHERE recorded_at < before OR last_entry_id < last_before",
    ),
];

impl Ledger {
    pub(super) fn check_closing(&self, problems: &mut Problems) -> Result<()> {
        for (words, sql) in PERIODS {
            self.each(problems, sql, |row| {
                let (from, to): (String, String) = (row.get("from_on")?, row.get("to_on")?);
                Ok(format!("{from} to {to}: it {words}"))
            })?;
        }
        let entries = ENTRIES.iter().map(|sql| ('E', (*sql).to_owned()));
        let others = OTHERS.iter().map(|(letter, sql)| {
            let sql = format!(
                "SELECT id, number FROM ({sql}) AS told
                 WHERE IIF(posted_on IS NULL,
                           EXISTS (SELECT 1 FROM closed_period WHERE recorded_at < told_at AND day <= to_on),
                           NOT EXISTS (SELECT 1 FROM closed_period WHERE recorded_at <= told_at AND day <= to_on
                                       AND posted_on = MAX(date(told_at), date(to_on, '+1 day'))))"
            );
            (*letter, sql)
        });
        for (letter, sql) in entries.chain(others) {
            self.each(problems, &sql, |row| {
                let name = called(letter, row)?;
                Ok(format!("{name}: it counts on another day than it must"))
            })?;
        }
        problems.extend(self.unlike_filed()?);
        Ok(())
    }
}
