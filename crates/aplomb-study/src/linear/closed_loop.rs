//! The running code, craft and controller, linearised tick by tick about a steady flight.
//!
//! The state is that of the controller, the commands on their way, and that of the craft with its readings.
//! The controller's part of a tick depends on its own state, the readings and the additions; the craft's part
//! on its own state and the commands. Each is differenced by its own arguments.
//!
//! Ticks on which the same samples arrive and the discrete state (counters, flags, variants) changes in the
//! same way have the same matrices: they are differenced once. Each of these changes has a period of its own:
//! that of a sensor, of a slower loop, of a block of the delay buffer. The period of the model is the
//! shortest one that is a multiple of them all. Where that is longer than 1600 ticks, the shortest of them
//! are left out: a change with such a period p happens `round(N/p)` times in N ticks instead of `N/p`.

use std::collections::{HashMap, HashSet};

use rayon::prelude::*;

use aplomb_craft::Plant;

use super::difference::{Column, Step, column};
use super::periodic::{Periodic, Tick};
use super::sparse::Sparse;
use super::{BREAKS, Linearisable};
use crate::margins::steady_flight::{Added, SteadyFlight, signals};

/// Relative rounding errors of the controller, and of the craft: the tolerance of its battery.
const CONTROLLER_EPSILON: f64 = f32::EPSILON as f64;
const CRAFT_EPSILON: f64 = 1e-10;
/// Longest period in ticks.
const LONGEST: usize = 1600;
/// First step of a difference: at least this, and at least this share of the power of two above the argument.
const FIRST_STEP: f64 = 1.0 / 512.0;
const FIRST_SHARE: f64 = 1.0 / 32768.0;

/// States that are constant here, each with the reason.
pub(crate) const IGNORED: [(&str, &str); 1] =
    [("battery.state_of_charge", "the charge changes over minutes: it is held")];

/// The periodic system of a closed loop.
#[derive(Clone, Debug)]
pub(crate) struct Linearised {
    pub system: Periodic,
    /// Names of the states.
    pub states: Vec<String>,
    /// Names of the numbers that are no states: no addition moves them, or no break depends on them.
    pub left_out: Vec<String>,
    /// Largest relative error of the rate of a change over the period: 0 if all repeat exactly after it.
    pub rate_error: f64,
    /// Largest change of a difference over half of its step, and its argument.
    pub worst: (f64, String),
}

fn craft_numbers(plant: &mut Plant) -> Vec<Option<f64>> {
    let mut numbers = Vec::with_capacity(160);
    plant.visit_state(&mut |_, _, number| numbers.push(number.copied()));
    numbers
}

fn craft_names(plant: &Plant) -> Vec<(String, &'static str)> {
    let mut names = Vec::new();
    plant.clone().visit_state(&mut |name, index, _| names.push((format!("craft.{name}.{index}"), name)));
    names
}

/// The craft with one number moved.
fn moved(plant: &Plant, place: usize, by: f64) -> Plant {
    let mut plant = plant.clone();
    let mut at = 0;
    plant.visit_state(&mut |_, _, number| {
        if at == place
            && let Some(number) = number
        {
            *number += by;
        }
        at += 1;
    });
    plant
}

/// State, commands and signals after the controller's part of a tick; `None` if it is not that branch.
fn after_control<C: Linearisable>(
    mut flight: SteadyFlight<C>,
    added: &[f64; BREAKS],
    branch: Option<&[u64]>,
) -> Option<(Vec<f64>, Vec<u64>)> {
    let commands = flight.control(&flight.command(added), added);
    let after = flight.controller.flat().ok()?;
    if branch.is_some_and(|branch| branch != after.discrete) {
        return None;
    }
    let mut numbers: Vec<f64> = after.numbers.iter().map(|&number| f64::from(number)).collect();
    numbers.extend(commands.into_array().map(|command| f64::from(command.get())));
    numbers.extend(signals(flight.controller.record()));
    Some((numbers, after.discrete))
}

fn after_craft(mut plant: Plant, command: [f64; 4]) -> Vec<f64> {
    plant.advance(aplomb::Rotors::from_array(command));
    craft_numbers(&mut plant).into_iter().map(|number| number.unwrap_or(0.0)).collect()
}

fn first_step(number: f64) -> Step {
    let share = FIRST_SHARE * libm::exp2(libm::ceil(libm::log2(number.abs().max(1.0))));
    Step { size: share.max(FIRST_STEP), disagreement: 0.0, argument: number }
}

/// Linearises the flight over a period from its present tick on.
pub(crate) fn linearise<C: Linearisable>(flight: &SteadyFlight<C>) -> Option<Linearised> {
    let (order, different, rate_error) = period(flight)?;
    let names = Names::of(&different)?;
    let sets: Vec<(Tick, (f64, usize))> =
        different.par_iter().map(|flight| tick(flight, &names)).collect::<Option<_>>()?;
    let (worst, sets) = sets.into_iter().fold(((0.0, 0), Vec::new()), |(worst, mut sets), (set, own)| {
        sets.push(set);
        (if own.0 > worst.0 { own } else { worst }, sets)
    });
    let whole = Periodic { sets, order };
    let kept = whole.coupled();
    if kept.is_empty() {
        return None;
    }
    let mut is_kept = vec![false; names.all.len()];
    kept.iter().for_each(|&state| is_kept[state] = true);
    let named = |wanted: bool| {
        let named = names.all.iter().zip(&is_kept).filter(|(_, is)| **is == wanted);
        named.map(|(name, _)| name.clone()).collect()
    };
    Some(Linearised {
        system: whole.restricted(&kept),
        states: named(true),
        left_out: named(false),
        rate_error,
        worst: (worst.0, names.all.get(worst.1).cloned().unwrap_or_default()),
    })
}

/// Names of all states: those of the controller, which has some on some ticks only, the commands on their
/// way, and those of the craft.
struct Names {
    all: Vec<String>,
    controller: HashMap<String, usize>,
}

impl Names {
    fn of<C: Linearisable>(flights: &[SteadyFlight<C>]) -> Option<Self> {
        let mut names = Self { all: Vec::new(), controller: HashMap::new() };
        for flight in flights {
            let mut after = flight.clone();
            after.step(&[0.0; BREAKS]);
            for name in flight.controller.names().ok()?.into_iter().chain(after.controller.names().ok()?) {
                if !names.controller.contains_key(&name) {
                    names.all.push(format!("controller.{name}"));
                    names.controller.insert(name, names.controller.len());
                }
            }
        }
        names.all.extend((0..4).map(|i| format!("command.{i}")));
        names.all.extend(craft_names(&flights.first()?.plant).into_iter().map(|(name, _)| name));
        Some(names)
    }

    /// Positions of the numbers of a controller.
    fn positions(&self, controller: &impl Linearisable) -> Option<Vec<usize>> {
        controller.names().ok()?.iter().map(|name| self.controller.get(name).copied()).collect()
    }

    fn first_command(&self) -> usize {
        self.controller.len()
    }

    fn first_craft(&self) -> usize {
        self.controller.len() + 4
    }
}

/// What characterises each of the next ticks of a flight: the changes of the discrete state, and which
/// numbers of the craft there are.
fn keys<C: Linearisable>(flight: &SteadyFlight<C>, ticks: usize) -> Option<Vec<Vec<i64>>> {
    let mut flight = flight.clone();
    let mut before = flight.controller.flat().ok()?.discrete;
    let mut places = craft_numbers(&mut flight.plant);
    let mut keys = Vec::with_capacity(ticks);
    for _ in 0..ticks {
        flight.step(&[0.0; BREAKS]);
        let after = flight.controller.flat().ok()?.discrete;
        let mut key: Vec<i64> = places.iter().map(|place| i64::from(place.is_some())).collect();
        places = craft_numbers(&mut flight.plant);
        key.extend(places.iter().map(|place| i64::from(place.is_some())));
        key.extend([before.len() as i64, after.len() as i64]);
        if before.len() == after.len() {
            key.extend(before.iter().zip(&after).map(|(a, b)| b.wrapping_sub(*a) as i64));
        }
        before = after;
        keys.push(key);
    }
    Some(keys)
}

/// Periods in ticks of the entries of the keys, each once, without those that do not repeat.
fn periods(keys: &[Vec<i64>]) -> Vec<usize> {
    let entries = keys.iter().map(Vec::len).max().unwrap_or(0);
    let sequences: HashSet<Vec<Option<i64>>> =
        (0..entries).map(|i| keys.iter().map(|key| key.get(i).copied()).collect()).collect();
    let own = |sequence: &Vec<Option<i64>>| {
        (1..=keys.len() / 2).find(|&n| sequence.iter().zip(&sequence[n..]).all(|(a, b)| a == b))
    };
    let found: HashSet<usize> = sequences.iter().filter_map(own).collect();
    found.into_iter().collect()
}

/// Common period of the longest of these periods, and the relative error of the rates of the others over it.
fn common_period(mut periods: Vec<usize>) -> (usize, f64) {
    periods.sort_unstable();
    let mut common = 1;
    let mut left_out = Vec::new();
    for period in periods.into_iter().rev() {
        let longer = num_integer::lcm(common, period);
        if longer <= LONGEST {
            common = longer;
        } else {
            left_out.push(period);
        }
    }
    let error = |n: usize| {
        let of = |&period: &usize| {
            let times = n as f64 / period as f64;
            (libm::round(times) / times - 1.0).abs()
        };
        left_out.iter().map(of).fold(0.0, f64::max)
    };
    let multiples = (1..=LONGEST / common).map(|times| times * common);
    // To 1e-4: of equal ones, the shortest.
    let best = multiples.min_by_key(|&n| libm::round(1e4 * error(n)) as u64).unwrap_or(common);
    (best, error(best))
}

/// Over a period: the kind of each tick, a flight at the start of one of each kind, and the error of the
/// rates.
fn period<C: Linearisable>(flight: &SteadyFlight<C>) -> Option<(Vec<usize>, Vec<SteadyFlight<C>>, f64)> {
    let keys = keys(flight, 2 * LONGEST)?;
    let (best, error) = common_period(periods(&keys));
    let mut kinds: HashMap<&[i64], usize> = HashMap::new();
    let mut flight = flight.clone();
    let (mut order, mut different) = (Vec::with_capacity(best), Vec::new());
    for key in &keys[..best] {
        let kind = *kinds.entry(key).or_insert_with(|| {
            different.push(flight.clone());
            different.len() - 1
        });
        order.push(kind);
        flight.step(&[0.0; BREAKS]);
    }
    Some((order, different, error))
}

/// The matrices of one tick, and the worst change over a shorter step of a difference with the number of its
/// argument.
fn tick<C: Linearisable>(flight: &SteadyFlight<C>, names: &Names) -> Option<(Tick, (f64, usize))> {
    let flat = flight.controller.flat().ok()?;
    let places = craft_numbers(&mut flight.plant.clone());
    let kinds = craft_names(&flight.plant);
    let (first_command, first_craft) = (names.first_command(), names.first_craft());
    let none = [0.0; BREAKS];
    let mut after = flight.clone();
    after.step(&none);
    let (before, after) = (names.positions(&flight.controller)?, names.positions(&after.controller)?);
    let (base, branch) = after_control(flight.clone(), &none, None)?;
    let mut worst = (0.0, 0);
    let (mut a, mut b, mut c, mut d) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    // Entries of a column of the controller's part: state, commands and signals.
    let split = |entries: Column, at: usize, states: &mut Vec<_>, signals: &mut Vec<_>| {
        for (row, slope) in entries {
            match (after.get(row), row - after.len().min(row)) {
                (Some(&state), _) => states.push((state, at, slope)),
                (None, row @ 0..4) => states.push((first_command + row, at, slope)),
                (None, row) => signals.push((row - 4, at, slope)),
            }
        }
    };
    // Where every change leaves the branch, as at a number that is exactly zero, the branch beside it counts.
    let controlled = |step: &mut Step, change: &dyn Fn(f64) -> Option<(SteadyFlight<C>, Added)>| {
        let first = *step;
        [Some(branch.as_slice()), None].into_iter().find_map(|branch| {
            *step = first;
            column(&base, CONTROLLER_EPSILON, step, |h| {
                let (flight, added) = change(h)?;
                Some(after_control(flight, &added, branch)?.0)
            })
        })
    };
    let mut note = |step: &Step, at: usize| {
        if step.disagreement > worst.0 {
            worst = (step.disagreement, at);
        }
    };
    for (i, &at) in before.iter().enumerate() {
        let mut step = first_step(f64::from(flat.numbers[i]));
        let slopes = controlled(&mut step, &|h| {
            let mut moved = flat.clone();
            moved.numbers[i] += h as f32;
            let mut flight = flight.clone();
            flight.controller.set_flat(&mut moved).ok()?;
            Some((flight, none))
        });
        note(&step, at);
        split(slopes.unwrap_or_default(), at, &mut a, &mut c);
    }
    for (i, (place, (_, kind))) in places.iter().zip(&kinds).enumerate() {
        let (Some(number), true) = (place, kind.starts_with("reading.")) else { continue };
        let mut step = first_step(*number);
        let slopes = controlled(&mut step, &|h| {
            let mut other = flight.clone();
            other.plant = moved(&flight.plant, i, h);
            Some((other, none))
        });
        note(&step, first_craft + i);
        split(slopes.unwrap_or_default(), first_craft + i, &mut a, &mut c);
    }
    for i in 0..BREAKS {
        let mut step = first_step(0.0);
        let slopes = controlled(&mut step, &|h| {
            let mut added = none;
            added[i] = h;
            Some((flight.clone(), added))
        });
        split(slopes.unwrap_or_default(), i, &mut b, &mut d);
    }
    let command = flight.pending.into_array().map(|command| f64::from(command.get()));
    let base = after_craft(flight.plant.clone(), command);
    let mut advanced = |at: usize, step: &mut Step, function: &mut dyn FnMut(f64) -> Vec<f64>| {
        let slopes = column(&base, CRAFT_EPSILON, step, |h| Some(function(h))).unwrap_or_default();
        note(step, at);
        a.extend(slopes.into_iter().map(|(row, slope)| (first_craft + row, at, slope)));
    };
    for (i, (place, (_, kind))) in places.iter().zip(&kinds).enumerate() {
        let Some(number) = place else { continue };
        if !kind.starts_with("reading.") && !IGNORED.iter().any(|(ignored, _)| ignored == kind) {
            advanced(first_craft + i, &mut first_step(*number), &mut |h| {
                after_craft(moved(&flight.plant, i, h), command)
            });
        }
    }
    for i in 0..4 {
        advanced(
            first_command + i,
            &mut Step { size: 0.01, disagreement: 0.0, argument: command[i] },
            &mut |h| {
                let mut command = command;
                command[i] += h;
                after_craft(flight.plant.clone(), command)
            },
        );
    }
    let states = names.all.len();
    let set = Tick {
        a: Sparse::new(states, states, a),
        b: Sparse::new(states, BREAKS, b),
        c: Sparse::new(BREAKS, states, c),
        d: Sparse::new(BREAKS, BREAKS, d),
    };
    Some((set, worst))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn common_period_is_exact_for_the_longest_periods_and_leaves_the_shortest_out() {
        assert_eq!(common_period(vec![1, 5, 25, 20, 10, 200]), (200, 0.0));
        // Receiver, velocity loop, barometer and blocks of the delay buffer of a craft at 2 kHz: all repeat
        // after 15,200 ticks only.
        let (ticks, error) = common_period(vec![19, 400, 32, 1, 40, 8]);
        assert!(ticks == 800 && (error - 0.0025).abs() < 1e-9, "{ticks} {error}");
    }
}
