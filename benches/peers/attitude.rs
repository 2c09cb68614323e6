//! One update from gyro and accelerometer at 1 kHz, on the noisy samples of a hover.
//!
//! `ahrs` (Mahony with its integral on, Madgwick) neither checks its samples nor initialises itself, and has
//! no bias limit, no gate on manoeuvres and no stationary detection. `vqf` low-passes the accelerometer in an
//! almost inertial frame, estimates the bias with its covariance and detects rest: the most work and the best
//! of the peers. It needs the standard library. Ours checks every sample, initialises itself, limits the bias
//! and fades its gains in.

use std::time::Duration;

use ahrs::{Ahrs, Madgwick, Mahony};
use aplomb::estimate::attitude::{AttitudeFilter, Config, Corrections};
use aplomb::{Libm, STANDARD_GRAVITY_M_S2, frames::Vector};
use criterion::Criterion;
use vqf::{Vqf, VqfParameters};

use super::inputs::{group, measure, rows};

mod kernel {
    use super::*;
    use crate::inputs::{Rows, each};

    /// Rate and specific force.
    pub type Sample = [[f32; 3]; 2];

    #[inline(never)]
    pub fn attitude_aplomb(filter: &mut AttitudeFilter<Libm>, rows: &Rows<Sample>) -> f32 {
        each(rows, |&[[gx, gy, gz], [ax, ay, az]]| {
            filter.step(Vector::new(gx, gy, gz), Vector::new(ax, ay, az), &Corrections::default());
            filter.output().attitude.wxyz()[1]
        })
    }

    #[inline(never)]
    pub fn attitude_peer_mahony(filter: &mut Mahony<f32>, rows: &Rows<Sample>) -> f32 {
        each(rows, |[gyro, accel]| filter.update_imu(&(*gyro).into(), &(*accel).into()).map_or(0.0, |q| q.i))
    }

    #[inline(never)]
    pub fn attitude_peer_madgwick(filter: &mut Madgwick<f32>, rows: &Rows<Sample>) -> f32 {
        each(rows, |[gyro, accel]| filter.update_imu(&(*gyro).into(), &(*accel).into()).map_or(0.0, |q| q.i))
    }

    #[inline(never)]
    pub fn attitude_peer_vqf(filter: &mut Vqf, rows: &Rows<Sample>) -> f32 {
        each(rows, |[gyro, accel]| {
            filter.update((*gyro).into(), (*accel).into());
            filter.orientation().i
        })
    }
}

pub fn attitude(c: &mut Criterion) {
    let inputs = rows(|_, [gx, gy, gz, ax, ay, az]| {
        [[0.5 * gx, 0.5 * gy, 0.5 * gz], [2.0 * ax, 2.0 * ay, 2.0 * az - STANDARD_GRAVITY_M_S2]]
    });
    let mut group = group(c, "attitude");
    let own = AttitudeFilter::new(&Config::RECOMMENDED, 1e-3).expect("valid");
    measure(&mut group, "aplomb", own, &inputs, kernel::attitude_aplomb);
    let mahony = Mahony::new(1e-3, 0.5, 0.01);
    measure(&mut group, "peer_mahony", mahony, &inputs, kernel::attitude_peer_mahony);
    measure(&mut group, "peer_madgwick", Madgwick::new(1e-3, 0.1), &inputs, kernel::attitude_peer_madgwick);
    let tick = Duration::from_millis(1);
    let vqf = Vqf::new(tick, tick, VqfParameters::default());
    measure(&mut group, "peer_vqf", vqf, &inputs, kernel::attitude_peer_vqf);
    group.finish();
}
