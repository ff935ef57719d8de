//! Physics: noise, level, distortion, quantisation and DC along a chain of parts.
