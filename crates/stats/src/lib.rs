//! Ground floor: least squares, intervals, draws, seeded streams, progress.
