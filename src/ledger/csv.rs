//! Cells of CSV that a spreadsheet would run as a formula get an apostrophe in front; reading takes it off again.

use crate::money::number;

/// Signs that make a spreadsheet take a cell for a formula.
const FORMULA_SIGNS: [char; 6] = ['=', '+', '-', '@', '\t', '\r'];

/// Returns a cell that no spreadsheet runs; numbers stay numbers.
pub fn defused(cell: &str) -> String {
    if is_formula(cell) && number(cell).is_none() {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

/// Returns a cell as it was before it was defused.
pub(super) fn armed(cell: &str) -> &str {
    cell.strip_prefix('\'')
        .filter(|rest| is_formula(rest))
        .unwrap_or(cell)
}

/// Tells whether a spreadsheet would run a cell, or would after apostrophes in front of it are taken off.
fn is_formula(cell: &str) -> bool {
    cell.trim_start_matches('\'').starts_with(FORMULA_SIGNS)
}
