//! What an accountant is handed: invoices, payments, expenses, what was driven, quotes and jobs of a time, as CSV.
//!
//! Other exports are read back by an import and name things as they are called today; these are read by people and by
//! other programs, have the words of their day, and amounts that can be added up: a credit note and what was paid back
//! stand below zero, and so does what is taken back of a closed time.

use std::collections::BTreeMap;

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::types::ValueRef;
use rusqlite::{Row, named_params};

use super::columns::Micro;
use super::export::{Sheet, exact};
use super::postings::{POSTINGS, Seen};
use super::{Days, Ledger};
use crate::money::Money;
use crate::trade::accounts::Account;
use crate::trade::bounds::FIRST_DAY;
use crate::trade::closed_set;

closed_set! {
    /// What an accountant is handed.
    Records, "kind of records" {
        /// Invoices and credit notes that were issued.
        Invoices = "invoices",
        /// What clients paid, and what was paid back to them.
        Payments = "payments",
        /// What was bought, rented and spent.
        Expenses = "expenses",
        /// What was driven, with dates, purposes and places.
        Mileage = "mileage",
        /// Quotes and what became of them.
        Quotes = "quotes",
        /// Jobs with what they cost and brought.
        Jobs = "jobs",
        /// All of it as double entries.
        Accounts = "accounts",
    }
}

/// A column with this ending is an amount of money.
const AMOUNT: &str = "_minor";

/// A column with this ending is a quantity.
const QUANTITY: &str = "_micro";

/// By the day on which they were issued.
const INVOICES: &str = "
    SELECT IIF(invoice.id >> 40, (invoice.id >> 40) || '-', '') || 'I' || invoice.number AS invoice, invoice.kind,
           issued_on, due_on,
           IIF(job.id >> 40, (job.id >> 40) || '-', '') || 'J' || job.number AS job, client, client_tax_number, site,
           IIF(credits_id IS NULL, 1, -1) * net_minor AS net_minor,
           IIF(credits_id IS NULL, 1, -1) * tax_minor AS tax_minor,
           IIF(credits_id IS NULL, 1, -1) * rounding_minor AS rounding_minor,
           IIF(credits_id IS NULL, 1, -1) * total_minor AS total_minor,
           (SELECT GROUP_CONCAT(RTRIM(RTRIM(PRINTF('%.6f', tax_micro / 1000000.0), '0'), '.'), '; ')
            FROM (SELECT tax_micro FROM invoice_tax WHERE invoice_id = invoice.id ORDER BY tax_micro)) AS tax_percents,
           exemption,
           (SELECT IIF(id >> 40, (id >> 40) || '-', '') || 'I' || number FROM invoice AS credited
            WHERE credited.id = invoice.credits_id) AS credits,
           reason
    FROM invoice
    JOIN job ON job.id = invoice.job_id
    WHERE invoice.number IS NOT NULL AND issued_on BETWEEN :from AND :to
    ORDER BY invoice.id >> 40, invoice.number";

/// Of a payment that was taken back only what had been paid back of it counts, or, once its time is closed, both.
const PAYMENTS: &str = "
    SELECT on_day AS date, IIF(payment.id >> 40, (payment.id >> 40) || '-', '') || 'P' || payment.number AS payment, what AS kind,
           IIF(invoice.id >> 40, (invoice.id >> 40) || '-', '') || 'I' || invoice.number AS invoice, client,
           sign * amount_minor AS amount_minor,
           (SELECT GROUP_CONCAT(IIF(other.id >> 40, (other.id >> 40) || '-', '') || 'I' || other.number, '; ')
            FROM payment_application AS application JOIN invoice AS other ON other.id = application.invoice_id
            WHERE payment_id = payment.id AND sign = 1) AS applied_to,
           IIF(sign = 1, payment.note, payment_void.reason) AS note, IIF(own_day = on_day, NULL, own_day) AS of_closed
    FROM payment_told
    JOIN payment ON payment.id = payment_told.payment_id
    JOIN invoice ON invoice.id = payment.invoice_id
    LEFT JOIN payment_void ON payment_void.payment_id = payment.id
    UNION ALL
    SELECT COALESCE(part.posted_on, part.happened_on), IIF(payment.id >> 40, (payment.id >> 40) || '-', '') || 'P' || payment.number,
           'paid back', IIF(invoice.id >> 40, (invoice.id >> 40) || '-', '') || 'I' || invoice.number, client,
           -part.amount_minor, NULL, part.note, IIF(part.posted_on IS NULL, NULL, part.happened_on)
    FROM payment_application AS part
    JOIN payment ON payment.id = part.payment_id
    JOIN invoice ON invoice.id = payment.invoice_id
    WHERE part.invoice_id IS NULL AND COALESCE(part.posted_on, part.happened_on) BETWEEN :from AND :to AND part.recorded_at < :before
    ORDER BY date, payment, kind DESC";

const EXPENSES: &str = "
    SELECT on_day AS date, IIF(doc.id >> 40, (doc.id >> 40) || '-', '') || 'E' || doc.number AS entry,
           CASE entry.kind WHEN 'buy' THEN 'bought' WHEN 'spent' THEN 'spent' ELSE 'rented' END AS kind,
           COALESCE(item.name, machine.name, entry.what) AS what, entry.quantity_micro, item.unit,
           sign * entry.amount_minor AS amount_minor,
           IIF(job.id >> 40, (job.id >> 40) || '-', '') || 'J' || job.number AS job, job_party.client,
           IIF(doc.kind = 'spent', '', doc.what) AS note, IIF(own_day = on_day, NULL, own_day) AS of_closed
    FROM entry_told
    CROSS JOIN entry ON entry.id = entry_id
    CROSS JOIN entry AS doc ON doc.id = doc_id
    LEFT JOIN item ON item.id = entry.item_id
    LEFT JOIN machine ON machine.id = entry.machine_id
    LEFT JOIN job ON job.id = entry.job_id
    LEFT JOIN job_party ON job_party.job_id = entry.job_id
    WHERE entry.kind IN ('buy', 'rental-back', 'spent') AND entry.amount_minor <> 0
    UNION ALL
    SELECT on_day, IIF(doc.id >> 40, (doc.id >> 40) || '-', '') || 'E' || doc.number, 'handed back', item.name, entry.quantity_micro,
           item.unit, -SUM(sign * COALESCE(entry.amount_minor, awaiting_minor - value_minor)) AS refund,
           IIF(job.id >> 40, (job.id >> 40) || '-', '') || 'J' || job.number, job_party.client, doc.what,
           IIF(effect_told.own_day = on_day, NULL, effect_told.own_day)
    FROM effect_told
    CROSS JOIN stock_effect AS effect ON effect.id = effect_id
    CROSS JOIN entry ON entry.id = effect_told.entry_id AND entry.kind = 'hand-back'
    CROSS JOIN entry AS doc ON doc.id = doc_id
    JOIN item ON item.id = entry.item_id
    LEFT JOIN job ON job.id = entry.job_id
    LEFT JOIN job_party ON job_party.job_id = entry.job_id
    GROUP BY on_day, doc.id HAVING refund <> 0
    ORDER BY date, entry";

const MILEAGE: &str = "
    SELECT on_day AS date, IIF(doc.id >> 40, (doc.id >> 40) || '-', '') || 'E' || doc.number AS entry,
           sign * entry.quantity_micro AS distance_micro, :road AS unit, entry.price_micro AS rate_micro,
           sign * entry.amount_minor AS amount_minor,
           IIF(job.id >> 40, (job.id >> 40) || '-', '') || 'J' || job.number AS job, job_party.client,
           job_party.site AS place, doc.what AS purpose, IIF(own_day = on_day, NULL, own_day) AS of_closed
    FROM entry_told
    CROSS JOIN entry ON entry.id = entry_id
    CROSS JOIN entry AS doc ON doc.id = doc_id
    LEFT JOIN job ON job.id = entry.job_id
    LEFT JOIN job_party ON job_party.job_id = entry.job_id
    WHERE entry.kind = 'drive'
    ORDER BY date, entry.place_id, entry.id, doc.id";

/// By the day on which they were drafted; the option that was accepted, else each.
const QUOTES: &str = "
    SELECT IIF(quote.id >> 40, (quote.id >> 40) || '-', '') || 'Q' || quote.number
               || IIF(version > 1, '.' || version, '') AS quote,
           option_name AS option, COALESCE(sent.client, client.name) AS client, COALESCE(sent.site, site.address) AS site,
           IIF(varied.id >> 40, (varied.id >> 40) || '-', '') || 'J' || varied.number AS variation_of,
           drafted_on, sent.happened_on AS sent_on, sent.valid_until, decided.what AS decided,
           decided.happened_on AS decided_on, quote.price_minor, quote.tax_minor, quote.rounding_minor
    FROM quote
    JOIN site ON site.id = quote.site_id
    JOIN client ON client.id = site.client_id
    LEFT JOIN job AS varied ON varied.id = quote.job_id
    LEFT JOIN quote_event AS sent ON sent.quote_id = quote.id AND sent.what = 'sent'
    LEFT JOIN quote_event AS decided ON decided.quote_id = quote.id AND decided.what <> 'sent'
    WHERE NOT own AND drafted_on BETWEEN :from AND :to
    ORDER BY quote.id";

/// By the day on which they were closed or cancelled, else begun or agreed. What they cost is what the day book says,
/// without overhead.
const JOBS: &str = "
    WITH agreed AS (
        SELECT job.id AS job_id, COALESCE(quote.price_minor, job.price_minor) AS price_minor
        FROM job LEFT JOIN quote ON quote.id = job.quote_id
        UNION ALL
        SELECT job_id, price_minor FROM quote JOIN quote_event ON quote_id = quote.id AND quote_event.what = 'accepted'
        WHERE job_id IS NOT NULL),
    priced AS MATERIALIZED (SELECT job_id, SUM(price_minor) AS price_minor FROM agreed GROUP BY job_id),
    cost AS MATERIALIZED (SELECT job_id, SUM(amount_minor) AS cost_minor FROM job_cost WHERE until IS NULL GROUP BY job_id),
    invoiced AS MATERIALIZED (
        SELECT job_id, SUM(IIF(credits_id IS NULL, net_minor, -net_minor)) AS net_minor FROM invoice
        WHERE number IS NOT NULL GROUP BY job_id),
    paid AS MATERIALIZED (
        SELECT job_id, SUM(paid_minor) AS paid_minor FROM invoice_balance JOIN invoice ON invoice.id = invoice_id
        GROUP BY job_id),
    dated AS (
        SELECT job.id AS job_id, state.what,
               (SELECT MIN(happened_on) FROM job_event WHERE job_id = job.id AND what = 'agreed') AS agreed_on,
               (SELECT MIN(happened_on) FROM job_event WHERE job_id = job.id AND what = 'started') AS started_on,
               IIF(state.what = 'closed', state.happened_on, NULL) AS closed_on,
               IIF(state.what = 'cancelled', state.happened_on, NULL) AS cancelled_on
        FROM job JOIN job_state AS state ON state.job_id = job.id)
    SELECT COALESCE(own_name, IIF(job.id >> 40, (job.id >> 40) || '-', '') || 'J' || job.number) AS job,
           job_party.client, job_party.site,
           CASE dated.what WHEN 'started' THEN 'open' WHEN 'reopened' THEN 'open' ELSE dated.what END AS state,
           agreed_on, started_on, closed_on, cancelled_on, priced.price_minor AS price_minor,
           net_minor AS invoiced_minor, paid_minor, cost.cost_minor AS cost_minor
    FROM dated
    JOIN job ON job.id = dated.job_id
    JOIN job_party ON job_party.job_id = job.id
    JOIN priced ON priced.job_id = job.id
    LEFT JOIN cost ON cost.job_id = job.id
    LEFT JOIN invoiced ON invoiced.job_id = job.id
    LEFT JOIN paid ON paid.job_id = job.id
    WHERE COALESCE(closed_on, cancelled_on, started_on, agreed_on) BETWEEN :from AND :to
    ORDER BY job.id";

impl Ledger {
    /// Returns the records of a kind in a time, as CSV; accounts as they were known at the end of a day.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn records(&self, kind: Records, days: Days, as_of: NaiveDate) -> Result<String> {
        let sql = match kind {
            Records::Invoices => INVOICES.to_owned(),
            Records::Quotes => QUOTES.to_owned(),
            Records::Jobs => JOBS.to_owned(),
            Records::Payments => format!("{POSTINGS} {PAYMENTS}"),
            Records::Expenses => format!("{POSTINGS} {EXPENSES}"),
            Records::Mileage => format!("{POSTINGS} {MILEAGE}"),
            Records::Accounts => return self.account_sheet(days, as_of),
        };
        let (from, to) = self.first_and_last(days);
        let before = Seen { from, to, as_of }.before();
        let mut statement = self.connection.prepare_cached(&sql)?;
        let names: Vec<String> = statement.column_names().map(str::to_owned).collect();
        let road = self.road().to_string();
        let asked = named_params! { ":from": from, ":to": to, ":before": before, ":road": road };
        for (name, value) in asked {
            // Not every query asks for all of them.
            if let Some(place) = statement.parameter_index(name)? {
                statement.raw_bind_parameter(place, value)?;
            }
        }
        let bare = |name: &String| -> String {
            let amount = name.strip_suffix(AMOUNT);
            amount
                .or_else(|| name.strip_suffix(QUANTITY))
                .unwrap_or(name)
                .to_owned()
        };
        let mut sheet = Sheet::headed(names.iter().map(bare).chain(["currency".to_owned()]))?;
        let mut rows = statement.raw_query();
        while let Some(row) = rows.next()? {
            let cells = names.iter().map(|name| self.cell(row, name));
            let mut cells: Vec<String> = cells.collect::<rusqlite::Result<_>>()?;
            cells.push(self.currency().code().to_owned());
            sheet.row(cells)?;
        }
        sheet.text()
    }

    /// Returns the lines of the accounts, each under the name that its account has today.
    fn account_sheet(&self, days: Days, as_of: NaiveDate) -> Result<String> {
        let accounts = self.accounts()?;
        let called: BTreeMap<Account, String> = accounts
            .into_iter()
            .map(|row| (row.account, row.name))
            .collect();
        let headings = [
            "date", "document", "account", "debit", "credit", "note", "currency",
        ];
        let mut sheet = Sheet::headed(headings)?;
        for line in self.account_lines(days, as_of)? {
            let amount = self.currency().text(line.amount.abs());
            let (debit, credit) = match line.amount.is_negative() {
                true => (String::new(), amount),
                false => (amount, String::new()),
            };
            sheet.row(vec![
                line.date.to_string(),
                line.document,
                called.get(&line.account).cloned().unwrap_or_default(),
                debit,
                credit,
                line.note,
                self.currency().code().to_owned(),
            ])?;
        }
        sheet.text()
    }

    /// Returns the first and the last day of a time; without them, from the beginning and until today.
    pub fn first_and_last(&self, days: Days) -> (NaiveDate, NaiveDate) {
        let Days { from, to } = days;
        (from.unwrap_or(FIRST_DAY), to.unwrap_or(self.today()))
    }

    /// Returns what a column of a row says, by the ending of its name.
    fn cell(&self, row: &Row<'_>, column: &str) -> rusqlite::Result<String> {
        if row.get_ref(column)? == ValueRef::Null {
            return Ok(String::new());
        }
        Ok(match column {
            amount if amount.ends_with(AMOUNT) => {
                self.currency().text(row.get::<_, Money>(amount)?)
            }
            quantity if quantity.ends_with(QUANTITY) => exact(row.get::<_, Micro>(quantity)?.0),
            text => row.get(text)?,
        })
    }
}
