//! Do the totals, tax, dates and numbers of invoices follow from what was agreed, and payments from invoices?

use std::collections::BTreeMap;

use anyhow::Result;
use chrono::NaiveDate;

use super::super::columns::Micro;
use super::super::invoices::{as_earlier, goodwill_of};
use super::super::{Invoice, QuoteRecord};
use super::{Ledger, Problems, called};
use crate::money::{Decimal, Money, product};
use crate::trade::invoice::{InvoiceKind, InvoiceLine, final_invoice, net_of};
use crate::trade::tax::TaxAtRate;
use crate::trade::{JobId, QuoteId};

/// The most that a part of a price is rounded by: a cent for each rate of tax, and some for rooms.
const MOST_ROUNDED: Money = Money::from_minor(10);

/// Rows (id, number of an invoice) that contradict another, and what is wrong.
const INVOICES: &[(&str, &str)] = &[
    (
        "it was issued before it was drafted",
        "SELECT id, number FROM invoice WHERE issued_on < drafted_on",
    ),
    (
        "it falls due before it was issued",
        "SELECT id, number FROM invoice WHERE due_on < issued_on",
    ),
    (
        "it was issued before the one with the number before it",
        "SELECT id, number FROM (
             SELECT id, number, issued_on, LAG(issued_on) OVER (PARTITION BY id >> 40 ORDER BY number) AS before
             FROM invoice WHERE number IS NOT NULL)
         WHERE issued_on < before",
    ),
    (
        "it was drafted on another day than it was recorded",
        "SELECT id, COALESCE(number, 0) AS number FROM invoice WHERE date(recorded_at) <> drafted_on",
    ),
    (
        "it was drafted before its job was agreed",
        "SELECT invoice.id, COALESCE(invoice.number, 0) AS number FROM invoice JOIN job_event ON job_event.job_id = invoice.job_id
         WHERE what = 'agreed' AND drafted_on < happened_on",
    ),
    (
        "it asks for interest of days to come",
        "SELECT id, COALESCE(number, 0) AS number FROM invoice WHERE late_until > drafted_on",
    ),
    (
        "it asks for interest before its invoice fell due",
        "SELECT invoice.id, COALESCE(invoice.number, 0) AS number FROM invoice JOIN invoice AS late ON late.id = invoice.late_id
         WHERE late.due_on IS NULL OR invoice.late_until <= late.due_on",
    ),
    (
        "it comes after the final invoice, and asks for a deposit",
        "SELECT invoice.id, invoice.number FROM invoice JOIN standing_invoice AS last ON last.job_id = invoice.job_id
         WHERE invoice.kind = 'deposit' AND last.kind = 'final' AND last.number < invoice.number
               AND +(last.id >> 40) = +(invoice.id >> 40)", // `+`: by the job, not by the number among all invoices
    ),
];

/// The same of losses: rows (id, number of the invoice).
const LOSSES: &[(&str, &str)] = &[
    (
        "more of it is written off than it asks for",
        "SELECT invoice.id, invoice.number FROM live_write_off JOIN invoice ON invoice.id = invoice_id
         GROUP BY invoice.id HAVING SUM(amount_minor) > total_minor",
    ),
    (
        "it is a draft or a credit note, and written off",
        "SELECT invoice.id, COALESCE(invoice.number, 0) AS number FROM write_off JOIN invoice ON invoice.id = invoice_id
         WHERE invoice.number IS NULL OR credits_id IS NOT NULL",
    ),
    (
        "it was written off on another day than that was recorded",
        "SELECT invoice.id, invoice.number FROM write_off JOIN invoice ON invoice.id = invoice_id
         WHERE write_off.happened_on <> date(write_off.recorded_at)",
    ),
    (
        "its loss was taken back before it was recorded",
        "SELECT invoice.id, invoice.number FROM write_off_void JOIN write_off ON write_off.id = write_off_id
         JOIN invoice ON invoice.id = invoice_id
         WHERE write_off_void.recorded_at < write_off.recorded_at
               OR write_off_void.happened_on <> date(write_off_void.recorded_at)",
    ),
];

/// The same of payments.
const PAYMENTS: &[(&str, &str)] = &[
    (
        "it pays a draft",
        "SELECT payment.id, payment.number FROM payment JOIN invoice ON invoice.id = invoice_id WHERE invoice.number IS NULL",
    ),
    (
        "it came before its invoice was issued",
        "SELECT payment.id, payment.number FROM payment JOIN invoice ON invoice.id = invoice_id
         WHERE payment.happened_on < invoice.issued_on",
    ),
    (
        "it is more than its invoice owed, and nobody said that the rest is kept as a credit",
        "SELECT payment.id, payment.number FROM live_payment AS payment JOIN invoice ON invoice.id = invoice_id
         WHERE kept_credit = 0 AND total_minor < (
             SELECT SUM(amount_minor) FROM live_payment AS earlier
             WHERE earlier.invoice_id = payment.invoice_id AND earlier.id <= payment.id)",
    ),
    (
        "it came after it was recorded",
        "SELECT id, number FROM payment WHERE happened_on > date(recorded_at)",
    ),
    (
        "it was taken back before it was recorded",
        "SELECT payment.id, payment.number FROM payment JOIN payment_void ON payment_id = payment.id
         WHERE payment_void.recorded_at < payment.recorded_at OR payment_void.happened_on <> date(payment_void.recorded_at)",
    ),
    (
        "it is applied to an invoice of another client's job",
        "SELECT payment.id, payment.number FROM payment_application AS application
         JOIN payment ON payment.id = payment_id
         JOIN invoice AS paid ON paid.id = payment.invoice_id JOIN invoice AS other ON other.id = application.invoice_id
         WHERE paid.client_id <> other.client_id",
    ),
    (
        "more of it is applied elsewhere than it is",
        "SELECT payment.id, payment.number FROM payment JOIN payment_application ON payment_id = payment.id
         GROUP BY payment.id HAVING SUM(payment_application.amount_minor) > payment.amount_minor",
    ),
    (
        "it was applied before it was recorded",
        "SELECT payment.id, payment.number FROM payment JOIN payment_application AS application ON payment_id = payment.id
         WHERE application.recorded_at < payment.recorded_at",
    ),
];

impl Ledger {
    pub(super) fn check_invoices(&self, problems: &mut Problems) -> Result<()> {
        for (words, sql) in INVOICES.iter().chain(LOSSES) {
            self.each(problems, sql, |row| {
                let name = match row.get("number")? {
                    0 => "a draft".to_owned(),
                    _ => called('I', row)?,
                };
                Ok(format!("invoice {name}: {words}"))
            })?;
        }
        self.each_that(
            problems,
            "SELECT invoice.id, COALESCE(number, 0) AS number, position, quantity_micro, unit_price_micro,
                    invoice_line.net_minor FROM invoice_line JOIN invoice ON invoice.id = invoice_id",
            |row| {
                let (quantity, price): (Micro, Micro) = (row.get(3)?, row.get(4)?);
                let net = self.currency().amount(product([quantity.0, price.0]));
                let what = format!("its line {} comes to", row.get::<_, i64>("position")?);
                Ok(self.unlike(&format!("invoice {}", called('I', row)?), &what, row.get(5)?, net))
            },
        )?;
        let invoices = self.invoices()?;
        let mut by_job: BTreeMap<JobId, Vec<&Invoice>> = BTreeMap::new();
        for invoice in &invoices {
            by_job.entry(invoice.job_id).or_default().push(invoice);
        }
        for invoice in &invoices {
            problems.extend(self.total_problems(invoice));
            match invoice.kind {
                InvoiceKind::Final | InvoiceKind::Release => {
                    self.check_final(invoice, &by_job[&invoice.job_id], problems)?;
                }
                InvoiceKind::Deposit | InvoiceKind::Progress => {
                    self.check_stage(invoice, problems)?;
                }
                InvoiceKind::Interest => check_interest(invoice, problems),
                InvoiceKind::Credit => {
                    self.check_credit(invoice, &by_job[&invoice.job_id], problems);
                }
            }
        }
        Ok(())
    }

    pub(super) fn check_payments(&self, problems: &mut Problems) -> Result<()> {
        for (words, sql) in PAYMENTS {
            self.each(problems, sql, |row| {
                Ok(format!("payment {}: {words}", called('P', row)?))
            })?;
        }
        self.payments().map(drop)
    }

    /// Lines less allowances add up to the total, those at each rate of tax to what is taxed at it, and the tax to the tax.
    fn total_problems(&self, invoice: &Invoice) -> Vec<String> {
        let subject = format!("invoice {}", invoice.name());
        let lines = net_of(&invoice.lines, &invoice.allowances);
        let taxes: Money = invoice.taxes.iter().map(|part| part.tax).sum();
        let mut found = vec![
            self.unlike(&subject, "the lines add up to", invoice.net, lines),
            self.unlike(&subject, "its tax by rate adds up to", invoice.tax, taxes),
        ];
        let mut by_rate: BTreeMap<Decimal, Money> = BTreeMap::new();
        for line in &invoice.lines {
            *by_rate.entry(line.tax_percent).or_default() += line.net;
        }
        for off in &invoice.allowances {
            *by_rate.entry(off.tax_percent).or_default() -= off.amount;
        }
        if invoice.credits.is_none() {
            let goodwill = goodwill_of(&invoice.allowances);
            found.push(self.unlike(
                &subject,
                "its goodwill adds up to",
                invoice.off_price,
                goodwill,
            ));
        }
        for part in &invoice.taxes {
            let lines = by_rate.remove(&part.percent).unwrap_or_default();
            let percent = part.percent.normalize();
            let what = format!("the lines at {percent} % add up to");
            found.push(self.unlike(&subject, &what, part.net, lines));
            let what = format!("its tax at {percent} % is");
            let tax = TaxAtRate::on(part.net, part.percent).tax;
            found.push(self.unlike(&subject, &what, part.tax, tax));
        }
        let untaxed = by_rate.into_iter().filter(|(_, net)| !net.is_zero());
        found.extend(untaxed.map(|(percent, _)| {
            Some(format!(
                "{subject}: its lines at {} % have no tax",
                percent.normalize()
            ))
        }));
        found.into_iter().flatten().collect()
    }

    /// A final invoice asks for what was agreed, less what was invoiced before, and its tax is the tax of that.
    fn check_final(
        &self,
        invoice: &Invoice,
        of_job: &[&Invoice],
        problems: &mut Problems,
    ) -> Result<()> {
        let subject = format!("invoice {}", invoice.name());
        let mut agreed = self.agreed(&self.job_by_id(invoice.job_id)?)?;
        let mut by_quote: BTreeMap<QuoteId, Money> = BTreeMap::new();
        for (quote, line) in quoted(invoice) {
            *by_quote.entry(quote).or_default() += line.net;
        }
        for off in &invoice.allowances {
            if let Some(quote) = off.quote {
                *by_quote.entry(quote).or_default() -= off.amount;
            }
        }
        let is_asked = |record: &QuoteRecord| by_quote.contains_key(&record.header.id);
        agreed.quotes.retain(is_asked); // As it was agreed then.
        for (id, net) in by_quote {
            let quote = self.quote_by_id(id)?;
            let what = format!("{} is agreed at", quote.header.number);
            problems.extend(self.unlike(&subject, &what, net, quote.quote.price));
            self.check_quote_of(invoice, &quote, problems)?;
        }
        let is_work = |other: &&&Invoice| {
            let interest = |id| of_job.iter().any(|of| of.id == id && of.late.is_some());
            !interest(other.credits.as_ref().map_or(other.id, |of| of.0))
        };
        let earlier = of_job.iter().filter(is_work).filter(|other| {
            let is_before = match invoice.number {
                Some(_) => other.issued_on <= invoice.issued_on && other.id < invoice.id,
                None => true,
            };
            other.number.is_some() && other.id != invoice.id && is_before
        });
        let earlier = as_earlier(earlier.copied());
        let lines = quoted(invoice).map(|(_, line)| line.clone()).collect();
        let retention = match invoice.kind {
            InvoiceKind::Release => None,
            _ => Some(
                agreed
                    .terms()
                    .map_or(Decimal::ZERO, |terms| terms.retention),
            ),
        };
        let off = invoice.allowances.clone();
        let totals = agreed.totals();
        let Ok(again) = final_invoice(lines, off, retention, &earlier, totals) else {
            problems.push(format!("{subject}: nothing was left to ask for"));
            return Ok(());
        };
        let nets =
            |lines: &[InvoiceLine]| -> Vec<Money> { lines.iter().map(|line| line.net).collect() };
        if nets(&again.lines) != nets(&invoice.lines) {
            problems.push(format!(
                "{subject}: what is taken off it isn't what was invoiced before"
            ));
        }
        problems.extend(self.unlike(
            &subject,
            "its rounding is",
            invoice.rounding,
            again.rounding,
        ));
        Ok(())
    }

    /// A credit note takes back lines of its invoice, no more than is left of them, and their tax.
    fn check_credit(&self, note: &Invoice, of_job: &[&Invoice], problems: &mut Problems) {
        let subject = format!("invoice {}", note.name());
        let id = note.credits.as_ref().map(|(id, _)| *id);
        let Some(invoice) = of_job.iter().find(|invoice| Some(invoice.id) == id) else {
            problems.push(format!(
                "{subject}: what it credits is no invoice of its job"
            ));
            return;
        };
        if invoice.client_id != note.client_id {
            problems.push(format!(
                "{subject}: it is for another client than {}",
                invoice.name()
            ));
        }
        let before = of_job.iter().filter(|other| {
            let is_of_it = other.credits.as_ref().map(|(id, _)| *id) == Some(invoice.id);
            is_of_it && other.number.is_some() && other.id < note.id
        });
        let before: Vec<&Invoice> = before.copied().collect();
        let lines = || {
            before
                .iter()
                .flat_map(|other| &other.lines)
                .chain(&note.lines)
        };
        for line in &note.lines {
            let of = line
                .credits
                .and_then(|place| invoice.lines.get(place as usize - 1));
            let Some(of) = of.filter(|of| of.tax_percent == line.tax_percent) else {
                problems.push(format!(
                    "{subject}: {} has no such line at that tax",
                    invoice.name()
                ));
                continue;
            };
            let same = lines().filter(|other| other.credits == line.credits);
            let credited: Money = same.map(|other| other.net).sum();
            if credited.abs() > of.net.abs() {
                problems.push(format!(
                    "{subject}: it takes back more than {} asked for",
                    invoice.name()
                ));
            }
        }
        let all = || before.iter().copied().chain([note]);
        let is_whole = all().map(|note| note.net).sum::<Money>() == invoice.net;
        let credited: Money = all().map(Invoice::total).sum();
        if is_whole {
            let what = format!("with it, all of {} is taken back:", invoice.name());
            problems.extend(self.unlike(&subject, &what, credited, invoice.total()));
        } else if note.rounding.abs() > MOST_ROUNDED {
            problems.push(format!("{subject}: its rounding is more than cents"));
        }
    }

    /// A deposit or progress invoice is a part of the price, and its tax is the tax of it.
    fn check_stage(&self, invoice: &Invoice, problems: &mut Problems) -> Result<()> {
        let subject = format!("invoice {}", invoice.name());
        if invoice.rounding.abs() > MOST_ROUNDED {
            problems.push(format!("{subject}: its rounding is more than cents"));
        }
        for (id, line) in quoted(invoice) {
            let quote = self.quote_by_id(id)?;
            if line.net.abs() > quote.quote.full_price().abs() {
                problems.push(format!("{subject}: it is more than the price"));
            }
            self.check_quote_of(invoice, &quote, problems)?;
        }
        Ok(())
    }

    /// A quote that is invoiced was accepted for the job, and taxed as it is invoiced.
    fn check_quote_of(
        &self,
        invoice: &Invoice,
        quote: &QuoteRecord,
        problems: &mut Problems,
    ) -> Result<()> {
        let (subject, number) = (format!("invoice {}", invoice.name()), &quote.header.number);
        let job = self.job_by_id(invoice.job_id)?;
        let is_of_job =
            job.quote_id == Some(quote.header.id) || quote.header.variation_of == Some(job.id);
        if !is_of_job {
            problems.push(format!("{subject}: {number} is no quote of {}", job.number));
        }
        let decided: Option<NaiveDate> = quote.header.decided_on;
        if decided.is_none_or(|decided| decided > invoice.drafted_on) {
            problems.push(format!(
                "{subject}: {number} wasn't agreed when it was drafted"
            ));
        }
        let mut lines = quoted(invoice).filter(|(id, _)| *id == quote.header.id);
        if lines.any(|(_, line)| !quote.quote.terms.tax.contains(line.tax_percent)) {
            problems.push(format!("{subject}: {number} was taxed at another rate"));
        }
        Ok(())
    }
}

/// Interest is of days before it was asked for, and no part of what was agreed.
fn check_interest(invoice: &Invoice, problems: &mut Problems) {
    let is_beside = |line: &InvoiceLine| line.quote.is_none() && line.tax_percent.is_zero();
    if !invoice.lines.iter().all(is_beside) {
        problems.push(format!(
            "invoice {}: it is interest, and its lines are for work",
            invoice.name()
        ));
    }
}

/// Returns the lines that were agreed with a quote.
fn quoted(invoice: &Invoice) -> impl Iterator<Item = (QuoteId, &InvoiceLine)> {
    invoice
        .lines
        .iter()
        .filter_map(|line| Some((line.quote?, line)))
}
