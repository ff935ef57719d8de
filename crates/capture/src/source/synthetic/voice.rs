//! Something like speech: harmonics of a wandering pitch, in syllables.

use std::f64::consts::TAU;

use num_complex::Complex;
use rand::Rng;
use rand_chacha::ChaCha8Rng;

const PITCH_HZ: f64 = 120.0;
/// Harmonics inside 300 to 2700 Hz whatever the wander.
const FIRST: usize = 3;
const LAST: usize = 20;

pub(super) struct Voice {
    /// Complex amplitude of each harmonic from the first; their powers add to 1.
    harmonics: Vec<Complex<f64>>,
    lower: bool,
    shift: f64,
    theta: f64,
    /// Reciprocal of the envelope's root mean square.
    scale: f64,
}

impl Voice {
    pub(super) fn new(lower: bool, mut rng: ChaCha8Rng) -> Self {
        let mut draw = || f64::from(rng.next_u32()) / 4_294_967_296.0;
        let shift = 100.0 * draw();
        let raw: Vec<Complex<f64>> = (FIRST..=LAST)
            .map(|k| Complex::from_polar((0.2 + draw()) / (k as f64).sqrt(), TAU * draw()))
            .collect();
        let power: f64 = raw.iter().map(Complex::norm_sqr).sum();
        let n = 10_000;
        let square = (0..n)
            .map(|k| envelope(0.3 * f64::from(k)).powi(2))
            .sum::<f64>()
            / f64::from(n);
        Self {
            harmonics: raw.into_iter().map(|z| z / power.sqrt()).collect(),
            lower,
            shift,
            theta: 0.0,
            scale: 1.0 / square.sqrt(),
        }
    }

    /// The sample at `t_s`, `dt_s` after the one before; mean power 1 over a long time.
    pub(super) fn next(&mut self, t_s: f64, dt_s: f64) -> Complex<f64> {
        let t = t_s + self.shift;
        self.theta += TAU
            * PITCH_HZ
            * dt_s
            * (1.0 + 0.1 * (TAU * 0.7 * t).sin() + 0.02 * (TAU * 5.3 * t).sin());
        self.theta %= TAU;
        let z = Complex::cis(self.theta);
        let mut sum = Complex::new(0.0, 0.0);
        for a in self.harmonics.iter().rev() {
            sum = sum * z + a;
        }
        let x = sum * z.powu(FIRST as u32) * (envelope(t) * self.scale);
        if self.lower { x.conj() } else { x }
    }
}

/// Syllables of changing height, with gaps between words.
fn envelope(t_s: f64) -> f64 {
    let syllable = (TAU * 3.7 * t_s).sin() + 0.5;
    let word = (TAU * 0.61 * t_s).sin() + 0.7;
    syllable.max(0.0) * word.max(0.0).sqrt()
}
