//! `rate`: how far one disc, gallon or hour goes, by the book and by your own rooms.

use std::collections::BTreeMap;
use std::path::PathBuf;

use anyhow::Result;
use clap::{Args, Subcommand};

use super::file::{read_file, read_units};
use super::read::{read_date, read_length, read_number};
use super::ui::{Context, somebody_is_there};
use crate::document::inert;
use crate::document::rate::prediction::{CasesAnswer, PredictionAnswer};
use crate::document::rate::proof::ProofAnswer;
use crate::document::rate::story::{RateStory, StoriesAnswer};
use crate::document::rate::{ChangedAnswer, ConfirmedAnswer, RateAnswer, RateList};
use crate::ledger::{Ledger, OWN_FIGURE, RateHistory, Refusal, refuse, typed};
use crate::measure::Area;
use crate::money::{Decimal, number};
use crate::trade::operation::{Driver, Operation};
use crate::trade::rates::{Asked, BookRate, Cell, Change, FloorClass, RateKind, Rates};
use crate::trade::{FloorCondition, Species, Unit};

/// Rates that are listed unless all are asked for: those furthest from the book.
pub(super) const FURTHEST: usize = 10;

/// Manage rates: what one unit of an operation takes
#[derive(Debug, Subcommand)]
pub(super) enum RateCommand {
    List(ListArgs),
    Show(ShowArgs),
    Set(SetArgs),
    Predict(PredictArgs),
    /// Prove the bands on your own finished jobs, and list the entries that look like slips
    ///
    /// Each finished job is foretold from the earlier ones only. 80 % of what it took should be inside the 80 % band,
    /// and at or below the 80 % line. Counts come in whole sets, so that a count on the border is inside in part.
    /// At a terminal, it asks job by job whether what looks like a slip is right.
    #[command(after_long_help = "Example:\n  gritledger rate check")]
    Check,
    Confirm(ConfirmArgs),
    Change(ChangeArgs),
}

/// List the rates that your work has moved furthest from the book, and how sure they are
///
/// Yours is what quotes use. Rooms like this one count most, then your other rooms with the same operation, then all
/// your work, then the book: `rate show` says how much each.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger rate list --operation rotary-36")]
pub(super) struct ListArgs {
    /// Only those of this operation
    #[arg(long)]
    operation: Option<String>,
    /// Only those that finished rooms have taught
    #[arg(long)]
    learned: bool,
    /// All of them, not only those furthest from the book
    #[arg(long)]
    all: bool,
}

/// Show a rate, the rooms behind it, and how it came to be what it is
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger rate show rotary-36 --condition worn-film")]
pub(super) struct ShowArgs {
    /// The operation
    operation: String,
    #[command(flatten)]
    floor: FloorArgs,
    /// Only what it counts: item or hours (default: both)
    #[arg(long)]
    kind: Option<String>,
}

/// A floor, as far as rates differ by it.
#[derive(Debug, Args)]
struct FloorArgs {
    /// The floor condition: bare, sound-film, worn-film, oil-wax, paint or glue
    #[arg(long)]
    condition: Option<String>,
    /// The wood: red-oak, white-oak, hard-maple, birch, beech, ash, hickory, walnut, cherry, heart-pine, pine, douglas-fir or other
    #[arg(long)]
    species: Option<String>,
}

/// Foretell what rooms will take: expected, and how much is enough 1, 5, 8 and 9 times in 10
///
/// Several rooms are summed as rooms of one job. A file of cases does many at once: its columns are case_id, job,
/// operation, condition, species, area, edge and kind, and quantity for what is counted; rows with one case_id are
/// summed, and CSV comes out.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  gritledger rate predict rotary-36 --condition worn-film --species red-oak --area 300 --area 120
  gritledger rate predict --cases cases.csv")]
pub(super) struct PredictArgs {
    /// The operation
    #[arg(required_unless_present = "cases", conflicts_with = "cases")]
    operation: Option<String>,
    #[command(flatten)]
    floor: FloorArgs,
    /// What is counted: item or hours (default: item, or hours if it takes none)
    #[arg(long)]
    kind: Option<String>,
    /// The area of a room (can be repeated)
    #[arg(long, value_name = "AREA", allow_hyphen_values = true)]
    area: Vec<String>,
    /// The edge of a room (can be repeated)
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    edge: Vec<String>,
    /// The count or length of a room, for operations measured so (can be repeated)
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    quantity: Vec<String>,
    /// A CSV file of cases
    #[arg(long, value_name = "FILE")]
    cases: Option<PathBuf>,
    /// Units of areas and lengths that don't say theirs: us or metric (default: the ledger's)
    #[arg(long, requires = "cases")]
    units: Option<String>,
}

/// Say that entries that looked like slips are right
///
/// A job stands for everything that is doubted of it: a hard house is confirmed in one word.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger rate confirm E12\n  gritledger rate confirm E5 E7 N3\n  gritledger rate confirm J9"
)]
pub(super) struct ConfirmArgs {
    /// An entry, such as E12, a row of a notebook, such as N3, or a job, such as J9 (can be repeated)
    #[arg(required = true, value_name = "ENTRY")]
    numbers: Vec<String>,
}

/// Date a change of supplier or technique: from then on the rate is learned anew
///
/// Finished rooms from before it still count, as your other work does.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger rate change rotary-36 --since 2026-03-02 --note \"new discs\""
)]
pub(super) struct ChangeArgs {
    /// The operation
    operation: String,
    /// The first day of the new way
    #[arg(long, value_name = "DATE")]
    since: String,
    /// What was changed
    #[arg(long)]
    note: String,
    /// What changed: item or hours; hours change for the whole task (default: item, or hours if it takes none)
    #[arg(long)]
    kind: Option<String>,
}

/// Set a book rate; the one before stays in the record
///
/// The rate is how much of what measures the operation one item or one hour does: square feet, feet or a count.
/// What your finished rooms taught stays, and is weighed against the new figure.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  gritledger rate set rotary-36 --kind item --per 45 --condition worn-film
  gritledger rate set set-nails --kind hours --per 90 --fixed 0.1")]
pub(super) struct SetArgs {
    /// The operation
    operation: String,
    /// What it counts: item or hours
    #[arg(long)]
    kind: String,
    /// How much one item or one hour does, such as "45 sqft", "120 ft" or 90
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    per: String,
    /// Items or hours that each room and pass adds, whatever its size (default: as before, else what its group takes)
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    fixed: Option<String>,
    /// Only on this floor condition: bare, sound-film, worn-film, oil-wax, paint or glue
    #[arg(long)]
    condition: Option<String>,
    /// Only on this wood: red-oak, white-oak, hard-maple, birch, beech, ash, hickory, walnut, cherry, heart-pine, pine, douglas-fir or other
    #[arg(long)]
    species: Option<String>,
}

pub(super) fn cmd_rate(context: &Context, command: RateCommand) -> Result<()> {
    match command {
        RateCommand::List(args) => context.read(|ledger| list(context, ledger, &args)),
        RateCommand::Show(args) => context.read(|ledger| show(context, ledger, &args)),
        RateCommand::Set(args) => set(context, &args),
        RateCommand::Predict(args) => context.read(|ledger| predict(context, ledger, &args)),
        RateCommand::Check => check(context),
        RateCommand::Confirm(args) => confirm(context, &args),
        RateCommand::Change(args) => change(context, &args),
    }
}

fn check(context: &Context) -> Result<()> {
    let slips = context.read(|ledger| {
        let backtest = ledger.backtest()?;
        let (operations, page) = (ledger.operations_by_id()?, context.page(ledger));
        let proof = ProofAnswer::new(&backtest, &operations, &page);
        let slips = proof.slips_by_job();
        context.give(ledger, proof)?;
        Ok(slips)
    })?;
    match context.is_for_programs() || !somebody_is_there() {
        true => Ok(()),
        false => ask_about(context, slips),
    }
}

/// Asks job by job whether what looks like a slip is right.
fn ask_about(context: &Context, slips: BTreeMap<String, Vec<String>>) -> Result<()> {
    context.deliver()?;
    for (job, numbers) in slips {
        let (job, named) = (inert(&job), numbers.join(", "));
        let said = context.line(&format!("{job}: is it right ({named})? [yes, no, later] "))?;
        match said.as_deref() {
            None => break,
            Some("y" | "yes") => confirm(context, &ConfirmArgs { numbers })?,
            Some("n" | "no") => {
                for number in numbers {
                    context.hint(&format!("gritledger void {number} --reason \"...\""));
                }
            }
            Some(_) => {}
        }
        context.deliver()?;
    }
    Ok(())
}

fn confirm(context: &Context, args: &ConfirmArgs) -> Result<()> {
    let confirmed = context.write(|writing| {
        let mut confirmed: Vec<String> = Vec::new();
        for number in &args.numbers {
            if is_record(number) {
                let number = number.to_uppercase();
                writing.confirm(&number)?;
                confirmed.push(number);
            } else {
                confirmed.extend(writing.confirm_job(&writing.job(number)?)?);
            }
        }
        Ok(confirmed)
    })?;
    let counts = match confirmed[..] {
        [_] => "it counts",
        _ => "they count",
    };
    let numbers = confirmed.join(", ");
    context.status(&format!("Confirmed {numbers}: {counts} in full."));
    context.give_json(|| Ok(ConfirmedAnswer { confirmed }))
}

/// Tells whether a number is that of an entry or of a row of a notebook, `E5`, `2-N3`; anything else is a job.
fn is_record(number: &str) -> bool {
    let own = number.trim().rsplit('-').next().unwrap_or_default();
    let digits = own.strip_prefix(['E', 'e', 'N', 'n']);
    digits.is_some_and(|digits| {
        !digits.is_empty() && digits.bytes().all(|digit| digit.is_ascii_digit())
    })
}

fn list(context: &Context, ledger: &Ledger, args: &ListArgs) -> Result<()> {
    let operation = args
        .operation
        .as_deref()
        .map(|name| ledger.operation(name))
        .transpose()?;
    let mut rows = ledger.rates()?.rows();
    rows.retain(|row| {
        operation
            .as_ref()
            .is_none_or(|operation| operation.id == row.cell.operation)
    });
    let (operations, page) = (ledger.operations_by_id()?, context.page(ledger));
    let most = (!args.all && operation.is_none()).then_some(FURTHEST);
    let list = RateList::new(&rows, most, &operations, &page);
    context.give(ledger, if args.learned { list.learned() } else { list })
}

/// Reads what is counted; by default the item, or hours if the operation takes none.
fn read_kind(operation: &Operation, text: Option<&str>) -> Result<RateKind> {
    let kind = match text {
        Some(text) => text.parse()?,
        None if operation.item.is_some() => RateKind::Item,
        None => RateKind::Hours,
    };
    if kind == RateKind::Item && operation.item.is_none() {
        return Err(takes_no_item(operation).into());
    }
    Ok(kind)
}

fn takes_no_item(operation: &Operation) -> Refusal {
    Refusal::new(format!("`{}` takes no item, only hours", operation.name)).hint(format!(
        "gritledger operation edit {} --item ITEM",
        typed(&operation.name)
    ))
}

impl FloorArgs {
    /// Returns the floor; what isn't said may be any, where rates don't differ by it.
    fn class(&self, rates: &Rates, operation: &Operation, kind: RateKind) -> Result<FloorClass> {
        let splits = rates.differ_by(operation, kind);
        let missing = |what: &str, members: String| {
            Refusal::new(format!(
                "the rates of `{}` differ by {what}: say which",
                operation.name
            ))
            .hint(format!("--{what}: {members}"))
        };
        let condition = match &self.condition {
            Some(text) => text.parse()?,
            None if splits.by_condition() => {
                return Err(missing("condition", words(FloorCondition::ALL)).into());
            }
            None => FloorCondition::Bare,
        };
        let species = match &self.species {
            Some(text) => text.parse()?,
            None if splits.by_species() => {
                return Err(missing("species", words(Species::ALL)).into());
            }
            None => Species::Other,
        };
        Ok(FloorClass { condition, species })
    }
}

fn words(members: &[impl ToString]) -> String {
    let words: Vec<String> = members.iter().map(ToString::to_string).collect();
    words.join(", ")
}

fn show(context: &Context, ledger: &Ledger, args: &ShowArgs) -> Result<()> {
    let operation = ledger.operation(&args.operation)?;
    let kinds = match &args.kind {
        Some(text) => vec![read_kind(&operation, Some(text))?],
        None if operation.item.is_some() => vec![RateKind::Item, RateKind::Hours],
        None => vec![RateKind::Hours],
    };
    let rates = ledger.rates()?;
    let mut stories = Vec::new();
    for kind in kinds {
        let class = args.floor.class(&rates, &operation, kind)?;
        let Some(row) = rates.row_for(&operation, kind, class) else {
            continue;
        };
        let RateHistory {
            taught_by,
            earlier,
            course,
        } = ledger.rate_history(&rates, &operation, kind, class)?;
        stories.push(RateStory {
            operation: &operation,
            row,
            taught_by,
            earlier,
            course,
            changes: ledger
                .rate_changes()?
                .into_iter()
                .filter(|change| change.operation == operation.id && change.kind == kind)
                .collect(),
        });
    }
    if stories.is_empty() {
        let kind = read_kind(&operation, args.kind.as_deref())?;
        return Err(no_rate(&operation, kind).into());
    }
    let page = context.page(ledger);
    context.give(
        ledger,
        StoriesAnswer::new(stories, rates.operations(), &page),
    )
}

fn no_rate(operation: &Operation, kind: RateKind) -> Refusal {
    Refusal::new(format!(
        "the book has no rate for `{}` on that floor",
        operation.name
    ))
    .hint(format!(
        "gritledger rate set {} --kind {kind} --per AMOUNT",
        typed(&operation.name)
    ))
}

fn predict(context: &Context, ledger: &Ledger, args: &PredictArgs) -> Result<()> {
    if let Some(path) = &args.cases {
        let (name, text) = read_file(path)?;
        let units = args.units.as_deref().map(read_units).transpose()?;
        let cases = ledger.read_cases(&name, &text, units.unwrap_or(ledger.units()))?;
        let rates = ledger.rates()?;
        let mut predictions = Vec::with_capacity(cases.len());
        for case in cases {
            match rates.predict(&case.asked) {
                Ok(prediction) => predictions.push((case.id, prediction)),
                Err(error) => refuse!("{}: case_id `{}`: {error}", case.place, case.id),
            }
        }
        let answer = CasesAnswer::new(predictions, &context.page(ledger));
        return match context.json() {
            true => context.give_as(answer, |_| String::new()),
            false => context.give_list(ledger, answer, CasesAnswer::list),
        };
    }
    let operation = ledger.operation(args.operation.as_deref().unwrap_or_default())?;
    let kind = read_kind(&operation, args.kind.as_deref())?;
    let rates = ledger.rates()?;
    let class = args.floor.class(&rates, &operation, kind)?;
    let drivers = args.drivers(ledger, &operation)?;
    let asked: Vec<Asked> = drivers
        .iter()
        .map(|driver| Asked {
            job: 0,
            operation: operation.id,
            kind,
            class,
            driver: *driver,
            passes: 1,
        })
        .collect();
    let Ok(prediction) = rates.predict(&asked) else {
        return Err(no_rate(&operation, kind).into());
    };
    let answer = PredictionAnswer::new(
        prediction,
        &operation,
        kind,
        asked.len(),
        &context.page(ledger),
    );
    context.give(ledger, answer)
}

impl PredictArgs {
    /// Returns what measures the operation in each room, in canonical units.
    fn drivers(&self, ledger: &Ledger, operation: &Operation) -> Result<Vec<Decimal>> {
        let counted = matches!(operation.driver, Driver::Count | Driver::Length);
        if !self.quantity.is_empty() && !counted {
            refuse!(
                "`{}` is measured by {}, not by --quantity",
                operation.name,
                operation.driver
            );
        }
        let (given, option) = match operation.driver {
            Driver::Area => (&self.area, "--area 300"),
            Driver::Edge => (&self.edge, "--edge 70"),
            Driver::Count | Driver::Length => (&self.quantity, "--quantity 12"),
            Driver::Room => {
                let rooms = self.area.len().max(self.edge.len()).max(1);
                return Ok(vec![Decimal::ONE; rooms]);
            }
            Driver::Job => return Ok(vec![Decimal::ONE]),
        };
        if given.is_empty() {
            return Err(Refusal::new(format!(
                "`{}` is measured by {}: say how much",
                operation.name, operation.driver
            ))
            .hint(option)
            .into());
        }
        given
            .iter()
            .map(|text| read_driver(ledger, text, operation.driver))
            .collect()
    }
}

fn change(context: &Context, args: &ChangeArgs) -> Result<()> {
    context.write(|writing| {
        let since = read_date(context, writing, Some(&args.since))?;
        let operation = writing.operation(&args.operation)?;
        let change = Change {
            operation: operation.id,
            kind: read_kind(&operation, args.kind.as_deref())?,
            since,
            note: args.note.clone(),
        };
        writing.change_rate(&change)?;
        context.status(&format!(
            "{} is learned anew since {}.",
            operation.name, change.since
        ));
        context.give_json(|| {
            Ok(ChangedAnswer::new(
                change,
                operation.name,
                &context.page(writing),
            ))
        })
    })
}

fn set(context: &Context, args: &SetArgs) -> Result<()> {
    context.write(|writing| {
        let operation = writing.operation(&args.operation)?;
        let cell = read_cell(&operation, args)?;
        let page = context.page(writing);
        let driver_per_item = read_driver(writing, &args.per, operation.driver)?;
        let fixed = match &args.fixed {
            Some(text) => Some(read_number(writing, text, "a fixed amount")?),
            None => fixed_before(writing, cell)?,
        };
        let Cell {
            operation: id,
            kind,
            condition,
            species,
        } = cell;
        writing.set_rate(&BookRate {
            operation: id,
            condition,
            species,
            kind,
            driver_per_item,
            fixed,
            source: OWN_FIGURE.to_owned(),
        })?;
        let mut rows = writing.rates()?.rows().into_iter();
        let row = rows.find(|row| row.cell == cell);
        let row = row.expect("a rate that was set is in the book");
        let per = page.measured(driver_per_item, operation.driver.unit());
        context.status(&format!(
            "Set the {kind} rate of {}: one does {}.",
            operation.name,
            amount(per.quantity.0, per.unit)
        ));
        context.give_json(|| Ok(RateAnswer::new(&row, (&operation).into(), &page)))
    })
}

fn amount(per: Decimal, unit: Unit) -> String {
    let per = crate::money::plain(per, 4);
    if unit == Unit::Each {
        per
    } else {
        format!("{per} {unit}")
    }
}

/// Reads which rate is meant; what the operation's rates don't differ by is refused.
fn read_cell(operation: &Operation, args: &SetArgs) -> Result<Cell> {
    let kind = read_kind(operation, Some(&args.kind))?;
    let condition = args
        .condition
        .as_deref()
        .map(str::parse::<FloorCondition>)
        .transpose()?;
    let species = args
        .species
        .as_deref()
        .map(str::parse::<Species>)
        .transpose()?;
    let differs = |what: &str, splits: &str| {
        Refusal::new(format!(
            "the rates of `{}` don't differ by {what}",
            operation.name
        ))
        .hint(format!(
            "gritledger operation edit {} --rates-by {splits}",
            typed(&operation.name)
        ))
    };
    let (by_condition, by_species) = (
        operation.splits.by_condition(),
        operation.splits.by_species(),
    );
    if condition.is_some() && !by_condition {
        return Err(differs(
            "floor condition",
            if by_species { "both" } else { "condition" },
        )
        .into());
    }
    if species.is_some() && !by_species {
        return Err(differs("species", if by_condition { "both" } else { "species" }).into());
    }
    Ok(Cell {
        operation: operation.id,
        kind,
        condition,
        species,
    })
}

/// Reads an amount of what measures an operation, in canonical units.
fn read_driver(ledger: &Ledger, text: &str, driver: Driver) -> Result<Decimal> {
    if number(text).is_some_and(|amount| amount <= Decimal::ZERO) {
        refuse!("`{text}` is not above zero");
    }
    match driver {
        Driver::Area => {
            let area = Area::parse(&ledger.notation().plain(text), ledger.units())?;
            Ok(area.square_feet())
        }
        Driver::Edge | Driver::Length => Ok(read_length(ledger, text)?.feet()),
        Driver::Count | Driver::Room | Driver::Job => read_number(ledger, text, "a number"),
    }
}

/// Returns the fixed amount that the book states for a cell; `None`: none.
fn fixed_before(ledger: &Ledger, cell: Cell) -> Result<Option<Decimal>> {
    let Cell {
        operation,
        kind,
        condition,
        species,
    } = cell;
    let same = |rate: &&BookRate| {
        (rate.operation, rate.kind, rate.condition, rate.species)
            == (operation, kind, condition, species)
    };
    Ok(ledger.book()?.rows().find(same).and_then(|rate| rate.fixed))
}
