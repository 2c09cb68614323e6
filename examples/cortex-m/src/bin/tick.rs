//! Prints what a tick of the whole controller costs on the target: instructions, share of a core, stack and
//! state. The largest set-up has three inertial sensors, two barometers, rotors on any quadrilateral and a
//! yaw reserve. `run.sh cost` holds the worst tick, the state and the stack against their limits.
#![no_std]
#![no_main]

use core::mem::size_of;
use core::panic::PanicInfo;

use aplomb::flight::Config;
use aplomb::record::Record;
use aplomb::{FlightController, Libm, Math, Micromath};
use aplomb_cortex_m::{
    craft::{Flight, INITIALISATION_TICKS, TICKS, config, general_config},
    fail,
    meter::{Count, Meter},
    stack, stop, table,
};

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    fail(info)
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let meter = Meter::of_board();
    table::title("whole controller");
    let (exact, depth_bytes) = fly::<Libm, 1, 1>(&meter, &config());
    table::count("tick, Libm: instructions", &exact);
    table::shares(&exact);
    let (approximate, _) = fly::<Micromath, 1, 1>(&meter, &config());
    table::count("tick, Micromath: instructions", &approximate);
    let (largest, _) = fly::<Libm, 3, 2>(&meter, &general_config());
    table::count("tick, Libm, largest set-up: instructions", &largest);
    table::bytes("stack of a tick, bytes", depth_bytes);
    table::bytes("state of the controller, bytes", size_of::<FlightController>());
    table::bytes("one record of the flight recorder, bytes", size_of::<Record>());
    stop(true)
}

/// Instructions of the ticks of a flight after the initialisation of the estimators, and the largest stack
/// depth.
fn fly<M: Math + Clone, const N: usize, const P: usize>(meter: &Meter, config: &Config) -> (Count, usize) {
    let mut controller = FlightController::<M, N, P>::new(config).expect("valid");
    let mut flight = Flight::new(config, &mut controller);
    let mut count = Count::new();
    let mut depth_bytes = 0;
    for tick in 0..TICKS {
        let (sensors, command) = flight.samples_and_command::<M, N, P>();
        // On every phase of the loops: the step is prime to their dividers. The copy takes this very tick and
        // is not counted.
        if tick % 97 == 0 {
            let mut copy = controller.clone();
            depth_bytes = depth_bytes.max(stack::depth_bytes(|| copy.step(&sensors, &command)));
        }
        let instructions = meter.instructions(|| controller.step(&sensors, &command));
        if tick >= INITIALISATION_TICKS {
            count.add(instructions);
        }
        flight.resume(&mut controller);
    }
    (count, depth_bytes)
}
