//! Clients, their sites, the rooms there, what was found, and the firm's workers.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use chrono::NaiveDate;

use super::figures::{Amount, Percent, Quantity, Run, SetPercent, Surface, range_text};
use super::invoice::{Tax, balance_text, taxes_text};
use super::{Answer, List, Page, Table, agree, count, inert, or_blank};
use crate::ledger::{
    Client, Door, Finding, IfSo, Invoice, Job, JobState, NewClient, Room, Site, TurnedUp, Worker,
    came_true,
};
use crate::measure::Length;
use crate::money::{Money, round};
use crate::trade::parts::PlacedPart;
use crate::trade::{ClientId, FloorCondition, Layout, RoomId, Species};

answer! {
    /// What is known of a client.
    struct ClientFacts from details: NewClient on page {
        name: String,
        phone: String,
        email: String,
        address: String,
        tax_number: String,
        exempt: String,
        note: String,
    }
}

answer! {
    /// A client in a list.
    struct ClientRow of (client: Client, balances: &BTreeMap<ClientId, Money>) on page
    let balance = balances.get(&client.id).copied().unwrap_or_default();
    {
        #[serde(flatten)]
        client: ClientFacts = ClientFacts::new(client.details, page),
        balance: Amount,
    }
}

answer! {
    /// The clients, each with what they owe less what is kept as their credit.
    pub struct ClientList(Vec<ClientRow>) of (clients: Vec<Client>) with (balances: &BTreeMap<ClientId, Money>) on page;
}

listed! { ClientList, 0, answer: by_rows, by_day: false }

impl ClientList {
    /// Says how many there are, and what they owe.
    fn answer(&self, page: &Page) -> String {
        let owing = self.0.iter().map(|row| row.balance.money);
        let owing: Vec<Money> = owing.filter(|owed| *owed > Money::ZERO).collect();
        let owed = page.amount(owing.iter().copied().sum()).with_currency();
        let owe = match owing.len() {
            0 => "nobody owes anything".to_owned(),
            owing => format!("{} {owed}", agree(owing, "owes", "owe")),
        };
        format!("{}; {owe}.", count(self.0.len(), "client"))
    }
}

impl Answer for ClientList {
    fn text(&self, page: &Page) -> String {
        if self.0.is_empty() {
            return "No clients yet.".to_owned();
        }
        let mut table = page
            .table(["Client", "Phone", "Email", "Address", "Owes"])
            .numbers([4])
            .goes([2, 1]);
        for ClientRow { client, balance } in &self.0 {
            table.line([
                &client.name,
                &client.phone,
                &client.email,
                &client.address,
                balance,
            ]);
        }
        page.led(&self.answer(page), table)
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.0)
    }
}

answer! {
    /// A client's job.
    struct ClientJob of (job: Job) on page {
        number: String = job.number,
        state: JobState = job.state,
        site: String = job.site,
    }

    /// An invoice to a client.
    struct ClientInvoice of (invoice: &Invoice) on page {
        number: Option<String> = invoice.number.clone(),
        #[serde(skip)]
        name: String = match invoice.credits {
            Some(_) => format!("{}, credit", invoice.name()),
            None => invoice.name(),
        },
        job: String = invoice.job.clone(),
        due_on: Option<NaiveDate> = invoice.due_on.filter(|_| invoice.credits.is_none()),
        net: Amount = page.amount(invoice.net),
        taxes: Vec<Tax> = page.each(invoice.taxes.clone(), Tax::new),
        total: Amount = page.amount(invoice.total()),
        paid: Amount = page.amount(invoice.paid),
        due: Amount = page.amount(invoice.due()),
        credit: Amount = page.amount(invoice.credit()),
    }

    /// A client with sites, jobs and what is owed.
    pub struct ClientAnswer of (client: Client, sites: Vec<Site>, jobs: Vec<Job>, invoices: &[Invoice]) on page {
        #[serde(flatten)]
        client: ClientFacts = ClientFacts::new(client.details, page),
        sites: Vec<String> = sites.into_iter().map(|site| site.address).collect(),
        jobs: Vec<ClientJob>,
        currency: &'static str = page.currency.code(),
        invoices: Vec<ClientInvoice> = invoices.iter().map(|invoice| ClientInvoice::new(invoice, page)).collect(),
        owed: Amount = page.amount(invoices.iter().map(Invoice::due).sum()),
        lost: Amount = page.amount(invoices.iter().map(Invoice::lost).sum()),
        credit: Amount = page.amount(invoices.iter().map(Invoice::credit).sum()),
        balance: Amount = page.amount(invoices.iter().map(|invoice| invoice.due() - invoice.credit()).sum()),
    }
}

impl Answer for ClientAnswer {
    fn text(&self, page: &Page) -> String {
        let client = &self.client;
        let owes = match (self.owed.money.is_zero(), self.credit.money.is_zero()) {
            (true, true) => "owes nothing".to_owned(),
            (true, false) => format!("has {} kept as credit", self.credit.with_currency()),
            (false, _) => format!("owes {}", balance_text(self.owed, self.credit)),
        };
        let lost = match self.lost.money.is_zero() {
            true => String::new(),
            false => format!("; {} is written off", self.lost),
        };
        let answer = format!("{} {owes}{lost}.", inert(&client.name));
        let mut text = format!("{}\n", page.prose(&answer));
        let facts = [
            ("Phone", &client.phone),
            ("Email", &client.email),
            ("Address", &client.address),
            ("Tax number", &client.tax_number),
            ("No tax is asked", &client.exempt),
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
                .numbers([3, 4, 5, 6])
                .goes([3, 4]);
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
        text
    }
}

answer! {
    /// What is known of a site.
    struct SiteFacts from site: Site on page {
        address: String,
        client: String,
        year_built: Option<i32>,
        tax_area: Option<String> = site.tax_area.map(|(_, name)| name),
        /// One way.
        distance: Option<Quantity> = page.measured_if(site.distance, page.road()),
        note: String,
        .. { id, client_id, tax_area, distance }
    }
}

answer! {
    /// The sites.
    pub struct SiteList(Vec<SiteFacts>) of (sites: Vec<Site>) on page;
}

listed! { SiteList, 0, answer: by_rows, by_day: false }

impl SiteList {
    /// Says how many there are, and of how many clients.
    fn answer(&self, _: &Page) -> String {
        let clients: BTreeSet<&str> = self.0.iter().map(|site| &*site.client).collect();
        let (sites, clients) = (count(self.0.len(), "site"), count(clients.len(), "client"));
        format!("{sites} of {clients}.")
    }
}

impl Answer for SiteList {
    fn text(&self, page: &Page) -> String {
        if self.0.is_empty() {
            return "No sites yet.".to_owned();
        }
        let mut table = page
            .table(["Site", "Client", "Built", "Tax area"])
            .numbers([2])
            .goes([3]);
        for site in &self.0 {
            let built = site.year_built.map(|year| year.to_string());
            table.line([
                &site.address,
                &site.client,
                &built.as_deref().unwrap_or("not known"),
                &or_blank(site.tax_area.as_ref()),
            ]);
        }
        page.led(&self.answer(page), table)
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.0)
    }
}

answer! {
    /// A site with its rooms and findings; area and edge are of the rooms to be refinished.
    pub struct SiteAnswer of (site: Site, rooms: RoomList) on page {
        #[serde(flatten)]
        site: SiteFacts,
        area: Surface = rooms.area,
        edge: Run = rooms.edge,
        rooms: RoomList,
        findings: FindingList = rooms.findings(),
    }
}

impl Answer for SiteAnswer {
    fn text(&self, page: &Page) -> String {
        let site = &self.site;
        let answer = format!("{}: {}", inert(&site.address), self.rooms.answer());
        let mut text = format!("{}\n{}; ", page.prose(&answer), inert(&site.client));
        let built = site.year_built.map_or_else(
            || "year not known".to_owned(),
            |year| format!("built {year}"),
        );
        let tax_area = site.tax_area.as_ref();
        let tax_area = tax_area.map(|name| format!(", tax area {}", inert(name)));
        let away = site.distance.map(|distance| format!(", {distance} away"));
        let _ = writeln!(text, "{built}{}{}", or_blank(tax_area), or_blank(away));
        if !site.note.is_empty() {
            let _ = writeln!(text, "Note: {}", inert(&site.note));
        }
        if !self.rooms.rooms.is_empty() {
            let _ = write!(text, "\n{}", self.rooms.table(page));
        }
        if !self.findings.0.is_empty() {
            let _ = write!(text, "\n\n{}", self.findings.table(page));
        }
        text
    }

    fn list(&self) -> Option<List<'_>> {
        self.rooms.list()
    }
}

answer! {
    /// A doorway, from this side.
    struct Doorway of (door: Door) on page {
        to: String = door.to.map_or("outside".to_owned(), |(_, name)| name),
        width: Run = page.run(door.width),
    }

    /// A part of a room's floor in a condition of its own.
    struct PartFacts of (placed: PlacedPart) on page {
        size: String = placed.part.typed_size(),
        condition: FloorCondition = placed.part.condition,
        area: Surface = page.surface(placed.area),
        edge: Run = page.run(placed.edge),
    }

    /// A room as it is shown: measured, with what was found in it.
    pub struct RoomAnswer from room: Room with (edge: Length, parts: Vec<PlacedPart>, findings: &[Finding]) on page
    // Of a way through the house that nobody measured, nothing of its floor is known.
    let known = room.floor.is_measured().then_some(());
    {
        name: String,
        site: String,
        area: Option<Surface> = known.map(|()| page.surface(room.floor.area())),
        edge: Option<Run> = known.map(|()| page.run(edge)),
        condition: Option<FloorCondition> = known.and(Some(room.condition)),
        parts: Vec<PartFacts> = page.each(parts, PartFacts::new),
        species: Option<Species> = known.and(Some(room.species)),
        layout: Option<Layout> = known.and(Some(room.layout)),
        /// As it was typed.
        shape: String = room.floor.typed_text(),
        steps: Option<u32> = room.floor.steps(),
        refinished: bool,
        doors: Vec<Doorway>,
        findings: Vec<FindingFacts> = of_room(room.id, findings, page),
        note: String,
        .. { id, site_id, floor, condition, species, layout, parts }
    }
}

impl RoomAnswer {
    /// Writes the measures as one sentence: `Landing: 45 sq ft, edge 23 ft 10 in.`
    pub fn sentence(&self) -> String {
        let name = inert(&self.name);
        let Some((area, edge)) = self.area.zip(self.edge) else {
            return format!("{name}: a way through, not measured.");
        };
        match self.steps {
            Some(steps) => format!(
                "{name}: {}, {area} of treads and risers.",
                count(steps, "step")
            ),
            None => format!("{name}: {area}, edge {edge}."),
        }
    }
}

impl RoomAnswer {
    /// Names its condition, and those of its parts: `sound-film, part worn-film`.
    fn conditions(&self) -> String {
        let mut conditions: Vec<FloorCondition> = self.condition.into_iter().collect();
        for part in &self.parts {
            if !conditions.contains(&part.condition) {
                conditions.push(part.condition);
            }
        }
        let names: Vec<&str> = conditions.iter().map(|one| one.as_str()).collect();
        names.join(", part ")
    }
}

impl Answer for RoomAnswer {
    fn text(&self, page: &Page) -> String {
        let mut text = format!("{}\n", self.sentence());
        let _ = writeln!(text, "Site: {}", inert(&self.site));
        if let (Some(condition), Some(species), Some(layout)) =
            (self.condition, self.species, self.layout)
        {
            let _ = writeln!(text, "Floor: {condition}, {species}, {layout}");
        }
        for PartFacts {
            size,
            condition,
            area,
            edge,
        } in &self.parts
        {
            let size = inert(size);
            let _ = writeln!(text, "Part: {condition}, {size}: {area}, edge {edge}");
        }
        let _ = writeln!(text, "Shape: {}", inert(&self.shape));
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

answer! {
    /// Rooms, and what is to be refinished of them.
    #[serde(transparent)]
    pub struct RoomList of (rooms: Vec<RoomAnswer>) on page {
        #[serde(skip)]
        to_refinish: usize = refinished(&rooms).count(),
        #[serde(skip)]
        area: Surface = page.surface(refinished(&rooms).filter_map(|room| Some(room.area?.area)).sum()),
        #[serde(skip)]
        edge: Run = page.run(refinished(&rooms).filter_map(|room| Some(room.edge?.length)).sum()),
        rooms: Vec<RoomAnswer>,
    }
}

told_as_it_is!(RoomAnswer, RoomList);

impl RoomList {
    /// Returns what was found in them.
    fn findings(&self) -> FindingList {
        let findings = self.rooms.iter().flat_map(|room| {
            let findings = room.findings.iter();
            findings.map(|finding| PlacedFinding {
                finding: finding.clone(),
                room: room.name.clone(),
            })
        });
        FindingList(findings.collect())
    }
}

impl RoomList {
    /// Says how much is to be refinished: `3 rooms to refinish, 312 sq ft.`
    fn answer(&self) -> String {
        match self.rooms.is_empty() {
            true => "no rooms yet.".to_owned(),
            false => {
                let rooms = count(self.to_refinish, "room");
                format!("{rooms} to refinish, {}.", self.area)
            }
        }
    }

    fn table(&self, page: &Page) -> Table {
        let mut table = page
            .table(["Room", "Condition", "Species", "Area", "Edge"])
            .numbers([3, 4])
            .goes([2]);
        for room in &self.rooms {
            let aside = match room.refinished {
                true => "",
                false => " (not refinished)",
            };
            table.line([
                &format!("{}{aside}", room.name),
                &room.conditions(),
                &or_blank(room.species),
                &or_blank(room.area),
                &or_blank(room.edge),
            ]);
        }
        let rooms = count(self.to_refinish, "room");
        table.line([&rooms, &"to refinish", &"", &self.area, &self.edge]);
        table
    }
}

fn refinished(rooms: &[RoomAnswer]) -> impl Iterator<Item = &RoomAnswer> {
    rooms.iter().filter(|room| room.refinished)
}

listed! { RoomList, rooms, answer: made, by_day: false }

impl Answer for RoomList {
    fn text(&self, page: &Page) -> String {
        if self.rooms.is_empty() {
            return "No rooms yet.".to_owned();
        }
        page.led(&self.answer(), self.table(page))
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.rooms)
    }
}

answer! {
    /// What a finding may take beside its answer.
    #[derive(Clone)]
    struct MayTake of (if_so: IfSo) on page {
        operation: String = if_so.name,
        least: Quantity = page.measured(if_so.low, if_so.unit),
        most: Quantity = page.measured(if_so.high, if_so.unit),
    }

    /// What was found.
    #[derive(Clone)]
    struct FindingFacts from finding: Finding on page {
        id: i64 = finding.id.0,
        kind: String,
        quantity: Quantity = page.measured(finding.quantity, finding.unit),
        pieces: Vec<Run>,
        most: Option<Quantity> = page.measured_if(finding.most, finding.unit),
        chance_percent: Percent = Percent::of_one(finding.chance),
        if_so: Option<MayTake>,
        turned_up: Option<bool>,
        place: String,
        note: String,
        .. { id, room_id, room, quantity, most, unit, chance }
    }
}

impl FindingFacts {
    /// Writes how much was found, how sure that is and whether it came true: `10 to 30, 50 % likely; turned up`.
    fn words(&self) -> String {
        let likely = self.likely();
        let gap = match (&self.if_so, likely.is_empty()) {
            (_, true) => "",
            (Some(_), _) => "; ",
            (None, _) => ", ",
        };
        format!("{}{gap}{likely}", self.much())
    }

    /// Writes how much was found.
    fn much(&self) -> String {
        let mut much = range_text(self.quantity, self.most.unwrap_or(self.quantity));
        if !self.pieces.is_empty() {
            let _ = write!(much, " in {}", count(self.pieces.len(), "piece"));
        }
        much
    }

    /// Writes how sure that is, of what, and whether it came true; nothing: it is there.
    fn likely(&self) -> String {
        let Some(chance) = self.chance_percent.0.map(SetPercent) else {
            return String::new();
        };
        let may = self.if_so.as_ref();
        let may = may.map(|may| format!(" {} {}", may.operation, range_text(may.least, may.most)));
        let did = self.turned_up.map(|did| format!("; {}", came_true(did)));
        format!("{chance} likely{}{}", or_blank(may), or_blank(did))
    }
}

impl FindingFacts {
    fn place_and_note(&self) -> String {
        let said = [&*self.place, &*self.note].into_iter();
        let said: Vec<&str> = said.filter(|words| !words.is_empty()).collect();
        said.join("; ")
    }

    /// Says what may come of it, how much of that, and how likely: `may be replace-boards`, `2 to 4`, `40 % likely`.
    fn may_be(&self) -> Option<[String; 3]> {
        let chance = SetPercent(self.chance_percent.0?);
        let did = self.turned_up.map(|did| format!("; {}", came_true(did)));
        let likely = format!("{chance} likely{}", or_blank(did));
        Some(match &self.if_so {
            Some(may) => [
                format!("may be {}", may.operation),
                range_text(may.least, may.most),
                likely,
            ],
            None => ["may turn up".to_owned(), String::new(), likely],
        })
    }
}

fn of_room(room: RoomId, findings: &[Finding], page: &Page) -> Vec<FindingFacts> {
    let own = findings.iter().filter(|finding| finding.room_id == room);
    own.map(|finding| FindingFacts::new(finding.clone(), page))
        .collect()
}

/// What may come of a finding stands on a line of its own below it, so that rows stay short.
fn findings_table<'a>(
    findings: impl Iterator<Item = (&'a FindingFacts, &'a str)>,
    page: &Page,
) -> Table {
    let mut table = page
        .table(["No.", "Room", "Kind", "Quantity", "Place, note"])
        .numbers([0, 3]);
    for (finding, room) in findings {
        table.line([
            &finding.id,
            &room,
            &finding.kind,
            &finding.much(),
            &finding.place_and_note(),
        ]);
        if let Some([what, much, chance]) = finding.may_be() {
            table.line([&"", &"", &what, &much, &chance]);
        }
    }
    table
}

answer! {
    /// A finding with its room.
    pub struct PlacedFinding of (finding: Finding) on page {
        #[serde(flatten)]
        finding: FindingFacts,
        room: String = finding.room.clone(),
    }
}

impl PlacedFinding {
    /// Says what was noted, where and how much of it: `proud-nails in Landing: 12`.
    pub fn words(&self) -> String {
        let PlacedFinding { finding, room } = self;
        format!("{} in {room}: {}", finding.kind, finding.words())
    }
}

answer! {
    /// Findings.
    pub struct FindingList(Vec<PlacedFinding>) of (findings: Vec<Finding>) on page;
}

impl FindingList {
    /// Says how much was found and how much of it isn't certain: `3 findings in 2 rooms, 1 of them not certain.`
    fn answer(&self) -> String {
        let rooms: BTreeSet<&str> = self.0.iter().map(|placed| &*placed.room).collect();
        let (findings, rooms) = (count(self.0.len(), "finding"), count(rooms.len(), "room"));
        let unsure = self.0.iter();
        let unsure = unsure.filter(|placed| placed.finding.chance_percent.0.is_some());
        match unsure.count() {
            0 => format!("{findings} in {rooms}."),
            unsure => format!("{findings} in {rooms}, {unsure} of them not certain."),
        }
    }

    fn table(&self, page: &Page) -> Table {
        let rows = self.0.iter();
        let rows = rows.map(|placed| (&placed.finding, placed.room.as_str()));
        findings_table(rows, page)
    }
}

impl Answer for FindingList {
    fn text(&self, page: &Page) -> String {
        if self.0.is_empty() {
            return "Nothing found yet.".to_owned();
        }
        page.led(&self.answer(), self.table(page))
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.0)
    }
}

answer! {
    /// How often work that may turn up did so.
    struct CameTrue from all: TurnedUp on page {
        operation: String,
        turned_up: u32,
        answered: u32,
        quoted_percent: Percent = Percent::of_one(Some(all.chance)),
        .. { chance }
    }

    /// Findings, and what came of those that had a chance, wherever they were.
    pub struct Findings of (findings: Vec<Finding>, turned_up: Vec<TurnedUp>) on page {
        findings: FindingList,
        turned_up: Vec<CameTrue>,
    }
}

listed! { Findings, findings.0, answer: by_rows, by_day: false }

impl Findings {
    fn answer(&self, _: &Page) -> String {
        self.findings.answer()
    }
}

impl Answer for Findings {
    fn text(&self, page: &Page) -> String {
        let mut text = self.findings.text(page);
        let gap = if self.turned_up.is_empty() { "" } else { "\n" };
        text.push_str(gap);
        for all in &self.turned_up {
            let quoted = SetPercent(round(all.quoted_percent.0.unwrap_or_default(), 1));
            let _ = write!(
                text,
                "\n{}: {} of {} turned up, quoted {quoted} on average",
                inert(&all.operation),
                all.turned_up,
                all.answered
            );
        }
        text
    }

    fn list(&self) -> Option<List<'_>> {
        self.findings.list()
    }
}

answer! {
    /// What is known of a worker.
    struct WorkerFacts from worker: Worker on page {
        name: String,
        wage: Amount,
        active: bool,
        .. { id }
    }

    /// A worker.
    pub struct WorkerAnswer of (worker: Worker) on page {
        currency: &'static str = page.currency.code(),
        #[serde(flatten)]
        worker: WorkerFacts,
    }

    /// The workers.
    pub struct WorkerList of (workers: Vec<Worker>) on page {
        currency: &'static str = page.currency.code(),
        workers: Vec<WorkerFacts>,
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
        let active = self.workers.iter().filter(|worker| worker.active);
        let wages: Vec<Amount> = active.map(|worker| worker.wage).collect();
        let least = wages.iter().min_by_key(|wage| wage.money);
        let most = wages.iter().max_by_key(|wage| wage.money);
        let wages = match least.zip(most) {
            Some((least, most)) if least.money == most.money => {
                format!(" at {}", most.with_currency())
            }
            Some((least, most)) => format!(" at {least} to {}", most.with_currency()),
            None => String::new(),
        };
        let active = self.workers.iter().filter(|worker| worker.active).count();
        let hour = if wages.is_empty() { "" } else { " an hour" };
        page.led(&format!("{}{wages}{hour}.", count(active, "worker")), table)
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.workers)
    }
}
