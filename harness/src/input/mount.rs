//! `[stand]` and `[tether]` of a flight file: constraints of the motion.

use aplomb_craft::Mount;
use aplomb_craft::mount::{Axis, Stand, Tether};
use schemars::JsonSchema;
use serde::Deserialize;

use super::document::Document;

#[derive(Clone, Copy, Deserialize, JsonSchema)]
pub(super) struct StandTable {
    axis: AxisWord,
    pivot_m: Option<[f64; 3]>,
    viscous_friction_nm_s: Option<f64>,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
enum AxisWord {
    Roll,
    Pitch,
    Yaw,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
pub(super) struct TetherTable {
    length_m: f64,
    north_m: Option<f64>,
    east_m: Option<f64>,
    position_m: Option<[f64; 3]>,
    stretch_percent: Option<f64>,
    damping_ratio: Option<f64>,
}

impl StandTable {
    pub(super) fn check(self, document: &Document<'_>) -> Mount {
        let viscous_friction_nm_s = self.viscous_friction_nm_s.unwrap_or(0.0);
        Mount::Stand(Stand {
            axis: match self.axis {
                AxisWord::Roll => Axis::Roll,
                AxisWord::Pitch => Axis::Pitch,
                AxisWord::Yaw => Axis::Yaw,
            },
            pivot_m: self.pivot_m.unwrap_or_default(),
            viscous_friction_nm_s: document.require_within(
                "stand.viscous_friction_nm_s",
                viscous_friction_nm_s,
                0.0,
                f64::INFINITY,
            ),
        })
    }
}

impl TetherTable {
    pub(super) fn check(self, document: &Document<'_>) -> Mount {
        let plain = Tether::of_length(document.require_positive("tether.length_m", self.length_m));
        let within = |key: &str, given: Option<f64>, usual: f64, low: f64, high: f64| {
            document.require_within(&format!("tether.{key}"), given.unwrap_or(usual), low, high)
        };
        Mount::Tether(Tether {
            anchor_m: [self.north_m.unwrap_or(0.0), self.east_m.unwrap_or(0.0), 0.0],
            position_m: self.position_m.unwrap_or(plain.position_m),
            stretch_share: within("stretch_percent", self.stretch_percent, 2.0, 0.1, 100.0) / 100.0,
            damping_ratio: within("damping_ratio", self.damping_ratio, plain.damping_ratio, 0.0, 1.0),
            ..plain
        })
    }
}
