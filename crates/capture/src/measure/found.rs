//! What the stretches of a beacon say together, and what else stands on it.

use super::beacons::{SEEN, seen};
use crate::beacon::BlockResult;
use slantpath_quantity::to_db;
use slantpath_signal::fit::polynomial;

/// Share of a line's power along the direct current from which the two cannot be told apart well enough.
const DC_SHARE: f64 = 0.25;

/// Means over the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct BeaconFound {
    /// Power, full scale squared (key-down for a keyed carrier).
    pub c: f64,
    /// Noise density at its frequency, full scale squared per hertz.
    pub n0: f64,
    /// C/N0, Hz.
    pub c_n0: f64,
    /// Relative standard uncertainty of C/N0 from averaging: carrier's part.
    pub u_carrier: f64,
    /// The same: noise density's part.
    pub u_noise: f64,
    /// Frequency in the middle of the recording, Hz from its centre, and standard uncertainty.
    pub f_hz: f64,
    /// See `f_hz`.
    pub u_f_hz: f64,
    /// Drift, Hz/s, and standard uncertainty.
    pub drift: f64,
    /// See `drift`.
    pub u_drift: f64,
    /// Seconds of carrier used.
    pub down_s: f64,
    /// Noise bandwidth used, Hz.
    pub n0_band_hz: f64,
    /// Energy over coherent power less one, with standard uncertainty: interference on the beacon raises it.
    pub interference: Option<(f64, f64)>,
    /// Power in key gaps over key-down power, with standard uncertainty.
    pub gap_excess: Option<(f64, f64)>,
    /// Steps of the phase: seconds from the start and radians.
    pub phase_steps: Vec<(f64, f64)>,
    /// What else stands on the beacon, in words, when something does.
    pub company: Option<Company>,
    /// Relative standard uncertainty of C/N0 that it, or the passband's falling side, adds.
    pub u_company: f64,
    /// A stray line within the beacon's band: power over the beacon's and distance from its carrier, Hz.
    pub second_line: Option<(f64, f64)>,
    /// Scatter of the power between stretches beyond what averaging explains, dB (0 with one stretch).
    pub fading_db: f64,
}

impl BeaconFound {
    /// Relative standard uncertainty of C/N0.
    pub fn relative_u(&self) -> f64 {
        self.u_carrier.hypot(self.u_noise).hypot(self.u_company)
    }
}

/// Puts the stretches (time of the middle, result) together; `None` when the beacon does not stand out of the noise.
pub(super) fn combine(
    blocks: &[(f64, BlockResult)],
    zero_hz: f64,
    wide: bool,
    is_line: bool,
    duration_s: f64,
) -> Option<BeaconFound> {
    let (mut wc, mut wn) = (0.0, 0.0);
    let (mut c, mut n0, mut var_e, mut var_n, mut band, mut n_band) =
        (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for (_, b) in blocks {
        wc += b.down_s;
        wn += b.duration_s;
    }
    if !(wc > 0.0 && wn > 0.0) {
        return None;
    }
    for (_, b) in blocks {
        let (p, q) = (b.down_s / wc, b.duration_s / wn);
        c += p * b.c;
        n0 += q * b.n0;
        var_e += p * p * b.var_energy;
        var_n += q * q * b.var_n0 * b.n0 * b.n0;
        band += p * b.noise_band_hz;
        n_band += q * b.n0_band_hz;
    }
    let clear: Vec<&(f64, BlockResult)> = blocks.iter().filter(|(_, b)| wide || seen(b)).collect();
    if !(c > SEEN * var_e.sqrt() && n0 > 0.0) || clear.is_empty() {
        return None;
    }
    let share = 1.0 + n0 * band / c;
    // Frequency against time.
    let mid = 0.5 * duration_s;
    let (t, f): (Vec<f64>, Vec<f64>) = clear.iter().map(|(t, b)| (*t, b.f_hz)).unzip();
    let w: Vec<f64> = clear
        .iter()
        .map(|(_, b)| b.u_f_hz.max(1e-4).powi(-2))
        .collect();
    let (mut f_hz, mut u_f, mut drift, mut u_drift);
    let (t0, b0) = clear.first()?;
    f_hz = b0.f_hz + b0.drift * (mid - t0);
    u_f = b0.u_f_hz.hypot(b0.u_drift * (mid - t0));
    drift = b0.drift;
    u_drift = b0.u_drift;
    if clear.len() >= 2
        && let Some(p) = polynomial(&t, &f, &w, 1, mid, 0.5 * duration_s.max(1e-9), &[])
    {
        let stretch = (p.chi2 / (clear.len() as f64 - 2.0).max(1.0))
            .max(1.0)
            .sqrt();
        f_hz = p.at(mid);
        u_f = p.variance_at(mid).sqrt() * stretch;
        drift = p.slope_at(mid);
        u_drift = p.variance_of(&[0.0, 1.0]).sqrt() / (0.5 * duration_s) * stretch;
    }
    // Energy against coherent power.
    let coherent: Vec<(f64, f64, f64)> = blocks
        .iter()
        .filter_map(|(_, b)| Some((b.duration_s, b.c, b.coherent_c?)))
        .collect();
    let interference = (!coherent.is_empty()).then(|| {
        let e: f64 = coherent.iter().map(|x| x.0 * x.1).sum();
        let k: f64 = coherent.iter().map(|x| x.0 * x.2).sum();
        // Both carry the same cross term of signal and noise; what differs is noise against noise, and N0.
        let u = ((0.75 * n0 * n0 * band / wc).sqrt() / c).hypot(var_n.sqrt() * band / c);
        (e / k.max(1e-300) - 1.0, u)
    });
    let gaps: Vec<(f64, f64)> = blocks.iter().filter_map(|(_, b)| b.gap_excess).collect();
    let gap_excess = (!gaps.is_empty()).then(|| {
        let w: f64 = gaps.iter().map(|g| g.1.powi(-2)).sum();
        (
            gaps.iter().map(|g| g.0 * g.1.powi(-2)).sum::<f64>() / w,
            w.powf(-0.5),
        )
    });
    let lines: Vec<(f64, f64, f64)> = blocks
        .iter()
        .filter_map(|(_, b)| b.second_line.map(|l| (b.duration_s, l.power, l.offset_hz)))
        .collect();
    let second_line = lines.first().map(|first| {
        let p = lines.iter().map(|l| l.0 * l.1).sum::<f64>() / wn;
        (p / c.max(1e-300), first.2)
    });
    let phase_steps = blocks
        .iter()
        .flat_map(|(t, b)| {
            b.phase_steps
                .iter()
                .map(move |s| (t - 0.5 * b.duration_s + s.0, s.1))
        })
        .collect();
    let k = blocks.len() as f64;
    let fading_db = if blocks.len() >= 3 {
        let db: Vec<f64> = blocks.iter().map(|(_, b)| to_db(b.c.max(1e-300))).collect();
        let m = db.iter().sum::<f64>() / k;
        let var = db.iter().map(|x| (x - m).powi(2)).sum::<f64>() / (k - 1.0);
        let own = slantpath_quantity::decibel::db_of_relative_u((var_e * k).sqrt() / c).powi(2);
        (var - own).max(0.0).sqrt()
    } else {
        0.0
    };
    let (c, mut company, u_company) = without_company(c, interference, gap_excess, second_line);
    let from_dc = zero_hz * f64::from(u8::from(!wide)) + f_hz;
    let dc_share = blocks
        .iter()
        .map(|(_, b)| b.duration_s * b.dc_share)
        .sum::<f64>()
        / wn;
    if is_line && dc_share > DC_SHARE {
        company = Some(Company {
            evidence: format!(
                "its carrier stands {from_dc:+.1} Hz from the recording's centre, where the receiver puts its direct \
                 current"
            ),
            ratio: 1.0,
            trusted: false,
        });
    }
    // What was put back holds for a steady drift: a third of it stays uncertain.
    let u_company = u_company.hypot(0.3 * dc_share);
    Some(BeaconFound {
        c,
        n0,
        c_n0: c / n0,
        u_carrier: var_e.sqrt() / c,
        company,
        u_company,
        u_noise: var_n.sqrt() / n0 * share,
        f_hz: zero_hz * f64::from(u8::from(!wide)) + f_hz,
        u_f_hz: u_f,
        drift,
        u_drift,
        down_s: wc,
        n0_band_hz: n_band,
        interference,
        gap_excess,
        phase_steps,
        second_line,
        fading_db,
    })
}

/// Something else on a beacon.
#[derive(Debug, Clone, PartialEq)]
pub struct Company {
    /// What was seen.
    pub evidence: String,
    /// Its power over the beacon's.
    pub ratio: f64,
    /// Whether the beacon's own level is still worth stating.
    pub trusted: bool,
}

/// Beacon power without what else stands in its band, what that is, and the relative uncertainty it adds.
fn without_company(
    c: f64,
    interference: Option<(f64, f64)>,
    gap_excess: Option<(f64, f64)>,
    second_line: Option<(f64, f64)>,
) -> (f64, Option<Company>, f64) {
    // A line that turns so slowly that the phase of the keyed beacon was followed along with it shows in the gaps alone.
    let in_gaps = gap_excess
        .filter(|(e, u)| *e > 5.0 * u)
        .map_or(0.0, |(e, _)| e);
    let together = second_line.map_or(1.0, |(ratio, _)| 1.0 + ratio);
    if let Some((ratio, offset)) = second_line
        && ratio > 0.003
        && 1.2 * ratio > in_gaps * together
    {
        let company = Company {
            evidence: format!(
                "a line {:.1} dB {} stands {offset:.1} Hz from its carrier",
                to_db(ratio).abs(),
                if ratio < 1.0 {
                    "weaker than it"
                } else {
                    "stronger than it"
                }
            ),
            ratio,
            // A binary modulation is told from a line by its axis; of two lines either may be the beacon.
            trusted: interference.is_some() && ratio < 1.5 || ratio < 0.1,
        };
        // Its power was taken off already, bin by bin; a tenth of it stays uncertain.
        return (c, Some(company), 0.05 * ratio);
    }
    if let Some((e, u)) = gap_excess
        && e > 5.0 * u
        && e > 0.005
    {
        let company = Company {
            evidence: format!(
                "{:.1} % of its key-down power remains in the gaps of its keying",
                100.0 * e
            ),
            ratio: e,
            trusted: e < 0.3,
        };
        // The second line, if there is one, is part of what is seen in the gaps.
        return (c * together * (1.0 - e), Some(company), 0.3 * e);
    }
    // Phase noise of a poor oscillator takes some per cent off the coherent part as well.
    if let Some((x, u)) = interference
        && x > 5.0 * u
        && x > 0.08
    {
        let company = Company {
            evidence: format!(
                "{:.1} % of the energy in its band does not carry its phase",
                100.0 * x
            ),
            ratio: x,
            trusted: x < 0.5,
        };
        return (c / (1.0 + x), Some(company), 0.15 * x);
    }
    (c, None, 0.0)
}
