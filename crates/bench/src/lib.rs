//! What a record proves: capacity, energy, share above the cutoff, resistance, recharge.
