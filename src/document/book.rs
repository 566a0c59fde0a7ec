//! The firm's book: items, machines, operations, sequences, schedules, rates, settings and tax areas.

use std::fmt::Write as _;

use chrono::NaiveDate;
use serde_json::{Value, json};

use super::{Page, inert, percent_json, percent_text};
use crate::ledger::{BookItem, BookMachine, Setting, TaxArea};
use crate::measure::Units;
use crate::money::{Decimal, Money, plain};
use crate::trade::film::{book_spread, micrometres, square_metres_per_litre, wet_mils};
use crate::trade::operation::{Operation, Schedule, ScheduleStep, Sequence, skipped_grades};
use crate::trade::rates::Book;
use crate::trade::{MachineId, Unit};

fn item_fields(item: &BookItem, page: &Page) -> Value {
    let packs = item.packs.iter().map(|pack| {
        json!({
            "size": { "quantity": plain(pack.size, 4), "unit": item.unit.as_str() },
            "price": page.money_json(pack.price),
            "source": pack.source,
        })
    });
    json!({
        "name": item.name,
        "description": item.description,
        "unit": item.unit.as_str(),
        "kept": item.kept,
        "returnable": item.returnable,
        "unit_price": (!item.packs.is_empty()).then(|| page.unit_price(item.unit_price(page.currency))),
        "packs": packs.collect::<Vec<_>>(),
    })
}

/// Adds the currency to an answer that has money.
fn with_currency(mut value: Value, page: &Page) -> Value {
    value["currency"] = json!(page.currency.code());
    value
}

/// Renders an item with its packs as JSON.
pub fn item_json(item: &BookItem, page: &Page) -> Value {
    with_currency(item_fields(item, page), page)
}

/// Renders an item with its packs as text.
pub fn item_text(item: &BookItem, page: &Page) -> String {
    let mut text = titled(&item.name, &item.description);
    let kept = if item.kept {
        "keeps when opened"
    } else {
        "doesn't keep when opened"
    };
    let returnable = if item.returnable {
        "unopened packs go back"
    } else {
        "packs don't go back"
    };
    let _ = writeln!(text, "Counted in {}; {kept}; {returnable}", item.unit);
    if item.packs.is_empty() {
        text.push_str("No price yet.");
        return text;
    }
    let currency = page.currency.code();
    let mut table = page
        .table([
            "Pack",
            currency,
            &format!("{currency}/{}", item.unit),
            "Source",
        ])
        .numbers([0, 1, 2]);
    for pack in &item.packs {
        table.row([
            format!("{} {}", plain(pack.size, 4), item.unit),
            page.money(pack.price),
            page.unit_price(page.currency.decimal(pack.price) / pack.size),
            pack.source.clone(),
        ]);
    }
    let _ = write!(text, "\n{table}");
    text
}

/// Renders the list of items as JSON.
pub fn items_json(items: &[BookItem], page: &Page) -> Value {
    let items: Vec<Value> = items.iter().map(|item| item_fields(item, page)).collect();
    json!({ "currency": page.currency.code(), "items": items })
}

/// Renders the list of items as text.
pub fn items_text(items: &[BookItem], page: &Page) -> String {
    if items.is_empty() {
        return "No items yet.".to_owned();
    }
    let mut table = page
        .table(["Item", "Unit", page.currency.code(), "Packs", ""])
        .numbers([2]);
    for item in items {
        let packs: Vec<String> = item
            .packs
            .iter()
            .map(|pack| format!("{} = {}", plain(pack.size, 4), page.money(pack.price)))
            .collect();
        table.row([
            item.name.clone(),
            item.unit.as_str().to_owned(),
            if packs.is_empty() {
                "-".to_owned()
            } else {
                page.unit_price(item.unit_price(page.currency))
            },
            packs.join("; "),
            item.description.clone(),
        ]);
    }
    table.to_string()
}

fn machine_fields(machine: &BookMachine, page: &Page) -> Value {
    let tariff = &machine.tariff;
    let price = |price: Option<Money>| price.map(|price| page.money(price));
    json!({
        "name": machine.name,
        "description": machine.description,
        "half_day": price(tariff.half_day),
        "day": page.money_json(tariff.day),
        "weekend": price(tariff.weekend),
        "week": price(tariff.week),
        "four_weeks": price(tariff.four_weeks),
        "waiver_percent": percent_json(Some(tariff.waiver_percent)),
        "cleaning": page.money_json(tariff.cleaning),
        "source": machine.source,
    })
}

/// Renders a machine with its tariff as JSON.
pub fn machine_json(machine: &BookMachine, page: &Page) -> Value {
    with_currency(machine_fields(machine, page), page)
}

/// Renders a machine with its tariff as text.
pub fn machine_text(machine: &BookMachine, page: &Page) -> String {
    let tariff = &machine.tariff;
    let mut table = page.table(["Tariff", page.currency.code()]).numbers([1]);
    for (period, price) in [
        ("Half day", tariff.half_day),
        ("Day", Some(tariff.day)),
        ("Weekend", tariff.weekend),
        ("Week", tariff.week),
        ("Four weeks", tariff.four_weeks),
    ] {
        table.row([
            period.to_owned(),
            price.map_or_else(|| "-".to_owned(), |price| page.money(price)),
        ]);
    }
    table.row(["Cleaning".to_owned(), page.money(tariff.cleaning)]);
    table.row([
        "Damage waiver".to_owned(),
        percent_text(Some(tariff.waiver_percent)),
    ]);
    format!(
        "{}\n{table}\n\nSource: {}",
        titled(&machine.name, &machine.description),
        inert(&machine.source)
    )
}

/// Renders the list of machines as JSON.
pub fn machines_json(machines: &[BookMachine], page: &Page) -> Value {
    let machines: Vec<Value> = machines
        .iter()
        .map(|machine| machine_fields(machine, page))
        .collect();
    json!({ "currency": page.currency.code(), "machines": machines })
}

/// Renders the list of machines as text.
pub fn machines_text(machines: &[BookMachine], page: &Page) -> String {
    if machines.is_empty() {
        return "No machines yet.".to_owned();
    }
    let headings = [
        "Machine",
        "Half day",
        "Day",
        "Weekend",
        "Week",
        "Four weeks",
        "Waiver",
        "Cleaning",
    ];
    let mut table = page.table(headings).numbers(1..=7);
    for machine in machines {
        let tariff = &machine.tariff;
        let price =
            |price: Option<Money>| price.map_or_else(|| "-".to_owned(), |price| page.money(price));
        table.row([
            machine.name.clone(),
            price(tariff.half_day),
            page.money(tariff.day),
            price(tariff.weekend),
            price(tariff.week),
            price(tariff.four_weeks),
            percent_text(Some(tariff.waiver_percent)),
            page.money(tariff.cleaning),
        ]);
    }
    format!("{table}\n\nAmounts in {}.", page.currency.code())
}

fn machine_name(id: Option<MachineId>, machines: &[BookMachine]) -> Option<&str> {
    machines
        .iter()
        .find(|machine| Some(machine.id) == id)
        .map(|machine| machine.name.as_str())
}

/// Renders an operation as JSON.
pub fn operation_json(operation: &Operation, machines: &[BookMachine]) -> Value {
    json!({
        "name": operation.name,
        "task": operation.task.name,
        "driver": operation.driver.as_str(),
        "item": operation.item.as_ref().map(|item| &item.name),
        "item_unit": operation.item.as_ref().map(|item| item.unit.as_str()),
        "set_size": operation.set_size,
        "family": operation.family,
        "splits": operation.splits.as_str(),
        "machine": machine_name(operation.machine, machines),
        "grit": operation.grit,
        "harden_hours": operation.harden_hours.map(|hours| plain(hours, 2)),
        "answers": operation.answers,
        "hazards": operation.hazards.iter().map(|hazard| hazard.as_str()).collect::<Vec<_>>(),
        "description": operation.description,
        "source": operation.source,
    })
}

/// Renders an operation as text.
pub fn operation_text(operation: &Operation, machines: &[BookMachine]) -> String {
    let mut text = titled(&operation.name, &operation.description);
    let item = operation
        .item
        .as_ref()
        .map(|item| match operation.set_size {
            Some(size) => format!("{}, {size} changed at once", item.name),
            None => item.name.clone(),
        });
    let hazards: Vec<&str> = operation
        .hazards
        .iter()
        .map(|hazard| hazard.as_str())
        .collect();
    let facts = [
        ("Task", Some(operation.task.name.clone())),
        ("Measured by", Some(operation.driver.to_string())),
        ("Item", item),
        ("Family", Some(operation.family.clone())),
        ("Rates differ by", Some(operation.splits.to_string())),
        (
            "Machine",
            machine_name(operation.machine, machines).map(str::to_owned),
        ),
        ("Grit", operation.grit.map(|grit| grit.to_string())),
        (
            "Can be sanded after",
            operation
                .harden_hours
                .map(|hours| format!("{} hours", hours.normalize())),
        ),
        ("Answers", operation.answers.clone()),
        ("Hazards", (!hazards.is_empty()).then(|| hazards.join(", "))),
        ("Source", Some(operation.source.clone())),
    ];
    for (word, fact) in facts {
        if let Some(fact) = fact {
            let _ = writeln!(text, "{word}: {}", inert(&fact));
        }
    }
    text
}

/// Renders the list of operations as JSON.
pub fn operations_json(operations: &[Operation], machines: &[BookMachine]) -> Value {
    Value::Array(
        operations
            .iter()
            .map(|operation| operation_json(operation, machines))
            .collect(),
    )
}

/// Renders the list of operations as text.
pub fn operations_text(operations: &[Operation], machines: &[BookMachine], page: &Page) -> String {
    if operations.is_empty() {
        return "No operations yet.".to_owned();
    }
    let mut table = page.table(["Operation", "Task", "Driver", "Item", "Machine", "Answers"]);
    for operation in operations {
        table.row([
            operation.name.clone(),
            operation.task.name.clone(),
            operation.driver.as_str().to_owned(),
            operation
                .item
                .as_ref()
                .map(|item| item.name.clone())
                .unwrap_or_default(),
            machine_name(operation.machine, machines)
                .unwrap_or_default()
                .to_owned(),
            operation.answers.clone().unwrap_or_default(),
        ]);
    }
    table.to_string()
}

/// Renders a sanding sequence with its warnings as JSON.
pub fn sequence_json(sequence: &Sequence) -> Value {
    let steps = sequence.steps.iter().map(
        |step| json!({ "operation": step.name, "driver": step.driver.as_str(), "grit": step.grit }),
    );
    json!({
        "name": sequence.name,
        "steps": steps.collect::<Vec<_>>(),
        "warnings": skipped_grades(sequence).iter().map(ToString::to_string).collect::<Vec<_>>(),
    })
}

/// Renders a sanding sequence as text.
pub fn sequence_text(sequence: &Sequence, page: &Page) -> String {
    let mut table = page
        .table(["", "Operation", "Driver", "Grit", ""])
        .numbers([0, 3]);
    for (position, step) in (1..).zip(&sequence.steps) {
        table.row([
            format!("{position}"),
            step.name.clone(),
            step.driver.as_str().to_owned(),
            step.grit.map(|grit| grit.to_string()).unwrap_or_default(),
            step.description.clone(),
        ]);
    }
    format!("{}\n\n{table}", inert(&sequence.name))
}

/// Renders the list of sanding sequences as JSON.
pub fn sequences_json(sequences: &[Sequence]) -> Value {
    Value::Array(sequences.iter().map(sequence_json).collect())
}

/// Renders the list of sanding sequences as text.
pub fn sequences_text(sequences: &[Sequence], page: &Page) -> String {
    if sequences.is_empty() {
        return "No sequences yet.".to_owned();
    }
    let mut table = page.table(["Sequence", "Operations"]);
    for sequence in sequences {
        let steps: Vec<&str> = sequence
            .steps
            .iter()
            .map(|step| step.name.as_str())
            .collect();
        table.row([sequence.name.clone(), steps.join(", ")]);
    }
    table.to_string()
}

/// Renders a coating schedule as JSON.
pub fn schedule_json(schedule: &Schedule, book: &Book, page: &Page) -> Value {
    let steps = schedule
        .steps
        .iter()
        .map(|ScheduleStep { operation, drying }| {
            let measured =
                |value: Option<Decimal>, unit| value.map(|value| page.quantity_json(value, unit));
            json!({
                "operation": operation.name,
                "driver": operation.driver.as_str(),
                "item": operation.item.as_ref().map(|item| &item.name),
                "wet_film_mils": book_spread(operation, book).map(|spread| plain(wet_mils(spread), 4)),
                "recoat": measured(drying.map(|drying| drying.recoat_hours), Unit::Hour),
                "light_use": measured(drying.and_then(|drying| drying.light_use_hours), Unit::Hour),
                "furniture_back": measured(drying.and_then(|drying| drying.furniture_days), Unit::Day),
                "full_cure": measured(drying.and_then(|drying| drying.cure_days), Unit::Day),
            })
        });
    json!({ "name": schedule.name, "steps": steps.collect::<Vec<_>>() })
}

/// Writes how far the book has a gallon or a litre of a coat go.
fn spread_text(operation: &Operation, book: &Book, page: &Page) -> String {
    let spread = book_spread(operation, book).map(|spread| match page.units {
        Units::Us => format!("{} sq ft/gal", plain(spread, 0)),
        Units::Metric => format!("{} m²/l", plain(square_metres_per_litre(spread), 1)),
    });
    spread.unwrap_or_default()
}

/// Writes the wet film that the book's spread of a coat leaves, in mils or micrometres.
fn film_text(operation: &Operation, book: &Book, page: &Page) -> String {
    let film = book_spread(operation, book).map(|spread| match page.units {
        Units::Us => format!("{} mil", plain(wet_mils(spread), 1)),
        Units::Metric => format!("{} µm", plain(micrometres(wet_mils(spread)), 0)),
    });
    film.unwrap_or_default()
}

/// Renders a coating schedule as text.
pub fn schedule_text(schedule: &Schedule, book: &Book, page: &Page) -> String {
    let mut table = page
        .table([
            "",
            "Operation",
            "Driver",
            "Spread",
            "Wet film",
            "Next coat",
            "Light use",
            "Furniture",
            "Full cure",
        ])
        .numbers([0, 3, 4, 5, 6, 7, 8]);
    for (position, ScheduleStep { operation, drying }) in (1..).zip(&schedule.steps) {
        let measured = |value: Option<Decimal>, unit| {
            value
                .map(|value| page.quantity(value, unit))
                .unwrap_or_default()
        };
        table.row([
            format!("{position}"),
            operation.name.clone(),
            operation.driver.as_str().to_owned(),
            spread_text(operation, book, page),
            film_text(operation, book, page),
            measured(drying.map(|drying| drying.recoat_hours), Unit::Hour),
            measured(drying.and_then(|drying| drying.light_use_hours), Unit::Hour),
            measured(drying.and_then(|drying| drying.furniture_days), Unit::Day),
            measured(drying.and_then(|drying| drying.cure_days), Unit::Day),
        ]);
    }
    format!("{}\n\n{table}", inert(&schedule.name))
}

/// Renders the list of coating schedules as JSON.
pub fn schedules_json(schedules: &[Schedule], book: &Book, page: &Page) -> Value {
    Value::Array(
        schedules
            .iter()
            .map(|schedule| schedule_json(schedule, book, page))
            .collect(),
    )
}

/// Renders the list of coating schedules as text.
pub fn schedules_text(schedules: &[Schedule], page: &Page) -> String {
    if schedules.is_empty() {
        return "No schedules yet.".to_owned();
    }
    let mut table = page.table(["Schedule", "Operations"]);
    for schedule in schedules {
        let steps: Vec<&str> = schedule
            .steps
            .iter()
            .map(|step| step.operation.name.as_str())
            .collect();
        table.row([schedule.name.clone(), steps.join(", ")]);
    }
    table.to_string()
}

/// Renders a setting as JSON.
pub fn setting_json(setting: &Setting) -> Value {
    json!({
        "name": setting.name,
        "value": setting.value,
        "description": setting.description,
        "source": setting.source,
    })
}

/// Renders a setting as text.
pub fn setting_text(setting: &Setting) -> String {
    format!(
        "{} = {}\n{}\nSource: {}",
        setting.name,
        inert(&setting.value),
        inert(&setting.description),
        inert(&setting.source)
    )
}

/// Renders the settings as JSON.
pub fn settings_json(settings: &[Setting]) -> Value {
    Value::Array(settings.iter().map(setting_json).collect())
}

/// Renders the settings as text.
pub fn settings_text(settings: &[Setting], page: &Page) -> String {
    let mut table = page.table(["Setting", "Value", "What it is"]);
    for setting in settings {
        table.row([
            setting.name.clone(),
            setting.value.clone(),
            setting.description.clone(),
        ]);
    }
    table.to_string()
}

/// Returns the percentage that an area has on a date; `None`: no rate has begun.
fn percent_on(area: &TaxArea, on: NaiveDate) -> Option<Decimal> {
    area.rates
        .iter()
        .rev()
        .find(|(from, _)| *from <= on)
        .map(|(_, percent)| *percent)
}

/// Renders a tax area as JSON, with the percentage of a date.
pub fn tax_area_json(area: &TaxArea, on: NaiveDate) -> Value {
    let rates = area
        .rates
        .iter()
        .map(|(from, percent)| json!({ "from": from, "percent": percent_exact(*percent) }));
    json!({
        "name": area.name,
        "percent": percent_on(area, on).map_or(Value::Null, percent_exact),
        "rates": rates.collect::<Vec<_>>(),
    })
}

/// Writes a percentage as a JSON number with every decimal that a tax rate has, such as 8.875.
fn percent_exact(percent: Decimal) -> Value {
    plain(percent, 6)
        .parse::<serde_json::Number>()
        .map_or(Value::Null, Value::Number)
}

fn percent_words(percent: Decimal) -> String {
    format!("{} %", plain(percent, 6))
}

/// Renders a tax area as text.
pub fn tax_area_text(area: &TaxArea, page: &Page) -> String {
    let mut table = page.table(["From", "Tax"]).numbers([1]);
    for (from, percent) in &area.rates {
        table.row([from.to_string(), percent_words(*percent)]);
    }
    format!("{}\n\n{table}", inert(&area.name))
}

/// Renders the tax areas as JSON, with the percentages of a date.
pub fn tax_areas_json(areas: &[TaxArea], on: NaiveDate) -> Value {
    Value::Array(areas.iter().map(|area| tax_area_json(area, on)).collect())
}

/// Renders the tax areas as text, with the percentages of a date.
pub fn tax_areas_text(areas: &[TaxArea], on: NaiveDate, page: &Page) -> String {
    if areas.is_empty() {
        return "No tax areas yet: the setting tax-percent applies everywhere.".to_owned();
    }
    let mut table = page.table(["Tax area", "Tax"]).numbers([1]);
    for area in areas {
        table.row([
            area.name.clone(),
            percent_on(area, on).map_or_else(|| "-".to_owned(), percent_words),
        ]);
    }
    table.to_string()
}

/// Writes a name and what it is, as the first line of a longer answer.
fn titled(name: &str, description: &str) -> String {
    if description.is_empty() {
        format!("{}\n", inert(name))
    } else {
        format!("{}: {}\n", inert(name), inert(description))
    }
}
