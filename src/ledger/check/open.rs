//! Are the lists of what is still open (jobs, machines, invoices, evidence) what the rows say that they follow from?
//!
//! Triggers keep them, so that nobody looks through years for the few things that are open; here they are made again.

use anyhow::Result;

use super::{Ledger, Problems, called};

/// Rows (id, number) that are listed and shouldn't be, or the other way round: their letter, what is wrong.
const LISTS: &[(char, &str, &str)] = &[
    (
        'J',
        "it isn't closed, and isn't listed as under way",
        "SELECT job.id, job.number FROM job_state JOIN job ON job.id = job_id
         WHERE what NOT IN ('closed', 'cancelled') AND job_id NOT IN (SELECT job_id FROM job_under_way)",
    ),
    (
        'J',
        "it is listed as under way, and isn't",
        "SELECT job.id, job.number FROM job_under_way JOIN job ON job.id = job_id
         WHERE job_id NOT IN (SELECT job_id FROM job_state WHERE what NOT IN ('closed', 'cancelled'))",
    ),
    (
        'J',
        "it isn't billed, and isn't listed so",
        "SELECT job.id, job.number FROM job_not_billed JOIN job ON job.id = job_id
         WHERE job_id NOT IN (SELECT job_id FROM job_to_bill)",
    ),
    (
        'J',
        "it is listed as not billed, and isn't",
        "SELECT job.id, job.number FROM job_to_bill JOIN job ON job.id = job_id
         WHERE job_id NOT IN (SELECT job_id FROM job_not_billed)",
    ),
    (
        'E',
        "its machine is out, and isn't listed so",
        "SELECT entry.id, entry.number FROM machine_not_back JOIN entry ON entry.id = entry_id
         WHERE entry_id NOT IN (SELECT entry_id FROM machine_out)",
    ),
    (
        'E',
        "its machine is listed as out, and isn't",
        "SELECT entry.id, entry.number FROM machine_out JOIN entry ON entry.id = entry_id
         WHERE entry_id NOT IN (SELECT entry_id FROM machine_not_back)",
    ),
    (
        'I',
        "it isn't settled, and isn't listed so",
        "SELECT invoice.id, invoice.number FROM invoice_not_settled JOIN invoice ON invoice.id = invoice_id
         WHERE invoice_id NOT IN (SELECT invoice_id FROM unsettled_invoice)",
    ),
    (
        'I',
        "it is listed as unsettled, and isn't",
        "SELECT invoice.id, COALESCE(invoice.number, 0) AS number FROM unsettled_invoice JOIN invoice ON invoice.id = invoice_id
         WHERE invoice_id NOT IN (SELECT invoice_id FROM invoice_not_settled)",
    ),
];

impl Ledger {
    pub(super) fn check_open(&self, problems: &mut Problems) -> Result<()> {
        for (letter, words, sql) in LISTS {
            self.each(problems, sql, |row| {
                Ok(format!("{}: {words}", called(*letter, row)?))
            })?;
        }
        if !self.evidence_digest_holds()? {
            problems.push(
                "rates: the digest of the evidence isn't that of its observations".to_owned(),
            );
        }
        Ok(())
    }
}
