//! The edge of the model: quantities enter it as floats, and leave it as decimals.

use rust_decimal::prelude::ToPrimitive;

use crate::money::Decimal;

/// Returns a quantity as a float; quantities are far within its range.
pub(in crate::trade) fn float(value: Decimal) -> f64 {
    value.to_f64().unwrap_or_default()
}

/// Returns a float as a decimal; one that is too large or isn't a number is as good as nothing.
pub(super) fn decimal(value: f64) -> Decimal {
    Decimal::try_from(value).unwrap_or_default()
}
