//! Physical-layer scrambling (EN 302 307-1, 5.5.4): a complex sequence from two m-sequences of length 2^18 - 1.

use num_complex::Complex;

/// Length of the m-sequences.
const PERIOD: usize = (1 << 18) - 1;
/// Longest PLFRAME without its header, symbols; the sequence starts anew with every PLFRAME.
const LONGEST: usize = 33_282 - 90;

/// The scrambling sequence of one code number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scrambler {
    /// Quarter turns of each symbol after the header.
    turns: Vec<u8>,
}

impl Default for Scrambler {
    /// Code 0, which broadcast services use.
    fn default() -> Self {
        Self::new(0)
    }
}

impl Scrambler {
    /// The sequence of code `n`, 0 to 262 141; `n` is taken modulo 2^18 - 1, the sequence's own period.
    ///
    /// `x` starts with 1, 0, ..., 0 and obeys `x(i+18) = x(i+7) + x(i)`; `y` starts with ones and obeys
    /// `y(i+18) = y(i+10) + y(i+7) + y(i+5) + y(i)`; `z(i) = x(i+n) + y(i)`, `R(i) = 2 z(i+131072) + z(i)`.
    pub fn new(n: u32) -> Self {
        let mut x = vec![0u8; PERIOD];
        let mut y = vec![0u8; PERIOD];
        x[0] = 1;
        y[..18].fill(1);
        for i in 0..PERIOD - 18 {
            x[i + 18] = x[i + 7] ^ x[i];
            y[i + 18] = y[i + 10] ^ y[i + 7] ^ y[i + 5] ^ y[i];
        }
        let n = n as usize % PERIOD;
        let z = |k: usize| x[(k + n) % PERIOD] ^ y[k % PERIOD];
        Self {
            turns: (0..LONGEST).map(|i| 2 * z(i + 131_072) + z(i)).collect(),
        }
    }

    /// Quarter turns of the symbol `i` places after the header.
    pub fn quarter_turns(&self, i: usize) -> u8 {
        self.turns.get(i % LONGEST).copied().unwrap_or(0)
    }

    /// Scrambles a symbol `i` places after the header.
    pub fn scramble<T>(&self, i: usize, z: Complex<T>) -> Complex<T>
    where
        T: Copy + std::ops::Neg<Output = T>,
    {
        turned(z, self.quarter_turns(i))
    }

    /// Takes the scrambling off a symbol `i` places after the header.
    pub fn descramble<T>(&self, i: usize, z: Complex<T>) -> Complex<T>
    where
        T: Copy + std::ops::Neg<Output = T>,
    {
        turned(z, (4 - self.quarter_turns(i)) % 4)
    }
}

fn turned<T: Copy + std::ops::Neg<Output = T>>(z: Complex<T>, quarters: u8) -> Complex<T> {
    match quarters {
        0 => z,
        1 => Complex::new(-z.im, z.re),
        2 => Complex::new(-z.re, -z.im),
        _ => Complex::new(z.im, -z.re),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back_and_all_turns_alike_often() {
        let s = Scrambler::default();
        let mut count = [0usize; 4];
        for i in 0..LONGEST {
            count[usize::from(s.quarter_turns(i))] += 1;
            let z = Complex::new(0.3, -0.8);
            assert_eq!(s.descramble(i, s.scramble(i, z)), z);
        }
        for c in count {
            // Four standard deviations of fair draws.
            assert!(
                (c as f64 - LONGEST as f64 / 4.0).abs()
                    < 4.0 * (LONGEST as f64 * 3.0 / 16.0).sqrt()
            );
        }
        assert_ne!(s, Scrambler::new(1));
    }
}
