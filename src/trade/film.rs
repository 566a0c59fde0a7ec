//! The film that a coat leaves: how thick it is for how far a gallon goes.
//!
//! A gallon spread over an area stands on it as a film. With a US gallon of 231 cubic inches (NIST Handbook 44,
//! Appendix C), 12 × 12 square inches to the square foot, and a mil of a thousandth of an inch:
//!
//! ```text
//! wet mils = 231 / 0.144 / (sq ft per gallon) = 1604.1666… / (sq ft per gallon)
//! ```
//!
//! Data sheets give a spread; the film tells whether it is plausible, and what a thin coat costs in wear.

use crate::measure::SQUARE_METRES_PER_SQUARE_FOOT;
use crate::money::Decimal;
use crate::trade::Unit;
use crate::trade::operation::{Driver, Operation};
use crate::trade::rates::{Book, RateKind};

/// Square feet that a gallon covers at a thickness of one mil, in 144ths: 231 cubic inches of a thousand mils each.
const SQUARE_FOOT_MILS: (i64, i64) = (231_000, 144);

/// Micrometres in a mil, exactly (16 CFR 500.19).
const MICROMETRES_PER_MIL: Decimal = Decimal::from_parts(254, 0, 0, false, 1);

/// Litres in a US gallon, exactly (NIST Handbook 44, Appendix C).
pub const LITRES_PER_GALLON: Decimal = Decimal::from_parts(3_785_411_784, 0, 0, false, 9);

/// Returns the wet film in mils that a spread in square feet per gallon leaves; the spread is above zero.
pub fn wet_mils(spread: Decimal) -> Decimal {
    let (numerator, denominator) = SQUARE_FOOT_MILS;
    Decimal::from(numerator) / (Decimal::from(denominator) * spread)
}

/// Returns mils in micrometres.
pub fn micrometres(mils: Decimal) -> Decimal {
    mils * MICROMETRES_PER_MIL
}

/// Returns a spread in square feet per gallon as square metres per litre.
pub fn square_metres_per_litre(spread: Decimal) -> Decimal {
    spread * SQUARE_METRES_PER_SQUARE_FOOT / LITRES_PER_GALLON
}

/// Returns the book's spread of a coat on any floor, in square feet per gallon; `None`: it is no such coat.
pub fn book_spread(operation: &Operation, book: &Book) -> Option<Decimal> {
    let unit = operation.item.as_ref()?.unit;
    let row = book.rows().find(|row| {
        let general = row.condition.is_none() && row.species.is_none();
        row.operation == operation.id && row.kind == RateKind::Item && general
    })?;
    match (operation.driver, unit) {
        (Driver::Area, Unit::Gallon) => Some(row.driver_per_item),
        (Driver::Area, Unit::Litre) => Some(row.driver_per_item * LITRES_PER_GALLON),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;
    use crate::money::round;

    #[test]
    fn films_are_as_thick_as_arithmetic_has_them() {
        // 231 / 0.144, usually printed 1604; films to three decimals of a mil, tenths of a micrometre.
        assert_eq!(round(wet_mils(dec!(1)), 4), dec!(1604.1667));
        for (spread, mils, micrometre) in [
            (dec!(350), dec!(4.583), dec!(116.4)),
            (dec!(400), dec!(4.010), dec!(101.9)),
            (dec!(500), dec!(3.208), dec!(81.5)),
            (dec!(600), dec!(2.674), dec!(67.9)),
            (dec!(3200), dec!(0.501), dec!(12.7)),
        ] {
            assert_eq!(round(wet_mils(spread), 3), mils, "{spread}");
            assert_eq!(
                round(micrometres(wet_mils(spread)), 1),
                micrometre,
                "{spread}"
            );
        }
    }

    #[test]
    fn spreads_convert_both_ways() {
        assert_eq!(round(square_metres_per_litre(dec!(500)), 2), dec!(12.27));
        assert_eq!(
            round(square_metres_per_litre(dec!(1)), 10),
            dec!(0.0245423867)
        );
        assert_eq!(
            round(Decimal::ONE / square_metres_per_litre(dec!(1)), 7),
            dec!(40.7458333)
        );
    }
}
