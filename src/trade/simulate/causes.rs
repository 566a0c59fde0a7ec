//! What most of each operation's variance is due to, in closed form.

use super::{Contingency, Model};
use crate::trade::quote::Cause;
use crate::trade::rates::float;
use crate::trade::rates::forecast::Spread;

impl Model {
    /// Returns what most of each operation's variance is due to.
    pub(in crate::trade) fn causes(&self) -> Vec<Cause> {
        let mut parts = vec![Components::default(); self.operations];
        for quantity in &self.quantities {
            let spread = &quantity.spread;
            let contingency = quantity.contingency.map(|place| &self.contingencies[place]);
            let unit_cost = float(quantity.unit_cost);
            for (part, share) in quantity.uses.iter().zip(&spread.shares) {
                let cost = (spread.slope + spread.fixed) * share * unit_cost;
                parts[part.operation].add(spread, cost, unit_cost * share, contingency);
            }
        }
        parts.iter().map(Components::largest).collect()
    }
}

/// An operation's variance by what it is due to.
#[derive(Clone, Debug, Default)]
struct Components {
    /// Standard deviation by what isn't known of the rates; those of all quantities add up, since they share the rates.
    rate: f64,
    /// Standard deviation by how jobs differ; it adds up in the same way.
    job: f64,
    /// Variance by how rooms differ.
    room: f64,
    /// Variance by what may turn up.
    contingency: f64,
}

impl Components {
    fn add(
        &mut self,
        spread: &Spread,
        cost: f64,
        unit_cost: f64,
        contingency: Option<&Contingency>,
    ) {
        let chance = contingency.map_or(1.0, |contingency| float(contingency.chance));
        self.rate += chance * cost * spread.known.iter().sum::<f64>().sqrt();
        self.job += chance * cost * spread.job.sqrt();
        self.room += chance * (spread.room * cost * cost + spread.dispersion * unit_cost * cost);
        if let Some(contingency) = contingency {
            let (low, high) = (float(contingency.low), float(contingency.high));
            let middle = 0.5 * (low + high);
            let wide = if middle > 0.0 {
                (high - low) / middle
            } else {
                0.0
            };
            self.contingency += cost * cost * chance * (1.0 - chance + wide * wide / 12.0);
        }
    }

    fn largest(&self) -> Cause {
        let parts = [
            (self.contingency, Cause::Contingency),
            (self.rate * self.rate, Cause::Rate),
            (self.job * self.job, Cause::Job),
            (self.room, Cause::Room),
        ];
        let largest = parts
            .into_iter()
            .max_by(|one, another| one.0.total_cmp(&another.0));
        largest.map_or(Cause::Room, |(_, cause)| cause)
    }
}
