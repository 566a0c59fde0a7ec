//! Invoices: what is asked for, and what is owed.
//!
//! The deposit is a share of the price; the final invoice is price and variations less what was invoiced before, line by
//! line as the client knows them: rooms, variations, then each earlier invoice taken off. Tax follows the same way:
//! the final invoice carries the tax on everything less the tax already asked for, so rounding never drifts.

use chrono::{Days, NaiveDate};
use thiserror::Error;

use crate::money::{Decimal, Money};
use crate::trade::closed_set;

closed_set! {
    /// What an invoice asks for.
    InvoiceKind, "kind of invoice" {
        /// A share of the price before the work.
        Deposit = "deposit",
        /// A part of the price on the way.
        Progress = "progress",
        /// What is left of the price.
        Final = "final",
        /// Money given back.
        Credit = "credit",
    }
}

/// One line of an invoice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InvoiceLine {
    /// What it is for, in the client's words.
    pub what: String,
    /// The amount before tax; below zero for what was invoiced before.
    pub net: Money,
}

/// An invoice to be kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Draft {
    /// What it asks for.
    pub kind: InvoiceKind,
    /// Its lines.
    pub lines: Vec<InvoiceLine>,
    /// Tax, percent.
    pub tax_percent: Decimal,
    /// Tax.
    pub tax: Money,
}

impl Draft {
    /// Returns the sum of the lines.
    pub fn net(&self) -> Money {
        self.lines.iter().map(|line| line.net).sum()
    }
}

/// An earlier invoice of the same job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Earlier {
    /// Its number, as shown.
    pub number: String,
    /// What it asked for.
    pub kind: InvoiceKind,
    /// Its amount before tax.
    pub net: Money,
    /// Its tax.
    pub tax: Money,
}

/// Why an invoice can't be drafted.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum InvoiceError {
    /// Nothing to ask for.
    #[error("nothing is left to invoice")]
    NothingLeft,
    /// A deposit beyond the price.
    #[error("the deposit is larger than the price")]
    LargerThanPrice,
}

/// Drafts a deposit of that amount before tax.
///
/// # Errors
/// Refuses nothing and more than the price.
pub fn deposit(
    amount: Money,
    price: Money,
    tax_percent: Decimal,
    what: String,
) -> Result<Draft, InvoiceError> {
    if amount <= Money::ZERO {
        return Err(InvoiceError::NothingLeft);
    }
    if amount > price {
        return Err(InvoiceError::LargerThanPrice);
    }
    let tax = amount.share(tax_percent, Decimal::ONE_HUNDRED);
    Ok(Draft {
        kind: InvoiceKind::Deposit,
        lines: vec![InvoiceLine { what, net: amount }],
        tax_percent,
        tax,
    })
}

/// Drafts the final invoice: the job's lines less what was invoiced before.
///
/// # Errors
/// Refuses when nothing is left.
pub fn final_invoice(
    mut lines: Vec<InvoiceLine>,
    earlier: &[Earlier],
    tax_percent: Decimal,
) -> Result<Draft, InvoiceError> {
    let whole: Money = lines.iter().map(|line| line.net).sum();
    lines.extend(earlier.iter().map(|invoice| InvoiceLine {
        what: format!("Less {} {}", invoice.kind, invoice.number),
        net: -invoice.net,
    }));
    let left: Money = lines.iter().map(|line| line.net).sum();
    if left <= Money::ZERO {
        return Err(InvoiceError::NothingLeft);
    }
    let asked: Money = earlier.iter().map(|invoice| invoice.tax).sum();
    let tax = whole.share(tax_percent, Decimal::ONE_HUNDRED) - asked;
    Ok(Draft {
        kind: InvoiceKind::Final,
        lines,
        tax_percent,
        tax,
    })
}

/// Returns the date an invoice falls due.
pub fn due_on(issued_on: NaiveDate, terms_days: u32) -> NaiveDate {
    issued_on + Days::new(u64::from(terms_days))
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;

    fn line(cents: i64) -> InvoiceLine {
        InvoiceLine {
            what: "Landing".into(),
            net: Money::from_minor(cents),
        }
    }

    #[test]
    fn deposit_and_final_ask_for_the_whole_price_and_its_tax() {
        for (price, deposit_cents, tax_percent) in [
            (10_001, 3_334, dec!(8.25)),
            (99_999, 1, dec!(7.125)),
            (5_000, 5_000, dec!(0)),
        ] {
            let first = deposit(
                Money::from_minor(deposit_cents),
                Money::from_minor(price),
                tax_percent,
                "Deposit".into(),
            )
            .unwrap();
            let earlier = [Earlier {
                number: "I1".into(),
                kind: InvoiceKind::Deposit,
                net: first.net(),
                tax: first.tax,
            }];
            let last = final_invoice(vec![line(price)], &earlier, tax_percent);
            if price == deposit_cents {
                assert_eq!(last, Err(InvoiceError::NothingLeft));
                continue;
            }
            let last = last.unwrap();
            assert_eq!(first.net() + last.net(), Money::from_minor(price));
            assert_eq!(
                first.tax + last.tax,
                Money::from_minor(price).share(tax_percent, dec!(100)),
                "{price}"
            );
        }
    }

    #[test]
    fn a_deposit_is_more_than_nothing_and_no_more_than_the_price() {
        let ask = |cents| {
            deposit(
                Money::from_minor(cents),
                Money::from_minor(100),
                dec!(0),
                "Deposit".into(),
            )
            .err()
        };
        assert_eq!(ask(0), Some(InvoiceError::NothingLeft));
        assert_eq!(ask(101), Some(InvoiceError::LargerThanPrice));
        assert_eq!(ask(100), None);
    }
}
