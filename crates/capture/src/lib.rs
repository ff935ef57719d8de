//! Wing: recordings and live sources, and what they show.
//!
//! [`measure`] takes a [`source::Source`] and a [`SearchPlan`] and gives a [`Measurement`]: answers with their
//! uncertainties, health flags with evidence, and what is needed to draw it. A plan says where to look and never how
//! strong anything is expected to be.

pub mod beacon;
pub mod error;
pub mod floor;
pub mod live;
pub mod locate;
pub mod measure;
pub mod noise;
pub mod plan;
pub mod power;
pub mod signals;
pub mod source;
pub mod wideband;

pub use error::{CaptureError, Located, Place};
pub use measure::{Flag, FlagKind, Measurement, Settings, Severity, measure};
pub use plan::{BeaconKind, BeaconPlan, CentreMeaning, PassbandPlan, SearchPlan};
pub use power::{noise_power, sun_scan, y_factor};
