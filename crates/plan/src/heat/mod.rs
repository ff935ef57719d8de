//! How hot the amplifier gets, and for how long it may go on.

mod log;
mod run;

pub use log::{Learned, LoggedRow, learn};
pub use run::{HeatPlan, TimeTold, heat};

use crate::error::{Result, not_negative, positive};
use crate::known::Known;
use slantpath_chain::thermal::{Modes, ThermalNetwork, ThermalNode};

/// Cooling of an amplifier: a sink (whose temperature is limited), perhaps in a cabinet, and the device on it.
#[derive(Debug, Clone, PartialEq)]
pub struct Cooling {
    /// Sink to what is around it, K/W.
    pub sink: Known,
    /// Time constant of the sink, s.
    pub sink_time: Known,
    /// Cabinet to the air outside, K/W, and its time constant, s.
    pub cabinet: Option<(Known, Known)>,
    /// Device to sink, K/W.
    pub device: Known,
    /// Highest sink temperature, degrees Celsius.
    pub limit_c: Known,
    /// Outside air, degrees Celsius.
    pub air_c: Known,
}

impl Cooling {
    /// Steady rise of the sink per watt, K/W.
    pub fn total(&self) -> Known {
        match self.cabinet {
            None => self.sink,
            Some((c, _)) => Known::new(self.sink.value + c.value, self.sink.u.hypot(c.u)),
        }
    }
    /// Exponentials of these values.
    fn modes(&self) -> Result<(Modes, ThermalNode)> {
        let part = |name: &'static str, r: Known, tau: Known| -> Result<(&'static str, f64, f64)> {
            positive("a thermal resistance", r.value, "K/W")?;
            positive("a time constant", tau.value, "s")?;
            Ok((name, tau.value / r.value, r.value))
        };
        let mut stages = vec![part("sink", self.sink, self.sink_time)?];
        if let Some((r, tau)) = self.cabinet {
            stages.push(part("cabinet", r, tau)?);
        }
        // The sink is the first body of the ladder.
        let mut net = ThermalNetwork::new();
        let mut first: Option<ThermalNode> = None;
        let mut before: Option<(ThermalNode, f64)> = None;
        for (name, c, r) in stages {
            let n = net.node(name, c)?;
            if let Some((b, rb)) = before {
                net.between(b, n, rb)?;
            }
            first = first.or(Some(n));
            before = Some((n, r));
        }
        if let Some((n, r)) = before {
            net.to_air(n, r)?;
        }
        let first = first.ok_or_else(|| crate::PlanError::Missing {
            what: "the sink".into(),
            remedy: "describe it in `[cooling]`".into(),
        })?;
        Ok((net.modes()?, first))
    }
    /// Heat that keeps the sink at its limit in air of other temperatures: (air in degrees Celsius, heat in W).
    ///
    /// # Errors
    /// Resistances not above zero.
    pub fn derating(&self, air_c: &[f64]) -> Result<Vec<(f64, f64)>> {
        let r = positive("the thermal resistance", self.total().value, "K/W")?;
        Ok(air_c
            .iter()
            .map(|&a| (a, ((self.limit_c.value - a) / r).max(0.0)))
            .collect())
    }
    /// How much of the sink's final rise has come after a time without a trip: 0..1. What an hour proves.
    ///
    /// # Errors
    /// Figures that cannot be.
    pub fn settled(&self, seconds: f64) -> Result<f64> {
        not_negative("the time", seconds, "s")?;
        let (modes, sink) = self.modes()?;
        let mut power = vec![0.0; modes.size()];
        if let Some(p) = power.first_mut() {
            *p = 1.0;
        }
        Ok(modes.settled(sink, seconds, &power)?)
    }
}

#[cfg(test)]
pub(crate) mod testing {
    use super::*;

    pub fn roof() -> Cooling {
        Cooling {
            sink: Known::new(0.25, 0.03),
            sink_time: Known::new(480.0, 60.0),
            cabinet: Some((Known::new(0.08, 0.02), Known::new(1800.0, 300.0))),
            device: Known::new(0.25, 0.05),
            limit_c: Known::new(80.0, 2.0),
            air_c: Known::new(12.0, 5.0),
        }
    }

    pub fn camp() -> Cooling {
        Cooling {
            sink: Known::new(0.9, 0.0),
            sink_time: Known::new(720.0, 0.0),
            cabinet: None,
            device: Known::new(0.4, 0.0),
            limit_c: Known::exact(75.0),
            air_c: Known::exact(45.0),
        }
    }

    #[test]
    fn an_hour_is_many_sink_times_but_few_cabinet_times() {
        let s = roof().settled(3600.0).unwrap();
        assert!((0.9..0.995).contains(&s), "{s}");
        // one body: 1 - exp(-t/tau)
        let one = camp().settled(720.0).unwrap();
        assert!((one - (1.0 - (-1.0f64).exp())).abs() < 1e-9);
        let d = camp().derating(&[25.0, 45.0, 80.0]).unwrap();
        assert!((d[0].1 - 50.0 / 0.9).abs() < 1e-9 && (d[1].1 - 30.0 / 0.9).abs() < 1e-9);
        assert_eq!(d[2].1, 0.0);
    }
}
