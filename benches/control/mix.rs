//! Torque and thrust to four thrusts, from demands well inside to far outside what the rotors can do, and
//! thrust to motor command. `benches/peers` compares the mixer with a general solver.

use aplomb::frames::Vector;
use aplomb::mix::{Arm, Config, Geometry, QuadMixer, ThrustCurve, Wrench};
use aplomb::{MotorCommand, Rotors, Spin};
use criterion::Criterion;

use super::inputs::{group, measure, rows};

mod kernel {
    use super::*;
    use crate::inputs::{Rows, each};

    #[inline(never)]
    pub fn mix_symmetric_aplomb(mixer: &mut QuadMixer, rows: &Rows<Wrench>) -> f32 {
        each(rows, |demand| mixer.allocate(demand, 6.5).thrust_n.front_left)
    }

    #[inline(never)]
    pub fn mix_general_aplomb(mixer: &mut QuadMixer, rows: &Rows<Wrench>) -> f32 {
        each(rows, |demand| mixer.allocate(demand, 6.5).thrust_n.rear_right)
    }

    #[inline(never)]
    pub fn mix_thrust_curve_aplomb(curve: &mut ThrustCurve, rows: &Rows<Wrench>) -> f32 {
        each(rows, |demand| curve.command(0.25 * demand.thrust_n, MotorCommand::STOPPED).get())
    }
}

fn demand(row: usize, [roll, pitch, yaw, thrust]: [f32; 4]) -> Wrench {
    let size = 0.02 * (1 << (row % 8)) as f32;
    Wrench {
        torque_nm: Vector::new(roll * size, pitch * size, 0.3 * yaw * size),
        thrust_n: 13.0 + 15.0 * thrust,
    }
}

pub fn mix(c: &mut Criterion) {
    let symmetric = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.014);
    let general = Geometry {
        arms: Rotors { front_left: Arm { x_m: 0.18, ..symmetric.arms.front_left }, ..symmetric.arms },
        ..symmetric
    };
    let mixer = |geometry| {
        let config = Config {
            geometry,
            min_thrust_n: 0.3,
            max_thrust_n: 6.5,
            allowance_down_n: 4.0,
            allowance_up_n: 6.0,
            reserved_yaw_share: 0.0,
        };
        QuadMixer::new(&config).expect("valid")
    };
    let inputs = rows(demand);
    let mut group = group(c, "mix");
    measure(&mut group, "symmetric_aplomb", mixer(symmetric), &inputs, kernel::mix_symmetric_aplomb);
    measure(&mut group, "general_aplomb", mixer(general), &inputs, kernel::mix_general_aplomb);
    let config = aplomb_harness::input::demo_controller().expect("the demo is read");
    let curve: ThrustCurve = ThrustCurve::new(&config.thrust_curve, 1e-3).expect("valid");
    measure(&mut group, "thrust_curve_aplomb", curve, &inputs, kernel::mix_thrust_curve_aplomb);
    group.finish();
}
