//! The kinds of quantity the program meets: unit, spellings, and what is possible at all.
//!
//! Everything about a kind is declared here once and feeds reading, messages and printing.

/// A kind of quantity. The unit in brackets is the one its numbers carry inside the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// Power (W).
    Power,
    /// Voltage (V).
    Voltage,
    /// Electric current (A).
    Current,
    /// Charge or capacity (Ah).
    Charge,
    /// Energy (Wh).
    Energy,
    /// Length (m).
    Length,
    /// Conductor cross-section (mm²), also written as a wire gauge.
    WireArea,
    /// Temperature (°C).
    Temperature,
    /// Difference of temperature (K).
    TemperatureDifference,
    /// Span of time (s).
    Duration,
    /// Resistance (Ω).
    Resistance,
    /// Capacitance (F).
    Capacitance,
    /// Heat capacity (J/K).
    HeatCapacity,
    /// Heat conductance (W/K).
    HeatConductance,
    /// Latitude (degrees, north positive).
    Latitude,
    /// Longitude (degrees, east positive).
    Longitude,
    /// Any other angle (degrees).
    Angle,
    /// Height above the sea (m).
    Elevation,
    /// Speed (m/s).
    Speed,
    /// A share of a whole (0.95, also written "95 %").
    Fraction,
    /// Relative change with temperature (1/K, also written "-0.4 %/K").
    TemperatureCoefficient,
    /// Relative change with time (1/day, also written "3 %/month").
    DailyRate,
    /// Mass (kg).
    Mass,
    /// Volume (l).
    Volume,
}

/// One way to write a unit, and what it is in the kind's own unit: `own = written * scale + shift`.
pub(crate) struct Unit {
    pub(crate) spelling: &'static str,
    pub(crate) scale: f64,
    pub(crate) shift: f64,
}

const fn unit(spelling: &'static str, scale: f64) -> Unit {
    Unit { spelling, scale, shift: 0.0 }
}

const fn shifted(spelling: &'static str, scale: f64, shift: f64) -> Unit {
    Unit { spelling, scale, shift }
}

pub(crate) struct Facts {
    pub(crate) name: &'static str,
    /// Spellings, the first of which is the one used for printing.
    pub(crate) units: &'static [Unit],
    /// Whether a number without a unit is taken in the kind's own unit. Only where people would
    /// not doubt which is meant.
    pub(crate) bare: bool,
    pub(crate) least: f64,
    pub(crate) most: f64,
    /// Two right ways to write one, for messages.
    pub(crate) examples: &'static str,
}

const INCH_M: f64 = 0.0254;
const POUND_KG: f64 = 0.453_592_37;

static POWER: Facts = Facts {
    name: "power",
    units: &[
        unit("W", 1.0),
        unit("mW", 1e-3),
        unit("kW", 1e3),
        unit("watt", 1.0),
        unit("watts", 1.0),
    ],
    bare: true,
    least: 0.0,
    most: 1e5,
    examples: "\"9 W\" or \"1.2 kW\"",
};
static VOLTAGE: Facts = Facts {
    name: "voltage",
    units: &[unit("V", 1.0), unit("mV", 1e-3), unit("volt", 1.0), unit("volts", 1.0)],
    bare: true,
    least: 0.0,
    most: 1000.0,
    examples: "\"12.0 V\" or \"11500 mV\"",
};
static CURRENT: Facts = Facts {
    name: "current",
    units: &[unit("A", 1.0), unit("mA", 1e-3), unit("amp", 1.0), unit("amps", 1.0)],
    bare: true,
    least: 0.0,
    most: 1e4,
    examples: "\"2.5 A\" or \"300 mA\"",
};
static CHARGE: Facts = Facts {
    name: "charge",
    units: &[
        unit("Ah", 1.0),
        unit("mAh", 1e-3),
        unit("kAh", 1e3),
        unit("C", 1.0 / 3600.0),
        unit("As", 1.0 / 3600.0),
    ],
    bare: false,
    least: 0.0,
    most: 1e5,
    examples: "\"40 Ah\" or \"2200 mAh\"",
};
static ENERGY: Facts = Facts {
    name: "energy",
    units: &[
        unit("Wh", 1.0),
        unit("mWh", 1e-3),
        unit("kWh", 1e3),
        unit("kJ", 1.0 / 3.6),
        unit("J", 1.0 / 3600.0),
    ],
    bare: false,
    least: 0.0,
    most: 1e7,
    examples: "\"600 Wh\" or \"1.2 kWh\"",
};
static LENGTH: Facts = Facts {
    name: "length",
    units: &[
        unit("m", 1.0),
        unit("cm", 0.01),
        unit("mm", 1e-3),
        unit("km", 1e3),
        unit("ft", 12.0 * INCH_M),
        unit("feet", 12.0 * INCH_M),
        unit("in", INCH_M),
        unit("inch", INCH_M),
        unit("'", 12.0 * INCH_M),
        unit("\"", INCH_M),
    ],
    bare: false,
    least: 0.0,
    most: 1e4,
    examples: "\"1.8 m\" or \"6 ft\"",
};
static WIRE_AREA: Facts = Facts {
    name: "wire section",
    // "14 AWG" is read by `wire`, since a gauge is no multiple of an area.
    units: &[
        unit("mm²", 1.0),
        unit("mm2", 1.0),
        unit("mm^2", 1.0),
        unit("sqmm", 1.0),
        unit("qmm", 1.0),
    ],
    bare: false,
    least: 0.01,
    most: 1000.0,
    examples: "\"2.5 mm²\" or \"14 AWG\"",
};
static TEMPERATURE: Facts = Facts {
    name: "temperature",
    units: &[
        unit("°C", 1.0),
        unit("C", 1.0),
        unit("degC", 1.0),
        unit("℃", 1.0),
        shifted("K", 1.0, -273.15),
        shifted("°F", 5.0 / 9.0, -32.0 * 5.0 / 9.0),
        shifted("F", 5.0 / 9.0, -32.0 * 5.0 / 9.0),
        shifted("degF", 5.0 / 9.0, -32.0 * 5.0 / 9.0),
    ],
    bare: false,
    least: -90.0,
    most: 150.0,
    examples: "\"-3 °C\" or \"27 °F\"",
};
static TEMPERATURE_DIFFERENCE: Facts = Facts {
    name: "temperature difference",
    units: &[
        unit("K", 1.0),
        unit("°C", 1.0),
        unit("C", 1.0),
        unit("°F", 5.0 / 9.0),
        unit("F", 5.0 / 9.0),
    ],
    bare: false,
    least: 0.0,
    most: 200.0,
    examples: "\"2 K\" or \"35 °C\"",
};
static DURATION: Facts = Facts {
    name: "duration",
    // "2h30" and "2:30:00" are read by `duration`, since they are sums.
    units: &[unit("s", 1.0)],
    bare: false,
    least: 0.0,
    most: 1e9,
    examples: "\"90 min\", \"2h30\" or \"2:30:00\"",
};
static RESISTANCE: Facts = Facts {
    name: "resistance",
    units: &[
        unit("Ω", 1.0),
        unit("Ω", 1.0),
        unit("ohm", 1.0),
        unit("ohms", 1.0),
        unit("mΩ", 1e-3),
        unit("mΩ", 1e-3),
        unit("mohm", 1e-3),
        unit("milliohm", 1e-3),
        unit("kΩ", 1e3),
        unit("kohm", 1e3),
    ],
    bare: false,
    least: 0.0,
    most: 1e6,
    examples: "\"24 mΩ\" or \"0.024 ohm\"",
};
static CAPACITANCE: Facts = Facts {
    name: "capacitance",
    units: &[unit("F", 1.0), unit("mF", 1e-3), unit("kF", 1e3)],
    bare: false,
    least: 0.0,
    most: 1e9,
    examples: "\"3200 F\" or \"3.2 kF\"",
};
static HEAT_CAPACITY: Facts = Facts {
    name: "heat capacity",
    units: &[unit("J/K", 1.0), unit("kJ/K", 1e3), unit("Wh/K", 3600.0)],
    bare: false,
    least: 0.0,
    most: 1e8,
    examples: "\"4.5 kJ/K\"",
};
static HEAT_CONDUCTANCE: Facts = Facts {
    name: "heat conductance",
    units: &[unit("W/K", 1.0), unit("mW/K", 1e-3)],
    bare: false,
    least: 0.0,
    most: 1e4,
    examples: "\"0.8 W/K\"",
};
static LATITUDE: Facts = Facts {
    name: "latitude",
    units: &[unit("°", 1.0), unit("deg", 1.0), unit("N", 1.0), unit("S", -1.0)],
    bare: true,
    least: -90.0,
    most: 90.0,
    examples: "\"56.9 N\" or -33.2",
};
static LONGITUDE: Facts = Facts {
    name: "longitude",
    units: &[unit("°", 1.0), unit("deg", 1.0), unit("E", 1.0), unit("W", -1.0)],
    bare: true,
    least: -180.0,
    most: 180.0,
    examples: "\"4.2 W\" or 20.8",
};
static ANGLE: Facts = Facts {
    name: "angle",
    units: &[unit("°", 1.0), unit("deg", 1.0), unit("degrees", 1.0)],
    bare: true,
    least: -360.0,
    most: 360.0,
    examples: "\"35°\" or 35",
};
static ELEVATION: Facts = Facts {
    name: "elevation",
    units: &[
        unit("m", 1.0),
        unit("km", 1e3),
        unit("ft", 12.0 * INCH_M),
        unit("feet", 12.0 * INCH_M),
    ],
    bare: true,
    least: -450.0,
    most: 9000.0,
    examples: "\"640 m\" or \"2100 ft\"",
};
static SPEED: Facts = Facts {
    name: "speed",
    units: &[
        unit("m/s", 1.0),
        unit("km/h", 1.0 / 3.6),
        unit("kph", 1.0 / 3.6),
        unit("mph", 0.447_04),
        unit("kn", 1852.0 / 3600.0),
        unit("knots", 1852.0 / 3600.0),
    ],
    bare: false,
    least: 0.0,
    most: 120.0,
    examples: "\"2 m/s\" or \"7 km/h\"",
};
static FRACTION: Facts = Facts {
    name: "share",
    units: &[unit("", 1.0), unit("%", 0.01), unit("percent", 0.01)],
    bare: true,
    least: 0.0,
    most: 1.0,
    examples: "\"95 %\" or 0.95",
};
static TEMPERATURE_COEFFICIENT: Facts = Facts {
    name: "temperature coefficient",
    units: &[
        unit("/K", 1.0),
        unit("1/K", 1.0),
        unit("%/K", 0.01),
        unit("%/°C", 0.01),
        unit("%/C", 0.01),
        unit("/°C", 1.0),
    ],
    bare: false,
    least: -0.1,
    most: 0.1,
    examples: "\"-0.4 %/K\"",
};
static DAILY_RATE: Facts = Facts {
    name: "rate",
    units: &[
        unit("/day", 1.0),
        unit("%/day", 0.01),
        unit("%/d", 0.01),
        unit("%/month", 0.01 / 30.0),
        unit("%/year", 0.01 / 365.25),
    ],
    bare: false,
    least: 0.0,
    most: 1.0,
    examples: "\"3 %/month\"",
};
static MASS: Facts = Facts {
    name: "mass",
    units: &[
        unit("kg", 1.0),
        unit("g", 1e-3),
        unit("lb", POUND_KG),
        unit("lbs", POUND_KG),
        unit("oz", POUND_KG / 16.0),
    ],
    bare: false,
    least: 0.0,
    most: 1e5,
    examples: "\"4.9 kg\" or \"11 lb\"",
};
static VOLUME: Facts = Facts {
    name: "volume",
    units: &[
        unit("l", 1.0),
        unit("L", 1.0),
        unit("dm³", 1.0),
        unit("dm3", 1.0),
        unit("cm³", 1e-3),
        unit("cm3", 1e-3),
        unit("m³", 1e3),
        unit("m3", 1e3),
    ],
    bare: false,
    least: 0.0,
    most: 1e6,
    examples: "\"5.3 l\" or \"5300 cm³\"",
};

impl Kind {
    /// Every kind there is.
    pub const ALL: [Kind; 24] = [
        Kind::Power,
        Kind::Voltage,
        Kind::Current,
        Kind::Charge,
        Kind::Energy,
        Kind::Length,
        Kind::WireArea,
        Kind::Temperature,
        Kind::TemperatureDifference,
        Kind::Duration,
        Kind::Resistance,
        Kind::Capacitance,
        Kind::HeatCapacity,
        Kind::HeatConductance,
        Kind::Latitude,
        Kind::Longitude,
        Kind::Angle,
        Kind::Elevation,
        Kind::Speed,
        Kind::Fraction,
        Kind::TemperatureCoefficient,
        Kind::DailyRate,
        Kind::Mass,
        Kind::Volume,
    ];

    pub(crate) fn facts(self) -> &'static Facts {
        match self {
            Kind::Power => &POWER,
            Kind::Voltage => &VOLTAGE,
            Kind::Current => &CURRENT,
            Kind::Charge => &CHARGE,
            Kind::Energy => &ENERGY,
            Kind::Length => &LENGTH,
            Kind::WireArea => &WIRE_AREA,
            Kind::Temperature => &TEMPERATURE,
            Kind::TemperatureDifference => &TEMPERATURE_DIFFERENCE,
            Kind::Duration => &DURATION,
            Kind::Resistance => &RESISTANCE,
            Kind::Capacitance => &CAPACITANCE,
            Kind::HeatCapacity => &HEAT_CAPACITY,
            Kind::HeatConductance => &HEAT_CONDUCTANCE,
            Kind::Latitude => &LATITUDE,
            Kind::Longitude => &LONGITUDE,
            Kind::Angle => &ANGLE,
            Kind::Elevation => &ELEVATION,
            Kind::Speed => &SPEED,
            Kind::Fraction => &FRACTION,
            Kind::TemperatureCoefficient => &TEMPERATURE_COEFFICIENT,
            Kind::DailyRate => &DAILY_RATE,
            Kind::Mass => &MASS,
            Kind::Volume => &VOLUME,
        }
    }

    /// What people call it: "power", "wire section".
    #[must_use]
    pub fn name(self) -> &'static str {
        self.facts().name
    }

    /// The unit its numbers carry inside the program and in print: "W", "mm²", "°C".
    #[must_use]
    pub fn unit(self) -> &'static str {
        self.facts().units[0].spelling
    }

    /// The least and the most that is taken, in [`Kind::unit`]; beyond it a value is refused as a
    /// slip of the pen.
    #[must_use]
    pub fn range(self) -> std::ops::RangeInclusive<f64> {
        self.facts().least..=self.facts().most
    }

    /// Right ways to write one, for messages: `"9 W" or "1.2 kW"`.
    #[must_use]
    pub fn examples(self) -> &'static str {
        self.facts().examples
    }
}
