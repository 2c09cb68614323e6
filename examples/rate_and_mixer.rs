//! Rate control with two parts of the crate and nothing else: a PID controller for each body axis and the
//! mixer.
//!
//! The craft is a rigid body whose rotors follow their thrusts with a time constant. At 0.1 s roll, pitch and
//! yaw rates are commanded together; at 0.6 s one rotor loses 20 % of its thrust, which the integrals
//! compensate.
//!
//! `cargo run --release --example rate_and_mixer`

use aplomb::frames::Vector;
use aplomb::mix::{Config, Geometry, QuadMixer, Wrench};
use aplomb::pid::{self, Pid};
use aplomb::{ConfigError, ROTORS, Rotors, Spin};

const TICK_S: f32 = 1e-3;
const INERTIA_KG_M2: [f32; 3] = [0.011, 0.012, 0.021];
const ROTOR_TIME_CONSTANT_S: f32 = 0.04;
const WEIGHT_N: f32 = 1.2 * aplomb::STANDARD_GRAVITY_M_S2;
/// Crossover of the loops in rad/s: roll, pitch, yaw.
const CROSSOVER_RAD_S: [f32; 3] = [30.0, 30.0, 10.0];

fn main() -> Result<(), ConfigError> {
    let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.014);
    let mixer = QuadMixer::new(&Config {
        geometry,
        min_thrust_n: 0.1,
        max_thrust_n: 6.5,
        allowance_down_n: WEIGHT_N,
        allowance_up_n: 0.5 * WEIGHT_N,
        reserved_yaw_share: 0.0,
    })?;
    // From angular acceleration to rate the craft is an integrator, so the gain is the crossover. The
    // derivative on the measured rate cancels the time constant of the rotors.
    let build = |crossover_rad_s: f32| {
        let config = pid::Config {
            integral_time_s: Some(6.0 / crossover_rad_s),
            derivative_time_s: ROTOR_TIME_CONSTANT_S / (1.0 + 1.0 / 8.0),
            derivative_filter_ratio: 8.0,
            ..pid::Config::proportional(crossover_rad_s, 500.0)
        };
        Pid::new(&config, TICK_S)
    };
    let [roll, pitch, yaw] = CROSSOVER_RAD_S;
    let pids = [build(roll)?, build(pitch)?, build(yaw)?];
    let mut states = [pid::State::new(); 3];

    let (mut rate_rad_s, mut thrust_n) = ([0.0f32; 3], Rotors::splat(WEIGHT_N / ROTORS as f32));
    println!("time s   roll    pitch   yaw rad/s   front left N");
    for tick in 0..=1200 {
        let setpoint = if tick >= 100 { [1.0, -0.5, 0.3] } else { [0.0; 3] };
        let mut demand_nm = [0.0f32; 3];
        for axis in 0..3 {
            let acceleration = pids[axis].step(&mut states[axis], setpoint[axis], rate_rad_s[axis], 0.0);
            demand_nm[axis] = INERTIA_KG_M2[axis] * acceleration;
        }
        let [x, y, z] = demand_nm;
        let wrench = Wrench { torque_nm: Vector::new(x, y, z), thrust_n: WEIGHT_N };
        let allocation = mixer.allocate(&wrench, 6.5);
        // Anti-windup: the torque that the rotors achieved.
        for (axis, torque_nm) in allocation.achieved.torque_nm.to_array().into_iter().enumerate() {
            pids[axis].achieved(&mut states[axis], torque_nm / INERTIA_KG_M2[axis]);
        }

        let mut target_n = allocation.thrust_n;
        target_n.front_left *= if tick >= 600 { 0.8 } else { 1.0 };
        let follow = TICK_S / (ROTOR_TIME_CONSTANT_S + TICK_S);
        thrust_n = thrust_n.zip(target_n).map(|(thrust, target)| thrust + follow * (target - thrust));
        let f = thrust_n;
        let torque_nm = [
            0.16 * (f.front_left + f.rear_left - f.front_right - f.rear_right),
            0.16 * (f.front_left + f.front_right - f.rear_left - f.rear_right),
            0.014 * (f.front_left + f.rear_right - f.front_right - f.rear_left),
        ];
        for axis in 0..3 {
            rate_rad_s[axis] += TICK_S * torque_nm[axis] / INERTIA_KG_M2[axis];
        }
        if tick % 100 == 0 {
            let [roll, pitch, yaw] = rate_rad_s;
            let time_s = tick as f32 * TICK_S;
            println!("{time_s:5.1}  {roll:7.3} {pitch:7.3} {yaw:7.3}      {:8.2}", thrust_n.front_left);
        }
        if tick == 599 || tick == 1200 {
            let error = |axis: usize| (rate_rad_s[axis] - setpoint[axis]).abs();
            assert!(error(0) < 0.05 && error(1) < 0.05 && error(2) < 0.05, "{rate_rad_s:?}");
        }
    }
    Ok(())
}
