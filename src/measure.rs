//! Lengths and areas, exact, from what a tape or a rule says to what a document prints.
//!
//! # Why whole nanometres
//! An inch is 25.4 mm exactly (NIST Handbook 44, Appendix C), so 1/64 in is 396 875 nm and a hundred-thousandth
//! of a foot is 3 048 nm: every reading of a tape, in inches or in decimal feet, is a whole number of nanometres.
//! A room adds and multiplies such numbers and never rounds; only [`Length::text`] and [`Area::text`] do, for people.
//! A text that is no whole number of nanometres is finer than any floor is measured, and is refused.
//!
//! # Which unit a bare number has
//! `12.5` is in the ledger's unit ([`Units`]: feet or metres), except after feet, where it is inches: `12ft6`.
//! Of lengths typed together (`3 x 4 m` in a ledger of feet), a bare one beside a unit of the other system could mean
//! either, and is refused rather than guessed.

use std::iter::Sum;
use std::ops::{Add, Mul, Neg, Sub};

use rust_decimal::prelude::ToPrimitive as _;
use thiserror::Error;

use crate::money::{Decimal, number, plain, round};

/// A mile is 5,280 ft, 1,609.344 m (NIST Handbook 44, appendix C).
const KILOMETRES_PER_MILE: Decimal = Decimal::from_parts(1_609_344, 0, 0, false, 6);
const NANOMETRES_PER_FOOT: i64 = 304_800_000;
const NANOMETRES_PER_INCH: i64 = 25_400_000;
const NANOMETRES_PER_64TH: i64 = NANOMETRES_PER_INCH / 64;
const TENTH_OF_A_MILLIMETRE: i64 = 100_000;
const NANOMETRES_PER_METRE: i64 = 1_000_000_000;
const SQUARE_FOOT: i128 = (NANOMETRES_PER_FOOT as i128) * (NANOMETRES_PER_FOOT as i128);
const SQUARE_METRE: i128 = (NANOMETRES_PER_METRE as i128) * (NANOMETRES_PER_METRE as i128);

/// Square metres in a square foot, exactly (NIST Handbook 44, Appendix C).
pub const SQUARE_METRES_PER_SQUARE_FOOT: Decimal = Decimal::from_parts(9_290_304, 0, 0, false, 8);

/// Metres in a foot, exactly (NIST Handbook 44, Appendix C).
pub const METRES_PER_FOOT: Decimal = Decimal::from_parts(3_048, 0, 0, false, 4);

/// The units that bare numbers are in, and that lengths and areas are printed in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Units {
    /// Feet, inches and square feet.
    #[default]
    Us,
    /// Metres and square metres.
    Metric,
}

impl Units {
    /// Returns the name that [`Units::parse`] reads.
    pub fn as_str(self) -> &'static str {
        match self {
            Units::Us => "us",
            Units::Metric => "metric",
        }
    }

    /// Returns the units of that name, in any case, if there are such.
    pub fn parse(name: &str) -> Option<Units> {
        [Units::Us, Units::Metric]
            .into_iter()
            .find(|units| units.as_str().eq_ignore_ascii_case(name.trim()))
    }

    fn mark(self) -> Mark {
        match self {
            Units::Us => Mark::Feet,
            Units::Metric => Mark::Metres,
        }
    }

    fn square(self) -> i128 {
        match self {
            Units::Us => SQUARE_FOOT,
            Units::Metric => SQUARE_METRE,
        }
    }
}

/// Why a text is not a length or an area.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum MeasureError {
    /// Not a length in any notation.
    #[error("`{0}` is not a length (try {example})", example = lengths_to_try(*.1))]
    NotALength(String, Units),
    /// Not an area in any notation.
    #[error("`{0}` is not an area (try {example})", example = areas_to_try(*.1))]
    NotAnArea(String, Units),
    /// Zero or less.
    #[error("`{0}` is not above zero")]
    NotPositive(String),
    /// A second number that makes up another whole of the first: the text, and that whole.
    #[error("`{0}` has a whole {1} or more after its first number")]
    Overfull(String, &'static str),
    /// A fraction that no tape shows: the text, and the denominator.
    #[error("`{0}` has a fraction in parts of {1}; a tape shows halves, 4ths, 8ths to 64ths")]
    Fraction(String, u32),
    /// Not a whole number of nanometres.
    #[error("`{0}` is finer than can be kept (a millionth of a millimetre)")]
    TooFine(String),
    /// Beyond [`Length::LONGEST`], or its square.
    #[error("`{0}` is too large (a length is at most 10 km)")]
    TooLarge(String),
    /// A bare number beside one with a unit of the system that is not the ledger's.
    #[error("`{0}` has no unit and `{1}` has one; give both a unit")]
    UnitMissing(String, String),
}

const fn lengths_to_try(units: Units) -> &'static str {
    match units {
        Units::Us => "12'6\", 12.5 or 3.81m",
        Units::Metric => "3.81, 3.81m or 381 cm",
    }
}

const fn areas_to_try(units: Units) -> &'static str {
    match units {
        Units::Us => "12 sqft, 1.2 m2 or 3 x 4",
        Units::Metric => "1.2, 1.2 m2 or 3 x 4",
    }
}

/// A length in whole nanometres; it may be negative as a difference, but never when it was read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Length(i64);

impl Length {
    /// No length.
    pub const ZERO: Length = Length(0);

    /// The longest that is read, 10 km: beyond it a slip is likelier than a floor.
    pub const LONGEST: Length = Length(10_000 * NANOMETRES_PER_METRE);

    /// Returns the length of that many nanometres.
    pub const fn from_nanometres(nanometres: i64) -> Self {
        Length(nanometres)
    }

    /// Returns the number of nanometres.
    pub const fn nanometres(self) -> i64 {
        self.0
    }

    /// Returns the length that many times.
    pub fn times(self, count: u32) -> Length {
        Length(self.0 * i64::from(count))
    }

    /// Returns the length without its sign.
    pub const fn abs(self) -> Length {
        Length(self.0.abs())
    }

    /// Reads a length as people write it: `12'6"`, `12 ft 6 1/2 in`, `12.5`, `3.81m`, `381 cm`.
    ///
    /// # Errors
    /// Refuses what is not a length above zero and at most [`Length::LONGEST`], or can't be kept exactly.
    pub fn parse(text: &str, units: Units) -> Result<Length, MeasureError> {
        read_length(text, units).map(|(length, _)| length)
    }

    /// Reads lengths that belong together, such as the two sides of a rectangle.
    ///
    /// # Errors
    /// Refuses what [`Length::parse`] refuses, and a bare number beside a unit of the other system.
    pub fn parse_together<const N: usize>(
        texts: [&str; N],
        units: Units,
    ) -> Result<[Length; N], MeasureError> {
        let mut lengths = [Length::ZERO; N];
        let (mut bare, mut marked) = (None, None);
        for (length, text) in lengths.iter_mut().zip(texts) {
            let (read, mark) = read_length(text, units)?;
            *length = read;
            match mark {
                None => bare = Some(text),
                Some(mark) if mark.units() != units => marked = Some(text),
                Some(_) => {}
            }
        }
        match (bare, marked) {
            (Some(bare), Some(marked)) => Err(MeasureError::UnitMissing(
                bare.trim().to_owned(),
                marked.trim().to_owned(),
            )),
            _ => Ok(lengths),
        }
    }

    /// Returns the length of so many feet, to the nearest nanometre; nothing, if they are more than can be counted.
    pub fn from_feet(feet: Decimal) -> Length {
        let nanometres = round(feet * Decimal::from(NANOMETRES_PER_FOOT), 0);
        Length(nanometres.to_i64().unwrap_or_default())
    }

    /// Returns the length in feet, to the last digit that a decimal has.
    pub fn feet(self) -> Decimal {
        in_units_of(i128::from(self.0), i128::from(NANOMETRES_PER_FOOT))
    }

    /// Returns the length in metres, exactly.
    pub fn metres(self) -> Decimal {
        Decimal::new(self.0, 9).normalize()
    }

    /// Writes the length for people: `12 ft 6 1/2 in`, to the nearest 1/16 in, or `3.81 m`, to the millimetre.
    pub fn text(self, units: Units) -> String {
        match units {
            Units::Metric => format!("{} m", plain(self.metres(), 3)),
            Units::Us => {
                let sixteenth = i128::from(NANOMETRES_PER_INCH / 16);
                let sixteenths = nearest(i128::from(self.0), sixteenth);
                let sign = if sixteenths < 0 { "-" } else { "" };
                format!(
                    "{sign}{}",
                    feet_and_inches(sixteenths.unsigned_abs(), 16, " ft", " in", " ")
                )
            }
        }
    }

    /// Writes what is thin for people, as it was likely measured: `3/32 in`, `2.5 mm`, or to the last digit that matters.
    pub fn fine_text(self, units: Units) -> String {
        match units {
            Units::Metric => format!("{} mm", plain(Decimal::new(self.0, 6), 2)),
            Units::Us if self.0 > 0 && self.0 % NANOMETRES_PER_64TH == 0 => {
                let parts = u128::from((self.0 / NANOMETRES_PER_64TH).unsigned_abs());
                feet_and_inches(parts, 64, " ft", " in", " ")
            }
            Units::Us if self.0 % TENTH_OF_A_MILLIMETRE == 0 => self.fine_text(Units::Metric),
            Units::Us => format!("{} in", plain(self.inches(), 4)),
        }
    }

    /// Returns the length in inches, to the last digit that a decimal has.
    pub fn inches(self) -> Decimal {
        in_units_of(i128::from(self.0), i128::from(NANOMETRES_PER_INCH))
    }

    /// Writes the length exactly, so that either [`Units`] reads the same length back: `12'6 1/2"` or `3810.5mm`.
    pub fn exact_text(self) -> String {
        if self.0 % NANOMETRES_PER_64TH != 0 {
            return format!("{}mm", plain(Decimal::new(self.0, 6), 6));
        }
        let sign = if self.0 < 0 { "-" } else { "" };
        let parts = u128::from((self.0 / NANOMETRES_PER_64TH).unsigned_abs());
        format!("{sign}{}", feet_and_inches(parts, 64, "'", "\"", ""))
    }
}

impl Add for Length {
    type Output = Length;
    fn add(self, other: Length) -> Length {
        Length(self.0 + other.0)
    }
}

impl Sub for Length {
    type Output = Length;
    fn sub(self, other: Length) -> Length {
        Length(self.0 - other.0)
    }
}

impl Neg for Length {
    type Output = Length;
    fn neg(self) -> Length {
        Length(-self.0)
    }
}

impl Sum for Length {
    fn sum<I: Iterator<Item = Length>>(lengths: I) -> Length {
        lengths.fold(Length::ZERO, Add::add)
    }
}

impl Mul for Length {
    type Output = Area;
    fn mul(self, other: Length) -> Area {
        Area(i128::from(self.0) * i128::from(other.0))
    }
}

/// An area in whole square nanometres.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Area(i128);

impl Area {
    /// No area.
    pub const ZERO: Area = Area(0);

    /// Returns the area of that many square nanometres.
    pub const fn from_square_nanometres(square_nanometres: i128) -> Self {
        Area(square_nanometres)
    }

    /// Returns the number of square nanometres.
    pub const fn square_nanometres(self) -> i128 {
        self.0
    }

    /// Returns the area that many times.
    pub fn times(self, count: u32) -> Area {
        Area(self.0 * i128::from(count))
    }

    /// Reads an area: `12 sqft`, `1.2 m2`, a bare `12` in the ledger's unit, or two sides as in `3 x 4`.
    ///
    /// # Errors
    /// Refuses what is not an area above zero and at most the square of [`Length::LONGEST`], or can't be kept exactly.
    pub fn parse(text: &str, units: Units) -> Result<Area, MeasureError> {
        let text = text.trim();
        if let Some((one, other)) = factors(text) {
            let [one, other] = Length::parse_together([one, other], units)?;
            return Ok(one * other);
        }
        let refused = || MeasureError::NotAnArea(text.to_owned(), units);
        let (digits, unit) = leading_number(text);
        let count = number(digits).ok_or_else(refused)?;
        let square = square_mark(unit, units).ok_or_else(refused)?;
        // Larger counts are told apart here, so that the product below overflows only for want of fineness.
        if count > Decimal::from(10_000_000_000_i64) {
            return Err(MeasureError::TooLarge(text.to_owned()));
        }
        match exact_product(count, square) {
            None => Err(MeasureError::TooFine(text.to_owned())),
            Some(0) => Err(MeasureError::NotPositive(text.to_owned())),
            Some(area) if Area(area) > Length::LONGEST * Length::LONGEST => {
                Err(MeasureError::TooLarge(text.to_owned()))
            }
            Some(area) => Ok(Area(area)),
        }
    }

    /// Returns the area in square feet: exact wherever a decimal can be, to its last digit elsewhere.
    pub fn square_feet(self) -> Decimal {
        in_units_of(self.0, SQUARE_FOOT)
    }

    /// Returns the area in square metres: exact wherever a decimal can be, to its last digit elsewhere.
    pub fn square_metres(self) -> Decimal {
        in_units_of(self.0, SQUARE_METRE)
    }

    /// Writes the area exactly, so that either [`Units`] reads the same area back: `48 sqft` or `1.25 m2`.
    pub fn exact_text(self) -> String {
        let sqft = format!("{} sqft", plain(self.square_feet(), 6));
        match Area::parse(&sqft, Units::Us) {
            Ok(same) if same == self => sqft,
            _ => format!("{} m2", plain(self.square_metres(), 18)),
        }
    }

    /// Writes the area for people, to at most two decimals: `45.5 sq ft` or `13.56 m²`.
    pub fn text(self, units: Units) -> String {
        match units {
            Units::Us => format!("{} sq ft", plain(self.square_feet(), 2)),
            Units::Metric => format!("{} m²", plain(self.square_metres(), 2)),
        }
    }
}

impl Add for Area {
    type Output = Area;
    fn add(self, other: Area) -> Area {
        Area(self.0 + other.0)
    }
}

impl Sub for Area {
    type Output = Area;
    fn sub(self, other: Area) -> Area {
        Area(self.0 - other.0)
    }
}

impl Sum for Area {
    fn sum<I: Iterator<Item = Area>>(areas: I) -> Area {
        areas.fold(Area::ZERO, Add::add)
    }
}

/// Splits `10 x 4.5`, `10×4.5` or `10 by 4.5` at the first such sign.
pub(crate) fn factors(text: &str) -> Option<(&str, &str)> {
    // ASCII lower case keeps every byte where it was.
    let lower = text.to_ascii_lowercase();
    let (position, sign) = ["x", "×", "by"]
        .into_iter()
        .filter_map(|sign| Some((lower.find(sign)?, sign)))
        .min()?;
    Some((&text[..position], &text[position + sign.len()..]))
}

/// Divides to the nearest whole number, half away from zero; the denominator is above zero.
pub(crate) fn nearest(numerator: i128, denominator: i128) -> i128 {
    (2 * numerator + numerator.signum() * denominator) / (2 * denominator)
}

/// What a number within a length counts.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Mark {
    Feet,
    Inches,
    Metres,
    Centimetres,
    Millimetres,
}

impl Mark {
    /// Reads a mark or a word as [`simplified`] leaves it.
    fn read(word: &str) -> Option<Mark> {
        match word {
            "'" | "ft" | "foot" | "feet" => Some(Mark::Feet),
            "\"" | "in" | "inch" | "inches" => Some(Mark::Inches),
            "m" | "metre" | "metres" | "meter" | "meters" => Some(Mark::Metres),
            "cm" => Some(Mark::Centimetres),
            "mm" => Some(Mark::Millimetres),
            _ => None,
        }
    }

    /// Returns the system that the mark belongs to.
    fn units(self) -> Units {
        match self {
            Mark::Feet | Mark::Inches => Units::Us,
            Mark::Metres | Mark::Centimetres | Mark::Millimetres => Units::Metric,
        }
    }

    fn nanometres(self) -> i64 {
        match self {
            Mark::Feet => NANOMETRES_PER_FOOT,
            Mark::Inches => NANOMETRES_PER_INCH,
            Mark::Metres => NANOMETRES_PER_METRE,
            Mark::Centimetres => 10_000_000,
            Mark::Millimetres => 1_000_000,
        }
    }
}

/// One number of a length, with its fraction and its mark: the `6 1/2"` of `12' 6 1/2"`.
struct Term {
    whole: Decimal,
    fraction: Option<(u32, u32)>,
    mark: Option<Mark>,
}

impl Term {
    /// Reads the term that a simplified text begins with, and returns what follows it.
    fn read(text: &str) -> Option<(Term, &str)> {
        let (digits, rest) = leading_number(text);
        let (whole, fraction, rest) = if let Some((fraction, rest)) = leading_fraction(text) {
            (Decimal::ZERO, Some(fraction), rest)
        } else if let Some((fraction, rest)) = leading_fraction(after_hyphen(rest)) {
            let whole = number(digits).filter(|_| !digits.contains('.'));
            (whole?, Some(fraction), rest)
        } else {
            (number(digits)?, None, rest)
        };
        let (word, rest) = leading_word(rest.trim_start());
        let mark = Mark::read(word);
        let known = mark.is_some() || word.is_empty();
        known.then_some((
            Self {
                whole,
                fraction,
                mark,
            },
            rest,
        ))
    }

    /// Returns the term's nanometres; a refusal names the whole text.
    fn nanometres(&self, mark: Mark, text: &str) -> Result<i128, MeasureError> {
        let (numerator, parts) = self.fraction.unwrap_or((0, 1));
        if !matches!(parts, 1 | 2 | 4 | 8 | 16 | 32 | 64) {
            return Err(MeasureError::Fraction(text.to_owned(), parts));
        }
        // `6 9/8` is more often a slip than a length.
        if numerator >= parts {
            return Err(MeasureError::NotALength(text.to_owned(), mark.units()));
        }
        let unit = i128::from(mark.nanometres());
        let whole = exact_product(self.whole, unit);
        let whole = whole.ok_or_else(|| MeasureError::TooFine(text.to_owned()))?;
        // The nanometres of every mark divide by 64.
        Ok(whole + unit / i128::from(parts) * i128::from(numerator))
    }
}

/// Reads a length, and the mark of its first number.
fn read_length(text: &str, units: Units) -> Result<(Length, Option<Mark>), MeasureError> {
    let text = text.trim();
    let refused = || MeasureError::NotALength(text.to_owned(), units);
    let unsigned = text.strip_prefix('-').unwrap_or(text);

    let simple = simplified(unsigned);
    let (first, rest) = Term::read(&simple).ok_or_else(refused)?;
    let nanometres = if rest.trim().is_empty() {
        first.nanometres(first.mark.unwrap_or(units.mark()), text)?
    } else {
        let (second, rest) = Term::read(after_hyphen(rest)).ok_or_else(refused)?;
        if !rest.trim().is_empty() {
            return Err(refused());
        }
        two_terms(&first, &second, text)?
    };

    if nanometres == 0 || unsigned != text {
        return Err(MeasureError::NotPositive(text.to_owned()));
    }
    match i64::try_from(nanometres).map(Length) {
        Ok(length) if length <= Length::LONGEST => Ok((length, first.mark)),
        _ => Err(MeasureError::TooLarge(text.to_owned())),
    }
}

/// Adds feet and inches, or metres and the rest of a metre.
fn two_terms(first: &Term, second: &Term, text: &str) -> Result<i128, MeasureError> {
    let refused = || {
        let units = first.mark.map_or(Units::Us, Mark::units);
        MeasureError::NotALength(text.to_owned(), units)
    };
    let (large, small, whole) = match (first.mark, second.mark) {
        (Some(Mark::Feet), None | Some(Mark::Inches)) => (Mark::Feet, Mark::Inches, "foot"),
        (Some(Mark::Metres), Some(small @ (Mark::Centimetres | Mark::Millimetres))) => {
            (Mark::Metres, small, "metre")
        }
        _ => return Err(refused()),
    };
    if first.fraction.is_some() || first.whole.scale() > 0 {
        return Err(refused());
    }
    let rest = second.nanometres(small, text)?;
    if rest >= i128::from(large.nanometres()) {
        return Err(MeasureError::Overfull(text.to_owned(), whole));
    }
    Ok(first.nanometres(large, text)? + rest)
}

/// Rewrites a text with one sign for each of the marks that keyboards and typesetters make of it.
fn simplified(text: &str) -> String {
    let mut simple = String::with_capacity(text.len());
    for sign in text.chars().flat_map(char::to_lowercase) {
        match sign {
            '′' | '’' | '‘' => simple.push('\''),
            '″' | '”' | '“' => simple.push('"'),
            '⁄' => simple.push('/'),
            '½' => simple.push_str(" 1/2"),
            '¼' => simple.push_str(" 1/4"),
            '¾' => simple.push_str(" 3/4"),
            '⅛' => simple.push_str(" 1/8"),
            '⅜' => simple.push_str(" 3/8"),
            '⅝' => simple.push_str(" 5/8"),
            '⅞' => simple.push_str(" 7/8"),
            other => simple.push(other),
        }
    }
    simple.replace("''", "\"").trim().to_owned()
}

/// Splits the digits and points that a text begins with from the rest; a sign is never among them.
fn leading_number(text: &str) -> (&str, &str) {
    let end = text
        .find(|sign: char| !sign.is_ascii_digit() && sign != '.')
        .unwrap_or(text.len());
    text.split_at(end)
}

/// Splits one mark, or one word, from the rest; the point of an abbreviation (`ft.`) is dropped.
fn leading_word(text: &str) -> (&str, &str) {
    if text.starts_with(['\'', '"']) {
        return text.split_at(1);
    }
    let end = text.find(|sign: char| !sign.is_ascii_alphabetic());
    let (word, rest) = text.split_at(end.unwrap_or(text.len()));
    match rest.strip_prefix('.') {
        // The point of `12 ft .5 in` is a decimal one.
        Some(after)
            if !word.is_empty() && !after.starts_with(|sign: char| sign.is_ascii_digit()) =>
        {
            (word, after)
        }
        _ => (word, rest),
    }
}

/// Skips blanks and the hyphen of `12'-6"` or `6-1/2"`.
fn after_hyphen(text: &str) -> &str {
    let text = text.trim_start();
    text.strip_prefix('-').unwrap_or(text).trim_start()
}

/// Splits the `1/2` that a text begins with from the rest.
fn leading_fraction(text: &str) -> Option<((u32, u32), &str)> {
    let (numerator, rest) = leading_number(text);
    let (denominator, rest) = leading_number(rest.strip_prefix('/')?);
    Some(((numerator.parse().ok()?, denominator.parse().ok()?), rest))
}

/// Reads what follows the number of an area; nothing is the ledger's unit.
fn square_mark(unit: &str, units: Units) -> Option<i128> {
    let mut letters = unit.to_lowercase();
    letters.retain(|sign| !sign.is_whitespace() && sign != '.');
    match letters.as_str() {
        "" => Some(units.square()),
        "sqft" | "ft2" | "ft²" | "sf" | "squarefeet" | "squarefoot" => Some(SQUARE_FOOT),
        "sqm" | "m2" | "m²" | "squaremetres" | "squaremetre" | "squaremeters" | "squaremeter" => {
            Some(SQUARE_METRE)
        }
        _ => None,
    }
}

/// Multiplies; `None` when the product is no whole number, or beyond 128 bits.
fn exact_product(count: Decimal, unit: i128) -> Option<i128> {
    let count = count.normalize();
    let (product, scale) = (
        count.mantissa().checked_mul(unit)?,
        10_i128.pow(count.scale()),
    );
    (product % scale == 0).then_some(product / scale)
}

/// Divides whole units and the rest apart, since a decimal has room for 28 digits and an area may have more.
fn in_units_of(count: i128, unit: i128) -> Decimal {
    let rest = Decimal::from(count % unit) / Decimal::from(unit);
    (Decimal::from(count / unit) + rest).normalize()
}

/// Writes a count of parts of an inch (a power of two); nothing at all is no feet.
fn feet_and_inches(parts: u128, per_inch: u128, foot: &str, inch: &str, gap: &str) -> String {
    let (feet, whole) = (parts / per_inch / 12, parts / per_inch % 12);
    let fraction = parts % per_inch;
    let common = 1 << fraction.trailing_zeros().min(per_inch.trailing_zeros());
    let (numerator, denominator) = (fraction / common, per_inch / common);

    let inches = match (whole, numerator) {
        (0, 0) => return format!("{feet}{foot}"),
        (whole, 0) => whole.to_string(),
        (0, _) if feet == 0 => format!("{numerator}/{denominator}"),
        _ => format!("{whole} {numerator}/{denominator}"),
    };
    if feet == 0 {
        format!("{inches}{inch}")
    } else {
        format!("{feet}{foot}{gap}{inches}{inch}")
    }
}

/// Returns a distance on the road, miles or kilometres, as it is in other units.
pub fn on_the_road(distance: Decimal, from: Units, to: Units) -> Decimal {
    match (from, to) {
        (Units::Us, Units::Metric) => distance * KILOMETRES_PER_MILE,
        (Units::Metric, Units::Us) => distance / KILOMETRES_PER_MILE,
        _ => distance,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rust_decimal_macros::dec;

    use super::*;

    const SIXTEENTH: i64 = NANOMETRES_PER_INCH / 16;

    fn us(text: &str) -> Length {
        Length::parse(text, Units::Us).unwrap_or_else(|refused| panic!("{refused}"))
    }

    #[test]
    fn every_way_to_write_a_length_is_read_exactly() {
        let twelve_six = r#"12'6" | 12' 6" | 12'6 | 12 ft 6 in | 12ft6 | 12FT6IN | 12 feet 6 inches | 12'-6" |
            12′6″ | 12’6” | 12 ft. 6 in. | 12 foot 6 inch | 12' 6'' | 12.5 | 12.5' | 12.5 ft | 150" | 3.81m |
            3.81 m | 381 cm | 3810 mm | 3 m 81 cm"#;
        for text in twelve_six.split('|') {
            assert_eq!(us(text), Length(3_810_000_000), "{text}");
        }
        let sixteenths = [
            ("12' | 12ft | 12 ft", 12 * 192),
            (r#"6" | 6'' | 6 in"#, 96),
            (r#"6 1/2 in | 6½" | 6-1/2""#, 104),
            (r#"½ in | 1/2" | 0.5 in | .5""#, 8),
            (r#"1/16" | 4/64 in"#, 1),
            (
                r#"12' 6 1/2" | 12' 6-1/2" | 12'6.5" | 12 ft 6 1/2 in | 12ft6 1/2 | 12'6½"#,
                2408,
            ),
            (r#"12' 1/2" | 12'.5 | 12'0.5""#, 2312),
            ("12 1/2' | 12½ ft", 2400),
        ];
        for (texts, count) in sixteenths {
            for text in texts.split('|') {
                assert_eq!(us(text), Length(count * SIXTEENTH), "{text}");
            }
        }
        let metres = Length::parse("12.5", Units::Metric);
        assert_eq!(metres, Ok(Length(12_500_000_000)));
    }

    #[test]
    fn what_is_not_a_length_is_refused_with_its_text() {
        let refused = r#"
            12x | `12x` is not a length (try 12'6", 12.5 or 3.81m)
            12'14" | `12'14"` has a whole foot or more after its first number
            3 m 100cm | `3 m 100cm` has a whole metre or more after its first number
            6 1/3" | `6 1/3"` has a fraction in parts of 3; a tape shows halves, 4ths, 8ths to 64ths
            0.0000001mm | `0.0000001mm` is finer than can be kept (a millionth of a millimetre)
            0 | `0` is not above zero
            -3 | `-3` is not above zero
            10001 m | `10001 m` is too large (a length is at most 10 km)"#;
        for (text, message) in refused.lines().filter_map(|line| line.split_once('|')) {
            let refused = Length::parse(text, Units::Us).unwrap_err();
            assert_eq!(refused.to_string(), message.trim(), "{text}");
        }
        let also = r#" | NaN | inf | 1e3 | 1,000 | 1 000 | +5 | --5 | 5 5 | 5'5'5 | 5"5' | 5.5' 6" | 5 1/2' 6" | 1/0" |
            1/2/2 | 9/8" | 5.5 1/2" | 1.5.5 | . | ' | 3 m 4 | ½½ | ٣ | 12'6" x | 12 . | 99999999999999999999999999999 |
            0.33333333333333333333333333333333333333"#;
        for text in also.split('|') {
            assert!(Length::parse(text, Units::Us).is_err(), "{text}");
        }
    }

    #[test]
    fn lengths_are_printed_to_the_nearest_sixteenth_or_millimetre() {
        let printed = [
            ("23'10\"", "23 ft 10 in", "7.264 m"),
            ("9\"", "9 in", "0.229 m"),
            ("5'", "5 ft", "1.524 m"),
            ("12'6 1/2\"", "12 ft 6 1/2 in", "3.823 m"),
            ("12'0 1/2\"", "12 ft 0 1/2 in", "3.67 m"),
            ("3/16\"", "3/16 in", "0.005 m"),
            ("12'11.99\"", "13 ft", "3.962 m"),
            ("0.1mm", "0 ft", "0 m"),
            ("3.81m", "12 ft 6 in", "3.81 m"),
        ];
        for (text, feet, metres) in printed {
            assert_eq!(us(text).text(Units::Us), feet, "{text}");
            assert_eq!(us(text).text(Units::Metric), metres, "{text}");
        }
        assert_eq!((-us("9\"")).text(Units::Us), "-9 in");
    }

    #[test]
    fn exact_texts_are_short_and_lose_nothing() {
        for text in ["12'6\"", "12'0 1/2\"", "5'", "9\"", "1/64\"", "3810.5mm"] {
            assert_eq!(us(text).exact_text(), text);
        }
    }

    #[test]
    fn units_convert_as_nist_handbook_44_says() {
        // NIST Handbook 44, Appendix C: 1 in = 25.4 mm, 1 ft = 0.3048 m, 1 mi = 5280 ft = 1609.344 m,
        // 1 ft² = 0.09290304 m², all exact.
        let inch = Length::parse("1 in", Units::Us).unwrap();
        assert_eq!(Length::parse("25.4 mm", Units::Us), Ok(inch));
        assert_eq!(inch.times(12).metres(), dec!(0.3048));
        assert_eq!(inch.times(12 * 5280).metres(), dec!(1609.344));
        let square_foot = inch.times(12) * inch.times(12);
        assert_eq!(square_foot.square_metres(), dec!(0.09290304));
        assert_eq!(square_foot.square_feet(), Decimal::ONE);
    }

    #[test]
    fn areas_of_feet_and_inches_are_exact() {
        let sides = [
            ("11'6\" x 8'6\"", dec!(97.75), "97.75 sq ft", "9.08 m²"),
            ("10 × 4.5", dec!(45), "45 sq ft", "4.18 m²"),
            ("13 BY 3.5", dec!(45.5), "45.5 sq ft", "4.23 m²"),
            ("12 sq ft", dec!(12), "12 sq ft", "1.11 m²"),
            ("12sqft", dec!(12), "12 sq ft", "1.11 m²"),
            ("12 ft²", dec!(12), "12 sq ft", "1.11 m²"),
            ("12", dec!(12), "12 sq ft", "1.11 m²"),
            ("0.09290304 m2", dec!(1), "1 sq ft", "0.09 m²"),
        ];
        for (text, square_feet, printed, metric) in sides {
            let area = Area::parse(text, Units::Us).unwrap();
            assert_eq!(area.square_feet(), square_feet, "{text}");
            assert_eq!(area.text(Units::Us), printed, "{text}");
            assert_eq!(area.text(Units::Metric), metric, "{text}");
        }
        let refused =
            " | 0 | -3 | 3 x | x | 3 x 4 x 5 | 1e3 | 12 sq yd | 1,200 | 99999999999 | 0 x 4 | NaN";
        for text in refused.split('|') {
            assert!(Area::parse(text, Units::Us).is_err(), "{text}");
        }
    }

    #[test]
    fn rooms_of_the_worked_house_add_up() {
        // The worked house at onflooring.com/how-to-measure-for-flooring: 248.08 + 203.91 + 49.68 = 501.67 sq ft.
        let rooms = ["248.08", "203.91 sqft", "49.68 sq ft"];
        let rooms = rooms.map(|room| Area::parse(room, Units::Us).unwrap());
        let house: Area = rooms.into_iter().sum();
        assert_eq!(house.square_feet(), dec!(501.67));
    }

    #[test]
    fn a_bare_number_beside_a_foreign_unit_is_not_guessed() {
        let refused = Area::parse("3 x 4 m", Units::Us).unwrap_err();
        assert_eq!(
            refused.to_string(),
            "`3` has no unit and `4 m` has one; give both a unit"
        );
        assert!(Area::parse("3 x 4 m", Units::Metric).is_ok());
        assert!(Area::parse("3 x 4'6\"", Units::Us).is_ok());
        assert!(Area::parse("3' x 4 m", Units::Us).is_ok());
    }

    proptest! {
        #[test]
        fn exact_text_reads_back(nanometres in 1..=Length::LONGEST.0, sixty_fourths in 1_i64..10_000_000) {
            for length in [Length(nanometres), Length(sixty_fourths * NANOMETRES_PER_64TH)] {
                for units in [Units::Us, Units::Metric] {
                    prop_assert_eq!(Length::parse(&length.exact_text(), units), Ok(length));
                }
            }
        }

        #[test]
        fn no_text_panics(any in ".*", near in "[-0-9.'\"/ ½ftinmcx²]{0,12}") {
            for text in [any, near] {
                for units in [Units::Us, Units::Metric] {
                    let _ = (Length::parse(&text, units), Area::parse(&text, units));
                }
            }
        }

        #[test]
        fn printed_feet_and_inches_are_within_half_a_sixteenth(nanometres in SIXTEENTH..1_000_000_000_000) {
            let printed = Length::parse(&Length(nanometres).text(Units::Us), Units::Us).unwrap();
            prop_assert!((printed.0 - nanometres).abs() <= SIXTEENTH / 2, "{printed:?}");
        }
    }
}
