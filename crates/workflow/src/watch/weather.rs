//! What the weather station and the transmitter logged.

use super::moments::place;
use crate::WorkflowError;
use crate::files::{digest, source};
use jiff::tz::TimeZone;
use slantpath_station::read_timed;
use slantpath_verdict::health::drift::{between, usual_s};
use std::path::Path;
use std::sync::OnceLock;

/// Rain rate from which a path counts as wet, mm/h (a gauge's least count in ten minutes; common practice, no source).
const WET_MM_H: f64 = 0.2;
/// How far a row of rain or wind speaks, s.
const REACH_S: f64 = 900.0;
/// Noise and gain of a station that has just transmitted, s.
const AFTER_S: f64 = 60.0;

/// A weather log.
#[derive(Debug, Clone, Default)]
pub struct Weather {
    /// Time in s, degrees Celsius.
    pub temperature: Vec<(f64, f64)>,
    /// Time in s, mm/h.
    pub rain: Vec<(f64, f64)>,
    /// Time in s, m/s.
    pub wind: Vec<(f64, f64)>,
    /// What a person should know of the file.
    pub told: Vec<String>,
    /// Kind, name, SHA-256.
    pub input: Option<(String, String, String)>,
    /// Usual distance of the temperature's rows, s; worked out once.
    usual_s: OnceLock<f64>,
}

impl Weather {
    /// Reads a log with `time` and any of `temperature` (degrees Celsius), `rain` (mm/h), `wind` (m/s).
    ///
    /// # Errors
    /// A file that cannot be read, mistakes in it.
    pub fn load(path: &Path, zone: Option<&TimeZone>) -> Result<Self, WorkflowError> {
        let source = source(path, "weather log")?;
        let (rows, problems) = read_timed(&source, &["time"], &["temperature", "rain", "wind"]);
        if problems.has_errors() {
            return Err(WorkflowError::Problems(problems));
        }
        let moments: Vec<_> = rows.iter().filter_map(|r| r.moments.first()).collect();
        let placed = place(&source, &moments, zone)?;
        let mut out = Self {
            told: placed.told,
            input: Some((
                "weather log".into(),
                source.name().to_string(),
                digest(source.text().as_bytes()),
            )),
            ..Self::default()
        };
        let mut order: Vec<(f64, usize)> = placed
            .times
            .iter()
            .enumerate()
            .filter_map(|(k, t)| Some(((*t)?, k)))
            .collect();
        order.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let all = order.len();
        order.dedup_by(|a, b| a.0 <= b.0);
        if order.len() < all {
            out.told.push(format!(
                "{}: {} rows stand at a moment that is there already; the first counts.",
                source.name(),
                all - order.len()
            ));
        }
        for (t, k) in order {
            let Some(r) = rows.get(k) else { continue };
            for (list, v) in [&mut out.temperature, &mut out.rain, &mut out.wind]
                .into_iter()
                .zip(&r.numbers)
            {
                list.extend(v.map(|v| (t, v)));
            }
        }
        Ok(out)
    }

    /// Air temperature at a time, degrees Celsius.
    pub fn temperature_at(&self, t_s: f64) -> Option<f64> {
        let usual = *self.usual_s.get_or_init(|| usual_s(&self.temperature));
        between(&self.temperature, usual, t_s)
    }

    /// Highest value within reach of a time.
    fn most(list: &[(f64, f64)], t_s: f64, back_s: f64) -> Option<f64> {
        let from = list.partition_point(|x| x.0 < t_s - back_s);
        list.get(from..)?
            .iter()
            .take_while(|x| x.0 <= t_s + REACH_S)
            .map(|x| x.1)
            .reduce(f64::max)
    }

    /// Whether it rained on the path then; `None` where the log does not say.
    pub fn raining(&self, t_s: f64) -> Option<bool> {
        Self::most(&self.rain, t_s, REACH_S).map(|r| r >= WET_MM_H)
    }

    /// Whether it rained within so many hours before a time; `None` where the log does not say.
    pub fn rained(&self, t_s: f64, hours: f64) -> Option<bool> {
        Self::most(&self.rain, t_s, 3600.0 * hours).map(|r| r >= WET_MM_H)
    }

    /// Wind then, m/s.
    pub fn wind_at(&self, t_s: f64) -> Option<f64> {
        Self::most(&self.wind, t_s, REACH_S)
    }
}

/// A time of transmitting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Over {
    /// Begin and end, s.
    pub span_s: (f64, f64),
    /// Output, W.
    pub output_w: Option<f64>,
    /// Sink at its end, degrees Celsius.
    pub sink_c: Option<f64>,
    /// Air, degrees Celsius.
    pub air_c: Option<f64>,
}

/// A transmit log.
#[derive(Debug, Clone, Default)]
pub struct Overs {
    /// In order of their begin.
    pub overs: Vec<Over>,
    /// What a person should know of the file.
    pub told: Vec<String>,
    /// Kind, name, SHA-256.
    pub input: Option<(String, String, String)>,
}

impl Overs {
    /// Reads a log with `begin` and `end`, and perhaps `output` (W), `sink` and `air` (degrees Celsius).
    ///
    /// # Errors
    /// A file that cannot be read, mistakes in it.
    pub fn load(path: &Path, zone: Option<&TimeZone>) -> Result<Self, WorkflowError> {
        let source = source(path, "transmit log")?;
        let (rows, problems) = read_timed(&source, &["begin", "end"], &["output", "sink", "air"]);
        if problems.has_errors() {
            return Err(WorkflowError::Problems(problems));
        }
        // Begin and end in the order in which they happened, so that a clock change falls between them.
        let moments: Vec<_> = rows.iter().flat_map(|r| &r.moments).collect();
        let placed = place(&source, &moments, zone)?;
        let mut out = Self {
            told: placed.told,
            input: Some((
                "transmit log".into(),
                source.name().to_string(),
                digest(source.text().as_bytes()),
            )),
            ..Self::default()
        };
        let mut backwards = 0;
        for (r, t) in rows.iter().zip(placed.times.chunks_exact(2)) {
            let [Some(a), Some(b)] = *t else { continue };
            if b < a {
                backwards += 1;
                continue;
            }
            let n = |k: usize| r.numbers.get(k).copied().flatten();
            out.overs.push(Over {
                span_s: (a, b),
                output_w: n(0),
                sink_c: n(1),
                air_c: n(2),
            });
        }
        if backwards > 0 {
            out.told.push(format!(
                "{}: {backwards} rows end before they begin; they are not used.",
                source.name()
            ));
        }
        out.overs.sort_by(|a, b| a.span_s.0.total_cmp(&b.span_s.0));
        Ok(out)
    }

    /// Whether the station transmitted then, or had just stopped.
    pub fn on(&self, t_s: f64) -> bool {
        let k = self.overs.partition_point(|o| o.span_s.0 <= t_s);
        self.overs
            .get(k.saturating_sub(4)..k)
            .is_some_and(|last| last.iter().any(|o| t_s <= o.span_s.1 + AFTER_S))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rain_wind_and_overs() {
        let d = tempfile::tempdir().unwrap();
        let w = d.path().join("weather.csv");
        std::fs::write(
            &w,
            "time,temperature,rain,wind\n2031-05-01T10:00:00Z,12,0,3\n2031-05-01T10:10:00Z,11,4,9\n2031-05-01T10:10:00Z,11,4,9\n2031-05-01T10:20:00Z,10,0,5\n2031-05-01T11:20:00Z,10,0,5\n",
        )
        .unwrap();
        let w = Weather::load(&w, None).unwrap();
        let t = |m: f64| 1_935_396_000.0 + 60.0 * m;
        assert_eq!(w.temperature.first().unwrap().0, t(0.0));
        assert_eq!(w.raining(t(5.0)), Some(true));
        assert_eq!(w.raining(t(75.0)), Some(false));
        assert_eq!(w.rained(t(75.0), 2.0), Some(true));
        assert_eq!(w.raining(t(400.0)), None);
        assert_eq!(w.wind_at(t(5.0)), Some(9.0));
        assert!((w.temperature_at(t(5.0)).unwrap() - 11.5).abs() < 1e-9);
        assert!(w.told[0].contains("there already"));
        let o = d.path().join("overs.csv");
        std::fs::write(&o, "begin,end,output\n2031-05-01 10:00,2031-05-01 10:10,40\n2031-05-01 12:00,2031-05-01 11:00,\n").unwrap();
        let o = Overs::load(&o, Some(&TimeZone::UTC)).unwrap();
        assert_eq!(o.overs.len(), 1);
        assert!(o.on(t(3.0)) && o.on(t(10.5)) && !o.on(t(12.0)) && !o.on(t(-1.0)));
        assert!(
            o.told.iter().any(|t| t.contains("before they begin")),
            "{:?}",
            o.told
        );
    }
}
