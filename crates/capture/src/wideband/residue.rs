//! What is left of the phase when it is followed with several bandwidths, and Es/N0 from the scatter that phase does not
//! touch.

use super::quality::SignalToNoise;
use slantpath_signal::C64;

/// Phase that is left when the carrier is followed with a certain bandwidth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhaseResidue {
    /// One-sided noise bandwidth of the tracking, Hz.
    pub bandwidth_hz: f64,
    /// Root mean square of what is left, rad.
    pub rms_rad: f64,
    /// Standard uncertainty of its square, rad^2.
    pub u_square: f64,
    /// MER that is left, power ratio: noise and this phase together.
    pub mer: f64,
}

/// Sums over a short block of symbols.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Block {
    pub middle: f64,
    pub n: f64,
    /// Received times conjugate of sent (or decided), over its size.
    pub q: C64,
    pub q2: C64,
    pub qq: f64,
    pub size2: f64,
    pub cross: C64,
    pub phase: f64,
    /// Whether its decisions are hardly ever wrong.
    pub sure: bool,
}

/// Symbols of a block.
pub(super) const BLOCK: usize = 32;

/// Es/N0 from the scatter about decided symbols; along them alone, which phase does not touch, where there is more across
/// them. Only where decisions are hardly ever wrong: at a rate of one in a thousand they make it read high by 0.03 dB
/// (simulated); `wrong` is that rate, and its share is part of `u`.
pub(super) fn decided_es_n0(blocks: &[Block], wrong: f64) -> Option<SignalToNoise> {
    let (mut along, mut across, mut cross, mut size2, mut n) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (i, b) in blocks.iter().enumerate().filter(|(_, b)| b.sure) {
        // Phase from the block and its neighbours.
        let c: C64 = blocks
            .get(i.saturating_sub(1)..(i + 2).min(blocks.len()))?
            .iter()
            .map(|b| b.cross)
            .sum();
        let phase = c.im.atan2(c.re);
        let turned = (b.q2 * C64::cis(-2.0 * phase)).re;
        along += 0.5 * (b.qq + turned);
        // What following the phase over three blocks took up.
        across += 0.5 * (b.qq - turned) / (1.0 - 1.0 / (3.0 * BLOCK as f64));
        cross += (b.cross * C64::cis(-phase)).re;
        size2 += b.size2;
        n += b.n;
    }
    if n < 2_000.0 {
        return None;
    }
    let gain = cross / size2;
    let (along, across) = ((along - gain * gain * size2) / n, across / n);
    if along <= 0.0 {
        return None;
    }
    // One standard deviation of the ratio of both.
    let moves = across > along * (1.0 + (4.0 / n).sqrt());
    let (noise, part) = if moves {
        (2.0 * along, 2.0)
    } else {
        (along + across, 1.0)
    };
    let ratio = gain * gain * (size2 / n) / noise;
    Some(SignalToNoise {
        ratio,
        u: ((part + 2.0 / ratio) / n).sqrt().hypot(7.0 * wrong),
        symbols: n,
    })
}

/// Tangential scatter beyond what the additive noise makes, for windows from short to long.
pub(super) fn residues(
    blocks: &[Block],
    rho: f64,
    u_rho: f64,
    symbol_rate: f64,
) -> Vec<PhaseResidue> {
    let total: f64 = blocks.iter().map(|b| b.n).sum();
    let mut cross = vec![C64::default(); blocks.len() + 1];
    let mut count = vec![0.0; blocks.len() + 1];
    for (i, b) in blocks.iter().enumerate() {
        cross[i + 1] = cross[i] + b.cross;
        count[i + 1] = count[i] + b.n;
    }
    let mut out = Vec::new();
    for half in [1usize, 4, 16, 64, 256] {
        if blocks.len() < 8 * half {
            break;
        }
        let (mut across, mut weight, mut free) = (0.0, 0.0, 0.0);
        for (i, b) in blocks.iter().enumerate() {
            let (lo, hi) = (i.saturating_sub(half), (i + half + 1).min(blocks.len()));
            let c = cross[hi] - cross[lo];
            let turn = C64::cis(-2.0 * c.im.atan2(c.re));
            across += 0.5 * (b.qq - (b.q2 * turn).re);
            weight += b.size2;
            free += b.n * (1.0 - 1.0 / (count[hi] - count[lo]));
        }
        // Noise across the symbols: half of it, less what the tracking itself took up.
        let noise = 0.5 / rho * free;
        let square = (across - noise) / weight;
        let u_square = (noise / weight) * (2.0 / total + u_rho * u_rho).sqrt();
        let window = (2 * half + 1) as f64 * BLOCK as f64;
        out.push(PhaseResidue {
            bandwidth_hz: 0.5 * symbol_rate / window,
            rms_rad: square.max(0.0).sqrt(),
            u_square,
            mer: 1.0 / (1.0 / rho + square.max(0.0)),
        });
    }
    out
}
