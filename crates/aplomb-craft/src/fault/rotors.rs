//! Wrappers around the motor commands and the propellers.

use super::{RotorFault, Span};
use crate::rotors::{Place, Rotors};
use std::collections::VecDeque;

/// What is left of a rotor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Condition {
    /// Thrust and torque over those of a sound rotor at the same speed.
    pub(crate) effect: f64,
    /// Imbalance beyond that of a sound rotor (kg m).
    pub(crate) imbalance_kg_m: f64,
    pub(crate) seized: bool,
    pub(crate) reversed: bool,
}

pub(crate) const SOUND: Condition =
    Condition { effect: 1.0, imbalance_kg_m: 0.0, seized: false, reversed: false };

/// All faults of the rotors.
#[derive(Clone, Debug, Default)]
pub(crate) struct RotorWrappers {
    commands: Vec<(Span, Command)>,
    propellers: Vec<(Span, Place, RotorFault)>,
}

/// What happens to the commands on their way.
#[derive(Clone, Debug)]
enum Command {
    Stuck(Place, f64),
    DroppedOut(Place),
    Scale(Place, f64),
    /// The commands of the last while, oldest first.
    Delay(Place, VecDeque<f64>),
    Swapped(Place, Place),
}

impl RotorWrappers {
    pub(super) fn add(&mut self, span: Span, place: Place, fault: RotorFault, tick_s: f64) {
        let command = match fault {
            RotorFault::Stuck => Command::Stuck(place, 0.0),
            RotorFault::DroppedOut => Command::DroppedOut(place),
            RotorFault::Scale(scale) => Command::Scale(place, scale),
            RotorFault::Delay(delay_s) => {
                Command::Delay(place, VecDeque::from(vec![0.0; libm::round(delay_s / tick_s) as usize]))
            }
            RotorFault::LossOfEffectiveness(_)
            | RotorFault::ChippedBlade { .. }
            | RotorFault::Seized
            | RotorFault::Reversed => {
                self.propellers.push((span, place, fault));
                return;
            }
        };
        self.commands.push((span, command));
    }

    pub(super) fn swap(&mut self, span: Span, one: Place, other: Place) {
        self.commands.push((span, Command::Swapped(one, other)));
    }

    /// The commands as they arrive.
    pub(crate) fn pass(&mut self, tick: u64, mut commands: Rotors<f64>) -> Rotors<f64> {
        for (span, wrapper) in &mut self.commands {
            let holds = span.holds(tick);
            match wrapper {
                Command::Stuck(place, last) => {
                    let command = commands.at(*place);
                    if holds {
                        *command = *last;
                    } else {
                        *last = *command;
                    }
                }
                Command::DroppedOut(place) if holds => *commands.at(*place) = 0.0,
                Command::Scale(place, scale) if holds => *commands.at(*place) *= *scale,
                Command::Delay(place, queue) => {
                    let command = commands.at(*place);
                    queue.push_back(*command);
                    if let Some(late) = queue.pop_front().filter(|_| holds) {
                        *command = late;
                    }
                }
                Command::Swapped(one, other) if holds => {
                    let (first, second) = (*commands.at(*one), *commands.at(*other));
                    *commands.at(*one) = second;
                    *commands.at(*other) = first;
                }
                Command::DroppedOut(_) | Command::Scale(..) | Command::Swapped(..) => {}
            }
        }
        commands
    }

    /// What is left of the rotors, if that changes at `tick`.
    pub(crate) fn change(&self, tick: u64) -> Option<Rotors<Condition>> {
        if !self.propellers.iter().any(|(span, ..)| span.turns_at(tick)) {
            return None;
        }
        let mut conditions = Rotors::splat(SOUND);
        for (_, place, fault) in self.propellers.iter().filter(|(span, ..)| span.holds(tick)) {
            let condition = conditions.at(*place);
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
