//! A good plan, found by changing others step by step: it makes the search for the best one short, and stands in for it where
//! that takes too long.

use super::search::{Chosen, Search};
use super::ways::Places;

impl Search<'_> {
    /// Returns the first plan in one of these orders that is cheaper than one that is known, or as cheap and earlier.
    pub(super) fn better(
        &self,
        known: &Chosen,
        orders: impl IntoIterator<Item = Vec<Places>>,
    ) -> Option<(Chosen, Vec<Places>)> {
        let orders = orders.into_iter();
        let mut orders = orders.take_while(|_| self.work.is_left());
        orders.find_map(|order| {
            let plan = self.of_phases(&order, Some(known.cost))?;
            let is_better = (plan.cost, plan.finish) < (known.cost, known.finish);
            is_better.then_some((plan, order))
        })
    }

    /// Returns a good plan, as far as the work allows; `None`: none was found. All at once, one by one,
    /// as many at once as can be emptied (those that keep somebody from bed by themselves first, so that they share their
    /// nights), and the phases that somebody named are changed step by step as long as that is cheaper: phases are put
    /// together, units moved; where that doesn't help any more, units and phases change places.
    pub(super) fn good_plan(&self, rooms: Places, named: Option<&[Places]>) -> Option<Chosen> {
        let ones: Vec<Places> = self.units(rooms);
        let mut starts = vec![vec![rooms], ones.clone()];
        if let Some(most) = self.brief.most_rooms {
            starts.push(chunks(&ones, most));
            let mut closing = ones.clone();
            closing.sort_by_key(|unit| self.facts(*unit).fails.is_none());
            starts.push(chunks(&closing, most));
        }
        starts.extend(named.map(<[Places]>::to_vec));
        let feasible = starts.into_iter();
        let feasible = feasible.filter_map(|phases| Some((self.of_phases(&phases, None)?, phases)));
        let mut feasible: Vec<(Chosen, Vec<Places>)> = feasible.collect();
        // Where the work doesn't suffice for all of them, it goes into the best.
        feasible.sort_by_key(|(plan, _)| (plan.cost, plan.finish));
        let found = feasible.into_iter().map(|mut best| {
            loop {
                let (plan, phases) = &best;
                let better = self
                    .better(plan, moved(phases, &ones))
                    .or_else(|| self.better(plan, swapped(phases, &ones)));
                match better {
                    Some(better) => best = better,
                    None => return best.0,
                }
            }
        });
        found.min_by_key(|plan| (plan.cost, plan.finish))
    }
}

/// Returns units put together in their order, up to so many rooms each.
fn chunks(units: &[Places], most: u32) -> Vec<Places> {
    let mut phases: Vec<Places> = Vec::new();
    for unit in units {
        match phases.last_mut() {
            Some(phase) if phase.with(*unit).count() <= most => *phase = phase.with(*unit),
            _ => phases.push(*unit),
        }
    }
    phases
}

/// Returns the ordered phases that come of these by putting two together, or moving one unit.
fn moved(phases: &[Places], units: &[Places]) -> Vec<Vec<Places>> {
    let mut all = Vec::new();
    for later in 1..phases.len() {
        for earlier in 0..later {
            let mut merged = phases.to_vec();
            merged[earlier] = merged[earlier].with(merged.remove(later));
            all.push(merged);
        }
    }
    for unit in units {
        let without: Vec<Places> = phases.iter().map(|phase| phase.without(*unit)).collect();
        for place in 0..=phases.len() {
            let mut alone = without.clone();
            alone.insert(place, *unit);
            all.push(alone);
            let mut moved = without.clone();
            if let Some(phase) = moved.get_mut(place) {
                *phase = phase.with(*unit);
                all.push(moved);
            }
        }
    }
    for moved in &mut all {
        moved.retain(|phase| !phase.is_empty());
    }
    all.retain(|moved| moved != phases);
    all
}

/// Returns the ordered phases that come of these if two units of different phases change places, or a phase comes earlier
/// or later.
fn swapped(phases: &[Places], units: &[Places]) -> Vec<Vec<Places>> {
    let mut all = Vec::new();
    for (place, one) in units.iter().enumerate() {
        for another in &units[..place] {
            let both = one.with(*another);
            if phases.iter().any(|phase| both.is_within(*phase)) {
                continue;
            }
            let swap = |phase: &Places| match (one.is_within(*phase), another.is_within(*phase)) {
                (true, _) => phase.without(*one).with(*another),
                (_, true) => phase.without(*another).with(*one),
                _ => *phase,
            };
            all.push(phases.iter().map(swap).collect());
        }
    }
    for from in 0..phases.len() {
        for to in (0..phases.len()).filter(|to| *to != from) {
            let mut reordered = phases.to_vec();
            let phase = reordered.remove(from);
            reordered.insert(to, phase);
            all.push(reordered);
        }
    }
    all
}
