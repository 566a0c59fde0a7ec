//! How long the plan of a house takes, by its number of rooms: `cargo bench --bench house`, or with `-- 8 12` for some of
//! them.
//!
//! Houses are drawn: a hall that the rooms hang on, a bath that must stay in use, nights away that cost something, a
//! tariff with a weekend rate; most households are away for some nights, some have holidays, refuse any night away, or
//! seal rooms off. The part of a plan's cost that depends on the plan is set beside the bound, and it is said how many
//! plans are proven. Where the system tells processor time and how much memory was taken at most (in `/proc`), that is
//! said and limited; else it is the clock's.

use std::collections::{BTreeMap, BTreeSet};
use std::process::ExitCode;
use std::rc::Rc;
use std::time::{Duration, Instant};

use chrono::{Days, NaiveDate, Weekday};
use gritledger::money::{Decimal, Money, round};
use gritledger::trade::plan::{
    Brief, Calendar, Coat, House, Keep, Machine, Needs, NightAway, Place, Places, WorkingDay, plan,
};
use gritledger::trade::rental::Tariff;
use gritledger::trade::{MachineId, RoomId};
use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};

/// Houses of each size.
const HOUSES: u32 = 10;
/// Houses of twelve rooms, of which the worst counts.
const HOUSES_OF_TWELVE: u32 = 100;
/// What plans must take at most: rooms, and the limit.
const LIMITS: [(usize, Duration); 2] =
    [(8, Duration::from_millis(50)), (12, Duration::from_secs(2))];

/// Memory that plans take at most, up to the largest house with a limit, in kilobytes.
const MOST_MEMORY: u64 = 200_000;

/// Returns how much memory was taken at most so far, in kilobytes; `None`: the system doesn't tell.
fn most_memory() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))?;
    line.split_whitespace().next()?.parse().ok()
}

/// Returns for how long this process has had a processor; `None`: the system doesn't tell.
fn processor_time() -> Option<Duration> {
    let told = std::fs::read_to_string("/proc/self/schedstat").ok()?;
    let nanoseconds = told.split_whitespace().next()?.parse().ok()?;
    Some(Duration::from_nanos(nanoseconds))
}

fn machine(id: i64, day: i64, weekend: i64, week: i64) -> Machine {
    Machine {
        id: MachineId(id),
        name: format!("machine {id}"),
        tariff: Tariff {
            half_day: None,
            day: Money::from_minor(day * 100),
            weekend: Some(Money::from_minor(weekend * 100)),
            week: Some(Money::from_minor(week * 100)),
            four_weeks: None,
            waiver_percent: Decimal::TEN,
            cleaning: Money::from_minor(2500),
        },
    }
}

/// What the plan of a house came to.
struct Planned {
    took: Duration,
    /// How far the bound is below the plan's cost, in percent of that.
    above: Decimal,
    proven: bool,
}

/// Plans a house of that many rooms.
fn planned(rooms: usize, luck: &mut ChaCha8Rng) -> Planned {
    let mut below = |most: u32| luck.next_u32() % most;
    let mut places: Vec<Place> = (0..rooms)
        .map(|room| Place {
            id: RoomId(room as i64 + 1),
            name: format!("Room {room}"),
            refinished: true,
        })
        .collect();
    places.push(Place {
        id: RoomId(1000),
        name: "Bath".to_owned(),
        refinished: false,
    });
    // The first room is the hall; a third of the others have a way out of their own, or hang on another room.
    let mut doorways = vec![(0, None), (rooms, Some(0))];
    for room in 1..rooms {
        let through = if below(3) == 0 {
            below(room as u32) as usize
        } else {
            0
        };
        doorways.push((room, Some(through)));
        if below(6) == 0 {
            doorways.push((room, None));
        }
    }
    let house = House::new(places, &doorways).expect("a house that hangs together");
    let hours: Vec<(i64, i64, i64)> = (0..rooms)
        .map(|_| {
            let minutes = |least: u32, most: u32| i64::from(least + most);
            let before = minutes(150, below(400));
            let coat = minutes(20, below(40));
            (before, coat, if below(3) == 0 { 30 } else { 0 })
        })
        .collect();
    let needs = |phase: Places| {
        let sum = |of: fn(&(i64, i64, i64)) -> i64| {
            phase.numbers().map(|room| of(&hours[room])).sum::<i64>()
        };
        let coat = |number: usize| Coat {
            name: format!("coat {number}"),
            minutes: sum(|hours| hours.1),
            recoat: 24 * 60,
            by_machine: number > 0,
        };
        Needs {
            before: 90 + sum(|hours| hours.0),
            hardening: None,
            coats: (0..2).map(coat).collect(),
            light_use: 24 * 60,
            after: sum(|hours| hours.2),
            furniture_days: Some(4),
            cure_days: Some(30),
            sands_by_machine: true,
            sands_with_coating_machines: false,
        }
    };
    let start = NaiveDate::from_ymd_opt(2026, 11, 30).expect("a date");
    let mut calendar = Calendar {
        working_days: vec![
            Weekday::Mon,
            Weekday::Tue,
            Weekday::Wed,
            Weekday::Thu,
            Weekday::Fri,
        ],
        holidays: BTreeMap::new(),
        day: WorkingDay {
            crew_minutes: 16 * 60,
            day_minutes: 8 * 60,
        },
    };
    let sanding = [machine(1, 80, 140, 280), machine(2, 45, 78, 150)];
    let coating = [machine(3, 40, 70, 136)];
    let bath = Keep {
        places: Places::one(rooms),
        least: 1,
    };
    let beds = Keep {
        places: Places::one(rooms - 1).with(Places::one(rooms - 2)),
        least: 1,
    };
    let day = |number: u32| start + Days::new(u64::from(number));
    let away = match below(3) {
        0 => Vec::new(),
        spans => (0..spans)
            .map(|_| {
                let from = below(60);
                (day(from), day(from + below(7)))
            })
            .collect(),
    };
    if below(3) == 0 {
        calendar.holidays.insert(day(below(40)), String::new());
    }
    let brief = Brief {
        house: &house,
        calendar: &calendar,
        needs: Rc::new(needs),
        start,
        begun: Vec::new(),
        anew_from: start,
        end: None,
        keeps: vec![bath, beds],
        wet: Vec::new(),
        dusty: BTreeSet::new(),
        away,
        night_away: match below(4) {
            0 => NightAway::Refused,
            _ => NightAway::Costs(Money::from_minor(12_000)),
        },
        day_closed: Money::from_minor(2000 * i64::from(below(2))),
        most_rooms: (below(2) == 0).then_some(4),
        furniture_first: false,
        sealed: below(4) == 0,
        together: Vec::new(),
        apart: Vec::new(),
        set_up: Money::from_minor(6847),
        sanding_machines: &sanding,
        coating_machines: &coating,
        progress: &|_| (),
    };
    let (begun, worked) = (Instant::now(), processor_time());
    let answer = plan(&brief, None);
    let took = match processor_time().zip(worked) {
        Some((now, before)) => now - before,
        None => begun.elapsed(),
    };
    let cost = answer
        .chosen
        .plan
        .map_or(Money::ZERO, |plan| plan.costs.total());
    let above = Decimal::from((cost - answer.bound).minor()) * Decimal::ONE_HUNDRED;
    Planned {
        took,
        above: above / Decimal::from(cost.minor().max(1)),
        proven: answer.proven,
    }
}

fn main() -> ExitCode {
    let mut code = ExitCode::SUCCESS;
    let wanted: Vec<usize> = std::env::args()
        .filter_map(|text| text.parse().ok())
        .collect();
    for rooms in [2, 4, 6, 8, 9, 10, 11, 12, 16, 20] {
        if !wanted.is_empty() && !wanted.contains(&rooms) {
            continue;
        }
        let mut luck = ChaCha8Rng::seed_from_u64(rooms as u64);
        let count = if rooms == 12 {
            HOUSES_OF_TWELVE
        } else {
            HOUSES
        };
        let houses: Vec<Planned> = (0..count).map(|_| planned(rooms, &mut luck)).collect();
        let mut times: Vec<Duration> = houses.iter().map(|house| house.took).collect();
        times.sort();
        let (middle, most) = (times[times.len() / 2], times[times.len() - 1]);
        let above = houses.iter().map(|house| round(house.above, 1)).max();
        let proven = houses.iter().filter(|house| house.proven).count();
        say(&format!(
            "{rooms:>2} rooms: {middle:.1?} in the middle, {most:.1?} at most; {proven} of {count} proven; the bound is at most {} % below",
            above.unwrap_or_default()
        ));
        let limit = LIMITS.iter().find(|(of, _)| *of == rooms);
        let Some((_, limit)) = limit else { continue };
        let memory = most_memory();
        if let Some(memory) = memory {
            say(&format!(
                "{rooms:>2} rooms: {memory} kB of memory so far at most"
            ));
        }
        if most > *limit || memory.is_some_and(|memory| memory > MOST_MEMORY) {
            code = ExitCode::FAILURE;
        }
    }
    code
}

#[expect(clippy::print_stdout, reason = "a bench says what it measured")]
fn say(words: &str) {
    println!("{words}");
}
