//! Times of computed feeds. Goals: one shadow (coil of three turns, 192 source points, both polarisations, one density) below
//! 60 ms; a map of 400 coils below 20 s and a transmit and a receive front of as many below 40 s on two processors, which is
//! 100 ms per coarse transmit feed. Reference: the same wires by NEC-2 in `solve.rs`.

use slantpath_antenna::budget::Aim;
use slantpath_antenna::dish::Stand;
use slantpath_antenna::polarisation::Sense;
use slantpath_antenna::reflector::{Arm, Reflector};
use slantpath_quantity::{Angle, Frequency, Length};
use slantpath_wire::Density;
use slantpath_wire::feed::shadow::{Bench, Dish, Surroundings, shadow_density};
use slantpath_wire::feed::uplink::{Ground, HelixFeed, Tube, UplinkFeed};
use slantpath_wire::feed::{Aperture, Coil, Horn};

fn main() {
    divan::main();
}

fn bench() -> Bench {
    let dish = Reflector::offset(Length::m(0.9), Length::m(0.54), Length::mm(20.0)).unwrap();
    let stand = Stand {
        elevation: Angle::deg(30.0),
        arm: Arm::Bottom,
    };
    let horn = Horn {
        aperture: Aperture::Te11,
        radius: Length::mm(10.0),
        outer_radius: Length::mm(11.0),
        front: Length::mm(0.0),
    };
    Bench::new(
        &horn,
        &Dish::new(&dish, Aim::Bisector, stand),
        Frequency::ghz(10.45),
    )
    .unwrap()
}

fn coil() -> Coil {
    Coil::new(
        3.0,
        Length::mm(40.0),
        Length::mm(27.9),
        Length::mm(2.0),
        Length::mm(5.0),
        Sense::Left,
    )
}

#[divan::bench(sample_count = 20, sample_size = 1)]
fn bare_receive_feed(b: divan::Bencher<'_, '_>) {
    b.bench(bench);
}

#[divan::bench(args = [10.0, 15.0], sample_count = 20, sample_size = 1)]
fn one_shadow(b: divan::Bencher<'_, '_>, per_wavelength: f64) {
    let (bench, coil) = (bench(), coil());
    let density = Density {
        per_wavelength,
        ..shadow_density()
    };
    b.bench(|| bench.shadow(&coil, density, Surroundings::Free).unwrap());
}

#[divan::bench(args = [12.0, 20.0], sample_count = 10, sample_size = 1)]
fn one_transmit_feed(b: divan::Bencher<'_, '_>, per_wavelength: f64) {
    let feed = UplinkFeed::Helix(HelixFeed {
        coil: coil(),
        ground: Ground::Disc(Length::mm(100.0)),
        tube: Some(Tube {
            radius: Length::mm(11.0),
            front: Length::mm(0.0),
            behind: Length::mm(20.0),
        }),
    });
    let density = Density {
        per_wavelength,
        ..Density::default()
    };
    b.bench(|| {
        feed.solve(Frequency::ghz(2.4), Angle::deg(40.0), density)
            .unwrap()
    });
}
