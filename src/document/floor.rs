//! What was read of a floor, and whether it can be sanded.

use std::fmt::Write as _;

use std::collections::BTreeSet;

use chrono::NaiveDate;
use serde::Serialize;

use super::{Answer, List, Page, count, inert};
use crate::ledger::{JudgedRoom, PlacedReading, typed};
use crate::measure::Units;
use crate::money::plain;
use crate::trade::reading::{Layer, Outcome, Reading, ReadingKind, Temperature, Value};
use crate::trade::sandable::{Question, Row, Verdict};

/// Decimals of a reading in JSON.
const DECIMALS: u32 = 4;

/// A value and its unit, for programs: `0.25` and `in`, `negative` and none.
fn value_and_unit(value: Value, units: Units) -> (String, Option<&'static str>) {
    let figure = |figure, unit| (plain(figure, DECIMALS), Some(unit));
    match (value, units) {
        (Value::Thickness(length), Units::Us) => figure(length.inches(), "in"),
        (Value::Thickness(length), Units::Metric) => {
            figure(length.metres() * crate::money::Decimal::ONE_THOUSAND, "mm")
        }
        (Value::Percent(share) | Value::Outcome(Outcome::Percent(share)), _) => figure(share, "%"),
        (Value::Temperature(air), units) => figure(air.degrees(units), Temperature::sign(units)),
        (Value::Outcome(Outcome::MilligramsPerSquareCentimetre(amount)), _) => {
            figure(amount, "mg/cm2")
        }
        (Value::Outcome(_) | Value::Seen(_), _) => (value.exact_text(), None),
    }
}

columns! {
    /// A reading as it is shown.
    #[derive(Debug, Serialize)]
    pub struct ReadingAnswer {
        id: i64,
        room: Option<String>,
        kind: ReadingKind,
        value: String,
        unit: Option<&'static str>,
        layer: Option<Layer>,
        place: String,
        by: String,
        date: NaiveDate,
        #[serde(skip)]
        words: String,
    }
}

impl ReadingAnswer {
    /// Returns the answer about a reading.
    pub fn new(placed: PlacedReading, page: &Page) -> ReadingAnswer {
        let PlacedReading { reading, room } = placed;
        let Reading {
            id,
            whole_house: _,
            kind,
            value,
            layer,
            place,
            by,
            on,
        } = reading;
        let (words, (value, unit)) = (value.text(page.units), value_and_unit(value, page.units));
        ReadingAnswer {
            id: id.0,
            room: room.map(|(_, name)| name),
            kind,
            value,
            unit,
            layer,
            place,
            by,
            date: on,
            words,
        }
    }

    /// Says what was noted: `wood-left 1/4 in in Landing`.
    pub fn sentence(&self) -> String {
        let layer = self.layer.map(|layer| format!(" for {layer}"));
        let room = self.room.as_deref().unwrap_or("the whole house");
        format!(
            "{} {}{} in {}",
            self.kind,
            self.words,
            layer.unwrap_or_default(),
            inert(room)
        )
    }

    fn all(readings: Vec<PlacedReading>, page: &Page) -> Vec<ReadingAnswer> {
        page.each(readings, ReadingAnswer::new)
    }
}

/// The readings at a site.
#[derive(Debug, Serialize)]
#[serde(transparent)]
pub struct ReadingList(Vec<ReadingAnswer>);

impl ReadingList {
    /// Returns the answer about these readings.
    pub fn new(readings: Vec<PlacedReading>, page: &Page) -> ReadingList {
        ReadingList(ReadingAnswer::all(readings, page))
    }
}

listed! { ReadingList, 0, answer: by_rows, by_day: true }

impl ReadingList {
    /// Says how many there are, and in how many rooms.
    fn answer(&self, _: &Page) -> String {
        let rooms = self.0.iter().filter_map(|reading| reading.room.as_deref());
        let rooms: BTreeSet<&str> = rooms.collect();
        format!(
            "{} in {}.",
            count(self.0.len(), "reading"),
            match rooms.len() {
                0 => "the house".to_owned(),
                rooms => count(rooms, "room"),
            }
        )
    }
}

impl Answer for ReadingList {
    fn text(&self, page: &Page) -> String {
        if self.0.is_empty() {
            return "Nothing read yet.".to_owned();
        }
        let headings = [
            "Reading", "Room", "Kind", "Value", "Layer", "By", "Date", "Place",
        ];
        let mut table = page.table(headings).numbers([0, 3]);
        for reading in &self.0 {
            table.line([
                &reading.id,
                &reading.room.as_deref().unwrap_or("the house"),
                &reading.kind,
                &reading.words,
                &super::or_blank(reading.layer),
                &reading.by,
                &reading.date,
                &reading.place,
            ]);
        }
        page.led(&self.answer(page), table)
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.0)
    }
}

columns! {
    /// What the floor says to one question.
    #[derive(Debug, Serialize)]
    struct RowFacts {
        question: Question,
        verdict: Verdict,
        because: String,
        threshold: String,
        source: String,
        asks: Vec<ReadingKind>,
        readings: Vec<i64>,
    }
}

impl RowFacts {
    fn new(row: Row) -> RowFacts {
        let Row {
            question,
            verdict,
            because,
            threshold,
            source,
            asks,
            rests_on,
        } = row;
        RowFacts {
            question,
            verdict,
            because,
            threshold,
            source,
            asks,
            readings: rests_on.into_iter().map(|id| id.0).collect(),
        }
    }
}

columns! {
    /// A room, whether its floor can be sanded, and why.
    #[derive(Debug, Serialize)]
    pub struct RoomCheck {
        room: String,
        site: String,
        verdict: Verdict,
        question: Question,
        because: String,
        asks: Vec<ReadingKind>,
        rows: Vec<RowFacts>,
        readings: Vec<ReadingAnswer>,
    }
}

impl RoomCheck {
    /// Returns the answer about a room.
    pub fn new(judged: JudgedRoom, page: &Page) -> RoomCheck {
        let JudgedRoom {
            id: _,
            name,
            site,
            judgement,
            readings,
        } = judged;
        let worst = judgement.worst();
        RoomCheck {
            room: name,
            site,
            verdict: worst.verdict,
            question: worst.question,
            because: worst.because.clone(),
            asks: judgement.asks(),
            rows: judgement.rows.into_iter().map(RowFacts::new).collect(),
            readings: ReadingAnswer::all(readings, page),
        }
    }

    /// Says the verdict: `Landing: don't sand. Wood left: 3/32 in would be left of 3/16 in (2026-03-01).`
    pub fn sentence(&self) -> String {
        let (room, verdict) = (inert(&self.room), self.verdict.words());
        match self.verdict {
            Verdict::Go => format!(
                "{room}: go, as far as these {} ask.",
                count(self.rows.len(), "row")
            ),
            _ => format!(
                "{room}: {verdict}. {}: {}.",
                self.question.words(),
                inert(&self.because)
            ),
        }
    }

    /// Returns the line that notes what isn't known, with blanks; `None`: all of it is known.
    pub fn asking(&self) -> Option<String> {
        if self.asks.is_empty() {
            return None;
        }
        let mut line = format!(
            "gritledger reading add {}",
            typed(&format!("{}/{}", self.site, self.room))
        );
        for kind in &self.asks {
            let _ = write!(line, " {kind} VALUE");
        }
        if self.asks.iter().any(|kind| kind.is_test()) {
            line.push_str(" --layer LAYER --by NAME");
        }
        Some(line)
    }
}

/// Names what isn't known in one line: `Not known: moisture of the boards (board), humidity.`
fn not_known(asks: &[ReadingKind]) -> String {
    let words = asks.iter().map(|kind| kind.words());
    format!("Not known: {}", words.collect::<Vec<_>>().join(", "))
}

impl Answer for RoomCheck {
    fn text(&self, page: &Page) -> String {
        let mut text = format!("{}\n", page.prose(&self.sentence()));
        if !self.asks.is_empty() {
            let _ = writeln!(
                text,
                "{}",
                page.prose(&format!("{}.", not_known(&self.asks)))
            );
        }
        let mut table = page.table(["Question", "Verdict", "What is known"]);
        for row in &self.rows {
            table.line([&row.question.words(), &row.verdict.words(), &row.because]);
        }
        let _ = write!(text, "\n{table}\n\nWhat is asked for\n");
        for row in &self.rows {
            let words = format!(
                "{}: {} ({})",
                row.question.words(),
                row.threshold,
                row.source
            );
            text.push_str(&page.point(&words));
        }
        text
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.rows)
    }
}

/// A house, room by room.
#[derive(Debug, Serialize)]
pub struct SiteCheck {
    site: String,
    verdict: Option<Verdict>,
    rooms: Vec<RoomCheck>,
}

impl SiteCheck {
    /// Returns the answer about a site's rooms; without any there is no verdict.
    pub fn new(site: String, judged: Vec<JudgedRoom>, page: &Page) -> SiteCheck {
        let rooms = page.each(judged, RoomCheck::new);
        SiteCheck {
            site,
            verdict: rooms.iter().map(|room| room.verdict).max(),
            rooms,
        }
    }
}

impl Answer for SiteCheck {
    fn text(&self, page: &Page) -> String {
        let site = inert(&self.site);
        let Some(verdict) = self.verdict else {
            return format!("{site}: no rooms to sand yet.");
        };
        let mut table = page.table(["Room", "Verdict", "Question", "What is known", "Not known"]);
        for room in &self.rooms {
            let asks = room.asks.iter().map(|kind| kind.as_str());
            table.line([
                &room.room,
                &room.verdict.words(),
                &room.question.words(),
                &room.because,
                &asks.collect::<Vec<_>>().join(", "),
            ]);
        }
        let go = self.rooms.iter().filter(|room| room.verdict == Verdict::Go);
        let (go, rooms) = (go.count(), count(self.rooms.len(), "room"));
        format!(
            "{site}: {}. {go} of {rooms} can go.\n\n{table}",
            verdict.words()
        )
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.rooms)
    }
}

columns! {
    /// What the floors of a draft say, before its price is named.
    #[derive(Debug, Serialize)]
    pub struct Floors {
        rooms: Vec<RoomCheck>,
        asks: Vec<ReadingKind>,
    }
}

impl Floors {
    /// Returns what these floors say; `None`: there are none.
    pub fn of(judged: Vec<JudgedRoom>, page: &Page) -> Option<Floors> {
        let mut asks: Vec<ReadingKind> = judged
            .iter()
            .flat_map(|room| room.judgement.asks())
            .collect();
        asks.sort_unstable();
        asks.dedup();
        let rooms = page.each(judged, RoomCheck::new);
        (!rooms.is_empty()).then_some(Floors { rooms, asks })
    }

    /// Writes a line for each room that something known is against, and one for all that isn't known.
    pub fn text(&self, site: &str) -> String {
        let known = |room: &&RoomCheck| {
            let mut rows = room.rows.iter();
            rows.any(|row| {
                row.verdict == room.verdict && row.verdict != Verdict::Go && row.asks.is_empty()
            }) || room.verdict > Verdict::Wait
        };
        let against = self.rooms.iter().filter(known);
        let mut lines: Vec<String> = against.map(RoomCheck::sentence).collect();
        if !self.asks.is_empty() {
            lines.push(format!(
                "{}: gritledger site check {}",
                not_known(&self.asks),
                typed(site)
            ));
        }
        lines.join("\n")
    }
}
