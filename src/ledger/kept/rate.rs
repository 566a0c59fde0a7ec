//! A rate that a quote was priced with, and where it came from.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::{Broken, Kept, Shape, shape};
use crate::money::Decimal;
use crate::trade::rates::{Band, Cell, Drift, Rate, RateKind, RateRow, Taught};
use crate::trade::{FloorCondition, OperationId, Species};

impl Kept for RateRow {
    type Shape = RateRowShape;
    const NAME: &'static str = "rate";
    const FORMAT: u32 = 1;
}

shape! {
    /// The whole of it.
    RateRowShape of RateRow {
        cell: CellShape,
        book: RateShape,
        observed: Option<Decimal>,
        rooms: usize,
        exposure: Decimal,
        learned: RateShape,
        band: (Decimal, Decimal),
        shares: [u32; 4],
        crew_drift: DriftShape,
        own_drift: DriftShape,
        newest: Vec<TaughtShape>,
    }
}

shape! {
    /// Where rates are told apart.
    CellShape of Cell {
        operation: OperationId,
        kind: RateKind,
        condition: Option<FloorCondition>,
        species: Option<Species>,
    }
}

shape! {
    /// Items or hours, per driver unit and fixed.
    RateShape of Rate {
        per_unit: Decimal,
        fixed: Decimal,
    }
}

shape! {
    /// A finished room.
    TaughtShape of Taught {
        job: String,
        room: String,
        finished_on: NaiveDate,
    }
}

/// A band is kept as its two ends.
impl Shape<Band> for (Decimal, Decimal) {
    fn keep(of: &Band) -> Self {
        let Band { low, high } = *of;
        (low, high)
    }

    fn give(self) -> Result<Band, Broken> {
        let (low, high) = self;
        Ok(Band { low, high })
    }
}

/// How a level moved.
#[derive(Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(super) enum DriftShape {
    None,
    Suspected { since: NaiveDate, change: f64 },
    Changed { since: NaiveDate, change: f64 },
    Wandering { change: f64 },
}

impl Shape<Drift> for DriftShape {
    fn keep(of: &Drift) -> Self {
        match *of {
            Drift::None => DriftShape::None,
            Drift::Suspected { since, change } => DriftShape::Suspected { since, change },
            Drift::Changed { since, change } => DriftShape::Changed { since, change },
            Drift::Wandering { change } => DriftShape::Wandering { change },
        }
    }

    fn give(self) -> Result<Drift, Broken> {
        Ok(match self {
            DriftShape::None => Drift::None,
            DriftShape::Suspected { since, change } => Drift::Suspected { since, change },
            DriftShape::Changed { since, change } => Drift::Changed { since, change },
            DriftShape::Wandering { change } => Drift::Wandering { change },
        })
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::super::tests::golden;
    use super::*;

    #[test]
    fn a_rate_is_kept_in_this_text() {
        let since = NaiveDate::from_ymd_opt(2026, 1, 12).unwrap();
        let row = RateRow {
            cell: Cell {
                operation: OperationId(4),
                kind: RateKind::Item,
                condition: Some(FloorCondition::WornFilm),
                species: None,
            },
            book: Rate {
                per_unit: dec!(0.05),
                fixed: dec!(0.9),
            },
            observed: Some(dec!(0.061)),
            rooms: 2,
            exposure: dec!(412.5),
            learned: Rate {
                per_unit: dec!(0.0554),
                fixed: dec!(0.84),
            },
            band: Band {
                low: dec!(0.047),
                high: dec!(0.064),
            },
            shares: [31, 12, 20, 37],
            crew_drift: Drift::Changed {
                since,
                change: -0.24,
            },
            own_drift: Drift::None,
            newest: vec![Taught {
                job: "J1".into(),
                room: "Hall".into(),
                finished_on: since,
            }],
        };
        golden(
            &row,
            concat!(
                r#"{"format":1,"kept":{"cell":{"operation":4,"kind":"item","condition":"worn-film","species":null},"#,
                r#""book":{"per_unit":"0.05","fixed":"0.9"},"observed":"0.061","rooms":2,"exposure":"412.5","#,
                r#""learned":{"per_unit":"0.0554","fixed":"0.84"},"band":["0.047","0.064"],"shares":[31,12,20,37],"#,
                r#""crew_drift":{"changed":{"since":"2026-01-12","change":-0.24}},"own_drift":"none","#,
                r#""newest":[{"job":"J1","room":"Hall","finished_on":"2026-01-12"}]}}"#,
            ),
        );
    }

    #[test]
    fn every_drift_has_its_text() {
        let since = NaiveDate::from_ymd_opt(2026, 1, 12).unwrap();
        for (drift, text) in [
            (Drift::None, r#""none""#),
            (
                Drift::Suspected { since, change: 0.3 },
                r#"{"suspected":{"since":"2026-01-12","change":0.3}}"#,
            ),
            (
                Drift::Changed { since, change: 0.3 },
                r#"{"changed":{"since":"2026-01-12","change":0.3}}"#,
            ),
            (
                Drift::Wandering { change: 0.3 },
                r#"{"wandering":{"change":0.3}}"#,
            ),
        ] {
            assert_eq!(
                serde_json::to_string(&DriftShape::keep(&drift)).unwrap(),
                text
            );
            let read: DriftShape = serde_json::from_str(text).unwrap();
            assert_eq!(read.give().unwrap(), drift);
        }
    }
}
