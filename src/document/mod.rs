//! What leaves the program: pure values, made of the ledger's records, that are JSON for programs and words for people.
//!
//! Every [`Answer`] is one struct: its fields are the keys of its JSON, and its words, its tables and the columns of its
//! CSV (`list.rs`) are drawn from it alone.
//! Most are declared by `answer!` (`told.rs`), each field beside what it is told of.
//! Answers add up nothing but the lines that they print, and know nothing of the ledger's file or the terminal, but for
//! the [`Page`] they are given: its width, its characters, the currency and the units.
//!
//! JSON: quantities are decimal strings of at most four decimals with their unit beside them, money is a decimal string
//! and the answer names the currency, percents and counts are numbers, dates are ISO 8601, keys never come and go.

#[macro_use]
mod list;
#[macro_use]
mod told;
#[macro_use]
pub mod showing;

pub mod accounts;
pub mod book;
pub mod calendar;
pub mod close;
pub mod cover;
pub mod figures;
pub mod file;
pub mod floor;
pub mod invoice;
pub mod job;
mod letterhead;
pub mod outlook;
pub mod people;
pub mod plan;
pub mod quote;
pub mod rate;
pub mod receivables;
pub mod report;
mod table;
pub mod ubl;

use std::fmt;

use serde::Serialize;
use textwrap::core::display_width;

pub use self::list::List;
pub use self::table::Table;
pub(crate) use self::told::Told;
use crate::ledger::can_be_shown;
use crate::measure::{METRES_PER_FOOT, SQUARE_METRES_PER_SQUARE_FOOT, Units};
use crate::money::{Currency, Decimal};
pub use crate::notation::count;
use crate::trade::Unit;

/// A page is taken to be this wide at least.
const NARROWEST: usize = 40;

/// An answer: programs read the value itself, as JSON, and people read words and tables drawn from it.
pub trait Answer: Serialize {
    /// Writes the answer for people.
    fn text(&self, page: &Page) -> String;

    /// Returns the one list in it, or the one that it is about; `None`: there is no such list.
    fn list(&self) -> Option<List<'_>> {
        None
    }
}

/// Whose eyes a quote is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum View {
    /// The firm: cost and margin.
    Owner,
    /// The client: rooms and prices.
    Client,
}

impl View {
    /// Returns something if it is for the owner.
    fn owner(self) -> Option<()> {
        (self == View::Owner).then_some(())
    }
}

/// What a renderer needs to know of where its answer goes.
#[derive(Clone, Copy, Debug)]
pub struct Page {
    /// The ledger's currency.
    pub currency: Currency,
    /// The ledger's units.
    pub units: Units,
    /// Columns of the terminal.
    pub width: usize,
    /// Whether lines may be drawn with characters beyond ASCII.
    pub unicode: bool,
}

impl Page {
    /// Returns what driving is counted in.
    fn road(&self) -> Unit {
        Unit::of_roads(self.units)
    }

    /// Converts a rate per canonical unit to one per unit of the ledger.
    pub fn per_unit(&self, rate: Decimal, unit: Unit) -> Decimal {
        match (self.units, unit) {
            (Units::Metric, Unit::SquareFoot) => rate / SQUARE_METRES_PER_SQUARE_FOOT,
            (Units::Metric, Unit::Foot) => rate / METRES_PER_FOOT,
            _ => rate,
        }
    }

    /// Returns what is told of each record.
    fn each<R, F>(&self, records: Vec<R>, facts: impl Fn(R, &Page) -> F) -> Vec<F> {
        let records = records.into_iter();
        records.map(|record| facts(record, self)).collect()
    }

    /// Wraps a point of a list to the page, with a hanging indent.
    pub fn point(&self, text: &str) -> String {
        format!("{}\n", self.fill(&inert(text), "* ", "  "))
    }

    fn fill(&self, text: &str, first: &str, next: &str) -> String {
        wrap(text, self.width.max(NARROWEST), first, next)
    }

    /// Puts the answer in words before the table that it is about.
    fn led(&self, answer: &str, table: impl fmt::Display) -> String {
        format!("{}\n\n{table}", self.prose(&inert(answer)))
    }

    /// Wraps prose to the page, line by line; what follows a line's beginning is indented as it is.
    pub fn prose(&self, text: &str) -> String {
        fit(text, self.width)
    }

    /// Returns a table as wide as the page at most.
    pub fn table<const N: usize>(&self, headings: [&str; N]) -> Table {
        Table::new(headings.map(str::to_owned), *self)
    }
}

/// Wraps the lines of a text that are wider than so many columns; what follows a line's beginning is indented as it is.
pub fn fit(text: &str, width: usize) -> String {
    let width = width.max(NARROWEST);
    let lines = text.lines().map(|line| {
        if display_width(line) <= width {
            return line.to_owned();
        }
        let words = line.trim_start();
        let indent = &line[..line.len() - words.len()];
        wrap(words, width, indent, indent)
    });
    lines.collect::<Vec<_>>().join("\n")
}

/// Wraps text at blanks only, and not before a percent sign: words, dates and numbers stay whole, and so do commands
/// that fit a line, since they are copied.
fn wrap(text: &str, width: usize, first: &str, next: &str) -> String {
    let options = textwrap::Options::new(width)
        .initial_indent(first)
        .subsequent_indent(next)
        .break_words(false)
        .word_splitter(textwrap::WordSplitter::NoHyphenation);
    let room = width.saturating_sub(display_width(first).max(display_width(next)));
    let text = whole_commands(&whole(text), room);
    textwrap::fill(&text, options).replace('\u{a0}', " ")
}

/// Keeps percent signs with their numbers.
fn whole(text: &str) -> String {
    text.replace(" %", "\u{a0}%")
}

/// Keeps the words of a command together where it fits so many columns: it goes to the end of its text, or to a semicolon.
fn whole_commands(text: &str, room: usize) -> String {
    let parts = text.split_inclusive("; ").map(|part| {
        let begins = part.find("gritledger ").map(|name| {
            let before = part[..name].trim_end();
            let set = before.rsplit(' ').next().filter(|word| word.contains('='));
            set.map_or(name, |set| before.len() - set.len())
        });
        let (before, command) = part.split_at(begins.unwrap_or(part.len()));
        let words = command.trim_end();
        match display_width(words) <= room {
            true => format!(
                "{before}{}{}",
                words.replace(' ', "\u{a0}"),
                &command[words.len()..]
            ),
            false => part.to_owned(),
        }
    });
    parts.collect()
}

/// Shows control characters instead of sending them to a terminal; keeps line breaks of our own out of cells.
pub fn inert(text: &str) -> String {
    text.chars()
        .map(|sign| match sign {
            '\u{0}'..='\u{1f}' => char::from_u32(0x2400 + u32::from(sign)).unwrap_or('\u{fffd}'),
            '\u{7f}' => '\u{2421}',
            sign if can_be_shown(sign) => sign,
            _ => '\u{fffd}',
        })
        .collect()
}

/// Says of how many something is so: `none is open`, `1 is open`, `2 are open`.
fn agree(number: usize, one: &str, several: &str) -> String {
    match number {
        0 => format!("none {one}"),
        1 => format!("1 {one}"),
        number => format!("{number} {several}"),
    }
}

/// Writes what there is; nothing stays blank.
pub fn or_blank(fact: Option<impl fmt::Display>) -> String {
    fact.map(|fact| fact.to_string()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_command_is_copied_from_one_line_where_it_fits() {
        let text = "Cautions: Lead, Dust; read them: gritledger quote show Q22 --cautions";
        let cases = [
            (
                60,
                "Cautions: Lead, Dust; read them:\n\
                 gritledger quote show Q22 --cautions",
            ),
            (
                40,
                "Cautions: Lead, Dust; read them:\n\
                 gritledger quote show Q22 --cautions",
            ),
            (100, text),
        ];
        for (width, fitted) in cases {
            assert_eq!(fit(text, width), fitted, "{width} columns");
        }
        let hint = "hint: GRITLEDGER_TODAY=2026-03-02 gritledger --ledger d.db today";
        let fitted = "hint:\nGRITLEDGER_TODAY=2026-03-02 gritledger --ledger d.db today";
        assert_eq!(fit(hint, 60), fitted);
        let long = "gritledger rate change rotary-36 --since 2026-03-02 --note new";
        assert_eq!(fit(long, 45).lines().count(), 2, "too long for a line");
    }
}
