//! The filter on a recording, and a summary of its errors.

use aplomb::estimate::attitude::{AttitudeFilter, Config, Corrections};
use aplomb::frames::Vector;
use aplomb::{ConfigError, Libm};

use super::{ErrorAngles, Recording};

/// Corrections of the filter besides gyro and accelerometer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Aiding {
    /// None: the heading is not corrected.
    None,
    /// The magnetic field.
    Field,
}

/// Output of the filter, one entry per row of the recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// Attitude, body to world, scalar first.
    pub attitude: Vec<[f32; 4]>,
    /// Estimated gyro bias in rad/s.
    pub gyro_bias_rad_s: Vec<[f32; 3]>,
    /// Error, if there is a reference.
    pub error: Vec<Option<ErrorAngles>>,
}

/// Root mean squares over the evaluated rows with a reference; NaN without any.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Score {
    /// Number of evaluated rows.
    pub rows: usize,
    /// Root mean square of each angle.
    pub rms: ErrorAngles,
    /// Largest value of each angle.
    pub largest: ErrorAngles,
}

/// Runs the filter on a recording. The stationary detection is on where `motors_on` is false.
///
/// # Errors
/// An invalid configuration of the filter, or an invalid period.
pub fn run(recording: &Recording, config: &Config, aiding: Aiding) -> Result<Run, ConfigError> {
    let mut filter = AttitudeFilter::<Libm>::new(config, recording.period_s)?;
    let rows = recording.rows.len();
    let (mut attitude, mut gyro_bias_rad_s) = (Vec::with_capacity(rows), Vec::with_capacity(rows));
    let mut error = Vec::with_capacity(rows);
    let vector = |[x, y, z]: [f32; 3]| Vector::new(x, y, z);
    for row in &recording.rows {
        let corrections = Corrections {
            magnetic_field: row.field_ut.filter(|_| aiding == Aiding::Field).map(vector),
            stationary_allowed: !row.motors_on,
            ..Corrections::default()
        };
        let output = filter.step(vector(row.gyro_rad_s), vector(row.accel_m_s2), &corrections);
        let q = output.attitude.wxyz();
        attitude.push(q);
        gyro_bias_rad_s.push(output.gyro_bias_rad_s.to_array());
        error.push(row.reference.map(|reference| ErrorAngles::between(q.map(f64::from), reference)));
    }
    Ok(Run { attitude, gyro_bias_rad_s, error })
}

impl Run {
    /// Summary of the errors.
    #[must_use]
    pub fn score(&self, recording: &Recording) -> Score {
        let counted = recording.rows.iter().zip(&self.error).filter(|(row, _)| row.scored);
        let errors: Vec<ErrorAngles> = counted.filter_map(|(_, error)| *error).collect();
        let rms = |angle: fn(&ErrorAngles) -> f64| {
            (errors.iter().map(|error| angle(error).powi(2)).sum::<f64>() / errors.len() as f64).sqrt()
        };
        let largest = |angle: fn(&ErrorAngles) -> f64| errors.iter().map(angle).fold(f64::NAN, f64::max);
        let all = |of: &dyn Fn(fn(&ErrorAngles) -> f64) -> f64| ErrorAngles {
            total_deg: of(|error| error.total_deg),
            heading_deg: of(|error| error.heading_deg),
            inclination_deg: of(|error| error.inclination_deg),
        };
        Score { rows: errors.len(), rms: all(&rms), largest: all(&largest) }
    }
}
