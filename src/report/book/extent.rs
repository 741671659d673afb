//! What a book of some concerns holds: their rules, and whatever these need to be understood.

use std::collections::BTreeSet;

use crate::report::book::anchor_of;
use crate::rule_set::{
    Answer, Citation, Condition, Guarantee, Idx, Input, Limit, Piece, Rule, RuleSet, Then,
};
use crate::truth::FactSlot;

/// What each entry of a section begins with, as `BookText::heading` writes it.
const ENTRY: &str = "\n### <a id=\"";

/// A part of a rule set: some concerns, and the anchors of all that belongs to them.
#[derive(Debug)]
pub struct Extent {
    /// The ids of the concerns.
    pub concerns: Vec<String>,
    anchors: BTreeSet<String>,
}

impl Extent {
    /// The rules of these concerns and what they need: questions and what these hang on, what is worked out, limits, classes of
    /// names, sources, and anaesthetics where a rule looks at a plan of them; and the guarantees and letters about all that.
    ///
    /// # Missing data
    /// A concern that the rule set does not have adds nothing.
    pub fn of(rules: &RuleSet, concerns: &[String]) -> Self {
        let mut extent = Self {
            concerns: concerns.to_vec(),
            anchors: concerns.iter().cloned().collect(),
        };
        for rule in rules.rules().filter(|it| is_of(it, concerns)) {
            extent.anchors.insert(rule.id.clone());
            extent.condition(rules, &rule.when);
            extent.cited(rules, &rule.citations);
            for piece in rule.sentences().flat_map(|it| &it.text.pieces) {
                match piece {
                    Piece::Fact(slot) | Piece::Age(slot) => extent.fact(rules, *slot),
                    Piece::Limit(at) => extent.limit(rules, *at),
                    _ => {}
                }
            }
        }
        for it in &rules.guarantees {
            if is_about(rules, it, concerns) {
                extent.add("guarantees", &it.id);
                let conditions = it.wheres.iter().map(|(_, condition)| condition);
                conditions.for_each(|condition| extent.condition(rules, condition));
            }
        }
        for letter in &rules.letters {
            let conditions = letter.parts.iter().filter_map(|it| it.shown.condition());
            if conditions.into_iter().any(|it| extent.turns_on(rules, it)) {
                extent.add("letters", letter.kind.word());
                let passages = letter.parts.iter();
                passages.for_each(|it| extent.cited(rules, &it.citations));
            }
        }
        extent
    }

    /// Whether the thing with this anchor belongs to it.
    pub fn has(&self, anchor: &str) -> bool {
        self.anchors.contains(anchor)
    }

    /// What of a section of the book belongs to it; `None` if none of its entries does.
    pub(super) fn cut(&self, section: &str) -> Option<String> {
        let Some((lead, entries)) = section.split_once(ENTRY) else {
            return Some(section.to_owned());
        };
        let belongs = |entry: &&str| {
            let anchor = entry.split_once('"');
            anchor.is_some_and(|(anchor, _)| self.has(anchor))
        };
        let kept: Vec<&str> = entries.split(ENTRY).filter(belongs).collect();
        (!kept.is_empty()).then(|| format!("{lead}{ENTRY}{}", kept.join(ENTRY)))
    }

    /// Whether a condition looks at something that belongs to it. A list of names belongs to too much to count.
    fn turns_on(&self, rules: &RuleSet, condition: &Condition) -> bool {
        let has_fact = |slot| anchor_of(rules, slot).is_some_and(|it| self.has(it));
        condition.has(|leaf| match leaf {
            Condition::Fact { fact, .. } => has_fact(*fact),
            _ => named_here(leaf).any(|it| self.has(&it)),
        })
    }

    /// Adds a thing that is named within its kind.
    fn add(&mut self, kind: &str, name: &str) {
        self.anchors.insert(format!("{kind}/{name}"));
    }

    fn condition(&mut self, rules: &RuleSet, condition: &Condition) {
        for slot in condition.facts() {
            self.fact(rules, slot);
        }
        for at in condition.limits() {
            self.limit(rules, at);
        }
        condition.visit(&mut |leaf| {
            self.anchors.extend(named_here(leaf));
            if let Condition::Taking { medicines, .. } = leaf {
                let names = medicines
                    .iter()
                    .map(|at| &rules.medicines.medicines[at].name);
                names.for_each(|name| self.add("medicines", name));
            }
            if let Condition::AllergicTo { substances, .. } = leaf {
                let names = substances
                    .iter()
                    .map(|at| &rules.allergens.substances[at].name);
                names.for_each(|name| self.add("substances", name));
            }
        });
    }

    /// A fact with what it is computed from, or with what its question hangs on.
    fn fact(&mut self, rules: &RuleSet, slot: FactSlot) {
        let Some(anchor) = anchor_of(rules, slot) else {
            return;
        };
        if !self.anchors.insert(anchor.to_owned()) {
            return;
        }
        if let Some(derived) = rules.catalogue.derived_of(slot) {
            for input in &derived.inputs {
                match input {
                    Input::Fact(slot) => self.fact(rules, *slot),
                    Input::Limit(at, _) => self.limit(rules, *at),
                }
            }
        } else if let Some(question) = rules.catalogue.question_of(slot) {
            if question.answer == Answer::Anaesthetic {
                self.anaesthetics(rules);
            }
            if let Some(gate) = &question.ask_when {
                self.condition(rules, gate);
            }
        }
    }

    fn limit(&mut self, rules: &RuleSet, at: Idx<Limit>) {
        let limit = &rules.limits[at];
        self.add("limits", &limit.id);
        self.cited(rules, &limit.citations);
    }

    fn anaesthetics(&mut self, rules: &RuleSet) {
        for agent in &rules.agents {
            self.add("anaesthetics", &agent.id);
            let limits = agent.limits.iter();
            limits.for_each(|it| self.cited(rules, &it.citations));
        }
        for it in &rules.reductions {
            self.add("anaesthetics", &it.id);
            self.condition(rules, &it.when);
            self.cited(rules, &it.citations);
        }
    }

    fn cited(&mut self, rules: &RuleSet, citations: &[Citation]) {
        for at in citations.iter().filter_map(Citation::publication) {
            self.add("sources", &rules.publications[at].id);
        }
    }
}

/// The anchors of the classes that a condition names itself; those of single names lead nowhere.
pub(super) fn named_here(leaf: &Condition) -> impl Iterator<Item = String> {
    let (kind, named) = match leaf {
        Condition::Taking { named, .. } => ("classes", named.as_slice()),
        Condition::AllergicTo { named, .. } => ("groups", named.as_slice()),
        _ => ("", [].as_slice()),
    };
    named.iter().map(move |name| format!("{kind}/{name}"))
}

/// Whether a rule is one of these concerns'.
fn is_of(rule: &Rule, concerns: &[String]) -> bool {
    concerns.iter().any(|it| it == rule.concern_id())
}

/// Whether a guarantee is stated for one of these concerns, or names a rule of one.
fn is_about(rules: &RuleSet, guarantee: &Guarantee, concerns: &[String]) -> bool {
    let concern = guarantee.concern.map(|at| &rules.concerns[at].id);
    let names = |named: &[Idx<Rule>]| {
        let mut named = named.iter().map(|at| &rules.judging[*at]);
        named.any(|it| is_of(it, concerns))
    };
    concern.is_some_and(|it| concerns.contains(it))
        || matches!(&guarantee.then, Then::Fires(named) if names(named))
}
