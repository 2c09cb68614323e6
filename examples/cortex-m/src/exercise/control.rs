use core::hint::black_box;

use aplomb::control::{attitude, position, rate, thrust_vector, velocity, vertical, wind};
use aplomb::frames::{Attitude, Heading};
use aplomb::{HeadingDemand, Math, VerticalDemand};

use super::{any, any_vector};

pub fn all<M: Math>() {
    position_loop::<M>();
    velocity_loop::<M>();
    wind_forward();
    vertical_loop::<M>();
    thrust_vector::<M>();
    attitude_loop::<M>();
    rate_loop();
}

fn position_loop<M: Math>() {
    let config = position::Config { crossover_rad_s: any(), braking_m_s2: any(), speed_limit_m_s: any() };
    if let Ok(outer) = position::PositionController::<M>::new(&config) {
        black_box(outer.step(any_vector(), any_vector(), any_vector()));
    }
}

fn velocity_loop<M: Math>() {
    let config = velocity::Config {
        crossover_rad_s: any(),
        integral_time_s: any(),
        speed_limit_m_s: any(),
        acceleration_m_s2: any(),
        output_limit_m_s2: any(),
    };
    if let Ok(inner) = velocity::VelocityController::<M>::new(&config, any()) {
        let mut state = black_box(velocity::State::new());
        black_box(inner.step(&mut state, any_vector(), any_vector(), any_vector()));
        inner.achieved(&mut state, any_vector());
        black_box(state.integral_m_s2());
    }
}

fn wind_forward() {
    if let Ok(forward) =
        wind::WindFeedForward::new(&wind::Config { drag_per_s: any(), pole_rad_s: any() }, any())
    {
        let mut state = wind::State::default();
        black_box(forward.step(&mut state, any_vector()));
        black_box(state.acceleration_m_s2());
    }
}

fn vertical_loop<M: Math>() {
    let config = vertical::Config {
        climb_crossover_rad_s: any(),
        climb_integral_time_s: any(),
        height_crossover_rad_s: any(),
        climb_limit_m_s: any(),
        descent_limit_m_s: any(),
        acceleration_m_s2: any(),
    };
    if let Ok(inner) = vertical::VerticalController::<M>::new(&config, (any(), any()), any()) {
        let mut state = black_box(vertical::State::new());
        for demand in [VerticalDemand::Height(any()), VerticalDemand::Climb(any())] {
            black_box(inner.step(&mut state, black_box(demand), any(), any()));
        }
        inner.achieved(&mut state, any());
        black_box(state.integral_m_s2());
    }
}

fn thrust_vector<M: Math>() {
    let config = thrust_vector::Config {
        mass_kg: any(),
        tilt_limit_rad: any(),
        min_thrust_n: any(),
        max_thrust_n: any(),
    };
    if let Ok(vector) = thrust_vector::ThrustVector::<M>::new(&config) {
        black_box((vector.aim(any_vector()), vector.total_n(any(), any()), vector.vertical_range_m_s2()));
        black_box((vector.horizontal_limit_m_s2(), vector.sin_limit()));
    }
}

fn attitude_loop<M: Math>() {
    let part = || attitude::Part {
        crossover_rad_s: any(),
        reference_bandwidth_rad_s: any(),
        rate_limit_rad_s: any(),
        acceleration_limit_rad_s2: any(),
    };
    let config = attitude::Config {
        tilt: part(),
        heading: part(),
        reference_damping: any(),
        rotor_time_constant_s: any(),
    };
    if let Ok(inner) = attitude::AttitudeController::<M>::new(&config, any()) {
        let mut state = black_box(attitude::State::new());
        let present = black_box(Attitude::LEVEL);
        for demand in [HeadingDemand::Hold(Heading::from_rad::<M>(any())), HeadingDemand::Rate(any())] {
            let heading = inner.turn(&mut state, black_box(demand), present).heading;
            let target = inner.target(&state, any_vector(), heading);
            black_box(inner.step(&mut state, target, present, any_vector()));
        }
        black_box(state.heading());
    }
}

fn rate_loop() {
    let axis = || rate::Axis {
        crossover_rad_s: any(),
        integral_time_s: any(),
        derivative_time_s: any(),
        acceleration_limit_rad_s2: any(),
    };
    let config = rate::Config {
        roll: axis(),
        pitch: axis(),
        yaw: axis(),
        derivative_filter_ratio: any(),
        gyro_cutoff_hz: any(),
        inertia: rate::Inertia::diagonal(any(), any(), any()),
        gyroscopic: black_box(true),
        reaction_time_constant_s: black_box(0.27),
    };
    if let Ok(inner) = rate::RateController::new(&config, any()) {
        let mut state = black_box(rate::State::new());
        let setpoint = rate::SetPoint {
            rate_rad_s: any_vector(),
            setpoint_derivative_rad_s2: any_vector(),
            feed_forward_rad_s2: any_vector(),
        };
        black_box(inner.step(&mut state, &setpoint, any_vector()));
        inner.achieved(&mut state, any_vector());
        let mut setpoint = setpoint;
        inner.advance(&mut setpoint);
        black_box((setpoint, state.rate_rad_s(), state.integral_rad_s2()));
        state.release();
        black_box(state);
    }
}
