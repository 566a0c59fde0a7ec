//! Quotes: drafted once, then sent, accepted or declined.

use anyhow::Result;
use chrono::{Days, NaiveDate};
use rusqlite::{OptionalExtension, Params, named_params};

use super::columns::{NamedRow, names_of_columns};
use super::names::{KnownBy, Names, by_client_or_site};
use super::offer::{done_again, works_again};
use super::quote_rows::QuotePlace;
use super::quoted::Quotes;
use super::{
    AS_DRAFTED, AgreedBy, DraftRequest, JudgedRoom, KeptPlan, Ledger, Letterhead, Refusal, Site,
    ToBuy, Varied, Writing, kept, numbered, read_number, refuse, typed,
};
use crate::money::{Decimal, Money};
use crate::trade::contract::Cancellation;
use crate::trade::pricing::price;
use crate::trade::quote::{Outlook, Priced, Quote, QuotedRoom, WorkLine};
use crate::trade::rates::{FloorClass, RateKind, RateRow, Rates};
use crate::trade::{JobId, OperationId, QuoteId, RoomId, SiteId, closed_set};

/// The most options that a quote has beside the first.
const MOST_OPTIONS: usize = 9;

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

closed_set! {
    /// Where a quote stands.
    QuoteStatus, "status of a quote" {
        /// Not sent yet.
        Draft = "draft",
        /// Sent, and open until its last day.
        Sent = "sent",
        /// Sent, and past its last day.
        Expired = "expired",
        /// Accepted.
        Accepted = "accepted",
        /// Declined.
        Declined = "declined",
        /// Taken back by the firm before anybody answered, or a draft thrown away.
        Withdrawn = "withdrawn",
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
    /// Why no tax is asked of the client; empty: it is. As it was when it was sent.
    pub exemption: String,
    /// The job that it is a variation of.
    pub variation_of: Option<JobId>,
    /// The quote at whose rates and prices it changes what is agreed; `None`: it is priced by itself.
    pub varies: Option<QuoteId>,
    /// It is the plan of work on the owner's own floors, at cost.
    pub own: bool,
    /// Where it stands today.
    pub status: QuoteStatus,
    /// When it was drafted.
    pub drafted_on: NaiveDate,
    /// When it was sent.
    pub sent_on: Option<NaiveDate>,
    /// The last day it can be accepted.
    pub valid_until: Option<NaiveDate>,
    /// When it was accepted, declined or withdrawn.
    pub decided_on: Option<NaiveDate>,
    /// The newest version, if that is a newer one.
    pub replaced_by: Option<String>,
    /// The price before tax.
    pub price: Money,
    /// Tax on the price.
    pub tax: Money,
    /// What price and tax are short of a total that is told with tax.
    pub rounding: Money,
}

impl QuoteHeader {
    /// Returns what is to be paid: price, tax and rounding.
    pub fn total(&self) -> Money {
        self.price + self.tax + self.rounding
    }

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

impl QuoteRecord {
    /// Tells whether it does work in a room: what a variation takes away is less than nothing.
    pub(super) fn does(&self, room: RoomId) -> bool {
        let mut work = self.quote.work();
        work.any(|work| work.room == Some(room) && work.quantity > Decimal::ZERO)
    }
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
    /// What the floors of a draft say today; none of a quote that was sent, or that changes what is agreed.
    pub floors: Vec<JudgedRoom>,
    /// The plan that it was drafted from, as it stands; `None`: there is none.
    pub plan: Option<KeptPlan>,
    /// The client's right to take back an acceptance: as it is set, or as it was when the quote was sent.
    pub cancellation: Option<Cancellation>,
    /// What it changes; `None`: it is priced by itself.
    pub varied: Option<Varied>,
    /// The firm, as it was sent with, or as it would be today.
    pub firm: Letterhead,
    /// The working days that its hours take the crew: those of its plan, or as many as they fill, in half days.
    pub days: Decimal,
}

/// A draft that was just made, and what its owner should know.
#[derive(Clone, Debug)]
pub struct Drafted {
    /// The quote.
    pub sheet: QuoteSheet,
    /// What is unusual in how rooms are sanded.
    pub warnings: Vec<String>,
    /// Rooms of a variation that the job sands or coats already, and that are priced to be done again.
    pub again: Vec<String>,
}

/// What a quote is beside others, as a query says it of each.
pub(super) const HEADER_COLUMNS: &str = "
           quote.id, quote.number, quote.version, quote.option, quote.option_name, quote.start_on, quote.site_id,
           quote.job_id, quote.varies_id, quote.own, quote.drafted_on, quote.price_minor, quote.tax_minor, quote.rounding_minor,
           COALESCE(sent.site, site.address) AS site, COALESCE(sent.client, client.name) AS client,
           COALESCE(sent.client_address, client.address) AS client_address,
           COALESCE(sent.exemption, client.exempt) AS exemption,
           (SELECT COUNT(*) FROM quote AS other WHERE other.id >> 40 = quote.id >> 40 AND other.number = quote.number
                   AND other.version = quote.version) AS options,
           (SELECT MAX(newer.version) FROM quote AS newer
            WHERE newer.id >> 40 = quote.id >> 40 AND newer.number = quote.number AND newer.version > quote.version
                  AND NOT EXISTS (SELECT 1 FROM quote_event WHERE quote_id = newer.id AND what = 'withdrawn')) AS newer,
           sent.happened_on AS sent_on, sent.valid_until, decided.what AS decision, decided.happened_on AS decided_on";

/// Where that is joined from.
pub(super) const HEADER_PARTS: &str = "
    JOIN site ON site.id = quote.site_id
    JOIN client ON client.id = site.client_id
    LEFT JOIN quote_event AS sent ON sent.quote_id = quote.id AND sent.what = 'sent'
    LEFT JOIN quote_event AS decided ON decided.quote_id = quote.id AND decided.what <> 'sent'";

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
        self.headers("TRUE", [])
    }

    fn quotes_at(&self, site: SiteId) -> Result<Vec<QuoteHeader>> {
        self.headers("quote.site_id = :site", named_params! { ":site": site })
    }

    /// Returns the quotes that can be answered on a day or after it, oldest first; answered ones too.
    pub(super) fn quotes_valid_on(&self, day: NaiveDate) -> Result<Vec<QuoteHeader>> {
        self.headers(
            "quote.id IN (SELECT quote_id FROM quote_event WHERE what = 'sent' AND valid_until >= :day)",
            named_params! { ":day": day },
        )
    }

    /// Returns the quotes of a condition, oldest first.
    fn headers(&self, which: &str, values: impl Params) -> Result<Vec<QuoteHeader>> {
        let sql = format!(
            "SELECT {HEADER_COLUMNS} FROM quote {HEADER_PARTS}
             WHERE {which} AND {STANDS_FOR_IT} ORDER BY quote.id"
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let names = names_of_columns(&statement);
        let headers = statement.query_map(values, |row| {
            self.header_from_row(&NamedRow::with_names(row, &names))
        })?;
        Ok(headers.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the quote of that number, or of a client or site; `Q1` is its first version, and the accepted option or the
    /// first.
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
            let quotes = self.quotes()?;
            let meant = by_client_or_site("quote", number, &quotes, |header| KnownBy {
                number: &header.number,
                client: &header.client,
                site: &header.site,
                is_over: !matches!(header.status, QuoteStatus::Draft | QuoteStatus::Sent),
            });
            if let Some(header) = meant? {
                return self.quote_by_id(header.id);
            }
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
        let (outlook, varied) = (self.outlook_of(&record.header)?, self.varied(&record)?);
        let plan = self.plan_of_quote(&record)?;
        let half_days = record.quote.hours() / self.settings()?.crew_hours * Decimal::TWO;
        let planned = plan.as_ref().map(|kept| kept.plan.days_of_work());
        Ok(QuoteSheet {
            days: planned.map_or(half_days.ceil() / Decimal::TWO, Decimal::from),
            options: self.compared(&record.header)?,
            shopping: match self.is_over(&record.header)? || record.header.varies.is_some() {
                true => Vec::new(),
                false => self.shopping_for(&record.quote, &outlook)?,
            },
            floors: match record.header.status {
                QuoteStatus::Draft if varied.is_none() => self.judged_for(&record)?,
                _ => Vec::new(),
            },
            cancellation: self.cancellation_of(&record.header)?,
            plan,
            firm: self.sender(&record.header)?,
            varied,
            record,
            outlook,
        })
    }

    /// Returns what a quote says of the firm: as it was sent, or as it would be today.
    fn sender(&self, header: &QuoteHeader) -> Result<Letterhead> {
        let sent: Option<Option<i64>> = self
            .connection
            .prepare_cached(
                "SELECT letterhead_id FROM quote_event WHERE quote_id = :quote AND what = 'sent'",
            )?
            .query_row(named_params! { ":quote": header.id }, |row| row.get(0))
            .optional()?;
        self.letterhead_of(sent.flatten())
    }

    /// Tells whether nothing is bought for a quote any more.
    fn is_over(&self, header: &QuoteHeader) -> Result<bool> {
        Ok(match header.status {
            QuoteStatus::Draft | QuoteStatus::Sent => false,
            QuoteStatus::Declined | QuoteStatus::Expired | QuoteStatus::Withdrawn => true,
            QuoteStatus::Accepted => self.job_of(header.id)?.is_some_and(|job| job.is_over()),
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
        if header.sent_on.is_none() && header.status == QuoteStatus::Accepted {
            // Nobody was sent the plan of one's own floors.
            return Ok(None);
        }
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
        let options = Names::new("option", named);
        options.find(wanted).cloned().map_err(|_| refusal().into())
    }

    /// Returns the quote of that identity.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn quote_by_id(&self, id: QuoteId) -> Result<QuoteRecord> {
        let mut queries = self.quote_queries(Quotes::Themselves)?;
        queries.rows(id.into())?.quote(id)
    }

    pub(super) fn header_from_row(&self, row: &NamedRow<'_>) -> rusqlite::Result<QuoteHeader> {
        let id: QuoteId = row.get("id")?;
        let version: i64 = row.get("version")?;
        let series = numbered('Q', id.0, row.get("number")?);
        let decision: Option<String> = row.get("decision")?;
        let valid_until: Option<NaiveDate> = row.get("valid_until")?;
        let status = match (decision.as_deref(), valid_until) {
            (Some("accepted"), _) => QuoteStatus::Accepted,
            (Some("withdrawn"), _) => QuoteStatus::Withdrawn,
            (Some(_), _) => QuoteStatus::Declined,
            (None, None) => QuoteStatus::Draft,
            (None, Some(last)) if last < self.today() => QuoteStatus::Expired,
            (None, Some(_)) => QuoteStatus::Sent,
        };
        let newer: Option<i64> = row.get("newer")?;
        Ok(QuoteHeader {
            id,
            replaced_by: newer.map(|newer| format!("{series}.{newer}")),
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
            exemption: row.get("exemption")?,
            variation_of: row.get("job_id")?,
            varies: row.get("varies_id")?,
            own: row.get("own")?,
            status,
            drafted_on: row.get("drafted_on")?,
            sent_on: row.get("sent_on")?,
            valid_until,
            decided_on: row.get("decided_on")?,
            price: row.get("price_minor")?,
            tax: row.get("tax_minor")?,
            rounding: row.get("rounding_minor")?,
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
        if let Some(job) = request.variation_of {
            let job = self.job_by_id(job)?;
            self.refuse_cancelled(&job, "nothing is added to it")?;
            if job.own {
                let own = format!(
                    "{} is work on your own floors: other rooms are a job of their own",
                    job.number
                );
                return Err(Refusal::new(own)
                    .hint(format!("gritledger job own {}", typed(&site.address)))
                    .into());
            }
        }
        let rates = self.rates()?;
        let (offer, mut warnings) = self.offer(site, request, &rates)?;
        let mut priced = vec![price(offer, &rates, self.currency())?];
        for option in &request.options {
            let (offer, more) = self.offer(site, &self.changed(site, request, option)?, &rates)?;
            for warning in more {
                if !warnings.contains(&warning) {
                    warnings.push(warning);
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
            warnings,
        })
    }

    /// Returns the rooms in which a variation that is priced by itself does again what its job has agreed by now. What
    /// repairs is sold again only by what was agreed since: a draft leaves out what was sold before it.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn agreed_again(&self, header: &QuoteHeader) -> Result<Vec<String>> {
        let request = DraftRequest {
            variation_of: header.variation_of.filter(|_| header.varies.is_none()),
            ..DraftRequest::default()
        };
        let quote = self.quote_by_id(header.id)?.quote;
        let mut again = done_again(&quote, &self.agreed_work(&request)?);
        for since in self.agreed_since(header)? {
            let work: Vec<WorkLine> = self.quote_by_id(since)?.quote.work().cloned().collect();
            again.extend(works_again(&quote, &work));
        }
        again.sort();
        again.dedup();
        Ok(again)
    }

    /// Returns the variations of a job that were accepted after one was sent, or drafted after it, and are priced by
    /// themselves like it.
    fn agreed_since(&self, header: &QuoteHeader) -> Result<Vec<QuoteId>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT other.id FROM quote AS other
             JOIN quote_event AS accepted ON accepted.quote_id = other.id AND accepted.what = 'accepted'
             WHERE other.job_id = :job AND other.varies_id IS NULL AND other.id <> :id
                   AND (other.id > :id
                        OR accepted.id > (SELECT id FROM quote_event WHERE quote_id = :id AND what = 'sent'))",
        )?;
        let job = header.variation_of.filter(|_| header.varies.is_none());
        let of = named_params! { ":job": job, ":id": header.id };
        let ids = statement.query_map(of, |row| row.get(0))?;
        Ok(ids.collect::<rusqlite::Result<_>>()?)
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
                Some(job) if job.own => refusal.hint(format!("gritledger job own {site}")),
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
        let revise = match self.vary_again(newest)? {
            Some(again) => again,
            None => format!("gritledger quote draft {site} --revises {number}"),
        };
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
            QuoteStatus::Declined | QuoteStatus::Withdrawn => refusal.hint(revise),
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
                 WHERE quote.id = :quote AND other.version > quote.version
                       AND NOT EXISTS (SELECT 1 FROM quote_event WHERE quote_id = other.id AND what = 'withdrawn')
                 ORDER BY other.version DESC LIMIT 1",
            )?
            .query_row(named_params! { ":quote": quote }, |row| row.get(0))
            .optional()?)
    }

    fn next_version(&self, earlier: QuoteId, site: &Site) -> Result<(i64, i64)> {
        self.refuse_if_agreed(earlier)?;
        let earlier_header = self.quote_by_id(earlier)?.header;
        if let Some(again) = self.vary_again(&earlier_header)? {
            let refusal = format!(
                "{} changes a job: it is drafted anew, by another number",
                earlier_header.number
            );
            return Err(Refusal::new(refusal).hint(again).into());
        }
        let (number, newest, site_id): (i64, i64, SiteId) = self.connection.query_row(
            "SELECT quote.number, MAX(other.version) AS newest, quote.site_id
             FROM quote JOIN quote AS other ON other.number = quote.number AND other.id >> 40 = quote.id >> 40
             WHERE quote.id = :id",
            named_params! { ":id": earlier },
            |row| Ok((row.get("number")?, row.get("newest")?, row.get("site_id")?)),
        )?;
        if site_id != site.id {
            let (quote, own) = (numbered('Q', earlier.0, number), self.address_of(site_id)?);
            return Err(Refusal::new(format!(
                "{quote} is for `{own}`, not for `{}`",
                site.address
            ))
            .hint(format!(
                "gritledger quote draft {} --revises {quote}",
                typed(&own)
            ))
            .into());
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
        let options = (1..).zip(std::iter::once(first).chain(names)).zip(priced);
        let mut ids = Vec::new();
        for ((option, option_name), priced) in options {
            let id = QuoteId(self.new_id("quote")?);
            let place = QuotePlace {
                id,
                number,
                version,
                option,
                option_name,
                varies: None,
            };
            self.insert_quote(&place, site, request, priced, rates)?;
            ids.push(id);
        }
        self.quote_by_id(ids[0])
    }

    /// Sends a draft: from now on it never changes. Returns the last day it can be accepted.
    ///
    /// # Errors
    /// Refuses what isn't a draft, and work that would grind what holds asbestos or lead.
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
        self.refuse_if_overtaken(header)?;
        for option in self.options_of(header)? {
            self.refuse_void(&option)?;
            self.refuse_hazards(&option)?;
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
            QuoteStatus::Accepted | QuoteStatus::Declined | QuoteStatus::Withdrawn => {
                // An option is declined when another is accepted: that one is worth naming.
                self.refuse_if_agreed(header.id)?;
                let status = header.status.as_str();
                let refusal = Refusal::new(format!("{} was {status} already", header.number));
                return Err(self.with_ways_on(refusal, header)?.into());
            }
        }
        self.refuse_if_agreed(header.id)?;
        if let Some(job) = header.variation_of {
            self.refuse_cancelled(&self.job_by_id(job)?, "nothing is added to it")?;
            self.refuse_if_overtaken(header)?;
        }
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
        self.refuse_void(&self.quote_by_id(header.id)?)?;
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

    /// Takes a sent quote back before it is answered, or throws a draft away.
    ///
    /// # Errors
    /// Refuses what was decided already.
    pub fn withdraw_quote(&self, header: &QuoteHeader) -> Result<()> {
        let header = &self.quote_by_id(header.id)?.header;
        match header.status {
            QuoteStatus::Draft | QuoteStatus::Sent | QuoteStatus::Expired => {}
            QuoteStatus::Accepted => {
                let refusal = Refusal::new(format!("{} is accepted", header.number));
                return Err(match self.job_of(header.id)? {
                    Some(job) if !job.is_over() => {
                        let why = match job.own {
                            true => "not now",
                            false => "the client withdrew",
                        };
                        refusal.hint(format!(
                            "gritledger job cancel {} --reason \"{why}\"",
                            job.number
                        ))
                    }
                    _ => refusal,
                }
                .into());
            }
            QuoteStatus::Declined | QuoteStatus::Withdrawn => {
                let status = header.status.as_str();
                refuse!("{} was {status} already", header.number);
            }
        }
        for option in self.options_of(header)? {
            self.add_answer(option.header.id, "withdrawn")?;
        }
        self.log(&format!("Withdrew quote {}.", header.number))
    }

    /// Returns the quotes of a site that wait to be sent or answered and that nothing replaces, but those of one series.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn other_open_quotes(&self, header: &QuoteHeader) -> Result<Vec<QuoteHeader>> {
        let series = |number: &str| number.split('.').next().map(str::to_owned);
        let mut quotes = self.quotes_at(header.site_id)?;
        quotes.retain(|other| {
            matches!(other.status, QuoteStatus::Draft | QuoteStatus::Sent)
                && other.replaced_by.is_none()
                && other.variation_of.is_none()
                && series(&other.number) != series(&header.number)
        });
        Ok(quotes)
    }

    /// Refuses to take a site or one of its rooms out of use while a quote for it may still be sent or accepted.
    pub(super) fn refuse_quoted(
        &self,
        site: SiteId,
        room: Option<RoomId>,
        name: &str,
    ) -> Result<()> {
        let mut holding = Vec::new();
        for header in self.quotes_at(site)? {
            let is_open = matches!(header.status, QuoteStatus::Draft | QuoteStatus::Sent);
            if !is_open || header.replaced_by.is_some() {
                continue;
            }
            let options = self.options_of(&header)?;
            let does = |room| options.iter().any(|option| option.does(room));
            if room.is_none_or(does) {
                holding.push(header);
            }
        }
        if holding.is_empty() {
            return Ok(());
        }
        let named = holding.iter();
        let named = named.map(|header| format!("{} ({})", header.number, header.status.as_str()));
        let named: Vec<String> = named.collect();
        let refusal = Refusal::new(format!("`{name}` is quoted in {}", named.join(", ")));
        let withdraw =
            |header: &QuoteHeader| format!("gritledger quote withdraw {}", header.number);
        let hints = holding.iter().map(withdraw);
        Err(hints.fold(refusal, Refusal::hint).into())
    }

    /// Refuses a quote for a site that is out of use, or for a room that is.
    fn refuse_void(&self, record: &QuoteRecord) -> Result<()> {
        let QuoteRecord { header, quote } = record;
        let rooms = match self.site_in_use(header.site_id)? {
            Some(site) => self.rooms_of(site.id)?,
            None => return Err(out_of_use(&header.site, &header.number)),
        };
        let is_void = |room: &&QuotedRoom| {
            record.does(room.id) && rooms.iter().all(|known| known.id != room.id)
        };
        match quote.rooms.iter().find(is_void) {
            Some(room) => Err(out_of_use(&room.name, &header.number)),
            None => Ok(()),
        }
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
                "INSERT INTO quote_event (id, quote_id, what, valid_until, client, client_address, site, letterhead_id, exemption,
                                          cancellation_days, cancellation_source, happened_on, recorded_at)
                 VALUES (:id, :quote, 'sent', :last, :client, :client_address, :site, :letterhead, :exemption, :days, :source, :today, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":quote": header.id, ":last": last, ":client": header.client,
                ":client_address": header.client_address, ":site": header.site,
                ":letterhead": self.keep_letterhead()?, ":exemption": header.exemption, ":days": right.map(|right| right.days), ":source": right.and_then(|right| right.source.as_ref()),
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

    pub(super) fn add_answer(&self, quote: QuoteId, answer: &str) -> Result<()> {
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

/// Refuses what is quoted for a place that is out of use.
fn out_of_use(place: &str, number: &str) -> anyhow::Error {
    Refusal::new(format!("`{place}` is out of use, and {number} is for it"))
        .hint(format!("gritledger quote withdraw {number}"))
        .into()
}
