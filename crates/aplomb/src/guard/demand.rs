//! Classification of demands: take-off, landing, finite.

use crate::frames::Horizontal;
use crate::{Demand, HeadingDemand, VerticalDemand, estimate};

/// Height in m above the present one that is a demand to take off: above the noise of the height estimate on
/// the ground. Common practice, no source.
const TAKE_OFF_HEIGHT_M: f32 = 0.2;
/// Climb rate in m/s, up or down, beyond which a demand is one to take off or to land. Common practice, no
/// source.
const TAKE_OFF_CLIMB_M_S: f32 = 0.2;
/// Deflection of the climb stick, up or down, beyond which it is a demand to take off or to land: above dead
/// band and arming deflection. Common practice, no source.
const TAKE_OFF_STICK: f32 = 0.2;

/// True for a demand on which a craft on the ground takes off.
pub(super) fn is_take_off_demand(demand: &Demand, estimate: &estimate::State) -> bool {
    let vertical = |vertical: &VerticalDemand| match vertical {
        VerticalDemand::Height(height) => *height > TAKE_OFF_HEIGHT_M - estimate.position_m.z(),
        VerticalDemand::Climb(climb) => *climb > TAKE_OFF_CLIMB_M_S,
    };
    match demand {
        Demand::Rates { thrust_n, .. } => *thrust_n > 0.0,
        Demand::Tilt { vertical: v, .. }
        | Demand::Velocity { vertical: v, .. }
        | Demand::Position { vertical: v, .. } => vertical(v),
        Demand::Sticks(sticks) | Demand::RateSticks(sticks) => sticks.climb > TAKE_OFF_STICK,
        Demand::Land => false,
    }
}

/// True for a demand to descend, on which a craft that meets the landed condition counts as landed.
pub(super) fn is_landing_demand(demand: &Demand) -> bool {
    match demand {
        Demand::Tilt { vertical, .. }
        | Demand::Velocity { vertical, .. }
        | Demand::Position { vertical, .. } => {
            matches!(vertical, VerticalDemand::Climb(climb) if *climb < -TAKE_OFF_CLIMB_M_S)
        }
        Demand::Sticks(sticks) | Demand::RateSticks(sticks) => sticks.climb < -TAKE_OFF_STICK,
        Demand::Rates { .. } | Demand::Land => false,
    }
}

/// True when every value of the demand is finite, and their sum is.
pub(super) fn is_finite(demand: &Demand) -> bool {
    // A heading is finite by its type.
    let heading = |heading: &HeadingDemand| match heading {
        HeadingDemand::Hold(_) => 0.0,
        HeadingDemand::Rate(rate) => *rate,
    };
    let vertical = |vertical: &VerticalDemand| match vertical {
        VerticalDemand::Height(x) | VerticalDemand::Climb(x) => *x,
    };
    let sum = |v: Horizontal| v.north + v.east;
    match demand {
        Demand::Rates { rate_rad_s: w, thrust_n } => (w.x() + w.y() + w.z() + thrust_n).is_finite(),
        Demand::Tilt { tilt, heading: h, vertical: v } => {
            (tilt.forward + tilt.right + heading(h) + vertical(v)).is_finite()
        }
        Demand::Velocity { setpoint, heading: h, vertical: v } => {
            (sum(setpoint.velocity_m_s) + sum(setpoint.acceleration_m_s2) + heading(h) + vertical(v))
                .is_finite()
        }
        Demand::Position { setpoint, heading: h, vertical: v } => (sum(setpoint.position_m)
            + sum(setpoint.velocity_m_s)
            + sum(setpoint.acceleration_m_s2)
            + heading(h)
            + vertical(v))
        .is_finite(),
        // A stick that is not finite counts as centred.
        Demand::Sticks(_) | Demand::RateSticks(_) | Demand::Land => true,
    }
}
