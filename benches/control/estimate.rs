//! The attitude filter alone, and the whole estimator with every sensor, at 1 kHz on the noisy samples of a
//! hover. `benches/peers` compares the attitude filter with others.

use aplomb::estimate::attitude::{AttitudeFilter, Config, Corrections};
use aplomb::estimate::{self, Estimator};
use aplomb::frames::Vector;
use aplomb::{GnssFix, ImuSample, Libm, STANDARD_GRAVITY_M_S2, Sample, Sensors};
use criterion::Criterion;

use super::inputs::{group, measure, rows};

const PERIOD_S: f32 = 1e-3;

mod kernel {
    use super::*;
    use crate::inputs::{Rows, each};

    #[inline(never)]
    pub fn estimate_attitude_aplomb(filter: &mut AttitudeFilter<Libm>, rows: &Rows<Sensors>) -> f32 {
        each(rows, |sensors| {
            let [imu] = sensors.imu;
            filter.step(imu.rate_rad_s(), imu.specific_force_m_s2(), &Corrections::default());
            filter.output().attitude.down_axis().x()
        })
    }

    #[inline(never)]
    pub fn estimate_attitude_with_field_aplomb(
        filter: &mut AttitudeFilter<Libm>,
        rows: &Rows<Sensors>,
    ) -> f32 {
        each(rows, |sensors| {
            let [imu] = sensors.imu;
            let field = Vector::new(20.0, 0.1 * imu.specific_force_m_s2().x(), 45.0);
            filter.step(
                imu.rate_rad_s(),
                imu.specific_force_m_s2(),
                &Corrections { magnetic_field: Some(field), ..Corrections::default() },
            );
            filter.output().attitude.down_axis().x()
        })
    }

    #[inline(never)]
    pub fn estimate_whole_aplomb(estimator: &mut Estimator<Libm>, rows: &Rows<Sensors>) -> f32 {
        each(rows, |sensors| estimator.step(sensors, true).velocity_m_s.x())
    }
}

/// Inertial samples on every row; pressure, receiver and field at 50, 5 and 100 Hz.
fn hover(row: usize, [gx, gy, gz, ax, ay, az]: [f32; 6]) -> Sensors {
    let accel_m_s2 = Vector::new(2.0 * ax, 2.0 * ay, 2.0 * az - STANDARD_GRAVITY_M_S2);
    let gyro_rad_s = Vector::new(0.5 * gx, 0.5 * gy, 0.5 * gz);
    let fix = GnssFix {
        position_m: Vector::new(ax, ay, az - 6.0),
        velocity_m_s: Vector::new(0.1 * gx, 0.1 * gy, 0.1 * gz),
        horizontal_accuracy_m: 1.5,
        vertical_accuracy_m: 1.5,
        horizontal_velocity_accuracy_m_s: 0.1,
        vertical_velocity_accuracy_m_s: 0.1,
    };
    Sensors {
        pressure_pa: [row.is_multiple_of(20).then_some(Sample { value: 101_250.0 + ax, age_us: 10_000 })],
        gnss: row.is_multiple_of(200).then_some(Sample { value: fix, age_us: 200_000 }),
        magnetic_field_ut: row
            .is_multiple_of(10)
            .then_some(Sample { value: Vector::new(20.0 + ax, ay, 45.0), age_us: 5000 }),
        ..Sensors::from_imu(ImuSample::from_rates(gyro_rad_s, accel_m_s2, PERIOD_S))
    }
}

pub fn estimate(c: &mut Criterion) {
    let inputs = rows(hover);
    let mut group = group(c, "estimate");
    let filter = || AttitudeFilter::new(&Config::RECOMMENDED, PERIOD_S).expect("valid");
    measure(&mut group, "attitude_aplomb", filter(), &inputs, kernel::estimate_attitude_aplomb);
    let name = "attitude_with_field_aplomb";
    measure(&mut group, name, filter(), &inputs, kernel::estimate_attitude_with_field_aplomb);
    let estimator = Estimator::new(&estimate::Config::CONSUMER, PERIOD_S).expect("valid");
    measure(&mut group, "whole_aplomb", estimator, &inputs, kernel::estimate_whole_aplomb);
    group.finish();
}
