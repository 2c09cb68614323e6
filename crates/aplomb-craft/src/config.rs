//! Parameters of the simulated craft.

use crate::ROTORS;
use crate::error::{ConfigError, Reason, all_finite, fail, finite, positive};
use crate::propeller::{Designation, Planform};
use crate::{Rotors, Spin};
use crate::{battery, drag, gimbal, ground, ground_effect, rotor, sensors, speed_controller};
use glam::{DMat3, DVec3};

/// Parameters of the simulated craft in SI units. [`crate::Plant::new`] checks them all.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Config {
    /// Total mass (kg).
    pub mass_kg: f64,
    /// Inertia tensor about the centre of mass in body axes (kg m2), symmetric. The off-diagonal elements are
    /// the negative products of inertia.
    pub inertia_kg_m2: [[f64; 3]; 3],
    /// Position and sense of rotation of the rotors.
    pub arms: Rotors<Arm>,
    /// Motor and propeller, the same on all arms.
    pub rotor: rotor::Config,
    /// Battery.
    pub battery: battery::Config,
    /// Drag.
    pub drag: drag::Config,
    /// Landing gear and ground.
    pub ground: ground::Config,
    /// Ground effect; `None` for none.
    pub ground_effect: Option<ground_effect::Config>,
    /// Speed controllers.
    pub speed_controller: speed_controller::Config,
    /// Sensors.
    pub sensors: sensors::Config,
    /// Gimbal with its camera, if fitted. [`crate::Plant`] checks it but does not simulate it; see
    /// [`gimbal::Gimbal`].
    pub gimbal: Option<gimbal::Config>,
}

/// Position and sense of rotation of one rotor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arm {
    /// Distance ahead of the centre of mass (m).
    pub x_m: f64,
    /// Distance to the right of the centre of mass (m).
    pub y_m: f64,
    /// Distance below the centre of mass (m).
    pub z_m: f64,
    /// Sense of rotation.
    pub spin: Spin,
}

impl Config {
    /// The same craft with sensors and speed controllers without random errors and quantisation: see
    /// [`sensors::Config::without_errors`].
    #[must_use]
    pub fn without_errors(&self) -> Self {
        Config {
            speed_controller: speed_controller::Config { steps: 0, ..self.speed_controller },
            sensors: self.sensors.without_errors(),
            ..*self
        }
    }

    /// Demo craft: 1.2 kg, 9x5 propellers, thrust to weight about 2.2, and a camera that reads the staff
    /// gauge of a weir.
    ///
    /// The propeller is given by its designation only. Inertia, motor and battery are plausible for the size
    /// and are not those of a product.
    pub fn weir_gauge() -> Self {
        let designation = Designation {
            diameter_m: 9.0 * 0.0254,
            pitch_m: 5.0 * 0.0254,
            blades: 2,
            planform: Planform::Unknown,
        };
        let (thrust_n_s2, torque_nm_s2) = rotor::from_designation(&designation);
        let arm = |x_m: f64, y_m: f64, spin| Arm { x_m, y_m, z_m: -0.02, spin };
        Config {
            mass_kg: 1.2,
            inertia_kg_m2: [[0.011, 0.0, 0.0], [0.0, 0.012, 0.0], [0.0, 0.0, 0.021]],
            arms: Rotors {
                front_left: arm(0.16, -0.16, Spin::CounterClockwise),
                front_right: arm(0.16, 0.16, Spin::Clockwise),
                rear_left: arm(-0.16, -0.16, Spin::Clockwise),
                rear_right: arm(-0.16, 0.16, Spin::CounterClockwise),
            },
            rotor: rotor::Config {
                thrust_n_s2,
                torque_nm_s2,
                inflow: rotor::Inflow::Designated(designation),
                inertia_kg_m2: 5e-5,
                kv_rpm_per_v: 810.0,
                resistance_ohm: 0.1,
                no_load_current_a: 0.5,
                current_limit_a: Some(30.0),
                braking: rotor::Braking::Active,
                blades: 2,
                imbalance_kg_m: 1e-6,
                blade_pass_share: 0.02,
            },
            battery: battery::Config {
                cells: 3,
                capacity_ah: 4.0,
                state_of_charge: 0.9,
                resistance_ohm: 0.03,
                base_current_a: 0.4,
                transients: true,
            },
            drag: drag::Config {
                rotor_drag_per_s: [0.25, 0.25, 0.0],
                drag_area_m2: [0.01, 0.01, 0.02],
                ..drag::Config::default()
            },
            ground: ground::Config {
                foot_x_m: 0.12,
                foot_y_m: 0.12,
                foot_z_m: 0.08,
                centre_x_m: 0.0,
                centre_y_m: 0.0,
                static_deflection_m: 0.004,
                damping_ratio: 0.6,
                friction: 0.7,
            },
            ground_effect: Some(ground_effect::Config { radius_m: 0.5 * designation.diameter_m }),
            speed_controller: speed_controller::Config {
                steps: 2000,
                delay_s: 0.001,
                stop_below: 0.02,
                slew_per_s: None,
            },
            sensors: sensors::Config::consumer(),
            gimbal: Some(gimbal::Config::small_camera()),
        }
    }

    /// Checks every field; `tick_s` is the control period.
    pub(crate) fn check(&self, tick_s: f64) -> Result<(), ConfigError> {
        positive("mass_kg", self.mass_kg)?;
        check_inertia(&self.inertia_kg_m2)?;
        let names = [
            ["arms.front_left.x_m", "arms.front_left.y_m", "arms.front_left.z_m"],
            ["arms.front_right.x_m", "arms.front_right.y_m", "arms.front_right.z_m"],
            ["arms.rear_left.x_m", "arms.rear_left.y_m", "arms.rear_left.z_m"],
            ["arms.rear_right.x_m", "arms.rear_right.y_m", "arms.rear_right.z_m"],
        ];
        for ([x, y, z], arm) in names.iter().zip(self.arms.into_array()) {
            finite(x, arm.x_m)?;
            finite(y, arm.y_m)?;
            finite(z, arm.z_m)?;
        }
        self.rotor.check()?;
        self.battery.check()?;
        self.drag.check()?;
        self.ground.check()?;
        self.ground_effect.map_or(Ok(()), |effect| effect.check())?;
        self.speed_controller.check(tick_s)?;
        self.sensors.check(tick_s)?;
        self.gimbal.map_or(Ok(()), |mount| mount.check(tick_s))
    }

    pub(crate) fn inertia(&self) -> DMat3 {
        DMat3::from_cols_array_2d(&self.inertia_kg_m2)
    }

    /// Positions of the rotor hubs from the centre of mass, body axes (m).
    pub(crate) fn hubs(&self) -> [DVec3; ROTORS] {
        self.arms.into_array().map(|arm| DVec3::new(arm.x_m, arm.y_m, arm.z_m))
    }

    /// Thrust of each rotor (N) that balances `weight_n` without torque; `None` unless all thrusts are
    /// positive. `arms_nm_n` is the ratio of torque to thrust of each rotor.
    pub(crate) fn trim(&self, weight_n: f64, arms_nm_n: &[f64; ROTORS]) -> Option<[f64; ROTORS]> {
        let arms = self.arms.into_array();
        // Rows: sum of thrusts, roll, pitch, yaw; the last column is the right-hand side.
        let mut rows = [[0.0; 5]; ROTORS];
        for (i, arm) in arms.iter().enumerate() {
            rows[0][i] = 1.0;
            rows[1][i] = -arm.y_m;
            rows[2][i] = arm.x_m;
            rows[3][i] = f64::from(arm.spin.reaction()) * arms_nm_n[i];
        }
        rows[0][4] = weight_n;
        let thrust = solve(rows)?;
        (thrust.iter().all(|&f| f > 0.0) || weight_n == 0.0).then_some(thrust)
    }
}

/// Gaussian elimination with partial pivoting on N rows of N + 1 elements, the last one the right-hand side.
/// `None` if singular.
pub(crate) fn solve<const N: usize, const M: usize>(mut rows: [[f64; M]; N]) -> Option<[f64; N]> {
    for column in 0..N {
        let largest = (column..N).max_by(|&a, &b| rows[a][column].abs().total_cmp(&rows[b][column].abs()))?;
        rows.swap(column, largest);
        let pivot = rows[column];
        if pivot[column].abs() < 1e-12 {
            return None;
        }
        for (r, row) in rows.iter_mut().enumerate() {
            if r != column {
                let share = row[column] / pivot[column];
                row.iter_mut().zip(pivot).for_each(|(value, above)| *value -= share * above);
            }
        }
    }
    Some(core::array::from_fn(|i| rows[i][N] / rows[i][i]))
}

fn check_inertia(inertia: &[[f64; 3]; 3]) -> Result<(), ConfigError> {
    const FIELD: &str = "inertia_kg_m2";
    inertia.iter().try_for_each(|row| all_finite(FIELD, row))?;
    let [[xx, xy, xz], [yx, yy, yz], [zx, zy, zz]] = *inertia;
    let trace = xx + yy + zz;
    if (xy - yx).abs().max((xz - zx).abs()).max((yz - zy).abs()) > 1e-9 * trace.abs() {
        return fail(FIELD, Reason::NotSymmetric);
    }
    // S = trace/2 I - J is the matrix of second moments of the mass. J is an inertia tensor if S is positive
    // semi-definite, and regular if S has at most one zero eigenvalue, that is if J is positive definite.
    let second = [0.5 * trace - xx, 0.5 * trace - yy, 0.5 * trace - zz];
    let slack = -1e-9 * trace;
    let minors =
        [second[0] * second[1] - xy * xy, second[0] * second[2] - xz * xz, second[1] * second[2] - yz * yz];
    let determinant =
        second[0] * minors[2] - (-xy) * (-xy * second[2] - yz * xz) + (-xz) * (xy * yz + second[1] * xz);
    let definite =
        xx > 0.0 && xx * yy - xy * xy > 0.0 && DMat3::from_cols_array_2d(inertia).determinant() > 0.0;
    let bodily = second.iter().all(|&s| s >= slack)
        && minors.iter().all(|&m| m >= slack * trace)
        && determinant >= slack * trace * trace;
    if definite && bodily { Ok(()) } else { fail(FIELD, Reason::NotAnInertia) }
}
