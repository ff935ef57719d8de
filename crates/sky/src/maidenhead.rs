//! Maidenhead locators, in integer arithmetic: floating point falls on the wrong side of square edges.
//!
//! Fields of 20 x 10 deg (A to R), squares of 2 x 1 deg (0 to 9), subsquares of 5' x 2.5' (a to x), then again
//! tenths (0 to 9) and twenty-fourths (a to x). Fields to subsquares: IARU Region 1 (Maidenhead 1980); the two
//! further pairs: common practice, no source. Coordinates are WGS-84.

use std::fmt;
use std::str::FromStr;

use crate::error::{SkyError, within};

/// A locator of 2, 4, 6, 8 or 10 characters: a cell of the grid.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Locator {
    /// Indices west to east and south to north of each pair; only the first `pairs` count, the rest is zero.
    indices: [(u8, u8); 5],
    pairs: usize,
}

/// Cells per side at each level, and the first letter or digit.
const LEVELS: [(i64, char); 5] = [(18, 'A'), (10, '0'), (24, 'a'), (10, '0'), (24, 'a')];

/// Coordinates are held in 1e-9 deg (0.1 mm): decimal degrees as people write them come out exact.
const PER_DEGREE: i64 = 1_000_000_000;

impl Locator {
    /// The locator with `characters` (2, 4, 6, 8 or 10) of a point in degrees. A point on an edge belongs to the cell
    /// north or east of it; the north pole to the last row; 180 E is 180 W.
    ///
    /// # Errors
    /// [`SkyError::Range`] outside -90..90 or -180..180 deg, [`SkyError::LocatorLength`].
    pub fn of(lat_deg: f64, lon_deg: f64, characters: usize) -> Result<Self, SkyError> {
        within("latitude", lat_deg, -90.0, 90.0, "deg")?;
        within("longitude", lon_deg, -180.0, 180.0, "deg")?;
        let pairs = pairs_of(characters)?;
        // Rounding to 1e-9 deg undoes the binary representation of a decimal number.
        let nano = |deg: f64| (deg * PER_DEGREE as f64).round() as i64;
        let east = (nano(lon_deg) + 180 * PER_DEGREE).rem_euclid(360 * PER_DEGREE);
        let north = (nano(lat_deg) + 90 * PER_DEGREE).min(180 * PER_DEGREE - 1);
        let mut indices = [(0, 0); 5];
        // A remainder stands for remainder / cells of the level's size: multiply instead of dividing, nothing is lost.
        // After five levels the factor is 18*10*24*10*24, far from the limits of i64 as each step takes the remainder.
        let (mut x, mut y) = (east, north);
        for (slot, (n, _)) in indices.iter_mut().zip(LEVELS).take(pairs) {
            x *= n;
            y *= n;
            *slot = (
                (x / (360 * PER_DEGREE)) as u8,
                (y / (180 * PER_DEGREE)) as u8,
            );
            x %= 360 * PER_DEGREE;
            y %= 180 * PER_DEGREE;
        }
        Ok(Self { indices, pairs })
    }

    /// Characters.
    pub fn characters(&self) -> usize {
        2 * self.pairs
    }

    /// West edge and south edge as counts of this level's cells from 180 W and 90 S, and the cells in a turn.
    fn counts(&self) -> (i64, i64, i64) {
        let mut c = (0, 0, 1);
        for ((i, j), (n, _)) in self.indices.iter().zip(LEVELS).take(self.pairs) {
            c = (c.0 * n + i64::from(*i), c.1 * n + i64::from(*j), c.2 * n);
        }
        c
    }

    /// South-west corner (lat, lon), deg.
    pub fn south_west(&self) -> (f64, f64) {
        let (i, j, n) = self.counts();
        (
            (180 * j - 90 * n) as f64 / n as f64,
            (360 * i - 180 * n) as f64 / n as f64,
        )
    }

    /// Centre (lat, lon), deg.
    pub fn centre(&self) -> (f64, f64) {
        let (i, j, n) = self.counts();
        (
            (180 * j + 90 - 90 * n) as f64 / n as f64,
            (360 * i + 180 - 180 * n) as f64 / n as f64,
        )
    }

    /// Height and width of the cell (lat, lon), deg.
    pub fn size(&self) -> (f64, f64) {
        let (_, _, n) = self.counts();
        (180.0 / n as f64, 360.0 / n as f64)
    }
}

fn pairs_of(characters: usize) -> Result<usize, SkyError> {
    match characters {
        2 | 4 | 6 | 8 | 10 => Ok(characters / 2),
        length => Err(SkyError::LocatorLength { length }),
    }
}

impl fmt::Display for Locator {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for ((i, j), (_, first)) in self.indices.iter().zip(LEVELS).take(self.pairs) {
            for k in [*i, *j] {
                write!(f, "{}", char::from(first as u8 + k))?;
            }
        }
        Ok(())
    }
}

impl FromStr for Locator {
    type Err = SkyError;
    /// Upper and lower case are the same; blanks around are not part of it.
    fn from_str(text: &str) -> Result<Self, SkyError> {
        let text = text.trim();
        let pairs = pairs_of(text.chars().count())?;
        let mut indices = [(0, 0); 5];
        for (position, c) in text.chars().enumerate() {
            let level = position / 2;
            let (Some((n, first)), Some(slot)) = (LEVELS.get(level), indices.get_mut(level)) else {
                return Err(SkyError::LocatorLength {
                    length: position + 1,
                });
            };
            let folded = if first.is_ascii_uppercase() {
                c.to_ascii_uppercase()
            } else {
                c.to_ascii_lowercase()
            };
            let index = i64::from(u32::from(folded)) - i64::from(u32::from(*first));
            if !(0..*n).contains(&index) {
                return Err(SkyError::LocatorCharacter {
                    position: position + 1,
                    found: c,
                    first: *first,
                    last: char::from(*first as u8 + *n as u8 - 1),
                });
            }
            if position % 2 == 0 {
                slot.0 = index as u8;
            } else {
                slot.1 = index as u8;
            }
        }
        Ok(Self { indices, pairs })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn edges_belong_north_and_east() {
        assert_eq!(Locator::of(90.0, 0.0, 4).unwrap().to_string(), "JR09");
        assert_eq!(
            Locator::of(-90.0, -180.0, 10).unwrap().to_string(),
            "AA00aa00aa"
        );
        assert_eq!(
            Locator::of(0.0, 180.0, 6).unwrap(),
            Locator::of(0.0, -180.0, 6).unwrap()
        );
        // 0.7 deg is a subsquare edge in no binary fraction: 0.7 * 24 = 16.8; 0.075 deg is one (1.8 subsquares).
        assert_eq!(Locator::of(0.125, 0.25, 6).unwrap().to_string(), "JJ00dd");
    }

    #[test]
    fn errors_say_where() {
        assert_eq!(
            "JO0".parse::<Locator>(),
            Err(SkyError::LocatorLength { length: 3 })
        );
        assert_eq!(
            "JO01zz".parse::<Locator>(),
            Err(SkyError::LocatorCharacter {
                position: 5,
                found: 'z',
                first: 'a',
                last: 'x'
            })
        );
        assert!(matches!(
            "SJ".parse::<Locator>(),
            Err(SkyError::LocatorCharacter {
                position: 1,
                last: 'R',
                ..
            })
        ));
        assert!(Locator::of(f64::NAN, 0.0, 6).is_err());
        assert!(Locator::of(0.0, 180.1, 6).is_err());
        assert_eq!(
            Locator::of(0.0, 0.0, 12),
            Err(SkyError::LocatorLength { length: 12 })
        );
    }

    proptest! {
        #[test]
        fn a_point_lies_in_its_cell(lat in -90.0..90.0f64, lon in -180.0..180.0f64, p in 1usize..=5) {
            let l = Locator::of(lat, lon, 2 * p).unwrap();
            let ((s, w), (h, v)) = (l.south_west(), l.size());
            prop_assert!(lat >= s - 1e-9 && lat <= s + h + 1e-9);
            prop_assert!(lon >= w - 1e-9 && lon <= w + v + 1e-9);
        }
        #[test]
        fn the_centre_leads_back(lat in -90.0..90.0f64, lon in -180.0..180.0f64, p in 1usize..=5) {
            let l = Locator::of(lat, lon, 2 * p).unwrap();
            let (clat, clon) = l.centre();
            prop_assert_eq!(Locator::of(clat, clon, 2 * p).unwrap(), l);
            prop_assert_eq!(l.to_string().parse::<Locator>().unwrap(), l);
            prop_assert_eq!(l.to_string().to_uppercase().parse::<Locator>().unwrap(), l);
        }
        #[test]
        fn longer_locators_begin_with_the_shorter(lat in -90.0..90.0f64, lon in -180.0..180.0f64) {
            let ten = Locator::of(lat, lon, 10).unwrap().to_string();
            for n in [2, 4, 6, 8] {
                prop_assert!(ten.starts_with(&Locator::of(lat, lon, n).unwrap().to_string()));
            }
        }
        #[test]
        fn any_text_is_a_locator_or_an_error(text in "\\PC{0,12}") {
            let _ = text.parse::<Locator>();
        }
    }
}
