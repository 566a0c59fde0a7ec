//! Clients and their sites.

use anyhow::Result;
use rusqlite::{OptionalExtension, Row, named_params};

use super::columns::Micro;
use super::names::Names;
use super::trips::check_distance;
use super::{Ledger, Refusal, Writing, refuse, typed};
use crate::money::Decimal;
use crate::trade::{ClientId, SiteId};

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
    /// The number that they are taxed under.
    pub tax_number: String,
    /// Why no tax is asked of them; empty: it is.
    pub exempt: String,
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
    /// How far it is, one way; `None`: not known.
    pub distance: Option<Decimal>,
    /// Anything else.
    pub note: String,
}

impl From<Site> for NewSite {
    fn from(site: Site) -> NewSite {
        NewSite {
            client: site.client_id,
            address: site.address,
            year_built: site.year_built,
            tax_area: site.tax_area.map(|(id, _)| id),
            distance: site.distance,
            note: site.note,
        }
    }
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
    /// How far it is, one way; `None`: not known.
    pub distance: Option<Decimal>,
    /// Anything else.
    pub note: String,
}

const CLIENTS: &str = "SELECT id, name, phone, email, address, tax_number, exempt, note FROM client WHERE voided_on IS NULL";

const SITES: &str = "
    SELECT site.id, client_id, client.name AS client, site.address, year_built, tax_area_id, tax_area.name AS tax_area,
           distance_micro, site.note
    FROM site
    JOIN client ON client.id = client_id
    LEFT JOIN tax_area ON tax_area.id = tax_area_id
    WHERE site.voided_on IS NULL";

impl Ledger {
    /// Returns the clients in use, by name.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn clients(&self) -> Result<Vec<Client>> {
        let sql = format!("{CLIENTS} ORDER BY name, id");
        let mut statement = self.connection.prepare_cached(&sql)?;
        let clients = statement.query_map([], client_from_row)?;
        Ok(clients.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the client of that name.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn client(&self, name: &str) -> Result<Client> {
        let likely = self.may_be_meant(name, (CLIENTS, "name"), client_from_row)?;
        let likely = named_clients(likely);
        match likely.fits(name) {
            true => likely.find(name).cloned(),
            false => self.clients_by_name()?.find(name).cloned(),
        }
    }

    pub(super) fn clients_by_name(&self) -> Result<Names<Client>> {
        Ok(named_clients(self.clients()?))
    }

    /// Returns the sites in use, by address.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn sites(&self) -> Result<Vec<Site>> {
        let sql = format!("{SITES} ORDER BY site.address, site.id");
        let mut statement = self.connection.prepare_cached(&sql)?;
        let sites = statement.query_map([], site_from_row)?;
        Ok(sites.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the sites of a client that are in use, by address.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn sites_of(&self, client: ClientId) -> Result<Vec<Site>> {
        let sql = format!("{SITES} AND site.client_id = :client ORDER BY site.address, site.id");
        let mut statement = self.connection.prepare_cached(&sql)?;
        let sites = statement.query_map(named_params! { ":client": client }, site_from_row)?;
        Ok(sites.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the site of that address.
    ///
    /// # Errors
    /// Refuses an address that fits none or several.
    pub fn site(&self, address: &str) -> Result<Site> {
        let likely = self.may_be_meant(address, (SITES, "site.address"), site_from_row)?;
        let likely = named_sites(likely);
        match likely.fits(address) {
            true => likely.find(address).cloned(),
            false => self.sites_by_name()?.find(address).cloned(),
        }
    }

    /// Returns a site, if it is in use.
    pub(super) fn site_in_use(&self, id: SiteId) -> Result<Option<Site>> {
        let sql = format!("{SITES} AND site.id = :id");
        let mut statement = self.connection.prepare_cached(&sql)?;
        let site = statement.query_row(named_params! { ":id": id }, site_from_row);
        Ok(site.optional()?)
    }

    pub(super) fn sites_by_name(&self) -> Result<Names<Site>> {
        Ok(named_sites(self.sites()?))
    }

    /// Returns what a site is called today, which is what it is found by; papers have it as it was.
    pub(super) fn address_of(&self, site: SiteId) -> Result<String> {
        Ok(self
            .connection
            .prepare_cached("SELECT address FROM site WHERE id = :site")?
            .query_row(named_params! { ":site": site }, |row| row.get(0))?)
    }
}

fn named_clients(clients: Vec<Client>) -> Names<Client> {
    let clients = clients.into_iter();
    let named = clients.map(|client| (client.details.name.clone(), client));
    Names::new("client", named)
}

fn named_sites(sites: Vec<Site>) -> Names<Site> {
    let sites = sites.into_iter();
    let named = sites.map(|site| (site.address.clone(), site));
    Names::new("site", named)
}

fn client_from_row(row: &Row<'_>) -> rusqlite::Result<Client> {
    let details = NewClient {
        name: row.get("name")?,
        phone: row.get("phone")?,
        email: row.get("email")?,
        address: row.get("address")?,
        tax_number: row.get("tax_number")?,
        exempt: row.get("exempt")?,
        note: row.get("note")?,
    };
    Ok(Client {
        id: row.get("id")?,
        details,
    })
}

fn site_from_row(row: &Row<'_>) -> rusqlite::Result<Site> {
    let tax_area: Option<i64> = row.get("tax_area_id")?;
    let tax_area_name: Option<String> = row.get("tax_area")?;
    let distance: Option<Micro> = row.get("distance_micro")?;
    Ok(Site {
        id: row.get("id")?,
        client_id: row.get("client_id")?,
        client: row.get("client")?,
        address: row.get("address")?,
        year_built: row.get("year_built")?,
        tax_area: tax_area.zip(tax_area_name),
        distance: distance.map(|Micro(distance)| distance),
        note: row.get("note")?,
    })
}

impl Writing<'_> {
    /// Adds a client.
    ///
    /// # Errors
    /// Refuses an empty name and one that is taken.
    pub fn add_client(&self, client: &NewClient) -> Result<ClientId> {
        let name = self.clients_by_name()?.free(&client.name)?;
        self.insert_client(&name, client)
    }

    /// Writes a client down, by a name that is free.
    pub(super) fn insert_client(&self, name: &str, client: &NewClient) -> Result<ClientId> {
        let id = ClientId(self.new_id("client")?);
        self.connection
            .prepare_cached(
                "INSERT INTO client (id, name, phone, email, address, tax_number, exempt, note, recorded_at)
                 VALUES (:id, :name, :phone, :email, :address, :tax_number, :exempt, :note, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":name": name, ":phone": client.phone, ":email": client.email,
                ":address": client.address, ":tax_number": client.tax_number, ":exempt": client.exempt.trim(), ":note": client.note,
                ":now": self.now(),
            })?;
        self.log(&format!("Added client {name}."))?;
        Ok(id)
    }

    /// Changes what is known of a client.
    ///
    /// # Errors
    /// Refuses an empty name.
    pub fn edit_client(&self, id: ClientId, client: &NewClient) -> Result<()> {
        let clients = self.clients_by_name()?;
        let name = clients.free_for(&client.name, |known| known.id == id)?;
        self.connection
            .prepare_cached(
                "UPDATE client SET name = :name, phone = :phone, email = :email, address = :address,
                        tax_number = :tax_number, exempt = :exempt, note = :note
                 WHERE id = :id",
            )?
            .execute(named_params! {
                ":id": id, ":name": name, ":phone": client.phone, ":email": client.email,
                ":address": client.address, ":tax_number": client.tax_number, ":exempt": client.exempt.trim(), ":note": client.note,
            })?;
        self.log(&format!("Changed client {name}."))
    }

    /// Takes a client out of use.
    ///
    /// # Errors
    /// Refuses a client with sites in use.
    pub fn void_client(&self, client: &Client) -> Result<()> {
        if let Some(site) = self.sites_of(client.id)?.first() {
            let jobs = self.jobs_not_closed()?;
            let next = match jobs.iter().find(|job| job.site_id == site.id) {
                Some(job) => format!("gritledger job show {}", job.number),
                None => format!("gritledger site void {}", typed(&site.address)),
            };
            return Err(Refusal::new(format!(
                "`{}` still has the site `{}`",
                client.details.name, site.address
            ))
            .hint(next)
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
        let address = self.sites_by_name()?.free(&site.address)?;
        self.check_year(site.year_built)?;
        check_distance(site.distance)?;
        self.insert_site(&address, site)
    }

    /// Writes a site down, at an address that is free.
    pub(super) fn insert_site(&self, address: &str, site: &NewSite) -> Result<SiteId> {
        let id = SiteId(self.new_id("site")?);
        self.connection
            .prepare_cached(
                "INSERT INTO site (id, client_id, address, year_built, tax_area_id, distance_micro, note, recorded_at)
                 VALUES (:id, :client, :address, :year, :tax_area, :distance, :note, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":client": site.client, ":address": address, ":year": site.year_built,
                ":tax_area": site.tax_area, ":distance": site.distance.map(Micro), ":note": site.note, ":now": self.now(),
            })?;
        self.log(&format!("Added site {address}."))?;
        Ok(id)
    }

    /// Changes what is known of a site.
    ///
    /// # Errors
    /// Refuses an empty address and a year that is not one.
    pub fn edit_site(&self, id: SiteId, site: &NewSite) -> Result<()> {
        let sites = self.sites_by_name()?;
        let address = sites.free_for(&site.address, |known| known.id == id)?;
        self.check_year(site.year_built)?;
        check_distance(site.distance)?;
        self.connection
            .prepare_cached(
                "UPDATE site SET client_id = :client, address = :address, year_built = :year, tax_area_id = :tax_area,
                        distance_micro = :distance, note = :note
                 WHERE id = :id",
            )?
            .execute(named_params! {
                ":id": id, ":client": site.client, ":address": address, ":year": site.year_built,
                ":tax_area": site.tax_area, ":distance": site.distance.map(Micro), ":note": site.note,
            })?;
        self.log(&format!("Changed site {address}."))
    }

    pub(super) fn check_year(&self, year: Option<i32>) -> Result<()> {
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
            .jobs_not_closed()?
            .iter()
            .find(|job| job.site_id == site.id)
        {
            refuse!(
                "`{}` has the job {}, which isn't closed",
                site.address,
                job.number
            );
        }
        self.refuse_quoted(site.id, None, &site.address)?;
        self.connection.execute(
            "UPDATE site SET voided_on = :on WHERE id = :id",
            named_params! { ":on": self.today(), ":id": site.id },
        )?;
        self.log(&format!("Took site {} out of use.", site.address))
    }
}
