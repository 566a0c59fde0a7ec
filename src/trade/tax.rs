//! Tax on what is sold: which part of a price is taxed, and at which rate.
//!
//! A price is one for the whole work. Where labour, materials and rental passed on are taxed at different rates, it is taken
//! apart as the work is expected to cost: labour with its overhead, driving and whatever is spent otherwise; items; rented
//! machines. Each room's price is taken apart alike, so the parts of the rooms are those of the price, and tax is counted at
//! each rate on the sum of its parts.
//!
//! Whether floor work is taxed, and how, differs by place: the rates are the firm's own, for it to confirm.

use std::collections::BTreeMap;
use std::fmt;

use crate::money::{Decimal, Money};
use crate::trade::closed_set;
use crate::trade::quote::Costs;

closed_set! {
    /// What a rate of tax is on.
    TaxedKind, "kind of line" {
        /// All of the price.
        Price = "price",
        /// Labour, and everything that is neither of the others.
        Labour = "labour",
        /// Items sold with the work.
        Materials = "materials",
        /// Rented machines passed on.
        Rental = "rental",
        /// Items that the firm buys: it pays the tax itself, as a cost.
        Bought = "bought",
    }
}

/// The rates that a price is taxed at, percent.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct TaxRates {
    /// On labour, and everything that is neither of the others.
    pub labour: Decimal,
    /// On items.
    pub materials: Decimal,
    /// On rented machines.
    pub rental: Decimal,
}

/// What a price is taken apart by: what is behind it, by how it is taxed. It stays with the quote, whatever variations take
/// off its lines later.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct TaxedCosts {
    /// Labour, and everything that is neither of the others.
    pub labour: Money,
    /// Items.
    pub materials: Money,
    /// Rented machines.
    pub rental: Money,
}

impl TaxedCosts {
    /// Returns costs by how they are taxed.
    pub fn of(costs: &Costs) -> TaxedCosts {
        TaxedCosts {
            labour: costs.labour + costs.overhead + costs.other,
            materials: costs.consumables,
            rental: costs.rental,
        }
    }

    /// Returns labour, materials and rental.
    pub fn kinds(&self) -> [Money; 3] {
        [self.labour, self.materials, self.rental]
    }

    fn total(&self) -> Money {
        self.kinds().into_iter().sum()
    }
}

/// What of a price is taxed at one rate.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TaxedPart {
    /// What it is for; all of the price, if there is but one rate.
    pub kinds: Vec<TaxedKind>,
    /// The rate, percent.
    pub percent: Decimal,
    /// The part, before tax.
    pub net: Money,
}

/// What is asked for at one rate of tax.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TaxAtRate {
    /// The rate, percent.
    pub percent: Decimal,
    /// The amount before tax.
    pub net: Money,
    /// The tax on it.
    pub tax: Money,
}

impl TaxAtRate {
    /// Returns an amount with its tax.
    pub fn on(net: Money, percent: Decimal) -> TaxAtRate {
        let tax = net.share(percent, Decimal::ONE_HUNDRED);
        TaxAtRate { percent, net, tax }
    }

    /// Returns the tax on amounts (rate, amount): at each rate on the sum of those at it, the lowest rate first.
    pub fn on_sums(amounts: impl Iterator<Item = (Decimal, Money)>) -> Vec<TaxAtRate> {
        let mut sums: BTreeMap<Decimal, Money> = BTreeMap::new();
        for (percent, net) in amounts {
            *sums.entry(percent).or_default() += net;
        }
        let sums = sums.into_iter();
        sums.map(|(percent, net)| TaxAtRate::on(net, percent))
            .collect()
    }
}

impl TaxRates {
    /// Returns one rate for everything.
    pub const fn all(percent: Decimal) -> TaxRates {
        TaxRates {
            labour: percent,
            materials: percent,
            rental: percent,
        }
    }

    /// Returns the rate, if there is but one.
    pub fn one(&self) -> Option<Decimal> {
        let is_one = self.labour == self.materials && self.materials == self.rental;
        is_one.then_some(self.labour)
    }

    /// Tells whether anything is taxed at that rate.
    pub fn contains(&self, percent: Decimal) -> bool {
        self.each().iter().any(|(_, rate)| *rate == percent)
    }

    fn each(&self) -> [(TaxedKind, Decimal); 3] {
        [
            (TaxedKind::Labour, self.labour),
            (TaxedKind::Materials, self.materials),
            (TaxedKind::Rental, self.rental),
        ]
    }

    /// Returns the tax on a price.
    pub fn on(&self, price: Money, by: &TaxedCosts) -> Money {
        let parts = self.parts(price, by).into_iter();
        parts
            .map(|part| TaxAtRate::on(part.net, part.percent).tax)
            .sum()
    }

    /// Returns the price before tax of what is to be paid, to the cent nearest.
    pub fn untaxed(&self, total: Money, by: &TaxedCosts) -> Money {
        let all = Decimal::from(by.total().minor());
        let weighed = match self.one() {
            Some(percent) => percent,
            None if all.is_zero() => self.labour,
            None => {
                let rates = self.each().into_iter().zip(by.kinds());
                let taxed = rates.map(|((_, rate), cost)| rate * Decimal::from(cost.minor()));
                taxed.sum::<Decimal>() / all
            }
        };
        total.share(Decimal::ONE_HUNDRED, Decimal::ONE_HUNDRED + weighed)
    }

    /// Takes a price apart by rate, the lowest first, in proportion to the costs behind it.
    pub fn parts(&self, price: Money, by: &TaxedCosts) -> Vec<TaxedPart> {
        if let Some(percent) = self.one() {
            return vec![TaxedPart {
                kinds: vec![TaxedKind::Price],
                percent,
                net: price,
            }];
        }
        let shares = shares(price, by);
        let mut parts: Vec<TaxedPart> = Vec::new();
        for ((kind, percent), net) in self.each().into_iter().zip(shares) {
            match parts.iter_mut().find(|part| part.percent == percent) {
                Some(part) => {
                    part.kinds.push(kind);
                    part.net += net;
                }
                None => parts.push(TaxedPart {
                    kinds: vec![kind],
                    percent,
                    net,
                }),
            }
        }
        parts.retain(|part| !part.net.is_zero());
        parts.sort_by_key(|part| part.percent);
        parts
    }
}

impl TaxedPart {
    /// Says what it is for: `labour`, `materials and rental`; `None`: all of the price.
    pub fn words(&self) -> Option<String> {
        let words: Vec<&str> = self.kinds.iter().map(|kind| kind.as_str()).collect();
        (self.kinds != [TaxedKind::Price]).then(|| words.join(" and "))
    }
}

impl fmt::Display for TaxRates {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(percent) = self.one() {
            return write!(f, "{} %", percent.normalize());
        }
        let each = self
            .each()
            .map(|(kind, percent)| format!("{} % on {kind}", percent.normalize()));
        let [labour, materials, rental] = each;
        write!(f, "{labour}, {materials} and {rental}")
    }
}

/// Shares a price over labour, materials and rental by their costs; what a variation takes away has a part below zero. The
/// cents that rounding leaves go to the largest, and without costs all of it is labour.
fn shares(price: Money, by: &TaxedCosts) -> [Money; 3] {
    let kinds = by.kinds();
    let total = Decimal::from(by.total().minor());
    if total.is_zero() {
        return [price, Money::ZERO, Money::ZERO];
    }
    let mut shares = kinds.map(|cost| price.share(Decimal::from(cost.minor()), total));
    let rest = price - shares.iter().copied().sum();
    let largest = (0..3).rev().max_by_key(|place| kinds[*place].abs());
    shares[largest.unwrap_or_default()] += rest;
    shares
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;

    fn money(minor: i64) -> Money {
        Money::from_minor(minor)
    }

    fn costs(labour: i64, consumables: i64, rental: i64) -> TaxedCosts {
        TaxedCosts::of(&Costs {
            labour: money(labour),
            consumables: money(consumables),
            rental: money(rental),
            ..Costs::default()
        })
    }

    #[test]
    fn a_price_is_taken_apart_as_it_costs_and_loses_no_cent() {
        // 600 of labour, 250 of materials and 150 of rental behind a price of 1500.01: 900.006, 375.0025 and 225.0015.
        let rates = TaxRates {
            labour: dec!(0),
            materials: dec!(8.25),
            rental: dec!(8.25),
        };
        let parts = rates.parts(money(150_001), &costs(60_000, 25_000, 15_000));
        let seen: Vec<_> = parts
            .iter()
            .map(|part| (part.percent, part.net.minor(), part.words()))
            .collect();
        assert_eq!(
            seen,
            [
                (dec!(0), 90_001, Some("labour".to_owned())),
                (dec!(8.25), 60_000, Some("materials and rental".to_owned())),
            ]
        );
        // One rate takes nothing apart.
        let one = TaxRates::all(dec!(8.875)).parts(money(150_001), &costs(60_000, 25_000, 15_000));
        assert_eq!(
            (one.len(), one[0].net.minor(), one[0].words()),
            (1, 150_001, None)
        );
    }

    #[test]
    fn a_variation_may_take_one_kind_away_and_add_another() {
        // 30.00 more of labour and 10.00 less of materials, charged with twice the cost.
        let rates = TaxRates {
            labour: dec!(0),
            materials: dec!(10),
            rental: dec!(0),
        };
        let parts = rates.parts(money(4_000), &costs(3_000, -1_000, 0));
        let nets: Vec<i64> = parts.iter().map(|part| part.net.minor()).collect();
        assert_eq!(nets, [6_000, -2_000]);
        assert_eq!(
            rates.parts(money(500), &TaxedCosts::default()).len(),
            1,
            "without costs it is labour"
        );
        assert_eq!(
            rates.to_string(),
            "0 % on labour, 10 % on materials and 0 % on rental"
        );
    }

    proptest::proptest! {
        #[test]
        fn the_parts_are_the_price(
            price in -1_000_000_i64..1_000_000, labour in -90_000_i64..90_000, items in -90_000_i64..90_000,
            rental in -90_000_i64..90_000, percents in proptest::array::uniform3(0_u32..3),
        ) {
            let [labour_tax, materials, rental_tax] = percents.map(Decimal::from);
            let rates = TaxRates { labour: labour_tax, materials, rental: rental_tax };
            let parts = rates.parts(money(price), &costs(labour, items, rental));
            proptest::prop_assert_eq!(parts.iter().map(|part| part.net).sum::<Money>(), money(price));
        }
    }
}
