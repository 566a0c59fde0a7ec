//! A run through all draws, block by block: what is drawn, and what it counts for.

use super::draws::{BySubject, Collected, Draws};
use super::factors::Factors;
use super::luck::{Source, THIRD};
use super::steps::{OpenedPacks, Rental};
use super::{Contingency, Model, NoPacks, Quantity};
use crate::trade::rates::float;
use crate::trade::rates::forecast::Spread;

/// Draws that are worked out together: what is at hand then stays in the processor's cache.
pub(super) const BLOCK: usize = 250;

/// One number for each draw of the block at hand.
pub(super) type Column = Vec<f64>;

/// A run through all draws.
pub(super) struct Run<'a> {
    model: &'a Model,
    factors: Factors,
    contingencies: Vec<Extents>,
    /// The random numbers of each quantity.
    sources: Vec<Source>,
    hand: Hand,
    job: JobTakes,
    steps: Steps,
    /// What is counted for rooms that are priced alone, if any are.
    alone: Option<Alone>,
    all: Collected,
}

/// How much of a contingency turns up, relative to the mean of its range.
struct Extents {
    source: Source,
    column: Column,
}

/// The quantity at hand.
struct Hand {
    drawn: Column,
    /// What its gamma numbers are drawn by: variance over mean, and the slope of [`Source::cube`].
    scales: Column,
    slopes: Column,
}

/// What is paid in steps.
struct Steps {
    rentals: Vec<Rental>,
    /// Of each item; `None`: it keeps.
    opened: Vec<Option<OpenedPacks>>,
}

/// What the job takes.
pub(super) struct JobTakes {
    pub(super) costs: BySubject<Column>,
    pub(super) machine_hours: Vec<Column>,
    pub(super) items: Vec<Column>,
}

/// What each room takes, to be priced as a job of its own.
struct Alone {
    rooms: Vec<RoomTakes>,
    /// What comes with any job, whatever rooms it has.
    any_job: RoomTakes,
}

/// What a room takes of everything.
struct RoomTakes {
    /// Cost of what doesn't come in steps.
    cost: Column,
    machine_hours: Vec<Column>,
    /// Units of items that don't keep.
    items: Vec<Column>,
}

impl<'a> Run<'a> {
    pub(super) fn new(model: &'a Model, draws: usize, seed: u64) -> Run<'a> {
        let contingencies = model.contingencies.iter();
        let quantities = model.quantities.iter();
        Run {
            model,
            factors: Factors::new(&model.quantities, seed),
            contingencies: contingencies
                .map(|contingency| Extents {
                    source: Source::new(seed, contingency.stream),
                    column: column(),
                })
                .collect(),
            sources: quantities
                .map(|quantity| Source::new(seed, quantity.stream))
                .collect(),
            hand: Hand {
                drawn: column(),
                scales: column(),
                slopes: column(),
            },
            job: JobTakes {
                costs: BySubject::new(model, column),
                machine_hours: columns(model.machines.len()),
                items: columns(model.items.len()),
            },
            steps: Steps::new(model),
            alone: (model.rooms > 0).then(|| Alone {
                rooms: (0..model.rooms).map(|_| RoomTakes::new(model)).collect(),
                any_job: RoomTakes::new(model),
            }),
            all: Collected::new(model, draws),
        }
    }

    /// Draws the next so many, a block at most.
    pub(super) fn draw_block(&mut self, size: usize) -> Result<(), NoPacks> {
        let contingencies = self.model.contingencies.iter();
        for (contingency, extents) in contingencies.zip(&mut self.contingencies) {
            extents.draw(contingency, size);
        }
        self.factors.draw(size);
        self.job.clear(size);
        if let Some(alone) = &mut self.alone {
            alone.clear(size);
        }
        for place in 0..self.model.quantities.len() {
            self.draw_quantity(place, size);
        }
        self.price_steps(size)?;
        let costs = &mut self.hand.drawn[..size];
        self.job.sum_costs(costs);
        self.all.add_job(costs, &self.job);
        if let Some(alone) = &mut self.alone {
            alone.price(&mut self.steps, &mut self.hand.drawn[..size], &mut self.all)?;
        }
        Ok(())
    }

    /// Draws a quantity, and adds it to what it counts for.
    fn draw_quantity(&mut self, place: usize, size: usize) {
        let quantity = &self.model.quantities[place];
        let factors = &self.factors.of_quantity(place)[..size];
        let extents = quantity
            .contingency
            .map(|place| &self.contingencies[place].column[..size]);
        self.hand.expect(&quantity.spread, factors, extents);
        self.hand
            .draw(&quantity.spread, &mut self.sources[place], size);
        let drawn = &self.hand.drawn[..size];
        self.job.add(quantity, drawn);
        if let Some(alone) = &mut self.alone {
            alone.add(quantity, drawn, &self.steps);
        }
    }

    /// Prices what the whole job is paid for in steps.
    fn price_steps(&mut self, size: usize) -> Result<(), NoPacks> {
        let JobTakes {
            costs,
            machine_hours,
            items,
        } = &mut self.job;
        for (place, rental) in self.steps.rentals.iter().enumerate() {
            let costs = &mut costs.rentals[place][..size];
            for (cost, hours) in costs.iter_mut().zip(&machine_hours[place]) {
                let half_days = rental.half_days(*hours);
                *cost = rental.cost(half_days);
                self.all.add_rental(place, half_days);
            }
        }
        for (place, opened) in self.steps.opened.iter_mut().enumerate() {
            if let Some(opened) = opened {
                let rests = &mut costs.opened[place][..size];
                let left = opened.price(&items[place][..size], rests)?;
                self.all.add_left(place, left);
            }
        }
        Ok(())
    }

    pub(super) fn finish(self) -> Draws {
        self.all.finish()
    }
}

impl Extents {
    fn draw(&mut self, contingency: &Contingency, size: usize) {
        let chance = float(contingency.chance);
        let (low, high) = (float(contingency.low), float(contingency.high));
        let middle = 0.5 * (low + high);
        for extent in &mut self.column[..size] {
            let turns_up = self.source.unit() < chance;
            let how_much = self.source.unit();
            *extent = if turns_up && middle > 0.0 {
                (low + (high - low) * how_much) / middle
            } else {
                0.0
            };
        }
    }
}

impl Hand {
    /// Works out what is expected of a quantity in each draw: at the rates of that time, of as much as turns up.
    fn expect(&mut self, spread: &Spread, factors: &[f64], extents: Option<&[f64]>) {
        let (slope, fixed) = (spread.slope, spread.fixed);
        let means = self.drawn.iter_mut().zip(factors);
        let Some(extents) = extents else {
            for (mean, factor) in means {
                *mean = (slope + fixed) * factor;
            }
            return;
        };
        for ((mean, factor), extent) in means.zip(extents) {
            let expected = if *extent > 0.0 {
                slope * extent + fixed
            } else {
                0.0
            };
            *mean = expected * factor;
        }
    }

    /// Draws a quantity around what is expected of it.
    fn draw(&mut self, spread: &Spread, source: &mut Source, size: usize) {
        let (room, dispersion) = (spread.room, spread.dispersion);
        let drawn = &mut self.drawn[..size];
        // What the gamma numbers need beside luck, worked out before: the processor does several at a time.
        let by = self.scales[..size].iter_mut().zip(&mut self.slopes[..size]);
        for (mean, (scale, slope)) in drawn.iter().zip(by) {
            // Variance over mean; the shape is the mean over that.
            *scale = dispersion + room * mean;
            *slope = (*scale / (9.0 * mean - 3.0 * *scale)).sqrt();
        }
        let by = self.scales[..size].iter().zip(&self.slopes[..size]);
        for (drawn, (scale, slope)) in drawn.iter_mut().zip(by) {
            if *scale > 0.0 && *drawn >= *scale {
                *drawn = (*drawn - THIRD * scale) * source.cube(*slope);
            } else if *scale > 0.0 && *drawn > 0.0 {
                *drawn = scale * source.gamma(*drawn / scale);
            }
        }
    }
}

impl Steps {
    fn new(model: &Model) -> Steps {
        let items = model.items.iter().enumerate();
        Steps {
            rentals: model.machines.iter().map(Rental::new).collect(),
            opened: items
                .map(|(place, item)| OpenedPacks::new(place, item))
                .collect(),
        }
    }
}

impl JobTakes {
    fn clear(&mut self, size: usize) {
        let columns = self.costs.all_mut().chain(&mut self.machine_hours);
        for column in columns.chain(&mut self.items) {
            column[..size].fill(0.0);
        }
    }

    fn add(&mut self, quantity: &Quantity, drawn: &[f64]) {
        let unit_cost = float(quantity.unit_cost);
        for (part, share) in quantity.uses.iter().zip(&quantity.spread.shares) {
            let cost = &mut self.costs.operations[part.operation];
            add_times(cost, drawn, share * unit_cost);
            if let Some(machine) = part.machine {
                add_times(&mut self.machine_hours[machine], drawn, *share);
            }
        }
        if let Some(item) = quantity.item {
            add_times(&mut self.items[item], drawn, 1.0);
        }
    }

    /// Adds up the whole cost of each draw.
    fn sum_costs(&self, sums: &mut [f64]) {
        sums.fill(0.0);
        for costs in self.costs.all() {
            add_times(sums, costs, 1.0);
        }
    }
}

impl Alone {
    fn clear(&mut self, size: usize) {
        let rooms = self.rooms.iter_mut().chain([&mut self.any_job]);
        for column in rooms.flat_map(RoomTakes::columns) {
            column[..size].fill(0.0);
        }
    }

    fn add(&mut self, quantity: &Quantity, drawn: &[f64], steps: &Steps) {
        let takes = match quantity.room {
            Some(room) => &mut self.rooms[room],
            None => &mut self.any_job,
        };
        add_times(&mut takes.cost, drawn, float(quantity.unit_cost));
        for (part, share) in quantity.uses.iter().zip(&quantity.spread.shares) {
            if let Some(machine) = part.machine {
                add_times(&mut takes.machine_hours[machine], drawn, *share);
            }
        }
        if let Some(item) = quantity.item.filter(|item| steps.opened[*item].is_some()) {
            add_times(&mut takes.items[item], drawn, 1.0);
        }
    }

    /// Prices each room as a job of its own; `rests` is room for one number for each draw.
    fn price(
        &mut self,
        steps: &mut Steps,
        rests: &mut [f64],
        all: &mut Collected,
    ) -> Result<(), NoPacks> {
        for (place, room) in self.rooms.iter_mut().enumerate() {
            let size = rests.len();
            add_times(&mut room.cost[..size], &self.any_job.cost, 1.0);
            let plain = room.cost[..size].iter().sum::<f64>();
            room.add_steps(&self.any_job, steps, rests)?;
            all.add_alone(place, &room.cost[..size], plain);
        }
        Ok(())
    }
}

impl RoomTakes {
    fn new(model: &Model) -> RoomTakes {
        RoomTakes {
            cost: column(),
            machine_hours: columns(model.machines.len()),
            items: columns(model.items.len()),
        }
    }

    fn columns(&mut self) -> impl Iterator<Item = &mut Column> {
        let RoomTakes {
            cost,
            machine_hours,
            items,
        } = self;
        std::iter::once(cost).chain(machine_hours).chain(items)
    }

    /// Adds the cost of what is paid in steps for a room and what comes with any job.
    fn add_steps(
        &mut self,
        any_job: &RoomTakes,
        steps: &mut Steps,
        rests: &mut [f64],
    ) -> Result<(), NoPacks> {
        let costs = &mut self.cost[..rests.len()];
        for (place, rental) in steps.rentals.iter().enumerate() {
            let hours = self.machine_hours[place].iter();
            let hours = hours.zip(&any_job.machine_hours[place]);
            for (cost, (own, any_job)) in costs.iter_mut().zip(hours) {
                *cost += rental.cost(rental.half_days(own + any_job));
            }
        }
        for (place, opened) in steps.opened.iter_mut().enumerate() {
            if let Some(opened) = opened {
                let used = &mut self.items[place][..rests.len()];
                add_times(used, &any_job.items[place], 1.0);
                opened.price(used, rests)?;
                add_times(costs, rests, 1.0);
            }
        }
        Ok(())
    }
}

fn column() -> Column {
    vec![0.0; BLOCK]
}

fn columns(count: usize) -> Vec<Column> {
    vec![column(); count]
}

fn add_times(column: &mut [f64], values: &[f64], times: f64) {
    for (sum, value) in column.iter_mut().zip(values) {
        *sum += value * times;
    }
}
