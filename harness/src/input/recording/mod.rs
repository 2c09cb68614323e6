//! Recorded sensor data: samples at a fixed period from a CSV file, optionally compressed by gzip.

use std::io::Read;
use std::ops::Range;
use std::path::Path;

use aplomb_study::estimate::{Recording, Row, Settings};

use super::problem::Location;
use super::{InputError, Problem, attitude_settings, text_of};
use columns::Header;

mod columns;

pub use columns::columns_explained;

/// Largest relative deviation of a time step from the mean.
const UNEVEN: f64 = 0.2;
/// Longest period of the filter in s.
const LONGEST_PERIOD_S: f64 = 0.05;
/// Largest number of reported errors per file: often each line has the same one.
const MOST_PROBLEMS: usize = 10;

/// Reads a `.csv` or `.csv.gz` file.
///
/// # Errors
/// Up to ten errors of the file, each with line and column.
pub fn load_recording(path: &Path) -> Result<Recording, InputError> {
    let shown = path.display().to_string();
    let unreadable = |reason: String| InputError::of_file(shown.clone(), reason, None);
    let mut bytes = std::fs::read(path).map_err(|error| unreadable(format!("cannot be read: {error}")))?;
    if bytes.starts_with(&[0x1f, 0x8b]) {
        let mut inflated = Vec::new();
        let read = flate2::read::MultiGzDecoder::new(bytes.as_slice()).read_to_end(&mut inflated);
        read.map_err(|error| unreadable(format!("is not a complete gzip file: {error}")))?;
        bytes = inflated;
    }
    let text = String::from_utf8(bytes)
        .map_err(|error| unreadable(format!("is not text in UTF-8: {}", error.utf8_error())))?;
    let file = path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let stem = file.strip_suffix(".gz").unwrap_or(&file);
    recording(&shown, stem.strip_suffix(".csv").unwrap_or(stem), &text)
}

/// Reads the text of a file; `path` names it in messages.
///
/// # Errors
/// As [`load_recording`].
pub fn recording(path: &str, name: &str, text: &str) -> Result<Recording, InputError> {
    let refuse = |problems: Vec<Problem>| InputError {
        path: path.to_owned(),
        source: text.to_owned(),
        problems: problems.into_iter().take(MOST_PROBLEMS).collect(),
        omitted: 0,
    };
    let (period_s, rows) = read(text).map_err(refuse)?;
    Ok(Recording { name: name.to_owned(), period_s: period_s as f32, rows })
}

/// Settings of the attitude filter from a TOML file with the keys of `[override.attitude_estimate]` of a
/// controller file; omitted keys have the recommended values. Named after the file.
///
/// # Errors
/// All errors of the file.
pub fn load_settings(path: &Path) -> Result<Settings, InputError> {
    let config = attitude_settings(&path.display().to_string(), &text_of(path)?)?;
    let name = path.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
    Ok(Settings { name, config })
}

/// The period in s and the rows, or the errors.
fn read(text: &str) -> Result<(f64, Vec<Row>), Vec<Problem>> {
    let mut lines = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
    let mut header = None;
    let mut rows = Vec::new();
    let mut spans_of_rows = Vec::new();
    let mut problems = Vec::new();
    for record in lines.records() {
        let record = record.map_err(|error| vec![problem(text, 0..0, error.to_string(), None)])?;
        let line = line_at(text, record.position().map_or(0, |position| position.byte() as usize));
        let fields: Vec<(&str, Range<usize>)> =
            record.iter().map(str::trim).zip(spans(text, &line)).collect();
        let Some(header) = &header else {
            let names: Vec<_> = fields.into_iter().map(|(name, span)| (name.to_owned(), span)).collect();
            header = Some(Header::read(text, &names)?);
            continue;
        };
        match numbers(text, header, &fields, &line) {
            Ok(numbers) => {
                rows.push(header.row(&numbers));
                spans_of_rows.push(line);
            }
            Err(mut wrong) => problems.append(&mut wrong),
        }
        if problems.len() >= MOST_PROBLEMS {
            return Err(problems);
        }
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    let period_s = period(text, &rows, &spans_of_rows).map_err(|problem| vec![problem])?;
    Ok((period_s, rows))
}

/// The numbers of one line.
fn numbers(
    text: &str,
    header: &Header,
    fields: &[(&str, Range<usize>)],
    line: &Range<usize>,
) -> Result<Vec<f64>, Vec<Problem>> {
    if fields.len() != header.len() {
        let reason =
            format!("{} fields, but {} columns are named in the first line", fields.len(), header.len());
        return Err(vec![problem(text, line.clone(), reason, None)]);
    }
    let mut problems = Vec::new();
    let mut numbers = Vec::with_capacity(fields.len());
    for (column, (field, span)) in fields.iter().enumerate() {
        let absent = field.is_empty() || field.eq_ignore_ascii_case("nan");
        let number = if absent { Some(f64::NAN) } else { field.parse().ok().filter(|x: &f64| x.is_finite()) };
        let valid = match number {
            Some(x) if absent => header.may_be_absent(column).then_some(x),
            Some(x) if header.is_flag(column) => (x == 0.0 || x == 1.0).then_some(x),
            number => number,
        };
        match valid {
            Some(number) => numbers.push(number),
            None => {
                let expected = if header.is_flag(column) { "0 or 1" } else { "a finite number" };
                let reason = format!("`{}` must be {expected}, found `{field}`", header.name(column));
                problems.push(problem(text, span.clone(), reason, None));
            }
        }
    }
    if problems.is_empty() { Ok(numbers) } else { Err(problems) }
}

/// The period in s; time steps must be equal.
fn period(text: &str, rows: &[Row], spans: &[Range<usize>]) -> Result<f64, Problem> {
    let ([first, .., last], [.., last_span]) = (rows, spans) else {
        let reason = format!("{} lines of samples: at least two are needed", rows.len());
        return Err(problem(text, text.len()..text.len(), reason, None));
    };
    let period_s = (last.time_s - first.time_s) / (rows.len() - 1) as f64;
    for (pair, span) in rows.windows(2).zip(spans.iter().skip(1)) {
        let [before, now] = pair else { continue };
        let step_s = now.time_s - before.time_s;
        if step_s <= 0.0 || (step_s - period_s).abs() > UNEVEN * period_s {
            let reason =
                format!("a step of {step_s:.6} s with a mean of {period_s:.6} s: time steps must be equal");
            let help = "resample to a fixed period; leave fields empty where a sample is missing".to_owned();
            return Err(problem(text, span.clone(), reason, Some(help)));
        }
    }
    if period_s > LONGEST_PERIOD_S {
        let reason = format!("a period of {period_s:.6} s: the filter needs {LONGEST_PERIOD_S} s at most");
        return Err(problem(text, last_span.clone(), reason, None));
    }
    Ok(period_s)
}

fn problem(text: &str, span: Range<usize>, reason: String, help: Option<String>) -> Problem {
    Problem { location: Some(Location::of(text, span)), reason, help }
}

/// The line of the first character from `start` on that is not a line end.
fn line_at(text: &str, start: usize) -> Range<usize> {
    let rest = text.get(start..).unwrap_or("");
    let from = start + (rest.len() - rest.trim_start_matches(['\r', '\n']).len());
    let length = text[from..].find('\n').unwrap_or(text.len() - from);
    from..from + text[from..from + length].trim_end_matches('\r').len()
}

/// Spans of the fields of a line; the whole line for each if it contains quotes.
fn spans(text: &str, line: &Range<usize>) -> Vec<Range<usize>> {
    let whole = &text[line.clone()];
    let quoted = whole.contains('"');
    let mut from = line.start;
    let parts = whole.split(',').map(|part| {
        let span = from..from + part.len();
        from = span.end + 1;
        if quoted { line.clone() } else { span }
    });
    parts.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const NAMES: &str = "time_s,gyro_forward_deg_s,gyro_right_rad_s,gyro_down_rad_s,accel_forward_m_s2,accel_right_m_s2,\
                         accel_down_g";

    fn refused(text: &str) -> String {
        recording("r.csv", "r", text).unwrap_err().to_string()
    }

    #[test]
    fn units_of_the_header_are_converted() {
        let text = format!("{NAMES}\n0,180,0,1,0,0,-1\n0.01,,nan,0,0,0,-1\n");
        let read = recording("r.csv", "r", &text).unwrap();
        let [first, second] = read.rows.as_slice() else { panic!("two lines") };
        assert!((first.gyro_rad_s[0] - std::f32::consts::PI).abs() < 1e-6 && first.gyro_rad_s[2] == 1.0);
        assert_eq!(first.accel_m_s2[2], -9.806_65);
        assert!(second.gyro_rad_s[0].is_nan() && second.gyro_rad_s[1].is_nan());
        assert!(first.scored && !first.motors_on && first.field_ut.is_none() && first.reference.is_none());
        assert!((read.period_s - 0.01).abs() < 1e-9);
    }

    #[test]
    fn unknown_column_or_unit_is_refused_with_location_and_nearest_name() {
        let message = refused(&NAMES.replace("gyro_down_rad_s", "gyro_down_rpm"));
        assert!(message.contains("unknown column `gyro_down_rpm`\n --> r.csv:1:44\n"), "{message}");
        assert!(message.contains("did you mean `gyro_down_rad_s`?"), "{message}");
        assert!(message.contains("error: missing column `gyro_down_rad_s`"), "{message}");
        let message = refused(&NAMES.replace("time_s", "tmie_s"));
        assert!(message.contains("did you mean `time_s`?") && message.contains("r.csv:1:1\n"), "{message}");
        let message = refused(&format!("{NAMES},gyro_down_deg_s"));
        assert!(message.contains("`gyro_down_deg_s` is given already, by `gyro_down_rad_s`"), "{message}");
        let message = refused(&format!("{NAMES},field_right_ut"));
        assert!(message.contains("missing column `field_forward_ut`"), "{message}");
    }

    #[test]
    fn bad_values_are_refused_with_line_and_column() {
        let good = "0,0,0,0,0,0,-1\n0.01,0,0,0,0,0,-1\n";
        for (line, location, reason) in [
            ("0.02,0,x,0,0,0,-1", "r.csv:4:8", "`gyro_right_rad_s` must be a finite number, found `x`"),
            ("0.02,0,inf,0,0,0,-1", "r.csv:4:8", "must be a finite number, found `inf`"),
            (",0,0,0,0,0,-1", "r.csv:4:1", "`time_s` must be a finite number, found ``"),
            ("0.02,0,0,0,0,-1", "r.csv:4:1", "6 fields, but 7 columns"),
            ("0.05,0,0,0,0,0,-1", "r.csv:3:1", "time steps must be equal"),
            ("0.01,0,0,0,0,0,-1", "r.csv:3:1", "time steps must be equal"),
        ] {
            let message = refused(&format!("{NAMES}\n{good}{line}\n"));
            assert!(message.contains(location) && message.contains(reason), "{line}: {message}");
        }
        assert!(refused(&format!("{NAMES}\n0,0,0,0,0,0,-1\n")).contains("at least two are needed"));
        assert!(refused("").contains("at least two are needed"));
        let slow = refused(&format!("{NAMES}\n0,0,0,0,0,0,-1\n0.1,0,0,0,0,0,-1\n"));
        assert!(slow.contains("0.05 s at most"), "{slow}");
        let flag = refused(&format!("{NAMES},scored\n0,0,0,0,0,0,-1,2\n"));
        assert!(flag.contains("`scored` must be 0 or 1, found `2`"), "{flag}");
    }

    #[test]
    fn same_error_in_every_line_is_reported_ten_times() {
        let lines: String = (0..100).map(|k| format!("{k},0,0,0,0,0,x\n")).collect();
        assert_eq!(refused(&format!("{NAMES}\n{lines}")).matches("error: ").count(), 10);
    }

    #[test]
    fn windows_line_ends_and_blank_lines_are_read() {
        let text = format!("{NAMES}\r\n0,0,0,0,0,0,-1\r\n\r\n0.01,0,0,0,0,0,-1\r\n");
        assert_eq!(recording("r.csv", "r", &text).unwrap().rows.len(), 2);
    }
}
