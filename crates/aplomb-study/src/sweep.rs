//! Parameter sweeps: margins and figures over ranges of values of the files.

use rayon::prelude::*;

use crate::craft::Craft;
use crate::judge::{evidence, verdict};
use crate::linear::Break;
use crate::margins::judge::margin_ratio;
use crate::margins::point::Point;
use crate::margins::{Bench, Linear, linear};
use crate::verdict::Verdict;
use aplomb_flight::FlightPlan;
use aplomb_flight::camera;
use aplomb_flight::fly::fly;
use aplomb_flight::limit::Outcome;

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

/// Gives craft and controller settings at a point, or the reason of a refusal.
pub type Build<'a> = dyn Fn(&[f64]) -> Result<(Craft, aplomb::flight::Config), String> + Sync + 'a;

/// Evaluates all points in parallel. The results have the order of the points.
#[must_use]
pub fn sweep(
    build: &Build<'_>,
    points: &[Vec<f64>],
    plan: Option<&FlightPlan>,
    done: impl Fn() + Sync,
) -> Vec<Tried> {
    let each = points.par_iter().map(|values| {
        let tried = try_out(build, values, plan);
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
pub fn spot_check(build: &Build<'_>, tried: &[Tried], count: usize) -> Vec<SpotCheck> {
    let stable: Vec<&Tried> =
        tried.iter().filter(|tried| tried.loops.first().is_some_and(|first| first.stable)).collect();
    let count = count.min(stable.len());
    let chosen = (0..count).map(|i| stable[i * stable.len() / count]).collect::<Vec<_>>();
    chosen.par_iter().filter_map(|tried| check(build, tried)).collect()
}

fn check(build: &Build<'_>, tried: &Tried) -> Option<SpotCheck> {
    let (craft, controller) = build(&tried.values).ok()?;
    let torques = tried.loops.iter().filter(|tried| tried.broken != Break::Thrust);
    let weakest = torques.min_by(|a, b| margin_ratio(a).total_cmp(&margin_ratio(b)))?;
    let bench = Bench::new(&craft.config, &controller, &Point::ALL[0], 1).ok()?;
    let measured = bench.measure(weakest);
    let (found, expected) = (&measured.figures, &weakest.figures);
    Some(SpotCheck {
        broken: weakest.broken,
        upper_gain_margin_db: found.upper_gain_margin_db - expected.upper_gain_margin_db,
        phase_margin_deg: found.phase_margin_deg - expected.phase_margin_deg,
    })
}

/// Evaluates one point: linear margins in hover, then the flight.
fn try_out(build: &Build<'_>, values: &[f64], plan: Option<&FlightPlan>) -> Tried {
    let mut tried = Tried { values: values.to_vec(), loops: Vec::new(), verdicts: Vec::new(), refused: None };
    let (craft, controller) = match build(values) {
        Ok(both) => both,
        Err(reason) => {
            tried.refused = Some(reason);
            return tried;
        }
    };
    match linear(&craft.config, &controller, &Point::ALL[0], &Break::DEMANDS) {
        Ok(loops) => tried.loops = loops,
        Err(error) => tried.refused = Some(error.to_string()),
    }
    if let Some(plan) = plan {
        let spin = craft.config.arms.map(|arm| arm.spin);
        let craft = camera::only_if_judged(&craft.config, plan.signals());
        match fly(&craft, &controller, plan, plan.seed) {
            Ok(flown) => {
                let judged =
                    plan.checks.iter().map(|check| verdict(check, &[evidence(check, &flown.trace, &spin)]));
                tried.verdicts = judged.collect();
            }
            Err(error) => tried.refused = Some(error.to_string()),
        }
    }
    tried
}
