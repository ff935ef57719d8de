//! Physics: feeds, reflectors, patterns, polarisation and antenna noise.
