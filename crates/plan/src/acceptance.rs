//! Acceptance of a station by evidence: limits fixed before anything is measured, and what a measurement then decides.
//!
//! A figure passes when its true value lies within the limits with a probability of 95 % (conformance probability of a
//! normal measurement, JCGM 106:2012 clauses 6 and 7.3, from memory), fails when that probability is below 5 %, and is
//! otherwise not decided: the measurement was too rough, or the figure lies at a limit. The limits come from what the
//! description promises: its value and k = 2 standard uncertainties (GUM 6.2.1).

use crate::error::{Result, not_negative, positive};
use slantpath_stats::intervals::normal_cdf;

/// Coverage factor of the limits.
pub const K: f64 = 2.0;
/// Probability of lying within the limits from which a figure passes; below its complement it fails.
pub const SURE: f64 = 0.95;

/// What a figure may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Least; `None` without a lower limit.
    pub lo: Option<f64>,
    /// Most; `None` without an upper limit.
    pub hi: Option<f64>,
}

impl Limits {
    /// Both sides of a prediction.
    pub fn around(value: f64, u: f64) -> Self {
        Self {
            lo: Some(value - K * u),
            hi: Some(value + K * u),
        }
    }
    /// No more than.
    pub fn most(hi: f64) -> Self {
        Self {
            lo: None,
            hi: Some(hi),
        }
    }
    /// No less than.
    pub fn least(lo: f64) -> Self {
        Self {
            lo: Some(lo),
            hi: None,
        }
    }

    /// Probability that the true value lies within, when `value` was measured with standard uncertainty `u`.
    pub fn conformance(&self, value: f64, u: f64) -> f64 {
        let below = |x: Option<f64>, none: f64| match x {
            None => none,
            Some(x) if u > 0.0 => normal_cdf((x - value) / u),
            Some(x) => f64::from(u8::from(value <= x)),
        };
        // Without uncertainty the lower limit itself still conforms.
        let lower = match self.lo {
            Some(lo) if u <= 0.0 => f64::from(u8::from(value < lo)),
            lo => below(lo, 0.0),
        };
        (below(self.hi, 1.0) - lower).clamp(0.0, 1.0)
    }

    /// The mark that a measurement earns.
    pub fn mark(&self, value: f64, u: f64) -> Mark {
        let p = self.conformance(value, u);
        if p >= SURE {
            Mark::Pass
        } else if p <= 1.0 - SURE {
            Mark::Fail
        } else {
            Mark::CannotTell
        }
    }

    /// Whether a measurement as good as `u` can pass a station that does exactly what is expected of it.
    pub fn can_pass(&self, expected: f64, u: f64) -> bool {
        self.mark(expected, u) == Mark::Pass
    }
}

/// What a check ends with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// Within the limits for sure.
    Pass,
    /// Outside for sure.
    Fail,
    /// Neither for sure.
    CannotTell,
}

impl Mark {
    /// As a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Fail => "fail",
            Self::CannotTell => "cannot tell",
        }
    }
}

/// What a person needs beside the receiver.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Means {
    /// The station's own receiver records.
    Recorder,
    /// An absorber in front of the feed.
    Absorber,
    /// The Sun in reach of the dish, and the day's flux.
    Sun,
    /// A power meter with a coupler, calibrated at the transmit frequency.
    Meter,
    /// A transmitter that may go on the air.
    Transmitter,
}

impl Means {
    /// Every one.
    pub const ALL: [Self; 5] = [
        Self::Recorder,
        Self::Absorber,
        Self::Sun,
        Self::Meter,
        Self::Transmitter,
    ];
    /// As a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Recorder => "recorder",
            Self::Absorber => "absorber",
            Self::Sun => "sun",
            Self::Meter => "meter",
            Self::Transmitter => "transmitter",
        }
    }
    /// Whether the station transmits, or its transmit side is live, while this is used.
    pub fn transmits(self) -> bool {
        matches!(self, Self::Meter | Self::Transmitter)
    }
}

/// When each of several checks begins, minutes after switching on: warming up first, then in order all that needs the
/// transmitter off, then the rest; a check that shares its recording with the one before takes no time of its own.
///
/// `checks` are means and minutes; the answer is the order as indices with the start of each, and the end.
///
/// # Errors
/// Times that cannot be.
pub fn schedule(warm_min: f64, checks: &[(Means, f64)]) -> Result<(Vec<(usize, f64)>, f64)> {
    not_negative("time of warming up", warm_min, "min")?;
    for (_, minutes) in checks {
        positive("time of a check", *minutes, "min")?;
    }
    let mut order: Vec<usize> = (0..checks.len()).collect();
    order.sort_by_key(|&i| checks[i].0.transmits());
    let mut at = warm_min;
    let starts = order
        .into_iter()
        .map(|i| {
            let start = at;
            at += checks[i].1;
            (i, start)
        })
        .collect();
    Ok((starts, at))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conformance_is_the_normal_integral_between_the_limits() {
        // Phi(2) - Phi(-2) = 0.954500, Phi(1) = 0.841345 (Abramowitz and Stegun table 26.1).
        let l = Limits::around(10.0, 1.0);
        assert!((l.conformance(10.0, 1.0) - 0.954_500).abs() < 1e-6);
        assert!((Limits::most(1.0).conformance(0.0, 1.0) - 0.841_345).abs() < 1e-6);
        assert!((Limits::least(1.0).conformance(0.0, 1.0) - 0.158_655).abs() < 1e-6);
        assert_eq!(l.conformance(12.0, 0.0), 1.0);
        assert_eq!(l.conformance(8.0, 0.0), 1.0);
        assert_eq!(l.conformance(12.1, 0.0), 0.0);
    }

    #[test]
    fn marks_need_to_be_sure() {
        let l = Limits::around(20.0, 0.3);
        assert_eq!(l.mark(20.1, 0.1), Mark::Pass);
        assert_eq!(l.mark(18.9, 0.1), Mark::Fail);
        assert_eq!(l.mark(20.55, 0.1), Mark::CannotTell);
        // As rough as the promise itself: passes at best; rougher: never.
        assert!(l.can_pass(20.0, 0.3) && !l.can_pass(20.0, 0.32));
    }

    #[test]
    fn what_needs_the_transmitter_off_comes_first() {
        let checks = [
            (Means::Transmitter, 10.0),
            (Means::Recorder, 5.0),
            (Means::Meter, 20.0),
            (Means::Absorber, 15.0),
        ];
        let (order, end) = schedule(30.0, &checks).unwrap();
        assert_eq!(order, [(1, 30.0), (3, 35.0), (0, 50.0), (2, 60.0)]);
        assert_eq!(end, 80.0);
        assert!(schedule(-1.0, &checks).is_err());
        assert!(schedule(0.0, &[(Means::Sun, 0.0)]).is_err());
    }
}
