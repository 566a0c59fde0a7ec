//! Drift: the level of each group's time, for the crew and for each step.

use super::passes::{LevelVariance, Tree};
use crate::trade::rates::drift::{Drift, Level, Member, Series};

/// Fewest groups of a step whose level is looked at on its own.
const FEWEST_GROUPS: usize = 6;

/// The groups of one step, and when they were.
struct OfStep {
    step: usize,
    groups: Vec<usize>,
    days: Series,
}

impl Tree<'_> {
    /// Looks for a level that is common to the whole crew, then for one of each step on top of it.
    pub(super) fn find_levels(&mut self) {
        self.levels.fill(1.0);
        self.level_variance = LevelVariance::none(self.evidence.steps);
        self.crew_drift = Drift::None;
        self.step_drift.fill(Drift::None);
        self.find_level_of_crew();
        self.find_levels_of_steps();
    }

    /// Finds the crew's level. Multipliers move with it, so it is looked for again.
    fn find_level_of_crew(&mut self) {
        let all: Vec<usize> = (0..self.evidence.groups.len()).collect();
        let days = self.days_of(&all);
        for _ in 0..4 {
            let members = self.members(None);
            let level = days.level_of_crew(&members, 0.5 * self.hyper.job.powi(2));
            self.level_variance.crew = level.variance;
            self.crew_drift = level.drift;
            self.apply(&all, &level, None);
            if !level.drift.is_level() {
                break;
            }
        }
    }

    fn find_levels_of_steps(&mut self) {
        let of_crew = self.levels.clone();
        let steps = self.by_step();
        for _ in 0..3 {
            let all = self.members(Some(&of_crew));
            self.levels.clone_from(&of_crew);
            for OfStep { step, groups, days } in &steps {
                let members: Vec<Member> = groups.iter().map(|place| all[*place]).collect();
                let level = days.level_of_step(&members);
                self.level_variance.steps[*step] = level.variance;
                self.step_drift[*step] = level.drift;
                self.apply(groups, &level, Some(&of_crew));
            }
        }
    }

    /// Returns the steps that have groups enough to be looked at on their own.
    fn by_step(&self) -> Vec<OfStep> {
        let mut groups: Vec<Vec<usize>> = vec![Vec::new(); self.evidence.steps];
        for (place, group) in self.evidence.groups.iter().enumerate() {
            groups[self.evidence.step_of[group.cell]].push(place);
        }
        let groups = groups.into_iter().enumerate();
        groups
            .filter(|(_, groups)| groups.len() >= FEWEST_GROUPS)
            .map(|(step, groups)| OfStep {
                step,
                days: self.days_of(&groups),
                groups,
            })
            .collect()
    }

    fn days_of(&self, groups: &[usize]) -> Series {
        Series::new(groups.iter().map(|place| self.evidence.groups[*place].day))
    }

    /// Returns what each group says of the level: its ratio to the cell's multiplier, and its weight. The level that it was
    /// divided by is put back, as far as it isn't in `base`.
    fn members(&self, base: Option<&[f64]>) -> Vec<Member> {
        let up = self.upward();
        let posterior = self.downward(&up);
        let groups = self.evidence.groups.iter().zip(&up.groups).enumerate();
        groups
            .map(|(place, (group, node))| {
                let multiplier = posterior.cells[group.cell].multiplier;
                let reference = self.references.steps[self.evidence.step_of[group.cell]];
                let variance = (self.hyper.job * reference).powi(2) + 1.0 / node.precision;
                let level = self.levels[place] / base.map_or(1.0, |base| base[place]);
                Member {
                    ratio: node.value * level / multiplier,
                    weight: multiplier.powi(2) / variance,
                }
            })
            .collect()
    }

    fn apply(&mut self, groups: &[usize], level: &Level, base: Option<&[f64]>) {
        for (place, at) in groups.iter().zip(&level.of_members) {
            self.levels[*place] = base.map_or(1.0, |base| base[*place]) * at;
        }
    }
}
