//! Invoices and payments, as text and JSON.

use std::fmt::Write as _;

use serde::Serialize;
use serde_json::{Value, json};

use super::figures::{Amount, SetPercent};
use super::{Page, inert, rate_json, rate_text};
use crate::ledger::{Application, Credit, Invoice, Payment};
use crate::money::Money;
use crate::trade::invoice::TaxAtRate;

/// Renders an invoice as JSON, with the credits that could be applied to it.
pub fn json(invoice: &Invoice, credits: &[Credit], page: &Page) -> Value {
    let mut value = summary_json(invoice, page);
    value["credit_to_apply"] = page.money_json(credits.iter().map(|credit| credit.amount).sum());
    value["currency"] = json!(page.currency.code());
    value["lines"] = Value::Array(
        invoice
            .lines
            .iter()
            .map(|line| {
                json!({
                    "text": line.what,
                    "quantity": "1",
                    "unit": "each",
                    "unit_price": page.money_json(line.net),
                    "net": page.money_json(line.net),
                    "tax_percent": rate_json(line.tax_percent),
                })
            })
            .collect(),
    );
    value
}

/// Renders a credit as JSON.
pub fn credit_json(credit: &Credit, page: &Page) -> Value {
    json!({
        "client": credit.client,
        "payment": credit.payment,
        "invoice": credit.invoice,
        "amount": page.money_json(credit.amount),
    })
}

/// Renders what was applied of payments as JSON.
pub fn applied_json(applied: &[Application], page: &Page) -> Value {
    let applied = applied.iter().map(|part| {
        json!({
            "payment": part.payment,
            "invoice": part.invoice,
            "date": part.happened_on,
            "amount": page.money_json(part.amount),
        })
    });
    Value::Array(applied.collect())
}

/// Says what was applied to an invoice, and what is due: `20.00 of P1 applied to I2; 80.00 is due.`
pub fn applying_text(invoice: &Invoice, applied: &[Application], page: &Page) -> String {
    let parts = applied
        .iter()
        .map(|part| format!("{} of {}", page.money(part.amount), part.payment));
    format!(
        "{} applied to {}; {} is due.",
        parts.collect::<Vec<_>>().join(", "),
        invoice.name(),
        page.money(invoice.due())
    )
}

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

fn summary_json(invoice: &Invoice, page: &Page) -> Value {
    json!({
        "number": invoice.number,
        "kind": invoice.kind.as_str(),
        "status": invoice.status(),
        "job": invoice.job,
        "client": invoice.client,
        "client_address": invoice.client_address,
        "site": invoice.site,
        "issued_on": invoice.issued_on,
        "due_on": invoice.due_on,
        "net": page.money_json(invoice.net),
        "tax_percent": match invoice.taxes[..] {
            [one] => rate_json(one.percent),
            _ => Value::Null,
        },
        "tax": page.money_json(invoice.tax),
        "taxes": Tax::all(&invoice.taxes, page),
        "total": page.money_json(invoice.total()),
        "paid": page.money_json(invoice.paid),
        "due": page.money_json(invoice.due()),
        "credit": page.money_json(invoice.credit()),
    })
}

/// Renders an invoice as text, with the credits that could be applied to it.
pub fn text(invoice: &Invoice, credits: &[Credit], business: &str, page: &Page) -> String {
    let mut text = format!("{}\n", inert(business));
    let title = match &invoice.number {
        Some(number) => format!("Invoice {number} ({})", invoice.kind),
        None => format!("Draft of the {} invoice for {}", invoice.kind, invoice.job),
    };
    let _ = writeln!(
        text,
        "{title} to {}, {}",
        inert(&invoice.client),
        inert(&invoice.site)
    );
    if !invoice.client_address.is_empty() {
        let _ = writeln!(text, "{}", inert(&invoice.client_address));
    }
    if let (Some(issued), Some(due)) = (invoice.issued_on, invoice.due_on) {
        let _ = writeln!(text, "Issued {issued}, due {due}");
    }
    let mut table = page.table(["", page.currency.code()]).numbers([1]);
    let is_mixed = invoice.taxes.len() > 1;
    for line in &invoice.lines {
        let what = match is_mixed {
            true => format!("{} (tax {})", line.what, rate_text(line.tax_percent)),
            false => line.what.clone(),
        };
        table.row([what, page.money(line.net)]);
    }
    table.row(["Net".to_owned(), page.money(invoice.net)]);
    for part in &invoice.taxes {
        let mut what = format!("Tax {}", rate_text(part.percent));
        if is_mixed {
            let _ = write!(what, " on {}", page.money(part.net));
        }
        table.row([what, page.money(part.tax)]);
    }
    table.row(["Total".to_owned(), page.money(invoice.total())]);
    if invoice.number.is_some() {
        table.row(["Paid".to_owned(), page.money(invoice.paid)]);
        table.row(["Due".to_owned(), page.money(invoice.due())]);
        if invoice.credit() > Money::ZERO {
            table.row(["Kept as credit".to_owned(), page.money(invoice.credit())]);
        }
    }
    for credit in credits {
        let what = format!("Credit from {}, to be applied", credit.payment);
        table.row([what, page.money(credit.amount)]);
    }
    let _ = write!(text, "\n{table}");
    text
}

/// Says what was paid beyond the total, if anything: `, 20.00 kept as credit`.
pub fn credit_text(invoice: &Invoice, page: &Page) -> String {
    match invoice.credit() {
        none if none.is_zero() => String::new(),
        credit => format!(", {} kept as credit", page.money(credit)),
    }
}

/// Renders the list of invoices as JSON.
pub fn list_json(invoices: &[Invoice], page: &Page) -> Value {
    json!({
        "currency": page.currency.code(),
        "invoices": invoices.iter().map(|invoice| summary_json(invoice, page)).collect::<Vec<_>>(),
        "due": page.money_json(owed(invoices)),
        "credit": page.money_json(kept(invoices)),
    })
}

/// Renders the list of invoices as text.
pub fn list_text(invoices: &[Invoice], page: &Page) -> String {
    if invoices.is_empty() {
        return "No invoices yet.".to_owned();
    }
    let mut table = page
        .table([
            "Invoice", "Kind", "Job", "Client", "Due on", "Total", "Paid", "Due",
        ])
        .numbers([5, 6, 7]);
    for invoice in invoices {
        table.row([
            invoice.number.clone().unwrap_or_else(|| "draft".to_owned()),
            invoice.kind.as_str().to_owned(),
            invoice.job.clone(),
            invoice.client.clone(),
            invoice
                .due_on
                .map(|due| due.to_string())
                .unwrap_or_default(),
            page.money(invoice.total()),
            page.money(invoice.paid),
            if invoice.number.is_some() {
                page.money(invoice.due())
            } else {
                String::new()
            },
        ]);
    }
    format!(
        "{table}\n\nOwed in all: {}",
        balance_text(page.amount(owed(invoices)), page.amount(kept(invoices)))
    )
}

/// Says what is owed, and what is kept as credit: `100.00 USD; kept as credit: 20.00`.
pub(super) fn balance_text(owed: Amount, kept: Amount) -> String {
    let owed = owed.with_currency();
    match kept.money.is_zero() {
        true => owed,
        false => format!("{owed}; kept as credit: {kept}"),
    }
}

/// Sums what was paid beyond invoices, and not applied to others.
fn kept(invoices: &[Invoice]) -> Money {
    invoices.iter().map(Invoice::credit).sum()
}

/// Sums what issued invoices still ask for; a draft asks for nothing yet.
fn owed(invoices: &[Invoice]) -> Money {
    invoices
        .iter()
        .filter(|invoice| invoice.number.is_some())
        .map(Invoice::due)
        .sum()
}

/// Renders the payments as JSON.
pub fn payments_json(payments: &[Payment], page: &Page) -> Value {
    json!({
        "currency": page.currency.code(),
        "payments": payments.iter().map(|payment| json!({
            "number": payment.number,
            "invoice": payment.invoice,
            "client": payment.client,
            "date": payment.happened_on,
            "amount": page.money_json(payment.amount),
            "voided": payment.voided,
            "note": payment.note,
            "applied": applied_json(&payment.applied, page),
        })).collect::<Vec<_>>(),
    })
}

/// Renders the payments as text.
pub fn payments_text(payments: &[Payment], page: &Page) -> String {
    if payments.is_empty() {
        return "No payments yet.".to_owned();
    }
    let mut table = page
        .table(["Payment", "Date", "Invoice", "Client", "Amount", ""])
        .numbers([4]);
    for payment in payments {
        table.row([
            payment.number.clone(),
            payment.happened_on.to_string(),
            payment.invoice.clone(),
            payment.client.clone(),
            page.money(payment.amount),
            payment_words(payment, page),
        ]);
    }
    table.to_string()
}

/// Says what became of a payment: that it was taken back, else what of it was applied to other invoices.
fn payment_words(payment: &Payment, page: &Page) -> String {
    if payment.voided {
        return "taken back".to_owned();
    }
    let applied = payment
        .applied
        .iter()
        .map(|part| format!("{} to {}", page.money(part.amount), part.invoice));
    applied.collect::<Vec<_>>().join(", ")
}
