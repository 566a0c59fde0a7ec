//! Invoices: what is asked for, and what is owed.
//!
//! The deposit is a share of the price; the final invoice is price and variations less what was invoiced before, line by
//! line as the client knows them: rooms, variations, then each earlier invoice taken off.
//!
//! On the way a progress invoice asks for a share of what was agreed, for rooms that are done, or for an amount.
//!
//! Each part is taxed at the rate of the quote that it was agreed with, and an invoice has its tax by rate. At each rate
//! the final invoice carries the tax on everything less the tax already asked for, so rounding never drifts.
//!
//! A discount is no line: it is taken off the whole invoice, for a reason and with a positive amount (a document allowance, BG-20
//! of EN 16931), at the tax of what it is taken off. Agreed prices have discounts taken off already, so deposits and shares on
//! the way say nothing of them; whoever asks for rooms at their full prices, on the way or at last, has the rooms' part of
//! them. The final invoice has all rooms and all allowances, less what was invoiced before.
//!
//! Where it is agreed, a share of what progress and final invoices ask for is **held**, in a line for each rate of tax, and the
//! release asks for it: it is a final invoice that holds nothing. What is held isn't invoiced yet, so it is neither owed nor
//! overdue, and its tax is asked for with it. (Common practice, no source: where the tax of the whole is due with the work,
//! nothing is to be held in the invoice, but paid later.)
//!
//! What was issued wrong is taken back by a credit note, whose amounts are above zero like the invoice's. What it takes back
//! is asked for again by the final invoice, but for what is off the price: a part of the final invoice itself.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};
use thiserror::Error;

use crate::money::{Decimal, Money};
use crate::trade::tax::TaxAtRate;
use crate::trade::{QuoteId, RoomId, closed_set};

closed_set! {
    /// What an invoice asks for.
    InvoiceKind, "kind of invoice" {
        /// A share of the price before the work.
        Deposit = "deposit",
        /// A part of the price on the way.
        Progress = "progress",
        /// What is left of the price.
        Final = "final",
        /// What was held back of it.
        Release = "release",
        /// A credit note: what another invoice asked for and is not owed.
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
    /// The room, if it is for one.
    pub room: Option<RoomId>,
    /// On a credit note, which line of its invoice it takes back, from 1 on.
    pub credits: Option<u32>,
    /// The amount before tax; below zero for what was invoiced before.
    pub net: Money,
    /// Tax on it, percent.
    pub tax_percent: Decimal,
}

/// What is taken off a whole invoice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Allowance {
    /// Why, in the client's words.
    pub reason: String,
    /// The quote that agreed to it; `None`: goodwill, off the price.
    pub quote: Option<QuoteId>,
    /// How much before tax; above zero.
    pub amount: Money,
    /// Tax on what it is taken off, percent.
    pub tax_percent: Decimal,
}

/// An invoice to be kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Draft {
    /// What it asks for.
    pub kind: InvoiceKind,
    /// Its lines.
    pub lines: Vec<InvoiceLine>,
    /// What is taken off it.
    pub allowances: Vec<Allowance>,
    /// Its tax, the lowest rate first.
    pub taxes: Vec<TaxAtRate>,
}

impl Draft {
    /// Returns the sum of the lines less the allowances.
    pub fn net(&self) -> Money {
        net_of(&self.lines, &self.allowances)
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
    /// What it asked for; a credit note asked for less.
    pub kind: InvoiceKind,
    /// What it asked for, or took back, at each rate of tax.
    pub taxes: Vec<TaxAtRate>,
    /// What of it is off the price, before tax: of a credit note, or of a final invoice with goodwill.
    pub off_price: Money,
}

impl Earlier {
    /// Returns what it asked for at each rate of tax, below zero for a credit note.
    fn asked(&self) -> impl Iterator<Item = TaxAtRate> {
        let is_credit = self.kind == InvoiceKind::Credit;
        self.taxes.iter().map(move |part| match is_credit {
            true => TaxAtRate {
                net: -part.net,
                tax: -part.tax,
                ..*part
            },
            false => *part,
        })
    }

    /// Returns the lines that take what is off the price from it, rate by rate.
    fn off_price(&self) -> Vec<InvoiceLine> {
        let weights = self.taxes.iter().map(|part| part.net.minor().into());
        let parts = self.off_price.spread(&weights.collect::<Vec<Decimal>>());
        let lines = self.taxes.iter().zip(parts);
        let line = |(part, net): (&TaxAtRate, Money)| InvoiceLine {
            what: format!("Off the price by {}", self.number),
            quote: None,
            room: None,
            credits: None,
            net: -net,
            tax_percent: part.percent,
        };
        lines.map(line).filter(|line| !line.net.is_zero()).collect()
    }
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
    /// A progress invoice beyond what isn't invoiced yet, which is so much.
    #[error("that is more than is left to invoice")]
    BeyondWhatIsLeft(Money),
    /// A line that the invoice doesn't have.
    #[error("it has no line {0}")]
    NoLine(u32),
    /// A line that takes off what was invoiced before.
    #[error(
        "its line {0} takes off what was invoiced before: credit that invoice, or the whole of this one"
    )]
    TakesOff(u32),
    /// More than is left of a line, which is so much.
    #[error("that is more than is left of line {0}")]
    BeyondLine(u32, Money),
    /// More than is left of its lines before tax, which is so much.
    #[error("that is more than is left of its lines")]
    BeyondLines(Money),
    /// More than is left of it, which is so much, tax included.
    #[error("that is more than is left of it")]
    BeyondInvoice(Money),
    /// Nothing is left of it.
    #[error("it is credited in whole already")]
    Credited,
}

/// What of a quote of a job is taxed at one rate, and what of that was invoiced.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AgreedPart {
    /// The quote.
    pub quote: QuoteId,
    /// Its number.
    pub number: String,
    /// What it is for; `None`: all of the quote's price.
    pub kinds: Option<String>,
    /// Its price, before tax.
    pub price: Money,
    /// Tax on it, percent.
    pub tax_percent: Decimal,
    /// What of it was invoiced.
    pub invoiced: Money,
}

impl AgreedPart {
    /// Returns its quote's number, and what it is for: `Q1`, `Q1, labour`.
    fn name(&self) -> String {
        with_kinds(&self.number, self.kinds.as_ref())
    }

    /// Returns what of it isn't invoiced: nothing, if more than it was.
    fn open(&self) -> Money {
        let open = self.price - self.invoiced;
        match open.is_negative() == self.price.is_negative() {
            true => open,
            false => Money::ZERO,
        }
    }
}

/// How much a progress invoice asks for.
#[derive(Clone, Debug, PartialEq)]
pub enum Stage {
    /// A share of each quote's price.
    Share(Decimal),
    /// An amount before tax, shared over the quotes by what isn't invoiced of them.
    Amount(Money),
    /// Lines for rooms that are done, and what is taken off them.
    Rooms(Vec<InvoiceLine>, Vec<Allowance>),
}

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

/// Drafts a deposit on a price, taxed as parts of a quote are: `what` names it for the client.
///
/// # Errors
/// Refuses nothing and more than the price.
pub fn deposit(
    what: &str,
    amount: Money,
    price: Money,
    parts: &[AgreedPart],
) -> Result<Draft, InvoiceError> {
    if amount <= Money::ZERO {
        return Err(InvoiceError::NothingLeft);
    }
    if amount > price {
        return Err(InvoiceError::LargerThanPrice);
    }
    let weights: Vec<Decimal> = parts.iter().map(|part| part.price.minor().into()).collect();
    let lines = parts.iter().zip(amount.spread(&weights));
    let line = |(part, net): (&AgreedPart, Money)| InvoiceLine {
        what: with_kinds(what, part.kinds.as_ref()),
        quote: Some(part.quote),
        room: None,
        credits: None,
        net,
        tax_percent: part.tax_percent,
    };
    let lines: Vec<InvoiceLine> = lines.map(line).filter(|line| !line.net.is_zero()).collect();
    Ok(Draft {
        kind: InvoiceKind::Deposit,
        taxes: taxes_on(&lines, &[]),
        lines,
        allowances: Vec::new(),
    })
}

/// Returns words with what of it is meant: `Hall, labour`.
pub fn with_kinds(words: &str, kinds: Option<&String>) -> String {
    match kinds {
        Some(kinds) => format!("{words}, {kinds}"),
        None => words.to_owned(),
    }
}

/// Drafts a progress invoice on what was agreed, of which `left` isn't invoiced yet.
///
/// # Errors
/// Refuses nothing and more than is left.
pub fn progress(
    agreed: &[AgreedPart],
    stage: Stage,
    left: Money,
    retention: Decimal,
) -> Result<Draft, InvoiceError> {
    let of = |part: &AgreedPart, what: String, net: Money| InvoiceLine {
        what,
        quote: Some(part.quote),
        room: None,
        credits: None,
        net,
        tax_percent: part.tax_percent,
    };
    if left <= Money::ZERO {
        return Err(InvoiceError::NothingLeft);
    }
    let mut allowances = Vec::new();
    let mut lines: Vec<InvoiceLine> = match stage {
        Stage::Rooms(lines, off) => {
            allowances = off;
            lines
        }
        Stage::Share(share) => {
            let percent = (share * Decimal::ONE_HUNDRED).normalize();
            let line = |part: &AgreedPart| {
                let (wanted, open) = (part.price.times(share), part.open());
                let is_open = wanted.minor().abs() <= open.minor().abs();
                let what = match is_open {
                    true => format!("{percent} % of {}", part.name()),
                    false => format!("What is left of {}", part.name()),
                };
                of(part, what, if is_open { wanted } else { open })
            };
            agreed.iter().map(line).collect()
        }
        Stage::Amount(amount) => {
            let open = agreed.iter().map(|part| part.open().minor().max(0).into());
            let weights: Vec<Decimal> = open.collect();
            let line = |(part, net): (&AgreedPart, Money)| {
                of(part, format!("On account of {}", part.name()), net)
            };
            agreed
                .iter()
                .zip(amount.spread(&weights))
                .map(line)
                .collect()
        }
    };
    lines.retain(|line| !line.net.is_zero());
    match net_of(&lines, &allowances) {
        net if net <= Money::ZERO => return Err(InvoiceError::NothingLeft),
        net if net > left => return Err(InvoiceError::BeyondWhatIsLeft(left)),
        _ => lines.extend(held(&lines, &allowances, retention)),
    }
    Ok(Draft {
        kind: InvoiceKind::Progress,
        taxes: taxes_on(&lines, &allowances),
        lines,
        allowances,
    })
}

/// Returns the lines that hold a share of what an invoice asks for, rate by rate.
fn held(lines: &[InvoiceLine], allowances: &[Allowance], share: Decimal) -> Vec<InvoiceLine> {
    let percent = (share * Decimal::ONE_HUNDRED).normalize();
    let asked = taxes_on(lines, allowances).into_iter();
    let held = asked.map(|part| InvoiceLine {
        what: format!("Held until it is released: {percent} %"),
        quote: None,
        room: None,
        credits: None,
        net: -part.net.times(share),
        tax_percent: part.percent,
    });
    held.filter(|line| !line.net.is_zero()).collect()
}

/// Drafts a credit note for an issued invoice: `credited` are the lines and the tax by rate of what was credited of it before.
///
/// A line or an amount is credited as it is named; what takes back all that is left takes the allowances back, too.
///
/// Tax goes with the lines; what takes back the last of a rate takes back all tax that is left at it, and nothing takes back
/// more than the lines at that rate have.
///
/// # Errors
/// Refuses lines that it doesn't have, more than is left of them, and one of which nothing is left.
pub fn credit_note(
    invoice: (&[InvoiceLine], &[Allowance], &[TaxAtRate]),
    credited: (&[InvoiceLine], &[TaxAtRate]),
    extent: &Extent,
) -> Result<Draft, InvoiceError> {
    let total = |taxes: &[TaxAtRate]| taxes.iter().map(|part| part.net + part.tax).sum::<Money>();
    let left = total(invoice.2) - total(credited.1);
    if left.is_zero() {
        return Err(InvoiceError::Credited);
    }
    let allowances = match extent {
        Extent::Whole => invoice.1.to_vec(),
        Extent::Lines(_) | Extent::Amount(_) => Vec::new(),
    };
    let before = |place: u32| -> Money {
        let of_it = credited.0.iter().filter(|line| line.credits == Some(place));
        of_it.map(|line| line.net).sum()
    };
    let numbered = || (1_u32..).zip(invoice.0);
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
    let at = |taxes: &[TaxAtRate], percent| -> TaxAtRate {
        let none = TaxAtRate {
            percent,
            net: Money::ZERO,
            tax: Money::ZERO,
        };
        taxes
            .iter()
            .find(|part| part.percent == percent)
            .copied()
            .unwrap_or(none)
    };
    let mut taxes = taxes_on(&lines, &allowances);
    for part in &mut taxes {
        let (asked, before) = (at(invoice.2, part.percent), at(credited.1, part.percent));
        let most = tax_of_asked(invoice.0, invoice.1, part.percent) - before.tax;
        part.tax = match part.net == asked.net - before.net {
            true => asked.tax - before.tax,
            false => part.tax.min(most),
        };
    }
    let note = Draft {
        kind: InvoiceKind::Credit,
        lines,
        allowances,
        taxes,
    };
    match note.net() + note.tax() > left {
        true => Err(InvoiceError::BeyondInvoice(left)),
        false => Ok(note),
    }
}

/// Returns the tax on what an invoice asks for at a rate, allowances taken off, before what was invoiced earlier is.
pub fn tax_of_asked(lines: &[InvoiceLine], allowances: &[Allowance], percent: Decimal) -> Money {
    let at_rate = lines
        .iter()
        .filter(|line| line.tax_percent == percent && !line.net.is_negative());
    let asked: Money = at_rate.map(|line| line.net).sum();
    let off = allowances.iter().filter(|off| off.tax_percent == percent);
    let off: Money = off.map(|off| off.amount).sum();
    (asked - off).share(percent, Decimal::ONE_HUNDRED)
}

/// Returns the sum of lines less what is taken off them.
pub fn net_of(lines: &[InvoiceLine], allowances: &[Allowance]) -> Money {
    let off: Money = allowances.iter().map(|off| off.amount).sum();
    lines.iter().map(|line| line.net).sum::<Money>() - off
}

/// Returns what goodwill takes off an invoice at each of its rates of tax, by what it asks for at them.
pub fn goodwill(reason: &str, amount: Money, taxes: &[TaxAtRate]) -> Vec<Allowance> {
    let weights = taxes.iter().map(|part| part.net.minor().max(0).into());
    let parts = amount.spread(&weights.collect::<Vec<Decimal>>());
    let parts = taxes.iter().zip(parts).map(|(part, amount)| Allowance {
        reason: reason.to_owned(),
        quote: None,
        amount,
        tax_percent: part.percent,
    });
    parts.filter(|off| off.amount > Money::ZERO).collect()
}

/// Drafts the final invoice: the job's lines less allowances, the share that is held and what was invoiced before, rate by
/// rate; without a share, it is the release of what was held. Once something was released, nothing is held any more.
///
/// # Errors
/// Refuses when nothing is left, and when more was asked for than there is.
pub fn final_invoice(
    mut lines: Vec<InvoiceLine>,
    allowances: Vec<Allowance>,
    retention: Option<Decimal>,
    earlier: &[Earlier],
) -> Result<Draft, InvoiceError> {
    lines.extend(earlier.iter().flat_map(Earlier::off_price));
    let is_released = |invoice: &Earlier| invoice.kind == InvoiceKind::Release;
    let share = retention.filter(|_| !earlier.iter().any(is_released));
    lines.extend(held(&lines, &allowances, share.unwrap_or_default()));
    let mut taxes = taxes_on(&lines, &allowances);
    for invoice in earlier {
        for asked in invoice.asked() {
            lines.push(InvoiceLine {
                what: match invoice.kind {
                    InvoiceKind::Credit => format!("Credited by {}", invoice.number),
                    kind => format!("Less {kind} {}", invoice.number),
                },
                quote: None,
                room: None,
                credits: None,
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
        kind: match retention {
            Some(_) => InvoiceKind::Final,
            None => InvoiceKind::Release,
        },
        lines,
        allowances,
        taxes,
    };
    match draft.net() {
        net if net.is_negative() => Err(InvoiceError::OwedBack(-net - draft.tax())),
        net if net.is_zero() => Err(InvoiceError::NothingLeft),
        _ => Ok(draft),
    }
}

/// Returns the tax on an invoice: at each rate on the sum of its lines less its allowances, the lowest rate first.
fn taxes_on(lines: &[InvoiceLine], allowances: &[Allowance]) -> Vec<TaxAtRate> {
    let mut nets: BTreeMap<Decimal, Money> = BTreeMap::new();
    let lines = lines.iter().map(|line| (line.tax_percent, line.net));
    let allowances = allowances.iter().map(|off| (off.tax_percent, -off.amount));
    for (percent, net) in lines.chain(allowances) {
        *nets.entry(percent).or_insert(Money::ZERO) += net;
    }
    let taxes = nets.into_iter();
    taxes
        .map(|(percent, net)| TaxAtRate::on(net, percent))
        .collect()
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

/// Returns the date an invoice falls due.
pub fn due_on(issued_on: NaiveDate, terms_days: u32) -> NaiveDate {
    issued_on + Days::new(u64::from(terms_days))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rust_decimal_macros::dec;

    use super::*;

    /// Nothing is held.
    const NONE: Option<Decimal> = Some(Decimal::ZERO);

    fn line(cents: i64, tax_percent: Decimal) -> InvoiceLine {
        InvoiceLine {
            what: "Landing".into(),
            quote: Some(QuoteId(1)),
            room: None,
            credits: None,
            net: Money::from_minor(cents),
            tax_percent,
        }
    }

    /// Drafts a deposit on a quote that is taxed at one rate.
    fn paid_first(cents: i64, price: i64, tax_percent: Decimal) -> Result<Draft, InvoiceError> {
        let parts = [part(1, price, 0, tax_percent)];
        let [amount, price] = [cents, price].map(Money::from_minor);
        deposit("Deposit", amount, price, &parts)
    }

    fn taxes(draft: &Draft) -> Vec<(Decimal, i64, i64)> {
        let parts = draft.taxes.iter();
        parts
            .map(|part| (part.percent, part.net.minor(), part.tax.minor()))
            .collect()
    }

    #[test]
    fn the_worked_invoice_of_en_16931_comes_to_the_cent() {
        // EN 16931-1, BR-CO-10 to -17, on three lines, a charge and an allowance: 812.5 × 3.85 = 3128.125, 14 × 42.00, and
        // 37.5 × 2.35 = 88.125, each rounded half away from zero; the charge of 25.00 is a line here, since a firm has no
        // other. 3804.26 − 50.00 + 25.00 = 3779.26; 8.25 % of it is 311.78895; 4091.05, and 3091.05 after 1000.00.
        let usd = crate::money::Currency::from_code("USD").unwrap();
        let priced = [
            (dec!(812.5), dec!(3.85)),
            (dec!(14), dec!(42)),
            (dec!(37.5), dec!(2.35)),
        ];
        let nets = priced.map(|(quantity, price)| usd.amount(quantity * price));
        assert_eq!(nets.map(Money::minor), [312_813, 58_800, 8_813]);
        let mut lines: Vec<InvoiceLine> = nets
            .iter()
            .map(|net| line(net.minor(), dec!(8.25)))
            .collect();
        lines.push(line(2_500, dec!(8.25)));
        let allowances = vec![Allowance {
            reason: "neighbours".into(),
            quote: Some(QuoteId(1)),
            amount: Money::from_minor(5_000),
            tax_percent: dec!(8.25),
        }];
        let draft = final_invoice(lines, allowances, NONE, &[]).unwrap();
        assert_eq!(taxes(&draft), [(dec!(8.25), 377_926, 31_179)]);
        assert_eq!((draft.net() + draft.tax()).minor(), 409_105);
        assert_eq!(
            (draft.net() + draft.tax() - Money::from_minor(100_000)).minor(),
            309_105
        );
    }

    #[test]
    fn each_part_is_taxed_at_its_own_rate_and_a_deposit_comes_off_at_its_own() {
        // A quote of 397.90 agreed at 6 % and a variation of 507.00 agreed at 8 %:
        // 397.90 × 6 % = 23.874, and 507.00 × 8 % = 40.56; 904.90 + 23.87 + 40.56 = 969.33.
        // All of it at the first quote's rate would be 904.90 + 54.29 = 959.19.
        let agreed = || vec![line(39_790, dec!(6)), line(50_700, dec!(8))];
        let whole = final_invoice(agreed(), Vec::new(), NONE, &[]).unwrap();
        assert_eq!(
            taxes(&whole),
            [(dec!(6), 39_790, 2_387), (dec!(8), 50_700, 4_056)]
        );
        assert_eq!((whole.net() + whole.tax()).minor(), 96_933);

        // A deposit of 100.00 was asked for with 6.00 of tax: 297.90 and 17.87 are left at 6 %, and 8 % is as it was.
        let first = paid_first(10_000, 39_790, dec!(6)).unwrap();
        assert_eq!(taxes(&first), [(dec!(6), 10_000, 600)]);
        let earlier = [Earlier {
            number: "I1".into(),
            kind: InvoiceKind::Deposit,
            taxes: first.taxes,
            off_price: Money::ZERO,
        }];
        let rest = final_invoice(agreed(), Vec::new(), NONE, &earlier).unwrap();
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
        let rest = final_invoice(vec![line(50_700, dec!(8))], Vec::new(), NONE, &earlier).unwrap();
        assert_eq!(
            taxes(&rest),
            [(dec!(6), -10_000, -600), (dec!(8), 50_700, 4_056)]
        );
    }

    fn part(quote: i64, price: i64, invoiced: i64, tax_percent: Decimal) -> AgreedPart {
        AgreedPart {
            quote: QuoteId(quote),
            number: format!("Q{quote}"),
            kinds: None,
            price: Money::from_minor(price),
            tax_percent,
            invoiced: Money::from_minor(invoiced),
        }
    }

    fn nets(draft: &Draft) -> Vec<(&str, i64)> {
        let lines = draft.lines.iter();
        lines
            .map(|line| (line.what.as_str(), line.net.minor()))
            .collect()
    }

    #[test]
    fn a_progress_invoice_asks_for_a_share_or_an_amount_of_each_quote_at_its_own_tax() {
        // 40 % of 397.90 is 159.16, with 6 % of 9.5496; 40 % of 507.00 is 202.80, with 8 % of 16.224.
        let agreed = [
            part(1, 39_790, 10_000, dec!(6)),
            part(2, 50_700, 0, dec!(8)),
        ];
        let left = Money::from_minor(80_490);
        let share = progress(&agreed, Stage::Share(dec!(0.4)), left, dec!(0)).unwrap();
        assert_eq!(
            nets(&share),
            [("40 % of Q1", 15_916), ("40 % of Q2", 20_280)]
        );
        assert_eq!(
            taxes(&share),
            [(dec!(6), 15_916, 955), (dec!(8), 20_280, 1_622)]
        );
        // 297.90 and 507.00 are left: 268.30 goes as 99.30 and 169.00.
        let amount = Stage::Amount(Money::from_minor(26_830));
        let amount = progress(&agreed, amount, left, dec!(0)).unwrap();
        assert_eq!(
            nets(&amount),
            [("On account of Q1", 9_930), ("On account of Q2", 16_900)]
        );
        let beyond = progress(
            &agreed,
            Stage::Amount(Money::from_minor(80_491)),
            left,
            dec!(0),
        );
        assert_eq!(beyond, Err(InvoiceError::BeyondWhatIsLeft(left)));
        let nothing = progress(&agreed, Stage::Amount(Money::ZERO), left, dec!(0));
        assert_eq!(nothing, Err(InvoiceError::NothingLeft));
    }

    #[test]
    fn credit_notes_take_back_lines_and_in_the_end_the_whole_invoice_to_the_cent() {
        // 66.67 and 33.33 at 8.25 %: 100.00 with 8.25 of tax. 33.33 alone has 2.749725, and 66.67 has 5.500275.
        let lines = [line(6_667, dec!(8.25)), line(3_333, dec!(8.25))];
        let asked = taxes_on(&lines, &[]);
        assert_eq!(asked[0].tax.minor(), 825);
        let one = Extent::Lines(vec![(2, None)]);
        let first = credit_note((&lines, &[], &asked), (&[], &[]), &one).unwrap();
        assert_eq!(taxes(&first), [(dec!(8.25), 3_333, 275)]);
        assert_eq!(first.lines[0].credits, Some(2));
        let rest = credit_note(
            (&lines, &[], &asked),
            (&first.lines, &first.taxes),
            &Extent::Whole,
        )
        .unwrap();
        assert_eq!(taxes(&rest), [(dec!(8.25), 6_667, 550)]);

        let all: Vec<InvoiceLine> = [first.lines.clone(), rest.lines].concat();
        let tax = [TaxAtRate {
            percent: dec!(8.25),
            net: Money::from_minor(10_000),
            tax: Money::from_minor(825),
        }];
        let refused = |extent, credited: (&[InvoiceLine], &[TaxAtRate])| {
            credit_note((&lines, &[], &asked), credited, &extent).unwrap_err()
        };
        let of_line =
            |place, cents: i64| Extent::Lines(vec![(place, Some(Money::from_minor(cents)))]);
        assert_eq!(refused(Extent::Whole, (&all, &tax)), InvoiceError::Credited);
        assert_eq!(refused(of_line(3, 1), (&[], &[])), InvoiceError::NoLine(3));
        let left = Money::from_minor(0);
        assert_eq!(
            refused(of_line(2, 1), (&first.lines, &first.taxes)),
            InvoiceError::BeyondLine(2, left)
        );
    }

    #[test]
    fn what_was_credited_is_asked_for_again_but_for_what_is_off_the_price() {
        // 500.00 at 8 %; a deposit of 100.00 was asked for and 40.00 of it credited: 440.00 are left, with 35.20 of tax.
        let note = |number: &str, cents, tax, off_price| Earlier {
            number: number.into(),
            kind: InvoiceKind::Credit,
            taxes: vec![TaxAtRate {
                percent: dec!(8),
                net: Money::from_minor(cents),
                tax: Money::from_minor(tax),
            }],
            off_price: Money::from_minor(off_price),
        };
        let asked = |number: &str, kind, cents, tax| Earlier {
            kind,
            ..note(number, cents, tax, 0)
        };
        let deposit = asked("I1", InvoiceKind::Deposit, 10_000, 800);
        let last = final_invoice(
            vec![line(50_000, dec!(8))],
            Vec::new(),
            NONE,
            &[deposit.clone(), note("I2", 4_000, 320, 0)],
        )
        .unwrap();
        assert_eq!(
            nets(&last),
            [
                ("Landing", 50_000),
                ("Less deposit I1", -10_000),
                ("Credited by I2", 4_000)
            ]
        );
        assert_eq!(taxes(&last), [(dec!(8), 44_000, 3_520)]);

        // The final of 400.00 is credited by 50.00 for a scratch, then the rest of it as issued wrong: 350.00 are asked again.
        let before = [
            deposit,
            asked("I3", InvoiceKind::Final, 40_000, 3_200),
            note("I4", 5_000, 400, 5_000),
            note("I5", 35_000, 2_800, 0),
        ];
        let again = final_invoice(vec![line(50_000, dec!(8))], Vec::new(), NONE, &before).unwrap();
        assert_eq!((again.net().minor(), again.tax().minor()), (35_000, 2_800));
        assert_eq!(nets(&again)[1], ("Off the price by I4", -5_000));

        let whole = Draft {
            kind: InvoiceKind::Credit,
            lines: vec![line(5_000, dec!(8))],
            allowances: Vec::new(),
            taxes: Vec::new(),
        };
        for (of, is_whole, beyond, expected) in [
            (InvoiceKind::Final, false, 0, 5_000),
            (InvoiceKind::Final, false, 2_000, 3_000),
            (InvoiceKind::Final, false, 9_000, 0),
            (InvoiceKind::Final, true, 0, 0),
            (InvoiceKind::Progress, false, 0, 0),
        ] {
            let off = off_price(&whole, of, is_whole, Money::from_minor(beyond));
            assert_eq!(off.minor(), expected, "{of} {is_whole} {beyond}");
        }
    }

    #[test]
    fn a_line_is_credited_with_its_tax_even_if_earlier_invoices_took_most_of_that() {
        // 1128.18 at 10 % was asked for before; the final has that line, less the same, and 756.28 free of tax.
        let before = Earlier {
            number: "I1".into(),
            kind: InvoiceKind::Progress,
            taxes: vec![TaxAtRate {
                percent: dec!(10),
                net: Money::from_minor(112_818),
                tax: Money::from_minor(11_282),
            }],
            off_price: Money::ZERO,
        };
        let agreed = vec![line(112_818, dec!(10)), line(75_628, dec!(0))];
        let last = final_invoice(agreed, Vec::new(), NONE, &[before]).unwrap();
        assert_eq!(last.tax(), Money::ZERO);
        let some = |cents: i64| Extent::Lines(vec![(1, Some(Money::from_minor(cents)))]);
        let note = credit_note((&last.lines, &[], &last.taxes), (&[], &[]), &some(10_000)).unwrap();
        assert_eq!(taxes(&note), [(dec!(10), 10_000, 1_000)]);
        // 756.28 are owed on it: 687.54 with 68.75 of tax are more.
        let beyond = credit_note((&last.lines, &[], &last.taxes), (&[], &[]), &some(68_754));
        assert_eq!(
            beyond,
            Err(InvoiceError::BeyondInvoice(Money::from_minor(75_628)))
        );
        // What is left of it goes with the tax that is left.
        let rest = (&note.lines[..], &note.taxes[..]);
        let rest = credit_note((&last.lines, &[], &last.taxes), rest, &Extent::Whole).unwrap();
        assert_eq!((rest.net() + rest.tax()).minor(), 75_628 - 11_000);
    }

    #[test]
    fn a_share_asks_for_no_more_of_a_quote_than_is_left_of_it() {
        let agreed = [
            part(1, 100_000, 0, dec!(6)),
            part(2, 60_000, 60_000, dec!(7)),
            part(3, 10_000, 7_000, dec!(7)),
        ];
        let left = Money::from_minor(103_000);
        let share = progress(&agreed, Stage::Share(dec!(0.4)), left, dec!(0)).unwrap();
        assert_eq!(
            nets(&share),
            [("40 % of Q1", 40_000), ("What is left of Q3", 3_000)]
        );
        let none = progress(&agreed, Stage::Share(dec!(0.4)), Money::ZERO, dec!(0));
        assert_eq!(none, Err(InvoiceError::NothingLeft));
    }

    #[test]
    fn what_is_too_much_says_of_what() {
        let some = Money::from_minor(1);
        for (error, words) in [
            (
                InvoiceError::BeyondWhatIsLeft(some),
                "that is more than is left to invoice",
            ),
            (
                InvoiceError::BeyondLines(some),
                "that is more than is left of its lines",
            ),
            (
                InvoiceError::BeyondInvoice(some),
                "that is more than is left of it",
            ),
            (
                InvoiceError::BeyondLine(2, some),
                "that is more than is left of line 2",
            ),
            (InvoiceError::Credited, "it is credited in whole already"),
        ] {
            assert_eq!(error.to_string(), words);
        }
    }

    #[test]
    fn small_credits_never_give_back_more_tax_than_was_asked_for() {
        // Each 0.07 has 0.0056 of tax at 8 %, a cent by itself; 1.00 has only 0.08.
        let lines = [line(100, dec!(8))];
        let asked = taxes_on(&lines, &[]);
        let (mut credited, mut tax) = (Vec::new(), Vec::new());
        for cents in [7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 16] {
            let extent = Extent::Lines(vec![(1, Some(Money::from_minor(cents)))]);
            let note = credit_note((&lines, &[], &asked), (&credited, &tax), &extent).unwrap();
            credited.extend(note.lines);
            tax = match tax[..] {
                [] => note.taxes,
                [TaxAtRate { percent, net, tax }, ..] => vec![TaxAtRate {
                    percent,
                    net: net + note.taxes[0].net,
                    tax: tax + note.taxes[0].tax,
                }],
            };
        }
        assert_eq!((tax[0].net.minor(), tax[0].tax.minor()), (100, 8));
    }

    #[test]
    fn deposit_and_final_ask_for_the_whole_price_and_its_tax() {
        for (price, deposit_cents, tax_percent) in [
            (10_001, 3_334, dec!(8.25)),
            (99_999, 1, dec!(7.125)),
            (5_000, 5_000, dec!(0)),
        ] {
            let first = paid_first(deposit_cents, price, tax_percent).unwrap();
            let earlier = [Earlier {
                number: "I1".into(),
                kind: InvoiceKind::Deposit,
                taxes: first.taxes.clone(),
                off_price: Money::ZERO,
            }];
            let last = final_invoice(vec![line(price, tax_percent)], Vec::new(), NONE, &earlier);
            if price == deposit_cents {
                assert_eq!(last, Err(InvoiceError::NothingLeft));
                // A variation takes 10.00 off the price, which asks for no tax.
                let less = final_invoice(
                    vec![line(price - 1_000, tax_percent)],
                    Vec::new(),
                    NONE,
                    &earlier,
                );
                let less = less.unwrap_err();
                assert_eq!(less, InvoiceError::OwedBack(Money::from_minor(1_000)));
                let words = "more was invoiced than there is to invoice";
                assert_eq!(less.to_string(), words);
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

    /// A room of a quote, and what is taken off the quote for it.
    #[derive(Clone, Debug)]
    struct Part {
        cents: i64,
        off: i64,
        percent: Decimal,
        is_early: bool,
    }

    prop_compose! {
        fn discounted()(cents in 1_i64..500_000, share in 0_i64..1000, rate in 0_usize..3, is_early in any::<bool>()) -> Part {
            let percent = [dec!(0), dec!(7.125), dec!(20)][rate];
            Part { cents, off: cents * share / 1000, percent, is_early }
        }
    }

    fn asked_for(parts: &[&Part]) -> (Vec<InvoiceLine>, Vec<Allowance>) {
        let lines = parts.iter().map(|part| line(part.cents, part.percent));
        let off = parts.iter().filter(|part| part.off > 0);
        let off = off.map(|part| Allowance {
            reason: "neighbours".into(),
            quote: Some(QuoteId(1)),
            amount: Money::from_minor(part.off),
            tax_percent: part.percent,
        });
        (lines.collect(), off.collect())
    }

    fn earlier(number: &str, draft: &Draft) -> Earlier {
        Earlier {
            number: number.into(),
            kind: draft.kind,
            taxes: draft.taxes.clone(),
            off_price: Money::ZERO,
        }
    }

    proptest! {
        /// BR-CO-10 to -14 of EN 16931: lines less allowances are the net, which is that of all rates, as the tax is. Over all
        /// invoices of a job they are what was agreed and its tax, whatever was credited and asked for again.
        #[test]
        fn invoices_come_to_what_was_agreed_after_discounts(
            parts in prop::collection::vec(discounted(), 1..6),
            extra in 0_i64..1000,
            held in 0_i64..20,
        ) {
            let share = Decimal::new(held, 2);
            let early: Vec<&Part> = parts.iter().filter(|part| part.is_early).collect();
            let all: Vec<&Part> = parts.iter().collect();
            let (lines, allowances) = asked_for(&all);
            let (agreed, agreed_taxes) = (net_of(&lines, &allowances), taxes_on(&lines, &allowances));
            let agreed_tax: Money = agreed_taxes.iter().map(|part| part.tax).sum();
            let mut drafts = Vec::new();
            let (early_lines, early_off) = asked_for(&early);
            if let Ok(first) = progress(&[], Stage::Rooms(early_lines, early_off), agreed, share) {
                drafts.push(first);
            }
            let before: Vec<Earlier> = drafts.iter().map(|draft| earlier("I1", draft)).collect();
            let Ok(last) = final_invoice(lines.clone(), allowances.clone(), Some(share), &before) else {
                return Ok(());
            };
            // Credited in whole and asked for again, with a little goodwill.
            let note = credit_note((&last.lines, &last.allowances, &last.taxes), (&[], &[]), &Extent::Whole).unwrap();
            prop_assert_eq!((note.net(), note.tax()), (last.net(), last.tax()));
            let before: Vec<Earlier> = before.into_iter().chain([earlier("I2", &last), earlier("I3", &note)]).collect();
            let again = final_invoice(lines.clone(), allowances.clone(), Some(share), &before).unwrap();
            prop_assert_eq!((again.net(), again.tax()), (last.net(), last.tax()));
            // Released, the share of all that is agreed that was held is asked for, and nothing is left.
            let mut before: Vec<Earlier> = before;
            before.push(earlier("I4", &again));
            drafts.push(last);
            if let Ok(release) = final_invoice(lines.clone(), allowances.clone(), None, &before) {
                let held: Money = agreed_taxes.iter().map(|part| part.net.times(share)).sum();
                prop_assert_eq!(release.net(), held);
                before.push(earlier("I5", &release));
                drafts.push(release);
            }
            prop_assert_eq!(
                final_invoice(lines.clone(), allowances.clone(), None, &before),
                Err(InvoiceError::NothingLeft)
            );
            prop_assert_eq!(
                final_invoice(lines.clone(), allowances.clone(), Some(share), &before),
                Err(InvoiceError::NothingLeft)
            );
            // A little goodwill comes off by that much.
            let off = Money::from_minor(extra.min(agreed.minor() - 1));
            let mut less = allowances;
            less.extend(goodwill("scratch", off, &agreed_taxes));
            let less = final_invoice(lines, less, NONE, &[]).unwrap();
            prop_assert_eq!(less.net(), agreed - off);
            for draft in drafts.iter().chain([&note, &again, &less]) {
                let nets: Money = draft.taxes.iter().map(|part| part.net).sum();
                prop_assert_eq!(draft.net(), nets);
            }
            let (net, tax): (Money, Money) = (drafts.iter().map(Draft::net).sum(), drafts.iter().map(Draft::tax).sum());
            prop_assert_eq!((net, tax), (agreed, agreed_tax));
        }
    }

    #[test]
    fn a_deposit_is_more_than_nothing_and_no_more_than_the_price() {
        let ask = |cents| paid_first(cents, 100, dec!(0)).err();
        assert_eq!(ask(0), Some(InvoiceError::NothingLeft));
        assert_eq!(ask(101), Some(InvoiceError::LargerThanPrice));
        assert_eq!(ask(100), None);
    }
}
