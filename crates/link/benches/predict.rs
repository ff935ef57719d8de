//! A whole prediction of the demo club station (invented): model, walk, draws.
//!
//! Run by hand: `cargo bench -p slantpath-link --bench predict`.

use divan::{Bencher, black_box};
use slantpath_input::Source;
use slantpath_link::{Conditions, Drawing, Model, quick};
use slantpath_station::{Station, read_station};

const SATELLITE: &str = include_str!("../../../demo/petrel-1.toml");
const CLUB: &str = include_str!("../../../demo/qq0aaa.toml");

fn main() {
    divan::main();
}

fn station() -> Option<Station> {
    let (file, _) = read_station(&Source::new("station.toml", CLUB), &mut |_| {
        Ok(Source::new("petrel-1.toml", SATELLITE))
    });
    file.map(|f| f.base)
}

fn model() -> Option<Model> {
    Model::new(&station()?, &Conditions::default()).ok()
}

/// Look angles, paths, reflector integrals and their sensitivities.
#[divan::bench(sample_count = 5)]
fn build_the_model(b: Bencher) {
    let s = station();
    b.bench(|| s.as_ref().map(|s| Model::new(s, &Conditions::default())));
}

/// Every output once.
#[divan::bench]
fn evaluate_once(b: Bencher) {
    let Some(m) = model() else { return };
    let x = m.inputs().best();
    let mut y = vec![0.0; m.outputs().len()];
    b.bench_local(|| {
        m.evaluate(black_box(&x), &mut y);
        y.first().copied()
    });
}

/// Draws, intervals and shares; reference: below 200 ms on 2 cores together with the model.
#[divan::bench(sample_count = 5)]
fn draw_default(b: Bencher) {
    let m = model();
    b.bench(|| m.as_ref().map(|m| quick(m, Drawing::default())));
}
