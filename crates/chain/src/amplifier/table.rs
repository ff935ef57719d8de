//! A measured curve: output power (and phase) against input power.

use crate::error::{ChainError, Result, finite, rising, rows};
use slantpath_quantity::{Power, amplitude_from_db};

/// One row of a measured curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TableRow {
    /// Input power, dBm.
    pub in_dbm: f64,
    /// Output power, dBm.
    pub out_dbm: f64,
    /// Phase shift, degrees (zero when not measured).
    pub phase_deg: f64,
}

/// A measured AM/AM and AM/PM curve.
///
/// Between rows: monotone cubic Hermite in dB against dB (Fritsch and Carlson 1980), so that a rising table gives
/// a rising curve. Below the first row the gain and phase of the first row; above the last row the output is held.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    rows: Vec<TableRow>,
    out_slope: Vec<f64>,
    phase_slope: Vec<f64>,
}

impl Table {
    /// From rows with rising input.
    ///
    /// # Errors
    /// Fewer than two rows, input that does not rise, output that falls (then saturation was passed: end the
    /// table at its largest output, or look for a meter that changed its range).
    pub fn new(table: &[TableRow]) -> Result<Self> {
        let part = "AM/AM table";
        rows(part, table.len(), 2)?;
        rising(part, "in_dbm", table.iter().map(|r| r.in_dbm))?;
        for (i, r) in table.iter().enumerate() {
            finite(part, "out_dbm", r.out_dbm)?;
            finite(part, "phase_deg", r.phase_deg)?;
            if i > 0
                && let Some(b) = table.get(i - 1)
                && r.out_dbm < b.out_dbm
            {
                return Err(ChainError::NotMonotone {
                    part: part.into(),
                    column: "out_dbm",
                    row: i + 1,
                    before: b.out_dbm,
                    after: r.out_dbm,
                });
            }
        }
        let x: Vec<f64> = table.iter().map(|r| r.in_dbm).collect();
        let out: Vec<f64> = table.iter().map(|r| r.out_dbm).collect();
        let phase: Vec<f64> = table.iter().map(|r| r.phase_deg.to_radians()).collect();
        let mut out_slope = slopes(&x, &out);
        // Below the table the gain is constant: start with the slope of a straight gain where the table allows it.
        if let (Some(first), Some(d)) = (out_slope.first_mut(), out.get(1).zip(x.get(1))) {
            let secant = (d.0 - out[0]) / (d.1 - x[0]);
            *first = 1f64.min(3.0 * secant);
        }
        Ok(Self {
            out_slope,
            phase_slope: slopes(&x, &phase),
            rows: table.to_vec(),
        })
    }
    /// The rows.
    pub fn rows(&self) -> &[TableRow] {
        &self.rows
    }
    pub(super) fn gain_db(&self) -> f64 {
        self.rows.first().map_or(f64::NAN, |r| r.out_dbm - r.in_dbm)
    }
    pub(super) fn max_input_dbm(&self) -> f64 {
        self.rows.last().map_or(f64::NAN, |r| r.in_dbm)
    }
    pub(super) fn saturation_dbm(&self) -> f64 {
        self.rows.last().map_or(f64::NAN, |r| r.out_dbm)
    }
    pub(super) fn envelope(&self, r: f64) -> (f64, f64) {
        let in_dbm = Power::w(r * r).as_dbm();
        let (Some(first), Some(last)) = (self.rows.first(), self.rows.last()) else {
            return (f64::NAN, 0.0);
        };
        if in_dbm <= first.in_dbm {
            return (
                r * amplitude_from_db(self.gain_db()),
                first.phase_deg.to_radians(),
            );
        }
        if in_dbm >= last.in_dbm {
            return (
                Power::dbm(last.out_dbm).as_w().sqrt(),
                last.phase_deg.to_radians(),
            );
        }
        let up = self.rows.partition_point(|r| r.in_dbm <= in_dbm);
        let (a, b) = (self.rows[up - 1], self.rows[up]);
        let h = b.in_dbm - a.in_dbm;
        let t = (in_dbm - a.in_dbm) / h;
        let out = hermite(
            t,
            h,
            a.out_dbm,
            b.out_dbm,
            self.out_slope[up - 1],
            self.out_slope[up],
        );
        let phase = hermite(
            t,
            h,
            a.phase_deg.to_radians(),
            b.phase_deg.to_radians(),
            self.phase_slope[up - 1],
            self.phase_slope[up],
        );
        (Power::dbm(out).as_w().sqrt(), phase)
    }
}

fn hermite(t: f64, h: f64, y0: f64, y1: f64, d0: f64, d1: f64) -> f64 {
    let (t2, t3) = (t * t, t * t * t);
    y0 * (2.0 * t3 - 3.0 * t2 + 1.0)
        + h * d0 * (t3 - 2.0 * t2 + t)
        + y1 * (3.0 * t2 - 2.0 * t3)
        + h * d1 * (t3 - t2)
}

/// Slopes at the rows: zero at turning points, else the weighted harmonic mean of the neighbouring secants
/// (Fritsch and Butland 1984); the end slopes are the outer secants.
fn slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let secant: Vec<f64> = x
        .windows(2)
        .zip(y.windows(2))
        .map(|(x, y)| (y[1] - y[0]) / (x[1] - x[0]))
        .collect();
    let n = x.len();
    (0..n)
        .map(|i| {
            if i == 0 {
                secant.first().copied().unwrap_or(0.0)
            } else if i == n - 1 {
                secant.last().copied().unwrap_or(0.0)
            } else {
                let (a, b) = (secant[i - 1], secant[i]);
                if a * b <= 0.0 {
                    0.0
                } else {
                    let (h0, h1) = (x[i] - x[i - 1], x[i + 1] - x[i]);
                    let (w1, w2) = (2.0 * h1 + h0, h1 + 2.0 * h0);
                    (w1 + w2) / (w1 / a + w2 / b)
                }
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::amplifier::{Curve, Rapp};
    use proptest::prelude::*;

    fn row(in_dbm: f64, out_dbm: f64) -> TableRow {
        TableRow {
            in_dbm,
            out_dbm,
            phase_deg: 0.0,
        }
    }

    #[test]
    fn a_falling_table_is_refused_with_its_row() {
        let e = Table::new(&[row(0.0, 30.0), row(5.0, 34.0), row(10.0, 33.5)]).unwrap_err();
        assert!(e.to_string().contains("row 3"), "{e}");
        assert!(Table::new(&[row(0.0, 30.0)]).is_err());
        assert!(Table::new(&[row(0.0, 30.0), row(0.0, 31.0)]).is_err());
    }

    #[test]
    fn a_table_of_a_model_follows_the_model() {
        let rapp = Curve::Rapp(Rapp::new(30.0, 50.0, 1.8).unwrap());
        let rows: Vec<TableRow> = (0..=25)
            .map(|k| {
                let x = -20.0 + 2.0 * f64::from(k);
                row(x, rapp.output_dbm(x).unwrap().0)
            })
            .collect();
        let table = Curve::Table(Table::new(&rows).unwrap());
        let mut worst = 0.0f64;
        for k in 0..500 {
            let x = -20.0 + 0.1 * f64::from(k);
            worst =
                worst.max((table.output_dbm(x).unwrap().0 - rapp.output_dbm(x).unwrap().0).abs());
        }
        assert!(worst < 0.02, "{worst}");
        assert!((table.p1db_out_dbm().unwrap() - rapp.p1db_out_dbm().unwrap()).abs() < 0.02);
        assert!(!table.output_dbm(31.0).unwrap().1.is_inside());
    }

    #[test]
    fn phase_is_interpolated_and_applied() {
        let t = Table::new(&[
            row(0.0, 20.0),
            TableRow {
                in_dbm: 10.0,
                out_dbm: 29.0,
                phase_deg: 10.0,
            },
        ])
        .unwrap();
        let c = Curve::Table(t);
        assert!((c.phase(10.0).unwrap().as_deg() - 10.0).abs() < 1e-12);
        let z = num_complex::Complex64::new(Power::dbm(10.0).as_w().sqrt(), 0.0);
        let y = c.apply(z);
        assert!((y.arg().to_degrees() - 10.0).abs() < 1e-12);
        assert!((Power::w(y.norm_sqr()).as_dbm() - 29.0).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn rising_rows_give_a_rising_curve(steps in prop::collection::vec((0.2..5.0f64, 0.0..4.0f64), 2..12)) {
            let (mut x, mut y) = (-10.0, 20.0);
            let rows: Vec<TableRow> = steps.iter().map(|(dx, dy)| { x += dx; y += dy; row(x, y) }).collect();
            let c = Curve::Table(Table::new(&rows).unwrap());
            let (lo, hi) = (rows[0].in_dbm - 3.0, x + 3.0);
            let mut before = f64::NEG_INFINITY;
            for k in 0..=400 {
                let out = c.output_dbm(lo + (hi - lo) * f64::from(k) / 400.0).unwrap().0;
                prop_assert!(out >= before - 1e-10);
                before = out;
            }
            for r in &rows { prop_assert!((c.output_dbm(r.in_dbm).unwrap().0 - r.out_dbm).abs() < 1e-9); }
        }
    }
}
