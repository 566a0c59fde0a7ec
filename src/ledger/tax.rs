//! Tax areas: places with their own tax on the price or on kinds of lines, each rate from its date on.

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::{OptionalExtension, named_params};

use super::columns::Micro;
use super::names::{Names, named, same};
use super::{Ledger, Refusal, Writing, refuse, typed};
use crate::money::Decimal;
use crate::trade::SiteId;
use crate::trade::bounds::check_day;
use crate::trade::tax::{TaxRates, TaxedKind};

/// A tax area and its rates.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TaxArea {
    /// Identity.
    pub id: i64,
    /// Its name.
    pub name: String,
    /// Its rates, oldest first.
    pub rates: Vec<TaxRate>,
}

/// A rate of a tax area.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TaxRate {
    /// The first day that it holds.
    pub from: NaiveDate,
    /// What it is on.
    pub on: TaxedKind,
    /// How much it is, percent.
    pub percent: Decimal,
}

impl TaxArea {
    /// Returns the rates of a price on a day; nothing is taxed before the first.
    pub fn rates_on(&self, day: NaiveDate) -> TaxRates {
        let of = |kind| self.percent_on(day, &[kind, TaxedKind::Price]);
        TaxRates {
            labour: of(TaxedKind::Labour).unwrap_or_default(),
            materials: of(TaxedKind::Materials).unwrap_or_default(),
            rental: of(TaxedKind::Rental).unwrap_or_default(),
        }
    }

    /// Returns the tax that the firm pays on a day on what it buys, as a cost.
    pub fn on_bought(&self, day: NaiveDate) -> Decimal {
        self.percent_on(day, &[TaxedKind::Bought])
            .unwrap_or_default()
    }

    /// Tells whether a rate of a price has begun.
    pub fn has_begun(&self, day: NaiveDate) -> bool {
        let of_price = |rate: &TaxRate| rate.on != TaxedKind::Bought && rate.from <= day;
        self.rates.iter().any(of_price)
    }

    fn percent_on(&self, day: NaiveDate, kinds: &[TaxedKind]) -> Option<Decimal> {
        let mut newest = self.rates.iter().rev();
        let holds = newest.find(|rate| rate.from <= day && kinds.contains(&rate.on));
        holds.map(|rate| rate.percent)
    }
}

impl Ledger {
    /// Returns the tax areas, by name.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn tax_areas(&self) -> Result<Vec<TaxArea>> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT id, name FROM tax_area ORDER BY name, id")?;
        let areas = statement.query_map([], |row| Ok((row.get("id")?, row.get("name")?)))?;
        let areas: Vec<(i64, String)> = areas.collect::<rusqlite::Result<_>>()?;
        let areas = areas.into_iter().map(|(id, name)| {
            let rates = self.tax_rates(id)?;
            Ok(TaxArea { id, name, rates })
        });
        areas.collect()
    }

    /// Returns the rates of a tax area, oldest first.
    fn tax_rates(&self, area: i64) -> Result<Vec<TaxRate>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT valid_from, applies_to, percent_micro FROM tax_rate WHERE tax_area_id = :area ORDER BY valid_from, id",
        )?;
        let rates = statement.query_map(named_params! { ":area": area }, |row| {
            Ok(TaxRate {
                from: row.get("valid_from")?,
                on: row.get("applies_to")?,
                percent: row.get::<_, Micro>("percent_micro")?.0,
            })
        })?;
        Ok(rates.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the tax area of that name.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn tax_area(&self, name: &str) -> Result<TaxArea> {
        let areas = self.tax_areas()?.into_iter();
        let named = areas.map(|area| (area.name.clone(), area));
        Names::new("tax area", named).find(name).cloned()
    }

    /// Returns how the tax at a site has changed from what it was, in words; `None`: it is the same.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn tax_changed(&self, site: SiteId, from: TaxRates) -> Result<Option<String>> {
        let to = self.tax_in_force(site)?;
        if to == from {
            return Ok(None);
        }
        let address = self.address_of(site)?;
        Ok(Some(format!("tax at `{address}` went from {from} to {to}")))
    }

    /// Returns the tax on a price at a site today: that of its tax area, else the setting `tax-percent`. Of a client who is
    /// exempt none is asked.
    pub(super) fn tax_in_force(&self, site: SiteId) -> Result<TaxRates> {
        let is_exempt: bool = self
            .connection
            .prepare_cached(
                "SELECT exempt <> '' FROM site JOIN client ON client.id = client_id WHERE site.id = :site",
            )?
            .query_row(named_params! { ":site": site }, |row| row.get(0))?;
        if is_exempt {
            return Ok(TaxRates::default());
        }
        Ok(match self.tax_area_at(site)? {
            Some(area) => area.rates_on(self.today()),
            None => TaxRates::all(self.settings()?.tax_percent),
        })
    }

    /// Returns the tax that the firm pays today on what it buys for work at a site, as a cost, percent.
    pub(super) fn tax_on_bought(&self, site: SiteId) -> Result<Decimal> {
        let area = self.tax_area_at(site)?;
        Ok(area.map_or(Decimal::ZERO, |area| area.on_bought(self.today())))
    }

    fn tax_area_at(&self, site: SiteId) -> Result<Option<TaxArea>> {
        let area = self
            .connection
            .prepare_cached(
                "SELECT tax_area.id, name FROM site JOIN tax_area ON tax_area.id = tax_area_id WHERE site.id = :site",
            )?
            .query_row(named_params! { ":site": site }, |row| {
                Ok((row.get("id")?, row.get("name")?))
            })
            .optional()?;
        let with_rates = |(id, name)| -> Result<TaxArea> {
            let rates = self.tax_rates(id)?;
            Ok(TaxArea { id, name, rates })
        };
        area.map(with_rates).transpose()
    }
}

impl Writing<'_> {
    /// Adds a tax area with its rates from a date on.
    ///
    /// # Errors
    /// Refuses a name that is taken, and a percentage that isn't one.
    pub fn add_tax_area(
        &self,
        name: &str,
        rates: &[(TaxedKind, Decimal)],
        valid_from: NaiveDate,
    ) -> Result<()> {
        let name = named("tax area", name)?;
        if self.tax_areas()?.iter().any(|area| same(&area.name, &name)) {
            return Err(
                Refusal::new(format!("there is already a tax area `{name}`"))
                    .hint(format!(
                        "gritledger tax-area set {} PERCENT --from DATE",
                        typed(&name)
                    ))
                    .into(),
            );
        }
        let id = self.new_id("tax_area")?;
        self.connection.execute(
            "INSERT INTO tax_area (id, name, recorded_at) VALUES (:id, :name, :now)",
            named_params! { ":id": id, ":name": name, ":now": self.now() },
        )?;
        self.insert_tax_rates(id, rates, valid_from)?;
        self.log(&format!("Added tax area {name} at {}.", rates_text(rates)))
    }

    /// Sets rates of a tax area from a date on.
    ///
    /// # Errors
    /// Refuses a percentage that isn't one.
    pub fn set_tax_rates(
        &self,
        area: &TaxArea,
        rates: &[(TaxedKind, Decimal)],
        valid_from: NaiveDate,
    ) -> Result<()> {
        self.insert_tax_rates(area.id, rates, valid_from)?;
        let (name, rates) = (&area.name, rates_text(rates));
        self.log(&format!("Set tax in {name} to {rates} from {valid_from}."))
    }

    fn insert_tax_rates(
        &self,
        area: i64,
        rates: &[(TaxedKind, Decimal)],
        valid_from: NaiveDate,
    ) -> Result<()> {
        check_day(valid_from, self.today())?;
        for (kind, percent) in rates {
            if percent.is_sign_negative() || *percent > Decimal::ONE_HUNDRED {
                refuse!(
                    "`{}` is not a percentage between 0 and 100",
                    percent.normalize()
                );
            }
            self.connection.execute(
                "INSERT INTO tax_rate (id, tax_area_id, applies_to, percent_micro, valid_from, recorded_at)
                 VALUES (:id, :area, :kind, :percent, :from, :now)",
                named_params! {
                    ":id": self.new_id("tax_rate")?, ":area": area, ":kind": kind, ":percent": Micro(*percent),
                    ":from": valid_from, ":now": self.now(),
                },
            )?;
        }
        Ok(())
    }
}

/// Says what is set: `8.25 %, 0 % on labour`.
pub fn rates_text(rates: &[(TaxedKind, Decimal)]) -> String {
    let each = rates.iter().map(|(kind, percent)| match kind {
        TaxedKind::Price => format!("{} %", percent.normalize()),
        TaxedKind::Bought => format!("{} % on what is bought", percent.normalize()),
        kind => format!("{} % on {kind}", percent.normalize()),
    });
    each.collect::<Vec<_>>().join(", ")
}
