//! Reading the quantised layers: bilinear (P.1144) between four neighbours.

use super::layers;

/// The grid itself; see `authority/climate_grid.py`.
static BYTES: &[u8] = include_bytes!("../../data/climate.bin");
/// A layer table that does not fit the file is caught when compiling.
const _: () = assert!(include_bytes!("../../data/climate.bin").len() == layers::BYTES);

/// What the coarse grid loses against the full map at random land points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loss {
    /// Root mean square error, in the layer's unit.
    pub rms: f64,
    /// 95 % of absolute errors are below this, in the layer's unit.
    pub p95: f64,
    /// Root mean square relative error, where the value is not near zero.
    pub rms_relative: f64,
    /// 95 % of absolute relative errors are below this.
    pub p95_relative: f64,
    /// Constant part of the standard uncertainty, in the layer's unit.
    pub u_absolute: f64,
    /// Part of the standard uncertainty that goes with the value.
    pub u_relative: f64,
}

impl Loss {
    /// Standard uncertainty of a value read from the layer.
    pub fn u(&self, value: f64) -> f64 {
        self.u_absolute.hypot(self.u_relative * value)
    }
}

/// One layer: rows from 90 N to 90 S, columns from 0 E eastward, one byte a point.
#[derive(Debug, Clone, Copy)]
pub(super) struct Layer {
    pub offset: usize,
    pub rows: usize,
    pub cols: usize,
    pub step_deg: f64,
    pub lo: f64,
    pub hi: f64,
    pub squared: bool,
    pub loss: Loss,
}

/// Four neighbours of a point with their weights.
#[derive(Debug, Clone, Copy)]
pub(super) struct Corners([(usize, f64); 4]);

impl Layer {
    /// The neighbours of a latitude in -90..90 and any longitude, deg.
    pub fn corners(&self, lat_deg: f64, lon_deg: f64) -> Corners {
        let row = ((90.0 - lat_deg) / self.step_deg).clamp(0.0, (self.rows - 1) as f64);
        let col = lon_deg.rem_euclid(360.0) / self.step_deg;
        let i = (row.floor() as usize).min(self.rows - 2);
        let j = (col.floor() as usize) % self.cols;
        let k = (j + 1) % self.cols;
        let (fr, fc) = (row - i as f64, col - col.floor());
        let at = |r: usize, c: usize| r * self.cols + c;
        Corners([
            (at(i, j), (1.0 - fr) * (1.0 - fc)),
            (at(i, k), (1.0 - fr) * fc),
            (at(i + 1, j), fr * (1.0 - fc)),
            (at(i + 1, k), fr * fc),
        ])
    }

    /// The value stored at one point.
    fn stored(&self, index: usize) -> f64 {
        // `corners` stays inside the layer and the layer inside the file (checked when compiling and by
        // the test below).
        let q = f64::from(BYTES.get(self.offset + index).copied().unwrap_or(0)) / 255.0;
        self.lo + (self.hi - self.lo) * if self.squared { q * q } else { q }
    }

    /// Bilinear value.
    pub fn value(&self, lat_deg: f64, lon_deg: f64) -> f64 {
        let mut sum = 0.0;
        for (index, weight) in self.corners(lat_deg, lon_deg).0 {
            sum += weight * self.stored(index);
        }
        sum
    }

    /// P.836-6 section 2: each neighbour is brought from the height of its point to `h_km` with its own
    /// scale height, then interpolated. The three layers share one raster.
    pub fn value_at_height(
        &self,
        scale_height: &Layer,
        node_height: &Layer,
        lat_deg: f64,
        lon_deg: f64,
        h_km: f64,
    ) -> f64 {
        let mut sum = 0.0;
        for (index, weight) in self.corners(lat_deg, lon_deg).0 {
            let dh = h_km - node_height.stored(index);
            sum += weight * self.stored(index) * (-dh / scale_height.stored(index)).exp();
        }
        sum
    }
}

/// Blocks of 5 x 5 points that refine single cells of a layer where its raster is too coarse.
pub(super) struct Refinement {
    /// Where the bitmap of refined cells begins: one bit a cell, row by row, lowest bit first.
    pub bitmap: usize,
    /// Where the blocks begin, in the bitmap's order.
    pub blocks: usize,
    pub count: usize,
    pub rows: usize,
    pub cols: usize,
    /// How many refined cells come before each row.
    pub row_start: [u16; 360],
}

/// Points a block has each way; its outer ones lie on the cell's edges.
const BLOCK: usize = 5;

impl Refinement {
    /// Bilinear value inside the block of this place's cell; `None` where the cell is not refined.
    pub fn value(&self, layer: &Layer, lat_deg: f64, lon_deg: f64) -> Option<f64> {
        let row = (90.0 - lat_deg) / layer.step_deg;
        let col = lon_deg.rem_euclid(360.0) / layer.step_deg;
        let i = (row.floor() as usize).min(self.rows - 1);
        let j = (col.floor() as usize) % self.cols;
        let bytes = self.cols / 8;
        let bits = BYTES.get(self.bitmap + i * bytes..self.bitmap + (i + 1) * bytes)?;
        let byte = *bits.get(j / 8)?;
        if byte >> (j % 8) & 1 == 0 {
            return None;
        }
        let mut n = usize::from(*self.row_start.get(i)?);
        for b in bits.iter().take(j / 8) {
            n += b.count_ones() as usize;
        }
        n += (byte & ((1u8 << (j % 8)) - 1)).count_ones() as usize;
        if n >= self.count {
            return None;
        }
        let block = self.blocks + n * BLOCK * BLOCK - layer.offset;
        let last = (BLOCK - 1) as f64;
        let (r, c) = ((row - i as f64) * last, (col - col.floor()) * last);
        let (a, b) = ((r as usize).min(BLOCK - 2), (c as usize).min(BLOCK - 2));
        let (fr, fc) = (r - a as f64, c - b as f64);
        let at = |a: usize, b: usize| layer.stored(block + a * BLOCK + b);
        Some(
            (1.0 - fr) * ((1.0 - fc) * at(a, b) + fc * at(a, b + 1))
                + fr * ((1.0 - fc) * at(a + 1, b) + fc * at(a + 1, b + 1)),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_layer_lies_inside_the_file() {
        let mut all = vec![
            layers::R001,
            layers::P0,
            layers::H0,
            layers::NWET_50,
            layers::T_MEAN,
            layers::TOPO,
            layers::NODE_HEIGHT,
        ];
        for group in [layers::L_RED, layers::RHO, layers::V, layers::VSCH] {
            all.extend(group);
        }
        let mut end = 0;
        for l in &all {
            assert_eq!(l.offset, end, "layers follow one another");
            end += l.rows * l.cols;
            assert!((l.step_deg * (l.rows - 1) as f64 - 180.0).abs() < 1e-9);
            assert!((l.step_deg * l.cols as f64 - 360.0).abs() < 1e-9);
        }
        let d = &layers::RAIN_DETAIL;
        assert_eq!((d.bitmap, d.blocks), (end, end + d.rows * d.cols / 8));
        assert_eq!(d.blocks + d.count * BLOCK * BLOCK, layers::BYTES);
        let bits: u32 = BYTES[d.bitmap..d.blocks]
            .iter()
            .map(|b| b.count_ones())
            .sum();
        assert_eq!(bits as usize, d.count);
    }

    /// A refined cell's corners are points of the coarse raster too, so the two agree there.
    #[test]
    fn refined_cells_join_the_raster() {
        let mut seen = 0;
        for i in 0..layers::RAIN_DETAIL.rows {
            for j in 0..layers::RAIN_DETAIL.cols {
                let (lat, lon) = (90.0 - 0.5 * i as f64, 0.5 * j as f64);
                if let Some(v) = layers::RAIN_DETAIL.value(&layers::R001, lat, lon) {
                    seen += 1;
                    assert!(
                        (v - layers::R001.value(lat, lon)).abs() < 1e-9,
                        "{lat} {lon}"
                    );
                }
            }
        }
        assert_eq!(seen, layers::RAIN_DETAIL.count);
    }

    #[test]
    fn weights_sum_to_one_and_the_date_line_is_no_edge() {
        for (lat, lon) in [(90.0, 0.0), (-90.0, 359.99), (12.3, -180.0), (0.0, 719.9)] {
            let c = layers::R001.corners(lat, lon);
            let sum: f64 = c.0.iter().map(|(_, w)| w).sum();
            assert!((sum - 1.0).abs() < 1e-12);
            assert!(
                c.0.iter()
                    .all(|(i, _)| *i < layers::R001.rows * layers::R001.cols)
            );
        }
        let (a, b) = (
            layers::T_MEAN.value(10.0, 179.9999),
            layers::T_MEAN.value(10.0, -179.9999),
        );
        assert!((a - b).abs() < 0.01);
    }
}
