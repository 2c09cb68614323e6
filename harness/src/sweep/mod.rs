//! Parameter sweeps: margins and figures over ranges of values of the files.

pub mod parquet;
pub mod table;
pub mod vary;

use rayon::prelude::*;
use toml::Table;

use crate::disperse::dispersion::share;
use crate::input::{Controller, Craft, InputError};
use crate::judge::{evidence, verdict};
use crate::linear::Break;
use crate::margins::judge::margin_ratio;
use crate::margins::point::Point;
use crate::margins::{Bench, Linear, Probe, linear};
use crate::verdict::Verdict;
use aplomb_flight::FlightPlan;
use aplomb_flight::camera;
use aplomb_flight::fly::fly;
use aplomb_flight::limit::Outcome;
use vary::{Axis, Which};

/// The two files with the swept values.
#[derive(Clone, Debug)]
pub struct Files {
    /// The craft file.
    pub craft: Table,
    /// The controller file.
    pub controller: Table,
}

/// One point of a sweep.
#[derive(Clone, Debug, PartialEq)]
pub struct Tried {
    /// Value on each axis.
    pub values: Vec<f64>,
    /// The linear loops at the demands on the mixer in hover; empty where the files are refused or the craft
    /// cannot hover.
    pub loops: Vec<Linear>,
    /// Verdicts on the checks of the flight; empty without a flight.
    pub verdicts: Vec<Verdict>,
    /// Reason of a refusal of the files.
    pub refused: Option<String>,
}

impl Tried {
    /// True for a stable point with all margins and peaks within their limits and no failed check.
    #[must_use]
    pub fn is_feasible(&self) -> bool {
        self.margin_ratio() >= 1.0 && self.verdicts.iter().all(|verdict| verdict.outcome == Outcome::Pass)
    }

    /// Margin ratio of the limiting loop: measured over required margin, 1 at the limit, 0 where unstable or
    /// refused.
    #[must_use]
    pub fn margin_ratio(&self) -> f64 {
        let least = self.loops.iter().map(margin_ratio).fold(f64::INFINITY, f64::min);
        if least.is_finite() { least } else { 0.0 }
    }
}

impl Files {
    /// Craft and controller with the values of the axes.
    ///
    /// # Errors
    /// An unknown path, with the nearest valid one, or an invalid value.
    pub fn with(&self, axes: &[Axis], values: &[f64]) -> Result<(Craft, Controller), String> {
        let mut files = self.clone();
        for (axis, &value) in axes.iter().zip(values) {
            let file = match axis.file {
                Which::Craft => &mut files.craft,
                Which::Controller => &mut files.controller,
            };
            vary::set(file, &axis.path, value)?;
        }
        let text = |file: &Table| toml::to_string(file).map_err(|error| error.to_string());
        let refusal = |error: InputError| {
            let problem = error.problems.first();
            let help = problem.and_then(|problem| problem.help.clone());
            let reason = problem.map_or_else(|| error.to_string(), |problem| problem.reason.clone());
            help.map_or(reason.clone(), |help| format!("{reason}: {help}"))
        };
        let craft = Craft::from_text("craft", &text(&files.craft)?).map_err(refusal)?;
        let controller = Controller::from_text("controller", &text(&files.controller)?).map_err(refusal)?;
        Ok((craft, controller))
    }

    /// Evaluates one point: linear margins in hover, then the flight.
    #[must_use]
    pub fn try_out(&self, axes: &[Axis], values: &[f64], plan: Option<&FlightPlan>) -> Tried {
        let mut tried =
            Tried { values: values.to_vec(), loops: Vec::new(), verdicts: Vec::new(), refused: None };
        let (craft, controller) = match self.with(axes, values) {
            Ok(both) => both,
            Err(reason) => {
                tried.refused = Some(reason);
                return tried;
            }
        };
        match linear(&craft.config, &controller.config, &Point::ALL[0], &Break::DEMANDS) {
            Ok(loops) => tried.loops = loops,
            Err(error) => tried.refused = Some(error.to_string()),
        }
        if let Some(plan) = plan {
            let spin = craft.config.arms.map(|arm| arm.spin);
            let craft = camera::only_if_judged(&craft.config, plan.signals());
            match fly(&craft, &controller.config, plan, plan.seed) {
                Ok(flown) => {
                    let judged = plan
                        .checks
                        .iter()
                        .map(|check| verdict(check, &[evidence(check, &flown.trace, &spin)]));
                    tried.verdicts = judged.collect();
                }
                Err(error) => tried.refused = Some(error.to_string()),
            }
        }
        tried
    }
}

/// Every point of the grid, the last axis fastest.
#[must_use]
pub fn grid(axes: &[Axis]) -> Vec<Vec<f64>> {
    axes.iter().fold(vec![Vec::new()], |points, axis| {
        let values = (0..axis.count).map(|i| axis.at(i as f64 / (axis.count - 1) as f64));
        let values: Vec<f64> = values.collect();
        let extended = points.iter().flat_map(|point| {
            values.iter().map(move |&value| point.iter().copied().chain([value]).collect())
        });
        extended.collect()
    })
}

/// `count` points drawn at random, uniformly from the ranges of the axes.
#[must_use]
pub fn random(axes: &[Axis], count: usize, seed: u64) -> Vec<Vec<f64>> {
    let point = |run: u64| {
        let axes = axes.iter().zip(0..);
        axes.map(|(axis, index)| axis.at(share(seed, run, index))).collect()
    };
    (0..count as u64).map(point).collect()
}

/// Evaluates all points in parallel. The results have the order of the points.
#[must_use]
pub fn sweep(
    files: &Files,
    axes: &[Axis],
    points: &[Vec<f64>],
    plan: Option<&FlightPlan>,
    done: impl Fn() + Sync,
) -> Vec<Tried> {
    let each = points.par_iter().map(|values| {
        let tried = files.try_out(axes, values, plan);
        done();
        tried
    });
    each.collect()
}

/// Difference of measured and linear margins at one point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpotCheck {
    /// The loop: the limiting one at a torque demand.
    pub broken: Break,
    /// Measured minus linear upper gain margin in dB and phase margin in deg; NaN where inconclusive.
    pub upper_gain_margin_db: f64,
    /// See `upper_gain_margin_db`.
    pub phase_margin_deg: f64,
}

/// Measures by injection at `count` of the stable points, evenly distributed over the sweep.
#[must_use]
pub fn spot_check(files: &Files, axes: &[Axis], tried: &[Tried], count: usize) -> Vec<SpotCheck> {
    let stable: Vec<&Tried> =
        tried.iter().filter(|tried| tried.loops.first().is_some_and(|first| first.stable)).collect();
    let count = count.min(stable.len());
    let chosen = (0..count).map(|i| stable[i * stable.len() / count]).collect::<Vec<_>>();
    chosen.par_iter().filter_map(|tried| check(files, axes, tried)).collect()
}

fn check(files: &Files, axes: &[Axis], tried: &Tried) -> Option<SpotCheck> {
    let (craft, controller) = files.with(axes, &tried.values).ok()?;
    let torques = tried.loops.iter().zip(Probe::TORQUES);
    let (_, probe) = torques.min_by(|(a, _), (b, _)| margin_ratio(a).total_cmp(&margin_ratio(b)))?;
    let point = &Point::ALL[0];
    let loops = linear(&craft.config, &controller.config, point, &probe.breaks(point.mode)[..1]).ok()?;
    let bench = Bench::new(&craft.config, &controller.config, point, 1).ok()?;
    let measured = bench.probe(probe, &loops);
    let (found, expected) = (&measured.first()?.figures, &loops.first()?.figures);
    Some(SpotCheck {
        broken: loops.first()?.broken,
        upper_gain_margin_db: found.upper_gain_margin_db - expected.upper_gain_margin_db,
        phase_margin_deg: found.phase_margin_deg - expected.phase_margin_deg,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn files() -> Files {
        let text = |file: crate::input::demo::File| file.text.parse::<Table>().unwrap();
        Files { craft: text(crate::input::demo::CRAFT), controller: text(crate::input::demo::CONTROLLER) }
    }

    fn axes(texts: &[&str]) -> Vec<Axis> {
        texts.iter().map(|text| text.parse().unwrap()).collect()
    }

    #[test]
    fn faster_rate_loop_loses_margin_and_then_stability() {
        let axes = axes(&["controller.override.rate_roll.crossover_rad_s=35..300x8"]);
        let tried = sweep(&files(), &axes, &grid(&axes), None, || {});
        let roll = |tried: &Tried| tried.loops[0].figures.upper_gain_margin_db;
        assert!(roll(&tried[0]) > roll(&tried[1]) && tried[0].is_feasible(), "{}", tried[0].margin_ratio());
        assert!(!tried[7].loops[0].stable && tried[7].margin_ratio() == 0.0);
    }

    #[test]
    fn unknown_path_is_refused_with_the_nearest_one() {
        let axes = axes(&["controller.override.rate_roll.crosover_rad_s=20..50x2"]);
        let reason = files().with(&axes, &[30.0]).unwrap_err();
        assert!(reason.contains("`crossover_rad_s`"), "{reason}");
        let axes = axes_of_craft();
        assert!(files().with(&axes, &[1.0]).unwrap_err().contains("`mass_kg`"));
    }

    fn axes_of_craft() -> Vec<Axis> {
        axes(&["craft.mas_kg=1..2x2"])
    }

    #[test]
    fn grid_has_every_pair_and_random_points_repeat() {
        let axes = axes(&["craft.mass_kg=1..2x3", "craft.motor.inertia_kg_m2=0.02..0.04x2"]);
        let points = grid(&axes);
        assert_eq!(points.len(), 6);
        assert_eq!(
            (points[0].as_slice(), points[5].as_slice()),
            ([1.0, 0.02].as_slice(), [2.0, 0.04].as_slice())
        );
        let drawn = random(&axes, 50, 3);
        assert_eq!(drawn, random(&axes, 50, 3));
        assert_ne!(drawn, random(&axes, 50, 4));
        assert!(drawn.iter().all(|p| (1.0..2.0).contains(&p[0]) && (0.02..0.04).contains(&p[1])));
    }
}
