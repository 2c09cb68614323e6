//! Judgement of one controller on one craft, on few or on all flights.

use std::borrow::Cow;

use super::parameter::{Factors, PARAMETERS, Setting};
use super::rank::{Judged, Rank};
use super::{Build, TuneError, slack};
use crate::controller_model;
use crate::craft::Craft;
use crate::margins::point::Point;
use crate::requirements::{JudgedOn, Requirement};
use crate::verify::suite::name_of;
use crate::verify::{self, Judgement, Subject};
use aplomb_flight::FlightPlan;

/// What a controller is judged on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Scope {
    /// Margins by the linear model at the limiting operating points, the probes of the inner loops and the
    /// gust.
    Quick,
    /// Everything, as in `aplomb verify`.
    Full,
}

/// Number of operating points of [`Scope::Quick`]: a linear model takes longer than all its probes.
const QUICK_POINTS: usize = 2;

/// One craft with its derived controller and the flights.
#[derive(Clone)]
pub(super) struct Evaluator<'a> {
    pub(super) craft: Cow<'a, Craft>,
    pub(super) derived: aplomb::flight::Config,
    pub(super) plans: &'a [FlightPlan],
    pub(super) build: &'a Build<'a>,
    /// Operating points of [`Scope::Quick`].
    pub(super) points: Vec<Point>,
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
        Ok(Self { craft, derived, plans, build, points: Point::ALL.to_vec(), tried })
    }

    /// Restricts [`Scope::Quick`] to the operating points with the smallest slack in this judgement.
    pub(super) fn restrict_to_limiting_points(&mut self, judgement: &Judgement) {
        let slack_at =
            |point: &Point| judgement.of_flight(&name_of(point)).map(slack).fold(f64::INFINITY, f64::min);
        self.points.sort_by(|a, b| slack_at(a).total_cmp(&slack_at(b)));
        self.points.truncate(QUICK_POINTS);
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
            subject.points.clone_from(&self.points);
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
