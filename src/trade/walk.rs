//! Walls as they are walked, and what they enclose.
//!
//! Walls at right angles and at 45° end at coordinates `a + b·√2`, with `a` and `b` whole: they are kept so, as a
//! `Surd`, and it is decided without rounding whether walls close or cross, and what they enclose.
//!
//! A tape can't read the length of a diagonal wall exactly, so a walk may miss its start by 1/4 in for each
//! diagonal wall: it then encloses what its corners do, the last joined to the first, and its walls are as long as
//! they were read. Walls at right angles have to close exactly.
//!
//! No length is above 10 km, nor are the walls of a walk together: squares of coordinates stay below 2^97,
//! and their sums over as many walls as a room has far within 128 bits.

use std::fmt;
use std::ops::{Add, Mul, Sub};

use thiserror::Error;

use crate::measure::{Area, Length, MeasureError, Units, nearest};

/// How far a walk may end from its start for each diagonal wall: 1/4 in, in half nanometres.
const DIAGONAL_SLACK: i128 = 2 * 6_350_000;

/// √2 × 2^127, cut off.
const ROOT_OF_TWO: u128 = 240_615_969_168_004_511_545_033_772_477_625_056_927;

/// Most walls, and most parts, that a room has; more is no room, and walls are compared pair by pair.
pub(super) const MOST: usize = 200;

/// Why shapes are not a room.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum RoomError {
    /// A length within the text is none.
    #[error(transparent)]
    Measure(#[from] MeasureError),
    /// Not a shape in any notation.
    #[error("`{0}` is not a shape (try {example})", example = shapes_to_try(*.1))]
    NotAShape(String, Units),
    /// Not a part that is added or taken away.
    #[error("`{0}` is not a part of a room (try plus, less or island, and 5' x 2'6\")")]
    NotAPart(String),
    /// A word between two walls that is no turn.
    #[error("`{0}` is not a turn (r and l are right angles, r45 and l45 half of one)")]
    NotATurn(String),
    /// Two lengths in a row.
    #[error("a turn is missing within `{0}`: between two walls there is r, l, r45 or l45")]
    TurnMissing(String),
    /// Two turns in a row, or one before the first wall.
    #[error("the length of a wall is missing before the turn `{0}`")]
    WallMissing(String),
    /// Too few walls to enclose a floor.
    #[error("{0} walls enclose no floor")]
    TooFewWalls(usize),
    /// More walls or parts than are taken.
    #[error("a room has at most {MOST} walls and {MOST} parts")]
    TooMany,
    /// A walk that does not end where it began; says by how much.
    #[error(
        "the walls do not close: with the first wall going east, the last one ends {0} of the start"
    )]
    Open(String),
    /// Two walls, counted from 1, that cross or touch.
    #[error("the walls cross: wall {0} meets wall {1}")]
    Cross(usize, usize),
    /// A last turn that does not face along the first wall.
    #[error("the last turn, `{0}`, does not lead back along the first wall (it may be left out)")]
    LastTurn(&'static str),
    /// A part taken away that the room has no space for.
    #[error("the cut-out `{0}` is larger than the room")]
    CutOut(String),
    /// Parts taken away that together leave nothing.
    #[error("the cut-outs leave no floor of `{0}`")]
    NoFloor(String),
    /// Closets, hearths and islands of a room that nobody measured.
    #[error("a room that isn't measured has no parts")]
    NotMeasured,
    /// Parts of a flight of stairs.
    #[error("stairs have no parts; `{0}` belongs to a room of its own")]
    StairsPart(String),
    /// More doorway than wall.
    #[error("the openings, `{openings}` in all, are longer than the walls, `{walls}`", openings = .openings.exact_text(), walls = .walls.exact_text())]
    Openings {
        /// All openings together.
        openings: Length,
        /// All walls together.
        walls: Length,
    },
}

/// Walls in the order they are walked, with the turns between them; they close and do not cross.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Walk {
    walls: Vec<Length>,
    /// One fewer than walls: the last turn follows from the others, and is not kept.
    turns: Vec<Turn>,
    area: Area,
}

const fn shapes_to_try(units: Units) -> &'static str {
    match units {
        Units::Us => "12' x 10'6\", trapezoid 8',5' x 3', circle 9' or half-circle 6'",
        Units::Metric => "3.6 x 4.2 m, trapezoid 2.4,1.5 x 1, circle 3 or half-circle 2",
    }
}

impl Walk {
    /// Returns the area that the walls enclose.
    pub fn area(&self) -> Area {
        self.area
    }

    /// Returns the length of all walls together.
    pub fn length(&self) -> Length {
        self.walls.iter().copied().sum()
    }

    /// Tells whether all of its turns are right angles.
    pub fn is_right_angled(&self) -> bool {
        self.turns.iter().all(|turn| turn.eighths() % 2 == 0)
    }

    /// Returns the area that is further than a distance from every wall of right angles; `None`: the walls are too near to
    /// each other, or not at right angles.
    pub fn area_within(&self, distance: Length) -> Option<Area> {
        if !self.is_right_angled() {
            return None;
        }
        let mut turns: Vec<i128> = self.turns.iter().map(|turn| turn.eighths()).collect();
        let turned: i128 = turns.iter().sum();
        let inwards = turned.signum();
        // The last turn leads back along the first wall; a walk that begins within a wall has none there.
        turns.push(8 * inwards - turned);
        let walls: Vec<Length> = (0..self.walls.len())
            .map(|place| {
                let before = turns[(place + turns.len() - 1) % turns.len()];
                let corners = (before + turns[place]) * inwards / 2;
                let corners = i64::try_from(corners).expect("a wall has two ends");
                Length::from_nanometres(
                    self.walls[place].nanometres() - corners * distance.nanometres(),
                )
            })
            .collect();
        if walls.iter().any(|wall| *wall <= Length::ZERO) {
            return None;
        }
        let (mut corners, _) = corners(&walls, &self.turns);
        corners.pop();
        check_uncrossed(&corners).ok()?;
        Some(enclosed(&corners))
    }

    /// Reads a walk along the walls, either way round: `14' r 11'6" r 9' r 3' l 5' r 8'6" r`.
    ///
    /// The last turn may be left out, and may then be any: a walk may begin in the middle of a wall.
    ///
    /// # Errors
    /// Refuses walls that do not close (see the module for the slack of diagonal ones), cross or touch, and a last
    /// turn that does not lead back along the first wall. Gaps are told in the units given.
    pub fn parse(text: &str, units: Units) -> Result<Walk, RoomError> {
        let (walls, mut turns) = read_walk(text, units)?;
        if walls.len() < 3 {
            return Err(RoomError::TooFewWalls(walls.len()));
        }
        if walls.iter().copied().sum::<Length>() > Length::LONGEST {
            return Err(MeasureError::TooLarge(text.trim().to_owned()).into());
        }

        let (mut corners, diagonals) = corners(&walls, &turns);
        if let Some(end) = corners.pop() {
            check_closed(end, diagonals, units)?;
        }
        check_uncrossed(&corners)?;
        let turned: i128 = turns.iter().map(|turn| turn.eighths()).sum();
        match turns.last() {
            Some(last) if turns.len() == walls.len() && turned.abs() != 8 => {
                return Err(RoomError::LastTurn(last.as_str()));
            }
            _ => turns.truncate(walls.len() - 1),
        }
        Ok(Walk {
            area: enclosed(&corners),
            walls,
            turns,
        })
    }
}

impl fmt::Display for Walk {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (wall, turn) in self.walls.iter().zip(&self.turns) {
            write!(f, "{} {} ", wall.exact_text(), turn.as_str())?;
        }
        f.write_str(&self.walls.last().copied().unwrap_or_default().exact_text())
    }
}

/// A turn between two walls.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Turn {
    Right,
    Left,
    HalfRight,
    HalfLeft,
}

impl Turn {
    fn as_str(self) -> &'static str {
        match self {
            Turn::Right => "r",
            Turn::Left => "l",
            Turn::HalfRight => "r45",
            Turn::HalfLeft => "l45",
        }
    }

    /// Returns the turn in eighths of a full one, to the right.
    fn eighths(self) -> i128 {
        match self {
            Turn::Right => 2,
            Turn::Left => -2,
            Turn::HalfRight => 1,
            Turn::HalfLeft => -1,
        }
    }

    fn parse(token: &str) -> Result<Turn, RoomError> {
        let turns = [Turn::Right, Turn::Left, Turn::HalfRight, Turn::HalfLeft];
        let turn = turns
            .into_iter()
            .find(|turn| turn.as_str().eq_ignore_ascii_case(token));
        turn.ok_or_else(|| RoomError::NotATurn(token.to_owned()))
    }
}

/// Splits a walk at its turns; lengths may hold blanks (`12 ft 6 in r`), so blanks don't separate.
fn read_walk(text: &str, units: Units) -> Result<(Vec<Length>, Vec<Turn>), RoomError> {
    let (mut walls, mut turns) = (Vec::new(), Vec::new());
    let mut rest = text.trim();
    while !rest.is_empty() {
        let (wall, turn) = rest.split_at(next_turn(rest));
        let end = turn
            .find(|sign: char| !sign.is_alphanumeric())
            .unwrap_or(turn.len());
        let (token, after) = turn.split_at(end);
        if wall.trim().is_empty() {
            return Err(RoomError::WallMissing(token.to_owned()));
        }
        if walls.len() == MOST {
            return Err(RoomError::TooMany);
        }
        walls.push(read_wall(wall.trim(), units)?);
        if !token.is_empty() {
            turns.push(Turn::parse(token)?);
        }
        rest = after.trim();
    }
    Ok((walls, turns))
}

/// Returns where the next turn begins: at an `r` or `l` that isn't within a word such as `metres`.
fn next_turn(text: &str) -> usize {
    let mut before = ' ';
    let turn = text.char_indices().find(|(_, sign)| {
        let begins = matches!(sign, 'r' | 'R' | 'l' | 'L') && !before.is_alphabetic();
        before = *sign;
        begins
    });
    turn.map_or(text.len(), |(position, _)| position)
}

/// Reads one wall; two lengths where one should be are told apart from a misspelt one.
fn read_wall(text: &str, units: Units) -> Result<Length, RoomError> {
    Length::parse(text, units).map_err(|refused| {
        // No length has more blanks, and each is tried.
        let blanks = text.match_indices(' ').take(8);
        let mut halves = blanks.map(|(blank, _)| text.split_at(blank));
        let is_length = |text: &str| Length::parse(text, units).is_ok();
        match halves.any(|(one, other)| is_length(one) && is_length(other)) {
            true => RoomError::TurnMissing(text.to_owned()),
            false => refused.into(),
        }
    })
}

/// Returns where each wall begins, last where the walk ends, and how many walls are diagonal.
///
/// The first wall goes along x, and y is to its right, so that right turns lead from x to y.
fn corners(walls: &[Length], turns: &[Turn]) -> (Vec<Point>, i128) {
    const TOWARDS: [(i128, i128); 8] = [
        (1, 0),
        (1, 1),
        (0, 1),
        (-1, 1),
        (-1, 0),
        (-1, -1),
        (0, -1),
        (1, -1),
    ];
    let mut corners = vec![Point::default()];
    let (mut place, mut diagonals, mut heading) = (Point::default(), 0, 0_usize);
    for (position, wall) in walls.iter().enumerate() {
        let nanometres = i128::from(wall.nanometres());
        // Half nanometres: along an axis 2·w of them, on a diagonal 2·w/√2 = w·√2 each way.
        let step = match heading % 2 {
            0 => Surd {
                whole: 2 * nanometres,
                root: 0,
            },
            _ => Surd {
                whole: 0,
                root: nanometres,
            },
        };
        let (x, y) = TOWARDS[heading];
        place = Point {
            x: place.x + step.times(x),
            y: place.y + step.times(y),
        };
        corners.push(place);
        diagonals += i128::from(heading % 2 == 1);
        let turn = turns.get(position).map_or(0, |turn| turn.eighths());
        heading =
            usize::try_from((heading as i128 + turn).rem_euclid(8)).expect("a remainder by 8");
    }
    (corners, diagonals)
}

fn check_closed(end: Point, diagonals: i128, units: Units) -> Result<(), RoomError> {
    let (east, south) = (end.x.cut_off(), end.y.cut_off());
    let slack = diagonals * DIAGONAL_SLACK;
    if east * east + south * south <= slack * slack {
        return Ok(());
    }
    let gaps = [(east, "east", "west"), (south, "south", "north")];
    let largest = east.abs().max(south.abs());
    // What a diagonal leaves over below 0.01 mm says nothing beside a real gap.
    let gaps = gaps
        .into_iter()
        .filter(|(gap, ..)| gap.abs() >= largest.min(20_000));
    let gaps: Vec<String> = gaps
        .map(|(gap, ahead, behind)| {
            format!(
                "{} {}",
                gap_text(gap.abs(), units),
                if gap > 0 { ahead } else { behind }
            )
        })
        .collect();
    Err(RoomError::Open(gaps.join(" and ")))
}

/// Writes a gap in half nanometres; one that rounds to nothing is written exactly.
fn gap_text(half_nanometres: i128, units: Units) -> String {
    let nanometres = i64::try_from(nearest(half_nanometres, 2));
    let gap = Length::from_nanometres(nanometres.expect("walls are at most 10 km together"));
    if gap.text(units) == Length::ZERO.text(units) {
        gap.exact_text()
    } else {
        gap.text(units)
    }
}

fn check_uncrossed(corners: &[Point]) -> Result<(), RoomError> {
    let count = corners.len();
    let wall = |position: usize| (corners[position], corners[(position + 1) % count]);
    for first in 0..count {
        // Neighbours meet in their corner, and a turn is never half a circle.
        for second in first + 2..count {
            let neighbours = first == 0 && second == count - 1;
            if !neighbours && meet(wall(first), wall(second)) {
                return Err(RoomError::Cross(first + 1, second + 1));
            }
        }
    }
    Ok(())
}

/// Tells whether two walls have a point in common.
fn meet((a, b): (Point, Point), (c, d): (Point, Point)) -> bool {
    let side = |from: Point, to: Point, point: Point| from.to(to).cross(from.to(point)).sign();
    let between = |from: Point, to: Point, point: Point| {
        side(from, to, point) == 0 && point.to(from).dot(point.to(to)).sign() <= 0
    };
    let apart = side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0;
    apart || between(a, b, c) || between(a, b, d) || between(c, d, a) || between(c, d, b)
}

/// Returns the area within the corners, by the shoelace formula.
fn enclosed(corners: &[Point]) -> Area {
    let next = corners.iter().cycle().skip(1);
    let twice = corners
        .iter()
        .zip(next)
        .map(|(one, other)| one.cross(*other));
    let twice = twice.fold(Surd::default(), Add::add).cut_off().abs();
    // Twice the area, of squares with sides of half a nanometre.
    Area::from_square_nanometres(nearest(twice, 8))
}

/// A point, or the way from one to another, in half nanometres.
#[derive(Clone, Copy, Default)]
struct Point {
    x: Surd,
    y: Surd,
}

impl Point {
    fn to(self, other: Point) -> Point {
        Point {
            x: other.x - self.x,
            y: other.y - self.y,
        }
    }

    fn cross(self, other: Point) -> Surd {
        self.x * other.y - self.y * other.x
    }

    fn dot(self, other: Point) -> Surd {
        self.x * other.x + self.y * other.y
    }
}

/// The number `whole + root·√2`.
#[derive(Clone, Copy, Default)]
struct Surd {
    whole: i128,
    root: i128,
}

impl Surd {
    fn times(self, count: i128) -> Surd {
        Surd {
            whole: self.whole * count,
            root: self.root * count,
        }
    }

    /// Returns -1, 0 or 1, without rounding.
    fn sign(self) -> i128 {
        let (whole, root) = (self.whole.signum(), self.root.signum());
        if whole * root >= 0 {
            return if whole == 0 { root } else { whole };
        }
        // The larger of the two decides; as √2 is irrational, their squares are never equal.
        let (a, b) = (self.whole.unsigned_abs(), self.root.unsigned_abs());
        let [a, b] =
            [a.carrying_mul(a, 0), b.carrying_mul(2 * b, 0)].map(|(low, high)| (high, low));
        if a > b { whole } else { root }
    }

    /// Returns the number with the root's fraction cut off.
    fn cut_off(self) -> i128 {
        let (low, high) = self.root.unsigned_abs().carrying_mul(ROOT_OF_TWO, 0);
        let size = ((high << 1) | (low >> 127)).cast_signed();
        self.whole + self.root.signum() * size
    }
}

impl Add for Surd {
    type Output = Surd;
    fn add(self, other: Surd) -> Surd {
        Surd {
            whole: self.whole + other.whole,
            root: self.root + other.root,
        }
    }
}

impl Sub for Surd {
    type Output = Surd;
    fn sub(self, other: Surd) -> Surd {
        self + other.times(-1)
    }
}

impl Mul for Surd {
    type Output = Surd;
    fn mul(self, other: Surd) -> Surd {
        Surd {
            whole: self.whole * other.whole + 2 * self.root * other.root,
            root: self.whole * other.root + self.root * other.whole,
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rust_decimal_macros::dec;

    use super::*;
    use crate::money::{Decimal, round};

    proptest! {
        #[test]
        fn signs_are_those_of_long_decimals(whole in -4_000_000_000_000_i64..4_000_000_000_000, near in -3_i64..3) {
            // The nearest roots to a whole number are the hardest to tell from it.
            let root_of_two = dec!(1.4142135623730950488016887242);
            let root = -round(Decimal::from(whole) / root_of_two, 0) + Decimal::from(near);
            let expected = Decimal::from(whole) + root * root_of_two;
            let surd = Surd { whole: i128::from(whole), root: root.mantissa() };
            prop_assert_eq!(surd.sign(), if expected.is_zero() { 0 } else { if expected.is_sign_negative() { -1 } else { 1 } });
        }
    }
}
