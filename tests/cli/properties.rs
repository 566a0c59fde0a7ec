//! Properties over random histories, through the library on real files.

use chrono::{NaiveDate, NaiveTime, TimeDelta};
use gritledger::ledger::{
    Clock, DraftRequest, Identity, Ledger, NewClient, NewRoom, NewSite, Occasion, Recorded, Room,
    Span, Transfer, UsedFor, WorkedOn, Writing,
};
use gritledger::measure::{Length, Units};
use gritledger::money::{Currency, Decimal, Money};
use gritledger::trade::parts::{FloorPart, PartSize};
use gritledger::trade::reading::{Reading, ReadingKind, Temperature, Value};
use gritledger::trade::room::{Base, Floor};
use gritledger::trade::{FloorCondition, Layout, ReadingId, Species};
use proptest::prelude::*;
use tempfile::TempDir;

/// Uses that name no operation.
const NOTHING: UsedFor<'static> = UsedFor::Operation(None);

fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 3, 2).expect("a date")
}

fn ledger(folder: &TempDir, name: &str) -> Ledger {
    let identity = Identity {
        business: "Marsh End Floors".to_owned(),
        currency: Currency::from_code("USD").expect("a currency"),
        units: Units::Us,
        country: None,
        notation: gritledger::notation::Notation::default(),
        copy: 0,
    };
    Ledger::create(&folder.path().join(name), identity, Clock::at(today())).expect("a ledger")
}

/// One thing that happens to the stock of one item.
#[derive(Clone, Debug)]
enum Happening {
    Buy(u32, i64),
    Use(u32),
    HandBack(u32, i64),
    Count(u32),
    Void(usize),
}

fn happening() -> impl Strategy<Value = Happening> {
    prop_oneof![
        3 => (1_u32..40, 0_i64..20_000).prop_map(|(quantity, cents)| Happening::Buy(quantity, cents)),
        4 => (0_u32..30).prop_map(Happening::Use),
        1 => (1_u32..10, 0_i64..3_000).prop_map(|(quantity, cents)| Happening::HandBack(quantity, cents)),
        1 => (0_u32..20).prop_map(Happening::Count),
        3 => (0_usize..30).prop_map(Happening::Void),
    ]
}

/// A ledger with one open job of one room.
fn one_job(ledger: &Ledger) -> Room {
    let measure = |writing: &Writing<'_>| {
        let client = writing.add_client(&NewClient {
            name: "Ada Quill".into(),
            ..NewClient::default()
        })?;
        let address = "4 Tannery Row".to_owned();
        let site = writing.add_site(&NewSite {
            client,
            address,
            year_built: None,
            tax_area: None,
            distance: None,
            note: String::new(),
        })?;
        let foot = |feet: i64| Length::from_nanometres(feet * 304_800_000);
        writing.add_room(&NewRoom {
            site,
            name: "Hall".into(),
            floor: Floor::new(
                Base::Rectangle {
                    length: foot(10),
                    width: foot(5),
                },
                Vec::new(),
            )?,
            condition: FloorCondition::WornFilm,
            parts: Vec::new(),
            species: Species::RedOak,
            layout: Layout::Strip,
            refinished: true,
            note: String::new(),
        })
    };
    ledger.write(false, measure).expect("a room");
    open_job(ledger)
}

/// Opens a job at the site of a ledger that has its room already.
fn open_job(ledger: &Ledger) -> Room {
    let open = |writing: &Writing<'_>| {
        writing.add_worker("Ruben Vale", Money::from_minor(2800))?;
        let site = writing.site("4 Tannery Row")?;
        let drafted = writing.draft_quote(&site, &gritledger::ledger::DraftRequest::default())?;
        let number = drafted.sheet.record.header.number;
        writing.send_quote(&writing.quote(&number)?.header, 30)?;
        let job = writing.accept_quote(&writing.quote(&number)?.header, false)?;
        writing.start_job(&writing.job_by_id(job)?, writing.today())?;
        writing.room("Hall", Some(site.id))
    };
    ledger.write(false, open).expect("a job")
}

/// One thing that happens on the first or the second of two jobs.
#[derive(Clone, Debug)]
enum Logging {
    Use(bool, u32),
    Buy(u32, i64),
    HandBack(bool, u32, i64),
    Hours(bool, i64),
    Spent(bool, i64),
    Drive(bool, i64),
    /// A machine goes out, so many hours after the start.
    Out(bool, i64),
    /// From so many days after the start on, the other job has it.
    Day(bool, u64),
    /// It comes back after so many hours, by its tariff or for so many cents.
    Back(i64, Option<i64>),
    /// The yard changes what a day costs.
    Tariff(i64),
    Void(usize),
}

fn logging() -> impl Strategy<Value = Logging> {
    use Logging::{Back, Buy, Day, Drive, HandBack, Hours, Out, Spent, Tariff, Use, Void};
    prop_oneof![
        1 => (any::<bool>(), 0_u32..30).prop_map(|(first, used)| Use(first, used)),
        1 => (1_u32..40, 0_i64..20_000).prop_map(|(quantity, cents)| Buy(quantity, cents)),
        1 => (any::<bool>(), 1_u32..10, 0_i64..3_000)
            .prop_map(|(first, quantity, cents)| HandBack(first, quantity, cents)),
        1 => (any::<bool>(), 1_i64..800).prop_map(|(first, hundredths)| Hours(first, hundredths)),
        1 => (any::<bool>(), 1_i64..9_000).prop_map(|(first, cents)| Spent(first, cents)),
        1 => (any::<bool>(), 1_i64..900).prop_map(|(first, tenths)| Drive(first, tenths)),
        3 => (any::<bool>(), 0_i64..60).prop_map(|(first, hour)| Out(first, hour)),
        3 => (any::<bool>(), 0_u64..9).prop_map(|(first, day)| Day(first, day)),
        4 => (1_i64..200, proptest::option::of(0_i64..90_000))
            .prop_map(|(hours, charged)| Back(hours, charged)),
        1 => (1_i64..30_000).prop_map(Tariff),
        2 => (0_usize..30).prop_map(Void),
    ]
}

fn log(writing: &Writing<'_>, room: &Room, happening: &Logging) -> anyhow::Result<Recorded> {
    let job = |first: bool| writing.job(if first { "J1" } else { "J2" });
    let item = writing.item("disc-7in-36")?;
    let machine = writing.machine("rotary")?;
    let (rooms, money) = ([room.clone()], Money::from_minor);
    let start = today() - chrono::Days::new(20);
    let at = |hours: i64| start.and_time(NaiveTime::MIN) + TimeDelta::hours(hours);
    let occasion = |job| Occasion {
        job: Some(job),
        rooms: &rooms,
        on: today(),
        note: "",
    };
    match *happening {
        Logging::Use(first, used) => {
            writing.record_use(&item, used.into(), NOTHING, &occasion(&job(first)?))
        }
        Logging::Buy(quantity, cents) => {
            writing.record_buy(&item, quantity.into(), money(cents), today(), "")
        }
        Logging::HandBack(first, quantity, cents) => {
            let (refund, job) = (Some(money(cents)), job(first)?);
            writing.record_hand_back(&item, quantity.into(), refund, Some(&job), today())
        }
        Logging::Hours(first, hundredths) => {
            let (worker, hours) = (writing.worker("Ruben")?, Decimal::new(hundredths, 2));
            writing.record_hours(&worker, hours, &WorkedOn::Nothing, &occasion(&job(first)?))
        }
        Logging::Spent(first, cents) => {
            writing.record_spent(money(cents), "disposal", &occasion(&job(first)?))
        }
        Logging::Drive(first, tenths) => {
            writing.record_drive(Decimal::new(tenths, 1), &occasion(&job(first)?))
        }
        Logging::Out(first, hour) => writing.rental_out(&machine, at(hour), &job(first)?),
        Logging::Day(first, day) => {
            writing.rental_day(&machine, start + chrono::Days::new(day), &job(first)?)
        }
        Logging::Back(hours, charged) => {
            let out_at = writing.rental_out_of(&machine)?.out_at;
            let back = out_at + TimeDelta::hours(hours);
            Ok(writing
                .rental_back(&machine, back, charged.map(money))?
                .recorded)
        }
        Logging::Tariff(day) => {
            let mut edited = machine.clone();
            edited.tariff.day = money(day);
            writing.edit_machine(&edited)?;
            writing.record_use(&item, Decimal::ZERO, NOTHING, &occasion(&job(true)?))
        }
        Logging::Void(_) => unreachable!("voids are the caller's: they name an entry"),
    }
}

/// One row of a file, so many days ago: of the job from before the ledger, or of the one that is open.
#[derive(Clone, Debug)]
enum Line {
    Bought(u64, bool, u32, i64),
    Used(u64, bool, bool, u32),
    Worked(u64, bool, i64),
}

fn line() -> impl Strategy<Value = Line> {
    let ago = || 0_u64..9;
    prop_oneof![
        (ago(), any::<bool>(), 1_u32..40, 0_i64..20_000)
            .prop_map(|(ago, finish, quantity, cents)| Line::Bought(ago, finish, quantity, cents)),
        (ago(), any::<bool>(), any::<bool>(), 0_u32..30)
            .prop_map(|(ago, before, finish, used)| Line::Used(ago, before, finish, used)),
        (ago(), any::<bool>(), 1_i64..200)
            .prop_map(|(ago, before, hundredths)| Line::Worked(ago, before, hundredths)),
    ]
}

/// An item, and what takes it.
fn item(finish: bool) -> (&'static str, &'static str) {
    if finish {
        ("oil-finish", "oil-coat")
    } else {
        ("disc-7in-36", "rotary-36")
    }
}

/// The job from before the ledger, closed four days ago, and the open one.
fn job_name(before: bool) -> &'static str {
    if before { "Mill Lane" } else { "J1" }
}

impl Line {
    /// Returns the file it stands in, and itself as it stands there.
    fn row(&self) -> (Transfer, String) {
        let day = |ago: u64| today() - chrono::Days::new(ago);
        let place = |before| format!("{},4 Tannery Row", job_name(before));
        match *self {
            Line::Bought(ago, finish, quantity, cents) => {
                let ((item, _), cost) = (item(finish), Decimal::new(cents, 2));
                let row = format!("{},{item},{quantity},{cost}\n", day(ago));
                (Transfer::Purchases, row)
            }
            Line::Used(ago, before, finish, used) => {
                let (item, operation) = item(finish);
                let row = format!(
                    "{},{},{item},{used},Hall,{operation}\n",
                    day(ago),
                    place(before)
                );
                (Transfer::Usage, row)
            }
            Line::Worked(ago, before, hundredths) => {
                let hours = Decimal::new(hundredths, 2);
                let row = format!(
                    "{},{},Ruben Vale,{hours},Hall,rotary-36\n",
                    day(ago),
                    place(before)
                );
                (Transfer::Hours, row)
            }
        }
    }

    /// Types it on its day.
    fn typed(&self, path: &std::path::Path, room: &Room) {
        let (Line::Bought(ago, ..) | Line::Used(ago, ..) | Line::Worked(ago, ..)) = *self;
        let on = today() - chrono::Days::new(ago);
        let ledger = Ledger::open(path, Clock::at(on)).expect("the ledger");
        let typed = |writing: &Writing<'_>| {
            let rooms = [room.clone()];
            let occasion = |job| Occasion {
                job: Some(job),
                rooms: &rooms,
                on,
                note: "",
            };
            match *self {
                Line::Bought(_, finish, quantity, cents) => {
                    let item = writing.item(item(finish).0)?;
                    writing.record_buy(&item, quantity.into(), Money::from_minor(cents), on, "")
                }
                Line::Used(_, before, finish, used) => {
                    let (item, operation) = item(finish);
                    let (item, operation) = (writing.item(item)?, writing.operation(operation)?);
                    let (job, used_for) = (
                        writing.job(job_name(before))?,
                        UsedFor::Operation(Some(&operation)),
                    );
                    writing.record_use(&item, used.into(), used_for, &occasion(&job))
                }
                Line::Worked(_, before, hundredths) => {
                    let (job, worker) = (writing.job(job_name(before))?, writing.worker("Ruben")?);
                    let on = WorkedOn::Operation(Box::new(writing.operation("rotary-36")?));
                    let hours = Decimal::new(hundredths, 2);
                    writing.record_hours(&worker, hours, &on, &occasion(&job))
                }
            }
        };
        ledger.write(false, typed).expect("an entry");
    }
}

/// Returns what a ledger made of its rows: stock, day books, evidence.
fn outcome(ledger: &Ledger) -> impl PartialEq + std::fmt::Debug {
    let book = |name| {
        let job = ledger.job(name).expect("a job");
        (
            ledger.day_book_of(&job).expect("a day book"),
            ledger.margin_of(&job).expect("a margin"),
        )
    };
    let evidence = ledger.backtest().expect("the evidence");
    let named = evidence.numbers.iter().zip(evidence.observations.iter());
    let mut taught: Vec<String> = named.map(|named| format!("{named:?}")).collect();
    taught.sort();
    (
        ledger.stock_list().expect("the stock"),
        ledger.awaiting_receipt().expect("the stock"),
        (book("J1"), book("Mill Lane")),
        taught,
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// Whatever is bought, used, handed back, counted and voided, in whatever order: every cent is accounted for.
    #[test]
    fn stock_is_accounted_for_to_the_cent(history in proptest::collection::vec(happening(), 1..40)) {
        let folder = TempDir::new().expect("a folder");
        let ledger = ledger(&folder, "t.db");
        let room = one_job(&ledger);
        let mut entries = Vec::new();
        for happening in history {
            let outcome = ledger.write(false, |writing| {
                let item = writing.item("disc-7in-36")?;
                let job = writing.job("J1")?;
                let rooms = [room.clone()];
                let occasion = Occasion { job: Some(&job), rooms: &rooms, on: today(), note: "" };
                Ok(match happening {
                    Happening::Buy(quantity, cents) => {
                        writing.record_buy(&item, quantity.into(), Money::from_minor(cents), today(), "")?
                    }
                    Happening::Use(quantity) => writing.record_use(&item, quantity.into(), NOTHING, &occasion)?,
                    Happening::HandBack(quantity, cents) => {
                        writing.record_hand_back(&item, quantity.into(), Some(Money::from_minor(cents)), Some(&job), today())?
                    }
                    Happening::Count(quantity) => writing.record_count(&item, quantity.into(), today())?,
                    Happening::Void(position) => match entries.get(position) {
                        Some(entry) => writing.void_entry(*entry, "a slip")?,
                        None => writing.record_use(&item, Decimal::ZERO, NOTHING, &occasion)?,
                    },
                })
            });
            // A refusal (more handed back than there is, voided twice) writes nothing; anything else must hold.
            if let Ok(recorded) = outcome {
                entries.push(recorded.id);
            }
            prop_assert_eq!(ledger.problems().expect("a check"), Vec::<String>::new());
        }
        let margin = ledger.margin_of(&ledger.job("J1").expect("the job")).expect("a margin");
        let variance = ledger.variance_of(&margin.job).expect("a variance");
        prop_assert_eq!(variance.variance.difference(), margin.outcome.actual - margin.outcome.estimated);
    }

    /// Whatever two jobs log, share and take back: the lines of each day book add up to that job's cost, the shares of a
    /// rental to its charge, and the parts of the variance to what the job cost more than quoted.
    #[test]
    fn day_books_add_up_to_what_their_jobs_cost(history in proptest::collection::vec(logging(), 1..25)) {
        let folder = TempDir::new().expect("a folder");
        let ledger = ledger(&folder, "t.db");
        let room = one_job(&ledger);
        ledger.write(false, |writing| {
            writing.set_setting("overhead", "12.5%")?;
            let drafted = writing.draft_quote(&writing.site("4 Tannery Row")?, &DraftRequest::default())?;
            let number = drafted.sheet.record.header.number;
            writing.send_quote(&writing.quote(&number)?.header, 30)?;
            let job = writing.accept_quote(&writing.quote(&number)?.header, false)?;
            writing.start_job(&writing.job_by_id(job)?, writing.today())
        }).expect("a second job");
        let mut entries = Vec::new();
        for happening in history {
            let outcome = ledger.write(false, |writing| match happening {
                Logging::Void(position) => match entries.get(position) {
                    Some(entry) => writing.void_entry(*entry, "a slip"),
                    None => log(writing, &room, &Logging::Use(true, 0)),
                },
                _ => log(writing, &room, &happening),
            });
            if let Ok(recorded) = outcome {
                entries.push(recorded.id);
            }
        }
        for number in ["J1", "J2"] {
            let job = ledger.job(number).expect("the job");
            let (book, margin) = (ledger.day_book_of(&job).expect("a day book"), ledger.margin_of(&job).expect("a margin"));
            prop_assert_eq!(book.total(), margin.outcome.actual, "{}", number);
            let variance = ledger.variance_of(&job).expect("a variance").variance;
            prop_assert_eq!(variance.difference(), margin.outcome.actual - margin.outcome.estimated, "{}", number);
        }
        let (mut at_once, mut alone) = (Vec::new(), Vec::new());
        ledger.margins(&[Span::EVERY], true, |_| true, |margin| { at_once.push(margin); Ok(()) }).expect("the margins");
        for job in ledger.jobs().expect("the jobs") {
            alone.push(ledger.margin_of(&job).expect("a margin"));
        }
        prop_assert_eq!(&at_once, &alone);
        let each: Vec<Span> = alone.iter().map(|margin| margin.job.id.into()).collect();
        let consumables = |spans: &[Span]| ledger.consumables(spans, None, |_| true).expect("the consumables");
        prop_assert_eq!(consumables(&[Span::EVERY]), consumables(&each));
        for rental in ledger.rentals().expect("the rentals") {
            let Some(back) = rental.back else { continue };
            prop_assert_eq!(back.days.iter().map(|day| day.charge).sum::<Money>(), back.charge);
        }
        prop_assert_eq!(ledger.problems().expect("a check"), Vec::<String>::new());
    }

    /// Whatever text and numbers a ledger holds, export and import into a new file give the same rows.
    #[test]
    fn exchange_is_an_identity(
        names in proptest::collection::vec("[a-zA-Z='+@,\"\u{e9}\u{4e2d} -]{1,12}[a-z]", 1..5),
        notes in proptest::collection::vec("(\\PC|\n){0,20}", 5),
        sides in proptest::collection::vec((1_i64..20_000, 1_i64..20_000), 5),
        uses in proptest::collection::vec((0_i64..50_000_000, 1_i64..24_000_000), 0..6),
    ) {
        let folder = TempDir::new().expect("a folder");
        let (first, second) = (ledger(&folder, "first.db"), ledger(&folder, "second.db"));
        let room = one_job(&first);
        first.write(false, |writing| {
            for ((name, note), (length, width)) in names.iter().zip(&notes).zip(&sides) {
                let unique = format!("{name}{}", writing.clients()?.len());
                let details = NewClient { name: unique.clone(), note: note.clone(), ..NewClient::default() };
                let client = writing.add_client(&details)?;
                let site = NewSite { client, address: unique, year_built: Some(1950), tax_area: None, distance: Some(gritledger::money::Decimal::new(125, 1)), note: note.clone() };
                let site = writing.add_site(&site)?;
                // Sixty-fourths of an inch: every length that a tape can give.
                let tape = |parts: i64| Length::from_nanometres(parts * 396_875);
                writing.add_room(&NewRoom {
                    site,
                    name: name.replace('/', "-"),
                    floor: Floor::new(Base::Rectangle { length: tape(*length), width: tape(*width) }, Vec::new())?,
                    condition: FloorCondition::OilWax,
                    // A strip a tenth as long as the room, and a border where one fits.
                    parts: match length {
                        1 => Vec::new(),
                        _ => vec![FloorPart::new(
                            PartSize::Sides { length: tape(length - 1), width: tape(*width), edge: tape(*width) },
                            FloorCondition::Paint,
                        )],
                    },
                    species: Species::HeartPine,
                    layout: Layout::Parquet,
                    refinished: *length % 2 == 0,
                    note: note.clone(),
                })?;
                let (site, rooms) = (writing.site(&details.name)?, writing.rooms_of(site)?);
                for (room, kind, value) in [
                    (rooms.first(), ReadingKind::WoodLeft, Value::Thickness(tape(*length.min(&64)))),
                    (rooms.first(), ReadingKind::Board, Value::Percent(Decimal::new(10_000 + width, 4))),
                    (None, ReadingKind::Temperature, Value::Temperature(Temperature::from_celsius(Decimal::new(*width, 3)))),
                ] {
                    let (place, by) = (note.trim().to_owned(), name.trim().to_owned());
                    let on = today() - chrono::Days::new(length.unsigned_abs() % 300);
                    let whole_house = room.is_none();
                    writing.add_reading(&site, room, &Reading { id: ReadingId(0), whole_house, kind, value, layer: None, place, by, on })?;
                }
            }
            let (job, item, worker) = (writing.job("J1")?, writing.item("oil-finish")?, writing.worker("Ruben")?);
            let rooms = [room.clone()];
            for (position, (used, hours)) in uses.iter().enumerate() {
                let on = today() - chrono::Days::new(position as u64);
                let occasion = Occasion { job: Some(&job), rooms: &rooms, on, note: "" };
                writing.record_use(&item, Decimal::new(*used, 6), NOTHING, &occasion)?;
                // Every other line of hours is of the road, and of no room.
                let (worked_on, rooms) = match position % 2 {
                    0 => (WorkedOn::Nothing, &rooms[..]),
                    _ => (WorkedOn::TheRoad, &[][..]),
                };
                writing.record_hours(&worker, Decimal::new(*hours, 6), &worked_on, &Occasion { rooms, ..occasion.clone() })?;
                writing.record_buy(&item, Decimal::new(used + 1, 6), Money::from_minor(*used), on, "")?;
            }
            Ok(())
        }).expect("a history");
        for kind in Transfer::ALL {
            let rows = first.export(*kind).expect("an export");
            second.write(false, |writing| writing.import(*kind, "rows.csv", rows.as_bytes(), Units::Us)).expect("an import");
            if *kind == Transfer::Rooms {
                open_job(&second);
            }
            prop_assert_eq!(second.export(*kind).expect("an export"), rows, "{}", kind);
        }
        prop_assert_eq!(second.problems().expect("a check"), Vec::<String>::new());
    }

    /// Rows that a file brings in do to stock, jobs and rates what they had done if each had been typed on its day, in the
    /// order of the files: nothing depends on when it is worked out.
    #[test]
    fn an_import_is_as_if_each_row_had_been_typed(lines in proptest::collection::vec(line(), 1..20)) {
        let folder = TempDir::new().expect("a folder");
        let (typed, imported) = (ledger(&folder, "typed.db"), ledger(&folder, "imported.db"));
        let room = one_job(&typed);
        one_job(&imported);
        let import = |ledger: &Ledger, kind, file: &str| {
            ledger.write(false, |writing| writing.import(kind, "f.csv", file.as_bytes(), Units::Us)).expect("an import");
        };
        for ledger in [&typed, &imported] {
            import(ledger, Transfer::PastJobs, "job,site,agreed_on,price,closed_on\nMill Lane,4 Tannery Row,2026-02-02,900,2026-02-26\n");
        }
        let rows: Vec<(Transfer, String)> = lines.iter().map(Line::row).collect();
        for (kind, heading) in [
            (Transfer::Purchases, "date,item,quantity,cost\n"),
            (Transfer::Usage, "date,job,site,item,quantity,room,operation\n"),
            (Transfer::Hours, "date,job,site,worker,hours,room,on\n"),
        ] {
            let mut file = heading.to_owned();
            for (line, (_, row)) in lines.iter().zip(&rows).filter(|(_, (of, _))| *of == kind) {
                line.typed(&folder.path().join("typed.db"), &room);
                file.push_str(row);
            }
            import(&imported, kind, &file);
            prop_assert_eq!(imported.export(kind).expect("an export"), typed.export(kind).expect("an export"));
        }
        prop_assert_eq!(outcome(&imported), outcome(&typed));
        for ledger in [&typed, &imported] {
            prop_assert_eq!(ledger.problems().expect("a check"), Vec::<String>::new());
        }
    }
}
