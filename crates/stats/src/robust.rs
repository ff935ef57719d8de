//! Estimates that a few bad values cannot carry away.

use crate::StatsError;
use crate::intervals::normal_quantile;

/// Median of the finite values; the mean of the middle two when their number is even. `None` when there is none.
pub fn median(values: &[f64]) -> Option<f64> {
    let mut v: Vec<f64> = values.iter().copied().filter(|x| x.is_finite()).collect();
    if v.is_empty() {
        return None;
    }
    v.sort_unstable_by(f64::total_cmp);
    let mid = v.len() / 2;
    Some(if v.len() % 2 == 1 {
        v[mid]
    } else {
        0.5 * (v[mid - 1] + v[mid])
    })
}

/// Median absolute deviation from the median, scaled by 1/Phi^-1(3/4) = 1.4826 so that it estimates the standard
/// deviation of normal data.
pub fn scaled_mad(values: &[f64]) -> Option<f64> {
    let m = median(values)?;
    let dev: Vec<f64> = values.iter().map(|x| (x - m).abs()).collect();
    Some(median(&dev)? / normal_quantile(0.75))
}

/// A line `intercept + slope x` by Theil and Sen: slope is the median of the slopes of all pairs, intercept the
/// median of `y - slope x`. Withstands up to 29 % of arbitrary values. Pairs with equal `x` are left out.
///
/// # Errors
/// [`StatsError::Shape`] for unequal lengths, [`StatsError::TooFew`] without two different `x`.
pub fn theil_sen(x: &[f64], y: &[f64]) -> Result<(f64, f64), StatsError> {
    if x.len() != y.len() {
        return Err(StatsError::Shape {
            what: "y",
            expected: x.len(),
            found: y.len(),
        });
    }
    let mut slopes = Vec::with_capacity(x.len() * x.len().saturating_sub(1) / 2);
    for i in 0..x.len() {
        for j in 0..i {
            if x[i] != x[j] {
                slopes.push((y[i] - y[j]) / (x[i] - x[j]));
            }
        }
    }
    let slope = median(&slopes).ok_or(StatsError::TooFew {
        have: x.len(),
        need: 2,
    })?;
    let rest: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - slope * x).collect();
    let intercept = median(&rest).ok_or(StatsError::TooFew {
        have: x.len(),
        need: 2,
    })?;
    Ok((intercept, slope))
}

/// Normal scores by Blom: the value expected of a standard normal deviate with this rank,
/// `Phi^-1((rank - 3/8)/(n + 1/4))` (Blom 1958; from memory). Equal values get scores in the order given.
pub fn normal_scores(values: &[f64]) -> Vec<f64> {
    let n = values.len();
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|&i, &j| values[i].total_cmp(&values[j]));
    let mut score = vec![0.0; n];
    for (k, &i) in order.iter().enumerate() {
        score[i] = normal_quantile((k as f64 + 0.625) / (n as f64 + 0.25));
    }
    score
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_small_cases() {
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[f64::NAN, 3.0, 1.0]), Some(2.0));
        assert_eq!(median(&[5.0, 1.0, 3.0]), Some(3.0));
        // Median 3, deviations 2 1 0 1 97 -> 1.
        let mad = scaled_mad(&[1.0, 2.0, 3.0, 4.0, 100.0]).unwrap();
        assert!((mad - 1.482_602_218_505_602).abs() < 1e-12);
        let s = normal_scores(&[30.0, 10.0, 20.0]);
        assert!(s[2].abs() < 1e-15 && (s[0] + s[1]).abs() < 1e-12 && s[0] > 0.8);
    }

    #[test]
    fn line_survives_a_quarter_of_nonsense() {
        let x: Vec<f64> = (0..12).map(f64::from).collect();
        let mut y: Vec<f64> = x.iter().map(|x| 2.0 - 0.5 * x).collect();
        y[1] = 400.0;
        y[5] = -77.0;
        y[9] = 1e6;
        let (a, b) = theil_sen(&x, &y).unwrap();
        assert!((a - 2.0).abs() < 1e-12 && (b + 0.5).abs() < 1e-12);
        assert!(theil_sen(&[1.0, 1.0], &[1.0, 2.0]).is_err());
    }
}
