//! A questionnaire's text with one answer otherwise.

use preblock::inner::questionnaire::edit::{Entered, started, understood, with_answer};
use preblock::inner::rule_set::{Idx, Question, RuleSet};

use crate::support::{codes, embedded_once, today};

fn question(rules: &RuleSet, id: &str) -> Idx<Question> {
    rules
        .catalogue
        .questions
        .position(|it| it.id == id)
        .unwrap_or_else(|| panic!("there is no question {id}"))
}

fn typed(text: &str) -> Entered {
    Entered::Typed(text.to_owned())
}

/// The text after one answer after another.
fn after(text: &str, answers: &[(&str, Entered)]) -> String {
    let rules = &embedded_once().0;
    answers.iter().fold(text.to_owned(), |text, (id, answer)| {
        with_answer(rules, &text, question(rules, id), answer)
            .unwrap_or_else(|found| panic!("{id}: {}", codes(&found).join(", ")))
    })
}

#[test]
fn a_new_questionnaire_is_filled_line_by_line() {
    let rules = &embedded_once().0;
    let text = started(rules, "SM-103", today()).unwrap_or_default();
    let text = after(
        &text,
        &[
            ("person.weight", typed("81 kg")),
            ("person.sex", Entered::Options(vec!["female".into()])),
            ("plan.adrenaline", Entered::Options(vec!["no".into()])),
            ("person.date_of_birth", Entered::NotKnown),
            (
                "bleeding.inr",
                Entered::Dated {
                    value: Box::new(typed("2.6")),
                    taken_on: "2026-11-20".into(),
                },
            ),
        ],
    );
    let expected = "\
questionnaire: 1
for: nail-surgery
reference: SM-103
completed_on: 2026-11-25
answers:
  person:
    date_of_birth: unknown
    sex: female
    weight: 81 kg
  plan:
    adrenaline: no
  bleeding:
    inr: { value: 2.6, taken_on: 2026-11-20 }
";
    assert_eq!(text, expected);
}

#[test]
fn comments_order_and_other_answers_stay() {
    let text = "\
# first
questionnaire: 1   # the form
reference: SM-1
answers:
  # about the person
  person:   # whoever
    sex:    female    # told
    weight:           # kg
    # of the surgery
    height: 170 cm
  medicines: {}
  plan: { adrenaline: no, tourniquet: yes }  # agreed
note: >
  long and
  wide
";
    let changed = after(
        text,
        &[
            ("person.sex", Entered::Options(vec!["male".into()])),
            ("person.weight", typed("81 kg")),
            ("person.height", Entered::Nothing),
            ("plan.tourniquet", Entered::NotKnown),
            (
                "plan.antiseptic",
                Entered::Options(vec!["chlorhexidine".into()]),
            ),
        ],
    );
    let expected = "\
# first
questionnaire: 1   # the form
reference: SM-1
answers:
  # about the person
  person:   # whoever
    sex:    male    # told
    weight: 81 kg           # kg
    # of the surgery
    height:
  medicines: {}
  plan: { adrenaline: no, tourniquet: unknown, antiseptic: chlorhexidine }  # agreed
note: >
  long and
  wide
";
    assert_eq!(changed, expected);
}

#[test]
fn one_answer_is_understood_by_itself() {
    let rules = &embedded_once().0;
    let words = |id: &str, answer: &Entered| match understood(
        rules,
        question(rules, id),
        answer,
        today(),
    ) {
        Ok(it) => it.words,
        Err(found) => codes(&found).join("; "),
    };
    assert_eq!(words("person.weight", &typed("81 kg")), "81 kg");
    assert_eq!(
        words("person.weight", &typed("81")),
        "answers/needs-unit `person.weight` needs a unit"
    );
    assert_eq!(
        words("person.weight", &Entered::NotKnown),
        "asked, not known"
    );
}
