//! Covers: which periods to rent, which packs to buy, what to cut from which stick.

use std::fmt::Write as _;

use serde_json::{Value, json};

use super::{Page, count, inert, percent_json};
use crate::ledger::{BookItem, BookMachine};
use crate::measure::Length;
use crate::money::{Decimal, Money, plain};
use crate::trade::Unit;
use crate::trade::buying::Basket;
use crate::trade::cutting::{AtLeast, CuttingList};
use crate::trade::rental::{Cover, Plan};

/// Renders a planned rental as JSON.
pub fn plan_json(plan: &Plan, page: &Page) -> Value {
    let Cover {
        periods,
        waiver,
        cleaning,
        ..
    } = &plan.cover;
    json!({
        "days": percent_json(Some(plan.need.in_days())),
        "from": plan.from,
        "back_by": plan.back_by().map(|back| back.format("%Y-%m-%dT%H:%M").to_string()),
        "cover": periods.iter().map(|(period, count, price)| json!({
            "period": period.as_str(),
            "count": count,
            "price": page.money_json(*price),
        })).collect::<Vec<_>>(),
        "waiver": page.money_json(*waiver),
        "cleaning": page.money_json(*cleaning),
        "total": page.money_json(plan.cover.total()),
        "one_day_more": page.money_json(plan.one_day_more),
    })
}

/// Says what is rented and what the yard will ask: `1 week 280.00, 2 days 80.00 each; waiver 44.00, cleaning 25.00`.
pub fn cover_words(cover: &Cover, page: &Page) -> String {
    let periods: Vec<String> = cover
        .periods
        .iter()
        .map(|(period, number, price)| {
            let each = if *number > 1 { " each" } else { "" };
            let noun = period.as_str().trim_end_matches("-weeks").replace('-', " ");
            let what = match (period.as_str(), number) {
                ("four-weeks", 1) => "four weeks".to_owned(),
                ("four-weeks", number) => format!("{number} x four weeks"),
                (_, number) => count(*number as usize, &noun),
            };
            format!("{what} {}{each}", page.money(*price))
        })
        .collect();
    let mut words = periods.join(", ");
    let fees: Vec<String> = [("waiver", cover.waiver), ("cleaning", cover.cleaning)]
        .into_iter()
        .filter(|(_, fee)| !fee.is_zero())
        .map(|(what, fee)| format!("{what} {}", page.money(fee)))
        .collect();
    if !fees.is_empty() {
        let _ = write!(words, "; {}", fees.join(", "));
    }
    words
}

/// Says what a day more costs, and by when the machine must be back.
pub fn plan_words(plan: &Plan, page: &Page) -> String {
    let more = if plan.one_day_more.is_zero() {
        "One day more costs nothing".to_owned()
    } else {
        format!("One day more costs {}", page.money(plan.one_day_more))
    };
    match plan.back_by() {
        Some(back) => format!(
            "Back by {} (24 hours a day from {}). {more}.",
            back.format("%a %Y-%m-%d %H:%M"),
            plan.from
                .map(|from| from.format("%a %Y-%m-%d 08:00").to_string())
                .unwrap_or_default()
        ),
        None => format!("{more}. Without a start date no weekend rate is counted on."),
    }
}

/// Renders the cheapest cover of a machine's rental as JSON.
pub fn cover_json(machine: &BookMachine, plan: &Plan, page: &Page) -> Value {
    let mut value = plan_json(plan, page);
    value["machine"] = json!(machine.name);
    value["currency"] = json!(page.currency.code());
    value
}

/// Renders the cheapest cover of a machine's rental as text.
pub fn cover_text(machine: &BookMachine, plan: &Plan, page: &Page) -> String {
    let text = format!(
        "{} for {}: {} {}\n{}.\n{}",
        inert(&machine.name),
        days_words(plan.need.in_days()),
        page.money(plan.cover.total()),
        page.currency.code(),
        cover_words(&plan.cover, page),
        plan_words(plan, page)
    );
    page.prose(&text)
}

/// Renders packs as JSON.
pub fn packs_json(packs: &[(Decimal, u32, Money)], page: &Page) -> Value {
    packs
        .iter()
        .map(|(size, count, price)| {
            json!({ "size": plain(*size, 4), "count": count, "price": page.money_json(*price) })
        })
        .collect()
}

/// Says which packs are bought, each at what price: `3 x 1 gal at 52.00, 1 x 0.25 gal at 18.50`.
pub fn packs_words(packs: &[(Decimal, u32, Money)], unit: Unit, page: &Page) -> String {
    let packs: Vec<String> = packs
        .iter()
        .map(|(size, number, price)| {
            format!(
                "{number} x {} at {}",
                units_words(*size, unit),
                page.money(*price)
            )
        })
        .collect();
    packs.join(", ")
}

/// Writes a quantity in item units; pieces have no word.
pub fn units_words(quantity: Decimal, unit: Unit) -> String {
    match unit {
        Unit::Each => plain(quantity, 4),
        unit => format!("{} {unit}", plain(quantity, 4)),
    }
}

/// Writes a number of days: `1 day`, `1.5 days`.
pub fn days_words(days: Decimal) -> String {
    let noun = if days == Decimal::ONE { "day" } else { "days" };
    format!("{} {noun}", plain(days, 2))
}

/// Renders the cheapest packs of an item as JSON.
pub fn basket_json(item: &BookItem, basket: &Basket, page: &Page) -> Value {
    json!({
        "item": item.name,
        "unit": item.unit.as_str(),
        "currency": page.currency.code(),
        "need": plain(basket.need, 4),
        "packs": packs_json(&basket.packs, page),
        "content": plain(basket.content(), 4),
        "hand_back": item.returnable,
        "total": page.money_json(basket.total),
    })
}

/// Renders the cheapest packs of an item as text.
pub fn basket_text(item: &BookItem, basket: &Basket, page: &Page) -> String {
    let mut text = format!(
        "{} of {}: {} {}\n{}.\n",
        units_words(basket.need, item.unit),
        inert(&item.name),
        page.money(basket.total),
        page.currency.code(),
        packs_words(&basket.packs, item.unit, page)
    );
    let left = basket.content() - basket.need;
    let _ = match (left.is_zero(), item.kept) {
        (true, _) => writeln!(text, "Nothing is left over."),
        (false, true) => writeln!(text, "{} left over.", units_words(left, item.unit)),
        (false, false) => writeln!(
            text,
            "{} left over, which doesn't keep once opened.",
            units_words(left, item.unit)
        ),
    };
    if item.returnable {
        text.push_str("Unopened packs can be handed back.");
    }
    page.prose(&text)
}

/// Returns a length in the item's unit.
fn in_unit(nanometres: i64, unit: Unit) -> Decimal {
    let length = Length::from_nanometres(nanometres);
    match unit {
        Unit::Metre => Decimal::from(length.nanometres()) / Decimal::from(1_000_000_000),
        _ => length.feet(),
    }
}

/// Renders a cutting list as JSON; lengths are in the item's unit.
pub fn cutting_json(item: &BookItem, list: &CuttingList, page: &Page) -> Value {
    let length = |nanometres: i64| plain(in_unit(nanometres, item.unit), 4);
    json!({
        "item": item.name,
        "unit": item.unit.as_str(),
        "currency": page.currency.code(),
        "sticks": list.sticks.iter().map(|cut| json!({
            "length": length(cut.stick.length),
            "off_cut": cut.off_cut,
            "price": page.money_json(cut.stick.price),
            "pieces": cut.pieces.iter().map(|piece| length(*piece)).collect::<Vec<_>>(),
            "left": length(cut.left),
        })).collect::<Vec<_>>(),
        "proven": list.proven,
        "at_least": match list.at_least {
            AtLeast::Price(price) => json!({ "price": page.money_json(price) }),
            AtLeast::Sticks(sticks) => json!({ "sticks": sticks }),
        },
        "total": page.money_json(list.total),
    })
}

/// Renders a cutting list as text.
pub fn cutting_text(item: &BookItem, list: &CuttingList, saw_loss: Length, page: &Page) -> String {
    let length = |nanometres: i64| Length::from_nanometres(nanometres).text(page.units);
    let mut table = page
        .table(["Stick", "Pieces", "Left", "Price"])
        .numbers([2, 3]);
    for cut in &list.sticks {
        let pieces: Vec<String> = cut.pieces.iter().map(|piece| length(*piece)).collect();
        let off_cut = if cut.off_cut { " off-cut" } else { "" };
        table.row([
            format!("{}{off_cut}", length(cut.stick.length)),
            pieces.join(", "),
            length(cut.left),
            page.money(cut.stick.price),
        ]);
    }
    let bought = list.sticks.iter().filter(|cut| !cut.off_cut).count();
    table.row([
        count(bought, "stick"),
        String::new(),
        String::new(),
        page.money(list.total),
    ]);
    let mut text = format!("Cut from {}\n\n{table}\n", inert(&item.name));
    let saw = match saw_loss.nanometres() {
        0 => "The saw is taken to lose nothing.".to_owned(),
        _ => format!(
            "The saw takes {} between two pieces.",
            saw_loss.text(page.units)
        ),
    };
    let _ = write!(text, "\n{}", page.prose(&saw));
    if !list.proven {
        let least = match list.at_least {
            AtLeast::Price(price) => page.money(price),
            AtLeast::Sticks(sticks) => count(sticks.unsigned_abs() as usize, "stick"),
        };
        let doubt =
            format!("There may be a better list; by length alone, none takes less than {least}.");
        let _ = write!(text, "\n{}", page.prose(&doubt));
    }
    text
}
