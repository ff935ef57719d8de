//! Ten carriers in a recording of 10 MS/s: the measurement should take no longer than the recording, and no more memory
//! for a longer one.
//!
//! `cargo bench -p slantpath-capture --bench wideband` (`-- 1 3`: seconds of the recordings). The reference is the duration
//! of the recording itself; printed are the wall time and the processor time of the whole process over it, and by how much
//! the memory in use rose above what stood there before (the recording itself, which is held in memory).

#[path = "../tests/scene_wideband/mod.rs"]
mod scene_wideband;

use scene_wideband::{Scene, Sent};
use slantpath_capture::wideband::{WidebandPlan, WidebandSettings, measure};
use slantpath_stats::{Progress, Stop};
use slantpath_waveform::FecFrame::{Normal, Short};
use std::fs;
use std::time::Instant;

fn main() {
    let mut lengths: Vec<f64> = std::env::args()
        .filter_map(|a| a.parse().ok())
        .filter(|s| *s > 0.0)
        .collect();
    if lengths.is_empty() {
        lengths = vec![1.0, 3.0];
    }
    println!(
        "ten carriers at 10 MS/s, {} threads; reference: the recording's own duration",
        rayon::current_num_threads()
    );
    for seconds in lengths {
        let scene = ten(seconds);
        let mut m = scene.memory("ten");
        // The highest memory in use counts from here on (Linux).
        let _ = fs::write("/proc/self/clear_refs", "5");
        let (before, cpu) = (memory("VmRSS:"), processor_s());
        let t = Instant::now();
        let w = measure(
            &mut m,
            &WidebandPlan::default(),
            &WidebandSettings::default(),
            &Progress::silent(),
            &Stop::new(),
        )
        .expect("measured");
        let wall = t.elapsed().as_secs_f64();
        let locked = w.carriers.iter().filter(|c| c.lock.is_ok()).count();
        assert_eq!((w.carriers.len(), locked), (10, 10));
        println!(
            "{seconds} s: {wall:.2} s, {:.2} times real time; processor {:.2} s; memory {:.0} MB more",
            wall / seconds,
            processor_s() - cpu,
            memory("VmHWM:") - before
        );
    }
}

/// An entry of this process's memory, MB; not a number where the system does not tell.
fn memory(key: &str) -> f64 {
    fs::read_to_string("/proc/self/status")
        .ok()
        .and_then(|s| {
            let line = s.lines().find(|l| l.starts_with(key))?.to_string();
            line.split_whitespace().nth(1)?.parse::<f64>().ok()
        })
        .map_or(f64::NAN, |kb| kb / 1024.0)
}

/// Processor time of this process so far, s; not a number where the system does not tell. Ticks of 10 ms.
fn processor_s() -> f64 {
    fs::read_to_string("/proc/self/stat")
        .ok()
        .and_then(|s| {
            let rest: Vec<&str> = s.rsplit(')').next()?.split_whitespace().collect();
            let ticks = |i: usize| rest.get(i)?.parse::<f64>().ok();
            Some((ticks(11)? + ticks(12)?) / 100.0)
        })
        .unwrap_or(f64::NAN)
}

fn ten(seconds: f64) -> Scene {
    let rates = [
        1.5e6, 1.0e6, 500e3, 333e3, 250e3, 125e3, 66e3, 333e3, 1.0e6, 1.5e6,
    ];
    let mut at = -4.6e6;
    let carriers = rates
        .iter()
        .enumerate()
        .map(|(i, r)| {
            let half = 0.5 * 1.25 * r;
            at += half;
            let c = Sent::new(
                if i % 3 == 0 { "QPSK 3/4" } else { "8PSK 2/3" },
                if *r > 400e3 { Normal } else { Short },
                i % 2 == 0,
                *r,
                9.0 + i as f64 * 0.5,
            )
            .at(at);
            at += half;
            c
        })
        .collect();
    Scene::new(10e6, (10e6 * seconds) as usize, 3, carriers)
}
