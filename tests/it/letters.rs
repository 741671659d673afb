//! Letters: every kind of every example is made or refused with a reason, says nothing that it should not, and what the
//! patient reads is easy to read.

#![expect(
    clippy::panic,
    clippy::unwrap_used,
    reason = "what cannot be read or started fails the test that needs it"
)]

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use chrono::NaiveDate;
use preblock::inner::outcome::Outcome;
use preblock::inner::report::chase::groups;
use preblock::inner::report::letter::{Letter, LetterBlock, LetterDetails, NoLetter, letter};
use preblock::inner::rule_set::catalogue::Who;
use preblock::inner::rule_set::files::RuleFiles;
use preblock::inner::rule_set::letter::{
    Insert, LetterContent, LetterPiece, LetterSentence, LetterText,
};
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::rule_set::{LetterKind, Piece, RuleSet};
use preblock::inner::screening::result::Screening;
use preblock::inner::screening::screener::{Referral, Screener};
use preblock::inner::workbench::compare::changes::{ThingKind, changes};
use rstest::rstest;

use crate::shipped::{Shipped, nails, skin};
use crate::support::{codes, embedded, run, said};

static RULES: LazyLock<RuleSet> = LazyLock::new(embedded);

static EXAMPLES: LazyLock<Vec<(Referral, Screening)>> = LazyLock::new(|| {
    let mut paths: Vec<_> = std::fs::read_dir("examples/referrals")
        .unwrap()
        .map(|it| it.unwrap().path())
        .collect();
    paths.sort();
    paths
        .iter()
        .map(|path| screened(&path.display().to_string(), &std::fs::read(path).unwrap()))
        .collect()
});

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

/// A questionnaire with what it comes to, the clinic's own answers under it.
fn screened(name: &str, bytes: &[u8]) -> (Referral, Screening) {
    let clinic = std::fs::read("examples/clinic.yaml").unwrap();
    let screener = Screener::new(&RULES, as_of())
        .without_search()
        .clinic("examples/clinic.yaml", &clinic)
        .unwrap();
    let referral = screener
        .read(name, bytes)
        .unwrap_or_else(|it| panic!("{name}: {:?}", codes(&it.problems)));
    let screening = screener.screening(&referral);
    (referral, screening)
}

fn example(reference: &str) -> &'static (Referral, Screening) {
    EXAMPLES
        .iter()
        .find(|(referral, _)| referral.reference == reference)
        .unwrap()
}

fn made_with(
    kind: LetterKind,
    (referral, screening): &(Referral, Screening),
    details: &LetterDetails,
) -> Result<Letter, NoLetter> {
    letter(&RULES, kind, referral, screening, details)
}

fn made(kind: LetterKind, example: &(Referral, Screening)) -> Result<Letter, NoLetter> {
    made_with(kind, example, &details())
}

/// Every text of a letter, block by block.
fn texts(letter: &Letter) -> Vec<&str> {
    let mut found = Vec::new();
    for block in letter.sheets.iter().flat_map(|it| &it.blocks) {
        match block {
            LetterBlock::Heading(it) | LetterBlock::Paragraph(it) => found.push(it.as_str()),
            LetterBlock::List(entries) => {
                for entry in entries {
                    found.push(&entry.text);
                    found.extend(entry.below.iter().map(String::as_str));
                }
            }
            LetterBlock::Question(it) => {
                found.push(&it.ask);
                found.extend(
                    it.notes
                        .iter()
                        .chain(&it.room)
                        .chain(&it.boxes)
                        .map(String::as_str),
                );
            }
        }
    }
    found
}

/// What is refused, and why, follows from the verdict and from what is to be asked.
#[rstest]
#[case::nails(nails(), 25)]
#[case::skin(skin(), 5)]
fn every_kind_of_every_example_is_made_or_refused_with_a_reason(
    #[case] shipped: &Shipped,
    #[case] n_examples: usize,
) {
    let screener = shipped.screener_of_the_clinic();
    let paths = shipped.paths();
    assert_eq!(paths.len(), n_examples);
    let mut n_made: BTreeMap<LetterKind, usize> = BTreeMap::new();
    for path in paths {
        let name = path.display().to_string();
        let referral = screener
            .read(&name, &std::fs::read(&path).unwrap())
            .unwrap_or_else(|it| panic!("{name}: {:?}", codes(&it.problems)));
        let screening = &screener.screening(&referral);
        let outcome = screening.verdict().outcome;
        let refers = screening.findings.iter().any(|it| it.refer_to.is_some());
        for kind in LetterKind::ALL {
            let asks = |who| groups(screening).iter().any(|it| it.from == who);
            let expected = match kind {
                LetterKind::Preparation | LetterKind::Aftercare if outcome != Outcome::Go => {
                    Some(NoLetter::NotGo(kind, outcome))
                }
                LetterKind::Onward if outcome == Outcome::Go => Some(NoLetter::Goes),
                LetterKind::Onward if !refers => Some(NoLetter::NoReferral),
                _ => kind
                    .asks()
                    .filter(|who| !asks(*who))
                    .map(NoLetter::NothingToAsk),
            };
            let made = letter(&shipped.rules, kind, &referral, screening, &details());
            assert_eq!(
                made.as_ref().err(),
                expected.as_ref(),
                "{kind:?} {}",
                screening.reference
            );
            match made {
                Ok(letter) => {
                    *n_made.entry(kind).or_default() += 1;
                    for text in [letter.text(), letter.page()] {
                        assert!(text.contains(&screening.reference), "{text}");
                        assert!(text.contains("Register entry 12"), "{text}");
                    }
                    for text in texts(&letter) {
                        assert!(
                            !text.contains(['{', '}']) && !text.is_empty(),
                            "{kind:?}: {text}"
                        );
                    }
                }
                Err(why) => assert!(why.words().len() > 20, "{why:?}"),
            }
        }
    }
    assert_eq!(n_made.len(), LetterKind::ALL.len(), "{n_made:?}");
}

/// An onward letter has the answers that decided its findings, and no other answer, note or finding.
#[test]
fn an_onward_letter_says_only_what_its_service_needs() {
    let catalogue = &RULES.catalogue;
    let mut n_sheets = 0;
    for example in EXAMPLES.iter() {
        let Ok(letter) = made(LetterKind::Onward, example) else {
            continue;
        };
        let (referral, screening) = example;
        for sheet in &letter.sheets {
            n_sheets += 1;
            let one = Letter {
                sheets: vec![sheet.clone()],
                ..letter.clone()
            };
            let said = texts(&one).join("\n");
            let (own, others): (Vec<_>, Vec<_>) = screening
                .findings
                .iter()
                .partition(|it| it.refer_to.as_deref() == sheet.to.as_deref());
            assert!(!own.is_empty(), "{}", letter.title);
            let needed: BTreeSet<&str> = own
                .iter()
                .flat_map(|it| &it.because)
                .map(|it| it.fact.as_str())
                .collect();
            for question in catalogue.questions.iter() {
                let dated = format!("{}.taken_on", question.id);
                let is_needed =
                    needed.contains(question.id.as_str()) || needed.contains(dated.as_str());
                if referral.facts.known(question.slot).is_some() {
                    assert_eq!(
                        said.contains(&question.ask),
                        is_needed,
                        "{}: {said}",
                        question.id
                    );
                }
            }
            for finding in &own {
                assert!(said.contains(&finding.reason), "{}", finding.rule);
                assert!(
                    finding.citations.is_empty() || said.contains("Source: "),
                    "{said}"
                );
            }
            for finding in others {
                assert!(!said.contains(&finding.reason), "{}: {said}", finding.rule);
            }
            for note in &screening.notes {
                assert!(!said.contains(note.text.trim()), "{said}");
            }
        }
    }
    assert!(n_sheets > 4, "{n_sheets} sheets");
}

/// Each service gets a sheet of its own, with its own findings.
#[test]
fn two_services_get_two_sheets() {
    let (referral, mut screening) = example("SM-104").clone();
    let mut other = screening.findings[0].clone();
    other.refer_to = Some("another service".into());
    screening.findings.push(other);
    let most = made(LetterKind::Onward, &(referral, screening)).unwrap();
    assert!(most.sheets.len() > 1, "two services are named");
    let to: BTreeSet<_> = most.sheets.iter().map(|it| it.to.clone()).collect();
    assert_eq!(to.len(), most.sheets.len());
    assert_eq!(most.page().matches("<article").count(), most.sheets.len());
    assert_eq!(most.text().matches("\n====").count(), most.sheets.len() - 1);
}

/// What a clinician decided otherwise is what the letter goes by.
#[test]
fn a_letter_goes_by_what_was_decided() {
    let deferred = example("SM-103");
    let go = LetterDetails {
        decided: Some(Outcome::Go),
        ..details()
    };
    assert!(made(LetterKind::Preparation, deferred).is_err());
    assert!(made_with(LetterKind::Preparation, deferred, &go).is_ok());
    assert_eq!(
        made_with(LetterKind::Onward, deferred, &go),
        Err(NoLetter::Goes)
    );
    let refer = LetterDetails {
        decided: Some(Outcome::Refer),
        ..details()
    };
    let goes = example("SM-101");
    assert_eq!(
        made_with(LetterKind::Onward, goes, &refer),
        Err(NoLetter::NoReferral)
    );
    assert_eq!(
        made_with(LetterKind::Aftercare, goes, &refer),
        Err(NoLetter::NotGo(LetterKind::Aftercare, Outcome::Refer))
    );
    let result = made_with(LetterKind::Result, goes, &refer).unwrap();
    assert!(
        texts(&result)
            .iter()
            .any(|it| it.contains("It came to: refer."))
    );
}

#[test]
fn answers_of_one_patient_and_findings_of_another_make_no_letter() {
    let (one, other) = (example("SM-101"), example("SM-102"));
    let mixed = (one.0.clone(), other.1.clone());
    assert_eq!(made(LetterKind::Result, &mixed), Err(NoLetter::Apart));
    let mut elsewhere = one.clone();
    elsewhere.1.rule_set.digest = "0".repeat(64);
    assert_eq!(made(LetterKind::Result, &elsewhere), Err(NoLetter::Apart));
}

/// What is said of the method and the anaesthetic hangs on the plan.
#[test]
fn after_care_follows_the_plan() {
    let path = "examples/referrals/SM-101.yaml";
    let text = std::fs::read_to_string(path).unwrap();
    let after = |example: &(Referral, Screening)| {
        let letter = made(LetterKind::Aftercare, example).unwrap();
        texts(&letter).join("\n")
    };
    let phenol = after(example("SM-101"));
    assert!(
        phenol.contains("After phenol") && !phenol.contains("After the current"),
        "{phenol}"
    );
    assert!(phenol.contains("numb for one to two hours"), "{phenol}");
    let day = "    procedure_on: 2026-12-03\n";
    let other = text.replacen(day, &format!("{day}    ablation: none\n"), 1);
    assert_ne!(other, text, "the example names its day");
    let none = after(&screened(path, other.as_bytes()));
    assert!(
        none.contains("will grow back") && !none.contains("After phenol"),
        "{none}"
    );
}

/// A precaution is told to the patient where it asks something of the patient, each once, and only its own half.
#[test]
fn the_patient_is_told_what_each_precaution_asks() {
    let mut n_told = 0;
    for example in EXAMPLES
        .iter()
        .filter(|it| it.1.verdict().outcome == Outcome::Go)
    {
        let (referral, screening) = example;
        let before = made(LetterKind::Preparation, example).unwrap();
        let after = made(LetterKind::Aftercare, example).unwrap();
        for finding in &screening.findings {
            let rule = RULES.rule(&finding.rule).unwrap();
            for (text, letter) in [
                (&rule.tell_patient_before, &before),
                (&rule.tell_patient_after, &after),
            ] {
                let Some(Piece::Words(words)) = text.as_ref().and_then(|it| it.pieces.first())
                else {
                    continue;
                };
                let n = texts(letter)
                    .iter()
                    .filter(|it| it.starts_with(words.as_str()))
                    .count();
                assert_eq!(n, 1, "{} {}: {words}", referral.reference, rule.id);
                n_told += 1;
            }
        }
    }
    assert!(n_told > 3, "{n_told} lines");
}

/// The patient is asked in the words for patients, with every answer that a question allows and two that all do.
#[test]
fn the_reply_slip_has_every_answer() {
    let example = example("SM-107");
    let letter = made(LetterKind::QuestionsPatient, example).unwrap();
    let groups = groups(&example.1);
    let group = groups.iter().find(|it| it.from == Who::Patient).unwrap();
    let asked: Vec<_> = letter
        .sheets
        .iter()
        .flat_map(|it| &it.blocks)
        .filter_map(|it| match it {
            LetterBlock::Question(it) => Some(it),
            _ => None,
        })
        .collect();
    assert_eq!(asked.len(), group.names.len() + group.asks.len());
    for (at, (slip, ask)) in asked
        .iter()
        .skip(group.names.len())
        .zip(&group.asks)
        .enumerate()
    {
        let question = RULES.catalogue.question(&ask.fact).unwrap();
        let expected = question.ask_patient.as_ref().unwrap_or(&question.ask);
        assert_eq!(slip.number, at + 1 + group.names.len());
        assert_eq!(slip.ask, *expected);
        for option in question.options() {
            let text = option.text_patient.as_ref().unwrap_or(&option.text);
            assert!(slip.boxes.contains(text), "{text}");
        }
        assert!(
            slip.boxes
                .ends_with(&["I do not know".into(), "I would rather not say".into()])
        );
        assert!(slip.room.is_some() || slip.boxes.len() > 3, "{slip:?}");
    }
    let said = texts(&letter).join("\n").to_lowercase();
    assert!(!said.contains("the patient"), "{said}");
}

/// What stands in a file can neither become markup nor steer a terminal, nor break a line.
#[test]
fn hostile_text_stays_inert() {
    let hostile = "\u{202e}<script>alert(1)</script>\"'&amp;\u{1b}[31m\u{7}";
    let path = "examples/referrals/SM-107.yaml";
    let text = std::fs::read_to_string(path).unwrap();
    let mut example = screened(path, text.as_bytes());
    let long = "x".repeat(20_000);
    let (referral, screening) = &mut example;
    // The reader refuses most of this: a letter must not rest on that.
    for (name, kind) in [(hostile, 0), (&long, 1), ("one\ntwo\r\n\u{2028}three", 2)] {
        let mut stranger = preblock::inner::screening::result::Unrecognised {
            fact: "medicines.current".into(),
            ask: "Which?".into(),
            from: Who::Patient,
            text: name.to_owned(),
            nearest: None,
            path: path.into(),
            line: 1,
        };
        stranger.line += kind;
        screening.unrecognised.push(stranger);
    }
    for finding in &mut screening.findings {
        finding.reason.push_str(hostile);
        finding.action.push_str(hostile);
    }
    screening.reference = hostile.into();
    let details = LetterDetails {
        clinic: Some(hostile.into()),
        head: Some((1, hostile.into())),
        ..details()
    };
    let mut n_made = 0;
    for kind in LetterKind::ALL {
        let Ok(letter) = letter(&RULES, kind, referral, screening, &details) else {
            continue;
        };
        n_made += 1;
        let (text, page) = (letter.text(), letter.page());
        for drawn in [&text, &page] {
            assert!(
                !drawn
                    .chars()
                    .any(|it| it != '\n' && preblock::report::steers(it)),
                "{drawn}"
            );
        }
        assert!(
            !page.contains("<script") && !page.contains("\"'&"),
            "{page}"
        );
        assert!(page.contains("&lt;script&gt;"), "{page}");
        for line in texts(&letter) {
            assert!(!line.contains(['\n', '\r', '\u{2028}']), "{line}");
        }
        if kind == LetterKind::QuestionsPatient {
            assert!(text.contains(&long), "nothing is cut off");
            assert!(text.contains("one two"), "{text}");
        }
    }
    assert!(n_made > 3, "{n_made} letters");
}

/// A rule set without letters is allowed; a letter that is wished for is then refused.
#[test]
fn a_rule_set_may_be_without_letters() {
    let mut files = RuleFiles::embedded();
    for kind in LetterKind::ALL {
        assert!(files.remove(&format!("letters/{}.yaml", kind.word())));
    }
    let bare = rule_set(&files).unwrap_or_else(|found| panic!("{:?}", codes(&found)));
    assert!(bare.letters.is_empty() && bare.digest != RULES.digest);
    let screener = Screener::new(&bare, as_of()).without_search();
    let bytes = std::fs::read("examples/referrals/SM-101.yaml").unwrap();
    let referral = screener.read("SM-101.yaml", &bytes).unwrap();
    let screening = screener.screening(&referral);
    assert_eq!(
        letter(&bare, LetterKind::Result, &referral, &screening, &details()),
        Err(NoLetter::NoText(LetterKind::Result))
    );
}

/// A letter of questions without its questions, and a file that is no kind of letter.
#[test]
fn a_letter_that_cannot_be_is_refused() {
    let with = |path: &str, text: &str| {
        let mut files = RuleFiles::embedded();
        files.set(path, text);
        codes(&rule_set(&files).err().unwrap_or_default())
    };
    let plain = "letter: questions-record\ntitle: Please\nparts: [{ text: Please answer. }]\n";
    let found = with("letters/questions-record.yaml", plain);
    assert!(
        found.len() == 1 && found[0].starts_with("shape/wrong-form"),
        "{found:?}"
    );
    let found = with("letters/reminder.yaml", plain);
    assert!(
        found.len() == 1 && found[0].starts_with("rules/unexpected-file"),
        "{found:?}"
    );
}

/// Two rule sets that differ in a letter are told apart.
#[test]
fn a_changed_letter_is_compared() {
    let mut files = RuleFiles::embedded();
    let text = crate::support::text_of(&files, "letters/aftercare.yaml");
    files.set(
        "letters/aftercare.yaml",
        text.replacen("Rest, and keep", "Sit, and keep", 1),
    );
    let other = rule_set(&files).unwrap();
    let found = changes(&RULES, &other);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(
        (found[0].kind, found[0].name.as_str()),
        (ThingKind::Letter, "aftercare")
    );
}

#[test]
fn the_command_writes_a_letter_or_says_why_not() {
    let day = ["--as-of", "2026-11-25", "--clinic", "examples/clinic.yaml"];
    let letter = |kind: &str, file: &str, more: &[&str]| {
        let mut arguments = vec!["letter", kind, file];
        arguments.extend(day);
        arguments.extend(more);
        run(&arguments)
    };
    let output = letter("preparation", "examples/referrals/SM-101.yaml", &[]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    assert!(said(&output.stdout).starts_with("How to get ready for your toe surgery\n"));
    let output = letter("preparation", "examples/referrals/SM-104.yaml", &[]);
    assert_eq!(output.status.code(), Some(2));
    assert!(output.stdout.is_empty());
    assert!(
        said(&output.stderr)
            .contains("no letter was made: a letter `preparation` is only for a patient who goes")
    );
    let output = letter("preperation", "examples/referrals/SM-101.yaml", &[]);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        said(&output.stderr).contains("did you mean `preparation`?"),
        "{}",
        said(&output.stderr)
    );
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("letter.html");
    let into = ["--format", "html", "--out", out.to_str().unwrap()];
    let output = letter("result", "examples/referrals/SM-104.yaml", &into);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    let page = std::fs::read_to_string(&out).unwrap();
    assert!(
        page.starts_with("<!DOCTYPE html>") && page.contains("@page { size: A4"),
        "{page}"
    );
    assert!(
        !page.contains("http:") && !page.contains("src="),
        "a letter asks for nothing from elsewhere"
    );
    let output = letter("result", "examples/referrals/SM-104.yaml", &into);
    assert_eq!(
        output.status.code(),
        Some(74),
        "a file that is there stays as it is"
    );
    assert_eq!(std::fs::read_to_string(&out).unwrap(), page);
}

/// Reading grade of J. P. Kincaid, R. P. Fishburne, R. L. Rogers and B. S. Chissom, Derivation of New Readability Formulas
/// (Automated Readability Index, Fog Count and Flesch Reading Ease Formula) for Navy Enlisted Personnel, 1975; from memory:
/// 0.39 x words / sentences + 11.8 x syllables / words - 15.59. Grade 6 is the school year of children of eleven.
mod grade {
    use std::collections::HashMap;
    use std::sync::LazyLock;

    static SYLLABLES: LazyLock<HashMap<&'static str, u32>> = LazyLock::new(|| {
        let rows = include_str!("../fixtures/syllables.txt").lines();
        let mut found = HashMap::new();
        for row in rows.filter(|it| !it.starts_with('#')) {
            let (n, words) = row.split_once(' ').unwrap();
            for word in words.split(' ') {
                assert_eq!(
                    found.insert(word, n.parse().unwrap()),
                    None,
                    "{word} stands twice"
                );
            }
        }
        found
    });

    /// The grade of some texts together. A sentence ends at a full stop, question or exclamation mark, and with its text.
    pub fn of(texts: &[&str]) -> f64 {
        let (mut words, mut sentences, mut syllables) = (0, 0, 0);
        for text in texts {
            let mut open = false;
            for piece in text.split_whitespace() {
                for word in piece.split(|it: char| !it.is_alphanumeric() && it != '\'') {
                    let word = word.trim_matches('\'').to_lowercase();
                    if word.is_empty() {
                        continue;
                    }
                    let known = SYLLABLES.get(word.as_str());
                    syllables += known.unwrap_or_else(|| {
                        panic!(
                            "look `{word}` up and add it to tests/fixtures/syllables.txt: {text}"
                        )
                    });
                    words += 1;
                    open = true;
                }
                if open
                    && piece
                        .trim_end_matches(['"', ')'])
                        .ends_with(['.', '?', '!'])
                {
                    sentences += 1;
                    open = false;
                }
            }
            sentences += u32::from(open);
        }
        assert!(words > 0, "nothing to read: {texts:?}");
        let (words, sentences, syllables) =
            (f64::from(words), f64::from(sentences), f64::from(syllables));
        0.39 * words / sentences + 11.8 * syllables / words - 15.59
    }

    /// Worked by hand: six words of one syllable in one sentence; twelve words and sixteen syllables in two.
    #[test]
    fn the_grade_is_worked_out() {
        let close = |one: f64, other: f64| (one - other).abs() < 0.005;
        assert!(close(
            of(&["Keep your foot up and rest."]),
            0.39 * 6.0 + 11.8 - 15.59
        ));
        let two = "Eat a light meal before you come. Bring your blood thinner plan, ibuprofen.";
        assert!(
            close(of(&[two]), 0.39 * 6.5 + 11.8 * 18.0 / 13.0 - 15.59),
            "{}",
            of(&[two])
        );
    }
}

/// A sentence without what is filled in, of which nobody knows how it reads.
fn plain(sentence: &LetterSentence) -> String {
    let words = sentence.pieces.iter().filter_map(|it| match it {
        LetterPiece::Shared(Piece::Words(words)) => Some(words.as_str()),
        _ => None,
    });
    words.collect()
}

/// Every text of a letter to the patient, whatever its condition, and the words of its reply slip.
fn read_by_patient(letter: &LetterText) -> Vec<String> {
    let mut found = vec![letter.title.clone()];
    for part in &letter.parts {
        match &part.what {
            LetterContent::Heading(it) | LetterContent::Text(it) | LetterContent::Item(it) => {
                found.push(plain(it));
            }
            LetterContent::Insert {
                insert,
                heading,
                lead,
            } => {
                found.extend([heading, lead].into_iter().flatten().map(plain));
                if let Insert::Questions(words) = insert {
                    found.extend(words.entries().map(|(_, words)| words.to_owned()));
                }
            }
        }
    }
    found
}

/// The highest grade for the patient: of a reader of eleven.
const HIGHEST: f64 = 6.0;

/// Of fewer words one long one decides, such as "Your medicines": they are judged with the whole letter.
const FEWEST: usize = 4;

#[rstest]
#[case::nails(nails(), 250)]
#[case::skin(skin(), 80)]
fn what_the_patient_reads_is_for_a_reader_of_eleven(
    #[case] shipped: &Shipped,
    #[case] fewest: usize,
) {
    let rules = &shipped.rules;
    let mut wrong = Vec::new();
    let mut n_judged = 0;
    let mut judge = |about: &str, texts: &[&str]| {
        let grade = grade::of(texts);
        n_judged += 1;
        if grade > HIGHEST {
            wrong.push(format!("{about}: grade {grade:.1}: {texts:?}"));
        }
    };
    for letter in rules.letters.iter().filter(|it| it.kind.is_for_patient()) {
        let texts = read_by_patient(letter);
        let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
        judge(letter.kind.word(), &texts);
        for text in texts {
            if text.split_whitespace().count() >= FEWEST {
                judge(letter.kind.word(), &[text]);
            }
        }
    }
    for rule in rules.rules() {
        for text in [&rule.tell_patient_before, &rule.tell_patient_after]
            .into_iter()
            .flatten()
        {
            let words = text.pieces.iter().filter_map(|it| match it {
                Piece::Words(words) => Some(words.as_str()),
                _ => None,
            });
            judge(&rule.id, &[&words.collect::<String>()]);
        }
    }
    for question in rules
        .catalogue
        .questions
        .iter()
        .filter(|it| it.from == Who::Patient)
    {
        let ask = question.ask_patient.as_deref().unwrap_or(&question.ask);
        let options = question.options().iter();
        let options = options.map(|it| it.text_patient.as_deref().unwrap_or(&it.text));
        judge(&question.id, &[ask]);
        judge(
            &question.id,
            &std::iter::once(ask).chain(options).collect::<Vec<_>>(),
        );
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(n_judged > fewest, "{n_judged} texts");
}
