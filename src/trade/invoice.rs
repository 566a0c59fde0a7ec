//! Invoices: what is asked for, and what is owed.
//!
//! The deposit is a share of the price; the final invoice is price and variations less what was invoiced before, line by
//! line as the client knows them: rooms, variations, then each earlier invoice taken off.
//!
//! On the way a progress invoice asks for a share of what was agreed, for rooms that are done, or for an amount.
//!
//! Each part is taxed at the rate of the quote that it was agreed with, and an invoice has its tax by rate, each on the sum of
//! what it asks for at that rate (BR-CO-17 of EN 16931). Tax that is rounded invoice by invoice may be a cent off the tax of
//! the whole: the last invoice has that cent as its **rounding amount** (BT-114), so that all of them come to what the quotes
//! said, tax included. A credit note that takes back the last of an invoice has one alike.
//!
//! Where prices are told with tax, an amount that was named comes to just that: its largest line takes the cents that its tax
//! needs, and the rounding amount what no line makes up.
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

mod credit;

use chrono::{Days, NaiveDate};
use thiserror::Error;

pub use self::credit::{Asked, Extent, credit_note, off_price};
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
        /// Interest on an invoice that is paid late.
        Interest = "interest",
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
    /// What lines and tax are short of what it is to come to.
    pub rounding: Money,
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

    /// Returns what it asks for: lines less allowances, tax and rounding.
    pub fn total(&self) -> Money {
        self.net() + self.tax() + self.rounding
    }

    /// Returns a draft of lines and allowances, with its tax.
    fn of(kind: InvoiceKind, lines: Vec<InvoiceLine>, allowances: Vec<Allowance>) -> Draft {
        Draft {
            kind,
            taxes: taxes_on(&lines, &allowances),
            lines,
            allowances,
            rounding: Money::ZERO,
        }
    }

    /// Returns a draft of interest, which is no part of a price and bears no tax.
    pub fn of_interest(lines: Vec<InvoiceLine>) -> Draft {
        Draft::of(InvoiceKind::Interest, lines, Vec::new())
    }

    /// Returns it with the rounding amount that makes it come to a total.
    fn rounded_to(mut self, total: Money) -> Draft {
        self.rounding += total - self.total();
        self
    }

    /// Returns it coming to a total that was named: its largest line makes up what its tax allows, rounding the rest.
    fn coming_to(self, total: Money) -> Draft {
        let lines = self.lines.iter().enumerate();
        let Some((place, largest)) = lines.rev().max_by_key(|(_, line)| line.net) else {
            return self.rounded_to(total);
        };
        let with_tax = Decimal::ONE_HUNDRED + largest.tax_percent;
        let near = (total - self.total()).share(Decimal::ONE_HUNDRED, with_tax);
        let cents = [0, 1, -1, 2, -2].map(Money::from_minor);
        let drafts = cents.into_iter().map(|cents| {
            let mut lines = self.lines.clone();
            lines[place].net += near + cents;
            Draft::of(self.kind, lines, self.allowances.clone())
        });
        let closest = drafts.min_by_key(|draft| (draft.total() - total).abs());
        closest.expect("there are five").rounded_to(total)
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
    /// Its rounding amount.
    pub rounding: Money,
    /// What of it is off the price, before tax: of a credit note, or of a final invoice with goodwill.
    pub off_price: Money,
}

impl Earlier {
    /// Returns its tax and rounding amount, below zero for a credit note.
    fn tax(&self) -> Money {
        let tax = self.taxes.iter().map(|part| part.tax).sum::<Money>() + self.rounding;
        match self.kind {
            InvoiceKind::Credit => -tax,
            _ => tax,
        }
    }

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

/// Drafts a deposit on a price, taxed as parts of a quote are: `what` names it for the client. It comes to `told`, if that was
/// named with tax.
///
/// # Errors
/// Refuses nothing and more than the price.
pub fn deposit(
    what: &str,
    amount: Money,
    price: Money,
    parts: &[AgreedPart],
    told: Option<Money>,
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
    let draft = Draft::of(InvoiceKind::Deposit, lines, Vec::new());
    Ok(match told {
        Some(total) => draft.coming_to(total),
        None => draft,
    })
}

/// Returns words with what of it is meant: `Hall, labour`.
pub fn with_kinds(words: &str, kinds: Option<&String>) -> String {
    match kinds {
        Some(kinds) => format!("{words}, {kinds}"),
        None => words.to_owned(),
    }
}

/// What of a job isn't invoiced yet.
#[derive(Clone, Copy, Debug)]
pub struct Left {
    /// Before tax.
    pub net: Money,
    /// With tax, if that is known: what the invoice comes to that asks for the last of it.
    pub total: Option<Money>,
}

/// Drafts a progress invoice on what was agreed, of which so much is left. It comes to `told` less what is held of it, if that
/// was named with tax.
///
/// # Errors
/// Refuses nothing and more than is left.
pub fn progress(
    agreed: &[AgreedPart],
    stage: Stage,
    left: Left,
    retention: Decimal,
    told: Option<Money>,
) -> Result<Draft, InvoiceError> {
    let is_of_rooms = matches!(stage, Stage::Rooms(..));
    let of = |part: &AgreedPart, what: String, net: Money| InvoiceLine {
        what,
        quote: Some(part.quote),
        room: None,
        credits: None,
        net,
        tax_percent: part.tax_percent,
    };
    if left.net <= Money::ZERO {
        return Err(InvoiceError::NothingLeft);
    }
    let mut allowances = Vec::new();
    let mut told = told;
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
                told = told.filter(|_| is_open);
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
    let net = net_of(&lines, &allowances);
    match net {
        net if net <= Money::ZERO => return Err(InvoiceError::NothingLeft),
        net if net > left.net => return Err(InvoiceError::BeyondWhatIsLeft(left.net)),
        _ => lines.extend(held(&lines, &allowances, retention)),
    }
    let draft = Draft::of(InvoiceKind::Progress, lines, allowances);
    let is_last = net == left.net && retention.is_zero();
    Ok(match (left.total.filter(|_| is_last), told) {
        (Some(total), _) => draft.rounded_to(total),
        (None, Some(told)) if is_of_rooms => draft.rounded_to(told - told.times(retention)),
        (None, Some(told)) => draft.coming_to(told - told.times(retention)),
        (None, None) => draft,
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

/// Returns the sum of lines less what is taken off them.
pub fn net_of(lines: &[InvoiceLine], allowances: &[Allowance]) -> Money {
    let off: Money = allowances.iter().map(|off| off.amount).sum();
    lines.iter().map(|line| line.net).sum::<Money>() - off
}

/// Returns what goodwill takes off an invoice at each of its rates of tax, by what it asks for at them: before tax, or so much
/// that it comes closest to the amount with its tax.
pub fn goodwill(
    reason: &str,
    amount: Money,
    taxes: &[TaxAtRate],
    tax_included: bool,
) -> Vec<Allowance> {
    let weights = taxes.iter().map(|part| part.net.minor().max(0).into());
    let weights: Vec<Decimal> = weights.collect();
    let taking = |net: Money| -> Vec<Allowance> {
        let parts = taxes.iter().zip(net.spread(&weights));
        let parts = parts.map(|(part, amount)| Allowance {
            reason: reason.to_owned(),
            quote: None,
            amount,
            tax_percent: part.percent,
        });
        parts.filter(|off| off.amount > Money::ZERO).collect()
    };
    if !tax_included {
        return taking(amount);
    }
    let [net, tax] = [|part: &TaxAtRate| part.net, |part: &TaxAtRate| part.tax]
        .map(|of| Decimal::from(taxes.iter().map(of).sum::<Money>().minor()));
    let near = amount.share(net, net + tax);
    let beside = |off: &Vec<Allowance>| {
        let off = off.iter();
        let told = off.map(|off| off.amount + TaxAtRate::on(off.amount, off.tax_percent).tax);
        (told.sum::<Money>() - amount).abs()
    };
    let nets = [0, 1, -1, 2, -2].map(|cents| near + Money::from_minor(cents));
    let closest = nets.into_iter().map(taking).min_by_key(beside);
    closest.expect("there are five")
}

/// What the quotes of a job say of what is to be paid.
#[derive(Clone, Copy, Debug, Default)]
pub struct Totals {
    /// What they say beside their prices and the tax on these together: cents.
    pub beside: Money,
    /// Prices are told with tax, so what is off the price comes off with its own.
    pub tax_included: bool,
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
    totals: Totals,
) -> Result<Draft, InvoiceError> {
    let off_price: Vec<InvoiceLine> = earlier.iter().flat_map(Earlier::off_price).collect();
    let apart = match totals.tax_included {
        true => tax_apart(&lines, &allowances, &off_price),
        false => Money::ZERO,
    };
    lines.extend(off_price);
    let is_released = |invoice: &Earlier| invoice.kind == InvoiceKind::Release;
    let share = retention.filter(|_| !earlier.iter().any(is_released));
    lines.extend(held(&lines, &allowances, share.unwrap_or_default()));
    let of_all = taxes_on(&lines, &allowances).into_iter();
    let of_all: Money = of_all.map(|part| part.tax).sum();
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
        }
    }
    let kind = match retention {
        Some(_) => InvoiceKind::Final,
        None => InvoiceKind::Release,
    };
    let mut draft = Draft::of(kind, lines, allowances);
    let before: Money = earlier.iter().map(Earlier::tax).sum();
    draft.rounding = of_all + apart + totals.beside - before - draft.tax();
    match draft.net() {
        net if net.is_negative() => Err(InvoiceError::OwedBack(-draft.total())),
        net if net.is_zero() => Err(InvoiceError::NothingLeft),
        _ => Ok(draft),
    }
}

/// Returns by how much the tax differs if each part that is off the price comes off with its own, rounded by itself.
fn tax_apart(lines: &[InvoiceLine], allowances: &[Allowance], off_price: &[InvoiceLine]) -> Money {
    let tax = |taxes: Vec<TaxAtRate>| taxes.iter().map(|part| part.tax).sum::<Money>();
    let (goodwill, agreed): (Vec<Allowance>, Vec<Allowance>) = allowances
        .iter()
        .cloned()
        .partition(|off| off.quote.is_none());
    let goodwill = goodwill.iter().map(|off| (off.tax_percent, -off.amount));
    let off = goodwill.chain(off_price.iter().map(|line| (line.tax_percent, line.net)));
    let apart: Money = off
        .map(|(percent, net)| TaxAtRate::on(net, percent).tax)
        .sum();
    tax(taxes_on(lines, &agreed)) + apart - tax(taxes_on(&[lines, off_price].concat(), allowances))
}

/// Returns the tax on an invoice: at each rate on the sum of its lines less its allowances, the lowest rate first.
fn taxes_on(lines: &[InvoiceLine], allowances: &[Allowance]) -> Vec<TaxAtRate> {
    let lines = lines.iter().map(|line| (line.tax_percent, line.net));
    let allowances = allowances.iter().map(|off| (off.tax_percent, -off.amount));
    TaxAtRate::on_sums(lines.chain(allowances))
}

/// Returns the date an invoice falls due.
pub fn due_on(issued_on: NaiveDate, terms_days: u32) -> NaiveDate {
    issued_on + Days::new(u64::from(terms_days))
}

#[cfg(test)]
mod tests;
