//! A job's cost as a distribution.
//!
//! Many times over, the job is done on paper: each time the rates turn out a little different, rooms come easier or
//! harder, what may turn up does or doesn't, and the machines go back when they are no longer needed. What is drawn:
//!
//! * the **rates** that rooms share, once for each time: log-normal factors of mean 1 with the relative variances of
//!   `rates::forecast`;
//! * each **quantity** (an item of an operation in a room, the hours of a task in a room): gamma, with the mean that the
//!   rates of that time give, and the variance of rooms and dispersion;
//! * each **contingency**: whether it turns up, and how much of it, any amount of its range as likely as any other.
//!
//! What follows from them in steps: a machine's hours make days and half days, which the yard's tariff prices; a can
//! that doesn't keep is paid for whole. Everything else costs what is used: hours at wage and burden, items at their unit
//! price. Overhead goes with labour.
//!
//! # The same figures everywhere
//! Numbers come from ChaCha with eight rounds, its key made of the quote's seed and its stream of the quantity's name:
//! a room more or less leaves the others' luck as it was, and options and versions of a quote differ by what was changed
//! and not by chance. Normal numbers by the ziggurat (Marsaglia and Tsang 2000a, 256 strips), gamma numbers by Marsaglia
//! and Tsang (2000b). Logarithms, exponentials and powers are libm's, which are the same on every platform; roots and the
//! four operations are exact by IEEE 754.
//!
//! Both methods are written out here, because a library's (`rand_distr`) make a quote of 14 rooms a quarter slower, and
//! use the platform's logarithms once any crate of the build asks for them; `benches/README.md` has the figures.
//!
//! Floats live here and in the rates, and nowhere else in the trade: what leaves is [`Money`] and [`Decimal`].

#![allow(
    clippy::float_arithmetic,
    reason = "a model of what may happen: estimates, never amounts that are owed"
)]

use std::collections::BTreeMap;
use std::sync::LazyLock;

use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};
use rust_decimal::prelude::ToPrimitive;

use crate::money::{Decimal, Money, counted, quantity, round};
use crate::trade::buying::{BuyError, PackSize, Shelf};
use crate::trade::quote::Cause;
use crate::trade::rates::float;
use crate::trade::rates::forecast::Spread;
use crate::trade::rental::{MOST_DAYS, Need};

/// A job as it will be drawn.
#[derive(Clone, Debug, Default)]
pub(in crate::trade) struct Model {
    /// What will be used and worked.
    pub(in crate::trade) quantities: Vec<Quantity>,
    /// What may turn up.
    pub(in crate::trade) contingencies: Vec<Contingency>,
    /// How many things the risk is told apart by; the first of them are operations, by the caller's numbers.
    pub(in crate::trade) operations: usize,
    /// Each machine: what its yard asks for each number of half days, and the firm's hours in a working day.
    pub(in crate::trade) machines: Vec<(Vec<Money>, Decimal)>,
    /// Each item.
    pub(in crate::trade) items: Vec<ItemModel>,
    /// How many rooms are also priced as jobs of their own; none, if that isn't asked for.
    pub(in crate::trade) rooms: usize,
}

/// A quantity of the job.
#[derive(Clone, Debug)]
pub(in crate::trade) struct Quantity {
    /// What is known of it.
    pub(in crate::trade) spread: Spread,
    /// Names it within the job, so that its luck is its own.
    pub(in crate::trade) stream: u64,
    /// Its room; `None`: it comes with the job, whatever rooms that has.
    pub(in crate::trade) room: Option<usize>,
    /// The contingency that it hangs on.
    pub(in crate::trade) contingency: Option<usize>,
    /// The item, if it is one; else hours.
    pub(in crate::trade) item: Option<usize>,
    /// What an item or an hour costs, in minor units.
    pub(in crate::trade) unit_cost: Decimal,
    /// The operations that share it, in the order of the spread, each with its machine.
    pub(in crate::trade) operations: Vec<(usize, Option<usize>)>,
}

/// Something that may turn up.
#[derive(Clone, Debug)]
pub(in crate::trade) struct Contingency {
    /// How likely, as a fraction of one.
    pub(in crate::trade) chance: Decimal,
    /// The least and the most of it.
    pub(in crate::trade) range: (Decimal, Decimal),
    /// Names it within the job.
    pub(in crate::trade) stream: u64,
}

/// An item of the job.
#[derive(Clone, Debug)]
pub(in crate::trade) struct ItemModel {
    /// Its packs, if an opened one doesn't keep.
    pub(in crate::trade) opened: Option<Vec<PackSize>>,
    /// What a unit costs, in minor units.
    pub(in crate::trade) unit_cost: Decimal,
}

/// What a machine's rental comes to in the mean of the draws.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::trade) struct MeanRental {
    /// What the yard asks.
    pub(in crate::trade) cost: Money,
    /// For how many days.
    pub(in crate::trade) days: Decimal,
    /// In what part of the draws the machine is rented at all.
    pub(in crate::trade) chance: Decimal,
}

/// What came of all draws.
#[derive(Clone, Debug)]
pub(in crate::trade) struct Draws {
    /// The whole cost of each draw, in minor units, in rising order.
    costs: Vec<f64>,
    /// Hours of each machine.
    machine_hours: Vec<Vec<f64>>,
    /// Each machine's rental, in the mean.
    rentals: Vec<MeanRental>,
    /// Units of each item.
    items: Vec<Vec<f64>>,
    /// Mean cost of what is left in opened packs, and mean units, by item.
    opened: Vec<(f64, f64)>,
    /// What part of the variance comes from each operation, then each machine's rental, then each item's opened packs.
    shares: Vec<f64>,
    /// The cost of each room as a job of its own, and the mean of what doesn't come in steps.
    alone: Vec<(Vec<f64>, f64)>,
}

impl Model {
    /// Draws the job so many times.
    ///
    /// # Errors
    /// Refuses an item that doesn't keep and has no pack, or would take more packs than can be worked out: by its number.
    pub(in crate::trade) fn draw(
        &self,
        draws: usize,
        seed: u64,
    ) -> Result<Draws, (usize, BuyError)> {
        let mut run = Run::new(self, draws, seed);
        let mut left = draws;
        while left > 0 {
            let size = left.min(BLOCK);
            run.draw_block(size)?;
            left -= size;
        }
        Ok(run.finish())
    }

    /// Returns what most of each operation's variance is due to, in closed form.
    pub(in crate::trade) fn causes(&self) -> Vec<Cause> {
        let mut parts = vec![Components::default(); self.operations];
        for quantity in &self.quantities {
            let Quantity {
                spread, unit_cost, ..
            } = quantity;
            let contingency = quantity.contingency.map(|place| &self.contingencies[place]);
            let unit_cost = float(*unit_cost);
            for ((operation, _), share) in quantity.operations.iter().zip(&spread.shares) {
                let cost = (spread.slope + spread.fixed) * share * unit_cost;
                parts[*operation].add(spread, cost, unit_cost * share, contingency);
            }
        }
        parts.iter().map(Components::largest).collect()
    }
}

/// An operation's variance by what it is due to.
#[derive(Clone, Debug, Default)]
struct Components {
    /// Standard deviations that add up, since the rates are shared: what isn't known, and how jobs differ.
    rate: f64,
    job: f64,
    /// Variances.
    room: f64,
    contingency: f64,
}

impl Components {
    fn add(
        &mut self,
        spread: &Spread,
        cost: f64,
        unit_cost: f64,
        contingency: Option<&Contingency>,
    ) {
        let chance = contingency.map_or(1.0, |contingency| float(contingency.chance));
        self.rate += chance * cost * spread.known.iter().sum::<f64>().sqrt();
        self.job += chance * cost * spread.job.sqrt();
        self.room += chance * (spread.room * cost * cost + spread.dispersion * unit_cost * cost);
        if let Some(contingency) = contingency {
            let (low, high) = (float(contingency.range.0), float(contingency.range.1));
            let middle = 0.5 * (low + high);
            let wide = if middle > 0.0 {
                (high - low) / middle
            } else {
                0.0
            };
            self.contingency += cost * cost * chance * (1.0 - chance + wide * wide / 12.0);
        }
    }

    fn largest(&self) -> Cause {
        let parts = [
            (self.contingency, Cause::Contingency),
            (self.rate * self.rate, Cause::Rate),
            (self.job * self.job, Cause::Job),
            (self.room, Cause::Room),
        ];
        let largest = parts
            .into_iter()
            .max_by(|one, another| one.0.total_cmp(&another.0));
        largest.map_or(Cause::Room, |(_, cause)| cause)
    }
}

/// Draws that are worked out together: what is at hand then stays in the processor's cache.
const BLOCK: usize = 250;

/// A run through all draws, block by block; a column holds one number for each draw of the block at hand.
struct Run<'a> {
    model: &'a Model,
    /// Where the luck of each quantity and contingency comes from.
    quantities: Vec<Source>,
    contingencies: Vec<Source>,
    /// Where the luck of each shared factor comes from, and its normal numbers.
    shared: Vec<(Source, Vec<f64>)>,
    /// The cells' factors, and which each quantity has.
    factors: Vec<Factor>,
    factor_of: Vec<usize>,
    /// How much of each contingency turns up, relative to the mean of its range.
    extents: Vec<Vec<f64>>,
    /// Cost by operation, machine and opened item.
    subjects: Vec<Vec<f64>>,
    machine_hours: Vec<Vec<f64>>,
    items: Vec<Vec<f64>>,
    /// The quantity at hand, and the scales and slopes that it is drawn by.
    drawn: Vec<f64>,
    scales: Vec<f64>,
    slopes: Vec<f64>,
    machines: Vec<MachineCosts>,
    opened: Vec<Option<OpenedPacks>>,
    /// What each room takes, and last what comes with any job.
    alone: Vec<Takings>,
    all: Collected,
}

/// What a room takes of everything, or what comes with any job.
struct Takings {
    cost: Vec<f64>,
    machine_hours: Vec<Vec<f64>>,
    items: Vec<Vec<f64>>,
}

/// What the rates of a cell are times their means.
struct Factor {
    tree: usize,
    cell: usize,
    /// The shared factors that it is made of, each with the variance of its logarithm.
    parts: Vec<(usize, f64)>,
    column: Vec<f64>,
}

/// What is kept of all blocks.
struct Collected {
    costs: Vec<f64>,
    machine_hours: Vec<Vec<f64>>,
    items: Vec<Vec<f64>>,
    /// Half days of each machine, added up, and the draws in which it is rented at all.
    half_days: Vec<(f64, f64)>,
    /// Units left in opened packs of each item, added up.
    left: Vec<f64>,
    /// Cost of each subject, added up, and times the whole cost.
    sums: Vec<(f64, f64)>,
    /// Cost of each room as a job of its own, and what doesn't come in steps, added up.
    alone: Vec<(Vec<f64>, f64)>,
}

/// What shares a factor, by tree.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Shared {
    Root(usize),
    Job(usize),
    Step(usize, usize),
    Cell(usize, usize),
}

impl Shared {
    /// Returns a number of its own; quantities' streams are digests, and far from these.
    fn stream(self) -> u64 {
        let (tag, tree, place) = match self {
            Shared::Root(tree) => (0, tree, 0),
            Shared::Job(tree) => (1, tree, 0),
            Shared::Step(tree, step) => (2, tree, step),
            Shared::Cell(tree, cell) => (3, tree, cell),
        };
        (tag << 4 | tree as u64) << 32 | place as u64
    }
}

impl<'a> Run<'a> {
    fn new(model: &'a Model, draws: usize, seed: u64) -> Run<'a> {
        let columns = |count: usize| vec![vec![0.0; BLOCK]; count];
        let (machines, items) = (model.machines.len(), model.items.len());
        let subjects = model.operations + machines + items;
        let takings = match model.rooms {
            0 => 0,
            rooms => rooms + 1,
        };
        let mut run = Run {
            model,
            quantities: model
                .quantities
                .iter()
                .map(|quantity| Source::new(seed, quantity.stream))
                .collect(),
            contingencies: model
                .contingencies
                .iter()
                .map(|contingency| Source::new(seed, contingency.stream))
                .collect(),
            shared: Vec::new(),
            factors: Vec::new(),
            factor_of: Vec::new(),
            extents: columns(model.contingencies.len()),
            subjects: columns(subjects),
            machine_hours: columns(machines),
            items: columns(items),
            drawn: vec![0.0; BLOCK],
            scales: vec![0.0; BLOCK],
            slopes: vec![0.0; BLOCK],
            machines: model.machines.iter().map(MachineCosts::new).collect(),
            opened: model.items.iter().map(OpenedPacks::new).collect(),
            alone: (0..takings)
                .map(|_| Takings {
                    cost: vec![0.0; BLOCK],
                    machine_hours: columns(machines),
                    items: columns(items),
                })
                .collect(),
            all: Collected {
                costs: Vec::with_capacity(draws),
                machine_hours: vec![Vec::with_capacity(draws); machines],
                items: vec![Vec::with_capacity(draws); items],
                half_days: vec![(0.0, 0.0); machines],
                left: vec![0.0; items],
                sums: vec![(0.0, 0.0); subjects],
                alone: vec![(Vec::with_capacity(draws), 0.0); model.rooms],
            },
        };
        let mut known: BTreeMap<Shared, usize> = BTreeMap::new();
        for quantity in &model.quantities {
            let place = run.factor_for(&quantity.spread, seed, &mut known);
            run.factor_of.push(place);
        }
        run
    }

    /// Returns the place of a cell's factor, which is made up if it is new.
    fn factor_for(
        &mut self,
        spread: &Spread,
        seed: u64,
        known: &mut BTreeMap<Shared, usize>,
    ) -> usize {
        let (tree, step, cell) = (spread.tree, spread.step, spread.cell);
        let mut factors = self.factors.iter();
        if let Some(place) = factors.position(|factor| (factor.tree, factor.cell) == (tree, cell)) {
            return place;
        }
        let sources = [
            (Shared::Root(tree), spread.known[0]),
            (Shared::Step(tree, step), spread.known[1]),
            (Shared::Cell(tree, cell), spread.known[2]),
            (Shared::Job(tree), spread.job),
        ];
        let mut parts = Vec::new();
        for (source, variance) in sources {
            // A log-normal of mean 1 and relative variance v: its logarithm has the variance ln(1 + v).
            let of_logarithm = libm::log(1.0 + variance);
            if of_logarithm > 0.0 {
                let next = self.shared.len();
                let place = *known.entry(source).or_insert(next);
                if place == next {
                    let source = Source::new(seed, source.stream());
                    self.shared.push((source, vec![0.0; BLOCK]));
                }
                parts.push((place, of_logarithm));
            }
        }
        self.factors.push(Factor {
            tree,
            cell,
            parts,
            column: vec![0.0; BLOCK],
        });
        self.factors.len() - 1
    }

    fn draw_block(&mut self, size: usize) -> Result<(), (usize, BuyError)> {
        let contingencies = self.model.contingencies.iter().zip(&mut self.contingencies);
        for ((contingency, source), extents) in contingencies.zip(&mut self.extents) {
            contingency.draw(source, &mut extents[..size]);
        }
        for (source, normals) in &mut self.shared {
            normals[..size].fill_with(|| source.normal());
        }
        for factor in &mut self.factors {
            factor.work_out(&self.shared, size);
        }
        let columns = self.subjects.iter_mut().chain(&mut self.machine_hours);
        let alone = self.alone.iter_mut().flat_map(Takings::columns);
        for column in columns.chain(&mut self.items).chain(alone) {
            column[..size].fill(0.0);
        }
        for place in 0..self.model.quantities.len() {
            self.draw(place, size);
            self.add(place, size);
        }
        self.price_steps(size)?;
        self.collect(size);
        for room in 0..self.model.rooms {
            self.collect_alone(room, size)?;
        }
        Ok(())
    }

    fn draw(&mut self, place: usize, size: usize) {
        let quantity = &self.model.quantities[place];
        let Spread {
            slope,
            fixed,
            room,
            dispersion,
            ..
        } = quantity.spread;
        let factors = &self.factors[self.factor_of[place]].column;
        let extents = quantity.contingency.map(|place| &self.extents[place]);
        let source = &mut self.quantities[place];
        let drawn = &mut self.drawn[..size];
        for (drawn, factor) in drawn.iter_mut().zip(factors) {
            *drawn = (slope + fixed) * factor;
        }
        if let Some(extents) = extents {
            for ((drawn, factor), extent) in drawn.iter_mut().zip(factors).zip(extents) {
                let expected = if *extent > 0.0 {
                    slope * extent + fixed
                } else {
                    0.0
                };
                *drawn = expected * factor;
            }
        }
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

    /// Adds the quantity at hand to what it counts for.
    fn add(&mut self, place: usize, size: usize) {
        let quantity = &self.model.quantities[place];
        let drawn = &self.drawn[..size];
        let unit_cost = float(quantity.unit_cost);
        for ((operation, machine), share) in quantity.operations.iter().zip(&quantity.spread.shares)
        {
            add_times(&mut self.subjects[*operation], drawn, share * unit_cost);
            if let Some(machine) = machine {
                add_times(&mut self.machine_hours[*machine], drawn, *share);
            }
        }
        if let Some(item) = quantity.item {
            add_times(&mut self.items[item], drawn, 1.0);
        }
        let Some(takings) = self
            .alone
            .get_mut(quantity.room.unwrap_or(self.model.rooms))
        else {
            return;
        };
        add_times(&mut takings.cost, drawn, unit_cost);
        for ((_, machine), share) in quantity.operations.iter().zip(&quantity.spread.shares) {
            if let Some(machine) = machine {
                add_times(&mut takings.machine_hours[*machine], drawn, *share);
            }
        }
        if let Some(item) = quantity.item.filter(|item| self.opened[*item].is_some()) {
            add_times(&mut takings.items[item], drawn, 1.0);
        }
    }

    /// Prices a room as a job of its own, with what comes with any job.
    fn collect_alone(&mut self, room: usize, size: usize) -> Result<(), (usize, BuyError)> {
        let (rooms, job) = self.alone.split_at_mut(self.model.rooms);
        let (own, job) = (&mut rooms[room], &job[0]);
        add_times(&mut own.cost[..size], &job.cost, 1.0);
        self.all.alone[room].1 += own.cost[..size].iter().sum::<f64>();
        for (place, machine) in self.machines.iter().enumerate() {
            let hours = own.machine_hours[place]
                .iter()
                .zip(&job.machine_hours[place]);
            for (cost, (own, job)) in own.cost[..size].iter_mut().zip(hours) {
                *cost += machine.costs[machine.half_days(own + job)];
            }
        }
        for (place, opened) in self.opened.iter_mut().enumerate() {
            if let Some(opened) = opened {
                add_times(&mut own.items[place][..size], &job.items[place], 1.0);
                let left = &mut self.drawn[..size];
                opened
                    .price(&own.items[place][..size], left)
                    .map_err(|error| (place, error))?;
                add_times(&mut own.cost[..size], left, 1.0);
            }
        }
        self.all.alone[room].0.extend_from_slice(&own.cost[..size]);
        Ok(())
    }

    /// Prices what follows in steps: rentals, and packs that don't keep.
    fn price_steps(&mut self, size: usize) -> Result<(), (usize, BuyError)> {
        let rentals = self.model.operations;
        for (place, machine) in self.machines.iter().enumerate() {
            let column = &mut self.subjects[rentals + place][..size];
            for (cost, hours) in column.iter_mut().zip(&self.machine_hours[place]) {
                let need = machine.half_days(*hours);
                *cost = machine.costs[need];
                self.all.half_days[place].0 += need as f64;
                self.all.half_days[place].1 += f64::from(u8::from(need > 0));
            }
        }
        let items = rentals + self.machines.len();
        for (place, opened) in self.opened.iter_mut().enumerate() {
            if let Some(opened) = opened {
                let column = &mut self.subjects[items + place][..size];
                let left = opened.price(&self.items[place][..size], column);
                self.all.left[place] += left.map_err(|error| (place, error))?;
            }
        }
        Ok(())
    }

    fn collect(&mut self, size: usize) {
        let costs = &mut self.drawn[..size];
        costs.fill(0.0);
        for subject in &self.subjects {
            add_times(costs, &subject[..size], 1.0);
        }
        for (subject, sums) in self.subjects.iter().zip(&mut self.all.sums) {
            for (part, whole) in subject[..size].iter().zip(&*costs) {
                sums.0 += part;
                sums.1 += part * whole;
            }
        }
        self.all.costs.extend_from_slice(costs);
        let kept = self.all.machine_hours.iter_mut().zip(&self.machine_hours);
        for (all, block) in kept.chain(self.all.items.iter_mut().zip(&self.items)) {
            all.extend_from_slice(&block[..size]);
        }
    }

    fn finish(self) -> Draws {
        let Collected {
            mut costs,
            machine_hours,
            items,
            half_days,
            left,
            sums,
            alone,
        } = self.all;
        let draws = costs.len() as f64;
        let rentals = self.model.operations;
        let opened = rentals + machine_hours.len();
        let shares = shares_of_variance(&sums, draws);
        sort(&mut costs);
        Draws {
            costs,
            machine_hours,
            rentals: sums[rentals..opened]
                .iter()
                .zip(half_days)
                .map(|((cost, _), (half_days, rented))| MeanRental {
                    cost: money(cost / draws),
                    days: decimal(half_days / 2.0 / draws),
                    chance: decimal(rented / draws),
                })
                .collect(),
            items,
            opened: sums[opened..]
                .iter()
                .zip(left)
                .map(|((cost, _), left)| (cost / draws, left / draws))
                .collect(),
            shares,
            alone: alone
                .into_iter()
                .map(|(costs, plain)| (costs, plain / draws))
                .collect(),
        }
    }
}

impl Takings {
    fn columns(&mut self) -> impl Iterator<Item = &mut Vec<f64>> {
        let Takings {
            cost,
            machine_hours,
            items,
        } = self;
        std::iter::once(cost).chain(machine_hours).chain(items)
    }
}

impl Factor {
    fn work_out(&mut self, shared: &[(Source, Vec<f64>)], size: usize) {
        let column = &mut self.column[..size];
        column.fill(0.0);
        for (place, variance) in &self.parts {
            let deviation = variance.sqrt();
            for (logarithm, normal) in column.iter_mut().zip(&shared[*place].1) {
                *logarithm += deviation * normal - 0.5 * variance;
            }
        }
        for value in column {
            *value = libm::exp(*value);
        }
    }
}

impl Contingency {
    /// Draws how much of it turns up each time, relative to the mean of its range.
    fn draw(&self, source: &mut Source, extents: &mut [f64]) {
        let chance = float(self.chance);
        let (low, high) = (float(self.range.0), float(self.range.1));
        let middle = 0.5 * (low + high);
        for extent in extents {
            let (turns_up, much) = (source.unit() < chance, source.unit());
            *extent = if turns_up && middle > 0.0 {
                (low + (high - low) * much) / middle
            } else {
                0.0
            };
        }
    }
}

/// The packs of an item that doesn't keep once opened.
struct OpenedPacks {
    packs: Vec<PackSize>,
    unit_cost: f64,
    /// What covers hold, and cost, both rising, as far as was needed yet.
    covers: Vec<(f64, f64)>,
}

impl OpenedPacks {
    fn new(item: &ItemModel) -> Option<OpenedPacks> {
        Some(OpenedPacks {
            packs: item.opened.clone()?,
            unit_cost: float(item.unit_cost),
            covers: Vec::new(),
        })
    }

    /// Prices the rest of the packs that are opened for each draw: what they cost, less what is used at its unit price.
    /// Returns what is left in all of them, in units.
    fn price(&mut self, used: &[f64], column: &mut [f64]) -> Result<f64, BuyError> {
        let most = used.iter().copied().fold(0.0, f64::max);
        if self.covers.last().is_none_or(|(reach, _)| *reach < most) {
            let covers = Shelf::new(&self.packs, decimal(2.0 * most))?;
            self.covers = covers
                .covers()
                .map(|(reach, price)| (float(reach), price.minor() as f64))
                .collect();
        }
        let mut left = 0.0;
        for (cost, used) in column.iter_mut().zip(used) {
            let place = self.covers.partition_point(|(reach, _)| reach < used);
            let (reach, price) = self.covers[place.min(self.covers.len() - 1)];
            *cost = price - used * self.unit_cost;
            left += (reach - used).max(0.0);
        }
        Ok(left)
    }
}

/// What a machine costs for each number of half days, and how many its hours take.
struct MachineCosts {
    costs: Vec<f64>,
    /// Hours in a working day.
    day: f64,
    /// Up to how many hours, after full days, are a half day.
    half: f64,
}

impl MachineCosts {
    fn new((totals, day_hours): &(Vec<Money>, Decimal)) -> MachineCosts {
        let offers_half = Need::for_hours(Decimal::new(1, 6), *day_hours) == Need::half_days(1);
        MachineCosts {
            costs: totals.iter().map(|total| total.minor() as f64).collect(),
            day: float(*day_hours),
            half: if offers_half { 4.0 } else { 0.0 },
        }
    }

    /// Counts the half days that hours take, as [`Need::for_hours`] does, up to the longest that has a price.
    fn half_days(&self, hours: f64) -> usize {
        let days = (hours / self.day).floor();
        let left = hours - days * self.day;
        let rest = match left {
            left if left <= 1e-9 => 0,
            left if left <= self.half => 1,
            _ => 2,
        };
        (2 * (days as usize).min(MOST_DAYS as usize) + rest).min(self.costs.len() - 1)
    }
}

/// Returns Cov(part, whole) / Var(whole) of each part, from sums of the parts and of their products with the whole; they
/// sum to 1, or are nothing if nothing varies.
fn shares_of_variance(sums: &[(f64, f64)], draws: f64) -> Vec<f64> {
    let whole = sums.iter().map(|(part, _)| part).sum::<f64>() / draws;
    let covariance = |(part, product): &(f64, f64)| product - part * whole;
    let variance: f64 = sums.iter().map(covariance).sum();
    let share = |sums: &(f64, f64)| {
        if variance > 0.0 {
            covariance(sums) / variance
        } else {
            0.0
        }
    };
    sums.iter().map(share).collect()
}

fn add_times(column: &mut [f64], values: &[f64], times: f64) {
    for (sum, value) in column.iter_mut().zip(values) {
        *sum += value * times;
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn sort(values: &mut [f64]) {
    values.sort_unstable_by(f64::total_cmp);
}

impl Draws {
    /// Returns the mean cost.
    pub(in crate::trade) fn mean_cost(&self) -> Money {
        money(mean(&self.costs))
    }

    /// Returns the cost that isn't exceeded with that chance.
    pub(in crate::trade) fn cost_at(&self, level: Decimal) -> Money {
        money(self.costs[place_of(level, self.costs.len())])
    }

    /// Returns the chance of a higher cost, as a fraction of one.
    pub(in crate::trade) fn chance_above(&self, cost: Money) -> Decimal {
        let within = self
            .costs
            .partition_point(|drawn| *drawn <= cost.minor() as f64);
        let above = Decimal::from(self.costs.len() - within);
        round(above / Decimal::from(self.costs.len()), 4)
    }

    /// Returns the hours of a machine that aren't exceeded with that chance.
    pub(in crate::trade) fn machine_hours_at(&self, machine: usize, level: Decimal) -> Decimal {
        decimal(at(&self.machine_hours[machine], level))
    }

    /// Returns a machine's rental in the mean.
    pub(in crate::trade) fn rental(&self, machine: usize) -> MeanRental {
        self.rentals[machine]
    }

    /// Returns the units of an item that aren't exceeded with that chance.
    pub(in crate::trade) fn item_at(&self, item: usize, level: Decimal) -> Decimal {
        decimal(at(&self.items[item], level))
    }

    /// Returns the mean cost of what is left in an item's opened packs, and the mean units.
    pub(in crate::trade) fn opened(&self, item: usize) -> (Money, Decimal) {
        let (cost, left) = self.opened[item];
        (money(cost), decimal(left))
    }

    /// Returns the cost of a room as a job of its own that isn't exceeded with that chance, and the mean of what doesn't
    /// come in steps.
    pub(in crate::trade) fn alone_at(&self, room: usize, level: Decimal) -> (Money, Money) {
        let (costs, plain) = &self.alone[room];
        (money(at(costs, level)), money(*plain))
    }

    /// Returns what part of the variance comes from each operation, then each rental, then each item's opened packs.
    pub(in crate::trade) fn shares(&self) -> Vec<Decimal> {
        self.shares.iter().map(|share| decimal(*share)).collect()
    }
}

/// Returns the least of the draws that so many are at or below.
fn at(draws: &[f64], level: Decimal) -> f64 {
    let mut draws = draws.to_vec();
    let place = place_of(level, draws.len());
    let (_, found, _) = draws.select_nth_unstable_by(place, f64::total_cmp);
    *found
}

/// Returns the place, in rising order, of the least draw that so many are at or below.
fn place_of(level: Decimal, draws: usize) -> usize {
    let place = (level * Decimal::from(draws)).ceil().to_usize();
    place.unwrap_or(draws).clamp(1, draws) - 1
}

fn money(minor: f64) -> Money {
    let minor = counted(Decimal::try_from(minor).ok());
    Money::from_minor(counted(round(minor, 0).to_i64()))
}

fn decimal(value: f64) -> Decimal {
    quantity(counted(Decimal::try_from(value).ok()))
}

/// Strips of the ziggurat.
const STRIPS: usize = 256;
/// Where its lowest strip ends, and the area of each.
const ZIGGURAT: (f64, f64) = (3.654_152_885_361_009, 0.004_928_673_233_974_655);
/// One third, of Marsaglia and Tsang's method.
const THIRD: f64 = 1.0 / 3.0;
/// How finely a number between 0 and 1 is drawn, and a place in a strip.
const UNITS: f64 = (1_u64 << 52) as f64;
const PLACES: f64 = (1_u64 << 40) as f64;
/// How many values the bits have that a normal number leaves unused.
const SPARE: u64 = 1 << 15;

/// The ziggurat under exp(−x²/2).
struct Ziggurat {
    /// For each strip: the width of a place, and the places that are under the curve whatever their height.
    strips: [(f64, u64); STRIPS],
    /// The curve's height where each strip ends, and at 0.
    heights: [f64; STRIPS + 1],
}

static NORMAL: LazyLock<Ziggurat> = LazyLock::new(|| {
    let height = |x: f64| libm::exp(-0.5 * x * x);
    let (last, area) = ZIGGURAT;
    let mut ends = [0.0; STRIPS + 1];
    ends[0] = area / height(last);
    ends[1] = last;
    for strip in 2..STRIPS {
        let below = ends[strip - 1];
        ends[strip] = (-2.0 * libm::log(area / below + height(below))).sqrt();
    }
    let mut strips = [(0.0, 0); STRIPS];
    for (strip, ends) in ends.windows(2).enumerate() {
        strips[strip] = (ends[0] / PLACES, (ends[1] / ends[0] * PLACES) as u64);
    }
    Ziggurat {
        strips,
        heights: ends.map(height),
    }
});

/// Random numbers of one stream.
struct Source {
    generator: ChaCha8Rng,
    normal: &'static Ziggurat,
}

impl Source {
    fn new(seed: u64, stream: u64) -> Source {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(stream);
        Source {
            generator,
            normal: &NORMAL,
        }
    }

    /// Returns a number between 0 and 1, both excluded.
    #[inline]
    fn unit(&mut self) -> f64 {
        ((self.generator.next_u64() >> 12) as f64 + 0.5) * (1.0 / UNITS)
    }

    #[inline]
    fn normal(&mut self) -> f64 {
        self.normal_and_spare().0
    }

    /// Returns a normal number, and bits that decided nothing in it: a number below [`SPARE`].
    #[inline]
    fn normal_and_spare(&mut self) -> (f64, u64) {
        loop {
            let bits = self.generator.next_u64();
            let (strip, place) = ((bits & 0xff) as usize, bits >> 24);
            let spare = bits >> 9 & (SPARE - 1);
            let (width, under) = self.normal.strips[strip];
            let x = place as f64 * width;
            if place < under {
                return (signed(x, bits), spare);
            }
            if let Some(x) = self.beside(strip, x) {
                return (signed(x, bits), spare);
            }
        }
    }

    /// Decides on a place where the curve crosses its strip; `None`: it is above the curve.
    #[cold]
    fn beside(&mut self, strip: usize, x: f64) -> Option<f64> {
        if strip == 0 {
            return Some(self.tail());
        }
        let (low, high) = (self.normal.heights[strip], self.normal.heights[strip + 1]);
        let above = high + (low - high) * self.unit();
        (above < libm::exp(-0.5 * x * x)).then_some(x)
    }

    /// Returns a normal number beyond the lowest strip.
    fn tail(&mut self) -> f64 {
        let (last, _) = ZIGGURAT;
        loop {
            let x = -libm::log(self.unit()) / last;
            if -2.0 * libm::log(self.unit()) > x * x {
                return last + x;
            }
        }
    }

    /// Returns a gamma number of that shape, scale 1.
    #[inline]
    fn gamma(&mut self, shape: f64) -> f64 {
        if shape < 1.0 {
            // Γ(k) = Γ(k + 1) U^(1/k).
            return self.gamma(shape + 1.0) * libm::pow(self.unit(), 1.0 / shape);
        }
        let most = shape - THIRD;
        most * self.cube(1.0 / (9.0 * most).sqrt())
    }

    /// Returns a gamma number of a shape from 1 on, over its shape less a third; the slope is 1 / √(9 (shape − 1/3)).
    #[inline]
    fn cube(&mut self, slope: f64) -> f64 {
        loop {
            let (x, spare) = self.normal_and_spare();
            let apart = slope * x;
            let root = 1.0 + apart;
            if root <= 0.0 {
                continue;
            }
            let (v, square) = (root * root * root, x * x);
            // The number that decides is drawn in two parts: its first bits are at hand, and nearly always enough.
            let at_most = (spare + 1) as f64 * (1.0 / SPARE as f64);
            // The logarithm of what is accepted is -3 d Σ (-y)^n / n from n = 4 on, with y = x / √(9 d). For |y| < 0.3 that
            // is more than -0.117 y² x², which saves most logarithms and decides nothing else.
            if apart.abs() < 0.3 && at_most < 1.0 - 0.117 * apart * apart * square {
                return v;
            }
            let u = (spare as f64 + self.unit()) * (1.0 / SPARE as f64);
            if u < 1.0 - 0.0331 * square * square
                || libm::log(u) < 0.5 * square + (1.0 - v + libm::log(v)) / (9.0 * slope * slope)
            {
                return v;
            }
        }
    }
}

/// Gives a number a sign by a bit that decides nothing else.
#[inline]
fn signed(x: f64, bits: u64) -> f64 {
    f64::from_bits(x.to_bits() | (bits & 0x100) << 55)
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;
    use crate::trade::buying::whole_sets;

    const DRAWS: usize = 200_000;
    const LEVELS: [(&str, Decimal); 4] = [
        ("p0.1", dec!(0.1)),
        ("p0.5", dec!(0.5)),
        ("p0.8", dec!(0.8)),
        ("p0.9", dec!(0.9)),
    ];

    /// Returns a value that `tests/vectors/simulate.py` worked out with scipy and mpmath.
    fn vector(case: &str, what: &str) -> f64 {
        let text = include_str!("../../tests/vectors/simulate.csv");
        let line = text
            .lines()
            .find_map(|line| line.strip_prefix(&format!("{case},{what},")));
        line.unwrap().parse().unwrap()
    }

    /// A quantity of that mean whose variance over mean is `dispersion`, and nothing of it shared.
    fn spread(mean: f64, dispersion: f64) -> Spread {
        Spread {
            tree: 0,
            step: 0,
            cell: 0,
            slope: mean,
            fixed: 0.0,
            known: [0.0; 3],
            job: 0.0,
            room: 0.0,
            dispersion,
            shares: vec![1.0],
        }
    }

    fn quantity(spread: Spread, stream: u64) -> Quantity {
        Quantity {
            spread,
            stream: 1 << 60 | stream,
            room: None,
            contingency: None,
            item: None,
            unit_cost: dec!(1000),
            operations: vec![(0, None)],
        }
    }

    fn model(quantities: Vec<Quantity>) -> Model {
        Model {
            quantities,
            operations: 1,
            ..Model::default()
        }
    }

    #[track_caller]
    fn near(found: f64, expected: f64, within: f64, what: &str) {
        assert!(
            (found - expected).abs() <= within * expected.abs() + 1e-9,
            "{what}: {found}, not {expected}"
        );
    }

    /// Compares costs of 1,000 a unit with the vectors of a case.
    fn compare(case: &str, model: &Model) {
        let draws = model.draw(DRAWS, 7).unwrap();
        let costs: Vec<f64> = draws.costs.iter().map(|cost| cost / 1000.0).collect();
        near(
            mean(&costs),
            vector(case, "mean"),
            0.004,
            &format!("{case}, mean"),
        );
        for (what, level) in LEVELS {
            let found = float(Decimal::from(draws.cost_at(level).minor())) / 1000.0;
            near(found, vector(case, what), 0.008, &format!("{case}, {what}"));
        }
        if case != "same grain" {
            let middle = mean(&costs);
            let squares: f64 = costs.iter().map(|cost| (cost - middle).powi(2)).sum();
            let variance = squares / DRAWS as f64;
            near(
                variance,
                vector(case, "variance"),
                0.02,
                &format!("{case}, variance"),
            );
        }
    }

    #[test]
    fn sums_of_independent_gammas() {
        let parts = [(2.4, 0.3), (6.37, 0.6), (0.9, 0.05)];
        let quantities = (1..)
            .zip(parts)
            .map(|(at, (mean, dispersion))| quantity(spread(mean, dispersion), at));
        compare("gammas", &model(quantities.collect()));
        let parts = [1.0, 0.3, 4.5, 0.2];
        let quantities = (1..)
            .zip(parts)
            .map(|(at, mean)| quantity(spread(mean, 0.4), at));
        compare("same grain", &model(quantities.collect()));
    }

    #[test]
    fn rates_are_shared_by_all_rooms() {
        let shared = |mean| Spread {
            known: [0.02, 0.015, 0.03],
            job: 0.0169,
            ..spread(mean, 0.0)
        };
        let quantities = [2.0, 3.0, 4.0].map(|mean| quantity(shared(mean), mean as u64));
        compare("shared", &model(quantities.to_vec()));
    }

    #[test]
    fn what_may_turn_up() {
        let may = |chance, range, spread| Model {
            contingencies: vec![Contingency {
                chance,
                range,
                stream: 5 << 50,
            }],
            ..model(vec![Quantity {
                contingency: Some(0),
                ..quantity(spread, 1)
            }])
        };
        compare(
            "may turn up",
            &may(dec!(0.4), (dec!(12), dec!(12)), spread(3.0, 0.5)),
        );
        compare(
            "extent",
            &may(dec!(1), (dec!(8), dec!(16)), spread(12.0, 0.0)),
        );
    }

    #[test]
    fn rentals_are_paid_in_steps() {
        let dollars = [0, 62, 80, 142, 160, 222, 240, 302, 320, 382, 400];
        let totals = dollars.map(|dollars| Money::from_minor(dollars * 100));
        let model = Model {
            machines: vec![(totals.to_vec(), dec!(8))],
            ..model(vec![Quantity {
                operations: vec![(0, Some(0))],
                ..quantity(spread(9.0, 0.4), 1)
            }])
        };
        let draws = model.draw(DRAWS, 7).unwrap();
        let MeanRental { cost, days, chance } = draws.rental(0);
        assert_eq!(chance, dec!(1), "no draw has no hours");
        near(
            cost.minor() as f64,
            vector("rental", "mean cost"),
            0.004,
            "cost",
        );
        near(float(days), vector("rental", "mean days"), 0.004, "days");
        let hours = float(draws.machine_hours_at(0, dec!(0.8)));
        near(hours, vector("rental", "p0.8"), 0.008, "hours");
        // The faster count of half days is the one of plans.
        let counter = MachineCosts::new(&(vec![Money::ZERO; 200], dec!(8)));
        for quarter in 0..200_u32 {
            let hours = Decimal::from(quarter) / dec!(4);
            let need = Need::half_days(counter.half_days(float(hours)) as u32);
            assert_eq!(need, Need::for_hours(hours, dec!(8)), "{hours} h");
        }
    }

    fn item(opened: Option<Vec<PackSize>>) -> ItemModel {
        ItemModel {
            opened,
            unit_cost: dec!(11800),
        }
    }

    #[test]
    fn cans_that_do_not_keep_are_paid_for_whole() {
        let can = |size, dollars: i64| PackSize {
            size,
            price: Money::from_minor(dollars * 100),
        };
        let packs = vec![can(dec!(1), 118), can(dec!(2.5), 280)];
        let model = |opened| Model {
            items: vec![item(opened)],
            ..model(vec![Quantity {
                item: Some(0),
                ..quantity(spread(0.6, 0.05), 1)
            }])
        };
        let draws = model(Some(packs)).draw(DRAWS, 7).unwrap();
        let (cost, left) = draws.opened(0);
        near(
            cost.minor() as f64,
            vector("opened", "mean cost"),
            0.004,
            "opened",
        );
        assert!(left > dec!(0.4) && left < dec!(0.5), "{left}");
        // One that keeps costs what is used.
        let kept = model(None).draw(DRAWS, 7).unwrap();
        assert_eq!(kept.opened(0).0, Money::ZERO);
        assert_eq!(
            model(Some(vec![])).draw(10, 7).unwrap_err(),
            (0, BuyError::NoPack)
        );
    }

    #[test]
    fn sets_and_packs_are_as_negative_binomial_ones() {
        let rate = Spread {
            known: [0.0, 0.0, 1.0 / 51.0],
            ..spread(vector("discs", "mean"), 1.0)
        };
        let model = Model {
            items: vec![item(None)],
            ..model(vec![Quantity {
                item: Some(0),
                ..quantity(rate, 1)
            }])
        };
        let draws = model.draw(DRAWS, 7).unwrap();
        // What is bought for is above the median; in the lower tail the two differ by a disc.
        for (what, level) in LEVELS.into_iter().skip(1) {
            let discs = whole_sets(draws.item_at(0, level), 1);
            assert_eq!(float(discs), vector("discs", what), "{what}");
            let packs = float((discs / dec!(5)).ceil());
            assert_eq!(
                packs,
                vector("discs", &what.replace('p', "packs")),
                "{what}"
            );
        }
    }

    #[test]
    fn the_same_seed_gives_the_same_figures_and_rooms_keep_their_luck() {
        let parts = |count: u64| {
            (1..=count)
                .map(|at| quantity(spread(at as f64, 0.3), at))
                .collect()
        };
        let all = |draws: Draws| {
            draws
                .costs
                .iter()
                .map(|cost| cost.to_bits())
                .collect::<Vec<_>>()
        };
        let once = model(parts(3)).draw(1000, 7).unwrap();
        let again = model(parts(3)).draw(1000, 7).unwrap();
        let other = model(parts(3)).draw(1000, 8).unwrap();
        assert_eq!(all(once), all(again));
        assert_ne!(all(model(parts(3)).draw(1000, 7).unwrap()), all(other));
        // The first draws of a stream, to the last bit: a change of generator or platform shows here.
        let mut source = Source::new(7, 1);
        let drawn = [
            source.normal(),
            source.unit(),
            source.gamma(0.5),
            source.gamma(30.0),
        ];
        assert_eq!(drawn.map(f64::to_bits), FIRST_DRAWS, "{drawn:?}");
    }

    const FIRST_DRAWS: [u64; 4] = [
        4607338310875274632,
        4576371404556718656,
        4560431025980206133,
        4628247579521164377,
    ];

    #[test]
    fn normal_and_gamma_numbers_are_distributed_as_they_should() {
        use cdflib::special::{dinvnr, try_gamma_inc_inv};
        let mut source = Source::new(3, 9);
        let mut drawn: Vec<f64> = (0..DRAWS).map(|_| source.normal()).collect();
        sort(&mut drawn);
        for level in [0.0005, 0.01, 0.1, 0.3, 0.5, 0.8, 0.95, 0.999] {
            let found = drawn[(level * DRAWS as f64) as usize];
            let expected = dinvnr(level, 1.0 - level);
            assert!(
                (found - expected).abs() < 0.01 + 0.02 * expected.abs(),
                "{level}: {found}"
            );
        }
        for shape in [0.2, 0.9, 1.0, 3.5, 80.0] {
            let mut drawn: Vec<f64> = (0..DRAWS).map(|_| source.gamma(shape)).collect();
            sort(&mut drawn);
            near(mean(&drawn), shape, 0.015, "mean");
            for level in [0.1, 0.5, 0.9, 0.99] {
                let found = drawn[(level * DRAWS as f64) as usize];
                let (expected, _) = try_gamma_inc_inv(shape, -1.0, level, 1.0 - level).unwrap();
                near(
                    found + 0.01,
                    expected + 0.01,
                    0.02,
                    &format!("shape {shape}, {level}"),
                );
            }
        }
    }

    #[test]
    fn shares_of_the_variance_sum_to_one() {
        let mut two = model(vec![
            quantity(spread(4.0, 0.5), 1),
            quantity(spread(1.0, 0.1), 2),
        ]);
        two.operations = 2;
        two.quantities[1].operations = vec![(1, None)];
        let shares = two.draw(DRAWS, 7).unwrap().shares;
        // Independent parts: variances 2 and 0.1.
        near(shares[0], 2.0 / 2.1, 0.01, "first");
        near(shares.iter().sum(), 1.0, 1e-9, "all");
        assert_eq!(two.causes(), [Cause::Room, Cause::Room]);
    }
}
