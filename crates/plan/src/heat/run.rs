//! Steady temperature and time to the limit.

use super::Cooling;
use crate::error::{Result, not_negative, positive, within};
use crate::known::Known;
use slantpath_chain::thermal::duty::{Segment, TimeToLimit};
use slantpath_quantity::Temperature;
use slantpath_stats::stream::{named_stream, normal};

/// When the limit is reached, over what is known of the figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeTold {
    /// At the best estimates, s; `None`: never.
    pub best_s: Option<f64>,
    /// Earliest of 95 % of the draws, s; `None`: not even the unluckiest reach it.
    pub early_s: Option<f64>,
    /// Share of the draws that never reach it.
    pub never: f64,
}

/// What heat does.
#[derive(Debug, Clone, PartialEq)]
pub struct HeatPlan {
    /// Mean heat over the duty cycle, W.
    pub mean_w: Known,
    /// Steady sink temperature at that mean, degrees Celsius.
    pub steady_c: Known,
    /// Hottest moment of the cycle repeated for ever, sink, degrees Celsius.
    pub hottest_c: f64,
    /// Device (junction side) while transmitting, in the steady state, degrees Celsius.
    pub device_c: Known,
    /// Limit less hottest moment, K.
    pub margin_k: Known,
    /// Time to the limit without a pause, starting at the air's temperature.
    pub without_pause: TimeTold,
    /// Time to the limit at the duty, starting at the air's temperature.
    pub at_duty: TimeTold,
    /// Heat that may be made for ever, W.
    pub allowed_w: Known,
    /// Share of the final rise that an hour has shown.
    pub hour_proves: f64,
    /// Sink against time at the duty's mean heat: (s, degrees Celsius).
    pub curve: Vec<(f64, f64)>,
}

/// Draws for the spread of times. The outcome is a time at 2.5 % of them: the hundredth earliest.
const DRAWS: u64 = 400;

/// Plans heat: `heat_w` while transmitting and `idle_w` in between, a share `duty` of each cycle of `cycle_s`.
///
/// # Errors
/// Figures that cannot be.
pub fn heat(
    cooling: &Cooling,
    heat_w: Known,
    idle_w: f64,
    duty: f64,
    cycle_s: f64,
    seed: u64,
) -> Result<HeatPlan> {
    not_negative("the heat", heat_w.value, "W")?;
    not_negative("the idle heat", idle_w, "W")?;
    within("the duty", duty, "", 0.0..=1.0, "between 0 and 1")?;
    positive("the cycle", cycle_s, "s")?;
    let r = cooling.total();
    let mean = heat_w.value * duty + idle_w * (1.0 - duty);
    let mean_w = Known::new(mean, heat_w.u * duty);
    let u_rise = (mean * r.u).hypot(r.value * mean_w.u);
    let steady_c = Known::new(
        cooling.air_c.value + r.value * mean,
        u_rise.hypot(cooling.air_c.u),
    );
    let (modes, sink) = cooling.modes()?;
    let air = Temperature::celsius(cooling.air_c.value);
    let segments = |heat: f64, duty: f64| cycle(heat, idle_w, duty, cycle_s, modes.size());
    let hottest_c =
        Temperature::k(modes.hottest_of_cycle(sink, &segments(heat_w.value, duty), air)?)
            .as_celsius();
    let margin_k = Known::new(
        cooling.limit_c.value - hottest_c,
        steady_c.u.hypot(cooling.limit_c.u),
    );
    let d = cooling.device;
    let device_c = Known::new(
        hottest_c + d.value * heat_w.value,
        steady_c
            .u
            .hypot(heat_w.value * d.u)
            .hypot(d.value * heat_w.u),
    );
    let room = cooling.limit_c.value - cooling.air_c.value;
    let allowed = (room / r.value).max(0.0);
    let allowed_w = Known::new(
        allowed,
        (cooling.limit_c.u.hypot(cooling.air_c.u) / r.value).hypot(allowed * r.relative()),
    );
    let slowest = modes.time_constants_s().first().copied().unwrap_or(1.0);
    let mut power = vec![0.0; modes.size()];
    if let Some(p) = power.first_mut() {
        *p = mean;
    }
    let start = vec![air.as_k(); modes.size()];
    let curve = (0..=120)
        .map(|k| {
            let t = 5.0 * slowest * f64::from(k) / 120.0;
            let c = modes.after(t, &start, &power, air)?;
            Ok((
                t,
                Temperature::k(c.first().copied().unwrap_or(f64::NAN)).as_celsius(),
            ))
        })
        .collect::<Result<_>>()?;
    Ok(HeatPlan {
        mean_w,
        steady_c,
        hottest_c,
        device_c,
        margin_k,
        without_pause: time_told(cooling, heat_w, idle_w, 1.0, cycle_s, seed)?,
        at_duty: time_told(cooling, heat_w, idle_w, duty, cycle_s, seed)?,
        allowed_w,
        hour_proves: cooling.settled(3600.0)?,
        curve,
    })
}

/// On and off within one cycle.
fn cycle(heat_w: f64, idle_w: f64, duty: f64, cycle_s: f64, bodies: usize) -> Vec<Segment> {
    let into = |p: f64| {
        let mut v = vec![0.0; bodies];
        if let Some(first) = v.first_mut() {
            *first = p;
        }
        v
    };
    [(heat_w, duty), (idle_w, 1.0 - duty)]
        .into_iter()
        .filter(|(_, share)| share * cycle_s > 1e-6)
        .map(|(p, share)| Segment {
            seconds: share * cycle_s,
            power_w: into(p),
        })
        .collect()
}

fn one_time(c: &Cooling, heat_w: f64, idle_w: f64, duty: f64, cycle_s: f64) -> Result<Option<f64>> {
    let (modes, sink) = c.modes()?;
    let air = Temperature::celsius(c.air_c.value);
    let start = vec![air.as_k(); modes.size()];
    let told = modes.time_to_limit(
        sink,
        Temperature::celsius(c.limit_c.value),
        &start,
        &cycle(heat_w, idle_w, duty, cycle_s, modes.size()),
        air,
    )?;
    Ok(match told {
        TimeToLimit::Never { .. } => None,
        TimeToLimit::After { seconds } => Some(seconds),
    })
}

fn time_told(
    c: &Cooling,
    heat_w: Known,
    idle_w: f64,
    duty: f64,
    cycle_s: f64,
    seed: u64,
) -> Result<TimeTold> {
    let best_s = one_time(c, heat_w.value, idle_w, duty, cycle_s)?;
    let mut times = Vec::with_capacity(DRAWS as usize);
    for trial in 0..DRAWS {
        let mut rng = named_stream(seed, "time to limit", trial);
        // Resistances and time constants are drawn as factors, so that they stay above zero.
        let mut near = |k: Known| Known::exact(k.value * (k.relative() * normal(&mut rng)).exp());
        let mut drawn = Cooling {
            sink: near(c.sink),
            sink_time: near(c.sink_time),
            cabinet: c.cabinet.map(|(r, t)| (near(r), near(t))),
            ..c.clone()
        };
        let heat = near(heat_w).value;
        drawn.limit_c.value += c.limit_c.u * normal(&mut rng);
        drawn.air_c.value += c.air_c.u * normal(&mut rng);
        times.push(one_time(&drawn, heat, idle_w, duty, cycle_s)?);
    }
    let never = times.iter().filter(|t| t.is_none()).count() as f64 / DRAWS as f64;
    let mut reached: Vec<f64> = times.into_iter().flatten().collect();
    reached.sort_by(f64::total_cmp);
    Ok(TimeTold {
        best_s,
        early_s: reached.get((0.025 * DRAWS as f64) as usize).copied(),
        never,
    })
}

#[cfg(test)]
mod tests {
    use super::super::testing::{camp, roof};
    use super::*;

    #[test]
    fn one_body_is_the_closed_form() {
        // 50 W into 0.9 K/W, 12 min, 45 degrees of air: steady 90; 75 reached at tau ln(45/15).
        let h = heat(&camp(), Known::exact(50.0), 0.0, 1.0, 600.0, 1).unwrap();
        assert!((h.steady_c.value - 90.0).abs() < 1e-9 && (h.hottest_c - 90.0).abs() < 1e-6);
        let want = 720.0 * 3f64.ln();
        assert!((h.without_pause.best_s.unwrap() - want).abs() < 1e-3);
        assert_eq!(h.without_pause, h.at_duty);
        assert!((h.allowed_w.value - 30.0 / 0.9).abs() < 1e-9);
        assert!((h.margin_k.value + 15.0).abs() < 1e-6 && h.without_pause.never == 0.0);
        // the device stands above the sink by its own resistance
        assert!((h.device_c.value - 110.0).abs() < 1e-6);
        // half the time on: 25 W in the mean, 67.5 degrees and a ripple
        let h = heat(&camp(), Known::exact(50.0), 0.0, 0.5, 600.0, 1).unwrap();
        assert!((h.steady_c.value - 67.5).abs() < 1e-9);
        let (on, all) = (300.0f64, 600.0f64);
        let ripple = 45.0 * (1.0 - (-on / 720.0).exp()) / (1.0 - (-all / 720.0).exp());
        assert!((h.hottest_c - (45.0 + ripple)).abs() < 1e-6);
    }

    #[test]
    fn unlucky_draws_come_earlier() {
        let h = heat(&roof(), Known::new(220.0, 15.0), 0.0, 1.0, 600.0, 1).unwrap();
        let t = h.without_pause;
        assert!(t.early_s.unwrap() < t.best_s.unwrap() && t.never < 0.5);
        // what stays below its limit by far never reaches it
        let h = heat(&roof(), Known::new(40.0, 4.0), 0.0, 0.3, 600.0, 1).unwrap();
        assert!(
            h.at_duty.best_s.is_none() && h.at_duty.early_s.is_none() && h.at_duty.never == 1.0
        );
        // the stated uncertainty is the root of its parts
        let r = roof();
        let m: f64 = 40.0 * 0.3;
        let want = ((m * 0.03f64.hypot(0.02)).powi(2) + (0.33 * 1.2f64).powi(2) + 25.0).sqrt();
        assert!((h.steady_c.u - want).abs() < 1e-9);
        assert!(heat(&r, Known::exact(-1.0), 0.0, 1.0, 600.0, 1).is_err());
        assert!(heat(&r, Known::exact(1.0), 0.0, 1.1, 600.0, 1).is_err());
    }
}
