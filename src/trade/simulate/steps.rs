//! What is paid in steps: a machine's days and half days, and the packs of an item that doesn't keep.

use super::draws::decimal;
use super::{ItemModel, MachineModel, NoPacks};
use crate::trade::buying::{BuyError, PackSize, Shelf};
use crate::trade::rates::float;
use crate::trade::rental::{HALF_DAY_HOURS, MOST_DAYS};

/// What a machine's rental costs for each number of half days, and how many of them its hours take.
pub(super) struct Rental {
    costs: Vec<f64>,
    /// Hours in a working day.
    day: f64,
    /// Up to how many hours, after full days, are a half day.
    half_day: f64,
}

impl Rental {
    pub(super) fn new(machine: &MachineModel) -> Rental {
        Rental {
            costs: machine
                .totals
                .iter()
                .map(|total| total.minor() as f64)
                .collect(),
            day: float(machine.day_hours),
            half_day: float(HALF_DAY_HOURS),
        }
    }

    /// Counts the half days that hours take, as `Need::for_hours` does, up to the longest rental that has a price.
    #[inline]
    pub(super) fn half_days(&self, hours: f64) -> usize {
        let days = (hours / self.day).floor();
        let left = hours - days * self.day;
        let rest = match left {
            left if left <= 1e-9 => 0,
            left if left <= self.half_day => 1,
            _ => 2,
        };
        (2 * (days as usize).min(MOST_DAYS as usize) + rest).min(self.costs.len() - 1)
    }

    /// Returns what that many half days cost.
    #[inline]
    pub(super) fn cost(&self, half_days: usize) -> f64 {
        self.costs[half_days]
    }
}

/// The packs of an item that doesn't keep once opened.
pub(super) struct OpenedPacks {
    item: usize,
    packs: Vec<PackSize>,
    unit_cost: f64,
    /// The covers as far as was needed yet; what they hold and what they cost both rise.
    covers: Vec<PackCover>,
}

/// Packs that may be bought together.
struct PackCover {
    holds: f64,
    price: f64,
}

impl OpenedPacks {
    /// Returns the packs of the item at that place; `None`: it keeps.
    pub(super) fn new(item: usize, model: &ItemModel) -> Option<OpenedPacks> {
        Some(OpenedPacks {
            item,
            packs: model.opened.clone()?,
            unit_cost: float(model.unit_cost),
            covers: Vec::new(),
        })
    }

    /// Prices the rest of the packs that are opened for each draw: what the packs cost, less what is used at its unit
    /// price. Returns what is left in all of them, in units.
    pub(super) fn price(&mut self, used: &[f64], rests: &mut [f64]) -> Result<f64, NoPacks> {
        let most = used.iter().copied().fold(0.0, f64::max);
        if self.covers.last().is_none_or(|cover| cover.holds < most) {
            self.covers = self.covers_up_to(2.0 * most).map_err(|source| NoPacks {
                item: self.item,
                source,
            })?;
        }
        let mut left = 0.0;
        for (rest, used) in rests.iter_mut().zip(used) {
            let place = self.covers.partition_point(|cover| cover.holds < *used);
            let cover = &self.covers[place.min(self.covers.len() - 1)];
            *rest = cover.price - used * self.unit_cost;
            left += (cover.holds - used).max(0.0);
        }
        Ok(left)
    }

    fn covers_up_to(&self, most: f64) -> Result<Vec<PackCover>, BuyError> {
        let shelf = Shelf::new(&self.packs, decimal(most))?;
        let covers = shelf.covers().map(|cover| PackCover {
            holds: float(cover.holds),
            price: cover.price.minor() as f64,
        });
        Ok(covers.collect())
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;
    use crate::money::{Decimal, Money};
    use crate::trade::rental::Need;

    #[test]
    fn half_days_are_counted_as_plans_count_them() {
        for day_hours in [dec!(3), dec!(4), dec!(7.5), dec!(8)] {
            let rental = Rental::new(&MachineModel {
                totals: vec![Money::ZERO; 200],
                day_hours,
            });
            for quarters in 0..200_u32 {
                let hours = Decimal::from(quarters) / dec!(4);
                let need = Need::half_days(rental.half_days(float(hours)) as u32);
                assert_eq!(
                    need,
                    Need::for_hours(hours, day_hours),
                    "{hours} h of {day_hours}"
                );
            }
        }
    }
}
