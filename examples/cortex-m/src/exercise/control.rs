use core::hint::black_box;

use aplomb::control::{attitude, heading, position, rate, thrust_vector, velocity, vertical, wind};
use aplomb::frames::{Attitude, Heading, Horizontal};
use aplomb::{HeadingDemand, Math, PositionSetpoint, VelocitySetpoint, VerticalDemand};

use super::{any, any_vector};

pub fn all<M: Math>() {
    position::<M>();
    velocity::<M>();
    wind();
    vertical::<M>();
    thrust_vector::<M>();
    heading::<M>();
    attitude::<M>();
    rate();
}

pub fn any_horizontal() -> Horizontal {
    Horizontal::new(any(), any())
}

fn position<M: Math>() {
    let config = position::Config { crossover_rad_s: any(), braking_m_s2: any(), speed_limit_m_s: any() };
    if let Ok(part) = position::PositionController::<M>::new(&config) {
        let setpoint = PositionSetpoint {
            position_m: any_horizontal(),
            velocity_m_s: any_horizontal(),
            acceleration_m_s2: any_horizontal(),
        };
        black_box(part.step(&setpoint, any_horizontal(), any_horizontal()));
    }
}

fn velocity<M: Math>() {
    let config = velocity::Config {
        crossover_rad_s: any(),
        integral_time_s: any(),
        speed_limit_m_s: any(),
        acceleration_m_s2: any(),
        output_limit_m_s2: any(),
    };
    if let Ok(mut part) = velocity::VelocityController::<M>::new(&config, any()) {
        let setpoint =
            VelocitySetpoint { velocity_m_s: any_horizontal(), acceleration_m_s2: any_horizontal() };
        black_box(part.step(&setpoint, any_horizontal()));
        part.achieved(any_horizontal());
        part.pause();
        black_box(part.integral_m_s2());
        part.set_state(black_box(part.state()));
        part.reset();
    }
}

fn wind() {
    let config = wind::Config { drag_per_s: any(), pole_rad_s: any() };
    if let Ok(mut part) = wind::WindFeedForward::new(&config, any()) {
        black_box(part.step(any_horizontal()));
        part.set_state(black_box(part.state()));
        part.reset();
        black_box(part.acceleration_m_s2());
    }
}

fn vertical<M: Math>() {
    let config = vertical::Config {
        climb_crossover_rad_s: any(),
        climb_integral_time_s: any(),
        height_crossover_rad_s: any(),
        climb_limit_m_s: any(),
        descent_limit_m_s: any(),
        acceleration_m_s2: any(),
    };
    if let Ok(mut part) = vertical::VerticalController::<M>::new(&config, any()..=any(), any()) {
        for demand in [VerticalDemand::Height(any()), VerticalDemand::Climb(any())] {
            black_box(part.step(black_box(demand), any(), any()));
        }
        part.achieved(any());
        part.set_state(black_box(part.state()));
        part.reset();
        black_box(part.integral_m_s2());
    }
}

fn thrust_vector<M: Math>() {
    let config = thrust_vector::Config {
        mass_kg: any(),
        tilt_limit_rad: any(),
        min_thrust_n: any(),
        max_thrust_n: any(),
    };
    if let Ok(part) = thrust_vector::ThrustVector::<M>::new(&config) {
        black_box((part.step(any_vector()), part.total_n(any(), any()), part.vertical_range_m_s2()));
        black_box((part.horizontal_limit_m_s2(), part.sin_limit(), part.mass_kg()));
    }
}

fn heading<M: Math>() {
    if let Ok(mut part) =
        heading::HeadingRateLimiter::<M>::new(&heading::Config { rate_limit_rad_s: any() }, any())
    {
        for demand in [HeadingDemand::Hold(Heading::from_rad::<M>(any())), HeadingDemand::Rate(any())] {
            black_box(part.step(black_box(demand), black_box(Attitude::LEVEL)));
        }
        part.set_state(black_box(part.state()));
        part.reset();
    }
}

fn attitude<M: Math>() {
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
    if let Ok(mut part) = attitude::AttitudeController::<M>::new(&config, any()) {
        let present = black_box(Attitude::LEVEL);
        let setpoint = Attitude::from_down_and_heading::<M>(any_vector(), Heading::from_rad::<M>(any()));
        black_box(part.step(setpoint.unwrap_or(present), present, any_vector()));
        black_box(part.reference());
        part.set_state(black_box(part.state()));
        part.reset();
    }
}

fn rate() {
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
        inertia: rate::Inertia::diagonal(any(), any(), any()),
        gyroscopic: black_box(true),
        reaction_time_constant_s: black_box(0.27),
    };
    if let Ok(mut part) = rate::RateController::new(&config, any()) {
        let setpoint = rate::RateSetpoint {
            rate_rad_s: any_vector(),
            setpoint_derivative_rad_s2: any_vector(),
            feed_forward_rad_s2: any_vector(),
        };
        black_box(part.step(&setpoint.after(any()), any_vector()));
        part.achieved(any_vector());
        black_box(part.retune(&black_box(config), &setpoint, any_vector())).ok();
        black_box(part.integral_rad_s2());
        part.set_state(black_box(part.state()));
        part.reset();
    }
}
