//! From a craft file to a controller that meets every requirement.
//!
//! The start is analytic: everything is derived from inertia, the rotors' lag, delays and filters ([`crate::controller_model`]). Then
//! the gains are turned until every requirement has a seventh of its limit as room, and then for as fast loops as that leaves,
//! all judged as `aplomb verify` judges them: margins by the linear model at every operating point, the probes, and two flights. The search is COBYLA (Powell 1994,
//! A direct search optimization method that models the objective and constraint functions by linear interpolation), which
//! needs no slopes.

pub mod file;
pub mod knob;
mod page;
#[cfg(test)]
mod tests;

use std::cell::RefCell;
use std::collections::HashMap;

use cobyla::{Func, RhoBeg, StopTols};

pub use page::{TunePage, compose};

use crate::controller_model;
use crate::fly::{FlyError, fly};
use crate::input::signal::Signal;
use crate::input::{Controller, Craft, FlightPlan, InputError};
use crate::requirements::{Probe, Size};
use crate::signals;
use crate::verdict::{Limit, Outcome};
use crate::verify::{self, Folder, Item, Judgement};
use knob::{KNOBS, RANGE, Setting};

/// The flights that are written and judged, by name.
pub const FLIGHTS: [(&str, &str); 2] =
    [("come-and-go", include_str!("flights/come-and-go.toml")), ("hold", include_str!("flights/hold.toml"))];

/// Seeds of each flight: while searching, and for the verdict, as many as `aplomb verify` takes.
const SEARCH_SEEDS: u32 = 1;
const VERDICT_SEEDS: u32 = 10;
/// Controllers that the verdict is taken of at most.
const FINALISTS: usize = 12;
/// Largest room that is told.
const AMPLE: f64 = 1.0;
/// Room that every requirement shall have; more does not count.
const ENOUGH: f64 = 0.15;
/// What a factor e on one gain counts, as room.
const FAST: f64 = 0.02;
/// First step of the search in the logarithm of a factor, and the step at which it ends.
const STEPS: (f64, f64) = (0.2, 0.02);
/// Paces that the trade is drawn at: factors on the four fast knobs.
const PACES: [f64; 9] = [0.5, 0.6, 0.7, 0.85, 1.0, 1.2, 1.4, 1.7, 2.0];
const FAST_KNOBS: usize = 4;
const HOVER: &str = "title = \"hover\"\npurpose = \"noise in the motor commands\"\nduration_s = 6.0\nstart = \"hover\"\nheight_m = 6.0\n";

/// Factors on the knobs.
pub type Factors = [f64; KNOBS.len()];

/// How far the requirements are from their limits, each as a share of the limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// Room of each requirement, in the order of the table; 1 where it was not put to the test.
    pub rooms: Vec<f64>,
    /// Their short names.
    pub ids: Vec<String>,
    /// What was judged.
    pub judgement: Judgement,
}

/// What a controller gives up in noise for what it wins against disturbances.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trade {
    /// Factor on the fast gains.
    pub pace: f64,
    /// Largest tilt after the probe's pulses of torque, in deg.
    pub tilt_deg: f64,
    /// Noise of the motor commands in hover, root mean square, in % of full command.
    pub noise_percent: f64,
    /// Every requirement holds.
    pub holds: bool,
}

/// A controller that was found.
#[derive(Clone, Debug)]
pub struct Tuned {
    /// Text of its file.
    pub text: String,
    /// Factors on what is derived.
    pub factors: Factors,
    /// The analytic start.
    pub start: Judged,
    /// What was found.
    pub found: Judged,
    /// How many controllers were tried.
    pub tried: usize,
    /// Disturbance against noise, from the slowest pace to the fastest that can be built.
    pub trades: Vec<Trade>,
}

/// Why there is none.
#[derive(Debug)]
pub enum TuneError {
    /// No controller can be derived.
    Derive(aplomb::ConfigError),
    /// The start cannot be flown.
    Fly(FlyError),
    /// A file of ours is wrong.
    Input(InputError),
}

impl std::fmt::Display for TuneError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Derive(error) => write!(f, "no controller can be derived: {error}"),
            Self::Fly(error) => error.fmt(f),
            Self::Input(error) => write!(f, "{}", error.render(false)),
        }
    }
}

impl Judged {
    /// Room of the tightest requirement.
    #[must_use]
    pub fn room(&self) -> f64 {
        self.rooms.iter().copied().fold(AMPLE, f64::min)
    }

    /// Every requirement holds.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.judgement.items.iter().all(|item| item.outcome == Outcome::Pass)
    }

    /// The tightest items, each requirement once, the tightest first.
    #[must_use]
    pub fn tightest(&self, count: usize) -> Vec<&Item> {
        let required = self.judgement.items.iter().filter(|item| self.ids.contains(&item.id));
        let mut items: Vec<&Item> = required.collect();
        items.sort_by(|a, b| room(a).total_cmp(&room(b)));
        let mut chosen: Vec<&Item> = Vec::new();
        for item in items {
            if chosen.len() < count && chosen.iter().all(|other| other.id != item.id) {
                chosen.push(item);
            }
        }
        chosen
    }
}

/// Distance of an item from its limit as a share of it, at most 1; -1 where it cannot be told.
#[must_use]
pub fn room(item: &Item) -> f64 {
    let share = match item.limit {
        Limit::AtMost(high) if high.is_infinite() => AMPLE,
        Limit::AtMost(high) => (high - item.measured) / high.abs(),
        Limit::AtLeast(low) => (item.measured - low) / low.abs(),
        Limit::Between(low, high) => item.margin() / (0.5 * (high - low)),
    };
    if share.is_nan() { -AMPLE } else { share.clamp(-AMPLE, AMPLE) }
}

/// Tunes a controller for `craft` by at most `most` trials; `tried` is called after each.
///
/// # Errors
/// A craft that no controller can be derived for, or that cannot be flown.
pub fn tune(craft: &Craft, most: usize, tried: &(dyn Fn() + Sync)) -> Result<Tuned, TuneError> {
    let workshop = Workshop::new(craft)?;
    let start = workshop.judge(&[1.0; KNOBS.len()], SEARCH_SEEDS)?;
    tried();
    let seen: RefCell<HashMap<Vec<u64>, Vec<f64>>> = RefCell::new(HashMap::new());
    let worst = vec![-AMPLE; start.rooms.len()];
    let rooms = |logarithms: &[f64]| -> Vec<f64> {
        let key: Vec<u64> = logarithms.iter().map(|x| x.to_bits()).collect();
        if let Some(known) = seen.borrow().get(&key) {
            return known.clone();
        }
        let rooms = workshop
            .judge(&factors(logarithms), SEARCH_SEEDS)
            .map_or_else(|_| worst.clone(), |judged| judged.rooms);
        tried();
        seen.borrow_mut().insert(key, rooms.clone());
        rooms
    };
    // The last unknown is the room that all requirements have: it is made as large as they let it, up to what is enough.
    let knobs = KNOBS.len();
    let least = |x: &[f64], _: &mut ()| -score(x[knobs], &x[..knobs]);
    let constraints: Vec<_> = (0..start.rooms.len())
        .map(|i| {
            let rooms = &rooms;
            move |x: &[f64], _: &mut ()| rooms(&x[..knobs])[i] - x[knobs]
        })
        .collect();
    let constraints: Vec<&dyn Func<()>> = constraints.iter().map(|one| one as &dyn Func<()>).collect();
    let mut first = vec![0.0; knobs];
    first.push(start.room().min(ENOUGH));
    let mut bounds = vec![(RANGE.0.ln(), RANGE.1.ln()); knobs];
    bounds.push((-AMPLE, ENOUGH));
    let tolerances = StopTols { xtol_abs: vec![STEPS.1; knobs + 1], ..StopTols::default() };
    // Ended by its tolerance or by the number of trials, what counts is the best of all that was seen.
    let _ = cobyla::minimize(
        least,
        &first,
        &bounds,
        &constraints,
        (),
        most,
        RhoBeg::All(STEPS.0),
        Some(tolerances),
    );
    let seen = seen.borrow().clone();
    let room = |rooms: &[f64]| rooms.iter().copied().fold(ENOUGH, f64::min);
    let scored = |(key, rooms): (&Vec<u64>, &Vec<f64>)| {
        let logarithms: Vec<f64> = key.iter().map(|&bits| f64::from_bits(bits)).collect();
        (score(room(rooms), &logarithms), key.clone())
    };
    let mut best: Vec<(f64, Vec<u64>)> = seen.iter().map(scored).collect();
    best.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.cmp(&b.1)));
    // The verdict takes more seeds: the best that holds under them, of a few. Some may be refused.
    let mut found: Option<(Factors, Judged)> = None;
    for (_, key) in best.iter().take(FINALISTS) {
        let logarithms: Vec<f64> = key.iter().map(|&bits| f64::from_bits(bits)).collect();
        let factors = factors(&logarithms);
        let Ok(judged) = workshop.judge(&factors, VERDICT_SEEDS) else { continue };
        if found.as_ref().is_none_or(|(_, best)| judged.room() > best.room()) {
            found = Some((factors, judged));
        }
        if found.as_ref().is_some_and(|(_, best)| best.holds()) {
            break;
        }
    }
    let (factors, found) = match found {
        Some(found) => found,
        None => ([1.0; KNOBS.len()], workshop.judge(&[1.0; KNOBS.len()], VERDICT_SEEDS)?),
    };
    let trades = PACES.iter().filter_map(|&pace| workshop.trade(&factors, pace)).collect();
    Ok(Tuned { text: workshop.text(&factors), factors, start, found, tried: seen.len(), trades })
}

/// What is made large: room, and fast loops.
fn score(room: f64, logarithms: &[f64]) -> f64 {
    let fast = KNOBS.iter().zip(logarithms).filter(|(knob, _)| knob.is_gain).map(|(_, logarithm)| logarithm);
    room + FAST * fast.sum::<f64>()
}

/// Factors from their logarithms, within the range.
fn factors(logarithms: &[f64]) -> Factors {
    std::array::from_fn(|i| logarithms[i].exp().clamp(RANGE.0, RANGE.1))
}

/// One craft with what is derived for it.
struct Workshop<'a> {
    craft: &'a Craft,
    derived: aplomb::flight::Config,
    plans: Vec<FlightPlan>,
    hover: FlightPlan,
}

impl<'a> Workshop<'a> {
    fn new(craft: &'a Craft) -> Result<Self, TuneError> {
        let plan = |name: &str, text: &str| FlightPlan::from_text(name, name, text).map_err(TuneError::Input);
        let plans = FLIGHTS.iter().map(|(name, text)| plan(name, text)).collect::<Result<_, _>>()?;
        Ok(Self {
            craft,
            derived: controller_model::controller(craft).map_err(TuneError::Derive)?,
            plans,
            hover: FlightPlan::from_unjudged_text("hover", "hover", HOVER).map_err(TuneError::Input)?,
        })
    }

    /// The controller file with these factors; those that are 1 to half a percent are left out.
    fn text(&self, factors: &Factors) -> String {
        let turned = factors.iter().enumerate().filter(|(_, factor)| (*factor - 1.0).abs() > 0.005);
        let settings: Vec<Setting> =
            turned.map(|(knob, &factor)| Setting { knob, factor, derived: self.derived }).collect();
        file::text(self.craft, &controller_model::airframe(self.craft), &settings)
    }

    fn controller(&self, factors: &Factors) -> Result<Controller, TuneError> {
        Controller::from_text("the tuned controller", &self.text(factors)).map_err(TuneError::Input)
    }

    fn judge(&self, factors: &Factors, seeds: u32) -> Result<Judged, TuneError> {
        let folder = Folder::of(self.craft.clone(), self.controller(factors)?, self.plans.clone());
        let judgement = verify::judge(&folder, seeds, &|| ()).map_err(TuneError::Fly)?;
        let rooms = folder.requirements.iter().map(|requirement| {
            let items = judgement.items.iter().filter(|item| item.id == requirement.id);
            items.map(room).fold(AMPLE, f64::min)
        });
        let ids = folder.requirements.iter().map(|requirement| requirement.id.to_string()).collect();
        Ok(Judged { rooms: rooms.collect(), ids, judgement })
    }

    /// Disturbance against noise at a pace; `None` where no such controller can be built.
    fn trade(&self, factors: &Factors, pace: f64) -> Option<Trade> {
        let mut paced = *factors;
        paced[..FAST_KNOBS].iter_mut().for_each(|factor| *factor *= pace);
        let controller = self.controller(&paced).ok()?;
        let holds = self.judge(&paced, SEARCH_SEEDS).ok()?.holds();
        let size = Size::of(self.craft, &controller);
        let spin = self.craft.config.arms.map(|arm| arm.spin);
        // Nobody looks through the camera.
        let craft = aplomb_craft::Config { camera_mount: None, ..self.craft.config };
        let flown = |plan: &FlightPlan| fly(&craft, &controller.config, plan, 1).ok();
        let pulses = flown(&Probe::TorquePulses.plan(&size))?;
        let tilts = signals::values(Signal::Tilt, &pulses.trace.rows, &spin);
        let hover = flown(&self.hover)?;
        let noise = signals::values(Signal::MotorCommandNoise, &hover.trace.rows, &spin);
        let mean_square = noise.iter().map(|value| value * value).sum::<f64>() / noise.len() as f64;
        Some(Trade {
            pace,
            tilt_deg: tilts.into_iter().fold(0.0, f64::max),
            noise_percent: libm::sqrt(mean_square),
            holds,
        })
    }
}
