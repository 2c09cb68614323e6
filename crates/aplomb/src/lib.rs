//! Flight control and mixing for quad-X multirotors: `no_std`, no heap, no `unsafe`, no panic path, `f32`, no sine or cosine
//! in the tick.
//!
//! # From sample to motor command
//!
//! Once a tick, a thousand times a second in the demo, samples and a command go in and four motor commands come out:
//!
//! ```text
//!  Sensors --> estimate --> State -+
//!  Command --> guard --------------+-> position -> velocity -> attitude -> rate -> mix --> MotorCommands
//!                                                               ^                  |
//!                                                               '---- achieved ----'
//! ```
//!
//! 1. [`estimate`] turns what is measured (turning, specific force, pressure, satellite fixes, magnetic field) into what is
//!    so: attitude, rate, height, place, velocity.
//! 2. [`guard`] decides whether the motors may turn, and replaces the command when the link is lost, the battery is low or
//!    the craft lies on its side. Nothing else may override a command. [`pilot`] turns thumb sticks into set-points.
//! 3. [`control::position`] turns the way to a place into a velocity, [`control::velocity`] the velocity into an acceleration, to
//!    which [`control::wind`] adds what the wind takes, [`control::vertical`] a height into a vertical one. A rotor pushes
//!    only along the craft's own axis, so an acceleration is a *lean* and a thrust: [`control::thrust_vector`], which also
//!    keeps the tilt limit.
//! 4. [`control::attitude`] turns the error of attitude into a body rate, tilt before heading; [`control::rate`] the error of
//!    the rate into an angular acceleration, and the inertia makes that a torque.
//! 5. [`mix`] shares torque and thrust out to the rotors within what they can give, and says what was *achieved*: the loops
//!    above learn from that and do not wind up. The thrust curve makes each thrust a motor command.
//!
//! Every step is a plain function of a configuration folded at construction, a state and the inputs, and can be used alone.
//! Gains have meanings (crossovers, time constants, limits in SI units), so they carry over from craft to craft, and
//! [`flight::Config::for_airframe`] derives all of them from a few facts about the airframe.
//!
//! # A craft that lifts off
//!
//! ```
//! use aplomb::flight::{Airframe, Config};
//! use aplomb::guard::Phase;
//! use aplomb::mix::Geometry;
//! use aplomb::{Command, Demand, FlightController, ImuSample, Sensors, Spin, Sticks, frames::Vector};
//!
//! // What is known: 1.2 kg, moments of inertia, rotors at 0.16 m forward and 0.16 m to the side, the front left one
//! // counter-clockwise, 0.012 N m of drag torque per N, and 6.5 N of full thrust a rotor.
//! let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
//! let airframe = Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5);
//! // What follows from it, checked once. After this nothing can fail.
//! let mut controller: FlightController = FlightController::new(&Config::for_airframe(&airframe)?)?;
//!
//! // At rest and level an accelerometer feels the ground push up: (0, 0, -9.81) m/s2 forward, right, down.
//! let weight = Vector::new(0.0, 0.0, -9.81);
//! let still = ImuSample::from_rates(Vector::ZERO, weight, 1e-3);
//! let sensors = Sensors::from_imu(still);
//!
//! // Nothing turns before the arm command has been seen off, then on.
//! let commands = controller.step(&sensors, &Command::IDLE);
//! assert_eq!(commands.front_left.get(), 0.0);
//! let centred = Command::fly(Demand::Sticks(Sticks::CENTRED));
//! let commands = controller.step(&sensors, &centred);
//! assert_eq!(controller.status().phase, Phase::OnGround);
//! assert!((commands.front_left.get() - 0.1).abs() < 1e-6); // the least command: turning, not lifting
//!
//! // Climb stick up: it takes off. A quarter of the weight is 2.94 N of 6.5 N a rotor: a command of about 0.67.
//! let up = Command::fly(Demand::Sticks(Sticks { climb: 0.5, ..Sticks::CENTRED }));
//! let mut commands = controller.step(&sensors, &up);
//! for _ in 0..50 {
//!     commands = controller.step(&sensors, &up);
//! }
//! assert!(matches!(controller.status().phase, Phase::Flying { .. }));
//! assert!(commands.rear_right.get() > 0.67 && commands.rear_right.get() < 0.8);
//!
//! // Struck by a gust it rolls right at 0.5 rad/s: the right pair pushes harder against it.
//! let rolling = ImuSample::from_rates(Vector::new(0.5, 0.0, 0.0), weight, 1e-3);
//! for _ in 0..10 {
//!     commands = controller.step(&Sensors::from_imu(rolling), &up);
//! }
//! assert!(commands.front_right.get() > commands.front_left.get() + 0.05);
//!
//! // Whatever comes in, what goes out is a number from 0 to 1.
//! let broken = ImuSample::from_rates(Vector::new(f32::NAN, f32::INFINITY, 0.0), weight, 1e-3);
//! let commands = controller.step(&Sensors::from_imu(broken), &up);
//! assert!((0.0..=1.0).contains(&commands.front_left.get()));
//!
//! // And the motors stop on one word, at any time.
//! let commands = controller.step(&sensors, &Command { cut_motors: true, ..up });
//! assert_eq!(commands.front_left.get(), 0.0);
//! # Ok::<(), aplomb::ConfigError>(())
//! ```
//!
//! # What to read next
//!
//! [`conventions`] shows each axis and sign in a line of code. [`flight`] is the wiring and the configuration; [`record`] what
//! is known about a tick afterwards; [`math`] how a hardware square root comes in. [`frames`] says what the types guard and
//! what they do not.
//!
//! # Features
//!
//! None by default.
//!
//! | feature | gives |
//! | --- | --- |
//! | `defmt` | `defmt::Format` of every public type |
//! | `serde` | `Serialize` and `Deserialize` of configurations, inputs, commands, outputs, records and states. Parts themselves are built from their configuration, so that none is restored without its checks: save their state. |
//! | `micromath` | fast approximate square roots ([`math`]) |
//!
//! # Building values
//!
//! Configurations, inputs and commands are plain structs that firmware writes as literals, so a new field is a breaking change and
//! counts as one. Each configuration has a derived or a stated preset to start from: [`flight::Config::for_airframe`] derives all of
//! a controller, [`pid::Config::proportional`], [`recorder::Config::EVERY_TICK`] and [`gimbal::Config::for_camera`] the rest.
//! Outputs and enums that will grow are `#[non_exhaustive]`.
//!
//! # Limits
//!
//! What is verified is verified in simulation, which is evidence and never clearance to fly: propellers off on the bench, first
//! hover tied down, people clear, somebody able to cut the motors, local rules first.
#![no_std]
#![cfg_attr(docsrs, feature(doc_cfg))]

pub mod command;
pub mod control;
pub mod conventions;
pub mod error;
pub mod estimate;
pub mod filter;
pub mod flight;
pub mod gimbal;
pub mod guard;
pub mod math;
pub mod mix;
mod motor_command;
pub mod parameters;
pub mod pid;
pub mod pilot;
pub mod record;
pub mod recorder;
pub mod sensors;
#[cfg(feature = "serde")]
mod serde_array;

pub use aplomb_types::{Corner, ROTORS, Rotors, Spin, frames};
pub use command::{
    Achieved, Command, Demand, HeadingDemand, Limited, PositionSetpoint, Sticks, Tilt, VelocitySetpoint,
    VerticalDemand,
};
pub use error::ConfigError;
pub use flight::FlightController;
#[cfg(feature = "micromath")]
pub use math::Micromath;
pub use math::{Libm, Math};
pub use motor_command::MotorCommand;
pub use sensors::{Battery, GnssFix, ImuSample, Sample, Sensors};

/// Standard acceleration of free fall in m/s2.
pub const STANDARD_GRAVITY_M_S2: f32 = aplomb_types::gravity::STANDARD_M_S2_F32;
