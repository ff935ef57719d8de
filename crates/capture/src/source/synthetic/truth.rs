//! What a measurement of the recording ought to find.

use slantpath_quantity::{from_db, to_db};

use super::scene::{Kind, SatelliteNoise, Scene};

/// What a measurement ought to find. Levels are expectations, not rescaled to the realised noise.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// One for each signal of the scene, in its order.
    pub signals: Vec<SignalTruth>,
    /// Mean density over the central 60 % of the passband over the receiver's own, its slope removed, in dB.
    pub noise_step_db: Option<f64>,
    /// The same with the converter's step noise in both densities.
    pub noise_step_with_steps_db: Option<f64>,
    /// Density of the receiver's noise in dB to full scale per Hz, in the middle of the band.
    pub receiver_noise_dbfs_per_hz: f64,
    /// Power of the converter's step noise over that of the receiver's noise.
    pub step_noise_ratio: f64,
}

/// What a measurement of one signal ought to find.
#[derive(Debug, Clone, PartialEq)]
pub struct SignalTruth {
    /// The signal's name.
    pub name: String,
    /// Carrier in the middle of the recording's time, in Hz from the middle of its band.
    pub middle_hz: f64,
    /// Carrier at the first sample.
    pub start_hz: f64,
    /// How fast it moves.
    pub drift_hz_per_s: f64,
    /// C/N0 with N0 the receiver's and the satellite's noise at its frequency, in dBHz.
    pub cn0_dbhz: f64,
    /// The same with the converter's step noise added to N0.
    pub cn0_with_steps_dbhz: f64,
}

pub(super) fn truth(scene: &Scene) -> Truth {
    let fs = scene.sample_rate_hz;
    let seconds = scene.samples.map_or(0.0, |n| n as f64 / fs);
    let got = from_db(scene.received_db);
    // Bennett's model: a step q adds q^2/12 to each component, white over the band.
    let q = scene.format.lsb().map_or(0.0, |lsb| 2.0 * lsb * lsb / 12.0);
    // In units of the reference receiver noise.
    let steps = q / from_db(scene.noise_dbfs);
    let fade = mean_fade(scene, seconds);
    let noise_fade = if scene.fade.is_some_and(|f| f.moves_noise) {
        fade
    } else {
        1.0
    };
    let sign = if scene.inverted { -1.0 } else { 1.0 };
    let lo = scene.oscillator;
    let signals = scene
        .signals
        .iter()
        .map(|s| {
            let middle = s.offset_hz + lo.offset_hz + lo.drift_hz_per_s * seconds / 2.0;
            let there = scene.satellite_density(noise_offset(s.offset_hz, &s.kind));
            let c = from_db(s.cn0_dbhz) * (1.0 + there) * got * fade;
            let n0 = scene.receiver_noise + there * got * noise_fade;
            let through = scene.filter.map_or(1.0, |f| f.response(middle, fs));
            SignalTruth {
                name: s.name.clone(),
                middle_hz: sign * middle,
                start_hz: sign * (s.offset_hz + lo.offset_hz),
                drift_hz_per_s: sign * lo.drift_hz_per_s,
                cn0_dbhz: to_db(c / n0),
                cn0_with_steps_dbhz: to_db(c / (n0 + steps / through)),
            }
        })
        .collect();
    let inside = match scene.satellite_noise {
        SatelliteNoise::Passband(p) => {
            let n = 600;
            let at = |k: i32| {
                p.density(p.centre_hz + p.width_hz * 0.3 * f64::from(2 * k - n) / f64::from(n))
            };
            Some((0..=n).map(at).sum::<f64>() / f64::from(n + 1) * got * noise_fade)
        }
        _ => None,
    };
    let r = scene.receiver_noise;
    Truth {
        signals,
        noise_step_db: inside.map(|d| to_db((r + d) / r)),
        noise_step_with_steps_db: inside.map(|d| to_db((r + d + steps) / (r + steps))),
        receiver_noise_dbfs_per_hz: scene.noise_dbfs + to_db(r / fs),
        step_noise_ratio: steps / r,
    }
}

/// Where a signal's power lies: a voice's is beside its suppressed carrier.
pub(super) fn noise_offset(offset_hz: f64, kind: &Kind) -> f64 {
    match kind {
        Kind::Voice { lower: true } => offset_hz - 1500.0,
        Kind::Voice { lower: false } => offset_hz + 1500.0,
        _ => offset_hz,
    }
}

fn mean_fade(scene: &Scene, seconds: f64) -> f64 {
    let Some(fade) = scene.fade else {
        return 1.0;
    };
    let n = 2000;
    (0..n)
        .map(|k| from_db(fade.level_db(seconds * (f64::from(k) + 0.5) / f64::from(n))))
        .sum::<f64>()
        / f64::from(n)
}
