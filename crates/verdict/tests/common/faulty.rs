//! Stations with a fault, simulated without the diagnosing model: closed formulas in kelvin and decibels, a climate of its
//! own, meters with heavier tails than normal, effects that the diagnosis does not know.

use slantpath_verdict::diagnose::{Case, Evidence};
use std::collections::BTreeMap;

#[path = "dice.rs"]
mod dice;
pub use dice::Dice;

impl Dice {
    /// A meter: one reading in ten is three times as rough.
    fn meter(&mut self, u: f64) -> f64 {
        let k = if self.uniform(0.0, 1.0) < 0.1 {
            3.0
        } else {
            1.0
        };
        self.normal(0.9 * k * u)
    }
}

fn db(x: f64) -> f64 {
    10.0 * x.log10()
}
fn ratio(x: f64) -> f64 {
    (x * std::f64::consts::LN_10 / 10.0).exp()
}

/// Everything that a true station has, as differences to the station file.
#[derive(Default)]
struct Truth {
    /// Receive gain, dB.
    gain: f64,
    /// Transmit EIRP, dB.
    eirp: f64,
    /// Added temperature at the converter's input, K.
    warm: f64,
    /// What the satellite's beacons and noise have more, dB.
    beacon: f64,
    floor: f64,
    /// Loss behind the converter, dB.
    behind: f64,
    /// Everything sent falls, dB.
    fall: f64,
    symptoms: BTreeMap<&'static str, f64>,
}

/// Faults that the simulator can inject: the list, and some that no list has.
pub const KEYS: [&str; 24] = [
    "wrong_sense",
    "overload",
    "pa_compression",
    "foldback",
    "fan",
    "water_up",
    "wet_feed",
    "water_down",
    "if_low",
    "if_high",
    "dc_path",
    "volts_lost",
    "ageing_lnb",
    "lo_drift",
    "sun",
    "moved_dish",
    "elevation",
    "defocus",
    "transponder",
    "beacon",
    "agc",
    "quantisation",
    "ingress",
    "bandwidth",
];

fn inject(key: &str, d: &mut Dice) -> Truth {
    let mut t = Truth::default();
    let s = &mut t.symptoms;
    match key {
        "wrong_sense" => t.eirp = -d.uniform(10.0, 24.0),
        "overload" => {
            s.insert("symptom.transmit_rise", d.uniform(0.25, 5.0));
        }
        "pa_compression" => {
            let m = d.uniform(0.5, 2.5);
            t.eirp = -0.4 * m;
            s.insert("symptom.shoulder", 5.5 * m - 0.3);
            s.insert("symptom.drive_slope", -0.25 * m);
        }
        "foldback" => {
            let m = d.uniform(0.8, 5.0);
            t.eirp = -m;
            s.insert("symptom.power_step", m + d.normal(0.1));
            s.insert("symptom.sink", d.uniform(12.0, 24.0));
        }
        "fan" => {
            s.insert("symptom.sink", d.uniform(12.0, 38.0));
        }
        "water_up" => {
            let m = d.uniform(1.0, 5.0);
            t.eirp = -m;
            s.insert("symptom.reflected", -m * d.uniform(0.8, 1.6));
        }
        "wet_feed" => {
            let m = d.uniform(0.8, 4.0);
            // Warm loss before the converter: gain falls, 275 K (1 - 1/L) appears.
            t.gain = -m;
            t.warm = 275.0 * (1.0 - ratio(-m)) - 40.0 * (1.0 - ratio(-m));
            t.eirp = -0.13 * m;
            s.insert("symptom.reflected", -m * d.uniform(1.0, 2.0));
            s.insert("symptom.wet", m + d.normal(0.2));
        }
        "water_down" => {
            let m = d.uniform(5.0, 22.0);
            t.behind = m;
            s.insert("symptom.wet", 0.3);
            s.insert("symptom.steps", -m);
        }
        "if_low" => {
            let m = d.uniform(9.0, 28.0);
            t.behind = m;
            s.insert("symptom.steps", -0.5 * m);
        }
        "if_high" => {
            let m = d.uniform(0.4, 2.5);
            t.beacon = -m;
            s.insert("symptom.rails", d.uniform(4.0, 6.0));
            s.insert("symptom.steps", 11.0);
        }
        "dc_path" => {
            let m = d.uniform(14.0, 28.0);
            t.fall = m;
            s.insert("symptom.cross_polar", -20.0 - m);
            s.insert("symptom.lnb_volts", -d.uniform(4.6, 5.4));
        }
        "volts_lost" => {
            let m = d.uniform(1.4, 4.0);
            t.fall = 2.0 * m + d.normal(0.4);
            s.insert("symptom.lnb_volts", -m);
            s.insert("symptom.cross_polar", -3.0 * m + d.normal(1.0));
            s.insert("symptom.heat_off", 3.0 * m + d.normal(0.5));
        }
        "ageing_lnb" => {
            let m = d.uniform(0.5, 2.5);
            t.warm = 290.0 * (ratio(0.7 + m) - ratio(0.7));
            t.behind = 2.0 * m;
            s.insert("symptom.trend", m);
        }
        "lo_drift" => {
            let sign = if d.uniform(0.0, 1.0) < 0.5 { -1.0 } else { 1.0 };
            s.insert("symptom.lo_offset", sign * d.uniform(20.0, 350.0));
        }
        "sun" => {
            t.warm = d.uniform(60.0, 1200.0);
            s.insert("symptom.sun", d.uniform(-4.9, -4.3));
        }
        "moved_dish" | "elevation" => {
            let m = if key == "moved_dish" {
                d.uniform(0.4, 1.1)
            } else {
                d.uniform(0.7, 2.2)
            };
            // 12 (theta / theta_3)^2, beamwidths 1.64 and 7 deg, from 0.12 deg on.
            let loss = |w: f64| 12.0 * (((m + 0.12) / w).powi(2) - (0.12f64 / w).powi(2));
            t.gain = -loss(1.64);
            t.eirp = -loss(7.0);
            s.insert("symptom.scan_offset", m + d.normal(0.05));
            if key == "elevation" {
                s.insert("symptom.elevation", 8.0 + 4.0 * m + d.normal(0.5));
            }
        }
        "defocus" => {
            let mm = d.uniform(14.0, 34.0);
            t.gain = -0.5 * (mm / 20.0f64).powi(2);
            s.insert("symptom.scan_width", 0.012 * (mm - 6.0) + d.normal(0.01));
        }
        "transponder" => t.floor = d.uniform(1.5, 7.0),
        "beacon" => {
            t.beacon = -d.uniform(0.8, 3.8);
            let b = t.beacon;
            s.insert("symptom.control", b + d.normal(0.1));
        }
        "agc" => {
            s.insert("symptom.carrier_floor", -d.uniform(0.4, 5.0));
        }
        "quantisation" => {
            let m = d.uniform(0.2, 1.8);
            t.fall = 0.3 * m;
            s.insert("symptom.steps", -19.0 - 2.0 * m);
        }
        "ingress" => {
            s.insert("symptom.bursts", d.uniform(1.5, 18.0));
        }
        "bandwidth" => {
            let sign = if d.uniform(0.0, 1.0) < 0.5 { -1.0 } else { 1.0 };
            s.insert(
                "symptom.bandwidth",
                sign * [1.76, 2.51, 0.8, 1.3][(d.next() % 4) as usize],
            );
        }
        "rain" => {
            let m = d.uniform(0.4, 4.0);
            t.gain = -m;
            // Drops at 270 to 285 K before a clear sky of 8 K, seen by most of the beam.
            t.warm = d.uniform(0.8, 0.95) * (d.uniform(270.0, 285.0) - 8.0) * (1.0 - ratio(-m));
            s.insert("symptom.rain", 1.0);
        }
        // Beyond the list: some things move by amounts that nothing foretells.
        "strange" => {
            for _ in 0..3 {
                let (name, u) = [
                    ("symptom.lnb_volts", 1.0),
                    ("symptom.cross_polar", 10.0),
                    ("symptom.shoulder", 5.0),
                    ("symptom.drive_slope", 0.3),
                    ("symptom.scan_width", 0.4),
                    ("symptom.transmit_rise", 0.6),
                    ("symptom.daily", 1.2),
                    ("symptom.bursts", 3.0),
                    ("symptom.steps", 12.0),
                ][(d.next() % 9) as usize];
                let sign = if d.uniform(0.0, 1.0) < 0.5 { -1.0 } else { 1.0 };
                s.insert(name, sign * u * d.uniform(1.0, 3.0));
            }
            t.gain = d.normal(1.5);
            t.eirp = d.normal(2.0);
            t.beacon = d.normal(1.0);
        }
        "gremlin" => {
            s.insert("symptom.drive_slope", 0.6);
            s.insert("symptom.bursts", 0.0);
            s.insert("symptom.scan_width", -0.5);
            s.insert("symptom.lnb_volts", 3.5);
        }
        _ => {}
    }
    t
}

/// A station's evidence under a fault: what an operator who is disappointed has at hand, and what he would read next.
pub struct Faulty {
    values: Vec<f64>,
}

/// Simulates one case. The sound values are the file's; the true station differs from them by its own draws.
pub fn simulate(case: &Case, key: &str, seed: u64) -> Faulty {
    let mut d = Dice(seed);
    let t = inject(key, &mut d);
    station_with(case, &t, d)
}

/// Two faults at once.
pub fn simulate_two(case: &Case, keys: [&str; 2], seed: u64) -> Faulty {
    let mut d = Dice(seed);
    let (mut a, b) = (inject(keys[0], &mut d), inject(keys[1], &mut d));
    a.gain += b.gain;
    a.eirp += b.eirp;
    a.warm += b.warm;
    a.beacon += b.beacon;
    a.floor += b.floor;
    a.behind += b.behind;
    a.fall += b.fall;
    for (k, v) in b.symptoms {
        *a.symptoms.entry(k).or_default() += v;
    }
    station_with(case, &a, d)
}

/// The kinds of case in about the proportion in which they happen: each fault of the list once, rain once, a sound station
/// three times, something beyond the list now and then.
pub fn kind(k: u64) -> &'static str {
    let mut d = Dice(k.wrapping_mul(0x2545_f491_4f6c_dd1d));
    let all = d.uniform(0.0, 29.5);
    match all as usize {
        i if i < 24 => KEYS[i],
        24 => "rain",
        25..=27 => "sound",
        _ => "strange",
    }
}

fn station_with(case: &Case, t: &Truth, mut d: Dice) -> Faulty {
    // The true station: gains, temperatures and powers of its own, and a climate that no file states.
    let gain = d.normal(0.35) + t.gain - d.uniform(0.0, 0.15);
    let cold = 116.0 + d.normal(10.0);
    let gas = d.uniform(0.0, 0.12);
    let eirp = d.normal(0.5) + t.eirp;
    let (beacon, floor) = (d.normal(0.45), d.normal(0.35));
    // Receivers, seen from the converter's input: a tenth of a kelvin times the loss behind it.
    let own = 0.15 * ratio(d.normal(2.0));
    let late = own * ratio(t.behind);
    let station = cold + t.warm + late;
    // Satellite's noise at the converter: 77 K narrow, 95 K wide for the station of the file.
    let sky = ratio(gain - gas + floor + t.floor - t.fall);
    let mut values = Vec::new();
    for o in &case.observables {
        let wide = o.id.starts_with("wide.");
        let sat0 = if wide { 95.6 } else { 76.7 };
        let sat = sat0 * sky;
        let total = station + sat;
        let total0 = 116.8 + sat0;
        let id = o.id.split('@').next().unwrap_or("");
        let beacon_db = gain - gas + beacon + t.beacon - t.fall;
        let shift = if id == "symptom.floor" {
            d.normal(0.12) + db((cold + t.warm + late) / (cold + own)) - t.behind
        } else if id.starts_with("symptom.") {
            d.normal(o.u) + t.symptoms.get(id).copied().unwrap_or(0.0)
        } else if id.ends_with(".t_sys") {
            station - 116.8
        } else if id.ends_with(".g_over_t") {
            gain - db(station / 116.8)
        } else if id.ends_with(".noise_step") {
            db(total / station) - db(total0 / 116.8)
        } else if id.ends_with(".own.cn0")
            || id.ends_with(".own.es_n0")
            || id.ends_with(".own.margin")
        {
            // Behind the satellite's own noise the own signal moves with the uplink.
            eirp + floor + t.floor + gain - gas - t.fall - db(total / total0)
        } else if id.ends_with("cn0_station") {
            beacon_db - db(station / 116.8)
        } else if id.ends_with(".cn0")
            || id.ends_with(".es_n0")
            || id.ends_with(".margin")
            || id.ends_with(".mer")
        {
            beacon_db - db(total / total0)
        } else if id.ends_with(".against_beacon") {
            eirp + floor + t.floor - beacon - t.beacon
        } else if id.ends_with(".own.eirp") {
            eirp
        } else if id.ends_with(".y_absorber") {
            // The antenna's 64 K become 290 K; what is warm behind the feed stays.
            let warm = t.warm;
            db((290.0 - 64.0 + cold + warm + late) / (cold + warm + late))
                - db((290.0 - 64.0 + 116.8) / 116.8)
        } else if id.ends_with(".lnb_off_drop") {
            db(station / late) - db(116.8 / 0.15)
        } else {
            0.0
        };
        values.push(o.healthy + shift);
    }
    Faulty { values }
}

impl Faulty {
    /// Reads an observable with a meter of standard uncertainty `u`.
    pub fn read(&self, case: &Case, id: &str, u: f64, d: &mut Dice) -> Option<Evidence> {
        let k = case.find(id)?;
        Some(Evidence {
            id: id.to_string(),
            value: self.values[k] + d.meter(u),
            u,
        })
    }
}
