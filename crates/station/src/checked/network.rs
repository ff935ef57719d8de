//! A reflection that a person measured with a network analyser.

use num_complex::Complex64;
use slantpath_quantity::Frequency;

/// Widest step between neighbouring points over which a measurement is interpolated, of their frequency.
const WIDEST_STEP: f64 = 0.02;
/// Largest change of S11 between them.
const LARGEST_CHANGE: f64 = 0.5;

/// S11 of one port over frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct Reflection {
    /// Name of the file.
    pub file: String,
    /// Impedance against which it was measured, ohm.
    pub reference_ohm: f64,
    /// Line of the file that says so.
    pub option_line: usize,
    /// Points by rising frequency.
    pub rows: Vec<ReflectionRow>,
}

/// One point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReflectionRow {
    /// Frequency.
    pub frequency: Frequency,
    /// S11 against the reference impedance.
    pub s11: Complex64,
    /// Line of the file.
    pub line: usize,
}

/// Why there is no value at a frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Gap {
    /// Below the first point.
    Below(ReflectionRow),
    /// Above the last.
    Above(ReflectionRow),
    /// Between two points too far apart to draw a line.
    Between(ReflectionRow, ReflectionRow),
    /// No points at all.
    Empty,
}

impl Reflection {
    /// S11 at a frequency against the file's reference impedance: a straight line in the complex plane between neighbouring
    /// points no further apart than 2 % in frequency and 0.5 in S11.
    ///
    /// # Errors
    /// A [`Gap`] at that frequency.
    pub fn at(&self, f: Frequency) -> Result<Complex64, Gap> {
        let i = self.rows.partition_point(|r| r.frequency < f);
        let above = self.rows.get(i);
        if let Some(r) = above.filter(|r| r.frequency == f) {
            return Ok(r.s11);
        }
        let below = i.checked_sub(1).and_then(|k| self.rows.get(k));
        match (below, above) {
            (Some(a), Some(b)) => {
                let step = b.frequency.as_hz() - a.frequency.as_hz();
                let change = (b.s11 - a.s11).norm();
                if step > WIDEST_STEP * f.as_hz() || change > LARGEST_CHANGE {
                    return Err(Gap::Between(*a, *b));
                }
                let t = (f.as_hz() - a.frequency.as_hz()) / step;
                Ok(a.s11 + (b.s11 - a.s11) * t)
            }
            (None, Some(b)) => Err(Gap::Below(*b)),
            (Some(a), None) => Err(Gap::Above(*a)),
            (None, None) => Err(Gap::Empty),
        }
    }

    /// The same against a line of another impedance.
    ///
    /// # Errors
    /// As [`Reflection::at`].
    pub fn against(&self, line_ohm: f64, f: Frequency) -> Result<Complex64, Gap> {
        let s = self.at(f)?;
        // S = (z - 1)/(z + 1) with z = Z/R: from one R to the other without passing through an infinite z
        let (r, l) = (self.reference_ohm, line_ohm);
        Ok(((1.0 + s) * r - (1.0 - s) * l) / ((1.0 + s) * r + (1.0 - s) * l))
    }
}

/// Where the return loss of a transmit feed comes from.
#[derive(Debug, Clone, PartialEq)]
pub enum Matching {
    /// Written, or the default.
    Written,
    /// Computed from the impedance of the coil or of the patch's posts, connected to the line as it is.
    FromDimensions,
    /// Measured.
    Measured {
        /// Dry.
        dry: Reflection,
        /// With water on it, for weather.
        wet: Option<Reflection>,
    },
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(points: &[(f64, f64, f64)]) -> Reflection {
        Reflection {
            file: "x".into(),
            reference_ohm: 50.0,
            option_line: 1,
            rows: points
                .iter()
                .enumerate()
                .map(|(i, (ghz, re, im))| ReflectionRow {
                    frequency: Frequency::ghz(*ghz),
                    s11: Complex64::new(*re, *im),
                    line: i + 1,
                })
                .collect(),
        }
    }

    #[test]
    fn between_points_a_line_and_no_further() {
        let r = rows(&[(2.39, 0.1, 0.0), (2.41, 0.2, 0.2), (2.6, 0.2, 0.2)]);
        let s = r.at(Frequency::ghz(2.40)).unwrap();
        assert!((s - Complex64::new(0.15, 0.1)).norm() < 1e-12);
        assert!(matches!(r.at(Frequency::ghz(2.5)), Err(Gap::Between(a, _)) if a.line == 2));
        assert!(matches!(r.at(Frequency::ghz(2.3)), Err(Gap::Below(_))));
        assert!(matches!(r.at(Frequency::ghz(2.7)), Err(Gap::Above(_))));
        assert_eq!(rows(&[]).at(Frequency::ghz(2.4)), Err(Gap::Empty));
        let fast = rows(&[(2.39, 0.5, 0.0), (2.41, -0.5, 0.0)]);
        assert!(fast.at(Frequency::ghz(2.4)).is_err());
    }

    #[test]
    fn another_line_sees_the_same_load() {
        let mut r = rows(&[(2.4, 0.2, -0.1)]);
        let f = Frequency::ghz(2.4);
        // 75 ohm on a line of 75: nothing; the load seen from 50 ohm is z = 1.5
        r.rows[0].s11 = Complex64::new(0.0, 0.0);
        r.reference_ohm = 75.0;
        let s = r.against(50.0, f).unwrap();
        assert!((s - Complex64::new(0.2, 0.0)).norm() < 1e-12, "{s}");
        // an open line stays open
        r.rows[0].s11 = Complex64::new(1.0, 0.0);
        assert!((r.against(50.0, f).unwrap() - 1.0).norm() < 1e-12);
    }
}
