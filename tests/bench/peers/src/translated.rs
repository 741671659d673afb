//! People and conditions as general-purpose engines take them: facts by name, and an expression.

use preblock::inner::questionnaire::facts::{Facts, Value};
use preblock::inner::rule_set::{Comparison, Condition, RuleSet, Test};
use preblock::inner::truth::FactSlot;
use serde_json::{Map, Value as Json, json};

/// The facts of one person that the conditions look at, by name.
pub type Person = Map<String, Json>;

/// The person, if all that the rules look at is known.
pub fn person(rules: &RuleSet, facts: &Facts) -> Option<Person> {
    let mut slots = Vec::new();
    rules.judging.iter().for_each(|it| slots_of(&it.when, &mut slots));
    let fact = |slot: &FactSlot| {
        let value = match &facts.known(*slot)?.value {
            Value::Choice(at) => json!(word(rules, *slot, *at)),
            Value::Choices(bits) => (0..64).filter(|at| bits >> at & 1 == 1).map(|at| json!(word(rules, *slot, at))).collect(),
            Value::Number(number) => json!(number),
            _ => return None,
        };
        Some((name(rules, *slot), value))
    };
    slots.iter().map(fact).collect()
}

fn slots_of(condition: &Condition, slots: &mut Vec<FactSlot>) {
    match condition {
        Condition::All(parts) | Condition::Any(parts) => parts.iter().for_each(|it| slots_of(it, slots)),
        Condition::Not(part) => slots_of(part, slots),
        Condition::Fact { fact, .. } => slots.push(*fact),
        other => unreachable!("{other:?} is none of the conditions"),
    }
}

fn name(rules: &RuleSet, slot: FactSlot) -> String {
    rules.catalogue.id(slot).replace('.', "_")
}

/// The id of an option; yes or no where there are none.
fn word(rules: &RuleSet, slot: FactSlot, at: u16) -> String {
    let options = rules.catalogue.options(slot);
    options.get(usize::from(at)).map_or_else(|| ["no", "yes"][usize::from(at)].to_owned(), |it| it.id.clone())
}

fn sign(comparison: Comparison) -> &'static str {
    match comparison {
        Comparison::Above => ">",
        Comparison::AtLeast => ">=",
        Comparison::Below => "<",
        Comparison::AtMost => "<=",
    }
}

/// The condition as an expression of the family of C, in which only `includes` is written differently from engine to engine: it
/// takes an option and a list.
pub fn expression(rules: &RuleSet, condition: &Condition, includes: fn(&str, &str) -> String) -> String {
    let joined = |parts: &[Condition], by: &str| {
        let parts: Vec<String> = parts.iter().map(|it| expression(rules, it, includes)).collect();
        format!("({})", parts.join(by))
    };
    match condition {
        Condition::All(parts) => joined(parts, " && "),
        Condition::Any(parts) => joined(parts, " || "),
        Condition::Not(part) => format!("!({})", expression(rules, part, includes)),
        Condition::Fact { fact, test } => {
            let name = name(rules, *fact);
            let each = |options: &[u16], by: &str, one: &dyn Fn(String) -> String| {
                let all: Vec<String> = options.iter().map(|at| one(word(rules, *fact, *at))).collect();
                format!("({})", all.join(by))
            };
            match test {
                Test::OneOf(options) => each(options, " || ", &|it| format!("{name} == \"{it}\"")),
                Test::NoneOf(options) => each(options, " && ", &|it| format!("{name} != \"{it}\"")),
                Test::Includes(options) => each(options, " || ", &|it| includes(&it, &name)),
                Test::Compare(comparison, with) => format!("{name} {} {:?}", sign(*comparison), with.value),
                other => unreachable!("{other:?} is none of the tests"),
            }
        }
        other => unreachable!("{other:?} is none of the conditions"),
    }
}

/// The condition as JSONLogic.
pub fn json_logic(rules: &RuleSet, condition: &Condition) -> Json {
    let each = |parts: &[Condition]| parts.iter().map(|it| json_logic(rules, it)).collect::<Vec<_>>();
    match condition {
        Condition::All(parts) => json!({ "and": each(parts) }),
        Condition::Any(parts) => json!({ "or": each(parts) }),
        Condition::Not(part) => json!({ "!": [json_logic(rules, part)] }),
        Condition::Fact { fact, test } => {
            let value = json!({ "var": name(rules, *fact) });
            let each = |options: &[u16], one: &dyn Fn(String) -> Json| options.iter().map(|at| one(word(rules, *fact, *at))).collect::<Vec<_>>();
            match test {
                Test::OneOf(options) => json!({ "or": each(options, &|it| json!({ "===": [value, it] })) }),
                Test::NoneOf(options) => json!({ "and": each(options, &|it| json!({ "!==": [value, it] })) }),
                Test::Includes(options) => json!({ "or": each(options, &|it| json!({ "in": [it, value] })) }),
                Test::Compare(comparison, with) => json!({ sign(*comparison): [value, with.value] }),
                other => unreachable!("{other:?} is none of the tests"),
            }
        }
        other => unreachable!("{other:?} is none of the conditions"),
    }
}
