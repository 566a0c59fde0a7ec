//! The model as a whole: what it learns from a few rooms, to the last printed digit.

use std::fmt::Write as _;

use rust_decimal_macros::dec;

use chrono::NaiveDate;

use super::*;
use crate::money::Decimal;
use crate::trade::operation::{Driver, Item, Operation, Splits, Task};
use crate::trade::{FloorCondition, ItemId, OperationId, Species, TaskId, Unit};

/// What model 1 learns from the rooms of the test below: as it was learned first, no other source.
const LEARNED: &str = "\
root 1.151350412 0.468962503 1.151350405 0.045555018
  spreads [0.312775564] [0.269062060] 0.144685409 0.118125897 0.180629353 0.118910103
  inflated [0.301546363] 0.028193053 0.019026182 0.044467374
  step 1.180554117 0.218495010 1.180554116 0.018560097
  cell 0 14 0.458626532 1.120262277 0.028763984
  cell 0 70 0.219648245 1.311694990 0.044791561
root 1.040635262 0.662946276 1.040635265 0.006293570
  spreads [0.053968371] [0.000962257] 0.094928114 0.058808481 0.068966910 0.069007890
  inflated [0.001556465] 0.011950923 0.004697415 0.006488819
  step 1.062709157 0.276182806 1.062709158 0.004627922
  cell 0 14 0.397450961 1.085702110 0.003857205
root 1.039978092 0.507759389 1.039978092 0.018011918
  spreads [0.260928265, 0.194263607] [0.004999586, 0.004905932] 0.188822713 0.126655523 0.123317881 0.114727942
  inflated [0.008236011, 0.008016091] 0.045830498 0.021537419 0.020420700
  step 1.049371742 0.234263054 1.049371742 0.013576243
  step 1.046628227 0.154785912 1.046628227 0.015377024
  cell 0 14 0.359872159 1.060421644 0.012813637
  cell 1 14 0.214296417 1.054410038 0.016372920
";

const CUT: OperationId = OperationId(1);
const COAT: OperationId = OperationId(2);

fn operation(id: OperationId, unit: Unit, set_size: Option<u32>) -> Operation {
    Operation {
        id,
        name: format!("operation-{}", id.0),
        task: Task {
            id: TaskId(id.0),
            name: format!("task-{}", id.0),
        },
        driver: Driver::Area,
        item: Some(Item {
            id: ItemId(id.0),
            name: format!("item-{}", id.0),
            unit,
            price: Decimal::ONE,
        }),
        set_size,
        family: format!("family-{}", id.0),
        splits: Splits::Condition,
        machine: None,
        grit: None,
        harden_hours: None,
        answers: None,
        hazards: Vec::new(),
        description: String::new(),
        source: String::new(),
    }
}

/// A cut with three discs a set and a coat in gallons; both are timed.
fn basis() -> Basis {
    let rate = |operation, kind, driver_per_item, fixed| BookRate {
        operation,
        condition: None,
        species: None,
        kind,
        driver_per_item,
        fixed: Some(fixed),
        source: String::new(),
    };
    let operations = [
        operation(CUT, Unit::Disc, Some(3)),
        operation(COAT, Unit::Gallon, None),
    ];
    Basis {
        book: Book::new([
            rate(CUT, RateKind::Item, dec!(20), dec!(0.9)),
            rate(CUT, RateKind::Hours, dec!(120), dec!(0.25)),
            rate(COAT, RateKind::Item, dec!(400), dec!(0.05)),
            rate(COAT, RateKind::Hours, dec!(250), dec!(0.2)),
        ]),
        prior_weights: PriorWeights {
            discs: dec!(300),
            finish: dec!(300),
            hours: dec!(300),
        },
        operations: operations.map(|known| (known.id, known)).into(),
        changes: Vec::new(),
    }
}

fn taken(
    job: &str,
    day: u32,
    condition: FloorCondition,
    operation: OperationId,
    kind: RateKind,
    area: Decimal,
    quantity: Decimal,
) -> Observation {
    Observation {
        kind,
        job: job.into(),
        from_notebook: false,
        finished_on: NaiveDate::from_ymd_opt(2026, 1, day).unwrap(),
        quantity,
        parts: vec![ObservedPart {
            operation,
            room: format!("{area} sq ft").into(),
            class: FloorClass {
                condition,
                species: Species::RedOak,
            },
            driver: area,
            passes: 1,
        }],
        status: Status::Good,
    }
}

/// Every number of a fit, nine decimals each.
fn numbers(fit: &Fit) -> String {
    let mut text = String::new();
    for pool in &fit.pools {
        let Posterior {
            hyper,
            root_reference,
            book_weight,
            root,
            root_variance,
            steps,
            cells,
            class_variance,
            room_variance,
            job_variance,
            dispersion,
            crew_drift: _,
            step_drift: _,
        } = &pool.posterior;
        let _ = writeln!(
            text,
            "root {root_reference:.9} {book_weight:.9} {root:.9} {root_variance:.9}"
        );
        let (fixed, dispersions) = (&hyper.fixed, &hyper.dispersion);
        let _ = writeln!(
            text,
            "  spreads {fixed:.9?} {dispersions:.9?} {:.9} {:.9} {:.9} {:.9}",
            hyper.room, hyper.job, hyper.class, hyper.step
        );
        let _ = writeln!(
            text,
            "  inflated {dispersion:.9?} {room_variance:.9} {job_variance:.9} {class_variance:.9}"
        );
        for step in steps {
            let _ = writeln!(
                text,
                "  step {:.9} {:.9} {:.9} {:.9}",
                step.reference, step.credibility, step.multiplier, step.variance
            );
        }
        for (cell, CellKey { step, code }) in cells.iter().zip(&pool.cells) {
            let _ = writeln!(
                text,
                "  cell {step} {code} {:.9} {:.9} {:.9}",
                cell.credibility, cell.multiplier, cell.variance
            );
        }
    }
    text
}

#[test]
fn a_model_that_learns_other_rates_has_another_number() {
    use FloorCondition::{Bare, Paint};
    use RateKind::{Hours, Item};
    let rooms = [
        taken("J1", 5, Bare, CUT, Item, dec!(180), dec!(12)),
        taken("J1", 5, Bare, CUT, Item, dec!(96), dec!(6)),
        taken("J2", 12, Paint, CUT, Item, dec!(150), dec!(15)),
        taken("J3", 19, Bare, CUT, Item, dec!(240), dec!(12)),
        taken("J1", 5, Bare, COAT, Item, dec!(180), dec!(0.6)),
        taken("J2", 12, Bare, COAT, Item, dec!(150), dec!(0.45)),
        taken("J1", 5, Bare, CUT, Hours, dec!(180), dec!(2.25)),
        taken("J3", 19, Bare, CUT, Hours, dec!(240), dec!(2)),
        taken("J3", 19, Bare, COAT, Hours, dec!(240), dec!(1.25)),
    ];
    let learned = numbers(learn(basis(), &rooms.into_iter().collect()).fit());
    assert_eq!(
        (MODEL, learned.as_str()),
        (1, LEARNED),
        "the model learns other rates from the same rooms: raise MODEL, so that every ledger learns anew"
    );
}

#[test]
fn zero_is_a_figure_and_nothing_said_is_what_the_family_takes() {
    let class = FloorClass {
        condition: FloorCondition::Bare,
        species: Species::RedOak,
    };
    let rate = |operation, fixed| BookRate {
        operation,
        condition: None,
        species: None,
        kind: RateKind::Hours,
        driver_per_item: dec!(100),
        fixed,
        source: String::new(),
    };
    let fixed_of_cut = |stated: Option<Decimal>, driver, other: Option<Decimal>| {
        let mut basis = basis();
        for operation in basis.operations.values_mut() {
            operation.family = "one".to_owned();
            operation.driver = driver;
        }
        basis.book = Book::new([rate(CUT, stated), rate(COAT, other)]);
        let rates = learn(basis, &Observations::default());
        let cut = rates.operations()[&CUT].clone();
        rates.rate(&cut, RateKind::Hours, class).unwrap().fixed
    };
    let half = Some(dec!(0.5));
    for (stated, driver, other, expected) in [
        (Some(dec!(0)), Driver::Area, Some(dec!(0)), dec!(0)),
        (Some(dec!(0)), Driver::Area, None, dec!(0)),
        (Some(dec!(0)), Driver::Area, half, dec!(0)),
        (half, Driver::Area, Some(dec!(0)), dec!(0.5)),
        // Nothing said: what the family states, else the 0.3 h that are typical; none where no floor is covered.
        (None, Driver::Area, half, dec!(0.5)),
        (None, Driver::Edge, None, dec!(0.3)),
        (None, Driver::Count, half, dec!(0)),
        (None, Driver::Count, None, dec!(0)),
    ] {
        assert_eq!(
            fixed_of_cut(stated, driver, other),
            expected,
            "{stated:?} {driver} beside {other:?}"
        );
    }
}

/// Hours of the cut in rooms of 100 sq ft, by job; all jobs are finished on one day.
fn cut_hours(jobs: &[(&str, &[Decimal])]) -> Vec<Observation> {
    let mut found = Vec::new();
    for (job, hours) in jobs {
        for (room, hours) in hours.iter().enumerate() {
            let mut observation = taken(
                job,
                5,
                FloorCondition::Bare,
                CUT,
                RateKind::Hours,
                dec!(100),
                *hours,
            );
            observation.parts[0].room = format!("Room {room}").into();
            found.push(observation);
        }
    }
    found
}

/// Returns what is thought of each record, those that look like slips as `true`.
fn doubted(observations: &[Observation], rejudge: backtest::Rejudge<'_>) -> Vec<bool> {
    let mut found: Vec<(usize, bool)> =
        backtest::backtest(&basis(), &observations.iter().cloned().collect(), rejudge)
            .into_iter()
            .map(|predicted| (predicted.place, predicted.status == Status::Doubted))
            .collect();
    found.sort_unstable();
    found.into_iter().map(|(_, doubted)| doubted).collect()
}

#[test]
fn rooms_agree_within_their_job() {
    // The book: 100 ÷ 120 + 0.25 = 1.08 h. 6 h are far more.
    let (usual, far) = (dec!(1.1), dec!(6));
    let anew = backtest::Rejudge::Since(NaiveDate::from_ymd_opt(2026, 1, 1).unwrap());
    for (jobs, expected) in [
        // Five records of a step in the job, three far more: they agree.
        (
            vec![("J1", vec![far, far, far, usual, usual])],
            vec![false; 5],
        ),
        // Three of six aren't more than half.
        (
            vec![("J1", vec![far, far, far, usual, usual, usual])],
            vec![true, true, true, false, false, false],
        ),
        // Two are fewer than three.
        (vec![("J1", vec![far, far])], vec![true, true]),
        // Another job's rooms neither agree with them nor outvote them.
        (
            vec![("J1", vec![far, far]), ("J2", vec![far, far])],
            vec![true; 4],
        ),
        (
            vec![("J1", vec![far, far, far]), ("J2", vec![usual; 5])],
            vec![false; 8],
        ),
    ] {
        let jobs: Vec<(&str, &[Decimal])> = jobs
            .iter()
            .map(|(job, hours)| (*job, hours.as_slice()))
            .collect();
        assert_eq!(doubted(&cut_hours(&jobs), anew), expected, "{jobs:?}");
    }
}

#[test]
fn the_words_of_one_job_are_given_without_touching_another() {
    let (usual, far) = (dec!(1.1), dec!(6));
    // J1's record would be doubted if it were judged again, J3's would not.
    let mut records = cut_hours(&[("J1", &[far]), ("J2", &[far]), ("J3", &[usual])]);
    records[2].status = Status::Doubted;
    assert_eq!(
        doubted(&records, backtest::Rejudge::Job("J2")),
        [false, true, true]
    );
    records[1].from_notebook = true; // The job of a notebook is another one, whatever it is called.
    assert_eq!(doubted(&records, backtest::Rejudge::Job("J2")), [false; 0]);
}
