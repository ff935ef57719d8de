//! The feed, by figures or by dimensions.

use super::{CoilFeed, HornFeed, Matching, Memo, PatchRingFeed, Polarisation, Radiator};
use slantpath_quantity::{Angle, Contributor, Frequency};

/// The feed in use: both bands.
#[derive(Debug, Clone, PartialEq)]
pub struct Feed {
    /// Its name in the file; ids begin with `feed.<name>.`.
    pub name: String,
    /// The receive side.
    pub receive: ReceiveFeed,
    /// The transmit side; `None` when the feed only receives.
    pub transmit: Option<TransmitFeed>,
    /// Error of the skew setting against the satellite's polarisation, rad (0: set exactly). Id `feed.<name>.skew_error`.
    pub skew_error: Contributor,
    /// Skew as set and read off the scale, rad, positive clockwise looking at the satellite; `None`: set by nulling.
    pub skew_setting: Option<Angle>,
    /// Weather cover over the whole feed.
    pub cover: Option<Cover>,
    /// Dimensions of the uplink coil or patch, from which the transmit side, and a coil's receive shadow, are computed where
    /// they are not written.
    pub radiator: Option<Radiator>,
    /// Dimensions of the receive feed, with or without a coil or patch around it, from which its pattern is computed where it
    /// is not written.
    pub horn: Option<HornFeed>,
    /// What was computed of the dimensions already.
    pub memo: Memo,
}

impl Feed {
    /// The uplink coil, when the uplink feed is one.
    pub fn coil(&self) -> Option<&CoilFeed> {
        match &self.radiator {
            Some(Radiator::Coil(c)) => Some(c),
            _ => None,
        }
    }

    /// The uplink patch, when the uplink feed is one.
    pub fn patch(&self) -> Option<&PatchRingFeed> {
        match &self.radiator {
            Some(Radiator::Patch(p)) => Some(p),
            _ => None,
        }
    }
}

/// The receive side of a feed.
#[derive(Debug, Clone, PartialEq)]
pub struct ReceiveFeed {
    /// Co-polar pattern.
    pub pattern: FeedPattern,
    /// Where its phase centre is relative to the dish's focus.
    pub phase_centre: PhaseCentre,
    /// Cross-polar isolation on axis, dB. Id `feed.<name>.receive.cross_polar_isolation`.
    pub cross_polar_isolation: Contributor,
    /// Loss in the feed's own metal and plastic, dB. Id `feed.<name>.receive.ohmic_loss`.
    pub ohmic_loss: Contributor,
    /// Return loss towards the LNB, dB. Id `feed.<name>.receive.return_loss`.
    pub return_loss: Contributor,
    /// What stands between dish and receive feed.
    pub shadow: Shadow,
}

/// The transmit side of a feed.
#[derive(Debug, Clone, PartialEq)]
pub struct TransmitFeed {
    /// Co-polar pattern.
    pub pattern: FeedPattern,
    /// Where its phase centre is relative to the dish's focus.
    pub phase_centre: PhaseCentre,
    /// Polarisation as the feed radiates it towards the dish.
    pub sense_at_feed: Polarisation,
    /// Axial ratio on axis, dB (0: circular). For a linear feed: exactly 0 and unused. Id `feed.<name>.transmit.axial_ratio`.
    pub axial_ratio: Contributor,
    /// Loss in the feed's own metal and plastic, dB. Id `feed.<name>.transmit.ohmic_loss`.
    pub ohmic_loss: Contributor,
    /// Return loss towards the amplifier, dB. Id `feed.<name>.transmit.return_loss`.
    pub return_loss: Contributor,
    /// Where the return loss comes from: unless written, [`TransmitFeed::return_loss`] holds the usual range only.
    pub matching: Matching,
    /// Impedance of the line that feeds it, ohm.
    pub line_ohm: f64,
    /// Whether the axial ratio is to be computed from [`Feed::radiator`].
    pub axial_ratio_from_dimensions: bool,
    /// Whether the phase centre stands where the receive feed's focus leaves it, both being on one disc.
    pub focus_from_receive: bool,
}

impl TransmitFeed {
    /// Polarisation as it leaves the dish: the reflector turns a circular sense round, a linear one stays.
    pub fn sense_after_dish(&self) -> Polarisation {
        if self.sense_at_feed.is_circular() {
            self.sense_at_feed.opposite()
        } else {
            self.sense_at_feed
        }
    }
}

/// Co-polar pattern of the bare feed, rotationally symmetric. Ids `feed.<name>.<side>.<field>`.
#[derive(Debug, Clone, PartialEq)]
pub enum FeedPattern {
    /// One point: so many dB down at so many degrees off axis (without space attenuation).
    EdgeTaper {
        /// Angle off axis, rad.
        angle: Contributor,
        /// How far the pattern is down there, dB, > 0.
        taper: Contributor,
    },
    /// Power pattern `cos^n` in the front half-space (gain `2 (n + 1)`).
    CosPower {
        /// Exponent n of the *power* pattern, plain.
        exponent: Contributor,
    },
    /// Only the gain of the bare feed is known; the pattern is then `cos^n` of that gain.
    BareGain {
        /// Gain, dBi.
        gain: Contributor,
    },
    /// A table.
    Table {
        /// Rows by rising angle, the first at 0 degrees.
        rows: Vec<PatternRow>,
        /// Common error of the table away from the axis, dB. Id `feed.<name>.<side>.pattern_error`.
        error: Contributor,
    },
    /// Computed from [`Feed::radiator`] (transmit side only).
    FromDimensions,
    /// Computed from [`Feed::horn`] (receive side only).
    FromHorn {
        /// Common error of the computed pattern away from the axis, dB. Id `feed.<name>.receive.pattern_error`.
        error: Contributor,
    },
}

impl FeedPattern {
    /// Its figures, in the order of the fields.
    pub fn contributors(&self) -> Vec<&Contributor> {
        match self {
            Self::EdgeTaper { angle, taper } => vec![angle, taper],
            Self::CosPower { exponent } => vec![exponent],
            Self::BareGain { gain } => vec![gain],
            Self::Table { error, .. } | Self::FromHorn { error } => vec![error],
            Self::FromDimensions => Vec::new(),
        }
    }
}

/// One row of a pattern table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PatternRow {
    /// Angle off axis.
    pub angle: Angle,
    /// Level relative to the axis, dB (negative: down), co-polar.
    pub level_db: f64,
    /// Phase relative to the axis, if measured.
    pub phase: Option<Angle>,
}

/// Phase centre relative to the focus of the dish.
#[derive(Debug, Clone, PartialEq)]
pub struct PhaseCentre {
    /// Along the feed's axis, m, positive away from the dish. Id `feed.<name>.<side>.focus_error`.
    pub focus_error: Contributor,
    /// Across it, m, >= 0. Id `feed.<name>.<side>.lateral_error`.
    pub lateral_error: Contributor,
}

/// What the receive feed loses to things in front of it, and what the lost rays see instead.
#[derive(Debug, Clone, PartialEq)]
pub struct Shadow {
    /// Loss of wanted signal, dB; exactly 0 when nothing is in the way. Id `feed.<name>.receive.shadow`.
    pub loss: Contributor,
    /// Share of the shadowed rays that end on cold sky, 0..1. Id `feed.<name>.receive.shadow_sees.sky`.
    pub sees_sky: Contributor,
    /// Share that ends on the ground. The three sum to 1 at their best estimates; a model that draws them divides by
    /// their sum. Id `feed.<name>.receive.shadow_sees.ground`.
    pub sees_ground: Contributor,
    /// Share that is absorbed in lossy material at air temperature. Id `feed.<name>.receive.shadow_sees.absorbed`.
    pub absorbed: Contributor,
    /// Whether all four are to be computed from [`Feed::coil`]'s: they then hold nothing.
    pub from_coil: bool,
}

/// A dielectric cover seen as a slab.
#[derive(Debug, Clone, PartialEq)]
pub struct Cover {
    /// Thickness, m. Id `feed.<name>.cover.thickness`.
    pub thickness: Contributor,
    /// Relative permittivity, plain. Id `feed.<name>.cover.permittivity`.
    pub permittivity: Contributor,
    /// Loss tangent, plain. Id `feed.<name>.cover.loss_tangent`.
    pub loss_tangent: Contributor,
    /// The frequency for which the three figures were given, if written.
    pub measured_at: Option<Frequency>,
}
