//! Site, pack, rig and sources together: simulated, drawn at random, judged.
