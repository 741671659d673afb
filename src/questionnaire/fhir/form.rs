//! The questions of a rule set as a FHIR R4 Questionnaire.

use serde_json::{Value, json};

use crate::document::diagnostic::{Code, Diagnostic};
use crate::quantity::Measure;
use crate::questionnaire::fhir::{
    ABSENT, DECLINED, DECLINED_IN_WORDS, NONE, NONE_IN_WORDS, NOT_KNOWN, NOT_KNOWN_IN_WORDS, UCUM,
    codes, is_coded, is_timed, system, system_of, taken_on_id, value_id, value_of_number,
};
use crate::rule_set::{
    Answer, Comparison, Condition, FactKind, Question, RuleSet, Section, Status, Test,
};
use crate::table::Idx;
use crate::truth::FactSlot;

/// The extensions that a form uses, all of the standard's own.
const HELP: &str = "http://hl7.org/fhir/StructureDefinition/questionnaire-itemControl";
const UNIT_OPTION: &str = "http://hl7.org/fhir/StructureDefinition/questionnaire-unitOption";
const LEAST: &str = "http://hl7.org/fhir/StructureDefinition/minValue";
const MOST: &str = "http://hl7.org/fhir/StructureDefinition/maxValue";
const LEAST_QUANTITY: &str =
    "http://hl7.org/fhir/uv/sdc/StructureDefinition/sdc-questionnaire-minQuantity";
const MOST_QUANTITY: &str =
    "http://hl7.org/fhir/uv/sdc/StructureDefinition/sdc-questionnaire-maxQuantity";
const ALONE: &str = "http://hl7.org/fhir/StructureDefinition/questionnaire-optionExclusive";
const ENABLE: &str =
    "http://hl7.org/fhir/uv/sdc/StructureDefinition/sdc-questionnaire-enableWhenExpression";

/// The form: one group for each section, one item for each question, with its options, units, help and gate.
///
/// A gate is said as far as a form can say it: where it hangs on what is derived, such as an age, the question is asked of
/// everybody. No gate is trusted on the way back: which answers count is decided anew.
///
/// # Errors
/// That the rule set has no canonical address, without which no response could name its form.
pub fn form(rule_set: &RuleSet) -> Result<Value, Diagnostic> {
    let canonical = canonical(rule_set)?;
    let form = Form {
        rule_set,
        canonical,
    };
    let catalogue = &rule_set.catalogue;
    let mut items: Vec<Value> = catalogue
        .sections
        .entries()
        .map(|(at, section)| form.section(at, section))
        .collect();
    items.push(note("note", "Anything that fits no question."));
    Ok(json!({
        "resourceType": "Questionnaire",
        "url": address(canonical),
        "version": rule_set.edition,
        "name": computable(&rule_set.id),
        "title": rule_set.title,
        "status": match rule_set.status {
            Status::Draft => "draft",
            Status::Approved => "active",
            Status::Withdrawn => "retired",
        },
        "subjectType": ["Patient"],
        "date": rule_set.in_force_from.to_string(),
        "description": "A missing answer is never taken for a good one. The patient is known by a reference and never by a name: \
            the identifier of the response's subject.",
        "contained": form.value_sets(),
        "item": items,
    }))
}

/// The canonical address of a rule set.
///
/// # Errors
/// That it has none.
pub(crate) fn canonical(rule_set: &RuleSet) -> Result<&str, Diagnostic> {
    rule_set.canonical.as_deref().ok_or_else(|| {
        let title = format!("rule set `{}` has no canonical address", rule_set.id);
        Diagnostic::bare(Code::MissingKey, title).help(
            "add `canonical: https://...` to ruleset.yaml: an address of your own, under which other programs know its form and codes; nothing is fetched from it",
        )
    })
}

/// The address of the form.
pub(crate) fn address(canonical: &str) -> String {
    format!("{canonical}/questionnaire")
}

/// A name that programs can use: `minor-surgery` is `MinorSurgery`.
pub(crate) fn computable(id: &str) -> String {
    let words = id.split(|it: char| !it.is_ascii_alphanumeric());
    words
        .flat_map(|word| {
            let mut letters = word.chars();
            let first = letters.next().map(|it| it.to_ascii_uppercase());
            first.into_iter().chain(letters)
        })
        .collect()
}

struct Form<'a> {
    rule_set: &'a RuleSet,
    canonical: &'a str,
}

impl Form<'_> {
    /// The names of the registers, which many questions share.
    fn value_sets(&self) -> Vec<Value> {
        let questions = &self.rule_set.catalogue.questions;
        let of = |id: &str, is_it: fn(&Answer) -> bool| {
            let question = questions.iter().find(|it| is_it(&it.answer))?;
            let concepts: Vec<Value> = codes(self.rule_set, question)
                .into_iter()
                .map(|(code, display)| json!({ "code": code, "display": display }))
                .collect();
            let mut include =
                vec![json!({ "system": system_of(self.canonical, question), "concept": concepts })];
            include.push(json!({
                "system": system(self.canonical, "answers"),
                "concept": [{ "code": NONE, "display": NONE_IN_WORDS }],
            }));
            include.push(json!({
                "system": ABSENT,
                "concept": [
                    { "code": NOT_KNOWN, "display": NOT_KNOWN_IN_WORDS },
                    { "code": DECLINED, "display": DECLINED_IN_WORDS },
                ],
            }));
            Some(json!({
                "resourceType": "ValueSet",
                "id": id,
                "status": "active",
                "compose": { "include": include },
            }))
        };
        [
            of("medicines", |it| matches!(it, Answer::Medicines)),
            of("substances", |it| matches!(it, Answer::Allergies)),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    fn section(&self, at: Idx<Section>, section: &Section) -> Value {
        let questions = self.rule_set.catalogue.questions.iter();
        let mut items: Vec<Value> = questions
            .filter(|it| it.section == at)
            .flat_map(|it| self.question(it))
            .collect();
        let words = "Anything about this that fits no question.";
        items.push(note(&format!("{}.note", section.id), words));
        json!({ "linkId": section.id, "text": section.title, "type": "group", "item": items })
    }

    /// The item of a question, and the one beside it that says why there is no answer.
    fn question(&self, question: &Question) -> Vec<Value> {
        let mut items = self.value(question);
        if question.dated {
            let id = taken_on_id(question);
            items.push(date(&id, "On which day was it taken?", true));
            items.push(absent(&id));
            let mut group = json!({ "linkId": question.id, "text": question.ask, "type": "group" });
            self.gate(question, &mut group);
            put(&mut group, "item", json!(items));
            return vec![group];
        }
        for item in &mut items {
            self.gate(question, item);
        }
        items
    }

    fn value(&self, question: &Question) -> Vec<Value> {
        let id = value_id(question);
        let mut item = match &question.answer {
            Answer::Date => date(&id, &question.ask, is_timed(question)),
            _ => json!({ "linkId": id, "text": question.ask, "type": kind(question) }),
        };
        let mut extensions = Vec::new();
        let mut children = Vec::new();
        if let Some(help) = &question.help {
            children.push(json!({
                "extension": [{
                    "url": HELP,
                    "valueCodeableConcept": { "coding": [{ "system": "http://hl7.org/fhir/questionnaire-item-control", "code": "help" }] },
                }],
                "linkId": format!("{id}.help"), "text": help, "type": "display",
            }));
        }
        match &question.answer {
            Answer::Quantity { measure, unit, .. } => {
                let units = question.answer.units();
                extensions.extend(units.iter().map(|unit| unit_option(*measure, unit)));
                if let Some((low, high)) = question.plausible {
                    let bound = |url: &str, number: f64| {
                        let code = measure.ucum(unit);
                        let value = plain(number);
                        json!({ "url": url, "valueQuantity": { "value": value, "unit": unit, "system": UCUM, "code": code } })
                    };
                    extensions.extend([bound(LEAST_QUANTITY, low), bound(MOST_QUANTITY, high)]);
                }
            }
            Answer::Number { whole } => {
                if let Some((low, high)) = question.plausible {
                    let bound = |url: &str, number: f64| {
                        let key = value_of_number(*whole);
                        json!({ "url": url, key: plain(number) })
                    };
                    extensions.extend([bound(LEAST, low), bound(MOST, high)]);
                }
            }
            Answer::Medicines => {
                put(&mut item, "answerValueSet", json!("#medicines"));
                children.push(text(
                    &format!("{id}.daily"),
                    "How much of it in a whole day, with its unit?",
                ));
                children.push(text(
                    &format!("{id}.for"),
                    "For how long has it been taken?",
                ));
            }
            Answer::Allergies => {
                put(&mut item, "answerValueSet", json!("#substances"));
                children.push(self.reaction(&id));
            }
            Answer::Anaesthetic => {
                put(&mut item, "answerOption", json!(self.options(question)));
                children.push(amount(
                    &format!("{id}.strength"),
                    "How strong?",
                    Measure::Strength,
                ));
                children.push(amount(
                    &format!("{id}.volume"),
                    "How much in all?",
                    Measure::Volume,
                ));
            }
            Answer::YesNo | Answer::OneOf(_) | Answer::SeveralOf(_) => {
                put(&mut item, "answerOption", json!(self.options(question)));
            }
            Answer::Date | Answer::Text => {}
        }
        if question.is_list() {
            put(&mut item, "repeats", json!(true));
            let details = children.iter_mut();
            for detail in details.filter(|it| it.get("type") != Some(&json!("display"))) {
                self.of_an_entry(&id, detail);
            }
        }
        if !extensions.is_empty() {
            put(&mut item, "extension", json!(extensions));
        }
        if !children.is_empty() {
            let already = item.get("item").and_then(Value::as_array).cloned();
            let all: Vec<Value> = already.into_iter().flatten().chain(children).collect();
            put(&mut item, "item", json!(all));
        }
        if is_coded(question) {
            vec![item]
        } else {
            vec![item, absent(&id)]
        }
    }

    /// The options of a question: its own, none of them where it takes a list, and why there is no answer.
    fn options(&self, question: &Question) -> Vec<Value> {
        let own = system_of(self.canonical, question);
        let mut options: Vec<Value> = codes(self.rule_set, question)
            .into_iter()
            .map(|(code, display)| option(&own, code, display))
            .collect();
        if !question.is_list() {
            options.extend(absent_options());
            return options;
        }
        let none = option(&system(self.canonical, "answers"), NONE, NONE_IN_WORDS);
        let alone = std::iter::once(none).chain(absent_options());
        options.extend(alone.map(|mut it| {
            put(
                &mut it,
                "extension",
                json!([{ "url": ALONE, "valueBoolean": true }]),
            );
            it
        }));
        options
    }

    /// Asks for a detail only within an answer that names something.
    fn of_an_entry(&self, id: &str, detail: &mut Value) {
        let answers = system(self.canonical, "answers");
        let alone = [
            (answers.as_str(), NONE),
            (ABSENT, NOT_KNOWN),
            (ABSENT, DECLINED),
        ];
        let other = alone.map(|(system, code)| {
            let answer = json!({ "system": system, "code": code });
            json!({ "question": id, "operator": "!=", "answerCoding": answer })
        });
        put(detail, "enableWhen", json!(other));
        put(detail, "enableBehavior", json!("all"));
    }

    fn reaction(&self, id: &str) -> Value {
        let own = system(self.canonical, "reactions");
        let reactions = self.rule_set.allergens.reactions.iter();
        let mut options: Vec<Value> = reactions.map(|it| option(&own, &it.id, &it.text)).collect();
        options.extend(absent_options());
        json!({ "linkId": format!("{id}.reaction"), "text": "What happened?", "type": "choice", "answerOption": options })
    }

    /// Says when an item is asked, as far as a form can say it.
    fn gate(&self, question: &Question, item: &mut Value) {
        let Some(gate) = question
            .ask_when
            .as_ref()
            .and_then(|it| self.gate_of(it, true))
        else {
            return;
        };
        let before = item.get("enableWhen").is_some();
        match gate.flat() {
            Some((behaviour, all)) if !before => {
                put(item, "enableWhen", json!(all));
                if all.len() > 1 {
                    put(item, "enableBehavior", json!(behaviour));
                }
            }
            _ => {
                let already = item.get("extension").and_then(Value::as_array);
                let mut extensions: Vec<Value> = already.into_iter().flatten().cloned().collect();
                // The item beside it, asked only where the first has no answer, keeps that.
                let first = item
                    .get("enableWhen")
                    .and_then(|it| it.pointer("/0/question"))
                    .and_then(Value::as_str);
                let path = match first {
                    Some(first) => format!("{}.empty() and ({})", answer_of(first), gate.path()),
                    None => gate.path(),
                };
                extensions.push(json!({
                    "url": ENABLE,
                    "valueExpression": { "language": "text/fhirpath", "expression": path },
                }));
                put(item, "extension", json!(extensions));
                if let Some(map) = item.as_object_mut() {
                    map.remove("enableWhen");
                }
            }
        }
    }

    /// When a condition may hold, or may fail to; `None` for always, which is said of whatever a form cannot tell.
    fn gate_of(&self, condition: &Condition, holds: bool) -> Option<Gate> {
        let every = |parts: &[Condition]| {
            let parts: Vec<Gate> = parts
                .iter()
                .filter_map(|it| self.gate_of(it, holds))
                .collect();
            (!parts.is_empty()).then_some(Gate::All(parts))
        };
        let some = |parts: &[Condition]| {
            let parts: Option<Vec<Gate>> = parts.iter().map(|it| self.gate_of(it, holds)).collect();
            parts.map(Gate::Any)
        };
        match condition {
            Condition::All(parts) if holds => every(parts),
            Condition::All(parts) => some(parts),
            Condition::Any(parts) if holds => some(parts),
            Condition::Any(parts) => every(parts),
            Condition::Not(part) => self.gate_of(part, !holds),
            Condition::Fact { fact, test } => self.test(*fact, test, holds),
            Condition::Taking {
                fact, medicines, ..
            } if holds => {
                let register = self.rule_set.medicines.medicines.entries();
                let names = register.filter(|(at, _)| medicines.contains(*at));
                self.named(*fact, names.map(|(_, it)| it.name.as_str()))
            }
            Condition::AllergicTo {
                fact, substances, ..
            } if holds => {
                let register = self.rule_set.allergens.substances.entries();
                let names = register.filter(|(at, _)| substances.contains(*at));
                self.named(*fact, names.map(|(_, it)| it.name.as_str()))
            }
            Condition::Taking { .. } | Condition::AllergicTo { .. } | Condition::Answers(_) => None,
        }
    }

    fn asked(&self, fact: FactSlot) -> Option<&Question> {
        let catalogue = &self.rule_set.catalogue;
        match catalogue.fact(fact).kind {
            FactKind::Question(_) => catalogue.question_of(fact),
            FactKind::TakenOn(_) | FactKind::Derived(_) => None,
        }
    }

    fn test(&self, fact: FactSlot, test: &Test, holds: bool) -> Option<Gate> {
        let question = self.asked(fact)?;
        let link = value_id(question);
        let all = codes(self.rule_set, question);
        let is = |at: u16, not: bool| {
            // Of a question of yes or no 0 is no; its codes begin with yes.
            let code = match question.answer {
                Answer::YesNo => {
                    if at == 1 {
                        "yes"
                    } else {
                        "no"
                    }
                }
                _ => all.get(usize::from(at))?.0,
            };
            Some(Gate::Is {
                link: link.clone(),
                system: system_of(self.canonical, question),
                code: code.to_owned(),
                not,
            })
        };
        let several = |options: &[u16], not: bool| -> Option<Vec<Gate>> {
            options.iter().map(|at| is(*at, not)).collect()
        };
        match test {
            Test::OneOf(options) | Test::Includes(options) if holds => {
                several(options, false).map(Gate::Any)
            }
            Test::NoneOf(options) if !holds => several(options, false).map(Gate::Any),
            Test::OneOf(options) | Test::NoneOf(options)
                if !matches!(question.answer, Answer::SeveralOf(_)) =>
            {
                several(options, true).map(Gate::All)
            }
            Test::Compare(how, threshold) => {
                let how = if holds { *how } else { how.opposite() };
                let sign = match how {
                    Comparison::Above => ">",
                    Comparison::AtLeast => ">=",
                    Comparison::Below => "<",
                    Comparison::AtMost => "<=",
                };
                let number = plain(threshold.value);
                let answer = answer_of(&link);
                match &question.answer {
                    Answer::Number { .. } => Some(Gate::Path(format!(
                        "{answer}.where($this {sign} {number}).exists()"
                    ))),
                    // In another unit it may be anything.
                    Answer::Quantity { measure, unit, .. } => {
                        let code = measure.ucum(unit);
                        Some(Gate::Path(format!(
                            "{answer}.where(code != '{code}' or value {sign} {number}).exists()"
                        )))
                    }
                    _ => None,
                }
            }
            _ => None,
        }
    }

    /// One of these names is among the answers, or a text that may be one.
    fn named<'n>(&self, fact: FactSlot, names: impl Iterator<Item = &'n str>) -> Option<Gate> {
        let answer = answer_of(&value_id(self.asked(fact)?));
        let names: Vec<String> = names
            .map(|it| format!("'{}'", it.replace('\'', "\\'")))
            .collect();
        Some(Gate::Path(format!(
            "{answer}.where($this is string or code in ({})).exists()",
            names.join("|")
        )))
    }
}

/// When an item is asked.
enum Gate {
    /// An answer is this code, or another one.
    Is {
        link: String,
        system: String,
        code: String,
        not: bool,
    },
    /// What only an expression can say.
    Path(String),
    All(Vec<Gate>),
    Any(Vec<Gate>),
}

impl Gate {
    /// The gate as a plain list, and whether all or any of it must hold; `None` if it takes more than that.
    fn flat(&self) -> Option<(&'static str, Vec<Value>)> {
        match self {
            Self::Is {
                link,
                system,
                code,
                not,
            } => {
                let operator = if *not { "!=" } else { "=" };
                let answer = json!({ "system": system, "code": code });
                let one = json!({ "question": link, "operator": operator, "answerCoding": answer });
                Some(("all", vec![one]))
            }
            Self::Path(_) => None,
            Self::All(parts) => Self::list(parts, "all"),
            Self::Any(parts) => Self::list(parts, "any"),
        }
    }

    fn list(parts: &[Self], behaviour: &'static str) -> Option<(&'static str, Vec<Value>)> {
        let mut all = Vec::new();
        for part in parts {
            let (inner, found) = part.flat()?;
            if found.len() > 1 && inner != behaviour {
                return (parts.len() == 1).then_some((inner, found));
            }
            all.extend(found);
        }
        Some((behaviour, all))
    }

    /// The gate as an expression of FHIRPath.
    fn path(&self) -> String {
        let joined = |parts: &[Self], word: &str| {
            let parts: Vec<String> = parts.iter().map(|it| format!("({})", it.path())).collect();
            parts.join(word)
        };
        match self {
            Self::Is {
                link, code, not, ..
            } => {
                let sign = if *not { "!=" } else { "=" };
                format!("{}.where(code {sign} '{code}').exists()", answer_of(link))
            }
            Self::Path(path) => path.clone(),
            Self::All(parts) => joined(parts, " and "),
            Self::Any(parts) => joined(parts, " or "),
        }
    }
}

/// The answers to an item, in FHIRPath.
fn answer_of(link: &str) -> String {
    format!("%resource.descendants().where(linkId = '{link}').answer.value")
}

/// The type of the item of a question.
fn kind(question: &Question) -> &'static str {
    match question.answer {
        Answer::YesNo | Answer::OneOf(_) | Answer::SeveralOf(_) | Answer::Anaesthetic => "choice",
        Answer::Medicines | Answer::Allergies => "open-choice",
        Answer::Number { whole: true } => "integer",
        Answer::Number { whole: false } => "decimal",
        Answer::Quantity { .. } => "quantity",
        Answer::Date => "date",
        Answer::Text => "text",
    }
}

fn put(item: &mut Value, key: &str, value: Value) {
    if let Some(map) = item.as_object_mut() {
        map.insert(key.to_owned(), value);
    }
}

/// A number without decimals that say nothing.
fn plain(number: f64) -> Value {
    let text = crate::quantity::tidy(number, None);
    serde_json::from_str(&text).unwrap_or(Value::Null)
}

fn option(system: &str, code: &str, display: &str) -> Value {
    json!({ "valueCoding": { "system": system, "code": code, "display": display } })
}

fn absent_options() -> [Value; 2] {
    [
        option(ABSENT, NOT_KNOWN, NOT_KNOWN_IN_WORDS),
        option(ABSENT, DECLINED, DECLINED_IN_WORDS),
    ]
}

/// The item that says why another one has no answer.
fn absent(id: &str) -> Value {
    json!({
        "linkId": format!("{id}.absent"),
        "text": "If there is no answer: why?",
        "type": "choice",
        "enableWhen": [{ "question": id, "operator": "exists", "answerBoolean": false }],
        "answerOption": absent_options(),
    })
}

/// A day, with its time if that may matter: a date of FHIR has none, and one with a time needs a zone, which nobody asks for.
fn date(id: &str, words: &str, timed: bool) -> Value {
    let mut item = json!({ "linkId": id, "text": words, "type": "date" });
    if timed {
        let time = json!({ "linkId": format!("{id}.time"), "text": "At what time, if it is known?", "type": "time" });
        put(&mut item, "item", json!([time]));
    }
    item
}

fn text(id: &str, words: &str) -> Value {
    json!({ "linkId": id, "text": words, "type": "string" })
}

fn note(id: &str, words: &str) -> Value {
    json!({ "linkId": id, "text": words, "type": "text" })
}

fn amount(id: &str, words: &str, measure: Measure) -> Value {
    let units: Vec<Value> = measure
        .units()
        .iter()
        .map(|it| unit_option(measure, it))
        .collect();
    json!({ "linkId": id, "text": words, "type": "quantity", "extension": units })
}

fn unit_option(measure: Measure, unit: &str) -> Value {
    json!({
        "url": UNIT_OPTION,
        "valueCoding": { "system": UCUM, "code": measure.ucum(unit), "display": unit },
    })
}
