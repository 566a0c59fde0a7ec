//! Credit notes: what was issued wrong is taken back.

use std::collections::BTreeMap;

use super::{Allowance, Draft, InvoiceError, InvoiceKind, InvoiceLine};
use crate::money::{Decimal, Money};

/// Which part of an invoice a credit note takes back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Extent {
    /// All that is left of it.
    Whole,
    /// Lines of it, from 1 on, each in whole or by an amount before tax.
    Lines(Vec<(u32, Option<Money>)>),
    /// An amount before tax, shared over its lines by what is left of them.
    Amount(Money),
}

/// What an issued invoice asked for.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// Its lines.
    pub lines: &'a [InvoiceLine],
    /// What was taken off it.
    pub allowances: &'a [Allowance],
    /// What it came to.
    pub total: Money,
}

/// Drafts a credit note for an issued invoice: `credited` are the lines and the total of what was credited of it before.
///
/// A line or an amount is credited as it is named; what takes back all that is left takes the allowances back, too, and comes
/// to what is left. It comes to `told`, if that was named with tax.
///
/// # Errors
/// Refuses lines that it doesn't have, more than is left of them, and one of which nothing is left.
pub fn credit_note(
    invoice: Asked<'_>,
    credited: (&[InvoiceLine], Money),
    extent: &Extent,
    told: Option<Money>,
) -> Result<Draft, InvoiceError> {
    let left = invoice.total - credited.1;
    if left.is_zero() {
        return Err(InvoiceError::Credited);
    }
    let allowances = match extent {
        Extent::Whole => invoice.allowances.to_vec(),
        Extent::Lines(_) | Extent::Amount(_) => Vec::new(),
    };
    let before = |place: u32| -> Money {
        let of_it = credited.0.iter().filter(|line| line.credits == Some(place));
        of_it.map(|line| line.net).sum()
    };
    let numbered = || (1_u32..).zip(invoice.lines);
    let wanted: Vec<(u32, Money)> = match extent {
        Extent::Whole => numbered()
            .map(|(place, line)| (place, line.net - before(place)))
            .collect(),
        Extent::Amount(amount) => {
            let left = numbered().map(|(place, line)| match line.quote {
                Some(_) => (line.net - before(place)).max(Money::ZERO),
                None => Money::ZERO, // What was invoiced before.
            });
            let left: Vec<Money> = left.collect();
            let all = left.iter().copied().sum();
            if *amount > all {
                return Err(InvoiceError::BeyondLines(all));
            }
            let weights: Vec<Decimal> = left.iter().map(|left| left.minor().into()).collect();
            let parts = amount.spread(&weights).into_iter();
            numbered().map(|(place, _)| place).zip(parts).collect()
        }
        Extent::Lines(lines) => lines
            .iter()
            .map(|(place, amount)| {
                let of_it = numbered().find(|(known, _)| known == place);
                let (_, line) = of_it.ok_or(InvoiceError::NoLine(*place))?;
                let left = line.net - before(*place);
                match amount.unwrap_or(left) {
                    _ if line.quote.is_none() => Err(InvoiceError::TakesOff(*place)),
                    net if net > left => Err(InvoiceError::BeyondLine(*place, left)),
                    net => Ok((*place, net)),
                }
            })
            .collect::<Result<_, _>>()?,
    };
    let wanted: BTreeMap<u32, Money> = wanted
        .into_iter()
        .filter(|(_, net)| !net.is_zero())
        .collect();
    let lines: Vec<InvoiceLine> = numbered()
        .filter_map(|(place, line)| {
            let net = *wanted.get(&place)?;
            let credits = Some(place);
            Some(InvoiceLine {
                net,
                credits,
                ..line.clone()
            })
        })
        .collect();
    if lines.is_empty() {
        return Err(InvoiceError::Credited);
    }
    let is_rest = allowances.len() == invoice.allowances.len()
        && numbered().all(|(place, line)| {
            let left = line.net - before(place);
            wanted.get(&place).copied().unwrap_or_default() == left
        });
    let note = Draft::of(InvoiceKind::Credit, lines, allowances);
    let note = match told {
        _ if is_rest => note.rounded_to(left),
        Some(total) => note.coming_to(total),
        None => note,
    };
    match note.total() > left {
        true => Err(InvoiceError::BeyondInvoice(left)),
        false => Ok(note),
    }
}

/// Returns what of a credit note is off the price of its job, before tax: a part of the final invoice is, but for what was
/// invoiced beyond the price.
pub fn off_price(note: &Draft, of: InvoiceKind, is_whole: bool, beyond: Money) -> Money {
    match of {
        InvoiceKind::Final | InvoiceKind::Release if !is_whole => {
            (note.net() - beyond.max(Money::ZERO)).max(Money::ZERO)
        }
        _ => Money::ZERO,
    }
}
