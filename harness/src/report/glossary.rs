//! Terms of the report.

/// Term and explanation.
pub const TERMS: [(&str, &str); 26] = [
    ("allowed", "Tinted area: range of a figure in which its check passes."),
    ("at the tilt limit", "The demanded tilt exceeds the tilt limit and is limited to it."),
    (
        "cannot hold position",
        "The drag exceeds the horizontal thrust at the tilt limit or at full command: the craft remains stable and drifts downwind.",
    ),
    ("check", "Figure of one flight with a limit, defined in the flight file before the flight."),
    ("climb", "Vertical speed in m/s, upwards positive."),
    ("distance", "Horizontal position error: distance between the craft and its set-point in m."),
    (
        "estimate",
        "State that the controller estimates from its sensors; its difference from the truth is the estimation error.",
    ),
    (
        "force balance",
        "At constant height T cos(tilt) = m g. The horizontal thrust m g tan(tilt) accelerates the craft or balances its drag.",
    ),
    ("gust", "Single change of the wind that rises and falls as 1 - cos (discrete gust)."),
    ("heading", "Direction of the nose, 0 to 360 deg clockwise from north."),
    ("height", "Height above the take-off point in m."),
    (
        "mean of the rotors",
        "Mean of the four rotors at each instant: the mean lifts the craft, the differences from it are torques.",
    ),
    ("motor command", "Share of the battery voltage applied to a motor, 0 to 100 %."),
    ("overshoot", "Largest excess of a step response over its final value, as a share of the step."),
    (
        "pass, fail, inconclusive",
        "The figure is within its limit; outside its limit; not measured. Inconclusive does not count as a pass.",
    ),
    (
        "pooled over seeds",
        "The flight is repeated with other random numbers; the figure is evaluated over all repetitions together.",
    ),
    (
        "relative to GNSS",
        "Distance in m of the GNSS solution, without its white noise, from the set-point: the position error that a controller can observe.",
    ),
    (
        "roll, pitch",
        "Rotation about the forward axis, right side down positive; rotation about the right axis, nose up positive; in deg.",
    ),
    (
        "roll/pitch saturation",
        "The demanded roll and pitch torques exceed the reachable ones; both are scaled down by the same factor.",
    ),
    ("seed", "Start value of the random number generators of a flight: the same seed gives the same flight."),
    ("set-point", "Commanded value of a controlled quantity; absent where the quantity is not controlled."),
    (
        "thrust saturation",
        "The thrust is raised or lowered so that the roll and pitch torques are reachable.",
    ),
    ("tilt", "Angle between the thrust and the vertical in deg."),
    ("truth", "True state of the simulated craft, which cannot be measured in a real flight."),
    ("turbulence", "Random wind with the strength and length scales of the Dryden model."),
    (
        "yaw saturation",
        "The demanded yaw torque exceeds the one that is reachable after roll, pitch and thrust.",
    ),
];
