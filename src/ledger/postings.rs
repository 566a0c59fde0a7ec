//! The ledger as double entries: what each thing that happened moves between accounts, and on which day it counts.
//!
//! Nothing of it is kept but days. A row counts on its own day, unless that lay in a closed time when it was recorded: then
//! `posted_on` says when. What takes a row back makes it count nowhere, or, where it was closed, counts the other way on a
//! later day. What the stock comes to is worked out again by later entries; what changes by that of a closed time counts on
//! the day of its cause. So what was closed never moves, and every view adds up the same rows.
//!
//! A day sees what was recorded by then.

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::{Row, named_params};

use super::{Days, Ledger, numbered};
use crate::money::Money;
use crate::trade::accounts::Account;
use crate::trade::{ClientId, JobId};

/// From which day to which, as it was known at the end of a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Seen {
    pub(super) from: NaiveDate,
    pub(super) to: NaiveDate,
    pub(super) as_of: NaiveDate,
}

impl Seen {
    /// Returns the day before which all was recorded that is seen.
    pub(super) fn before(self) -> NaiveDate {
        self.as_of + chrono::Days::new(1)
    }
}

/// Entries (`entry_told`), what they do to the stock (`effect_told`), losses (`loss_told`) and all that moves between
/// accounts (`posting`): on which day each counts from `:from` to `:to`, with its sign (-1: it is taken back) and what made
/// it so (`by_id`), as it was known before `:before`. `own_day` is the day that it is of.
///
/// An invoice's loss is what was written off and didn't come, so it follows from all that happened to the invoice in order:
/// what was open and what was written off after each step, and the difference that the step made to the loss.
pub(super) const POSTINGS: &str = "
    WITH own_job AS MATERIALIZED (
        SELECT job.id FROM job JOIN quote ON quote.id = job.quote_id WHERE quote.own = 1),
    entry_told AS (
        SELECT entry.id AS entry_id, 1 AS sign, COALESCE(entry.posted_on, entry.happened_on) AS on_day, entry.happened_on AS own_day,
               entry.id AS doc_id, entry.id AS by_id
        FROM entry
        WHERE entry.kind <> 'void' AND entry.recorded_at < :before
              AND (entry.happened_on BETWEEN :from AND :to AND entry.posted_on IS NULL OR entry.posted_on BETWEEN :from AND :to)
              AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = entry.id AND void.posted_on IS NULL
                                                                AND void.recorded_at < :before)
        UNION ALL
        SELECT entry.id, -1, void.posted_on, entry.happened_on, void.id, void.id
        FROM entry AS void CROSS JOIN entry ON entry.id = void.voids_id
        WHERE void.posted_on BETWEEN :from AND :to AND void.kind = 'void' AND void.recorded_at < :before),
    effect_since AS (
        SELECT effect.id AS effect_id, COALESCE(entry.posted_on, entry.happened_on) AS on_day, entry.id AS entry_id
        FROM entry CROSS JOIN stock_effect AS effect ON effect.entry_id = entry.id
        WHERE effect.posted_on IS NULL AND entry.item_id IS NOT NULL AND entry.recorded_at < :before
              AND (entry.happened_on BETWEEN :from AND :to AND entry.posted_on IS NULL OR entry.posted_on BETWEEN :from AND :to)
        UNION ALL
        SELECT effect.id, effect.posted_on, effect.entry_id
        FROM stock_effect AS effect
        WHERE effect.posted_on BETWEEN :from AND :to),
    effect_told AS (
        SELECT effect_id, 1 AS sign, on_day, entry.happened_on AS own_day, entry.id AS entry_id, entry.id AS doc_id,
               IIF(effect.posted_on IS NULL, entry.id, effect.cause_id) AS by_id
        FROM effect_since
        CROSS JOIN stock_effect AS effect ON effect.id = effect_id
        CROSS JOIN entry ON entry.id = effect_since.entry_id
        CROSS JOIN entry AS cause ON cause.id = effect.cause_id
        WHERE cause.recorded_at < :before
              AND NOT EXISTS (
                  SELECT 1 FROM stock_effect AS later CROSS JOIN entry AS because ON because.id = later.cause_id
                  WHERE later.entry_id = entry.id AND later.id > effect.id AND later.posted_on IS effect.posted_on
                        AND because.recorded_at < :before)
              AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = entry.id AND void.posted_on IS NULL
                                                                AND void.recorded_at < :before)
        UNION ALL
        SELECT before.id, -1, effect.posted_on, entry.happened_on, entry.id, entry.id, effect.cause_id
        FROM stock_effect AS effect
        CROSS JOIN entry ON entry.id = effect.entry_id
        CROSS JOIN entry AS cause ON cause.id = effect.cause_id
        CROSS JOIN stock_effect AS before
             ON before.id = (SELECT MAX(id) FROM stock_effect WHERE entry_id = effect.entry_id AND id < effect.id)
        WHERE effect.posted_on BETWEEN :from AND :to AND before.posted_on IS NOT effect.posted_on AND cause.recorded_at < :before
        UNION ALL
        SELECT effect.id, -1, void.posted_on, entry.happened_on, entry.id, void.id, void.id
        FROM entry AS void
        CROSS JOIN entry ON entry.id = void.voids_id
        CROSS JOIN stock_effect AS effect ON effect.id = (SELECT MAX(id) FROM stock_effect WHERE entry_id = void.voids_id)
        WHERE void.posted_on BETWEEN :from AND :to AND void.kind = 'void' AND void.recorded_at < :before),
    nowhere AS MATERIALIZED (SELECT payment_id FROM payment_void WHERE posted_on IS NULL AND recorded_at < :before),
    step AS MATERIALIZED (
        SELECT id AS invoice_id, issued_on AS on_day, issued_on AS own_day, 0 AS place, id AS row_id, 'I' AS letter, id AS doc_id,
               'issued' AS what, total_minor AS open_minor, 0 AS lost_minor
        FROM invoice WHERE id IN (SELECT invoice_id FROM write_off) AND issued_on < :before
        UNION ALL
        SELECT credits_id, issued_on, issued_on, 1, id, 'I', id, 'issued', -total_minor, 0
        FROM invoice WHERE credits_id IN (SELECT invoice_id FROM write_off) AND issued_on < :before
        UNION ALL
        SELECT invoice_id, COALESCE(posted_on, happened_on), happened_on, 2, id, 'P', id, 'received', -amount_minor, 0
        FROM payment WHERE invoice_id IN (SELECT invoice_id FROM write_off) AND recorded_at < :before AND id NOT IN nowhere
        UNION ALL
        SELECT payment.invoice_id, void.posted_on, payment.happened_on, 2, payment.id, 'P', payment.id, 'taken back',
               payment.amount_minor, 0
        FROM payment_void AS void JOIN payment ON payment.id = payment_id
        WHERE payment.invoice_id IN (SELECT invoice_id FROM write_off) AND void.posted_on IS NOT NULL AND void.recorded_at < :before
        UNION ALL
        SELECT invoice.id, COALESCE(part.posted_on, part.happened_on), part.happened_on, 3, part.id, 'P', payment.id,
               IIF(part.invoice_id IS NULL, 'paid back', 'applied'), IIF(invoice.id IS part.invoice_id, -1, 1) * part.amount_minor, 0
        FROM payment_application AS part JOIN payment ON payment.id = payment_id
        JOIN invoice ON invoice.id IN (part.invoice_id, payment.invoice_id)
        WHERE invoice.id IN (SELECT invoice_id FROM write_off) AND part.recorded_at < :before
              AND (part.invoice_id IS NULL OR payment.id NOT IN nowhere)
        UNION ALL
        SELECT invoice.id, MAX(COALESCE(part.posted_on, part.happened_on), void.posted_on), part.happened_on, 3, part.id, 'P',
               payment.id, 'taken back', IIF(invoice.id IS part.invoice_id, 1, -1) * part.amount_minor, 0
        FROM payment_void AS void JOIN payment ON payment.id = void.payment_id
        JOIN payment_application AS part ON part.payment_id = payment.id AND part.invoice_id IS NOT NULL
        JOIN invoice ON invoice.id IN (part.invoice_id, payment.invoice_id)
        WHERE invoice.id IN (SELECT invoice_id FROM write_off) AND void.posted_on IS NOT NULL AND void.recorded_at < :before
        UNION ALL
        SELECT invoice_id, happened_on, happened_on, 4, id, 'I', invoice_id, 'written off', 0, amount_minor
        FROM write_off WHERE recorded_at < :before
             AND NOT EXISTS (SELECT 1 FROM write_off_void AS void WHERE write_off_id = write_off.id AND void.posted_on IS NULL
                                                                        AND void.recorded_at < :before)
        UNION ALL
        SELECT invoice_id, void.posted_on, write_off.happened_on, 4, write_off.id, 'I', invoice_id,
               'loss taken back', 0, -amount_minor
        FROM write_off_void AS void JOIN write_off ON write_off.id = write_off_id
        WHERE void.posted_on IS NOT NULL AND void.recorded_at < :before),
    lost_so_far AS (
        SELECT step.*,
               MAX(0, MIN(SUM(open_minor) OVER in_order, SUM(lost_minor) OVER in_order)) AS loss_minor
        FROM step WINDOW in_order AS (PARTITION BY invoice_id ORDER BY on_day, place, row_id, what ROWS UNBOUNDED PRECEDING)),
    loss_told AS MATERIALIZED (
        SELECT on_day, own_day, letter, doc_id, what, invoice_id,
               loss_minor - LAG(loss_minor, 1, 0) OVER (PARTITION BY invoice_id ORDER BY on_day, place, row_id, what) AS loss_minor
        FROM lost_so_far),
    payment_told AS (
        SELECT id AS payment_id, 1 AS sign, COALESCE(posted_on, happened_on) AS on_day, happened_on AS own_day, 'received' AS what
        FROM payment
        WHERE recorded_at < :before
              AND (happened_on BETWEEN :from AND :to AND posted_on IS NULL OR posted_on BETWEEN :from AND :to)
              AND id NOT IN nowhere
        UNION ALL
        SELECT payment_id, -1, void.posted_on, payment.happened_on, 'taken back'
        FROM payment_void AS void JOIN payment ON payment.id = payment_id
        WHERE void.posted_on BETWEEN :from AND :to AND void.recorded_at < :before),
    moved AS (
        SELECT on_day, own_day, 'E' AS letter, doc_id, by_id, job_id, NULL AS client_id, kind AS what,
               sign * amount_minor AS minor,
               CASE WHEN job_id IN own_job THEN 'own'
                    WHEN job_id IS NULL THEN CASE kind WHEN 'hours' THEN 'overhead-labour' WHEN 'drive' THEN 'overhead-driving'
                                                       ELSE 'overhead' END
                    ELSE CASE kind WHEN 'hours' THEN 'labour' WHEN 'drive' THEN 'driving' ELSE 'other' END END AS debit,
               CASE kind WHEN 'hours' THEN 'wages' WHEN 'drive' THEN 'vehicle' ELSE 'money' END AS credit
        FROM entry_told CROSS JOIN entry ON entry.id = entry_id WHERE kind IN ('hours', 'drive', 'spent')
        UNION ALL
        SELECT on_day, own_day, 'E', doc_id, by_id, day.job_id, NULL, 'rental', sign * charge_minor,
               IIF(day.job_id IN own_job, 'own', 'rental'), 'money'
        FROM entry_told CROSS JOIN entry ON entry.id = entry_told.entry_id AND kind = 'rental-back'
        CROSS JOIN rental_day AS day ON day.entry_id = entry.id
        UNION ALL
        SELECT on_day, own_day, 'E', doc_id, by_id, NULL, NULL, kind, sign * amount_minor, NULL, 'money'
        FROM entry_told CROSS JOIN entry ON entry.id = entry_id WHERE kind = 'buy'
        UNION ALL
        SELECT on_day, effect_told.own_day, 'E', doc_id, by_id, job_id, NULL, kind,
               sign * effect.value_minor, 'shelf', NULL
        FROM effect_told CROSS JOIN stock_effect AS effect ON effect.id = effect_id CROSS JOIN entry ON entry.id = effect.entry_id
        UNION ALL
        SELECT on_day, effect_told.own_day, 'E', doc_id, by_id, job_id, NULL, kind,
               sign * awaiting_minor, NULL, 'awaiting'
        FROM effect_told CROSS JOIN stock_effect AS effect ON effect.id = effect_id CROSS JOIN entry ON entry.id = effect.entry_id
        WHERE kind IN ('use', 'hand-back') AND awaiting_minor <> 0
        UNION ALL
        SELECT on_day, effect_told.own_day, 'E', doc_id, by_id, job_id, NULL, kind,
               sign * CASE kind WHEN 'count' THEN -value_minor
                                WHEN 'hand-back' THEN awaiting_minor - value_minor - COALESCE(amount_minor, awaiting_minor - value_minor)
                                ELSE awaiting_minor - value_minor END,
               CASE WHEN job_id IN own_job THEN 'own' WHEN job_id IS NULL THEN 'shelf-loss' ELSE 'consumables' END, NULL
        FROM effect_told CROSS JOIN stock_effect AS effect ON effect.id = effect_id CROSS JOIN entry ON entry.id = effect.entry_id
        WHERE kind IN ('use', 'hand-back', 'count')
        UNION ALL
        SELECT on_day, effect_told.own_day, 'E', doc_id, by_id, NULL, NULL, kind,
               sign * COALESCE(amount_minor, awaiting_minor - value_minor), 'money', NULL
        FROM effect_told CROSS JOIN stock_effect AS effect ON effect.id = effect_id CROSS JOIN entry ON entry.id = effect.entry_id
        WHERE kind = 'hand-back'
        UNION ALL
        SELECT on_day, effect_told.own_day, 'E', doc_id, by_id,
               used.job_id, NULL, 'buy', sign * settled.value_minor, 'awaiting', NULL
        FROM effect_told CROSS JOIN stock_settlement AS settled ON settled.effect_id = effect_told.effect_id
        CROSS JOIN entry AS used ON used.id = settled.used_id
        UNION ALL
        SELECT on_day, effect_told.own_day, 'E', doc_id, by_id,
               used.job_id, NULL, 'buy', sign * (settled.paid_minor - settled.value_minor),
               CASE WHEN used.job_id IN own_job THEN 'own' WHEN used.job_id IS NULL THEN 'shelf-loss' ELSE 'consumables' END, NULL
        FROM effect_told CROSS JOIN stock_settlement AS settled ON settled.effect_id = effect_told.effect_id
        CROSS JOIN entry AS used ON used.id = settled.used_id
        UNION ALL
        SELECT issued_on, issued_on, 'I', id, id, job_id, client_id, 'issued',
               IIF(credits_id IS NULL, 1, -1) * net_minor, 'owed',
               IIF(kind = 'interest' OR credits_id IN (SELECT id FROM invoice WHERE late_id IS NOT NULL), 'interest', 'work')
        FROM invoice WHERE issued_on BETWEEN :from AND :to AND issued_on < :before
        UNION ALL
        SELECT issued_on, issued_on, 'I', id, id, job_id, client_id, 'issued', IIF(credits_id IS NULL, 1, -1) * tax_minor, 'owed', 'tax'
        FROM invoice WHERE issued_on BETWEEN :from AND :to AND issued_on < :before
        UNION ALL
        SELECT issued_on, issued_on, 'I', id, id, job_id, client_id, 'issued',
               IIF(credits_id IS NULL, 1, -1) * rounding_minor, 'owed', 'rounding'
        FROM invoice WHERE issued_on BETWEEN :from AND :to AND issued_on < :before AND rounding_minor <> 0
        UNION ALL
        SELECT on_day, own_day, 'P', payment.id, payment.id, job_id, client_id, what, sign * amount_minor, 'money', 'owed'
        FROM payment_told JOIN payment ON payment.id = payment_told.payment_id JOIN invoice ON invoice.id = payment.invoice_id
        UNION ALL
        SELECT COALESCE(part.posted_on, part.happened_on), part.happened_on, 'P', payment.id, payment.id, job_id, client_id,
               'paid back', part.amount_minor, 'owed', 'money'
        FROM payment_application AS part JOIN payment ON payment.id = part.payment_id JOIN invoice ON invoice.id = payment.invoice_id
        WHERE part.invoice_id IS NULL AND COALESCE(part.posted_on, part.happened_on) BETWEEN :from AND :to AND part.recorded_at < :before
        UNION ALL
        SELECT on_day, own_day, loss_told.letter, doc_id, doc_id, job_id, client_id, what, loss_minor, 'lost', 'owed'
        FROM loss_told JOIN invoice ON invoice.id = invoice_id
        WHERE loss_minor <> 0 AND on_day BETWEEN :from AND :to),
    posting AS (
        SELECT on_day, own_day, letter, doc_id, by_id, job_id, client_id, what, debit AS account, minor FROM moved
        WHERE debit IS NOT NULL AND minor <> 0
        UNION ALL
        SELECT on_day, own_day, letter, doc_id, by_id, job_id, client_id, what, credit, -minor FROM moved
        WHERE credit IS NOT NULL AND minor <> 0)";

/// What an account moved by in a month, of a job and a client.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Moved {
    pub(super) account: Account,
    /// The first day of the month.
    pub(super) month: NaiveDate,
    /// `None`: of no job.
    pub(super) job: Option<JobId>,
    /// Who was invoiced, or paid; `None`: it isn't about that.
    pub(super) client: Option<ClientId>,
    /// Debits less credits.
    pub(super) amount: Money,
}

/// A line of the accounts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AccountLine {
    /// The day on which it counts.
    pub date: NaiveDate,
    /// `E1`, `I1`, `P1`.
    pub document: String,
    /// The account.
    pub account: Account,
    /// What it moves by: debit above zero, credit below.
    pub amount: Money,
    /// What it is for, and what it corrects.
    pub note: String,
    /// The day that it is of, if that was closed when it was recorded.
    pub of_closed: Option<NaiveDate>,
}

impl Ledger {
    /// Returns what the accounts moved by.
    pub(super) fn moved(&self, seen: Seen) -> Result<Vec<Moved>> {
        let sql = format!(
            "{POSTINGS}
             SELECT account, SUBSTR(on_day, 1, 7) || '-01' AS month, job_id, client_id, SUM(minor) AS minor
             FROM posting GROUP BY account, month, job_id, client_id ORDER BY month, account, job_id, client_id"
        );
        self.of_postings(&sql, seen, |row| {
            Ok(Moved {
                account: row.get("account")?,
                month: row.get("month")?,
                job: row.get("job_id")?,
                client: row.get("client_id")?,
                amount: row.get("minor")?,
            })
        })
    }

    /// Asks a query that is about postings.
    pub(super) fn of_postings<T>(
        &self,
        sql: &str,
        seen: Seen,
        told: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>> {
        let mut statement = self.connection.prepare_cached(sql)?;
        let asked = named_params! { ":from": seen.from, ":to": seen.to, ":before": seen.before() };
        let rows = statement.query_map(asked, told)?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the lines of the accounts in a time, as it was known at the end of a day: of each document what each account
    /// moves by, day by day. They balance, document by document.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn account_lines(&self, days: Days, as_of: NaiveDate) -> Result<Vec<AccountLine>> {
        let (from, to) = self.first_and_last(days);
        let sql = format!(
            "{POSTINGS},
             line AS (
                 SELECT on_day, MIN(own_day) AS own_day, letter, doc_id, MAX(by_id) AS by_id, account, SUM(minor) AS minor,
                        MAX(what) AS what, MAX(client_id) AS client_id
                 FROM posting GROUP BY on_day, letter, doc_id, account, IIF(letter = 'E', '', what) HAVING SUM(minor) <> 0)
             SELECT on_day, own_day, letter, doc_id, by_id, account, minor, line.what,
                    COALESCE(entry.number, invoice.number, payment.number) AS number,
                    voided.id AS voided_id, voided.number AS voided_number, because.number AS because_number,
                    CASE letter WHEN 'E' THEN
                        CASE entry.kind WHEN 'use' THEN 'used' WHEN 'buy' THEN 'bought' WHEN 'hand-back' THEN 'handed back'
                                        WHEN 'count' THEN 'counted' WHEN 'drive' THEN 'driven' WHEN 'rental-back' THEN 'rented'
                                        ELSE entry.kind END
                                WHEN 'I' THEN IIF(invoice.kind = 'credit', 'credit note', invoice.kind || ' invoice')
                                ELSE line.what END AS kind,
                    CASE letter WHEN 'E' THEN COALESCE(worker.name, item.name, machine.name, entry.what)
                                WHEN 'I' THEN invoice.client ELSE payer.client END AS subject,
                    CASE letter WHEN 'E' THEN entry.what WHEN 'I' THEN invoice.reason ELSE payment.note END AS said,
                    payment_void.reason AS void_reason
             FROM line
             LEFT JOIN entry ON letter = 'E' AND entry.id = doc_id
             LEFT JOIN entry AS voided ON voided.id = entry.voids_id
             LEFT JOIN entry AS because ON letter = 'E' AND because.id = by_id AND by_id <> doc_id
             LEFT JOIN worker ON worker.id = entry.worker_id
             LEFT JOIN item ON item.id = entry.item_id
             LEFT JOIN machine ON machine.id = entry.machine_id
             LEFT JOIN invoice ON letter = 'I' AND invoice.id = doc_id
             LEFT JOIN payment ON letter = 'P' AND payment.id = doc_id
             LEFT JOIN payment_void ON payment_void.payment_id = payment.id
             LEFT JOIN invoice AS payer ON payer.id = payment.invoice_id
             ORDER BY on_day, letter, doc_id, line.what, minor < 0, account"
        );
        self.of_postings(&sql, Seen { from, to, as_of }, line_from_row)
    }
}

fn line_from_row(row: &Row<'_>) -> rusqlite::Result<AccountLine> {
    let (letter, id): (String, i64) = (row.get("letter")?, row.get("doc_id")?);
    let letter = letter.chars().next().unwrap_or_default();
    let (on, own): (NaiveDate, NaiveDate) = (row.get("on_day")?, row.get("own_day")?);
    Ok(AccountLine {
        date: on,
        document: numbered(letter, id, row.get("number")?),
        account: row.get("account")?,
        amount: row.get("minor")?,
        note: note_of(row)?,
        of_closed: Some(own).filter(|own| *own != on),
    })
}

/// Says what a line is for: `spent, disposal`; what it takes back, or that it comes late: `takes back E7 of 2026-01-12: slip`.
fn note_of(row: &Row<'_>) -> rusqlite::Result<String> {
    let (on, own): (NaiveDate, NaiveDate) = (row.get("on_day")?, row.get("own_day")?);
    let (kind, subject, said): (String, String, String) =
        (row.get("kind")?, row.get("subject")?, row.get("said")?);
    let what: String = row.get("what")?;
    let with = |words: String, more: &str| match more.trim() {
        "" => words,
        more if words.ends_with(more) => words,
        more => format!("{words}, {more}"),
    };
    if let Some(voided) = row.get::<_, Option<i64>>("voided_id")? {
        let voided = numbered('E', voided, row.get("voided_number")?);
        return Ok(format!("takes back {voided} of {own}: {said}"));
    }
    if let Some(because) = row.get::<_, Option<i64>>("because_number")? {
        let because = numbered('E', row.get("by_id")?, because);
        return Ok(format!(
            "{kind} of {own}, {subject}: worked out again for {because}"
        ));
    }
    let words = match what.as_str() {
        "taken back" => {
            let reason: Option<String> = row.get("void_reason")?;
            return Ok(format!(
                "taken back, received {own}: {}",
                reason.unwrap_or_default()
            ));
        }
        "issued" => with(format!("{kind}, {subject}"), &said),
        "written off" | "loss taken back" => format!("{what}, {subject}"),
        _ => with(with(kind, &subject), &said),
    };
    Ok(match on == own {
        true => words,
        false => format!("{words}; of {own}, which was closed"),
    })
}
