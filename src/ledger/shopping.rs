//! The shopping list: what a quote or a job still needs, less what is in stock, in the cheapest packs.

use std::collections::BTreeMap;

use anyhow::{Context, Result};

use super::{Job, Ledger};
use crate::money::Decimal;
use crate::trade::buying::{Basket, cheapest_packs};
use crate::trade::job_cost::What;
use crate::trade::quote::{ItemNeed, Outlook};
use crate::trade::{ItemId, Unit};

/// A line of a shopping list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ToBuy {
    /// The item's name.
    pub item: String,
    /// Its unit.
    pub unit: Unit,
    /// What is expected to be used, in item units.
    pub expected: Decimal,
    /// With what confidence it is enough, as a fraction of one.
    pub confidence: Decimal,
    /// What is in stock of it.
    pub in_stock: Decimal,
    /// What is bought.
    pub basket: Basket,
    /// Whether unopened packs can be handed back.
    pub returnable: bool,
}

impl Ledger {
    /// Returns what would have to be bought for a quote.
    ///
    /// # Errors
    /// Fails if the file can't be read, and for more packs than can be worked out.
    pub fn shopping_for(&self, outlook: &Outlook) -> Result<Vec<ToBuy>> {
        self.shopping(&outlook.needs, &BTreeMap::new())
    }

    /// Returns what still has to be bought for a job: for what was agreed, less what was used.
    ///
    /// # Errors
    /// Fails if the file can't be read, and for more packs than can be worked out.
    pub fn shopping_for_job(&self, job: &Job) -> Result<Vec<ToBuy>> {
        let mut needs: BTreeMap<ItemId, ItemNeed> = BTreeMap::new();
        for record in self.agreed(job)?.quotes {
            for need in self.outlook_of(&record.header)?.needs {
                match needs.get_mut(&need.item) {
                    Some(known) => {
                        known.expected += need.expected;
                        known.need += need.need;
                        known.confidence = known.confidence.max(need.confidence);
                    }
                    None => {
                        needs.insert(need.item, need);
                    }
                }
            }
        }
        let mut used: BTreeMap<ItemId, Decimal> = BTreeMap::new();
        for logged in self.logged(job)? {
            if let What::Item { item, .. } = logged.what {
                *used.entry(item).or_default() += logged.quantity;
            }
        }
        self.shopping(&needs.into_values().collect::<Vec<_>>(), &used)
    }

    fn shopping(&self, needs: &[ItemNeed], used: &BTreeMap<ItemId, Decimal>) -> Result<Vec<ToBuy>> {
        let mut list = Vec::new();
        for item in self.items()? {
            let Some(need) = needs.iter().find(|need| need.item == item.id) else {
                continue;
            };
            let supply = item.supply();
            let used = used.get(&item.id).copied().unwrap_or_default();
            let in_stock = self.stock_of(item.id)?.on_hand.max(Decimal::ZERO);
            let missing = need.need - used - in_stock;
            if missing <= Decimal::ZERO {
                continue;
            }
            list.push(ToBuy {
                basket: cheapest_packs(missing, &supply.packs)
                    .with_context(|| format!("`{}` can't be bought", item.name))?,
                item: item.name,
                unit: item.unit,
                expected: (need.expected - used).max(Decimal::ZERO),
                confidence: need.confidence,
                in_stock,
                returnable: item.returnable,
            });
        }
        Ok(list)
    }
}
