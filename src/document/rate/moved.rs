//! The rates that a job moved when it was closed.

use super::{Fine, RateAnswer, far, one_of};
use crate::document::figures::Percent;
use crate::money::Decimal;
use crate::trade::operation::{Driver, Operation};
use crate::trade::rates::{RateKind, RateMoved};
use crate::trade::{FloorCondition, Species, Unit};

answer! {
    /// A rate that moved: driver units that one item or hour does, before and after.
    pub struct RateMovedFacts of (moved: &RateMoved, operation: &Operation) on page
    let before = RateAnswer::new(&moved.before, operation.into(), page);
    let after = RateAnswer::new(&moved.after, operation.into(), page);
    let change = moved.change().and_then(|change| Decimal::ONE.checked_div(change));
    {
        #[serde(skip)]
        words: String = words(&before, &after),
        operation: String = after.operation,
        condition: Option<FloorCondition> = after.condition,
        species: Option<Species> = after.species,
        kind: RateKind = after.kind,
        unit: Unit = after.unit,
        per_unit: Unit = after.per_unit,
        before: Option<Fine> = before.each_does.learned,
        after: Option<Fine> = after.each_does.learned,
        change_percent: Percent = Percent::of_one(change.map(|change| change - Decimal::ONE)),
    }
}

impl RateMovedFacts {
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
    let learned = far(after.each_does.learned);
    let measured = match after.driver {
        Driver::Count => String::new(),
        _ => format!(" {}", after.measured_in(&learned)),
    };
    let one = match after.kind {
        RateKind::Hours => "an hour".to_owned(),
        RateKind::Item => format!("a {}", one_of(after.unit)),
    };
    format!(
        "{}{floor}: {} to {}{measured} {one}",
        after.operation,
        far(before.each_does.learned),
        learned,
    )
}
