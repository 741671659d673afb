//! What to ask: the missing answers, why each is missing, and how it is entered.
//!
//! A name that nobody recognised stands before all else: rules and questions that it alone calls
//! for, found by screening the patient without it, are counted in reports, left out of the chase
//! list, and marked in the JSON.

use std::collections::{BTreeMap, BTreeSet};

use crate::formulas::RoleKind;
use crate::formulas::formula::Amount;
use crate::outcome::Outcome;
use crate::outcome::State;
use crate::questionnaire::facts::answers::strangers;
use crate::questionnaire::facts::{
    AllergyEntry, Fact, Facts, Known, MedicineEntry, Missing, Value, truth_of,
};
use crate::rule_set::catalogue::Who;
use crate::rule_set::{Answer, Choice, Condition, FactKind, Question, Rule, RuleSet};
use crate::screening::compile::Compiled;
use crate::screening::evaluate::{States, of_state};
use crate::screening::explain;
use crate::screening::result::{PatientWording, ToAsk, Undetermined, WhyAsked};
use crate::truth::{FactSlot, Truth};

/// Most substances named of those that a word for several may mean.
const MOST_NAMED: usize = 3;

/// What would still be open if every name that nobody recognised turned out to be harmless.
struct BesideNames<'a> {
    rules: BTreeSet<&'a str>,
    answers: BTreeSet<FactSlot>,
}

impl<'a> BesideNames<'a> {
    /// Screens the patient without those names; `None` if every name was recognised.
    fn of(rule_set: &'a RuleSet, compiled: &Compiled, facts: &Facts) -> Option<Self> {
        let lists: BTreeSet<FactSlot> = strangers(facts).iter().map(|it| it.slot).collect();
        let recognised =
            |slot: FactSlot| Some((slot, Fact::Known(without_strangers(facts.known(slot)?))));
        let changes: Vec<(FactSlot, Fact)> = lists.into_iter().filter_map(recognised).collect();
        if changes.is_empty() {
            return None;
        }
        let facts = facts.with(rule_set, &changes);
        let open = of_state(rule_set, &compiled.run(&facts), State::Undetermined);
        let answers = open
            .iter()
            .flat_map(|it| explain::waits_for(&it.when, &facts))
            .collect();
        Some(Self {
            rules: open.iter().map(|it| it.id.as_str()).collect(),
            answers,
        })
    }

    /// Whether a rule waits for nothing but such a name.
    fn settles(&self, rule: &Rule) -> bool {
        !self.rules.contains(rule.id.as_str())
    }
}

fn without_strangers(known: &Known) -> Known {
    let mut known = known.clone();
    match &mut known.value {
        Value::Medicines(entries) => entries.retain(|it| it.medicine.is_some()),
        Value::Allergies(entries) => entries.retain(|it| it.substances.is_some()),
        _ => {}
    }
    known
}

/// What is still open about a patient.
#[derive(Debug)]
pub(crate) struct Open {
    /// The rules that cannot be decided yet, worst first; among equals by concern, then in file order.
    pub undetermined: Vec<Undetermined>,
    /// The answers they wait for.
    pub to_ask: Vec<ToAsk>,
}

impl Open {
    /// What is open while the rules are in these states.
    pub(crate) fn of(
        rule_set: &RuleSet,
        compiled: &Compiled,
        facts: &Facts,
        states: &States,
    ) -> Self {
        let rules = of_state(rule_set, states, State::Undetermined);
        let open: Vec<(&Rule, BTreeSet<FactSlot>)> = rules
            .into_iter()
            .map(|rule| (rule, explain::waits_for(&rule.when, facts)))
            .collect();
        let beside_names = BesideNames::of(rule_set, compiled, facts);
        let undetermined = open.iter().map(|(rule, waits_for)| Undetermined {
            rule: rule.id.clone(),
            concern: rule.concern_id().to_owned(),
            title: rule.title.clone(),
            outcome_if_fires: rule.outcome,
            urgency: rule.urgency,
            waits_for: waits_for
                .iter()
                .map(|slot| rule_set.catalogue.id(*slot).to_owned())
                .collect(),
            for_a_name: beside_names.as_ref().is_some_and(|it| it.settles(rule)),
        });
        let undetermined: Vec<Undetermined> = undetermined.collect();
        Self {
            to_ask: to_ask(rule_set, facts, &open, &undetermined, beside_names.as_ref()),
            undetermined,
        }
    }
}

/// The missing answers, each once; those that could lead to the worst outcome first, then in the
/// order they are asked.
fn to_ask(
    rule_set: &RuleSet,
    facts: &Facts,
    open: &[(&Rule, BTreeSet<FactSlot>)],
    undetermined: &[Undetermined],
    beside_names: Option<&BesideNames<'_>>,
) -> Vec<ToAsk> {
    let mut rules_of: BTreeMap<FactSlot, Vec<usize>> = BTreeMap::new();
    for (at, (_, slots)) in open.iter().enumerate() {
        for slot in slots {
            rules_of.entry(*slot).or_default().push(at);
        }
    }
    let mut found: Vec<ToAsk> = Vec::new();
    for (slot, at) in rules_of {
        let Some(question) = rule_set.catalogue.question_of(slot) else {
            continue;
        };
        let waiting: Vec<&Undetermined> =
            at.iter().filter_map(|at| undetermined.get(*at)).collect();
        let rules: Vec<&Rule> = at
            .iter()
            .filter_map(|at| open.get(*at))
            .map(|(rule, _)| *rule)
            .collect();
        let is_date = matches!(rule_set.catalogue.fact(slot).kind, FactKind::TakenOn(_));
        let why = match facts.get(slot) {
            Fact::Missing(Missing { why, .. }) => WhyAsked::Missing(*why),
            Fact::Known(known) => WhyAsked::Unsettled(unsettled(rule_set, facts, known, &rules)),
        };
        let worst = waiting
            .iter()
            .map(|it| (it.outcome_if_fires, it.urgency))
            .max();
        // Asked only in certain situations, and it is not yet known whether this is one.
        let depends = matches!(
            truth_of::applies(question, &rule_set.catalogue, facts),
            Truth::Unknown(_)
        );
        let options = if is_date {
            &[]
        } else {
            rule_set.catalogue.options(slot)
        };
        found.push(ToAsk {
            fact: rule_set.catalogue.id(slot).to_owned(),
            ask: rule_set.catalogue.wording(slot),
            to_patient: (question.from == Who::Patient && !is_date).then(|| PatientWording {
                ask: question
                    .ask_patient
                    .as_ref()
                    .unwrap_or(&question.ask)
                    .clone(),
                options: options
                    .iter()
                    .map(|it| it.text_patient.as_ref().unwrap_or(&it.text).clone())
                    .collect(),
            }),
            from: question.from,
            why,
            options: options.iter().map(|it| it.text.clone()).collect(),
            several: !is_date && matches!(question.answer, Answer::SeveralOf(_)),
            entry: entry(question),
            could_lead_to: worst.map_or(Outcome::Go, |it| it.0),
            urgency: worst.and_then(|it| it.1),
            rules: waiting.iter().map(|it| it.rule.clone()).collect(),
            depends,
            for_a_name: beside_names.is_some_and(|it| !it.answers.contains(&slot)),
        });
    }
    found.sort_by_key(|it| {
        (
            it.depends,
            std::cmp::Reverse((it.could_lead_to, it.urgency)),
        )
    });
    found
}

/// The key of an answer and how it is written. What is to be filled in is `...`, which no answer can be.
pub fn entry(question: &Question) -> String {
    let ids = |options: &[Choice], between: &str| {
        let ids: Vec<&str> = options.iter().map(|it| it.id.as_str()).collect();
        ids.join(between)
    };
    let value = match &question.answer {
        Answer::YesNo => "yes | no".to_owned(),
        Answer::OneOf(options) => ids(options, " | "),
        Answer::SeveralOf(options) => format!("[...] of {}", ids(options, ", ")),
        Answer::Number { .. } | Answer::Text => "...".to_owned(),
        Answer::Quantity { unit, .. } => format!("... {unit}"),
        Answer::Date => "YYYY-MM-DD".to_owned(),
        Answer::Medicines => "[{ name: ..., daily: ... mg, for: ... months }]".to_owned(),
        Answer::Allergies => "[{ to: ..., reaction: ... }]".to_owned(),
        Answer::Anaesthetic => "[{ agent: ..., strength: ... %, volume: ... mL }]".to_owned(),
    };
    let value = if question.dated {
        format!("{{ value: {value}, taken_on: YYYY-MM-DD }}")
    } else {
        value
    };
    format!("{}: {value}", question.id)
}

/// Why an answer that was given settles nothing: of a list, the entries that leave these rules open.
fn unsettled(rule_set: &RuleSet, facts: &Facts, known: &Known, rules: &[&Rule]) -> String {
    let parts = match &known.value {
        Value::Medicines(entries) => medicines(rule_set, facts, entries, rules),
        Value::Allergies(entries) => allergies(rule_set, entries, rules),
        _ => Vec::new(),
    };
    if parts.is_empty() {
        "answered, but that does not settle it".to_owned()
    } else {
        parts.join("; ")
    }
}

fn not_recognised<'a>(names: impl Iterator<Item = &'a str>) -> Option<String> {
    let names: BTreeSet<String> = names.map(|it| format!("\"{it}\"")).collect();
    let names: Vec<String> = names.into_iter().collect();
    let are = if names.len() == 1 { "is" } else { "are" };
    (!names.is_empty()).then(|| format!("{} {are} not recognised", names.join(", ")))
}

/// Names that nobody recognised, and steroids whose dose or duration these rules read and nobody gave.
fn medicines(
    rule_set: &RuleSet,
    facts: &Facts,
    entries: &[MedicineEntry],
    rules: &[&Rule],
) -> Vec<String> {
    let reads = |wanted: Amount| {
        let is_wanted =
            |kind: RoleKind| matches!(kind, RoleKind::Medicines { amount, .. } if amount == wanted);
        let unknown = rule_set
            .catalogue
            .derived
            .iter()
            .filter(|derived| facts.known(derived.slot).is_none());
        let derived = unknown.filter(|derived| {
            derived
                .formula
                .roles
                .iter()
                .any(|role| is_wanted(role.kind))
        });
        let slots: Vec<FactSlot> = derived.map(|it| it.slot).collect();
        let reads =
            |it: &Condition| matches!(it, Condition::Fact { fact, .. } if slots.contains(fact));
        rules.iter().any(|rule| rule.when.has(reads))
    };
    let (dose, duration) = (reads(Amount::Daily), reads(Amount::Days));
    let strangers = not_recognised(
        entries
            .iter()
            .filter(|it| it.medicine.is_none())
            .map(|it| it.text.as_str()),
    );
    let lacking = entries.iter().filter_map(|entry| {
        let medicine = Some(&rule_set.medicines.medicines[entry.medicine?])
            .filter(|it| it.as_prednisolone.is_some())?;
        let lacks = match (
            dose && entry.daily_mg.is_none(),
            duration && entry.days.is_none(),
        ) {
            (true, true) => {
                "the dose of a whole day and for how long it has been taken are missing"
            }
            (true, false) => "the dose of a whole day is missing",
            (false, true) => "for how long it has been taken is missing",
            (false, false) => return None,
        };
        Some(format!(
            "of \"{}\" {lacks}: write {{ name: {}, daily: ... mg, for: ... months }}",
            entry.shown(),
            medicine.name
        ))
    });
    strangers.into_iter().chain(lacking).collect()
}

/// Names that nobody recognised, words that may mean several things, and reactions that nobody told.
fn allergies(rule_set: &RuleSet, entries: &[AllergyEntry], rules: &[&Rule]) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    found.extend(not_recognised(
        entries
            .iter()
            .filter(|it| it.substances.is_none())
            .map(|it| it.text.as_str()),
    ));
    for entry in entries {
        let Some(meant) = &entry.substances else {
            continue;
        };
        let (mut perhaps, mut reaction) = (BTreeSet::new(), false);
        for rule in rules {
            rule.when.visit(&mut |it| {
                let Condition::AllergicTo {
                    substances,
                    reactions,
                    ..
                } = it
                else {
                    return;
                };
                if truth_of::entry_allergic(entry, substances, reactions.as_ref()).is_some() {
                    return;
                }
                if !meant.within(substances) || meant.is_empty() {
                    perhaps.extend(meant.iter().filter(|at| substances.contains(*at)));
                }
                reaction |= reactions.is_some() && entry.reaction.is_none();
            });
        }
        let names: Vec<&str> = perhaps
            .iter()
            .map(|at| rule_set.allergens.substances[*at].name.as_str())
            .collect();
        if !names.is_empty() {
            let (named, others) = names.split_at(MOST_NAMED.min(names.len()));
            let named = named.join(", ");
            let more = match others.len() {
                0 => String::new(),
                n => format!(" and {n} more"),
            };
            found.push(format!(
                "\"{}\" may be an allergy to {named}{more}: name what it is to",
                entry.text
            ));
        }
        if reaction {
            found.push(format!("the reaction to \"{}\" is not known", entry.text));
        }
    }
    found
}
