//! One step of each loop, with the gains of the built-in demo. There is no general-purpose crate for
//! comparison.

use aplomb::control::{attitude, position, rate, thrust_vector, velocity, vertical};
use aplomb::frames::{Attitude, Heading, Horizontal, Vector};
use aplomb::{Libm, PositionSetpoint, VelocitySetpoint, VerticalDemand};
use criterion::Criterion;

use super::inputs::{group, measure, rows};

mod kernel {
    use super::*;
    use crate::inputs::{Rows, each};

    pub type Three = [f32; 3];

    #[inline(never)]
    pub fn loops_position_aplomb(outer: &mut position::PositionController<Libm>, rows: &Rows<Three>) -> f32 {
        each(rows, |&[x, y, v]| {
            let setpoint = PositionSetpoint::at(Horizontal::new(40.0 * x, 40.0 * y));
            outer.step(&setpoint, Horizontal::ZERO, Horizontal::new(v, -v)).setpoint.velocity_m_s.north
        })
    }

    #[inline(never)]
    pub fn loops_velocity_aplomb(inner: &mut velocity::VelocityController<Libm>, rows: &Rows<Three>) -> f32 {
        each(rows, |&[x, y, v]| {
            let setpoint = VelocitySetpoint::constant(Horizontal::new(10.0 * x, 10.0 * y));
            let acceleration_m_s2 = inner.step(&setpoint, Horizontal::new(v, -v)).acceleration_m_s2;
            inner.achieved(acceleration_m_s2);
            acceleration_m_s2.north
        })
    }

    #[inline(never)]
    pub fn loops_vertical_aplomb(inner: &mut vertical::VerticalController<Libm>, rows: &Rows<Three>) -> f32 {
        each(rows, |&[height, up, climb]| {
            let demand =
                if up > 0.0 { VerticalDemand::Height(6.0 + height) } else { VerticalDemand::Climb(up) };
            let output = inner.step(demand, 6.0, climb).up_m_s2;
            inner.achieved(output);
            output
        })
    }

    #[inline(never)]
    pub fn loops_thrust_vector_aplomb(
        vector: &mut thrust_vector::ThrustVector<Libm>,
        rows: &Rows<Three>,
    ) -> f32 {
        each(rows, |&[x, y, z]| vector.step(Vector::new(8.0 * x, 8.0 * y, 4.0 * z)).down.x())
    }

    #[inline(never)]
    pub fn loops_attitude_aplomb(inner: &mut attitude::AttitudeController<Libm>, rows: &Rows<Three>) -> f32 {
        each(rows, |&[x, y, rate]| {
            let down = Vector::new(0.5 * x, 0.5 * y, 1.0);
            let setpoint = Attitude::from_down_and_heading::<Libm>(down, Heading::NORTH);
            let rate_rad_s = Vector::new(0.1 * rate, -0.1 * rate, 0.0);
            let output = inner.step(setpoint.unwrap_or(Attitude::LEVEL), Attitude::LEVEL, rate_rad_s);
            output.rate_setpoint.rate_rad_s.x()
        })
    }

    #[inline(never)]
    pub fn loops_rate_aplomb(inner: &mut rate::RateController, rows: &Rows<Three>) -> f32 {
        each(rows, |&[x, y, z]| {
            let setpoint = rate::RateSetpoint::constant(Vector::new(x, y, 0.3 * z));
            let torque = inner.step(&setpoint, Vector::new(y, z, 0.3 * x));
            inner.achieved(torque);
            torque.x()
        })
    }
}

pub fn loops(c: &mut Criterion) {
    let config = aplomb_harness::input::demo_controller().expect("the demo is read");
    let tick_s = 1.0 / config.tick_hz;
    let (attitude_s, velocity_s) =
        (tick_s * f32::from(config.attitude_divider), tick_s * f32::from(config.velocity_divider));
    let inputs = rows(|_, three: [f32; 3]| three);
    let mut group = group(c, "loops");
    let position = position::PositionController::new(&config.position).expect("valid");
    measure(&mut group, "position_aplomb", position, &inputs, kernel::loops_position_aplomb);
    let velocity = velocity::VelocityController::new(&config.velocity, velocity_s).expect("valid");
    measure(&mut group, "velocity_aplomb", velocity, &inputs, kernel::loops_velocity_aplomb);
    let thrust: thrust_vector::ThrustVector =
        thrust_vector::ThrustVector::new(&config.thrust).expect("valid");
    let vertical =
        vertical::VerticalController::new(&config.vertical, thrust.vertical_range_m_s2(), velocity_s);
    let vertical = vertical.expect("valid");
    measure(&mut group, "vertical_aplomb", vertical, &inputs, kernel::loops_vertical_aplomb);
    measure(&mut group, "thrust_vector_aplomb", thrust, &inputs, kernel::loops_thrust_vector_aplomb);
    let attitude = attitude::AttitudeController::new(&config.attitude, attitude_s).expect("valid");
    measure(&mut group, "attitude_aplomb", attitude, &inputs, kernel::loops_attitude_aplomb);
    let rate = rate::RateController::new(&config.rate, tick_s).expect("valid");
    measure(&mut group, "rate_aplomb", rate, &inputs, kernel::loops_rate_aplomb);
    group.finish();
}
