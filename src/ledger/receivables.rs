//! What clients owe, as it stood on any day: from which invoices, how old, and how it came about.
//!
//! A day sees what had happened by then and was recorded by then, so that it gives the same figures whenever it is asked.

use std::collections::BTreeMap;

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::named_params;

use super::{Invoice, Ledger, Settings, numbered};
use crate::money::{Decimal, Money};
use crate::trade::ClientId;
use crate::trade::ageing::{AGES, ByAge};

/// What one client owes, by age.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Owing {
    /// The client's name, as on the newest of their invoices.
    pub client: String,
    /// What they owe.
    pub owed: ByAge,
    /// What is kept as their credit.
    pub credit: Money,
}

/// What all clients owe, as it stood on a day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Receivables {
    /// The day.
    pub as_of: NaiveDate,
    /// Whoever owes something or has a credit, by name.
    pub clients: Vec<Owing>,
    /// The share that is lost at each age, as it is set.
    pub lost: [Decimal; AGES],
    /// What of it had fallen due.
    pub overdue: Money,
}

/// What happened between a firm and its client.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StatementLine {
    /// When.
    pub on: NaiveDate,
    /// What: `Invoice I1 (deposit), 4 Tannery Row`.
    pub what: String,
    /// What it asks for; below zero, what it takes back or came.
    pub amount: Money,
}

/// All that happened between a firm and its client in a time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Statement {
    /// The client's name.
    pub client: String,
    /// The first day; `None`: from the beginning.
    pub from: Option<NaiveDate>,
    /// The last day.
    pub to: NaiveDate,
    /// What was owed before the first line.
    pub before: Money,
    /// What happened, day by day.
    pub lines: Vec<StatementLine>,
    /// What of it is written off today.
    pub written_off: Money,
}

impl Statement {
    /// Keeps only so many lines, the newest; what they follow on is owed before them.
    pub fn keep_newest(&mut self, count: usize) {
        let earlier = self.lines.len().saturating_sub(count);
        let earlier = self.lines.drain(..earlier);
        self.before += earlier.map(|line| line.amount).sum::<Money>();
    }
}

/// What each invoice asked for on a day, and what had come of it or was given up.
const AS_OF: &str = "
    WITH taken_back AS (SELECT payment_id FROM payment_void WHERE happened_on <= :on),
    part AS (
        SELECT payment.id AS payment_id, application.invoice_id, payment.invoice_id AS from_invoice_id,
               application.amount_minor, payment.id IN taken_back AS is_void
        FROM payment_application AS application JOIN payment ON payment.id = application.payment_id
        WHERE application.happened_on <= :on AND date(application.recorded_at) <= :on),
    came AS (
        SELECT invoice_id, SUM(amount_minor) AS amount_minor FROM (
            SELECT invoice_id, amount_minor FROM payment
            WHERE happened_on <= :on AND date(recorded_at) <= :on AND id NOT IN taken_back
            UNION ALL SELECT from_invoice_id, -amount_minor FROM part WHERE NOT is_void OR invoice_id IS NULL
            UNION ALL SELECT invoice_id, amount_minor FROM part WHERE NOT is_void AND invoice_id IS NOT NULL)
        GROUP BY invoice_id),
    credited AS (
        SELECT credits_id, SUM(total_minor) AS amount_minor FROM invoice
        WHERE credits_id IS NOT NULL AND issued_on <= :on GROUP BY credits_id),
    lost AS (
        SELECT invoice_id, SUM(amount_minor) AS amount_minor FROM write_off
        WHERE happened_on <= :on AND id NOT IN (SELECT write_off_id FROM write_off_void WHERE happened_on <= :on)
        GROUP BY invoice_id)
    SELECT client_id, client, issued_on, due_on,
           total_minor - COALESCE(credited.amount_minor, 0) - COALESCE(came.amount_minor, 0) AS open_minor,
           COALESCE(lost.amount_minor, 0) AS lost_minor
    FROM invoice
    LEFT JOIN credited ON credited.credits_id = invoice.id
    LEFT JOIN came ON came.invoice_id = invoice.id
    LEFT JOIN lost ON lost.invoice_id = invoice.id
    WHERE number IS NOT NULL AND invoice.credits_id IS NULL AND issued_on <= :on
    ORDER BY invoice.id";

/// What happened between a firm and a client, in the order of its days.
const STATEMENT: &str = "
    SELECT issued_on AS on_day, 0 AS place, id AS row_id, number, IIF(credits_id IS NULL, kind, 'credit note') AS what,
           site AS aside, IIF(credits_id IS NULL, 1, -1) * total_minor AS amount_minor, 'I' AS letter
    FROM invoice WHERE client_id = :client AND number IS NOT NULL
    UNION ALL
    SELECT payment.happened_on, 1, payment.id, payment.number, 'payment', payment.note, -amount_minor, 'P'
    FROM payment JOIN invoice ON invoice.id = invoice_id WHERE client_id = :client
    UNION ALL
    SELECT payment_void.happened_on, 3, payment.id, payment.number, 'payment taken back', payment_void.reason,
           amount_minor, 'P'
    FROM payment_void JOIN payment ON payment.id = payment_id JOIN invoice ON invoice.id = invoice_id
    WHERE client_id = :client
    UNION ALL
    SELECT application.happened_on, 2, payment.id, payment.number, 'paid back', application.note,
           application.amount_minor, 'P'
    FROM payment_application AS application JOIN payment ON payment.id = payment_id
    JOIN invoice ON invoice.id = payment.invoice_id
    WHERE application.invoice_id IS NULL AND client_id = :client
    ORDER BY on_day, place, row_id";

impl Ledger {
    /// Returns what clients owed on a day, by age.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn receivables(&self, on: NaiveDate) -> Result<Receivables> {
        let settings = self.settings()?;
        let mut clients: BTreeMap<ClientId, Owing> = BTreeMap::new();
        let mut overdue = Money::ZERO;
        let mut statement = self.connection.prepare_cached(AS_OF)?;
        let mut rows = statement.query(named_params! { ":on": on })?;
        while let Some(row) = rows.next()? {
            let (open, lost): (Money, Money) = (row.get("open_minor")?, row.get("lost_minor")?);
            let (owed, credit) = ((open - lost).max(Money::ZERO), (-open).max(Money::ZERO));
            if owed.is_zero() && credit.is_zero() {
                continue;
            }
            let (issued, due): (NaiveDate, NaiveDate) = (row.get("issued_on")?, row.get("due_on")?);
            if due < on {
                overdue += owed;
            }
            let from = match settings.age_from_invoice {
                true => issued,
                false => due,
            };
            let client = clients
                .entry(row.get("client_id")?)
                .or_insert_with(|| Owing {
                    client: String::new(),
                    owed: ByAge::default(),
                    credit: Money::ZERO,
                });
            client.client = row.get("client")?;
            client.owed.add((on - from).num_days(), owed);
            client.credit += credit;
        }
        let mut clients: Vec<Owing> = clients.into_values().collect();
        clients.sort_by(|one, another| one.client.cmp(&another.client));
        Ok(Receivables {
            as_of: on,
            clients,
            lost: shares_lost(&settings),
            overdue,
        })
    }

    /// Returns what happened between the firm and a client in a time: what was invoiced, credited, paid and paid back.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn statement(
        &self,
        client: ClientId,
        name: String,
        from: Option<NaiveDate>,
        to: NaiveDate,
    ) -> Result<Statement> {
        let mut statement = self.connection.prepare_cached(STATEMENT)?;
        let lines = statement.query_map(named_params! { ":client": client }, |row| {
            let (letter, id): (String, i64) = (row.get("letter")?, row.get("row_id")?);
            let letter = letter.chars().next().unwrap_or_default();
            let number = numbered(letter, id, row.get("number")?);
            let (what, aside): (String, String) = (row.get("what")?, row.get("aside")?);
            let aside = match aside.as_str() {
                "" => String::new(),
                aside => format!(", {aside}"),
            };
            Ok(StatementLine {
                on: row.get("on_day")?,
                what: format!("{number}: {what}{aside}"),
                amount: row.get("amount_minor")?,
            })
        })?;
        let mut lines: Vec<StatementLine> = lines.collect::<rusqlite::Result<_>>()?;
        lines.retain(|line| line.on <= to);
        let is_before = |line: &StatementLine| from.is_some_and(|from| line.on < from);
        let before = lines.iter().filter(|line| is_before(line));
        let before = before.map(|line| line.amount).sum();
        lines.retain(|line| !is_before(line));
        Ok(Statement {
            client: name,
            from,
            to,
            before,
            lines,
            written_off: self.invoices_to(client)?.iter().map(Invoice::lost).sum(),
        })
    }
}

fn shares_lost(settings: &Settings) -> [Decimal; AGES] {
    [
        settings.allowance_30,
        settings.allowance_60,
        settings.allowance_90,
        settings.allowance_older,
    ]
}
