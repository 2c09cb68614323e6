//! Every term of the report in one line.

/// Term and explanation.
pub const TERMS: [(&str, &str); 26] = [
    ("allowed", "Tinted area: where a figure must lie for its check to hold."),
    ("at the tilt limit", "The controller wanted more tilt than it is allowed; the demand was cut."),
    (
        "carried off",
        "The wind is stronger than the tilt limit or the thrust can hold: the craft stays upright and drifts downwind.",
    ),
    ("climb", "Vertical speed in m/s, upwards positive."),
    ("distance", "Horizontal distance between the craft and its set-point in m."),
    (
        "estimate",
        "What the controller believes from its sensors; its difference from the truth is the estimation error.",
    ),
    ("check", "A figure of one flight with a limit, stated in the flight's file before it is flown."),
    (
        "force balance",
        "At constant height T cos(tilt) = m g, so m g tan(tilt) is left to accelerate the craft or to lean against the air.",
    ),
    ("gust", "A single change of the wind that rises and falls like a cosine."),
    ("heading", "Where the nose points, 0 to 360 deg clockwise from north."),
    ("height", "Height above the place of take-off in m."),
    (
        "held, missed, cannot tell",
        "Measured within its limit; outside of it; nothing was measured, so nobody knows. Only held counts as a yes.",
    ),
    (
        "mean of the four",
        "Mean of all rotors at the same instant: what differs from it turns the craft, what they share lifts it.",
    ),
    ("motor command", "Share of the battery voltage applied to a motor, 0 to 100 %."),
    ("overshoot", "How far a step goes past its aim, as a share of the step."),
    (
        "pooled over seeds",
        "The flight is repeated with other random numbers, and the figure is taken over all of them.",
    ),
    (
        "receiver error",
        "Slow error of the satellite position that no controller can see; what is held is the truth plus this error.",
    ),
    (
        "roll, pitch",
        "Turn about the nose axis, right side down positive; and about the side axis, nose up positive, in deg.",
    ),
    (
        "roll or pitch torque cut",
        "The rotors could not give all the roll and pitch torque asked for; both were scaled together.",
    ),
    ("seed", "The number that fixes every random number of a flight: the same seed gives the same flight."),
    ("set-point", "What the controller aims at; absent where a quantity is not controlled."),
    (
        "thrust moved to make room",
        "The thrust was raised or lowered a little so that roll and pitch torque fit in.",
    ),
    ("tilt", "Angle between the thrust and the vertical in deg."),
    ("truth", "What the simulated craft really does, which no real flight can show."),
    ("turbulence", "Random wind with the strength and length scales of the Dryden model."),
    ("yaw torque cut", "Not all of the yaw torque asked for was left after roll, pitch and thrust."),
];
