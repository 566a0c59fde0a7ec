//! Jobs: accepted quotes being done, from agreed to closed.

use std::collections::BTreeMap;

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::{CachedStatement, Params, named_params};

use super::before::before_from_row;
use super::books::{Parts, Span};
use super::columns::{KeptParts, Micro, NamedRow};
use super::names::{KnownBy, by_client_or_site};
use super::{
    AwaitingReceipt, Before, Invoice, JobVariance, Ledger, QuoteRecord, Refusal, Writing, numbered,
    read_number, refuse, typed,
};
use crate::money::{Decimal, Money, product};
use crate::trade::bounds::check_day;
use crate::trade::evidence::{FinishedJob, FinishedRoom, Gaps, gaps};
use crate::trade::invoice::Totals;
use crate::trade::job_cost::{Outcome, Quoted};
use crate::trade::quote::{Terms, WorkLine};
use crate::trade::tax::TaxAtRate;
use crate::trade::{ClientId, JobId, QuoteId, RoomId, SiteId, closed_set};

closed_set! {
    /// Where a job stands.
    JobState, "state of a job" {
        /// Accepted, not begun.
        Agreed = "agreed",
        /// Being done.
        Open = "open",
        /// Done, and evidence for the rates.
        Closed = "closed",
        /// Taken back: its rooms are free again, and what isn't invoiced is no income.
        Cancelled = "cancelled",
    }
}

/// A job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Job {
    /// Identity.
    pub id: JobId,
    /// `J1`.
    pub number: String,
    /// Where it is.
    pub site_id: SiteId,
    /// The site's address; of a closed job, as it was when it was closed.
    pub site: String,
    /// Who pays.
    pub client_id: ClientId,
    /// The client's name; of a closed job, as it was when it was closed.
    pub client: String,
    /// The quote it came from; `None`: it is from before the ledger.
    pub quote_id: Option<QuoteId>,
    /// The owner's own floors: nobody pays, and hours cost nothing.
    pub own: bool,
    /// What its firm calls it and agreed, if it is from before the ledger.
    pub before: Option<Before>,
    /// Where it stands.
    pub state: JobState,
    /// When it was agreed.
    pub agreed_on: NaiveDate,
    /// When it was begun.
    pub started_on: Option<NaiveDate>,
    /// When it was closed last.
    pub closed_on: Option<NaiveDate>,
    /// When and why it was taken back; `None`: it wasn't.
    pub cancelled: Option<Cancelled>,
}

/// How a job ended before it was done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cancelled {
    /// The day.
    pub on: NaiveDate,
    /// Why.
    pub reason: String,
}

impl Job {
    /// Tells whether the job is closed.
    pub fn is_closed(&self) -> bool {
        self.state == JobState::Closed
    }

    /// Returns the day on which reports count it: when it was closed, taken back, begun or agreed.
    pub fn counted_on(&self) -> NaiveDate {
        self.closed_on
            .filter(|_| self.is_closed())
            .or(self.cancelled.as_ref().map(|cancelled| cancelled.on))
            .or(self.started_on)
            .unwrap_or(self.agreed_on)
    }

    /// Tells whether nothing is done for the job any more.
    pub fn is_over(&self) -> bool {
        matches!(self.state, JobState::Closed | JobState::Cancelled)
    }

    /// Tells whether what happens to it on a day comes after it was closed. What is brought in of a job from before the
    /// ledger is part of its record, whenever that is done.
    pub fn is_late_on(&self, day: NaiveDate) -> bool {
        self.is_closed() && self.is_after(self.closed_on, day)
    }

    fn is_after(&self, closed_on: Option<NaiveDate>, day: NaiveDate) -> bool {
        closed_on.is_some_and(|last| self.before.is_none() || day > last)
    }
}

/// What a new job was agreed by.
#[derive(Clone, Copy, Debug)]
pub(super) enum AgreedBy<'a> {
    /// Its quote.
    Quote(QuoteId),
    /// What its firm knows of it from before the ledger.
    Before(&'a Before),
}

/// What was agreed: the job's quote and the variations accepted since.
#[derive(Clone, Debug, Default)]
pub struct Agreed {
    /// Quote first, then variations in the order they were drafted.
    pub quotes: Vec<QuoteRecord>,
    /// What was agreed before the ledger, in place of the quote.
    pub before: Option<Before>,
    /// What the rooms are called in the job; the papers have them as they were when each was sent.
    pub room_names: BTreeMap<RoomId, String>,
}

impl Agreed {
    /// Returns each quote's rooms and lines, and what an hour was quoted at.
    pub fn quoted(&self) -> Vec<Quoted<'_>> {
        let quotes = self.quotes.iter().map(|record| &record.quote);
        let quoted = quotes.map(|quote| Quoted {
            rooms: quote.rooms.iter().map(|room| room.id).collect(),
            lines: &quote.lines,
            hour: product([quote.terms.wage, quote.terms.burden]),
        });
        quoted.collect()
    }

    /// Returns the price of the quote, without its variations.
    pub fn price(&self) -> Money {
        let before = self.before.iter().map(|before| before.price);
        self.quotes
            .iter()
            .filter(|record| record.header.variation_of.is_none())
            .map(|record| record.quote.price)
            .chain(before)
            .sum()
    }

    /// Returns what a deposit is a part of: the price of the quote, or what variations have left of it.
    pub fn price_to_come(&self) -> Money {
        self.price().min(self.price() + self.variations())
    }

    /// Returns that as prices are told to the client.
    pub fn told_to_come(&self) -> Money {
        let told = |is_counted: fn(&QuoteRecord) -> bool| -> Money {
            let quotes = self.quotes.iter().filter(|record| is_counted(record));
            quotes.map(|record| record.quote.told()).sum()
        };
        let own = told(|record| record.header.variation_of.is_none());
        own.min(told(|_| true))
    }

    /// Tells whether prices are told with tax.
    pub fn tax_included(&self) -> bool {
        self.terms().is_some_and(|terms| terms.tax_included)
    }

    /// Returns what is to be paid for all of it, tax and rounding included.
    pub fn total(&self) -> Money {
        self.quotes.iter().map(|record| record.quote.total()).sum()
    }

    /// Returns an amount before tax that is told with tax, as all of it is taxed.
    pub fn before_tax(&self, told: Money) -> Money {
        let net: Money = self.quotes.iter().map(|record| record.quote.price).sum();
        match self.total().is_zero() {
            true => told,
            false => told.share(net.minor().into(), self.total().minor().into()),
        }
    }

    /// Returns what its quotes say of what is to be paid.
    pub fn totals(&self) -> Totals {
        let parts = self.quotes.iter().flat_map(|record| record.quote.taxes());
        let together = TaxAtRate::on_sums(parts.map(|part| (part.percent, part.net)));
        let together: Money = together.iter().map(|part| part.net + part.tax).sum();
        Totals {
            beside: self.total() - together,
            tax_included: self.tax_included(),
        }
    }

    /// Returns the price of the variations.
    pub fn variations(&self) -> Money {
        self.quotes
            .iter()
            .filter(|record| record.header.variation_of.is_some())
            .map(|record| record.quote.price)
            .sum()
    }

    /// Returns the quoted cost, variations included.
    pub fn estimated(&self) -> Money {
        let before = self.before.iter().filter_map(|before| before.cost);
        let quoted = self.quotes.iter();
        quoted
            .map(|record| record.quote.costs().total())
            .chain(before)
            .sum()
    }

    /// Returns the price of what was agreed without saying what it was to cost.
    pub fn unestimated(&self) -> Money {
        let before = self.before.iter();
        before
            .filter(|before| before.cost.is_none())
            .map(|before| before.price)
            .sum()
    }

    /// Returns what the work was priced with; `None`: there is no quote.
    pub fn terms(&self) -> Option<Terms> {
        self.quotes.first().map(|record| record.quote.terms)
    }

    /// Returns the overhead that labour was quoted with, each quote by its labour; `None`: there is no quote.
    pub fn overhead(&self) -> Option<Decimal> {
        let first = self.quotes.first()?.quote.terms.overhead;
        let (mut labour, mut charged) = (Decimal::ZERO, Decimal::ZERO);
        for quote in self.quotes.iter().map(|record| &record.quote) {
            let cost = Decimal::from(quote.costs().labour.minor());
            labour += cost;
            charged += product([cost, quote.terms.overhead]);
        }
        Some(if labour.is_zero() {
            first
        } else {
            charged / labour
        })
    }

    /// Returns the rooms in which something is to be done: variations may have taken some away.
    pub fn rooms_to_do(&self) -> Vec<FinishedRoom> {
        let quotes = self.quotes.iter();
        let work: Vec<&WorkLine> = quotes.flat_map(|record| record.quote.work()).collect();
        let rooms = self.rooms().into_iter().map(|(room, ..)| room);
        rooms
            .filter(|room| work.iter().any(|work| work.room == Some(room.id)))
            .collect()
    }

    /// Returns each room once, with its price and the price of its variations.
    pub fn rooms(&self) -> Vec<(FinishedRoom, Money, Money)> {
        let mut rooms: Vec<(FinishedRoom, Money, Money)> = Vec::new();
        for record in &self.quotes {
            for (room, share) in record.quote.rooms.iter().zip(record.quote.room_shares()) {
                let position = rooms
                    .iter()
                    .position(|(known, ..)| known.id == room.id)
                    .unwrap_or_else(|| {
                        let known = FinishedRoom {
                            id: room.id,
                            name: self.room_names.get(&room.id).unwrap_or(&room.name).clone(),
                            class: room.class,
                        };
                        rooms.push((known, Money::ZERO, Money::ZERO));
                        rooms.len() - 1
                    });
                let (_, price, variations) = &mut rooms[position];
                *(if record.header.variation_of.is_some() {
                    variations
                } else {
                    price
                }) += share;
            }
        }
        rooms
    }
}

/// What closing a job found.
#[derive(Clone, Debug)]
pub struct CloseOut {
    /// What it came to.
    pub outcome: Outcome,
    /// What was quoted beside what it took.
    pub variance: JobVariance,
    /// What the record leaves out.
    pub gaps: Gaps,
    /// Items used without a receipt.
    pub awaiting: Vec<AwaitingReceipt>,
    /// Observations that the job taught.
    pub observations: usize,
}

const JOBS: &str = "
    SELECT job.id, job.number, job.site_id, job_party.site, job_party.client_id, job_party.client, job.quote_id,
           job.own_name, job.price_minor, job.cost_minor,
           COALESCE((SELECT own FROM quote WHERE quote.id = job.quote_id), 0) AS own,
           (SELECT what FROM job_state WHERE job_id = job.id) AS state,
           (SELECT MIN(happened_on) FROM job_event WHERE job_id = job.id AND what = 'agreed') AS agreed_on,
           (SELECT MIN(happened_on) FROM job_event WHERE job_id = job.id AND what = 'started') AS started_on,
           (SELECT MAX(happened_on) FROM job_event WHERE job_id = job.id AND what = 'closed') AS closed_on,
           cancelled.happened_on AS cancelled_on, cancelled.reason
    FROM job
    LEFT JOIN job_event AS cancelled ON cancelled.id = (SELECT MAX(id) FROM job_event WHERE job_id = job.id)
                                        AND cancelled.what = 'cancelled'
    JOIN job_party ON job_party.job_id = job.id";

impl Ledger {
    /// Returns the query of the jobs of a span, oldest first.
    pub(super) fn job_query(&self) -> Result<CachedStatement<'_>> {
        let sql = format!("{JOBS} WHERE job.id BETWEEN :first AND :last ORDER BY job.id");
        Ok(self.connection.prepare_cached(&sql)?)
    }

    /// Returns every job, oldest first.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn jobs(&self) -> Result<Vec<Job>> {
        let mut statement = self.job_query()?;
        Parts::of(&mut statement, Span::EVERY, |_| Ok(()), job_from_row)?.take(&())
    }

    /// Returns the jobs that are neither closed nor cancelled, oldest first.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn jobs_not_closed(&self) -> Result<Vec<Job>> {
        let sql = "SELECT job_id FROM job_under_way ORDER BY job_id";
        self.jobs_of(sql, [])
    }

    /// Returns the jobs whose ids a query selects.
    fn jobs_of(&self, sql: &str, values: impl Params) -> Result<Vec<Job>> {
        let mut statement = self.connection.prepare_cached(sql)?;
        let ids = statement.query_map(values, |row| row.get(0))?;
        ids.map(|id| self.job_by_id(id?)).collect()
    }

    /// Returns the finished jobs that have no final invoice, so many of them, the first finished first; and how many others
    /// there are.
    pub(super) fn jobs_to_bill(&self, most: usize) -> Result<(Vec<Job>, usize)> {
        let mut jobs = self.jobs_of(
            "SELECT job_id FROM job_to_bill ORDER BY job_id LIMIT :most",
            named_params! { ":most": most as i64 },
        )?;
        jobs.sort_by_key(|job| (job.closed_on, job.id));
        let all: usize = self
            .connection
            .prepare_cached("SELECT COUNT(*) FROM job_to_bill")?
            .query_row([], |row| row.get::<_, i64>(0))?
            .unsigned_abs() as usize;
        let more = all.saturating_sub(jobs.len());
        Ok((jobs, more))
    }

    /// Returns what of a job's price isn't invoiced yet, before tax; below zero, what was invoiced beyond it.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn left_to_invoice(&self, job: &Job) -> Result<Money> {
        let agreed = self.agreed(job)?;
        let (invoiced, off_price) = self.invoiced(job.id)?.unwrap_or_default();
        Ok(agreed.price() + agreed.variations() - off_price - invoiced)
    }

    /// Returns every job at a site, oldest first.
    pub(super) fn jobs_at(&self, site: SiteId) -> Result<Vec<Job>> {
        let sql = "SELECT id FROM job WHERE site_id = :site ORDER BY id";
        self.jobs_of(sql, named_params! { ":site": site })
    }

    /// Returns every job that is or was done for a client, oldest first.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn jobs_for(&self, client: ClientId) -> Result<Vec<Job>> {
        self.jobs_of(
            "SELECT job_id FROM job_party WHERE client_id = :client AND job_id IN (
                 SELECT job.id FROM site JOIN job ON job.site_id = site.id WHERE site.client_id = :client
                 UNION
                 SELECT job_id FROM job_event WHERE client_id = :client)
             ORDER BY job_id",
            named_params! { ":client": client },
        )
    }

    /// Returns the job that a quote became; `None`: none.
    pub(super) fn job_of(&self, quote: QuoteId) -> Result<Option<Job>> {
        let sql = "SELECT id FROM job WHERE quote_id = :quote";
        let jobs = self.jobs_of(sql, named_params! { ":quote": quote })?;
        Ok(jobs.into_iter().next())
    }

    /// Returns the job of that number, of the name that its firm had for it before the ledger, or of a client or site.
    ///
    /// # Errors
    /// Refuses a number that isn't one, and one that isn't there.
    pub fn job(&self, number: &str) -> Result<Job> {
        if let Some(id) = self.job_called(number)? {
            return self.job_by_id(id);
        }
        let Some((copy, wanted)) = read_number('J', number) else {
            let jobs = self.jobs()?;
            let meant = by_client_or_site("job", number, &jobs, |job| KnownBy {
                number: &job.number,
                client: &job.client,
                site: &job.site,
                is_over: job.is_over(),
            });
            if let Some(job) = meant? {
                return Ok(job.clone());
            }
            return Err(Refusal::new(format!("`{number}` is not a job number"))
                .hint("jobs are numbered J1, J2")
                .into());
        };
        let jobs = self.jobs_of(
            "SELECT id FROM job WHERE id >> 40 = :copy AND number = :number",
            named_params! { ":copy": copy, ":number": wanted },
        )?;
        match jobs.into_iter().next() {
            Some(job) => Ok(job),
            None => Err(Refusal::new(format!("no job {number}"))
                .hint("gritledger job list")
                .into()),
        }
    }

    /// Returns the job of that identity.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn job_by_id(&self, id: JobId) -> Result<Job> {
        let mut statement = self.job_query()?;
        let of_it = named_params! { ":first": id, ":last": id };
        Ok(statement.query_row(of_it, |row| job_from_row(&NamedRow::of(row)))?)
    }

    /// Returns the job named, or the only open one; where none is open, the only one that is agreed.
    ///
    /// # Errors
    /// Refuses when none is named and there isn't exactly one.
    pub fn job_or_only_open(&self, number: Option<&str>) -> Result<Job> {
        if let Some(number) = number {
            return self.job(number);
        }
        let (open, agreed) = self.jobs_under_way()?;
        match (&open[..], &agreed[..]) {
            ([only], _) | ([], [only]) => Ok(only.clone()),
            ([], []) => Err(Refusal::new("no job is open")
                .hint("gritledger job list")
                .into()),
            ([], several) => Err(several_jobs(
                "no job is open, and several are agreed",
                several,
            )),
            (several, _) => Err(several_jobs("several jobs are open", several)),
        }
    }

    /// Returns the open jobs and the agreed ones, each oldest first.
    fn jobs_under_way(&self) -> Result<(Vec<Job>, Vec<Job>)> {
        let jobs = self.jobs_not_closed()?.into_iter();
        Ok(jobs.partition(|job| job.state == JobState::Open))
    }

    /// Returns the job named; else the one that the rooms say, an open one before one that is agreed; else the only one.
    ///
    /// # Errors
    /// Refuses when none is named and the rooms are in several jobs or in none of several.
    pub fn job_for(&self, number: Option<&str>, rooms: &[String]) -> Result<Job> {
        let (open, agreed) = self.jobs_under_way()?;
        if number.is_some() || rooms.is_empty() || open.len() + agreed.len() < 2 {
            return self.job_or_only_open(number);
        }
        for (state, jobs) in [("open", open), ("agreed", agreed)] {
            let with_rooms = self.jobs_with(rooms, jobs)?;
            match &with_rooms[..] {
                [] => {}
                [only] => return Ok(only.clone()),
                several => {
                    let what = format!("several {state} jobs have such a room");
                    return Err(several_jobs(&what, several));
                }
            }
        }
        self.job_or_only_open(None)
    }

    /// Returns those jobs in which all of the rooms are to be done.
    fn jobs_with(&self, rooms: &[String], jobs: Vec<Job>) -> Result<Vec<Job>> {
        let mut with_rooms = Vec::new();
        for job in jobs {
            let agreed = self.agreed(&job)?.rooms_to_do();
            let is_agreed = |name: &String| {
                let room = self.room(name, Some(job.site_id));
                room.is_ok_and(|room| agreed.iter().any(|known| known.id == room.id))
            };
            if rooms.iter().all(is_agreed) {
                with_rooms.push(job);
            }
        }
        Ok(with_rooms)
    }

    /// Refuses to close a job that isn't open, and one with a machine still out.
    ///
    /// # Errors
    /// Refuses these two.
    pub fn refuse_to_close(&self, job: &Job) -> Result<()> {
        if job.state != JobState::Open {
            let refusal = Refusal::new(format!(
                "{} is {}, not open",
                job.number,
                job.state.as_str()
            ));
            return Err(match job.state {
                JobState::Agreed => refusal.hint(format!("gritledger job start {}", job.number)),
                JobState::Open | JobState::Closed | JobState::Cancelled => refusal,
            }
            .into());
        }
        self.refuse_machines_out(job)
    }

    fn refuse_machines_out(&self, job: &Job) -> Result<()> {
        let rentals = self.rentals_out()?;
        let Some(rental) = rentals.iter().find(|rental| rental.holder().0 == job.id) else {
            return Ok(());
        };
        Err(
            Refusal::new(format!("{} is still out on {}", rental.machine, job.number))
                .hint(format!("gritledger rental back {}", typed(&rental.machine)))
                .into(),
        )
    }

    /// Returns what the rooms of a job's site are called: as they were when it was closed, if it is.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn room_names_of(&self, job: JobId) -> Result<BTreeMap<RoomId, String>> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT room_id, name FROM job_room WHERE job_id = :job")?;
        let names = statement.query_map(named_params! { ":job": job }, |row| {
            Ok((row.get("room_id")?, row.get("name")?))
        })?;
        Ok(names.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns a job as evidence sees it.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn finished(&self, job: &Job) -> Result<FinishedJob> {
        let agreed = self.agreed(job)?;
        let (rooms, work) = if job.before.is_some() {
            self.recorded_work(job)?
        } else {
            let rooms = agreed.rooms().into_iter().map(|(room, ..)| room);
            let quotes = agreed.quotes.iter();
            let work = quotes.flat_map(|record| record.quote.work().cloned());
            (rooms.collect(), work.collect())
        };
        Ok(FinishedJob {
            number: job.number.clone(),
            finished_on: self.finished_on_of(job)?,
            rooms,
            work,
            is_quoted: job.before.is_none(),
            logged: self.logged(job)?,
        })
    }

    /// Returns when a job's work was finished: when it was closed first, or when the last of its work was done, if it was
    /// opened again for more. Opening it to mend its record doesn't make the work newer.
    pub(super) fn finished_on_of(&self, job: &Job) -> Result<NaiveDate> {
        let Some(closed_last) = job.closed_on.filter(|_| job.is_closed()) else {
            return Ok(self.today());
        };
        let finished: NaiveDate = self
            .connection
            .prepare_cached(
                "SELECT MAX(day) FROM (
                     SELECT MIN(happened_on) AS day FROM job_event WHERE job_id = :job AND what = 'closed'
                     UNION ALL
                     SELECT MAX(happened_on) FROM live_entry
                     WHERE job_id = :job AND kind IN ('use', 'hours') AND late = 0 AND on_the_road = 0)",
            )?
            .query_row(named_params! { ":job": job.id }, |row| row.get(0))?;
        Ok(finished.min(closed_last))
    }

    /// Tells the same of a job as it stands now, whatever is known of it.
    pub(super) fn is_late(&self, job: &Job, day: NaiveDate) -> Result<bool> {
        let (state, since): (String, NaiveDate) = self
            .connection
            .prepare_cached("SELECT what, happened_on FROM job_state WHERE job_id = :job")?
            .query_row(named_params! { ":job": job.id }, |row| {
                Ok((row.get(0)?, row.get(1)?))
            })?;
        let closed_on = Some(since).filter(|_| state == JobState::Closed.as_str());
        Ok(job.is_after(closed_on, day))
    }

    /// Returns what a job's record leaves out so far.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn gaps_of(&self, job: &Job) -> Result<Gaps> {
        Ok(gaps(&self.finished(job)?))
    }
}

/// Refuses to choose between jobs.
fn several_jobs(what: &str, jobs: &[Job]) -> anyhow::Error {
    let numbers: Vec<String> = jobs
        .iter()
        .map(|job| format!("{} ({})", job.number, job.site))
        .collect();
    Refusal::new(what)
        .hint(format!("say which: {}", numbers.join(", ")))
        .into()
}

pub(super) fn job_from_row(row: &NamedRow<'_>) -> rusqlite::Result<Job> {
    let before = before_from_row(row)?;
    let id: JobId = row.get("id")?;
    Ok(Job {
        id,
        number: numbered('J', id.0, row.get("number")?),
        site_id: row.get("site_id")?,
        site: row.get("site")?,
        client_id: row.get("client_id")?,
        client: row.get("client")?,
        quote_id: row.get("quote_id")?,
        own: row.get("own")?,
        before,
        state: match row.text("state")? {
            "agreed" => JobState::Agreed,
            "closed" => JobState::Closed,
            "cancelled" => JobState::Cancelled,
            _ => JobState::Open,
        },
        agreed_on: row.get("agreed_on")?,
        started_on: row.get("started_on")?,
        closed_on: row.get("closed_on")?,
        cancelled: match row.get("cancelled_on")? {
            Some(on) => Some(Cancelled {
                on,
                reason: row.get("reason")?,
            }),
            None => None,
        },
    })
}

impl Writing<'_> {
    /// Opens a job at a site, with its quote or with what was agreed before the ledger.
    pub(super) fn open_job(&self, site: SiteId, agreed: AgreedBy<'_>) -> Result<JobId> {
        let number = self.new_number("job")?;
        let id = JobId(self.new_id("job")?);
        let (quote, before) = match agreed {
            AgreedBy::Quote(quote) => (Some(quote), None),
            AgreedBy::Before(before) => (None, Some(before)),
        };
        self.connection
            .prepare_cached(
                "INSERT INTO job (id, number, site_id, quote_id, own_name, price_minor, cost_minor, recorded_at)
                 VALUES (:id, :number, :site, :quote, :name, :price, :cost, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":number": number, ":site": site, ":quote": quote,
                ":name": before.map(|before| &before.name), ":price": before.map(|before| before.price),
                ":cost": before.and_then(|before| before.cost), ":now": self.now(),
            })?;
        self.add_job_event(id, "agreed", self.today())?;
        Ok(id)
    }

    /// Begins a job.
    ///
    /// # Errors
    /// Refuses a job that was begun already.
    pub fn start_job(&self, job: &Job, on: NaiveDate) -> Result<()> {
        let job = &self.job_by_id(job.id)?;
        if job.state != JobState::Agreed {
            refuse!("{} is {} already", job.number, job.state.as_str());
        }
        self.refuse_future(on)?;
        self.add_job_event(job.id, "started", on)?;
        self.log(&format!("Started {} at {}.", job.number, job.site))
    }

    /// Closes a job: what was logged becomes evidence. Returns what the record leaves out.
    ///
    /// # Errors
    /// Refuses a job that isn't open, and one with a machine still out.
    pub fn close_job(&self, job: &Job) -> Result<CloseOut> {
        let job = &self.job_by_id(job.id)?;
        self.refuse_to_close(job)?;
        self.add_closing(job, None)?;
        let observations = self.write_evidence(&self.job_by_id(job.id)?)?;
        self.log(&format!("Closed {} at {}.", job.number, job.site))?;
        let awaiting = self
            .awaiting_receipt()?
            .into_iter()
            .filter(|line| line.job_id == job.id)
            .collect();
        Ok(CloseOut {
            outcome: self.margin_of(job)?.outcome,
            variance: self.variance_of(job)?,
            gaps: self.gaps_of(job)?,
            awaiting,
            observations,
        })
    }

    /// Takes a job back before it is done: the client withdrew, or the firm can't. Returns the invoices that were issued
    /// for it. What was logged stays as its cost; what isn't invoiced is no income any more.
    ///
    /// # Errors
    /// Refuses a job that is closed or cancelled, one with a machine still out, and one without a reason.
    pub fn cancel_job(&self, job: &Job, reason: &str) -> Result<Vec<Invoice>> {
        let job = &self.job_by_id(job.id)?;
        match job.state {
            JobState::Agreed | JobState::Open => {}
            JobState::Closed => {
                return Err(
                    Refusal::new(format!("{} is closed: it is done", job.number))
                        .hint(format!("gritledger job reopen {}", job.number))
                        .into(),
                );
            }
            JobState::Cancelled => refuse!("{} is cancelled already", job.number),
        }
        let reason = reason.trim();
        if reason.is_empty() {
            refuse!("say why {} is cancelled", job.number);
        }
        self.refuse_machines_out(job)?;
        self.withdraw_drafts(job)?;
        self.add_closing(job, Some(reason))?;
        self.log(&format!(
            "Cancelled {} at {}: {reason}.",
            job.number, job.site
        ))?;
        let mut invoices = self.invoices_of(job.id)?;
        invoices.retain(|invoice| invoice.number.is_some());
        Ok(invoices)
    }

    /// Refuses to go on with a job that was taken back.
    pub(super) fn refuse_cancelled(&self, job: &Job, what: &str) -> Result<()> {
        match self.job_by_id(job.id)?.cancelled {
            Some(Cancelled { on, .. }) => {
                refuse!("{} was cancelled on {on}: {what}", job.number)
            }
            None => Ok(()),
        }
    }

    /// Opens a closed job again; it is evidence no longer, until it is closed again.
    ///
    /// # Errors
    /// Refuses a job that isn't closed.
    pub fn reopen_job(&self, job: &Job) -> Result<()> {
        let job = &self.job_by_id(job.id)?;
        if job.state == JobState::Cancelled {
            return Err(Refusal::new(format!(
                "{} is cancelled: what is done after all needs a quote of its own",
                job.number
            ))
            .hint(format!("gritledger quote draft {}", typed(&job.site)))
            .into());
        }
        if !job.is_closed() {
            refuse!("{} is {}, not closed", job.number, job.state.as_str());
        }
        self.add_job_event(job.id, "reopened", self.today())?;
        self.clear_evidence(job.id)?;
        self.log(&format!("Opened {} again.", job.number))
    }

    fn add_job_event(&self, job: JobId, what: &str, on: NaiveDate) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO job_event (id, job_id, what, happened_on, recorded_at) VALUES (:id, :job, :what, :on, :now)",
            )?
            .execute(named_params! {
                ":id": self.new_id("job_event")?, ":job": job, ":what": what, ":on": on, ":now": self.now(),
            })?;
        Ok(())
    }

    /// Notes that a job was closed, or why it was cancelled, with a copy of every word of it that somebody may change later.
    pub(super) fn add_closing(&self, job: &Job, cancelled: Option<&str>) -> Result<()> {
        let id = self.new_id("job_event")?;
        self.connection
            .prepare_cached(
                "INSERT INTO job_event (id, job_id, what, reason, client_id, client, site, happened_on, recorded_at)
                 VALUES (:id, :job, :what, :reason, :client_id, :client, :site, :today, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":job": job.id, ":what": cancelled.map_or("closed", |_| "cancelled"), ":reason": cancelled,
                ":client_id": job.client_id, ":client": job.client, ":site": job.site,
                ":today": self.today(), ":now": self.now(),
            })?;
        let measured = self.rooms_as_measured(job, &self.agreed(job)?)?;
        for (room, name) in self.room_names_of(job.id)? {
            let found = measured.iter().find(|measured| measured.id == room);
            self.connection
                .prepare_cached(
                    "INSERT INTO closed_room (job_event_id, room_id, name, area_micro, edge_micro, steps, floor_condition,
                                              parts, species)
                     VALUES (:event, :room, :name, :area, :edge, :steps, :condition, :parts, :species)",
                )?
                .execute(named_params! {
                    ":event": id, ":room": room, ":name": name, ":area": found.map(|room| Micro(room.area)),
                    ":edge": found.map(|room| Micro(room.edge)), ":steps": found.and_then(|room| room.steps),
                    ":condition": found.map(|room| room.class.condition),
                    ":parts": found.map(|room| KeptParts(room.parts.clone())),
                    ":species": found.map(|room| room.class.species),
                })?;
        }
        Ok(())
    }

    /// Refuses a date after today, and one before every ledger.
    pub(super) fn refuse_future(&self, on: NaiveDate) -> Result<()> {
        check_day(on, self.today())?;
        if on > self.today() {
            refuse!("{on} is after today, {}", self.today());
        }
        Ok(())
    }
}
