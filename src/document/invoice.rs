//! Invoices and payments.

use std::fmt::{self, Write as _};

use chrono::NaiveDate;

use super::figures::{Amount, Quantity, SetPercent};
use super::letterhead::Firm;
use super::{Answer, List, Page, Table, count, inert, or_blank};
use crate::ledger::{Application, Credit, Invoice, Letterhead, Payment};
use crate::money::{Decimal, Money};
use crate::trade::Unit;
use crate::trade::invoice::{Allowance, InvoiceKind, InvoiceLine};
use crate::trade::tax::TaxAtRate;

answer! {
    /// Tax at one rate.
    pub(super) struct Tax from part: TaxAtRate on page {
        tax_percent: SetPercent = SetPercent(part.percent),
        net: Amount,
        tax: Amount,
        .. { percent }
    }
}

/// Writes tax by rate in one cell: `23.87 (6 %), 40.56 (8 %)`.
pub(super) fn taxes_text(taxes: &[Tax]) -> String {
    let parts = taxes
        .iter()
        .map(|part| format!("{} ({})", part.tax, part.tax_percent));
    parts.collect::<Vec<_>>().join(", ")
}

/// Writes tax by rate, a line for each rate, and what is rounded.
pub(super) fn tax_lines(taxes: &[Tax], rounding: Amount, table: &mut Table) {
    for part in taxes {
        let of = match taxes.len() {
            1 => String::new(),
            _ => format!(" on {}", part.net),
        };
        table.line([&format!("Tax {}{of}", part.tax_percent), &part.tax]);
    }
    if !rounding.money.is_zero() {
        table.line([&"Rounding", &rounding]);
    }
}

answer! {
    /// A line of an invoice.
    struct LineFacts from line: InvoiceLine on page {
        text: String = line.what,
        #[serde(flatten)]
        quantity: Quantity = page.measured(Decimal::ONE, Unit::Each),
        unit_price: Amount = page.amount(line.net),
        net: Amount,
        tax_percent: SetPercent,
        #[serde(skip)]
        credits: Option<u32>,
        .. { what, quote, room }
    }

    /// What is taken off an invoice.
    struct AllowanceFacts from off: Allowance on page {
        reason: String,
        amount: Amount,
        tax_percent: SetPercent,
        .. { quote }
    }

    /// An invoice in a list.
    pub(super) struct InvoiceFacts from invoice: Invoice on page {
        number: Option<String>,
        #[serde(skip)]
        name: String = invoice.name(),
        #[serde(skip)]
        again: String = invoice.drafted_by(page.currency),
        kind: InvoiceKind,
        status: &'static str = invoice.status(),
        job: String,
        client: String,
        client_address: String,
        client_tax_number: String,
        exemption: String,
        site: String,
        issued_on: Option<NaiveDate>,
        due_on: Option<NaiveDate>,
        net: Amount,
        tax_percent: Option<SetPercent> = match invoice.taxes[..] {
            [one] => Some(SetPercent(one.percent)),
            _ => None,
        },
        tax: Amount,
        taxes: Vec<Tax>,
        rounding: Amount,
        total: Amount = page.amount(invoice.total()),
        credits: Option<String> = invoice.credits.clone().map(|(_, number)| number),
        interest_on: Option<String> = invoice.late.clone().map(|(_, number, _)| number),
        reason: String,
        off_price: Amount,
        credited: Amount,
        paid: Amount,
        lost: Amount = page.amount(invoice.lost()),
        due: Amount = page.amount(invoice.due()),
        credit: Amount = page.amount(invoice.credit()),
        .. { written_off, tax_included, late, credits, id, job_id, letterhead, client_id, drafted_on, in_force, lines, allowances }
    }
}

/// Says why no tax is asked; nothing, if it is.
pub(super) fn no_tax(exemption: &str, tax: Amount) -> String {
    match tax.money.is_zero() && !exemption.is_empty() {
        true => format!("No tax: {exemption}"),
        false => String::new(),
    }
}

impl InvoiceFacts {
    /// Tells whether it asks for something: a draft doesn't yet, and a credit note never.
    fn asks(&self) -> bool {
        self.number.is_some() && self.credits.is_none()
    }

    /// Returns what is owed on it.
    pub(super) fn owed(&self) -> Amount {
        self.due
    }

    /// Says what is owed on it, and how late it is: `I3: Ada Pell owes 240.00 USD, 3 days late`.
    pub(super) fn to_issue(&self) -> String {
        let total = self.total.with_currency();
        format!(
            "{}: {} of {total} for {}: gritledger invoice issue {}",
            self.job, self.kind, self.client, self.job
        )
    }

    /// Says why a draft is to be drafted again, and how.
    pub(super) fn to_draft_again(&self, changes: &str) -> String {
        let (job, kind, again) = (&self.job, self.kind, &self.again);
        format!(
            "{job}: since the {kind} for {} was drafted, {changes}: gritledger invoice {again}",
            self.client
        )
    }

    /// Says what falls due: `I3: Ada Pell owes 300.00 USD by 2026-03-09`.
    pub(super) fn due_words(&self) -> String {
        let (due, by) = (self.due.with_currency(), or_blank(self.due_on));
        format!("{}: {} owes {due} by {by}", self.name, self.client)
    }

    pub(super) fn overdue(&self, today: NaiveDate) -> String {
        let late = self.due_on.map_or(0, |due| (today - due).num_days());
        let late = count(late, "day");
        let due = self.due.with_currency();
        format!("{}: {} owes {due}, {late} late", self.name, self.client)
    }
}

answer! {
    /// What of a payment is beyond its invoice.
    pub(super) struct CreditFacts of (credit: Credit) on page {
        client: String = credit.client,
        payment: String = credit.payment,
        invoice: String = credit.invoice,
        amount: Amount = page.amount(credit.amount),
    }
}

impl fmt::Display for CreditFacts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} of {} ({})", self.amount, self.client, self.payment)
    }
}

answer! {
    /// An invoice with its lines, and the credits that could be applied to it.
    pub struct InvoiceAnswer of (invoice: Invoice, credits: Vec<Credit>, firm: Letterhead) on page {
        #[serde(flatten)]
        invoice: InvoiceFacts = InvoiceFacts::new(invoice.clone(), page),
        credit_to_apply: Amount = page.amount(credits.iter().map(|credit| credit.amount).sum()),
        currency: &'static str = page.currency.code(),
        lines: Vec<LineFacts> = page.each(invoice.lines, LineFacts::new),
        allowances: Vec<AllowanceFacts> = page.each(invoice.allowances, AllowanceFacts::new),
        firm: Firm,
        #[serde(skip)]
        credits: Vec<CreditFacts>,
    }
}

impl InvoiceAnswer {
    /// Returns the number of an invoice to which credits could be applied.
    pub fn creditable(&self) -> Option<String> {
        let number = self.invoice.number.clone();
        number.filter(|_| !self.credits.is_empty())
    }

    /// Says where it stands: what is due and by when, or what it asks for.
    fn standing(&self) -> String {
        let InvoiceFacts {
            number,
            name,
            kind,
            job,
            total,
            due,
            credits,
            ..
        } = &self.invoice;
        let total = total.with_currency();
        match (number, credits) {
            (None, Some(of)) => format!("Draft of a credit note for {of}: {total}"),
            (None, None) => format!("Draft of the {kind} invoice for {job}: {total}"),
            (Some(_), Some(of)) => format!("{name}, credit note for {of}: {total}"),
            (Some(_), None) => {
                let by = self.invoice.due_on.map(|day| format!(", due {day}"));
                let due = match due.money.is_zero() {
                    true => self.invoice.status.to_owned(),
                    false => format!("{} is owed{}", due.with_currency(), by.unwrap_or_default()),
                };
                format!("{name} ({kind}): {due}")
            }
        }
    }

    /// Writes whose invoice it is, to whom and for what.
    fn head(&self) -> String {
        let InvoiceFacts {
            client,
            client_address,
            client_tax_number,
            exemption,
            site,
            issued_on,
            reason,
            ..
        } = &self.invoice;
        let mut text = format!("{}\n\n{}", self.standing(), self.firm.head());
        let _ = writeln!(text, "To {}, {}", inert(client), inert(site));
        if !client_address.is_empty() && client_address != site {
            let _ = writeln!(text, "{}", inert(client_address));
        }
        if !client_tax_number.is_empty() {
            let _ = writeln!(text, "Their tax number {}", inert(client_tax_number));
        }
        if let Some(issued) = issued_on {
            let _ = writeln!(text, "Issued {issued}");
        }
        for words in [&no_tax(exemption, self.invoice.tax), reason] {
            if !words.is_empty() {
                let _ = writeln!(text, "{}", inert(words));
            }
        }
        text
    }
}

impl Answer for InvoiceAnswer {
    fn text(&self, page: &Page) -> String {
        let invoice = &self.invoice;
        let mut table = page.table(["", self.currency]).numbers([1]);
        let is_mixed = invoice.taxes.len() > 1;
        for (place, line) in (1..).zip(&self.lines) {
            let aside = match is_mixed {
                true => format!(" (tax {})", line.tax_percent),
                false => String::new(),
            };
            let place = line.credits.unwrap_or(place);
            table.line([&format!("{place}. {}{aside}", line.text), &line.net]);
        }
        for off in &self.allowances {
            let aside = match is_mixed {
                true => format!(" (tax {})", off.tax_percent),
                false => String::new(),
            };
            let what = format!("Discount: {}{aside}", inert(&off.reason));
            table.line([&what, &format!("-{}", off.amount)]);
        }
        table.line([&"Net", &invoice.net]);
        tax_lines(&invoice.taxes, invoice.rounding, &mut table);
        table.line([&"Total", &invoice.total]);
        if invoice.number.is_some() && invoice.credits.is_none() {
            let always = [("Paid", invoice.paid), ("Due", invoice.due)];
            let unless_nothing = [
                ("Credited", invoice.credited),
                ("Written off", invoice.lost),
                ("Kept as credit", invoice.credit),
            ];
            let [credited, lost, kept] =
                unless_nothing.map(|part| Some(part).filter(|(_, amount)| !amount.money.is_zero()));
            let [paid, due] = always.map(Some);
            for (what, amount) in [credited, paid, lost, due, kept].into_iter().flatten() {
                table.line([&what, &amount]);
            }
        }
        for credit in &self.credits {
            let what = format!("Credit from {}, to be applied", credit.payment);
            table.line([&what, &credit.amount]);
        }
        let of_it = match (&invoice.credits, invoice.off_price) {
            (None, _) => String::new(),
            (Some(_), off) if off.money.is_zero() => String::new(),
            (Some(_), off) if off.money == invoice.net.money => {
                format!("\nIt is off the price of {}.", invoice.job)
            }
            (Some(_), off) => format!("\nOf it {off} are off the price of {}.", invoice.job),
        };
        let paying = match invoice.credits {
            Some(_) => String::new(),
            None => page.prose(&self.firm.paying()),
        };
        let paying = match paying.as_str() {
            "" => paying,
            words => format!("\n\n{words}"),
        };
        format!("{}\n{table}{of_it}{paying}", self.head())
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.lines)
    }
}

told_as_it_is!(InvoiceAnswer);

answer! {
    /// An invoice after a payment, and the others that it was for.
    pub struct PaidAnswer of (
        invoice: InvoiceAnswer, payment: String, amount: Money, others: Vec<(InvoiceAnswer, Money)>
    ) on page {
        #[serde(flatten)]
        invoice: InvoiceAnswer,
        payment: String,
        #[serde(skip)]
        amount: Amount,
        others: Vec<PaidPart> = page.each(others, PaidPart::new),
    }

    /// Another invoice that a payment was for, and what of it.
    struct PaidPart of (part: (InvoiceAnswer, Money)) on page {
        applied: Amount = page.amount(part.1),
        #[serde(flatten)]
        invoice: InvoiceAnswer = part.0,
    }
}

impl Answer for PaidAnswer {
    fn text(&self, _: &Page) -> String {
        let others = self.others.iter().map(|part| (&part.invoice, part.applied));
        let parts = std::iter::once((&self.invoice, self.amount)).chain(others);
        let lines = parts.map(|(InvoiceAnswer { invoice, .. }, amount)| {
            let InvoiceFacts { name, due, .. } = invoice;
            let kept = match invoice.credit {
                none if none.money.is_zero() => String::new(),
                credit => format!(", {credit} kept as credit"),
            };
            format!(
                "{}: {amount} paid on {name}; {due} is due{kept}.",
                self.payment
            )
        });
        lines.collect::<Vec<_>>().join("\n")
    }
}

answer! {
    /// What was applied of a payment.
    struct AppliedFacts from applied: Application on page {
        payment: String,
        /// None: it was paid back.
        invoice: Option<String>,
        date: NaiveDate = applied.happened_on,
        amount: Amount,
        .. { happened_on }
    }

    /// What was paid back of payments.
    pub struct RefundAnswer of (refunds: Vec<Application>, client: String) on page {
        currency: &'static str = page.currency.code(),
        client: String,
        refunds: Vec<AppliedFacts> = page.each(refunds.clone(), AppliedFacts::new),
        amount: Amount = page.amount(refunds.iter().map(|part| part.amount).sum()),
    }

    /// An invoice after credits were applied to it.
    pub struct AppliedAnswer of (invoice: InvoiceAnswer, applied: Vec<Application>) on page {
        #[serde(flatten)]
        invoice: InvoiceAnswer,
        applied: Vec<AppliedFacts>,
    }
}

impl AppliedFacts {
    /// Says what became of a part of a payment.
    fn words(&self) -> String {
        match &self.invoice {
            Some(invoice) => format!("{} to {invoice}", self.amount),
            None => format!("{} paid back", self.amount),
        }
    }
}

impl Answer for RefundAnswer {
    fn text(&self, _: &Page) -> String {
        let of: Vec<&str> = self.refunds.iter().map(|part| &*part.payment).collect();
        let amount = self.amount.with_currency();
        format!(
            "{amount} paid back to {}, of {}.",
            inert(&self.client),
            of.join(", ")
        )
    }
}

told_as_it_is!(RefundAnswer);

impl Answer for AppliedAnswer {
    fn text(&self, _: &Page) -> String {
        let parts = self.applied.iter();
        let parts = parts.map(|part| format!("{} of {}", part.amount, part.payment));
        let parts = parts.collect::<Vec<_>>().join(", ");
        let InvoiceFacts { name, due, .. } = &self.invoice.invoice;
        format!("{parts} applied to {name}; {due} is due.")
    }
}

answer! {
    /// The invoices, and what is owed: a draft asks for nothing yet.
    pub struct InvoiceList of (invoices: Vec<Invoice>) on page {
        currency: &'static str = page.currency.code(),
        invoices: Vec<InvoiceFacts>,
        due: Amount = page.amount(issued(&invoices).map(Invoice::due).sum()),
        credit: Amount = page.amount(invoices.iter().map(Invoice::credit).sum()),
        /// Of how many invoices something is owed, for people, and how many there are.
        #[serde(skip)]
        owing: usize = issued(&invoices).filter(|invoice| !invoice.due().is_zero()).count(),
        #[serde(skip)]
        all: usize = invoices.len(),
    }
}

fn issued(invoices: &[Invoice]) -> impl Iterator<Item = &Invoice> {
    invoices.iter().filter(|invoice| invoice.number.is_some())
}

listed! { InvoiceList, invoices, answer: made, by_day: true }

impl Answer for InvoiceList {
    fn text(&self, page: &Page) -> String {
        if self.invoices.is_empty() {
            return "No invoices yet.".to_owned();
        }
        let mut table = page
            .table([
                "Invoice", "Kind", "Job", "Client", "Due on", "Total", "Paid", "Due",
            ])
            .numbers([5, 6, 7])
            .goes([1, 6]);
        for invoice in &self.invoices {
            table.line([
                &invoice.number.as_deref().unwrap_or("draft"),
                &invoice.kind,
                &invoice.job,
                &invoice.client,
                &or_blank(invoice.due_on.filter(|_| invoice.credits.is_none())),
                &invoice.total,
                &or_blank(invoice.credits.is_none().then_some(invoice.paid)),
                &or_blank(invoice.asks().then_some(invoice.due)),
            ]);
        }
        let invoices = count(self.all, "invoice");
        let owed = match self.due.money.is_zero() {
            true => format!("Nothing is owed on {invoices}"),
            false => format!(
                "{} is owed on {} of {invoices}",
                self.due.with_currency(),
                self.owing
            ),
        };
        let kept = match self.credit.money.is_zero() {
            true => String::new(),
            false => format!("; {} is kept as credit", self.credit),
        };
        page.led(&format!("{owed}{kept}."), table)
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.invoices)
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

answer! {
    /// A payment, and what became of it.
    struct PaymentFacts from payment: Payment on page {
        number: String,
        invoice: String,
        client: String,
        date: NaiveDate = payment.happened_on,
        amount: Amount,
        voided: bool,
        note: String,
        applied: Vec<AppliedFacts> = page.each(parts_of(&payment, false), AppliedFacts::new),
        paid_back: Amount = page.amount(parts_of(&payment, true).iter().map(|part| part.amount).sum()),
        refunds: Vec<AppliedFacts> = page.each(parts_of(&payment, true), AppliedFacts::new),
        .. { happened_on, applied }
    }
}

/// Returns what of a payment was paid back, or applied to other invoices.
fn parts_of(payment: &Payment, is_back: bool) -> Vec<Application> {
    let parts = payment.applied.iter();
    let parts = parts.filter(|part| part.invoice.is_none() == is_back);
    parts.cloned().collect()
}

impl PaymentFacts {
    /// Says what became of a payment: that it was taken back, else what of it was applied to other invoices.
    fn words(&self) -> String {
        if self.voided {
            return "taken back".to_owned();
        }
        let parts = self.applied.iter().chain(&self.refunds);
        let applied = parts.map(AppliedFacts::words);
        applied.collect::<Vec<_>>().join(", ")
    }
}

answer! {
    /// The payments.
    pub struct PaymentList of (payments: Vec<Payment>) on page {
        currency: &'static str = page.currency.code(),
        payments: Vec<PaymentFacts>,
    }
}

listed! { PaymentList, payments, answer: by_rows, by_day: true }

impl PaymentList {
    /// Says what came in, and what of it went back.
    fn answer(&self, page: &Page) -> String {
        let came = self.payments.iter().filter(|payment| !payment.voided);
        let came = page.amount(came.map(|payment| payment.amount.money).sum());
        let back = self.payments.iter().map(|payment| payment.paid_back.money);
        let back = page.amount(back.sum());
        let back = match back.money.is_zero() {
            true => String::new(),
            false => format!(", {back} of it paid back"),
        };
        let payments = count(self.payments.len(), "payment");
        format!("{payments}: {} came in{back}.", came.with_currency())
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
        page.led(&self.answer(page), table)
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.payments)
    }
}
