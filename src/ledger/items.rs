//! Items: what is used up, and the packs that it is bought in.

use std::collections::BTreeMap;

use anyhow::Result;
use rusqlite::named_params;

use super::columns::Micro;
use super::names::Names;
use super::{Ledger, Refusal, Writing, refuse};
use crate::money::{Currency, Decimal, Money, plain, quantity};
use crate::trade::buying::PackSize;
use crate::trade::pricing::Supply;
use crate::trade::{ItemId, Unit};

/// Units that items are counted or measured in.
pub(super) const ITEM_UNITS: [Unit; 8] = [
    Unit::Disc,
    Unit::Gallon,
    Unit::Litre,
    Unit::Each,
    Unit::Foot,
    Unit::Metre,
    Unit::SquareFoot,
    Unit::SquareMetre,
];

/// A consumable or material.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BookItem {
    /// Identity.
    pub id: ItemId,
    /// Its name, such as `disc-7in-36`.
    pub name: String,
    /// A short phrase.
    pub description: String,
    /// The unit it is counted or measured in.
    pub unit: Unit,
    /// Whether an opened container keeps.
    pub kept: bool,
    /// Whether unopened packs can be handed back.
    pub returnable: bool,
    /// Whether it is in use.
    pub active: bool,
    /// The packs it is sold in, the one usually bought first.
    pub packs: Vec<Pack>,
}

/// A pack that an item is sold in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pack {
    /// Units in it.
    pub size: Decimal,
    /// Its price.
    pub price: Money,
    /// Where the price comes from.
    pub source: String,
}

impl BookItem {
    /// Returns how it is bought.
    pub fn supply(&self) -> Supply {
        Supply {
            packs: self
                .packs
                .iter()
                .map(|pack| PackSize {
                    size: pack.size,
                    price: pack.price,
                })
                .collect(),
            kept: self.kept,
            returnable: self.returnable,
        }
    }

    /// Returns the book price per unit in major units: that of the pack usually bought, nothing if no pack is known.
    pub fn unit_price(&self, currency: Currency) -> Decimal {
        self.packs.first().map_or(Decimal::ZERO, |pack| {
            quantity(currency.decimal(pack.price) / pack.size)
        })
    }
}

/// An item to be added.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewItem {
    /// Its name; unique.
    pub name: String,
    /// A short phrase.
    pub description: String,
    /// Its unit.
    pub unit: Unit,
    /// Whether an opened container keeps.
    pub kept: bool,
    /// Whether unopened packs can be handed back.
    pub returnable: bool,
    /// The packs it is sold in, the one usually bought first.
    pub packs: Vec<Pack>,
}

impl Ledger {
    /// Returns every item, by name, with its packs.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn items(&self) -> Result<Vec<BookItem>> {
        let mut packs = self.packs()?;
        let mut statement = self.connection.prepare_cached(
            "SELECT id, name, description, unit, kept, returnable, active FROM item ORDER BY name, id",
        )?;
        let items = statement.query_map([], |row| {
            let id: ItemId = row.get("id")?;
            let (kept, returnable): (i64, i64) = (row.get("kept")?, row.get("returnable")?);
            Ok(BookItem {
                id,
                name: row.get("name")?,
                description: row.get("description")?,
                unit: row.get("unit")?,
                kept: kept == 1,
                returnable: returnable == 1,
                active: row.get("active")?,
                packs: packs.remove(&id).unwrap_or_default(),
            })
        })?;
        Ok(items.collect::<rusqlite::Result<_>>()?)
    }

    fn packs(&self) -> Result<BTreeMap<ItemId, Vec<Pack>>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT item_id, size_micro, price_minor, source FROM item_pack ORDER BY item_id, position",
        )?;
        let rows = statement.query_map([], |row| {
            let size: Micro = row.get("size_micro")?;
            let pack = Pack {
                size: size.0,
                price: row.get("price_minor")?,
                source: row.get("source")?,
            };
            Ok((row.get("item_id")?, pack))
        })?;
        let mut packs: BTreeMap<ItemId, Vec<Pack>> = BTreeMap::new();
        for row in rows {
            let (item, pack) = row?;
            packs.entry(item).or_default().push(pack);
        }
        Ok(packs)
    }

    /// Returns the item of that name.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn item(&self, name: &str) -> Result<BookItem> {
        self.items_by_name()?.find(name).cloned()
    }

    pub(super) fn items_by_name(&self) -> Result<Names<BookItem>> {
        let items = self.items()?.into_iter();
        let named = items.map(|item| (item.name.clone(), item));
        Ok(Names::new("item", named).only_whole(|item| !item.active))
    }
}

impl Writing<'_> {
    /// Adds an item.
    ///
    /// # Errors
    /// Refuses a name that is empty or taken.
    pub fn add_item(&self, item: &NewItem) -> Result<ItemId> {
        let id = self.insert_item(item)?;
        self.log(&format!("Added item {}.", item.name))?;
        Ok(id)
    }

    pub(super) fn insert_item(&self, item: &NewItem) -> Result<ItemId> {
        let name = self.new_name("item", &item.name)?;
        self.insert_item_called(&name, item)
    }

    /// Writes an item down, by a name that is free.
    pub(super) fn insert_item_called(&self, name: &str, item: &NewItem) -> Result<ItemId> {
        item_unit(item.unit)?;
        let id = ItemId(self.new_id("item")?);
        self.connection
            .prepare_cached(
                "INSERT INTO item (id, name, description, unit, kept, returnable, recorded_at)
                 VALUES (:id, :name, :description, :unit, :kept, :returnable, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":name": name, ":description": item.description, ":unit": item.unit,
                ":kept": i64::from(item.kept), ":returnable": i64::from(item.returnable), ":now": self.now(),
            })?;
        for pack in &item.packs {
            self.set_pack(id, pack)?;
        }
        Ok(id)
    }

    /// Changes an item's description, keeping and returning, and the prices of its packs.
    ///
    /// A pack of a size that is known gets the new price; another size is added.
    ///
    /// # Errors
    /// Fails if the file can't be written.
    pub fn edit_item(&self, item: &BookItem) -> Result<()> {
        self.update_item(item)?;
        self.log(&format!("Changed item {}.", item.name))
    }

    pub(super) fn update_item(&self, item: &BookItem) -> Result<()> {
        self.connection.execute(
            "UPDATE item SET description = :description, kept = :kept, returnable = :returnable WHERE id = :id",
            named_params! {
                ":description": item.description, ":kept": i64::from(item.kept),
                ":returnable": i64::from(item.returnable), ":id": item.id,
            },
        )?;
        for pack in &item.packs {
            self.set_pack(item.id, pack)?;
        }
        Ok(())
    }

    /// Takes a pack out of the book, in which its item isn't sold any more.
    ///
    /// # Errors
    /// Refuses a size that isn't there, and the last pack of an item: it would have no price.
    pub fn remove_pack(&self, item: &str, size: Decimal) -> Result<()> {
        let item = self.item(item)?;
        let shown = plain(size, 6);
        if !item.packs.iter().any(|pack| pack.size == size) {
            let sizes: Vec<String> = item.packs.iter().map(|pack| plain(pack.size, 6)).collect();
            let refusal = Refusal::new(format!("{} has no pack of `{shown}`", item.name));
            return Err(refusal.hint(format!("packs: {}", sizes.join(", "))).into());
        }
        if item.packs.len() == 1 {
            let refusal = Refusal::new(format!(
                "`{shown}` is the last pack of {}: without one it would have no price",
                item.name
            ));
            let operations = self.operations()?.into_iter();
            let takers = operations.filter(|operation| {
                operation
                    .item
                    .as_ref()
                    .is_some_and(|taken| taken.id == item.id)
            });
            let refusal = takers.fold(refusal, |refusal, operation| {
                refusal.hint(format!(
                    "gritledger operation edit {} --item none",
                    operation.name
                ))
            });
            return Err(refusal.into());
        }
        self.connection.execute(
            "DELETE FROM item_pack WHERE item_id = :item AND size_micro = :size",
            named_params! { ":item": item.id, ":size": Micro(size) },
        )?;
        self.log(&format!(
            "Took the pack of {shown} of {} out of the book.",
            item.name
        ))
    }

    fn set_pack(&self, item: ItemId, pack: &Pack) -> Result<()> {
        if quantity(pack.size) <= Decimal::ZERO {
            refuse!(
                "a pack holds more than nothing: `{}`",
                pack.size.normalize()
            );
        }
        if pack.price.is_negative() {
            refuse!("a price is not below zero");
        }
        let changed = self.connection.execute(
            "UPDATE item_pack SET price_minor = :price, source = :source WHERE item_id = :item AND size_micro = :size",
            named_params! { ":price": pack.price, ":source": pack.source, ":item": item, ":size": Micro(pack.size) },
        )?;
        if changed == 0 {
            self.connection.execute(
                "INSERT INTO item_pack (id, item_id, position, size_micro, price_minor, source)
                 VALUES (:id, :item, (SELECT COALESCE(MAX(position), 0) + 1 FROM item_pack WHERE item_id = :item),
                         :size, :price, :source)",
                named_params! {
                    ":id": self.new_id("item_pack")?, ":item": item, ":size": Micro(pack.size), ":price": pack.price,
                    ":source": pack.source,
                },
            )?;
        }
        Ok(())
    }
}

/// Returns a unit that items are counted or measured in; hours, days and distances are none.
pub(super) fn item_unit(unit: Unit) -> Result<Unit> {
    if !ITEM_UNITS.contains(&unit) {
        let units: Vec<&str> = ITEM_UNITS.iter().map(|unit| unit.as_str()).collect();
        refuse!(
            "`{unit}` is not a unit of items; one of: {}",
            units.join(", ")
        );
    }
    Ok(unit)
}
