//! What can be wrong with a wire structure.

use crate::vector::V3;

/// Why a structure cannot be solved. Each names the wire, the place (mm) and what to change.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum WireError {
    /// A dimension without meaning.
    #[error("{wire}: {what} is {value} {unit}, but must be {expected}")]
    Dimension {
        /// The wire or shape.
        wire: String,
        /// The dimension.
        what: &'static str,
        /// Its value, in `unit`.
        value: f64,
        /// Unit of `value`.
        unit: &'static str,
        /// The range in words.
        expected: &'static str,
    },
    /// More unknowns than a small machine's memory holds.
    #[error(
        "{wire}: division takes the structure beyond {limit} segments (a matrix of a gigabyte); use fewer segments per \
         wavelength, or check that lengths are in the unit meant"
    )]
    TooLarge {
        /// The wire at which the limit was passed.
        wire: String,
        /// The limit.
        limit: usize,
    },
    /// Nothing to solve.
    #[error(
        "the structure has no wire that can carry a current; add a wire of at least two segments"
    )]
    Empty,
    /// Thicker than the thin-wire model holds.
    #[error(
        "{wire}: radius {radius_mm:.3} mm is {in_wavelengths:.3} wavelengths; above 0.06 the thin-wire model is wrong \
         (lengthwise current alike all around), so it is refused: use thinner wire or a lower frequency"
    )]
    TooThick {
        /// The wire.
        wire: String,
        /// Radius, mm.
        radius_mm: f64,
        /// Radius over wavelength.
        in_wavelengths: f64,
    },
    /// A segment shorter than its radius.
    #[error(
        "{wire}: segment {segment} at {} is {length_mm:.3} mm long but the wire's radius is {radius_mm:.3} mm; \
         take fewer segments or move the junction, so that segments are longer than the radius", place(.at)
    )]
    ShortSegment {
        /// The wire.
        wire: String,
        /// Counted from 0 along the wire.
        segment: usize,
        /// Its middle, m.
        at: V3,
        /// Length, mm.
        length_mm: f64,
        /// Radius, mm.
        radius_mm: f64,
    },
    /// Two wires closer than their radii away from a junction.
    #[error(
        "{first} and {second} cross or touch at {}: their axes are {gap_mm:.3} mm apart, their radii add up to \
         {radii_mm:.3} mm; move them apart, or end one wire exactly on the other to join them", place(.at)
    )]
    Touching {
        /// One wire.
        first: String,
        /// The other (or the same wire a turn later).
        second: String,
        /// Nearest point on the first, m.
        at: V3,
        /// Distance of the axes, mm.
        gap_mm: f64,
        /// Sum of the radii, mm.
        radii_mm: f64,
    },
    /// The receive feed's metal does not fit inside the winding.
    #[error(
        "the coil hits the receive feed: clear inside the winding are {clear_mm:.1} mm, the feed is {outer_mm:.1} mm wide and \
         reaches {front_mm:.1} mm before the disc, where the winding begins at {stub_mm:.1} mm; wind it wider, draw the feed \
         back behind the first turn, or correct the dimensions"
    )]
    CoilHitsHorn {
        /// Clear diameter inside the winding, mm.
        clear_mm: f64,
        /// Outer diameter of the feed, mm.
        outer_mm: f64,
        /// Where the feed ends before the disc, mm.
        front_mm: f64,
        /// Where the winding begins before the disc, mm.
        stub_mm: f64,
    },
    /// A wire at or below the perfect plane.
    #[error(
        "{wire} reaches z = {z_mm:.3} mm at {}, but the perfect plane is z = 0 and the wire's radius {radius_mm:.3} mm; \
         raise it, or end it exactly on the plane to connect it", place(.at)
    )]
    InPlane {
        /// The wire.
        wire: String,
        /// Where, m.
        at: V3,
        /// Height of the axis, mm.
        z_mm: f64,
        /// Radius, mm.
        radius_mm: f64,
    },
    /// A source or load at a place without wire.
    #[error(
        "{what}: {wire} is no wire of this structure, or {position_mm:.3} mm lies outside its length {length_mm:.3} mm"
    )]
    NoSuchPlace {
        /// Source or load.
        what: &'static str,
        /// The wire meant.
        wire: String,
        /// Distance from its start, mm.
        position_mm: f64,
        /// The wire's length, mm (0 when there is no such wire).
        length_mm: f64,
    },
    /// No solution: the matrix is singular or not finite.
    #[error(
        "the equations have no usable solution ({0}); look for two wires in one place or a source on an open end"
    )]
    Singular(String),
    /// A pattern could not be built from the far field.
    #[error(transparent)]
    Pattern(#[from] slantpath_antenna::AntennaError),
}

/// A place in millimetres, as a person reads it.
fn place(p: &V3) -> String {
    format!(
        "({:.2}, {:.2}, {:.2}) mm",
        p[0] * 1e3,
        p[1] * 1e3,
        p[2] * 1e3
    )
}

/// Requires `ok` and a finite value.
pub(crate) fn require(
    ok: bool,
    wire: &str,
    what: &'static str,
    value: f64,
    unit: &'static str,
    expected: &'static str,
) -> Result<(), WireError> {
    if ok && value.is_finite() {
        return Ok(());
    }
    Err(WireError::Dimension {
        wire: wire.to_owned(),
        what,
        value,
        unit,
        expected,
    })
}
