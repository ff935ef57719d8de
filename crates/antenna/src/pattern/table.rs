//! Level and phase against theta, as a table: interpolation, reach, power.

use crate::error::AntennaError;
use crate::quadrature::gauss_legendre;
use num_complex::Complex64;
use slantpath_quantity::{Angle, Decibel, Validity, amplitude_from_db, from_db};
use std::f64::consts::PI;

/// One row of a pattern table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TablePoint {
    /// Angle off the axis.
    pub theta: Angle,
    /// Level relative to any fixed reference.
    pub level: Decibel,
    /// Phase relative to the frame's origin, continuous (unwrapped).
    pub phase: Angle,
}

impl TablePoint {
    /// A level without phase (a feed taken as having its phase centre at the origin).
    pub fn level(theta: Angle, level: Decibel) -> Self {
        Self {
            theta,
            level,
            phase: Angle::rad(0.0),
        }
    }
}

/// What a feed does past the last angle of its table. It must be said, because it decides spillover.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Beyond {
    /// Nothing: spillover is understated.
    Nothing,
    /// The last level continues to 180 deg: spillover is overstated for a falling pattern.
    LastLevel,
}

/// Interpolated profile.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Profile {
    theta: Vec<f64>,
    level: Cubic,
    phase: Cubic,
    beyond: Beyond,
}

impl Profile {
    pub(super) fn new(points: &[TablePoint], beyond: Beyond) -> Result<Self, AntennaError> {
        let bad = |what: String| Err(AntennaError::Table(what));
        let theta: Vec<f64> = points.iter().map(|p| p.theta.as_rad()).collect();
        if points.len() < 2 {
            return bad(format!("{} rows; at least two are needed", points.len()));
        }
        if theta.first().is_some_and(|t| t.abs() > 1e-9) {
            return bad("the first row must be on the axis (0 deg)".into());
        }
        for (i, p) in points.iter().enumerate() {
            if !(p.theta.as_rad().is_finite()
                && p.level.0.is_finite()
                && p.phase.as_rad().is_finite())
            {
                return bad(format!(
                    "row {} holds a value that is not a finite number",
                    i + 1
                ));
            }
            if p.theta.as_rad() > PI + 1e-9 {
                return bad(format!(
                    "row {}: {:.2} deg is beyond 180 deg",
                    i + 1,
                    p.theta.as_deg()
                ));
            }
        }
        if let Some(i) = theta.windows(2).position(|w| w[1] <= w[0]) {
            return bad(format!(
                "angles do not rise from row {} to row {}",
                i + 1,
                i + 2
            ));
        }
        let level = Cubic::monotone(&theta, points.iter().map(|p| p.level.0).collect());
        let phase = Cubic::monotone(&theta, points.iter().map(|p| p.phase.as_rad()).collect());
        Ok(Self {
            theta,
            level,
            phase,
            beyond,
        })
    }

    fn last(&self) -> f64 {
        self.theta.last().copied().unwrap_or(0.0)
    }
    pub(super) fn level(&self, theta: f64) -> f64 {
        self.level.at(&self.theta, theta.min(self.last()))
    }
    pub(super) fn field(&self, theta: f64) -> Complex64 {
        if theta > self.last() + 1e-12 && self.beyond == Beyond::Nothing {
            return Complex64::default();
        }
        let t = theta.min(self.last());
        Complex64::from_polar(
            amplitude_from_db(self.level.at(&self.theta, t)),
            self.phase.at(&self.theta, t),
        )
    }
    /// `int |f|^2 sin theta dtheta` over 0..pi, four Gauss-Legendre nodes in each row interval.
    pub(super) fn power(&self) -> f64 {
        let inside: f64 = self
            .theta
            .windows(2)
            .flat_map(|w| gauss_legendre(4, w[0], w[1]))
            .map(|(t, w)| w * t.sin() * from_db(self.level(t)))
            .sum();
        let tail = match self.beyond {
            Beyond::Nothing => 0.0,
            Beyond::LastLevel => from_db(self.level(PI)) * (self.last().cos() + 1.0),
        };
        inside + tail
    }
    pub(super) fn zero_beyond(&self) -> f64 {
        match self.beyond {
            Beyond::Nothing => self.last(),
            Beyond::LastLevel => PI,
        }
    }
    pub(super) fn validity(&self) -> Validity {
        if self.last() > PI - 1e-6 {
            return Validity::Inside;
        }
        Validity::outside(format!(
            "pattern table ends at {:.0} deg; beyond it {}, so spillover is {}",
            self.last().to_degrees(),
            if self.beyond == Beyond::Nothing {
                "nothing is radiated"
            } else {
                "the last level continues"
            },
            if self.beyond == Beyond::Nothing {
                "understated"
            } else {
                "likely overstated"
            }
        ))
    }
}

/// Monotone piecewise cubic (F. N. Fritsch & R. E. Carlson, SIAM J. Numer. Anal. 17, 1980; slopes by the harmonic mean of
/// Fritsch & Butland 1984): no overshoot between rows.
#[derive(Debug, Clone, PartialEq)]
struct Cubic {
    y: Vec<f64>,
    slope: Vec<f64>,
}

impl Cubic {
    fn monotone(x: &[f64], y: Vec<f64>) -> Self {
        let n = y.len();
        let d: Vec<f64> = (0..n - 1)
            .map(|i| (y[i + 1] - y[i]) / (x[i + 1] - x[i]))
            .collect();
        let slope = (0..n)
            .map(|i| {
                if i == 0 {
                    // a pattern is even about its axis
                    return 0.0;
                }
                if i == n - 1 {
                    return d[n - 2];
                }
                let (a, b) = (d[i - 1], d[i]);
                if a * b <= 0.0 {
                    return 0.0;
                }
                let (ha, hb) = (x[i] - x[i - 1], x[i + 1] - x[i]);
                let (wa, wb) = (2.0 * hb + ha, hb + 2.0 * ha);
                (wa + wb) / (wa / a + wb / b)
            })
            .collect();
        Self { y, slope }
    }

    fn at(&self, x: &[f64], t: f64) -> f64 {
        let i = x.partition_point(|&v| v <= t).clamp(1, x.len() - 1) - 1;
        let h = x[i + 1] - x[i];
        let s = ((t - x[i]) / h).clamp(0.0, 1.0);
        let (s2, s3) = (s * s, s * s * s);
        self.y[i] * (2.0 * s3 - 3.0 * s2 + 1.0)
            + self.slope[i] * h * (s3 - 2.0 * s2 + s)
            + self.y[i + 1] * (3.0 * s2 - 2.0 * s3)
            + self.slope[i + 1] * h * (s3 - s2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cos4(step: f64, to: f64) -> Vec<TablePoint> {
        let n = (to / step) as usize;
        (0..=n)
            .map(|i| {
                let t = Angle::deg(step * i as f64);
                TablePoint::level(
                    t,
                    Decibel(4.0 * slantpath_quantity::to_db(t.as_rad().cos())),
                )
            })
            .collect()
    }

    #[test]
    fn five_degree_rows_hold_a_cos4_pattern() {
        let p = Profile::new(&cos4(5.0, 85.0), Beyond::Nothing).unwrap();
        for i in 0..800 {
            let t = f64::from(i) * 0.001;
            assert!(
                (p.level(t) - 4.0 * slantpath_quantity::to_db(t.cos())).abs() < 0.02,
                "{t}"
            );
        }
        assert!((p.power() - 0.2).abs() < 2e-4, "{}", p.power());
        assert!(!p.validity().is_inside());
    }

    #[test]
    fn bad_tables_are_located() {
        let mut rows = cos4(5.0, 80.0);
        rows.swap(3, 4);
        let said = Profile::new(&rows, Beyond::Nothing)
            .unwrap_err()
            .to_string();
        assert!(said.contains("row 4") && said.contains("row 5"), "{said}");
        assert!(Profile::new(&rows[..1], Beyond::Nothing).is_err());
        assert!(Profile::new(&rows[1..3], Beyond::Nothing).is_err());
        rows = cos4(5.0, 80.0);
        rows[2].level = Decibel(f64::NAN);
        assert!(
            Profile::new(&rows, Beyond::Nothing)
                .unwrap_err()
                .to_string()
                .contains("row 3")
        );
    }
}
