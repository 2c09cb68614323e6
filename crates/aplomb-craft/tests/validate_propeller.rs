//! Propellers from their designation against published measurements, beside two models without blade theory.
//!
//! `--nocapture` prints the table. Source of the measurements: `data/propeller_static.csv`.

use aplomb_craft::propeller::{self, Designation, Measured, Planform};
use aplomb_craft::rotor;
use std::f64::consts::PI;

/// Kinematic viscosity at sea level (m2/s), ISO 2533: 1.7894e-5 Pa s over 1.225 kg/m3.
const VISCOSITY_M2_S: f64 = 1.7894e-5 / 1.225;

#[derive(Clone, Debug)]
struct Row {
    family: String,
    run: String,
    diameter_in: f64,
    pitch_in: f64,
    rpm: f64,
    advance_ratio: f64,
    ct: f64,
    cp: f64,
}

impl Row {
    fn planform(&self) -> Planform {
        if ["A", "C", "E"].contains(&self.family.as_str()) { Planform::Wide } else { Planform::Thin }
    }

    fn designation(&self, planform: Planform) -> Designation {
        Designation {
            diameter_m: self.diameter_in * 0.0254,
            pitch_m: self.pitch_in * 0.0254,
            blades: 2,
            planform,
        }
    }

    /// CT and CP of the model.
    fn modelled(&self, planform: Planform) -> [f64; 2] {
        let designation = self.designation(planform);
        let found = designation.coefficients(self.advance_ratio, self.rpm * PI / 30.0, VISCOSITY_M2_S);
        [found.thrust, found.power]
    }

    fn measured(&self) -> [f64; 2] {
        [self.ct, self.cp]
    }

    fn pitch_ratio(&self) -> f64 {
        self.pitch_in / self.diameter_in
    }
}

fn rows(text: &str) -> Vec<Row> {
    let mut lines = text.lines().filter(|line| !line.starts_with('#'));
    let names: Vec<&str> = lines.next().unwrap().split(',').collect();
    lines
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let cell = |name: &str| names.iter().position(|n| *n == name).map(|place| cells[place]);
            let number = |name: &str| cell(name).map_or(0.0, |text| text.parse().unwrap());
            Row {
                family: cell("family").unwrap().to_owned(),
                run: cell("run").unwrap().to_owned(),
                diameter_in: number("diameter_in"),
                pitch_in: number("pitch_in"),
                rpm: number("rpm"),
                advance_ratio: number("J"),
                ct: number("CT"),
                cp: number("CP"),
            }
        })
        .collect()
}

fn static_rows() -> Vec<Row> {
    rows(include_str!("data/propeller_static.csv"))
}

/// Mean absolute and worst error of CT and CP.
#[derive(Clone, Copy, Debug)]
struct Errors {
    mean: [f64; 2],
    worst: [f64; 2],
}

fn errors(rows: &[Row], model: impl Fn(&Row) -> [f64; 2]) -> Errors {
    let (mut mean, mut worst) = ([0.0; 2], [0.0_f64; 2]);
    for row in rows {
        let (found, measured) = (model(row), row.measured());
        for i in 0..2 {
            let error = (found[i] / measured[i] - 1.0).abs();
            mean[i] += error / rows.len() as f64;
            worst[i] = worst[i].max(error);
        }
    }
    Errors { mean, worst }
}

/// Mean of CT and CP for every propeller.
fn constant(rows: &[Row]) -> impl Fn(&Row) -> [f64; 2] + use<> {
    let mean = |pick: fn(&Row) -> f64| rows.iter().map(pick).sum::<f64>() / rows.len() as f64;
    let both = [mean(|row| row.ct), mean(|row| row.cp)];
    move |_| both
}

/// A straight line in pitch over diameter through all rows, least squares of the relative error.
fn line(rows: &[Row]) -> impl Fn(&Row) -> [f64; 2] + use<> {
    let fit = |pick: fn(&Row) -> f64| {
        let (mut a, mut b, mut c, mut d, mut e) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for row in rows {
            let (weight, x) = (1.0 / pick(row), row.pitch_ratio());
            let (u, v) = (weight, weight * x);
            (a, b, c, d, e) = (a + u * u, b + u * v, c + v * v, d + u, e + v);
        }
        let determinant = a * c - b * b;
        [(d * c - e * b) / determinant, (a * e - b * d) / determinant]
    };
    let both = [fit(|row| row.ct), fit(|row| row.cp)];
    move |row| both.map(|[offset, slope]| offset + slope * row.pitch_ratio())
}

fn print(name: &str, errors: &Errors) {
    let percent = |value: f64| 100.0 * value;
    println!(
        "{name:<34} CT {:5.1} % (worst {:4.1})   CP {:5.1} % (worst {:4.1})",
        percent(errors.mean[0]),
        percent(errors.worst[0]),
        percent(errors.mean[1]),
        percent(errors.worst[1])
    );
}

#[test]
fn validate_static_coefficients_from_the_designation() {
    let rows = static_rows();
    assert_eq!(rows.len(), 456);
    let marked = errors(&rows, |row| row.modelled(Planform::Unknown));
    let classed = errors(&rows, |row| row.modelled(row.planform()));
    let (flat, straight) = (errors(&rows, constant(&rows)), errors(&rows, line(&rows)));
    print("designation alone", &marked);
    print("designation and planform", &classed);
    print("constant CT and CP", &flat);
    print("straight line in pitch/diameter", &straight);
    for family in ["A", "B", "C", "D", "E", "F", "G", "H"] {
        let own: Vec<Row> = rows.iter().filter(|row| row.family == family).cloned().collect();
        print(
            &format!("  family {family}, designation alone"),
            &errors(&own, |row| row.modelled(Planform::Unknown)),
        );
    }
    assert!(marked.mean[0] < 0.095 && marked.mean[1] < 0.11, "{marked:?}");
    assert!(marked.worst[0] < 0.28 && marked.worst[1] < 0.28, "{marked:?}");
    assert!(classed.mean[0] < 0.07 && classed.mean[1] < 0.09, "{classed:?}");
    // The twins without blade theory have larger errors in all means, and so has the blade without the
    // Reynolds number.
    for naive in [&flat, &straight] {
        assert!(naive.mean[0] > marked.mean[0] && naive.mean[1] > marked.mean[1], "{naive:?}");
    }
    let unaware = errors(&rows, |row| Row { rpm: 4e4, ..row.clone() }.modelled(Planform::Unknown));
    print("designation, Reynolds number too high", &unaware);
    assert!(unaware.mean[0] > 0.11 && unaware.mean[1] > 0.11, "{unaware:?}");
}

#[test]
fn validate_coefficients_in_an_axial_flow() {
    let (still, advancing) = (static_rows(), rows(include_str!("data/propeller_advancing.csv")));
    assert_eq!(advancing.len(), 177);
    // Static values of the same propeller at the same speed: linear between its rows.
    let at_rest = |row: &Row| {
        let mut own: Vec<&Row> = still
            .iter()
            .filter(|other| {
                other.family == row.family
                    && other.diameter_in == row.diameter_in
                    && other.pitch_in == row.pitch_in
            })
            .collect();
        own.sort_by(|a, b| a.rpm.total_cmp(&b.rpm));
        let after = own.iter().position(|other| other.rpm >= row.rpm).unwrap_or(own.len() - 1).max(1);
        let (low, high) = (own[after - 1], own[after]);
        let share = ((row.rpm - low.rpm) / (high.rpm - low.rpm)).clamp(0.0, 1.0);
        [low.ct + share * (high.ct - low.ct), low.cp + share * (high.cp - low.cp)]
    };
    let mean = |model: &dyn Fn(&Row) -> [f64; 2]| {
        let mut sum = [0.0; 2];
        for row in &advancing {
            let (found, measured, rest) = (model(row), row.measured(), at_rest(row));
            for i in 0..2 {
                sum[i] += (found[i] - measured[i]).abs() / rest[i] / advancing.len() as f64;
            }
        }
        sum
    };
    let marked = mean(&|row| row.modelled(Planform::Unknown));
    let classed = mean(&|row| row.modelled(row.planform()));
    let unmoved = mean(&|row| Row { advance_ratio: 0.0, ..row.clone() }.modelled(Planform::Unknown));
    println!("error over the static value, mean:");
    for (name, [ct, cp]) in [
        ("designation alone", marked),
        ("designation and planform", classed),
        ("as if in still air", unmoved),
    ] {
        println!("{name:<34} CT {:5.1} %   CP {:5.1} %", 100.0 * ct, 100.0 * cp);
    }
    assert!(marked[0] < 0.08, "{marked:?}");
    // The twin: without the flow the error is large.
    assert!(unmoved[0] > 0.3, "{unmoved:?}");
}

#[test]
fn thrust_falls_in_a_climb_and_is_negative_beyond_the_pitch_speed() {
    let at = |advance_ratio| Row { advance_ratio, ..static_rows()[300].clone() }.modelled(Planform::Unknown);
    let thrusts: Vec<f64> = (0..12).map(|step| at(0.1 * f64::from(step))[0]).collect();
    assert!(thrusts.windows(2).all(|pair| pair[1] < pair[0]), "{thrusts:?}");
    // A propeller has positive thrust at least up to its pitch speed, and negative thrust well above it.
    let pitch_ratio = static_rows()[300].pitch_ratio();
    assert!(at(pitch_ratio)[0] > 0.0 && at(1.8 * pitch_ratio)[0] < 0.0, "{thrusts:?}");
    // There the air drives the shaft.
    assert!(at(1.8 * pitch_ratio)[1] < 0.0, "{:?}", at(1.8 * pitch_ratio));
}

#[test]
fn validate_measured_table_is_reproduced() {
    // A static run and one sweep in a flow of the same propeller.
    for (still, sweep) in
        [("kt1032", "kt1035"), ("2777rd", "2779rd"), ("pg0819", "kt0823"), ("2791rd", "2794rd")]
    {
        let mut table = static_rows();
        table.extend(rows(include_str!("data/propeller_advancing.csv")));
        table.retain(|row| row.run == still || row.run == sweep);
        let measured: Vec<propeller::Row> = table
            .iter()
            .map(|row| propeller::Row {
                speed_rad_s: row.rpm * PI / 30.0,
                advance_ratio: row.advance_ratio,
                thrust: row.ct,
                power: row.cp,
            })
            .collect();
        let measured = Measured::new(&measured).unwrap();
        let designation = table[0].designation(Planform::Unknown);
        let rotor = |inflow, (thrust_n_s2, torque_nm_s2)| rotor::Config {
            inflow,
            thrust_n_s2,
            torque_nm_s2,
            ..aplomb_craft::Config::weir_gauge().rotor
        };
        let from_rows = rotor(
            rotor::Inflow::Measured(designation, measured),
            rotor::from_measured(&designation, &measured),
        );
        let from_designation =
            rotor(rotor::Inflow::Designated(designation), rotor::from_designation(&designation));
        // Largest error over the static value of that run.
        let worst = |rotor: &rotor::Config| {
            table.iter().fold([0.0_f64; 2], |worst, row| {
                let (turns, speed) = (row.rpm / 60.0, row.rpm * PI / 30.0);
                let axial = row.advance_ratio * turns * designation.diameter_m;
                let thrust = rotor.thrust_in_flow_n(axial, 0.0, speed, 1.0);
                let torque = rotor.torque_in_flow_nm(axial, 0.0, speed, 1.0);
                let per_thrust = 1.225 * turns * turns * designation.diameter_m.powi(4);
                let per_torque = per_thrust * designation.diameter_m / (2.0 * PI);
                [
                    worst[0].max((thrust / per_thrust - row.ct).abs() / table[0].ct),
                    worst[1].max((torque / per_torque - row.cp).abs() / table[0].cp),
                ]
            })
        };
        let (found, blind) = (worst(&from_rows), worst(&from_designation));
        println!(
            "{still}: largest error of {} rows over the static value: CT {:.2} %, CP {:.2} %; designation alone {:.1} %, {:.1} %",
            table.len(),
            100.0 * found[0],
            100.0 * found[1],
            100.0 * blind[0],
            100.0 * blind[1]
        );
        assert!(found[0] < 5e-3 && found[1] < 5e-3, "{still}: {found:?}");
        // The twin: the designation alone has larger errors.
        assert!(blind[0] > 0.02 && blind[1] > 0.02, "{still}: {blind:?}");
    }
}
