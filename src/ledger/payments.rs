//! Payments: what came for an invoice, what of it was applied to another or paid back, and what was taken back.
//!
//! A payment for several invoices came for the first of them, and what is beyond that one is applied to the others at once.
//! What is paid beyond an invoice, and kept on purpose, is a credit of its client. It is worked out, never stored: what
//! counts as paid on the invoice less what it asks for. Applying it is a row of its own, which counts for as long as its
//! payment; so is paying it back, which counts even if the payment bounces later: then that is owed again.

use std::collections::BTreeMap;

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::{OptionalExtension, named_params};

use super::{Invoice, Ledger, Refusal, Writing, numbered, read_number, refuse};
use crate::money::Money;
use crate::trade::{ClientId, InvoiceId, JobId, PaymentId};

/// A payment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Payment {
    /// `P1`.
    pub number: String,
    /// The invoice's number.
    pub invoice: String,
    /// The client's name.
    pub client: String,
    /// How much.
    pub amount: Money,
    /// When it came.
    pub happened_on: NaiveDate,
    /// It was taken back.
    pub voided: bool,
    /// A note.
    pub note: String,
    /// What of it was applied to other invoices, oldest first; of one that was taken back, too.
    pub applied: Vec<Application>,
}

/// A part of a payment that was applied to another invoice than it came for, or paid back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Application {
    /// The payment's number.
    pub payment: String,
    /// The number of the invoice that it was applied to; `None`: it was paid back.
    pub invoice: Option<String>,
    /// How much.
    pub amount: Money,
    /// When.
    pub happened_on: NaiveDate,
}

/// What of a payment is beyond its invoice, and not applied to another yet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Credit {
    payment_id: PaymentId,
    client_id: ClientId,
    job_id: JobId,
    /// The payment's number.
    pub payment: String,
    /// When it came.
    pub happened_on: NaiveDate,
    /// The number of the invoice that it came for.
    pub invoice: String,
    /// The client's name, as on that invoice.
    pub client: String,
    /// How much is left.
    pub amount: Money,
}

impl Credit {
    /// Tells whether it may be applied to an invoice: it is of the same client, or of the same job.
    pub fn fits(&self, invoice: &Invoice) -> bool {
        self.client_id == invoice.client_id || self.job_id == invoice.job_id
    }
}

impl Ledger {
    /// Returns every payment, oldest first.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn payments(&self) -> Result<Vec<Payment>> {
        let mut applied = self.applications()?;
        let mut statement = self.connection.prepare_cached(
            "SELECT payment.id, payment.number, invoice.id AS invoice_id, invoice.number AS invoice_number,
                    invoice.client, amount_minor, payment.happened_on, payment.note,
                    payment_void.id IS NOT NULL AS voided
             FROM payment
             JOIN invoice ON invoice.id = invoice_id
             LEFT JOIN payment_void ON payment_void.payment_id = payment.id
             ORDER BY payment.id",
        )?;
        let payments = statement.query_map([], |row| {
            let (id, voided): (PaymentId, i64) = (row.get("id")?, row.get("voided")?);
            Ok(Payment {
                number: numbered('P', id.0, row.get("number")?),
                invoice: numbered('I', row.get("invoice_id")?, row.get("invoice_number")?),
                client: row.get("client")?,
                amount: row.get("amount_minor")?,
                happened_on: row.get("happened_on")?,
                voided: voided == 1,
                note: row.get("note")?,
                applied: applied.remove(&id).unwrap_or_default(),
            })
        })?;
        Ok(payments.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the number of a payment of that amount, on that day and for that invoice, that counts; `None`: there is none.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn payment_like(
        &self,
        invoice: &Invoice,
        amount: Money,
        on: NaiveDate,
    ) -> Result<Option<String>> {
        let number = self
            .connection
            .prepare_cached(
                "SELECT id, number FROM live_payment
                 WHERE invoice_id = :invoice AND amount_minor = :amount AND happened_on = :on ORDER BY id LIMIT 1",
            )?
            .query_row(
                named_params! { ":invoice": invoice.id, ":amount": amount, ":on": on },
                |row| Ok(numbered('P', row.get("id")?, row.get("number")?)),
            )
            .optional()?;
        Ok(number)
    }

    /// Returns what of each payment was applied to other invoices, oldest first.
    fn applications(&self) -> Result<BTreeMap<PaymentId, Vec<Application>>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT application.payment_id, payment.number, application.invoice_id, invoice.number AS invoice_number,
                    application.amount_minor, application.happened_on
             FROM payment_application AS application
             JOIN payment ON payment.id = application.payment_id
             LEFT JOIN invoice ON invoice.id = application.invoice_id
             ORDER BY application.id",
        )?;
        let mut applied: BTreeMap<PaymentId, Vec<Application>> = BTreeMap::new();
        let rows = statement.query_map([], |row| {
            let payment: PaymentId = row.get("payment_id")?;
            let invoice: Option<i64> = row.get("invoice_id")?;
            let invoice_number: Option<i64> = row.get("invoice_number")?;
            let application = Application {
                payment: numbered('P', payment.0, row.get("number")?),
                invoice: invoice
                    .zip(invoice_number)
                    .map(|(id, number)| numbered('I', id, number)),
                amount: row.get("amount_minor")?,
                happened_on: row.get("happened_on")?,
            };
            Ok((payment, application))
        })?;
        for row in rows {
            let (payment, application) = row?;
            applied.entry(payment).or_default().push(application);
        }
        Ok(applied)
    }

    /// Returns every credit that is left, the oldest payment first.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn credits(&self) -> Result<Vec<Credit>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT payment.id, payment.number, payment.happened_on, invoice.id AS invoice_id,
                    invoice.number AS invoice_number, invoice.job_id, invoice.client_id, invoice.client,
                    invoice_balance.paid_minor - asked_minor AS beyond,
                    payment.amount_minor - (SELECT COALESCE(SUM(amount_minor), 0) FROM payment_application
                                            WHERE payment_id = payment.id) AS left_of_it
             FROM unsettled_invoice
             CROSS JOIN invoice ON invoice.id = unsettled_invoice.invoice_id
             CROSS JOIN invoice_balance ON invoice_balance.invoice_id = invoice.id
             CROSS JOIN live_payment AS payment ON payment.invoice_id = invoice.id
             WHERE paid_minor > asked_minor
             ORDER BY payment.id DESC",
        )?;
        // What is beyond an invoice is of the payments that came last.
        let mut taken: BTreeMap<InvoiceId, Money> = BTreeMap::new();
        let mut credits = Vec::new();
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let (id, invoice): (PaymentId, InvoiceId) = (row.get("id")?, row.get("invoice_id")?);
            let (beyond, left): (Money, Money) = (row.get("beyond")?, row.get("left_of_it")?);
            let taken = taken.entry(invoice).or_insert(Money::ZERO);
            let amount = left.min(beyond - *taken);
            if amount <= Money::ZERO {
                continue;
            }
            *taken += amount;
            credits.push(Credit {
                payment_id: id,
                client_id: row.get("client_id")?,
                job_id: row.get("job_id")?,
                payment: numbered('P', id.0, row.get("number")?),
                happened_on: row.get("happened_on")?,
                invoice: numbered('I', invoice.0, row.get("invoice_number")?),
                client: row.get("client")?,
                amount,
            });
        }
        credits.reverse();
        Ok(credits)
    }

    /// Returns the credits that may be applied to an invoice, the oldest payment first; none if it owes nothing.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn credits_for(&self, invoice: &Invoice) -> Result<Vec<Credit>> {
        if invoice.due().is_zero() {
            return Ok(Vec::new());
        }
        let credits = self.credits()?.into_iter();
        Ok(credits.filter(|credit| credit.fits(invoice)).collect())
    }

    /// Returns the identity of a payment by its number.
    fn payment(&self, number: &str) -> Result<PaymentId> {
        let Some((copy, wanted)) = read_number('P', number) else {
            return Err(Refusal::new(format!("`{number}` is not a payment number"))
                .hint("gritledger payment list")
                .into());
        };
        let id = self
            .connection
            .prepare_cached("SELECT id FROM payment WHERE id >> 40 = :copy AND number = :number")?
            .query_row(named_params! { ":copy": copy, ":number": wanted }, |row| {
                row.get(0)
            })
            .optional()?;
        match id {
            Some(id) => Ok(id),
            None => Err(Refusal::new(format!("no payment {number}"))
                .hint("gritledger payment list")
                .into()),
        }
    }

    fn is_taken_back(&self, payment: PaymentId) -> Result<bool> {
        Ok(self
            .connection
            .prepare_cached("SELECT 1 FROM payment_void WHERE payment_id = :payment")?
            .exists(named_params! { ":payment": payment })?)
    }
}

impl Writing<'_> {
    /// Notes a payment; returns its number and the invoice as it then stands.
    ///
    /// # Errors
    /// Refuses nothing, more than is owed unless it is kept as a credit, and a date after today.
    pub fn add_payment(
        &self,
        invoice: &Invoice,
        amount: Money,
        on: NaiveDate,
        keep_credit: bool,
        note: &str,
    ) -> Result<(String, Invoice)> {
        let invoice = self.payable(invoice)?;
        let number = &invoice.name();
        if amount <= Money::ZERO {
            refuse!("a payment is more than nothing");
        }
        if amount > invoice.due() + invoice.lost() && !keep_credit {
            let (paid, due) = (
                self.currency().text(amount),
                self.currency().text(invoice.due() + invoice.lost()),
            );
            return Err(
                Refusal::new(format!("{paid} is more than {number} owes, {due}"))
                    .hint("--keep-credit keeps the rest as the client's credit")
                    .into(),
            );
        }
        self.refuse_future(on)?;
        if invoice.issued_on.is_some_and(|issued| on < issued) {
            refuse!("{number} was issued after {on}");
        }
        let id = self.new_id("payment")?;
        let payment = numbered('P', id, self.new_number("payment")?);
        self.connection.execute(
            "INSERT INTO payment (id, number, invoice_id, amount_minor, kept_credit, happened_on, posted_on, recorded_at, note)
             VALUES (:id, :number, :invoice, :amount, :kept, :on, :posted, :now, :note)",
            named_params! {
                ":id": id, ":number": self.new_number("payment")?, ":invoice": invoice.id, ":amount": amount,
                ":kept": keep_credit, ":on": on, ":posted": self.counts_on(on)?, ":now": self.now(), ":note": note,
            },
        )?;
        self.log(&format!(
            "{payment}: {} paid {} on {number}.",
            invoice.client,
            self.currency().text(amount)
        ))?;
        Ok((payment, self.invoice(number)?))
    }

    /// Applies what was paid beyond other invoices of the same client or job to one that is owed: an amount, or as much as
    /// there is and as it owes; of one payment, or of the oldest first. Returns what was applied.
    ///
    /// # Errors
    /// Refuses a draft, an invoice that owes nothing, more than it owes, and more than there is.
    pub fn apply_credit(
        &self,
        invoice: &Invoice,
        amount: Option<Money>,
        from: Option<&str>,
        on: NaiveDate,
    ) -> Result<Vec<Application>> {
        let invoice = self.owing(invoice)?;
        let number = &invoice.name();
        let mut credits = self.credits_for(&invoice)?;
        let whose = match from {
            Some(from) => {
                let payment = self.payment(from)?;
                credits.retain(|credit| credit.payment_id == payment);
                from.to_uppercase()
            }
            None => invoice.client.clone(),
        };
        let there_is: Money = credits.iter().map(|credit| credit.amount).sum();
        let text = |amount| self.currency().text(amount);
        if there_is.is_zero() {
            return Err(Refusal::new(format!(
                "{whose} has nothing left that could be applied to {number}"
            ))
            .hint("gritledger payment list")
            .into());
        }
        let amount = amount.unwrap_or(there_is.min(invoice.due()));
        if amount <= Money::ZERO {
            refuse!("what is applied is more than nothing");
        }
        if amount > invoice.due() {
            refuse!(
                "{} is more than {number} owes, {}",
                text(amount),
                text(invoice.due())
            );
        }
        if amount > there_is {
            refuse!(
                "{} is more than {whose} has left, {}",
                text(amount),
                text(there_is)
            );
        }
        self.refuse_future(on)?;
        if invoice.issued_on.is_some_and(|issued| on < issued) {
            refuse!("{number} was issued after {on}");
        }
        let mut left = amount;
        let mut applied = Vec::new();
        for credit in credits {
            let part = left.min(credit.amount);
            if part.is_zero() {
                break;
            }
            if on < credit.happened_on {
                refuse!("{} came after {on}", credit.payment);
            }
            left -= part;
            applied.push(self.insert_application(&credit, Some(&invoice), part, (on, ""))?);
        }
        Ok(applied)
    }

    /// Returns an issued invoice as it stands in this transaction, for which a payment may come.
    fn payable(&self, invoice: &Invoice) -> Result<Invoice> {
        let invoice = self.invoice(&invoice.name())?;
        match &invoice.credits {
            Some((_, credited)) => Err(Refusal::new(format!(
                "{} is a credit note for {credited}: nobody pays it",
                invoice.name()
            ))
            .hint(format!("gritledger invoice show {credited}"))
            .into()),
            None => Ok(invoice),
        }
    }

    /// Notes a payment that came for several invoices of one client: each gets what it owes, in their order. Returns its
    /// number, what each got, and the last as it then stands.
    ///
    /// # Errors
    /// Refuses what [`Writing::add_payment`] does, invoices of several clients, and more or less than they owe together
    /// unless the rest is kept as a credit; less is for the first of them.
    pub fn add_payment_for(
        &self,
        (first, others): (&Invoice, &[Invoice]),
        amount: Money,
        on: NaiveDate,
        keep_credit: bool,
        note: &str,
    ) -> Result<(String, Vec<(Invoice, Money)>)> {
        let invoices = std::iter::once(first).chain(others);
        let invoices: Vec<Invoice> = invoices
            .map(|invoice| self.payable(invoice))
            .collect::<Result<_>>()?;
        let owed = |invoice: &Invoice| invoice.due() + invoice.lost();
        let mut left = amount;
        let mut parts = Vec::new();
        for invoice in &invoices {
            if invoice.client_id != first.client_id {
                refuse!(
                    "{} is for another client than {}",
                    invoice.name(),
                    first.name()
                );
            }
            let part = owed(invoice).min(left);
            left -= part;
            parts.push(part);
        }
        let together: Money = invoices.iter().map(owed).sum();
        if !left.is_zero() && !keep_credit && !others.is_empty() {
            let names: Vec<String> = invoices.iter().map(Invoice::name).collect();
            let text = |amount| self.currency().text(amount);
            return Err(Refusal::new(format!(
                "{} is more than {} owe, {}",
                text(amount),
                names.join(", "),
                text(together)
            ))
            .hint("--keep-credit keeps the rest as the client's credit")
            .into());
        }
        let goes_on = others
            .iter()
            .zip(&parts[1..])
            .any(|(_, part)| !part.is_zero());
        let (number, _) = self.add_payment(first, amount, on, keep_credit || goes_on, note)?;
        let mut paid = vec![(first.clone(), parts[0] + left)];
        for (other, part) in others.iter().zip(&parts[1..]) {
            if !part.is_zero() {
                self.apply_credit(other, Some(*part), Some(&number), on)?;
            }
            paid.push((self.invoice(&other.name())?, *part));
        }
        paid[0].0 = self.invoice(&first.name())?;
        Ok((number, paid))
    }

    /// Pays back what a client paid beyond an invoice: an amount, or all of it. Returns what of which payment.
    ///
    /// # Errors
    /// Refuses an invoice that nothing was paid beyond, more than that, and a date after today or before the payment came.
    pub fn refund(
        &self,
        invoice: &Invoice,
        amount: Option<Money>,
        on: NaiveDate,
        note: &str,
    ) -> Result<Vec<Application>> {
        let name = invoice.name();
        let mut credits = self.credits()?;
        credits.retain(|credit| credit.invoice == name);
        let there_is: Money = credits.iter().map(|credit| credit.amount).sum();
        if there_is.is_zero() {
            return Err(
                Refusal::new(format!("nothing was paid beyond what {name} asks for"))
                    .hint(format!("gritledger invoice show {name}"))
                    .into(),
            );
        }
        let text = |amount| self.currency().text(amount);
        let amount = amount.unwrap_or(there_is);
        if amount <= Money::ZERO {
            refuse!("what is paid back is more than nothing");
        }
        if amount > there_is {
            refuse!(
                "{} is more than was paid beyond {name}, {}",
                text(amount),
                text(there_is)
            );
        }
        self.refuse_future(on)?;
        let mut left = amount;
        let mut paid_back = Vec::new();
        for credit in credits {
            let part = left.min(credit.amount);
            if part.is_zero() {
                break;
            }
            if on < credit.happened_on {
                refuse!("{} came after {on}", credit.payment);
            }
            left -= part;
            paid_back.push(self.insert_application(&credit, None, part, (on, note))?);
        }
        Ok(paid_back)
    }

    fn insert_application(
        &self,
        credit: &Credit,
        invoice: Option<&Invoice>,
        amount: Money,
        (on, note): (NaiveDate, &str),
    ) -> Result<Application> {
        self.connection
            .prepare_cached(
                "INSERT INTO payment_application (id, payment_id, invoice_id, amount_minor, note, happened_on, posted_on,
                                                  recorded_at)
                 VALUES (:id, :payment, :invoice, :amount, :note, :on, :posted, :now)",
            )?
            .execute(named_params! {
                ":id": self.new_id("payment_application")?, ":payment": credit.payment_id,
                ":invoice": invoice.map(|invoice| invoice.id), ":amount": amount, ":note": note, ":on": on,
                ":posted": self.counts_on(on)?, ":now": self.now(),
            })?;
        let (text, payment) = (self.currency().text(amount), &credit.payment);
        self.log(&match invoice {
            Some(invoice) => format!("Applied {text} of {payment} to {}.", invoice.name()),
            None => format!("Paid {text} of {payment} back to {}.", credit.client),
        })?;
        Ok(Application {
            payment: credit.payment.clone(),
            invoice: invoice.map(Invoice::name),
            amount,
            happened_on: on,
        })
    }

    /// Takes a payment back by a row of its own, and with it what of it was applied to other invoices; returns that.
    ///
    /// # Errors
    /// Refuses one that isn't there, one that was taken back already, and no reason.
    pub fn void_payment(&self, number: &str, reason: &str) -> Result<Vec<Application>> {
        let payment = self.payment(number)?;
        if reason.trim().is_empty() {
            refuse!("say why {number} is taken back");
        }
        if self.is_taken_back(payment)? {
            return Err(Refusal::new(format!("{number} was taken back already"))
                .hint("gritledger payment list")
                .into());
        }
        let counted: NaiveDate = self
            .connection
            .prepare_cached(
                "SELECT COALESCE(posted_on, happened_on) FROM payment WHERE id = :payment",
            )?
            .query_row(named_params! { ":payment": payment }, |row| row.get(0))?;
        self.connection.execute(
            "INSERT INTO payment_void (id, payment_id, reason, happened_on, posted_on, recorded_at)
             VALUES (:id, :payment, :reason, :today, :posted, :now)",
            named_params! {
                ":id": self.new_id("payment_void")?, ":payment": payment, ":reason": reason.trim(),
                ":today": self.today(), ":posted": self.counts_on(counted)?, ":now": self.now(),
            },
        )?;
        self.log(&format!("Took back payment {number}: {}.", reason.trim()))?;
        Ok(self.applications()?.remove(&payment).unwrap_or_default())
    }
}
