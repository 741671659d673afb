//! The rule sets of this project, each with its clinic and its referrals. What the engine promises is held on all of them:
//! a test that speaks of no procedure takes a [`Shipped`], and has a case for each.
#![expect(
    clippy::panic,
    reason = "a rule set, a clinic or a referral that is refused fails the test that uses it"
)]

use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use preblock::inner::questionnaire::facts::Gathered;
use preblock::inner::rule_set::RuleSet;
use preblock::inner::rule_set::files::RuleFiles;
use preblock::inner::rule_set::read::rule_set;
use preblock::inner::screening::compile::Compiled;
use preblock::inner::screening::screener::Screener;
use preblock::inner::workbench::cases::read::{Case, cases};

use crate::support::{codes, read_over, today};

/// A rule set, loaded and compiled once for all tests.
pub struct Shipped {
    pub files: RuleFiles,
    pub rules: RuleSet,
    pub compiled: Compiled,
    /// The clinic's file, as a text.
    pub clinic: String,
    /// The folder of the referrals.
    pub referrals: PathBuf,
    /// The file of somebody who goes.
    pub healthy: &'static str,
}

/// The default rule set.
pub fn nails() -> &'static Shipped {
    static NAILS: LazyLock<Shipped> = LazyLock::new(|| {
        let (clinic, referrals) = ("examples/clinic.yaml", "examples/referrals");
        Shipped::new(RuleFiles::embedded(), clinic, referrals, "SM-101.yaml")
    });
    &NAILS
}

/// The one for cutting out a small lesion of the skin.
pub fn skin() -> &'static Shipped {
    static SKIN: LazyLock<Shipped> = LazyLock::new(|| {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/rule-sets/skin-excision");
        let files = RuleFiles::folder(&folder);
        let files = files.unwrap_or_else(|found| panic!("{}", codes(&found).join(", ")));
        Shipped::new(
            files,
            "examples/rule-sets/skin-clinic/clinic.yaml",
            "examples/rule-sets/skin-clinic/referrals",
            "SX-101.yaml",
        )
    });
    &SKIN
}

impl Shipped {
    fn new(files: RuleFiles, clinic: &str, referrals: &str, healthy: &'static str) -> Self {
        let rules = rule_set(&files);
        let rules = rules.unwrap_or_else(|found| panic!("{}", codes(&found).join(", ")));
        let top = Path::new(env!("CARGO_MANIFEST_DIR"));
        let clinic = std::fs::read_to_string(top.join(clinic));
        Self {
            compiled: Compiled::new(&rules),
            rules,
            files,
            clinic: clinic.unwrap_or_else(|it| panic!("the clinic's file: {it}")),
            referrals: top.join(referrals),
            healthy,
        }
    }

    /// The worked cases.
    pub fn cases(&self) -> Vec<Case> {
        cases(&self.files, &self.rules)
            .unwrap_or_else(|found| panic!("{}", codes(&found).join(", ")))
    }

    /// The rule set as the program screens by it.
    pub fn screener(&self) -> Screener<'_> {
        Screener::new(&self.rules, today()).without_search()
    }

    /// The same, over the clinic's standing answers.
    pub fn screener_of_the_clinic(&self) -> Screener<'_> {
        self.screener()
            .clinic("clinic.yaml", self.clinic.as_bytes())
            .unwrap_or_else(|found| panic!("{}", codes(&found).join(", ")))
    }

    /// The files of the referrals, in the order of their names.
    pub fn paths(&self) -> Vec<PathBuf> {
        let entries = std::fs::read_dir(&self.referrals);
        let mut paths: Vec<PathBuf> = entries
            .into_iter()
            .flatten()
            .map(|it| it.map_or_else(|it| panic!("{it}"), |it| it.path()))
            .collect();
        paths.sort();
        assert!(paths.len() >= 5, "{} referrals", paths.len());
        paths
    }

    /// The answers of a referral over the clinic's standing ones.
    pub fn referral(&self, path: &Path) -> Gathered {
        let bytes = std::fs::read(path).unwrap_or_else(|it| panic!("{}: {it}", path.display()));
        let screener = Screener::new(&self.rules, today());
        let name = path.display().to_string();
        read_over(screener, Some(&self.clinic), &name, &bytes).answers
    }

    /// Those of somebody who goes.
    pub fn healthy(&self) -> Gathered {
        self.referral(&self.referrals.join(self.healthy))
    }
}
