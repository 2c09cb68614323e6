//! `[arms]` of a craft or controller file: one table for each corner.

use aplomb::{Corner, Rotors, Spin};
use schemars::JsonSchema;
use serde::Deserialize;

use super::document::Document;

/// Largest distance of a rotor from the centre of mass along an axis, in m.
const FARTHEST_M: f64 = 10.0;

/// `[arms]` with a table `A` for each corner.
#[derive(Deserialize, JsonSchema)]
pub(super) struct ArmTables<A> {
    front_left: A,
    front_right: A,
    rear_left: A,
    rear_right: A,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(super) enum SpinWord {
    Clockwise,
    CounterClockwise,
}

impl From<SpinWord> for Spin {
    fn from(word: SpinWord) -> Self {
        match word {
            SpinWord::Clockwise => Self::Clockwise,
            SpinWord::CounterClockwise => Self::CounterClockwise,
        }
    }
}

impl<A> ArmTables<A> {
    pub(super) const fn rotors(&self) -> Rotors<&A> {
        Rotors {
            front_left: &self.front_left,
            front_right: &self.front_right,
            rear_left: &self.rear_left,
            rear_right: &self.rear_right,
        }
    }

    /// Refuses positions beyond 10 m; `positions_m` are the keys and values of a table.
    pub(super) fn check<const N: usize>(
        &self,
        document: &Document<'_>,
        positions_m: impl Fn(&A) -> [(&'static str, f64); N],
    ) {
        let rotors = self.rotors();
        for corner in Corner::ALL {
            let table = corner.name().replace(' ', "_");
            for (axis, position_m) in positions_m(rotors.at(corner)) {
                let key_path = format!("arms.{table}.{axis}");
                document.require_within(&key_path, position_m, -FARTHEST_M, FARTHEST_M);
            }
        }
    }
}
