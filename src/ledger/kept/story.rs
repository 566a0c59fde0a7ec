//! How a rate came to be what it is.

use chrono::NaiveDate;

use super::super::stories::KeptStory;
use super::rate::RateRowShape;
use super::{Kept, shape};

impl Kept for KeptStory {
    type Shape = StoryShape;
    const NAME: &'static str = "story";
    const FORMAT: u32 = 1;
}

shape! {
    /// The whole of it.
    StoryShape of KeptStory {
        taught_by: Vec<i64>,
        earlier: usize,
        course: Vec<(NaiveDate, RateRowShape)>,
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::super::tests::golden;
    use super::*;
    use crate::money::Decimal;
    use crate::trade::OperationId;
    use crate::trade::rates::{Band, Cell, Drift, Rate, RateKind, RateRow};

    #[test]
    fn a_story_is_kept_in_this_text() {
        let rate = |per_unit| Rate {
            per_unit,
            fixed: Decimal::ZERO,
        };
        let row = RateRow {
            cell: Cell {
                operation: OperationId(4),
                kind: RateKind::Hours,
                condition: None,
                species: None,
            },
            book: rate(dec!(0.05)),
            observed: None,
            rooms: 0,
            exposure: Decimal::ZERO,
            learned: rate(dec!(0.06)),
            band: Band {
                low: dec!(0.04),
                high: dec!(0.07),
            },
            shares: [0, 0, 10, 90],
            crew_drift: Drift::None,
            own_drift: Drift::None,
            newest: Vec::new(),
        };
        golden(
            &KeptStory {
                taught_by: vec![7, 9],
                earlier: 2,
                course: vec![(NaiveDate::from_ymd_opt(2026, 1, 12).unwrap(), row)],
            },
            concat!(
                r#"{"format":1,"kept":{"taught_by":[7,9],"earlier":2,"course":[["2026-01-12",{"#,
                r#""cell":{"operation":4,"kind":"hours","condition":null,"species":null},"#,
                r#""book":{"per_unit":"0.05","fixed":"0"},"observed":null,"rooms":0,"exposure":"0","#,
                r#""learned":{"per_unit":"0.06","fixed":"0"},"band":["0.04","0.07"],"shares":[0,0,10,90],"#,
                r#""crew_drift":"none","own_drift":"none","newest":[]}]]}}"#,
            ),
        );
    }
}
