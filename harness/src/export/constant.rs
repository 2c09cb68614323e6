//! A configuration as the source text of a Rust constant.

use std::fmt::Write;

use aplomb::Spin;
use aplomb::flight::Config;
use aplomb::parameters::{self, Value, Visitor};

/// The source text of `pub const CONTROLLER`, for `include!` in `no_std` firmware that depends on the crate
/// `aplomb` of this release. `origin` is the origin of the values, for its comment. Every bit of every value
/// is kept.
#[must_use]
pub fn constant(config: &Config, origin: &str) -> String {
    let mut text = Text { lines: String::new(), depth: 0 };
    parameters::visit(config, &mut text);
    let origin = origin.replace(['\n', '\r'], " ");
    format!(
        "/// Exported by aplomb {} from {origin}.\npub const CONTROLLER: aplomb::flight::Config = {};\n",
        env!("CARGO_PKG_VERSION"),
        text.lines.trim_end().trim_end_matches(','),
    )
}

struct Text {
    lines: String,
    depth: usize,
}

impl Text {
    fn line(&mut self, name: &str, rest: std::fmt::Arguments<'_>) {
        let separator = if name.is_empty() { "" } else { ": " };
        let indent = 4 * self.depth;
        // Writing to a string cannot fail.
        let _ = writeln!(self.lines, "{:indent$}{name}{separator}{rest}", "");
    }
}

impl Visitor for Text {
    fn begin(&mut self, name: &'static str, path: &'static str) {
        let path = path.strip_prefix("crate").unwrap_or(path);
        self.line(name, format_args!("aplomb{path} {{"));
        self.depth += 1;
    }

    fn value(&mut self, name: &'static str, value: Value) {
        match value {
            Value::Number(number) => self.line(name, format_args!("{},", literal(number))),
            Value::Count(count) => self.line(name, format_args!("{count},")),
            Value::Flag(flag) => self.line(name, format_args!("{flag},")),
            Value::Spin(Spin::Clockwise) => self.line(name, format_args!("aplomb::Spin::Clockwise,")),
            Value::Spin(Spin::CounterClockwise) => {
                self.line(name, format_args!("aplomb::Spin::CounterClockwise,"));
            }
            Value::Optional(None) => self.line(name, format_args!("None,")),
            Value::Optional(Some(number)) => self.line(name, format_args!("Some({}),", literal(number))),
            Value::Vector(components) => {
                let [x, y, z] = components.map(literal);
                self.line(name, format_args!("aplomb::frames::Vector::new({x}, {y}, {z}),"));
            }
        }
    }

    fn end(&mut self) {
        self.depth -= 1;
        self.line("", format_args!("}},"));
    }
}

/// The shortest literal that reads back as the same bits.
fn literal(number: f32) -> String {
    if number.is_finite() {
        format!("{number:?}")
    } else if number == f32::INFINITY {
        "f32::INFINITY".into()
    } else if number == f32::NEG_INFINITY {
        "f32::NEG_INFINITY".into()
    } else {
        format!("f32::from_bits({:#010x})", number.to_bits())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn literals_keep_every_bit() {
        for bits in (0..=u32::MAX).step_by(99_991).chain([0x8000_0000, 1, 0x7f7f_ffff]) {
            let number = f32::from_bits(bits);
            if number.is_finite() {
                assert_eq!(literal(number).parse::<f32>().unwrap().to_bits(), bits);
            }
        }
        assert_eq!(literal(f32::INFINITY), "f32::INFINITY");
        assert_eq!(literal(f32::from_bits(0x7fc0_0001)), "f32::from_bits(0x7fc00001)");
    }
}
