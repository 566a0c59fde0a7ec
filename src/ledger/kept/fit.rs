//! What was learned from all observations.

use super::rate::{DriftShape, TaughtShape};
use super::{Broken, Kept, Shape, shape};
use crate::trade::OperationId;
use crate::trade::rates::{
    CellKey, CellState, Experience, Fit, Hyper, PoolFit, Posterior, RateKind, StepState,
};

impl Kept for Fit {
    type Shape = FitShape;
    const NAME: &'static str = "fit";
    const FORMAT: u32 = 1;
}

shape! {
    /// The whole of it.
    FitShape of Fit {
        pools: Vec<PoolFitShape>,
        experience: Vec<ExperienceShape>,
    }
}

shape! {
    /// One tree.
    PoolFitShape of PoolFit {
        posterior: PosteriorShape,
        cells: Vec<(usize, usize)>,
    }
}

/// A cell is kept as step and code.
impl Shape<CellKey> for (usize, usize) {
    fn keep(of: &CellKey) -> Self {
        let CellKey { step, code } = *of;
        (step, code)
    }

    fn give(self) -> Result<CellKey, Broken> {
        let (step, code) = self;
        Ok(CellKey { step, code })
    }
}

shape! {
    /// What is known after a fit.
    PosteriorShape of Posterior {
        hyper: HyperShape,
        root_reference: f64,
        book_weight: f64,
        root: f64,
        root_variance: f64,
        steps: Vec<StepStateShape>,
        cells: Vec<CellStateShape>,
        class_variance: f64,
        room_variance: f64,
        job_variance: f64,
        #[serde(rename = "grain")]
        dispersion: Vec<f64>,
        crew_drift: DriftShape,
        step_drift: Vec<DriftShape>,
    }
}

shape! {
    /// The spreads.
    HyperShape of Hyper {
        fixed: Vec<f64>,
        #[serde(rename = "grain")]
        dispersion: Vec<f64>,
        room: f64,
        job: f64,
        class: f64,
        step: f64,
    }
}

shape! {
    /// A step after the downward pass.
    StepStateShape of StepState {
        reference: f64,
        credibility: f64,
        multiplier: f64,
        variance: f64,
    }
}

shape! {
    /// A cell after it.
    CellStateShape of CellState {
        credibility: f64,
        multiplier: f64,
        variance: f64,
    }
}

shape! {
    /// What finished rooms of a cell add up to.
    ExperienceShape of Experience {
        operation: OperationId,
        kind: RateKind,
        code: usize,
        quantity: f64,
        exposure: f64,
        rooms: usize,
        newest: Vec<TaughtShape>,
    }
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::super::tests::golden;
    use super::*;
    use crate::trade::rates::{Drift, Taught};

    #[test]
    fn a_fit_is_kept_in_this_text() {
        let since = NaiveDate::from_ymd_opt(2026, 1, 12).unwrap();
        let pool = PoolFit {
            posterior: Posterior {
                hyper: Hyper {
                    fixed: vec![0.25],
                    dispersion: vec![0.5],
                    room: 0.15,
                    job: 0.125,
                    class: 0.18,
                    step: 0.12,
                },
                root_reference: 1.1,
                book_weight: 0.1 + 0.2, // 0.30000000000000004: the last digit is kept too
                root: 1.0625,
                root_variance: 0.01,
                steps: vec![StepState {
                    reference: 1.05,
                    credibility: 0.4,
                    multiplier: 1.2,
                    variance: 0.02,
                }],
                cells: vec![CellState {
                    credibility: 0.7,
                    multiplier: 1.3,
                    variance: 0.03,
                }],
                class_variance: 0.04,
                room_variance: 0.05,
                job_variance: 0.06,
                dispersion: vec![0.55],
                crew_drift: Drift::None,
                step_drift: vec![Drift::Wandering { change: 0.3 }],
            },
            cells: vec![CellKey { step: 0, code: 17 }],
        };
        let fit = Fit {
            pools: vec![pool],
            experience: vec![Experience {
                operation: OperationId(4),
                kind: RateKind::Hours,
                code: 17,
                quantity: 12.5,
                exposure: 400.0,
                rooms: 1,
                newest: vec![Taught {
                    job: "J1".into(),
                    room: "Hall".into(),
                    finished_on: since,
                }],
            }],
        };
        golden(
            &fit,
            concat!(
                r#"{"format":1,"kept":{"pools":[{"posterior":{"hyper":{"fixed":[0.25],"grain":[0.5],"room":0.15,"#,
                r#""job":0.125,"class":0.18,"step":0.12},"root_reference":1.1,"book_weight":0.30000000000000004,"#,
                r#""root":1.0625,"root_variance":0.01,"steps":[{"reference":1.05,"credibility":0.4,"multiplier":1.2,"#,
                r#""variance":0.02}],"cells":[{"credibility":0.7,"multiplier":1.3,"variance":0.03}],"#,
                r#""class_variance":0.04,"room_variance":0.05,"job_variance":0.06,"grain":[0.55],"crew_drift":"none","#,
                r#""step_drift":[{"wandering":{"change":0.3}}]},"cells":[[0,17]]}],"#,
                r#""experience":[{"operation":4,"kind":"hours","code":17,"quantity":12.5,"exposure":400.0,"rooms":1,"#,
                r#""newest":[{"job":"J1","room":"Hall","finished_on":"2026-01-12"}]}]}}"#,
            ),
        );
    }
}
