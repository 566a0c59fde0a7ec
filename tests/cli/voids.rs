//! A void is as if it had never been: histories with slips, taken back and typed again, against the same without.

use std::sync::OnceLock;

use chrono::{Days, NaiveDate};
use gritledger::ledger::{
    Clock, Correction, DraftRequest, Identity, Ledger, NewClient, NewRoom, NewSite, Occasion,
    Recorded, UsedFor, WorkedOn, Writing,
};
use gritledger::measure::{Length, Units};
use gritledger::money::{Currency, Money};
use gritledger::trade::room::{Base, Floor};
use gritledger::trade::{FloorCondition, Layout, Species};
use proptest::prelude::*;
use serde_json::{Value, json};
use tempfile::TempDir;

use crate::harness::TestLedger;

/// Things whose packs differ: discs keep, this finish does not.
const ITEMS: [&str; 2] = ["disc-7in-36", "oil-finish"];

/// How many lines are typed on one day.
const LINES_A_DAY: usize = 4;

/// One line of a day book.
#[derive(Clone, Debug, PartialEq)]
struct Line {
    what: What,
    item: usize,
    quantity: u32,
    cents: i64,
    job: usize,
    room: bool,
    /// How many days before it was typed it happened.
    ago: u64,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum What {
    Buy,
    Use,
    LeftOver,
    HandBack {
        refund: bool,
    },
    Count,
    /// A new book price for the item.
    Price,
    /// The job is closed.
    Close,
}

/// What went wrong with a line.
#[derive(Clone, Copy, Debug)]
enum Wrong {
    Quantity,
    Cents,
    Room,
    Job,
    Item,
    Day,
}

fn line() -> impl Strategy<Value = Line> {
    let what = prop_oneof![
        6 => Just(What::Buy),
        8 => Just(What::Use),
        1 => Just(What::LeftOver),
        2 => any::<bool>().prop_map(|refund| What::HandBack { refund }),
        2 => Just(What::Count),
        1 => Just(What::Price),
        1 => Just(What::Close),
    ];
    let ago = prop_oneof![4 => Just(0), 1 => 0_u64..6];
    (
        what,
        0_usize..2,
        1_u32..30,
        1_i64..9_000,
        0_usize..2,
        any::<bool>(),
        ago,
    )
        .prop_map(|(what, item, quantity, cents, job, room, ago)| Line {
            what,
            item,
            quantity,
            cents,
            job,
            room,
            ago,
        })
}

fn wrong() -> impl Strategy<Value = Wrong> {
    prop_oneof![
        4 => Just(Wrong::Quantity),
        4 => Just(Wrong::Cents),
        1 => Just(Wrong::Room),
        1 => Just(Wrong::Job),
        1 => Just(Wrong::Item),
        1 => Just(Wrong::Day),
    ]
}

/// The line as it was mistyped.
fn mistyped(right: &Line, wrong: Wrong) -> Line {
    let mut slip = right.clone();
    match wrong {
        Wrong::Quantity => slip.quantity *= 10,
        Wrong::Cents => slip.cents *= 10,
        Wrong::Room => slip.room = !slip.room,
        Wrong::Job => slip.job = 1 - slip.job,
        Wrong::Item => slip.item = 1 - slip.item,
        Wrong::Day => slip.ago += 2,
    }
    slip
}

/// A ledger with two jobs of two rooms each, written from day to day.
struct DayBook {
    folder: TempDir,
    open: Ledger,
}

impl DayBook {
    fn day_of(position: usize) -> NaiveDate {
        let first = NaiveDate::from_ymd_opt(2026, 3, 2).expect("a date");
        first + Days::new((position / LINES_A_DAY) as u64)
    }

    /// A new ledger: a copy of one that was made once.
    fn new() -> DayBook {
        static MADE: OnceLock<Vec<u8>> = OnceLock::new();
        let made = MADE.get_or_init(|| {
            let identity = Identity {
                business: "Marsh End Floors".to_owned(),
                currency: Currency::from_code("USD").expect("a currency"),
                units: Units::Us,
                country: None,
                notation: gritledger::notation::Notation::default(),
                copy: 0,
            };
            let folder = TempDir::new().expect("a folder");
            let path = folder.path().join("t.db");
            let ledger =
                Ledger::create(&path, identity, Clock::at(DayBook::day_of(0))).expect("a ledger");
            let mut sites = ["4 Tannery Row", "9 Quay Street"].into_iter();
            let made = ledger.write(false, |writing| {
                sites.try_for_each(|site| add_job(writing, site))
            });
            made.expect("two jobs");
            drop(ledger);
            std::fs::read(path).expect("the file")
        });
        let folder = TempDir::new().expect("a folder");
        let path = folder.path().join("t.db");
        std::fs::write(&path, made).expect("a copy");
        let open = Ledger::open(&path, Clock::at(DayBook::day_of(0))).expect("the ledger");
        DayBook { folder, open }
    }

    fn at(&mut self, position: usize) {
        if self.open.today() == DayBook::day_of(position) {
            return;
        }
        let clock = Clock::at(DayBook::day_of(position));
        self.open = Ledger::open(&self.folder.path().join("t.db"), clock).expect("the ledger");
    }

    /// Types a line that belongs to a position of the history; `None`: it was refused.
    fn enter(&self, line: &Line, position: usize) -> Option<Recorded> {
        let on = DayBook::day_of(position) - Days::new(line.ago);
        let entered = self.open.write(false, |writing| {
            let item = writing.item(ITEMS[line.item])?;
            let job = writing.job(["J1", "J2"][line.job])?;
            let (quantity, money) = (line.quantity.into(), Money::from_minor(line.cents));
            let rooms = match line.room {
                true => vec![writing.room("Hall", Some(job.site_id))?],
                false => Vec::new(),
            };
            let occasion = Occasion {
                job: Some(&job),
                rooms: &rooms,
                on,
                note: "",
            };
            let done = match line.what {
                What::Buy => writing.record_buy(&item, quantity, money, on, "")?,
                What::Use => {
                    let operation = writing.operations()?.into_iter().find(|operation| {
                        operation
                            .item
                            .as_ref()
                            .is_some_and(|needed| needed.id == item.id)
                    });
                    writing.record_use(
                        &item,
                        quantity,
                        UsedFor::Operation(operation.as_ref()),
                        &occasion,
                    )?
                }
                What::LeftOver => {
                    writing.record_use(&item, quantity, UsedFor::LeftOver, &occasion)?
                }
                What::HandBack { refund } => {
                    let job = (line.room).then_some(&job);
                    writing.record_hand_back(&item, quantity, refund.then_some(money), job, on)?
                }
                What::Count => writing.record_count(&item, quantity, on)?,
                What::Price => {
                    let mut dearer = item.clone();
                    dearer.packs[0].price = money;
                    writing.edit_item(&dearer)?;
                    return Ok(None);
                }
                What::Close => {
                    writing.close_job(&job)?;
                    return Ok(None);
                }
            };
            Ok(Some(done))
        });
        match entered {
            Ok(recorded) => recorded.or_else(|| {
                Some(Recorded {
                    id: gritledger::trade::EntryId(0),
                    number: String::new(),
                    amount: Money::ZERO,
                    instead_of: None,
                    late: false,
                })
            }),
            Err(_) => None,
        }
    }

    fn void(&self, slip: &Recorded) -> Recorded {
        let voided = self
            .open
            .write(false, |writing| writing.void_entry(slip.id, "a slip"));
        voided.expect("a void")
    }

    /// Corrects a line that was mistyped; nothing, if what was typed otherwise is no part of what it says.
    fn correct(&self, slip: &Recorded, typed: &Line, right: &Line, position: usize) {
        let is_use = matches!(right.what, What::Use | What::LeftOver);
        let has_job = is_use || matches!(right.what, What::HandBack { .. }) && right.room;
        let has_cost = matches!(right.what, What::Buy | What::HandBack { refund: true });
        if typed.room != right.room && matches!(right.what, What::HandBack { .. }) {
            // No option says that a job was named and none should have been.
            self.void(slip);
            self.enter(right, position)
                .expect("what was right is entered");
            return;
        }
        let says_another = (typed.quantity, typed.item, typed.ago)
            != (right.quantity, right.item, right.ago)
            || has_cost && typed.cents != right.cents
            || has_job && typed.job != right.job
            || is_use && typed.room != right.room;
        if !says_another {
            return;
        }
        let corrected = self.open.write(false, |writing| {
            let item = writing.item(ITEMS[right.item])?;
            let job = writing.job(["J1", "J2"][right.job])?;
            let rooms = match right.room {
                true => vec![writing.room("Hall", Some(job.site_id))?],
                false => Vec::new(),
            };
            let takes = |operation: &gritledger::trade::operation::Operation| {
                let needed = operation.item.as_ref();
                needed.is_some_and(|needed| needed.id == item.id)
            };
            let operation = writing.operations()?.into_iter().find(takes);
            let on = operation.map_or(WorkedOn::Nothing, |operation| {
                WorkedOn::Operation(Box::new(operation))
            });
            let has_item = typed.item != right.item;
            let correction = Correction {
                quantity: (typed.quantity != right.quantity).then(|| right.quantity.into()),
                cost: (has_cost && typed.cents != right.cents)
                    .then(|| Money::from_minor(right.cents)),
                item: has_item.then_some(&item),
                on: (has_item && right.what == What::Use).then_some(&on),
                job: (has_job && typed.job != right.job).then_some(&job),
                rooms: (is_use && typed.room != right.room).then_some(&rooms),
                date: (typed.ago != right.ago)
                    .then(|| DayBook::day_of(position) - Days::new(right.ago)),
                ..Correction::default()
            };
            writing.correct_entry(&writing.written(slip.id)?, &correction, "a slip")
        });
        let corrected = corrected.expect("a correction");
        assert_eq!(corrected.instead_of.as_ref(), Some(&slip.number));
    }

    /// Everything that follows from what was typed, without the numbers of entries.
    fn outcome(&self) -> Vec<String> {
        let ledger = &self.open;
        let mut lines = Vec::new();
        for number in ["J1", "J2"] {
            let job = ledger.job(number).expect("the job");
            let margin = ledger.margin_of(&job).expect("a margin");
            lines.push(format!("{number} {:?} {:?}", margin.outcome, margin.rooms));
            for line in ledger.variance_of(&job).expect("a variance").variance.lines {
                lines.push(format!("{number} {line:?}"));
            }
            let book = ledger.day_book_of(&job).expect("a day book");
            let counting = book.entries.into_iter();
            for entry in counting.filter(|entry| !entry.voided) {
                lines.push(format!(
                    "{number} {} {:?} {:?} {:?} late {}",
                    entry.kind, entry.rooms, entry.quantity, entry.amount, entry.late
                ));
            }
        }
        lines.extend(
            ledger
                .stock_list()
                .expect("the stock")
                .iter()
                .map(|line| format!("{line:?}")),
        );
        for awaiting in ledger.awaiting_receipt().expect("what awaits") {
            lines.push(format!(
                "{} {} {} {:?}",
                awaiting.job, awaiting.item, awaiting.quantity, awaiting.value
            ));
        }
        let mut observed: Vec<String> = ledger
            .observations()
            .expect("evidence")
            .iter()
            .map(|seen| format!("{seen:?}"))
            .collect();
        observed.sort();
        lines.extend(observed);
        lines
    }

    fn problems(&self) -> Vec<String> {
        self.open.problems().expect("a check")
    }
}

fn add_job(writing: &Writing<'_>, address: &str) -> anyhow::Result<()> {
    if writing.clients()?.is_empty() {
        writing.add_client(&NewClient {
            name: "Ada Quill".into(),
            ..NewClient::default()
        })?;
        writing.add_worker("Ruben Vale", Money::from_minor(2800))?;
        writing.edit_item(&gritledger::ledger::BookItem {
            kept: false,
            ..writing.item("oil-finish")?
        })?;
    }
    let client = writing.client("Ada Quill")?.id;
    writing.add_site(&NewSite {
        client,
        address: address.to_owned(),
        year_built: None,
        tax_area: None,
        distance: None,
        note: String::new(),
    })?;
    let site = writing.site(address)?;
    let foot = |feet: i64| Length::from_nanometres(feet * 304_800_000);
    for (name, length, width) in [("Hall", 10, 5), ("Study", 12, 11)] {
        let floor = Floor::new(
            Base::Rectangle {
                length: foot(length),
                width: foot(width),
            },
            Vec::new(),
        )?;
        writing.add_room(&NewRoom {
            site: site.id,
            name: name.into(),
            floor,
            condition: FloorCondition::WornFilm,
            parts: Vec::new(),
            species: Species::RedOak,
            layout: Layout::Strip,
            refinished: true,
            note: String::new(),
        })?;
    }
    let drafted = writing.draft_quote(&site, &DraftRequest::default())?;
    let header = drafted.sheet.record.header;
    writing.send_quote(&header, 30)?;
    let job = writing.accept_quote(&writing.quote(&header.number)?.header, false)?;
    writing.start_job(&writing.job_by_id(job)?, writing.today())
}

/// Tells whether lines make entries of one kind.
fn same_kind(one: What, other: What) -> bool {
    let kind = |what| match what {
        What::LeftOver => std::mem::discriminant(&What::Use),
        what => std::mem::discriminant(&what),
    };
    kind(one) == kind(other)
}

/// How a slip is mended.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Mended {
    TypedAgain,
    Corrected,
    /// It was none: it was right, and taken back, and its void was taken back.
    VoidVoided,
}

/// Holds a history with a slip that is mended some lines later to the same history without.
fn assert_mended(
    history: &[Line],
    at: prop::sample::Index,
    wrong: Option<Wrong>,
    later: usize,
    how: Mended,
) -> Result<(), TestCaseError> {
    // What is refused without a slip is no part of the history.
    let mut clean = DayBook::new();
    let mut lines: Vec<(usize, Line)> = Vec::new();
    for (position, line) in history.iter().enumerate() {
        clean.at(position);
        if clean.enter(line, position).is_some() {
            lines.push((position, line.clone()));
        }
    }
    prop_assume!(!lines.is_empty());
    prop_assert_eq!(clean.problems(), Vec::<String>::new());
    let (place, right) = lines[at.index(lines.len())].clone();
    prop_assume!(!matches!(right.what, What::Price | What::Close));
    // What another item would have cost by the book when the slip was typed is known nowhere: what is typed again for a
    // slip with another item takes the price of the moment. Nor is it known, with a clock that knows days alone,
    // whether another job was closed before the slip or after it on the same day.
    let is_unknown = |other: &(usize, Line)| match (wrong, other.1.what) {
        (Some(Wrong::Item), What::Price) => true,
        (Some(Wrong::Job), What::Close) => DayBook::day_of(other.0) == DayBook::day_of(place),
        _ => false,
    };
    prop_assume!(!lines.iter().any(is_unknown));
    let slip = wrong.map_or_else(|| right.clone(), |wrong| mistyped(&right, wrong));

    let mut mended = DayBook::new();
    let mut open_slip: Option<Recorded> = None;
    let typed = slip.clone();
    let mend = |mended: &DayBook, open_slip: &mut Option<Recorded>| {
        if let Some(slip) = open_slip.take() {
            match how {
                Mended::TypedAgain => {
                    mended.void(&slip);
                    mended
                        .enter(&right, place)
                        .expect("what was right is entered");
                }
                Mended::Corrected => mended.correct(&slip, &typed, &right, place),
                Mended::VoidVoided => {
                    mended.void(&slip);
                }
            }
        }
    };
    for (position, line) in &lines {
        mended.at(*position);
        if *position == place {
            open_slip = mended.enter(&slip, place);
            if how == Mended::VoidVoided {
                open_slip = open_slip.map(|slip| mended.void(&slip));
            }
            if open_slip.is_none() {
                mended
                    .enter(&right, place)
                    .expect("a slip that is refused leaves nothing");
            }
        } else {
            // What is typed while a void stands could be typed again for it.
            let may_mend = how == Mended::VoidVoided && open_slip.is_some();
            prop_assume!(!may_mend || !same_kind(line.what, right.what));
            if mended.enter(line, *position).is_none() {
                // A refusal shows the slip.
                mend(&mended, &mut open_slip);
                let entered = mended.enter(line, *position);
                entered.expect("nothing stands in the way of it any more");
            }
        }
        if *position >= place + later {
            mend(&mended, &mut open_slip);
        }
    }
    mend(&mended, &mut open_slip);
    clean.at(history.len());
    mended.at(history.len());
    prop_assert_eq!(mended.problems(), Vec::<String>::new());
    prop_assert_eq!(mended.outcome(), clean.outcome());
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, ..ProptestConfig::default() })]

    #[test]
    fn a_slip_taken_back_and_typed_again_never_was(
        history in proptest::collection::vec(line(), 2..26),
        at in any::<prop::sample::Index>(),
        wrong in wrong(),
        later in 0_usize..12,
    ) {
        assert_mended(&history, at, Some(wrong), later, Mended::TypedAgain)?;
    }

    #[test]
    fn a_slip_corrected_never_was(
        history in proptest::collection::vec(line(), 2..26),
        at in any::<prop::sample::Index>(),
        wrong in wrong(),
        later in 0_usize..12,
    ) {
        assert_mended(&history, at, Some(wrong), later, Mended::Corrected)?;
    }

    #[test]
    fn a_void_taken_back_never_was(
        history in proptest::collection::vec(line(), 2..26),
        at in any::<prop::sample::Index>(),
        later in 0_usize..5,
    ) {
        assert_mended(&history, at, None, later, Mended::VoidVoided)?;
    }

    #[test]
    fn a_slip_taken_back_never_was(
        history in proptest::collection::vec(line(), 1..20),
        slip in line(),
        at in any::<prop::sample::Index>(),
    ) {
        prop_assume!(!matches!(slip.what, What::Price | What::Close));
        let at = at.index(history.len());
        let (mut clean, mut mended) = (DayBook::new(), DayBook::new());
        let mut lines = Vec::new();
        for (position, line) in history.iter().enumerate() {
            clean.at(position);
            if clean.enter(line, position).is_some() {
                lines.push((position, line));
            }
        }
        let mut typed = None;
        let mut taken_back = false;
        for (position, line) in &lines {
            mended.at(*position);
            if *position >= at && typed.is_none() {
                typed = Some(mended.enter(&slip, *position));
            }
            // What is typed once it was taken back is no slip's second time: it is another kind of thing.
            prop_assume!(!taken_back || line.what != slip.what);
            if mended.enter(line, *position).is_none() {
                if let Some(Some(slip)) = typed.replace(None) {
                    mended.void(&slip);
                }
                taken_back = true;
                prop_assume!(line.what != slip.what);
                mended.enter(line, *position).expect("nothing stands in the way of it any more");
            }
        }
        if let Some(Some(slip)) = typed {
            mended.void(&slip);
        }
        prop_assert_eq!(mended.problems(), Vec::<String>::new());
        prop_assert_eq!(mended.outcome(), clean.outcome());
    }
}

fn cost(ledger: &TestLedger, job: &str) -> Value {
    ledger.json(&format!("report margin {job}"))["jobs"][0]["actual_cost"].clone()
}

#[test]
fn a_purchase_typed_630_for_63_charges_nobody_630() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        buy disc-7in-36 30 --cost 630
        use disc-7in-36 6 --room Landing
        void E1 --reason "63, not 630"
        "#,
    );
    // Six discs at 630 / 30 are 126.00; without the purchase they await their receipt at the book's 2.10.
    assert_eq!(cost(&ledger, "J1"), json!("12.60"));
    let again = ledger.json("buy disc-7in-36 30 --cost 66");
    assert_eq!(again["instead_of"], json!("E1"));
    // 66.00 / 30 = 2.20; 24 are left.
    assert_eq!(cost(&ledger, "J1"), json!("13.20"));
    let stock = ledger.json("stock list");
    assert_eq!(
        (&stock["items"][0]["on_hand"], &stock["items"][0]["value"]),
        (&json!("24"), &json!("52.80"))
    );
    assert_eq!(stock["awaiting_receipt"], json!([]));
    let entries = ledger.json("job show J1")["entries"].clone();
    assert_eq!(
        entries.as_array().map(Vec::len),
        Some(1),
        "nothing that nobody typed: {entries:#}"
    );
    assert_eq!(entries[0]["amount"], json!("13.20"));
    assert_eq!(ledger.json("check")["ok"], json!(true));
}

#[test]
fn a_voided_entry_shows_no_amount() {
    let ledger = TestLedger::job_open();
    ledger.lines("spent 18.40 --for disposal\nvoid E1 --reason \"other job\"");
    let entry = ledger.json("job show J1")["entries"][0].clone();
    assert_eq!(
        (&entry["voided"], &entry["amount"]),
        (&json!(true), &Value::Null)
    );
    assert!(!ledger.line("job show J1").ok().contains("18.40"));
}

#[test]
fn a_count_stands_after_what_is_typed_again_and_before_what_is_new() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        buy disc-7in-36 300 --cost 63
        stock count disc-7in-36 24
        void E1 --reason "30, not 300"
        buy disc-7in-36 30 --cost 63
        "#,
    );
    let on_hand = || {
        let shelf = ledger.json("stock list")["items"][0].clone();
        (shelf["on_hand"].clone(), shelf["value"].clone())
    };
    // 30 for 63.00 were bought before 24 were counted: 24 / 30 × 63.00.
    assert_eq!(on_hand(), (json!("24"), json!("50.40")));
    ledger.lines("buy disc-7in-36 30 --cost 63 --confirm");
    assert_eq!(on_hand(), (json!("54"), json!("113.40")));
}

#[test]
fn what_is_typed_late_stands_on_its_day() {
    let ledger = TestLedger::job_open().on("2026-03-06");
    ledger.lines(
        r#"
        buy disc-7in-36 30 --cost 60 --date 2026-03-02
        stock count disc-7in-36 24 --date 2026-03-04
        use disc-7in-36 6 --room Landing --date 2026-03-03
        "#,
    );
    // The six were used before the count, which then found nothing missing.
    assert_eq!(cost(&ledger, "J1"), json!("12.00"));
    assert_eq!(
        ledger.json("stock list")["items"][0]["on_hand"],
        json!("24")
    );
    assert_eq!(ledger.json("check")["ok"], json!(true));
}

#[test]
fn as_of_a_day_before_the_void_the_slip_is_still_there() {
    let ledger = TestLedger::job_open();
    ledger.lines("buy disc-7in-36 30 --cost 630\nuse disc-7in-36 6 --room Landing");
    let ledger = ledger.on("2026-03-05");
    ledger
        .lines("void E1 --reason \"63, not 630\"\nbuy disc-7in-36 30 --cost 63 --date 2026-03-02");
    let file = rusqlite::Connection::open(ledger.path()).expect("the file");
    let known = |day: &str| -> i64 {
        let sql = "SELECT SUM(amount_minor) FROM job_cost
                   WHERE date(recorded_at) <= :day AND (until IS NULL OR date(until) > :day)";
        file.query_row(sql, [day], |row| row.get(0))
            .expect("a cost")
    };
    assert_eq!((known("2026-03-04"), known("2026-03-05")), (12_600, 1_260));
}

#[test]
fn what_is_typed_again_for_a_closed_job_is_evidence_as_the_slip_was() {
    let ledger = TestLedger::job_open();
    ledger.lines(
        r#"
        use disc-7in-36 5 --room Landing
        job close J1
        void E1 --reason "six"
        use disc-7in-36 6 --room Landing --job J1
        "#,
    );
    let entry = ledger.json("job show J1")["entries"][1].clone();
    assert_eq!(
        (&entry["quantity"], &entry["late"]),
        (&json!("6"), &json!(false))
    );
    // 6 discs on 45 sq ft.
    let rates = ledger.json("rate list --operation rotary-36 --learned");
    assert_eq!(rates[0]["observed"], json!("0.133333"));
    assert_eq!(ledger.json("check")["ok"], json!(true));
}
