//! Invoices: what is asked for, and what is owed.
//!
//! The deposit is a share of the price; the final invoice is price and variations less what was invoiced before, line by
//! line as the client knows them: rooms, variations, then each earlier invoice taken off.
//!
//! Each part is taxed at the rate of the quote that it was agreed with, and an invoice has its tax by rate. At each rate
//! the final invoice carries the tax on everything less the tax already asked for, so rounding never drifts.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};
use thiserror::Error;

use crate::money::{Decimal, Money};
use crate::trade::{QuoteId, closed_set};

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
    /// The quote that it was agreed with; `None`: what was invoiced before.
    pub quote: Option<QuoteId>,
    /// The amount before tax; below zero for what was invoiced before.
    pub net: Money,
    /// Tax on it, percent.
    pub tax_percent: Decimal,
}

/// What an invoice asks for at one rate of tax.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TaxAtRate {
    /// The rate, percent.
    pub percent: Decimal,
    /// The amount before tax.
    pub net: Money,
    /// The tax on it.
    pub tax: Money,
}

/// An invoice to be kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Draft {
    /// What it asks for.
    pub kind: InvoiceKind,
    /// Its lines.
    pub lines: Vec<InvoiceLine>,
    /// Its tax, the lowest rate first.
    pub taxes: Vec<TaxAtRate>,
}

impl Draft {
    /// Returns the sum of the lines.
    pub fn net(&self) -> Money {
        self.lines.iter().map(|line| line.net).sum()
    }

    /// Returns the tax at all rates.
    pub fn tax(&self) -> Money {
        self.taxes.iter().map(|part| part.tax).sum()
    }
}

/// An earlier invoice of the same job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Earlier {
    /// Its number, as shown.
    pub number: String,
    /// What it asked for.
    pub kind: InvoiceKind,
    /// What it asked for at each rate of tax.
    pub taxes: Vec<TaxAtRate>,
}

/// Why an invoice can't be drafted.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum InvoiceError {
    /// Nothing to ask for.
    #[error("nothing is left to invoice")]
    NothingLeft,
    /// More was invoiced than the job comes to.
    #[error("more was invoiced than there is to invoice")]
    OwedBack(Money),
    /// A deposit beyond the price.
    #[error("the deposit is larger than the price")]
    LargerThanPrice,
}

/// Drafts a deposit on the price that a line names; the line's own amount is what is asked for.
///
/// # Errors
/// Refuses nothing and more than the price.
pub fn deposit(line: InvoiceLine, price: Money) -> Result<Draft, InvoiceError> {
    if line.net <= Money::ZERO {
        return Err(InvoiceError::NothingLeft);
    }
    if line.net > price {
        return Err(InvoiceError::LargerThanPrice);
    }
    let lines = vec![line];
    Ok(Draft {
        kind: InvoiceKind::Deposit,
        taxes: taxes_on(&lines),
        lines,
    })
}

/// Drafts the final invoice: the job's lines less what was invoiced before, rate by rate.
///
/// # Errors
/// Refuses when nothing is left, and when more was asked for than there is.
pub fn final_invoice(
    mut lines: Vec<InvoiceLine>,
    earlier: &[Earlier],
) -> Result<Draft, InvoiceError> {
    let mut taxes = taxes_on(&lines);
    for invoice in earlier {
        for asked in &invoice.taxes {
            lines.push(InvoiceLine {
                what: format!("Less {} {}", invoice.kind, invoice.number),
                quote: None,
                net: -asked.net,
                tax_percent: asked.percent,
            });
            match taxes.iter_mut().find(|part| part.percent == asked.percent) {
                Some(part) => {
                    part.net -= asked.net;
                    part.tax -= asked.tax;
                }
                None => taxes.push(TaxAtRate {
                    percent: asked.percent,
                    net: -asked.net,
                    tax: -asked.tax,
                }),
            }
        }
    }
    taxes.sort_by_key(|part| part.percent);
    let draft = Draft {
        kind: InvoiceKind::Final,
        lines,
        taxes,
    };
    match draft.net() {
        net if net.is_negative() => Err(InvoiceError::OwedBack(-net - draft.tax())),
        net if net.is_zero() => Err(InvoiceError::NothingLeft),
        _ => Ok(draft),
    }
}

/// Returns the tax on lines: at each rate on the sum of its lines, the lowest rate first.
fn taxes_on(lines: &[InvoiceLine]) -> Vec<TaxAtRate> {
    let mut nets: BTreeMap<Decimal, Money> = BTreeMap::new();
    for line in lines {
        *nets.entry(line.tax_percent).or_insert(Money::ZERO) += line.net;
    }
    let taxes = nets.into_iter().map(|(percent, net)| TaxAtRate {
        percent,
        net,
        tax: net.share(percent, Decimal::ONE_HUNDRED),
    });
    taxes.collect()
}

/// Returns the date an invoice falls due.
pub fn due_on(issued_on: NaiveDate, terms_days: u32) -> NaiveDate {
    issued_on + Days::new(u64::from(terms_days))
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;

    fn line(cents: i64, tax_percent: Decimal) -> InvoiceLine {
        InvoiceLine {
            what: "Landing".into(),
            quote: None,
            net: Money::from_minor(cents),
            tax_percent,
        }
    }

    fn taxes(draft: &Draft) -> Vec<(Decimal, i64, i64)> {
        let parts = draft.taxes.iter();
        parts
            .map(|part| (part.percent, part.net.minor(), part.tax.minor()))
            .collect()
    }

    #[test]
    fn each_part_is_taxed_at_its_own_rate_and_a_deposit_comes_off_at_its_own() {
        // A quote of 397.90 agreed at 6 % and a variation of 507.00 agreed at 8 %:
        // 397.90 × 6 % = 23.874, and 507.00 × 8 % = 40.56; 904.90 + 23.87 + 40.56 = 969.33.
        // All of it at the first quote's rate would be 904.90 + 54.29 = 959.19.
        let agreed = || vec![line(39_790, dec!(6)), line(50_700, dec!(8))];
        let whole = final_invoice(agreed(), &[]).unwrap();
        assert_eq!(
            taxes(&whole),
            [(dec!(6), 39_790, 2_387), (dec!(8), 50_700, 4_056)]
        );
        assert_eq!((whole.net() + whole.tax()).minor(), 96_933);

        // A deposit of 100.00 was asked for with 6.00 of tax: 297.90 and 17.87 are left at 6 %, and 8 % is as it was.
        let first = deposit(line(10_000, dec!(6)), Money::from_minor(39_790)).unwrap();
        assert_eq!(taxes(&first), [(dec!(6), 10_000, 600)]);
        let earlier = [Earlier {
            number: "I1".into(),
            kind: InvoiceKind::Deposit,
            taxes: first.taxes,
        }];
        let rest = final_invoice(agreed(), &earlier).unwrap();
        assert_eq!(
            taxes(&rest),
            [(dec!(6), 29_790, 1_787), (dec!(8), 50_700, 4_056)]
        );
        let last = rest.lines.last().unwrap();
        assert_eq!(
            (last.what.as_str(), last.net.minor(), last.tax_percent),
            ("Less deposit I1", -10_000, dec!(6))
        );

        // What was invoiced at a rate that nothing is agreed at any more is given back at that rate.
        let rest = final_invoice(vec![line(50_700, dec!(8))], &earlier).unwrap();
        assert_eq!(
            taxes(&rest),
            [(dec!(6), -10_000, -600), (dec!(8), 50_700, 4_056)]
        );
    }

    #[test]
    fn deposit_and_final_ask_for_the_whole_price_and_its_tax() {
        for (price, deposit_cents, tax_percent) in [
            (10_001, 3_334, dec!(8.25)),
            (99_999, 1, dec!(7.125)),
            (5_000, 5_000, dec!(0)),
        ] {
            let first = deposit(line(deposit_cents, tax_percent), Money::from_minor(price));
            let first = first.unwrap();
            let earlier = [Earlier {
                number: "I1".into(),
                kind: InvoiceKind::Deposit,
                taxes: first.taxes.clone(),
            }];
            let last = final_invoice(vec![line(price, tax_percent)], &earlier);
            if price == deposit_cents {
                assert_eq!(last, Err(InvoiceError::NothingLeft));
                continue;
            }
            let last = last.unwrap();
            assert_eq!(first.net() + last.net(), Money::from_minor(price));
            assert_eq!(
                first.tax() + last.tax(),
                Money::from_minor(price).share(tax_percent, dec!(100)),
                "{price}"
            );
        }
    }

    #[test]
    fn a_deposit_is_more_than_nothing_and_no_more_than_the_price() {
        let ask = |cents| deposit(line(cents, dec!(0)), Money::from_minor(100)).err();
        assert_eq!(ask(0), Some(InvoiceError::NothingLeft));
        assert_eq!(ask(101), Some(InvoiceError::LargerThanPrice));
        assert_eq!(ask(100), None);
    }
}
