//! Random frames, configurations and demands from fixed seeds.

use crate::Spin;
use crate::frames::Vector;
use crate::mix::{Arm, Config, Geometry, QuadMixer, Wrench};

/// A small generator with a fixed seed (SplitMix64; Steele, Lea, Flood 2014).
pub struct Random(pub u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn within(&mut self, low: f64, high: f64) -> f32 {
        (low + (high - low) * self.next()) as f32
    }

    pub fn one_in(&mut self, n: u64) -> bool {
        self.next() * (n as f64) < 1.0
    }
}

/// Kinds of frames.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Frame {
    /// Rotors at the corners of a rectangle about the centre of mass.
    Symmetric,
    /// Arms of unequal length and a centre of mass off the middle.
    General,
    /// Extremely uneven: trapezoids, parallelograms, kites, slim rectangles off the centre of mass, and
    /// rectangles that are symmetric except for a tiny difference.
    Uneven,
}

fn geometry(random: &mut Random, frame: Frame) -> Geometry {
    let spin = if random.one_in(2) { Spin::Clockwise } else { Spin::CounterClockwise };
    let kappa = random.within(0.008, 0.03);
    let (length, width) = (random.within(0.08, 0.3), random.within(0.08, 0.3));
    let mut geometry = Geometry::symmetric_x(length, width, spin, kappa);
    let moved = |geometry: &mut Geometry, dx: f32, dy: f32| {
        geometry.arms = geometry.arms.map(|arm| Arm { x_m: arm.x_m + dx, y_m: arm.y_m + dy, ..arm });
    };
    match frame {
        Frame::Symmetric => {}
        Frame::General => {
            geometry.arms = geometry.arms.map(|arm| Arm {
                x_m: arm.x_m * random.within(0.75, 1.25),
                y_m: arm.y_m * random.within(0.75, 1.25),
                ..arm
            });
            moved(&mut geometry, random.within(-0.3, 0.3) * length, random.within(-0.3, 0.3) * width);
        }
        Frame::Uneven => {
            let arms = &mut geometry.arms;
            match (random.within(0.0, 5.0)) as u32 {
                0 => {
                    // Trapezoid: the front is narrower or wider.
                    let narrow = random.within(0.4, 1.6);
                    (arms.front_left.y_m, arms.front_right.y_m) = (-narrow * width, narrow * width);
                }
                1 => {
                    // Parallelogram: the left side is further forward.
                    let ahead = random.within(-0.5, 0.5) * length;
                    arms.front_left.x_m += ahead;
                    arms.rear_left.x_m += ahead;
                }
                2 => arms.rear_right.y_m *= random.within(0.5, 1.6),
                3 => {
                    // H: four times as long as wide, the centre of mass off the middle.
                    let slim = Geometry::symmetric_x(4.0 * width, width, spin, kappa);
                    *arms = slim.arms;
                }
                _ => {
                    let hair = random.within(-4.0, -2.0);
                    arms.front_left.x_m *= 1.0 + 10f32.powf(hair);
                }
            }
            if random.one_in(2) {
                moved(&mut geometry, random.within(-0.2, 0.2) * length, random.within(-0.2, 0.2) * width);
            }
        }
    }
    geometry
}

fn allowance(random: &mut Random, whole: f64) -> f32 {
    if random.one_in(3) {
        whole as f32
    } else if random.one_in(4) {
        0.0
    } else {
        random.within(0.0, 0.5 * whole)
    }
}

/// A valid configuration, and a ceiling.
pub fn config(random: &mut Random, frame: Frame, reserved: bool) -> (Config, f32) {
    loop {
        let geometry = geometry(random, frame);
        let max_thrust_n = random.within(3.0, 9.0);
        let high = f64::from(max_thrust_n);
        let min_thrust_n = if random.one_in(2) {
            0.0
        } else if random.one_in(20) {
            // Almost no range.
            random.within(0.9 * high, 0.998 * high)
        } else {
            random.within(0.0, 0.1 * high)
        };
        let config = Config {
            geometry,
            min_thrust_n,
            max_thrust_n,
            allowance_down_n: allowance(random, 4.0 * high),
            allowance_up_n: allowance(random, 4.0 * high),
            reserved_yaw_share: if reserved { random.within(0.001, 0.5) } else { 0.0 },
        };
        let low = f64::from(min_thrust_n) + 0.4 * (high - f64::from(min_thrust_n));
        let ceiling_n = if random.one_in(2) { max_thrust_n } else { random.within(low, high) };
        let level_at = |ceiling_n| QuadMixer::new(&Config { max_thrust_n: ceiling_n, ..config }).is_ok();
        if QuadMixer::new(&config).is_ok() && level_at(ceiling_n) {
            return (config, ceiling_n);
        }
    }
}

/// A demand, mostly beyond the limits; one in ten on their edge.
pub fn demand(random: &mut Random, config: &Config, ceiling_n: f32) -> Wrench {
    let (high, reach) = (f64::from(ceiling_n), f64::from(config.geometry.reach_m()));
    let torque = 2.5 * high * reach;
    let yaw = 3.0 * high * f64::from(config.geometry.torque_to_thrust_m);
    let mut torque_nm =
        [random.within(-torque, torque), random.within(-torque, torque), random.within(-yaw, yaw)];
    for axis in &mut torque_nm {
        if random.one_in(7) {
            *axis = 0.0;
        } else if random.one_in(2) {
            *axis *= 0.2;
        }
    }
    let [x, y, z] = torque_nm;
    let demand = Wrench { torque_nm: Vector::new(x, y, z), thrust_n: random.within(-0.1 * high, 4.3 * high) };
    if random.one_in(10) {
        QuadMixer::new(config).unwrap().allocate(&demand, ceiling_n).achieved
    } else {
        demand
    }
}
