//! How a series scatters when nothing changes: its standard deviation, and how much of it lasts from one value to the next.

use super::Entry;
use slantpath_stats::robust::{median, scaled_mad};

/// Scatter of a series about its level: a first-order autoregression in the time between values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// Standard deviation.
    pub sigma: f64,
    /// Correlation of values one unit of time apart.
    pub phi: f64,
    /// Values that it was learned from.
    pub n: usize,
}

/// Correlation expected before the data say anything, and how many values it is worth (own choice: levels and satellites
/// wander from day to day; common practice, no source).
const PHI_BEFORE: (f64, f64) = (0.35, 20.0);
/// Highest correlation believed: beyond it a level change and a slow wander cannot be told apart anyway.
const PHI_MOST: f64 = 0.85;
/// How far from the level a value counts in full, standard deviations.
pub(super) const WINSOR: f64 = 3.0;

impl Scatter {
    /// Correlation of values `dt` apart.
    pub fn rho(&self, dt: f64) -> f64 {
        self.phi.powf(dt.max(0.0))
    }

    /// Learns from values that share one level. The standard deviation is the median absolute deviation's; the correlation
    /// of neighbours uses values drawn in to three of them, is set right for its bias `(1 + 3 phi)/n` (Kendall 1954, from
    /// memory), and is drawn towards what is common. A correlation that lasts shows at two steps too: the larger of
    /// `r_1` and `sqrt(r_2)` counts. `None` for fewer than five values.
    pub fn learn(entries: &[Entry]) -> Option<Self> {
        if entries.len() < 5 {
            return None;
        }
        let values: Vec<f64> = entries.iter().map(|e| e.value).collect();
        let level = median(&values)?;
        let residual: Vec<f64> = values.iter().map(|v| v - level).collect();
        Self::of_residuals(entries, &residual)
    }

    /// The same from residuals about levels that changed in between.
    pub fn of_residuals(entries: &[Entry], residual: &[f64]) -> Option<Self> {
        let n = entries.len().min(residual.len());
        if n < 5 {
            return None;
        }
        let own: Vec<f64> = entries.iter().map(|e| e.u).filter(|u| *u > 0.0).collect();
        let least = 0.5 * median(&own).unwrap_or(0.0);
        let mad = scaled_mad(residual)?;
        // A scale from few values is low as often as high; what is too low raises alarms.
        let sigma = (mad * (1.0 + 1.0 / n as f64)).max(least).max(1e-9);
        let drawn: Vec<f64> = residual
            .iter()
            .map(|r| r.clamp(-WINSOR * sigma, WINSOR * sigma))
            .collect();
        let (r1, n1) = lagged(entries, &drawn, 1.0);
        let (r2, n2) = lagged(entries, &drawn, 2.0);
        // Two of its own standard deviations off, lest noise be taken for memory.
        let long = if n2 > 30 {
            (r2 - 2.0 / (n2 as f64).sqrt()).max(0.0).sqrt()
        } else {
            0.0
        };
        let raw = r1.max(0.0).max(0.9 * long);
        let k = n1 as f64;
        let fair = if n1 > 4 {
            raw + (1.0 + 3.0 * raw) / k
        } else {
            PHI_BEFORE.0
        };
        let phi =
            ((k * fair + PHI_BEFORE.1 * PHI_BEFORE.0) / (k + PHI_BEFORE.1)).clamp(0.0, PHI_MOST);
        Some(Self { sigma, phi, n })
    }
}

/// Correlation of values about `lag` apart, and from how many pairs.
fn lagged(entries: &[Entry], residual: &[f64], lag: f64) -> (f64, usize) {
    let (mut num, mut den, mut n) = (0.0, 0.0, 0usize);
    let step = lag.round().max(1.0) as usize;
    for i in step..residual.len() {
        // Within half a step of the wanted distance; gaps are passed over.
        let Some(j) = (0..=2)
            .filter_map(|k| (i + 1).checked_sub(step + k))
            .find(|j| {
                *j < i
                    && entries
                        .get(i)
                        .zip(entries.get(*j))
                        .is_some_and(|(a, b)| ((a.t - b.t) - lag).abs() < 0.5)
            })
        else {
            continue;
        };
        let (Some(a), Some(b)) = (residual.get(i), residual.get(j)) else {
            continue;
        };
        num += a * b;
        den += 0.5 * (a * a + b * b);
        n += 1;
    }
    (if den > 0.0 { num / den } else { 0.0 }, n)
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_stats::stream::{named_stream, normal};

    #[test]
    fn scale_and_correlation_of_an_autoregression() {
        for (phi, seed) in [(0.0, 1), (0.5, 2), (0.75, 3)] {
            let mut rng = named_stream(seed, "scatter", 0);
            let mut x = normal(&mut rng);
            let entries: Vec<Entry> = (0..2000)
                .map(|k| {
                    x = phi * x + (1.0f64 - phi * phi).sqrt() * normal(&mut rng);
                    // One value in forty is nonsense.
                    let wild = if k % 40 == 7 { 30.0 } else { 0.0 };
                    Entry {
                        t: f64::from(k),
                        value: 0.2 * x + wild,
                        u: 0.0,
                    }
                })
                .collect();
            let s = Scatter::learn(&entries).unwrap();
            assert!((s.sigma / 0.2 - 1.0).abs() < 0.12, "{s:?}");
            // The wild values dilute the correlation by some percent.
            assert!((s.phi - phi).abs() < 0.15, "{phi}: {s:?}");
        }
        assert!(Scatter::learn(&[]).is_none());
    }
}
