//! Is every unit and every cent of stock accounted for, and worked out from what was typed?

use std::collections::BTreeMap;

use anyhow::Result;

use super::{Ledger, Problems, called};
use crate::money::Money;
use crate::trade::ItemId;

/// Rows (id, number of an entry) that contradict another, and what is wrong.
const CONTRADICTIONS: &[(&str, &str)] = &[
    (
        "what it did to the stock is said of another item",
        "SELECT DISTINCT entry.id, entry.number FROM stock_effect JOIN entry ON entry.id = entry_id
         WHERE stock_effect.item_id IS NOT entry.item_id",
    ),
    (
        "its stock was worked out for an entry that comes before it",
        "SELECT DISTINCT entry.id, entry.number FROM stock_effect JOIN entry ON entry.id = entry_id
         WHERE cause_id < entry_id AND cause_id >> 40 = entry_id >> 40",
    ),
    (
        "it did nothing to the stock of its item",
        "SELECT id, number FROM entry WHERE item_id IS NOT NULL
         AND NOT EXISTS (SELECT 1 FROM stock_effect WHERE entry_id = entry.id)",
    ),
    (
        "it settles what awaits a receipt, and is no purchase of that item",
        "SELECT DISTINCT bought.id, bought.number FROM stock_settlement AS settled
         JOIN stock_effect AS effect ON effect.id = settled.effect_id
         JOIN entry AS bought ON bought.id = effect.entry_id JOIN entry AS used ON used.id = settled.used_id
         WHERE bought.kind <> 'buy' OR used.item_id IS NOT bought.item_id",
    ),
    (
        "it stands in the place of another entry, and no slip was taken back there",
        "SELECT entry.id, entry.number FROM entry JOIN entry AS slip ON slip.id = entry.place_id
         WHERE slip.id <> entry.id AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = slip.id)",
    ),
];

impl Ledger {
    pub(super) fn check_stock(&self, problems: &mut Problems) -> Result<()> {
        for (words, sql) in CONTRADICTIONS {
            self.each(problems, sql, |row| {
                Ok(format!("{}: {words}", called('E', row)?))
            })?;
        }
        self.check_flows(problems)
    }

    /// For each item: paid − refunded = on hand + charged − assumed and still awaiting + lost.
    fn check_flows(&self, problems: &mut Problems) -> Result<()> {
        let flows = self.stock_flows()?;
        for item in self.items()? {
            for entry in self.wrong_effects(item.id)? {
                problems.push(format!(
                    "stock of {}: what is kept of {entry} isn't what the entries come to",
                    item.name
                ));
            }
            let stock = self.stock_of(item.id)?;
            if stock.on_hand.is_sign_negative() && !stock.on_hand.is_zero() {
                problems.push(format!("stock of {}: {} on hand", item.name, stock.on_hand));
            }
            if stock.on_hand.is_zero() && !stock.value.is_zero() {
                problems.push(format!(
                    "stock of {}: nothing on hand is worth {}",
                    item.name,
                    self.currency().text(stock.value)
                ));
            }
            let awaiting: Money = stock.awaiting.iter().map(|awaiting| awaiting.value).sum();
            let (paid, gone) = flows.get(&item.id).copied().unwrap_or_default();
            let accounted = stock.value + gone - awaiting;
            if paid != accounted {
                problems.push(format!(
                    "stock of {}: {} was paid, {} is accounted for",
                    item.name,
                    self.currency().text(paid),
                    self.currency().text(accounted)
                ));
            }
        }
        Ok(())
    }

    /// Returns what was paid (less refunds) for each item, and what was charged or lost of it; all items in one pass.
    fn stock_flows(&self) -> Result<BTreeMap<ItemId, (Money, Money)>> {
        let mut statement = self.connection.prepare(
            "SELECT item_id, SUM(paid) AS paid, SUM(gone) AS gone
             FROM (SELECT item_id, amount_minor AS paid, 0 AS gone FROM live_entry WHERE kind = 'buy'
                   UNION ALL
                   SELECT item_id, -refund, taken - refund
                   FROM (SELECT effect.item_id, awaiting_minor - value_minor AS taken,
                                CASE effect.kind WHEN 'hand-back' THEN COALESCE(entry.amount_minor, awaiting_minor - value_minor)
                                ELSE 0 END AS refund
                         FROM stock_value AS effect JOIN entry ON entry.id = effect.entry_id
                         WHERE effect.kind <> 'buy' AND effect.until IS NULL)
                   UNION ALL
                   SELECT bought.item_id, 0, settled.paid_minor - settled.value_minor
                   FROM stock_settlement AS settled
                   JOIN stock_value AS bought ON bought.id = settled.effect_id AND bought.until IS NULL)
             GROUP BY item_id",
        )?;
        let flows = statement.query_map([], |row| {
            Ok((row.get("item_id")?, (row.get("paid")?, row.get("gone")?)))
        })?;
        Ok(flows.collect::<rusqlite::Result<_>>()?)
    }
}
