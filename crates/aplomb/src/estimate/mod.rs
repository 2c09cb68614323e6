//! State estimation by complementary filters: attitude, height and climb, horizontal position and velocity;
//! with wind, air density and the [`Estimator`] that wires them.
//!
//! A complementary filter adds two measurements of one quantity, the fast one high-passed and the slow one
//! low-passed, so that the noise of each is removed where it is large and the sum has no lag:
//!
//! | filter | fast measurement, integrated | slow measurement | corrects |
//! | --- | --- | --- | --- |
//! | [`attitude`] | gyro | accelerometer, GNSS velocity changes, magnetic field | attitude, gyro bias |
//! | [`vertical`] | vertical acceleration | barometer, else GNSS | height, climb, acceleration bias |
//! | [`horizontal`] | horizontal acceleration | GNSS | position, velocity, acceleration bias |
//!
//! The gains are fixed and have the poles of the steady Kalman filter for the stated noise. Slow samples are
//! late: the [`DelayBuffer`] holds the past accelerations, so that each sample is compared with the estimate
//! of its own time.
//!
//! Every part can be used alone and has the same form: `new` takes a configuration and the period and
//! precomputes the coefficients, `step` runs one tick and returns its output, `reset` initialises the state,
//! and `state` and `set_state` save and restore it, bit for bit; coefficients are not part of the state.

mod air_density;
pub mod attitude;
mod barometer;
mod delay_buffer;
mod estimator;
mod field_consistency;
mod gnss_acceleration;
pub mod horizontal;
mod lever_arm;
mod stationary;
mod velocity_change;
pub mod vertical;
mod vote;
mod wind;

pub use air_density::{AirDensity, AirDensityState};
pub use attitude::AttitudeFilter;
pub use barometer::{Barometers, BarometersState, PressureHeight};
pub use delay_buffer::{DelayBuffer, DelayBufferState, Delayed, Preintegration};
pub use estimator::{Config, Estimator, EstimatorState, State};
pub use field_consistency::{FieldConsistency, FieldConsistencyState};
pub use gnss_acceleration::{GnssAcceleration, GnssAccelerationState};
pub use horizontal::HorizontalFilter;
pub use lever_arm::{LeverArm, LeverArmState};
pub use stationary::{StationaryDetector, StationaryState};
pub use velocity_change::VelocityChange;
pub use vertical::VerticalFilter;
pub use vote::{ImuVote, ImuVoteState, Voted};
pub use wind::{WIND_TIME_CONSTANT_S, WindEstimator, WindState};
