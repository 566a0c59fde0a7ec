//! Doorways: the openings of a room, and which rooms they join.

use anyhow::Result;
use rusqlite::named_params;

use super::columns::Nanometres;
use super::{Ledger, Room, Writing, refuse};
use crate::measure::Length;
use crate::trade::{RoomId, SiteId};

/// A doorway, seen from one room.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Door {
    /// The room beyond; `None`: outside.
    pub to: Option<(RoomId, String)>,
    /// The width of the opening.
    pub width: Length,
    /// Whether it was entered with this room (it is then exported with it).
    pub entered_here: bool,
}

impl Ledger {
    pub(super) fn add_doors(&self, site: SiteId, rooms: &mut [Room]) -> Result<()> {
        let mut statement = self.connection.prepare_cached(
            "SELECT doorway.room_id, doorway.other_room_id, width_nm
             FROM doorway JOIN room ON room.id = doorway.room_id
             WHERE room.site_id = :site AND doorway.voided_on IS NULL AND room.voided_on IS NULL
             ORDER BY doorway.id",
        )?;
        let doors = statement.query_map(named_params! { ":site": site }, |row| {
            let width: Nanometres = row.get("width_nm")?;
            Ok((row.get("room_id")?, row.get("other_room_id")?, width.0))
        })?;
        for door in doors {
            let (here, there, width): (RoomId, Option<RoomId>, Length) = door?;
            let name_of = |id: RoomId| {
                rooms
                    .iter()
                    .find(|room| room.id == id)
                    .map(|room| (id, room.name.clone()))
            };
            let (beyond, from) = (there.and_then(name_of), name_of(here));
            if there.is_some() && beyond.is_none() {
                continue; // The room beyond is no longer in use.
            }
            for room in rooms.iter_mut() {
                if room.id == here {
                    room.doors.push(Door {
                        to: beyond.clone(),
                        width,
                        entered_here: true,
                    });
                } else if Some(room.id) == there {
                    room.doors.push(Door {
                        to: from.clone(),
                        width,
                        entered_here: false,
                    });
                }
            }
        }
        Ok(())
    }
}

impl Writing<'_> {
    /// Adds a doorway between a room and another, or outside.
    ///
    /// # Errors
    /// Refuses openings that are wider together than either room's walls are long.
    pub fn add_door(&self, room: RoomId, other: Option<RoomId>, width: Length) -> Result<()> {
        self.insert_door(room, other, width)?;
        let site =
            self.connection
                .query_row("SELECT site_id FROM room WHERE id = ?1", [room], |row| {
                    row.get(0)
                })?;
        for changed in self
            .rooms_of(site)?
            .iter()
            .filter(|changed| changed.id == room || Some(changed.id) == other)
        {
            changed.edge()?;
        }
        Ok(())
    }

    /// Writes a doorway down; whether the walls are long enough for it is still to be seen.
    pub(super) fn insert_door(
        &self,
        room: RoomId,
        other: Option<RoomId>,
        width: Length,
    ) -> Result<()> {
        if other == Some(room) {
            refuse!("a doorway leads to another room");
        }
        self.connection
            .prepare_cached("INSERT INTO doorway (id, room_id, other_room_id, width_nm) VALUES (:id, :room, :other, :width)")?
            .execute(named_params! {
                ":id": self.new_id("doorway")?, ":room": room, ":other": other, ":width": Nanometres(width),
            })?;
        Ok(())
    }

    /// Takes the doorways of a room out of use, before it gets others.
    ///
    /// # Errors
    /// Fails if the file can't be written.
    pub fn void_doors(&self, room: RoomId) -> Result<()> {
        self.connection.execute(
            "UPDATE doorway SET voided_on = :on WHERE voided_on IS NULL AND (room_id = :room OR other_room_id = :room)",
            named_params! { ":on": self.today(), ":room": room },
        )?;
        Ok(())
    }
}
