//! One rate with everything behind it: the rooms that taught it, and how it came to be what it is.

use std::fmt::Write as _;

use chrono::NaiveDate;

use super::{Fine, Operations, RateAnswer, long_date, rooms};
use crate::document::figures::{Number, Quantity};
use crate::document::{Answer, List, Page, count, inert, or_blank};
use crate::ledger::KeptObservation;
use crate::money::{Decimal, plain};
use crate::trade::Unit;
use crate::trade::operation::Operation;
use crate::trade::rates::{Change, Observation, RateKind, RateRow, Status};

/// One rate with everything behind it.
#[derive(Clone, Debug)]
pub struct RateStory<'a> {
    /// The operation.
    pub operation: &'a Operation,
    /// The rate as it is learned.
    pub row: RateRow,
    /// The finished rooms that taught it, oldest first; of a long history the newest.
    pub taught_by: Vec<KeptObservation>,
    /// How many taught it before those.
    pub earlier: usize,
    /// The rate as it stood after some of them.
    pub course: Vec<(NaiveDate, RateRow)>,
    /// What the owner has dated.
    pub changes: Vec<Change>,
}

answer! {
    /// A finished room, or several that can't be told apart.
    struct TaughtBy of (kept: KeptObservation, rate: &RateAnswer, operations: &Operations) on page
    let KeptObservation { number, observation } = kept;
    {
        id: String = number,
        finished_on: NaiveDate = observation.finished_on,
        job: String = observation.job.to_string(),
        room: String = rooms(&observation),
        quantity: Number = Number(observation.quantity),
        unit: Unit = rate.unit,
        #[serde(skip)]
        took: Quantity = page.measured(observation.quantity, rate.unit),
        done: Option<Quantity> = driven(&observation, operations).map(|(done, unit)| page.measured(done, unit)),
        word: Status = observation.status,
    }

    /// How the rate stood on a day.
    struct Stood of (date: NaiveDate, row: RateRow, driver: Unit) on page
    let one = |rate: Decimal| Fine(page.per_unit(rate, driver));
    {
        date: NaiveDate,
        learned: Fine = one(row.learned.per_unit),
        low: Fine = one(row.band.low),
        high: Fine = one(row.band.high),
    }

    /// A change that the owner has dated.
    struct Dated from change: Change on page {
        since: NaiveDate,
        kind: RateKind,
        note: String,
        .. { operation }
    }

    /// One rate with everything behind it.
    struct StoryFacts of (story: RateStory<'_>, operations: &Operations) on page
    let RateStory { operation, row, taught_by, earlier, course, changes } = story;
    let rate = RateAnswer::new(&row, operation.into(), page);
    {
        rate: RateAnswer,
        sentence: String = rate.sentence(),
        taught_by: Vec<TaughtBy> = page.each(taught_by, |kept, page| TaughtBy::new(kept, &rate, operations, page)),
        earlier: usize,
        course: Vec<Stood> = page.each(course, |(date, row), page| Stood::new(date, row, rate.driver.unit(), page)),
        changes: Vec<Dated>,
    }
}

answer! {
    /// Rates with everything behind them.
    pub struct StoriesAnswer(Vec<StoryFacts>) of (stories: Vec<RateStory<'_>>) with (operations: &Operations) on page;
}

impl StoryFacts {
    fn text(&self, page: &Page) -> String {
        let floor = match self.rate.floor().as_str() {
            "any" => "any floor".to_owned(),
            floor => floor.to_owned(),
        };
        let item = match self.rate.kind {
            RateKind::Item => self.rate.item.as_ref(),
            RateKind::Hours => None,
        };
        let item = item.map(|item| format!(" ({item})"));
        let answer = format!(
            "{} on {floor}: {}{}.",
            self.rate.operation,
            self.rate.goes(),
            or_blank(item)
        );
        let mut text = format!(
            "{}\n{}",
            page.prose(&inert(&answer)),
            page.prose(&self.sentence)
        );
        for sentence in self.rate.drift_sentences() {
            let _ = write!(text, "\n{}", page.prose(&sentence));
        }
        for change in &self.changes {
            let (since, note) = (long_date(change.since), inert(&change.note));
            let _ = write!(text, "\nLearned anew since {since}: {note}.");
        }
        if !self.taught_by.is_empty() {
            let _ = write!(text, "\n\n{}", self.taught(page));
        }
        if self.earlier > 0 {
            let _ = write!(text, "\n{} before these.", count(self.earlier, "record"));
        }
        if self.course.len() > 1 {
            let _ = write!(text, "\n\n{}", self.picture(page));
        }
        text
    }

    fn taught(&self, page: &Page) -> String {
        let mut table = page
            .table(["Finished", "Job", "Room", "Done", "Took", ""])
            .numbers([3, 4]);
        for taught in &self.taught_by {
            let number = &taught.id;
            let word = match taught.word {
                Status::Good => String::new(),
                Status::Doubted => format!("{number}: looks like a slip, set aside"),
                Status::Confirmed => format!("{number}: confirmed"),
            };
            let done = taught.done.map(|done| done.to_string());
            table.line([
                &taught.finished_on,
                &taught.job,
                &taught.room,
                &done.as_deref().unwrap_or("-"),
                &taught.took,
                &word,
            ]);
        }
        table.to_string()
    }

    /// Draws the band against the date: how far one item or hour was thought to go, and how sure that was.
    fn picture(&self, page: &Page) -> String {
        let goes = |rate: Fine| rate.goes().map_or(Decimal::ZERO, |far| far.0);
        let bands = self.course.iter();
        let bands = bands.map(|stood| [stood.high, stood.learned, stood.low].map(goes));
        let bands: Vec<[Decimal; 3]> = bands.collect();
        let (mut least, mut most) = (bands[0][0], bands[0][2]);
        for [low, _, high] in &bands {
            (least, most) = (least.min(*low), most.max(*high));
        }
        let columns = page.width.saturating_sub(26).clamp(10, 50);
        let place = |value: Decimal| -> usize {
            let span = (most - least).max(Decimal::new(1, 6));
            let along = (value - least) / span * Decimal::from(columns - 1);
            plain(along, 0).parse().unwrap_or_default()
        };
        let (line, mark) = match page.unicode {
            true => ('─', '●'),
            false => ('-', 'o'),
        };
        let mut text = format!(
            "{}, {}: at each date how far it was likely to go, and the rate in use",
            self.rate.per(""),
            Fine(least).to(Fine(most)),
        );
        for (stood, band) in self.course.iter().zip(bands) {
            let [from, at, to] = band.map(place);
            let bar: String = (0..columns)
                .map(|column| match column {
                    _ if column == at => mark,
                    _ if (from..=to).contains(&column) => line,
                    _ => ' ',
                })
                .collect();
            let _ = write!(text, "\n{}  {bar}  {}", stood.date, Fine(band[1]));
        }
        text
    }
}

impl Answer for StoriesAnswer {
    fn text(&self, page: &Page) -> String {
        let texts = self.0.iter().map(|story| story.text(page));
        texts.collect::<Vec<_>>().join("\n\n")
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(self.0.iter().flat_map(|story| &story.taught_by))
    }
}

/// Returns how much was done; `None`: hours over work that is measured in several ways.
fn driven(observation: &Observation, operations: &Operations) -> Option<(Decimal, Unit)> {
    let parts = || observation.parts.iter();
    let mut drivers = parts()
        .filter_map(|part| operations.get(&part.operation))
        .map(|operation| operation.driver);
    let first = drivers.next()?;
    drivers
        .all(|driver| driver == first)
        .then(|| (parts().map(|part| part.driver).sum(), first.unit()))
}
