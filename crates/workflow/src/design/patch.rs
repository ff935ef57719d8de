//! A patch ring from its dimensions: what it does as transmit feed of this dish, and the lines for the station file.

use super::setting::{passband, sense};
use super::words::mm;
use crate::WorkflowError;
use slantpath_antenna::polarisation::Sense;
use slantpath_link::reflector;
use slantpath_plan::PlanError;
use slantpath_quantity::{
    Answer, Contributor, Decibel, Estimate, Frequency, Length, Unit, Validity, amplitude_from_db,
    amplitude_to_db, show, to_db,
};
use slantpath_report::{Section, Sheet};
use slantpath_station::Station;
use slantpath_wire::WireError;
use slantpath_wire::feed::patch::grid::Posts;
use slantpath_wire::feed::patch::{
    AXIAL_RATIO_MODEL_DB, Cavity, GAIN_MODEL_DB, InnerEdge, PatchMode, PatchRing,
};
use slantpath_wire::feed::uplink::{PatchFeed, Uplink, UplinkFeed};
use slantpath_wire::feed::{after_the_dish, phasing};

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
    let of_wires = feed.validity_at(f).map_err(wire)?;
    let best = |c: &Contributor| c.distribution.mean();
    let (dish, _) =
        reflector(&station.reflector.shape, &best).map_err(slantpath_link::LinkError::from)?;
    let solved = UplinkFeed::Patch(feed)
        .solve_refined(f, dish.half_angle())
        .map_err(wire)?;
    Ok(sheet(station, o, &feed, f, s, &cavity, &solved, &of_wires))
}

/// The patch as the station file describes it. Uncertainties: a compass and a ruler, spacers cut to length (common practice, no
/// source).
fn block(name: &str, feed: &PatchFeed, sense: Sense) -> Vec<String> {
    let ring = &feed.ring;
    let mut out = vec![
        format!("[feed.{name}.patch]"),
        format!("outer = \"{} mm ± 0.5\"  # diameter", mm(ring.outer.as_m())),
        format!("hole = \"{} mm\"  # diameter", mm(ring.inner.as_m())),
        format!(
            "height = \"{} mm ± 0.2\"  # from metal to metal",
            mm(ring.height.as_m())
        ),
        format!(
            "posts = {}  # {}",
            if matches!(feed.posts, Posts::Four(_)) {
                4
            } else {
                2
            },
            phasing(sense)
        ),
        format!("post = \"{} mm\"", mm(feed.post.as_m())),
        format!(
            "post_radius = \"{} mm ± 0.5\"  # from the axis",
            mm(feed.feed_radius.as_m())
        ),
        format!("disc = \"{} mm\"", mm(ring.ground.as_m())),
    ];
    if ring.inner_edge == InnerEdge::Joined {
        out.push("joined = true".into());
    }
    out.push(format!(
        "# and under [feed.{name}.transmit]: sense_after_dish = \"{}\"",
        after_dish(sense)
    ));
    out
}

/// What the dish makes of a sense at the feed, as the station file writes it.
fn after_dish(sense: Sense) -> &'static str {
    match sense {
        Sense::Right => "LHCP",
        Sense::Left => "RHCP",
    }
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
    of_wires: &Validity,
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
    let known = |id: &str, label: &str, unit, v, u| Answer::known(id, label, unit, positive(v, u));
    let z = u.impedance.first().copied().unwrap_or_default();
    let cavity_rows = [
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
    ]
    .into_iter()
    .map(|a| a.with_validity(cavity.validity.clone()))
    .collect();
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
    // the wires know the disc, which the cavity takes as infinite
    let rows = [
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
    ]
    .into_iter()
    .map(|a| a.with_validity(of_wires.clone()))
    .collect();
    out.sections.push(
        Section::new(
            "wires",
            "as a grid of wires over its disc, driven as it is built",
            rows,
        )
        .say(format!(
            "{} posts, {} mm thick, {} mm from the axis, {}.",
            if o.four { "Four" } else { "Two" },
            mm(o.post.as_m()),
            mm(feed.feed_radius.as_m()),
            phasing(s)
        ))
        .say(format!("At the dish: {}.", after_the_dish(s))),
    );
    // the patch's loss stands beside it as `ohmic_loss`
    let (gain_text, gain_u) = show::value_and_u(u.gain.0, u_gain);
    let (ar_text, ar_u) = show::value_and_u(beam_ar, u_ar);
    let mut described = Section::new("paste_dimensions", "for the station file", Vec::new());
    described.block = block(&station.feed.name, feed, s);
    described.text.push(
        "Predictions then follow the dimensions. Figures of the transmit side that are written there go first."
            .into(),
    );
    out.sections.push(described);
    let mut paste = Section::new(
        "paste",
        "or in place of the dimensions, by these figures",
        Vec::new(),
    );
    paste.block = vec![
        format!("[feed.{}.transmit]", station.feed.name),
        format!("bare_gain = \"{gain_text} dBi ± {gain_u}\""),
        format!("sense_after_dish = \"{}\"", after_dish(s)),
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

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_link::{Conditions, Model, computed_feed};
    use slantpath_quantity::Angle;

    /// The printed dimensions in the file give the printed figures, and the dish has the gain that those figures give it.
    #[test]
    fn the_file_takes_what_is_printed() {
        let folder = tempfile::tempdir().expect("a folder");
        crate::demo::write_files(folder.path()).expect("written");
        let camp = std::fs::read_to_string(folder.path().join("qq7bbb.toml")).expect("read");
        let head = &camp[..camp.find("[feed.coil.coil]").expect("a coil")];
        let tail = &camp[camp.find("[feed.coil.receive]").expect("a feed")..];
        let path = folder.path().join("patch.toml");
        let with = |transmit: &str, patch: &[String]| {
            let tail = tail.replace("sense_after_dish = \"LHCP\"\n", transmit);
            let text = format!("{head}{}\n\n{tail}", patch.join("\n"));
            std::fs::write(&path, text).expect("written");
            let loaded = crate::files::load_station(&path).expect("taken");
            loaded.station(None).expect("the base").clone()
        };
        let sense = "sense_after_dish = \"LHCP\"\n";
        let bare = with(&format!("{sense}exponent = 3\n"), &[]);
        let options = PatchOptions {
            outer: Length::mm(70.0),
            inner: Length::mm(22.0),
            height: Length::mm(6.0),
            joined: true,
            four: false,
            feed_radius: Some(Length::mm(21.0)),
            post: Length::mm(3.0),
            disc: Some(Length::mm(112.0)),
            passband: None,
        };
        let sheet = patch_sheet(&bare, &options).expect("solved");
        let section = |key: &str| {
            let found = sheet.sections.iter().find(|s| s.key == key);
            found.expect("there").block.clone()
        };
        let printed = |id: &str| {
            let all = sheet.sections.iter().flat_map(|s| &s.answers);
            let found = all.clone().find(|a| a.measurand == id);
            let e = found.and_then(|a| a.estimate()).expect("known");
            (e.value, e.u)
        };
        let described = with(sense, &section("paste_dimensions"));
        let m = Model::new(&described, &Conditions::default()).expect("a model");
        let elevation = Angle::deg(m.geometry().apparent.elevation_deg);
        let c = computed_feed(&described, elevation).expect("solved");
        let t = c.and_then(|c| c.transmit).expect("a transmit side");
        let near = |what: &str, value: f64, id: &str| {
            let (want, u) = printed(id);
            assert!(
                (value - want).abs() <= u,
                "{what}: {value}, printed {want} ± {u}"
            );
        };
        near("gain", t.gain_dbi.0, "patch.gain");
        near("axial ratio", t.axial_ratio_db.0, "patch.axial_ratio");
        near("phase centre", t.phase_centre_m * 1e3, "patch.phase_centre");
        near("front to back", t.front_to_back_db, "patch.front_to_back");
        near("resistance", t.impedance_ohm.0, "patch.resistance");
        // by figures: a cosine of the same gain lights the dish instead of the solved pattern
        let figures: String = section("paste")[1..].join("\n") + "\n";
        let stated = with(&figures, &[]);
        let stated = Model::new(&stated, &Conditions::default()).expect("a model");
        let gain = |m: &Model| {
            let mut y = vec![0.0; m.outputs().len()];
            m.evaluate(&m.inputs().best(), &mut y);
            let i = m.outputs().iter().position(|o| o.id == "narrow.up.gain");
            // less what differs by what is written of losses
            let losses = m.transmit_losses("narrow").expect("known").expect("sends");
            let taken = |name: &str| losses.iter().find(|l| l.0 == name).map_or(0.0, |l| l.1);
            y[i.expect("an uplink")] + taken("feed loss") + taken("mismatch")
        };
        let (a, b) = (gain(&m), gain(&stated));
        println!("dish: {a:.2} dBi by dimensions, {b:.2} dBi by figures");
        assert!((a - b).abs() < 2.0 * GAIN_MODEL_DB, "{a} {b}");
    }
}
