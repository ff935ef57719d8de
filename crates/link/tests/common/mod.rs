//! The demo stations (invented), and true stations drawn from what their files state.

use slantpath_input::Source;
use slantpath_link::{Conditions, Model, Prediction};
use slantpath_quantity::{Contributor, Distribution};
use slantpath_station::checked::{FeedPattern, FigureStore, Memo, ReflectorShape, Station};
use slantpath_station::{StationFile, read_station};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

const SATELLITE: &str = include_str!("../../../../demo/petrel-1.toml");
#[allow(dead_code)]
pub const CLUB: &str = include_str!("../../../../demo/qq0aaa.toml");
#[allow(dead_code)]
pub const CAMP: &str = include_str!("../../../../demo/qq7bbb.toml");

pub fn station(text: &str) -> StationFile {
    let (file, problems) = read_station(&Source::new("station.toml", text), &mut |_| {
        Ok(Source::new("petrel-1.toml", SATELLITE))
    });
    let told: Vec<String> = problems.iter().map(|p| p.title.clone()).collect();
    file.unwrap_or_else(|| panic!("{told:?}"))
}

/// Everything ever computed, and how often it was asked for and not there.
#[allow(dead_code)]
#[derive(Default)]
pub struct Store {
    kept: Mutex<BTreeMap<String, Vec<f64>>>,
    missed: Mutex<usize>,
}

#[allow(dead_code)]
impl Store {
    pub fn missed(&self) -> usize {
        *self.missed.lock().unwrap()
    }
}

impl FigureStore for Store {
    fn get(&self, key: &str) -> Option<Vec<f64>> {
        let found = self.kept.lock().unwrap().get(key).cloned();
        if found.is_none() {
            *self.missed.lock().unwrap() += 1;
        }
        found
    }
    fn put(&self, key: &str, figures: &[f64]) {
        self.kept
            .lock()
            .unwrap()
            .insert(key.into(), figures.to_vec());
    }
}

#[allow(dead_code)]
pub fn with_store(s: &Station, store: &Arc<Store>) -> Station {
    let mut s = s.clone();
    s.feed.memo = Memo::with_store(store.clone());
    s
}

/// SplitMix64 (Steele, Lea, Flood 2014): a generator and a sampler (Box and Muller) that share nothing with the
/// library's streams and quantiles.
struct Truth(u64);

impl Truth {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    fn uniform(&mut self) -> f64 {
        ((self.next() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }
    fn of(&mut self, d: &Distribution) -> f64 {
        match *d {
            Distribution::Exact(v) => v,
            Distribution::Normal { mean, u } => {
                let r = (-2.0 * self.uniform().ln()).sqrt();
                mean + u * r * (std::f64::consts::TAU * self.uniform()).cos()
            }
            Distribution::Rectangular { lo, hi } => lo + (hi - lo) * self.uniform(),
        }
    }
}

/// What a station truly is that was drawn from its file: every output of its model, and whether it can be built.
///
/// The dimensions of dish and feeds are built into the station and its reflector is solved anew: the approximation by
/// which a prediction follows them has no part in the truth.
#[allow(dead_code)]
pub fn truth(station: &Station, of: &Model, seed: u64) -> Option<Vec<f64>> {
    let mut rng = Truth(seed);
    let values: BTreeMap<String, f64> = of
        .inputs()
        .contributors()
        .iter()
        .map(|c| (c.id.to_string(), rng.of(&c.distribution)))
        .collect();
    let mut built = station.clone();
    for c in dimensions(&mut built) {
        if let Some(v) = values.get(c.id.as_str()) {
            c.distribution = Distribution::Exact(*v);
        }
    }
    let m = Model::new(&built, &Conditions::default()).ok()?;
    let x: Vec<f64> = m
        .inputs()
        .contributors()
        .iter()
        .map(|c| {
            let drawn = values.get(c.id.as_str()).copied();
            drawn.unwrap_or_else(|| c.distribution.mean())
        })
        .collect();
    let mut y = vec![0.0; m.outputs().len()];
    m.evaluate(&x, &mut y);
    y.iter().all(|y| y.is_finite()).then_some(y)
}

fn dimensions(s: &mut Station) -> Vec<&mut Contributor> {
    let mut out: Vec<&mut Contributor> = Vec::new();
    match &mut s.reflector.shape {
        ReflectorShape::PrimeFocus {
            diameter,
            focal_length,
        } => {
            out.extend([diameter, focal_length]);
        }
        ReflectorShape::PrimeFocusByTape { diameter, depth } => out.extend([diameter, depth]),
        ReflectorShape::Offset {
            diameter,
            focal_length,
            clearance,
        } => {
            out.extend([diameter, focal_length, clearance]);
        }
        ReflectorShape::OffsetByTape {
            width,
            height,
            depth,
        } => out.extend([width, height, depth]),
    }
    let b = &mut s.reflector.blockage;
    out.extend([&mut b.disc, &mut b.strut_width]);
    fn of_pattern<'a>(p: &'a mut FeedPattern, out: &mut Vec<&'a mut Contributor>) {
        match p {
            FeedPattern::EdgeTaper { angle, taper } => out.extend([angle, taper]),
            FeedPattern::CosPower { exponent } => out.push(exponent),
            FeedPattern::BareGain { gain } => out.push(gain),
            FeedPattern::Table { error, .. } => out.push(error),
            FeedPattern::FromHorn { error } => out.push(error),
            FeedPattern::FromDimensions => {}
        }
    }
    let r = &mut s.feed.receive;
    of_pattern(&mut r.pattern, &mut out);
    out.extend([
        &mut r.phase_centre.focus_error,
        &mut r.phase_centre.lateral_error,
    ]);
    if let Some(t) = &mut s.feed.transmit {
        of_pattern(&mut t.pattern, &mut out);
        out.extend([
            &mut t.phase_centre.focus_error,
            &mut t.phase_centre.lateral_error,
        ]);
    }
    out
}

/// How often the stated interval of each measurand holds the truth: identity, trials that could be built, hits.
#[allow(dead_code)]
pub fn coverage(
    station: &Station,
    model: &Model,
    p: &Prediction,
    trials: u64,
    ids: &[&str],
) -> Vec<(String, usize, usize)> {
    use rayon::prelude::*;
    let truths: Vec<Vec<f64>> = (0..trials)
        .into_par_iter()
        .filter_map(|t| truth(station, model, 0x5eed_0000 + t))
        .collect();
    ids.iter()
        .map(|id| {
            let k = p.index(id).unwrap_or_else(|| panic!("no {id}"));
            let interval = p.answers[k].estimate().map(|e| e.interval);
            let hits = truths
                .iter()
                .filter(|y| interval.as_ref().is_some_and(|i| i.contains(y[k])))
                .count();
            ((*id).to_string(), truths.len(), hits)
        })
        .collect()
}

/// What the coverage is judged on: levels, ratios, a noise step, a Y factor, both directions.
#[allow(dead_code)]
pub const JUDGED: [&str; 9] = [
    "narrow.beacon-psk.cn0@sdr",
    "narrow.beacon-psk.cn0_station@sdr",
    "narrow.noise_step@sdr",
    "narrow.g_over_t@sdr",
    "narrow.t_sys@sdr",
    "narrow.y_absorber@sdr",
    "wide.beacon-tv.es_n0@tv",
    "wide.own.eirp",
    "wide.own.es_n0@tv",
];
