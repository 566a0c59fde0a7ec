//! The firm's book and what it has learned, as text and JSON.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use serde_json::{Value, json};

use super::{Page, percent_text};
use crate::ledger::{BookItem, BookMachine, Setting, TaxArea};
use crate::money::{Decimal, Money, plain};
use crate::trade::operation::{Operation, Schedule, Sequence};
use crate::trade::rates::{RateKind, RateRow};
use crate::trade::{OperationId, Unit};

/// Decimals of a rate per driver unit: such figures are small.
const RATE_DECIMALS: u32 = 6;

/// Renders an item as JSON.
pub fn item_json(item: &BookItem, page: &Page) -> Value {
    json!({
        "item": item.name,
        "description": item.description,
        "unit": item.unit.as_str(),
        "kept": item.kept,
        "returnable": item.returnable,
        "currency": page.currency.code(),
        "unit_price": page.unit_price(item.unit_price(page.currency)),
        "packs": item.packs.iter().map(|pack| json!({
            "size": plain(pack.size, 4),
            "price": page.money_json(pack.price),
            "source": pack.source,
        })).collect::<Vec<_>>(),
    })
}

/// Renders items as a table.
pub fn items_text(items: &[BookItem], page: &Page) -> String {
    let mut table = page.table(["Item", "Unit", "Price a unit", "Packs", "What it is"]).numbers([2]);
    for item in items {
        let packs = item.packs.iter().map(|pack| format!("{}={}", plain(pack.size, 4), page.money(pack.price)));
        table.row([
            item.name.clone(),
            item.unit.to_string(),
            page.unit_price(item.unit_price(page.currency)),
            packs.collect::<Vec<_>>().join(", "),
            item.description.clone(),
        ]);
    }
    table.to_string()
}

/// Renders a machine as JSON.
pub fn machine_json(machine: &BookMachine, page: &Page) -> Value {
    let tariff = &machine.tariff;
    let price = |price: Option<Money>| price.map(|price| page.money(price));
    json!({
        "machine": machine.name,
        "description": machine.description,
        "currency": page.currency.code(),
        "half_day": price(tariff.half_day),
        "day": price(Some(tariff.day)),
        "weekend": price(tariff.weekend),
        "week": price(tariff.week),
        "four_weeks": price(tariff.four_weeks),
        "waiver_percent": super::percent_json(Some(tariff.waiver_percent)),
        "cleaning": price(Some(tariff.cleaning)),
        "source": machine.source,
    })
}

/// Renders machines as a table.
pub fn machines_text(machines: &[BookMachine], page: &Page) -> String {
    let headings = ["Machine", "Half day", "Day", "Weekend", "Week", "Four weeks", "Waiver", "Cleaning"];
    let mut table = page.table(headings).numbers(1..=7);
    for machine in machines {
        let tariff = &machine.tariff;
        let price = |price: Option<Money>| price.map(|price| page.money(price)).unwrap_or_default();
        table.row([
            machine.name.clone(),
            price(tariff.half_day),
            price(Some(tariff.day)),
            price(tariff.weekend),
            price(tariff.week),
            price(tariff.four_weeks),
            percent_text(Some(tariff.waiver_percent)),
            price(Some(tariff.cleaning)),
        ]);
    }
    table.to_string()
}

/// Renders an operation as JSON.
pub fn operation_json(operation: &Operation) -> Value {
    json!({
        "operation": operation.name,
        "task": operation.task.name,
        "driver": operation.driver.as_str(),
        "item": operation.item.as_ref().map(|item| &item.name),
        "set_size": operation.set_size,
        "family": operation.family,
        "splits": operation.splits.as_str(),
        "grit": operation.grit,
        "answers": operation.answers,
        "hazards": operation.hazards.iter().map(|hazard| hazard.as_str()).collect::<Vec<_>>(),
        "description": operation.description,
        "source": operation.source,
    })
}

/// Renders operations as a table.
pub fn operations_text(operations: &[Operation], page: &Page) -> String {
    let mut table = page.table(["Operation", "Task", "Measured by", "Item", "Answers", "What it is"]);
    for operation in operations {
        table.row([
            operation.name.clone(),
            operation.task.name.clone(),
            operation.driver.to_string(),
            operation.item.as_ref().map(|item| item.name.clone()).unwrap_or_default(),
            operation.answers.clone().unwrap_or_default(),
            operation.description.clone(),
        ]);
    }
    table.to_string()
}

/// Renders a sequence as JSON.
pub fn sequence_json(sequence: &Sequence) -> Value {
    json!({
        "sequence": sequence.name,
        "operations": sequence.steps.iter().map(|step| &step.name).collect::<Vec<_>>(),
    })
}

/// Renders sequences as a table.
pub fn sequences_text(sequences: &[Sequence], page: &Page) -> String {
    let mut table = page.table(["Sequence", "Operations in order"]);
    for sequence in sequences {
        let steps: Vec<&str> = sequence.steps.iter().map(|step| step.name.as_str()).collect();
        table.row([sequence.name.clone(), steps.join(", ")]);
    }
    table.to_string()
}

/// Renders a schedule as JSON.
pub fn schedule_json(schedule: &Schedule) -> Value {
    json!({
        "schedule": schedule.name,
        "steps": schedule.steps.iter().map(|step| {
            let hours = |value: Option<Decimal>| value.map(|value| plain(value, 4));
            json!({
                "operation": step.operation.name,
                "recoat_hours": hours(step.drying.map(|drying| drying.recoat_hours)),
                "light_use_hours": hours(step.drying.and_then(|drying| drying.light_use_hours)),
                "cure_days": hours(step.drying.and_then(|drying| drying.cure_days)),
            })
        }).collect::<Vec<_>>(),
    })
}

/// Renders a schedule as text.
pub fn schedule_text(schedule: &Schedule, page: &Page) -> String {
    let mut table = page.table(["Step", "Recoat after", "Light use after", "Full cure after"]).numbers([1, 2, 3]);
    for step in &schedule.steps {
        let words = |value: Option<Decimal>, unit: &str| value.map(|value| format!("{} {unit}", plain(value, 1))).unwrap_or_default();
        table.row([
            step.operation.name.clone(),
            words(step.drying.map(|drying| drying.recoat_hours), "h"),
            words(step.drying.and_then(|drying| drying.light_use_hours), "h"),
            words(step.drying.and_then(|drying| drying.cure_days), "days"),
        ]);
    }
    format!("{}\n\n{table}", super::inert(&schedule.name))
}

/// Renders schedules as a table.
pub fn schedules_text(schedules: &[Schedule], page: &Page) -> String {
    let mut table = page.table(["Schedule", "Steps in order"]);
    for schedule in schedules {
        let steps: Vec<&str> = schedule.steps.iter().map(|step| step.operation.name.as_str()).collect();
        table.row([schedule.name.clone(), steps.join(", ")]);
    }
    table.to_string()
}

/// What a rate counts and what it is counted by.
fn units(row: &RateRow, operation: &Operation) -> (Unit, Unit) {
    let unit = match (row.cell.kind, &operation.item) {
        (RateKind::Item, Some(item)) => item.unit,
        (RateKind::Item, None) => Unit::Each,
        (RateKind::Hours, _) => Unit::Hour,
    };
    (unit, operation.driver.unit())
}

/// Renders rates as JSON: items or hours per driver unit.
pub fn rates_json(rows: &[RateRow], operations: &BTreeMap<OperationId, Operation>, page: &Page) -> Value {
    let rows = rows.iter().filter_map(|row| {
        let operation = operations.get(&row.cell.operation)?;
        let (unit, driver) = units(row, operation);
        let rate = |rate: Decimal| plain(page.per_unit(rate, driver).0, RATE_DECIMALS);
        let (exposure, per_unit) = page.in_units(row.exposure, driver);
        Some(json!({
            "operation": operation.name,
            "task": operation.task.name,
            "condition": row.cell.condition.map(crate::trade::FloorCondition::as_str),
            "species": row.cell.species.map(crate::trade::Species::as_str),
            "kind": row.cell.kind.as_str(),
            "unit": unit.as_str(),
            "per_unit": per_unit.as_str(),
            "book": rate(row.book.per_unit),
            "book_fixed": plain(row.book.fixed, 4),
            "observed": row.observed.map(rate),
            "rooms": row.rooms,
            "exposure": plain(exposure, 4),
            "learned": rate(row.learned.per_unit),
            "learned_fixed": plain(row.learned.fixed, 4),
        }))
    });
    Value::Array(rows.collect())
}

/// Renders rates as a table, per hundred driver units where floors are measured.
pub fn rates_text(rows: &[RateRow], operations: &BTreeMap<OperationId, Operation>, page: &Page) -> String {
    let headings = ["Operation", "Floor", "Rate", "Book", "Observed", "Rooms", "Measured", "Learned"];
    let mut table = page.table(headings).numbers([3, 4, 5, 6, 7]);
    for row in rows {
        let Some(operation) = operations.get(&row.cell.operation) else { continue };
        let (unit, driver) = units(row, operation);
        let (exposure, per_unit) = page.in_units(row.exposure, driver);
        let hundred = matches!(driver, Unit::SquareFoot | Unit::Foot);
        let factor = if hundred { Decimal::ONE_HUNDRED } else { Decimal::ONE };
        let rate = |rate: Decimal| plain(page.per_unit(rate, driver).0 * factor, 3);
        let with_fixed = |per_unit: Decimal, fixed: Decimal| {
            if fixed.is_zero() { rate(per_unit) } else { format!("{}+{}", rate(per_unit), plain(fixed, 2)) }
        };
        let floor = [row.cell.condition.map(|condition| condition.to_string()), row.cell.species.map(|species| species.to_string())];
        let floor: Vec<String> = floor.into_iter().flatten().collect();
        table.row([
            operation.name.clone(),
            if floor.is_empty() { "any".to_owned() } else { floor.join(" ") },
            if hundred { format!("{unit} per 100 {per_unit}") } else { format!("{unit} per {per_unit}") },
            with_fixed(row.book.per_unit, row.book.fixed),
            row.observed.map(rate).unwrap_or_default(),
            if row.rooms == 0 { String::new() } else { row.rooms.to_string() },
            if row.rooms == 0 { String::new() } else { format!("{} {per_unit}", plain(exposure, 0)) },
            with_fixed(row.learned.per_unit, row.learned.fixed),
        ]);
    }
    if table.is_empty() {
        return "The book has no such rates.".to_owned();
    }
    let mut text = table.to_string();
    let _ = write!(text, "\n\nA figure after + is a fixed amount for each room and pass.");
    text
}

/// Renders settings as JSON.
pub fn settings_json(settings: &[Setting]) -> Value {
    let settings = settings.iter().map(|setting| {
        json!({
            "setting": setting.name,
            "value": setting.value,
            "description": setting.description,
            "source": setting.source,
        })
    });
    Value::Array(settings.collect())
}

/// Renders settings as a table.
pub fn settings_text(settings: &[Setting], page: &Page) -> String {
    let mut table = page.table(["Setting", "Value", "What it is", "Source"]);
    for setting in settings {
        table.row([setting.name.clone(), setting.value.clone(), setting.description.clone(), setting.source.clone()]);
    }
    table.to_string()
}

/// Renders tax areas as JSON.
pub fn tax_areas_json(areas: &[TaxArea]) -> Value {
    let areas = areas.iter().map(|area| {
        json!({
            "tax_area": area.name,
            "rates": area.rates.iter().map(|(from, percent)| json!({
                "from": from,
                "percent": super::percent_json(Some(*percent)),
            })).collect::<Vec<_>>(),
        })
    });
    Value::Array(areas.collect())
}

/// Renders tax areas as a table.
pub fn tax_areas_text(areas: &[TaxArea], page: &Page) -> String {
    if areas.is_empty() {
        return "No tax areas yet: the setting tax-percent applies everywhere.".to_owned();
    }
    let mut table = page.table(["Tax area", "From", "On the price"]).numbers([2]);
    for area in areas {
        for (from, percent) in &area.rates {
            table.row([area.name.clone(), from.to_string(), format!("{} %", plain(*percent, 4))]);
        }
    }
    format!("{table}\n\nRules differ by place and kind of work: confirm your own with its tax office.")
}
