//! Feeds from their dimensions: the uplink coil and its shadow on the receive feed inside it.
//!
//! One frame for both bands: the disc lies in `z = 0`, `z` points where the feed looks (to the dish), the winding's axis is
//! the `z` axis. Dimensions are what a person measures on the bench; the diameter of a winding is taken to the *middle* of
//! its wire (outside diameter less one wire).
//!
//! - [`uplink`]: pattern, gain, axial ratio, phase centre and impedance of a helix or of dipoles over a disc.
//! - [`patch`]: a patch ring around the receive feed, as a cavity model and as a wire grid.
//! - [`shadow`]: the coil as a scatterer before the receive feed, and what the dish loses by it.
//! - [`wet`]: a film of water or plastic on the wire.

mod bessel;
mod coil;
mod horn;
pub mod patch;
pub mod shadow;
mod sources;
pub mod uplink;
pub mod wet;
mod words;

pub use coil::{Coil, CoilDimension, Metal};
pub use horn::{Aperture, Horn};
pub use words::{after_the_dish, phasing, winding};
