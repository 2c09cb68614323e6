//! Air around the craft: elevation, temperature, mean wind, gusts, turbulence.

use crate::atmosphere::{Air as StandardAir, SEA_LEVEL_DENSITY_KG_M3, geopotential_m};
use crate::divider::TickDivider;
use crate::dryden::{Dryden, FOOT_M, Turbulence};
use crate::error::{ConfigError, Reason, fail, finite, not_negative, positive, within};
use crate::gust::Gust;
use crate::propeller::map::VISCOSITY_M2_S;
use crate::propulsion::Medium;
use core::f64::consts::PI;
use glam::DVec3;

/// Roughness length near the ground, flight phase category C: 0.15 ft (MIL-F-8785C 3.7.3.2) (m).
pub const ROUGHNESS_M: f64 = 0.15 * FOOT_M;

/// Air of a flight. A wind direction is the direction that the wind comes from, clockwise from north.
#[derive(Clone, Debug, PartialEq)]
pub struct AirConfig {
    /// Elevation of home above sea level (m), -500 to 9000.
    pub elevation_m: f64,
    /// Temperature offset from the standard atmosphere (K), -80 to 60.
    pub temperature_offset_k: f64,
    /// Gravity (m/s2); [`crate::gravity::normal_m_s2`] gives it over the latitude.
    pub gravity_m_s2: f64,
    /// Winds, uniform over height, each replacing the one before, in ascending order of time.
    pub winds: Vec<WindStep>,
    /// Mean wind at 20 ft (m/s), with a logarithmic profile over height, added to `winds`.
    pub u20_m_s: Option<f64>,
    /// Direction that the wind of `u20_m_s` comes from (deg).
    pub u20_from_deg: f64,
    /// Roughness length for `u20_m_s` (m), under 20 ft.
    pub roughness_m: f64,
    /// 1-cosine gusts, added to the wind.
    pub gusts: Vec<Gust>,
    /// Dryden turbulence, added to the wind.
    pub turbulence: Option<Turbulence>,
}

impl Default for AirConfig {
    /// Still standard air at sea level under standard gravity.
    fn default() -> Self {
        AirConfig {
            elevation_m: 0.0,
            temperature_offset_k: 0.0,
            gravity_m_s2: crate::gravity::STANDARD_M_S2,
            winds: Vec::new(),
            u20_m_s: None,
            u20_from_deg: 0.0,
            roughness_m: ROUGHNESS_M,
            gusts: Vec::new(),
            turbulence: None,
        }
    }
}

/// A change of the wind from `at_s` on: linear over `ramp_s` to this wind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindStep {
    /// Start of the change (s).
    pub at_s: f64,
    /// Direction that it comes from (deg).
    pub from_deg: f64,
    /// Speed (m/s).
    pub speed_m_s: f64,
    /// Duration of the change (s); 0 for a step.
    pub ramp_s: f64,
}

impl AirConfig {
    pub(crate) fn check(&self) -> Result<(), ConfigError> {
        within("air.elevation_m", self.elevation_m, -500.0, 9000.0)?;
        within("air.temperature_offset_k", self.temperature_offset_k, -80.0, 60.0)?;
        within("air.gravity_m_s2", self.gravity_m_s2, 0.0, 30.0)?;
        let mut last_s = 0.0;
        for wind in &self.winds {
            not_negative("air.winds.at_s", wind.at_s)?;
            finite("air.winds.from_deg", wind.from_deg)?;
            not_negative("air.winds.speed_m_s", wind.speed_m_s)?;
            not_negative("air.winds.ramp_s", wind.ramp_s)?;
            if wind.at_s < last_s {
                return fail("air.winds.at_s", Reason::NotAscending);
            }
            last_s = wind.at_s;
        }
        if let Some(u20) = self.u20_m_s {
            not_negative("air.u20_m_s", u20)?;
        }
        finite("air.u20_from_deg", self.u20_from_deg)?;
        positive("air.roughness_m", self.roughness_m)?;
        within("air.roughness_m", self.roughness_m, 1e-6, 19.0 * FOOT_M)?;
        self.gusts.iter().try_for_each(Gust::check)?;
        self.turbulence.map_or(Ok(()), |turbulence| turbulence.check())
    }
}

/// Ratio of the mean wind at `height_m` to the mean wind at 20 ft: `ln(h/z0) / ln(20 ft/z0)`, zero at and
/// below z0 (MIL-F-8785C 3.7.3.2).
///
/// ```
/// use aplomb_craft::air::{ROUGHNESS_M, mean_wind_ratio};
/// assert!((mean_wind_ratio(30.48, ROUGHNESS_M) - 1.32894).abs() < 1e-5);
/// ```
pub fn mean_wind_ratio(height_m: f64, roughness_m: f64) -> f64 {
    if height_m <= roughness_m {
        return 0.0;
    }
    libm::log(height_m / roughness_m) / libm::log(20.0 * FOOT_M / roughness_m)
}

/// Unit vector of the flow of a wind from `from_deg`, north-east-down.
fn flow(from_deg: f64) -> DVec3 {
    let from = from_deg * (PI / 180.0);
    DVec3::new(-libm::cos(from), -libm::sin(from), 0.0)
}

/// A gust with its direction and its convection speed.
#[derive(Clone, Copy, Debug)]
struct ArrivingGust {
    gust: Gust,
    flow: DVec3,
    /// Convection speed (m/s), set on arrival: the mean wind at that time, at least the peak of the gust.
    carry_m_s: Option<f64>,
}

/// Air at the craft. Quantities that depend on the height (density, mean wind, turbulence scales) are updated
/// every 50 ms: at a climb of 10 m/s the density changes by 5e-5 of itself in that time. Turbulence is
/// computed every 4 ms and interpolated linearly: in 4 ms air at 10 m/s moves by 0.04 m, a tenth of the
/// craft's size, and the rotors average smaller eddies.
#[derive(Clone, Debug)]
pub(crate) struct Air {
    config: AirConfig,
    refresh: TickDivider,
    next_wind: usize,
    /// Current ramp: start, rate (1/s), from, to.
    ramp: (f64, f64, DVec3, DVec3),
    profile_flow: DVec3,
    profile: DVec3,
    gusts: Vec<ArrivingGust>,
    dryden: Option<Dryden>,
    /// Unit vector along the mean wind; north in still air.
    along: DVec3,
    turbulent: DVec3,
    turbulent_step: DVec3,
    turbulence: TickDivider,
    turbulence_s: f64,
    mean_m_s: DVec3,
    wind_m_s: DVec3,
    standard: StandardAir,
    reynolds_ratio: f64,
}

impl Air {
    const REFRESH_S: f64 = 0.05;
    const TURBULENCE_S: f64 = 0.004;

    /// Air at time 0 at `height_m`; `config` has been checked.
    pub(crate) fn new(config: &AirConfig, height_m: f64, tick_s: f64, seed: u64) -> Self {
        let gusts = config.gusts.iter().map(|gust| ArrivingGust {
            gust: *gust,
            flow: flow(gust.from_deg),
            carry_m_s: None,
        });
        let turbulence = TickDivider::new(Self::TURBULENCE_S, tick_s);
        let mut air = Air {
            refresh: TickDivider::new(Self::REFRESH_S, tick_s),
            next_wind: 0,
            ramp: (0.0, 0.0, DVec3::ZERO, DVec3::ZERO),
            profile_flow: config.u20_m_s.map_or(DVec3::ZERO, |u20| flow(config.u20_from_deg) * u20),
            profile: DVec3::ZERO,
            gusts: gusts.collect(),
            dryden: None,
            along: if config.u20_m_s.is_some_and(|u20| u20 > 0.0) {
                flow(config.u20_from_deg)
            } else {
                DVec3::X
            },
            turbulent: DVec3::ZERO,
            turbulent_step: DVec3::ZERO,
            turbulence,
            turbulence_s: f64::from(turbulence.ticks()) * tick_s,
            mean_m_s: DVec3::ZERO,
            wind_m_s: DVec3::ZERO,
            standard: StandardAir::at(0.0, 0.0),
            reynolds_ratio: 1.0,
            config: config.clone(),
        };
        air.mean_m_s = air.mean(0.0);
        air.refresh(height_m);
        air.mean_m_s = air.mean(0.0);
        air.refresh(height_m);
        let speed = libm::sqrt(air.mean_m_s.length_squared());
        air.dryden = config
            .turbulence
            .map(|turbulence| Dryden::new(&turbulence, height_m, speed, air.turbulence_s, seed));
        air.turbulent = air.next_turbulent();
        air.wind_m_s = air.mean_m_s + air.turbulent;
        air
    }

    /// Updates the quantities that depend on the height, if due. Called before a tick with the craft at
    /// `height_m`.
    #[inline]
    pub(crate) fn update_height(&mut self, height_m: f64) {
        if self.refresh.is_due() {
            self.refresh(height_m);
        }
    }

    /// Advances the wind to the end of a tick, at `time_s`.
    #[inline]
    pub(crate) fn advance(&mut self, time_s: f64) {
        self.mean_m_s = self.mean(time_s);
        self.sum(time_s);
    }

    /// Wind at the craft, north-east-down (m/s).
    #[inline]
    pub(crate) fn wind_m_s(&self) -> DVec3 {
        self.wind_m_s
    }

    #[inline]
    pub(crate) fn density_kg_m3(&self) -> f64 {
        self.standard.density_kg_m3
    }

    /// Density ratio rho/1.225.
    #[inline]
    pub(crate) fn density_ratio(&self) -> f64 {
        self.standard.density_kg_m3 * (1.0 / SEA_LEVEL_DENSITY_KG_M3)
    }

    /// State of the air at the rotors.
    #[inline]
    pub(crate) fn medium(&self) -> Medium {
        Medium { density_ratio: self.density_ratio(), reynolds_ratio: self.reynolds_ratio }
    }

    /// Static pressure at `height_m` above home (Pa).
    pub(crate) fn pressure_pa(&self, height_m: f64) -> f64 {
        self.standard_at(height_m).pressure_pa
    }

    fn standard_at(&self, height_m: f64) -> StandardAir {
        StandardAir::at(geopotential_m(self.config.elevation_m + height_m), self.config.temperature_offset_k)
    }

    fn refresh(&mut self, height_m: f64) {
        self.standard = self.standard_at(height_m);
        self.reynolds_ratio = VISCOSITY_M2_S * self.standard.density_kg_m3 / self.standard.viscosity_pa_s();
        if self.config.u20_m_s.is_some() {
            self.profile = self.profile_flow * mean_wind_ratio(height_m, self.config.roughness_m);
        }
        let speed = libm::sqrt(self.mean_m_s.length_squared());
        // Where the mean wind vanishes, as on the ground, the last direction is kept.
        if speed > 1e-9 {
            self.along = self.mean_m_s / speed;
        }
        if let Some(dryden) = &mut self.dryden {
            dryden.refresh(height_m, speed, self.turbulence_s);
        }
    }

    /// Mean wind at `time_s`; times must ascend.
    #[inline]
    fn mean(&mut self, time_s: f64) -> DVec3 {
        while let Some(step) = self.config.winds.get(self.next_wind).filter(|step| step.at_s <= time_s) {
            let from = self.stepped(step.at_s);
            let rate = if step.ramp_s > 0.0 { 1.0 / step.ramp_s } else { f64::INFINITY };
            self.ramp = (step.at_s, rate, from, flow(step.from_deg) * step.speed_m_s);
            self.next_wind += 1;
        }
        self.stepped(time_s) + self.profile
    }

    #[inline]
    fn stepped(&self, time_s: f64) -> DVec3 {
        let (start_s, rate, from, to) = self.ramp;
        let share = (time_s - start_s) * rate;
        // A step without ramp: 0 times infinity is NaN, which must count as complete.
        if share < 1.0 { from + (to - from) * share } else { to }
    }

    #[inline]
    fn sum(&mut self, time_s: f64) {
        let mut wind = self.mean_m_s;
        for arriving in &mut self.gusts {
            let since_s = time_s - arriving.gust.at_s;
            if since_s > 0.0 {
                let mean = self.mean_m_s;
                let speed = *arriving
                    .carry_m_s
                    .get_or_insert_with(|| libm::sqrt(mean.length_squared()).max(arriving.gust.peak_m_s));
                wind += arriving.flow * arriving.gust.speed_m_s(since_s * speed);
            }
        }
        if self.dryden.is_some() {
            if self.turbulence.is_due() {
                let ahead = self.next_turbulent() - self.turbulent;
                self.turbulent_step = ahead * (1.0 / f64::from(self.turbulence.ticks()));
            }
            self.turbulent += self.turbulent_step;
            wind += self.turbulent;
        }
        self.wind_m_s = wind;
    }

    fn next_turbulent(&mut self) -> DVec3 {
        let Some(dryden) = &mut self.dryden else { return DVec3::ZERO };
        let DVec3 { x, y, z } = dryden.advance();
        let right = DVec3::new(-self.along.y, self.along.x, 0.0);
        self.along * x + right * y + DVec3::new(0.0, 0.0, z)
    }
}
