//! Looking back and around: margins, variances, consumables, rentals, what belongs to no job, work in hand and its money, the year, and today, one file each.

pub mod cash;
pub mod causes;
pub mod consumables;
pub mod explained;
mod groups;
pub mod margin;
pub mod overheads;
pub mod rentals;
pub mod today;
pub mod variance;
pub mod work_in_hand;
pub mod year;

use std::fmt;

use super::count;
use super::figures::Amount;
use crate::trade::job_cost::Missing;

answer! {
    /// What was quoted and has nothing recorded about it: no cost yet, and no saving.
    #[derive(Clone, Copy)]
    pub(super) struct NotRecorded from missing: Missing on page {
        operations: usize,
        others: usize,
        quoted_cost: Amount = page.amount(missing.quoted),
        might_turn_up_cost: Amount = page.amount(missing.might),
        .. { quoted, might }
    }
}

impl NotRecorded {
    fn is_nothing(self) -> bool {
        self.operations + self.others == 0
    }
}

/// Says it in words: `3 operations and 1 other line, quoted at 120.40`.
impl fmt::Display for NotRecorded {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parts = [(self.operations, "operation"), (self.others, "other line")];
        let parts = parts.into_iter().filter(|(number, _)| *number > 0);
        let parts: Vec<String> = parts.map(|(number, what)| count(number, what)).collect();
        write!(f, "{}, quoted at {}", parts.join(" and "), self.quoted_cost)?;
        match self.might_turn_up_cost {
            nothing if nothing.money.is_zero() => Ok(()),
            might => write!(f, " ({might} of it only might turn up)"),
        }
    }
}
