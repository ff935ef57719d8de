//! Bench: what to do next: drive, heat, trials, frequency, exposure.
