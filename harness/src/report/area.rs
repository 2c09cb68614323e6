//! Plotting areas: the part of a picture between its axes. The ranges are attributes, with which the script
//! of the page reads values from the plotted lines and zooms. Without script they change nothing.

use super::axis::Axis;
use super::svg::Svg;

/// What the horizontal axis shows, and so which areas have a common pointer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Time in s.
    Time,
    /// Decimal logarithm of a frequency in rad/s.
    Frequency,
    /// Another quantity; the name has both: "tilt, deg|horizontal thrust, N".
    Plane,
}

/// A plotting area.
pub struct Area<'a> {
    /// Kind of the horizontal axis.
    pub kind: Kind,
    /// Quantity of the vertical axis with its unit: "roll, deg".
    pub name: &'a str,
    /// Horizontal axis.
    pub across: &'a Axis,
    /// Vertical axis; `from` is its bottom.
    pub up: &'a Axis,
    /// The labels of the horizontal axis are below this area.
    pub has_foot: bool,
    /// Key by which the script finds the quantities of the craft's picture; empty for others.
    pub key: &'a str,
}

impl Area<'_> {
    /// Draws `content`, clipped to the area while it is zoomed.
    pub fn draw(&self, svg: &mut Svg, content: impl FnOnce(&mut Svg)) {
        let kind = match self.kind {
            Kind::Time => "time",
            Kind::Frequency => "frequency",
            Kind::Plane => "plane",
        };
        let mut more = format!(
            " data-kind=\"{kind}\" data-name=\"{}\" data-x=\"{}\" data-y=\"{}\"",
            super::xml::escape(self.name),
            ends(self.across),
            ends(self.up)
        );
        if self.has_foot {
            more += " data-foot=\"\"";
        }
        if !self.key.is_empty() {
            more += &format!(" data-key=\"{}\"", self.key);
        }
        let corner = (self.across.from, self.up.to);
        svg.nested(
            "area",
            corner,
            self.across.to - self.across.from,
            self.up.from - self.up.to,
            &more,
            content,
        );
    }
}

/// Values at both ends of an axis with seven digits.
fn ends(axis: &Axis) -> String {
    let short = |value: f64| format!("{value:.6e}").parse().unwrap_or(value);
    format!("{} {}", short(axis.low), short(axis.high))
}
