//! Where people must not be: densities around the dish and keep-out distances.
//!
//! Limits are inputs. [`offered`] gives the reference levels that are widely used, with their date; which of them binds
//! is the local authority's word.

use crate::error::{Result, not_negative, positive};
use crate::known::Known;
use slantpath_antenna::exposure::{LitAperture, Zone, radiator_distance, radiator_w_m2};
use slantpath_quantity::{Frequency, Length, from_db};

/// A pair of limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// Where they come from, with date.
    pub name: String,
    /// General public, W/m2.
    pub public_w_m2: f64,
    /// Occupational, W/m2.
    pub occupational_w_m2: f64,
    /// Minutes over which the public limit is averaged.
    pub averaging_min: f64,
}

/// Reference levels that are offered at a frequency, whole body, incident power density:
/// - ICNIRP 2020 (Health Physics 118(5), table 5; from memory): 10 and 50 W/m2 above 2 GHz up to 300 GHz, 30 min;
/// - ICNIRP 2020, local exposure (table 6): 40 and 200 W/m2 from 2 to 6 GHz, `55/f^0.177` and `275/f^0.177` above, 6 min;
/// - FCC 47 CFR 1.1310 (1996, as in force 2020; from memory): 10 and 50 W/m2 from 1.5 to 100 GHz, 30 and 6 min.
///
/// Empty below 2 GHz, where other figures hold.
pub fn offered(f: Frequency) -> Vec<Limits> {
    let f_ghz = f.as_ghz();
    let mut out = Vec::new();
    let limits = |name: &str, public: f64, occupational: f64, minutes: f64| Limits {
        name: name.into(),
        public_w_m2: public,
        occupational_w_m2: occupational,
        averaging_min: minutes,
    };
    if (2.0..=300.0).contains(&f_ghz) {
        out.push(limits("ICNIRP 2020, whole body", 10.0, 50.0, 30.0));
        let local = if f_ghz <= 6.0 {
            (40.0, 200.0)
        } else {
            let k = f_ghz.powf(-0.177);
            (55.0 * k, 275.0 * k)
        };
        out.push(limits("ICNIRP 2020, local exposure", local.0, local.1, 6.0));
    }
    if (2.0..=100.0).contains(&f_ghz) {
        out.push(limits("FCC 47 CFR 1.1310 (1996)", 10.0, 50.0, 30.0));
    }
    out
}

/// What radiates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Radiating {
    /// Frequency.
    pub f: Frequency,
    /// Diameter of the dish's aperture.
    pub diameter: Length,
    /// Gain of the whole antenna, dBi.
    pub gain_dbi: f64,
    /// Gain of the bare feed on its axis, dBi.
    pub feed_dbi: f64,
    /// Gain of the feed towards the dish's rim, dBi: what passes the rim.
    pub rim_dbi: f64,
    /// From the feed to the middle of the dish.
    pub to_dish: Length,
    /// From the feed to the rim.
    pub to_rim: Length,
    /// Power at the feed while transmitting, W, with standard uncertainty in dB beside it.
    pub peak_w: f64,
    /// Standard uncertainty of the power, dB.
    pub u_db: f64,
    /// Share of the time that the mean is taken over: 1 unless said.
    pub duty: f64,
}

/// A place where power flows, with the distances at which it falls to the limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// Stable name.
    pub key: &'static str,
    /// What a person calls it.
    pub name: &'static str,
    /// Where the density is told for.
    pub at: Length,
    /// Mean density there, W/m2.
    pub w_m2: Known,
    /// Distance to keep for the public limit, from the source of this place (dish or feed); zero when nowhere reached.
    pub public: Known,
    /// Distance to keep for the occupational limit.
    pub occupational: Known,
}

/// Everything about exposure.
#[derive(Debug, Clone, PartialEq)]
pub struct Exposure {
    /// Mean power at the feed, W.
    pub mean_w: Known,
    /// Worst place first.
    pub places: Vec<Place>,
    /// End of the near field and begin of the far field.
    pub zones: (Length, Length),
    /// Limits used.
    pub limits: Limits,
}

impl Exposure {
    /// The place of that name.
    pub fn place(&self, key: &str) -> Option<&Place> {
        self.places.iter().find(|p| p.key == key)
    }
}

/// Densities and distances. The hand's place between feed and dish is told 0.1 m before the feed.
///
/// Distances are for free space. A metal roof or wet ground beside the beam can raise the field to twice, hence the
/// density to four times (OET 65 eq. 6, from memory): `reflection` is that factor on the density, 1 for a beam that looks
/// at the sky, up to 4.
///
/// # Errors
/// Sizes, power, limits or factor that cannot be.
pub fn exposure(r: &Radiating, limits: &Limits, reflection: f64) -> Result<Exposure> {
    positive("the reflection factor", reflection, "")?;
    positive("the public limit", limits.public_w_m2, "W/m2")?;
    positive("the occupational limit", limits.occupational_w_m2, "W/m2")?;
    positive("the power at the feed", r.peak_w, "W")?;
    not_negative("the power's uncertainty", r.u_db, "dB")?;
    crate::error::within("the duty", r.duty, "", 0.0..=1.0, "between 0 and 1")?;
    let mean = r.peak_w * r.duty.max(1e-6);
    let up = from_db(r.u_db) - 1.0;
    let aperture = |p: f64| -> Result<LitAperture> {
        let full = (std::f64::consts::PI * r.diameter.as_m() / r.f.wavelength().as_m()).powi(2);
        let efficiency = (from_db(r.gain_dbi) / full).min(1.0);
        Ok(LitAperture::new(r.diameter, efficiency, r.f, p)?)
    };
    let dish = aperture(mean)?;
    let (public, occupational) = (
        limits.public_w_m2 / reflection,
        limits.occupational_w_m2 / reflection,
    );
    // One standard uncertainty more power: how much farther one must stay.
    let axis = |limit: f64| -> Result<Known> {
        let d = dish.distance_for(limit)?.as_m();
        let more = aperture(mean * (1.0 + up))?.distance_for(limit)?.as_m();
        Ok(Known::new(d, (more - d).max(0.0)))
    };
    let bare = |gain: f64, limit: f64| -> Result<Known> {
        let d = radiator_distance(mean, gain, limit)?.as_m();
        Ok(Known::new(d, 0.5 * d * up))
    };
    let density = |w: f64| Known::new(w, w * up);
    let hand = Length::m(0.1_f64.min(r.to_dish.as_m()));
    let (near, _) = dish.on_axis_w_m2(Length::m(0.0))?;
    let mut places = vec![
        Place {
            key: "between",
            name: "between feed and dish, 0.1 m before the feed",
            at: hand,
            w_m2: density(radiator_w_m2(mean, r.feed_dbi, hand)?),
            public: bare(r.feed_dbi, public)?,
            occupational: bare(r.feed_dbi, occupational)?,
        },
        Place {
            key: "surface",
            name: "at the dish's surface",
            at: r.to_dish,
            w_m2: density(dish.surface_w_m2()),
            public: Known::exact(0.0),
            occupational: Known::exact(0.0),
        },
        Place {
            key: "axis",
            name: "in the beam before the dish",
            at: Length::m(0.0),
            w_m2: density(near),
            public: axis(public)?,
            occupational: axis(occupational)?,
        },
        Place {
            key: "rim",
            name: "behind the rim, where the feed shines past the dish",
            at: r.to_rim,
            w_m2: density(radiator_w_m2(mean, r.rim_dbi, r.to_rim)?),
            public: bare(r.rim_dbi, public)?,
            occupational: bare(r.rim_dbi, occupational)?,
        },
        Place {
            key: "bare",
            name: "before the bare feed, taken off the dish",
            at: Length::m(1.0),
            w_m2: density(radiator_w_m2(mean, r.feed_dbi, Length::m(1.0))?),
            public: bare(r.feed_dbi, public)?,
            occupational: bare(r.feed_dbi, occupational)?,
        },
    ];
    places.sort_by(|a, b| b.w_m2.value.total_cmp(&a.w_m2.value));
    Ok(Exposure {
        mean_w: density(mean),
        places,
        zones: (dish.near_end(), dish.far_begin()),
        limits: limits.clone(),
    })
}

/// Density on the axis at a distance, for a drawing: (W/m2, zone).
///
/// # Errors
/// As [`exposure`].
pub fn on_axis(r: &Radiating, distance: Length) -> Result<(f64, Zone)> {
    let full = (std::f64::consts::PI * r.diameter.as_m() / r.f.wavelength().as_m()).powi(2);
    let eta = (from_db(r.gain_dbi) / full).min(1.0);
    let a = LitAperture::new(r.diameter, eta, r.f, r.peak_w * r.duty.max(1e-6))?;
    Ok(a.on_axis_w_m2(distance)?)
}

/// What is said wherever transmitting is advised.
pub fn cautions() -> Vec<String> {
    [
        "Never be, reach or look between feed and dish while the transmitter can start: it is the worst place. Take the \
         amplifier's supply off first; no program can tell that a transmitter is off.",
        "A feed taken off the dish shines at whoever stands before it. Test it into a dummy load, or pointed at the empty \
         sky.",
        "Distances here are computed for the limits given, in free space. Reflecting roofs and masts raise the density; \
         implants can be disturbed below any limit. Your local rules and your licence decide, not this program.",
        "Wind loads need the gust and the coefficient of your local code, and a mount judged by someone licensed to.",
    ]
    .map(String::from)
    .to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn station() -> Radiating {
        Radiating {
            f: Frequency::ghz(2.41),
            diameter: Length::m(1.2),
            gain_dbi: 27.0,
            feed_dbi: 10.0,
            rim_dbi: -1.0,
            to_dish: Length::m(0.75),
            to_rim: Length::m(0.9),
            peak_w: 50.0,
            u_db: 0.0,
            duty: 1.0,
        }
    }

    #[test]
    fn offered_levels_are_the_table() {
        // Table icnirp2020, exact to its digits.
        for (f, name, public, occupational) in [
            (2.4, "ICNIRP 2020, whole body", 10.0, 50.0),
            (2.4, "ICNIRP 2020, local exposure", 40.0, 200.0),
            (5.7, "ICNIRP 2020, local exposure", 40.0, 200.0),
            (10.0, "ICNIRP 2020, local exposure", 36.59, 182.95),
            (10.475, "ICNIRP 2020, local exposure", 36.2907, 181.454),
            (2.4, "FCC 47 CFR 1.1310 (1996)", 10.0, 50.0),
        ] {
            let l = offered(Frequency::ghz(f))
                .into_iter()
                .find(|l| l.name == name)
                .unwrap();
            assert!(
                (l.public_w_m2 - public).abs() < 5e-3
                    && (l.occupational_w_m2 - occupational).abs() < 5e-3,
                "{l:?}"
            );
        }
        assert!(offered(Frequency::mhz(435.0)).is_empty());
    }

    #[test]
    fn the_space_between_feed_and_dish_is_the_worst() {
        let limits = &offered(Frequency::ghz(2.41))[0];
        let e = exposure(&station(), limits, 1.0).unwrap();
        assert_eq!(e.places[0].key, "between");
        assert!((e.places[0].w_m2.value - 3979.0).abs() < 1.0);
        // 50 W and 10 dBi: 2 m; the beam's tube reaches further than the bare feed
        assert!((e.place("bare").unwrap().public.value - 1.995).abs() < 1e-3);
        assert!(e.place("axis").unwrap().public.value > 10.0);
        // half the time on the air: half the density, bare distances shorter by a root
        let half = exposure(
            &Radiating {
                duty: 0.5,
                ..station()
            },
            limits,
            1.0,
        )
        .unwrap();
        let (a, b) = (e.place("bare").unwrap(), half.place("bare").unwrap());
        assert!((a.w_m2.value / b.w_m2.value - 2.0).abs() < 1e-9);
        assert!((a.public.value / b.public.value - 2f64.sqrt()).abs() < 1e-9);
        // reflection to four times the density doubles the distance of a bare feed
        let roof = exposure(&station(), limits, 4.0).unwrap();
        assert!((roof.place("bare").unwrap().public.value / a.public.value - 2.0).abs() < 1e-9);
        assert!(
            exposure(
                &Radiating {
                    peak_w: 0.0,
                    ..station()
                },
                limits,
                1.0
            )
            .is_err()
        );
        assert!(cautions()[0].contains("between feed and dish"));
    }
}
