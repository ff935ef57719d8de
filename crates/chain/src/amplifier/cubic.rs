//! The memoryless third-order model: what an intercept point means.

use crate::error::{Result, finite};
use slantpath_quantity::{Power, amplitude_from_db, to_db};

/// `y = a1 x + a3 x^3` with `a3` compressive. On the envelope: `A_out = g r (1 - r^2/P_iip3)`, rising up to
/// `r^2 = P_iip3/3`; beyond that the model folds back, and the output is held at its peak.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cubic {
    /// Small-signal gain, dB.
    pub gain_db: f64,
    /// Output third-order intercept (per tone), dBm.
    pub oip3_dbm: f64,
}

impl Cubic {
    /// From gain and output intercept.
    ///
    /// # Errors
    /// Values that are not finite.
    pub fn new(gain_db: f64, oip3_dbm: f64) -> Result<Self> {
        finite("cubic model", "gain_db", gain_db)?;
        finite("cubic model", "oip3_dbm", oip3_dbm)?;
        Ok(Self { gain_db, oip3_dbm })
    }
    /// Ratio of a noise-like signal (many carriers) of mean output `out_dbm` to the third-order distortion that it
    /// makes, dB, both in all: with a complex Gaussian envelope of power P the part of `|x|^2 x/P_iip3` that is not
    /// along x has the power `2 P^3/P_iip3^2`, so that the ratio is `2 (OIP3 - P) - 3.01 dB` (small distortion).
    ///
    /// Three quarters of the distortion's mean density, flat over the carriers' own width, stand in its middle
    /// (threefold convolution of a rectangle).
    pub fn noise_loading_db(&self, out_dbm: f64) -> f64 {
        2.0 * (self.oip3_dbm - out_dbm) - to_db(2.0)
    }
    /// The model whose largest output is `saturation_dbm`: OIP3 lies `27/4`, 8.29 dB, above.
    ///
    /// # Errors
    /// Values that are not finite.
    pub fn of_saturation(gain_db: f64, saturation_dbm: f64) -> Result<Self> {
        Self::new(gain_db, saturation_dbm + to_db(27.0 / 4.0))
    }
    fn iip3_w(&self) -> f64 {
        Power::dbm(self.oip3_dbm - self.gain_db).as_w()
    }
    pub(super) fn max_input_dbm(&self) -> f64 {
        Power::w(self.iip3_w() / 3.0).as_dbm()
    }
    pub(super) fn saturation_dbm(&self) -> f64 {
        // g^2 P (1 - 1/3)^2 at P = iip3/3
        Power::w(Power::dbm(self.oip3_dbm).as_w() * 4.0 / 27.0).as_dbm()
    }
    pub(super) fn amplitude(&self, r: f64) -> f64 {
        let p3 = self.iip3_w();
        let r = r.min((p3 / 3.0).sqrt());
        amplitude_from_db(self.gain_db) * r * (1.0 - r * r / p3)
    }
}

#[cfg(test)]
mod tests {
    use super::super::Curve;
    use super::*;
    use num_complex::Complex64;
    use slantpath_stats::stream::{named_stream, normal};

    #[test]
    fn noise_makes_the_distortion_of_the_closed_form() {
        let c = Cubic::of_saturation(10.0, 40.0).unwrap();
        assert!((Curve::Cubic(c).saturation_dbm() - 40.0).abs() < 1e-12);
        let curve = Curve::Cubic(c);
        let (out_dbm, n) = (24.0, 400_000);
        let rms = Power::dbm(out_dbm - 10.0).as_w().sqrt();
        let mut rng = named_stream(3, "noise loading", 0);
        let mut z = || Complex64::new(normal(&mut rng), normal(&mut rng)) * (rms / 2f64.sqrt());
        let pairs: Vec<(Complex64, Complex64)> = (0..n)
            .map(|_| {
                let x = z();
                (x, curve.apply(x))
            })
            .collect();
        let along: Complex64 = pairs.iter().map(|(x, y)| y * x.conj()).sum::<Complex64>()
            / pairs.iter().map(|(x, _)| x.norm_sqr()).sum::<f64>();
        let useful: f64 = pairs.iter().map(|(x, _)| (along * x).norm_sqr()).sum();
        let rest: f64 = pairs.iter().map(|(x, y)| (y - along * x).norm_sqr()).sum();
        // Small distortion only: the useful part is itself compressed by 2 P/P_iip3.
        let got = to_db(useful / rest);
        assert!((got - c.noise_loading_db(out_dbm)).abs() < 0.4, "{got}");
    }
}
