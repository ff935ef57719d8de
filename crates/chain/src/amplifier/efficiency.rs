//! DC power of an amplifier against its output.

use crate::error::{ChainError, Result, not_negative, positive, rows};
use slantpath_quantity::Validity;

/// A class-AB stage: `P_dc = P_q + k sqrt(P_out)`. The drive current follows the envelope (an ideal class-B stage
/// has `P_q = 0` and an efficiency that goes with the root of the output); the constant part is the idle current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Efficiency {
    /// Power taken without output, W.
    pub idle_w: f64,
    /// Root watt.
    pub k: f64,
    /// Largest relative residual of a measured row.
    pub worst_relative_residual: f64,
    range_w: (f64, f64),
}

impl Efficiency {
    /// Fits measured rows (output W, DC input W) of a steady carrier by least squares of the relative residuals.
    ///
    /// One row: idle power is taken as zero (class B), which makes small outputs look better than they are.
    ///
    /// # Errors
    /// No row, output not above zero or not below the DC input, or rows from which DC power would fall with output.
    pub fn fit(measured: &[(f64, f64)]) -> Result<Self> {
        let part = "efficiency";
        rows(part, measured.len(), 1)?;
        let (mut s11, mut s12, mut s22, mut t1, mut t2) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for &(out, dc) in measured {
            positive(part, "p_out_w", out)?;
            positive(part, "p_dc_w - p_out_w", dc - out)?;
            let (x, y) = (1.0 / dc, out.sqrt() / dc);
            s11 += x * x;
            s12 += x * y;
            s22 += y * y;
            t1 += x;
            t2 += y;
        }
        let det = s11 * s22 - s12 * s12;
        let (mut idle, mut k) = (0.0, t2 / s22);
        if measured.len() > 1 && det > 1e-12 * s11 * s22 {
            let (a, b) = ((t1 * s22 - t2 * s12) / det, (t2 * s11 - t1 * s12) / det);
            if b <= 0.0 {
                return Err(ChainError::Undetermined {
                    part: part.into(),
                    why: "the DC power does not rise with the output; measure at outputs further apart".into(),
                });
            }
            if a >= 0.0 {
                (idle, k) = (a, b);
            }
        }
        let lo = measured.iter().fold(f64::INFINITY, |m, r| m.min(r.0));
        let hi = measured.iter().fold(0.0f64, |m, r| m.max(r.0));
        let mut e = Self {
            idle_w: idle,
            k,
            worst_relative_residual: 0.0,
            range_w: (lo, hi),
        };
        e.worst_relative_residual = measured
            .iter()
            .map(|&(out, dc)| ((idle + k * out.sqrt()) / dc - 1.0).abs())
            .fold(0.0, f64::max);
        Ok(e)
    }
    /// DC power at a steady output, W. Inside from a tenth of the lowest to 1.25 times the highest measured output.
    ///
    /// # Errors
    /// Negative output.
    pub fn dc_power_w(&self, out_w: f64) -> Result<(f64, Validity)> {
        not_negative("efficiency", "p_out_w", out_w)?;
        let v = Validity::check(
            "class-AB efficiency",
            "output",
            out_w,
            0.1 * self.range_w.0..=1.25 * self.range_w.1,
            "W",
        );
        Ok((self.idle_w + self.k * out_w.sqrt(), v))
    }
    /// Heat at a steady output, W: DC power less output.
    ///
    /// # Errors
    /// Negative output.
    pub fn heat_w(&self, out_w: f64) -> Result<(f64, Validity)> {
        self.dc_power_w(out_w).map(|(p, v)| (p - out_w, v))
    }
    /// Mean DC power and mean output, W, of a signal whose envelope power at the output is sampled: the current
    /// follows the envelope, so that the root is averaged, not the power.
    ///
    /// # Errors
    /// No sample, or a negative one.
    pub fn mean_over_envelope_w(&self, out_w: &[f64]) -> Result<(f64, f64)> {
        rows("efficiency", out_w.len(), 1)?;
        let (mut root, mut mean) = (0.0, 0.0);
        for &p in out_w {
            root += not_negative("efficiency", "p_out_w", p)?.sqrt();
            mean += p;
        }
        let n = out_w.len() as f64;
        Ok((self.idle_w + self.k * root / n, mean / n))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_class_b_stage_at_a_quarter_has_half_the_efficiency() {
        // Common practice, no source: a 200 W device at 50 W is about 24 % efficient and makes 158 W of heat.
        let e = Efficiency::fit(&[(200.0, 200.0 / 0.48)]).unwrap();
        let (dc, v) = e.dc_power_w(50.0).unwrap();
        assert!((50.0 / dc - 0.24).abs() < 1e-12 && v.is_inside());
        assert!((e.heat_w(50.0).unwrap().0 - 158.3).abs() < 0.1);
    }

    #[test]
    fn measured_rows_come_back() {
        let e = Efficiency::fit(&[
            (10.0, 30.0 + 10.0 * 10f64.sqrt()),
            (90.0, 30.0 + 10.0 * 90f64.sqrt()),
        ])
        .unwrap();
        assert!(
            (e.idle_w - 30.0).abs() < 1e-9
                && (e.k - 10.0).abs() < 1e-9
                && e.worst_relative_residual < 1e-12
        );
        let (dc, out) = e.mean_over_envelope_w(&[0.0, 64.0]).unwrap();
        assert!((dc - 70.0).abs() < 1e-9 && out == 32.0);
        assert!(Efficiency::fit(&[(10.0, 9.0)]).is_err());
        assert!(Efficiency::fit(&[(10.0, 100.0), (90.0, 95.0)]).is_err());
        assert!(!e.dc_power_w(200.0).unwrap().1.is_inside());
    }
}
