//! Symbol error rate in additive white Gaussian noise, coherent detection (Proakis, Digital Communications, 4.3).

use crate::{Constellation, Modulation};
use slantpath_stats::intervals::normal_cdf;
use std::f64::consts::{FRAC_PI_4, PI};

/// Symbol error rate of QPSK at `rho` = Es/N0 (power ratio): `2 Q(sqrt rho) - Q(sqrt rho)^2`. Exact.
pub fn qpsk(rho: f64) -> f64 {
    let q = normal_cdf(-rho.max(0.0).sqrt());
    2.0 * q - q * q
}

/// Symbol error rate of PSK with `m` points at `rho` = Es/N0: Craig's integral (J. W. Craig, MILCOM 1991)
/// `1/pi int_0^{(m-1) pi/m} exp(-rho sin^2(pi/m) / sin^2 t) dt`, by Simpson's rule. Exact to 1e-9 of its value down to
/// rates of 1e-12.
pub fn psk(m: u32, rho: f64) -> f64 {
    let m = f64::from(m.max(2));
    let k = rho.max(0.0) * (PI / m).sin().powi(2);
    let top = (m - 1.0) * PI / m;
    let f = |t: f64| {
        let s = t.sin();
        if s <= 0.0 { 0.0 } else { (-k / (s * s)).exp() }
    };
    const N: usize = 2000;
    let h = top / N as f64;
    let mut sum = f(0.0) + f(top);
    for i in 1..N {
        sum += f(i as f64 * h) * if i % 2 == 1 { 4.0 } else { 2.0 };
    }
    sum * h / 3.0 / PI
}

/// Symbol error rate of a constellation at `rho` = Es/N0: exact for QPSK and 8PSK; for APSK the union bound over the
/// nearest neighbours of each point, which is above the true rate (by less than a tenth of it below 10 %).
pub fn of(c: &Constellation, rho: f64) -> f64 {
    match c.modulation {
        Modulation::Qpsk => qpsk(rho),
        Modulation::Psk8 => psk(8, rho),
        Modulation::Apsk16 | Modulation::Apsk32 => {
            let n = c.points.len() as f64;
            let mut sum = 0.0;
            for (i, a) in c.points.iter().enumerate() {
                for (j, b) in c.points.iter().enumerate() {
                    if i != j {
                        sum += normal_cdf(-(a - b).norm() * (0.5 * rho).sqrt());
                    }
                }
            }
            (sum / n).min(1.0 - 1.0 / n)
        }
    }
}

/// Half the angle between neighbours of QPSK: a phase error beyond it makes an error without noise.
pub const QPSK_PHASE_MARGIN_RAD: f64 = FRAC_PI_4;

#[cfg(test)]
mod tests {
    use super::*;
    use num_complex::Complex;
    use slantpath_quantity::from_db;
    use slantpath_stats::stream::{named_stream, normal, uniform};

    #[test]
    fn qpsk_is_psk_of_four_points() {
        for db in [-3.0, 0.0, 5.0, 10.0, 13.0] {
            let rho = from_db(db);
            assert!((psk(4, rho) / qpsk(rho) - 1.0).abs() < 1e-8, "{db}");
        }
        // Proakis, figure 4.3-4 in numbers: QPSK at Es/N0 = 13 dB (10 dB per bit): 2 Q(sqrt 20) = 7.744e-6.
        assert!((qpsk(from_db(10.0) * 2.0) - 7.744e-6).abs() < 2e-9);
        assert!((psk(8, 0.0) - 7.0 / 8.0).abs() < 1e-3);
    }

    #[test]
    fn against_draws() {
        for (m, rate, db) in [
            (Modulation::Qpsk, "1/2", 6.0),
            (Modulation::Psk8, "3/4", 10.0),
            (Modulation::Apsk16, "3/4", 13.0),
            (Modulation::Apsk32, "4/5", 16.5),
        ] {
            let c = Constellation::new(m, rate).unwrap();
            let rho = from_db(db);
            let s = (0.5 / rho).sqrt();
            let mut rng = named_stream(1, m.name(), 0);
            let n = 60_000;
            let wrong = (0..n)
                .filter(|_| {
                    let i = (uniform(&mut rng) * c.points.len() as f64) as usize;
                    let z = c.points[i] + Complex::new(s * normal(&mut rng), s * normal(&mut rng));
                    c.nearest(z).0 != i
                })
                .count() as f64
                / f64::from(n);
            let want = of(&c, rho);
            let sigma = (want / f64::from(n)).sqrt();
            let room = if matches!(m, Modulation::Qpsk | Modulation::Psk8) {
                0.0
            } else {
                0.1 * want
            };
            assert!(
                wrong < want + 4.0 * sigma && wrong > want - room - 4.0 * sigma,
                "{} {wrong} {want}",
                m.name()
            );
        }
    }
}
