//! Do the figures of a quote, its options and its plan follow from each other, and is it for the rooms of its site?

use std::collections::BTreeMap;

use anyhow::Result;

use super::super::quoted::Quotes;
use super::super::{Agreed, KeptPlan, QuoteRecord, QuotedRate, Span};
use super::{Ledger, Problems, called};
use crate::money::{Currency, Decimal, Money, product, round};
use crate::trade::plan::HousePlan;
use crate::trade::plan::replay::walk;
use crate::trade::quote::{Line, Outlook, WorkLine};
use crate::trade::rates::RateKind;
use crate::trade::tax::TaxedCosts;
use crate::trade::trips::Trips;
use crate::trade::variation::price_of;
use crate::trade::{JobId, QuoteId, RoomId};

/// Decimals that expected quantities and hours are rounded to before they are priced.
const PRINTED_DECIMALS: u32 = 2;

impl Ledger {
    pub(super) fn check_quotes(&self, problems: &mut Problems) -> Result<()> {
        let mut statement = self
            .connection
            .prepare("SELECT id, number, version, option FROM quote ORDER BY id")?;
        let quotes = statement.query_map([], |row| {
            let (version, option): (i64, i64) = (row.get("version")?, row.get("option")?);
            let name = format!("{}, version {version}, option {option}", called('Q', row)?);
            Ok((row.get::<_, QuoteId>("id")?, name))
        })?;
        let mut queries = self.quote_queries(Quotes::Themselves)?;
        let mut records = queries.rows(Span::EVERY)?;
        for quote in quotes {
            let (id, name) = quote?;
            match records.quote(id) {
                Ok(record) => self.check_quote(&record, problems),
                Err(error) => problems.push(format!("quote {name}: can't be read ({error:#})")),
            }
        }
        self.check_variations(problems)?;
        self.check_where_quotes_belong(problems)
    }

    /// What stands of a quote after its variations is worth what it is charged at, and its lines follow from each other.
    fn check_variations(&self, problems: &mut Problems) -> Result<()> {
        let mut statement = self.connection.prepare(
            "SELECT DISTINCT quote.job_id FROM quote JOIN quote_event ON quote_id = quote.id AND what = 'accepted'
             WHERE varies_id IS NOT NULL AND quote.job_id IN (SELECT job_id FROM job_state) ORDER BY quote.job_id",
        )?;
        let jobs = statement.query_map([], |row| row.get::<_, JobId>("job_id"))?;
        for job in jobs {
            let agreed = self.agreed(&self.job_by_id(job?)?)?.quotes;
            for record in agreed
                .iter()
                .filter(|record| record.header.varies.is_none())
            {
                let changes = agreed
                    .iter()
                    .filter(|other| other.header.varies == Some(record.header.id));
                let changes: Vec<Money> = changes.map(|change| change.quote.price).collect();
                if changes.is_empty() {
                    continue;
                }
                problems.extend(quote_problems(record, self.currency()));
                let paper = self.quote_by_id(record.header.id)?.quote;
                let worth = price_of(&paper, record.quote.lines.iter().map(Line::cost).sum());
                let charged = paper.price + changes.into_iter().sum();
                let subject = format!("quote {}", record.header.number);
                problems.extend(self.unlike(
                    &subject,
                    "with its variations it is worth",
                    charged,
                    worth,
                ));
            }
        }
        for (words, sql) in VARIATIONS {
            self.each(problems, sql, |row| {
                Ok(format!("quote {}: {words}", called('Q', row)?))
            })?;
        }
        Ok(())
    }

    fn check_quote(&self, record: &QuoteRecord, problems: &mut Problems) {
        problems.extend(quote_problems(record, self.currency()));
        if let Some(outlook) = Self::legible(self.outlook_of(&record.header), problems) {
            problems.extend(outlook_problems(record, &outlook, self.currency()));
        }
        if let Some(rates) = Self::legible(self.rates_of_quote(&record.header), problems) {
            problems.extend(rate_problems(record, &rates));
        }
        if let Some(Some(plan)) = Self::legible(self.plan_of_quote(record), problems) {
            let agreed = match Self::legible(self.job_of(record.header.id), problems) {
                Some(Some(job)) => Self::legible(self.agreed(&job), problems),
                _ => None,
            };
            problems.extend(plan_problems(&plan, &agreed.unwrap_or_default()));
        }
    }

    fn check_where_quotes_belong(&self, problems: &mut Problems) -> Result<()> {
        self.each(
            problems,
            "SELECT quote.id, quote.number, room.name FROM quote_room
             JOIN quote ON quote.id = quote_id JOIN room ON room.id = room_id
             WHERE room.site_id <> quote.site_id",
            |row| {
                let room: String = row.get("name")?;
                Ok(format!(
                    "quote {}: `{room}` is at another site",
                    called('Q', row)?
                ))
            },
        )?;
        self.each(
            problems,
            "SELECT DISTINCT quote.id, quote.number FROM quote_line JOIN quote ON quote.id = quote_id
             WHERE quote_line.room_id IS NOT NULL AND NOT EXISTS (
                 SELECT 1 FROM quote_room WHERE quote_room.quote_id = quote.id AND quote_room.room_id = quote_line.room_id)",
            |row| Ok(format!("quote {}: it has work in a room that isn't in it", called('Q', row)?)),
        )?;
        self.each(
            problems,
            "SELECT quote.id, quote.number FROM quote JOIN job ON job.id = quote.job_id
             WHERE job.site_id <> quote.site_id",
            |row| {
                Ok(format!(
                    "quote {}: it varies a job at another site",
                    called('Q', row)?
                ))
            },
        )?;
        self.each(
            problems,
            "SELECT DISTINCT quote.id, quote.number FROM quote JOIN quote AS other
                    ON other.number = quote.number AND other.id >> 40 = quote.id >> 40
             WHERE other.id > quote.id AND (other.site_id <> quote.site_id OR other.job_id IS NOT quote.job_id)",
            |row| Ok(format!("quote {}: its versions are for different sites or jobs", called('Q', row)?)),
        )?;
        self.each(
            problems,
            "SELECT id, number FROM quote WHERE date(recorded_at) <> drafted_on",
            |row| {
                Ok(format!(
                    "quote {}: it was drafted on another day than it was recorded",
                    called('Q', row)?
                ))
            },
        )
    }
}

/// What contradicts a variation that changes what is agreed.
const VARIATIONS: &[(&str, &str)] = &[
    (
        "it is at the prices of a quote that isn't its job's",
        "SELECT quote.id, quote.number FROM quote JOIN quote AS varied ON varied.id = quote.varies_id
         JOIN job ON job.id = quote.job_id
         WHERE varied.varies_id IS NOT NULL OR (varied.id IS NOT job.quote_id AND varied.job_id IS NOT job.id)",
    ),
    (
        "it replaces a line that is at other prices",
        "SELECT DISTINCT quote.id, quote.number FROM replaced_line JOIN quote ON quote.id = replaced_line.quote_id
         JOIN quote_line ON quote_line.id = line_id JOIN quote AS other ON other.id = quote_line.quote_id
         WHERE quote.varies_id IS NOT COALESCE(other.varies_id, other.id)",
    ),
    (
        "it replaces a line that another has replaced",
        "SELECT DISTINCT quote.id, quote.number FROM replaced_line JOIN quote ON quote.id = replaced_line.quote_id
         JOIN quote_event ON quote_event.quote_id = quote.id AND what = 'accepted'
         WHERE EXISTS (SELECT 1 FROM replaced_line AS other
                       JOIN quote_event ON quote_event.quote_id = other.quote_id AND what = 'accepted'
                       WHERE other.line_id = replaced_line.line_id AND other.quote_id < replaced_line.quote_id)",
    ),
    (
        "it changes nothing",
        "SELECT id, number FROM quote
         WHERE (varies_id IS NULL) = EXISTS (SELECT 1 FROM replaced_line WHERE quote_id = quote.id)",
    ),
];

/// A plan does the rooms of its quote, each once, and is as it says; as quoted, its rentals are those of the quote. One that
/// was made again does rooms that were agreed, variations included.
fn plan_problems(kept: &KeptPlan, agreed: &Agreed) -> Vec<String> {
    let number = &kept.quote.header.number;
    let mut problems = Vec::new();
    let mut quoted: Vec<RoomId> = kept.quote.quote.rooms.iter().map(|room| room.id).collect();
    quoted.sort_unstable();
    let first = kept.earlier.first().unwrap_or(&kept.plan);
    let planned = |plan: &HousePlan| -> Vec<RoomId> {
        let rooms = plan.phases.iter().flat_map(|phase| &phase.rooms);
        let mut rooms: Vec<RoomId> = rooms.copied().collect();
        rooms.sort_unstable();
        rooms
    };
    let mut may_be = quoted.clone();
    may_be.extend(agreed.rooms().into_iter().map(|(room, ..)| room.id));
    let now = planned(&kept.plan);
    let is_twice = now.windows(2).any(|two| two[0] == two[1]);
    if planned(first) != quoted || is_twice || now.iter().any(|room| !may_be.contains(room)) {
        problems.push(format!(
            "plan of {number}: its rooms aren't those of the quote"
        ));
    }
    for plan in kept.earlier.iter().chain([&kept.plan]) {
        if let Err(flaw) = walk(plan) {
            problems.push(format!("plan of {number}: {flaw}"));
        }
    }
    if first.costs.rental != kept.quote.quote.costs().rental {
        problems.push(format!(
            "plan of {number}: its rentals aren't those of the quote"
        ));
    }
    problems.dedup();
    problems
}

/// A quote's lines add up to what it was expected to cost, and its price is the one that its cost asks for.
fn outlook_problems(record: &QuoteRecord, outlook: &Outlook, currency: Currency) -> Vec<String> {
    let (number, quote) = (&record.header.number, &record.quote);
    let asked = match record.header.varies {
        None => quote
            .terms
            .price_for(outlook.cost_at_confidence, &quote.taxed_by),
        Some(_) => quote.told_full(), // It follows from what stands once it is accepted.
    };
    let asks = match quote.terms.named {
        None => "its cost asks for",
        Some(_) => "its price is named as",
    };
    let mut problems = Vec::new();
    if quote.taxed_by != TaxedCosts::of(&quote.costs()) {
        problems.push(format!("quote {number}: it isn't taxed as its lines cost"));
    }
    for (what, is, should) in [
        (
            "its lines add up to",
            outlook.expected_cost,
            quote.expected_cost(),
        ),
        (asks, quote.told_full(), asked),
    ] {
        if is != should {
            let (is, should) = (currency.text(is), currency.text(should));
            problems.push(format!("quote {number}: {what} {should}, not {is}"));
        }
    }
    problems
}

fn quote_problems(record: &QuoteRecord, currency: Currency) -> Vec<String> {
    let (number, quote) = (&record.header.number, &record.quote);
    let mut problems = Vec::new();
    let mut unlike = |what: &str, is: Money, should: Money| {
        if is != should {
            let (is, should) = (currency.text(is), currency.text(should));
            problems.push(format!("quote {number}: {what} {should}, not {is}"));
        }
    };
    let sum = |lines: &mut dyn Iterator<Item = Money>| -> Money { lines.sum() };
    let shares = sum(&mut quote.rooms.iter().map(|room| room.price));
    unlike("its rooms add up to", quote.full_price(), shares);
    if record.header.varies.is_none() {
        let labour = sum(&mut quote.lines.iter().map(Line::labour));
        unlike(
            "its overhead is",
            quote.costs().overhead,
            labour.times(quote.terms.overhead),
        );
    }
    let tax = sum(&mut quote.taxes().iter().map(|part| part.tax));
    unlike("tax is", quote.tax, tax);
    for line in &quote.lines {
        if let Line::Trips(trips) = line {
            let Trips { cost, labour, .. } = trips.clone().priced(&quote.terms, currency);
            unlike(
                &format!("driving to the {} costs", trips.to),
                trips.cost,
                cost,
            );
            unlike(
                &format!("hours to the {} cost", trips.to),
                trips.labour,
                labour,
            );
        }
    }
    for work in quote.work() {
        let labour = currency.amount(product([work.hours, quote.terms.wage, quote.terms.burden]));
        unlike(
            &format!("its hours of {} cost", work.name),
            work.labour,
            labour,
        );
        if let Some(item) = &work.item {
            let cost = currency.amount(product([item.expected, item.unit_price]));
            unlike(&format!("its items of {} cost", work.name), item.cost, cost);
        }
    }
    problems
}

/// Expected items and hours are those that the quote's own rates give, and what is loaded is no less.
fn rate_problems(record: &QuoteRecord, rates: &[QuotedRate]) -> Vec<String> {
    let (number, quote) = (&record.header.number, &record.quote);
    let rates: BTreeMap<_, _> = rates
        .iter()
        .map(|kept| ((kept.operation, kept.kind, kept.class), kept.rate.learned))
        .collect();
    let mut problems = Vec::new();
    for work in quote.work() {
        let Some(class) = quote.class_of(work) else {
            problems.push(format!("quote {number}: {} is in no room of it", work.name));
            continue;
        };
        let item = work
            .item
            .as_ref()
            .map(|item| (RateKind::Item, item.expected));
        for (kind, kept) in item.into_iter().chain([(RateKind::Hours, work.hours)]) {
            let Some(rate) = rates.get(&(work.operation, kind, class)) else {
                problems.push(format!(
                    "quote {number}: its rate of {kind} of {} is gone",
                    work.name
                ));
                continue;
            };
            let expected = expected(work, *rate);
            if expected != kept {
                problems.push(format!(
                    "quote {number}: its rate gives {expected} {kind} of {}, not {}",
                    work.name,
                    kept.normalize()
                ));
            }
        }
        if let Some(item) = work.item.as_ref().filter(|item| item.load < item.expected) {
            problems.push(format!(
                "quote {number}: less {} is loaded than expected",
                item.name
            ));
        }
    }
    problems
}

fn expected(work: &WorkLine, rate: crate::trade::rates::Rate) -> Decimal {
    let chance = work
        .contingency
        .map_or(Decimal::ONE, |contingency| contingency.chance);
    round(
        chance * rate.expect(work.quantity, work.passes),
        PRINTED_DECIMALS,
    )
    .normalize()
}
