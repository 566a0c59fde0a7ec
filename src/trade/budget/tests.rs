//! One job worked by hand, and what is peculiar about single lines.

use rust_decimal_macros::dec;

use super::ahead::Ahead;
use super::*;
use crate::trade::EntryId;
use crate::trade::job_cost::totals;
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

/// What is logged and what is still to come, if today's rates are those of the quotes.
fn cost_of(quotes: &[&[Line]], logged: &[Logged], overhead: Decimal) -> Money {
    let ahead = ahead_of(quotes, logged, overhead);
    totals(logged, overhead).total() + ahead.costs.total()
}

fn ahead_of(quotes: &[&[Line]], logged: &[Logged], overhead: Decimal) -> Ahead {
    let lines = quotes.iter().flat_map(|lines| lines.iter());
    let work: Vec<&WorkLine> = lines
        .filter_map(|line| match line {
            Line::Work(work) => Some(work),
            _ => None,
        })
        .collect();
    budget_of(quotes, logged).ahead(&work, logged, overhead)
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
    assert_eq!(
        cost_of(&[&quote], &[], dec!(0.1)),
        Money::from_minor(27_200)
    );
    // The Hall took 12 discs for 25.00 and 2.5 h for 80.00; disposal came to 46.50.
    let logged = [
        log(discs(Some(ROTARY)), &[HALL], dec!(12), 2_500),
        log(hours(Some(sand()), None), &[HALL], dec!(2.5), 8_000),
        log(spent("disposal"), &[], dec!(1), 4_650),
    ];
    let budget = budget_of(&[&quote], &logged);
    // Discs: 25.00, and the Den's 32.00. Hours: 80.00, and the Den's 90.00. Disposal: 46.50 is more than 40.00. The permit is
    // still to come: 15.00. Overhead: a tenth of 170.00 = 17.00. 57.00 + 170.00 + 46.50 + 15.00 + 17.00 = 305.50
    let cost = cost_of(&[&quote], &logged, dec!(0.1));
    assert_eq!(cost, Money::from_minor(30_550));
    let ahead = ahead_of(&[&quote], &logged, dec!(0.1));
    assert_eq!(ahead.hours, dec!(3));
    assert_eq!(ahead.items[&(Some(HALL), ROTARY)], dec!(0));
    assert_eq!(ahead.items[&(Some(DEN), ROTARY)], dec!(1));
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
    // 7 of 14 in the Hall are 14.00, and the other 7 of 20.00 + 8.00 cost as much; the Den's 12.00; 4 h at 30.00.
    let cost = cost_of(&[&quote, &variation], &logged, dec!(0));
    assert_eq!(cost, Money::from_minor(16_000));
}

#[test]
fn a_zero_that_is_typed_leaves_nothing_and_what_nobody_logged_is_all_to_come() {
    let quote = [work(HALL, dec!(10), dec!(2)), work(DEN, dec!(16), dec!(3))];
    let zero = [log(discs(Some(ROTARY)), &[HALL], dec!(0), 0)];
    // The Hall takes none; the Den's 32.00 and the hours are to come.
    assert_eq!(
        cost_of(&[&quote], &zero, dec!(0)),
        Money::from_minor(18_200)
    );
    let budget = budget_of(&[&quote], &zero);
    let standing = budget.standing(&discs(None), Some(HALL)).unwrap();
    assert_eq!(told(&standing), "disc: 0 of 26; 0 of 10");
    // A receipt that came later says nothing about a quantity.
    let correction = [Logged {
        correction: true,
        ..log(discs(Some(ROTARY)), &[HALL], dec!(0), 300)
    }];
    let budget = budget_of(&[&quote], &correction);
    assert_eq!(budget.lines[0].total().used, None);
    assert_eq!(
        cost_of(&[&quote], &correction, dec!(0)),
        Money::from_minor(20_500)
    );
}

#[test]
fn what_was_not_quoted_costs_what_it_cost_and_leaves_nothing() {
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
    let cost = cost_of(&[&quote], &logged, dec!(0.1));
    assert_eq!(cost, Money::from_minor(14_350));
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
        let cost = cost_of(&[&quote], &[day(logged)], dec!(0));
        assert_eq!(cost, Money::from_minor(expected));
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

/// Work of a room in its order: two cuts of the floor, one of the edges, a screen between two coats.
fn floor(room: RoomId) -> Vec<Line> {
    let task = |id, name: &str| Task {
        id: TaskId(id),
        name: name.into(),
    };
    let line = |operation, task: Task, driver, passes, unit, quantity: Decimal, hours: Decimal| {
        let Line::Work(work) = work(room, quantity, hours) else {
            unreachable!("work");
        };
        let item = work.item.map(|item| ItemLine {
            id: ItemId(operation),
            unit,
            ..item
        });
        Line::Work(WorkLine {
            operation: OperationId(operation),
            name: format!("step-{operation}"),
            task,
            driver,
            passes,
            item,
            ..work
        })
    };
    let (sand, edge, coat) = (task(1, "sand"), task(2, "edge"), task(3, "coat"));
    vec![
        line(
            1,
            sand.clone(),
            Driver::Area,
            1,
            Unit::Disc,
            dec!(10),
            dec!(2),
        ),
        line(2, edge, Driver::Edge, 1, Unit::Disc, dec!(6), dec!(1)),
        line(3, sand, Driver::Area, 1, Unit::Disc, dec!(8), dec!(1)),
        line(
            4,
            coat.clone(),
            Driver::Area,
            2,
            Unit::Gallon,
            dec!(2),
            dec!(2),
        ),
        line(5, coat, Driver::Area, 1, Unit::Disc, dec!(1), dec!(0.5)),
    ]
}

fn used(operation: i64, rooms: &[RoomId], quantity: Decimal) -> Logged {
    let what = What::Item {
        item: ItemId(operation),
        name: "disc".into(),
        unit: if operation == 4 {
            Unit::Gallon
        } else {
            Unit::Disc
        },
        operation: Some(OperationId(operation)),
    };
    log(what, rooms, quantity, 0)
}

fn worked(task: i64, rooms: &[RoomId], quantity: Decimal) -> Logged {
    let task = Task {
        id: TaskId(task),
        name: "task".into(),
    };
    log(hours(Some(task), None), rooms, quantity, 0)
}

/// What is left of the item of each operation, and of the hours of each task, in the Hall.
fn left_in_the_hall(logged: &[Logged]) -> ([Decimal; 5], [Decimal; 3]) {
    let quote = [floor(HALL), floor(DEN)].concat();
    let ahead = ahead_of(&[&quote], logged, dec!(0));
    let items = [(1, 10), (2, 6), (3, 8), (4, 2), (5, 1)].map(|(operation, expected)| {
        let share = ahead.items[&(Some(HALL), OperationId(operation))];
        (share * Decimal::from(expected)).normalize()
    });
    let hours = [(1, dec!(3)), (2, dec!(1)), (3, dec!(2.5))].map(|(task, expected)| {
        let share = ahead.tasks[&(Some(HALL), TaskId(task))];
        crate::money::quantity(share * expected).normalize()
    });
    (items, hours)
}

#[test]
fn what_is_left_of_a_room_is_told_from_what_is_logged_in_it() {
    let all = [dec!(10), dec!(6), dec!(8), dec!(2), dec!(1)];
    let hours = [dec!(3), dec!(1), dec!(2.5)];
    let hall = [HALL];
    assert_eq!(left_in_the_hall(&[]), (all, hours));
    // Begun: the first cut takes at least what is logged. Its two hours are used up, and the second cut has its own.
    let begun = vec![used(1, &hall, dec!(7)), worked(1, &hall, dec!(2.5))];
    assert_eq!(
        left_in_the_hall(&begun),
        (
            [dec!(3), dec!(6), dec!(8), dec!(2), dec!(1)],
            [dec!(1), dec!(1), dec!(2.5)]
        )
    );
    // The second cut is begun: the first is over, though it took less than expected; of the edges nothing is known.
    let second = [begun, vec![used(3, &hall, dec!(2))]].concat();
    assert_eq!(
        left_in_the_hall(&second),
        (
            [dec!(0), dec!(6), dec!(6), dec!(2), dec!(1)],
            [dec!(0.5), dec!(1), dec!(2.5)]
        )
    );
    // A coat is on: the cuts are over with their hours. Edges that nobody wrote down were done, and will be a cost.
    let coated = [second, vec![used(4, &hall, dec!(0.9))]].concat();
    assert_eq!(
        left_in_the_hall(&coated),
        (
            [dec!(0), dec!(6), dec!(0), dec!(1.1), dec!(1)],
            [dec!(0), dec!(1), dec!(2.5)]
        )
    );
    // The screen comes between the coats: the second coat is still to come.
    let screened = [
        coated,
        vec![used(5, &hall, dec!(1)), worked(3, &hall, dec!(1))],
    ]
    .concat();
    assert_eq!(
        left_in_the_hall(&screened),
        (
            [dec!(0), dec!(6), dec!(0), dec!(1.1), dec!(0)],
            [dec!(0), dec!(1), dec!(1.5)]
        )
    );
    // Entries of the whole house say of no room that a pass is over.
    let house = [used(1, &[], dec!(8)), used(3, &[], dec!(2))];
    let (items, _) = left_in_the_hall(&house);
    assert_eq!(items, [dec!(6), dec!(6), dec!(7), dec!(2), dec!(1)]);
}

#[test]
fn what_might_have_turned_up_does_not_any_more_under_a_coat() {
    let mut quote = floor(HALL);
    if let Line::Work(edges) = &mut quote[1] {
        edges.contingency = Some(crate::trade::takeoff::Contingency {
            chance: dec!(0.4),
            low: dec!(2),
            high: dec!(6),
        });
    }
    let edges = |logged: &[Logged]| {
        let ahead = ahead_of(&[&quote], logged, dec!(0));
        (
            ahead.items[&(Some(HALL), OperationId(2))],
            ahead.tasks[&(Some(HALL), TaskId(2))],
        )
    };
    assert_eq!(edges(&[used(1, &[HALL], dec!(3))]), (dec!(1), dec!(1)));
    assert_eq!(edges(&[used(4, &[HALL], dec!(1))]), (dec!(0), dec!(0)));
}
