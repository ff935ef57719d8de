//! Physics: ITU-R P-series propagation models between a site and space.
