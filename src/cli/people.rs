//! `client`, `site` and `worker`: who pays, where, and who works.

use anyhow::Result;
use clap::{Args, Subcommand};

use super::book::{AllArgs, InUseArgs, change_use};
use super::list::{DaysArgs, OfClientArgs, RowsArgs, give_list};
use super::read::{read_distance, read_money};
use super::room::room_answers;
use super::ui::Context;
use crate::document::floor::SiteCheck;
use crate::document::people::{
    ClientAnswer, ClientList, SiteAnswer, SiteList, WorkerAnswer, WorkerList,
};
use crate::document::receivables::StatementAnswer;
use crate::ledger::{
    Client, Days, InBook, Ledger, NewClient, NewSite, Refusal, Site, Worker, adding_a_room, refuse,
    typed,
};
use crate::money::Decimal;

/// Manage clients: who pays
#[derive(Debug, Subcommand)]
pub(super) enum ClientCommand {
    Add(ClientAddArgs),
    List(ClientListArgs),
    Show(ClientArgs),
    Statement(StatementArgs),
    Edit(ClientEditArgs),
    Void(ClientVoidArgs),
}

/// Show what was invoiced, credited, paid and paid back, and what that leaves
///
/// Each line says what is owed after it, so they stand in the order of their days and in no other.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger client statement Ada --from 2026-01-01\n  gritledger client statement Ada --top 10"
)]
pub(super) struct StatementArgs {
    /// The client
    client: String,
    #[command(flatten)]
    days: DaysArgs,
    /// How many lines, the newest; what was owed before them is a line of its own
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(1..))]
    top: Option<u32>,
}

/// Add a client
#[derive(Clone, Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger client add \"Ada Quill\" --phone 555-0142")]
pub(super) struct ClientAddArgs {
    /// The name; no other client has it
    name: String,
    /// Telephone
    #[arg(long, default_value = "", hide_default_value = true)]
    phone: String,
    /// Mail address
    #[arg(long, default_value = "", hide_default_value = true)]
    email: String,
    /// Postal address
    #[arg(long, default_value = "", hide_default_value = true)]
    address: String,
    /// The number that they are taxed under
    #[arg(
        long,
        value_name = "NUMBER",
        default_value = "",
        hide_default_value = true
    )]
    tax_number: String,
    /// Why no tax is asked of them, such as a certificate's number
    #[arg(
        long,
        value_name = "REASON",
        default_value = "",
        hide_default_value = true
    )]
    exempt: String,
    /// A note
    #[arg(long, default_value = "", hide_default_value = true)]
    note: String,
}

/// Show a client: sites, jobs and what is owed
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger client show \"Ada Quill\"")]
pub(super) struct ClientArgs {
    /// The client
    #[arg(value_name = "CLIENT")]
    name: String,
}

/// Change what is known of a client
#[derive(Clone, Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger client edit \"Ada Quill\" --email ada@example.org"
)]
pub(super) struct ClientEditArgs {
    /// The client
    client: String,
    /// Another name
    #[arg(long)]
    name: Option<String>,
    /// Telephone
    #[arg(long)]
    phone: Option<String>,
    /// Mail address
    #[arg(long)]
    email: Option<String>,
    /// Postal address
    #[arg(long)]
    address: Option<String>,
    /// The number that they are taxed under
    #[arg(long, value_name = "NUMBER")]
    tax_number: Option<String>,
    /// Why no tax is asked of them, such as a certificate's number; or `none`: it is
    #[arg(long, value_name = "REASON")]
    exempt: Option<String>,
    /// A note
    #[arg(long)]
    note: Option<String>,
}

/// Take a client out of use
///
/// What was done for them stays in the record. Refused while they have a site in use.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger client void \"Ada Quill\"")]
pub(super) struct ClientVoidArgs {
    /// The client
    #[arg(value_name = "CLIENT")]
    name: String,
}

/// Manage sites: addresses with floors
#[derive(Debug, Subcommand)]
pub(super) enum SiteCommand {
    Add(SiteAddArgs),
    List(SiteListArgs),
    Show(SiteArgs),
    Check(SiteCheckArgs),
    Edit(SiteEditArgs),
    Void(SiteVoidArgs),
}

/// Add a site
///
/// The year that it was built decides which cautions about lead and asbestos are shown; a house of unknown age is
/// treated as an old one.
#[derive(Debug, Args)]
#[command(
    after_long_help = "Example:\n  gritledger site add \"Ada Quill\" \"4 Tannery Row\" --year-built 1931"
)]
pub(super) struct SiteAddArgs {
    /// Whose it is
    client: String,
    /// The address; no other site has it
    address: String,
    /// When it was built
    #[arg(long, value_name = "YEAR", allow_hyphen_values = true)]
    year_built: Option<String>,
    /// Its tax area (default: the setting tax-percent applies)
    #[arg(long, value_name = "AREA")]
    tax_area: Option<String>,
    /// How far it is, one way: miles, or kilometres in a metric ledger; quotes count the driving then
    #[arg(long, allow_hyphen_values = true)]
    distance: Option<String>,
    /// A note
    #[arg(long, default_value = "", hide_default_value = true)]
    note: String,
}

/// List the clients
#[derive(Debug, Args)]
#[command(
    after_long_help = "Examples:\n  gritledger client list --open\n  gritledger client list --sort balance --top 10"
)]
pub(super) struct ClientListArgs {
    /// Only those who owe something, or have a credit
    #[arg(long)]
    open: bool,
    #[command(flatten)]
    rows: RowsArgs,
}

/// List the sites
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger site list --client \"Ada Quill\"")]
pub(super) struct SiteListArgs {
    #[command(flatten)]
    client: OfClientArgs,
    #[command(flatten)]
    rows: RowsArgs,
}

/// Show a site: its rooms with area and edge, and what was found
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger site show \"4 Tannery Row\"")]
pub(super) struct SiteArgs {
    /// The address
    #[arg(value_name = "SITE")]
    address: String,
}

/// Say which rooms' floors can be sanded, room by room
///
/// Those that are to be refinished; room check says more of each.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger site check \"4 Tannery Row\"")]
pub(super) struct SiteCheckArgs {
    /// The address
    #[arg(value_name = "SITE")]
    address: String,
}

/// Change what is known of a site
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger site edit \"4 Tannery Row\" --year-built 1928")]
pub(super) struct SiteEditArgs {
    /// The address
    site: String,
    /// Another address
    #[arg(long)]
    address: Option<String>,
    /// Another client
    #[arg(long)]
    client: Option<String>,
    /// When it was built, or `none` if that is not known
    #[arg(long, value_name = "YEAR", allow_hyphen_values = true)]
    year_built: Option<String>,
    /// Its tax area, or `none`
    #[arg(long, value_name = "AREA")]
    tax_area: Option<String>,
    /// How far it is, one way: miles, or kilometres in a metric ledger; or `none`
    #[arg(long, allow_hyphen_values = true)]
    distance: Option<String>,
    /// A note
    #[arg(long)]
    note: Option<String>,
}

/// Take a site out of use
///
/// What was done there stays in the record. Refused while a job there is not closed.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger site void \"4 Tannery Row\"")]
pub(super) struct SiteVoidArgs {
    /// The address
    #[arg(value_name = "SITE")]
    address: String,
}

/// Manage workers: who does the work, and at what wage
#[derive(Debug, Subcommand)]
pub(super) enum WorkerCommand {
    Add(WorkerAddArgs),
    /// List the workers
    #[command(after_long_help = "Example:\n  gritledger worker list")]
    List(AllArgs),
    Edit(WorkerEditArgs),
}

/// Add a worker
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger worker add \"Ruben Vale\" --wage 28.00")]
pub(super) struct WorkerAddArgs {
    /// The name; no other worker has it
    name: String,
    /// Wage per hour, before burden
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    wage: String,
}

/// Change a worker's wage from now on, or their standing
///
/// Hours already logged keep the wage they were logged at.
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger worker edit \"Ruben Vale\" --wage 29.50")]
pub(super) struct WorkerEditArgs {
    /// The worker
    #[arg(value_name = "WORKER")]
    name: String,
    /// Wage per hour, before burden
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    wage: Option<String>,
    #[command(flatten)]
    in_use: InUseArgs,
}

pub(super) fn cmd_client(context: &Context, command: ClientCommand) -> Result<()> {
    match command {
        ClientCommand::Add(args) => add_client(context, &args),
        ClientCommand::List(args) => context.read(|ledger| {
            let (mut clients, balances) = (ledger.clients()?, ledger.balances()?);
            let is_even =
                |client: &Client| balances.get(&client.id).is_none_or(|due| due.is_zero());
            clients.retain(|client| !(args.open && is_even(client)));
            let clients = ClientList::new(clients, &balances, &context.page(ledger));
            give_list(context, ledger, clients, &args.rows, args.open)
        }),
        ClientCommand::Show(args) => context.read(|ledger| {
            let client = ledger.client(&args.name)?;
            context.give(ledger, client_answer(context, ledger, client)?)
        }),
        ClientCommand::Statement(args) => context.read(|ledger| {
            let client = ledger.client(&args.client)?;
            let Days { from, to } = args.days.read(context, ledger)?;
            let to = to.unwrap_or(ledger.today());
            if let Some(from) = from.filter(|from| *from > to) {
                refuse!("{from} is after {to}: no day is in that time");
            }
            let (name, address) = (client.details.name, client.details.address);
            let mut statement = ledger.statement(client.id, name, from, to)?;
            if let Some(top) = args.top {
                statement.keep_newest(top as usize);
            }
            let (firm, page) = (ledger.letterhead()?, context.page(ledger));
            context.give(
                ledger,
                StatementAnswer::new(statement, firm, address, &page),
            )
        }),
        ClientCommand::Edit(args) => edit_client(context, &args),
        ClientCommand::Void(args) => context.write(|writing| {
            let client = writing.client(&args.name)?;
            writing.void_client(&client)?;
            context.status(&format!("Took client {} out of use.", client.details.name));
            Ok(())
        }),
    }
}

fn add_client(context: &Context, args: &ClientAddArgs) -> Result<()> {
    let ClientAddArgs {
        name,
        phone,
        email,
        address,
        tax_number,
        exempt,
        note,
    } = args.clone();
    let details = NewClient {
        name,
        phone,
        email,
        address,
        tax_number,
        exempt,
        note,
    };
    context.write(|writing| {
        writing.add_client(&details)?;
        let client = writing.client(&details.name)?;
        let name = &client.details.name;
        context.status(&format!("Added client {name}."));
        context.hint(&format!("gritledger site add {} \"ADDRESS\"", typed(name)));
        context.give_json(|| client_answer(context, writing, client))
    })
}

fn edit_client(context: &Context, args: &ClientEditArgs) -> Result<()> {
    context.write(|writing| {
        let client = writing.client(&args.client)?;
        let (old, new) = (client.details, args.clone());
        let details = NewClient {
            name: new.name.unwrap_or(old.name),
            phone: new.phone.unwrap_or(old.phone),
            email: new.email.unwrap_or(old.email),
            address: new.address.unwrap_or(old.address),
            tax_number: new.tax_number.unwrap_or(old.tax_number),
            exempt: match new.exempt {
                Some(none) if none.eq_ignore_ascii_case("none") => String::new(),
                new => new.unwrap_or(old.exempt),
            },
            note: new.note.unwrap_or(old.note),
        };
        writing.edit_client(client.id, &details)?;
        let client = writing.client(&details.name)?;
        context.status(&format!("Changed client {}.", client.details.name));
        context.give_json(|| client_answer(context, writing, client))
    })
}

/// Returns a client as they stand.
fn client_answer(context: &Context, ledger: &Ledger, client: Client) -> Result<ClientAnswer> {
    let (sites, jobs) = (ledger.sites_of(client.id)?, ledger.jobs_for(client.id)?);
    let invoices = ledger.invoices_to(client.id)?;
    let page = context.page(ledger);
    Ok(ClientAnswer::new(client, sites, jobs, &invoices, &page))
}

pub(super) fn cmd_site(context: &Context, command: SiteCommand) -> Result<()> {
    match command {
        SiteCommand::Add(args) => add_site(context, &args),
        SiteCommand::List(args) => context.read(|ledger| {
            let sites = match args.client.read(ledger)? {
                Some(client) => ledger.sites_of(client)?,
                None => ledger.sites()?,
            };
            let sites = SiteList::new(sites, &context.page(ledger));
            give_list(context, ledger, sites, &args.rows, args.client.narrows())
        }),
        SiteCommand::Show(args) => context.read(|ledger| {
            let site = ledger.site(&args.address)?;
            context.give(ledger, site_answer(context, ledger, site)?)
        }),
        SiteCommand::Check(args) => context.read(|ledger| {
            let site = ledger.site(&args.address)?;
            let mut rooms = ledger.rooms_of(site.id)?;
            rooms.retain(|room| room.refinished);
            let (judged, page) = (ledger.judged(&site, &rooms)?, context.page(ledger));
            context.give(ledger, SiteCheck::new(site.address, judged, &page))
        }),
        SiteCommand::Edit(args) => edit_site(context, &args),
        SiteCommand::Void(args) => context.write(|writing| {
            let site = writing.site(&args.address)?;
            writing.void_site(&site)?;
            context.status(&format!("Took site {} out of use.", site.address));
            Ok(())
        }),
    }
}

fn add_site(context: &Context, args: &SiteAddArgs) -> Result<()> {
    context.write(|writing| {
        let new = NewSite {
            client: writing.client(&args.client)?.id,
            address: args.address.clone(),
            year_built: args.year_built.as_deref().map(read_year).transpose()?,
            tax_area: args
                .tax_area
                .as_deref()
                .map(|name| tax_area(writing, name))
                .transpose()?,
            distance: args
                .distance
                .as_deref()
                .map(|text| read_distance(writing, text))
                .transpose()?,
            note: args.note.clone(),
        };
        writing.add_site(&new)?;
        let site = writing.site(&new.address)?;
        context.status(&format!("Added site {} of {}.", site.address, site.client));
        context.hint(&adding_a_room(&site.address));
        hint_at_machines(
            context,
            writing,
            new.distance.filter(|_| args.distance.is_some()),
        )?;
        context.give_json(|| site_answer(context, writing, site))
    })
}

fn edit_site(context: &Context, args: &SiteEditArgs) -> Result<()> {
    context.write(|writing| {
        let old = writing.site(&args.site)?;
        let (id, old_client) = (old.id, old.client_id);
        let mut new = NewSite::from(old);
        if let Some(name) = &args.client {
            new.client = writing.client(name)?.id;
        }
        if let Some(text) = args.year_built.as_deref() {
            new.year_built = unless_none(text, read_year)?;
        }
        if let Some(text) = args.tax_area.as_deref() {
            new.tax_area = unless_none(text, |name| tax_area(writing, name))?;
        }
        if let Some(text) = args.distance.as_deref() {
            new.distance = unless_none(text, |text| read_distance(writing, text))?;
        }
        new.address = args.address.clone().unwrap_or(new.address);
        new.note = args.note.clone().unwrap_or(new.note);
        writing.edit_site(id, &new)?;
        let site = writing.site(&new.address)?;
        context.status(&format!("Changed site {}.", site.address));
        hint_at_machines(
            context,
            writing,
            new.distance.filter(|_| args.distance.is_some()),
        )?;
        if new.client != old_client {
            warn_of_open_jobs(context, writing, &site)?;
        }
        context.give_json(|| site_answer(context, writing, site))
    })
}

/// Where a site is noted to be some way away, says how fetching machines is counted, as long as it isn't.
fn hint_at_machines(context: &Context, ledger: &Ledger, distance: Option<Decimal>) -> Result<()> {
    let is_away = distance.is_some_and(|distance| !distance.is_zero());
    if is_away && ledger.settings()?.rental_distance.is_none() {
        context.hint("gritledger setting set rental-distance 9");
    }
    Ok(())
}

/// Warns of jobs that go with a site to its new client; closed ones stay with the old one.
fn warn_of_open_jobs(context: &Context, ledger: &Ledger, site: &Site) -> Result<()> {
    let jobs = ledger.jobs_not_closed()?.into_iter();
    for job in jobs.filter(|job| job.site_id == site.id) {
        context.warn(&format!(
            "{} isn't closed: what is invoiced for it from now on is for {}",
            job.number, job.client
        ));
    }
    Ok(())
}

/// Returns a site as it stands.
fn site_answer(context: &Context, ledger: &Ledger, site: Site) -> Result<SiteAnswer> {
    let rooms = room_answers(ledger, site.id, &context.page(ledger))?;
    Ok(SiteAnswer::new(site, rooms, &context.page(ledger)))
}

fn read_year(text: &str) -> Result<i32> {
    match text.trim().parse() {
        Ok(year) => Ok(year),
        Err(_) => Err(Refusal::new(format!("`{text}` is not a year"))
            .hint("years are written 1931")
            .into()),
    }
}

fn tax_area(ledger: &Ledger, name: &str) -> Result<i64> {
    Ok(ledger.tax_area(name)?.id)
}

/// Reads a fact, unless an option was given the word that takes it away.
fn unless_none<T>(text: &str, read: impl FnOnce(&str) -> Result<T>) -> Result<Option<T>> {
    match is_none(text) {
        true => Ok(None),
        false => read(text).map(Some),
    }
}

/// Tells whether an option was given the word that takes its fact away.
pub(super) fn is_none(text: &str) -> bool {
    text.trim().eq_ignore_ascii_case("none")
}

pub(super) fn cmd_worker(context: &Context, command: WorkerCommand) -> Result<()> {
    match command {
        WorkerCommand::Add(args) => context.write(|writing| {
            let wage = read_money(writing, &args.wage)?;
            writing.add_worker(&args.name, wage)?;
            let worker = writing.worker(&args.name)?;
            context.status(&format!("Added worker {}.", worker.name));
            give_worker(context, writing, worker)
        }),
        WorkerCommand::List(args) => context.give_told::<WorkerList, _>(|ledger| {
            let mut workers = ledger.workers()?;
            workers.retain(|worker| worker.active || args.all);
            Ok(workers)
        }),
        WorkerCommand::Edit(args) => context.write(|writing| {
            let name = args.in_use.meant(writing, InBook::Worker, &args.name)?;
            let mut worker = writing.worker(&name)?;
            if let Some(wage) = &args.wage {
                worker.wage = read_money(writing, wage)?;
            }
            writing.edit_worker(&worker)?;
            let known = (InBook::Worker, worker.id.0, worker.name.as_str());
            change_use(writing, &args.in_use, known)?;
            let worker = writing.worker(&worker.name)?;
            context.status(&format!("Changed worker {}.", worker.name));
            give_worker(context, writing, worker)
        }),
    }
}

/// After an event, the JSON answer is the worker as they stand; people were told in a sentence.
fn give_worker(context: &Context, ledger: &Ledger, worker: Worker) -> Result<()> {
    context.give_json(|| Ok(WorkerAnswer::new(worker, &context.page(ledger))))
}
