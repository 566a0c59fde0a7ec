//! The rates that a job moved when it was closed.

use serde::Serialize;

use super::{Fine, RateAnswer, Rated, far, one_of};
use crate::document::Page;
use crate::document::figures::Percent;
use crate::money::Decimal;
use crate::trade::operation::{Driver, Operation};
use crate::trade::rates::{RateKind, RateMoved};
use crate::trade::{FloorCondition, Species, Unit};

/// A rate that moved: driver units that one item or hour does, before and after.
#[derive(Debug, Serialize)]
pub struct RateMovedFacts {
    operation: String,
    condition: Option<FloorCondition>,
    species: Option<Species>,
    kind: RateKind,
    unit: Unit,
    per_unit: Unit,
    before: Option<Fine>,
    after: Option<Fine>,
    change_percent: Percent,
    #[serde(skip)]
    words: String,
}

impl RateMovedFacts {
    /// Returns what is told of a rate of an operation that moved.
    pub fn new(moved: &RateMoved, operation: &Operation, page: &Page) -> RateMovedFacts {
        let of = Rated::from(operation);
        let before = RateAnswer::new(&moved.before, of, page);
        let after = RateAnswer::new(&moved.after, of, page);
        let change = moved
            .change()
            .and_then(|change| Decimal::ONE.checked_div(change));
        RateMovedFacts {
            words: words(&before, &after),
            before: before.each_does.learned,
            after: after.each_does.learned,
            change_percent: Percent::of_one(change.map(|change| change - Decimal::ONE)),
            operation: after.operation,
            condition: after.condition,
            species: after.species,
            kind: after.kind,
            unit: after.unit,
            per_unit: after.per_unit,
        }
    }

    /// Says what moved: `rotary-36 on worn film: 8.23 to 8.42 sq ft a disc`.
    pub fn words(&self) -> &str {
        &self.words
    }
}

fn words(before: &RateAnswer, after: &RateAnswer) -> String {
    let condition = after.condition.map(FloorCondition::as_str);
    let floor = condition
        .into_iter()
        .chain(after.species.map(Species::as_str));
    let floor: Vec<String> = floor.map(|word| word.replace('-', " ")).collect();
    let floor = match floor.join(", ") {
        any if any.is_empty() => any,
        floor => format!(" on {floor}"),
    };
    let measured = match after.driver {
        Driver::Count => String::new(),
        _ => format!(" {}", after.measured_in()),
    };
    let one = match after.kind {
        RateKind::Hours => "an hour".to_owned(),
        RateKind::Item => format!("a {}", one_of(after.unit)),
    };
    format!(
        "{}{floor}: {} to {}{measured} {one}",
        after.operation,
        far(before.each_does.learned),
        far(after.each_does.learned),
    )
}
