//! Runs of the command `aplomb estimate` on synthetic recordings with a known truth.

use std::f64::consts::{FRAC_1_SQRT_2, TAU};
use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;
use std::path::PathBuf;
use std::process::{Command, Output};

type Quaternion = [f64; 4];

fn multiply([a, b, c, d]: Quaternion, [w, x, y, z]: Quaternion) -> Quaternion {
    [
        a * w - b * x - c * y - d * z,
        a * x + b * w + c * z - d * y,
        a * y - b * z + c * w + d * x,
        a * z + b * y - c * x + d * w,
    ]
}

fn conjugate([w, x, y, z]: Quaternion) -> Quaternion {
    [w, -x, -y, -z]
}

fn rotate(q: Quaternion, [x, y, z]: [f64; 3]) -> [f64; 3] {
    let [_, x, y, z] = multiply(multiply(q, [0.0, x, y, z]), conjugate(q));
    [x, y, z]
}

/// Rotation about one axis (0 to 2) by an angle in deg.
fn about(axis: usize, angle_deg: f64) -> Quaternion {
    let (s, c) = (0.5 * angle_deg).to_radians().sin_cos();
    let mut q = [c, 0.0, 0.0, 0.0];
    q[axis + 1] = s;
    q
}

/// One sample of a synthetic recording: body axes forward, right, down; world axes north, east, down.
struct Instant {
    time_s: f64,
    rate_rad_s: [f64; 3],
    force_m_s2: [f64; 3],
    field_ut: [f64; 3],
    reference: Quaternion,
    scored: bool,
}

const PERIOD_S: f64 = 0.004;

/// 5 s stationary, then 30 s of rotation and oscillation; the gyro gives the mean rate of each step.
fn motion() -> Vec<Instant> {
    let attitude = |t: f64| {
        let t = (t - 5.0).max(0.0);
        let [roll, pitch, heading] =
            [30.0 * (0.7 * t).sin(), 20.0 * (1.1 * t).sin(), 100.0 * (1.0 - (0.3 * t).cos())];
        multiply(multiply(about(2, heading), about(1, pitch)), about(0, roll))
    };
    let sway = |t: f64| if t > 5.0 { 0.03 * TAU * TAU * (TAU * (t - 5.0)).sin() } else { 0.0 };
    let instant = |k: u32| {
        let time_s = f64::from(k) * PERIOD_S;
        let (before, now) = (attitude(time_s - PERIOD_S), attitude(time_s));
        let [w, x, y, z] = multiply(conjugate(before), now);
        let (sine, sign) = ((x * x + y * y + z * z).sqrt(), w.signum());
        let per_sine = if sine > 1e-12 { 2.0 * sine.atan2(w.abs()) * sign / sine } else { 2.0 };
        Instant {
            time_s,
            rate_rad_s: [x, y, z].map(|x| x * per_sine / PERIOD_S),
            // The filter uses it with the attitude before this step.
            force_m_s2: rotate(conjugate(before), [sway(time_s), 0.0, -9.80665]),
            field_ut: rotate(conjugate(before), [20.0, 0.0, 43.0]),
            reference: now,
            scored: time_s > 5.0,
        }
    };
    (1..8750).map(instant).collect()
}

/// With the column names of aplomb; the reference is rotated by `off` from the truth, in world axes.
fn own_csv(motion: &[Instant], off: Quaternion) -> String {
    let mut text = "time_s,scored,reference_w,reference_x,reference_y,reference_z".to_owned();
    for (what, unit) in [("gyro", "deg_s"), ("accel", "m_s2"), ("field", "ut")] {
        for axis in ["forward", "right", "down"] {
            let _ = write!(text, ",{what}_{axis}_{unit}");
        }
    }
    text.push('\n');
    for instant in motion {
        let _ = write!(text, "{:.4},{}", instant.time_s, u8::from(instant.scored));
        let rate_deg_s = instant.rate_rad_s.map(f64::to_degrees);
        let numbers = [rate_deg_s, instant.force_m_s2, instant.field_ut].concat();
        multiply(off, instant.reference).iter().chain(&numbers).for_each(|x| {
            let _ = write!(text, ",{x:.7}");
        });
        text.push('\n');
    }
    text
}

/// With the columns of the open data set: z axis up, world axes east, north, up.
fn broad_csv(motion: &[Instant]) -> String {
    let mut text = "t,gx,gy,gz,ax,ay,az,mx,my,mz,qw,qx,qy,qz,moving\n".to_owned();
    let up = |[x, y, z]: [f64; 3]| [x, -y, -z];
    for instant in motion {
        let _ = write!(text, "{:.4}", instant.time_s);
        let world = [0.0, FRAC_1_SQRT_2, FRAC_1_SQRT_2, 0.0];
        let reference = multiply(multiply(world, instant.reference), [0.0, 1.0, 0.0, 0.0]);
        let triads = [up(instant.rate_rad_s), up(instant.force_m_s2), up(instant.field_ut)].concat();
        triads.iter().chain(&reference).for_each(|x| {
            let _ = write!(text, ",{x:.7}");
        });
        let _ = writeln!(text, ",{}", u8::from(instant.scored));
    }
    text
}

/// A temporary folder for one test.
struct Scratch(PathBuf);

impl Scratch {
    fn new(name: &str) -> Self {
        let folder = std::env::temp_dir().join(format!("aplomb-estimate-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(&folder).unwrap();
        Self(folder)
    }

    fn write(&self, name: &str, text: &str) {
        fs::write(self.0.join(name), text).unwrap();
    }

    fn estimate(&self, arguments: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_aplomb"));
        command.arg("estimate").args(arguments).current_dir(&self.0).output().unwrap()
    }

    fn report(&self) -> String {
        let folder = fs::read_dir(self.0.join("results")).unwrap().next().unwrap().unwrap().path();
        fs::read_to_string(folder.join("report.html")).unwrap()
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// The figures of the row that starts with `name`: inclination without field, then inclination, heading and
/// total with it.
fn figures(output: &Output, name: &str) -> [f64; 4] {
    let stdout = text(&output.stdout);
    let starts = |line: &str| name.split(' ').eq(line.split_whitespace().take(name.split(' ').count()));
    let row = stdout.lines().find(|line| starts(line)).unwrap_or_else(|| panic!("{name}: {stdout}"));
    let words: Vec<_> = row.split_whitespace().collect();
    std::array::from_fn(|i| words[words.len() - 4 + i].parse().unwrap())
}

#[test]
fn known_motion_is_estimated_and_known_reference_errors_are_measured() {
    let scratch = Scratch::new("known");
    let motion = motion();
    scratch.write("true.csv", &own_csv(&motion, [1.0, 0.0, 0.0, 0.0]));
    scratch.write("tilted.csv", &own_csv(&motion, about(1, 4.0)));
    scratch.write("turned.csv", &own_csv(&motion, about(2, 6.0)));
    let output = scratch.estimate(&["true.csv", "tilted.csv", "turned.csv"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let truth = figures(&output, "true");
    assert!(truth.iter().all(|&error| error < 0.25), "{truth:?}");
    let [bare, inclination, heading, total] = figures(&output, "tilted");
    assert!((bare - 4.0).abs() < 0.1 && (inclination - 4.0).abs() < 0.1 && (total - 4.0).abs() < 0.1);
    assert!(heading < 0.25, "{heading}");
    let [bare, inclination, heading, total] = figures(&output, "turned");
    assert!(bare < 0.25 && inclination < 0.25, "{bare} {inclination}");
    assert!((heading - 6.0).abs() < 0.2 && (total - 6.0).abs() < 0.2, "{heading} {total}");
    let report = scratch.report();
    assert!(roxmltree::Document::parse(report.split_once('\n').unwrap().1).is_ok());
    assert_eq!(report.matches("<figure>").count(), 15);
}

#[test]
fn columns_of_the_open_data_set_and_compressed_files_give_the_same_figures() {
    let scratch = Scratch::new("broad");
    let motion = motion();
    scratch.write("own.csv", &own_csv(&motion, [1.0, 0.0, 0.0, 0.0]));
    let file = fs::File::create(scratch.0.join("short.csv.gz")).unwrap();
    let mut packed = flate2::write::GzEncoder::new(file, flate2::Compression::fast());
    packed.write_all(broad_csv(&motion).as_bytes()).unwrap();
    packed.finish().unwrap();
    let output = scratch.estimate(&["own.csv", "short.csv.gz"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    for (own, short) in figures(&output, "own").iter().zip(figures(&output, "short")) {
        assert!((own - short).abs() < 0.002, "{own} {short}");
    }
}

#[test]
fn settings_are_compared_and_limits_determine_the_exit_code() {
    let scratch = Scratch::new("settings");
    scratch.write("true.csv", &own_csv(&motion(), [1.0, 0.0, 0.0, 0.0]));
    scratch.write("as-is.toml", "");
    scratch.write("hasty.toml", "tilt_time_constant_s = 0.3\n");
    let both = ["--settings", "as-is.toml", "--settings", "hasty.toml", "true.csv"];
    let output = scratch.estimate(&both);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let (calm, hasty) = (figures(&output, "true as-is"), figures(&output, "true hasty"));
    assert!(hasty[0] > 3.0 * calm[0], "a time constant of the sway's size must be worse: {calm:?} {hasty:?}");
    let limit = format!("{}", 0.5 * (calm[0] + hasty[0]));
    let judged = scratch.estimate(&[&["--inclination-at-most-deg", &limit], both.as_slice()].concat());
    assert_eq!(judged.status.code(), Some(1));
    let stdout = text(&judged.stdout);
    assert!(stdout.contains(": pass\n") && stdout.contains(": fail\n"), "{stdout}");
    let alone = ["--settings", "as-is.toml", "--inclination-at-most-deg", &limit, "true.csv"];
    assert_eq!(scratch.estimate(&alone).status.code(), Some(0));
}

#[test]
fn start_in_motion_with_a_bias_has_larger_errors() {
    let scratch = Scratch::new("motion");
    scratch.write("true.csv", &own_csv(&motion(), [1.0, 0.0, 0.0, 0.0]));
    let start = scratch.estimate(&["--start-in-motion", "--add-gyro-bias-deg-s", "1", "true.csv"]);
    let [bare, .., total] = figures(&start, "true");
    assert!(bare > 0.4 && bare < 4.0 && total > 0.4, "{bare} {total}");
}

#[test]
fn inconclusive_is_no_pass() {
    let scratch = Scratch::new("none");
    let own = own_csv(&motion()[..500], [1.0, 0.0, 0.0, 0.0]);
    // No row is evaluated in the first seconds.
    scratch.write("rest.csv", &own);
    let output = scratch.estimate(&["--total-at-most-deg", "90", "rest.csv"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(text(&output.stdout).contains("inconclusive"));
}

#[test]
fn wrong_input_ends_with_2_and_writes_nothing() {
    let scratch = Scratch::new("wrong");
    let own = own_csv(&motion()[..50], [1.0, 0.0, 0.0, 0.0]);
    scratch.write("unit.csv", &own.replace("gyro_right_deg_s", "gyro_right_rpm"));
    scratch.write("word.csv", &own.replacen("0.0080,", "soon,", 1));
    scratch.write("cut.csv.gz", "\u{1f}");
    fs::write(scratch.0.join("cut.csv.gz"), [0x1f, 0x8b, 8, 0, 0, 0]).unwrap();
    scratch.write("typo.toml", "tilt_tmie_constant_s = 3.0\n");
    scratch.write("low.toml", "heading_time_constant_s = 0.0\n");
    let output = scratch.estimate(&[
        "--settings",
        "typo.toml",
        "--settings",
        "low.toml",
        "unit.csv",
        "word.csv",
        "cut.csv.gz",
        "none.csv",
    ]);
    assert_eq!(output.status.code(), Some(2));
    let stderr = text(&output.stderr);
    for part in [
        "unknown column `gyro_right_rpm`",
        "did you mean `gyro_right_rad_s`?",
        "`time_s` must be a finite number, found `soon`\n --> word.csv:3:1",
        "cut.csv.gz: is not a complete gzip file",
        "none.csv: cannot be read",
        "did you mean `tilt_time_constant_s`?",
        "`heading_time_constant_s`",
        "low.toml:1:27",
    ] {
        assert!(stderr.contains(part), "{part}: {stderr}");
    }
    assert!(output.stdout.is_empty() && !scratch.0.join("results").exists());
}
