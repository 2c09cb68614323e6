//! Recorded sensor data: samples at a fixed period.

/// One line of a recording; body axes forward, right, down.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Row {
    /// Time in s.
    pub time_s: f64,
    /// Angular rate in rad/s; NaN without a sample.
    pub gyro_rad_s: [f32; 3],
    /// Specific force in m/s2; NaN without a sample.
    pub accel_m_s2: [f32; 3],
    /// Magnetic field in uT, if there is a new sample.
    pub field_ut: Option<[f32; 3]>,
    /// Reference attitude, body to world (north, east, down), scalar first, if known.
    pub reference: Option<[f64; 4]>,
    /// The error is evaluated.
    pub scored: bool,
    /// The motors run, which disables the stationary detection.
    pub motors_on: bool,
}

/// A whole recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// Stem of the file's name.
    pub name: String,
    /// The fixed period in s.
    pub period_s: f32,
    /// The lines.
    pub rows: Vec<Row>,
}

impl Recording {
    /// True if any line has a field sample.
    #[must_use]
    pub fn has_field(&self) -> bool {
        self.rows.iter().any(|row| row.field_ut.is_some())
    }

    /// True if any evaluated line has a reference.
    #[must_use]
    pub fn has_reference(&self) -> bool {
        self.rows.iter().any(|row| row.scored && row.reference.is_some())
    }

    /// Removes the lines before the first evaluated one, so that the filter starts in motion.
    pub fn start_in_motion(&mut self) {
        let first = self.rows.iter().position(|row| row.scored).unwrap_or(0);
        self.rows.drain(..first);
    }

    /// Adds a constant in rad/s to each gyro axis.
    pub fn add_gyro_bias(&mut self, bias_rad_s: f32) {
        self.rows.iter_mut().for_each(|row| row.gyro_rad_s = row.gyro_rad_s.map(|rate| rate + bias_rad_s));
    }
}
