//! Which plots a flight gets, and what the reader is told beneath each.

use super::quantities::{Headings, column, control_distance_m, distance_m, wind_speed_m_s};
use super::rotor_plots::{RotorPlot, mean_speeds};
use super::ticks::Scale;
use super::time_plot::{Allowed, Frame, Lanes, Series, Stack};
use super::{Band, FlightSection, Quantity, forces, track};
use crate::trace::{Camera, Motion, Trace};
use crate::verdict::Limit;

/// One picture with its caption.
pub struct Panel {
    /// Heading of the caption.
    pub title: &'static str,
    /// What to see in it.
    pub caption: &'static str,
    /// The picture.
    pub svg: String,
}

/// The plots of one flight in reading order; `id` starts every identifier.
pub fn of_flight(section: &FlightSection, id: &str) -> Vec<Panel> {
    let mut panels = vec![attitude(section, id), place(section, id), ground(section, id), tilt(section, id)];
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
    heading.allowed = heading_bands;
    for (series, values) in
        heading.series.iter_mut().zip([headings.estimate, headings.truth, headings.setpoint])
    {
        series.values = values;
    }
    let mut roll = motion_frame(section, "roll, deg", Quantity::Roll, |m| m.roll_deg, 6.0, 100.0);
    let mut pitch = motion_frame(section, "pitch, deg", Quantity::Pitch, |m| m.pitch_deg, 6.0, 100.0);
    (roll.scale, pitch.scale) = (Scale::Degrees, Scale::Degrees);
    stack(
        section.trace,
        id,
        "Attitude",
        "Roll to the right and pitch with the nose up are positive; heading runs clockwise from north.",
        vec![roll, pitch, heading],
        None,
    )
}

fn place(section: &FlightSection, id: &str) -> Panel {
    let trace = section.trace;
    let height = motion_frame(section, "height, m", Quantity::Height, |m| m.height_m, 1.0, 100.0);
    let climb = motion_frame(section, "climb, m/s", Quantity::Climb, |m| m.climb_m_s, 1.0, 100.0);
    let nowhere = vec![f64::NAN; trace.rows.len()];
    let distance = Frame {
        series: vec![
            Series {
                class: "other",
                label: "with receiver error",
                values: column(trace, control_distance_m),
            },
            Series { class: "truth", label: "truth", values: column(trace, distance_m) },
        ],
        allowed: bands(section, Quantity::Distance, &nowhere),
        from_zero: true,
        ..frame("distance, m", 1.0, 100.0)
    };
    stack(
        trace,
        id,
        "Height, climb and distance from the set-point",
        "Distance is horizontal. With the slow error of the receiver added to the truth, it shows how well the \
         control holds what it can know.",
        vec![height, climb, distance],
        None,
    )
}

fn ground(section: &FlightSection, id: &str) -> Panel {
    let title = "Ground track and wind";
    Panel {
        title,
        caption: "North is up and both axes have the same scale. The arrows point where the air goes.",
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
            ("motors may turn", |flags| flags.armed),
            ("on the ground", |flags| flags.on_ground),
            ("at the tilt limit", |flags| flags.at_tilt_limit),
            ("carried off", |flags| flags.cannot_hold_position),
            ("roll or pitch torque cut", |flags| flags.roll_pitch_saturated),
            ("thrust moved to make room", |flags| flags.thrust_saturated),
            ("yaw torque cut", |flags| flags.yaw_saturated),
        ],
    };
    stack(
        section.trace,
        id,
        "Tilt and what was cut",
        "Tilt is the angle between the thrust and the vertical. The marks show when a limit was reached.",
        vec![tilt],
        Some(lanes),
    )
}

fn balance(section: &FlightSection, id: &str) -> Vec<Panel> {
    let (trace, craft) = (section.trace, &section.craft);
    if !craft.mass_kg.is_finite() {
        return Vec::new();
    }
    let title = "Tilt against the balance of forces";
    let mut panels = vec![Panel {
        title,
        caption: "At constant height a tilt leaves m g tan(tilt) to the side. Dots on the curve keep the height; \
                  above it the thrust exceeds what the height needs, below it the craft sinks faster or brakes its climb.",
        svg: forces::draw_balance(trace, craft, &format!("{id}-balance"), title),
    }];
    if let Some(stretch) = forces::telling(trace, craft.mass_kg) {
        let title = "Force triangle";
        panels.push(Panel {
            title,
            caption: "Thrust and weight, head to tail, at the steepest steady second. What is left over speeds the \
                      craft up or leans against the air.",
            svg: forces::draw_triangle(&stretch, craft, &format!("{id}-triangle"), title),
        });
    }
    panels
}

fn rotors(section: &FlightSection, id: &str) -> [Panel; 2] {
    let command = RotorPlot {
        trace: section.trace,
        name: "command, % of battery voltage",
        value: |row| row.command.map(|share| 100.0 * share),
        full: 100.0,
        note: None,
    };
    let thrust = RotorPlot {
        trace: section.trace,
        name: "thrust, N",
        value: |row| row.thrust_n,
        full: section.craft.full_thrust_n,
        note: Some(mean_speeds),
    };
    let titles = ["Motor commands by place", "Thrusts by place"];
    [
        Panel {
            title: titles[0],
            caption: "Laid out as on the craft, seen from above with the nose up the page.",
            svg: command.draw(&format!("{id}-command"), titles[0]),
        },
        Panel {
            title: titles[1],
            caption: "The scale ends at the full thrust of one rotor. Beside each place its mean speed.",
            svg: thrust.draw(&format!("{id}-thrust"), titles[1]),
        },
    ]
}

/// What the stabiliser makes of the frame's motion, where a camera is fitted.
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
        ..frame("picture off by, pixels", 20.0, 77.0)
    };
    let roll = both("roll, deg", of_camera(|camera| camera.roll_deg), |motion| motion.roll_deg);
    let pitch = both("pitch, deg", of_camera(|camera| camera.elevation_deg), |motion| motion.pitch_deg);
    Some(stack(
        trace,
        id,
        "Camera in its mount",
        "The mount turns the frame's motion away. Slow errors are those of the craft's own attitude estimate.",
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
    Panel { title, caption, svg: Stack { trace, frames, lanes }.draw(&id, title) }
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
                setpoint.iter().map(|aim| if about_setpoint { aim + bound } else { bound }).collect()
            };
            Allowed { window: (from_s, to_s), low: follow(low), high: follow(high) }
        })
        .collect()
}
