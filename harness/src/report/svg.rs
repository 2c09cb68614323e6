//! Writer of SVG pictures. Colours are set by CSS classes.

use super::decimate::Point;
use super::xml::escape;
use std::fmt::Write as _;

/// Alignment of a text at its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// The text starts at the point.
    Start,
    /// The text is centred on the point.
    Middle,
    /// The text ends at the point.
    End,
}

/// One picture being written.
pub struct Svg {
    text: String,
}

impl Svg {
    /// Opens a picture of `width` by `height` px; title and description are its text alternative.
    pub fn new(id: &str, width: f64, height: f64, title: &str, description: &str) -> Self {
        let (id, title, description) = (escape(id), escape(title), escape(description));
        Self {
            text: format!(
                "<svg role=\"img\" viewBox=\"0 0 {} {}\" aria-labelledby=\"{id}-t {id}-d\">\
                 <title id=\"{id}-t\">{title}</title><desc id=\"{id}-d\">{description}</desc>",
                Tenths::of(width),
                Tenths::of(height)
            ),
        }
    }

    /// A rectangle; omitted if a side is not positive.
    pub fn rect(&mut self, class: &str, x: f64, y: f64, width: f64, height: f64) {
        if width > 0.0 && height > 0.0 {
            let _ = write!(
                self.text,
                "<rect class=\"{class}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
                Tenths::of(x),
                Tenths::of(y),
                Tenths::of(width),
                Tenths::of(height)
            );
        }
    }

    /// A circle.
    pub fn circle(&mut self, class: &str, (x, y): Point, radius: f64) {
        let _ = write!(
            self.text,
            "<circle class=\"{class}\" cx=\"{}\" cy=\"{}\" r=\"{}\"/>",
            Tenths::of(x),
            Tenths::of(y),
            Tenths::of(radius)
        );
    }

    /// A straight line.
    pub fn line(&mut self, class: &str, from: Point, to: Point) {
        let mut path = Path::default();
        path.move_to(from);
        path.line_to(to);
        self.path(class, &path);
    }

    /// An arrow: a line with a solid head of `head` px at its end.
    pub fn arrow(&mut self, class: &str, from: Point, to: Point, head: f64) {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let length = libm::hypot(dx, dy);
        if length < 0.5 {
            return;
        }
        let (ux, uy) = (dx / length, dy / length);
        let head = head.min(length);
        let neck = (to.0 - ux * head, to.1 - uy * head);
        self.line(class, from, neck);
        let mut tip = Path::default();
        tip.move_to(to);
        tip.line_to((neck.0 - uy * head * 0.45, neck.1 + ux * head * 0.45));
        tip.line_to((neck.0 + uy * head * 0.45, neck.1 - ux * head * 0.45));
        tip.close();
        self.path(&format!("{class} solid"), &tip);
    }

    /// A text of one line.
    pub fn text(&mut self, class: &str, (x, y): Point, align: Align, text: &str) {
        let align = match align {
            Align::Start => "",
            Align::Middle => " mid",
            Align::End => " end",
        };
        let _ = write!(
            self.text,
            "<text class=\"{class}{align}\" x=\"{}\" y=\"{}\">{}</text>",
            Tenths::of(x),
            Tenths::of(y),
            escape(text)
        );
    }

    /// A path; omitted if empty.
    pub fn path(&mut self, class: &str, path: &Path) {
        if !path.data.is_empty() {
            let _ = write!(self.text, "<path class=\"{class}\" d=\"{}\"/>", path.data);
        }
    }

    /// A path with the name of what it plots.
    pub fn plotted(&mut self, class: &str, name: &str, path: &Path) {
        self.plotted_with(class, name, "", path);
    }

    /// The same with further attributes, ready for the element.
    pub fn plotted_with(&mut self, class: &str, name: &str, more: &str, path: &Path) {
        if !path.data.is_empty() {
            let name = escape(name);
            let _ =
                write!(self.text, "<path class=\"{class}\" data-name=\"{name}\"{more} d=\"{}\"/>", path.data);
        }
    }

    /// A group of elements.
    pub fn group(&mut self, class: &str, content: impl FnOnce(&mut Self)) {
        let start = self.text.len();
        let _ = write!(self.text, "<g class=\"{class}\">");
        let empty = self.text.len();
        content(self);
        if self.text.len() == empty {
            self.text.truncate(start);
        } else {
            self.text.push_str("</g>");
        }
    }

    /// A picture inside this one with the same coordinates; `more` are further attributes.
    pub fn nested(
        &mut self,
        class: &str,
        (x, y): Point,
        width: f64,
        height: f64,
        more: &str,
        content: impl FnOnce(&mut Self),
    ) {
        let [x, y, width, height] = [x, y, width, height].map(Tenths::of);
        let _ = write!(
            self.text,
            "<svg class=\"{class}\" x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{height}\" \
             viewBox=\"{x} {y} {width} {height}\" preserveAspectRatio=\"none\"{more}>"
        );
        content(self);
        self.text.push_str("</svg>");
    }

    /// Closes the picture.
    pub fn finish(mut self) -> String {
        self.text.push_str("</svg>");
        self.text
    }
}

/// Relative path data with one decimal, in the shortest form of the grammar. Rounding errors do not
/// accumulate: each step starts from the rounded point.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Path {
    data: String,
    at: (i64, i64),
    command: char,
    fraction: bool,
}

impl Path {
    /// Starts a new subpath.
    pub fn move_to(&mut self, point: Point) {
        let (x, y) = tenths(point);
        self.command = 'M';
        self.data.push('M');
        self.fraction = false;
        self.number(x, true);
        self.number(y, false);
        self.at = (x, y);
    }

    /// Draws a line to a point; a step below the resolution is skipped.
    pub fn line_to(&mut self, point: Point) {
        let (x, y) = tenths(point);
        let step = (x - self.at.0, y - self.at.1);
        match step {
            (0, 0) => return,
            (dx, 0) => self.step('h', dx, None),
            (0, dy) => self.step('v', dy, None),
            (dx, dy) => self.step('l', dx, Some(dy)),
        }
        self.at = (x, y);
    }

    /// A dot, visible through a round line cap.
    pub fn dot(&mut self, point: Point) {
        self.move_to(point);
        self.data.push_str("h0");
        self.command = 'h';
    }

    /// Closes the subpath.
    pub fn close(&mut self) {
        self.data.push('z');
        self.command = 'z';
    }

    /// A run of points; a single one becomes a dot.
    pub fn run(&mut self, points: &[Point]) {
        match points {
            [] => {}
            [only] => self.dot(*only),
            [first, rest @ ..] => {
                self.move_to(*first);
                for &point in rest {
                    self.line_to(point);
                }
            }
        }
    }

    /// A run of points, each of which stays a vertex even if it coincides with the one before.
    pub fn run_whole(&mut self, points: &[Point]) {
        match points {
            [] => {}
            [only] => self.dot(*only),
            [first, rest @ ..] => {
                self.move_to(*first);
                for &(x, y) in rest {
                    let (x, y) = tenths((x, y));
                    self.step('l', x - self.at.0, Some(y - self.at.1));
                    self.at = (x, y);
                }
            }
        }
    }

    /// The path data.
    #[cfg(test)]
    pub fn data(&self) -> &str {
        &self.data
    }

    fn step(&mut self, command: char, first: i64, second: Option<i64>) {
        let fresh = self.command != command;
        if fresh {
            self.data.push(command);
            self.command = command;
            self.fraction = false;
        }
        self.number(first, fresh);
        if let Some(second) = second {
            self.number(second, false);
        }
    }

    fn number(&mut self, value: i64, first: bool) {
        let start = self.data.len();
        let _ = write!(self.data, "{}", Tenths(value));
        let text = &self.data[start..];
        let parts_itself = text.starts_with('-') || (text.starts_with('.') && self.fraction);
        self.fraction = text.contains('.');
        if !first && !parts_itself {
            self.data.insert(start, ' ');
        }
    }
}

/// Tenths of a pixel in the shortest form.
struct Tenths(i64);

impl Tenths {
    fn of(value: f64) -> Self {
        Self(libm::round(value * 10.0) as i64)
    }
}

impl std::fmt::Display for Tenths {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.0 < 0 {
            out.write_char('-')?;
        }
        let (whole, tenth) = (self.0.unsigned_abs() / 10, self.0.unsigned_abs() % 10);
        match (whole, tenth) {
            (whole, 0) => write!(out, "{whole}"),
            (0, tenth) => write!(out, ".{tenth}"),
            (whole, tenth) => write!(out, "{whole}.{tenth}"),
        }
    }
}

fn tenths((x, y): Point) -> (i64, i64) {
    (Tenths::of(x).0, Tenths::of(y).0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn path_data_is_short_and_does_not_drift() {
        let mut path = Path::default();
        path.run(&[(10.0, 20.0), (10.46, 20.46), (10.92, 20.0), (12.0, 20.0), (12.0, 19.5), (13.5, 18.9)]);
        assert_eq!(path.data(), "M10 20l.5.5.4-.5h1.1v-.5l1.5-.6");
        let mut path = Path::default();
        path.move_to((0.0, 0.0));
        for i in 1..=1000 {
            path.line_to((f64::from(i) * 0.333, 0.0));
        }
        assert_eq!(path.at, (3330, 0));
    }

    #[test]
    fn lone_point_is_a_dot_and_empty_is_nothing() {
        let mut path = Path::default();
        path.run(&[(1.0, 2.0)]);
        assert_eq!(path.data(), "M1 2h0");
        let mut svg = Svg::new("p", 10.0, 10.0, "t", "d");
        svg.path("line", &Path::default());
        svg.rect("shade", 0.0, 0.0, 0.0, 5.0);
        assert!(!svg.finish().contains("<path"));
    }

    #[test]
    fn picture_is_well_formed_with_hostile_text() {
        let mut svg = Svg::new("a\"b", 10.0, 10.5, "<script>", "a & b \u{1}");
        svg.text("label", (1.0, 2.0), Align::End, "1 < 2 & \"x\"");
        svg.arrow("wind", (0.0, 0.0), (5.0, 5.0), 3.0);
        svg.circle("mark", (1.0, 1.0), 2.0);
        let text = svg.finish();
        let document = roxmltree::Document::parse(&text).unwrap();
        assert_eq!(document.descendants().filter(|n| n.has_tag_name("script")).count(), 0);
        assert!(document.descendants().any(|n| n.text() == Some("1 < 2 & \"x\"")));
    }
}
