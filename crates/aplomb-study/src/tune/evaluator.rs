//! Judgement of one controller on one craft, on few or on all flights.

use std::borrow::Cow;

use super::parameter::{Factors, PARAMETERS, Setting};
use super::rank::{Judged, Rank};
use super::{Build, TuneError};
use crate::controller_model;
use crate::craft::Craft;
use crate::requirements::{JudgedOn, Requirement};
use crate::verify::{self, Subject};
use aplomb_flight::FlightPlan;

/// What a controller is judged on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Scope {
    /// Margins by the linear model at every operating point, the probes of the inner loops and the gust.
    Quick,
    /// Everything, as in `aplomb verify`.
    Full,
}

/// One craft with its derived controller and the flights.
#[derive(Clone)]
pub(super) struct Evaluator<'a> {
    pub(super) craft: Cow<'a, Craft>,
    pub(super) derived: aplomb::flight::Config,
    pub(super) plans: &'a [FlightPlan],
    pub(super) build: &'a Build<'a>,
    /// Called after each judged controller.
    pub(super) tried: &'a (dyn Fn() + Sync),
}

impl<'a> Evaluator<'a> {
    pub(super) fn new(
        craft: Cow<'a, Craft>,
        plans: &'a [FlightPlan],
        build: &'a Build<'a>,
        tried: &'a (dyn Fn() + Sync),
    ) -> Result<Self, TuneError> {
        let derived = controller_model::controller(&craft).map_err(TuneError::Derive)?;
        Ok(Self { craft, derived, plans, build, tried })
    }

    /// The settings with these factors; those within 0.5 % of 1 are omitted.
    pub(super) fn settings(&self, factors: &Factors) -> Vec<Setting> {
        let adjusted = factors.iter().enumerate().filter(|(_, factor)| (*factor - 1.0).abs() > 0.005);
        adjusted.map(|(parameter, &factor)| Setting { parameter, factor, derived: self.derived }).collect()
    }

    pub(super) fn controller(&self, factors: &Factors) -> Result<aplomb::flight::Config, TuneError> {
        (self.build)(&self.craft, &self.settings(factors)).map_err(TuneError::Setting)
    }

    pub(super) fn judge(&self, factors: &Factors, scope: Scope, seeds: u32) -> Result<Judged, TuneError> {
        let plans = if scope == Scope::Full { self.plans.to_vec() } else { Vec::new() };
        let mut subject = Subject::new(self.craft.clone().into_owned(), self.controller(factors)?, plans);
        if scope == Scope::Quick {
            subject.requirements.retain(is_quick);
        }
        let judgement = verify::judge(&subject, seeds, &|| ()).map_err(TuneError::Fly)?;
        (self.tried)();
        let rank = Rank::of(&judgement, factors);
        Ok(Judged { judgement, rank })
    }

    /// True for a parameter whose derived value is not zero.
    pub(super) fn acts(&self, parameter: usize) -> bool {
        PARAMETERS[parameter].keys.iter().any(|key| (key.derived)(&self.derived) != 0.0)
    }
}

/// True for a requirement of [`Scope::Quick`].
fn is_quick(requirement: &Requirement) -> bool {
    match (&requirement.judged_on, requirement.probe()) {
        (JudgedOn::Loops(..), _) => true,
        (_, Some(probe)) => probe.turbulence().is_none(),
        _ => false,
    }
}
