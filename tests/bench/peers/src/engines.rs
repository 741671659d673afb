//! The peers. Each has its conditions compiled and its people laid out before anything is timed.

use cel::{Context, Program};
use datalogic_rs::bumpalo::Bump;
use datalogic_rs::{Logic, ParsedData};
use preblock::RuleSet;
use preblock::inner::rule_set::Condition;
use rhai::{AST, Dynamic, Scope};
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
        let compiled = conditions.iter().map(|it| Program::compile(&expression(rules, it)).expect("an expression of CEL"));
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

/// The crate `rhai`.
pub struct Script {
    engine: rhai::Engine,
    conditions: Vec<AST>,
    people: Vec<Scope<'static>>,
}

impl Script {
    pub fn new(rules: &RuleSet, conditions: &[&Condition], people: &[Person]) -> Self {
        let engine = rhai::Engine::new();
        let compiled = conditions.iter().map(|it| engine.compile_expression(expression(rules, it)).expect("an expression of rhai"));
        let conditions = compiled.collect();
        let laid_out = people.iter().map(|person| {
            let mut scope = Scope::new();
            for (name, value) in person {
                scope.push_constant_dynamic(name.clone(), script_value(value));
            }
            scope
        });
        Self { engine, conditions, people: laid_out.collect() }
    }
}

fn script_value(value: &Json) -> Dynamic {
    match value {
        Json::String(text) => text.clone().into(),
        Json::Number(number) => number.as_f64().unwrap_or_default().into(),
        Json::Array(options) => options.iter().map(script_value).collect::<Vec<Dynamic>>().into(),
        other => unreachable!("{other} is no fact"),
    }
}

impl Engine for Script {
    fn name(&self) -> &'static str {
        "expressions (rhai 1.27)"
    }

    fn answers(&mut self, person: usize) -> Vec<bool> {
        let scope = &mut self.people[person];
        let told = self.conditions.iter().map(|it| self.engine.eval_ast_with_scope::<bool>(scope, it).is_ok_and(|it| it));
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
