//! Letters: every kind of every example is made or refused with a reason, and says nothing that it should not.

use std::sync::LazyLock;

use chrono::NaiveDate;
use preblock::inner::report::letter::{Letter, LetterDetails, NoLetter, letter};
use preblock::inner::rule_set::{LetterKind, RuleSet};
use preblock::inner::screening::result::Screening;
use preblock::inner::screening::screener::{Referral, Screener};

use crate::support::embedded;

fn as_of() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 11, 25).unwrap()
}

fn details() -> LetterDetails {
    LetterDetails {
        clinic: Some("Saltmarsh Foot Clinic".into()),
        made_on: as_of(),
        head: Some((12, "ab".repeat(32))),
        decided: None,
    }
}

static RULES: LazyLock<RuleSet> = LazyLock::new(embedded);

/// The examples with what they come to, the clinic's own answers among them.
fn examples() -> Vec<(Referral, Screening)> {
    let clinic = std::fs::read("examples/clinic.yaml").unwrap();
    let screener = Screener::new(&RULES, as_of())
        .clinic("examples/clinic.yaml", &clinic)
        .unwrap();
    let mut paths: Vec<_> = std::fs::read_dir("examples/referrals")
        .unwrap()
        .map(|it| it.unwrap().path())
        .collect();
    paths.sort();
    paths
        .iter()
        .map(|path| {
            let name = path.display().to_string();
            let referral = screener.read(&name, &std::fs::read(path).unwrap()).unwrap();
            let screening = screener.screening(&referral);
            (referral, screening)
        })
        .collect()
}

fn made(
    kind: LetterKind,
    (referral, screening): &(Referral, Screening),
) -> Result<Letter, NoLetter> {
    letter(&RULES, kind, referral, screening, &details())
}

#[test]
fn every_kind_of_every_example_is_made_or_refused_with_a_reason() {
    let examples = examples();
    assert_eq!(examples.len(), 25);
    let mut n_made = 0;
    for example in &examples {
        for kind in LetterKind::ALL {
            match made(kind, example) {
                Ok(letter) => {
                    n_made += 1;
                    let (text, page) = (letter.text(), letter.page());
                    assert!(!text.contains(['{', '}']), "{text}");
                    assert!(text.contains(&example.1.reference), "{text}");
                    assert!(page.contains(&example.1.reference), "{page}");
                }
                Err(why) => assert!(why.words().len() > 20, "{why:?}"),
            }
        }
    }
    assert!(n_made > 7, "{n_made} letters were made");
}
