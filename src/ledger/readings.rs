//! Readings at a site, and what its floors say by them.

use std::fmt;

use anyhow::Result;
use rusqlite::{Row, named_params};

use super::{Finding, Job, Ledger, QuoteRecord, Refusal, Room, Site, Writing, typed};
use crate::measure::Units;
use crate::money::Decimal;
use crate::trade::reading::{Reading, ReadingKind, Value};
use crate::trade::sandable::{Facts, Judgement, PROUD_NAILS, Question, Verdict, judge};
use crate::trade::{OperationId, ReadingId, RoomId, SiteId};

/// A reading, and where it was taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlacedReading {
    /// The reading.
    pub reading: Reading,
    /// The room; `None`: the whole house.
    pub room: Option<(RoomId, String)>,
}

/// A room, and what its floor says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JudgedRoom {
    /// The room.
    pub id: RoomId,
    /// Its name.
    pub name: String,
    /// The site's address.
    pub site: String,
    /// What its floor says.
    pub judgement: Judgement,
    /// What was read in it or of the house.
    pub readings: Vec<PlacedReading>,
}

/// A room that isn't to be ground, since it holds asbestos or lead, or is presumed to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Barred {
    /// The room's name.
    pub room: String,
    /// Why.
    pub because: String,
    /// The command that says what is known of its floor.
    pub check: String,
}

impl fmt::Display for Barred {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "`{}` isn't sanded: {}", self.room, self.because)
    }
}

/// Readings that count, in the order they were noted.
const READINGS: &str = "
    SELECT reading.id, room_id, room.name AS room, kind, value, layer, place, by_whom, happened_on
    FROM reading
    LEFT JOIN room ON room.id = room_id
    WHERE NOT EXISTS (SELECT 1 FROM reading_void WHERE reading_id = reading.id) AND room.voided_on IS NULL";

impl Ledger {
    /// Returns the readings at a site that count, in the order they were noted.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn readings_of(&self, site: SiteId) -> Result<Vec<PlacedReading>> {
        let sql = format!("{READINGS} AND reading.site_id = :site ORDER BY reading.id");
        let mut statement = self.connection.prepare_cached(&sql)?;
        let readings =
            statement.query_and_then(named_params! { ":site": site }, placed_from_row)?;
        readings.collect()
    }

    /// Returns a reading that counts.
    fn reading(&self, id: ReadingId) -> Result<PlacedReading> {
        let sql = format!("{READINGS} AND reading.id = :id");
        let mut statement = self.connection.prepare_cached(&sql)?;
        let mut found = statement.query_and_then(named_params! { ":id": id }, placed_from_row)?;
        match found.next() {
            Some(reading) => reading,
            None => Err(Refusal::new(format!("no reading {}", id.0))
                .hint("gritledger reading list SITE")
                .into()),
        }
    }

    /// Returns what the floors of rooms at a site say.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn judged(&self, site: &Site, rooms: &[Room]) -> Result<Vec<JudgedRoom>> {
        let (readings, findings) = (self.readings_of(site.id)?, self.findings_of(site.id)?);
        let (limits, units) = (self.sanding_limits()?, self.units());
        let judged = rooms.iter().map(|room| {
            let parts = room.parts.iter().map(|part| part.condition);
            let conditions: Vec<_> = std::iter::once(room.condition).chain(parts).collect();
            let mut own = readings.clone();
            own.retain(|placed| placed.room.as_ref().is_none_or(|(id, _)| *id == room.id));
            let facts = Facts {
                year_built: site.year_built,
                conditions: &conditions,
                layout: room.layout,
                proud_nails: proud_nails(&findings, room.id),
                readings: own.iter().map(|placed| &placed.reading).collect(),
            };
            JudgedRoom {
                id: room.id,
                name: room.name.clone(),
                site: room.site.clone(),
                judgement: judge(&facts, &limits, units),
                readings: own,
            }
        });
        Ok(judged.collect())
    }

    /// Returns what the floors say that a quote is about, as far as its work asks them: what is only coated keeps its wood,
    /// and proud nails are set by the work that answers them.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn judged_for(&self, record: &QuoteRecord) -> Result<Vec<JudgedRoom>> {
        let Some(site) = self.site_in_use(record.header.site_id)? else {
            return Ok(Vec::new());
        };
        let mut rooms = self.rooms_of(site.id)?;
        rooms.retain(|room| record.does(room.id));
        let mut judged = self.judged(&site, &rooms)?;
        let is_sanded = record.quote.sequence.is_some();
        for room in &mut judged {
            room.judgement.rows.retain(|row| match row.question {
                Question::Asbestos | Question::Lead | Question::Air => true,
                Question::Wood | Question::Boards | Question::Subfloor | Question::Cupping => {
                    is_sanded
                }
                Question::Nails => false,
            });
        }
        Ok(judged)
    }

    /// Sorts the rooms that a quote cuts: those that hold asbestos or lead, or are presumed to, and the names of the others.
    fn barred_rooms(&self, record: &QuoteRecord) -> Result<(Vec<Barred>, Vec<String>)> {
        let operations = self.operations()?;
        let cuts = |id: OperationId| {
            let mut known = operations.iter().filter(|known| known.id == id);
            known.any(|operation| operation.grit.is_some())
        };
        let is_cut = |room: RoomId| {
            let mut work = record.quote.work();
            work.any(|work| {
                work.room == Some(room) && work.quantity > Decimal::ZERO && cuts(work.operation)
            })
        };
        let (mut barred, mut others) = (Vec::new(), Vec::new());
        for room in self
            .judged_for(record)?
            .into_iter()
            .filter(|room| is_cut(room.id))
        {
            let mut rows = room.judgement.rows.into_iter();
            let hazard = rows.find(|row| {
                matches!(row.question, Question::Asbestos | Question::Lead)
                    && row.verdict == Verdict::DontSand
            });
            match hazard {
                Some(row) => barred.push(Barred {
                    check: format!(
                        "gritledger room check {}",
                        typed(&format!("{}/{}", room.site, room.name))
                    ),
                    room: room.name,
                    because: format!("{}: {}", row.question, row.because),
                }),
                None => others.push(room.name),
            }
        }
        Ok((barred, others))
    }

    /// Returns the rooms that a quote would cut, and that hold asbestos or lead or are presumed to.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn barred_by(&self, record: &QuoteRecord) -> Result<Vec<Barred>> {
        Ok(self.barred_rooms(record)?.0)
    }

    /// Returns the rooms of a job that would be cut, and that hold asbestos or lead by what was read since it was agreed.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn barred_of(&self, job: &Job) -> Result<Vec<Barred>> {
        let mut barred: Vec<Barred> = Vec::new();
        // Nothing is presumed of a floor at which nobody has looked.
        if job.is_over() || self.readings_of(job.site_id)?.is_empty() {
            return Ok(barred);
        }
        for record in &self.agreed(job)?.quotes {
            for room in self.barred_rooms(record)?.0 {
                if !barred.contains(&room) {
                    barred.push(room);
                }
            }
        }
        Ok(barred)
    }

    /// Refuses work that would grind what holds asbestos or lead, or is presumed to.
    ///
    /// # Errors
    /// Says where it is, and how the rest can be quoted.
    pub fn refuse_hazards(&self, record: &QuoteRecord) -> Result<()> {
        let (barred, others) = self.barred_rooms(record)?;
        let Some(first) = barred.into_iter().next() else {
            return Ok(());
        };
        let refusal = Refusal::new(first.to_string()).hint(first.check);
        if others.is_empty() {
            return Err(refusal.into());
        }
        let site = self.address_of(record.header.site_id)?;
        let rooms = others.iter().map(|room| format!(" --room {}", typed(room)));
        let (site, rooms) = (typed(&site), rooms.collect::<String>());
        let without = match record.quote.terms.own {
            true => format!("gritledger job own {site}{rooms}"),
            false => {
                let number = &record.header.number;
                format!("gritledger quote draft {site} --revises {number}{rooms}")
            }
        };
        Err(refusal.hint(without).into())
    }
}

/// Returns how many proud nails were found in a room; `None`: none was noted.
fn proud_nails(findings: &[Finding], room: RoomId) -> Option<Decimal> {
    let nails = findings.iter();
    let nails = nails.filter(|found| found.room_id == room && found.kind == PROUD_NAILS);
    nails
        .map(|found| found.quantity)
        .reduce(|one, other| one + other)
}

fn placed_from_row(row: &Row<'_>) -> Result<PlacedReading> {
    let kind: ReadingKind = row.get("kind")?;
    let value: String = row.get("value")?;
    let room: Option<RoomId> = row.get("room_id")?;
    let name: Option<String> = row.get("room")?;
    let reading = Reading {
        id: row.get("id")?,
        whole_house: room.is_none(),
        kind,
        value: Value::parse(kind, &value, Units::Us)?,
        layer: row.get("layer")?,
        place: row.get("place")?,
        by: row.get("by_whom")?,
        on: row.get("happened_on")?,
    };
    Ok(PlacedReading {
        reading,
        room: room.zip(name),
    })
}

impl Writing<'_> {
    /// Notes what was read in a room, or in the whole house; its id is given to it.
    ///
    /// # Errors
    /// Refuses a test without its layer or tester, and a day that hasn't come.
    pub fn add_reading(
        &self,
        site: &Site,
        room: Option<&Room>,
        reading: &Reading,
    ) -> Result<PlacedReading> {
        reading.check()?;
        self.refuse_future(reading.on)?;
        let id = self.insert_reading(site, room, reading)?;
        let place = room.map_or(&site.address, |room| &room.name);
        self.log(&format!("Noted {} in {place}.", reading.kind))?;
        self.reading(id)
    }

    pub(super) fn insert_reading(
        &self,
        site: &Site,
        room: Option<&Room>,
        reading: &Reading,
    ) -> Result<ReadingId> {
        let id = ReadingId(self.new_id("reading")?);
        self.connection
            .prepare_cached(
                "INSERT INTO reading (id, site_id, room_id, kind, value, layer, place, by_whom, happened_on, recorded_at)
                 VALUES (:id, :site, :room, :kind, :value, :layer, :place, :by, :on, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":site": site.id, ":room": room.map(|room| room.id), ":kind": reading.kind,
                ":value": reading.value.exact_text(), ":layer": reading.layer, ":place": reading.place,
                ":by": reading.by, ":on": reading.on, ":now": self.now(),
            })?;
        Ok(id)
    }

    /// Takes a reading back.
    ///
    /// # Errors
    /// Refuses one that isn't there.
    pub fn void_reading(&self, id: ReadingId, reason: &str) -> Result<PlacedReading> {
        let placed = self.reading(id)?;
        self.connection.execute(
            "INSERT INTO reading_void (id, reading_id, reason, happened_on, recorded_at)
             VALUES (:id, :reading, :reason, :today, :now)",
            named_params! {
                ":id": self.new_id("reading_void")?, ":reading": id, ":reason": reason.trim(), ":today": self.today(),
                ":now": self.now(),
            },
        )?;
        self.log(&format!(
            "Took reading {} ({}) back.",
            id.0, placed.reading.kind
        ))?;
        Ok(placed)
    }
}
