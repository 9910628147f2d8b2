//! What can hurt someone who repeats a test (common practice, no source).

pub(super) const FIRST: &str = "The makers' instructions for the battery, the load and the charger, and local rules, come before anything said here. Have wiring you are not sure of looked at by a licensed person.";

pub(super) const OF_A_DISCHARGE: [&str; 5] = [
    "A load under test gets hot enough to burn skin and to start a fire. Stand it on something that does not burn, leave air around it, and never leave a test alone.",
    "Put a fuse that suits the lead within reach of the battery's positive terminal, and connect the load last. A battery that is shorted by a tool can weld and burn.",
    "Stop at the end-of-discharge voltage the maker gives, and do not use the protection inside the pack as the switch that ends a test.",
    "Never charge a lithium battery below 0 °C or above the maker's limit, and only with a charger made for its chemistry. Let a cold pack warm up first.",
    "Lead-acid batteries give off gas that can explode when they are charged: air the room, no flame, no sparks, and eye protection near open cells.",
];
