//! The split against published answers, and jobs of a line or two worked by hand.

use rust_decimal_macros::dec;

use super::*;
use crate::trade::job_cost::{Logged, Quoted, What};
use crate::trade::operation::{Driver, Task};
use crate::trade::quote::{ItemLine, Line, WorkLine};
use crate::trade::takeoff::Contingency;
use crate::trade::{EntryId, ItemId, TaskId};

fn usd() -> Currency {
    Currency::from_code("USD").unwrap()
}

fn side(quantity: Decimal, price: Decimal) -> Side {
    Side {
        quantity,
        cost: usd().amount(quantity * price),
    }
}

#[test]
fn the_split_matches_published_worked_answers() {
    // Public worked answers to textbook exercises on material and labour variances, recomputed; positive costs more.
    // (case, quoted quantity, quoted price, actual quantity, actual price, price part, quantity part) in dollars.
    let cases = [
        (
            "A material",
            dec!(1680000),
            dec!(1.40),
            dec!(1780000),
            dec!(1.30),
            -178_000,
            140_000,
        ),
        (
            "A labour",
            dec!(5040),
            dec!(12),
            dec!(4900),
            dec!(13),
            4_900,
            -1_680,
        ),
        (
            "B material",
            dec!(185000),
            dec!(6),
            dec!(183200),
            dec!(5.80),
            -36_640,
            -10_800,
        ),
        (
            "B labour",
            dec!(18500),
            dec!(16.50),
            dec!(18930),
            dec!(16.90),
            7_572,
            7_095,
        ),
        (
            "C material",
            dec!(26250),
            dec!(3.10),
            dec!(27300),
            dec!(3.05),
            -1_365,
            3_255,
        ),
        (
            "C labour",
            dec!(3000),
            dec!(5.30),
            dec!(3260),
            dec!(5.95),
            2_119,
            1_378,
        ),
        (
            "E material",
            dec!(11130),
            dec!(6),
            dec!(10860),
            dec!(6),
            0,
            -1_620,
        ),
    ];
    for (case, quoted_quantity, standard, actual_quantity, paid, price, quantity) in cases {
        let quoted = side(quoted_quantity, standard);
        let actual = side(actual_quantity, paid);
        let split = split(quoted, Some(standard), actual, usd());
        let dollars = |amount: i64| Money::from_minor(amount * 100);
        assert_eq!(
            split,
            Split {
                price: dollars(price),
                quantity: dollars(quantity)
            },
            "{case}"
        );
        assert_eq!(split.total(), actual.cost - quoted.cost, "{case}");
    }
}

#[test]
fn one_empty_side_has_no_price_part() {
    let some = side(dec!(3), dec!(10));
    let nothing = Side::default();
    assert_eq!(
        split(some, Some(dec!(10)), nothing, usd()),
        Split {
            price: Money::ZERO,
            quantity: -some.cost
        }
    );
    assert_eq!(
        split(nothing, None, some, usd()),
        Split {
            price: Money::ZERO,
            quantity: some.cost
        }
    );
}

const LANDING: RoomId = RoomId(1);
const BEDROOM: RoomId = RoomId(2);
const ROTARY_36: OperationId = OperationId(1);
const ROTARY_80: OperationId = OperationId(2);

/// A line of the task `sand`: hours, and discs at a price.
fn work(
    room: RoomId,
    operation: OperationId,
    (hours, hour): (Decimal, Decimal),
    (discs, price): (Decimal, Decimal),
) -> Line {
    Line::Work(WorkLine {
        room: Some(room),
        part: None,
        operation,
        name: format!("rotary-{}", operation.0),
        task: sand(),
        driver: Driver::Area,
        quantity: dec!(100),
        passes: 1,
        contingency: None,
        item: Some(ItemLine {
            id: ItemId(7),
            name: "disc".into(),
            unit: Unit::Disc,
            expected: discs,
            load: discs,
            unit_price: price,
            cost: usd().amount(discs * price),
        }),
        hours,
        labour: usd().amount(hours * hour),
    })
}

fn sand() -> Task {
    Task {
        id: TaskId(1),
        name: "sand".into(),
    }
}

fn hours(operation: Option<OperationId>) -> What {
    What::Hours {
        task: Some(sand()),
        operation,
    }
}

/// Discs, under the name that their item has by now.
fn discs(operation: Option<OperationId>) -> What {
    What::Item {
        item: ItemId(7),
        name: "disc, renamed".into(),
        unit: Unit::Disc,
        operation,
    }
}

fn spent(label: &str) -> What {
    What::Other {
        label: label.into(),
        unit: Unit::Each,
    }
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

/// Compares quotes, each with its price of an hour; overhead is 10 %.
fn compared(quotes: &[(&[Line], Decimal)], logged: &[Logged]) -> Variance {
    let quotes: Vec<Quoted<'_>> = quotes
        .iter()
        .map(|(lines, hour)| Quoted {
            rooms: vec![LANDING, BEDROOM],
            lines,
            hour: *hour,
        })
        .collect();
    let name = |operation: OperationId| format!("unquoted-{}", operation.0);
    compare(&quotes, logged, dec!(0.1), name, usd())
}

/// Writes each line as `room|operation|item: verdict price quantity`, amounts in cents.
fn lines(variance: &Variance) -> Vec<String> {
    let lines = variance.lines.iter().map(|line| {
        let Subject {
            room,
            operation,
            item,
            ..
        } = &line.subject;
        let words = |word: &Option<String>| word.clone().unwrap_or_default();
        let room = room.map(|room| room.0.to_string());
        let parts = line.compared().map_or_else(String::new, |compared| {
            let Split { price, quantity } = compared.split;
            format!(" {} {}", price.minor(), quantity.minor())
        });
        format!(
            "{}|{}|{}: {}{parts}",
            words(&room),
            words(operation),
            words(item),
            line.verdict()
        )
    });
    lines.collect()
}

#[test]
fn what_nobody_logged_is_not_recorded_and_a_typed_zero_is() {
    let quote = [
        work(LANDING, ROTARY_36, (dec!(2), dec!(30)), (dec!(6), dec!(2))),
        work(BEDROOM, ROTARY_36, (dec!(4), dec!(30)), (dec!(9), dec!(2))),
        work(BEDROOM, ROTARY_80, (dec!(1), dec!(30)), (dec!(3), dec!(2))),
    ];
    let logged = [
        log(discs(Some(ROTARY_36)), &[LANDING], dec!(5), 1000),
        log(discs(Some(ROTARY_80)), &[BEDROOM], dec!(0), 0),
    ];
    let variance = compared(&[(&quote, dec!(30))], &logged);
    assert_eq!(
        lines(&variance),
        [
            "1|rotary-1|disc: favourable 0 -200",
            "2|rotary-1|disc: not recorded",
            "2|rotary-2|disc: favourable 0 -600",
            "1|sand|: not recorded",
            "2|sand|: not recorded",
        ]
    );
    // 9 discs at 2 and 7 h at 30 are not recorded: 18 + 210.
    assert_eq!(
        variance.missing(),
        Missing {
            operations: 2,
            others: 0,
            quoted: Money::from_minor(22_800),
            might: Money::ZERO,
        }
    );
    assert_eq!(
        variance.missing_in(LANDING).quoted,
        Money::from_minor(6_000)
    );
    // Actual 10.00, quoted 12 + 18 + 6 + 210 = 246.00.
    assert_eq!(variance.recorded().total(), Money::from_minor(-800));
    assert_eq!(variance.difference(), Money::from_minor(1_000 - 24_600));
}

#[test]
fn a_variation_is_compared_at_its_own_prices() {
    // 10 h at 20 and 5 discs at 2 in the landing; a variation of 10 h at 24 and 5 discs at 3 in the bedroom.
    let quote = [work(
        LANDING,
        ROTARY_36,
        (dec!(10), dec!(20)),
        (dec!(5), dec!(2)),
    )];
    let variation = [work(
        BEDROOM,
        ROTARY_36,
        (dec!(10), dec!(24)),
        (dec!(5), dec!(3)),
    )];
    let quotes: [(&[Line], Decimal); 2] = [(&quote, dec!(20)), (&variation, dec!(24))];
    let logged = [
        log(hours(None), &[BEDROOM], dec!(10), 24_000),
        log(discs(Some(ROTARY_36)), &[BEDROOM], dec!(5), 1_500),
        log(hours(None), &[LANDING], dec!(10), 20_000),
        log(discs(Some(ROTARY_36)), &[LANDING], dec!(5), 1_000),
    ];
    let no_overhead = |line: &String| !line.contains("overhead");
    let mut found = lines(&compared(&quotes, &logged));
    found.retain(no_overhead);
    assert_eq!(
        found,
        [
            "1|rotary-1|disc: as quoted 0 0",
            "2|rotary-1|disc: as quoted 0 0",
            "1|sand|: as quoted 0 0",
            "2|sand|: as quoted 0 0",
        ]
    );
    // Both in one room: 22 an hour (10 × 20 + 10 × 24 over 20 h), 2.50 a disc. Worked 10 h at 20 and 12 h at 24:
    // 488 − 22 × 22 = 4 by price, 22 × 22 − 440 = 44 by quantity. 12 discs for 33.00: 33 − 30 = 3, 30 − 25 = 5.
    let variation = [work(
        LANDING,
        ROTARY_36,
        (dec!(10), dec!(24)),
        (dec!(5), dec!(3)),
    )];
    let quotes: [(&[Line], Decimal); 2] = [(&quote, dec!(20)), (&variation, dec!(24))];
    let logged = [
        log(hours(None), &[LANDING], dec!(10), 20_000),
        log(hours(None), &[LANDING], dec!(12), 28_800),
        log(discs(Some(ROTARY_36)), &[LANDING], dec!(12), 3_300),
    ];
    let mut found = lines(&compared(&quotes, &logged));
    found.retain(no_overhead);
    assert_eq!(
        found,
        [
            "1|rotary-1|disc: unfavourable 300 500",
            "1|sand|: unfavourable 400 4400",
        ]
    );
}

#[test]
fn hours_that_all_name_their_operation_are_compared_by_operation() {
    let quote = [
        work(LANDING, ROTARY_36, (dec!(2), dec!(30)), (dec!(6), dec!(2))),
        work(LANDING, ROTARY_80, (dec!(8), dec!(30)), (dec!(3), dec!(2))),
    ];
    let quotes: [(&[Line], Decimal); 1] = [(&quote, dec!(30))];
    let by_operation = [log(hours(Some(ROTARY_36)), &[LANDING], dec!(3), 9_000)];
    let labour = |variance: &Variance| -> Vec<String> {
        let mut lines = lines(variance);
        lines.retain(|line| line.contains("|:") || line.contains("overhead"));
        lines
    };
    // 3 h for 2 h; the 8 h of the other operation aren't recorded, and neither is the overhead that they bear.
    let overhead = [
        quote.to_vec(),
        vec![Line::Overhead {
            cost: Money::from_minor(3_000),
        }],
    ]
    .concat();
    let variance = compared(&[(&overhead, dec!(30))], &by_operation);
    assert_eq!(
        labour(&variance),
        [
            "1|rotary-1|: unfavourable 0 3000",
            "1|rotary-2|: not recorded",
            // 10 % of 90.00 beside 10 % of the 60.00 that were quoted for it: 9.00 for 6.00.
            "||overhead: unfavourable 300 0",
            "||overhead: not recorded",
        ]
    );
    // 240.00 of labour, 24.00 of overhead on it, 18.00 of discs.
    assert_eq!(variance.missing().quoted, Money::from_minor(28_200));
    assert_eq!(variance.missing().operations, 2);
    // An hour on the task alone may have been on either.
    let by_task = [
        by_operation[0].clone(),
        log(hours(None), &[LANDING], dec!(1), 3_000),
    ];
    assert_eq!(
        labour(&compared(&quotes, &by_task))[0],
        "1|sand|: favourable 0 -18000"
    );
}

#[test]
fn a_lump_is_compared_in_the_rooms_where_it_was_spent() {
    let quote = [Line::Other {
        what: "Disposal".into(),
        cost: Money::from_minor(4_500),
    }];
    let quotes: [(&[Line], Decimal); 1] = [(&quote, dec!(30))];
    assert_eq!(lines(&compared(&quotes, &[])), ["||Disposal: not recorded"]);
    // 20 in the landing and 40 in the bedroom: 45 is shared 15 and 30; driving was never quoted.
    let driving = What::Other {
        label: "driving".into(),
        unit: Unit::Mile,
    };
    let logged = [
        log(spent("disposal"), &[LANDING], dec!(1), 2_000),
        log(spent("disposal"), &[BEDROOM], dec!(1), 1_000),
        log(spent("disposal"), &[BEDROOM], dec!(1), 3_000),
        log(driving, &[BEDROOM], dec!(4), 300),
    ];
    assert_eq!(
        lines(&compared(&quotes, &logged)),
        [
            "1||Disposal: unfavourable 500 0",
            "2||Disposal: unfavourable 1000 0",
            "2||driving: unfavourable 0 300",
        ]
    );
}

#[test]
fn what_was_handed_back_and_never_used_says_nothing_of_what_was_used() {
    let quote = [work(
        LANDING,
        ROTARY_36,
        (dec!(0), dec!(30)),
        (dec!(6), dec!(2)),
    )];
    let back = Logged {
        correction: true,
        ..log(discs(None), &[], dec!(0), 150)
    };
    let quotes: [(&[Line], Decimal); 1] = [(&quote, dec!(30))];
    assert_eq!(
        lines(&compared(&quotes, std::slice::from_ref(&back))),
        [
            "1|handed back|disc: unfavourable 0 150",
            "1|rotary-1|disc: not recorded",
        ]
    );
    let used = log(discs(None), &[], dec!(6), 1_200);
    assert_eq!(
        lines(&compared(&quotes, &[used, back])),
        ["1|rotary-1|disc: unfavourable 150 0"]
    );
}

#[test]
fn an_item_without_its_operation_is_shared_by_those_that_were_to_take_it() {
    let quote = [
        work(LANDING, ROTARY_36, (dec!(0), dec!(30)), (dec!(6), dec!(2))),
        work(LANDING, ROTARY_80, (dec!(0), dec!(30)), (dec!(3), dec!(2))),
    ];
    let used = log(discs(None), &[], dec!(12), 2_400);
    assert_eq!(
        lines(&compared(&[(&quote, dec!(30))], &[used])),
        [
            "1|rotary-1|disc: unfavourable 0 400",
            "1|rotary-2|disc: unfavourable 0 200",
        ]
    );
}

#[test]
fn what_only_might_turn_up_leaves_no_gap() {
    let mut quote = [work(
        LANDING,
        ROTARY_36,
        (dec!(2), dec!(30)),
        (dec!(6), dec!(2)),
    )];
    if let Line::Work(work) = &mut quote[0] {
        work.contingency = Some(Contingency {
            chance: dec!(0.5),
            low: dec!(50),
            high: dec!(150),
        });
    }
    let overhead = Line::Overhead {
        cost: Money::from_minor(600),
    };
    let lines = [quote.to_vec(), vec![overhead]].concat();
    let missing = compared(&[(&lines, dec!(30))], &[]).missing();
    assert_eq!(missing.quoted, Money::from_minor(6_000 + 1_200 + 600));
    assert_eq!(missing.might, missing.quoted);
    assert!(!missing.is_gap());
}

proptest::proptest! {
    #[test]
    fn parts_add_up_to_the_difference(quoted in 0_i64..10_000_000, actual in 0_i64..10_000_000, quantity in 0_i64..100_000_000, standard in 0_i64..100_000_000) {
        let quoted = Side { quantity: dec!(1), cost: Money::from_minor(quoted) };
        let actual = Side { quantity: Decimal::new(quantity, 6), cost: Money::from_minor(actual) };
        let split = split(quoted, Some(Decimal::new(standard, 6)), actual, usd());
        proptest::prop_assert_eq!(split.total(), actual.cost - quoted.cost);
    }
}
