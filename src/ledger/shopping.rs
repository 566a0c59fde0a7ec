//! The shopping list: what a quote or a job still needs, less what is in stock, in the cheapest packs.
//!
//! Trim that was measured piece by piece is bought as the sticks that its pieces are cut from, as long as the planned lines
//! are what was found, none of it was used yet, and none is in stock: stock is known by its length alone, not by its sticks.

use std::collections::BTreeMap;

use anyhow::{Context, Result};
use chrono::Days;
use rusqlite::named_params;

use super::books::JobRecord;
use super::{Job, Ledger, QuoteRecord, Refusal};
use crate::measure::Length;
use crate::money::{Decimal, Money, quantity};
use crate::trade::bounds::MOST_PIECES;
use crate::trade::buying::{Basket, cheapest_packs, packs_to_cut};
use crate::trade::cutting::CuttingList;
use crate::trade::job_cost::What;
use crate::trade::operation::Driver;
use crate::trade::quote::{ItemNeed, Line, Outlook, Quote};
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
    /// With what confidence it is enough, as a fraction of one; `None`: just what its pieces are cut from.
    pub confidence: Option<Decimal>,
    /// What is in stock of it.
    pub in_stock: Decimal,
    /// What is bought.
    pub basket: Basket,
    /// Whether unopened packs can be handed back.
    pub returnable: bool,
    /// How its pieces are cut, if they are known.
    pub cut: Option<CuttingList>,
}

/// For how long shops take unopened packs back (common practice, no source).
const TAKEN_BACK_DAYS: u64 = 30;

/// What is in stock of an item and no job under way needs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Spare {
    /// The item's name.
    pub item: String,
    /// Its unit.
    pub unit: Unit,
    /// How much of it.
    pub quantity: Decimal,
    /// What that cost.
    pub value: Money,
}

impl Ledger {
    /// Returns what would have to be bought for a quote.
    ///
    /// # Errors
    /// Fails if the file can't be read, and for more packs than can be worked out.
    pub fn shopping_for(&self, quote: &Quote, outlook: &Outlook) -> Result<Vec<ToBuy>> {
        let pieces = self.pieces_for(quote.lines.iter())?;
        self.shopping(&outlook.needs, &BTreeMap::new(), &pieces)
    }

    /// Returns what would have to be bought for a quote as it was drafted.
    ///
    /// # Errors
    /// Refuses a variation that changes a job: what is bought is the job's.
    pub fn shopping_for_quote(&self, record: &QuoteRecord) -> Result<Vec<ToBuy>> {
        let QuoteRecord { header, quote } = record;
        if let Some(job) = header.variation_of.filter(|_| header.varies.is_some()) {
            let job = self.job_by_id(job)?.number;
            let refusal = Refusal::new(format!(
                "{} changes {job}: what is to be bought is the job's",
                header.number
            ));
            return Err(refusal.hint(format!("gritledger job buy {job}")).into());
        }
        self.shopping_for(quote, &self.outlook_of(header)?)
    }

    /// Returns what still has to be bought for a job: for what was agreed, less what was used.
    ///
    /// # Errors
    /// Fails if the file can't be read, and for more packs than can be worked out.
    pub fn shopping_for_job(&self, job: &Job) -> Result<Vec<ToBuy>> {
        self.shopping_for_record(&self.record_of(job)?)
    }

    pub(super) fn shopping_for_record(&self, job: &JobRecord) -> Result<Vec<ToBuy>> {
        let (needs, used) = self.needs_of(job)?;
        let lines = job.agreed.quotes.iter();
        let pieces = self.pieces_for(lines.flat_map(|record| &record.quote.lines))?;
        self.shopping(&needs, &used, &pieces)
    }

    /// Returns what a job needs of items, and what it has used of them.
    fn needs_of(&self, job: &JobRecord) -> Result<(Vec<ItemNeed>, BTreeMap<ItemId, Decimal>)> {
        let mut needs: BTreeMap<ItemId, ItemNeed> = BTreeMap::new();
        let agreed = &job.agreed.quotes;
        for outlook in self.outlooks_of(agreed)? {
            for need in outlook.needs {
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
        for logged in &job.logged {
            if let What::Item { item, .. } = &logged.what {
                *used.entry(*item).or_default() += logged.quantity;
            }
        }
        Ok((needs.into_values().collect(), used))
    }

    /// Returns what may be handed back of what was bought lately: items whose last use is of a closed job, as far as no job
    /// under way needs them.
    pub(super) fn to_hand_back(&self, under_way: &[JobRecord]) -> Result<Vec<Spare>> {
        let mut needed: BTreeMap<ItemId, Decimal> = BTreeMap::new();
        for job in under_way {
            let (needs, used) = self.needs_of(job)?;
            for need in needs {
                let used = used.get(&need.item).copied().unwrap_or_default();
                *needed.entry(need.item).or_default() += (need.need - used).max(Decimal::ZERO);
            }
        }
        let mut spares = Vec::new();
        for item in self.items()?.into_iter().filter(|item| item.returnable) {
            let Some(smallest) = item.packs.iter().map(|pack| pack.size).min() else {
                continue;
            };
            let stock = self.stock_of(item.id)?;
            let quantity = stock.on_hand - needed.get(&item.id).copied().unwrap_or_default();
            if quantity >= smallest && self.is_left_over(item.id)? {
                spares.push(Spare {
                    item: item.name,
                    unit: item.unit,
                    quantity,
                    value: stock.value.times(quantity / stock.on_hand),
                });
            }
        }
        Ok(spares)
    }

    /// Tells whether an item was bought lately, and used last on a job that is closed: what nobody logged the use of may be
    /// used up.
    fn is_left_over(&self, item: ItemId) -> Result<bool> {
        let mut statement = self.connection.prepare_cached(
            "SELECT (SELECT MAX(happened_on) FROM live_entry WHERE item_id = :item AND kind = 'buy') >= :lately
                    AND (SELECT what FROM job_state WHERE job_id =
                             (SELECT job_id FROM live_entry WHERE item_id = :item AND kind = 'use'
                              ORDER BY happened_on DESC, place_id DESC LIMIT 1)) = 'closed'",
        )?;
        let lately = self.today() - Days::new(TAKEN_BACK_DAYS);
        let is_so: Option<bool> = statement
            .query_row(named_params! { ":item": item, ":lately": lately }, |row| {
                row.get(0)
            })?;
        Ok(is_so.unwrap_or(false))
    }

    /// Returns the pieces of each item that planned lines take, where all that a line takes was measured in pieces.
    fn pieces_for<'a>(
        &self,
        lines: impl Iterator<Item = &'a Line>,
    ) -> Result<BTreeMap<ItemId, Vec<Length>>> {
        let mut pieces: BTreeMap<ItemId, Vec<Length>> = BTreeMap::new();
        for line in lines {
            if let Line::Work(work) = line
                && work.contingency.is_none()
                && let (Some(room), Some(item)) = (work.room, &work.item)
                && matches!(work.driver, Driver::Length | Driver::Edge)
            {
                let found = self.pieces_in(room, work.operation)?;
                let sum: Length = found.iter().copied().sum();
                if quantity(sum.feet()) == work.quantity {
                    pieces.entry(item.id).or_default().extend(found);
                }
            }
        }
        pieces.retain(|_, pieces| pieces.len() <= MOST_PIECES);
        Ok(pieces)
    }

    fn shopping(
        &self,
        needs: &[ItemNeed],
        used: &BTreeMap<ItemId, Decimal>,
        pieces: &BTreeMap<ItemId, Vec<Length>>,
    ) -> Result<Vec<ToBuy>> {
        let saw_loss = self.settings()?.saw_loss;
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
            let untouched = used.is_zero() && in_stock.is_zero();
            let pieces = pieces.get(&item.id).filter(|_| untouched);
            let sold = (&supply.packs[..], item.unit);
            let cut = pieces.and_then(|pieces| packs_to_cut(sold, pieces, saw_loss));
            let (basket, cut) = match cut {
                Some((basket, cut)) => (basket, Some(cut)),
                None => {
                    let basket = cheapest_packs(missing, &supply.packs);
                    let named = || format!("`{}` can't be bought", item.name);
                    (basket.with_context(named)?, None)
                }
            };
            list.push(ToBuy {
                basket,
                item: item.name,
                unit: item.unit,
                expected: (need.expected - used).max(Decimal::ZERO),
                confidence: cut.is_none().then_some(need.confidence),
                in_stock,
                returnable: item.returnable,
                cut,
            });
        }
        Ok(list)
    }
}
