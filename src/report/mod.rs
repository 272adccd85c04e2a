//! Records to files.
