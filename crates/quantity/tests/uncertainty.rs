//! Coverage, combination and verdicts against worked cases (JCGM 100:2008, JCGM 106:2012).

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use quantity::uncertainty::{
    Accuracy, Budget, Shape, Verdict, guard_band_95, probability_at_least, rectangular, resolution,
    student_95, verdict,
};
use serde_json::Value;

fn reference(name: &str) -> Value {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/uncertainty/");
    serde_json::from_str(&std::fs::read_to_string(format!("{folder}{name}")).unwrap()).unwrap()
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or_else(|| panic!("{key} in {value}"))
}

/// Reference values were computed in double precision; this is their rounding.
fn assert_close(got: f64, expected: f64, what: &str) {
    assert!((got - expected).abs() <= 1e-6 * expected.abs().max(1e-3), "{what}: {got} {expected}");
}

fn verdict_named(value: &Value) -> Verdict {
    match value["verdict"].as_str().unwrap() {
        "meets" => Verdict::Meets,
        "falls short" => Verdict::FallsShort,
        "not settled" => Verdict::NotSettled,
        other => panic!("{other}"),
    }
}

#[test]
fn table_g2() {
    for row in reference("uncertainty.json")["coverage_factors"]["rows"].as_array().unwrap() {
        // the table has four decimals
        assert!((student_95(number(row, "dof")) - number(row, "t95")).abs() < 6e-5, "{row}");
    }
}

#[test]
fn repeat_runs() {
    let all = reference("uncertainty.json");
    let case = &all["repeat_runs"];
    let runs: Vec<f64> =
        case["runs_ah"].as_array().unwrap().iter().filter_map(Value::as_f64).collect();
    let n = runs.len() as f64;
    let mean = runs.iter().sum::<f64>() / n;
    let s = (runs.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    let accuracy = Accuracy { gain: 0.004, digits: 0.0, offset: 0.0 };
    let mut budget = Budget::default();
    budget.add("spread", s / n.sqrt(), Shape::Student { dof: n - 1.0 });
    budget.add("gain", accuracy.of_reading(mean, 0.0), Shape::Rectangular);
    assert_close(budget.standard(), number(case, "u_combined_ah"), "u");
    assert_close(budget.effective_dof(), number(case, "effective_dof"), "dof");
    assert_close(budget.coverage_95(), number(case, "k95"), "k");
    assert_close(budget.expanded_95(), number(case, "U95_ah"), "U");
}

#[test]
fn last_digits() {
    for case in reference("uncertainty.json")["resolution"]["cases"].as_array().unwrap() {
        assert_close(resolution(number(case, "resolution")), number(case, "u"), "resolution");
    }
}

#[test]
fn guarded_verdicts() {
    for case in reference("uncertainty.json")["guarded_verdicts"]["cases"].as_array().unwrap() {
        let [label, measured, u] = ["label_ah", "measured_ah", "u_ah"].map(|key| number(case, key));
        assert_eq!(verdict(label, measured, u, f64::INFINITY), verdict_named(case), "{case}");
        let probability = number(case, "probability_that_true_is_at_least_label");
        assert!((probability_at_least(label, measured, u) - probability).abs() < 1e-9, "{case}");
        // given as 1.645 u
        let band = number(case, "guard_band_ah_95_one_sided");
        assert!((guard_band_95(u, f64::INFINITY) - band).abs() < 2e-4 * u, "{case}");
    }
    let more = reference("uncertainty_more.json");
    let case = &more["guarded_acceptance"];
    let [limit, measured, u] =
        ["lower_limit_ah", "measured_ah", "u_ah"].map(|key| number(case, key));
    assert_close(
        guard_band_95(u, f64::INFINITY),
        number(case, "guard_band_95_one_sided_ah"),
        "guard band",
    );
    assert_ne!(verdict(limit, measured, u, f64::INFINITY), Verdict::Meets);
    assert_close(
        probability_at_least(limit, measured, u),
        number(case, "conformance_probability"),
        "probability",
    );
}

#[test]
fn single_parts() {
    assert_close(rectangular(3.0_f64.sqrt()), 1.0, "a/√3");
    // the reference shows a display of 0.01 A at 4 A over ten hours
    let more = reference("uncertainty_more.json");
    let run = &more["integrated_runs"][0];
    assert_close(resolution(0.01) * 10.0, number(&run["u_parts_ah"], "resolution"), "digit");
    assert_close(rectangular(0.005) * 40.0, number(&run["u_parts_ah"], "gain"), "gain");
}

#[test]
fn published_probabilities() {
    let more = reference("uncertainty_more.json");
    for case in more["published_examples_from_memory"]["cases"].as_array().unwrap() {
        let [limit, measured, u] =
            ["tolerance_limit", "measured", "u"].map(|key| number(case, key));
        let at_least = probability_at_least(limit, measured, u);
        let conforms = if case["limit"] == "upper" { 1.0 - at_least } else { at_least };
        assert_close(conforms, number(case, "conformance_probability"), "probability");
        // printed to two digits
        assert!((conforms - number(case, "published")).abs() <= 0.005, "{case}");
    }
}
