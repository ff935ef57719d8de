//! Health: short regular readings of one station over years, and what they say of it.
//!
//! [`separate`] parts what moves with the satellite from what moves with the station; [`noise`] learns how a series
//! scatters and how long its scatter lasts; [`changes`] finds when a level changed, by how much, and whether it comes
//! back; [`trend`] tells a slow loss from a season; [`drift`] learns how an oscillator follows the temperature; [`rain`]
//! holds attenuation and rise of the noise against each other. Nothing here knows what a dish is, and nothing reads a clock.

pub mod changes;
pub mod drift;
pub mod noise;
pub mod rain;
mod regress;
pub mod separate;
pub mod trend;

/// One value of a series, usually a day's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Entry {
    /// Time in the series' own unit (usually days), rising.
    pub t: f64,
    /// Value.
    pub value: f64,
    /// Standard uncertainty of this value alone; 0 when unknown.
    pub u: f64,
}

/// One value for each stretch of `bin` (same unit as the times): the median of what fell in it, at the mean of its times.
/// Its uncertainty is that of the median of as many: `1.2533 u / sqrt(n)` (asymptotic efficiency of the median).
pub fn binned(entries: &[Entry], bin: f64) -> Vec<Entry> {
    let mut sorted: Vec<Entry> = entries
        .iter()
        .copied()
        .filter(|e| e.t.is_finite() && e.value.is_finite())
        .collect();
    sorted.sort_by(|a, b| a.t.total_cmp(&b.t));
    let mut out = Vec::new();
    let mut rest = sorted.as_slice();
    while let Some(first) = rest.first() {
        let cell = (first.t / bin).floor();
        let n = rest
            .iter()
            .take_while(|e| (e.t / bin).floor() == cell)
            .count();
        let (now, later) = rest.split_at(n);
        rest = later;
        let values: Vec<f64> = now.iter().map(|e| e.value).collect();
        let Some(value) = slantpath_stats::robust::median(&values) else {
            continue;
        };
        let k = n as f64;
        let u2 = now.iter().map(|e| e.u * e.u).sum::<f64>() / k;
        let factor = if n > 2 { 1.2533 } else { 1.0 };
        out.push(Entry {
            t: now.iter().map(|e| e.t).sum::<f64>() / k,
            value,
            u: factor * (u2 / k).sqrt(),
        });
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_is_its_median() {
        let e = |t, value| Entry { t, value, u: 0.1 };
        let b = binned(&[e(0.9, 9.0), e(0.1, 1.0), e(0.5, 2.0), e(1.2, 5.0)], 1.0);
        assert_eq!(b.len(), 2);
        assert_eq!((b[0].value, b[1].value), (2.0, 5.0));
        assert!((b[0].t - 0.5).abs() < 1e-12 && (b[1].u - 0.1).abs() < 1e-12);
    }
}
