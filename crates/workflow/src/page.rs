//! The page: sheets, figures and the chain sheet put together.

use crate::compare::Compared;
use crate::measure::Measured;
use crate::predict::Predicted;
use crate::verdict::Judged;
use slantpath_link::Group;
use slantpath_quantity::show;
use slantpath_report::figure::{self, ChainSheet, IntervalRow, Stage};
use slantpath_report::{Figure, Provenance, Sheet};
use slantpath_station::Station;
use slantpath_verdict::trial::Side;

/// Program and version.
pub fn written_by() -> String {
    format!("slantpath {}", env!("CARGO_PKG_VERSION"))
}

/// The page of a case: sheets as they are, each with the figures that belong to its verb.
pub fn case_page(
    station: &Station,
    mut sheets: Vec<Sheet>,
    predicted: &Predicted,
    judged: Option<&Judged>,
    measured: &[Measured],
    compared: &[Compared],
    provenance: &Provenance,
) -> String {
    let branch = branch_of(predicted, judged);
    attach(
        &mut sheets,
        "predict",
        ledgers(station, predicted, branch.as_deref()),
    );
    attach(
        &mut sheets,
        "predict",
        crate::drawings::of_station(station, &predicted.model),
    );
    if let Some(j) = judged {
        attach(&mut sheets, "verdict", vec![side_by_side(j)]);
    }
    attach(
        &mut sheets,
        "measure",
        measured
            .iter()
            .enumerate()
            .map(|(i, m)| spectrum(i, m))
            .collect(),
    );
    attach(
        &mut sheets,
        "compare",
        compared
            .iter()
            .enumerate()
            .map(|(i, c)| trial(i, c))
            .collect(),
    );
    let chain = chain_sheet(station, predicted, judged, branch.as_deref());
    slantpath_report::page::html(&station.name, &sheets, Some(&chain), provenance)
}

/// Figures go to the last sheet of a verb: for the demo that is the side the page is about.
fn attach(sheets: &mut [Sheet], verb: &str, figures: Vec<Figure>) {
    if let Some(s) = sheets.iter_mut().rev().find(|s| s.verb == verb) {
        s.figures.extend(figures);
    }
}

/// The branch that the measurements were made on, else the first.
fn branch_of(p: &Predicted, judged: Option<&Judged>) -> Option<String> {
    judged
        .and_then(|j| j.comparands.first())
        .and_then(|c| c.measurand.split_once('@').map(|(_, b)| b.to_string()))
        .or_else(|| {
            p.prediction
                .measurands
                .iter()
                .find_map(|m| m.branch.clone())
        })
}

/// The noise ledger of every passband as figures.
pub fn ledgers(station: &Station, p: &Predicted, branch: Option<&str>) -> Vec<Figure> {
    station
        .satellite
        .passbands
        .iter()
        .filter_map(|passband| {
            let lines: Vec<(String, f64, f64)> = p
                .prediction
                .group(Group::Ledger)
                .filter(|(m, _)| m.branch.as_deref() == branch && m.passband.as_deref() == Some(&passband.name))
                .filter_map(|(m, a)| a.estimate().map(|e| (m.label.clone(), e.value, e.u)))
                .filter(|(_, k, _)| k.abs() >= 0.05)
                .collect();
            (!lines.is_empty()).then(|| Figure {
                key: format!("ledger_{}", passband.name),
                caption: format!(
                    "Noise ledger of the {} passband: kelvin at the LNB's input, with standard uncertainty.",
                    passband.name
                ),
                svg: figure::ledger(&format!("Noise ledger, {}", passband.name), &lines),
            })
        })
        .collect()
}

/// Measured against predicted.
pub fn side_by_side(j: &Judged) -> Figure {
    let rows: Vec<IntervalRow> = j
        .comparands
        .iter()
        .zip(&j.explanation.disagreements)
        .map(|(c, d)| IntervalRow {
            label: c.label.clone(),
            unit: c.unit.symbol().to_string(),
            predicted: Some((c.predicted, c.u_predicted)),
            measured: Some((c.measured, c.u_measured)),
            u_difference: Some(d.u),
        })
        .collect();
    Figure {
        key: "side_by_side".into(),
        caption: "Measured against predicted, in standard uncertainties of the difference.".into(),
        svg: figure::interval_table("Prediction and measurement", &rows),
    }
}

/// Spectrum of a recording with its fitted floor and the windows used.
pub fn spectrum(i: usize, m: &Measured) -> Figure {
    let picture = &m.measurement.picture;
    let centre = m.measurement.centre_hz;
    let (f, p): (Vec<f64>, Vec<f64>) = picture
        .spectrum
        .iter()
        .map(|(f, p)| (centre + f, *p))
        .unzip();
    // The floor is drawn at the spectrum's own points.
    let floor: Vec<f64> = picture
        .spectrum
        .iter()
        .map(|(f, _)| nearest(&picture.floor, *f).unwrap_or(f64::NAN))
        .collect();
    let mut marks: Vec<(f64, f64, String)> = picture
        .windows
        .iter()
        .map(|(name, lo, hi)| (centre + lo, centre + hi, name.clone()))
        .collect();
    marks.extend(
        picture
            .marks
            .iter()
            .map(|(name, f)| (centre + f, centre + f, name.clone())),
    );
    Figure {
        key: format!("spectrum_{}", i + 1),
        caption: format!(
            "{}: power spectral density with the fitted noise floor and the windows used.",
            m.path.display()
        ),
        svg: figure::spectrum("Spectrum with fit", &f, &p, Some(&floor), &marks),
    }
}

fn nearest(points: &[(f64, f64)], f: f64) -> Option<f64> {
    let i = points.partition_point(|p| p.0 < f);
    points.get(i).or_else(|| points.last()).map(|p| p.1)
}

/// Recordings of a trial, and the difference of its sides.
pub fn trial(i: usize, c: &Compared) -> Figure {
    let start = c
        .observations
        .iter()
        .map(|o| o.time_s)
        .fold(f64::INFINITY, f64::min);
    let points: Vec<(f64, f64, bool)> = c
        .observations
        .iter()
        .map(|o| ((o.time_s - start) / 3600.0, o.value_db, o.side == Side::B))
        .collect();
    let d = &c.result.difference;
    Figure {
        key: format!("trial_{}", i + 1),
        caption: format!(
            "{}: every recording of the trial, and the difference with its 95 % interval.",
            c.label
        ),
        svg: figure::trial(
            &c.label,
            &points,
            d.value,
            d.interval.lo,
            d.interval.hi,
            "dBHz",
        ),
    }
}

/// The chain on one sheet, sky to sample and back to sky, of the first passband on `branch`.
pub fn chain_sheet(
    station: &Station,
    p: &Predicted,
    judged: Option<&Judged>,
    branch: Option<&str>,
) -> ChainSheet {
    let mut chain = Chain {
        p,
        judged,
        stages: Vec::new(),
    };
    let passband = station.satellite.passbands.first();
    let first = passband.map(|p| p.name.as_str()).unwrap_or_default();
    let b = branch.unwrap_or_default();
    let beacon = passband
        .and_then(|p| p.reference_beacon())
        .map(|b| b.name.clone())
        .unwrap_or_default();
    let feed = format!("feed.{}", station.feed.name);
    let sky = &station.satellite.name;
    let eirp = format!("EIRP of {beacon}");
    chain.put(sky, &eirp, None, &format!("{first}.budget.{beacon}.eirp"));
    let gas = format!("{first}.budget.gas");
    chain.put("path", "gases and weather", Some("site"), &gas);
    let gain = format!("{first}.budget.gain");
    chain.put("dish", "realised gain", Some("reflector"), &gain);
    let shadow = format!("{first}.ledger.antenna.shadow@{b}");
    chain.put(
        &format!("feed {}", station.feed.name),
        "noise of the shadowed rays",
        Some(&feed),
        &shadow,
    );
    let g_over_t = format!("{first}.g_over_t@{b}");
    chain.put("station", "G/T", None, &g_over_t);
    if let Some(br) = station.receive.branch(b) {
        for s in station.receive.stages(br) {
            let place = format!("part.{}", s.part.name);
            let noise = format!("{first}.ledger.rx.{}@{b}", s.part.name);
            chain.put(
                &s.part.label,
                "noise at the LNB's input",
                Some(&place),
                &noise,
            );
        }
    }
    let cn0 = format!("{first}.{beacon}.cn0@{b}");
    chain.put("sample", &format!("C/N0 of {beacon}"), None, &cn0);
    chain.put(
        "sample",
        "noise step",
        None,
        &format!("{first}.noise_step@{b}"),
    );
    let receive = std::mem::take(&mut chain.stages);
    if let Some(t) = &station.transmit {
        for part in &t.chain {
            let place = format!("part.{}", part.name);
            let power = format!("{first}.up.after.{}", part.name);
            chain.put(&part.label, "power after it", Some(&place), &power);
        }
        let gain = format!("{first}.up.gain");
        chain.put("dish and feed", "realised gain, uplink", Some(&feed), &gain);
        chain.put(
            "sky",
            "EIRP of the station",
            None,
            &format!("{first}.own.eirp"),
        );
        let own = format!("{first}.own.against_beacon");
        chain.put(sky, "own downlink against the beacon", None, &own);
    }
    ChainSheet {
        receive,
        transmit: chain.stages,
    }
}

/// Collects stages: each shows one predicted figure, and what was measured of it.
struct Chain<'a> {
    p: &'a Predicted,
    judged: Option<&'a Judged>,
    stages: Vec<Stage>,
}

impl Chain<'_> {
    fn put(&mut self, name: &str, what: &str, place: Option<&str>, id: &str) {
        let answer = self.p.prediction.answer(id);
        let predicted = answer.and_then(|a| {
            let e = a.estimate()?;
            let (v, u) = show::value_and_u(e.value, e.u);
            Some(if e.u > 0.0 {
                format!("{v} ± {u} {}", a.unit)
            } else {
                format!("{v} {}", a.unit)
            })
        });
        let (measured, disagreement) = self.compared(id).unwrap_or_default();
        self.stages.push(Stage {
            name: name.to_string(),
            what: what.to_string(),
            predicted,
            measured,
            disagreement,
            place: place.map(str::to_string),
            measurand: answer.is_some().then(|| id.to_string()),
        });
    }

    fn compared(&self, id: &str) -> Option<(Option<String>, Option<String>)> {
        let j = self.judged?;
        let k = j.comparands.iter().position(|c| c.measurand == id)?;
        let (c, d) = (j.comparands.get(k)?, j.explanation.disagreements.get(k)?);
        let (v, u) = show::value_and_u(c.measured, c.u_measured);
        let (dv, du) = show::value_and_u(d.difference, d.u);
        Some((
            Some(format!("{v} ± {u} {}", c.unit)),
            Some(format!(
                "{dv} ± {du} dB ({} u)",
                show::fixed(d.normalised, 1)
            )),
        ))
    }
}
