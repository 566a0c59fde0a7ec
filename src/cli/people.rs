//! `client`, `site`, `room`, `finding` and `worker`: who, where, and what the walk-through measured and found.

use anyhow::Result;
use clap::{ArgGroup, Args, Subcommand};

use super::ui::Context;
use crate::document::people::{
    ClientView, RoomView, client_view_json, client_view_text, clients_json, clients_text,
    findings_json, findings_text, placed_finding_json, room_view_json, room_view_text, rooms_json,
    rooms_text, site_view_json, site_view_text, sites_json, sites_text, worker_json, workers_json,
    workers_text,
};
use crate::ledger::{
    Client, Finding, Ledger, NewClient, NewRoom, NewSite, Refusal, Room, Site, Worker, Writing,
    near_names, refuse,
};
use crate::measure::{Area, Length, Units};
use crate::money::{Decimal, number, quantity};
use crate::trade::operation::{Driver, Operation};
use crate::trade::room::{Base, Effect, Floor, Part, Walk};
use crate::trade::takeoff::Found;
use crate::trade::{FindingId, FloorCondition, Layout, RoomId, SiteId, Species};

/// What a doorway leads to when it leads to no room.
const OUTSIDE: &str = "outside";

/// Manage clients: who pays
#[derive(Debug, Subcommand)]
pub(super) enum ClientCommand {
    Add(ClientAddArgs),
    /// List the clients
    List,
    Show(ClientArgs),
    Edit(ClientEditArgs),
    Void(ClientVoidArgs),
}

/// Add a client
#[derive(Debug, Args)]
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
    /// A note
    #[arg(long, default_value = "", hide_default_value = true)]
    note: String,
}

/// Show a client: sites, jobs and what is owed
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger client show \"Ada Quill\"")]
pub(super) struct ClientArgs {
    /// The client
    name: String,
}

/// Change what is known of a client
#[derive(Debug, Args)]
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
    name: String,
}

/// Manage sites: addresses with floors
#[derive(Debug, Subcommand)]
pub(super) enum SiteCommand {
    Add(SiteAddArgs),
    List(SiteListArgs),
    Show(SiteArgs),
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
    /// A note
    #[arg(long, default_value = "", hide_default_value = true)]
    note: String,
}

/// List the sites
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger site list --client \"Ada Quill\"")]
pub(super) struct SiteListArgs {
    /// Only those of this client
    #[arg(long)]
    client: Option<String>,
}

/// Show a site: its rooms with area and edge, and what was found
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger site show \"4 Tannery Row\"")]
pub(super) struct SiteArgs {
    /// The address
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
    address: String,
}

/// Manage rooms: floors, measured
#[derive(Debug, Subcommand)]
pub(super) enum RoomCommand {
    Add(RoomAddArgs),
    List(RoomListArgs),
    Show(RoomArgs),
    Edit(RoomEditArgs),
    Void(RoomVoidArgs),
}

/// Add a room, measured by its shape, by its walls, or as a stair
///
/// Lengths are typed as a tape reads: 12'6", 12 ft 6 1/2 in, 12.5 or 3.81m; a bare number is in the ledger's units.
/// A walk names each wall and the turn after it: r or l for a right angle, r45 or l45 for half of one.
/// Doorways open the edge on both of their sides.
#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("measured").args(["shape", "walls", "steps"]).required(true),
    after_long_help = "Examples:
  gritledger room add \"4 Tannery Row\" Landing --shape \"10 x 4.5\" --condition worn-film --species red-oak --door \"outside:2'8\\\"\"
  gritledger room add \"4 Tannery Row\" Parlour --walls \"14' r 11'6\\\" r 9' r 3' l 5' r 8'6\\\"\" --condition bare --species pine
  gritledger room add \"4 Tannery Row\" Stair --steps 13 --width 3' --tread 10in --riser 7.5in --condition paint --species pine"
)]
pub(super) struct RoomAddArgs {
    /// The site's address
    site: String,
    /// The room's name; no other at the site has it
    name: String,
    #[command(flatten)]
    measures: MeasureArgs,
    /// What the first cut meets: bare, sound-film, worn-film, oil-wax, paint or glue
    #[arg(long)]
    condition: String,
    /// The wood, such as red-oak, white-oak, hard-maple, pine or other
    #[arg(long)]
    species: String,
    /// How the boards lie: strip, plank, parquet or herringbone
    #[arg(long, default_value = "strip")]
    layout: String,
    /// It is not to be sanded, only a way through the house
    #[arg(long)]
    not_refinished: bool,
    /// A note
    #[arg(long, default_value = "", hide_default_value = true)]
    note: String,
}

/// How a room is measured, and its doorways.
#[derive(Debug, Args)]
#[group(skip)]
struct MeasureArgs {
    /// "L x W", "trapezoid A,B x D", "circle D" or "half-circle D"
    #[arg(long, allow_hyphen_values = true)]
    shape: Option<String>,
    /// The walls as they are walked, with the turns between them
    #[arg(long, allow_hyphen_values = true)]
    walls: Option<String>,
    /// Steps of a stair
    #[arg(long, value_name = "COUNT", allow_hyphen_values = true, requires_all = ["width", "tread", "riser"])]
    steps: Option<String>,
    /// Width of a step
    #[arg(long, allow_hyphen_values = true, requires = "steps")]
    width: Option<String>,
    /// Depth of a tread
    #[arg(long, allow_hyphen_values = true, requires = "steps")]
    tread: Option<String>,
    /// Height of a riser
    #[arg(long, allow_hyphen_values = true, requires = "steps")]
    riser: Option<String>,
    /// A part that is open towards the room, such as a closet (can be repeated)
    #[arg(long, value_name = "W x D", allow_hyphen_values = true)]
    plus: Vec<String>,
    /// A part taken away at a wall, such as a hearth (can be repeated)
    #[arg(long, value_name = "W x D", allow_hyphen_values = true)]
    less: Vec<String>,
    /// A part taken away with floor all around (can be repeated)
    #[arg(long, value_name = "W x D", allow_hyphen_values = true)]
    island: Vec<String>,
    /// A doorway, to another room of the site or outside (can be repeated)
    #[arg(long = "door", value_name = "ROOM:WIDTH")]
    doors: Vec<String>,
}

/// List the rooms of a site with area and edge
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger room list \"4 Tannery Row\"")]
pub(super) struct RoomListArgs {
    /// The site's address
    site: String,
}

/// Show a room
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger room show Landing --site \"4 Tannery Row\"")]
pub(super) struct RoomArgs {
    /// The room: NAME or SITE/NAME
    name: String,
    /// The site's address (default: wherever there is only one room of that name)
    #[arg(long)]
    site: Option<String>,
}

/// Change a room, or measure it again
///
/// A shape and its parts are one measurement: what is given replaces all of it. Parts given without a shape replace the
/// parts. Doorways given replace all of the room's doorways. Quotes that were drafted keep the measures they have.
#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("measured").args(["shape", "walls", "steps"]),
    after_long_help = "Example:\n  gritledger room edit Landing --shape \"10 x 4'8\\\"\" --condition bare"
)]
pub(super) struct RoomEditArgs {
    /// The room: NAME or SITE/NAME
    room: String,
    /// The site's address (default: wherever there is only one room of that name)
    #[arg(long)]
    site: Option<String>,
    /// Another name
    #[arg(long)]
    name: Option<String>,
    #[command(flatten)]
    measures: MeasureArgs,
    /// What the first cut meets
    #[arg(long)]
    condition: Option<String>,
    /// The wood
    #[arg(long)]
    species: Option<String>,
    /// How the boards lie
    #[arg(long)]
    layout: Option<String>,
    /// It is to be sanded
    #[arg(long, conflicts_with = "not_refinished")]
    refinished: bool,
    /// It is not to be sanded, only a way through the house
    #[arg(long)]
    not_refinished: bool,
    /// A note
    #[arg(long)]
    note: Option<String>,
}

/// Take a room and its doorways out of use
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger room void Landing --site \"4 Tannery Row\"")]
pub(super) struct RoomVoidArgs {
    /// The room: NAME or SITE/NAME
    name: String,
    /// The site's address (default: wherever there is only one room of that name)
    #[arg(long)]
    site: Option<String>,
}

/// Manage findings: what the walk-through found
#[derive(Debug, Subcommand)]
pub(super) enum FindingCommand {
    Add(FindingAddArgs),
    List(FindingListArgs),
    Void(FindingVoidArgs),
}

/// Note something that must be put right
///
/// The kind is one that an operation answers (gritledger operation list). Things are counted: 12; lengths and areas are
/// typed as measured: "22 ft", "12 sqft" or "3 x 4".
#[derive(Debug, Args)]
#[command(after_long_help = "Examples:
  gritledger finding add Landing proud-nails 12
  gritledger finding add \"Back bedroom\" missing-quarter-round \"22 ft\" --place \"north wall\"")]
pub(super) struct FindingAddArgs {
    /// The room: NAME or SITE/NAME
    room: String,
    /// The kind, such as proud-nails
    kind: String,
    /// How much of it
    #[arg(allow_hyphen_values = true)]
    quantity: String,
    /// The site's address (default: wherever there is only one room of that name)
    #[arg(long)]
    site: Option<String>,
    /// Where in the room
    #[arg(long, default_value = "", hide_default_value = true)]
    place: String,
    /// A note
    #[arg(long, default_value = "", hide_default_value = true)]
    note: String,
}

/// List what was found at a site
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger finding list \"4 Tannery Row\" --room Landing")]
pub(super) struct FindingListArgs {
    /// The site's address
    site: String,
    /// Only in this room
    #[arg(long)]
    room: Option<String>,
}

/// Take a finding out of use
#[derive(Debug, Args)]
#[command(after_long_help = "Example:\n  gritledger finding void 3")]
pub(super) struct FindingVoidArgs {
    /// The finding's number, as finding list shows it
    #[arg(value_name = "FINDING", allow_hyphen_values = true)]
    id: String,
}

/// Manage workers: who does the work, and at what wage
#[derive(Debug, Subcommand)]
pub(super) enum WorkerCommand {
    Add(WorkerAddArgs),
    /// List the workers
    List,
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
    name: String,
    /// Wage per hour, before burden
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    wage: Option<String>,
    /// Quotes leave them out
    #[arg(long, conflicts_with = "active")]
    inactive: bool,
    /// Quotes count them in
    #[arg(long)]
    active: bool,
}

pub(super) fn cmd_client(context: &Context, command: ClientCommand) -> Result<()> {
    let ledger = context.open()?;
    match command {
        ClientCommand::Add(args) => add_client(context, &ledger, args),
        ClientCommand::List => {
            let (clients, page) = (ledger.clients()?, context.page(&ledger));
            context.answer(|| clients_json(&clients), || clients_text(&clients, &page))
        }
        ClientCommand::Show(args) => {
            let (view, page) = (
                client_view(&ledger, ledger.client(&args.name)?)?,
                context.page(&ledger),
            );
            context.answer(
                || client_view_json(&view, &page),
                || client_view_text(&view, &page),
            )
        }
        ClientCommand::Edit(args) => edit_client(context, &ledger, args),
        ClientCommand::Void(args) => {
            let client = ledger.client(&args.name)?;
            context.write(&ledger, |writing| writing.void_client(&client))?;
            context.status(&format!("Took client {} out of use.", client.details.name));
            Ok(())
        }
    }
}

fn add_client(context: &Context, ledger: &Ledger, args: ClientAddArgs) -> Result<()> {
    let ClientAddArgs {
        name,
        phone,
        email,
        address,
        note,
    } = args;
    let details = NewClient {
        name,
        phone,
        email,
        address,
        note,
    };
    let view = context.write(ledger, |writing| {
        writing.add_client(&details)?;
        client_view(writing, writing.client(&details.name)?)
    })?;
    let name = &view.client.details.name;
    context.status(&format!("Added client {name}."));
    context.hint(&format!("gritledger site add \"{name}\" \"ADDRESS\""));
    tell_client(context, ledger, &view)
}

fn edit_client(context: &Context, ledger: &Ledger, args: ClientEditArgs) -> Result<()> {
    let client = ledger.client(&args.client)?;
    let old = client.details;
    let details = NewClient {
        name: args.name.unwrap_or(old.name),
        phone: args.phone.unwrap_or(old.phone),
        email: args.email.unwrap_or(old.email),
        address: args.address.unwrap_or(old.address),
        note: args.note.unwrap_or(old.note),
    };
    let wanted = details.name.trim();
    let others = ledger
        .clients()?
        .into_iter()
        .filter(|other| other.id != client.id);
    if others
        .map(|other| other.details.name)
        .any(|name| name.eq_ignore_ascii_case(wanted))
    {
        refuse!("there is already a client `{wanted}`");
    }
    let view = context.write(ledger, |writing| {
        writing.edit_client(client.id, &details)?;
        client_view(writing, writing.client(&details.name)?)
    })?;
    context.status(&format!("Changed client {}.", view.client.details.name));
    tell_client(context, ledger, &view)
}

fn client_view(ledger: &Ledger, client: Client) -> Result<ClientView> {
    let name = &client.details.name;
    let sites = ledger
        .sites()?
        .into_iter()
        .filter(|site| site.client_id == client.id)
        .collect();
    let jobs = ledger
        .jobs()?
        .into_iter()
        .filter(|job| job.client == *name)
        .collect();
    let invoices = ledger
        .invoices()?
        .into_iter()
        .filter(|invoice| invoice.number.is_some() && invoice.client == *name);
    let invoices = invoices.collect();
    Ok(ClientView {
        client,
        sites,
        jobs,
        invoices,
    })
}

/// After an event, the JSON answer is the client as they stand; people were told in a sentence.
fn tell_client(context: &Context, ledger: &Ledger, view: &ClientView) -> Result<()> {
    if !context.json() {
        return Ok(());
    }
    let page = context.page(ledger);
    context.answer(|| client_view_json(view, &page), String::new)
}

pub(super) fn cmd_site(context: &Context, command: SiteCommand) -> Result<()> {
    let ledger = context.open()?;
    match command {
        SiteCommand::Add(args) => add_site(context, &ledger, &args),
        SiteCommand::List(args) => {
            let client = args.client.map(|name| ledger.client(&name)).transpose()?;
            let mut sites = ledger.sites()?;
            sites.retain(|site| {
                client
                    .as_ref()
                    .is_none_or(|client| client.id == site.client_id)
            });
            let page = context.page(&ledger);
            context.answer(|| sites_json(&sites), || sites_text(&sites, &page))
        }
        SiteCommand::Show(args) => {
            let site = ledger.site(&args.address)?;
            let (rooms, page) = (room_views(&ledger, site.id)?, context.page(&ledger));
            context.answer(
                || site_view_json(&site, &rooms, &page),
                || site_view_text(&site, &rooms, &page),
            )
        }
        SiteCommand::Edit(args) => edit_site(context, &ledger, args),
        SiteCommand::Void(args) => {
            let site = ledger.site(&args.address)?;
            context.write(&ledger, |writing| writing.void_site(&site))?;
            context.status(&format!("Took site {} out of use.", site.address));
            Ok(())
        }
    }
}

fn add_site(context: &Context, ledger: &Ledger, args: &SiteAddArgs) -> Result<()> {
    let new = NewSite {
        client: ledger.client(&args.client)?.id,
        address: args.address.clone(),
        year_built: args.year_built.as_deref().map(read_year).transpose()?,
        tax_area: args
            .tax_area
            .as_deref()
            .map(|name| tax_area(ledger, name))
            .transpose()?,
        note: args.note.clone(),
    };
    let site = context.write(ledger, |writing| {
        writing.add_site(&new)?;
        writing.site(&new.address)
    })?;
    context.status(&format!("Added site {} of {}.", site.address, site.client));
    context.hint(&format!("gritledger room add \"{}\" \"ROOM\" --shape \"L x W\" --condition sound-film --species red-oak", site.address));
    tell_site(context, ledger, &site, &[])
}

fn edit_site(context: &Context, ledger: &Ledger, args: SiteEditArgs) -> Result<()> {
    let old = ledger.site(&args.site)?;
    let client = match args.client {
        Some(name) => ledger.client(&name)?.id,
        None => old.client_id,
    };
    let year_built = match args.year_built.as_deref() {
        Some(none) if is_none(none) => None,
        Some(text) => Some(read_year(text)?),
        None => old.year_built,
    };
    let tax_area = match args.tax_area.as_deref() {
        Some(none) if is_none(none) => None,
        Some(name) => Some(tax_area(ledger, name)?),
        None => old.tax_area.map(|(id, _)| id),
    };
    let new = NewSite {
        client,
        address: args.address.unwrap_or(old.address),
        year_built,
        tax_area,
        note: args.note.unwrap_or(old.note),
    };
    let wanted = new.address.trim();
    if ledger
        .sites()?
        .iter()
        .any(|other| other.id != old.id && other.address.eq_ignore_ascii_case(wanted))
    {
        refuse!("there is already a site `{wanted}`");
    }
    let (site, rooms) = context.write(ledger, |writing| {
        writing.edit_site(old.id, &new)?;
        Ok((writing.site(&new.address)?, room_views(writing, old.id)?))
    })?;
    context.status(&format!("Changed site {}.", site.address));
    tell_site(context, ledger, &site, &rooms)
}

/// After an event, the JSON answer is the site as it stands; people were told in a sentence.
fn tell_site(context: &Context, ledger: &Ledger, site: &Site, rooms: &[RoomView]) -> Result<()> {
    if !context.json() {
        return Ok(());
    }
    let page = context.page(ledger);
    context.answer(|| site_view_json(site, rooms, &page), String::new)
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

/// Tells whether an option was given the word that takes its fact away.
pub(super) fn is_none(text: &str) -> bool {
    text.trim().eq_ignore_ascii_case("none")
}

pub(super) fn cmd_room(context: &Context, command: RoomCommand) -> Result<()> {
    let ledger = context.open()?;
    match command {
        RoomCommand::Add(args) => add_room(context, &ledger, &args),
        RoomCommand::List(args) => {
            let rooms = room_views(&ledger, ledger.site(&args.site)?.id)?;
            let page = context.page(&ledger);
            context.answer(|| rooms_json(&rooms, &page), || rooms_text(&rooms, &page))
        }
        RoomCommand::Show(args) => {
            let room = room_named(&ledger, &args.name, args.site.as_deref())?;
            let (view, page) = (room_view(&ledger, room)?, context.page(&ledger));
            context.answer(
                || room_view_json(&view, &page),
                || room_view_text(&view, &page),
            )
        }
        RoomCommand::Edit(args) => edit_room(context, &ledger, args),
        RoomCommand::Void(args) => {
            let room = room_named(&ledger, &args.name, args.site.as_deref())?;
            context.write(&ledger, |writing| writing.void_room(&room))?;
            context.status(&format!("Took room {} out of use.", room.name));
            Ok(())
        }
    }
}

fn add_room(context: &Context, ledger: &Ledger, args: &RoomAddArgs) -> Result<()> {
    let site = ledger.site(&args.site)?;
    let Some(base) = read_base(&args.measures, ledger.units())? else {
        refuse!("`{}` needs a shape, walls or steps", args.name);
    };
    let new = NewRoom {
        site: site.id,
        name: args.name.clone(),
        floor: Floor::new(base, read_parts(&args.measures, ledger.units())?)?,
        condition: args.condition.parse()?,
        species: args.species.parse()?,
        layout: args.layout.parse()?,
        refinished: !args.not_refinished,
        note: args.note.clone(),
    };
    let view = context.write(ledger, |writing| {
        let id = writing.add_room(&new)?;
        add_doors(writing, site.id, id, &args.measures.doors)?;
        room_view(writing, room_with(writing, site.id, id)?)
    })?;
    let page = context.page(ledger);
    context.answer(|| room_view_json(&view, &page), || view.sentence(&page))
}

fn edit_room(context: &Context, ledger: &Ledger, args: RoomEditArgs) -> Result<()> {
    let mut room = room_named(ledger, &args.room, args.site.as_deref())?;
    let parts = read_parts(&args.measures, ledger.units())?;
    match read_base(&args.measures, ledger.units())? {
        Some(base) => room.floor = Floor::new(base, parts)?,
        None if !parts.is_empty() => room.floor = Floor::new(room.floor.base().clone(), parts)?,
        None => {}
    }
    if let Some(name) = args.name {
        check_new_name(ledger, &room, &name)?;
        room.name = name;
    }
    room.condition = args
        .condition
        .map_or(Ok(room.condition), |text| text.parse::<FloorCondition>())?;
    room.species = args
        .species
        .map_or(Ok(room.species), |text| text.parse::<Species>())?;
    room.layout = args
        .layout
        .map_or(Ok(room.layout), |text| text.parse::<Layout>())?;
    room.refinished = (room.refinished || args.refinished) && !args.not_refinished;
    room.note = args.note.unwrap_or(room.note);
    let doors = &args.measures.doors;
    let view = context.write(ledger, |writing| {
        if !doors.is_empty() {
            // Old doorways go first: they may be wider than the new walls.
            writing.void_doors(room.id)?;
            room.doors.clear();
        }
        writing.edit_room(&room)?;
        add_doors(writing, room.site_id, room.id, doors)?;
        room_view(writing, room_with(writing, room.site_id, room.id)?)
    })?;
    let page = context.page(ledger);
    context.answer(|| room_view_json(&view, &page), || view.sentence(&page))
}

fn check_new_name(ledger: &Ledger, room: &Room, name: &str) -> Result<()> {
    let name = name.trim();
    if name.contains('/') {
        refuse!("a room's name can't hold `/`: `{name}`");
    }
    let rooms = ledger.rooms_of(room.site_id)?;
    if rooms
        .iter()
        .any(|other| other.id != room.id && other.name.eq_ignore_ascii_case(name))
    {
        refuse!("there is already a room `{name}` at that site");
    }
    Ok(())
}

/// Reads the shape that a room begins with; `None`: none was given.
fn read_base(args: &MeasureArgs, units: Units) -> Result<Option<Base>> {
    if let Some(shape) = &args.shape {
        return Ok(Some(Base::parse_shape(shape, units)?));
    }
    if let Some(walls) = &args.walls {
        return Ok(Some(Base::Walls(Walk::parse(walls, units)?)));
    }
    let (Some(steps), Some(width), Some(tread), Some(riser)) =
        (&args.steps, &args.width, &args.tread, &args.riser)
    else {
        return Ok(None);
    };
    let Some(steps) = steps
        .trim()
        .parse()
        .ok()
        .filter(|steps: &u32| (1..=1000).contains(steps))
    else {
        refuse!("`{steps}` is not a number of steps");
    };
    let [width, tread, riser] = Length::parse_together([width, tread, riser], units)?;
    Ok(Some(Base::Stairs {
        steps,
        width,
        tread,
        riser,
    }))
}

fn read_parts(args: &MeasureArgs, units: Units) -> Result<Vec<Part>> {
    let typed = [
        (Effect::Plus, &args.plus),
        (Effect::Less, &args.less),
        (Effect::Island, &args.island),
    ];
    let parts = typed
        .into_iter()
        .flat_map(|(effect, texts)| texts.iter().map(move |text| (effect, text)));
    Ok(parts
        .map(|(effect, text)| Part::parse_sides(effect, text, units))
        .collect::<Result<_, _>>()?)
}

/// Adds the doorways of a room as typed: `outside:2'8"`, `Landing:2'6"`.
fn add_doors(writing: &Writing<'_>, site: SiteId, room: RoomId, doors: &[String]) -> Result<()> {
    for door in doors {
        let (to, width) = read_door(door, writing.units())?;
        let beyond = if to.eq_ignore_ascii_case(OUTSIDE) {
            None
        } else {
            Some(writing.room(to, Some(site))?)
        };
        if let Some(other) = beyond.as_ref().filter(|other| other.site_id != site) {
            refuse!(
                "a doorway stays in the house: `{}` is at `{}`",
                other.name,
                other.site
            );
        }
        writing.add_door(room, beyond.map(|beyond| beyond.id), width)?;
    }
    Ok(())
}

/// Splits a doorway at its last colon, as a room's name may hold one.
fn read_door(text: &str, units: Units) -> Result<(&str, Length)> {
    let Some((to, width)) = text
        .rsplit_once(':')
        .filter(|(to, _)| !to.trim().is_empty())
    else {
        return Err(Refusal::new(format!("`{text}` is not a doorway"))
            .hint("--door \"outside:2'8\\\"\" or --door \"Landing:2'6\\\"\"")
            .into());
    };
    Ok((to.trim(), Length::parse(width, units)?))
}

fn room_named(ledger: &Ledger, name: &str, site: Option<&str>) -> Result<Room> {
    let site = site.map(|address| ledger.site(address)).transpose()?;
    ledger.room(name, site.map(|site| site.id))
}

fn room_with(ledger: &Ledger, site: SiteId, id: RoomId) -> Result<Room> {
    match ledger
        .rooms_of(site)?
        .into_iter()
        .find(|room| room.id == id)
    {
        Some(room) => Ok(room),
        None => refuse!("the room is no longer in use"),
    }
}

fn room_view(ledger: &Ledger, room: Room) -> Result<RoomView> {
    let findings = ledger.findings_of(room.site_id)?;
    RoomView::new(room, &findings)
}

fn room_views(ledger: &Ledger, site: SiteId) -> Result<Vec<RoomView>> {
    let findings = ledger.findings_of(site)?;
    ledger
        .rooms_of(site)?
        .into_iter()
        .map(|room| RoomView::new(room, &findings))
        .collect()
}

pub(super) fn cmd_finding(context: &Context, command: FindingCommand) -> Result<()> {
    let ledger = context.open()?;
    match command {
        FindingCommand::Add(args) => add_finding(context, &ledger, &args),
        FindingCommand::List(args) => {
            let site = ledger.site(&args.site)?;
            let room = args
                .room
                .map(|name| ledger.room(&name, Some(site.id)))
                .transpose()?;
            let mut findings = ledger.findings_of(site.id)?;
            findings.retain(|finding| room.as_ref().is_none_or(|room| room.id == finding.room_id));
            let page = context.page(&ledger);
            context.answer(
                || findings_json(&findings, &page),
                || findings_text(&findings, &page),
            )
        }
        FindingCommand::Void(args) => {
            let Ok(id) = args.id.trim().parse() else {
                return Err(
                    Refusal::new(format!("`{}` is not the number of a finding", args.id))
                        .hint("gritledger finding list SITE")
                        .into(),
                );
            };
            context.write(&ledger, |writing| writing.void_finding(FindingId(id)))?;
            context.status(&format!("Took finding {id} out of use."));
            Ok(())
        }
    }
}

fn add_finding(context: &Context, ledger: &Ledger, args: &FindingAddArgs) -> Result<()> {
    let room = room_named(ledger, &args.room, args.site.as_deref())?;
    let (kind, driver) = kind_of_finding(&ledger.operations()?, &args.kind)?;
    let found = Found {
        quantity: read_found(&args.quantity, &kind, driver, ledger.units())?,
        kind,
    };
    let finding = context.write(ledger, |writing| {
        let id = writing.add_finding(
            &room,
            &found,
            driver.unit(),
            args.place.trim(),
            args.note.trim(),
        )?;
        let noted = writing
            .findings_of(room.site_id)?
            .into_iter()
            .find(|finding: &Finding| finding.id == id);
        Ok(noted.ok_or_else(|| Refusal::new("the finding was not kept"))?)
    })?;
    let page = context.page(ledger);
    context.status(&format!(
        "Noted {} in {}: {}.",
        finding.kind,
        finding.room,
        page.quantity(finding.quantity, finding.unit)
    ));
    if !context.json() {
        return Ok(());
    }
    context.answer(|| placed_finding_json(&finding, &page), String::new)
}

/// Looks up a kind of finding, and what measures the operation that answers it: exact beats beginning.
fn kind_of_finding(operations: &[Operation], wanted: &str) -> Result<(String, Driver)> {
    let kinds: Vec<(&str, Driver)> = operations
        .iter()
        .filter_map(|operation| Some((operation.answers.as_deref()?, operation.driver)))
        .collect();
    let lower = wanted.trim().to_lowercase().replace(' ', "-");
    let mut fitting: Vec<_> = kinds
        .iter()
        .filter(|(kind, _)| kind.to_lowercase() == lower)
        .collect();
    if fitting.is_empty() && !lower.is_empty() {
        fitting = kinds
            .iter()
            .filter(|(kind, _)| kind.to_lowercase().starts_with(&lower))
            .collect();
    }
    match fitting[..] {
        [(kind, driver)] => Ok(((*kind).to_owned(), *driver)),
        [] => {
            let near = near_names(&lower, kinds.iter().map(|(kind, _)| *kind));
            let refusal = Refusal::new(format!("no operation answers `{}`", wanted.trim()));
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
            let kind = if lower.is_empty() { "KIND" } else { &lower };
            Err(refusal
                .hint(format!(
                    "gritledger operation add NAME --task repair --driver count --answers {kind}"
                ))
                .into())
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
        Driver::Length | Driver::Edge => Ok(quantity(Length::parse(text, units)?.feet())),
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

pub(super) fn cmd_worker(context: &Context, command: WorkerCommand) -> Result<()> {
    let ledger = context.open()?;
    match command {
        WorkerCommand::Add(args) => {
            let wage = ledger.currency().parse(&args.wage)?;
            let worker = context.write(&ledger, |writing| {
                writing.add_worker(&args.name, wage)?;
                writing.worker(&args.name)
            })?;
            context.status(&format!("Added worker {}.", worker.name));
            tell_worker(context, &ledger, &worker)
        }
        WorkerCommand::List => {
            let (workers, page) = (ledger.workers()?, context.page(&ledger));
            context.answer(
                || workers_json(&workers, &page),
                || workers_text(&workers, &page),
            )
        }
        WorkerCommand::Edit(args) => {
            let mut worker = ledger.worker(&args.name)?;
            if let Some(wage) = &args.wage {
                worker.wage = ledger.currency().parse(wage)?;
            }
            worker.active = (worker.active || args.active) && !args.inactive;
            context.write(&ledger, |writing| writing.edit_worker(&worker))?;
            context.status(&format!("Changed worker {}.", worker.name));
            tell_worker(context, &ledger, &worker)
        }
    }
}

/// After an event, the JSON answer is the worker as they stand; people were told in a sentence.
fn tell_worker(context: &Context, ledger: &Ledger, worker: &Worker) -> Result<()> {
    if !context.json() {
        return Ok(());
    }
    let page = context.page(ledger);
    context.answer(|| worker_json(worker, &page), String::new)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_doorway_is_split_at_its_last_colon() {
        let read = |text| read_door(text, Units::Us).ok();
        let inches = |count: u32| Length::from_nanometres(25_400_000).times(count);
        assert_eq!(read("outside:2'8\""), Some(("outside", inches(32))));
        assert_eq!(
            read("Flat 2: hall : 30in"),
            Some(("Flat 2: hall", inches(30)))
        );
        for text in ["Landing", ":2'6\"", "Landing:", "Landing:wide", ""] {
            assert_eq!(read(text), None, "{text}");
        }
    }

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
}
