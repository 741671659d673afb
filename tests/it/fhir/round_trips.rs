//! Invented questionnaires become responses and come back: the same answers, the same screening.

use preblock::Screener;
use preblock::inner::batch::generate::Generator;
use preblock::inner::questionnaire::edit::whole::written_out;
use preblock::inner::questionnaire::fhir::filled::filled;
use preblock::inner::screening::screener::Referral;
use rstest::rstest;
use serde_json::Value;

use crate::fast::records;
use crate::fhir::{read, understood};
use crate::shipped::{Shipped, nails, skin};

/// How many lines are tried.
pub fn n_records() -> usize {
    let wanted = std::env::var("PREBLOCK_RECORDS").ok();
    wanted.and_then(|it| it.parse().ok()).unwrap_or(300)
}

/// A screening without the places of its answers.
fn placeless(value: &mut Value) {
    match value {
        Value::Object(map) => {
            map.retain(|key, _| !["path", "digest", "line", "column"].contains(&key.as_str()));
            map.values_mut().for_each(placeless);
        }
        Value::Array(list) => list.iter_mut().for_each(placeless),
        _ => {}
    }
}

fn screened(screener: &Screener<'_>, referral: &Referral) -> Value {
    let screening = screener.screening(referral);
    let mut value = serde_json::to_value(&screening).unwrap_or_default();
    placeless(&mut value);
    value
}

/// What came of one line: refused, the same in all, or the same but for how something is written.
#[derive(Debug, PartialEq)]
enum Came {
    Refused,
    Whole,
    InOtherWords,
}

fn back_and_forth(screener: &Screener<'_>, line: &[u8]) -> Came {
    let rules = screener.rule_set();
    let Ok(first) = screener.read("first.json", line) else {
        return Came::Refused;
    };
    let response = filled(rules, &first.reference, &first.answers).unwrap_or_default();
    let second = read(screener, "response.json", &response.to_string());
    assert_eq!(first.reference, second.reference);
    assert_eq!(
        first.answers.completed_on.as_ref().map(|it| it.0),
        second.answers.completed_on.as_ref().map(|it| it.0)
    );
    let told = String::from_utf8_lossy(line);
    assert_eq!(understood(&first), understood(&second), "{told}");
    let text = written_out(rules, &second.reference, &second.answers);
    let third = read(screener, "third.yaml", &text);
    assert_eq!(understood(&second), understood(&third), "{told}");
    let again = filled(rules, &third.reference, &third.answers).unwrap_or_default();
    assert_eq!(response, again, "{told}");
    assert_eq!(
        screener.states(&first.facts),
        screener.states(&second.facts)
    );
    if text != written_out(rules, &first.reference, &first.answers) {
        return Came::InOtherWords;
    }
    assert_eq!(
        screened(screener, &first),
        screened(screener, &second),
        "{told}"
    );
    Came::Whole
}

/// Some thousands at most by default would take minutes unoptimised: PREBLOCK_RECORDS=10000 tries as many.
fn all_come_back(name: &str, screener: &Screener<'_>, lines: impl Iterator<Item = Vec<u8>>) {
    let mut n = [0; 3];
    for line in lines.take(n_records()) {
        let came = back_and_forth(screener, &line);
        n[came as usize] += 1;
    }
    let [refused, whole, in_other_words] = n;
    println!("{name}: {refused} refused, {whole} the same, {in_other_words} in other words");
    assert!(whole > n_records() / 3, "{whole} of {}", n_records());
}

#[rstest]
#[case::nails(nails())]
#[case::skin(skin())]
fn invented_referrals_come_back_the_same(#[case] shipped: &Shipped) {
    let rules = &shipped.rules;
    let Ok(Some(generator)) = Generator::new(&shipped.files, rules) else {
        unreachable!("the rule set has worked cases");
    };
    let screener = Screener::new(rules, generator.as_of).without_search();
    let lines = (0..).map(|number| {
        let mut line = Vec::new();
        generator.line(13, number, &mut line);
        line
    });
    all_come_back("invented", &screener, lines);
}

#[rstest]
#[case::nails(nails())]
#[case::skin(skin())]
fn odd_answers_come_back_the_same(#[case] shipped: &Shipped) {
    let screener = shipped.screener();
    let mut records = records(shipped, 13);
    let lines = std::iter::from_fn(|| Some(records.next()));
    all_come_back("odd", &screener, lines);
}
