//! Constellations (EN 302 307-1, 5.4): QPSK, 8PSK, 16APSK and 32APSK, all of unit mean power.
//!
//! The order of the points is that of the bits they carry, first bit in the highest place (figures 9 to 12; the 8PSK
//! mapping was checked against an independent modulator, those of 16APSK and 32APSK are from memory; rings and angles
//! agree with tables 9 and 10).

use crate::{Frame, Modulation};
use num_complex::Complex;
use std::f64::consts::PI;

/// Points of a constellation.
#[derive(Debug, Clone, PartialEq)]
pub struct Constellation {
    /// Which.
    pub modulation: Modulation,
    /// Points, index = bits.
    pub points: Vec<Complex<f64>>,
}

/// Ring ratio of 16APSK by code rate (table 9); `None` for a rate it does not have.
pub fn ring_ratio_16(rate: &str) -> Option<f64> {
    Some(match rate {
        "2/3" => 3.15,
        "3/4" => 2.85,
        "4/5" => 2.75,
        "5/6" => 2.70,
        "8/9" => 2.60,
        "9/10" => 2.57,
        _ => return None,
    })
}

/// Ring ratios of 32APSK, middle over inner and outer over inner, by code rate (table 10).
pub fn ring_ratios_32(rate: &str) -> Option<(f64, f64)> {
    Some(match rate {
        "3/4" => (2.84, 5.27),
        "4/5" => (2.72, 4.87),
        "5/6" => (2.64, 4.64),
        "8/9" => (2.54, 4.33),
        "9/10" => (2.53, 4.30),
        _ => return None,
    })
}

/// Angles of 8PSK in eighths of a turn.
const PSK8: [u8; 8] = [1, 0, 4, 5, 2, 7, 3, 6];
/// Ring (0 inner) and angle in twelfths of pi of 16APSK.
const APSK16: [(u8, i8); 16] = [
    (1, 3),
    (1, -3),
    (1, 9),
    (1, -9),
    (1, 1),
    (1, -1),
    (1, 11),
    (1, -11),
    (1, 5),
    (1, -5),
    (1, 7),
    (1, -7),
    (0, 3),
    (0, -3),
    (0, 9),
    (0, -9),
];
/// Ring (0 inner) and angle in twenty-fourths of pi of 32APSK.
const APSK32: [(u8, i8); 32] = [
    (1, 6),
    (1, 10),
    (1, -6),
    (1, -10),
    (1, 18),
    (1, 14),
    (1, -18),
    (1, -14),
    (2, 3),
    (2, 9),
    (2, -6),
    (2, -12),
    (2, 18),
    (2, 12),
    (2, -21),
    (2, -15),
    (1, 2),
    (0, 6),
    (1, -2),
    (0, -6),
    (1, 22),
    (0, 18),
    (1, -22),
    (0, -18),
    (2, 0),
    (2, 6),
    (2, -3),
    (2, -9),
    (2, 21),
    (2, 15),
    (2, 24),
    (2, -18),
];

impl Constellation {
    /// The constellation of a modulation at a code rate; `None` when the standard does not combine them.
    pub fn new(modulation: Modulation, rate: &str) -> Option<Self> {
        let quarter = PI / 4.0;
        let points = match modulation {
            Modulation::Qpsk => [1, -1, 3, -3]
                .map(|k| Complex::cis(f64::from(k) * quarter))
                .to_vec(),
            Modulation::Psk8 => PSK8.map(|k| Complex::cis(f64::from(k) * quarter)).to_vec(),
            Modulation::Apsk16 => {
                let g = ring_ratio_16(rate)?;
                let inner = (16.0 / (4.0 + 12.0 * g * g)).sqrt();
                let ring = [inner, g * inner];
                APSK16
                    .map(|(r, k)| {
                        Complex::from_polar(ring[usize::from(r)], f64::from(k) * PI / 12.0)
                    })
                    .to_vec()
            }
            Modulation::Apsk32 => {
                let (g1, g2) = ring_ratios_32(rate)?;
                let inner = (32.0 / (4.0 + 12.0 * g1 * g1 + 16.0 * g2 * g2)).sqrt();
                let ring = [inner, g1 * inner, g2 * inner];
                APSK32
                    .map(|(r, k)| {
                        Complex::from_polar(ring[usize::from(r)], f64::from(k) * PI / 24.0)
                    })
                    .to_vec()
            }
        };
        Some(Self { modulation, points })
    }

    /// The payload's constellation of a frame; `None` for a dummy frame.
    pub fn of(frame: &Frame) -> Option<Self> {
        let m = frame.modcod()?;
        Self::new(m.modulation, m.rate)
    }

    /// The nearest point.
    pub fn nearest(&self, z: Complex<f64>) -> (usize, Complex<f64>) {
        let mut best = (0, Complex::new(0.0, 0.0), f64::INFINITY);
        for (i, p) in self.points.iter().enumerate() {
            let d = (z - p).norm_sqr();
            if d < best.2 {
                best = (i, *p, d);
            }
        }
        (best.0, best.1)
    }

    /// Smallest distance between points.
    pub fn smallest_distance(&self) -> f64 {
        let mut d = f64::INFINITY;
        for (i, a) in self.points.iter().enumerate() {
            for b in &self.points[..i] {
                d = d.min((a - b).norm());
            }
        }
        d
    }

    /// Peak over mean power of the points, linear.
    pub fn peak_to_mean(&self) -> f64 {
        self.points.iter().map(|p| p.norm_sqr()).fold(0.0, f64::max)
    }

    /// Turns of the circle that leave the constellation as it is: 4 for QPSK and APSK, 8 for 8PSK.
    pub fn symmetry(&self) -> u32 {
        match self.modulation {
            Modulation::Psk8 => 8,
            _ => 4,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::MODCODS;
    use slantpath_quantity::to_db;

    #[test]
    fn unit_power_distinct_points_and_symmetry() {
        for m in &MODCODS {
            let c = Constellation::new(m.modulation, m.rate).unwrap();
            assert_eq!(c.points.len(), 1 << m.modulation.bits());
            let p = c.points.iter().map(|p| p.norm_sqr()).sum::<f64>() / c.points.len() as f64;
            assert!((p - 1.0).abs() < 1e-12);
            assert!(c.smallest_distance() > 0.2, "{}", m.name());
            let turn = Complex::cis(2.0 * PI / f64::from(c.symmetry()));
            for p in &c.points {
                assert!(
                    (c.nearest(p * turn).1 - p * turn).norm() < 1e-9,
                    "{}",
                    m.name()
                );
            }
        }
        assert!(Constellation::new(Modulation::Apsk16, "1/2").is_none());
    }

    #[test]
    fn neighbours_on_a_ring_of_8psk_differ_in_one_bit() {
        // Gray mapping (figure 10).
        let c = Constellation::new(Modulation::Psk8, "3/4").unwrap();
        for (i, p) in c.points.iter().enumerate() {
            let (j, _) = c.nearest(p * Complex::cis(PI / 4.0));
            assert_eq!((i ^ j).count_ones(), 1, "{i} {j}");
        }
    }

    #[test]
    fn ring_ratios_of_tables_9_and_10() {
        let mut rows = 0;
        for line in include_str!("../tests/data/dvbs2_apsk_radii.csv")
            .lines()
            .filter(|l| l.contains("APSK,"))
        {
            let f: Vec<&str> = line.split(',').collect();
            let m = if f[0] == "16APSK" {
                assert_eq!(ring_ratio_16(f[1]).unwrap(), f[2].parse::<f64>().unwrap());
                Modulation::Apsk16
            } else {
                let want = (f[2].parse().unwrap(), f[3].parse().unwrap());
                assert_eq!(ring_ratios_32(f[1]).unwrap(), want);
                Modulation::Apsk32
            };
            let papr = to_db(Constellation::new(m, f[1]).unwrap().peak_to_mean());
            assert!(
                (papr - f[4].parse::<f64>().unwrap()).abs() < 1e-5,
                "{line} {papr}"
            );
            rows += 1;
        }
        assert_eq!(rows, 11);
    }
}
