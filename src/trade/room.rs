//! A room's floor from its shapes: its area, and the length of its walls and edges.
//!
//! # How a room is measured
//! One person walks a room with a tape: along the walls, or across them when it is a plain rectangle.
//! A closet or an alcove is added as a rectangle that is open towards the room.
//! A hearth or a chimney breast against a wall is taken away, and so is an island or a stairwell in the middle.
//! The big machine sands the area; the edger follows the walls, and stops where a doorway opens.
//! Stairs are sanded and priced by the step; their area only says how much finish they take.
//!
//! # Geometry
//! - Whatever is cut out of a corner leaves the walls as long as those of the room's bounding box
//!   (geometry: the notch has the same two sides), so an L-shaped room has the box's perimeter.
//! - A rectangle against a wall swaps its width of wall for two depths and that same width: added or taken away,
//!   it lengthens the walls by twice its depth. An island adds its whole outline.
//! - The edge is the walls less the openings of the doorways: a room of 10 by 10 ft with a door of 30 in has
//!   about 37 ft (Slippery Rock Gazette, on the cost of edging).
//! - A trapezoid is a bay: two parallel sides, two equal legs; (a + b) / 2 × depth.
//! - Of a half circle, a bowed bay, the straight side counts as wall. A bay that is open towards a room is
//!   measured on its own, with its straight side as a doorway.
//!
//! # Exactness
//! What is irrational is rounded once, at the end: arcs and legs to 0.01 mm, areas to a square nanometre.
//! Neither can show: 0.0001 sq ft, the finest that is printed, is 9.29 mm².
//! Walked walls are exact until then; see [`walk`](crate::trade::walk).

use std::fmt;

use crate::measure::{Area, Length, MeasureError, Units, factors, nearest};
use crate::trade::walk::MOST;
pub use crate::trade::walk::{RoomError, Walk};

/// π / 4 × 2^128, cut off.
const QUARTER_PI: u128 = 267_257_146_016_241_686_964_920_093_290_467_695_825;

/// A room's floor: one shape, and parts added to it and taken away.
#[derive(Clone, Debug)]
pub struct Floor {
    base: Base,
    parts: Vec<Part>,
    /// How it was typed; empty: nobody knows. It says nothing of the floor.
    typed: String,
}

impl PartialEq for Floor {
    fn eq(&self, other: &Floor) -> bool {
        (&self.base, &self.parts) == (&other.base, &other.parts)
    }
}

impl Eq for Floor {}

impl Floor {
    /// Returns the floor of a shape and its parts.
    ///
    /// # Errors
    /// Refuses a length that [`Length::parse`] would refuse, a cut-out larger than the room, cut-outs that leave
    /// nothing, and parts of stairs.
    pub fn new(base: Base, parts: Vec<Part>) -> Result<Floor, RoomError> {
        if parts.len() > MOST {
            return Err(RoomError::TooMany);
        }
        let sides = parts.iter().flat_map(|part| [part.width, part.depth]);
        for length in base.lengths().into_iter().chain(sides) {
            checked(length)?;
        }
        match (&base, parts.first()) {
            (Base::Stairs { .. }, Some(part)) => {
                return Err(RoomError::StairsPart(part.to_string()));
            }
            (Base::NotMeasured, Some(_)) => return Err(RoomError::NotMeasured),
            (Base::NotMeasured, None) => return Ok(Floor::of(base, parts)),
            _ => {}
        }

        let (cuts, added) = parts
            .iter()
            .partition::<Vec<Part>, _>(|part| part.effect != Effect::Plus);
        let uncut = Floor::of(base, added);
        for cut in cuts {
            // Nothing within walls is longer than half of the way round them.
            let long = cut.width.max(cut.depth).times(2) > uncut.wall_length();
            if long || cut.width * cut.depth >= uncut.area() {
                return Err(RoomError::CutOut(cut.sides()));
            }
        }

        let floor = Floor::of(uncut.base, parts);
        if floor.area() > Area::ZERO {
            Ok(floor)
        } else {
            Err(RoomError::NoFloor(floor.to_string()))
        }
    }

    /// Reads a floor as [`Display`](fmt::Display) writes it: `14' x 12'; plus 5' x 2'; island 4' x 3'`.
    ///
    /// # Errors
    /// Refuses what [`Base::parse_shape`], [`Part::parse`] and [`Floor::new`] refuse.
    pub fn parse(text: &str, units: Units) -> Result<Floor, RoomError> {
        let mut shapes = text.split(';');
        let base = Base::parse_shape(shapes.next().unwrap_or_default(), units)?;
        let parts = shapes
            .map(|part| Part::parse(part, units))
            .collect::<Result<_, _>>()?;
        Ok(Floor {
            typed: text.trim().to_owned(),
            ..Floor::new(base, parts)?
        })
    }

    /// Returns a floor that nobody measured: a way through the house, never sanded. Its area and walls are none.
    pub fn not_measured() -> Floor {
        Floor::of(Base::NotMeasured, Vec::new())
    }

    fn of(base: Base, parts: Vec<Part>) -> Floor {
        Floor {
            base,
            parts,
            typed: String::new(),
        }
    }

    /// Returns the floor with how it was typed, if that reads as this floor in such units.
    pub fn as_typed(self, text: &str, units: Units) -> Floor {
        match Floor::parse(text, units) {
            Ok(read) if read == self => read,
            _ => Floor {
                typed: String::new(),
                ..self
            },
        }
    }

    /// Writes it as it was typed, where that is known, or exactly, as [`Display`](fmt::Display) does.
    pub fn typed_text(&self) -> String {
        match self.typed.is_empty() {
            true => self.to_string(),
            false => self.typed.clone(),
        }
    }

    /// Tells whether somebody measured it.
    pub fn is_measured(&self) -> bool {
        self.base != Base::NotMeasured
    }

    /// Returns the shape that parts are added to and taken from.
    pub fn base(&self) -> &Base {
        &self.base
    }

    /// Returns the parts, in the order they were given.
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// Returns the area that is sanded and coated.
    pub fn area(&self) -> Area {
        self.parts
            .iter()
            .fold(self.base.area(), |area, part| match part.effect {
                Effect::Plus => area + part.width * part.depth,
                Effect::Less | Effect::Island => area - part.width * part.depth,
            })
    }

    /// Returns the length of all walls, doorways included; stairs have none.
    pub fn wall_length(&self) -> Length {
        let parts = self.parts.iter().map(|part| match part.effect {
            Effect::Plus | Effect::Less => part.depth.times(2),
            Effect::Island => (part.width + part.depth).times(2),
        });
        self.base.wall_length() + parts.sum()
    }

    /// Returns the length that is edged: the walls less the openings of the doorways; none where nobody measured.
    ///
    /// # Errors
    /// Refuses openings that are together longer than the walls.
    pub fn edge(&self, doorways: impl IntoIterator<Item = Length>) -> Result<Length, RoomError> {
        let (walls, openings) = (self.wall_length(), doorways.into_iter().sum());
        if !self.is_measured() {
            return Ok(Length::ZERO);
        }
        if openings > walls {
            return Err(RoomError::Openings { openings, walls });
        }
        Ok(walls - openings)
    }

    /// Returns the number of steps, if the floor is a flight of stairs.
    pub fn steps(&self) -> Option<u32> {
        match self.base {
            Base::Stairs { steps, .. } => Some(steps),
            Base::Rectangle { .. }
            | Base::Walls(_)
            | Base::Trapezoid { .. }
            | Base::Circle { .. }
            | Base::HalfCircle { .. }
            | Base::NotMeasured => None,
        }
    }
}

impl fmt::Display for Floor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.base)?;
        self.parts.iter().try_for_each(|part| write!(f, "; {part}"))
    }
}

/// The shape that a room begins with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Base {
    /// Four walls at right angles.
    #[expect(missing_docs, reason = "the sides of a rectangle need no words")]
    Rectangle { length: Length, width: Length },
    /// Walls, each with its length, and turns between them.
    Walls(Walk),
    /// Two parallel sides and two equal legs, such as a bay.
    #[expect(missing_docs, reason = "the names are those of the formula above")]
    Trapezoid { a: Length, b: Length, depth: Length },
    /// A round room.
    #[expect(missing_docs, reason = "a circle has one diameter")]
    Circle { diameter: Length },
    /// Half of a round room, with a straight wall as long as the diameter.
    #[expect(missing_docs, reason = "a circle has one diameter")]
    HalfCircle { diameter: Length },
    /// A flight of stairs, each step a tread and a riser.
    #[expect(missing_docs, reason = "the names are those of a stair")]
    Stairs {
        steps: u32,
        width: Length,
        tread: Length,
        riser: Length,
    },
    /// Not measured, since it is never sanded.
    NotMeasured,
}

/// How a floor is written that nobody measured.
const NOT_MEASURED: &str = "not measured";

impl Base {
    /// Reads a shape: `10 x 4.5`, `trapezoid A,B x D`, `circle D`, `half-circle D`,
    /// `stairs STEPS, WIDTH x TREAD + RISER`, `not measured`, or `walls` and what [`Walk::parse`] reads.
    ///
    /// # Errors
    /// Refuses what is no such shape, and lengths that [`Length::parse_together`] refuses.
    pub fn parse_shape(text: &str, units: Units) -> Result<Base, RoomError> {
        let text = text.trim();
        let refused = || RoomError::NotAShape(text.to_owned(), units);
        if text.eq_ignore_ascii_case(NOT_MEASURED) {
            return Ok(Base::NotMeasured);
        }
        if let Some(walls) = after(text, "walls") {
            return Ok(Base::Walls(Walk::parse(walls, units)?));
        }
        if let Some(diameter) = after(text, "circle") {
            return Ok(Base::Circle {
                diameter: Length::parse(diameter, units)?,
            });
        }
        if let Some(diameter) = after(text, "half-circle") {
            return Ok(Base::HalfCircle {
                diameter: Length::parse(diameter, units)?,
            });
        }

        let (one, other) = factors(text).ok_or_else(refused)?;
        if let Some(sides) = after(one, "trapezoid") {
            let (a, b) = sides.split_once(',').ok_or_else(refused)?;
            let [a, b, depth] = Length::parse_together([a, b, other], units)?;
            return Ok(Base::Trapezoid { a, b, depth });
        }
        if let Some(flight) = after(one, "stairs") {
            let (steps, width) = flight.split_once(',').ok_or_else(refused)?;
            let (tread, riser) = other.split_once('+').ok_or_else(refused)?;
            let steps = steps
                .trim()
                .parse()
                .ok()
                .filter(|steps| *steps > 0)
                .ok_or_else(refused)?;
            let [width, tread, riser] = Length::parse_together([width, tread, riser], units)?;
            return Ok(Base::Stairs {
                steps,
                width,
                tread,
                riser,
            });
        }
        let [length, width] = Length::parse_together([one, other], units)?;
        Ok(Base::Rectangle { length, width })
    }

    /// Returns the lengths that a caller may have put together unread; those of a walk never are.
    fn lengths(&self) -> Vec<Length> {
        match *self {
            Base::Rectangle { length, width } => vec![length, width],
            Base::Walls(_) | Base::NotMeasured => vec![],
            Base::Trapezoid { a, b, depth } => vec![a, b, depth],
            Base::Circle { diameter } | Base::HalfCircle { diameter } => vec![diameter],
            Base::Stairs {
                steps: _,
                width,
                tread,
                riser,
            } => vec![width, tread, riser],
        }
    }

    fn area(&self) -> Area {
        match *self {
            Base::Rectangle { length, width } => length * width,
            Base::Walls(ref walk) => walk.area(),
            Base::Trapezoid { a, b, depth } => half((a + b) * depth),
            Base::Circle { diameter } => disc(diameter),
            Base::HalfCircle { diameter } => half(disc(diameter)),
            Base::Stairs {
                steps,
                width,
                tread,
                riser,
            } => (width * (tread + riser)).times(steps),
            Base::NotMeasured => Area::ZERO,
        }
    }

    fn wall_length(&self) -> Length {
        match *self {
            Base::Rectangle { length, width } => (length + width).times(2),
            Base::Walls(ref walk) => walk.length(),
            Base::Trapezoid { a, b, depth } => a + b + legs(a - b, depth),
            Base::Circle { diameter } => arc(diameter.times(4)),
            Base::HalfCircle { diameter } => arc(diameter.times(2)) + diameter,
            Base::Stairs { .. } | Base::NotMeasured => Length::ZERO,
        }
    }
}

/// Writes the shape so that [`Base::parse_shape`] reads the same one, in either units.
impl fmt::Display for Base {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Base::Walls(walk) = self {
            return write!(f, "walls {walk}");
        }
        if *self == Base::NotMeasured {
            return f.write_str(NOT_MEASURED);
        }
        let texts: Vec<String> = self.lengths().into_iter().map(Length::exact_text).collect();
        match (self, texts.as_slice()) {
            (Base::Trapezoid { .. }, [a, b, depth]) => write!(f, "trapezoid {a},{b} x {depth}"),
            (Base::Circle { .. }, [diameter]) => write!(f, "circle {diameter}"),
            (Base::HalfCircle { .. }, [diameter]) => write!(f, "half-circle {diameter}"),
            (Base::Stairs { steps, .. }, [width, tread, riser]) => {
                write!(f, "stairs {steps}, {width} x {tread} + {riser}")
            }
            (_, sides) => f.write_str(&sides.join(" x ")),
        }
    }
}

/// What a part does to the room.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Effect {
    /// Added, open towards the room: a closet, an alcove.
    Plus,
    /// Taken away at a wall: a hearth, a chimney breast, fitted cupboards.
    Less,
    /// Taken away with floor all around: a kitchen island, a stairwell.
    Island,
}

impl Effect {
    /// Returns the word that [`Effect::parse`] reads.
    pub fn as_str(self) -> &'static str {
        match self {
            Effect::Plus => "plus",
            Effect::Less => "less",
            Effect::Island => "island",
        }
    }

    /// Returns the effect of that name, in any case, if there is one.
    pub fn parse(name: &str) -> Option<Effect> {
        let effects = [Effect::Plus, Effect::Less, Effect::Island];
        effects
            .into_iter()
            .find(|effect| effect.as_str().eq_ignore_ascii_case(name.trim()))
    }
}

/// A rectangle that is added to a room or taken away.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Part {
    /// Added or taken away.
    pub effect: Effect,
    /// Its side along the wall.
    pub width: Length,
    /// Its side away from the wall.
    pub depth: Length,
}

impl Part {
    /// Reads the two sides of a part, `W x D`, the one along the wall first.
    ///
    /// # Errors
    /// Refuses what is not two lengths.
    pub fn parse_sides(effect: Effect, text: &str, units: Units) -> Result<Part, RoomError> {
        let (width, depth) =
            factors(text).ok_or_else(|| RoomError::NotAPart(text.trim().to_owned()))?;
        let [width, depth] = Length::parse_together([width, depth], units)?;
        Ok(Part {
            effect,
            width,
            depth,
        })
    }

    /// Reads a part as [`Display`](fmt::Display) writes it: `less 5' x 4'`.
    ///
    /// # Errors
    /// Refuses what is not an effect and two lengths.
    pub fn parse(text: &str, units: Units) -> Result<Part, RoomError> {
        let word = text.trim().split_once(char::is_whitespace);
        let part = word.and_then(|(effect, sides)| Some((Effect::parse(effect)?, sides)));
        let (effect, sides) = part.ok_or_else(|| RoomError::NotAPart(text.trim().to_owned()))?;
        Part::parse_sides(effect, sides, units)
    }

    fn sides(self) -> String {
        format!("{} x {}", self.width.exact_text(), self.depth.exact_text())
    }
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.effect.as_str(), self.sides())
    }
}

fn checked(length: Length) -> Result<(), MeasureError> {
    if length <= Length::ZERO {
        return Err(MeasureError::NotPositive(length.exact_text()));
    }
    if length > Length::LONGEST {
        Err(MeasureError::TooLarge(length.exact_text()))
    } else {
        Ok(())
    }
}

/// Returns what follows a word that a text begins with, in any case.
fn after<'a>(text: &'a str, word: &str) -> Option<&'a str> {
    let (head, rest) = text.trim_start().split_at_checked(word.len())?;
    head.eq_ignore_ascii_case(word).then_some(rest)
}

fn half(area: Area) -> Area {
    Area::from_square_nanometres(nearest(area.square_nanometres(), 2))
}

fn disc(diameter: Length) -> Area {
    let square = (diameter * diameter).square_nanometres();
    Area::from_square_nanometres(quarter_pi(square))
}

/// Returns π/4 of a length, to 0.01 mm.
fn arc(length: Length) -> Length {
    to_hundredth(quarter_pi(i128::from(length.nanometres())))
}

/// Returns the two legs of a trapezoid together, to 0.01 mm: 2·√(depth² + (difference / 2)²).
fn legs(difference: Length, depth: Length) -> Length {
    let square = (depth * depth).times(4) + difference * difference;
    to_hundredth(square.square_nanometres().isqrt())
}

fn quarter_pi(count: i128) -> i128 {
    let (_, high) = count.unsigned_abs().carrying_mul(QUARTER_PI, 0);
    high.cast_signed()
}

fn to_hundredth(nanometres: i128) -> Length {
    let rounded = i64::try_from(nearest(nanometres, 10_000) * 10_000);
    Length::from_nanometres(
        rounded.expect("lengths are at most 10 km, so a way around is at most 40"),
    )
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rust_decimal_macros::dec;

    use super::*;
    use crate::money::round;

    fn floor(text: &str) -> Floor {
        Floor::parse(text, Units::Us).unwrap_or_else(|refused| panic!("`{text}`: {refused}"))
    }

    fn lengths(texts: &[&str]) -> Vec<Length> {
        texts
            .iter()
            .map(|text| Length::parse(text, Units::Us).unwrap())
            .collect()
    }

    #[test]
    fn floors_have_the_area_and_the_walls_of_geometry() {
        let floors = [
            ("10 x 4.5", dec!(45), dec!(29)),
            (
                "walls 14' r 11'6\" r 9' r 3' l 5' r 8'6\" r",
                dec!(146),
                dec!(51),
            ),
            // The same L as its bounding box less a corner, which leaves the walls as they were.
            ("14' x 11'6\"", dec!(161), dec!(51)),
            ("10' x 10'; plus 4' x 2'", dec!(108), dec!(44)),
            ("10' x 10'; less 5' x 2'", dec!(90), dec!(44)),
            ("10' x 10'; island 4' x 2'", dec!(92), dec!(52)),
            // Legs of 5 ft: the 3-4-5 triangle.
            ("trapezoid 10',4' x 4'", dec!(28), dec!(24)),
            // 16·π and 8·π; 8·π and 4·π + 8.
            ("circle 8'", dec!(50.2655), dec!(25.1327)),
            ("half-circle 8'", dec!(25.1327), dec!(20.5664)),
            // A regular octagon: 2·(1 + √2)·s².
            (
                "walls 4' r45 4' r45 4' r45 4' r45 4' r45 4' r45 4' r45 4' r45",
                dec!(77.2548),
                dec!(32),
            ),
            // A corner of 3 by 3 ft cut off: its wall is 3·√2 ft, 4'2 15/16" on the tape.
            (
                "walls 7' r45 4'2 15/16\" r45 7' r 10' r 10' r",
                dec!(95.5183),
                dec!(38.2448),
            ),
            // A walk that begins in the middle of a wall.
            ("walls 4 l 9 l 10 l 9 l 6", dec!(90), dec!(38)),
            // 13 steps of 3 ft by 10 + 7 1/2 in.
            ("stairs 13, 3' x 10\" + 7 1/2\"", dec!(56.875), dec!(0)),
        ];
        for (text, area, walls) in floors {
            let floor = floor(text);
            assert_eq!(round(floor.area().square_feet(), 4), area, "{text}");
            assert_eq!(round(floor.wall_length().feet(), 4), walls, "{text}");
        }
        assert_eq!(floor("stairs 13, 3' x 10\" + 7\"").steps(), Some(13));
        assert_eq!(floor("10 x 4.5").steps(), None);
    }

    #[test]
    fn doorways_are_not_edged() {
        let edges = [
            ("10 x 4.5", vec!["2'8\"", "2'6\""], "23 ft 10 in"),
            (
                "walls 14' r 11'6\" r 9' r 3' l 5' r 8'6\" r",
                vec!["2'6\""],
                "48 ft 6 in",
            ),
            // Slippery Rock Gazette: about 37 ft.
            ("10 x 10", vec!["30 in"], "37 ft 6 in"),
        ];
        for (text, doorways, edge) in edges {
            let length = floor(text).edge(lengths(&doorways)).unwrap();
            assert_eq!(length.text(Units::Us), edge, "{text}");
        }
        let refused = floor("3 x 2").edge(lengths(&["6'", "4'1\""])).unwrap_err();
        assert_eq!(
            refused.to_string(),
            "the openings, `10'1\"` in all, are longer than the walls, `10'`"
        );
    }

    #[test]
    fn what_is_not_a_room_is_refused_with_the_reason() {
        let refused = r#"
            10 | `10` is not a shape (try 12' x 10'6", trapezoid 8',5' x 3', circle 9' or half-circle 6')
            10 x y | `y` is not a length (try 12'6", 12.5 or 3.81m)
            10 x 0 | `0` is not above zero
            3 x 4; less 5' x 4' | the cut-out `5' x 4'` is larger than the room
            10 x 4; less 20' x 0.5' | the cut-out `20' x 6"` is larger than the room
            3 x 4; less 3 x 2; island 3 x 2 | the cut-outs leave no floor of `3' x 4'; less 3' x 2'; island 3' x 2'`
            3 x 4; more 3 x 2 | `more 3 x 2` is not a part of a room (try plus, less or island, and 5' x 2'6")
            stairs 3, 3' x 10" + 7"; plus 1 x 1 | stairs have no parts; `plus 1' x 1'` belongs to a room of its own
            walls | 0 walls enclose no floor
            walls 5 r 5 | 2 walls enclose no floor
            walls 5 r 5 r 5 | ends 5 ft south of the start
            walls 10 r 5 r 8.5 r 4.5 | ends 1 ft 6 in east and 6 in south of the start
            walls 10 r 5 r 10 r 5.01 | ends 1/8 in north of the start
            walls 10 r 5 r 10m r 5 | ends 22 ft 9 11/16 in west of the start
            walls 10 r 5 r 10 r 1524.1mm | ends 0.1mm north of the start
            walls 7' r45 4' r45 7' r 10' r 10' r | ends 2 1/16 in west and 2 1/16 in north of the start
            walls 4 r 4 r 2 r 6 l 2 l 2 | the walls cross: wall 1 meets wall 4
            walls 4 r 4 r 2 r 4 l 2 | the walls cross: wall 1 meets wall 4
            walls 10 r 5 r 10 r 5 l | the last turn, `l`, does not lead back along the first wall (it may be left out)
            walls 10 r 5 r r 5 | the length of a wall is missing before the turn `r`
            walls 10 r 5 10 r 5 | a turn is missing within `5 10`: between two walls there is r, l, r45 or l45
            walls 10 r30 5 | `r30` is not a turn (r and l are right angles, r45 and l45 half of one)
            walls 6000m r 1m r 6000m r 1m | is too large (a length is at most 10 km)"#;
        for (text, reason) in refused.lines().filter_map(|line| line.split_once(" | ")) {
            let refused = Floor::parse(text, Units::Us).unwrap_err().to_string();
            assert!(refused.ends_with(reason), "`{text}`: {refused}");
        }
    }

    #[test]
    fn turns_part_the_walls_and_blanks_do_not() {
        let plain = Walk::parse("12'6\" r 10' r 12'6\" r 10' r", Units::Us);
        let spelt = "12 ft 6 in R 3.048 metres r 12.5 feet r10' R";
        assert!(
            matches!(Walk::parse(spelt, Units::Us), Err(RoomError::NotATurn(turn)) if turn == "r10")
        );
        assert_eq!(Walk::parse(&spelt.replace("r10", "r 10"), Units::Us), plain);
        assert_eq!(Walk::parse("12'6\"r 10'r 12'6\"r 10'", Units::Us), plain);
    }

    #[test]
    fn impossible_lengths_are_refused_however_they_were_made() {
        let side = Length::from_nanometres;
        for (length, width) in [(-1, -1), (0, 1), (i64::MAX, 1)] {
            let base = Base::Rectangle {
                length: side(length),
                width: side(width),
            };
            assert!(Floor::new(base, vec![]).is_err(), "{length} {width}");
        }
    }

    /// A walk of right angles in inches, begun at one of its walls, walked on either hand.
    fn walk(walls: &[(i64, char)], first: usize, mirrored: bool) -> Floor {
        let around = walls
            .iter()
            .cycle()
            .skip(first % walls.len())
            .take(walls.len());
        let text: String = around
            .map(|(inches, turn)| {
                let turn = if mirrored == (*turn == 'r') { 'l' } else { 'r' };
                format!(" {inches}\" {turn}")
            })
            .collect();
        floor(&format!("walls{text}"))
    }

    proptest! {
        #[test]
        fn notched_rooms_are_their_box_less_the_notches(
            (a, b, c) in (1_i64..300, 1_i64..300, 1_i64..300),
            (d, e) in (1_i64..300, 1_i64..300),
            first in 0_usize..8,
            mirrored: bool,
        ) {
            let (wide, deep) = (a + b + c, d + e);
            let corner = [(wide, 'r'), (e, 'r'), (a, 'l'), (d, 'r'), (b + c, 'r'), (deep, 'r')];
            let tee = [(wide, 'r'), (e, 'r'), (a, 'l'), (d, 'r'), (b, 'r'), (d, 'l'), (c, 'r'), (e, 'r')];
            let niche = [(wide, 'r'), (deep, 'r'), (a, 'r'), (d, 'l'), (b, 'l'), (d, 'r'), (c, 'r'), (deep, 'r')];
            let rooms = [(&corner[..], a * d, 0), (&tee[..], (a + c) * d, 0), (&niche[..], b * d, 2 * d)];
            for (walls, notches, more_wall) in rooms {
                let floor = walk(walls, first, mirrored);
                let area = Area::from_square_nanometres(25_400_000_i128.pow(2) * i128::from(wide * deep - notches));
                prop_assert_eq!(floor.area(), area);
                let walls = 25_400_000 * (2 * (wide + deep) + more_wall);
                prop_assert_eq!(floor.wall_length().nanometres(), walls);
            }
        }

        #[test]
        fn floors_read_back_as_they_are_written(
            (a, b, c) in (1_i64..10_000_000_000, 1_i64..10_000_000_000, 1_i64..10_000_000_000),
            steps in 1_u32..50,
            shape in 0..6,
            inches: bool,
        ) {
            let [a, b, depth] = [a, b, c].map(|count| {
                Length::from_nanometres(if inches { (count / 400_000 + 1) * 396_875 } else { count })
            });
            let square = format!("{} r ", a.exact_text()).repeat(4);
            let base = match shape {
                0 => Base::Rectangle { length: a, width: b },
                1 => Base::Trapezoid { a, b, depth },
                2 => Base::Circle { diameter: a },
                3 => Base::HalfCircle { diameter: a },
                4 => Base::Stairs { steps, width: a, tread: b, riser: depth },
                _ => Base::Walls(Walk::parse(&square, Units::Us).unwrap()),
            };
            let plus = Part { effect: Effect::Plus, width: b, depth };
            let island = Part { effect: Effect::Island, width: Length::from_nanometres(1), depth: Length::from_nanometres(1) };
            let parts = if shape == 4 { vec![] } else { vec![plus, island] };
            let floor = Floor::new(base, parts).unwrap();
            for units in [Units::Us, Units::Metric] {
                prop_assert_eq!(Floor::parse(&floor.to_string(), units), Ok(floor.clone()));
            }
        }

        #[test]
        fn no_text_panics(any in ".*", near in "(walls|stairs|trapezoid|circle)?([0-9]{1,14}|[,;x+ ]|'|\"|m| r | l45 |plus){0,24}") {
            for text in [any, near] {
                let _ = (Floor::parse(&text, Units::Us), Walk::parse(&text, Units::Metric));
            }
        }

        #[test]
        fn no_walk_panics(walls in proptest::collection::vec((1_u32..5, "[rl](45)?"), 1..12)) {
            let text: String = walls.iter().map(|(length, turn)| format!("{length} {turn} ")).collect();
            let _ = Walk::parse(&text, Units::Us);
        }
    }
}
