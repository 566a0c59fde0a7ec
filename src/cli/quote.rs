//! `quote`: draft, look at, send, and what the client answers.

use std::fmt::Write as _;

use anyhow::Result;
use clap::{Args, Subcommand};

use super::job::{warn_of_barred, warn_of_outdated, warn_of_past_dates, warn_of_promises};
use super::list::{DaysArgs, OfClientArgs, RowsArgs, give_list};
use super::read::{
    MethodArgs, names_in, read_list, read_margin, read_method, read_money, read_percent,
    read_plan_date,
};
use super::ui::Context;
use crate::document::outlook::{CompareAnswer, ShoppingAnswer};
use crate::document::quote::list::QuoteList;
use crate::document::quote::{QuoteAnswer, VariationsAnswer};
use crate::document::{Answer as _, View};
use crate::ledger::{
    Asking, DraftRequest, DrivingLeftOut, Job, Ledger, OptionRequest, QuoteHeader, QuoteRecord,
    QuoteStatus, Refusal, Site, VaryRequest, Without, Writing, refuse, typed,
};
use crate::money::{Decimal, Money, number, plain};
use crate::trade::evidence::FinishedRoom;
use crate::trade::pricing::LumpSum;
use crate::trade::quote::{Discount, Line, Quote};
use crate::trade::sandable::{Question, Verdict};

/// Manage quotes: what a floor will cost and what it is offered for
#[derive(Debug, Subcommand)]
pub(super) enum QuoteCommand {
    Draft(Box<DraftArgs>),
    Vary(VaryArgs),
    List(QuoteListArgs),
    Show(ShowArgs),
    Compare(CompareArgs),
    Buy(BuyArgs),
    Send(SendArgs),
    Accept(AcceptArgs),
    /// Note that the client declined
    #[command(after_long_help = "Example:\n  gritledger quote decline Q1")]
    Decline(NumberArgs),
    Withdraw(WithdrawArgs),
}

/// Draft a quote for the rooms of a site
///
/// Takes off every operation in every room at the rates of your book and your finished rooms, draws the job many times
/// to see what it may cost, and names the price that keeps the margin with the confidence you ask for. You may name another
/// (--price); an option has its own, or what its cost asks for.
/// A quote is written once; another draft is another version (--revises Q1).
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  gritledger quote draft \"4 Tannery Row\" --sequence rotary-36-50-80 --schedule oil-2-coat --margin 35%
  gritledger quote draft \"4 Tannery Row\" --confidence 90% --start 2026-03-09
  gritledger quote draft \"4 Tannery Row\" --price 1400 --discount \"neighbours=50\"
  gritledger quote draft \"4 Tannery Row\" --part-sequence paint=rotary-24-36-50-80
  gritledger quote draft \"4 Tannery Row\" --option \"Three coats: schedule=oil-3-coat\" --option \"Landing only: without=Back bedroom\"")]
pub(super) struct DraftArgs {
    /// The site's address
    site: String,
    /// A room to be done (can be repeated; default: all that are refinished)
    #[arg(long = "room", value_name = "ROOM")]
    rooms: Vec<String>,
    #[command(flatten)]
    methods: MethodArgs,
    /// The share of the price to keep (default: the setting margin)
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    margin: Option<String>,
    #[command(flatten)]
    asked: PriceArgs,
    /// The share of progress and final invoices that is held until `invoice release` asks for it (default: nothing)
    #[arg(
        long,
        value_name = "PERCENT",
        allow_hyphen_values = true,
        conflicts_with = "variation_of"
    )]
    retention: Option<String>,
    /// How sure it is to be that the margin is kept (default: the setting confidence)
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    confidence: Option<String>,
    /// When the work is to begin: weekend rates count, and machines have a date to be back
    #[arg(long, value_name = "DATE")]
    start: Option<String>,
    /// Offer a choice, with what is different: sequence, schedule, with, without and price (can be repeated)
    #[arg(long = "option", value_name = "NAME: KEY=VALUE, ...")]
    options: Vec<String>,
    /// Price the hours at this worker's wage (default: the mean of the active ones)
    #[arg(long)]
    worker: Option<String>,
    /// A lump cost, such as "disposal=45": it is a cost, and the margin comes on top (can be repeated)
    #[arg(long = "other", value_name = "WHAT=AMOUNT")]
    others: Vec<String>,
    /// Make this another version of a quote
    #[arg(long, value_name = "QUOTE")]
    revises: Option<String>,
    /// Make this a variation of a job
    #[arg(long, value_name = "JOB", conflicts_with = "revises")]
    variation_of: Option<String>,
}

/// Draft a variation of a job: rooms measured again, rooms and operations taken away
///
/// It is worked out at the rates, prices and tariffs of the quote that was accepted: what a room or an operation takes
/// along, and what the difference in size comes to. Set-up of the job and lump sums stay, and rent falls or rises by the
/// rental days that the work takes less or more. What is new to the job is drafted with `quote draft --variation-of`.
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  gritledger quote vary J1 --room Landing
  gritledger quote vary J1 --without \"Back bedroom\"
  gritledger quote vary J1 --without \"Landing: edge-80, corner-80\"")]
pub(super) struct VaryArgs {
    /// The job (default: the only open one)
    job: Option<String>,
    /// Rooms to be done as they measure now (can be repeated)
    #[arg(long = "room", value_name = "ROOM, ...")]
    rooms: Vec<String>,
    /// Rooms that aren't done, or some operations of one (can be repeated)
    #[arg(long, value_name = "ROOM, ...|ROOM: OPERATION, ...")]
    without: Vec<String>,
}

/// Show a quote with its cost and margin
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger quote show Q1 --why")]
pub(super) struct ShowArgs {
    /// The quote, such as Q1 or Q1.2
    quote: String,
    /// Another of its options, by number or name (default: the accepted one, else the first)
    #[arg(long)]
    option: Option<String>,
    /// Show it as the client sees it, without costs
    #[arg(long)]
    for_client: bool,
    /// Explain every quantity: the rate it was priced with, and the rooms behind it
    #[arg(long, conflicts_with = "for_client")]
    why: bool,
    /// Show every operation, and what the quote is made of
    #[arg(long, conflicts_with_all = ["for_client", "why"])]
    lines: bool,
    /// Show the operations of one room
    #[arg(long, conflicts_with_all = ["for_client", "why"])]
    room: Option<String>,
    /// Show the cautions whole, with their sources
    #[arg(long, conflicts_with_all = ["for_client", "why", "lines", "room"])]
    cautions: bool,
}

/// Set the options of a quote side by side
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger quote compare Q1 --for-client")]
pub(super) struct CompareArgs {
    /// The quote
    quote: String,
    /// As the client sees them, without costs
    #[arg(long)]
    for_client: bool,
}

/// List what to buy for a quote, in the cheapest packs, less what is in stock
///
/// Enough with the confidence of the settings: buy-confidence-returnable for what can be handed back unopened,
/// buy-confidence for the rest. Trim that was noted piece by piece is bought as the sticks that its pieces are cut from.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger quote buy Q1")]
pub(super) struct BuyArgs {
    /// The quote
    quote: String,
    /// One of its options, by number or name (default: the accepted one, else the first)
    #[arg(long)]
    option: Option<String>,
}

/// Send a quote: from now on it never changes
///
/// Shows it as the client sees it; --dry-run does so without sending it.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger quote send Q1 --valid 30d")]
pub(super) struct SendArgs {
    /// The quote
    quote: String,
    /// How long it can be accepted (default: the setting quote-valid-days)
    #[arg(long, value_name = "DAYS", allow_hyphen_values = true)]
    valid: Option<String>,
}

/// Take back a sent quote that nobody answered, or throw a draft away
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger quote withdraw Q1")]
pub(super) struct WithdrawArgs {
    /// The quote
    quote: String,
}

/// Accept a sent quote: it becomes a job
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger quote accept Q1 --option 2")]
pub(super) struct AcceptArgs {
    /// The quote
    quote: String,
    /// Which of its options, by number or name; needed if there are several
    #[arg(long)]
    option: Option<String>,
    /// Honour it although it expired
    #[arg(long)]
    expired: bool,
}

#[derive(Debug, Args)]
pub(super) struct NumberArgs {
    /// The quote
    quote: String,
}

/// List the quotes
///
/// A quote counts on the day on which it was drafted.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger quote list --open\n  gritledger quote list --sort price --top 10"
)]
pub(super) struct QuoteListArgs {
    #[command(flatten)]
    days: DaysArgs,
    #[command(flatten)]
    client: OfClientArgs,
    /// Only drafts, and those that wait for an answer
    #[arg(long)]
    open: bool,
    #[command(flatten)]
    rows: RowsArgs,
}

pub(super) fn cmd_quote(context: &Context, command: QuoteCommand) -> Result<()> {
    match command {
        QuoteCommand::Draft(args) => draft(context, &args),
        QuoteCommand::Vary(args) => vary(context, &args),
        QuoteCommand::List(args) => context.read(|ledger| {
            let days = args.days.read(context, ledger)?;
            let sites = args.client.sites(ledger)?;
            let mut quotes = ledger.quotes()?;
            quotes.retain(|quote| {
                let waits = matches!(quote.status, QuoteStatus::Draft | QuoteStatus::Sent);
                let of_client = sites
                    .as_ref()
                    .is_none_or(|sites| sites.contains(&quote.site_id));
                of_client && days.hold(quote.drafted_on) && (waits || !args.open)
            });
            let quotes = QuoteList::new(quotes, &context.page(ledger));
            let narrowed = args.open || args.days.narrow() || args.client.narrows();
            give_list(context, ledger, quotes, &args.rows, narrowed)
        }),
        QuoteCommand::Show(args) => context.read(|ledger| show(context, ledger, &args)),
        QuoteCommand::Compare(args) => context.read(|ledger| {
            let header = ledger.quote(&args.quote)?.header;
            let (options, page) = (ledger.compared(&header)?, context.page(ledger));
            let view = view(args.for_client);
            context.give(ledger, CompareAnswer::new(options, view, &page))
        }),
        QuoteCommand::Buy(args) => context.read(|ledger| {
            let record = wanted(ledger, &args.quote, args.option.as_deref())?;
            let (list, page) = (ledger.shopping_for_quote(&record)?, context.page(ledger));
            let of = record.header.number;
            context.give(ledger, ShoppingAnswer::new(of, list, &page))
        }),
        QuoteCommand::Withdraw(args) => context.write(|writing| {
            let header = writing.quote(&args.quote)?.header;
            writing.withdraw_quote(&header)?;
            context.status(&match header.status {
                QuoteStatus::Draft => format!("{} is thrown away.", header.number),
                _ => format!("{} is withdrawn.", header.number),
            });
            tell(context, writing, &header.number)
        }),
        QuoteCommand::Send(args) => send(context, &args),
        QuoteCommand::Accept(args) => accept(context, &args),
        QuoteCommand::Decline(args) => context.write(|writing| {
            let header = writing.quote(&args.quote)?.header;
            writing.decline_quote(&header)?;
            context.status(&format!("{} was declined.", header.number));
            tell(context, writing, &header.number)
        }),
    }
}

fn show(context: &Context, ledger: &Ledger, args: &ShowArgs) -> Result<()> {
    let record = wanted(ledger, &args.quote, args.option.as_deref())?;
    if let Some(left_out) = ledger.driving_left_out(&record.header)? {
        warn_of_driving(context, &left_out);
    }
    let (sheet, page) = (ledger.sheet(record)?, context.page(ledger));
    if args.why {
        let rates = ledger.rates_of_quote(&sheet.record.header)?;
        let answer = QuoteAnswer::with_why(sheet, &rates, &page);
        return context.give_in_words(ledger, answer, |answer| answer.why_text(&page));
    }
    let room = match args.room.as_deref() {
        Some(room) => Some(quoted_room(ledger, &sheet.record, room)?),
        None => None,
    };
    let answer = QuoteAnswer::new(sheet, view(args.for_client), &page);
    context.give_in_words(ledger, answer, |answer| {
        if args.cautions {
            answer.cautions_text(&page)
        } else if args.lines || room.is_some() {
            answer.lines_text(room.as_deref(), &page)
        } else {
            answer.text(&page)
        }
    })
}

/// Returns the name of a room that a quote has work in.
fn quoted_room(ledger: &Ledger, record: &QuoteRecord, name: &str) -> Result<String> {
    let QuoteHeader {
        number, site_id, ..
    } = &record.header;
    let room = ledger.room(name, Some(*site_id))?.name;
    if record.quote.rooms.iter().all(|known| known.name != room) {
        let hint = format!("gritledger quote show {number} --lines");
        return Err(Refusal::new(format!("`{room}` is not in {number}"))
            .hint(hint)
            .into());
    }
    Ok(room)
}

/// Returns a quote, or one of its options.
fn wanted(ledger: &Ledger, number: &str, option: Option<&str>) -> Result<QuoteRecord> {
    let record = ledger.quote(number)?;
    match option {
        Some(option) => ledger.option_of(&record.header, option),
        None => Ok(record),
    }
}

fn warn_of_driving(context: &Context, left_out: &DrivingLeftOut) {
    if let Some(why) = &left_out.why {
        context.warn(why);
    }
    context.hint(&left_out.remedy);
}

/// Warns of driving that was left out because it has no rate.
pub(super) fn warn_of_no_rate(context: &Context, left_out: Option<DrivingLeftOut>) {
    if let Some(left_out) = left_out.filter(|left_out| left_out.why.is_some()) {
        warn_of_driving(context, &left_out);
    }
}

fn view(for_client: bool) -> View {
    if for_client {
        View::Client
    } else {
        View::Owner
    }
}

fn draft(context: &Context, args: &DraftArgs) -> Result<()> {
    context.write(|writing| {
        let site = writing.site(&args.site)?;
        let request = read_request(context, writing, args, &site)?;
        let drafted = writing.draft_quote(&site, &request)?;
        for warning in &drafted.warnings {
            context.warn(warning);
        }
        for room in &drafted.again {
            context.warn(&format!(
                "`{room}` is in the job already, and this variation prices some of its work again (--sequence none, --schedule none)"
            ));
        }
        for room in &drafted.again {
            let id = writing.room(room, Some(site.id))?.id;
            for job in writing.measured_otherwise(id, site.id)? {
                if Some(job.id) == request.variation_of {
                    let (job, room) = (job.number, typed(room));
                    context.hint(&format!("gritledger quote vary {job} --room {room}"));
                }
            }
        }
        let header = drafted.sheet.record.header.clone();
        let next = match writing.refuse_hazards(&drafted.sheet.record) {
            Ok(()) => vec![format!("gritledger quote send {}", header.number)],
            Err(error) => error.downcast::<Refusal>()?.hints,
        };
        let page = context.page(writing);
        context.give(
            writing,
            QuoteAnswer::new(drafted.sheet, View::Owner, &page),
        )?;
        if header.variation_of.is_none() {
            warn_of_open_quotes(context, writing, &header)?;
        }
        warn_of_no_rate(context, writing.driving_left_out(&header)?);
        next.iter().for_each(|line| context.hint(line));
        Ok(())
    })
}

fn vary(context: &Context, args: &VaryArgs) -> Result<()> {
    context.write(|writing| {
        let job = writing.job_or_only_open(args.job.as_deref())?;
        if args.rooms.is_empty() && args.without.is_empty() {
            let refusal = Refusal::new(format!("say what of {} changes", job.number));
            let hints = varied_rooms(writing, &job)?;
            return Err(hints.into_iter().fold(refusal, Refusal::hint).into());
        }
        let request = VaryRequest {
            again: names_in(&args.rooms)?,
            without: read_withouts(&args.without)?,
        };
        for (room, entries) in writing.logged_on(&job, &request)? {
            let entries = entries.join(", ");
            context.confirm(&format!(
                "work in `{room}` is logged already ({entries}): it stays as cost, and its price falls away"
            ))?;
        }
        let records = writing.vary_job(&job, &request)?;
        let page = context.page(writing);
        let numbers: Vec<String> = records.iter().map(|record| record.header.number.clone()).collect();
        let answers = records.into_iter().map(|record| {
            Ok(QuoteAnswer::new(writing.sheet(record)?, View::Owner, &page))
        });
        let answers: Vec<QuoteAnswer> = answers.collect::<Result<_>>()?;
        context.give(writing, VariationsAnswer::new(answers))?;
        for number in numbers {
            context.hint(&format!("gritledger quote send {number}"));
        }
        Ok(())
    })
}

/// Returns what can be typed for the rooms of a job.
fn varied_rooms(writing: &Writing<'_>, job: &Job) -> Result<Vec<String>> {
    let rooms = writing.agreed(job)?.rooms_to_do();
    let command = |how: &str, room: &FinishedRoom| {
        format!(
            "gritledger quote vary {} --{how} {}",
            job.number,
            typed(&room.name)
        )
    };
    for room in &rooms {
        let mut jobs = writing
            .measured_otherwise(room.id, job.site_id)?
            .into_iter();
        if jobs.any(|other| other.id == job.id) {
            return Ok(vec![command("room", room), command("without", room)]);
        }
    }
    Ok(match &rooms[..] {
        [room, _, ..] => vec![command("without", room)],
        _ => vec![format!("gritledger job show {}", job.number)],
    })
}

/// Reads what isn't done: `Landing`, `Landing, Hall`, or `Landing: edge-80, corner-80`.
fn read_withouts(texts: &[String]) -> Result<Vec<Without>> {
    let read = |text: &String| match text.rsplit_once(':') {
        Some((_, none)) if none.trim().is_empty() => {
            refuse!("`{text}` names no operation after its colon")
        }
        Some((room, operations)) => {
            let operations = operations.split(',').map(|name| name.trim().to_owned());
            Ok(vec![Without {
                room: room.trim().to_owned(),
                operations: operations.filter(|name| !name.is_empty()).collect(),
            }])
        }
        None => {
            let rooms = read_list(text)?.into_iter();
            let whole = rooms.map(|room| Without {
                room,
                operations: Vec::new(),
            });
            Ok(whole.collect())
        }
    };
    Ok(texts.iter().map(read).collect::<Result<Vec<_>>>()?.concat())
}

fn read_request(
    context: &Context,
    ledger: &Ledger,
    args: &DraftArgs,
    site: &Site,
) -> Result<DraftRequest> {
    let margin = args
        .margin
        .as_deref()
        .map(|text| read_margin(context, ledger, text))
        .transpose()?;
    let confidence = args
        .confidence
        .as_deref()
        .map(|text| read_percent(ledger, text, "a confidence"))
        .transpose()?;
    if confidence.is_some_and(|sure| sure <= Decimal::ZERO || sure >= Decimal::ONE) {
        refuse!("a confidence is between 0 and 100 %, and neither");
    }
    let start = args
        .start
        .as_deref()
        .map(|text| read_plan_date(context, ledger, text))
        .transpose()?;
    let options = args
        .options
        .iter()
        .map(|text| read_option(ledger, text))
        .collect::<Result<_>>()?;
    let revises = args
        .revises
        .as_deref()
        .map(|number| ledger.quote(number))
        .transpose()?;
    let variation_of = args
        .variation_of
        .as_deref()
        .map(|number| ledger.job(number))
        .transpose()?;
    if let Some(job) = variation_of.as_ref().filter(|job| job.site_id != site.id) {
        refuse!(
            "{} is at `{}`, not at `{}`",
            job.number,
            job.site,
            site.address
        );
    }
    let others = args
        .others
        .iter()
        .map(|text| lump(ledger, text))
        .collect::<Result<_>>()?;
    Ok(DraftRequest {
        own: false,
        rooms: args.rooms.clone(),
        methods: args.methods.read()?,
        margin,
        price: args.asked.price(ledger)?,
        confidence,
        start,
        options,
        worker: args.worker.clone(),
        others,
        discounts: read_discounts(ledger, &args.asked.discounts)?,
        retention: read_retention(ledger, args.retention.as_deref())?,
        revises: revises.as_ref().map(|record| record.header.id),
        variation_of: match (&revises, &variation_of) {
            (Some(earlier), _) => earlier.header.variation_of,
            (None, job) => job.as_ref().map(|job| job.id),
        },
    })
}

/// Reads an option: `Three coats: schedule=oil-3-coat, without=Bedroom 1`.
fn read_option(ledger: &Ledger, text: &str) -> Result<OptionRequest> {
    let wrong = |what: &str| {
        let refusal = Refusal::new(format!("`{text}` is not an option: {what}"))
            .hint("--option \"Three coats: schedule=oil-3-coat\"")
            .hint("keys: sequence, schedule, with, without, price");
        Err(refusal.into())
    };
    let named = text
        .split_once(':')
        .filter(|(name, _)| !name.trim().is_empty());
    let Some((name, changes)) = named else {
        return wrong("it has no name before a colon");
    };
    let mut option = OptionRequest {
        name: name.trim().to_owned(),
        ..OptionRequest::default()
    };
    let (mut sequence, mut schedule, mut price) = (None, None, None);
    if option.name.chars().all(|sign| sign.is_ascii_digit()) {
        return wrong("a number is no name, since options have numbers");
    }
    for change in changes.split(',') {
        let pair = change
            .split_once('=')
            .filter(|(_, value)| !value.trim().is_empty());
        let Some((key, value)) = pair else {
            return wrong(&format!("`{}` is no key=value", change.trim()));
        };
        let value = value.trim().to_owned();
        let before = match key.trim().to_lowercase().as_str() {
            "sequence" => sequence.replace(value),
            "schedule" => schedule.replace(value),
            "price" => price.replace(value),
            "with" => {
                option.with.push(value);
                None
            }
            "without" => {
                option.without.push(value);
                None
            }
            other => return wrong(&format!("`{other}` is not a key")),
        };
        if before.is_some() {
            return wrong(&format!("`{}` comes twice", key.trim()));
        }
    }
    option.sequence = read_method(sequence.as_deref());
    option.schedule = read_method(schedule.as_deref());
    option.price = price
        .as_deref()
        .map(|text| read_price(ledger, text))
        .transpose()?;
    Ok(option)
}

/// What is asked for, in the place of what a cost asks for.
#[derive(Debug, Args)]
pub(super) struct PriceArgs {
    /// The price of the whole quote, whatever its cost asks for: before tax, or with it where your prices are told so
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    price: Option<String>,
    /// What is taken off the price as it is told, such as "neighbours=50": the client reads the reason (can be repeated)
    #[arg(long = "discount", value_name = "REASON=AMOUNT")]
    discounts: Vec<String>,
}

impl PriceArgs {
    /// Returns the price that is named; `None`: the cost asks for one.
    fn price(&self, ledger: &Ledger) -> Result<Option<Money>> {
        let price = self.price.as_deref();
        price.map(|text| read_price(ledger, text)).transpose()
    }

    /// Returns what is asked for.
    pub(super) fn read(&self, ledger: &Ledger) -> Result<Asking> {
        Ok(Asking {
            price: self.price(ledger)?,
            discounts: read_discounts(ledger, &self.discounts)?,
        })
    }
}

/// Reads a price that is named: above zero.
fn read_price(ledger: &Ledger, text: &str) -> Result<Money> {
    let price = read_money(ledger, text)?;
    if price <= Money::ZERO {
        refuse!("a price is above zero: `{text}`");
    }
    Ok(price)
}

/// Reads a lump cost: `disposal=45.00`.
fn lump(ledger: &Ledger, text: &str) -> Result<LumpSum> {
    let Some((what, amount)) = text
        .rsplit_once('=')
        .filter(|(what, _)| !what.trim().is_empty())
    else {
        return Err(Refusal::new(format!("`{text}` is not a lump cost"))
            .hint("--other \"disposal=45\"")
            .into());
    };
    let cost = read_money(ledger, amount)?;
    if cost.is_negative() {
        refuse!("a lump cost is not below zero: `{text}`");
    }
    Ok(LumpSum {
        what: what.trim().to_owned(),
        cost,
    })
}

/// Reads which share of invoices is held; nothing, if it isn't said.
fn read_retention(ledger: &Ledger, text: Option<&str>) -> Result<Decimal> {
    let Some(text) = text else {
        return Ok(Decimal::ZERO);
    };
    let share = read_percent(ledger, text, "a retention")?;
    if share < Decimal::ZERO || share >= Decimal::ONE {
        refuse!("a retention is a share of 0 % or more, below 100 %");
    }
    Ok(share)
}

/// Reads what is taken off: `neighbours=50`.
pub(super) fn read_discounts(ledger: &Ledger, texts: &[String]) -> Result<Vec<Discount>> {
    let read = |text: &String| {
        let named = text.rsplit_once('=');
        let Some((reason, amount)) = named.filter(|(reason, _)| !reason.trim().is_empty()) else {
            return Err(Refusal::new(format!("`{text}` is not a discount"))
                .hint("--discount \"neighbours=50\"")
                .into());
        };
        let amount = read_money(ledger, amount)?;
        if amount <= Money::ZERO {
            refuse!("a discount is above zero: `{text}`");
        }
        Ok(Discount {
            reason: reason.trim().to_owned(),
            amount,
            told: amount,
        })
    };
    texts.iter().map(read).collect()
}

fn send(context: &Context, args: &SendArgs) -> Result<()> {
    context.write(|writing| {
        let record = writing.quote(&args.quote)?;
        confirm_stale(context, writing, &record)?;
        let header = &record.header;
        let days = match &args.valid {
            Some(text) => valid_days(text)?,
            None => writing.settings()?.quote_valid_days,
        };
        // What it refuses comes before what is asked about.
        let last = writing.send_quote(header, days)?;
        confirm_floors(context, writing, &record)?;
        context.status(&format!(
            "Sent {}; it can be accepted until {last}.",
            header.number
        ));
        let (sheet, page) = (
            writing.sheet(writing.quote(&header.number)?)?,
            context.page(writing),
        );
        // Programs are told what every event on a quote tells them; a person has what they hand on.
        let view = view(!context.json());
        context.give(writing, QuoteAnswer::new(sheet, view, &page))
    })
}

/// Has the owner confirm a draft whose tax isn't what is in force any more.
fn confirm_stale(context: &Context, ledger: &Ledger, record: &QuoteRecord) -> Result<()> {
    let (header, drafted) = (&record.header, record.quote.terms.tax);
    // What is taken off takes the tax along that it was agreed with.
    let is_draft = header.status == QuoteStatus::Draft && header.varies.is_none();
    match ledger
        .tax_changed(header.site_id, drafted)?
        .filter(|_| is_draft)
    {
        Some(change) => context.confirm_or(
            &format!("since {} was drafted, {change}", header.number),
            redraft(ledger, record)?,
        ),
        None => Ok(()),
    }
}

/// Has the owner confirm a draft that sands a floor which, by its readings, isn't to be sanded: thresholds are prompts, and
/// the owner may know better. What holds asbestos or lead is refused when it is sent.
fn confirm_floors(context: &Context, ledger: &Ledger, record: &QuoteRecord) -> Result<()> {
    if record.header.status != QuoteStatus::Draft {
        return Ok(());
    }
    for option in ledger.options_of(&record.header)? {
        for room in ledger.judged_for(&option)? {
            let mut rows = room.judgement.rows.iter();
            let against = rows.find(|row| {
                matches!(row.question, Question::Wood | Question::Cupping)
                    && row.verdict == Verdict::DontSand
            });
            if let Some(row) = against {
                let doubt = format!("`{}`: don't sand: {}", room.name, row.because);
                let place = format!("{}/{}", room.site, room.name);
                let check = format!("gritledger room check {}", typed(&place));
                context.confirm_or(&doubt, check)?;
            }
        }
    }
    Ok(())
}

/// Returns what to type for another version of a quote that differs only by what has changed since.
fn redraft(ledger: &Ledger, record: &QuoteRecord) -> Result<String> {
    let QuoteRecord { header, quote } = record;
    let method = |name: &Option<String>| name.clone().unwrap_or_else(|| "none".to_owned());
    let percent = |share: Decimal| plain(share * Decimal::ONE_HUNDRED, 4);
    let mut command = format!(
        "gritledger quote draft {} --revises {}",
        typed(&header.site),
        header.number
    );
    for room in &quote.rooms {
        let _ = write!(command, " --room {}", typed(&room.name));
    }
    let _ = write!(
        command,
        " --sequence {} --schedule {} --margin {}% --confidence {}%",
        typed(&method(&quote.sequence)),
        typed(&method(&quote.schedule)),
        percent(quote.terms.margin),
        percent(quote.terms.confidence)
    );
    if let Some(price) = quote.terms.named {
        let _ = write!(command, " --price {}", ledger.currency().text(price));
    }
    if let Some(start) = header.start_on {
        let _ = write!(command, " --start {start}");
    }
    for line in &quote.lines {
        if let Line::Other { what, cost } = line {
            let lump = format!("{what}={}", ledger.currency().text(*cost));
            let _ = write!(command, " --other {}", typed(&lump));
        }
    }
    if !quote.terms.retention.is_zero() {
        let _ = write!(command, " --retention {}%", percent(quote.terms.retention));
    }
    for Discount { reason, told, .. } in &quote.discounts {
        let off = format!("{reason}={}", ledger.currency().text(*told));
        let _ = write!(command, " --discount {}", typed(&off));
    }
    for option in ledger.options_of(header)?.iter().skip(1) {
        let other = &option.quote;
        let mut changes = vec![
            format!("sequence={}", method(&other.sequence)),
            format!("schedule={}", method(&other.schedule)),
        ];
        let missing = |from: &Quote, in_it: &Quote, key: &str| -> Vec<String> {
            let rooms = from.rooms.iter();
            let only = rooms.filter(|room| in_it.rooms.iter().all(|known| known.id != room.id));
            only.map(|room| format!("{key}={}", room.name)).collect()
        };
        changes.extend(missing(quote, other, "without"));
        changes.extend(missing(other, quote, "with"));
        if let Some(price) = other.terms.named {
            changes.push(format!("price={}", ledger.currency().text(price)));
        }
        let asked = format!("{}: {}", option.header.option_name, changes.join(", "));
        let _ = write!(command, " --option {}", typed(&asked));
    }
    Ok(command)
}

/// Reads a number of days: `30d` or `30`.
fn valid_days(text: &str) -> Result<u32> {
    use rust_decimal::prelude::ToPrimitive;
    let days = number(text.trim().trim_end_matches('d')).filter(Decimal::is_integer);
    match days.and_then(|days| days.to_u32()) {
        Some(days) if (1..=3650).contains(&days) => Ok(days),
        _ => refuse!("`{text}` is not a number of days, such as 30d"),
    }
}

fn accept(context: &Context, args: &AcceptArgs) -> Result<()> {
    context.write(|writing| {
        let header = wanted_for_good(writing, args)?;
        confirm_replaced(context, writing, &header)?;
        let again = writing.agreed_again(&header)?;
        // What it refuses comes before what is asked about.
        let job = writing.accept_quote(&header, args.expired)?;
        let job = writing.job_by_id(job)?;
        for room in again {
            context.confirm(&format!(
                "`{room}` is in {} already, and {} prices some of its work again",
                job.number, header.number
            ))?;
        }
        let variation = header.variation_of.is_some();
        context.status(&match variation {
            true => format!(
                "{} is accepted as a variation of {}.",
                header.number, job.number
            ),
            false => format!(
                "{} is accepted: it is job {} now.",
                header.number, job.number
            ),
        });
        warn_of_other_jobs(context, writing, &header, &job)?;
        if let Some(kept) = writing.plan_of_job(&job)?.filter(|_| !variation) {
            warn_of_past_dates(context, &job, &kept);
            warn_of_promises(context, writing, &job)?;
        }
        if variation {
            warn_of_planned(context, writing, &job, &header)?;
        }
        warn_of_barred(context, &writing.barred_of(&job)?);
        let right = writing.cancellation_of(&header)?;
        if let Some((right, last)) =
            right.and_then(|right| right.last_day(context.today()).map(|last| (right, last)))
        {
            context.warn(&format!(
                "the client may take it back until {last}, holidays not counted{}: it is for you to check",
                right.cited()
            ));
        }
        if !variation {
            context.hint(&format!("gritledger job buy {}", job.number));
        }
        tell(context, writing, &header.number)
    })
}

/// Warns of a plan that is of other work than what is agreed since a variation, and names what plans it again.
fn warn_of_planned(
    context: &Context,
    ledger: &Ledger,
    job: &Job,
    header: &QuoteHeader,
) -> Result<()> {
    let Some(kept) = ledger.plan_of_job(job)? else {
        return Ok(());
    };
    let is_outdated = warn_of_outdated(context, ledger, job, &kept)?;
    let to_do = ledger.agreed(job)?.rooms_to_do();
    let planned: Vec<_> = kept.plan.phases.iter().flat_map(|p| &p.rooms).collect();
    let varied = ledger.quote_by_id(header.id)?.quote.rooms.into_iter();
    let varied: Vec<_> = varied
        .filter(|room| planned.contains(&&room.id))
        .filter(|room| to_do.iter().any(|known| known.id == room.id))
        .collect();
    for room in &varied {
        context.warn(&format!(
            "the plan of {} has `{}` as it was before {}",
            job.number, room.name, header.number
        ));
    }
    if is_outdated || !varied.is_empty() {
        context.hint(&format!("gritledger job dates {} --varied", job.number));
    }
    Ok(())
}

/// Has confirmed that a quote is accepted although another was drafted in its place; one that was sent refuses by itself.
fn confirm_replaced(context: &Context, ledger: &Ledger, header: &QuoteHeader) -> Result<()> {
    let open = matches!(header.status, QuoteStatus::Sent | QuoteStatus::Expired);
    let Some(newer) = header.replaced_by.as_deref().filter(|_| open) else {
        return Ok(());
    };
    match ledger.quote(newer)?.header.status {
        QuoteStatus::Draft => context.confirm_or(
            &format!("{newer} was drafted in place of {}", header.number),
            format!("gritledger quote send {newer}"),
        ),
        _ => Ok(()),
    }
}

/// Returns the quote that the client takes: of several options, one must be named.
fn wanted_for_good(ledger: &Ledger, args: &AcceptArgs) -> Result<QuoteHeader> {
    let header = ledger.quote(&args.quote)?.header;
    match &args.option {
        Some(option) => Ok(ledger.option_of(&header, option)?.header),
        // What can't be accepted anyway is refused for that.
        None if header.options > 1
            && matches!(header.status, QuoteStatus::Sent | QuoteStatus::Expired) =>
        {
            let refusal = Refusal::new(format!(
                "{} has {} options: say which one the client takes",
                header.number, header.options
            ));
            let expired = if args.expired { " --expired" } else { "" };
            Err(refusal
                .hint(format!("gritledger quote compare {}", header.number))
                .hint(format!(
                    "gritledger quote accept {}{expired} --option 1",
                    header.number
                ))
                .into())
        }
        None => Ok(header),
    }
}

/// Warns of other quotes for the site that nobody has answered yet.
fn warn_of_open_quotes(
    context: &Context,
    ledger: &Writing<'_>,
    header: &QuoteHeader,
) -> Result<()> {
    for other in ledger.other_open_quotes(header)? {
        let (number, status) = (&other.number, other.status);
        context.warn(&format!("{number} for this site is open too ({status})"));
        context.hint(&format!("gritledger quote withdraw {number}"));
    }
    Ok(())
}

/// Warns of rooms that another job at the site, not closed yet, is doing already.
fn warn_of_other_jobs(
    context: &Context,
    ledger: &Ledger,
    header: &QuoteHeader,
    job: &Job,
) -> Result<()> {
    let rooms = ledger.quote_by_id(header.id)?.quote.rooms;
    for other in ledger.jobs_not_closed()? {
        if other.id == job.id || other.site_id != header.site_id {
            continue;
        }
        let theirs = ledger.agreed(&other)?.rooms_to_do();
        let is_theirs = |id| theirs.iter().any(|known| known.id == id);
        for room in rooms.iter().filter(|room| is_theirs(room.id)) {
            context.warn(&format!(
                "`{}` is in {} too, which isn't closed",
                room.name, other.number
            ));
        }
    }
    Ok(())
}

/// After an event, the JSON answer is the quote as it stands; people were told in a sentence.
fn tell(context: &Context, ledger: &Ledger, number: &str) -> Result<()> {
    context.give_json(|| {
        let sheet = ledger.sheet(ledger.quote(number)?)?;
        Ok(QuoteAnswer::new(sheet, View::Owner, &context.page(ledger)))
    })
}
