//! Answers that only one of two rule sets accepts, so that nobody who gives them can be judged by both.
//!
//! Options, reactions, agents and numbers that the other refuses are not compared, and said so.
//! Another unit under one name is refused.

use crate::quantity::tidy;
use crate::rule_set::RuleSet;

/// Each such answer in a few words, those that only the old one accepts first.
pub(crate) fn refused_by_one(old: &RuleSet, new: &RuleSet) -> Vec<String> {
    let mut found = Vec::new();
    for (this, other, whose) in [(old, new, "only before"), (new, old, "only now")] {
        let mut add = |what: String| found.push(format!("{what}: {whose}"));
        for question in &this.catalogue.questions {
            let Some(there) = other.catalogue.question(&question.id) else {
                continue;
            };
            let known = |id: &str| there.options().iter().any(|option| option.id == id);
            for option in question.options().iter().filter(|it| !known(&it.id)) {
                add(format!("{} as {}", question.id, option.id));
            }
            if question.plausible != there.plausible
                && let Some((low, high)) = question.plausible
                && there.plausible.is_some_and(|it| low < it.0 || high > it.1)
            {
                add(format!(
                    "{} from {} to {}",
                    question.id,
                    tidy(low, None),
                    tidy(high, None)
                ));
            }
        }
        if let Some(plan) = this
            .catalogue
            .anaesthetic
            .filter(|_| other.catalogue.anaesthetic.is_some())
        {
            let plan = this.catalogue.id(plan);
            for agent in &this.agents {
                match other.agents.iter().find(|it| it.id == agent.id) {
                    None => add(format!("{plan} with {}", agent.id)),
                    Some(it)
                        if agent.strengths.0 < it.strengths.0
                            || agent.strengths.1 > it.strengths.1 =>
                    {
                        add(format!(
                            "{plan} with {} from {} to {} %",
                            agent.id,
                            tidy(agent.strengths.0, None),
                            tidy(agent.strengths.1, None)
                        ));
                    }
                    Some(_) => {}
                }
            }
        }
        let reactions = &other.allergens.reactions;
        let unknown = |id: &str| !reactions.iter().any(|reaction| reaction.id == id);
        for reaction in this.allergens.reactions.iter().filter(|it| unknown(&it.id)) {
            add(format!("the reaction {}", reaction.id));
        }
    }
    found
}
