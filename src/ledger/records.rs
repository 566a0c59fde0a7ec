//! What an accountant is handed: invoices, payments, expenses, what was driven, quotes and jobs of a time, as CSV.
//!
//! Other exports are read back by an import and name things as they are called today; these are read by people and by
//! other programs, have the words of their day, and amounts that can be added up: a credit note and what was paid back
//! stand below zero.

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::types::ValueRef;
use rusqlite::{Row, named_params};

use super::columns::Micro;
use super::export::{Sheet, exact};
use super::{Days, Ledger};
use crate::money::Money;
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

/// Of a payment that was taken back only what had been paid back of it counts.
const PAYMENTS: &str = "
    SELECT payment.happened_on AS date, IIF(payment.id >> 40, (payment.id >> 40) || '-', '') || 'P' || payment.number AS payment,
           'received' AS kind, IIF(invoice.id >> 40, (invoice.id >> 40) || '-', '') || 'I' || invoice.number AS invoice,
           client, amount_minor,
           (SELECT GROUP_CONCAT(IIF(other.id >> 40, (other.id >> 40) || '-', '') || 'I' || other.number, '; ')
            FROM payment_application AS application JOIN invoice AS other ON other.id = application.invoice_id
            WHERE payment_id = payment.id) AS applied_to,
           payment.note
    FROM live_payment AS payment
    JOIN invoice ON invoice.id = payment.invoice_id
    WHERE payment.happened_on BETWEEN :from AND :to
    UNION ALL
    SELECT application.happened_on, IIF(payment.id >> 40, (payment.id >> 40) || '-', '') || 'P' || payment.number, 'paid back',
           IIF(invoice.id >> 40, (invoice.id >> 40) || '-', '') || 'I' || invoice.number, client,
           -application.amount_minor, NULL, application.note
    FROM payment_application AS application
    JOIN payment ON payment.id = application.payment_id
    JOIN invoice ON invoice.id = payment.invoice_id
    WHERE application.invoice_id IS NULL AND application.happened_on BETWEEN :from AND :to
    ORDER BY date, payment, kind DESC";

const EXPENSES: &str = "
    SELECT entry.happened_on AS date, IIF(entry.id >> 40, (entry.id >> 40) || '-', '') || 'E' || entry.number AS entry,
           CASE entry.kind WHEN 'buy' THEN 'bought' WHEN 'hand-back' THEN 'handed back' WHEN 'spent' THEN 'spent'
                           ELSE 'rented' END AS kind,
           COALESCE(item.name, machine.name, entry.what) AS what, entry.quantity_micro, item.unit,
           IIF(entry.kind = 'hand-back', -entry.amount_minor, entry.amount_minor) AS amount_minor,
           IIF(job.id >> 40, (job.id >> 40) || '-', '') || 'J' || job.number AS job, job_party.client,
           IIF(entry.kind = 'spent', '', entry.what) AS note
    FROM live_entry AS entry
    LEFT JOIN item ON item.id = entry.item_id
    LEFT JOIN machine ON machine.id = entry.machine_id
    LEFT JOIN job ON job.id = entry.job_id
    LEFT JOIN job_party ON job_party.job_id = entry.job_id
    WHERE entry.kind IN ('buy', 'hand-back', 'rental-back', 'spent') AND COALESCE(entry.amount_minor, 0) <> 0
          AND entry.happened_on BETWEEN :from AND :to
    ORDER BY date, entry.place_id, entry.id";

const MILEAGE: &str = "
    SELECT entry.happened_on AS date, IIF(entry.id >> 40, (entry.id >> 40) || '-', '') || 'E' || entry.number AS entry,
           entry.quantity_micro AS distance_micro, :road AS unit, entry.price_micro AS rate_micro, entry.amount_minor,
           IIF(job.id >> 40, (job.id >> 40) || '-', '') || 'J' || job.number AS job, job_party.client,
           job_party.site AS place, entry.what AS purpose
    FROM live_entry AS entry
    LEFT JOIN job ON job.id = entry.job_id
    LEFT JOIN job_party ON job_party.job_id = entry.job_id
    WHERE entry.kind = 'drive' AND entry.happened_on BETWEEN :from AND :to
    ORDER BY date, entry.place_id, entry.id";

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
    /// Returns the records of a kind in a time, as CSV.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn records(&self, kind: Records, days: Days) -> Result<String> {
        let (sql, has_road) = match kind {
            Records::Invoices => (INVOICES, false),
            Records::Payments => (PAYMENTS, false),
            Records::Expenses => (EXPENSES, false),
            Records::Mileage => (MILEAGE, true),
            Records::Quotes => (QUOTES, false),
            Records::Jobs => (JOBS, false),
        };
        let (from, to) = self.first_and_last(days);
        let road = self.road().to_string();
        let mut parameters = named_params! { ":from": from, ":to": to, ":road": road }.to_vec();
        if !has_road {
            parameters.pop();
        }
        let mut statement = self.connection.prepare_cached(sql)?;
        let names: Vec<String> = statement.column_names().map(str::to_owned).collect();
        let ends = |name: &String| -> String {
            let bare = name
                .strip_suffix(AMOUNT)
                .or_else(|| name.strip_suffix(QUANTITY));
            bare.unwrap_or(name).to_owned()
        };
        let headings = names.iter().map(ends).chain(["currency".to_owned()]);
        let mut sheet = Sheet::headed(headings)?;
        let mut rows = statement.query(&parameters[..])?;
        while let Some(row) = rows.next()? {
            let cells = names.iter().map(|name| self.cell(row, name));
            let mut cells: Vec<String> = cells.collect::<rusqlite::Result<_>>()?;
            cells.push(self.currency().code().to_owned());
            sheet.row(cells)?;
        }
        sheet.text()
    }

    /// Returns the first and the last day of a time; without them, from the beginning and until today.
    pub(super) fn first_and_last(&self, days: Days) -> (NaiveDate, NaiveDate) {
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
