//! Ten carriers in a recording of 10 MS/s: the measurement should take no longer than the recording.
//!
//! `cargo bench -p slantpath-capture --bench wideband`; the reference is the duration of the recording itself, 1 s.

#[path = "../tests/scene_wideband/mod.rs"]
mod scene_wideband;

use scene_wideband::{Scene, Sent};
use slantpath_capture::wideband::{WidebandPlan, WidebandSettings, measure};
use slantpath_stats::{Progress, Stop};
use slantpath_waveform::FecFrame::{Normal, Short};

fn main() {
    divan::main();
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn ten_carriers_of_one_second(bencher: divan::Bencher<'_, '_>) {
    let scene = ten();
    bencher
        .with_inputs(|| scene.memory("ten"))
        .bench_values(|mut m| {
            let w = measure(
                &mut m,
                &WidebandPlan::default(),
                &WidebandSettings::default(),
                &Progress::silent(),
                &Stop::new(),
            )
            .unwrap();
            assert_eq!(w.carriers.len(), 10);
            w.carriers.len()
        });
}

fn ten() -> Scene {
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
    Scene::new(10e6, 10_000_000, 3, carriers)
}
