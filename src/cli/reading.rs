//! `reading`: what was measured, tested or looked for before a floor is sanded.

use anyhow::Result;
use clap::{Args, Subcommand};

use super::list::{RowsArgs, give_list};
use super::read::{confirm_day, read_date};
use super::room::room_named;
use super::ui::Context;
use crate::document::floor::{ReadingAnswer, ReadingList, RoomCheck};
use crate::ledger::{Ledger, Refusal, Room, Site, refuse};
use crate::trade::ReadingId;
use crate::trade::reading::{Layer, Reading, ReadingKind, Value};

/// Manage readings: what a meter, a rule, a laboratory or a look says of a floor
#[derive(Debug, Subcommand)]
pub(super) enum ReadingCommand {
    Add(ReadingAddArgs),
    List(ReadingListArgs),
    Void(ReadingVoidArgs),
}

/// Note what was read in a room, each kind with its value
///
/// Thickness, with its unit ("1/4 in", "6 mm"): wood-left above the tongue or the nails, top-layer of engineered boards,
/// board-width. Moisture in percent: board, board-bottom, subfloor. The air: temperature ("68 F", "20 C") and humidity.
/// Tests: lead and asbestos, each negative, positive or an amount ("0.3 mg/cm2", "2 %"), with --layer (paint, finish, tile,
/// sheet, backing, mastic) and --by. A look: seen nothing, cupped, thin-signs (nail heads between boards, cracked or springy
/// edges), top-nailed, or a layer.
/// A result is of the layer and place that was tested and of no other. A reading never changes: a wrong one is taken back.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  gritledger reading add Landing seen nothing wood-left \"1/4 in\" --place register
  gritledger reading add Landing board 8.5 subfloor 10 temperature 70 humidity 45
  gritledger reading add Landing lead negative --layer finish --by \"Hill Laboratory\" --date 2026-02-20
  gritledger reading add \"4 Tannery Row\" temperature 66 humidity 40 --house")]
pub(super) struct ReadingAddArgs {
    /// The room: NAME or SITE/NAME; with --house the site's address
    room: String,
    /// What was read, and its value: board 8.5 subfloor 10
    #[arg(
        required = true,
        num_args = 1..,
        value_name = "KIND VALUE",
        allow_negative_numbers = true
    )]
    readings: Vec<String>,
    /// The site's address (default: wherever there is only one room of that name)
    #[arg(long)]
    site: Option<String>,
    /// It is of the whole house
    #[arg(long, conflicts_with = "site")]
    house: bool,
    /// The layer that was tested
    #[arg(long)]
    layer: Option<String>,
    /// Where in the room
    #[arg(long, default_value = "", hide_default_value = true)]
    place: String,
    /// Who read or tested it
    #[arg(
        long,
        value_name = "NAME",
        default_value = "",
        hide_default_value = true
    )]
    by: String,
    /// When (default: today)
    #[arg(long, value_name = "DATE")]
    date: Option<String>,
}

/// List the readings at a site
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger reading list \"4 Tannery Row\" --room Landing")]
pub(super) struct ReadingListArgs {
    /// The site's address
    site: String,
    /// Only in this room
    #[arg(long)]
    room: Option<String>,
    #[command(flatten)]
    rows: RowsArgs,
}

/// Take a reading back
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger reading void 3 --reason \"another room\"")]
pub(super) struct ReadingVoidArgs {
    /// The reading's number, as reading list shows it
    #[arg(value_name = "READING", allow_hyphen_values = true)]
    id: String,
    /// Why
    #[arg(long, default_value = "", hide_default_value = true)]
    reason: String,
}

pub(super) fn cmd_reading(context: &Context, command: ReadingCommand) -> Result<()> {
    match command {
        ReadingCommand::Add(args) => add_readings(context, &args),
        ReadingCommand::List(args) => context.read(|ledger| {
            let site = ledger.site(&args.site)?;
            let room = args.room.as_deref();
            let room = room
                .map(|name| ledger.room(name, Some(site.id)))
                .transpose()?;
            let mut readings = ledger.readings_of(site.id)?;
            readings.retain(|placed| {
                let of = placed.room.as_ref().map(|(id, _)| *id);
                room.as_ref().is_none_or(|room| of == Some(room.id))
            });
            let readings = ReadingList::new(readings, &context.page(ledger));
            give_list(context, ledger, readings, &args.rows, args.room.is_some())
        }),
        ReadingCommand::Void(args) => context.write(|writing| {
            let id = read_reading(&args.id)?;
            let taken = writing.void_reading(id, &args.reason)?;
            let answer = ReadingAnswer::new(taken, &context.page(writing));
            context.status(&format!(
                "Took reading {} back: {}.",
                id.0,
                answer.sentence()
            ));
            context.give_json(|| Ok(answer))
        }),
    }
}

fn read_reading(text: &str) -> Result<ReadingId> {
    match text.trim().parse() {
        Ok(id) => Ok(ReadingId(id)),
        Err(_) => Err(
            Refusal::new(format!("`{text}` is not the number of a reading"))
                .hint("gritledger reading list SITE")
                .into(),
        ),
    }
}

fn add_readings(context: &Context, args: &ReadingAddArgs) -> Result<()> {
    context.write(|writing| {
        let (site, room) = place_of(writing, args)?;
        let readings = read_readings(context, writing, args)?;
        let page = context.page(writing);
        let mut noted = Vec::new();
        for reading in &readings {
            let placed = writing.add_reading(&site, room.as_ref(), reading)?;
            let (id, answer) = (placed.reading.id, ReadingAnswer::new(placed, &page));
            context.status(&format!(
                "Noted {}, as reading {}.",
                answer.sentence(),
                id.0
            ));
            noted.push(answer);
        }
        if let Some(room) = room {
            for judged in writing.judged(&site, &[room])? {
                context.status(&RoomCheck::new(judged, &page).sentence());
            }
        }
        context.give_json(|| Ok(noted))
    })
}

/// Returns where something was read: a room, or a whole house.
fn place_of(ledger: &Ledger, args: &ReadingAddArgs) -> Result<(Site, Option<Room>)> {
    if args.house {
        return Ok((ledger.site(&args.room)?, None));
    }
    let room = room_named(ledger, &args.room, args.site.as_deref())?;
    Ok((ledger.site(&room.site)?, Some(room)))
}

/// Reads the pairs of kind and value; all of one line share their day, place and tester, and tests their layer.
fn read_readings(
    context: &Context,
    ledger: &Ledger,
    args: &ReadingAddArgs,
) -> Result<Vec<Reading>> {
    let on = read_date(context, ledger, args.date.as_deref())?;
    confirm_day(context, on, None)?;
    let layer: Option<Layer> = args.layer.as_deref().map(str::parse).transpose()?;
    let (pairs, odd) = args.readings.as_chunks::<2>();
    if let [kind] = odd {
        let kind: ReadingKind = kind.parse()?;
        refuse!("`{kind}` has no value: what was read?");
    }
    let kinds = pairs.iter().map(|[kind, _]| Ok(kind.parse()?));
    let kinds: Vec<ReadingKind> = kinds.collect::<Result<_>>()?;
    for (place, kind) in kinds.iter().enumerate() {
        if kind.is_of_the_air() && kinds[..place].contains(kind) {
            refuse!("`{kind}` is there twice: one reading has one");
        }
    }
    let is_tested = kinds.iter().any(|kind| kind.is_test());
    let readings = kinds.into_iter().zip(pairs).map(|(kind, [_, value])| {
        let value = ledger.notation().plain(value);
        Ok(Reading {
            id: ReadingId(0), // Given when it is kept.
            whole_house: args.house,
            kind,
            value: Value::parse(kind, &value, ledger.units())?,
            layer: layer.filter(|_| kind.is_test() || !is_tested),
            place: args.place.trim().to_owned(),
            by: args.by.trim().to_owned(),
            on,
        })
    });
    readings.collect()
}
