//! Purchases, hand-backs, counts, and what is on the shelf. The arithmetic is in [`crate::trade::stock`].
//!
//! Entries are what was typed. `stock_effect` keeps what each comes to: an entry that stands last adds its row; a void, or
//! an entry that stands before others, has those after it [replayed](Writing::replay), and each that comes to something else
//! gets a new row, which is in force from then on.
//!
//! What awaits a receipt in the end is kept too (`awaiting_receipt`), so that a use asks neither for every use that ever
//! awaited one, nor for what settled it.

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::{OptionalExtension, Row, ToSql, named_params};

use super::columns::Micro;
use super::day_book::{check_amount, check_quantity};
use super::entries::NewEntry;
use super::{BookItem, Job, Ledger, Recorded, Writing, numbered, refuse};
use crate::money::{Decimal, Money, plain, quantity};
use crate::trade::stock::{Awaiting, Effect, Happening, Settled, Stock, Typed};
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

/// Where an entry stands: entries of an item follow each other by date, and on one date by place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Stand {
    on: NaiveDate,
    place: EntryId,
}

impl Stand {
    /// Before everything.
    const FIRST: Stand = Stand {
        on: NaiveDate::from_yo_opt(1, 1).expect("a date"),
        place: EntryId(0),
    };

    /// After everything.
    const LAST: Stand = Stand {
        on: NaiveDate::from_yo_opt(9999, 365).expect("a date"),
        place: EntryId(i64::MAX),
    };
}

/// What of uses and hand-backs of `:item` that count awaited a receipt before `:on` and `:place`: what left beyond the shelf
/// less what purchases had settled. It awaits one still, or a purchase has settled it since: nothing else is looked at.
const AWAITING_BEFORE: &str = "
    SELECT *
    FROM (SELECT effect.entry_id, effect.item_id, effect.happened_on, effect.place_id,
                 effect.awaiting_micro - COALESCE((
                     SELECT SUM(settled.quantity_micro) FROM stock_settlement AS settled
                     JOIN stock_value AS bought ON bought.id = settled.effect_id
                     WHERE settled.used_id = effect.entry_id AND bought.until IS NULL
                       AND (bought.happened_on, bought.place_id) < (:on, :place)), 0) AS quantity_micro,
                 effect.awaiting_minor - COALESCE((
                     SELECT SUM(settled.value_minor) FROM stock_settlement AS settled
                     JOIN stock_value AS bought ON bought.id = settled.effect_id
                     WHERE settled.used_id = effect.entry_id AND bought.until IS NULL
                       AND (bought.happened_on, bought.place_id) < (:on, :place)), 0) AS value_minor
          FROM (SELECT entry_id FROM awaiting_receipt WHERE item_id = :item
                UNION
                SELECT settled.used_id FROM entry AS bought
                CROSS JOIN stock_effect AS part ON part.entry_id = bought.id
                CROSS JOIN stock_settlement AS settled ON settled.effect_id = part.id
                WHERE bought.item_id = :item AND (bought.happened_on, bought.place_id) >= (:on, :place)) AS looked_at
          CROSS JOIN stock_value AS effect ON effect.entry_id = looked_at.entry_id
          WHERE effect.awaiting_micro > 0 AND effect.until IS NULL
            AND (effect.happened_on, effect.place_id) < (:on, :place))
    WHERE quantity_micro > 0 ORDER BY happened_on, place_id";

/// The same of now.
const AWAITING_NOW: &str = "
    SELECT entry_id, awaiting_receipt.quantity_micro, value_minor
    FROM awaiting_receipt CROSS JOIN entry ON entry.id = entry_id
    WHERE awaiting_receipt.item_id = :item ORDER BY happened_on, place_id";

impl Ledger {
    /// Returns what there is of an item.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn stock_of(&self, item: ItemId) -> Result<Stock> {
        let of_item = named_params! { ":item": item };
        self.with_awaiting(self.shelf_before(item, Stand::LAST)?, AWAITING_NOW, of_item)
    }

    /// Returns what there was of an item when everything that stands before had happened.
    fn stock_before(&self, item: ItemId, stand: Stand) -> Result<Stock> {
        if stand == Stand::FIRST {
            return Ok(Stock::default());
        }
        let before = named_params! { ":item": item, ":on": stand.on, ":place": stand.place };
        self.with_awaiting(self.shelf_before(item, stand)?, AWAITING_BEFORE, before)
    }

    /// Returns the shelf of an item when everything that stands before had happened, and nothing of what awaited.
    fn shelf_before(&self, item: ItemId, stand: Stand) -> Result<Stock> {
        let shelf: Option<(Micro, Money)> = self
            .connection
            .prepare_cached(
                "SELECT effect.on_hand_micro, effect.worth_minor
                 FROM entry
                 CROSS JOIN stock_effect AS effect ON effect.entry_id = entry.id
                 WHERE entry.item_id = :item AND (entry.happened_on, entry.place_id) < (:on, :place)
                   AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = entry.id)
                 ORDER BY entry.happened_on DESC, entry.place_id DESC, effect.id DESC LIMIT 1",
            )?
            .query_row(
                named_params! { ":item": item, ":on": stand.on, ":place": stand.place },
                |row| Ok((row.get(0)?, row.get(1)?)),
            )
            .optional()?;
        let (on_hand, value) = shelf.unwrap_or((Micro(Decimal::ZERO), Money::ZERO));
        Ok(Stock {
            on_hand: on_hand.0,
            value,
            awaiting: Vec::new(),
        })
    }

    /// Returns a stock with what a query says is awaiting.
    fn with_awaiting(
        &self,
        stock: Stock,
        sql: &str,
        parameters: &[(&str, &dyn ToSql)],
    ) -> Result<Stock> {
        let mut statement = self.connection.prepare_cached(sql)?;
        let awaiting = statement.query_map(parameters, |row| {
            let quantity: Micro = row.get("quantity_micro")?;
            Ok(Awaiting {
                entry: row.get("entry_id")?,
                quantity: quantity.0,
                value: row.get("value_minor")?,
            })
        })?;
        Ok(Stock {
            awaiting: awaiting.collect::<rusqlite::Result<_>>()?,
            ..stock
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
        let mut statement = self.connection.prepare_cached(
            "SELECT open.entry_id, entry.number, entry.job_id, job.number AS job_number, item.name, item.unit,
                    open.quantity_micro, open.value_minor
             FROM awaiting_receipt AS open
             CROSS JOIN entry ON entry.id = open.entry_id
             JOIN job ON job.id = entry.job_id
             JOIN item ON item.id = open.item_id
             ORDER BY entry.happened_on, entry.place_id",
        )?;
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

    /// Tells whether an earlier entry of today awaits its receipt too: then its person was told of that today.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn awaited_before(&self, entry: EntryId) -> Result<bool> {
        let mut statement = self.connection.prepare_cached(
            "SELECT 1 FROM awaiting_receipt JOIN entry ON entry.id = entry_id
             WHERE entry.id < :entry AND date(entry.recorded_at) = :today",
        )?;
        Ok(statement.exists(named_params! { ":entry": entry, ":today": self.today() })?)
    }

    /// Returns what an entry comes to as it stands now.
    fn effect_of(&self, entry: EntryId) -> Result<Effect> {
        Ok(self
            .connection
            .prepare_cached(
                "SELECT id AS effect_id, quantity_micro AS change_micro, value_minor, awaiting_micro, awaiting_minor,
                        on_hand_micro, worth_minor
                 FROM stock_effect WHERE entry_id = :entry ORDER BY id DESC LIMIT 1",
            )?
            .query_row(named_params! { ":entry": entry }, effect_from_row)?)
    }

    /// Returns the entries of an item that count, from a stand on and in their order, with the effect kept of each.
    fn typed_from(&self, item: ItemId, from: Stand) -> Result<Vec<(Typed, Option<Effect>)>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT entry.id, entry.kind, entry.quantity_micro, entry.amount_minor, entry.book_price_micro,
                    effect.id AS effect_id, effect.quantity_micro AS change_micro, effect.value_minor,
                    effect.awaiting_micro, effect.awaiting_minor, effect.on_hand_micro, effect.worth_minor
             FROM entry
             LEFT JOIN stock_effect AS effect
                  ON effect.id = (SELECT MAX(id) FROM stock_effect WHERE entry_id = entry.id)
             WHERE entry.item_id = :item AND (entry.happened_on, entry.place_id) >= (:on, :place)
               AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = entry.id)
             ORDER BY entry.happened_on, entry.place_id",
        )?;
        let typed = statement.query_map(
            named_params! { ":item": item, ":on": from.on, ":place": from.place },
            |row| {
                let kept: Option<i64> = row.get("effect_id")?;
                let kept = kept.map(|_| effect_from_row(row)).transpose()?;
                Ok((typed_from_row(row)?, kept))
            },
        )?;
        let mut typed: Vec<(Typed, Option<Effect>)> = typed.collect::<rusqlite::Result<_>>()?;
        for (typed, kept) in &mut typed {
            if let (Happening::Bought(_), Some(kept)) = (typed.what, kept) {
                kept.settled = self.settled_by(typed.entry)?;
            }
        }
        Ok(typed)
    }

    /// Returns what a purchase settles as it stands now.
    fn settled_by(&self, bought: EntryId) -> Result<Vec<Settled>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT used_id, quantity_micro, value_minor, paid_minor FROM stock_settlement
             WHERE effect_id = (SELECT MAX(id) FROM stock_effect WHERE entry_id = :bought) ORDER BY id",
        )?;
        let settled = statement.query_map(named_params! { ":bought": bought }, |row| {
            let quantity: Micro = row.get("quantity_micro")?;
            Ok(Settled {
                entry: row.get("used_id")?,
                quantity: quantity.0,
                value: row.get("value_minor")?,
                paid: row.get("paid_minor")?,
            })
        })?;
        Ok(settled.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the numbers of the entries of an item whose kept effect isn't what the entries come to, and of those of which
    /// another quantity awaits its receipt.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub(super) fn wrong_effects(&self, item: ItemId) -> Result<Vec<String>> {
        let mut stock = Stock::default();
        let mut wrong = Vec::new();
        for (typed, kept) in self.typed_from(item, Stand::FIRST)? {
            if kept != Some(stock.apply(&typed, self.currency())) {
                wrong.push(self.entry_number(typed.entry)?);
            }
        }
        let kept = self.stock_of(item)?.awaiting;
        let unlike = |one: &[Awaiting], other: &[Awaiting]| -> Vec<EntryId> {
            let unlike = one.iter().filter(|awaiting| !other.contains(awaiting));
            unlike.map(|awaiting| awaiting.entry).collect()
        };
        for entry in [
            unlike(&kept, &stock.awaiting),
            unlike(&stock.awaiting, &kept),
        ]
        .concat()
        {
            wrong.push(self.entry_number(entry)?);
        }
        wrong.dedup();
        Ok(wrong)
    }
}

fn typed_from_row(row: &Row<'_>) -> rusqlite::Result<Typed> {
    let kind: String = row.get("kind")?;
    let quantity: Micro = row.get("quantity_micro")?;
    let book_price: Option<Micro> = row.get("book_price_micro")?;
    Ok(Typed {
        entry: row.get("id")?,
        what: match kind.as_str() {
            "buy" => Happening::Bought(row.get("amount_minor")?),
            "use" => Happening::Used,
            "hand-back" => Happening::HandedBack,
            _ => Happening::Counted,
        },
        quantity: quantity.0,
        book_price: book_price.map_or(Decimal::ZERO, |price| price.0),
    })
}

/// Reads an effect without what it settles.
fn effect_from_row(row: &Row<'_>) -> rusqlite::Result<Effect> {
    let micro = |column| row.get::<_, Micro>(column).map(|micro| micro.0);
    Ok(Effect {
        change: micro("change_micro")?,
        value: row.get("value_minor")?,
        awaiting: micro("awaiting_micro")?,
        awaiting_value: row.get("awaiting_minor")?,
        settled: Vec::new(),
        on_hand: micro("on_hand_micro")?,
        worth: row.get("worth_minor")?,
    })
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
        let recorded = self.enter_buy(item, bought, paid, on, note)?;
        self.replay(item.id, self.stand_of(recorded.id)?, recorded.id)?;
        Ok(recorded)
    }

    /// Writes a purchase down; what it does to the stock is still to be worked out.
    pub(super) fn enter_buy(
        &self,
        item: &BookItem,
        bought: Decimal,
        paid: Money,
        on: NaiveDate,
        note: &str,
    ) -> Result<Recorded> {
        let bought = quantity(bought);
        check_quantity("buy", bought)?;
        check_amount("buy", paid)?;
        let recorded = self.insert_entry(&NewEntry {
            kind: "buy",
            on,
            item: Some(item.id),
            quantity: Some(bought),
            amount: Some(paid),
            what: note,
            ..NewEntry::default()
        })?;
        let cost = self.currency().text(paid);
        self.log(&format!(
            "{}: bought {} of {} for {cost}{}.",
            recorded.number,
            item.unit.told(bought, 4),
            item.name,
            recorded.in_place_of()
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
        check_quantity("hand-back", returned)?;
        refund.map_or(Ok(()), |refund| check_amount("hand-back", refund))?;
        let mut recorded = self.insert_entry(&NewEntry {
            kind: "hand-back",
            job: job.map(|job| job.id),
            late: job.is_some_and(|job| job.is_late_on(on)),
            on,
            item: Some(item.id),
            quantity: Some(returned),
            amount: refund,
            book_price: Some(item.unit_price(self.currency())),
            ..NewEntry::default()
        })?;
        let effect = self.effect_on_stock(&recorded, item.id)?;
        // What stands in a slip's place was let through once: what came before it since is no fault of it.
        if !effect.awaiting.is_zero() && recorded.instead_of.is_none() {
            refuse!(
                "of {} only {} are in stock",
                item.name,
                plain(-effect.change, 6)
            );
        }
        recorded.amount = refund.unwrap_or_else(|| effect.taken());
        let back = self.currency().text(recorded.amount);
        self.log(&format!(
            "{}: handed back {} of {} for {back}{}.",
            recorded.number,
            item.unit.told(returned, 4),
            item.name,
            recorded.in_place_of()
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
        check_quantity("count", counted)?;
        let mut recorded = self.insert_entry(&NewEntry {
            kind: "count",
            on,
            item: Some(item.id),
            quantity: Some(counted),
            book_price: Some(item.unit_price(self.currency())),
            ..NewEntry::default()
        })?;
        let before = self.stock_before(item.id, self.stand_of(recorded.id)?)?;
        let is_early = !before.awaiting.is_empty() && !counted.is_zero();
        if is_early && recorded.instead_of.is_none() {
            refuse!(
                "{} awaits a receipt: log the purchase before counting it",
                item.name
            );
        }
        recorded.amount = self.effect_on_stock(&recorded, item.id)?.taken();
        self.log(&format!(
            "{}: counted {} of {}{}.",
            recorded.number,
            item.unit.told(counted, 4),
            item.name,
            recorded.in_place_of()
        ))?;
        Ok(recorded)
    }

    /// Works out what an entry does to the stock, and what those after it do now.
    pub(super) fn effect_on_stock(&self, recorded: &Recorded, item: ItemId) -> Result<Effect> {
        self.replay(item, self.stand_of(recorded.id)?, recorded.id)?;
        self.effect_of(recorded.id)
    }

    /// Returns where an entry stands.
    pub(super) fn stand_of(&self, entry: EntryId) -> Result<Stand> {
        Ok(self
            .connection
            .prepare_cached("SELECT happened_on, place_id FROM entry WHERE id = :entry")?
            .query_row(named_params! { ":entry": entry }, |row| {
                Ok(Stand {
                    on: row.get(0)?,
                    place: row.get(1)?,
                })
            })?)
    }

    /// Works out what was entered of an item from a stand on and isn't worked out yet, and what comes after it again.
    pub(super) fn replay_from(&self, item: ItemId, from: Stand) -> Result<()> {
        let newest: EntryId = self
            .connection
            .prepare_cached("SELECT MAX(id) FROM entry WHERE item_id = :item")?
            .query_row(named_params! { ":item": item }, |row| row.get(0))?;
        self.replay(item, from, newest)
    }

    /// Works out again what the entries of an item do, from a stand on; what comes to something else than is kept of it
    /// gets a new row, for the entry that is the cause.
    pub(super) fn replay(&self, item: ItemId, from: Stand, cause: EntryId) -> Result<()> {
        let mut stock = self.stock_before(item, from)?;
        for (typed, kept) in self.typed_from(item, from)? {
            let effect = stock.apply(&typed, self.currency());
            match kept {
                None => self.keep_effect(item, typed.entry, typed.entry, &effect)?,
                Some(kept) if kept != effect => {
                    self.keep_effect(item, typed.entry, cause, &effect)?;
                }
                Some(_) => {}
            }
        }
        self.keep_awaiting(item, &stock.awaiting)
    }

    /// Writes down what awaits a receipt of an item, in place of what did.
    fn keep_awaiting(&self, item: ItemId, awaiting: &[Awaiting]) -> Result<()> {
        self.connection
            .prepare_cached("DELETE FROM awaiting_receipt WHERE item_id = :item")?
            .execute(named_params! { ":item": item })?;
        for Awaiting {
            entry,
            quantity,
            value,
        } in awaiting
        {
            self.connection
                .prepare_cached(
                    "INSERT INTO awaiting_receipt (entry_id, item_id, quantity_micro, value_minor)
                     VALUES (:entry, :item, :quantity, :value)",
                )?
                .execute(named_params! {
                    ":entry": entry, ":item": item, ":quantity": Micro(*quantity), ":value": value,
                })?;
        }
        Ok(())
    }

    fn keep_effect(
        &self,
        item: ItemId,
        entry: EntryId,
        cause: EntryId,
        effect: &Effect,
    ) -> Result<()> {
        let id = self.new_id("stock_effect")?;
        self.connection
            .prepare_cached(
                "INSERT INTO stock_effect (id, entry_id, cause_id, item_id, quantity_micro, value_minor, awaiting_micro,
                                           awaiting_minor, on_hand_micro, worth_minor, posted_on)
                 VALUES (:id, :entry, :cause, :item, :change, :value, :awaiting, :assumed, :on_hand, :worth,
                         (SELECT IIF(COALESCE(entry.posted_on, entry.happened_on) > to_on, NULL,
                                     MAX(date(cause.recorded_at), date(to_on, '+1 day')))
                          FROM closed_until, entry, entry AS cause
                          WHERE entry.id = :entry AND cause.id = :cause AND entry.id <> cause.id))",
            )?
            .execute(named_params! {
                ":id": id, ":entry": entry, ":cause": cause, ":item": item, ":change": Micro(effect.change),
                ":value": effect.value, ":awaiting": Micro(effect.awaiting), ":assumed": effect.awaiting_value,
                ":on_hand": Micro(effect.on_hand), ":worth": effect.worth,
            })?;
        for settled in &effect.settled {
            self.connection
                .prepare_cached(
                    "INSERT INTO stock_settlement (id, effect_id, used_id, quantity_micro, value_minor, paid_minor)
                     VALUES (:id, :effect, :used, :quantity, :value, :paid)",
                )?
                .execute(named_params! {
                    ":id": self.new_id("stock_settlement")?, ":effect": id, ":used": settled.entry,
                    ":quantity": Micro(settled.quantity), ":value": settled.value, ":paid": settled.paid,
                })?;
        }
        Ok(())
    }
}
