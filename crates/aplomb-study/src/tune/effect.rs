//! The physical effect that limits a craft: each effect is relaxed on its own, and the search is repeated.

use std::borrow::Cow;
use std::cmp::Ordering;

use rayon::prelude::*;

use super::Effort;
use super::evaluator::{Evaluator, Scope};
use super::parameter::factors;
use super::rank::Rank;
use super::search::{FAR, NEAR, Search};
use crate::controller_model;
use crate::craft::Craft;
use crate::number::{fixed, significant};
use aplomb_craft::gravity::STANDARD_M_S2;

/// Number of effects that are searched, those that help most with the gains at hand.
const SEARCHED: usize = 4;
/// Trials of each of them over those of the tuning, on few flights and on all.
const TRIALS: (usize, usize) = (1, 4);
const FULL_TRIALS: (usize, usize) = (1, 15);
/// Number of controllers of an effect that are judged on all flights.
const JUDGED: usize = 2;

/// A physical effect of the craft with a way to relax it.
struct Relaxation {
    name: &'static str,
    figure: String,
    relaxed: String,
    remedy: &'static str,
    craft: Craft,
}

/// A physical effect of the craft, and what the best controller found fails without it.
#[derive(Clone, Debug, PartialEq)]
pub struct Effect {
    /// Name.
    pub name: &'static str,
    /// Its figure on this craft.
    pub figure: String,
    /// The figure it is relaxed to.
    pub relaxed: String,
    /// What to change on the craft.
    pub remedy: &'static str,
    /// Position in the order of the best controller of the relaxed craft.
    pub rank: Rank,
    /// Number of controllers tried on the relaxed craft.
    pub tried: usize,
}

/// Relaxes each effect of the craft; the one that helps most comes first. `starts` are logarithms of factors
/// from which each search starts; `effort` has the trials of the tuning and the seeds of these verdicts.
pub(super) fn effects(
    evaluator: &Evaluator<'_>,
    starts: &[Vec<f64>],
    scope: Scope,
    effort: Effort,
) -> Vec<Effect> {
    let Evaluator { plans, build, tried, .. } = *evaluator;
    let relaxed: Vec<(Relaxation, Evaluator<'_>)> = (relaxations(&evaluator.craft).into_iter())
        .filter_map(|relaxation| {
            let craft = Cow::Owned(relaxation.craft.clone());
            let own = Evaluator::new(craft, plans, build, tried).ok()?;
            Some((relaxation, Evaluator { points: evaluator.points.clone(), ..own }))
        })
        .collect();
    let (of, over) = if scope == Scope::Full { FULL_TRIALS } else { TRIALS };
    let trials = starts.len() + of * effort.trials / over;
    let mut searches: Vec<(usize, Search<'_>)> = (relaxed.par_iter().enumerate())
        .map(|(i, (_, evaluator))| {
            let search = Search::new(evaluator, scope, trials, 0.0);
            starts.iter().for_each(|at| _ = search.try_at(at));
            (i, search)
        })
        .filter(|(_, search)| search.best().is_some())
        .collect();
    let rank = |search: &Search<'_>| search.best().map(|best| best.judged.rank);
    let order = |a: Option<Rank>, b: Option<Rank>| a.zip(b).map_or(Ordering::Equal, |(a, b)| a.order(&b));
    searches.sort_by(|a, b| order(rank(&a.1), rank(&b.1)));
    let mut effects: Vec<Effect> = (searches.into_par_iter().enumerate())
        .filter_map(|(place, (i, search))| {
            for step in [NEAR, FAR] {
                if place < SEARCHED && !search.passes() {
                    search.raise_slack(step);
                }
            }
            let (Relaxation { name, figure, relaxed, remedy, .. }, evaluator) = &relaxed[i];
            let trials = search.ranked();
            let judged = trials.iter().take(JUDGED);
            let judged =
                judged.filter_map(|one| evaluator.judge(&factors(&one.at), Scope::Full, effort.seeds).ok());
            let rank = judged.map(|judged| judged.rank).min_by(Rank::order)?;
            let (figure, relaxed) = (figure.clone(), relaxed.clone());
            Some(Effect { name, figure, relaxed, remedy, rank, tried: trials.len() })
        })
        .collect();
    effects.sort_by(|a, b| a.rank.order(&b.rank));
    effects
}

fn relaxations(craft: &Craft) -> Vec<Relaxation> {
    let config = &craft.config;
    let airframe = controller_model::airframe(craft);
    let hover_n = 0.25 * config.mass_kg * STANDARD_M_S2;
    let range_n = hover_n.min(f64::from(airframe.thrust_curve.max_thrust_n) - hover_n);
    let arms = config.arms.into_array();
    let sum = |of: fn(&aplomb_craft::Arm) -> f64| arms.iter().map(of).sum::<f64>();
    let roll = range_n * sum(|arm| arm.y_m.abs()) / config.inertia_kg_m2[0][0];
    let pitch = range_n * sum(|arm| arm.x_m.abs()) / config.inertia_kg_m2[1][1];
    let ratio_m = f64::from(airframe.geometry.torque_to_thrust_m);
    let yaw = 4.0 * range_n * ratio_m / config.inertia_kg_m2[2][2];
    let mut all = Vec::new();
    let mut relax = |name, figure: &dyn Fn(&Craft) -> String, remedy, change: &dyn Fn(&mut Craft)| {
        let mut relaxed = craft.clone();
        change(&mut relaxed);
        all.push(Relaxation {
            name,
            figure: figure(craft),
            relaxed: figure(&relaxed),
            remedy,
            craft: relaxed,
        });
    };
    if config.speed_controller.slew_per_s.is_some() {
        relax(
            "slew limit of the speed controllers",
            &|craft| match craft.config.speed_controller.slew_per_s {
                Some(slew) => format!("{} % of full command per s", significant(100.0 * slew, 2)),
                None => "none".to_owned(),
            },
            "speed controllers that change the command faster",
            &|craft| craft.config.speed_controller.slew_per_s = None,
        );
    }
    relax(
        "time constant of the rotors",
        &|craft| {
            format!(
                "{} ms",
                significant(1e3 * f64::from(controller_model::airframe(craft).rotor_time_constant_s), 2)
            )
        },
        "lighter or smaller propellers, or motors of lower resistance or lower Kv",
        &|craft| craft.config.rotor.inertia_kg_m2 *= 0.5,
    );
    let share = |craft: &Craft, axis: usize| {
        config.inertia_kg_m2[axis][axis] / craft.config.inertia_kg_m2[axis][axis]
    };
    let arm = |relaxed: &Craft| relaxed.config.arms.front_left.x_m / config.arms.front_left.x_m;
    relax(
        "roll and pitch acceleration that the rotors give at hover",
        &|craft| {
            let factor = arm(craft);
            format!("{} and {} rad/s2", significant(factor * roll, 2), significant(factor * pitch, 2))
        },
        "longer arms, or the masses nearer to the centre",
        &|craft| {
            craft.config.arms = craft.config.arms.map(|mut arm| {
                arm.x_m *= 2.0;
                arm.y_m *= 2.0;
                arm
            });
        },
    );
    relax(
        "yaw acceleration that the rotors give at hover",
        &|craft| format!("{} rad/s2", significant(share(craft, 2) * yaw, 2)),
        "propellers with more torque for their thrust, or less inertia about yaw",
        &|craft| {
            let inertia = &mut craft.config.inertia_kg_m2;
            // The moment of inertia about one axis is at least the difference of the other two.
            let least = 1.05 * (inertia[0][0] - inertia[1][1]).abs();
            inertia[2][2] = (0.5 * inertia[2][2]).max(least);
        },
    );
    relax(
        "thrust to weight",
        &|craft| significant(craft.thrust_to_weight(), 2),
        "less mass, or stronger motors",
        &|craft| craft.config.mass_kg *= 0.7,
    );
    relax(
        "noise of the sensors and vibration of the rotors",
        &|craft| {
            let gyro = craft.config.sensors.imu.map_or(0.0, |imu| imu.gyro.noise_rad_s_rthz.to_degrees());
            let imbalance_g_mm = 1e6 * craft.config.rotor.imbalance_kg_m;
            let gyro = if gyro > 0.0 { significant(gyro, 2) } else { "0".to_owned() };
            let imbalance =
                if imbalance_g_mm > 0.0 { significant(imbalance_g_mm, 2) } else { "0".to_owned() };
            format!("gyro {gyro} deg/s/√Hz, imbalance {imbalance} g mm")
        },
        "better sensors, balanced propellers or a softer mount of the inertial sensor",
        &|craft| {
            craft.config.sensors = craft.config.sensors.without_errors();
            craft.config.rotor.imbalance_kg_m = 0.0;
            craft.config.rotor.blade_pass_share = 0.0;
        },
    );
    relax(
        "delays of the speed controllers and of the inertial sensor",
        &|craft| {
            let airframe = controller_model::airframe(craft);
            format!(
                "{} and {} ms",
                fixed(1e3 * f64::from(airframe.speed_controller_delay_s), 1),
                fixed(1e3 * f64::from(airframe.imu_delay_s), 1)
            )
        },
        "speed controllers and an inertial sensor with less delay",
        &|craft| {
            craft.config.speed_controller.delay_s = 0.0;
            if let Some(imu) = &mut craft.config.sensors.imu {
                imu.delay_s = 0.0;
                imu.low_pass_hz *= 4.0;
            }
        },
    );
    let drag = &config.drag;
    if drag.rotor_drag_per_s.iter().chain(&drag.drag_area_m2).any(|&drag| drag > 0.0) {
        relax(
            "drag in wind",
            &|craft| {
                let drag = &craft.config.drag;
                format!(
                    "{} /s of the rotors, {} m2 of the body",
                    significant(drag.rotor_drag_per_s[0], 2),
                    significant(drag.drag_area_m2[0], 2)
                )
            },
            "less area, or more mass for the same area",
            &|craft| {
                let drag = &mut craft.config.drag;
                drag.rotor_drag_per_s = drag.rotor_drag_per_s.map(|drag| 0.5 * drag);
                drag.body_drag_n_s_m = drag.body_drag_n_s_m.map(|drag| 0.5 * drag);
                drag.drag_area_m2 = drag.drag_area_m2.map(|area| 0.5 * area);
            },
        );
    }
    all
}
