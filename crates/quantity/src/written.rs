//! Values as people write them: `"10.4725 GHz"`, `"0.7 dB ± 0.2"`, `"0.7 dB +- 0.2"`, `"0.5..1.0 dB"`, `"3 %"`.

use crate::{Dimension, Distribution, Unit};
use std::ops::Range;

/// A value as written: in its own unit, with its spread in the same unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Written {
    /// What is known, in `unit`.
    pub distribution: Distribution,
    /// The unit as written.
    pub unit: Unit,
}

/// Why a text is not a value; `at` is the byte range inside the text to underline.
#[derive(Debug, Clone, PartialEq)]
pub struct WrittenError {
    /// Bytes of the text to underline.
    pub at: Range<usize>,
    /// What is wrong.
    pub what: String,
    /// What was expected.
    pub expected: String,
}

impl Written {
    /// What is known, in the dimension's base unit (levels stay in dB).
    pub fn base(&self) -> Distribution {
        self.distribution
            .affine(self.unit.scale(), self.unit.offset())
    }
    /// Best estimate in the dimension's base unit.
    pub fn base_mean(&self) -> f64 {
        self.base().mean()
    }
}

/// Reads a value of dimension `dim`.
///
/// Grammar: `number unit [± number [unit]]`, `number unit ± number %` (relative, linear units only),
/// `number..number unit`. `±` may be `+-` or `+/-`. The number after `±` is a *standard* uncertainty.
///
/// # Errors
/// [`WrittenError`] with the bytes to underline. Not a number, no unit where one is needed, a unit of another
/// dimension, a negative uncertainty, or limits out of order.
pub fn read_written(text: &str, dim: Dimension) -> Result<Written, WrittenError> {
    let err = |at: Range<usize>, what: String| WrittenError {
        at,
        what,
        expected: format!("{}, written like {}", dim.name(), dim.example()),
    };
    let whole = 0..text.len();
    let (head, tail) = split_plus_minus(text);
    let head_trim = head.trim();
    let start = head.len() - head.trim_start().len();
    let (n1, after) = number(head_trim).ok_or_else(|| {
        err(
            // Nothing before the ±: the sign itself is underlined, whole.
            start
                ..start
                    + head_trim.len().max(
                        text.get(start..)
                            .and_then(|t| t.chars().next())
                            .map_or(0, char::len_utf8),
                    ),
            format!("`{head_trim}` does not start with a number"),
        )
    })?;
    let rest = &head_trim[after..];
    let (limits, unit_text) = if let Some(r) = rest.trim_start().strip_prefix("..") {
        let r_trim = r.trim_start();
        let (n2, a2) = number(r_trim).ok_or_else(|| {
            err(
                whole.clone(),
                "the upper limit after `..` is not a number".into(),
            )
        })?;
        (Some(n2), r_trim[a2..].trim())
    } else {
        (None, rest.trim())
    };
    let unit_at = if unit_text.is_empty() {
        whole.clone()
    } else {
        let p = text
            .find(unit_text)
            .map_or(0, |_| unit_text.as_ptr() as usize - text.as_ptr() as usize);
        p..p + unit_text.len()
    };
    let unit = read_unit(unit_text, dim).map_err(|what| err(unit_at, what))?;
    let distribution = match (limits, tail) {
        (Some(hi), None) => {
            if hi < n1 {
                return Err(err(
                    whole,
                    format!("the limits are out of order: {n1} is above {hi}"),
                ));
            }
            if hi == n1 {
                Distribution::Exact(n1)
            } else {
                Distribution::Rectangular { lo: n1, hi }
            }
        }
        (Some(_), Some(_)) => {
            return Err(err(
                whole,
                "limits (`..`) and an uncertainty (`±`) cannot both be given".into(),
            ));
        }
        (None, None) => Distribution::Exact(n1),
        (None, Some(t)) => {
            let t_trim = t.trim();
            let t_at = t_trim.as_ptr() as usize - text.as_ptr() as usize;
            let t_range = t_at..(t_at + t_trim.len().max(1)).min(text.len().max(t_at));
            let (u, a) = number(t_trim)
                .ok_or_else(|| err(t_range.clone(), "what follows `±` is not a number".into()))?;
            if u < 0.0 {
                return Err(err(t_range, "an uncertainty cannot be negative".into()));
            }
            let u_unit = t_trim[a..].trim();
            let u = if u_unit.is_empty() || u_unit == unit_text {
                u
            } else if (u_unit == "%" || u_unit == "percent") && !unit.is_logarithmic() {
                n1.abs() * u / 100.0
            } else {
                let other = read_unit(u_unit, dim).map_err(|what| err(t_range.clone(), what))?;
                if other.is_logarithmic() != unit.is_logarithmic() {
                    return Err(err(
                        t_range,
                        format!("the uncertainty is in `{u_unit}` but the value in `{unit_text}`"),
                    ));
                }
                u * other.scale() / unit.scale()
            };
            if u == 0.0 {
                Distribution::Exact(n1)
            } else {
                Distribution::Normal { mean: n1, u }
            }
        }
    };
    Ok(Written { distribution, unit })
}

fn read_unit(text: &str, dim: Dimension) -> Result<Unit, String> {
    if text.is_empty() {
        return if dim == Dimension::Ratio {
            Ok(Unit::One)
        } else {
            Err("the unit is missing".into())
        };
    }
    match Unit::read(text) {
        Some(u) if u.dimension() == dim => Ok(u),
        Some(u) => Err(format!(
            "`{text}` is the unit of {}, not of {}",
            u.dimension().name(),
            dim.name()
        )),
        None => {
            let lower = text.to_lowercase();
            let near = Unit::ALL
                .iter()
                .filter(|u| u.dimension() == dim)
                .find(|u| u.symbol().to_lowercase() == lower);
            Err(match near {
                Some(u) => format!(
                    "`{text}` is not a unit known here; did you mean `{}`?",
                    u.symbol()
                ),
                None => format!("`{text}` is not a unit known here"),
            })
        }
    }
}

fn split_plus_minus(text: &str) -> (&str, Option<&str>) {
    for sign in ["±", "+/-", "+-"] {
        if let Some(i) = text.find(sign) {
            return (&text[..i], Some(&text[i + sign.len()..]));
        }
    }
    (text, None)
}

/// The finite number at the start of `text` and where it ends. `1..2` ends before the dots.
fn number(text: &str) -> Option<(f64, usize)> {
    let b = text.as_bytes();
    let mut i = 0;
    if i < b.len() && (b[i] == b'+' || b[i] == b'-') {
        i += 1;
    } else if text.starts_with('\u{2212}') {
        // a typographic minus
        let (v, n) = number(&text['\u{2212}'.len_utf8()..])?;
        return Some((-v, n + '\u{2212}'.len_utf8()));
    }
    let digits = |mut j: usize| {
        while j < b.len() && b[j].is_ascii_digit() {
            j += 1;
        }
        j
    };
    let int_end = digits(i);
    let mut end = int_end;
    if end < b.len() && b[end] == b'.' && !(end + 1 < b.len() && b[end + 1] == b'.') {
        end = digits(end + 1);
    }
    if end == i || (end == int_end + 1 && int_end == i) {
        return None;
    }
    if end < b.len() && (b[end] == b'e' || b[end] == b'E') {
        let mut j = end + 1;
        if j < b.len() && (b[j] == b'+' || b[j] == b'-') {
            j += 1;
        }
        let k = digits(j);
        if k > j {
            end = k;
        }
    }
    let v: f64 = text[..end].parse().ok()?;
    v.is_finite().then_some((v, end))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_people_say_them() {
        let w = read_written("10.4725 GHz", Dimension::Frequency).unwrap();
        assert!((w.base_mean() - 10.4725e9).abs() < 1e-3);
        for t in [
            "0.7 dB ± 0.2",
            "0.7 dB +- 0.2",
            "0.7 dB +/- 0.2 dB",
            "0.7dB±0.2",
        ] {
            let w = read_written(t, Dimension::Ratio).unwrap();
            assert_eq!(
                w.distribution,
                Distribution::Normal { mean: 0.7, u: 0.2 },
                "{t}"
            );
        }
        assert_eq!(
            read_written("0.5..1.0 dB", Dimension::Ratio)
                .unwrap()
                .distribution,
            Distribution::Rectangular { lo: 0.5, hi: 1.0 }
        );
        assert_eq!(
            read_written("-1 .. 1.0 dB", Dimension::Ratio)
                .unwrap()
                .distribution,
            Distribution::Rectangular { lo: -1.0, hi: 1.0 }
        );
        assert!((read_written("3 %", Dimension::Ratio).unwrap().base_mean() - 0.03).abs() < 1e-15);
        assert!(
            (read_written("12 °C", Dimension::Temperature)
                .unwrap()
                .base_mean()
                - 285.15)
                .abs()
                < 1e-9
        );
        let w = read_written("22 m ± 5 %", Dimension::Length).unwrap();
        assert!((w.distribution.u() - 1.1).abs() < 1e-12);
        let w = read_written("22 m ± 10 cm", Dimension::Length).unwrap();
        assert!((w.distribution.u() - 0.1).abs() < 1e-12);
        assert!(
            (read_written("−43.8 dBW/Hz", Dimension::PowerDensity)
                .unwrap()
                .base_mean()
                + 43.8)
                .abs()
                < 1e-12
        );
    }

    #[test]
    fn mistakes_are_located() {
        let e = read_written("22 dB", Dimension::Length).unwrap_err();
        assert_eq!(&"22 dB"[e.at.clone()], "dB");
        assert!(e.what.contains("a ratio") && e.expected.contains("22 m"));
        assert!(
            read_written("22", Dimension::Length)
                .unwrap_err()
                .what
                .contains("missing")
        );
        assert!(
            read_written("10 gHZ", Dimension::Frequency)
                .unwrap_err()
                .what
                .contains("GHz")
        );
        assert!(read_written("2..1 dB", Dimension::Ratio).is_err());
        assert!(read_written("1 dB ± -2", Dimension::Ratio).is_err());
        assert!(read_written("", Dimension::Ratio).is_err());
        assert!(read_written("1e999 dB", Dimension::Ratio).is_err());
    }
}
