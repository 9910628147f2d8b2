//! One battery as a model: its circuit, its limits, and how well they are known.
