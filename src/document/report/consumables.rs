//! Quoted against used, by item and operation or by what was asked for, those first that were furthest over the quote.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use serde::Serialize;
use serde::ser::Serializer;

use super::groups::{Others, Row, Whose, report, words};
use crate::document::figures::{Amount, Number, Percent};
use crate::document::list::{Columns, InColumns, joined};
use crate::document::showing::{NoSuchColumn, Showing};
use crate::document::{Answer, List, Page, Table, count, inert, or_blank};
use crate::ledger::{ConsumableLine, Group, Grouping};
use crate::money::{Decimal, Money};
use crate::trade::Unit;

answer! {
    /// Quoted and used of one item, in one operation if they are told apart.
    struct Line from line: ConsumableLine on page {
        item: String,
        operation: Option<String>,
        unit: Unit,
        jobs: usize,
        quoted_quantity: Number = Number(line.quoted.quantity + line.not_recorded.quantity),
        used_quantity: Option<Number> = line.used.map(|used| Number(used.quantity)),
        used_percent: Percent = Percent(line.used.and_then(|used| percent(used.quantity, line.quoted.quantity))),
        quoted_cost: Amount = page.amount(line.quoted.cost + line.not_recorded.cost),
        used_cost: Amount = page.amount(line.used.unwrap_or_default().cost),
        over_quote: Amount = page.amount(line.used.map_or(Money::ZERO, |used| used.cost - line.quoted.cost)),
        recorded: bool = line.used.is_some(),
        not_recorded_quantity: Number = Number(line.not_recorded.quantity),
        not_recorded_cost: Amount = page.amount(line.not_recorded.cost),
        /// Quoted, where something was recorded: what the used quantity is compared with.
        #[serde(skip)]
        compared_quantity: Number = Number(line.quoted.quantity),
        #[serde(skip)]
        compared_cost: Amount = page.amount(line.quoted.cost),
        .. { group, quoted, used, not_recorded }
    }
}

fn percent(used: Decimal, quoted: Decimal) -> Option<Decimal> {
    (used * Decimal::ONE_HUNDRED).checked_div(quoted)
}

impl Line {
    /// Says what it is about: `disc-7in-36 (rotary-36)`.
    fn name(&self) -> String {
        let operation = self.operation.as_ref();
        let operation = or_blank(operation.map(|operation| format!(" ({operation})")));
        format!("{}{operation}", self.item)
    }

    /// Writes its quantities and how they compare.
    fn quantities(&self) -> [String; 3] {
        let used = self.used_quantity;
        [
            self.compared_quantity.of(self.unit).to_string(),
            or_blank(used.map(|used| used.of(self.unit))),
            self.used_percent.to_string(),
        ]
    }
}

/// What lines cost.
#[derive(Clone, Copy, Debug, Serialize)]
struct Sums {
    quoted_cost: Amount,
    used_cost: Amount,
    over_quote: Amount,
    not_recorded_cost: Amount,
    #[serde(skip)]
    compared_cost: Amount,
}

impl Sums {
    fn of<'a>(lines: impl IntoIterator<Item = &'a Line> + Clone, page: &Page) -> Sums {
        let sum = |cost: fn(&Line) -> Amount| {
            let costs = lines.clone().into_iter().map(|line| cost(line).money);
            page.amount(costs.sum::<Money>())
        };
        Sums {
            quoted_cost: sum(|line| line.quoted_cost),
            used_cost: sum(|line| line.used_cost),
            over_quote: sum(|line| line.over_quote),
            not_recorded_cost: sum(|line| line.not_recorded_cost),
            compared_cost: sum(|line| line.compared_cost),
        }
    }

    fn cells(&self) -> [String; 3] {
        [self.compared_cost, self.used_cost, self.over_quote].map(|cost| cost.to_string())
    }
}

/// What is told by: its lines, and what they come to.
#[derive(Debug)]
struct Told {
    group: Group,
    sums: Sums,
    lines: Vec<Line>,
}

/// Its lines, each with what it is of; items and operations are columns of the lines.
impl InColumns for Row<'_, &Line> {
    fn columns(key: &str, to: &mut Columns) {
        Whose::columns(key, to);
        to.add(&joined(key, "grit"));
        Line::columns(key, to);
    }
}

/// What programs are told of it.
#[derive(Serialize)]
struct ToldSums<'a> {
    #[serde(flatten)]
    sums: Sums,
    lines: &'a [Line],
}

impl Told {
    fn row(&self) -> Row<'_, ToldSums<'_>> {
        Row {
            whose: Whose(&self.group),
            sums: ToldSums {
                sums: self.sums,
                lines: &self.lines,
            },
        }
    }
}

/// Lines by themselves, or by what was asked for.
#[derive(Debug)]
enum Rows {
    Lines(Vec<Line>),
    By(Grouping, Vec<Told>),
}

/// Quoted against used.
#[derive(Debug)]
pub struct ConsumablesAnswer {
    page: Page,
    rows: Rows,
    /// What isn't shown: how many rows, and what they come to.
    others: Option<(usize, Sums)>,
    total: Sums,
    /// The row that was furthest over its quote, in words.
    furthest: Option<String>,
    /// What nothing is recorded of, in words.
    without: Vec<String>,
    jobs: usize,
}

impl ConsumablesAnswer {
    /// Returns the answer about lines of so many jobs.
    ///
    /// # Errors
    /// Returns the column that they were to be sorted by, if they don't have it.
    pub fn new(
        by: Option<Grouping>,
        lines: Vec<ConsumableLine>,
        jobs: usize,
        showing: &Showing,
        page: &Page,
    ) -> Result<ConsumablesAnswer, NoSuchColumn> {
        let jobs = if lines.is_empty() { 0 } else { jobs };
        let told = page.each(lines, |line, page| {
            (line.group.clone(), Line::new(line, page))
        });
        let all = || told.iter().map(|(_, line)| line);
        let (total, without) = (Sums::of(all().collect::<Vec<_>>(), page), without(all()));
        let (furthest, rows, others) = match by {
            None => {
                let mut lines: Vec<Line> = told.into_iter().map(|(_, line)| line).collect();
                lines.sort_by_key(|line| Reverse(line.over_quote.money));
                let furthest = lines.first().map(|line| (line.name(), line.over_quote));
                showing.sort(&mut lines, |line| serde_json::to_value(line))?;
                let rest = showing.cut(&mut lines);
                let others = (rest.len(), Sums::of(&rest, page));
                (furthest, Rows::Lines(lines), others)
            }
            Some(by) => {
                let mut groups = grouped(by, told, page);
                let furthest = groups.iter().max_by_key(|told| told.sums.over_quote.money);
                let furthest =
                    furthest.map(|told| (Whose(&told.group).to_string(), told.sums.over_quote));
                showing.sort(&mut groups, |told| serde_json::to_value(told.row()))?;
                let rest = showing.cut(&mut groups);
                let lines: Vec<&Line> = rest.iter().flat_map(|told| &told.lines).collect();
                let others = (rest.len(), Sums::of(lines, page));
                (furthest, Rows::By(by, groups), others)
            }
        };
        Ok(ConsumablesAnswer {
            page: *page,
            rows,
            others: Some(others).filter(|(rows, _)| *rows > 0),
            total,
            furthest: furthest
                .filter(|(_, over)| over.money > Money::ZERO)
                .map(|(name, over)| format!("{name}, by {over}")),
            without,
            jobs,
        })
    }

    /// The first line: what all of it cost beside its quote, and what was furthest over it.
    fn answer(&self) -> String {
        let over = self.total.over_quote;
        let more = if over.money.is_negative() {
            "less"
        } else {
            "more"
        };
        let furthest = self.furthest.as_ref();
        let furthest = furthest.map(|line| format!("\nFurthest over: {}.", inert(line)));
        format!(
            "Consumables of {}: {} {}, {} {more} than quoted.{}",
            count(self.jobs, "job"),
            self.total.used_cost,
            self.page.currency.code(),
            over.size(),
            or_blank(furthest)
        )
    }

    fn table(&self, page: &Page) -> Table {
        let costs = ["Quoted cost", "Cost", "Over quote"];
        let mut table = match &self.rows {
            Rows::Lines(lines) => {
                let [quoted, cost, over] = costs;
                let headings = [
                    "Item",
                    "Operation",
                    "Jobs",
                    "Quoted",
                    "Used",
                    "Ratio",
                    quoted,
                    cost,
                    over,
                ];
                let table = page.table(headings).numbers(2..=8).goes([2, 6, 7, 5]);
                let mut table = table.makes_room([1]);
                for line in lines.iter().filter(|line| line.recorded) {
                    let [quoted, used, ratio] = line.quantities();
                    let [at, cost, over] = Sums::of([line], page).cells();
                    let (item, jobs) = (line.item.clone(), line.jobs.to_string());
                    let operation = or_blank(line.operation.as_ref());
                    table.row([item, operation, jobs, quoted, used, ratio, at, cost, over]);
                }
                table
            }
            Rows::By(by, groups) => {
                let [quoted, cost, over] = costs;
                let headings = [words(*by).1, "Quoted", "Used", "Ratio", quoted, cost, over];
                let table = page.table(headings).numbers(1..=6).goes([4, 5]);
                let mut table = table.makes_room([3]);
                for told in groups {
                    told.rows(*by, &mut table, page);
                }
                table
            }
        };
        let others = self.others.map(|(rows, sums)| (count(rows, "other"), sums));
        for (name, sums) in others.into_iter().chain([("Total".to_owned(), self.total)]) {
            let [at, cost, over] = sums.cells();
            let blank = String::new;
            match &self.rows {
                Rows::Lines(_) => {
                    let [one, two, three, four, five] =
                        [blank(), blank(), blank(), blank(), blank()];
                    table.row([name, one, two, three, four, five, at, cost, over]);
                }
                Rows::By(..) => table.row([name, blank(), blank(), blank(), at, cost, over]),
            }
        }
        table
    }
}

impl Told {
    /// Adds what it comes to, and its lines below it; one line of what has one alone stands in its place.
    fn rows(&self, by: Grouping, table: &mut Table, page: &Page) {
        let recorded: Vec<&Line> = self.lines.iter().filter(|line| line.recorded).collect();
        if recorded.is_empty() {
            return;
        }
        let one_thing = matches!(by, Grouping::Operation | Grouping::Item);
        let is_alone = one_thing && recorded.len() == 1;
        let [quoted, used, ratio] = match one_thing {
            true => together(&recorded),
            false => Default::default(),
        };
        let [at, cost, over] = self.sums.cells();
        table.row([
            Whose(&self.group).to_string(),
            quoted,
            used,
            ratio,
            at,
            cost,
            over,
        ]);
        for line in recorded.iter().filter(|_| !is_alone) {
            let name = match by {
                Grouping::Item => line.operation.as_deref().unwrap_or("no operation said"),
                _ => &line.item,
            };
            let [quoted, used, ratio] = line.quantities();
            let [at, cost, over] = Sums::of([*line], page).cells();
            table.row([format!("  {name}"), quoted, used, ratio, at, cost, over]);
        }
    }
}

/// Writes the quantities of lines together, if they are counted alike.
fn together(lines: &[&Line]) -> [String; 3] {
    let unit = lines[0].unit;
    if lines.iter().any(|line| line.unit != unit) {
        return Default::default();
    }
    let quoted: Decimal = lines.iter().map(|line| line.compared_quantity.0).sum();
    let used = lines.iter().filter_map(|line| line.used_quantity);
    let used: Decimal = used.map(|used| used.0).sum();
    [
        Number(quoted).of(unit).to_string(),
        Number(used).of(unit).to_string(),
        Percent(percent(used, quoted)).to_string(),
    ]
}

/// Puts lines together by what they are told by: those furthest over the quote first, but times in their order.
fn grouped(by: Grouping, lines: Vec<(Option<Group>, Line)>, page: &Page) -> Vec<Told> {
    let mut groups: BTreeMap<Group, Vec<Line>> = BTreeMap::new();
    for (group, line) in lines {
        if let Some(group) = group {
            groups.entry(group).or_default().push(line);
        }
    }
    let groups = groups.into_iter().map(|(group, mut lines)| {
        lines.sort_by_key(|line| Reverse(line.over_quote.money));
        let sums = Sums::of(&lines, page);
        Told { group, sums, lines }
    });
    let mut groups: Vec<Told> = groups.collect();
    if !by.is_time() {
        groups.sort_by_key(|told| Reverse(told.sums.over_quote.money));
    }
    groups
}

/// Says what nothing is recorded of, each item once: `6 discs of disc-7in-36 (rotary-36)`.
fn without<'a>(lines: impl Iterator<Item = &'a Line>) -> Vec<String> {
    let mut without: BTreeMap<(String, Unit), (Decimal, Money)> = BTreeMap::new();
    for line in lines {
        let (quantity, cost) = without.entry((line.name(), line.unit)).or_default();
        *quantity += line.not_recorded_quantity.0;
        *cost += line.not_recorded_cost.money;
    }
    let without = without.into_iter();
    without
        .filter(|(_, (quantity, cost))| !quantity.is_zero() || !cost.is_zero())
        .map(|((name, unit), (quantity, _))| format!("{} of {name}", Number(quantity).of(unit)))
        .collect()
}

impl Serialize for ConsumablesAnswer {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let others = self.others.map(|(rows, sums)| Others { rows, sums });
        match &self.rows {
            Rows::Lines(lines) => {
                report(serializer, &self.page, ("lines", lines), others, self.total)
            }
            Rows::By(by, groups) => {
                let rows: Vec<_> = groups.iter().map(Told::row).collect();
                let rows = (words(*by).0, rows);
                report(serializer, &self.page, rows, others, self.total)
            }
        }
    }
}

impl Answer for ConsumablesAnswer {
    fn text(&self, page: &Page) -> String {
        if self.jobs == 0 {
            return "No closed job quoted or used any; a job that is named shows how it stands so far."
                .to_owned();
        }
        let answer = page.prose(&self.answer());
        let text = format!("{answer}\n\n{}", self.table(page));
        if self.without.is_empty() {
            return text;
        }
        let words = format!(
            "Not recorded, in none of these figures, and quoted at {}: {}.",
            self.total.not_recorded_cost,
            self.without.join(", ")
        );
        format!("{text}\n\n{}", page.prose(&inert(&words)))
    }

    fn list(&self) -> Option<List<'_>> {
        match &self.rows {
            Rows::Lines(lines) => List::of(lines),
            Rows::By(_, groups) => List::of(groups.iter().flat_map(|told| {
                told.lines.iter().map(|line| Row {
                    whose: Whose(&told.group),
                    sums: line,
                })
            })),
        }
    }
}
