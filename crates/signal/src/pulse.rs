//! Root-raised-cosine pulses.

use crate::C32;
use std::f64::consts::PI;

/// Power response of a root-raised-cosine pulse at `f` (ETSI EN 302 307-1, 5.6): 1 in the middle, 0 beyond
/// `(1 + rolloff)/2` symbol rates. Its integral over frequency is the symbol rate.
pub fn raised_cosine(f_hz: f64, symbol_rate: f64, rolloff: f64) -> f64 {
    let x = f_hz.abs() / symbol_rate;
    let (lo, hi) = (0.5 * (1.0 - rolloff), 0.5 * (1.0 + rolloff));
    if x <= lo {
        1.0
    } else if x >= hi {
        0.0
    } else {
        0.5 * (1.0 + (PI / rolloff * (x - lo)).cos())
    }
}

/// Unit-energy root-raised-cosine pulse, `u` in symbols from its middle.
pub fn root_raised_cosine(u: f64, a: f64) -> f64 {
    if u.abs() < 1e-9 {
        return 1.0 - a + 4.0 * a / PI;
    }
    if a > 0.0 && (u.abs() - 1.0 / (4.0 * a)).abs() < 1e-7 {
        return a / 2f64.sqrt()
            * ((1.0 + 2.0 / PI) * (PI / (4.0 * a)).sin()
                + (1.0 - 2.0 / PI) * (PI / (4.0 * a)).cos());
    }
    ((PI * u * (1.0 - a)).sin() + 4.0 * a * u * (PI * u * (1.0 + a)).cos())
        / (PI * u * (1.0 - (4.0 * a * u).powi(2)))
}

/// Real symbols shaped by a root-raised-cosine pulse and sampled at any rate: sample `i` stands at symbol time
/// `start + i * symbols_per_sample`. The pulse is cut at 32 symbols either side.
pub fn shape(
    symbols: &[f64],
    n: usize,
    symbols_per_sample: f64,
    rolloff: f64,
    start: f64,
) -> Vec<f64> {
    const SPAN: i64 = 32;
    (0..n)
        .map(|i| {
            let u = start + i as f64 * symbols_per_sample;
            let k0 = u.floor() as i64;
            (k0 - SPAN + 1..=k0 + SPAN)
                .filter_map(|k| {
                    let s = usize::try_from(k).ok().and_then(|k| symbols.get(k))?;
                    Some(s * root_raised_cosine(u - k as f64, rolloff))
                })
                .sum()
        })
        .collect()
}

/// Mean power of samples.
pub fn mean_power(x: &[C32]) -> f64 {
    if x.is_empty() {
        return 0.0;
    }
    x.iter().map(|z| f64::from(z.norm_sqr())).sum::<f64>() / x.len() as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pulse_has_unit_energy_and_no_intersymbol_interference() {
        // Matched pair sampled at whole symbols is 1 at 0 and 0 elsewhere (Nyquist's first criterion).
        let over = 16;
        for a in [0.2, 0.25, 0.5] {
            let g: Vec<f64> = (-64 * over..=64 * over)
                .map(|i| root_raised_cosine(i as f64 / over as f64, a))
                .collect();
            for lag in 0..4 {
                let d = lag * over as usize;
                let r: f64 = (0..g.len() - d).map(|i| g[i] * g[i + d]).sum::<f64>() / over as f64;
                assert!(
                    (r - if lag == 0 { 1.0 } else { 0.0 }).abs() < 2e-3,
                    "{a} {lag} {r}"
                );
            }
        }
    }

    #[test]
    fn spectrum_integrates_to_the_symbol_rate() {
        let (rs, a) = (1200.0, 0.5);
        let s: f64 = (-2000..2000)
            .map(|f| raised_cosine(f as f64 + 0.5, rs, a))
            .sum();
        assert!((s - rs).abs() < 1e-3 * rs);
    }
}
