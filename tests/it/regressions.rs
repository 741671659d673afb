//! One test for each bug that was mended, in the smallest form that showed it.

use preblock::inner::outcome::State;
use preblock::inner::rule_set::RuleSet;
use preblock::inner::rule_set::files::RuleFiles;
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::screening::compile::Compiled;
use rstest::rstest;

use crate::support::{
    codes, embedded_once, facts, facts_or, facts_over, files, run, said, screening, state, text_of,
    tiny, written,
};

/// What a rule waits for.
fn waits(when: &str, answers: &str) -> Vec<String> {
    let rules = tiny(&[("one", "refer", when)]);
    screening(&rules, &facts(&rules, answers))
        .undetermined
        .into_iter()
        .flat_map(|it| it.waits_for)
        .collect()
}

/// The files of the tiny rule set with one file changed.
fn changed(when: &str, path: &str, change: impl Fn(&str) -> String) -> RuleFiles {
    let mut all = files(&[("one", "defer", when)]);
    all.set(path, change(&text_of(&all, path)));
    all
}

fn refused(files: &RuleFiles) -> Vec<String> {
    rule_set(files)
        .err()
        .map(|found| codes(&found))
        .unwrap_or_default()
}

fn states(rules: &RuleSet, answers: &str) -> Vec<State> {
    let states = Compiled::new(rules).run(&facts(rules, answers));
    rules.rule_entries().map(|(at, _)| states[at]).collect()
}

/// A result that is dated after the hour of surgery passed as fresh, since only the days were compared.
#[rstest]
#[case("2026-11-25 09:00", "2026-11-25 15:00", true)]
#[case("2026-11-25 09:00", "2026-11-25 09:00", false)]
#[case("2026-11-25 09:00", "2026-11-25", false)]
#[case("2026-11-25", "2026-11-25 15:00", false)]
fn a_result_from_after_the_surgery_is_refused(
    #[case] on: &str,
    #[case] taken: &str,
    #[case] is_refused: bool,
) {
    let rules = tiny(&[("one", "defer", "{ fact: a.inr, within: 72 hours }")]);
    let text = written(&format!(
        "plan: {{ procedure_on: {on} }}\na: {{ inr: {{ value: 2.5, taken_on: {taken} }} }}"
    ));
    let found = facts_or(&rules, &text).err().unwrap_or_default();
    let expected: &[&str] = if is_refused {
        &["answers/dates-disagree 25 Nov 2026 15:00 lies after the surgery on 25 Nov 2026 09:00"]
    } else {
        &[]
    };
    assert_eq!(codes(&found), expected);
}

/// A plan without its volume left the load open "for" every answer that goes into it, date of birth and weight too.
#[rstest]
#[case("{ agent: lidocaine, strength: 1 %, volume: unknown }", "31 kg", &["plan.anaesthetic"])]
#[case("{ agent: lidocaine, strength: unknown, volume: 3 mL }", "31 kg", &["plan.anaesthetic"])]
#[case("{ agent: lidocaine, strength: 1 %, volume: unknown }", "unknown", &["plan.anaesthetic", "a.weight"])]
#[case("{ agent: lidocaine, strength: 1 %, volume: 3 mL }", "unknown", &["a.weight"])]
fn a_plan_that_lacks_an_amount_waits_for_the_plan_alone(
    #[case] agent: &str,
    #[case] weight: &str,
    #[case] expected: &[&str],
) {
    let answers = format!(
        "plan: {{ procedure_on: 2026-12-03, anaesthetic: [{agent}], adrenaline: no }}\na: {{ born: 2016-08-19, weight: {weight} }}"
    );
    assert_eq!(
        waits("{ fact: derived.load, above: 1 }", &answers),
        expected
    );
}

/// A dose that the register does not allow at this age asked the nurse for the date of birth that had been given.
#[test]
fn a_dose_without_a_limit_waits_for_another_plan() {
    let answers = "plan: { procedure_on: 2026-12-03, anaesthetic: [{ agent: mepivacaine, strength: 3 %, volume: 1 mL }], adrenaline: no }\n\
                   a: { born: 2024-01-01, weight: 12 kg }";
    assert_eq!(
        waits("{ fact: derived.load, above: 1 }", answers),
        ["plan.anaesthetic", "plan.adrenaline"]
    );
}

/// The sixty-fifth anaesthetic overran the bits of a machine word.
#[test]
fn more_anaesthetics_than_fit_a_word_are_refused() {
    let agents = |n: usize| {
        let one = |at: usize| {
            format!(
                "  - {{ id: agent-{at}, family: amide, strengths: [0.5 %, 2 %], \
                 limits: [{{ adrenaline: no, per_kg: 3 mg/kg, at_most: 200 mg, citations: [{{ source: book }}] }}] }}\n"
            )
        };
        let all: String = (1..=n).map(one).collect();
        changed(
            "{ fact: plan.anaesthetic, includes: agent-1 }",
            "anaesthetics.yaml",
            |_| format!("volumes: [0.01 mL, 100 mL]\nagents:\n{all}"),
        )
    };
    assert_eq!(
        refused(&agents(61)),
        ["rules/bad-range a rule set can have 60 local anaesthetics at most"]
    );
    let most = rule_set(&agents(60)).ok();
    let found = most.map(|rules| {
        let plan = |agent: &str| {
            format!("plan: {{ anaesthetic: [{{ agent: {agent}, strength: 1 %, volume: 1 mL }}] }}")
        };
        [
            states(&rules, &plan("agent-1")),
            states(&rules, &plan("agent-60")),
        ]
        .concat()
    });
    assert_eq!(found, Some(vec![State::Fires, State::StaysQuiet]));
}

/// Facts past the sixteen-bit number of slots would all have shared the last one.
#[test]
fn more_facts_than_there_are_slots_are_refused() {
    let more: String = (0..10_000)
        .map(|at| format!("      - {{ id: more_{at}, ask: A?, answer: date, from: nurse }}\n"))
        .collect();
    let text = |old: &str| {
        old.replacen(
            "      - { id: adrenaline,",
            &format!("{more}      - {{ id: adrenaline,"),
            1,
        )
    };
    let found = refused(&changed(
        "{ fact: a.smokes, is: yes }",
        "questions.yaml",
        text,
    ));
    assert_eq!(
        found,
        ["rules/bad-range a rule set can have 10000 facts at most"]
    );
}

/// A patient who wrote the very word of a group counted as not allergic to it while the group had no members.
#[test]
fn a_group_without_substances_is_never_a_no() {
    let register = |_: &str| {
        "reactions: [{ id: rash, text: Rash }]\ngroups: [{ id: glue, about: Glue, names: [plaster] }]\nsubstances: [{ name: latex }]\n"
            .to_owned()
    };
    let rules = rule_set(&changed(
        "{ allergic_to: glue }",
        "allergens.yaml",
        register,
    ))
    .ok();
    let found = rules.map(|rules| {
        [
            states(&rules, "a: { allergies: [plaster] }"),
            states(&rules, "a: { allergies: [latex] }"),
        ]
        .concat()
    });
    assert_eq!(found, Some(vec![State::Undetermined, State::StaysQuiet]));
}

/// A derived fact without any answer could stay open for nothing.
#[test]
fn a_derived_fact_rests_on_an_answer() {
    let silly = "  - { id: silly, about: Silly, formula: lower-of, decimals: 1, with: { one: { limit: ceiling }, other: { limit: adult } } }\n";
    let found = refused(&changed(
        "{ fact: derived.silly, above: 1 }",
        "questions.yaml",
        |old| format!("{old}{silly}"),
    ));
    assert_eq!(
        found,
        ["rules/unknown-formula the formula `lower-of` is given limits alone"]
    );
    // One mistake is told once: with an input that does not exist, the limit beside it is not to blame.
    let broken = silly.replace("limit: adult", "limit: adlt");
    let found = refused(&changed(
        "{ fact: derived.silly, above: 1 }",
        "questions.yaml",
        |old| format!("{old}{broken}"),
    ));
    assert_eq!(found, ["rules/unknown-limit there is no limit `adlt`"]);
}

/// An allergy to a mixture was one to nothing that a rule names.
#[rstest]
#[case("{ allergic_to: amide }", "lidocaine and aspirin", State::Undetermined)]
#[case("{ allergic_to: amide }", "numbing mixture", State::Undetermined)]
#[case(
    "{ allergic_to: [amide, aspirin] }",
    "lidocaine with aspirin",
    State::Fires
)]
#[case("{ allergic_to: latex }", "lidocaine and aspirin", State::StaysQuiet)]
#[case("{ allergic_to: amide }", "lidocaine/mystery", State::Undetermined)]
#[case(
    "{ allergic_to: anaesthetic }",
    "lidocaine/mystery",
    State::Undetermined
)]
#[case("{ allergic_to: paracetamol }", "lidocaine/mystery", State::StaysQuiet)]
fn an_allergy_to_a_mixture_may_be_one_to_any_part(
    #[case] when: &str,
    #[case] allergy: &str,
    #[case] expected: State,
) {
    let more = "  - { name: lidocaine and aspirin, also: [lidocaine with aspirin, numbing mixture], in: [other] }\n  - { name: lidocaine/mystery, in: [other] }\n";
    let rules = rule_set(&changed(when, "medicines.yaml", |old| {
        format!("{old}{more}")
    }))
    .ok();
    assert_eq!(
        rules.map(|it| states(&it, &format!("a: {{ allergies: [{allergy}] }}"))),
        Some(vec![expected])
    );
}

/// A thousands comma in a strength made the whole entry unrecognised.
#[rstest]
#[case("warfarin 20,000 units", State::Fires)]
#[case("warfarin 1,5 mg", State::Fires)]
#[case("warfarin 5 mg, twice daily", State::Fires)]
#[case("warfarin 5,", State::Fires)]
#[case("warfarin 5,mystery", State::Undetermined)]
fn a_comma_inside_a_number_is_part_of_a_dose(#[case] entry: &str, #[case] expected: State) {
    assert_eq!(
        state(
            "{ taking: warfarin }",
            &format!("a: {{ taken: [\"{entry}\"] }}")
        ),
        expected
    );
}

/// A mapping where a key belongs was quoted whole, patient and all, in the title of its diagnostic.
#[rstest]
#[case(
    "{ { b: 1, c: some words }: 2 }",
    "text/key-not-text a mapping stands where a key belongs"
)]
#[case("{ [b, c]: 2 }", "text/key-not-text a list stands where a key belongs")]
#[case("12: 2", "text/key-not-text the key `12` is not a plain text")]
#[case("\"b\\nc\": 2", "answers/unknown-question there is no section `b c`")]
fn a_title_is_one_line(#[case] answers: &str, #[case] expected: &str) {
    let rules = tiny(&[("one", "defer", "{ fact: a.smokes, is: yes }")]);
    let found = facts_or(&rules, &written(answers))
        .err()
        .unwrap_or_default();
    assert_eq!(codes(&found).first().map(String::as_str), Some(expected));
}

#[test]
fn a_long_name_is_cut_short_in_a_title() {
    let rules = tiny(&[("one", "defer", "{ fact: a.smokes, is: yes }")]);
    let found = facts_or(&rules, &written(&format!("{}: 2", "é".repeat(300))))
        .err()
        .unwrap_or_default();
    assert_eq!(
        found
            .iter()
            .map(|it| it.title.chars().count())
            .collect::<Vec<_>>(),
        [203]
    );
}

/// 2^53 + 1 was read as 2^53 by both readers, which so agreed on a number that nobody had written.
#[rstest]
#[case("9007199254740991", true)]
#[case("9007199254740992", false)]
#[case("9007199254740993", false)]
#[case("-9007199254740993", false)]
fn a_whole_number_that_is_not_exact_is_refused(#[case] number: &str, #[case] is_read: bool) {
    let read =
        preblock::inner::document::text::read("t.yaml", format!("a: {number}").as_bytes(), 100);
    let expected: &[&str] = if is_read { &[] } else { &["text/ambiguous"] };
    assert_eq!(
        read.diagnostics
            .iter()
            .map(|it| it.code.name())
            .collect::<Vec<_>>(),
        expected
    );
}

/// A detail behind a gate that was not answered, and that no other answer opens, was looked at by no rule and not ruled out.
#[rstest]
#[case("smokes: no, deeper: yes", &["a.deeper", "a.smokes"])]
#[case("smokes: no, detail: unknown, deeper: yes", &["a.deeper", "a.smokes"])]
#[case("smokes: no, deepest: yes", &["a.deepest", "a.smokes"])]
#[case("smokes: no, unless: yes", &[])]
#[case("smokes: no, detail: no, deeper: yes", &["a.deeper", "a.smokes"])]
#[case("deeper: yes", &[])]
#[case("smokes: unknown, deepest: yes", &[])]
#[case("smokes: yes, deeper: yes", &[])]
#[case("smokes: yes, detail: no, deeper: yes", &["a.deeper", "a.detail"])]
#[case("smokes: yes, detail: no, deepest: yes", &["a.deepest", "a.detail"])]
fn a_detail_behind_gates_that_do_not_apply_is_ruled_out(
    #[case] answers: &str,
    #[case] expected: &[&str],
) {
    let files = changed("{ answers: ruled-out }", "questions.yaml", |text| {
        let detail = "ask_when: { fact: a.smokes, is: yes } }\n";
        let question = |id: &str, when: &str| {
            format!(
                "      - {{ id: {id}, ask: The {id}?, answer: yes-no, from: patient, ask_when: {when} }}\n"
            )
        };
        let more = [
            question("deeper", "{ fact: a.detail, is: yes }"),
            question(
                "deepest",
                "{ all: [{ fact: a.deeper, is_not: yes }, { fact: a.drinks, is: yes }] }",
            ),
            question("unless", "{ not: { fact: a.detail, is: yes } }"),
        ];
        text.replace(detail, &format!("{detail}{}", more.concat()))
    });
    let rules = rule_set(&files).unwrap_or_else(|found| unreachable!("{:?}", codes(&found)));
    let found = screening(&rules, &facts(&rules, &format!("a: {{ {answers} }}")));
    let mut told: Vec<String> = found
        .findings
        .iter()
        .flat_map(|it| &it.because)
        .map(|it| it.fact.clone())
        .collect();
    let mut expected: Vec<String> = expected.iter().map(|it| (*it).to_owned()).collect();
    told.sort();
    expected.sort();
    assert_eq!(told, expected);
}

/// A choice that the clinic does not offer was no longer told once an added answer said that it does not apply, so that
/// the added answer lifted a finding.
#[rstest]
#[case("", "current: monopolar", State::Fires)]
#[case("", "current: monopolar, ablation: phenol", State::Fires)]
#[case("", "current: monopolar, ablation: electrosurgery", State::Fires)]
#[case("", "current: bipolar, ablation: phenol", State::StaysQuiet)]
#[case("", "ablation: phenol", State::StaysQuiet)]
#[case("", "ablation: electrosurgery", State::Undetermined)]
#[case("", "adrenaline: no", State::Undetermined)]
// The clinic's standing choice is set aside with another method, and is no finding before the method is known.
#[case("current: monopolar", "adrenaline: no", State::Undetermined)]
#[case("current: monopolar", "ablation: phenol", State::StaysQuiet)]
#[case("current: monopolar", "ablation: electrosurgery", State::Fires)]
#[case("current: bipolar", "adrenaline: no", State::StaysQuiet)]
fn an_added_answer_does_not_lift_a_choice_beyond_the_offers(
    #[case] standing: &str,
    #[case] own: &str,
    #[case] expected: State,
) {
    let (rules, compiled) = embedded_once();
    let clinic = format!(
        "clinic: 1\nname: Test\noffers: {{ plan: {{ current: [bipolar] }} }}\nanswers: {{ plan: {{ {standing} }} }}\n"
    );
    let facts = facts_over(
        rules,
        Some(&clinic),
        &written(&format!("plan: {{ {own} }}")),
    );
    let at = rules
        .judging
        .position(|it| it.id == "contradictions/plan-not-offered");
    assert_eq!(at.map(|it| compiled.run(&facts)[it]), Some(expected));
}

/// One slip that made a file unreadable was followed by a remark on each of the hundreds of names that the file defines.
#[test]
fn an_unreadable_file_does_not_make_every_name_a_slip() {
    let when = "{ fact: a.count, above: { limit: ceiling } }";
    let broken = changed(when, "limits.yaml", |text| {
        text.replace("value: 4.0", "value: 4.0: ")
    });
    let found = rule_set(&broken).err().unwrap_or_default();
    assert_eq!(
        found.iter().map(|it| it.code.name()).collect::<Vec<_>>(),
        ["text/not-yaml"],
        "{:?}",
        codes(&found)
    );
    assert!(
        found[0].help.contains("names are unknown until then"),
        "{}",
        found[0].help
    );
    let mut missing = files(&[("one", "defer", when)]);
    missing.remove("limits.yaml");
    let found = rule_set(&missing).err().unwrap_or_default();
    assert_eq!(
        found.iter().map(|it| it.code.name()).collect::<Vec<_>>(),
        ["rules/missing-file"],
        "{:?}",
        codes(&found)
    );
    // A name that is misspelt where everything can be read is told as before.
    let misspelt = changed(
        "{ fact: a.count, above: { limit: cieling } }",
        "limits.yaml",
        str::to_owned,
    );
    assert_eq!(refused(&misspelt).len(), 1, "{:?}", refused(&misspelt));
}

/// A rule that was refused for a slip was called unknown by the guarantee that names it, too.
#[test]
fn a_guarantee_may_name_a_rule_that_has_a_slip_of_its_own() {
    let guarantee = "guarantees:\n  - { id: g, title: G, because: so, where: [{ holds: { fact: a.smokes, is: yes } }], fires: [RULE] }\n";
    let with = |when: &str, named: &str| {
        let mut all = files(&[("one", "defer", when)]);
        all.set("guarantees.yaml", guarantee.replace("RULE", named));
        rule_set(&all)
            .err()
            .unwrap_or_default()
            .iter()
            .map(|it| it.code.name())
            .collect::<Vec<_>>()
    };
    let (good, bad) = ("{ fact: a.smokes, is: yes }", "{ fact: a.smoke, is: yes }");
    assert_eq!(with(good, "test/one"), [""; 0]);
    assert_eq!(with(good, "test/other"), ["rules/unknown-rule"]);
    assert_eq!(with(bad, "test/one"), ["rules/unknown-fact"]);
}

/// A title with a turn of the writing direction, written as an escape, came out of `rules show`, `prove`, `test` and
/// `check` as it is.
#[test]
fn no_escape_in_a_rule_file_steers_what_the_governance_commands_print() {
    let copy = crate::papers::Copy::new();
    copy.change(
        "concerns/pregnancy.yaml",
        "title: Nail surgery during pregnancy without a pressing need",
        "title: \"Turned \\u202E round\"",
    );
    copy.change(
        "guarantees.yaml",
        "title: Nobody who is, or may be, pregnant goes ahead with phenol",
        "title: \"Turned \\u202E round\"",
    );
    let path = copy.path();
    disarmed(&["show", "--rules", &path]);
    disarmed(&["prove", "--only", "phenol-in-pregnancy", "--rules", &path]);
    // A case that comes out otherwise is named, and so is the clinic of a local policy.
    let folder = crate::folders::folder(
        &[("smokes", "defer", "{ fact: a.smokes, is: yes }")],
        &[("\"Turned \\u202E round\"", "expect: { verdict: defer }")],
    );
    disarmed(&["test", "--rules", &folder.path().display().to_string()]);
    let policy = folder.path().join("local.txt");
    let text = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/examples/local-policy.yaml"
    ))
    .unwrap_or_default();
    let turned = text.replace(
        "clinic: Saltmarsh Foot Clinic",
        "clinic: \"Turned \\u202E round\"",
    );
    assert!(turned != text && std::fs::write(&policy, turned).is_ok());
    disarmed(&["check", "--local", &policy.display().to_string()]);
}

/// What this command prints of a turned text holds a mark in place of the turn.
fn disarmed(arguments: &[&str]) {
    let text = said(&run(&[&["rules"], arguments].concat()).stdout);
    assert!(
        text.contains("Turned \u{fffd} round"),
        "{arguments:?}: {text}"
    );
    assert!(!text.contains('\u{202e}'), "{arguments:?}");
}
