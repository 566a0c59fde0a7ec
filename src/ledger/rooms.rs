//! The rooms of a site, and how they are measured.

use anyhow::{Context, Result};
use rusqlite::{Row, named_params};

use super::names::{Names, named, same};
use super::{Door, Job, Ledger, Refusal, Site, Writing, refuse, typed};
use crate::measure::{Length, Units};
use crate::money::{Decimal, quantity};
use crate::trade::bounds::check_floor;
use crate::trade::parts::{self, FloorPart, PlacedPart};
use crate::trade::quote::{Quote, WorkLine};
use crate::trade::rates::FloorClass;
use crate::trade::room::Floor;
use crate::trade::takeoff::{Found, MeasuredRoom};
use crate::trade::{FloorCondition, Layout, OperationId, RoomId, SiteId, Species};

/// A room to be added.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewRoom {
    /// Where it is.
    pub site: SiteId,
    /// Its name; unique at the site.
    pub name: String,
    /// Its shape and parts.
    pub floor: Floor,
    /// What the first cut meets.
    pub condition: FloorCondition,
    /// Parts of its floor in a condition of their own.
    pub parts: Vec<FloorPart>,
    /// The wood.
    pub species: Species,
    /// How the boards lie.
    pub layout: Layout,
    /// Whether it is to be sanded, or only a way through the house.
    pub refinished: bool,
    /// Anything else.
    pub note: String,
}

/// A room.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Room {
    /// Identity.
    pub id: RoomId,
    /// Where it is.
    pub site_id: SiteId,
    /// The site's address.
    pub site: String,
    /// Its name.
    pub name: String,
    /// Its shape and parts.
    pub floor: Floor,
    /// What the first cut meets.
    pub condition: FloorCondition,
    /// Parts of its floor in a condition of their own.
    pub parts: Vec<FloorPart>,
    /// The wood.
    pub species: Species,
    /// How the boards lie.
    pub layout: Layout,
    /// Whether it is to be sanded.
    pub refinished: bool,
    /// Anything else.
    pub note: String,
    /// Its doorways, from this side.
    pub doors: Vec<Door>,
}

impl Room {
    /// Returns the edge that is sanded along: walls less doorways.
    ///
    /// # Errors
    /// Refuses doorways that are wider together than the walls are long.
    pub fn edge(&self) -> Result<Length> {
        if self.floor.steps().is_some() {
            return Ok(Length::ZERO); // Stairs are priced per step: a doorway at their foot takes nothing away.
        }
        let edge = self.floor.edge(self.doors.iter().map(|door| door.width));
        edge.with_context(|| format!("`{}` has no such edge", self.name))
    }

    /// Returns its parts with what they measure.
    ///
    /// # Errors
    /// Refuses doorways that are wider together than the walls are long.
    pub fn placed_parts(&self) -> Result<Vec<PlacedPart>> {
        Ok(parts::placed(&self.parts, &self.floor, self.edge()?)?)
    }
}

impl Ledger {
    /// Returns the rooms in use at a site, in the order they were walked.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn rooms_of(&self, site: SiteId) -> Result<Vec<Room>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT room.id, site_id, site.address AS site, name, shape, floor_condition, parts, species, layout,
                    refinished, room.note
             FROM room JOIN site ON site.id = site_id
             WHERE site_id = :site AND room.voided_on IS NULL
             ORDER BY room.id",
        )?;
        let units = self.units();
        let from_row = |row: &Row<'_>| room_from_row(row, units);
        let rooms = statement.query_and_then(named_params! { ":site": site }, from_row)?;
        let mut rooms: Vec<Room> = rooms.collect::<Result<_>>()?;
        self.add_doors(site, &mut rooms)?;
        Ok(rooms)
    }

    /// Returns a room by `NAME` or `SITE/NAME`: at the site given, else anywhere if the name fits one room only.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn room(&self, name: &str, site: Option<SiteId>) -> Result<Room> {
        let at = |address: &str| self.site(address).map(|site| site.id);
        let (name, site) = at_site(name, site, at);
        if let Some(site) = site {
            return self.room_at(name, site);
        }
        let mut named = Vec::new();
        for site in self.sites()? {
            named.extend(
                self.rooms_of(site.id)?
                    .into_iter()
                    .map(|room| (room.name.clone(), room)),
            );
        }
        let sites: Vec<String> = named
            .iter()
            .filter(|(other, _)| same(other, name))
            .map(|(other, room)| format!("`{}/{other}`", room.site))
            .collect();
        if sites.len() > 1 {
            return Err(
                Refusal::new(format!("`{}` is a room at several sites", name.trim()))
                    .hint(format!("say which: {}", sites.join(", ")))
                    .into(),
            );
        }
        Names::new("room", named).find(name).cloned()
    }

    /// Returns the rooms of a site that a list names, in its order.
    pub(super) fn rooms_named(&self, site: &Site, names: &[String]) -> Result<Vec<Room>> {
        let mut rooms: Vec<Room> = Vec::new();
        for name in names {
            let room = self.room(name, Some(site.id))?;
            if room.site_id != site.id {
                refuse!(
                    "`{}` is at `{}`, not at `{}`",
                    room.name,
                    room.site,
                    site.address
                );
            }
            if rooms.iter().any(|earlier| earlier.id == room.id) {
                refuse!("`{}` is named twice", room.name);
            }
            rooms.push(room);
        }
        Ok(rooms)
    }

    fn room_at(&self, name: &str, site: SiteId) -> Result<Room> {
        self.rooms_by_name(site)?.find(name).cloned()
    }

    /// Returns the rooms in use at a site by their names.
    pub(super) fn rooms_by_name(&self, site: SiteId) -> Result<Names<Room>> {
        let rooms = self.rooms_of(site)?.into_iter();
        let named = rooms.map(|room| (room.name.clone(), room));
        Ok(Names::new("room", named))
    }

    /// Returns rooms as a take-off needs them.
    ///
    /// # Errors
    /// Refuses rooms whose doorways are wider than their walls.
    pub fn measured(&self, rooms: &[Room]) -> Result<Vec<MeasuredRoom>> {
        let Some(first) = rooms.first() else {
            return Ok(Vec::new());
        };
        let findings = self.findings_of(first.site_id)?;
        let answers = self.operations_by_kind()?;
        let measure = |room: &Room| {
            if !room.floor.is_measured() {
                return Err(Refusal::new(format!("`{}` isn't measured", room.name))
                    .hint(measuring_a_room(room))
                    .into());
            }
            let found = || findings.iter().filter(|finding| finding.room_id == room.id);
            Ok(MeasuredRoom {
                id: room.id,
                name: room.name.clone(),
                area: quantity(room.floor.area().square_feet()),
                edge: quantity(room.edge()?.feet()),
                steps: room.floor.steps(),
                class: FloorClass {
                    condition: room.condition,
                    species: room.species,
                },
                parts: parts::measured(&room.placed_parts()?, room.condition),
                findings: found()
                    .filter(|finding| finding.own_contingency().is_none())
                    .map(|finding| Found {
                        kind: finding.kind.clone(),
                        quantity: finding.quantity,
                    })
                    .collect(),
                contingencies: found()
                    .flat_map(|finding| finding.contingencies(&answers))
                    .collect(),
            })
        };
        rooms.iter().map(measure).collect()
    }
}

/// Returns the command that adds a room to a site.
pub fn adding_a_room(site: &str) -> String {
    format!(
        "gritledger room add {} \"ROOM\" --shape \"L x W\" --condition sound-film --species red-oak",
        typed(site)
    )
}

/// Returns the command that makes a way through the house a room that is sanded.
pub fn measuring_a_room(room: &Room) -> String {
    let name = typed(&format!("{}/{}", room.site, room.name));
    format!(
        "gritledger room edit {name} --refinished --shape \"L x W\" --condition sound-film --species red-oak"
    )
}

fn room_from_row(row: &Row<'_>, units: Units) -> Result<Room> {
    let (shape, parts): (String, String) = (row.get("shape")?, row.get("parts")?);
    let refinished: i64 = row.get("refinished")?;
    Ok(Room {
        id: row.get("id")?,
        site_id: row.get("site_id")?,
        site: row.get("site")?,
        name: row.get("name")?,
        // Shape and parts are stored as they were typed: their bare numbers are in the ledger's unit.
        floor: Floor::parse(&shape, units)
            .with_context(|| format!("the stored shape `{shape}` is damaged"))?,
        condition: row.get("floor_condition")?,
        parts: FloorPart::parse_list(&parts, units)
            .with_context(|| format!("the stored parts `{parts}` are damaged"))?,
        species: row.get("species")?,
        layout: row.get("layout")?,
        refinished: refinished == 1,
        note: row.get("note")?,
        doors: Vec::new(),
    })
}

impl Writing<'_> {
    /// Returns a floor as it is kept: as it was typed, if the ledger reads it so.
    fn kept_shape(&self, floor: &Floor) -> String {
        let typed = floor.typed_text();
        floor.clone().as_typed(&typed, self.units()).typed_text()
    }

    /// Adds a room.
    ///
    /// # Errors
    /// Refuses an empty name, one with a `/`, and one that is taken at the site.
    pub fn add_room(&self, room: &NewRoom) -> Result<RoomId> {
        let name = room_name(&self.rooms_by_name(room.site)?, &room.name, |_| false)?;
        self.insert_room(&name, room)
    }

    /// Writes a room down, by a name that is free at its site.
    pub(super) fn insert_room(&self, name: &str, room: &NewRoom) -> Result<RoomId> {
        let NewRoom {
            site,
            name: _,
            floor,
            condition,
            parts,
            species,
            layout,
            refinished,
            note,
        } = room;
        check_measures(name, floor, *refinished, self.units())?;
        parts::check(parts, floor, self.units())?;
        let id = RoomId(self.new_id("room")?);
        self.connection
            .prepare_cached(
                "INSERT INTO room (id, site_id, name, shape, floor_condition, parts, species, layout, refinished, note,
                                   recorded_at)
                 VALUES (:id, :site, :name, :shape, :condition, :parts, :species, :layout, :refinished, :note, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":site": site, ":name": name, ":shape": self.kept_shape(floor), ":condition": condition,
                ":parts": parts::typed_list(parts, self.units()), ":species": species, ":layout": layout, ":refinished": i64::from(*refinished),
                ":note": note, ":now": self.now(),
            })?;
        self.log(&format!("Added room {name}."))?;
        Ok(id)
    }

    /// Changes a room; doorways stay.
    ///
    /// # Errors
    /// Refuses an empty name, and doorways wider than the new walls.
    pub fn edit_room(&self, room: &Room) -> Result<()> {
        let rooms = self.rooms_by_name(room.site_id)?;
        let name = room_name(&rooms, &room.name, |known| known.id == room.id)?;
        let Room {
            id,
            site_id: _,
            site: _,
            name: _,
            floor,
            condition,
            parts,
            species,
            layout,
            refinished,
            note,
            doors: _,
        } = room;
        check_measures(&name, floor, *refinished, self.units())?;
        parts::check(parts, floor, self.units())?;
        room.edge()?;
        self.connection
            .prepare_cached(
                "UPDATE room SET name = :name, shape = :shape, floor_condition = :condition, parts = :parts,
                        species = :species, layout = :layout, refinished = :refinished, note = :note
                 WHERE id = :id",
            )?
            .execute(named_params! {
                ":id": id, ":name": name, ":shape": self.kept_shape(floor), ":condition": condition,
                ":parts": parts::typed_list(parts, self.units()), ":species": species, ":layout": layout, ":refinished": i64::from(*refinished), ":note": note,
            })?;
        self.log(&format!("Changed room {name}."))
    }

    /// Returns the jobs under way that have agreed to do a room as it was before: other measures, parts or conditions.
    ///
    /// # Errors
    /// Fails if the file can't be read, and if its doorways are wider than its walls.
    pub fn measured_otherwise(&self, room: RoomId, site: SiteId) -> Result<Vec<Job>> {
        let mut rooms = self.rooms_of(site)?;
        rooms.retain(|known| known.id == room && known.floor.is_measured());
        let found: Vec<OperationId> = self
            .operations()?
            .into_iter()
            .filter(|operation| operation.answers.is_some())
            .map(|operation| operation.id)
            .collect();
        let mut jobs = Vec::new();
        for now in self.measured(&rooms)? {
            // What is found in a room isn't measured with it.
            let is_measured = |work: &&WorkLine| {
                work.room == Some(room)
                    && work.contingency.is_none()
                    && !found.contains(&work.operation)
            };
            let is_otherwise = |quote: &Quote| {
                let agreed = quote.rooms.iter().find(|agreed| agreed.id == room);
                let class = agreed.map(|agreed| agreed.class);
                quote.work().filter(is_measured).any(|work| {
                    let driver = now.driver_in(work.driver, work.part);
                    let measures = driver.map(|one| quantity(one * Decimal::from(work.passes)));
                    (class, Some(work.quantity)) != (Some(now.class), measures)
                })
            };
            for job in self.jobs_not_closed()? {
                let agreed = self.agreed(&job)?.quotes;
                if agreed.iter().any(|record| is_otherwise(&record.quote)) {
                    jobs.push(job);
                }
            }
        }
        Ok(jobs)
    }

    /// Takes a room out of use.
    ///
    /// # Errors
    /// Refuses a room of a job that isn't closed, and one of a quote that may become one.
    pub fn void_room(&self, room: &Room) -> Result<()> {
        for job in self
            .jobs_not_closed()?
            .iter()
            .filter(|job| job.site_id == room.site_id)
        {
            if self
                .agreed(job)?
                .rooms_to_do()
                .iter()
                .any(|agreed| agreed.id == room.id)
            {
                refuse!(
                    "`{}` is part of {}, which isn't closed",
                    room.name,
                    job.number
                );
            }
        }
        self.refuse_quoted(room.site_id, Some(room.id), &room.name)?;
        self.void_doors(room.id)?;
        self.connection.execute(
            "UPDATE room SET voided_on = :on WHERE id = :id",
            named_params! { ":on": self.today(), ":id": room.id },
        )?;
        self.log(&format!("Took room {} out of use.", room.name))
    }
}

/// Refuses a floor of no size, but for a way through the house that nobody sands.
fn check_measures(name: &str, floor: &Floor, refinished: bool, units: Units) -> Result<()> {
    if floor.is_measured() {
        return Ok(check_floor(floor.area(), units)?);
    }
    if refinished {
        refuse!("`{name}` is to be sanded, so it must be measured");
    }
    Ok(())
}

/// Reads `SITE/NAME`, if there is such a site, as the name of a room there.
pub(super) fn at_site(
    name: &str,
    site: Option<SiteId>,
    find: impl FnOnce(&str) -> Result<SiteId>,
) -> (&str, Option<SiteId>) {
    let elsewhere = name.split_once('/');
    let elsewhere = elsewhere.and_then(|(address, room)| Some((room, find(address).ok()?)));
    elsewhere.map_or((name, site), |(room, site)| (room, Some(site)))
}

/// Returns a room's name as it is kept.
///
/// # Errors
/// Refuses one that another room of the site has, and one that would be read as something else: `SITE/NAME`, a list of
/// rooms, or the way out.
pub(super) fn room_name<T>(
    rooms: &Names<T>,
    text: &str,
    is_own: impl Fn(&T) -> bool,
) -> Result<String> {
    let name = named("room", text)?;
    if let Some(sign) = ['/', ';'].into_iter().find(|sign| name.contains(*sign)) {
        refuse!("a room's name can't hold `{sign}`: `{name}`");
    }
    if name.eq_ignore_ascii_case("outside") {
        refuse!("`{name}` is where doorways lead out: name the room otherwise");
    }
    if rooms.exact(&name).is_some_and(|other| !is_own(other)) {
        refuse!("there is already a room `{name}` at that site");
    }
    Ok(name)
}
