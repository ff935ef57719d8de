//! The dish.

use slantpath_quantity::Contributor;

/// The dish, as far as it is the same in both bands.
#[derive(Debug, Clone, PartialEq)]
pub struct Reflector {
    /// Its shape, from the sheet that came with it or from a tape measure.
    pub shape: ReflectorShape,
    /// Where the feed arm of an offset dish is.
    pub feed_arm: FeedArm,
    /// Sheet or mesh.
    pub surface: Surface,
    /// Surface error, rms, measured along the axis, m. Id `reflector.surface_rms`.
    pub surface_rms: Contributor,
    /// How far the beam points beside the satellite, rad, >= 0. Id `reflector.pointing_error`.
    pub pointing_error: Contributor,
    /// Loss by imperfect reflection at the receive frequency, dB. Id `reflector.reflection_loss_receive`.
    pub reflection_loss_receive: Contributor,
    /// The same at the transmit frequency, dB. Id `reflector.reflection_loss_transmit`.
    pub reflection_loss_transmit: Contributor,
    /// What stands in the aperture.
    pub blockage: Blockage,
}

/// Shape of the reflector; lengths in m. Ids `reflector.<field>`.
#[derive(Debug, Clone, PartialEq)]
pub enum ReflectorShape {
    /// Rotationally symmetric paraboloid.
    PrimeFocus {
        /// Diameter of the rim.
        diameter: Contributor,
        /// Focal length.
        focal_length: Contributor,
    },
    /// Rotationally symmetric paraboloid by tape measure: focal length is `diameter^2 / (16 depth)`.
    PrimeFocusByTape {
        /// Diameter of the rim.
        diameter: Contributor,
        /// Depth at the centre below the plane of the rim.
        depth: Contributor,
    },
    /// Offset paraboloid.
    Offset {
        /// Diameter of the aperture as seen from the satellite (a circle); the width of the rim.
        diameter: Contributor,
        /// Focal length of the parent paraboloid.
        focal_length: Contributor,
        /// Distance from the parent's axis to the near edge of the aperture (0: the axis grazes the rim).
        clearance: Contributor,
    },
    /// Offset paraboloid by tape measure.
    OffsetByTape {
        /// Width of the rim (short axis).
        width: Contributor,
        /// Height of the rim along its plane (long axis).
        height: Contributor,
        /// Greatest depth below the plane of the rim, measured on the long axis.
        depth: Contributor,
    },
}

impl ReflectorShape {
    /// True for the two offset forms.
    pub fn is_offset(&self) -> bool {
        matches!(self, Self::Offset { .. } | Self::OffsetByTape { .. })
    }
    /// Its dimensions, in the order of the fields.
    pub fn contributors(&self) -> Vec<&Contributor> {
        match self {
            Self::PrimeFocus {
                diameter,
                focal_length,
            } => vec![diameter, focal_length],
            Self::PrimeFocusByTape { diameter, depth } => vec![diameter, depth],
            Self::Offset {
                diameter,
                focal_length,
                clearance,
            } => vec![diameter, focal_length, clearance],
            Self::OffsetByTape {
                width,
                height,
                depth,
            } => vec![width, height, depth],
        }
    }
    /// Diameter of the aperture as seen from the satellite, m.
    pub fn aperture_diameter(&self) -> &Contributor {
        match self {
            Self::PrimeFocus { diameter, .. }
            | Self::PrimeFocusByTape { diameter, .. }
            | Self::Offset { diameter, .. } => diameter,
            Self::OffsetByTape { width, .. } => width,
        }
    }
}

/// Where the feed arm is; decides whether spillover sees the sky or the ground.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FeedArm {
    /// Below: the usual way; spillover past the upper rim sees the sky.
    Bottom,
    /// Above: the dish hangs upside down; spillover past the lower rim sees the ground.
    Top,
}

/// What the reflector is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Surface {
    /// Sheet metal.
    Solid,
    /// Mesh; its loss is in the reflection losses.
    Mesh,
}

/// What stands in the aperture. On an offset dish normally nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct Blockage {
    /// Diameter of the disc that the feed and its box hide, m; exactly 0 when nothing does.
    /// Id `reflector.blockage.disc`.
    pub disc: Contributor,
    /// Number of struts in front of the aperture.
    pub struts: u32,
    /// Width of one strut as seen from the satellite, m. Id `reflector.blockage.strut_width`.
    pub strut_width: Contributor,
}
