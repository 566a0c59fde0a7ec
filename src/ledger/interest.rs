//! Interest on invoices that are paid late: drafted where the firm has set a rate, and issued when its owner says so.

use anyhow::Result;
use chrono::{Days, NaiveDate};
use rusqlite::named_params;

use super::invoices::About;
use super::{Invoice, Ledger, Refusal, Writing, refuse};
use crate::money::{Decimal, Money};
use crate::trade::interest::{Stretch, late_interest};
use crate::trade::invoice::{Draft, InvoiceKind, InvoiceLine};

/// How what is owed on an invoice has changed: by itself, credit notes, payments and what was applied, and losses.
const CHANGES: &str = "
    SELECT issued_on AS on_day, IIF(id = :invoice, total_minor, -total_minor) AS minor
    FROM invoice WHERE number IS NOT NULL AND (id = :invoice OR credits_id = :invoice)
    UNION ALL
    SELECT happened_on, -amount_minor FROM live_payment WHERE invoice_id = :invoice
    UNION ALL
    SELECT happened_on, amount_minor FROM live_application WHERE from_invoice_id = :invoice
    UNION ALL
    SELECT happened_on, -amount_minor FROM live_application WHERE invoice_id = :invoice
    UNION ALL
    SELECT happened_on, -amount_minor FROM live_write_off WHERE invoice_id = :invoice
    ORDER BY on_day";

impl Ledger {
    /// Returns the interest on an invoice to a day, from the day after it fell due, or after the last day that interest was
    /// asked for.
    ///
    /// # Errors
    /// Refuses without a rate, what bears no interest, and an invoice that isn't late.
    fn late(&self, invoice: &Invoice, until: NaiveDate) -> Result<Vec<Stretch>> {
        let number = invoice.name();
        let Some(percent) = self.settings()?.late_interest else {
            return Err(
                Refusal::new("the firm asks for no interest on late payment")
                    .hint("gritledger setting set late-interest 8%")
                    .into(),
            );
        };
        match invoice.kind {
            InvoiceKind::Credit => refuse!("{number} is a credit note: nothing is owed on it"),
            InvoiceKind::Interest => refuse!("{number} is interest itself, which bears none"),
            InvoiceKind::Deposit
            | InvoiceKind::Progress
            | InvoiceKind::Final
            | InvoiceKind::Release => {}
        }
        let due = invoice.due_on.expect("what has a number is issued");
        let asked = self.interest_asked_to(invoice)?;
        let last = asked.map_or(due, |asked| asked.max(due));
        if until <= last {
            match asked {
                Some(asked) => refuse!("interest on {number} is asked for to {asked} already"),
                None => refuse!("{number} isn't late on {until}: it falls due on {due}"),
            }
        }
        let mut statement = self.connection.prepare_cached(CHANGES)?;
        let changes = statement.query_map(named_params! { ":invoice": invoice.id }, |row| {
            Ok((row.get("on_day")?, row.get("minor")?))
        })?;
        let changes: Vec<(NaiveDate, Money)> = changes.collect::<rusqlite::Result<_>>()?;
        Ok(late_interest(
            &changes,
            (last + Days::new(1), until),
            percent,
        ))
    }

    /// Returns the last day for which interest on an invoice was asked, and not credited; `None`: it never was.
    fn interest_asked_to(&self, invoice: &Invoice) -> Result<Option<NaiveDate>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT MAX(late_until) FROM standing_invoice WHERE late_id = :invoice",
        )?;
        let asked =
            statement.query_row(named_params! { ":invoice": invoice.id }, |row| row.get(0))?;
        Ok(asked)
    }

    /// Returns the lines that ask for the interest on an invoice to a day.
    fn interest_lines(&self, invoice: &Invoice, until: NaiveDate) -> Result<Vec<InvoiceLine>> {
        let percent = self
            .settings()?
            .late_interest
            .unwrap_or_default()
            .normalize();
        let lines = self
            .late(invoice, until)?
            .into_iter()
            .map(|part| InvoiceLine {
                what: format!(
                    "Interest on {}: {} owed from {} to {}, {} at {percent} % a year",
                    invoice.name(),
                    self.currency().text(part.owed),
                    part.first,
                    part.last,
                    match part.days() {
                        1 => "1 day".to_owned(),
                        days => format!("{days} days"),
                    },
                ),
                quote: None,
                room: None,
                credits: None,
                net: part.interest,
                tax_percent: Decimal::ZERO,
            });
        Ok(lines.collect())
    }

    /// Tells whether a draft of interest isn't what would be asked for today, as payments came since.
    pub(super) fn has_interest_changed(&self, draft: &Invoice) -> Result<bool> {
        let Some((_, number, until)) = &draft.late else {
            return Ok(false);
        };
        let lines = self.interest_lines(&self.invoice(number)?, *until)?;
        Ok(lines != draft.lines)
    }
}

impl Writing<'_> {
    /// Drafts interest on an invoice that is paid late, to a day.
    ///
    /// # Errors
    /// Refuses without a rate, what bears no interest, and an invoice on which nothing was owed since it fell
    /// due, or since interest was asked for.
    pub fn draft_interest(&self, invoice: &Invoice, until: NaiveDate) -> Result<Invoice> {
        let invoice = &self.invoice(&invoice.name())?;
        let lines = self.interest_lines(invoice, until)?;
        if lines.is_empty() {
            refuse!(
                "nothing was owed on {} in days that bear interest",
                invoice.name()
            );
        }
        let draft = Draft::of_interest(lines);
        let job = self.job_by_id(invoice.job_id)?;
        self.insert_draft(&job, &draft, About::LatePayment(invoice.id, until))
    }
}
