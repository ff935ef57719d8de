//! What was computed of a feed described by its dimensions, in sentences.

use slantpath_link::{
    ComputedResonance, ComputedShadow, ComputedTransmit, Model, computed_feed, mounted_receive,
};
use slantpath_quantity::{Angle, show, to_db};
use slantpath_report::Section;
use slantpath_station::Station;
use slantpath_station::checked::{FeedPattern, HornKind, Matching, Radiator, TransmitFeed};

/// On-axis loss this far from the dish's is told.
const PROXY_DB: f64 = 0.3;

/// A section, when something of the feed is computed. Its figures were solved for the model already.
pub(super) fn computed(station: &Station, model: &Model) -> Option<Section> {
    let elevation = Angle::deg(model.geometry().apparent.elevation_deg);
    let c = computed_feed(station, elevation).ok().flatten();
    let horn = from_horn(station, elevation);
    if c.is_none() && horn.is_none() {
        return None;
    }
    let mut s = Section::new(
        "computed_feed",
        format!("feed `{}`, computed from its dimensions", station.feed.name),
        Vec::new(),
    );
    s.text.extend(horn);
    let Some(c) = c else {
        return Some(s);
    };
    if let Some((t, r)) = c.transmit.as_ref().zip(station.feed.radiator.as_ref()) {
        s.text.extend(transmit(t, r.name()));
    }
    if let Some(t) = c.transmit.as_ref().zip(station.feed.transmit.as_ref()) {
        s.text.extend(matched(t.1));
    }
    s.text.extend(c.receive.iter().flat_map(receive));
    s.text.push(format!(
        "± is the standard uncertainty of the model alone; the uncertain dimensions are among the contributors of every answer \
         above. Not in the model: {}.",
        match station.feed.radiator {
            Some(Radiator::Patch(_)) => "the divider that drives the posts, plastic, a tube through an open hole",
            _ => "matching strip, plastic, the horn's inside",
        }
    ));
    Some(s)
}

/// What follows from the receive feed's aperture, when its pattern does.
fn from_horn(station: &Station, elevation: Angle) -> Option<String> {
    let (FeedPattern::FromHorn { error }, Some(horn), Some(p)) = (
        &station.feed.receive.pattern,
        &station.feed.horn,
        station.satellite.passbands.first(),
    ) else {
        return None;
    };
    let m = mounted_receive(station, p.downlink.centre(), elevation).ok()?;
    let cone = m.reflector.half_angle();
    let axis = m.pattern.co_polar(0.0, 0.0).norm();
    // mean power of both planes
    let down = |phi: f64| (m.pattern.co_polar(cone.as_rad(), phi).norm() / axis).powi(2);
    let edge = to_db(0.5 * (down(0.0) + down(std::f64::consts::FRAC_PI_2)));
    let (v, u) = show::value_and_u(
        edge,
        error.distribution.u() * (-edge / 10.0).clamp(0.0, 1.0),
    );
    Some(format!(
        "Receive pattern from the aperture ({}, {} mm across): {v} ± {u} dB at {} deg, where the dish ends.",
        match horn.kind {
            HornKind::Te11 => "open waveguide",
            HornKind::He11 => "scalar horn",
            HornKind::Measured => "as measured",
        },
        show::significant(2e3 * horn.radius.as_m(), 3),
        show::fixed(cone.as_deg(), 0),
    ))
}

fn pm(value: (f64, f64)) -> String {
    let (v, u) = show::value_and_u(value.0, value.1);
    format!("{v} ± {u}")
}

/// `what`: coil or patch.
fn transmit(t: &ComputedTransmit, what: &str) -> Vec<String> {
    let (re, im, u) = t.impedance_ohm;
    let (place, making) = match &t.resonance {
        None => ("the foot of the coil", "Winding"),
        Some(_) => ("a post of the patch as driven", "Posts"),
    };
    let mut out = vec![
        format!(
            "Transmit, {} GHz: gain of the bare {what} {} dBi, axial ratio {} dB on its axis and up to {} dB over the cone under \
             which it sees the dish, phase centre {} mm before the disc, front to back {} dB.",
            show::significant(t.frequency.as_hz() / 1e9, 3),
            pm(t.gain_dbi),
            pm(t.axial_ratio_db),
            show::significant(t.cone_axial_ratio_db, 2),
            show::fixed(t.phase_centre_m * 1e3, 0),
            show::fixed(t.front_to_back_db, 0),
        ),
        format!(
            "Impedance at {place}: {} {} j{} ohm, known to ± {} ohm: match it by measurement.",
            show::significant(re, 2),
            if im < 0.0 { "-" } else { "+" },
            show::significant(im.abs(), 2),
            show::significant(u, 1),
        ),
        format!("{making}: {}; {}.", t.making, t.after_the_dish),
    ];
    out.extend(t.resonance.as_ref().map(|r| resonance(r, t)));
    out
}

fn resonance(r: &ComputedResonance, t: &ComputedTransmit) -> String {
    let (f, u) = show::value_and_u(r.frequency.as_hz() / 1e6, r.u.as_hz() / 1e6);
    let off = (r.frequency.as_hz() - t.frequency.as_hz()) / 1e6;
    let mut out = format!(
        "As a cavity the patch resonates at {f} ± {u} MHz with a Q of {}, {} MHz {} the uplink.",
        show::significant(r.q, 2),
        show::fixed(off.abs(), 0),
        if off > 0.0 { "above" } else { "below" },
    );
    if !r.validity.is_inside() {
        out.push_str(&format!(
            " The cavity model is outside of its range: {}.",
            r.validity.reasons().join("; ")
        ));
    }
    out
}

/// What stands for the match in the budget.
fn matched(t: &TransmitFeed) -> Option<String> {
    match &t.matching {
        Matching::Measured { dry, wet } => Some(format!(
            "The match in the budget is your own measurement, `{}`{}; the computed impedance is not used.",
            dry.file,
            wet.as_ref()
                .map(|w| format!(" (in weather `{}`)", w.file))
                .unwrap_or_default()
        )),
        Matching::FromDimensions => Some(format!(
            "The match in the budget is that of this impedance on {} ohm, without a matching strip: measure it and name the file \
             as `s11`, or write `return_loss`.",
            show::significant(t.line_ohm, 3)
        )),
        Matching::Written => None,
    }
}

fn receive(s: &ComputedShadow) -> Vec<String> {
    let mm = s.refocus_m * 1e3;
    let cross = if s.cross_polar_db < -30.0 {
        "below -30 dB, where the model cannot tell".to_string()
    } else {
        format!("{} dB", show::fixed(s.cross_polar_db, 0))
    };
    let mut out = vec![format!(
        "Receive, {} GHz: the coil takes {} dB of the dish's signal with the feed refocused, {} dB without; refocused means {} \
         mm {} the dish. Of the lost rays {} % end on the ground. Cross-polar on the beam's axis {cross}.",
        show::significant(s.frequency.as_hz() / 1e9, 3),
        pm(s.loss_db),
        show::fixed(s.unfocused_db, 1),
        show::fixed(mm.abs(), 0),
        if mm > 0.0 { "towards" } else { "away from" },
        show::fixed(100.0 * s.to_ground, 0),
    )];
    if (s.on_axis_db - s.loss_db.0).abs() > PROXY_DB {
        out.push(format!(
            "On the feed's own axis the coil takes {} dB: that is not what the dish loses.",
            show::fixed(s.on_axis_db, 1)
        ));
    }
    out
}
