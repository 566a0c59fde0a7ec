//! Tables of text that hold at any width: one line a row where the page is wide enough, two or three where it isn't.
//!
//! What gives way: columns without anything in them go, words wrap, columns stand in bands, one under the other, the later
//! ones set in, and columns that may [go](Table::goes) go, or [make room](Table::makes_room).
//! Of all arrangements the one with the fewest lines is taken; from 60 columns on, one band is preferred to several.
//! Numbers and their units never wrap, and nothing is cut.

use std::fmt;

use tabled::builder::Builder;
use tabled::settings::object::{Columns, Rows, Segment};
use tabled::settings::{Alignment, Modify, Padding, Style};
use textwrap::core::display_width;

use super::{NARROWEST, Page, inert, whole, wrap};

/// Prose wraps well, but not in a column narrower than this.
const NARROWEST_PROSE: usize = 12;

/// From so many columns on, a table whose words fit beside each other has no second band.
const A_TABLE: usize = 60;

/// Columns stand in so many bands at most.
const MOST_BANDS: usize = 3;

/// How far the later bands of a row are set in.
const INDENT: usize = 2;

/// A table: numbers to the right, a rule under the heading.
#[derive(Clone, Debug)]
pub struct Table {
    columns: Vec<Column>,
    rows: Vec<Vec<String>>,
    page: Page,
}

#[derive(Clone, Debug)]
struct Column {
    heading: String,
    is_number: bool,
    /// When it goes: first those with the lowest number; `None`: never.
    goes: Option<usize>,
    /// When it makes room for the others in one band, after those that go anyway; `None`: never.
    makes_room: Option<usize>,
}

/// Columns that stand beside each other, and how wide each is.
#[derive(Clone, Debug)]
struct Band {
    columns: Vec<usize>,
    widths: Vec<usize>,
    indent: usize,
    gap: usize,
}

/// What a column needs.
#[derive(Clone, Copy)]
struct Need {
    /// So much to keep words, and numbers with their units, whole.
    least: usize,
    /// So much to wrap nothing.
    natural: usize,
}

impl Table {
    /// Returns a table as wide as the page at most.
    pub(super) fn new(headings: impl IntoIterator<Item = String>, page: Page) -> Table {
        let columns = headings.into_iter().map(|heading| Column {
            heading,
            is_number: false,
            goes: None,
            makes_room: None,
        });
        Table {
            columns: columns.collect(),
            rows: Vec::new(),
            page,
        }
    }

    /// Sets which columns hold numbers.
    #[must_use]
    pub fn numbers(mut self, columns: impl IntoIterator<Item = usize>) -> Table {
        for column in columns {
            self.columns[column].is_number = true;
        }
        self
    }

    /// Sets which columns go where a row doesn't fit on a line, the first named first.
    #[must_use]
    pub fn goes(mut self, columns: impl IntoIterator<Item = usize>) -> Table {
        for (order, column) in columns.into_iter().enumerate() {
            self.columns[column].goes = Some(order);
        }
        self
    }

    /// Sets which columns make room for the others where they would not stand in one band, the first named first.
    #[must_use]
    pub fn makes_room(mut self, columns: impl IntoIterator<Item = usize>) -> Table {
        for (order, column) in columns.into_iter().enumerate() {
            self.columns[column].makes_room = Some(order);
        }
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

    fn headings(&self) -> Vec<String> {
        let columns = self.columns.iter();
        columns.map(|column| column.heading.clone()).collect()
    }

    fn need(&self, column: usize) -> Need {
        let is_number = self.columns[column].is_number;
        let heading = &self.columns[column].heading;
        let cells = self.rows.iter().map(|row| row[column].as_str());
        let natural = cells.clone().map(display_width).max().unwrap_or(0);
        let least = match is_number {
            true => natural,
            false => {
                let words = cells.map(widest_word).max().unwrap_or(0);
                words.max(natural.min(NARROWEST_PROSE))
            }
        };
        Need {
            least: least.max(widest_word(heading)),
            natural: natural.max(display_width(heading)),
        }
    }

    /// Returns the bands in which the table is drawn.
    fn bands(&self) -> Vec<Band> {
        let needs: Vec<Need> = (0..self.columns.len())
            .map(|column| self.need(column))
            .collect();
        let mut all: Vec<usize> = (0..needs.len()).collect();
        let roomy = |columns: &[usize]| {
            let roomy = Band::fitted(columns, &needs, 2, 0, self.page.width);
            roomy.filter(|band| band.is_natural(&needs))
        };
        if let Some(roomy) = roomy(&all) {
            return vec![roomy];
        }
        all.retain(|column| self.rows.iter().any(|row| !row[*column].is_empty()));
        if let Some(roomy) = roomy(&all) {
            return vec![roomy];
        }
        let by = |when: fn(&Column) -> Option<usize>| {
            let mut going: Vec<usize> = all.clone();
            going.retain(|column| when(&self.columns[*column]).is_some());
            going.sort_by_key(|column| when(&self.columns[*column]));
            going
        };
        let (going, in_the_way) = (by(|column| column.goes), by(|column| column.makes_room));
        let arranged = |most: usize, out: &[usize]| {
            let arranged = (0..=going.len()).flat_map(|gone| {
                let gone_or_out =
                    |column: &usize| going[..gone].contains(column) || out.contains(column);
                let left = all.iter().filter(|column| !gone_or_out(column));
                let left: Vec<usize> = left.copied().collect();
                let each = splits(left.len()).into_iter();
                let each = each.filter(|ends| ends.len() <= most);
                let each = each.filter_map(|ends| self.split(&left, ends, &needs));
                each.map(|bands| (gone, bands)).collect::<Vec<_>>()
            });
            // A column goes if a quarter of a line in each row goes with it.
            let cost = |(gone, bands): &(usize, Vec<Band>)| {
                let lines = 4 * self.lines(bands) + gone * self.rows.len();
                (lines, bands.len())
            };
            arranged.min_by_key(cost)
        };
        let is_wide = self.page.width >= A_TABLE;
        let outs = (0..=in_the_way.len()).filter(|_| is_wide);
        let in_one = outs.map(|out| arranged(1, &in_the_way[..out]));
        let in_one = in_one.flatten().next();
        let Some((_, bands)) = in_one.or_else(|| arranged(MOST_BANDS, &[])) else {
            return Band::each_alone(&all, &needs);
        };
        match self.roomier(&bands, &needs) {
            Some(roomier) if self.lines(&roomier) == self.lines(&bands) => roomier,
            _ => bands,
        }
    }

    /// Stands the same columns further apart; `None`: words would be cut.
    fn roomier(&self, bands: &[Band], needs: &[Need]) -> Option<Vec<Band>> {
        let width = self.page.width.max(NARROWEST);
        let bands = bands.iter();
        let roomier = bands.map(|band| Band::fitted(&band.columns, needs, 2, band.indent, width));
        roomier.collect()
    }

    /// Stands columns in bands; `None`: words would be cut.
    fn split(&self, columns: &[usize], ends: Vec<usize>, needs: &[Need]) -> Option<Vec<Band>> {
        let width = self.page.width.max(NARROWEST);
        let mut start = 0;
        let bands = ends.into_iter().map(|end| {
            let indent = if start == 0 { 0 } else { INDENT };
            let band = &columns[start..end];
            start = end;
            Band::fitted(band, needs, 1, indent, width)
        });
        bands.collect()
    }

    /// Returns how many lines the table takes in these bands.
    fn lines(&self, bands: &[Band]) -> usize {
        let headings = self.headings();
        let rows = [&headings].into_iter().chain(&self.rows).map(|row| {
            let bands = bands.iter().map(|band| band.height(row));
            bands.sum::<usize>()
        });
        rows.sum()
    }
}

impl Band {
    /// Fits columns beside each other; `None`: words would be cut.
    fn fitted(
        columns: &[usize],
        needs: &[Need],
        gap: usize,
        indent: usize,
        page: usize,
    ) -> Option<Band> {
        let gaps = gap * columns.len().saturating_sub(1) + indent;
        let mut widths: Vec<usize> = columns
            .iter()
            .map(|column| needs[*column].natural)
            .collect();
        let least = |at: usize| needs[columns[at]].least;
        while widths.iter().sum::<usize>() + gaps > page {
            let wide = (0..columns.len()).filter(|at| widths[*at] > least(*at));
            let widest = wide.max_by_key(|at| widths[*at])?;
            widths[widest] -= 1;
        }
        Some(Band {
            columns: columns.to_vec(),
            widths,
            indent,
            gap,
        })
    }

    /// Returns a band for each column, as narrow as its words allow.
    fn each_alone(columns: &[usize], needs: &[Need]) -> Vec<Band> {
        let columns = columns.iter().enumerate();
        let alone = columns.map(|(level, column)| Band {
            columns: vec![*column],
            widths: vec![needs[*column].least],
            indent: if level == 0 { 0 } else { INDENT },
            gap: 1,
        });
        alone.collect()
    }

    /// Tells whether nothing in it wraps.
    fn is_natural(&self, needs: &[Need]) -> bool {
        let mut columns = self.columns.iter().zip(&self.widths);
        columns.all(|(column, width)| needs[*column].natural <= *width)
    }

    /// Returns the cells of a row that stand in it, each wrapped to its column.
    fn wrapped(&self, row: &[String]) -> Vec<String> {
        let columns = self.columns.iter().zip(&self.widths);
        let cells = columns.map(|(column, width)| match &row[*column] {
            cell if display_width(cell) <= *width => cell.replace('\u{a0}', " "),
            cell => wrap(cell, *width, "", ""),
        });
        cells.collect()
    }

    /// Returns how many lines a row takes in it: none where it has nothing to say, unless it is the first band.
    fn height(&self, row: &[String]) -> usize {
        let cells = self.columns.iter().map(|column| row[*column].as_str());
        if self.indent > 0 && cells.clone().all(str::is_empty) {
            return 0;
        }
        let cells = cells.zip(&self.widths);
        let lines = cells.map(|(cell, width)| match display_width(cell) <= *width {
            true => 1,
            false => wrap(cell, *width, "", "").lines().count(),
        });
        lines.max().unwrap_or(0)
    }

    /// Returns the lines of each row, the headings' first.
    fn drawn(&self, table: &Table) -> Vec<Vec<String>> {
        let headings = table.headings();
        let rows: Vec<&Vec<String>> = [&headings].into_iter().chain(&table.rows).collect();
        let mut builder = Builder::default();
        for row in &rows {
            builder.push_record(self.wrapped(row));
        }
        let mut drawn = builder.build();
        drawn.with(Style::empty());
        drawn.with(Modify::new(Segment::all()).with(Padding::new(0, self.gap, 0, 0)));
        drawn.with(Modify::new(Rows::first()).with(Alignment::bottom()));
        for (at, column) in self.columns.iter().enumerate() {
            if table.columns[*column].is_number {
                drawn.with(Modify::new(Columns::one(at)).with(Alignment::right()));
            }
        }
        let text = drawn.to_string();
        let mut lines = text.lines();
        let indent = " ".repeat(self.indent);
        let heights = rows.iter().map(|row| self.wrapped(row));
        let heights = heights.map(|cells| {
            let lines = cells.iter().map(|cell| cell.lines().count().max(1));
            lines.max().unwrap_or(1)
        });
        let rows = heights.map(|height| {
            let lines = lines.by_ref().take(height);
            let lines = lines.map(|line| format!("{indent}{}", line.trim_end()));
            lines.collect::<Vec<_>>()
        });
        let mut rows: Vec<Vec<String>> = rows.collect();
        if self.indent > 0 {
            for row in &mut rows {
                row.retain(|line| !line.trim().is_empty());
            }
        }
        rows
    }
}

/// Returns each way to stand so many columns in one to [`MOST_BANDS`] bands, as where each band ends.
fn splits(columns: usize) -> Vec<Vec<usize>> {
    let two = (1..columns).map(|cut| vec![cut, columns]);
    let three = (1..columns).flat_map(|first| {
        let second = first + 1..columns;
        second.map(move |second| vec![first, second, columns])
    });
    [vec![columns]]
        .into_iter()
        .chain(two)
        .chain(three)
        .collect()
}

/// Returns the columns that the widest word of a text takes; what sets a text in stays with its first word.
fn widest_word(text: &str) -> usize {
    let words = whole(text);
    let rest = words.trim_start_matches(' ');
    let first =
        words.len() - rest.len() + display_width(rest.split(' ').next().unwrap_or_default());
    rest.split(' ').map(display_width).fold(first, usize::max)
}

impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let bands = self.bands();
        let drawn: Vec<Vec<Vec<String>>> = bands.iter().map(|band| band.drawn(self)).collect();
        let lines_of = |row: usize| drawn.iter().flat_map(move |band| &band[row]);
        let all = (0..=self.rows.len()).flat_map(lines_of);
        let width = all.map(|line| display_width(line)).max().unwrap_or(0);
        let rule = if self.page.unicode { "─" } else { "-" };
        for line in lines_of(0) {
            writeln!(f, "{line}")?;
        }
        write!(f, "{}", rule.repeat(width))?;
        for line in (1..=self.rows.len()).flat_map(lines_of) {
            write!(f, "\n{line}")?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::measure::Units;
    use crate::money::Currency;

    fn page(width: usize) -> Page {
        Page {
            currency: Currency::from_code("USD").expect("a currency"),
            units: Units::Us,
            width,
            unicode: false,
        }
    }

    fn bills(width: usize) -> Table {
        let headings = ["Bill", "Kind", "Whose", "Due on", "Owed, USD"].map(str::to_owned);
        let mut table = Table::new(headings, page(width)).numbers([4]).goes([1]);
        table.line([&"I1", &"deposit", &"Ada Quill", &"2026-03-19", &"401.41"]);
        table.line([
            &"I2",
            &"final",
            &"Orla Tench of the Long Barn",
            &"",
            &"7.50 or so",
        ]);
        table
    }

    #[test]
    fn what_gives_way_goes_wraps_and_stands_in_bands() {
        let cases = [
            (
                80,
                "Bill  Kind     Whose                        Due on       Owed, USD\n\
                 ------------------------------------------------------------------\n\
                 I1    deposit  Ada Quill                    2026-03-19      401.41\n\
                 I2    final    Orla Tench of the Long Barn              7.50 or so",
            ),
            (
                55,
                "Bill Whose                       Due on      Owed, USD\n\
                 ------------------------------------------------------\n\
                 I1   Ada Quill                   2026-03-19     401.41\n\
                 I2   Orla Tench of the Long Barn            7.50 or so",
            ),
            (
                45,
                "Bill  Whose          Due on       Owed, USD\n\
                 -------------------------------------------\n\
                 I1    Ada Quill      2026-03-19      401.41\n\
                 I2    Orla Tench of              7.50 or so\n      the Long Barn",
            ),
        ];
        for (width, drawn) in cases {
            assert_eq!(bills(width).to_string(), drawn, "{width} columns");
        }
    }

    /// Rows of short words, sentences, numbers with their unit, and nothing.
    fn rows() -> impl Strategy<Value = Vec<[String; 6]>> {
        let word = || "[a-z]{1,9}";
        let words = || "[a-z]{1,9}( [a-z]{1,9}){0,6}";
        let number = || prop_oneof![Just(String::new()), "[0-9]{1,4}\\.[0-9]{2} (gal|h)"];
        let row = (word(), words(), number(), words(), number(), word());
        let row = row.prop_map(|(a, b, c, d, e, f)| [a, b, c, d, e, f]);
        proptest::collection::vec(row, 1..6)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(16))]

        #[test]
        fn a_table_holds_at_any_width_and_loses_nothing(rows in rows()) {
            let headings = ["Key", "What it is", "How much", "Why", "Quoted %", ""].map(str::to_owned);
            let drawn = |width| {
                let mut table = Table::new(headings.clone(), page(width)).numbers([2, 4]);
                for row in &rows {
                    table.row(row.clone());
                }
                (table.bands().len(), table.to_string())
            };
            let (mut fewest, mut before) = (usize::MAX, usize::MAX);
            for width in 40..=130 {
                let (bands, text) = drawn(width);
                let widest = text.lines().map(display_width).max().unwrap_or(0);
                prop_assert!(widest <= width, "{widest} at {width}:\n{text}");
                for cell in rows.iter().flatten() {
                    for word in cell.split(' ') {
                        prop_assert!(text.contains(word), "no {word} at {width}:\n{text}");
                    }
                }
                for number in rows.iter().flat_map(|row| [&row[2], &row[4]]) {
                    prop_assert!(text.contains(number.as_str()), "{number} is torn:\n{text}");
                }
                let lines = text.lines().count();
                if width >= A_TABLE {
                    prop_assert!(bands <= before || before > 1, "{bands} bands at {width}:\n{text}");
                }
                // One band may take more lines than the several in whose place it comes.
                let is_new = width >= A_TABLE && bands == 1 && before > 1;
                prop_assert!(
                    lines <= fewest || is_new,
                    "{lines} lines at {width}, {fewest} before:\n{text}"
                );
                (fewest, before) = (lines, bands);
            }
        }
    }
}
