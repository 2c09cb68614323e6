//! A controller on a craft, one tick at a time.

use aplomb::{Command, MotorCommand, Sensors};
use aplomb_craft::Rotors;

use crate::{Controller, Plant, exchange};

/// A controller on a craft.
///
/// On tick k the sensors are sampled and the controller computes a command ([`ClosedLoop::step`]); the craft
/// is integrated to tick k+1 under the command of tick k-1 ([`ClosedLoop::advance`]): computation takes one
/// tick. The delay of the speed controllers is part of the craft.
#[derive(Clone, Debug)]
pub struct ClosedLoop<C, P> {
    controller: C,
    plant: P,
    pending: Rotors<MotorCommand>,
    motor_share: Rotors<f64>,
    tick_s: f64,
}

impl<C: Controller, P: Plant> ClosedLoop<C, P> {
    /// Closes the loop; `tick_s` is the control period of both in s.
    #[must_use]
    pub fn new(controller: C, plant: P, tick_s: f64) -> Self {
        let pending = Rotors::splat(MotorCommand::STOPPED);
        Self { controller, plant, pending, motor_share: Rotors::splat(1.0), tick_s }
    }

    /// The same loop with unequal motors: `motor_share` is the actual over the nominal speed of each.
    #[must_use]
    pub fn with_motor_share(self, motor_share: Rotors<f64>) -> Self {
        Self { motor_share, ..self }
    }

    /// The controller's part of a tick: its samples and the motor commands that it computes from them.
    #[inline]
    pub fn step(&mut self, command: &Command) -> (Sensors, Rotors<MotorCommand>) {
        let sensors = exchange::sensors(&self.plant.sense(), self.tick_s);
        let motors = self.controller.step(&sensors, command);
        (sensors, motors)
    }

    /// The craft's part of a tick: under the motor commands of the last tick; `motors` follow on the next.
    #[inline]
    pub fn advance(&mut self, motors: Rotors<MotorCommand>) {
        let commands = exchange::commands(self.pending);
        self.plant.advance(commands.zip(self.motor_share).map(|(command, share)| command * share));
        self.pending = motors;
    }

    /// The controller.
    #[must_use]
    pub const fn controller(&self) -> &C {
        &self.controller
    }

    /// The craft.
    #[must_use]
    pub const fn plant(&self) -> &P {
        &self.plant
    }

    /// The craft, to push it.
    pub const fn plant_mut(&mut self) -> &mut P {
        &mut self.plant
    }

    /// Control period in s.
    #[must_use]
    pub const fn tick_s(&self) -> f64 {
        self.tick_s
    }
}
