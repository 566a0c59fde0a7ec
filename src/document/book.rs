//! The firm's book: items, machines, operations, sequences, schedules, settings and tax areas.

use std::fmt::{Display, Write as _};

use chrono::NaiveDate;
use serde::Serialize;

use super::figures::{Amount, Number, Percent, Quantity, SetPercent, UnitPrice};
use super::{Answer, Page, inert, or_blank};
use crate::ledger::{BookItem, BookMachine, Pack, Setting, TaxArea};
use crate::measure::Units;
use crate::money::{Decimal, plain, round};
use crate::trade::cautions::Hazard;
use crate::trade::film::{book_spread, micrometres, square_metres_per_litre, wet_mils};
use crate::trade::operation::{
    Driver, Operation, Schedule, ScheduleStep, Sequence, Splits, skipped_grades,
};
use crate::trade::rates::Book;
use crate::trade::rental::Tariff;
use crate::trade::{MachineId, Unit};

/// Writes what there is, or that there is nothing.
fn or_dash(fact: Option<impl Display>) -> String {
    fact.map_or_else(|| "-".to_owned(), |fact| fact.to_string())
}

/// Writes a name and what it is, as the first line of a longer answer.
fn titled(name: &str, description: &str) -> String {
    match description {
        "" => format!("{}\n", inert(name)),
        description => format!("{}: {}\n", inert(name), inert(description)),
    }
}

/// A pack that an item is sold in.
#[derive(Debug, Serialize)]
struct PackFacts {
    size: Quantity,
    price: Amount,
    #[serde(skip)]
    unit_price: UnitPrice,
    source: String,
}

impl PackFacts {
    fn new(pack: Pack, unit: Unit, page: &Page) -> PackFacts {
        let Pack {
            size,
            price,
            source,
        } = pack;
        PackFacts {
            size: Quantity {
                quantity: Number(size),
                unit,
            },
            price: page.amount(price),
            unit_price: page.price_of_one(page.currency.decimal(price) / size),
            source,
        }
    }

    /// Writes its size, without the unit.
    fn size(&self) -> String {
        plain(self.size.quantity.0, 4)
    }
}

/// What is known of an item.
#[derive(Debug, Serialize)]
struct ItemFacts {
    name: String,
    description: String,
    unit: Unit,
    kept: bool,
    returnable: bool,
    unit_price: Option<UnitPrice>,
    packs: Vec<PackFacts>,
}

impl ItemFacts {
    fn new(item: BookItem, page: &Page) -> ItemFacts {
        let unit_price = (!item.packs.is_empty()).then(|| item.unit_price(page.currency));
        let BookItem {
            id: _,
            name,
            description,
            unit,
            kept,
            returnable,
            packs,
        } = item;
        ItemFacts {
            name,
            description,
            unit,
            kept,
            returnable,
            unit_price: unit_price.map(|price| page.price_of_one(price)),
            packs: page.each(packs, |pack, page| PackFacts::new(pack, unit, page)),
        }
    }
}

/// An item with its packs.
#[derive(Debug, Serialize)]
pub struct ItemAnswer {
    #[serde(flatten)]
    item: ItemFacts,
    currency: &'static str,
}

impl ItemAnswer {
    /// Returns the answer about an item.
    pub fn new(item: BookItem, page: &Page) -> ItemAnswer {
        ItemAnswer {
            item: ItemFacts::new(item, page),
            currency: page.currency.code(),
        }
    }
}

impl Answer for ItemAnswer {
    fn text(&self, page: &Page) -> String {
        let (item, currency) = (&self.item, self.currency);
        let kept = match item.kept {
            true => "keeps when opened",
            false => "doesn't keep when opened",
        };
        let returnable = match item.returnable {
            true => "unopened packs go back",
            false => "packs don't go back",
        };
        let (title, unit) = (titled(&item.name, &item.description), item.unit);
        let head = format!("{title}Counted in {unit}; {kept}; {returnable}\n");
        if item.packs.is_empty() {
            return head + "No price yet.";
        }
        let of_one = format!("{currency}/{unit}");
        let mut table = page
            .table(["Pack", currency, &of_one, "Source"])
            .numbers([0, 1, 2]);
        for pack in &item.packs {
            table.line([
                &format!("{} {unit}", pack.size()),
                &pack.price,
                &pack.unit_price,
                &pack.source,
            ]);
        }
        format!("{head}\n{table}")
    }
}

/// The items.
#[derive(Debug, Serialize)]
pub struct ItemList {
    currency: &'static str,
    items: Vec<ItemFacts>,
}

impl ItemList {
    /// Returns the answer about these items.
    pub fn new(items: Vec<BookItem>, page: &Page) -> ItemList {
        ItemList {
            currency: page.currency.code(),
            items: page.each(items, ItemFacts::new),
        }
    }
}

impl Answer for ItemList {
    fn text(&self, page: &Page) -> String {
        if self.items.is_empty() {
            return "No items yet.".to_owned();
        }
        let mut table = page
            .table(["Item", "Unit", self.currency, "Packs", ""])
            .numbers([2]);
        for item in &self.items {
            let packs = item.packs.iter();
            let packs = packs.map(|pack| format!("{} = {}", pack.size(), pack.price));
            table.line([
                &item.name,
                &item.unit,
                &or_dash(item.unit_price),
                &packs.collect::<Vec<_>>().join("; "),
                &item.description,
            ]);
        }
        table.to_string()
    }
}

/// What is known of a machine.
#[derive(Debug, Serialize)]
struct MachineFacts {
    name: String,
    description: String,
    half_day: Option<Amount>,
    day: Amount,
    weekend: Option<Amount>,
    week: Option<Amount>,
    four_weeks: Option<Amount>,
    waiver_percent: Percent,
    cleaning: Amount,
    source: String,
}

impl MachineFacts {
    fn new(machine: BookMachine, page: &Page) -> MachineFacts {
        let BookMachine {
            id: _,
            name,
            description,
            tariff:
                Tariff {
                    half_day,
                    day,
                    weekend,
                    week,
                    four_weeks,
                    waiver_percent,
                    cleaning,
                },
            source,
        } = machine;
        MachineFacts {
            name,
            description,
            half_day: half_day.map(|price| page.amount(price)),
            day: page.amount(day),
            weekend: weekend.map(|price| page.amount(price)),
            week: week.map(|price| page.amount(price)),
            four_weeks: four_weeks.map(|price| page.amount(price)),
            waiver_percent: Percent(Some(waiver_percent)),
            cleaning: page.amount(cleaning),
            source,
        }
    }
}

/// A machine with its tariff.
#[derive(Debug, Serialize)]
pub struct MachineAnswer {
    #[serde(flatten)]
    machine: MachineFacts,
    currency: &'static str,
}

impl MachineAnswer {
    /// Returns the answer about a machine.
    pub fn new(machine: BookMachine, page: &Page) -> MachineAnswer {
        MachineAnswer {
            machine: MachineFacts::new(machine, page),
            currency: page.currency.code(),
        }
    }
}

impl Answer for MachineAnswer {
    fn text(&self, page: &Page) -> String {
        let machine = &self.machine;
        let mut table = page.table(["Tariff", self.currency]).numbers([1]);
        table.line([&"Half day", &or_dash(machine.half_day)]);
        table.line([&"Day", &machine.day]);
        table.line([&"Weekend", &or_dash(machine.weekend)]);
        table.line([&"Week", &or_dash(machine.week)]);
        table.line([&"Four weeks", &or_dash(machine.four_weeks)]);
        table.line([&"Cleaning", &machine.cleaning]);
        table.line([&"Damage waiver", &machine.waiver_percent]);
        let title = titled(&machine.name, &machine.description);
        format!("{title}\n{table}\n\nSource: {}", inert(&machine.source))
    }
}

/// The machines.
#[derive(Debug, Serialize)]
pub struct MachineList {
    currency: &'static str,
    machines: Vec<MachineFacts>,
}

impl MachineList {
    /// Returns the answer about these machines.
    pub fn new(machines: Vec<BookMachine>, page: &Page) -> MachineList {
        MachineList {
            currency: page.currency.code(),
            machines: page.each(machines, MachineFacts::new),
        }
    }
}

impl Answer for MachineList {
    fn text(&self, page: &Page) -> String {
        if self.machines.is_empty() {
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
        for machine in &self.machines {
            table.line([
                &machine.name,
                &or_dash(machine.half_day),
                &machine.day,
                &or_dash(machine.weekend),
                &or_dash(machine.week),
                &or_dash(machine.four_weeks),
                &machine.waiver_percent,
                &machine.cleaning,
            ]);
        }
        format!("{table}\n\nAmounts in {}.", self.currency)
    }
}

/// An operation.
#[derive(Debug, Serialize)]
pub struct OperationAnswer {
    name: String,
    task: String,
    driver: Driver,
    item: Option<String>,
    item_unit: Option<Unit>,
    set_size: Option<u32>,
    family: String,
    splits: Splits,
    machine: Option<String>,
    grit: Option<u32>,
    harden_hours: Option<Number>,
    #[serde(skip)]
    hardens: Option<Decimal>,
    answers: Option<String>,
    hazards: Vec<Hazard>,
    description: String,
    source: String,
}

impl OperationAnswer {
    /// Returns the answer about an operation, whose machine is one of these.
    pub fn new(operation: Operation, machines: &[BookMachine]) -> OperationAnswer {
        let Operation {
            id: _,
            name,
            task,
            driver,
            item,
            set_size,
            family,
            splits,
            machine,
            grit,
            harden_hours,
            answers,
            hazards,
            description,
            source,
        } = operation;
        OperationAnswer {
            name,
            task: task.name,
            driver,
            item_unit: item.as_ref().map(|item| item.unit),
            item: item.map(|item| item.name),
            set_size,
            family,
            splits,
            machine: machine.and_then(|id| machine_name(id, machines)),
            grit,
            harden_hours: harden_hours.map(|hours| Number(round(hours, 2))),
            hardens: harden_hours.map(|hours| hours.normalize()),
            answers,
            hazards,
            description,
            source,
        }
    }
}

fn machine_name(id: MachineId, machines: &[BookMachine]) -> Option<String> {
    let machine = machines.iter().find(|machine| machine.id == id)?;
    Some(machine.name.clone())
}

impl Answer for OperationAnswer {
    fn text(&self, _: &Page) -> String {
        let item = self.item.as_ref().map(|item| match self.set_size {
            Some(size) => format!("{item}, {size} changed at once"),
            None => item.clone(),
        });
        let hazards: Vec<&str> = self.hazards.iter().map(|hazard| hazard.as_str()).collect();
        let facts = [
            ("Task", Some(self.task.clone())),
            ("Measured by", Some(self.driver.to_string())),
            ("Item", item),
            ("Family", Some(self.family.clone())),
            ("Rates differ by", Some(self.splits.to_string())),
            ("Machine", self.machine.clone()),
            ("Grit", self.grit.map(|grit| grit.to_string())),
            (
                "Can be sanded after",
                self.hardens.map(|hours| format!("{hours} hours")),
            ),
            ("Answers", self.answers.clone()),
            (
                "Hazards",
                Some(hazards.join(", ")).filter(|hazards| !hazards.is_empty()),
            ),
            ("Source", Some(self.source.clone())),
        ];
        let mut text = titled(&self.name, &self.description);
        let known = facts
            .iter()
            .filter_map(|(word, fact)| Some((word, fact.as_ref()?)));
        for (word, fact) in known {
            let _ = writeln!(text, "{word}: {}", inert(fact));
        }
        text
    }
}

/// The operations.
#[derive(Debug, Serialize)]
pub struct OperationList(Vec<OperationAnswer>);

impl OperationList {
    /// Returns the answer about these operations, whose machines are among these.
    pub fn new(operations: Vec<Operation>, machines: &[BookMachine]) -> OperationList {
        let operations = operations.into_iter();
        OperationList(
            operations
                .map(|operation| OperationAnswer::new(operation, machines))
                .collect(),
        )
    }
}

impl Answer for OperationList {
    fn text(&self, page: &Page) -> String {
        if self.0.is_empty() {
            return "No operations yet.".to_owned();
        }
        let mut table = page.table(["Operation", "Task", "Driver", "Item", "Machine", "Answers"]);
        for operation in &self.0 {
            table.line([
                &operation.name,
                &operation.task,
                &operation.driver,
                &or_blank(operation.item.as_ref()),
                &or_blank(operation.machine.as_ref()),
                &or_blank(operation.answers.as_ref()),
            ]);
        }
        table.to_string()
    }
}

/// A cut of a sanding sequence.
#[derive(Debug, Serialize)]
struct CutFacts {
    operation: String,
    driver: Driver,
    grit: Option<u32>,
    #[serde(skip)]
    description: String,
}

/// A sanding sequence with its warnings.
#[derive(Debug, Serialize)]
pub struct SequenceAnswer {
    name: String,
    steps: Vec<CutFacts>,
    warnings: Vec<String>,
}

impl SequenceAnswer {
    /// Returns the answer about a sanding sequence.
    pub fn new(sequence: Sequence) -> SequenceAnswer {
        let warnings = skipped_grades(&sequence);
        let Sequence { name, steps } = sequence;
        let steps = steps.into_iter().map(|step| CutFacts {
            operation: step.name,
            driver: step.driver,
            grit: step.grit,
            description: step.description,
        });
        SequenceAnswer {
            name,
            steps: steps.collect(),
            warnings: warnings.iter().map(ToString::to_string).collect(),
        }
    }
}

impl Answer for SequenceAnswer {
    fn text(&self, page: &Page) -> String {
        let mut table = page
            .table(["", "Operation", "Driver", "Grit", ""])
            .numbers([0, 3]);
        for (position, step) in (1..).zip(&self.steps) {
            table.line([
                &position,
                &step.operation,
                &step.driver,
                &or_blank(step.grit),
                &step.description,
            ]);
        }
        format!("{}\n\n{table}", inert(&self.name))
    }
}

/// The sanding sequences.
#[derive(Debug, Serialize)]
pub struct SequenceList(Vec<SequenceAnswer>);

impl SequenceList {
    /// Returns the answer about these sequences.
    pub fn new(sequences: Vec<Sequence>) -> SequenceList {
        SequenceList(sequences.into_iter().map(SequenceAnswer::new).collect())
    }
}

impl Answer for SequenceList {
    fn text(&self, page: &Page) -> String {
        if self.0.is_empty() {
            return "No sequences yet.".to_owned();
        }
        let mut table = page.table(["Sequence", "Operations"]);
        for sequence in &self.0 {
            let steps: Vec<&str> = sequence.steps.iter().map(|step| &*step.operation).collect();
            table.line([&sequence.name, &steps.join(", ")]);
        }
        table.to_string()
    }
}

/// A step of a coating schedule.
#[derive(Debug, Serialize)]
struct CoatFacts {
    operation: String,
    driver: Driver,
    item: Option<String>,
    /// How far the book has a gallon or a litre of it go.
    #[serde(skip)]
    spread: Option<String>,
    /// The wet film that this spread leaves, in mils or micrometres.
    #[serde(skip)]
    film: Option<String>,
    wet_film_mils: Option<Number>,
    recoat: Option<Quantity>,
    light_use: Option<Quantity>,
    furniture_back: Option<Quantity>,
    full_cure: Option<Quantity>,
}

impl CoatFacts {
    fn new(step: ScheduleStep, book: &Book, page: &Page) -> CoatFacts {
        let ScheduleStep { operation, drying } = step;
        let spread = book_spread(&operation, book);
        let mils = spread.map(wet_mils);
        let measured = |time: Option<Decimal>, unit| time.map(|time| page.measured(time, unit));
        CoatFacts {
            operation: operation.name,
            driver: operation.driver,
            item: operation.item.map(|item| item.name),
            spread: spread.map(|spread| match page.units {
                Units::Us => format!("{} sq ft/gal", plain(spread, 0)),
                Units::Metric => format!("{} m²/l", plain(square_metres_per_litre(spread), 1)),
            }),
            film: mils.map(|mils| match page.units {
                Units::Us => format!("{} mil", plain(mils, 1)),
                Units::Metric => format!("{} µm", plain(micrometres(mils), 0)),
            }),
            wet_film_mils: mils.map(Number),
            recoat: measured(drying.map(|drying| drying.recoat_hours), Unit::Hour),
            light_use: measured(drying.and_then(|drying| drying.light_use_hours), Unit::Hour),
            furniture_back: measured(drying.and_then(|drying| drying.furniture_days), Unit::Day),
            full_cure: measured(drying.and_then(|drying| drying.cure_days), Unit::Day),
        }
    }
}

/// A coating schedule.
#[derive(Debug, Serialize)]
pub struct ScheduleAnswer {
    name: String,
    steps: Vec<CoatFacts>,
}

impl ScheduleAnswer {
    /// Returns the answer about a schedule, whose coats go as far as the book has them go.
    pub fn new(schedule: Schedule, book: &Book, page: &Page) -> ScheduleAnswer {
        let Schedule { name, steps } = schedule;
        ScheduleAnswer {
            name,
            steps: page.each(steps, |step, page| CoatFacts::new(step, book, page)),
        }
    }
}

impl Answer for ScheduleAnswer {
    fn text(&self, page: &Page) -> String {
        let headings = [
            "",
            "Operation",
            "Driver",
            "Spread",
            "Wet film",
            "Next coat",
            "Light use",
            "Furniture",
            "Full cure",
        ];
        let mut table = page.table(headings).numbers([0, 3, 4, 5, 6, 7, 8]);
        for (position, step) in (1..).zip(&self.steps) {
            table.line([
                &position,
                &step.operation,
                &step.driver,
                &or_blank(step.spread.as_ref()),
                &or_blank(step.film.as_ref()),
                &or_blank(step.recoat),
                &or_blank(step.light_use),
                &or_blank(step.furniture_back),
                &or_blank(step.full_cure),
            ]);
        }
        format!("{}\n\n{table}", inert(&self.name))
    }
}

/// The coating schedules.
#[derive(Debug, Serialize)]
pub struct ScheduleList(Vec<ScheduleAnswer>);

impl ScheduleList {
    /// Returns the answer about these schedules.
    pub fn new(schedules: Vec<Schedule>, book: &Book, page: &Page) -> ScheduleList {
        ScheduleList(page.each(schedules, |schedule, page| {
            ScheduleAnswer::new(schedule, book, page)
        }))
    }
}

impl Answer for ScheduleList {
    fn text(&self, page: &Page) -> String {
        if self.0.is_empty() {
            return "No schedules yet.".to_owned();
        }
        let mut table = page.table(["Schedule", "Operations"]);
        for schedule in &self.0 {
            let steps: Vec<&str> = schedule.steps.iter().map(|step| &*step.operation).collect();
            table.line([&schedule.name, &steps.join(", ")]);
        }
        table.to_string()
    }
}

/// A setting.
#[derive(Debug, Serialize)]
pub struct SettingAnswer {
    name: String,
    value: String,
    description: String,
    source: String,
}

impl SettingAnswer {
    /// Returns the answer about a setting.
    pub fn new(setting: Setting) -> SettingAnswer {
        let Setting {
            name,
            value,
            description,
            source,
        } = setting;
        SettingAnswer {
            name,
            value,
            description,
            source,
        }
    }
}

impl Answer for SettingAnswer {
    fn text(&self, _: &Page) -> String {
        let (value, description) = (inert(&self.value), inert(&self.description));
        let (name, source) = (&self.name, inert(&self.source));
        format!("{name} = {value}\n{description}\nSource: {source}")
    }
}

/// The settings.
#[derive(Debug, Serialize)]
pub struct SettingList(Vec<SettingAnswer>);

impl SettingList {
    /// Returns the answer about these settings.
    pub fn new(settings: Vec<Setting>) -> SettingList {
        SettingList(settings.into_iter().map(SettingAnswer::new).collect())
    }
}

impl Answer for SettingList {
    fn text(&self, page: &Page) -> String {
        let mut table = page.table(["Setting", "Value", "What it is"]);
        for setting in &self.0 {
            table.line([&setting.name, &setting.value, &setting.description]);
        }
        table.to_string()
    }
}

/// What the tax is from a date on.
#[derive(Debug, Serialize)]
struct TaxFrom {
    from: NaiveDate,
    percent: SetPercent,
}

/// A tax area, with its percentage of a date; `None`: no rate has begun.
#[derive(Debug, Serialize)]
pub struct TaxAreaAnswer {
    name: String,
    percent: Option<SetPercent>,
    rates: Vec<TaxFrom>,
}

impl TaxAreaAnswer {
    /// Returns the answer about a tax area on a date.
    pub fn new(area: TaxArea, on: NaiveDate) -> TaxAreaAnswer {
        let TaxArea { id: _, name, rates } = area;
        let begun = rates.iter().rev().find(|(from, _)| *from <= on);
        let rates = rates.iter().map(|&(from, percent)| TaxFrom {
            from,
            percent: SetPercent(percent),
        });
        TaxAreaAnswer {
            name,
            percent: begun.map(|(_, percent)| SetPercent(*percent)),
            rates: rates.collect(),
        }
    }
}

impl Answer for TaxAreaAnswer {
    fn text(&self, page: &Page) -> String {
        let mut table = page.table(["From", "Tax"]).numbers([1]);
        for TaxFrom { from, percent } in &self.rates {
            table.line([from, percent]);
        }
        format!("{}\n\n{table}", inert(&self.name))
    }
}

/// The tax areas, with their percentages of a date.
#[derive(Debug, Serialize)]
pub struct TaxAreaList(Vec<TaxAreaAnswer>);

impl TaxAreaList {
    /// Returns the answer about these tax areas on a date.
    pub fn new(areas: Vec<TaxArea>, on: NaiveDate) -> TaxAreaList {
        let areas = areas.into_iter();
        TaxAreaList(areas.map(|area| TaxAreaAnswer::new(area, on)).collect())
    }
}

impl Answer for TaxAreaList {
    fn text(&self, page: &Page) -> String {
        if self.0.is_empty() {
            return "No tax areas yet: the setting tax-percent applies everywhere.".to_owned();
        }
        let mut table = page.table(["Tax area", "Tax"]).numbers([1]);
        for area in &self.0 {
            table.line([&area.name, &or_dash(area.percent)]);
        }
        table.to_string()
    }
}
