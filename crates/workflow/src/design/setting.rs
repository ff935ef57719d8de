//! From a station to what a search needs.

use super::DesignOptions;
use crate::WorkflowError;
use slantpath_antenna::dish::Stand;
use slantpath_antenna::polarisation::Sense;
use slantpath_link::{Conditions, Group, Model, arm, mounted_receive, reflector};
use slantpath_plan::design::{ReceiveNoise, Setting, Space};
use slantpath_quantity::{Angle, Contributor, Length, from_db};
use slantpath_station::Station;
use slantpath_station::checked::{Passband, Polarisation, Radiator};
use slantpath_wire::feed::{Aperture, Horn};

/// A receive feed given beside the station file.
#[derive(Debug, Clone, PartialEq)]
pub struct HornChoice {
    /// Field in its aperture.
    pub aperture: Aperture,
    /// Radius of the aperture, inside.
    pub radius: Length,
    /// Radius of its metal, outside.
    pub outer_radius: Length,
}

/// For what the receive figures hold.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// The branch whose noise was taken.
    pub branch: String,
    /// The passband.
    pub passband: String,
    /// System noise temperature without the coil, K, at the feed's port.
    pub system_k: f64,
}

fn best(c: &Contributor) -> f64 {
    c.distribution.mean()
}

/// The setting, the usual space about its wavelength, and what the receive figures hold for.
pub(super) fn setting(
    station: &Station,
    o: &DesignOptions,
) -> Result<(Setting, Space, Heard), WorkflowError> {
    let p = passband(station, o.passband.as_deref())?;
    let (uplink, downlink) = (p.uplink.centre(), p.downlink.centre());
    let horn = horn(station, o)?;
    let sense = sense(station, p);
    let disc = o
        .disc
        .or(station.feed.radiator.as_ref().map(Radiator::disc))
        .unwrap_or(Length::mm((uplink.wavelength().as_mm() * 0.8).round()));
    let (dish, _) =
        reflector(&station.reflector.shape, &best).map_err(slantpath_link::LinkError::from)?;
    let model = Model::new(&bare(station), &Conditions::default())?;
    let stand = Stand {
        elevation: Angle::deg(model.geometry().apparent.elevation_deg),
        arm: arm(station.reflector.feed_arm),
    };
    let (noise, heard) = noise(station, &model, p, stand.elevation)?;
    Ok((
        Setting {
            dish,
            stand,
            horn,
            disc,
            uplink,
            downlink,
            noise,
        },
        Space::around(uplink.wavelength(), sense),
        heard,
    ))
}

/// The station's receive side without a computed shadow: its noise needs no coil to be solved.
fn bare(station: &Station) -> Station {
    let mut s = station.clone();
    s.feed.transmit = None;
    s.feed.radiator = None;
    s.feed.receive.shadow.from_coil = false;
    s
}

pub(super) fn passband<'a>(
    station: &'a Station,
    name: Option<&str>,
) -> Result<&'a Passband, WorkflowError> {
    let all = &station.satellite.passbands;
    match name {
        None => all.first(),
        Some(n) => all.iter().find(|p| p.name == n),
    }
    .ok_or_else(|| {
        let known: Vec<&str> = all.iter().map(|p| p.name.as_str()).collect();
        WorkflowError::argument(
            format!("there is no passband `{}`", name.unwrap_or_default()),
            format!("the satellite has: {}", known.join(", ")),
        )
    })
}

fn horn(station: &Station, o: &DesignOptions) -> Result<Horn, WorkflowError> {
    if let Some(h) = &o.horn {
        return Ok(Horn {
            aperture: h.aperture.clone(),
            radius: h.radius,
            outer_radius: h.outer_radius,
            front: Length::m(0.0),
        });
    }
    let name = &station.feed.name;
    station
        .feed
        .horn
        .as_ref()
        .and_then(|h| h.horn(&best))
        .ok_or_else(|| {
            WorkflowError::argument(
                format!("feed `{name}` does not say what its receive feed is"),
                format!("describe it as [feed.{name}.horn] in the station file, or give for example --horn te11 --horn-radius 10"),
            )
        })
}

/// Sense at the feed that makes the satellite's: the dish turns it round. What the station file says of its feed goes first.
pub(super) fn sense(station: &Station, p: &Passband) -> Sense {
    let at_feed = station
        .feed
        .transmit
        .as_ref()
        .map_or(p.uplink_polarisation.opposite(), |t| t.sense_at_feed);
    match at_feed {
        Polarisation::Lhcp => Sense::Left,
        _ => Sense::Right,
    }
}

/// Noise of the first branch that hears the passband, the shadow of the station's own coil taken out.
fn noise(
    station: &Station,
    model: &Model,
    p: &Passband,
    elevation: Angle,
) -> Result<(ReceiveNoise, Heard), WorkflowError> {
    let x = model.inputs().best();
    let mut values = vec![0.0; model.outputs().len()];
    model.evaluate(&x, &mut values);
    let lines: Vec<_> = model
        .outputs()
        .iter()
        .zip(&values)
        .filter(|(m, _)| {
            m.group == Group::Ledger
                && m.passband.as_deref() == Some(&p.name)
                && !m.id.contains("ledger.satellite")
        })
        .collect();
    let branch = lines
        .iter()
        .find_map(|(m, _)| m.branch.clone())
        .ok_or_else(|| {
            WorkflowError::argument(
                format!("no branch of the station hears passband `{}`", p.name),
                "name another with --passband, or correct the receive chain",
            )
        })?;
    let of_branch = || {
        lines
            .iter()
            .filter(|(m, _)| m.branch.as_deref() == Some(&branch))
    };
    let sum: f64 = of_branch()
        .filter(|(m, _)| !m.id.contains("ledger.antenna.shadow"))
        .map(|(_, k)| **k)
        .sum();
    let beam: f64 = of_branch()
        .filter(|(m, _)| m.id.contains("ledger.antenna.main-beam"))
        .map(|(_, k)| **k)
        .sum();
    let through = from_db(-best(&station.feed.receive.ohmic_loss).max(0.0));
    let spilled = mounted_receive(station, p.downlink.centre(), elevation)?
        .solve()
        .map_err(slantpath_link::LinkError::from)?
        .spill()
        .total();
    let beam_k = (beam / (through * (1.0 - spilled).max(0.1))).clamp(2.7, 300.0);
    Ok((
        ReceiveNoise {
            system_k: sum,
            through,
            ground_k: best(&station.site.ground_temperature),
            beam_k,
        },
        Heard {
            branch,
            passband: p.name.clone(),
            system_k: sum,
        },
    ))
}
