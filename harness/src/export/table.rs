//! Layout of a parameter block as a table, for other tools.

use std::fmt::Write;

use aplomb::flight::Config;
use aplomb::parameters::{self, Value, Visitor};

/// A Markdown table: first byte, bytes, name and value of everything in the block of `config`.
#[must_use]
pub fn table(config: &Config) -> String {
    let mut rows = Rows { lines: String::new(), at: 0, path: Vec::new() };
    rows.row(4, "\"aplb\"", "the letters `aplb`");
    rows.row(2, "format", &parameters::VERSION.to_string());
    rows.row(2, "size of the block", &parameters::SIZE.to_string());
    rows.row(4, "layout", &format!("{:#010x}", parameters::LAYOUT));
    parameters::visit(config, &mut rows);
    rows.row(4, "CRC-32 of everything before (ISO/IEC 3309)", "");
    format!(
        "# Parameter block, format {}, layout {:08x}\n\n\
         All numbers are little-endian; nothing is aligned. A number is an IEEE 754 binary32. A flag is one byte, 0 or 1; so is a \
         sense of rotation, 1 for counter-clockwise seen from above. A number that may be absent is a flag and a number.\n\n\
         | first byte | bytes | what | value |\n| ---: | ---: | --- | --- |\n{}",
        parameters::VERSION,
        parameters::LAYOUT,
        rows.lines
    )
}

struct Rows {
    lines: String,
    at: usize,
    path: Vec<&'static str>,
}

impl Rows {
    fn row(&mut self, bytes: usize, what: &str, value: &str) {
        // Writing to a string cannot fail.
        let _ = writeln!(self.lines, "| {} | {bytes} | {what} | {value} |", self.at);
        self.at += bytes;
    }
}

impl Visitor for Rows {
    fn begin(&mut self, name: &'static str, _: &'static str) {
        self.path.push(name);
    }

    fn value(&mut self, name: &'static str, value: Value) {
        let groups = self.path.iter().filter(|name| !name.is_empty());
        let what: String = groups.map(|name| format!("{name}.")).collect();
        let shown = match value {
            Value::Number(number) => number.to_string(),
            Value::Count(count) => count.to_string(),
            Value::Flag(flag) => flag.to_string(),
            Value::Spin(aplomb::Spin::Clockwise) => "clockwise".into(),
            Value::Spin(aplomb::Spin::CounterClockwise) => "counter-clockwise".into(),
            Value::Optional(number) => number.map_or("absent".into(), |number| number.to_string()),
            Value::Vector([x, y, z]) => format!("{x}, {y}, {z}"),
        };
        self.row(value.size(), &format!("`{what}{name}`"), &shown);
    }

    fn end(&mut self) {
        self.path.pop();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_byte_of_the_block_is_in_the_table_where_it_stands() {
        let config = crate::input::demo_controller().unwrap();
        let (text, block) = (table(&config), parameters::write(&config));
        let mut next = 0;
        for row in text.lines().skip_while(|line| !line.starts_with("| ---")).skip(1) {
            let cells: Vec<_> = row.split('|').map(str::trim).collect();
            let (first, bytes): (usize, usize) = (cells[1].parse().unwrap(), cells[2].parse().unwrap());
            assert_eq!(first, next, "{row}");
            next = first + bytes;
            if let (4, Ok(shown)) = (bytes, cells[4].parse::<f32>()) {
                let stored = f32::from_le_bytes(block[first..next].try_into().unwrap());
                assert_eq!(stored, shown, "{row}");
            }
        }
        assert_eq!(next, parameters::SIZE);
        assert!(text.contains("| `mix.geometry.arms.front_left.spin` | counter-clockwise |"), "{text}");
    }
}
