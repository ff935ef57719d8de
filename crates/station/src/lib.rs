//! Paper: station and satellite files as written and as checked.
