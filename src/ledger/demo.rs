//! The demo: an invented firm's two years, replayed through the same events that commands use.
//!
//! `seed-data/demo/*.csv` says what happened on which day (`make.py` there says by which rule it was made up). Every
//! event is recorded as of its own day, so that reports find the ledger as such a firm would have kept it.

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime};
use rusqlite::{Connection, named_params};

use super::file::{is_unfinished, make};
use super::rows::{Columns, Row, Rows};
use super::{
    BookItem, Chosen, Clock, DraftRequest, Identity, Job, Ledger, MethodsRequest, NewFinding,
    Occasion, OptionRequest, QuoteHeader, Recorded, Refusal, Room, Transfer, UsedFor, WorkedOn,
    Writing,
};
use crate::measure::Units;
use crate::money::Currency;
use crate::notation::{Country, Notation};
use crate::trade::operation::Operation;
use crate::trade::reading::{Reading, ReadingKind, Value};
use crate::trade::tax::TaxedKind;
use crate::trade::{EntryId, JobId, QuoteId, ReadingId, Unit};

/// The last sentence of the demo's log, by which it is known again.
const LAST_SENTENCE: &str = "The demo ends here: what follows was added to it.";

/// The day before the invented firm's first.
const FIRST_DAY: NaiveDate = NaiveDate::from_ymd_opt(2024, 2, 1).expect("a date");

/// Reads an embedded file of the demo.
macro_rules! embedded {
    ($name:literal, $required:expr) => {
        Rows::read(
            $name,
            include_bytes!(concat!("../../seed-data/demo/", $name)),
            Columns {
                kind: $name,
                required: $required,
                optional: &[],
            },
        )
    };
}

/// Something that happens on a day; the order is that within a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Happening {
    Buy,
    Read,
    Draft,
    Send,
    Decide,
    Start,
    Log,
    Close,
    Invoice,
    Pay,
}

/// What became of the quotes so far, by their labels in the files, and the entry before.
#[derive(Default)]
struct Labels {
    /// The book's, by name: read once, for there are hundreds of uses.
    operations: BTreeMap<String, Operation>,
    /// The book's too.
    items: BTreeMap<String, BookItem>,
    quotes: BTreeMap<String, QuoteId>,
    jobs: BTreeMap<String, JobId>,
    last_entry: Option<EntryId>,
}

impl Ledger {
    /// The invented firm's name.
    pub const DEMO_BUSINESS: &'static str = "Oake & Pell, Floors";

    /// Writes the demo's ledger; an earlier demo that nobody added to is replaced. `begins`: what is said of work that
    /// takes a while.
    ///
    /// # Errors
    /// Refuses a path where something else is already.
    pub fn create_demo(path: &Path, clock: Clock, begins: impl Fn()) -> Result<Ledger> {
        let fill = |path: &Path| {
            begins();
            Self::fill_demo(path)
        };
        match make(path, is_as_written, fill)? {
            true => Ledger::open(path, clock),
            false => Err(Refusal::new(format!(
                "`{}` already exists and is not the demo as it was written",
                path.display()
            ))
            .hint("gritledger demo --to FILE")
            .into()),
        }
    }

    fn fill_demo(path: &Path) -> Result<()> {
        let identity = Identity {
            business: Self::DEMO_BUSINESS.to_owned(),
            currency: Currency::from_code("USD").expect("a currency"),
            units: Units::Us,
            country: Some(Country::US),
            notation: Notation::default(),
            copy: 0,
        };
        let ledger = Ledger::fill(path, identity, Clock::at(FIRST_DAY))?;
        ledger.write(false, |writing| {
            writing.demo_people()?;
            writing.demo_history()?;
            writing.log(LAST_SENTENCE)
        })
    }
}

/// Tells whether a file is the demo and nobody added to it: every write leaves a sentence in the log.
fn is_as_written(connection: &Connection) -> rusqlite::Result<bool> {
    if is_unfinished(connection)? {
        return Ok(true);
    }
    connection.query_row(
        "SELECT sentence = :last FROM log ORDER BY id DESC LIMIT 1",
        named_params! { ":last": LAST_SENTENCE },
        |row| row.get(0),
    )
}

impl Writing<'_> {
    fn demo_people(&self) -> Result<()> {
        for row in embedded!("settings.csv", &["setting", "value"])?.iter() {
            self.set_setting(row.text("setting"), row.text("value"))
                .map_err(|error| row.place(&error))?;
        }
        for row in embedded!("tax-areas.csv", &["tax_area", "percent", "valid_from"])?.iter() {
            self.add_tax_area(
                row.text("tax_area"),
                &[(TaxedKind::Price, row.positive("percent")?)],
                row.read("valid_from", str::parse)?,
            )
            .map_err(|error| row.place(&error))?;
        }
        let files: [(Transfer, &str, &[u8]); 3] = [
            (
                Transfer::Clients,
                "clients.csv",
                include_bytes!("../../seed-data/demo/clients.csv"),
            ),
            (
                Transfer::Sites,
                "sites.csv",
                include_bytes!("../../seed-data/demo/sites.csv"),
            ),
            (
                Transfer::Rooms,
                "rooms.csv",
                include_bytes!("../../seed-data/demo/rooms.csv"),
            ),
        ];
        for (kind, name, text) in files {
            self.import(kind, name, text, Units::Us)?;
        }
        for row in embedded!("workers.csv", &["worker", "wage"])?.iter() {
            self.add_worker(
                row.text("worker"),
                row.read("wage", |text| self.currency().parse(text))?,
            )?;
        }
        for row in embedded!(
            "findings.csv",
            &[
                "site", "room", "kind", "quantity", "unit", "place", "chance", "if_so", "least",
                "most"
            ]
        )?
        .iter()
        {
            let room = self.room(row.text("room"), Some(self.site(row.text("site"))?.id))?;
            let found = NewFinding {
                kind: row.text("kind").to_owned(),
                quantity: row.positive("quantity")?,
                most: None,
                unit: row.word::<Unit>("unit")?,
                pieces: Vec::new(),
                chance: row.number("chance")?,
                if_so: match row.maybe("if_so", |name| self.operation(name))? {
                    Some(operation) => {
                        Some((operation.id, row.positive("least")?, row.positive("most")?))
                    }
                    None => None,
                },
                place: row.text("place").to_owned(),
                note: String::new(),
            };
            self.add_finding(&room, &found)?;
        }
        Ok(())
    }

    /// Replays everything else in the order of days.
    fn demo_history(&self) -> Result<()> {
        let jobs = embedded!(
            "jobs.csv",
            &[
                "label",
                "site",
                "rooms",
                "sequence",
                "schedule",
                "margin",
                "variation_of",
                "drafted",
                "sent",
                "valid_days",
                "option",
                "option_schedule",
                "decided",
                "decision",
                "started",
                "closed",
                "deposit",
                "invoiced",
                "paid"
            ]
        )?;
        let book = embedded!(
            "day-book.csv",
            &[
                "date", "kind", "job", "rooms", "subject", "on", "quantity", "amount", "at"
            ]
        )?;
        let readings = embedded!(
            "readings.csv",
            &[
                "date", "site", "room", "kind", "value", "layer", "place", "by"
            ]
        )?;
        let mut happenings: Vec<(NaiveDate, Happening, Row<'_>)> = Vec::new();
        for row in readings.iter() {
            happenings.push((row.read("date", str::parse)?, Happening::Read, row));
        }
        for row in jobs.iter() {
            for (column, happening) in [
                ("drafted", Happening::Draft),
                ("sent", Happening::Send),
                ("decided", Happening::Decide),
                ("started", Happening::Start),
                ("closed", Happening::Close),
                ("invoiced", Happening::Invoice),
                ("paid", Happening::Pay),
            ] {
                if let Some(day) = row.maybe(column, str::parse::<NaiveDate>)? {
                    happenings.push((day, happening, row));
                }
            }
        }
        for row in book.iter() {
            let happening = if row.text("kind") == "buy" {
                Happening::Buy
            } else {
                Happening::Log
            };
            happenings.push((row.read("date", str::parse)?, happening, row));
        }
        // Stable: what happens on one day keeps the order of the files.
        happenings.sort_by_key(|(day, happening, _)| (*day, *happening));

        let operations = self.operations()?.into_iter();
        let items = self.items()?.into_iter();
        let mut labels = Labels {
            operations: operations
                .map(|operation| (operation.name.clone(), operation))
                .collect(),
            items: items.map(|item| (item.name.clone(), item)).collect(),
            ..Labels::default()
        };
        for (day, happening, row) in happenings {
            self.set_clock(Clock::at(day));
            self.demo_event(happening, row, day, &mut labels)
                .map_err(|error| row.place(&error))?;
        }
        Ok(())
    }

    fn demo_reading(&self, row: Row<'_>, day: NaiveDate) -> Result<()> {
        let site = self.site(row.text("site"))?;
        let room = self.room(row.text("room"), Some(site.id))?;
        let kind = row.word::<ReadingKind>("kind")?;
        let reading = Reading {
            id: ReadingId(0), // Given when it is kept.
            whole_house: false,
            kind,
            value: row.read("value", |text| Value::parse(kind, text, Units::Us))?,
            layer: row.maybe("layer", str::parse)?,
            place: row.text("place").to_owned(),
            by: row.text("by").to_owned(),
            on: day,
        };
        self.add_reading(&site, Some(&room), &reading).map(drop)
    }

    fn demo_event(
        &self,
        happening: Happening,
        row: Row<'_>,
        day: NaiveDate,
        labels: &mut Labels,
    ) -> Result<()> {
        let label = row.text("label");
        match happening {
            Happening::Buy | Happening::Log => {
                labels.last_entry = Some(self.demo_entry(row, day, labels)?.id);
                Ok(())
            }
            Happening::Read => self.demo_reading(row, day),
            Happening::Draft => {
                let request = DraftRequest {
                    rooms: listed(row.text("rooms")).map(str::to_owned).collect(),
                    methods: MethodsRequest {
                        sequence: Chosen::Named(row.text("sequence").to_owned()),
                        schedule: Chosen::Named(row.text("schedule").to_owned()),
                        parts: Vec::new(),
                    },
                    margin: row.number("margin")?,
                    variation_of: labels.jobs.get(row.text("variation_of")).copied(),
                    options: demo_option(row).into_iter().collect(),
                    ..DraftRequest::default()
                };
                let drafted = self.draft_quote(&self.site(row.text("site"))?, &request)?;
                labels
                    .quotes
                    .insert(label.to_owned(), drafted.sheet.record.header.id);
                Ok(())
            }
            Happening::Send => self
                .send_quote(
                    &self.demo_quote(label, labels)?,
                    row.read("valid_days", str::parse)?,
                )
                .map(drop),
            Happening::Decide if row.text("decision") == "declined" => {
                self.decline_quote(&self.demo_quote(label, labels)?)
            }
            Happening::Decide => {
                let id = self.accept_quote(&self.demo_quote(label, labels)?, false)?;
                labels.jobs.insert(label.to_owned(), id);
                if row.text("deposit") == "yes" {
                    let job = self.job_by_id(id)?;
                    self.draft_deposit(&job, None)?;
                    let invoice = self.issue_invoice(&job)?;
                    self.add_payment(&invoice, invoice.due(), day, false, "")?;
                }
                Ok(())
            }
            Happening::Start => self.start_job(&self.demo_job(label, labels)?, day),
            Happening::Close => self.close_job(&self.demo_job(label, labels)?).map(drop),
            Happening::Invoice => {
                let job = self.demo_job(label, labels)?;
                self.draft_final(&job, &[])?;
                self.issue_invoice(&job).map(drop)
            }
            Happening::Pay => {
                let job = self.demo_job(label, labels)?;
                for invoice in self.invoices_of(job.id)? {
                    if !invoice.due().is_zero() {
                        self.add_payment(&invoice, invoice.due(), day, false, "")?;
                    }
                }
                Ok(())
            }
        }
    }

    fn demo_quote(&self, label: &str, labels: &Labels) -> Result<QuoteHeader> {
        let id = labels.quotes.get(label).expect("drafted before");
        Ok(self.quote_by_id(*id)?.header)
    }

    fn demo_job(&self, label: &str, labels: &Labels) -> Result<Job> {
        self.job_by_id(*labels.jobs.get(label).expect("accepted before"))
    }

    fn demo_entry(&self, row: Row<'_>, day: NaiveDate, labels: &Labels) -> Result<Recorded> {
        let (kind, subject) = (row.text("kind"), row.text("subject"));
        let quantity = row.number("quantity")?.unwrap_or_default();
        let amount = row.maybe("amount", |text| self.currency().parse(text))?;
        let at = row.maybe("at", |text| {
            NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M")
        })?;
        let item = || labels.items.get(subject).expect("an item of the book");
        let paid = || amount.expect("an amount");
        match (kind, at) {
            ("buy", _) => return self.record_buy(item(), quantity, paid(), day, ""),
            ("count", _) => return self.record_count(item(), quantity, day),
            ("rental-back", Some(at)) => {
                let returned = self.rental_back(&self.machine(subject)?, at, amount)?;
                return Ok(returned.recorded);
            }
            ("void", _) => {
                let entry = labels.last_entry.expect("an entry before it");
                return self.void_entry(entry, subject);
            }
            _ => {}
        }
        let job = self.demo_job(row.text("job"), labels)?;
        let rooms: Vec<Room> = listed(row.text("rooms"))
            .map(|room| self.room(room, Some(job.site_id)))
            .collect::<Result<_>>()?;
        let occasion = Occasion {
            job: Some(&job),
            rooms: &rooms,
            on: day,
            note: "",
        };
        match (kind, at) {
            ("rental-out", Some(at)) => self.rental_out(&self.machine(subject)?, at, &job),
            ("rental-day", _) => self.rental_day(&self.machine(subject)?, day, &job),
            ("hand-back", _) => self.record_hand_back(item(), quantity, amount, Some(&job), day),
            ("hours", _) => {
                let on = match row.text("on") {
                    "" => WorkedOn::Nothing,
                    name => WorkedOn::Task(self.task(name)?),
                };
                self.record_hours(&self.worker(subject)?, quantity, &on, &occasion)
            }
            ("use", _) => {
                let operation = labels.operations.get(row.text("on"));
                self.record_use(item(), quantity, UsedFor::Operation(operation), &occasion)
            }
            ("spent", _) => self.record_spent(paid(), subject, &occasion),
            ("drive", _) => self.record_drive(quantity, &occasion),
            _ => unreachable!("the demo has no `{kind}`"),
        }
    }
}

/// Returns the names in a cell that lists them.
fn listed(cell: &str) -> impl Iterator<Item = &str> {
    cell.split("; ").filter(|name| !name.is_empty())
}

/// Returns the option that a quote of the demo has beside the first.
fn demo_option(row: Row<'_>) -> Option<OptionRequest> {
    let (name, schedule) = (row.text("option"), row.text("option_schedule"));
    (!name.is_empty()).then(|| OptionRequest {
        name: name.to_owned(),
        schedule: Chosen::Named(schedule.to_owned()),
        ..OptionRequest::default()
    })
}

#[cfg(test)]
pub(super) mod tests {
    use rust_decimal_macros::dec;

    use super::*;
    use crate::ledger::QuoteStatus;
    use crate::money::Decimal;
    use crate::trade::FloorCondition;
    use crate::trade::rates::RateKind;

    pub(in crate::ledger) fn demo() -> (tempfile::TempDir, Ledger) {
        let folder = tempfile::tempdir().unwrap();
        let today = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
        let ledger =
            Ledger::create_demo(&folder.path().join("demo.db"), Clock::at(today), || ()).unwrap();
        (folder, ledger)
    }

    #[test]
    fn the_demo_is_a_history_worth_looking_at() {
        let (_folder, ledger) = demo();
        assert_eq!(ledger.problems().unwrap(), Vec::<String>::new());
        let closed: Vec<Job> = ledger
            .jobs()
            .unwrap()
            .into_iter()
            .filter(Job::is_closed)
            .collect();
        let rooms: Vec<_> = closed
            .iter()
            .flat_map(|job| ledger.agreed(job).unwrap().rooms())
            .collect();
        assert!(
            closed.len() >= 14 && rooms.len() >= 50,
            "{} jobs, {} rooms",
            closed.len(),
            rooms.len()
        );
        for condition in FloorCondition::ALL {
            assert!(
                rooms
                    .iter()
                    .any(|(room, ..)| room.class.condition == *condition),
                "a room of {condition}"
            );
        }
        assert_eq!(ledger.workers().unwrap().len(), 3);
        let lost = closed
            .iter()
            .filter(|job| {
                ledger
                    .margin_of(job)
                    .unwrap()
                    .outcome
                    .margin()
                    .is_negative()
            })
            .count();
        assert_eq!(lost, 1, "one job lost money");
        let open = ledger.jobs().unwrap().len() - closed.len();
        assert_eq!(open, 1, "one job is under way");
        let waiting = ledger.quotes().unwrap().into_iter();
        assert_eq!(
            waiting
                .filter(|quote| quote.status == QuoteStatus::Sent)
                .count(),
            1,
            "one quote waits for its answer"
        );
    }

    #[test]
    fn one_invoice_is_overdue_and_one_within_its_terms() {
        let (_folder, ledger) = demo();
        let owed = ledger.invoices().unwrap().into_iter();
        let mut late: Vec<bool> = owed
            .filter(|invoice| !invoice.due().is_zero())
            .map(|invoice| invoice.due_on.unwrap() < ledger.today())
            .collect();
        late.sort_unstable();
        assert_eq!(late, [false, true]);
    }

    /// Sets are opened whole and shared by rooms; that must not look like wear. What `make.py` says the crew really
    /// does comes out of the day book again (painted rooms aside: J9's were harder than they looked).
    #[test]
    fn the_day_book_shows_what_the_crew_really_does() {
        let (_folder, ledger) = demo();
        let book = ledger.book().unwrap();
        let operations = ledger.operations_by_id().unwrap();
        let observations = ledger.observations().unwrap();
        for (name, truth) in [
            ("rotary-36", dec!(1.16)),
            ("rotary-50", dec!(0.85)),
            ("orbit-80", dec!(1.25)),
            ("oil-coat", dec!(1.12)),
        ] {
            let (mut taken, mut by_the_book) = (Decimal::ZERO, Decimal::ZERO);
            for observation in observations.iter().filter(|observation| {
                observation.kind == RateKind::Item
                    && observation.parts.iter().all(|part| {
                        operations[&part.operation].name == name
                            && part.class.condition != FloorCondition::Paint
                    })
            }) {
                taken += observation.quantity;
                for part in &observation.parts {
                    let row = book
                        .row(part.operation, observation.kind, part.class)
                        .unwrap();
                    by_the_book += row.rate().expect(part.driver, part.passes);
                }
            }
            let ratio = taken / by_the_book;
            assert!(
                (ratio / truth - Decimal::ONE).abs() < dec!(0.08),
                "{name}: {ratio} of the book, not about {truth}"
            );
        }
    }
}
