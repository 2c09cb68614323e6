//! Signals added at the breaks of the loops, to measure their frequency responses in flight or in simulation.

use crate::frames::{Body, Vector};
use crate::mix::Wrench;

/// Sees a signal of each tick where a loop can be broken, and may add to it: argument of
/// [`FlightController::step_excited`](super::FlightController::step_excited).
///
/// With an addition d at a break, the signal s before it (that of the [`Record`](crate::record::Record)) is
/// what returns, and s + d what goes on: the loop transfer function is `L = -s/(s + d)`. Velocity and
/// acceleration loops are excited through the commanded set-point, whose velocity and acceleration are added
/// to the demands of the controllers.
///
/// ```
/// use aplomb::flight::Excitation;
/// use aplomb::frames::{Body, Vector};
/// use aplomb::mix::Wrench;
///
/// /// A torque about the roll axis in N m.
/// struct Roll(f32);
///
/// impl Excitation for Roll {
///     fn demand(&mut self, demand: &mut Wrench) {
///         demand.torque_nm += Vector::new(self.0, 0.0, 0.0);
///     }
///     fn achieved(&mut self, achieved: &mut Wrench) {
///         achieved.torque_nm += Vector::new(-self.0, 0.0, 0.0);
///     }
/// }
/// let mut demand = Wrench::default();
/// Roll(0.1).demand(&mut demand);
/// assert_eq!(demand.torque_nm, Vector::new(0.1, 0.0, 0.0));
/// ```
pub trait Excitation {
    /// Set-point of the rate controller on this tick in rad/s.
    #[inline(always)]
    fn rate_setpoint(&mut self, _rad_s: &mut Vector<Body>) {}

    /// Torque and thrust demanded of the mixer.
    #[inline(always)]
    fn demand(&mut self, _demand: &mut Wrench) {}

    /// Torque and thrust that the mixer achieved, on their way back to the controllers: without the added
    /// part, the integrals do not see it.
    #[inline(always)]
    fn achieved(&mut self, _achieved: &mut Wrench) {}
}

/// Adds nothing.
impl Excitation for () {}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flight::{Airframe, Config};
    use crate::mix::Geometry;
    use crate::{
        Command, Demand, FlightController, HeadingDemand, ImuSample, Sensors, Spin, Tilt, VerticalDemand,
    };

    /// Constant additions; `twin` leaves them in what was achieved.
    #[derive(Default)]
    struct Constant {
        rate_rad_s: Vector<Body>,
        torque_nm: Vector<Body>,
        twin: bool,
    }

    impl Excitation for Constant {
        fn rate_setpoint(&mut self, rad_s: &mut Vector<Body>) {
            *rad_s += self.rate_rad_s;
        }

        fn demand(&mut self, demand: &mut Wrench) {
            demand.torque_nm += self.torque_nm;
        }

        fn achieved(&mut self, achieved: &mut Wrench) {
            if !self.twin {
                achieved.torque_nm += self.torque_nm * -1.0;
            }
        }
    }

    fn flown(excitation: &mut impl Excitation) -> FlightController {
        let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
        let config = Config::for_airframe(&Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5)).unwrap();
        let mut controller = FlightController::new(&config).unwrap();
        controller.resume_in_flight();
        let imu = ImuSample::from_rates(Vector::ZERO, Vector::new(0.0, 0.0, -9.80665), 1e-3);
        let demand = Demand::Tilt {
            tilt: Tilt::LEVEL,
            heading: HeadingDemand::Rate(0.0),
            vertical: VerticalDemand::Climb(0.0),
        };
        for _ in 0..50 {
            controller.step_excited(&Sensors::from_imu(imu), &Command::fly(demand), excitation);
        }
        controller
    }

    #[test]
    fn torque_reaches_the_rotors_and_neither_record_nor_integral() {
        let plain = flown(&mut ());
        let torque_nm = Vector::new(0.05, 0.0, 0.0);
        let excited = flown(&mut Constant { torque_nm, ..Constant::default() });
        let change = excited.record().wrench.torque_nm - plain.record().wrench.torque_nm;
        assert!(change.norm_squared() < 1e-12, "{change:?}");
        // tau_x = -sum y f: the left rotors give more.
        let more = excited.record().thrust_n.front_left - plain.record().thrust_n.front_left;
        assert!((more - 0.05 / (4.0 * 0.16)).abs() < 1e-5, "{more}");
        let change = excited.rate_integral_rad_s2() - plain.rate_integral_rad_s2();
        assert!(change.norm_squared() < 1e-8, "{change:?}");
        // The twin: taken for achieved, the torque moves the integral.
        let twin = flown(&mut Constant { torque_nm, twin: true, ..Constant::default() });
        assert!(twin.rate_integral_rad_s2().x().abs() > 0.1);
    }

    #[test]
    fn rate_reaches_the_rate_controller_and_not_the_record() {
        let plain = flown(&mut ());
        let rate_rad_s = Vector::new(0.0, 0.1, 0.0);
        let excited = flown(&mut Constant { rate_rad_s, ..Constant::default() });
        assert_eq!(excited.record().attitude.rate_setpoint, plain.record().attitude.rate_setpoint);
        assert!(excited.record().wrench.torque_nm.y() > plain.record().wrench.torque_nm.y() + 0.01);
    }
}
