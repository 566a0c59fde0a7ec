//! A good plan, found by changing others step by step. It makes the search for the cheapest one short, and is taken instead
//! where that takes too long.

use super::search::{Chosen, Search};
use super::ways::Places;

/// A plan, and the phases in whose order it was found.
pub(super) struct Ordered {
    pub(super) plan: Chosen,
    pub(super) order: Vec<Places>,
}

impl Search<'_> {
    /// Returns the first plan in one of these orders that is cheaper than one that is known, or as cheap and earlier.
    pub(super) fn better(
        &self,
        known: &Chosen,
        orders: impl IntoIterator<Item = Vec<Places>>,
    ) -> Option<Ordered> {
        let orders = orders.into_iter();
        let mut orders = orders.take_while(|_| self.work.is_left());
        orders.find_map(|order| {
            let plan = self.of_phases(&order, Some(known.cost))?;
            let is_better = plan.rank() < known.rank();
            is_better.then_some(Ordered { plan, order })
        })
    }

    /// Returns a good plan, as far as the work allows; `None`: none was found. It begins with all rooms at once, the rooms
    /// one by one, and the phases that somebody named; where only so many rooms can be emptied, with as many at once, also
    /// with those first that close something by themselves, so that they share their nights away. Each of these is
    /// [improved](Search::improved), and the best of them is returned.
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
        let feasible = starts.into_iter().filter_map(|order| {
            let plan = self.of_phases(&order, None)?;
            Some(Ordered { plan, order })
        });
        let mut feasible: Vec<Ordered> = feasible.collect();
        // Where the work doesn't suffice for all of them, it goes into the best.
        feasible.sort_by_key(|ordered| ordered.plan.rank());
        let improved = feasible
            .into_iter()
            .map(|begun| self.improved(begun, &ones));
        improved.min_by_key(Chosen::rank)
    }

    /// Changes a plan step by step as long as that makes it cheaper, or as cheap and earlier: phases are put together, units
    /// moved; where that doesn't help any more, units and phases change places.
    fn improved(&self, begun: Ordered, units: &[Places]) -> Chosen {
        let mut best = begun;
        loop {
            let Ordered { plan, order } = &best;
            let better = self
                .better(plan, moved(order, units))
                .or_else(|| self.better(plan, swapped(order, units)));
            match better {
                Some(better) => best = better,
                None => return best.plan,
            }
        }
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
