//! Every value of the configuration, in the order in which the block holds it.
//!
//! A structure that gains or loses a field does not compile until its list here is complete again; its layout
//! checksum then changes.

use super::crc::crc32;
use super::{Value, Visitor};
use crate::frames::{Frame, Vector};
use crate::{Rotors, Spin};

/// A value, or a structure of values, that a block can hold.
pub(super) trait Parameter: Sized {
    /// Size in a block in bytes; the same for every value.
    const SIZE: usize;
    /// Checksum of its names and kinds.
    const LAYOUT: u32;

    fn visit<V: Visitor>(&self, name: &'static str, visitor: &mut V);

    /// `None` for too few bytes or an invalid value.
    fn read(bytes: &mut Bytes<'_>) -> Option<Self>;
}

/// The bytes that are still to be read.
pub(super) struct Bytes<'a>(pub(super) &'a [u8]);

impl Bytes<'_> {
    pub(super) fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (first, rest) = self.0.split_first_chunk()?;
        self.0 = rest;
        Some(*first)
    }
}

impl Parameter for f32 {
    const SIZE: usize = 4;
    const LAYOUT: u32 = crc32(0, b"number");

    fn visit<V: Visitor>(&self, name: &'static str, visitor: &mut V) {
        visitor.value(name, Value::Number(*self));
    }

    fn read(bytes: &mut Bytes<'_>) -> Option<Self> {
        bytes.take().map(Self::from_le_bytes)
    }
}

impl Parameter for u16 {
    const SIZE: usize = 2;
    const LAYOUT: u32 = crc32(0, b"count");

    fn visit<V: Visitor>(&self, name: &'static str, visitor: &mut V) {
        visitor.value(name, Value::Count(*self));
    }

    fn read(bytes: &mut Bytes<'_>) -> Option<Self> {
        bytes.take().map(Self::from_le_bytes)
    }
}

impl Parameter for bool {
    const SIZE: usize = 1;
    const LAYOUT: u32 = crc32(0, b"flag");

    fn visit<V: Visitor>(&self, name: &'static str, visitor: &mut V) {
        visitor.value(name, Value::Flag(*self));
    }

    fn read(bytes: &mut Bytes<'_>) -> Option<Self> {
        match bytes.take()? {
            [0] => Some(false),
            [1] => Some(true),
            _ => None,
        }
    }
}

impl Parameter for Spin {
    const SIZE: usize = 1;
    const LAYOUT: u32 = crc32(0, b"spin");

    fn visit<V: Visitor>(&self, name: &'static str, visitor: &mut V) {
        visitor.value(name, Value::Spin(*self));
    }

    fn read(bytes: &mut Bytes<'_>) -> Option<Self> {
        match bytes.take()? {
            [0] => Some(Self::Clockwise),
            [1] => Some(Self::CounterClockwise),
            _ => None,
        }
    }
}

impl Parameter for Option<f32> {
    const SIZE: usize = bool::SIZE + f32::SIZE;
    const LAYOUT: u32 = crc32(0, b"number or none");

    fn visit<V: Visitor>(&self, name: &'static str, visitor: &mut V) {
        visitor.value(name, Value::Optional(*self));
    }

    fn read(bytes: &mut Bytes<'_>) -> Option<Self> {
        let known = bool::read(bytes)?;
        let number = f32::read(bytes)?;
        Some(known.then_some(number))
    }
}

impl<F: Frame> Parameter for Vector<F> {
    const SIZE: usize = 3 * f32::SIZE;
    const LAYOUT: u32 = crc32(0, b"vector");

    fn visit<V: Visitor>(&self, name: &'static str, visitor: &mut V) {
        visitor.value(name, Value::Vector(self.to_array()));
    }

    fn read(bytes: &mut Bytes<'_>) -> Option<Self> {
        Some(Self::new(f32::read(bytes)?, f32::read(bytes)?, f32::read(bytes)?))
    }
}

impl<T: Parameter> Parameter for Rotors<T> {
    const SIZE: usize = 4 * T::SIZE;
    const LAYOUT: u32 = crc32(T::LAYOUT, b"rotors");

    fn visit<V: Visitor>(&self, name: &'static str, visitor: &mut V) {
        visitor.begin(name, "crate::Rotors");
        self.front_left.visit("front_left", visitor);
        self.front_right.visit("front_right", visitor);
        self.rear_left.visit("rear_left", visitor);
        self.rear_right.visit("rear_right", visitor);
        visitor.end();
    }

    fn read(bytes: &mut Bytes<'_>) -> Option<Self> {
        Some(Self {
            front_left: T::read(bytes)?,
            front_right: T::read(bytes)?,
            rear_left: T::read(bytes)?,
            rear_right: T::read(bytes)?,
        })
    }
}

/// Lists the fields of a structure.
macro_rules! parameters {
    ($($path:path { $($field:ident: $kind:ty,)* })*) => {
        $(impl Parameter for $path {
            const SIZE: usize = 0 $(+ <$kind as Parameter>::SIZE)*;
            const LAYOUT: u32 = {
                let layout = 0;
                $(
                    let layout = crc32(layout, stringify!($field).as_bytes());
                    let layout = crc32(layout, &<$kind as Parameter>::LAYOUT.to_le_bytes());
                )*
                layout
            };

            fn visit<V: Visitor>(&self, name: &'static str, visitor: &mut V) {
                visitor.begin(name, stringify!($path));
                $(self.$field.visit(stringify!($field), visitor);)*
                visitor.end();
            }

            fn read(bytes: &mut Bytes<'_>) -> Option<Self> {
                Some(Self { $($field: Parameter::read(bytes)?,)* })
            }
        })*
    };
}

parameters! {
    crate::flight::Config {
        tick_hz: f32,
        attitude_divider: u16,
        velocity_divider: u16,
        idle_command: f32,
        air_density_kg_m3: f32,
        wind_share: f32,
        imu_delay_s: f32,
        gyro_cutoff_hz: f32,
        mix: crate::mix::Config,
        thrust_curve: crate::mix::ThrustCurveConfig,
        estimate: crate::estimate::Config,
        notch: crate::flight::NotchConfig,
        rate: crate::control::rate::Config,
        attitude: crate::control::attitude::Config,
        thrust: crate::control::thrust_vector::Config,
        vertical: crate::control::vertical::Config,
        velocity: crate::control::velocity::Config,
        position: crate::control::position::Config,
        pilot: crate::pilot::Config,
        guard: crate::guard::Config,
    }
    crate::mix::Config {
        geometry: crate::mix::Geometry,
        min_thrust_n: f32,
        max_thrust_n: f32,
        allowance_down_n: f32,
        allowance_up_n: f32,
        reserved_yaw_share: f32,
    }
    crate::mix::Geometry {
        arms: Rotors<crate::mix::Arm>,
        torque_to_thrust_m: f32,
    }
    crate::mix::Arm {
        x_m: f32,
        y_m: f32,
        spin: Spin,
    }
    crate::mix::ThrustCurveConfig {
        max_thrust_n: f32,
        reference_voltage_v: f32,
        back_emf_share: f32,
        lowest_voltage_v: f32,
        highest_voltage_v: f32,
        voltage_filter_s: f32,
    }
    crate::estimate::Config {
        attitude: crate::estimate::attitude::Config,
        vertical: crate::estimate::vertical::Config,
        horizontal: crate::estimate::horizontal::Config,
        imu_position_m: Vector<crate::frames::Body>,
        imu_max_age_s: f32,
        max_sample_age_s: f32,
        rotor_drag_per_s: Option<f32>,
    }
    crate::estimate::attitude::Config {
        tilt_time_constant_s: f32,
        initial_tilt_time_constant_s: f32,
        bias_time_constant_s: f32,
        initial_bias_time_constant_s: f32,
        max_gyro_bias_rad_s: f32,
        heading_time_constant_s: f32,
        heading_bias_time_constant_s: f32,
        declination_rad: f32,
    }
    crate::estimate::vertical::Config {
        barometer: crate::estimate::vertical::HeightNoise,
        gnss: crate::estimate::vertical::HeightNoise,
        bias_random_walk_m_s2_rts: f32,
        gate_m: f32,
        gate_growth_m_s: f32,
        timeout_s: f32,
        home_temperature_k: f32,
    }
    crate::estimate::vertical::HeightNoise {
        white_noise_m: f32,
        interval_s: f32,
    }
    crate::estimate::horizontal::Config {
        interval_s: f32,
        position_white_noise_m: f32,
        velocity_white_noise_m_s: f32,
        bias_random_walk_m_s2_rts: f32,
        position_gate_m: f32,
        velocity_gate_m_s: f32,
        gate_growth_m_s2: f32,
        max_accuracy_m: f32,
        timeout_s: f32,
    }
    crate::flight::NotchConfig {
        bandwidth_hz: f32,
        harmonic: f32,
        lowest_hz: f32,
        highest_hz: f32,
        hover_speed_rad_s: f32,
    }
    crate::control::rate::Config {
        roll: crate::control::rate::Axis,
        pitch: crate::control::rate::Axis,
        yaw: crate::control::rate::Axis,
        derivative_filter_ratio: f32,
        inertia: crate::control::rate::Inertia,
        gyroscopic: bool,
        reaction_time_constant_s: f32,
    }
    crate::control::rate::Axis {
        crossover_rad_s: f32,
        integral_time_s: f32,
        derivative_time_s: f32,
        acceleration_limit_rad_s2: f32,
    }
    crate::control::rate::Inertia {
        roll_kg_m2: f32,
        pitch_kg_m2: f32,
        yaw_kg_m2: f32,
        forward_right_kg_m2: f32,
        forward_down_kg_m2: f32,
        right_down_kg_m2: f32,
    }
    crate::control::attitude::Config {
        tilt: crate::control::attitude::Part,
        heading: crate::control::attitude::Part,
        reference_damping: f32,
        rotor_time_constant_s: f32,
    }
    crate::control::attitude::Part {
        crossover_rad_s: f32,
        reference_bandwidth_rad_s: f32,
        rate_limit_rad_s: f32,
        acceleration_limit_rad_s2: f32,
    }
    crate::control::thrust_vector::Config {
        mass_kg: f32,
        tilt_limit_rad: f32,
        min_thrust_n: f32,
        max_thrust_n: f32,
    }
    crate::control::vertical::Config {
        climb_crossover_rad_s: f32,
        climb_integral_time_s: f32,
        height_crossover_rad_s: f32,
        climb_limit_m_s: f32,
        descent_limit_m_s: f32,
        acceleration_m_s2: f32,
    }
    crate::control::velocity::Config {
        crossover_rad_s: f32,
        integral_time_s: f32,
        speed_limit_m_s: f32,
        acceleration_m_s2: f32,
        output_limit_m_s2: f32,
    }
    crate::control::position::Config {
        crossover_rad_s: f32,
        braking_m_s2: f32,
        speed_limit_m_s: f32,
    }
    crate::pilot::Config {
        dead_band: f32,
        expo: f32,
        full_stick_tilt_rad: f32,
        full_stick_roll_pitch_rate_rad_s: f32,
        full_stick_yaw_rate_rad_s: f32,
        full_stick_climb_m_s: f32,
        full_stick_descent_m_s: f32,
        hold_below_m_s: f32,
        landing_speed_m_s: f32,
    }
    crate::guard::Config {
        arming_tilt_rad: f32,
        arming_rate_rad_s: f32,
        arming_stick: f32,
        imu_hold_s: f32,
        link_hold_s: f32,
        link_land_s: f32,
        low_battery_v: f32,
        low_battery_s: f32,
        tip_over_tilt_rad: f32,
        tip_over_s: f32,
        landed_thrust_share: f32,
        landed_climb_m_s: f32,
        landed_s: f32,
    }
}
