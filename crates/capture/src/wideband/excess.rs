//! Roll-off from the excess bandwidth alone.
//!
//! The spectrum a half symbol rate above the centre repeats what stands a half below. Averaged in step with the symbol
//! clock, the product of both is the product of the pulse's two edges: half a cosine as wide as the roll-off times the
//! symbol rate. Noise, its slope, a pedestal and neighbours have no share in the mean (spectral correlation, W. A.
//! Gardner, IEEE Trans. COM-34, 1986), so that this tells the class where they hide the edges.

use super::Stream;
use super::clock::Line;
use super::transform;
use slantpath_signal::C32;
use slantpath_signal::spectrum::HANN_BIN_FACTOR;
use slantpath_waveform::ROLLOFFS;
use std::f64::consts::{PI, TAU};

/// Bins of a symbol rate, at least.
const RESOLUTION: f64 = 256.0;
/// Frames without which nothing is told.
const LEAST_FRAMES: usize = 16;
/// How far from the middle of the edge the profile is read, and how far the middle may be off, in symbol rates.
const REACH: f64 = 0.24;
const ASTRAY: f64 = 0.06;

/// Log-likelihood of each class of [`ROLLOFFS`], up to a common constant; `None` where nothing is told.
pub(super) fn classes(stream: &Stream, centre_hz: f64, line: &Line) -> Option<[f64; 6]> {
    let (r, rate) = (stream.rate_hz, line.rate);
    let size = ((RESOLUTION * r / rate) as usize).next_power_of_two();
    let frames = stream.samples.len() / size;
    if frames < LEAST_FRAMES {
        return None;
    }
    let window: Vec<f32> = (0..size)
        .map(|i| (0.5 - 0.5 * (TAU * i as f64 / size as f64).cos()) as f32)
        .collect();
    let bin_hz = r / size as f64;
    let reach = (REACH * rate / bin_hz).floor() as i64;
    let width = (2 * reach + 1) as usize;
    let zero = num_complex::Complex::<f64>::default();
    let mut cross = vec![zero; width];
    let (mut upper, mut lower) = (vec![0.0; width], vec![0.0; width]);
    let centre = centre_hz - stream.centre_hz;
    let edge = |frame: usize, side: f64| {
        let mut y = stream
            .samples
            .get(frame * size..(frame + 1) * size)?
            .to_vec();
        let turns = (centre + side * 0.5 * rate) / r;
        let mut z = num_complex::Complex::cis(-TAU * ((turns * (frame * size) as f64) % 1.0));
        let step = num_complex::Complex::cis(-TAU * turns);
        for (y, w) in y.iter_mut().zip(&window) {
            *y *= C32::new(z.re as f32, z.im as f32) * *w;
            z *= step;
        }
        transform::forward(&mut y);
        Some(y)
    };
    for frame in 0..frames {
        let (u, l) = (edge(frame, 1.0)?, edge(frame, -1.0)?);
        for (i, k) in (-reach..=reach).enumerate() {
            let at = k.rem_euclid(size as i64) as usize;
            let (a, b) = (wide(*u.get(at)?), wide(*l.get(at)?));
            cross[i] += a * b.conj();
            upper[i] += a.norm_sqr();
            lower[i] += b.norm_sqr();
        }
    }
    // All classes share the phase; the profile is its real part.
    let sum: num_complex::Complex<f64> = cross.iter().sum();
    let turn = sum.conj() / sum.norm().max(1e-300);
    let points: Vec<(f64, f64, f64)> = cross
        .iter()
        .zip(upper.iter().zip(&lower))
        .zip(-reach..=reach)
        .map(|((c, (a, b)), k)| {
            // Real part of a product of two densities, averaged over the frames.
            let variance = 0.5 * a * b / frames as f64;
            (k as f64, (c * turn).re, 1.0 / variance.max(1e-300))
        })
        .collect();
    let astray = (ASTRAY * rate / bin_hz).ceil() as i64;
    let per_rate = bin_hz / rate;
    let fits: Vec<f64> = ROLLOFFS
        .iter()
        .map(|a| {
            (-2 * astray..=2 * astray)
                .map(|h| misfit(&points, a / per_rate, 0.5 * h as f64))
                .fold(f64::INFINITY, f64::min)
        })
        .collect();
    let best = fits.iter().copied().fold(f64::INFINITY, f64::min);
    // A class must fit; where none does, all are told apart less well.
    let scale = HANN_BIN_FACTOR * (best / (width as f64 - 3.0)).max(1.0);
    let none: f64 = points.iter().map(|(_, y, w)| w * y * y).sum();
    // Nothing that stands out.
    if none - best < 50.0 * scale {
        return None;
    }
    let mut out = [0.0; 6];
    for (o, f) in out.iter_mut().zip(&fits) {
        *o = -0.5 * (f - best) / scale;
    }
    Some(out)
}

fn wide(z: C32) -> num_complex::Complex<f64> {
    num_complex::Complex::new(f64::from(z.re), f64::from(z.im))
}

/// Weighted squares that a half cosine of `width` bins around `middle`, of the best height, leaves.
fn misfit(points: &[(f64, f64, f64)], width: f64, middle: f64) -> f64 {
    let (mut yy, mut yg, mut gg) = (0.0, 0.0, 0.0);
    for (k, y, w) in points {
        let g = seen(k - middle, width);
        yy += w * y * y;
        yg += w * y * g;
        gg += w * g * g;
    }
    if gg > 0.0 && yg > 0.0 {
        yy - yg * yg / gg
    } else {
        yy
    }
}

/// The half cosine as a Hann window shows it: its power response has most of its weight within two bins.
fn seen(x: f64, width: f64) -> f64 {
    // Squares of the window's response at these distances in bins: (sinc(d) / (1 - d^2))^2.
    const WEIGHTS: [(f64, f64); 7] = [
        (-1.5, 0.0288),
        (-1.0, 0.25),
        (-0.5, 0.7205),
        (0.0, 1.0),
        (0.5, 0.7205),
        (1.0, 0.25),
        (1.5, 0.0288),
    ];
    WEIGHTS
        .iter()
        .map(|(d, w)| {
            let p = (x + d) / width;
            if p.abs() < 0.5 {
                w * (PI * p).cos()
            } else {
                0.0
            }
        })
        .sum()
}
