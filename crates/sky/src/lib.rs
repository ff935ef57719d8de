//! Physics: where satellites, Sun and Moon stand, seen from a site on the Earth.
