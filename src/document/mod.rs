//! What leaves the program: pure values, made of the ledger's records, that are JSON for programs and words for people.
//!
//! Every [`Answer`] is one struct: its fields are the keys of its JSON, and its words and tables are drawn from it alone.
//! Most are declared by `answer!` (`told.rs`), each field beside what it is told of.
//! Answers add up nothing but the lines that they print, and know nothing of the ledger's file or the terminal, but for
//! the [`Page`] they are given: its width, its characters, the currency and the units.
//!
//! JSON: quantities are decimal strings of at most four decimals with their unit beside them, money is a decimal string
//! and the answer names the currency, percents and counts are numbers, dates are ISO 8601, keys never come and go.

#[macro_use]
mod told;

pub mod book;
pub mod calendar;
pub mod close;
pub mod cover;
pub mod figures;
pub mod file;
pub mod floor;
pub mod invoice;
pub mod job;
pub mod outlook;
pub mod people;
pub mod plan;
pub mod quote;
pub mod rate;
pub mod report;

use std::fmt;

use serde::Serialize;
use tabled::builder::Builder;
use tabled::settings::object::{Cell, Columns, Rows, Segment};
use tabled::settings::{Alignment, Modify, Padding, Style};
use textwrap::core::display_width;

pub(crate) use self::told::Told;
use crate::ledger::can_be_shown;
use crate::measure::{METRES_PER_FOOT, SQUARE_METRES_PER_SQUARE_FOOT, Units};
use crate::money::{Currency, Decimal};
use crate::trade::Unit;

/// Below this width a table is hard to read, and a list is shown instead.
const NARROWEST_TABLE: usize = 40;

/// A cell wider than this is taken for prose, which wraps without harm.
const WIDEST_WORD: usize = 24;

/// From this width on, columns stand two blanks apart instead of one.
const ROOMY_PAGE: usize = 100;

/// An answer: programs read the value itself, as JSON, and people read words and tables drawn from it.
pub trait Answer: Serialize {
    /// Writes the answer for people.
    fn text(&self, page: &Page) -> String;
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
        wrap(text, self.width.max(NARROWEST_TABLE), first, next)
    }

    /// Wraps prose to the page, line by line; what follows a line's beginning is indented as it is.
    pub fn prose(&self, text: &str) -> String {
        fit(text, self.width)
    }

    /// Returns a table as wide as the page at most.
    pub fn table<const N: usize>(&self, headings: [&str; N]) -> Table {
        Table {
            headings: headings.map(str::to_owned).to_vec(),
            rows: Vec::new(),
            right: Vec::new(),
            page: *self,
        }
    }
}

/// Wraps the lines of a text that are wider than so many columns; what follows a line's beginning is indented as it is.
pub fn fit(text: &str, width: usize) -> String {
    let width = width.max(NARROWEST_TABLE);
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

/// Wraps text at blanks only: words, dates and numbers stay whole.
fn wrap(text: &str, width: usize, first: &str, next: &str) -> String {
    let options = textwrap::Options::new(width)
        .initial_indent(first)
        .subsequent_indent(next)
        .break_words(false)
        .word_splitter(textwrap::WordSplitter::NoHyphenation);
    textwrap::fill(text, options)
}

/// Returns the columns that the widest word of a text takes.
fn widest_word(text: &str) -> usize {
    text.split(' ').map(display_width).max().unwrap_or(0)
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

/// A table of text: numbers to the right, rules under the heading and above the totals, words wrapped to the page.
#[derive(Clone, Debug)]
pub struct Table {
    headings: Vec<String>,
    rows: Vec<Vec<String>>,
    right: Vec<usize>,
    page: Page,
}

impl Table {
    /// Sets which columns hold numbers.
    #[must_use]
    pub fn numbers(mut self, columns: impl IntoIterator<Item = usize>) -> Table {
        self.right.extend(columns);
        self
    }

    /// Adds a row of cells that are written already.
    pub fn row<const N: usize>(&mut self, cells: [String; N]) {
        self.rows
            .push(cells.iter().map(|cell| inert(cell)).collect());
    }

    /// Adds a row of what can be shown.
    pub fn line<const N: usize>(&mut self, cells: [&dyn fmt::Display; N]) {
        self.row(cells.map(ToString::to_string));
    }

    /// Tells whether it has no rows.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Returns how wide each column is on the page; `None`: words would be cut, or columns be so narrow that wrapping makes
    /// shreds of them.
    fn widths(&self, gap: usize) -> Option<Vec<usize>> {
        let columns = self.headings.len();
        let widest = |column: usize, of: fn(&str) -> usize| {
            let rows = self.rows.iter().map(|row| of(&row[column]));
            rows.chain([of(&self.headings[column])]).max().unwrap_or(0)
        };
        let mut widths: Vec<usize> = (0..columns)
            .map(|column| widest(column, display_width))
            .collect();
        // Prose wraps well, but not at any width.
        let legible: usize = widths.iter().map(|width| width.min(&WIDEST_WORD) + 1).sum();
        if self.page.width < NARROWEST_TABLE || legible * 2 > self.page.width * 3 {
            return None;
        }
        let least: Vec<usize> = (0..columns)
            .map(|column| widest(column, widest_word))
            .collect();
        while widths.iter().sum::<usize>() + gap * columns > self.page.width {
            let wide = (0..columns).filter(|column| widths[*column] > least[*column]);
            let widest = wide.max_by_key(|column| widths[*column])?;
            widths[widest] -= 1;
        }
        Some(widths)
    }

    /// Wraps the cells of a row to columns of these widths.
    fn wrapped(cells: &[String], widths: &[usize]) -> Vec<String> {
        let cells = cells.iter().zip(widths);
        cells
            .map(|(cell, width)| wrap(cell, *width, "", ""))
            .collect()
    }

    fn as_list(&self) -> String {
        let mut text = String::new();
        for row in &self.rows {
            for (heading, cell) in self
                .headings
                .iter()
                .zip(row)
                .filter(|(_, cell)| !cell.is_empty())
            {
                let line = if heading.is_empty() {
                    cell.clone()
                } else {
                    format!("{heading}: {cell}")
                };
                text.push_str(&self.page.fill(&line, "", "  "));
                text.push('\n');
            }
            text.push('\n');
        }
        text.trim_end().to_owned()
    }
}

impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let gap = if self.page.width < ROOMY_PAGE { 1 } else { 2 };
        let Some(widths) = self.widths(gap) else {
            return f.write_str(&self.as_list());
        };
        let headings = Table::wrapped(&self.headings, &widths);
        let heading_lines = headings.iter().map(|heading| heading.lines().count());
        let heading_lines = heading_lines.max().unwrap_or(1);
        let mut builder = Builder::default();
        builder.push_record(headings);
        for row in &self.rows {
            builder.push_record(Table::wrapped(row, &widths));
        }
        let mut table = builder.build();
        if self.page.unicode {
            table.with(
                Style::sharp()
                    .remove_frame()
                    .remove_vertical()
                    .remove_horizontals(),
            )
        } else {
            table.with(Style::blank())
        };
        let rule = if self.page.unicode { '─' } else { '-' };
        table.with(Modify::new(Segment::all()).with(Padding::new(0, gap, 0, 0)));
        for column in &self.right {
            table.with(Modify::new(Columns::one(*column)).with(Alignment::right()));
        }
        table.with(Modify::new(Rows::first()).with(Alignment::left()));
        for column in &self.right {
            table.with(Modify::new(Cell::new(0, *column)).with(Alignment::right()));
        }
        let text = table.to_string();
        let lines: Vec<&str> = text.lines().map(str::trim_end).collect();
        let width = lines
            .iter()
            .map(|line| line.chars().count())
            .max()
            .unwrap_or(0);
        for (position, line) in lines.iter().enumerate() {
            if position == heading_lines {
                writeln!(f, "{}", rule.to_string().repeat(width))?;
            }
            if position + 1 == lines.len() {
                write!(f, "{line}")?;
            } else {
                writeln!(f, "{line}")?;
            };
        }
        Ok(())
    }
}

/// Writes what there is; nothing stays blank.
pub fn or_blank(fact: Option<impl fmt::Display>) -> String {
    fact.map(|fact| fact.to_string()).unwrap_or_default()
}

/// A count with its noun, in agreement: `1 room`, `2 rooms`.
pub fn count(number: usize, noun: &str) -> String {
    if number == 1 {
        format!("1 {noun}")
    } else {
        format!("{number} {noun}s")
    }
}
