//! Quotes: drafted once, then sent, accepted or declined.

use std::collections::BTreeSet;
use std::str::FromStr;

use anyhow::Result;
use chrono::{Days, NaiveDate};
use rusqlite::{OptionalExtension, Row, named_params};

use super::columns::{Micro, NamedRow};
use super::quoted::Quotes;
use super::{
    AgreedBy, KeptPlan, Ledger, Refusal, Room, Settings, Site, ToBuy, Writing, adding_a_room, kept,
    names, numbered, read_number, refuse, typed,
};
use crate::money::{Decimal, Money};
use crate::trade::bounds::check_day;
use crate::trade::cautions::cautions;
use crate::trade::contract::Cancellation;
use crate::trade::operation::{Operation, SET_UP, SkippedGrades, skipped_grades};
use crate::trade::pricing::{Luck, Offer, Stocking, price, seed_of};
use crate::trade::quote::{Line, Outlook, Priced, Quote, QuotedRoom, Terms, WorkLine};
use crate::trade::rates::{FloorClass, RateKind, RateRow, Rates};
use crate::trade::rental::Tariff;
use crate::trade::takeoff::{MeasuredRoom, Methods, Work, take_off};
use crate::trade::{JobId, MachineId, OperationId, QuoteId, SiteId};

/// What the first option of a quote is called, where there are others.
pub const AS_DRAFTED: &str = "As drafted";

/// The most options that a quote has beside the first.
const MOST_OPTIONS: usize = 9;

/// What a draft is asked for; what is left out comes from the settings.
#[derive(Clone, Debug, Default)]
pub struct DraftRequest {
    /// The rooms to be done, by name; none: every room of the site that is refinished.
    pub rooms: Vec<String>,
    /// The sanding sequence; `None`: the setting. `Some("none")`: no sanding.
    pub sequence: Option<String>,
    /// The coating schedule; `None`: the setting. `Some("none")`: no coats.
    pub schedule: Option<String>,
    /// The margin to keep, as a fraction; `None`: the setting.
    pub margin: Option<Decimal>,
    /// With what confidence, as a fraction; `None`: the setting.
    pub confidence: Option<Decimal>,
    /// When the work is to begin; `None`: not known yet.
    pub start: Option<NaiveDate>,
    /// Whose wage prices the hours; `None`: the mean of the active workers.
    pub worker: Option<String>,
    /// Lump sums: what for, and how much.
    pub others: Vec<(String, Money)>,
    /// The quote that this is another version of.
    pub revises: Option<QuoteId>,
    /// The job that this is a variation of.
    pub variation_of: Option<JobId>,
    /// What else the client may choose.
    pub options: Vec<OptionRequest>,
}

/// Another way to do what a draft is asked for, and what is different in it.
#[derive(Clone, Debug, Default)]
pub struct OptionRequest {
    /// What the client calls it.
    pub name: String,
    /// Another sanding sequence, or `none`.
    pub sequence: Option<String>,
    /// Another coating schedule, or `none`.
    pub schedule: Option<String>,
    /// Rooms that are done as well.
    pub with: Vec<String>,
    /// Rooms that are left out.
    pub without: Vec<String>,
}

impl FromStr for OptionRequest {
    type Err = Refusal;

    /// Reads an option as people type it: `Three coats: schedule=oil-3-coat, without=Bedroom 1`.
    fn from_str(text: &str) -> Result<OptionRequest, Refusal> {
        let wrong = |what: &str| {
            Refusal::new(format!("`{text}` is not an option: {what}"))
                .hint("--option \"Three coats: schedule=oil-3-coat\"")
                .hint("keys: sequence, schedule, with, without")
        };
        let named = text
            .split_once(':')
            .filter(|(name, _)| !name.trim().is_empty());
        let Some((name, changes)) = named else {
            return Err(wrong("it has no name before a colon"));
        };
        let mut option = OptionRequest {
            name: name.trim().to_owned(),
            ..OptionRequest::default()
        };
        if option.name.chars().all(|sign| sign.is_ascii_digit()) {
            return Err(wrong("a number is no name, since options have numbers"));
        }
        for change in changes.split(',') {
            let pair = change
                .split_once('=')
                .filter(|(_, value)| !value.trim().is_empty());
            let Some((key, value)) = pair else {
                return Err(wrong(&format!("`{}` is no key=value", change.trim())));
            };
            let value = value.trim().to_owned();
            let before = match key.trim().to_lowercase().as_str() {
                "sequence" => option.sequence.replace(value),
                "schedule" => option.schedule.replace(value),
                "with" => {
                    option.with.push(value);
                    None
                }
                "without" => {
                    option.without.push(value);
                    None
                }
                other => return Err(wrong(&format!("`{other}` is not a key"))),
            };
            if before.is_some() {
                return Err(wrong(&format!("`{}` comes twice", key.trim())));
            }
        }
        Ok(option)
    }
}

/// A rate that a quote was priced with.
#[derive(Clone, Debug)]
pub struct QuotedRate {
    /// The operation.
    pub operation: OperationId,
    /// Items or hours.
    pub kind: RateKind,
    /// The floor it was asked for.
    pub class: FloorClass,
    /// The rate, and where it came from, as it stood then.
    pub rate: RateRow,
}

/// Where a quote stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum QuoteStatus {
    /// Not sent yet.
    Draft,
    /// Sent, and open until its last day.
    Sent,
    /// Sent, and past its last day.
    Expired,
    /// Accepted.
    Accepted,
    /// Declined.
    Declined,
}

impl QuoteStatus {
    /// Returns the word for it.
    pub const fn as_str(self) -> &'static str {
        match self {
            QuoteStatus::Draft => "draft",
            QuoteStatus::Sent => "sent",
            QuoteStatus::Expired => "expired",
            QuoteStatus::Accepted => "accepted",
            QuoteStatus::Declined => "declined",
        }
    }
}

/// A quote's place in the ledger.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct QuoteHeader {
    /// Identity.
    pub id: QuoteId,
    /// `Q1`, or `Q1.2` for its second version.
    pub number: String,
    /// Which of its options.
    pub option: u32,
    /// What that option is called; empty: there is no other.
    pub option_name: String,
    /// How many options it has.
    pub options: u32,
    /// When the work is to begin.
    pub start_on: Option<NaiveDate>,
    /// Where it is for.
    pub site_id: SiteId,
    /// The site's address; once it is sent, as it was that day.
    pub site: String,
    /// The client's name; once it is sent, as it was that day.
    pub client: String,
    /// The client's postal address; once it is sent, as it was that day.
    pub client_address: String,
    /// The job that it is a variation of.
    pub variation_of: Option<JobId>,
    /// Where it stands today.
    pub status: QuoteStatus,
    /// When it was drafted.
    pub drafted_on: NaiveDate,
    /// When it was sent.
    pub sent_on: Option<NaiveDate>,
    /// The last day it can be accepted.
    pub valid_until: Option<NaiveDate>,
    /// When it was accepted or declined.
    pub decided_on: Option<NaiveDate>,
    /// The price before tax.
    pub price: Money,
    /// Tax on the price.
    pub tax: Money,
}

impl QuoteHeader {
    /// Names its row.
    pub(super) fn row(&self) -> String {
        match self.option_name.as_str() {
            "" => format!("quote {}", self.number),
            name => format!("quote {}, option `{name}`", self.number),
        }
    }
}

/// A quote with everything in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct QuoteRecord {
    /// Its place in the ledger.
    pub header: QuoteHeader,
    /// What it says.
    pub quote: Quote,
}

/// An option of a quote, with what the simulation said of it.
#[derive(Clone, Debug)]
pub struct QuoteOption {
    /// The quote.
    pub record: QuoteRecord,
    /// What it may cost, and what that takes.
    pub outlook: Outlook,
}

/// A quote with all that is shown beside it.
#[derive(Clone, Debug)]
pub struct QuoteSheet {
    /// The quote.
    pub record: QuoteRecord,
    /// What it may cost, and what that takes.
    pub outlook: Outlook,
    /// All its options, itself among them.
    pub options: Vec<QuoteOption>,
    /// What would have to be bought for it today.
    pub shopping: Vec<ToBuy>,
    /// The plan that it was drafted from, as it stands; `None`: there is none.
    pub plan: Option<KeptPlan>,
    /// The client's right to take back an acceptance: as it is set, or as it was when the quote was sent.
    pub cancellation: Option<Cancellation>,
}

/// A draft that was just made, and what its owner should know.
#[derive(Clone, Debug)]
pub struct Drafted {
    /// The quote.
    pub sheet: QuoteSheet,
    /// Cuts that skip more than one grade.
    pub skipped: Vec<SkippedGrades>,
    /// Rooms of a variation that the job sands or coats already, and that are priced to be done again.
    pub again: Vec<String>,
}

/// What a quote is beside others, as a query says it of each.
pub(super) const HEADER_COLUMNS: &str = "
           quote.id, quote.number, quote.version, quote.option, quote.option_name, quote.start_on, quote.site_id,
           quote.job_id, quote.drafted_on, quote.price_minor, quote.tax_minor,
           COALESCE(sent.site, site.address) AS site, COALESCE(sent.client, client.name) AS client,
           COALESCE(sent.client_address, client.address) AS client_address,
           (SELECT COUNT(*) FROM quote AS other WHERE other.id >> 40 = quote.id >> 40 AND other.number = quote.number
                   AND other.version = quote.version) AS options,
           sent.happened_on AS sent_on, sent.valid_until, decided.what AS decision, decided.happened_on AS decided_on";

/// Where that is joined from.
pub(super) const HEADER_PARTS: &str = "
    JOIN site ON site.id = quote.site_id
    JOIN client ON client.id = site.client_id
    LEFT JOIN quote_event AS sent ON sent.quote_id = quote.id AND sent.what = 'sent'
    LEFT JOIN quote_event AS decided ON decided.quote_id = quote.id AND decided.what IN ('accepted', 'declined')";

/// The option that stands for a version of a quote: the accepted one, else the first.
const STANDS_FOR_IT: &str = "
    quote.option = COALESCE((
        SELECT other.option FROM quote AS other JOIN quote_event ON quote_event.quote_id = other.id
        WHERE what = 'accepted' AND other.id >> 40 = quote.id >> 40 AND other.number = quote.number
              AND other.version = quote.version), 1)";

impl Ledger {
    /// Returns every quote, oldest first; the accepted option, or the first, stands for it.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn quotes(&self) -> Result<Vec<QuoteHeader>> {
        let sql = format!(
            "SELECT {HEADER_COLUMNS} FROM quote {HEADER_PARTS} WHERE {STANDS_FOR_IT} ORDER BY quote.id"
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let headers = statement.query_map([], |row| self.header_from_row(row))?;
        Ok(headers.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the quotes that can be answered on a day or after it, oldest first; answered ones too.
    pub(super) fn quotes_valid_on(&self, day: NaiveDate) -> Result<Vec<QuoteHeader>> {
        let sql = format!(
            "SELECT {HEADER_COLUMNS} FROM quote {HEADER_PARTS}
             WHERE quote.id IN (SELECT quote_id FROM quote_event WHERE what = 'sent' AND valid_until >= :day)
                   AND {STANDS_FOR_IT}
             ORDER BY quote.id"
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let headers = statement.query_map(named_params! { ":day": day }, |row| {
            self.header_from_row(row)
        })?;
        Ok(headers.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the quote of that number; `Q1` is its first version, and the accepted option or the first.
    ///
    /// # Errors
    /// Refuses a number that isn't one, and one that isn't there.
    pub fn quote(&self, number: &str) -> Result<QuoteRecord> {
        let (series, version) = match number.split_once('.') {
            Some((series, version)) => (
                series,
                Some(version.parse::<i64>().ok().filter(|version| *version > 0)),
            ),
            None => (number, None),
        };
        let (Some((copy, wanted)), None | Some(Some(_))) = (read_number('Q', series), version)
        else {
            return Err(Refusal::new(format!("`{number}` is not a quote number"))
                .hint("quotes are numbered Q1, Q1.2")
                .into());
        };
        let sql = format!(
            "SELECT id FROM quote
             WHERE quote.id >> 40 = :copy AND quote.number = :number AND quote.version = :version AND {STANDS_FOR_IT}"
        );
        let parameters = named_params! { ":copy": copy, ":number": wanted, ":version": version.flatten().unwrap_or(1) };
        let id = self
            .connection
            .prepare_cached(&sql)?
            .query_row(parameters, |row| row.get(0))
            .optional()?;
        match id {
            Some(id) => self.quote_by_id(id),
            None => Err(Refusal::new(format!("no quote {number}"))
                .hint("gritledger quote list")
                .into()),
        }
    }

    /// Returns a quote with all that is shown beside it.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn sheet(&self, record: QuoteRecord) -> Result<QuoteSheet> {
        let outlook = self.outlook_of(&record.header)?;
        Ok(QuoteSheet {
            options: self.compared(&record.header)?,
            shopping: match self.is_over(&record.header)? {
                true => Vec::new(),
                false => self.shopping_for(&outlook)?,
            },
            cancellation: self.cancellation_of(&record.header)?,
            plan: self.plan_of_quote(&record)?,
            record,
            outlook,
        })
    }

    /// Tells whether nothing is bought for a quote any more.
    fn is_over(&self, header: &QuoteHeader) -> Result<bool> {
        Ok(match header.status {
            QuoteStatus::Draft | QuoteStatus::Sent => false,
            QuoteStatus::Declined | QuoteStatus::Expired => true,
            QuoteStatus::Accepted => self.job_of(header.id)?.is_some_and(|job| job.is_closed()),
        })
    }

    /// Returns what the simulation said of a quote when it was drafted.
    ///
    /// # Errors
    /// Refuses what can't be read any more.
    pub fn outlook_of(&self, header: &QuoteHeader) -> Result<Outlook> {
        let kept: String = self
            .connection
            .prepare_cached("SELECT outlook FROM quote WHERE id = :id")?
            .query_row(named_params! { ":id": header.id }, |row| row.get(0))?;
        Ok(kept::read(&kept, &header.row())?)
    }

    /// Returns every option of a quote, in their order, with what the simulation said of each.
    ///
    /// # Errors
    /// Refuses what can't be read any more.
    pub fn compared(&self, header: &QuoteHeader) -> Result<Vec<QuoteOption>> {
        let options = self.options_of(header)?.into_iter();
        let options = options.map(|record| {
            let outlook = self.outlook_of(&record.header)?;
            Ok(QuoteOption { record, outlook })
        });
        options.collect()
    }

    /// Returns the client's right to take back an acceptance of a quote: as it is set, or as it was when it was sent.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn cancellation_of(&self, header: &QuoteHeader) -> Result<Option<Cancellation>> {
        if header.sent_on.is_none() {
            return Ok(self.settings()?.contract_law().cancellation);
        }
        let right = self
            .connection
            .prepare_cached(
                "SELECT cancellation_days, cancellation_source FROM quote_event
                 WHERE quote_id = :quote AND what = 'sent'",
            )?
            .query_row(named_params! { ":quote": header.id }, |row| {
                let days: Option<u32> = row.get("cancellation_days")?;
                let source = row.get("cancellation_source")?;
                Ok(days.map(|days| Cancellation { days, source }))
            })?;
        Ok(right)
    }

    /// Returns every option of a quote, in their order.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn options_of(&self, header: &QuoteHeader) -> Result<Vec<QuoteRecord>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT quote.id FROM quote
             JOIN quote AS this ON this.id >> 40 = quote.id >> 40 AND this.number = quote.number
                  AND this.version = quote.version
             WHERE this.id = :id ORDER BY quote.option",
        )?;
        let ids = statement.query_map(named_params! { ":id": header.id }, |row| row.get(0))?;
        ids.map(|id| self.quote_by_id(id?)).collect()
    }

    /// Returns an option of a quote by its place or name.
    ///
    /// # Errors
    /// Refuses an option that isn't there.
    pub fn option_of(&self, header: &QuoteHeader, option: &str) -> Result<QuoteRecord> {
        let options = self.options_of(header)?;
        let wanted = option.trim();
        let number = |record: &&QuoteRecord| record.header.option.to_string() == wanted;
        if let Some(record) = options.iter().find(number) {
            return Ok(record.clone());
        }
        let named = options.into_iter().map(|record| {
            let name = match record.header.option_name.as_str() {
                "" => AS_DRAFTED.to_owned(),
                name => name.to_owned(),
            };
            (name, record)
        });
        let refusal = || {
            Refusal::new(format!("{} has no option `{wanted}`", header.number))
                .hint(format!("gritledger quote compare {}", header.number))
        };
        names::pick("option", wanted, &named.collect::<Vec<_>>()).map_err(|_| refusal().into())
    }

    /// Returns the quote of that identity.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn quote_by_id(&self, id: QuoteId) -> Result<QuoteRecord> {
        let mut queries = self.quote_queries(Quotes::Themselves)?;
        queries.rows(id.into())?.quote(id)
    }

    pub(super) fn header_from_row(&self, row: &Row<'_>) -> rusqlite::Result<QuoteHeader> {
        let row = &NamedRow::of(row);
        let id: QuoteId = row.get("id")?;
        let version: i64 = row.get("version")?;
        let series = numbered('Q', id.0, row.get("number")?);
        let decision: Option<String> = row.get("decision")?;
        let valid_until: Option<NaiveDate> = row.get("valid_until")?;
        let status = match (decision.as_deref(), valid_until) {
            (Some("accepted"), _) => QuoteStatus::Accepted,
            (Some(_), _) => QuoteStatus::Declined,
            (None, None) => QuoteStatus::Draft,
            (None, Some(last)) if last < self.today() => QuoteStatus::Expired,
            (None, Some(_)) => QuoteStatus::Sent,
        };
        Ok(QuoteHeader {
            id,
            number: if version == 1 {
                series
            } else {
                format!("{series}.{version}")
            },
            option: row.get("option")?,
            option_name: row.get("option_name")?,
            options: row.get("options")?,
            start_on: row.get("start_on")?,
            site_id: row.get("site_id")?,
            site: row.get("site")?,
            client: row.get("client")?,
            client_address: row.get("client_address")?,
            variation_of: row.get("job_id")?,
            status,
            drafted_on: row.get("drafted_on")?,
            sent_on: row.get("sent_on")?,
            valid_until,
            decided_on: row.get("decided_on")?,
            price: row.get("price_minor")?,
            tax: row.get("tax_minor")?,
        })
    }

    /// Returns the rates that a quote was priced with.
    ///
    /// # Errors
    /// Refuses what can't be read any more.
    pub fn rates_of_quote(&self, header: &QuoteHeader) -> Result<Vec<QuotedRate>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT operation_id, kind, floor_condition, species, rate FROM quote_rate WHERE quote_id = :quote",
        )?;
        let mut rows = statement.query(named_params! { ":quote": header.id })?;
        let of = header.row();
        let mut rates = Vec::new();
        while let Some(row) = rows.next()? {
            rates.push(QuotedRate {
                operation: row.get(0)?,
                kind: row.get(1)?,
                class: FloorClass {
                    condition: row.get(2)?,
                    species: row.get(3)?,
                },
                rate: kept::read(row.get_ref(4)?.as_str()?, &of)?,
            });
        }
        Ok(rates)
    }

    /// Returns what a request would offer, before it is priced.
    pub(super) fn offer(
        &self,
        site: &Site,
        request: &DraftRequest,
        rates: &Rates,
    ) -> Result<(Offer, Vec<SkippedGrades>)> {
        let rooms = self.rooms_to_quote(site, request)?;
        let methods = self.methods(request)?;
        let name = |used: Option<&String>| used.cloned();
        let names = (
            name(methods.sequence.as_ref().map(|used| &used.name)),
            name(methods.schedule.as_ref().map(|used| &used.name)),
        );
        let skipped = methods
            .sequence
            .as_ref()
            .map(skipped_grades)
            .unwrap_or_default();
        if let Some(start) = request.start {
            check_day(start, self.today())?;
        }
        let mut measured = self.measured(&rooms)?;
        let agreed = self.agreed_work(request)?;
        leave_out_findings(&mut measured, &agreed, &methods.operations);
        let mut work = take_off(&measured, &methods, rates)?;
        work.retain(|work| !is_set_up_already(work, &agreed));
        if work.is_empty() && request.others.is_empty() {
            refuse!("nothing in it is new: all of it is in the job already");
        }
        let conditions: Vec<_> = rooms.iter().map(|room| room.condition).collect();
        let hazards: Vec<_> = work
            .iter()
            .flat_map(|line| line.operation.hazards.iter().copied())
            .collect();
        let machines = self
            .machines()?
            .into_iter()
            .map(|machine| (machine.id, (machine.name, machine.tariff)));
        let settings = self.settings()?;
        let offer = Offer {
            sequence: names.0,
            schedule: names.1,
            rooms: measured,
            work,
            others: request.others.clone(),
            machines: machines.collect(),
            items: self
                .items()?
                .into_iter()
                .map(|item| (item.id, item.supply()))
                .collect(),
            day_hours: settings.day_hours,
            start: request.start,
            rentals: None,
            cautions: cautions(site.year_built, &conditions, &hazards),
            terms: self.terms(site, request, &settings)?,
            luck: Luck {
                draws: settings.draws,
                seed: seed_of(&site.address),
            },
            stocking: Stocking {
                returnable: settings.buy_confidence_returnable,
                other: settings.buy_confidence,
            },
        };
        Ok((offer, skipped))
    }

    /// Returns the work that the job of a variation has agreed to already.
    fn agreed_work(&self, request: &DraftRequest) -> Result<Vec<WorkLine>> {
        let Some(job) = request.variation_of else {
            return Ok(Vec::new());
        };
        let agreed = self.agreed(&self.job_by_id(job)?)?;
        let quotes = agreed.quotes.iter();
        Ok(quotes
            .flat_map(|record| record.quote.work().cloned())
            .collect())
    }

    /// Returns the methods that a request names, or the settings.
    pub(super) fn methods(&self, request: &DraftRequest) -> Result<Methods> {
        let settings = self.settings()?;
        let chosen = |asked: &Option<String>, default: &str| {
            let name = asked.as_deref().unwrap_or(default);
            (name != "none").then(|| name.to_owned())
        };
        let sequence = chosen(&request.sequence, &settings.default_sequence);
        let schedule = chosen(&request.schedule, &settings.default_schedule);
        Ok(Methods {
            operations: self.operations()?,
            sequence: sequence.map(|name| self.sequence(&name)).transpose()?,
            schedule: schedule.map(|name| self.schedule(&name)).transpose()?,
        })
    }

    fn rooms_to_quote(&self, site: &Site, request: &DraftRequest) -> Result<Vec<Room>> {
        if request.rooms.is_empty() {
            let rooms: Vec<Room> = self
                .rooms_of(site.id)?
                .into_iter()
                .filter(|room| room.refinished)
                .collect();
            if rooms.is_empty() {
                return Err(
                    Refusal::new(format!("`{}` has no rooms to quote", site.address))
                        .hint(adding_a_room(&site.address))
                        .into(),
                );
            }
            return Ok(rooms);
        }
        let mut rooms: Vec<Room> = Vec::new();
        for name in &request.rooms {
            let room = self.room(name, Some(site.id))?;
            if room.site_id != site.id {
                refuse!(
                    "`{}` is at `{}`, not at `{}`",
                    room.name,
                    room.site,
                    site.address
                );
            }
            if rooms.iter().any(|earlier| earlier.id == room.id) {
                refuse!("`{}` is named twice", room.name);
            }
            rooms.push(room);
        }
        Ok(rooms)
    }

    fn terms(&self, site: &Site, request: &DraftRequest, settings: &Settings) -> Result<Terms> {
        let wage = match &request.worker {
            Some(name) => self.currency().decimal(self.worker(name)?.wage),
            None => match self.mean_wage()? {
                Some(wage) => wage,
                None => {
                    return Err(
                        Refusal::new("nobody works here yet, so hours have no price")
                            .hint("gritledger worker add \"NAME\" --wage 28.00")
                            .into(),
                    );
                }
            },
        };
        Ok(Terms {
            margin: request.margin.unwrap_or(settings.margin),
            confidence: request.confidence.unwrap_or(settings.confidence),
            // The least that a job is done for; what is added to a job costs what it costs.
            minimum: match request.variation_of {
                Some(_) => Money::ZERO,
                None => settings.minimum_charge,
            },
            step: settings.price_step,
            wage,
            burden: settings.burden,
            overhead: settings.overhead,
            tax_percent: self.tax_in_force(site.id)?,
        })
    }
}

/// Takes what a job has agreed to repair already off the findings: a variation prices what is new.
fn leave_out_findings(rooms: &mut [MeasuredRoom], agreed: &[WorkLine], operations: &[Operation]) {
    for room in rooms {
        let id = room.id;
        let of_room = || agreed.iter().filter(move |work| work.room == Some(id));
        for found in &mut room.findings {
            let mut answers = operations.iter();
            let answer = answers.find(|known| known.answers.as_ref() == Some(&found.kind));
            let sure = of_room().filter(|work| {
                work.contingency.is_none() && answer.is_some_and(|known| known.id == work.operation)
            });
            let done: Decimal = sure.map(|work| work.quantity).sum();
            found.quantity = (found.quantity - done).max(Decimal::ZERO);
        }
        room.findings.retain(|found| !found.quantity.is_zero());
        room.contingencies.retain(|may| {
            !of_room().any(|work| {
                work.contingency == Some(may.contingency) && work.operation == may.operation
            })
        });
    }
}

/// Returns the rooms in which a variation does again what a job has agreed to do.
fn done_again(quote: &Quote, agreed: &[WorkLine]) -> Vec<String> {
    let is_agreed = |work: &WorkLine| {
        agreed.iter().any(|known| {
            known.room == work.room
                && known.operation == work.operation
                && known.task.name != "repair"
        })
    };
    let rooms = quote.rooms.iter();
    let again = rooms.filter(|room| {
        let mut works = quote.work();
        works.any(|work| work.room == Some(room.id) && is_agreed(work))
    });
    again.map(|room| room.name.clone()).collect()
}

/// Tells whether setting up, for the job or in that room, is part of what a job has agreed already.
fn is_set_up_already(work: &Work, agreed: &[WorkLine]) -> bool {
    work.operation.task.name == SET_UP
        && agreed
            .iter()
            .any(|known| known.room == work.room && known.operation == work.operation.id)
}

/// Where a quote stands among others.
#[derive(Clone, Copy, Debug)]
struct Place<'a> {
    number: i64,
    version: i64,
    option: usize,
    option_name: &'a str,
}

impl Writing<'_> {
    /// Drafts a quote for a site, with its options.
    ///
    /// # Errors
    /// Refuses unknown rooms and methods, a site without rooms, a firm without workers, and a margin of 100 % or more.
    pub fn draft_quote(&self, site: &Site, request: &DraftRequest) -> Result<Drafted> {
        if request.options.len() > MOST_OPTIONS {
            refuse!("a quote has {} options at most", MOST_OPTIONS + 1);
        }
        let rates = self.rates()?;
        let (offer, mut skipped) = self.offer(site, request, &rates)?;
        let mut priced = vec![price(offer, &rates, self.currency())?];
        for option in &request.options {
            let (offer, more) = self.offer(site, &self.changed(site, request, option)?, &rates)?;
            for skip in more {
                if !skipped.contains(&skip) {
                    skipped.push(skip);
                }
            }
            priced.push(price(offer, &rates, self.currency())?);
        }
        let record = self.insert_quotes(site, request, &priced, &rates)?;
        self.log(&format!(
            "Drafted quote {} for {}.",
            record.header.number, site.address
        ))?;
        let agreed = self.agreed_work(request)?;
        Ok(Drafted {
            again: done_again(&record.quote, &agreed),
            sheet: self.sheet(record)?,
            skipped,
        })
    }

    /// Returns what is asked for with an option.
    fn changed(
        &self,
        site: &Site,
        request: &DraftRequest,
        option: &OptionRequest,
    ) -> Result<DraftRequest> {
        let mut rooms = self.rooms_to_quote(site, request)?;
        for name in &option.without {
            let room = self.room(name, Some(site.id))?;
            let Some(place) = rooms.iter().position(|known| known.id == room.id) else {
                refuse!(
                    "`{}` is not in the quote, so no option is without it",
                    room.name
                );
            };
            rooms.remove(place);
        }
        for name in &option.with {
            let room = self.room(name, Some(site.id))?;
            if option
                .without
                .iter()
                .any(|without| names::same(without, name))
            {
                refuse!("`{}` is with `{}` and without it", option.name, room.name);
            }
            if rooms.iter().any(|known| known.id == room.id) {
                refuse!("`{}` is in the quote already", room.name);
            }
            rooms.push(room);
        }
        if rooms.is_empty() {
            refuse!("`{}` leaves no room to be done", option.name);
        }
        let same = |one: &OptionRequest| names::same(&one.name, &option.name);
        if names::same(&option.name, AS_DRAFTED)
            || request.options.iter().filter(|one| same(one)).count() > 1
        {
            refuse!("there are two options called `{}`", option.name);
        }
        Ok(DraftRequest {
            rooms: rooms.into_iter().map(|room| room.name).collect(),
            sequence: option.sequence.clone().or_else(|| request.sequence.clone()),
            schedule: option.schedule.clone().or_else(|| request.schedule.clone()),
            ..request.clone()
        })
    }

    /// Returns the quote of which another is a version or an option, if one of them is accepted.
    fn accepted_of(&self, quote: QuoteId) -> Result<Option<QuoteHeader>> {
        let accepted: Option<QuoteId> = self
            .connection
            .prepare_cached(
                "SELECT other.id FROM quote
                 JOIN quote AS other ON other.number = quote.number AND other.id >> 40 = quote.id >> 40
                 JOIN quote_event ON quote_event.quote_id = other.id AND what = 'accepted'
                 WHERE quote.id = :quote",
            )?
            .query_row(named_params! { ":quote": quote }, |row| row.get(0))
            .optional()?;
        let header = accepted.map(|id| Ok(self.quote_by_id(id)?.header));
        header.transpose()
    }

    /// Refuses to go on with a quote of which a version is accepted: the work is agreed, what changes it is a variation.
    fn refuse_if_agreed(&self, quote: QuoteId) -> Result<()> {
        let Some(accepted) = self.accepted_of(quote)? else {
            return Ok(());
        };
        let refusal = Refusal::new(format!("{} is accepted already", accepted.number));
        Err(self.with_ways_on(refusal, &accepted)?.into())
    }

    /// Adds what can be done with a quote as it stands: with what was agreed, else with its newest version.
    fn with_ways_on(&self, refusal: Refusal, header: &QuoteHeader) -> Result<Refusal> {
        let site = typed(&self.address_of(header.site_id)?);
        if let Some(accepted) = self.accepted_of(header.id)? {
            let job = match accepted.variation_of {
                Some(job) => Some(self.job_by_id(job)?),
                None => self.job_of(accepted.id)?,
            };
            return Ok(match job {
                Some(job) => refusal.hint(format!(
                    "gritledger quote draft {site} --variation-of {}",
                    job.number
                )),
                None => refusal,
            });
        }
        let newest = match self.newer_version(header.id)? {
            Some(newer) => &self.quote_by_id(newer)?.header,
            None => header,
        };
        let number = &newest.number;
        let option = match newest.options {
            0 | 1 => String::new(),
            _ => format!(" --option {}", newest.option),
        };
        let revise = format!("gritledger quote draft {site} --revises {number}");
        Ok(match newest.status {
            QuoteStatus::Draft => refusal.hint(format!("gritledger quote send {number}")),
            QuoteStatus::Sent => refusal
                .hint(format!("gritledger quote accept {number}{option}"))
                .hint(revise),
            QuoteStatus::Expired => refusal
                .hint(format!(
                    "gritledger quote accept {number} --expired{option}"
                ))
                .hint(revise),
            QuoteStatus::Declined => refusal.hint(revise),
            QuoteStatus::Accepted => refusal,
        })
    }

    /// Returns the newest version of a quote, if it is newer.
    fn newer_version(&self, quote: QuoteId) -> Result<Option<QuoteId>> {
        Ok(self
            .connection
            .prepare_cached(
                "SELECT other.id FROM quote
                 JOIN quote AS other ON other.number = quote.number AND other.id >> 40 = quote.id >> 40
                 WHERE quote.id = :quote AND other.version > quote.version ORDER BY other.version DESC LIMIT 1",
            )?
            .query_row(named_params! { ":quote": quote }, |row| row.get(0))
            .optional()?)
    }

    fn next_version(&self, earlier: QuoteId, site: &Site) -> Result<(i64, i64)> {
        self.refuse_if_agreed(earlier)?;
        let (number, newest, site_id): (i64, i64, SiteId) = self.connection.query_row(
            "SELECT quote.number, MAX(other.version) AS newest, quote.site_id
             FROM quote JOIN quote AS other ON other.number = quote.number AND other.id >> 40 = quote.id >> 40
             WHERE quote.id = :id",
            named_params! { ":id": earlier },
            |row| Ok((row.get("number")?, row.get("newest")?, row.get("site_id")?)),
        )?;
        if site_id != site.id {
            refuse!("that quote is for another site");
        }
        Ok((number, newest + 1))
    }

    /// Writes a quote, an option for each way that is priced, and returns the first.
    pub(super) fn insert_quotes(
        &self,
        site: &Site,
        request: &DraftRequest,
        priced: &[Priced],
        rates: &Rates,
    ) -> Result<QuoteRecord> {
        let (number, version) = match request.revises {
            Some(earlier) => self.next_version(earlier, site)?,
            None => (self.new_number("quote")?, 1),
        };
        let first = if request.options.is_empty() {
            ""
        } else {
            AS_DRAFTED
        };
        let names = request.options.iter().map(|option| option.name.as_str());
        let mut ids = Vec::new();
        for (place, (option_name, priced)) in
            std::iter::once(first).chain(names).zip(priced).enumerate()
        {
            let id = QuoteId(self.new_id("quote")?);
            let place = Place {
                number,
                version,
                option: place + 1,
                option_name,
            };
            self.insert_quote(id, place, site, request, priced, rates)?;
            ids.push(id);
        }
        self.quote_by_id(ids[0])
    }

    fn insert_quote(
        &self,
        id: QuoteId,
        place: Place<'_>,
        site: &Site,
        request: &DraftRequest,
        priced: &Priced,
        rates: &Rates,
    ) -> Result<()> {
        let Priced { quote, outlook } = priced;
        let terms = quote.terms;
        self.connection
            .prepare_cached(
                "INSERT INTO quote (id, number, version, option, option_name, site_id, job_id, sequence, schedule,
                                    start_on, margin_micro, confidence_micro, minimum_minor, step_minor, wage_micro,
                                    burden_micro, overhead_micro, tax_micro, price_minor, tax_minor, outlook,
                                    drafted_on, recorded_at)
                 VALUES (:id, :number, :version, :option, :option_name, :site, :job, :sequence, :schedule, :start,
                         :margin, :confidence, :minimum, :step, :wage, :burden, :overhead, :tax_percent, :price, :tax,
                         :outlook, :today, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":number": place.number, ":version": place.version, ":option": position_column(place.option),
                ":option_name": place.option_name, ":site": site.id, ":job": request.variation_of,
                ":sequence": quote.sequence, ":schedule": quote.schedule, ":start": request.start,
                ":margin": Micro(terms.margin), ":confidence": Micro(terms.confidence), ":minimum": terms.minimum,
                ":step": terms.step, ":outlook": kept::text(outlook)?,
                ":wage": Micro(terms.wage), ":burden": Micro(terms.burden), ":overhead": Micro(terms.overhead),
                ":tax_percent": Micro(terms.tax_percent), ":price": quote.price, ":tax": quote.tax,
                ":today": self.today(), ":now": self.now(),
            })?;
        for (position, room) in quote.rooms.iter().enumerate() {
            self.insert_quoted_room(id, position + 1, room)?;
        }
        for (position, line) in quote.lines.iter().enumerate() {
            self.insert_line(id, position + 1, line)?;
        }
        self.insert_quote_rates(id, quote, rates)?;
        for (position, caution) in quote.cautions.iter().enumerate() {
            self.connection
                .prepare_cached(
                    "INSERT INTO quote_caution (quote_id, position, caution, source)
                     VALUES (:quote, :position, :caution, :source)",
                )?
                .execute(named_params! {
                    ":quote": id, ":position": position_column(position + 1), ":caution": caution.text,
                    ":source": caution.source,
                })?;
        }
        Ok(())
    }

    /// Keeps the rates that the quote is priced with: its figures can be explained when the rates have moved on.
    fn insert_quote_rates(&self, id: QuoteId, quote: &Quote, rates: &Rates) -> Result<()> {
        let mut kept = BTreeSet::new();
        for work in quote.work() {
            let Some(class) = quote.class_of(work) else {
                continue;
            };
            let Some(operation) = rates.operations().get(&work.operation) else {
                continue;
            };
            for kind in RateKind::ALL.iter().copied() {
                let row = rates.row_for(operation, kind, class);
                let Some(row) = row.filter(|_| kept.insert((operation.id, kind, class))) else {
                    continue;
                };
                self.connection
                    .prepare_cached(
                        "INSERT INTO quote_rate (quote_id, operation_id, kind, floor_condition, species, rate)
                         VALUES (:quote, :operation, :kind, :condition, :species, :rate)",
                    )?
                    .execute(named_params! {
                        ":quote": id, ":operation": operation.id, ":kind": kind, ":condition": class.condition,
                        ":species": class.species, ":rate": kept::text(&row)?,
                    })?;
            }
        }
        Ok(())
    }

    fn insert_quoted_room(&self, quote: QuoteId, position: usize, room: &QuotedRoom) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO quote_room (id, quote_id, position, room_id, area_micro, edge_micro, steps,
                                         floor_condition, species, price_minor)
                 VALUES (:id, :quote, :position, :room, :area, :edge, :steps, :condition, :species, :price)",
            )?
            .execute(named_params! {
                ":id": self.new_id("quote_room")?, ":quote": quote, ":position": position_column(position),
                ":room": room.id, ":area": Micro(room.area), ":edge": Micro(room.edge), ":steps": room.steps,
                ":condition": room.class.condition, ":species": room.class.species, ":price": room.price,
            })?;
        Ok(())
    }

    fn insert_line(&self, quote: QuoteId, position: usize, line: &Line) -> Result<()> {
        let (kind, what, other_cost) = match line {
            Line::Work(_) => ("work", "", Money::ZERO),
            Line::Rental { cost, .. } => ("rental", "", *cost),
            Line::Opened { cost, .. } => ("opened", "", *cost),
            Line::Other { what, cost } => ("other", what.as_str(), *cost),
            Line::Overhead { cost } => ("overhead", "", *cost),
        };
        let (machine, days, once) = match line {
            Line::Rental {
                machine,
                name,
                days,
                once,
                tariff,
                ..
            } => {
                self.insert_quote_tariff(quote, *machine, tariff)?;
                (Some((*machine, name)), Some(*days), *once)
            }
            _ => (None, None, Money::ZERO),
        };
        let work = if let Line::Work(work) = line {
            Some(work)
        } else {
            None
        };
        let item = work.and_then(|work| work.item.as_ref());
        let contingency = work.and_then(|work| work.contingency);
        let (used, quantity) = match line {
            Line::Opened {
                item,
                name,
                unit,
                left,
                ..
            } => (Some((*item, name, *unit)), Some(*left)),
            _ => (
                item.map(|item| (item.id, &item.name, item.unit)),
                item.map(|item| item.expected),
            ),
        };
        self.connection
            .prepare_cached(
                "INSERT INTO quote_line (id, quote_id, position, kind, room_id, operation_id, operation, task_id, task,
                                         driver, item_id, item, unit, machine_id, machine, what, driver_micro, passes,
                                         chance_micro, low_micro, high_micro, item_micro, load_micro, unit_price_micro,
                                         item_cost_minor, hours_micro, labour_cost_minor,
                                         days_micro, other_cost_minor, once_minor)
                 VALUES (:id, :quote, :position, :kind, :room, :operation, :operation_name, :task, :task_name, :driven_by,
                         :item, :item_name, :unit, :machine, :machine_name, :what, :driver, :passes, :chance, :low, :high,
                         :expected, :load, :unit_price, :item_cost, :hours, :labour, :days, :other_cost, :once)",
            )?
            .execute(named_params! {
                ":id": self.new_id("quote_line")?, ":quote": quote, ":position": position_column(position),
                ":kind": kind, ":room": line.room(), ":operation": work.map(|work| work.operation),
                ":operation_name": work.map(|work| &work.name), ":task": work.map(|work| work.task.id),
                ":task_name": work.map(|work| &work.task.name), ":driven_by": work.map(|work| work.driver),
                ":item": used.map(|(id, ..)| id), ":item_name": used.map(|(_, name, _)| name),
                ":unit": used.map(|(.., unit)| unit), ":machine": machine.map(|(id, _)| id),
                ":machine_name": machine.map(|(_, name)| name), ":what": what,
                ":driver": work.map(|work| Micro(work.quantity)), ":passes": work.map(|work| work.passes),
                ":chance": contingency.map(|contingency| Micro(contingency.chance)),
                ":low": contingency.map(|contingency| Micro(contingency.low)),
                ":high": contingency.map(|contingency| Micro(contingency.high)),
                ":expected": quantity.map(Micro), ":load": item.map(|item| Micro(item.load)),
                ":unit_price": item.map(|item| Micro(item.unit_price)),
                ":item_cost": item.map_or(Money::ZERO, |item| item.cost),
                ":hours": work.map(|work| Micro(work.hours)),
                ":labour": work.map_or(Money::ZERO, |work| work.labour), ":days": days.map(Micro), ":other_cost": other_cost,
                ":once": once,
            })?;
        Ok(())
    }

    /// Keeps the tariff that a rental is priced with: a later one never reaches back.
    fn insert_quote_tariff(
        &self,
        quote: QuoteId,
        machine: MachineId,
        tariff: &Tariff,
    ) -> Result<()> {
        let Tariff {
            half_day,
            day,
            weekend,
            week,
            four_weeks,
            waiver_percent,
            cleaning,
        } = tariff;
        self.connection
            .prepare_cached(
                "INSERT INTO quote_tariff (quote_id, machine_id, half_day_minor, day_minor, weekend_minor, week_minor,
                                           four_weeks_minor, waiver_micro, cleaning_minor)
                 VALUES (:quote, :machine, :half_day, :day, :weekend, :week, :four_weeks, :waiver, :cleaning)",
            )?
            .execute(named_params! {
                ":quote": quote, ":machine": machine, ":half_day": half_day, ":day": day, ":weekend": weekend,
                ":week": week, ":four_weeks": four_weeks, ":waiver": Micro(*waiver_percent), ":cleaning": cleaning,
            })?;
        Ok(())
    }

    /// Sends a draft: from now on it never changes. Returns the last day it can be accepted.
    ///
    /// # Errors
    /// Refuses what isn't a draft.
    pub fn send_quote(&self, header: &QuoteHeader, valid_days: u32) -> Result<NaiveDate> {
        let header = &self.quote_by_id(header.id)?.header;
        if header.status != QuoteStatus::Draft {
            let refusal = Refusal::new(format!(
                "{} is {}, not a draft",
                header.number,
                header.status.as_str()
            ));
            return Err(self.with_ways_on(refusal, header)?.into());
        }
        if let Some(newer) = self.newer_version(header.id)? {
            let newer = self.quote_by_id(newer)?.header.number;
            let refusal = Refusal::new(format!("{newer} replaces {}", header.number));
            return Err(self.with_ways_on(refusal, header)?.into());
        }
        let last = self.today() + Days::new(u64::from(valid_days));
        let right = self.cancellation_of(header)?;
        for option in self.options_of(header)? {
            self.add_sending(&option, last, right.as_ref())?;
        }
        self.log(&format!(
            "Sent quote {} to {}, valid until {last}.",
            header.number, header.client
        ))?;
        Ok(last)
    }

    /// Accepts an option of a sent quote: it becomes a job, or changes the job it is a variation of. The other options
    /// are declined with it.
    ///
    /// # Errors
    /// Refuses what wasn't sent, what was decided already, and what expired unless `late` honours it.
    pub fn accept_quote(&self, header: &QuoteHeader, late: bool) -> Result<JobId> {
        let header = &self.quote_by_id(header.id)?.header;
        match header.status {
            QuoteStatus::Sent => {}
            QuoteStatus::Expired if late => {}
            QuoteStatus::Expired => {
                let refusal = Refusal::new(format!("{} expired", header.number));
                return Err(self.with_ways_on(refusal, header)?.into());
            }
            QuoteStatus::Draft => {
                let refusal = Refusal::new(format!("{} was not sent", header.number));
                return Err(self.with_ways_on(refusal, header)?.into());
            }
            QuoteStatus::Accepted | QuoteStatus::Declined => {
                // An option is declined when another is accepted: that one is worth naming.
                self.refuse_if_agreed(header.id)?;
                let status = header.status.as_str();
                let refusal = Refusal::new(format!("{} was {status} already", header.number));
                return Err(self.with_ways_on(refusal, header)?.into());
            }
        }
        self.refuse_if_agreed(header.id)?;
        if let Some(newer) = self.newer_version(header.id)? {
            let newer = self.quote_by_id(newer)?.header;
            if newer.status != QuoteStatus::Draft {
                let refusal = Refusal::new(format!(
                    "{} was sent after {}, and stands in its place",
                    newer.number, header.number
                ));
                return Err(self.with_ways_on(refusal, header)?.into());
            }
        }
        for option in self.options_of(header)? {
            let id = option.header.id;
            let answer = if id == header.id {
                "accepted"
            } else {
                "declined"
            };
            self.add_answer(id, answer)?;
        }
        match header.variation_of {
            Some(job) => {
                self.log(&format!(
                    "Accepted quote {} as a variation of {}.",
                    header.number,
                    self.job_by_id(job)?.number
                ))?;
                Ok(job)
            }
            None => {
                let job = self.open_job(header.site_id, AgreedBy::Quote(header.id))?;
                self.log(&format!(
                    "Accepted quote {}: it is {} now.",
                    header.number,
                    self.job_by_id(job)?.number
                ))?;
                Ok(job)
            }
        }
    }

    /// Notes that the client declined.
    ///
    /// # Errors
    /// Refuses what wasn't sent and what was decided already.
    pub fn decline_quote(&self, header: &QuoteHeader) -> Result<()> {
        let header = &self.quote_by_id(header.id)?.header;
        if !matches!(header.status, QuoteStatus::Sent | QuoteStatus::Expired) {
            refuse!(
                "{} is {}: only a sent quote can be declined",
                header.number,
                header.status.as_str()
            );
        }
        for option in self.options_of(header)? {
            self.add_answer(option.header.id, "declined")?;
        }
        self.log(&format!("Quote {} was declined.", header.number))
    }

    /// Notes that an option was sent, with a copy of every word in it that somebody may change later.
    fn add_sending(
        &self,
        option: &QuoteRecord,
        last: NaiveDate,
        right: Option<&Cancellation>,
    ) -> Result<()> {
        let (id, header) = (self.new_id("quote_event")?, &option.header);
        self.connection
            .prepare_cached(
                "INSERT INTO quote_event (id, quote_id, what, valid_until, client, client_address, site,
                                          cancellation_days, cancellation_source, happened_on, recorded_at)
                 VALUES (:id, :quote, 'sent', :last, :client, :client_address, :site, :days, :source, :today, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":quote": header.id, ":last": last, ":client": header.client,
                ":client_address": header.client_address, ":site": header.site,
                ":days": right.map(|right| right.days), ":source": right.and_then(|right| right.source.as_ref()),
                ":today": self.today(), ":now": self.now(),
            })?;
        for room in &option.quote.rooms {
            self.connection
                .prepare_cached(
                    "INSERT INTO sent_room (quote_event_id, room_id, name) VALUES (:event, :room, :name)",
                )?
                .execute(named_params! { ":event": id, ":room": room.id, ":name": room.name })?;
        }
        Ok(())
    }

    fn add_answer(&self, quote: QuoteId, answer: &str) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO quote_event (id, quote_id, what, happened_on, recorded_at)
                 VALUES (:id, :quote, :answer, :today, :now)",
            )?
            .execute(named_params! {
                ":id": self.new_id("quote_event")?, ":quote": quote, ":answer": answer, ":today": self.today(),
                ":now": self.now(),
            })?;
        Ok(())
    }
}

/// Positions are counted in memory and kept as SQLite integers.
fn position_column(position: usize) -> i64 {
    i64::try_from(position).expect("a quote has fewer lines than 2^63")
}
