//! What cannot be solved is named, located and told what to change.

use slantpath_antenna::polarisation::Sense;
use slantpath_quantity::{Frequency, Length};
use slantpath_wire::{
    Curve, Density, Helix, Mesh, Port, Structure, System, V3, Wire, WireError, shapes,
};

const F: Frequency = Frequency::ghz(2.4);

fn wire(name: &str, a: V3, b: V3, r_mm: f64) -> Wire {
    Wire::straight(name, a, b, Length::mm(r_mm))
}
fn said(s: &Structure) -> String {
    Mesh::new(s, F, Density::default())
        .map(|_| ())
        .unwrap_err()
        .to_string()
}
fn helix(turns: f64, radius_mm: f64, pitch_mm: f64, wire_mm: f64) -> Structure {
    let helix = Helix {
        base: [0.0; 3],
        radius: Length::mm(radius_mm),
        end_radius: Length::mm(radius_mm),
        pitch: Length::mm(pitch_mm),
        turns,
        start_rad: 0.0,
        sense: Sense::Right,
    };
    Structure::new(vec![Wire::new(
        "coil",
        Curve::Helix(helix),
        Length::mm(wire_mm),
    )])
}

#[test]
fn crossing_wires() {
    let s = Structure::new(vec![
        wire("north", [-0.05, 0.0, 0.0], [0.05, 0.0, 0.0], 0.5),
        wire("east", [0.0, -0.05, 0.0008], [0.0, 0.05, 0.0008], 0.5),
    ]);
    let t = said(&s);
    assert!(
        t.contains("north")
            && t.contains("east")
            && t.contains("0.800 mm")
            && t.contains("1.000 mm"),
        "{t}"
    );
    assert!(t.contains("move them apart"), "{t}");
}

#[test]
fn turns_that_touch() {
    let t = said(&helix(3.0, 20.0, 1.5, 1.0));
    assert!(t.contains("coil") && t.contains("touch"), "{t}");
    assert!(Mesh::new(&helix(3.0, 20.0, 6.0, 1.0), F, Density::default()).is_ok());
}

#[test]
fn no_turns_and_no_radius() {
    assert!(said(&helix(0.0, 20.0, 25.0, 1.0)).contains("number of turns is 0"));
    assert!(said(&helix(-2.0, 20.0, 25.0, 1.0)).contains("number of turns"));
    assert!(said(&helix(f64::NAN, 20.0, 25.0, 1.0)).contains("number of turns"));
    assert!(said(&helix(3.0, 0.0, 25.0, 1.0)).contains("radius of the winding"));
}

#[test]
fn too_thick_or_only_warned() {
    // wavelength 124.9 mm
    let rod = |r| Structure::new(vec![wire("rod", [0.0; 3], [0.0, 0.0, 0.2], r)]);
    let t = said(&rod(8.0));
    assert!(
        t.contains("rod") && t.contains("0.064") && t.contains("thinner"),
        "{t}"
    );
    let warned = Mesh::new(&rod(5.5), F, Density::default()).unwrap();
    assert!(!warned.validity().is_inside());
    assert!(
        Mesh::new(&rod(4.3), F, Density::default())
            .unwrap()
            .validity()
            .is_inside()
    );
}

#[test]
fn segments_shorter_than_the_radius() {
    let s = Structure::new(vec![
        wire("rod", [0.0; 3], [0.0, 0.0, 0.02], 1.0).divided(30),
    ]);
    let t = said(&s);
    assert!(
        t.contains("segment 0") && t.contains("fewer segments"),
        "{t}"
    );
}

#[test]
fn wires_in_the_plane() {
    let low = Structure::over_plane(vec![wire(
        "low",
        [0.0, 0.0, 0.0004],
        [0.1, 0.0, 0.0004],
        0.5,
    )]);
    assert!(said(&low).contains("perfect plane"));
    let below = Structure::over_plane(vec![wire("pole", [0.0, 0.0, -0.01], [0.0, 0.0, 0.05], 0.5)]);
    assert!(said(&below).contains("z = -10.000 mm"));
}

#[test]
fn an_end_that_misses_its_joint() {
    // 1.2 mm beside the mast: surfaces 0.2 mm apart
    let s = Structure::new(vec![
        wire("mast", [0.0; 3], [0.0, 0.0, 0.06], 0.5),
        wire("arm", [0.0012, 0.0, 0.031], [0.05, 0.0, 0.031], 0.5),
    ]);
    let mesh = Mesh::new(&s, F, Density::default()).unwrap();
    let t = mesh.remarks().join("\n");
    assert!(
        t.contains("open end") && t.contains("mast") && t.contains("arm"),
        "{t}"
    );
    // exactly on it: joined, without a word
    let s = Structure::new(vec![
        wire("mast", [0.0; 3], [0.0, 0.0, 0.06], 0.5),
        wire("arm", [0.0, 0.0, 0.031], [0.05, 0.0, 0.031], 0.5),
    ]);
    let mesh = Mesh::new(&s, F, Density::default()).unwrap();
    assert!(mesh.remarks().is_empty());
    // 10 + 9 segments of the mast's two legs and the arm, one node of three ends: two functions
    let (segments, unknowns) = (mesh.segments(), mesh.unknowns());
    assert_eq!(
        unknowns,
        segments - 1,
        "free ends carry none, the joint two"
    );
}

#[test]
fn sources_and_loads_off_the_wire() {
    let s = System::new(
        &Structure::new(vec![wire("rod", [0.0; 3], [0.0, 0.0, 0.06], 0.5)]),
        F,
        Density::default(),
    )
    .unwrap();
    for port in [
        Port::new("rad", Length::mm(3.0), Length::mm(1.0)),
        Port::new("rod", Length::mm(61.0), Length::mm(1.0)),
        Port::new("rod", Length::mm(f64::NAN), Length::mm(1.0)),
    ] {
        let e = s.impedance(&port).unwrap_err();
        assert!(matches!(e, WireError::NoSuchPlace { .. }), "{e}");
    }
}

#[test]
fn too_much_to_solve() {
    // metres meant as millimetres
    let t = said(&helix(10.0, 20_000.0, 25_000.0, 1.0));
    assert!(t.contains("coil") && t.contains("8000"), "{t}");
    let t = said(&Structure::new(vec![
        wire("rod", [0.0; 3], [0.0, 0.0, 0.06], 0.5).divided(usize::MAX),
    ]));
    assert!(t.contains("rod"), "{t}");
}

#[test]
fn nothing_to_solve() {
    assert_eq!(said(&Structure::default()), WireError::Empty.to_string());
    let short = Structure::new(vec![
        wire("rod", [0.0; 3], [0.0, 0.0, 0.006], 0.5).divided(1),
    ]);
    assert_eq!(said(&short), WireError::Empty.to_string());
    assert!(shapes::polar_disc("disc", [0.0; 3], &[], 12, Length::mm(1.0)).is_err());
    assert!(
        shapes::tube(
            "horn",
            [0.0; 3],
            Length::mm(10.0),
            &[Length::mm(0.0)],
            12,
            Length::mm(0.3)
        )
        .is_err()
    );
}
