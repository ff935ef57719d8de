//! How far averages of noise power may scatter.

use crate::StatsError;
use crate::intervals::chi2_quantile;
use slantpath_quantity::to_db;
use statrs::function::gamma::digamma;

/// dB per relative unit of power, `10/ln 10`.
const DB_PER_NEPER_POWER: f64 = 10.0 / std::f64::consts::LN_10;

/// Radiometer equation (total power, square law): relative standard deviation `1/sqrt(B tau)` of the mean power of
/// white noise of bandwidth `b_hz` averaged over `tau_s`.
///
/// # Errors
/// [`StatsError::OutOfRange`] when `B tau` is not > 0.
pub fn radiometer(b_hz: f64, tau_s: f64) -> Result<f64, StatsError> {
    let n = b_hz * tau_s;
    if !(n > 0.0 && n.is_finite()) {
        return Err(StatsError::OutOfRange {
            name: "B tau",
            value: n,
            range: "finite values > 0",
        });
    }
    Ok(1.0 / n.sqrt())
}

/// [`radiometer`] in dB for small values: `4.34/sqrt(B tau)`.
///
/// # Errors
/// As [`radiometer`].
pub fn radiometer_db(b_hz: f64, tau_s: f64) -> Result<f64, StatsError> {
    Ok(DB_PER_NEPER_POWER * radiometer(b_hz, tau_s)?)
}

/// What is known of a power density from the average of `k` independent periodograms of Gaussian noise:
/// `2 k P/S` follows chi-square with `2 k` degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PsdAverage {
    /// Relative standard deviation of the average, `1/sqrt(k)`.
    pub relative_sd: f64,
    /// Expectation of the average's dB value minus the dB value of its expectation (negative).
    pub bias_db: f64,
    /// Standard deviation of the average's dB value.
    pub sd_db: f64,
    /// Lower end of the interval of the true density relative to the average, dB.
    pub lo_db: f64,
    /// Upper end of that interval, dB.
    pub hi_db: f64,
}

/// Scatter of the average of `k` independent periodograms. For overlapped or windowed segments `k` is the *equivalent*
/// number of independent ones and need not be whole.
///
/// # Errors
/// [`StatsError::OutOfRange`] for `k` not > 0 or `level` outside (0, 1).
pub fn psd_average(k: f64, level: f64) -> Result<PsdAverage, StatsError> {
    let upper = chi2_quantile(0.5 * (1.0 + level), 2.0 * k)?;
    let lower = chi2_quantile(0.5 * (1.0 - level), 2.0 * k)?;
    Ok(PsdAverage {
        relative_sd: 1.0 / k.sqrt(),
        bias_db: DB_PER_NEPER_POWER * (digamma(k) - k.ln()),
        sd_db: DB_PER_NEPER_POWER * trigamma(k).sqrt(),
        lo_db: to_db(2.0 * k / upper),
        hi_db: to_db(2.0 * k / lower),
    })
}

/// Derivative of digamma for x > 0: recurrence up to 20, then the asymptotic series
/// (NIST Digital Library of Mathematical Functions 5.15.8; from memory).
pub fn trigamma(x: f64) -> f64 {
    let mut x = x;
    let mut sum = 0.0;
    while x < 20.0 {
        sum += 1.0 / (x * x);
        x += 1.0;
    }
    let i = 1.0 / x;
    let i2 = i * i;
    sum + i * (1.0 + 0.5 * i + i2 * (1.0 / 6.0 - i2 * (1.0 / 30.0 - i2 * (1.0 / 42.0 - i2 / 30.0))))
}

/// Cramer-Rao bound of the signal-to-noise ratio estimated from `n` known symbols in complex white Gaussian noise,
/// amplitude and noise power unknown: `sd(rho)/rho = sqrt((2/rho + 1)/n)` with `rho` as a power ratio
/// (form of Pauluzzi and Beaulieu 2000). The phase is decoupled and costs nothing.
///
/// # Errors
/// [`StatsError::OutOfRange`] for `rho` or `n` not > 0.
pub fn snr_bound(rho: f64, n: f64) -> Result<f64, StatsError> {
    for (name, value) in [("signal-to-noise ratio", rho), ("number of symbols", n)] {
        if value.is_nan() || value <= 0.0 {
            return Err(StatsError::OutOfRange {
                name,
                value,
                range: "values > 0",
            });
        }
    }
    Ok(((2.0 / rho + 1.0) / n).sqrt())
}

/// [`snr_bound`] in dB for small values.
///
/// # Errors
/// As [`snr_bound`].
pub fn snr_bound_db(rho: f64, n: f64) -> Result<f64, StatsError> {
    Ok(DB_PER_NEPER_POWER * snr_bound(rho, n)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trigamma_known_values() {
        let pi2 = std::f64::consts::PI.powi(2);
        assert!((trigamma(1.0) - pi2 / 6.0).abs() < 1e-14);
        assert!((trigamma(0.5) - pi2 / 2.0).abs() < 1e-13);
    }

    #[test]
    fn nonsense_is_refused() {
        assert!(radiometer(0.0, 1.0).is_err());
        assert!(psd_average(-1.0, 0.95).is_err());
        assert!(snr_bound(f64::NAN, 10.0).is_err());
    }
}
