//! Continuous-time root-raised-cosine pulses at any ratio of sample rate and symbol rate.

use std::collections::VecDeque;
use std::f64::consts::PI;

use rand::Rng;
use rand_chacha::ChaCha8Rng;

/// Symbols to each side of a pulse that are kept. At roll-off 0.5 the pulse is below 2e-4 beyond.
const SPAN: usize = 24;
/// Steps of the table a symbol; linear interpolation between them is good to 2e-6.
const STEPS: usize = 1024;

/// The pulse of unit energy at `u` symbols from its middle, roll-off `a` (EN 302 307-1, 5.6, is the square root of
/// its spectrum; the time function is its Fourier transform).
pub(super) fn root_raised_cosine(u: f64, a: f64) -> f64 {
    if u.abs() < 1e-9 {
        return 1.0 - a + 4.0 * a / PI;
    }
    let singular = 1.0 / (4.0 * a);
    if (u.abs() - singular).abs() < 1e-7 {
        let q = PI / (4.0 * a);
        return a / 2f64.sqrt() * ((1.0 + 2.0 / PI) * q.sin() + (1.0 - 2.0 / PI) * q.cos());
    }
    let v = 4.0 * a * u;
    ((PI * u * (1.0 - a)).sin() + v * (PI * u * (1.0 + a)).cos()) / (PI * u * (1.0 - v * v))
}

/// A differentially coded stream of random bits, shaped.
pub(super) struct BpskStream {
    /// `STEPS + 1` rows of the pulse at `2 SPAN` symbols.
    table: Vec<f64>,
    rng: ChaCha8Rng,
    /// Amplitudes of the symbols around the current one.
    around: VecDeque<f64>,
    manchester: bool,
    /// Second half of a bit that waits to be sent.
    half: Option<f64>,
    level: f64,
    /// Symbols a sample, and where in the current symbol the next sample lies.
    step: f64,
    phase: f64,
}

impl BpskStream {
    pub(super) fn new(
        baud: f64,
        rolloff: f64,
        manchester: bool,
        sample_rate_hz: f64,
        mut rng: ChaCha8Rng,
    ) -> Self {
        let mut table = Vec::with_capacity((STEPS + 1) * 2 * SPAN);
        for step in 0..=STEPS {
            let fraction = step as f64 / STEPS as f64;
            // The newest symbol lies SPAN symbols ahead of the current one.
            table.extend(
                (0..2 * SPAN)
                    .map(|j| root_raised_cosine(fraction + SPAN as f64 - 1.0 - j as f64, rolloff)),
            );
        }
        let phase = f64::from(rng.next_u32()) / 4_294_967_296.0;
        let chips = if manchester { 2.0 * baud } else { baud };
        let mut stream = Self {
            table,
            rng,
            around: VecDeque::with_capacity(2 * SPAN),
            manchester,
            half: None,
            level: 1.0,
            step: chips / sample_rate_hz,
            phase,
        };
        for _ in 0..2 * SPAN {
            let s = stream.symbol();
            stream.around.push_back(s);
        }
        stream
    }

    fn symbol(&mut self) -> f64 {
        if let Some(second) = self.half.take() {
            return second;
        }
        if self.rng.next_u32() & 1 == 1 {
            self.level = -self.level;
        }
        if self.manchester {
            self.half = Some(-self.level);
        }
        self.level
    }

    /// The next sample; mean power 1 (the pulse's autocorrelation is zero at whole symbols).
    pub(super) fn next(&mut self) -> f64 {
        let at = self.phase * STEPS as f64;
        let row = (at as usize).min(STEPS - 1);
        let w = at - row as f64;
        let from = row * 2 * SPAN;
        let a = self.table.get(from..from + 2 * SPAN).unwrap_or_default();
        let b = self
            .table
            .get(from + 2 * SPAN..from + 4 * SPAN)
            .unwrap_or_default();
        let x = self
            .around
            .iter()
            .zip(a)
            .zip(b)
            .map(|((s, g0), g1)| s * (g0 + w * (g1 - g0)))
            .sum();
        self.phase += self.step;
        while self.phase >= 1.0 {
            self.phase -= 1.0;
            self.around.pop_front();
            let s = self.symbol();
            self.around.push_back(s);
        }
        x
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    #[test]
    fn the_pulse_has_unit_energy_and_no_intersymbol_interference_after_its_match() {
        let h = 1e-3;
        for a in [0.2, 0.35, 0.5] {
            let r = |lag: f64| -> f64 {
                (-60_000..60_000)
                    .map(|k| {
                        root_raised_cosine(f64::from(k) * h, a)
                            * root_raised_cosine(f64::from(k) * h + lag, a)
                            * h
                    })
                    .sum()
            };
            // Truncation at 60 symbols leaves less than 1e-5.
            assert!((r(0.0) - 1.0).abs() < 2e-5, "{a} {}", r(0.0));
            for lag in [1.0, 2.0, 5.0] {
                assert!(r(lag).abs() < 2e-5, "{a} {lag} {}", r(lag));
            }
            // The removable singularity is continuous.
            let u = 1.0 / (4.0 * a);
            assert!((root_raised_cosine(u, a) - root_raised_cosine(u + 1e-5, a)).abs() < 1e-4);
        }
    }

    #[test]
    fn mean_power_is_one() {
        for manchester in [false, true] {
            let rng = ChaCha8Rng::seed_from_u64(5);
            let mut s = BpskStream::new(1200.0, 0.5, manchester, 16_000.0, rng);
            let n = 800_000;
            let p: f64 = (0..n).map(|_| s.next().powi(2)).sum::<f64>() / f64::from(n);
            // 60 000 symbols: the scatter of the mean is well below 0.5 %.
            assert!((p - 1.0).abs() < 5e-3, "{p}");
        }
    }
}
