//! Purchases, hand-backs, counts, and what is on the shelf. The arithmetic is in [`crate::trade::stock`].

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::named_params;

use super::columns::Micro;
use super::day_book::NewEntry;
use super::{BookItem, Job, Ledger, Recorded, Writing, numbered, refuse};
use crate::money::{Decimal, Money, plain, quantity};
use crate::trade::stock::{Awaiting, Stock};
use crate::trade::{EntryId, ItemId, JobId, Unit};

/// One item on the shelf, or used without a receipt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StockLine {
    /// The item's name.
    pub item: String,
    /// Its unit.
    pub unit: Unit,
    /// Units on the shelf.
    pub on_hand: Decimal,
    /// What they cost.
    pub value: Money,
    /// Units used without a receipt.
    pub awaiting: Decimal,
    /// What those were assumed to cost.
    pub awaiting_value: Money,
}

/// A use whose receipt has not come.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AwaitingReceipt {
    /// The use.
    pub entry: String,
    /// Its job.
    pub job_id: JobId,
    /// The job's number.
    pub job: String,
    /// The item's name.
    pub item: String,
    /// Its unit.
    pub unit: Unit,
    /// Units not yet settled.
    pub quantity: Decimal,
    /// What they were assumed to cost.
    pub value: Money,
}

/// What is still awaiting of each row: quantity and assumed value less what purchases that count have settled;
/// uses that count only.
const AWAITING: &str = "
    SELECT awaiting.id, awaiting.entry_id, awaiting.item_id,
           awaiting.quantity_micro - COALESCE(SUM(settled.quantity_micro), 0) AS quantity_micro,
           awaiting.value_minor - COALESCE(SUM(settled.value_minor), 0) AS value_minor
    FROM stock_awaiting AS awaiting
    JOIN live_entry AS used ON used.id = awaiting.entry_id
    LEFT JOIN (SELECT stock_settlement.* FROM stock_settlement JOIN live_entry ON live_entry.id = stock_settlement.entry_id)
         AS settled ON settled.awaiting_id = awaiting.id";

impl Ledger {
    /// Returns what there is of an item.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn stock_of(&self, item: ItemId) -> Result<Stock> {
        let (on_hand, value): (Micro, Money) = self
            .connection
            .prepare_cached(
                "SELECT COALESCE(SUM(quantity_micro), 0) AS quantity, COALESCE(SUM(value_minor), 0) AS value
                 FROM stock_move WHERE item_id = :item",
            )?
            .query_row(named_params! { ":item": item }, |row| Ok((row.get("quantity")?, row.get("value")?)))?;
        let sql = format!(
            "{AWAITING} WHERE awaiting.item_id = :item GROUP BY awaiting.id
             HAVING awaiting.quantity_micro > COALESCE(SUM(settled.quantity_micro), 0) ORDER BY awaiting.id"
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let awaiting = statement.query_map(named_params! { ":item": item }, |row| {
            let quantity: Micro = row.get("quantity_micro")?;
            Ok(Awaiting {
                row: row.get("id")?,
                quantity: quantity.0,
                value: row.get("value_minor")?,
            })
        })?;
        Ok(Stock {
            on_hand: on_hand.0,
            value,
            awaiting: awaiting.collect::<rusqlite::Result<_>>()?,
        })
    }

    /// Returns every item that is on the shelf or awaits a receipt, by name.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn stock_list(&self) -> Result<Vec<StockLine>> {
        let mut lines = Vec::new();
        for item in self.items()? {
            let stock = self.stock_of(item.id)?;
            if stock.on_hand.is_zero() && stock.awaiting.is_empty() {
                continue;
            }
            lines.push(StockLine {
                item: item.name,
                unit: item.unit,
                on_hand: stock.on_hand,
                value: stock.value,
                awaiting: stock
                    .awaiting
                    .iter()
                    .map(|awaiting| awaiting.quantity)
                    .sum(),
                awaiting_value: stock.awaiting.iter().map(|awaiting| awaiting.value).sum(),
            });
        }
        Ok(lines)
    }

    /// Returns every use whose receipt has not come, oldest first.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn awaiting_receipt(&self) -> Result<Vec<AwaitingReceipt>> {
        let sql = format!(
            "SELECT open.entry_id, entry.number, entry.job_id, job.number AS job_number, item.name, item.unit,
                    open.quantity_micro, open.value_minor
             FROM ({AWAITING} GROUP BY awaiting.id
                   HAVING awaiting.quantity_micro > COALESCE(SUM(settled.quantity_micro), 0)) AS open
             JOIN entry ON entry.id = open.entry_id
             JOIN job ON job.id = entry.job_id
             JOIN item ON item.id = open.item_id
             ORDER BY open.id"
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let lines = statement.query_map([], |row| {
            let (entry, job): (EntryId, JobId) = (row.get("entry_id")?, row.get("job_id")?);
            let quantity: Micro = row.get("quantity_micro")?;
            Ok(AwaitingReceipt {
                entry: numbered('E', entry.0, row.get("number")?),
                job_id: job,
                job: numbered('J', job.0, row.get("job_number")?),
                item: row.get("name")?,
                unit: row.get("unit")?,
                quantity: quantity.0,
                value: row.get("value_minor")?,
            })
        })?;
        Ok(lines.collect::<rusqlite::Result<_>>()?)
    }
}

impl Writing<'_> {
    /// Logs a purchase: it settles what awaits a receipt, and the rest goes on the shelf.
    ///
    /// # Errors
    /// Refuses nothing bought, a cost below zero, and a date after today.
    pub fn record_buy(
        &self,
        item: &BookItem,
        bought: Decimal,
        paid: Money,
        on: NaiveDate,
        note: &str,
    ) -> Result<Recorded> {
        let bought = quantity(bought);
        if bought <= Decimal::ZERO {
            refuse!("`{}` is not a quantity bought", plain(bought, 6));
        }
        if paid.is_negative() {
            refuse!("a purchase does not cost less than nothing");
        }
        let effect = self.stock_of(item.id)?.buy(bought, paid);
        let recorded = self.insert_entry(&NewEntry {
            kind: "buy",
            on,
            item: Some(item.id),
            quantity: Some(bought),
            amount: Some(paid),
            what: note,
            ..NewEntry::default()
        })?;
        for settled in &effect.settled {
            self.connection
                .prepare_cached(
                    "INSERT INTO stock_settlement (id, awaiting_id, entry_id, quantity_micro, value_minor, paid_minor)
                     VALUES (:id, :awaiting, :entry, :quantity, :value, :paid)",
                )?
                .execute(named_params! {
                    ":id": self.new_id("stock_settlement")?, ":awaiting": settled.row, ":entry": recorded.id,
                    ":quantity": Micro(settled.quantity), ":value": settled.value, ":paid": settled.paid,
                })?;
        }
        if !effect.to_stock.is_zero() || !effect.value.is_zero() {
            self.move_stock(recorded.id, item.id, effect.to_stock, effect.value)?;
        }
        let cost = self.currency().text(paid);
        self.log(&format!(
            "{}: bought {} {} of {} for {cost}.",
            recorded.number,
            plain(bought, 4),
            item.unit,
            item.name
        ))?;
        Ok(recorded)
    }

    /// Logs a hand-back to the shop; a refund other than the average cost is the job's gain or loss.
    ///
    /// # Errors
    /// Refuses more than is on the shelf, and a date after today.
    pub fn record_hand_back(
        &self,
        item: &BookItem,
        returned: Decimal,
        refund: Option<Money>,
        job: Option<&Job>,
        on: NaiveDate,
    ) -> Result<Recorded> {
        let returned = quantity(returned);
        if returned <= Decimal::ZERO {
            refuse!("`{}` is not a quantity handed back", plain(returned, 6));
        }
        let value = match self.stock_of(item.id)?.remove(returned) {
            Ok(value) => value,
            Err(short) => refuse!("of {} {short}", item.name),
        };
        let refund = refund.unwrap_or(value);
        if refund.is_negative() {
            refuse!("a refund is not below zero");
        }
        let recorded = self.insert_entry(&NewEntry {
            kind: "hand-back",
            job: job.map(|job| job.id),
            late: job.is_some_and(Job::is_closed),
            on,
            item: Some(item.id),
            quantity: Some(returned),
            amount: Some(refund),
            ..NewEntry::default()
        })?;
        self.move_stock(recorded.id, item.id, -returned, -value)?;
        let back = self.currency().text(refund);
        self.log(&format!(
            "{}: handed back {} {} of {} for {back}.",
            recorded.number,
            plain(returned, 4),
            item.unit,
            item.name
        ))?;
        Ok(recorded)
    }

    /// Logs a count of the shelf; what is missing or found changes the stock at its average.
    ///
    /// # Errors
    /// Refuses a count below zero, and one while uses await a receipt.
    pub fn record_count(
        &self,
        item: &BookItem,
        counted: Decimal,
        on: NaiveDate,
    ) -> Result<Recorded> {
        let counted = quantity(counted);
        if counted < Decimal::ZERO {
            refuse!("a count is not below zero: `{}`", plain(counted, 6));
        }
        let stock = self.stock_of(item.id)?;
        if !stock.awaiting.is_empty() && !counted.is_zero() {
            refuse!(
                "{} awaits a receipt: log the purchase before counting it",
                item.name
            );
        }
        let (difference, value) =
            stock.count(counted, item.unit_price(self.currency()), self.currency());
        let recorded = self.insert_entry(&NewEntry {
            kind: "count",
            on,
            item: Some(item.id),
            quantity: Some(counted),
            amount: Some(-value),
            ..NewEntry::default()
        })?;
        if !difference.is_zero() {
            self.move_stock(recorded.id, item.id, difference, value)?;
        }
        self.log(&format!(
            "{}: counted {} {} of {}.",
            recorded.number,
            plain(counted, 4),
            item.unit,
            item.name
        ))?;
        Ok(recorded)
    }

    pub(super) fn move_stock(
        &self,
        entry: EntryId,
        item: ItemId,
        change: Decimal,
        value: Money,
    ) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO stock_move (id, entry_id, item_id, quantity_micro, value_minor)
                 VALUES (:id, :entry, :item, :quantity, :value)",
            )?
            .execute(named_params! {
                ":id": self.new_id("stock_move")?, ":entry": entry, ":item": item, ":quantity": Micro(change),
                ":value": value,
            })?;
        Ok(())
    }

    pub(super) fn await_receipt(
        &self,
        used: EntryId,
        cause: EntryId,
        item: ItemId,
        waiting: Decimal,
        value: Money,
    ) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO stock_awaiting (id, entry_id, cause_id, item_id, quantity_micro, value_minor)
                 VALUES (:id, :used, :cause, :item, :quantity, :value)",
            )?
            .execute(named_params! {
                ":id": self.new_id("stock_awaiting")?, ":used": used, ":cause": cause, ":item": item,
                ":quantity": Micro(waiting), ":value": value,
            })?;
        Ok(())
    }

    /// Undoes what a voided entry did to the shelf, from now on; the void is already written.
    pub(super) fn void_stock(
        &self,
        entry: EntryId,
        void: EntryId,
        kind: &str,
        item: ItemId,
        units: Decimal,
        amount: Money,
    ) -> Result<()> {
        if kind == "use" {
            // What was charged comes back to the shelf, less what was never there.
            let (settled, open_quantity, open_value) = self.awaited_by(entry)?;
            let returned = units - open_quantity;
            let value = amount + settled - open_value;
            if !returned.is_zero() || !value.is_zero() {
                self.move_stock(void, item, returned, value)?;
            }
            return self.revalue(item);
        }
        let (change, value) = match kind {
            // Units that settled a use since voided are on the shelf again: they go with the rest.
            "buy" => {
                let (settling, paid) = self.settling_uses(entry)?;
                (units - settling, amount - paid)
            }
            _ => self.moved_by(entry)?,
        };
        if change.is_zero() && value.is_zero() {
            return Ok(());
        }
        self.take_away(void, item, change, value)
    }

    /// Takes what an entry put on the shelf away again; what has been used since awaits a receipt once more.
    fn take_away(&self, void: EntryId, item: ItemId, change: Decimal, value: Money) -> Result<()> {
        let stock = self.stock_of(item)?;
        let short = change - stock.on_hand;
        if short <= Decimal::ZERO {
            self.move_stock(void, item, -change, -value)?;
            return self.revalue(item);
        }
        self.move_stock(void, item, -stock.on_hand, -stock.value)?;
        let mut left = short;
        let mut left_value = value - stock.value;
        for (used, units) in self.uses_from_stock(item)? {
            let part = left.min(units);
            if part.is_zero() {
                break;
            }
            let part_value = left_value.share(part, left);
            self.await_receipt(used, void, item, part, part_value)?;
            left -= part;
            left_value -= part_value;
        }
        if !left.is_zero() {
            refuse!(
                "more than was ever used would be missing: hand-backs and counts rest on that entry, void them first"
            );
        }
        Ok(())
    }

    /// Puts right what a void left a shelf worth: nothing if it is empty, what its units were bought for on average if they
    /// would be worth less than nothing. Units left at another average than they came; a count of what is there carries
    /// the difference, as the firm's loss or gain.
    fn revalue(&self, item: ItemId) -> Result<()> {
        let stock = self.stock_of(item)?;
        let worth = if stock.on_hand.is_zero() {
            Money::ZERO
        } else if stock.value.is_negative() {
            let (bought, paid) = self.bought(item)?;
            if bought.is_zero() {
                Money::ZERO
            } else {
                paid.share(stock.on_hand, bought)
            }
        } else {
            stock.value
        };
        if worth == stock.value {
            return Ok(());
        }
        let count = self.insert_entry(&NewEntry {
            kind: "count",
            on: self.today(),
            item: Some(item),
            quantity: Some(stock.on_hand),
            amount: Some(stock.value - worth),
            what: "stock valued again after a void",
            ..NewEntry::default()
        })?;
        self.move_stock(count.id, item, Decimal::ZERO, worth - stock.value)?;
        let (was, is) = (
            self.currency().text(stock.value),
            self.currency().text(worth),
        );
        self.log(&format!(
            "{}: stock valued again after a void, {is} instead of {was}.",
            count.number
        ))
    }

    /// Returns what purchases that count brought of an item, and what was paid for it.
    fn bought(&self, item: ItemId) -> Result<(Decimal, Money)> {
        let (bought, paid): (Micro, Money) = self.connection.query_row(
            "SELECT COALESCE(SUM(quantity_micro), 0) AS quantity, COALESCE(SUM(amount_minor), 0) AS paid
             FROM live_entry WHERE kind = 'buy' AND item_id = :item",
            named_params! { ":item": item },
            |row| Ok((row.get("quantity")?, row.get("paid")?)),
        )?;
        Ok((bought.0, paid))
    }

    /// Returns what a use's settlements changed, and what of it still awaits, as of before its void.
    fn awaited_by(&self, used: EntryId) -> Result<(Money, Decimal, Money)> {
        let (settled, quantity, value): (Money, Micro, Money) = self.connection.query_row(
            "SELECT COALESCE(SUM(difference), 0) AS settled, COALESCE(SUM(open_quantity), 0) AS quantity,
                    COALESCE(SUM(open_value), 0) AS value
             FROM (SELECT awaiting.id,
                          COALESCE(SUM(settled.paid_minor - settled.value_minor), 0) AS difference,
                          awaiting.quantity_micro - COALESCE(SUM(settled.quantity_micro), 0) AS open_quantity,
                          awaiting.value_minor - COALESCE(SUM(settled.value_minor), 0) AS open_value
                   FROM stock_awaiting AS awaiting
                   LEFT JOIN (SELECT stock_settlement.* FROM stock_settlement
                              JOIN live_entry ON live_entry.id = stock_settlement.entry_id) AS settled
                        ON settled.awaiting_id = awaiting.id
                   WHERE awaiting.entry_id = :used
                   GROUP BY awaiting.id)",
            named_params! { ":used": used },
            |row| Ok((row.get("settled")?, row.get("quantity")?, row.get("value")?)),
        )?;
        Ok((settled, quantity.0, value))
    }

    /// Returns what of a purchase has settled uses that count, and what was paid for it.
    fn settling_uses(&self, bought: EntryId) -> Result<(Decimal, Money)> {
        let (settling, paid): (Micro, Money) = self.connection.query_row(
            "SELECT COALESCE(SUM(settled.quantity_micro), 0) AS quantity, COALESCE(SUM(settled.paid_minor), 0) AS paid
             FROM stock_settlement AS settled
             JOIN stock_awaiting AS awaiting ON awaiting.id = settled.awaiting_id
             JOIN live_entry AS used ON used.id = awaiting.entry_id
             WHERE settled.entry_id = :bought",
            named_params! { ":bought": bought },
            |row| Ok((row.get("quantity")?, row.get("paid")?)),
        )?;
        Ok((settling.0, paid))
    }

    fn moved_by(&self, entry: EntryId) -> Result<(Decimal, Money)> {
        let (change, value): (Micro, Money) = self.connection.query_row(
            "SELECT COALESCE(SUM(quantity_micro), 0) AS quantity, COALESCE(SUM(value_minor), 0) AS value
             FROM stock_move WHERE entry_id = :entry",
            named_params! { ":entry": entry },
            |row| Ok((row.get("quantity")?, row.get("value")?)),
        )?;
        Ok((change.0, value))
    }

    /// Returns uses that count and how much of each came from the shelf and doesn't await a receipt, newest first.
    fn uses_from_stock(&self, item: ItemId) -> Result<Vec<(EntryId, Decimal)>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT used.id,
                    used.quantity_micro - COALESCE((
                        SELECT SUM(awaiting.quantity_micro - COALESCE((
                            SELECT SUM(settled.quantity_micro) FROM stock_settlement AS settled
                            JOIN live_entry ON live_entry.id = settled.entry_id
                            WHERE settled.awaiting_id = awaiting.id), 0))
                        FROM stock_awaiting AS awaiting WHERE awaiting.entry_id = used.id), 0) AS from_stock
             FROM live_entry AS used
             WHERE used.kind = 'use' AND used.item_id = :item
             ORDER BY used.id DESC",
        )?;
        let uses = statement.query_map(named_params! { ":item": item }, |row| {
            let units: Micro = row.get("from_stock")?;
            Ok((row.get("id")?, units.0))
        })?;
        Ok(uses.collect::<rusqlite::Result<_>>()?)
    }
}
