//! More sun.

use plan::Supply;
use sky::Aim;

use super::*;
use crate::fixes;

/// Two nights with a panel that stands badly, and the rig of the other tests.
fn sunny(panels: &str) -> Plan {
    nights(&short(panels), 2)
}

fn panel(name: &str, stands: &str, more: &str) -> String {
    format!(
        "[sources.{name}]\npanel = \"120 W\"\n{stands}\ncontroller = {{ kind = \"MPPT\", absorb = \"14.4 V\" }}\n{more}\n"
    )
}

#[test]
fn more_sun_is_caught_by_another_panel_by_turning_and_by_a_better_stand() {
    let north = panel("panel", "tilt = \"80°\"\nazimuth = \"0°\"", "mass = \"5 kg\"\nprice = 110");
    let (_, fixes) = fixes_of(&sunny(&north));
    let another = the(&fixes, "one more panel with its controller like panel");
    assert_eq!((another.kg, another.price), (Some(5.0), Some(110.0)));
    assert!(another.gain >= 0.0, "{another:?}");
    let turned = the(&fixes, "turn panel towards the sun every 2 h");
    let stood = the(&fixes, "stand panel at a tilt of");
    // at 57° north in October the sun stands 27° high at noon
    assert!(stood.change.ends_with("azimuth 180°"), "{}", stood.change);
    let tilt: f64 =
        stood.change.split(' ').nth(6).unwrap().trim_end_matches([',', '°']).parse().unwrap();
    assert!((50.0..=70.0).contains(&tilt), "{}", stood.change);
    assert!(stood.gain > 0.1 && stood.gain <= turned.gain, "{stood:?} {turned:?}");
    assert_eq!((stood.kg, stood.price), (Some(0.0), Some(0.0)));
}

#[test]
fn a_good_stand_is_left_alone_and_a_stand_faces_the_noon_of_its_own_half_of_the_earth() {
    let good = panel("panel", "tilt = \"60°\"\nazimuth = \"180°\"", "");
    let changes = fixes::panel::changes(&sunny(&good)).unwrap();
    assert!(!changes.iter().any(|change| change.text.starts_with("stand")));
    let mut south = sunny(&panel("panel", "flat = true", ""));
    south.site.place = sky::Place::new(-42.0, 147.0, 0.0).unwrap();
    south.dates.first_evening = jiff::civil::date(2026, 6, 20);
    let changes = fixes::panel::changes(&south).unwrap();
    let stood = changes.iter().find(|change| change.text.starts_with("stand")).unwrap();
    let Supply::Panel(panel) = &stood.plan.supplies[0] else { panic!() };
    let Aim::Fixed(facing) = panel.aim else { panic!("{:?}", panel.aim) };
    assert!((50.0..=75.0).contains(&facing.tilt_deg()), "{}", stood.text);
    assert!(facing.azimuth_deg() <= 10.0 || facing.azimuth_deg() >= 350.0, "{}", stood.text);
    // on the day before one night nothing is harvested
    assert!(
        !fixes::panel::changes(&nights(&south, 1))
            .unwrap()
            .iter()
            .any(|c| c.text.starts_with("stand"))
    );
}

#[test]
fn several_panels_are_turned_together_and_their_twins_told_once() {
    let (east, west) = ("tilt = \"80°\"\nazimuth = \"60°\"", "tilt = \"80°\"\nazimuth = \"300°\"");
    let many = [panel("a", east, ""), panel("b", east, ""), panel("c", west, "mass = \"9 kg\"")]
        .join("\n");
    let changes = fixes::panel::changes(&sunny(&many)).unwrap();
    let texts: Vec<&str> = changes.iter().map(|change| change.text.as_str()).collect();
    let [a, c, turn, stand] = texts[..] else { panic!("{texts:?}") };
    assert!(a.ends_with("like a") && c.ends_with("like c"));
    assert!(
        turn.starts_with("turn all panels") && stand.starts_with("stand all panels"),
        "{texts:?}"
    );
    assert_eq!((changes[0].kg, changes[1].kg), (None, Some(9.0)));
    let all = changes[2].plan.supplies.iter();
    let tracked = |supply: &Supply| match supply {
        Supply::Panel(panel) => matches!(panel.aim, Aim::Tracked { .. }),
        Supply::Charger(_) => false,
    };
    assert!(all.clone().all(tracked) && all.count() == 3);
}
