//! Parts of a room's floor in a condition of their own: the worn path in a sound room, bare wood under a rug, a painted
//! border.
//!
//! # What goes by parts
//! A part is to its room what a room is to its job: it has an area, perhaps some of the edge, and a condition; the rest of
//! the room has the room's own. Sanding goes by parts. Each part starts at its own grit, and the last cuts cover the whole
//! room, since a patch that was finished otherwise shows (a restorer: do the whole room). Everything else (set-up, repairs,
//! coats, trim) is done in the room, at the room's own condition.
//!
//! So an operation that cuts has a line for each condition that it meets in a room: operation, condition, area. Take-off,
//! rates, draws and evidence go by these lines, and know nothing more of parts. Parts of one condition are one, and those
//! of the room's own condition are the room.
//!
//! # Where a part starts
//! The sequence that a quote names is the room's. A part whose condition starts coarser or finer has first cuts of its own,
//! and joins the room's sequence at the first cut that both have, field and edge each for itself. They are the first cuts of
//! another sequence of the book: the one that starts at the coarsest grade which is no coarser than the part needs, and on
//! the part's side of where the room's starts. If there is none, the part is cut as the room is, at the rates of its own
//! condition; if there are some for a coarser start, and none shares a cut with the room's, the draft says so. Whoever drafts
//! a quote can name the sequence that the parts in a condition begin with instead; that of the room has them cut as the room
//! is.
//!
//! | condition | starts at | |
//! |---|---|---|
//! | glue | 12 | many coats of paint, adhesive |
//! | paint | 16 | one coat of paint, heavy shellac |
//! | film, oil or wax | 24 | finish untouched for decades |
//! | bare | 36 | almost bare |
//!
//! (A grit note on a sander's blog; that parts start at their own grits, and last cuts and coats cover the room, is common
//! practice, no source.) Only the order of the four counts: how coarse a firm starts is what its sequences say.
//!
//! # Edges
//! A border has all of the edge; another part has as much of it as is said, and none if nothing is.

use std::cmp::Ordering;
use std::fmt;

use thiserror::Error;

use crate::measure::{Area, Length, MeasureError, Units};
use crate::money::{Decimal, quantity};
use crate::trade::operation::{Driver, Operation, Sequence};
use crate::trade::room::{Base, Effect, Floor};
use crate::trade::walk::{MOST, RoomError};
use crate::trade::{FloorCondition, NotInSet};

/// What a text of a border begins with.
const BORDER: &str = "border";

/// What stands between a part's area and its edge.
const EDGE: &str = "edge";

/// A part of a room's floor, as it was measured.
#[derive(Clone, Debug)]
pub struct FloorPart {
    /// How much of the floor it is.
    pub size: PartSize,
    /// What the first cut meets there.
    pub condition: FloorCondition,
    /// How its size was typed; empty: nobody knows. It says nothing of the part.
    typed: String,
}

impl PartialEq for FloorPart {
    fn eq(&self, other: &FloorPart) -> bool {
        (&self.size, &self.condition) == (&other.size, &other.condition)
    }
}

impl Eq for FloorPart {}

/// How much of a floor a part is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PartSize {
    /// Two sides, with its length along the walls.
    #[expect(missing_docs, reason = "the sides of a rectangle need no words")]
    Sides {
        length: Length,
        width: Length,
        edge: Length,
    },
    /// So much of it, with its length along the walls.
    #[expect(missing_docs, reason = "an area has a size and an edge")]
    Area { area: Area, edge: Length },
    /// All along the walls.
    #[expect(missing_docs, reason = "a border has one width")]
    Border { width: Length },
}

/// What a room's floor has in one condition beside its own, as a take-off needs it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MeasuredPart {
    /// What the first cut meets there.
    pub condition: FloorCondition,
    /// Its area, sq ft.
    pub area: Decimal,
    /// Its length along the walls, ft.
    pub edge: Decimal,
}

/// Tells whether what a driver measures is told apart by parts.
pub(super) const fn goes_by_parts(driver: Driver) -> bool {
    matches!(driver, Driver::Area | Driver::Edge)
}

impl MeasuredPart {
    /// Returns what drives an operation that cuts; `None`: it doesn't in this part.
    pub(super) fn driver(&self, driver: Driver) -> Option<Decimal> {
        let driven = match driver {
            Driver::Area => self.area,
            Driver::Edge => self.edge,
            Driver::Count | Driver::Length | Driver::Room | Driver::Job => Decimal::ZERO,
        };
        Some(driven).filter(|driven| !driven.is_zero())
    }
}

/// Why texts are no parts of a floor.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum PartError {
    /// Not a size and a condition.
    #[error("`{0}` is not a part of a floor (try {example})", example = parts_to_try(*.1))]
    NotAPart(String, Units),
    /// No measure.
    #[error(transparent)]
    Measure(#[from] MeasureError),
    /// No condition.
    #[error(transparent)]
    Condition(#[from] NotInSet),
    /// Nothing that a room has.
    #[error(transparent)]
    Room(#[from] RoomError),
    /// A border of a shape whose corners nobody knows.
    #[error(
        "only a plain rectangle or a walk of right angles has a border that can be worked out: say its area, as in \"48 sq ft edge 52': {0}\""
    )]
    NoBorder(FloorCondition),
    /// A border that meets itself.
    #[error("a border of `{0}` leaves no floor within it")]
    WideBorder(String),
    /// Two borders.
    #[error("a room has one border")]
    TwoBorders,
    /// Parts that leave nothing of the room.
    #[error(
        "the parts, {parts} in all, leave nothing of the floor's {floor}: give the room the condition of the largest part"
    )]
    NothingLeft {
        /// All parts together.
        parts: String,
        /// The room.
        floor: String,
    },
    /// More edge than wall.
    #[error("the parts have `{parts}` of edge, and the walls are `{walls}`", parts = .parts.exact_text(), walls = .walls.exact_text())]
    Edge {
        /// The edges of all parts.
        parts: Length,
        /// All walls together.
        walls: Length,
    },
}

const fn parts_to_try(units: Units) -> &'static str {
    match units {
        Units::Us => "\"3 x 12: worn-film\", \"60 sq ft edge 20': glue\" or \"border 12in: paint\"",
        Units::Metric => "\"1 x 4: worn-film\", \"6 m2 edge 6: glue\" or \"border 30cm: paint\"",
    }
}

impl FloorPart {
    /// Returns a part that nobody typed.
    pub const fn new(size: PartSize, condition: FloorCondition) -> FloorPart {
        FloorPart {
            size,
            condition,
            typed: String::new(),
        }
    }

    /// Reads a part: `3 x 12: worn-film`, `60 sq ft edge 20': glue`, `border 12in: paint`.
    ///
    /// # Errors
    /// Refuses what is not a size and a condition.
    pub fn parse(text: &str, units: Units) -> Result<FloorPart, PartError> {
        let text = text.trim();
        let (size, condition) = text
            .rsplit_once(':')
            .ok_or_else(|| PartError::NotAPart(text.to_owned(), units))?;
        Ok(FloorPart {
            size: PartSize::parse(size.trim(), units)?,
            condition: condition.trim().parse()?,
            typed: size.trim().to_owned(),
        })
    }

    /// Writes its size as it was typed, where that is known, or exactly.
    pub fn typed_size(&self) -> String {
        match self.typed.is_empty() {
            true => self.size.to_string(),
            false => self.typed.clone(),
        }
    }

    /// Writes it as it was typed, or exactly where that doesn't read as this part in such units.
    pub fn typed_text(&self, units: Units) -> String {
        let typed = format!("{}: {}", self.typed_size(), self.condition);
        match FloorPart::parse(&typed, units) {
            Ok(read) if read == *self => typed,
            _ => self.to_string(),
        }
    }

    /// Reads parts as [`list`] writes them.
    ///
    /// # Errors
    /// Refuses what [`FloorPart::parse`] refuses.
    pub fn parse_list(text: &str, units: Units) -> Result<Vec<FloorPart>, PartError> {
        let parts = text.split(';').filter(|part| !part.trim().is_empty());
        parts.map(|part| FloorPart::parse(part, units)).collect()
    }

    /// Returns how much of a floor it is.
    ///
    /// # Errors
    /// Refuses a border that a floor of that shape can't have.
    pub fn area(&self, floor: &Floor) -> Result<Area, PartError> {
        match self.size {
            PartSize::Sides { length, width, .. } => Ok(length * width),
            PartSize::Area { area, .. } => Ok(area),
            PartSize::Border { width } => {
                let is_plain = !floor
                    .parts()
                    .iter()
                    .any(|part| part.effect != Effect::Island);
                let (all, within) = match floor.base() {
                    Base::Rectangle {
                        length,
                        width: side,
                    } if is_plain => {
                        let within = [*length, *side].map(|side| side - width.times(2));
                        let fits = within.iter().all(|side| *side > Length::ZERO);
                        (*length * *side, fits.then(|| within[0] * within[1]))
                    }
                    Base::Walls(walk) if is_plain && walk.is_right_angled() => {
                        (walk.area(), walk.area_within(width))
                    }
                    _ => return Err(PartError::NoBorder(self.condition)),
                };
                let within = within.ok_or_else(|| PartError::WideBorder(width.exact_text()))?;
                Ok(all - within)
            }
        }
    }

    /// Returns its length along the walls as it was measured; `None`: all that other parts leave.
    fn edge(&self) -> Option<Length> {
        match self.size {
            PartSize::Sides { edge, .. } | PartSize::Area { edge, .. } => Some(edge),
            PartSize::Border { .. } => None,
        }
    }
}

impl fmt::Display for FloorPart {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.size, self.condition)
    }
}

impl PartSize {
    fn parse(text: &str, units: Units) -> Result<PartSize, PartError> {
        let head = text.split_at_checked(BORDER.len());
        if let Some((word, width)) = head
            && word.eq_ignore_ascii_case(BORDER)
        {
            let width = Length::parse(width, units)?;
            return Ok(PartSize::Border { width });
        }
        // ASCII lower case keeps every byte where it was.
        let (size, edge) = match text.to_ascii_lowercase().find(EDGE) {
            Some(place) => {
                let (size, edge) = text.split_at(place);
                (size, Length::parse(&edge[EDGE.len()..], units)?)
            }
            None => (text, Length::ZERO),
        };
        Ok(match crate::measure::factors(size) {
            Some((one, other)) => {
                let [length, width] = Length::parse_together([one, other], units)?;
                PartSize::Sides {
                    length,
                    width,
                    edge,
                }
            }
            None => PartSize::Area {
                area: Area::parse(size, units)?,
                edge,
            },
        })
    }
}

impl fmt::Display for PartSize {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let edge = match *self {
            PartSize::Border { width } => return write!(f, "{BORDER} {}", width.exact_text()),
            PartSize::Sides {
                length,
                width,
                edge,
            } => {
                write!(f, "{} x {}", length.exact_text(), width.exact_text())?;
                edge
            }
            PartSize::Area { area, edge } => {
                f.write_str(&area.exact_text())?;
                edge
            }
        };
        match edge {
            Length::ZERO => Ok(()),
            edge => write!(f, " {EDGE} {}", edge.exact_text()),
        }
    }
}

/// Writes parts so that [`FloorPart::parse_list`] reads them in any units: `border 1': paint; 3' x 12': bare`.
pub fn list(parts: &[FloorPart]) -> String {
    let parts: Vec<String> = parts.iter().map(FloorPart::to_string).collect();
    parts.join("; ")
}

/// Writes parts as they were typed, so that [`FloorPart::parse_list`] reads them in such units: `border 30cm: paint`.
pub fn typed_list(parts: &[FloorPart], units: Units) -> String {
    let parts = parts.iter().map(|part| part.typed_text(units));
    parts.collect::<Vec<_>>().join("; ")
}

/// Refuses parts that a floor can't have.
///
/// # Errors
/// Says why: too large together, too long along the walls, a second border, parts of stairs.
pub fn check(parts: &[FloorPart], floor: &Floor, units: Units) -> Result<(), PartError> {
    if !floor.is_measured() && !parts.is_empty() {
        return Err(RoomError::NotMeasured.into());
    }
    if parts.is_empty() {
        return Ok(());
    }
    if let (Some(part), Some(_)) = (parts.first(), floor.steps()) {
        return Err(RoomError::StairsPart(part.to_string()).into());
    }
    if parts.len() > MOST {
        return Err(RoomError::TooMany.into());
    }
    if parts.iter().filter(|part| part.edge().is_none()).count() > 1 {
        return Err(PartError::TwoBorders);
    }
    let areas = parts.iter().map(|part| part.area(floor));
    let area: Area = areas.collect::<Result<Vec<_>, _>>()?.into_iter().sum();
    if area >= floor.area() {
        return Err(PartError::NothingLeft {
            parts: area.text(units),
            floor: floor.area().text(units),
        });
    }
    let edge: Length = parts.iter().filter_map(FloorPart::edge).sum();
    let walls = floor.wall_length();
    match edge > walls {
        true => Err(PartError::Edge { parts: edge, walls }),
        false => Ok(()),
    }
}

/// A part with what it measures in its room.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlacedPart {
    /// The part.
    pub part: FloorPart,
    /// Its area.
    pub area: Area,
    /// Its length along the walls.
    pub edge: Length,
}

/// Returns what parts measure in a room with that edge. A border has what the others leave of it; where doorways that came
/// later leave less than parts have, the last ones have less.
///
/// # Errors
/// Refuses a border that a floor of that shape can't have.
pub fn placed(
    parts: &[FloorPart],
    floor: &Floor,
    edge: Length,
) -> Result<Vec<PlacedPart>, PartError> {
    let mut left = edge;
    let mut placed = Vec::with_capacity(parts.len());
    for part in parts {
        let edge = part.edge().unwrap_or_default().min(left);
        left = left - edge;
        placed.push(PlacedPart {
            part: part.clone(),
            area: part.area(floor)?,
            edge,
        });
    }
    if let Some(border) = placed
        .iter_mut()
        .find(|placed| placed.part.edge().is_none())
    {
        border.edge = left;
    }
    Ok(placed)
}

/// Returns what a floor has in other conditions than its own, each once, in the order they are named first.
pub fn measured(placed: &[PlacedPart], own: FloorCondition) -> Vec<MeasuredPart> {
    let mut found: Vec<MeasuredPart> = Vec::new();
    for PlacedPart { part, area, edge } in
        placed.iter().filter(|placed| placed.part.condition != own)
    {
        let (area, edge) = (quantity(area.square_feet()), quantity(edge.feet()));
        match found
            .iter_mut()
            .find(|known| known.condition == part.condition)
        {
            Some(known) => {
                known.area += area;
                known.edge += edge;
            }
            None => found.push(MeasuredPart {
                condition: part.condition,
                area,
                edge,
            }),
        }
    }
    found
}

impl FloorCondition {
    /// Returns the grade that sanding it starts at; the module says where these come from.
    const fn first_grit(self) -> u32 {
        match self {
            FloorCondition::Glue => 12,
            FloorCondition::Paint => 16,
            FloorCondition::SoundFilm | FloorCondition::WornFilm | FloorCondition::OilWax => 24,
            FloorCondition::Bare => 36,
        }
    }
}

/// The cuts that a part has to itself, and where it joins those of its room.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Start<'a> {
    /// Its own first cuts, in order.
    pub own: Vec<&'a Operation>,
    /// The place in the room's sequence from which on its field is cut with it.
    field: usize,
    /// The same for its edge.
    edge: usize,
}

impl Start<'_> {
    /// Tells whether the step at a place of the room's sequence is done in the part too.
    pub fn has(&self, place: usize, driver: Driver) -> bool {
        place
            >= if driver == Driver::Edge {
                self.edge
            } else {
                self.field
            }
    }
}

/// Returns where a part starts, in a room that is sanded by a sequence; `book` has the others. `None`: it needs a coarser cut
/// than the room, and those that the book has for it share none with the room's.
pub fn start<'a>(
    part: FloorCondition,
    room: FloorCondition,
    sequence: &Sequence,
    book: &'a [Sequence],
) -> Option<Start<'a>> {
    let (needs, has) = (part.first_grit(), room.first_grit());
    let Some(first) = first_cut(&sequence.steps) else {
        return Some(Start::default());
    };
    let suits = |starts: u32| match needs.cmp(&has) {
        Ordering::Less => (needs..first).contains(&starts),
        Ordering::Equal => false,
        // Where the room's sequence starts fine enough, it is the part's too.
        Ordering::Greater => starts >= needs && first < needs,
    };
    let suited = book.iter().filter_map(|other| {
        let starts = first_cut(&other.steps).filter(|starts| suits(*starts))?;
        Some((starts, other))
    });
    let suited: Vec<(u32, &Sequence)> = suited.collect();
    let joined = suited.iter().filter_map(|(starts, other)| {
        let start = begun_with(other, sequence)?;
        Some((*starts, start))
    });
    match joined.min_by_key(|(starts, start)| (*starts, start.own.len())) {
        Some((_, start)) => Some(start),
        None if needs < has && !suited.is_empty() => None,
        None => Some(Start::default()),
    }
}

/// Returns where a part starts that begins with the first cuts of another sequence than its room's; `None`: they share no
/// cut of the field.
pub fn begun_with<'a>(other: &'a Sequence, room: &Sequence) -> Option<Start<'a>> {
    joined(&other.steps, &room.steps)
}

/// Returns the cuts of a part from the first to the last.
pub fn chain(start: &Start<'_>, sequence: &Sequence) -> Sequence {
    let own = start.own.iter().copied();
    let shared = sequence.steps.iter().enumerate();
    let shared = shared.filter(|(place, step)| start.has(*place, step.driver));
    Sequence {
        name: sequence.name.clone(),
        steps: own.chain(shared.map(|(_, step)| step)).cloned().collect(),
    }
}

/// Returns the grade of the first cut of the field.
fn first_cut(steps: &[Operation]) -> Option<u32> {
    grades(steps, Driver::Area).next()
}

fn grades(steps: &[Operation], driver: Driver) -> impl Iterator<Item = u32> {
    let steps = steps.iter().filter(move |step| step.driver == driver);
    steps.filter_map(|step| step.grit)
}

/// Returns how the first cuts of one sequence lead into the room's; `None`: they share no cut of the field.
///
/// Field and edge are separate chains. Where the edges share no cut, the part keeps its own chain, if that ends as fine as the
/// room's; else it has what is coarser than the room's chain, and then that.
fn joined<'a>(steps: &'a [Operation], room: &[Operation]) -> Option<Start<'a>> {
    let meet = |driver: Driver| {
        let mut chain = steps
            .iter()
            .enumerate()
            .filter(move |(_, step)| step.driver == driver);
        chain.find_map(|(place, step)| {
            Some((place, room.iter().position(|other| other.id == step.id)?))
        })
    };
    let (own_field, field) = meet(Driver::Area)?;
    let last = |steps| grades(steps, Driver::Edge).last();
    let (own_edge, edge) = meet(Driver::Edge).unwrap_or_else(|| {
        if last(steps) >= last(room) {
            return (steps.len(), room.len());
        }
        let coarser = |step: &&Operation| {
            step.driver == Driver::Edge && step.grit < grades(room, Driver::Edge).next()
        };
        let after = steps.iter().rposition(|step| coarser(&step));
        (after.map_or(0, |place| place + 1), 0)
    });
    let is_own = |(place, step): &(usize, &Operation)| match step.driver {
        Driver::Area => *place < own_field,
        Driver::Edge => *place < own_edge,
        Driver::Count | Driver::Length | Driver::Room | Driver::Job => false,
    };
    let own = steps
        .iter()
        .enumerate()
        .filter(is_own)
        .map(|(_, step)| step);
    Some(Start {
        own: own.collect(),
        field,
        edge,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rust_decimal_macros::dec;

    use super::*;

    fn floor(text: &str) -> Floor {
        Floor::parse(text, Units::Us).unwrap()
    }

    fn parts(text: &str) -> Vec<FloorPart> {
        FloorPart::parse_list(text, Units::Us).unwrap()
    }

    #[test]
    fn a_border_is_the_floor_less_the_floor_within_it() {
        // The first: 168 - 10 x 12 (trade figures, check value 8). A strip along walls at right angles is as long as they
        // are, less one square at each of the four corners that no other takes back: 51 - 4 of the L, 38 - 4 of the last.
        for (shape, border, area) in [
            ("12 x 14", "border 12in: paint", dec!(48)),
            ("12 x 14; island 2 x 2", "border 12in: paint", dec!(48)),
            ("10 x 4.5", "border 2ft: paint", dec!(42)),
            (
                "walls 14' r 11'6\" r 9' r 3' l 5' r 8'6\" r",
                "border 1ft: paint",
                dec!(47),
            ),
            (
                "walls 8'6\" l 14' l 11'6\" l 9' l 3' r 5' l",
                "border 1ft: paint",
                dec!(47),
            ),
            // A walk that begins within a wall.
            ("walls 4 l 9 l 10 l 9 l 6", "border 1ft: paint", dec!(34)),
        ] {
            let part = parts(border).remove(0);
            let measured = part.area(&floor(shape)).unwrap();
            assert_eq!(measured.square_feet().normalize(), area, "{shape}");
        }
    }

    #[test]
    fn what_a_floor_cannot_have_is_refused() {
        let refused = r#"
            10 x 4 | 3 x 12 | `3 x 12` is not a part of a floor (try "3 x 12: worn-film", "60 sq ft edge 20': glue" or "border 12in: paint")
            10 x 4 | 3 x 2: varnish | `varnish` is not a floor condition; one of: bare, sound-film, worn-film, oil-wax, paint, glue
            10 x 4 | 3 x 0: bare | `0` is not above zero
            10 x 4 | lots: bare | `lots` is not an area (try 12 sqft, 1.2 m2 or 3 x 4)
            10 x 4 | 4 x 10: bare | the parts, 40 sq ft in all, leave nothing of the floor's 40 sq ft: give the room the condition of the largest part
            10 x 4 | 4 x 5: bare; 20.5 sqft: paint | the parts, 40.5 sq ft in all, leave nothing of the floor's 40 sq ft: give the room the condition of the largest part
            10 x 4 | 1 x 1 edge 29: bare | the parts have `29'` of edge, and the walls are `28'`
            10 x 4 | border 2ft: paint | a border of `2'` leaves no floor within it
            10 x 4 | border 1in: paint; border 2in: bare | a room has one border
            10 x 4; less 1 x 1 | border 1in: paint | only a plain rectangle or a walk of right angles has a border that can be worked out: say its area, as in "48 sq ft edge 52': paint"
            circle 9 | border 1in: glue | only a plain rectangle or a walk of right angles has a border that can be worked out: say its area, as in "48 sq ft edge 52': glue"
            stairs 3, 3' x 10" + 7" | 1 x 1: bare | stairs have no parts; `1' x 1': bare` belongs to a room of its own"#;
        for line in refused.lines().filter(|line| !line.is_empty()) {
            let [shape, text, reason] = line.trim().splitn(3, " | ").collect::<Vec<_>>()[..] else {
                panic!("{line}");
            };
            let parts = FloorPart::parse_list(text, Units::Us);
            let refused = parts
                .and_then(|parts| check(&parts, &floor(shape), Units::Us))
                .unwrap_err();
            assert_eq!(refused.to_string(), reason, "{shape}: {text}");
        }
    }

    #[test]
    fn a_border_has_the_edge_that_other_parts_leave() {
        let (floor, edge) = (floor("12 x 14"), Length::parse("50", Units::Us).unwrap());
        let placed = placed(
            &parts("border 12in: paint; 3 x 4 edge 4: glue; 1 x 1: paint; 1 x 1: bare"),
            &floor,
            edge,
        );
        let measured = measured(&placed.unwrap(), FloorCondition::Bare);
        let found: Vec<_> = measured
            .iter()
            .map(|part| (part.condition, part.area, part.edge))
            .collect();
        assert_eq!(
            found,
            [
                (FloorCondition::Paint, dec!(49), dec!(46)),
                (FloorCondition::Glue, dec!(12), dec!(4))
            ]
        );
    }

    #[test]
    fn parts_never_have_more_edge_than_doorways_leave() {
        let (floor, edge) = (floor("12 x 14"), Length::parse("5", Units::Us).unwrap());
        let placed = placed(
            &parts("1 x 4 edge 4: glue; 1 x 4 edge 4: paint; border 1in: bare"),
            &floor,
            edge,
        );
        let edges: Vec<_> = placed
            .unwrap()
            .iter()
            .map(|part| part.edge.feet())
            .collect();
        assert_eq!(edges, [dec!(4), dec!(1), dec!(0)]);
    }

    /// `3 x 1` in a ledger of metres is another part where feet are meant.
    #[test]
    fn a_part_is_written_as_it_was_typed_where_it_reads_so() {
        let part = FloorPart::parse("3  x 1 edge 2.5: paint", Units::Metric).unwrap();
        assert_eq!(part.typed_text(Units::Metric), "3  x 1 edge 2.5: paint");
        assert_eq!(
            part.typed_text(Units::Us),
            "3000mm x 1000mm edge 2500mm: paint"
        );
    }

    proptest! {
        #[test]
        fn parts_read_back_as_they_are_written(
            (length, width, edge) in (1_i64..10_000_000_000, 1_i64..10_000_000_000, 0_i64..10_000_000_000),
            size in 0..4,
            condition in 0..FloorCondition::ALL.len(),
        ) {
            let [length, width, edge] = [length, width, edge].map(Length::from_nanometres);
            let sqft = |count: i64| Area::parse(&format!("{} sqft", Decimal::new(count, 4)), Units::Us).unwrap();
            let size = match size {
                0 => PartSize::Sides { length, width, edge },
                1 => PartSize::Area { area: length * width, edge },
                2 => PartSize::Area { area: sqft(length.nanometres() % 1_000_000 + 1), edge },
                _ => PartSize::Border { width },
            };
            let part = FloorPart::new(size, FloorCondition::ALL[condition]);
            for units in [Units::Us, Units::Metric] {
                prop_assert_eq!(FloorPart::parse(&part.to_string(), units), Ok(part.clone()));
                prop_assert_eq!(FloorPart::parse(&part.typed_text(units), units), Ok(part.clone()));
            }
        }

        #[test]
        fn no_text_panics(any in ".*", near in "(border |edge |[0-9]{1,9}|[,;x:. ]|'|\"|sqft|m2|paint){0,16}") {
            for text in [any, near] {
                let _ = FloorPart::parse_list(&text, Units::Us);
            }
        }
    }
}
