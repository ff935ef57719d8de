//! Physics: ITU-R P-series propagation models between a site and space.
//!
//! One module per Recommendation, in the revision its head names; inside them the Recommendation's own
//! symbols with a unit suffix. [`path`] is the door for whoever wants a slant path whole, [`climate`] the
//! built-in grid of what the sky is like where the station stands.
//!
//! A value outside a model's stated range is still computed and says so ([`slantpath_quantity::Validity`]);
//! one that cannot be at all is a [`PropagationError`].

pub mod clear;
pub mod climate;
pub mod error;
mod normal;
pub mod p453;
pub mod p618;
pub mod p676;
pub mod p834;
pub mod p835;
pub mod p838;
pub mod p839;
pub mod p840;
pub mod path;

pub use clear::ClearSky;
pub use climate::SiteClimate;
pub use error::PropagationError;
pub use path::{PathInput, SlantLosses, SlantPath, slant_path};
