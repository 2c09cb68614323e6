//! The attitude filter and the whole estimator.

use aplomb::estimate::attitude::{AttitudeFilter, Config, Corrections};
use aplomb::frames::Vector;
use aplomb::{Math, STANDARD_GRAVITY_M_S2};
use aplomb_cortex_m::{
    inputs::Inputs,
    table::{Limit, Table},
};

pub fn rows<M: Math>(table: &mut Table) {
    let mut random = Inputs::new();
    let mut filter = AttitudeFilter::<M>::new(&Config::RECOMMENDED, 1e-3).expect("valid");
    let corrections = Corrections::default();
    let mut noisy = |_| {
        let [gx, gy, gz] = random.array::<3>(2.0);
        let [ax, ay, az] = random.array::<3>(5.0);
        let accel = Vector::new(ax, ay, az - STANDARD_GRAVITY_M_S2);
        (Vector::new(gx, gy, gz), accel, Vector::new(20.0 + ax, ay, 45.0 + az))
    };
    let (gyro, accel, _) = noisy(0);
    filter.step(gyro, accel, &corrections);
    table.row("attitude filter, without heading aid", Limit::AtMost(270), &mut noisy, |(gyro, accel, _)| {
        filter.step(gyro, accel, &corrections);
    });
    table.row("attitude filter, with magnetic field", Limit::None, &mut noisy, |(gyro, accel, field)| {
        filter.step(gyro, accel, &Corrections { magnetic_field: Some(field), ..corrections });
    });
    let stationary = Corrections { stationary_allowed: true, ..corrections };
    table.row("attitude filter, motors off", Limit::None, &mut noisy, |(gyro, accel, _)| {
        filter.step(gyro, accel, &stationary);
    });
}
