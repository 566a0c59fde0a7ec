//! Plans of whole houses: what is asked for by name, worked out by the trade, and kept with the quote it is made into.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet, HashMap};

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};
use rusqlite::named_params;

use super::names::{key, near_names};
use super::{
    DraftRequest, Job, Ledger, QuoteRecord, Refusal, Room, Site, ToBuy, Writing, adding_a_room,
    kept, refuse, typed,
};
use crate::money::{Decimal, Money};
use crate::trade::bounds::check_day;
use crate::trade::operation::SkippedGrades;
use crate::trade::plan::labour::Labour;
use crate::trade::plan::promised::{Promise, Twice};
use crate::trade::plan::{
    self, Answer, Begun, Brief, Calendar, House, HousePlan, Keep, Machine, Needs, NightAway, Phase,
    Place, Places, Remark, Way, Wet,
};
use crate::trade::pricing::{Offer, price, set_up_cost};
use crate::trade::quote::{Priced, Quote};
use crate::trade::rates::Rates;
use crate::trade::rental::MORNING;
use crate::trade::{JobId, MachineId, QuoteId, RoomId, Unit};

/// Days after its start within which a plan looks for nights away.
const LONGEST_VIEW: i64 = 366;

/// Rooms that are left out, each with the job that has it.
pub type LeftOut = Vec<(String, String)>;

/// What a phase takes of items: name, quantity and unit.
pub type Takes = Vec<(String, Decimal, Unit)>;

/// What a plan of a house is asked for; what is left out comes from the settings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HouseRequest {
    /// The rooms to be done, by name; none: every room that is refinished and in no job yet.
    pub rooms: Vec<String>,
    /// The sanding sequence.
    pub sequence: Option<String>,
    /// The coating schedule.
    pub schedule: Option<String>,
    /// The margin to keep, as a fraction.
    pub margin: Option<Decimal>,
    /// With what confidence days and price are worked out, as a fraction.
    pub confidence: Option<Decimal>,
    /// Whose wage prices the hours.
    pub worker: Option<String>,
    /// The first day on which work can begin.
    pub start: NaiveDate,
    /// The day by which everything is back in place.
    pub end: Option<NaiveDate>,
    /// What must stay in use: `Bath`, `one of Bedroom 1, Bedroom 2`.
    pub keeps: Vec<String>,
    /// Nights that the household is away anyway, first and last.
    pub away: Vec<(NaiveDate, NaiveDate)>,
    /// What a night on which a keep fails costs.
    pub night_away: Option<Money>,
    /// What a closed room costs a day.
    pub day_closed: Money,
    /// How many rooms can be emptied at once.
    pub max_rooms: Option<u32>,
    /// The room that takes the furniture of the others.
    pub furniture_room: Option<String>,
    /// Rooms that are done together: `Kitchen, Dining room`.
    pub together: Vec<String>,
    /// Rooms that aren't.
    pub apart: Vec<String>,
    /// The phases, if they are named: `Hall, Landing; Bedroom 1`.
    pub phases: Option<String>,
}

/// A way to do the house, with its cost.
#[derive(Clone, Debug)]
pub struct PricedWay {
    /// The plan, or why there is none.
    pub way: Way,
    /// What it costs the firm and the household together; `None`: there is no plan.
    pub cost: Option<Money>,
}

/// A planned house with all that is shown beside it.
#[derive(Clone, Debug)]
pub struct HouseSheet {
    /// The site's address.
    pub site: String,
    /// What was asked for.
    pub request: HouseRequest,
    /// The names of the rooms and ways.
    pub names: BTreeMap<RoomId, String>,
    /// The answer.
    pub chosen: PricedWay,
    /// What each phase of it costs; they add up to the whole.
    pub phase_costs: Vec<Money>,
    /// What it is compared with, by name.
    pub others: Vec<(&'static str, PricedWay)>,
    /// No plan costs less.
    pub bound: Option<Money>,
    /// Whether every plan was tried: then it is the cheapest, or there is none.
    pub proven: bool,
    /// The quote that it would become; `None`: no plan is feasible.
    pub priced: Option<Priced>,
    /// What each phase is expected to take of each item, by name and unit.
    pub takes: Vec<Takes>,
    /// What would have to be bought for all of it.
    pub shopping: Vec<ToBuy>,
    /// Rooms that are left out because they are in a job, with its number.
    pub in_jobs: LeftOut,
    /// What the plan promises for days on which that of a job does too.
    pub promised_twice: Vec<Twice>,
    /// Cuts that skip more than one grade.
    pub skipped: Vec<SkippedGrades>,
}

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

/// Everything that a brief borrows.
struct Worked<'a> {
    rooms: Vec<Room>,
    house: House,
    calendar: Calendar,
    labour: Labour,
    /// Phases that have begun, with what they were planned to take.
    begun: Vec<(Begun, Needs)>,
    /// The first day on which anything else can begin.
    anew_from: NaiveDate,
    /// Whether a night away that has no price is out of the question.
    refuses_nights: bool,
    offer: Offer,
    rates: Rates,
    skipped: Vec<SkippedGrades>,
    in_jobs: LeftOut,
    sanding: Vec<Machine>,
    coating: Vec<Machine>,
    set_up: Money,
    sealed: bool,
    /// Rooms of other jobs at the site while they are wet, with the number of the job.
    wet: Vec<(String, Wet)>,
    /// Days on which other jobs at the site make dust, by the number of the job; none, where rooms are sealed off.
    dusty: Vec<(String, BTreeSet<NaiveDate>)>,
    /// Other jobs at the site of which nobody knows the days.
    undated: Vec<String>,
    progress: &'a dyn Fn(u32),
}

impl Worked<'_> {
    /// Asks something about a request's brief.
    fn with_brief<T>(
        &self,
        request: &HouseRequest,
        ask: impl FnOnce(&Brief<'_>) -> Result<T>,
    ) -> Result<T> {
        let furniture_room = match &request.furniture_room {
            Some(name) => Some(self.place(name)?),
            None => None,
        };
        let refinished = self.house.refinished();
        // Whatever takes the furniture of others is empty of its own only when they aren't.
        let alone = furniture_room
            .filter(|room| refinished.has(*room))
            .into_iter()
            .flat_map(|room| {
                let others = refinished.without(Places::one(room));
                others
                    .numbers()
                    .map(move |other| Places::one(room).with(Places::one(other)))
                    .collect::<Vec<_>>()
            });
        let together = self.groups(&request.together)?;
        let mut apart = self.groups(&request.apart)?;
        self.refuse_contradictions(&together, &apart)?;
        apart.extend(alone);
        // What has begun takes what it was planned to take, whatever has been learned since.
        let known = self.begun.iter();
        let known = known.map(|(begun, needs)| (begun.rooms, needs.clone()));
        let known: RefCell<HashMap<Places, Needs>> = RefCell::new(known.collect());
        let needs = |rooms: Places| {
            let mut known = known.borrow_mut();
            let needs = known.entry(rooms);
            needs.or_insert_with(|| self.labour.needs(rooms)).clone()
        };
        ask(&Brief {
            house: &self.house,
            calendar: &self.calendar,
            needs: &needs,
            start: request.start,
            begun: self.begun.iter().map(|(begun, _)| *begun).collect(),
            anew_from: self.anew_from,
            end: request.end,
            keeps: self.keeps(request)?,
            wet: self.wet.iter().map(|(_, wet)| *wet).collect(),
            dusty: self
                .dusty
                .iter()
                .flat_map(|(_, days)| days)
                .copied()
                .collect(),
            away: request.away.clone(),
            night_away: match (request.night_away, self.refuses_nights) {
                (Some(price), _) => NightAway::Costs(price),
                (None, true) => NightAway::Refused,
                (None, false) => NightAway::Fewest,
            },
            day_closed: request.day_closed,
            most_rooms: request.max_rooms,
            furniture_first: request.max_rooms.is_some() || furniture_room.is_some(),
            sealed: self.sealed,
            together,
            apart,
            set_up: self.set_up,
            sanding_machines: &self.sanding,
            coating_machines: &self.coating,
            progress: self.progress,
        })
    }

    /// Returns the number of the place that has just this name.
    fn place_named(&self, name: &str) -> Option<usize> {
        let wanted = key(name);
        let mut places = self.house.places().iter();
        places.position(|place| key(&place.name) == wanted)
    }

    /// Returns the number of a place of the house by its name, or the only one whose name begins so.
    fn place(&self, name: &str) -> Result<usize> {
        let wanted = key(name);
        let names = || self.house.places().iter().map(|place| key(&place.name));
        if let Some(place) = self.place_named(name) {
            return Ok(place);
        }
        let begin: Vec<usize> = names()
            .enumerate()
            .filter(|(_, name)| !wanted.is_empty() && name.starts_with(&wanted))
            .map(|(place, _)| place)
            .collect();
        if let [only] = begin[..] {
            return Ok(only);
        }
        let known: Vec<String> = self
            .house
            .places()
            .iter()
            .map(|place| place.name.clone())
            .collect();
        let near = near_names(&wanted, known.iter().map(String::as_str));
        let refusal = Refusal::new(format!("no room `{}` in this house", name.trim()));
        Err(match near.is_empty() {
            true => refusal.hint(format!("its rooms: {}", known.join(", "))),
            false => refusal.hint(format!("did you mean {}?", near.join(", "))),
        }
        .into())
    }

    /// Returns the places that a list names: `Kitchen, Dining room`.
    fn list(&self, text: &str) -> Result<Places> {
        let mut places = Places::NONE;
        for name in text.split(',') {
            if name.trim().is_empty() {
                refuse!("`{text}` names no room, or one too few");
            }
            let place = Places::one(self.place(name)?);
            if !places.shared(place).is_empty() {
                refuse!("`{}` is named twice in `{text}`", name.trim());
            }
            places = places.with(place);
        }
        Ok(places)
    }

    fn groups(&self, texts: &[String]) -> Result<Vec<Places>> {
        let groups = texts.iter().map(|text| {
            let group = self.list(text)?;
            let ways = group.without(self.house.refinished());
            if !ways.is_empty() {
                refuse!(
                    "`{}` is not refinished, so it is in no phase",
                    self.house.names(ways)
                );
            }
            if group.count() < 2 {
                refuse!("`{text}` is one room, and that is always with itself");
            }
            Ok(group)
        });
        groups.collect()
    }

    /// Refuses rooms that are to be done together, if only with others between them, and apart.
    fn refuse_contradictions(&self, together: &[Places], apart: &[Places]) -> Result<()> {
        for group in together {
            let unit = group.with_groups(together);
            let torn = apart.iter().map(|apart| apart.shared(unit));
            if let Some(torn) = torn.into_iter().find(|torn| torn.count() > 1) {
                refuse!(
                    "{} can't be done both together and apart",
                    self.house.names(torn)
                );
            }
        }
        Ok(())
    }

    fn keeps(&self, request: &HouseRequest) -> Result<Vec<Keep>> {
        let open = self.house.reachable(Places::NONE);
        let keeps = request.keeps.iter().map(|text| {
            let (least, names) = match text.split_once(" of ") {
                Some((number, names))
                    if read_count(number).is_some() && self.place_named(text).is_none() =>
                {
                    (read_count(number).unwrap_or(0), names)
                }
                _ => (0, text.as_str()),
            };
            let places = self.list(names)?;
            let least = if least == 0 { places.count() } else { least };
            let keep = Keep { places, least };
            if !keep.holds(open) {
                return Err(Refusal::new(format!("no plan can keep `{text}`"))
                    .hint(format!("it names {}", rooms_counted(places)))
                    .into());
            }
            Ok(keep)
        });
        keeps.collect()
    }

    /// Reads phases as they are named: `Hall, Landing; Bedroom 1`.
    fn phases(&self, text: &str) -> Result<Vec<Places>> {
        let refinished = self.house.refinished();
        let mut seen = Places::NONE;
        let mut phases = Vec::new();
        if text.split(';').all(|part| part.trim().is_empty()) {
            refuse!("the phases name no room");
        }
        for part in text.split(';').filter(|part| !part.trim().is_empty()) {
            let phase = self.list(part)?;
            let ways = phase.without(refinished);
            if !ways.is_empty() {
                refuse!(
                    "`{}` is not refinished, so it is in no phase",
                    self.house.names(ways)
                );
            }
            let twice = phase.shared(seen);
            if !twice.is_empty() {
                refuse!("`{}` is in two phases", self.house.names(twice));
            }
            seen = seen.with(phase);
            phases.push(phase);
        }
        let missing = refinished.without(seen);
        if !missing.is_empty() {
            refuse!("no phase has `{}`", self.house.names(missing));
        }
        Ok(phases)
    }

    /// Says how other jobs at the site stand to a plan: when they are wet or make dust meanwhile, and that nobody knows.
    fn beside(&self, plan: Option<&HousePlan>) -> Vec<Remark> {
        let meanwhile = |day: &NaiveDate| plan.is_none_or(|plan| *day <= plan.finish);
        let wet = self.wet.iter().filter(|(_, wet)| meanwhile(&wet.from));
        let wet = wet.map(|(job, wet)| Remark::WetBeside {
            job: job.clone(),
            rooms: self.house.names(wet.rooms),
            from: wet.from,
            until: wet.until,
        });
        let undated = self.undated.iter();
        let undated = undated.map(|job| Remark::Undated { job: job.clone() });
        let dusty = self.dusty.iter().map(|(job, days)| {
            let days = days.iter().copied().filter(meanwhile);
            (job.clone(), days.collect::<Vec<_>>())
        });
        let dusty = dusty.filter(|(_, days)| !days.is_empty());
        let dusty = dusty.map(|(job, days)| Remark::DustBeside { job, days });
        wet.chain(dusty).chain(undated).collect()
    }

    /// Prices a plan: set-up for each phase, the machines as they are rented, everything else as in any quote.
    fn quote(&self, ledger: &Ledger, plan: &HousePlan) -> Result<Priced> {
        let mut offer = self.offer.clone();
        let (set_up, rooms): (Vec<_>, Vec<_>) =
            offer.work.into_iter().partition(|work| work.room.is_none());
        offer.work = plan
            .phases
            .iter()
            .flat_map(|_| set_up.iter().cloned())
            .chain(rooms)
            .collect();
        offer.rentals = Some(plan.rentals.clone());
        offer.start = plan
            .phases
            .first()
            .and_then(|phase| Some(phase.work.first()?.day));
        Ok(price(offer, &self.rates, ledger.currency())?)
    }
}

fn rooms_counted(places: Places) -> String {
    match places.count() {
        1 => "1 room".to_owned(),
        count => format!("{count} rooms"),
    }
}

/// Reads how many: `one`, `2`.
fn read_count(text: &str) -> Option<u32> {
    let text = text.trim().to_lowercase();
    let words = [
        "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
    ];
    let word = (1..).zip(words).find(|(_, word)| *word == text);
    word.map(|(number, _)| number)
        .or_else(|| text.parse().ok().filter(|number| *number > 0))
}

impl Ledger {
    /// Plans a house.
    ///
    /// # Errors
    /// Refuses unknown rooms and methods, a start that isn't worked on, rooms without a way out, and keeps that no plan
    /// can honour.
    pub fn plan_house(
        &self,
        site: &Site,
        request: &HouseRequest,
        progress: &dyn Fn(u32),
    ) -> Result<HouseSheet> {
        let worked = self.work_out(site, request, &[], None, progress)?;
        self.check_dates(&self.settings()?.calendar(), request)?;
        let mut answer = worked.with_brief(request, |brief| {
            let named = request
                .phases
                .as_deref()
                .map(|text| worked.phases(text))
                .transpose()?;
            Ok(plan::plan(brief, named.as_deref()))
        })?;
        if let (Some(name), Some(_)) = (&request.furniture_room, &answer.chosen.plan) {
            let place = worked.place(name)?;
            if worked.house.refinished().has(place) {
                let room = worked.house.names(Places::one(place));
                answer.chosen.why.push(Remark::OwnFurniture { room });
            }
        }
        let beside = worked.beside(answer.chosen.plan.as_ref());
        answer.chosen.why.extend(beside);
        self.sheet_of(site, request, worked, answer)
    }

    fn check_dates(&self, calendar: &Calendar, request: &HouseRequest) -> Result<()> {
        let start = request.start;
        check_start(calendar, start, self.today())?;
        if request.end.is_some_and(|end| end < start) {
            refuse!("the end comes before the start");
        }
        for (from, to) in &request.away {
            if to < from {
                refuse!("the household can't be back on {to} before it leaves on {from}");
            }
            if (*to - start).num_days() > LONGEST_VIEW {
                refuse!("{to} is more than a year after {start}, and plans don't look so far");
            }
        }
        if request.max_rooms == Some(0) {
            refuse!("no room can be done if none can be emptied");
        }
        Ok(())
    }

    /// Gathers everything that a plan is made from; lost days aren't worked, and neither are those on which another job of
    /// the site is wet.
    fn work_out<'a>(
        &self,
        site: &Site,
        request: &HouseRequest,
        lost: &[NaiveDate],
        own: Option<JobId>,
        progress: &'a dyn Fn(u32),
    ) -> Result<Worked<'a>> {
        let away = request.away.iter().flat_map(|(from, to)| [*from, *to]);
        for day in away.chain(request.end) {
            check_day(day, self.today())?;
        }
        let rooms = self.rooms_of(site.id)?;
        let (wanted, in_jobs) = self.rooms_to_plan(site, &rooms, request)?;
        let draft = DraftRequest {
            rooms: wanted.iter().map(|room| room.name.clone()).collect(),
            sequence: request.sequence.clone(),
            schedule: request.schedule.clone(),
            margin: request.margin,
            confidence: request.confidence,
            worker: request.worker.clone(),
            start: Some(request.start),
            ..DraftRequest::default()
        };
        let rates = self.rates()?;
        let (offer, skipped) = self.offer(site, &draft, &rates)?;
        let house = house_of(&rooms, &wanted)?;
        let methods = self.methods(&draft)?;
        if methods.sequence.is_none() && methods.schedule.is_none() {
            return Err(Refusal::new(
                "without a sequence and a schedule there is no phase to plan",
            )
            .hint(format!(
                "gritledger quote draft {} --sequence none --schedule none",
                typed(&site.address)
            ))
            .into());
        }
        let rented: Vec<MachineId> = offer.machines.keys().copied().collect();
        let labour = Labour::new(
            &house,
            &offer.rooms,
            &offer.work,
            &methods,
            &rates,
            offer.terms.confidence,
            &rented,
        )?;
        let machines = |ids: &[MachineId]| -> Vec<Machine> {
            let known = ids
                .iter()
                .filter_map(|id| Some((*id, offer.machines.get(id)?)));
            known
                .map(|(id, (name, tariff))| Machine {
                    id,
                    name: name.clone(),
                    tariff: tariff.clone(),
                })
                .collect()
        };
        let mut calendar = self.settings()?.calendar();
        calendar
            .holidays
            .extend(lost.iter().map(|day| (*day, "lost".to_owned())));
        let sealed = self.settings()?.seal_rooms;
        let (mut wet, mut dusty, mut undated) = (Vec::new(), Vec::new(), Vec::new());
        for beside in self.jobs_beside(site, own)? {
            let Some(plan) = beside.plan else {
                undated.push(beside.job.clone());
                continue;
            };
            if !sealed {
                let days = plan.dusty_days();
                let days = days.into_iter().filter(|day| *day >= request.start);
                dusty.push((beside.job.clone(), days.collect()));
            }
            for phase in &plan.phases {
                let Some(from) = phase
                    .first_coat()
                    .filter(|_| phase.light_use > morning(request.start))
                else {
                    continue;
                };
                let days = phase.wet_days();
                let closed = format!("{} is wet", beside.job);
                calendar
                    .holidays
                    .extend(days.map(|day| (day, closed.clone())));
                let wet_room = Wet {
                    rooms: places_of(&house, &phase.rooms),
                    from,
                    until: phase.light_use,
                };
                wet.push((beside.job.clone(), wet_room));
            }
        }
        Ok(Worked {
            sanding: machines(labour.sanding_machines()),
            coating: machines(labour.coating_machines()),
            set_up: set_up_cost(&offer, self.currency()),
            begun: Vec::new(),
            anew_from: request.start,
            refuses_nights: true,
            sealed,
            calendar,
            rooms,
            house,
            labour,
            offer,
            rates,
            skipped,
            in_jobs,
            wet,
            dusty,
            undated,
            progress,
        })
    }

    /// Returns the rooms that are to be done, and those that are left out because a job has them.
    fn rooms_to_plan(
        &self,
        site: &Site,
        rooms: &[Room],
        request: &HouseRequest,
    ) -> Result<(Vec<Room>, LeftOut)> {
        let mut wanted: Vec<Room> = Vec::new();
        for name in &request.rooms {
            let room = self.room(name, Some(site.id))?;
            if room.site_id != site.id {
                refuse!(
                    "`{}` is at `{}`, not at `{}`",
                    room.name,
                    room.site,
                    site.address
                );
            }
            if wanted.iter().any(|known| known.id == room.id) {
                refuse!("`{}` is named twice", room.name);
            }
            if !room.refinished {
                refuse!(
                    "`{}` is not refinished: it is a way through the house",
                    room.name
                );
            }
            wanted.push(room);
        }
        if !wanted.is_empty() {
            return Ok((wanted, Vec::new()));
        }
        let mut in_jobs: Vec<(RoomId, String, String)> = Vec::new();
        for job in self.jobs_at(site.id)? {
            for (room, ..) in self.agreed(&job)?.rooms() {
                in_jobs.push((room.id, room.name, job.number.clone()));
            }
        }
        let is_free = |room: &&Room| !in_jobs.iter().any(|(id, ..)| *id == room.id);
        let refinished = rooms.iter().filter(|room| room.refinished);
        wanted = refinished.filter(is_free).cloned().collect();
        if wanted.is_empty() {
            let refusal = Refusal::new(format!("`{}` has no rooms left to plan", site.address));
            let hint = match in_jobs.is_empty() {
                true => adding_a_room(&site.address),
                false => "--room NAME plans a room that a job has".to_owned(),
            };
            return Err(refusal.hint(hint).into());
        }
        let left_out = in_jobs.into_iter().map(|(_, room, job)| (room, job));
        Ok((wanted, left_out.collect()))
    }

    fn sheet_of(
        &self,
        site: &Site,
        request: &HouseRequest,
        worked: Worked<'_>,
        answer: Answer,
    ) -> Result<HouseSheet> {
        let Answer {
            chosen,
            cheapest,
            one_by_one,
            all_at_once,
            bound,
            proven,
        } = answer;
        let quote = chosen
            .plan
            .as_ref()
            .map(|plan| worked.quote(self, plan))
            .transpose()?;
        // What is the same whatever the plan: known from any that can be priced.
        let fixed = match (&quote, &chosen.plan) {
            (Some(quote), Some(plan)) => Some((quote.clone(), plan.clone())),
            _ => match cheapest
                .iter()
                .chain([&one_by_one, &all_at_once])
                .find_map(|way| way.plan.clone())
            {
                Some(plan) => Some((worked.quote(self, &plan)?, plan)),
                None => None,
            },
        };
        let base = fixed
            .map(|(of, plan)| of.quote.expected_cost() - plan.costs.set_up - plan.costs.rental);
        let priced = |way: Way| PricedWay {
            cost: way
                .plan
                .as_ref()
                .and_then(|plan| Some(base? + plan.costs.total())),
            way,
        };
        let mut others = Vec::new();
        if let Some(cheapest) = cheapest {
            let name = match proven {
                true => "cheapest plan",
                false => "best plan found",
            };
            others.push((name, priced(cheapest)));
        }
        others.push(("one room at a time", priced(one_by_one)));
        others.push(("all at once", priced(all_at_once)));
        let chosen = priced(chosen);
        let parts = chosen.way.plan.as_ref().zip(quote.as_ref()).zip(base);
        let phase_costs = parts.map(|((plan, of), base)| costs_by_phase(plan, &of.quote, base));
        let takes = chosen.way.plan.as_ref().zip(quote.as_ref());
        let promised_twice = match &chosen.way.plan {
            Some(plan) => self.promised_by(Promise {
                to: "this plan",
                site: site.id,
                plan,
            })?,
            None => Vec::new(),
        };
        Ok(HouseSheet {
            promised_twice,
            site: site.address.clone(),
            request: request.clone(),
            names: names_of(&worked.rooms),
            phase_costs: phase_costs.unwrap_or_default(),
            bound: base.map(|base| base + bound),
            proven,
            takes: takes
                .map(|(plan, of)| takes_by_phase(plan, &of.quote))
                .unwrap_or_default(),
            shopping: match &quote {
                Some(of) => self.shopping_for(&of.outlook)?,
                None => Vec::new(),
            },
            priced: quote,
            chosen,
            others,
            in_jobs: worked.in_jobs,
            skipped: worked.skipped,
        })
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
            Some(id) => self.plan_of_quote(&self.quote_by_id(id)?),
            None => Ok(None),
        }
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
        progress: &dyn Fn(u32),
    ) -> Result<(HouseSheet, QuoteRecord)> {
        let sheet = self.plan_house(site, request, progress)?;
        let (Some(plan), Some(priced)) = (&sheet.chosen.way.plan, &sheet.priced) else {
            refuse!("a plan that isn't feasible makes no quote");
        };
        let rates = self.rates()?;
        let draft = DraftRequest {
            start: plan
                .phases
                .first()
                .and_then(|phase| Some(phase.work.first()?.day)),
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
            refuse!("no day is lost");
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

    fn plan_to_move(&self, job: &Job) -> Result<KeptPlan> {
        if self.job_by_id(job.id)?.is_closed() {
            refuse!("{} is closed: its dates are past", job.number);
        }
        self.kept_plan_of_job(job)
    }

    /// Plans again, by what is asked for with the days that are lost, and keeps that: phases that have begun stay as they
    /// were planned, but for lost days.
    fn plan_again(
        &self,
        job: &Job,
        kept: &KeptPlan,
        (request, lost): (&HouseRequest, &[NaiveDate]),
        has_begun: impl Fn(&Phase) -> bool,
        progress: &dyn Fn(u32),
    ) -> Result<Vec<Remark>> {
        let site = self.site(&self.address_of(job.site_id)?)?;
        let mut worked = self.work_out(&site, request, lost, Some(job.id), progress)?;
        let begun = kept.plan.phases.iter().enumerate();
        let begun = begun.take_while(|(_, phase)| has_begun(phase));
        worked.begun = begun
            .filter_map(|(number, phase)| {
                let begun = Begun {
                    rooms: places_of(&worked.house, &phase.rooms),
                    first: phase.work.first()?.day,
                    returned: goes_back(&kept.plan, number, &worked.sanding),
                };
                Some((begun, phase.needs.clone()))
            })
            .collect();
        if !worked.begun.is_empty() {
            worked.anew_from = request.start.max(self.today());
        }
        // What has begun can't be undone, and a lost day doesn't come back: nobody is refused a night away, but there are
        // as few as can be.
        worked.refuses_nights = false;
        let replan = |end: Option<NaiveDate>| {
            let asked = HouseRequest {
                end,
                ..request.clone()
            };
            worked.with_brief(&asked, |brief| {
                let rest = brief.rooms_left();
                // A plan that was named keeps its phases.
                let phases = kept.plan.phases.iter();
                let named: Vec<Places> = phases
                    .map(|phase| places_of(&worked.house, &phase.rooms))
                    .filter(|phase| phase.is_within(rest))
                    .collect();
                let named = request.phases.as_ref().map(|_| named);
                Ok(plan::plan(brief, named.as_deref()).chosen)
            })
        };
        let refused = |way: &Way| match (&way.plan, request.night_away) {
            (Some(plan), None) => plan.nights_away().count(),
            (Some(_), Some(_)) => 0,
            (None, _) => usize::MAX,
        };
        let mut way = replan(request.end)?;
        // It ends later than it was to, if it can't else be done, or not with as few nights away.
        if request.end.is_some() && refused(&way) > 0 {
            let later = replan(None)?;
            if refused(&later) < refused(&way) {
                way = later;
            }
        }
        let Some(plan) = &way.plan else {
            refuse!("the rest can't be planned again as it was asked for");
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
        let beside = worked.beside(Some(plan));
        way.why.extend(beside);
        Ok(way.why)
    }
}

/// Tells whether the sanding machines go back after a phase of a plan: none of them is there for the next that is sanded.
fn goes_back(plan: &HousePlan, number: usize, sanding: &[Machine]) -> bool {
    let Some(first) = plan.phases[number].work.first().map(|stretch| stretch.day) else {
        return false;
    };
    let out = plan.rentals.iter().filter(|rental| {
        let is_theirs = sanding.iter().any(|machine| machine.id == rental.machine);
        is_theirs && (rental.out..=rental.last_day).contains(&first)
    });
    let later = plan.phases.iter().skip(number + 1);
    let mut later = later.filter_map(|phase| Some(phase.work.first()?.day));
    out.into_iter()
        .all(|rental| !later.any(|first| first <= rental.last_day))
}

/// Refuses a first day on which no work can begin.
fn check_start(calendar: &Calendar, start: NaiveDate, today: NaiveDate) -> Result<()> {
    check_day(start, today)?;
    if start < today {
        refuse!("{start} is past, and a plan begins today or later");
    }
    if calendar.works_on(start) {
        return Ok(());
    }
    let next = (1..).map_while(|days| start.checked_add_days(chrono::Days::new(days)));
    let next = next
        .into_iter()
        .take(400)
        .find(|day| calendar.works_on(*day));
    let refusal = match calendar.holidays.get(&start) {
        Some(name) if name.is_empty() => Refusal::new(format!("{start} is a holiday")),
        Some(name) => Refusal::new(format!("{start} is a holiday: {name}")),
        None => Refusal::new(format!(
            "{} is not a working day",
            start.format("%A %Y-%m-%d")
        )),
    };
    Err(match next {
        Some(next) => refusal.hint(format!("--start {next}")).into(),
        None => refusal.into(),
    })
}

fn morning(day: NaiveDate) -> NaiveDateTime {
    day.and_time(NaiveTime::MIN) + TimeDelta::hours(i64::from(MORNING))
}

fn house_of(rooms: &[Room], wanted: &[Room]) -> Result<House> {
    let places = rooms.iter().map(|room| Place {
        id: room.id,
        name: room.name.clone(),
        refinished: wanted.iter().any(|wanted| wanted.id == room.id),
    });
    let number = |id: RoomId| rooms.iter().position(|room| room.id == id);
    let mut doorways: Vec<(usize, Option<usize>)> = Vec::new();
    for (from, room) in rooms.iter().enumerate() {
        for door in &room.doors {
            match &door.to {
                None => doorways.push((from, None)),
                Some((to, _)) => doorways.extend(number(*to).map(|to| (from, Some(to)))),
            }
        }
    }
    House::new(places.collect(), &doorways).map_err(|error| match &error {
        plan::HouseError::NoWayOut(name) => {
            let at = rooms
                .first()
                .map_or_else(String::new, |room| format!("{}/", room.site));
            Refusal::new(error.to_string())
                .hint(format!(
                    "gritledger room edit {} --door \"outside:3ft\"",
                    typed(&format!("{at}{name}"))
                ))
                .into()
        }
        _ => error.into(),
    })
}

fn places_of(house: &House, rooms: &[RoomId]) -> Places {
    let places = house.places().iter().enumerate();
    places
        .filter(|(_, place)| rooms.contains(&place.id))
        .map(|(number, _)| number)
        .collect()
}

fn names_of(rooms: &[Room]) -> BTreeMap<RoomId, String> {
    rooms
        .iter()
        .map(|room| (room.id, room.name.clone()))
        .collect()
}

/// Shares out what is the same for every plan by what the rooms cost, and adds what each phase costs beside that.
fn costs_by_phase(plan: &HousePlan, quote: &Quote, base: Money) -> Vec<Money> {
    let cost_of = |phase: &Phase| -> Decimal {
        let lines = quote.lines.iter();
        let lines =
            lines.filter(|line| line.room().is_some_and(|room| phase.rooms.contains(&room)));
        lines.map(|line| Decimal::from(line.cost().minor())).sum()
    };
    let weights: Vec<Decimal> = plan.phases.iter().map(cost_of).collect();
    let shares = base.spread(&weights);
    plan.phases
        .iter()
        .zip(shares)
        .map(|(phase, share)| share + phase.costs.total())
        .collect()
}

/// Returns what the rooms of each phase are expected to take of each item.
fn takes_by_phase(plan: &HousePlan, quote: &Quote) -> Vec<Takes> {
    let of_phase = |phase: &Phase| {
        let mut takes: Takes = Vec::new();
        let lines = quote
            .work()
            .filter(|work| work.room.is_some_and(|room| phase.rooms.contains(&room)));
        for item in lines.filter_map(|work| work.item.as_ref()) {
            match takes.iter_mut().find(|(name, ..)| *name == item.name) {
                Some((_, quantity, _)) => *quantity += item.expected,
                None => takes.push((item.name.clone(), item.expected, item.unit)),
            }
        }
        takes
    };
    plan.phases.iter().map(of_phase).collect()
}
