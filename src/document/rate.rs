//! Rates: what the book says, what finished rooms taught, how sure that is, and where it comes from.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde_json::{Value, json};

use super::{Page, Table, count, inert};
use crate::ledger::{KeptObservation, LookBack, defused, typed};
use crate::money::{Decimal, plain};
use crate::trade::operation::{Driver, Operation};
use crate::trade::quote::WorkLine;
use crate::trade::rates::check::{Foretold, Score};
use crate::trade::rates::{
    Change, Consumption, Drift, Observation, Prediction, Rate, RateKind, RateRow, Word,
};
use crate::trade::{OperationId, Unit};

/// Decimals of rates in JSON: one driver unit takes little.
const RATE_DECIMALS: u32 = 6;

/// People read rates per so many driver units.
const PER: i64 = 100;

/// Renders a rate as JSON: items or hours for one driver unit, and driver units for one item or hour.
pub fn rate_json(row: &RateRow, operation: &Operation, page: &Page) -> Value {
    let driver = operation.driver.unit();
    let one = |rate: Decimal| plain(page.per_unit(rate, driver).0, RATE_DECIMALS);
    let goes = |rate: Decimal| each_does(rate, driver, page).map(|does| plain(does, RATE_DECIMALS));
    let (exposure, per_unit) = page.in_units(row.exposure, driver);
    let [own, operation_share, all, book] = row.shares;
    json!({
        "operation": operation.name,
        "task": operation.task.name,
        "condition": row.cell.condition.map(|condition| condition.as_str()),
        "species": row.cell.species.map(|species| species.as_str()),
        "kind": row.cell.kind.as_str(),
        "unit": counted_in(row.cell.kind, operation).as_str(),
        "per_unit": per_unit.as_str(),
        "book": one(row.book.per_unit),
        "observed": row.observed.map(one),
        "rooms": row.rooms,
        "exposure": plain(exposure, 4),
        "learned": one(row.learned.per_unit),
        "low": one(row.band.0),
        "high": one(row.band.1),
        "book_fixed": plain(row.book.fixed, RATE_DECIMALS),
        "learned_fixed": plain(row.learned.fixed, RATE_DECIMALS),
        "each_does": {
            "book": goes(row.book.per_unit),
            "learned": goes(row.learned.per_unit),
            "low": goes(row.band.1),
            "high": goes(row.band.0),
        },
        "share_percent": {
            "own_rooms": own,
            "other_rooms": operation_share,
            "all_work": all,
            "book": book,
        },
        "drift": { "crew": drift_json(row.crew_drift), "own": drift_json(row.own_drift) },
    })
}

fn drift_json(drift: Drift) -> Value {
    let (found, since, change) = match drift {
        Drift::None => return Value::Null,
        Drift::Suspected { since, change } => ("suspected", Some(since), change),
        Drift::Changed { since, change } => ("changed", Some(since), change),
        Drift::Wandering { change } => ("wandering", None, change),
    };
    json!({ "found": found, "since": since, "change_percent": whole_percent(change) })
}

fn whole_percent(change: f64) -> i64 {
    format!("{:.0}", percent(change))
        .parse()
        .unwrap_or_default()
}

#[expect(
    clippy::float_arithmetic,
    reason = "a change of level is an estimate, never money"
)]
fn percent(change: f64) -> f64 {
    change * 100.0
}

/// Returns how many driver units one item or hour does; `None`: none is taken.
fn each_does(rate: Decimal, driver: Unit, page: &Page) -> Option<Decimal> {
    Decimal::ONE.checked_div(page.per_unit(rate, driver).0)
}

fn counted_in(kind: RateKind, operation: &Operation) -> Unit {
    Rated::from(operation).counted_in(kind)
}

/// Renders the rates as JSON.
pub fn rates_json(
    rows: &[RateRow],
    operations: &BTreeMap<OperationId, Operation>,
    page: &Page,
) -> Value {
    let rows = rows
        .iter()
        .filter_map(|row| Some(rate_json(row, operations.get(&row.cell.operation)?, page)));
    Value::Array(rows.collect())
}

/// Renders the rates as text: one table for each kind of rate, then what moved.
pub fn rates_text(
    rows: &[RateRow],
    operations: &BTreeMap<OperationId, Operation>,
    page: &Page,
) -> String {
    if rows.is_empty() {
        return "No rates yet.".to_owned();
    }
    let mut tables: BTreeMap<String, Table> = BTreeMap::new();
    let mut moved: Vec<String> = Vec::new();
    for row in rows {
        let Some(operation) = operations.get(&row.cell.operation) else {
            continue;
        };
        let driver = operation.driver;
        let counted = counted_in(row.cell.kind, operation);
        let (measured, counted) = (measured_in(driver, page), one_of(counted));
        let plural = match counted {
            "foot" => "feet".to_owned(),
            counted => format!("{counted}s"),
        };
        let title = format!(
            "{measured} per {counted}, and {plural} per {}",
            per(driver, page)
        );
        let per_driver = match driver {
            Driver::Room | Driver::Job => "Per one".to_owned(),
            Driver::Area | Driver::Edge | Driver::Count | Driver::Length => format!("Per {PER}"),
        };
        let table = tables.entry(title).or_insert_with(|| {
            page.table([
                "Operation",
                "Floor",
                "Book",
                "Learned",
                "8 in 10",
                &per_driver,
                "Rooms",
                "Done",
                "Rests on",
            ])
            .numbers([2, 3, 4, 5, 6, 7, 8])
        });
        let does = |rate: Decimal| {
            each_does(rate, driver.unit(), page).map_or_else(|| "-".to_owned(), told)
        };
        let scaled = page.per_unit(row.learned.per_unit, driver.unit()).0 * scale(driver);
        table.row([
            operation.name.clone(),
            floor(row),
            does(row.book.per_unit),
            does(row.learned.per_unit),
            format!("{}-{}", does(row.band.1), does(row.band.0)),
            with_fixed(told(scaled), row.learned),
            row.rooms.to_string(),
            if row.rooms == 0 {
                "-".to_owned()
            } else {
                plain(page.in_units(row.exposure, driver.unit()).0, 0)
            },
            row.shares.map(|share| share.to_string()).join("/"),
        ]);
        for sentence in drift_sentences(row, operation) {
            if !moved.contains(&sentence) {
                moved.push(sentence);
            }
        }
    }
    let tables: Vec<String> = tables
        .iter()
        .map(|(title, table)| format!("{title}\n{table}"))
        .collect();
    let legend = page.prose(
        "8 in 10: the true rate is in there 8 times in 10. a+b: b more for each room and pass.\n\
         Rests on, in percent: your rooms like this / your other rooms with this operation (of hours both are the task's) / \
         all your work / the book.",
    );
    let mut text = format!("{}\n\n{legend}", tables.join("\n\n"));
    for sentence in moved {
        text.push('\n');
        text.push_str(&page.prose(&sentence));
    }
    text
}

/// Writes a figure in about three digits: 15.4, 0.0563, 1240.
fn told(value: Decimal) -> String {
    let decimals = [(100, 0), (10, 1), (1, 2)]
        .into_iter()
        .find(|(least, _)| value.abs() >= Decimal::from(*least))
        .map_or(4, |(_, decimals)| decimals);
    plain(value, decimals)
}

fn floor(row: &RateRow) -> String {
    let condition = row.cell.condition.map(|condition| condition.as_str());
    let words: Vec<&str> = condition
        .into_iter()
        .chain(row.cell.species.map(|species| species.as_str()))
        .collect();
    if words.is_empty() {
        "any".to_owned()
    } else {
        words.join(" ")
    }
}

fn with_fixed(per_unit: String, rate: Rate) -> String {
    match plain(rate.fixed, 2) {
        fixed if fixed == "0" => per_unit,
        fixed => format!("{per_unit}+{fixed}"),
    }
}

fn scale(driver: Driver) -> Decimal {
    match driver {
        Driver::Area | Driver::Edge | Driver::Count | Driver::Length => Decimal::from(PER),
        Driver::Room | Driver::Job => Decimal::ONE,
    }
}

fn measured_in(driver: Driver, page: &Page) -> String {
    match (driver, page.in_units(Decimal::ONE, driver.unit()).1) {
        (Driver::Room | Driver::Job, _) => format!("{driver}s"),
        (Driver::Count, _) => "count".to_owned(),
        (_, Unit::SquareFoot) => "sq ft".to_owned(),
        (_, Unit::SquareMetre) => "m²".to_owned(),
        (_, unit) => unit.to_string(),
    }
}

fn per(driver: Driver, page: &Page) -> String {
    match driver {
        Driver::Room | Driver::Job => driver.as_str().to_owned(),
        Driver::Count => format!("{PER}"),
        Driver::Area | Driver::Edge | Driver::Length => {
            format!("{PER} {}", measured_in(driver, page))
        }
    }
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

/// What a rate is of, in the words that a sentence about it needs.
#[derive(Clone, Copy, Debug)]
pub struct Rated<'a> {
    operation: &'a str,
    task: &'a str,
    driver: Driver,
    item_unit: Option<Unit>,
}

impl Rated<'_> {
    fn counted_in(&self, kind: RateKind) -> Unit {
        match kind {
            RateKind::Hours => Unit::Hour,
            RateKind::Item => self.item_unit.unwrap_or(Unit::Each),
        }
    }
}

impl<'a> From<&'a Operation> for Rated<'a> {
    fn from(operation: &'a Operation) -> Rated<'a> {
        Rated {
            operation: &operation.name,
            task: &operation.task.name,
            driver: operation.driver,
            item_unit: operation.item.as_ref().map(|item| item.unit),
        }
    }
}

impl<'a> From<&'a WorkLine> for Rated<'a> {
    fn from(work: &'a WorkLine) -> Rated<'a> {
        Rated {
            operation: &work.name,
            task: &work.task.name,
            driver: work.driver,
            item_unit: work.item.as_ref().map(|item| item.unit),
        }
    }
}

/// Says in a sentence how far one item or hour goes, how sure that is, and where it comes from.
pub fn sentence(row: &RateRow, rated: &Rated<'_>, page: &Page) -> String {
    let driver = rated.driver;
    let unit = one_of(rated.counted_in(row.cell.kind));
    let does =
        |rate: Decimal| each_does(rate, driver.unit(), page).map_or_else(|| "-".to_owned(), told);
    let other = match row.cell.kind {
        RateKind::Item => rated.operation,
        RateKind::Hours => rated.task,
    };
    let mut from = Vec::new();
    let [own, others, all, book] = row.shares;
    for (share, whose) in [
        (own, like_this(row, rated)),
        (others, format!("your other rooms with {other}")),
        (all, "all your work".to_owned()),
        (book, "the book".to_owned()),
    ] {
        if share > 0 {
            from.push(format!("{share} % from {whose}"));
        }
    }
    let fixed = match plain(row.learned.fixed, 2) {
        fixed if fixed == "0" => String::new(),
        fixed => format!(", and {fixed} more for each room and pass"),
    };
    format!(
        "{} {} per {unit}{fixed} (likely {}-{}; book {}): {}.",
        does(row.learned.per_unit),
        measured_in(driver, page),
        does(row.band.1),
        does(row.band.0),
        does(row.book.per_unit),
        from.join(", ")
    )
}

/// Names the finished rooms of a cell. Hours are learned by the task, so the operation's own rooms don't count them.
fn like_this(row: &RateRow, rated: &Rated<'_>) -> String {
    match (row.cell.kind, rated.driver, row.rooms) {
        (RateKind::Hours, Driver::Job, _) => format!("your hours on {}", rated.task),
        (RateKind::Hours, ..) => format!("your hours on {} in rooms like this", rated.task),
        (RateKind::Item, Driver::Job, jobs) => format!("your {}", count(jobs.max(1), "job")),
        (RateKind::Item, _, 0) => "your work that covers rooms like this".to_owned(),
        (RateKind::Item, _, rooms) => format!("your {} like this", count(rooms, "room")),
    }
}

/// Says what moved: for the whole crew, and for the operation beside it.
fn drift_sentences(row: &RateRow, operation: &Operation) -> Vec<String> {
    let takes = match (row.cell.kind, operation.set_size) {
        (RateKind::Hours, _) => "hours",
        (RateKind::Item, Some(_)) => "discs",
        (RateKind::Item, None) => "finish",
    };
    let own = match row.cell.kind {
        RateKind::Item => &operation.name,
        RateKind::Hours => &operation.task.name,
    };
    let crew = drift_sentence(row.crew_drift, "your crew", takes, None);
    let own = drift_sentence(row.own_drift, own, takes, Some(operation));
    crew.into_iter().chain(own).collect()
}

fn drift_sentence(
    drift: Drift,
    who: &str,
    takes: &str,
    operation: Option<&Operation>,
) -> Option<String> {
    let by = |change: f64| {
        let percent = whole_percent(change);
        let word = match (takes, percent < 0) {
            ("discs", true) => "fewer",
            (_, true) => "less",
            (_, false) => "more",
        };
        let takes = if takes == "hours" { "time" } else { takes };
        let word = if takes == "time" && word == "fewer" {
            "less"
        } else {
            word
        };
        format!("{} % {word} {takes}", percent.abs())
    };
    match drift {
        Drift::None => None,
        Drift::Changed { since, change } => Some(format!(
            "Since {} {who} takes {}; older jobs count at today's pace.",
            long_date(since),
            by(change)
        )),
        Drift::Wandering { change } => Some(format!(
            "What {who} takes has been wandering ({} since the first job); older jobs count at today's pace.",
            by(change)
        )),
        Drift::Suspected { since, change } => {
            let ask = match operation {
                Some(operation) => format!(
                    "Another supplier or technique? gritledger rate change {} --since {since} --note \"...\"",
                    typed(&operation.name)
                ),
                None => "Nothing is counted otherwise for it yet.".to_owned(),
            };
            Some(format!(
                "Since {} {who} seems to take {}. {ask}",
                long_date(since),
                by(change)
            ))
        }
    }
}

fn long_date(date: NaiveDate) -> String {
    date.format("%-d %B %Y").to_string()
}

/// One rate with everything behind it.
#[derive(Clone, Debug)]
pub struct RateStory<'a> {
    /// The operation.
    pub operation: &'a Operation,
    /// The rate as it is learned.
    pub row: RateRow,
    /// The finished rooms that taught it, oldest first.
    pub taught_by: Vec<KeptObservation>,
    /// The rate as it stood after some of them.
    pub course: Vec<(NaiveDate, RateRow)>,
    /// What the owner has dated.
    pub changes: Vec<Change>,
}

/// Renders rates with everything behind them as JSON.
pub fn stories_json(
    stories: &[RateStory<'_>],
    operations: &BTreeMap<OperationId, Operation>,
    page: &Page,
) -> Value {
    let story = |story: &RateStory<'_>| {
        let driver = story.operation.driver.unit();
        let one = |rate: Decimal| plain(page.per_unit(rate, driver).0, RATE_DECIMALS);
        let unit = counted_in(story.row.cell.kind, story.operation);
        json!({
            "rate": rate_json(&story.row, story.operation, page),
            "sentence": sentence(&story.row, &story.operation.into(), page),
            "taught_by": story.taught_by.iter().map(|kept| {
                let observation = &kept.observation;
                json!({
                    "id": kept.number,
                    "finished_on": observation.finished_on,
                    "job": &*observation.job,
                    "room": rooms(observation),
                    "quantity": plain(observation.quantity, 4),
                    "unit": unit.as_str(),
                    "done": driven(observation, operations)
                        .map(|driven| page.quantity_json(driven, driver)),
                    "word": observation.word.as_str(),
                })
            }).collect::<Vec<_>>(),
            "course": story.course.iter().map(|(date, row)| json!({
                "date": date,
                "learned": one(row.learned.per_unit),
                "low": one(row.band.0),
                "high": one(row.band.1),
            })).collect::<Vec<_>>(),
            "changes": story.changes.iter().map(|change| json!({
                "since": change.since, "kind": change.kind.as_str(), "note": change.note,
            })).collect::<Vec<_>>(),
        })
    };
    Value::Array(stories.iter().map(story).collect())
}

fn rooms(observation: &Observation) -> String {
    observation.rooms().join(", ")
}

/// Returns how much was done; `None`: hours over work that is measured in several ways.
fn driven(
    observation: &Observation,
    operations: &BTreeMap<OperationId, Operation>,
) -> Option<Decimal> {
    let mut drivers = observation
        .parts
        .iter()
        .filter_map(|part| operations.get(&part.operation))
        .map(|operation| operation.driver);
    let first = drivers.next()?;
    drivers
        .all(|driver| driver == first)
        .then(|| observation.parts.iter().map(|part| part.driver).sum())
}

/// Renders rates with everything behind them as text.
pub fn stories_text(
    stories: &[RateStory<'_>],
    operations: &BTreeMap<OperationId, Operation>,
    page: &Page,
) -> String {
    let texts: Vec<String> = stories
        .iter()
        .map(|story| story_text(story, operations, page))
        .collect();
    texts.join("\n\n")
}

fn story_text(
    story: &RateStory<'_>,
    operations: &BTreeMap<OperationId, Operation>,
    page: &Page,
) -> String {
    let RateStory {
        operation,
        row,
        taught_by,
        course,
        changes,
    } = story;
    let unit = counted_in(row.cell.kind, operation);
    let what = match row.cell.kind {
        RateKind::Item => operation.item.as_ref().map_or("items", |item| &item.name),
        RateKind::Hours => "hours",
    };
    let mut text = format!(
        "{} on {}: {what}\n{}",
        operation.name,
        match floor(row).as_str() {
            "any" => "any floor".to_owned(),
            floor => floor.to_owned(),
        },
        page.prose(&sentence(row, &Rated::from(*operation), page))
    );
    for sentence in drift_sentences(row, operation) {
        text.push('\n');
        text.push_str(&page.prose(&sentence));
    }
    for change in changes {
        text.push_str(&format!(
            "\nLearned anew since {}: {}.",
            long_date(change.since),
            inert(&change.note)
        ));
    }
    if !taught_by.is_empty() {
        let mut table = page
            .table(["Finished", "Job", "Room", "Done", "Took", ""])
            .numbers([3, 4]);
        for KeptObservation {
            number,
            observation,
            ..
        } in taught_by
        {
            let word = match observation.word {
                Word::Good => String::new(),
                Word::Doubted => format!("{number}: looks like a slip, set aside"),
                Word::Confirmed => format!("{number}: confirmed"),
            };
            table.row([
                observation.finished_on.to_string(),
                observation.job.to_string(),
                rooms(observation),
                driven(observation, operations).map_or_else(
                    || "-".to_owned(),
                    |driven| page.quantity(driven, operation.driver.unit()),
                ),
                page.quantity(observation.quantity, unit),
                word,
            ]);
        }
        text.push_str(&format!("\n\n{table}"));
    }
    if course.len() > 1 {
        text.push_str(&format!("\n\n{}", picture(story, page)));
    }
    text
}

/// Draws the band against the date: how far one item or hour was thought to go, and how sure that was.
fn picture(story: &RateStory<'_>, page: &Page) -> String {
    let driver = story.operation.driver;
    let does = |rate: Decimal| each_does(rate, driver.unit(), page).unwrap_or_default();
    let bands: Vec<(NaiveDate, [Decimal; 3])> = story
        .course
        .iter()
        .map(|(date, row)| {
            (
                *date,
                [
                    does(row.band.1),
                    does(row.learned.per_unit),
                    does(row.band.0),
                ],
            )
        })
        .collect();
    let (mut least, mut most) = (bands[0].1[0], bands[0].1[2]);
    for (_, [low, _, high]) in &bands {
        (least, most) = (least.min(*low), most.max(*high));
    }
    let columns = page.width.saturating_sub(26).clamp(10, 50);
    let place = |value: Decimal| -> usize {
        let span = (most - least).max(Decimal::new(1, 6));
        let along = (value - least) / span * Decimal::from(columns - 1);
        plain(along, 0).parse().unwrap_or_default()
    };
    let (line, mark) = if page.unicode {
        ('─', '●')
    } else {
        ('-', 'o')
    };
    let mut text = format!(
        "{} per {}, {} to {}: the band at each date, and the learned rate",
        measured_in(driver, page),
        one_of(counted_in(story.row.cell.kind, story.operation)),
        told(least),
        told(most)
    );
    for (date, [low, middle, high]) in bands {
        let (from, at, to) = (place(low), place(middle), place(high));
        let bar: String = (0..columns)
            .map(|column| match column {
                _ if column == at => mark,
                _ if (from..=to).contains(&column) => line,
                _ => ' ',
            })
            .collect();
        text.push_str(&format!("\n{date}  {}  {}", bar, told(middle)));
    }
    text
}

/// Returns what is foretold, with its names.
fn figures(prediction: &Prediction) -> [(&'static str, Decimal); 5] {
    let Prediction {
        mean,
        p10,
        p50,
        p80,
        p90,
    } = *prediction;
    [
        ("mean", mean),
        ("p10", p10),
        ("p50", p50),
        ("p80", p80),
        ("p90", p90),
    ]
}

/// Renders a prediction as JSON.
pub fn prediction_json(
    prediction: &Prediction,
    operation: &Operation,
    kind: RateKind,
    rooms: usize,
) -> Value {
    let mut value = json!({
        "operation": operation.name,
        "kind": kind.as_str(),
        "unit": counted_in(kind, operation).as_str(),
        "rooms": rooms,
    });
    for (name, figure) in figures(prediction) {
        value[name] = json!(plain(figure, 4));
    }
    value
}

/// Renders a prediction as text.
pub fn prediction_text(
    prediction: &Prediction,
    operation: &Operation,
    kind: RateKind,
    rooms: usize,
    page: &Page,
) -> String {
    let unit = counted_in(kind, operation);
    let say = |quantity: Decimal| page.quantity(quantity, unit);
    let what = match (kind, &operation.item) {
        (RateKind::Item, Some(item)) => format!(" {}", item.name),
        _ => String::new(),
    };
    format!(
        "{}{what}, {}: expect {}.\n\
         1 time in 10 at most {}; 5 in 10 at most {}; 8 in 10 at most {}; 9 in 10 at most {}.",
        operation.name,
        count(rooms, "room"),
        say(prediction.mean),
        say(prediction.p10),
        say(prediction.p50),
        say(prediction.p80),
        say(prediction.p90),
    )
}

/// Renders the predictions of a file of cases as JSON.
pub fn cases_json(cases: &[(String, Prediction)]) -> Value {
    let case = |(id, prediction): &(String, Prediction)| {
        let mut value = json!({ "case_id": id });
        for (name, figure) in figures(prediction) {
            value[name] = json!(plain(figure, RATE_DECIMALS));
        }
        value
    };
    Value::Array(cases.iter().map(case).collect())
}

/// Renders the predictions of a file of cases as CSV; an id that a spreadsheet would run is defused.
///
/// # Errors
/// Fails if the CSV can't be written.
pub fn cases_csv(cases: &[(String, Prediction)]) -> csv::Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(["case_id", "mean", "p10", "p50", "p80", "p90"])?;
    for (id, prediction) in cases {
        let quantities = figures(prediction).map(|(_, figure)| plain(figure, RATE_DECIMALS));
        writer.write_field(defused(id))?;
        writer.write_record(&quantities)?;
    }
    writer.flush()?;
    let bytes = writer.into_inner().unwrap_or_default();
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// A group of records that the proof is summed up for.
type ScoreLine = (String, Score);

fn scores(look_back: &LookBack) -> Vec<ScoreLine> {
    let of = |belongs: &dyn Fn(&Foretold) -> bool| {
        let found = look_back.foretold.iter().filter(|found| belongs(found));
        Score::of(&look_back.observations, found)
    };
    let mut lines = vec![("all".to_owned(), of(&|_| true))];
    for consumption in Consumption::ALL.iter().copied() {
        lines.push((
            consumption.to_string(),
            of(&|found| found.consumption == consumption),
        ));
    }
    let mut years: Vec<i32> = look_back.foretold.iter().map(|found| found.year).collect();
    years.sort_unstable();
    years.dedup();
    for year in years {
        lines.push((year.to_string(), of(&|found| found.year == year)));
    }
    lines
}

fn slips(look_back: &LookBack) -> impl Iterator<Item = (&Foretold, &Observation, &str)> {
    look_back
        .foretold
        .iter()
        .filter(|found| found.word == Word::Doubted)
        .map(|found| {
            (
                found,
                &look_back.observations[found.place],
                look_back.numbers[found.place].as_str(),
            )
        })
}

fn one_decimal(value: f64) -> Value {
    format!("{value:.1}")
        .parse::<serde_json::Number>()
        .map_or(Value::Null, Value::Number)
}

fn score_json(score: &Score) -> Value {
    let [learned, book, plain_average] = score.errors;
    let number = |value: f64| {
        if score.records == 0 {
            Value::Null
        } else {
            one_decimal(value)
        }
    };
    json!({
        "records": score.records,
        "inside_80_percent": number(score.inside),
        "at_or_below_80_percent": number(score.below),
        "mean_error_percent": {
            "learned": number(learned),
            "book": number(book),
            "plain_average": number(plain_average),
        },
        "verdict": score.verdict().as_str(),
    })
}

/// Renders the proof and the slips as JSON.
pub fn check_json(look_back: &LookBack, operations: &BTreeMap<OperationId, Operation>) -> Value {
    let lines = scores(look_back);
    let mut answer = score_json(&lines[0].1);
    let groups: Vec<Value> = lines[1..]
        .iter()
        .map(|(name, score)| {
            let mut value = score_json(score);
            value["of"] = json!(name);
            value
        })
        .collect();
    answer["by"] = Value::Array(groups);
    answer["slips"] = slips(look_back)
        .map(|(found, observation, number)| {
            json!({
                "id": number,
                "finished_on": observation.finished_on,
                "job": &*observation.job,
                "room": rooms(observation),
                "operation": operation_names(observation, operations),
                "kind": observation.kind.as_str(),
                "quantity": plain(observation.quantity, 4),
                "low": plain(found.band.0, 4),
                "high": plain(found.band.1, 4),
                "reason": found.slip.as_ref().map(ToString::to_string),
            })
        })
        .collect();
    answer
}

/// Returns the operation; hours over several are on their task.
fn operation_names(
    observation: &Observation,
    operations: &BTreeMap<OperationId, Operation>,
) -> String {
    let of_parts = || {
        let parts = observation.parts.iter();
        parts.filter_map(|part| operations.get(&part.operation))
    };
    let mut names: Vec<&str> = of_parts()
        .map(|operation| operation.name.as_str())
        .collect();
    names.sort_unstable();
    names.dedup();
    match (observation.kind, &names[..], of_parts().next()) {
        (RateKind::Hours, [_, _, ..], Some(first)) => first.task.name.clone(),
        _ => names.join(", "),
    }
}

/// Renders the proof and the slips as text.
pub fn check_text(
    look_back: &LookBack,
    operations: &BTreeMap<OperationId, Operation>,
    page: &Page,
) -> String {
    let lines = scores(look_back);
    if look_back.foretold.is_empty() {
        return "No finished room yet: nothing to check.".to_owned();
    }
    let mut table = page
        .table([
            "Of", "Records", "Inside", "Below", "Off", "Book", "Average", "Verdict",
        ])
        .numbers(1..=6);
    for (name, score) in lines.iter().filter(|(_, score)| score.records > 0) {
        let say = |value: f64| format!("{value:.0} %");
        table.row([
            name.clone(),
            score.records.to_string(),
            say(score.inside),
            say(score.below),
            say(score.errors[0]),
            say(score.errors[1]),
            say(score.errors[2]),
            score.verdict().as_str().to_owned(),
        ]);
    }
    let mut text = if lines[0].1.records == 0 {
        "No finished room yet.".to_owned()
    } else {
        let legend = page.prose(
            "80 % should be inside the 80 % band, and at or below the 80 % line; counts on the border are inside in part.\n\
             Off: mean distance from what was expected, in percent of the book's figure; beside it that of the book alone \
             and of the plain average.",
        );
        format!("Each finished job, foretold from the earlier ones only.\n\n{table}\n\n{legend}")
    };
    let mut entries = String::new();
    for (found, observation, number) in slips(look_back) {
        let unit = match observation.kind {
            RateKind::Hours => Unit::Hour,
            RateKind::Item => observation
                .parts
                .first()
                .and_then(|part| operations.get(&part.operation))
                .map_or(Unit::Each, |operation| {
                    counted_in(observation.kind, operation)
                }),
        };
        let words = format!(
            "{number}: {} for {} in {} of {}; rooms like this take {} to {}: {}?",
            page.quantity(observation.quantity, unit),
            operation_names(observation, operations),
            inert(&rooms(observation)),
            inert(&observation.job),
            plain(found.band.0, 2),
            plain(found.band.1, 2),
            found
                .slip
                .as_ref()
                .map_or_else(String::new, ToString::to_string),
        );
        entries.push_str(&format!(
            "\n{}\n  gritledger rate confirm {number}\n  gritledger void {number} --reason \"...\"",
            page.prose(&words)
        ));
    }
    if !entries.is_empty() {
        text.push_str("\n\nThese look like slips; they are set aside until you answer:");
        text.push_str(&entries);
    }
    text
}
#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;
    use crate::measure::Units;
    use crate::money::Currency;
    use crate::trade::operation::{Item, Splits, Task};
    use crate::trade::rates::{Cell, Drift};
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
            band: (dec!(0.08), dec!(0.12)),
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
            let value = rate_json(
                &row,
                &rotary(),
                &Page {
                    currency,
                    units,
                    width: 80,
                    unicode: false,
                },
            );
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
