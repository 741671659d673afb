//! The anaesthetic arithmetic as JSON.

use serde::Serialize;

use super::number;
use crate::quantity::{tidy, tidy_down};
use crate::screening;

#[derive(Serialize)]
pub struct Anaesthetic<'a> {
    load: Option<f64>,
    per_agent: Vec<AgentDose<'a>>,
    earlier_share: Option<f64>,
    largest_volume_same_mix: Option<String>,
    reductions: Vec<Reduction<'a>>,
    volume_per_toe: Option<String>,
    basis: &'a [String],
}

#[derive(Serialize)]
struct Reduction<'a> {
    about: &'a str,
    share: Option<f64>,
    largest_volume_same_mix: Option<String>,
    applies: &'static str,
}

#[derive(Serialize)]
struct AgentDose<'a> {
    agent: &'a str,
    percent: Option<f64>,
    volume_ml: Option<f64>,
    dose_mg: Option<f64>,
    limit_mg: Option<f64>,
    limit_from: Option<&'a str>,
    share: Option<f64>,
}

impl<'a> Anaesthetic<'a> {
    pub fn of(it: &'a screening::Anaesthetic) -> Self {
        Self {
            load: number(it.load),
            per_agent: it.per_agent.iter().map(AgentDose::of).collect(),
            earlier_share: number(it.earlier_share),
            largest_volume_same_mix: it.largest_volume_same_mix.map(|it| format!("{} mL", tidy_down(it, 1))),
            reductions: it.reductions.iter().map(Reduction::of).collect(),
            volume_per_toe: it.volume_per_toe.map(|it| format!("{} mL", tidy(it, None))),
            basis: &it.basis,
        }
    }
}

impl<'a> Reduction<'a> {
    fn of(it: &'a screening::Reduction) -> Self {
        Self {
            about: &it.about,
            share: number(Some(it.share)),
            largest_volume_same_mix: it.largest_volume_same_mix.map(|it| format!("{} mL", tidy_down(it, 1))),
            applies: it.applies.word(),
        }
    }
}

impl<'a> AgentDose<'a> {
    fn of(it: &'a screening::AgentDose) -> Self {
        Self {
            agent: &it.agent,
            percent: number(it.percent),
            volume_ml: number(it.volume_ml),
            dose_mg: number(it.dose_mg),
            limit_mg: number(it.limit_mg),
            limit_from: it.limit_from.as_deref(),
            share: number(it.share),
        }
    }
}
