//! Tax areas: places with their own tax on the price, each rate from its date on.

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::{OptionalExtension, named_params};

use super::columns::Micro;
use super::names::{Names, named, same};
use super::{Ledger, Refusal, Writing, refuse, typed};
use crate::money::Decimal;
use crate::trade::SiteId;
use crate::trade::bounds::check_day;

/// A tax area and its rates.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TaxArea {
    /// Identity.
    pub id: i64,
    /// Its name.
    pub name: String,
    /// From when on which percentage of the price holds, oldest first.
    pub rates: Vec<(NaiveDate, Decimal)>,
}

impl Ledger {
    /// Returns the tax areas, by name.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn tax_areas(&self) -> Result<Vec<TaxArea>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT tax_area.id, name, valid_from, percent_micro FROM tax_area
             LEFT JOIN tax_rate ON tax_rate.tax_area_id = tax_area.id AND applies_to = 'price'
             ORDER BY name, tax_area.id, valid_from, tax_rate.id",
        )?;
        let rows = statement.query_map([], |row| {
            let from: Option<NaiveDate> = row.get("valid_from")?;
            let percent: Option<Micro> = row.get("percent_micro")?;
            Ok((
                row.get::<_, i64>("id")?,
                row.get::<_, String>("name")?,
                from.zip(percent),
            ))
        })?;
        let mut areas: Vec<TaxArea> = Vec::new();
        for row in rows {
            let (id, name, rate) = row?;
            if areas.last().is_none_or(|area| area.id != id) {
                areas.push(TaxArea {
                    id,
                    name,
                    rates: Vec::new(),
                });
            }
            if let (Some(area), Some((from, percent))) = (areas.last_mut(), rate) {
                area.rates.push((from, percent.0));
            }
        }
        Ok(areas)
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
    pub fn tax_changed(&self, site: SiteId, from: Decimal) -> Result<Option<String>> {
        let to = self.tax_in_force(site)?;
        if to == from {
            return Ok(None);
        }
        Ok(Some(format!(
            "tax at `{}` went from {} % to {} %",
            self.address_of(site)?,
            from.normalize(),
            to.normalize()
        )))
    }

    /// Returns the percentage of tax on a price at a site today; without a tax area the setting `tax-percent`.
    pub(super) fn tax_in_force(&self, site: SiteId) -> Result<Decimal> {
        let area: Option<i64> = self
            .connection
            .prepare_cached("SELECT tax_area_id FROM site WHERE id = :site")?
            .query_row(named_params! { ":site": site }, |row| row.get(0))?;
        let Some(area) = area else {
            return Ok(self.settings()?.tax_percent);
        };
        let percent: Option<Micro> = self
            .connection
            .prepare_cached(
                "SELECT percent_micro FROM tax_rate
                 WHERE tax_area_id = :area AND applies_to = 'price' AND valid_from <= :on
                 ORDER BY valid_from DESC, id DESC LIMIT 1",
            )?
            .query_row(
                named_params! { ":area": area, ":on": self.today() },
                |row| row.get(0),
            )
            .optional()?;
        Ok(percent.map_or(Decimal::ZERO, |percent| percent.0))
    }
}

impl Writing<'_> {
    /// Adds a tax area with its rate from a date on.
    ///
    /// # Errors
    /// Refuses a name that is taken, and a percentage that isn't one.
    pub fn add_tax_area(&self, name: &str, percent: Decimal, valid_from: NaiveDate) -> Result<()> {
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
        self.insert_tax_rate(id, percent, valid_from)?;
        self.log(&format!(
            "Added tax area {name} at {} %.",
            percent.normalize()
        ))
    }

    /// Sets the rate of a tax area from a date on.
    ///
    /// # Errors
    /// Refuses a percentage that isn't one.
    pub fn set_tax_rate(
        &self,
        area: &TaxArea,
        percent: Decimal,
        valid_from: NaiveDate,
    ) -> Result<()> {
        self.insert_tax_rate(area.id, percent, valid_from)?;
        self.log(&format!(
            "Set tax in {} to {} % from {valid_from}.",
            area.name,
            percent.normalize()
        ))
    }

    fn insert_tax_rate(&self, area: i64, percent: Decimal, valid_from: NaiveDate) -> Result<()> {
        if percent.is_sign_negative() || percent > Decimal::ONE_HUNDRED {
            refuse!(
                "`{}` is not a percentage between 0 and 100",
                percent.normalize()
            );
        }
        check_day(valid_from, self.today())?;
        self.connection.execute(
            "INSERT INTO tax_rate (id, tax_area_id, percent_micro, valid_from, recorded_at)
             VALUES (:id, :area, :percent, :from, :now)",
            named_params! {
                ":id": self.new_id("tax_rate")?, ":area": area, ":percent": Micro(percent), ":from": valid_from,
                ":now": self.now(),
            },
        )?;
        Ok(())
    }
}
