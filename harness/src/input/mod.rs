//! Input files: TOML to craft, controller and flights. All mistakes of a file are reported at once, each with
//! its line, its column and the nearest valid key. Nothing is flown with an invalid file.

mod arms;
pub mod axis;
mod check;
mod command;
mod controller;
mod craft;
pub mod demo;
mod dispersions;
mod document;
pub mod explain;
mod fault;
mod flight;
pub mod folder;
mod gimbal;
mod load;
mod mount;
mod overrides;
pub mod problem;
mod propeller;
mod read;
mod recording;
mod refusal;
mod renamed;
mod requirements;
mod sensors;
mod suggest;
pub mod tune;

pub(crate) use controller::ControllerFile;
pub use controller::controller;
pub(crate) use craft::CraftFile;
pub use craft::craft;
pub(crate) use dispersions::DispersionsFile;
pub use dispersions::dispersions;
pub(crate) use document::Document;
pub use document::text_of;
pub(crate) use flight::FlightFile;
pub use flight::{flight, unjudged_flight};
pub use folder::Folder;
pub use load::{
    demo_controller, demo_craft, demo_flights, load_controller, load_craft, load_flight, load_flights,
};
pub use overrides::{attitude_settings, in_force};
pub use problem::{InputError, Location, Problem};
pub use recording::{columns_explained, load_recording, load_settings, recording};
pub(crate) use requirements::RequirementsFile;
pub use requirements::apply_requirements;

#[cfg(test)]
mod controller_tests;
#[cfg(test)]
mod mutation_tests;
#[cfg(test)]
mod tests;
