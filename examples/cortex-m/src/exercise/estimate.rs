use core::hint::black_box;

use aplomb::estimate::{
    Barometers, Config, DelayBuffer, Estimator, FieldConsistency, GnssAcceleration, HorizontalFilter,
    ImuVote, LeverArm, PressureHeight, StationaryDetector, VelocityChange, VerticalFilter, WindEstimator,
    attitude, horizontal, vertical,
};
use aplomb::frames::{Attitude, Horizontal};
use aplomb::{Battery, GnssFix, ImuSample, Math, Rotors, Sample, Sensors};

use super::{any, any_vector};

pub fn all<M: Math>() {
    attitude::<M>();
    if let Ok(mut buffer) = DelayBuffer::new(any(), any()) {
        buffer.step(any_vector());
        black_box(buffer.preintegration(black_box(300_000)));
        vertical(&buffer);
        horizontal(&buffer);
        buffer.set_state(black_box(buffer.state()));
        buffer.reset();
        black_box(buffer);
    }
    if let Ok(law) = PressureHeight::new(any(), any()) {
        black_box(law.height_m(any()));
    }
    parts();
    vote::<1>();
    vote::<2>();
    vote::<3>();
    estimator::<M, 1, 1>();
    estimator::<M, 3, 2>();
}

fn attitude<M: Math>() {
    let config = black_box(attitude::Config::RECOMMENDED);
    if let Ok(mut filter) = attitude::AttitudeFilter::<M>::new(&config, any()) {
        let corrections = attitude::Corrections {
            magnetic_field: Some(any_vector()),
            apparent_gravity_m_s2: Some(any_vector()),
            velocity_change: Some(VelocityChange {
                inertial_m_s: Horizontal::new(any(), any()),
                measured_m_s: Horizontal::new(any(), any()),
            }),
            stationary_allowed: true,
        };
        black_box(filter.step(any_vector(), any_vector(), &black_box(corrections)));
        black_box(filter.attitude_ahead(any()));
        filter.set_state(black_box(filter.state()));
        black_box(filter.output());
        filter.reinitialise();
        filter.reset();
        black_box(filter);
    }
}

fn vertical(buffer: &DelayBuffer) {
    let config = black_box(vertical::Config::CONSUMER);
    if let Ok(mut filter) = VerticalFilter::new(&config, any()) {
        let height = || buffer.delayed(any_sample(any()));
        black_box(filter.step(any_vector(), height(), height()));
        filter.set_state(black_box(filter.state()));
        filter.reset();
        black_box(filter.barometer_pole_rad_s());
    }
}

fn horizontal(buffer: &DelayBuffer) {
    let config = black_box(horizontal::Config::CONSUMER);
    let fix = buffer.delayed(any_sample(any_fix()));
    if let Ok(mut filter) = HorizontalFilter::new(&config, any()) {
        black_box(filter.step(any_vector(), fix.as_ref()));
        filter.set_state(black_box(filter.state()));
        filter.reset();
        black_box(filter);
    }
    let mut gnss = GnssAcceleration::new(any(), any());
    gnss.step(any_vector(), fix.as_ref());
    black_box((gnss.apparent_gravity_m_s2(), gnss.velocity_change()));
    gnss.set_state(black_box(gnss.state()));
    gnss.reset();
    black_box(gnss);
}

fn parts() {
    if let Ok(mut barometers) = Barometers::<2>::new(any()) {
        black_box(barometers.step(&[Some(any_sample(any())), None], black_box(true)));
        barometers.set_home_pressure([any(), any()]);
        barometers.set_state(black_box(barometers.state()));
        barometers.reset();
        black_box(barometers);
    }
    if let Ok(mut arm) = LeverArm::new(any_vector(), any()) {
        black_box(arm.step(any_vector(), any_vector()));
        arm.set_state(black_box(arm.state()));
        arm.reset();
        black_box(arm);
    }
    if let Ok(mut wind) = WindEstimator::new(Some(any()), any()) {
        black_box(wind.step(black_box(Attitude::LEVEL), any_vector(), Some(any_vector())));
        wind.set_state(black_box(wind.state()));
        wind.reset();
        black_box(wind);
    }
    let mut stationary = StationaryDetector::new(any());
    black_box((stationary.step(any_vector(), any_vector()), stationary.is_stationary()));
    stationary.set_state(black_box(stationary.state()));
    stationary.reset();
    black_box(stationary);
    let mut field = FieldConsistency::new();
    black_box(field.step(any(), any(), any(), any()));
    field.set_state(black_box(field.state()));
    field.reset();
    black_box(field);
}

fn vote<const N: usize>() {
    let mut vote = ImuVote::<N>::new(any(), any());
    black_box(vote.step(&any_sensors::<N, 1>().imu));
    vote.set_state(black_box(vote.state()));
    vote.reset();
    black_box(vote);
}

fn estimator<M: Math, const N: usize, const P: usize>() {
    let config = Config { rotor_drag_per_s: Some(any()), ..black_box(Config::CONSUMER) };
    if let Ok(mut estimator) = Estimator::<M, N, P>::new(&config, any()) {
        black_box(estimator.step(&any_sensors::<N, P>(), black_box(true)));
        estimator.set_home_pressure([any(); P]);
        estimator.restore(&black_box(estimator.save()));
        estimator.reinitialise_attitude();
        estimator.reset();
        black_box(estimator.state());
    }
}

fn any_sample<T>(value: T) -> Sample<T> {
    Sample { value, age_us: black_box(3000) }
}

fn any_fix() -> GnssFix {
    GnssFix {
        position_m: any_vector(),
        velocity_m_s: any_vector(),
        horizontal_accuracy_m: any(),
        vertical_accuracy_m: any(),
        horizontal_velocity_accuracy_m_s: any(),
        vertical_velocity_accuracy_m_s: any(),
    }
}

/// Every sensor present, every value unknown to the compiler.
pub fn any_sensors<const N: usize, const P: usize>() -> Sensors<N, P> {
    let imu = ImuSample::from_rates(any_vector(), any_vector(), any());
    black_box(Sensors {
        imu: black_box([imu; N]),
        rotor_speed_rad_s: Some(Rotors::splat(any())),
        battery: Some(Battery { voltage_v: any(), current_a: any() }),
        pressure_pa: [Some(any_sample(any())); P],
        gnss: Some(any_sample(any_fix())),
        magnetic_field_ut: Some(any_sample(any_vector())),
    })
}
