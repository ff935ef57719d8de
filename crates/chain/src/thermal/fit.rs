//! Thermal resistances and time constants from a temperature log.
//!
//! One sensor sees the sum of exponentials `T = T_air + sum x_i`, `x_i' = (R_i P - x_i)/tau_i` (the Foster form of
//! any network of resistances and capacities, driven and read at one body). Between rows the power is constant,
//! so that each row is exact whatever its distance in time; least squares find `R_i`, `tau_i` and the rise at the
//! start.

use crate::error::{ChainError, Result, finite, not_negative, positive, rising, rows};
use crate::thermal::{ThermalNetwork, ThermalNode};
use slantpath_quantity::{Temperature, Validity};
use slantpath_stats::Matrix;
use slantpath_stats::least_squares::{Nonlinear, NonlinearFit, Prior};

/// One row of a log. The power holds from this row to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogRow {
    /// Time, s.
    pub t_s: f64,
    /// Heat put in from now on, W.
    pub power_w: f64,
    /// Air.
    pub air: Temperature,
    /// Sensor.
    pub sensor: Temperature,
}

/// One exponential.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exponential {
    /// Steady rise per watt, K/W.
    pub r_k_per_w: f64,
    /// Standard uncertainty of it.
    pub u_r: f64,
    /// Time constant, s.
    pub tau_s: f64,
    /// Standard uncertainty of it.
    pub u_tau: f64,
}

/// What a log gave.
#[derive(Debug, Clone, PartialEq)]
pub struct ThermalFit {
    /// Exponentials, fastest first.
    pub exponentials: Vec<Exponential>,
    /// Total steady rise per watt, K/W.
    pub r_total: f64,
    /// Standard uncertainty of it, correlations included.
    pub u_r_total: f64,
    /// Root mean square of the residuals, K.
    pub residual_k: f64,
    /// Outside: gaps, air that moved, a log too short for its slowest exponential; each with its reason.
    pub validity: Validity,
}

impl ThermalFit {
    /// The sensor's temperature in a steady state.
    pub fn steady(&self, power_w: f64, air: Temperature) -> Temperature {
        air + Temperature::k(self.r_total * power_w)
    }
    /// A network with the same rise at its first body: parallel exponentials as a chain of one or two bodies
    /// (Foster to Cauer), so that duty cycles and limits can be asked.
    ///
    /// # Errors
    /// More than two exponentials.
    pub fn network(&self) -> Result<(ThermalNetwork, ThermalNode)> {
        let net = match self.exponentials.as_slice() {
            [a] => ThermalNetwork::ladder(&[("sensor", a.tau_s / a.r_k_per_w, a.r_k_per_w)])?,
            [a, b] => {
                // Z(s) = (n0 + n1 s)/(1 + d1 s + d2 s^2); continued fraction from s -> infinity.
                let (n0, n1) = (
                    a.r_k_per_w + b.r_k_per_w,
                    a.r_k_per_w * b.tau_s + b.r_k_per_w * a.tau_s,
                );
                let (d1, d2) = (a.tau_s + b.tau_s, a.tau_s * b.tau_s);
                let c1 = d2 / n1;
                // what is left of Y after c1 s: (1 + e s)/(n0 + n1 s)
                let e = d1 - c1 * n0;
                let r1 = n1 / e;
                let rest = n0 - r1;
                let c2 = e / rest;
                ThermalNetwork::ladder(&[("sensor", c1, r1), ("behind it", c2, rest)])?
            }
            _ => {
                return Err(ChainError::Undetermined {
                    part: "thermal fit".into(),
                    why: "only one or two exponentials are turned into a chain".into(),
                });
            }
        };
        Ok((net, ThermalNode(0)))
    }
}

/// Fits one or two exponentials to a log whose sensor has the standard uncertainty `u_k` per row.
///
/// # Errors
/// Fewer than eight rows per exponential, times that do not rise, a power that never changes while the sensor is
/// at rest (nothing can be learned), a number of exponentials other than 1 or 2, or a fit that does not settle.
pub fn fit_log(log: &[LogRow], exponentials: usize, u_k: f64) -> Result<ThermalFit> {
    let part = "temperature log";
    if !(1..=2).contains(&exponentials) {
        return Err(ChainError::Impossible {
            part: part.into(),
            symbol: "exponentials",
            value: exponentials as f64,
            must: "1 or 2",
        });
    }
    rows(part, log.len(), 8 * exponentials)?;
    positive(part, "u_k", u_k)?;
    rising(part, "t_s", log.iter().map(|r| r.t_s))?;
    for r in log {
        not_negative(part, "power_w", r.power_w)?;
        finite(part, "air_k", r.air.as_k())?;
        finite(part, "sensor_k", r.sensor.as_k())?;
    }
    let span = log.last().map_or(0.0, |b| b.t_s) - log.first().map_or(0.0, |a| a.t_s);
    let rise: Vec<f64> = log.iter().map(|r| (r.sensor - r.air).as_k()).collect();
    let (lo, hi) = rise
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), &x| {
            (a.min(x), b.max(x))
        });
    let power = log.iter().map(|r| r.power_w).fold(0.0f64, f64::max);
    if power == 0.0 || hi - lo < 6.0 * u_k {
        return Err(ChainError::Undetermined {
            part: part.into(),
            why: "neither heat nor a change of temperature is in the log; record a start from cold"
                .into(),
        });
    }
    let dt: Vec<f64> = log.windows(2).map(|w| w[1].t_s - w[0].t_s).collect();
    // Unknowns per exponential: ln R, ln tau, rise at the start.
    let r0 = (hi / power).max(1e-3);
    let start: Vec<f64> = match exponentials {
        1 => vec![r0.ln(), (span / 3.0).ln(), rise[0]],
        _ => vec![
            (0.5 * r0).ln(),
            (span / 30.0).ln(),
            0.0,
            (0.7 * r0).ln(),
            (span / 2.0).ln(),
            rise[0],
        ],
    };
    // At the body that is heated every exponential's rise is positive (driving-point residues are), so that none can be
    // larger than the rise seen at the start, unless the air moved before: a start from cold is cold throughout.
    let air = log.iter().map(|r| r.air.as_k());
    let air_moves =
        air.clone().fold(f64::NEG_INFINITY, f64::max) - air.fold(f64::INFINITY, f64::min);
    let start_u = rise[0].abs().max(3.0 * u_k) + air_moves;
    let settle = |every: usize, from: &[f64]| -> Result<NonlinearFit> {
        let y: Vec<f64> = rise.iter().copied().step_by(every).collect();
        let u = vec![u_k; y.len()];
        let model = |q: &[f64], out: &mut [f64]| simulate(log, &dt, every, q, out);
        let slopes = |q: &[f64], j: &mut Matrix| sensitivities(log, &dt, every, q, j);
        let mut problem = Nonlinear::new(&y, &model)
            .jacobian(&slopes)
            .uncertainties(&u);
        for k in 0..exponentials {
            problem = problem
                .bound(3 * k, (1e-4 * r0).ln(), (1e3 * r0).ln())
                .bound(3 * k + 1, (1e-4 * span).ln(), (30.0 * span).ln())
                .prior(Prior {
                    index: 3 * k + 2,
                    mean: start[3 * k + 2],
                    u: start_u,
                });
        }
        let fit = problem.fit(from).map_err(|e| ChainError::Undetermined {
            part: part.into(),
            why: e.to_string(),
        })?;
        if fit.convergence.is_converged() {
            Ok(fit)
        } else {
            Err(ChainError::Undetermined {
                part: part.into(),
                why: "the fit does not settle; fewer exponentials or a longer log".into(),
            })
        }
    };
    // A long log is first read at some of its rows, which brings the fit over all of them near its end.
    let every = rise.len() / 2000;
    let fit = if every > 1 {
        let near = settle(every, &start)?;
        settle(1, &near.p)?
    } else {
        settle(1, &start)?
    };
    let mut fitted = vec![0.0; rise.len()];
    simulate(log, &dt, 1, &fit.p, &mut fitted);
    let ss: f64 = fitted
        .iter()
        .zip(&rise)
        .map(|(a, b)| (a - b) * (a - b))
        .sum();
    let residual_k = (ss / rise.len() as f64).sqrt();
    // Residuals larger than stated widen the uncertainties, smaller ones do not narrow them.
    let scale = fit.residual_scale().unwrap_or(1.0).max(1.0);
    let mut found: Vec<Exponential> = (0..exponentials)
        .map(|k| {
            let (r, tau) = (fit.p[3 * k].exp(), fit.p[3 * k + 1].exp());
            Exponential {
                r_k_per_w: r,
                u_r: r * fit.u(3 * k) * scale,
                tau_s: tau,
                u_tau: tau * fit.u(3 * k + 1) * scale,
            }
        })
        .collect();
    let r_total = found.iter().map(|e| e.r_k_per_w).sum();
    let mut c = vec![0.0; fit.p.len()];
    for (k, e) in found.iter().enumerate() {
        c[3 * k] = e.r_k_per_w;
    }
    let u_r_total = fit.covariance.quadratic(&c).max(0.0).sqrt() * scale;
    found.sort_by(|a, b| a.tau_s.total_cmp(&b.tau_s));
    let slowest = found.last().map_or(span, |e| e.tau_s);
    Ok(ThermalFit {
        validity: judge(log, &dt, span, slowest, exponentials > 1),
        exponentials: found,
        r_total,
        u_r_total,
        residual_k,
    })
}

/// The rise at every `every`-th row.
///
/// When the air moves, the bodies do not follow at once: their rise above it changes by the air's step. With one
/// exponential that is exact; with two the step is put on the slower one, the body next to the air.
fn simulate(log: &[LogRow], dt: &[f64], every: usize, q: &[f64], out: &mut [f64]) {
    out.iter_mut().for_each(|o| *o = 0.0);
    let slow = slowest_of(q);
    for (j, e) in q.chunks_exact(3).enumerate() {
        let (r, tau, mut x) = (e[0].exp(), e[1].exp(), e[2]);
        // logs are mostly even in time: the factor is only computed when the distance changes
        let (mut last, mut decay) = (f64::NAN, 0.0);
        for (k, row) in log.iter().enumerate() {
            if k % every == 0 {
                out[k / every] += x;
            }
            if let Some(&h) = dt.get(k) {
                if h != last {
                    (last, decay) = (h, (-h / tau).exp());
                }
                let end = r * row.power_w;
                x = end + (x - end) * decay - air_step(log, k, j == slow);
            }
        }
    }
}

/// Which exponential has the longest time constant.
fn slowest_of(q: &[f64]) -> usize {
    (0..q.len() / 3)
        .max_by(|&a, &b| q[3 * a + 1].total_cmp(&q[3 * b + 1]))
        .unwrap_or(0)
}

/// By how much the air rises from row `k` to the next, for the exponential that meets it.
fn air_step(log: &[LogRow], k: usize, meets_it: bool) -> f64 {
    match (meets_it, log.get(k), log.get(k + 1)) {
        (true, Some(a), Some(b)) => (b.air - a.air).as_k(),
        _ => 0.0,
    }
}

/// Derivatives of [`simulate`]'s recursion, carried along with it. With `E = exp(-h/tau)`:
/// `d/dlnR: r E + R P (1 - E)`, `d/dln tau: t E + (x - R P) E h/tau`, `d/dx0: s E`.
fn sensitivities(log: &[LogRow], dt: &[f64], every: usize, q: &[f64], j: &mut Matrix) {
    let slow = slowest_of(q);
    for (k, e) in q.chunks_exact(3).enumerate() {
        let (r, tau, mut x) = (e[0].exp(), e[1].exp(), e[2]);
        let (mut by_r, mut by_tau, mut by_start) = (0.0, 0.0, 1.0);
        let (mut last, mut decay) = (f64::NAN, 0.0);
        for (i, row) in log.iter().enumerate() {
            if i % every == 0 {
                j[(i / every, 3 * k)] = by_r;
                j[(i / every, 3 * k + 1)] = by_tau;
                j[(i / every, 3 * k + 2)] = by_start;
            }
            if let Some(&h) = dt.get(i) {
                if h != last {
                    (last, decay) = (h, (-h / tau).exp());
                }
                let end = r * row.power_w;
                by_r = end + (by_r - end) * decay;
                by_tau = by_tau * decay + (x - end) * decay * h / tau;
                by_start *= decay;
                x = end + (x - end) * decay - air_step(log, i, k == slow);
            }
        }
    }
}

fn judge(log: &[LogRow], dt: &[f64], span: f64, slowest: f64, several: bool) -> Validity {
    let mut v = Validity::Inside;
    let mut sorted = dt.to_vec();
    sorted.sort_by(f64::total_cmp);
    let typical = sorted.get(sorted.len() / 2).copied().unwrap_or(0.0);
    for (k, h) in dt.iter().enumerate() {
        if *h > 5.0 * typical && *h > 0.02 * slowest {
            v = v.and(Validity::outside(format!(
                "temperature log: {h:.0} s are missing after row {}; the power is taken as constant there",
                k + 1
            )));
        }
    }
    let air = log.iter().map(|r| r.air.as_k());
    let (lo, hi) = air.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| {
        (a.min(x), b.max(x))
    });
    // With one body the air's movement is part of the model.
    if hi - lo > 2.0 && several {
        v = v.and(Validity::outside(format!(
            "temperature log: the air moved by {:.1} K; what is next to it is taken to follow with its own time constant",
            hi - lo
        )));
    }
    if span < 2.0 * slowest {
        v = v.and(Validity::outside(format!(
            "temperature log: {:.0} min are less than two of its slowest time constant ({:.0} min); record longer",
            span / 60.0,
            slowest / 60.0
        )));
    }
    v
}

#[cfg(test)]
mod tests {
    use super::*;

    const AIR: Temperature = Temperature::celsius(20.0);

    /// A chain of two bodies, sensed at the first, with a fixed pattern of errors.
    fn log(n: usize, dt: f64, noise: f64) -> (Vec<LogRow>, ThermalNetwork) {
        let net =
            ThermalNetwork::ladder(&[("sink", 1600.0, 0.25), ("cabinet", 9000.0, 0.2)]).unwrap();
        let m = net.modes().unwrap();
        let mut t = vec![AIR.as_k(); 2];
        let mut out = Vec::new();
        for k in 0..n {
            let p = if (k as f64 * dt / 2400.0) as usize % 3 == 2 {
                20.0
            } else {
                120.0
            };
            // a pattern of period 7, mean zero
            let e = noise * ([0.0, 1.3, -0.8, 0.5, -1.4, 0.9, -0.5][k % 7]);
            out.push(LogRow {
                t_s: k as f64 * dt,
                power_w: p,
                air: AIR,
                sensor: Temperature::k(t[0] + e),
            });
            t = m.after(dt, &t, &[p, 0.0], AIR).unwrap();
        }
        (out, net)
    }

    #[test]
    fn two_bodies_come_back_from_their_log() {
        let (rows, net) = log(5000, 6.0, 0.2);
        let fit = fit_log(&rows, 2, 0.2).unwrap();
        assert!(fit.validity.is_inside(), "{:?}", fit.validity);
        assert!(
            (fit.r_total - 0.45).abs() < 4.0 * fit.u_r_total && fit.u_r_total < 0.002,
            "{fit:?}"
        );
        let want = net.modes().unwrap().time_constants_s();
        let [fast, slow] = fit.exponentials.as_slice() else {
            panic!()
        };
        assert!((slow.tau_s - want[0]).abs() < 4.0 * slow.u_tau && slow.u_tau < 0.05 * slow.tau_s);
        assert!((fast.tau_s - want[1]).abs() < 4.0 * fast.u_tau && fast.u_tau < 0.1 * fast.tau_s);
        // and the network made of it answers like the one behind the log
        let (back, sensor) = fit.network().unwrap();
        let m = back.modes().unwrap();
        let (a, b) = (
            m.after(700.0, &[AIR.as_k(); 2], &[100.0, 0.0], AIR)
                .unwrap()[sensor.index()],
            net.modes()
                .unwrap()
                .after(700.0, &[AIR.as_k(); 2], &[100.0, 0.0], AIR)
                .unwrap()[0],
        );
        assert!((a - b).abs() < 0.1, "{a} {b}");
    }

    #[test]
    fn sensitivities_are_differences_of_the_model() {
        let (mut rows, _) = log(60, 10.0, 0.0);
        rows.remove(30);
        let dt: Vec<f64> = rows.windows(2).map(|w| w[1].t_s - w[0].t_s).collect();
        let q = [
            0.2f64.ln(),
            90.0f64.ln(),
            1.5,
            0.3f64.ln(),
            900.0f64.ln(),
            -2.0,
        ];
        let mut j = Matrix::zeros(rows.len(), q.len());
        sensitivities(&rows, &dt, 1, &q, &mut j);
        for k in 0..q.len() {
            let (mut up, mut down) = (q, q);
            up[k] += 1e-5;
            down[k] -= 1e-5;
            let (mut a, mut b) = (vec![0.0; rows.len()], vec![0.0; rows.len()]);
            simulate(&rows, &dt, 1, &up, &mut a);
            simulate(&rows, &dt, 1, &down, &mut b);
            for i in 0..rows.len() {
                assert!(((a[i] - b[i]) / 2e-5 - j[(i, k)]).abs() < 1e-7, "{i} {k}");
            }
        }
    }

    #[test]
    fn stated_uncertainty_of_the_steady_rise_covers_the_truth() {
        // 300 seeded logs of 240 rows with white sensor noise: 95 % intervals hold the truth 91..98.5 % of the
        // time (three standard deviations of the count).
        let (clean, _) = log(240, 30.0, 0.0);
        let mut inside = 0;
        for trial in 0..300 {
            let mut rng = slantpath_stats::stream::named_stream(7, "thermal log", trial);
            let rows: Vec<LogRow> = clean
                .iter()
                .map(|r| LogRow {
                    sensor: r.sensor
                        + Temperature::k(0.3 * slantpath_stats::stream::normal(&mut rng)),
                    ..*r
                })
                .collect();
            let fit = fit_log(&rows, 2, 0.3).unwrap();
            inside += u32::from((fit.r_total - 0.45).abs() < 1.96 * fit.u_r_total);
        }
        assert!((274..=296).contains(&inside), "{inside} of 300");
    }

    #[test]
    fn gaps_moving_air_and_short_logs_are_said() {
        let (mut rows, _) = log(600, 10.0, 0.1);
        rows.drain(200..260);
        for r in rows.iter_mut().skip(300) {
            r.air = Temperature::celsius(23.0);
        }
        let fit = fit_log(&rows, 2, 0.1).unwrap();
        let text = fit.validity.reasons().join("; ");
        assert!(
            text.contains("missing after row 200") && text.contains("air moved"),
            "{text}"
        );
        let (short, _) = log(100, 10.0, 0.1);
        let fit = fit_log(&short, 1, 0.1).unwrap();
        assert!(fit.validity.reasons().join(" ").contains("record longer"));
    }

    #[test]
    fn a_body_that_lags_behind_moving_air_is_still_found() {
        // One body, 0.9 K/W and 12 min, heated by 20 W while the air climbs by 8 K in two hours and falls again:
        // solved in small Euler steps, apart from the recursion under test.
        let (r, tau) = (0.9, 720.0);
        let air = |t: f64| 35.0 + 8.0 * (std::f64::consts::PI * t / 14_400.0).sin();
        let (mut body, mut rows) = (35.0, Vec::new());
        for k in 0..=1440 {
            let t = 10.0 * f64::from(k);
            rows.push(LogRow {
                t_s: t,
                power_w: 20.0,
                air: Temperature::celsius(air(t)),
                sensor: Temperature::celsius(body),
            });
            for j in 0..100 {
                let now = t + 0.1 * f64::from(j);
                body += 0.1 * (air(now) + r * 20.0 - body) / tau;
            }
        }
        let fit = fit_log(&rows, 1, 0.1).unwrap();
        assert!((fit.r_total / r - 1.0).abs() < 2e-3, "{}", fit.r_total);
        assert!((fit.exponentials[0].tau_s / tau - 1.0).abs() < 5e-3);
        assert!(
            fit.residual_k < 0.05 && fit.validity.is_inside(),
            "{:?}",
            fit.validity
        );
    }

    #[test]
    fn nothing_in_the_log_nothing_learned() {
        let (mut rows, _) = log(100, 10.0, 0.1);
        assert!(fit_log(&rows, 3, 0.1).is_err());
        assert!(fit_log(&rows[..5], 1, 0.1).is_err());
        for r in &mut rows {
            (r.power_w, r.sensor) = (0.0, AIR);
        }
        assert!(
            fit_log(&rows, 1, 0.1)
                .unwrap_err()
                .to_string()
                .contains("start from cold")
        );
    }
}
