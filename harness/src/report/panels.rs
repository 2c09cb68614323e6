//! The plots of a flight with their captions.

use super::quantities::{Headings, column, distance_m, distance_to_gnss_m, wind_speed_m_s};
use super::rotor_plots::{RotorPlot, mean_speeds};
use super::ticks::Scale;
use super::time_plot::{Allowed, Frame, Lanes, Series, Stack};
use super::{Band, FlightSection, Quantity, forces, track};
use aplomb_flight::limit::Limit;
use aplomb_flight::trace::{Camera, Motion, Trace};

/// One picture with its caption.
pub struct Panel {
    /// Heading.
    pub title: &'static str,
    /// Caption below the plot.
    pub caption: String,
    /// The picture.
    pub svg: String,
}

/// The plots of one flight in reading order; `id` starts every identifier.
pub fn of_flight(section: &FlightSection, id: &str) -> Vec<Panel> {
    let mut panels =
        vec![attitude(section, id), position(section, id), ground(section, id), tilt(section, id)];
    panels.extend(balance(section, id));
    panels.extend(rotors(section, id));
    panels.extend(camera(section, id));
    panels.push(air(section, id));
    panels
}

fn attitude(section: &FlightSection, id: &str) -> Panel {
    let headings = Headings::of(section.trace);
    let heading_bands = bands(section, Quantity::Heading, &headings.setpoint);
    let mut heading = motion_frame(section, "heading, deg", Quantity::Heading, |m| m.heading_deg, 6.0, 100.0);
    heading.scale = Scale::Heading;
    heading.key = "heading";
    heading.allowed = heading_bands;
    for (series, values) in
        heading.series.iter_mut().zip([headings.estimate, headings.truth, headings.setpoint])
    {
        series.values = values;
    }
    let mut roll = motion_frame(section, "roll, deg", Quantity::Roll, |m| m.roll_deg, 6.0, 100.0);
    let mut pitch = motion_frame(section, "pitch, deg", Quantity::Pitch, |m| m.pitch_deg, 6.0, 100.0);
    (roll.scale, pitch.scale) = (Scale::Degrees, Scale::Degrees);
    (roll.key, pitch.key) = ("roll", "pitch");
    stack(
        section.trace,
        id,
        "Attitude",
        "Roll to the right and pitch with the nose up are positive; heading runs clockwise from north.",
        vec![roll, pitch, heading],
        None,
    )
}

fn position(section: &FlightSection, id: &str) -> Panel {
    let trace = section.trace;
    let height = motion_frame(section, "height, m", Quantity::Height, |m| m.height_m, 1.0, 100.0);
    let climb = motion_frame(section, "climb, m/s", Quantity::Climb, |m| m.climb_m_s, 1.0, 100.0);
    let no_setpoint = vec![f64::NAN; trace.rows.len()];
    let distance = Frame {
        series: vec![
            Series { class: "other", label: "relative to GNSS", values: column(trace, distance_to_gnss_m) },
            Series { class: "truth", label: "truth", values: column(trace, distance_m) },
        ],
        allowed: bands(section, Quantity::Distance, &no_setpoint),
        from_zero: true,
        ..frame("distance, m", 1.0, 100.0)
    };
    stack(
        trace,
        id,
        "Height, climb and distance from the set-point",
        "Distance is the horizontal position error. Relative to GNSS: without the correlated error of the GNSS \
         receiver, which the controller cannot observe.",
        vec![height, climb, distance],
        None,
    )
}

fn ground(section: &FlightSection, id: &str) -> Panel {
    let title = "Ground track and wind";
    let scale = "North is up and both axes have the same scale.";
    Panel {
        title,
        caption: match track::strongest_wind(section.trace) {
            Some(_) => format!("{scale} The arrows point downwind."),
            None => format!("{scale} The air is still."),
        },
        svg: track::draw(section.trace, &section.bands, &format!("{id}-track"), title),
    }
}

fn tilt(section: &FlightSection, id: &str) -> Panel {
    let limit_deg = section.craft.tilt_limit_deg;
    let tilt = Frame {
        level: limit_deg.is_finite().then_some((limit_deg, "tilt limit")),
        from_zero: true,
        ..motion_frame(section, "tilt, deg", Quantity::Tilt, |m| m.tilt_deg, 6.0, 120.0)
    };
    let lanes = Lanes {
        lanes: vec![
            ("armed", |flags| flags.armed),
            ("on the ground", |flags| flags.on_ground),
            ("at the tilt limit", |flags| flags.at_tilt_limit),
            ("cannot hold position", |flags| flags.cannot_hold_position),
            ("roll/pitch saturation", |flags| flags.roll_pitch_saturated),
            ("thrust saturation", |flags| flags.thrust_saturated),
            ("yaw saturation", |flags| flags.yaw_saturated),
        ],
    };
    stack(
        section.trace,
        id,
        "Tilt and saturation",
        "Tilt is the angle between the thrust and the vertical. The marks show when a limit is reached.",
        vec![tilt],
        Some(lanes),
    )
}

fn balance(section: &FlightSection, id: &str) -> Vec<Panel> {
    let (trace, craft) = (section.trace, &section.craft);
    if !craft.mass_kg.is_finite() {
        return Vec::new();
    }
    let title = "Tilt and force balance";
    let mut panels = vec![Panel {
        title,
        caption: "At constant height the horizontal thrust is m g tan(tilt). Dots on the curve: the vertical thrust equals the \
                  weight; above it the craft accelerates upwards, below it downwards."
            .to_owned(),
        svg: forces::draw_balance(trace, craft, &format!("{id}-balance"), title),
    }];
    if let Some(stretch) = aplomb_study::forces::steepest_steady(trace, craft.mass_kg) {
        let title = "Force triangle";
        panels.push(Panel {
            title,
            caption: "Vector sum of thrust and weight in the steady second with the largest tilt. The resultant accelerates the \
                      craft or balances its drag."
                .to_owned(),
            svg: forces::draw_triangle(&stretch, craft.mass_kg, &format!("{id}-triangle"), title),
        });
    }
    panels
}

fn rotors(section: &FlightSection, id: &str) -> [Panel; 2] {
    let command = RotorPlot {
        trace: section.trace,
        name: "command, %",
        value: |row| row.command.map(|share| 100.0 * share),
        full: 100.0,
        note: None,
        key: "",
    };
    let thrust = RotorPlot {
        trace: section.trace,
        name: "thrust, N",
        value: |row| row.thrust_n,
        full: section.craft.full_thrust_n,
        note: Some(mean_speeds),
        key: "thrust",
    };
    let titles = ["Motor commands by corner", "Thrusts by corner"];
    [
        Panel {
            title: titles[0],
            caption: "Share of the battery voltage. Arranged as on the craft, seen from above, nose up."
                .to_owned(),
            svg: command.draw(&format!("{id}-command"), titles[0]),
        },
        Panel {
            title: titles[1],
            caption: "The scale ends at the full thrust of one rotor. The mean speed is beside each corner."
                .to_owned(),
            svg: thrust.draw(&format!("{id}-thrust"), titles[1]),
        },
    ]
}

/// Attitude of frame and camera, for a craft with a gimbal.
fn camera(section: &FlightSection, id: &str) -> Option<Panel> {
    let trace = section.trace;
    trace.rows.iter().find(|row| row.camera.is_some())?;
    let of_camera =
        |value: fn(&Camera) -> f64| column(trace, |row| row.camera.as_ref().map_or(f64::NAN, value));
    let both = |name, camera, of_frame: fn(&Motion) -> f64| Frame {
        series: vec![
            Series { class: "other", label: "frame", values: column(trace, |row| of_frame(&row.truth)) },
            Series { class: "truth", label: "camera", values: camera },
        ],
        scale: Scale::Degrees,
        ..frame(name, 6.0, 77.0)
    };
    let sight = Frame {
        series: vec![
            Series {
                class: "other",
                label: "heading",
                values: of_camera(|camera| {
                    let across = libm::cos(camera.elevation_deg.to_radians());
                    camera.heading_error_deg * across * camera.pixels_per_deg
                }),
            },
            Series {
                class: "truth",
                label: "elevation",
                values: of_camera(|camera| camera.elevation_error_deg * camera.pixels_per_deg),
            },
        ],
        ..frame("line-of-sight error, pixels", 20.0, 77.0)
    };
    let roll = both("roll, deg", of_camera(|camera| camera.roll_deg), |motion| motion.roll_deg);
    let pitch = both("pitch, deg", of_camera(|camera| camera.elevation_deg), |motion| motion.pitch_deg);
    Some(stack(
        trace,
        id,
        "Gimbal",
        "The gimbal compensates the rotation of the frame. Its slow errors are those of the attitude estimate.",
        vec![roll, pitch, sight],
        None,
    ))
}

fn air(section: &FlightSection, id: &str) -> Panel {
    let trace = section.trace;
    let wind = Frame {
        series: vec![
            Series { class: "other", label: "up", values: column(trace, |row| row.wind_m_s[2]) },
            Series { class: "truth", label: "horizontal", values: column(trace, wind_speed_m_s) },
        ],
        from_zero: true,
        ..frame("wind, m/s", 2.0, 77.0)
    };
    let one = |name, label, values, least_span, from_zero| Frame {
        series: vec![Series { class: "truth", label, values }],
        from_zero,
        ..frame(name, least_span, 77.0)
    };
    let volts = one("battery, V", "voltage", column(trace, |row| row.battery_v), 1.0, false);
    let amps = one("battery, A", "current", column(trace, |row| row.battery_a), 2.0, true);
    stack(
        trace,
        id,
        "Air and battery",
        "Wind at the craft. The voltage sags with the current.",
        vec![wind, volts, amps],
        None,
    )
}

fn stack(
    trace: &Trace,
    id: &str,
    title: &'static str,
    caption: &'static str,
    frames: Vec<Frame>,
    lanes: Option<Lanes>,
) -> Panel {
    let id = format!("{id}-{}", super::xml::anchor(title));
    Panel { title, caption: caption.to_owned(), svg: Stack { trace, frames, lanes }.draw(&id, title) }
}

fn frame(name: &'static str, least_span: f64, height: f64) -> Frame {
    Frame {
        name,
        series: Vec::new(),
        allowed: Vec::new(),
        level: None,
        scale: Scale::Decimal,
        least_span,
        from_zero: false,
        height,
        key: "",
    }
}

/// A frame with estimate, truth and set-point of one quantity.
fn motion_frame(
    section: &FlightSection,
    name: &'static str,
    quantity: Quantity,
    value: impl Fn(&Motion) -> f64,
    least_span: f64,
    height: f64,
) -> Frame {
    let trace = section.trace;
    let setpoint = column(trace, |row| value(&row.setpoint));
    Frame {
        allowed: bands(section, quantity, &setpoint),
        series: vec![
            Series {
                class: "estimate",
                label: "estimate",
                values: column(trace, |row| value(&row.estimate)),
            },
            Series { class: "truth", label: "truth", values: column(trace, |row| value(&row.truth)) },
            Series { class: "setpoint", label: "set-point", values: setpoint },
        ],
        ..frame(name, least_span, height)
    }
}

/// The allowed areas of a quantity.
fn bands(section: &FlightSection, quantity: Quantity, setpoint: &[f64]) -> Vec<Allowed> {
    let of_quantity = section.bands.iter().filter(|band| band.quantity == quantity);
    of_quantity
        .map(|&Band { limit, about_setpoint, from_s, to_s, .. }| {
            let (low, high) = match limit {
                Limit::AtMost(high) if about_setpoint => (-high, high),
                Limit::AtMost(high) => (f64::NEG_INFINITY, high),
                Limit::AtLeast(low) => (low, f64::INFINITY),
                Limit::Between(low, high) => (low, high),
            };
            let follow = |bound: f64| {
                setpoint.iter().map(|value| if about_setpoint { value + bound } else { bound }).collect()
            };
            Allowed { window: (from_s, to_s), low: follow(low), high: follow(high) }
        })
        .collect()
}
