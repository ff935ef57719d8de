//! A patch ring from its dimensions: what it does as transmit feed of this dish, and the lines for the station file.

use super::setting::{passband, sense};
use super::words::mm;
use crate::WorkflowError;
use slantpath_antenna::polarisation::Sense;
use slantpath_link::reflector;
use slantpath_plan::PlanError;
use slantpath_quantity::{
    Answer, Contributor, Decibel, Estimate, Frequency, Length, Unit, amplitude_from_db,
    amplitude_to_db, show, to_db,
};
use slantpath_report::{Section, Sheet};
use slantpath_station::Station;
use slantpath_wire::WireError;
use slantpath_wire::feed::after_the_dish;
use slantpath_wire::feed::patch::grid::Posts;
use slantpath_wire::feed::patch::{Cavity, InnerEdge, PatchMode, PatchRing};
use slantpath_wire::feed::uplink::{PatchFeed, Uplink, UplinkFeed};

/// Gain of the wire grid: spread between it and the cavity model over seven patches, and tube and edge left out. Own
/// judgement.
const GAIN_MODEL_DB: f64 = 0.4;
/// The same of the axial ratio.
const AXIAL_RATIO_MODEL_DB: f64 = 0.5;

/// What was asked.
#[derive(Debug, Clone)]
pub struct PatchOptions {
    /// Outer diameter.
    pub outer: Length,
    /// Diameter of the hole, 0 for none.
    pub inner: Length,
    /// Height over the ground disc.
    pub height: Length,
    /// The receive feed's tube is soldered to patch and ground.
    pub joined: bool,
    /// Four posts in place of two.
    pub four: bool,
    /// Distance of the posts from the axis; midway between the edges when not given.
    pub feed_radius: Option<Length>,
    /// Diameter of the posts.
    pub post: Length,
    /// Ground disc; 0.9 wavelengths when not given.
    pub disc: Option<Length>,
    /// Passband whose uplink is meant; the first.
    pub passband: Option<String>,
}

/// Solves the patch and writes the sheet.
///
/// # Errors
/// Dimensions that cannot be built, a passband that is not there.
pub fn patch_sheet(station: &Station, o: &PatchOptions) -> Result<Sheet, WorkflowError> {
    let p = passband(station, o.passband.as_deref())?;
    let f = p.uplink.centre();
    let disc = o
        .disc
        .unwrap_or(Length::mm((f.wavelength().as_mm() * 0.9).round()));
    let wire = |e: WireError| WorkflowError::from(PlanError::from(e));
    let edge = if o.joined {
        InnerEdge::Joined
    } else {
        InnerEdge::Open
    };
    let ring = PatchRing::air(o.outer, o.inner, o.height, disc).with_inner_edge(edge);
    let cavity = ring.cavity(PatchMode::Tm11).map_err(wire)?;
    let s = sense(station, p);
    let feed = PatchFeed {
        ring,
        posts: if o.four {
            Posts::Four(s)
        } else {
            Posts::Two(s)
        },
        feed_radius: o
            .feed_radius
            .unwrap_or(Length::m(0.25 * (o.outer + o.inner).as_m())),
        post: o.post,
    };
    let best = |c: &Contributor| c.distribution.mean();
    let (dish, _) =
        reflector(&station.reflector.shape, &best).map_err(slantpath_link::LinkError::from)?;
    let solved = UplinkFeed::Patch(feed)
        .solve_refined(f, dish.half_angle())
        .map_err(wire)?;
    Ok(sheet(station, o, &feed, f, s, &cavity, &solved))
}

/// Axial ratio of a beam that holds the wrong sense at `cross` dB below (negative) the right one.
fn axial_ratio_db(cross: Decibel) -> f64 {
    let x = amplitude_from_db(cross.0.min(0.0)).min(0.999);
    amplitude_to_db((1.0 + x) / (1.0 - x))
}

fn sheet(
    station: &Station,
    o: &PatchOptions,
    feed: &PatchFeed,
    f: Frequency,
    s: Sense,
    cavity: &Cavity,
    u: &Uplink,
) -> Sheet {
    let mut out = Sheet {
        verb: "design".into(),
        title: format!(
            "{}: a patch ring {} / {} mm, {} mm over its disc, at {} GHz",
            station.name,
            mm(o.outer.as_m()),
            mm(o.inner.as_m()),
            mm(o.height.as_m()),
            show::significant(f.as_hz() / 1e9, 4)
        ),
        ..Sheet::default()
    };
    let spread = u.spread;
    let loss_db = -to_db(cavity.efficiency());
    let gain = u.gain.0 - loss_db;
    let u_gain = GAIN_MODEL_DB.hypot(spread.map_or(0.0, |x| x.gain.0));
    let beam_ar = axial_ratio_db(u.cone.cross_polar);
    let u_ar = AXIAL_RATIO_MODEL_DB.hypot(spread.map_or(0.0, |x| x.axial_ratio.0));
    let (rl, u_rl) = u.return_loss(50.0);
    // None of these can be below 0.
    let positive = |v: f64, u: f64| {
        let mut e = Estimate::normal(v, u);
        e.interval.lo = e.interval.lo.max(0.0);
        e
    };
    let known = |id: &str, label: &str, unit, v, u| {
        Answer::known(id, label, unit, positive(v, u)).with_validity(cavity.validity.clone())
    };
    let z = u.impedance.first().copied().unwrap_or_default();
    let cavity_rows = vec![
        known(
            "patch.resonance",
            "resonance",
            Unit::MHz,
            cavity.frequency.as_hz() / 1e6,
            cavity.frequency_u.as_hz() / 1e6,
        ),
        known(
            "patch.q",
            "Q, mostly by radiation",
            Unit::One,
            cavity.q(),
            cavity.q_u(),
        ),
        known(
            "patch.bandwidth",
            "bandwidth for a standing-wave ratio of 2, one post",
            Unit::MHz,
            cavity.bandwidth(2.0).as_hz() / 1e6,
            cavity.bandwidth(2.0).as_hz() / 1e6 * cavity.q_u() / cavity.q().max(1e-9),
        ),
    ];
    // Frequency goes with one over the diameter nearly.
    let by = o.outer.as_m() * (cavity.frequency.as_hz() / f.as_hz() - 1.0);
    let mut first = Section::new("cavity", "as a cavity", cavity_rows);
    if (cavity.frequency.as_hz() - f.as_hz()).abs() > cavity.frequency_u.as_hz() {
        first.text.push(format!(
            "It resonates {} the uplink: about {} mm {} across would put it there.",
            if by > 0.0 { "above" } else { "below" },
            show::fixed(by.abs() * 1e3, 1),
            if by > 0.0 { "more" } else { "less" }
        ));
    } else {
        first
            .text
            .push("It resonates at the uplink as well as the model can tell.".into());
    }
    out.sections.push(first);
    let rows = vec![
        known("patch.gain", "gain on the axis", Unit::Dbi, gain, u_gain),
        known(
            "patch.axial_ratio",
            "axial ratio on the axis",
            Unit::Db,
            u.axial_ratio.0,
            u_ar,
        ),
        known(
            "patch.beam_axial_ratio",
            "axial ratio of what falls on the dish",
            Unit::Db,
            beam_ar,
            u_ar,
        ),
        known(
            "patch.front_to_back",
            "front to back",
            Unit::Db,
            u.front_to_back.0,
            1.0,
        ),
        known(
            "patch.phase_centre",
            "phase centre before the disc",
            Unit::Mm,
            u.phase_centre.z.as_mm(),
            spread.map_or(0.0, |x| x.phase_centre.as_mm()).max(2.0),
        ),
        known(
            "patch.resistance",
            "resistance of a post as driven, ohm",
            Unit::One,
            z.re,
            u.impedance_u(),
        ),
        known(
            "patch.return_loss",
            "return loss of a post against 50 ohm",
            Unit::Db,
            rl.0,
            u_rl.0.max(0.5),
        ),
    ];
    out.sections.push(
        Section::new(
            "wires",
            "as a grid of wires over its disc, driven as it is built",
            rows,
        )
        .say(format!(
            "{} posts, {} mm thick, {} mm from the axis, each 90 degrees after the one before, {}.",
            if o.four { "Four" } else { "Two" },
            mm(o.post.as_m()),
            mm(feed.feed_radius.as_m()),
            match s {
                Sense::Right => "counter-clockwise as seen from the dish",
                Sense::Left => "clockwise as seen from the dish",
            }
        ))
        .say(format!("At the dish: {}.", after_the_dish(s))),
    );
    let after = match s {
        Sense::Right => "LHCP",
        Sense::Left => "RHCP",
    };
    let (gain_text, gain_u) = show::value_and_u(gain, u_gain);
    let (ar_text, ar_u) = show::value_and_u(beam_ar, u_ar);
    let mut paste = Section::new("paste", "for the station file", Vec::new());
    paste.block = vec![
        format!("[feed.{}.transmit]", station.feed.name),
        format!("bare_gain = \"{gain_text} dBi ± {gain_u}\""),
        format!("sense_after_dish = \"{after}\""),
        format!("axial_ratio = \"{ar_text} dB ± {ar_u}\""),
        format!(
            "ohmic_loss = \"{} dB ± 0.05\"  # patch and disc; add the divider's",
            show::fixed(loss_db, 2)
        ),
        format!(
            "focus_error = \"0 mm ± 4\"  # with the focus {} mm before the disc",
            show::fixed(u.phase_centre.z.as_mm(), 0)
        ),
    ];
    out.sections.push(paste);
    out.because.push(
        "Most of the gain's uncertainty is the model's own: no measured plate stands behind it."
            .into(),
    );
    out.next_measurement = Some(
        "Measure the match of the built patch at its plug, dry and wet, and name the files as s11 and s11_wet: they go before \
         anything computed."
            .into(),
    );
    out.cautions.push(
        "Match the patch by measurement before it gets power; transmitter off and its supply disconnected while hands are at the feed."
            .into(),
    );
    out
}
