//! What quotes say, read for many quotes or many jobs at once.

use anyhow::Result;
use rusqlite::CachedStatement;

use super::books::{Parts, Span, of_job};
use super::columns::NamedRow;
use super::machines::tariff_from_row;
use super::quote_lines::LineRow;
use super::quote_rows::{
    caution_from_row, discount_from_row, room_from_row, taxed_by_from_row, terms_from_row,
};
use super::quotes::{HEADER_COLUMNS, HEADER_PARTS};
use super::{Agreed, Job, Ledger, QuoteHeader, QuoteRecord};
use crate::trade::cautions::Caution;
use crate::trade::quote::{Discount, Line, Quote, QuotedRoom, Terms};
use crate::trade::tax::TaxedCosts;
use crate::trade::{JobId, QuoteId, RoomId};

/// Columns of a quote's own row, beside those of its header.
const OWN: &str = "quote.sequence, quote.schedule, quote.margin_micro, quote.confidence_micro, quote.minimum_minor,
    quote.step_minor, quote.named_minor, quote.wage_micro, quote.burden_micro, quote.overhead_micro, quote.tax_labour_micro,
    quote.tax_materials_micro, quote.tax_rental_micro, quote.tax_included, quote.retention_micro, quote.own,
    quote.taxed_labour_minor, quote.taxed_materials_minor, quote.taxed_rental_minor";

/// What a quote says: columns, and the tables that they are joined from.
type Select<'a> = (&'a str, &'a str);

const ROOMS: Select<'_> = (
    "position, quote_room.room_id, COALESCE(sent_room.name, room.name) AS name, area_micro, edge_micro, steps,
     quote_room.floor_condition, quote_room.parts, quote_room.species, quote_room.price_minor",
    "CROSS JOIN quote_room ON quote_room.quote_id = quote.id
     JOIN room ON room.id = quote_room.room_id
     LEFT JOIN quote_event AS sent ON sent.quote_id = quote.id AND sent.what = 'sent'
     LEFT JOIN sent_room ON sent_room.quote_event_id = sent.id AND sent_room.room_id = room.id",
);

/// What the tariff of a line says, beside the line's own columns.
pub(super) const TARIFF_COLUMNS: &str =
    "tariff.half_day_minor, tariff.day_minor, tariff.weekend_minor, tariff.week_minor, tariff.four_weeks_minor,
     tariff.waiver_micro, tariff.cleaning_minor";

/// The lines that a quote was written with.
const LINES: &str = "CROSS JOIN quote_line ON quote_line.quote_id = quote.id";

/// The lines of which no accepted variation stands in the place, and those that a quote itself replaces.
pub(super) const STANDING: &str = "
    CROSS JOIN quote_line ON quote_line.quote_id = quote.id AND NOT EXISTS (
        SELECT 1 FROM replaced_line JOIN quote_event ON quote_event.quote_id = replaced_line.quote_id AND what = 'accepted'
        WHERE replaced_line.line_id = quote_line.id)";
const REPLACED: &str = "
    CROSS JOIN replaced_line ON replaced_line.quote_id = quote.id
    CROSS JOIN quote_line ON quote_line.id = replaced_line.line_id";

/// The tariffs of lines, which their quotes have.
pub(super) const TARIFF: &str = "
    LEFT JOIN quote_tariff AS tariff
              ON tariff.quote_id = quote_line.quote_id AND tariff.machine_id = quote_line.machine_id";

const CAUTIONS: Select<'_> = (
    "position, caution, source",
    "CROSS JOIN quote_caution ON quote_caution.quote_id = quote.id",
);

const DISCOUNTS: Select<'_> = (
    "position, reason, amount_minor, told_minor",
    "CROSS JOIN quote_discount ON quote_discount.quote_id = quote.id",
);

/// Whose quotes are read.
#[derive(Clone, Copy, Debug)]
pub(super) enum Quotes {
    /// Those that were agreed for jobs: the quote of each, then its variations in the order they were drafted; with the
    /// lines that stand.
    AgreedForJobs,
    /// Quotes by themselves, in the order they were drafted; with the lines that they were written with.
    Themselves,
}

impl Quotes {
    /// Returns the query of what the quotes of a span say, in their order.
    fn query(self, (columns, tables): Select<'_>, then_by: &str) -> String {
        match self {
            Quotes::AgreedForJobs => format!(
                "SELECT job.id AS of_job, 0 AS is_variation, quote.id AS of_quote, {columns}
                 FROM job
                 CROSS JOIN quote ON quote.id = job.quote_id
                 {tables}
                 WHERE job.id BETWEEN :first AND :last AND {IS_ACCEPTED}
                 UNION ALL
                 SELECT quote.job_id, 1, quote.id, {columns}
                 FROM quote
                 {tables}
                 WHERE quote.job_id BETWEEN :first AND :last AND {IS_ACCEPTED}
                 ORDER BY of_job, is_variation, of_quote{then_by}"
            ),
            Quotes::Themselves => format!(
                "SELECT 0 AS of_job, 0 AS is_variation, quote.id AS of_quote, {columns}
                 FROM quote
                 {tables}
                 WHERE quote.id BETWEEN :first AND :last
                 ORDER BY of_quote{then_by}"
            ),
        }
    }
}

pub(super) const IS_ACCEPTED: &str =
    "EXISTS (SELECT 1 FROM quote_event WHERE quote_id = quote.id AND what = 'accepted')";

/// Where a quote stands in the order of what is read.
type Stand = (JobId, bool, QuoteId);

/// A quote before its rooms, lines and cautions are read.
struct Head {
    stand: Stand,
    header: QuoteHeader,
    sequence: Option<String>,
    schedule: Option<String>,
    terms: Terms,
    taxed_by: TaxedCosts,
}

/// The queries that say what quotes say.
pub(super) struct QuoteQueries<'ledger> {
    ledger: &'ledger Ledger,
    heads: CachedStatement<'ledger>,
    rooms: CachedStatement<'ledger>,
    lines: CachedStatement<'ledger>,
    /// Of quotes by themselves.
    replaced: Option<CachedStatement<'ledger>>,
    cautions: CachedStatement<'ledger>,
    discounts: CachedStatement<'ledger>,
}

/// Their rows, quote by quote.
pub(super) struct QuoteRows<'queries> {
    heads: Parts<'queries, Stand, Head>,
    rooms: Parts<'queries, Stand, QuotedRoom>,
    lines: Parts<'queries, Stand, Line>,
    replaced: Option<Parts<'queries, Stand, Line>>,
    cautions: Parts<'queries, Stand, Caution>,
    discounts: Parts<'queries, Stand, Discount>,
}

impl Ledger {
    pub(super) fn quote_queries(&self, of: Quotes) -> Result<QuoteQueries<'_>> {
        let query = |select: Select<'_>, then_by| {
            let sql = of.query(select, then_by);
            self.connection.prepare_cached(&sql)
        };
        let head = format!("{HEADER_COLUMNS}, {OWN}");
        let line = format!("position, {}, {TARIFF_COLUMNS}", LineRow::COLUMNS);
        let (lines, replaced) = match of {
            Quotes::AgreedForJobs => (STANDING, None),
            Quotes::Themselves => (LINES, Some(REPLACED)),
        };
        let line_query =
            |lines: &str, then_by| query((&line, &format!("{lines}{TARIFF}")), then_by);
        Ok(QuoteQueries {
            ledger: self,
            heads: query((&head, HEADER_PARTS), "")?,
            rooms: query(ROOMS, ", position")?,
            lines: line_query(lines, ", position")?,
            replaced: replaced
                .map(|replaced| line_query(replaced, ", quote_line.id"))
                .transpose()?,
            cautions: query(CAUTIONS, ", position")?,
            discounts: query(DISCOUNTS, ", position")?,
        })
    }
}

impl QuoteQueries<'_> {
    pub(super) fn rows(&mut self, span: Span) -> Result<QuoteRows<'_>> {
        let ledger = self.ledger;
        let head_from_row = |row: &NamedRow<'_>| {
            Ok(Head {
                stand: stand_from_row(row)?,
                header: ledger.header_from_row(row)?,
                sequence: row.get("sequence")?,
                schedule: row.get("schedule")?,
                terms: terms_from_row(row)?,
                taxed_by: taxed_by_from_row(row)?,
            })
        };
        Ok(QuoteRows {
            heads: Parts::of(&mut self.heads, span, stand_from_row, head_from_row)?,
            rooms: Parts::of(&mut self.rooms, span, stand_from_row, room_from_row)?,
            lines: Parts::of(&mut self.lines, span, stand_from_row, line_from_row)?,
            replaced: match &mut self.replaced {
                Some(replaced) => Some(Parts::of(replaced, span, stand_from_row, line_from_row)?),
                None => None,
            },
            cautions: Parts::of(&mut self.cautions, span, stand_from_row, caution_from_row)?,
            discounts: Parts::of(&mut self.discounts, span, stand_from_row, discount_from_row)?,
        })
    }
}

impl QuoteRows<'_> {
    /// Returns the quote of that identity, which comes after all those that were asked for before.
    pub(super) fn quote(&mut self, id: QuoteId) -> Result<QuoteRecord> {
        let heads = self.heads.take_by(|(.., quote)| quote.cmp(&id))?;
        let head = heads.into_iter().next();
        self.complete(head.ok_or(rusqlite::Error::QueryReturnedNoRows)?)
    }

    /// Returns the quotes that were agreed for a job, which comes after all those that were asked for before.
    pub(super) fn of(&mut self, job: JobId) -> Result<Vec<QuoteRecord>> {
        let heads = self.heads.take_by(|(of, ..)| of.cmp(&job))?.into_iter();
        heads.map(|head| self.complete(head)).collect()
    }

    fn complete(&mut self, head: Head) -> Result<QuoteRecord> {
        let quote = Quote {
            sequence: head.sequence,
            schedule: head.schedule,
            rooms: self.rooms.take(&head.stand)?,
            lines: self.lines.take(&head.stand)?,
            replaced: match &mut self.replaced {
                Some(replaced) => replaced.take(&head.stand)?,
                None => Vec::new(),
            },
            cautions: self.cautions.take(&head.stand)?,
            terms: head.terms,
            discounts: self.discounts.take(&head.stand)?,
            price: head.header.price,
            taxed_by: head.taxed_by,
            tax: head.header.tax,
            rounding: head.header.rounding,
        };
        Ok(QuoteRecord {
            header: head.header,
            quote,
        })
    }
}

fn stand_from_row(row: &NamedRow<'_>) -> rusqlite::Result<Stand> {
    Ok((
        row.get("of_job")?,
        row.get("is_variation")?,
        row.get("of_quote")?,
    ))
}

pub(super) fn line_from_row(row: &NamedRow<'_>) -> rusqlite::Result<Line> {
    LineRow::read(row)?.line(|| tariff_from_row(row))
}

/// The queries that say what was agreed for jobs.
pub(super) struct AgreedQueries<'ledger> {
    quotes: QuoteQueries<'ledger>,
    room_names: CachedStatement<'ledger>,
}

/// Their rows, job by job.
pub(super) struct AgreedRows<'queries> {
    quotes: QuoteRows<'queries>,
    room_names: Parts<'queries, JobId, (RoomId, String)>,
}

impl Ledger {
    pub(super) fn agreed_queries(&self) -> Result<AgreedQueries<'_>> {
        Ok(AgreedQueries {
            quotes: self.quote_queries(Quotes::AgreedForJobs)?,
            room_names: self.connection.prepare_cached(
                "SELECT job_id, room_id, name FROM job_room WHERE job_id BETWEEN :first AND :last ORDER BY job_id",
            )?,
        })
    }
}

impl AgreedQueries<'_> {
    pub(super) fn rows(&mut self, span: Span) -> Result<AgreedRows<'_>> {
        let name_from_row = |row: &NamedRow<'_>| Ok((row.get("room_id")?, row.get("name")?));
        Ok(AgreedRows {
            quotes: self.quotes.rows(span)?,
            room_names: Parts::of(&mut self.room_names, span, of_job, name_from_row)?,
        })
    }
}

impl AgreedRows<'_> {
    /// Returns what was agreed for a job, which comes after all those that were asked for before.
    pub(super) fn of(&mut self, job: &Job) -> Result<Agreed> {
        let mut quotes = self.quotes.of(job.id)?;
        put_in_place(&mut quotes);
        Ok(Agreed {
            quotes,
            before: job.before.clone(),
            room_names: self.room_names.take(&job.id)?.into_iter().collect(),
        })
    }
}

/// Has each quote say what stands of it: the lines and measures of variations that change it stand in it, in their place.
fn put_in_place(quotes: &mut [QuoteRecord]) {
    for place in 0..quotes.len() {
        let Some(varied) = quotes[place].header.varies else {
            continue;
        };
        let lines = std::mem::take(&mut quotes[place].quote.lines);
        let rooms = quotes[place].quote.rooms.clone();
        let varied = quotes.iter_mut().find(|record| record.header.id == varied);
        let Some(QuoteRecord { quote, .. }) = varied else {
            continue; // In a damaged file; `check` tells of it.
        };
        quote.lines.extend(lines);
        for room in &mut quote.rooms {
            if let Some(now) = rooms.iter().find(|now| now.id == room.id) {
                *room = QuotedRoom {
                    price: room.price,
                    ..now.clone()
                };
            }
        }
    }
}

#[cfg(test)]
impl AgreedQueries<'_> {
    /// Returns the queries, to look at how they were answered.
    pub(super) fn statements(&self) -> [&CachedStatement<'_>; 5] {
        [
            &self.quotes.heads,
            &self.quotes.rooms,
            &self.quotes.lines,
            &self.quotes.cautions,
            &self.room_names,
        ]
    }
}
