//! Invoices as they are kept. What an invoice says is decided in [`crate::trade::invoice`].

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::{Params, Row, named_params};

use super::columns::Micro;
use super::names::{KnownBy, Names, by_client_or_site};
use super::{
    Agreed, Job, Ledger, Letterhead, QuoteRecord, Refusal, Writing, numbered, read_number, refuse,
    typed,
};
use crate::money::{Currency, Decimal, Money};
use crate::trade::invoice::{
    AgreedPart, Allowance, Asked, Draft, Earlier, Extent, InvoiceError, InvoiceKind, InvoiceLine,
    Left, Stage, credit_note, deposit, due_on, final_invoice, goodwill, off_price, progress,
    with_kinds,
};
use crate::trade::quote::Discount;
use crate::trade::tax::{TaxAtRate, TaxRates};
use crate::trade::{ClientId, InvoiceId, JobId, QuoteId};

/// An invoice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Invoice {
    /// Identity.
    pub id: InvoiceId,
    /// `I1`; `None`: a draft.
    pub number: Option<String>,
    /// What it asks for.
    pub kind: InvoiceKind,
    /// The job.
    pub job_id: JobId,
    /// The job's number.
    pub job: String,
    /// Who pays.
    pub client_id: ClientId,
    /// The client's name; once it is issued, as it was that day.
    pub client: String,
    /// The client's postal address; once it is issued, as it was that day.
    pub client_address: String,
    /// The number that the client is taxed under; once it is issued, as it was that day.
    pub client_tax_number: String,
    /// Why no tax is asked of the client; empty: it is. Once it is issued, as it was that day.
    pub exemption: String,
    /// The site's address; once it is issued, as it was that day.
    pub site: String,
    /// The firm's letterhead as it was issued with; `None`: a draft.
    pub letterhead: Option<i64>,
    /// When it was drafted.
    pub drafted_on: NaiveDate,
    /// When it was issued.
    pub issued_on: Option<NaiveDate>,
    /// When it falls due.
    pub due_on: Option<NaiveDate>,
    /// The prices of its job are told with tax.
    pub tax_included: bool,
    /// The tax in force at the site when it was drafted.
    pub in_force: TaxRates,
    /// Sum of the lines, less allowances.
    pub net: Money,
    /// Tax at all rates.
    pub tax: Money,
    /// Tax by rate, the lowest first.
    pub taxes: Vec<TaxAtRate>,
    /// What lines and tax are short of what it comes to.
    pub rounding: Money,
    /// What was paid: its payments, less what of them was applied elsewhere or paid back, and what was applied to it.
    pub paid: Money,
    /// Of a credit note: the invoice that it takes back.
    pub credits: Option<(InvoiceId, String)>,
    /// Of interest: the invoice that is paid late, and the last day that it is for.
    pub late: Option<(InvoiceId, String, NaiveDate)>,
    /// Of a credit note: why.
    pub reason: String,
    /// Of a credit note: what of it is off the price, before tax. Of a final invoice: its goodwill.
    pub off_price: Money,
    /// What credit notes took back of it, tax included.
    pub credited: Money,
    /// What was written off of it.
    pub written_off: Money,
    /// Its lines.
    pub lines: Vec<InvoiceLine>,
    /// What is taken off it.
    pub allowances: Vec<Allowance>,
}

impl Invoice {
    /// Returns what it asks for, tax included.
    pub fn total(&self) -> Money {
        self.net + self.tax + self.rounding
    }

    /// Returns what it asks for and no credit note took back; nothing of a credit note.
    pub fn asked(&self) -> Money {
        match self.credits {
            Some(_) => Money::ZERO,
            None => self.total() - self.credited,
        }
    }

    /// Returns what is lost of it: what was written off and didn't come after all.
    pub fn lost(&self) -> Money {
        self.written_off
            .min(self.asked() - self.paid)
            .max(Money::ZERO)
    }

    /// Returns what is still owed; never below nothing.
    pub fn due(&self) -> Money {
        (self.asked() - self.paid - self.written_off).max(Money::ZERO)
    }

    /// Returns what was paid beyond what is asked for, kept as a credit.
    pub fn credit(&self) -> Money {
        (self.paid - self.asked()).max(Money::ZERO)
    }

    /// Tells whether credit notes took back all of it.
    pub fn is_credited(&self) -> bool {
        self.credits.is_none() && self.credited == self.total()
    }

    /// Returns the word for where it stands.
    pub fn status(&self) -> &'static str {
        let is_owed = !self.due().is_zero();
        match self.number {
            None => "draft",
            Some(_) if self.credits.is_some() => "credit note",
            Some(_) if self.is_credited() => "credited",
            Some(_) if is_owed => "issued",
            Some(_) if !self.lost().is_zero() => "written off",
            Some(_) => "paid",
        }
    }

    /// Returns what it asks for of a quote at a rate of tax, before tax; below zero for a credit note.
    fn asked_of(&self, quote: QuoteId, tax_percent: Decimal) -> Money {
        let of_it = self.lines.iter();
        let of_it =
            of_it.filter(|line| line.quote == Some(quote) && line.tax_percent == tax_percent);
        let off = self.allowances.iter();
        let off = off.filter(|off| off.quote == Some(quote) && off.tax_percent == tax_percent);
        let off: Money = off.map(|off| off.amount).sum();
        let net = of_it.map(|line| line.net).sum::<Money>() - off;
        match self.credits {
            Some(_) => -net,
            None => net,
        }
    }

    /// Returns what drafts it again by what is agreed now: `deposit J1 --amount 100.00`.
    pub fn drafted_by(&self, currency: Currency) -> String {
        let told = |net, percent| match self.tax_included {
            true => net + TaxAtRate::on(net, percent).tax,
            false => net,
        };
        let held = self.lines.iter().filter(|line| line.quote.is_none());
        let held: Money = held.map(|line| told(line.net, line.tax_percent)).sum();
        let asked = if self.tax_included {
            self.total()
        } else {
            self.net
        };
        let (job, net) = (&self.job, currency.text(asked - held));
        match self.kind {
            InvoiceKind::Deposit => format!("deposit {job} --amount {net}"),
            InvoiceKind::Progress => format!("progress {job} --amount {net}"),
            InvoiceKind::Release => format!("release {job}"),
            InvoiceKind::Interest => {
                let late = self.late.as_ref();
                let (_, number, until) = late.expect("interest is on an invoice");
                format!("interest {number} --until {until}")
            }
            InvoiceKind::Final | InvoiceKind::Credit => {
                let mut off: BTreeMap<&str, Money> = BTreeMap::new();
                for goodwill in self.allowances.iter().filter(|off| off.quote.is_none()) {
                    *off.entry(&goodwill.reason).or_default() +=
                        told(goodwill.amount, goodwill.tax_percent);
                }
                let off = off.into_iter().map(|(reason, amount)| {
                    let off = format!("{reason}={}", currency.text(amount));
                    format!(" --discount {}", typed(&off))
                });
                format!("final {job}{}", off.collect::<String>())
            }
        }
    }

    /// Returns its number, or the words for a draft.
    pub fn name(&self) -> String {
        self.number
            .clone()
            .unwrap_or_else(|| format!("draft for {}", self.job))
    }
}

/// What a job was invoiced, tax included, and what was paid on it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Billed {
    /// What issued invoices ask for, less what was credited.
    pub asked: Money,
    /// What was paid on them.
    pub paid: Money,
}

/// Tells whether a text is the number of an issued invoice, whether there is one or not.
pub fn is_invoice_number(text: &str) -> bool {
    read_number('I', text).is_some()
}

/// What a progress invoice of a job asks for.
#[derive(Clone, Debug, PartialEq)]
pub enum Progress {
    /// A share of what was agreed.
    Share(Decimal),
    /// An amount before tax.
    Amount(Money),
    /// Rooms, by their names.
    Rooms(Vec<String>),
}

/// What a draft is about.
#[derive(Clone, Copy, Debug)]
pub(super) enum About<'a> {
    /// The work of its job.
    Work,
    /// Another invoice that it takes back.
    Credit(CreditOf<'a>),
    /// Another invoice that is paid late, and the last day that it is for.
    LatePayment(InvoiceId, NaiveDate),
}

/// What a credit note takes back, and why.
#[derive(Clone, Copy, Debug)]
pub(super) struct CreditOf<'a> {
    invoice: InvoiceId,
    reason: &'a str,
    /// What of it is off the price, before tax.
    off_price: Money,
}

/// Returns what the client reads as the price of the rooms that lines are for, discounts taken off.
fn told_of(agreed: &Agreed, lines: &[InvoiceLine]) -> Money {
    let quotes = agreed.quotes.iter().map(|QuoteRecord { header, quote }| {
        let is_asked = |room| {
            let mut lines = lines.iter();
            lines.any(|line| (line.quote, line.room) == (Some(header.id), Some(room)))
        };
        let (all, told) = (quote.told_rooms(), quote.told());
        let full = quote.told_full();
        let rooms = quote
            .rooms
            .iter()
            .zip(all)
            .filter(|(room, _)| is_asked(room.id));
        let rooms: Money = rooms.map(|(_, told)| told).sum();
        match full.is_zero() {
            true => rooms,
            false => rooms.share(told.minor().into(), full.minor().into()),
        }
    });
    quotes.sum()
}

/// Returns those that ask for the work of a job, or take that back: no interest.
pub(super) fn of_work(mut invoices: Vec<Invoice>) -> Vec<Invoice> {
    let interest = invoices.iter().filter(|invoice| invoice.late.is_some());
    let interest: BTreeSet<InvoiceId> = interest.map(|invoice| invoice.id).collect();
    invoices.retain(|invoice| {
        let credits = invoice.credits.as_ref().map(|of| of.0);
        !interest.contains(&credits.unwrap_or(invoice.id))
    });
    invoices
}

/// Returns issued invoices and credit notes as what a later invoice of their job takes off. Goodwill of one that they credit in
/// whole comes back.
pub(super) fn as_earlier<'a>(issued: impl Iterator<Item = &'a Invoice> + Clone) -> Vec<Earlier> {
    let earlier = issued.clone().map(|invoice| {
        let is_of_it = |note: &&Invoice| note.credits.as_ref().is_some_and(|of| of.0 == invoice.id);
        let notes = issued.clone().filter(is_of_it);
        let is_back = invoice.credits.is_none()
            && notes.map(Invoice::total).sum::<Money>() == invoice.total();
        Earlier {
            number: invoice.name(),
            kind: invoice.kind,
            taxes: invoice.taxes.clone(),
            rounding: invoice.rounding,
            off_price: if is_back {
                Money::ZERO
            } else {
                invoice.off_price
            },
        }
    });
    earlier.collect()
}

/// Returns what of allowances no quote agreed to: it is off the price.
pub(super) fn goodwill_of(allowances: &[Allowance]) -> Money {
    let goodwill = allowances.iter().filter(|off| off.quote.is_none());
    goodwill.map(|off| off.amount).sum()
}

/// Returns what of a quote is taxed at which rate, and what of that issued invoices asked for, less what was credited.
fn taxed_parts(record: &QuoteRecord, issued: &[Invoice]) -> Vec<AgreedPart> {
    let QuoteRecord { header, quote } = record;
    let rates = quote.terms.tax;
    let parts = rates.parts(quote.price, &quote.taxed_by).into_iter();
    let words: Vec<_> = parts.map(|part| (part.percent, part.words())).collect();
    let parts = quote.taxes().into_iter().map(|part| AgreedPart {
        quote: header.id,
        number: header.number.clone(),
        kinds: words
            .iter()
            .find(|(percent, _)| *percent == part.percent)
            .and_then(|(_, words)| words.clone()),
        price: part.net,
        tax_percent: part.percent,
        invoiced: issued
            .iter()
            .map(|invoice| invoice.asked_of(header.id, part.percent))
            .sum(),
    });
    parts.collect()
}

const INVOICES: &str = "
    SELECT invoice.id, invoice.number, invoice.kind, invoice.job_id, job.number AS job_number, client.id AS client_id,
           COALESCE(invoice.client, client.name) AS client,
           COALESCE(invoice.client_address, client.address) AS client_address,
           COALESCE(invoice.client_tax_number, client.tax_number) AS client_tax_number,
           COALESCE(invoice.exemption, client.exempt) AS exemption,
           COALESCE(invoice.site, site.address) AS site, letterhead_id, drafted_on, issued_on, due_on,
           tax_labour_micro, tax_materials_micro, tax_rental_micro, net_minor,
           COALESCE((SELECT tax_included FROM quote WHERE quote.id = job.quote_id), 0) AS tax_included,
           tax_minor, rounding_minor,
           (SELECT paid_minor FROM invoice_paid WHERE invoice_id = invoice.id) AS paid, credits_id, reason, off_price_minor, late_id,
           late_until, (SELECT number FROM invoice AS late WHERE late.id = invoice.late_id) AS late_number,
           (SELECT number FROM invoice AS credited WHERE credited.id = invoice.credits_id) AS credits_number,
           (SELECT COALESCE(SUM(total_minor), 0) FROM invoice AS note
            WHERE note.credits_id = invoice.id AND note.number IS NOT NULL) AS credited,
           (SELECT COALESCE(SUM(amount_minor), 0) FROM live_write_off WHERE invoice_id = invoice.id) AS written_off
    FROM invoice
    JOIN job ON job.id = invoice.job_id
    JOIN job_party ON job_party.job_id = job.id
    JOIN site ON site.id = job.site_id
    JOIN client ON client.id = COALESCE(invoice.client_id, job_party.client_id)
    WHERE withdrawn_on IS NULL";

impl Ledger {
    /// Returns the invoices of a query, with their lines.
    fn invoices_by(&self, sql: &str, parameters: impl Params) -> Result<Vec<Invoice>> {
        let mut statement = self.connection.prepare_cached(sql)?;
        let invoices = statement.query_map(parameters, invoice_from_row)?;
        let invoices: Vec<Invoice> = invoices.collect::<rusqlite::Result<_>>()?;
        invoices
            .into_iter()
            .map(|invoice| self.with_lines(invoice))
            .collect()
    }

    /// Returns every invoice that stands, oldest first, drafts last.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn invoices(&self) -> Result<Vec<Invoice>> {
        let sql = format!(
            "{INVOICES} ORDER BY invoice.number IS NULL, invoice.id >> 40, invoice.number, invoice.id"
        );
        self.invoices_by(&sql, [])
    }

    /// Returns the issued invoices on which something is owed, or paid beyond what they ask for, in the order of their
    /// numbers.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn unsettled_invoices(&self) -> Result<Vec<Invoice>> {
        let sql = format!(
            "{INVOICES} AND invoice.id IN (SELECT invoice_id FROM unsettled_invoice)
             ORDER BY invoice.id >> 40, invoice.number"
        );
        self.invoices_by(&sql, [])
    }

    /// Returns what each job was invoiced and what was paid on it; a job that isn't named was never invoiced.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn billed(&self) -> Result<BTreeMap<JobId, Billed>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT job_id, SUM(asked_minor) AS asked, SUM(paid_minor) AS paid
             FROM invoice_balance JOIN invoice ON invoice.id = invoice_id GROUP BY job_id",
        )?;
        let billed = statement.query_map([], |row| {
            let (asked, paid) = (row.get("asked")?, row.get("paid")?);
            Ok((row.get("job_id")?, Billed { asked, paid }))
        })?;
        Ok(billed.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns what each client owes, less what is kept as their credit; a client that isn't named owes nothing.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn balances(&self) -> Result<BTreeMap<ClientId, Money>> {
        let mut balances: BTreeMap<ClientId, Money> = BTreeMap::new();
        for invoice in self.unsettled_invoices()? {
            *balances.entry(invoice.client_id).or_default() += invoice.due() - invoice.credit();
        }
        Ok(balances)
    }

    /// Returns the drafts that aren't issued, oldest first.
    pub(super) fn invoice_drafts(&self) -> Result<Vec<Invoice>> {
        // By the index of drafts: SQLite itself would read every invoice.
        let sql = format!(
            "{INVOICES} AND invoice.id IN (SELECT id FROM invoice INDEXED BY invoice_one_draft
                                           WHERE number IS NULL AND withdrawn_on IS NULL)
             ORDER BY invoice.id"
        );
        self.invoices_by(&sql, [])
    }

    /// Returns what the issued invoices of a job ask for, before tax and less what was credited, and what of that is off the
    /// price; `None`: there is no invoice, nor a draft.
    pub(super) fn invoiced(&self, job: JobId) -> Result<Option<(Money, Money)>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT COUNT(*),
                    COALESCE(SUM(IIF(credits_id IS NULL, net_minor, -net_minor)) FILTER (WHERE number IS NOT NULL), 0),
                    COALESCE((SELECT off_price_minor FROM job_off_price WHERE job_id = :job), 0)
             FROM invoice_of_work WHERE job_id = :job AND withdrawn_on IS NULL",
        )?;
        let invoiced = statement.query_row(named_params! { ":job": job }, |row| {
            let count: i64 = row.get(0)?;
            let sums = (row.get(1)?, row.get(2)?);
            Ok((count > 0).then_some(sums))
        })?;
        Ok(invoiced)
    }

    /// Returns the issued invoices of a client, in the order of their numbers.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn invoices_to(&self, client: ClientId) -> Result<Vec<Invoice>> {
        let sql = format!(
            "{INVOICES} AND invoice.number IS NOT NULL AND invoice.client_id = :client
             ORDER BY invoice.id >> 40, invoice.number"
        );
        self.invoices_by(&sql, named_params! { ":client": client })
    }

    /// Returns the invoices of a job, oldest first.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn invoices_of(&self, job: JobId) -> Result<Vec<Invoice>> {
        let sql = format!("{INVOICES} AND invoice.job_id = :job ORDER BY invoice.id");
        self.invoices_by(&sql, named_params! { ":job": job })
    }

    /// Returns the issued invoice of that number, or of a client or site.
    ///
    /// # Errors
    /// Refuses a number that isn't one, and one that isn't there.
    pub fn invoice(&self, number: &str) -> Result<Invoice> {
        let Some((copy, wanted)) = read_number('I', number) else {
            if let Some(invoice) = self.invoice_to(number)? {
                return Ok(invoice);
            }
            return Err(Refusal::new(format!("`{number}` is not an invoice number"))
                .hint("issued invoices are numbered I1, I2; a draft is addressed by its job, J1")
                .into());
        };
        let sql = format!("{INVOICES} AND invoice.id >> 40 = :copy AND invoice.number = :number");
        let mut statement = self.connection.prepare_cached(&sql)?;
        let invoice = statement
            .query_map(
                named_params! { ":copy": copy, ":number": wanted },
                invoice_from_row,
            )?
            .next();
        match invoice.transpose()? {
            Some(invoice) => self.with_lines(invoice),
            None => Err(Refusal::new(format!("no invoice {number}"))
                .hint("gritledger invoice list")
                .into()),
        }
    }

    /// Returns the issued invoice that is meant by its client or site: one that isn't settled, before the others.
    fn invoice_to(&self, wanted: &str) -> Result<Option<Invoice>> {
        let mut invoices = self.invoices()?;
        invoices.retain(|invoice| invoice.number.is_some());
        Ok(meant_by(wanted, &invoices)?.cloned())
    }

    /// Returns the draft of a job, if it has one.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn draft_of(&self, job: &Job) -> Result<Option<Invoice>> {
        let mut invoices = self.invoices_of(job.id)?.into_iter();
        Ok(invoices.find(|invoice| invoice.number.is_none()))
    }

    /// Returns the invoice of that number, or the one of a client or site that something was paid beyond, before the others.
    ///
    /// # Errors
    /// Refuses what fits none, or several of which something was paid beyond each.
    pub fn invoice_to_refund(&self, wanted: &str) -> Result<Invoice> {
        if read_number('I', wanted).is_none() {
            let mut invoices = self.unsettled_invoices()?;
            invoices.retain(|invoice| !invoice.credit().is_zero());
            if let Some(meant) = meant_by(wanted, &invoices)? {
                return Ok(meant.clone());
            }
        }
        self.invoice(wanted)
    }

    /// Returns what an invoice says of the firm: as it was issued, or as it would be today.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn letterhead_on(&self, invoice: &Invoice) -> Result<Letterhead> {
        self.letterhead_of(invoice.letterhead)
    }

    /// Returns the draft of a job.
    ///
    /// # Errors
    /// Refuses a job without one.
    pub fn draft_invoice_of(&self, job: &Job) -> Result<Invoice> {
        match self.draft_of(job)? {
            Some(draft) => Ok(draft),
            None => Err(Refusal::new(format!("{} has no draft invoice", job.number))
                .hint(format!("gritledger invoice final {}", job.number))
                .into()),
        }
    }

    /// Returns what has changed since a draft was made, in words; none: it would be drafted like that today.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn changed_since(&self, draft: &Invoice) -> Result<Vec<String>> {
        let job = self.job_by_id(draft.job_id)?;
        let mut changes = Vec::new();
        if draft.credits.is_some() {
            return Ok(changes); // It takes back what was asked for, as it was asked for.
        }
        if let Some((_, number, _)) = &draft.late {
            if self.has_interest_changed(draft)? {
                changes.push(format!("what was owed on {number} has changed"));
            }
            return Ok(changes);
        }
        if draft.kind == InvoiceKind::Final {
            for record in self.agreed(&job)?.quotes {
                let header = &record.header;
                if !draft.lines.iter().any(|line| line.quote == Some(header.id)) {
                    changes.push(format!(
                        "{} over {} was accepted",
                        header.number,
                        self.currency().text(header.price)
                    ));
                }
            }
        }
        changes.extend(self.tax_changed(job.site_id, draft.in_force)?);
        Ok(changes)
    }

    fn with_lines(&self, mut invoice: Invoice) -> Result<Invoice> {
        let of_invoice = named_params! { ":invoice": invoice.id };
        let mut statement = self.connection.prepare_cached(
            "SELECT what, quote_id, room_id, credits, net_minor, tax_micro FROM invoice_line
             WHERE invoice_id = :invoice ORDER BY position",
        )?;
        let lines = statement.query_map(of_invoice, |row| {
            Ok(InvoiceLine {
                what: row.get("what")?,
                quote: row.get("quote_id")?,
                room: row.get("room_id")?,
                credits: row.get("credits")?,
                net: row.get("net_minor")?,
                tax_percent: row.get::<_, Micro>("tax_micro")?.0,
            })
        })?;
        invoice.lines = lines.collect::<rusqlite::Result<_>>()?;
        let mut statement = self.connection.prepare_cached(
            "SELECT quote_id, reason, amount_minor, tax_micro FROM invoice_allowance
             WHERE invoice_id = :invoice ORDER BY position",
        )?;
        let allowances = statement.query_map(of_invoice, |row| {
            Ok(Allowance {
                reason: row.get("reason")?,
                quote: row.get("quote_id")?,
                amount: row.get("amount_minor")?,
                tax_percent: row.get::<_, Micro>("tax_micro")?.0,
            })
        })?;
        invoice.allowances = allowances.collect::<rusqlite::Result<_>>()?;
        let mut statement = self.connection.prepare_cached(
            "SELECT tax_micro, net_minor, tax_minor FROM invoice_tax
             WHERE invoice_id = :invoice ORDER BY tax_micro",
        )?;
        let taxes = statement.query_map(of_invoice, |row| {
            Ok(TaxAtRate {
                percent: row.get::<_, Micro>("tax_micro")?.0,
                net: row.get("net_minor")?,
                tax: row.get("tax_minor")?,
            })
        })?;
        invoice.taxes = taxes.collect::<rusqlite::Result<_>>()?;
        Ok(invoice)
    }
}

/// Returns the invoice that is meant by its client or site: one that owes something, before the others.
fn meant_by<'a>(wanted: &str, invoices: &'a [Invoice]) -> Result<Option<&'a Invoice>> {
    by_client_or_site("invoice", wanted, invoices, |invoice| KnownBy {
        number: invoice.number.as_deref().unwrap_or_default(),
        client: &invoice.client,
        site: &invoice.site,
        is_over: invoice.due().is_zero(),
    })
}

fn invoice_from_row(row: &Row<'_>) -> rusqlite::Result<Invoice> {
    let (id, job): (InvoiceId, JobId) = (row.get("id")?, row.get("job_id")?);
    let number: Option<i64> = row.get("number")?;
    let percent = |column| row.get::<_, Micro>(column).map(|percent| percent.0);
    let credits: Option<InvoiceId> = row.get("credits_id")?;
    let credits_number: Option<i64> = row.get("credits_number")?;
    let late: Option<InvoiceId> = row.get("late_id")?;
    let late = late
        .zip(row.get::<_, Option<i64>>("late_number")?)
        .zip(row.get("late_until")?);
    Ok(Invoice {
        id,
        number: number.map(|number| numbered('I', id.0, number)),
        kind: row.get("kind")?,
        job_id: job,
        job: numbered('J', job.0, row.get("job_number")?),
        client_id: row.get("client_id")?,
        client: row.get("client")?,
        client_address: row.get("client_address")?,
        site: row.get("site")?,
        client_tax_number: row.get("client_tax_number")?,
        exemption: row.get("exemption")?,
        letterhead: row.get("letterhead_id")?,
        drafted_on: row.get("drafted_on")?,
        issued_on: row.get("issued_on")?,
        due_on: row.get("due_on")?,
        tax_included: row.get("tax_included")?,
        in_force: TaxRates {
            labour: percent("tax_labour_micro")?,
            materials: percent("tax_materials_micro")?,
            rental: percent("tax_rental_micro")?,
        },
        net: row.get("net_minor")?,
        tax: row.get("tax_minor")?,
        taxes: Vec::new(),
        rounding: row.get("rounding_minor")?,
        paid: row.get("paid")?,
        credits: credits
            .zip(credits_number)
            .map(|(id, number)| (id, numbered('I', id.0, number))),
        late: late.map(|((id, number), until)| (id, numbered('I', id.0, number), until)),
        reason: row.get("reason")?,
        off_price: row.get("off_price_minor")?,
        credited: row.get("credited")?,
        written_off: row.get("written_off")?,
        lines: Vec::new(),
        allowances: Vec::new(),
    })
}

impl Writing<'_> {
    /// Drafts the deposit of a job: an amount, before tax or as prices are told, or the settings' share of the price.
    ///
    /// # Errors
    /// Refuses a job without a quote, a second deposit, and more than the price.
    pub fn draft_deposit(&self, job: &Job, amount: Option<Money>) -> Result<Invoice> {
        self.refuse_unpaid(job)?;
        let agreed = self.agreed(job)?;
        let Some(first) = agreed.quotes.first() else {
            refuse!("{} has no quote to take a deposit on", job.number)
        };
        if let Some(earlier) = self.standing_of(job)?.first() {
            refuse!(
                "{} was invoiced already ({}): the deposit comes first",
                job.number,
                earlier.name()
            );
        }
        let (price, told) = (agreed.price_to_come(), agreed.told_to_come());
        let amount = match amount {
            Some(amount) => amount,
            None => {
                let settings = self.settings()?;
                let asked = told.times(settings.deposit);
                // A share that is the limit itself isn't rounded beyond it.
                match settings.contract_law().largest_deposit(told) {
                    Some(largest) if asked - largest == Money::from_minor(1) => largest,
                    _ => asked,
                }
            }
        };
        let what = format!("Deposit on {} at {}", job.number, job.site);
        if amount > told {
            return Err(InvoiceError::LargerThanPrice.into());
        }
        let net = match agreed.tax_included() {
            true => agreed.before_tax(amount).min(price),
            false => amount,
        };
        let comes_to = agreed.tax_included().then_some(amount);
        let draft = deposit(&what, net, price, &taxed_parts(first, &[]), comes_to)?;
        self.insert_draft(job, &draft, About::Work)
    }

    /// Drafts the final invoice of a job: its rooms and variations, each at its quote's tax, less discounts and what was
    /// invoiced before. What is taken off by goodwill is off the price.
    ///
    /// # Errors
    /// Refuses a job without a quote, and when nothing is left to ask for.
    pub fn draft_final(&self, job: &Job, off: &[Discount]) -> Result<Invoice> {
        self.refuse_unpaid(job)?;
        let lines = self.room_lines(job)?;
        let mut allowances = self.allowances_on(job, &lines)?;
        let issued = self.issued_of(job)?;
        let earlier = as_earlier(issued.iter());
        let retention = self.retention_of(job)?;
        let agreed = self.agreed(job)?;
        let totals = agreed.totals();
        let with = |allowances| {
            final_invoice(lines.clone(), allowances, Some(retention), &earlier, totals)
        };
        if let (Ok(full), false) = (with(allowances.clone()), off.is_empty()) {
            let is_told = totals.tax_included;
            self.refuse_all_off(off, if is_told { full.total() } else { full.net() })?;
            let goodwill = |off: &Discount| goodwill(&off.reason, off.told, &full.taxes, is_told);
            allowances.extend(off.iter().flat_map(goodwill));
        }
        let draft = match with(allowances) {
            // What is left may be less than the share of the whole that is to be held.
            Err(InvoiceError::NothingLeft | InvoiceError::OwedBack(_))
                if self.left_to_invoice(job)? > Money::ZERO && !retention.is_zero() =>
            {
                return Err(Refusal::new(format!(
                    "nothing is left to invoice for {} but what is held: {}",
                    job.number,
                    self.currency().text(self.left_to_invoice(job)?)
                ))
                .hint(format!("gritledger invoice release {}", job.number))
                .into());
            }
            Err(InvoiceError::OwedBack(beyond)) => {
                let owed = self.currency().text(beyond);
                return Err(Refusal::new(format!(
                    "{} was invoiced {owed} beyond its price, tax included: that is owed back to {}",
                    job.number, job.client
                ))
                .hint(self.crediting(job, &issued)?)
                .into());
            }
            draft => draft?,
        };
        self.insert_draft(job, &draft, About::Work)
    }

    /// Drafts the release of what a job's invoices have held.
    ///
    /// # Errors
    /// Refuses a job of which nothing is held, and one that has more left to invoice.
    pub fn draft_release(&self, job: &Job) -> Result<Invoice> {
        self.refuse_unpaid(job)?;
        let lines = self.room_lines(job)?;
        let allowances = self.allowances_on(job, &lines)?;
        let issued = self.issued_of(job)?;
        let earlier = as_earlier(issued.iter());
        let retention = self.retention_of(job)?;
        if retention.is_zero() {
            refuse!("nothing of {} is held", job.number);
        }
        let totals = self.agreed(job)?.totals();
        let with = |held| final_invoice(lines.clone(), allowances.clone(), held, &earlier, totals);
        if with(Some(retention)).is_ok() {
            return Err(Refusal::new(format!(
                "{} has more left to invoice than what is held",
                job.number
            ))
            .hint(format!("gritledger invoice final {}", job.number))
            .into());
        }
        self.insert_draft(job, &with(None)?, About::Work)
    }

    /// Returns the share of a job's invoices that is held until it is released: nothing, once it was.
    fn retention_of(&self, job: &Job) -> Result<Decimal> {
        let issued = self.issued_of(job)?;
        let is_released = |invoice: &Invoice| invoice.kind == InvoiceKind::Release;
        let terms = self.agreed(job)?.terms();
        let terms = terms.filter(|_| !issued.iter().any(is_released));
        Ok(terms.map_or(Decimal::ZERO, |terms| terms.retention))
    }

    /// Drafts a progress invoice of a job: a share of what was agreed, an amount, before tax or as prices are told, or rooms
    /// that are done.
    ///
    /// # Errors
    /// Refuses a job without a quote, one with a final invoice, rooms that it doesn't have or that were invoiced, and more
    /// than is left to ask for.
    pub fn draft_progress(&self, job: &Job, asked: &Progress) -> Result<Invoice> {
        self.refuse_unpaid(job)?;
        let standing = self.standing_of(job)?;
        let last =
            |invoice: &&Invoice| matches!(invoice.kind, InvoiceKind::Final | InvoiceKind::Release);
        if let Some(last) = standing.iter().find(last) {
            return Err(Refusal::new(format!(
                "{} is the final invoice of {}",
                last.name(),
                job.number
            ))
            .hint(format!(
                "gritledger invoice credit {} --reason WHY",
                last.name()
            ))
            .into());
        }
        let (parts, agreed) = (self.agreed_parts(job)?, self.agreed(job)?);
        let stages = standing
            .iter()
            .filter(|invoice| invoice.kind == InvoiceKind::Progress);
        let held = stages.flat_map(|invoice| &invoice.lines);
        let held: Money = held
            .filter(|line| line.quote.is_none())
            .map(|line| -line.net)
            .sum();
        let left = Left {
            net: self.left_to_invoice(job)? - held,
            total: self.total_left(job, &agreed)?,
        };
        let (stage, told) = match asked {
            Progress::Share(share) => (Stage::Share(*share), agreed.total().times(*share)),
            Progress::Amount(amount) if agreed.tax_included() => {
                let net = match left.total == Some(*amount) {
                    true => left.net,
                    false => agreed.before_tax(*amount),
                };
                (Stage::Amount(net), *amount)
            }
            Progress::Amount(amount) => (Stage::Amount(*amount), *amount),
            Progress::Rooms(rooms) => {
                let lines = self.lines_of_rooms(job, rooms, &standing)?;
                let told = told_of(&agreed, &lines);
                let allowances = self.allowances_on(job, &lines)?;
                (Stage::Rooms(lines, allowances), told)
            }
        };
        let told = agreed.tax_included().then_some(told);
        let draft = match progress(&parts, stage, left, self.retention_of(job)?, told) {
            Err(InvoiceError::BeyondWhatIsLeft(net)) => {
                let left = left.total.filter(|_| agreed.tax_included());
                return Err(Refusal::new(format!(
                    "that is more than is left to invoice for {}: {}",
                    job.number,
                    self.currency().text(left.unwrap_or(net))
                ))
                .hint(format!("gritledger invoice final {}", job.number))
                .into());
            }
            draft => draft?,
        };
        self.insert_draft(job, &draft, About::Work)
    }

    /// Returns how to credit what was invoiced beyond a job's price: an amount of the newest invoice that has so much left, if
    /// all is taxed alike; else the newest in whole, since the next asks for what is left at each rate.
    fn crediting(&self, job: &Job, issued: &[Invoice]) -> Result<String> {
        let back = -self.left_to_invoice(job)?;
        let standing = issued.iter().rev();
        let mut standing =
            standing.filter(|invoice| invoice.credits.is_none() && !invoice.is_credited());
        let rates = issued.iter().flat_map(|invoice| &invoice.taxes);
        let rates: BTreeSet<Decimal> = rates.map(|part| part.percent).collect();
        let newest = standing
            .clone()
            .next()
            .map(Invoice::name)
            .unwrap_or_default();
        let has_left = standing
            .find(|invoice| rates.len() == 1 && invoice.credited.is_zero() && invoice.net >= back);
        Ok(match has_left {
            Some(invoice) => format!(
                "gritledger invoice credit {} --amount {} --reason WHY",
                invoice.name(),
                self.currency().text(back)
            ),
            None => format!("gritledger invoice credit {newest} --reason WHY"),
        })
    }

    /// Returns what of each quote of a job is taxed at which rate, and what of it invoices asked for, less what was credited.
    fn agreed_parts(&self, job: &Job) -> Result<Vec<AgreedPart>> {
        let (issued, agreed) = (self.issued_of(job)?, self.agreed(job)?);
        let parts = agreed.quotes.iter();
        Ok(parts
            .flat_map(|record| taxed_parts(record, &issued))
            .collect())
    }

    /// Returns what isn't invoiced of a job, tax included; `None`: something is off its price, with tax that no quote says.
    fn total_left(&self, job: &Job, agreed: &Agreed) -> Result<Option<Money>> {
        let issued = self.issued_of(job)?;
        let asked = issued.iter().map(|invoice| match invoice.credits {
            Some(_) => -invoice.total(),
            None => invoice.total(),
        });
        let is_off = as_earlier(issued.iter())
            .iter()
            .any(|invoice| !invoice.off_price.is_zero());
        Ok((!is_off).then_some(agreed.total() - asked.sum()))
    }

    /// Returns the lines of a job's rooms as agreed, each at its quote's tax.
    fn room_lines(&self, job: &Job) -> Result<Vec<InvoiceLine>> {
        let agreed = self.agreed(job)?;
        if agreed.quotes.is_empty() {
            refuse!("{} has no quote to invoice", job.number)
        }
        let rooms = agreed.quotes.iter().flat_map(|record| {
            let rooms = record.quote.rooms.iter();
            rooms.map(move |room| (record, room))
        });
        let lines = rooms.flat_map(|(record, room)| {
            let of_room = record.quote.taxed(room).into_iter();
            of_room.map(move |part| {
                let done = match record.header.varies {
                    Some(_) => "as changed",
                    None => "floor as quoted",
                };
                let aside = match record.header.variation_of {
                    Some(_) => ", a variation",
                    None => "",
                };
                let number = &record.header.number;
                let what = format!("{}: {done} in {number}{aside}", room.name);
                InvoiceLine {
                    what: with_kinds(&what, part.words().as_ref()),
                    quote: Some(record.header.id),
                    room: Some(room.id),
                    credits: None,
                    net: part.net,
                    tax_percent: part.percent,
                }
            })
        });
        Ok(lines.collect())
    }

    /// Returns what the discounts of a job's quotes take off lines for rooms at their full prices.
    fn allowances_on(&self, job: &Job, lines: &[InvoiceLine]) -> Result<Vec<Allowance>> {
        let mut allowances = Vec::new();
        for QuoteRecord { header, quote } in self.agreed(job)?.quotes {
            for off in &quote.discounts {
                let is_asked = |room| {
                    let mut lines = lines.iter();
                    lines.any(|line| (line.quote, line.room) == (Some(header.id), Some(room)))
                };
                let parts = quote.taxed_off(off, is_asked).into_iter();
                allowances.extend(parts.map(|part| Allowance {
                    reason: off.reason.clone(),
                    quote: Some(header.id),
                    amount: part.net,
                    tax_percent: part.percent,
                }));
            }
        }
        allowances.retain(|off| off.amount > Money::ZERO);
        Ok(allowances)
    }

    /// Refuses to take off as much as there is to ask for.
    fn refuse_all_off(&self, off: &[Discount], asked: Money) -> Result<()> {
        let off: Money = off.iter().map(|off| off.amount).sum();
        let text = |amount| self.currency().text(amount);
        if off >= asked {
            refuse!(
                "{} off leaves nothing of the {} that are left to invoice",
                text(off),
                text(asked)
            );
        }
        Ok(())
    }

    /// Returns the lines of some rooms of a job, none of which was invoiced by itself before.
    fn lines_of_rooms(
        &self,
        job: &Job,
        rooms: &[String],
        standing: &[Invoice],
    ) -> Result<Vec<InvoiceLine>> {
        let agreed = self.agreed(job)?;
        let named = agreed
            .rooms()
            .into_iter()
            .map(|(room, ..)| (room.name, room.id));
        let names = Names::new("room of the job", named);
        let mut wanted = Vec::new();
        for name in rooms {
            let room = *names.find(name)?;
            let before = standing
                .iter()
                .find(|invoice| invoice.lines.iter().any(|line| line.room == Some(room)));
            if let Some(before) = before {
                refuse!("{name} was invoiced already, by {}", before.name());
            }
            wanted.push(room);
        }
        let mut lines = self.room_lines(job)?;
        lines.retain(|line| line.room.is_some_and(|room| wanted.contains(&room)));
        Ok(lines)
    }

    /// Drafts a credit note for an issued invoice: all that is left of it, or lines of it.
    ///
    /// # Errors
    /// Refuses a draft, a credit note, one that is credited in whole, lines that it doesn't have or of which less is left,
    /// and no reason.
    pub fn draft_credit(
        &self,
        invoice: &Invoice,
        extent: &Extent,
        reason: &str,
        is_off_price: bool,
    ) -> Result<Invoice> {
        let invoice = &self.invoice(&invoice.name())?;
        let (number, reason) = (&invoice.name(), reason.trim());
        if reason.is_empty() {
            refuse!("say why {number} is credited");
        }
        if let Some((_, credited)) = &invoice.credits {
            refuse!("{number} is a credit note itself, for {credited}");
        }
        if invoice.late.is_some() && (*extent != Extent::Whole || is_off_price) {
            refuse!("{number} is interest, and no part of a price: it is credited in whole");
        }
        let job = self.job_by_id(invoice.job_id)?;
        let mut notes = self.invoices_of(job.id)?;
        notes.retain(|note| {
            note.number.is_some()
                && note
                    .credits
                    .as_ref()
                    .is_some_and(|(id, _)| *id == invoice.id)
        });
        let lines: Vec<InvoiceLine> = notes.iter().flat_map(|note| note.lines.clone()).collect();
        let asked = Asked {
            lines: &invoice.lines,
            allowances: &invoice.allowances,
            total: invoice.total(),
        };
        let agreed = self.agreed(&job)?;
        let (net_extent, told) = match extent {
            Extent::Amount(amount) if agreed.tax_included() => {
                (&Extent::Amount(agreed.before_tax(*amount)), Some(*amount))
            }
            extent => (extent, None),
        };
        let draft = credit_note(asked, (&lines, invoice.credited), net_extent, told);
        let draft = match draft {
            Ok(draft) => draft,
            Err(InvoiceError::BeyondLine(place, left)) => refuse!(
                "that is more than is left of line {place} of {number}: {}",
                self.currency().text(left)
            ),
            Err(InvoiceError::BeyondLines(left)) => refuse!(
                "that is more than is left of {number} before tax: {}",
                self.currency().text(left)
            ),
            Err(InvoiceError::BeyondInvoice(left)) => {
                return Err(Refusal::new(format!(
                    "that is more than is left of {number}, tax included: {}",
                    self.currency().text(left)
                ))
                .hint(format!("gritledger invoice credit {number} --reason WHY"))
                .into());
            }
            Err(InvoiceError::Credited) => refuse!("{number} is credited in whole already"),
            Err(error) => {
                return Err(Refusal::new(format!("{number}: {error}"))
                    .hint(format!("gritledger invoice show {number}"))
                    .into());
            }
        };
        let is_whole = draft.total() == invoice.asked();
        let beyond = -self.left_to_invoice(&job)?;
        let credit = CreditOf {
            invoice: invoice.id,
            reason,
            off_price: match is_off_price {
                true => draft.net(),
                false => off_price(&draft, invoice.kind, is_whole, beyond),
            },
        };
        self.insert_draft(&job, &draft, About::Credit(credit))
    }

    /// Refuses a job for which nobody pays any more, or ever.
    fn refuse_unpaid(&self, job: &Job) -> Result<()> {
        self.refuse_cancelled(job, "nothing more is invoiced for it")?;
        if job.own {
            refuse!(
                "{} is work on your own floors: nothing is invoiced for it",
                job.number
            );
        }
        Ok(())
    }

    /// Returns the issued invoices and credit notes for the work of a job, oldest first.
    fn issued_of(&self, job: &Job) -> Result<Vec<Invoice>> {
        let mut invoices = of_work(self.invoices_of(job.id)?);
        invoices.retain(|invoice| invoice.number.is_some());
        Ok(invoices)
    }

    /// Returns those that ask for something: no credit notes, and nothing that they took back in whole.
    fn standing_of(&self, job: &Job) -> Result<Vec<Invoice>> {
        let mut invoices = self.issued_of(job)?;
        invoices.retain(|invoice| invoice.credits.is_none() && !invoice.is_credited());
        Ok(invoices)
    }

    /// Throws away what was drafted for a job and not issued.
    pub(super) fn withdraw_drafts(&self, job: &Job) -> Result<()> {
        self.connection.execute(
            "UPDATE invoice SET withdrawn_on = :today WHERE job_id = :job AND number IS NULL AND withdrawn_on IS NULL",
            named_params! { ":today": self.today(), ":job": job.id },
        )?;
        Ok(())
    }

    pub(super) fn insert_draft(
        &self,
        job: &Job,
        draft: &Draft,
        about: About<'_>,
    ) -> Result<Invoice> {
        self.withdraw_drafts(job)?;
        let (credits, late) = match about {
            About::Work => (None, None),
            About::Credit(of) => (Some(of), None),
            About::LatePayment(of, until) => (None, Some((of, until))),
        };
        let (id, in_force) = (
            InvoiceId(self.new_id("invoice")?),
            self.tax_in_force(job.site_id)?,
        );
        self.connection.execute(
            "INSERT INTO invoice (id, job_id, kind, drafted_on, tax_labour_micro, tax_materials_micro, tax_rental_micro, net_minor,
                                  tax_minor, rounding_minor, credits_id, reason, late_id, late_until, off_price_minor, recorded_at)
             VALUES (:id, :job, :kind, :today, :labour, :materials, :rental, :net, :tax, :rounding, :credits, :reason, :late, :until, :off_price, :now)",
            named_params! {
                ":id": id, ":job": job.id, ":kind": draft.kind, ":today": self.today(),
                ":labour": Micro(in_force.labour), ":materials": Micro(in_force.materials), ":rental": Micro(in_force.rental),
                ":net": draft.net(), ":tax": draft.tax(), ":rounding": draft.rounding,
                ":late": late.map(|of| of.0), ":until": late.map(|of| of.1),
                ":credits": credits.map(|of| of.invoice), ":reason": credits.map_or("", |of| of.reason),
                ":off_price": credits.map_or_else(|| goodwill_of(&draft.allowances), |of| of.off_price),
                ":now": self.now(),
            },
        )?;
        for (position, line) in (1_i64..).zip(&draft.lines) {
            let price = self.currency().decimal(line.net);
            self.connection.execute(
                "INSERT INTO invoice_line (id, invoice_id, position, quote_id, room_id, credits, what, unit_price_micro,
                                           net_minor, tax_micro)
                 VALUES (:id, :invoice, :position, :quote, :room, :credits, :what, :price, :net, :tax_percent)",
                named_params! {
                    ":id": self.new_id("invoice_line")?, ":invoice": id, ":position": position, ":quote": line.quote,
                    ":room": line.room, ":credits": line.credits, ":what": line.what, ":price": Micro(price), ":net": line.net,
                    ":tax_percent": Micro(line.tax_percent),
                },
            )?;
        }
        for (position, off) in (1_i64..).zip(&draft.allowances) {
            self.connection.execute(
                "INSERT INTO invoice_allowance (invoice_id, position, quote_id, reason, amount_minor, tax_micro)
                 VALUES (:invoice, :position, :quote, :reason, :amount, :tax_percent)",
                named_params! {
                    ":invoice": id, ":position": position, ":quote": off.quote, ":reason": off.reason,
                    ":amount": off.amount, ":tax_percent": Micro(off.tax_percent),
                },
            )?;
        }
        for part in &draft.taxes {
            self.connection.execute(
                "INSERT INTO invoice_tax (invoice_id, tax_micro, net_minor, tax_minor)
                 VALUES (:invoice, :percent, :net, :tax)",
                named_params! {
                    ":invoice": id, ":percent": Micro(part.percent), ":net": part.net, ":tax": part.tax,
                },
            )?;
        }
        self.log(&format!(
            "Drafted the {} invoice of {}.",
            draft.kind, job.number
        ))?;
        self.draft_invoice_of(job)
    }

    /// Issues a job's draft: it gets the next number and never changes again.
    ///
    /// # Errors
    /// Refuses a job without a draft.
    pub fn issue_invoice(&self, job: &Job) -> Result<Invoice> {
        let draft = self.draft_invoice_of(job)?;
        if draft.credits.is_none() && draft.late.is_none() {
            self.refuse_unpaid(job)?;
        }
        let number = self.new_number("invoice")?;
        let due = match draft.credits {
            Some(_) => self.today(),
            None => due_on(self.today(), self.settings()?.payment_days),
        };
        self.connection.execute(
            "UPDATE invoice SET number = :number, issued_on = :today, due_on = :due, client_id = :client_id,
                    client = :client, client_address = :client_address, site = :site, letterhead_id = :letterhead,
                    client_tax_number = :tax_number, exemption = :exemption,
                    tax_area = COALESCE((SELECT tax_area.name FROM job JOIN site ON site.id = job.site_id
                                         JOIN tax_area ON tax_area.id = site.tax_area_id WHERE job.id = invoice.job_id), '')
             WHERE id = :id",
            named_params! {
                ":number": number, ":today": self.today(), ":due": due,
                ":client_id": draft.client_id, ":client": draft.client, ":client_address": draft.client_address,
                ":site": draft.site, ":letterhead": self.keep_letterhead()?, ":tax_number": draft.client_tax_number, ":exemption": draft.exemption, ":id": draft.id,
            },
        )?;
        self.seal(super::seals::INVOICE, draft.id.0);
        let invoice = self.invoice(&numbered('I', draft.id.0, number))?;
        self.log(&format!(
            "Issued {} to {}: {}.",
            invoice.name(),
            invoice.client,
            self.currency().text(invoice.total())
        ))?;
        Ok(invoice)
    }
}
