//! How long learning takes on a long history: `cargo bench --bench rates`.
//!
//! The evidence is made up by a fixed rule: rooms of jobs of four, five operations each, on fifteen kinds of floor.

use std::collections::BTreeMap;
use std::hint::black_box;
use std::time::Instant;

use chrono::{Days, NaiveDate};
use gritledger::money::Decimal;
use gritledger::trade::operation::{Driver, Item, Operation, Splits, Task};
use gritledger::trade::rates::{
    Asked, Basis, Book, BookRate, FloorClass, Observation, Observations, ObservedPart,
    PriorWeights, RateKind, Status, learn,
};
use gritledger::trade::{FloorCondition, ItemId, OperationId, Species, TaskId, Unit};

const OPERATIONS: usize = 5;
const FLOORS: usize = 15;

fn floor(place: usize) -> FloorClass {
    FloorClass {
        condition: FloorCondition::ALL[place % 5],
        species: Species::ALL[place / 5 % 3],
    }
}

fn basis() -> Basis {
    let operations: BTreeMap<OperationId, Operation> = (0..OPERATIONS)
        .map(|place| {
            let id = OperationId(place as i64 + 1);
            let operation = Operation {
                id,
                name: format!("cut-{place}"),
                task: Task {
                    id: TaskId(id.0),
                    name: format!("task-{place}"),
                },
                driver: Driver::Area,
                item: Some(Item {
                    id: ItemId(id.0),
                    name: format!("disc-{place}"),
                    unit: Unit::Disc,
                    price: Decimal::ONE,
                }),
                set_size: Some(3),
                family: format!("machine-{}", place / 3),
                splits: Splits::Both,
                machine: None,
                grit: None,
                harden_hours: None,
                answers: None,
                hazards: Vec::new(),
                description: String::new(),
                source: String::new(),
            };
            (id, operation)
        })
        .collect();
    let rows = operations.keys().map(|operation| BookRate {
        operation: *operation,
        condition: None,
        species: None,
        kind: RateKind::Item,
        driver_per_item: Decimal::from(20 + 10 * operation.0),
        fixed: Some(Decimal::new(9, 1)),
        source: String::new(),
    });
    let weight = Decimal::from(300);
    Basis {
        book: Book::new(rows.collect::<Vec<_>>()),
        prior_weights: PriorWeights {
            discs: weight,
            finish: weight,
            hours: weight,
        },
        operations,
        changes: Vec::new(),
    }
}

fn history(records: usize) -> Observations {
    let first = NaiveDate::from_ymd_opt(2001, 1, 1).unwrap_or_default();
    let jobs = records / OPERATIONS / 4 + 1;
    let mut seed = 1_u64;
    let mut draw = move |below: u64| {
        seed = seed
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (seed >> 33) % below
    };
    (0..records)
        .map(|place| {
            let room = place / OPERATIONS;
            let job = room / 4;
            let area = 40 + draw(400);
            let operation = (place % OPERATIONS) as i64 + 1;
            let sets = area / (60 + 30 * operation.unsigned_abs()) + draw(3);
            Observation {
                kind: RateKind::Item,
                job: format!("job {job}").into(),
                from_notebook: true,
                finished_on: first + Days::new((job * 9_000 / jobs) as u64),
                quantity: Decimal::from(3 * sets),
                parts: vec![ObservedPart {
                    operation: OperationId(operation),
                    room: format!("room {}", room % 4).into(),
                    class: floor(job % FLOORS),
                    driver: Decimal::from(area),
                    passes: 1,
                }],
                status: Status::Good,
            }
        })
        .collect()
}

fn main() {
    for records in [1_000, 10_000, 100_000, 500_000] {
        let observations = history(records);
        let mut best = u128::MAX;
        for _ in 0..3 {
            let start = Instant::now();
            let rates = learn(basis(), &observations);
            black_box(rates.rows());
            best = best.min(start.elapsed().as_millis());
        }
        report(&format!("fit and list, {records} records"), best);
    }
    let rates = learn(basis(), &history(10_000));
    let start = Instant::now();
    for case in 0..10_000 {
        let asked: Vec<Asked> = (0..3)
            .map(|room| Asked {
                job: 0,
                operation: OperationId(case % 5 + 1),
                kind: RateKind::Item,
                class: floor(room * 4 + case as usize % 4),
                driver: Decimal::from(100 + case % 300),
                passes: 1,
            })
            .collect();
        black_box(rates.predict(&asked).is_ok());
    }
    report(
        "predict 10000 cases of 3 rooms",
        start.elapsed().as_millis(),
    );
}

#[expect(clippy::print_stdout, reason = "a bench says what it measured")]
fn report(what: &str, milliseconds: u128) {
    println!("{what}: {milliseconds} ms");
}
