//! Sayback: a hands-free job runner.
