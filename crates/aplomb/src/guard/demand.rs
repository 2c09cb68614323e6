//! What a demand asks of a craft on the ground, and whether it is made of numbers.

use super::GuardInput;
use crate::{Demand, HeadingDemand, VerticalDemand};

/// A height this far (m) above the present one, or a climb above this (m/s), asks to take off.
const RISE: f32 = 0.2;
/// Stick deflection that asks to take off.
const RISE_STICK: f32 = 0.2;

/// True for a demand that a craft on the ground takes off for.
pub(super) fn asks_to_rise(demand: &Demand, situation: &GuardInput<'_>) -> bool {
    let vertical = |vertical: &VerticalDemand| match vertical {
        VerticalDemand::Height(height) => *height > RISE - situation.motion.position_m.z(),
        VerticalDemand::Climb(climb) => *climb > RISE,
    };
    match demand {
        Demand::Rates { thrust_n, .. } => *thrust_n > 0.0,
        Demand::Tilt { vertical: v, .. }
        | Demand::Velocity { vertical: v, .. }
        | Demand::Position { vertical: v, .. } => vertical(v),
        Demand::Sticks(sticks) => sticks.climb > RISE_STICK,
        Demand::Land => false,
    }
}

/// True for a demand that presses a craft to the ground.
pub(super) fn asks_to_descend(demand: &Demand) -> bool {
    match demand {
        Demand::Tilt { vertical, .. }
        | Demand::Velocity { vertical, .. }
        | Demand::Position { vertical, .. } => {
            matches!(vertical, VerticalDemand::Climb(climb) if *climb < -RISE)
        }
        Demand::Sticks(sticks) => sticks.climb < -RISE_STICK,
        Demand::Rates { .. } | Demand::Land => false,
    }
}

/// True when every number of the demand is finite, and their sum too: none is absurd.
pub(super) fn is_finite(demand: &Demand) -> bool {
    // A heading is finite by its type.
    let heading = |heading: &HeadingDemand| match heading {
        HeadingDemand::Hold(_) => 0.0,
        HeadingDemand::Rate(rate) => *rate,
    };
    let vertical = |vertical: &VerticalDemand| match vertical {
        VerticalDemand::Height(x) | VerticalDemand::Climb(x) => *x,
    };
    match demand {
        Demand::Rates { rate_rad_s: w, thrust_n } => (w.x() + w.y() + w.z() + thrust_n).is_finite(),
        Demand::Tilt { tilt: lean, heading: h, vertical: v } => {
            (lean.forward + lean.right + heading(h) + vertical(v)).is_finite()
        }
        Demand::Velocity { velocity_m_s: x, heading: h, vertical: v }
        | Demand::Position { position_m: x, heading: h, vertical: v } => {
            (x.x() + x.y() + heading(h) + vertical(v)).is_finite()
        }
        // A stick that is no number counts as centred.
        Demand::Sticks(_) | Demand::Land => true,
    }
}
