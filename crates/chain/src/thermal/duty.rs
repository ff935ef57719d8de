//! Duty cycles: the temperature they end in and the time to a limit.

use super::{Modes, ThermalNode};
use crate::error::{ChainError, Result, positive, rows};
use slantpath_quantity::Temperature;

/// A part of a repeated cycle.
#[derive(Debug, Clone, PartialEq)]
pub struct Segment {
    /// Duration, s.
    pub seconds: f64,
    /// Power into each body, W.
    pub power_w: Vec<f64>,
}

/// When a limit is reached.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TimeToLimit {
    /// Never: the hottest moment of the cycle, repeated for ever, is this, K.
    Never {
        /// The largest temperature ever reached, K.
        hottest_k: f64,
    },
    /// After this many seconds.
    After {
        /// Seconds from the start.
        seconds: f64,
    },
}

/// Points per segment at which a maximum or crossing is looked for before it is refined; a sum of few
/// exponentials has at most that many bends.
const GRID: usize = 48;

/// The cycle in modal form.
struct Cycle<'a> {
    modes: &'a Modes,
    segments: Vec<(f64, Vec<f64>)>,
    body: usize,
}

impl<'a> Cycle<'a> {
    fn new(modes: &'a Modes, body: ThermalNode, cycle: &[Segment]) -> Result<Self> {
        rows("duty cycle", cycle.len(), 1)?;
        let segments = cycle
            .iter()
            .map(|s| {
                positive("duty cycle", "seconds", s.seconds)?;
                Ok((s.seconds, modes.limits(&s.power_w)?))
            })
            .collect::<Result<_>>()?;
        Ok(Self {
            modes,
            segments,
            body: modes.body(body)?,
        })
    }
    fn period(&self) -> f64 {
        self.segments.iter().map(|s| s.0).sum()
    }
    fn once(&self, q: &[f64]) -> Vec<f64> {
        self.segments
            .iter()
            .fold(q.to_vec(), |q, (t, limit)| self.modes.step(&q, limit, *t))
    }
    /// State at the start of the cycle when it has been repeated for ever: per mode `q = d/(1 - a)`.
    fn settled(&self) -> Vec<f64> {
        let n = self.modes.size();
        let d = self.once(&vec![0.0; n]);
        let period = self.period();
        d.iter()
            .zip(&self.modes.rate)
            .map(|(d, r)| d / -(-r * period).exp_m1())
            .collect()
    }
    /// State at the start of cycle `n`, counted from zero, starting at `q0`.
    fn at(&self, n: f64, q0: &[f64], settled: &[f64]) -> Vec<f64> {
        let t = n * self.period();
        q0.iter()
            .zip(settled)
            .zip(&self.modes.rate)
            .map(|((q, s), r)| s + (q - s) * (-r * t).exp())
            .collect()
    }
    /// First time within one cycle from `q` at which the rise reaches `limit_k`, and the largest rise.
    fn scan(&self, q: &[f64], limit_k: f64) -> (Option<f64>, f64) {
        let rise = |q: &[f64]| self.modes.temperature_of(q, self.body);
        let mut hottest = rise(q);
        if hottest >= limit_k {
            return (Some(0.0), hottest);
        }
        let (mut q, mut passed) = (q.to_vec(), 0.0);
        for (seconds, limit) in &self.segments {
            let at = |t: f64| rise(&self.modes.step(&q, limit, t));
            let h = seconds / GRID as f64;
            let (mut best, mut crossing) = ((0.0, at(0.0)), None);
            for k in 1..=GRID {
                let t = h * k as f64;
                let x = at(t);
                if x > best.1 {
                    best = (t, x);
                }
                if x >= limit_k && crossing.is_none() {
                    crossing = Some((t - h, t));
                }
            }
            // golden-section search for the maximum beside the best point
            let (mut a, mut b) = ((best.0 - h).max(0.0), (best.0 + h).min(*seconds));
            const G: f64 = 0.618_033_988_749_894_9;
            for _ in 0..60 {
                let (c, d) = (b - G * (b - a), a + G * (b - a));
                if at(c) > at(d) {
                    b = d;
                } else {
                    a = c;
                }
            }
            let top = at(0.5 * (a + b));
            if top > best.1 {
                best = (0.5 * (a + b), top);
            }
            hottest = hottest.max(best.1);
            if crossing.is_none() && best.1 >= limit_k {
                crossing = Some(((best.0 - h).max(0.0), best.0));
            }
            if let Some((mut a, mut b)) = crossing {
                for _ in 0..80 {
                    let m = 0.5 * (a + b);
                    if at(m) >= limit_k {
                        b = m;
                    } else {
                        a = m;
                    }
                }
                return (Some(passed + b), hottest);
            }
            passed += seconds;
            q = self.modes.step(&q, limit, *seconds);
        }
        (None, hottest)
    }
}

impl Modes {
    /// The largest temperature of `body` in a cycle repeated for ever, K.
    ///
    /// # Errors
    /// No segment, a duration not above zero, a wrong number of powers.
    pub fn hottest_of_cycle(
        &self,
        body: ThermalNode,
        cycle: &[Segment],
        air: Temperature,
    ) -> Result<f64> {
        let c = Cycle::new(self, body, cycle)?;
        Ok(air.as_k() + c.scan(&c.settled(), f64::INFINITY).1)
    }

    /// When `body` first reaches `limit`, starting at `start_k`, with the cycle repeated.
    ///
    /// From a start that the first cycle warms throughout, every later cycle is at least as warm as the one before
    /// (heat only flows downhill), so that the first hot cycle is found by bisection; from one that it cools
    /// throughout, only the first can be the hottest.
    ///
    /// # Errors
    /// As [`Modes::hottest_of_cycle`]; a start that is partly warmer and partly colder than the cycle makes it and
    /// needs more than 100 000 cycles to settle.
    pub fn time_to_limit(
        &self,
        body: ThermalNode,
        limit: Temperature,
        start_k: &[f64],
        cycle: &[Segment],
        air: Temperature,
    ) -> Result<TimeToLimit> {
        let c = Cycle::new(self, body, cycle)?;
        let limit_k = (limit - air).as_k();
        let q0 = self.amplitudes(start_k, air.as_k())?;
        let settled = c.settled();
        let hit = |n: f64| -> (Option<f64>, f64) {
            let (t, hot) = c.scan(&c.at(n, &q0, &settled), limit_k);
            (t.map(|t| t + n * c.period()), hot)
        };
        let first = hit(0.0);
        if let Some(seconds) = first.0 {
            return Ok(TimeToLimit::After { seconds });
        }
        let end = c.scan(&settled, limit_k);
        let never = TimeToLimit::Never {
            hottest_k: air.as_k() + end.1.max(first.1),
        };
        let before = self.temperatures(&q0, 0.0);
        let after = self.temperatures(&c.once(&q0), 0.0);
        let warms = before.iter().zip(&after).all(|(a, b)| *b >= a - 1e-12);
        let cools = before.iter().zip(&after).all(|(a, b)| *b <= a + 1e-12);
        if cools {
            return Ok(never);
        }
        let slowest = self.time_constants_s().first().copied().unwrap_or(0.0);
        let cycles = (40.0 * slowest / c.period()).ceil().max(1.0);
        if warms {
            if end.0.is_none() || hit(cycles).0.is_none() {
                return Ok(never);
            }
            let (mut lo, mut hi) = (0.0, cycles);
            while hi - lo > 1.0 {
                let m = (0.5 * (lo + hi)).floor();
                if hit(m).0.is_some() {
                    hi = m;
                } else {
                    lo = m;
                }
            }
            return Ok(hit(hi)
                .0
                .map_or(never, |seconds| TimeToLimit::After { seconds }));
        }
        if cycles > 1e5 {
            return Err(ChainError::Undetermined {
                part: "duty cycle".into(),
                why: "the cycle is much shorter than the network's time constants and the start is uneven; use \
                      the mean power instead"
                    .into(),
            });
        }
        let mut n = 1.0;
        while n <= cycles {
            if let Some(seconds) = hit(n).0 {
                return Ok(TimeToLimit::After { seconds });
            }
            n += 1.0;
        }
        Ok(never)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::thermal::ThermalNetwork;

    const AIR: Temperature = Temperature::celsius(45.0);

    fn sink() -> Modes {
        // 0.9 K/W, 12 min
        ThermalNetwork::ladder(&[("sink", 800.0, 0.9)])
            .unwrap()
            .modes()
            .unwrap()
    }

    fn on(seconds: f64, w: f64) -> Segment {
        Segment {
            seconds,
            power_w: vec![w],
        }
    }

    #[test]
    fn continuous_power_reaches_the_limit_in_closed_form() {
        let m = sink();
        let limit = Temperature::celsius(75.0);
        // t = -tau ln(1 - rise/(P R))
        let got = m
            .time_to_limit(ThermalNode(0), limit, &[AIR.as_k()], &[on(60.0, 50.0)], AIR)
            .unwrap();
        let want = -720.0 * (1.0f64 - 30.0 / 45.0).ln();
        match got {
            TimeToLimit::After { seconds } => {
                assert!((seconds - want).abs() < 1e-6, "{seconds} {want}")
            }
            other => panic!("{other:?}"),
        }
        let never = m
            .time_to_limit(ThermalNode(0), limit, &[AIR.as_k()], &[on(60.0, 30.0)], AIR)
            .unwrap();
        assert!(
            matches!(never, TimeToLimit::Never { hottest_k } if (hottest_k - AIR.as_k() - 27.0).abs() < 1e-6)
        );
    }

    #[test]
    fn a_cycle_for_ever_is_the_geometric_series() {
        // Peak of one time constant: P R (1 - e^-on)/(1 - e^-(on+off)).
        let m = sink();
        let (a, b) = (300.0, 420.0);
        let cycle = [on(a, 60.0), on(b, 0.0)];
        let want = 54.0 * (1.0 - (-a / 720.0f64).exp()) / (1.0 - (-(a + b) / 720.0f64).exp());
        let got = m.hottest_of_cycle(ThermalNode(0), &cycle, AIR).unwrap() - AIR.as_k();
        assert!((got - want).abs() < 1e-6, "{got} {want}");
        // Just under it the limit is met in some later cycle, just over it never.
        let at = |x: f64| {
            m.time_to_limit(
                ThermalNode(0),
                AIR + Temperature::k(x),
                &[AIR.as_k()],
                &cycle,
                AIR,
            )
            .unwrap()
        };
        match at(want - 0.05) {
            TimeToLimit::After { seconds } => {
                assert!(seconds > 720.0);
                // walk there cycle by cycle
                let mut t = vec![AIR.as_k()];
                let mut clock = 0.0;
                while clock + 720.0 <= seconds {
                    t = m.after(a, &t, &[60.0], AIR).unwrap();
                    t = m.after(b, &t, &[0.0], AIR).unwrap();
                    clock += 720.0;
                }
                let t = m.after(seconds - clock, &t, &[60.0], AIR).unwrap();
                assert!((t[0] - AIR.as_k() - (want - 0.05)).abs() < 1e-6);
            }
            other => panic!("{other:?}"),
        }
        assert!(matches!(at(want + 0.01), TimeToLimit::Never { .. }));
    }

    #[test]
    fn a_body_behind_peaks_after_the_power_ended() {
        let m = ThermalNetwork::ladder(&[("device", 50.0, 1.0), ("sink", 500.0, 0.5)])
            .unwrap()
            .modes()
            .unwrap();
        let cycle = [
            Segment {
                seconds: 40.0,
                power_w: vec![100.0, 0.0],
            },
            Segment {
                seconds: 2000.0,
                power_w: vec![0.0, 0.0],
            },
        ];
        let hottest = m.hottest_of_cycle(ThermalNode(1), &cycle, AIR).unwrap();
        let start = [AIR.as_k(), AIR.as_k()];
        let t_off = m.after(40.0, &start, &[100.0, 0.0], AIR).unwrap();
        assert!(hottest > t_off[1] + 1.0);
        // a brute-force walk finds the same
        let mut walk = 0.0f64;
        for k in 0..4000 {
            walk = walk.max(
                m.after(0.05 * f64::from(k), &t_off, &[0.0, 0.0], AIR)
                    .unwrap()[1],
            );
        }
        // the cycle is long enough to forget: less than 3e-3 K is left from earlier ones
        assert!((hottest - walk).abs() < 0.05, "{hottest} {walk}");
    }

    #[test]
    fn a_hot_start_that_cools_never_trips_later() {
        let m = sink();
        let r = m
            .time_to_limit(
                ThermalNode(0),
                Temperature::celsius(75.0),
                &[340.0],
                &[on(10.0, 5.0)],
                AIR,
            )
            .unwrap();
        assert!(matches!(r, TimeToLimit::Never { hottest_k } if (hottest_k - 340.0).abs() < 1e-9));
        assert!(m.hottest_of_cycle(ThermalNode(0), &[], AIR).is_err());
    }
}
