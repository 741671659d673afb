//! ruleset.yaml: what a rule set is, which concerns it has, and which rules it had.

use std::collections::HashMap;

use chrono::NaiveDate;

use crate::document::diagnostic::{Code, Diagnostic};
use crate::document::reading::{Reading, Tells};
use crate::document::source::Node;
use crate::rule_set::files::{Parsed, RuleFiles};
use crate::rule_set::read::approval;
use crate::rule_set::read::built_in::BUILT_IN;
use crate::rule_set::read::registers::{date, unique};
use crate::rule_set::read::rule::in_force_before_review;
use crate::rule_set::{
    Approval, Concern, ReasonToSetAside, Retired, SiteWords, Status, Table, Withdrawal,
};

/// What ruleset.yaml says.
pub(crate) struct Head {
    pub id: String,
    pub title: String,
    pub edition: String,
    pub status: Status,
    pub in_force_from: NaiveDate,
    pub review_by: NaiveDate,
    pub owner: String,
    pub canonical: Option<String>,
    pub site: SiteWords,
    pub approval: Option<Approval>,
    pub withdrawn: Option<Withdrawal>,
    pub concerns: Table<Concern>,
    pub retired: Vec<Retired>,
    pub reasons: Vec<ReasonToSetAside>,
}

/// Reads ruleset.yaml, with every diagnostic of the file, and whether the registers used are the ones it means.
pub(crate) fn read(parsed: &Parsed, files: &RuleFiles) -> (Option<Head>, Vec<Diagnostic>) {
    let mut reading = parsed.reading("ruleset");
    let root = &parsed.root;
    let concerns = concerns(&mut reading, root);
    let mut retired = Vec::new();
    for node in root.list("retired") {
        match (
            reading.needed(node, "rule"),
            date(&mut reading, node, "on"),
            reading.needed(node, "because"),
        ) {
            (Some(rule), Some(on), Some(because)) => retired.push(Retired { rule, on, because }),
            _ => reading.pass_over(node, "a retired rule"),
        }
    }
    let reasons = reasons(&mut reading, root);
    means_what_it_uses(&mut reading, root, files);
    let status = match reading.needed(root, "status").as_deref() {
        Some("draft") => Some(Status::Draft),
        Some("approved") => Some(Status::Approved),
        Some("withdrawn") => Some(Status::Withdrawn),
        _ => None,
    };
    let (from, by) = (
        date(&mut reading, root, "in_force_from"),
        date(&mut reading, root, "review_by"),
    );
    in_force_before_review(&mut reading, root, from, by);
    let (approval, withdrawn) = (
        approval::approval(&mut reading, root),
        approval::withdrawal(&mut reading, root),
    );
    let status = status.filter(|it| approval::fits(&mut reading, root, *it));
    let head = (|| {
        Some(Head {
            id: reading.needed(root, "id")?,
            title: reading.needed(root, "title")?,
            edition: reading.needed(root, "edition")?,
            status: status?,
            in_force_from: from?,
            review_by: by?,
            owner: reading.needed(root, "owner")?,
            canonical: reading.owned(root, "canonical"),
            site: site(&mut reading, root)?,
            approval,
            withdrawn,
            concerns,
            retired,
            reasons,
        })
    })();
    if head.is_none() {
        reading.pass_over(root, "a whole ruleset.yaml");
    }
    (head, reading.finish())
}

/// Registers of another rule set decide here, too: no change of theirs comes in before somebody has looked at it.
fn means_what_it_uses(reading: &mut Reading<'_>, root: &Node, files: &RuleFiles) {
    let Some(uses) = root.get("uses") else { return };
    let Some(place) = uses.get("digest") else {
        return;
    };
    // Of registers that are named wrongly no digest is worth writing.
    let is_told =
        |it: &Diagnostic| uses.span.contains(&it.offset()) && !place.span.contains(&it.offset());
    if reading.diagnostics.iter().any(is_told) {
        return;
    }
    let found = files.digest_of_used();
    if reading.needed(uses, "digest").is_some_and(|it| it != found) {
        let title = "the registers used are not the ones this digest means";
        let help = format!(
            "look at what has changed in them, and write the new digest; `preblock rules compare` with the two folders as they were then says for whom. digest: {found}"
        );
        reading
            .wrong(Code::UsedChanged, place, title, "of others")
            .help(help);
    }
}

/// What a site is called; just that, if the rule set has no word of its own.
fn site(reading: &mut Reading<'_>, root: &Node) -> Option<SiteWords> {
    match root.get("site") {
        None => Some(SiteWords {
            one: "site".to_owned(),
            several: "sites".to_owned(),
        }),
        Some(words) => Some(SiteWords {
            one: reading.needed(words, "one")?,
            several: reading.needed(words, "several")?,
        }),
    }
}

fn reasons(reading: &mut Reading<'_>, root: &Node) -> Vec<ReasonToSetAside> {
    let mut seen = HashMap::new();
    let mut reasons = Vec::new();
    for node in root.list("reasons") {
        unique(reading, &mut seen, node, "reasons");
        match (reading.needed(node, "id"), reading.needed(node, "text")) {
            (Some(id), Some(text)) => reasons.push(ReasonToSetAside { id, text }),
            _ => reading.pass_over(node, "a reason"),
        }
    }
    reasons
}

fn concerns(reading: &mut Reading<'_>, root: &Node) -> Table<Concern> {
    let mut seen = HashMap::new();
    let mut concerns = Table::default();
    for node in root.list("concerns") {
        if let Some(id) = node.get("id") {
            unique(reading, &mut seen, node, "concerns");
            if id.written(reading.source) == Some(BUILT_IN) {
                let title = format!("`{BUILT_IN}` is a reserved word, not a concern");
                reading
                    .wrong(Code::DuplicateId, id, title, "reserved")
                    .help("choose another word");
            }
        }
        let owner = reading.owned(node, "owner");
        match (reading.needed(node, "id"), reading.needed(node, "title")) {
            (Some(id), Some(title)) => {
                concerns.push(Concern { id, title, owner });
            }
            _ => reading.pass_over(node, "a concern"),
        }
    }
    concerns
}
