//! What the machines of a plan cost that go out and back together.

use super::Machine;
use super::calendar::{self, Day};
use super::rest::NEVER;
use crate::trade::rental::{Need, Yard};

/// Days for which a rental is priced; machines aren't kept for longer.
const LONGEST: usize = 200;

/// Prices of a set of machines that go out together, for each day of the week and number of days.
pub(super) struct Kit {
    /// By day of the week (a [`Day`] modulo 7), then by number of days; no days cost nothing.
    pub(super) prices: [Vec<i64>; 7],
    /// The least that one rental costs, by number of days, whatever the day of the week.
    pub(super) one: Vec<i64>,
    /// The least that one rental or several cost that last so many days in all.
    least: Vec<i64>,
}

impl Kit {
    pub(super) fn new(machines: &[Machine], start: Day) -> Kit {
        let most = Need::half_days(2 * LONGEST as u32);
        let mut prices: [Vec<i64>; 7] = Default::default();
        for offset in 0..7 {
            let out = start + offset;
            let mut sums = vec![0; LONGEST + 1];
            for machine in machines {
                let yard = Yard::planned(&machine.tariff, Some(calendar::date(out)), most);
                let totals = yard.totals();
                for (days, sum) in sums.iter_mut().enumerate() {
                    *sum += totals[2 * days].minor();
                }
            }
            prices[out.rem_euclid(7) as usize] = sums;
        }
        let mut least = vec![0; LONGEST + 1];
        for days in (1..=LONGEST).rev() {
            // A longer rental covers a shorter one, whatever the day of the week.
            let longer = least.get(days + 1).copied().unwrap_or(NEVER);
            let prices = prices.iter().map(|prices: &Vec<i64>| prices[days]).min();
            least[days] = prices.unwrap_or(0).min(longer);
        }
        let one = least.clone();
        for days in 2..=LONGEST {
            let apart = (1..=days / 2)
                .map(|one| least[one] + least[days - one])
                .min();
            least[days] = least[days].min(apart.unwrap_or(NEVER));
        }
        Kit { prices, one, least }
    }

    /// Returns the least that one rental or several cost that last so many days in all.
    pub(super) fn least_for(&self, days: usize) -> i64 {
        self.least[days.min(LONGEST)]
    }

    /// Returns what a rental from the morning of a day to the morning after another costs; `None`: it is too long.
    pub(super) fn price(&self, out: Day, back: Day) -> Option<i64> {
        let days = usize::try_from(back - out + 1).ok()?;
        self.prices[out.rem_euclid(7) as usize].get(days).copied()
    }
}
