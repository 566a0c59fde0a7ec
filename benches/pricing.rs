//! How long pricing and covers take, and whether quotes keep their word: `cargo bench --bench pricing`.
//!
//! The second half draws firms from a known truth: their own rates differ from the book, jobs and rooms differ, and sets
//! are counted. Each firm learns from 25 jobs and quotes 20 more at 80 %; of all those jobs, 80 ± 2 % have to keep the
//! margin, else the bench fails. The truth has log-normal and Poisson luck of its own, none of the program's code.

#![allow(
    clippy::float_arithmetic,
    reason = "a truth to draw from; nobody is billed by it"
)]

use std::collections::BTreeMap;
use std::hint::black_box;
use std::process::ExitCode;
use std::time::Instant;

use chrono::{Days, NaiveDate};
use gritledger::money::{Currency, Decimal, Money, quantity};
use gritledger::trade::buying::{PackSize, cheapest_packs};
use gritledger::trade::cutting::{Aim, CuttingList, Stick, Stock, cut};
use gritledger::trade::operation::{Driver, Item, Operation, Schedule, Sequence, Splits, Task};
use gritledger::trade::plan::Machine;
use gritledger::trade::pricing::{Luck, LumpSum, Offer, Stocking, price};
use gritledger::trade::quote::{Line, Quote, Terms};
use gritledger::trade::rates::{
    Basis, Book, BookRate, FloorClass, Observation, Observations, ObservedPart, PriorWeights,
    RateKind, Rates, Status, learn,
};
use gritledger::trade::rental::{Need, Plan, Tariff};
use gritledger::trade::takeoff::{Contingency, MayTurnUp, MeasuredRoom, Methods, take_off};
use gritledger::trade::trips::Visits;
use gritledger::trade::{
    FloorCondition, ItemId, MachineId, OperationId, RoomId, Species, TaskId, Unit,
};
use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};

/// Operations that a floor takes, in working order; the last answers what may turn up.
const OPERATIONS: usize = 12;
const BLEACH: usize = 12;
const WAGE: i64 = 40;
/// Cutting lists that are timed.
const CUTS: u32 = 100;
const MACHINE: MachineId = MachineId(1);

fn tariff() -> Tariff {
    let money = |dollars: i64| Money::from_minor(dollars * 100);
    Tariff {
        half_day: Some(money(62)),
        day: money(80),
        weekend: Some(money(140)),
        week: Some(money(280)),
        four_weeks: Some(money(800)),
        waiver_percent: Decimal::TEN,
        cleaning: money(25),
    }
}

/// The operation of that place: discs on a machine, edges by hand, coats of finish; tasks of four.
fn operation(place: usize) -> Operation {
    let id = OperationId(place as i64 + 1);
    let discs = place % 4 != 3;
    Operation {
        id,
        name: format!("operation-{place}"),
        task: Task {
            id: TaskId(place as i64 / 4 + 1),
            name: format!("task-{}", place / 4),
        },
        driver: Driver::Area,
        item: Some(Item {
            id: ItemId(id.0),
            name: format!("item-{place}"),
            unit: if discs { Unit::Disc } else { Unit::Gallon },
            price: if discs {
                Decimal::TWO
            } else {
                Decimal::from(52)
            },
        }),
        set_size: discs.then_some(3),
        family: format!("family-{}", place / 2),
        splits: if place.is_multiple_of(2) {
            Splits::Condition
        } else {
            Splits::None
        },
        machine: (place < 4).then_some(MACHINE),
        grit: None,
        harden_hours: None,
        answers: (place == BLEACH).then(|| "black-stains".to_owned()),
        hazards: Vec::new(),
        description: String::new(),
        source: String::new(),
    }
}

/// What the book says an item, or an hour, does of an operation, in sq ft.
fn book_does(place: usize, kind: RateKind) -> i64 {
    match kind {
        RateKind::Hours => 250 + 40 * (place as i64 % 3),
        RateKind::Item if place % 4 == 3 => 450,
        RateKind::Item => 25 + 5 * (place as i64 % 4),
    }
}

fn basis() -> Basis {
    let operations: BTreeMap<OperationId, Operation> = (0..=BLEACH)
        .map(operation)
        .map(|operation| (operation.id, operation))
        .collect();
    let rows = (0..=BLEACH).flat_map(|place| {
        RateKind::ALL.iter().map(move |kind| BookRate {
            operation: OperationId(place as i64 + 1),
            condition: None,
            species: None,
            kind: *kind,
            driver_per_item: Decimal::from(book_does(place, *kind)),
            fixed: None,
            source: String::new(),
        })
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

fn class(place: usize) -> FloorClass {
    FloorClass {
        condition: FloorCondition::ALL[place % 4],
        species: Species::RedOak,
    }
}

fn room(place: usize, area: i64, may: Option<Contingency>) -> MeasuredRoom {
    MeasuredRoom {
        id: RoomId(place as i64 + 1),
        name: format!("room {place}"),
        area: Decimal::from(area),
        edge: Decimal::from(50),
        steps: None,
        class: class(place),
        parts: Vec::new(),
        findings: Vec::new(),
        contingencies: may
            .map(|contingency| MayTurnUp {
                operation: OperationId(BLEACH as i64 + 1),
                contingency,
            })
            .into_iter()
            .collect(),
    }
}

fn quote(rooms: Vec<MeasuredRoom>, rates: &Rates, draws: u32) -> Quote {
    let operations: Vec<Operation> = (0..=BLEACH).map(operation).collect();
    let methods = Methods {
        sequence: Some(Sequence {
            name: "all".to_owned(),
            steps: operations[..OPERATIONS].to_vec(),
        }),
        sequences: Vec::new(),
        begun_with: Vec::new(),
        schedule: None::<Schedule>,
        operations,
    };
    let work = take_off(&rooms, &methods, rates).expect("every operation has a rate");
    let offer = Offer {
        sequence: None,
        schedule: None,
        rooms,
        work,
        others: vec![LumpSum {
            what: "disposal".to_owned(),
            cost: Money::from_minor(4500),
        }],
        machines: BTreeMap::from([(
            MACHINE,
            Machine {
                id: MACHINE,
                name: "rotary".to_owned(),
                tariff: tariff(),
            },
        )]),
        items: BTreeMap::new(),
        day_hours: Decimal::from(8),
        start: None,
        rentals: None,
        discounts: Vec::new(),
        road: None,
        visits: Visits::default(),
        cautions: Vec::new(),
        terms: Terms {
            margin: Decimal::new(35, 2),
            confidence: Decimal::new(8, 1),
            minimum: Money::ZERO,
            step: Money::ZERO,
            named: None,
            wage: Decimal::from(WAGE),
            burden: Decimal::ONE,
            overhead: Decimal::ZERO,
            tax: gritledger::trade::tax::TaxRates::default(),
            tax_included: false,
            retention: Decimal::ZERO,
            own: false,
        },
        luck: Luck { draws, seed: 7 },
        stocking: Stocking {
            returnable: Decimal::new(9, 1),
            other: Decimal::new(8, 1),
        },
    };
    price(
        offer,
        rates,
        Currency::from_code("USD").expect("a currency"),
    )
    .expect("an offer")
    .quote
}

/// Luck of the truth.
struct Truth(ChaCha8Rng);

impl Truth {
    fn unit(&mut self) -> f64 {
        ((self.0.next_u64() >> 12) as f64 + 0.5) / (1_u64 << 52) as f64
    }

    fn below(&mut self, most: i64) -> i64 {
        (self.unit() * most as f64) as i64
    }

    /// A log-normal factor of mean 1 and that standard deviation.
    fn factor(&mut self, deviation: f64) -> f64 {
        // Box and Muller (1958).
        let angle = std::f64::consts::TAU * self.unit();
        let normal = (-2.0 * self.unit().ln()).sqrt() * angle.cos();
        let spread = (1.0 + deviation * deviation).ln();
        (spread.sqrt() * normal - spread / 2.0).exp()
    }

    fn poisson(&mut self, mean: f64) -> f64 {
        let (mut count, mut left) = (0.0, (-mean).exp());
        let mut drawn = self.unit();
        while drawn > left && count < 1000.0 {
            drawn -= left;
            count += 1.0;
            left *= mean / count;
        }
        count
    }
}

/// A firm's own rates, as factors of the book's.
struct Firm {
    discs: Vec<f64>,
    finish: Vec<f64>,
    hours: Vec<f64>,
}

impl Firm {
    fn new(truth: &mut Truth) -> Firm {
        let mut steps = |count: usize, spread: f64| -> Vec<f64> {
            let root = truth.factor(0.15);
            let step: Vec<f64> = (0..count).map(|_| root * truth.factor(spread)).collect();
            let cell = |place: usize, truth: &mut Truth| step[place / 4] * truth.factor(spread);
            (0..count * 4).map(|place| cell(place, truth)).collect()
        };
        Firm {
            discs: steps(OPERATIONS + 1, 0.15),
            finish: steps(OPERATIONS + 1, 0.07),
            hours: steps(4, 0.12),
        }
    }

    /// Draws what a room takes: units of each operation, and hours of each task.
    fn take(&self, truth: &mut Truth, job: [f64; 3], room: &Drawn) -> (Vec<f64>, Vec<f64>) {
        let mut units = Vec::new();
        let mut hours = vec![0.0; 4];
        for place in 0..=BLEACH {
            let driver = if place == BLEACH {
                room.bleach
            } else {
                room.area
            };
            let floor = if place.is_multiple_of(2) {
                room.floor
            } else {
                0
            };
            let book = driver / book_does(place, RateKind::Item) as f64;
            units.push(if place % 4 == 3 {
                book * self.finish[place * 4 + floor] * job[1] * truth.factor(0.10)
            } else {
                let sets = book / 3.0 * self.discs[place * 4 + floor] * job[0];
                // Sets run out by chance: Poisson, of which the dispersion is three tenths.
                let luck = truth.factor(0.15);
                3.0 * (sets * luck + (truth.poisson(sets * 0.3) - sets * 0.3))
                    .max(0.0)
                    .round()
            });
            hours[place / 4] += driver / book_does(place, RateKind::Hours) as f64;
        }
        for (task, hours) in hours.iter_mut().enumerate() {
            *hours *= self.hours[task * 4 + room.floor] * job[2] * truth.factor(0.20);
        }
        (units, hours)
    }
}

/// A room as the truth has it.
struct Drawn {
    area: f64,
    floor: usize,
    bleach: f64,
}

fn decimal(value: f64) -> Decimal {
    quantity(Decimal::try_from(value).unwrap_or_default())
}

fn job_factors(truth: &mut Truth) -> [f64; 3] {
    [truth.factor(0.12), truth.factor(0.06), truth.factor(0.13)]
}

/// Returns what a firm's first jobs teach.
fn history(firm: &Firm, truth: &mut Truth, jobs: usize) -> Observations {
    let first = NaiveDate::from_ymd_opt(2024, 1, 1).unwrap_or_default();
    let mut observations = Observations::default();
    for job in 0..jobs {
        let factors = job_factors(truth);
        for place in 0..3 {
            let area = 80 + truth.below(220);
            let drawn = Drawn {
                area: area as f64,
                floor: truth.below(4) as usize,
                bleach: 0.0,
            };
            let (units, hours) = firm.take(truth, factors, &drawn);
            let part = |operation: usize| ObservedPart {
                operation: OperationId(operation as i64 + 1),
                room: format!("room {place}").into(),
                class: class(drawn.floor),
                driver: Decimal::from(area),
                passes: 1,
            };
            let observation = |kind, quantity: f64, parts| Observation {
                kind,
                job: format!("job {job}").into(),
                from_notebook: true,
                finished_on: first + Days::new(10 * job as u64),
                quantity: decimal(quantity),
                parts,
                status: Status::Good,
            };
            for (operation, units) in units.iter().enumerate().take(OPERATIONS) {
                observations.push(&observation(RateKind::Item, *units, vec![part(operation)]));
            }
            for (task, hours) in hours.iter().enumerate().take(3) {
                let parts = (task * 4..task * 4 + 4).map(part).collect();
                observations.push(&observation(RateKind::Hours, *hours, parts));
            }
        }
    }
    observations
}

/// Returns whether a quote kept its margin when the job was done.
fn keeps_margin(firm: &Firm, truth: &mut Truth, rates: &Rates) -> bool {
    let factors = job_factors(truth);
    let may = Contingency {
        chance: Decimal::new(4, 1),
        low: Decimal::from(20),
        high: Decimal::from(60),
    };
    let count = 1 + truth.below(4) as usize;
    let rooms: Vec<(MeasuredRoom, Drawn)> = (0..count)
        .map(|place| {
            let (area, floor) = (80 + truth.below(220), truth.below(4) as usize);
            let turns_up = place == 0 && truth.unit() < 0.4;
            let bleach = if turns_up {
                20.0 + 40.0 * truth.unit()
            } else {
                0.0
            };
            let mut measured = room(place, area, (place == 0).then_some(may));
            measured.class = class(floor);
            let area = area as f64;
            (
                measured,
                Drawn {
                    area,
                    floor,
                    bleach,
                },
            )
        })
        .collect();
    let (measured, drawn): (Vec<_>, Vec<_>) = rooms.into_iter().unzip();
    let quote = quote(measured, rates, 2_000);
    let (mut cost, mut machine_hours) = (45.0, 0.0);
    for room in &drawn {
        let (units, hours) = firm.take(truth, factors, room);
        for (place, units) in units.iter().enumerate() {
            cost += units * if place % 4 == 3 { 52.0 } else { 2.0 };
        }
        cost += WAGE as f64 * hours.iter().sum::<f64>();
        machine_hours += hours[0];
    }
    let need = Need::for_hours(decimal(machine_hours), Decimal::from(8));
    cost += Plan::new(&tariff(), need, None).cover.total().minor() as f64 / 100.0;
    let price = quote.price.minor() as f64 / 100.0;
    price - cost >= 0.35 * price
}

fn speed() {
    let rates = learn(basis(), &Observations::default());
    let rooms: Vec<MeasuredRoom> = (0..20).map(|place| room(place, 150, None)).collect();
    let one: Vec<MeasuredRoom> = rooms[..1].to_vec();
    time(
        "price a house of 20 rooms and each room alone, 12 operations, 20000 draws",
        || {
            black_box(
                quote(rooms.clone(), &rates, 20_000)
                    .lines
                    .iter()
                    .map(Line::cost)
                    .sum::<Money>(),
            );
        },
    );
    time("price one room, 12 operations, 20000 draws", || {
        black_box(quote(one.clone(), &rates, 20_000).price);
    });
    let from = NaiveDate::from_ymd_opt(2026, 3, 2);
    let sixty = Need::half_days(120);
    time("cover 60 rental days", || {
        black_box(Plan::new(&tariff(), sixty, from).cover.total());
    });
    let pack = |size: i64, cents| PackSize {
        size: Decimal::new(size, 2),
        price: Money::from_minor(cents),
    };
    let packs = [
        pack(25, 1850),
        pack(100, 5200),
        pack(500, 23_500),
        pack(95, 5000),
    ];
    time("cover 200 units with four packs", || {
        black_box(cheapest_packs(Decimal::from(200), &packs).is_ok());
    });
    let sticks = |lengths: [i64; 3]| {
        let priced = [(lengths[0], 960), (lengths[1], 1480), (lengths[2], 2050)];
        priced.map(|(length, cents)| Stick {
            length,
            price: Money::from_minor(cents),
        })
    };
    let metric = sticks([2438, 3658, 4877]);
    // Trim repeats: doorways and walls come in a few lengths; the last is the worst case.
    let of = |lengths: i64| {
        move |truth: &mut Truth| -> Vec<i64> {
            let step = 2000 / lengths;
            let piece = |_| 250 + step * truth.below(lengths);
            (0..40).map(piece).collect()
        }
    };
    time_cuts(
        "40 pieces of 6 lengths from one stock length",
        &metric[..1],
        3,
        of(6),
    );
    time_cuts("40 pieces of 6 lengths from three", &metric, 3, of(6));
    time_cuts("40 pieces of 12 lengths from three", &metric, 3, of(12));
    // Tenths of an inch.
    let feet = sticks([960, 1440, 1920]);
    time_cuts(
        "40 pieces of the walls of ten rooms from three",
        &feet,
        1,
        walls,
    );
    time_cuts("40 pieces of 200 lengths from three", &metric, 3, of(200));
}

/// Pieces of base for ten rooms, in tenths of an inch. Walls are 2.4 to 5.5 m in whole inches, two and two the same; one or
/// two have a doorway. What is longer than 16 ft is put together.
fn walls(truth: &mut Truth) -> Vec<i64> {
    let mut pieces = Vec::new();
    for _ in 0..10 {
        let (long, wide) = (95 + truth.below(122), 95 + truth.below(122));
        // The walls across from those that may have a doorway are whole.
        let mut runs = vec![long, wide];
        let doorways = 1 + truth.below(2);
        for (place, wall) in [long, wide].into_iter().enumerate() {
            if place as i64 >= doorways {
                runs.push(wall);
                continue;
            }
            let doorway = 30 + truth.below(7);
            let before = 3 + truth.below(wall - doorway - 5);
            runs.extend([before, wall - doorway - before]);
        }
        for run in runs {
            let whole = run * 10 / 1920;
            pieces.extend((0..whole).map(|_| 1920));
            pieces.extend(Some(run * 10 % 1920).filter(|rest| *rest > 0));
        }
    }
    pieces.truncate(40);
    pieces
}

fn time_cuts(what: &str, sticks: &[Stick], saw_loss: i64, draw: impl Fn(&mut Truth) -> Vec<i64>) {
    let mut truth = Truth(ChaCha8Rng::seed_from_u64(1));
    let (mut times, mut proven) = (Vec::new(), 0);
    for _ in 0..CUTS {
        let pieces = draw(&mut truth);
        let start = Instant::now();
        let stock = Stock {
            sticks,
            off_cuts: &[],
            saw_loss,
        };
        let list = cut(&pieces, stock, Aim::Cheapest).expect("sticks that are long enough");
        times.push(start.elapsed().as_secs_f64() * 1000.0);
        proven += u32::from(list.proven);
    }
    times.sort_by(f64::total_cmp);
    let (middle, most) = (times[times.len() / 2], times[times.len() - 1]);
    say(&format!(
        "cut {what}: {middle:.2} ms, {most:.2} at most; {proven} of {CUTS} lists proven best"
    ));
}

/// Cuts the lists of which the best is known; tells whether none is more than one percent dearer, and none of the fewest
/// sticks takes one more.
fn cuts_are_good() -> bool {
    let number = |text: &str| text.parse::<i64>().expect("a number");
    let (mut lists, mut best, mut dearest) = (0, 0, 0.0_f64);
    for line in include_str!("../tests/vectors/cutting.csv").lines().skip(1) {
        let fields: Vec<&str> = line.split(',').collect();
        let sticks = fields[1].split(' ').filter_map(|text| text.split_once(':'));
        let sticks = sticks.map(|(length, price)| Stick {
            length: number(length),
            price: Money::from_minor(number(price)),
        });
        let sticks: Vec<Stick> = sticks.collect();
        let stock = Stock {
            sticks: &sticks,
            off_cuts: &[],
            saw_loss: number(fields[0]),
        };
        let pieces: Vec<i64> = fields[2].split(' ').map(number).collect();
        let [cheapest, fewest] = [Aim::Cheapest, Aim::Fewest]
            .map(|aim| cut(&pieces, stock, aim).expect("sticks that are long enough"));
        let more = |list: &CuttingList, least: &str| {
            list.total.minor() as f64 / number(least) as f64 - 1.0
        };
        let more_sticks = fewest.sticks.len() as f64 - number(fields[4]) as f64;
        let by = [
            more(&cheapest, fields[3]),
            more_sticks,
            more(&fewest, fields[5]),
        ];
        lists += 1;
        best += u32::from(by.iter().all(|by| *by == 0.0));
        dearest = by.into_iter().fold(dearest, f64::max);
    }
    say(&format!(
        "cut {lists} lists of 13 to 30 pieces: {best} as the best, {:.2} % dearer at most",
        100.0 * dearest
    ));
    dearest <= 0.01
}

fn time(what: &str, mut run: impl FnMut()) {
    let mut best = f64::MAX;
    for _ in 0..5 {
        let start = Instant::now();
        run();
        best = best.min(start.elapsed().as_secs_f64() * 1000.0);
    }
    say(&format!("{what}: {best:.2} ms"));
}

fn main() -> ExitCode {
    speed();
    let well_cut = cuts_are_good();
    let mut truth = Truth(ChaCha8Rng::seed_from_u64(2026));
    let (firms, jobs) = (200, 20);
    let mut kept = 0_u32;
    for _ in 0..firms {
        let firm = Firm::new(&mut truth);
        let rates = learn(basis(), &history(&firm, &mut truth, 25));
        for _ in 0..jobs {
            kept += u32::from(keeps_margin(&firm, &mut truth, &rates));
        }
    }
    let share = 100.0 * f64::from(kept) / f64::from(firms * jobs);
    say(&format!(
        "quoted at 80 %: {kept} of {} jobs kept the margin, {share:.1} %",
        firms * jobs
    ));
    match well_cut && (78.0..=82.0).contains(&share) {
        true => ExitCode::SUCCESS,
        false => ExitCode::FAILURE,
    }
}

#[expect(clippy::print_stdout, reason = "a bench says what it measured")]
fn say(words: &str) {
    println!("{words}");
}
