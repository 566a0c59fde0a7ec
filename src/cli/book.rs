//! The firm's book: `item`, `machine`, `operation`, `sequence` and `schedule`.

use anyhow::Result;
use clap::{Args, Subcommand};

use super::ui::Context;
use super::{read_number, read_percent};
use crate::document::book::{
    item_json, items_text, machine_json, machines_text, operation_json, operations_text, schedule_json, schedule_text,
    schedules_text, sequence_json, sequences_text,
};
use crate::ledger::{BookMachine, Ledger, NewItem, NewOperation, NewStep, OWN_FIGURE, Pack, Refusal, refuse};
use crate::money::{Decimal, Money};
use crate::trade::Unit;
use crate::trade::cautions::Hazard;
use crate::trade::operation::{Driver, Drying, Operation, Sequence, Splits, skipped_grades};
use crate::trade::rental::Tariff;

/// Names one thing of the book.
#[derive(Debug, Args)]
pub(super) struct NameArgs {
    /// Its name
    name: String,
}

/// Manage items: discs, finish, filler, trim, and the packs they are sold in
#[derive(Debug, Subcommand)]
pub(super) enum ItemCommand {
    Add(ItemAddArgs),
    /// List the items
    List,
    /// Show an item
    Show(NameArgs),
    Edit(ItemEditArgs),
}

/// Add an item
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger item add disc-7in-60 --unit disc --pack 30=84.00 --pack 3=9.60")]
pub(super) struct ItemAddArgs {
    /// Its name
    name: String,
    /// Its unit: disc, gal, l, each, ft, m, sqft or m2
    #[arg(long)]
    unit: Unit,
    /// A pack: units in it and its price, the one usually bought first (can be repeated)
    #[arg(long = "pack", value_name = "SIZE=PRICE")]
    packs: Vec<String>,
    /// What it is
    #[arg(long, default_value = "", hide_default_value = true)]
    description: String,
    /// An opened container doesn't keep
    #[arg(long)]
    not_kept: bool,
    /// Unopened packs can be handed back
    #[arg(long)]
    returnable: bool,
}

/// Change an item: what it is, and what its packs cost
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger item edit disc-7in-36 --pack 30=92.00")]
pub(super) struct ItemEditArgs {
    /// Its name
    name: String,
    /// A pack's price; another size is added (can be repeated)
    #[arg(long = "pack", value_name = "SIZE=PRICE")]
    packs: Vec<String>,
    /// What it is
    #[arg(long)]
    description: Option<String>,
    /// Whether an opened container keeps
    #[arg(long, value_name = "true|false")]
    kept: Option<bool>,
    /// Whether unopened packs can be handed back
    #[arg(long, value_name = "true|false")]
    returnable: Option<bool>,
}

pub(super) fn cmd_item(context: &Context, command: ItemCommand) -> Result<()> {
    let ledger = context.open()?;
    let page = context.page(&ledger);
    let name = match command {
        ItemCommand::Add(args) => {
            let ItemAddArgs { name, unit, packs, description, not_kept, returnable } = args;
            if !matches!(unit, Unit::Disc | Unit::Gallon | Unit::Litre | Unit::Each | Unit::Foot | Unit::Metre | Unit::SquareFoot | Unit::SquareMetre) {
                refuse!("an item is not counted in {unit}");
            }
            let item = NewItem { name, description, unit, kept: !not_kept, returnable, packs: read_packs(&ledger, &packs)? };
            context.write(&ledger, |writing| writing.add_item(&item))?;
            context.status(&format!("Added item {}.", item.name));
            item.name
        }
        ItemCommand::List => {
            let items = ledger.items()?;
            return context.answer(|| items.iter().map(|item| item_json(item, &page)).collect(), || items_text(&items, &page));
        }
        ItemCommand::Show(args) => {
            let item = ledger.item(&args.name)?;
            return context.answer(|| item_json(&item, &page), || items_text(std::slice::from_ref(&item), &page));
        }
        ItemCommand::Edit(args) => {
            let mut item = ledger.item(&args.name)?;
            item.description = args.description.unwrap_or(item.description);
            item.kept = args.kept.unwrap_or(item.kept);
            item.returnable = args.returnable.unwrap_or(item.returnable);
            item.packs = read_packs(&ledger, &args.packs)?;
            context.write(&ledger, |writing| writing.edit_item(&item))?;
            context.status(&format!("Changed item {}.", item.name));
            item.name
        }
    };
    if context.dry_run() {
        return Ok(());
    }
    let item = ledger.item(&name)?;
    context.answer_if_json(|| item_json(&item, &page))
}

/// Reads packs: `30=96.00`.
fn read_packs(ledger: &Ledger, texts: &[String]) -> Result<Vec<Pack>> {
    let read = |text: &String| {
        let Some((size, price)) = text.split_once('=') else {
            return Err(Refusal::new(format!("`{text}` is not a pack")).hint("--pack 30=96.00").into());
        };
        let size = read_number(size, "a pack's size")?;
        Ok(Pack { size, price: ledger.currency().parse(price)?, source: OWN_FIGURE.to_owned() })
    };
    texts.iter().map(read).collect()
}

/// Manage machines and what the rental yard charges for them
#[derive(Debug, Subcommand)]
pub(super) enum MachineCommand {
    Add(MachineAddArgs),
    /// List the machines and their tariffs
    List,
    /// Show a machine
    Show(NameArgs),
    Edit(MachineEditArgs),
}

#[derive(Debug, Args)]
struct TariffArgs {
    /// Four hours
    #[arg(long, value_name = "PRICE")]
    half_day: Option<String>,
    /// From Friday afternoon to Monday morning
    #[arg(long, value_name = "PRICE")]
    weekend: Option<String>,
    /// Seven days
    #[arg(long, value_name = "PRICE")]
    week: Option<String>,
    /// 28 days
    #[arg(long, value_name = "PRICE")]
    four_weeks: Option<String>,
    /// Damage waiver on the charge
    #[arg(long, value_name = "PERCENT")]
    waiver: Option<String>,
    /// Cleaning, flat
    #[arg(long, value_name = "PRICE")]
    cleaning: Option<String>,
    /// What it is
    #[arg(long)]
    description: Option<String>,
}

/// Add a machine with its tariff
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger machine add planetary --day 110 --week 385 --waiver 10%")]
pub(super) struct MachineAddArgs {
    /// Its name
    name: String,
    /// 24 hours
    #[arg(long, value_name = "PRICE")]
    day: String,
    #[command(flatten)]
    tariff: TariffArgs,
}

/// Change a machine's tariff
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger machine edit rotary --day 84")]
pub(super) struct MachineEditArgs {
    /// Its name
    name: String,
    /// 24 hours
    #[arg(long, value_name = "PRICE")]
    day: Option<String>,
    #[command(flatten)]
    tariff: TariffArgs,
}

impl TariffArgs {
    /// Returns a tariff with what was given over what is known.
    fn over(&self, ledger: &Ledger, day: Option<&String>, known: &Tariff) -> Result<Tariff> {
        let price = |text: Option<&String>| -> Result<Option<Money>> {
            let price = text.map(|text| ledger.currency().parse(text)).transpose()?;
            if price.is_some_and(Money::is_negative) {
                refuse!("a price is not below zero");
            }
            Ok(price)
        };
        let waiver = self.waiver.as_ref().map(|text| read_percent(text, "a percentage")).transpose()?;
        if waiver.is_some_and(|waiver| waiver.is_sign_negative() || waiver > Decimal::ONE) {
            refuse!("a waiver is a percentage between 0 and 100");
        }
        Ok(Tariff {
            half_day: price(self.half_day.as_ref())?.or(known.half_day),
            day: price(day)?.unwrap_or(known.day),
            weekend: price(self.weekend.as_ref())?.or(known.weekend),
            week: price(self.week.as_ref())?.or(known.week),
            four_weeks: price(self.four_weeks.as_ref())?.or(known.four_weeks),
            waiver_percent: waiver.map_or(known.waiver_percent, |waiver| waiver * Decimal::ONE_HUNDRED),
            cleaning: price(self.cleaning.as_ref())?.unwrap_or(known.cleaning),
        })
    }
}

pub(super) fn cmd_machine(context: &Context, command: MachineCommand) -> Result<()> {
    let ledger = context.open()?;
    let page = context.page(&ledger);
    let name = match command {
        MachineCommand::Add(args) => {
            let none = Tariff {
                half_day: None,
                day: Money::ZERO,
                weekend: None,
                week: None,
                four_weeks: None,
                waiver_percent: Decimal::ZERO,
                cleaning: Money::ZERO,
            };
            let tariff = args.tariff.over(&ledger, Some(&args.day), &none)?;
            let description = args.tariff.description.unwrap_or_default();
            context.write(&ledger, |writing| writing.add_machine(&args.name, &description, &tariff, OWN_FIGURE))?;
            context.status(&format!("Added machine {}.", args.name));
            args.name
        }
        MachineCommand::List => {
            let machines = ledger.machines()?;
            return context.answer(
                || machines.iter().map(|machine| machine_json(machine, &page)).collect(),
                || machines_text(&machines, &page),
            );
        }
        MachineCommand::Show(args) => {
            let machine = ledger.machine(&args.name)?;
            return context.answer(|| machine_json(&machine, &page), || machines_text(std::slice::from_ref(&machine), &page));
        }
        MachineCommand::Edit(args) => {
            let known = ledger.machine(&args.name)?;
            let tariff = args.tariff.over(&ledger, args.day.as_ref(), &known.tariff)?;
            let description = args.tariff.description.unwrap_or(known.description);
            let machine = BookMachine { tariff, description, source: OWN_FIGURE.to_owned(), ..known };
            context.write(&ledger, |writing| writing.edit_machine(&machine))?;
            context.status(&format!("Changed machine {}.", machine.name));
            machine.name
        }
    };
    if context.dry_run() {
        return Ok(());
    }
    let machine = ledger.machine(&name)?;
    context.answer_if_json(|| machine_json(&machine, &page))
}

/// Manage operations: what can be done, what measures it and what it takes
#[derive(Debug, Subcommand)]
pub(super) enum OperationCommand {
    Add(OperationAddArgs),
    List(OperationListArgs),
    /// Show an operation
    Show(NameArgs),
    Edit(OperationEditArgs),
}

#[derive(Debug, Args)]
struct OperationDetails {
    /// The item that it uses up
    #[arg(long)]
    item: Option<String>,
    /// How many items are changed at once; none for a measured item
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    set_size: Option<u32>,
    /// Operations of one family share a fixed amount and a grain
    #[arg(long)]
    family: Option<String>,
    /// What its rates differ by: none, condition, species or both
    #[arg(long)]
    splits: Option<Splits>,
    /// The rented machine that it runs on
    #[arg(long)]
    machine: Option<String>,
    /// The grade of its abrasive
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..))]
    grit: Option<u32>,
    /// The kind of finding that it answers
    #[arg(long, value_name = "KIND")]
    answers: Option<String>,
    /// What can hurt: dust, oily-rags, solvent, noise, acid or cables (can be repeated)
    #[arg(long = "hazard")]
    hazards: Vec<Hazard>,
    /// What it is
    #[arg(long)]
    description: Option<String>,
}

/// Add an operation
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger operation add rotary-60 --task sand --driver area --item disc-7in-60 --set-size 3 --grit 60 --machine rotary\n  gritledger rate set rotary-60 --kind item --per 12 --fixed 0.9\n  gritledger rate set rotary-60 --kind hours --per 300")]
pub(super) struct OperationAddArgs {
    /// Its name
    name: String,
    /// Its task, such as sand; made if unknown
    #[arg(long)]
    task: String,
    /// What measures it: area, edge, count, length, room or job
    #[arg(long)]
    driver: Driver,
    #[command(flatten)]
    details: OperationDetails,
}

/// List the operations
#[derive(Debug, Args)]
pub(super) struct OperationListArgs {
    /// Only those of a task
    #[arg(long)]
    task: Option<String>,
}

/// Change an operation
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger operation edit rotary-36 --splits both")]
pub(super) struct OperationEditArgs {
    /// Its name
    name: String,
    /// Its task
    #[arg(long)]
    task: Option<String>,
    /// What measures it
    #[arg(long)]
    driver: Option<Driver>,
    #[command(flatten)]
    details: OperationDetails,
}

impl OperationDetails {
    /// Returns an operation with what was given over what is known.
    fn over(self, ledger: &Ledger, known: NewOperation) -> Result<NewOperation> {
        let item = self.item.map(|name| ledger.item(&name)).transpose()?.map(|item| item.id);
        let machine = self.machine.map(|name| ledger.machine(&name)).transpose()?.map(|machine| machine.id);
        let operation = NewOperation {
            item: item.or(known.item),
            set_size: self.set_size.or(known.set_size),
            family: self.family.unwrap_or(known.family),
            splits: self.splits.unwrap_or(known.splits),
            machine: machine.or(known.machine),
            grit: self.grit.or(known.grit),
            answers: self.answers.map(|kind| kind.trim().to_lowercase()).or(known.answers),
            hazards: if self.hazards.is_empty() { known.hazards } else { self.hazards },
            description: self.description.unwrap_or(known.description),
            ..known
        };
        if operation.set_size.is_some() && operation.item.is_none() {
            refuse!("a set size needs an item");
        }
        Ok(operation)
    }
}

fn as_new(operation: Operation) -> NewOperation {
    NewOperation {
        name: operation.name,
        task: operation.task.name,
        driver: operation.driver,
        item: operation.item.map(|item| item.id),
        set_size: operation.set_size,
        family: operation.family,
        splits: operation.splits,
        machine: operation.machine,
        grit: operation.grit,
        answers: operation.answers,
        hazards: operation.hazards,
        description: operation.description,
        source: OWN_FIGURE.to_owned(),
    }
}

pub(super) fn cmd_operation(context: &Context, command: OperationCommand) -> Result<()> {
    let ledger = context.open()?;
    let page = context.page(&ledger);
    let name = match command {
        OperationCommand::Add(args) => {
            let blank = NewOperation {
                name: args.name,
                task: args.task,
                driver: args.driver,
                item: None,
                set_size: None,
                family: String::new(),
                splits: Splits::None,
                machine: None,
                grit: None,
                answers: None,
                hazards: Vec::new(),
                description: String::new(),
                source: OWN_FIGURE.to_owned(),
            };
            let operation = args.details.over(&ledger, blank)?;
            context.write(&ledger, |writing| writing.add_operation(&operation))?;
            context.status(&format!("Added operation {}.", operation.name));
            context.hint(&format!("it needs rates: gritledger rate set {} --kind hours --per N", operation.name));
            operation.name
        }
        OperationCommand::List(args) => {
            let in_task = |operation: &Operation| args.task.as_ref().is_none_or(|task| operation.task.name.eq_ignore_ascii_case(task));
            let operations: Vec<Operation> = ledger.operations()?.into_iter().filter(in_task).collect();
            return context.answer(|| operations.iter().map(operation_json).collect(), || operations_text(&operations, &page));
        }
        OperationCommand::Show(args) => {
            let operation = ledger.operation(&args.name)?;
            return context.answer(|| operation_json(&operation), || operations_text(std::slice::from_ref(&operation), &page));
        }
        OperationCommand::Edit(args) => {
            let known = ledger.operation(&args.name)?;
            let id = known.id;
            let mut operation = as_new(known);
            operation.task = args.task.unwrap_or(operation.task);
            operation.driver = args.driver.unwrap_or(operation.driver);
            let operation = args.details.over(&ledger, operation)?;
            context.write(&ledger, |writing| writing.edit_operation(id, &operation))?;
            context.status(&format!("Changed operation {}.", operation.name));
            operation.name
        }
    };
    if context.dry_run() {
        return Ok(());
    }
    let operation = ledger.operation(&name)?;
    context.answer_if_json(|| operation_json(&operation))
}

/// Manage sanding sequences: ordered sanding operations
#[derive(Debug, Subcommand)]
pub(super) enum SequenceCommand {
    Add(SequenceStepsArgs),
    /// List the sequences
    List,
    /// Show a sequence
    Show(NameArgs),
    /// Change the operations of a sequence
    Edit(SequenceStepsArgs),
}

/// Add a sequence of operations
///
/// Operations measured by area, edge or room are done on floors, those measured by a count on stairs, once per step.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger sequence add rotary-36-50-80-100 rotary-36 rotary-50 rotary-80 screen-100 orbit-80 palm-80")]
pub(super) struct SequenceStepsArgs {
    /// Its name
    name: String,
    /// The operations in order
    #[arg(required = true)]
    operations: Vec<String>,
}

pub(super) fn cmd_sequence(context: &Context, command: SequenceCommand) -> Result<()> {
    let ledger = context.open()?;
    let page = context.page(&ledger);
    let steps = |names: &[String]| names.iter().map(|name| ledger.operation(name)).collect::<Result<Vec<_>>>();
    let sequence = match command {
        SequenceCommand::Add(args) => {
            let sequence = Sequence { steps: steps(&args.operations)?, name: args.name };
            context.write(&ledger, |writing| writing.add_sequence(&sequence.name, &sequence.steps))?;
            context.status(&format!("Added sequence {}.", sequence.name));
            sequence
        }
        SequenceCommand::List => {
            let sequences = ledger.sequences()?;
            return context.answer(|| sequences.iter().map(sequence_json).collect(), || sequences_text(&sequences, &page));
        }
        SequenceCommand::Show(args) => {
            let sequence = ledger.sequence(&args.name)?;
            warn_of_skips(context, &sequence);
            return context.answer(|| sequence_json(&sequence), || sequences_text(std::slice::from_ref(&sequence), &page));
        }
        SequenceCommand::Edit(args) => {
            let sequence = Sequence { name: ledger.sequence(&args.name)?.name, steps: steps(&args.operations)? };
            context.write(&ledger, |writing| writing.edit_sequence(&sequence.name, &sequence.steps))?;
            context.status(&format!("Changed sequence {}.", sequence.name));
            sequence
        }
    };
    warn_of_skips(context, &sequence);
    context.answer_if_json(|| sequence_json(&sequence))
}

fn warn_of_skips(context: &Context, sequence: &Sequence) {
    for skip in skipped_grades(sequence) {
        context.warn(&skip.to_string());
    }
}

/// Manage coating schedules: ordered coats and the hours between
#[derive(Debug, Subcommand)]
pub(super) enum ScheduleCommand {
    Add(ScheduleStepsArgs),
    /// List the schedules
    List,
    /// Show a schedule
    Show(NameArgs),
    /// Change the steps of a schedule
    Edit(ScheduleStepsArgs),
}

/// Add a schedule of coats
///
/// A coat gives its hours before the next coat, and may give hours before light use and days to full cure; an operation
/// without hours abrades between coats.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger schedule add oil-slow oil-coat:36 screen-between oil-coat:36:48:30")]
pub(super) struct ScheduleStepsArgs {
    /// Its name
    name: String,
    /// The steps in order
    #[arg(required = true, value_name = "OPERATION[:RECOAT_H[:LIGHT_H[:CURE_DAYS]]]")]
    steps: Vec<String>,
}

pub(super) fn cmd_schedule(context: &Context, command: ScheduleCommand) -> Result<()> {
    let ledger = context.open()?;
    let page = context.page(&ledger);
    let steps = |texts: &[String]| texts.iter().map(|text| read_step(&ledger, text)).collect::<Result<Vec<_>>>();
    let name = match command {
        ScheduleCommand::Add(args) => {
            let steps = steps(&args.steps)?;
            context.write(&ledger, |writing| writing.add_schedule(&args.name, &steps))?;
            context.status(&format!("Added schedule {}.", args.name));
            args.name
        }
        ScheduleCommand::List => {
            let schedules = ledger.schedules()?;
            return context.answer(|| schedules.iter().map(schedule_json).collect(), || schedules_text(&schedules, &page));
        }
        ScheduleCommand::Show(args) => {
            let schedule = ledger.schedule(&args.name)?;
            return context.answer(|| schedule_json(&schedule), || schedule_text(&schedule, &page));
        }
        ScheduleCommand::Edit(args) => {
            let (name, steps) = (ledger.schedule(&args.name)?.name, steps(&args.steps)?);
            context.write(&ledger, |writing| writing.edit_schedule(&name, &steps))?;
            context.status(&format!("Changed schedule {name}."));
            name
        }
    };
    if context.dry_run() {
        return Ok(());
    }
    let schedule = ledger.schedule(&name)?;
    context.answer_if_json(|| schedule_json(&schedule))
}

/// Reads a step: `oil-coat:24:24:30`, or `screen-between`.
fn read_step(ledger: &Ledger, text: &str) -> Result<NewStep> {
    let mut parts = text.split(':');
    let operation = ledger.operation(parts.next().unwrap_or_default())?;
    let mut hours = || -> Result<Option<Decimal>> {
        let value = parts.next().map(|part| read_number(part, "a time")).transpose()?;
        if value.is_some_and(|value| value.is_sign_negative()) {
            refuse!("a time is not below zero: `{text}`");
        }
        Ok(value)
    };
    let (recoat, light_use_hours, cure_days) = (hours()?, hours()?, hours()?);
    let drying = recoat.map(|recoat_hours| Drying { recoat_hours, light_use_hours, cure_days });
    Ok((operation, drying))
}
