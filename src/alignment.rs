//! Findings and plan to angle, offset and interval.
