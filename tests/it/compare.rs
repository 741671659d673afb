//! Two rule sets beside one another: what changed and for whom, where the answer is known by hand.

use std::collections::BTreeSet;

use batsat::Lit;
use preblock::inner::batch::compare::BatchComparer;
use preblock::inner::batch::lines::Lines;
use preblock::inner::exact::domain::Shape;
use preblock::inner::exact::{Decider, Witness};
use preblock::inner::outcome::Standing;
use preblock::inner::outcome::State;
use preblock::inner::questionnaire::policy::rule_set_with;
use preblock::inner::report::compare::{Compared, json, markdown, text};
use preblock::inner::rule_set::RuleSet;
use preblock::inner::rule_set::files::{RuleFiles, TextFile};
use preblock::inner::screening::compile::Compiled;
use preblock::inner::screening::evaluate::standing;
use preblock::inner::workbench::cases::read::cases;
use preblock::inner::workbench::compare::lines::{LineTally, LinesOfKind};
use preblock::inner::workbench::compare::{
    Both, ChangeKind, Exact, Tally, ThingKind, changes, exact, is_less_cautious, tally,
};
use proptest::prelude::*;
use pulldown_cmark::{Event, Options, Parser, Tag};
use rstest::rstest;
use serde_json::Value;

use crate::properties::{GATED, choices, text as written_answers, tree, yaml};
use crate::support::{
    SEED, alone, codes, embedded_once, facts_over, files, gathered, text_of, today,
};

type Rules = &'static [(&'static str, &'static str, &'static str)];
type Edits = &'static [(&'static str, &'static str, &'static str)];

const QUESTIONS: &str = "questions.yaml";
const LIMITS: &str = "limits.yaml";
const MEDICINES: &str = "medicines.yaml";
const RULE: &str = "concerns/test.yaml";
const INR: (&str, &str, &str) = (
    "inr",
    "defer",
    "{ fact: a.inr, at_least: { limit: ceiling } }",
);
const SMOKES: (&str, &str, &str) = ("smokes", "refer", "{ fact: a.smokes, is: yes }");
const PULSE: (&str, &str, &str) = ("pulse", "defer", "{ fact: a.pulse, is: absent }");
const THINNER: (&str, &str, &str) = ("thinner", "defer", "{ taking: thinner }");
const COUNT: (&str, &str, &str) = ("count", "defer", "{ fact: a.count, above: 50 }");
const SIGNS: (&str, &str, &str) = ("signs", "defer", "{ fact: derived.n_signs, at_least: 2 }");
const OFFERED: (&str, &str, &str) = ("offered", "defer", "{ answers: not-offered }");

/// The files of the tiny rule set with these rules, and each text replaced where it stands once.
fn edited(rules: &[(&str, &str, &str)], edits: &[(&str, &str, &str)]) -> RuleFiles {
    let mut files = files(rules);
    for (file, find, replace) in edits {
        let text = text_of(&files, file);
        assert_eq!(text.matches(find).count(), 1, "{file} has {find} just once");
        files.set(*file, text.replace(find, replace));
    }
    files
}

fn read(files: &RuleFiles, local: Option<&str>) -> RuleSet {
    let local = local.map(|changes| {
        let terms = "reason: So it is here., agreed_by: lead, agreed_on: 2026-11-20, review_by: 2027-05-31";
        let text =
            format!("local_policy: 1\nclinic: Saltmarsh Foot Clinic\nof: tiny\nedition: \"1\"\nchanges:\n  - {{ {changes}, {terms} }}\n");
        TextFile::new("local.yaml", text)
    });
    // By its own rules: what the program holds besides is the same for both.
    alone(
        rule_set_with(files, local.as_ref())
            .unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n"))),
    )
}

fn of(rules: &[(&str, &str, &str)], edits: &[(&str, &str, &str)]) -> RuleSet {
    read(&edited(rules, edits), None)
}

fn compared<'a>(old: &'a RuleSet, new: &'a RuleSet) -> Compared<'a> {
    let exact =
        exact(&Both::new(old, new, today()), &[]).map_err(|it| format!("{} ({})", it.fact, it.of));
    Compared {
        old,
        new,
        changes: changes(old, new),
        cases: Tally::default(),
        files: None,
        lines: None,
        exact,
        as_of: today(),
    }
}

/// What a questionnaire comes to, read back from its text.
fn screened(rules: &RuleSet, seen: &Witness) -> Standing {
    let clinic = seen.clinic.as_deref();
    assert!(
        clinic.is_none_or(|it| it.contains(&format!("\nfor: {}\n", rules.id))),
        "an example's clinic says for which rule set it is: {clinic:?}"
    );
    standing(
        rules,
        &Compiled::new(rules).run(&facts_over(
            rules,
            seen.clinic.as_deref(),
            &seen.questionnaire,
        )),
    )
}

/// The moves, "old > new", after every example was screened with both rule sets, and the less cautious stand first.
fn moves(old: &RuleSet, new: &RuleSet, exact: &Exact) -> Vec<String> {
    for one in &exact.moves {
        let Ok([before, after]) = one.example.as_deref() else {
            unreachable!("no example of {one:?}")
        };
        assert_eq!(
            (screened(old, before), screened(new, after)),
            (one.old, one.new),
            "{}",
            after.questionnaire
        );
    }
    for shift in &exact.shifts {
        for (fires_before, example) in [(true, &shift.lost), (false, &shift.gained)] {
            let Some(example) = example else { continue };
            let Ok([before, after]) = example.as_deref() else {
                unreachable!("no example of {shift:?}")
            };
            let fires = |rules: &RuleSet, seen: &Witness| {
                let at = rules.judging.position(|it| it.id == shift.rule);
                at.is_some_and(|at| seen.states[at] == State::Fires)
            };
            assert_eq!(
                (fires(old, before), fires(new, after)),
                (fires_before, !fires_before),
                "{}",
                shift.rule
            );
            // Both are read back, so that neither is refused.
            screened(old, before);
            screened(new, after);
        }
    }
    assert!(
        exact
            .moves
            .is_sorted_by_key(|it| !is_less_cautious(it.old, it.new)),
        "the less cautious come first"
    );
    exact
        .moves
        .iter()
        .map(|it| format!("{} > {}", it.old.words(), it.new.words()))
        .collect()
}

fn shifts(exact: &Exact) -> Vec<String> {
    let one = |it: &preblock::inner::workbench::compare::Shift| {
        let (lost, gained) = (
            if it.lost.is_some() { " -" } else { "" },
            if it.gained.is_some() { " +" } else { "" },
        );
        format!("{}{lost}{gained}", it.rule.trim_start_matches("test/"))
    };
    exact.shifts.iter().map(one).collect()
}

/// A change, and what it comes to: moves "old > new", and the rules that fire for fewer (-) or for more (+).
#[rstest]
#[case::limit_raised(&[INR], &[], &[INR], &[(LIMITS, "value: 4.0", "value: 5.0")], &["defer > go"], &["inr -"])]
#[case::limit_lowered(&[INR], &[], &[INR], &[(LIMITS, "value: 4.0", "value: 3.0")], &["go > defer"], &["inr +"])]
#[case::rule_added(&[INR], &[], &[INR, SMOKES], &[], &["go > defer", "defer > refer, routine", "go > refer, routine"], &["smokes +"])]
#[case::rule_removed(&[INR, SMOKES], &[], &[INR], &[], &["refer, routine > go", "refer, routine > defer", "defer > go"], &["smokes -"])]
#[case::outcome_raised(
    &[("x", "defer", "{ fact: a.smokes, is: yes }")], &[], &[("x", "refer", "{ fact: a.smokes, is: yes }")], &[],
    &["defer > refer, routine"], &[]
)]
#[case::outcome_lowered(
    &[("x", "defer", "{ fact: a.smokes, is: yes }")], &[], &[("x", "go", "{ fact: a.smokes, is: yes }")], &[], &["defer > go"], &[]
)]
#[case::urgency_raised(
    &[SMOKES], &[], &[SMOKES], &[(RULE, "urgency: routine", "urgency: same-day")], &["refer, routine > refer, same-day"], &[]
)]
#[case::urgency_lowered(
    &[SMOKES], &[(RULE, "urgency: routine", "urgency: urgent")], &[SMOKES], &[], &["refer, urgent > refer, routine"], &[]
)]
#[case::condition_widened(
    &[PULSE], &[], &[("pulse", "defer", "{ fact: a.pulse, one_of: [absent, doubtful] }")], &[], &["go > defer"], &["pulse +"]
)]
#[case::any_for_all(
    &[("x", "defer", "{ any: [{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }] }")], &[],
    &[("x", "defer", "{ all: [{ fact: a.smokes, is: yes }, { fact: a.drinks, is: yes }] }")], &[], &["defer > go"], &["x -"]
)]
#[case::a_dropped_not(
    &[("x", "defer", "{ not: { fact: a.smokes, is: yes } }")], &[], &[("x", "defer", "{ fact: a.smokes, is: yes }")], &[],
    &["defer > go", "go > defer"], &["x - +"]
)]
#[case::another_side_of_a_bound(
    &[COUNT], &[], &[("count", "defer", "{ fact: a.count, at_least: 50 }")], &[], &["go > defer"], &["count +"]
)]
#[case::wording(&[INR], &[], &[INR], &[(RULE, "reason: So it is.", "reason: So it may be.")], &[], &[])]
#[case::question_added(
    &[INR], &[], &[INR],
    &[(QUESTIONS, "      - { id: words,", "      - { id: naps, ask: Naps?, answer: yes-no, from: patient }\n      - { id: words,")],
    &[], &[]
)]
#[case::question_added_with_a_rule(
    &[INR], &[], &[INR, ("naps", "defer", "{ fact: a.naps, is: yes }")],
    &[(QUESTIONS, "      - { id: words,", "      - { id: naps, ask: Naps?, answer: yes-no, from: patient }\n      - { id: words,")],
    &["go > defer"], &["naps +"]
)]
#[case::question_renamed(
    &[SMOKES], &[], &[("smokes", "refer", "{ fact: a.sm, is: yes }")],
    &[(QUESTIONS, "id: smokes, ask", "id: sm, ask"), (QUESTIONS, "fact: a.smokes", "fact: a.sm")],
    &["refer, routine > go", "refer, routine > defer", "defer > go", "go > defer", "defer > refer, routine", "go > refer, routine"],
    &["smokes - +"]
)]
#[case::another_formula(
    &[SIGNS], &[], &[SIGNS], &[(QUESTIONS, "with: { list: a.signs }", "with: { list: plan.toes }")], &["defer > go", "go > defer"],
    &["signs - +"]
)]
#[case::class_added(
    &[THINNER], &[], &[THINNER], &[(MEDICINES, "also: [acetaminophen], in: [other]", "also: [acetaminophen], in: [other, thinner]")],
    &["go > defer"], &["thinner +"]
)]
#[case::class_lost(
    &[THINNER], &[], &[THINNER], &[(MEDICINES, "{ name: apixaban, in: [thinner] }", "{ name: apixaban, in: [other] }")],
    &["defer > go"], &["thinner -"]
)]
#[case::name_added(
    &[THINNER], &[], &[THINNER], &[(MEDICINES, "also: [acetylsalicylic acid]", "also: [acetylsalicylic acid, house tablet]")],
    &[], &["thinner +"]
)]
#[case::name_of_something_harmless_added(
    &[THINNER], &[], &[THINNER], &[(MEDICINES, "also: [acetaminophen]", "also: [acetaminophen, house tablet]")], &["defer > go"], &[]
)]
// Two names of one medicine count once; to the old rule set the new name is a second one that nobody knows.
#[case::name_beside_its_medicine(
    &[("two", "defer", "{ taking: thinner, at_least: 2 }")], &[], &[("two", "defer", "{ taking: thinner, at_least: 2 }")],
    &[(MEDICINES, "also: [acetylsalicylic acid]", "also: [acetylsalicylic acid, house tablet]")], &["defer > go"], &["two +"]
)]
#[case::name_moved(
    &[("old", "defer", "{ taking: old-thinner }")],
    &[(MEDICINES, "{ name: warfarin, in", "{ name: warfarin, also: [house tablet], in")],
    &[("old", "defer", "{ taking: old-thinner }")],
    &[(MEDICINES, "{ name: apixaban, in", "{ name: apixaban, also: [house tablet], in")],
    &["defer > go"], &["old -"]
)]
#[case::salt_added(
    &[THINNER], &[], &[THINNER], &[(MEDICINES, "salt_words: [sodium]", "salt_words: [sodium, calcium]")], &["defer > go"], &["thinner +"]
)]
#[case::reaction_beside_others(
    &[("latex", "defer", "{ allergic_to: latex, reaction: [anaphylaxis] }")], &[],
    &[("latex", "defer", "{ allergic_to: latex, reaction: [anaphylaxis, rash] }")], &[], &["go > defer"], &["latex +"]
)]
#[case::crossing_lost(
    &[("latex", "defer", "{ allergic_to: latex }")], &[], &[("latex", "defer", "{ allergic_to: latex }")],
    &[("allergens.yaml", "{ name: latex, crosses_with: [banana] }", "{ name: latex }")], &["defer > go"], &["latex -"]
)]
#[case::day_of_the_calendar(
    &[("seen", "defer", "{ fact: a.seen_on, above: 2026-06-01 }")], &[], &[("seen", "defer", "{ fact: a.seen_on, above: 2026-03-01 }")], &[],
    &["go > defer"], &["seen +"]
)]
#[case::day_of_the_calendar_untouched(
    &[("seen", "defer", "{ fact: a.seen_on, above: 2026-06-01 }"), INR], &[],
    &[("seen", "defer", "{ fact: a.seen_on, above: 2026-06-01 }"), INR], &[(LIMITS, "value: 4.0", "value: 5.0")], &["defer > go"], &["inr -"]
)]
#[case::age_of_a_result(
    &[("inr", "defer", "{ fact: a.inr, older_than: { limit: fresh } }")], &[],
    &[("inr", "defer", "{ fact: a.inr, older_than: { limit: fresh } }")], &[(LIMITS, "72 hours", "96 hours")], &["defer > go"], &["inr -"]
)]
#[case::gate_moved(
    &[("odds", "defer", "{ answers: ruled-out }")], &[], &[("odds", "defer", "{ answers: ruled-out }")],
    &[(QUESTIONS, "ask_when: { fact: a.smokes, is: yes }", "ask_when: { fact: a.drinks, is: yes }")], &["defer > go", "go > defer"],
    &["odds - +"]
)]
fn a_change(
    #[case] rules: Rules,
    #[case] edits: Edits,
    #[case] new_rules: Rules,
    #[case] new_edits: Edits,
    #[case] expected: &[&str],
    #[case] fire: &[&str],
) {
    let (old, new) = (of(rules, edits), of(new_rules, new_edits));
    let exact =
        exact(&Both::new(&old, &new, today()), &[]).unwrap_or_else(|it| unreachable!("{it:?}"));
    let found: BTreeSet<String> = moves(&old, &new, &exact).into_iter().collect();
    assert_eq!(
        found,
        expected.iter().map(|it| (*it).to_owned()).collect(),
        "the moves"
    );
    assert_eq!(shifts(&exact), fire, "the rules");
    assert_eq!(
        exact.refused_by_one,
        Vec::<String>::new(),
        "nothing is left apart"
    );
    let both = compared(&old, &new);
    assert!(!both.changes.is_empty() && !both.is_the_same());
    assert_eq!(
        both.loosens(),
        exact
            .moves
            .iter()
            .any(|it| is_less_cautious(it.old, it.new))
    );
    if expected.is_empty() {
        assert!(
            text(&both, 80).contains("nobody gets another verdict"),
            "{}",
            text(&both, 80)
        );
    }
    hold_together(&both);
}

/// Text, Markdown and JSON tell the same changes and the same moves.
fn hold_together(both: &Compared<'_>) {
    let Ok(exact) = &both.exact else {
        unreachable!("decided")
    };
    let (text, page, object) = (text(both, 100), shown(&markdown(both)), json(both));
    let object: Value = serde_json::from_str(&object).unwrap_or_default();
    let schema: Value = serde_json::from_str(include_str!("../../schemas/comparison.schema.json"))
        .unwrap_or_default();
    let wrong: Vec<String> = jsonschema::draft7::new(&schema)
        .map(|it| {
            it.iter_errors(&object)
                .map(|it| format!("{it} at {}", it.instance_path()))
                .collect()
        })
        .unwrap_or_else(|it| vec![it.to_string()]);
    assert_eq!(wrong, Vec::<String>::new());
    assert_eq!(object["less_cautious"], both.loosens());
    assert_eq!(object["same"], both.is_the_same());
    assert_eq!(
        object["changes"].as_array().map(Vec::len),
        Some(both.changes.len())
    );
    assert_eq!(
        object["possible"]["verdicts"].as_array().map(Vec::len),
        Some(exact.moves.len())
    );
    for change in &both.changes {
        assert!(
            text.contains(&change.name) && page.contains(&change.name),
            "{}",
            change.name
        );
        if let ChangeKind::Otherwise(parts) = &change.what {
            parts.iter().for_each(|it| {
                assert!(
                    page.contains(&format!("{}: ", it.of))
                        && text.contains(&format!("{}: ", it.of)),
                    "{it:?}"
                )
            });
        }
    }
    for (at, one) in exact.moves.iter().enumerate() {
        let arrow = format!("{} instead of {}", one.new.words(), one.old.words());
        assert!(text.contains(&arrow) && page.contains(&arrow), "{arrow}");
        let Ok([_, after]) = one.example.as_deref() else {
            unreachable!("an example")
        };
        assert!(page.contains(after.questionnaire.trim_end()), "{page}");
        assert_eq!(
            object["possible"]["verdicts"][at]["example"]["new"]["questionnaire"],
            after.questionnaire.as_str()
        );
        assert_eq!(
            object["possible"]["verdicts"][at]["less_cautious"],
            is_less_cautious(one.old, one.new)
        );
    }
}

/// What a reader of CommonMark, with every extension on, sees of a page; anything but headings, lists, tables, emphasis and
/// examples is none of it.
fn shown(page: &str) -> String {
    let options = Options::all() - Options::ENABLE_SMART_PUNCTUATION;
    let mut seen = String::new();
    for event in Parser::new_ext(page, options) {
        match event {
            Event::Text(words) | Event::Code(words) => seen.push_str(&words),
            Event::Start(
                Tag::Heading { .. }
                | Tag::Paragraph
                | Tag::List(None)
                | Tag::Item
                | Tag::Strong
                | Tag::CodeBlock(_)
                | Tag::Table(_)
                | Tag::TableHead
                | Tag::TableRow
                | Tag::TableCell,
            )
            | Event::SoftBreak => {}
            Event::End(_) => seen.push('\n'),
            other => unreachable!("{other:?} in a page:\n{page}"),
        }
    }
    seen
}

/// What the rule set says of itself, and of every anaesthetic together, is a change like any other.
#[rstest]
#[case::owner(
    "ruleset.yaml",
    "owner: nobody",
    "owner: somebody",
    "owner",
    "nobody",
    "somebody"
)]
#[case::site(
    "ruleset.yaml",
    "owner: nobody",
    "owner: nobody\nsite: { one: tooth, several: teeth }",
    "site",
    "site, sites",
    "tooth, teeth"
)]
#[case::withdrawn(
    "ruleset.yaml",
    "status: draft",
    "status: withdrawn\nwithdrawn: { on: 2026-11-20, by: [lead], because: It was wrong. }",
    "withdrawn",
    "",
    "on 2026-11-20 by lead: It was wrong."
)]
#[case::volumes(
    "anaesthetics.yaml",
    "volumes: [0.01 mL, 100 mL]",
    "volumes: [0.01 mL, 50 mL]",
    "volume of a line of an anaesthetic plan",
    "0.01 to 100 mL",
    "0.01 to 50 mL"
)]
fn a_change_of_what_stands_over_all(
    #[case] file: &str,
    #[case] find: &str,
    #[case] replace: &str,
    #[case] part: &str,
    #[case] was: &str,
    #[case] is: &str,
) {
    let (old, new) = (of(&[INR], &[]), of(&[INR], &[(file, find, replace)]));
    let found = changes(&old, &new);
    let [whole] = &found[..] else {
        unreachable!("{found:?}")
    };
    assert_eq!(
        (whole.kind, whole.name.as_str()),
        (ThingKind::RuleSet, "tiny")
    );
    let ChangeKind::Otherwise(parts) = &whole.what else {
        unreachable!("{whole:?}")
    };
    let told = parts.iter().find(|it| it.of == part);
    assert_eq!(
        told.map(|it| (it.old.as_str(), it.new.as_str())),
        Some((was, is)),
        "{parts:?}"
    );
}

/// A formula given another limit of the same number goes by what governance will make of that one.
#[test]
fn another_limit_of_the_same_number_is_listed() {
    let (old, mut files) = (&embedded_once().0, RuleFiles::embedded());
    let text = text_of(&files, QUESTIONS);
    let (own, other) = ("{ limit: paracetamol-doses }", "{ limit: inr-ceiling }");
    assert_eq!(text.matches(own).count(), 1);
    files.set(QUESTIONS, text.replace(own, other));
    let found = changes(old, &read(&files, None));
    let [derived] = &found[..] else {
        unreachable!("{found:?}")
    };
    let ChangeKind::Otherwise(parts) = &derived.what else {
        unreachable!("{derived:?}")
    };
    let [given] = &parts[..] else {
        unreachable!("{parts:?}")
    };
    assert!(
        given.old.ends_with("doses: paracetamol-doses (4)"),
        "{given:?}"
    );
    assert!(given.new.ends_with("doses: inr-ceiling (4)"), "{given:?}");
}

/// Somebody who is known is the example, with every answer left out that can be, as of the day of that screening.
#[test]
fn whoever_is_known_is_shown() {
    let (old, new) = (of(&[COUNT, SMOKES], &[]), of(&[SMOKES], &[]));
    let somebody = gathered(
        &new,
        &crate::support::written(
            "a:\n  count: 73\n  smokes: no\n  drinks: yes\n  taken: [warfarin]",
        ),
    );
    let somebody = somebody.unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n")));
    let day = today() - chrono::TimeDelta::days(3);
    let exact = exact(&Both::new(&old, &new, today()), &[(&somebody, day)])
        .unwrap_or_else(|it| unreachable!("{it:?}"));
    // Somebody goes now who was deferred: that takes a known answer on smoking, and none on the count.
    let Some(Ok(seen)) = exact.moves.first().map(|it| it.example.as_ref()) else {
        unreachable!("{exact:?}")
    };
    assert_eq!(
        seen[1].questionnaire,
        "questionnaire: 1\nfor: tiny\nreference: EXAMPLE-1\nanswers:\n  a:\n    smokes: no\n"
    );
    assert_eq!((seen[0].as_of, seen[1].n_answers), (day, 1));
    let lost = exact
        .shifts
        .iter()
        .find(|it| it.rule == "test/count")
        .and_then(|it| it.lost.as_ref());
    let Some(Ok(seen)) = lost else {
        unreachable!("{exact:?}")
    };
    assert_eq!(
        seen[0].questionnaire,
        "questionnaire: 1\nfor: tiny\nreference: EXAMPLE-1\nanswers:\n  a:\n    count: 73\n"
    );
}

/// A ceiling raised in the default rule set: every answer comes with a patient, from among the worked cases. Looked for without
/// them, those who go now were "not decided" after most of a minute (29 November 2026).
#[test]
fn a_raised_ceiling_is_answered_with_patients() {
    let (old, _) = embedded_once();
    let mut files = RuleFiles::embedded();
    let limits = text_of(&files, LIMITS);
    let at = limits.find("id: hba1c-ceiling\n").unwrap_or_default();
    let raised = limits[..at].to_owned()
        + &limits[at..].replacen("value: 69 mmol/mol", "value: 75 mmol/mol", 1);
    assert_ne!(raised, limits);
    files.set(LIMITS, raised);
    let new = rule_set_with(&files, None)
        .unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n")));
    let cases =
        cases(&files, &new).unwrap_or_else(|found| unreachable!("{}", codes(&found).join("\n")));
    let known: Vec<_> = cases.iter().map(|it| (&it.answers, it.as_of)).collect();
    let exact =
        exact(&Both::new(old, &new, today()), &known).unwrap_or_else(|it| unreachable!("{it:?}"));
    assert!(
        exact
            .moves
            .first()
            .is_some_and(|it| is_less_cautious(it.old, it.new)),
        "{exact:?}"
    );
    assert!(exact.moves.iter().all(|it| it.example.is_ok()), "{exact:?}");
    assert!(
        exact
            .shifts
            .iter()
            .flat_map(|it| [&it.lost, &it.gained])
            .flatten()
            .all(|it| it.is_ok()),
        "{exact:?}"
    );
}

#[test]
fn order_line_breaks_and_comments_have_no_effect() {
    let either = (
        "either",
        "defer",
        "{ any: [{ taking: [apixaban, warfarin] }, { fact: a.pulse, one_of: [absent, doubtful] }] }",
    );
    let turned = (
        "either",
        "defer",
        "{ any: [{ fact: a.pulse, one_of: [doubtful, absent] }, { taking: [warfarin, apixaban] }] }",
    );
    let old = of(&[INR, either], &[]);
    let new = of(
        &[turned, INR],
        &[
            (LIMITS, "limits:\n", "# A comment.\nlimits:\n"),
            (
                LIMITS,
                "  - { id: adult, about: Adult age, value: 18, citations: [{ source: book }] }\n",
                "",
            ),
            (
                LIMITS,
                "  - { id: ceiling",
                "  - { value: 18, about: Adult\n      age, id: adult, citations: [{ source: book }] }\n  - { id: ceiling",
            ),
            (
                QUESTIONS,
                "[{ id: felt, text: Felt }, { id: doubtful, text: Doubtful }, ",
                "[{ id: doubtful, text: Doubtful }, { text: Felt, id: felt }, ",
            ),
            (
                MEDICINES,
                "dose_words: [mg, daily",
                "dose_words: [daily, mg",
            ),
        ],
    );
    assert_ne!(old.digest, new.digest);
    let both = compared(&old, &new);
    assert_eq!(both.changes, Vec::new());
    assert!(both.is_the_same() && !both.loosens());
    assert!(text(&both, 80).contains("No effect") && markdown(&both).contains("No effect"));
    hold_together(&both);
}

/// A place that moves on a drawing changes no verdict, and is listed.
#[test]
fn a_drawing_that_differs_is_listed() {
    let with = |place: &str| {
        let drawing = format!(
            "drawings:\n  - id: sketch\n    size: [9, 9]\n    outline: [M 1 1 L 8 8]\n    places: {{ left-great: {place}, right-great: [6, 2, 1, 1] }}\nsections:"
        );
        of(
            &[PULSE],
            &[
                (QUESTIONS, "sections:", &drawing),
                (
                    QUESTIONS,
                    "ask: Which toes?",
                    "ask: Which toes?\n        drawing: sketch",
                ),
            ],
        )
    };
    let (old, new) = (with("[2, 2, 1, 1]"), with("[2, 3, 1, 1]"));
    let both = compared(&old, &new);
    let [change] = both.changes.as_slice() else {
        unreachable!("{:?}", both.changes)
    };
    assert_eq!(change.name, "plan.toes");
    let shown = text(&both, 300);
    assert!(
        shown.contains("left-great 2 2 1 1") && shown.contains("left-great 2 3 1 1"),
        "{shown}"
    );
    assert_eq!(both.exact.as_ref().map(|it| it.moves.len()), Ok(0));
    hold_together(&both);
}

/// What only one of two accepts is not compared, and said.
#[rstest]
#[case::option(
    &[PULSE, ("faint", "refer", "{ fact: a.pulse, is: faint }")],
    &[(QUESTIONS, "{ id: absent, text: Absent }", "{ id: absent, text: Absent }, { id: faint, text: Faint }")],
    &["a.pulse as faint: only now"], &[]
)]
#[case::option_gone(
    &[("pulse", "defer", "{ fact: a.pulse, is: doubtful }")], &[(QUESTIONS, ", { id: absent, text: Absent }", "")],
    &["a.pulse as absent: only before"], &["go > defer"]
)]
#[case::numbers(
    &[PULSE, ("count", "defer", "{ fact: a.count, above: 150 }")],
    &[(QUESTIONS, "id: count, ask: How many?, answer: number, plausible: [0, 100]", "id: count, ask: How many?, answer: number, plausible: [-1, 200]")],
    &["a.count from -1 to 200: only now"], &["go > defer"]
)]
#[case::reaction(
    &[PULSE, ("latex", "defer", "{ allergic_to: latex, reaction: [swelling] }")],
    &[("allergens.yaml", "reactions: [", "reactions: [{ id: swelling, text: Swelling }, ")],
    &["the reaction swelling: only now"], &["go > defer"]
)]
#[case::agent(
    &[PULSE, ("agent", "defer", "{ fact: plan.anaesthetic, includes: mepivacaine }")],
    &[("anaesthetics.yaml", "strengths: [1 %, 3 %]", "strengths: [1 %, 4 %]")],
    &["plan.anaesthetic with mepivacaine from 1 to 4 %: only now"], &["go > defer"]
)]
fn what_one_of_them_refuses(
    #[case] rules: Rules,
    #[case] edits: Edits,
    #[case] refused_by_one: &[&str],
    #[case] expected: &[&str],
) {
    let (old, new) = (of(&[PULSE], &[]), of(rules, edits));
    let exact =
        exact(&Both::new(&old, &new, today()), &[]).unwrap_or_else(|it| unreachable!("{it:?}"));
    assert_eq!(exact.refused_by_one, refused_by_one);
    assert_eq!(moves(&old, &new, &exact), expected);
    let both = compared(&old, &new);
    for it in refused_by_one {
        assert!(
            text(&both, 200).contains(it) && shown(&markdown(&both)).contains(it),
            "{it}"
        );
    }
    hold_together(&both);
}

/// Rule sets that mean different things by one name cannot be compared over everybody, and that is not passed over.
#[rstest]
#[case::unit(
    &[("heavy", "defer", "{ fact: a.weight, above: 100 lb }")],
    &[(QUESTIONS, "unit: kg, units: [lb], plausible: [2, 350]", "unit: lb, units: [kg], plausible: [4, 770]"),
      (QUESTIONS, "weight: a.weight, ideal", "weight: derived.ideal, ideal")],
    "a.weight (another unit)"
)]
#[case::kind(&[PULSE], &[(QUESTIONS, "ask: How many?, answer: number, plausible: [0, 100]", "ask: How many?, answer: yes-no")], "a.count (another kind of answer)")]
fn one_name_for_two_things(#[case] rules: Rules, #[case] edits: Edits, #[case] because: &str) {
    let (old, new) = (of(&[PULSE], &[]), of(rules, edits));
    let both = compared(&old, &new);
    assert_eq!(both.exact.as_ref().err().map(String::as_str), Some(because));
    assert!(both.loosens(), "what cannot be shut out counts");
    assert!(text(&both, 200).contains(because) && shown(&markdown(&both)).contains(because));
    let object: Value = serde_json::from_str(&json(&both)).unwrap_or_default();
    assert_eq!(
        object["possible"],
        serde_json::json!({ "decided": false, "because_of": because })
    );
}

const DECIDED: Edits = &[(
    QUESTIONS,
    "answer: anaesthetic, from",
    "answer: anaesthetic, decision: true, from",
)];

/// A local policy that keeps to fewer choices, over the new rule set alone, or over both.
#[rstest]
#[case::solutions(None, Some("offers: { plan: { anaesthetic: [{ agent: lidocaine, strength: 2 % }] } }"), &["go > defer"], &["offered +"])]
#[case::options(None, Some("offers: { plan: { adrenaline: [no] } }"), &["go > defer"], &["offered +"])]
#[case::dropped(Some("offers: { plan: { adrenaline: [no] } }"), None, &["defer > go"], &["offered -"])]
#[case::another_strength(
    Some("offers: { plan: { anaesthetic: [{ agent: lidocaine, strength: 2 % }] } }"),
    Some("offers: { plan: { anaesthetic: [{ agent: lidocaine, strength: 1 % }] } }"),
    &["defer > go", "go > defer"], &["offered - +"]
)]
#[case::one_strength_more(
    Some("offers: { plan: { anaesthetic: [{ agent: lidocaine, strength: 2 % }] } }"),
    Some("offers: { plan: { anaesthetic: [{ agent: lidocaine, strength: 1 % }, { agent: lidocaine, strength: 2 % }] } }"),
    &["defer > go"], &["offered -"]
)]
#[case::both_alike(
    Some("offers: { plan: { anaesthetic: [{ agent: lidocaine, strength: 2 % }] } }"),
    Some("offers: { plan: { anaesthetic: [{ agent: lidocaine, strength: 2 % }] } }"),
    &[], &[]
)]
fn what_local_policy_offers(
    #[case] before: Option<&str>,
    #[case] after: Option<&str>,
    #[case] expected: &[&str],
    #[case] fire: &[&str],
) {
    let files = edited(&[OFFERED], DECIDED);
    let (old, new) = (read(&files, before), read(&files, after));
    let both = compared(&old, &new);
    let Ok(exact) = &both.exact else {
        unreachable!("decided")
    };
    assert_eq!(moves(&old, &new, exact), expected);
    assert_eq!(shifts(exact), fire);
    assert_eq!(both.is_the_same(), expected.is_empty());
    hold_together(&both);
}

/// Under a local policy a rule on what is not offered is just as the screening has it, for every plan and every clinic.
#[test]
fn what_is_offered_is_as_in_a_screening() {
    let offers = "offers: { plan: { anaesthetic: [{ agent: lidocaine, strength: 2 % }], adrenaline: [no] } }";
    let rules = read(&edited(&[OFFERED], DECIDED), Some(offers));
    let plans = [
        None,
        Some("[]"),
        Some("[{ agent: lidocaine, strength: 2 %, volume: 3 mL }]"),
        Some("[{ agent: lidocaine, strength: 1 %, volume: 3 mL }]"),
        Some("[{ agent: lidocaine, strength: unknown, volume: 3 mL }]"),
        Some("[{ agent: mepivacaine, strength: unknown, volume: 3 mL }]"),
        Some(
            "[{ agent: lidocaine, strength: 2 %, volume: 3 mL }, { agent: mepivacaine, strength: 3 %, volume: 1 mL }]",
        ),
    ];
    let mut seen = BTreeSet::new();
    for plan in plans {
        for adrenaline in [None, Some("yes"), Some("no")] {
            let line = |name: &str, it: Option<&str>| {
                it.map_or(String::new(), |it| format!("  {name}: {it}\n"))
            };
            let answers = format!(
                "{}{}",
                line("anaesthetic", plan),
                line("adrenaline", adrenaline)
            );
            let answers = if answers.is_empty() {
                String::new()
            } else {
                format!("plan:\n{answers}")
            };
            let facts = crate::support::facts(&rules, &answers);
            let state = Compiled::new(&rules).run(&facts).rows()[0];
            seen.insert(format!("{state:?}"));
            // The same patient in the space: what is known is known, and what is chosen is chosen.
            let mut decider =
                Decider::new(&[&rules], &[], today()).unwrap_or_else(|it| unreachable!("{it:?}"));
            let mut together = Vec::new();
            for (id, (listed, _)) in &decider.encoding.offers {
                assert!(["plan.anaesthetic", "plan.adrenaline"].contains(&id.as_str()));
                together.push(!*listed);
            }
            for (name, domain) in &decider.encoding.domains {
                match (name.as_str(), &domain.shape) {
                    ("plan.adrenaline", Shape::Choice(options)) => {
                        together.push(if adrenaline.is_some() {
                            domain.known
                        } else {
                            !domain.known
                        });
                        together.extend(
                            options
                                .iter()
                                .filter(|(id, _)| Some(id.as_str()) == adrenaline)
                                .map(|(_, it)| *it),
                        );
                    }
                    (
                        "plan.anaesthetic",
                        Shape::Plan {
                            agents,
                            strengths,
                            solutions,
                            ..
                        },
                    ) => {
                        together.push(if plan.is_some() {
                            domain.known
                        } else {
                            !domain.known
                        });
                        let plan = plan.unwrap_or("[]");
                        together.extend(agents.iter().map(|(id, it)| {
                            if plan.contains(id.as_str()) {
                                *it
                            } else {
                                !*it
                            }
                        }));
                        together.push(if plan.contains("%") {
                            *strengths
                        } else {
                            !*strengths
                        });
                        for (id, cell, lit) in solutions.iter().filter(|_| plan.contains("%")) {
                            let there = plan.contains(id.as_str())
                                && cell.contains(if plan.contains("lidocaine, strength: 2") {
                                    2.0
                                } else {
                                    1.0
                                });
                            together.push(if there { *lit } else { !*lit });
                        }
                    }
                    _ => {}
                }
            }
            let pair = decider.judgements[0].rules.rows()[0];
            let mut can = |more: &[Lit]| {
                decider
                    .solver
                    .possible(&[together.as_slice(), more].concat())
            };
            let found = (
                can(&[pair.yes]),
                can(&[pair.no]),
                can(&[!pair.yes, !pair.no]),
            );
            let expected = (
                state == State::Fires,
                state == State::StaysQuiet,
                state == State::Undetermined,
            );
            assert_eq!(found, expected, "{plan:?} {adrenaline:?}");
        }
    }
    assert_eq!(seen.len(), 3, "{seen:?}");
}

/// Text from files stays text: in Markdown no markup, on the terminal no steering.
#[test]
fn what_stands_in_files_stays_text() {
    let hostile =
        "*b* <script>x</script> [l](http://e.example) | `c` ~~s~~ @who #1 :smile: $x$ ![i](y)";
    let named = "also: [acetaminophen, '`*tablet*` <b>|[x](y)']";
    let (old, new) = (of(&[THINNER], &[]), {
        let reason = format!("reason: '{hostile}'");
        let about = format!("about: '{hostile}'");
        of(
            &[THINNER],
            &[
                (RULE, "reason: So it is.", &reason),
                (LIMITS, "about: A ceiling", &about),
                (MEDICINES, "also: [acetaminophen]", named),
            ],
        )
    });
    let both = compared(&old, &new);
    let page = shown(&markdown(&both));
    assert!(page.contains(hostile), "{page}");
    assert!(page.contains("`*tablet*` <b>|[x](y)"), "{page}");
    assert!(
        !text(&both, 80)
            .chars()
            .any(|it| it != '\n' && preblock::inner::document::source::steers(it))
    );
    let Ok(exact) = &both.exact else {
        unreachable!("decided")
    };
    assert_eq!(moves(&old, &new, exact), ["defer > go"]);
    hold_together(&both);
}

/// The cases of a refused, a judged and a moved patient.
#[test]
fn patients_under_both() {
    let (old, new) = (
        of(&[INR], &[]),
        of(
            &[INR],
            &[
                (LIMITS, "value: 4.0", "value: 5.0"),
                (
                    QUESTIONS,
                    "[0, 100], from: patient }\n      - { id: units",
                    "[0, 500], from: patient }\n      - { id: units",
                ),
            ],
        ),
    );
    let answers = |text: &str| gathered(&new, &crate::support::written(text)).unwrap_or_default();
    let patients = [
        (
            "refused",
            answers("a: { count: 200, inr: { value: 4.5, taken_on: unknown } }"),
        ),
        (
            "alike",
            answers("a: { inr: { value: 5.5, taken_on: unknown } }"),
        ),
        (
            "milder",
            answers("a: { inr: { value: 4.5, taken_on: unknown } }"),
        ),
    ];
    let tally = tally(
        &Both::new(&old, &new, today()),
        patients
            .iter()
            .map(|(name, it)| ((*name).to_owned(), it, today())),
    );
    assert_eq!(
        (tally.n_judged, tally.refused.as_slice()),
        (2, &["refused".to_owned()][..])
    );
    let [only] = tally.moves.as_slice() else {
        unreachable!("{tally:?}")
    };
    assert_eq!(
        (only.name.as_str(), only.old.words(), only.new.words()),
        ("milder", "defer".into(), "go".into())
    );
    assert_eq!(
        (only.lost.as_slice(), only.gained.as_slice()),
        (&["test/inr".to_owned()][..], &[][..])
    );
    let both = Compared {
        cases: tally,
        ..compared(&old, &new)
    };
    assert!(both.loosens());
    hold_together(&both);
    assert!(text(&both, 80).contains("refused by one of them: refused"));
}

/// A questionnaire on one line.
fn on_a_line(reference: &str, answers: &str) -> String {
    format!(
        "{{\"questionnaire\":1,\"reference\":\"{reference}\",\"answers\":{{\"a\":{{{answers}}}}}}}\n"
    )
}

/// Each way in which a line may be judged otherwise, and each of the two refusing it, alone or together.
#[test]
fn lines_under_both() {
    let options = "{ id: doubtful, text: Doubtful }";
    let weak = "{ id: weak, text: Weak }";
    let (old, new) = (
        of(&[SMOKES, PULSE, COUNT], &[]),
        of(
            &[("smokes", "defer", SMOKES.2), PULSE, SIGNS],
            &[(QUESTIONS, options, weak)],
        ),
    );
    let known = r#""pulse":"felt","signs":["pain"],"count":1"#;
    let mut text = String::new();
    for (reference, answers) in [
        ("T-1", format!(r#""smokes":"no",{known}"#)),
        ("T-2", format!(r#""smokes":"yes",{known}"#)),
        (
            "T-3",
            r#""smokes":"no","pulse":"felt","signs":["pain"],"count":60"#.into(),
        ),
        (
            "T-4",
            r#""smokes":"no","pulse":"felt","signs":["pain","cold"],"count":1"#.into(),
        ),
        (
            "T-5",
            r#""smokes":"no","pulse":"felt","signs":["pain"]"#.into(),
        ),
        ("T-6", r#""smokes":"no","pulse":"felt","count":1"#.into()),
        ("T-7", r#""smokes":"no","pulse":"absent","count":1"#.into()),
        ("T-8", r#""pulse":"doubtful""#.into()),
        ("T-9", r#""pulse":"weak""#.into()),
        ("T-10", r#""pulse":"gone""#.into()),
    ] {
        text.push_str(&on_a_line(reference, &answers));
    }
    text.push_str("no JSON\n");
    for number in 12..=20 {
        text.push_str(&on_a_line(
            &format!("T-{number}"),
            &format!(r#""smokes":"yes",{known}"#),
        ));
    }
    let both = Both::new(&old, &new, today());
    let tally = BatchComparer::new(&both).block(Lines::new(1, text.as_bytes()));
    let told = |lines: &LinesOfKind| {
        let named = lines.first.iter();
        let named: Vec<String> = named
            .map(|it| format!("{}:{}", it.number, it.reference.as_deref().unwrap_or("-")))
            .collect();
        format!("{} {}", lines.n_lines, named.join(" "))
    };
    let verdicts: Vec<String> = tally
        .verdicts
        .iter()
        .map(|((old, new), lines)| format!("{} to {}: {}", old.words(), new.words(), told(lines)))
        .collect();
    assert_eq!(
        verdicts,
        [
            "go to defer: 2 4:T-4 6:T-6",
            "defer to go: 2 3:T-3 5:T-5",
            "refer, routine to defer: 10 2:T-2 12:T-12 13:T-13 14:T-14 15:T-15",
        ]
    );
    let rules: Vec<String> = tally
        .rules
        .iter()
        .flat_map(|(id, moves)| {
            moves
                .iter()
                .map(move |(moved, lines)| format!("{id} {}: {}", moved.words(), told(lines)))
        })
        .collect();
    assert_eq!(
        rules,
        [
            "test/count no longer fires: 1 3:T-3",
            "test/count no longer waits: 1 5:T-5",
            "test/signs now fires: 1 4:T-4",
            "test/signs now waits: 2 6:T-6 7:T-7",
        ]
    );
    assert_eq!(told(&tally.same_verdict), "1 7:T-7");
    let refused: Vec<String> = tally
        .refused
        .iter()
        .map(|(by, lines)| format!("{}: {}", by.word(), told(lines)))
        .collect();
    assert_eq!(
        refused,
        ["old: 1 9:T-9", "new: 1 8:T-8", "both: 2 10:T-10 11:-"]
    );
    assert_eq!((tally.n_judged, tally.n_refused()), (16, 4));
    assert!(tally.loosens() && !tally.is_quiet());

    // However they are cut into blocks, they add up to the same.
    for n_lines in [1, 2, 7] {
        let mut sum = LineTally::default();
        let lines: Vec<&str> = text.split_inclusive('\n').collect();
        for (at, some) in lines.chunks(n_lines).enumerate() {
            let first = (at * n_lines + 1) as u64;
            sum += BatchComparer::new(&both).block(Lines::new(first, some.concat().as_bytes()));
        }
        assert_eq!(sum, tally);
    }

    let compared = Compared {
        lines: Some(tally),
        ..compared(&old, &new)
    };
    hold_together(&compared);
    let page = text_of_page(&compared);
    for line in [
        "16 judged by both: 12 less cautious, 2 more cautious, 1 with other rules and the same verdict; 4 refused by one of them or both",
        "LESS CAUTIOUS: defer instead of refer, routine: 10 lines: T-2 (line 2), T-12 (line 12), T-13 (line 13), T-14 (line 14), T-15 (line 15), ...",
        "more cautious: defer instead of go: 2 lines: T-4 (line 4), T-6 (line 6)",
        "test/signs now waits: 2 lines: T-6 (line 6), T-7 (line 7)",
        "refused only as proposed: 1 line: T-8 (line 8)",
        "refused by both: 2 lines: T-10 (line 10), line 11",
    ] {
        assert!(page.contains(line), "{line}\n{page}");
        assert!(shown(&markdown(&compared)).contains(line), "{line}");
    }
    assert!(page.find("LESS") < page.find("more cautious:"), "{page}");
}

/// The report as text, its line ends and indents taken out.
fn text_of_page(both: &Compared<'_>) -> String {
    let page = text(both, 100);
    page.split_whitespace().collect::<Vec<_>>().join(" ")
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, rng_seed: SEED, ..ProptestConfig::default() })]

    /// Whatever two verdicts some patient really gets are among the moves that are possible, whatever rule fires in only one
    /// is among those that shift, and every example is real.
    #[test]
    fn random_rule_sets(trees in prop::collection::vec(tree(), 3), others in prop::collection::vec(tree(), 2), kept in 0..3_usize, edit in 0..7_usize, patients in prop::collection::vec(choices(), 25)) {
        let edits: [&[(&str, &str, &str)]; 7] = [
            &[],
            &[(LIMITS, "value: 4.0", "value: 3.0")],
            &[(LIMITS, "72 hours", "24 hours")],
            &[(MEDICINES, "{ name: apixaban, in: [thinner] }", "{ name: apixaban, also: [mystery], in: [other] }")],
            &[("allergens.yaml", "{ name: procaine, in: [anaesthetic] }", "{ name: procaine, also: [mystery], in: [amide] }")],
            &[(QUESTIONS, "with: { list: a.signs }", "with: { list: plan.toes }")],
            &[(QUESTIONS, "ideal: derived.ideal, age: derived.age, adult_from: { limit: adult }", "ideal: a.weight, age: derived.age, adult_from: { limit: heavy }")],
        ];
        let edits = if edit == 6 { &[(LIMITS, "value: 70 kg", "value: 60 kg")][..] } else { edits[edit] };
        let written: Vec<String> = trees.iter().map(|it| yaml(it, false)).collect();
        let mut after: Vec<String> = written.clone();
        for (at, it) in others.iter().enumerate() {
            after[(kept + at) % 3] = yaml(it, true);
        }
        let rules = |of: &[String]| -> Vec<(&'static str, &'static str, String)> {
            [("one", "go"), ("two", "defer"), ("three", "refer")].into_iter().zip(of).map(|((id, outcome), when)| (id, outcome, when.clone())).collect()
        };
        let borrowed = |rules: &[(&'static str, &'static str, String)], edits: &[(&str, &str, &str)]| -> RuleSet {
            let rules: Vec<(&str, &str, &str)> = rules.iter().map(|(id, outcome, when)| (*id, *outcome, when.as_str())).collect();
            // The trees look at gated questions, too.
            of(&rules, &[&[(QUESTIONS, "derived:\n", GATED)], edits].concat())
        };
        let (old, new) = (borrowed(&rules(&written), &[]), borrowed(&rules(&after), edits));
        let exact = exact(&Both::new(&old, &new, today()), &[]).unwrap_or_else(|it| unreachable!("{it:?}"));
        let mut found: BTreeSet<(String, String)> = BTreeSet::new();
        for one in &exact.moves {
            found.insert((one.old.words(), one.new.words()));
            if let Ok([a, b]) = one.example.as_deref() {
                prop_assert_eq!((screened(&old, a), screened(&new, b)), (one.old, one.new));
            }
        }
        let shifted: BTreeSet<(&str, bool)> = exact.shifts.iter().flat_map(|it| {
            let of = |before: bool| (it.rule.as_str(), before);
            it.lost.iter().map(move |_| of(true)).chain(it.gained.iter().map(move |_| of(false)))
        }).collect();
        let all: Vec<_> = patients.iter().enumerate().filter_map(|(at, it)| Some((at.to_string(), gathered(&new, &written_answers(it)).ok()?))).collect();
        let tally = tally(&Both::new(&old, &new, today()), all.iter().map(|(name, it)| (name.clone(), it, today())));
        for it in &tally.moves {
            let pair = (it.old.words(), it.new.words());
            prop_assert!(pair.0 == pair.1 || found.contains(&pair), "{:?} is not among {:?}", pair, found);
            for rule in &it.lost {
                prop_assert!(shifted.contains(&(rule, true)), "{} no longer fires", rule);
            }
            for rule in &it.gained {
                prop_assert!(shifted.contains(&(rule, false)), "{} fires now", rule);
            }
        }
    }
}

// --- The command -------------------------------------------------------------------------------------------------

/// Folders of rule sets and files beside them.
struct Desk(tempfile::TempDir);

impl Desk {
    fn new(folders: &[(&str, &RuleFiles)], files: &[(&str, &str)]) -> Self {
        let desk = Self(tempfile::tempdir().unwrap_or_else(|it| unreachable!("{it}")));
        for (folder, of) in folders {
            of.iter()
                .for_each(|(path, file)| desk.put(&format!("{folder}/{path}"), file.bytes()));
        }
        files
            .iter()
            .for_each(|(path, text)| desk.put(path, text.as_bytes()));
        desk
    }

    fn put(&self, path: &str, bytes: &[u8]) {
        let path = self.0.path().join(path);
        assert!(
            path.parent()
                .is_some_and(|it| std::fs::create_dir_all(it).is_ok())
                && std::fs::write(path, bytes).is_ok()
        );
    }

    /// Exit status, results, diagnostics.
    fn compare(&self, arguments: &[&str]) -> (Option<i32>, String, String) {
        let mut command = crate::support::program();
        let run = command
            .args(["rules", "compare"])
            .args(arguments)
            .args(["--as-of", "2026-11-25"])
            .current_dir(self.0.path())
            .output();
        let output = run.unwrap_or_else(|it| unreachable!("{it}"));
        let of = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (output.status.code(), of(&output.stdout), of(&output.stderr))
    }
}

#[test]
fn a_file_of_lines() {
    let (old, raised) = (
        with_cases(edited(&[INR], &[])),
        with_cases(edited(&[INR], &[(LIMITS, "value: 4.0", "value: 5.0")])),
    );
    let inr = |reference: &str, inr: f64| {
        on_a_line(
            reference,
            &format!(
                r#""inr":{{"value":{inr},"taken_on":"2026-11-25"}},"taken":[],"allergies":[]"#
            ),
        )
    };
    let lines = [inr("T-1", 3.5), inr("T-2", 4.5), inr("T-3", 5.5)].concat();
    let desk = Desk::new(
        &[("old", &old), ("raised", &raised)],
        &[
            ("year.ndjson", &lines),
            ("cut.ndjson", lines.trim_end()),
            ("refused.NDJSON", "x\n"),
        ],
    );
    let (code, out, err) = desk.compare(&["old", "raised", "year.ndjson"]);
    assert_eq!(code, Some(1), "{err}");
    assert!(
        out.contains("LESS CAUTIOUS: go instead of defer: 1 line: T-2 (line 2)"),
        "{out}"
    );
    let (code, out, _) = desk.compare(&["raised", "old", "year.ndjson", "--format", "json"]);
    assert_eq!(code, Some(0));
    let object: Value = serde_json::from_str(&out).unwrap_or_default();
    assert_eq!(object["lines"]["judged"], 3);
    assert_eq!(
        object["lines"]["rules"][0]["moves"]["now_fires"]["first"][0]["reference"],
        "T-2"
    );
    for (file, says) in [
        ("cut.ndjson", "ended without a line feed"),
        ("refused.NDJSON", ""),
        ("none.ndjson", "cannot be read"),
    ] {
        let (code, _, err) = desk.compare(&["old", "old", file]);
        assert_eq!(code, Some(2), "{file}: {err}");
        assert!(err.contains(says), "{err}");
    }
    let (code, _, err) = desk.compare(&["old", "old", "year.ndjson", "cut.ndjson"]);
    assert_eq!(code, Some(2));
    assert!(err.contains("only one file of lines"), "{err}");
}

const CASES: &str = "cases:\n  - case: INR above both ceilings\n    like: somebody\n    change: { a.inr: { value: 6, taken_on: 2026-11-25 } }\n    \
                     source: a test\n    expect: { verdict: defer, fires: [test/inr] }\n";
const PEOPLE: &str = "as_of: 2026-11-25\npeople:\n  - id: somebody\n    about: Somebody\n    answers: { plan: { procedure_on: 2026-11-25 } }\n";

fn with_cases(mut files: RuleFiles) -> RuleFiles {
    files.set("cases/people.yaml", PEOPLE);
    files.set("cases/all.yaml", CASES);
    files
}

#[test]
fn exit_statuses() {
    let (old, raised) = (
        with_cases(edited(&[INR], &[])),
        with_cases(edited(&[INR], &[(LIMITS, "value: 4.0", "value: 5.0")])),
    );
    let reworded = with_cases(edited(
        &[INR],
        &[(RULE, "reason: So it is.", "reason: So it may be.")],
    ));
    let between = "questionnaire: 1\nreference: T-1\nanswers:\n  a:\n    inr: { value: 4.5, taken_on: unknown }\n";
    let wrong = "questionnaire: 1\nreference: T-2\nanswers:\n  a:\n    count: 900\n";
    let desk = Desk::new(
        &[("old", &old), ("raised", &raised), ("reworded", &reworded)],
        &[("p/t1.yaml", between), ("p/t2.yaml", wrong)],
    );
    for (arguments, status, says) in [
        (["old", "old"], 0, "No effect"),
        (["old", "reworded"], 0, "nobody gets another verdict"),
        (["old", "raised"], 1, "LESS CAUTIOUS: go instead of defer"),
        (["raised", "old"], 0, "more cautious: defer instead of go"),
    ] {
        let (code, out, err) = desk.compare(&arguments);
        assert_eq!(code, Some(status), "{arguments:?}\n{out}{err}");
        assert!(out.contains(says), "{arguments:?}\n{out}");
    }
    let (code, out, err) = desk.compare(&["old", "raised", "p"]);
    assert_eq!(code, Some(1), "{err}");
    assert!(
        out.contains("t1.yaml") && out.contains("refused by one of them: p/t2.yaml"),
        "{out}"
    );
    assert!(err.contains("t2.yaml") && err.contains("900"), "{err}");
    let (code, out, _) = desk.compare(&["old", "raised", "p", "--format", "json"]);
    let object: Value = serde_json::from_str(&out).unwrap_or_default();
    assert_eq!(
        (
            code,
            object["questionnaires"]["judged"].as_u64(),
            object["questionnaires"]["refused"][0].as_str()
        ),
        (Some(1), Some(1), Some("p/t2.yaml"))
    );
    assert_eq!(object["cases"]["judged"], 1);
    let (_, out, _) = desk.compare(&["old", "raised", "p", "--format", "markdown"]);
    assert!(
        shown(&out).contains("refused by one of them: p/t2.yaml"),
        "{out}"
    );
}

#[test]
fn the_clinic_and_its_policy() {
    let files = with_cases(edited(&[OFFERED, INR], DECIDED));
    let terms =
        "reason: It is so here., agreed_by: lead, agreed_on: 2026-11-20, review_by: 2027-05-31";
    let policy = format!(
        "local_policy: 1\nclinic: Saltmarsh Foot Clinic\nof: tiny\nedition: \"1\"\nchanges:\n  - {{ offers: {{ plan: {{ adrenaline: [no] }} }}, {terms} }}\n"
    );
    let clinic = "clinic: 1\nname: Saltmarsh Foot Clinic\nanswers:\n  plan:\n    adrenaline: yes\n";
    let patient = "questionnaire: 1\nreference: T-1\nanswers:\n  a:\n    inr: { value: 2, taken_on: 2026-11-25 }\n    taken: []\n    allergies: []\n";
    let desk = Desk::new(
        &[("rules", &files)],
        &[
            ("local.yaml", &policy),
            ("clinic.yaml", clinic),
            ("t1.yaml", patient),
        ],
    );
    let (code, out, err) = desk.compare(&[
        "rules",
        "rules",
        "t1.yaml",
        "--local",
        "local.yaml",
        "--clinic",
        "clinic.yaml",
    ]);
    assert_eq!(code, Some(0), "{err}");
    assert!(out.contains("local policy offers plan.adrenaline"), "{out}");
    assert!(
        out.contains("more cautious: t1.yaml") && out.contains("now fires test/offered"),
        "{out}"
    );
    // Without the clinic's answer nobody has chosen yet, so that the rule waits.
    let (code, out, _) = desk.compare(&["rules", "rules", "t1.yaml", "--local", "local.yaml"]);
    assert_eq!(code, Some(0));
    assert!(
        out.contains("more cautious: t1.yaml")
            && !out.contains("t1.yaml\n      defer instead of go; now fires"),
        "{out}"
    );
    let (code, _, err) = desk.compare(&["rules", "rules", "t1.yaml", "--clinic", "t1.yaml"]);
    assert_eq!(code, Some(2), "a questionnaire is no clinic's file: {err}");
}

#[test]
fn what_cannot_be_compared() {
    let good = edited(&[INR], &[]);
    let newer = edited(&[INR], &[("ruleset.yaml", "rule_set: 1", "rule_set: 2")]);
    let desk = Desk::new(&[("good", &good), ("newer", &newer)], &[]);
    for arguments in [["good", "newer"], ["newer", "good"]] {
        let (code, out, err) = desk.compare(&arguments);
        assert_eq!((code, out.as_str()), (Some(2), ""), "{err}");
        assert!(
            err.contains("rule_set") && err.contains('2') && err.contains("newer"),
            "{err}"
        );
    }
    let (code, out, err) = desk.compare(&["good", "nowhere"]);
    assert_eq!((code, out.as_str()), (Some(2), ""), "{err}");
    assert!(err.contains("nowhere"), "{err}");
    let (code, _, err) = desk.compare(&["good", "good", "nobody.yaml"]);
    assert_eq!(code, Some(2), "{err}");
    assert!(err.contains("nobody.yaml"), "{err}");
}

/// Who may decide against a finding, and for which reasons, changes no verdict: it is told all the same.
#[test]
fn who_may_set_a_rule_aside_is_compared() {
    let files = RuleFiles::embedded();
    let old = read(&files, None);
    let mut new = files.clone();
    for (path, find, replace) in [
        (
            "concerns/circulation.yaml",
            "set_aside: two",
            "set_aside: never",
        ),
        ("ruleset.yaml", "{ id: cleared-up,", "{ id: settled,"),
    ] {
        new.set(path, text_of(&files, path).replacen(find, replace, 1));
    }
    let new = read(&new, None);
    let found: Vec<(String, &str)> = changes(&old, &new)
        .into_iter()
        .flat_map(|it| match it.what {
            ChangeKind::Otherwise(parts) => parts
                .into_iter()
                .map(|part| (it.name.clone(), part.of))
                .collect(),
            _ => Vec::new(),
        })
        .collect();
    let expected = [
        ("nail-surgery".to_owned(), "reasons"),
        ("circulation/rest-pain".to_owned(), "may be set aside"),
    ];
    assert_eq!(found, expected);
}

/// A rule that may be set aside more easily is less cautious, though nobody's verdict changes; one that may not so easily is more.
#[rstest]
#[case::never_to_two("never", "two", true)]
#[case::never_to_one("never", "", true)]
#[case::two_to_one("two", "", true)]
#[case::one_to_two("", "two", false)]
#[case::one_to_never("", "never", false)]
#[case::two_to_never("two", "never", false)]
fn how_easily_a_rule_is_set_aside(#[case] was: &str, #[case] is: &str, #[case] eases: bool) {
    let aside = |it: &str| match it {
        "" => "reason: So it is.".to_owned(),
        it => format!("set_aside: {it}\n    reason: So it is."),
    };
    let of = |it: &str| with_cases(edited(&[INR], &[(RULE, "reason: So it is.", &aside(it))]));
    let desk = Desk::new(&[("old", &of(was)), ("new", &of(is))], &[]);
    let (code, out, err) = desk.compare(&["old", "new"]);
    assert_eq!(code, Some(i32::from(eases)), "{out}{err}");
    let told = if eases {
        "LESS CAUTIOUS: may be set aside: by"
    } else {
        "more cautious: may be set aside: by"
    };
    assert!(
        out.contains(told) && out.contains("nobody gets another verdict"),
        "{out}"
    );
    let sentence = "A rule may be set aside more easily than before.";
    let (_, page, _) = desk.compare(&["old", "new", "--format", "markdown"]);
    for it in [out, shown(&page)] {
        let it = it.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(it.contains("Nobody gets a less cautious verdict."), "{it}");
        assert_eq!(it.contains(sentence), eases, "{it}");
        assert!(it.contains(told), "{it}");
    }
    let (_, object, _) = desk.compare(&["old", "new", "--format", "json"]);
    let object: Value = serde_json::from_str(&object).unwrap_or_default();
    assert_eq!(object["less_cautious"], eases);
    assert_eq!(object["changes"][0]["parts"][0]["less_cautious"], eases);
}
