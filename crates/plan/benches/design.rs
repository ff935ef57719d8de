//! Times of the coil search. Goals on two processors: a pair search (400 designs in both bands, the curve again at the fine
//! division) below 40 s, a map of 400 coils below 20 s.

use slantpath_antenna::dish::Stand;
use slantpath_antenna::polarisation::Sense;
use slantpath_antenna::reflector::{Arm, Reflector};
use slantpath_plan::design::{
    Fidelity, Geometry, ReceiveNoise, Search, Setting, Space, Variable, Workbench, map, search,
};
use slantpath_quantity::{Angle, Decibel, Frequency, Length};
use slantpath_stats::progress::{Progress, Stop};
use slantpath_wire::feed::{Aperture, Coil, Horn};

fn main() {
    divan::main();
}

fn space() -> Space {
    Space::around(Frequency::ghz(2.4).wavelength(), Sense::Left)
}

fn workbench() -> Workbench {
    let setting = Setting {
        dish: Reflector::offset(Length::m(0.9), Length::m(0.54), Length::mm(20.0)).unwrap(),
        stand: Stand {
            elevation: Angle::deg(30.0),
            arm: Arm::Bottom,
        },
        horn: Horn {
            aperture: Aperture::Te11,
            radius: Length::mm(10.0),
            outer_radius: Length::mm(11.0),
            front: Length::mm(0.0),
        },
        disc: Length::mm(100.0),
        uplink: Frequency::ghz(2.4),
        downlink: Frequency::ghz(10.45),
        noise: ReceiveNoise {
            system_k: 120.0,
            through: 1.0,
            ground_k: 290.0,
            beam_k: 8.0,
        },
    };
    Workbench::new(setting, &space()).unwrap()
}

fn usual() -> Geometry {
    let mm = Length::mm;
    Geometry {
        coil: Coil::new(3.0, mm(40.0), mm(27.9), mm(2.0), mm(5.0), Sense::Left),
        front: mm(0.0),
    }
}

#[divan::bench(sample_count = 2, sample_size = 1)]
fn bare_feeds(b: divan::Bencher<'_, '_>) {
    b.bench(workbench);
}

#[divan::bench(sample_count = 10, sample_size = 1, args = ["coarse", "fine"])]
fn one_design(b: divan::Bencher<'_, '_>, which: &str) {
    let bench = workbench();
    let fidelity = if which == "coarse" {
        Fidelity::Coarse
    } else {
        Fidelity::Fine
    };
    b.bench(|| bench.solve(&usual(), fidelity, None).unwrap());
}

#[divan::bench(sample_count = 1, sample_size = 1)]
fn map_of_400(b: divan::Bencher<'_, '_>) {
    let bench = workbench();
    let s = space();
    let axes = [Variable::Diameter, Variable::Wire].map(|v| (v, s.range(v)));
    b.bench(|| {
        map(
            &bench,
            &usual(),
            axes,
            [20, 20],
            &Stop::new(),
            &Progress::silent(),
        )
        .unwrap()
    });
}

#[divan::bench(sample_count = 1, sample_size = 1)]
fn pair_search(b: divan::Bencher<'_, '_>) {
    let bench = workbench();
    let asked = Search {
        space: space(),
        tries: 400,
        shown: 8,
        axial_ratio: Decibel(3.0),
        seed: 1,
    };
    b.bench(|| search(&bench, &asked, &Stop::new(), &Progress::silent()).unwrap());
}
