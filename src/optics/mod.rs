//! Dioptres and axes. Pure.
