//! questions.yaml: sections, questions, derived facts, and the slot of every fact.

use std::collections::HashMap;

use chrono::NaiveDate;

use crate::document::diagnostic::{Code, Diagnostic, did_you_mean, listed};
use crate::document::reading::{Reading, Tells};
use crate::document::renamed::renamed;
use crate::document::source::{Node, NodeKind};
use crate::formulas;
use crate::formulas::formula::Gives;
use crate::formulas::given::Side;
use crate::formulas::{Formula, Role, RoleKind};
use crate::quantity::units::which_measures;
use crate::quantity::{Measure, Span, read_when};
use crate::rule_set::catalogue::{FactDefinition, Who};
use crate::rule_set::files::Parsed;
use crate::rule_set::read::condition;
use crate::rule_set::read::registers::unique;
use crate::rule_set::read::symbols::{Names, What, Written, to_unit};
use crate::rule_set::{
    Answer, Catalogue, Changeable, Choice, Derived, FactKind, FactType, Idx, Input, LimitValue,
    Question, Section, Table,
};
use crate::truth::{FactSlot, Slot};

mod drawings;
mod standing;
mod turns;

/// What to do about an id that means something else already.
const OTHER_WORD: &str = "choose another word";
/// Most options of one question: a set of them fits one machine word, with a bit to spare.
const MOST_OPTIONS: usize = 60;
/// Most facts of a rule set: each has a slot of its own, numbered in sixteen bits.
const MOST_FACTS: usize = 10_000;

/// Reads the catalogue. Limits and registers must be loaded before.
pub(crate) fn read(parsed: &Parsed, names: &mut Names) -> Vec<Diagnostic> {
    let mut reading = parsed.reading("questions");
    names.catalogue = Catalogue::default();
    for node in parsed.root.list("drawings") {
        drawings::read(&mut reading, &mut names.catalogue.drawings, node);
    }
    let sections = parsed.root.list("sections");
    let mut seen_sections = HashMap::new();
    let mut asked: Table<&Node, Question> = Table::default();
    for section in sections {
        let Some(id) = reading.needed(section, "id") else {
            continue;
        };
        if let Some(node) = section.get("id") {
            unique(&mut reading, &mut seen_sections, section, "sections");
            if id == "derived" || id == "limit" {
                let title = format!("`{id}` is a reserved word, not a section");
                reading
                    .wrong(Code::DuplicateId, node, title, "reserved")
                    .help(OTHER_WORD);
            }
        }
        let title = reading.needed(section, "title").unwrap_or_default();
        let at = names.catalogue.sections.push(Section {
            id: id.clone(),
            title,
        });
        let mut seen = HashMap::new();
        for node in section.list("questions") {
            if let Some(id_node) = node.get("id") {
                unique(
                    &mut reading,
                    &mut seen,
                    node,
                    &format!("questions of `{id}`"),
                );
                if id_node.written(reading.source) == Some("note") {
                    let title = "`note` is a reserved word, not a question";
                    reading
                        .wrong(Code::DuplicateId, id_node, title, "reserved")
                        .help(OTHER_WORD);
                }
            }
            match question(&mut reading, &mut names.catalogue, node, &id, at) {
                Some(()) => {
                    asked.push(node);
                }
                None => {
                    let name = node.get("id").and_then(|it| it.written(reading.source));
                    let name = name.map(|it| format!("{id}.{it}"));
                    names.note_broken(What::Fact, name);
                    reading.pass_over(node, "a whole question");
                }
            }
        }
    }
    special_slots(&mut reading, names, &asked);
    let mut seen_derived = HashMap::new();
    for node in parsed.root.list("derived") {
        unique(&mut reading, &mut seen_derived, node, "derived facts");
        derived(&mut reading, names, node);
    }
    standing::refuse_of_patients(&mut reading, &names.catalogue, &asked);
    if names.catalogue.facts.len() > MOST_FACTS
        && let Some(list) = parsed.root.get("sections")
    {
        let title = format!("a rule set can have {MOST_FACTS} facts at most");
        reading.wrong(Code::BadRange, list, title, "too many questions");
    }
    for (at, node) in asked.entries() {
        if let Some(when) = node.get("ask_when") {
            names.catalogue.questions[at].ask_when = condition::read(names, &mut reading, when);
        }
    }
    names.catalogue.turns = turns::turns(&mut reading, &names.catalogue, &asked);
    reading.finish()
}

fn is_yes(node: Option<&Node>) -> bool {
    node.and_then(Node::yes_or_no) == Some(true)
}

/// The facts of the catalogue, and their slots by their ids.
type FactTable<'a> = (
    &'a mut Table<FactDefinition, Slot>,
    &'a mut HashMap<String, FactSlot>,
);

fn add_fact(
    (facts, slots): FactTable<'_>,
    id: String,
    kind: FactKind,
    fact_type: FactType,
) -> FactSlot {
    let slot = facts.push(FactDefinition {
        id: id.clone(),
        kind,
        fact_type,
    });
    slots.insert(id, slot);
    slot
}

/// Adds a question from its mapping; `None` after a diagnostic.
fn question(
    reading: &mut Reading<'_>,
    catalogue: &mut Catalogue,
    node: &Node,
    section_id: &str,
    section: Idx<Section>,
) -> Option<()> {
    let name = reading.needed(node, "id")?;
    let ask = reading.needed(node, "ask")?;
    let kind = reading.needed(node, "answer")?;
    let from = Who::from_word(&reading.needed(node, "from")?)?;
    let answer = answer(reading, node, &kind)?;
    let plausible = match node.get("plausible").map(Node::items) {
        None => None,
        Some([low, high]) => match (&low.kind, &high.kind) {
            (NodeKind::Number(low_value), NodeKind::Number(high_value)) => {
                if low_value > high_value {
                    let title = "the plausible range is upside down";
                    reading.wrong(Code::BadRange, low, title, "write the lower bound first");
                }
                Some((*low_value, *high_value)).filter(|(low, high)| low <= high)
            }
            _ => return None,
        },
        Some(_) => return None,
    };
    let changeable = changeable(reading, node, &answer);
    let otherwise = otherwise(reading, node, &answer);
    let harmless_alone = harmless_alone(reading, node);
    let drawing = drawings::of_question(reading, &catalogue.drawings, node, &answer);
    let dated = is_yes(node.get("dated"));
    let fact_type = match &answer {
        Answer::YesNo => FactType::YesNo,
        Answer::OneOf(_) => FactType::OneOf,
        Answer::SeveralOf(_) => FactType::SeveralOf,
        Answer::Number { .. } => FactType::Number {
            unit: None,
            measure: None,
        },
        Answer::Quantity { measure, unit, .. } => FactType::Number {
            unit: Some((*unit).to_owned()),
            measure: Some(*measure),
        },
        Answer::Date => FactType::Date,
        Answer::Text => FactType::Text,
        Answer::Medicines => FactType::Medicines,
        Answer::Allergies => FactType::Allergies,
        Answer::Anaesthetic => FactType::Anaesthetic,
    };
    let id = format!("{section_id}.{name}");
    let Catalogue {
        questions,
        facts,
        slots,
        ..
    } = catalogue;
    questions.push_with(|at| Question {
        slot: add_fact(
            (facts, slots),
            id.clone(),
            FactKind::Question(at),
            fact_type,
        ),
        date_slot: dated.then(|| {
            add_fact(
                (facts, slots),
                format!("{id}.taken_on"),
                FactKind::TakenOn(at),
                FactType::Date,
            )
        }),
        id,
        section,
        ask,
        ask_patient: reading.owned(node, "ask_patient"),
        help: reading.owned(node, "help"),
        answer,
        plausible,
        dated,
        past: is_yes(node.get("past")),
        oldest: span(reading, node, "oldest"),
        stand_ins: days(reading, node, "stand_ins"),
        from,
        ask_when: None,
        harmless_alone,
        otherwise,
        decision: is_yes(node.get("decision")),
        standing: is_yes(node.get("standing")),
        changeable,
        drawing,
    });
    Some(())
}

/// A length of time under a key.
fn span(reading: &mut Reading<'_>, node: &Node, key: &str) -> Option<Span> {
    let place = node.get(key)?;
    let span = place.text().and_then(Span::read);
    if span.is_none() {
        reading.pass_over(place, "a length of time such as `110 years`");
    }
    span
}

/// The days of a list under a key.
fn days(reading: &mut Reading<'_>, node: &Node, key: &str) -> Vec<NaiveDate> {
    let mut found = Vec::new();
    for item in node.list(key) {
        match item.text().map(read_when) {
            Some(Ok(when)) => found.push(when.date),
            _ => reading.pass_over(item, "a day such as `1900-01-01`"),
        }
    }
    found
}

/// The option that is so wherever the question does not apply: of one that is asked only sometimes, a harmless one.
fn otherwise(reading: &mut Reading<'_>, node: &Node, answer: &Answer) -> Option<u16> {
    let place = node.get("otherwise")?;
    let written = place.shown(reading.source);
    let at = match answer {
        Answer::YesNo => (written == "no").then_some(0),
        Answer::OneOf(options) => options.iter().position(|it| it.id == written && it.nothing),
        _ => None,
    };
    let found = at.and_then(|it| u16::try_from(it).ok()).filter(|_| {
        node.get("ask_when").is_some()
            && !is_yes(node.get("decision"))
            && !is_yes(node.get("dated"))
    });
    if found.is_none() {
        let title = "nothing else can be so where this question does not apply";
        let help = "only beside `ask_when`, not of a choice of the plan or a dated answer: `no`, or an option marked `nothing: true`";
        reading
            .wrong(Code::WrongForm, place, title, "does not fit the question")
            .help(help);
    }
    found
}

/// Whether every answer is harmless where the question does not apply. One that is always asked always applies.
fn harmless_alone(reading: &mut Reading<'_>, node: &Node) -> bool {
    let Some(place) = node.get("harmless_alone") else {
        return false;
    };
    if node.get("ask_when").is_none() {
        let title = "this question always applies";
        let help = "delete the line, or say by `ask_when` where the question applies";
        reading
            .wrong(Code::WrongForm, place, title, "means nothing here")
            .help(help);
    }
    is_yes(Some(place))
}

/// How an answer may become another one; what does not fit the kind of answer is reported, and changes nothing.
fn changeable(reading: &mut Reading<'_>, node: &Node, answer: &Answer) -> Changeable {
    let Some(place) = node.get("changeable") else {
        return Changeable::No;
    };
    let option = |item: &Node, reading: &Reading<'_>| {
        let written = item.written(reading.source)?;
        let at = match answer {
            Answer::YesNo => ["no", "yes"].iter().position(|it| *it == written),
            Answer::OneOf(options) => options.iter().position(|it| it.id == written),
            _ => None,
        };
        at.and_then(|it| u16::try_from(it).ok())
    };
    let fits = match (answer, place.items()) {
        (Answer::Number { .. } | Answer::Quantity { .. }, []) if is_yes(Some(place)) => {
            Some(Changeable::Any)
        }
        (Answer::SeveralOf(_), []) => match place.written(reading.source) {
            Some("fewer") => Some(Changeable::Fewer),
            Some("more") => Some(Changeable::More),
            _ => is_yes(Some(place)).then_some(Changeable::Any),
        },
        (Answer::YesNo | Answer::OneOf(_), items) if !items.is_empty() => items
            .iter()
            .map(|it| option(it, reading))
            .collect::<Option<Vec<u16>>>()
            .map(Changeable::To),
        _ => None,
    };
    fits.unwrap_or_else(|| {
        let help = match answer {
            Answer::Number { .. } | Answer::Quantity { .. } => {
                "write `true`: a fresh result may have any value".to_owned()
            }
            Answer::SeveralOf(_) => {
                "write `fewer` if options may go, `more` if some may be added, or `true` for both"
                    .to_owned()
            }
            Answer::YesNo => "write `[yes]` or `[no]`, whichever may come true".to_owned(),
            Answer::OneOf(options) => {
                let ids: Vec<&str> = options.iter().map(|it| it.id.as_str()).collect();
                format!(
                    "write a list of those of {} that may come true",
                    listed(&ids)
                )
            }
            _ => "delete the line: such an answer is not looked for".to_owned(),
        };
        let title = "this answer cannot become another one in that way";
        let label = "does not fit the kind of answer";
        reading
            .wrong(Code::WrongForm, place, title, label)
            .help(help);
        Changeable::No
    })
}

fn answer(reading: &mut Reading<'_>, node: &Node, kind: &str) -> Option<Answer> {
    let answer = match kind {
        "yes-no" => Answer::YesNo,
        "one-of" => Answer::OneOf(choices(reading, node)?),
        "several-of" => Answer::SeveralOf(choices(reading, node)?),
        "number" => Answer::Number {
            whole: is_yes(node.get("whole")),
        },
        "quantity" => {
            let name = reading.needed(node, "measure")?;
            let measure_node = node.get("measure")?;
            let Some(measure) = Measure::from_name(&name) else {
                let title = format!("`{name}` is not something that is measured here");
                let help = did_you_mean(&name, Measure::ALL.map(Measure::name));
                return reading
                    .wrong(Code::WrongUnit, measure_node, title, "unknown measure")
                    .help_if(help)
                    .none();
            };
            let known = |reading: &mut Reading<'_>, node: &Node| {
                let text = node.shown(reading.source).to_owned();
                let found = measure.unit(&text);
                if found.is_none() {
                    let title = format!("`{text}` is not a unit of {}", measure.name());
                    let help = format!("one of {}", listed(measure.units()));
                    reading
                        .wrong(Code::WrongUnit, node, title, "not a unit of this measure")
                        .help(help);
                }
                found
            };
            let unit = known(reading, node.get("unit")?)?;
            let more = node.list("units");
            let units = more.iter().filter_map(|it| known(reading, it)).collect();
            Answer::Quantity {
                measure,
                unit,
                units,
            }
        }
        "date" => Answer::Date,
        "text" => Answer::Text,
        "medicines" => Answer::Medicines,
        "allergies" => Answer::Allergies,
        "anaesthetic" => Answer::Anaesthetic,
        _ => return None,
    };
    Some(answer)
}

fn choices(reading: &mut Reading<'_>, node: &Node) -> Option<Vec<Choice>> {
    let list = node.get("options")?;
    let mut seen = HashMap::new();
    let mut found = Vec::new();
    for item in list.items() {
        if let Some(id) = item.get("id") {
            unique(reading, &mut seen, item, "options");
            if let Some(word @ ("unknown" | "declined")) = id.text() {
                let title = format!("`{word}` is a reserved word, not an option");
                let label = "every question accepts it already";
                reading
                    .wrong(Code::DuplicateId, id, title, label)
                    .help(OTHER_WORD);
            }
        }
        let counts = match item.get("counts") {
            None => None,
            Some(it) => match it.kind {
                NodeKind::Number(number) => Some(number),
                _ => {
                    reading.pass_over(it, "a number");
                    // Told once: a formula that needs the number has nothing to add.
                    Some(0.0)
                }
            },
        };
        let side = match reading.owned(item, "side").as_deref() {
            Some("left") => Some(Side::Left),
            Some("right") => Some(Side::Right),
            _ => None,
        };
        let nothing = is_yes(item.get("nothing"));
        found.push(Choice {
            id: reading.needed(item, "id")?,
            text: reading.needed(item, "text")?,
            text_patient: reading.owned(item, "text_patient"),
            counts,
            side,
            nothing,
        });
    }
    if found.len() > MOST_OPTIONS {
        let title = format!("a question can have {MOST_OPTIONS} options at most");
        return reading
            .wrong(Code::BadRange, list, title, "too many")
            .none();
    }
    Some(found)
}

/// Finds the questions that the program itself must know: the lists, and the day of surgery.
fn special_slots(reading: &mut Reading<'_>, names: &mut Names, asked: &Table<&Node, Question>) {
    let mut found: HashMap<&'static str, FactSlot> = HashMap::new();
    let one_plan = names
        .catalogue
        .questions
        .iter()
        .any(|it| it.answer == Answer::Anaesthetic && it.decision);
    for (question, node) in names.catalogue.questions.iter().zip(asked) {
        let what = match question.answer {
            Answer::Medicines => "medicines",
            Answer::Allergies => "allergies",
            // Besides the plan, a rule set may ask for what was given before.
            Answer::Anaesthetic if one_plan && !question.decision => continue,
            Answer::Anaesthetic => "anaesthetic",
            _ => continue,
        };
        if found.insert(what, question.slot).is_some()
            && let Some(place) = node.get("answer")
        {
            let title = format!("a second question has the answer `{what}`");
            reading
                .wrong(Code::DuplicateId, place, title, "one is enough")
                .help("delete one of the two questions");
        }
    }
    names.catalogue.medicines = found.get("medicines").copied();
    names.catalogue.allergies = found.get("allergies").copied();
    names.catalogue.anaesthetic = found.get("anaesthetic").copied();
    names.catalogue.procedure_on = names
        .catalogue
        .slot("plan.procedure_on")
        .filter(|it| names.catalogue.fact(*it).fact_type == FactType::Date);
    if names.catalogue.procedure_on.is_none() {
        let title = "the rule set does not ask for `plan.procedure_on`";
        let help = "add a section `plan` with a question `procedure_on` whose answer is `date`: ages are taken on that day";
        reading
            .wrong(Code::UnknownFact, &(0..0), title, "at the top")
            .help(help);
    }
}

fn derived(reading: &mut Reading<'_>, names: &mut Names, node: &Node) {
    let name = reading.needed(node, "id");
    let (Some(name), Some(about), Some(formula_name)) = (
        name.clone(),
        reading.needed(node, "about"),
        reading.needed(node, "formula"),
    ) else {
        names.note_broken(What::Fact, name.map(|it| format!("derived.{it}")));
        reading.pass_over(node, "a whole derived fact");
        return;
    };
    let id = format!("derived.{name}");
    if names.catalogue.slot(&id).is_some() {
        reading.pass_over(node, "another id");
        return;
    }
    let unit = reading.owned(node, "unit");
    let decimals = reading
        .owned(node, "decimals")
        .and_then(|it| it.parse().ok())
        .unwrap_or(2);
    let formula = formulas::find(&formula_name);
    if let (None, Some(place)) = (formula, node.get("formula")) {
        let known: Vec<&str> = formulas::ALL.iter().map(|it| it.name).collect();
        let title = format!("there is no formula `{formula_name}`");
        let help = renamed(&formula_name).map_or_else(
            || did_you_mean(&formula_name, known),
            |new| Some(format!("its name is `{new}` now")),
        );
        reading
            .wrong(Code::UnknownFormula, place, title, "not a formula")
            .help_if(help);
    }
    let inputs = formula.map_or_else(Vec::new, |it| inputs(reading, names, node, it));
    // What names the fact is judged by the unit it really has, so that a wrong one is told once.
    let unit = match formula.and_then(|it| unit_given(reading, names, node, it, &inputs)) {
        Some(given) => unit_declared(reading, node, &formula_name, unit, given),
        None => unit,
    };
    let fact_type = FactType::Number {
        measure: unit.as_deref().map(which_measures).and_then(|measures| {
            if let [one] = measures.as_slice() {
                Some(*one)
            } else {
                None
            }
        }),
        unit: unit.clone(),
    };
    // The fact is declared even if it is broken, so that what names it is not reported, too.
    let formula = formula.unwrap_or(&formulas::counts::LOWER_OF);
    let Catalogue {
        derived,
        facts,
        slots,
        ..
    } = &mut names.catalogue;
    derived.push_with(|at| {
        let slot = add_fact((facts, slots), id.clone(), FactKind::Derived(at), fact_type);
        Derived {
            id,
            about,
            formula,
            inputs,
            unit,
            decimals,
            compared_with: Vec::new(),
            slot,
        }
    });
}

/// The unit of what a formula gives; `None` if its inputs are not known, or after a diagnostic.
fn unit_given(
    reading: &mut Reading<'_>,
    names: &Names,
    node: &Node,
    formula: &Formula,
    inputs: &[Input],
) -> Option<Option<String>> {
    match formula.gives {
        Gives::Plain => return Some(None),
        Gives::In(unit) => return Some(Some(unit.to_owned())),
        Gives::AsGiven | Gives::PlainOfAgreeing => {}
    }
    let mut common: Option<Option<String>> = None;
    let mut measured: Option<Measure> = None;
    for (role, input) in formula
        .roles
        .iter()
        .zip(inputs)
        .filter(|(role, _)| matches!(role.kind, RoleKind::Number(..)))
    {
        let (unit, measure) = match input {
            Input::Fact(slot) => match &names.catalogue.fact(*slot).fact_type {
                FactType::Number { unit, measure } => (unit.clone(), *measure),
                _ => (None, None),
            },
            Input::Limit(..) => (None, None),
        };
        // One unit may belong to two measures: `%` of HbA1c is not `%` of a solution.
        let other_measure = measured
            .zip(measure)
            .is_some_and(|(one, other)| one != other);
        measured = measured.or(measure);
        let first = common.get_or_insert_with(|| unit.clone());
        if *first != unit || other_measure {
            let needed = RoleKind::in_unit(first.as_deref());
            if let Some(place) = node.get("with").and_then(|it| it.get(role.name)) {
                let title = format!("the formula needs {needed} here, as in its other input");
                let of = if *first == unit {
                    ", of another measure"
                } else {
                    ""
                };
                let help = format!("this is {}{of}", RoleKind::in_unit(unit.as_deref()));
                reading
                    .wrong(Code::UnknownFormula, place, title, "does not fit")
                    .help(help);
            }
            return None;
        }
    }
    if formula.gives == Gives::PlainOfAgreeing {
        common.map(|_| None)
    } else {
        common
    }
}

/// Compares the unit that is declared with the one that the formula gives, and goes on with the latter.
fn unit_declared(
    reading: &mut Reading<'_>,
    node: &Node,
    formula: &str,
    declared: Option<String>,
    given: Option<String>,
) -> Option<String> {
    if declared != given
        && let Some(place) = node.get("unit").or_else(|| node.get("formula"))
    {
        let title = format!(
            "the formula `{formula}` gives {}",
            RoleKind::in_unit(given.as_deref())
        );
        let help = given.as_ref().map_or_else(
            || "delete the line `unit:`".to_owned(),
            |it| format!("write `unit: {it}`"),
        );
        let label = if declared.is_some() {
            "another unit"
        } else {
            "`unit` is missing"
        };
        reading
            .wrong(Code::WrongUnit, place, title, label)
            .help(help);
    }
    given
}

/// What a formula is given, in the order of its roles; empty after a diagnostic.
fn inputs(reading: &mut Reading<'_>, names: &Names, node: &Node, formula: &Formula) -> Vec<Input> {
    let given = node.get("with");
    let roles: Vec<&str> = formula.roles.iter().map(|it| it.name).collect();
    for entry in given.into_iter().flat_map(Node::entries) {
        if !roles.contains(&entry.key.as_str()) {
            let title = format!("the formula `{}` takes no `{}`", formula.name, entry.key);
            let help = match renamed(&entry.key).filter(|new| roles.contains(new)) {
                Some(new) => format!("its name is `{new}` now"),
                None => format!("it takes {}", listed(&roles).replace(" or ", " and ")),
            };
            let label = "not one of its inputs";
            reading
                .wrong(Code::UnknownFormula, entry, title, label)
                .help(help);
        }
    }
    let mut inputs = Vec::new();
    // What may be left out is left out as a whole.
    let with_optional = formula
        .roles
        .iter()
        .any(|it| it.optional && given.is_some_and(|given| given.get(it.name).is_some()));
    let wanted: Vec<&Role> = formula
        .roles
        .iter()
        .filter(|it| !it.optional || with_optional)
        .collect();
    for role in &wanted {
        let Some(value) = given.and_then(|it| it.get(role.name)) else {
            if let Some(place) = node.get("formula") {
                let title = format!(
                    "the formula `{}` is not given `{}`",
                    formula.name, role.name
                );
                let help = format!(
                    "under `with:`, give {} as `{}`",
                    role.kind.in_words(),
                    role.name
                );
                reading
                    .wrong(Code::UnknownFormula, place, title, "an input is missing")
                    .help(help);
            }
            continue;
        };
        if let Some(input) = input(reading, names, value, role.kind) {
            inputs.push(input);
        }
    }
    if inputs.len() == wanted.len()
        && inputs.iter().all(|it| matches!(it, Input::Limit(..)))
        && let Some(place) = node.get("formula")
    {
        let title = format!("the formula `{}` is given limits alone", formula.name);
        let help =
            "what rests on no answer is not a fact about anybody: write its value as a limit";
        reading
            .wrong(Code::UnknownFormula, place, title, "no answer goes into it")
            .help(help);
    }
    if inputs.len() != wanted.len() {
        return Vec::new();
    }
    let fact = |name: &str| {
        wanted
            .iter()
            .zip(&inputs)
            .find(|(role, _)| role.name == name)
            .and_then(|(_, input)| input.fact())
    };
    for role in &wanted {
        if let RoleKind::ListLike(like) = role.kind
            && let (Some(list), Some(other), Some(place)) = (
                fact(like),
                fact(role.name),
                given.and_then(|it| it.get(role.name)),
            )
        {
            same_options(reading, names, list, other, place);
        }
    }
    inputs
}

/// Reports two lists that do not offer the same options: what is chosen in one could not be looked for in the other.
fn same_options(
    reading: &mut Reading<'_>,
    names: &Names,
    list: FactSlot,
    other: FactSlot,
    place: &Node,
) {
    let ids = |slot| {
        names
            .catalogue
            .options(slot)
            .iter()
            .map(|it| it.id.as_str())
            .collect::<Vec<_>>()
    };
    let (of_list, of_other) = (ids(list), ids(other));
    let lacks = |ids: &[&str], slot| {
        let lacking: Vec<&str> = ids
            .iter()
            .copied()
            .filter(|id| {
                !names
                    .catalogue
                    .options(slot)
                    .iter()
                    .any(|option| option.id == *id)
            })
            .collect();
        (!lacking.is_empty()).then(|| {
            format!(
                "`{}` has no option {}",
                names.catalogue.id(slot),
                listed(&lacking)
            )
        })
    };
    if let Some(help) = lacks(&of_list, other).or_else(|| lacks(&of_other, list)) {
        let title = "the two lists do not offer the same options";
        reading
            .wrong(Code::UnknownFormula, place, title, "does not fit")
            .help(help);
    }
}

fn input(reading: &mut Reading<'_>, names: &Names, value: &Node, kind: RoleKind) -> Option<Input> {
    let misfit = |reading: &mut Reading<'_>, why: String| {
        let title = format!("the formula needs {} here", kind.in_words());
        reading
            .wrong(Code::UnknownFormula, value, title, "does not fit")
            .help(why);
    };
    if value.get("limit").is_some() {
        let at = names.limit_of(reading, value)?;
        let limit = &names.limits[at];
        let wanted = match kind {
            RoleKind::Number(unit, _) => Some(unit),
            RoleKind::Limit(unit) => Some(Some(unit)),
            _ => None,
        };
        let (
            Some(unit),
            LimitValue::Number {
                value: number,
                unit: given,
            },
        ) = (wanted, &limit.value)
        else {
            let what = if matches!(limit.value, LimitValue::Span(_)) {
                "a length of time"
            } else {
                "a number"
            };
            misfit(reading, format!("limit `{}` is {what}", limit.id));
            return None;
        };
        return match to_unit(
            &Written {
                value: *number,
                unit: given.clone(),
            },
            unit,
            None,
        ) {
            Ok(number) => Some(Input::Limit(at, number)),
            Err(why) => {
                misfit(reading, why);
                None
            }
        };
    }
    let slot = names.fact(reading, value)?;
    if !names.catalogue.fits(slot, kind) {
        misfit(reading, lacking(&names.catalogue, slot, kind));
        return None;
    }
    Some(Input::Fact(slot))
}

/// What keeps a fact from being given to a role: what its options lack, or else what it is.
fn lacking(catalogue: &Catalogue, slot: FactSlot, kind: RoleKind) -> String {
    let fact = catalogue.fact(slot);
    let without = |has: fn(&Choice) -> bool| {
        let ids = catalogue.options(slot).iter().filter(|it| !has(it));
        let ids: Vec<&str> = ids.map(|it| it.id.as_str()).collect();
        listed(&ids).replace(" or ", " and ")
    };
    match (kind, &fact.fact_type) {
        (RoleKind::Sites { sided: true }, FactType::SeveralOf) => format!(
            "in `{}`, write `side: left` or `side: right` for {}",
            fact.id,
            without(|it| it.side.is_some())
        ),
        (RoleKind::Counted, FactType::OneOf | FactType::SeveralOf)
        | (RoleKind::CountedChoice, FactType::OneOf) => format!(
            "in `{}`, write `counts:` with a number for {}",
            fact.id,
            without(|it| it.counts.is_some())
        ),
        _ => format!("`{}` is {}", fact.id, fact.fact_type.in_words()),
    }
}
