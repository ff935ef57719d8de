//! Two equal tones through any curve.

use super::Curve;
use crate::error::{Result, finite};
use num_complex::Complex64;
use slantpath_quantity::{Power, Validity, to_db};

/// Output of two equal tones, each line one of a symmetric pair.
#[derive(Debug, Clone, PartialEq)]
pub struct TwoTone {
    /// One tone, dBm.
    pub tone_dbm: f64,
    /// One third-order product, dBm.
    pub imd3_dbm: f64,
    /// One fifth-order product, dBm (minus infinity where there is none).
    pub imd5_dbm: f64,
    /// Third-order product below a tone, dB (positive).
    pub imd3_dbc: f64,
    /// Outside when the peak of the envelope passes the curve's largest input.
    pub validity: Validity,
}

/// The envelope of two equal tones is `2 A cos(u)`; through a memoryless curve its harmonics 1, 3, 5 in `u` are the
/// tones and products. The period is sampled at 4096 points; the harmonics' aliases are far below them.
pub(super) fn two_tone(curve: &Curve, mean_in_dbm: f64) -> Result<TwoTone> {
    finite("two tones", "mean_in_dbm", mean_in_dbm)?;
    const N: usize = 4096;
    let a = (Power::dbm(mean_in_dbm).as_w() / 2.0).sqrt();
    let mut line = [Complex64::default(); 3];
    for k in 0..N {
        // Half-step points are symmetric about the zero crossings and never fall on them.
        let u = std::f64::consts::TAU * (k as f64 + 0.5) / N as f64;
        let y = curve.apply(Complex64::new(2.0 * a * u.cos(), 0.0));
        for (h, l) in [1.0, 3.0, 5.0].into_iter().zip(&mut line) {
            *l += y * (h * u).cos();
        }
    }
    // Amplitude of the line at +h: half of the cosine coefficient 2/N sum y cos(hu).
    let [tone, imd3, imd5] = line.map(|l| Power::w((l / N as f64).norm_sqr()));
    let peak = mean_in_dbm + to_db(2.0);
    Ok(TwoTone {
        tone_dbm: tone.as_dbm(),
        imd3_dbm: imd3.as_dbm(),
        imd5_dbm: imd5.as_dbm(),
        imd3_dbc: tone.as_dbm() - imd3.as_dbm(),
        validity: Validity::check(
            "amplifier curve",
            "peak input",
            peak,
            f64::NEG_INFINITY..=curve.max_input_dbm(),
            "dBm",
        ),
    })
}
