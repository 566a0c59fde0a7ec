//! How sure a quote is, and what it takes: risk, rentals, the shopping list, options side by side.

use std::fmt::Write as _;

use serde_json::{Value, json};

use super::cover::{cover_words, packs_json, packs_words, plan_json, plan_words, units_words};
use super::{Page, View, count, inert, percent_json, percent_text, rate_text};
use crate::ledger::{AS_DRAFTED, QuoteOption, QuoteRecord, QuoteStatus, ToBuy};
use crate::money::{Decimal, Money, plain};
use crate::trade::quote::{Cause, Outlook, PlannedRental, Quote, Risk};

/// Returns a fraction as percent.
fn percent(fraction: Decimal) -> Decimal {
    fraction * Decimal::ONE_HUNDRED
}

/// Renders how sure a quote is as JSON: all of it is for its owner.
pub fn outlook_json(quote: &Quote, outlook: &Outlook, shopping: &[ToBuy], page: &Page) -> Value {
    json!({
        "target_margin_percent": percent_json(Some(percent(quote.terms.margin))),
        "confidence_percent": percent_json(Some(percent(quote.terms.confidence))),
        "expected_cost": page.money_json(quote.expected_cost()),
        "contingency": page.money_json(outlook.contingency()),
        "cost_at": {
            "p10": page.money_json(outlook.p10),
            "p50": page.money_json(outlook.p50),
            "p80": page.money_json(outlook.p80),
            "p90": page.money_json(outlook.p90),
        },
        "raised_by": page.money_json(outlook.raised_by(quote)),
        "expected_margin_percent": percent_json(quote.margin_percent()),
        "chance_of_loss_percent": percent_json(Some(percent(outlook.loss))),
        "draws": outlook.draws,
        "seed": outlook.seed.to_string(),
        "risk": risk_json(outlook),
        "rental": rentals_json(outlook, page),
        "buy": shopping_json(shopping, page),
    })
}

fn risk_json(outlook: &Outlook) -> Value {
    let risks = outlook.risks.iter();
    risks
        .map(|risk| {
            json!({
                "operation": risk.operation,
                "share_percent": percent_json(Some(risk.share_percent)),
                "cause": risk.cause.as_str(),
                "rooms": risk.rooms,
                "advice": advice(risk),
            })
        })
        .collect()
}

fn rentals_json(outlook: &Outlook, page: &Page) -> Value {
    let rentals = outlook.rentals.iter();
    rentals
        .map(|rental| {
            let mut value = plan_json(&rental.plan, page);
            value["machine"] = json!(rental.name);
            value["hours"] = json!(plain(rental.hours, 4));
            value
        })
        .collect()
}

/// Says how sure a quote is, what drives its risk, and what to rent and to buy.
pub fn outlook_text(
    quote: &Quote,
    outlook: &Outlook,
    shopping: &[ToBuy],
    number: &str,
    page: &Page,
) -> String {
    let mut text = String::new();
    let mut table = page
        .table(["So often", "10 %", "50 %", "80 %", "90 %"])
        .numbers([1, 2, 3, 4]);
    table.row([
        "the cost is at most".to_owned(),
        page.money(outlook.p10),
        page.money(outlook.p50),
        page.money(outlook.p80),
        page.money(outlook.p90),
    ]);
    let _ = write!(text, "\n{table}\n");
    let sure = format!(
        "Expected margin {}, chance of a loss {}, by {} draws of the job.",
        percent_text(quote.margin_percent()),
        percent_text(Some(percent(outlook.loss))),
        outlook.draws,
    );
    let _ = writeln!(text, "{}", page.prose(&sure));
    if !outlook.risks.is_empty() {
        let mut table = page
            .table(["What drives the risk", "Share", "What would make it less"])
            .numbers([1]);
        for risk in outlook.risks.iter().take(SHOWN_RISKS) {
            table.row([
                risk.operation.clone(),
                percent_text(Some(risk.share_percent)),
                advice(risk),
            ]);
        }
        let _ = write!(text, "\n{table}\n");
    }
    if !outlook.rentals.is_empty() {
        let mut table = page
            .table(["Rent", "Hours", "Days", "Cover", "Total"])
            .numbers([1, 2, 4]);
        for rental in &outlook.rentals {
            table.row(rental_row(rental, page));
        }
        let _ = write!(text, "\n{table}\n");
        for rental in &outlook.rentals {
            let words = format!("{}: {}", rental.name, plan_words(&rental.plan, page));
            text.push_str(&page.point(&words));
        }
    }
    if !shopping.is_empty() {
        let total: Money = shopping.iter().map(|line| line.basket.total).sum();
        let words = format!(
            "To buy: {} for {}, less what is in stock: gritledger quote buy {number}",
            count(shopping.len(), "item"),
            page.money(total)
        );
        let _ = write!(text, "\n{}\n", page.prose(&words));
    }
    text
}

/// How many parts of the risk people are shown.
const SHOWN_RISKS: usize = 5;

fn rental_row(rental: &PlannedRental, page: &Page) -> [String; 5] {
    [
        rental.name.clone(),
        plain(rental.hours, 2),
        plain(rental.plan.need.in_days(), 1),
        cover_words(&rental.plan.cover, page),
        page.money(rental.plan.cover.total()),
    ]
}

/// Says the one thing to measure or ask that would make a risk less.
fn advice(risk: &Risk) -> String {
    match risk.cause {
        Cause::Rate if risk.rooms == 0 => {
            "no room of yours is behind its rate: time it in one room".to_owned()
        }
        Cause::Rate => format!(
            "only {} behind its rate: log it on its own in the next one",
            count(risk.rooms, "finished room")
        ),
        Cause::Job => {
            "floors differ: ask for the age and make of the finish, sand a test patch".to_owned()
        }
        Cause::Room => "rooms differ: walk the worst one again, and measure it".to_owned(),
        Cause::Contingency => {
            "find out before you name a price: sand a test patch there".to_owned()
        }
        Cause::Rental => {
            "its hours are near the end of a rental period: ask the yard what a little longer costs"
                .to_owned()
        }
        Cause::Pack => "ask the store for a smaller can".to_owned(),
    }
}

/// Rounds what is enough up to what is printed: less of it wouldn't be.
fn up(quantity: Decimal) -> Decimal {
    (quantity * Decimal::ONE_HUNDRED).ceil() / Decimal::ONE_HUNDRED
}

pub(super) fn shopping_json(shopping: &[ToBuy], page: &Page) -> Value {
    shopping
        .iter()
        .map(|line| {
            json!({
                "item": line.item,
                "unit": line.unit.as_str(),
                "confidence_percent": percent_json(Some(percent(line.confidence))),
                "expected": plain(line.expected, 4),
                "in_stock": plain(line.in_stock, 4),
                "need": plain(line.basket.need, 4),
                "packs": packs_json(&line.basket.packs, page),
                "hand_back": line.returnable,
                "total": page.money_json(line.basket.total),
            })
        })
        .collect()
}

/// Renders a whole shopping list as JSON.
pub fn buy_json(of: &str, shopping: &[ToBuy], page: &Page) -> Value {
    json!({
        "for": of,
        "currency": page.currency.code(),
        "buy": shopping_json(shopping, page),
        "total": page.money_json(shopping.iter().map(|line| line.basket.total).sum()),
    })
}

/// Renders a whole shopping list as text.
pub fn buy_text(of: &str, shopping: &[ToBuy], page: &Page) -> String {
    if shopping.is_empty() {
        return format!("Nothing to buy for {of}: what it needs is in stock, or used already.");
    }
    let mut table = page
        .table(["Item", "Enough", "Stock", "Buy", "Hand back", "Total"])
        .numbers([1, 2, 5]);
    for line in shopping {
        table.row([
            line.item.clone(),
            format!(
                "{} ({})",
                units_words(up(line.basket.need + line.in_stock), line.unit),
                rate_text(percent(line.confidence))
            ),
            plain(line.in_stock, 2),
            packs_words(&line.basket.packs, line.unit, page),
            if line.returnable {
                "unopened packs"
            } else {
                ""
            }
            .to_owned(),
            page.money(line.basket.total),
        ]);
    }
    table.row([
        "Total".to_owned(),
        String::new(),
        String::new(),
        String::new(),
        String::new(),
        page.money(shopping.iter().map(|line| line.basket.total).sum()),
    ]);
    let note = "Enough: so often out of a hundred jobs like this it suffices. Packs are cash and stock, not the job's cost: \
                what is handed back unopened is refunded, what is left over goes to the next job.";
    format!("To buy for {of}\n\n{table}\n\n{}", page.prose(note))
}

/// Renders the options of a quote as JSON, short.
pub fn options_json(options: &[QuoteOption], view: View, page: &Page) -> Value {
    let first = options
        .first()
        .map_or(Money::ZERO, |option| option.record.quote.price);
    options
        .iter()
        .map(|QuoteOption { record, outlook }| {
            let (header, quote) = (&record.header, &record.quote);
            let owner = |value: Value| {
                if view == View::Owner {
                    value
                } else {
                    Value::Null
                }
            };
            json!({
                "option": header.option,
                "name": header.option_name,
                "accepted": header.status == QuoteStatus::Accepted,
                "sequence": quote.sequence,
                "schedule": quote.schedule,
                "rooms": quote.rooms.iter().map(|room| json!({
                    "name": room.name,
                    "price": page.money_json(room.price),
                })).collect::<Vec<_>>(),
                "hours": owner(json!(plain(quote.hours(), 4))),
                "expected_cost": owner(page.money_json(quote.expected_cost())),
                "contingency": owner(page.money_json(outlook.contingency())),
                "expected_margin_percent": owner(percent_json(quote.margin_percent())),
                "chance_of_loss_percent": owner(percent_json(Some(percent(outlook.loss)))),
                "price": page.money_json(quote.price),
                "tax": page.money_json(quote.tax),
                "total": page.money_json(quote.total()),
                "difference": page.money_json(quote.price - first),
                "room_by_room": outlook.room_by_room.map(|price| page.money_json(price)),
                "saves": outlook.room_by_room.map(|price| page.money_json(price - quote.price)),
            })
        })
        .collect()
}

/// Renders the options of a quote side by side as JSON.
pub fn compare_json(options: &[QuoteOption], view: View, page: &Page) -> Value {
    json!({
        "number": options.first().map(|option| option.record.header.number.clone()),
        "currency": page.currency.code(),
        "options": options_json(options, view, page),
    })
}

/// Renders the options of a quote side by side as text.
pub fn compare_text(options: &[QuoteOption], view: View, page: &Page) -> String {
    let Some(QuoteOption { record: first, .. }) = options.first() else {
        return String::new();
    };
    let mut text = format!(
        "Options of {} for {}, {}\n",
        first.header.number,
        inert(&first.header.client),
        inert(&first.header.site)
    );
    let mut table = page
        .table([
            "", "Option", "Rooms", "Sanding", "Coating", "Price", "Tax", "Total",
        ])
        .numbers([0, 5, 6, 7]);
    for QuoteOption { record, .. } in options {
        let quote = &record.quote;
        let method = |name: &Option<String>| name.clone().unwrap_or_else(|| "none".to_owned());
        let rooms: Vec<&str> = quote.rooms.iter().map(|room| room.name.as_str()).collect();
        table.row([
            record.header.option.to_string(),
            name_of(record),
            rooms.join(", "),
            method(&quote.sequence),
            method(&quote.schedule),
            page.money(quote.price),
            page.money(quote.tax),
            page.money(quote.total()),
        ]);
    }
    let _ = write!(text, "\n{table}\n");
    if view == View::Owner {
        let mut table = page
            .table([
                "",
                "Hours",
                "Expected cost",
                "Contingency",
                "Margin",
                "Chance of a loss",
            ])
            .numbers([1, 2, 3, 4, 5]);
        for QuoteOption { record, outlook } in options {
            let quote = &record.quote;
            table.row([
                record.header.option.to_string(),
                plain(quote.hours(), 2),
                page.money(quote.expected_cost()),
                page.money(outlook.contingency()),
                percent_text(quote.margin_percent()),
                percent_text(Some(percent(outlook.loss))),
            ]);
        }
        let _ = write!(text, "\n{table}\n");
    }
    for QuoteOption { record, outlook } in options {
        if let Some(apart) = outlook.room_by_room {
            let words = format!(
                "{}: room by room it would be {}; together saves {}.",
                name_of(record),
                page.money(apart),
                page.money(apart - record.quote.price)
            );
            text.push_str(&page.point(&words));
        }
    }
    text
}

fn name_of(record: &QuoteRecord) -> String {
    match record.header.option_name.as_str() {
        "" => AS_DRAFTED.to_owned(),
        name => name.to_owned(),
    }
}
