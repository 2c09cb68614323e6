use core::hint::black_box;

use aplomb::control::rate::Inertia;
use aplomb::flight::{Airframe, Config};
use aplomb::frames::Heading;
use aplomb::guard::{self, Guard, GuardInput, GuardParameters};
use aplomb::mix::Geometry;
use aplomb::pilot::{self, Pilot, PilotParameters};
use aplomb::record::Record;
use aplomb::recorder::{self, Recorder};
use aplomb::{
    Command, Demand, FlightController, HeadingDemand, Math, PositionSetpoint, Spin, Sticks, Tilt,
    VelocitySetpoint, VerticalDemand, estimate,
};

use super::control::any_horizontal;
use super::estimate::any_sensors;
use super::{any, any_vector};

pub fn all<M: Math>() {
    let geometry = Geometry::symmetric_x(any(), any(), black_box(Spin::Clockwise), any());
    let airframe = Airframe {
        inertia: Inertia { roll_kg_m2: any(), ..Inertia::diagonal(any(), any(), any()) },
        ..black_box(Airframe::new(any(), [any(), any(), any()], geometry, any()))
    };
    if let Ok(config) = Config::for_airframe(&airframe) {
        let config = black_box(config);
        fly::<M, 1>(&config);
        fly::<M, 3>(&config);
        super::stages::all::<M>(&config, &demands::<M>());
        guard(&config.guard);
        pilot::<M>(&config.pilot);
    }
    let config = recorder::Config { divider: black_box(2), after_event: black_box(1) };
    if let Ok(mut recorder) = Recorder::<Record, 4>::new(&config) {
        recorder.step(&black_box(Record::new()), black_box(true));
        black_box((recorder.iter().map(|record| record.tick).max(), recorder.recording()));
        recorder.reset();
    }
}

fn fly<M: Math, const N: usize>(config: &Config) {
    if let Ok(mut controller) = FlightController::<M, N>::new(config) {
        for demand in demands::<M>() {
            black_box(controller.step(&any_sensors(), &any_command(demand)));
            black_box((controller.record(), controller.motion(), controller.status()));
        }
        black_box(controller.gyro_delay_s());
        black_box((controller.rate_integral_rad_s2(), controller.acceleration_integral_m_s2()));
        black_box(controller.retune_rate(&black_box(config.rate))).ok();
        controller.restore(&black_box(controller.save()));
        controller.resume_in_flight();
        controller.estimator_mut().reinitialise_attitude();
        black_box(controller.step(&any_sensors(), &any_command(black_box(Demand::Land))));
    }
}

fn any_command(demand: Demand) -> Command {
    black_box(Command { demand, arm: black_box(true), cut_motors: black_box(false), age_us: black_box(1000) })
}

fn demands<M: Math>() -> [Demand; 7] {
    let heading = black_box(HeadingDemand::Hold(Heading::from_rad::<M>(any())));
    let vertical = black_box(VerticalDemand::Height(any()));
    black_box([
        Demand::Rates { rate_rad_s: any_vector(), thrust_n: any() },
        Demand::Tilt { tilt: Tilt { forward: any(), right: any() }, heading, vertical },
        Demand::Velocity {
            setpoint: VelocitySetpoint {
                velocity_m_s: any_horizontal(),
                acceleration_m_s2: any_horizontal(),
            },
            heading,
            vertical,
        },
        Demand::Position {
            setpoint: PositionSetpoint {
                position_m: any_horizontal(),
                velocity_m_s: any_horizontal(),
                acceleration_m_s2: any_horizontal(),
            },
            heading,
            vertical,
        },
        Demand::Sticks(Sticks { roll: any(), pitch: any(), yaw: any(), climb: any() }),
        Demand::RateSticks(Sticks { roll: any(), pitch: any(), yaw: any(), climb: any() }),
        Demand::Land,
    ])
}

fn guard(config: &guard::Config) {
    let craft = GuardParameters { weight_n: any(), empty_v: any(), landing_speed_m_s: any() };
    if let Ok(mut guard) = Guard::new(config, &craft, any()) {
        let estimate = black_box(estimate::State::default());
        let input = GuardInput { imu_age_us: black_box(0), voltage_v: Some(any()), thrust_n: any() };
        for state in [guard::State::new(), guard::State::in_flight()] {
            guard.set_state(state);
            black_box(guard.step(&any_command(Demand::Land), &estimate, &input));
            let state = black_box(guard.state());
            black_box((state.phase(), state.arming_blockers().any(), state.hold_reason()));
        }
        guard.reset();
    }
}

fn pilot<M: Math>(config: &pilot::Config) {
    let craft = PilotParameters { min_thrust_n: any(), hover_thrust_n: any(), max_thrust_n: any() };
    if let Ok(mut pilot) = Pilot::<M>::new(config, &craft) {
        let estimate = black_box(estimate::State::default());
        let sticks = Sticks { roll: any(), pitch: any(), yaw: any(), climb: any() };
        pilot.set_state(black_box(pilot::State::default()));
        for demand in [Demand::Sticks(sticks), Demand::Land] {
            black_box(pilot.step(&demand, &estimate));
        }
        black_box((pilot.shaped(any()), pilot.rate_command(sticks), pilot.state()));
        pilot.reset();
    }
}
