//! Physics: thin-wire method of moments.
