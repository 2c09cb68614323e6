//! Flight control for quad-X multirotors: state estimation, cascaded control loops, control allocation
//! (mixing) and failsafe. `no_std`, no heap, no `unsafe`, no panic path, `f32`, no sine or cosine in the
//! tick.
//!
//! # Data flow
//!
//! Once per tick (1 kHz in the demo) samples and a command go in and four motor commands come out:
//!
//! ```text
//!  Sensors --> estimate --> State -+
//!  Command --> guard --> pilot ----+-> position -> velocity -> attitude -> rate -> mix --> MotorCommands
//!                                                    ^                      ^       |
//!                                                    '------ achieved ------'-------'
//! ```
//!
//! 1. **State estimation**, [`estimate`]: complementary filters combine gyro, accelerometer, magnetometer,
//!    barometer and GNSS. The state is attitude, body rate, height, position, velocity and wind.
//! 2. **Arming and failsafe**, [`guard`]: decides whether the motors may run and replaces the command on a
//!    lost link, a low battery, a tip-over or missing inertial samples. No other part overrides a command.
//!    [`pilot`] converts stick deflections to set-points.
//! 3. **Outer loops** of the cascade: [`control::position`] converts the position error to a velocity
//!    set-point, [`control::velocity`] (PI) the velocity error to an acceleration, [`control::vertical`] the
//!    height or climb error to a vertical acceleration; [`control::wind`] adds the feed-forward against the
//!    wind. [`control::thrust_vector`] converts the acceleration to the direction of the thrust, and so the
//!    tilt, within the tilt limit.
//! 4. **Inner loops**: [`control::attitude`] converts the attitude error to body rates, tilt before heading,
//!    with a reference model for feed-forward; [`control::rate`] (PID) the rate error to an angular
//!    acceleration and, with the inertia, to a torque. The body rate passes notch filters at the rotor speeds
//!    and a low-pass ([`filter`]).
//! 5. **Control allocation**, [`mix`]: distributes torque and total thrust to the rotors within their limits,
//!    with priorities under saturation: roll and pitch, then thrust, then yaw. The thrust curve converts each
//!    thrust to a motor command for the present battery voltage and air density. The *achieved* torque,
//!    thrust and acceleration are fed back to the velocity, vertical and rate controllers for **anti-windup**
//!    by back-calculation ([`pid`]).
//!
//! Gains are crossovers, time constants and limits in SI units, so they do not contain mass, inertia or rotor
//! constants; [`flight::Config::for_airframe`] derives all of them from the parameters of the airframe.
//!
//! # Swapping a part
//!
//! [`FlightController::step`] is the tick and fits on one page: it calls the parts in the order of the list
//! above and does nothing else. Every part is public and has one form: `new` checks a configuration and
//! precomputes the coefficients, `step` runs one period, `reset` initialises the state. To replace a part,
//! copy the lines of the tick (module [`flight`]) and call your own type in them: the project's
//! `examples/own_rate_controller.rs` does so with the rate controller. A part can also be used alone, for
//! example [`pid`], [`mix`] or [`estimate`].
//!
//! # Glossary
//!
//! | term | meaning |
//! | --- | --- |
//! | achieved | torque, thrust and acceleration that are left after all limits, [`Achieved`] |
//! | anti-windup | keeps an integral from growing while its output is limited; here by back-calculation from what was achieved |
//! | bumpless transfer | change of gains or of the controller without a step of its output |
//! | cascade | nested loops; the output of the outer one is the set-point of the inner one |
//! | climb, climb rate | vertical velocity, up positive |
//! | complementary filter | sum of a high-passed fast and a low-passed slow measurement of one quantity |
//! | control allocation, mixing | from torque and total thrust to the thrust of each rotor |
//! | corner | position of a rotor on the frame: front left, front right, rear left, rear right, [`Corner`] |
//! | crossover | angular frequency in rad/s at which the gain of an open loop is 1 |
//! | demand | motion set-points or stick deflections of a command, [`Demand`]; wrench set-point of the mixer |
//! | expo | curve of a stick that is flat about its centre, [`pilot`] |
//! | failsafe | defined reaction to a fault: hold, land or stop the motors, [`guard`] |
//! | feed-forward | part of a controller's output that does not come from the error |
//! | idle command | motor command of an armed rotor on the ground, and the lowest one in flight |
//! | innovation | measurement less the estimate of it |
//! | motor command | average motor voltage as a share of the battery voltage, 0 to 1, [`MotorCommand`] |
//! | notch | filter that removes a narrow band about one frequency |
//! | rate | angular rate about the body axes |
//! | set-point | value to which a controller regulates its measurement |
//! | specific force | acceleration less gravity: what an accelerometer measures |
//! | tick | one period of the fastest loop; slower loops run on every n-th tick ([`flight::Divider`]) |
//! | tilt | angle between the thrust and the vertical; as a demand the direction of the thrust, [`Tilt`] |
//!
//! # A craft that takes off
//!
//! ```
//! use aplomb::flight::{Airframe, Config};
//! use aplomb::guard::Phase;
//! use aplomb::mix::Geometry;
//! use aplomb::{Command, Demand, FlightController, ImuSample, Sensors, Spin, Sticks, frames::Vector};
//!
//! // The airframe: 1.2 kg, moments of inertia in kg m2, rotors 0.16 m forward and 0.16 m to the side, the front left
//! // one counter-clockwise, 0.012 N m of drag torque per N, and 6.5 N of full thrust per rotor.
//! let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
//! let airframe = Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5);
//! // All settings are derived and checked here. A step cannot fail.
//! let mut controller: FlightController = FlightController::new(&Config::for_airframe(&airframe)?)?;
//!
//! // Specific force of a stationary, level craft: (0, 0, -9.81) m/s2 forward, right, down.
//! let level = Vector::new(0.0, 0.0, -9.81);
//! let sensors = Sensors::from_imu(ImuSample::from_rates(Vector::ZERO, level, 1e-3));
//!
//! // The motors stay stopped until the arm command has been off, then on.
//! let commands = controller.step(&sensors, &Command::IDLE);
//! assert_eq!(commands.front_left.get(), 0.0);
//! let centred = Command::fly(Demand::Sticks(Sticks::CENTRED));
//! let commands = controller.step(&sensors, &centred);
//! assert_eq!(controller.status().phase, Phase::OnGround);
//! // The idle command turns the rotors at a sixth of their hover speed: sqrt(2.94/6.5)/6.
//! assert!((commands.front_left.get() - 0.112).abs() < 1e-3);
//!
//! // Climb stick up: take-off. A quarter of the weight is 2.94 N of 6.5 N per rotor: a command of about 0.67.
//! let up = Command::fly(Demand::Sticks(Sticks { climb: 0.5, ..Sticks::CENTRED }));
//! let mut commands = controller.step(&sensors, &up);
//! for _ in 0..50 {
//!     commands = controller.step(&sensors, &up);
//! }
//! assert_eq!(controller.status().phase, Phase::Flying);
//! assert!(commands.rear_right.get() > 0.67 && commands.rear_right.get() < 0.8);
//!
//! // A gust rolls the craft right at 0.5 rad/s: the right pair gets more thrust.
//! let rolling = ImuSample::from_rates(Vector::new(0.5, 0.0, 0.0), level, 1e-3);
//! for _ in 0..10 {
//!     commands = controller.step(&Sensors::from_imu(rolling), &up);
//! }
//! assert!(commands.front_right.get() > commands.front_left.get() + 0.05);
//!
//! // Motor commands are numbers from 0 to 1 for any input.
//! let broken = ImuSample::from_rates(Vector::new(f32::NAN, f32::INFINITY, 0.0), level, 1e-3);
//! let commands = controller.step(&Sensors::from_imu(broken), &up);
//! assert!((0.0..=1.0).contains(&commands.front_left.get()));
//!
//! // `cut_motors` stops the motors in every phase.
//! let commands = controller.step(&sensors, &Command { cut_motors: true, ..up });
//! assert_eq!(commands.front_left.get(), 0.0);
//! # Ok::<(), aplomb::ConfigError>(())
//! ```
//!
//! # Further modules
//!
//! | module | contents |
//! | --- | --- |
//! | [`conventions`] | axes and signs, each with a line of code |
//! | [`frames`] | vectors and attitude with their frame in the type, and what the types do not check |
//! | [`math`] | square root and trigonometry behind a trait: a hardware square root can be used |
//! | [`record`], [`recorder`] | the signals of one tick, and a ring of them for firmware |
//! | [`parameters`] | a whole configuration as a block of bytes for flash memory |
//! | [`gimbal`] | three-axis camera stabiliser |
//!
//! # Features
//!
//! None by default.
//!
//! | feature | gives |
//! | --- | --- |
//! | `defmt` | `defmt::Format` of every public type |
//! | `serde` | `Serialize` and `Deserialize` of configurations, inputs, commands, outputs, records and states. A part itself is built from its configuration, which is checked; its state can be saved and restored. |
//! | `micromath` | fast approximate square roots ([`math`]) |
//!
//! # Building values
//!
//! Configurations, inputs and commands are plain structs that firmware writes as literals, so a new field is
//! a breaking change and counts as one. Each configuration has a derived or a stated preset to start from:
//! [`flight::Config::for_airframe`] derives all of a controller, [`pid::Config::proportional`],
//! [`recorder::Config::EVERY_TICK`] and [`gimbal::Config::for_camera`] the rest. Outputs and enums that will
//! grow are `#[non_exhaustive]`.
//!
//! # Limits
//!
//! The controller is verified in simulation, which is evidence and never clearance to fly: propellers off on
//! the bench, first hover tethered, people clear, a person ready to cut the motors, local rules first.
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
