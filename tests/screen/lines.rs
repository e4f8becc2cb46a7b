//! Lines typed where lines are read.
