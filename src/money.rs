//! Money, decimal quantities, and the one rounding rule.
//!
//! [`Money`] is a count of minor units (cents) of the ledger's currency.
//! It does not carry the currency: a ledger has one, and [`Currency`] turns amounts into text and back.
//! Unit prices and quantities are [`Decimal`]s; a product of the two becomes money through [`Currency::amount`],
//! which rounds **half away from zero, per line**; sums are then sums of whole minor units.
//! That is the rule of EN 16931 (each line rounded, then added), and nothing else in the program rounds:
//! `clippy.toml` bans the banker's rounding of `rust_decimal`.
//!
//! Amounts never wrap and never stop at their largest. A sum, share or product that can't be counted gives all of the work
//! up as [`Beyond`], as a panic that is an answer and no defect, so that a formula stays as it is written on paper;
//! [`within`] is the door through which whoever began the work hears of it, and what it wrote is rolled back.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Neg, Sub, SubAssign};
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};

pub use rust_decimal::Decimal;
use rust_decimal::RoundingStrategy;
use rust_decimal::prelude::ToPrimitive;
use thiserror::Error;

/// Decimals kept of a stored quantity: a millionth of a disc, gallon, hour or square foot.
pub const QUANTITY_DECIMALS: u32 = 6;

/// Largest amount of money that is read from text, in major units; beyond it a slip is likelier than a floor.
const LARGEST_AMOUNT: i64 = 100_000_000;

/// Largest number of any kind that is read from text.
const LARGEST_NUMBER: i64 = 1_000_000_000_000;

/// Most units of anything that one entry or finding takes: times the largest price, it still fits what is kept.
pub const MOST_UNITS: Decimal = Decimal::from_parts(10_000_000, 0, 0, false, 0);

/// Largest amount that is kept, in minor units: what one entry or line comes to. A ledger of nine million of them adds up.
pub const LARGEST_KEPT: Money = Money(1_000_000_000_000);

/// What arithmetic on amounts and quantities ends with when the result is beyond what can be counted.
#[derive(Debug, Error, PartialEq, Eq)]
#[error("these numbers come to more than can be counted: one of them is a slip")]
pub struct Beyond;

/// Does work in which amounts are added and multiplied.
///
/// # Errors
/// Refuses what comes to more than can be counted.
pub fn within<T>(work: impl FnOnce() -> T) -> Result<T, Beyond> {
    catch_unwind(AssertUnwindSafe(work)).map_err(|given_up| match given_up.downcast::<Beyond>() {
        Ok(beyond) => *beyond,
        Err(defect) => resume_unwind(defect),
    })
}

/// Returns what was counted, or gives the work up.
pub(crate) fn counted<T>(result: Option<T>) -> T {
    result.unwrap_or_else(|| resume_unwind(Box::new(Beyond)))
}

/// An amount in minor units of the ledger's currency.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Money(i64);

impl Money {
    /// Nothing.
    pub const ZERO: Money = Money(0);

    /// Returns the amount of that many minor units (cents).
    pub const fn from_minor(minor: i64) -> Self {
        Money(minor)
    }

    /// Returns the number of minor units (cents).
    pub const fn minor(self) -> i64 {
        self.0
    }

    /// Tells whether the amount is below zero.
    pub const fn is_negative(self) -> bool {
        self.0 < 0
    }

    /// Tells whether the amount is zero.
    pub const fn is_zero(self) -> bool {
        self.0 == 0
    }

    /// Returns the amount without its sign.
    pub fn abs(self) -> Self {
        if self.is_negative() { -self } else { self }
    }

    /// Returns the share `numerator / denominator` of the amount, rounded; the denominator is not zero.
    pub fn share(self, numerator: Decimal, denominator: Decimal) -> Money {
        let whole = counted(Decimal::from(self.0).checked_mul(numerator));
        from_minor_decimal(counted(whole.checked_div(denominator)))
    }

    /// Returns the amount times a factor, rounded.
    pub fn times(self, factor: Decimal) -> Money {
        from_minor_decimal(counted(Decimal::from(self.0).checked_mul(factor)))
    }

    /// Spreads the amount over parts by weight: each part is rounded, and the cents that rounding
    /// leaves over or short go to the part with the largest weight (the first of equals).
    ///
    /// Parts always add up to the amount. With no weight above zero, parts are equal.
    pub fn spread(self, weights: &[Decimal]) -> Vec<Money> {
        let total: Decimal = weights.iter().sum();
        let mut parts: Vec<Money> = if total > Decimal::ZERO {
            weights
                .iter()
                .map(|weight| self.share(*weight, total))
                .collect()
        } else {
            let count = Decimal::from(weights.len());
            weights
                .iter()
                .map(|_| self.share(Decimal::ONE, count))
                .collect()
        };
        let rest = self - parts.iter().copied().sum();
        let largest = weights
            .iter()
            .enumerate()
            .rev()
            .max_by_key(|(_, weight)| **weight)
            .map(|(position, _)| position);
        if let Some(largest) = largest {
            parts[largest] += rest;
        }
        parts
    }
}

fn from_minor_decimal(minor: Decimal) -> Money {
    Money(counted(round(minor, 0).to_i64()))
}

impl Add for Money {
    type Output = Money;
    fn add(self, other: Money) -> Money {
        Money(counted(self.0.checked_add(other.0)))
    }
}

impl Sub for Money {
    type Output = Money;
    fn sub(self, other: Money) -> Money {
        Money(counted(self.0.checked_sub(other.0)))
    }
}

impl Neg for Money {
    type Output = Money;
    fn neg(self) -> Money {
        Money(counted(self.0.checked_neg()))
    }
}

impl AddAssign for Money {
    fn add_assign(&mut self, other: Money) {
        *self = *self + other;
    }
}

impl SubAssign for Money {
    fn sub_assign(&mut self, other: Money) {
        *self = *self - other;
    }
}

impl Sum for Money {
    fn sum<I: Iterator<Item = Money>>(amounts: I) -> Money {
        amounts.fold(Money::ZERO, Add::add)
    }
}

/// A currency of ISO 4217: its code and how many decimals its minor unit has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Currency {
    code: iso_currency::Currency,
    decimals: u32,
}

/// Why a text is not an amount of money.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum AmountError {
    /// Not a number.
    #[error("`{0}` is not an amount of money")]
    NotANumber(String),
    /// More decimals than the currency's minor unit.
    #[error("`{text}` has more decimals than {code} has ({decimals})")]
    TooManyDecimals {
        /// The text as typed.
        text: String,
        /// The currency's code.
        code: &'static str,
        /// Decimals of its minor unit.
        decimals: u32,
    },
    /// Beyond what the ledger keeps.
    #[error("`{0}` is too large an amount")]
    TooLarge(String),
}

impl Currency {
    /// Returns the currency of an ISO 4217 code, if there is one with a minor unit.
    pub fn from_code(code: &str) -> Option<Currency> {
        let code = iso_currency::Currency::from_code(&code.to_ascii_uppercase())?;
        let decimals = u32::from(code.exponent()?);
        Some(Currency { code, decimals })
    }

    /// Returns the ISO 4217 code.
    pub fn code(self) -> &'static str {
        self.code.code()
    }

    /// Returns the sign that people write amounts with: `$`.
    pub fn sign(self) -> String {
        self.code.symbol().to_string()
    }

    /// Returns the number of decimals of the minor unit.
    pub fn decimals(self) -> u32 {
        self.decimals
    }

    /// Rounds a decimal amount in major units to money, half away from zero.
    pub fn amount(self, major: Decimal) -> Money {
        from_minor_decimal(counted(
            major.checked_mul(Decimal::from(10_i64.pow(self.decimals))),
        ))
    }

    /// Returns the amount in major units.
    pub fn decimal(self, money: Money) -> Decimal {
        Decimal::new(money.0, self.decimals)
    }

    /// Reads an amount typed by a person: digits, an optional sign, at most the currency's decimals.
    ///
    /// # Errors
    /// Refuses what is not a number, more decimals than the currency has, and amounts beyond 10^8.
    pub fn parse(self, text: &str) -> Result<Money, AmountError> {
        let major: Decimal =
            number(text).ok_or_else(|| AmountError::NotANumber(text.trim().to_owned()))?;
        self.amount_of(major, text)
    }

    /// Returns an amount in major units that was typed as this text.
    ///
    /// # Errors
    /// Refuses more decimals than the currency has, and amounts beyond 10^8.
    pub fn amount_of(self, major: Decimal, text: &str) -> Result<Money, AmountError> {
        if major.normalize().scale() > self.decimals {
            return Err(AmountError::TooManyDecimals {
                text: text.trim().to_owned(),
                code: self.code(),
                decimals: self.decimals,
            });
        }
        if major.abs() > Decimal::from(LARGEST_AMOUNT) {
            return Err(AmountError::TooLarge(text.trim().to_owned()));
        }
        Ok(self.amount(major))
    }

    /// Writes an amount as a plain decimal text with all the currency's decimals: `1234.50`.
    pub fn text(self, money: Money) -> String {
        self.decimal(money).to_string()
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

/// Rounds half away from zero to that many decimals.
pub fn round(value: Decimal, decimals: u32) -> Decimal {
    #[expect(
        clippy::disallowed_methods,
        reason = "this is the one place that rounds"
    )]
    value.round_dp_with_strategy(decimals, RoundingStrategy::MidpointAwayFromZero)
}

/// Rounds to the precision that quantities are stored with.
pub fn quantity(value: Decimal) -> Decimal {
    round(value, QUANTITY_DECIMALS)
}

/// Returns the product of quantities, prices and factors.
pub fn product<const N: usize>(factors: [Decimal; N]) -> Decimal {
    let product = |so_far: Decimal, factor| counted(so_far.checked_mul(factor));
    factors.into_iter().fold(Decimal::ONE, product)
}

/// Reads a plain decimal number: no exponent, no thousands marks; `None` if it is not one.
pub fn number(text: &str) -> Option<Decimal> {
    let text = text.trim();
    let plain = text
        .bytes()
        .all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b'-' | b'+'));
    let parsed = if plain {
        Decimal::from_str_exact(text).ok()
    } else {
        None
    };
    parsed.filter(|value| value.abs() <= Decimal::from(LARGEST_NUMBER))
}

/// Writes a quantity for people and for JSON: at most `decimals` decimals, no trailing zeros.
pub fn plain(value: Decimal, decimals: u32) -> String {
    let rounded = round(value, decimals).normalize();
    if rounded.is_zero() {
        "0".to_owned()
    } else {
        rounded.to_string()
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;

    fn usd() -> Currency {
        Currency::from_code("usd").unwrap()
    }

    #[test]
    fn lines_are_rounded_half_away_from_zero_before_they_are_added() {
        // The worked invoice by the rules BR-CO-10 to -17 of EN 16931-1 (CEN/TC 434 validation artefacts).
        let lines = [
            (dec!(812.5), dec!(3.85)),
            (dec!(14), dec!(42)),
            (dec!(37.5), dec!(2.35)),
        ];
        let net: Vec<Money> = lines
            .iter()
            .map(|(count, price)| usd().amount(count * price))
            .collect();
        assert_eq!(net, [312_813, 58_800, 8_813].map(Money::from_minor));
        let sum: Money = net.into_iter().sum();
        assert_eq!(usd().text(sum), "3804.26");
        assert_eq!(usd().amount(dec!(-0.125)), Money::from_minor(-13));
    }

    #[test]
    fn minor_units_are_those_of_iso_4217() {
        for (code, decimals) in [
            ("USD", 2),
            ("EUR", 2),
            ("CAD", 2),
            ("GBP", 2),
            ("JPY", 0),
            ("KWD", 3),
        ] {
            assert_eq!(
                Currency::from_code(code).unwrap().decimals(),
                decimals,
                "{code}"
            );
        }
        assert_eq!(Currency::from_code("QQQ"), None);
    }

    #[test]
    fn amounts_are_read_exactly_or_refused() {
        for (text, minor) in [
            ("96.00", 9600),
            ("96", 9600),
            ("-1.5", -150),
            (" 18.40 ", 1840),
            ("18.400", 1840),
        ] {
            assert_eq!(usd().parse(text), Ok(Money::from_minor(minor)), "{text}");
        }
        for text in [
            "",
            "x",
            "1e3",
            "1,000",
            "1.005",
            "NaN",
            "inf",
            "9999999999999",
            "--1",
            ".",
        ] {
            assert!(usd().parse(text).is_err(), "{text}");
        }
        let yen = Currency::from_code("JPY").unwrap();
        assert_eq!(
            yen.parse("9.60").unwrap_err().to_string(),
            "`9.60` has more decimals than JPY has (0)"
        );
    }

    #[test]
    fn spreading_loses_no_cent_and_gives_the_rest_to_the_largest() {
        let parts = Money::from_minor(100).spread(&[dec!(1), dec!(1), dec!(1)]);
        assert_eq!(parts, [34, 33, 33].map(Money::from_minor));
        let parts = Money::from_minor(100).spread(&[dec!(1), dec!(2), dec!(4)]);
        assert_eq!(parts, [14, 29, 57].map(Money::from_minor));
        let parts = Money::from_minor(-7).spread(&[dec!(0), dec!(0)]);
        assert_eq!(parts.into_iter().sum::<Money>(), Money::from_minor(-7));
        assert!(Money::from_minor(5).spread(&[]).is_empty());
    }

    #[test]
    fn what_cannot_be_counted_is_given_up_and_never_wraps() {
        let most = Money::from_minor(i64::MAX);
        let huge = dec!(10_000_000_000_000_000);
        let works: [&dyn Fn() -> Money; 9] = [
            &|| most + Money::from_minor(1),
            &|| Money::from_minor(i64::MIN) - Money::from_minor(1),
            &|| -Money::from_minor(i64::MIN),
            &|| Money::from_minor(i64::MIN).abs(),
            &|| [most, most].into_iter().sum(),
            &|| most.times(dec!(1.1)),
            &|| most.share(huge, Decimal::ONE),
            &|| Money::from_minor(1).share(Decimal::ONE, Decimal::ZERO),
            &|| usd().amount(product([huge, huge, huge])),
        ];
        for (place, work) in works.iter().enumerate() {
            assert_eq!(within(work), Err(Beyond), "{place}");
        }
        assert_eq!(
            within(|| most - Money::from_minor(1)),
            Ok(Money::from_minor(i64::MAX - 1))
        );
    }

    proptest::proptest! {
        #[test]
        fn spread_parts_always_add_up(minor in -1_000_000_i64..1_000_000, weights in proptest::collection::vec(0_u32..10_000, 1..12)) {
            let weights: Vec<Decimal> = weights.into_iter().map(Decimal::from).collect();
            let parts = Money::from_minor(minor).spread(&weights);
            proptest::prop_assert_eq!(parts.into_iter().sum::<Money>(), Money::from_minor(minor));
        }
    }
}
