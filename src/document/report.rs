//! Looking back and around: margins, variances, consumables, rentals, and today.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::rc::Rc;

use chrono::Days;
use serde::ser::{Serialize, SerializeMap as _, Serializer};
use serde_json::{Value, json};

use super::plan::{Event, agenda, twice_words};
use super::{Page, count, inert, percent_json, percent_text};
use crate::ledger::{ConsumableLine, Job, JobMargin, JobVariance, Rental, Today, Unworked};
use crate::money::{Decimal, Money, plain};
use crate::trade::job_cost::{Missing, Outcome};
use crate::trade::quote::margin_percent;
use crate::trade::rental::DayUse;
use crate::trade::variance::rental::Part;
use crate::trade::variance::{LineKind, Side, Split, Subject, Variance, VarianceLine, favour};
use crate::trade::{JobId, RoomId};

/// How margins are grouped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum By {
    /// A row a job.
    Job,
    /// A row a room.
    Room,
    /// A row a client.
    Client,
    /// A row a month.
    Month,
}

impl By {
    /// Returns the word for it.
    pub const fn as_str(self) -> &'static str {
        match self {
            By::Job => "job",
            By::Room => "room",
            By::Client => "client",
            By::Month => "month",
        }
    }
}

/// A row of margins: what it is called, and what it comes to.
struct Row {
    /// Of a room, client or month; of a job, nothing.
    name: String,
    job: String,
    client: String,
    /// Its jobs aren't finished: what they cost so far says nothing of their margin yet.
    so_far: bool,
    outcome: Outcome,
}

/// Margins by job, room, client or month, gathered job by job: only what is shown of a job is kept.
pub struct Margins {
    by: By,
    rows: Vec<Row>,
    /// Where the row of a client or month is; finished jobs and others never share one.
    places: BTreeMap<(String, bool), usize>,
    /// What finished jobs leave out of their records.
    gaps: Vec<(String, Missing)>,
}

impl Margins {
    /// Returns no margins yet.
    pub fn by(by: By) -> Margins {
        Margins {
            by,
            rows: Vec::new(),
            places: BTreeMap::new(),
            gaps: Vec::new(),
        }
    }

    /// Adds a job.
    pub fn add(&mut self, margin: JobMargin) {
        let so_far = !margin.job.is_closed();
        let missing = margin.outcome.missing;
        if !so_far && missing.is_gap() {
            self.gaps.push((margin.job.number.clone(), missing));
        }
        match self.by {
            By::Job => {
                self.push(String::new(), &margin.job, margin.outcome);
            }
            By::Room => {
                for (room, outcome) in margin.rooms {
                    self.push(room, &margin.job, outcome);
                }
            }
            By::Client | By::Month => {
                let name = match self.by {
                    By::Client => margin.job.client.clone(),
                    _ => margin.month(),
                };
                match self.places.get(&(name.clone(), so_far)) {
                    Some(place) => self.rows[*place].outcome.add(&margin.outcome),
                    None => {
                        self.places.insert((name.clone(), so_far), self.rows.len());
                        self.push(name, &margin.job, margin.outcome);
                    }
                }
            }
        }
    }

    fn push(&mut self, name: String, job: &Job, outcome: Outcome) {
        self.rows.push(Row {
            name,
            job: job.number.clone(),
            client: job.client.clone(),
            so_far: !job.is_closed(),
            outcome,
        });
    }

    /// Returns the rows in the order in which they are shown.
    fn rows(&self) -> Vec<&Row> {
        let mut rows: Vec<&Row> = self.rows.iter().collect();
        if self.by == By::Month {
            rows.sort_by(|one, other| one.name.cmp(&other.name));
        }
        rows
    }

    /// Returns what the finished rows come to.
    fn finished(&self) -> Outcome {
        let mut total = Outcome::default();
        for row in self.rows.iter().filter(|row| !row.so_far) {
            total.add(&row.outcome);
        }
        total
    }

    /// Returns whose finished record has gaps: clients and months, else jobs, since a room doesn't hold what is the job's.
    fn gaps(&self, done: &[&Row]) -> Vec<(String, Missing)> {
        match self.by {
            By::Job | By::Room => self.gaps.clone(),
            By::Client | By::Month => {
                let rows = done.iter().filter(|row| row.outcome.missing.is_gap());
                rows.map(|row| (row.name.clone(), row.outcome.missing))
                    .collect()
            }
        }
    }
}

/// Margins as JSON, row by row as they are written.
pub struct MarginAnswer {
    margins: Rc<Margins>,
    page: Page,
}

/// Renders margins as JSON.
pub fn margin_json(margins: Rc<Margins>, page: Page) -> MarginAnswer {
    MarginAnswer { margins, page }
}

impl Serialize for MarginAnswer {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let MarginAnswer { margins, page } = self;
        let mut total = json!({});
        add_outcome(&mut total, &margins.finished(), page);
        let mut answer = serializer.serialize_map(Some(3))?;
        answer.serialize_entry("currency", page.currency.code())?;
        answer.serialize_entry(&format!("{}s", margins.by.as_str()), &MarginRows(self))?;
        answer.serialize_entry("total", &total)?;
        answer.end()
    }
}

struct MarginRows<'answer>(&'answer MarginAnswer);

impl Serialize for MarginRows<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let MarginAnswer { margins, page } = self.0;
        let rows = margins.rows().into_iter();
        serializer.collect_seq(rows.map(|row| row_json(row, margins.by, page)))
    }
}

fn row_json(row: &Row, by: By, page: &Page) -> Value {
    let mut value = json!({});
    match by {
        By::Job => {
            value["job"] = json!(row.job);
            value["client"] = json!(row.client);
        }
        By::Room => {
            value["job"] = json!(row.job);
            value["client"] = json!(row.client);
            value["room"] = json!(row.name);
        }
        By::Client | By::Month => value[by.as_str()] = json!(row.name),
    }
    value["so_far"] = json!(row.so_far);
    add_outcome(&mut value, &row.outcome, page);
    value
}

fn add_outcome(value: &mut Value, outcome: &Outcome, page: &Page) {
    let Outcome {
        price,
        variations,
        estimated,
        unestimated: _,
        actual,
        late,
        missing,
    } = *outcome;
    value["price"] = page.money_json(price);
    value["variations"] = page.money_json(variations);
    let quoted = outcome.quoted_cost();
    value["estimated_cost"] = quoted.map_or(Value::Null, |cost| page.money_json(cost));
    value["actual_cost"] = page.money_json(actual);
    value["late_cost"] = page.money_json(late);
    value["margin"] = page.money_json(outcome.margin());
    value["margin_percent"] = percent_json(margin_percent(outcome.revenue(), actual));
    value["quoted_margin_percent"] =
        percent_json(margin_percent(outcome.estimated_revenue(), estimated));
    value["not_recorded"] = missing_json(missing, page);
}

/// Renders what isn't recorded as JSON.
pub(super) fn missing_json(missing: Missing, page: &Page) -> Value {
    json!({
        "operations": missing.operations,
        "others": missing.others,
        "quoted_cost": page.money_json(missing.quoted),
        "might_turn_up_cost": page.money_json(missing.might),
    })
}

/// Says what isn't recorded: `3 operations and 1 other line, quoted at 120.40`.
pub(super) fn missing_text(missing: Missing, page: &Page) -> String {
    let parts = [
        (missing.operations, "operation"),
        (missing.others, "other line"),
    ];
    let named: Vec<String> = parts
        .into_iter()
        .filter(|(number, _)| *number > 0)
        .map(|(number, what)| count(number, what))
        .collect();
    let might = if missing.might.is_zero() {
        String::new()
    } else {
        format!(" ({} of it only might turn up)", page.money(missing.might))
    };
    format!(
        "{}, quoted at {}{might}",
        named.join(" and "),
        page.money(missing.quoted)
    )
}

/// Renders margins as text.
pub fn margin_text(margins: &Margins, page: &Page) -> String {
    let (by, rows) = (margins.by, margins.rows());
    if rows.is_empty() {
        return "No jobs yet.".to_owned();
    }
    let first = match by {
        By::Job => "Job",
        By::Room => "Room",
        By::Client => "Client",
        By::Month => "Month",
    };
    let headings = [
        first,
        "Price",
        "Variations",
        "Quoted cost",
        "Actual cost",
        "Margin",
        "Quoted %",
        "Actual %",
    ];
    let mut table = page.table(headings).numbers(1..=7);
    let (so_far, done): (Vec<&Row>, Vec<&Row>) = rows.into_iter().partition(|row| row.so_far);
    for row in &done {
        let mark = if row.outcome.missing.is_gap() {
            ", gaps"
        } else {
            ""
        };
        table.row(margin_cells(
            format!("{}{mark}", row_name(row, by)),
            &row.outcome,
            page,
        ));
    }
    let total = margins.finished();
    if done.len() > 1 {
        table.row(margin_cells("Total".to_owned(), &total, page));
    }
    for row in so_far {
        let name = format!("{}, so far", row_name(row, by));
        table.row(margin_cells(name, &row.outcome, page));
    }
    let mut text = format!("{table}\n");
    let gaps = margins.gaps(&done);
    if !gaps.is_empty() {
        text.push('\n');
    }
    for (name, missing) in gaps {
        let of_it = format!(
            "{name}, of it not recorded: {}",
            missing_text(missing, page)
        );
        let _ = writeln!(text, "{}", page.prose(&inert(&of_it)));
    }
    if !total.unestimated.is_zero() {
        let without = format!(
            "Of the price, {} was agreed before the ledger without a cost: it is in no quoted figure.",
            page.money(total.unestimated)
        );
        let _ = writeln!(text, "\n{}", page.prose(&without));
    }
    if !total.late.is_zero() {
        let late = format!(
            "Of the actual cost, {} came after close-out (call-backs).",
            page.money(total.late)
        );
        let _ = writeln!(text, "\n{}", page.prose(&late));
    }
    text
}

fn row_name(row: &Row, by: By) -> String {
    match by {
        By::Job => format!("{} {}", row.job, row.client),
        By::Room => format!("{} {}", row.job, row.name),
        By::Client | By::Month => row.name.clone(),
    }
}

fn margin_cells(name: String, outcome: &Outcome, page: &Page) -> [String; 8] {
    [
        name,
        page.money(outcome.price),
        page.money(outcome.variations),
        outcome
            .quoted_cost()
            .map_or_else(String::new, |cost| page.money(cost)),
        page.money(outcome.actual),
        page.money(outcome.margin()),
        percent_text(margin_percent(
            outcome.estimated_revenue(),
            outcome.estimated,
        )),
        percent_text(margin_percent(outcome.revenue(), outcome.actual)),
    ]
}

/// Renders a variance as JSON.
pub fn variance_json(variance: &JobVariance, page: &Page) -> Value {
    let lines = variance.variance.lines.iter().map(|line| {
        let unit_price = |price: Option<Decimal>| price.map(|price| page.unit_price(price));
        let compared = line.compared();
        let side = compared.map(|compared| compared.side);
        let split = compared.map(|compared| compared.split).unwrap_or_default();
        json!({
            "kind": line.subject.kind.as_str(),
            "room": line.subject.room.and_then(|room| variance.rooms.get(&room)),
            "operation": line.subject.operation,
            "item": line.subject.item,
            "part": line.subject.part.map(Part::as_str),
            "unit": line.subject.unit.as_str(),
            "recorded": compared.is_some(),
            "quoted_quantity": plain(line.quoted.quantity, 4),
            "actual_quantity": side.map(|side| plain(side.quantity, 4)),
            "quoted_unit_price": unit_price(line.quoted_unit_price),
            "actual_unit_price": unit_price(compared.and_then(|compared| compared.unit_price)),
            "quoted_cost": page.money_json(line.quoted.cost),
            "actual_cost": page.money_json(side.unwrap_or_default().cost),
            "price_variance": page.money_json(split.price),
            "quantity_variance": page.money_json(split.quantity),
            "total_variance": page.money_json(split.total()),
            "verdict": line.verdict(),
        })
    });
    let lines: Vec<Value> = lines.collect();
    let (recorded, missing) = (variance.variance.recorded(), variance.variance.missing());
    json!({
        "currency": page.currency.code(),
        "job": variance.job.number,
        "so_far": !variance.job.is_closed(),
        "lines": lines,
        "price_variance": page.money_json(recorded.price),
        "quantity_variance": page.money_json(recorded.quantity),
        "total_variance": page.money_json(recorded.total()),
        "not_recorded": missing_json(missing, page),
        "not_recorded_difference": page.money_json(-missing.quoted),
        "total_difference": page.money_json(variance.variance.difference()),
    })
}

/// Renders a variance as text, room by room.
pub fn variance_text(variance: &JobVariance, page: &Page) -> String {
    let lines = &variance.variance.lines;
    let so_far = if variance.job.is_closed() {
        ""
    } else {
        ", so far"
    };
    let mut text = format!(
        "{}, {}: actual less quoted{so_far}, in {}\n",
        variance.job.number,
        inert(&variance.job.site),
        page.currency.code()
    );
    if lines.is_empty() {
        text.push_str("Nothing was quoted and nothing is logged.\n");
        return text;
    }
    let mut rooms: Vec<Option<RoomId>> = lines.iter().map(|line| line.subject.room).collect();
    rooms.sort_unstable();
    rooms.dedup();
    for room in rooms {
        let name = room.map_or("Whole job", |room| {
            variance.rooms.get(&room).map_or("", String::as_str)
        });
        let mut table = page
            .table([
                name,
                "Quoted",
                "Actual",
                "By price",
                "By quantity",
                "Total",
                "",
            ])
            .numbers(1..=5);
        let shown = |line: &&VarianceLine| line.subject.room == room && !is_empty_part(line);
        for line in lines.iter().filter(shown) {
            let quoted = side_text(&line.quoted, line.quoted_unit_price, &line.subject, page);
            let [actual, price, quantity, total] = match line.compared() {
                Some(compared) => [
                    side_text(&compared.side, compared.unit_price, &line.subject, page),
                    page.money(compared.split.price),
                    page.money(compared.split.quantity),
                    page.money(compared.split.total()),
                ],
                None => [const { String::new() }; 4],
            };
            let verdict = line.verdict().to_owned();
            table.row([
                subject(line),
                quoted,
                actual,
                price,
                quantity,
                total,
                verdict,
            ]);
        }
        let _ = write!(text, "\n{table}\n");
    }
    let _ = writeln!(
        text,
        "\n{}",
        page.prose(&together(&variance.variance, page))
    );
    text
}

/// Says what the whole difference is made of; what isn't recorded gets no verdict.
fn together(variance: &Variance, page: &Page) -> String {
    let (recorded, missing) = (variance.recorded(), variance.missing());
    if variance.lines.iter().all(|line| line.compared().is_none()) {
        return format!(
            "Nothing of it is recorded: {}.",
            missing_text(missing, page)
        );
    }
    let parts = format!(
        "{} by price and {} by quantity: {}, {}",
        page.money(recorded.price),
        page.money(recorded.quantity),
        page.money(recorded.total()),
        favour(recorded.total())
    );
    if missing == Missing::default() {
        return format!("Together {parts}.");
    }
    format!(
        "Recorded: {parts}. Not recorded, and so no saving: {}. Actual less quoted: {} recorded + {} not recorded = {}.",
        missing_text(missing, page),
        page.money(recorded.total()),
        page.money(-missing.quoted),
        page.money(variance.difference())
    )
}

/// Tells whether a line is a part of a rental in which there is nothing to tell.
fn is_empty_part(line: &VarianceLine) -> bool {
    let nothing = Side::default();
    let empty = line.quoted == nothing && line.compared().is_some_and(|one| one.side == nothing);
    empty && line.subject.part.is_some_and(|part| part != Part::Days)
}

/// Writes one side of a comparison: `6.37 disc at 2.10`. A rental has no unit price: `2 day, 160.00`.
fn side_text(
    side: &Side,
    unit_price: Option<Decimal>,
    Subject { kind, unit, .. }: &Subject,
    page: &Page,
) -> String {
    let quantity = format!("{} {unit}", plain(side.quantity, 2));
    if *kind == LineKind::Rental {
        return match (side.quantity.is_zero(), side.cost.is_zero()) {
            (true, true) => String::new(),
            (true, false) => page.money(side.cost),
            (false, _) => format!("{quantity}, {}", page.money(side.cost)),
        };
    }
    match unit_price.filter(|_| !side.quantity.is_zero()) {
        Some(price) => format!("{quantity} at {}", page.money(page.currency.amount(price))),
        None => quantity,
    }
}

/// Renders the lines that left the quote furthest, and the whole difference.
pub fn worst_text(variance: &JobVariance, count: usize, page: &Page) -> String {
    let lines = variance.variance.lines.iter();
    let mut worst: Vec<(&VarianceLine, Split)> = lines
        .filter_map(|line| Some((line, line.compared()?.split)))
        .collect();
    worst.sort_by_key(|(_, split)| std::cmp::Reverse(split.total().abs()));
    let mut table = page
        .table(["Room", "What", "By price", "By quantity", "Total", ""])
        .numbers(2..=4);
    for (line, split) in worst.into_iter().take(count) {
        let room = line.subject.room.and_then(|room| variance.rooms.get(&room));
        table.row([
            room.map_or("whole job", String::as_str).to_owned(),
            subject(line),
            page.money(split.price),
            page.money(split.quantity),
            page.money(split.total()),
            line.verdict().to_owned(),
        ]);
    }
    let together = together(&variance.variance, page);
    format!(
        "{}, {}: the {count} lines furthest from the quote\n\n{table}\n\n{}",
        variance.job.number,
        inert(&variance.job.site),
        page.prose(&together)
    )
}

/// Returns what a line is about: the operation of an item, the task of hours, the machine, what money was for.
fn subject(line: &VarianceLine) -> String {
    let subject = &line.subject;
    match (subject.kind, &subject.operation, &subject.item) {
        (LineKind::Labour, Some(task), _) => format!("{task}, labour"),
        (LineKind::Labour, None, _) => "labour, no task said".to_owned(),
        (LineKind::Rental, _, Some(machine)) => {
            let part = subject.part.map_or("rental", part_words);
            format!("{machine}, {part}")
        }
        (_, Some(operation), _) => operation.clone(),
        (_, None, Some(item)) => item.clone(),
        (_, None, None) => String::new(),
    }
}

/// Returns the words for a part of a rental's difference.
const fn part_words(part: Part) -> &'static str {
    match part {
        Part::Days => "rental days",
        Part::Tariff => "tariff",
        Part::Once => "waiver and cleaning",
        Part::Rest => "billed otherwise",
    }
}

/// Renders consumables over jobs as JSON.
pub fn consumables_json(lines: &[ConsumableLine], page: &Page) -> Value {
    json!({
        "currency": page.currency.code(),
        "lines": lines.iter().map(|line| json!({
            "item": line.item,
            "operation": line.operation,
            "unit": line.unit.as_str(),
            "jobs": line.jobs,
            "quoted_quantity": plain(line.quoted.quantity + line.not_recorded.quantity, 4),
            "used_quantity": line.used.map(|used| plain(used.quantity, 4)),
            "used_percent": percent_json(used_percent(line)),
            "quoted_cost": page.money_json(line.quoted.cost + line.not_recorded.cost),
            "used_cost": page.money_json(line.used.unwrap_or_default().cost),
            "recorded": line.used.is_some(),
            "not_recorded_quantity": plain(line.not_recorded.quantity, 4),
            "not_recorded_cost": page.money_json(line.not_recorded.cost),
        })).collect::<Vec<_>>(),
    })
}

fn used_percent(line: &ConsumableLine) -> Option<Decimal> {
    let used = line.used?.quantity;
    (!line.quoted.quantity.is_zero()).then(|| used * Decimal::ONE_HUNDRED / line.quoted.quantity)
}

/// Renders consumables over jobs as text.
pub fn consumables_text(lines: &[ConsumableLine], page: &Page) -> String {
    if lines.is_empty() {
        return "No closed job quoted or used any; a job that is named shows how it stands so far."
            .to_owned();
    }
    let headings = [
        "Item",
        "Operation",
        "Jobs",
        "Quoted",
        "Used",
        "Ratio",
        "Quoted at",
        "Cost",
    ];
    let mut table = page.table(headings).numbers(2..=7);
    let amount =
        |side: Side, line: &ConsumableLine| format!("{} {}", plain(side.quantity, 2), line.unit);
    for line in lines {
        let Some(used) = line.used else { continue };
        table.row([
            line.item.clone(),
            line.operation.clone().unwrap_or_default(),
            line.jobs.to_string(),
            amount(line.quoted, line),
            amount(used, line),
            percent_text(used_percent(line)),
            page.money(line.quoted.cost),
            page.money(used.cost),
        ]);
    }
    let sum = |cost: fn(&ConsumableLine) -> Money| lines.iter().map(cost).sum::<Money>();
    let blank = String::new;
    table.row([
        "Total".to_owned(),
        blank(),
        blank(),
        blank(),
        blank(),
        blank(),
        page.money(sum(|line| line.quoted.cost)),
        page.money(sum(|line| line.used.unwrap_or_default().cost)),
    ]);
    let without = lines
        .iter()
        .filter(|line| line.not_recorded != Side::default());
    let without: Vec<String> = without
        .map(|line| {
            let of = amount(line.not_recorded, line);
            match &line.operation {
                Some(operation) => format!("{of} of {} ({operation})", line.item),
                None => format!("{of} of {}", line.item),
            }
        })
        .collect();
    if without.is_empty() {
        return table.to_string();
    }
    let words = format!(
        "Not recorded, in none of these figures, and quoted at {}: {}.",
        page.money(sum(|line| line.not_recorded.cost)),
        without.join(", ")
    );
    format!("{table}\n\n{}", page.prose(&inert(&words)))
}

/// What rentals of one machine come to.
struct MachineRentals {
    machine: String,
    rentals: usize,
    days: usize,
    charge: Money,
}

fn by_machine(rentals: &[Rental]) -> Vec<MachineRentals> {
    let mut machines: Vec<MachineRentals> = Vec::new();
    for rental in rentals {
        let position = machines
            .iter()
            .position(|known| known.machine == rental.machine)
            .unwrap_or_else(|| {
                machines.push(MachineRentals {
                    machine: rental.machine.clone(),
                    rentals: 0,
                    days: 0,
                    charge: Money::ZERO,
                });
                machines.len() - 1
            });
        let known = &mut machines[position];
        known.rentals += 1;
        if let Some(back) = &rental.back {
            known.days += back.days.len();
            known.charge += back.charge;
        }
    }
    machines
}

/// Renders rentals by machine as JSON; what is still out has no charge yet.
pub fn rentals_json(rentals: &[Rental], unworked: &[Unworked], page: &Page) -> Value {
    let charge = |used| page.money_json(charge_of(unworked, used));
    json!({
        "currency": page.currency.code(),
        "machines": by_machine(rentals).into_iter().map(|line| json!({
            "machine": line.machine,
            "rentals": line.rentals,
            "days": line.days,
            "charge": page.money_json(line.charge),
        })).collect::<Vec<_>>(),
        "rentals": super::job::rentals_json(rentals, page)["rentals"],
        "unworked_days": unworked.iter().map(|line| json!({
            "rental": line.rental,
            "machine": line.machine,
            "job": line.day.job,
            "date": line.day.began_on,
            "charge": page.money_json(line.day.charge),
            "use": line.used.as_str(),
        })).collect::<Vec<_>>(),
        "idle_charge": charge(DayUse::Idle),
        "day_off_charge": charge(DayUse::DayOff),
        "not_recorded_charge": charge(DayUse::NotRecorded),
    })
}

/// Returns what the days of one use cost.
fn charge_of(unworked: &[Unworked], used: DayUse) -> Money {
    let days = unworked.iter().filter(|line| line.used == used);
    days.map(|line| line.day.charge).sum()
}

/// Renders the days on which nobody worked with a machine, those of one machine on one job together.
fn unworked_text(unworked: &[Unworked], page: &Page) -> String {
    let mut stretches: Vec<(&Unworked, Vec<String>, Money)> = Vec::new();
    let mut places: BTreeMap<(&str, DayUse, JobId), usize> = BTreeMap::new();
    for line in unworked {
        let place = *places
            .entry((&line.machine, line.used, line.day.job_id))
            .or_insert_with(|| {
                stretches.push((line, Vec::new(), Money::ZERO));
                stretches.len() - 1
            });
        let (_, dates, charge) = &mut stretches[place];
        dates.push(line.day.began_on.to_string());
        *charge += line.day.charge;
    }
    stretches.sort_by_key(|(first, ..)| first.used);
    let mut table = page
        .table(["Without hours", "Job", "Days", "Dates", "Charge", ""])
        .numbers([2, 4]);
    for (first, dates, charge) in stretches {
        table.row([
            first.machine.clone(),
            first.day.job.clone(),
            dates.len().to_string(),
            dates.join(", "),
            page.money(charge),
            first.used.to_string(),
        ]);
    }
    let charge = |used| page.money(charge_of(unworked, used));
    let sums = format!(
        "Idle days cost {} {}; days on which the firm doesn't work {}; days of jobs without hours {}.",
        charge(DayUse::Idle),
        page.currency.code(),
        charge(DayUse::DayOff),
        charge(DayUse::NotRecorded)
    );
    format!("{table}\n\n{}", page.prose(&sums))
}

/// Renders rentals by machine as text.
pub fn rentals_text(rentals: &[Rental], unworked: &[Unworked], page: &Page) -> String {
    if rentals.is_empty() {
        return "No machine was rented yet.".to_owned();
    }
    let mut table = page
        .table(["Machine", "Rentals", "Days", "Charge", "A day"])
        .numbers(1..=4);
    for line in by_machine(rentals) {
        let a_day = if line.days == 0 {
            String::new()
        } else {
            page.money(line.charge.share(Decimal::ONE, Decimal::from(line.days)))
        };
        table.row([
            line.machine,
            line.rentals.to_string(),
            line.days.to_string(),
            page.money(line.charge),
            a_day,
        ]);
    }
    let mut text = format!("{table}\n\n{}", super::job::rentals_text(rentals, page));
    if !unworked.is_empty() {
        let _ = write!(text, "\n\n{}", unworked_text(unworked, page));
    }
    text
}

/// Days that `today` looks ahead for what is planned.
const AHEAD: u64 = 3;

/// A step of a job's plan.
struct Step<'a> {
    job: &'a str,
    /// The phase, from 1 on.
    phase: usize,
    rooms: Vec<&'a str>,
    event: Event,
}

/// Returns what the plans of jobs have for today and the days that follow.
fn planned(today: &Today) -> Vec<Step<'_>> {
    let soon = today.date..=today.date + Days::new(AHEAD);
    let mut steps = Vec::new();
    for (job, kept) in &today.plans {
        for (number, phase) in kept.plan.phases.iter().enumerate() {
            let rooms = phase
                .coating_order
                .iter()
                .filter_map(|room| kept.names.get(room));
            let rooms: Vec<&str> = rooms.map(String::as_str).collect();
            let events = agenda(&kept.plan, number).into_iter();
            let due = events.filter(|event| soon.contains(&event.date));
            steps.extend(due.map(|event| Step {
                job: &job.number,
                phase: number + 1,
                rooms: rooms.clone(),
                event,
            }));
        }
    }
    steps.sort_by_key(|step| step.event.date);
    steps
}

/// Renders what today asks for as JSON.
pub fn today_json(today: &Today, page: &Page) -> Value {
    json!({
        "date": today.date,
        "currency": page.currency.code(),
        "jobs": super::job::list_json(&today.jobs),
        "machines": today.machines.iter().map(|machine| json!({
            "machine": machine.machine,
            "job": machine.job,
            "out_at": machine.out_at.format("%Y-%m-%dT%H:%M").to_string(),
            "planned_days": machine.planned_days,
            "due_back": machine.due.format("%Y-%m-%dT%H:%M").to_string(),
            "overdue": machine.overdue,
        })).collect::<Vec<_>>(),
        "coats": today.coats.iter().map(|coat| json!({
            "job": coat.job,
            "operation": coat.operation,
            "coat": coat.coat.0,
            "coats": coat.coat.1,
            "from": coat.from,
        })).collect::<Vec<_>>(),
        "planned": planned(today).iter().map(|step| json!({
            "job": step.job,
            "date": step.event.date,
            "phase": step.phase,
            "work": step.event.what,
            "rooms": step.rooms,
        })).collect::<Vec<_>>(),
        "promised_twice": super::plan::twice_json(&today.promised_twice),
        "quotes": super::quote::list_json(&today.quotes, page)["quotes"],
        "overdue": super::invoice::list_json(&today.overdue, page)["invoices"],
        "credits": today.credits.iter().map(|(credit, invoice)| {
            let mut value = super::invoice::credit_json(credit, page);
            value["apply_to"] = json!(invoice);
            value
        }).collect::<Vec<_>>(),
        "awaiting_receipt": super::job::stock_json(&[], &today.awaiting, page)["awaiting_receipt"],
        "doubted_records": today.doubted,
    })
}

/// Renders what today asks for as text.
pub fn today_text(today: &Today, page: &Page) -> String {
    let mut text = format!("{}\n", today.date.format("%A, %Y-%m-%d"));
    let mut section = |heading: &str, lines: Vec<String>| {
        if !lines.is_empty() {
            let _ = writeln!(text, "\n{heading}");
            for line in lines {
                text.push_str(&page.point(&line));
            }
        }
    };
    section(
        "Machines out",
        today
            .machines
            .iter()
            .map(|machine| {
                let by = machine.due.format("%a %Y-%m-%d %H:%M");
                let planned = if machine.overdue {
                    "past its plan; another day begins"
                } else {
                    "back by"
                };
                format!("{} on {}: {planned} {by}", machine.machine, machine.job)
            })
            .collect(),
    );
    section(
        "Coats",
        today
            .coats
            .iter()
            .map(|coat| {
                let (number, of) = coat.coat;
                let when = if coat.from <= today.date {
                    "today".to_owned()
                } else {
                    format!("from {}", coat.from)
                };
                format!(
                    "{}: {}, coat {number} of {of}, {when}",
                    coat.job, coat.operation
                )
            })
            .collect(),
    );
    let steps = planned(today);
    let steps = steps.iter().map(|step| {
        let date = step.event.date;
        let when = match date == today.date {
            true => "today".to_owned(),
            false => date.format("%a %Y-%m-%d").to_string(),
        };
        let (job, what, rooms) = (step.job, &step.event.what, step.rooms.join(", "));
        format!("{job}, {when}: {what} ({rooms})")
    });
    section("Planned", steps.collect());
    let twice = today.promised_twice.iter();
    section("Promised twice", twice.map(twice_words).collect());
    section(
        "Jobs",
        today
            .jobs
            .iter()
            .map(|job| {
                format!(
                    "{} {}: {}, {}",
                    job.number,
                    job.state.as_str(),
                    job.client,
                    job.site
                )
            })
            .collect(),
    );
    section(
        "Quotes without an answer",
        today
            .quotes
            .iter()
            .map(|quote| {
                let left = quote
                    .valid_until
                    .map_or(0, |last| (last - today.date).num_days());
                let until = match left {
                    left if left < 0 => "expired".to_owned(),
                    0 => "last day".to_owned(),
                    left => format!(
                        "{} left",
                        count(usize::try_from(left).unwrap_or_default(), "day")
                    ),
                };
                format!(
                    "{}: {}, {} {}, {until}",
                    quote.number,
                    quote.client,
                    page.money(quote.price),
                    page.currency.code()
                )
            })
            .collect(),
    );
    section(
        "Money overdue",
        today
            .overdue
            .iter()
            .map(|invoice| {
                let late = invoice
                    .due_on
                    .map_or(0, |due| (today.date - due).num_days());
                let late = count(usize::try_from(late).unwrap_or_default(), "day");
                format!(
                    "{}: {} owes {} {}, {late} late",
                    invoice.name(),
                    invoice.client,
                    page.money(invoice.due()),
                    page.currency.code()
                )
            })
            .collect(),
    );
    section(
        "Credits kept",
        today
            .credits
            .iter()
            .map(|(credit, invoice)| {
                let apply = match invoice {
                    Some(invoice) => format!(": gritledger payment apply {invoice}"),
                    None => String::new(),
                };
                format!(
                    "{} of {} ({}){apply}",
                    page.money(credit.amount),
                    credit.client,
                    credit.payment
                )
            })
            .collect(),
    );
    section(
        "Receipts awaited",
        today
            .awaiting
            .iter()
            .map(|line| {
                format!(
                    "{}: {} {} of {} on {}",
                    line.entry,
                    plain(line.quantity, 2),
                    line.unit,
                    line.item,
                    line.job
                )
            })
            .collect(),
    );
    if today.doubted > 0 {
        section(
            "Slips?",
            vec![format!(
                "{} set aside until you answer: gritledger rate check",
                count(today.doubted, "record")
            )],
        );
    }
    if text.lines().count() == 1 {
        text.push_str("Nothing asks for you today.\n");
    }
    text
}
