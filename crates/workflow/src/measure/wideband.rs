//! Carriers of a wideband recording: when they are looked for, and how they are shown.

use slantpath_capture::measure::Measurement;
use slantpath_capture::plan::{BeaconKind, SearchPlan};
use slantpath_capture::wideband::{Carrier, Wideband};
use slantpath_quantity::{Answer, Estimate, Unit, show, to_db};
use slantpath_report::figure::{self, Constellation};
use slantpath_report::{Cell, Figure, Section, Table};

/// Slowest recording in which a carrier of 20 kBd has room.
const LEAST_RATE_HZ: f64 = 48e3;
/// Constellations drawn, the strongest carriers first.
const DRAWN: usize = 12;

/// Whether a recording may hold wideband carriers: it reaches into a passband without narrow beacons, or the satellite
/// was not found in it at all.
pub(super) fn wanted(plan: &SearchPlan, m: &Measurement) -> bool {
    if m.sample_rate_hz < LEAST_RATE_HZ {
        return false;
    }
    let narrow = |name: &str| {
        plan.beacons
            .iter()
            .any(|b| b.passband == name && !matches!(b.kind, BeaconKind::Modulated { .. }))
    };
    let half = 0.5 * m.sample_rate_hz;
    let reaches = plan.passbands.iter().filter(|p| !narrow(&p.name)).any(|p| {
        plan.meanings.iter().any(|meaning| {
            let a = meaning.offset_hz(p.lo_hz, m.centre_hz);
            let b = meaning.offset_hz(p.hi_hz, m.centre_hz);
            let room = plan.lo_tolerance_hz;
            a.min(b) - room < half && a.max(b) + room > -half
        })
    });
    // A centre that was only taken to be a planned one proves nothing when no beacon stands where it says.
    let guessed = !m.centre_known && m.beacons.iter().all(|b| b.found.is_none());
    reaches || m.location.is_none() || guessed
}

fn answer<'a>(
    w: &'a Wideband,
    k: &Carrier,
    what: &str,
    branch: Option<&str>,
) -> Option<&'a Answer> {
    let id = format!("carrier.{}.{what}", k.number);
    match branch {
        Some(b) => w.answer(&format!("{id}@{b}")),
        None => w.answer(&id),
    }
}

/// Kind of PLFRAMEs in words; of several the commonest.
fn frame_words(k: &Carrier) -> String {
    match &k.lock {
        Err(_) => "framing unknown".into(),
        Ok(l) if l.kinds.len() > 1 => {
            format!("{}, changing ({} kinds)", l.frame.name(), l.kinds.len())
        }
        Ok(l) => l.frame.name(),
    }
}

/// The section of one recording's carriers: a table of them all, then every answer.
pub(super) fn section(recording: usize, w: &Wideband, branch: Option<&str>) -> Section {
    let mut table = Table::new(
        "carriers",
        &[
            ("frequency", "as recorded"),
            ("symbol_rate", "symbol rate"),
            ("rolloff", "roll-off"),
            ("frame", "frame"),
            ("c_n", "C/N"),
            ("es_n0", "Es/N0"),
            ("mer", "MER"),
            ("margin", "margin"),
        ],
    );
    let cell = |k: &Carrier, what: &str| {
        answer(w, k, what, branch).map_or_else(|| Cell::Missing("not measured".into()), Cell::from)
    };
    for k in &w.carriers {
        let (offset, u) = k.offset_hz();
        let frequency = match w.centre_hz {
            Some(c) => Cell::Value(Estimate::normal((c + offset) / 1e6, u / 1e6), Unit::MHz),
            None => Cell::Value(Estimate::normal(offset / 1e3, u / 1e3), Unit::KHz),
        };
        table.rows.push(vec![
            frequency,
            Cell::Value(
                Estimate::normal(k.clock.rate / 1e3, k.clock.u_rate / 1e3),
                Unit::KBd,
            ),
            cell(k, "rolloff"),
            Cell::Text(frame_words(k)),
            cell(k, "c_n"),
            cell(k, "es_n0"),
            cell(k, "mer"),
            cell(k, "margin"),
        ]);
    }
    let mut s = Section::new(
        &format!("carriers_{recording}"),
        "Carriers found by their symbol clock",
        w.answers.clone(),
    );
    s.text.push(match w.carriers.len() {
        0 => "No carrier with a symbol clock stands in this recording.".into(),
        1 => "One carrier.".into(),
        n => format!("{n} carriers, lowest frequency first."),
    });
    for k in &w.carriers {
        if let Ok(l) = &k.lock {
            s.text.push(format!(
                "Carrier {}: {} symbols over {} s were used, {} headers among them.",
                k.number,
                k.symbols,
                show::significant(k.seconds, 3),
                l.headers
            ));
        }
    }
    if w.carriers.is_empty() {
        s
    } else {
        s.table(table)
    }
}

/// Spectrum with the carriers drawn in, and their constellations.
pub(super) fn figures(recording: usize, w: &Wideband) -> Vec<Figure> {
    let mut out = Vec::new();
    let base = w.centre_hz.unwrap_or(0.0);
    let factor = (w.spectrum.len() / 1600).max(1);
    let points = w.spectrum.coarser(factor);
    let f: Vec<f64> = points.iter().map(|p| base + p.0).collect();
    let density: Vec<f64> = points.iter().map(|p| to_db(p.1.max(1e-30))).collect();
    // The shapes on top of each carrier's own noise.
    let fitted: Vec<f64> = points
        .iter()
        .map(|(x, _)| {
            let near = w.carriers.iter().filter(|k| {
                let (a, b) = k.shape.band();
                (a..=b).contains(x)
            });
            let (mut sum, mut noise) = (0.0, None);
            for k in near {
                sum += k.shape.at(*x);
                noise = noise.or(k.shape.noise.map(|n| n.0));
            }
            match noise {
                Some(n) => to_db((sum + n).max(1e-30)),
                None => f64::NAN,
            }
        })
        .collect();
    let windows: Vec<(f64, f64, String)> = w
        .carriers
        .iter()
        .map(|k| {
            let (a, b) = k.shape.band();
            let what = frame_words(k);
            (
                base + a,
                base + b,
                format!("{:.1} kBd, {what}", k.clock.rate / 1e3),
            )
        })
        .collect();
    out.push(Figure {
        key: format!("carriers_{recording}"),
        caption: format!(
            "Averaged spectrum of {} with the carriers found in it.",
            w.about.name
        ),
        svg: figure::spectrum(&w.about.name, &f, &density, Some(&fitted), &windows),
    });
    let mut locked: Vec<&Carrier> = w.carriers.iter().filter(|k| k.lock.is_ok()).collect();
    locked.sort_by(|a, b| b.shape.power().total_cmp(&a.shape.power()));
    for k in locked.into_iter().take(DRAWN) {
        let Ok(l) = &k.lock else { continue };
        let points = Constellation {
            ideal: l.points.ideal.clone(),
            header: l.points.header.clone(),
            pilots: l.points.pilots.clone(),
            payload: l.points.payload.clone(),
        };
        let (value, u) = show::value_and_u(l.mer.db(), l.mer.u_db());
        out.push(Figure {
            key: format!("constellation_{recording}_{}", k.number),
            caption: format!("Carrier {}: symbols with the phase taken off.", k.number),
            svg: figure::constellation(
                &format!("carrier {}: {}", k.number, l.frame.name()),
                &points,
                &format!("MER {value} ± {u} dB"),
            ),
        });
    }
    out
}
