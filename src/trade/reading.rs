//! Readings: what was measured of a floor and its air, tested by a laboratory, or looked for, before it is sanded.
//!
//! A reading is a fact of its day, with who took it and where. It never changes; a wrong one is taken back.
//! A laboratory's result is of one layer at one place, and says nothing of any other: so it names its layer, and one that
//! found nothing is never of a whole house.

use chrono::NaiveDate;
use thiserror::Error;

use crate::measure::{Length, MeasureError, Units};
use crate::money::{Decimal, number, plain, round};
use crate::trade::{FloorCondition, NotInSet, ReadingId, closed_set};

closed_set! {
    /// What a reading is of.
    ReadingKind, "kind of reading" {
        /// Solid wood above the tongue or the nails.
        WoodLeft = "wood-left",
        /// The wooden top of engineered boards.
        TopLayer = "top-layer",
        /// How wide the boards are.
        BoardWidth = "board-width",
        /// Moisture of a board, at its face.
        Board = "board",
        /// Moisture of a board, at its bottom.
        BoardBottom = "board-bottom",
        /// Moisture of the wooden subfloor.
        Subfloor = "subfloor",
        /// Temperature of the air.
        Temperature = "temperature",
        /// Relative humidity of the air.
        Humidity = "humidity",
        /// A test for lead.
        Lead = "lead",
        /// A test for asbestos.
        Asbestos = "asbestos",
        /// What was looked for.
        Seen = "seen",
    }
}

closed_set! {
    /// What lies on a floor, or between its layers.
    Layer, "layer" {
        /// Paint.
        Paint = "paint",
        /// Varnish, oil, wax: any finish that isn't paint.
        Finish = "finish",
        /// Resilient tiles.
        Tile = "tile",
        /// Sheet flooring.
        Sheet = "sheet",
        /// The backing of tiles or sheets.
        Backing = "backing",
        /// Flooring glue of any kind.
        Mastic = "mastic",
    }
}

closed_set! {
    /// What a look at a floor finds.
    Sign, "sign" {
        /// None of these.
        Nothing = "nothing",
        /// Boards higher at their edges than in the middle.
        Cupped = "cupped",
        /// Nail heads between boards; cracked, missing or springy edges.
        ThinSigns = "thin-signs",
        /// Strips nailed through their face.
        TopNailed = "top-nailed",
        /// A coat of paint.
        Paint = "paint",
        /// A coat of any other finish.
        Finish = "finish",
        /// Resilient tiles.
        Tile = "tile",
        /// Sheet flooring.
        Sheet = "sheet",
        /// The backing of tiles or sheets.
        Backing = "backing",
        /// Flooring glue.
        Mastic = "mastic",
    }
}

impl ReadingKind {
    /// Returns what it is called in a sentence.
    pub const fn words(self) -> &'static str {
        match self {
            ReadingKind::WoodLeft => "wood left above the tongue or the nails",
            ReadingKind::TopLayer => "top layer of engineered boards",
            ReadingKind::BoardWidth => "width of the boards",
            ReadingKind::Board => "moisture of the boards",
            ReadingKind::BoardBottom => "moisture of the boards' bottoms",
            ReadingKind::Subfloor => "moisture of the subfloor",
            ReadingKind::Temperature => "temperature",
            ReadingKind::Humidity => "humidity",
            ReadingKind::Lead => "a test for lead",
            ReadingKind::Asbestos => "a test for asbestos",
            ReadingKind::Seen => "a look at the floor",
        }
    }

    /// Tells whether it is read once where boards are read one by one.
    pub const fn is_of_the_air(self) -> bool {
        matches!(self, ReadingKind::Temperature | ReadingKind::Humidity)
    }

    /// Tells whether a laboratory or an inspector says it, of one layer.
    pub const fn is_test(self) -> bool {
        matches!(self, ReadingKind::Lead | ReadingKind::Asbestos)
    }
}

impl Layer {
    /// Tells whether it is presumed to hold asbestos in an old building.
    pub const fn is_resilient(self) -> bool {
        matches!(
            self,
            Layer::Tile | Layer::Sheet | Layer::Backing | Layer::Mastic
        )
    }

    /// Returns the layer that the first cut meets.
    pub const fn under(condition: FloorCondition) -> Option<Layer> {
        match condition {
            FloorCondition::Bare => None,
            FloorCondition::SoundFilm | FloorCondition::WornFilm | FloorCondition::OilWax => {
                Some(Layer::Finish)
            }
            FloorCondition::Paint => Some(Layer::Paint),
            FloorCondition::Glue => Some(Layer::Mastic),
        }
    }
}

impl Sign {
    /// Returns the layer that was seen.
    pub const fn layer(self) -> Option<Layer> {
        match self {
            Sign::Nothing | Sign::Cupped | Sign::ThinSigns | Sign::TopNailed => None,
            Sign::Paint => Some(Layer::Paint),
            Sign::Finish => Some(Layer::Finish),
            Sign::Tile => Some(Layer::Tile),
            Sign::Sheet => Some(Layer::Sheet),
            Sign::Backing => Some(Layer::Backing),
            Sign::Mastic => Some(Layer::Mastic),
        }
    }
}

/// A temperature, exact.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Temperature {
    fahrenheit: Decimal,
}

impl Temperature {
    /// Returns that many degrees Fahrenheit.
    pub const fn from_fahrenheit(fahrenheit: Decimal) -> Temperature {
        Temperature { fahrenheit }
    }

    /// Returns that many degrees Celsius.
    pub fn from_celsius(celsius: Decimal) -> Temperature {
        Temperature::from_fahrenheit(celsius * Decimal::new(18, 1) + Decimal::from(32))
    }

    /// Returns the degrees Fahrenheit.
    pub const fn fahrenheit(self) -> Decimal {
        self.fahrenheit
    }

    /// Returns the degrees in the unit of that system.
    pub fn degrees(self, units: Units) -> Decimal {
        match units {
            Units::Us => self.fahrenheit,
            Units::Metric => (self.fahrenheit - Decimal::from(32)) / Decimal::new(18, 1),
        }
    }

    /// Returns the sign of the unit of that system.
    pub const fn sign(units: Units) -> &'static str {
        match units {
            Units::Us => "F",
            Units::Metric => "C",
        }
    }

    /// Reads a temperature as people write it: `68`, `68 F`, `20°C`; a bare number is in the unit of the system.
    pub fn parse(text: &str, units: Units) -> Option<Temperature> {
        let text = text.trim();
        let (digits, celsius) = match text.char_indices().next_back()? {
            (end, 'F' | 'f') => (&text[..end], false),
            (end, 'C' | 'c') => (&text[..end], true),
            _ => (text, units == Units::Metric),
        };
        let degrees = number(digits.trim_end().trim_end_matches('°'))?;
        Some(match celsius {
            true => Temperature::from_celsius(degrees),
            false => Temperature::from_fahrenheit(degrees),
        })
    }

    /// Writes it for people, to a tenth of a degree: `68 °F`.
    pub fn text(self, units: Units) -> String {
        let degrees = plain(self.degrees(units), 1);
        format!("{degrees} °{}", Temperature::sign(units))
    }
}

/// What a test for lead or asbestos found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// None was found.
    Negative,
    /// Some was found.
    Positive,
    /// So much of a layer's weight, in percent.
    Percent(Decimal),
    /// So many milligrams on a square centimetre.
    MilligramsPerSquareCentimetre(Decimal),
}

impl Outcome {
    /// Tells whether the layer counts as holding it: lead from 1.0 mg/cm² or above 0.5 % of its weight (40 CFR 745.83),
    /// asbestos above 1 % (29 CFR 1926.1101(b)).
    pub fn is_positive(self, kind: ReadingKind) -> bool {
        match self {
            Outcome::Negative => false,
            Outcome::Positive => true,
            Outcome::MilligramsPerSquareCentimetre(amount) => amount >= Decimal::ONE,
            Outcome::Percent(share) if kind == ReadingKind::Lead => share > Decimal::new(5, 1),
            Outcome::Percent(share) => share > Decimal::ONE,
        }
    }

    fn parse(text: &str, kind: ReadingKind) -> Option<Outcome> {
        let amount = |digits: &str| number(digits).filter(|amount| !amount.is_sign_negative());
        match text {
            "negative" => return Some(Outcome::Negative),
            "positive" => return Some(Outcome::Positive),
            _ => {}
        }
        if let Some(digits) = text.strip_suffix('%') {
            let share = amount(digits)?;
            return (share <= Decimal::ONE_HUNDRED).then_some(Outcome::Percent(share));
        }
        let digits = text
            .strip_suffix("mg/cm2")
            .or(text.strip_suffix("mg/cm²"))?;
        (kind == ReadingKind::Lead)
            .then(|| amount(digits).map(Outcome::MilligramsPerSquareCentimetre))?
    }
}

/// What was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Value {
    /// Of wood left, a top layer, a board's width.
    Thickness(Length),
    /// Of moisture and humidity.
    Percent(Decimal),
    /// Of the air.
    Temperature(Temperature),
    /// Of a test.
    Outcome(Outcome),
    /// Of a look.
    Seen(Sign),
}

/// Why a text is no reading of its kind.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum ReadingError {
    /// A length without its unit: `0.25` may be feet, inches or metres.
    #[error("`{0}` has no unit: a thickness is written 1/4 in or 6 mm")]
    NoUnit(String),
    /// Not a length.
    #[error(transparent)]
    Length(#[from] MeasureError),
    /// A length that no board has.
    #[error("`{0}` is not the {1}: {2} at most")]
    TooThick(String, &'static str, &'static str),
    /// No percentage that a meter shows.
    #[error("`{0}` is not the {1}: from {2} to {3} %")]
    Percent(String, &'static str, Decimal, Decimal),
    /// No temperature of a room.
    #[error("`{0}` is not the temperature of a room, such as 68 F or 20 C")]
    Temperature(String),
    /// No result of a test for lead.
    #[error("`{0}` is not a result: negative, positive, 0.3 mg/cm2 or 0.06 %")]
    Lead(String),
    /// No result of a test for asbestos.
    #[error("`{0}` is not a result: negative, positive or 2 %")]
    Asbestos(String),
    /// No sign.
    #[error(transparent)]
    Sign(#[from] NotInSet),
    /// A result without its layer.
    #[error("a result for {0} is of one layer: say which, --layer {1}")]
    NoLayer(ReadingKind, String),
    /// A layer where there is none.
    #[error("only tests for lead and asbestos are of a layer, not {0}")]
    Layered(ReadingKind),
    /// A result for a whole house.
    #[error("a result that found nothing is of one layer in one room: say which room")]
    WholeHouse,
    /// A test by nobody.
    #[error("who tested for {0}? --by NAME says it")]
    Nobody(ReadingKind),
}

/// The most that moisture meters show.
const MOST_MOISTURE: i64 = 60;

impl Value {
    /// Reads a value of that kind; lengths name their unit.
    ///
    /// # Errors
    /// Refuses what no floor, air or laboratory has.
    pub fn parse(kind: ReadingKind, text: &str, units: Units) -> Result<Value, ReadingError> {
        let text = text.trim();
        let lower = text.to_lowercase();
        match kind {
            ReadingKind::WoodLeft | ReadingKind::TopLayer => {
                thickness(kind, text, units, 1, "1 in")
            }
            ReadingKind::BoardWidth => thickness(kind, text, units, 24, "24 in"),
            ReadingKind::Board | ReadingKind::BoardBottom | ReadingKind::Subfloor => {
                percent(kind, text, Decimal::ONE, MOST_MOISTURE)
            }
            ReadingKind::Humidity => percent(kind, text, Decimal::ZERO, 100),
            ReadingKind::Temperature => Temperature::parse(text, units)
                .filter(|read| {
                    (Decimal::from(-40)..=Decimal::from(130)).contains(&read.fahrenheit())
                })
                .map(Value::Temperature)
                .ok_or_else(|| ReadingError::Temperature(text.to_owned())),
            ReadingKind::Lead => Outcome::parse(&lower, kind)
                .map(Value::Outcome)
                .ok_or_else(|| ReadingError::Lead(text.to_owned())),
            ReadingKind::Asbestos => Outcome::parse(&lower, kind)
                .map(Value::Outcome)
                .ok_or_else(|| ReadingError::Asbestos(text.to_owned())),
            ReadingKind::Seen => Ok(Value::Seen(text.parse()?)),
        }
    }

    /// Writes the value as it is kept: [`Value::parse`] reads the same back, whatever the units.
    pub fn exact_text(self) -> String {
        match self {
            Value::Thickness(length) => length.exact_text(),
            Value::Percent(share) => share.normalize().to_string(),
            Value::Temperature(air) => format!("{} F", air.fahrenheit().normalize()),
            Value::Outcome(Outcome::Negative) => "negative".to_owned(),
            Value::Outcome(Outcome::Positive) => "positive".to_owned(),
            Value::Outcome(Outcome::Percent(share)) => format!("{} %", share.normalize()),
            Value::Outcome(Outcome::MilligramsPerSquareCentimetre(amount)) => {
                format!("{} mg/cm2", amount.normalize())
            }
            Value::Seen(sign) => sign.to_string(),
        }
    }

    /// Writes the value for people.
    pub fn text(self, units: Units) -> String {
        match self {
            Value::Thickness(length) => length.fine_text(units),
            Value::Percent(share) => format!("{} %", plain(share, 2)),
            Value::Temperature(air) => air.text(units),
            Value::Outcome(Outcome::MilligramsPerSquareCentimetre(amount)) => {
                format!("{} mg/cm²", amount.normalize())
            }
            Value::Outcome(_) | Value::Seen(_) => self.exact_text(),
        }
    }
}

/// Reads a length that names its unit: what is thin is neither feet nor metres.
///
/// # Errors
/// Refuses a bare number, and what is no length.
pub fn with_unit(text: &str, units: Units) -> Result<Length, ReadingError> {
    match text.contains(|sign: char| sign.is_alphabetic() || "'\"′″’”".contains(sign)) {
        true => Ok(Length::parse(text, units)?),
        false => Err(ReadingError::NoUnit(text.to_owned())),
    }
}

fn thickness(
    kind: ReadingKind,
    text: &str,
    units: Units,
    most_inches: i64,
    most: &'static str,
) -> Result<Value, ReadingError> {
    let length = with_unit(text, units)?;
    match length.inches() > Decimal::from(most_inches) {
        true => Err(ReadingError::TooThick(text.to_owned(), kind.words(), most)),
        false => Ok(Value::Thickness(length)),
    }
}

fn percent(
    kind: ReadingKind,
    text: &str,
    least: Decimal,
    most: i64,
) -> Result<Value, ReadingError> {
    let most = Decimal::from(most);
    let digits = text.strip_suffix('%').unwrap_or(text);
    let read =
        number(digits).filter(|read| (least..=most).contains(read) && round(*read, 4) == *read);
    read.map(Value::Percent)
        .ok_or_else(|| ReadingError::Percent(text.to_owned(), kind.words(), least, most))
}

/// A reading that counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reading {
    /// Identity.
    pub id: ReadingId,
    /// Of the whole house, and not of one room.
    pub whole_house: bool,
    /// What it is of.
    pub kind: ReadingKind,
    /// What was read.
    pub value: Value,
    /// The layer that was tested; `None`: it isn't a test.
    pub layer: Option<Layer>,
    /// Where in the room.
    pub place: String,
    /// Who read or tested it.
    pub by: String,
    /// When.
    pub on: NaiveDate,
}

impl Reading {
    /// Refuses a test without its layer or its tester, one that found nothing in a whole house, and a layer of what isn't
    /// tested.
    ///
    /// # Errors
    /// Says what is missing.
    pub fn check(&self) -> Result<(), ReadingError> {
        let kind = self.kind;
        if !kind.is_test() {
            return match self.layer {
                Some(_) => Err(ReadingError::Layered(kind)),
                None => Ok(()),
            };
        }
        if self.layer.is_none() {
            let words = Layer::ALL.iter().map(|layer| layer.as_str());
            let words = words.collect::<Vec<_>>().join("|");
            return Err(ReadingError::NoLayer(kind, words));
        }
        if self.by.is_empty() {
            return Err(ReadingError::Nobody(kind));
        }
        match self.whole_house && !self.is_positive() {
            true => Err(ReadingError::WholeHouse),
            false => Ok(()),
        }
    }

    /// Tells whether a test found what it was for.
    pub fn is_positive(&self) -> bool {
        matches!(self.value, Value::Outcome(outcome) if outcome.is_positive(self.kind))
    }

    /// Writes value, layer, who, day and place: `negative for mastic (Hill Laboratory, 2026-02-20, north wall)`.
    pub fn words(&self, units: Units) -> String {
        let layer = self
            .layer
            .map(|layer| format!(" for {} in {layer}", self.kind));
        let by = Some(self.by.as_str()).filter(|by| !by.is_empty());
        let place = Some(self.place.as_str()).filter(|place| !place.is_empty());
        let day = self.on.to_string();
        let about: Vec<&str> = by.into_iter().chain([day.as_str()]).chain(place).collect();
        let layer = layer.unwrap_or_default();
        format!("{}{layer} ({})", self.value.text(units), about.join(", "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_kept_is_read_back_in_any_units() {
        for (kind, text, kept, us, metric) in [
            (
                ReadingKind::WoodLeft,
                "3/32 in",
                "3/32\"",
                "3/32 in",
                "2.38 mm",
            ),
            (
                ReadingKind::WoodLeft,
                "0.297 in",
                "7.5438mm",
                "0.297 in",
                "7.54 mm",
            ),
            (ReadingKind::TopLayer, "2.5 mm", "2.5mm", "2.5 mm", "2.5 mm"),
            (
                ReadingKind::BoardWidth,
                "2 1/4\"",
                "2 1/4\"",
                "2 1/4 in",
                "57.15 mm",
            ),
            (ReadingKind::Board, "12.50 %", "12.5", "12.5 %", "12.5 %"),
            (ReadingKind::Humidity, "0", "0", "0 %", "0 %"),
            (ReadingKind::Temperature, "20 C", "68 F", "68 °F", "20 °C"),
            (
                ReadingKind::Temperature,
                "21.1°C",
                "69.98 F",
                "70 °F",
                "21.1 °C",
            ),
            (
                ReadingKind::Lead,
                "0.3 mg/cm2",
                "0.3 mg/cm2",
                "0.3 mg/cm²",
                "0.3 mg/cm²",
            ),
            (
                ReadingKind::Asbestos,
                "Negative",
                "negative",
                "negative",
                "negative",
            ),
            (
                ReadingKind::Seen,
                "Thin signs",
                "thin-signs",
                "thin-signs",
                "thin-signs",
            ),
        ] {
            for units in [Units::Us, Units::Metric] {
                let value = Value::parse(kind, text, units).unwrap();
                assert_eq!(value.exact_text(), kept, "{text}");
                assert_eq!(Value::parse(kind, kept, units), Ok(value), "{kept}");
                assert_eq!(value.text(Units::Us), us);
                assert_eq!(value.text(Units::Metric), metric);
            }
        }
        let bare = Value::parse(ReadingKind::Temperature, "20", Units::Metric).unwrap();
        assert_eq!(bare.exact_text(), "68 F");
    }

    #[test]
    fn what_is_no_reading_is_refused_in_words() {
        for (kind, text, words) in [
            (
                ReadingKind::WoodLeft,
                "1/4",
                "`1/4` has no unit: a thickness is written 1/4 in or 6 mm",
            ),
            (
                ReadingKind::WoodLeft,
                "3 in",
                "`3 in` is not the wood left above the tongue or the nails: 1 in at most",
            ),
            (
                ReadingKind::Board,
                "61",
                "`61` is not the moisture of the boards: from 1 to 60 %",
            ),
            (
                ReadingKind::Humidity,
                "-1",
                "`-1` is not the humidity: from 0 to 100 %",
            ),
            (
                ReadingKind::Temperature,
                "200 F",
                "`200 F` is not the temperature of a room, such as 68 F or 20 C",
            ),
            (
                ReadingKind::Asbestos,
                "0.3 mg/cm2",
                "`0.3 mg/cm2` is not a result: negative, positive or 2 %",
            ),
            (
                ReadingKind::Lead,
                "clean",
                "`clean` is not a result: negative, positive, 0.3 mg/cm2 or 0.06 %",
            ),
        ] {
            let refused = Value::parse(kind, text, Units::Us).unwrap_err();
            assert_eq!(refused.to_string(), words);
        }
    }

    #[test]
    fn a_layer_counts_from_the_figures_of_the_rules() {
        // 40 CFR 745.83: 1.0 mg/cm² or more, more than 0.5 % by weight; 29 CFR 1926.1101(b): more than 1 %.
        for (kind, text, positive) in [
            (ReadingKind::Lead, "0.99 mg/cm2", false),
            (ReadingKind::Lead, "1.0 mg/cm2", true),
            (ReadingKind::Lead, "0.5 %", false),
            (ReadingKind::Lead, "0.51 %", true),
            (ReadingKind::Asbestos, "1 %", false),
            (ReadingKind::Asbestos, "1.1 %", true),
            (ReadingKind::Asbestos, "positive", true),
            (ReadingKind::Lead, "negative", false),
        ] {
            let Ok(Value::Outcome(outcome)) = Value::parse(kind, text, Units::Us) else {
                panic!("{text}")
            };
            assert_eq!(outcome.is_positive(kind), positive, "{kind} {text}");
        }
    }
}
