//! A condition from its mapping: every fact, option, unit, class and limit is looked up here.

use crate::document::diagnostic::{Code, did_you_mean, listed};
use crate::document::reading::{Reading, Tells};
use crate::document::source::{MapEntry, Node};
use crate::quantity::span::Span;
use crate::quantity::tidy;
use crate::rule_set::read::symbols::{Names, What};
use crate::rule_set::{
    Bits, Comparison, Condition, Conflict, FactKind, FactType, LimitValue, SpanLimit, Test,
    Threshold,
};
use crate::truth::FactSlot;

/// The keys that decide what a condition is.
const FORMS: [&str; 7] = [
    "all",
    "any",
    "not",
    "taking",
    "allergic_to",
    "fact",
    "answers",
];

/// Reads a condition. `None` after a diagnostic; its siblings are still read.
pub(crate) fn read(names: &Names, reading: &mut Reading<'_>, node: &Node) -> Option<Condition> {
    let Some(form) = node
        .entries()
        .iter()
        .find(|it| FORMS.contains(&it.key.as_str()))
    else {
        reading.pass_over(node, &format!("a condition with {}", listed(&FORMS)));
        return None;
    };
    match form.key.as_str() {
        "all" => parts(names, reading, &form.value).map(Condition::All),
        "any" => parts(names, reading, &form.value).map(Condition::Any),
        "not" => read(names, reading, &form.value).map(|it| Condition::Not(Box::new(it))),
        "taking" => taking(names, reading, node, form),
        "allergic_to" => allergic(names, reading, node, form),
        "answers" => answers(reading, form),
        _ => fact(names, reading, node, form),
    }
}

/// A condition on what was answered at all. Which words may stand here is the schema's matter.
fn answers(reading: &mut Reading<'_>, form: &MapEntry) -> Option<Condition> {
    let written = form.value.written(reading.source)?;
    let found = Conflict::WRITTEN
        .into_iter()
        .find(|it| it.word() == written);
    if found.is_none() {
        reading.pass_over(&form.value, "`ruled-out` or `not-offered`");
    }
    found.map(Condition::Answers)
}

fn parts(names: &Names, reading: &mut Reading<'_>, list: &Node) -> Option<Vec<Condition>> {
    if list.items().is_empty() {
        reading.pass_over(list, "a list of conditions");
        return None;
    }
    let read: Vec<Option<Condition>> = list
        .items()
        .iter()
        .map(|it| read(names, reading, it))
        .collect();
    read.into_iter().collect()
}

/// One name or a list of names.
fn named<'a>(node: &'a Node, reading: &mut Reading<'_>) -> Vec<(&'a Node, String)> {
    let nodes: Vec<&Node> = if node.items().is_empty() {
        vec![node]
    } else {
        node.items().iter().collect()
    };
    let mut found = Vec::new();
    for it in nodes {
        match it.written(reading.source) {
            Some(text) => found.push((it, text.to_owned())),
            None => reading.pass_over(it, "a name"),
        }
    }
    found
}

/// The question that a condition on a list looks at; `None` after a diagnostic.
fn asked(
    names: &Names,
    reading: &mut Reading<'_>,
    form: &MapEntry,
    slot: Option<FactSlot>,
    answer: &str,
) -> Option<FactSlot> {
    if slot.is_none() && !names.broken.is_empty() {
        reading.excuse();
    } else if slot.is_none() {
        let title = format!("`{}` needs a question whose answer is `{answer}`", form.key);
        reading.wrong(Code::WrongTest, form, title, "no such question");
    }
    slot
}

/// What the names at a node mean together, `None` after a diagnostic, and the names as written. `what` they are, and that one
/// is `unlisted`, is for the message.
fn meant<'k, Of>(
    reading: &mut Reading<'_>,
    node: &Node,
    find: impl Fn(&str) -> Option<Bits<Of>>,
    (code, what, unlisted): (Code, &str, &str),
    known: impl Iterator<Item = &'k str> + Clone,
) -> (Option<Bits<Of>>, Vec<String>) {
    let mut all = Some(Bits::new());
    let mut written = Vec::new();
    for (place, name) in named(node, reading) {
        match find(&name) {
            Some(found) => all.iter_mut().for_each(|all| all.extend(&found)),
            None => {
                all = None;
                reading.unknown(code, &place.span, (what, &name, unlisted), known.clone());
            }
        }
        written.push(name);
    }
    (all, written)
}

fn taking(
    names: &Names,
    reading: &mut Reading<'_>,
    node: &Node,
    form: &MapEntry,
) -> Option<Condition> {
    let register = &names.medicines;
    let fact = asked(names, reading, form, names.catalogue.medicines, "medicines")?;
    let known = register
        .classes
        .iter()
        .map(|class| class.id.as_str())
        .chain(register.medicines.iter().map(|it| it.name.as_str()));
    let wrong = (
        Code::UnknownMedicine,
        "medicine or class",
        "not in medicines.yaml",
    );
    let (medicines, named) = meant(
        reading,
        &form.value,
        |name| register.find(name),
        wrong,
        known,
    );
    let at_least = match node.get("at_least") {
        None => 1,
        Some(place) => {
            let count = place.shown(reading.source).parse::<u16>().ok();
            let Some(count) = count.filter(|it| *it >= 1) else {
                reading.pass_over(place, "a whole number of medicines");
                return None;
            };
            count
        }
    };
    let medicines = medicines?;
    if medicines.iter().count() < usize::from(at_least)
        && let Some(place) = node.get("at_least")
    {
        let title = format!("there are not {at_least} medicines that could match");
        let help = "write a lower number, or name a class with more medicines";
        reading
            .wrong(Code::BadRange, place, title, "can never hold")
            .help(help);
    }
    Some(Condition::Taking {
        fact,
        named,
        medicines,
        at_least,
    })
}

fn allergic(
    names: &Names,
    reading: &mut Reading<'_>,
    node: &Node,
    form: &MapEntry,
) -> Option<Condition> {
    let register = &names.allergens;
    let fact = asked(names, reading, form, names.catalogue.allergies, "allergies")?;
    let known = register
        .groups
        .iter()
        .map(|group| group.id.as_str())
        .chain(register.substances.iter().map(|it| it.name.as_str()));
    let wrong = (
        Code::UnknownSubstance,
        "substance or group",
        "not in allergens.yaml",
    );
    let (substances, named) = meant(
        reading,
        &form.value,
        |name| register.find(name),
        wrong,
        known,
    );
    let reactions = node.get("reaction").map(|list| {
        let find = |name: &str| {
            register
                .reactions
                .position(|it| it.id == name)
                .map(|at| Bits::from_iter([at]))
        };
        let known = register
            .reactions
            .iter()
            .map(|reaction| reaction.id.as_str());
        meant(
            reading,
            list,
            find,
            (Code::UnknownSubstance, "reaction", "not in allergens.yaml"),
            known,
        )
        .0
    });
    Some(Condition::AllergicTo {
        fact,
        named,
        substances: substances?,
        reactions: match reactions {
            None => None,
            Some(reactions) => Some(reactions?),
        },
    })
}

fn fact(
    names: &Names,
    reading: &mut Reading<'_>,
    node: &Node,
    form: &MapEntry,
) -> Option<Condition> {
    let slot = names.fact(reading, &form.value)?;
    let Some(test) = node.entries().iter().find(|it| it.key != "fact") else {
        reading.pass_over(node, "a test beside `fact`");
        return None;
    };
    let (slot, fact_type) = tested_slot(names, slot, &test.key)?;
    let id = names.catalogue.id(slot).to_owned();
    let test = match (test.key.as_str(), &fact_type) {
        ("is" | "one_of", FactType::YesNo | FactType::OneOf) => {
            Test::OneOf(options(names, reading, slot, &test.value)?)
        }
        ("is_not" | "none_of", FactType::YesNo | FactType::OneOf) => {
            Test::NoneOf(options(names, reading, slot, &test.value)?)
        }
        ("includes" | "includes_any", FactType::SeveralOf | FactType::Anaesthetic) => {
            Test::Includes(options(names, reading, slot, &test.value)?)
        }
        ("above" | "at_least" | "below" | "at_most", FactType::Number { .. } | FactType::Date) => {
            let how = match test.key.as_str() {
                "above" => Comparison::Above,
                "at_least" => Comparison::AtLeast,
                "below" => Comparison::Below,
                _ => Comparison::AtMost,
            };
            let threshold = names.threshold(reading, &test.value, &id, &fact_type)?;
            can_be(names, reading, slot, &test.value, &threshold);
            Test::Compare(how, threshold)
        }
        ("between", FactType::Number { .. } | FactType::Date) => {
            let [low, high] = test.value.items() else {
                reading.pass_over(&test.value, "a list of two numbers");
                return None;
            };
            let (low_node, high_node) = (low, high);
            let low = names.threshold(reading, low_node, &id, &fact_type);
            let high = names.threshold(reading, high_node, &id, &fact_type);
            let (low, high) = (low?, high?);
            can_be(names, reading, slot, low_node, &low);
            can_be(names, reading, slot, high_node, &high);
            if low.value > high.value {
                let title = format!(
                    "the range from {} to {} is upside down",
                    low.written, high.written
                );
                return reading
                    .wrong(Code::BadRange, &test.value, title, "no value lies in it")
                    .help("write the lower bound first")
                    .none();
            }
            Test::Between(low, high)
        }
        ("older_than", FactType::Date) => Test::OlderThan(span(names, reading, &test.value)?),
        ("within", FactType::Date) => Test::Within(span(names, reading, &test.value)?),
        (key, _) => {
            let fits = fitting_tests(&fact_type);
            let title = format!(
                "`{key}` does not fit `{id}`, which is {}",
                fact_type.in_words()
            );
            return reading
                .wrong(Code::WrongTest, test, title, "wrong test")
                .help(fits)
                .none();
        }
    };
    Some(Condition::Fact { fact: slot, test })
}

/// Reports a number that no answer can be: the test would always hold, or never. A decimal point in the wrong place is
/// common.
fn can_be(
    names: &Names,
    reading: &mut Reading<'_>,
    slot: FactSlot,
    node: &Node,
    threshold: &Threshold,
) {
    let FactKind::Question(at) = names.catalogue.fact(slot).kind else {
        return;
    };
    let question = &names.catalogue.questions[at];
    let Some((low, high)) = question
        .plausible
        .filter(|(low, high)| threshold.value < *low || threshold.value > *high)
    else {
        return;
    };
    let title = format!(
        "no answer to `{}` can be {}",
        question.id, threshold.written
    );
    let help = format!(
        "only {} to {} is taken as an answer: correct the number, or the question's `plausible`",
        tidy(low, None),
        tidy(high, None)
    );
    reading
        .wrong(Code::BadRange, node, title, "outside the plausible range")
        .help(help);
}

/// `older_than` and `within` on a dated answer mean its date.
fn tested_slot(names: &Names, slot: FactSlot, test: &str) -> Option<(FactSlot, FactType)> {
    let fact = names.catalogue.fact(slot);
    if ["older_than", "within"].contains(&test)
        && let FactKind::Question(at) = fact.kind
        && let Some(date_slot) = names.catalogue.questions[at].date_slot
    {
        return Some((date_slot, FactType::Date));
    }
    Some((slot, fact.fact_type.clone()))
}

fn fitting_tests(fact_type: &FactType) -> String {
    match fact_type {
        FactType::YesNo | FactType::OneOf => "use `is`, `is_not`, `one_of` or `none_of`".into(),
        FactType::SeveralOf | FactType::Anaesthetic => "use `includes` or `includes_any`".into(),
        FactType::Number { .. } => {
            "use `above`, `at_least`, `below`, `at_most` or `between`; the age of a dated answer takes `older_than` or `within`".into()
        }
        FactType::Date => "use `older_than` or `within`, or compare with a date".into(),
        FactType::Medicines => "use `taking: ...`".into(),
        FactType::Allergies => "use `allergic_to: ...`".into(),
        FactType::Text => "free text is shown, never tested".into(),
    }
}

fn options(
    names: &Names,
    reading: &mut Reading<'_>,
    slot: FactSlot,
    node: &Node,
) -> Option<Vec<u16>> {
    let fact_type = names.catalogue.fact(slot).fact_type.clone();
    let mut positions = Vec::new();
    let mut complete = true;
    for (place, name) in named(node, reading) {
        let known: Vec<String> = match fact_type {
            FactType::YesNo => vec!["no".into(), "yes".into()],
            FactType::Anaesthetic => names.agents.iter().map(|it| it.id.clone()).collect(),
            _ => names
                .catalogue
                .options(slot)
                .iter()
                .map(|it| it.id.clone())
                .collect(),
        };
        let name_of_yes_no = match name.as_str() {
            "true" if fact_type == FactType::YesNo => "yes",
            "false" if fact_type == FactType::YesNo => "no",
            other => other,
        };
        let mut found: Vec<u16> = known
            .iter()
            .enumerate()
            .filter(|(_, id)| *id == name_of_yes_no)
            .filter_map(|(at, _)| u16::try_from(at).ok())
            .collect();
        if fact_type == FactType::Anaesthetic && found.is_empty() {
            let family = names
                .agents
                .iter()
                .enumerate()
                .filter(|(_, it)| it.family == name);
            found = family
                .filter_map(|(at, _)| u16::try_from(at).ok())
                .collect();
        }
        if found.is_empty()
            && fact_type == FactType::Anaesthetic
            && names.is_broken(What::Agent, &name)
        {
            complete = false;
            reading.excuse();
        } else if found.is_empty() {
            complete = false;
            let known: Vec<&str> = known.iter().map(String::as_str).collect();
            let help = did_you_mean(&name, known.iter().copied());
            let title = format!("`{}` has no option `{name}`", names.catalogue.id(slot));
            reading
                .wrong(Code::UnknownOption, place, title, "not an option")
                .help_if(help);
        }
        positions.extend(found);
    }
    complete.then_some(positions)
}

fn span(names: &Names, reading: &mut Reading<'_>, node: &Node) -> Option<SpanLimit> {
    if node.get("limit").is_some() {
        let at = names.limit_of(reading, node)?;
        let limit = &names.limits[at];
        if let LimitValue::Span(span) = limit.value {
            return Some(SpanLimit {
                span,
                limit: Some(at),
            });
        }
        let title = format!("limit `{}` is not a length of time", limit.id);
        return reading
            .wrong(Code::WrongTest, node, title, "a length of time is needed")
            .help("such as `72 hours` or `3 months`")
            .none();
    }
    let text = node.shown(reading.source).to_owned();
    let read = Span::read(&text);
    if read.is_none() {
        let title = format!("`{text}` is not a length of time");
        reading
            .wrong(Code::WrongUnit, node, title, "a length of time is needed")
            .help("such as `72 hours`, `3 days` or `6 months`");
    }
    read.map(|span| SpanLimit { span, limit: None })
}
