//! What puts energy in: panels with their controllers, chargers.
