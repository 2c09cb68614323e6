//! Test bench of the estimator: a point mass that flies legs and turns in `f64`, and its imperfect sensors.

use aplomb::frames::{Body, Vector};
use aplomb::{GnssFix, ImuSample, Sample, Sensors};

pub const G: f64 = 9.80665;
pub const DT: f64 = 1e-3;

type Triple = [f64; 3];

/// Where a flight starts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Start {
    /// On the ground, stationary for 20 s.
    Ground,
    /// In the air without initialisation; 30 s of hover.
    Air,
}

/// Trajectory.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Flight {
    /// Legs: 3 s of this acceleration in m/s2, 3 s of the opposite one, 2 s of hover; then the next leg, 90
    /// deg to the right.
    Legs(f64),
    /// A circle of 8 m radius with this centripetal acceleration in m/s2.
    Turns(f64),
    /// Hover.
    Hover,
}

/// Errors of the sensors; m/s2, rad/s.
#[derive(Clone, Copy, Debug)]
pub struct Errors {
    pub accel_bias: Triple,
    pub gyro_bias: Triple,
    /// Standard deviation of the vibration, tones between 80 and 200 Hz on each axis.
    pub accel_vibration: f64,
    pub gyro_vibration: f64,
    pub gnss: bool,
    pub field: bool,
    pub seed: u64,
}

impl Errors {
    pub const NONE: Self = Self {
        accel_bias: [0.0; 3],
        gyro_bias: [0.0; 3],
        accel_vibration: 0.0,
        gyro_vibration: 0.0,
        gnss: false,
        field: false,
        seed: 1,
    };
}

/// Uniform and normal numbers from a seed (G. Marsaglia's xorshift, J. Stat. Softw. 8(14), 2003).
struct Random(u64);

impl Random {
    fn uniform(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

/// Three tones per axis.
struct Vibration([[(f64, f64); 3]; 6]);

impl Vibration {
    fn new(random: &mut Random) -> Self {
        let mut tone = || (80.0 + 120.0 * random.uniform(), std::f64::consts::TAU * random.uniform());
        Self(std::array::from_fn(|_| std::array::from_fn(|_| tone())))
    }

    /// Value with a standard deviation of 1.
    fn at(&self, axis: usize, t: f64) -> f64 {
        let sum: f64 =
            self.0[axis].iter().map(|(hz, phase)| (std::f64::consts::TAU * hz * t + phase).sin()).sum();
        sum * (2.0f64 / 3.0).sqrt()
    }
}

/// The craft in flight. [`Craft::tick`] advances it and returns its sensors' samples.
pub struct Craft {
    flight: Flight,
    start: Start,
    errors: Errors,
    random: Random,
    vibration: Vibration,
    t: f64,
    acceleration: Triple,
    velocity: Triple,
    position: Triple,
    /// Rows: the body's forward, right and down axis in the world.
    axes: [Triple; 3],
    /// Positions and velocities up to the delay of GNSS ago.
    past: std::collections::VecDeque<(Triple, Triple)>,
    ticks: u32,
}

/// Drag of the rotors over mass in 1/s.
pub const DRAG_PER_S: f64 = 0.25;
/// Delay of GNSS in ticks and the ticks between fixes.
const DELAY: usize = 200;
const INTERVAL: u32 = 200;

impl Craft {
    pub fn new(flight: Flight, start: Start, errors: Errors) -> Self {
        let mut random = Random(errors.seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        (0..8).for_each(|_| {
            random.uniform();
        });
        let vibration = Vibration::new(&mut random);
        Self {
            flight,
            start,
            errors,
            random,
            vibration,
            t: 0.0,
            acceleration: [0.0; 3],
            velocity: [0.0; 3],
            position: [0.0; 3],
            axes: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
            past: std::collections::VecDeque::new(),
            ticks: 0,
        }
    }

    /// Start of the trajectory in s.
    pub fn begins_s(&self) -> f64 {
        if self.start == Start::Ground { 20.0 } else { 30.0 }
    }

    pub fn airborne(&self) -> bool {
        self.start == Start::Air || self.t >= self.begins_s()
    }

    fn acceleration_setpoint(&self) -> Triple {
        let legs = |a: f64, t: f64| {
            let (leg, within) = ((t / 8.0) as u32, t % 8.0);
            let along = if within < 3.0 {
                a
            } else if within < 6.0 {
                -a
            } else {
                0.0
            };
            let (s, c) = (f64::from(leg) * std::f64::consts::FRAC_PI_2).sin_cos();
            [along * c, along * s, 0.0]
        };
        let t = self.t - self.begins_s();
        match self.flight {
            _ if t < 0.0 => [0.0; 3],
            Flight::Legs(a) => legs(a, t),
            Flight::Turns(a) => {
                // Up to speed first.
                let speed_up_s = (8.0 / a).sqrt();
                let angle = (a / 8.0).sqrt() * (t - speed_up_s);
                if angle < 0.0 { [a, 0.0, 0.0] } else { [-a * angle.sin(), a * angle.cos(), 0.0] }
            }
            Flight::Hover => [0.0; 3],
        }
    }

    /// Thrust points along the specific force that is not drag; the nose stays north.
    fn attitude(&self) -> [Triple; 3] {
        let specific_force = [self.acceleration[0], self.acceleration[1], self.acceleration[2] - G];
        let thrust: Triple = std::array::from_fn(|i| specific_force[i] + DRAG_PER_S * self.velocity[i]);
        let down = unit(thrust.map(|x| -x));
        let right = unit(cross(down, [1.0, 0.0, 0.0]));
        [cross(right, down), right, down]
    }

    pub fn tick(&mut self) -> Sensors<1> {
        self.t += DT;
        self.ticks += 1;
        // The acceleration follows with a time constant of 0.15 s.
        let acceleration_setpoint = self.acceleration_setpoint();
        for (a, setpoint) in self.acceleration.iter_mut().zip(acceleration_setpoint) {
            *a += (setpoint - *a) * DT / 0.15;
        }
        for i in 0..3 {
            self.position[i] += self.velocity[i] * DT + 0.5 * self.acceleration[i] * DT * DT;
            self.velocity[i] += self.acceleration[i] * DT;
        }
        let before = self.axes;
        if self.airborne() {
            self.axes = self.attitude();
        }
        // Small rotation between the two: half the skew part of before' now.
        let between = |i: usize, j: usize| dot(before[i], self.axes[j]);
        let turn =
            [between(2, 1) - between(1, 2), between(0, 2) - between(2, 0), between(1, 0) - between(0, 1)];
        let force = [self.acceleration[0], self.acceleration[1], self.acceleration[2] - G];
        let vibrates = if self.airborne() { 1.0 } else { 0.0 };
        let mut specific_force = [0.0; 3];
        let mut rate = [0.0; 3];
        for i in 0..3 {
            let drift = 0.2f64.to_radians() * (self.t * 0.05 + i as f64).sin();
            let bias = self.errors.gyro_bias[i];
            rate[i] = 0.5 * turn[i] / DT
                + bias
                + if bias == 0.0 { 0.0 } else { drift }
                + vibrates * self.errors.gyro_vibration * self.vibration.at(i, self.t);
            specific_force[i] = dot(before[i], force)
                + self.errors.accel_bias[i]
                + vibrates * self.errors.accel_vibration * self.vibration.at(i + 3, self.t);
        }
        let mut sensors =
            Sensors::from_imu(ImuSample::from_rates(narrow(rate), narrow(specific_force), DT as f32));
        if self.errors.field && self.ticks.is_multiple_of(20) {
            // Dip 65 deg, 0.5 uT of noise.
            let field = [20.0, 0.0, 43.0];
            let field: Triple = std::array::from_fn(|i| dot(before[i], field) + 0.5 * self.random.normal());
            sensors.magnetic_field_ut = Some(Sample { value: narrow(field), age_us: 0 });
        }
        self.past.push_front((self.position, self.velocity));
        self.past.truncate(DELAY + 1);
        if self.errors.gnss && self.ticks.is_multiple_of(INTERVAL) && self.past.len() > DELAY {
            let (position, velocity) = self.past[DELAY];
            let mut noisy = |x: f64, sigma: f64| x + sigma * self.random.normal();
            let position = position.map(|x| noisy(x, 0.3));
            let velocity = velocity.map(|x| noisy(x, 0.1));
            let value = GnssFix {
                position_m: narrow(position),
                velocity_m_s: narrow(velocity),
                horizontal_accuracy_m: 1.0,
                vertical_accuracy_m: 1.0,
                horizontal_velocity_accuracy_m_s: 0.2,
                vertical_velocity_accuracy_m_s: 0.2,
            };
            sensors.gnss = Some(Sample { value, age_us: 1000 * DELAY as u32 });
        }
        sensors
    }

    /// The angle in deg between the true vertical and that of `estimate`, both seen from the body.
    pub fn tilt_error_deg(&self, estimate: aplomb::frames::Attitude) -> f64 {
        let down: Vector<Body> = estimate.to_body(Vector::new(0.0, 0.0, 1.0));
        let down = down.to_array().map(f64::from);
        let truth = self.axes.map(|axis| axis[2]);
        let sine = cross(down, truth);
        dot(sine, sine).sqrt().atan2(dot(down, truth)).to_degrees()
    }
}

fn narrow<F: aplomb::frames::Frame>([x, y, z]: Triple) -> Vector<F> {
    Vector::new(x as f32, y as f32, z as f32)
}

fn dot(a: Triple, b: Triple) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

fn cross(a: Triple, b: Triple) -> Triple {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

fn unit(a: Triple) -> Triple {
    let n = dot(a, a).sqrt();
    a.map(|x| x / n)
}
