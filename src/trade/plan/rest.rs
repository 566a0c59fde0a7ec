//! What the rest of a plan costs at least, by how long the sanding machines have been out.
//!
//! A phase is known by its [`Least`] in a calendar without weekends and holidays, in which nothing takes longer: what it
//! costs beside the sanding machines, for how many days it has those, and after how many days the next phase can begin.
//! After a phase the machines go back, which costs what a rental of so many days costs at the cheapest time of the week,
//! or they are kept, and then they are out until the next phase can begin and for its days as well. So for a set of rooms
//! that are left, and machines that have been out for so many days when its first phase begins, the least that any order
//! of phases costs follows from the sets within it: a [`Rest`].
//!
//! Within the budget of steps, 39 of 40 drawn houses of nine rooms are proven with it, 4 without it, and 31 if it doesn't
//! know for how long machines have been out (`benches/README.md`).

/// More than anything costs: what can't be done.
pub(super) const NEVER: i64 = i64::MAX / 8;
/// Days for which machines that are kept are told apart; what is out for longer counts as out for so many days, which
/// costs no more.
const KEPT: usize = 40;

/// What a phase takes at least, whatever its dates.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Least {
    /// What it costs beside the sanding machines.
    pub(super) cost: i64,
    /// Days of the sanding machines; none: it has no need of them.
    pub(super) sanding: usize,
    /// Days until the next phase can begin.
    pub(super) until_next: usize,
}

impl Least {
    /// Returns a phase without sanding machines.
    pub(super) fn of_cost(cost: i64) -> Least {
        Least {
            cost,
            ..Least::default()
        }
    }
}

/// The least that what is left costs: by days that the sanding machines have been out when it begins, that rental
/// included; at 0, none are out.
#[derive(Clone, Debug)]
pub(super) struct Rest([i64; KEPT + 1]);

impl Rest {
    /// Nothing is left, and no machine out.
    pub(super) fn nothing() -> Rest {
        let mut rest = Rest([NEVER; KEPT + 1]);
        rest.0[0] = 0;
        rest
    }

    /// A set of rooms of which no phase is known yet.
    fn unknown() -> Rest {
        Rest([NEVER; KEPT + 1])
    }

    /// Returns the least if no machine is out.
    pub(super) fn fresh(&self) -> i64 {
        self.0[0]
    }

    /// Returns the least if machines have been out for so many days and are kept.
    pub(super) fn kept(&self, days: usize) -> i64 {
        self.0[days.clamp(1, KEPT)]
    }

    /// Returns the least of a phase with this rest after it, if machines have been out for so many days before; 0: none
    /// are. Prices are the least of a rental by its days.
    pub(super) fn after(&self, phase: &Least, out: usize, prices: &[i64]) -> i64 {
        let next = out + phase.until_next;
        if phase.sanding == 0 {
            let rest = if out == 0 {
                self.fresh()
            } else {
                self.kept(next)
            };
            return phase.cost + rest;
        }
        let days = (out + phase.sanding).min(prices.len() - 1);
        phase.cost + (prices[days] + self.fresh()).min(self.kept(next))
    }

    /// Returns the least of a phase with this rest after it.
    pub(super) fn with(&self, phase: &Least, prices: &[i64]) -> Rest {
        Rest(std::array::from_fn(|out| {
            self.after(phase, out, prices).min(NEVER)
        }))
    }

    /// Lowers the least to that of another order of phases.
    fn lower(&mut self, other: &Rest) {
        for (least, other) in self.0.iter_mut().zip(&other.0) {
            *least = (*least).min(*other);
        }
    }
}

/// Returns what is least for each set of rooms (as bits, the first of them empty), over all orders of phases that they can
/// be divided into; `None`: the set can't be a phase.
pub(super) fn least_of_rests(phases: &[Option<Least>], prices: &[i64]) -> Vec<Rest> {
    let mut rests = vec![Rest::nothing()];
    for rest in 1..phases.len() {
        let mut least = Rest::unknown();
        let mut phase = rest;
        while phase != 0 {
            if let Some(first) = &phases[phase] {
                least.lower(&rests[rest & !phase].with(first, prices));
            }
            phase = (phase - 1) & rest;
        }
        rests.push(least);
    }
    rests
}
