//! Drawings of dish and feed: sections to scale, patterns, purity, currents, shadow and efficiency.
//!
//! What cannot be drawn is left out: a drawing takes no report away.

mod curves;
mod feed;
mod section;

pub use feed::{FeedOutline, UplinkOutline, feed_section};
pub use section::dish_section;

use slantpath_antenna::polarisation::Sense;
use slantpath_link::{Model, mounted_receive, mounted_transmit};
use slantpath_quantity::{Angle, Contributor, Length};
use slantpath_report::Figure;
use slantpath_report::figure::{Stack, efficiency_stack};
use slantpath_station::Station;
use slantpath_station::checked::{Polarisation, Radiator};

/// Everything that can be drawn of a station's dish and feed. A feed by its dimensions has more to show.
pub fn of_station(station: &Station, model: &Model) -> Vec<Figure> {
    let elevation = Angle::deg(model.geometry().apparent.elevation_deg);
    let Some(passband) = station.satellite.passbands.first() else {
        return Vec::new();
    };
    let (down, up) = (passband.downlink.centre(), passband.uplink.centre());
    let Ok(receive) = mounted_receive(station, down, elevation) else {
        return Vec::new();
    };
    let transmit = mounted_transmit(station, up, elevation).ok().flatten();
    let outline = outline(station, transmit.as_ref().map(|t| t.placement.axial));
    let mut out = vec![dish_section(
        &receive.reflector,
        outline.as_ref(),
        elevation,
        receive.stand.arm,
    )];
    if let Some(o) = &outline {
        out.push(feed_section(o));
    }
    out.extend(stack(model, &passband.name));
    out.extend(curves::dish_cuts(&receive, transmit.as_ref()));
    out.extend(curves::of_radiator(
        station,
        model,
        transmit.as_ref(),
        up,
        down,
    ));
    out
}

/// Sense for which the coil is wound or the patch driven; that of a feed which only receives is taken as right-handed.
fn sense(station: &Station) -> Sense {
    match station.feed.transmit.as_ref().map(|t| t.sense_at_feed) {
        Some(Polarisation::Lhcp) => Sense::Left,
        _ => Sense::Right,
    }
}

/// The feed's outline, when it is described by its dimensions.
fn outline(station: &Station, disc_at: Option<Length>) -> Option<FeedOutline> {
    let best = |c: &Contributor| c.distribution.mean();
    let r = station.feed.radiator.as_ref()?;
    Some(FeedOutline {
        radiator: Some(match r {
            Radiator::Coil(c) => UplinkOutline::Coil(c.coil(sense(station), &best)),
            Radiator::Patch(p) => UplinkOutline::Patch(p.patch(sense(station), &best)),
        }),
        horn: station.feed.horn.as_ref().and_then(|h| h.horn(&best)),
        disc: r.disc(),
        disc_at: disc_at.unwrap_or(Length::m(0.0)),
    })
}

fn stack(model: &Model, passband: &str) -> Option<Figure> {
    let band = |label: &str, parts: Vec<(&'static str, f64)>| Stack {
        label: label.to_string(),
        parts: parts.into_iter().map(|(n, v)| (n.to_string(), v)).collect(),
    };
    let mut bands = vec![band("receive", model.receive_losses(passband).ok()?)];
    if let Ok(Some(t)) = model.transmit_losses(passband) {
        bands.push(band("transmit", t));
    }
    Some(Figure {
        key: "efficiency_stack".into(),
        caption: "What the ideal gain of the aperture loses on its way to the feed's port, part by part, at the best estimates."
            .into(),
        svg: efficiency_stack("Losses of dish and feed", &bands),
    })
}
