//! What a variation changes of agreed work: what was, what is, and what stays.

use serde::Serialize;

use super::{LineFacts, QuoteAnswer, RoomFacts, work_words};
use crate::document::figures::{Amount, Number};
use crate::document::{Answer, Page, Table, count, inert, or_blank};
use crate::ledger::Varied;
use crate::trade::RoomId;
use crate::trade::quote::{Line, LineChange, Quote};

/// What is changed, and by whose prices.
#[derive(Debug)]
pub(super) struct ChangeFacts {
    job: String,
    pub(super) quote: String,
    price: Amount,
    rows: Vec<Row>,
    as_long: Vec<String>,
    minimum: Option<Amount>,
}

/// A line as it was and as it is.
#[derive(Debug)]
struct Row {
    subject: String,
    was: String,
    is: String,
    hours: Option<Number>,
    cost: Amount,
}

impl ChangeFacts {
    pub(super) fn new(
        varied: Varied,
        quote: &Quote,
        rooms: &[RoomFacts],
        page: &Page,
    ) -> ChangeFacts {
        let Varied {
            job,
            quote: by,
            as_long,
            minimum,
        } = varied;
        ChangeFacts {
            job,
            quote: by,
            price: page.amount(quote.told()),
            rows: page.each(quote.changes(), |change, page| {
                Row::new(&change, rooms, page)
            }),
            as_long,
            minimum: minimum.map(|minimum| page.amount(minimum)),
        }
    }

    /// Says what becomes of the job's price: `takes 412.30 off J1`.
    pub(super) fn words(&self) -> String {
        let (job, amount) = (&self.job, self.price.size());
        match self.price.money {
            price if price.is_negative() => format!("takes {amount} off {job}"),
            price if price.is_zero() => format!("leaves the price of {job} as it is"),
            _ => format!("adds {amount} to {job}"),
        }
    }

    /// Says what it is charged at, and what stays as it was.
    pub(super) fn stays(&self) -> String {
        let mut text = format!(
            "At the rates and prices of {}; set-up of the job and lump sums stay.",
            self.quote
        );
        if !self.as_long.is_empty() {
            text.push_str(&format!(
                " Rented as long as before: {}.",
                inert(&self.as_long.join(", "))
            ));
        }
        if let Some(minimum) = self.minimum {
            text.push_str(&format!(
                " The minimum charge of {minimum} keeps more from being taken off."
            ));
        }
        text
    }

    /// Sets what was agreed beside what is now, line by line.
    pub(super) fn table(&self, page: &Page) -> Table {
        let headings = ["What changes", "Was", "Is", "Hours", "Cost"];
        let mut table = page.table(headings).numbers([1, 2, 3, 4]);
        for row in &self.rows {
            table.line([
                &row.subject,
                &row.was,
                &row.is,
                &or_blank(row.hours),
                &row.cost,
            ]);
        }
        table
    }
}

impl Row {
    fn new(change: &LineChange<'_>, rooms: &[RoomFacts], page: &Page) -> Row {
        let LineChange {
            was,
            is,
            hours,
            cost,
        } = *change;
        let facts = |line: &Line| LineFacts::new(line.clone(), rooms, page);
        let subject = match was {
            Line::Work(work) => {
                let room = rooms.iter().find(|room| Some(room.id) == work.room);
                let room = room.map(|room| format!("{}: ", inert(&room.name)));
                format!("{}{}", or_blank(room), facts(was).operation())
            }
            Line::Rental { name, .. } => format!("{}, rented", inert(name)),
            Line::Trips(trips) => format!("driving to the {}", trips.to).replace('-', " "),
            Line::Opened { name, .. } => format!("{}, left in packs", inert(name)),
            Line::Other { what, .. } => inert(what),
            Line::Overhead { .. } => "overhead".to_owned(),
        };
        let extent = |line: &Line| match line {
            Line::Work(_) => facts(line).measure(),
            Line::Rental { .. } => or_blank(facts(line).days),
            Line::Trips(trips) => count(trips.trips, "trip"),
            Line::Opened { left, unit, .. } => Number(*left).of(*unit).to_string(),
            Line::Other { cost, .. } | Line::Overhead { cost } => page.amount(*cost).to_string(),
        };
        Row {
            subject,
            was: extent(was),
            is: is.map_or_else(|| "not done".to_owned(), extent),
            hours: matches!(was, Line::Work(_) | Line::Trips(_)).then_some(Number(hours)),
            cost: page.amount(cost),
        }
    }
}

impl QuoteAnswer {
    /// Returns what of a room's work is measured again, and what isn't done.
    pub(super) fn changed_words(&self, room: RoomId) -> String {
        let of_room = |line: &&LineFacts| line.room_id == Some(room);
        let is_gone = |was: &&LineFacts| {
            let mut lines = self.lines.iter().filter(of_room);
            !lines.any(|is| is.operation == was.operation)
        };
        let again = work_words(self.lines.iter(), room);
        let gone = work_words(self.replaced.iter().filter(is_gone), room);
        let parts = [("measured again: ", again), ("not done: ", gone)];
        let parts = parts.into_iter().filter(|(_, words)| !words.is_empty());
        let parts: Vec<String> = parts
            .map(|(what, words)| format!("{what}{words}"))
            .collect();
        parts.join("; ")
    }
}

/// The variations that change a job, one for each quote that its work was agreed with.
#[derive(Debug, Serialize)]
pub struct VariationsAnswer {
    variations: Vec<QuoteAnswer>,
}

impl VariationsAnswer {
    /// Returns the answer about them.
    pub fn new(variations: Vec<QuoteAnswer>) -> VariationsAnswer {
        VariationsAnswer { variations }
    }
}

impl Answer for VariationsAnswer {
    fn text(&self, page: &Page) -> String {
        let texts: Vec<String> = self.variations.iter().map(|one| one.text(page)).collect();
        texts.join("\n")
    }
}
