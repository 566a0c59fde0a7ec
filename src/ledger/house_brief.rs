//! What a plan of a house is asked for by name, gathered from the ledger into the brief that it is planned by.

use std::cell::RefCell;
use std::collections::HashMap;
use std::num::NonZeroU32;
use std::rc::Rc;

use anyhow::Result;
use chrono::{Days, NaiveDate};

use super::names::{Names, key, near_names};
use super::own::free_rooms;
use super::promises::OtherJobs;
use super::{
    DraftRequest, Ledger, MethodsRequest, Refusal, Room, Site, adding_a_room, refuse, typed,
};
use crate::money::{Decimal, Money};
use crate::notation::count;
use crate::trade::bounds::check_day;
use crate::trade::plan::labour::Labour;
use crate::trade::plan::{
    Begun, Brief, Calendar, House, HouseError, Keep, Machine, Needs, NightAway, Place, Places,
};
use crate::trade::pricing::{Offer, set_up_cost};
use crate::trade::rates::Rates;
use crate::trade::{JobId, MachineId, RoomId};

/// Days after its start within which a plan looks for nights away.
const LONGEST_VIEW: i64 = 366;

/// Rooms that are left out, each with the job that has it.
pub type LeftOut = Vec<(String, String)>;

/// What a plan of a house is asked for; what is left out comes from the settings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HouseRequest {
    /// The rooms to be done, by name; none: every room that is refinished and in no job yet.
    pub rooms: Vec<String>,
    /// How they are sanded and coated.
    pub methods: MethodsRequest,
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
    /// What must stay in use.
    pub keeps: Vec<KeepRequest>,
    /// Nights that the household is away anyway, first and last.
    pub away: Vec<(NaiveDate, NaiveDate)>,
    /// What a night on which a keep fails costs.
    pub night_away: Option<Money>,
    /// What a closed room costs a day.
    pub day_closed: Money,
    /// How many rooms can be emptied at once.
    pub max_rooms: Option<NonZeroU32>,
    /// The room that takes the furniture of the others.
    pub furniture_room: Option<String>,
    /// Rooms that are done together, by name.
    pub together: Vec<Vec<String>>,
    /// Rooms that aren't.
    pub apart: Vec<Vec<String>>,
    /// The rooms of each phase, if they are named.
    pub phases: Option<Vec<Vec<String>>>,
}

/// Rooms that must stay in use, or some of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeepRequest {
    /// As it was asked for.
    pub said: String,
    /// How many of the rooms; `None`: all of them.
    pub least: Option<u32>,
    /// The rooms, by name.
    pub rooms: Vec<String>,
}

/// What a brief is made of.
pub(super) struct Gathered<'a> {
    pub(super) rooms: Vec<Room>,
    pub(super) house: House,
    calendar: Calendar,
    labour: Labour,
    /// Phases that have begun, with what they were planned to take.
    pub(super) begun: Vec<(Begun, Needs)>,
    /// The first day on which anything else can begin.
    pub(super) anew_from: NaiveDate,
    /// Whether a night away that has no price is out of the question.
    pub(super) refuses_nights: bool,
    pub(super) offer: Offer,
    pub(super) rates: Rates,
    pub(super) warnings: Vec<String>,
    pub(super) in_jobs: LeftOut,
    pub(super) sanding: Vec<Machine>,
    coating: Vec<Machine>,
    set_up: Money,
    sealed: bool,
    pub(super) others: OtherJobs,
    progress: &'a dyn Fn(u32),
}

impl Gathered<'_> {
    /// Returns the brief of a request: what it names is looked up among the rooms of the house.
    pub(super) fn brief(&self, request: &HouseRequest) -> Result<Brief<'_>> {
        let furniture_room = request.furniture_room.as_deref();
        let furniture_room = furniture_room.map(|name| self.place(name)).transpose()?;
        let together = self.groups(&request.together)?;
        let mut apart = self.groups(&request.apart)?;
        self.refuse_contradictions(&together, &apart)?;
        // Whatever takes the furniture of others is empty of its own only when they aren't.
        let refinished = self.house.refinished();
        if let Some(room) = furniture_room.filter(|room| refinished.has(*room)) {
            let others = refinished.without(Places::one(room));
            let pairs = others.numbers();
            apart.extend(pairs.map(|other| Places::one(room).with(Places::one(other))));
        }
        Ok(Brief {
            house: &self.house,
            calendar: &self.calendar,
            needs: self.needs(),
            start: request.start,
            begun: self.begun.iter().map(|(begun, _)| *begun).collect(),
            anew_from: self.anew_from,
            end: request.end,
            keeps: self.keeps(request)?,
            wet: self.others.wet(),
            dusty: self.others.dusty(),
            away: request.away.clone(),
            night_away: match (request.night_away, self.refuses_nights) {
                (Some(price), _) => NightAway::Costs(price),
                (None, true) => NightAway::Refused,
                (None, false) => NightAway::Fewest,
            },
            day_closed: request.day_closed,
            most_rooms: request.max_rooms.map(NonZeroU32::get),
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

    /// Returns a request that groups only what is done: variations may have taken rooms away since it was asked for.
    pub(super) fn without_ways(&self, request: HouseRequest) -> HouseRequest {
        let refinished = self.house.refinished();
        let is_done = |name: &String| self.place(name).is_ok_and(|place| refinished.has(place));
        let done = |lists: Vec<Vec<String>>, least: usize| -> Vec<Vec<String>> {
            let lists = lists.into_iter();
            let lists = lists.map(|names| names.into_iter().filter(is_done).collect::<Vec<_>>());
            lists.filter(|names| names.len() >= least).collect()
        };
        HouseRequest {
            together: done(request.together, 2),
            apart: done(request.apart, 2),
            phases: request.phases.map(|phases| done(phases, 1)),
            ..request
        }
    }

    /// Returns what a set of rooms takes by what is known now.
    pub(super) fn needs_of(&self, rooms: Places) -> Needs {
        self.labour.needs(rooms)
    }

    /// Returns what tells what a set of rooms takes. What has begun takes what it was planned to take, whatever has been
    /// learned since.
    fn needs(&self) -> Rc<dyn Fn(Places) -> Needs + '_> {
        let begun = self.begun.iter();
        let begun = begun.map(|(begun, needs)| (begun.rooms, needs.clone()));
        let known: RefCell<HashMap<Places, Needs>> = RefCell::new(begun.collect());
        Rc::new(move |rooms| {
            let mut known = known.borrow_mut();
            let needs = known.entry(rooms);
            needs.or_insert_with(|| self.labour.needs(rooms)).clone()
        })
    }

    /// Returns the numbers of the places of the house by their names.
    fn places_by_name(&self) -> Names<usize> {
        let places = self.house.places().iter().enumerate();
        Names::new(
            "room",
            places.map(|(number, place)| (place.name.clone(), number)),
        )
    }

    /// Returns the number of a place of the house by its name, or the only one whose name begins so.
    pub(super) fn place(&self, name: &str) -> Result<usize> {
        if let Ok(place) = self.places_by_name().find(name) {
            return Ok(*place);
        }
        let places = self.house.places().iter();
        let known: Vec<&str> = places.map(|place| place.name.as_str()).collect();
        let near = near_names(&key(name), known.iter().copied());
        let refusal = Refusal::new(format!("no room `{}` in this house", name.trim()));
        Err(match near.is_empty() {
            true => refusal.hint(format!("its rooms: {}", known.join(", "))),
            false => refusal.hint(format!("did you mean {}?", near.join(", "))),
        }
        .into())
    }

    /// Returns the places that a list names.
    fn list(&self, names: &[String]) -> Result<Places> {
        let mut places = Places::NONE;
        for name in names {
            let place = Places::one(self.place(name)?);
            if !places.shared(place).is_empty() {
                refuse!("`{name}` is named twice in `{}`", names.join(", "));
            }
            places = places.with(place);
        }
        Ok(places)
    }

    fn groups(&self, lists: &[Vec<String>]) -> Result<Vec<Places>> {
        let groups = lists.iter().map(|names| {
            let group = self.list(names)?;
            self.refuse_ways(group)?;
            if group.count() < 2 {
                refuse!(
                    "`{}` is one room, and that is always with itself",
                    names.join(", ")
                );
            }
            Ok(group)
        });
        groups.collect()
    }

    /// Refuses to put what is only a way through the house into a phase.
    fn refuse_ways(&self, rooms: Places) -> Result<()> {
        let ways = rooms.without(self.house.refinished());
        if !ways.is_empty() {
            refuse!(
                "`{}` is not refinished, so it is in no phase",
                self.house.names(ways)
            );
        }
        Ok(())
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
        let keeps = request.keeps.iter().map(|asked| {
            let places = self.list(&asked.rooms)?;
            let least = asked.least.unwrap_or(places.count());
            let keep = Keep { places, least };
            if !keep.holds(open) {
                return Err(Refusal::new(format!("no plan can keep `{}`", asked.said))
                    .hint(format!("it names {}", rooms_counted(places)))
                    .into());
            }
            Ok(keep)
        });
        keeps.collect()
    }

    /// Returns the rooms of each phase, as they are named.
    pub(super) fn phases(&self, lists: &[Vec<String>]) -> Result<Vec<Places>> {
        let mut seen = Places::NONE;
        let mut phases = Vec::new();
        for names in lists {
            let phase = self.list(names)?;
            self.refuse_ways(phase)?;
            let twice = phase.shared(seen);
            if !twice.is_empty() {
                refuse!("`{}` is in two phases", self.house.names(twice));
            }
            seen = seen.with(phase);
            phases.push(phase);
        }
        let missing = self.house.refinished().without(seen);
        if !missing.is_empty() {
            refuse!("no phase has `{}`", self.house.names(missing));
        }
        Ok(phases)
    }
}

fn rooms_counted(places: Places) -> String {
    count(places.count(), "room")
}

impl Ledger {
    pub(super) fn check_dates(&self, calendar: &Calendar, request: &HouseRequest) -> Result<()> {
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
        Ok(())
    }

    /// Gathers everything that a plan is made from; lost days aren't worked, and neither are those on which another job of
    /// the site is wet.
    pub(super) fn gather<'a>(
        &self,
        site: &Site,
        request: &HouseRequest,
        lost: &[NaiveDate],
        own: Option<JobId>,
        progress: &'a dyn Fn(u32),
    ) -> Result<Gathered<'a>> {
        let away = request.away.iter().flat_map(|(from, to)| [*from, *to]);
        for day in away.chain(request.end) {
            check_day(day, self.today())?;
        }
        let rooms = self.rooms_of(site.id)?;
        let (wanted, in_jobs) = self.rooms_to_plan(site, &rooms, request)?;
        let draft = DraftRequest {
            rooms: wanted.iter().map(|room| room.name.clone()).collect(),
            methods: request.methods.clone(),
            margin: request.margin,
            confidence: request.confidence,
            worker: request.worker.clone(),
            start: Some(request.start),
            ..DraftRequest::default()
        };
        let rates = self.rates()?;
        let (mut offer, warnings) = self.offer(site, &draft, &rates)?;
        if let Some(job) = own {
            let gone = self.taken_away(job)?;
            let is_gone = |room, operation| gone.contains(&(room, operation));
            offer.work.retain(|work| {
                work.room
                    .is_none_or(|room| !is_gone(room, work.operation.id))
            });
        }
        let house = house_of(&rooms, &wanted)?;
        let methods = self.methods(&request.methods)?;
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
        let places: Vec<RoomId> = house.places().iter().map(|place| place.id).collect();
        let labour = Labour::new(
            &places,
            &offer.rooms,
            &offer.work,
            &methods,
            &rates,
            offer.terms.confidence,
            &rented,
        )?;
        let settings = self.settings()?;
        let others = self.other_jobs(site, own, &house, request.start)?;
        let mut calendar = settings.calendar();
        let lost = lost.iter().map(|day| (*day, "lost".to_owned()));
        calendar.holidays.extend(lost);
        calendar.holidays.extend(others.wet_days.iter().cloned());
        Ok(Gathered {
            sanding: machines_of(&offer, labour.sanding_machines()),
            coating: machines_of(&offer, labour.coating_machines()),
            set_up: set_up_cost(&offer, self.currency()),
            begun: Vec::new(),
            anew_from: request.start,
            refuses_nights: true,
            sealed: settings.seal_rooms,
            calendar,
            rooms,
            house,
            labour,
            offer,
            rates,
            warnings,
            in_jobs,
            others,
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
        let mut wanted = self.rooms_named(site, &request.rooms)?;
        if let Some(way) = wanted.iter().find(|room| !room.refinished) {
            refuse!(
                "`{}` is not refinished: it is a way through the house",
                way.name
            );
        }
        if !wanted.is_empty() {
            return Ok((wanted, Vec::new()));
        }
        let in_jobs = self.rooms_in_jobs(site.id)?;
        wanted = free_rooms(rooms, &in_jobs);
        if wanted.is_empty() {
            let refusal = Refusal::new(format!("`{}` has no rooms left to plan", site.address));
            let hint = match in_jobs.is_empty() {
                true => adding_a_room(&site.address),
                false => "--room NAME plans a room that a job has".to_owned(),
            };
            return Err(refusal.hint(hint).into());
        }
        let left_out = in_jobs
            .into_iter()
            .map(|(room, job)| (room.name, job.number));
        Ok((wanted, left_out.collect()))
    }
}

/// Refuses a first day on which no work can begin.
pub(super) fn check_start(calendar: &Calendar, start: NaiveDate, today: NaiveDate) -> Result<()> {
    check_day(start, today)?;
    if start < today {
        refuse!("{start} is past, and a plan begins today or later");
    }
    if calendar.works_on(start) {
        return Ok(());
    }
    let next = (1..).map_while(|days| start.checked_add_days(Days::new(days)));
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
        HouseError::NoWayOut(name) => {
            let refusal = Refusal::new(error.to_string());
            let mut rooms = rooms.iter();
            let room = rooms.find(|room| room.name == *name);
            let refusal = match room {
                Some(room) => refusal.hint(adding_a_way_out(room)),
                None => refusal,
            };
            refusal.into()
        }
        _ => error.into(),
    })
}

/// Returns the command that adds a doorway outside to a room: it names the doorways that the room has, which it keeps.
fn adding_a_way_out(room: &Room) -> String {
    let name = typed(&format!("{}/{}", room.site, room.name));
    let mut command = format!("gritledger room edit {name}");
    for door in &room.doors {
        let to = door.to.as_ref().map_or("outside", |(_, name)| name);
        let door = typed(&format!("{to}:{}", door.width.exact_text()));
        command.push_str(&format!(" --door {door}"));
    }
    command + " --door outside:3ft"
}

/// Returns the places of a house that rooms are.
pub(super) fn places_of(house: &House, rooms: &[RoomId]) -> Places {
    let places = house.places().iter().enumerate();
    places
        .filter(|(_, place)| rooms.contains(&place.id))
        .map(|(number, _)| number)
        .collect()
}

fn machines_of(offer: &Offer, ids: &[MachineId]) -> Vec<Machine> {
    let known = ids.iter().filter_map(|id| offer.machines.get(id));
    known.cloned().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trade::plan::WorkingDay;

    #[test]
    fn no_plan_begins_in_the_past() {
        let calendar = Calendar {
            working_days: Vec::new(),
            holidays: std::collections::BTreeMap::new(),
            day: WorkingDay {
                crew_minutes: 480,
                day_minutes: 480,
            },
        };
        let [past, today] = [1, 2].map(|day| NaiveDate::from_ymd_opt(2026, 3, day).expect("a day"));
        let refused = check_start(&calendar, past, today).expect_err("a refusal");
        let words = "2026-03-01 is past, and a plan begins today or later";
        assert_eq!(refused.to_string(), words);
    }
}
