//! The command to one motor.

/// Command to one motor: the share of battery voltage applied, 0 (stopped) to 1 (full).
///
/// A bare float is not a command:
///
/// ```compile_fail
/// let command: aplomb::MotorCommand = 0.5;
/// ```
///
/// ```
/// use aplomb::MotorCommand;
/// assert_eq!(MotorCommand::saturating(0.5).get(), 0.5);
/// assert_eq!(MotorCommand::saturating(7.0).get(), 1.0);
/// assert_eq!(MotorCommand::saturating(f32::NAN), MotorCommand::STOPPED);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(try_from = "f32"))]
pub struct MotorCommand(f32);

#[cfg(feature = "serde")]
impl TryFrom<f32> for MotorCommand {
    type Error = &'static str;

    fn try_from(share: f32) -> Result<Self, Self::Error> {
        if (0.0..=1.0).contains(&share) { Ok(Self(share)) } else { Err("a motor command is from 0 to 1") }
    }
}

impl MotorCommand {
    /// The motor is stopped.
    pub const STOPPED: Self = Self(0.0);
    /// The whole battery voltage.
    pub const FULL: Self = Self(1.0);

    /// The nearest valid command; NaN stops the motor.
    #[inline]
    #[must_use]
    pub fn saturating(share: f32) -> Self {
        Self::saturating_from(Self::STOPPED, share)
    }

    /// The nearest valid command of at least `least`; NaN gives `least`.
    ///
    /// ```
    /// use aplomb::MotorCommand;
    /// let idle = MotorCommand::saturating(0.1);
    /// assert_eq!(MotorCommand::saturating_from(idle, 0.05), idle);
    /// assert_eq!(MotorCommand::saturating_from(idle, 0.4).get(), 0.4);
    /// ```
    #[inline]
    #[must_use]
    pub fn saturating_from(least: Self, share: f32) -> Self {
        Self(crate::math::saturate(share, least.0, 1.0))
    }

    /// Share of battery voltage, 0 to 1, never NaN.
    #[inline]
    #[must_use]
    pub const fn get(self) -> f32 {
        self.0
    }
}
