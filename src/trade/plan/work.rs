//! How much is looked at for a plan: counted in steps, never in time, so that the same request gets the same plan on any
//! machine.

use std::cell::Cell;

/// How many steps the plan of a house may take: under two seconds of a processor of 2020. Few plans take all of them.
pub(super) const BUDGET: u64 = 120_000_000;
/// After how many steps it is told how far the work has come.
const TELL: u64 = BUDGET / 100;

/// The steps of a search, counted.
pub(super) struct Steps<'a> {
    budget: u64,
    done: Cell<u64>,
    /// Up to how many steps what is looked for now may go.
    until: Cell<u64>,
    told: Cell<u64>,
    tell: &'a dyn Fn(u32),
}

impl<'a> Steps<'a> {
    /// Begins to count; whoever is told hears now and then how many hundredths of the budget are used.
    pub(super) fn new(budget: u64, tell: &'a dyn Fn(u32)) -> Steps<'a> {
        Steps {
            budget,
            done: Cell::new(0),
            until: Cell::new(budget),
            told: Cell::new(0),
            tell,
        }
    }

    /// Lets what follows take so many hundredths of the budget, as far as there is as much left.
    pub(super) fn allow(&self, hundredths: u64) {
        let until = self.done.get() + self.budget / 100 * hundredths;
        self.until.set(until.min(self.budget));
    }

    /// Counts some steps.
    pub(super) fn count(&self, steps: usize) {
        self.done.set(self.done.get() + steps as u64);
        if self.done.get() - self.told.get() >= TELL {
            self.told.set(self.done.get());
            let hundredths = self.done.get() * 100 / self.budget.max(1);
            (self.tell)(u32::try_from(hundredths).unwrap_or(u32::MAX).min(100));
        }
    }

    /// Tells whether there may be more.
    pub(super) fn is_left(&self) -> bool {
        self.done.get() < self.until.get()
    }
}
