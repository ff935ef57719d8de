//! Physics: where satellites, Sun and Moon stand, seen from a site on the Earth.
//!
//! Everything is geometry: angles are true (not magnetic) and geometric (no refraction) unless a name says
//! otherwise. Time is always an argument in UTC. Frames: Earth-fixed WGS-84 ([`Ecef`]), local east-north-up, and
//! the celestial frames of the standard routines (IERS Conventions) inside.
//!
//! | module | question |
//! |---|---|
//! | [`site`], [`look`](mod@look) | where does the dish look, how far, how is the polarisation turned |
//! | [`body`] | where do Sun and Moon appear, and how large |
//! | [`transit`] | when does the Sun stand behind the satellite |
//! | [`elements`], [`orbit`], [`near_geo`] | how does the satellite move, which Doppler shift |
//! | [`shadow`] | when is the satellite eclipsed |
//! | [`magnetic`](mod@magnetic) | what does a compass show |
//! | [`geodesic`], [`maidenhead`] | distance and bearing, locators |
//! | [`mask`], [`edge`], [`fresnel`] | what stands in the way |

pub mod body;
pub mod edge;
pub mod elements;
pub mod error;
pub mod fresnel;
pub mod geodesic;
pub mod look;
pub mod magnetic;
pub mod maidenhead;
pub mod mask;
pub mod near_geo;
pub mod orbit;
pub mod shadow;
pub mod site;
pub mod time;
pub mod transit;
mod vector;

pub use body::{Apparent, Body, apparent};
pub use elements::MeanElements;
pub use error::SkyError;
pub use geodesic::distance_bearing;
pub use look::{Look, geostationary, look, polarisation_skew};
pub use magnetic::{Magnetic, magnetic};
pub use maidenhead::Locator;
pub use mask::HorizonMask;
pub use near_geo::{DailyMotion, NearGeostationary, daily_motion};
pub use orbit::{MovingLook, Orbit, doppler};
pub use site::{Direction, Ecef, Site};
pub use time::EarthOrientation;
pub use transit::{Target, Transit, sun_transits};
