//! How warm a battery gets in its place: one lump of heat, warmed by its own losses.

use crate::{Circuit, Climate, State};

/// The heat a battery holds, and how it loses it: `C dT/dt = heat − G (T − air)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Housing {
    /// Heat it takes to warm it by one kelvin, in J/K.
    pub heat_j_per_k: f64,
    /// Heat lost per kelvin above the air, in W/K.
    pub loss_w_per_k: f64,
    /// A heater of its own, where it has one.
    pub heater: Option<Heater>,
}

/// A heater that goes on when it is cold and off when it is warm enough.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heater {
    /// What it draws.
    pub power_w: f64,
    /// It goes on below this.
    pub on_below_c: f64,
    /// It goes off above this.
    pub off_above_c: f64,
}

/// Specific heat of batteries: about 1000 J/(kg·K) for lithium cells and 900 for lead-acid (from
/// memory of published calorimetry).
const HEAT_J_PER_KG_K: f64 = 950.0;
/// A battery weighs about 2 kg a litre (from memory of data sheets).
const KG_PER_M3: f64 = 2000.0;
/// Still air and radiation at a small body, in W/(m²·K) (common practice, no source).
const STILL_AIR_W_PER_M2_K: f64 = 8.0;
/// Rigid foam, in W/(m·K) (from memory of data sheets).
const FOAM_W_PER_M_K: f64 = 0.035;

impl Housing {
    /// A battery of this mass in the open, in still air.
    #[must_use]
    pub fn open(mass_kg: f64) -> Self {
        Self {
            heat_j_per_k: HEAT_J_PER_KG_K * mass_kg,
            loss_w_per_k: STILL_AIR_W_PER_M2_K * surface_m2(mass_kg),
            heater: None,
        }
    }

    /// A battery of this mass in a box of foam of this thickness.
    #[must_use]
    pub fn insulated(mass_kg: f64, foam_m: f64) -> Self {
        let per_m2 = 1.0 / (1.0 / STILL_AIR_W_PER_M2_K + foam_m.max(0.0) / FOAM_W_PER_M_K);
        Self { loss_w_per_k: per_m2 * surface_m2(mass_kg), ..Self::open(mass_kg) }
    }

    /// So many times as much of the battery, each part in its own place: it holds, loses and is
    /// given so many times the heat.
    #[must_use]
    pub fn times(&self, factor: f64) -> Self {
        let heater =
            self.heater.map(|heater| Heater { power_w: factor * heater.power_w, ..heater });
        Self {
            heat_j_per_k: factor * self.heat_j_per_k,
            loss_w_per_k: factor * self.loss_w_per_k,
            heater,
        }
    }

    /// The time in which it follows the air by 63 %, in s.
    #[must_use]
    pub fn time_s(&self) -> f64 {
        self.heat_j_per_k / self.loss_w_per_k
    }

    /// Its temperature in °C after `dt_s` in air of `air_c` with so much heat in W put into it;
    /// exact for a constant heat and air.
    #[must_use]
    pub fn after(&self, temperature_c: f64, air_c: f64, heat_w: f64, dt_s: f64) -> f64 {
        self.left(temperature_c, air_c, heat_w, self.kept(dt_s))
    }

    /// How much of a difference to the air is left after `dt_s`, as a share.
    #[must_use]
    pub fn kept(&self, dt_s: f64) -> f64 {
        (-dt_s / self.time_s()).exp()
    }

    /// As [`Housing::after`] a time whose [`Housing::kept`] is known.
    #[must_use]
    pub fn left(&self, temperature_c: f64, air_c: f64, heat_w: f64, kept: f64) -> f64 {
        let rest_c = air_c + heat_w / self.loss_w_per_k;
        rest_c + (temperature_c - rest_c) * kept
    }
}

/// Rigid foam weighs so much (from memory of data sheets).
const FOAM_KG_PER_M3: f64 = 30.0;

/// Mass of a box of foam of this thickness around a battery of this mass (kg): the foam alone, close
/// around a battery of the usual shape.
#[must_use]
pub fn foam_kg(mass_kg: f64, foam_m: f64) -> f64 {
    let edge_m = edge_m(mass_kg);
    let outside_m = edge_m + 2.0 * foam_m.max(0.0);
    let volume_m3 = (outside_m + edge_m) * outside_m * outside_m - 2.0 * edge_m.powi(3);
    FOAM_KG_PER_M3 * volume_m3
}

impl Heater {
    /// Whether it is on at this temperature, having been on before or not.
    #[must_use]
    pub fn is_on(&self, temperature_c: f64, was_on: bool) -> bool {
        temperature_c < if was_on { self.off_above_c } else { self.on_below_c }
    }
}

/// The surface of a body of a battery's usual shape, twice as long as wide and high.
fn surface_m2(mass_kg: f64) -> f64 {
    // edges 2a, a, a: surface 10a²
    10.0 * edge_m(mass_kg).powi(2)
}

/// The shorter edge of such a body, whose volume is 2a³.
fn edge_m(mass_kg: f64) -> f64 {
    (mass_kg.max(0.0) / KG_PER_M3 / 2.0).cbrt()
}

impl Circuit {
    /// Heat in W that a current sets free inside: in both resistances, and in what the wells
    /// hold back of the voltage that the charge would have at rest.
    #[must_use]
    pub fn heat_w(&self, state: &State, current_a: f64, climate: &Climate) -> f64 {
        let rested = State::rested(state.soc);
        let level = State { v1_v: 0.0, ..*state };
        let held_back_v = self.internal_v(&rested, climate) - self.internal_v(&level, climate);
        let r0_ohm = if current_a < 0.0 {
            self.r0_charging_at(state, climate)
        } else {
            self.r0_at(state, climate)
        };
        let r1_ohm = self.r1_ohm * climate.resistance;
        let slow_w = if r1_ohm > 0.0 { state.v1_v * state.v1_v / r1_ohm } else { 0.0 };
        current_a * current_a * r0_ohm + slow_w + current_a * held_back_v
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Chemistry, Pack};

    #[test]
    fn follows_the_air_and_settles_above_it() {
        let box_of_foam = Housing::insulated(6.0, 0.03);
        let open = Housing::open(6.0);
        // 6 kg: about 5.7 kJ/K and 0.13 m² make 1.5 h in the open and five to eight times that in
        // 30 mm of foam
        assert!((1.2..2.0).contains(&(open.time_s() / 3600.0)), "{}", open.time_s());
        let ratio = box_of_foam.time_s() / open.time_s();
        assert!((5.0..8.5).contains(&ratio), "{ratio}");
        let by_minutes = (0..600).fold(20.0, |t_c, _| open.after(t_c, -5.0, 3.0, 60.0));
        let at_once = open.after(20.0, -5.0, 3.0, 36_000.0);
        assert!((by_minutes - at_once).abs() < 1e-9, "{by_minutes} {at_once}");
        let settled = open.after(20.0, -5.0, 3.0, 1e7);
        assert!((settled - (-5.0 + 3.0 / open.loss_w_per_k)).abs() < 1e-9);
    }

    #[test]
    fn heat_is_what_the_terminals_do_not_get() {
        let circuit = Pack::typical(Chemistry::Lfp, 50.0).unwrap().circuit;
        let (mut state, mut heat_wh, mut out_wh) = (State::rested(1.0), 0.0, 0.0);
        let held_wh = circuit.stored_wh(&state, &Climate::MILD);
        let step = circuit.step(1.0, &Climate::MILD);
        while state.soc > 0.2 {
            let before = state;
            circuit.advance_by(&mut state, 20.0, &step);
            for moment in [&before, &state] {
                heat_wh += 0.5 * circuit.heat_w(moment, 20.0, &Climate::MILD) / 3600.0;
                let terminal_v = circuit.terminal_v(moment, 20.0, &Climate::MILD);
                out_wh += 0.5 * 20.0 * terminal_v / 3600.0;
            }
        }
        let taken_wh = held_wh - circuit.stored_wh(&state, &Climate::MILD);
        // by trapezoids of one second
        assert!((taken_wh - out_wh - heat_wh).abs() < 1e-3, "{taken_wh} {out_wh} {heat_wh}");
        assert!(heat_wh > 10.0);
        // charging warms too
        assert!(circuit.heat_w(&State::rested(0.5), -20.0, &Climate::MILD) > 0.0);
    }

    #[test]
    fn two_in_their_own_places_cool_as_one_does() {
        let heater = Some(Heater { power_w: 20.0, on_below_c: 2.0, off_above_c: 8.0 });
        let one = Housing { heater, ..Housing::open(6.0) };
        let two = one.times(2.0);
        assert!((two.time_s() - one.time_s()).abs() < 1e-9);
        // the same heat warms each of two half as far
        let rise_k = |housing: Housing| housing.after(5.0, 5.0, 12.0, 1e9) - 5.0;
        assert!((rise_k(two) - 0.5 * rise_k(one)).abs() < 1e-9);
        assert_eq!(two.heater.map(|heater| heater.power_w), Some(40.0));
    }

    #[test]
    fn a_box_weighs_what_its_walls_do() {
        // 4 kg are 2 l, 20 by 10 by 10 cm; 5 cm of foam around them fill 30 by 20 by 20 cm
        assert!((foam_kg(4.0, 0.05) - 0.03 * (12.0 - 2.0)).abs() < 1e-9);
        assert_eq!(foam_kg(4.0, 0.0), 0.0);
    }

    #[test]
    fn heater_has_two_thresholds() {
        let heater = Heater { power_w: 20.0, on_below_c: 2.0, off_above_c: 8.0 };
        for (temperature_c, was_on, on) in
            [(1.0, false, true), (5.0, false, false), (5.0, true, true), (9.0, true, false)]
        {
            assert_eq!(heater.is_on(temperature_c, was_on), on, "{temperature_c} {was_on}");
        }
    }
}
