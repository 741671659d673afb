//! The parts of the book that the rules point to: limits, what is worked out, questions, anaesthetics.

use std::collections::{BTreeMap, BTreeSet};

use crate::report::book::extent::named_here;
use crate::report::book::{Book, BookText, anchor_of, cited, link};
use crate::report::formulas::{FormulaRow, RoleRow};
use crate::report::markdown::escape::{code, inline};
use crate::rule_set::catalogue::Who;
use crate::rule_set::words::said;
use crate::rule_set::{
    Answer, Choice, Citation, Idx, Input, Limit, Piece, Question, Rule, RuleSet,
};

pub fn limits(sheet: &mut BookText, book: &Book<'_>) {
    let rules = book.rule_set;
    sheet.paragraph("Every number that a rule tests, in one place. Where sources differ, the more cautious usable figure counts.");
    let tested: Vec<Vec<Idx<Limit>>> = rules.rules().map(|it| it.when.limits()).collect();
    for (at, limit) in rules.limits.entries() {
        sheet.heading(
            3,
            &format!("limits/{}", limit.id),
            &format!("{} = {}", inline(&limit.id), inline(&limit.written)),
        );
        sheet.paragraph(&format!("{}.", inline(&limit.about)));
        if let Some(other) = &limit.other_figures {
            sheet.paragraph(&format!("Other figures: {}.", inline(other)));
        }
        sheet.gap();
        sheet.citations(0, rules, &limit.citations);
        let named = rules
            .rules()
            .zip(&tested)
            .filter(|(it, tested)| tested.contains(&at) || tells(it, at));
        let is_given = |input: &Input| matches!(input, Input::Limit(it, _) if *it == at);
        let derived = rules.catalogue.derived.iter();
        let worked_out = derived.filter(|it| it.inputs.iter().any(is_given));
        let users: Vec<&str> = named
            .map(|(it, _)| it.id.as_str())
            .chain(worked_out.map(|it| it.id.as_str()))
            .collect();
        match users.is_empty() {
            true => sheet.paragraph(
                "No rule or formula names it: a question or an anaesthetic limit uses it.",
            ),
            false => sheet.paragraph(&format!("Used by {}.", links(users.into_iter()))),
        }
    }
}

/// Whether a text of the rule shows the limit.
fn tells(rule: &Rule, limit: Idx<Limit>) -> bool {
    rule.sentences()
        .flat_map(|it| &it.text.pieces)
        .any(|it| *it == Piece::Limit(limit))
}

/// Links to things whose anchors are their ids.
pub fn links<'a>(ids: impl Iterator<Item = &'a str>) -> String {
    ids.map(|it| link(it, it)).collect::<Vec<_>>().join(", ")
}

pub fn derived(sheet: &mut BookText, book: &Book<'_>) {
    let rules = book.rule_set;
    sheet.paragraph("Computed from the answers, never asked. Without one of its inputs such a value is missing, too.");
    let users = users(rules);
    for it in &rules.catalogue.derived {
        sheet.heading(3, &it.id, &inline(&it.about));
        let unit = it
            .unit
            .as_ref()
            .map_or(String::new(), |unit| format!(", in {}", inline(unit)));
        sheet.paragraph(&format!(
            "{}{unit}. Formula {}: {}.",
            code(&it.id),
            code(it.formula.name),
            inline(it.formula.about)
        ));
        let inputs: Vec<String> = it
            .given()
            .map(|(role, input)| {
                let given = match input {
                    Input::Fact(slot) => {
                        anchor_of(rules, slot).map_or(String::new(), |id| link(id, id))
                    }
                    Input::Limit(at, number) => {
                        let limit = format!("limits/{}", rules.limits[at].id);
                        link(&number.to_string(), &limit)
                    }
                };
                format!("{}: {given}", inline(&role.name.replace('_', " ")))
            })
            .collect();
        sheet.paragraph(&format!("From {}.", inputs.join("; ")));
        used_by(sheet, &users, &it.id);
    }
}

pub fn formulas(sheet: &mut BookText, book: &Book<'_>) {
    sheet.paragraph(
        "Every formula that the program knows, used here or not. Its arithmetic is the program's; what it is given, and every figure in it \
         that may be chosen, is the rule set's.",
    );
    let derived = &book.rule_set.catalogue.derived;
    let belongs = |name: &str| {
        let mut of_book = derived.iter().filter(|it| book.has(&it.id));
        book.extent.is_none() || of_book.any(|it| it.formula.name == name)
    };
    let rows: Vec<[String; 5]> = FormulaRow::all(book.rule_set)
        .iter()
        .filter(|it| belongs(it.name))
        .map(|it| {
            let roles: Vec<String> = it.roles.iter().map(RoleRow::in_words).collect();
            [
                format!("{}: {}", code(it.name), inline(it.about)),
                inline(&it.gives),
                inline(&roles.join("; ")),
                inline(&it.known_with),
                inline(it.source),
            ]
        })
        .collect();
    let headings = ["formula", "gives", "from", "known with", "source"];
    sheet.table(&headings, "lllll", &rows);
}

/// The rules whose conditions look at each fact, by its id, and at each class, by its anchor.
fn users(rules: &RuleSet) -> BTreeMap<String, Vec<&str>> {
    let mut found: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for rule in rules.rules() {
        let facts = rule.when.facts().into_iter();
        let mut looks: BTreeSet<String> = facts
            .filter_map(|it| anchor_of(rules, it).map(str::to_owned))
            .collect();
        rule.when.visit(&mut |leaf| looks.extend(named_here(leaf)));
        for it in looks {
            found.entry(it).or_default().push(&rule.id);
        }
    }
    found
}

pub fn classes(sheet: &mut BookText, book: &Book<'_>) {
    let RuleSet {
        medicines,
        allergens,
        ..
    } = book.rule_set;
    let users = users(book.rule_set);
    let of_medicines = medicines.classes.iter().map(|it| {
        let members = it.members.iter().map(|at| &medicines.medicines[at].name);
        ("classes", &it.id, &it.about, members.collect::<Vec<_>>())
    });
    let of_substances = allergens.groups.iter().map(|it| {
        let members = it.members.iter().map(|at| &allergens.substances[at].name);
        ("groups", &it.id, &it.about, members.collect())
    });
    for (kind, id, about, mut members) in of_medicines.chain(of_substances) {
        let anchor = format!("{kind}/{id}");
        if !users.contains_key(&anchor) {
            continue;
        }
        sheet.heading(3, &anchor, &inline(about));
        members.sort();
        let members: Vec<String> = members.into_iter().map(|it| inline(it)).collect();
        sheet.paragraph(&format!("{}: {}.", code(id), members.join(", ")));
        used_by(sheet, &users, &anchor);
    }
}

fn used_by(sheet: &mut BookText, users: &BTreeMap<String, Vec<&str>>, id: &str) {
    if let Some(users) = users.get(id) {
        sheet.paragraph(&format!("Looked at by {}.", links(users.iter().copied())));
    }
}

pub fn questions(sheet: &mut BookText, book: &Book<'_>) {
    let rules = book.rule_set;
    let users = users(rules);
    for it in &rules.catalogue.questions {
        question(sheet, rules, it, &users);
    }
}

fn question(
    sheet: &mut BookText,
    rules: &RuleSet,
    question: &Question,
    users: &BTreeMap<String, Vec<&str>>,
) {
    sheet.heading(3, &question.id, &inline(&question.ask));
    let who = match question.from {
        Who::Patient => "the patient, or who speaks for the patient",
        Who::Referrer => "the referrer",
        Who::Nurse => "the clinic's nurse",
        Who::Clinician => "the operating clinician",
        Who::Record => "a record",
    };
    let plan = if question.decision {
        " A choice of the plan."
    } else {
        ""
    };
    sheet.paragraph(&format!(
        "{}, section {}, answered by {who}: {}.{plan}",
        code(&question.id),
        inline(&rules.catalogue.sections[question.section].title),
        inline(&kind(question))
    ));
    if let Some(help) = &question.help {
        sheet.paragraph(&inline(help));
    }
    if let Some(ask) = &question.ask_patient {
        sheet.paragraph(&format!("**As the patient is asked:** {}", inline(ask)));
    }
    if let Answer::OneOf(options) | Answer::SeveralOf(options) = &question.answer {
        sheet.gap();
        let nothing = |it: &Choice| {
            if it.nothing && question.ask_when.is_some() {
                "; says nothing where it is not asked"
            } else {
                ""
            }
        };
        options.iter().for_each(|it| {
            let to_patient = it.text_patient.as_ref().map_or_else(String::new, |text| {
                format!("; to the patient: {}", inline(text))
            });
            sheet.item(
                0,
                &format!(
                    "{} ({}){}{to_patient}",
                    inline(&it.text),
                    inline(&it.id),
                    nothing(it)
                ),
            )
        });
    }
    if let Some(when) = &question.ask_when {
        sheet.paragraph("**Asked when**");
        sheet.gap();
        sheet.said(0, &said(rules, when));
        if let Some(otherwise) = question.otherwise {
            sheet.paragraph(&format!(
                "Elsewhere it counts as answered: {}.",
                inline(question.option_in_words(otherwise))
            ));
        } else if question.harmless_alone {
            sheet.paragraph("Elsewhere every answer is set aside.");
        }
    }
    used_by(sheet, users, &question.id);
}

/// What kind of answer is wanted, in words.
fn kind(question: &Question) -> String {
    let kind = match &question.answer {
        Answer::YesNo => "yes or no".to_owned(),
        Answer::OneOf(_) => "one of".to_owned(),
        Answer::SeveralOf(_) => "none, one or several of".to_owned(),
        Answer::Number { whole: true } => "a whole number".to_owned(),
        Answer::Number { whole: false } => "a number".to_owned(),
        Answer::Quantity { unit, units, .. } if units.is_empty() => format!("an amount in {unit}"),
        Answer::Quantity { unit, units, .. } => {
            format!("an amount in {unit} (or in {})", units.join(", "))
        }
        Answer::Date => "a day".to_owned(),
        Answer::Text => "free text, shown and never evaluated".to_owned(),
        Answer::Medicines => "a list of medicines".to_owned(),
        Answer::Allergies => "a list of substances and what happened".to_owned(),
        Answer::Anaesthetic => "a list of anaesthetics with strength and volume".to_owned(),
    };
    let plausible = question.plausible.map_or(String::new(), |(low, high)| {
        format!(", from {low} to {high}")
    });
    let dated = if question.dated {
        ", with the day of the result"
    } else {
        ""
    };
    format!("{kind}{plausible}{dated}")
}

pub fn anaesthetics(sheet: &mut BookText, book: &Book<'_>) {
    let rules = book.rule_set;
    sheet.paragraph("The most of each that is allowed. The first row that fits counts; where none fits, no dose can be checked.");
    for agent in &rules.agents {
        sheet.heading(3, &format!("anaesthetics/{}", agent.id), &inline(&agent.id));
        let also = if agent.also.is_empty() {
            String::new()
        } else {
            format!(", also called {}", agent.also.join(", "))
        };
        let per_site = agent.per_site.map_or(String::new(), |mg| {
            format!(", at most {mg} mg in one {}", rules.site.one)
        });
        let (low, high) = agent.strengths;
        let about = format!(
            "Of the {} kind{also}; strengths from {low} % to {high} %{per_site}.",
            agent.family
        );
        sheet.paragraph(&inline(&about));
        let rows: Vec<[String; 6]> = agent
            .limits
            .iter()
            .map(|limit| {
                let ages = match (limit.from_age, limit.below_age) {
                    (Some(from), Some(below)) => format!("from {from}, below {below}"),
                    (Some(from), None) => format!("from {from}"),
                    (None, Some(below)) => format!("below {below}"),
                    (None, None) => "all".to_owned(),
                };
                [
                    if limit.adrenaline { "with" } else { "without" }.to_owned(),
                    ages,
                    format!("{} mg/kg", limit.per_kg),
                    limit
                        .at_most
                        .map_or("no more is said".to_owned(), |it| format!("{it} mg")),
                    limit.other_figures.as_deref().map_or(String::new(), inline),
                    cell(rules, &limit.citations),
                ]
            })
            .collect();
        sheet.table(
            &[
                "Adrenaline",
                "Age in years",
                "For each kg",
                "At most",
                "Other figures",
                "Rests on",
            ],
            "llllll",
            &rows,
        );
    }
    for it in &rules.reductions {
        sheet.heading(
            3,
            &format!("anaesthetics/{}", it.id),
            &format!("A smaller share: {}", inline(&it.about)),
        );
        sheet.paragraph(&format!(
            "{} of every limit is left when",
            inline(&it.share.to_string())
        ));
        sheet.gap();
        sheet.said(0, &said(rules, &it.when));
        sheet.gap();
        sheet.citations(0, rules, &it.citations);
    }
}

/// Citations in a cell of a table.
fn cell(rules: &RuleSet, citations: &[Citation]) -> String {
    citations
        .iter()
        .map(|it| cited(rules, it))
        .collect::<Vec<_>>()
        .join(" ")
}
