//! `room`: what the walk-through measured.

pub(super) mod walk;

use anyhow::Result;
use clap::{ArgGroup, Args, Subcommand};

use super::list::{RowsArgs, give_list};
use super::ui::Context;
use crate::document::Page;
use crate::document::floor::RoomCheck;
use crate::document::people::{RoomAnswer, RoomList};
use crate::ledger::{Ledger, NewRoom, Refusal, Room, Writing, measuring_a_room, refuse};
use crate::measure::{Length, Units};
use crate::notation::Notation;
use crate::trade::parts::FloorPart;
use crate::trade::room::{Base, Effect, Floor, Part, Walk};
use crate::trade::{FloorCondition, RoomId, SiteId, Species, bounds};

/// What a doorway leads to when it leads to no room.
const OUTSIDE: &str = "outside";

/// Manage rooms: floors, measured
#[derive(Debug, Subcommand)]
pub(super) enum RoomCommand {
    Add(RoomAddArgs),
    List(RoomListArgs),
    Show(RoomArgs),
    Check(RoomCheckArgs),
    Edit(RoomEditArgs),
    Void(RoomVoidArgs),
}

/// Add a room, measured by its shape, by its walls, or as a stair
///
/// Lengths are typed as a tape reads: 12'6", 12 ft 6 1/2 in, 12.5 or 3.81m; a bare number is in the ledger's units.
/// A walk names each wall and the turn after it: r or l for a right angle, r45 or l45 for half of one.
/// Doorways open the edge on both of their sides. A part in a condition of its own is sanded from its own first grit on; last
/// cuts and coats cover the room.
#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("measured").args(["shape", "walls", "steps"]),
    group = ArgGroup::new("known").args(["shape", "walls", "steps", "not_refinished"]).required(true).multiple(true),
    after_long_help = "Examples:
  gritledger room add \"4 Tannery Row\" Landing --shape \"10 x 4.5\" --condition worn-film --species red-oak --door \"outside:2'8\\\"\"
  gritledger room add \"4 Tannery Row\" Parlour --walls \"14' r 11'6\\\" r 9' r 3' l 5' r 8'6\\\"\" --condition bare --species pine
  gritledger room add \"4 Tannery Row\" Den --shape \"12 x 14\" --condition sound-film --species red-oak --part \"border 12in: paint\"
  gritledger room add \"4 Tannery Row\" Stair --steps 13 --width 3ft --tread 10in --riser 7.5in --condition paint --species pine"
)]
pub(super) struct RoomAddArgs {
    /// The site's address
    site: String,
    /// The room's name; no other at the site has it
    name: String,
    #[command(flatten)]
    measures: MeasureArgs,
    /// What the first cut meets: bare, sound-film, worn-film, oil-wax, paint or glue
    #[arg(long, required_unless_present = "not_refinished")]
    condition: Option<String>,
    /// The wood: red-oak, white-oak, hard-maple, birch, beech, ash, hickory, walnut, cherry, heart-pine, pine, douglas-fir or other
    #[arg(long, required_unless_present = "not_refinished")]
    species: Option<String>,
    /// How the boards lie: strip, plank, parquet or herringbone
    #[arg(long, default_value = "strip")]
    layout: String,
    /// It is not to be sanded, only a way through the house: its doorways are all that must be known
    #[arg(long)]
    not_refinished: bool,
    /// A note
    #[arg(long, default_value = "", hide_default_value = true)]
    note: String,
}

/// How a room is measured, and its doorways.
#[derive(Clone, Debug, Args)]
#[group(skip)]
struct MeasureArgs {
    /// "L x W", "trapezoid A,B x D", "circle D" or "half-circle D"
    #[arg(long, allow_hyphen_values = true)]
    shape: Option<String>,
    /// The walls as they are walked, with the turns between them
    #[arg(long, allow_hyphen_values = true)]
    walls: Option<String>,
    /// Steps of a stair
    #[arg(long, value_name = "COUNT", allow_hyphen_values = true, requires_all = ["width", "tread", "riser"])]
    steps: Option<String>,
    /// Width of a step
    #[arg(long, allow_hyphen_values = true, requires = "steps")]
    width: Option<String>,
    /// Depth of a tread
    #[arg(long, allow_hyphen_values = true, requires = "steps")]
    tread: Option<String>,
    /// Height of a riser
    #[arg(long, allow_hyphen_values = true, requires = "steps")]
    riser: Option<String>,
    /// A part that is open towards the room, such as a closet (can be repeated)
    #[arg(long, value_name = "W x D", allow_hyphen_values = true)]
    plus: Vec<String>,
    /// A part taken away at a wall, such as a hearth (can be repeated)
    #[arg(long, value_name = "W x D", allow_hyphen_values = true)]
    less: Vec<String>,
    /// A part taken away with floor all around (can be repeated)
    #[arg(long, value_name = "W x D", allow_hyphen_values = true)]
    island: Vec<String>,
    /// A part in a condition of its own: "3 x 12: worn-film", "60 sq ft edge 20': glue", "border 12in: paint" (can be repeated)
    #[arg(
        long = "part",
        value_name = "SIZE:CONDITION",
        allow_hyphen_values = true
    )]
    parts: Vec<String>,
    /// A doorway, to another room of the site or outside (can be repeated)
    #[arg(long = "door", value_name = "ROOM:WIDTH")]
    doors: Vec<String>,
}

impl MeasureArgs {
    /// Returns them with the decimals of their figures in the program's own form.
    fn plain(&self, notation: Notation) -> MeasureArgs {
        let plain = |text: &Option<String>| text.as_deref().map(|text| notation.plain(text));
        let each = |texts: &[String]| texts.iter().map(|text| notation.plain(text)).collect();
        MeasureArgs {
            shape: plain(&self.shape),
            walls: plain(&self.walls),
            steps: self.steps.clone(),
            width: plain(&self.width),
            tread: plain(&self.tread),
            riser: plain(&self.riser),
            plus: each(&self.plus),
            less: each(&self.less),
            island: each(&self.island),
            parts: each(&self.parts),
            doors: self.doors.clone(),
        }
    }
}

/// List the rooms of a site with area and edge
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger room list \"4 Tannery Row\"")]
pub(super) struct RoomListArgs {
    /// The site's address
    site: String,
    #[command(flatten)]
    rows: RowsArgs,
}

/// Show a room
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger room show Landing --site \"4 Tannery Row\"")]
pub(super) struct RoomArgs {
    /// The room: NAME or SITE/NAME
    #[arg(value_name = "ROOM")]
    name: String,
    /// The site's address (default: wherever there is only one room of that name)
    #[arg(long)]
    site: Option<String>,
}

/// Say whether a room's floor can be sanded: go, wait or don't, question by question
///
/// By the readings that were noted (gritledger reading add), the year that the house was built and what was found. The worst
/// answer decides, and what isn't known is never "go". Each threshold has its source; those on which sources disagree are
/// settings: sanding-cut, wood-kept, top-layer, plank-width, coating-temperature, coating-humidity, lead-year, asbestos-year.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger room check Landing --site \"4 Tannery Row\"")]
pub(super) struct RoomCheckArgs {
    /// The room: NAME or SITE/NAME
    #[arg(value_name = "ROOM")]
    name: String,
    /// The site's address (default: wherever there is only one room of that name)
    #[arg(long)]
    site: Option<String>,
}

/// Change a room, or measure it again
///
/// A shape and its parts are one measurement: what is given replaces all of it. Closets, hearths and islands given
/// without a shape replace those. Parts in a condition of their own given replace all of those, and doorways given all of the
/// room's doorways. Quotes that were drafted keep the measures they have.
#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("measured").args(["shape", "walls", "steps"]),
    after_long_help = "Example:\n  gritledger room edit Landing --shape \"10 x 4'8\\\"\" --condition bare"
)]
pub(super) struct RoomEditArgs {
    /// The room: NAME or SITE/NAME
    room: String,
    /// The site's address (default: wherever there is only one room of that name)
    #[arg(long)]
    site: Option<String>,
    /// Another name
    #[arg(long)]
    name: Option<String>,
    #[command(flatten)]
    measures: MeasureArgs,
    /// What the first cut meets: bare, sound-film, worn-film, oil-wax, paint or glue
    #[arg(long)]
    condition: Option<String>,
    /// No part has a condition of its own any more
    #[arg(long, conflicts_with = "parts")]
    no_parts: bool,
    /// The wood: red-oak, white-oak, hard-maple, birch, beech, ash, hickory, walnut, cherry, heart-pine, pine, douglas-fir or other
    #[arg(long)]
    species: Option<String>,
    /// How the boards lie
    #[arg(long)]
    layout: Option<String>,
    /// It is to be sanded
    #[arg(long, conflicts_with = "not_refinished")]
    refinished: bool,
    /// It is not to be sanded, only a way through the house
    #[arg(long)]
    not_refinished: bool,
    /// A note
    #[arg(long)]
    note: Option<String>,
}

/// Take a room and its doorways out of use
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger room void Landing --site \"4 Tannery Row\"")]
pub(super) struct RoomVoidArgs {
    /// The room: NAME or SITE/NAME
    #[arg(value_name = "ROOM")]
    name: String,
    /// The site's address (default: wherever there is only one room of that name)
    #[arg(long)]
    site: Option<String>,
}

pub(super) fn cmd_room(context: &Context, command: RoomCommand) -> Result<()> {
    match command {
        RoomCommand::Add(args) => add_room(context, &args),
        RoomCommand::List(args) => context.read(|ledger| {
            let site = ledger.site(&args.site)?;
            let rooms = room_answers(ledger, site.id, &context.page(ledger))?;
            give_list(context, ledger, rooms, &args.rows, false)
        }),
        RoomCommand::Show(args) => context.read(|ledger| {
            let room = room_named(ledger, &args.name, args.site.as_deref())?;
            context.give(ledger, room_answer(ledger, room, &context.page(ledger))?)
        }),
        RoomCommand::Check(args) => context.read(|ledger| check_room(context, ledger, &args)),
        RoomCommand::Edit(args) => edit_room(context, &args),
        RoomCommand::Void(args) => context.write(|writing| {
            let room = room_named(writing, &args.name, args.site.as_deref())?;
            writing.void_room(&room)?;
            context.status(&format!("Took room {} out of use.", room.name));
            Ok(())
        }),
    }
}

fn check_room(context: &Context, ledger: &Ledger, args: &RoomCheckArgs) -> Result<()> {
    let room = room_named(ledger, &args.name, args.site.as_deref())?;
    let site = ledger.site(&room.site)?;
    for judged in ledger.judged(&site, &[room])? {
        let answer = RoomCheck::new(judged, &context.page(ledger));
        if let Some(line) = answer.asking() {
            context.hint(&line);
        }
        context.give(ledger, answer)?;
    }
    Ok(())
}

fn add_room(context: &Context, args: &RoomAddArgs) -> Result<()> {
    context.write(|writing| {
        let site = writing.site(&args.site)?;
        let measures = args.measures.plain(writing.notation());
        let base = read_base(&measures, writing.units())?.unwrap_or(Base::NotMeasured);
        let (condition, species) = (args.condition.as_deref(), args.species.as_deref());
        let new = NewRoom {
            site: site.id,
            name: args.name.clone(),
            floor: Floor::new(base, read_parts(&measures, writing.units())?)?
                .as_typed(&measures.typed(), writing.units()),
            condition: condition.map_or(Ok(FloorCondition::SoundFilm), str::parse)?,
            parts: read_floor_parts(&measures, writing.units())?,
            species: species.map_or(Ok(Species::Other), str::parse)?,
            layout: args.layout.parse()?,
            refinished: !args.not_refinished,
            note: args.note.clone(),
        };
        let id = writing.add_room(&new)?;
        confirm_floor(context, &new.floor, writing.units())?;
        add_doors(writing, site.id, id, &args.measures.doors)?;
        tell_room(context, writing, site.id, id)
    })
}

fn edit_room(context: &Context, args: &RoomEditArgs) -> Result<()> {
    context.write(|writing| {
        let mut room = room_named(writing, &args.room, args.site.as_deref())?;
        change_room(&mut room, args, writing)?;
        let doors = &args.measures.doors;
        if !doors.is_empty() {
            // Old doorways go first: they may be wider than the new walls.
            writing.void_doors(room.id)?;
            room.doors.clear();
        }
        writing.edit_room(&room)?;
        confirm_floor(context, &room.floor, writing.units())?;
        add_doors(writing, room.site_id, room.id, doors)?;
        warn_of_agreed(context, writing, &room)?;
        tell_room(context, writing, room.site_id, room.id)
    })
}

/// Warns of jobs that have agreed to do a room as it was before.
fn warn_of_agreed(context: &Context, ledger: &Writing<'_>, room: &Room) -> Result<()> {
    for job in ledger.measured_otherwise(room.id, room.site_id)? {
        let number = &job.number;
        if job.own {
            context.warn(&format!("{number} is planned for it as it was"));
            continue;
        }
        context.warn(&format!("{number} has agreed to do it as it was"));
        let ways = ledger.ways_to_vary(&job, room)?;
        ways.iter().for_each(|line| context.hint(line));
    }
    Ok(())
}

/// Has a floor confirmed that is larger than rooms are.
fn confirm_floor(context: &Context, floor: &Floor, units: Units) -> Result<()> {
    if bounds::is_large(floor.area()) {
        context.confirm(&format!("{} is a large room", floor.area().text(units)))?;
    }
    Ok(())
}

/// Changes what was typed of a room; its doorways stay.
fn change_room(room: &mut Room, args: &RoomEditArgs, ledger: &Ledger) -> Result<()> {
    let (measures, units) = (args.measures.plain(ledger.notation()), ledger.units());
    let was_unknown = !room.floor.is_measured();
    let parts = read_parts(&measures, units)?;
    match read_base(&measures, units)? {
        Some(base) => {
            room.floor = Floor::new(base, parts)?.as_typed(&measures.typed(), units);
        }
        None if !parts.is_empty() => room.floor = Floor::new(room.floor.base().clone(), parts)?,
        None => {}
    }
    if let Some(name) = &args.name {
        room.name.clone_from(name);
    }
    if let Some(text) = &args.condition {
        room.condition = text.parse()?;
    }
    if args.no_parts || !measures.parts.is_empty() {
        room.parts = read_floor_parts(&measures, units)?;
    }
    if let Some(text) = &args.species {
        room.species = text.parse()?;
    }
    if let Some(text) = &args.layout {
        room.layout = text.parse()?;
    }
    room.refinished = (room.refinished || args.refinished) && !args.not_refinished;
    if was_unknown && room.refinished && (args.condition.is_none() || args.species.is_none()) {
        return Err(Refusal::new(format!(
            "say what `{}` is: it was only a way through",
            room.name
        ))
        .hint(measuring_a_room(room))
        .into());
    }
    if let Some(note) = &args.note {
        room.note.clone_from(note);
    }
    Ok(())
}

/// After an event, the answer is the room as it stands.
fn tell_room(context: &Context, writing: &Writing<'_>, site: SiteId, id: RoomId) -> Result<()> {
    let mut rooms = writing.rooms_of(site)?.into_iter();
    let room = rooms.find(|room| room.id == id);
    let room = room.expect("a room that was written is there");
    let answer = room_answer(writing, room, &context.page(writing))?;
    context.give_as(answer, RoomAnswer::sentence)
}

impl MeasureArgs {
    /// Returns shape and parts in one text, as they were typed; empty: they were typed otherwise.
    fn typed(&self) -> String {
        let walls = self.walls.as_ref().map(|walls| format!("walls {walls}"));
        let Some(base) = self.shape.clone().or(walls) else {
            return String::new();
        };
        let parts = self
            .added_and_taken()
            .map(|(effect, text)| format!("; {} {text}", effect.as_str()));
        std::iter::once(base).chain(parts).collect()
    }

    fn added_and_taken(&self) -> impl Iterator<Item = (Effect, &String)> {
        let typed = [
            (Effect::Plus, &self.plus),
            (Effect::Less, &self.less),
            (Effect::Island, &self.island),
        ];
        typed
            .into_iter()
            .flat_map(|(effect, texts)| texts.iter().map(move |text| (effect, text)))
    }
}

/// Reads the shape that a room begins with; `None`: none was given.
fn read_base(args: &MeasureArgs, units: Units) -> Result<Option<Base>> {
    if let Some(shape) = &args.shape {
        return Ok(Some(Base::parse_shape(shape, units)?));
    }
    if let Some(walls) = &args.walls {
        return Ok(Some(Base::Walls(Walk::parse(walls, units)?)));
    }
    let (Some(steps), Some(width), Some(tread), Some(riser)) =
        (&args.steps, &args.width, &args.tread, &args.riser)
    else {
        return Ok(None);
    };
    let Some(steps) = steps
        .trim()
        .parse()
        .ok()
        .filter(|steps: &u32| (1..=1000).contains(steps))
    else {
        refuse!("`{steps}` is not a number of steps");
    };
    let [width, tread, riser] = Length::parse_together([width, tread, riser], units)?;
    Ok(Some(Base::Stairs {
        steps,
        width,
        tread,
        riser,
    }))
}

fn read_parts(args: &MeasureArgs, units: Units) -> Result<Vec<Part>> {
    Ok(args
        .added_and_taken()
        .map(|(effect, text)| Part::parse_sides(effect, text, units))
        .collect::<Result<_, _>>()?)
}

fn read_floor_parts(args: &MeasureArgs, units: Units) -> Result<Vec<FloorPart>> {
    let parts = args.parts.iter().map(|text| FloorPart::parse(text, units));
    Ok(parts.collect::<Result<_, _>>()?)
}

/// Adds the doorways of a room as typed: `outside:2'8"`, `Landing:2'6"`.
fn add_doors(writing: &Writing<'_>, site: SiteId, room: RoomId, doors: &[String]) -> Result<()> {
    for door in doors {
        let (to, width) = read_door(door, A_DOORWAY, writing.notation(), writing.units())?;
        let beyond = if to.eq_ignore_ascii_case(OUTSIDE) {
            None
        } else {
            Some(writing.room(to, Some(site))?)
        };
        if let Some(other) = beyond.as_ref().filter(|other| other.site_id != site) {
            refuse!(
                "a doorway stays in the house: `{}` is at `{}`",
                other.name,
                other.site
            );
        }
        writing.add_door(room, beyond.map(|beyond| beyond.id), width)?;
    }
    Ok(())
}

/// How a doorway is typed as an option.
const A_DOORWAY: &str = "--door \"outside:2'8\\\"\" or --door \"Landing:2'6\\\"\"";

/// Splits a doorway at its last colon, as a room's name may hold one; `such_as` is one as it can be typed there.
fn read_door<'a>(
    text: &'a str,
    such_as: &str,
    notation: Notation,
    units: Units,
) -> Result<(&'a str, Length)> {
    let Some((to, width)) = text
        .rsplit_once(':')
        .filter(|(to, _)| !to.trim().is_empty())
    else {
        return Err(Refusal::new(format!("`{text}` is not a doorway"))
            .hint(such_as)
            .into());
    };
    Ok((to.trim(), Length::parse(&notation.plain(width), units)?))
}

pub(super) fn room_named(ledger: &Ledger, name: &str, site: Option<&str>) -> Result<Room> {
    let site = site.map(|address| ledger.site(address)).transpose()?;
    ledger.room(name, site.map(|site| site.id))
}

fn room_answer(ledger: &Ledger, room: Room, page: &Page) -> Result<RoomAnswer> {
    let findings = ledger.findings_of(room.site_id)?;
    let (edge, parts) = (room.edge()?, room.placed_parts()?);
    Ok(RoomAnswer::new(room, edge, parts, &findings, page))
}

pub(super) fn room_answers(ledger: &Ledger, site: SiteId, page: &Page) -> Result<RoomList> {
    let findings = ledger.findings_of(site)?;
    let rooms = ledger.rooms_of(site)?.into_iter();
    let rooms: Result<_> = rooms
        .map(|room| {
            let (edge, parts) = (room.edge()?, room.placed_parts()?);
            Ok(RoomAnswer::new(room, edge, parts, &findings, page))
        })
        .collect();
    Ok(RoomList::new(rooms?, page))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_doorway_is_split_at_its_last_colon() {
        let read = |text| read_door(text, A_DOORWAY, Notation::default(), Units::Us).ok();
        let inches = |count: u32| Length::from_nanometres(25_400_000).times(count);
        assert_eq!(read("outside:2'8\""), Some(("outside", inches(32))));
        assert_eq!(
            read("Flat 2: hall : 30in"),
            Some(("Flat 2: hall", inches(30)))
        );
        for text in ["Landing", ":2'6\"", "Landing:", "Landing:wide", ""] {
            assert_eq!(read(text), None, "{text}");
        }
    }
}
