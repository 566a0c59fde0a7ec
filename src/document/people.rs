//! Clients, their sites, the rooms there, what was found, and the firm's workers.

use std::fmt::Write as _;

use anyhow::Result;
use chrono::NaiveDate;
use serde::Serialize;

use super::figures::{Amount, Percent, Quantity, Run, SetPercent, Surface, range_text};
use super::invoice::{Tax, balance_text, taxes_text};
use super::{Answer, Page, count, inert, or_blank};
use crate::ledger::{
    Client, Door, Finding, IfSo, Invoice, Job, JobState, NewClient, Room, Site, Worker,
};
use crate::measure::{Area, Length};
use crate::money::Money;
use crate::trade::{FloorCondition, Layout, RoomId, Species};

/// What is known of a client.
#[derive(Debug, Serialize)]
struct ClientFacts {
    name: String,
    phone: String,
    email: String,
    address: String,
    note: String,
}

impl From<Client> for ClientFacts {
    fn from(client: Client) -> ClientFacts {
        let NewClient {
            name,
            phone,
            email,
            address,
            note,
        } = client.details;
        ClientFacts {
            name,
            phone,
            email,
            address,
            note,
        }
    }
}

/// The clients.
#[derive(Debug, Serialize)]
pub struct ClientList(Vec<ClientFacts>);

impl ClientList {
    /// Returns the answer about these clients.
    pub fn new(clients: Vec<Client>) -> ClientList {
        ClientList(clients.into_iter().map(ClientFacts::from).collect())
    }
}

impl Answer for ClientList {
    fn text(&self, page: &Page) -> String {
        if self.0.is_empty() {
            return "No clients yet.".to_owned();
        }
        let mut table = page.table(["Client", "Phone", "Email", "Address"]);
        for client in &self.0 {
            table.line([&client.name, &client.phone, &client.email, &client.address]);
        }
        table.to_string()
    }
}

/// A client's job.
#[derive(Debug, Serialize)]
struct ClientJob {
    number: String,
    state: JobState,
    site: String,
}

/// An invoice to a client.
#[derive(Debug, Serialize)]
struct ClientInvoice {
    number: Option<String>,
    #[serde(skip)]
    name: String,
    job: String,
    due_on: Option<NaiveDate>,
    net: Amount,
    taxes: Vec<Tax>,
    total: Amount,
    paid: Amount,
    due: Amount,
    credit: Amount,
}

impl ClientInvoice {
    fn new(invoice: &Invoice, page: &Page) -> ClientInvoice {
        ClientInvoice {
            number: invoice.number.clone(),
            name: invoice.name(),
            job: invoice.job.clone(),
            due_on: invoice.due_on,
            net: page.amount(invoice.net),
            taxes: Tax::all(&invoice.taxes, page),
            total: page.amount(invoice.total()),
            paid: page.amount(invoice.paid),
            due: page.amount(invoice.due()),
            credit: page.amount(invoice.credit()),
        }
    }
}

/// A client with sites, jobs and what is owed.
#[derive(Debug, Serialize)]
pub struct ClientAnswer {
    #[serde(flatten)]
    client: ClientFacts,
    sites: Vec<String>,
    jobs: Vec<ClientJob>,
    currency: &'static str,
    invoices: Vec<ClientInvoice>,
    owed: Amount,
    credit: Amount,
    balance: Amount,
}

impl ClientAnswer {
    /// Returns the answer about a client, their sites, jobs and issued invoices.
    pub fn new(
        client: Client,
        sites: Vec<Site>,
        jobs: Vec<Job>,
        invoices: &[Invoice],
        page: &Page,
    ) -> ClientAnswer {
        let owed: Money = invoices.iter().map(Invoice::due).sum();
        let credit: Money = invoices.iter().map(Invoice::credit).sum();
        ClientAnswer {
            client: client.into(),
            sites: sites.into_iter().map(|site| site.address).collect(),
            jobs: jobs
                .into_iter()
                .map(|job| ClientJob {
                    number: job.number,
                    state: job.state,
                    site: job.site,
                })
                .collect(),
            currency: page.currency.code(),
            invoices: invoices
                .iter()
                .map(|invoice| ClientInvoice::new(invoice, page))
                .collect(),
            owed: page.amount(owed),
            credit: page.amount(credit),
            balance: page.amount(owed - credit),
        }
    }
}

impl Answer for ClientAnswer {
    fn text(&self, page: &Page) -> String {
        let client = &self.client;
        let mut text = format!("{}\n", inert(&client.name));
        let facts = [
            ("Phone", &client.phone),
            ("Email", &client.email),
            ("Address", &client.address),
            ("Note", &client.note),
        ];
        for (word, fact) in facts.into_iter().filter(|(_, fact)| !fact.is_empty()) {
            let _ = writeln!(text, "{word}: {}", inert(fact));
        }
        for site in &self.sites {
            let _ = writeln!(text, "Site: {}", inert(site));
        }
        if !self.jobs.is_empty() {
            let mut table = page.table(["Job", "State", "Site"]);
            for job in &self.jobs {
                table.line([&job.number, &job.state, &job.site]);
            }
            let _ = writeln!(text, "\n{table}");
        }
        if !self.invoices.is_empty() {
            let mut table = page
                .table(["Invoice", "Job", "Due on", "Net", "Tax", "Total", "Due"])
                .numbers([3, 4, 5, 6]);
            for invoice in &self.invoices {
                table.line([
                    &invoice.name,
                    &invoice.job,
                    &or_blank(invoice.due_on),
                    &invoice.net,
                    &taxes_text(&invoice.taxes),
                    &invoice.total,
                    &invoice.due,
                ]);
            }
            let _ = writeln!(text, "\n{table}");
        }
        let _ = write!(text, "\nOwed: {}", balance_text(self.owed, self.credit));
        text
    }
}

/// What is known of a site.
#[derive(Debug, Serialize)]
struct SiteFacts {
    address: String,
    client: String,
    year_built: Option<i32>,
    tax_area: Option<String>,
    note: String,
}

impl From<Site> for SiteFacts {
    fn from(site: Site) -> SiteFacts {
        let Site {
            id: _,
            client_id: _,
            client,
            address,
            year_built,
            tax_area,
            note,
        } = site;
        SiteFacts {
            address,
            client,
            year_built,
            tax_area: tax_area.map(|(_, name)| name),
            note,
        }
    }
}

/// The sites.
#[derive(Debug, Serialize)]
pub struct SiteList(Vec<SiteFacts>);

impl SiteList {
    /// Returns the answer about these sites.
    pub fn new(sites: Vec<Site>) -> SiteList {
        SiteList(sites.into_iter().map(SiteFacts::from).collect())
    }
}

impl Answer for SiteList {
    fn text(&self, page: &Page) -> String {
        if self.0.is_empty() {
            return "No sites yet.".to_owned();
        }
        let mut table = page
            .table(["Site", "Client", "Built", "Tax area"])
            .numbers([2]);
        for site in &self.0 {
            let built = site.year_built.map(|year| year.to_string());
            table.line([
                &site.address,
                &site.client,
                &built.as_deref().unwrap_or("not known"),
                &or_blank(site.tax_area.as_ref()),
            ]);
        }
        table.to_string()
    }
}

/// A site with its rooms and findings; area and edge are of the rooms to be refinished.
#[derive(Debug, Serialize)]
pub struct SiteAnswer {
    #[serde(flatten)]
    site: SiteFacts,
    area: Surface,
    edge: Run,
    rooms: RoomList,
    findings: FindingList,
}

impl SiteAnswer {
    /// Returns the answer about a site with these rooms.
    pub fn new(site: Site, rooms: RoomList) -> SiteAnswer {
        let findings = rooms.rooms.iter().flat_map(|room| {
            let findings = room.findings.iter();
            findings.map(|finding| PlacedFinding {
                finding: finding.clone(),
                room: room.name.clone(),
            })
        });
        SiteAnswer {
            site: site.into(),
            area: rooms.area,
            edge: rooms.edge,
            findings: FindingList(findings.collect()),
            rooms,
        }
    }
}

impl Answer for SiteAnswer {
    fn text(&self, page: &Page) -> String {
        let site = &self.site;
        let mut text = format!("{}, {}\n", inert(&site.address), inert(&site.client));
        let built = site.year_built.map_or_else(
            || "year not known".to_owned(),
            |year| format!("built {year}"),
        );
        let tax_area = site.tax_area.as_ref();
        let tax_area = tax_area.map(|name| format!(", tax area {}", inert(name)));
        let _ = writeln!(text, "{built}{}", or_blank(tax_area));
        if !site.note.is_empty() {
            let _ = writeln!(text, "Note: {}", inert(&site.note));
        }
        let _ = write!(text, "\n{}", self.rooms.text(page));
        if !self.findings.0.is_empty() {
            let _ = write!(text, "\n\n{}", self.findings.text(page));
        }
        text
    }
}

/// A doorway, from this side.
#[derive(Debug, Serialize)]
struct Doorway {
    to: String,
    width: Run,
}

/// A room as it is shown: measured, with what was found in it.
#[derive(Debug, Serialize)]
pub struct RoomAnswer {
    name: String,
    site: String,
    area: Surface,
    edge: Run,
    condition: FloorCondition,
    species: Species,
    layout: Layout,
    /// A walk and its parts as they were typed.
    shape: String,
    steps: Option<u32>,
    refinished: bool,
    doors: Vec<Doorway>,
    findings: Vec<FindingFacts>,
    note: String,
}

impl RoomAnswer {
    /// Returns the answer about a room, with those of the findings that are its own.
    ///
    /// # Errors
    /// Refuses doorways that are wider together than the walls are long.
    pub fn new(room: Room, findings: &[Finding], page: &Page) -> Result<RoomAnswer> {
        let edge = page.run(room.edge()?);
        let Room {
            id,
            site_id: _,
            site,
            name,
            floor,
            condition,
            species,
            layout,
            refinished,
            note,
            doors,
        } = room;
        let doorway = |door: Door| Doorway {
            to: door.to.map_or("outside".to_owned(), |(_, name)| name),
            width: page.run(door.width),
        };
        Ok(RoomAnswer {
            name,
            site,
            area: page.surface(floor.area()),
            edge,
            condition,
            species,
            layout,
            shape: floor.to_string(),
            steps: floor.steps(),
            refinished,
            doors: doors.into_iter().map(doorway).collect(),
            findings: of_room(id, findings, page),
            note,
        })
    }

    /// Writes the measures as one sentence: `Landing: 45 sq ft, edge 23 ft 10 in.`
    pub fn sentence(&self) -> String {
        let (name, area) = (inert(&self.name), self.area);
        match self.steps {
            Some(steps) => format!(
                "{name}: {}, {area} of treads and risers.",
                count(steps as usize, "step")
            ),
            None => format!("{name}: {area}, edge {}.", self.edge),
        }
    }
}

impl Answer for RoomAnswer {
    fn text(&self, page: &Page) -> String {
        let mut text = format!("{}\n", self.sentence());
        let _ = writeln!(text, "Site: {}", inert(&self.site));
        let _ = writeln!(
            text,
            "Floor: {}, {}, {}",
            self.condition, self.species, self.layout
        );
        let _ = writeln!(text, "Shape: {}", self.shape);
        for Doorway { to, width } in &self.doors {
            let _ = writeln!(text, "Doorway: {}, {width}", inert(to));
        }
        if !self.refinished {
            let _ = writeln!(text, "Not to be refinished: only a way through.");
        }
        if !self.note.is_empty() {
            let _ = writeln!(text, "Note: {}", inert(&self.note));
        }
        if !self.findings.is_empty() {
            let rows = self.findings.iter();
            let table = findings_table(rows.map(|finding| (finding, self.name.as_str())), page);
            let _ = write!(text, "\n{table}");
        }
        text
    }
}

/// Rooms, and what is to be refinished of them.
#[derive(Debug, Serialize)]
#[serde(transparent)]
pub struct RoomList {
    rooms: Vec<RoomAnswer>,
    #[serde(skip)]
    to_refinish: usize,
    #[serde(skip)]
    area: Surface,
    #[serde(skip)]
    edge: Run,
}

impl RoomList {
    /// Returns the answer about these rooms.
    pub fn new(rooms: Vec<RoomAnswer>, page: &Page) -> RoomList {
        let sanded = || rooms.iter().filter(|room| room.refinished);
        let area: Area = sanded().map(|room| room.area.area).sum();
        let edge: Length = sanded().map(|room| room.edge.length).sum();
        RoomList {
            to_refinish: sanded().count(),
            area: page.surface(area),
            edge: page.run(edge),
            rooms,
        }
    }
}

impl Answer for RoomList {
    fn text(&self, page: &Page) -> String {
        if self.rooms.is_empty() {
            return "No rooms yet.".to_owned();
        }
        let mut table = page
            .table(["Room", "Condition", "Species", "Area", "Edge"])
            .numbers([3, 4]);
        for room in &self.rooms {
            let aside = match room.refinished {
                true => "",
                false => " (not refinished)",
            };
            table.line([
                &format!("{}{aside}", room.name),
                &room.condition,
                &room.species,
                &room.area,
                &room.edge,
            ]);
        }
        let rooms = count(self.to_refinish, "room");
        let sanded = format!("To refinish: {rooms}");
        table.line([&sanded, &"", &"", &self.area, &self.edge]);
        table.to_string()
    }
}

/// What a finding may take beside its answer.
#[derive(Clone, Debug, Serialize)]
struct MayTake {
    operation: String,
    least: Quantity,
    most: Quantity,
}

/// What was found.
#[derive(Clone, Debug, Serialize)]
struct FindingFacts {
    id: i64,
    kind: String,
    quantity: Quantity,
    pieces: Vec<Run>,
    most: Option<Quantity>,
    chance_percent: Percent,
    if_so: Option<MayTake>,
    place: String,
    note: String,
}

impl FindingFacts {
    fn new(finding: Finding, page: &Page) -> FindingFacts {
        let Finding {
            id,
            room_id: _,
            room: _,
            kind,
            quantity,
            most,
            unit,
            pieces,
            chance,
            if_so,
            place,
            note,
        } = finding;
        let may_take = |if_so: IfSo| MayTake {
            operation: if_so.name,
            least: page.measured(if_so.low, if_so.unit),
            most: page.measured(if_so.high, if_so.unit),
        };
        FindingFacts {
            id: id.0,
            kind,
            quantity: page.measured(quantity, unit),
            pieces: page.each(pieces, |piece, page| page.run(piece)),
            most: most.map(|most| page.measured(most, unit)),
            chance_percent: Percent::of_one(chance),
            if_so: if_so.map(may_take),
            place,
            note,
        }
    }

    /// Writes how much was found and how sure that is: `10 to 30, 50 % likely`.
    fn words(&self) -> String {
        let mut much = range_text(self.quantity, self.most.unwrap_or(self.quantity));
        if !self.pieces.is_empty() {
            let _ = write!(much, " in {}", count(self.pieces.len(), "piece"));
        }
        match (&self.if_so, self.chance_percent.0.map(SetPercent)) {
            (Some(may), Some(chance)) => {
                let more = range_text(may.least, may.most);
                format!("{much}; {chance} likely {} {more}", may.operation)
            }
            (None, Some(chance)) => format!("{much}, {chance} likely"),
            (_, None) => much,
        }
    }
}

fn of_room(room: RoomId, findings: &[Finding], page: &Page) -> Vec<FindingFacts> {
    let own = findings.iter().filter(|finding| finding.room_id == room);
    own.map(|finding| FindingFacts::new(finding.clone(), page))
        .collect()
}

fn findings_table<'a>(
    findings: impl Iterator<Item = (&'a FindingFacts, &'a str)>,
    page: &Page,
) -> String {
    let mut table = page
        .table(["Finding", "Room", "Kind", "Quantity", "Place", "Note"])
        .numbers([0, 3]);
    for (finding, room) in findings {
        table.line([
            &finding.id,
            &room,
            &finding.kind,
            &finding.words(),
            &finding.place,
            &finding.note,
        ]);
    }
    table.to_string()
}

/// A finding with its room.
#[derive(Debug, Serialize)]
pub struct PlacedFinding {
    #[serde(flatten)]
    finding: FindingFacts,
    room: String,
}

impl PlacedFinding {
    /// Returns the answer about a finding.
    pub fn new(finding: Finding, page: &Page) -> PlacedFinding {
        PlacedFinding {
            room: finding.room.clone(),
            finding: FindingFacts::new(finding, page),
        }
    }

    /// Says what was noted, where and how much of it: `proud-nails in Landing: 12`.
    pub fn words(&self) -> String {
        let PlacedFinding { finding, room } = self;
        format!("{} in {room}: {}", finding.kind, finding.words())
    }
}

/// Findings.
#[derive(Debug, Serialize)]
pub struct FindingList(Vec<PlacedFinding>);

impl FindingList {
    /// Returns the answer about these findings.
    pub fn new(findings: Vec<Finding>, page: &Page) -> FindingList {
        FindingList(page.each(findings, PlacedFinding::new))
    }
}

impl Answer for FindingList {
    fn text(&self, page: &Page) -> String {
        if self.0.is_empty() {
            return "Nothing found yet.".to_owned();
        }
        let rows = self.0.iter();
        findings_table(
            rows.map(|placed| (&placed.finding, placed.room.as_str())),
            page,
        )
    }
}

/// What is known of a worker.
#[derive(Debug, Serialize)]
struct WorkerFacts {
    name: String,
    wage: Amount,
    active: bool,
}

impl WorkerFacts {
    fn new(worker: Worker, page: &Page) -> WorkerFacts {
        let Worker {
            id: _,
            name,
            wage,
            active,
        } = worker;
        WorkerFacts {
            name,
            wage: page.amount(wage),
            active,
        }
    }
}

/// A worker.
#[derive(Debug, Serialize)]
pub struct WorkerAnswer {
    currency: &'static str,
    #[serde(flatten)]
    worker: WorkerFacts,
}

impl WorkerAnswer {
    /// Returns the answer about a worker.
    pub fn new(worker: Worker, page: &Page) -> WorkerAnswer {
        WorkerAnswer {
            currency: page.currency.code(),
            worker: WorkerFacts::new(worker, page),
        }
    }
}

/// The workers.
#[derive(Debug, Serialize)]
pub struct WorkerList {
    currency: &'static str,
    workers: Vec<WorkerFacts>,
}

impl WorkerList {
    /// Returns the answer about these workers.
    pub fn new(workers: Vec<Worker>, page: &Page) -> WorkerList {
        WorkerList {
            currency: page.currency.code(),
            workers: page.each(workers, WorkerFacts::new),
        }
    }
}

impl Answer for WorkerList {
    fn text(&self, page: &Page) -> String {
        if self.workers.is_empty() {
            return "No workers yet.".to_owned();
        }
        let wage = format!("Wage, {}/h", self.currency);
        let mut table = page.table(["Worker", &wage, ""]).numbers([1]);
        for worker in &self.workers {
            let standing = if worker.active { "" } else { "inactive" };
            table.line([&worker.name, &worker.wage, &standing]);
        }
        table.to_string()
    }
}
