//! Hall: one function per verb, the only place where rooms meet files, clock and progress.
