//! One beacon in one stretch of its channel: power, noise density beside it, frequency and drift.
//!
//! The power of a beacon is measured as energy: the mean power of BPSK with root-raised-cosine pulses does not
//! depend on the data, and a keyed carrier's plateau does not depend on its message, hence neither adds scatter of
//! its own, and phase noise moves energy about without losing any of it within the band. For a signal of power C in
//! noise of density N0, measured over T seconds in a bandwidth B, the variance of the power is
//! `2 C N0 / T + N0^2 B / T`; the first term is the Cramer-Rao bound of a known signal in known noise.

mod keyed;
mod line;
mod neighbours;
mod phase;

pub use line::{SecondLine, squared_line};

use crate::plan::BeaconKind;
use slantpath_signal::{Block, C32, C64};

/// Where a block may be looked at.
#[derive(Debug, Clone, Copy)]
pub struct View {
    /// Frequency at which the beacon should stand, Hz from the channel's centre.
    pub predicted_hz: f64,
    /// How far it may stand from there, Hz.
    pub search_hz: f64,
    /// Largest drift tried, Hz/s, around `drift_hz_per_s`.
    pub drift_max: f64,
    /// Drift around which to search, Hz/s.
    pub drift_hz_per_s: f64,
    /// Lowest and highest usable frequency for the noise, Hz from the channel's centre.
    pub noise_lo_hz: f64,
    /// See `noise_lo_hz`.
    pub noise_hi_hz: f64,
    /// The noise falls on one side of the beacon, where its passband ends.
    pub falling: bool,
    /// The recording's centre, where the receiver puts its direct current, Hz from the channel's centre.
    pub dc_hz: f64,
}

/// What one stretch showed. Powers in full scale squared, densities per hertz, frequencies in Hz from the channel's
/// centre at the middle of the stretch.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockResult {
    /// Seconds.
    pub duration_s: f64,
    /// Beacon power.
    pub c: f64,
    /// Variance of the energy measurement, without the noise subtracted from it.
    pub var_energy: f64,
    /// Bandwidth in which noise was subtracted, Hz.
    pub noise_band_hz: f64,
    /// Noise density at the beacon's frequency.
    pub n0: f64,
    /// Relative variance of `n0`.
    pub var_n0: f64,
    /// Order of the curve through the noise beside the beacon.
    pub n0_order: usize,
    /// Noise bandwidth used beside the beacon, Hz.
    pub n0_band_hz: f64,
    /// Frequency.
    pub f_hz: f64,
    /// Standard uncertainty of the frequency, Hz.
    pub u_f_hz: f64,
    /// Drift, Hz/s.
    pub drift: f64,
    /// Standard uncertainty of the drift, Hz/s.
    pub u_drift: f64,
    /// Line over its surroundings (squared line for BPSK), power ratio.
    pub line_snr: f64,
    /// Seconds during which the carrier was down; the whole stretch without keying.
    pub down_s: f64,
    /// Power of the coherent part where it can be told apart from the energy, for BPSK and keyed carriers.
    pub coherent_c: Option<f64>,
    /// Power left in the gaps of a keyed carrier above the noise, over the key-down power.
    pub gap_excess: Option<(f64, f64)>,
    /// Phase steps between neighbouring pieces larger than a radian: seconds from the start, radians.
    pub phase_steps: Vec<(f64, f64)>,
    /// A line within the band that is not the beacon's own, when one stands out.
    pub second_line: Option<SecondLine>,
    /// Share of a line's power that cannot be told from the receiver's direct current over this stretch; put back.
    pub dc_share: f64,
}

impl BlockResult {
    /// Relative variance of C/N0.
    ///
    /// `C = E - N0 B`: an error of N0 enters both terms of the ratio.
    pub fn relative_variance(&self) -> f64 {
        let share = 1.0 + self.n0 * self.noise_band_hz / self.c.max(1e-300);
        self.var_energy / (self.c * self.c).max(1e-300) + self.var_n0 * share * share
    }
}

/// Samples without what stands exactly at one frequency: the receiver's own direct current. Whatever is not within
/// a few hertz (over the length, a few turns) of it loses as much as one bin of its spectrum.
fn without_line(y: &[C32], rate_hz: f64, f_hz: f64) -> impl Iterator<Item = C32> {
    let turn = C64::from_polar(1.0, -std::f64::consts::TAU * f_hz / rate_hz);
    let mut at = C64::new(1.0, 0.0);
    let mut mean = C64::default();
    for z in y {
        mean += C64::new(f64::from(z.re), f64::from(z.im)) * at;
        at *= turn;
    }
    mean /= y.len().max(1) as f64;
    let mut at = C64::new(1.0, 0.0);
    y.iter().map(move |z| {
        let own = mean * at.conj();
        at *= turn;
        C32::new(z.re - own.re as f32, z.im - own.im as f32)
    })
}

/// Share of the power of a line at `f_hz` in the middle of a stretch that lies along the direct current at `dc_hz`:
/// `|mean of exp(i phase)|^2`. A drifting line that passes over it stays with it for a good part of the stretch.
fn along_dc(f_hz: f64, drift: f64, dc_hz: f64, duration_s: f64) -> f64 {
    use std::f64::consts::{PI, TAU};
    let df = f_hz - dc_hz;
    // Far off, what is left is the ends': below 1e-5 of the power.
    let nearest = df.abs() - 0.5 * drift.abs() * duration_s;
    if nearest * duration_s > 100.0 {
        return 0.0;
    }
    let turns = (df.abs() + 0.5 * drift.abs() * duration_s) * duration_s;
    let n = (16.0 * turns).ceil().clamp(64.0, 20_000.0) as usize;
    let sum: C64 = (0..n)
        .map(|i| {
            let t = ((i as f64 + 0.5) / n as f64 - 0.5) * duration_s;
            C64::from_polar(1.0, TAU * df * t + PI * drift * t * t)
        })
        .sum();
    (sum / n as f64).norm_sqr()
}

/// Measures one stretch of channel samples. `None` when the stretch is too short or no noise can be seen beside it.
pub fn measure_block(y: &[C32], rate_hz: f64, kind: BeaconKind, v: &View) -> Option<BlockResult> {
    let mut own = Vec::new();
    let y = if v.dc_hz.abs() < 0.5 * rate_hz {
        own.extend(without_line(y, rate_hz, v.dc_hz));
        &own
    } else {
        y
    };
    let block = Block::new(y, rate_hz);
    if block.len() < 512 {
        return None;
    }
    let half = kind.half_width_hz();
    let found = match kind {
        BeaconKind::Carrier => line::carrier(&block, v, half, true),
        BeaconKind::KeyedCarrier => line::carrier(&block, v, half, false),
        BeaconKind::Bpsk { .. } => line::squared(&block, v, half),
        BeaconKind::Modulated { .. } => None,
    }?;
    let f = found.f_hz;
    let noise = neighbours::noise_beside(&block, f, half, v)?;
    let t = block.duration_s();
    let mut r = BlockResult {
        duration_s: t,
        c: 0.0,
        var_energy: 0.0,
        noise_band_hz: 0.0,
        n0: noise.n0,
        var_n0: noise.relative_variance,
        n0_order: noise.order,
        n0_band_hz: noise.band_hz,
        f_hz: f,
        u_f_hz: found.u_f_hz,
        drift: found.drift,
        u_drift: found.u_drift,
        line_snr: found.snr,
        down_s: t,
        coherent_c: None,
        gap_excess: None,
        phase_steps: found.phase_steps,
        // A peak among some thousand bins of noise reaches ln(1000) = 7; five more are beyond doubt.
        second_line: found.second_line.filter(|l| l.snr > 20.0),
        dc_share: match kind {
            BeaconKind::Carrier | BeaconKind::KeyedCarrier if v.dc_hz.abs() < 0.5 * rate_hz => {
                along_dc(f, found.drift, v.dc_hz, t)
            }
            _ => 0.0,
        },
    };
    match kind {
        BeaconKind::KeyedCarrier => {
            let k = keyed::key_down(&block, f, noise.n0)?;
            r.c = k.power;
            r.noise_band_hz = k.noise_band_hz;
            r.down_s = k.down_s;
            r.gap_excess = k.gap_excess;
            // The mean that was taken off holds `duty` of the line's; it lifts the gaps and lowers the plateau.
            let duty = (k.down_s / t).min(1.0);
            let kept = 1.0 - r.dc_share * duty * (2.0 - duty);
            r.c /= kept.max(0.1);
        }
        _ => {
            let (e, band) = block.power(f - half, f + half);
            r.c = e - noise.n0 * band;
            r.noise_band_hz = band;
            r.coherent_c = found.coherent_c;
            r.c /= (1.0 - r.dc_share).max(0.1);
        }
    }
    if let Some(l) = r.second_line {
        // Uncorrelated with the beacon: its energy adds to the beacon's and is taken off.
        r.c -= l.power;
    }
    r.var_energy = (2.0 * r.c.max(0.0) * r.n0 + r.n0 * r.n0 * r.noise_band_hz) / r.down_s.max(1e-9);
    r.c.is_finite().then_some(r)
}
