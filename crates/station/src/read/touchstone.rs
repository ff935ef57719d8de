//! Touchstone files of one port (version 1): what a network analyser writes.
//!
//! `!` begins a comment. One option line `# unit parameter format R ohm` (in any order; left out: GHz, S, MA, R 50) comes before
//! the data, `frequency a b` a line by rising frequency. `RI`: real and imaginary part; `MA`: magnitude and angle in degrees;
//! `DB`: magnitude in dB and angle. `Y` and `Z` are normalised to the reference (Touchstone File Format Specification, IBIS Open
//! Forum, version 1: from memory).

use crate::checked::{Reflection, ReflectionRow};
use num_complex::Complex64;
use slantpath_input::{Problem, Problems, Source, Span, nearest};
use slantpath_quantity::{Frequency, amplitude_from_db};
use std::sync::Arc;

/// More than this is no measurement of a passive thing; up to it, noise of a total reflection.
const MOST: f64 = 1.02;
/// What an option line looks like.
const OPTIONS: &str = "`# Hz|kHz|MHz|GHz S RI|MA|DB R 50`, for example `# MHz S RI R 50`";

#[derive(Debug, Clone, Copy, PartialEq)]
enum Format {
    RealImaginary,
    MagnitudeAngle,
    DecibelAngle,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Parameter {
    S,
    Y,
    Z,
}

struct Options {
    hz: f64,
    parameter: Parameter,
    format: Format,
    ohm: f64,
    line: usize,
}

/// Words with their places.
fn words(source: &Source, line: Span) -> Vec<(&str, Span)> {
    let text = source.slice(&line);
    let text = text.split('!').next().unwrap_or_default();
    text.split_whitespace()
        .map(|w| {
            let at = line.start + (w.as_ptr() as usize - text.as_ptr() as usize);
            (w, at..at + w.len())
        })
        .collect()
}

/// Reads a file of one port. There is a measurement only when nothing in it is an error.
pub fn read_touchstone(source: &Arc<Source>) -> (Option<Reflection>, Problems) {
    let mut problems = Problems::new();
    let mut options: Option<Options> = None;
    let mut rows: Vec<ReflectionRow> = Vec::new();
    for line in 1..=source.line_count() {
        let all = words(source, source.line_span(line));
        let Some((first, span)) = all.first() else {
            continue;
        };
        if first.starts_with('[') {
            problems.push(
                Problem::error("this is a Touchstone file of version 2")
                    .at(source, span.clone())
                    .label("a keyword of version 2")
                    .help("export it from the analyser as version 1 (`.s1p`)"),
            );
            return (None, problems);
        }
        if first.starts_with('#') {
            // only the first counts
            if options.is_none() {
                options = option_line(source, &all, line, &mut problems);
                if options.is_none() {
                    return (None, problems);
                }
            }
            continue;
        }
        let Some(o) = &options else {
            problems.push(
                Problem::error("values before the option line")
                    .at(source, span.clone())
                    .label("in which unit and format?")
                    .expected(format!("a line {OPTIONS} before the first values")),
            );
            return (None, problems);
        };
        if let Some(row) = row(source, o, &all, line, rows.last(), &mut problems) {
            rows.push(row);
        }
    }
    let Some(o) = options.filter(|_| !rows.is_empty() || problems.has_errors()) else {
        problems.push(
            Problem::error("there is no measurement in this file")
                .at(source, 0..0)
                .expected(format!(
                    "a line {OPTIONS}, then `frequency a b` line by line"
                )),
        );
        return (None, problems);
    };
    let sound = !problems.has_errors();
    (
        sound.then(|| Reflection {
            file: source.name().to_string(),
            reference_ohm: o.ohm,
            option_line: o.line,
            rows,
        }),
        problems.sorted(),
    )
}

fn option_line(
    source: &Arc<Source>,
    all: &[(&str, Span)],
    line: usize,
    problems: &mut Problems,
) -> Option<Options> {
    let mut o = Options {
        hz: 1e9,
        parameter: Parameter::S,
        format: Format::MagnitudeAngle,
        ohm: 50.0,
        line,
    };
    let mut list = all.iter().filter_map(|(w, span)| {
        // `#MHz` without a space is common
        let bare = w.trim_start_matches('#');
        (!bare.is_empty()).then(|| (bare, span.clone()))
    });
    let mut sound = true;
    let mut fault = |p: Problem| {
        problems.push(p);
        sound = false;
    };
    while let Some((word, span)) = list.next() {
        match word.to_ascii_uppercase().as_str() {
            "HZ" => o.hz = 1.0,
            "KHZ" => o.hz = 1e3,
            "MHZ" => o.hz = 1e6,
            "GHZ" => o.hz = 1e9,
            "S" => o.parameter = Parameter::S,
            "Y" => o.parameter = Parameter::Y,
            "Z" => o.parameter = Parameter::Z,
            "G" | "H" => fault(
                Problem::error("these are parameters of two ports")
                    .at(source, span)
                    .label("G and H have no meaning for one port")
                    .help("export S11 of the feed's plug as a file of one port"),
            ),
            "RI" => o.format = Format::RealImaginary,
            "MA" => o.format = Format::MagnitudeAngle,
            "DB" => o.format = Format::DecibelAngle,
            "R" => match list.next().map(|(n, at)| (n.parse::<f64>(), at)) {
                Some((Ok(r), _)) if r > 0.0 && r.is_finite() => o.ohm = r,
                other => fault(
                    Problem::error("the reference impedance cannot be read")
                        .at(source, other.map_or(span, |(_, at)| at))
                        .label("no impedance above 0 ohm")
                        .expected("`R` and ohms, for example `R 50`")
                        .help("write the impedance against which the analyser was calibrated"),
                ),
            },
            _ => fault(
                Problem::error(format!("`{word}` is no option of a Touchstone file"))
                    .at(source, span)
                    .label("not known")
                    .nearest(nearest(
                        &word.to_ascii_uppercase(),
                        [
                            "HZ", "KHZ", "MHZ", "GHZ", "S", "Y", "Z", "RI", "MA", "DB", "R",
                        ],
                    ))
                    .expected(OPTIONS),
            ),
        }
    }
    sound.then_some(o)
}

fn row(
    source: &Arc<Source>,
    o: &Options,
    all: &[(&str, Span)],
    line: usize,
    before: Option<&ReflectionRow>,
    problems: &mut Problems,
) -> Option<ReflectionRow> {
    let whole = source.line_span(line);
    let [(f, f_at), (a, a_at), (b, b_at)] = all else {
        let ports = if all.len() == 9 || all.len() == 5 {
            "this looks like a file of two ports: export S11 alone, as `.s1p`"
        } else {
            "one line for each frequency, nothing else on it"
        };
        problems.push(
            Problem::error(format!("{} values on a line of three", all.len()))
                .at(source, whole)
                .label("not `frequency a b`")
                .help(ports),
        );
        return None;
    };
    let mut number = |w: &str, at: &Span| match w.parse::<f64>() {
        Ok(x) if x.is_finite() => Some(x),
        _ => {
            problems.push(
                Problem::error("this is no number")
                    .at(source, at.clone())
                    .label(if w.contains(',') {
                        "a decimal comma: write a point"
                    } else {
                        "cannot be read"
                    })
                    .expected("a number, with a point and perhaps an exponent"),
            );
            None
        }
    };
    let (f, a, b) = (number(f, f_at), number(a, a_at), number(b, b_at));
    let (f, a, b) = (f?, a?, b?);
    let frequency = Frequency::hz(f * o.hz);
    if f <= 0.0 || before.is_some_and(|p| frequency <= p.frequency) {
        problems.push(
            Problem::error("the frequency does not rise")
                .at(source, f_at.clone())
                .label(before.map_or("not above 0".to_string(), |p| {
                    format!("not above that of line {}", p.line)
                }))
                .expected("rows by rising frequency, each once"),
        );
        return None;
    }
    let polar = |m: f64| Complex64::from_polar(m, b.to_radians());
    let value = match o.format {
        Format::RealImaginary => Complex64::new(a, b),
        Format::MagnitudeAngle => polar(a),
        Format::DecibelAngle => polar(amplitude_from_db(a)),
    };
    let s11 = match o.parameter {
        Parameter::S => value,
        Parameter::Z => (value - 1.0) / (value + 1.0),
        Parameter::Y => (1.0 - value) / (1.0 + value),
    };
    let size = s11.norm();
    if !size.is_finite() || size > MOST {
        let help = match o.format {
            Format::RealImaginary | Format::MagnitudeAngle if a.abs() > 1.5 => {
                "is it in dB? then the option line says DB; else calibrate the analyser at the feed's plug and measure again"
            }
            Format::DecibelAngle if a > 0.0 => {
                "return loss is written negative here: S11 of a good match is -20 dB; turn the sign round"
            }
            _ => "calibrate the analyser (open, short, load) at the feed's plug and measure again",
        };
        problems.push(
            Problem::error("more comes back than goes out")
                .at(source, whole)
                .label(format!("|S11| = {size:.3}; a feed is passive"))
                .expected("a reflection of at most 1 (0 dB)")
                .help(help),
        );
        return None;
    }
    Some(ReflectionRow {
        frequency,
        s11,
        line,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Reflection, String> {
        let s = Source::new("feed.s1p", text);
        let (r, p) = read_touchstone(&s);
        let told: Vec<String> = p
            .iter()
            .map(|p| slantpath_input::render(p, slantpath_input::Style::PLAIN))
            .collect();
        r.ok_or_else(|| told.join("\n"))
    }

    #[test]
    fn every_format_and_parameter_says_the_same() {
        let load = Complex64::new(35.0, 20.0);
        let s = (load - 50.0) / (load + 50.0);
        let (z, y) = (load / 50.0, 50.0 / load);
        let deg = s.arg().to_degrees();
        let files = [
            format!(
                "! a comment\n# MHz S RI R 50\n2400 {} {} ! here too\n",
                s.re, s.im
            ),
            format!("#GHz s ma r 50\n2.4 {} {deg}\n", s.norm()),
            format!("# S HZ R 50 DB\n2.4e9 {} {deg}\n", 20.0 * s.norm().log10()),
            format!("# kHz Z RI R 50\n2400000 {} {}\n", z.re, z.im),
            format!(
                "# GHz Y MA R 50\n2.4 {} {}\n",
                y.norm(),
                y.arg().to_degrees()
            ),
        ];
        for f in files {
            let r = read(&f).unwrap_or_else(|e| panic!("{f}: {e}"));
            let at = r.at(Frequency::ghz(2.4)).unwrap();
            assert!((at - s).norm() < 1e-9, "{f}: {at}");
        }
        // all left out: GHz S MA R 50
        let r = read("#\n2.4 0.5 90\n").unwrap();
        assert!((r.rows[0].s11 - Complex64::new(0.0, 0.5)).norm() < 1e-12);
        assert_eq!(r.reference_ohm, 50.0);
    }

    #[test]
    fn faults_are_named_with_their_line() {
        for (text, words) in [
            ("", "no measurement"),
            ("# GHz S RI R 50\n", "no measurement"),
            ("2.4 0 0\n", "before the option line"),
            ("# GHz S XX R 50\n2.4 0 0\n", "no option"),
            ("# GHz S RI R fifty\n2.4 0 0\n", "reference impedance"),
            ("# GHz S RI R 0\n2.4 0 0\n", "reference impedance"),
            ("# GHz H RI R 50\n2.4 0 0\n", "two ports"),
            ("[Version] 2.0\n# GHz S RI R 50\n", "version 2"),
            ("# GHz S RI R 50\n2.4 0 0 0 0 0 0 0 0\n", "two ports"),
            ("# GHz S RI R 50\n2.4 0,1 0\n", "decimal comma"),
            ("# GHz S RI R 50\n2.4 0 0\n2.4 0 0\n", "does not rise"),
            ("# GHz S RI R 50\n2.4 -18.0 45\n", "in dB?"),
            ("# GHz S DB R 50\n2.4 18 45\n", "turn the sign"),
            ("# GHz S MA R 50\n2.4 1.2 45\n", "more comes back"),
        ] {
            let e = read(text).expect_err(text);
            assert!(e.contains(words), "{text}: {e}");
            assert!(e.contains("feed.s1p"), "{e}");
        }
        let e = read("# GHz S RI R 50\n2.3 0 0\n2.4 0.9 0.9\n").unwrap_err();
        assert!(e.contains("feed.s1p:3"), "{e}");
    }

    proptest::proptest! {
        #[test]
        fn any_text_gives_a_measurement_or_problems(text in "[ -~\n]{0,200}") {
            let s = Source::new("x.s1p", text);
            let (r, p) = read_touchstone(&s);
            proptest::prop_assert!(r.is_some() != p.has_errors());
        }
    }
}
