//! The plan of each passband: protection, limits, the best drive.

use super::plant::{Plant, current_of, heat_of, plant};
use super::{DriveOptions, falling, falling_words, load_ramp};
use crate::WorkflowError;
use crate::predict::Predicted;
use slantpath_chain::amplifier::{Cubic, Curve, RappFit, fit_rapp};
use slantpath_plan::Known;
use slantpath_plan::PlanError;
use slantpath_plan::drive::{
    Advice, Bound, Ceiling, Chain, Goal, Probe, Reception, ShoulderWindow, Speech, Waveform, best,
    drive_for_output,
};
use slantpath_plan::neighbour::Rule;
use slantpath_plan::protection::{Protection, open_load, protection};
use slantpath_quantity::{from_db, to_db};
use slantpath_station::Station;
use slantpath_station::checked::{PartKind, Passband, PassbandUse, Segment};
use slantpath_waveform::{FecFrame, Frame, modcod};

/// The plan of one passband.
#[derive(Debug)]
pub struct SegmentPlan {
    /// Passband.
    pub passband: String,
    /// What is sent, in words.
    pub sends: String,
    /// Symbol rate, Bd.
    pub rate: Option<f64>,
    /// Share of the time on the air.
    pub duty: f64,
    /// Chain.
    pub chain: Chain,
    /// The waveform.
    pub waveform: Waveform,
    /// Level out of the amplifier as the station file states it, dBm.
    pub stated_dbm: Known,
    /// What comes out there; `None` when the transmitter cannot reach it.
    pub stated: Option<Probe>,
    /// Dangers.
    pub protection: Protection,
    /// What a total reflection would do.
    pub open: Vec<slantpath_chain::level::Danger>,
    /// Everything that limits the output.
    pub ceilings: Vec<(Ceiling, f64)>,
    /// The advice, or why there is none.
    pub advice: Result<Advice, String>,
    /// Standard uncertainty of the advised output, dB.
    pub u_out_db: f64,
    /// Receivers.
    pub receivers: Vec<Reception>,
    /// Goal.
    pub goal: Goal,
    /// Rule, with the symbol rates in use.
    pub rule: Option<Rule>,
    /// Own downlink against the beacon at the stated level, dB.
    pub against_beacon: Option<Known>,
    /// EIRP at the stated level, dBW.
    pub eirp_dbw: Option<Known>,
    /// A fitted ramp.
    pub ramp: Option<RappFit>,
    /// Largest mean output of the transmitter for this waveform, dBm.
    pub max_drive_dbm: f64,
    /// What to say.
    pub notes: Vec<String>,
}

/// Plans of every passband, and of the plant that feeds and cools them.
#[derive(Debug)]
pub struct Planned {
    /// Passbands.
    pub segments: Vec<SegmentPlan>,
    /// Cooling and supply.
    pub plant: Plant,
}

fn none(what: &str, remedy: &str) -> WorkflowError {
    WorkflowError::argument(what, remedy)
}

/// Plans the transmit side.
///
/// # Errors
/// No transmit side, a passband that is not used, files that cannot be read, figures that cannot be.
pub fn planned(
    station: &Station,
    p: &Predicted,
    o: &DriveOptions,
) -> Result<Planned, WorkflowError> {
    let transmit = station.transmit.as_ref().ok_or_else(|| {
        none(
            "the station does not transmit",
            "describe `[transmit]` with its chain and a table for each passband in use",
        )
    })?;
    let mut falls = Vec::new();
    let ramp = match &o.ramp {
        None => None,
        Some(path) => {
            let steps = load_ramp(path)?;
            falls = falling(&steps).iter().map(falling_words).collect();
            // A fit that fails over such a step does not say so.
            match (fit_rapp(&steps), falls.first()) {
                (Ok(fit), _) => Some(fit),
                (Err(e), Some(fall)) => {
                    return Err(none(
                        &format!("the drive ramp cannot be fitted ({e})"),
                        fall,
                    ));
                }
                (Err(e), None) => return Err(PlanError::from(e).into()),
            }
        }
    };
    let plant = plant(station, o)?;
    let mut segments = Vec::new();
    for passband in &station.satellite.passbands {
        if o.passband.as_ref().is_some_and(|n| *n != passband.name) {
            continue;
        }
        if let Some(s) = transmit.segment(&passband.name) {
            let mut planned = segment(station, p, passband, s, o, ramp.as_ref(), &plant)?;
            planned.notes.splice(0..0, falls.iter().cloned());
            segments.push(planned);
        }
    }
    if segments.is_empty() {
        return Err(none(
            "no passband to plan for",
            "write a table such as `[transmit.wide]` with `mode` and `power`, or name one of its passbands",
        ));
    }
    Ok(Planned { segments, plant })
}

fn known(p: &Predicted, id: &str) -> Option<Known> {
    let e = p.prediction.answer(id)?.estimate()?;
    Some(Known::new(e.value, e.u))
}

/// The waveform that a mode's name stands for, with its words.
fn waveform(
    s: &Segment,
    passband: &Passband,
    o: &DriveOptions,
    notes: &mut Vec<String>,
) -> Result<(Waveform, String, Option<f64>), WorkflowError> {
    let written = s.mode.clone().unwrap_or_default();
    let upper = written.to_uppercase();
    if let Some(m) = modcod(&upper) {
        let rolloff = s.rolloff.unwrap_or_else(|| {
            notes.push("No `rolloff` is written: 0.20 is taken.".into());
            0.20
        });
        let frame = Frame {
            modcod: m.number,
            fecframe: FecFrame::Normal,
            pilots: true,
        };
        let w = Waveform::dvb_s2(frame, rolloff, o.seed)?;
        let name = format!("{} {}, roll-off {rolloff}", m.modulation.name(), m.rate);
        return Ok((w, name, Some(m.es_n0_db)));
    }
    let words: Vec<&str> = upper.split_whitespace().collect();
    let has = |list: &[&str]| words.iter().any(|w| list.contains(w));
    if has(&["SSB", "USB", "LSB", "VOICE"])
        || (written.is_empty() && passband.usage == PassbandUse::Narrow)
    {
        let speech = if o.processed {
            Speech::Processed
        } else {
            Speech::Unprocessed
        };
        let name = match speech {
            Speech::Processed => "speech on single sideband, compressed",
            Speech::Unprocessed => "speech on single sideband",
        };
        return Ok((Waveform::speech(speech, o.seed), name.into(), None));
    }
    if has(&["TWO-TONE", "TWOTONE"]) {
        return Ok((Waveform::two_tone(), "two equal tones".into(), None));
    }
    if !has(&["CW", "FM", "CARRIER", "RTTY", "PSK"]) {
        notes.push(format!(
            "The mode `{written}` has no waveform here: a steady carrier is taken, which shows no shoulders. Write a MODCOD \
             such as `8PSK 3/5`, or `ssb`."
        ));
    }
    Ok((Waveform::carrier(), "a steady carrier".into(), None))
}

#[allow(clippy::too_many_lines)]
fn segment(
    station: &Station,
    p: &Predicted,
    passband: &Passband,
    s: &Segment,
    o: &DriveOptions,
    ramp: Option<&RappFit>,
    plant: &Plant,
) -> Result<SegmentPlan, WorkflowError> {
    let name = &passband.name;
    let x = p.model.inputs().best();
    let chain_at = |x: &[f64]| -> Result<Chain, WorkflowError> {
        let line = p.model.transmit_line(name, x)?.ok_or_else(|| {
            none(
                &format!("the station does not transmit in {name}"),
                "describe a transmit feed and `[transmit.PASSBAND]`",
            )
        })?;
        let chain = Chain::new(line)?;
        Ok(match ramp {
            Some(r) => chain.with_amplifier(Curve::Rapp(r.model)),
            None => chain,
        })
    };
    let chain = chain_at(&x)?;
    let mut notes = Vec::new();
    let (waveform, sends, threshold) = waveform(s, passband, o, &mut notes)?;
    let crest = waveform.planning_crest_db();
    let duty = s.duty.distribution.mean();
    let source = station
        .transmit
        .as_ref()
        .and_then(|t| t.chain.first())
        .and_then(|part| match &part.kind {
            PartKind::Transmitter(t) => Some(t.clone()),
            _ => None,
        })
        .ok_or_else(|| none("the transmit chain has no transmitter", "begin it with one"))?;
    let max = source.max_power.distribution;
    let peak_dbm = max.mean() + 30.0;
    // Protection counts with what the source may give at the upper end of what is known of it.
    let reach_dbm = peak_dbm + 2.0 * max.u();
    let return_loss = station
        .feed
        .transmit
        .as_ref()
        .map_or(0.0, |t| t.return_loss.distribution.mean());
    let protection = protection(chain.stages(), reach_dbm, return_loss)?;
    let open = open_load(chain.stages(), reach_dbm)?;

    let amplifier = chain.amplifier().label.clone();
    let after = chain
        .amplifier()
        .id
        .as_str()
        .trim_start_matches("tx.")
        .to_string();
    let stated_dbm = known(p, &format!("{name}.up.after.{after}"))
        .map(|k| Known::new(k.value + 30.0, k.u))
        .ok_or_else(|| {
            none(
                "the level behind the amplifier is not known",
                "state `power` or `drive`",
            )
        })?;
    let max_drive_dbm = peak_dbm - crest;
    let window = o.window.map_or_else(
        || ShoulderWindow::beside(waveform.kind()),
        |(offset, width)| ShoulderWindow { offset, width },
    );
    let stated = drive_for_output(&chain, &waveform, stated_dbm.value, max_drive_dbm)?
        .map(|d| Probe::at(&chain, &waveform, d, window))
        .transpose()?;
    if stated.is_none() {
        notes.push(format!(
            "The {:.1} dBm stated behind the {amplifier} cannot be reached: the transmitter gives {peak_dbm:.1} dBm at its \
             peaks.",
            stated_dbm.value
        ));
    }

    // What limits the output besides shoulders.
    let against_beacon = known(p, &format!("{name}.own.against_beacon"));
    let beacon_rate = passband
        .reference_beacon()
        .and_then(|b| b.kind.symbol_rate());
    let rule = passband.rule.as_ref().and_then(|r| match passband.usage {
        PassbandUse::Narrow => Some(Rule::Peak {
            limit_db: r.limit_db,
        }),
        PassbandUse::Wide => beacon_rate.map(|beacon_rate| Rule::Density {
            limit_db: r.limit_db,
            beacon_rate,
        }),
    });
    let mut ceilings: Vec<(Ceiling, f64)> = Vec::new();
    match (&rule, against_beacon) {
        (Some(rule), Some(b)) => match rule.allowed_db(crest, s.symbol_rate) {
            Ok(allowed) => ceilings.push((
                Ceiling {
                    what: "the satellite's operating rule".into(),
                    out_dbm: stated_dbm.value + allowed - b.value,
                },
                b.u,
            )),
            Err(e) => notes.push(format!("The operating rule could not be applied: {e}.")),
        },
        _ => {
            notes.push("The satellite file states no rule (or no beacon) for this passband.".into())
        }
    }
    let pa = station
        .transmit
        .as_ref()
        .and_then(|t| t.power_amplifier())
        .map(|(_, part)| part);
    if let Some(PartKind::Amplifier(a)) = pa.map(|part| &part.kind)
        && let Some(m) = &a.max_mean_power
    {
        let mean = m.distribution.mean() + 30.0 - to_db(duty.max(1e-3));
        ceilings.push((
            Ceiling {
                what: format!("the mean power that the {amplifier} stands"),
                out_dbm: mean,
            },
            m.distribution.u(),
        ));
    }
    let top = chain.amplifier().curve.saturation_dbm();
    if let Some((c, u)) = heat_of(plant, &waveform, duty, top) {
        ceilings.push((c, u));
    }
    if let Some((c, u)) = current_of(plant, &waveform, top) {
        ceilings.push((c, u));
    }
    let receivers = receivers(p, passband, s, o, &source, stated_dbm.value);
    let goal = Goal {
        shoulder_dbc: o.shoulder_dbc,
        window,
        need_db: threshold.map(|t| t + o.implementation_db),
    };
    let limits: Vec<Ceiling> = ceilings.iter().map(|c| c.0.clone()).collect();
    let find = |chain: &Chain| best(chain, &waveform, &goal, &receivers, &limits, max_drive_dbm);
    // Nothing is advised while something can be broken.
    let (advice, u_out_db) = if protection.dangers.is_empty() {
        match find(&chain) {
            Err(e) => (Err(e.to_string()), 0.0),
            Ok(a) => {
                let u = match &a.bound {
                    Bound::Ceiling(w) => ceilings
                        .iter()
                        .find(|c| c.0.what == *w)
                        .map_or(0.0, |c| c.1),
                    Bound::Transmitter => max.u(),
                    Bound::Shoulders | Bound::Margin => {
                        curve_u(p, &x, &after, &chain_at, &find, &a, ramp)?
                    }
                };
                (Ok(a), u)
            }
        }
    } else {
        (
            Err("nothing is advised until the dangers above are removed".into()),
            0.0,
        )
    };
    Ok(SegmentPlan {
        passband: name.clone(),
        sends,
        rate: s.symbol_rate,
        duty,
        chain,
        waveform,
        stated_dbm,
        stated,
        protection,
        open,
        ceilings,
        advice,
        u_out_db,
        receivers,
        goal,
        rule,
        against_beacon,
        eirp_dbw: known(p, &format!("{name}.own.eirp")),
        ramp: ramp.cloned(),
        max_drive_dbm,
        notes,
    })
}

/// How much the advised output moves with what is known of the amplifier's curve: one standard uncertainty of each figure
/// in turn (GUM 5.1.2).
fn curve_u(
    p: &Predicted,
    x: &[f64],
    part: &str,
    chain_at: &dyn Fn(&[f64]) -> Result<Chain, WorkflowError>,
    find: &dyn Fn(&Chain) -> slantpath_plan::Result<Advice>,
    base: &Advice,
    ramp: Option<&RappFit>,
) -> Result<f64, WorkflowError> {
    if let Some(r) = ramp {
        return Ok(r.p1db().map_or(r.u_saturation_db, |(_, u)| u));
    }
    let mut var = 0.0;
    for field in ["p1db", "psat", "smoothness"] {
        let Some(slot) = p.model.inputs().find(&format!("tx.{part}.{field}")) else {
            continue;
        };
        let Some(u) = p
            .model
            .inputs()
            .contributors()
            .get(slot.index())
            .map(|c| c.distribution.u())
            .filter(|u| *u > 0.0)
        else {
            continue;
        };
        let mut moved = x.to_vec();
        if let Some(v) = moved.get_mut(slot.index()) {
            *v += u;
        }
        if let Ok(a) = find(&chain_at(&moved)?) {
            var += (a.probe.out_dbm - base.probe.out_dbm).powi(2);
        }
    }
    Ok(var.sqrt())
}

/// Every branch of the station as a receiver, and others by their G/T.
fn receivers(
    p: &Predicted,
    passband: &Passband,
    s: &Segment,
    o: &DriveOptions,
    source: &slantpath_station::checked::Transmitter,
    at_dbm: f64,
) -> Vec<Reception> {
    let name = &passband.name;
    let mut out = Vec::new();
    let (Some(up), Some(rate)) = (known(p, &format!("{name}.own.cn0_up")), s.symbol_rate) else {
        return out;
    };
    let source_mer_db = source
        .own_mer
        .as_ref()
        .map_or(f64::INFINITY, |m| m.distribution.mean());
    let satellite_db = up.value - to_db(rate);
    let intermodulation_db = intermodulation(passband, up.value, rate);
    let mut own: Option<(f64, f64)> = None;
    for m in &p.prediction.measurands {
        let (Some(branch), true) = (&m.branch, m.passband.as_deref() == Some(name)) else {
            continue;
        };
        if m.id != format!("{name}.own.cn0@{branch}") {
            continue;
        }
        let Some(total) = known(p, &m.id) else {
            continue;
        };
        // What the satellite's noise does not explain is the station's.
        let station = from_db(-total.value) - from_db(-up.value);
        let station_db = if station > 0.0 {
            -to_db(station) - to_db(rate)
        } else {
            f64::INFINITY
        };
        if let Some(gt) = known(p, &format!("{name}.g_over_t@{branch}")) {
            own.get_or_insert((station_db, gt.value));
        }
        out.push(Reception {
            receiver: format!("branch {branch}"),
            at_dbm,
            satellite_db,
            station_db,
            intermodulation_db,
            source_mer_db,
        });
    }
    if let Some((station_db, g_over_t)) = own {
        for (receiver, gt) in &o.receivers {
            out.push(Reception {
                receiver: receiver.clone(),
                at_dbm,
                satellite_db,
                station_db: station_db + gt - g_over_t,
                intermodulation_db,
                source_mer_db,
            });
        }
    }
    out
}

/// Ratio of the own signal to the transponder's intermodulation in the symbol-rate bandwidth, dB: the cubic model of the
/// saturated EIRP, loaded by the beacons and the own signal as by noise. An estimate: other carriers are not known.
fn intermodulation(passband: &Passband, cn0_up_db: f64, rate: f64) -> f64 {
    let own_dbw = passband.noise_density.distribution.mean() + cn0_up_db;
    let carriers: f64 = passband
        .beacons
        .iter()
        .map(|b| from_db(b.eirp.distribution.mean()))
        .sum();
    let total_dbw = to_db(carriers + from_db(own_dbw));
    let Ok(cubic) = Cubic::of_saturation(0.0, passband.saturated_eirp.distribution.mean()) else {
        return f64::INFINITY;
    };
    let density = total_dbw - cubic.noise_loading_db(total_dbw) + to_db(0.75)
        - to_db(passband.downlink.width().as_hz());
    own_dbw - (density + to_db(rate))
}
