//! More of the pack, and a kinder place for it.

use pack::{Housing, foam_kg};
use plan::{Plan, Supply};
use quantity::Kind;

use super::{Change, with};

pub(super) fn changes(plan: &Plan) -> Vec<Change> {
    [another(plan), warmer(plan), wait_for_warmth(plan)].into_iter().flatten().collect()
}

const IN_PARALLEL: &str = "Packs are joined in parallel only as their makers allow: alike in kind and voltage at that moment, each with its own fuse.";

/// One more like those that stand side by side, in a place like theirs; the same set once more where
/// they are unlike.
fn another(plan: &Plan) -> Option<Change> {
    let battery = &plan.battery;
    let pack = battery.one.bank(1, battery.strings + 1).ok()?;
    let name = &battery.one.name;
    let text = match battery.strings {
        1 => format!("a second pack like {name}, in parallel"),
        _ => format!("one more pack like {name}, in parallel"),
    };
    let strings = f64::from(battery.strings);
    let share = |of_all: f64| of_all / strings;
    let (kg, price) = (battery.mass_kg.map(share), battery.price.map(share));
    let changed = with(plan, |changed| {
        changed.battery.pack = pack;
        changed.battery.housing =
            battery.housing.map(|housing| housing.times((strings + 1.0) / strings));
    });
    Some(Change { caution: Some(IN_PARALLEL), ..Change::bought(text, changed, kg, price) })
}

/// The foam of a box that anyone can build.
const FOAM_M: f64 = 0.05;

const BOXED: &str = "A pack in a box is kept warm by day as by night: let it have air if its maker asks for that, and a lead-acid one always.";

/// A box of foam around the pack, where its mass is known.
fn warmer(plan: &Plan) -> Option<Change> {
    let (mass_kg, housing) = (plan.battery.mass_kg?, plan.battery.housing?);
    let boxed = Housing { heater: housing.heater, ..Housing::insulated(mass_kg, FOAM_M) };
    if boxed.loss_w_per_k > 0.9 * housing.loss_w_per_k {
        return None;
    }
    let kg = foam_kg(mass_kg, FOAM_M) - foam_kg(mass_kg, plan.battery.foam_m);
    let text = format!("the pack in a box of {:.0} mm foam", 1e3 * FOAM_M);
    let changed = with(plan, |changed| changed.battery.housing = Some(boxed));
    Some(Change { caution: Some(BOXED), ..Change::bought(text, changed, Some(kg), None) })
}

/// Not to charge the pack before it is warm enough, where nothing else stops that. It is told
/// whatever it does for the nights: a charge in frost spoils a lithium pack.
fn wait_for_warmth(plan: &Plan) -> Option<Change> {
    let (pack, air) = (&plan.battery.pack, &plan.air);
    let least_c = pack.limits.charge_least_c?;
    let coldest_c = air.night_c.value - air.night_c.plus_minus.unwrap_or(0.0);
    let waits = |supply: &Supply| supply.charges_above_c().is_some_and(|c| c >= least_c);
    if pack.limits.refuses_frost
        || coldest_c >= least_c
        || !pack.chemistry.is_some_and(pack::Chemistry::is_lithium)
        || plan.supplies.iter().all(waits)
    {
        return None;
    }
    let text = format!(
        "charge only once the pack is above {} (spares the pack)",
        Kind::Temperature.show(least_c)
    );
    let changed = with(plan, |changed| {
        for supply in changed.supplies.iter_mut().filter(|supply| !waits(supply)) {
            supply.charge_above(Some(least_c));
        }
    });
    Some(Change { spares_pack: true, ..Change::free(text, changed) })
}
