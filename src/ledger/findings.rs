//! Findings: what the walk-through found in a room, and what may turn up there.

use std::collections::BTreeMap;

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::{OptionalExtension, named_params};

use super::columns::{Micro, Nanometres};
use super::{Job, Ledger, Refusal, Room, Writing, refuse};
use crate::measure::{Length, SQUARE_METRES_PER_SQUARE_FOOT, Units};
use crate::money::{Decimal, plain, quantity};
use crate::trade::bounds::MOST_FOUND;
use crate::trade::operation::Driver;
use crate::trade::takeoff::{Contingency, MayTurnUp};
use crate::trade::{FindingId, OperationId, RoomId, SiteId, Unit};

/// Something the walk-through found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Identity.
    pub id: FindingId,
    /// Where.
    pub room_id: RoomId,
    /// The room's name.
    pub room: String,
    /// The kind, such as `proud-nails`.
    pub kind: String,
    /// Count, feet or square feet; the least of it, if that isn't known.
    pub quantity: Decimal,
    /// The most there may be; `None`: just the quantity.
    pub most: Option<Decimal>,
    /// The unit of the quantity.
    pub unit: Unit,
    /// The pieces that it was measured in, if it was.
    pub pieces: Vec<Length>,
    /// How likely it turns up, or takes more, as a fraction of one; `None`: it is sure.
    pub chance: Option<Decimal>,
    /// What it takes beside its answer, with that chance.
    pub if_so: Option<IfSo>,
    /// Where in the room.
    pub place: String,
    /// Anything else.
    pub note: String,
    /// Whether what has the chance turned up; `None`: not known, or it is sure.
    pub turned_up: Option<bool>,
}

/// What a finding may take beside its answer: a stain that doesn't come out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct IfSo {
    /// What would have to be done.
    pub operation: OperationId,
    /// Its name.
    pub name: String,
    /// The least of it.
    pub low: Decimal,
    /// The most of it.
    pub high: Decimal,
    /// The unit of both.
    pub unit: Unit,
}

/// A finding to be noted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewFinding {
    /// The kind, such as `proud-nails`.
    pub kind: String,
    /// Count, feet or square feet; the least of it, if that isn't known.
    pub quantity: Decimal,
    /// The most there may be; `None`: just the quantity.
    pub most: Option<Decimal>,
    /// The unit of the quantity.
    pub unit: Unit,
    /// The pieces that it was measured in, if it was.
    pub pieces: Vec<Length>,
    /// How likely it turns up, or takes more, as a fraction of one; `None`: it is sure.
    pub chance: Option<Decimal>,
    /// What it takes beside its answer, with that chance: operation, and from how much to how much.
    pub if_so: Option<(OperationId, Decimal, Decimal)>,
    /// Where in the room.
    pub place: String,
    /// Anything else.
    pub note: String,
}

/// How often work that may turn up did so, of all findings of which somebody said it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TurnedUp {
    /// What would have to be done.
    pub operation: String,
    /// How often it turned up.
    pub turned_up: u32,
    /// Of how many.
    pub answered: u32,
    /// How likely it was on the mean, as a fraction of one.
    pub chance: Decimal,
}

impl Finding {
    /// Returns what may turn up because of it, by the operations that answer the kinds of findings.
    pub(super) fn contingencies(
        &self,
        answers: &BTreeMap<String, OperationId>,
    ) -> impl Iterator<Item = MayTurnUp> {
        let own = self.own_contingency().and_then(|contingency| {
            Some(MayTurnUp {
                operation: *answers.get(&self.kind)?,
                contingency,
            })
        });
        own.into_iter().chain(self.if_so_contingency())
    }

    /// Returns how likely the finding itself is and how much of it there is; `None`: both are sure.
    pub(super) fn own_contingency(&self) -> Option<Contingency> {
        let chance = match self.if_so {
            Some(_) => None, // The finding is there; the chance is that of more.
            None => self.chance,
        };
        (chance.is_some() || self.most.is_some()).then(|| Contingency {
            chance: chance.unwrap_or(Decimal::ONE),
            low: self.quantity,
            high: self.most.unwrap_or(self.quantity),
        })
    }

    /// Returns what it may take beside its answer.
    fn if_so_contingency(&self) -> Option<MayTurnUp> {
        let (if_so, chance) = (self.if_so.as_ref()?, self.chance?);
        Some(MayTurnUp {
            operation: if_so.operation,
            contingency: Contingency {
                chance,
                low: if_so.low,
                high: if_so.high,
            },
        })
    }
}

impl Ledger {
    /// Returns what was found in the rooms of a site, in the order it was noted.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn findings_of(&self, site: SiteId) -> Result<Vec<Finding>> {
        self.findings_at(site, None)
    }

    /// Returns what was found at a site and is in use, then what was so on a day.
    fn findings_at(&self, site: SiteId, on: Option<NaiveDate>) -> Result<Vec<Finding>> {
        let mut pieces = self.pieces_of(site)?;
        let mut statement = self.connection.prepare_cached(
            "SELECT finding.id, room_id, room.name AS room, kind, quantity_micro, most_micro, unit, chance_micro,
                    if_so_operation_id, operation.name AS if_so, operation.driver AS if_so_driver, if_so_low_micro,
                    if_so_high_micro, place, finding.note, turned_up
             FROM finding JOIN room ON room.id = room_id
             LEFT JOIN operation ON operation.id = if_so_operation_id
             WHERE room.site_id = :site
                   AND ((finding.voided_on IS NULL AND room.voided_on IS NULL) OR finding.voided_on >= :on)
             ORDER BY finding.voided_on IS NOT NULL, finding.id",
        )?;
        let of_site = named_params! { ":site": site, ":on": on };
        let findings = statement.query_map(of_site, |row| {
            let quantity: Micro = row.get("quantity_micro")?;
            let micro = |column: &str| {
                Ok::<_, rusqlite::Error>(row.get::<_, Option<Micro>>(column)?.map(|micro| micro.0))
            };
            let if_so = match row.get::<_, Option<OperationId>>("if_so_operation_id")? {
                Some(operation) => Some(IfSo {
                    operation,
                    name: row.get("if_so")?,
                    low: row.get::<_, Micro>("if_so_low_micro")?.0,
                    high: row.get::<_, Micro>("if_so_high_micro")?.0,
                    unit: row.get::<_, Driver>("if_so_driver")?.unit(),
                }),
                None => None,
            };
            let id = row.get("id")?;
            Ok(Finding {
                id,
                pieces: pieces.remove(&id).unwrap_or_default(),
                room_id: row.get("room_id")?,
                room: row.get("room")?,
                kind: row.get("kind")?,
                quantity: quantity.0,
                most: micro("most_micro")?,
                unit: row.get("unit")?,
                chance: micro("chance_micro")?,
                if_so,
                place: row.get("place")?,
                note: row.get("note")?,
                turned_up: row.get("turned_up")?,
            })
        })?;
        Ok(findings.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns a finding that is in use, and its site.
    ///
    /// # Errors
    /// Refuses one that isn't there.
    pub fn finding(&self, id: FindingId) -> Result<(Finding, SiteId)> {
        let site: Option<SiteId> = self
            .connection
            .prepare_cached(
                "SELECT site_id FROM finding JOIN room ON room.id = room_id WHERE finding.id = :id",
            )?
            .query_row(named_params! { ":id": id }, |row| row.get(0))
            .optional()?;
        let findings = site.map(|site| self.findings_of(site)).transpose()?;
        let mut findings = findings.unwrap_or_default().into_iter();
        match (findings.find(|finding| finding.id == id), site) {
            (Some(finding), Some(site)) => Ok((finding, site)),
            _ => Err(no_finding(id).into()),
        }
    }

    /// Returns the operations that answer kinds of findings.
    pub(super) fn operations_by_kind(&self) -> Result<BTreeMap<String, OperationId>> {
        let operations = self.operations()?.into_iter();
        let answers = operations.filter_map(|operation| Some((operation.answers?, operation.id)));
        Ok(answers.collect())
    }

    /// Returns the findings that a job was agreed on without being sure of them, as far as nobody has said whether they
    /// turned up, each with the name of what would have to be done.
    ///
    /// A line is that of a finding in its room with the same chance and extent. What was changed or voided since the quote
    /// was drafted is one of them, too: its chance is the one that was quoted.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn unanswered(&self, job: &Job) -> Result<Vec<(Finding, String)>> {
        let (agreed, answers) = (self.agreed(job)?, self.operations_by_kind()?);
        let Some(first) = agreed.quotes.first() else {
            return Ok(Vec::new());
        };
        let mut findings = self.findings_at(job.site_id, Some(first.header.drafted_on))?;
        // Of those that are alike, what is answered comes first, so that it isn't asked about again; then what is in use.
        findings.sort_by_key(|finding| finding.turned_up.is_none());
        let mut unanswered = Vec::new();
        for work in agreed.quotes.iter().flat_map(|record| record.quote.work()) {
            let Some(may) = work.contingency.filter(|may| may.chance < Decimal::ONE) else {
                continue;
            };
            let is_of = |finding: &Finding| {
                let all = finding.contingencies(&answers);
                let mut alike = all.filter(|known| known.contingency == may);
                work.room == Some(finding.room_id)
                    && alike.any(|known| known.operation == work.operation)
            };
            let Some(place) = findings.iter().position(is_of) else {
                continue;
            };
            let finding = findings.remove(place);
            if finding.turned_up.is_none() {
                unanswered.push((finding, work.name.clone()));
            }
        }
        Ok(unanswered)
    }

    /// Returns how often work that may turn up did so, by its name.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn turned_up(&self) -> Result<Vec<TurnedUp>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT COALESCE(operation.name, kind) AS name, SUM(turned_up) AS turned_up, COUNT(*) AS answered,
                    SUM(chance_micro) AS chance_micro
             FROM finding LEFT JOIN operation ON operation.id = COALESCE(
                 if_so_operation_id, (SELECT id FROM operation AS answer WHERE answer.answers = finding.kind))
             WHERE turned_up IS NOT NULL GROUP BY name ORDER BY name",
        )?;
        let all = statement.query_map([], |row| {
            let (answered, chances): (u32, Micro) =
                (row.get("answered")?, row.get("chance_micro")?);
            Ok(TurnedUp {
                operation: row.get("name")?,
                turned_up: row.get("turned_up")?,
                answered,
                chance: chances.0 / Decimal::from(answered),
            })
        })?;
        Ok(all.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the pieces that findings in a room were measured in which an operation answers.
    pub(super) fn pieces_in(&self, room: RoomId, operation: OperationId) -> Result<Vec<Length>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT length_nm FROM finding_piece JOIN finding ON finding.id = finding_id
             JOIN operation ON operation.answers = finding.kind
             WHERE room_id = :room AND operation.id = :operation AND finding.voided_on IS NULL
             ORDER BY finding_piece.id",
        )?;
        let pieces = statement.query_map(
            named_params! { ":room": room, ":operation": operation },
            |row| Ok(row.get::<_, Nanometres>("length_nm")?.0),
        )?;
        Ok(pieces.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the pieces that findings at a site were measured in, in their order.
    fn pieces_of(&self, site: SiteId) -> Result<BTreeMap<FindingId, Vec<Length>>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT finding_id, length_nm FROM finding_piece JOIN finding ON finding.id = finding_id
             JOIN room ON room.id = room_id WHERE room.site_id = :site ORDER BY finding_piece.id",
        )?;
        let mut rows = statement.query(named_params! { ":site": site })?;
        let mut pieces: BTreeMap<FindingId, Vec<Length>> = BTreeMap::new();
        while let Some(row) = rows.next()? {
            let of_finding = pieces.entry(row.get("finding_id")?).or_default();
            of_finding.push(row.get::<_, Nanometres>("length_nm")?.0);
        }
        Ok(pieces)
    }
}

impl Writing<'_> {
    /// Notes a finding.
    ///
    /// # Errors
    /// Refuses more than a room holds, a range that ends below its beginning, and a chance that isn't one.
    pub fn add_finding(&self, room: &Room, found: &NewFinding) -> Result<FindingId> {
        let ranges = [
            Some((found.quantity, found.most.unwrap_or(found.quantity))),
            found.if_so.map(|(_, low, high)| (low, high)),
        ];
        for (low, high) in ranges.into_iter().flatten() {
            if high > MOST_FOUND {
                refuse!(
                    "`{}` is more than a room holds: {MOST_FOUND} at most",
                    high.normalize()
                );
            }
            if high < low {
                refuse!(
                    "from {} to {} is no range: the least comes first",
                    low.normalize(),
                    high.normalize()
                );
            }
        }
        let area = quantity(room.floor.area().square_feet());
        let most = found.most.unwrap_or(found.quantity).max(found.quantity);
        if found.unit == Unit::SquareFoot && most > area {
            let told = |square_feet: Decimal| match self.units() {
                Units::Us => format!("{} sq ft", plain(square_feet, 2)),
                Units::Metric => {
                    format!(
                        "{} m²",
                        plain(square_feet * SQUARE_METRES_PER_SQUARE_FOOT, 2)
                    )
                }
            };
            refuse!(
                "{} of {} is more than the {} of `{}`",
                told(most),
                found.kind,
                told(area),
                room.name
            );
        }
        if let Some(chance) = found.chance
            && (chance <= Decimal::ZERO || chance > Decimal::ONE)
        {
            refuse!(
                "`{} %` is not a chance between 0 and 100 %",
                (chance * Decimal::ONE_HUNDRED).normalize()
            );
        }
        let most = found.most.filter(|most| *most > found.quantity);
        let id = FindingId(self.new_id("finding")?);
        self.connection
            .prepare_cached(
                "INSERT INTO finding (id, room_id, kind, quantity_micro, most_micro, unit, chance_micro,
                                      if_so_operation_id, if_so_low_micro, if_so_high_micro, place, note, recorded_at)
                 VALUES (:id, :room, :kind, :quantity, :most, :unit, :chance, :if_so, :low, :high, :place, :note, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":room": room.id, ":kind": found.kind, ":quantity": Micro(found.quantity),
                ":most": most.map(Micro), ":unit": found.unit, ":chance": found.chance.map(Micro),
                ":if_so": found.if_so.map(|(operation, ..)| operation),
                ":low": found.if_so.map(|(_, low, _)| Micro(low)), ":high": found.if_so.map(|(_, _, high)| Micro(high)),
                ":place": found.place, ":note": found.note, ":now": self.now(),
            })?;
        for piece in &found.pieces {
            self.connection
                .prepare_cached("INSERT INTO finding_piece (id, finding_id, length_nm) VALUES (:id, :finding, :length)")?
                .execute(named_params! { ":id": self.new_id("finding_piece")?, ":finding": id, ":length": Nanometres(*piece) })?;
        }
        self.log(&format!("Noted {} in {}.", found.kind, room.name))?;
        Ok(id)
    }

    /// Notes a finding anew and takes the old one out of use. What was said of the old one goes along, unless it is as
    /// likely as before no more: then it was said of another.
    ///
    /// # Errors
    /// Refuses what can't be noted, and an old one that isn't there.
    pub fn change_finding(
        &self,
        old: &Finding,
        room: &Room,
        new: &NewFinding,
    ) -> Result<FindingId> {
        self.void_finding(old.id)?;
        let id = self.add_finding(room, new)?;
        let (found, _) = self.finding(id)?;
        let may = |finding: &Finding| (finding.own_contingency(), finding.if_so_contingency());
        if may(&found) == may(old) {
            self.connection
                .prepare_cached("UPDATE finding SET turned_up = CASE id WHEN :new THEN :did END WHERE id IN (:old, :new)")?
                .execute(named_params! { ":new": id, ":old": old.id, ":did": old.turned_up })?;
        }
        Ok(id)
    }

    /// Notes whether what has a chance turned up; of a finding that is out of use, too, since it was quoted all the same.
    ///
    /// # Errors
    /// Refuses a finding that isn't there, and one that is sure.
    pub fn say_turned_up(&self, id: FindingId, did: bool) -> Result<()> {
        let kind: Option<String> = self
            .connection
            .prepare_cached("UPDATE finding SET turned_up = :did WHERE id = :id AND chance_micro < 1000000 RETURNING kind")?
            .query_row(named_params! { ":did": did, ":id": id }, |row| row.get(0))
            .optional()?;
        let Some(kind) = kind else {
            let (Finding { kind, .. }, _) = self.finding(id)?;
            let refusal = format!(
                "finding {} ({kind}) is sure: only what has a chance turns up or doesn't",
                id.0
            );
            let hint = format!("gritledger finding edit {} --chance 40%", id.0);
            return Err(Refusal::new(refusal).hint(hint).into());
        };
        self.log(&format!("Finding {} ({kind}) {}.", id.0, came_true(did)))
    }

    /// Takes a finding out of use.
    ///
    /// # Errors
    /// Refuses one that isn't there.
    pub fn void_finding(&self, id: FindingId) -> Result<()> {
        let kind: Option<String> = self
            .connection
            .query_row(
                "UPDATE finding SET voided_on = :on WHERE id = :id AND voided_on IS NULL RETURNING kind",
                named_params! { ":on": self.today(), ":id": id },
                |row| row.get(0),
            )
            .optional()?;
        match kind {
            Some(kind) => self.log(&format!("Took finding {} ({kind}) out of use.", id.0)),
            None => Err(no_finding(id).into()),
        }
    }
}

/// Says whether what may turn up did so.
pub fn came_true(did: bool) -> &'static str {
    match did {
        true => "turned up",
        false => "didn't turn up",
    }
}

fn no_finding(id: FindingId) -> Refusal {
    Refusal::new(format!("no finding {}", id.0)).hint("gritledger finding list SITE")
}
