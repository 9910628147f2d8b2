//! Weight against price.

use std::collections::HashSet;

use super::SizeAsked;
use super::told::kg;
use crate::chart::{Chart, Ink, Layer, Note, Panel, XAxis};
use crate::page::Block;
use crate::words::{listed, price};

const CAPTION: &str = "Each dot is one combination. Green, numbered as in the table: those that carry every night and that none beats on weight and price; whatever lies to the upper right of the green line is beaten. Grey: too weak; where many are close, one stands for them.";

/// Dots nearer than this share of either axis are one.
const GRID: f64 = 60.0;

pub(super) fn figure(sized: &SizeAsked<'_>) -> Block {
    let SizeAsked { catalogue, sizing, .. } = sized;
    let front: Vec<(f64, f64)> =
        sizing.choices.iter().map(|choice| (choice.price, choice.kg)).collect();
    let most = |of: fn(&(f64, f64)) -> f64| {
        let failed = sizing.failed.iter().map(|(kg, price)| (*price, *kg));
        failed.chain(front.iter().copied()).map(|point| of(&point)).fold(1.0, f64::max)
    };
    let (most_price, most_kg) = (most(|point| point.0), most(|point| point.1));
    let mut seen = HashSet::new();
    let failed: Vec<(f64, f64)> = sizing
        .failed
        .iter()
        .map(|&(kg, price)| (price, kg))
        .filter(|(price, kg)| {
            let cell = |share: f64| (GRID * share).round() as i64;
            seen.insert((cell(price / most_price), cell(kg / most_kg)))
        })
        .collect();
    let mut panel = Panel::new("Weight (kg)");
    panel.height_px = 300.0;
    panel.layers = vec![Layer::dots("fails", Ink::Quiet, failed)];
    if let Some(&(_, lightest_kg)) = front.last() {
        // whatever is dearer and heavier than the lightest is beaten too
        let edge = (most_price, lightest_kg);
        let line: Vec<(f64, f64)> = front.iter().copied().chain([edge]).collect();
        panel.layers.push(Layer::steps("", Ink::Three, line));
        panel.layers.push(Layer::dots("carries, not beaten", Ink::Three, front.clone()));
    }
    panel.notes = front
        .iter()
        .enumerate()
        .map(|(at, &at_point)| Note { at: at_point, text: (at + 1).to_string(), ink: Ink::Three })
        .collect();
    let told: Vec<String> = sizing
        .choices
        .iter()
        .map(|choice| format!("{} at {} kg", price(choice.price), kg(choice.kg)))
        .collect();
    let description = if told.is_empty() {
        "No combination carries every night.".to_owned()
    } else {
        format!("Those that carry and are not beaten: {}.", listed(&told))
    };
    let chart = Chart {
        title: "Weight against price".to_owned(),
        description,
        x: XAxis::Number { title: format!("Price ({})", catalogue.currency) },
        panels: vec![panel],
        spans: Vec::new(),
        marks: Vec::new(),
    };
    Block::Figure(chart, CAPTION.to_owned())
}
