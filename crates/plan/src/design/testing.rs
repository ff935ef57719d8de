//! A small dish with a small search, for tests.

use super::{Range, ReceiveNoise, Setting, Space, Variable, Workbench};
use slantpath_antenna::dish::Stand;
use slantpath_antenna::polarisation::Sense;
use slantpath_antenna::reflector::{Arm, Reflector};
use slantpath_quantity::{Angle, Frequency, Length};
use slantpath_wire::feed::{Aperture, Horn};

pub(super) fn narrow() -> Space {
    let mm = |lo: f64, hi: f64| Range {
        lo: lo * 1e-3,
        hi: hi * 1e-3,
    };
    [
        (Variable::Diameter, mm(36.0, 46.0)),
        (Variable::Wire, mm(1.0, 2.0)),
        (Variable::Pitch, Range::fixed(28e-3)),
        (Variable::Turns, Range::fixed(2.0)),
        (Variable::Stub, Range::fixed(5e-3)),
        (Variable::Front, Range::fixed(0.0)),
    ]
    .into_iter()
    .fold(
        Space::around(Frequency::ghz(2.4).wavelength(), Sense::Left),
        |s, (v, r)| s.with(v, r).unwrap(),
    )
}

pub(super) fn workbench() -> Workbench {
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
    Workbench::new(setting, &narrow()).unwrap()
}
