//! `operation`.

use anyhow::Result;
use clap::{Args, Subcommand};

use super::book::{AllArgs, InUseArgs, change_use};
use super::people::is_none;
use super::read::read_number;
use super::ui::Context;
use crate::document::book::{BesideOperations, OperationAnswer, OperationList};
use crate::ledger::{InBook, Ledger, NewOperation, OWN_FIGURE, Refusal, refuse, same, typed};
use crate::trade::cautions::Hazard;
use crate::trade::operation::{Driver, Operation};

/// Manage operations: the things that are done to a floor
#[derive(Debug, Subcommand)]
pub(super) enum OperationCommand {
    Add(OperationAddArgs),
    List(OperationListArgs),
    Show(OperationArgs),
    Edit(OperationEditArgs),
}

/// Add an operation
///
/// What measures it (its driver): area, edge, count, length, room or job. It has no rate yet: set one for hours, and one
/// for its item (gritledger rate set).
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger operation add glue-loose-strips --task repair --driver count --for-finding loose-strips"
)]
pub(super) struct OperationAddArgs {
    /// The name; no other operation has it
    name: String,
    /// The task that its hours are logged on; made if unknown
    #[arg(long)]
    task: String,
    /// What measures it: area, edge, count, length, room or job
    #[arg(long)]
    driver: String,
    #[command(flatten)]
    facts: OperationFacts,
}

/// What an operation may have beside task and driver.
#[derive(Debug, Args)]
#[group(skip)]
struct OperationFacts {
    /// The item that it uses up, or `none`
    #[arg(long)]
    item: Option<String>,
    /// How many items are changed at once, or `none` if the item is measured
    #[arg(long, value_name = "COUNT", allow_hyphen_values = true)]
    set_size: Option<String>,
    /// Operations of one group share what each room takes besides its area, as those of one machine do (default: its own)
    #[arg(long = "group", value_name = "GROUP", alias = "family")]
    family: Option<String>,
    /// What its rates differ by: none, condition, species or both
    #[arg(long = "rates-by", value_name = "WHAT", alias = "splits")]
    splits: Option<String>,
    /// The rented machine it runs on, or `none`
    #[arg(long)]
    machine: Option<String>,
    /// The grade of its abrasive, or `none`
    #[arg(long, allow_hyphen_values = true)]
    grit: Option<String>,
    /// Hours until it can be sanded, such as those of filler, or `none`
    #[arg(long, value_name = "HOURS", allow_hyphen_values = true)]
    harden_hours: Option<String>,
    /// The kind of finding that it puts right, and no other does, or `none`; the starting book puts right black-stains, board-holes, damaged-boards, gaps, missing-quarter-round, missing-threshold, open-holes, proud-nails and squeaks
    #[arg(long = "for-finding", value_name = "KIND", alias = "answers")]
    answers: Option<String>,
    /// What can hurt: dust, oily-rags, solvent, noise, acid, cables or none (can be repeated)
    #[arg(long = "hazard", value_name = "HAZARD")]
    hazards: Vec<String>,
    /// A short phrase
    #[arg(long)]
    description: Option<String>,
}

/// List the operations
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger operation list --task sand")]
pub(super) struct OperationListArgs {
    /// Only those of this task
    #[arg(long)]
    task: Option<String>,
    #[command(flatten)]
    all: AllArgs,
}

/// Show an operation
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger operation show rotary-36")]
pub(super) struct OperationArgs {
    /// The operation
    #[arg(value_name = "OPERATION")]
    name: String,
}

/// Change an operation
///
/// What measures it stays: its rates and all that was logged are in those units. Add another operation instead.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger operation edit rotary-36 --set-size 3 --rates-by both"
)]
pub(super) struct OperationEditArgs {
    /// The operation
    #[arg(value_name = "OPERATION")]
    name: String,
    /// The task that its hours are logged on; made if unknown
    #[arg(long)]
    task: Option<String>,
    #[command(flatten)]
    facts: OperationFacts,
    #[command(flatten)]
    in_use: InUseArgs,
}

pub(super) fn cmd_operation(context: &Context, command: OperationCommand) -> Result<()> {
    match command {
        OperationCommand::Add(args) => add_operation(context, &args),
        OperationCommand::List(args) => context.read(|ledger| {
            let mut operations = match args.all.all {
                true => ledger.operations()?,
                false => ledger.operations_in_use()?,
            };
            let out = ledger.out_of_use(InBook::Operation)?;
            if let Some(task) = &args.task {
                let task = task_named(ledger, task)?;
                operations.retain(|operation| operation.task.name == task);
            }
            let beside = BesideOperations {
                machines: &ledger.machines()?,
                out_of_use: &out,
            };
            let page = context.page(ledger);
            context.give(ledger, OperationList::new(operations, beside, &page))
        }),
        OperationCommand::Show(args) => context.read(|ledger| {
            let operation = ledger.operation(&args.name)?;
            context.give(ledger, operation_answer(context, ledger, operation)?)
        }),
        OperationCommand::Edit(args) => edit_operation(context, &args),
    }
}

fn task_named(ledger: &Ledger, name: &str) -> Result<String> {
    let tasks: Vec<String> = ledger.tasks()?.into_iter().map(|task| task.name).collect();
    match tasks.iter().find(|task| same(task, name)) {
        Some(task) => Ok(task.clone()),
        None => {
            let refusal = Refusal::new(format!("no task `{}`", name.trim()));
            Err(refusal.hint(format!("tasks: {}", tasks.join(", "))).into())
        }
    }
}

fn add_operation(context: &Context, args: &OperationAddArgs) -> Result<()> {
    let driver = args.driver.parse()?;
    context.write(|writing| {
        let mut new = NewOperation {
            name: args.name.clone(),
            task: args.task.clone(),
            driver,
            item: None,
            set_size: None,
            family: String::new(),
            splits: crate::trade::operation::Splits::None,
            machine: None,
            grit: None,
            harden_hours: None,
            answers: None,
            hazards: Vec::new(),
            description: String::new(),
            source: OWN_FIGURE.to_owned(),
        };
        read_facts(writing, &mut new, &args.facts)?;
        writing.add_operation(&new)?;
        let operation = writing.operation(&new.name)?;
        context.status(&format!("Added operation {}.", operation.name));
        if operation.item.is_some() {
            context.hint(&format!(
                "gritledger rate set {} --kind item --per AMOUNT",
                typed(&operation.name)
            ));
        }
        context.hint(&format!(
            "gritledger rate set {} --kind hours --per AMOUNT",
            typed(&operation.name)
        ));
        tell_operation(context, writing, operation)
    })
}

fn edit_operation(context: &Context, args: &OperationEditArgs) -> Result<()> {
    context.write(|writing| {
        let name = args.in_use.meant(writing, InBook::Operation, &args.name)?;
        let old = writing.operation(&name)?;
        let mut new = NewOperation {
            name: old.name,
            task: args.task.clone().unwrap_or(old.task.name),
            driver: old.driver,
            item: old.item.map(|item| item.id),
            set_size: old.set_size,
            family: old.family,
            splits: old.splits,
            machine: old.machine,
            grit: old.grit,
            harden_hours: old.harden_hours,
            answers: old.answers,
            hazards: old.hazards,
            description: old.description,
            source: old.source,
        };
        read_facts(writing, &mut new, &args.facts)?;
        writing.edit_operation(old.id, &new)?;
        let known = (InBook::Operation, old.id.0, new.name.as_str());
        change_use(writing, &args.in_use, known)?;
        let operation = writing.operation(&new.name)?;
        context.status(&format!("Changed operation {}.", operation.name));
        tell_operation(context, writing, operation)
    })
}

/// Reads the facts typed over an operation; `none` takes one away.
fn read_facts(ledger: &Ledger, new: &mut NewOperation, typed: &OperationFacts) -> Result<()> {
    let OperationFacts {
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
    } = typed;
    if let Some(name) = item {
        new.item = if is_none(name) {
            None
        } else {
            Some(ledger.item(name)?.id)
        };
        // What was changed at once was another item.
        new.set_size = None;
    }
    if let Some(text) = set_size {
        new.set_size = read_count(text, "a number of items")?;
    }
    if new.set_size.is_some() && new.item.is_none() {
        refuse!("`{}` has no item that could be changed in sets", new.name);
    }
    if let Some(name) = family {
        new.family = if is_none(name) {
            String::new()
        } else {
            name.clone()
        };
    }
    if let Some(word) = splits {
        new.splits = word.parse()?;
    }
    if let Some(name) = machine {
        new.machine = if is_none(name) {
            None
        } else {
            Some(ledger.machine(name)?.id)
        };
    }
    if let Some(text) = grit {
        new.grit = read_count(text, "a grade")?;
    }
    if let Some(text) = harden_hours {
        new.harden_hours = match is_none(text) {
            true => None,
            false => Some(read_number(ledger, text, "a number of hours")?),
        };
    }
    if let Some(kind) = answers {
        new.answers = if is_none(kind) {
            None
        } else {
            Some(read_kind(ledger, new, kind)?)
        };
    }
    if hazards.iter().any(|hazard| is_none(hazard)) {
        new.hazards = Vec::new();
    } else if !hazards.is_empty() {
        new.hazards = hazards
            .iter()
            .map(|hazard| hazard.parse::<Hazard>())
            .collect::<Result<_, _>>()?;
    }
    if let Some(description) = description {
        new.description.clone_from(description);
    }
    Ok(())
}

/// Reads a whole number above zero, or `none`.
fn read_count(text: &str, what: &str) -> Result<Option<u32>> {
    if is_none(text) {
        return Ok(None);
    }
    match text.trim().parse() {
        Ok(count) if count > 0 => Ok(Some(count)),
        _ => refuse!("`{text}` is not {what}, whole and above zero"),
    }
}

/// Reads the kind of finding that an operation puts right; no other does.
fn read_kind(ledger: &Ledger, new: &NewOperation, kind: &str) -> Result<String> {
    let kind = kind.trim().to_lowercase().replace(' ', "-");
    if kind.is_empty() {
        refuse!("a kind of finding needs a name");
    }
    if !matches!(new.driver, Driver::Area | Driver::Count | Driver::Length) {
        refuse!(
            "findings are measured by area, count or length, and `{}` by {}",
            new.name,
            new.driver
        );
    }
    let same = |operation: &Operation| {
        operation.answers.as_deref() == Some(&kind) && operation.name != new.name
    };
    match ledger.operations()?.into_iter().find(same) {
        Some(other) => Err(
            Refusal::new(format!("`{}` puts `{kind}` right already", other.name))
                .hint(format!(
                    "gritledger operation edit {} --for-finding none",
                    typed(&other.name)
                ))
                .into(),
        ),
        None => Ok(kind),
    }
}

/// After an event, the JSON answer is the operation as it stands; people were told in a sentence.
fn tell_operation(context: &Context, ledger: &Ledger, operation: Operation) -> Result<()> {
    context.give_json(|| operation_answer(context, ledger, operation))
}

fn operation_answer(
    context: &Context,
    ledger: &Ledger,
    operation: Operation,
) -> Result<OperationAnswer> {
    let beside = BesideOperations {
        machines: &ledger.machines()?,
        out_of_use: &ledger.out_of_use(InBook::Operation)?,
    };
    Ok(OperationAnswer::new(
        operation,
        beside,
        &context.page(ledger),
    ))
}
