//! Registers of one rule set that another uses: read from where they stand, and only as they were when somebody looked.

#![expect(
    clippy::panic,
    clippy::unwrap_used,
    reason = "a fault of the test's own folders fails it, as it should"
)]

use std::path::{Path, PathBuf};

use preblock::Screener;
use preblock::inner::document::diagnostic::Diagnostic;
use preblock::inner::questionnaire::policy::rule_set_with;
use preblock::inner::rule_set::RuleSet;
use preblock::inner::rule_set::files::{RuleFiles, TextFile};
use preblock::inner::rule_set::read::rule_set;
use rstest::rstest;

use crate::shipped::skin;
use crate::support::{codes, files, run, said, today};

const RULES: &[(&str, &str, &str)] = &[("thinner", "defer", "{ taking: thinner }")];
const OTHERS_SOURCES: &str = "\
sources:
  - { id: other-book, by: Somebody, title: Another book, year: 2021, checked: from-memory }
  - { id: idle-book, by: Somebody, title: A book that nobody cites, year: 2021, checked: from-memory }
";
const REGISTERS: [&str; 3] = ["medicines", "allergens", "anaesthetics"];

/// Two rule sets side by side: `other`, and `own`, which has no registers and uses those of the other.
struct Clinic {
    folder: tempfile::TempDir,
}

impl Clinic {
    fn new() -> Self {
        let clinic = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        for name in ["other", "own"] {
            for (path, file) in files(RULES).iter() {
                clinic.write(&format!("{name}/{path}"), &said(file.bytes()));
            }
        }
        for register in REGISTERS {
            std::fs::remove_file(clinic.path(&format!("own/{register}.yaml"))).unwrap();
        }
        clinic.write("other/sources.yaml", OTHERS_SOURCES);
        clinic.edit(
            "other/anaesthetics.yaml",
            "source: book",
            "source: other-book",
        );
        let head = clinic.read("own/ruleset.yaml");
        let digest = "0".repeat(64);
        clinic.write(
            "own/ruleset.yaml",
            &format!("{head}uses: {{ folder: ../other, digest: sha256:{digest}, files: [medicines, allergens, anaesthetics, sources] }}\n"),
        );
        clinic.agree();
        clinic
    }

    fn path(&self, path: &str) -> PathBuf {
        self.folder.path().join(path)
    }

    fn read(&self, path: &str) -> String {
        std::fs::read_to_string(self.path(path)).unwrap()
    }

    fn write(&self, path: &str, text: &str) {
        let path = self.path(path);
        std::fs::create_dir_all(path.parent().unwrap_or(Path::new("/"))).unwrap();
        std::fs::write(path, text).unwrap();
    }

    fn edit(&self, path: &str, from: &str, to: &str) {
        let text = self.read(path);
        assert!(text.contains(from), "{path} has no `{from}`");
        self.write(path, &text.replace(from, to));
    }

    fn files(&self) -> RuleFiles {
        RuleFiles::folder(&self.path("own"))
            .unwrap_or_else(|found| panic!("{}", codes(&found).join(" ")))
    }

    /// What is wrong with the own rule set.
    fn wrong(&self) -> Vec<Diagnostic> {
        rule_set(&self.files()).err().unwrap_or_default()
    }

    /// Writes the digest that the message about a wrong one gives, as a committee does after looking.
    fn agree(&self) {
        let wrong = self.wrong();
        let help = wrong.first().map_or("", |it| it.help.as_str());
        let (_, digest) = help
            .split_once("digest: ")
            .unwrap_or_else(|| panic!("{wrong:?}"));
        let head = self.read("own/ruleset.yaml");
        let (before, rest) = head.split_once("digest: ").unwrap();
        let (_, after) = rest.split_once(',').unwrap();
        self.write(
            "own/ruleset.yaml",
            &format!("{before}digest: {digest},{after}"),
        );
    }
}

/// The codes alone.
fn names(found: &[Diagnostic]) -> Vec<&'static str> {
    found.iter().map(|it| it.code.name()).collect()
}

fn screened(files: &RuleFiles, medicine: &str) -> String {
    let rules = rule_set(files).unwrap_or_else(|found| panic!("{found:?}"));
    let text = format!(
        "questionnaire: 1\nfor: tiny\nreference: T-1\ncompleted_on: 2026-11-20\nanswers: {{ a: {{ taken: [{medicine}] }} }}\n"
    );
    let screening = Screener::new(&rules, today())
        .screen("t.yaml", text.as_bytes())
        .unwrap();
    let fires: Vec<&str> = screening
        .findings
        .iter()
        .map(|it| it.rule.as_str())
        .collect();
    fires.join(" ")
}

#[test]
fn registers_of_another_rule_set_decide() {
    let clinic = Clinic::new();
    assert_eq!(names(&clinic.wrong()), Vec::<&str>::new());
    assert_eq!(screened(&clinic.files(), "apixaban"), "test/thinner");
    assert_eq!(screened(&clinic.files(), "paracetamol"), "");
}

/// A change of theirs decides here only once somebody has agreed to it, and then the own rule set is another one.
#[test]
fn a_change_of_theirs_waits_for_a_look() {
    let clinic = Clinic::new();
    let before = clinic.files().digest();
    clinic.edit(
        "other/medicines.yaml",
        "{ name: paracetamol",
        "{ name: newthin, in: [thinner] }\n  - { name: paracetamol",
    );
    let wrong = clinic.wrong();
    assert_eq!(names(&wrong), ["rules/used-changed"]);
    assert_ne!(clinic.files().digest(), before, "a desk must notice");
    let own = clinic.path("own");
    let out = run(&["rules", "check", "--rules", &own.display().to_string()]);
    let help = wrong.first().map_or("", |it| it.help.as_str());
    let (_, digest) = help.split_once("digest: ").unwrap();
    let drawn = said(&out.stderr);
    assert!(
        drawn.split_whitespace().any(|word| word == digest),
        "nobody can copy a digest that is broken over two lines: {drawn}"
    );
    clinic.agree();
    assert_eq!(screened(&clinic.files(), "newthin"), "test/thinner");
    assert_ne!(clinic.files().digest(), before);
    let now = clinic.files().digest();
    clinic.edit("other/concerns/test.yaml", "So it is.", "So it was.");
    assert_eq!(
        clinic.files().digest(),
        now,
        "their rules decide nothing here"
    );
    assert_eq!(names(&clinic.wrong()), Vec::<&str>::new());
}

#[test]
fn a_register_stands_once() {
    let clinic = Clinic::new();
    let theirs = clinic.read("other/medicines.yaml");
    clinic.write("own/medicines.yaml", &theirs);
    let wrong = clinic.wrong();
    assert_eq!(names(&wrong), ["rules/unexpected-file"]);
    assert!(
        wrong[0].title.contains("own/medicines.yaml"),
        "{}",
        wrong[0].title
    );
}

#[test]
fn a_source_of_both_has_no_two_meanings() {
    let clinic = Clinic::new();
    clinic.edit("own/sources.yaml", "id: book,", "id: other-book,");
    clinic.edit("own/limits.yaml", "source: book", "source: other-book");
    clinic.edit(
        "own/concerns/test.yaml",
        "source: book",
        "source: other-book",
    );
    assert_eq!(names(&clinic.wrong()), ["rules/duplicate-id"]);
    clinic.write("own/sources.yaml", "sources: []\n");
    // An empty list is refused by the schema; without the file, theirs is all there is.
    std::fs::remove_file(clinic.path("own/sources.yaml")).unwrap();
    assert_eq!(names(&clinic.wrong()), Vec::<&str>::new());
}

#[test]
fn what_is_not_there_is_told_with_who_names_it() {
    let clinic = Clinic::new();
    std::fs::remove_file(clinic.path("other/allergens.yaml")).unwrap();
    let found = RuleFiles::folder(&clinic.path("own")).unwrap_err();
    assert_eq!(names(&found), ["text/not-found"]);
    assert!(
        found[0].title.contains("other/allergens.yaml"),
        "{}",
        found[0].title
    );
    assert!(
        found[0]
            .help
            .contains("own/ruleset.yaml names it under `uses:`"),
        "{}",
        found[0].help
    );
}

/// A register that was used is an own file once `uses:` does not name it.
#[test]
fn only_what_is_named_is_used() {
    let clinic = Clinic::new();
    clinic.edit("own/ruleset.yaml", "files: [medicines, ", "files: [");
    assert!(
        clinic
            .wrong()
            .iter()
            .any(|it| it.code.name() == "rules/missing-file")
    );
}

/// What is malformed is told as that: no digest is given to write, no file of that name is looked for.
#[rstest]
#[case::another_file("files: [", "files: [limits, ", "shape/not-an-option")]
#[case::no_register("files: [", "files: [medicine, ", "shape/not-an-option")]
#[case::no_text("files: [", "files: [[sources], ", "shape/not-an-option")]
#[case::one_twice("files: [", "files: [sources, ", "rules/duplicate-id")]
fn what_is_malformed_is_told_as_that(#[case] from: &str, #[case] to: &str, #[case] code: &str) {
    let clinic = Clinic::new();
    clinic.edit(
        "other/medicines.yaml",
        "name: warfarin",
        "name: phenprocoumon",
    );
    clinic.edit("own/ruleset.yaml", from, to);
    let wrong = clinic.wrong();
    assert_eq!(names(&wrong), [code], "{:?}", codes(&wrong));
}

/// Whoever writes anything for a digest is told the right one.
#[test]
fn a_digest_still_to_be_written_is_told() {
    let clinic = Clinic::new();
    clinic.edit("own/ruleset.yaml", "digest: sha256:", "digest: ");
    let wrong = clinic.wrong();
    assert_eq!(names(&wrong), ["rules/used-changed"]);
    assert!(wrong[0].help.contains("digest: sha256:"), "{wrong:?}");
}

/// A local policy holds against what is used as it does against what is own: no name gets a second meaning.
#[test]
fn a_local_policy_adds_to_what_is_used() {
    let clinic = Clinic::new();
    let local = |name: &str| {
        let text = format!(
            "local_policy: 1\nclinic: A clinic\nof: tiny\nedition: \"1\"\nchanges:\n  - medicine_name: {name}\n    means: apixaban\n    \
             reason: They write it so.\n    agreed_by: somebody\n    agreed_on: 2026-11-20\n    review_by: 2027-11-20\n"
        );
        rule_set_with(&clinic.files(), Some(&TextFile::new("local.yaml", text)))
    };
    let added = local("thinnix").unwrap_or_else(|found| panic!("{found:?}"));
    assert!(added.medicines.names.contains_key("thinnix"));
    assert_eq!(
        names(&local("paracetamol").unwrap_err()),
        ["rules/name-twice"]
    );
}

/// What nobody here cites is no remark: it is their bibliography.
#[test]
fn their_sources_are_not_uncited() {
    let clinic = Clinic::new();
    let own = clinic.path("own").display().to_string();
    let output = run(&["rules", "check", "--rules", &own, "--as-of", "2026-12-03"]);
    let all = said(&output.stdout) + &said(&output.stderr);
    assert!(all.contains("lint/") && !all.contains("idle-book"), "{all}");
    let book = run(&["rules", "book", "--rules", &own]);
    let text = said(&book.stdout);
    assert!(
        text.contains("other-book") && !text.contains("idle-book"),
        "{text}"
    );
}

/// Two rule sets of this project keep one register of each kind, and a bibliography with a few sources of one of them alone.
#[test]
fn the_shipped_rule_sets_keep_one_register() {
    let used: Vec<&str> = skin().files.used().map(|(path, _)| path).collect();
    assert_eq!(
        used,
        [
            "allergens.yaml",
            "anaesthetics.yaml",
            "medicines.yaml",
            "sources.yaml"
        ]
    );
    for (path, file) in skin().files.used() {
        let theirs = RuleFiles::embedded();
        let theirs = theirs.file(path).unwrap();
        assert!(file.bytes() == theirs.bytes(), "{path}");
    }
    let own = skin().rules.publications.iter().filter(|it| !it.is_used);
    assert!(own.count() >= 10);
    let set = "examples/rule-sets/skin-excision";
    let output = run(&["rules", "check", "--rules", set, "--as-of", "2026-12-03"]);
    let all = said(&output.stdout) + &said(&output.stderr);
    assert!(
        all.contains("0 problems, 0 notices, 0 allowed"),
        "what is so of a register is told where it is kept: {all}"
    );
}

/// A clinic adds a name to a register that is used, and lowers a dose that it reduces, as if both were the rule set's own.
#[test]
fn a_local_policy_lowers_a_dose_of_what_is_used() {
    let terms =
        "reason: It is so here., agreed_by: somebody, agreed_on: 2026-11-20, review_by: 2027-11-20";
    let text = format!(
        "local_policy: 1\nclinic: A clinic\nof: skin-excision\nedition: \"2026.1\"\nchanges:\n  \
         - {{ limit: older-reduced-load, value: 0.7, {terms} }}\n  \
         - {{ medicine_name: thinnix, means: apixaban, {terms} }}\n"
    );
    let local = TextFile::new("local.yaml", text);
    let under = rule_set_with(&skin().files, Some(&local))
        .unwrap_or_else(|found| panic!("{}", codes(&found).join("\n")));
    let path = skin().referrals.join("SX-104.yaml");
    let referral = std::fs::read_to_string(path).unwrap();
    // Of a woman of 68, whose limit is eight tenths of 385 mg.
    assert!(referral.contains("volume: 5 mL"), "{referral}");
    let referral = referral.replace("volume: 5 mL", "volume: 29 mL");
    let fired = |rules: &RuleSet| -> bool {
        let screener = Screener::new(rules, today());
        let screening = screener
            .clinic("clinic.yaml", skin().clinic.as_bytes())
            .unwrap()
            .screen("t.yaml", referral.as_bytes())
            .unwrap();
        let dose = "anaesthetic/older-dose-above-reduced-limit";
        screening.findings.iter().any(|it| it.rule == dose)
    };
    assert!(!fired(&skin().rules));
    assert!(fired(&under));
    assert!(under.medicines.names.contains_key("thinnix"));
}

/// Who is judged otherwise because of a change in what is used, is what a comparison says, as of a change of one's own.
#[test]
fn what_comes_in_by_it_is_compared() {
    let (before, after) = (Clinic::new(), Clinic::new());
    after.edit(
        "other/medicines.yaml",
        "{ name: aspirin, also: [acetylsalicylic acid], in: [thinner] }",
        "{ name: aspirin, also: [acetylsalicylic acid], in: [other] }",
    );
    after.agree();
    let [before, after] = [&before, &after].map(|it| it.path("own").display().to_string());
    let output = run(&["rules", "compare", &before, &after, "--as-of", "2026-12-03"]);
    let all = said(&output.stdout);
    assert!(
        all.contains("changed  medicine aspirin")
            && all.contains("LESS CAUTIOUS: go instead of defer"),
        "{all}{}",
        said(&output.stderr)
    );
}
