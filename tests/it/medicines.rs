//! The registers of names: against the FDA's UNII list (see tests/fixtures/unii), and as people write them.

#![expect(
    clippy::unwrap_used,
    reason = "a register that cannot be read fails the test"
)]

use std::collections::{BTreeMap, BTreeSet};

use preblock::inner::exact::lists::entry_of;
use preblock::inner::questionnaire::facts::truth_of::entry_allergic;
use preblock::inner::rule_set::recognise::{Recognised, medicine, substance};
use preblock::inner::rule_set::{Bits, Condition, Idx, Medicine, Reaction, RuleSet, Substance};
use rstest::rstest;

use crate::support::embedded;

/// Rows of a tab-separated fixture.
fn fixture(text: &'static str) -> Vec<Vec<&'static str>> {
    text.lines()
        .filter(|it| !it.trim().is_empty())
        .map(|it| it.split('\t').collect())
        .collect()
}

fn unii() -> Vec<Vec<&'static str>> {
    fixture(include_str!("../fixtures/unii/names.txt"))
}

fn not_in_unii() -> Vec<Vec<&'static str>> {
    fixture(include_str!("../fixtures/unii/names-not-in-unii.txt"))
}

fn known(rules: &RuleSet, name: &str) -> Option<String> {
    let at = rules.medicines.names.get(&name.to_lowercase())?;
    Some(rules.medicines.medicines[*at].name.clone())
}

/// Source: FDA Unique Ingredient Identifiers (UNII) names, public domain; see the fixture's README.
#[test]
fn every_name_is_one_that_unii_has_or_is_listed_with_the_reason_why_not() {
    let rules = embedded();
    let there: BTreeSet<String> = unii()
        .iter()
        .filter_map(|it| it.get(1))
        .map(|it| it.to_lowercase())
        .collect();
    let absent: BTreeMap<String, &str> = not_in_unii()
        .iter()
        .filter_map(|it| Some((it.first()?.to_lowercase(), *it.get(1)?)))
        .collect();
    let reasons = [
        "combination",
        "herbal",
        "food",
        "class",
        "form",
        "spelling-variant",
    ];
    assert!(
        absent.values().all(|it| reasons.contains(it)),
        "a reason that the README does not give"
    );
    let unexplained: Vec<&String> = rules
        .medicines
        .names
        .keys()
        .filter(|it| !there.contains(*it) && !absent.contains_key(*it))
        .collect();
    assert!(
        unexplained.is_empty(),
        "neither in UNII nor explained: {unexplained:?}"
    );
    let gone: Vec<&String> = there
        .iter()
        .chain(absent.keys())
        .filter(|it| !rules.medicines.names.contains_key(*it))
        .collect();
    assert!(
        gone.is_empty(),
        "in the fixture, no longer in the register: {gone:?}"
    );
    assert!(
        there.len() >= 1400,
        "only {} names have been checked",
        there.len()
    );
}

/// Two names that UNII gives to one substance stand under one medicine here, and a medicine's names belong to one
/// substance, salts and kinds apart (other-substances.txt).
#[test]
fn synonyms_belong_to_the_substance_that_unii_says() {
    let rules = embedded();
    let apart: BTreeSet<(String, String)> =
        fixture(include_str!("../fixtures/unii/other-substances.txt"))
            .iter()
            .filter_map(|it| Some((it.first()?.to_lowercase(), it.get(1)?.to_lowercase())))
            .collect();
    let mut substances: BTreeMap<String, BTreeSet<&str>> = BTreeMap::new();
    for row in unii() {
        let (Some(preferred), Some(name)) = (row.first(), row.get(1)) else {
            continue;
        };
        let Some(medicine) = known(&rules, name) else {
            continue;
        };
        if !apart.contains(&(medicine.clone(), name.to_lowercase())) {
            substances.entry(medicine).or_default().insert(preferred);
        }
    }
    let torn: Vec<_> = substances.iter().filter(|(_, it)| it.len() > 1).collect();
    assert!(
        torn.is_empty(),
        "one medicine, several substances: {torn:?}"
    );
    assert!(
        substances.len() >= 1000,
        "only {} medicines have been checked",
        substances.len()
    );
}

/// The classes by which the rules on bleeding go, against two public lists in both directions; sources, versions and licences
/// stand in the fixture's README.
#[test]
fn what_thins_the_blood_lies_where_others_put_it() {
    let rules = embedded();
    let (atc, mesh) = (
        fixture(include_str!("../fixtures/antithrombotics/atc.tsv")),
        fixture(include_str!("../fixtures/antithrombotics/mesh.tsv")),
    );
    let listed = atc
        .iter()
        .map(|it| (it[2], it[0]))
        .chain(mesh.iter().map(|it| (it[0], it[1])));
    let listed: Vec<(&str, &str)> = listed.collect();
    let differences: BTreeMap<&str, &str> =
        fixture(include_str!("../fixtures/antithrombotics/differences.tsv"))
            .iter()
            .map(|it| (it[0], it[1]))
            .collect();
    // What a place in either list says of the class here.
    let class_of = |place: &str| match place {
        _ if place.starts_with("B01AA") || place.starts_with("D03.633.100.150.446.520") => {
            "vitamin-k-antagonist"
        }
        _ if place.starts_with("B01AB") || place.starts_with("D09.698.373.400") => "heparin",
        _ if place.starts_with("B01AC") => "antiplatelet",
        _ if place.starts_with("B01AF") => "factor-xa-inhibitor",
        "B01AE07" => "direct-oral-anticoagulant",
        _ if place.starts_with("B01AE") => "other-injectable-anticoagulant",
        _ => "anticoagulant",
    };
    let members = |class: &str| {
        rules
            .medicines
            .classes
            .iter()
            .find(|it| it.id == class)
            .map(|it| it.members.clone())
            .unwrap_or_default()
    };
    let mut found: BTreeMap<&str, &str> = BTreeMap::new();
    let mut there: BTreeSet<Idx<Medicine>> = BTreeSet::new();
    for &(name, place) in &listed {
        match rules.medicines.names.get(name) {
            None => drop(found.insert(name, "not here")),
            Some(at) => {
                there.insert(*at);
                if !members(class_of(place)).contains(*at) {
                    found.insert(name, "other class");
                }
            }
        }
    }
    let is_mixture = |name: &str| name.contains(" and ");
    for at in members("antithrombotic")
        .iter()
        .filter(|it| !there.contains(it))
    {
        let name = rules.medicines.medicines[at].name.as_str();
        if !is_mixture(name) {
            found.insert(name, "not there");
        }
    }
    assert_eq!(found, differences);
    assert!(
        there.len() >= 20,
        "only {} medicines have been compared",
        there.len()
    );
}

/// No name stands under a medicine while UNII files it under another medicine of the register.
#[test]
fn no_name_stands_under_the_wrong_medicine() {
    let rules = embedded();
    let apart: BTreeSet<String> = fixture(include_str!("../fixtures/unii/other-substances.txt"))
        .iter()
        .filter_map(|it| it.get(1))
        .map(|it| it.to_lowercase())
        .collect();
    let mut n_compared = 0;
    for row in unii() {
        let (Some(preferred), Some(name)) = (row.first(), row.get(1)) else {
            continue;
        };
        let (here, there) = (known(&rules, name), known(&rules, preferred));
        assert!(here.is_some(), "{name} is not in the register");
        if there.is_some() && !apart.contains(&name.to_lowercase()) {
            n_compared += 1;
            assert_eq!(here, there, "UNII says that {name} is {preferred}");
        }
    }
    assert!(
        n_compared > 1000,
        "only {n_compared} names have been compared"
    );
}

/// The list of synonyms that UNII counts as other substances holds what is so, no more, and gives its reasons.
#[test]
fn every_exception_is_one() {
    let rules = embedded();
    let files: BTreeSet<(String, String)> = unii()
        .iter()
        .filter_map(|it| Some((it.first()?.to_lowercase(), it.get(1)?.to_lowercase())))
        .collect();
    let exceptions = fixture(include_str!("../fixtures/unii/other-substances.txt"));
    assert!(exceptions.len() > 100, "{}", exceptions.len());
    for row in exceptions {
        assert_eq!(row.len(), 4, "{row:?}");
        assert!(
            ["salt", "hydrate", "kind", "plant"].contains(&row[3]),
            "{row:?}: a reason that the README does not give"
        );
        assert_eq!(
            known(&rules, row[1]).as_deref(),
            Some(row[0]),
            "{} is not a synonym of {}",
            row[1],
            row[0]
        );
        assert!(
            files.contains(&(row[2].to_lowercase(), row[1].to_lowercase())),
            "UNII does not file {} under {}",
            row[1],
            row[2]
        );
    }
}

/// The share found; the fixture's README tells what it was when the list was taken.
#[test]
fn nearly_every_medicine_is_found() {
    let rules = embedded();
    let mixtures: BTreeSet<&str> = not_in_unii()
        .iter()
        .filter(|it| it.get(1) == Some(&"combination"))
        .filter_map(|it| it.first().copied())
        .collect();
    let there: BTreeSet<String> = unii()
        .iter()
        .filter_map(|it| it.get(1))
        .map(|it| it.to_lowercase())
        .collect();
    let names: Vec<(&str, Idx<Medicine>)> = rules
        .medicines
        .names
        .iter()
        .map(|(name, at)| (name.as_str(), *at))
        .filter(|(name, _)| !mixtures.contains(name))
        .collect();
    let n_found = names
        .iter()
        .filter(|(name, _)| there.contains(*name))
        .count();
    let single: Vec<Idx<Medicine>> = rules
        .medicines
        .medicines
        .entries()
        .filter(|(_, it)| !mixtures.contains(it.name.as_str()))
        .map(|(at, _)| at)
        .collect();
    let n_medicines = single
        .iter()
        .filter(|at| {
            names
                .iter()
                .any(|(name, of)| of == *at && there.contains(*name))
        })
        .count();
    // On the later day the list was taken: 1,168 of 1,212 medicines and 1,521 of 1,739 names.
    assert!(
        n_medicines * 100 >= single.len() * 95,
        "{n_medicines} of {} medicines",
        single.len()
    );
    assert!(
        n_found * 100 >= names.len() * 85,
        "{n_found} of {} names",
        names.len()
    );
}

/// Whatever a name, a dose after it changes nothing; a word that turns it round is never passed over.
#[test]
fn a_dose_changes_nothing_and_a_no_is_never_passed_over() {
    let rules = embedded();
    let mut names: Vec<(&String, Idx<Medicine>)> = rules
        .medicines
        .names
        .iter()
        .map(|(name, at)| (name, *at))
        .collect();
    names.sort();
    for (name, at) in &names {
        for entry in [
            format!("{} 5 mg twice a day", name.to_uppercase()),
            format!("{name}, 10mg tablets at night"),
            format!("{name} 1,000 units/ml as needed"),
        ] {
            assert_eq!(
                medicine(&rules.medicines, &entry),
                Recognised::As(*at),
                "{entry}"
            );
        }
    }
    for (name, _) in names.iter().step_by(60) {
        for entry in [
            "no",
            "not",
            "stopped",
            "never",
            "allergic to",
            "used to take",
            "finished",
            "except",
            "?",
        ]
        .map(|it| format!("{it} {name}"))
        {
            assert!(
                matches!(medicine(&rules.medicines, &entry), Recognised::Not { .. }),
                "{entry}"
            );
        }
        for entry in [
            "stopped",
            "none",
            "no longer",
            "5 mg stopped",
            "until last week",
            "- finished",
            "(stopped)",
            "?",
        ]
        .map(|it| format!("{name} {it}"))
        {
            assert!(
                matches!(medicine(&rules.medicines, &entry), Recognised::Not { .. }),
                "{entry}"
            );
        }
    }
}

/// The names of each entry of both registers; a medicine and the substance that shares a name with it are one entry.
fn entries_of_both_registers() -> Vec<BTreeSet<String>> {
    let names = |file: &str, list: &str| -> Vec<BTreeSet<String>> {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/rules/");
        let text = std::fs::read_to_string(format!("{folder}{file}")).unwrap();
        let file: serde_yaml::Value = serde_yaml::from_str(&text).unwrap();
        let of = |it: &serde_yaml::Value| {
            let also = it["also"].as_sequence().into_iter().flatten();
            also.chain([&it["name"]])
                .map(|it| it.as_str().unwrap().to_owned())
                .collect()
        };
        file[list].as_sequence().unwrap().iter().map(of).collect()
    };
    let mut entries = names("medicines.yaml", "medicines");
    for names in names("allergens.yaml", "substances") {
        match entries.iter_mut().find(|it| !it.is_disjoint(&names)) {
            Some(it) => it.extend(names),
            None => entries.push(names),
        }
    }
    entries
}

/// The parts that a name lists: none for "paracetamol", two for "paracetamol/codeine".
fn parts_in(name: &str) -> Vec<&str> {
    let parts: Vec<&str> = name
        .split('/')
        .flat_map(|it| it.split(", "))
        .flat_map(|it| it.split(" and "))
        .flat_map(|it| it.split(" with "))
        .collect();
    if parts.len() > 1 { parts } else { Vec::new() }
}

/// Every test of an allergy that the rule set makes anywhere.
fn tests_of_allergies(rules: &RuleSet) -> Vec<(Bits<Substance>, Option<Bits<Reaction>>)> {
    let mut found = Vec::new();
    let asked = rules
        .catalogue
        .questions
        .iter()
        .filter_map(|it| it.ask_when.as_ref());
    for condition in rules.rules().map(|it| &it.when).chain(asked) {
        condition.visit(&mut |it| {
            if let Condition::AllergicTo {
                substances,
                reactions,
                ..
            } = it
            {
                found.push((substances.clone(), reactions.clone()));
            }
        });
    }
    found
}

/// Where an allergy to a part would hold, or may, one to the mixture never counts as none, under any name and reaction.
#[test]
fn an_allergy_to_a_mixture_is_never_none_to_one_of_its_parts() {
    let rules = embedded();
    let tests = tests_of_allergies(&rules);
    assert!(tests.len() > 20, "{}", tests.len());
    let reactions: Vec<Option<Idx<Reaction>>> = rules
        .allergens
        .reactions
        .indices()
        .map(Some)
        .chain([None])
        .collect();
    let entry = |name: &str, reaction| match substance(&rules.allergens, name) {
        Recognised::As(bits) => Some(entry_of(Some(bits), reaction)),
        Recognised::Not { .. } => None,
    };
    let (mut n_held, mut lost) = (0, Vec::new());
    for names in entries_of_both_registers() {
        let parts: BTreeSet<&str> = names.iter().flat_map(|it| parts_in(it)).collect();
        for (reaction, (part, name)) in reactions.iter().flat_map(|it| {
            let names = &names;
            parts
                .iter()
                .flat_map(move |part| names.iter().map(move |name| (*it, (*part, name))))
        }) {
            let (Some(of_part), Some(of_mixture)) = (entry(part, reaction), entry(name, reaction))
            else {
                continue;
            };
            for (wanted, only) in &tests {
                if entry_allergic(&of_part, wanted, only.as_ref()) != Some(false) {
                    n_held += 1;
                    if entry_allergic(&of_mixture, wanted, only.as_ref()) == Some(false) {
                        lost.push(format!("{name} holds {part}"));
                    }
                }
            }
        }
    }
    assert!(lost.is_empty(), "{lost:?}");
    assert!(n_held > 500, "{n_held}");
}

/// A mixture whose name hides its parts lists them under another name, and what a class says is in it is in it.
#[test]
fn every_mixture_tells_its_parts() {
    let rules = embedded();
    let silent: Vec<_> = entries_of_both_registers()
        .into_iter()
        .filter(|names| {
            names.iter().any(|it| it.starts_with("co-"))
                && names.iter().all(|it| parts_in(it).is_empty())
        })
        .filter(|names| !names.contains("ubidecarenone"))
        .collect();
    assert!(
        silent.is_empty(),
        "a name beginning with co- alone: {silent:?}"
    );
    for class in rules
        .medicines
        .classes
        .iter()
        .filter(|it| it.id.ends_with("-containing"))
    {
        let held = rules
            .allergens
            .names
            .get(class.id.trim_end_matches("-containing"))
            .unwrap();
        for at in class.members.iter() {
            let name = &rules.medicines.medicines[at].name;
            assert!(
                rules.allergens.names[name].meets(held),
                "{name} is in {} and does not tell so",
                class.id
            );
        }
    }
}

/// The name of a group is known with hyphens as with spaces.
#[test]
fn a_group_is_known_with_hyphens_and_with_spaces() {
    let rules = embedded();
    let hyphened: Vec<_> = rules
        .allergens
        .groups
        .iter()
        .filter(|it| it.id.contains('-'))
        .collect();
    assert!(hyphened.len() > 15, "{}", hyphened.len());
    for it in hyphened {
        let of = |name: &str| match substance(&rules.allergens, name) {
            Recognised::As(bits) => bits,
            Recognised::Not { .. } => unreachable!("{name} is not known"),
        };
        assert_eq!(of(&it.id), of(&it.id.replace('-', " ")), "{}", it.id);
    }
}

/// A group of allergens holds the medicines of the class of the same name: fenoprofen is an anti-inflammatory painkiller
/// among allergies, too, though allergens.yaml does not list it.
#[test]
fn a_group_holds_the_medicines_of_the_class_of_its_name() {
    let rules = embedded();
    let mut n_both = 0;
    for class in &rules.medicines.classes {
        let Some(group) = rules.allergens.groups.iter().find(|it| it.id == class.id) else {
            continue;
        };
        for at in class.members.iter() {
            let name = &rules.medicines.medicines[at].name;
            assert!(
                rules.allergens.names[name].meets(&group.members),
                "{name} is in the class {}, and not in the group",
                class.id
            );
            n_both += 1;
        }
    }
    assert!(n_both > 200, "{n_both}");
}

#[test]
fn the_register_is_as_wide_as_what_patients_bring() {
    let rules = embedded();
    assert!(
        rules.medicines.medicines.len() >= 600,
        "{}",
        rules.medicines.medicines.len()
    );
    for class in [
        "vitamin-k-antagonist",
        "direct-oral-anticoagulant",
        "heparin",
        "p2y12-inhibitor",
        "nsaid",
        "ssri",
        "bleeding-supplement",
    ] {
        let term = rules.medicines.classes.iter().find(|it| it.id == class);
        assert!(
            term.is_some_and(|it| it.members.iter().count() >= 3),
            "{class} is too small to be right"
        );
    }
}

#[rstest]
#[case("apixaban", "apixaban")]
#[case("Apixaban 5 mg twice a day", "apixaban")]
#[case("  WARFARIN   3mg   daily ", "warfarin")]
#[case("LIGNOCAINE", "lidocaine")]
#[case("acetaminophen 500 mg", "paracetamol")]
#[case("frusemide 40mg tablets, once daily", "furosemide")]
#[case("adrenaline", "adrenaline")]
#[case("epinephrine", "adrenaline")]
#[case("salbutamol inhaler as needed", "salbutamol")]
#[case("aspirin 75 mg od", "aspirin")]
#[case("co-codamol 30/500 mg", "co-codamol")]
#[case("co-codamol 8 mg/500 mg tablets", "co-codamol")]
#[case("enoxaparin 40 mg (4000 units)", "enoxaparin")]
#[case("colecalciferol 20,000 units", "colecalciferol")]
#[case("st john's wort", "st john's wort")]
fn names_as_people_write_them(#[case] text: &str, #[case] expected: &str) {
    let rules = embedded();
    match medicine(&rules.medicines, text) {
        Recognised::As(at) => assert_eq!(rules.medicines.medicines[at].name, expected),
        Recognised::Not { nearest } => unreachable!("{text} is not recognised, near {nearest:?}"),
    }
}

/// What changes the meaning of a name, or is no name, is not recognised, and the nearest name is offered.
#[rstest]
#[case("warfrin", Some("warfarin"))]
#[case("asprin", Some("aspirin"))]
#[case("apixiban 5 mg", Some("apixaban"))]
#[case("rivaroxoban", Some("rivaroxaban"))]
#[case("stopped warfarin", None)]
#[case("no aspirin", None)]
#[case("warfarin stopped", Some("warfarin"))]
#[case("warfarin until last week", Some("warfarin"))]
#[case("not apixaban", None)]
#[case("blood thinner", None)]
#[case("zzzzqx", None)]
#[case("", None)]
fn what_is_not_a_known_name(#[case] text: &str, #[case] near: Option<&str>) {
    let rules = embedded();
    match medicine(&rules.medicines, text) {
        Recognised::As(at) => {
            unreachable!("{text} is taken for {:?}", rules.medicines.medicines[at])
        }
        Recognised::Not { nearest } => {
            if let Some(near) = near {
                assert_eq!(nearest.as_deref(), Some(near));
            }
        }
    }
}

#[rstest]
#[case("latex", true)]
#[case("Lignocaine", true)]
#[case("local anaesthetic", true)]
#[case("paracetamol", true)]
#[case("latx", false)]
#[case("everything", false)]
fn substances(#[case] text: &str, #[case] recognised: bool) {
    let rules = embedded();
    let found = substance(&rules.allergens, text);
    assert_eq!(matches!(found, Recognised::As(_)), recognised, "{found:?}");
    if text == "latx" {
        assert_eq!(
            found,
            Recognised::Not {
                nearest: Some("latex".into())
            }
        );
    }
}

/// The rule set's own words: seafood is not iodine (Current Allergy & Clinical Immunology, vol. 28), latex cross-reacts
/// with some fruit (Scottish paediatric note on anaesthetic allergy).
#[test]
fn groups_hold_what_they_should() {
    let rules = embedded();
    let of = |name: &str| match substance(&rules.allergens, name) {
        Recognised::As(bits) => bits,
        Recognised::Not { .. } => unreachable!("{name}"),
    };
    let iodine = rules.allergens.find("iodine-antiseptic");
    assert!(
        iodine
            .as_ref()
            .is_some_and(|it| of("povidone-iodine").within(it))
    );
    assert!(iodine.is_some_and(|it| !of("seafood").meets(&it)));
    let amides = rules.allergens.find("amide-anaesthetic");
    for agent in [
        "lidocaine",
        "bupivacaine",
        "levobupivacaine",
        "mepivacaine",
        "prilocaine",
        "ropivacaine",
        "articaine",
    ] {
        assert!(
            amides.as_ref().is_some_and(|it| of(agent).within(it)),
            "{agent} is an amide"
        );
    }
    assert!(
        amides.is_some_and(|it| !of("benzocaine").meets(&it)),
        "benzocaine is an ester"
    );
}
