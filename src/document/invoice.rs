//! Invoices and payments.

use std::fmt::{self, Write as _};

use chrono::NaiveDate;
use serde::Serialize;

use super::figures::{Amount, Quantity, SetPercent};
use super::{Answer, Page, count, inert, or_blank};
use crate::ledger::{Application, Credit, Invoice, Payment};
use crate::money::Decimal;
use crate::trade::Unit;
use crate::trade::invoice::{InvoiceKind, InvoiceLine, TaxAtRate};

/// Tax at one rate.
#[derive(Debug, Serialize)]
pub(super) struct Tax {
    tax_percent: SetPercent,
    net: Amount,
    tax: Amount,
}

impl Tax {
    /// Returns the taxes of an invoice, rate by rate.
    pub(super) fn all(taxes: &[TaxAtRate], page: &Page) -> Vec<Tax> {
        let each = taxes.iter().map(|&TaxAtRate { percent, net, tax }| Tax {
            tax_percent: SetPercent(percent),
            net: page.amount(net),
            tax: page.amount(tax),
        });
        each.collect()
    }
}

/// Writes tax by rate in one cell: `23.87 (6 %), 40.56 (8 %)`.
pub(super) fn taxes_text(taxes: &[Tax]) -> String {
    let parts = taxes
        .iter()
        .map(|part| format!("{} ({})", part.tax, part.tax_percent));
    parts.collect::<Vec<_>>().join(", ")
}

/// A line of an invoice.
#[derive(Debug, Serialize)]
struct LineFacts {
    text: String,
    #[serde(flatten)]
    quantity: Quantity,
    unit_price: Amount,
    net: Amount,
    tax_percent: SetPercent,
}

impl LineFacts {
    fn new(line: InvoiceLine, page: &Page) -> LineFacts {
        let InvoiceLine {
            what,
            quote: _,
            net,
            tax_percent,
        } = line;
        LineFacts {
            text: what,
            quantity: page.measured(Decimal::ONE, Unit::Each),
            unit_price: page.amount(net),
            net: page.amount(net),
            tax_percent: SetPercent(tax_percent),
        }
    }
}

/// An invoice in a list.
#[derive(Debug, Serialize)]
pub(super) struct InvoiceFacts {
    number: Option<String>,
    #[serde(skip)]
    name: String,
    kind: InvoiceKind,
    status: &'static str,
    job: String,
    client: String,
    client_address: String,
    site: String,
    issued_on: Option<NaiveDate>,
    due_on: Option<NaiveDate>,
    net: Amount,
    tax_percent: Option<SetPercent>,
    tax: Amount,
    taxes: Vec<Tax>,
    total: Amount,
    paid: Amount,
    due: Amount,
    credit: Amount,
}

impl InvoiceFacts {
    /// Returns what is told of an invoice.
    pub(super) fn new(invoice: Invoice, page: &Page) -> InvoiceFacts {
        let (name, status) = (invoice.name(), invoice.status());
        let total = page.amount(invoice.total());
        let (due, credit) = (page.amount(invoice.due()), page.amount(invoice.credit()));
        let Invoice {
            id: _,
            number,
            kind,
            job_id: _,
            job,
            client_id: _,
            client,
            client_address,
            site,
            drafted_on: _,
            issued_on,
            due_on,
            in_force: _,
            net,
            tax,
            taxes,
            paid,
            lines: _,
        } = invoice;
        InvoiceFacts {
            number,
            name,
            kind,
            status,
            job,
            client,
            client_address,
            site,
            issued_on,
            due_on,
            net: page.amount(net),
            tax_percent: match taxes[..] {
                [one] => Some(SetPercent(one.percent)),
                _ => None,
            },
            tax: page.amount(tax),
            taxes: Tax::all(&taxes, page),
            total,
            paid: page.amount(paid),
            due,
            credit,
        }
    }

    /// Says what is owed on it, and how late it is: `I3: Ada Pell owes 240.00 USD, 3 days late`.
    pub(super) fn overdue(&self, today: NaiveDate) -> String {
        let late = self.due_on.map_or(0, |due| (today - due).num_days());
        let late = count(usize::try_from(late).unwrap_or_default(), "day");
        let due = self.due.with_currency();
        format!("{}: {} owes {due}, {late} late", self.name, self.client)
    }
}

/// What of a payment is beyond its invoice.
#[derive(Debug, Serialize)]
pub(super) struct CreditFacts {
    client: String,
    payment: String,
    invoice: String,
    amount: Amount,
}

impl CreditFacts {
    /// Returns what is told of a credit.
    pub(super) fn new(credit: Credit, page: &Page) -> CreditFacts {
        CreditFacts {
            client: credit.client,
            payment: credit.payment,
            invoice: credit.invoice,
            amount: page.amount(credit.amount),
        }
    }
}

impl fmt::Display for CreditFacts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} of {} ({})", self.amount, self.client, self.payment)
    }
}

/// An invoice with its lines, and the credits that could be applied to it.
#[derive(Debug, Serialize)]
pub struct InvoiceAnswer {
    #[serde(flatten)]
    invoice: InvoiceFacts,
    credit_to_apply: Amount,
    currency: &'static str,
    lines: Vec<LineFacts>,
    #[serde(skip)]
    business: String,
    #[serde(skip)]
    credits: Vec<CreditFacts>,
}

impl InvoiceAnswer {
    /// Returns the answer about an invoice of a business.
    pub fn new(
        mut invoice: Invoice,
        credits: Vec<Credit>,
        business: String,
        page: &Page,
    ) -> InvoiceAnswer {
        let lines = page.each(std::mem::take(&mut invoice.lines), LineFacts::new);
        let to_apply = credits.iter().map(|credit| credit.amount).sum();
        InvoiceAnswer {
            invoice: InvoiceFacts::new(invoice, page),
            credit_to_apply: page.amount(to_apply),
            currency: page.currency.code(),
            lines,
            business,
            credits: page.each(credits, CreditFacts::new),
        }
    }

    /// Returns the number of an invoice to which credits could be applied.
    pub fn creditable(&self) -> Option<String> {
        let number = self.invoice.number.clone();
        number.filter(|_| !self.credits.is_empty())
    }

    /// Writes whose invoice it is, to whom and for what.
    fn head(&self) -> String {
        let InvoiceFacts {
            number, kind, job, ..
        } = &self.invoice;
        let mut text = format!("{}\n", inert(&self.business));
        let _ = match number {
            Some(number) => write!(text, "Invoice {number} ({kind})"),
            None => write!(text, "Draft of the {kind} invoice for {job}"),
        };
        let InvoiceFacts {
            client,
            client_address,
            site,
            ..
        } = &self.invoice;
        let _ = writeln!(text, " to {}, {}", inert(client), inert(site));
        if !client_address.is_empty() {
            let _ = writeln!(text, "{}", inert(client_address));
        }
        if let (Some(issued), Some(due)) = (self.invoice.issued_on, self.invoice.due_on) {
            let _ = writeln!(text, "Issued {issued}, due {due}");
        }
        text
    }
}

impl Answer for InvoiceAnswer {
    fn text(&self, page: &Page) -> String {
        let invoice = &self.invoice;
        let mut table = page.table(["", self.currency]).numbers([1]);
        let is_mixed = invoice.taxes.len() > 1;
        for line in &self.lines {
            let aside = match is_mixed {
                true => format!(" (tax {})", line.tax_percent),
                false => String::new(),
            };
            table.line([&format!("{}{aside}", line.text), &line.net]);
        }
        table.line([&"Net", &invoice.net]);
        for part in &invoice.taxes {
            let of = match is_mixed {
                true => format!(" on {}", part.net),
                false => String::new(),
            };
            table.line([&format!("Tax {}{of}", part.tax_percent), &part.tax]);
        }
        table.line([&"Total", &invoice.total]);
        if invoice.number.is_some() {
            table.line([&"Paid", &invoice.paid]);
            table.line([&"Due", &invoice.due]);
            if !invoice.credit.money.is_zero() {
                table.line([&"Kept as credit", &invoice.credit]);
            }
        }
        for credit in &self.credits {
            let what = format!("Credit from {}, to be applied", credit.payment);
            table.line([&what, &credit.amount]);
        }
        format!("{}\n{table}", self.head())
    }
}

/// An invoice after a payment.
#[derive(Debug, Serialize)]
pub struct PaidAnswer {
    #[serde(flatten)]
    invoice: InvoiceAnswer,
    payment: String,
    #[serde(skip)]
    amount: Amount,
}

impl PaidAnswer {
    /// Returns the answer about an invoice on which this payment was noted.
    pub fn new(invoice: InvoiceAnswer, payment: String, amount: Amount) -> PaidAnswer {
        PaidAnswer {
            invoice,
            payment,
            amount,
        }
    }
}

impl Answer for PaidAnswer {
    fn text(&self, _: &Page) -> String {
        let PaidAnswer {
            invoice: InvoiceAnswer { invoice, .. },
            payment,
            amount,
        } = self;
        let InvoiceFacts { name, due, .. } = invoice;
        let kept = match invoice.credit {
            none if none.money.is_zero() => String::new(),
            credit => format!(", {credit} kept as credit"),
        };
        format!("{payment}: {amount} paid on {name}; {due} is due{kept}.")
    }
}

/// What was applied of a payment.
#[derive(Debug, Serialize)]
struct AppliedFacts {
    payment: String,
    invoice: String,
    date: NaiveDate,
    amount: Amount,
}

impl AppliedFacts {
    fn new(applied: Application, page: &Page) -> AppliedFacts {
        let Application {
            payment,
            invoice,
            amount,
            happened_on,
        } = applied;
        AppliedFacts {
            payment,
            invoice,
            date: happened_on,
            amount: page.amount(amount),
        }
    }
}

/// An invoice after credits were applied to it.
#[derive(Debug, Serialize)]
pub struct AppliedAnswer {
    #[serde(flatten)]
    invoice: InvoiceAnswer,
    applied: Vec<AppliedFacts>,
}

impl AppliedAnswer {
    /// Returns the answer about an invoice to which this was applied.
    pub fn new(invoice: InvoiceAnswer, applied: Vec<Application>, page: &Page) -> AppliedAnswer {
        AppliedAnswer {
            invoice,
            applied: page.each(applied, AppliedFacts::new),
        }
    }
}

impl Answer for AppliedAnswer {
    fn text(&self, _: &Page) -> String {
        let parts = self.applied.iter();
        let parts = parts.map(|part| format!("{} of {}", part.amount, part.payment));
        let parts = parts.collect::<Vec<_>>().join(", ");
        let InvoiceFacts { name, due, .. } = &self.invoice.invoice;
        format!("{parts} applied to {name}; {due} is due.")
    }
}

/// The invoices, and what is owed: a draft asks for nothing yet.
#[derive(Debug, Serialize)]
pub struct InvoiceList {
    currency: &'static str,
    invoices: Vec<InvoiceFacts>,
    due: Amount,
    credit: Amount,
}

impl InvoiceList {
    /// Returns the answer about these invoices.
    pub fn new(invoices: Vec<Invoice>, page: &Page) -> InvoiceList {
        let issued = invoices.iter().filter(|invoice| invoice.number.is_some());
        let due = issued.map(Invoice::due).sum();
        let credit = invoices.iter().map(Invoice::credit).sum();
        InvoiceList {
            currency: page.currency.code(),
            invoices: page.each(invoices, InvoiceFacts::new),
            due: page.amount(due),
            credit: page.amount(credit),
        }
    }
}

impl Answer for InvoiceList {
    fn text(&self, page: &Page) -> String {
        if self.invoices.is_empty() {
            return "No invoices yet.".to_owned();
        }
        let mut table = page
            .table([
                "Invoice", "Kind", "Job", "Client", "Due on", "Total", "Paid", "Due",
            ])
            .numbers([5, 6, 7]);
        for invoice in &self.invoices {
            table.line([
                &invoice.number.as_deref().unwrap_or("draft"),
                &invoice.kind,
                &invoice.job,
                &invoice.client,
                &or_blank(invoice.due_on),
                &invoice.total,
                &invoice.paid,
                &or_blank(invoice.number.as_ref().map(|_| invoice.due)),
            ]);
        }
        let balance = balance_text(self.due, self.credit);
        format!("{table}\n\nOwed in all: {balance}")
    }
}

/// Says what is owed, and what is kept as credit: `100.00 USD; kept as credit: 20.00`.
pub(super) fn balance_text(owed: Amount, kept: Amount) -> String {
    let owed = owed.with_currency();
    match kept.money.is_zero() {
        true => owed,
        false => format!("{owed}; kept as credit: {kept}"),
    }
}

/// A payment, and what became of it.
#[derive(Debug, Serialize)]
struct PaymentFacts {
    number: String,
    invoice: String,
    client: String,
    date: NaiveDate,
    amount: Amount,
    voided: bool,
    note: String,
    applied: Vec<AppliedFacts>,
}

impl PaymentFacts {
    fn new(payment: Payment, page: &Page) -> PaymentFacts {
        let Payment {
            number,
            invoice,
            client,
            amount,
            happened_on,
            voided,
            note,
            applied,
        } = payment;
        PaymentFacts {
            number,
            invoice,
            client,
            date: happened_on,
            amount: page.amount(amount),
            voided,
            note,
            applied: page.each(applied, AppliedFacts::new),
        }
    }

    /// Says what became of a payment: that it was taken back, else what of it was applied to other invoices.
    fn words(&self) -> String {
        if self.voided {
            return "taken back".to_owned();
        }
        let applied = self.applied.iter();
        let applied = applied.map(|part| format!("{} to {}", part.amount, part.invoice));
        applied.collect::<Vec<_>>().join(", ")
    }
}

/// The payments.
#[derive(Debug, Serialize)]
pub struct PaymentList {
    currency: &'static str,
    payments: Vec<PaymentFacts>,
}

impl PaymentList {
    /// Returns the answer about these payments.
    pub fn new(payments: Vec<Payment>, page: &Page) -> PaymentList {
        PaymentList {
            currency: page.currency.code(),
            payments: page.each(payments, PaymentFacts::new),
        }
    }
}

impl Answer for PaymentList {
    fn text(&self, page: &Page) -> String {
        if self.payments.is_empty() {
            return "No payments yet.".to_owned();
        }
        let mut table = page
            .table(["Payment", "Date", "Invoice", "Client", "Amount", ""])
            .numbers([4]);
        for payment in &self.payments {
            table.line([
                &payment.number,
                &payment.date,
                &payment.invoice,
                &payment.client,
                &payment.amount,
                &payment.words(),
            ]);
        }
        table.to_string()
    }
}
