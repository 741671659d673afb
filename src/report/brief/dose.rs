//! The anaesthetic plan against the strictest limit that is for this patient, or may be: the one row that a hurried eye reads.

use crate::formulas::anaesthetic::reduced_mg;
use crate::quantity::{tidy, tidy_beside, tidy_down};
use crate::report::words::{DECIMALS, dose_beside};
use crate::screening::result::{AgentDose, Anaesthetic, Applies};

/// A plan against its strictest limit.
#[derive(Debug, Clone, PartialEq)]
pub struct DoseBrief {
    /// Each planned agent.
    pub agents: Vec<AgentBrief>,
    /// How much of the strictest limit all of it comes to, what was given before included: 1 is all of it; `None` while it
    /// cannot be worked out.
    pub share: Option<f64>,
    /// Whether it is above that limit.
    pub is_above: bool,
    /// Which limit is the strictest, and whether it is known to be for this patient.
    pub limit: String,
    /// What it comes to, in words; never rounded across the limit.
    pub told: Vec<String>,
}

/// A planned agent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AgentBrief {
    /// "lidocaine 2 %, 3 mL".
    pub plan: String,
    /// "60.0 mg"; `None` while it is not known.
    pub dose: Option<String>,
    /// The most that the strictest limit allows, rounded down: "160.0 mg"; `None` while it is not known.
    pub most: Option<String>,
}

impl DoseBrief {
    /// The arithmetic in short.
    pub fn of(anaesthetic: &Anaesthetic) -> Self {
        let strictest = anaesthetic.strictest();
        let left = strictest.map_or(1.0, |it| it.share);
        let limit = strictest.map_or_else(
            || "usual limit".to_owned(),
            |it| {
                let known = match it.applies {
                    Applies::Yes => "limit",
                    Applies::NotKnownYet => "limit if it is",
                };
                format!(
                    "{known} for {}: {} of the usual",
                    it.about,
                    tidy(it.share, None)
                )
            },
        );
        let is_above = anaesthetic.load.is_some_and(|load| load > left);
        let volume = match strictest {
            Some(it) => it.largest_volume_same_mix,
            None => anaesthetic.largest_volume_same_mix,
        };
        let share = anaesthetic.load.map(|load| load / left);
        Self {
            agents: anaesthetic
                .per_agent
                .iter()
                .map(|it| agent(it, left))
                .collect(),
            share,
            is_above,
            limit,
            told: told(anaesthetic, share, is_above, volume),
        }
    }
}

impl DoseBrief {
    /// All of it: "lidocaine 2 %, 3 mL: 60.0 mg of at most 160.0 mg (limit for age: 0.8 of the usual); 0.375 of it; ...".
    pub fn in_words(&self) -> String {
        let known = |it: &Option<String>| it.clone().unwrap_or_else(|| "not known".to_owned());
        let agent = |it: &AgentBrief| {
            format!(
                "{}: {} of at most {}",
                it.plan,
                known(&it.dose),
                known(&it.most)
            )
        };
        let agents: Vec<String> = self.agents.iter().map(agent).collect();
        let alone = if agents.len() > 1 { ", each alone" } else { "" };
        format!(
            "{}{alone} ({}); {}",
            agents.join(", "),
            self.limit,
            self.told.join("; ")
        )
    }
}

fn agent(it: &AgentDose, left: f64) -> AgentBrief {
    let with =
        |value: Option<f64>, unit: &str| value.map(|it| format!("{} {unit}", tidy(it, None)));
    let plan: Vec<String> = [with(it.percent, "%"), with(it.volume_ml, "mL")]
        .into_iter()
        .flatten()
        .collect();
    let most = it.limit_mg.and_then(|limit| reduced_mg(limit, left));
    AgentBrief {
        plan: format!("{} {}", it.agent, plan.join(", ")),
        dose: it
            .dose_mg
            .map(|dose| format!("{} mg", dose_beside(dose, most))),
        most: most.map(|it| format!("{} mg", tidy_down(it, 1))),
    }
}

fn told(
    anaesthetic: &Anaesthetic,
    share: Option<f64>,
    is_above: bool,
    volume: Option<f64>,
) -> Vec<String> {
    let mut told = vec![match share {
        None => "how much of it cannot be worked out yet".to_owned(),
        Some(share) if is_above => {
            format!(
                "{} of it, ABOVE the limit",
                tidy_beside(share, DECIMALS, 1.0)
            )
        }
        Some(share) => format!("{} of it", tidy_beside(share, DECIMALS, 1.0)),
    }];
    if let Some(earlier) = anaesthetic.earlier_share {
        told.push(format!(
            "what was given before counts: {} of the usual limit",
            tidy_beside(earlier, DECIMALS, 1.0)
        ));
    }
    match volume {
        Some(volume) => told.push(format!(
            "reached at {} mL of this mixture",
            tidy_down(volume, 1)
        )),
        None if share.is_some() => told.push("nothing is left of it".to_owned()),
        None => {}
    }
    told
}
