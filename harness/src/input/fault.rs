//! `[[fault]]`: a fault of a rotor or a sensor, with start and end.

use aplomb_craft::Corner;
use aplomb_craft::fault::{Fault, LONGEST_DELAY_S, RotorFault, Sensor, SensorFault, What};
use schemars::JsonSchema;
use serde::Deserialize;

use super::document::Document;

/// `[[fault]]` as written in the file.
#[derive(Clone, Copy, Deserialize, JsonSchema)]
pub(super) struct FaultEntry {
    at_s: f64,
    until_s: Option<f64>,
    rotor: Option<CornerWord>,
    sensor: Option<SensorWord>,
    kind: Kind,
    with: Option<CornerWord>,
    scale: Option<f64>,
    delay_s: Option<f64>,
    loss_percent: Option<f64>,
    imbalance_g_mm: Option<f64>,
    bias_deg_s: Option<[f64; 3]>,
    bias_m_s2: Option<[f64; 3]>,
    bias_ut: Option<[f64; 3]>,
    bias_pa: Option<f64>,
    bias_m: Option<NorthEastUp>,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
enum CornerWord {
    FrontLeft,
    FrontRight,
    RearLeft,
    RearRight,
}

#[derive(Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
enum SensorWord {
    Imu,
    Gyro,
    Accelerometer,
    Barometer,
    Gnss,
    Magnetometer,
}

#[derive(Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
enum Kind {
    Stuck,
    DroppedOut,
    NotANumber,
    Bias,
    Scale,
    Delay,
    LossOfEffectiveness,
    ChippedBlade,
    Seized,
    Reversed,
    SwappedWiring,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
struct NorthEastUp {
    north: Option<f64>,
    east: Option<f64>,
    up: Option<f64>,
}

impl Kind {
    const fn word(self) -> &'static str {
        match self {
            Self::Stuck => "stuck",
            Self::DroppedOut => "dropped_out",
            Self::NotANumber => "not_a_number",
            Self::Bias => "bias",
            Self::Scale => "scale",
            Self::Delay => "delay",
            Self::LossOfEffectiveness => "loss_of_effectiveness",
            Self::ChippedBlade => "chipped_blade",
            Self::Seized => "seized",
            Self::Reversed => "reversed",
            Self::SwappedWiring => "swapped_wiring",
        }
    }
}

impl FaultEntry {
    /// The fault, with times from the start of the flight; `None` where the entry is ambiguous.
    pub(super) fn check(&self, document: &Document<'_>, path: &str, duration_s: f64) -> Option<Fault> {
        let from_s = document.require_within(&format!("{path}.at_s"), self.at_s, 0.0, duration_s);
        let until_s = self.until_s.unwrap_or(f64::INFINITY);
        if until_s <= from_s {
            document.refuse_at(&format!("{path}.until_s"), "must be later than `at_s`", None);
        }
        let reader = EntryReader { document, path, entry: self };
        let what = match (self.rotor, self.sensor) {
            (Some(corner), None) => reader.of_rotor(corner.corner()),
            (None, Some(sensor)) => {
                reader.of_sensor(sensor).map(|fault| What::Sensor(sensor.sensor(), fault))
            }
            _ => {
                let help = Some("give either `rotor` or `sensor`");
                document.refuse_at(path, "a fault is of one rotor or one sensor", help);
                None
            }
        }?;
        Some(Fault { from_s, until_s, what })
    }
}

/// Reader of the keys that the kind of an entry needs.
struct EntryReader<'a, 's> {
    document: &'a Document<'s>,
    path: &'a str,
    entry: &'a FaultEntry,
}

impl EntryReader<'_, '_> {
    fn of_rotor(&self, corner: Corner) -> Option<What> {
        let fault = match self.entry.kind {
            Kind::Stuck => self.taking(&[]).map(|()| RotorFault::Stuck),
            Kind::DroppedOut => self.taking(&[]).map(|()| RotorFault::DroppedOut),
            Kind::Scale => {
                self.taking(&["scale"])?;
                Some(RotorFault::Scale(self.number("scale", self.entry.scale, 0.0, 10.0)?))
            }
            Kind::Delay => self.delay_s().map(RotorFault::Delay),
            Kind::LossOfEffectiveness => {
                self.taking(&["loss_percent"])?;
                self.loss_share().map(RotorFault::LossOfEffectiveness)
            }
            Kind::ChippedBlade => {
                self.taking(&["loss_percent", "imbalance_g_mm"])?;
                let imbalance_g_mm =
                    self.number("imbalance_g_mm", self.entry.imbalance_g_mm, 0.0, 1e6)?;
                let imbalance_kg_m = imbalance_g_mm * 1e-6;
                Some(RotorFault::ChippedBlade { loss_share: self.loss_share()?, imbalance_kg_m })
            }
            Kind::Seized => self.taking(&[]).map(|()| RotorFault::Seized),
            Kind::Reversed => self.taking(&[]).map(|()| RotorFault::Reversed),
            Kind::SwappedWiring => return self.swapped(corner),
            Kind::NotANumber | Kind::Bias => self.refuse_kind(
                "a rotor",
                "valid for a rotor: stuck, dropped_out, scale, delay, loss_of_effectiveness, chipped_blade, seized, \
                 reversed, swapped_wiring",
            ),
        };
        fault.map(|fault| What::Rotor(corner, fault))
    }

    fn swapped(&self, corner: Corner) -> Option<What> {
        self.taking(&["with"])?;
        let Some(other) = self.entry.with.map(CornerWord::corner) else {
            let help = Some("add `with`, the other rotor");
            self.document.refuse_at(&self.at("kind"), "swapped wiring needs two rotors", help);
            return None;
        };
        if other == corner {
            self.document.refuse_at(&self.at("with"), "must be another rotor than `rotor`", None);
        }
        Some(What::SwappedWiring(corner, other))
    }

    fn of_sensor(&self, sensor: SensorWord) -> Option<SensorFault> {
        match self.entry.kind {
            Kind::Stuck => self.taking(&[]).map(|()| SensorFault::Stuck),
            Kind::DroppedOut => self.taking(&[]).map(|()| SensorFault::DroppedOut),
            Kind::NotANumber => self.taking(&[]).map(|()| SensorFault::NotANumber),
            Kind::Bias | Kind::Scale if sensor == SensorWord::Imu => {
                let help = Some("set `sensor = \"gyro\"` or `sensor = \"accelerometer\"`");
                let reason = format!("\"{}\" is of the gyro or of the accelerometer", self.entry.kind.word());
                self.document.refuse_at(&self.at("sensor"), reason, help);
                None
            }
            Kind::Bias => self.bias(sensor),
            Kind::Scale => {
                self.taking(&["scale"])?;
                Some(SensorFault::Scale(self.number("scale", self.entry.scale, -1e6, 1e6)?))
            }
            Kind::Delay => self.delay_s().map(SensorFault::Delay),
            Kind::LossOfEffectiveness
            | Kind::ChippedBlade
            | Kind::Seized
            | Kind::Reversed
            | Kind::SwappedWiring => self.refuse_kind(
                "a sensor",
                "valid for a sensor: stuck, dropped_out, not_a_number, bias, scale, delay",
            ),
        }
    }

    fn bias(&self, sensor: SensorWord) -> Option<SensorFault> {
        let entry = self.entry;
        let (key, bias) = match sensor {
            SensorWord::Imu => return None,
            SensorWord::Gyro => ("bias_deg_s", entry.bias_deg_s.map(|bias| bias.map(f64::to_radians))),
            SensorWord::Accelerometer => ("bias_m_s2", entry.bias_m_s2),
            SensorWord::Barometer => ("bias_pa", entry.bias_pa.map(|bias| [bias, 0.0, 0.0])),
            SensorWord::Gnss => ("bias_m", entry.bias_m.map(NorthEastUp::down)),
            SensorWord::Magnetometer => ("bias_ut", entry.bias_ut),
        };
        self.taking(&[key])?;
        if bias.is_none() {
            self.refuse_missing(key);
        }
        bias.map(SensorFault::Offset)
    }

    fn delay_s(&self) -> Option<f64> {
        self.taking(&["delay_s"])?;
        self.number("delay_s", self.entry.delay_s, 0.0, LONGEST_DELAY_S)
    }

    fn loss_share(&self) -> Option<f64> {
        self.number("loss_percent", self.entry.loss_percent, 0.0, 100.0).map(|percent| percent / 100.0)
    }

    fn number(&self, key: &str, given: Option<f64>, low: f64, high: f64) -> Option<f64> {
        let Some(value) = given else {
            self.refuse_missing(key);
            return None;
        };
        Some(self.document.require_within(&self.at(key), value, low, high))
    }

    /// Refuses keys that the kind does not take.
    fn taking(&self, keys: &[&str]) -> Option<()> {
        let entry = self.entry;
        let given = [
            ("with", entry.with.is_some()),
            ("scale", entry.scale.is_some()),
            ("delay_s", entry.delay_s.is_some()),
            ("loss_percent", entry.loss_percent.is_some()),
            ("imbalance_g_mm", entry.imbalance_g_mm.is_some()),
            ("bias_deg_s", entry.bias_deg_s.is_some()),
            ("bias_m_s2", entry.bias_m_s2.is_some()),
            ("bias_ut", entry.bias_ut.is_some()),
            ("bias_pa", entry.bias_pa.is_some()),
            ("bias_m", entry.bias_m.is_some()),
        ];
        let mut fits = true;
        for (key, _) in given.iter().filter(|(key, given)| *given && !keys.contains(key)) {
            let reason = format!("is not a key of the kind \"{}\"", entry.kind.word());
            let help = if keys.is_empty() {
                "omit it".to_owned()
            } else {
                format!(
                    "this kind takes {}",
                    keys.iter().map(|key| format!("`{key}`")).collect::<Vec<_>>().join(", ")
                )
            };
            self.document.refuse_at(&self.at(key), reason, Some(&help));
            fits = false;
        }
        fits.then_some(())
    }

    fn refuse_missing(&self, key: &str) {
        let reason = format!("the kind \"{}\" needs its size", self.entry.kind.word());
        self.document.refuse_at(&self.at("kind"), reason, Some(&format!("add `{key}`")));
    }

    fn refuse_kind<T>(&self, part: &str, help: &str) -> Option<T> {
        let reason = format!("{part} cannot have the fault \"{}\"", self.entry.kind.word());
        self.document.refuse_at(&self.at("kind"), reason, Some(help));
        None
    }

    fn at(&self, key: &str) -> String {
        format!("{}.{key}", self.path)
    }
}

impl CornerWord {
    const fn corner(self) -> Corner {
        match self {
            Self::FrontLeft => Corner::FrontLeft,
            Self::FrontRight => Corner::FrontRight,
            Self::RearLeft => Corner::RearLeft,
            Self::RearRight => Corner::RearRight,
        }
    }
}

impl SensorWord {
    const fn sensor(self) -> Sensor {
        match self {
            Self::Imu => Sensor::Imu,
            Self::Gyro => Sensor::Gyro,
            Self::Accelerometer => Sensor::Accelerometer,
            Self::Barometer => Sensor::Barometer,
            Self::Gnss => Sensor::Gnss,
            Self::Magnetometer => Sensor::Magnetometer,
        }
    }
}

impl NorthEastUp {
    fn down(self) -> [f64; 3] {
        let part = |part: Option<f64>| part.unwrap_or(0.0);
        [part(self.north), part(self.east), -part(self.up)]
    }
}
