//! The demo: an invented firm's two years, replayed through the same events that commands use.
//!
//! `seed-data/demo/*.csv` says what happened on which day (`make.py` there says by which rule it was made up). Every
//! event is recorded as of its own day, so that reports find the ledger as such a firm would have kept it.

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::{Context, Result};
use chrono::{NaiveDate, NaiveDateTime};

use super::rows::{Columns, Row, Rows};
use super::{
    Clock, DraftRequest, Identity, Job, Ledger, Occasion, QuoteHeader, Room, Transfer, WorkedOn,
    Writing,
};
use crate::measure::Units;
use crate::money::{Currency, Decimal};
use crate::trade::takeoff::Found;
use crate::trade::{JobId, QuoteId, Unit};

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
    Draft,
    Send,
    Decide,
    Start,
    Log,
    Close,
    Pay,
}

/// What became of the quotes so far, by their labels in the files.
#[derive(Default)]
struct Labels {
    quotes: BTreeMap<String, QuoteId>,
    jobs: BTreeMap<String, JobId>,
}

impl Ledger {
    /// The invented firm's name.
    pub const DEMO_BUSINESS: &'static str = "Oake & Pell, Floors";

    /// Writes the demo's ledger to a new file.
    ///
    /// # Errors
    /// Refuses a path where something is already.
    pub fn create_demo(path: &Path, clock: Clock) -> Result<Ledger> {
        let identity = Identity {
            business: Self::DEMO_BUSINESS.to_owned(),
            currency: Currency::from_code("USD").context("USD is a currency")?,
            units: Units::Us,
            copy: 0,
        };
        let ledger = Ledger::create(path, identity, Clock::at(FIRST_DAY))?;
        let replayed = ledger.write(false, |writing| {
            writing.demo_people()?;
            writing.demo_history()
        });
        ledger.clock.set(clock);
        replayed.context("the embedded demo does not replay")?;
        Ok(ledger)
    }
}

impl Writing<'_> {
    fn demo_people(&self) -> Result<()> {
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
            &["site", "room", "kind", "quantity", "unit"]
        )?
        .iter()
        {
            let room = self.room(row.text("room"), Some(self.site(row.text("site"))?.id))?;
            let found = Found {
                kind: row.text("kind").to_owned(),
                quantity: row.positive("quantity")?,
            };
            self.add_finding(&room, &found, row.word::<Unit>("unit")?, "", "")?;
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
                "variation_of",
                "drafted",
                "sent",
                "valid_days",
                "decided",
                "decision",
                "started",
                "closed",
                "deposit",
                "paid"
            ]
        )?;
        let book = embedded!(
            "day-book.csv",
            &[
                "date", "kind", "job", "rooms", "subject", "on", "quantity", "amount", "at"
            ]
        )?;
        let mut happenings: Vec<(NaiveDate, Happening, Row<'_>)> = Vec::new();
        for row in jobs.iter() {
            for (column, happening) in [
                ("drafted", Happening::Draft),
                ("sent", Happening::Send),
                ("decided", Happening::Decide),
                ("started", Happening::Start),
                ("closed", Happening::Close),
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

        let mut labels = Labels::default();
        for (day, happening, row) in happenings {
            self.set_clock(Clock::at(day));
            self.demo_event(happening, row, day, &mut labels)
                .map_err(|error| row.place(&error))?;
        }
        Ok(())
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
            Happening::Buy | Happening::Log => self.demo_entry(row, day, labels),
            Happening::Draft => {
                let request = DraftRequest {
                    rooms: row
                        .text("rooms")
                        .split("; ")
                        .filter(|room| !room.is_empty())
                        .map(str::to_owned)
                        .collect(),
                    sequence: Some(row.text("sequence").to_owned()),
                    schedule: Some(row.text("schedule").to_owned()),
                    variation_of: labels.jobs.get(row.text("variation_of")).copied(),
                    ..DraftRequest::default()
                };
                let drafted = self.draft_quote(&self.site(row.text("site"))?, &request)?;
                labels
                    .quotes
                    .insert(label.to_owned(), drafted.record.header.id);
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
            Happening::Close => {
                let job = self.demo_job(label, labels)?;
                self.close_job(&job)?;
                self.draft_final(&job)?;
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
        let id = labels
            .quotes
            .get(label)
            .with_context(|| format!("no quote `{label}` yet"))?;
        Ok(self.quote_by_id(*id)?.header)
    }

    fn demo_job(&self, label: &str, labels: &Labels) -> Result<Job> {
        let id = labels
            .jobs
            .get(label)
            .with_context(|| format!("no job `{label}` yet"))?;
        self.job_by_id(*id)
    }

    fn demo_entry(&self, row: Row<'_>, day: NaiveDate, labels: &Labels) -> Result<()> {
        let (kind, subject) = (row.text("kind"), row.text("subject"));
        let quantity = row.number("quantity")?.unwrap_or_default();
        let amount = row.maybe("amount", |text| self.currency().parse(text))?;
        let at = row.maybe("at", |text| {
            NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M")
        })?;
        match (kind, at) {
            ("buy", _) => {
                let item = self.item(subject)?;
                return self
                    .record_buy(&item, quantity, amount.unwrap_or_default(), day, "")
                    .map(drop);
            }
            ("rental-back", Some(at)) => {
                return self
                    .rental_back(&self.machine(subject)?, at, amount)
                    .map(drop);
            }
            _ => {}
        }
        let job = self.demo_job(row.text("job"), labels)?;
        let rooms: Vec<Room> = row
            .text("rooms")
            .split("; ")
            .filter(|room| !room.is_empty())
            .map(|room| self.room(room, Some(job.site_id)))
            .collect::<Result<_>>()?;
        let occasion = Occasion {
            job: &job,
            rooms: &rooms,
            on: day,
            note: "",
        };
        match (kind, at) {
            ("rental-out", Some(at)) => {
                self.rental_out(&self.machine(subject)?, at, &job).map(drop)
            }
            ("hours", _) => {
                let on = match row.text("on") {
                    "" => WorkedOn::Nothing,
                    name => WorkedOn::Task(self.task(name)?),
                };
                self.record_hours(&self.worker(subject)?, quantity, &on, &occasion)
                    .map(drop)
            }
            ("use", _) => {
                let item = self.item(subject)?;
                let named = Some(row.text("on")).filter(|name| !name.is_empty());
                let operation = self.operation_for(&item, &job, named)?;
                self.record_use(&item, quantity, operation.as_ref(), &occasion)
                    .map(drop)
            }
            ("spent", _) => self
                .record_spent(amount.unwrap_or_default(), subject, &occasion)
                .map(drop),
            ("drive", _) => self
                .record_drive(quantity.max(Decimal::ONE), &occasion)
                .map(drop),
            _ => Err(row.wrong("kind", format!("`{kind}` is not a kind of entry"))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_demo_is_a_history_worth_looking_at() {
        let folder = tempfile::tempdir().unwrap();
        let today = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
        let ledger = Ledger::create_demo(&folder.path().join("demo.db"), Clock::at(today)).unwrap();
        assert_eq!(ledger.problems().unwrap(), Vec::<String>::new());
        let closed: Vec<Job> = ledger
            .jobs()
            .unwrap()
            .into_iter()
            .filter(Job::is_closed)
            .collect();
        let rooms: usize = closed
            .iter()
            .map(|job| ledger.agreed(job).unwrap().rooms().len())
            .sum();
        assert!(
            closed.len() >= 14 && rooms >= 50,
            "{} jobs, {rooms} rooms",
            closed.len()
        );
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
        assert!(lost >= 1, "a job lost money");
    }
}
