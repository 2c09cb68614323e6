//! Thumb sticks to set-points.
//!
//! Each stick passes a dead band and a curve. Roll and pitch set the lean of the thrust, linear in the *sine* of the
//! tilt and limited as a circle; yaw sets the heading rate; climb sets the climb, and centred it holds the height.
//!
//! With roll and pitch centred and the place known, the craft first brakes, then holds the place where it came to rest;
//! moving either stick lets go of the place. Without a known place it levels and drifts with the wind.

use core::marker::PhantomData;

use crate::error::{ConfigError, require_positive, require_within};
use crate::estimate;
use crate::frames::{Vector, World};
use crate::math::{Libm, Math, saturate_symmetric};
use crate::{Demand, HeadingDemand, Sticks, Tilt, VerticalDemand};

/// How the sticks feel.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct Config {
    /// Share of the travel about the centre that counts as centred, 0 to 0.5.
    pub dead_band: f32,
    /// 0: straight; 1: the cube of the deflection, flat about the centre. Full stick is full stick in any case.
    pub expo: f32,
    /// Tilt in rad at full roll or pitch stick, above 0 and at most 1.4.
    pub full_stick_tilt_rad: f32,
    /// Heading rate in rad/s at full yaw stick.
    pub full_stick_rate_rad_s: f32,
    /// Climb in m/s at full climb stick.
    pub full_stick_climb_m_s: f32,
    /// Descent in m/s at full climb stick down, as a positive number.
    pub full_stick_descent_m_s: f32,
    /// Speed in m/s below which the place is held after braking.
    pub hold_below_m_s: f32,
    /// Descent in m/s when landing, as a positive number.
    pub landing_speed_m_s: f32,
}

/// The sticks' shaping, folded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pilot<M = Libm> {
    dead_band: f32,
    expo: f32,
    sin_tilt: f32,
    rate_rad_s: f32,
    climb_m_s: f32,
    descent_m_s: f32,
    /// Square of the speed below which the place is held.
    slow_squared: f32,
    landing_m_s: f32,
    math: PhantomData<M>,
}

/// State: what happens to the place.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum State {
    /// The sticks lead, or the place is not known.
    #[default]
    Free,
    /// Sticks centred, slowing down.
    Braking,
    /// Holding this place, m from home.
    Holding(Vector<World>),
}

impl<M: Math> Pilot<M> {
    /// Checks and folds the configuration.
    ///
    /// # Errors
    /// Names the field that is not finite, not positive or out of range.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        require_within("dead_band", config.dead_band, 0.0, 0.5)?;
        require_within("expo", config.expo, 0.0, 1.0)?;
        require_positive("full_stick_tilt_rad", config.full_stick_tilt_rad)?;
        require_within("full_stick_tilt_rad", config.full_stick_tilt_rad, 0.0, 1.4)?;
        require_positive("full_stick_rate_rad_s", config.full_stick_rate_rad_s)?;
        require_positive("full_stick_climb_m_s", config.full_stick_climb_m_s)?;
        require_positive("full_stick_descent_m_s", config.full_stick_descent_m_s)?;
        require_positive("hold_below_m_s", config.hold_below_m_s)?;
        require_positive("landing_speed_m_s", config.landing_speed_m_s)?;
        Ok(Self {
            dead_band: config.dead_band,
            expo: config.expo,
            sin_tilt: M::sin(config.full_stick_tilt_rad),
            rate_rad_s: config.full_stick_rate_rad_s,
            climb_m_s: config.full_stick_climb_m_s,
            descent_m_s: config.full_stick_descent_m_s,
            slow_squared: config.hold_below_m_s * config.hold_below_m_s,
            landing_m_s: config.landing_speed_m_s,
            math: PhantomData,
        })
    }

    /// One stick after dead band and curve, -1 to 1: with d the deflection beyond the dead band over the travel left,
    /// `(1 - softness) d + softness d^3`. NaN counts as centred.
    ///
    /// ```
    /// use aplomb::pilot::{Config, Pilot};
    /// let pilot: Pilot = Pilot::new(&Config {
    ///     dead_band: 0.1, expo: 0.5, full_stick_tilt_rad: 0.5, full_stick_rate_rad_s: 1.5,
    ///     full_stick_climb_m_s: 3.0, full_stick_descent_m_s: 2.0, hold_below_m_s: 0.5, landing_speed_m_s: 0.7,
    /// })?;
    /// assert_eq!(pilot.shaped(0.09), 0.0);
    /// assert_eq!(pilot.shaped(-1.0), -1.0);
    /// assert!((pilot.shaped(0.55) - (0.5 * 0.5 + 0.5 * 0.125)).abs() < 1e-6);
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[inline(never)]
    #[must_use]
    pub fn shaped(&self, stick: f32) -> f32 {
        let Self { dead_band, expo, .. } = *self;
        let stick = saturate_symmetric(stick, 1.0);
        let size = stick.abs();
        if size <= dead_band {
            return 0.0;
        }
        let d = (size - dead_band) / (1.0 - dead_band);
        let curved = d * (1.0 - expo + expo * d * d);
        if stick < 0.0 { -curved } else { curved }
    }

    /// Set-points for the sticks, with the motion estimated now. A stick that is no number counts as centred.
    ///
    /// ```
    /// # use aplomb::pilot::{Config, Pilot, State};
    /// # let pilot: Pilot = Pilot::new(&Config {
    /// #     dead_band: 0.1, expo: 0.5, full_stick_tilt_rad: 0.5, full_stick_rate_rad_s: 1.5,
    /// #     full_stick_climb_m_s: 3.0, full_stick_descent_m_s: 2.0, hold_below_m_s: 0.5, landing_speed_m_s: 0.7,
    /// # })?;
    /// use aplomb::{Demand, HeadingDemand, Sticks, VerticalDemand, estimate, frames::Vector};
    /// // Pitch stick full forward, yaw full right, climb full down.
    /// let sticks = Sticks { roll: 0.0, pitch: -1.0, yaw: 1.0, climb: -1.0 };
    /// let mut state = State::default();
    /// let Demand::Tilt { tilt: lean, heading, vertical } = pilot.fly(&mut state, sticks, &estimate::State::default()) else {
    ///     unreachable!()
    /// };
    /// assert!((lean.forward - 0.5f32.sin()).abs() < 1e-6);
    /// assert_eq!((heading, vertical), (HeadingDemand::Rate(1.5), VerticalDemand::Climb(-2.0)));
    /// // Centred, with the place known and slow enough: it brakes, then the place is held.
    /// let still = estimate::State { position_valid: true, position_m: Vector::new(7.0, 0.0, 0.0), ..estimate::State::default() };
    /// assert!(matches!(pilot.fly(&mut state, Sticks::CENTRED, &still), Demand::Velocity { .. }));
    /// assert!(matches!(pilot.fly(&mut state, Sticks::CENTRED, &still), Demand::Position { position_m, .. } if position_m.x() == 7.0));
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn fly(&self, state: &mut State, sticks: Sticks, motion: &estimate::State) -> Demand {
        let (roll, pitch) = (self.shaped(sticks.roll), self.shaped(sticks.pitch));
        let heading = HeadingDemand::Rate(self.shaped(sticks.yaw) * self.rate_rad_s);
        let climb = self.shaped(sticks.climb);
        let full = if climb < 0.0 { self.descent_m_s } else { self.climb_m_s };
        let vertical = VerticalDemand::Climb(climb * full);
        if roll == 0.0 && pitch == 0.0 {
            return self.stay(state, heading, vertical, motion);
        }
        *state = State::Free;
        // Stick forward is negative pitch: nose down, lean forward. The corner of the gate reaches no further than the
        // edge.
        let lean = Vector::<World>::new(-pitch, roll, 0.0).limited::<M>(1.0) * self.sin_tilt;
        Demand::Tilt { tilt: Tilt { forward: lean.x(), right: lean.y() }, heading, vertical }
    }

    /// Set-points for coming down where the craft is: at the landing speed, holding the place as with centred sticks.
    ///
    /// ```
    /// # use aplomb::pilot::{Config, Pilot, State};
    /// # let pilot: Pilot = Pilot::new(&Config {
    /// #     dead_band: 0.1, expo: 0.5, full_stick_tilt_rad: 0.5, full_stick_rate_rad_s: 1.5,
    /// #     full_stick_climb_m_s: 3.0, full_stick_descent_m_s: 2.0, hold_below_m_s: 0.5, landing_speed_m_s: 0.7,
    /// # })?;
    /// use aplomb::{Demand, VerticalDemand, estimate};
    /// // Without a known place it comes down level.
    /// let demand = pilot.land(&mut State::default(), &estimate::State::default());
    /// assert!(matches!(demand, Demand::Tilt { vertical: VerticalDemand::Climb(climb), .. } if climb == -0.7));
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    #[must_use]
    pub fn land(&self, state: &mut State, motion: &estimate::State) -> Demand {
        let vertical = VerticalDemand::Climb(-self.landing_m_s);
        self.stay(state, HeadingDemand::Rate(0.0), vertical, motion)
    }

    fn stay(
        &self,
        state: &mut State,
        heading: HeadingDemand,
        vertical: VerticalDemand,
        motion: &estimate::State,
    ) -> Demand {
        if !motion.position_valid {
            *state = State::Free;
            return Demand::Tilt { tilt: Tilt::LEVEL, heading, vertical };
        }
        let (position, velocity) = (motion.position_m, motion.velocity_m_s);
        let speed2 = velocity.x() * velocity.x() + velocity.y() * velocity.y();
        match *state {
            State::Holding(position_m) => Demand::Position { position_m, heading, vertical },
            State::Braking if speed2 < self.slow_squared => {
                *state = State::Holding(position);
                Demand::Position { position_m: position, heading, vertical }
            }
            State::Free | State::Braking => {
                *state = State::Braking;
                Demand::Velocity { velocity_m_s: Vector::ZERO, heading, vertical }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Libm;

    fn pilot(dead_band: f32, expo: f32) -> Pilot<Libm> {
        Pilot::new(&Config {
            dead_band,
            expo,
            full_stick_tilt_rad: 0.5,
            full_stick_rate_rad_s: 1.5,
            full_stick_climb_m_s: 3.0,
            full_stick_descent_m_s: 2.0,
            hold_below_m_s: 0.5,
            landing_speed_m_s: 0.7,
        })
        .unwrap()
    }

    fn known(position_m: Vector<World>, velocity_m_s: Vector<World>) -> estimate::State {
        estimate::State { position_valid: true, position_m, velocity_m_s, ..estimate::State::default() }
    }

    #[test]
    fn shaped_stick_is_odd_rises_and_ends_at_full() {
        for (dead_band, softness) in [(0.0, 0.0), (0.04, 0.3), (0.5, 1.0)] {
            let pilot = pilot(dead_band, softness);
            assert_eq!((pilot.shaped(1.0), pilot.shaped(-1.0), pilot.shaped(dead_band)), (1.0, -1.0, 0.0));
            let mut last = 0.0;
            for i in 0..=1000 {
                let x = i as f32 * 1e-3;
                let y = pilot.shaped(x);
                assert!(y >= last && y <= x + 1e-6 && y == -pilot.shaped(-x), "{x} {y}");
                // No jump at the edge of the dead band.
                assert!(y - last <= 3.0 * 1e-3 / (1.0 - dead_band) + 1e-6);
                last = y;
            }
            for bad in [f32::NAN, 7.0, f32::NEG_INFINITY] {
                assert!((-1.0..=1.0).contains(&pilot.shaped(bad)));
            }
            assert_eq!(pilot.shaped(f32::NAN), 0.0);
        }
        // The dead band is what makes the centre quiet: without it a trembling thumb is a command.
        assert_eq!(pilot(0.04, 0.3).shaped(0.03), 0.0);
        assert!(pilot(0.0, 0.3).shaped(0.03) > 0.0);
    }

    #[test]
    fn corners_of_the_gate_lean_no_further_than_its_edges() {
        let pilot = pilot(0.04, 0.3);
        let full = 0.5f32.sin();
        for i in 0..360 {
            let (s, c) = (i as f32).to_radians().sin_cos();
            // From the centre to the square gate.
            let reach = 1.0 / s.abs().max(c.abs());
            let sticks = Sticks { roll: reach * s, pitch: reach * c, ..Sticks::CENTRED };
            let Demand::Tilt { tilt: lean, .. } =
                pilot.fly(&mut State::Free, sticks, &estimate::State::default())
            else {
                panic!("sticks lead")
            };
            let length = lean.forward.hypot(lean.right);
            assert!(length <= full * 1.000_001, "{i} deg: {length}");
        }
        let forward = Sticks { pitch: -1.0, ..Sticks::CENTRED };
        let demand = pilot.fly(&mut State::Free, forward, &estimate::State::default());
        let Demand::Tilt { tilt: lean, .. } = demand else { panic!("sticks lead") };
        assert!((lean.forward - full).abs() < 1e-6 && lean.right == 0.0);
    }

    #[test]
    fn full_sticks_give_the_stated_rates_and_centred_ones_none() {
        let pilot = pilot(0.04, 0.3);
        let asked = |yaw, climb| {
            let sticks = Sticks { yaw, climb, ..Sticks::CENTRED };
            match pilot.fly(&mut State::Free, sticks, &estimate::State::default()) {
                Demand::Tilt { heading, vertical, .. } => (heading, vertical),
                other => panic!("{other:?}"),
            }
        };
        let (rate, climb) = (HeadingDemand::Rate, VerticalDemand::Climb);
        assert_eq!(asked(1.0, 1.0), (rate(1.5), climb(3.0)));
        assert_eq!(asked(-1.0, -1.0), (rate(-1.5), climb(-2.0)));
        // A climb of exactly 0 holds the height; so does a stick that is no number.
        assert_eq!(asked(0.03, -0.03), (rate(0.0), climb(0.0)));
        assert_eq!(asked(f32::NAN, f32::NAN), (rate(0.0), climb(0.0)));
    }

    #[test]
    fn centred_sticks_brake_then_hold_the_place_and_moving_one_lets_go() {
        let pilot = pilot(0.04, 0.3);
        let mut state = State::Free;
        let mut fly = |sticks, x, v| {
            let motion = known(Vector::new(x, 0.0, 0.0), Vector::new(v, 0.0, 0.0));
            (pilot.fly(&mut state, sticks, &motion), state)
        };
        let (demand, _) = fly(Sticks::CENTRED, 0.0, 4.0);
        assert!(matches!(demand, Demand::Velocity { velocity_m_s, .. } if velocity_m_s == Vector::ZERO));
        assert!(matches!(fly(Sticks::CENTRED, 3.0, 0.6).0, Demand::Velocity { .. }));
        // Below 0.5 m/s the place is kept, and stays the same while the craft is blown about.
        for x in [3.2, 3.4, 2.0] {
            let (demand, _) = fly(Sticks::CENTRED, x, if x == 3.2 { 0.4 } else { 1.5 });
            assert!(
                matches!(demand, Demand::Position { position_m, .. } if position_m.x() == 3.2),
                "{demand:?}"
            );
        }
        let moved = Sticks { roll: 0.3, ..Sticks::CENTRED };
        assert!(matches!(fly(moved, 2.0, 0.0), (Demand::Tilt { .. }, State::Free)));
        assert!(matches!(fly(Sticks::CENTRED, 9.0, 3.0).0, Demand::Velocity { .. }));
    }

    #[test]
    fn without_a_known_place_centred_sticks_level_the_craft() {
        let pilot = pilot(0.04, 0.3);
        let mut state = State::Holding(Vector::new(5.0, 5.0, 0.0));
        let demand = pilot.fly(&mut state, Sticks::CENTRED, &estimate::State::default());
        assert!(matches!(demand, Demand::Tilt { tilt: lean, .. } if lean == Tilt::LEVEL));
        assert_eq!(state, State::Free);
        let land = pilot.land(&mut state, &estimate::State::default());
        assert!(matches!(land, Demand::Tilt { vertical: VerticalDemand::Climb(climb), .. } if climb == -0.7));
    }
}
