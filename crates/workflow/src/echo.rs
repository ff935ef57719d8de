//! The echo of the own voice, measured from a recording of two channels.

use crate::WorkflowError;
use num_complex::Complex;
use slantpath_capture::source::{self, OpenOptions};
use slantpath_quantity::{Answer, Estimate, Unit, show};
use slantpath_signal::delay::{NoDelay, delay};
use std::path::Path;

/// Longest recording compared, s: the echo does not change meanwhile, and more says no more.
const LONGEST_S: f64 = 120.0;

/// Measures the delay between the first channel (what was sent, left) and the second (what came back, right) of a WAV
/// recording of two channels, up to `longest_s`, the heard sound off tune by at most `offset_hz`.
///
/// # Errors
/// The file cannot be read. What cannot be concluded is an undetermined answer.
pub fn measure_echo(path: &Path, longest_s: f64, offset_hz: f64) -> Result<Answer, WorkflowError> {
    let mut open = OpenOptions::new();
    // Sound has no centre; the reader of recordings wants one.
    open.center_hz = Some(0.0);
    let mut source = source::open(path, &open)?;
    let Some(rate) = source.about().sample_rate_hz else {
        return Err(WorkflowError::argument(
            format!("{} does not say its sample rate", path.display()),
            "give a WAV recording of two channels",
        ));
    };
    let wanted = (LONGEST_S * rate).clamp(0.0, 1e8) as usize;
    let (mut sent, mut heard) = (Vec::new(), Vec::new());
    let mut piece = vec![Complex::new(0.0f32, 0.0); 1 << 16];
    while sent.len() < wanted {
        let n = source.read(&mut piece)?;
        if n == 0 {
            break;
        }
        for z in piece.get(..n).unwrap_or_default() {
            sent.push(f64::from(z.re));
            heard.push(f64::from(z.im));
        }
    }
    let (id, label) = ("echo.delay", "echo of the own voice, measured");
    let unknown =
        |reason: String, remedy: &str| Answer::unknown(id, label, Unit::Ms, reason, remedy);
    Ok(match delay(&sent, &heard, rate, longest_s, offset_hz) {
        Ok(d) => Answer::known(
            id,
            label,
            Unit::Ms,
            Estimate::normal(1e3 * d.delay_s, 1e3 * d.u_s),
        )
        .because(format!(
            "{} pieces of the recording agree; the heard sound lies {} Hz off",
            d.pieces,
            show::fixed(d.offset_hz, 0)
        )),
        Err(NoDelay::Silent) => unknown(
            "one of the two channels is silent".into(),
            "record what is sent on the first (left) and what is heard on the second (right) channel",
        ),
        Err(NoDelay::NotFound(s)) => unknown(
            format!(
                "no delay stands out (the best by {} of its scatter)",
                show::significant(s, 2)
            ),
            "speak for half a minute, loud on the first channel, the return alone on the second",
        ),
        Err(NoDelay::Ambiguous(a, b)) => unknown(
            format!(
                "two delays fit alike: {} ms and {} ms",
                show::fixed(1e3 * a, 0),
                show::fixed(1e3 * b, 0)
            ),
            "keep the own microphone and other receivers off the second channel",
        ),
        Err(NoDelay::Unusable) => unknown(
            format!(
                "{} s at {} S/s cannot be compared over {} s",
                show::significant(sent.len() as f64 / rate, 3),
                show::significant(rate, 6),
                show::significant(longest_s, 3)
            ),
            "give a sound recording of two channels, some ten seconds or longer",
        ),
    })
}
