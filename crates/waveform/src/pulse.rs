//! Root-raised-cosine shaping (EN 302 307-1, 5.6) at any number of samples a symbol.

use crate::WaveformError;
use num_complex::Complex;
use slantpath_signal::pulse::root_raised_cosine;

/// Roll-offs: 0.35, 0.25 and 0.20 of EN 302 307-1, then 0.15, 0.10 and 0.05 of EN 302 307-2 (DVB-S2X).
pub const ROLLOFFS: [f64; 6] = [0.35, 0.25, 0.20, 0.15, 0.10, 0.05];

/// Positions within a symbol at which the pulse is tabulated; between them it is interpolated linearly (error below
/// -100 dB).
const PHASES: usize = 1024;

/// A tabulated pulse of unit energy per symbol.
#[derive(Debug, Clone)]
pub struct Pulse {
    rolloff: f64,
    span: usize,
    /// `PHASES + 1` rows of `2 span` taps: row `p` holds the pulse at `p/PHASES - j` for the symbols around.
    table: Vec<f32>,
}

impl Pulse {
    /// A pulse cut at `span` symbols either side: 32 leave an error of about -55 dB at a roll-off of 0.20.
    ///
    /// # Errors
    /// Roll-off not in 0.01 to 1, or a span of 0 or above 256.
    pub fn new(rolloff: f64, span: usize) -> Result<Self, WaveformError> {
        if !(0.01..=1.0).contains(&rolloff) {
            return Err(WaveformError::OutOfRange {
                name: "roll-off",
                value: rolloff,
                range: "0.01 to 1",
            });
        }
        if !(1..=256).contains(&span) {
            return Err(WaveformError::OutOfRange {
                name: "span in symbols",
                value: span as f64,
                range: "1 to 256",
            });
        }
        let mut table = Vec::with_capacity((PHASES + 1) * 2 * span);
        for p in 0..=PHASES {
            for j in 0..2 * span {
                // Symbol number floor(u) - span + 1 + j.
                let d = p as f64 / PHASES as f64 + span as f64 - 1.0 - j as f64;
                table.push(root_raised_cosine(d, rolloff) as f32);
            }
        }
        Ok(Self {
            rolloff,
            span,
            table,
        })
    }

    /// Roll-off.
    pub fn rolloff(&self) -> f64 {
        self.rolloff
    }

    /// Symbols either side at which the pulse is cut.
    pub fn span(&self) -> usize {
        self.span
    }

    /// Adds `amplitude * sum_k a_k g(u_i - k)` to each sample, `u_i = start + i * symbols_per_sample` in symbols: mean
    /// power `amplitude^2` for symbols of unit mean power. Symbols beyond the ends are zero.
    pub fn shape_into(
        &self,
        symbols: &[Complex<f32>],
        start: f64,
        symbols_per_sample: f64,
        amplitude: f32,
        out: &mut [Complex<f32>],
    ) {
        let width = 2 * self.span;
        for (i, o) in out.iter_mut().enumerate() {
            let u = start + i as f64 * symbols_per_sample;
            let k0 = u.floor();
            let x = (u - k0) * PHASES as f64;
            let p = (x as usize).min(PHASES - 1);
            let w = (x - p as f64) as f32;
            let first = k0 as i64 - self.span as i64 + 1;
            let (skip, from) = if first < 0 {
                ((-first) as usize, 0)
            } else {
                (0, first as usize)
            };
            if skip >= width || from >= symbols.len() {
                continue;
            }
            let n = (width - skip).min(symbols.len() - from);
            let row = p * width + skip;
            let (a, b) = (
                &self.table[row..row + n],
                &self.table[row + width..row + width + n],
            );
            let (mut re, mut im) = (0f32, 0f32);
            for ((s, a), b) in symbols[from..from + n].iter().zip(a).zip(b) {
                let g = a + w * (b - a);
                re += s.re * g;
                im += s.im * g;
            }
            o.re += amplitude * re;
            o.im += amplitude * im;
        }
    }

    /// As [`Pulse::shape_into`] with amplitude 1 into new samples.
    pub fn shape(
        &self,
        symbols: &[Complex<f32>],
        start: f64,
        samples_per_symbol: f64,
        samples: usize,
    ) -> Vec<Complex<f32>> {
        let mut out = vec![Complex::default(); samples];
        self.shape_into(symbols, start, 1.0 / samples_per_symbol, 1.0, &mut out);
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn agrees_with_the_formula_at_a_fractional_rate() {
        let p = Pulse::new(0.25, 20).unwrap();
        let mut s = vec![Complex::new(0f32, 0.0); 60];
        s[30] = Complex::new(1.0, -2.0);
        let sps = 2.7391;
        for (i, z) in p.shape(&s, 12.3, sps, 90).iter().enumerate() {
            let u = 12.3 + i as f64 / sps - 30.0;
            let want = if u.abs() < 19.0 {
                root_raised_cosine(u, 0.25)
            } else {
                continue;
            };
            assert!((f64::from(z.re) - want).abs() < 3e-6, "{u}");
            assert!((f64::from(z.im) + 2.0 * want).abs() < 6e-6);
        }
        assert!(Pulse::new(0.0, 8).is_err());
        assert!(Pulse::new(0.2, 0).is_err());
    }
}
