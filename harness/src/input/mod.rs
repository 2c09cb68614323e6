//! Input files: TOML to craft, controller and flights. All mistakes of a file are reported at once, each with
//! its line, its column and the nearest valid key. Nothing is flown with an invalid file.

pub(crate) mod check;
mod command;
pub mod controller;
pub mod craft;
pub mod demo;
mod document;
mod fault;
mod flight;
mod gimbal;
mod load;
mod mount;
mod overrides;
pub mod problem;
mod propeller;
mod read;
mod renamed;
mod sensors;
pub(crate) mod suggest;

pub use controller::Controller;
pub(crate) use controller::ControllerFile;
pub use craft::Craft;
pub(crate) use craft::CraftFile;
pub(crate) use document::Document;
pub use document::text_of;
pub(crate) use flight::FlightFile;
pub use flight::{flight, unjudged_flight};
pub use load::{
    demo_controller, demo_craft, demo_flights, load_controller, load_craft, load_flight, load_flights,
};
pub use overrides::attitude_settings;
pub use problem::{InputError, Location, Problem};

#[cfg(test)]
mod controller_tests;
#[cfg(test)]
mod tests;
