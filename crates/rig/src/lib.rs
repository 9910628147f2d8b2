//! The devices and how they are fed: cables, schedules, voltages.
