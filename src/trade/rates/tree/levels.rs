//! Drift: the level of each group's time, for the crew and for each step.

use super::Posterior;
use super::evidence::{Cell, Taken};
use super::passes::{LevelVariance, Tree};
use crate::trade::rates::drift::{Drift, Member, Series};

/// Fewest groups of a step whose level is looked at on its own.
const FEWEST_GROUPS: usize = 6;

impl<T: Taken> Tree<'_, T> {
    /// Looks for a level that is common to the whole crew, then for one of each step on top of it.
    pub(super) fn find_levels(&mut self) {
        self.levels.iter_mut().for_each(|levels| levels.fill(1.0));
        self.level_variance = LevelVariance::none(self.evidence.steps);
        self.step_drift.fill(Drift::None);
        let of_crew = self.find_level_of_crew();
        self.find_levels_of_steps(&of_crew);
    }

    /// Finds the crew's level, by day. Multipliers move with it, so it is looked for again.
    fn find_level_of_crew(&mut self) -> Vec<f64> {
        let mut of_crew = vec![1.0; self.evidence.days.len()];
        for _ in 0..4 {
            let members = self.series(None, None, &self.downward(&self.upward()));
            let level = members.level_of_crew(0.5 * self.hyper.job.powi(2));
            self.level_variance.crew = level.variance;
            self.crew_drift = level.drift;
            of_crew = level.of_days;
            self.levels.fill(of_crew.clone());
            if !level.drift.is_level() {
                break;
            }
        }
        of_crew
    }

    fn find_levels_of_steps(&mut self, of_crew: &[f64]) {
        let mut groups = vec![0; self.evidence.steps];
        for cell in &self.evidence.cells {
            groups[cell.step] += cell.group_count();
        }
        for _ in 0..3 {
            let posterior = self.downward(&self.upward());
            for step in (0..groups.len()).filter(|step| groups[*step] >= FEWEST_GROUPS) {
                let level = self
                    .series(Some(step), Some(of_crew), &posterior)
                    .level_of_step();
                self.level_variance.steps[step] = level.variance;
                self.step_drift[step] = level.drift;
                let levels = of_crew.iter().zip(&level.of_days);
                self.levels[step] = levels.map(|(crew, at)| crew * at).collect();
            }
        }
    }

    /// Returns what the groups of a step say of the level of their day (`None`: those of all steps): each its ratio to the
    /// cell's multiplier, and its weight. The level that it was divided by is put back, as far as it isn't in `base`.
    fn series(
        &self,
        step: Option<usize>,
        base: Option<&[f64]>,
        posterior: &Posterior,
    ) -> Series<'_> {
        let mut series = Series::new(&self.evidence.days);
        for (cell, state) in self.evidence.cells.iter().zip(&posterior.cells) {
            if step.is_none_or(|step| step == cell.step) {
                self.add_members(&mut series, cell, state.multiplier, base);
            }
        }
        series
    }

    fn add_members(
        &self,
        series: &mut Series<'_>,
        cell: &Cell<T>,
        multiplier: f64,
        base: Option<&[f64]>,
    ) {
        let job = (self.hyper.job * self.references.steps[cell.step]).powi(2);
        let nodes = self.groups(cell, &self.hyper);
        for ((day, _), node) in cell.groups().zip(nodes) {
            let level = self.levels[cell.step][day] / base.map_or(1.0, |base| base[day]);
            let member = Member {
                ratio: node.value * level / multiplier,
                weight: multiplier.powi(2) / (job + 1.0 / node.precision),
            };
            series.add(day, member);
        }
    }
}
