//! Rates: what the book says, what finished rooms taught, how sure that is, and where it comes from.
//!
//! `story.rs` shows one rate with everything behind it, `moved.rs` what a job changed, `prediction.rs` what rooms will take, `proof.rs` whether the bands
//! hold, and what looks like a slip.

pub mod moved;
pub mod prediction;
pub mod proof;
pub mod story;

use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::fmt;

use chrono::NaiveDate;
use serde::{Serialize, Serializer};

use super::figures::{Number, Quantity};
use super::{Answer, List, Page, count, or_blank};
use crate::ledger::typed;
use crate::money::{Decimal, plain, round};
use crate::trade::operation::{Driver, Operation};
use crate::trade::quote::WorkLine;
use crate::trade::rates::{Change, Drift, Observation, RateKind, RateRow};
use crate::trade::{FloorCondition, OperationId, Species, Unit};

/// Decimals of rates in JSON: one driver unit takes little.
const RATE_DECIMALS: u32 = 6;

/// Significant figures of a rate for people.
const FIGURES: i32 = 3;

type Operations = BTreeMap<OperationId, Operation>;

/// A rate, or what follows from one: six decimals in JSON; for people, three figures at most: 15.4, 0.0563, 1240.
#[derive(Clone, Copy, Debug)]
struct Fine(Decimal);

impl Fine {
    /// Returns how many driver units one item or hour does, if this is what one driver unit takes; `None`: it takes none.
    fn goes(self) -> Option<Fine> {
        Decimal::ONE.checked_div(self.0).map(Fine)
    }
}

impl Fine {
    /// Returns how many decimals three figures take; fewer than none: it is rounded before the point.
    fn decimals(self) -> i32 {
        let mut decimals = FIGURES - 1;
        let mut left = self.0.abs();
        while left >= Decimal::TEN {
            (left, decimals) = (left / Decimal::TEN, decimals - 1);
        }
        while !left.is_zero() && left < Decimal::ONE && decimals < RATE_DECIMALS as i32 {
            (left, decimals) = (left * Decimal::TEN, decimals + 1);
        }
        decimals
    }

    /// Rounds it to so many decimals, or before the point.
    fn rounded(self, decimals: i32) -> Decimal {
        let step = (decimals..0).fold(Decimal::ONE, |step, _| step * Decimal::TEN);
        let decimals = u32::try_from(decimals).unwrap_or_default();
        let mut rounded = round(self.0 / step, decimals) * step;
        rounded.rescale(decimals);
        rounded
    }

    /// Writes from how much to how much, with the same decimals at both ends.
    fn to(self, high: Fine) -> String {
        let decimals = high.decimals();
        format!("{} to {}", self.rounded(decimals), high.rounded(decimals))
    }
}

impl fmt::Display for Fine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&plain(self.rounded(self.decimals()), RATE_DECIMALS))
    }
}

in_a_column! { Fine, Found }

impl Serialize for Fine {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&plain(self.0, RATE_DECIMALS))
    }
}

/// What a rate is of.
#[derive(Clone, Copy, Debug)]
pub struct Rated<'a> {
    operation: &'a str,
    task: &'a str,
    driver: Driver,
    item: Option<(&'a str, Unit)>,
    in_sets: bool,
}

impl Rated<'_> {
    fn counted_in(&self, kind: RateKind) -> Unit {
        match (kind, self.item) {
            (RateKind::Hours, _) => Unit::Hour,
            (RateKind::Item, Some((_, unit))) => unit,
            (RateKind::Item, None) => Unit::Each,
        }
    }
}

impl<'a> From<&'a Operation> for Rated<'a> {
    fn from(operation: &'a Operation) -> Rated<'a> {
        let item = operation.item.as_ref();
        Rated {
            operation: &operation.name,
            task: &operation.task.name,
            driver: operation.driver,
            item: item.map(|item| (item.name.as_str(), item.unit)),
            in_sets: operation.set_size.is_some(),
        }
    }
}

impl<'a> From<&'a WorkLine> for Rated<'a> {
    fn from(work: &'a WorkLine) -> Rated<'a> {
        let item = work.item.as_ref();
        Rated {
            operation: &work.name,
            task: &work.task.name,
            driver: work.driver,
            item: item.map(|item| (item.name.as_str(), item.unit)),
            in_sets: false,
        }
    }
}

columns! {
    /// How many driver units one item or hour does; `None`: none is taken.
    #[derive(Clone, Copy, Debug, Serialize)]
    struct EachDoes {
        book: Option<Fine>,
        learned: Option<Fine>,
        low: Option<Fine>,
        high: Option<Fine>,
    }
}

answer! {
    /// What a rate rests on.
    struct Shares of (shares: [u32; 4]) on page
    let [own_rooms, other_rooms, all_work, book] = shares;
    {
        own_rooms: u32,
        other_rooms: u32,
        all_work: u32,
        book: u32,
    }
}

#[derive(Clone, Copy, Debug, Serialize)]
#[serde(rename_all = "lowercase")]
enum Found {
    Suspected,
    Changed,
    Wandering,
}

columns! {
    /// What was found about a level.
    #[derive(Clone, Copy, Debug, Serialize)]
    struct DriftFacts {
        found: Found,
        since: Option<NaiveDate>,
        change_percent: i64,
    }
}

impl DriftFacts {
    fn new(drift: Drift) -> Option<DriftFacts> {
        let (found, since, change) = match drift {
            Drift::None => return None,
            Drift::Suspected { since, change } => (Found::Suspected, Some(since), change),
            Drift::Changed { since, change } => (Found::Changed, Some(since), change),
            Drift::Wandering { change } => (Found::Wandering, None, change),
        };
        Some(DriftFacts {
            found,
            since,
            change_percent: whole_percent(change),
        })
    }

    /// Says what moved: `who` takes more or less, in the words for what is taken and for less of it. `ask`: the operation
    /// whose change the owner is asked to date.
    fn sentence(self, who: &str, (takes, less): (&str, &str), ask: Option<&str>) -> String {
        let word = if self.change_percent < 0 {
            less
        } else {
            "more"
        };
        let by = format!("{} % {word} {takes}", self.change_percent.abs());
        let since = or_blank(self.since.map(long_date));
        match self.found {
            Found::Changed => {
                format!("Since {since} {who} takes {by}; older jobs count at today's pace.")
            }
            Found::Wandering => format!(
                "What {who} takes has been wandering ({by} since the first job); older jobs count at today's pace."
            ),
            Found::Suspected => {
                let ask = match ask {
                    Some(operation) => format!(
                        "Another supplier or technique? gritledger rate change {} --since {} --note \"...\"",
                        typed(operation),
                        or_blank(self.since)
                    ),
                    None => "Nothing is counted otherwise for it yet.".to_owned(),
                };
                format!("Since {since} {who} seems to take {by}. {ask}")
            }
        }
    }
}

#[expect(
    clippy::float_arithmetic,
    reason = "a change of level is an estimate, never money"
)]
fn whole_percent(change: f64) -> i64 {
    let percent = format!("{:.0}", change * 100.0);
    percent.parse().unwrap_or_default()
}

columns! {
    /// How the level of the crew moved, and that of the operation or task beside it.
    #[derive(Debug, Serialize)]
    struct Drifts {
        crew: Option<DriftFacts>,
        own: Option<DriftFacts>,
    }
}

answer! {
    /// A rate: items or hours for one driver unit, and driver units for one item or hour.
    pub struct RateAnswer of (row: &RateRow, of: Rated<'_>) on page
    let Rated { operation, task, driver, item, in_sets } = of;
    let one = |rate: Decimal| Fine(page.per_unit(rate, driver.unit()));
    let exposure = page.measured(row.exposure, driver.unit());
    let (book, learned) = (one(row.book.per_unit), one(row.learned.per_unit));
    let (low, high) = (one(row.band.low), one(row.band.high));
    {
        operation: String = operation.to_owned(),
        task: String = task.to_owned(),
        condition: Option<FloorCondition> = row.cell.condition,
        species: Option<Species> = row.cell.species,
        kind: RateKind = row.cell.kind,
        unit: Unit = of.counted_in(row.cell.kind),
        per_unit: Unit = exposure.unit,
        book: Fine,
        observed: Option<Fine> = row.observed.map(one),
        rooms: usize = row.rooms,
        exposure: Number = exposure.quantity,
        learned: Fine,
        low: Fine,
        high: Fine,
        book_fixed: Fine = Fine(row.book.fixed),
        learned_fixed: Fine = Fine(row.learned.fixed),
        each_does: EachDoes = EachDoes {
            book: book.goes(),
            learned: learned.goes(),
            low: high.goes(),
            high: low.goes(),
        },
        share_percent: Shares = Shares::new(row.shares, page),
        drift: Drifts = Drifts {
            crew: DriftFacts::new(row.crew_drift),
            own: DriftFacts::new(row.own_drift),
        },
        #[serde(skip)]
        driver: Driver,
        #[serde(skip)]
        item: Option<String> = item.map(|(name, _)| name.to_owned()),
        #[serde(skip)]
        in_sets: bool,
    }
}

told_as_it_is!(Fine, RateAnswer);

impl RateAnswer {
    /// Says in a sentence how far one item or hour goes, how sure that is, and where it comes from.
    pub fn sentence(&self) -> String {
        let other = match self.kind {
            RateKind::Item => &self.operation,
            RateKind::Hours => &self.task,
        };
        let shares = &self.share_percent;
        let from = [
            (shares.own_rooms, self.like_this()),
            (shares.other_rooms, format!("your other rooms with {other}")),
            (shares.all_work, "all your work".to_owned()),
            (shares.book, "the book".to_owned()),
        ];
        let from = from.into_iter().filter(|(share, _)| *share > 0);
        let from: Vec<String> = from
            .map(|(share, whose)| format!("{share} % from {whose}"))
            .collect();
        let fixed = self
            .fixed()
            .map(|fixed| format!(", and {fixed} more for each room and pass"));
        let learned = far(self.each_does.learned);
        format!(
            "{learned} {}{} (likely {}; book {}): {}.",
            self.per(&learned),
            or_blank(fixed),
            self.band(),
            far(self.each_does.book),
            from.join(", ")
        )
    }

    /// Names the finished rooms of its cell. Hours are learned by the task, so the operation's own rooms don't count them.
    fn like_this(&self) -> String {
        match (self.kind, self.driver, self.rooms) {
            (RateKind::Hours, Driver::Job, _) => format!("your hours on {}", self.task),
            (RateKind::Hours, ..) => format!("your hours on {} in rooms like this", self.task),
            (RateKind::Item, Driver::Job, jobs) => format!("your {}", count(jobs.max(1), "job")),
            (RateKind::Item, _, 0) => "your work that covers rooms like this".to_owned(),
            (RateKind::Item, _, rooms) => format!("your {} like this", count(rooms, "room")),
        }
    }

    /// Says what moved: for the whole crew, and for the operation beside it.
    fn drift_sentences(&self) -> impl Iterator<Item = String> {
        let takes = match (self.kind, self.in_sets) {
            (RateKind::Hours, _) => ("time", "less"),
            (RateKind::Item, true) => ("discs", "fewer"),
            (RateKind::Item, false) => ("finish", "less"),
        };
        let own = match self.kind {
            RateKind::Item => &self.operation,
            RateKind::Hours => &self.task,
        };
        let crew = self.drift.crew;
        let crew = crew.map(|drift| drift.sentence("your crew", takes, None));
        let own = self
            .drift
            .own
            .map(|drift| drift.sentence(own, takes, Some(&self.operation)));
        crew.into_iter().chain(own)
    }

    fn band(&self) -> String {
        let EachDoes { low, high, .. } = self.each_does;
        let both = low.zip(high).map(|(low, high)| low.to(high));
        both.unwrap_or_else(|| far(low.or(high)))
    }

    /// Returns what each room and pass adds, if anything: `0.86 discs`.
    fn fixed(&self) -> Option<String> {
        let fixed = Quantity {
            quantity: Number(self.learned_fixed.0),
            unit: self.unit,
        };
        Some(fixed.to_string()).filter(|_| !round(self.learned_fixed.0, 2).is_zero())
    }

    /// Returns how much more is taken than the book says, as a fraction of that; `None`: one of the two takes nothing.
    fn more(&self) -> Option<Decimal> {
        let more = self.learned.0.checked_div(self.book.0)? - Decimal::ONE;
        Some(more).filter(|_| !self.learned.0.is_zero())
    }

    /// Returns how far it is from the book: twice as much is as far as half as much.
    fn distance(&self) -> Decimal {
        let [least, most] = [
            self.learned.0.min(self.book.0),
            self.learned.0.max(self.book.0),
        ];
        match most.checked_div(least) {
            Some(times) => times,
            None if most.is_zero() => Decimal::ONE,
            None => Decimal::MAX,
        }
    }

    fn floor(&self) -> String {
        let condition = self.condition.map(FloorCondition::as_str);
        let words = condition
            .into_iter()
            .chain(self.species.map(Species::as_str));
        match words.collect::<Vec<_>>() {
            none if none.is_empty() => "any".to_owned(),
            words => words.join(" "),
        }
    }

    fn measured_in(&self, far: &str) -> String {
        match (self.driver, self.per_unit) {
            (Driver::Room | Driver::Job, _) if far == "1" => self.driver.to_string(),
            (Driver::Room | Driver::Job, _) => format!("{}s", self.driver),
            (Driver::Count, _) => "count".to_owned(),
            (_, Unit::SquareFoot) => "sq ft".to_owned(),
            (_, Unit::SquareMetre) => "m²".to_owned(),
            (_, unit) => unit.to_string(),
        }
    }

    /// Says what a figure is: `sq ft per disc`; what is counted has no name of its own: `per hour`.
    fn per(&self, far: &str) -> String {
        let one = one_of(self.unit);
        match self.driver {
            Driver::Count => format!("per {one}"),
            _ => format!("{} per {one}", self.measured_in(far)),
        }
    }

    /// Says how far one item or hour goes, beside what the book says: `6.91 sq ft per disc, 8.23 by the book`.
    fn goes(&self) -> String {
        let learned = far(self.each_does.learned);
        let book = far(self.each_does.book);
        match learned == book {
            true => format!("{learned} {}, as in the book", self.per(&learned)),
            false => format!("{learned} {}, {book} by the book", self.per(&learned)),
        }
    }

    fn cells(&self) -> [String; 8] {
        let more = self
            .more()
            .map(|more| round(more * Decimal::ONE_HUNDRED, 0));
        let more = more.map(|more| match more.is_zero() {
            true => "as much".to_owned(),
            false => format!("{more:+} %"),
        });
        [
            self.operation.clone(),
            self.floor(),
            self.per(""),
            far(self.each_does.book),
            far(self.each_does.learned),
            self.band(),
            more.unwrap_or_else(|| "-".to_owned()),
            self.rooms.to_string(),
        ]
    }
}

/// Writes how far one item or hour goes.
fn far(does: Option<Fine>) -> String {
    does.map_or_else(|| "-".to_owned(), |does| does.to_string())
}

fn one_of(unit: Unit) -> &'static str {
    match unit {
        Unit::Gallon => "gallon",
        Unit::Litre => "litre",
        Unit::Hour => "hour",
        Unit::Each => "piece",
        Unit::Foot => "foot",
        Unit::Metre => "metre",
        unit => unit.as_str(),
    }
}

fn long_date(date: NaiveDate) -> String {
    date.format("%-d %B %Y").to_string()
}

fn rooms(observation: &Observation) -> String {
    observation.rooms().join(", ")
}

/// The rates; for people, those furthest from the book first.
#[derive(Debug, Serialize)]
#[serde(transparent)]
pub struct RateList {
    rates: Vec<RateAnswer>,
    /// How many people are shown; `None`: all, in their order.
    #[serde(skip)]
    most: Option<usize>,
    /// Whether they are those alone that finished rooms have taught.
    #[serde(skip)]
    learned: bool,
}

impl RateList {
    /// Returns the answer about these rates; `most`: how many people are shown.
    pub fn new(
        rows: &[RateRow],
        most: Option<usize>,
        operations: &Operations,
        page: &Page,
    ) -> RateList {
        let rates = rows.iter().filter_map(|row| {
            let operation = operations.get(&row.cell.operation)?;
            Some(RateAnswer::new(row, operation.into(), page))
        });
        RateList {
            rates: rates.collect(),
            most,
            learned: false,
        }
    }

    /// Leaves out what no finished room has taught.
    #[must_use]
    pub fn learned(mut self) -> RateList {
        self.rates.retain(|rate| rate.rooms > 0);
        self.learned = true;
        self
    }

    /// Says what is furthest from the book.
    fn answer(&self) -> String {
        let furthest = self
            .rates
            .iter()
            .filter(|rate| rate.distance() != Decimal::ONE);
        let furthest = furthest.min_by_key(|rate| Reverse((round(rate.distance(), 2), rate.rooms)));
        let rates = count(self.rates.len(), "rate");
        match furthest {
            Some(rate) => format!(
                "Furthest from the book: {} on {}, {}.",
                rate.operation,
                rate.floor(),
                rate.goes()
            ),
            None => format!("{rates}, each as in the book."),
        }
    }

    /// Says how many of the rates are shown, and how all of them are.
    fn of_them(&self, shown: usize) -> String {
        let (all, whose) = (
            self.rates.len(),
            if self.learned { " --learned" } else { "" },
        );
        match self.most {
            Some(_) if shown < all => format!(
                "{shown} of {}; all of them: gritledger rate list{whose} --all",
                count(all, "rate")
            ),
            _ => format!("{}:", count(all, "rate")),
        }
    }

    /// Returns what people are shown.
    fn shown(&self) -> Vec<&RateAnswer> {
        let mut shown: Vec<&RateAnswer> = self.rates.iter().collect();
        if let Some(most) = self.most {
            shown.retain(|rate| rate.distance() != Decimal::ONE);
            // Of those as far, what finished rooms have taught themselves comes first.
            shown.sort_by_key(|rate| Reverse((round(rate.distance(), 2), rate.rooms)));
            shown.truncate(most);
        }
        shown
    }
}

impl Answer for RateList {
    /// Writes what is furthest from the book, then what moved.
    fn text(&self, page: &Page) -> String {
        if self.rates.is_empty() {
            return "No rates yet.".to_owned();
        }
        let shown = self.shown();
        let mut parts = vec![page.prose(&self.answer())];
        parts.push(page.prose(&self.of_them(shown.len())));
        let headings = [
            "Operation",
            "Floor",
            "In",
            "Book",
            "Yours",
            "8 times in 10",
            "Takes",
            "Rooms",
        ];
        let table = page.table(headings).numbers(3..=7).goes([7, 5]);
        let mut table = table.makes_room([6, 3]);
        for rate in &shown {
            table.row(rate.cells());
        }
        if !table.is_empty() {
            parts.push(format!("\n{table}\n"));
            parts.push(page.prose(
                "Yours is what quotes use: the book, moved by what your finished work took; 8 times in 10 the true figure is in \
                 the range beside it. Takes: how much more or less than the book says. Rooms: your finished ones of that \
                 kind; with none, it follows your other work.\n\
                 What each room takes besides, and the rooms behind a rate: gritledger rate show OPERATION",
            ));
        }
        let mut moved: Vec<String> = Vec::new();
        for sentence in self.rates.iter().flat_map(RateAnswer::drift_sentences) {
            if !moved.contains(&sentence) {
                moved.push(sentence);
            }
        }
        parts.extend(moved.iter().map(|sentence| page.prose(sentence)));
        parts.join("\n")
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.rates)
    }
}

/// Entries that were confirmed.
#[derive(Debug, Serialize)]
pub struct ConfirmedAnswer {
    /// Their numbers.
    pub confirmed: Vec<String>,
}

answer! {
    /// A dated change: an operation that is learned anew.
    pub struct ChangedAnswer from change: Change with (operation: String) on page {
        operation: String = operation,
        kind: RateKind,
        since: NaiveDate,
        note: String,
        .. { operation }
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;
    use crate::measure::Units;
    use crate::money::Currency;
    use crate::trade::operation::{Item, Splits, Task};
    use crate::trade::rates::{Band, Cell, Rate};
    use crate::trade::{ItemId, TaskId};

    fn rotary() -> Operation {
        Operation {
            id: OperationId(1),
            name: "rotary-36".to_owned(),
            task: Task {
                id: TaskId(1),
                name: "sand".to_owned(),
            },
            driver: Driver::Area,
            item: Some(Item {
                id: ItemId(1),
                name: "disc-7in-36".to_owned(),
                unit: Unit::Disc,
                price: dec!(2.1),
            }),
            set_size: Some(3),
            family: "rotary".to_owned(),
            splits: Splits::Condition,
            machine: None,
            grit: Some(36),
            harden_hours: None,
            answers: None,
            hazards: Vec::new(),
            description: String::new(),
            source: String::new(),
        }
    }

    #[test]
    fn a_rate_is_told_per_driver_unit_of_the_ledger() {
        let rate = |per_unit| Rate {
            per_unit,
            fixed: dec!(0.9),
        };
        let row = RateRow {
            cell: Cell {
                operation: OperationId(1),
                kind: RateKind::Item,
                condition: None,
                species: None,
            },
            book: rate(dec!(0.1)),
            observed: None,
            rooms: 0,
            exposure: Decimal::ZERO,
            learned: rate(dec!(0.1)),
            band: Band {
                low: dec!(0.08),
                high: dec!(0.12),
            },
            shares: [0, 0, 0, 100],
            crew_drift: Drift::None,
            own_drift: Drift::None,
            newest: Vec::new(),
        };
        // 1 sq ft is 0.09290304 m² (NIST Handbook 44): 0.1 discs a square foot are 1.076391 a square metre.
        for (units, per_unit, book) in [
            (Units::Us, "sqft", "0.1"),
            (Units::Metric, "m2", "1.076391"),
        ] {
            let currency = Currency::from_code("USD").unwrap();
            let page = Page {
                currency,
                units,
                width: 80,
                unicode: false,
            };
            let value =
                serde_json::to_value(RateAnswer::new(&row, (&rotary()).into(), &page)).unwrap();
            assert_eq!(
                (value["per_unit"].as_str(), value["book"].as_str()),
                (Some(per_unit), Some(book))
            );
            assert_eq!(
                (value["unit"].as_str(), value["observed"].is_null()),
                (Some("disc"), true)
            );
        }
    }
}
