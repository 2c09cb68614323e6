//! The mixer: prioritised control allocation for four rotors at the corners of a quadrilateral.
//!
//! **Effectiveness.** The thrust of rotor i is `f_i = A_i T + R_i k tau_x + P_i k tau_y + Y_i tau_z`, with T
//! total thrust, k the share of roll and pitch torque, and A, R, P, Y the columns of the inverse of the map
//! from thrusts to T and torques ([`Geometry::inverse`](super::Geometry)). Divided by `A_i > 0`, the limits
//! of a rotor are
//!
//! ```text
//! min/A_i <= T + c_i k + s_i y <= max/A_i        c_i = (R_i tau_x + P_i tau_y)/A_i,  s_i = Y_i/A_i,  y = tau_z
//! ```
//!
//! **Elimination of yaw** (Fourier-Motzkin) leaves strips of T and k, [`Strip`]:
//!
//! * each rotor alone, with y anywhere from the reserved to the demanded yaw torque: four strips;
//! * each two rotors, combined with weights `w = s_j/(s_j - s_i)` and `1 - w`, for which y cancels and which
//!   add up to one: six strips. Where `s_i = s_j`, as for the two rotors of a diagonal of a symmetric X,
//!   thrust cancels, too, and the difference of the two rotors bounds k alone;
//! * the window of total thrust, `min(T*, T_max) - down <= T <= max(T*, T_min) + up`, with T* the demand and
//!   `T_min..=T_max` the thrusts that need no torque.
//!
//! The largest k that meets all strips is the first stage of the optimum ([`largest_share`]). The thrusts
//! that the strips leave at that k are an interval, and so are the yaw torques at that k and T: the second
//! and the third stage take from each interval what is nearest to the demand. (Derived here; prioritised
//! allocation in general: Durham, Bordignon and Beck 2017, *Aircraft Control Allocation*.)

use super::geometry::{Geometry, RotorShare};
use super::strip::{Common, Interval, Strip, largest_share};
use super::{Allocation, Wrench};
use crate::error::{ConfigError, Problem, require_not_negative, require_positive, require_within};
use crate::frames::Vector;
use crate::math::{least, most, saturate, saturate_symmetric};
use crate::{Limited, ROTORS, Rotors};

const NO_THRUST_WITHOUT_TORQUE: &str = "leaves no thrust without torque with these arms";

/// Demands are limited to this many times what the rotors can give, so that no product overflows.
const LARGEST_DEMAND: f32 = 1e6;

/// Smallest range of a rotor's thrust as a share of the largest thrust, ten times the accuracy of the
/// allocation.
const SMALLEST_RANGE: f32 = 1e-4;

/// Relative difference of the yaw gains of two rotors up to which they count as equal: eight times the
/// resolution of `f32`, the round-off of their geometry.
const EQUAL: f32 = 5e-7;

/// Pairs of the four rotors.
const PAIRS: usize = 6;

/// The mixer's model of the rotors and its settings.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Corners and senses of the rotors.
    pub geometry: Geometry,
    /// Smallest thrust of one rotor in N while armed; at least 0.
    pub min_thrust_n: f32,
    /// Largest thrust of one rotor in N that may be demanded, whatever a full motor command gives. Above
    /// `min_thrust_n` by at least a ten-thousandth, and far enough for a thrust that needs no torque.
    pub max_thrust_n: f32,
    /// How far total thrust may be lowered for roll and pitch torque, in N; at least 0. The thrust of all
    /// rotors together or more is no limit.
    pub allowance_down_n: f32,
    /// How far total thrust may be raised for roll and pitch torque, in N; at least 0. The thrust of all
    /// rotors together or more is no limit.
    pub allowance_up_n: f32,
    /// Share, 0 to 0.5, of the largest yaw torque that is reachable without roll and pitch torque at a thrust
    /// within the allowance: reserved for yaw ahead of roll and pitch, as far as yaw is demanded. 0: no
    /// reserve.
    pub reserved_yaw_share: f32,
}

/// Allocates torque and thrust to the four rotors; precomputes the inverse of their geometry.
///
/// ```
/// use aplomb::{Spin, frames::Vector, mix::{Config, Geometry, QuadMixer, Wrench}};
/// let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.014);
/// let mixer = QuadMixer::new(&Config {
///     geometry, min_thrust_n: 0.0, max_thrust_n: 6.5, allowance_down_n: 26.0, allowance_up_n: 6.0, reserved_yaw_share: 0.0,
/// })?;
/// // Roll right: the left pair gets more thrust.
/// let roll = Wrench { torque_nm: Vector::new(0.32, 0.0, 0.0), thrust_n: 12.0 };
/// let thrust_n = mixer.allocate(&roll, 6.5).thrust_n;
/// assert!((thrust_n.front_left - 3.5).abs() < 1e-5 && (thrust_n.rear_right - 2.5).abs() < 1e-5);
/// // Far more than the rotors can give: roll and pitch are scaled down alike, and no yaw torque is left.
/// let beyond = Wrench { torque_nm: Vector::new(5.0, 5.0, 1.0), thrust_n: 13.0 };
/// let allocation = mixer.allocate(&beyond, 6.5);
/// let torque_nm = allocation.achieved.torque_nm;
/// assert!(allocation.limited.roll_pitch && allocation.limited.yaw && torque_nm.z().abs() < 1e-5);
/// assert!((torque_nm.x() - 0.5 * 0.16 * 13.0).abs() < 1e-4 && (torque_nm.x() - torque_nm.y()).abs() < 1e-5);
/// // With an empty battery a full command gives 3.2 N: the first demand saturates.
/// assert!(!mixer.allocate(&roll, 6.5).limited.roll_pitch && mixer.allocate(&roll, 3.2).limited.thrust);
/// # Ok::<(), aplomb::ConfigError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct QuadMixer {
    rotors: Rotors<Rotor>,
    /// Weight of the first of two rotors with which yaw cancels; `None` if their yaw gains are equal.
    pair_weights: [Option<f32>; PAIRS],
    min_thrust_n: f32,
    max_thrust_n: f32,
    /// Below this ceiling no thrust without torque is in range.
    min_ceiling_n: f32,
    allowance_down_n: f32,
    allowance_up_n: f32,
    reserved_yaw_share: f32,
    /// Limits of a demand, against overflow.
    largest: Wrench,
}

/// One rotor, with its thrust scaled to total thrust.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Rotor {
    /// Its share of total thrust, A.
    share: f32,
    /// Total thrust over its own, 1/A.
    total: f32,
    /// Gains of roll and pitch torque, R/A and P/A, in 1/m.
    roll: f32,
    pitch: f32,
    /// Gain of yaw torque, s = Y/A, in 1/m.
    yaw: f32,
}

/// All six pairs of four.
fn pairs<T: Copy>(rotors: Rotors<T>) -> [(T, T); PAIRS] {
    let Rotors { front_left: a, front_right: b, rear_left: c, rear_right: d } = rotors;
    [(a, b), (a, c), (a, d), (b, c), (b, d), (c, d)]
}

impl Rotor {
    fn new(share: RotorShare) -> Self {
        let total = 1.0 / share.thrust;
        Self {
            share: share.thrust,
            total,
            roll: total * share.roll,
            pitch: total * share.pitch,
            yaw: total * share.yaw,
        }
    }

    /// The weight with which yaw cancels between this rotor and another.
    fn weight_beside(self, other: Self) -> Option<f32> {
        let difference = other.yaw - self.yaw;
        (difference.abs() > EQUAL * (self.yaw.abs() + other.yaw.abs())).then(|| other.yaw / difference)
    }
}

/// Total thrusts at which all rotors are within their limits without torque.
fn level(limits: Rotors<Strip>) -> Interval {
    let [first, others @ ..] = limits.into_array();
    others.iter().fold(Interval { low: first.low, high: first.high }, |level, limit| Interval {
        low: most(level.low, limit.low),
        high: least(level.high, limit.high),
    })
}

impl QuadMixer {
    /// Checks the configuration and precomputes coefficients.
    ///
    /// # Errors
    /// Names the field: arms that are not finite, that cannot make three independent torques, do not surround
    /// the centre of mass or are not at the corners they are named after (`arms`), a thrust range in the
    /// wrong order (`min_thrust_n`), an allowance that is negative or not finite, a share outside 0 to 0.5.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        let geometry = &config.geometry;
        let rotors = geometry.inverse()?.map(Rotor::new);
        let min_thrust_n = require_not_negative("min_thrust_n", config.min_thrust_n)?;
        let max_thrust_n = require_positive("max_thrust_n", config.max_thrust_n)?;
        if min_thrust_n >= (1.0 - SMALLEST_RANGE) * max_thrust_n {
            return Err(ConfigError::new("min_thrust_n", Problem::WrongOrder("max_thrust_n")));
        }
        require_not_negative("allowance_down_n", config.allowance_down_n)?;
        require_not_negative("allowance_up_n", config.allowance_up_n)?;
        require_within("reserved_yaw_share", config.reserved_yaw_share, 0.0, 0.5)?;
        // A thrust without torque exists if min/A of the weakest rotor is below max/A of the strongest one.
        let totals = rotors.map(|rotor| rotor.total).into_array();
        let [weakest, strongest] = [most, least].map(|of| totals.into_iter().reduce(of).unwrap_or(1.0));
        let min_ceiling_n = min_thrust_n * weakest / strongest + SMALLEST_RANGE * max_thrust_n;
        if min_ceiling_n >= max_thrust_n {
            return Err(ConfigError::new("min_thrust_n", Problem::Inconsistent(NO_THRUST_WITHOUT_TORQUE)));
        }
        let whole_n = ROTORS as f32 * max_thrust_n;
        let torque_nm = LARGEST_DEMAND * max_thrust_n * geometry.reach_m();
        let yaw_nm = LARGEST_DEMAND * max_thrust_n * geometry.torque_to_thrust_m;
        Ok(Self {
            rotors,
            pair_weights: pairs(rotors).map(|(a, b)| a.weight_beside(b)),
            min_thrust_n,
            max_thrust_n,
            min_ceiling_n,
            allowance_down_n: least(config.allowance_down_n, whole_n),
            allowance_up_n: least(config.allowance_up_n, whole_n),
            reserved_yaw_share: config.reserved_yaw_share,
            largest: Wrench {
                torque_nm: Vector::new(torque_nm, torque_nm, yaw_nm),
                thrust_n: LARGEST_DEMAND * max_thrust_n,
            },
        })
    }

    /// The thrusts for a demand, no rotor beyond `ceiling_n`, the thrust in N that a full motor command gives
    /// now ([`super::ThrustCurve::ceiling_n`]).
    ///
    /// The result always is finite and within range: a NaN torque counts as 0, a NaN thrust as the smallest,
    /// and a ceiling that is NaN or leaves no thrust without torque counts as the smallest one that leaves
    /// some.
    #[must_use]
    pub fn allocate(&self, demand: &Wrench, ceiling_n: f32) -> Allocation {
        let ceiling_n = saturate(ceiling_n, self.min_ceiling_n, self.max_thrust_n);
        let Wrench { torque_nm, thrust_n: demanded_n } = self.cut(demand);
        let [roll_nm, pitch_nm, yaw_nm] = torque_nm.to_array();
        // Each rotor's limits without yaw.
        let limits = self.rotors.map(|rotor| Strip {
            low: rotor.total * self.min_thrust_n,
            high: rotor.total * ceiling_n,
            slope: rotor.roll * roll_nm + rotor.pitch * pitch_nm,
        });
        let level = level(limits);
        let window = Interval {
            low: least(demanded_n, level.high) - self.allowance_down_n,
            high: most(demanded_n, level.low) + self.allowance_up_n,
        };
        let reserved_nm = self.reserved_yaw_nm(window, limits, yaw_nm);
        let yaw_range_nm = Interval { low: least(reserved_nm, yaw_nm), high: most(reserved_nm, yaw_nm) };

        let Common { share, thrust_n, .. } = self.largest_roll_pitch(window, limits, yaw_range_nm);
        let total_n = saturate(demanded_n, thrust_n.low, thrust_n.high);
        let given_yaw_nm = self.nearest_yaw_nm(limits, share, total_n, yaw_range_nm, yaw_nm);

        let thrust_n = self.rotors.zip(limits).map(|(rotor, limit)| {
            let thrust = rotor.share * (total_n + share * limit.slope + rotor.yaw * given_yaw_nm);
            saturate(thrust, self.min_thrust_n, ceiling_n)
        });
        Allocation {
            thrust_n,
            achieved: Wrench {
                torque_nm: Vector::new(share * roll_nm, share * pitch_nm, given_yaw_nm),
                thrust_n: total_n,
            },
            limited: Limited {
                roll_pitch: share < 1.0,
                thrust: total_n != demanded_n,
                yaw: given_yaw_nm != yaw_nm,
                ..Limited::default()
            },
        }
    }

    /// The demand with NaN replaced and limited against overflow.
    fn cut(&self, demand: &Wrench) -> Wrench {
        let [roll, pitch, yaw] = demand.torque_nm.to_array();
        let [largest_roll, largest_pitch, largest_yaw] = self.largest.torque_nm.to_array();
        Wrench {
            torque_nm: Vector::new(
                saturate_symmetric(roll, largest_roll),
                saturate_symmetric(pitch, largest_pitch),
                saturate_symmetric(yaw, largest_yaw),
            ),
            thrust_n: saturate(demand.thrust_n, -self.largest.thrust_n, self.largest.thrust_n),
        }
    }

    /// Reserved yaw torque in N m, in the sense of the demand and no more than it.
    fn reserved_yaw_nm(&self, window: Interval, limits: Rotors<Strip>, demanded_nm: f32) -> f32 {
        if self.reserved_yaw_share == 0.0 {
            return 0.0;
        }
        let sense = 1f32.copysign(demanded_nm);
        let strips = self
            .rotors
            .zip(limits)
            .map(|(rotor, limit)| Strip { slope: sense * rotor.yaw, ..limit })
            .into_array();
        // No rotor's yaw torque can be larger than its whole thrust allows.
        let bound_nm = limits.front_left.high / self.rotors.front_left.yaw.abs();
        let reachable_nm = largest_share(window, &strips, bound_nm).share;
        sense * least(self.reserved_yaw_share * reachable_nm, demanded_nm.abs())
    }

    /// First stage: the largest share of roll and pitch torque, and the total thrusts that go with it.
    fn largest_roll_pitch(&self, window: Interval, limits: Rotors<Strip>, yaw_nm: Interval) -> Common {
        let alone = self.rotors.zip(limits).map(|(rotor, limit)| {
            let (a, b) = (rotor.yaw * yaw_nm.low, rotor.yaw * yaw_nm.high);
            Strip { low: limit.low - most(a, b), high: limit.high - least(a, b), ..limit }
        });
        let mut from = 1.0;
        let none = Strip { low: window.low, high: window.high, slope: 0.0 };
        let mut together = [none; PAIRS];
        for ((strip, (a, b)), weight) in together.iter_mut().zip(pairs(limits)).zip(self.pair_weights) {
            match weight {
                Some(weight) => *strip = a.combined(b, weight),
                None => from = a.largest_share_beside(b, from),
            }
        }
        let ([a, b, c, d], [e, f, g, h, i, j]) = (alone.into_array(), together);
        largest_share(window, &[a, b, c, d, e, f, g, h, i, j], from)
    }

    /// Third stage: the yaw torque within `range_nm` that is nearest to the demand.
    fn nearest_yaw_nm(
        &self,
        limits: Rotors<Strip>,
        share: f32,
        total_n: f32,
        range_nm: Interval,
        demanded_nm: f32,
    ) -> f32 {
        let mut feasible = range_nm;
        for (rotor, limit) in self.rotors.zip(limits).into_array() {
            let without_n = total_n + share * limit.slope;
            let (a, b) = ((limit.low - without_n) / rotor.yaw, (limit.high - without_n) / rotor.yaw);
            feasible.low = most(least(a, b), feasible.low);
            feasible.high = least(most(a, b), feasible.high);
        }
        // Round-off at the ends must not reverse yaw or reduce it below the reserve.
        saturate(saturate(demanded_nm, feasible.low, feasible.high), range_nm.low, range_nm.high)
    }
}
