//! Can a floor be sanded? What is known of it, against what the trade asks for, before a price is named.
//!
//! Each [`Question`] has a row: what is known, the threshold with its source, and a [`Verdict`]. The worst row wins, and
//! what isn't known is never "go": it waits, and the row says which readings it asks for.
//! A threshold is a prompt to look or to ask. Nothing here says that a floor, a layer or a building holds nothing: a row
//! names what was found, by whom, when, in which layer and where, and whom to ask.
//!
//! Which readings count: wood and top layers by their smallest reading ever, since wood doesn't grow; moisture and air by
//! those of the newest day, the worst pair of them, and on one day a reading in the room before one of the house. What was
//! seen stays until it is taken back. A test is of its layer in its room, and a layer that was tested twice is as bad as the
//! worse result.
//!
//! Sources disagree on some thresholds; those are settings ([`Limits`]), each with where it comes from. The others are
//! constants below. `thresholds.rs` tells them with their sources.

use std::collections::BTreeSet;

use crate::measure::{Length, Units};
use crate::money::{Decimal, plain};
use crate::notation::{Country, count};
use crate::trade::cautions::Rules;
use crate::trade::reading::{Layer, Reading, ReadingKind, Sign, Temperature, Value};
use crate::trade::{FloorCondition, Layout, ReadingId, closed_set};

#[cfg(test)]
mod tests;
mod thresholds;

closed_set! {
    /// What the floor says; the worst is the last.
    Verdict, "verdict" {
        /// Nothing that is known is against it.
        Go = "go",
        /// Something must be known, or change, first.
        Wait = "wait",
        /// It is for a certified firm alone.
        AskLicensed = "ask-licensed",
        /// Sand, perhaps, but don't coat in this air.
        DontCoat = "dont-coat",
        /// Don't sand.
        DontSand = "dont-sand",
    }
}

closed_set! {
    /// What is asked of a floor, in the order of the rows.
    Question, "question of a floor" {
        /// Is there a layer that may hold asbestos?
        Asbestos = "asbestos",
        /// Is there lead in what is sanded off?
        Lead = "lead",
        /// Is there wood enough?
        Wood = "wood-left",
        /// Are the boards as dry as the room's air has them?
        Boards = "board-moisture",
        /// Are boards and subfloor alike?
        Subfloor = "subfloor-moisture",
        /// Are the boards flat and evenly dry?
        Cupping = "cupping",
        /// Does the air let a coat dry?
        Air = "air",
        /// Do nails stand proud?
        Nails = "proud-nails",
    }
}

/// The kind of finding that is nails which stand proud.
pub const PROUD_NAILS: &str = "proud-nails";

/// Points of moisture between boards and what the air asks for (a meter maker quoting E. Wengert).
const BOARD_POINTS: Decimal = Decimal::TWO;

/// Points between strips and their subfloor (oflooring.com, acclimation: under 3 in; fcimag.com/articles/88035).
const STRIP_POINTS: Decimal = Decimal::from_parts(4, 0, 0, false, 0);

/// Points between planks and their subfloor (oflooring.com, acclimation), and of top-nailed strips (woodfloorbusiness.com
/// 15125290).
const PLANK_POINTS: Decimal = Decimal::TWO;

/// The wettest that a wood subfloor may be, in percent (builderonline.com, cupped flooring).
const WETTEST_SUBFLOOR: Decimal = Decimal::from_parts(12, 0, 0, false, 0);

/// Points between face and bottom of a board that is ready (from memory, doubtful).
const READY_POINTS: Decimal = Decimal::ONE;

/// Points from which a cupped board will crown if it is sanded (hardwoodfloorsmag.com 2025-10-27: 3 to 4).
const CROWNING_POINTS: Decimal = Decimal::from_parts(3, 0, 0, false, 0);

/// Air in which finish often fails (a finish maker, 2012): below and above these degrees Fahrenheit, above this humidity.
const COLDEST: Temperature = Temperature::from_fahrenheit(Decimal::from_parts(50, 0, 0, false, 0));
const HOTTEST: Temperature = Temperature::from_fahrenheit(Decimal::from_parts(90, 0, 0, false, 0));
const MOST_HUMID: Decimal = Decimal::from_parts(90, 0, 0, false, 0);

impl Verdict {
    /// Returns it as a sentence says it.
    pub const fn words(self) -> &'static str {
        match self {
            Verdict::Go => "go",
            Verdict::Wait => "wait",
            Verdict::AskLicensed => "ask a certified firm",
            Verdict::DontCoat => "don't coat",
            Verdict::DontSand => "don't sand",
        }
    }
}

impl Question {
    /// Returns what it is called in a table.
    pub const fn words(self) -> &'static str {
        match self {
            Question::Asbestos => "Asbestos",
            Question::Lead => "Lead",
            Question::Wood => "Wood left",
            Question::Boards => "Moisture of boards",
            Question::Subfloor => "Moisture of subfloor",
            Question::Cupping => "Cupping",
            Question::Air => "Air when coating",
            Question::Nails => "Proud nails",
        }
    }
}

/// A threshold, and where it comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limit<T> {
    /// The threshold.
    pub at: T,
    /// Its source, or whose choice it is.
    pub source: String,
}

/// The thresholds on which sources disagree, or which are the law of one country.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limits {
    /// The setting `sanding-cut`: what a full sanding takes off.
    pub sanding_cut: Limit<Length>,
    /// The setting `wood-kept`: what must be left then.
    pub wood_kept: Limit<Length>,
    /// The setting `top-layer`: from how much to how much of it only a trial tells.
    pub top_layer: Limit<(Length, Length)>,
    /// The setting `plank-width`: boards from this width on are planks.
    pub plank_width: Limit<Length>,
    /// The setting `coating-temperature`: from which to which.
    pub temperature: Limit<(Temperature, Temperature)>,
    /// The setting `coating-humidity`: from which to which percent.
    pub humidity: Limit<(Decimal, Decimal)>,
    /// The setting `lead-year`: homes built before it are asked about.
    pub lead_year: Limit<Option<i32>>,
    /// The setting `asbestos-year`: up to it, resilient layers are presumed to hold asbestos.
    pub asbestos_year: Limit<Option<i32>>,
    /// Whose laws may be named.
    pub country: Option<Country>,
    /// The setting `lead-firm`: the firm's certification for work on lead; `None`: it has none.
    pub lead_firm: Option<String>,
}

/// What is known of a floor.
#[derive(Clone, Debug)]
pub struct Facts<'a> {
    /// When the building was built; `None`: not known.
    pub year_built: Option<i32>,
    /// What the first cut meets, in any part of it.
    pub conditions: &'a [FloorCondition],
    /// How the boards lie.
    pub layout: Layout,
    /// How many nails were found that stand proud; `None`: none was noted.
    pub proud_nails: Option<Decimal>,
    /// What was read in the room or of the house, in the order it was noted.
    pub readings: Vec<&'a Reading>,
}

/// What the floor says to one question.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// The question.
    pub question: Question,
    /// The answer.
    pub verdict: Verdict,
    /// What is known, in words.
    pub because: String,
    /// What is asked for.
    pub threshold: String,
    /// Where that comes from.
    pub source: String,
    /// What would have to be read, or read again; none: all of it is known.
    pub asks: Vec<ReadingKind>,
    /// The readings that it rests on.
    pub rests_on: Vec<ReadingId>,
}

/// All that a floor says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Judgement {
    /// A row for each question.
    pub rows: Vec<Row>,
}

impl Judgement {
    /// Returns the row that decides: the first of the worst ones, and of these one that is known.
    pub fn worst(&self) -> &Row {
        let rank = |row: &&Row| (row.verdict, row.asks.is_empty());
        let worst = self.rows.iter().rev().max_by_key(rank);
        worst.expect("there is a row for each question")
    }

    /// Returns what the floor says.
    pub fn verdict(&self) -> Verdict {
        self.worst().verdict
    }

    /// Returns what would have to be read, each kind once.
    pub fn asks(&self) -> Vec<ReadingKind> {
        let asks: BTreeSet<_> = self.rows.iter().flat_map(|row| &row.asks).collect();
        asks.into_iter().copied().collect()
    }
}

/// Returns the moisture, in percent, that wood comes to in air of that temperature and relative humidity (percent).
///
/// Wood Handbook, equation (4-5), as fitted by Simpson 1973; T in °F, h as a fraction:
/// `M = (1800/W) (Kh/(1-Kh) + (K1Kh + 2K1K2K²h²) / (1 + K1Kh + K1K2K²h²))`. It is a quotient of polynomials, so decimals do.
pub fn equilibrium_moisture(air: Temperature, humidity: Decimal) -> Decimal {
    let t = air.fahrenheit();
    let polynomial = |constant: Decimal, linear: Decimal, square: Decimal| {
        constant + linear * t + square * t * t
    };
    let w = polynomial(
        Decimal::from(330),
        Decimal::new(452, 3),
        Decimal::new(415, 5),
    );
    let k = polynomial(
        Decimal::new(791, 3),
        Decimal::new(463, 6),
        Decimal::new(-844, 9),
    );
    let k1 = polynomial(
        Decimal::new(634, 2),
        Decimal::new(775, 6),
        Decimal::new(-935, 7),
    );
    let k2 = polynomial(
        Decimal::new(109, 2),
        Decimal::new(284, 4),
        Decimal::new(-904, 7),
    );
    let kh = k * humidity / Decimal::ONE_HUNDRED;
    let (once, twice) = (k1 * kh, k1 * k2 * kh * kh);
    let bound = (once + Decimal::TWO * twice) / (Decimal::ONE + once + twice);
    Decimal::from(1800) / w * (kh / (Decimal::ONE - kh) + bound)
}

/// Judges a floor by what is known of it.
pub fn judge(facts: &Facts<'_>, limits: &Limits, units: Units) -> Judgement {
    let judge = Judge {
        facts,
        limits,
        units,
    };
    let row = |question: &Question| {
        let found = match question {
            Question::Asbestos => judge.asbestos(),
            Question::Lead => judge.lead(),
            Question::Wood => judge.wood(),
            Question::Boards => judge.boards(),
            Question::Subfloor => judge.subfloor(),
            Question::Cupping => judge.cupping(),
            Question::Air => judge.air(),
            Question::Nails => judge.nails(),
        };
        let (threshold, source) = judge.threshold(*question);
        Row {
            question: *question,
            verdict: found.verdict,
            because: found.because,
            threshold,
            source,
            asks: found.asks,
            rests_on: found.rests_on,
        }
    };
    Judgement {
        rows: Question::ALL.iter().map(row).collect(),
    }
}

/// A row before its threshold is told.
struct Found {
    verdict: Verdict,
    because: String,
    asks: Vec<ReadingKind>,
    rests_on: Vec<ReadingId>,
}

impl Found {
    fn new(verdict: Verdict, because: String, readings: &[&Reading]) -> Found {
        Found {
            verdict,
            because,
            asks: Vec::new(),
            rests_on: readings.iter().map(|reading| reading.id).collect(),
        }
    }

    /// Waits for what isn't known.
    fn unknown(because: impl Into<String>, asks: &[ReadingKind]) -> Found {
        Found {
            asks: asks.to_vec(),
            ..Found::new(Verdict::Wait, because.into(), &[])
        }
    }

    /// Takes the worse of two.
    fn and(self, other: Found) -> Found {
        match other.verdict > self.verdict {
            true => other,
            false => self,
        }
    }
}

struct Judge<'a> {
    facts: &'a Facts<'a>,
    limits: &'a Limits,
    units: Units,
}

impl<'a> Judge<'a> {
    fn readings(&self, kind: ReadingKind) -> impl Iterator<Item = &'a Reading> + use<'a> {
        let readings = self.facts.readings.iter().copied();
        readings.filter(move |reading| reading.kind == kind)
    }

    /// Returns the readings of the newest day that has any: the room's own, or else those of the house.
    fn newest(&self, kind: ReadingKind) -> Vec<&'a Reading> {
        let rank = |reading: &Reading| (reading.on, !reading.whole_house);
        let newest = self.readings(kind).map(rank).max();
        let readings = self.readings(kind);
        readings
            .filter(|reading| Some(rank(reading)) == newest)
            .collect()
    }

    /// Returns the percentages of the newest day.
    fn moistures(&self, kind: ReadingKind) -> Vec<(Decimal, &'a Reading)> {
        let newest = self.newest(kind).into_iter();
        let moisture = |reading: &'a Reading| match reading.value {
            Value::Percent(share) => Some((share, reading)),
            _ => None,
        };
        newest.filter_map(moisture).collect()
    }

    /// Returns the newest reading of the air.
    fn newest_of_air(&self, kind: ReadingKind) -> Option<&'a Reading> {
        self.newest(kind)
            .into_iter()
            .max_by_key(|reading| reading.id)
    }

    /// Returns the smallest thickness ever read.
    fn least(&self, kind: ReadingKind) -> Option<(Length, &'a Reading)> {
        let lengths = self
            .readings(kind)
            .filter_map(|reading| match reading.value {
                Value::Thickness(length) => Some((length, reading)),
                _ => None,
            });
        lengths.min_by_key(|(length, _)| *length)
    }

    /// Returns who saw a sign, if somebody did.
    fn seen(&self, sign: Sign) -> Option<&'a Reading> {
        self.readings(ReadingKind::Seen)
            .find(|reading| reading.value == Value::Seen(sign))
    }

    /// Returns the newest look at the floor, whatever it found.
    fn looked(&self) -> Option<&'a Reading> {
        self.newest(ReadingKind::Seen).pop()
    }

    /// Returns the layers that are known to be there.
    fn layers(&self) -> BTreeSet<Layer> {
        let seen = self.readings(ReadingKind::Seen);
        let seen = seen.filter_map(|reading| match reading.value {
            Value::Seen(sign) => sign.layer(),
            _ => None,
        });
        let met = self.facts.conditions.iter();
        seen.chain(met.filter_map(|met| Layer::under(*met)))
            .collect()
    }

    /// Returns what is ruled where the floor is.
    fn rules(&self) -> Rules {
        Rules {
            country: self.limits.country,
            units: self.units,
            lead_year: self.limits.lead_year.at,
            asbestos_year: self.limits.asbestos_year.at,
        }
    }

    /// Says when the house was built.
    fn age(&self) -> String {
        match self.facts.year_built {
            Some(year) => format!("built {year}"),
            None => "year not known".to_owned(),
        }
    }

    /// Returns a test of that kind which found something.
    fn positive(&self, kind: ReadingKind) -> Option<&'a Reading> {
        self.readings(kind).find(|test| test.is_positive())
    }

    /// Returns the newest test of that kind of a layer in this room.
    fn tested(&self, kind: ReadingKind, layer: Layer) -> Option<&'a Reading> {
        let tests = self.readings(kind);
        tests
            .filter(|test| !test.whole_house && test.layer == Some(layer))
            .last()
    }

    fn asbestos(&self) -> Found {
        let kind = ReadingKind::Asbestos;
        if let Some(test) = self.positive(kind) {
            let words = test.words(self.units);
            let because = format!("{words}: it is not sanded; ask a licensed asbestos person");
            return Found::new(Verdict::DontSand, because, &[test]);
        }
        let (mut tests, mut untested) = (Vec::new(), Vec::new());
        for layer in self
            .layers()
            .into_iter()
            .filter(|layer| layer.is_resilient())
        {
            match self.tested(kind, layer) {
                Some(test) => tests.push(test),
                None => untested.push(layer.as_str()),
            }
        }
        let presumed = self.rules().presumes_asbestos(self.facts.year_built);
        if !untested.is_empty() && presumed {
            let because = format!(
                "{}, {}, no result: presumed to hold it; ask a licensed asbestos person",
                untested.join(", "),
                self.age()
            );
            return Found {
                asks: vec![kind],
                ..Found::new(Verdict::DontSand, because, &tests)
            };
        }
        let Some(look) = self.looked() else {
            return Found::unknown(
                "nobody has looked for tile, sheet, backing, mastic",
                &[ReadingKind::Seen],
            );
        };
        let mut known: Vec<String> = tests.iter().map(|test| test.words(self.units)).collect();
        if !untested.is_empty() {
            known.push(format!(
                "{}, {}, no result: not presumed",
                untested.join(", "),
                self.age()
            ));
        }
        if known.is_empty() {
            known.push(format!("no such layer noted: {}", look.words(self.units)));
        }
        tests.push(look);
        Found::new(Verdict::Go, known.join("; "), &tests)
    }

    fn lead(&self) -> Found {
        let kind = ReadingKind::Lead;
        if let Some(test) = self.positive(kind) {
            let words = test.words(self.units);
            return match &self.limits.lead_firm {
                Some(firm) => {
                    let because =
                        format!("{words}: only as certified work ({firm}), with HEPA exhaust");
                    Found::new(Verdict::AskLicensed, because, &[test])
                }
                None => {
                    let because = format!("{words}: ask a certified firm");
                    Found::new(Verdict::DontSand, because, &[test])
                }
            };
        }
        if !self.rules().asks_about_lead(self.facts.year_built) {
            return Found::new(Verdict::Go, self.age(), &[]);
        }
        let coats: Vec<Layer> = self
            .layers()
            .into_iter()
            .filter(|layer| !layer.is_resilient())
            .collect();
        let tests: Vec<_> = coats
            .iter()
            .filter_map(|layer| self.tested(kind, *layer))
            .collect();
        // Of bare boards any test tells, for nobody knows what they were coated with.
        let any = self.readings(kind).filter(|test| !test.whole_house).last();
        let untested: Vec<&str> = coats
            .iter()
            .filter(|layer| self.tested(kind, **layer).is_none())
            .map(|layer| layer.as_str())
            .collect();
        match (untested.is_empty(), any) {
            (true, Some(any)) => {
                let tests = if tests.is_empty() { vec![any] } else { tests };
                let words: Vec<String> = tests.iter().map(|test| test.words(self.units)).collect();
                Found::new(Verdict::Go, words.join("; "), &tests)
            }
            (true, None) => Found::unknown(format!("{}, no result", self.age()), &[kind]),
            (false, _) => Found::unknown(
                format!("{}, no result for {}", self.age(), untested.join(", ")),
                &[kind],
            ),
        }
    }

    fn wood(&self) -> Found {
        let (wood, top) = (
            self.least(ReadingKind::WoodLeft),
            self.least(ReadingKind::TopLayer),
        );
        let signs = self.seen(Sign::ThinSigns);
        let solid = wood.map(|(least, reading)| self.solid(least, reading));
        let engineered = top.map(|(least, reading)| self.engineered(least, reading));
        let thin = signs.map(|sign| {
            let because = format!("{}: screen it, no more", sign.words(self.units));
            Found::new(Verdict::DontSand, because, &[sign])
        });
        let all = [solid, engineered, thin].into_iter().flatten();
        all.reduce(Found::and)
            .unwrap_or_else(|| Found::unknown("not measured", &[ReadingKind::WoodLeft]))
    }

    fn solid(&self, least: Length, reading: &Reading) -> Found {
        let left = least - self.limits.sanding_cut.at;
        let enough = left >= self.limits.wood_kept.at;
        let verdict = if enough {
            Verdict::Go
        } else {
            Verdict::DontSand
        };
        let left = match left > Length::ZERO {
            true => format!("{} would be left", left.fine_text(self.units)),
            false => "nothing would be left".to_owned(),
        };
        let because = format!("{left} of {}", reading.words(self.units));
        Found::new(verdict, because, &[reading])
    }

    fn engineered(&self, least: Length, reading: &Reading) -> Found {
        let (from, to) = self.limits.top_layer.at;
        let (verdict, aside) = match () {
            () if least < from => (Verdict::DontSand, ""),
            () if least < to => (Verdict::Wait, ": a trial in a closet tells"),
            () => (Verdict::Go, ""),
        };
        let because = format!("top layer of {}{aside}", reading.words(self.units));
        Found::new(verdict, because, &[reading])
    }

    /// Returns what the air asks for, and the readings that say so; `None`: one of them is missing.
    fn asked_by_air(&self) -> Option<(Decimal, [&'a Reading; 2])> {
        let air = self.newest_of_air(ReadingKind::Temperature)?;
        let damp = self.newest_of_air(ReadingKind::Humidity)?;
        match (air.value, damp.value) {
            (Value::Temperature(degrees), Value::Percent(share)) => {
                Some((equilibrium_moisture(degrees, share), [air, damp]))
            }
            _ => None,
        }
    }

    /// Returns those of the kinds that nobody has read.
    fn missing(&self, kinds: &[ReadingKind]) -> Vec<ReadingKind> {
        let missing = kinds.iter().copied();
        missing
            .filter(|kind| self.readings(*kind).next().is_none())
            .collect()
    }

    fn boards(&self) -> Found {
        let boards = self.moistures(ReadingKind::Board);
        let gap = |asked: Decimal| {
            let gaps = boards
                .iter()
                .map(|(share, board)| ((share - asked).abs(), *board));
            gaps.max_by_key(|(gap, _)| *gap)
        };
        let asked = self.asked_by_air();
        let worst = asked.and_then(|(asked, air)| Some((asked, air, gap(asked)?)));
        let Some((asked, [air, damp], (gap, board))) = worst else {
            let kinds = [
                ReadingKind::Board,
                ReadingKind::Temperature,
                ReadingKind::Humidity,
            ];
            return Found::unknown("not measured", &self.missing(&kinds));
        };
        let verdict = if gap <= BOARD_POINTS {
            Verdict::Go
        } else {
            Verdict::Wait
        };
        let because = format!(
            "{}: {}, and the air, {} and {}, asks for {} %",
            count(plain(gap, 2), "point"),
            board.words(self.units),
            air.words(self.units),
            damp.words(self.units),
            plain(asked, 2)
        );
        Found::new(verdict, because, &[board, air, damp])
    }

    /// Returns the points that boards may differ from their subfloor, and why.
    fn points_of_subfloor(&self) -> (Decimal, String) {
        if self.seen(Sign::TopNailed).is_some() {
            return (PLANK_POINTS, "top-nailed".to_owned());
        }
        let widths = self.readings(ReadingKind::BoardWidth);
        let widest = widths.filter_map(|reading| match reading.value {
            Value::Thickness(width) => Some(width),
            _ => None,
        });
        let (is_strip, words) = match widest.max() {
            Some(width) => (
                width < self.limits.plank_width.at,
                format!("{} wide", width.fine_text(self.units)),
            ),
            None => (
                self.facts.layout == Layout::Strip,
                self.facts.layout.to_string(),
            ),
        };
        let points = if is_strip { STRIP_POINTS } else { PLANK_POINTS };
        (points, words)
    }

    fn subfloor(&self) -> Found {
        let (boards, below) = (
            self.moistures(ReadingKind::Board),
            self.moistures(ReadingKind::Subfloor),
        );
        let wettest = below.iter().max_by_key(|(share, _)| *share);
        let wettest = wettest.filter(|(share, _)| *share > WETTEST_SUBFLOOR);
        let Some((gap, board, subfloor)) = widest_gap(&boards, &below) else {
            let asks = self.missing(&[ReadingKind::Board, ReadingKind::Subfloor]);
            let because = wettest.map_or("not measured".to_owned(), |(_, wet)| {
                format!("the subfloor is at {}", wet.words(self.units))
            });
            return Found::unknown(because, &asks);
        };
        let (points, boards) = self.points_of_subfloor();
        let verdict = match gap > points || wettest.is_some() {
            true => Verdict::Wait,
            false => Verdict::Go,
        };
        let subfloor = wettest.map_or(subfloor, |(_, wet)| wet);
        let because = format!(
            "{} ({boards}): boards {}, subfloor {}",
            count(plain(gap, 2), "point"),
            board.words(self.units),
            subfloor.words(self.units)
        );
        Found::new(verdict, because, &[board, subfloor])
    }

    fn cupping(&self) -> Found {
        let (cupped, look) = (self.seen(Sign::Cupped), self.looked());
        let faces = self.moistures(ReadingKind::Board);
        let bottoms = self.moistures(ReadingKind::BoardBottom);
        if let Some((gap, face, bottom)) = widest_gap(&faces, &bottoms) {
            let is_flat = look.is_some() && cupped.is_none();
            let verdict = match gap {
                gap if gap <= READY_POINTS => Verdict::Go,
                gap if gap >= CROWNING_POINTS && !is_flat => Verdict::DontSand,
                _ => Verdict::Wait,
            };
            let because = format!(
                "{}: face {}, bottom {}",
                count(plain(gap, 2), "point"),
                face.words(self.units),
                bottom.words(self.units)
            );
            return Found::new(verdict, because, &[face, bottom]);
        }
        match (cupped, look) {
            (Some(cupped), _) => {
                let because = format!(
                    "{}: stop the water, then by meter",
                    cupped.words(self.units)
                );
                let asks = self.missing(&[ReadingKind::Board, ReadingKind::BoardBottom]);
                Found::unknown(because, &asks)
            }
            (None, Some(look)) => {
                let because = format!("none noted: {}", look.words(self.units));
                Found::new(Verdict::Go, because, &[look])
            }
            (None, None) => Found::unknown("nobody has looked", &[ReadingKind::Seen]),
        }
    }

    fn air(&self) -> Found {
        let asked = self.asked_by_air();
        let Some((_, [air, damp])) = asked else {
            let asks = self.missing(&[ReadingKind::Temperature, ReadingKind::Humidity]);
            return Found::unknown("not measured", &asks);
        };
        let (Value::Temperature(degrees), Value::Percent(share)) = (air.value, damp.value) else {
            return Found::unknown("not measured", &[ReadingKind::Temperature]);
        };
        let ((cold, hot), (dry, humid)) = (self.limits.temperature.at, self.limits.humidity.at);
        let verdict = match () {
            () if degrees < COLDEST || degrees > HOTTEST || share > MOST_HUMID => Verdict::DontCoat,
            () if (cold..=hot).contains(&degrees) && (dry..=humid).contains(&share) => Verdict::Go,
            () => Verdict::Wait,
        };
        let because = format!("{}, {}", air.words(self.units), damp.words(self.units));
        Found::new(verdict, because, &[air, damp])
    }

    fn nails(&self) -> Found {
        if let Some(nails) = self.facts.proud_nails {
            let because = format!("{} noted: set them first", plain(nails, 0));
            return Found::new(Verdict::Wait, because, &[]);
        }
        match self.looked() {
            Some(look) => {
                let because = format!("none noted: {}", look.words(self.units));
                Found::new(Verdict::Go, because, &[look])
            }
            None => Found::unknown("nobody has looked", &[ReadingKind::Seen]),
        }
    }
}

/// Returns the pair that is furthest apart, one of each list.
fn widest_gap<'a>(
    ones: &[(Decimal, &'a Reading)],
    others: &[(Decimal, &'a Reading)],
) -> Option<(Decimal, &'a Reading, &'a Reading)> {
    let pairs = ones.iter().flat_map(|(share, one)| {
        let others = others.iter();
        others.map(move |(other, with)| ((share - other).abs(), *one, *with))
    });
    pairs.max_by_key(|(gap, ..)| *gap)
}
