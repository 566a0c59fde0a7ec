//! `finding`: what the walk-through found, and what may turn up.

use anyhow::Result;
use clap::{Args, Subcommand};

use super::list::{RowsArgs, give_list};
use super::read::read_percent;
use super::room::room_named;
use super::ui::Context;
use crate::document::people::{Findings, PlacedFinding};
use crate::ledger::{
    Finding, Ledger, NewFinding, Refusal, came_true, name_key, near_names, refuse, typed,
};
use crate::measure::{Area, Length, Units};
use crate::money::{Decimal, number, quantity};
use crate::trade::operation::{Driver, Operation};
use crate::trade::{FindingId, OperationId};

/// Manage findings: what the walk-through found
#[derive(Debug, Subcommand)]
pub(super) enum FindingCommand {
    Add(FindingAddArgs),
    List(FindingListArgs),
    Edit(FindingEditArgs),
    Void(FindingVoidArgs),
}

/// Note something that must be put right
///
/// The kind is one that an operation puts right (gritledger operation list). Things are counted: 12; lengths and areas are
/// typed as measured: "22 ft", "12 sqft" or "3 x 4". Trim whose pieces are known is typed piece by piece, "14' + 8'6\"":
/// then quote buy and job buy say from which sticks they are cut. What isn't known before the floor is sanded is a range, "10 to 30",
/// or has a chance: of the finding itself, or with --if-so of what it takes besides.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  gritledger finding add Landing proud-nails 12
  gritledger finding add \"Back bedroom\" missing-quarter-round \"22 ft\" --place \"north wall\"
  gritledger finding add Landing proud-nails \"10 to 30\" --chance 50%
  gritledger finding add Landing damaged-boards 1 --chance 40% --if-so \"bleach 12 sqft\"")]
pub(super) struct FindingAddArgs {
    /// The room: NAME or SITE/NAME
    room: String,
    /// The kind; the starting book puts right black-stains, board-holes, damaged-boards, gaps, missing-quarter-round, missing-threshold, open-holes, proud-nails and squeaks
    kind: String,
    /// How much of it, or from how much to how much
    #[arg(allow_hyphen_values = true)]
    quantity: String,
    /// The site's address (default: wherever there is only one room of that name)
    #[arg(long)]
    site: Option<String>,
    /// How likely it turns up, or with --if-so, how likely it takes more
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    chance: Option<String>,
    /// What it takes then: an operation, and how much or from how much to how much
    #[arg(
        long,
        value_name = "OPERATION QUANTITY",
        requires = "chance",
        allow_hyphen_values = true
    )]
    if_so: Option<String>,
    /// Where in the room
    #[arg(long, default_value = "", hide_default_value = true)]
    place: String,
    /// A note
    #[arg(long, default_value = "", hide_default_value = true)]
    note: String,
}

/// List what was found at a site
///
/// At the end it says of all findings that had a chance, at any site, how often they turned up, and what was quoted.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger finding list \"4 Tannery Row\" --room Landing")]
pub(super) struct FindingListArgs {
    /// The site's address
    site: String,
    /// Only in this room
    #[arg(long)]
    room: Option<String>,
    #[command(flatten)]
    rows: RowsArgs,
}

/// Change what was found
///
/// It is noted anew under another number, and the old one is taken out of use: quotes that were drafted with it stay as they
/// are. What isn't said stays as it was. With --turned-up it keeps its number.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger finding edit 3 14\n  gritledger finding edit 3 \"14' + 8'\" --place \"north wall\"\n  gritledger finding edit 3 --sure\n  gritledger finding edit 12 --turned-up yes"
)]
pub(super) struct FindingEditArgs {
    /// The finding's number, as finding list shows it
    #[arg(value_name = "FINDING", allow_hyphen_values = true)]
    id: String,
    /// How much of it, or from how much to how much
    #[arg(allow_hyphen_values = true)]
    quantity: Option<String>,
    /// How likely it turns up, or takes more
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    chance: Option<String>,
    /// It is sure, and takes nothing besides
    #[arg(long, conflicts_with_all = ["chance", "if_so"])]
    sure: bool,
    /// What it takes then: an operation, and how much or from how much to how much
    #[arg(long, value_name = "OPERATION QUANTITY", allow_hyphen_values = true)]
    if_so: Option<String>,
    /// Where in the room
    #[arg(long)]
    place: Option<String>,
    /// A note
    #[arg(long)]
    note: Option<String>,
    /// Whether what had a chance turned up
    #[arg(long, value_name = "yes|no", value_parser = ["yes", "no"], hide_possible_values = true,
          conflicts_with_all = ["quantity", "chance", "sure", "if_so", "place", "note"])]
    turned_up: Option<String>,
}

/// Take a finding out of use
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger finding void 3")]
pub(super) struct FindingVoidArgs {
    /// The finding's number, as finding list shows it
    #[arg(value_name = "FINDING", allow_hyphen_values = true)]
    id: String,
}

pub(super) fn cmd_finding(context: &Context, command: FindingCommand) -> Result<()> {
    match command {
        FindingCommand::Add(args) => add_finding(context, &args),
        FindingCommand::List(args) => context.read(|ledger| {
            let site = ledger.site(&args.site)?;
            let room = args.room.as_deref();
            let room = room
                .map(|name| ledger.room(name, Some(site.id)))
                .transpose()?;
            let mut findings = ledger.findings_of(site.id)?;
            findings.retain(|finding| room.as_ref().is_none_or(|room| room.id == finding.room_id));
            let page = context.page(ledger);
            let findings = Findings::new(findings, ledger.turned_up()?, &page);
            give_list(context, ledger, findings, &args.rows, args.room.is_some())
        }),
        FindingCommand::Void(args) => {
            let id = read_finding(&args.id)?;
            context.write(|writing| writing.void_finding(id))?;
            context.status(&format!("Took finding {} out of use.", id.0));
            Ok(())
        }
        FindingCommand::Edit(args) => edit_finding(context, &args),
    }
}

fn read_finding(text: &str) -> Result<FindingId> {
    match text.trim().parse() {
        Ok(id) => Ok(FindingId(id)),
        Err(_) => Err(
            Refusal::new(format!("`{text}` is not the number of a finding"))
                .hint("gritledger finding list SITE")
                .into(),
        ),
    }
}

fn edit_finding(context: &Context, args: &FindingEditArgs) -> Result<()> {
    let id = read_finding(&args.id)?;
    if let Some(said) = &args.turned_up {
        let did = said == "yes";
        context.write(|writing| writing.say_turned_up(id, did))?;
        context.status(&format!("Finding {} {}.", id.0, came_true(did)));
        return Ok(());
    }
    context.write(|writing| {
        let (found, site) = writing.finding(id)?;
        let room = writing.room(&found.room, Some(site))?;
        let new = edited(writing, args, &found)?;
        let again = writing.change_finding(&found, &room, &new)?;
        let (finding, _) = writing.finding(again)?;
        let answer = PlacedFinding::new(finding, &context.page(writing));
        let (old, words) = (id.0, answer.words());
        context.status(&format!("Noted {words}, in place of finding {old}."));
        context.give_json(|| Ok(answer))
    })
}

/// Returns a finding as it is to be noted anew.
fn edited(ledger: &Ledger, args: &FindingEditArgs, found: &Finding) -> Result<NewFinding> {
    let if_so = found.if_so.as_ref();
    let mut new = NewFinding {
        kind: found.kind.clone(),
        quantity: found.quantity,
        most: found.most,
        unit: found.unit,
        pieces: found.pieces.clone(),
        chance: found.chance,
        if_so: if_so.map(|may| (may.operation, may.low, may.high)),
        place: args
            .place
            .as_ref()
            .unwrap_or(&found.place)
            .trim()
            .to_owned(),
        note: args.note.as_ref().unwrap_or(&found.note).trim().to_owned(),
    };
    if let Some(much) = &args.quantity {
        let much = ledger.notation().plain(much);
        let (kind, driver) = kind_of_finding(&ledger.operations()?, &[], &found.kind)?;
        (new.quantity, new.most) = read_range(&much, &kind, driver, ledger.units())?;
        (new.unit, new.pieces) = (driver.unit(), read_pieces(&much, driver, ledger.units())?);
    }
    if let Some(chance) = &args.chance {
        new.chance = Some(read_percent(ledger, chance, "a chance")?);
    }
    if let Some(if_so) = &args.if_so {
        new.if_so = Some(read_if_so(ledger, if_so)?);
    }
    if args.sure {
        (new.chance, new.if_so) = (None, None);
    }
    if new.if_so.is_some() && new.chance.is_none() {
        refuse!("say how likely it takes more: --chance 40%");
    }
    Ok(new)
}

fn add_finding(context: &Context, args: &FindingAddArgs) -> Result<()> {
    context.write(|writing| {
        let chance = args.chance.as_deref();
        let chance = chance
            .map(|text| read_percent(writing, text, "a chance"))
            .transpose()?;
        let room = room_named(writing, &args.room, args.site.as_deref())?;
        let found = read_new(writing, &args.kind, &args.quantity)?;
        let if_so = args
            .if_so
            .as_deref()
            .map(|text| read_if_so(writing, text))
            .transpose()?;
        let new = NewFinding {
            chance,
            if_so,
            place: args.place.trim().to_owned(),
            note: args.note.trim().to_owned(),
            ..found
        };
        let id = writing.add_finding(&room, &new)?;
        let (finding, _) = writing.finding(id)?;
        let answer = PlacedFinding::new(finding, &context.page(writing));
        context.status(&format!("Noted {}.", answer.words()));
        context.give_json(|| Ok(answer))
    })
}

/// Reads what was found, and how much of it: sure, with nothing more to say of it.
pub(super) fn read_new(ledger: &Ledger, kind: &str, much: &str) -> Result<NewFinding> {
    let much = ledger.notation().plain(much);
    let (operations, all) = (ledger.operations_in_use()?, ledger.operations()?);
    let (kind, driver) = kind_of_finding(&operations, &all, kind)?;
    let (quantity, most) = read_range(&much, &kind, driver, ledger.units())?;
    Ok(NewFinding {
        quantity,
        most,
        unit: driver.unit(),
        pieces: read_pieces(&much, driver, ledger.units())?,
        kind,
        chance: None,
        if_so: None,
        place: String::new(),
        note: String::new(),
    })
}

/// Reads what a finding may take beside its answer: `bleach 12 sqft`, `bleach 8 to 16 sqft`.
fn read_if_so(ledger: &Ledger, text: &str) -> Result<(OperationId, Decimal, Decimal)> {
    let Some((name, much)) = text.trim().split_once(char::is_whitespace) else {
        return Err(Refusal::new(format!(
            "`{text}` doesn't say what is done, and how much of it"
        ))
        .hint(match ledger.units() {
            Units::Us => "--if-so \"bleach 12 sqft\"",
            Units::Metric => "--if-so \"bleach 1 m2\"",
        })
        .into());
    };
    let operation = ledger.operation(name)?;
    if !matches!(
        operation.driver,
        Driver::Area | Driver::Edge | Driver::Length | Driver::Count
    ) {
        refuse!(
            "`{}` is done once, so there can't be more of it",
            operation.name
        );
    }
    let (least, most) = read_range(
        &ledger.notation().plain(much),
        &operation.name,
        operation.driver,
        ledger.units(),
    )?;
    Ok((operation.id, least, most.unwrap_or(least)))
}

/// Reads how much there is: `12`, `8 to 16 sqft`; the end of a range, if it is one.
fn read_range(
    text: &str,
    kind: &str,
    driver: Driver,
    units: Units,
) -> Result<(Decimal, Option<Decimal>)> {
    let Some((least, most)) = text.split_once(" to ") else {
        return Ok((read_found(text, kind, driver, units)?, None));
    };
    let (least, most) = (least.trim(), most.trim());
    // `8 to 16 sqft`: the unit at the end is that of both.
    let least = match number(least) {
        Some(_) => {
            let figures =
                most.trim_start_matches(|sign: char| sign.is_ascii_digit() || sign == '.');
            format!("{least}{figures}")
        }
        None => least.to_owned(),
    };
    let least = read_found(&least, kind, driver, units)?;
    Ok((least, Some(read_found(most, kind, driver, units)?)))
}

/// Looks up a kind of finding, and what measures the operation that answers it: exact beats beginning. Among `all` may be
/// one that is out of use.
fn kind_of_finding(
    operations: &[Operation],
    all: &[Operation],
    wanted: &str,
) -> Result<(String, Driver)> {
    let kinds: Vec<(&str, Driver)> = operations
        .iter()
        .filter_map(|operation| Some((operation.answers.as_deref()?, operation.driver)))
        .collect();
    let lower = wanted.trim().to_lowercase().replace(' ', "-");
    let wanted_key = name_key(&lower);
    let mut fitting: Vec<_> = kinds
        .iter()
        .filter(|(kind, _)| name_key(kind) == wanted_key)
        .collect();
    if fitting.is_empty() && !wanted_key.is_empty() {
        fitting = kinds
            .iter()
            .filter(|(kind, _)| name_key(kind).starts_with(&wanted_key))
            .collect();
    }
    match fitting[..] {
        [(kind, driver)] => Ok(((*kind).to_owned(), *driver)),
        [] => {
            let near = near_names(&wanted_key, kinds.iter().map(|(kind, _)| *kind));
            let refusal = Refusal::new(format!("no operation puts `{}` right", wanted.trim()));
            let refusal = match near[..] {
                [] => refusal.hint(format!(
                    "kinds: {}",
                    kinds
                        .iter()
                        .map(|(kind, _)| *kind)
                        .collect::<Vec<_>>()
                        .join(", ")
                )),
                _ => refusal.hint(format!("near kinds: {}", near.join(", "))),
            };
            let known = |operation: &&Operation| operation.answers.as_deref() == Some(&*lower);
            let remedy = match all.iter().find(known) {
                Some(unused) => {
                    format!("gritledger operation edit {} --active", typed(&unused.name))
                }
                None => format!(
                    "gritledger operation add NAME --task repair --driver count --for-finding {}",
                    typed(if lower.is_empty() { "KIND" } else { &lower })
                ),
            };
            Err(refusal.hint(remedy).into())
        }
        _ => {
            let names: Vec<String> = fitting
                .iter()
                .map(|(kind, _)| format!("`{kind}`"))
                .collect();
            refuse!(
                "`{}` could be any kind of {}",
                wanted.trim(),
                names.join(", ")
            )
        }
    }
}

/// Reads how much was found, by what measures the operation that answers it.
fn read_found(text: &str, kind: &str, driver: Driver, units: Units) -> Result<Decimal> {
    match driver {
        Driver::Length | Driver::Edge => {
            let pieces = text.split('+').map(|piece| Length::parse(piece, units));
            let sum: Length = pieces.sum::<Result<_, _>>()?;
            Ok(quantity(sum.feet()))
        }
        Driver::Area => Ok(quantity(Area::parse(text, units)?.square_feet())),
        Driver::Count | Driver::Room | Driver::Job => match number(text) {
            Some(things) if things.is_integer() && things > Decimal::ZERO => Ok(things),
            _ => Err(
                Refusal::new(format!("`{text}` is not a whole number above zero"))
                    .hint(format!("{kind} are counted: 12"))
                    .into(),
            ),
        },
    }
}

/// Reads the pieces that a length was measured in, `14' + 8'6"`; none: it is one length, or none.
fn read_pieces(text: &str, driver: Driver, units: Units) -> Result<Vec<Length>> {
    if !matches!(driver, Driver::Length | Driver::Edge) || !text.contains('+') {
        return Ok(Vec::new());
    }
    let pieces = text.split('+').map(|piece| Length::parse(piece, units));
    Ok(pieces.collect::<Result<_, _>>()?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_found_is_read_by_its_driver() {
        let read = |text, driver| read_found(text, "gaps", driver, Units::Us).ok();
        assert_eq!(read("12", Driver::Count), Some(Decimal::from(12)));
        assert_eq!(read("22 ft", Driver::Length), Some(Decimal::from(22)));
        assert_eq!(read("3 x 4", Driver::Area), Some(Decimal::from(12)));
        for (text, driver) in [
            ("-3", Driver::Count),
            ("0", Driver::Count),
            ("1.5", Driver::Count),
            ("22 ft", Driver::Count),
            ("-3", Driver::Length),
            ("22 sqft", Driver::Length),
            ("0 sqft", Driver::Area),
            ("NaN", Driver::Area),
        ] {
            assert_eq!(read(text, driver), None, "{text} as {driver}");
        }
    }

    #[test]
    fn a_range_has_one_unit() {
        let read = |text, driver| read_range(text, "gaps", driver, Units::Us).ok();
        let some = |low: i64, high: i64| Some((Decimal::from(low), Some(Decimal::from(high))));
        assert_eq!(read("10 to 30", Driver::Count), some(10, 30));
        assert_eq!(read("8 to 16 sqft", Driver::Area), some(8, 16));
        assert_eq!(read("8 sqft to 16 sqft", Driver::Area), some(8, 16));
        assert_eq!(read("2 to 3 ft", Driver::Length), some(2, 3));
        assert_eq!(read("12", Driver::Count), Some((Decimal::from(12), None)));
        for text in ["10 to", "to 30", "10 to x", "10 to 30 to 40"] {
            assert_eq!(read(text, Driver::Count), None, "{text}");
        }
    }
}
