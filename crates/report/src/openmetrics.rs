//! The latest figures in the OpenMetrics text format, version 1.0.0 (the exposition format of the OpenMetrics
//! specification, "Text Format").
//!
//! Every figure is a gauge with its measurand, branch and unit as labels: most units here are logarithmic, and a metric
//! name may carry base units only. The standard uncertainty and the moment stand in families of their own, with the
//! same labels.

use std::fmt::Write as _;

/// Content type of the text.
pub const CONTENT_TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Which family a sample belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Gauge {
    /// Measured.
    Measured,
    /// Predicted for that day.
    Predicted,
}

/// One figure.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    /// Measured or predicted.
    pub gauge: Gauge,
    /// Identity of the measurand.
    pub measurand: String,
    /// Branch, empty when it belongs to none.
    pub branch: String,
    /// Unit symbol.
    pub unit: String,
    /// Value.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// When, s since 1970.
    pub at_s: f64,
}

/// The text, closed by `# EOF`. Samples of the same labels: the first counts.
pub fn text(samples: &[Sample]) -> String {
    let mut out = String::new();
    for (gauge, name, what) in [
        (Gauge::Measured, "slantpath_measured", "Latest measured"),
        (
            Gauge::Predicted,
            "slantpath_predicted",
            "Prediction of the day of the latest measured",
        ),
    ] {
        let mut seen = std::collections::BTreeSet::new();
        let of: Vec<(String, &Sample)> = samples
            .iter()
            .filter(|s| s.gauge == gauge)
            .map(|s| (labels(s), s))
            .filter(|(l, _)| seen.insert(l.clone()))
            .collect();
        if of.is_empty() {
            continue;
        }
        family(
            &mut out,
            name,
            &format!("{what} value, in the unit of its label."),
            None,
            &of,
            |s| number(s.value),
        );
        family(
            &mut out,
            &format!("{name}_standard_uncertainty"),
            &format!("Standard uncertainty of the {} value.", what.to_lowercase()),
            None,
            &of,
            |s| number(s.u),
        );
        family(
            &mut out,
            &format!("{name}_time_seconds"),
            &format!("Moment of the {} value, since 1970.", what.to_lowercase()),
            Some("seconds"),
            &of,
            |s| number(s.at_s),
        );
    }
    out.push_str("# EOF\n");
    out
}

fn family(
    out: &mut String,
    name: &str,
    help: &str,
    unit: Option<&str>,
    of: &[(String, &Sample)],
    value: impl Fn(&Sample) -> String,
) {
    let _ = writeln!(out, "# TYPE {name} gauge");
    if let Some(u) = unit {
        let _ = writeln!(out, "# UNIT {name} {u}");
    }
    let _ = writeln!(out, "# HELP {name} {}", escape(help));
    for (labels, s) in of {
        let _ = writeln!(out, "{name}{{{labels}}} {}", value(s));
    }
}

fn labels(s: &Sample) -> String {
    format!(
        "measurand=\"{}\",branch=\"{}\",unit=\"{}\"",
        escape(&s.measurand),
        escape(&s.branch),
        escape(&s.unit)
    )
}

/// Escapes of label values and help: backslash, double quote, line feed.
fn escape(text: &str) -> String {
    text.replace('\\', "\\\\")
        .replace('"', "\\\"")
        .replace('\n', "\\n")
}

/// "Numbers": plain decimals, `+Inf`, `-Inf`, `NaN`.
fn number(x: f64) -> String {
    if x.is_nan() {
        "NaN".into()
    } else if x.is_infinite() {
        if x > 0.0 {
            "+Inf".into()
        } else {
            "-Inf".into()
        }
    } else {
        format!("{x}")
    }
}
