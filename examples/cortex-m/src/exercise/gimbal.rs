use core::hint::black_box;

use aplomb::frames::{Attitude, Heading};
use aplomb::gimbal::{Angle, Config, Gimbal, Joints, LineOfSight, Readings, State};
use aplomb::{Libm, Math};

use super::{any, any_vector};

pub fn all<M: Math>() {
    let travel = Joints { yaw: any(), roll: any(), pitch: any() };
    let period_s = any();
    let config = Config::for_camera([any(), any(), any()], travel, any(), any(), period_s);
    let angle = || Angle::from_sine_cosine::<M>(any(), any()).unwrap_or(Angle::from_rad::<Libm>(any()));
    if let Ok(mut gimbal) = config.and_then(|config| Gimbal::<M>::new(&config, period_s)) {
        let readings = Readings {
            gyro_rad_s: any_vector(),
            joints: Joints { yaw: angle(), roll: angle(), pitch: angle() },
        };
        let commanded = LineOfSight { heading: Heading::from_rad::<M>(any()), elevation: angle() };
        gimbal.set_state(black_box(State::default()));
        black_box(gimbal.step(&readings, black_box(Attitude::LEVEL), &commanded));
        black_box((gimbal.state(), gimbal.state().gyro_bias_rad_s()));
        gimbal.reset();
    }
}
