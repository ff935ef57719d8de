//! Wing: the station model, the budget and the predicted measurands.
//!
//! [`Model::new`] wires every formula of the physics rooms to the uncertain inputs of a checked station;
//! [`Model::evaluate`] is then a plain function from inputs to outputs, cheap enough to be drawn a hundred thousand
//! times; [`predict`] draws it and tells what each output depends on. What is predicted is always the *measurand*: a
//! noise step, a C/N0, a Y factor, as a receiver would show it.

mod air;
mod conditions;
mod differences;
mod dimensions;
mod dish;
mod error;
mod geometry;
mod inputs;
mod measurand;
mod memory;
mod model;
mod nearby;
mod polarisation;
mod predict;
mod receive;
mod shape;
mod stages;
mod transmit;
mod walk;

pub use air::{ClearLoss, clear_loss, free_space_loss_db};
pub use conditions::{Air, Conditions, Drawing};
pub use differences::{difference, differences};
pub use dimensions::{
    ComputedFeed, ComputedResonance, ComputedShadow, ComputedTransmit, computed_feed,
};
pub use error::LinkError;
pub use geometry::{Geometry, geometry};
pub use inputs::{Inputs, Slot};
pub use measurand::{Group, Measurand};
pub use memory::Memory;
pub use model::Model;
pub use nearby::Nearby;
pub use predict::{LEVEL, Prediction, predict, quick};
pub use shape::{Mounted, arm, mounted_receive, mounted_transmit, reflector, transmit_pattern};
