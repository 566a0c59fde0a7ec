//! Plans as they are kept with their quotes, and made again when a day was lost, the start has moved or the job was varied.

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime};
use rusqlite::named_params;

use super::house_brief::{Gathered, check_start, places_of};
use super::house_sheet::names_of;
use super::{
    Asking, DraftRequest, HouseRequest, HouseSheet, Job, JobState, Ledger, QuoteRecord, Refusal,
    Room, Site, Writing, kept, refuse, typed,
};
use crate::trade::plan::{Begun, HousePlan, Machine, Phase, Places, Remark, Way, plan};
use crate::trade::{JobId, OperationId, QuoteId, RoomId};

/// A plan as it is kept.
#[derive(Clone, Debug)]
pub struct KeptPlan {
    /// The quote that it belongs to.
    pub quote: QuoteRecord,
    /// How often it has been planned again.
    pub revision: u32,
    /// The plan.
    pub plan: HousePlan,
    /// What was asked for.
    pub request: HouseRequest,
    /// Every day that was lost.
    pub lost: Vec<NaiveDate>,
    /// The names of the rooms and ways.
    pub names: BTreeMap<RoomId, String>,
    /// When the plan was made.
    pub recorded_at: NaiveDateTime,
    /// What it was before, the oldest first.
    pub earlier: Vec<HousePlan>,
}

impl KeptPlan {
    /// Returns the plan that was offered: making it again changes no quote.
    pub fn as_offered(&self) -> &HousePlan {
        self.earlier.first().unwrap_or(&self.plan)
    }
}

/// How a plan differs from what is agreed by now, by the names of rooms.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Outdated {
    /// Rooms that it has, and that aren't done any more.
    pub gone: Vec<String>,
    /// Rooms that are to be done, and that it doesn't have.
    pub new: Vec<String>,
}

impl Outdated {
    /// Tells whether the plan is as it was agreed.
    pub fn is_empty(&self) -> bool {
        self.gone.is_empty() && self.new.is_empty()
    }
}

impl Ledger {
    /// Returns how the plan of a job differs from what is agreed by now.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn outdated(&self, job: &Job, kept: &KeptPlan) -> Result<Outdated> {
        let floors = self.floors_to_do(job)?;
        let planned = kept.plan.phases.iter().flat_map(|phase| &phase.rooms);
        let planned: BTreeSet<RoomId> = planned.copied().collect();
        let gone = planned
            .iter()
            .filter(|id| floors.iter().all(|room| room.id != **id));
        let gone = gone.filter_map(|id| kept.names.get(id).cloned());
        let new = floors.iter().filter(|room| !planned.contains(&room.id));
        Ok(Outdated {
            gone: gone.collect(),
            new: new.map(|room| room.name.clone()).collect(),
        })
    }

    /// Returns the rooms whose floors are still to be sanded or coated for a job: variations may have taken some away and
    /// added others.
    fn floors_to_do(&self, job: &Job) -> Result<Vec<Room>> {
        let agreed = self.agreed(job)?;
        let to_do = agreed.rooms_to_do();
        let quotes = agreed.quotes.iter().map(|record| &record.quote);
        let of_floors = quotes.filter(|quote| quote.sequence.is_some() || quote.schedule.is_some());
        let quoted: BTreeSet<RoomId> = of_floors
            .flat_map(|quote| quote.rooms.iter().map(|room| room.id))
            .collect();
        let mut rooms = self.rooms_of(job.site_id)?;
        rooms.retain(|room| {
            let is_to_do = to_do.iter().any(|known| known.id == room.id);
            is_to_do && room.refinished && quoted.contains(&room.id)
        });
        Ok(rooms)
    }

    /// Returns work of rooms that was agreed for a job and taken away since.
    pub(super) fn taken_away(&self, job: JobId) -> Result<BTreeSet<(RoomId, OperationId)>> {
        let agreed = self.agreed(&self.job_by_id(job)?)?;
        let in_rooms = |record: &QuoteRecord| -> BTreeSet<(RoomId, OperationId)> {
            let work = record.quote.work();
            work.filter_map(|work| Some((work.room?, work.operation)))
                .collect()
        };
        let mut gone = BTreeSet::new();
        for record in &agreed.quotes {
            gone.extend(in_rooms(&self.quote_by_id(record.header.id)?));
        }
        for record in &agreed.quotes {
            let stands = in_rooms(record);
            gone.retain(|work| !stands.contains(work));
        }
        Ok(gone)
    }

    /// Returns the plan that a quote or a job was made from, as it stands.
    ///
    /// # Errors
    /// Refuses a number that isn't there, and a quote without a plan.
    pub fn kept_plan(&self, number: &str) -> Result<KeptPlan> {
        let record = match number.contains(['j', 'J']) {
            true => self.quote_of_job(&self.job(number)?)?,
            false => self.quote(number)?,
        };
        self.kept_plan_of(record)
    }

    /// Returns the plan of a job.
    ///
    /// # Errors
    /// Refuses a job without a plan.
    pub fn kept_plan_of_job(&self, job: &Job) -> Result<KeptPlan> {
        self.kept_plan_of(self.quote_of_job(job)?)
    }

    /// Returns the plan of a job; `None`: it has none.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn plan_of_job(&self, job: &Job) -> Result<Option<KeptPlan>> {
        match job.quote_id {
            Some(id) if self.has_plan(id)? => self.plan_of_quote(&self.quote_by_id(id)?),
            _ => Ok(None),
        }
    }

    fn has_plan(&self, quote: QuoteId) -> Result<bool> {
        let sql = "SELECT 1 FROM house_plan WHERE quote_id = :quote";
        let mut statement = self.connection.prepare_cached(sql)?;
        Ok(statement.exists(named_params! { ":quote": quote })?)
    }

    fn quote_of_job(&self, job: &Job) -> Result<QuoteRecord> {
        match job.quote_id {
            Some(id) => self.quote_by_id(id),
            None => {
                Err(Refusal::new(format!("{} has no quote, and so no plan", job.number)).into())
            }
        }
    }

    fn kept_plan_of(&self, quote: QuoteRecord) -> Result<KeptPlan> {
        match self.plan_of_quote(&quote)? {
            Some(kept) => Ok(kept),
            None => {
                let refusal =
                    Refusal::new(format!("{} was not made from a plan", quote.header.number));
                let site = typed(&self.address_of(quote.header.site_id)?);
                let rooms = quote.quote.rooms.iter();
                let rooms: String = rooms
                    .map(|room| format!(" --room {}", typed(&room.name)))
                    .collect();
                let hint = format!("gritledger plan house {site} --start DATE{rooms}");
                Err(refusal.hint(hint).into())
            }
        }
    }

    /// Returns the plan that a quote was drafted from, as it stands; `None`: there is none.
    pub(super) fn plan_of_quote(&self, quote: &QuoteRecord) -> Result<Option<KeptPlan>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT revision, plan, request, lost_days, recorded_at FROM house_plan WHERE quote_id = :quote ORDER BY revision",
        )?;
        let mut rows = statement.query(named_params! { ":quote": quote.header.id })?;
        let of = quote.header.row();
        let mut earlier: Vec<HousePlan> = Vec::new();
        let mut newest = None;
        while let Some(row) = rows.next()? {
            let read = |column: &str| Ok::<_, rusqlite::Error>(row.get_ref(column)?.as_str()?);
            let plan: HousePlan = kept::read(read("plan")?, &of)?;
            let request: HouseRequest = kept::read(read("request")?, &of)?;
            let lost: Vec<NaiveDate> = kept::read(read("lost_days")?, &of)?;
            let (revision, recorded_at) = (row.get("revision")?, row.get("recorded_at")?);
            earlier.push(plan);
            newest = Some((revision, request, lost, recorded_at));
        }
        let Some((plan, (revision, request, lost, recorded_at))) = earlier.pop().zip(newest) else {
            return Ok(None);
        };
        let mut names = names_of(&self.rooms_of(quote.header.site_id)?);
        let quoted = quote.quote.rooms.iter();
        names.extend(quoted.map(|room| (room.id, room.name.clone())));
        Ok(Some(KeptPlan {
            revision,
            plan,
            request,
            lost,
            names,
            recorded_at,
            earlier,
            quote: quote.clone(),
        }))
    }
}

impl Writing<'_> {
    /// Drafts the quote of a planned house, and keeps the plan with it.
    ///
    /// # Errors
    /// Refuses what can't be planned, and a plan that isn't feasible.
    pub fn accept_plan(
        &self,
        site: &Site,
        request: &HouseRequest,
        asking: &Asking,
        progress: &dyn Fn(u32),
    ) -> Result<(HouseSheet, QuoteRecord)> {
        let sheet = self.plan_house(site, request, asking, progress)?;
        let (Some(plan), Some(priced)) = (&sheet.chosen.way.plan, &sheet.priced) else {
            return Err(Refusal::new("a plan that isn't feasible makes no quote")
                .hint("the same command without --accept says what stands in its way")
                .into());
        };
        let rates = self.rates()?;
        let draft = DraftRequest {
            start: plan.first_day(),
            ..DraftRequest::default()
        };
        let record = self.insert_quotes(site, &draft, std::slice::from_ref(priced), &rates)?;
        // Asked again, the same rooms are meant, whatever jobs there are by then.
        let request = HouseRequest {
            rooms: priced
                .quote
                .rooms
                .iter()
                .map(|room| room.name.clone())
                .collect(),
            ..request.clone()
        };
        self.keep_plan(record.header.id, 0, plan, &request, &[])?;
        self.log(&format!(
            "Drafted quote {} for {} from a plan.",
            record.header.number, site.address
        ))?;
        Ok((sheet, record))
    }

    fn keep_plan(
        &self,
        quote: QuoteId,
        revision: u32,
        plan: &HousePlan,
        request: &HouseRequest,
        lost: &[NaiveDate],
    ) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO house_plan (id, quote_id, revision, plan, request, lost_days, recorded_at)
                 VALUES (:id, :quote, :revision, :plan, :request, :lost, :now)",
            )?
            .execute(named_params! {
                ":id": self.new_id("house_plan")?, ":quote": quote, ":revision": revision,
                ":plan": kept::text(plan)?, ":request": kept::text(request)?,
                ":lost": kept::text(&lost.to_vec())?, ":now": self.now(),
            })?;
        Ok(())
    }

    /// Plans the rest of a job again after days were lost: phases that had begun by the first of them or by today go on, the
    /// others are planned anew, from today on. Returns why it is as it is.
    ///
    /// # Errors
    /// Refuses a job without a plan, a closed one, and days that the plan doesn't work on.
    pub fn lose_days(
        &self,
        job: &Job,
        days: &[NaiveDate],
        progress: &dyn Fn(u32),
    ) -> Result<Vec<Remark>> {
        let kept = self.plan_to_move(job)?;
        let work = kept.plan.phases.iter().flat_map(|phase| &phase.work);
        let worked: BTreeSet<NaiveDate> = work.map(|stretch| stretch.day).collect();
        if let Some(idle) = days.iter().find(|day| !worked.contains(day)) {
            return Err(
                Refusal::new(format!("nothing is planned on {idle}, so nothing is lost"))
                    .hint(format!("gritledger job dates {}", job.number))
                    .into(),
            );
        }
        let Some(earliest) = days.iter().min() else {
            return Ok(Vec::new());
        };
        let mut lost = kept.lost.clone();
        lost.extend(days);
        let has_begun = |phase: &Phase| {
            let mut worked = phase.work.iter().map(|stretch| stretch.day);
            let by_then = worked.clone().next().is_some_and(|first| first < *earliest);
            by_then || worked.any(|day| day <= self.today() && !days.contains(&day))
        };
        let again = (&kept.request, &lost[..]);
        let why = self.plan_again(job, &kept, again, has_begun, progress)?;
        let days: Vec<String> = days.iter().map(ToString::to_string).collect();
        self.log(&format!(
            "Planned {} again: lost {}.",
            job.number,
            days.join(", ")
        ))?;
        Ok(why)
    }

    /// Plans a job again that begins on another day than it was planned to. Returns why it is as it is.
    ///
    /// # Errors
    /// Refuses a job without a plan, a closed one, one on which hours are logged already, and a start that is past or
    /// isn't worked on.
    pub fn begin_on(
        &self,
        job: &Job,
        start: NaiveDate,
        progress: &dyn Fn(u32),
    ) -> Result<Vec<Remark>> {
        let kept = self.plan_to_move(job)?;
        let entries = self.day_book_of(job)?.entries;
        let hours = entries
            .iter()
            .find(|entry| entry.kind == "hours" && !entry.voided);
        if let Some(hours) = hours {
            return Err(Refusal::new(format!(
                "{} has begun: hours are logged on {}",
                job.number, hours.happened_on
            ))
            .hint(format!("gritledger job dates {} --lost DATE", job.number))
            .into());
        }
        let request = HouseRequest {
            start,
            ..kept.request.clone()
        };
        check_start(&self.settings()?.calendar(), start, self.today())?;
        let again = (&request, &kept.lost[..]);
        let why = self.plan_again(job, &kept, again, |_| false, progress)?;
        self.log(&format!(
            "Planned {} again: it begins on {start} or later.",
            job.number
        ))?;
        Ok(why)
    }

    /// Plans a job again as variations have left it: phases that have begun by today go on. Returns why it is as it is.
    ///
    /// # Errors
    /// Refuses a job without a plan, and one that is over.
    pub fn plan_as_varied(&self, job: &Job, progress: &dyn Fn(u32)) -> Result<Vec<Remark>> {
        let kept = self.plan_to_move(job)?;
        let is_under_way = self.job_by_id(job.id)?.state != JobState::Agreed;
        let has_begun = |phase: &Phase| {
            let mut worked = phase.work.iter().map(|stretch| stretch.day);
            is_under_way && worked.any(|day| day <= self.today())
        };
        let mut request = kept.request.clone();
        if !kept.plan.phases.first().is_some_and(has_begun) {
            request.start = request.start.max(self.today());
        }
        let again = (&request, &kept.lost[..]);
        let why = self.plan_again(job, &kept, again, has_begun, progress)?;
        self.log(&format!("Planned {} again as it was varied.", job.number))?;
        Ok(why)
    }

    fn plan_to_move(&self, job: &Job) -> Result<KeptPlan> {
        self.refuse_cancelled(job, "nothing of it is planned")?;
        if self.job_by_id(job.id)?.is_closed() {
            refuse!("{} is closed: its dates are past", job.number);
        }
        self.kept_plan_of_job(job)
    }

    /// Plans again what is agreed by now, by what is asked for with the days that are lost, and keeps that: phases that have
    /// begun stay as they were planned, but for lost days and for what was varied.
    fn plan_again(
        &self,
        job: &Job,
        kept: &KeptPlan,
        (request, lost): (&HouseRequest, &[NaiveDate]),
        has_begun: impl Fn(&Phase) -> bool,
        progress: &dyn Fn(u32),
    ) -> Result<Vec<Remark>> {
        let site = self.site(&self.address_of(job.site_id)?)?;
        let rooms = self.floors_to_do(job)?.into_iter();
        let request = HouseRequest {
            rooms: rooms.map(|room| room.name).collect(),
            ..request.clone()
        };
        let mut gathered = self.gather(&site, &request, lost, Some(job.id), progress)?;
        let request = &gathered.without_ways(request);
        let varied = self.varied_rooms(job)?;
        let phases = kept.plan.phases.iter().enumerate();
        let begun = phases.take_while(|(_, phase)| has_begun(phase));
        gathered.begun = begun
            .filter_map(|(number, phase)| {
                let rooms = places_of(&gathered.house, &phase.rooms);
                let rooms = rooms.shared(gathered.house.refinished());
                let begun = Begun {
                    rooms,
                    first: phase.first_day().filter(|_| !rooms.is_empty())?,
                    returned: goes_back(&kept.plan, number, &gathered.sanding),
                };
                let needs = match phase.rooms.iter().any(|room| varied.contains(room)) {
                    true => gathered.needs_of(rooms),
                    false => phase.needs.clone(),
                };
                Some((begun, needs))
            })
            .collect();
        if !gathered.begun.is_empty() {
            gathered.anew_from = request.start.max(self.today());
        }
        // What has begun can't be undone, and a lost day doesn't come back: nobody is refused a night away, but there are
        // as few as can be.
        gathered.refuses_nights = false;
        let mut way = rest_of(&gathered, kept, request)?;
        let Some(plan) = &way.plan else {
            let rooms = request.rooms.iter();
            let rooms: String = rooms
                .map(|room| format!(" --room {}", typed(room)))
                .collect();
            let site = typed(&site.address);
            return Err(
                Refusal::new("the rest can't be planned again as it was asked for")
                    .hint(format!(
                        "gritledger plan house {site} --start {}{rooms}",
                        request.start
                    ))
                    .into(),
            );
        };
        let revision = kept.revision + 1;
        self.keep_plan(kept.quote.header.id, revision, plan, request, lost)?;
        if let Some(end) = request.end.filter(|asked| plan.finish > *asked) {
            let late = Remark::TooLate {
                end,
                earliest: None,
            };
            way.why.insert(0, late);
        }
        let beside = gathered.others.remarks(&gathered.house, Some(plan));
        way.why.extend(beside);
        Ok(way.why)
    }

    /// Returns the rooms that accepted variations of a job are about.
    fn varied_rooms(&self, job: &Job) -> Result<BTreeSet<RoomId>> {
        let agreed = self.agreed(job)?.quotes;
        let varied = agreed
            .iter()
            .filter(|record| record.header.variation_of.is_some());
        let rooms = varied.flat_map(|record| record.quote.rooms.iter().map(|room| room.id));
        Ok(rooms.collect())
    }
}

/// Plans what of a kept plan hasn't begun. It ends later than it was to, if it can't else be done, or not with as few
/// nights away.
fn rest_of(gathered: &Gathered<'_>, kept: &KeptPlan, request: &HouseRequest) -> Result<Way> {
    let by = |end: Option<NaiveDate>| -> Result<Way> {
        let brief = gathered.brief(&HouseRequest {
            end,
            ..request.clone()
        })?;
        // A plan that was named keeps its phases; rooms that came since are one more, if that can be done.
        let mut new = brief.rooms_left();
        let named = request.phases.as_ref().map(|_| {
            let phases = kept.plan.phases.iter();
            let phases = phases.map(|phase| places_of(&gathered.house, &phase.rooms));
            let mut phases: Vec<Places> = phases.map(|phase| phase.shared(new)).collect();
            new = phases.iter().fold(new, |new, phase| new.without(*phase));
            phases.push(new);
            phases.retain(|phase| !phase.is_empty());
            phases
        });
        let answer = plan(&brief, named.as_deref());
        let is_named = answer.chosen.plan.is_some() || new.is_empty();
        Ok(match answer.cheapest {
            Some(cheapest) if !is_named => cheapest,
            _ => answer.chosen,
        })
    };
    let nights = |way: &Way| match (&way.plan, request.night_away) {
        (Some(plan), None) => plan.nights_away().count(),
        (Some(_), Some(_)) => 0,
        (None, _) => usize::MAX,
    };
    let way = by(request.end)?;
    if request.end.is_none() || nights(&way) == 0 {
        return Ok(way);
    }
    let later = by(None)?;
    Ok(match nights(&later) < nights(&way) {
        true => later,
        false => way,
    })
}

/// Tells whether the sanding machines go back after a phase of a plan: none of them is there for the next that is sanded.
fn goes_back(plan: &HousePlan, number: usize, sanding: &[Machine]) -> bool {
    let Some(first) = plan.phases[number].first_day() else {
        return false;
    };
    let out = plan.rentals.iter().filter(|rental| {
        let is_theirs = sanding.iter().any(|machine| machine.id == rental.machine);
        is_theirs && (rental.out..=rental.last_day).contains(&first)
    });
    let later = plan.phases.iter().skip(number + 1);
    let mut later = later.filter_map(Phase::first_day);
    out.into_iter()
        .all(|rental| !later.any(|first| first <= rental.last_day))
}
