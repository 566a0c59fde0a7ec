//! Figures as answers hold them: each knows how it is written for programs (as JSON) and for people (as text), so that
//! no answer says one thing to the one and another to the other.

use std::fmt;

use chrono::NaiveDateTime;
use serde::{Serialize, Serializer};

use super::Page;
use crate::measure::{Area, Length, Units};
use crate::money::{Currency, Decimal, Money, plain, round};
use crate::trade::Unit;

/// Decimals of a quantity for people.
const PEOPLES_DECIMALS: u32 = 2;

/// Decimals of a quantity in JSON.
const QUANTITY_DECIMALS: u32 = 4;

/// An amount of money: its decimal text, without the currency, which the answer names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Amount {
    /// The amount.
    pub money: Money,
    currency: Currency,
}

impl Amount {
    /// Writes the amount with its currency: `100.00 USD`.
    pub fn with_currency(self) -> String {
        format!("{self} {}", self.currency.code())
    }
}

impl Amount {
    /// Returns both together.
    pub(super) fn and(self, other: Amount) -> Amount {
        Amount {
            money: self.money + other.money,
            ..self
        }
    }

    /// Returns it without its sign.
    pub(super) fn size(self) -> Amount {
        Amount {
            money: self.money.abs(),
            ..self
        }
    }
}

impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.currency.text(self.money))
    }
}

/// What one of something costs: at least the currency's decimals, at most four. People see those of the currency, and of
/// less than one at least three figures: 39.86 for an hour, 0.725 for a mile, 0.0893 for a nail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UnitPrice {
    price: Decimal,
    currency: Currency,
}

impl UnitPrice {
    /// Writes it to so many decimals, and with at least the currency's.
    fn text(self, decimals: u32) -> String {
        let text = plain(self.price, decimals);
        let decimals = text
            .split_once('.')
            .map_or(0, |(_, decimals)| decimals.len());
        let wanted = self.currency.decimals() as usize;
        if decimals >= wanted {
            return text;
        }
        let point = if decimals == 0 { "." } else { "" };
        format!("{text}{point}{}", "0".repeat(wanted - decimals))
    }
}

impl fmt::Display for UnitPrice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let decimals = match self.price.abs() {
            tiny if tiny < Decimal::new(1, 1) => QUANTITY_DECIMALS,
            small if small < Decimal::ONE => 3,
            _ => 0,
        };
        f.write_str(&self.text(decimals.max(self.currency.decimals())))
    }
}

/// A number that isn't money and whose unit stands elsewhere: a decimal string of at most four decimals; for people, two.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Number(pub Decimal);

impl Number {
    /// Returns it with a unit that it is in.
    pub(super) fn of(self, unit: Unit) -> Quantity {
        Quantity {
            quantity: self,
            unit,
        }
    }
}

impl fmt::Display for Number {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&plain(self.0, PEOPLES_DECIMALS))
    }
}

impl Serialize for Number {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&plain(self.0, QUANTITY_DECIMALS))
    }
}

/// A quantity in the units of the ledger: a [`Number`] with its unit beside it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Quantity {
    /// How much.
    pub quantity: Number,
    /// Of what.
    pub unit: Unit,
}

impl Quantity {
    /// Converts a quantity in canonical units.
    pub(super) fn of(quantity: Decimal, unit: Unit, units: Units) -> Quantity {
        let (unit, one) = unit.in_units(units);
        Number(quantity * one).of(unit)
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.unit.told(self.quantity.0, PEOPLES_DECIMALS))
    }
}

/// An area, told to people as areas are measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Surface {
    /// The area.
    pub area: Area,
    units: Units,
}

impl fmt::Display for Surface {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.area.text(self.units))
    }
}

impl Serialize for Surface {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        Quantity::of(self.area.square_feet(), Unit::SquareFoot, self.units).serialize(serializer)
    }
}

/// A length, told to people as lengths are measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Run {
    /// The length.
    pub length: Length,
    units: Units,
}

impl fmt::Display for Run {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.length.text(self.units))
    }
}

impl Serialize for Run {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        Quantity::of(self.length.feet(), Unit::Foot, self.units).serialize(serializer)
    }
}

/// A share in percent: a JSON number of at most two decimals; for people, one decimal, or `-` where there is none.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Percent(pub Option<Decimal>);

impl Percent {
    /// Returns a share that was given as a fraction of one.
    pub fn of_one(fraction: Option<Decimal>) -> Percent {
        Percent(fraction.map(|fraction| fraction * Decimal::ONE_HUNDRED))
    }
}

impl fmt::Display for Percent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            Some(percent) => write!(f, "{:.1} %", round(percent, 1)),
            None => f.write_str("-"),
        }
    }
}

impl Serialize for Percent {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self.0 {
            Some(percent) => number(percent, 2, serializer),
            None => serializer.serialize_none(),
        }
    }
}

/// A rate in percent that somebody set, such as of tax: with every decimal that it has, a JSON number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SetPercent(pub Decimal);

impl SetPercent {
    /// Returns a rate that is kept as a fraction of one.
    pub fn of_one(fraction: Decimal) -> SetPercent {
        SetPercent(fraction * Decimal::ONE_HUNDRED)
    }
}

impl fmt::Display for SetPercent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} %", plain(self.0, QUANTITY_DECIMALS))
    }
}

impl Serialize for SetPercent {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        number(self.0, QUANTITY_DECIMALS, serializer)
    }
}

/// A number of days, or of parts of one: a JSON number of at most two decimals; for people, `1 day`, `1.5 days`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Days(pub Decimal);

impl fmt::Display for Days {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&Unit::Day.told(self.0, PEOPLES_DECIMALS))
    }
}

impl Serialize for Days {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        number(self.0, 2, serializer)
    }
}

/// A day and a time: `2026-03-02T08:00` in JSON; for people, a blank stands between the two.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moment(pub NaiveDateTime);

impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0.format("%Y-%m-%d %H:%M"))
    }
}

impl Serialize for Moment {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&self.0.format("%Y-%m-%dT%H:%M"))
    }
}

/// Writes a decimal as a JSON number: read from its decimal text, since nothing is worked out in floating point.
fn number<S: Serializer>(
    decimal: Decimal,
    decimals: u32,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    let number = plain(decimal, decimals).parse::<serde_json::Number>();
    number.ok().serialize(serializer)
}

/// Writes from how much to how much: `8 to 16 sq ft`.
pub fn range_text(low: Quantity, high: Quantity) -> String {
    if low == high {
        return high.to_string();
    }
    format!("{} to {high}", low.quantity)
}

impl Page {
    /// Returns an amount as answers hold it.
    pub fn amount(&self, money: Money) -> Amount {
        Amount {
            money,
            currency: self.currency,
        }
    }

    /// Returns a unit price as answers hold it.
    pub fn price_of_one(&self, price: Decimal) -> UnitPrice {
        UnitPrice {
            price,
            currency: self.currency,
        }
    }

    /// Returns a quantity in canonical units in those of the ledger.
    pub fn measured(&self, quantity: Decimal, unit: Unit) -> Quantity {
        Quantity::of(quantity, unit, self.units)
    }

    /// Returns a quantity that may not be known, in the units of the ledger.
    pub fn measured_if(&self, quantity: Option<Decimal>, unit: Unit) -> Option<Quantity> {
        quantity.map(|quantity| self.measured(quantity, unit))
    }

    /// Returns an area as answers hold it.
    pub fn surface(&self, area: Area) -> Surface {
        Surface {
            area,
            units: self.units,
        }
    }

    /// Returns a length as answers hold it.
    pub fn run(&self, length: Length) -> Run {
        Run {
            length,
            units: self.units,
        }
    }
}

impl Serialize for Amount {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl Serialize for UnitPrice {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.text(QUANTITY_DECIMALS))
    }
}
