//! The charge controller between panel and battery.

use crate::{Error, Panel, Profile};
use quantity::within;

/// How a controller turns the panel's current into the battery's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Conversion {
    /// Tracks the panel's most power and converts it to the battery's voltage.
    Mppt {
        /// Share of the panel's most power that it finds, times the share it does not turn into
        /// heat.
        efficiency: f64,
    },
    /// Connects the panel to the battery: the panel's current at the battery's voltage.
    Pwm,
}

/// A charge controller.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Controller {
    conversion: Conversion,
    current_limit_a: f64,
    own_draw_w: f64,
    profile: Profile,
}

impl Controller {
    /// A controller with the most current it gives and the power it draws from the battery, day
    /// and night.
    ///
    /// # Errors
    /// When a number can't be.
    pub fn new(
        conversion: Conversion,
        current_limit_a: f64,
        own_draw_w: f64,
        profile: Profile,
    ) -> Result<Self, Error> {
        if let Conversion::Mppt { efficiency } = conversion {
            within("the controller's efficiency", efficiency, (0.1, 1.0), "")?;
        }
        Ok(Self {
            conversion,
            current_limit_a: within("the controller's limit", current_limit_a, (0.0, 1e4), "A")?,
            own_draw_w: within("the controller's own draw", own_draw_w, (0.0, 1000.0), "W")?,
            profile,
        })
    }

    /// Current into a battery at a voltage, from a panel under an effective irradiance at a cell
    /// temperature, before the stage's voltage limit and the own draw.
    #[must_use]
    pub fn output_a(&self, panel: &Panel, effective_w_m2: f64, cell_c: f64, battery_v: f64) -> f64 {
        match self.conversion {
            Conversion::Mppt { .. } => {
                self.output_from_w(panel.power_w(effective_w_m2, cell_c), battery_v)
            }
            Conversion::Pwm => {
                panel.current_a(effective_w_m2, cell_c, battery_v).min(self.current_limit_a)
            }
        }
    }

    /// Current into a battery at a voltage from a panel's most power, for a tracking controller
    /// whose panel power is already known: `min(P η / v, limit)`. A PWM controller has no
    /// efficiency to apply; see [`Controller::output_a`].
    #[must_use]
    pub fn output_from_w(&self, panel_w: f64, battery_v: f64) -> f64 {
        let efficiency = match self.conversion {
            Conversion::Mppt { efficiency } => efficiency,
            Conversion::Pwm => 1.0,
        };
        if battery_v <= 0.0 {
            return 0.0;
        }
        (panel_w * efficiency / battery_v).clamp(0.0, self.current_limit_a)
    }

    /// How it converts.
    #[must_use]
    pub fn conversion(&self) -> Conversion {
        self.conversion
    }

    /// The most current it gives.
    #[must_use]
    pub fn current_limit_a(&self) -> f64 {
        self.current_limit_a
    }

    /// What it draws from the battery all the time.
    #[must_use]
    pub fn own_draw_w(&self) -> f64 {
        self.own_draw_w
    }

    /// How it ends a charge.
    #[must_use]
    pub fn profile(&self) -> &Profile {
        &self.profile
    }
}
