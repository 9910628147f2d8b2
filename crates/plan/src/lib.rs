//! The files a person writes, checked into domain values, with errors that point.
