//! The interview of the desk: what may be typed in short, notes, no to the rest; and in a browser.

use rstest::rstest;

use crate::desk::{Answer, Browser, TestDesk, in_a_browser};

/// Most keys that a referral from paper may take, reference and all.
const MOST_KEYS: u64 = 150;

/// Five referrals from paper, by keyboard alone; the desk is killed in the third. Two nurses on one page.
#[test]
fn a_morning_in_a_browser_takes_few_keys_and_loses_nothing() {
    let counted = in_a_browser("desk_interview.py", "morning");
    let keys = counted["keys"].as_object().cloned().unwrap_or_default();
    println!("keys for each referral: {keys:?}");
    assert_eq!(keys.len(), 5, "{counted}");
    for (reference, n) in &keys {
        assert!(
            n.as_u64().is_some_and(|n| (20..MOST_KEYS).contains(&n)),
            "{reference}: {n} keys"
        );
    }
}

/// Two whole referrals with scripts off: the same verdict, findings and open questions as their files.
#[test]
fn whole_referrals_are_typed_in_without_scripts() {
    let counted = in_a_browser("desk_interview.py", "without_script");
    assert!(
        counted["pages"].as_u64().is_some_and(|n| n >= 10),
        "{counted}"
    );
}

/// Markup, script, steering letters, YAML and very long texts in every field that takes text.
#[test]
fn hostile_words_in_every_field_are_inert() {
    let counted = in_a_browser("desk_interview.py", "hostile");
    assert!(
        counted["sent"].as_u64().is_some_and(|n| n >= 700),
        "{counted}"
    );
    assert!(
        counted["notes"].as_u64().is_some_and(|n| n >= 20),
        "{counted}"
    );
}

/// Sites on the drawing, by keyboard, by touch and without scripts; axe on its page and others of the interview.
#[test]
fn sites_are_chosen_on_the_drawing() {
    let counted = in_a_browser("desk_interview.py", "drawing");
    assert_eq!(counted["axe"], 10, "{counted}");
}

/// Opens a referral and sends a page of it as a browser does: everything that the page carries, and what was typed.
fn typed(browser: &mut Browser<'_>, section: &str, fields: &[(&str, &str)]) -> Answer {
    let path = format!("/referral/SM-900/interview/{section}");
    let page = browser.get(&path);
    let carried = page.body.split("name=\"was.").skip(1).filter_map(|it| {
        let name = format!("was.{}", it.split_once('"')?.0);
        let value = page.field(&name);
        Some((name, value))
    });
    let mut all: Vec<(String, String)> = carried.collect();
    all.push(("version".into(), page.field("version")));
    all.extend(
        fields
            .iter()
            .map(|(name, value)| ((*name).to_owned(), (*value).to_owned())),
    );
    let all: Vec<(&str, &str)> = all
        .iter()
        .map(|(name, value)| (name.as_str(), value.as_str()))
        .collect();
    browser.post(&page, &path, &all)
}

fn opened(desk: &TestDesk) -> Browser<'_> {
    let mut browser = desk.person("NA");
    let page = browser.get("/");
    browser.post(&page, "/referrals", &[("reference", "SM-900")]);
    browser
}

fn kept(browser: &mut Browser<'_>) -> String {
    browser.get("/referral/SM-900/questionnaire").body
}

/// What is typed in short is written out as the page says it; what could mean two things is a slip.
#[rstest]
#[case::no_dashes(
    "t.person.date_of_birth",
    "19900506",
    Some("date_of_birth: 1990-05-06")
)]
#[case::words(
    "t.person.date_of_birth",
    "6 May 1990",
    Some("date_of_birth: 1990-05-06")
)]
#[case::close(
    "t.person.date_of_birth",
    "6may1990",
    Some("date_of_birth: 1990-05-06")
)]
#[case::two_orders("t.person.date_of_birth", "05/06/1990", None)]
#[case::digits_of_another_order("t.person.date_of_birth", "06051990", None)]
#[case::two_digits_of_a_year("t.person.date_of_birth", "6 May 90", None)]
#[case::no_such_day("t.person.date_of_birth", "31 feb 1990", None)]
#[case::nearest("t.plan.procedure_on", "3dec", Some("procedure_on: 2026-12-03"))]
#[case::nearest_of_next_year("t.plan.procedure_on", "7 jan", Some("procedure_on: 2027-01-07"))]
#[case::tomorrow("t.plan.procedure_on", "tomorrow", Some("procedure_on: 2026-11-26"))]
#[case::not_yet_born("t.person.date_of_birth", "tomorrow", None)]
#[case::its_unit("t.person.height", "172", Some("height: 172 cm"))]
#[case::centimetres_or_inches("t.person.height", "70", None)]
#[case::kilograms_or_pounds("t.person.weight", "81", None)]
#[case::nothing_plausible("t.person.height", "900", None)]
#[case::a_solution(
    "d.plan.anaesthetic",
    "3",
    Some("anaesthetic: [{ agent: lidocaine, strength: 2 %, volume: 3 mL }]")
)]
#[case::no_volume("d.plan.anaesthetic", "", None)]
fn what_is_typed_in_short_is_written_out_or_refused(
    #[case] name: &str,
    #[case] text: &str,
    #[case] written: Option<&str>,
) {
    let desk = TestDesk::new();
    let mut browser = opened(&desk);
    let mut fields = vec![(name, text)];
    if name.ends_with("anaesthetic") {
        fields.push(("a.plan.anaesthetic", "lidocaine 2 %"));
    }
    let answer = typed(&mut browser, "person", &fields);
    let file = kept(&mut browser);
    match written {
        Some(line) => {
            assert_eq!(answer.status, 303, "{}", answer.body);
            assert!(file.contains(line), "{file}");
        }
        None => {
            assert_eq!(answer.status, 422, "{file}");
            assert!(
                answer.body.contains(&format!("value=\"{text}\"")),
                "it stays as typed: {}",
                answer.body
            );
        }
    }
}

/// "No to the rest" answers each question of the page that was left open and is of yes or no, or a list; and nothing else.
#[test]
fn no_to_the_rest_answers_what_the_page_shows_and_nothing_else() {
    let desk = TestDesk::new();
    let mut browser = opened(&desk);
    let page = browser.get("/referral/SM-900/interview/circulation");
    let shown = |id: &str| page.body.contains(&format!("name=\"was.{id}\""));
    assert!(shown("circulation.smoker") && !shown("circulation.specialist_advice"));
    let answer = typed(
        &mut browser,
        "circulation",
        &[("a.circulation.chilblain", "yes"), ("then", "rest")],
    );
    assert_eq!(answer.status, 303, "{}", answer.body);
    let file = kept(&mut browser);
    for line in [
        "symptoms: []",
        "conditions: []",
        "chilblain: yes",
        "smoker: no",
    ] {
        assert!(file.contains(line), "{line}: {file}");
    }
    for name in ["pulses_left", "specialist_advice", "toe_left", "bleeding"] {
        assert!(!file.contains(name), "{name}: {file}");
    }
    let history = browser.get("/referral/SM-900").body;
    assert!(
        history.contains("circulation.smoker"),
        "each is an answer of its own: {history}"
    );
}

/// A name that nobody recognises is told with its nearest, which one tick writes in its place.
#[test]
fn a_misspelt_name_is_put_right_by_one_tick() {
    let desk = TestDesk::new();
    let mut browser = opened(&desk);
    let lines = [
        ("t.medicines.current", "warfrin 3 mg daily"),
        ("t.medicines.current", "bisoprolol 2.5 mg"),
    ];
    typed(&mut browser, "medicines", &lines);
    let page = browser.get("/referral/SM-900/interview/medicines");
    assert!(
        page.body.contains("<option value=\"warfarin\">"),
        "names are suggested"
    );
    assert_eq!(
        page.field("k.medicines.current"),
        "warfrin\nwarfarin",
        "the dose stays"
    );
    let ticked = [
        lines.as_slice(),
        &[("k.medicines.current", "warfrin\r\nwarfarin")],
    ]
    .concat();
    let answer = typed(&mut browser, "medicines", &ticked);
    assert_eq!(answer.status, 303, "{}", answer.body);
    let file = kept(&mut browser);
    assert!(
        file.contains("current: [warfarin 3 mg daily, bisoprolol 2.5 mg]"),
        "{file}"
    );
}

/// Notes are kept, shown on the referral, and stand at the decision to be marked read; an empty one is taken out.
#[test]
fn a_note_is_kept_shown_and_to_be_read_before_a_decision() {
    let desk = TestDesk::new();
    let mut browser = opened(&desk);
    let notes = [
        ("t.person.note", "Came \"limping\": two lines,\r\n- one: *a"),
        ("t.note", "Rings back"),
    ];
    let answer = typed(&mut browser, "person", &notes);
    assert_eq!(answer.status, 303, "{}", answer.body);
    let page = browser.get("/referral/SM-900");
    assert!(
        page.body.contains("limping") && page.body.contains("Rings back"),
        "{}",
        page.body
    );
    let decide = desk.person("CB").get("/referral/SM-900/decide");
    assert_eq!(
        decide.body.matches("name=\"read\"").count(),
        2,
        "{}",
        decide.body
    );
    let page = browser.get("/referral/SM-900/interview/person");
    assert!(
        page.body.contains("two lines,\n- one: *a</textarea>"),
        "{}",
        page.body
    );
    let answer = typed(
        &mut browser,
        "person",
        &[("t.person.note", ""), ("t.note", "Rings back")],
    );
    assert_eq!(answer.status, 303, "{}", answer.body);
    let file = kept(&mut browser);
    assert!(
        !file.contains("limping") && file.contains("note: Rings back"),
        "{file}"
    );
}
