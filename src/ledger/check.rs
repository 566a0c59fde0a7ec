//! `check`: the file's integrity, and every invariant of the ledger recomputed from its rows.

use std::collections::BTreeMap;

use anyhow::Result;

use super::{KeptPlan, Ledger, QuoteRecord, Refusal, numbered};
use crate::money::{Currency, Money};
use crate::trade::invoice::InvoiceLine;
use crate::trade::quote::{Line, Outlook};
use crate::trade::{ItemId, RoomId};

impl Ledger {
    /// Returns every problem found, in words; none: the ledger is sound.
    ///
    /// # Errors
    /// Fails only if the file can't be read at all.
    pub fn problems(&self) -> Result<Vec<String>> {
        let mut problems = Vec::new();
        self.check_file(&mut problems)?;
        self.check_numbers(&mut problems)?;
        self.check_quotes(&mut problems)?;
        self.check_invoices(&mut problems)?;
        self.check_stock(&mut problems)?;
        self.check_rentals(&mut problems)?;
        self.check_day_book(&mut problems)?;
        self.check_rates(&mut problems)?;
        Ok(problems)
    }

    fn check_file(&self, problems: &mut Vec<String>) -> Result<()> {
        let mut statement = self.connection.prepare("PRAGMA integrity_check")?;
        let verdicts: Vec<String> = statement
            .query_map([], |row| row.get(0))?
            .collect::<rusqlite::Result<_>>()?;
        problems.extend(
            verdicts
                .into_iter()
                .filter(|verdict| verdict != "ok")
                .map(|verdict| format!("file: {verdict}")),
        );
        let mut statement = self
            .connection
            .prepare("SELECT \"table\", rowid FROM pragma_foreign_key_check")?;
        let broken = statement.query_map([], |row| {
            let (table, row): (String, Option<i64>) = (row.get(0)?, row.get(1)?);
            Ok(format!(
                "broken reference in {table}, row {}",
                row.unwrap_or_default()
            ))
        })?;
        for broken in broken {
            problems.push(broken?);
        }
        Ok(())
    }

    /// Every observation's digest is that of what it says, and what is kept of the learned rates is what evidence and
    /// book give.
    fn check_rates(&self, problems: &mut Vec<String>) -> Result<()> {
        let wrong = self.wrong_digests()?;
        if wrong > 0 {
            problems.push(format!("rates: {wrong} observations were changed by hand"));
        }
        if legible(self.kept_rates_hold(), problems)? == Some(false) {
            problems.push("rates: what is kept of them isn't what the evidence gives".to_owned());
        }
        Ok(())
    }

    /// Every series of numbers runs from 1 without gaps, in each copy.
    fn check_numbers(&self, problems: &mut Vec<String>) -> Result<()> {
        let series = [
            (
                "quote numbers",
                "SELECT id >> 40 AS copy, COUNT(DISTINCT number) AS count, MAX(number) AS last FROM quote GROUP BY 1",
            ),
            (
                "entry numbers",
                "SELECT id >> 40 AS copy, COUNT(number) AS count, MAX(number) AS last FROM entry GROUP BY 1",
            ),
            (
                "invoice numbers",
                "SELECT id >> 40 AS copy, COUNT(number) AS count, COALESCE(MAX(number), 0) AS last FROM invoice GROUP BY 1",
            ),
            (
                "payment numbers",
                "SELECT id >> 40 AS copy, COUNT(number) AS count, MAX(number) AS last FROM payment GROUP BY 1",
            ),
        ];
        for (name, sql) in series {
            let mut statement = self.connection.prepare(sql)?;
            let counts = statement.query_map([], |row| {
                Ok((row.get("copy")?, row.get("count")?, row.get("last")?))
            })?;
            for count in counts {
                let (copy, count, last): (i64, i64, i64) = count?;
                if count != last {
                    problems.push(format!(
                        "{name} of copy {copy}: {count} numbers, the last is {last}"
                    ));
                }
            }
        }
        Ok(())
    }

    /// Lines, price, shares and tax of every quote follow from each other.
    fn check_quotes(&self, problems: &mut Vec<String>) -> Result<()> {
        for header in self.quotes()? {
            for option in self.options_of(&header)? {
                problems.extend(quote_problems(&option, self.currency()));
                let outlook = legible(self.outlook_of(&option.header), problems)?;
                if let Some(outlook) = outlook {
                    problems.extend(outlook_problems(&option, &outlook, self.currency()));
                }
                if let Some(Some(plan)) = legible(self.plan_of_quote(&option), problems)? {
                    problems.extend(plan_problems(&plan));
                }
                legible(self.rates_of_quote(&option.header), problems)?;
            }
        }
        Ok(())
    }

    fn check_invoices(&self, problems: &mut Vec<String>) -> Result<()> {
        for invoice in self.invoices()? {
            let lines: Money = invoice.lines.iter().map(|line| line.net).sum();
            if lines != invoice.net {
                problems.push(format!(
                    "invoice {}: the lines add up to {}, not {}",
                    invoice.name(),
                    self.currency().text(lines),
                    self.currency().text(invoice.net)
                ));
            }
            let taxes: Money = invoice.taxes.iter().map(|part| part.tax).sum();
            if taxes != invoice.tax {
                problems.push(format!(
                    "invoice {}: its tax by rate adds up to {}, not {}",
                    invoice.name(),
                    self.currency().text(taxes),
                    self.currency().text(invoice.tax)
                ));
            }
            for part in &invoice.taxes {
                let at_rate = |line: &&InvoiceLine| line.tax_percent == part.percent;
                let lines: Money = invoice
                    .lines
                    .iter()
                    .filter(at_rate)
                    .map(|line| line.net)
                    .sum();
                if lines != part.net {
                    problems.push(format!(
                        "invoice {}: the lines at {} % add up to {}, not {}",
                        invoice.name(),
                        part.percent.normalize(),
                        self.currency().text(lines),
                        self.currency().text(part.net)
                    ));
                }
            }
        }
        for payment in self.payments()? {
            let applied: Money = payment.applied.iter().map(|part| part.amount).sum();
            if applied > payment.amount {
                problems.push(format!(
                    "payment {}: {} of it is applied, and it is {}",
                    payment.number,
                    self.currency().text(applied),
                    self.currency().text(payment.amount)
                ));
            }
        }
        let mut statement = self.connection.prepare(
            "SELECT job.number FROM job
             JOIN quote_event ON quote_event.quote_id = job.quote_id AND quote_event.what = 'declined'",
        )?;
        for job in statement.query_map([], |row| row.get::<_, i64>(0))? {
            problems.push(format!("J{}: its quote was declined", job?));
        }
        Ok(())
    }

    /// For each item: paid − refunded = on hand + charged − assumed and still awaiting + lost.
    fn check_stock(&self, problems: &mut Vec<String>) -> Result<()> {
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

    /// Every machine went out with a tariff; the days of every return add up to its charge, there is one for each 24 hours
    /// begun, and what was charged by tariff is what that tariff asks.
    fn check_rentals(&self, problems: &mut Vec<String>) -> Result<()> {
        let mut statement = self.connection.prepare(
            "SELECT id, number FROM live_entry
             WHERE kind = 'rental-out' AND id NOT IN (SELECT entry_id FROM rental_tariff)",
        )?;
        let without = statement.query_map([], |row| {
            Ok(numbered('E', row.get("id")?, row.get("number")?))
        })?;
        for entry in without {
            problems.push(format!("rental {}: it has no tariff", entry?));
        }
        for rental in self.rentals()? {
            let Some(back) = &rental.back else {
                continue;
            };
            let text = |amount| self.currency().text(amount);
            let mut wrong = |problem| problems.push(format!("rental {}: {problem}", rental.entry));
            let days: Money = back.days.iter().map(|day| day.charge).sum();
            if days != back.charge {
                let (days, charge) = (text(days), text(back.charge));
                wrong(format!("its days add up to {days}, not {charge}"));
            }
            let Some(away) = rental.away() else {
                wrong("it came back before it went out, or years later".to_owned());
                continue;
            };
            let (charged, begun) = (back.days.len(), away.days().len());
            if charged != begun {
                wrong(format!("{charged} days are charged, {begun} began"));
            }
            let asked = away.cover(&rental.tariff).total();
            if back.by_tariff && asked != back.charge {
                let (charge, asked) = (text(back.charge), text(asked));
                wrong(format!(
                    "{charge} was charged by tariff, which asks {asked}"
                ));
            }
        }
        Ok(())
    }

    fn check_day_book(&self, problems: &mut Vec<String>) -> Result<()> {
        let mut statement = self.connection.prepare(
            "SELECT worker.name, happened_on, SUM(quantity_micro) AS hours FROM live_entry
             JOIN worker ON worker.id = worker_id
             WHERE kind = 'hours' GROUP BY worker.id, happened_on HAVING SUM(quantity_micro) > 24000000",
        )?;
        let days = statement.query_map([], |row| {
            let (name, day): (String, chrono::NaiveDate) = (row.get(0)?, row.get(1)?);
            Ok(format!("{name} has more than 24 hours on {day}"))
        })?;
        for day in days {
            problems.push(day?);
        }
        Ok(())
    }
}

/// Returns what was read; what can't be read any more is one problem among others.
fn legible<T>(read: Result<T>, problems: &mut Vec<String>) -> Result<Option<T>> {
    match read {
        Ok(read) => Ok(Some(read)),
        Err(error) => {
            problems.push(error.downcast::<Refusal>()?.message);
            Ok(None)
        }
    }
}

/// A plan does the rooms of its quote, each once; as quoted, its rentals are those of the quote.
fn plan_problems(kept: &KeptPlan) -> Vec<String> {
    let number = &kept.quote.header.number;
    let mut problems = Vec::new();
    let mut quoted: Vec<RoomId> = kept.quote.quote.rooms.iter().map(|room| room.id).collect();
    quoted.sort_unstable();
    let first = kept.earlier.first().unwrap_or(&kept.plan);
    for plan in [first, &kept.plan] {
        let rooms = plan
            .phases
            .iter()
            .flat_map(|phase| phase.rooms.iter().copied());
        let mut planned: Vec<RoomId> = rooms.collect();
        planned.sort_unstable();
        if planned != quoted {
            problems.push(format!(
                "plan of {number}: its rooms aren't those of the quote"
            ));
        }
    }
    if first.costs.rental != kept.quote.quote.costs().rental {
        problems.push(format!(
            "plan of {number}: its rentals aren't those of the quote"
        ));
    }
    problems.dedup();
    problems
}

/// A quote's lines add up to what it was expected to cost, and its price is the one that its cost asks for.
fn outlook_problems(record: &QuoteRecord, outlook: &Outlook, currency: Currency) -> Vec<String> {
    let (number, quote) = (&record.header.number, &record.quote);
    let mut problems = Vec::new();
    let cost: Money = quote.lines.iter().map(Line::cost).sum();
    if cost != outlook.expected_cost {
        problems.push(format!(
            "quote {number}: its lines add up to {}, it was expected to cost {}",
            currency.text(cost),
            currency.text(outlook.expected_cost)
        ));
    }
    let expected = quote.terms.price_for(outlook.cost_at_confidence);
    if expected != quote.price {
        problems.push(format!(
            "quote {number}: its cost asks for {}, its price is {}",
            currency.text(expected),
            currency.text(quote.price)
        ));
    }
    problems
}

fn quote_problems(record: &QuoteRecord, currency: Currency) -> Vec<String> {
    let (number, quote) = (&record.header.number, &record.quote);
    let mut problems = Vec::new();
    let shares: Money = quote.rooms.iter().map(|room| room.price).sum();
    if shares != quote.price {
        problems.push(format!(
            "quote {number}: its rooms add up to {}, its price is {}",
            currency.text(shares),
            currency.text(quote.price)
        ));
    }
    for work in quote.work() {
        let labour = currency.amount(work.hours * quote.terms.wage * quote.terms.burden);
        let item = work.item.as_ref().map_or(Money::ZERO, |item| {
            currency.amount(item.expected * item.unit_price)
        });
        if labour != work.labour || item != work.item_cost() {
            problems.push(format!(
                "quote {number}: the cost of {} is not its quantity times its price",
                work.name
            ));
        }
    }
    let tax = quote
        .price
        .share(quote.terms.tax_percent, crate::money::Decimal::ONE_HUNDRED);
    if tax != quote.tax {
        problems.push(format!(
            "quote {number}: tax is {}, not {}",
            currency.text(quote.tax),
            currency.text(tax)
        ));
    }
    problems
}
