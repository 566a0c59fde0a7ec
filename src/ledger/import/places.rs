//! Bringing in clients, sites, rooms and readings.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

use anyhow::Result;

use super::known::Importing;
use crate::ledger::names::Names;
use crate::ledger::rooms::{at_site, room_name};
use crate::ledger::rows::{Row, Rows};
use crate::ledger::trips::check_distance;
use crate::ledger::{Door, NewClient, NewRoom, NewSite, Refusal, Room, Site};
use crate::measure::{Length, Units, on_the_road};
use crate::money::quantity;
use crate::trade::bounds::is_large;
use crate::trade::parts::FloorPart;
use crate::trade::reading::{Layer, Reading, ReadingError, ReadingKind, Value};
use crate::trade::room::Floor;
use crate::trade::{FloorCondition, Layout, ReadingId, RoomId, SiteId, Species};

/// The rooms of the sites that a file names, as they grow.
#[derive(Debug, Default)]
struct Walked {
    rooms: BTreeMap<RoomId, Room>,
    names: BTreeMap<SiteId, Names<RoomId>>,
}

impl Walked {
    fn add(&mut self, room: Room) {
        if let Some(names) = self.names.get_mut(&room.site_id) {
            names.add(room.name.clone(), room.id);
        }
        self.rooms.insert(room.id, room);
    }

    /// Opens a doorway of a room to another, or outside, if the walls of both are long enough.
    fn open(&mut self, here: RoomId, there: Option<RoomId>, width: Length) -> Result<()> {
        let site = self.rooms.get(&here).map(|room| room.site_id);
        for id in [Some(here), there].into_iter().flatten() {
            let room = self.rooms.get_mut(&id);
            // A room of another site, beyond the door of this one, is measured by itself.
            if let Some(room) = room.filter(|room| Some(room.site_id) == site) {
                room.doors.push(Door {
                    to: None, // Only its width counts here.
                    width,
                    entered_here: id == here,
                });
                room.edge()?;
            }
        }
        Ok(())
    }
}

/// Tells in which units a row has its distance.
pub(super) fn road_of(row: Row<'_>, units: Units) -> Result<Units> {
    let told = row.maybe("distance_unit", |text| match text {
        "mi" => Ok(Units::Us),
        "km" => Ok(Units::Metric),
        _ => Err(format!("`{text}` is not one of its units: mi, km")),
    })?;
    Ok(told.unwrap_or(units))
}

impl Importing<'_> {
    pub(super) fn import_clients(&self, rows: &Rows) -> Result<()> {
        let known = self.clients()?.into_iter();
        let known = known.map(|client| (client.details.name, client.id));
        let mut names = Names::new("client", known);
        for row in rows.iter() {
            let client = NewClient {
                name: row.filled("client")?.to_owned(),
                phone: row.text("phone").to_owned(),
                email: row.text("email").to_owned(),
                address: row.text("address").to_owned(),
                tax_number: row.text("tax_number").to_owned(),
                exempt: row.text("exempt").to_owned(),
                note: row.text("note").to_owned(),
            };
            let name = row.read("client", |name| names.free(name))?;
            let id = self.insert_client(&name, &client)?;
            names.add(name, id);
        }
        Ok(())
    }

    pub(super) fn import_sites(&self, rows: &Rows, units: Units) -> Result<()> {
        let clients = self.clients_by_name()?;
        let known = self.sites()?.into_iter();
        let mut sites = Names::new("site", known.map(|site| (site.address, site.id)));
        for row in rows.iter() {
            let year = |text: &str| {
                text.parse::<i32>()
                    .map_err(|_| format!("`{text}` is not a year"))
            };
            let road = road_of(row, units)?;
            let site = NewSite {
                client: row.find("client", |name| clients.find(name))?.id,
                address: row.filled("site")?.to_owned(),
                year_built: row.maybe("year_built", year)?,
                tax_area: row
                    .maybe("tax_area", |name| self.tax_area(name))?
                    .map(|area| area.id),
                distance: row
                    .number("distance")?
                    .map(|distance| quantity(on_the_road(distance, road, self.units()))),
                note: row.text("note").to_owned(),
            };
            let address = row.read("site", |address| sites.free(address))?;
            self.check_year(site.year_built)
                .map_err(|error| row.wrong("year_built", error))?;
            check_distance(site.distance).map_err(|error| row.wrong("distance", error))?;
            let id = self.insert_site(&address, &site)?;
            sites.add(address, id);
        }
        Ok(())
    }

    /// Rooms first, then their doorways: a doorway may lead to a room further down the file. Returns the doubts about them.
    pub(super) fn import_rooms(&self, rows: &Rows, units: Units) -> Result<Vec<String>> {
        let mut walked = Walked::default();
        let mut added: Vec<(Row<'_>, RoomId)> = Vec::new();
        let mut doubts = Vec::new();
        for row in rows.iter() {
            let site = row.find("site", |name| self.site(name))?;
            let room = self.import_room(row, site, units, &mut walked)?;
            let area = walked.rooms[&room].floor.area();
            if is_large(area) {
                let doubt = format!("{} is a large room", area.text(self.units()));
                doubts.push(row.refusal("shape", doubt).message);
            }
            added.push((row, room));
        }
        for (row, room) in added {
            let doors = row.text("doors").split(';').map(str::trim);
            for door in doors.filter(|door| !door.is_empty()) {
                self.import_door(room, door, units, &mut walked)
                    .map_err(|error| row.wrong("doors", error))?;
            }
        }
        Ok(doubts)
    }

    fn import_room(
        &self,
        row: Row<'_>,
        site: &Site,
        units: Units,
        walked: &mut Walked,
    ) -> Result<RoomId> {
        let mut room = NewRoom {
            site: site.id,
            name: row.filled("room")?.to_owned(),
            floor: row.read("shape", |text| Floor::parse(text, units))?,
            condition: row.word::<FloorCondition>("condition")?,
            parts: row
                .maybe("parts", |text| FloorPart::parse_list(text, units))?
                .unwrap_or_default(),
            species: row.word::<Species>("species")?,
            layout: row
                .maybe("layout", str::parse::<Layout>)?
                .unwrap_or(Layout::Strip),
            refinished: row.truth("refinished", true)?,
            note: row.text("note").to_owned(),
        };
        let names = self.walk(site.id, walked)?;
        room.name = row.read("room", |name| room_name(names, name, |_| false))?;
        let id = self
            .insert_room(&room.name, &room)
            .map_err(|error| row.wrong("room", error))?;
        walked.add(Room {
            id,
            site_id: site.id,
            site: site.address.clone(),
            name: room.name,
            floor: room.floor,
            condition: room.condition,
            parts: room.parts,
            species: room.species,
            layout: room.layout,
            refinished: room.refinished,
            note: room.note,
            doors: Vec::new(),
        });
        Ok(id)
    }

    pub(super) fn import_readings(&self, rows: &Rows, units: Units) -> Result<()> {
        for row in rows.iter() {
            let site = row.find("site", |name| self.site(name))?;
            let room = match row.text("room").trim() {
                "" => None,
                _ => Some(row.find("room", |name| self.room(name, site.id))?),
            };
            let kind = row.word::<ReadingKind>("kind")?;
            let reading = Reading {
                id: ReadingId(0), // Given when it is kept.
                whole_house: room.is_none(),
                kind,
                value: row.read("value", |text| Value::parse(kind, text, units))?,
                layer: row.maybe("layer", str::parse::<Layer>)?,
                place: row.text("place").trim().to_owned(),
                by: row.text("by").trim().to_owned(),
                on: row.date("date", self.today())?,
            };
            reading.check().map_err(|error| {
                let column = match error {
                    ReadingError::Nobody(_) => "by",
                    ReadingError::WholeHouse => "room",
                    _ => "layer",
                };
                row.wrong(column, error)
            })?;
            self.as_of(reading.on, || {
                self.insert_reading(site, room.as_ref(), &reading)
            })?;
        }
        Ok(())
    }

    /// Returns the names of the rooms at a site, those of the file included; the others are read when it is named first.
    fn walk<'w>(&self, site: SiteId, walked: &'w mut Walked) -> Result<&'w Names<RoomId>> {
        match walked.names.entry(site) {
            Entry::Occupied(known) => Ok(known.into_mut()),
            Entry::Vacant(new) => {
                let rooms = self.rooms_of(site)?;
                let named = rooms.iter().map(|room| (room.name.clone(), room.id));
                let names = new.insert(Names::new("room", named));
                walked
                    .rooms
                    .extend(rooms.into_iter().map(|room| (room.id, room)));
                Ok(names)
            }
        }
    }

    fn import_door(
        &self,
        room: RoomId,
        door: &str,
        units: Units,
        walked: &mut Walked,
    ) -> Result<()> {
        let Some((to, width)) = door.rsplit_once(':') else {
            return Err(
                Refusal::new(format!("`{door}` is not a doorway like `outside:2'8\"`")).into(),
            );
        };
        let other = if to.trim().eq_ignore_ascii_case("outside") {
            None
        } else {
            let home = walked.rooms.get(&room).map(|room| room.site_id);
            let at = |address: &str| self.site(address).map(|site| site.id);
            match at_site(to, home, at) {
                (name, Some(site)) => Some(*self.walk(site, walked)?.find(name)?),
                (_, None) => None,
            }
        };
        let width = Length::parse(width, units)?;
        self.insert_door(room, other, width)?;
        walked.open(room, other, width)
    }
}
