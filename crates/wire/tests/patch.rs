//! The cavity model of a patch ring against a wire grid of the same patch.

use slantpath_antenna::pattern::Pattern;
use slantpath_antenna::polarisation::{Polarisation, Sense};
use slantpath_quantity::constants::ETA0_OHM;
use slantpath_quantity::{Angle, Length, to_db};
use slantpath_wire::feed::patch::grid::{PatchGrid, Posts};
use slantpath_wire::feed::patch::{Feeding, InnerEdge, PatchMode, PatchRing};
use slantpath_wire::feed::uplink::{Ground, PatchFeed, UplinkFeed};
use slantpath_wire::{Density, Solution, WireError};
use std::f64::consts::PI;

fn mm(x: f64) -> Length {
    Length::mm(x)
}

fn grid(posts: Posts, ground: Ground, rings: usize, radials: usize) -> PatchGrid {
    PatchGrid {
        rings,
        radials,
        feed_radius: mm(20.0),
        post: mm(2.0),
        posts,
        ground,
    }
}

fn directivity(on: &Solution<'_>) -> f64 {
    to_db(4.0 * PI * on.far_field(0.0, 0.0).intensity() / (2.0 * ETA0_OHM * on.radiated()))
}

fn example() -> PatchRing {
    PatchRing::air(mm(72.0), mm(22.0), mm(5.0), mm(130.0)).with_inner_edge(InnerEdge::Joined)
}

/// Resonance, quality and directivity over the infinite plane. `SCAN` in the environment prints finer grids too.
#[test]
fn cavity_against_wires() {
    let fine = std::env::var_os("SCAN").is_some();
    let rings: &[(f64, f64, f64, InnerEdge)] = &[
        (72.0, 22.0, 5.0, InnerEdge::Joined),
        (60.0, 22.0, 5.0, InnerEdge::Open),
        (64.0, 24.0, 3.0, InnerEdge::Open),
        (65.0, 0.0, 2.5, InnerEdge::Open),
        (54.0, 0.0, 6.0, InnerEdge::Open),
        (76.0, 30.0, 7.0, InnerEdge::Joined),
        (60.0, 26.0, 4.0, InnerEdge::Open),
    ];
    let sizes: &[(usize, usize)] = if fine {
        &[(4, 16), (6, 24)]
    } else {
        &[(4, 16)]
    };
    for &(outer, inner, height, edge) in if fine { rings } else { &rings[..3] } {
        let ring =
            PatchRing::air(mm(outer), mm(inner), mm(height), mm(150.0)).with_inner_edge(edge);
        let patch = ring.cavity(PatchMode::Tm11).unwrap();
        let at = patch.at(patch.frequency, Feeding::Linear).unwrap();
        let r = patch
            .impedance(patch.frequency, mm(20.0), mm(2.0))
            .unwrap()
            .re;
        let f = patch.frequency.as_hz();
        println!(
            "{outer} {inner} {height} {edge:?}: {:.4} GHz, Q {:.2}, R {r:.0}, D {:.3}",
            f * 1e-9,
            patch.q(),
            at.directivity.0
        );
        for &(n, around) in sizes {
            let g = grid(Posts::Pair, Ground::Plane, n, around);
            let found = g
                .resonance(
                    &ring,
                    patch.frequency,
                    (1.3 / patch.q()).min(0.1),
                    Density::default(),
                )
                .unwrap();
            let d = g
                .solve(&ring, found.frequency, Density::default(), |on, _| {
                    Ok(directivity(on))
                })
                .unwrap();
            // two posts in antiphase share the power: each sees twice the resistance of one
            println!(
                "  {n} x {around}: {:.4} GHz, Q {:.2}, R {:.0}, D {d:.3}",
                found.frequency.as_hz() * 1e-9,
                found.q,
                0.5 * found.resistance
            );
            assert!((f / found.frequency.as_hz() - 1.0).abs() < 0.03);
            assert!((patch.q() / found.q - 1.0).abs() < 0.15);
            assert!((at.directivity.0 - d).abs() < 0.3, "{d}");
        }
    }
}

/// Circular by two posts and by four, over the plane and over discs.
#[test]
fn circular_over_plane_and_disc() -> Result<(), WireError> {
    let fine = std::env::var_os("SCAN").is_some();
    let ring = example();
    let patch = ring.cavity(PatchMode::Tm11)?;
    let f = patch.frequency;
    let at = patch.at(f, Feeding::quadrature(Sense::Right))?;
    let cone = Angle::deg(40.0);
    let zero = Angle::rad(0.0);
    let told = at.pattern()?;
    println!(
        "cavity {:.4} GHz: D {:.3}, AR at 40 deg {:.2}",
        f.as_hz() * 1e-9,
        at.directivity.0,
        told.worst_axial_ratio(cone).unwrap().0
    );
    let grounds: &[Ground] = if fine {
        &[
            Ground::Plane,
            Ground::Disc(mm(100.0)),
            Ground::Disc(mm(115.0)),
            Ground::Disc(mm(130.0)),
            Ground::Disc(mm(160.0)),
        ]
    } else {
        &[Ground::Plane, Ground::Disc(mm(115.0))]
    };
    for &ground in grounds {
        for posts in [Posts::Two(Sense::Right), Posts::Four(Sense::Right)] {
            let (d, pattern, balance) =
                grid(posts, ground, 4, 16).solve(&ring, f, Density::default(), |on, _| {
                    let nominal = Polarisation::circular(Sense::Right);
                    Ok((
                        directivity(on),
                        Pattern::grid(on.grid(61, 24)?, nominal),
                        on.report().power_balance,
                    ))
                })?;
            let ar = |t| pattern.worst_axial_ratio(t).unwrap().0;
            println!(
                "  {ground:?} {posts:?}: D {d:.3}, AR {:.3}, at 40 deg {:.2}, front to back {:.1}, within 40 deg {:.3} (cavity {:.3}), balance {balance:.5}",
                ar(zero),
                ar(cone),
                pattern.front_to_back().0,
                pattern.power_within(cone)?,
                told.power_within(cone)?
            );
            assert_eq!(
                pattern.polarisation_at(zero, zero).unwrap().sense(),
                Some(Sense::Right)
            );
            assert!((balance - 1.0).abs() < 0.005);
            // two posts also drive what has no or two periods around; four do not
            if posts == Posts::Four(Sense::Right) {
                assert!(ar(zero) < 0.05);
                if ground == Ground::Plane {
                    assert!((d - at.directivity.0).abs() < 0.25);
                }
            }
        }
    }
    Ok(())
}

/// The same by the door of transmit feeds: a circular pattern over the disc with phase centre and impedance.
#[test]
fn as_a_transmit_feed() -> Result<(), WireError> {
    let ring = example();
    let feed = UplinkFeed::Patch(PatchFeed {
        ring,
        posts: Posts::Four(Sense::Left),
        feed_radius: mm(20.0),
        post: mm(2.0),
    });
    let f = ring.cavity(PatchMode::Tm11)?.frequency;
    let solved = feed.solve(f, Angle::deg(40.0), Density::default())?;
    println!(
        "D {:.2}, AR {:.2} and {:.2}, front to back {:.1}, phase centre {:.1} mm, Z {:.0}",
        solved.directivity.0,
        solved.axial_ratio.0,
        solved.cone.worst_axial_ratio.0,
        solved.front_to_back.0,
        solved.phase_centre.z.as_mm(),
        solved.impedance[0],
    );
    assert_eq!(feed.sense(), Some(Sense::Left));
    assert!(solved.validity.is_inside(), "{:?}", solved.validity);
    assert!((solved.directivity.0 - 10.24).abs() < 0.1 && solved.axial_ratio.0 < 0.05);
    // patch at 5 mm, edge of the disc at 0: from before the disc, by less than a fifth of a wavelength
    assert!((0.0..25.0).contains(&solved.phase_centre.z.as_mm()));
    assert_eq!(solved.impedance.len(), 4);
    // four posts are alike
    assert!(
        solved
            .impedance
            .iter()
            .all(|z| (z / solved.impedance[0] - 1.0).norm() < 0.01)
    );
    Ok(())
}
