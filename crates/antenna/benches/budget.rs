//! Time of the reflector integrals. Goal: one budget below 5 ms (own numerical study: 6 x 16 nodes suffice on boresight).

use slantpath_antenna::budget::{Blockage, Placement, beam, budget};
use slantpath_antenna::dish::{DishAntenna, Feed, Losses, Scene, Stand};
use slantpath_antenna::pattern::{GridPattern, Pattern};
use slantpath_antenna::polarisation::Polarisation;
use slantpath_antenna::reflector::{Arm, Reflector};
use slantpath_quantity::{Angle, Frequency, Length, Temperature};

const F: Frequency = Frequency::ghz(10.4725);

fn main() {
    divan::main();
}

fn parts() -> (Reflector, Pattern, Pattern) {
    let r = Reflector::offset(Length::m(1.2), Length::m(0.72), Length::mm(25.0)).unwrap();
    let formula = Pattern::cos_n(8.0, Polarisation::VERTICAL).unwrap();
    let grid = GridPattern::sample(91, 36, |t, p| formula.field(t, p)).unwrap();
    (r, formula, Pattern::grid(grid, Polarisation::VERTICAL))
}

#[divan::bench]
fn reflector_budget_formula(b: divan::Bencher<'_, '_>) {
    let (r, p, _) = parts();
    let placement = Placement {
        axial: Length::mm(4.0),
        lateral: [Length::mm(3.0); 2],
        ..Placement::default()
    };
    b.bench(|| budget(&r, &p, &placement, &Blockage::default(), Length::mm(0.5), F));
}

#[divan::bench]
fn reflector_budget_grid(b: divan::Bencher<'_, '_>) {
    let (r, _, p) = parts();
    let placement = Placement {
        axial: Length::mm(4.0),
        lateral: [Length::mm(3.0); 2],
        ..Placement::default()
    };
    b.bench(|| budget(&r, &p, &placement, &Blockage::default(), Length::mm(0.5), F));
}

#[divan::bench]
fn beam_with_sidelobes(b: divan::Bencher<'_, '_>) {
    let (r, p, _) = parts();
    b.bench(|| beam(&r, &p, &Placement::default(), F));
}

#[divan::bench]
fn solve_grid(b: divan::Bencher<'_, '_>) {
    let (r, _, p) = parts();
    let blockage = Blockage::default();
    let feed = Feed {
        pattern: &p,
        placement: Placement::default(),
        blockage: &blockage,
    };
    let stand = Stand {
        elevation: Angle::deg(24.0),
        arm: Arm::Bottom,
    };
    b.bench(|| DishAntenna::solve(&r, &feed, F, &stand));
}

#[divan::bench]
fn receive_once(b: divan::Bencher<'_, '_>) {
    let (r, p, _) = parts();
    let blockage = Blockage::default();
    let feed = Feed {
        pattern: &p,
        placement: Placement::default(),
        blockage: &blockage,
    };
    let stand = Stand {
        elevation: Angle::deg(24.0),
        arm: Arm::Bottom,
    };
    let d = DishAntenna::solve(&r, &feed, F, &stand).unwrap();
    let scene = Scene {
        sky: &|el| Temperature::from_si(2.7 + 2.0 / el.as_rad().sin()),
        ground: Temperature::from_si(290.0),
        physical: Temperature::from_si(290.0),
    };
    b.bench(|| d.receive(divan::black_box(&Losses::default()), &scene));
}
