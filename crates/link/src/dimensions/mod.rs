//! The uplink feed, coil or patch, by its dimensions: the transmit side and a coil's receive shadow as the wire room computes
//! them, remembered by what they follow from. A patch whose hole lets the receive feed through has no wires before it.
//!
//! Frequencies are rounded to a hundredth of their decade (2.4005 GHz is solved at 2.40, 10.4725 at 10.5) and the elevation
//! that sorts the spilled power to whole degrees, so that passbands and moments share what takes long: 0.5 % in frequency is
//! within the stated uncertainty many times over.

mod follow;
mod shadow;
mod told;
mod uplink;

pub(crate) use shadow::{ShadowModel, disc_in_focus};
pub use told::{ComputedFeed, ComputedResonance, ComputedShadow, ComputedTransmit, computed_feed};
pub(crate) use uplink::{axial_ratio, gain_errors, return_loss, uplink};

use crate::LinkError;
use slantpath_antenna::polarisation::Sense;
use slantpath_quantity::{Contributor, Frequency};
use slantpath_station::checked::{CoilFeed, Polarisation, Radiator, Station};
use slantpath_wire::feed::patch::InnerEdge;
use slantpath_wire::feed::patch::grid::Posts;
use slantpath_wire::feed::uplink::PatchFeed;
use slantpath_wire::feed::{Aperture, Coil, Horn};

fn best(c: &Contributor) -> f64 {
    c.distribution.mean()
}

/// To a hundredth of the decade.
fn rounded(f: Frequency) -> Frequency {
    let hz = f.as_hz();
    let step = 10_f64.powi(hz.log10().floor() as i32 - 2);
    Frequency::hz((hz / step).round() * step)
}

/// A key from everything that a figure follows from, bit for bit. The leading number is raised whenever the computing
/// changes.
fn key(what: &str, values: &[f64]) -> String {
    let mut k = format!("1 {} {what}", env!("CARGO_PKG_VERSION"));
    for v in values {
        k.push_str(&format!(" {:016x}", v.to_bits()));
    }
    k
}

fn of_coil(c: &Coil) -> [f64; 8] {
    [
        c.turns,
        c.diameter.as_m(),
        c.end_diameter.as_m(),
        c.pitch.as_m(),
        c.wire.as_m(),
        c.stub.as_m(),
        c.start.as_rad(),
        if c.sense == Sense::Right { 1.0 } else { -1.0 },
    ]
}

fn of_patch(p: &PatchFeed) -> [f64; 8] {
    [
        p.ring.outer.as_m(),
        p.ring.inner.as_m(),
        p.ring.height.as_m(),
        p.ring.ground.as_m(),
        f64::from(u8::from(p.ring.inner_edge == InnerEdge::Joined)),
        match p.posts {
            Posts::Pair => 0.0,
            Posts::Two(Sense::Right) => 2.0,
            Posts::Two(Sense::Left) => -2.0,
            Posts::Four(Sense::Right) => 4.0,
            Posts::Four(Sense::Left) => -4.0,
        },
        p.feed_radius.as_m(),
        p.post.as_m(),
    ]
}

fn of_horn(h: &Horn) -> Vec<f64> {
    let mut out = vec![
        match h.aperture {
            Aperture::Te11 => 11.0,
            Aperture::He11 => 12.0,
            Aperture::Measured(_) => 13.0,
        },
        h.radius.as_m(),
        h.outer_radius.as_m(),
        h.front.as_m(),
    ];
    if let Aperture::Measured(p) = &h.aperture {
        for i in 0..=36 {
            for phi in [0.0, 0.5 * std::f64::consts::PI] {
                let e = p.field(std::f64::consts::PI * f64::from(i) / 36.0, phi);
                out.extend([e.theta.re, e.theta.im, e.phi.re, e.phi.im]);
            }
        }
    }
    out
}

/// Sense at the feed; the coil of a feed that only receives is taken as right-handed, which its shadow hardly feels.
fn sense(station: &Station) -> Sense {
    match station.feed.transmit.as_ref().map(|t| t.sense_at_feed) {
        Some(Polarisation::Lhcp) => Sense::Left,
        _ => Sense::Right,
    }
}

fn damaged() -> LinkError {
    LinkError::Missing {
        what: "the computed feed".into(),
        remedy: "what was kept of an earlier run is damaged: empty the folder in which computed feeds are kept".into(),
    }
}

fn radiator_of(station: &Station) -> Result<&Radiator, LinkError> {
    let name = &station.feed.name;
    station
        .feed
        .radiator
        .as_ref()
        .ok_or_else(|| LinkError::Missing {
            what: format!("the dimensions of feed `{name}`"),
            remedy: format!("give [feed.{name}.coil] or [feed.{name}.patch] in the station file"),
        })
}

fn coil_of(station: &Station) -> Result<&CoilFeed, LinkError> {
    station.feed.coil().ok_or_else(|| LinkError::Missing {
        what: format!("the coil of feed `{}`", station.feed.name),
        remedy: format!("give [feed.{}.coil] in the station file", station.feed.name),
    })
}
