//! Quantiles, confidence intervals, power and sample size.

use crate::StatsError;
use slantpath_quantity::Interval;
use statrs::distribution::{ChiSquared, ContinuousCDF, StudentsT};
use statrs::function::erf::erfc;
use statrs::function::gamma::ln_gamma;

/// Standard normal distribution function.
pub fn normal_cdf(x: f64) -> f64 {
    0.5 * erfc(-x / std::f64::consts::SQRT_2)
}

/// Standard normal density.
pub fn normal_pdf(x: f64) -> f64 {
    (-0.5 * x * x).exp() / (2.0 * std::f64::consts::PI).sqrt()
}

/// Quantile of the standard normal distribution for `p` in (0, 1); infinite at the ends.
///
/// Algorithm AS 241 (M. J. Wichura, Applied Statistics 37, 1988), routine PPND16: rational functions in three ranges,
/// about 1 part in 1e16. It is what every draw passes through, so it has no loops.
#[inline]
pub fn normal_quantile(p: f64) -> f64 {
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        return q * ratio(r, &CENTRE);
    }
    let tail = if q < 0.0 { p } else { 1.0 - p };
    let r = (-tail.ln()).sqrt();
    let x = if r.is_infinite() {
        f64::INFINITY
    } else if r <= 5.0 {
        ratio(r - 1.6, &MIDDLE)
    } else {
        ratio(r - 5.0, &TAIL)
    };
    if q < 0.0 { -x } else { x }
}

/// Numerator over denominator, coefficients from the constant term up.
#[inline]
fn ratio(r: f64, c: &[[f64; 8]; 2]) -> f64 {
    let horner = |c: &[f64; 8]| {
        ((((((c[7] * r + c[6]) * r + c[5]) * r + c[4]) * r + c[3]) * r + c[2]) * r + c[1]) * r
            + c[0]
    };
    horner(&c[0]) / horner(&c[1])
}

const CENTRE: [[f64; 8]; 2] = [
    [
        3.387_132_872_796_366_608,
        1.331_416_678_917_843_774_5e2,
        1.971_590_950_306_551_442_7e3,
        1.373_169_376_550_946_112_5e4,
        4.592_195_393_154_987_145_7e4,
        6.726_577_092_700_870_085_3e4,
        3.343_057_558_358_812_810_5e4,
        2.509_080_928_730_122_672_7e3,
    ],
    [
        1.0,
        4.231_333_070_160_091_125_2e1,
        6.871_870_074_920_579_083e2,
        5.394_196_021_424_751_107_7e3,
        2.121_379_430_158_659_586_7e4,
        3.930_789_580_009_271_061e4,
        2.872_908_573_572_194_267_4e4,
        5.226_495_278_852_854_561e3,
    ],
];
const MIDDLE: [[f64; 8]; 2] = [
    [
        1.423_437_110_749_683_577_34,
        4.630_337_846_156_545_295_9,
        5.769_497_221_460_691_405_5,
        3.647_848_324_763_204_605_04,
        1.270_458_252_452_368_382_58,
        2.417_807_251_774_506_117_7e-1,
        2.272_384_498_926_918_458_33e-2,
        7.745_450_142_783_414_076_4e-4,
    ],
    [
        1.0,
        2.053_191_626_637_758_821_87,
        1.676_384_830_183_803_849_4,
        6.897_673_349_851_000_045_5e-1,
        1.481_039_764_274_800_745_9e-1,
        1.519_866_656_361_645_719_66e-2,
        5.475_938_084_995_344_946e-4,
        1.050_750_071_644_416_843_24e-9,
    ],
];
const TAIL: [[f64; 8]; 2] = [
    [
        6.657_904_643_501_103_777_2,
        5.463_784_911_164_114_369_9,
        1.784_826_539_917_291_335_8,
        2.965_605_718_285_048_912_3e-1,
        2.653_218_952_657_612_309_3e-2,
        1.242_660_947_388_078_438_6e-3,
        2.711_555_568_743_487_578_15e-5,
        2.010_334_399_292_288_132_65e-7,
    ],
    [
        1.0,
        5.998_322_065_558_879_376_9e-1,
        1.369_298_809_227_358_053_1e-1,
        1.487_536_129_085_061_485_25e-2,
        7.868_691_311_456_132_591e-4,
        1.846_318_317_510_054_681_8e-5,
        1.421_511_758_316_445_888_7e-7,
        2.044_263_103_389_939_785_64e-15,
    ],
];

/// Coverage factor of a two-sided normal interval with coverage probability `level`: 1.96 for 0.95.
pub fn normal_factor(level: f64) -> f64 {
    // The upper tail is small and exact; 1 - tail would lose digits.
    -normal_quantile(0.5 * (1.0 - level))
}

/// Quantile of Student's t with `nu` > 0 degrees of freedom (any real number; infinite means normal).
///
/// # Errors
/// [`StatsError::OutOfRange`] for `p` outside (0, 1) or `nu` not > 0.
pub fn student_quantile(p: f64, nu: f64) -> Result<f64, StatsError> {
    check_probability(p)?;
    check_dof(nu)?;
    if nu > 1e7 {
        return Ok(normal_quantile(p));
    }
    let t = StudentsT::new(0.0, 1.0, nu).map_err(|_| bad_dof(nu))?;
    Ok(t.inverse_cdf(p))
}

/// Coverage factor of a two-sided t interval: `t_p(nu)` of GUM table G.2.
///
/// # Errors
/// As [`student_quantile`].
pub fn student_factor(level: f64, nu: f64) -> Result<f64, StatsError> {
    student_quantile(0.5 * (1.0 + level), nu)
}

/// Quantile of chi-square with `nu` > 0 degrees of freedom (any real number), to about 1e-12 relative.
///
/// # Errors
/// As [`student_quantile`].
pub fn chi2_quantile(p: f64, nu: f64) -> Result<f64, StatsError> {
    check_probability(p)?;
    check_dof(nu)?;
    let chi2 = ChiSquared::new(nu).map_err(|_| bad_dof(nu))?;
    // Bracket, then bisect on the distribution function: slow and sure.
    let (mut lo, mut hi) = (0.0, nu.max(1.0));
    while chi2.cdf(hi) < p {
        lo = hi;
        hi *= 2.0;
    }
    for _ in 0..200 {
        let mid = 0.5 * (lo + hi);
        if mid <= lo || mid >= hi {
            break;
        }
        if chi2.cdf(mid) < p {
            lo = mid;
        } else {
            hi = mid;
        }
    }
    Ok(0.5 * (lo + hi))
}

/// Probability that chi-square with `nu` degrees of freedom exceeds `x`.
///
/// # Errors
/// [`StatsError::OutOfRange`] for `nu` not > 0.
pub fn chi2_exceeded(x: f64, nu: f64) -> Result<f64, StatsError> {
    check_dof(nu)?;
    Ok(ChiSquared::new(nu).map_err(|_| bad_dof(nu))?.sf(x.max(0.0)))
}

/// Mean of repeated values with its standard uncertainty (GUM 4.2.3) and t interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanOf {
    /// Arithmetic mean.
    pub mean: f64,
    /// Experimental standard deviation of one value.
    pub s: f64,
    /// Standard uncertainty of the mean, `s/sqrt(n)`.
    pub u: f64,
    /// n - 1.
    pub dof: usize,
    /// t interval of the mean.
    pub interval: Interval,
}

/// Mean of independent repeated values and its t interval.
///
/// # Errors
/// [`StatsError::TooFew`] with fewer than two values; `level` outside (0, 1).
pub fn mean_of(values: &[f64], level: f64) -> Result<MeanOf, StatsError> {
    let n = values.len();
    if n < 2 {
        return Err(StatsError::TooFew { have: n, need: 2 });
    }
    let mean = values.iter().sum::<f64>() / n as f64;
    let s = (values.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1) as f64).sqrt();
    let u = s / (n as f64).sqrt();
    let k = student_factor(level, (n - 1) as f64)?;
    Ok(MeanOf {
        mean,
        s,
        u,
        dof: n - 1,
        interval: Interval {
            lo: mean - k * u,
            hi: mean + k * u,
            level,
        },
    })
}

/// Interval of a variance from a sample variance `s2` with `nu` degrees of freedom (normal data).
///
/// # Errors
/// Arguments out of range.
pub fn variance_interval(s2: f64, nu: f64, level: f64) -> Result<Interval, StatsError> {
    Ok(Interval {
        lo: nu * s2 / chi2_quantile(0.5 * (1.0 + level), nu)?,
        hi: nu * s2 / chi2_quantile(0.5 * (1.0 - level), nu)?,
        level,
    })
}

/// Distribution function of noncentral t: the probability that `(Z + delta)/sqrt(chi2_nu/nu)` is at most `t`.
///
/// Integrated over the scale factor `s = sqrt(chi2_nu/nu)` by Simpson's rule; better than 1e-8 for `nu` >= 1.
fn noncentral_t_cdf(t: f64, nu: f64, delta: f64) -> f64 {
    const STEPS: usize = 800;
    let ln_c = std::f64::consts::LN_2 + 0.5 * nu * (0.5 * nu).ln() - ln_gamma(0.5 * nu);
    let density = |s: f64| {
        if s > 0.0 {
            (ln_c + (nu - 1.0) * s.ln() - 0.5 * nu * s * s).exp()
        } else if nu == 1.0 {
            ln_c.exp()
        } else {
            0.0
        }
    };
    // Standard deviation of s is at most 1/sqrt(2 nu); the density is below 1e-17 beyond nine of these.
    let spread = 9.0 / (2.0 * nu).sqrt();
    let (lo, hi) = ((1.0 - spread).max(0.0), 1.0 + spread);
    let h = (hi - lo) / STEPS as f64;
    let f = |s: f64| normal_cdf(t * s - delta) * density(s);
    let inner: f64 = (1..STEPS)
        .map(|i| f(lo + h * i as f64) * if i % 2 == 1 { 4.0 } else { 2.0 })
        .sum();
    h / 3.0 * (f(lo) + inner + f(hi))
}

/// Power of the two-sided paired t test: probability that `n` pairs whose differences scatter with standard deviation
/// `scatter` show a true mean difference `effect` as significant at `1 - level`.
///
/// # Errors
/// [`StatsError::TooFew`] for fewer than two pairs; arguments out of range.
pub fn paired_power(effect: f64, scatter: f64, n: u32, level: f64) -> Result<f64, StatsError> {
    if n < 2 {
        return Err(StatsError::TooFew {
            have: n as usize,
            need: 2,
        });
    }
    if !(scatter > 0.0 && scatter.is_finite()) {
        return Err(StatsError::OutOfRange {
            name: "scatter",
            value: scatter,
            range: "finite values > 0",
        });
    }
    let nu = f64::from(n - 1);
    let critical = student_factor(level, nu)?;
    let delta = effect.abs() / scatter * f64::from(n).sqrt();
    Ok(1.0 - noncentral_t_cdf(critical, nu, delta) + noncentral_t_cdf(-critical, nu, delta))
}

/// Smallest number of pairs (at least 2) with at least `power`; `None` when a million are not enough.
///
/// # Errors
/// Arguments out of range.
pub fn pairs_for_power(
    effect: f64,
    scatter: f64,
    power: f64,
    level: f64,
) -> Result<Option<u32>, StatsError> {
    check_probability(power)?;
    if effect == 0.0 || !effect.is_finite() {
        return Ok(None);
    }
    let enough = |n: u32| paired_power(effect, scatter, n, level).map(|p| p >= power);
    let (mut low, mut high) = (1, 2);
    while !enough(high)? {
        low = high;
        high *= 2;
        if high > 1 << 20 {
            return Ok(None);
        }
    }
    while high - low > 1 {
        let mid = low + (high - low) / 2;
        if enough(mid)? {
            high = mid;
        } else {
            low = mid;
        }
    }
    Ok(Some(high))
}

fn check_probability(p: f64) -> Result<(), StatsError> {
    if p > 0.0 && p < 1.0 {
        Ok(())
    } else {
        Err(StatsError::OutOfRange {
            name: "probability",
            value: p,
            range: "the open interval 0..1",
        })
    }
}
fn check_dof(nu: f64) -> Result<(), StatsError> {
    if nu > 0.0 { Ok(()) } else { Err(bad_dof(nu)) }
}
fn bad_dof(nu: f64) -> StatsError {
    StatsError::OutOfRange {
        name: "degrees of freedom",
        value: nu,
        range: "values > 0",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_quantile_known_values() {
        // Phi^-1 to 15 digits; the 97.5 % point is the constant in every table.
        for (p, x) in [
            (0.5, 0.0),
            (0.975, 1.959_963_984_540_054),
            (0.995, 2.575_829_303_548_901),
            (0.9995, 3.290_526_731_491_926),
            (1e-10, -6.361_340_902_404_056),
        ] {
            assert!(
                (normal_quantile(p) - x).abs() < 1e-12,
                "{p}: {}",
                normal_quantile(p)
            );
            assert!((normal_cdf(x) - p).abs() < 1e-14 + 1e-9 * p);
        }
        assert!((normal_factor(0.999) - 3.290_526_731_491_9).abs() < 1e-11);
    }

    #[test]
    fn normal_quantile_is_the_inverse_error_function() {
        // Against the inverse complementary error function of another library, across all three ranges.
        for i in 1..4000 {
            let p = 10f64.powf(-f64::from(i) * 0.004);
            let want = -std::f64::consts::SQRT_2 * statrs::function::erf::erfc_inv(2.0 * p);
            let got = normal_quantile(p);
            assert!(
                (got - want).abs() < 2e-14 * want.abs().max(1.0),
                "{p}: {got} {want}"
            );
        }
        for k in 1..50 {
            let p = 0.5f64.powi(k);
            assert_eq!(normal_quantile(1.0 - p), -normal_quantile(p));
        }
        assert_eq!(normal_quantile(0.0), f64::NEG_INFINITY);
        assert_eq!(normal_quantile(1.0), f64::INFINITY);
    }

    #[test]
    fn student_is_gum_table_g2() {
        // GUM (JCGM 100:2008) table G.2: t_p(nu) for p = 95 %, 99 %, 99.73 % (values from memory).
        for (nu, t95, t99, t9973) in [
            (1.0, 12.71, 63.66, 235.80),
            (2.0, 4.30, 9.92, 19.21),
            (5.0, 2.57, 4.03, 5.51),
            (10.0, 2.23, 3.17, 3.96),
            (16.0, 2.12, 2.92, 3.54),
            (50.0, 2.01, 2.68, 3.16),
            (100.0, 1.984, 2.626, 3.077),
        ] {
            for (level, t) in [(0.95, t95), (0.99, t99), (0.9973, t9973)] {
                let got = student_factor(level, nu).unwrap();
                // 99.73 % in the table stands for three sigma, 99.7300 %.
                assert!(
                    (got - t).abs() < 0.0051 * (t / 5.0f64).max(1.0),
                    "{nu} {level} {got}"
                );
            }
        }
        assert!(
            (student_factor(0.95, f64::INFINITY).unwrap() - 1.959_963_984_540_054).abs() < 1e-12
        );
        assert!(student_quantile(0.5, 0.0).is_err() && student_quantile(1.0, 3.0).is_err());
    }

    #[test]
    fn chi2_known_quantiles() {
        // Two degrees of freedom: closed form -2 ln(1-p). Ten: tables give 3.247, 20.483 (2.5 %, 97.5 %).
        assert!((chi2_quantile(0.95, 2.0).unwrap() + 2.0 * 0.05f64.ln()).abs() < 1e-10);
        assert!((chi2_quantile(0.025, 10.0).unwrap() - 3.247).abs() < 5e-4);
        assert!((chi2_quantile(0.975, 10.0).unwrap() - 20.483).abs() < 5e-4);
        assert!((chi2_exceeded(3.841_458_820_694_124, 1.0).unwrap() - 0.05).abs() < 1e-10);
    }

    #[test]
    fn pairs_for_ninety_percent_power() {
        // Difference 0.3 dB, two-sided 5 %: common practice, no source; found by simulation of paired t tests.
        for (scatter, pairs) in [(0.1, 4), (0.15, 5), (0.2, 7), (0.25, 10), (0.3, 13)] {
            assert_eq!(
                pairs_for_power(0.3, scatter, 0.9, 0.95).unwrap(),
                Some(pairs),
                "{scatter}"
            );
        }
        // Without effect the power is the significance.
        assert!((paired_power(0.0, 1.0, 6, 0.95).unwrap() - 0.05).abs() < 1e-7);
        assert_eq!(pairs_for_power(0.0, 1.0, 0.9, 0.95).unwrap(), None);
    }

    #[test]
    fn mean_and_variance_of_a_small_sample() {
        let m = mean_of(&[1.0, 2.0, 3.0, 4.0, 5.0], 0.95).unwrap();
        assert_eq!((m.mean, m.dof), (3.0, 4));
        assert!((m.s - 2.5f64.sqrt()).abs() < 1e-15 && (m.u - 0.5f64.sqrt()).abs() < 1e-15);
        // t_0.975(4) = 2.776445.
        assert!((m.interval.half_width() - 2.776_445 * 0.5f64.sqrt()).abs() < 1e-5);
        let v = variance_interval(1.0, 10.0, 0.95).unwrap();
        assert!((v.lo - 10.0 / 20.483).abs() < 1e-4 && (v.hi - 10.0 / 3.247).abs() < 1e-3);
    }
}
