//! Losses: what of an issued invoice is given up, and what of that was taken back.
//!
//! A loss is a row of its own, which the invoice never shows as paid. What comes after all is noted as any payment is: the
//! loss counts for what is still missing, and never makes a credit.

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::{OptionalExtension, named_params};

use super::{Invoice, Writing, refuse};
use crate::money::Money;

impl Writing<'_> {
    /// Writes off what an invoice owes, or an amount of it; returns the invoice as it then stands.
    ///
    /// # Errors
    /// Refuses a draft, an invoice that owes nothing, more than it owes, nothing, and no reason.
    pub fn write_off(
        &self,
        invoice: &Invoice,
        amount: Option<Money>,
        reason: &str,
    ) -> Result<Invoice> {
        let invoice = self.owing(invoice)?;
        let (name, reason) = (invoice.name(), reason.trim());
        if reason.is_empty() {
            refuse!("say why {name} is written off");
        }
        let amount = amount.unwrap_or(invoice.due());
        if amount <= Money::ZERO {
            refuse!("what is written off is more than nothing");
        }
        let text = |amount| self.currency().text(amount);
        if amount > invoice.due() {
            refuse!(
                "{} is more than {name} owes, {}",
                text(amount),
                text(invoice.due())
            );
        }
        self.connection.execute(
            "INSERT INTO write_off (id, invoice_id, amount_minor, reason, happened_on, recorded_at)
             VALUES (:id, :invoice, :amount, :reason, :today, :now)",
            named_params! {
                ":id": self.new_id("write_off")?, ":invoice": invoice.id, ":amount": amount, ":reason": reason,
                ":today": self.today(), ":now": self.now(),
            },
        )?;
        self.log(&format!("Wrote off {} of {name}: {reason}.", text(amount)))?;
        self.invoice(&name)
    }

    /// Takes back the last loss that was noted of an invoice; returns the invoice as it then stands.
    ///
    /// # Errors
    /// Refuses an invoice of which nothing is written off, and no reason.
    pub fn take_back_loss(&self, invoice: &Invoice, reason: &str) -> Result<Invoice> {
        let (name, reason) = (invoice.name(), reason.trim());
        if reason.is_empty() {
            refuse!("say why the loss on {name} is taken back");
        }
        let last: Option<(i64, Money, NaiveDate)> = self
            .connection
            .prepare_cached(
                "SELECT id, amount_minor, happened_on FROM live_write_off WHERE invoice_id = :invoice ORDER BY id DESC LIMIT 1",
            )?
            .query_row(named_params! { ":invoice": invoice.id }, |row| {
                Ok((row.get(0)?, row.get(1)?, row.get(2)?))
            })
            .optional()?;
        let Some((id, amount, on)) = last else {
            refuse!("nothing of {name} is written off")
        };
        self.connection.execute(
            "INSERT INTO write_off_void (id, write_off_id, reason, happened_on, posted_on, recorded_at)
             VALUES (:id, :loss, :reason, :today, :posted, :now)",
            named_params! {
                ":id": self.new_id("write_off_void")?, ":loss": id, ":reason": reason, ":today": self.today(),
                ":posted": self.counts_on(on)?, ":now": self.now(),
            },
        )?;
        self.log(&format!(
            "Took back the loss of {} on {name}: {reason}.",
            self.currency().text(amount)
        ))?;
        self.invoice(&name)
    }

    /// Returns an issued invoice as it stands in this transaction, on which something is owed.
    ///
    /// # Errors
    /// Refuses a draft (it has no number), a credit note, and an invoice that owes nothing.
    pub(super) fn owing(&self, invoice: &Invoice) -> Result<Invoice> {
        let invoice = self.invoice(&invoice.name())?;
        let number = invoice.name();
        if let Some((_, credited)) = &invoice.credits {
            refuse!("{number} is a credit note for {credited}: it asks for nothing");
        }
        if invoice.due().is_zero() && invoice.lost().is_zero() {
            refuse!("{number} owes nothing");
        }
        Ok(invoice)
    }
}
