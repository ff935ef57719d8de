//! Which pairs of uplink and receive figures a coil around the receive feed can give on a dish.
//!
//! A design is a coil, the place of the receive feed in it and the place of their common disc along the feed's axis. Its
//! uplink figures are the dish's gain in the wanted circular sense and the axial ratio of the beam; its receive figure is the
//! change of G/T against the same receive feed without a coil in its own best focus. Both bands see one dish, one disc and
//! one place: what helps one often costs the other, so that the answer is a curve of pairs ([`front`]) and not one design.
//!
//! [`search`] tries many designs at a coarse division of the wires and solves the ends of its curve again at a fine one; the
//! difference of the two is the uncertainty of the division. [`map()`] shows the receive loss over two dimensions,
//! [`tolerance`] what a small error in each dimension does.

mod front;
mod map;
mod search;
mod space;
mod tolerance;
mod workbench;

pub use front::{front, spread_along};
pub use map::{ShadowMap, Sweep, map, sweep};
pub use search::{Found, FrontPoint, Purity, Search, Spread, search};
pub use space::{Range, Space, Variable};
pub use tolerance::{Effect, Figure, tolerance};
pub use workbench::{Fidelity, Geometry, Pair, ReceiveNoise, Setting, Solved, Transmit, Workbench};

#[cfg(test)]
mod testing;
