use core::hint::black_box;

use aplomb::estimate::vertical::PressureHeight;
use aplomb::estimate::{
    Config, Estimator, History, HorizontalFilter, ImuVote, VerticalFilter, attitude, horizontal, vertical,
};
use aplomb::{Battery, GnssFix, ImuSample, Math, Rotors, Sample, Sensors};

use super::{any, any_vector};

pub fn all<M: Math>() {
    attitude::<M>();
    if let Ok(mut history) = History::new(any(), any()) {
        history.push(any_vector());
        black_box(history.span(black_box(300_000)));
        vertical(&history);
        horizontal(&history);
        history.clear();
        black_box(history);
    }
    if let Ok(law) = PressureHeight::new(any(), any()) {
        black_box(law.height_m(any()));
    }
    vote::<1>();
    vote::<2>();
    vote::<3>();
    estimator::<M, 1>();
    estimator::<M, 3>();
}

fn attitude<M: Math>() {
    let config = black_box(attitude::Config::RECOMMENDED);
    if let Ok(mut filter) = attitude::AttitudeFilter::<M>::new(&config, any()) {
        let aids = attitude::Aids {
            field: Some(any_vector()),
            apparent_gravity_m_s2: Some(any_vector()),
            course: Some(attitude::Course::new(any_vector(), any_vector())),
            at_rest_allowed: true,
        };
        filter.step(any_vector(), any_vector(), &black_box(aids));
        black_box((filter.attitude(), filter.rate_rad_s(), filter.gyro_offset_rad_s(), filter.seeded()));
        black_box((filter.heading_valid(), filter.stationary(), filter.tilt_innovation()));
        filter.reinitialise();
        black_box(filter);
    }
}

fn vertical(history: &History) {
    let config = black_box(vertical::Config::CONSUMER);
    if let Ok(mut filter) = VerticalFilter::new(&config, any()) {
        filter.predict(any_vector());
        for source in [vertical::Source::Barometer, vertical::Source::Receiver] {
            black_box(filter.correct(any_sample(any()), black_box(source), history));
        }
        black_box((filter.height_m(), filter.climb_m_s(), filter.offset_m_s2(), filter.known()));
        black_box(filter.barometer_pole_rad_s());
    }
}

fn horizontal(history: &History) {
    let config = black_box(horizontal::Config::CONSUMER);
    if let Ok(mut filter) = HorizontalFilter::new(&config, any()) {
        filter.predict(any_vector());
        black_box(filter.correct(any_sample(any_fix()), history));
        black_box((filter.position_m(), filter.velocity_m_s(), filter.offset_m_s2(), filter.known()));
    }
}

fn vote<const N: usize>() {
    let mut vote = ImuVote::<N>::new(any(), any());
    black_box(vote.step(&any_sensors::<N>().imu));
}

fn estimator<M: Math, const N: usize>() {
    let config = Config { rotor_drag_per_s: Some(any()), ..black_box(Config::CONSUMER) };
    if let Ok(mut estimator) = Estimator::<M, N>::new(&config, any()) {
        black_box(estimator.step(&any_sensors::<N>(), black_box(true)));
        estimator.set_home_pressure([any()]);
        estimator.reinitialise_attitude();
        black_box((estimator.attitude_filter(), estimator.vertical_filter(), estimator.horizontal_filter()));
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
pub fn any_sensors<const N: usize>() -> Sensors<N> {
    let imu = ImuSample::from_rates(any_vector(), any_vector(), any());
    black_box(Sensors {
        imu: black_box([imu; N]),
        rotor_speed_rad_s: Some(Rotors::splat(any())),
        battery: Some(Battery { voltage_v: any(), current_a: any() }),
        pressure_pa: [Some(any_sample(any()))],
        gnss: Some(any_sample(any_fix())),
        magnetic_field_ut: Some(any_sample(any_vector())),
    })
}
