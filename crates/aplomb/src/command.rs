//! Commands: the input of the controller besides the samples.

use crate::frames::{Body, Heading, Horizontal, Vector, World};
use crate::math::Math;

/// One command, as it arrives over the link.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Command {
    /// The demand.
    pub demand: Demand,
    /// Arm switch: the motors may turn. Further conditions of arming: [`crate::guard`].
    pub arm: bool,
    /// Stop all motors immediately, in every phase.
    pub cut_motors: bool,
    /// Time in us since the command was sent.
    pub age_us: u32,
}

impl Command {
    /// Disarmed, sticks centred.
    pub const IDLE: Self =
        Self { demand: Demand::Sticks(Sticks::CENTRED), arm: false, cut_motors: false, age_us: 0 };

    /// Armed, with the given demand.
    #[must_use]
    pub const fn fly(demand: Demand) -> Self {
        Self { demand, arm: true, cut_motors: false, age_us: 0 }
    }
}

/// Demand on the controllers, from the innermost loop to the outermost.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum Demand {
    /// Body rates and total thrust.
    Rates {
        /// Angular rate in rad/s.
        rate_rad_s: Vector<Body>,
        /// Total thrust in N.
        thrust_n: f32,
    },
    /// Tilt in the axes of the heading; height or climb rate is controlled.
    Tilt {
        /// Tilt of the thrust.
        tilt: Tilt,
        /// Heading.
        heading: HeadingDemand,
        /// Height or climb.
        vertical: VerticalDemand,
    },
    /// Velocity over ground.
    Velocity {
        /// Horizontal velocity and its derivative.
        setpoint: VelocitySetpoint,
        /// Heading.
        heading: HeadingDemand,
        /// Height or climb.
        vertical: VerticalDemand,
    },
    /// A position to hold or to track.
    Position {
        /// Horizontal position and its derivatives.
        setpoint: PositionSetpoint,
        /// Heading.
        heading: HeadingDemand,
        /// Height or climb.
        vertical: VerticalDemand,
    },
    /// Thumb sticks in tilt command: [`crate::pilot`] converts them to tilt, heading rate and climb.
    Sticks(Sticks),
    /// Thumb sticks in rate command: [`crate::pilot`] converts them to body rates and total thrust.
    RateSticks(Sticks),
    /// Descend at the landing speed, hold the position if it is valid, and stop the motors on the ground.
    Land,
}

impl Demand {
    /// True for [`Demand::Rates`].
    #[must_use]
    pub const fn is_rates(&self) -> bool {
        matches!(self, Self::Rates { .. })
    }

    /// Heading and vertical part; `None` for a demand without them.
    pub(crate) const fn heading_and_vertical(&self) -> Option<(HeadingDemand, VerticalDemand)> {
        match *self {
            Self::Tilt { heading, vertical, .. }
            | Self::Velocity { heading, vertical, .. }
            | Self::Position { heading, vertical, .. } => Some((heading, vertical)),
            Self::Rates { .. } | Self::Sticks(_) | Self::RateSticks(_) | Self::Land => None,
        }
    }
}

/// Horizontal position set-point with its derivatives as feed-forward: a streamed trajectory gives all three,
/// a position to fly to only the first.
///
/// ```
/// use aplomb::{PositionSetpoint, frames::Horizontal};
/// let there = PositionSetpoint::at(Horizontal::new(20.0, 0.0));
/// assert_eq!((there.velocity_m_s, there.acceleration_m_s2), (Horizontal::ZERO, Horizontal::ZERO));
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct PositionSetpoint {
    /// Position in m from home.
    pub position_m: Horizontal,
    /// Velocity of the set-point in m/s.
    pub velocity_m_s: Horizontal,
    /// Acceleration of the set-point in m/s2.
    pub acceleration_m_s2: Horizontal,
}

impl PositionSetpoint {
    /// A constant position, in m from home.
    #[must_use]
    pub const fn at(position_m: Horizontal) -> Self {
        Self { position_m, velocity_m_s: Horizontal::ZERO, acceleration_m_s2: Horizontal::ZERO }
    }

    /// Velocity and acceleration of the set-point.
    #[must_use]
    pub const fn motion(&self) -> VelocitySetpoint {
        VelocitySetpoint { velocity_m_s: self.velocity_m_s, acceleration_m_s2: self.acceleration_m_s2 }
    }
}

/// Horizontal velocity set-point with its derivative as feed-forward.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct VelocitySetpoint {
    /// Velocity in m/s.
    pub velocity_m_s: Horizontal,
    /// Its time derivative in m/s2.
    pub acceleration_m_s2: Horizontal,
}

impl VelocitySetpoint {
    /// A constant velocity in m/s.
    #[must_use]
    pub const fn constant(velocity_m_s: Horizontal) -> Self {
        Self { velocity_m_s, acceleration_m_s2: Horizontal::ZERO }
    }

    /// The same with 0 for a vector that is not finite.
    pub(crate) fn finite(self) -> Self {
        let finite = |v: Horizontal| if v.is_finite() { v } else { Horizontal::ZERO };
        Self { velocity_m_s: finite(self.velocity_m_s), acceleration_m_s2: finite(self.acceleration_m_s2) }
    }
}

/// Tilt of the thrust from the vertical, in the heading's axes: the horizontal part of the unit vector along
/// the thrust. Its length is the sine of the tilt angle.
///
/// ```
/// use aplomb::{Tilt, Libm};
/// let nose_down = Tilt::from_roll_pitch::<Libm>(0.0, -0.2);
/// assert!((nose_down.forward - 0.19867).abs() < 1e-5 && nose_down.right == 0.0);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Tilt {
    /// Forward part (nose down is positive).
    pub forward: f32,
    /// Right part (roll right is positive).
    pub right: f32,
}

impl Tilt {
    /// No tilt.
    pub const LEVEL: Self = Self { forward: 0.0, right: 0.0 };

    /// The tilt limited to a sine of `limit`, in the same direction; one that is not finite is level.
    #[must_use]
    pub fn limited<M: Math>(self, limit: f32) -> Self {
        let squared = self.forward * self.forward + self.right * self.right;
        if squared <= limit * limit {
            self
        } else if squared < f32::INFINITY {
            let scale = limit / M::sqrt(squared);
            Self { forward: self.forward * scale, right: self.right * scale }
        } else {
            Self::LEVEL
        }
    }

    /// From roll and pitch in rad (z-y'-x''). Uses sines and cosines: not for use on every tick.
    #[must_use]
    pub fn from_roll_pitch<M: Math>(roll_rad: f32, pitch_rad: f32) -> Self {
        Self { forward: -M::sin(pitch_rad) * M::cos(roll_rad), right: M::sin(roll_rad) }
    }
}

/// Heading, or heading rate.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum HeadingDemand {
    /// Turn to this heading, within the heading rate limit.
    Hold(Heading),
    /// Turn at this rate in rad/s, nose right positive.
    Rate(f32),
}

/// Height, or climb rate.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum VerticalDemand {
    /// Height in m above home.
    Height(f32),
    /// Climb rate in m/s, up positive; 0 holds the height at which the craft stops.
    Climb(f32),
}

/// Thumb sticks, -1 to 1 each. `climb` centred holds the height.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Sticks {
    /// Right positive: rolls right.
    pub roll: f32,
    /// Nose-up positive (stick pulled back).
    pub pitch: f32,
    /// Right positive: turns the nose right.
    pub yaw: f32,
    /// Up positive: climbs.
    pub climb: f32,
}

impl Sticks {
    /// All centred.
    pub const CENTRED: Self = Self { roll: 0.0, pitch: 0.0, yaw: 0.0, climb: 0.0 };
}

/// Torque, thrust and acceleration that are left after all limits; fed back to the velocity, vertical and
/// rate controllers for anti-windup.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Achieved {
    /// Body torque in N m of the allocated thrusts.
    pub torque_nm: Vector<Body>,
    /// Total thrust in N of the allocated thrusts.
    pub thrust_n: f32,
    /// Acceleration in m/s2 demanded by the outer loops, after the tilt and thrust limits.
    pub acceleration_m_s2: Vector<World>,
    /// Limits that were active.
    pub limited: Limited,
}

/// Limits that were active on this tick.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Limited {
    /// Roll/pitch saturation: the mixer scaled roll and pitch torque down.
    pub roll_pitch: bool,
    /// Thrust saturation: the mixer changed the total thrust.
    pub thrust: bool,
    /// Yaw saturation: the mixer reduced the yaw torque.
    pub yaw: bool,
    /// The tilt limit reduced the demanded acceleration or tilt.
    pub tilt: bool,
    /// The speed limit reduced the velocity set-point.
    pub speed: bool,
    /// The climb or descent limit reduced the climb rate.
    pub climb: bool,
    /// The heading set-point moves more slowly than demanded.
    pub heading_rate: bool,
    /// The limit of the tilt rate or of the heading rate reduced the body rate set-point.
    pub body_rate: bool,
}

impl Limited {
    /// No limit active.
    pub const NONE: Self = Self {
        roll_pitch: false,
        thrust: false,
        yaw: false,
        tilt: false,
        speed: false,
        climb: false,
        heading_rate: false,
        body_rate: false,
    };
}

impl core::ops::BitOr for Limited {
    type Output = Self;

    /// Flags that are set in either.
    fn bitor(self, other: Self) -> Self {
        Self {
            roll_pitch: self.roll_pitch || other.roll_pitch,
            thrust: self.thrust || other.thrust,
            yaw: self.yaw || other.yaw,
            tilt: self.tilt || other.tilt,
            speed: self.speed || other.speed,
            climb: self.climb || other.climb,
            heading_rate: self.heading_rate || other.heading_rate,
            body_rate: self.body_rate || other.body_rate,
        }
    }
}
