//! Fault wrappers of the motor commands and the propellers.

use super::{RotorFault, Span};
use crate::{Corner, Rotors};
use std::collections::VecDeque;

/// Condition of a rotor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Condition {
    /// Ratio of thrust and torque to those of a healthy rotor at the same speed.
    pub(crate) effect: f64,
    /// Additional imbalance (kg m).
    pub(crate) imbalance_kg_m: f64,
    pub(crate) seized: bool,
    pub(crate) reversed: bool,
}

pub(crate) const HEALTHY: Condition =
    Condition { effect: 1.0, imbalance_kg_m: 0.0, seized: false, reversed: false };

/// All rotor faults.
#[derive(Clone, Debug, Default)]
pub(crate) struct RotorWrappers {
    commands: Vec<(Span, Command)>,
    propellers: Vec<(Span, Corner, RotorFault)>,
}

/// Fault of a command.
#[derive(Clone, Debug)]
enum Command {
    Stuck(Corner, f64),
    DroppedOut(Corner),
    Scale(Corner, f64),
    /// Recent commands, oldest first.
    Delay(Corner, VecDeque<f64>),
    Swapped(Corner, Corner),
}

impl RotorWrappers {
    pub(super) fn add(&mut self, span: Span, corner: Corner, fault: RotorFault, tick_s: f64) {
        let command = match fault {
            RotorFault::Stuck => Command::Stuck(corner, 0.0),
            RotorFault::DroppedOut => Command::DroppedOut(corner),
            RotorFault::Scale(scale) => Command::Scale(corner, scale),
            RotorFault::Delay(delay_s) => {
                Command::Delay(corner, VecDeque::from(vec![0.0; libm::round(delay_s / tick_s) as usize]))
            }
            RotorFault::LossOfEffectiveness(_)
            | RotorFault::ChippedBlade { .. }
            | RotorFault::Seized
            | RotorFault::Reversed => {
                self.propellers.push((span, corner, fault));
                return;
            }
        };
        self.commands.push((span, command));
    }

    pub(super) fn swap(&mut self, span: Span, one: Corner, other: Corner) {
        self.commands.push((span, Command::Swapped(one, other)));
    }

    /// Commands after the faults.
    pub(crate) fn pass(&mut self, tick: u64, mut commands: Rotors<f64>) -> Rotors<f64> {
        for (span, wrapper) in &mut self.commands {
            let holds = span.holds(tick);
            match wrapper {
                Command::Stuck(corner, last) => {
                    let command = commands.at_mut(*corner);
                    if holds {
                        *command = *last;
                    } else {
                        *last = *command;
                    }
                }
                Command::DroppedOut(corner) if holds => *commands.at_mut(*corner) = 0.0,
                Command::Scale(corner, scale) if holds => *commands.at_mut(*corner) *= *scale,
                Command::Delay(corner, queue) => {
                    let command = commands.at_mut(*corner);
                    queue.push_back(*command);
                    if let Some(late) = queue.pop_front().filter(|_| holds) {
                        *command = late;
                    }
                }
                Command::Swapped(one, other) if holds => {
                    let (first, second) = (*commands.at_mut(*one), *commands.at_mut(*other));
                    *commands.at_mut(*one) = second;
                    *commands.at_mut(*other) = first;
                }
                Command::DroppedOut(_) | Command::Scale(..) | Command::Swapped(..) => {}
            }
        }
        commands
    }

    /// Conditions of the rotors, if they change at `tick`.
    pub(crate) fn change(&self, tick: u64) -> Option<Rotors<Condition>> {
        if !self.propellers.iter().any(|(span, ..)| span.changes_at(tick)) {
            return None;
        }
        let mut conditions = Rotors::splat(HEALTHY);
        for (_, corner, fault) in self.propellers.iter().filter(|(span, ..)| span.holds(tick)) {
            let condition = conditions.at_mut(*corner);
            match *fault {
                RotorFault::LossOfEffectiveness(share) => condition.effect *= 1.0 - share,
                RotorFault::ChippedBlade { loss_share, imbalance_kg_m } => {
                    condition.effect *= 1.0 - loss_share;
                    condition.imbalance_kg_m += imbalance_kg_m;
                }
                RotorFault::Seized => condition.seized = true,
                RotorFault::Reversed => condition.reversed = true,
                RotorFault::Stuck | RotorFault::DroppedOut | RotorFault::Scale(_) | RotorFault::Delay(_) => {}
            }
        }
        Some(conditions)
    }
}
