//! Night, sun, moon and air at a place, worked out without a network.
