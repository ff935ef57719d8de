//! Cases for the test and the bench: a simulated fault, what is at hand, and the diagnosis' own advice followed.

#![allow(dead_code)] // the test and the bench each use a part

use super::faulty::{Dice, KEYS, kind, simulate};
use slantpath_input::Source;
use slantpath_link::{Conditions, Model};
use slantpath_station::read_station;
use slantpath_verdict::diagnose::{Case, Diagnosis, Evidence, Ranked, advise, diagnose, faults};

pub fn club() -> Case {
    let satellite = include_str!("../../../../demo/petrel-1.toml");
    let text = include_str!("../../../../demo/qq0aaa.toml");
    let (file, _) = read_station(&Source::new("station.toml", text), &mut |_| {
        Ok(Source::new("petrel-1.toml", satellite))
    });
    let station = file.expect("the demo station is sound").base;
    let conditions = Conditions::default();
    let model = Model::new(&station, &conditions).expect("it can be modelled");
    faults::case(&station, &model, &conditions).expect("so can its faults")
}

/// What a disappointed operator has: a recording and the lamps on the amplifier.
pub const AT_HAND: [(&str, f64); 4] = [
    ("narrow.noise_step@sdr", 0.08),
    ("narrow.beacon-psk.cn0@sdr", 0.1),
    ("narrow.own.against_beacon", 0.2),
    ("symptom.lo_offset", 0.2),
];

pub fn minutes(case: &Case, id: &str) -> f64 {
    case.actions
        .iter()
        .find(|a| a.observable == id)
        .map_or(5.0, |a| a.minutes)
}

pub struct Outcome {
    pub first: Diagnosis,
    pub last: Diagnosis,
    pub minutes: f64,
}

/// Follows the diagnosis' own advice until it is sure, or ten times.
pub fn follow(case: &Case, key: &str, seed: u64) -> Outcome {
    let truth = simulate(case, key, seed);
    let mut d = Dice(seed ^ 0x5eed);
    let mut evidence: Vec<Evidence> = AT_HAND
        .iter()
        .filter_map(|(id, u)| truth.read(case, id, *u, &mut d))
        .collect();
    let first = diagnose(case, &evidence).unwrap();
    let mut last = first.clone();
    let mut spent = 0.0;
    for _ in 0..10 {
        if last.ranked[0].probability > 0.9 {
            break;
        }
        let advice = advise(case, &evidence, &last).unwrap();
        let Some(a) = advice.first().and_then(|a| case.actions.get(a.action)) else {
            break;
        };
        spent += a.minutes;
        evidence.extend(truth.read(case, &a.observable, a.u, &mut d));
        last = diagnose(case, &evidence).unwrap();
    }
    Outcome {
        first,
        last,
        minutes: spent,
    }
}

/// The same by a fixed order: every symptom as the list has them.
pub fn fixed(case: &Case, key: &str, seed: u64) -> (bool, f64) {
    let truth = simulate(case, key, seed);
    let mut d = Dice(seed ^ 0x5eed);
    let mut evidence: Vec<Evidence> = AT_HAND
        .iter()
        .filter_map(|(id, u)| truth.read(case, id, *u, &mut d))
        .collect();
    let mut spent = 0.0;
    for (k, a) in case.actions.iter().enumerate() {
        // Looked at after every sixth.
        if k % 6 == 0 {
            let now = diagnose(case, &evidence).unwrap();
            if now.ranked[0].probability > 0.9 {
                return (place(case, &now, key) == 0, spent);
            }
        }
        if a.observable.contains("@") && !a.observable.contains("@sdr")
            || evidence.iter().any(|e| e.id == a.observable)
        {
            continue;
        }
        spent += minutes(case, &a.observable);
        evidence.extend(truth.read(case, &a.observable, a.u, &mut d));
    }
    let now = diagnose(case, &evidence).unwrap();
    (place(case, &now, key) == 0, spent)
}

/// What a hypothesis is called.
pub fn name(case: &Case, r: &Ranked) -> &'static str {
    r.fault
        .and_then(|k| case.faults.get(k))
        .map_or("none", |f| f.key)
}

/// Whether it is the truth: `strange` is none of these.
pub fn is(case: &Case, r: &Ranked, key: &str) -> bool {
    r.second.is_none() && name(case, r) == if key == "strange" { "none" } else { key }
}

/// Place of the culprit in the ranking, from 0.
pub fn place(case: &Case, d: &Diagnosis, key: &str) -> usize {
    d.ranked
        .iter()
        .position(|r| is(case, r, key))
        .unwrap_or(usize::MAX)
}

/// Numbers said in each fifth, how often it was true, and the sum of what was said.
pub fn reliability(seed: u64, count: u64) -> [(u32, u32, f64); 5] {
    use rayon::prelude::*;
    let case = club();
    let all: Vec<Vec<(f64, bool)>> = (0..count)
        .into_par_iter()
        .map(|k| {
            let key = kind(seed + k);
            let truth = simulate(&case, key, seed + 7 * k);
            let mut d = Dice(seed + 7 * k + 3);
            let mut evidence: Vec<Evidence> = AT_HAND
                .iter()
                .filter_map(|(id, u)| truth.read(&case, id, *u, &mut d))
                .collect();
            let mut said = Vec::new();
            for _ in 0..6 {
                let now = diagnose(&case, &evidence).unwrap();
                said.extend(
                    now.ranked
                        .iter()
                        .map(|r| (r.probability, is(&case, r, key))),
                );
                if now.ranked[0].probability > 0.95 {
                    break;
                }
                let advice = advise(&case, &evidence, &now).unwrap();
                let Some(a) = advice.first().and_then(|a| case.actions.get(a.action)) else {
                    break;
                };
                evidence.extend(truth.read(&case, &a.observable, a.u, &mut d));
            }
            said
        })
        .collect();
    let mut bins = [(0u32, 0u32, 0.0f64); 5];
    for (p, is) in all.into_iter().flatten() {
        let b = &mut bins[((p * 5.0) as usize).min(4)];
        b.0 += 1;
        b.1 += u32::from(is);
        b.2 += p;
    }
    for (k, (n, hit, p)) in bins.iter().enumerate() {
        println!(
            "said {:.1} to {:.1}: {n} times, mean {:.3}, true {:.3}",
            0.2 * k as f64,
            0.2 * (k + 1) as f64,
            p / f64::from(*n),
            f64::from(*hit) / f64::from(*n)
        );
    }
    bins
}

pub fn run(count: u64, tell: bool) {
    let case = club();
    let (mut at_first, mut two, mut one, mut spent) = (0, 0, 0, 0.0);
    let (mut fixed_right, mut fixed_min) = (0, 0.0);
    let mut bins = [(0u32, 0u32, 0.0f64); 5];
    let keys = |k: u64| {
        if tell {
            kind(k)
        } else {
            KEYS[(k % KEYS.len() as u64) as usize]
        }
    };
    use rayon::prelude::*;
    let all: Vec<(Outcome, (bool, f64))> = (0..count)
        .into_par_iter()
        .map(|k| {
            let o = follow(&case, keys(k), 1000 + k);
            // Every fifth by the fixed order, too: with everything read it takes its time.
            let f = if tell && k % 5 == 0 {
                fixed(&case, keys(k), 1000 + k)
            } else {
                (false, 0.0)
            };
            (o, f)
        })
        .collect();
    for (k, (o, (right, m))) in all.into_iter().enumerate() {
        let key = keys(k as u64);
        let p = place(&case, &o.last, key);
        at_first += u32::from(place(&case, &o.first, key) < 2);
        two += u32::from(p < 2);
        one += u32::from(p == 0);
        spent += o.minutes;
        for d in [&o.first, &o.last] {
            for r in &d.ranked {
                let is = is(&case, r, key);
                let b = &mut bins[((r.probability * 5.0) as usize).min(4)];
                b.0 += 1;
                b.1 += u32::from(is);
                b.2 += r.probability;
            }
        }
        if tell {
            fixed_right += u32::from(right);
            fixed_min += m;
            if p > 1 {
                let top = name(&case, &o.last.ranked[0]);
                println!(
                    "missed {key} (place {p}): said {top} {:.2}",
                    o.last.ranked[0].probability
                );
            }
        }
    }
    println!(
        "of {count}: with what is at hand among two {at_first}; after own advice first {one}, among two {two}, {:.1} min each",
        spent / count as f64
    );
    if tell {
        println!(
            "fixed order: right {fixed_right} of {}, {:.1} min each",
            count.div_ceil(5),
            fixed_min / count.div_ceil(5) as f64
        );
        for (k, (n, hit, p)) in bins.iter().enumerate() {
            println!(
                "said {:.1} to {:.1}: {n} times, mean {:.3}, true {:.3}",
                0.2 * k as f64,
                0.2 * (k + 1) as f64,
                p / f64::from(*n),
                f64::from(*hit) / f64::from(*n)
            );
        }
    }
    assert!(f64::from(two) >= 0.85 * count as f64, "{two} of {count}");
}
