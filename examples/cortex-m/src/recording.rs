//! A recorded flight: samples, command and motor commands of each tick. The host writes it and the firmware
//! replays it; both use this file.
//!
//! A recording is a sequence of ticks without a header. A tick is [`WORDS`] little-endian words of 32 bits:
//! flags, then every value that a tick can have, 0 where it has none. Floats are stored by their bits.

use aplomb::frames::{Frame, Heading, Horizontal, Vector};
use aplomb::{
    Battery, Command, Demand, GnssFix, HeadingDemand, ImuSample, MotorCommand, PositionSetpoint, Rotors,
    Sample, Sensors, Sticks, Tilt, VelocitySetpoint, VerticalDemand,
};

/// Words of a tick.
pub const WORDS: usize = 46;
/// Bytes of a tick.
pub const BYTES: usize = 4 * WORDS;

/// One tick.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tick {
    /// Samples of the controller.
    pub sensors: Sensors,
    /// Command to the controller.
    pub command: Command,
    /// Its motor commands.
    pub motors: Rotors<MotorCommand>,
}

const ROTOR_SPEED: u32 = 1;
const BATTERY: u32 = 1 << 1;
const PRESSURE: u32 = 1 << 2;
const GNSS: u32 = 1 << 3;
const MAGNETIC_FIELD: u32 = 1 << 4;
const ARM: u32 = 1 << 5;
const CUT_MOTORS: u32 = 1 << 6;
const HOLD_HEADING: u32 = 1 << 7;
const HOLD_HEIGHT: u32 = 1 << 8;
/// The kind of demand is stored from this bit on.
const DEMAND_SHIFT: u32 = 16;

impl Tick {
    /// As bytes. `None` for a kind of demand without a code.
    pub fn to_bytes(self) -> Option<[u8; BYTES]> {
        let Self { sensors, command, motors } = self;
        let mut put = Put { words: [0; WORDS], next: 1, flags: 0 };
        let [imu] = sensors.imu;
        put.vector(imu.angle_increment_rad);
        put.vector(imu.velocity_increment_m_s);
        put.numbers([imu.interval_s]);
        put.word(imu.age_us);
        put.flag(ROTOR_SPEED, sensors.rotor_speed_rad_s.is_some());
        put.numbers(sensors.rotor_speed_rad_s.unwrap_or_default().into_array());
        put.flag(BATTERY, sensors.battery.is_some());
        put.numbers(sensors.battery.map_or([0.0; 2], |battery| [battery.voltage_v, battery.current_a]));
        let [pressure_pa] = sensors.pressure_pa;
        put.sample(PRESSURE, &pressure_pa, |pressure| [*pressure]);
        put.sample(GNSS, &sensors.gnss, |fix| {
            let ([n, e, d], [vn, ve, vd]) = (fix.position_m.to_array(), fix.velocity_m_s.to_array());
            let accuracy = [fix.horizontal_accuracy_m, fix.vertical_accuracy_m];
            let [vh, vv] = [fix.horizontal_velocity_accuracy_m_s, fix.vertical_velocity_accuracy_m_s];
            [n, e, d, vn, ve, vd, accuracy[0], accuracy[1], vh, vv]
        });
        put.sample(MAGNETIC_FIELD, &sensors.magnetic_field_ut, |field| field.to_array());
        put.flag(ARM, command.arm);
        put.flag(CUT_MOTORS, command.cut_motors);
        put.word(command.age_us);
        put.demand(&command.demand)?;
        put.numbers(motors.into_array().map(MotorCommand::get));
        put.words[0] = put.flags;
        let mut bytes = [0; BYTES];
        for (four, word) in bytes.chunks_exact_mut(4).zip(put.words) {
            four.copy_from_slice(&word.to_le_bytes());
        }
        Some(bytes)
    }

    /// From bytes. `None` when they are not from [`Tick::to_bytes`].
    pub fn from_bytes(bytes: &[u8; BYTES]) -> Option<Self> {
        let mut words =
            bytes.chunks_exact(4).map(|four| u32::from_le_bytes(four.try_into().unwrap_or_default()));
        let flags = words.next()?;
        let mut take = Take { words, flags };
        let (angle_increment_rad, velocity_increment_m_s) = (take.vector()?, take.vector()?);
        let [interval_s] = take.numbers()?;
        let age_us = take.word()?;
        let imu = ImuSample { angle_increment_rad, velocity_increment_m_s, interval_s, age_us };
        let rotor_speed_rad_s = take.numbers().map(Rotors::from_array)?;
        let [voltage_v, current_a] = take.numbers()?;
        let sensors = Sensors {
            imu: [imu],
            rotor_speed_rad_s: take.flag(ROTOR_SPEED).then_some(rotor_speed_rad_s),
            battery: take.flag(BATTERY).then_some(Battery { voltage_v, current_a }),
            pressure_pa: [take.sample(PRESSURE, |[pressure]| pressure)?],
            gnss: take.sample(GNSS, |[n, e, d, vn, ve, vd, h, v, vh, vv]| GnssFix {
                position_m: Vector::new(n, e, d),
                velocity_m_s: Vector::new(vn, ve, vd),
                horizontal_accuracy_m: h,
                vertical_accuracy_m: v,
                horizontal_velocity_accuracy_m_s: vh,
                vertical_velocity_accuracy_m_s: vv,
            })?,
            magnetic_field_ut: take.sample(MAGNETIC_FIELD, |[x, y, z]| Vector::new(x, y, z))?,
        };
        let age_us = take.word()?;
        let demand = take.demand()?;
        let command = Command { demand, arm: take.flag(ARM), cut_motors: take.flag(CUT_MOTORS), age_us };
        let motors = Rotors::from_array(take.numbers()?).map(MotorCommand::saturating);
        Some(Self { sensors, command, motors })
    }
}

struct Put {
    words: [u32; WORDS],
    next: usize,
    flags: u32,
}

impl Put {
    fn word(&mut self, word: u32) {
        self.words[self.next] = word;
        self.next += 1;
    }

    fn flag(&mut self, flag: u32, set: bool) {
        self.flags |= if set { flag } else { 0 };
    }

    fn numbers<const N: usize>(&mut self, numbers: [f32; N]) {
        numbers.into_iter().for_each(|number| self.word(number.to_bits()));
    }

    fn vector<F: Frame>(&mut self, vector: Vector<F>) {
        self.numbers(vector.to_array());
    }

    fn sample<T, const N: usize>(
        &mut self,
        flag: u32,
        sample: &Option<Sample<T>>,
        numbers: impl Fn(&T) -> [f32; N],
    ) {
        self.flag(flag, sample.is_some());
        self.numbers(sample.as_ref().map_or([0.0; N], |sample| numbers(&sample.value)));
        self.word(sample.as_ref().map_or(0, |sample| sample.age_us));
    }

    fn demand(&mut self, demand: &Demand) -> Option<()> {
        let mut outer = None;
        let (kind, numbers) = match *demand {
            Demand::Rates { rate_rad_s, thrust_n } => {
                let [roll, pitch, yaw] = rate_rad_s.to_array();
                (1, [roll, pitch, yaw, thrust_n, 0.0, 0.0])
            }
            Demand::Tilt { tilt, heading, vertical } => {
                outer = Some((heading, vertical));
                (2, [tilt.forward, tilt.right, 0.0, 0.0, 0.0, 0.0])
            }
            Demand::Velocity { setpoint, heading, vertical } => {
                outer = Some((heading, vertical));
                let VelocitySetpoint { velocity_m_s: v, acceleration_m_s2: a } = setpoint;
                (3, [v.north, v.east, a.north, a.east, 0.0, 0.0])
            }
            Demand::Position { setpoint, heading, vertical } => {
                outer = Some((heading, vertical));
                let PositionSetpoint { position_m: p, velocity_m_s: v, acceleration_m_s2: a } = setpoint;
                (4, [p.north, p.east, v.north, v.east, a.north, a.east])
            }
            Demand::Sticks(Sticks { roll, pitch, yaw, climb }) => (5, [roll, pitch, yaw, climb, 0.0, 0.0]),
            Demand::RateSticks(Sticks { roll, pitch, yaw, climb }) => {
                (6, [roll, pitch, yaw, climb, 0.0, 0.0])
            }
            Demand::Land => (7, [0.0; 6]),
            _ => return None,
        };
        self.flags |= kind << DEMAND_SHIFT;
        self.numbers(numbers);
        let (heading, vertical) = outer.unwrap_or((HeadingDemand::Rate(0.0), VerticalDemand::Climb(0.0)));
        self.flag(HOLD_HEADING, matches!(heading, HeadingDemand::Hold(_)));
        self.numbers(match heading {
            HeadingDemand::Hold(heading) => [heading.north(), heading.east()],
            HeadingDemand::Rate(rate_rad_s) => [rate_rad_s, 0.0],
        });
        self.flag(HOLD_HEIGHT, matches!(vertical, VerticalDemand::Height(_)));
        self.numbers(match vertical {
            VerticalDemand::Height(number) | VerticalDemand::Climb(number) => [number],
        });
        Some(())
    }
}

struct Take<W: Iterator<Item = u32>> {
    words: W,
    flags: u32,
}

impl<W: Iterator<Item = u32>> Take<W> {
    fn flag(&self, flag: u32) -> bool {
        self.flags & flag != 0
    }

    fn numbers<const N: usize>(&mut self) -> Option<[f32; N]> {
        let mut numbers = [0.0; N];
        for number in &mut numbers {
            *number = f32::from_bits(self.words.next()?);
        }
        Some(numbers)
    }

    fn vector<F: Frame>(&mut self) -> Option<Vector<F>> {
        self.numbers().map(|[x, y, z]| Vector::new(x, y, z))
    }

    fn word(&mut self) -> Option<u32> {
        self.words.next()
    }

    /// The outer option is `None` at the end of the words, the inner one where the tick has no such sample.
    #[expect(clippy::option_option, reason = "the two mean different things")]
    fn sample<T, const N: usize>(
        &mut self,
        flag: u32,
        value: impl Fn([f32; N]) -> T,
    ) -> Option<Option<Sample<T>>> {
        let value = value(self.numbers()?);
        let age_us = self.word()?;
        Some(self.flag(flag).then_some(Sample { value, age_us }))
    }

    fn demand(&mut self) -> Option<Demand> {
        let [a, b, c, d, e, f] = self.numbers()?;
        let [north, east] = self.numbers()?;
        let [vertical] = self.numbers()?;
        let heading = if self.flag(HOLD_HEADING) {
            HeadingDemand::Hold(Heading::from_components(north, east)?)
        } else {
            HeadingDemand::Rate(north)
        };
        let vertical = if self.flag(HOLD_HEIGHT) {
            VerticalDemand::Height(vertical)
        } else {
            VerticalDemand::Climb(vertical)
        };
        Some(match self.flags >> DEMAND_SHIFT {
            1 => Demand::Rates { rate_rad_s: Vector::new(a, b, c), thrust_n: d },
            2 => Demand::Tilt { tilt: Tilt { forward: a, right: b }, heading, vertical },
            3 => {
                let setpoint = VelocitySetpoint {
                    velocity_m_s: Horizontal::new(a, b),
                    acceleration_m_s2: Horizontal::new(c, d),
                };
                Demand::Velocity { setpoint, heading, vertical }
            }
            4 => {
                let setpoint = PositionSetpoint {
                    position_m: Horizontal::new(a, b),
                    velocity_m_s: Horizontal::new(c, d),
                    acceleration_m_s2: Horizontal::new(e, f),
                };
                Demand::Position { setpoint, heading, vertical }
            }
            5 => Demand::Sticks(Sticks { roll: a, pitch: b, yaw: c, climb: d }),
            6 => Demand::RateSticks(Sticks { roll: a, pitch: b, yaw: c, climb: d }),
            7 => Demand::Land,
            _ => return None,
        })
    }
}
