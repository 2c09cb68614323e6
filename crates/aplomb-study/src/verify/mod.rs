//! Verification: all requirements and checks on all flights, compared with an accepted baseline.

pub mod baseline;
pub mod json;
pub mod suite;

use std::marker::PhantomData;

use aplomb::FlightController;
use aplomb_craft::Plant;
use aplomb_flight::FlightPlan;

use crate::craft::Craft;
use crate::margins::point::Point;
use crate::requirements::{Probe, Requirement, Size, Waiver, table};

pub use baseline::{Accepted, Baseline, Cause};
pub use suite::{Item, Judgement, judge};

/// What is verified: craft, controller and flights. The controller `C` and the craft model `P` are types, so
/// that an own one of either is verified, dispersed and compared as the standard one is.
#[derive(Clone, Debug)]
pub struct Subject<C = FlightController, P = Plant> {
    /// The craft.
    pub craft: Craft,
    /// The settings of the controller.
    pub controller: aplomb::flight::Config,
    /// The flights.
    pub plans: Vec<FlightPlan>,
    /// Size parameters of craft and controller for the requirements.
    pub size: Size,
    /// The requirements.
    pub requirements: Vec<Requirement>,
    /// Waivers.
    pub waivers: Vec<Waiver>,
    /// Operating points at which the margins are judged.
    pub points: Vec<Point>,
    flown: PhantomData<fn() -> (C, P)>,
}

impl Subject {
    /// With the standard requirements, without waivers.
    #[must_use]
    pub fn new(craft: Craft, controller: aplomb::flight::Config, plans: Vec<FlightPlan>) -> Self {
        let size = Size::of(&craft, &controller);
        let requirements = table::requirements(&size);
        let (waivers, points) = (Vec::new(), Point::ALL.to_vec());
        Self { craft, controller, plans, size, requirements, waivers, points, flown: PhantomData }
    }
}

impl<C, P> Subject<C, P> {
    /// Names under which its requirements are judged: of its flights, of the probes and of the operating
    /// points.
    #[must_use]
    pub fn names(&self) -> Vec<String> {
        let flights = self.plans.iter().map(|plan| plan.name.clone());
        let probes = Probe::ALL.iter().map(|probe| probe.name().to_owned());
        flights.chain(probes).chain(Point::ALL.iter().map(suite::name_of)).collect()
    }

    /// The same with another controller `D` on another craft model `Q`.
    #[must_use]
    pub fn flown_by<D, Q>(self) -> Subject<D, Q> {
        let Self { craft, controller, plans, size, requirements, waivers, points, .. } = self;
        Subject { craft, controller, plans, size, requirements, waivers, points, flown: PhantomData }
    }
}
