//! Margins of the loops with their derived gains, from the loops themselves: small sines go into each step
//! function and the fundamental of its output is the response. Only the craft is a transfer function, in
//! `f64`.
//!
//! At least 6 dB and 45 deg, one loop broken at a time: SAE AS94900 (after MIL-F-9490D, table III). Peak
//! sensitivity at most 2: K. J. Astrom, T. Hagglund, Advanced PID Control (ISA, 2006), section 4.5 (1.4 to 2
//! is usual).

use std::f64::consts::{PI, TAU};

use aplomb::control::attitude::AttitudeController;
use aplomb::control::position::PositionController;
use aplomb::control::rate::{RateController, RateSetpoint};
use aplomb::control::thrust_vector::ThrustVector;
use aplomb::control::velocity::VelocityController;
use aplomb::control::vertical::VerticalController;
use aplomb::filter::{Biquad, BiquadState, NotchBank, NotchBankConfig};
use aplomb::flight::{Airframe, Config, NotchConfig};
use aplomb::frames::{Attitude, Heading, Horizontal, Vector};
use aplomb::mix::Geometry;
use aplomb::{Libm, PositionSetpoint, Rotors, Spin, VerticalDemand};
use num_complex::Complex64 as Complex;

const J: Complex = Complex::new(0.0, 1.0);

fn tick_s(config: &Config) -> f64 {
    1.0 / f64::from(config.tick_hz)
}

/// Periods of the attitude and of the velocity loop in s.
fn periods_s(config: &Config) -> [f64; 2] {
    [config.attitude_divider, config.velocity_divider].map(|divider| f64::from(divider) * tick_s(config))
}

/// From a sample to the voltage at the motors, without the hold: the mean over half a tick, the computation,
/// the speed controllers.
fn delay_s(airframe: &Airframe, config: &Config) -> f64 {
    1.5 * tick_s(config) + f64::from(airframe.speed_controller_delay_s)
}

fn airframe(rotor_time_constant_s: f32, speed_controller_delay_s: f32) -> Airframe {
    let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    let airframe = Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5);
    Airframe { rotor_time_constant_s, speed_controller_delay_s, ..airframe }
}

/// Rotor time constant and speed controllers' delay in s: a light, the demo's and a slow drive.
const DRIVES: [(f32, f32); 3] = [(0.02, 0.0005), (0.04, 0.001), (0.06, 0.0025)];

/// Frequencies whose period is a whole number of steps of `period_s`, a multiple of `multiple`, in rising
/// order.
fn frequencies(period_s: f64, multiple: u32, lowest_rad_s: f64) -> Vec<(u32, f64)> {
    let longest = TAU / (lowest_rad_s * period_s) / f64::from(multiple);
    let mut steps: Vec<u32> = (0..120)
        .map(|i| multiple * (longest * (2.0 / longest).powf(f64::from(i) / 119.0)).round() as u32)
        .collect();
    steps.dedup();
    steps.iter().map(|n| (*n, TAU / (f64::from(*n) * period_s))).collect()
}

/// Response of `step` to a sine of `n` steps a period: the fundamental of what it gives for sin and cos, over
/// two periods after `settle` steps.
fn response(n: u32, settle: u32, mut step: impl FnMut(f64, f64) -> f64) -> Complex {
    let skip = settle.div_ceil(n) * n;
    let mut sum = Complex::new(0.0, 0.0);
    for k in 0..skip + 2 * n {
        let phase = TAU * f64::from(k % n) / f64::from(n);
        let (sin, cos) = phase.sin_cos();
        let out = step(sin, cos);
        if k >= skip {
            // A sine of phase p sums up to (n/2) exp(j p).
            sum += Complex::new(out * sin, out * cos);
        }
    }
    sum / f64::from(n)
}

/// Holding for `period_s`, and a delay.
fn held(w: f64, period_s: f64, delay_s: f64) -> Complex {
    (1.0 - (-J * w * period_s).exp()) / (J * w * period_s) * (-J * w * delay_s).exp()
}

#[derive(Debug)]
struct Margins {
    gain_db: f64,
    phase_deg: f64,
    peak_sensitivity: f64,
    crossover_rad_s: f64,
}

/// Margins of an open loop given at rising frequencies, by interpolation between them.
fn margins(open: &[(f64, Complex)]) -> Margins {
    let mut found = Margins {
        gain_db: f64::INFINITY,
        phase_deg: f64::INFINITY,
        peak_sensitivity: 0.0,
        crossover_rad_s: 0.0,
    };
    for pair in open.windows(2) {
        let [(w0, a), (w1, b)] = pair else { continue };
        // Between two frequencies gain and phase go in straight lines over the logarithm of the frequency.
        let turn = (b / a).arg();
        for i in 0..50 {
            let at = |i: f64| {
                let t = i / 50.0;
                let size = a.norm() * (b.norm() / a.norm()).powf(t);
                (w0 * (w1 / w0).powf(t), Complex::from_polar(size, a.arg() + t * turn))
            };
            let ((w, l), (_, next)) = (at(f64::from(i)), at(f64::from(i + 1)));
            found.peak_sensitivity = found.peak_sensitivity.max((1.0 + l).inv().norm());
            if l.norm() >= 1.0 && next.norm() < 1.0 {
                found.phase_deg = found.phase_deg.min(180.0 - l.arg().abs().to_degrees());
                found.crossover_rad_s = w;
            }
            if l.im < 0.0 && next.im >= 0.0 && l.re < 0.0 {
                found.gain_db = found.gain_db.min(-20.0 * l.norm().log10());
            }
        }
    }
    found
}

fn hold(name: &str, open: &[(f64, Complex)]) -> Margins {
    let margins = margins(open);
    println!(
        "{name}: {:.1} dB, {:.1} deg, Ms {:.2}, crossover {:.1} rad/s",
        margins.gain_db, margins.phase_deg, margins.peak_sensitivity, margins.crossover_rad_s
    );
    // Without a crossover there is no phase margin.
    assert!(margins.crossover_rad_s > 0.0 && margins.phase_deg.is_finite(), "{name}: {margins:?}");
    margins
}

fn assert_good(name: &str, open: &[(f64, Complex)]) {
    let margins = hold(name, open);
    assert!(margins.gain_db >= 6.0, "{name}: {margins:?}");
    assert!(margins.phase_deg >= 45.0, "{name}: {margins:?}");
    assert!(margins.peak_sensitivity <= 2.0, "{name}: {margins:?}");
}

/// The notches on the gyro's way, with all rotors at hover speed.
fn notches(config: &Config) -> NotchBank {
    let NotchConfig { bandwidth_hz, harmonic, lowest_hz, highest_hz, hover_speed_rad_s } = config.notch;
    let bank = NotchBankConfig { bandwidth_hz, harmonic, lowest_hz, highest_hz };
    let mut notches = NotchBank::new(&bank, tick_s(config) as f32).unwrap();
    notches.follow(Rotors::splat(hover_speed_rad_s));
    notches
}

/// Torque in N m about `axis` for a body rate and an angle about it, each of amplitude 1e-3, through the
/// attitude controller (when `angle` is not 0), the gyro filters and the rate controller.
fn torque_response(config: &Config, axis: usize, n: u32, rate: f64, angle: f64) -> Complex {
    let size = 1e-3;
    let mut rate_controller = RateController::new(&config.rate, tick_s(config) as f32).unwrap();
    let mut attitude_controller =
        AttitudeController::<Libm>::new(&config.attitude, periods_s(config)[0] as f32).unwrap();
    let low_pass = Biquad::low_pass(config.gyro_cutoff_hz, tick_s(config) as f32).unwrap();
    let mut low_pass_state = BiquadState::new();
    let mut notches = notches(config);
    let mut setpoint = RateSetpoint::default();
    let mut tick = 0;
    let along = |x: f64| {
        let mut v = [0.0f32; 3];
        v[axis] = x as f32;
        v
    };
    response(n, 3000, |sin, _| {
        setpoint = if angle != 0.0 && tick % config.attitude_divider == 0 {
            let [roll, pitch, yaw] = along(size * angle * sin);
            let attitude = Attitude::from_angles::<Libm>(roll, pitch, yaw);
            // The first call finds the sine at 0 and starts the reference level.
            attitude_controller.step(Attitude::LEVEL, attitude, Vector::ZERO).rate_setpoint
        } else {
            setpoint.after(tick_s(config) as f32)
        };
        tick += 1;
        let [gx, gy, gz] = along(size * rate * sin);
        let gyro = notches.step(Vector::new(gx, gy, gz)).to_array()[axis];
        let [wx, wy, wz] = along(f64::from(low_pass.step(&mut low_pass_state, gyro)));
        let torque = rate_controller.step(&setpoint, Vector::new(wx, wy, wz));
        rate_controller.achieved(torque);
        f64::from(torque.to_array()[axis])
    }) / size
}

/// Angle about `axis` for a torque demand of the controller: rotors, their reaction about yaw, inertia,
/// holding, delay.
fn angle_for_torque(
    airframe: &Airframe,
    config: &Config,
    axis: usize,
    w: f64,
    reaction_time_constant_s: f64,
) -> Complex {
    let inertia = airframe.inertia;
    let inertia = f64::from([inertia.roll_kg_m2, inertia.pitch_kg_m2, inertia.yaw_kg_m2][axis]);
    let lead = if axis == 2 { 1.0 + J * w * reaction_time_constant_s } else { Complex::from(1.0) };
    let rotors = lead / (1.0 + J * w * f64::from(airframe.rotor_time_constant_s));
    rotors * held(w, tick_s(config), delay_s(airframe, config)) / (inertia * (J * w).powu(2))
}

/// Open loops of `axis`: the rate loop alone; the attitude loop with the rate loop closed; both, broken at
/// the rotors.
fn rate_and_attitude_loops(airframe: &Airframe, config: &Config, axis: usize) -> [Vec<(f64, Complex)>; 3] {
    let lead = f64::from(Config::for_airframe(airframe).unwrap().rate.reaction_time_constant_s);
    let mut loops = [const { Vec::new() }; 3];
    for (n, w) in frequencies(tick_s(config), config.attitude_divider.into(), 1.0) {
        let from_rate = -torque_response(config, axis, n, 1.0, 0.0);
        let from_angle = -torque_response(config, axis, n, 0.0, 1.0);
        let craft = angle_for_torque(airframe, config, axis, w, lead);
        let inner = from_rate * J * w * craft;
        loops[0].push((w, inner));
        loops[1].push((w, from_angle * craft / (1.0 + inner)));
        loops[2].push((w, inner + from_angle * craft));
    }
    loops
}

#[test]
fn derived_rate_and_attitude_loops_have_6db_45deg_on_every_axis() {
    for (lag, delay) in DRIVES {
        let airframe = airframe(lag, delay);
        let config = Config::for_airframe(&airframe).unwrap();
        for (axis, axis_name) in ["roll", "pitch", "yaw"].into_iter().enumerate() {
            let loops = rate_and_attitude_loops(&airframe, &config, axis);
            for (open, name) in loops.iter().zip(["rate", "attitude", "broken at the rotors"]) {
                assert_good(&format!("lag {lag} s, {axis_name}, {name}"), open);
            }
        }
    }
}

#[test]
fn rate_loop_has_the_crossover_of_its_configuration() {
    let airframe = airframe(0.04, 0.001);
    let config = Config::for_airframe(&airframe).unwrap();
    for (axis, wanted) in [config.rate.roll, config.rate.pitch, config.rate.yaw].iter().enumerate() {
        let [rate, ..] = rate_and_attitude_loops(&airframe, &config, axis);
        let crossover = margins(&rate).crossover_rad_s / f64::from(wanted.crossover_rad_s);
        assert!((crossover - 1.0).abs() < 0.12, "axis {axis}: {crossover} of the configured crossover");
    }
}

#[test]
fn twins_with_too_much_gain_or_without_the_reaction_lag_have_no_margin() {
    let airframe = airframe(0.04, 0.001);
    let good = Config::for_airframe(&airframe).unwrap();
    let mut hot = good;
    hot.rate.roll.crossover_rad_s *= 4.0;
    let [rate, ..] = rate_and_attitude_loops(&airframe, &hot, 0);
    let margins_hot = hold("four times the gain", &rate);
    assert!(margins_hot.gain_db < 6.0 && margins_hot.phase_deg < 45.0);
    // Yaw torque leads by 1 + T s: without the lag that cancels it the gain at high frequency is T/lag times
    // as high.
    let mut bare = good;
    bare.rate.reaction_time_constant_s = 0.0;
    let [rate, ..] = rate_and_attitude_loops(&airframe, &bare, 2);
    let margins_bare = hold("yaw without the reaction lag", &rate);
    assert!(
        margins_bare.gain_db < 0.0 || margins_bare.phase_deg < 0.0 || margins_bare.peak_sensitivity > 10.0
    );
}

/// Tilt of the reference, as horizontal acceleration, for a small acceleration demand: the craft follows the
/// reference.
fn tilt_response(config: &Config, n: u32) -> Complex {
    let mut controller =
        AttitudeController::<Libm>::new(&config.attitude, periods_s(config)[0] as f32).unwrap();
    let thrust = ThrustVector::<Libm>::new(&config.thrust).unwrap();
    let mut attitude = Attitude::LEVEL;
    let size = 1e-2;
    response(n, 400, |sin, _| {
        let down = thrust.step(Vector::new((size * sin) as f32, 0.0, 0.0)).down;
        let setpoint = Attitude::from_down_and_heading::<Libm>(down, Heading::NORTH).unwrap();
        attitude = controller.step(setpoint, attitude, Vector::ZERO).reference;
        -9.80665 * f64::from(attitude.down_axis().x())
    }) / size
}

/// Acceleration north that position and velocity controller demand, for a position and a velocity of small
/// amplitude.
fn acceleration_response(config: &Config, n: u32, position: f64, speed: f64) -> Complex {
    let size = 1e-2;
    let outer = PositionController::<Libm>::new(&config.position).unwrap();
    let mut inner = VelocityController::<Libm>::new(&config.velocity, periods_s(config)[1] as f32).unwrap();
    let north = |x: f64| Horizontal::new((size * x) as f32, 0.0);
    response(n, 400, |sin, _| {
        let (position, velocity) = (north(position * sin), north(speed * sin));
        let setpoint = outer.step(&PositionSetpoint::default(), position, velocity).setpoint;
        let acceleration_m_s2 = inner.step(&setpoint, velocity).acceleration_m_s2;
        inner.achieved(acceleration_m_s2);
        f64::from(acceleration_m_s2.north)
    }) / size
}

/// Open loops: velocity alone (position error 0), position with the velocity loop closed, and both.
fn velocity_and_position_loops(config: &Config, delay_s: f64) -> [Vec<(f64, Complex)>; 3] {
    let mut loops = [const { Vec::new() }; 3];
    let [attitude_s, velocity_s] = periods_s(config);
    let attitude_steps = (velocity_s / attitude_s).round() as u32;
    for (n, w) in frequencies(velocity_s, 1, 0.05) {
        let craft = tilt_response(config, attitude_steps * n) * held(w, velocity_s, delay_s) / (J * w);
        let from_velocity = -acceleration_response(config, n, 0.0, 1.0);
        let from_position = -acceleration_response(config, n, 1.0, 0.0);
        let inner = from_velocity * craft;
        loops[0].push((w, inner));
        loops[1].push((w, from_position * craft / (J * w) / (1.0 + inner)));
        loops[2].push((w, inner + from_position * craft / (J * w)));
    }
    loops
}

#[test]
fn derived_velocity_and_position_loops_have_6db_45deg() {
    for (lag, delay) in DRIVES {
        let airframe = airframe(lag, delay);
        let config = Config::for_airframe(&airframe).unwrap();
        let loops = velocity_and_position_loops(&config, delay_s(&airframe, &config));
        for (open, name) in loops.iter().zip(["velocity", "position", "broken at the tilt"]) {
            assert_good(&format!("lag {lag} s, {name}"), open);
        }
    }
    let mut hot = Config::for_airframe(&airframe(0.04, 0.001)).unwrap();
    hot.velocity.crossover_rad_s *= 3.0;
    let [twin, ..] = velocity_and_position_loops(&hot, delay_s(&airframe(0.04, 0.001), &hot));
    let twin = hold("velocity with three times the gain", &twin);
    assert!(twin.phase_deg < 45.0);
}

/// Response of the commanded vertical acceleration to a height and a climb of small amplitude.
fn climb_response(config: &Config, n: u32, height: f64, climb: f64) -> Complex {
    let size = 1e-2;
    let range = ThrustVector::<Libm>::new(&config.thrust).unwrap().vertical_range_m_s2();
    let mut vertical =
        VerticalController::<Libm>::new(&config.vertical, range, periods_s(config)[1] as f32).unwrap();
    response(n, 400, |sin, _| {
        let (height, climb) = ((size * height * sin) as f32, (size * climb * sin) as f32);
        let up_m_s2 = vertical.step(VerticalDemand::Height(0.0), height, climb).up_m_s2;
        vertical.achieved(up_m_s2);
        f64::from(up_m_s2)
    }) / size
}

fn vertical_loops(config: &Config, lag_s: f64, delay_s: f64) -> [Vec<(f64, Complex)>; 3] {
    let mut loops = [const { Vec::new() }; 3];
    let [_, velocity_s] = periods_s(config);
    for (n, w) in frequencies(velocity_s, 1, 0.05) {
        let rotors = (1.0 + J * w * lag_s).inv();
        let craft = rotors * held(w, velocity_s, delay_s) / (J * w);
        let inner = -climb_response(config, n, 0.0, 1.0) * craft;
        let outer = -climb_response(config, n, 1.0, 0.0) * craft / (J * w);
        loops[0].push((w, inner));
        loops[1].push((w, outer / (1.0 + inner)));
        loops[2].push((w, inner + outer));
    }
    loops
}

#[test]
fn derived_climb_and_height_loops_have_6db_45deg() {
    for (lag, delay) in DRIVES {
        let airframe = airframe(lag, delay);
        let config = Config::for_airframe(&airframe).unwrap();
        let loops = vertical_loops(&config, f64::from(lag), delay_s(&airframe, &config));
        for (open, name) in loops.iter().zip(["climb", "height", "broken at the thrust"]) {
            assert_good(&format!("lag {lag} s, {name}"), open);
        }
    }
    let mut hot = Config::for_airframe(&airframe(0.04, 0.001)).unwrap();
    hot.vertical.climb_crossover_rad_s *= 6.0;
    let [twin, ..] = vertical_loops(&hot, 0.04, 0.0025);
    let twin = hold("climb with six times the gain", &twin);
    assert!(twin.phase_deg < 45.0);
}

#[test]
fn measurement_gives_the_margins_of_a_known_loop() {
    // An integrator of 10/s with 50 ms of dead time: 61.4 deg and 9.94 dB in closed form; a low-pass at 10 Hz
    // measured through its step function has the exact response of its recursion.
    let open: Vec<_> = frequencies(1e-3, 1, 1.0)
        .iter()
        .map(|(_, w)| (*w, 10.0 / (J * *w) * (-J * *w * 0.05).exp()))
        .collect();
    let found = margins(&open);
    assert!((found.phase_deg - (90.0 - (0.5f64).to_degrees())).abs() < 0.3, "{found:?}");
    assert!((found.gain_db - 20.0 * (PI / 2.0 / 0.5).log10()).abs() < 0.1, "{found:?}");
    let filter = aplomb::filter::LowPass::new(10.0, 1e-3).unwrap();
    let mut state = aplomb::filter::LowPassState::at(0.0);
    let measured = response(100, 500, |sin, _| f64::from(filter.step(&mut state, sin as f32)));
    let k = f64::from(filter.gain());
    let exact = k / (1.0 - (1.0 - k) * (-J * TAU / 100.0).exp());
    assert!((measured - exact).norm() < 1e-5, "{measured} {exact}");
}
