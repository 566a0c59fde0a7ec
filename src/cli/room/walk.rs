//! `walk`: the walk-through as questions, room by room.
//!
//! Each question has what was answered before as its default, so an empty line keeps it; `back` goes to the question
//! before, from a room's first one to the question for the room, and from there to the room before; `leave` ends the walk.
//! A room's answers are written when its last question is answered, as `room add`, `room edit` and `finding add` would
//! write them: whoever leaves in the middle of a room loses that room's answers, and
//! comes back to the rest by the same command. A room that isn't refinished is asked only for its doorways. How far the
//! site is, is asked at the end, until somebody has said it.

use anyhow::Result;
use clap::Args;

use super::{OUTSIDE, confirm_floor, read_door, room_answers, warn_of_agreed};
use crate::cli::finding::read_new;
use crate::cli::read::read_distance;
use crate::cli::ui::{Context, fail, somebody_is_there};
use crate::document::inert;
use crate::ledger::{
    Ledger, NewFinding, NewRoom, NewSite, Refusal, Room, Site, Writing, refuse, same,
};
use crate::measure::Units;
use crate::trade::parts::{self, FloorPart};
use crate::trade::room::Floor;
use crate::trade::{FindingId, FloorCondition, Layout, RoomId, Species};

/// Walk through a house: asks room by room what there is to know
///
/// Enter keeps what stands in brackets, back goes one question back, leave ends; come back with the same command.
/// Each room is written when its last question is answered. What is asked can also be typed ahead, a line for each answer.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger walk \"8 Reed Lane\"")]
pub(in crate::cli) struct WalkArgs {
    /// The site's address
    site: String,
}

/// How a doorway is answered.
const A_DOORWAY: &str = "outside:2'8\"";

/// What a question was answered with, other than by its answer.
enum Turn {
    /// Back to the question before.
    Back,
    /// The walk ends.
    Leave,
}

/// What one room was answered.
#[derive(Clone)]
struct Answers {
    /// The room, if the ledger has it already.
    known: Option<Room>,
    name: String,
    refinished: bool,
    floor: Floor,
    condition: FloorCondition,
    parts: Vec<FloorPart>,
    species: Species,
    layout: Layout,
    /// Doorways as they are typed.
    doors: String,
    /// What is put right beside what was noted before, as it is typed.
    found: Vec<String>,
    /// What was noted before and isn't so.
    gone: Vec<FindingId>,
}

/// A question about a room.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Question {
    Refinished,
    Shape,
    Condition,
    Parts,
    Species,
    Doors,
    Findings,
}

impl Question {
    const ALL: [Question; 7] = [
        Question::Refinished,
        Question::Shape,
        Question::Condition,
        Question::Parts,
        Question::Species,
        Question::Doors,
        Question::Findings,
    ];

    /// Returns the questions about such a room: of one that isn't sanded, the doorways are all that must be known.
    fn about(refinished: bool) -> Vec<Question> {
        let questions = Question::ALL.into_iter();
        let asked = |question: &Question| {
            refinished || matches!(question, Question::Refinished | Question::Doors)
        };
        questions.filter(asked).collect()
    }

    fn words(self) -> &'static str {
        match self {
            Question::Refinished => "Is it refinished (yes, no)",
            Question::Shape => {
                "Shape: 12' x 14', walls ..., stairs 13, 3' x 10\" + 7\"; plus, less, island"
            }
            Question::Condition => {
                "Floor condition (bare, sound-film, worn-film, oil-wax, paint, glue)"
            }
            Question::Parts => "Parts in another condition, such as 3' x 12': bare",
            Question::Species => "Wood, such as red-oak, hard-maple, pine, other",
            Question::Doors => "Doorways, such as outside:2'8\", Hall:2'6\"",
            Question::Findings => "To be put right, such as proud-nails 12; void 3 takes one out",
        }
    }
}

impl Answers {
    /// Returns what is known of a room, or what is likely of a new one.
    fn of(ledger: &Ledger, site: &Site, name: &str) -> Result<Answers> {
        let rooms = ledger.rooms_of(site.id)?;
        let known = rooms.iter().find(|room| is_called(room, name)).cloned();
        let last = rooms.iter().rfind(|room| room.floor.is_measured());
        let like = known
            .as_ref()
            .filter(|room| room.floor.is_measured())
            .or(last);
        Ok(Answers {
            name: known.as_ref().map_or(name, |room| &room.name).to_owned(),
            refinished: known.as_ref().is_none_or(|room| room.refinished),
            floor: match &known {
                Some(room) => room.floor.clone(),
                None => Floor::not_measured(),
            },
            condition: like.map_or(FloorCondition::SoundFilm, |room| room.condition),
            parts: known
                .as_ref()
                .map_or_else(Vec::new, |room| room.parts.clone()),
            species: like.map_or(Species::RedOak, |room| room.species),
            layout: like.map_or(Layout::Strip, |room| room.layout),
            doors: doors_text(known.as_ref()),
            found: Vec::new(),
            gone: Vec::new(),
            known,
        })
    }

    /// Returns what an empty line keeps; empty: there is nothing yet.
    fn default_of(&self, question: Question, units: Units) -> String {
        match question {
            Question::Refinished => if self.refinished { "yes" } else { "no" }.to_owned(),
            Question::Shape if self.floor.is_measured() => self.floor.typed_text(),
            Question::Condition => self.condition.to_string(),
            Question::Parts => match self.parts.is_empty() {
                true => "none".to_owned(),
                false => parts::typed_list(&self.parts, units),
            },
            Question::Species => self.species.to_string(),
            Question::Doors if self.doors.is_empty() => "none".to_owned(),
            Question::Doors => self.doors.clone(),
            Question::Shape | Question::Findings => String::new(),
        }
    }

    /// Takes an answer.
    fn take(&mut self, question: Question, said: &str, ledger: &Ledger) -> Result<()> {
        let (units, plain) = (ledger.units(), ledger.notation().plain(said));
        let is_none = said.eq_ignore_ascii_case("none");
        match question {
            Question::Refinished => {
                self.refinished = match said.to_lowercase().as_str() {
                    "y" | "yes" => true,
                    "n" | "no" => false,
                    _ => refuse!("`{said}` is neither yes nor no"),
                }
            }
            Question::Shape => {
                self.floor = Floor::parse(&plain, units)?;
                if !self.floor.is_measured() {
                    refuse!("`{}` is to be sanded, so it must be measured", self.name);
                }
            }
            Question::Condition => self.condition = said.parse()?,
            Question::Parts => {
                self.parts = match is_none {
                    true => Vec::new(),
                    false => FloorPart::parse_list(&plain, units)?,
                };
                self.keep(question, units)?;
            }
            Question::Species => self.species = said.parse()?,
            Question::Doors => {
                for door in each_door(said).filter(|_| !is_none) {
                    read_door(door, A_DOORWAY, ledger.notation(), units)?;
                }
                self.doors = if is_none {
                    String::new()
                } else {
                    said.to_owned()
                };
            }
            Question::Findings => self.take_finding(said, ledger)?,
        }
        Ok(())
    }

    /// Refuses to keep what doesn't fit an answer that was given since.
    fn keep(&self, question: Question, units: Units) -> Result<()> {
        match question {
            Question::Parts => Ok(parts::check(&self.parts, &self.floor, units)?),
            _ => Ok(()),
        }
    }

    fn take_finding(&mut self, said: &str, ledger: &Ledger) -> Result<()> {
        if ["none", "nothing", "no"].contains(&said.to_lowercase().as_str()) {
            return Ok(());
        }
        if let Some(number) = said.strip_prefix("void ") {
            let here = self.noted(ledger)?;
            let gone = here
                .iter()
                .find(|(id, _)| id.0.to_string() == number.trim());
            let Some((id, _)) = gone else {
                refuse!("`{}` is no finding of `{}`", number.trim(), self.name);
            };
            self.gone.push(*id);
            return Ok(());
        }
        read_found(ledger, said)?;
        self.found.push(said.to_owned());
        Ok(())
    }

    /// Returns what was noted before.
    fn noted(&self, ledger: &Ledger) -> Result<Vec<(FindingId, String)>> {
        let Some(room) = &self.known else {
            return Ok(Vec::new());
        };
        let findings = ledger.findings_of(room.site_id)?.into_iter();
        let here = findings
            .filter(|finding| finding.room_id == room.id && !self.gone.contains(&finding.id));
        Ok(here
            .map(|finding| (finding.id, format!("{} {}", finding.id.0, finding.kind)))
            .collect())
    }

    /// Writes the room as it was answered; returns doorways to rooms that aren't there yet, as they are typed from this side.
    fn write(&self, context: &Context, writing: &Writing<'_>, site: &Site) -> Result<Vec<String>> {
        let floor = match self.refinished {
            true => self.floor.clone(),
            false => self
                .known
                .as_ref()
                .map_or_else(Floor::not_measured, |room| room.floor.clone()),
        };
        confirm_floor(context, &floor, writing.units())?;
        let id = self.write_room(writing, site, floor)?;
        let later = self.write_doors(writing, site, id)?;
        let room = writing.room(&self.name, Some(site.id))?;
        for id in &self.gone {
            writing.void_finding(*id)?;
        }
        for said in &self.found {
            writing.add_finding(&room, &read_found(writing, said)?)?;
        }
        if self.known.is_some() {
            warn_of_agreed(context, writing, &room)?;
        }
        Ok(later)
    }

    fn write_room(&self, writing: &Writing<'_>, site: &Site, floor: Floor) -> Result<RoomId> {
        let Some(known) = &self.known else {
            return writing.add_room(&NewRoom {
                site: site.id,
                name: self.name.clone(),
                floor,
                condition: self.condition,
                parts: self.parts.clone(),
                species: self.species,
                layout: self.layout,
                refinished: self.refinished,
                note: String::new(),
            });
        };
        let room = Room {
            floor,
            condition: self.condition,
            parts: self.parts.clone(),
            species: self.species,
            layout: self.layout,
            refinished: self.refinished,
            ..known.clone()
        };
        if self.doors != doors_text(Some(known)) {
            writing.void_doors(known.id)?;
        }
        let undoored = Room {
            doors: Vec::new(),
            ..room.clone()
        };
        match room == *known {
            true => {}
            false => writing.edit_room(&undoored)?,
        }
        Ok(known.id)
    }

    fn write_doors(&self, writing: &Writing<'_>, site: &Site, id: RoomId) -> Result<Vec<String>> {
        let mut later = Vec::new();
        if self.known.is_some() && self.doors == doors_text(self.known.as_ref()) {
            return Ok(later);
        }
        let rooms = writing.rooms_of(site.id)?;
        for door in each_door(&self.doors) {
            let (to, width) = read_door(door, A_DOORWAY, writing.notation(), writing.units())?;
            let beyond = rooms.iter().find(|room| is_called(room, to));
            match beyond {
                _ if to.eq_ignore_ascii_case(OUTSIDE) => writing.add_door(id, None, width)?,
                Some(beyond) => writing.add_door(id, Some(beyond.id), width)?,
                None => later.push(door.to_owned()),
            }
        }
        Ok(later)
    }
}

/// A doorway to a room that hasn't been walked yet.
struct Later {
    from: String,
    to: String,
    width: String,
}

/// A walk as it goes on.
struct Walk<'a> {
    context: &'a Context,
    site: Site,
    later: Vec<Later>,
    walked: Vec<String>,
}

pub(in crate::cli) fn cmd_walk(context: &Context, args: &WalkArgs) -> Result<()> {
    context.refuse_csv()?;
    let site = context.read(|ledger| ledger.site(&args.site))?;
    context.tell(
        "Enter keeps what stands in [brackets], back goes one question back, leave ends the walk.",
    );
    let mut walk = Walk {
        context,
        site,
        later: Vec::new(),
        walked: Vec::new(),
    };
    while let Some(name) = walk.next_room()? {
        let Err(turn) = walk.through(&name)? else {
            continue;
        };
        context.tell(&format!("`{}` is left as it was.", name.trim()));
        if let Turn::Leave = turn {
            break;
        }
    }
    walk.ask_distance()?;
    for Later { from, to, width } in &walk.later {
        context.warn(&format!(
            "the doorway from `{from}` to `{to}`, {width}, isn't noted: there is no room `{to}` yet"
        ));
    }
    context.read(|ledger| {
        let rooms = room_answers(ledger, walk.site.id, &context.page(ledger))?;
        context.give(ledger, rooms)
    })
}

impl Walk<'_> {
    /// Asks how far the site is, if nobody has said; an empty line leaves that open.
    fn ask_distance(&mut self) -> Result<()> {
        let road = self.context.read(|ledger| Ok(ledger.road()))?;
        let prompt = format!("How far is it, one way, in {} [open]: ", road.in_words());
        while self.site.distance.is_none() {
            let said = self.context.line(&prompt)?.unwrap_or_default();
            if ["", "back", "leave"].contains(&said.trim()) {
                return Ok(());
            }
            let written = self.context.write(|writing| {
                let distance = Some(read_distance(writing, &said)?);
                let known = NewSite::from(self.site.clone());
                writing.edit_site(self.site.id, &NewSite { distance, ..known })?;
                Ok(distance)
            });
            match written {
                Ok(distance) => self.site.distance = distance,
                Err(error) => self.told(error)?,
            }
        }
        Ok(())
    }

    /// Asks which room is next; `None`: the walk ends. `back` takes up the room that was walked last.
    fn next_room(&self) -> Result<Option<String>> {
        let rooms = self.context.read(|ledger| ledger.rooms_of(self.site.id))?;
        let names = self.later.iter().map(|later| &later.to);
        let is_new = |name: &&String| !self.walked.iter().any(|walked| same(walked, name));
        let mut next = names
            .chain(rooms.iter().map(|room| &room.name))
            .filter(is_new);
        let next = next.next().map_or("done", String::as_str);
        loop {
            let said = self.context.line(&format!("Room [{}]: ", inert(next)))?;
            let said = said.map_or_else(|| "done".to_owned(), |said| said.trim().to_owned());
            let name = if said.is_empty() { next } else { &said };
            match (name, self.walked.last()) {
                ("done" | "leave", _) => return Ok(None),
                ("back", Some(last)) => return Ok(Some(last.clone())),
                ("back", None) => {
                    let first = Refusal::new("there is no question before the first one");
                    self.told(first.hint("a room, or done").into())?;
                }
                (name, _) => return Ok(Some(name.to_owned())),
            }
        }
    }

    /// Asks all there is to know of a room, and writes it; a turn: it was left before its end.
    fn through(&mut self, name: &str) -> Result<Result<(), Turn>> {
        let before = self
            .context
            .read(|ledger| Answers::of(ledger, &self.site, name))?;
        let mut before = self.with_later(before);
        loop {
            let answers = match self.asked(before)? {
                Ok(answers) => answers,
                Err(turn) => return Ok(Err(turn)),
            };
            let written = self
                .context
                .write(|writing| answers.write(self.context, writing, &self.site));
            match written {
                Ok(later) => {
                    self.note(&answers.name, &later)?;
                    return Ok(Ok(()));
                }
                Err(error) => self.told(error)?,
            }
            before = answers;
        }
    }

    /// Adds the doorways from rooms that were walked before to a room that is new.
    fn with_later(&self, mut answers: Answers) -> Answers {
        let here = self
            .later
            .iter()
            .filter(|later| same(&later.to, &answers.name));
        let doors: Vec<String> = here
            .map(|later| format!("{}:{}", later.from, later.width))
            .collect();
        if !doors.is_empty() {
            let known = (!answers.doors.is_empty()).then(|| answers.doors.clone());
            answers.doors = known
                .into_iter()
                .chain(doors)
                .collect::<Vec<_>>()
                .join(", ");
        }
        answers
    }

    /// Remembers that a room was written, and which of its doorways lead to rooms that aren't there yet.
    fn note(&mut self, name: &str, later: &[String]) -> Result<()> {
        self.later
            .retain(|known| !same(&known.to, name) && !same(&known.from, name));
        for door in later {
            if let Some((to, width)) = door.rsplit_once(':') {
                self.later.push(Later {
                    from: name.to_owned(),
                    to: to.trim().to_owned(),
                    width: width.trim().to_owned(),
                });
            }
        }
        self.walked.push(name.to_owned());
        let sentence = self.context.read(|ledger| {
            let room = ledger.room(name, Some(self.site.id))?;
            Ok(super::room_answer(ledger, room, &self.context.page(ledger))?.sentence())
        })?;
        self.context.tell_done(&sentence);
        Ok(())
    }

    /// Asks the questions about a room; a turn: the walk is left, or goes back behind the first of them.
    fn asked(&self, mut answers: Answers) -> Result<Result<Answers, Turn>> {
        let mut place = 0;
        while let Some(question) = Question::about(answers.refinished).get(place).copied() {
            match self.answered(&mut answers, question)? {
                Ok(()) => place += 1,
                Err(Turn::Back) if place > 0 => place -= 1,
                Err(turn) => return Ok(Err(turn)),
            }
        }
        Ok(Ok(answers))
    }

    /// Asks a question until it is answered.
    fn answered(&self, answers: &mut Answers, question: Question) -> Result<Result<(), Turn>> {
        loop {
            let default = match question {
                Question::Findings => self.findings_so_far(answers)?,
                _ => {
                    let units = self.context.read(|ledger| Ok(ledger.units()))?;
                    answers.default_of(question, units)
                }
            };
            let kept = match default.as_str() {
                "" => String::new(),
                default => format!(" [{}]", inert(default)),
            };
            let prompt = format!("  {}{kept}: ", question.words());
            let said = self.context.line(&prompt)?;
            let said = match said.as_deref().map(str::trim) {
                None | Some("leave") => return Ok(Err(Turn::Leave)),
                Some("back") => return Ok(Err(Turn::Back)),
                Some(said) => said,
            };
            let is_optional = question != Question::Shape || !default.is_empty();
            let is_kept = said.is_empty() && is_optional;
            let taken = self.context.read(|ledger| {
                let mut with = answers.clone();
                match is_kept {
                    true => with.keep(question, ledger.units())?,
                    false => with.take(question, said, ledger)?,
                }
                Ok(with)
            });
            match taken {
                Ok(with) => *answers = with,
                Err(error) => {
                    self.told(error)?;
                    continue;
                }
            }
            if is_kept || question != Question::Findings {
                return Ok(Ok(()));
            }
        }
    }

    fn findings_so_far(&self, answers: &Answers) -> Result<String> {
        let noted = self.context.read(|ledger| answers.noted(ledger))?;
        let noted = noted.into_iter().map(|(_, words)| words);
        let found: Vec<String> = noted.chain(answers.found.iter().cloned()).collect();
        Ok(match found.is_empty() {
            true => "nothing".to_owned(),
            false => found.join("; "),
        })
    }

    /// Tells a person what was wrong, to be answered again; where nobody is there, the walk ends with it.
    fn told(&self, error: anyhow::Error) -> Result<()> {
        if !somebody_is_there() {
            return Err(error);
        }
        fail(&error);
        Ok(())
    }
}

fn is_called(room: &Room, name: &str) -> bool {
    same(&room.name, name)
}

/// Writes the doorways of a room as they are typed.
fn doors_text(room: Option<&Room>) -> String {
    let doors = room.into_iter().flat_map(|room| &room.doors);
    let doors = doors.map(|door| {
        let to = door.to.as_ref().map_or(OUTSIDE, |(_, name)| name);
        format!("{to}:{}", door.width.exact_text())
    });
    doors.collect::<Vec<_>>().join(", ")
}

fn each_door(text: &str) -> impl Iterator<Item = &str> {
    text.split(',')
        .map(str::trim)
        .filter(|door| !door.is_empty())
}

/// Reads what must be put right: `proud-nails 12`, `missing-quarter-round 14' + 8'6"`.
fn read_found(ledger: &Ledger, said: &str) -> Result<NewFinding> {
    let Some((kind, much)) = said.split_once(char::is_whitespace) else {
        return Err(
            Refusal::new(format!("`{said}` doesn't say how much of it there is"))
                .hint("proud-nails 12")
                .into(),
        );
    };
    read_new(ledger, kind, much)
}
