//! A flight on arbitrary samples and commands: the bits of every number come from the input, NaN, infinities
//! and absurd ages included. After each tick the commands are finite and in range and the attitude is of unit
//! length; after the bytes end, good samples on the ground bring the estimate back to level.
//!
//! `cargo fuzz run flight`, or `.ci/fuzz SECONDS`, which needs no more than the stable toolchain.

#![no_main]

use aplomb::flight::{Airframe, Config};
use aplomb::frames::{Frame, Heading, Horizontal, Vector};
use aplomb::mix::Geometry;
use aplomb::{
    Battery, Command, Demand, FlightController, GnssFix, HeadingDemand, ImuSample, Libm, PositionSetpoint,
    Rotors, Sample, Sensors, Spin, Sticks, Tilt, VelocitySetpoint, VerticalDemand,
};
use libfuzzer_sys::fuzz_target;

/// Reads numbers from the input; zeros after its end.
struct Bytes<'a>(&'a [u8]);

impl Bytes<'_> {
    fn byte(&mut self) -> u8 {
        let Some((&first, rest)) = self.0.split_first() else { return 0 };
        self.0 = rest;
        first
    }

    fn number(&mut self) -> f32 {
        match self.byte() {
            // Half of the numbers are of a plausible size, the others are any bits.
            kind if kind < 128 => (f32::from(self.byte()) - 128.0) * f32::from(kind) * 0.01,
            _ => f32::from_bits(u32::from_le_bytes([self.byte(), self.byte(), self.byte(), self.byte()])),
        }
    }

    fn vector<F: Frame>(&mut self) -> Vector<F> {
        Vector::new(self.number(), self.number(), self.number())
    }

    fn horizontal(&mut self) -> Horizontal {
        Horizontal::new(self.number(), self.number())
    }

    /// Mostly within 250 ms, sometimes any.
    fn age(&mut self) -> u32 {
        let byte = self.byte();
        if byte < 250 {
            1000 * u32::from(byte)
        } else {
            u32::from_le_bytes([self.byte(), self.byte(), self.byte(), self.byte()])
        }
    }

    fn sometimes<T>(&mut self, read: impl FnOnce(&mut Self) -> T) -> Option<T> {
        (self.byte() % 4 == 0).then(|| read(self))
    }

    fn imu(&mut self) -> ImuSample {
        let (rate, force) = (self.vector(), self.vector());
        let interval_s = if self.byte() < 250 { 1e-3 } else { self.number() };
        ImuSample { age_us: self.age() % 8000, ..ImuSample::from_rates(rate, force, interval_s) }
    }

    fn sensors(&mut self) -> Sensors {
        Sensors {
            imu: [self.imu()],
            rotor_speed_rad_s: self.sometimes(|b| Rotors::splat(b.number())),
            battery: self.sometimes(|b| Battery { voltage_v: b.number(), current_a: b.number() }),
            pressure_pa: [self.sometimes(|b| Sample { value: b.number() * 1e4, age_us: b.age() })],
            gnss: self.sometimes(|b| Sample {
                value: GnssFix {
                    position_m: b.vector(),
                    velocity_m_s: b.vector(),
                    horizontal_accuracy_m: b.number(),
                    vertical_accuracy_m: b.number(),
                    horizontal_velocity_accuracy_m_s: b.number(),
                    vertical_velocity_accuracy_m_s: b.number(),
                },
                age_us: b.age(),
            }),
            magnetic_field_ut: self.sometimes(|b| Sample { value: b.vector(), age_us: b.age() }),
        }
    }

    fn command(&mut self) -> Command {
        let heading = if self.byte() % 2 == 0 {
            HeadingDemand::Rate(self.number())
        } else {
            HeadingDemand::Hold(
                Heading::from_direction::<Libm>(Horizontal::new(self.number(), self.number()))
                    .unwrap_or(Heading::NORTH),
            )
        };
        let vertical = if self.byte() % 2 == 0 {
            VerticalDemand::Climb(self.number())
        } else {
            VerticalDemand::Height(self.number())
        };
        let demand = match self.byte() % 7 {
            0 => Demand::Rates { rate_rad_s: self.vector(), thrust_n: self.number() },
            1 => Demand::Tilt {
                tilt: Tilt { forward: self.number(), right: self.number() },
                heading,
                vertical,
            },
            2 => Demand::Velocity {
                setpoint: VelocitySetpoint {
                    velocity_m_s: self.horizontal(),
                    acceleration_m_s2: self.horizontal(),
                },
                heading,
                vertical,
            },
            3 => Demand::Position {
                setpoint: PositionSetpoint {
                    position_m: self.horizontal(),
                    velocity_m_s: self.horizontal(),
                    acceleration_m_s2: self.horizontal(),
                },
                heading,
                vertical,
            },
            4 => Demand::Sticks(Sticks {
                roll: self.number(),
                pitch: self.number(),
                yaw: self.number(),
                climb: self.number(),
            }),
            5 => Demand::RateSticks(Sticks {
                roll: self.number(),
                pitch: self.number(),
                yaw: self.number(),
                climb: self.number(),
            }),
            _ => Demand::Land,
        };
        let switches = self.byte();
        Command { demand, arm: switches % 8 != 0, cut_motors: switches == 255, age_us: self.age() }
    }
}

fn check(controller: &FlightController, commands: Rotors<aplomb::MotorCommand>) {
    for command in commands.into_array() {
        assert!((0.0..=1.0).contains(&command.get()), "command {}", command.get());
    }
    let length = controller.motion().attitude.wxyz().iter().map(|c| c * c).sum::<f32>().sqrt();
    assert!((length - 1.0).abs() < 1e-5, "attitude of length {length}");
}

fuzz_target!(|data: &[u8]| {
    let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    let airframe = Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5);
    let config = Config::for_airframe(&airframe).expect("a sound airframe");
    let mut controller: FlightController = FlightController::new(&config).expect("a sound configuration");
    controller.resume_in_flight();
    let mut bytes = Bytes(data);
    for _ in 0..2000 {
        if bytes.0.is_empty() {
            break;
        }
        let (sensors, command) = (bytes.sensors(), bytes.command());
        // Each bad tick is flown a few times over, so that filters and integrators take it in.
        for _ in 0..=bytes.byte() % 16 {
            let commands = controller.step(&sensors, &command);
            check(&controller, commands);
        }
    }
    // Motors cut, craft level and stationary: within half a minute the estimated attitude is level again.
    let imu = ImuSample::from_rates(Vector::ZERO, Vector::new(0.0, 0.0, -9.80665), 1e-3);
    let cut = Command { cut_motors: true, ..Command::IDLE };
    for tick in 0..30_000 {
        let commands =
            controller.step(&Sensors::from_imu(imu), if tick < 10 { &cut } else { &Command::IDLE });
        check(&controller, commands);
    }
    let tilt = controller.motion().attitude.cos_tilt();
    assert!(tilt > 0.9994, "2 deg of tilt are left after 30 s: {tilt}");
});
