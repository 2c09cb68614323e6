//! Battery: open-circuit voltage of a lithium-polymer cell over its charge, series resistance and two
//! transients.
//!
//! `V = cells Voc(s) - v_short - v_long - R I`, `ds/dt = -I / capacity`. The voltages of the two optional
//! transients follow `v' = I/C - v/(R C)`. The curves are those of Chen and Rincon-Mora (2006, IEEE Trans.
//! Energy Conversion 21(2):504-511, eqs. 2-7), measured on an 850 mAh cell. A pack for high currents has a
//! much lower resistance for its capacity than that cell, so the resistance is a separate field. The
//! resistances of the transients are scaled with it; their time constants are kept.

use crate::divider::TickDivider;
use crate::error::{ConfigError, Reason, fail, not_negative, positive, within};
use crate::visit::Visit;

/// Circuit elements of the cell over the state of charge `s` in 0..1.
pub mod cell {
    /// Open-circuit voltage (V), eq. 2: `-1.031 e^(-35 s) + 3.685 + 0.2156 s - 0.1178 s^2 + 0.3201 s^3`.
    ///
    /// ```
    /// assert!((aplomb_craft::battery::cell::open_circuit_v(0.5) - 3.8034).abs() < 5e-5);
    /// ```
    pub fn open_circuit_v(s: f64) -> f64 {
        -1.031 * libm::exp(-35.0 * s) + 3.685 + s * (0.2156 + s * (-0.1178 + s * 0.3201))
    }

    /// Series resistance (ohm), eq. 3.
    pub fn series_ohm(s: f64) -> f64 {
        0.1562 * libm::exp(-24.37 * s) + 0.074_46
    }

    /// Resistance of the short transient (ohm), eq. 4.
    pub fn short_ohm(s: f64) -> f64 {
        0.3208 * libm::exp(-29.14 * s) + 0.046_69
    }

    /// Capacitance of the short transient (F), eq. 5.
    pub fn short_f(s: f64) -> f64 {
        -752.9 * libm::exp(-13.51 * s) + 703.6
    }

    /// Resistance of the long transient (ohm), eq. 6.
    pub fn long_ohm(s: f64) -> f64 {
        6.603 * libm::exp(-155.2 * s) + 0.049_84
    }

    /// Capacitance of the long transient (F), eq. 7.
    pub fn long_f(s: f64) -> f64 {
        -6056.0 * libm::exp(-27.12 * s) + 4475.0
    }
}

/// A battery pack.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Cells in series, 1 to 14.
    pub cells: u32,
    /// Capacity (Ah).
    pub capacity_ah: f64,
    /// State of charge at the start, 0..1.
    pub state_of_charge: f64,
    /// Series resistance of the whole pack with its leads (ohm).
    pub resistance_ohm: f64,
    /// Current drawn by all loads but the motors (A).
    pub base_current_a: f64,
    /// Includes the short and the long transient of the cell.
    pub transients: bool,
}

impl Config {
    /// Checks every field.
    pub(crate) fn check(&self) -> Result<(), ConfigError> {
        if self.cells < 1 || self.cells > 14 {
            return fail("battery.cells", Reason::OutOfRange(1.0, 14.0));
        }
        positive("battery.capacity_ah", self.capacity_ah)?;
        within("battery.state_of_charge", self.state_of_charge, 0.0, 1.0)?;
        not_negative("battery.resistance_ohm", self.resistance_ohm)?;
        not_negative("battery.base_current_a", self.base_current_a)
    }
}

/// Values at the terminals.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Terminals {
    /// Terminal voltage (V).
    pub voltage_v: f64,
    /// Current drawn (A).
    pub current_a: f64,
    /// State of charge, 0..1.
    pub state_of_charge: f64,
}

/// One resistor-capacitor pair of the whole pack.
#[derive(Clone, Copy, Debug, Default)]
struct Transient {
    voltage_v: f64,
    /// Decay factor over a tick, and voltage gain per ampere.
    keep: f64,
    per_a: f64,
}

impl Transient {
    fn set(&mut self, resistance_ohm: f64, time_constant_s: f64, tick_s: f64) {
        let passed = tick_s / time_constant_s;
        self.keep = libm::exp(-passed);
        self.per_a = -libm::expm1(-passed) * resistance_ohm;
    }

    #[inline]
    fn advance(&mut self, current_a: f64) {
        self.voltage_v = self.keep * self.voltage_v + self.per_a * current_a;
    }
}

/// A pack under load. The open-circuit voltage is updated every 0.1 s: at a discharge of ten times the
/// capacity per hour it changes by less than 1 mV per cell in that time over the flat part of the curve.
#[derive(Clone, Debug)]
pub(crate) struct Battery {
    config: Config,
    open_circuit_v: f64,
    /// Short and long transient.
    transients: [Transient; 2],
    tick_s: f64,
    share_per_a: f64,
    refresh: TickDivider,
    terminals: Terminals,
}

impl Battery {
    const REFRESH_S: f64 = 0.1;

    /// A rested pack; `config` has been checked.
    pub(crate) fn new(config: &Config, tick_s: f64) -> Self {
        let open_circuit_v = f64::from(config.cells) * cell::open_circuit_v(config.state_of_charge);
        let mut battery = Battery {
            config: *config,
            open_circuit_v,
            transients: [Transient::default(); 2],
            tick_s,
            share_per_a: tick_s / (3600.0 * config.capacity_ah),
            refresh: TickDivider::new(Self::REFRESH_S, tick_s),
            terminals: Terminals { state_of_charge: config.state_of_charge, ..Terminals::default() },
        };
        battery.refresh();
        battery.load(|_| (0.0, 0.0));
        battery
    }

    /// Solves for the terminal voltage. `motors_a(V)` is the motor current at the terminal voltage V and its
    /// derivative by V (A, A/V >= 0). The terminal voltage is at least zero.
    #[inline]
    pub(crate) fn load(&mut self, motors_a: impl Fn(f64) -> (f64, f64)) {
        let (rested_v, resistance) = (self.rested_v(), self.config.resistance_ohm);
        let mut voltage_v = self.terminals.voltage_v;
        // The current is piecewise linear and rises with the voltage: one iteration if no motor is at a
        // limit, rarely three.
        for _ in 0..8 {
            let (drawn_a, per_volt) = motors_a(voltage_v);
            let current_a = drawn_a + self.config.base_current_a;
            self.terminals.current_a = current_a;
            let missed_v = voltage_v - (rested_v - resistance * current_a);
            if missed_v.abs() < 1e-9 {
                break;
            }
            voltage_v = (voltage_v - missed_v / (1.0 + resistance * per_volt)).max(0.0);
        }
        self.terminals.voltage_v = voltage_v;
    }

    /// Removes the charge of one tick.
    #[inline]
    pub(crate) fn advance(&mut self) {
        let charge = self.terminals.state_of_charge - self.share_per_a * self.terminals.current_a;
        self.terminals.state_of_charge = charge.clamp(0.0, 1.0);
        if self.config.transients {
            let current_a = self.terminals.current_a;
            self.transients.iter_mut().for_each(|transient| transient.advance(current_a));
        }
        if self.refresh.is_due() {
            self.refresh();
        }
    }

    /// Visits the charge, the open-circuit voltage that was last computed from it, and the transients.
    pub(crate) fn visit(&mut self, visit: &mut Visit) {
        visit("battery.state_of_charge", 0, Some(&mut self.terminals.state_of_charge));
        visit("battery.open_circuit_v", 0, Some(&mut self.open_circuit_v));
        for (i, transient) in self.transients.iter_mut().enumerate() {
            visit("battery.transient_v", i, Some(&mut transient.voltage_v));
        }
    }

    /// Updates the values that depend on the charge.
    fn refresh(&mut self) {
        let (cells, charge) = (f64::from(self.config.cells), self.terminals.state_of_charge);
        self.open_circuit_v = cells * cell::open_circuit_v(charge);
        if self.config.transients {
            // A pack of lower resistance is equivalent to several such cells in parallel.
            let share = self.config.resistance_ohm / cell::series_ohm(charge);
            let [short, long] = &mut self.transients;
            let (ohm, farad) = (cell::short_ohm(charge), cell::short_f(charge));
            short.set(share * ohm, ohm * farad, self.tick_s);
            let (ohm, farad) = (cell::long_ohm(charge), cell::long_f(charge));
            long.set(share * ohm, ohm * farad, self.tick_s);
        }
    }

    /// Open-circuit voltage less the voltages of the transients (V).
    #[inline]
    fn rested_v(&self) -> f64 {
        self.open_circuit_v - (self.transients[0].voltage_v + self.transients[1].voltage_v)
    }

    /// Terminal voltage at a constant motor power (W); `None` if the pack cannot deliver it.
    pub(crate) fn voltage_at_power(&self, motors_w: f64) -> Option<f64> {
        let resistance = self.config.resistance_ohm;
        let rested = self.rested_v() - resistance * self.config.base_current_a;
        let discriminant = rested * rested - 4.0 * resistance * motors_w;
        (discriminant >= 0.0).then(|| 0.5 * (rested + libm::sqrt(discriminant)))
    }

    #[inline]
    pub(crate) fn terminals(&self) -> Terminals {
        self.terminals
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Chen and Rincon-Mora 2006, eqs. 2 and 3: s, Voc (V), Rs (ohm).
    const ROWS: [[f64; 3]; 8] = [
        [1.0, 4.1029, 0.07446],
        [0.8, 3.9460, 0.07446],
        [0.6, 3.8411, 0.07446],
        [0.5, 3.8034, 0.07446],
        [0.4, 3.7729, 0.07447],
        [0.2, 3.7250, 0.07565],
        [0.1, 3.6746, 0.08812],
        [0.05, 3.5164, 0.12064],
    ];

    #[test]
    fn validate_cell_rows() {
        for [s, voltage, resistance] in ROWS {
            assert!((cell::open_circuit_v(s) - voltage).abs() < 5e-5, "{s}");
            assert!((cell::series_ohm(s) - resistance).abs() < 5e-6, "{s}");
        }
        // At full charge only the constants remain.
        assert!(
            (cell::short_ohm(1.0) - 0.04669).abs() < 1e-9 && (cell::long_ohm(1.0) - 0.04984).abs() < 1e-9
        );
        assert!((cell::short_f(1.0) - 703.599).abs() < 1e-3 && (cell::long_f(1.0) - 4475.0).abs() < 1e-3);
    }

    #[test]
    fn validate_cell_rows_reject_the_wrong_sign_of_the_square_term() {
        // Published copies with a wrong sign exist; the rows must reject them.
        let wrong = |s: f64| cell::open_circuit_v(s) + 2.0 * 0.1178 * s * s;
        assert!(ROWS.iter().all(|[s, voltage, _]| (wrong(*s) - voltage).abs() > 5e-5));
    }

    fn pack() -> Config {
        Config {
            cells: 3,
            capacity_ah: 2.2,
            state_of_charge: 1.0,
            resistance_ohm: 0.03,
            base_current_a: 0.0,
            transients: false,
        }
    }

    #[test]
    fn discharge_reduces_charge_and_voltage() {
        let mut battery = Battery::new(&pack(), 0.001);
        battery.load(|_| (22.0, 0.0));
        assert!((battery.terminals().voltage_v - (3.0 * 4.10290 - 0.66)).abs() < 1e-3);
        for _ in 0..180_000 {
            battery.advance();
            battery.load(|_| (22.0, 0.0));
        }
        // 22 A for 180 s is 1.1 Ah: half the capacity.
        assert!((battery.terminals().state_of_charge - 0.5).abs() < 1e-9);
        assert!((battery.terminals().voltage_v - (3.0 * 3.8034 - 0.66)).abs() < 1e-3);
        let mut idle = Battery::new(&pack(), 0.001);
        (0..1000).for_each(|_| idle.advance());
        assert_eq!(idle.terminals().state_of_charge, 1.0);
    }

    #[test]
    fn voltage_and_current_are_consistent() {
        // Four motors of 0.1 ohm at 5 V against the electromotive force load the 0.03 ohm pack: by hand,
        // V = (E + 0.03 * 4 * 5/0.1)/(1 + 0.03 * 4/0.1).
        let mut battery = Battery::new(&pack(), 0.001);
        battery.load(|voltage| (4.0 * (voltage - 5.0) / 0.1, 40.0));
        let expected = (battery.open_circuit_v + 6.0) / 2.2;
        assert!((battery.terminals().voltage_v - expected).abs() < 1e-9);
        assert!((battery.terminals().current_a - 40.0 * (expected - 5.0)).abs() < 1e-6);
        // With a limit of 20 A in total.
        battery.load(|voltage| {
            let free = 40.0 * (voltage - 5.0);
            if free > 20.0 { (20.0, 0.0) } else { (free, 40.0) }
        });
        assert!((battery.terminals().voltage_v - (battery.open_circuit_v - 0.6)).abs() < 1e-9);
    }

    #[test]
    fn validate_transients_sag_and_recover() {
        // Chen and Rincon-Mora 2006, eqs. 4-7, at 1 A through one 850 mAh cell near full charge: the short
        // transient has 0.04669 ohm and 703.6 F, 32.9 s; the long one 0.04984 ohm and 4475 F, 223 s.
        let config = Config {
            cells: 1,
            capacity_ah: 0.85,
            state_of_charge: 0.9,
            resistance_ohm: cell::series_ohm(0.9),
            base_current_a: 0.0,
            transients: true,
        };
        let sagged = |config: &Config, seconds: u32| {
            let mut battery = Battery::new(config, 0.01);
            battery.load(|_| (1.0, 0.0));
            for _ in 0..seconds * 100 {
                battery.advance();
                battery.load(|_| (1.0, 0.0));
            }
            battery.open_circuit_v - battery.terminals().voltage_v - config.resistance_ohm
        };
        let expected =
            0.04669 * (1.0 - (-60.0_f64 / 32.85).exp()) + 0.04984 * (1.0 - (-60.0_f64 / 223.0).exp());
        assert!((sagged(&config, 60) / expected - 1.0).abs() < 0.01, "{} {expected}", sagged(&config, 60));
        // A pack with a tenth of the resistance has a tenth of the sag.
        let pack = Config { resistance_ohm: 0.1 * config.resistance_ohm, ..config };
        assert!((sagged(&pack, 60) / expected - 0.1).abs() < 0.001);
        assert!(sagged(&Config { resistance_ohm: 0.0, ..config }, 60).abs() < 1e-12);
        // The twin has no transients.
        assert!(sagged(&Config { transients: false, ..config }, 60).abs() < 1e-12);
    }

    #[test]
    fn constant_power_is_consistent_with_its_sag() {
        let battery = Battery::new(&pack(), 0.001);
        let voltage = battery.voltage_at_power(150.0).unwrap();
        assert!((battery.open_circuit_v - 0.03 * 150.0 / voltage - voltage).abs() < 1e-12);
        assert_eq!(battery.voltage_at_power(1e6), None);
    }

    #[test]
    fn bad_fields_are_named() {
        type Set = fn(&mut Config, f64);
        let fields: [(&str, Set); 4] = [
            ("battery.capacity_ah", |c, v| c.capacity_ah = v),
            ("battery.state_of_charge", |c, v| c.state_of_charge = v),
            ("battery.resistance_ohm", |c, v| c.resistance_ohm = v),
            ("battery.base_current_a", |c, v| c.base_current_a = v),
        ];
        for (name, set) in fields {
            for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1.0] {
                let mut config = pack();
                set(&mut config, bad);
                assert_eq!(config.check().unwrap_err().field, name, "{bad}");
            }
        }
        assert_eq!(Config { cells: 0, ..pack() }.check().unwrap_err().field, "battery.cells");
    }
}
