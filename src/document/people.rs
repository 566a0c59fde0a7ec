//! Clients, their sites, the rooms there, what was found, and the firm's workers.

use std::fmt::Write as _;

use anyhow::Result;
use serde_json::{Value, json};

use super::{Page, count, inert, percent_json, range_text, rate_text};
use crate::ledger::{Client, Finding, Invoice, Job, Room, Site, Worker};
use crate::measure::{Area, Length};
use crate::money::{Decimal, Money};
use crate::trade::Unit;

/// A client with all that hangs on them.
#[derive(Clone, Debug)]
pub struct ClientView {
    /// The client.
    pub client: Client,
    /// Their sites.
    pub sites: Vec<Site>,
    /// Their jobs.
    pub jobs: Vec<Job>,
    /// Their issued invoices.
    pub invoices: Vec<Invoice>,
}

impl ClientView {
    /// Returns what the client owes.
    pub fn owed(&self) -> Money {
        self.invoices.iter().map(Invoice::due).sum()
    }

    /// Returns what the client paid beyond invoices, and what wasn't applied to others.
    pub fn credit(&self) -> Money {
        self.invoices.iter().map(Invoice::credit).sum()
    }
}

/// A room as it is shown: measured, with what was found in it.
#[derive(Clone, Debug)]
pub struct RoomView {
    room: Room,
    edge: Length,
    findings: Vec<Finding>,
}

impl RoomView {
    /// Returns a room with those of the findings that are its own.
    ///
    /// # Errors
    /// Refuses doorways that are wider together than the walls are long.
    pub fn new(room: Room, findings: &[Finding]) -> Result<RoomView> {
        let edge = room.edge()?;
        let findings = findings
            .iter()
            .filter(|finding| finding.room_id == room.id)
            .cloned()
            .collect();
        Ok(RoomView {
            room,
            edge,
            findings,
        })
    }

    /// Returns the room.
    pub fn room(&self) -> &Room {
        &self.room
    }

    fn area(&self) -> Area {
        self.room.floor.area()
    }

    /// Writes the shape for people: a walk and its parts as they were typed.
    fn shape(&self) -> String {
        self.room.floor.to_string()
    }

    /// Writes the measures as one sentence: `Landing: 45 sq ft, edge 23 ft 10 in.`
    pub fn sentence(&self, page: &Page) -> String {
        let name = inert(&self.room.name);
        let area = self.area().text(page.units);
        match self.room.floor.steps() {
            Some(steps) => format!(
                "{name}: {}, {area} of treads and risers.",
                count(steps as usize, "step")
            ),
            None => format!("{name}: {area}, edge {}.", self.edge.text(page.units)),
        }
    }
}

/// Rooms that are to be sanded, added up.
#[derive(Clone, Copy, Debug, Default)]
struct Totals {
    rooms: usize,
    area: Area,
    edge: Length,
}

impl Totals {
    fn of(rooms: &[RoomView]) -> Totals {
        let sanded: Vec<&RoomView> = rooms.iter().filter(|view| view.room.refinished).collect();
        Totals {
            rooms: sanded.len(),
            area: sanded.iter().map(|view| view.area()).sum(),
            edge: sanded.iter().map(|view| view.edge).sum(),
        }
    }
}

fn area_json(area: Area, page: &Page) -> Value {
    page.quantity_json(area.square_feet(), Unit::SquareFoot)
}

fn length_json(length: Length, page: &Page) -> Value {
    page.quantity_json(length.feet(), Unit::Foot)
}

fn client_json(client: &Client) -> Value {
    let details = &client.details;
    json!({
        "name": details.name,
        "phone": details.phone,
        "email": details.email,
        "address": details.address,
        "note": details.note,
    })
}

/// Renders the list of clients as JSON.
pub fn clients_json(clients: &[Client]) -> Value {
    Value::Array(clients.iter().map(client_json).collect())
}

/// Renders the list of clients as text.
pub fn clients_text(clients: &[Client], page: &Page) -> String {
    if clients.is_empty() {
        return "No clients yet.".to_owned();
    }
    let mut table = page.table(["Client", "Phone", "Email", "Address"]);
    for Client { details, .. } in clients {
        table.row([
            details.name.clone(),
            details.phone.clone(),
            details.email.clone(),
            details.address.clone(),
        ]);
    }
    table.to_string()
}

/// Renders a client with sites, jobs and what is owed as JSON.
pub fn client_view_json(view: &ClientView, page: &Page) -> Value {
    let mut value = client_json(&view.client);
    value["sites"] = json!(
        view.sites
            .iter()
            .map(|site| &site.address)
            .collect::<Vec<_>>()
    );
    value["jobs"] = Value::Array(
        view.jobs
            .iter()
            .map(|job| json!({ "number": job.number, "state": job.state.as_str(), "site": job.site }))
            .collect(),
    );
    value["currency"] = json!(page.currency.code());
    value["invoices"] = Value::Array(
        view.invoices
            .iter()
            .map(|invoice| {
                json!({
                    "number": invoice.number,
                    "job": invoice.job,
                    "due_on": invoice.due_on,
                    "net": page.money_json(invoice.net),
                    "taxes": super::invoice::taxes_json(&invoice.taxes, page),
                    "total": page.money_json(invoice.total()),
                    "paid": page.money_json(invoice.paid),
                    "due": page.money_json(invoice.due()),
                    "credit": page.money_json(invoice.credit()),
                })
            })
            .collect(),
    );
    value["owed"] = page.money_json(view.owed());
    value["credit"] = page.money_json(view.credit());
    value["balance"] = page.money_json(view.owed() - view.credit());
    value
}

/// Renders a client with sites, jobs and what is owed as text.
pub fn client_view_text(view: &ClientView, page: &Page) -> String {
    let details = &view.client.details;
    let mut text = format!("{}\n", inert(&details.name));
    let facts = [
        ("Phone", &details.phone),
        ("Email", &details.email),
        ("Address", &details.address),
        ("Note", &details.note),
    ];
    for (word, fact) in facts.into_iter().filter(|(_, fact)| !fact.is_empty()) {
        let _ = writeln!(text, "{word}: {}", inert(fact));
    }
    for site in &view.sites {
        let _ = writeln!(text, "Site: {}", inert(&site.address));
    }
    if !view.jobs.is_empty() {
        let mut table = page.table(["Job", "State", "Site"]);
        for job in &view.jobs {
            table.row([
                job.number.clone(),
                job.state.as_str().to_owned(),
                job.site.clone(),
            ]);
        }
        let _ = writeln!(text, "\n{table}");
    }
    if !view.invoices.is_empty() {
        let mut table = page
            .table(["Invoice", "Job", "Due on", "Net", "Tax", "Total", "Due"])
            .numbers([3, 4, 5, 6]);
        for invoice in &view.invoices {
            table.row([
                invoice.name(),
                invoice.job.clone(),
                invoice
                    .due_on
                    .map(|due| due.to_string())
                    .unwrap_or_default(),
                page.money(invoice.net),
                super::invoice::taxes_text(&invoice.taxes, page),
                page.money(invoice.total()),
                page.money(invoice.due()),
            ]);
        }
        let _ = writeln!(text, "\n{table}");
    }
    let _ = write!(
        text,
        "\nOwed: {}",
        super::invoice::balance_text(view.owed(), view.credit(), page)
    );
    text
}

fn site_json(site: &Site) -> Value {
    json!({
        "address": site.address,
        "client": site.client,
        "year_built": site.year_built,
        "tax_area": site.tax_area.as_ref().map(|(_, name)| name),
        "note": site.note,
    })
}

/// Renders the list of sites as JSON.
pub fn sites_json(sites: &[Site]) -> Value {
    Value::Array(sites.iter().map(site_json).collect())
}

/// Renders the list of sites as text.
pub fn sites_text(sites: &[Site], page: &Page) -> String {
    if sites.is_empty() {
        return "No sites yet.".to_owned();
    }
    let mut table = page
        .table(["Site", "Client", "Built", "Tax area"])
        .numbers([2]);
    for site in sites {
        table.row([
            site.address.clone(),
            site.client.clone(),
            site.year_built
                .map_or_else(|| "not known".to_owned(), |year| year.to_string()),
            site.tax_area
                .as_ref()
                .map(|(_, name)| name.clone())
                .unwrap_or_default(),
        ]);
    }
    table.to_string()
}

/// Renders a site with its rooms and findings as JSON; totals are of the rooms to be refinished.
pub fn site_view_json(site: &Site, rooms: &[RoomView], page: &Page) -> Value {
    let totals = Totals::of(rooms);
    let mut value = site_json(site);
    value["area"] = area_json(totals.area, page);
    value["edge"] = length_json(totals.edge, page);
    value["rooms"] = rooms_json(rooms, page);
    let findings = rooms.iter().flat_map(|view| &view.findings);
    value["findings"] = Value::Array(
        findings
            .map(|finding| placed_finding_json(finding, page))
            .collect(),
    );
    value
}

/// Renders a site with its rooms and findings as text.
pub fn site_view_text(site: &Site, rooms: &[RoomView], page: &Page) -> String {
    let mut text = format!("{}, {}\n", inert(&site.address), inert(&site.client));
    let built = site.year_built.map_or_else(
        || "year not known".to_owned(),
        |year| format!("built {year}"),
    );
    let tax_area = site
        .tax_area
        .as_ref()
        .map(|(_, name)| format!(", tax area {}", inert(name)))
        .unwrap_or_default();
    let _ = writeln!(text, "{built}{tax_area}");
    if !site.note.is_empty() {
        let _ = writeln!(text, "Note: {}", inert(&site.note));
    }
    let _ = write!(text, "\n{}", rooms_text(rooms, page));
    let findings: Vec<Finding> = rooms
        .iter()
        .flat_map(|view| view.findings.clone())
        .collect();
    if !findings.is_empty() {
        let _ = write!(text, "\n\n{}", findings_text(&findings, page));
    }
    text
}

fn room_json(view: &RoomView, page: &Page) -> Value {
    let room = &view.room;
    let doors = room.doors.iter().map(|door| {
        json!({
            "to": door.to.as_ref().map_or("outside", |(_, name)| name),
            "width": length_json(door.width, page),
        })
    });
    json!({
        "name": room.name,
        "site": room.site,
        "area": area_json(view.area(), page),
        "edge": length_json(view.edge, page),
        "condition": room.condition.as_str(),
        "species": room.species.as_str(),
        "layout": room.layout.as_str(),
        "shape": view.shape(),
        "steps": room.floor.steps(),
        "refinished": room.refinished,
        "doors": doors.collect::<Vec<_>>(),
        "findings": view.findings.iter().map(|finding| finding_json(finding, page)).collect::<Vec<_>>(),
        "note": room.note,
    })
}

/// Renders a room as JSON.
pub fn room_view_json(view: &RoomView, page: &Page) -> Value {
    room_json(view, page)
}

/// Renders a room as text.
pub fn room_view_text(view: &RoomView, page: &Page) -> String {
    let room = &view.room;
    let mut text = format!("{}\n", view.sentence(page));
    let _ = writeln!(text, "Site: {}", inert(&room.site));
    let _ = writeln!(
        text,
        "Floor: {}, {}, {}",
        room.condition, room.species, room.layout
    );
    let _ = writeln!(text, "Shape: {}", view.shape());
    for door in &room.doors {
        let to = door.to.as_ref().map_or("outside", |(_, name)| name);
        let _ = writeln!(
            text,
            "Doorway: {}, {}",
            inert(to),
            door.width.text(page.units)
        );
    }
    if !room.refinished {
        let _ = writeln!(text, "Not to be refinished: only a way through.");
    }
    if !room.note.is_empty() {
        let _ = writeln!(text, "Note: {}", inert(&room.note));
    }
    if !view.findings.is_empty() {
        let _ = write!(text, "\n{}", findings_text(&view.findings, page));
    }
    text
}

/// Renders the rooms of a site as JSON.
pub fn rooms_json(rooms: &[RoomView], page: &Page) -> Value {
    Value::Array(rooms.iter().map(|view| room_json(view, page)).collect())
}

/// Renders the rooms of a site as text; totals are of the rooms to be refinished.
pub fn rooms_text(rooms: &[RoomView], page: &Page) -> String {
    if rooms.is_empty() {
        return "No rooms yet.".to_owned();
    }
    let mut table = page
        .table(["Room", "Condition", "Species", "Area", "Edge"])
        .numbers([3, 4]);
    for view in rooms {
        let aside = if view.room.refinished {
            ""
        } else {
            " (not refinished)"
        };
        table.row([
            format!("{}{aside}", view.room.name),
            view.room.condition.as_str().to_owned(),
            view.room.species.as_str().to_owned(),
            view.area().text(page.units),
            view.edge.text(page.units),
        ]);
    }
    let totals = Totals::of(rooms);
    table.row([
        format!("To refinish: {}", count(totals.rooms, "room")),
        String::new(),
        String::new(),
        totals.area.text(page.units),
        totals.edge.text(page.units),
    ]);
    table.to_string()
}

/// Writes how much was found and how sure that is: `10 to 30, 50 % likely`.
pub fn finding_words(finding: &Finding, page: &Page) -> String {
    let mut words = range_text(
        finding.quantity,
        finding.most.unwrap_or(finding.quantity),
        finding.unit,
        page,
    );
    let chance = finding
        .chance
        .map(|chance| rate_text(chance * Decimal::ONE_HUNDRED));
    match (&finding.if_so, chance) {
        (Some(if_so), Some(chance)) => {
            let much = range_text(if_so.low, if_so.high, if_so.unit, page);
            words.push_str(&format!("; {chance} likely {} {much}", if_so.name));
        }
        (_, Some(chance)) => words.push_str(&format!(", {chance} likely")),
        (_, None) => {}
    }
    words
}

fn finding_json(finding: &Finding, page: &Page) -> Value {
    json!({
        "id": finding.id.0,
        "kind": finding.kind,
        "quantity": page.quantity_json(finding.quantity, finding.unit),
        "most": finding.most.map(|most| page.quantity_json(most, finding.unit)),
        "chance_percent": percent_json(finding.chance.map(|chance| chance * Decimal::ONE_HUNDRED)),
        "if_so": finding.if_so.as_ref().map(|if_so| json!({
            "operation": if_so.name,
            "least": page.quantity_json(if_so.low, if_so.unit),
            "most": page.quantity_json(if_so.high, if_so.unit),
        })),
        "place": finding.place,
        "note": finding.note,
    })
}

/// Renders a finding with its room as JSON.
pub fn placed_finding_json(finding: &Finding, page: &Page) -> Value {
    let mut value = finding_json(finding, page);
    value["room"] = json!(finding.room);
    value
}

/// Renders findings as JSON.
pub fn findings_json(findings: &[Finding], page: &Page) -> Value {
    Value::Array(
        findings
            .iter()
            .map(|finding| placed_finding_json(finding, page))
            .collect(),
    )
}

/// Renders findings as text.
pub fn findings_text(findings: &[Finding], page: &Page) -> String {
    if findings.is_empty() {
        return "Nothing found yet.".to_owned();
    }
    let mut table = page
        .table(["Finding", "Room", "Kind", "Quantity", "Place", "Note"])
        .numbers([0, 3]);
    for finding in findings {
        table.row([
            finding.id.0.to_string(),
            finding.room.clone(),
            finding.kind.clone(),
            finding_words(finding, page),
            finding.place.clone(),
            finding.note.clone(),
        ]);
    }
    table.to_string()
}

/// Renders a worker as JSON.
pub fn worker_json(worker: &Worker, page: &Page) -> Value {
    json!({
        "currency": page.currency.code(),
        "name": worker.name,
        "wage": page.money_json(worker.wage),
        "active": worker.active,
    })
}

/// Renders the list of workers as JSON.
pub fn workers_json(workers: &[Worker], page: &Page) -> Value {
    let workers = workers.iter().map(|worker| {
        json!({ "name": worker.name, "wage": page.money_json(worker.wage), "active": worker.active })
    });
    json!({ "currency": page.currency.code(), "workers": workers.collect::<Vec<_>>() })
}

/// Renders the list of workers as text.
pub fn workers_text(workers: &[Worker], page: &Page) -> String {
    if workers.is_empty() {
        return "No workers yet.".to_owned();
    }
    let wage = format!("Wage, {}/h", page.currency.code());
    let mut table = page.table(["Worker", &wage, ""]).numbers([1]);
    for worker in workers {
        let standing = if worker.active { "" } else { "inactive" };
        table.row([
            worker.name.clone(),
            page.money(worker.wage),
            standing.to_owned(),
        ]);
    }
    table.to_string()
}
