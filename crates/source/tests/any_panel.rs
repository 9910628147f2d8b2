//! What holds for any panel under any light.

#![allow(clippy::expect_used)]

use proptest::prelude::*;
use source::{Cells, Controller, Conversion, DataSheet, Module, Panel, Profile};

fn sheets() -> impl Strategy<Value = DataSheet> {
    (
        10.0_f64..50.0,
        0.5_f64..15.0,
        0.78_f64..0.84,
        0.90_f64..0.95,
        -0.0036_f64..-0.0026,
        0.0003_f64..0.0007,
    )
        .prop_map(|(open_circuit_v, short_circuit_a, volts, amps, beta, alpha)| DataSheet {
            max_power_v: volts * open_circuit_v,
            max_power_a: amps * short_circuit_a,
            open_circuit_v,
            short_circuit_a,
            alpha_a_per_k: alpha * short_circuit_a,
            beta_v_per_k: beta * open_circuit_v,
        })
}

fn module() -> Module {
    DataSheet {
        max_power_v: 18.4,
        max_power_a: 5.43,
        open_circuit_v: 22.4,
        short_circuit_a: 5.8,
        alpha_a_per_k: 0.0029,
        beta_v_per_k: -0.0695,
    }
    .fit()
    .expect("an ordinary panel")
}

proptest! {
    /// Any data sheet of an ordinary panel is met: at standard conditions, and in its open
    /// circuit's fall with temperature unless that would want a shunt that makes current.
    #[test]
    fn a_fit_meets_its_data_sheet(sheet in sheets()) {
        let module = sheet.fit().map_err(|error| TestCaseError::fail(error.to_string()))?;
        let diode = module.under(1000.0, 25.0);
        let near = |found: f64, expect: f64| (found / expect - 1.0).abs() < 1e-6;
        prop_assert!(near(diode.current_a(0.0), sheet.short_circuit_a));
        prop_assert!(near(diode.open_circuit_v(), sheet.open_circuit_v));
        prop_assert!(near(diode.current_a(sheet.max_power_v), sheet.max_power_a));
        let most_w = sheet.max_power_v * sheet.max_power_a;
        prop_assert!(near(diode.max_power().power_w(), most_w), "{:?}", diode.max_power());
        let warm_v = module.under(1000.0, 27.0).open_circuit_v();
        let missed_v = warm_v - sheet.open_circuit_v - 2.0 * sheet.beta_v_per_k;
        prop_assert!(missed_v.abs() < 1e-6 || module.shunt_ohm > 1e5, "{missed_v} {module:?}");
        prop_assert!(missed_v.abs() <= 0.8 * sheet.beta_v_per_k.abs() + 1e-6);
    }

    /// Current falls with voltage; no voltage gives more than the most power; nothing is negative
    /// at the controller; a tracking controller takes no more than there is.
    #[test]
    fn nothing_beats_the_most_power(
        light_w_m2 in 0.0_f64..1400.0,
        cell_c in -40.0_f64..90.0,
        voltage_v in 0.0_f64..30.0,
        cable_ohm in 0.0_f64..1.0,
        dirt_share in 0.0_f64..0.5,
        by_rating in proptest::bool::ANY,
    ) {
        let rated =
            Cells::Rated { rating_w: 100.0, coefficient_per_k: -0.004, max_power_v: 18.0 };
        let cells = if by_rating { rated } else { Cells::Diode(module()) };
        let panel = Panel::new(cells, dirt_share, cable_ohm).expect("a panel");
        let current_a = panel.current_a(light_w_m2, cell_c, voltage_v);
        prop_assert!(current_a >= 0.0 && current_a.is_finite());
        prop_assert!(panel.current_a(light_w_m2, cell_c, voltage_v + 1.0) <= current_a + 1e-12);
        let power_w = panel.power_w(light_w_m2, cell_c);
        prop_assert!(power_w >= 0.0);
        prop_assert!(panel.power_w(light_w_m2 + 10.0, cell_c) >= power_w || cable_ohm > 0.0);
        // A rated panel's curve is a guess; its voltage at most power is where it is said to be.
        if !by_rating {
            prop_assert!(voltage_v * current_a <= power_w + 1e-9, "{power_w}");
        }
        let mppt = Controller::new(Conversion::Mppt { efficiency: 0.96 }, 10.0, 0.1, Profile::LFP)
            .expect("a controller");
        let into_a = mppt.output_a(&panel, light_w_m2, cell_c, 13.2);
        prop_assert!(into_a <= 10.0 && 13.2 * into_a <= power_w + 1e-9);
    }
}
