//! Do clients, sites, rooms, doorways and findings belong together, and can they be read?

use anyhow::Result;

use super::{Ledger, Problems};
use crate::ledger::columns::{Micro, Nanometres};
use crate::measure::Units;
use crate::money::quantity;
use crate::trade::Unit;
use crate::trade::operation::Driver;
use crate::trade::reading::{ReadingKind, Value};
use crate::trade::room::Floor;

impl Ledger {
    pub(super) fn check_places(&self, problems: &mut Problems) -> Result<()> {
        self.each_that(problems, "SELECT name, shape FROM room", |row| {
            let (name, shape): (String, String) = (row.get("name")?, row.get("shape")?);
            let read = Floor::parse(&shape, self.units());
            Ok(read
                .err()
                .map(|error| format!("room `{name}`: its shape `{shape}` can't be read ({error})")))
        })?;
        self.each(
            problems,
            "SELECT room.name, other.name FROM doorway
             JOIN room ON room.id = room_id JOIN room AS other ON other.id = other_room_id
             WHERE room.site_id <> other.site_id",
            |row| {
                let (one, other): (String, String) = (row.get(0)?, row.get(1)?);
                Ok(format!(
                    "doorway between `{one}` and `{other}`: they are at two sites"
                ))
            },
        )?;
        // A room keeps what was found in it, and a site its rooms, when they are taken out of use; a doorway goes with its
        // room, and a client with a site in use stays.
        self.each(
            problems,
            "SELECT site.address FROM site JOIN client ON client.id = client_id
             WHERE site.voided_on IS NULL AND client.voided_on IS NOT NULL",
            |row| {
                let address: String = row.get(0)?;
                Ok(format!(
                    "site `{address}`: it is in use, and its client isn't"
                ))
            },
        )?;
        self.each(
            problems,
            "SELECT room.name FROM doorway JOIN room ON room.id IN (room_id, other_room_id)
             WHERE doorway.voided_on IS NULL AND room.voided_on IS NOT NULL",
            |row| {
                let name: String = row.get(0)?;
                Ok(format!(
                    "doorway of `{name}`: it is in use, and the room isn't"
                ))
            },
        )?;
        self.check_findings(problems)?;
        self.check_readings(problems)?;
        self.each_that(
            problems,
            "SELECT finding.kind, room.name, quantity_micro, sum(length_nm) FROM finding
             JOIN finding_piece ON finding_id = finding.id JOIN room ON room.id = room_id GROUP BY finding.id",
            |row| {
                let (kind, room): (String, String) = (row.get(0)?, row.get(1)?);
                let (Micro(found), Nanometres(pieces)) = (row.get(2)?, row.get(3)?);
                let feet = quantity(pieces.feet());
                Ok((found != feet).then(|| {
                    format!(
                        "finding in `{room}`: {} ft of {kind}, and its pieces are {} ft",
                        found.normalize(),
                        feet.normalize()
                    )
                }))
            },
        )
    }

    /// A reading can be read, and its room is at its site.
    fn check_readings(&self, problems: &mut Problems) -> Result<()> {
        self.each_that(problems, "SELECT id, kind, value FROM reading", |row| {
            let (id, kind): (i64, ReadingKind) = (row.get("id")?, row.get("kind")?);
            let value: String = row.get("value")?;
            let read = Value::parse(kind, &value, Units::Us);
            Ok(read
                .err()
                .map(|error| format!("reading {id}: it can't be read ({error})")))
        })?;
        self.each(
            problems,
            "SELECT reading.id FROM reading JOIN room ON room.id = room_id WHERE room.site_id <> reading.site_id",
            |row| {
                let id: i64 = row.get(0)?;
                Ok(format!("reading {id}: its room is at another site"))
            },
        )
    }

    /// A finding in use is of a kind that an operation answers, counted as that operation is.
    fn check_findings(&self, problems: &mut Problems) -> Result<()> {
        let operations = self.operations()?;
        self.each_that(
            problems,
            "SELECT finding.kind, finding.unit, room.name FROM finding JOIN room ON room.id = room_id
             WHERE finding.voided_on IS NULL AND room.voided_on IS NULL",
            |row| {
                let (kind, unit, room): (String, Unit, String) =
                    (row.get(0)?, row.get(1)?, row.get(2)?);
                let mut answers = operations.iter();
                let Some(answer) = answers.find(|known| known.answers.as_ref() == Some(&kind)) else {
                    return Ok(Some(format!(
                        "finding in `{room}`: no operation puts `{kind}` right"
                    )));
                };
                let counted = match answer.driver {
                    Driver::Area => Unit::SquareFoot,
                    Driver::Edge | Driver::Length => Unit::Foot,
                    Driver::Count | Driver::Room | Driver::Job => Unit::Each,
                };
                Ok((unit != counted).then(|| {
                    format!("finding in `{room}`: {kind} is counted in {counted}, not in {unit}")
                }))
            },
        )
    }
}
