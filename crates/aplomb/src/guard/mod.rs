//! Guard: arming and failsafe on stale or invalid inputs, a lost link, a low battery and tip-over; end of a
//! landing. No other part overrides a command.
//!
//! ```text
//!              arm, no blocker              demand to take off
//!   Disarmed ------------------> OnGround ---------------------> Flying
//!      ^                           |  ^                           |  ^
//!      |     arm off, link lost    |  |  descent commanded,       |  |  no reason to land
//!      |<--------------------------'  '--- landed condition ------'  |  any more
//!      |                                                             |
//!      |   arm off      Stopped <----------------------- Landing <---'  land commanded, arm off,
//!      '---------------    ^     landed condition                       link lost, battery low
//!                          '---- cut, tip-over, no inertial sample: from every armed phase
//! ```
//!
//! `cut_motors` has priority in every phase. After power-up, after every stop, after a link lost on the
//! ground and after a cut the motors start only once the arm command has been off and on again. A low battery
//! keeps an armed craft on the ground.
//!
//! The reason of a landing or a stop is in the [`Phase`]; the reason why centred sticks replace the demand in
//! [`State::hold_reason`]; what blocks arming in [`ArmingBlockers`]. [`crate::flight::derive`] has the rules
//! of the derived times and thresholds; the logic is common practice, without a published source.

mod arming;
mod battery;
mod config;
mod demand;
mod state;

pub use arming::ArmingBlockers;
pub use config::Config;
pub use state::{Phase, Reason, State};

use crate::error::{ConfigError, require_not_negative, require_positive};
use crate::{Command, Demand, Sticks, estimate};
use battery::Battery;
use demand::{is_finite, is_landing_demand, is_take_off_demand};
use state::Mode;

/// Body rate in rad/s (29 deg/s) below which a craft beyond the tip-over tilt counts as stationary: above
/// gyro bias and rotor vibration, below the rate of a craft upset in the air. Common practice, no source.
const TIPPED_RATE_RAD_S: f32 = 0.5;

/// State of the motors that the guard allows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Motors {
    /// Stopped.
    #[default]
    Stopped,
    /// At the idle command.
    Idle,
    /// Commanded by the controllers.
    Running,
}

/// Output of the guard.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct GuardDecision {
    /// The demand to fly.
    pub demand: Demand,
    /// State of the motors.
    pub motors: Motors,
    /// The controllers must be reset on this tick: from now on they command the motors.
    pub reset_controllers: bool,
}

/// Inputs of the guard besides command and estimate.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct GuardInput {
    /// Age in us of the newest inertial sample that is finite.
    pub imu_age_us: u32,
    /// Filtered battery voltage in V, if it is measured.
    pub voltage_v: Option<f32>,
    /// Total thrust in N allocated on the last tick.
    pub thrust_n: f32,
}

/// Parameters of the craft that the guard needs besides its configuration.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(deny_unknown_fields))]
pub struct GuardParameters {
    /// Weight in N; above 0.
    pub weight_n: f32,
    /// Battery voltage in V under load at which the pack is empty; at least 0.
    pub empty_v: f32,
    /// Descent rate in m/s when landing; above 0.
    pub landing_speed_m_s: f32,
}

/// Arming and failsafe. See the [module](self) for the phases.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Guard {
    arming_rate_rad_s: f32,
    arming_stick: f32,
    landed_climb_m_s: f32,
    cos_arming: f32,
    cos_tip_over: f32,
    landed_thrust_n: f32,
    imu_hold_us: u32,
    link_hold_us: u32,
    link_land_us: u32,
    battery: Battery,
    tip_over_ticks: u32,
    landed_ticks: u32,
    state: State,
}

/// A time as the nearest number of ticks, at least 1.
fn ticks(time_s: f32, period_s: f32) -> u32 {
    ((time_s / period_s + 0.5) as u32).max(1)
}

/// A time as the nearest number of microseconds.
fn microseconds(time_s: f32) -> u32 {
    (1e6 * time_s + 0.5) as u32
}

impl Guard {
    /// Checks the configuration for a craft and a tick in s, and precomputes coefficients. Starts disarmed.
    ///
    /// # Errors
    /// Names the field that is not finite, not positive, out of range or in the wrong order.
    ///
    /// ```
    /// use aplomb::guard::{Config, Guard, GuardParameters};
    /// # let config = Config {
    /// #     arming_tilt_rad: 0.26, arming_rate_rad_s: 0.35, arming_stick: 0.1, imu_hold_s: 0.04, link_hold_s: 0.5,
    /// #     link_land_s: 3.0, low_battery_v: 13.0, low_battery_s: 3.0, tip_over_tilt_rad: 1.05, tip_over_s: 0.5,
    /// #     landed_thrust_share: 0.5, landed_climb_m_s: 0.3, landed_s: 0.5,
    /// # };
    /// let craft = GuardParameters { weight_n: 11.8, empty_v: 12.0, landing_speed_m_s: 0.7 };
    /// assert!(Guard::new(&config, &craft, 1e-3).is_ok());
    /// // Landing before holding is refused.
    /// let swapped = Config { link_hold_s: 3.0, link_land_s: 0.5, ..config };
    /// assert_eq!(Guard::new(&swapped, &craft, 1e-3).unwrap_err().field, "link_hold_s");
    /// ```
    pub fn new(config: &Config, craft: &GuardParameters, period_s: f32) -> Result<Self, ConfigError> {
        require_positive("period_s", period_s)?;
        require_positive("weight_n", craft.weight_n)?;
        require_not_negative("empty_v", craft.empty_v)?;
        require_positive("landing_speed_m_s", craft.landing_speed_m_s)?;
        config.check()?;
        Ok(Self {
            arming_rate_rad_s: config.arming_rate_rad_s,
            arming_stick: config.arming_stick,
            landed_climb_m_s: config.landed_climb_m_s,
            cos_arming: libm::cosf(config.arming_tilt_rad),
            cos_tip_over: libm::cosf(config.tip_over_tilt_rad),
            landed_thrust_n: config.landed_thrust_share * craft.weight_n,
            imu_hold_us: microseconds(config.imu_hold_s),
            link_hold_us: microseconds(config.link_hold_s),
            link_land_us: microseconds(config.link_land_s),
            battery: Battery::new(config, craft, period_s),
            tip_over_ticks: ticks(config.tip_over_s, period_s),
            landed_ticks: ticks(config.landed_s, period_s),
            state: State::new(),
        })
    }

    /// One tick. Every input may be NaN: arming is then refused, the demand is replaced by centred sticks,
    /// and neither the landed nor the tip-over condition is met.
    ///
    /// ```
    /// use aplomb::guard::{Config, Guard, GuardInput, GuardParameters, Motors, Phase, Reason};
    /// use aplomb::{Command, Demand, Sticks, estimate};
    /// let config = Config {
    ///     arming_tilt_rad: 0.26, arming_rate_rad_s: 0.35, arming_stick: 0.1, imu_hold_s: 0.04, link_hold_s: 0.5,
    ///     link_land_s: 3.0, low_battery_v: 13.0, low_battery_s: 3.0, tip_over_tilt_rad: 1.05, tip_over_s: 0.5,
    ///     landed_thrust_share: 0.7, landed_climb_m_s: 0.3, landed_s: 0.5,
    /// };
    /// let craft = GuardParameters { weight_n: 11.8, empty_v: 12.0, landing_speed_m_s: 0.7 };
    /// let mut guard = Guard::new(&config, &craft, 1e-3)?;
    /// let level = estimate::State { attitude_valid: true, ..estimate::State::default() };
    /// let input = GuardInput { imu_age_us: 0, voltage_v: Some(15.2), thrust_n: 11.8 };
    /// // Arm off, arm on with sticks centred, climb.
    /// assert_eq!(guard.step(&Command::IDLE, &level, &input).motors, Motors::Stopped);
    /// let centred = Command::fly(Demand::Sticks(Sticks::CENTRED));
    /// assert_eq!(guard.step(&centred, &level, &input).motors, Motors::Idle);
    /// let climb = Command::fly(Demand::Sticks(Sticks { climb: 0.6, ..Sticks::CENTRED }));
    /// assert_eq!(guard.step(&climb, &level, &input).motors, Motors::Running);
    /// // 0.6 s without a command: position and height are held. 3.1 s: it lands.
    /// assert_eq!(guard.step(&Command { age_us: 600_000, ..climb }, &level, &input).demand, centred.demand);
    /// assert_eq!(guard.state().hold_reason(), Some(Reason::LinkLost));
    /// assert_eq!(guard.step(&Command { age_us: 3_100_000, ..climb }, &level, &input).demand, Demand::Land);
    /// assert_eq!(guard.state().phase(), Phase::Landing { reason: Reason::LinkLost });
    /// # Ok::<(), aplomb::ConfigError>(())
    /// ```
    pub fn step(
        &mut self,
        command: &Command,
        estimate: &estimate::State,
        input: &GuardInput,
    ) -> GuardDecision {
        let was_flying = self.state.phase().is_flying();
        self.battery.watch(&mut self.state.battery, input.voltage_v, estimate);
        self.state.tipped_ticks = count(self.state.tipped_ticks, self.is_tipped_over(estimate));
        self.state.mode = self.next(command, estimate, input);
        let motors = match self.state.phase() {
            Phase::Disarmed | Phase::Stopped { .. } => Motors::Stopped,
            Phase::OnGround => Motors::Idle,
            Phase::Flying | Phase::Landing { .. } => Motors::Running,
        };
        let demand;
        (demand, self.state.hold_reason) = self.demand(command);
        GuardDecision { demand, motors, reset_controllers: motors == Motors::Running && !was_flying }
    }

    /// Disarmed, as after power-up.
    pub fn reset(&mut self) {
        self.state = State::new();
    }

    /// The state after the last tick.
    #[must_use]
    pub const fn state(&self) -> State {
        self.state
    }

    /// Restores a saved state.
    pub const fn set_state(&mut self, state: State) {
        self.state = state;
    }

    /// The phase after this tick.
    fn next(&self, command: &Command, estimate: &estimate::State, input: &GuardInput) -> Mode {
        if self.state.phase().is_armed()
            && let Some(reason) = self.stop_reason(command, input)
        {
            return Mode::stop(reason);
        }
        match self.state.mode {
            Mode::Disarmed { arm_seen_off, blockers } => {
                self.after_disarmed(arm_seen_off, blockers, command, estimate, input)
            }
            Mode::OnGround => self.after_on_ground(command, estimate),
            Mode::Flying { landed_ticks } => self.after_flying(landed_ticks, command, estimate, input),
            Mode::Landing { reason, landed_ticks } => {
                self.after_landing(reason, landed_ticks, command, estimate, input)
            }
            Mode::Stopped { .. } if !command.arm && !command.cut_motors => Mode::disarm(command),
            stopped @ Mode::Stopped { .. } => stopped,
        }
    }

    fn after_disarmed(
        &self,
        arm_seen_off: bool,
        blockers: ArmingBlockers,
        command: &Command,
        estimate: &estimate::State,
        input: &GuardInput,
    ) -> Mode {
        if command.cut_motors {
            return Mode::Disarmed { arm_seen_off: !command.arm, blockers };
        }
        if !command.arm {
            return Mode::Disarmed { arm_seen_off: true, blockers: ArmingBlockers::NONE };
        }
        let blockers = self.arming_blockers(arm_seen_off, command, estimate, input);
        if blockers.any() { Mode::Disarmed { arm_seen_off, blockers } } else { Mode::arm() }
    }

    fn after_on_ground(&self, command: &Command, estimate: &estimate::State) -> Mode {
        let may_take_off =
            command.age_us <= self.link_hold_us && !self.battery_low() && is_finite(&command.demand);
        if !command.arm || command.age_us > self.link_land_us {
            Mode::disarm(command)
        } else if may_take_off && is_take_off_demand(&command.demand, estimate) {
            Mode::take_off()
        } else {
            Mode::OnGround
        }
    }

    fn after_flying(
        &self,
        landed_ticks: u32,
        command: &Command,
        estimate: &estimate::State,
        input: &GuardInput,
    ) -> Mode {
        if let Some(reason) = self.landing_reason(command) {
            return Mode::land(reason);
        }
        let landed_ticks = count(landed_ticks, self.looks_landed(estimate, input));
        if landed_ticks >= self.landed_ticks && is_landing_demand(&command.demand) {
            Mode::touch_down()
        } else {
            Mode::Flying { landed_ticks }
        }
    }

    fn after_landing(
        &self,
        reason: Reason,
        landed_ticks: u32,
        command: &Command,
        estimate: &estimate::State,
        input: &GuardInput,
    ) -> Mode {
        let landed_ticks = count(landed_ticks, self.looks_landed(estimate, input));
        if landed_ticks >= self.landed_ticks {
            return Mode::stop(reason);
        }
        match self.landing_reason(command) {
            Some(reason) => Mode::Landing { reason, landed_ticks },
            // A voltage that rises at lower load does not mean more charge.
            None if reason == Reason::BatteryLow => Mode::Landing { reason, landed_ticks },
            None => Mode::abort_landing(),
        }
    }

    /// Why the motors of an armed craft must stop now, by priority.
    fn stop_reason(&self, command: &Command, input: &GuardInput) -> Option<Reason> {
        if command.cut_motors {
            Some(Reason::Cut)
        } else if input.imu_age_us > self.imu_hold_us {
            Some(Reason::ImuLost)
        } else if self.state.tipped_ticks >= self.tip_over_ticks {
            Some(Reason::TippedOver)
        } else {
            None
        }
    }

    /// Why the craft must land now, by priority.
    fn landing_reason(&self, command: &Command) -> Option<Reason> {
        if self.battery_low() {
            Some(Reason::BatteryLow)
        } else if command.age_us > self.link_land_us {
            Some(Reason::LinkLost)
        } else if !command.arm || matches!(command.demand, Demand::Land) {
            Some(Reason::Commanded)
        } else {
            None
        }
    }

    const fn battery_low(&self) -> bool {
        self.battery.is_low(&self.state.battery)
    }

    /// The demand to fly in the phase reached, and why it is not the one commanded.
    fn demand(&self, command: &Command) -> (Demand, Option<Reason>) {
        let centred = Demand::Sticks(Sticks::CENTRED);
        match self.state.phase() {
            Phase::Landing { .. } => (Demand::Land, None),
            Phase::OnGround if self.battery_low() => (centred, Some(Reason::BatteryLow)),
            _ if command.age_us > self.link_hold_us => (centred, Some(Reason::LinkLost)),
            _ if !is_finite(&command.demand) => (centred, Some(Reason::NotANumber)),
            _ => (command.demand, None),
        }
    }

    /// The landed condition: less thrust than the weight needs, and no vertical speed.
    fn looks_landed(&self, estimate: &estimate::State, input: &GuardInput) -> bool {
        input.thrust_n < self.landed_thrust_n && estimate.velocity_m_s.z().abs() < self.landed_climb_m_s
    }

    /// The tip-over condition: tilted, neither falling nor rotating. In the air a craft tilted that far falls
    /// or rotates.
    fn is_tipped_over(&self, estimate: &estimate::State) -> bool {
        estimate.attitude.cos_tilt() < self.cos_tip_over
            && estimate.velocity_m_s.z().abs() < self.landed_climb_m_s
            && estimate.rate_rad_s.norm_squared() < TIPPED_RATE_RAD_S * TIPPED_RATE_RAD_S
    }
}

/// Ticks in a row on which a condition was met.
const fn count(ticks: u32, met: bool) -> u32 {
    if met { ticks.saturating_add(1) } else { 0 }
}

#[cfg(test)]
mod tests;
