//! `sequence` and `schedule`: cuts and coats in order.

use anyhow::Result;
use clap::{Args, Subcommand};

use super::ui::Context;
use crate::document::book::{ScheduleAnswer, ScheduleList, SequenceAnswer, SequenceList};
use crate::ledger::{Ledger, NewStep, Refusal};
use crate::money::Decimal;
use crate::trade::operation::{Driver, Drying, Operation, Schedule, Sequence, skipped_grades};

/// Manage sanding sequences: cuts in order
#[derive(Debug, Subcommand)]
pub(super) enum SequenceCommand {
    #[command(
        after_long_help = "Example:\n  gritledger sequence add rotary-24-36-60 rotary-24 rotary-36 rotary-60 edge-36 edge-60"
    )]
    Add(SequenceStepsArgs),
    /// List the sanding sequences
    #[command(after_long_help = "Example:\n  gritledger sequence list")]
    List,
    Show(SequenceArgs),
    #[command(
        after_long_help = "Example:\n  gritledger sequence edit rotary-24-36-60 rotary-24 rotary-36 rotary-60 edge-36 edge-60"
    )]
    Edit(SequenceStepsArgs),
}

/// Name the operations of a sanding sequence, in order
///
/// An operation that is named twice is done twice. Cuts that skip more than one grade are warned of.
#[derive(Debug, Args)]
pub(super) struct SequenceStepsArgs {
    /// The sequence
    #[arg(value_name = "SEQUENCE")]
    name: String,
    /// Its operations, in order
    #[arg(required = true, value_name = "OPERATION")]
    operations: Vec<String>,
}

/// Show a sanding sequence
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger sequence show rotary-36-50-80")]
pub(super) struct SequenceArgs {
    /// The sequence
    #[arg(value_name = "SEQUENCE")]
    name: String,
}

/// Manage coating schedules: coats in order, and what is done between them
#[derive(Debug, Subcommand)]
pub(super) enum ScheduleCommand {
    #[command(
        after_long_help = "Example:\n  gritledger schedule add oil-slow oil-coat:24 screen-between oil-coat:24:48:4:30"
    )]
    Add(ScheduleStepsArgs),
    /// List the coating schedules
    #[command(after_long_help = "Example:\n  gritledger schedule list")]
    List,
    Show(ScheduleArgs),
    #[command(
        after_long_help = "Example:\n  gritledger schedule edit oil-slow oil-coat:24 screen-between oil-coat:24:48:4:30"
    )]
    Edit(ScheduleStepsArgs),
}

/// Name the steps of a coating schedule, in order
///
/// A coat is `OPERATION:RECOAT[:LIGHT[:FURNITURE[:CURE]]]`: hours before the next coat, hours before light use, days before
/// furniture is carried back, days to full cure, as the product's label has them. What is done between coats is the operation alone.
#[derive(Debug, Args)]
pub(super) struct ScheduleStepsArgs {
    /// The schedule
    #[arg(value_name = "SCHEDULE")]
    name: String,
    /// Its steps, in order
    #[arg(required = true, value_name = "STEP")]
    steps: Vec<String>,
}

/// Show a coating schedule
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger schedule show oil-2-coat")]
pub(super) struct ScheduleArgs {
    /// The schedule
    #[arg(value_name = "SCHEDULE")]
    name: String,
}

pub(super) fn cmd_sequence(context: &Context, command: SequenceCommand) -> Result<()> {
    match command {
        SequenceCommand::Add(args) => context.write(|writing| {
            let steps = read_operations(writing, &args.operations)?;
            writing.add_sequence(&args.name, &steps)?;
            let sequence = writing.sequence(&args.name)?;
            context.status(&format!("Added sequence {}.", sequence.name));
            tell_sequence(context, writing, sequence)
        }),
        SequenceCommand::List => context.give_told::<SequenceList, _>(Ledger::sequences),
        SequenceCommand::Show(args) => context.read(|ledger| {
            let sequence = ledger.sequence(&args.name)?;
            warn_of_skips(context, &sequence);
            context.give(ledger, SequenceAnswer::new(sequence, &context.page(ledger)))
        }),
        SequenceCommand::Edit(args) => context.write(|writing| {
            let name = writing.sequence(&args.name)?.name;
            let steps = read_operations(writing, &args.operations)?;
            writing.edit_sequence(&name, &steps)?;
            let sequence = writing.sequence(&name)?;
            context.status(&format!("Changed sequence {}.", sequence.name));
            tell_sequence(context, writing, sequence)
        }),
    }
}

fn read_operations(ledger: &Ledger, names: &[String]) -> Result<Vec<Operation>> {
    names.iter().map(|name| step_named(ledger, name)).collect()
}

/// Looks up an operation that a sequence or schedule may have: a room has no length found, and a job no cuts.
fn step_named(ledger: &Ledger, name: &str) -> Result<Operation> {
    let operation = ledger.operation(name)?;
    if matches!(operation.driver, Driver::Length | Driver::Job) {
        return Err(Refusal::new(format!("`{}` is measured by {}, which no room has", operation.name, operation.driver))
            .hint("sequences and schedules take operations measured by area, edge, room or, for stairs, count")
            .into());
    }
    Ok(operation)
}

fn warn_of_skips(context: &Context, sequence: &Sequence) {
    for skip in skipped_grades(sequence) {
        context.warn(&skip.to_string());
    }
}

/// After an event, the JSON answer is the sequence as it stands; people were told in a sentence.
fn tell_sequence(context: &Context, ledger: &Ledger, sequence: Sequence) -> Result<()> {
    warn_of_skips(context, &sequence);
    context.give_json(|| Ok(SequenceAnswer::new(sequence, &context.page(ledger))))
}

pub(super) fn cmd_schedule(context: &Context, command: ScheduleCommand) -> Result<()> {
    match command {
        ScheduleCommand::Add(args) => context.write(|writing| {
            let steps = read_steps(writing, &args.steps)?;
            writing.add_schedule(&args.name, &steps)?;
            let schedule = writing.schedule(&args.name)?;
            context.status(&format!("Added schedule {}.", schedule.name));
            tell_schedule(context, writing, schedule)
        }),
        ScheduleCommand::List => context.read(|ledger| {
            let (schedules, book, page) =
                (ledger.schedules()?, ledger.book()?, context.page(ledger));
            context.give(ledger, ScheduleList::new(schedules, &book, &page))
        }),
        ScheduleCommand::Show(args) => context.read(|ledger| {
            let schedule = ledger.schedule(&args.name)?;
            context.give(ledger, schedule_answer(context, ledger, schedule)?)
        }),
        ScheduleCommand::Edit(args) => context.write(|writing| {
            let name = writing.schedule(&args.name)?.name;
            let steps = read_steps(writing, &args.steps)?;
            writing.edit_schedule(&name, &steps)?;
            let schedule = writing.schedule(&name)?;
            context.status(&format!("Changed schedule {}.", schedule.name));
            tell_schedule(context, writing, schedule)
        }),
    }
}

fn read_steps(ledger: &Ledger, texts: &[String]) -> Result<Vec<NewStep>> {
    let read = |text: &String| {
        let (name, drying) = read_step(text)?;
        Ok((step_named(ledger, name)?, drying))
    };
    texts.iter().map(read).collect()
}

/// Reads a step: `screen-between`, or a coat `oil-coat:24:48:30`.
fn read_step(text: &str) -> Result<(&str, Option<Drying>)> {
    let mut fields = text.split(':').map(str::trim);
    let name = fields.next().unwrap_or_default();
    let times: Vec<&str> = fields.collect();
    let refusal = || {
        let refusal = Refusal::new(format!("`{text}` is not a step of a schedule"));
        refusal.hint("a coat is OPERATION:RECOAT[:LIGHT[:FURNITURE[:CURE]]], in hours, hours, days and days: oil-coat:24:48:4:30")
    };
    let time = |position: usize| match times.get(position).copied().filter(|time| !time.is_empty())
    {
        None => Ok(None),
        Some(time) => match crate::money::number(time).filter(|time| *time >= Decimal::ZERO) {
            Some(time) => Ok(Some(time)),
            None => Err(refusal()),
        },
    };
    let (recoat, light_use_hours) = (time(0)?, time(1)?);
    let (furniture_days, cure_days) = (time(2)?, time(3)?);
    match recoat {
        _ if name.is_empty() || times.len() > 4 => Err(refusal().into()),
        None if times.is_empty() => Ok((name, None)),
        None => Err(refusal().into()),
        Some(recoat_hours) => Ok((
            name,
            Some(Drying {
                recoat_hours,
                light_use_hours,
                furniture_days,
                cure_days,
            }),
        )),
    }
}

fn schedule_answer(
    context: &Context,
    ledger: &Ledger,
    schedule: Schedule,
) -> Result<ScheduleAnswer> {
    let (book, page) = (ledger.book()?, context.page(ledger));
    Ok(ScheduleAnswer::new(schedule, &book, &page))
}

/// After an event, the JSON answer is the schedule as it stands; people were told in a sentence.
fn tell_schedule(context: &Context, ledger: &Ledger, schedule: Schedule) -> Result<()> {
    context.give_json(|| schedule_answer(context, ledger, schedule))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_of_a_schedule_is_an_operation_and_how_it_dries() {
        let hours = |count: i64| Some(Decimal::from(count));
        for (text, expected) in [
            ("screen-between", Some(("screen-between", None))),
            (
                "oil-coat:24",
                Some(("oil-coat", Some((hours(24), None, None, None)))),
            ),
            (
                "oil-coat:24:48:4:30",
                Some((
                    "oil-coat",
                    Some((hours(24), hours(48), hours(4), hours(30))),
                )),
            ),
            (
                "oil-coat:24:::30",
                Some(("oil-coat", Some((hours(24), None, None, hours(30))))),
            ),
            ("oil-coat:", None),
            ("oil-coat::48", None),
            ("oil-coat:-1", None),
            ("oil-coat:24:48:4:30:9", None),
            (":24", None),
            ("", None),
        ] {
            let read = read_step(text).ok().map(|(name, drying)| {
                let times = |drying: Drying| {
                    (
                        Some(drying.recoat_hours),
                        drying.light_use_hours,
                        drying.furniture_days,
                        drying.cure_days,
                    )
                };
                (name, drying.map(times))
            });
            assert_eq!(read, expected, "{text}");
        }
    }
}
