//! Stops of the motors: cut, missing inertial samples, tip-over.

use super::*;

#[test]
fn cut_motors_has_priority_in_every_phase_and_lasts_until_arm_was_off() {
    for mut bench in [Bench::new().armed(), Bench::flying()] {
        let cut = Command { cut_motors: true, ..climbing() };
        assert_eq!(bench.ticks(1, cut).motors, Motors::Stopped);
        assert_eq!(bench.phase(), Phase::Stopped { reason: Reason::Cut });
        assert_eq!(bench.ticks(100, climbing()).motors, Motors::Stopped);
        bench.ticks(1, Command::IDLE);
        assert_eq!(bench.ticks(1, centred()).motors, Motors::Idle);
    }
}

#[test]
fn tip_over_stops_the_motors_and_an_upset_in_the_air_does_not() {
    let over = Attitude::from_angles::<Libm>(1.5, 0.0, 0.0);
    let mut lying = Bench::flying();
    lying.estimate.attitude = over;
    assert_eq!(lying.ticks(600, climbing()).motors, Motors::Stopped);
    assert_eq!(lying.phase(), Phase::Stopped { reason: Reason::TippedOver });
    let mut upset = Bench::flying();
    upset.estimate.attitude = over;
    upset.estimate.velocity_m_s = Vector::new(0.0, 0.0, 2.0);
    assert_eq!(upset.ticks(600, climbing()).motors, Motors::Running);
}

#[test]
fn stale_inertial_samples_are_bridged_and_then_stop_the_motors() {
    let mut bench = Bench::flying();
    bench.imu_age_us = 30_000;
    assert_eq!(bench.ticks(1, climbing()).motors, Motors::Running);
    bench.imu_age_us = 60_000;
    assert_eq!(bench.ticks(1, climbing()).motors, Motors::Stopped);
    assert_eq!(bench.phase(), Phase::Stopped { reason: Reason::ImuLost });
}

#[test]
fn tip_over_needs_tilt_no_motion_and_its_whole_time() {
    let stopped = |mut bench: Bench| bench.ticks(600, climbing()).motors == Motors::Stopped;
    assert!(stopped(tipped_over()));
    // Twins: each part of the condition missing.
    let twin = |change: fn(&mut estimate::State)| {
        let mut bench = tipped_over();
        change(&mut bench.estimate);
        bench
    };
    assert!(!stopped(twin(|e| e.rate_rad_s = Vector::new(0.0, 0.0, 0.51))), "turning");
    assert!(stopped(twin(|e| e.rate_rad_s = Vector::new(0.0, 0.0, 0.49))));
    assert!(!stopped(twin(|e| e.velocity_m_s = Vector::new(0.0, 0.0, -0.31))), "rising");
    assert!(stopped(twin(|e| e.velocity_m_s = Vector::new(0.0, 0.0, -0.29))));
    assert!(!stopped(twin(|e| e.attitude = Attitude::from_angles::<Libm>(1.04, 0.0, 0.0))), "less tilt");
    assert!(stopped(twin(|e| e.attitude = Attitude::from_angles::<Libm>(0.0, 1.06, 0.0))));
    // NaN does not count as no motion.
    assert!(!stopped(twin(|e| e.rate_rad_s = Vector::new(f32::NAN, 0.0, 0.0))));
    assert!(!stopped(twin(|e| e.velocity_m_s = Vector::new(0.0, 0.0, f32::NAN))));
    // 0.5 s in a row: 499 ticks, one upright, 499 ticks are too short; the 500th stops.
    let mut bench = tipped_over();
    assert_eq!(bench.ticks(499, climbing()).motors, Motors::Running);
    bench.estimate.attitude = Attitude::LEVEL;
    bench.ticks(1, climbing());
    bench.estimate.attitude = Attitude::from_angles::<Libm>(1.5, 0.0, 0.0);
    assert_eq!(bench.ticks(499, climbing()).motors, Motors::Running);
    assert_eq!(bench.ticks(1, climbing()).motors, Motors::Stopped);
    // On the ground with idling motors, and in a landing, too.
    let mut bench = Bench::new().armed();
    bench.estimate.attitude = Attitude::from_angles::<Libm>(1.5, 0.0, 0.0);
    bench.ticks(600, centred());
    assert_eq!(bench.phase(), Phase::Stopped { reason: Reason::TippedOver });
    let mut bench = tipped_over();
    bench.ticks(600, Command::fly(Demand::Land));
    assert_eq!(bench.phase(), Phase::Stopped { reason: Reason::TippedOver });
}

#[test]
fn reasons_to_stop_have_a_priority() {
    // Cut, no inertial sample, tip-over; each alone stops.
    let stop = |cut_motors, imu_age_us, tipped| {
        let mut bench = if tipped { tipped_over() } else { Bench::flying() };
        bench.ticks(499, climbing());
        bench.imu_age_us = imu_age_us;
        bench.ticks(1, Command { cut_motors, ..climbing() });
        bench.phase()
    };
    let stopped = |reason| Phase::Stopped { reason };
    assert_eq!(stop(true, 50_000, true), stopped(Reason::Cut));
    assert_eq!(stop(false, 50_000, true), stopped(Reason::ImuLost));
    assert_eq!(stop(false, 0, true), stopped(Reason::TippedOver));
    assert_eq!(stop(false, 0, false), Phase::Flying);
    // At the hold time itself the last sample is still used.
    assert_eq!(stop(false, 40_000, false), Phase::Flying);
    assert_eq!(stop(false, 40_001, false), stopped(Reason::ImuLost));
}

#[test]
fn stopped_craft_stays_stopped_until_arm_is_off_without_a_cut() {
    let mut bench = tipped_over();
    bench.ticks(600, climbing());
    bench.estimate.attitude = Attitude::LEVEL;
    bench.ticks(1000, centred());
    assert_eq!(bench.phase(), Phase::Stopped { reason: Reason::TippedOver });
    bench.ticks(10, Command { cut_motors: true, ..Command::IDLE });
    assert_eq!(bench.phase(), Phase::Stopped { reason: Reason::TippedOver });
    bench.ticks(1, Command::IDLE);
    assert_eq!(bench.phase(), Phase::Disarmed);
    bench.ticks(1, centred());
    assert_eq!(bench.phase(), Phase::OnGround);
}
