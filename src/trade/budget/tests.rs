//! One job worked by hand, and what is peculiar about single lines.

use rust_decimal_macros::dec;

use super::*;
use crate::trade::EntryId;
use crate::trade::operation::Driver;
use crate::trade::quote::ItemLine;

const HALL: RoomId = RoomId(1);
const DEN: RoomId = RoomId(2);
const ROTARY: OperationId = OperationId(1);
const DISC: ItemId = ItemId(1);

fn sand() -> Task {
    Task {
        id: TaskId(1),
        name: "sand".into(),
    }
}

/// Work that takes discs at 2.00 and hours at 30.00.
fn work(room: RoomId, discs: Decimal, hours: Decimal) -> Line {
    let cost = |quantity: Decimal, cents: i64| Money::from_minor(cents).times(quantity);
    Line::Work(WorkLine {
        room: Some(room),
        part: None,
        operation: ROTARY,
        name: "rotary-36".into(),
        task: sand(),
        driver: Driver::Area,
        quantity: dec!(100),
        passes: 1,
        contingency: None,
        item: Some(ItemLine {
            id: DISC,
            name: "disc".into(),
            unit: Unit::Disc,
            expected: discs,
            load: discs,
            unit_price: dec!(2),
            cost: cost(discs, 200),
        }),
        hours,
        labour: cost(hours, 3_000),
    })
}

fn log(what: What, rooms: &[RoomId], quantity: Decimal, cents: i64) -> Logged {
    Logged {
        entry: EntryId(1),
        rooms: rooms.to_vec(),
        what,
        quantity,
        cost: Money::from_minor(cents),
        late: false,
        correction: false,
    }
}

fn discs(operation: Option<OperationId>) -> What {
    What::Item {
        item: DISC,
        name: "disc".into(),
        unit: Unit::Disc,
        operation,
    }
}

fn hours(task: Option<Task>, operation: Option<OperationId>) -> What {
    What::Hours { task, operation }
}

fn spent(label: &str) -> What {
    What::Other {
        label: label.into(),
        unit: Unit::Each,
    }
}

fn lump(what: &str, cents: i64) -> Line {
    Line::Other {
        what: what.into(),
        cost: Money::from_minor(cents),
    }
}

fn budget_of(quotes: &[&[Line]], logged: &[Logged]) -> Budget {
    let quotes: Vec<Quoted<'_>> = quotes
        .iter()
        .map(|lines| Quoted {
            rooms: vec![HALL, DEN],
            lines,
            hour: dec!(30),
        })
        .collect();
    budget(&quotes, logged, |operation| format!("step-{}", operation.0))
}

/// `name: used of quoted; there: used of quoted`.
fn told(standing: &Standing) -> String {
    let place = |place: &Place| {
        let quoted = place.quoted.map(|quoted| quoted.quantity.to_string());
        let used = place.used.map(|used| used.to_string());
        format!(
            "{} of {}",
            used.as_deref().unwrap_or("-"),
            quoted.as_deref().unwrap_or("-")
        )
    };
    let there = standing
        .there
        .as_ref()
        .map(|there| format!("; {}", place(there)));
    format!(
        "{}: {}{}",
        standing.name,
        place(&standing.total),
        there.unwrap_or_default()
    )
}

#[test]
fn a_job_of_two_rooms_worked_by_hand() {
    // Quoted: the Hall 10 discs for 20.00 and 2 h for 60.00, the Den 16 discs for 32.00 and 3 h for 90.00; disposal 40.00,
    // a permit 15.00, overhead a tenth of 150.00 = 15.00. In all 20 + 32 + 60 + 90 + 40 + 15 + 15 = 272.00.
    let quote = [
        work(HALL, dec!(10), dec!(2)),
        work(DEN, dec!(16), dec!(3)),
        lump("Disposal", 4_000),
        lump("permit", 1_500),
        Line::Overhead {
            cost: Money::from_minor(1_500),
        },
    ];
    let nothing_yet = budget_of(&[&quote], &[]);
    assert_eq!(
        nothing_yet.at_this_pace(dec!(0.1)),
        Money::from_minor(27_200)
    );
    // The Hall took 12 discs for 25.00 and 2.5 h for 80.00; disposal came to 46.50.
    let logged = [
        log(discs(Some(ROTARY)), &[HALL], dec!(12), 2_500),
        log(hours(Some(sand()), None), &[HALL], dec!(2.5), 8_000),
        log(spent("disposal"), &[], dec!(1), 4_650),
    ];
    let budget = budget_of(&[&quote], &logged);
    // Discs: 12 of 10 is a pace of 1.2: 25.00 + 32.00 × 1.2 = 63.40. Hours: 2.5 of 2 is 1.25: 80.00 + 90.00 × 1.25 = 192.50.
    // Disposal: 46.50 is more than 40.00. The permit is still to come: 15.00. Overhead: a tenth of 192.50 = 19.25.
    // 63.40 + 192.50 + 46.50 + 15.00 + 19.25 = 336.65
    assert_eq!(budget.at_this_pace(dec!(0.1)), Money::from_minor(33_665));
    let lines: Vec<(Option<Decimal>, Option<Decimal>, Option<Decimal>)> = budget
        .lines
        .iter()
        .map(|line| {
            let total = line.total();
            (
                total.quoted.map(|quoted| quoted.quantity),
                total.used,
                total.left(),
            )
        })
        .collect();
    assert_eq!(
        lines,
        [
            (Some(dec!(26)), Some(dec!(12)), Some(dec!(14))),
            (Some(dec!(5)), Some(dec!(2.5)), Some(dec!(2.5))),
        ]
    );
    let standing = |what: What, room| told(&budget.standing(&what, room).unwrap());
    assert_eq!(
        standing(discs(Some(ROTARY)), Some(HALL)),
        "disc: 12 of 26; 12 of 10"
    );
    assert_eq!(
        standing(hours(None, Some(ROTARY)), Some(DEN)),
        "sand: 2.5 of 5; - of 3"
    );
    assert_eq!(standing(discs(None), None), "disc: 12 of 26");
    assert_eq!(budget.standing(&spent("disposal"), None), None);
    assert_eq!(budget.standing(&hours(None, None), None), None);
}

#[test]
fn variations_add_to_what_was_quoted() {
    let quote = [work(HALL, dec!(10), dec!(2))];
    let variation = [work(HALL, dec!(4), dec!(1)), work(DEN, dec!(6), dec!(1))];
    let logged = [log(discs(None), &[HALL], dec!(7), 1_400)];
    let budget = budget_of(&[&quote, &variation], &logged);
    let standing = budget.standing(&discs(None), Some(HALL)).unwrap();
    assert_eq!(told(&standing), "disc: 7 of 20; 7 of 14");
    // 7 of 14 in the Hall: 14.00 + 12.00 × 0.5; 4 h at 30.00.
    assert_eq!(budget.at_this_pace(dec!(0)), Money::from_minor(14_000));
}

#[test]
fn a_zero_that_is_typed_is_a_pace_and_what_nobody_logged_is_none() {
    let quote = [work(HALL, dec!(10), dec!(2)), work(DEN, dec!(16), dec!(3))];
    let zero = [log(discs(Some(ROTARY)), &[HALL], dec!(0), 0)];
    // The Hall took none, so the Den is expected to take none; the hours are as quoted.
    let budget = budget_of(&[&quote], &zero);
    assert_eq!(budget.at_this_pace(dec!(0)), Money::from_minor(15_000));
    let standing = budget.standing(&discs(None), Some(HALL)).unwrap();
    assert_eq!(told(&standing), "disc: 0 of 26; 0 of 10");
    // A receipt that came later says nothing about a quantity.
    let correction = [Logged {
        correction: true,
        ..log(discs(Some(ROTARY)), &[HALL], dec!(0), 300)
    }];
    let budget = budget_of(&[&quote], &correction);
    assert_eq!(budget.lines[0].total().used, None);
    assert_eq!(budget.at_this_pace(dec!(0)), Money::from_minor(20_500));
}

#[test]
fn what_was_not_quoted_costs_what_it_cost_and_has_no_pace() {
    let quote = [work(HALL, dec!(10), dec!(2))];
    let other = OperationId(9);
    let edging = Task {
        id: TaskId(2),
        name: "edge".into(),
    };
    let logged = [
        log(discs(Some(other)), &[HALL], dec!(3), 600),
        log(hours(Some(edging.clone()), None), &[HALL], dec!(1), 3_000),
        log(hours(None, None), &[], dec!(0.5), 1_500),
        // What was left in an opened pack, and a machine nobody quoted.
        log(
            What::LeftOver {
                item: DISC,
                name: "disc".into(),
                unit: Unit::Disc,
            },
            &[],
            dec!(1),
            200,
        ),
    ];
    let budget = budget_of(&[&quote], &logged);
    let standing = |what: &What, room| told(&budget.standing(what, room).unwrap());
    // The disc is another operation's too, so that its name says which is meant.
    assert_eq!(
        standing(&discs(Some(other)), Some(HALL)),
        "disc for step-9: 3 of -"
    );
    assert_eq!(standing(&hours(Some(edging), None), None), "edge: 1 of -");
    assert_eq!(standing(&discs(None), None), "disc: 3 of 10");
    // 20.00 + 60.00 as quoted; 6.00 + 30.00 + 15.00 + 2.00; a tenth of 60.00 + 30.00 + 15.00.
    assert_eq!(budget.at_this_pace(dec!(0.1)), Money::from_minor(14_350));
}

#[test]
fn of_rentals_the_larger_of_quoted_and_logged_is_expected() {
    let rental = |cents| Line::Rental {
        machine: MachineId(1),
        name: "rotary".into(),
        days: dec!(1),
        cost: Money::from_minor(cents),
        once: Money::ZERO,
        tariff: tariff(),
    };
    let out = chrono::NaiveDate::MIN.and_time(chrono::NaiveTime::MIN);
    let day = |cents| {
        let day = crate::trade::job_cost::DayRented {
            away: crate::trade::rental::Away::new(out, out + chrono::Days::new(1)).unwrap(),
            tariff: tariff(),
            position: 0,
        };
        let what = What::Rental {
            machine: MachineId(1),
            name: "rotary".into(),
            day: Box::new(day),
        };
        log(what, &[], dec!(1), cents)
    };
    let quote = [rental(8_000)];
    for (logged, expected) in [(5_000, 8_000), (9_000, 9_000)] {
        let budget = budget_of(&[&quote], &[day(logged)]);
        assert_eq!(budget.at_this_pace(dec!(0)), Money::from_minor(expected));
    }
}

fn tariff() -> crate::trade::rental::Tariff {
    crate::trade::rental::Tariff {
        half_day: None,
        day: Money::from_minor(8_000),
        weekend: None,
        week: None,
        four_weeks: None,
        waiver_percent: dec!(0),
        cleaning: Money::ZERO,
    }
}
