//! What the incidents before one show: habits of nodes, and what the logs of the vehicle can tell at all.

use std::collections::BTreeMap;

use super::rates;
use super::scene::{Level, Scene};

/// How often something happened before, of how often it could have.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Habit {
    pub times: f64,
    pub of: f64,
}

impl Habit {
    fn add(&mut self, happened: bool) {
        self.times += f64::from(u8::from(happened));
        self.of += 1.0;
    }

    /// A probability in the light of the habit: what a theory foresees counts as so many earlier
    /// observations. Repeats of one peculiarity thus say less and less (Skellam 1948).
    pub(super) fn temper(self, p: f64) -> f64 {
        (rates::HABIT * p + self.times) / (rates::HABIT + self.of)
    }
}

/// Tells every scene what was the habit in the scenes before it; scenes are in the order of time.
pub(super) fn remember(scenes: &mut [Scene]) {
    let error_channel = scenes.iter().any(|s| s.error_channel);
    let calm = scenes.iter().filter(|s| s.level == Some(Level::None)).count();
    let alone = scenes.len() == 1;
    let count = scenes.first().map_or(0, |s| s.silent.len());
    let mut silent = vec![Habit::default(); count];
    let mut mute = vec![Habit::default(); count];
    let mut said: BTreeMap<usize, Vec<Habit>> = BTreeMap::new();
    for scene in scenes {
        scene.error_channel = error_channel;
        scene.calm = calm;
        scene.alone = alone;
        scene.silent_before.clone_from(&silent);
        scene.mute_before.clone_from(&mute);
        scene.said_before = scene
            .rows
            .iter()
            .map(|(who, row)| {
                said.get(who).cloned().unwrap_or_else(|| vec![Habit::default(); row.len()])
            })
            .collect();
        for (habit, now) in silent.iter_mut().zip(&scene.silent) {
            if let Some(now) = now {
                habit.add(*now);
            }
        }
        for answer in scene.answers.iter().filter(|a| a.is_plain()) {
            if let Some(habit) = mute.get_mut(answer.node) {
                habit.add(answer.mute);
            }
        }
        for (who, row) in &scene.rows {
            let habits = said.entry(*who).or_insert_with(|| vec![Habit::default(); row.len()]);
            for (habit, (says, _)) in habits.iter_mut().zip(row) {
                habit.add(*says);
            }
        }
    }
}
