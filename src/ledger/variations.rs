//! Variations that change agreed work, drafted from what stands of the quotes that it was agreed with.
//!
//! Work that was agreed with several quotes is changed by as many variations, each at the terms of its own.

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Result;
use rusqlite::{OptionalExtension, named_params};

use super::columns::NamedRow;
use super::names::Names;
use super::quote_lines::LineRow;
use super::quote_rows::QuotePlace;
use super::quoted::{IS_ACCEPTED, STANDING, TARIFF, TARIFF_COLUMNS, line_from_row};
use super::{
    DraftRequest, Job, Ledger, QuoteHeader, QuoteRecord, QuotedRate, Refusal, Room, Writing,
    refuse, typed,
};
use crate::money::{Decimal, Money};
use crate::trade::operation::Operation;
use crate::trade::parts::MeasuredPart;
use crate::trade::quote::{Line, Outlook, Priced, Quote, QuotedRoom, Terms, WorkLine, work_of};
use crate::trade::rates::{FloorClass, RateKind, RateRow};
use crate::trade::takeoff::MeasuredRoom;
use crate::trade::tax::TaxedCosts;
use crate::trade::variation::{Agreed, Fate, Renting, Variation, measured_again, outlook, vary};
use crate::trade::{FloorCondition, OperationId, QuoteId, RoomId};

/// What of a job is to be changed.
#[derive(Clone, Debug, Default)]
pub struct VaryRequest {
    /// Rooms, by name, that are to be done as they measure now.
    pub again: Vec<String>,
    /// What isn't to be done.
    pub without: Vec<Without>,
}

/// Work of a room that isn't to be done.
#[derive(Clone, Debug)]
pub struct Without {
    /// The room, by name.
    pub room: String,
    /// Its operations, by name; none: all of them.
    pub operations: Vec<String>,
}

/// What a variation changes, and what stays as it was.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Varied {
    /// The job's number.
    pub job: String,
    /// The number of the quote at whose rates and prices it does.
    pub quote: String,
    /// Machines that are rented for as long as they were.
    pub as_long: Vec<String>,
    /// The minimum charge of the quote, if that keeps more from being taken off.
    pub minimum: Option<Money>,
}

/// A line that stands.
struct StandingLine {
    id: i64,
    /// The quote at whose rates and prices it was agreed.
    by: QuoteId,
    line: Line,
}

/// What becomes of the rooms of a job.
struct Wish {
    again: Vec<(Room, MeasuredRoom)>,
    /// `None`: all that is done in the room.
    without: BTreeMap<RoomId, Option<BTreeSet<OperationId>>>,
}

impl Wish {
    fn falls_away(&self, room: RoomId, operation: OperationId) -> bool {
        self.without.get(&room).is_some_and(|operations| {
            operations
                .as_ref()
                .is_none_or(|operations| operations.contains(&operation))
        })
    }

    fn measured(&self, room: RoomId) -> Option<&MeasuredRoom> {
        let mut again = self.again.iter().map(|(_, measured)| measured);
        again.find(|measured| measured.id == room)
    }
}

impl Ledger {
    /// Returns what a variation changes; `None`: it is priced by itself.
    pub(super) fn varied(&self, record: &QuoteRecord) -> Result<Option<Varied>> {
        let QuoteRecord { header, quote } = record;
        let (Some(by), Some(job)) = (header.varies, header.variation_of) else {
            return Ok(None);
        };
        let by = self.quote_by_id(by)?;
        let machine = |line: &Line| match line {
            Line::Rental { machine, name, .. } => Some((*machine, name.clone())),
            _ => None,
        };
        let changed: Vec<_> = quote.replaced.iter().filter_map(machine).collect();
        let rented = by.quote.lines.iter().filter_map(machine);
        let as_long = rented.filter(|(id, _)| changed.iter().all(|(changed, _)| changed != id));
        // More than a cent beside the share of its cost isn't rounding.
        let [cost, quoted] = [quote.expected_cost(), by.quote.expected_cost()];
        let [cost, quoted] = [cost, quoted].map(|cost| Decimal::from(cost.minor()));
        let share = match quoted.is_zero() {
            true => quote.price,
            false => by.quote.price.share(cost, quoted),
        };
        let held = (share - quote.price).abs() > Money::from_minor(1);
        Ok(Some(Varied {
            job: self.job_by_id(job)?.number,
            quote: by.header.number,
            as_long: as_long.map(|(_, name)| name).collect(),
            minimum: held.then_some(by.quote.terms.minimum),
        }))
    }

    /// Returns the lines that stand of what was agreed for a job.
    fn standing_lines(&self, job: &Job) -> Result<Vec<StandingLine>> {
        let sql = format!(
            "SELECT COALESCE(quote.varies_id, quote.id) AS by_quote, quote_line.id AS line_id, {}, {TARIFF_COLUMNS}
             FROM quote {STANDING}{TARIFF}
             WHERE (quote.id = :quote OR quote.job_id = :job) AND {IS_ACCEPTED}
             ORDER BY quote.id, position",
            LineRow::COLUMNS
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let of = named_params! { ":quote": job.quote_id, ":job": job.id };
        let lines = statement.query_map(of, |row| {
            let row = &NamedRow::of(row);
            Ok(StandingLine {
                by: row.get("by_quote")?,
                id: row.get("line_id")?,
                line: line_from_row(row)?,
            })
        })?;
        Ok(lines.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns what was logged on a job of work that isn't to be done any more: the numbers of its entries, room by room.
    ///
    /// # Errors
    /// Refuses unknown rooms and operations.
    pub fn logged_on(
        &self,
        job: &Job,
        request: &VaryRequest,
    ) -> Result<Vec<(String, Vec<String>)>> {
        let wish = self.wish(job, &self.standing_lines(job)?, request)?;
        let entries = self.day_book_of(job)?.entries;
        let mut found: BTreeMap<RoomId, Vec<String>> = BTreeMap::new();
        for logged in self.logged(job)? {
            let operation = logged.what.operation();
            for (room, operations) in &wish.without {
                let is_meant = match (operations, operation) {
                    (None, _) => true,
                    (Some(_), None) => false,
                    (Some(operations), Some(operation)) => operations.contains(&operation),
                };
                let entry = entries.iter().find(|entry| entry.id == logged.entry);
                if let Some(entry) = entry.filter(|_| is_meant && logged.rooms.contains(room)) {
                    let numbers = found.entry(*room).or_default();
                    if !numbers.contains(&entry.number) {
                        numbers.push(entry.number.clone());
                    }
                }
            }
        }
        let names = self.room_names_of(job.id)?;
        let named = found
            .into_iter()
            .map(|(room, numbers)| (names.get(&room).cloned().unwrap_or_default(), numbers));
        Ok(named.collect())
    }

    /// Finds what is meant by the names of a request.
    fn wish(&self, job: &Job, standing: &[StandingLine], request: &VaryRequest) -> Result<Wish> {
        if job.quote_id.is_none() {
            refuse!(
                "{} is from before the ledger: it has no quote to change",
                job.number
            );
        }
        let in_job = |name: &str| -> Result<Room> {
            let room = self.room(name, Some(job.site_id))?;
            match standing
                .iter()
                .any(|stands| stands.line.room() == Some(room.id))
            {
                true => Ok(room),
                false => Err(Refusal::new(format!(
                    "nothing is agreed in `{}` by {}, so nothing of it is changed",
                    room.name, job.number
                ))
                .hint(format!(
                    "gritledger quote draft {} --variation-of {} --room {}",
                    typed(&job.site),
                    job.number,
                    typed(&room.name)
                ))
                .into()),
            }
        };
        let rooms: Vec<Room> = request
            .again
            .iter()
            .map(|name| in_job(name))
            .collect::<Result<_>>()?;
        let measured = self.measured(&rooms)?;
        let again: Vec<(Room, MeasuredRoom)> = rooms.into_iter().zip(measured).collect();
        let mut without: BTreeMap<RoomId, Option<BTreeSet<OperationId>>> = BTreeMap::new();
        for Without { room, operations } in &request.without {
            let room = in_job(room)?;
            if operations.is_empty() {
                if again.iter().any(|(other, _)| other.id == room.id) {
                    refuse!("`{}` can't be measured again and taken away", room.name);
                }
                without.insert(room.id, None);
                continue;
            }
            let done = standing.iter().filter_map(|stands| match &stands.line {
                Line::Work(work) if work.room == Some(room.id) => {
                    Some((work.name.clone(), work.operation))
                }
                _ => None,
            });
            let names = Names::new("operation", done.collect::<BTreeMap<_, _>>());
            let operations = operations.iter().map(|name| names.find(name).copied());
            let operations: BTreeSet<OperationId> = operations.collect::<Result<_>>()?;
            if let Some(known) = without.entry(room.id).or_insert(Some(BTreeSet::new())) {
                known.extend(operations);
            }
        }
        Ok(Wish { again, without })
    }

    /// Returns how machines are rented for the work of a quote.
    fn renting(
        &self,
        quote: &QuoteHeader,
        operations: &BTreeMap<OperationId, Operation>,
    ) -> Result<Renting> {
        let machines = operations.values();
        let machines = machines.filter_map(|operation| Some((operation.id, operation.machine?)));
        Ok(Renting {
            machines: machines.collect(),
            day_hours: self.settings()?.day_hours,
            start: quote.start_on,
        })
    }

    /// Returns the outlooks that count for a job: of each quote that of the variation which changed it last, else its own.
    pub(super) fn outlooks_of(&self, quotes: &[QuoteRecord]) -> Result<Vec<Outlook>> {
        let mut newest: BTreeMap<QuoteId, &QuoteHeader> = BTreeMap::new();
        for QuoteRecord { header, .. } in quotes {
            newest.insert(header.varies.unwrap_or(header.id), header);
        }
        newest
            .into_values()
            .map(|header| self.outlook_of(header))
            .collect()
    }

    /// Returns what is typed for a room that a job has agreed to do as it was.
    ///
    /// # Errors
    /// Fails if the file can't be read, and if its doorways are wider than its walls.
    pub fn ways_to_vary(&self, job: &Job, room: &Room) -> Result<Vec<String>> {
        let quotes = self.agreed(job)?.quotes;
        for measured in self.measured(std::slice::from_ref(room))? {
            for stands in &quotes {
                if let Some(what) = other_kind(stands, &measured) {
                    return Ok(quoted_anew(job, &stands.quote.lines, &measured, &what).hints);
                }
            }
        }
        let (number, name) = (&job.number, typed(&room.name));
        Ok(vec![format!(
            "gritledger quote vary {number} --room {name}"
        )])
    }

    /// Returns the variation that changed the work which another was worked out from.
    fn overtaken_by(&self, header: &QuoteHeader) -> Result<Option<QuoteId>> {
        let changed = self
            .connection
            .prepare_cached(
                "SELECT other.id FROM quote AS other
                 JOIN quote_event AS accepted ON accepted.quote_id = other.id AND accepted.what = 'accepted'
                 WHERE other.job_id = :job AND other.varies_id = :by AND (
                     accepted.id > (SELECT id FROM quote_event WHERE quote_id = :id AND what = 'sent')
                     OR EXISTS (SELECT 1 FROM replaced_line AS mine
                                JOIN replaced_line AS theirs ON theirs.line_id = mine.line_id
                                WHERE mine.quote_id = :id AND theirs.quote_id = other.id))
                 ORDER BY accepted.id DESC LIMIT 1",
            )?
            .query_row(
                named_params! { ":job": header.variation_of, ":by": header.varies, ":id": header.id },
                |row| row.get(0),
            );
        Ok(changed.optional()?)
    }

    /// Tells whether a quote that was sent can't be accepted any more: its job is over, or was changed since.
    pub(super) fn is_overtaken(&self, header: &QuoteHeader) -> Result<bool> {
        let Some(job) = header.variation_of else {
            return Ok(false);
        };
        let job = self.job_by_id(job)?;
        let is_over = job.cancelled.is_some() || job.is_closed() && header.varies.is_some();
        Ok(is_over || self.overtaken_by(header)?.is_some())
    }

    /// Returns the command that drafts a variation anew.
    pub(super) fn vary_again(&self, header: &QuoteHeader) -> Result<Option<String>> {
        let Some(job) = header.variation_of.filter(|_| header.varies.is_some()) else {
            return Ok(None);
        };
        let job = self.job_by_id(job)?;
        let quote = self.quote_by_id(header.id)?.quote;
        let standing = self.standing_lines(&job)?;
        let mut changes = String::new();
        for room in &quote.rooms {
            let name = typed(&room.name);
            let in_room = |work: &&WorkLine| work.room == Some(room.id);
            let is_agreed =
                |stands: &StandingLine| matches!(&stands.line, Line::Work(work) if in_room(&work));
            if !standing.iter().any(is_agreed) {
                continue; // Another variation took it away.
            }
            let kept: BTreeSet<OperationId> = quote
                .work()
                .filter(in_room)
                .map(|work| work.operation)
                .collect();
            let gone = work_of(&quote.replaced)
                .filter(in_room)
                .filter(|work| !kept.contains(&work.operation));
            let gone: BTreeMap<OperationId, &str> = gone
                .map(|work| (work.operation, work.name.as_str()))
                .collect();
            let is_left = standing.iter().any(|stands| match &stands.line {
                Line::Work(work) => in_room(&work) && !gone.contains_key(&work.operation),
                _ => false,
            });
            if !kept.is_empty() {
                changes.push_str(&format!(" --room {name}"));
            }
            if !gone.is_empty() && is_left {
                let operations: Vec<&str> = gone.into_values().collect();
                let words = format!("{}: {}", room.name, operations.join(", "));
                changes.push_str(&format!(" --without {}", typed(&words)));
            } else if !gone.is_empty() {
                changes.push_str(&format!(" --without {name}"));
            }
        }
        Ok(Some(match changes.is_empty() {
            true => format!("gritledger job show {}", job.number),
            false => format!("gritledger quote vary {}{changes}", job.number),
        }))
    }
}

impl Writing<'_> {
    /// Drafts the variations that change agreed work, one for each quote that it was agreed with.
    ///
    /// # Errors
    /// Refuses a job without a quote, one that is over, rooms and operations that aren't in it, a change that is none, and
    /// one that leaves nothing to do.
    pub fn vary_job(&self, job: &Job, request: &VaryRequest) -> Result<Vec<QuoteRecord>> {
        let job = &self.job_by_id(job.id)?;
        self.refuse_closed(job)?;
        if job.own {
            let own = format!(
                "{} is work on your own floors: nobody pays for it",
                job.number
            );
            return Err(Refusal::new(own)
                .hint(format!(
                    "gritledger job cancel {} --reason \"not now\"",
                    job.number
                ))
                .into());
        }
        let standing = self.standing_lines(job)?;
        let wish = self.wish(job, &standing, request)?;
        let operations = self.operations()?.into_iter();
        let operations: BTreeMap<_, _> = operations.map(|known| (known.id, known)).collect();
        let agreed = self.agreed(job)?.quotes;
        let mut drafted = Vec::new();
        let mut is_left = false;
        for stands in agreed
            .iter()
            .filter(|record| record.header.varies.is_none())
        {
            let own: Vec<&StandingLine> = standing
                .iter()
                .filter(|line| line.by == stands.header.id)
                .collect();
            let lines: Vec<Line> = own.iter().map(|stands| stands.line.clone()).collect();
            let rates = self.rates_agreed(&agreed, &stands.header)?;
            let fates = self.fates(job, &wish, stands, &lines, (&rates, &operations))?;
            let renting = self.renting(&stands.header, &operations)?;
            let quote = self.quote_by_id(stands.header.id)?;
            let as_agreed = Agreed {
                quote: &quote.quote,
                lines: &lines,
            };
            let variation = vary(as_agreed, &renting, self.currency(), |work| {
                fate_of(&fates, work)
            });
            let left = variation
                .as_ref()
                .map_or(&lines, |variation| &variation.left);
            is_left |= work_of(left).any(|work| work.room.is_some());
            if let Some(variation) = variation {
                drafted.push((quote, stands, own, variation, renting, rates));
            }
        }
        if !is_left {
            return Err(
                Refusal::new(format!("that is all that {} does", job.number))
                    .hint(format!(
                        "gritledger job cancel {} --reason \"the client withdrew\"",
                        job.number
                    ))
                    .into(),
            );
        }
        if drafted.is_empty() {
            let names: Vec<String> = wish
                .again
                .iter()
                .map(|(room, _)| format!("`{}`", room.name))
                .collect();
            refuse!(
                "{} measures what was agreed: nothing changes",
                names.join(", ")
            );
        }
        let mut records = Vec::new();
        for (quote, stands, own, variation, renting, rates) in drafted {
            let replaced: Vec<i64> = variation
                .replaced
                .iter()
                .map(|place| own[*place].id)
                .collect();
            let priced = self.priced(&wish, (&quote, stands), &own, variation, &renting)?;
            records.push(self.insert_variation(job, &quote.header, &priced, &replaced, &rates)?);
        }
        Ok(records)
    }

    /// Refuses a variation that was worked out from other work than what stands now.
    pub(super) fn refuse_if_overtaken(&self, header: &QuoteHeader) -> Result<()> {
        if let (Some(_), Some(job)) = (header.varies, header.variation_of) {
            self.refuse_closed(&self.job_by_id(job)?)?;
        }
        let Some(changed) = self.overtaken_by(header)? else {
            return Ok(());
        };
        let job = header.variation_of.map(|job| self.job_by_id(job));
        let job = job.transpose()?.map_or_else(String::new, |job| job.number);
        let refusal = Refusal::new(format!(
            "{job} was changed by {} since {} was drafted",
            self.quote_by_id(changed)?.header.number,
            header.number
        ));
        Err(match self.vary_again(header)? {
            Some(again) => refusal.hint(again),
            None => refusal,
        }
        .into())
    }

    fn refuse_closed(&self, job: &Job) -> Result<()> {
        self.refuse_cancelled(job, "nothing of it is changed")?;
        if job.is_closed() {
            return Err(
                Refusal::new(format!("{} is closed: it is done", job.number))
                    .hint(format!("gritledger job reopen {}", job.number))
                    .into(),
            );
        }
        Ok(())
    }

    /// Returns the rates that a quote and what changed it since were priced with.
    fn rates_agreed(&self, agreed: &[QuoteRecord], quote: &QuoteHeader) -> Result<Vec<QuotedRate>> {
        let mut rates = Vec::new();
        for record in agreed {
            if record.header.id == quote.id || record.header.varies == Some(quote.id) {
                rates.extend(self.rates_of_quote(&record.header)?);
            }
        }
        Ok(rates)
    }

    /// Returns what becomes of each line of work that doesn't stay.
    fn fates(
        &self,
        job: &Job,
        wish: &Wish,
        stands: &QuoteRecord,
        lines: &[Line],
        (rates, operations): (&[QuotedRate], &BTreeMap<OperationId, Operation>),
    ) -> Result<Vec<(WorkLine, Fate)>> {
        let mut fates = Vec::new();
        for work in work_of(lines) {
            let Some(room) = work.room else {
                continue;
            };
            if wish.falls_away(room, work.operation) {
                fates.push((work.clone(), Fate::FallsAway));
                continue;
            }
            let operation = operations.get(&work.operation);
            let answers = operation.is_some_and(|operation| operation.answers.is_some());
            let Some(measured) = wish
                .measured(room)
                .filter(|_| !answers && work.contingency.is_none())
            else {
                continue;
            };
            if let Some(what) = other_kind(stands, measured) {
                return Err(quoted_anew(job, lines, measured, &what).into());
            }
            let class = measured.class.in_part(work.part);
            let today = self.rates_today(rates, operation, class)?;
            let rate = |kind| {
                let mut rates = rates.iter().chain(&today);
                rates
                    .find(|rate| {
                        (rate.operation, rate.kind, rate.class) == (work.operation, kind, class)
                    })
                    .map(|rate| rate.rate.learned)
            };
            let set_size = operation.and_then(|operation| operation.set_size);
            let terms = (&stands.quote.terms, self.currency());
            match measured_again(work, measured, set_size, rate, terms) {
                Some(now) => fates.push((work.clone(), Fate::Becomes(Box::new(now)))),
                None => refuse!(
                    "`{}` has no rate for `{}` as it is now",
                    work.name,
                    measured.name
                ),
            }
        }
        Ok(fates)
    }

    /// Returns today's rates of an operation for a floor that its quote has none for.
    fn rates_today(
        &self,
        rates: &[QuotedRate],
        operation: Option<&Operation>,
        class: FloorClass,
    ) -> Result<Vec<QuotedRate>> {
        let Some(operation) = operation else {
            return Ok(Vec::new());
        };
        if rates
            .iter()
            .any(|rate| rate.operation == operation.id && rate.class == class)
        {
            return Ok(Vec::new());
        }
        let today = self.rates()?;
        let rows = RateKind::ALL.iter().filter_map(|kind| {
            let rate: RateRow = today.row_for(operation, *kind, class)?;
            Some(QuotedRate {
                operation: operation.id,
                kind: *kind,
                class,
                rate,
            })
        });
        Ok(rows.collect())
    }

    /// Returns what a variation says, on paper.
    fn priced(
        &self,
        wish: &Wish,
        (quote, stands): (&QuoteRecord, &QuoteRecord),
        own: &[&StandingLine],
        variation: Variation,
        renting: &Renting,
    ) -> Result<Priced> {
        let Variation {
            replaced,
            lines,
            left,
            price,
        } = variation;
        let replaced: Vec<Line> = replaced
            .iter()
            .map(|place| own[*place].line.clone())
            .collect();
        let direct = |lines: &[Line], room: RoomId| -> Money {
            lines
                .iter()
                .filter(|line| line.room() == Some(room))
                .map(Line::cost)
                .sum()
        };
        let touched = |room: &&QuotedRoom| {
            lines
                .iter()
                .chain(&replaced)
                .any(|line| line.room() == Some(room.id))
        };
        let mut rooms: Vec<QuotedRoom> =
            stands.quote.rooms.iter().filter(touched).cloned().collect();
        let weights: Vec<Decimal> = rooms
            .iter()
            .map(|room| {
                (direct(&lines, room.id) - direct(&replaced, room.id))
                    .abs()
                    .minor()
                    .into()
            })
            .collect();
        for (room, share) in rooms.iter_mut().zip(price.spread(&weights)) {
            room.price = share;
            if let Some(now) = wish.measured(room.id) {
                (room.area, room.edge, room.steps, room.class) =
                    (now.area, now.edge, now.steps, now.class);
                room.parts.clone_from(&now.parts);
            }
        }
        let terms = Terms {
            named: None, // What stands of the quote has its price.
            ..quote.quote.terms
        };
        let varied = Quote {
            sequence: None,
            schedule: None,
            rooms,
            lines,
            replaced,
            cautions: Vec::new(),
            terms,
            discounts: Vec::new(),
            price,
            taxed_by: TaxedCosts::default(),
            tax: Money::ZERO,
            rounding: Money::ZERO,
        };
        let varied = varied.taxed_as_it_costs().with_tax();
        let planned = self.outlook_of(&quote.header)?;
        let outlook = outlook(
            &quote.quote,
            &planned,
            varied.expected_cost(),
            &left,
            renting,
        );
        Ok(Priced {
            quote: varied,
            outlook,
        })
    }

    fn insert_variation(
        &self,
        job: &Job,
        varied: &QuoteHeader,
        priced: &Priced,
        replaced: &[i64],
        rates: &[QuotedRate],
    ) -> Result<QuoteRecord> {
        let place = QuotePlace {
            id: QuoteId(self.new_id("quote")?),
            number: self.new_number("quote")?,
            version: 1,
            option: 1,
            option_name: "",
            varies: Some(varied.id),
        };
        let request = DraftRequest {
            start: varied.start_on,
            variation_of: Some(job.id),
            ..DraftRequest::default()
        };
        let site = self.site(&self.address_of(job.site_id)?)?;
        self.insert_quote(&place, &site, &request, priced, &self.rates()?)?;
        for line in replaced {
            self.connection
                .prepare_cached(
                    "INSERT INTO replaced_line (quote_id, line_id) VALUES (:quote, :line)",
                )?
                .execute(named_params! { ":quote": place.id, ":line": line })?;
        }
        self.keep_rates(place.id, &priced.quote, rates)?;
        let record = self.quote_by_id(place.id)?;
        self.log(&format!(
            "Drafted {}, a variation of {} at the prices of {}.",
            record.header.number, job.number, varied.number
        ))?;
        Ok(record)
    }

    /// Keeps the rates that a variation's lines have: those of what it varies, else today's.
    fn keep_rates(&self, id: QuoteId, quote: &Quote, rates: &[QuotedRate]) -> Result<()> {
        let operations = self.operations()?;
        let mut kept = BTreeSet::new();
        for work in quote.work() {
            let room = quote.rooms.iter().find(|room| Some(room.id) == work.room);
            let Some(class) = room.map(|room| room.class.in_part(work.part)) else {
                continue;
            };
            for kind in RateKind::ALL.iter().copied() {
                if !kept.insert((work.operation, kind, class)) {
                    continue;
                }
                let is_it = |rate: &&QuotedRate| {
                    (rate.operation, rate.kind, rate.class) == (work.operation, kind, class)
                };
                if let Some(rate) = rates.iter().find(is_it) {
                    self.insert_quote_rate(id, rate)?;
                    continue;
                }
                let operation = operations
                    .iter()
                    .find(|operation| operation.id == work.operation);
                let row = match operation {
                    Some(operation) => self.rates()?.row_for(operation, kind, class),
                    None => None,
                };
                if let Some(rate) = row {
                    let rate = QuotedRate {
                        operation: work.operation,
                        kind,
                        class,
                        rate,
                    };
                    self.insert_quote_rate(id, &rate)?;
                }
            }
        }
        Ok(())
    }
}

fn fate_of(fates: &[(WorkLine, Fate)], work: &WorkLine) -> Fate {
    let mut fates = fates.iter();
    let fate = fates.find(|(of, _)| of == work);
    fate.map_or(Fate::Stays, |(_, fate)| fate.clone())
}

/// Says how a room is of another kind than it was quoted as: a floor that is a stair now, or the other way, or one with parts
/// in other conditions; its work is another.
fn other_kind(stands: &QuoteRecord, measured: &MeasuredRoom) -> Option<String> {
    let mut rooms = stands.quote.rooms.iter();
    let quoted = rooms.find(|room| room.id == measured.id)?;
    let parts_of = |own: FloorCondition, parts: &[MeasuredPart]| -> BTreeSet<FloorCondition> {
        let parts = parts.iter().map(|part| part.condition);
        // Without parts all of it is one floor, whatever its condition.
        let own = Some(own).filter(|_| parts.len() > 0);
        parts.chain(own).collect()
    };
    let name = &measured.name;
    if parts_of(quoted.class.condition, &quoted.parts)
        != parts_of(measured.class.condition, &measured.parts)
    {
        return Some(format!(
            "`{name}` has parts in other conditions than it was agreed with"
        ));
    }
    match (quoted.steps.is_some(), measured.steps.is_some()) {
        (true, false) => Some(format!("`{name}` was agreed as a stair and is a floor now")),
        (false, true) => Some(format!("`{name}` was agreed as a floor and is a stair now")),
        _ => None,
    }
}

/// Refuses to measure a room again whose work is another now: it is taken away, or with it the job, and quoted anew.
fn quoted_anew(job: &Job, lines: &[Line], room: &MeasuredRoom, what: &str) -> Refusal {
    let (number, site, name) = (&job.number, typed(&job.site), typed(&room.name));
    let mut rooms = work_of(lines).filter_map(|work| work.room);
    let (away, anew) = match rooms.any(|other| other != room.id) {
        true => (
            format!("gritledger quote vary {number} --without {name}"),
            format!("gritledger quote draft {site} --variation-of {number} --room {name}"),
        ),
        false => (
            format!("gritledger job cancel {number} --reason \"quoted anew\""),
            format!("gritledger quote draft {site} --room {name}"),
        ),
    };
    let refusal = Refusal::new(format!("{what}: take it away, and quote it anew"));
    refusal.hint(away).hint(anew)
}
