//! What takes part: entries set aside, rain taken out, signals against the station's own noise.

use super::super::rows::{GAIN, LEVEL, ON, Row};
use super::{Basis, DAY_S, Judged};
use slantpath_quantity::{from_db, to_db};
use slantpath_stats::robust::median;
use slantpath_verdict::health::rain::WetPath;
use slantpath_verdict::health::separate::Sight;

/// Why a row takes no part, if it does not.
pub(super) fn aside(b: &Basis<'_>, r: &Row, suns: &[(f64, f64)]) -> Option<&'static str> {
    let k = suns.partition_point(|s| s.1 < r.t_s);
    if suns.get(k).is_some_and(|s| s.0 <= r.t_s) {
        return Some("Sun near the satellite");
    }
    if r.get(ON).is_some() || b.overs.on(r.t_s) {
        return Some("own transmitter on");
    }
    if b.weather.wind_at(r.t_s).is_some_and(|w| w > b.wind_limit) {
        return Some("wind");
    }
    if b.weather.raining(r.t_s) == Some(true) {
        return Some("rain");
    }
    None
}

/// Rainy rows of bins that have no dry one come back, rain taken out by the ratio of loss and noise.
pub(super) fn with_rain(mut kept: Vec<&Row>, wet: &[&Row], out: &mut Judged) -> Vec<Row> {
    let cell = |t: f64| (t / (out.bin_days * DAY_S)).floor() as i64;
    let dry: std::collections::BTreeSet<i64> = kept.iter().map(|r| cell(r.t_s)).collect();
    kept.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    let mut all: Vec<Row> = kept.iter().map(|r| (*r).clone()).collect();
    let (mut corrected, mut dropped) = (0, 0);
    for r in wet {
        let fixed = (!dry.contains(&cell(r.t_s)))
            .then(|| without_rain(r, &kept, out.wet.as_ref()))
            .flatten();
        match fixed {
            Some(row) => {
                all.push(row);
                corrected += 1;
            }
            None => dropped += 1,
        }
    }
    all.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    if corrected > 0 {
        out.aside.insert("rain, taken out by its noise", corrected);
    }
    if dropped > 0 {
        out.aside.insert("rain", dropped);
    }
    all
}

/// A row as it would be without the rain that its noise shows.
pub(super) fn without_rain(r: &Row, kept: &[&Row], path: Option<&WetPath>) -> Option<Row> {
    let path = path?;
    let (level, u) = floor_of(r)?;
    // The noise of the nearest dry rows.
    let k = kept.partition_point(|x| x.t_s < r.t_s);
    let near: Vec<f64> = kept
        .get(k.saturating_sub(8)..(k + 8).min(kept.len()))?
        .iter()
        .filter_map(|x| floor_of(x).map(|f| f.0))
        .collect();
    if near.len() < 4 {
        return None;
    }
    let rise = level - median(&near)?;
    let scatter = slantpath_stats::robust::scaled_mad(&near)
        .unwrap_or(0.1)
        .max(0.02);
    let a = path.attenuation_db(rise.max(0.0))?;
    let a_more = path.attenuation_db(rise.max(0.0) + 0.05).unwrap_or(a + 1.0);
    let (fall, slope) = (
        path.fall_db(a),
        (path.fall_db(a_more) - path.fall_db(a)) / 0.05,
    );
    // The drops' temperature and the wet cover are not known better than a fifth.
    let u_fall = (slope * u.hypot(scatter)).hypot(0.2 * fall);
    if u_fall > 0.3 {
        return None;
    }
    let mut row = r.clone();
    for (id, v) in &mut row.figures {
        if id.ends_with(".cn0") {
            // With the satellite's noise in it a C/N0 falls by less; the step carries the rest.
            *v = (v.0, v.1.hypot(u_fall));
        } else if id.ends_with(".noise_outside") || id == LEVEL {
            *v = (v.0 - rise, v.1.hypot(scatter));
        }
    }
    row.figures.insert(RAIN_FALL.into(), (fall, u_fall));
    Some(row)
}

/// Marks in a row how much its signals would rise without rain.
pub(super) const RAIN_FALL: &str = "watch.rain_fall";

/// Noise level of a row, whatever shows it, the receiver's gain taken off.
pub(super) fn floor_of(r: &Row) -> Option<(f64, f64)> {
    let gain = r.get(GAIN).map_or(0.0, |g| g.0);
    r.figures
        .iter()
        .find(|(k, _)| k.ends_with(".noise_outside"))
        .map(|(_, v)| *v)
        .or_else(|| r.get(LEVEL))
        .map(|(v, u)| (v - gain, u))
}

/// Sources of a row: beacons and the satellite's noise against the station's own noise.
pub(super) fn sights(b: &Basis<'_>, rows: &[Row]) -> (Vec<String>, Vec<Sight>) {
    let mut names: Vec<String> = Vec::new();
    let mut parts: Vec<(String, bool)> = Vec::new();
    for p in &b.station.satellite.passbands {
        let step_id = format!("{}.noise_step", p.name);
        let steps = rows.iter().filter(|r| r.get(&step_id).is_some()).count();
        for k in &p.beacons {
            let id = format!("{}.{}.cn0", p.name, k.name);
            let seen = rows.iter().filter(|r| r.get(&id).is_some()).count();
            if seen > 0 {
                // Against the station's noise alone when most rows hold the step; else as it was measured.
                let with_step = 2 * steps >= seen;
                names.push(format!("{} {}", p.name, k.name));
                parts.push((id, with_step));
            }
        }
        if steps > 0 {
            names.push(format!("{} noise of the satellite", p.name));
            parts.push((step_id, true));
        }
    }
    let value = |r: &Row, id: &str, with_step: bool| -> Option<(f64, f64)> {
        let more = r.get(RAIN_FALL).unwrap_or((0.0, 0.0));
        let (v, u) = r.get(id)?;
        let head = id.split('.').next().unwrap_or("");
        if id.ends_with(".noise_step") {
            // 10 lg(10^(h/10) - 1): satellite's noise over the station's.
            let ratio = from_db(v) - 1.0;
            if ratio <= 0.0 {
                return None;
            }
            let slope = from_db(v) / ratio;
            Some((to_db(ratio) + more.0, (slope * u).hypot(more.1)))
        } else if with_step {
            let (h, uh) = r.get(&format!("{head}.noise_step"))?;
            Some((v + h + more.0, u.hypot(uh).hypot(more.1)))
        } else {
            // With the satellite's noise in it a C/N0 falls by less in rain; by how much is not known without the step.
            r.get(RAIN_FALL).is_none().then_some((v, u))
        }
    };
    let sights = rows
        .iter()
        .map(|r| Sight {
            t: r.t_s,
            values: parts
                .iter()
                .map(|(id, s)| value(r, id, *s).filter(|v| v.0.is_finite() && v.1.is_finite()))
                .collect(),
        })
        .collect();
    (names, sights)
}
