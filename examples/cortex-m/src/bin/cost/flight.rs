//! The whole controller: a tick without the loops on a divider, the worst tick, its stack and its state.

use core::mem::size_of;

use aplomb::guard::Phase;
use aplomb::{Command, FlightController, Math};
use aplomb_cortex_m::{
    craft::{SETTLING_TICKS, TICKS, all_at_once, config, demand, sensors, settled_inner},
    inputs::Inputs,
    meter::Count,
    stack,
    table::{Limit, Table},
};

/// Returns the instructions of the worst tick.
pub fn rows<M: Math + Clone>(table: &mut Table) -> u32 {
    let mut controller = FlightController::<M>::new(&config()).expect("valid");
    controller.resume_in_flight();
    let mut random = Inputs::new();
    let (mut inner, mut worst) = (Count::new(), Count::new());
    let mut depth = 0;
    for tick in 0..TICKS {
        let sensors = sensors(&mut random, all_at_once(tick));
        let command = Command::fly(demand::<M>(&mut random, tick));
        if tick % 100 == 0 {
            // Uncounted twin of this very tick.
            let mut twin = controller.clone();
            depth = depth.max(stack::depth_bytes(|| twin.step(&sensors, &command)));
        }
        let count = table.meter().instructions(|| controller.step(&sensors, &command));
        if tick > SETTLING_TICKS {
            worst.add(count);
        }
        if settled_inner(tick) {
            inner.add(count);
        }
        if matches!(controller.status().phase, Phase::Stopped { .. } | Phase::Disarmed) {
            controller.resume_in_flight();
        }
    }
    let name = "tick of the controller, without the loops on a divider";
    table.line(name, Limit::None, inner.worst(), Some(inner.mean()));
    // 6 % of a core of 168 MHz at 1 kHz.
    let limit = Limit::AtMost(10_000);
    table.line("worst tick, every loop and sensor", limit, worst.worst(), Some(worst.mean()));
    table.figure("stack of a tick, bytes", Limit::AtMost(4096), depth as u32);
    table.figure(
        "state of the controller, bytes",
        Limit::AtMost(16_384),
        size_of::<FlightController<M>>() as u32,
    );
    worst.worst()
}
