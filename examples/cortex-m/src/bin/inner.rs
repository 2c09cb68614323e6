//! The inner tick as its goal defines it: three gyro axes, each with a low-pass and four notches, attitude filter, attitude
//! loop, rate loop and mix, wired as in the controller. Without what else a tick of the controller does: vote, vertical and
//! horizontal estimates, guard, thrust curve. Apart from `cost`, since a second caller of a part changes what the compiler
//! inlines into the controller's tick.
#![no_std]
#![no_main]

use core::panic::PanicInfo;

use aplomb::control::attitude::{self, AttitudeController};
use aplomb::control::rate::{self, RateController, SetPoint};
use aplomb::estimate::attitude::{AttitudeFilter, Corrections};
use aplomb::filter::{NotchBank, NotchBankConfig};
use aplomb::frames::{Attitude, Heading, Vector, World};
use aplomb::mix::{Allocation, QuadMixer, Wrench};
use aplomb::{Corner, HeadingDemand, ImuSample, Libm, Math, Rotors};
use aplomb_cortex_m::{
    craft::{SETTLING_TICKS, TICKS, config, sensors},
    fail,
    inputs::Inputs,
    meter::{Count, Meter},
    stop,
    table::{Limit, Table},
};

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    fail(info)
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut table = Table::begin(Meter::of_board());
    row::<Libm>(&mut table);
    stop(table.end())
}

struct Inner<M: Math> {
    filter: AttitudeFilter<M>,
    notches: NotchBank,
    place: Corner,
    pointing: AttitudeController<M>,
    pointing_state: attitude::State,
    target: Attitude,
    turning: RateController,
    turning_state: rate::State,
    setpoint: SetPoint,
    mixer: QuadMixer,
    ceiling_n: f32,
    attitude_divider: u32,
}

/// Where the outer loops want the thrust and the nose.
struct Demanded {
    down: Vector<World>,
    heading: HeadingDemand,
    thrust_n: f32,
}

impl<M: Math> Inner<M> {
    fn new() -> Self {
        let config = config();
        let period_s = 1.0 / config.tick_hz;
        let notches = NotchBankConfig {
            bandwidth_hz: config.notch.bandwidth_hz,
            harmonic: config.notch.harmonic,
            lowest_hz: config.notch.lowest_hz,
            highest_hz: config.notch.highest_hz,
        };
        let attitude_period_s = period_s * f32::from(config.attitude_divider);
        Self {
            filter: AttitudeFilter::new(&config.estimate.attitude, period_s).expect("valid"),
            notches: NotchBank::new(&notches, period_s).expect("valid"),
            place: Corner::FrontLeft,
            pointing: AttitudeController::new(&config.attitude, attitude_period_s).expect("valid"),
            pointing_state: attitude::State::new(),
            target: Attitude::LEVEL,
            turning: RateController::new(&config.rate, period_s).expect("valid"),
            turning_state: rate::State::new(),
            setpoint: SetPoint::default(),
            mixer: QuadMixer::new(&config.mix).expect("valid"),
            ceiling_n: config.mix.max_thrust_n,
            attitude_divider: config.attitude_divider.into(),
        }
    }

    /// The links of the attitude loop fall on the last three ticks of its period, as in the controller.
    fn step(
        &mut self,
        tick: u32,
        imu: &ImuSample,
        speed_rad_s: &Rotors<f32>,
        demanded: &Demanded,
    ) -> Allocation {
        self.filter.step(imu.rate_rad_s(), imu.specific_force_m_s2(), &Corrections::default());
        let (attitude, rate_rad_s) = (self.filter.output().attitude, self.filter.output().rate_rad_s);
        let filtered_rad_s = self.turning_state.rate_rad_s();
        let state = &mut self.pointing_state;
        match self.attitude_divider - 1 - tick % self.attitude_divider {
            2 => {
                let heading = self.pointing.turn(state, demanded.heading, attitude).heading;
                self.target = self.pointing.target(state, demanded.down, heading);
            }
            1 => self.pointing.lead(state, self.target, attitude, filtered_rad_s),
            0 => self.setpoint = self.pointing.follow(state, attitude, filtered_rad_s).setpoint,
            _ => (),
        }
        if !tick.wrapping_add(1).is_multiple_of(self.attitude_divider) {
            self.turning.advance(&mut self.setpoint);
        }
        self.notches.follow_rotor(self.place, *speed_rad_s.at(self.place));
        self.place = self.place.next();
        let rate_rad_s = self.notches.step(rate_rad_s);
        let torque_nm = self.turning.step(&mut self.turning_state, &self.setpoint, rate_rad_s);
        let demand = Wrench { torque_nm, thrust_n: demanded.thrust_n };
        let allocation = self.mixer.allocate(&demand, self.ceiling_n);
        self.turning.achieved(&mut self.turning_state, allocation.achieved.torque_nm);
        allocation
    }
}

fn row<M: Math>(table: &mut Table) {
    let mut random = Inputs::new();
    let mut inner = Inner::<M>::new();
    let mut count = Count::new();
    for tick in 0..TICKS {
        let sensors = sensors(&mut random, false);
        let ([imu], Some(speed_rad_s)) = (sensors.imu, sensors.rotor_speed_rad_s) else { continue };
        let [north, east, turn, thrust] = random.array::<4>(0.6);
        let heading = if turn > 0.0 {
            HeadingDemand::Rate(turn)
        } else {
            HeadingDemand::Hold(Heading::from_rad::<M>(5.0 * turn))
        };
        let down = Vector::new(north, east, M::sqrt(1.0 - north * north - east * east));
        let demanded = Demanded { down, heading, thrust_n: 12.0 + 10.0 * thrust };
        let counted = table.meter().instructions(|| inner.step(tick, &imu, &speed_rad_s, &demanded));
        if tick > SETTLING_TICKS {
            count.add(counted);
        }
    }
    let limit = Limit::AtMost(1250);
    table.line("inner tick, the parts of its goal alone", limit, count.worst(), Some(count.mean()));
}
