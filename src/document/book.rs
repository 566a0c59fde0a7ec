//! The firm's book: items, machines, operations, sequences, schedules, settings and tax areas.

use std::collections::BTreeSet;
use std::fmt::{Display, Write as _};

use chrono::NaiveDate;

use super::count;
use super::figures::{Amount, Number, Percent, Quantity, SetPercent, UnitPrice};
use super::{Answer, List, Page, agree, inert, or_blank};
use crate::ledger::{BookItem, BookMachine, Pack, Setting, TaxArea, TaxRate};
use crate::measure::Units;
use crate::money::{Decimal, plain, round};
use crate::trade::cautions::Hazard;
use crate::trade::film::{book_spread, micrometres, square_metres_per_litre, wet_mils};
use crate::trade::operation::{
    Driver, Operation, Schedule, ScheduleStep, Sequence, Splits, skipped_grades,
};
use crate::trade::rates::Book;
use crate::trade::rental::Tariff;
use crate::trade::tax::TaxedKind;
use crate::trade::{MachineId, Unit};

/// Writes what there is, or that there is nothing.
fn or_dash(fact: Option<impl Display>) -> String {
    fact.map_or_else(|| "-".to_owned(), |fact| fact.to_string())
}

/// Writes the answer about something, and what it is below it.
fn titled(answer: &str, description: &str) -> String {
    match description {
        "" => format!("{}\n", inert(answer)),
        description => format!("{}\n{}\n", inert(answer), inert(description)),
    }
}

/// What operations are told beside.
#[derive(Clone, Copy, Debug)]
pub struct BesideOperations<'a> {
    /// The machines that they run on are among these.
    pub machines: &'a [BookMachine],
    /// The identities of those that are out of use.
    pub out_of_use: &'a BTreeSet<i64>,
}

/// Says that something is out of use.
fn standing(active: bool, before: &str) -> String {
    match active {
        true => String::new(),
        false => format!("{before}(inactive)"),
    }
}

answer! {
    /// A pack that an item is sold in.
    struct PackFacts from pack: Pack with (unit: Unit) on page {
        size: Quantity = Quantity {
            quantity: Number(pack.size),
            unit,
        },
        price: Amount,
        #[serde(skip)]
        unit_price: UnitPrice = page.price_of_one(page.currency.decimal(pack.price) / pack.size),
        source: String,
        .. { size }
    }
}

impl PackFacts {
    /// Writes its size, without the unit.
    fn size(&self) -> String {
        plain(self.size.quantity.0, 4)
    }
}

answer! {
    /// What is known of an item.
    struct ItemFacts from item: BookItem on page {
        name: String,
        description: String,
        unit: Unit,
        kept: bool,
        returnable: bool,
        active: bool,
        unit_price: Option<UnitPrice> = (!item.packs.is_empty()).then(|| page.price_of_one(item.unit_price(page.currency))),
        packs: Vec<PackFacts> = page.each(item.packs, |pack, page| PackFacts::new(pack, item.unit, page)),
        .. { id, packs }
    }

    /// An item with its packs.
    pub struct ItemAnswer of (item: BookItem) on page {
        #[serde(flatten)]
        item: ItemFacts,
        currency: &'static str = page.currency.code(),
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
        let unit = item.unit;
        let of_one = format!("{currency}/{unit}");
        let price = match item.unit_price {
            Some(price) => format!("{price} {of_one}"),
            None => "no price yet".to_owned(),
        };
        let standing = standing(item.active, "; ");
        let about = match item.description.as_str() {
            "" => String::new(),
            about => page.prose(&inert(about)) + "\n",
        };
        let head = format!(
            "{}: {price}\n{about}Counted in {}; {kept}; {returnable}{standing}\n",
            inert(&item.name),
            unit.in_words()
        );
        if item.packs.is_empty() {
            return head;
        }
        let mut table = page
            .table(["Pack", currency, &of_one, "Source"])
            .numbers([0, 1, 2]);
        for pack in &item.packs {
            table.line([
                &unit.told(pack.size.quantity.0, 4),
                &pack.price,
                &pack.unit_price,
                &pack.source,
            ]);
        }
        format!("{head}\n{table}")
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.item.packs)
    }
}

answer! {
    /// The items.
    pub struct ItemList of (items: Vec<BookItem>) on page {
        currency: &'static str = page.currency.code(),
        items: Vec<ItemFacts>,
    }
}

impl Answer for ItemList {
    fn text(&self, page: &Page) -> String {
        if self.items.is_empty() {
            return "No items yet.".to_owned();
        }
        let mut table = page
            .table(["Item", "Unit", self.currency, "Packs", ""])
            .numbers([2])
            .makes_room([4]);
        for item in &self.items {
            let packs = item.packs.iter();
            let packs = packs.map(|pack| format!("{}\u{a0}=\u{a0}{}", pack.size(), pack.price));
            table.line([
                &format!("{}{}", item.name, standing(item.active, " ")),
                &item.unit,
                &or_dash(item.unit_price),
                &packs.collect::<Vec<_>>().join("; "),
                &item.description,
            ]);
        }
        let without = self.items.iter().filter(|item| item.unit_price.is_none());
        let without = match without.count() {
            0 => String::new(),
            items => format!(
                "; {}",
                agree(items, "has no price yet", "have no price yet")
            ),
        };
        page.led(
            &format!("{}{without}.", count(self.items.len(), "item")),
            table,
        )
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.items)
    }
}

answer! {
    /// What a machine costs.
    struct TariffFacts from tariff: Tariff on page {
        half_day: Option<Amount>,
        day: Amount,
        weekend: Option<Amount>,
        week: Option<Amount>,
        four_weeks: Option<Amount>,
        waiver_percent: Percent,
        cleaning: Amount,
    }

    /// What is known of a machine.
    struct MachineFacts from machine: BookMachine on page {
        name: String,
        description: String,
        #[serde(flatten)]
        tariff: TariffFacts,
        source: String,
        active: bool,
        .. { id }
    }

    /// A machine with its tariff.
    pub struct MachineAnswer of (machine: BookMachine) on page {
        #[serde(flatten)]
        machine: MachineFacts,
        currency: &'static str = page.currency.code(),
    }
}

impl Answer for MachineAnswer {
    fn text(&self, page: &Page) -> String {
        let machine = &self.machine;
        let mut table = page.table(["Tariff", self.currency]).numbers([1]);
        table.line([&"Half day", &or_dash(machine.tariff.half_day)]);
        table.line([&"Day", &machine.tariff.day]);
        table.line([&"Weekend", &or_dash(machine.tariff.weekend)]);
        table.line([&"Week", &or_dash(machine.tariff.week)]);
        table.line([&"Four weeks", &or_dash(machine.tariff.four_weeks)]);
        table.line([&"Cleaning", &machine.tariff.cleaning]);
        table.line([&"Damage waiver", &machine.tariff.waiver_percent]);
        let day = format!("{} {} a day", machine.tariff.day, self.currency);
        let title = titled(&format!("{}: {day}", machine.name), &machine.description);
        let title = match machine.active {
            true => title,
            false => format!("{title}{}\n", standing(false, "")),
        };
        format!("{title}\n{table}\n\nSource: {}", inert(&machine.source))
    }
}

answer! {
    /// The machines.
    pub struct MachineList of (machines: Vec<BookMachine>) on page {
        currency: &'static str = page.currency.code(),
        machines: Vec<MachineFacts>,
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
                &format!("{}{}", machine.name, standing(machine.active, " ")),
                &or_dash(machine.tariff.half_day),
                &machine.tariff.day,
                &or_dash(machine.tariff.weekend),
                &or_dash(machine.tariff.week),
                &or_dash(machine.tariff.four_weeks),
                &machine.tariff.waiver_percent,
                &machine.tariff.cleaning,
            ]);
        }
        let days = || self.machines.iter().map(|machine| machine.tariff.day);
        let least = days().min_by_key(|day| day.money);
        let most = days().max_by_key(|day| day.money);
        let machines = count(self.machines.len(), "machine");
        let (least, most) = (or_blank(least), or_blank(most));
        let days = match least == most {
            true => least,
            false => format!("{least} to {most}"),
        };
        page.led(
            &format!("{machines}, {days} {} a day.", self.currency),
            table,
        )
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.machines)
    }
}

answer! {
    /// An operation.
    pub struct OperationAnswer from operation: Operation with (beside: BesideOperations<'_>) on page {
        name: String,
        task: String = operation.task.name,
        driver: Driver,
        item: Option<String> = operation.item.as_ref().map(|item| item.name.clone()),
        item_unit: Option<Unit> = operation.item.as_ref().map(|item| item.unit),
        set_size: Option<u32>,
        family: String,
        splits: Splits,
        machine: Option<String> = operation.machine.and_then(|id| machine_name(id, beside.machines)),
        grit: Option<u32>,
        harden_hours: Option<Number> = operation.harden_hours.map(|hours| Number(round(hours, 2))),
        #[serde(skip)]
        hardens: Option<Decimal> = operation.harden_hours.map(|hours| hours.normalize()),
        answers: Option<String>,
        hazards: Vec<Hazard>,
        description: String,
        source: String,
        active: bool = !beside.out_of_use.contains(&operation.id.0),
        .. { id, task, item, machine, harden_hours }
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
        let family = format!(
            "{} (what each room takes besides its size is learned for all of it)",
            self.family
        );
        let hazards: Vec<&str> = self.hazards.iter().map(|hazard| hazard.as_str()).collect();
        let facts = [
            ("Task", Some(self.task.clone())),
            ("Measured by", Some(self.driver.to_string())),
            ("Item", item),
            ("Group", Some(family)),
            ("Rates differ by", Some(self.splits.to_string())),
            ("Machine", self.machine.clone()),
            ("Grit", self.grit.map(|grit| grit.to_string())),
            (
                "Can be sanded after",
                self.hardens.map(|hours| count(hours, "hour")),
            ),
            ("Done where there are", self.answers.clone()),
            (
                "Hazards",
                Some(hazards.join(", ")).filter(|hazards| !hazards.is_empty()),
            ),
            ("Source", Some(self.source.clone())),
            ("In use", (!self.active).then(|| "no".to_owned())),
        ];
        let takes = self.item.as_ref().map(|item| format!(", {item}"));
        let answer = format!(
            "{}: {}, by {}{}",
            self.name,
            self.task,
            self.driver,
            or_blank(takes)
        );
        let mut text = titled(&answer, &self.description);
        let known = facts
            .iter()
            .filter_map(|(word, fact)| Some((word, fact.as_ref()?)));
        for (word, fact) in known {
            let _ = writeln!(text, "{word}: {}", inert(fact));
        }
        text
    }
}

answer! {
    /// The operations.
    pub struct OperationList(Vec<OperationAnswer>) of (operations: Vec<Operation>) with (beside: BesideOperations<'_>) on page;
}

impl Answer for OperationList {
    fn text(&self, page: &Page) -> String {
        if self.0.is_empty() {
            return "No operations yet.".to_owned();
        }
        let headings = [
            "Operation",
            "Task",
            "Measured by",
            "Item",
            "Machine",
            "For the finding",
        ];
        let mut table = page.table(headings).makes_room([4, 5, 2]);
        for operation in &self.0 {
            table.line([
                &format!("{}{}", operation.name, standing(operation.active, " ")),
                &operation.task,
                &operation.driver,
                &or_blank(operation.item.as_ref()),
                &or_blank(operation.machine.as_ref()),
                &or_blank(operation.answers.as_ref()),
            ]);
        }
        let mend = self
            .0
            .iter()
            .filter(|operation| operation.answers.is_some());
        let mend = agree(mend.count(), "mends a finding", "mend findings");
        page.led(
            &format!("{}; {mend}.", count(self.0.len(), "operation")),
            table,
        )
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.0)
    }
}

answer! {
    /// A cut of a sanding sequence.
    struct CutFacts of (step: Operation) on page {
        operation: String = step.name,
        driver: Driver = step.driver,
        grit: Option<u32> = step.grit,
        #[serde(skip)]
        description: String = step.description,
    }

    /// A sanding sequence with its warnings.
    pub struct SequenceAnswer from sequence: Sequence on page {
        name: String,
        steps: Vec<CutFacts>,
        warnings: Vec<String> = skipped_grades(&sequence).iter().map(ToString::to_string).collect(),
    }
}

impl Answer for SequenceAnswer {
    fn text(&self, page: &Page) -> String {
        let mut table = page
            .table(["", "Operation", "Measured by", "Grit", ""])
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
        let mut grits: Vec<u32> = self.steps.iter().filter_map(|step| step.grit).collect();
        grits.sort_unstable();
        let grits = match (grits.first(), grits.last()) {
            (Some(first), Some(last)) if first != last => format!(", {first} to {last} grit"),
            (Some(grit), _) => format!(", {grit} grit"),
            _ => String::new(),
        };
        let operations = count(self.steps.len(), "operation");
        page.led(&format!("{}: {operations}{grits}.", self.name), table)
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.steps)
    }
}

answer! {
    /// The sanding sequences.
    pub struct SequenceList(Vec<SequenceAnswer>) of (sequences: Vec<Sequence>) on page;
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
        page.led(
            &format!("{}.", count(self.0.len(), "sanding sequence")),
            table,
        )
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.0)
    }
}

answer! {
    /// A step of a coating schedule.
    struct CoatFacts from step: ScheduleStep with (book: &Book) on page {
        operation: String = step.operation.name.clone(),
        driver: Driver = step.operation.driver,
        item: Option<String> = step.operation.item.as_ref().map(|item| item.name.clone()),
        /// How far the book has a gallon or a litre of it go.
        #[serde(skip)]
        spread: Option<String> = book_spread(&step.operation, book).map(|spread| match page.units {
            Units::Us => format!("{} sq ft/gal", plain(spread, 0)),
            Units::Metric => format!("{} m²/l", plain(square_metres_per_litre(spread), 1)),
        }),
        /// The wet film that this spread leaves, in mils or micrometres.
        #[serde(skip)]
        film: Option<String> = book_spread(&step.operation, book).map(wet_mils).map(|mils| match page.units {
            Units::Us => format!("{} mil", plain(mils, 1)),
            Units::Metric => format!("{} µm", plain(micrometres(mils), 0)),
        }),
        wet_film_micrometres: Option<Number> = book_spread(&step.operation, book).map(wet_mils).map(micrometres).map(Number),
        recoat: Option<Quantity> = page.measured_if(step.drying.map(|drying| drying.recoat_hours), Unit::Hour),
        light_use: Option<Quantity> = page.measured_if(step.drying.and_then(|drying| drying.light_use_hours), Unit::Hour),
        furniture_back: Option<Quantity> = page.measured_if(step.drying.and_then(|drying| drying.furniture_days), Unit::Day),
        full_cure: Option<Quantity> = page.measured_if(step.drying.and_then(|drying| drying.cure_days), Unit::Day),
        .. { operation, drying }
    }

    /// A coating schedule.
    pub struct ScheduleAnswer from schedule: Schedule with (book: &Book) on page {
        name: String,
        steps: Vec<CoatFacts> = page.each(schedule.steps, |step, page| CoatFacts::new(step, book, page)),
        .. { steps }
    }
}

impl Answer for ScheduleAnswer {
    fn text(&self, page: &Page) -> String {
        let headings = [
            "",
            "Operation",
            "Measured by",
            "Spread",
            "Wet film",
            "Next coat",
            "Light use",
            "Furniture",
            "Full cure",
        ];
        let table = page.table(headings).numbers([0, 3, 4, 5, 6, 7, 8]);
        let mut table = table.makes_room([2, 4, 3]);
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
        let coats = self.steps.iter().filter(|step| step.film.is_some()).count();
        let most = |of: fn(&CoatFacts) -> Option<Quantity>| {
            let waits = self.steps.iter().filter_map(of);
            waits.max_by_key(|wait| wait.quantity.0)
        };
        let furniture = most(|step| step.furniture_back);
        let furniture = furniture.map(|days| format!(", furniture back after {days}"));
        let cured = most(|step| step.full_cure).map(|days| format!(", cured after {days}"));
        let (furniture, cured) = (or_blank(furniture), or_blank(cured));
        let answer = format!("{}: {}{furniture}{cured}.", self.name, count(coats, "coat"));
        page.led(&answer, table)
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.steps)
    }
}

answer! {
    /// The coating schedules; coats go as far as the book has them go.
    pub struct ScheduleList(Vec<ScheduleAnswer>) of (schedules: Vec<Schedule>) with (book: &Book) on page;
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
        page.led(
            &format!("{}.", count(self.0.len(), "coating schedule")),
            table,
        )
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.0)
    }
}

answer! {
    /// A setting.
    pub struct SettingAnswer from setting: Setting on page {
        name: String,
        value: String,
        description: String,
        source: String,
    }
}

impl Answer for SettingAnswer {
    fn text(&self, _: &Page) -> String {
        let (value, description) = (inert(&self.value), inert(&self.description));
        let (name, source) = (&self.name, inert(&self.source));
        format!("{name} = {value}\n{description}\nSource: {source}")
    }
}

answer! {
    /// The settings.
    pub struct SettingList(Vec<SettingAnswer>) of (settings: Vec<Setting>) on page;
}

impl Answer for SettingList {
    fn text(&self, page: &Page) -> String {
        let mut table = page.table(["Setting", "Value", "What it is"]);
        for setting in &self.0 {
            table.line([&setting.name, &setting.value, &setting.description]);
        }
        page.led(&format!("{}.", count(self.0.len(), "setting")), table)
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.0)
    }
}

answer! {
    /// What the tax is from a date on.
    struct TaxFrom of (rate: TaxRate) on page {
        from: NaiveDate = rate.from,
        on: TaxedKind = rate.on,
        percent: SetPercent = SetPercent(rate.percent),
    }

    /// A tax area, with its percentages of a date; `None`: no rate has begun, or there are several.
    pub struct TaxAreaAnswer from area: TaxArea with (day: NaiveDate) on page
    let rates = Some(area.rates_on(day)).filter(|_| area.has_begun(day));
    {
        name: String,
        percent: Option<SetPercent> = rates.and_then(|rates| rates.one()).map(SetPercent),
        labour_percent: Option<SetPercent> = rates.map(|rates| SetPercent(rates.labour)),
        materials_percent: Option<SetPercent> = rates.map(|rates| SetPercent(rates.materials)),
        rental_percent: Option<SetPercent> = rates.map(|rates| SetPercent(rates.rental)),
        bought_percent: SetPercent = SetPercent(area.on_bought(day)),
        rates: Vec<TaxFrom>,
        .. { id }
    }
}

impl Answer for TaxAreaAnswer {
    fn text(&self, page: &Page) -> String {
        let mut table = page.table(["From", "On", "Tax"]).numbers([2]);
        for TaxFrom { from, on, percent } in &self.rates {
            table.line([from, on, percent]);
        }
        let confirm = page.prose(
            "Whether floor work is taxed, and how, differs by place: confirm your own rules.",
        );
        let taxed = [
            ("labour", self.labour_percent),
            ("materials", self.materials_percent),
            ("rental", self.rental_percent),
        ];
        let taxed = taxed.map(|(on, percent)| percent.map(|percent| format!("{percent} on {on}")));
        let taxed: Vec<String> = taxed.into_iter().flatten().collect();
        let today = match self.percent {
            Some(percent) => format!("{percent} on the price"),
            None if taxed.is_empty() => "no rate has begun yet".to_owned(),
            None => taxed.join(", "),
        };
        let answer = format!("{}: {today}.", self.name);
        page.led(&answer, format!("{table}\n\n{confirm}"))
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.rates)
    }
}

answer! {
    /// The tax areas, with their percentages of a date.
    pub struct TaxAreaList(Vec<TaxAreaAnswer>) of (areas: Vec<TaxArea>) with (on: NaiveDate) on page;
}

impl Answer for TaxAreaList {
    fn text(&self, page: &Page) -> String {
        if self.0.is_empty() {
            return "No tax areas yet: the setting tax-percent applies everywhere.".to_owned();
        }
        let headings = ["Tax area", "Labour", "Materials", "Rental", "Bought"];
        let mut table = page.table(headings).numbers([1, 2, 3, 4]);
        for area in &self.0 {
            table.line([
                &area.name,
                &or_dash(area.labour_percent),
                &or_dash(area.materials_percent),
                &or_dash(area.rental_percent),
                &area.bought_percent,
            ]);
        }
        page.led(&format!("{}.", count(self.0.len(), "tax area")), table)
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.0)
    }
}
