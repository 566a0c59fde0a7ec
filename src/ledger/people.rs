//! Clients, their sites, the rooms there, what the walk-through found, and the firm's workers.

use std::collections::BTreeMap;

use anyhow::{Context, Result};
use rusqlite::{OptionalExtension, Row, named_params};

use super::columns::{Micro, Nanometres};
use super::names::{named, pick, same};
use super::{Ledger, Refusal, Writing, refuse, typed};
use crate::measure::{Length, Units};
use crate::money::{Decimal, Money, quantity};
use crate::trade::bounds::{MOST_FOUND, check_floor, check_wage};
use crate::trade::operation::Driver;
use crate::trade::rates::FloorClass;
use crate::trade::room::Floor;
use crate::trade::takeoff::{Contingency, Found, MayTurnUp, MeasuredRoom};
use crate::trade::{
    ClientId, FindingId, FloorCondition, Layout, OperationId, RoomId, SiteId, Species, Unit,
    WorkerId,
};

/// A client to be added or changed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct NewClient {
    /// Name; unique.
    pub name: String,
    /// Telephone.
    pub phone: String,
    /// Mail address.
    pub email: String,
    /// Postal address.
    pub address: String,
    /// Anything else.
    pub note: String,
}

/// A client.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Client {
    /// Identity.
    pub id: ClientId,
    /// What is known.
    pub details: NewClient,
}

/// A site to be added or changed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewSite {
    /// Whose it is.
    pub client: ClientId,
    /// Its address; unique.
    pub address: String,
    /// When it was built; `None`: not known.
    pub year_built: Option<i32>,
    /// Its tax area; `None`: the setting `tax-percent` applies.
    pub tax_area: Option<i64>,
    /// Anything else.
    pub note: String,
}

/// A site.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Site {
    /// Identity.
    pub id: SiteId,
    /// Whose it is.
    pub client_id: ClientId,
    /// The client's name.
    pub client: String,
    /// Its address.
    pub address: String,
    /// When it was built; `None`: not known.
    pub year_built: Option<i32>,
    /// Its tax area.
    pub tax_area: Option<(i64, String)>,
    /// Anything else.
    pub note: String,
}

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
}

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
    /// How likely it turns up, or takes more, as a fraction of one; `None`: it is sure.
    pub chance: Option<Decimal>,
    /// What it takes beside its answer, with that chance.
    pub if_so: Option<IfSo>,
    /// Where in the room.
    pub place: String,
    /// Anything else.
    pub note: String,
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
    /// How likely it turns up, or takes more, as a fraction of one; `None`: it is sure.
    pub chance: Option<Decimal>,
    /// What it takes beside its answer, with that chance: operation, and from how much to how much.
    pub if_so: Option<(OperationId, Decimal, Decimal)>,
    /// Where in the room.
    pub place: String,
    /// Anything else.
    pub note: String,
}

/// Someone who works for the firm.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Worker {
    /// Identity.
    pub id: WorkerId,
    /// Name; unique.
    pub name: String,
    /// Wage per hour, before burden.
    pub wage: Money,
    /// Whether quotes count them in.
    pub active: bool,
}

impl Finding {
    /// Returns how likely the finding itself is and how much of it there is; `None`: both are sure.
    fn own_contingency(&self) -> Option<Contingency> {
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

/// Returns the command that adds a room to a site.
pub fn adding_a_room(site: &str) -> String {
    format!(
        "gritledger room add {} \"ROOM\" --shape \"L x W\" --condition sound-film --species red-oak",
        typed(site)
    )
}

impl Ledger {
    /// Returns the clients in use, by name.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn clients(&self) -> Result<Vec<Client>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT id, name, phone, email, address, note FROM client WHERE voided_on IS NULL ORDER BY name, id",
        )?;
        let clients = statement.query_map([], |row| {
            let details = NewClient {
                name: row.get("name")?,
                phone: row.get("phone")?,
                email: row.get("email")?,
                address: row.get("address")?,
                note: row.get("note")?,
            };
            Ok(Client {
                id: row.get("id")?,
                details,
            })
        })?;
        Ok(clients.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the client of that name.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn client(&self, name: &str) -> Result<Client> {
        let clients = self
            .clients()?
            .into_iter()
            .map(|client| (client.details.name.clone(), client));
        pick("client", name, &clients.collect::<Vec<_>>())
    }

    /// Returns the sites in use, by address.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn sites(&self) -> Result<Vec<Site>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT site.id, client_id, client.name AS client, site.address, year_built,
                    tax_area_id, tax_area.name AS tax_area, site.note
             FROM site
             JOIN client ON client.id = client_id
             LEFT JOIN tax_area ON tax_area.id = tax_area_id
             WHERE site.voided_on IS NULL
             ORDER BY site.address, site.id",
        )?;
        let sites = statement.query_map([], site_from_row)?;
        Ok(sites.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the site of that address.
    ///
    /// # Errors
    /// Refuses an address that fits none or several.
    pub fn site(&self, address: &str) -> Result<Site> {
        let sites = self
            .sites()?
            .into_iter()
            .map(|site| (site.address.clone(), site));
        pick("site", address, &sites.collect::<Vec<_>>())
    }

    /// Returns what a site is called today, which is what it is found by; papers have it as it was.
    pub(super) fn address_of(&self, site: SiteId) -> Result<String> {
        Ok(self
            .connection
            .prepare_cached("SELECT address FROM site WHERE id = :site")?
            .query_row(named_params! { ":site": site }, |row| row.get(0))?)
    }

    /// Returns the rooms in use at a site, in the order they were walked.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn rooms_of(&self, site: SiteId) -> Result<Vec<Room>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT room.id, site_id, site.address AS site, name, shape, floor_condition, species, layout, refinished,
                    room.note
             FROM room JOIN site ON site.id = site_id
             WHERE site_id = :site AND room.voided_on IS NULL
             ORDER BY room.id",
        )?;
        let rooms = statement.query_and_then(named_params! { ":site": site }, room_from_row)?;
        let mut rooms: Vec<Room> = rooms.collect::<Result<_>>()?;
        self.add_doors(site, &mut rooms)?;
        Ok(rooms)
    }

    fn add_doors(&self, site: SiteId, rooms: &mut [Room]) -> Result<()> {
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

    /// Returns a room by `NAME` or `SITE/NAME`: at the site given, else anywhere if the name fits one room only.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn room(&self, name: &str, site: Option<SiteId>) -> Result<Room> {
        if let Some((address, room)) = name.split_once('/')
            && let Ok(site) = self.site(address)
        {
            return self.room_at(room, site.id);
        }
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
        pick("room", name, &named)
    }

    fn room_at(&self, name: &str, site: SiteId) -> Result<Room> {
        let rooms = self
            .rooms_of(site)?
            .into_iter()
            .map(|room| (room.name.clone(), room));
        pick("room", name, &rooms.collect::<Vec<_>>())
    }

    /// Returns what was found in the rooms of a site, in the order it was noted.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn findings_of(&self, site: SiteId) -> Result<Vec<Finding>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT finding.id, room_id, room.name AS room, kind, quantity_micro, most_micro, unit, chance_micro,
                    if_so_operation_id, operation.name AS if_so, operation.driver AS if_so_driver, if_so_low_micro,
                    if_so_high_micro, place, finding.note
             FROM finding JOIN room ON room.id = room_id
             LEFT JOIN operation ON operation.id = if_so_operation_id
             WHERE room.site_id = :site AND finding.voided_on IS NULL AND room.voided_on IS NULL
             ORDER BY finding.id",
        )?;
        let findings = statement.query_map(named_params! { ":site": site }, |row| {
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
            Ok(Finding {
                id: row.get("id")?,
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
            })
        })?;
        Ok(findings.collect::<rusqlite::Result<_>>()?)
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
        let answers: BTreeMap<String, OperationId> = self
            .operations()?
            .into_iter()
            .filter_map(|operation| Some((operation.answers?, operation.id)))
            .collect();
        let measure = |room: &Room| {
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
                findings: found()
                    .filter(|finding| finding.own_contingency().is_none())
                    .map(|finding| Found {
                        kind: finding.kind.clone(),
                        quantity: finding.quantity,
                    })
                    .collect(),
                contingencies: found()
                    .flat_map(|finding| {
                        let own = finding.own_contingency().and_then(|contingency| {
                            Some(MayTurnUp {
                                operation: *answers.get(&finding.kind)?,
                                contingency,
                            })
                        });
                        own.into_iter().chain(finding.if_so_contingency())
                    })
                    .collect(),
            })
        };
        rooms.iter().map(measure).collect()
    }

    /// Returns the firm's workers, by name.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn workers(&self) -> Result<Vec<Worker>> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT id, name, wage_minor, active FROM worker ORDER BY name, id")?;
        let workers = statement.query_map([], |row| {
            let active: i64 = row.get("active")?;
            Ok(Worker {
                id: row.get("id")?,
                name: row.get("name")?,
                wage: row.get("wage_minor")?,
                active: active == 1,
            })
        })?;
        Ok(workers.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the worker of that name.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn worker(&self, name: &str) -> Result<Worker> {
        let workers = self
            .workers()?
            .into_iter()
            .map(|worker| (worker.name.clone(), worker));
        pick("worker", name, &workers.collect::<Vec<_>>())
    }

    /// Returns the mean wage of the active workers in major units; `None`: there are none.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn mean_wage(&self) -> Result<Option<Decimal>> {
        let wages: Vec<Money> = self
            .workers()?
            .into_iter()
            .filter(|worker| worker.active)
            .map(|worker| worker.wage)
            .collect();
        if wages.is_empty() {
            return Ok(None);
        }
        let total: Money = wages.iter().copied().sum();
        Ok(Some(quantity(
            self.currency().decimal(total) / Decimal::from(wages.len()),
        )))
    }
}

fn site_from_row(row: &Row<'_>) -> rusqlite::Result<Site> {
    let tax_area: Option<i64> = row.get("tax_area_id")?;
    let tax_area_name: Option<String> = row.get("tax_area")?;
    Ok(Site {
        id: row.get("id")?,
        client_id: row.get("client_id")?,
        client: row.get("client")?,
        address: row.get("address")?,
        year_built: row.get("year_built")?,
        tax_area: tax_area.zip(tax_area_name),
        note: row.get("note")?,
    })
}

fn room_from_row(row: &Row<'_>) -> Result<Room> {
    let shape: String = row.get("shape")?;
    let refinished: i64 = row.get("refinished")?;
    Ok(Room {
        id: row.get("id")?,
        site_id: row.get("site_id")?,
        site: row.get("site")?,
        name: row.get("name")?,
        // Shapes are stored with their units, so the units given here change nothing.
        floor: Floor::parse(&shape, Units::Us)
            .with_context(|| format!("the stored shape `{shape}` is damaged"))?,
        condition: row.get("floor_condition")?,
        species: row.get("species")?,
        layout: row.get("layout")?,
        refinished: refinished == 1,
        note: row.get("note")?,
        doors: Vec::new(),
    })
}

impl Writing<'_> {
    /// Adds a client.
    ///
    /// # Errors
    /// Refuses an empty name and one that is taken.
    pub fn add_client(&self, client: &NewClient) -> Result<ClientId> {
        let name = named("client", &client.name)?;
        self.check_client_name(&name, None)?;
        let id = ClientId(self.new_id("client")?);
        self.connection
            .prepare_cached(
                "INSERT INTO client (id, name, phone, email, address, note, recorded_at)
                 VALUES (:id, :name, :phone, :email, :address, :note, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":name": name, ":phone": client.phone, ":email": client.email,
                ":address": client.address, ":note": client.note, ":now": self.now(),
            })?;
        self.log(&format!("Added client {name}."))?;
        Ok(id)
    }

    /// Changes what is known of a client.
    ///
    /// # Errors
    /// Refuses an empty name.
    pub fn edit_client(&self, id: ClientId, client: &NewClient) -> Result<()> {
        let name = named("client", &client.name)?;
        self.check_client_name(&name, Some(id))?;
        self.connection
            .prepare_cached(
                "UPDATE client SET name = :name, phone = :phone, email = :email, address = :address, note = :note
                 WHERE id = :id",
            )?
            .execute(named_params! {
                ":id": id, ":name": name, ":phone": client.phone, ":email": client.email,
                ":address": client.address, ":note": client.note,
            })?;
        self.log(&format!("Changed client {name}."))
    }

    /// Takes a client out of use.
    ///
    /// # Errors
    /// Refuses a client with sites in use.
    pub fn void_client(&self, client: &Client) -> Result<()> {
        if let Some(site) = self
            .sites()?
            .iter()
            .find(|site| site.client_id == client.id)
        {
            return Err(Refusal::new(format!(
                "`{}` still has the site `{}`",
                client.details.name, site.address
            ))
            .hint(format!("gritledger site void {}", typed(&site.address)))
            .into());
        }
        self.connection.execute(
            "UPDATE client SET voided_on = :on WHERE id = :id",
            named_params! { ":on": self.today(), ":id": client.id },
        )?;
        self.log(&format!("Took client {} out of use.", client.details.name))
    }

    /// Adds a site.
    ///
    /// # Errors
    /// Refuses an empty address, one that is taken, and a year that is not one.
    pub fn add_site(&self, site: &NewSite) -> Result<SiteId> {
        let address = named("site", &site.address)?;
        self.check_address(&address, None)?;
        self.check_year(site.year_built)?;
        let id = SiteId(self.new_id("site")?);
        self.connection
            .prepare_cached(
                "INSERT INTO site (id, client_id, address, year_built, tax_area_id, note, recorded_at)
                 VALUES (:id, :client, :address, :year, :tax_area, :note, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":client": site.client, ":address": address, ":year": site.year_built,
                ":tax_area": site.tax_area, ":note": site.note, ":now": self.now(),
            })?;
        self.log(&format!("Added site {address}."))?;
        Ok(id)
    }

    /// Changes what is known of a site.
    ///
    /// # Errors
    /// Refuses an empty address and a year that is not one.
    pub fn edit_site(&self, id: SiteId, site: &NewSite) -> Result<()> {
        let address = named("site", &site.address)?;
        self.check_address(&address, Some(id))?;
        self.check_year(site.year_built)?;
        self.connection
            .prepare_cached(
                "UPDATE site SET client_id = :client, address = :address, year_built = :year, tax_area_id = :tax_area,
                        note = :note
                 WHERE id = :id",
            )?
            .execute(named_params! {
                ":id": id, ":client": site.client, ":address": address, ":year": site.year_built,
                ":tax_area": site.tax_area, ":note": site.note,
            })?;
        self.log(&format!("Changed site {address}."))
    }

    fn check_year(&self, year: Option<i32>) -> Result<()> {
        let this_year = chrono::Datelike::year(&self.today());
        match year {
            Some(year) if !(1500..=this_year).contains(&year) => {
                refuse!("`{year}` is not a year that a building here can be from")
            }
            _ => Ok(()),
        }
    }

    /// Takes a site out of use.
    ///
    /// # Errors
    /// Refuses a site with a job that isn't closed.
    pub fn void_site(&self, site: &Site) -> Result<()> {
        if let Some(job) = self
            .jobs()?
            .iter()
            .find(|job| job.site_id == site.id && !job.is_closed())
        {
            refuse!(
                "`{}` has the job {}, which isn't closed",
                site.address,
                job.number
            );
        }
        self.connection.execute(
            "UPDATE site SET voided_on = :on WHERE id = :id",
            named_params! { ":on": self.today(), ":id": site.id },
        )?;
        self.log(&format!("Took site {} out of use.", site.address))
    }

    /// Adds a room.
    ///
    /// # Errors
    /// Refuses an empty name, one with a `/`, and one that is taken at the site.
    pub fn add_room(&self, room: &NewRoom) -> Result<RoomId> {
        let name = named("room", &room.name)?;
        self.check_room_name(&name, room.site, None)?;
        check_floor(room.floor.area())?;
        let id = RoomId(self.new_id("room")?);
        self.connection
            .prepare_cached(
                "INSERT INTO room (id, site_id, name, shape, floor_condition, species, layout, refinished, note, recorded_at)
                 VALUES (:id, :site, :name, :shape, :condition, :species, :layout, :refinished, :note, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":site": room.site, ":name": name, ":shape": room.floor.to_string(),
                ":condition": room.condition, ":species": room.species, ":layout": room.layout,
                ":refinished": i64::from(room.refinished), ":note": room.note, ":now": self.now(),
            })?;
        self.log(&format!("Added room {name}."))?;
        Ok(id)
    }

    /// Changes a room; doorways stay.
    ///
    /// # Errors
    /// Refuses an empty name, and doorways wider than the new walls.
    pub fn edit_room(&self, room: &Room) -> Result<()> {
        let name = named("room", &room.name)?;
        self.check_room_name(&name, room.site_id, Some(room.id))?;
        check_floor(room.floor.area())?;
        room.edge()?;
        self.connection
            .prepare_cached(
                "UPDATE room SET name = :name, shape = :shape, floor_condition = :condition, species = :species,
                        layout = :layout, refinished = :refinished, note = :note
                 WHERE id = :id",
            )?
            .execute(named_params! {
                ":id": room.id, ":name": name, ":shape": room.floor.to_string(), ":condition": room.condition,
                ":species": room.species, ":layout": room.layout, ":refinished": i64::from(room.refinished),
                ":note": room.note,
            })?;
        self.log(&format!("Changed room {name}."))
    }

    /// Adds a doorway between a room and another, or outside.
    ///
    /// # Errors
    /// Refuses openings that are wider together than either room's walls are long.
    pub fn add_door(&self, room: RoomId, other: Option<RoomId>, width: Length) -> Result<()> {
        if other == Some(room) {
            refuse!("a doorway leads to another room");
        }
        self.connection
            .prepare_cached("INSERT INTO doorway (id, room_id, other_room_id, width_nm) VALUES (:id, :room, :other, :width)")?
            .execute(named_params! {
                ":id": self.new_id("doorway")?, ":room": room, ":other": other, ":width": Nanometres(width),
            })?;
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

    /// Takes a room out of use.
    ///
    /// # Errors
    /// Refuses a room of a job that isn't closed.
    pub fn void_room(&self, room: &Room) -> Result<()> {
        for job in self
            .jobs()?
            .iter()
            .filter(|job| job.site_id == room.site_id && !job.is_closed())
        {
            if self
                .agreed(job)?
                .rooms()
                .iter()
                .any(|(agreed, ..)| agreed.id == room.id)
            {
                refuse!(
                    "`{}` is part of {}, which isn't closed",
                    room.name,
                    job.number
                );
            }
        }
        self.void_doors(room.id)?;
        self.connection.execute(
            "UPDATE room SET voided_on = :on WHERE id = :id",
            named_params! { ":on": self.today(), ":id": room.id },
        )?;
        self.log(&format!("Took room {} out of use.", room.name))
    }

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
            refuse!(
                "{} sq ft of {} is more than the {} sq ft of `{}`",
                most.normalize(),
                found.kind,
                area.normalize(),
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
        self.log(&format!("Noted {} in {}.", found.kind, room.name))?;
        Ok(id)
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
            None => Err(Refusal::new(format!("no finding {}", id.0))
                .hint("gritledger finding list SITE")
                .into()),
        }
    }

    /// Adds a worker.
    ///
    /// # Errors
    /// Refuses an empty name and one that is taken.
    pub fn add_worker(&self, name: &str, wage: Money) -> Result<WorkerId> {
        let name = named("worker", name)?;
        if self.workers()?.iter().any(|other| same(&other.name, &name)) {
            refuse!("there is already a worker `{name}`");
        }
        check_wage(wage)?;
        let id = WorkerId(self.new_id("worker")?);
        self.connection
            .prepare_cached("INSERT INTO worker (id, name, wage_minor, recorded_at) VALUES (:id, :name, :wage, :now)")?
            .execute(named_params! { ":id": id, ":name": name, ":wage": wage, ":now": self.now() })?;
        self.log(&format!("Added worker {name}."))?;
        Ok(id)
    }

    /// Changes a worker's wage or standing, from now on.
    ///
    /// # Errors
    /// Fails if the file can't be written.
    pub fn edit_worker(&self, worker: &Worker) -> Result<()> {
        check_wage(worker.wage)?;
        self.connection.execute(
            "UPDATE worker SET wage_minor = :wage, active = :active WHERE id = :id",
            named_params! { ":wage": worker.wage, ":active": i64::from(worker.active), ":id": worker.id },
        )?;
        self.log(&format!("Changed worker {}.", worker.name))
    }
}

/// Refuses a room's name that would be read as something else: `SITE/NAME`, a list of rooms, or the way out.
impl Writing<'_> {
    /// Refuses the name of a client that another one has.
    fn check_client_name(&self, name: &str, of: Option<ClientId>) -> Result<()> {
        let taken = |other: &Client| Some(other.id) != of && same(&other.details.name, name);
        if self.clients()?.iter().any(taken) {
            refuse!("there is already a client `{name}`");
        }
        Ok(())
    }

    /// Refuses the address that another site has.
    fn check_address(&self, address: &str, of: Option<SiteId>) -> Result<()> {
        let taken = |other: &Site| Some(other.id) != of && same(&other.address, address);
        if self.sites()?.iter().any(taken) {
            refuse!("there is already a site `{address}`");
        }
        Ok(())
    }

    /// Refuses the name of a room that another one at the site has, or that is read as something else.
    fn check_room_name(&self, name: &str, site: SiteId, of: Option<RoomId>) -> Result<()> {
        if let Some(sign) = ['/', ';'].into_iter().find(|sign| name.contains(*sign)) {
            refuse!("a room's name can't hold `{sign}`: `{name}`");
        }
        if name.eq_ignore_ascii_case("outside") {
            refuse!("`{name}` is where doorways lead out: name the room otherwise");
        }
        let taken = |other: &Room| Some(other.id) != of && same(&other.name, name);
        if self.rooms_of(site)?.iter().any(taken) {
            refuse!("there is already a room `{name}` at that site");
        }
        Ok(())
    }
}
