//! The peers. Each has its conditions compiled and its people laid out before anything is timed.

use cel::{Context, Program};
use datalogic_rs::bumpalo::Bump;
use datalogic_rs::{Logic, ParsedData};
use evalexpr::{ContextWithMutableVariables as _, HashMapContext, Node, build_operator_tree};
use preblock::RuleSet;
use preblock::inner::rule_set::Condition;
use serde_json::Value as Json;

use crate::translated::{Person, expression, json_logic};

pub trait Engine {
    fn name(&self) -> &'static str;
    /// What every condition comes to for one of the people.
    fn answers(&mut self, person: usize) -> Vec<bool>;
}

/// The crate `cel`.
pub struct Cel {
    programs: Vec<Program>,
    people: Vec<Context<'static, 'static>>,
}

impl Cel {
    pub fn new(rules: &RuleSet, conditions: &[&Condition], people: &[Person]) -> Self {
        let compiled = conditions.iter().map(|it| Program::compile(&expression(rules, it, |option, list| format!("\"{option}\" in {list}"))).expect("an expression of CEL"));
        let laid_out = people.iter().map(|person| {
            let mut context = Context::default();
            for (name, value) in person {
                context.add_variable_from_value(name.clone(), cel_value(value));
            }
            context
        });
        Self { programs: compiled.collect(), people: laid_out.collect() }
    }
}

fn cel_value(value: &Json) -> cel::Value {
    match value {
        Json::String(text) => text.as_str().into(),
        Json::Number(number) => number.as_f64().unwrap_or_default().into(),
        Json::Array(options) => options.iter().map(cel_value).collect::<Vec<cel::Value>>().into(),
        other => unreachable!("{other} is no fact"),
    }
}

impl Engine for Cel {
    fn name(&self) -> &'static str {
        "CEL (cel 0.15)"
    }

    fn answers(&mut self, person: usize) -> Vec<bool> {
        let context = &self.people[person];
        let told = self.programs.iter().map(|it| matches!(it.execute(context), Ok(cel::Value::Bool(true))));
        told.collect()
    }
}

/// The crate `evalexpr`.
pub struct Expressions {
    conditions: Vec<Node>,
    people: Vec<HashMapContext>,
}

impl Expressions {
    pub fn new(rules: &RuleSet, conditions: &[&Condition], people: &[Person]) -> Self {
        let text = |it: &&Condition| expression(rules, it, |option, list| format!("contains({list}, \"{option}\")"));
        let compiled = conditions.iter().map(|it| build_operator_tree(&text(it)).expect("an expression"));
        let laid_out = people.iter().map(|person| {
            let mut context = HashMapContext::new();
            for (name, value) in person {
                context.set_value(name.clone(), value_of(value)).expect("a variable");
            }
            context
        });
        Self { conditions: compiled.collect(), people: laid_out.collect() }
    }
}

fn value_of(value: &Json) -> evalexpr::Value {
    match value {
        Json::String(text) => evalexpr::Value::String(text.clone()),
        Json::Number(number) => evalexpr::Value::Float(number.as_f64().unwrap_or_default()),
        Json::Array(options) => evalexpr::Value::Tuple(options.iter().map(value_of).collect()),
        other => unreachable!("{other} is no fact"),
    }
}

impl Engine for Expressions {
    fn name(&self) -> &'static str {
        "expressions (evalexpr 11.3)"
    }

    fn answers(&mut self, person: usize) -> Vec<bool> {
        let context = &self.people[person];
        let told = self.conditions.iter().map(|it| it.eval_boolean_with_context(context) == Ok(true));
        told.collect()
    }
}

/// The crate `datalogic-rs`.
pub struct JsonLogic {
    engine: datalogic_rs::Engine,
    conditions: Vec<Logic>,
    people: Vec<ParsedData>,
    arena: Bump,
}

impl JsonLogic {
    pub fn new(rules: &RuleSet, conditions: &[&Condition], people: &[Person]) -> Self {
        let engine = datalogic_rs::Engine::new();
        let compiled = conditions.iter().map(|it| engine.compile(json_logic(rules, it).to_string().as_str()).expect("JSONLogic"));
        let conditions = compiled.collect();
        let laid_out = people.iter().map(|it| ParsedData::from_json(&Json::from(it.clone()).to_string()).expect("JSON"));
        Self { engine, conditions, people: laid_out.collect(), arena: Bump::new() }
    }
}

impl Engine for JsonLogic {
    fn name(&self) -> &'static str {
        "JSON rules (datalogic-rs 5.4)"
    }

    fn answers(&mut self, person: usize) -> Vec<bool> {
        self.arena.reset();
        let (data, arena) = (&self.people[person], &self.arena);
        let told = self.conditions.iter().map(|it| self.engine.evaluate(it, data, arena).is_ok_and(|it| it.as_bool() == Some(true)));
        told.collect()
    }
}
