//! Whether the parts fit together: frequencies, volts, senses.

use super::chain::Marks;
use super::desk::Desk;
use crate::checked::{Branch, FeedPattern, LnbPolarisation, PartKind, Polarisation, Station};
use crate::dc;
use crate::reach::{self, reach};
use slantpath_chain::dc::{Finding, Report};
use slantpath_input::{Place, Problem};

/// Checks a station that was read without errors. Fills what its branches receive where that is not written.
pub(crate) fn check(desk: &mut Desk, station: &mut Station, marks: &Marks, feed: &Place) {
    frequencies(desk, station, marks);
    ahead_of_lnb(desk, station, marks);
    fixed_polarisation(desk, station, marks);
    volts(desk, station, marks);
    sense(desk, station, feed);
    coil(desk, station, feed);
    patch(desk, station, feed);
}

fn place(marks: &Marks, branch: &str) -> Option<Place> {
    marks.branches.get(branch).cloned()
}

fn at(p: Problem, place: Option<Place>) -> Problem {
    match place {
        Some(x) => p.at_place(x),
        None => p,
    }
}

fn frequencies(desk: &mut Desk, station: &mut Station, marks: &Marks) {
    let mut found: Vec<(String, Vec<String>)> = Vec::new();
    for b in &station.receive.branches {
        let mut heard = Vec::new();
        let mut reasons = Vec::new();
        for p in &station.satellite.passbands {
            let written = b.receives_written && b.receives.contains(&p.name);
            let there = marks
                .receives
                .get(&b.name)
                .cloned()
                .or_else(|| place(marks, &b.name));
            match reach(&station.receive, b, p) {
                Ok(_) => heard.push(p.name.clone()),
                Err((Some(_), o)) => {
                    heard.push(p.name.clone());
                    if written {
                        desk.problems.push(
                            at(
                                Problem::warning(format!(
                                    "branch `{}` hears only part of {}",
                                    b.name, p.name
                                )),
                                there,
                            )
                            .label(o.what),
                        );
                    }
                }
                Err((None, o)) if written => desk.problems.push(
                    at(
                        Problem::error(format!(
                            "{} does not get through branch `{}`",
                            p.name, b.name
                        )),
                        there,
                    )
                    .label(o.what)
                    .help(advice(station, b)),
                ),
                Err((None, o)) => reasons.push(o.what),
            }
        }
        if heard.is_empty() && !b.receives_written && !station.satellite.passbands.is_empty() {
            let mut p = at(
                Problem::error(format!(
                    "branch `{}` hears no passband of the satellite",
                    b.name
                )),
                place(marks, &b.name),
            )
            .label(reasons.first().cloned().unwrap_or_default());
            for r in reasons.iter().skip(1) {
                p = p.help(r.clone());
            }
            desk.problems.push(p.help(advice(station, b)));
        }
        found.push((b.name.clone(), heard));
    }
    for b in &mut station.receive.branches {
        if !b.receives_written
            && let Some((_, heard)) = found.iter().find(|(n, _)| *n == b.name)
        {
            b.receives.clone_from(heard);
        }
    }
}

fn advice(station: &Station, b: &Branch) -> String {
    match reach::lnb_of(&station.receive, b) {
        Some((name, l)) => format!(
            "is the oscillator of `{name}` ({:.4} GHz) right, and are the ranges those of the parts as they are used?",
            reach::oscillator(l, b.tone).as_ghz()
        ),
        None => "is an LNB missing at the head of the chain?".to_string(),
    }
}

/// Reference temperature of a loss, K (IEEE's 290 K).
const T0_K: f64 = 290.0;

/// A cable between feed and LNB: allowed, and dearer than most people think. A waveguide run or an adapter entered as a
/// cable says so in its label and stays unremarked.
fn ahead_of_lnb(desk: &mut Desk, station: &Station, marks: &Marks) {
    let mut told: Vec<&str> = Vec::new();
    for b in &station.receive.branches {
        let stages: Vec<_> = station.receive.stages(b).collect();
        let Some(lnb) = stages
            .iter()
            .position(|s| matches!(s.part.kind, PartKind::Lnb(_)))
        else {
            continue;
        };
        for s in stages.iter().take(lnb) {
            let label = s.part.label.to_lowercase();
            let meant = ["waveguide", "adapter", "adaptor"]
                .iter()
                .any(|w| label.contains(w));
            if meant
                || told.contains(&s.part.name.as_str())
                || !matches!(s.part.kind, PartKind::Cable(_))
            {
                continue;
            }
            told.push(s.part.name.as_str());
            // T = T0 (L - 1), referred to the input of the loss (Friis).
            let per_db_k = T0_K * (slantpath_quantity::from_db(1.0) - 1.0);
            desk.problems.push(
                at(
                    Problem::warning(format!("cable `{}` lies ahead of the LNB", s.part.name)),
                    place(marks, &b.name),
                )
                .label(format!(
                    "its first decibel takes a decibel of signal and adds {per_db_k:.0} K of noise before anything is amplified"
                ))
                .help("put the LNB at the feed and the cable behind it; for a waveguide run or an adapter, say so in the part's `label`"),
            );
        }
    }
}

/// An LNB whose port has one polarisation for ever.
fn fixed_polarisation(desk: &mut Desk, station: &Station, marks: &Marks) {
    for b in &station.receive.branches {
        let Some(wanted) = dc::wanted(b, &station.satellite) else {
            continue;
        };
        for s in station.receive.stages(b) {
            if let PartKind::Lnb(l) = &s.part.kind
                && let LnbPolarisation::Fixed(ports) = &l.polarisation
                && let Some(has) = ports.get(s.port.saturating_sub(1) as usize)
                && *has != wanted
            {
                desk.problems.push(
                    at(
                        Problem::error(format!(
                            "branch `{}` wants {} and gets {}",
                            b.name,
                            wanted.name(),
                            has.name()
                        )),
                        marks
                            .receives
                            .get(&b.name)
                            .cloned()
                            .or_else(|| place(marks, &b.name)),
                    )
                    .label(format!(
                        "output {} of `{}` is {} for ever",
                        s.port,
                        s.part.name,
                        has.name()
                    ))
                    .help("begin the branch at another output, or turn the LNB"),
                );
            }
        }
    }
}

fn volts(desk: &mut Desk, station: &Station, marks: &Marks) {
    // Every polarisation that a far end can be set for, since each setting must be possible.
    let mut settings: Vec<Option<Polarisation>> = vec![None];
    if station
        .receive
        .branches
        .iter()
        .any(|b| b.switched.is_some() && dc::wanted(b, &station.satellite).is_none())
    {
        settings.push(Some(Polarisation::Horizontal));
        settings.push(Some(Polarisation::Vertical));
    }
    for setting in settings {
        let report = match dc::network(station, setting).and_then(|n| n.solve()) {
            Ok(r) => r,
            Err(e) => {
                desk.problems.push(
                    Problem::warning("the volts in this tree cannot be worked out")
                        .help(e.to_string()),
                );
                return;
            }
        };
        for f in &report.findings {
            finding(desk, f, &report, marks, setting);
        }
    }
}

/// What the solver found, as a problem: an error where something cannot work or may be damaged as described; a warning
/// where it depends on what is switched on.
fn finding(
    desk: &mut Desk,
    f: &Finding,
    report: &Report,
    marks: &Marks,
    setting: Option<Polarisation>,
) {
    let text = f.to_string();
    let volts_at = |name: &str| {
        marks
            .volts
            .get(name)
            .cloned()
            .or_else(|| place(marks, name))
    };
    let blocked = |name: &str| {
        report
            .findings
            .iter()
            .any(|x| matches!(x, Finding::Blocked { load, .. } if load == name))
    };
    let fed_at = |name: &str| {
        let by = report.load(name)?.fed_by.first()?;
        volts_at(by)
    };
    let (problem, at_place) = match f {
        Finding::Blocked { port, at, .. } => (
            Problem::error(format!("the volts of branch `{port}` do not reach the LNB"))
                .label(format!("they stop at `{at}`"))
                .help("use an output that passes DC, or leave the volts away and let another branch feed the LNB"),
            volts_at(port),
        ),
        Finding::WrongState { port, .. } if setting.is_none() => (
            Problem::error(format!("branch `{port}` does not get its polarisation"))
                .label(text)
                .help("below the switching volts an LNB gives vertical, above them horizontal; cable and current take some volts away"),
            volts_at(port),
        ),
        Finding::WrongState { .. } => return,
        Finding::Overvolted { load, .. } => (
            Problem::error(format!("`{load}` gets too many volts")).label(text),
            fed_at(load),
        ),
        // Without any volts the finding that nothing feeds it says more.
        Finding::Starved { volts, .. } if volts.as_v() < 0.1 => return,
        Finding::Starved { load, .. } => (
            Problem::error(format!("`{load}` gets too few volts"))
                .label(text)
                .help("raise the volts, shorten the cable, or choose one with a copper core"),
            fed_at(load),
        ),
        Finding::Follows { load, follows, .. } if follows.is_empty() && blocked(load) => return,
        Finding::Follows { port, load, follows, .. } if follows.is_empty() => {
            (
                Problem::error(format!("nothing feeds `{load}`"))
                    .label(format!("branch `{port}` receives from it"))
                    .help("write `volts` in the branch that feeds it, `bias_volts` in its receiver, or add a bias tee"),
                volts_at(port),
            )
        }
        Finding::Follows { port, wants, .. } if f.is_fault() && wants.is_some() && setting.is_none() => (
            Problem::warning(format!("branch `{port}` gets another polarisation than it wants")).label(text),
            marks.receives.get(port).cloned().or_else(|| place(marks, port)),
        ),
        Finding::Follows { .. } => return,
        Finding::Contending { ports, back_fed, .. } if !back_fed.is_empty() => (
            Problem::warning("two supplies feed one LNB")
                .label(text)
                .help("let one of them pass DC and block the other"),
            ports.first().and_then(|p| volts_at(p)),
        ),
        Finding::Contending { .. } => return,
        Finding::Limited { port, .. } => (
            Problem::warning(format!("the supply of `{port}` is at its limit")).label(text),
            volts_at(port),
        ),
        Finding::ToneBlocked { port, .. } | Finding::WrongBand { port, .. } => (
            Problem::warning(format!("the tone of `{port}` does not do what it should")).label(text),
            volts_at(port),
        ),
    };
    desk.problems.push(at(problem, at_place));
}

/// The sense that leaves the dish against the one that the satellite listens to: a warning, since predicting the damage
/// is a use of the program.
fn sense(desk: &mut Desk, station: &Station, feed: &Place) {
    let (Some(t), Some(tx)) = (&station.feed.transmit, &station.transmit) else {
        if station.transmit.is_some() {
            desk.problems.push(
                Problem::error(format!("feed `{}` cannot transmit", station.feed.name))
                    .at_place(feed.clone())
                    .label("it has no `transmit` part")
                    .help(format!(
                        "describe it under `[feed.{}.transmit]`, or remove `[transmit]`",
                        station.feed.name
                    )),
            );
        }
        return;
    };
    let sent = t.sense_after_dish();
    for g in &tx.segments {
        let Some(p) = station.satellite.passband(&g.passband) else {
            continue;
        };
        if sent == p.uplink_polarisation.opposite() {
            desk.problems.push(
                Problem::warning(format!("the satellite listens for {} on {}", p.uplink_polarisation.name(), p.name))
                    .at_place(feed.clone())
                    .label(format!("{} leaves the dish with this feed", sent.name()))
                    .help("the reflector turns a circular sense round: wind the feed for the other sense than the one wanted at the satellite"),
            );
            return;
        }
    }
}

/// The coil's wire against the wavelengths at which it is computed.
fn coil(desk: &mut Desk, station: &Station, feed: &Place) {
    let Some(c) = station.feed.coil() else {
        return;
    };
    let best = |x: &slantpath_quantity::Contributor| x.distribution.mean();
    let wire = c.coil(slantpath_antenna::polarisation::Sense::Right, &best);
    let mut bands = Vec::new();
    if station.feed.receive.shadow.from_coil {
        bands.extend(
            station
                .satellite
                .passbands
                .iter()
                .map(|p| p.downlink.centre()),
        );
    }
    if station
        .feed
        .transmit
        .as_ref()
        .is_some_and(|t| t.pattern == FeedPattern::FromDimensions)
    {
        bands.extend(
            station
                .satellite
                .passbands
                .iter()
                .map(|p| p.uplink.centre()),
        );
    }
    let Some(f) = bands
        .into_iter()
        .max_by(|a, b| a.as_hz().total_cmp(&b.as_hz()))
    else {
        return;
    };
    match wire.validity(f) {
        Err(e) => desk.problems.push(
            Problem::error("the coil's wire is too thick to be computed")
                .at_place(feed.clone())
                .label(e.to_string())
                .help("write `shadow` as a figure instead of having it computed, or correct `wire`"),
        ),
        Ok(v) if !v.is_inside() => desk.problems.push(
            Problem::warning("the coil's wire is thick for what computes it")
                .at_place(feed.clone())
                .label(format!(
                    "{:.1} mm at {:.2} GHz is {:.3} wavelengths in radius; good to 0.035, refused above 0.06",
                    wire.wire.as_m() * 1e3,
                    f.as_hz() / 1e9,
                    0.5 * (wire.wire / f.wavelength())
                ))
                .help("the shadow then reads low by 0.1 dB or more"),
        ),
        Ok(_) => {}
    }
}

/// The patch against the wavelengths at which it is computed.
fn patch(desk: &mut Desk, station: &Station, feed: &Place) {
    let (Some(p), Some(t)) = (station.feed.patch(), &station.feed.transmit) else {
        return;
    };
    if t.pattern != FeedPattern::FromDimensions && !t.axial_ratio_from_dimensions {
        return;
    }
    let best = |x: &slantpath_quantity::Contributor| x.distribution.mean();
    let patch = p.patch(slantpath_antenna::polarisation::Sense::Right, &best);
    let mut told = None;
    for band in &station.satellite.passbands {
        let f = band.uplink.centre();
        match patch.validity_at(f) {
            Err(e) => {
                desk.problems.push(
                    Problem::error(format!("this patch cannot be computed at {:.2} GHz", f.as_hz() / 1e9))
                        .at_place(feed.clone())
                        .label(e.to_string())
                        .help("correct [feed.NAME.patch], or write the transmit side's figures instead of having them computed"),
                );
                return;
            }
            Ok(v) if !v.is_inside() => told = told.or(Some(v)),
            Ok(_) => {}
        }
    }
    if let Some(v) = told {
        desk.problems.push(
            Problem::warning("the patch lies outside of what its model was compared with")
                .at_place(feed.clone())
                .label(v.reasons().join("; "))
                .help("what is computed of it is marked so"),
        );
    }
}
