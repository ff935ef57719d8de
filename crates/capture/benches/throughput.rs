//! Power spectral density of ci16 samples, and a whole measurement of a narrowband recording: samples a second and memory.
//!
//! References: `scipy.signal.welch` on the same bytes in the same run (Hann window, half overlap, frames as long as ours;
//! conversion from integers counted on both sides), wanted at least 40 times slower; 100 million samples a second and
//! 200 MB for the measurement of a recording of any length. Python with scipy is taken from `SLANTPATH_PYTHON`, else
//! `python3`; without it the ratio is left out, in words. `cargo bench -p slantpath-capture --bench throughput`.

#[path = "../tests/honest/mod.rs"]
mod honest;

use honest::plan_of;
use slantpath_capture::source::synthetic::{
    Kind, Passband, SatelliteNoise, Scene, SyntheticSource,
};
use slantpath_capture::source::{OpenOptions, open};
use slantpath_capture::{Settings, measure};
use slantpath_signal::{BankPlan, C32, FrameBank};
use slantpath_stats::{Progress, Stop};
use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

const RATE_HZ: f64 = 2.4e6;
/// Samples of a frame.
const FRAME: usize = 16_384;
/// The recording that is written once, and how often it is told over in the file.
const SECONDS: f64 = 4.0;
const TIMES: usize = 12;

const WELCH: &str = "
import sys, time, numpy as np
from scipy.signal import welch
raw = np.fromfile(sys.argv[1], dtype='<i2')
n = int(sys.argv[3])
best = 1e9
for _ in range(3):
    t = time.perf_counter()
    z = (raw.astype(np.float32) / 32767.0).view(np.complex64)
    welch(z, fs=float(sys.argv[2]), window='hann', nperseg=n, noverlap=n // 2, detrend=False, return_onesided=False)
    best = min(best, time.perf_counter() - t)
print(raw.size // 2 / best)
";

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut scene = scene();
    scene.format = "ci16_le".parse()?;
    let folder = tempfile::tempdir()?;
    let (short, long) = (
        folder.path().join("short.ci16"),
        folder.path().join("long.ci16"),
    );
    write(&scene, &short, 1)?;
    write(&scene, &long, TIMES)?;

    let best = (0..5)
        .map(|_| spectrum(&short))
        .collect::<Result<Vec<f64>, _>>()?
        .into_iter()
        .fold(0.0, f64::max);
    println!(
        "PSD from the file       {:8.1} Msample/s (frames of {FRAME})",
        best * 1e-6
    );
    let python = std::env::var("SLANTPATH_PYTHON").unwrap_or_else(|_| "python3".into());
    let welch = Command::new(&python)
        .args(["-c", WELCH])
        .arg(&short)
        .args([RATE_HZ.to_string(), FRAME.to_string()])
        .output();
    match welch
        .ok()
        .and_then(|o| String::from_utf8(o.stdout).ok()?.trim().parse::<f64>().ok())
    {
        Some(theirs) => println!(
            "scipy.signal.welch      {:8.1} Msample/s: {:.1} times slower (40 wanted)",
            theirs * 1e-6,
            best / theirs
        ),
        None => println!("scipy.signal.welch      not here ({python} has no scipy): no ratio"),
    }

    let mut options = OpenOptions::new();
    options.format = Some("ci16".parse()?);
    options.sample_rate_hz = Some(RATE_HZ);
    options.center_hz = scene.center_hz;
    let before = peak_mb();
    for _ in 0..3 {
        let mut source = open(&long, &options)?;
        let t = Instant::now();
        let m = measure(
            &mut *source,
            &plan_of(&scene),
            &Settings::default(),
            &Progress::silent(),
            &Stop::new(),
        )?;
        println!(
            "measurement             {:8.1} Msample/s ({} samples, {} answers; 100 wanted)",
            m.samples as f64 / t.elapsed().as_secs_f64() * 1e-6,
            m.samples,
            m.answers.len()
        );
    }
    match (before, peak_mb()) {
        (Some(a), Some(b)) => {
            println!("peak memory             {b:8.1} MB, {a:.1} MB of it before (200 wanted)");
        }
        _ => println!("peak memory             not told by this system"),
    }
    Ok(())
}

/// A narrowband passband with two beacons and some traffic.
fn scene() -> Scene {
    let mut s = Scene::new("throughput", RATE_HZ, SECONDS, 1);
    s.center_hz = Some(10_472.35e6);
    s.satellite_noise = SatelliteNoise::Passband(Passband {
        centre_hz: 0.0,
        width_hz: 500e3,
        level_db: 2.0,
        order: 60,
        tilt_db: 0.1,
        ripple_db: 0.1,
    });
    s.noise_dbfs = -35.0;
    s.with("beacon low", -240e3, 48.0, Kind::Carrier)
        .with("beacon high", 240e3, 46.0, Kind::Carrier)
        .with("voice", 80e3, 45.0, Kind::Voice { lower: false })
}

fn write(scene: &Scene, path: &Path, times: usize) -> Result<(), Box<dyn std::error::Error>> {
    let mut file = std::io::BufWriter::new(std::fs::File::create(path)?);
    for _ in 0..times {
        SyntheticSource::new(scene)?.write_to(&mut file)?;
    }
    Ok(file.flush()?)
}

/// Samples a second.
fn spectrum(path: &Path) -> Result<f64, Box<dyn std::error::Error>> {
    let mut options = OpenOptions::new();
    options.format = Some("ci16".parse()?);
    options.sample_rate_hz = Some(RATE_HZ);
    let t = Instant::now();
    let mut source = open(path, &options)?;
    let mut bank = FrameBank::new(BankPlan::psd_only(RATE_HZ, FRAME));
    let mut room = vec![C32::default(); 1 << 19];
    let mut total = 0;
    loop {
        let k = source.read(&mut room)?;
        if k == 0 {
            break;
        }
        total += k;
        bank.push(&room[..k]);
    }
    bank.finish();
    assert!(bank.sums().spectrum().psd.iter().all(|p| *p > 0.0));
    Ok(total as f64 / t.elapsed().as_secs_f64())
}

/// Largest resident size so far, MB (`VmHWM` of proc(5)).
fn peak_mb() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find(|l| l.starts_with("VmHWM:"))?;
    let kb: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kb * 1.024e-3)
}
