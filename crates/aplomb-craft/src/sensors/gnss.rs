//! GNSS receiver: delayed position and velocity with white and correlated noise, outages, and multipath jumps
//! of the position.
//!
//! Outages and jumps begin at random at a mean rate (Poisson process). Their durations are exponentially
//! distributed.

use super::Reading;
use super::delivery::Delivery;
use super::noise::{GaussMarkov, normals};
use crate::body::State;
use crate::error::{ConfigError, all_finite, not_negative, positive, within};
use crate::random::{Source, Stream};
use crate::visit::{Visit, visit_optional};
use glam::DVec3;

/// Parameters of a GNSS receiver with its antenna.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Sample rate (Hz).
    pub rate_hz: f64,
    /// Delay from sample to delivery (s).
    pub delay_s: f64,
    /// Position of the antenna, body axes (m).
    pub position_m: [f64; 3],
    /// White noise of the position, standard deviation per axis (m).
    pub white_noise_m: f64,
    /// Correlated noise of the position, standard deviation per axis (m).
    pub correlated_noise_m: f64,
    /// Correlation time of the correlated noise (s).
    pub correlation_time_s: f64,
    /// White noise of the velocity, standard deviation per axis (m/s).
    pub velocity_noise_m_s: f64,
    /// Outages: no samples.
    pub dropouts: Events,
    /// Position jumps by multipath; the stated accuracy does not include them.
    pub jumps: Events,
    /// Position jump, standard deviation per axis (m).
    pub jump_m: f64,
}

/// Random events.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Events {
    /// Mean rate of events (1/h) while none is active.
    pub per_h: f64,
    /// Mean duration (s).
    pub mean_s: f64,
}

impl Events {
    /// No events.
    pub const NEVER: Events = Events { per_h: 0.0, mean_s: 1.0 };

    fn check(&self, [rate, length]: [&'static str; 2]) -> Result<(), ConfigError> {
        within(rate, self.per_h, 0.0, 3600.0)?;
        positive(length, self.mean_s)
    }
}

/// Position and velocity solution.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GnssFix {
    /// North-east-down from home (m).
    pub position_m: DVec3,
    /// North-east-down (m/s).
    pub velocity_m_s: DVec3,
    /// Stated horizontal accuracy of the position, one standard deviation per axis (m).
    pub horizontal_accuracy_m: f64,
    /// Stated vertical accuracy of the position, one standard deviation (m). The errors are the same on all
    /// three axes.
    pub vertical_accuracy_m: f64,
    /// Stated horizontal accuracy of the velocity, one standard deviation per axis (m/s).
    pub horizontal_velocity_accuracy_m_s: f64,
    /// Stated vertical accuracy of the velocity, one standard deviation (m/s).
    pub vertical_velocity_accuracy_m_s: f64,
}

/// Parts of the position error of the latest sample, north-east-down (m).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Errors {
    /// White noise.
    pub white_noise_m: DVec3,
    /// Correlated noise.
    pub correlated_noise_m: DVec3,
    /// Multipath jump.
    pub jump_m: DVec3,
}

impl GnssFix {
    /// Visits position and velocity.
    pub(crate) fn visit(fix: Option<&mut Self>, name: &'static str, from: usize, visit: &mut Visit) {
        let (position, velocity) = match fix {
            Some(fix) => (Some(&mut fix.position_m), Some(&mut fix.velocity_m_s)),
            None => (None, None),
        };
        visit_optional(visit, name, from, position);
        visit_optional(visit, name, from + 3, velocity);
    }
}

impl Config {
    /// Typical consumer receiver: 5 Hz, delay 0.2 s, white noise 0.3 m, correlated noise 1.5 m over 150 s,
    /// velocity noise 0.1 m/s.
    pub fn consumer() -> Self {
        Config {
            rate_hz: 5.0,
            delay_s: 0.2,
            position_m: [0.0; 3],
            white_noise_m: 0.3,
            correlated_noise_m: 1.5,
            correlation_time_s: 150.0,
            velocity_noise_m_s: 0.1,
            dropouts: Events::NEVER,
            jumps: Events::NEVER,
            jump_m: 0.0,
        }
    }

    /// No errors and no delay.
    pub fn ideal() -> Self {
        Config {
            delay_s: 0.0,
            white_noise_m: 0.0,
            correlated_noise_m: 0.0,
            velocity_noise_m_s: 0.0,
            ..Config::consumer()
        }
    }

    pub(crate) fn check(&self, tick_s: f64) -> Result<(), ConfigError> {
        let fields = ["sensors.gnss.rate_hz", "sensors.gnss.delay_s"];
        Delivery::<GnssFix>::check(fields, self.rate_hz, self.delay_s, tick_s)?;
        all_finite("sensors.gnss.position_m", &self.position_m)?;
        not_negative("sensors.gnss.white_noise_m", self.white_noise_m)?;
        not_negative("sensors.gnss.correlated_noise_m", self.correlated_noise_m)?;
        positive("sensors.gnss.correlation_time_s", self.correlation_time_s)?;
        not_negative("sensors.gnss.velocity_noise_m_s", self.velocity_noise_m_s)?;
        self.dropouts.check(["sensors.gnss.dropouts_per_h", "sensors.gnss.dropout_s"])?;
        self.jumps.check(["sensors.gnss.jumps_per_h", "sensors.gnss.jump_s"])?;
        not_negative("sensors.gnss.jump_m", self.jump_m)
    }
}

#[derive(Clone, Debug)]
pub(crate) struct Gnss {
    config: Config,
    white: Stream,
    correlated: Stream,
    slow: GaussMarkov<DVec3>,
    events: Stream,
    dropouts: EventProcess,
    jumps: EventProcess,
    accuracy_m: f64,
    errors: Errors,
    delivery: Delivery<GnssFix>,
}

impl Gnss {
    pub(crate) fn new(config: &Config, tick_s: f64, seed: u64) -> Self {
        let delivery = Delivery::new(config.rate_hz, config.delay_s, tick_s);
        let mut correlated = Stream::new(seed, Source::GnssCorrelated);
        let period_s = delivery.period_s(tick_s);
        let slow = GaussMarkov::vector(
            config.correlated_noise_m,
            config.correlation_time_s,
            period_s,
            &mut correlated,
        );
        Gnss {
            config: *config,
            white: Stream::new(seed, Source::GnssWhite),
            correlated,
            slow,
            events: Stream::new(seed, Source::GnssEvents),
            dropouts: EventProcess::new(&config.dropouts, period_s),
            jumps: EventProcess::new(&config.jumps, period_s),
            accuracy_m: libm::sqrt(
                config.white_noise_m * config.white_noise_m
                    + config.correlated_noise_m * config.correlated_noise_m,
            ),
            errors: Errors::default(),
            delivery,
        }
    }

    pub(crate) fn errors(&self) -> Errors {
        self.errors
    }

    /// Visits the positions and velocities in transit.
    pub(crate) fn visit(&mut self, visit: &mut Visit) {
        for (i, fix) in self.delivery.in_transit().enumerate() {
            GnssFix::visit(fix, "gnss.in_transit", 6 * i, visit);
        }
    }

    #[inline]
    pub(crate) fn advance(&mut self, tick: u64, state: &State) -> Option<Reading<GnssFix>> {
        let Gnss { config, white, correlated, slow, events, dropouts, jumps, accuracy_m, errors, delivery } =
            self;
        delivery.advance(tick, || {
            errors.white_noise_m = normals(white) * config.white_noise_m;
            errors.correlated_noise_m = slow.advance_vector(correlated);
            match jumps.pass(events) {
                EventState::Begins => errors.jump_m = normals(events) * config.jump_m,
                EventState::On => {}
                EventState::Off => errors.jump_m = DVec3::ZERO,
            }
            if dropouts.pass(events) != EventState::Off {
                return None;
            }
            let arm = DVec3::from_array(config.position_m);
            let position = state.position_m + state.attitude * arm;
            let velocity = state.velocity_m_s + state.attitude * state.rate_rad_s.cross(arm);
            Some(GnssFix {
                position_m: position + errors.white_noise_m + errors.correlated_noise_m + errors.jump_m,
                velocity_m_s: velocity + normals(white) * config.velocity_noise_m_s,
                horizontal_accuracy_m: *accuracy_m,
                vertical_accuracy_m: *accuracy_m,
                horizontal_velocity_accuracy_m_s: config.velocity_noise_m_s,
                vertical_velocity_accuracy_m_s: config.velocity_noise_m_s,
            })
        })
    }
}

/// Random events at the sample times.
#[derive(Clone, Copy, Debug)]
struct EventProcess {
    begin_share: f64,
    mean_samples: f64,
    left: u64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum EventState {
    Off,
    Begins,
    On,
}

impl EventProcess {
    fn new(events: &Events, period_s: f64) -> Self {
        EventProcess {
            begin_share: -libm::expm1(-events.per_h / 3600.0 * period_s),
            mean_samples: events.mean_s / period_s,
            left: 0,
        }
    }

    /// Advances by one sample.
    #[inline]
    fn pass(&mut self, stream: &mut Stream) -> EventState {
        if self.begin_share == 0.0 {
            return EventState::Off;
        }
        if self.left > 0 {
            self.left -= 1;
            return EventState::On;
        }
        if stream.uniform() >= self.begin_share {
            return EventState::Off;
        }
        // Rounded up, so that an event lasts at least one sample; 1 - uniform is within (0, 1].
        let samples = libm::ceil(-libm::log(1.0 - stream.uniform()) * self.mean_samples);
        self.left = libm::fmax(samples, 1.0) as u64 - 1;
        EventState::Begins
    }
}
