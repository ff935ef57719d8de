//! The noise floor under signals: a smooth curve through the bins that nothing occupies.
//!
//! Bins are averages of many exponentially distributed powers, so that a quiet bin scatters about the floor by a
//! known amount. A bin, or a run of bins, that stands above the floor by more than this allows is occupied. The floor
//! is a polynomial in the logarithm of the density; it and the set of quiet bins are found in turn.
//!
//! Leaving out bins above four standard deviations lowers the mean of quiet ones by
//! `phi(4)/Phi(4) = 1.3e-4` standard deviations of a bin: far below the uncertainty of the mean, not corrected.

use slantpath_signal::Spectrum;
use slantpath_signal::fit::{Polynomial, Prior, polynomial};
use slantpath_signal::spectrum::HANN_BIN_FACTOR;
use std::ops::Range;

/// Points on the frequency axis: logarithm of density and its standard deviation for noise alone.
#[derive(Debug, Clone, Default)]
pub struct Cells {
    /// Frequency, Hz.
    pub f: Vec<f64>,
    /// Natural logarithm of the density, corrected for the bias of the logarithm.
    pub y: Vec<f64>,
    /// Standard deviation of `y`.
    pub sigma: Vec<f64>,
    /// Cells that must not be used, whatever they show.
    pub barred: Vec<bool>,
    /// Factor on the covariance of a fit because neighbouring cells are correlated.
    pub inflation: f64,
}

impl Cells {
    /// Cells of an averaged spectrum in some ranges of bins; bins are joined until a cell has 60 averages.
    pub fn of(s: &Spectrum, ranges: &[Range<usize>]) -> Self {
        let k = s.averages();
        let g = (60.0 / k).ceil().max(1.0) as usize;
        let gf = g as f64;
        // Variance of the mean of g correlated Hann bins over that of one bin.
        let mut v1 = 1.0 / gf;
        for (lag, r2) in [(1.0, 4.0 / 9.0), (2.0, 1.0 / 36.0)] {
            if gf > lag {
                v1 += 2.0 * (gf - lag) / (gf * gf) * r2;
            }
        }
        let averages = k / v1;
        let mut c = Cells {
            inflation: HANN_BIN_FACTOR / (gf * v1),
            ..Cells::default()
        };
        let dc = s.position(0.0);
        for r in ranges {
            let mut a = r.start;
            while a + g <= r.end {
                let mean = s.psd.get(a..a + g).map_or(0.0, |p| p.iter().sum::<f64>()) / gf;
                if mean > 0.0 {
                    c.f.push(s.freq(a) + 0.5 * (gf - 1.0) * s.bin_hz());
                    c.y.push(mean.ln() + 0.5 / averages);
                    c.sigma.push(1.0 / averages.sqrt());
                    // The converter's own direct current and its leakage.
                    c.barred
                        .push((a..a + g).any(|b| (b as f64 - dc).abs() <= 3.0));
                }
                a += g;
            }
        }
        c
    }

    /// Number of cells.
    pub fn len(&self) -> usize {
        self.f.len()
    }

    /// True without cells.
    pub fn is_empty(&self) -> bool {
        self.f.is_empty()
    }
}

/// How the floor may bend.
#[derive(Debug, Clone)]
pub struct FloorRule {
    /// Order of the polynomial that is always used (as far as the cells can determine it).
    pub min_order: usize,
    /// Highest order of the polynomial; orders above the lowest have to earn themselves.
    pub max_order: usize,
    /// Widest run of cells looked at as one, Hz: about the width of the widest signal. A wider one would take the
    /// crest of a rippled floor for a signal.
    pub widest_hz: f64,
    /// Frequency where its variable is zero, Hz.
    pub centre_hz: f64,
    /// Unit of its variable, Hz.
    pub scale_hz: f64,
    /// What is known of its coefficients.
    pub priors: Vec<Prior>,
    /// Departure of the true floor from any such polynomial that is not called a signal (natural logarithm).
    pub tolerance: f64,
}

/// The floor found.
#[derive(Debug, Clone)]
pub struct Floor {
    /// Natural logarithm of the density against frequency; covariance holds for the quiet cells' scatter.
    pub poly: Polynomial,
    /// Which cells were quiet.
    pub quiet: Vec<bool>,
    /// Fraction of cells that were quiet.
    pub quiet_fraction: f64,
    /// Chi-square of the quiet cells per degree of freedom.
    pub chi2_per_dof: f64,
}

impl Floor {
    /// Density at a frequency.
    pub fn density(&self, f_hz: f64) -> f64 {
        self.poly.at(f_hz).exp()
    }
    /// Relative standard uncertainty of the density at a frequency.
    pub fn relative_u(&self, f_hz: f64) -> f64 {
        self.poly.variance_at(f_hz).sqrt()
    }
}

/// Finds the floor. `None` with fewer than six usable cells.
pub fn find_floor(c: &Cells, rule: &FloorRule) -> Option<Floor> {
    let n = c.len();
    let usable: Vec<usize> = (0..n).filter(|&i| !c.barred[i]).collect();
    if usable.len() < 6 {
        return None;
    }
    let mut poly = first_floor(c, &usable, rule)?;
    let mut quiet = vec![false; n];
    for pass in 0..14 {
        // The first curves are crude: what they miss must not be called a signal.
        let slack = rule.tolerance + 0.12 * 0.5f64.powi(pass);
        let now = quiet_cells(c, &poly, slack, rule.widest_hz);
        if pass > 8 && now == quiet {
            break;
        }
        quiet = now;
        let w: Vec<f64> = (0..n)
            .map(|i| if quiet[i] { c.sigma[i].powi(-2) } else { 0.0 })
            .collect();
        let count = quiet.iter().filter(|q| **q).count();
        let fit = |o: usize| {
            polynomial(
                &c.f,
                &c.y,
                &w,
                o,
                rule.centre_hz,
                rule.scale_hz,
                &rule.priors,
            )
        };
        // As many bends as there are quiet twelfths of the band, less two: a curve is not asked about ends or gaps
        // that show nothing of it.
        let twelfths = (0..12)
            .filter(|p| {
                quiet[n * p / 12..n * (p + 1) / 12]
                    .iter()
                    .filter(|q| **q)
                    .count()
                    * 8
                    > n / 12
            })
            .count();
        let afford = (count / 12)
            .saturating_sub(1)
            .min(twelfths.saturating_sub(2).max(1));
        let low = rule.min_order.min(afford);
        let high = rule.max_order.min(afford.max(low));
        let best = if pass < 7 {
            // While the set of quiet cells is being found the curve is free to bend: a stiff one would call the
            // crests of the floor signals and never learn of them.
            fit(high)?
        } else {
            let mut best = fit(low)?;
            for o in low + 1..=high {
                if let Some(p) = fit(o) {
                    let gain = (best.chi2 - p.chi2) / c.inflation;
                    let added = (p.coefficients.len() - best.coefficients.len()) as f64;
                    if gain > 10.0 * added {
                        best = p;
                    }
                }
            }
            best
        };
        poly = best;
    }
    let count = quiet.iter().filter(|q| **q).count();
    if count < 4 {
        return None;
    }
    let dof = (count as f64 - poly.coefficients.len() as f64).max(1.0);
    let chi2_per_dof = poly.chi2 / dof;
    for row in &mut poly.covariance {
        for v in row.iter_mut() {
            *v *= c.inflation;
        }
    }
    Some(Floor {
        poly,
        quiet_fraction: count as f64 / n as f64,
        quiet,
        chi2_per_dof,
    })
}

/// Low quantiles of stretches of the band, then a curve through those that agree.
fn first_floor(c: &Cells, usable: &[usize], rule: &FloorRule) -> Option<Polynomial> {
    let parts = (usable.len() / 12).clamp(1, 24);
    let (mut x, mut y) = (Vec::new(), Vec::new());
    for p in 0..parts {
        let a = usable.len() * p / parts;
        let b = usable.len() * (p + 1) / parts;
        let mut v: Vec<f64> = usable[a..b].iter().map(|&i| c.y[i]).collect();
        v.sort_by(f64::total_cmp);
        let q = v.len() as f64 * 0.3;
        let lo = v.get(q as usize).copied()?;
        // The 30 % quantile of a normal variable lies 0.524 standard deviations below its mean.
        y.push(lo + 0.524 * c.sigma[usable[a]]);
        x.push(usable[a..b].iter().map(|&i| c.f[i]).sum::<f64>() / (b - a) as f64);
    }
    let order = if parts >= 8 {
        rule.max_order.min(2)
    } else if parts >= 3 {
        rule.max_order.min(1)
    } else {
        0
    };
    let mut w = vec![1.0; x.len()];
    let mut fit = polynomial(&x, &y, &w, order, rule.centre_hz, rule.scale_hz, &[])
        .or_else(|| polynomial(&x, &y, &w, 0, rule.centre_hz, rule.scale_hz, &[]))?;
    for _ in 0..8 {
        let mut r: Vec<f64> = x
            .iter()
            .zip(&y)
            .map(|(x, y)| (y - fit.at(*x)).abs())
            .collect();
        r.sort_by(f64::total_cmp);
        let scale = (1.5 * r[r.len() / 2]).max(0.02);
        for ((w, x), y) in w.iter_mut().zip(&x).zip(&y) {
            let d = (y - fit.at(*x)) / scale;
            // Stretches full of signals stand high; low ones are never signals.
            *w = if d > 0.0 { 1.0 / (1.0 + d * d) } else { 1.0 };
        }
        fit = polynomial(
            &x,
            &y,
            &w,
            fit.coefficients.len() - 1,
            rule.centre_hz,
            rule.scale_hz,
            &[],
        )?;
    }
    Some(fit)
}

/// Cells not above the curve, alone or in company, by more than noise allows; their neighbours are left out too.
fn quiet_cells(c: &Cells, poly: &Polynomial, slack: f64, widest_hz: f64) -> Vec<bool> {
    let n = c.len();
    let r: Vec<f64> = (0..n).map(|i| c.y[i] - poly.at(c.f[i])).collect();
    let mut occupied = vec![false; n];
    let spacing =
        c.f.windows(2)
            .map(|w| w[1] - w[0])
            .fold(f64::INFINITY, f64::min);
    let mut sum = vec![0.0; n + 1];
    for i in 0..n {
        sum[i + 1] = sum[i] + if c.barred[i] { 0.0 } else { r[i] };
    }
    for width in [1usize, 3, 9, 27, 81] {
        if width * 4 > n || (width > 3 && width as f64 * spacing > widest_hz) {
            break;
        }
        let h = width / 2;
        let spread = if width == 1 {
            1.0
        } else {
            (c.inflation / width as f64).sqrt()
        };
        for i in h..n - h {
            let mean = (sum[i + h + 1] - sum[i - h]) / width as f64;
            if mean > 4.0 * c.sigma[i] * spread + slack {
                for o in &mut occupied[i - h..=i + h] {
                    *o = true;
                }
            }
        }
    }
    let mut quiet = vec![true; n];
    for i in 0..n {
        if c.barred[i] {
            quiet[i] = false;
        }
        if occupied[i] {
            // The stronger the signal, the wider its skirts: two cells, and one more for every 5 dB above the floor.
            let guard = 2 + (r[i].max(0.0) / 1.15) as usize;
            let (a, b) = (i.saturating_sub(guard), (i + guard).min(n - 1));
            quiet[a..=b].fill(false);
        }
    }
    quiet
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha12Rng;
    use rand_distr::StandardNormal;

    /// A spectrum with a sloping, rippled floor and many carriers; cells scatter independently.
    fn crowded(seed: u64, carriers: usize) -> (Cells, f64) {
        let mut r = ChaCha12Rng::seed_from_u64(seed);
        let n = 1600;
        let k: f64 = 500.0;
        let mut lin: Vec<f64> = (0..n)
            .map(|i| {
                let x = i as f64 / n as f64 - 0.5;
                (0.1 * x + 0.03 * (9.0 * x).cos()).exp()
            })
            .collect();
        let truth = lin[160..1440].iter().sum::<f64>() / 1280.0;
        for _ in 0..carriers {
            let at = r.random_range(0..n);
            let width = r.random_range(2..20usize);
            let level = slantpath_quantity::from_db(r.random_range(-3.0..20.0));
            for v in lin.iter_mut().skip(at).take(width) {
                *v += level;
            }
        }
        let c = Cells {
            f: (0..n).map(|i| i as f64).collect(),
            y: lin
                .iter()
                .map(|p| {
                    let z: f64 = r.sample(StandardNormal);
                    (p * (1.0 + z / k.sqrt())).ln() + 0.5 / k
                })
                .collect(),
            sigma: vec![1.0 / k.sqrt(); n],
            barred: vec![false; n],
            inflation: 1.0,
        };
        (c, truth)
    }

    #[test]
    fn the_floor_is_found_under_many_carriers() {
        let rule = FloorRule {
            min_order: 4,
            max_order: 6,
            widest_hz: 30.0,
            centre_hz: 800.0,
            scale_hz: 800.0,
            priors: Vec::new(),
            tolerance: 0.005,
        };
        for carriers in [0, 10, 40] {
            let (mut z2, mut count) = (0.0, 0.0);
            for seed in 0..12 {
                let (c, truth) = crowded(seed, carriers);
                let f = find_floor(&c, &rule).unwrap();
                // The fit spans more than what is asked of it, as it does in a passband.
                let mean = (160..1440).map(|i| f.density(i as f64)).sum::<f64>() / 1280.0;
                let u = f.poly.variance_of(&f.poly.mean_row(160.0, 1440.0)).sqrt();
                z2 += ((mean / truth - 1.0) / u).powi(2);
                count += 1.0;
                assert!(
                    (mean / truth - 1.0).abs() < 0.012,
                    "{carriers} {seed} {}",
                    mean / truth
                );
            }
            assert!(z2 / count < 4.0, "{carriers}: {}", z2 / count);
        }
    }
}
