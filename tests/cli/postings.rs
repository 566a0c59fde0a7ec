//! The accounts over random histories, through the library on real files: documents balance, what is closed never moves, a
//! day sees what it saw, and every figure ties to a report that doesn't ask the accounts.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use gritledger::ledger::{
    AccountLine, Clock, Days, DraftRequest, Identity, Ledger, NewClient, NewRoom, NewSite,
    Occasion, Progress, Refusal, UsedFor, WorkedOn, Writing,
};
use gritledger::measure::Units;
use gritledger::money::{Currency, Decimal, Money};
use gritledger::trade::accounts::Account;
use gritledger::trade::invoice::Extent;
use gritledger::trade::room::Floor;
use gritledger::trade::{FloorCondition, Layout, Species};
use proptest::prelude::*;
use tempfile::TempDir;

/// One thing that happens, so many days after the one before it; some of them are of a day long ago.
#[derive(Clone, Debug)]
enum Event {
    Buy(u64, i64, i64),
    Use(u64, i64),
    HandBack(u64, i64, Option<i64>),
    Count(u64, i64),
    Hours(u64, bool, i64),
    Spent(u64, bool, i64),
    Drive(u64, bool, i64),
    Rent(u64, i64),
    Void(usize),
    Invoice(i64),
    Credit(usize, i64),
    Pay(u64, usize, i64),
    Bounce(usize),
    Apply(usize),
    Refund(usize),
    WriteOff(usize, i64),
    Undo(usize),
    Close(u64),
}

fn event() -> impl Strategy<Value = Event> {
    use Event::*;
    let ago = || prop_oneof![2 => Just(0_u64), 1 => 1_u64..60];
    let cents = || 1_i64..20_000;
    prop_oneof![
        2 => (ago(), 1_i64..40, cents()).prop_map(|(ago, quantity, cents)| Buy(ago, quantity, cents)),
        2 => (ago(), 1_i64..30).prop_map(|(ago, quantity)| Use(ago, quantity)),
        1 => (ago(), 1_i64..9, proptest::option::of(cents())).prop_map(|(ago, quantity, refund)| HandBack(ago, quantity, refund)),
        1 => (ago(), 0_i64..30).prop_map(|(ago, quantity)| Count(ago, quantity)),
        1 => (ago(), any::<bool>(), 1_i64..400).prop_map(|(ago, of_job, hours)| Hours(ago, of_job, hours)),
        1 => (ago(), any::<bool>(), cents()).prop_map(|(ago, of_job, cents)| Spent(ago, of_job, cents)),
        1 => (ago(), any::<bool>(), 1_i64..900).prop_map(|(ago, of_job, tenths)| Drive(ago, of_job, tenths)),
        1 => (ago(), cents()).prop_map(|(ago, cents)| Rent(ago, cents)),
        4 => (0_usize..30).prop_map(Void),
        3 => (100_i64..20_000).prop_map(Invoice),
        1 => (0_usize..6, 1_i64..9_000).prop_map(|(which, cents)| Credit(which, cents)),
        3 => (ago(), 0_usize..6, cents()).prop_map(|(ago, which, cents)| Pay(ago, which, cents)),
        2 => (0_usize..9).prop_map(Bounce),
        2 => (0_usize..6).prop_map(Apply),
        1 => (0_usize..6).prop_map(Refund),
        2 => (0_usize..6, cents()).prop_map(|(which, cents)| WriteOff(which, cents)),
        2 => (0_usize..6).prop_map(Undo),
        2 => (1_u64..40).prop_map(Close),
    ]
}

const BEGUN: NaiveDate = NaiveDate::from_ymd_opt(2025, 9, 1).expect("a date");

/// A ledger with a large job that is under way, tax and what a mile costs.
fn begun(folder: &TempDir) -> Ledger {
    let identity = Identity {
        business: "Marsh End Floors".to_owned(),
        currency: Currency::from_code("USD").expect("a currency"),
        units: Units::Us,
        country: None,
        notation: gritledger::notation::Notation::default(),
        copy: 0,
    };
    let ledger =
        Ledger::create(&folder.path().join("t.db"), identity, Clock::at(BEGUN)).expect("a ledger");
    let begin = |writing: &Writing<'_>| {
        for (name, value) in [
            ("mile-rate", "0.70"),
            ("tax-percent", "7.5"),
            ("burden", "1.25"),
        ] {
            writing.set_setting(name, value)?;
        }
        let client = writing.add_client(&NewClient {
            name: "Ada Quill".into(),
            ..NewClient::default()
        })?;
        let site = writing.add_site(&NewSite {
            client,
            address: "4 Tannery Row".into(),
            year_built: None,
            tax_area: None,
            distance: None,
            note: String::new(),
        })?;
        writing.add_room(&NewRoom {
            site,
            name: "Hall".into(),
            floor: Floor::parse("100 x 50", Units::Us)?,
            condition: FloorCondition::WornFilm,
            parts: Vec::new(),
            species: Species::RedOak,
            layout: Layout::Strip,
            refinished: true,
            note: String::new(),
        })?;
        writing.add_worker("Ruben Vale", Money::from_minor(2800))?;
        let site = writing.site("4 Tannery Row")?;
        let drafted = writing.draft_quote(&site, &DraftRequest::default())?;
        let number = drafted.sheet.record.header.number;
        writing.send_quote(&writing.quote(&number)?.header, 30)?;
        let job = writing.accept_quote(&writing.quote(&number)?.header, false)?;
        writing.start_job(&writing.job_by_id(job)?, writing.today())
    };
    ledger.write(false, begin).expect("a job");
    ledger
}

/// Returns which one is meant of a series, as long as it is by now; the first one, if there is none.
fn one_of(which: usize, is_there: impl Fn(usize) -> bool) -> usize {
    let count = (1..).take_while(|number| is_there(*number)).count();
    which % count.max(1) + 1
}

fn happen(writing: &Writing<'_>, event: &Event) -> anyhow::Result<()> {
    let today = writing.today();
    let on = |ago: u64| (today - chrono::Days::new(ago)).max(BEGUN);
    let job = writing.job("J1")?;
    let item = writing.item("disc-7in-36")?;
    let money = Money::from_minor;
    let occasion = |ago: u64, of_job: bool| Occasion {
        job: of_job.then_some(&job),
        rooms: &[],
        on: on(ago),
        note: "",
    };
    let invoice = |which: usize| {
        let which = one_of(which, |number| {
            writing.invoice(&format!("I{number}")).is_ok()
        });
        writing.invoice(&format!("I{which}"))
    };
    match *event {
        Event::Buy(ago, quantity, cents) => writing
            .record_buy(&item, quantity.into(), money(cents), on(ago), "")
            .map(drop),
        Event::Use(ago, quantity) => writing
            .record_use(
                &item,
                quantity.into(),
                UsedFor::Operation(None),
                &occasion(ago, true),
            )
            .map(drop),
        Event::HandBack(ago, quantity, refund) => {
            let of_job = (quantity % 2 == 0).then_some(&job);
            writing
                .record_hand_back(&item, quantity.into(), refund.map(money), of_job, on(ago))
                .map(drop)
        }
        Event::Count(ago, quantity) => writing
            .record_count(&item, quantity.into(), on(ago))
            .map(drop),
        Event::Hours(ago, of_job, hundredths) => {
            let (worker, hours) = (writing.worker("Ruben")?, Decimal::new(hundredths, 2));
            writing
                .record_hours(&worker, hours, &WorkedOn::Nothing, &occasion(ago, of_job))
                .map(drop)
        }
        Event::Spent(ago, of_job, cents) => writing
            .record_spent(money(cents), "sundries", &occasion(ago, of_job))
            .map(drop),
        Event::Drive(ago, of_job, tenths) => writing
            .record_drive(Decimal::new(tenths, 1), &occasion(ago, of_job))
            .map(drop),
        Event::Rent(ago, cents) => {
            let machine = writing.machine("rotary")?;
            let at = |hour| on(ago).and_hms_opt(hour, 0, 0).expect("an hour");
            writing.rental_out(&machine, at(8), &job)?;
            writing
                .rental_back(&machine, at(16), Some(money(cents)))
                .map(drop)
        }
        Event::Void(which) => {
            let which = one_of(which, |number| writing.entry(&format!("E{number}")).is_ok());
            writing
                .void_entry(writing.entry(&format!("E{which}"))?, "slip")
                .map(drop)
        }
        Event::Invoice(cents) => {
            writing.draft_progress(&job, &Progress::Amount(money(cents)))?;
            writing.issue_invoice(&job).map(drop)
        }
        Event::Credit(which, cents) => {
            writing.draft_credit(
                &invoice(which)?,
                &Extent::Amount(money(cents)),
                "a scratch",
                false,
            )?;
            writing.issue_invoice(&job).map(drop)
        }
        Event::Pay(ago, which, cents) => writing
            .add_payment(&invoice(which)?, money(cents), on(ago), true, "")
            .map(drop),
        Event::Bounce(which) => {
            let count = writing.payments()?.len();
            writing
                .void_payment(&format!("P{}", which % count.max(1) + 1), "bounced")
                .map(drop)
        }
        Event::Apply(which) => writing
            .apply_credit(&invoice(which)?, None, None, today)
            .map(drop),
        Event::Refund(which) => writing.refund(&invoice(which)?, None, today, "").map(drop),
        Event::WriteOff(which, cents) => {
            let invoice = invoice(which)?;
            writing
                .write_off(&invoice, Some(money(cents).min(invoice.due())), "gone")
                .map(drop)
        }
        Event::Undo(which) => writing.take_back_loss(&invoice(which)?, "back").map(drop),
        Event::Close(ago) => {
            let to = today - chrono::Days::new(ago);
            let from = writing
                .closed_until()?
                .map_or(BEGUN, |until| until + chrono::Days::new(1));
            if from > to {
                return Err(Refusal::new("nothing to close").into());
            }
            writing.close(from, to)
        }
    }
}

fn lines(ledger: &Ledger, to: NaiveDate, as_of: NaiveDate) -> Vec<AccountLine> {
    ledger
        .account_lines(
            Days {
                from: None,
                to: Some(to),
            },
            as_of,
        )
        .expect("the accounts")
}

fn sum(lines: &[AccountLine], accounts: &[Account]) -> Money {
    lines
        .iter()
        .filter(|line| accounts.contains(&line.account))
        .map(|line| line.amount)
        .sum()
}

/// Asserts that what the accounts say is what other reports say, which don't ask them.
fn assert_ties(ledger: &Ledger, today: NaiveDate) -> Result<(), TestCaseError> {
    let all = lines(ledger, today, today);
    let mut documents: BTreeMap<(NaiveDate, &str), Money> = BTreeMap::new();
    for line in &all {
        *documents.entry((line.date, &line.document)).or_default() += line.amount;
    }
    for ((date, document), balance) in documents {
        prop_assert_eq!(balance, Money::ZERO, "{} of {}", document, date);
    }
    let owed = ledger.receivables(today).expect("what is owed");
    let owed: Money = owed
        .clients
        .iter()
        .map(|client| client.owed.total() - client.credit)
        .sum();
    prop_assert_eq!(sum(&all, &[Account::Owed]), owed, "what is owed");
    let stock = ledger.stock_list().expect("the stock");
    prop_assert_eq!(
        sum(&all, &[Account::Shelf]),
        stock.iter().map(|line| line.value).sum(),
        "the shelf"
    );
    prop_assert_eq!(
        sum(&all, &[Account::Awaiting]),
        -stock.iter().map(|line| line.awaiting_value).sum::<Money>(),
        "what awaits"
    );
    let book = ledger
        .day_book_of(&ledger.job("J1").expect("a job"))
        .expect("a day book");
    prop_assert_eq!(
        sum(&all, &Account::OF_JOBS),
        book.total() - book.overhead,
        "what the job cost"
    );
    let overheads = ledger.overheads(BEGUN, today).expect("the overheads");
    prop_assert_eq!(
        sum(&all, &Account::OVERHEADS),
        overheads.iter().map(|entry| entry.cost).sum(),
        "what no job cost"
    );
    let year = ledger.year(BEGUN, today, today).expect("a year");
    prop_assert_eq!(
        year.sums.revenue(),
        -sum(&all, &[Account::Work]),
        "the revenue"
    );
    let invoices = ledger.invoices().expect("the invoices");
    let issued = invoices.iter().filter(|invoice| invoice.number.is_some());
    let lost: Money = issued.clone().map(gritledger::ledger::Invoice::lost).sum();
    prop_assert_eq!(sum(&all, &[Account::Lost]), lost, "what is lost");
    let net: Money = issued
        .map(|invoice| {
            if invoice.credits.is_some() {
                -invoice.net
            } else {
                invoice.net
            }
        })
        .sum();
    prop_assert_eq!(year.sums.revenue(), net, "what was invoiced");
    let payments = ledger.payments().expect("the payments");
    let came: Money = payments
        .iter()
        .filter(|payment| !payment.voided)
        .map(|payment| payment.amount)
        .sum();
    let back = payments
        .iter()
        .flat_map(|payment| &payment.applied)
        .filter(|part| part.invoice.is_none());
    let received = came - back.map(|part| part.amount).sum::<Money>();
    let went = ["P"].map(|letter| {
        let paid = all
            .iter()
            .filter(|line| line.account == Account::Money && line.document.starts_with(letter));
        paid.map(|line| line.amount).sum::<Money>()
    });
    prop_assert_eq!(went[0], received, "what clients paid");
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, ..ProptestConfig::default() })]

    /// Whatever happens, in whatever order and however late it is told.
    #[test]
    fn accounts_balance_tie_and_stay_as_they_were_filed(
        history in proptest::collection::vec((0_u64..12, event()), 1..40)
    ) {
        let folder = TempDir::new().expect("a folder");
        drop(begun(&folder));
        let (mut today, mut filed, mut seen) = (BEGUN, Vec::new(), Vec::new());
        for (later, event) in history {
            let next = today + chrono::Days::new(later);
            let ledger = Ledger::open(&folder.path().join("t.db"), Clock::at(today)).expect("the ledger");
            if next != today {
                // What a day saw when it ended.
                seen.push((today, lines(&ledger, today, today)));
            }
            today = next;
            let ledger = Ledger::open(&folder.path().join("t.db"), Clock::at(today)).expect("the ledger");
            let until = ledger.closed_until().expect("a day");
            if ledger.write(false, |writing| happen(writing, &event)).is_err() {
                continue; // It was refused: nothing of it is there.
            }
            assert_ties(&ledger, today)?;
            let closed = ledger.closed_until().expect("a day");
            if let Some(closed) = closed.filter(|_| closed != until) {
                filed.push((closed, lines(&ledger, closed, today)));
            }
            for (closed, was) in &filed {
                prop_assert_eq!(&lines(&ledger, *closed, today), was, "what was closed until {}", closed);
            }
        }
        let ledger = Ledger::open(&folder.path().join("t.db"), Clock::at(today)).expect("the ledger");
        for (day, saw) in &seen {
            prop_assert_eq!(&lines(&ledger, *day, *day), saw, "what {} saw", day);
        }
        prop_assert_eq!(ledger.problems().expect("a check"), Vec::<String>::new());
    }
}
