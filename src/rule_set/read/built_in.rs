//! What holds the verdict whatever the rules say: answers that contradict one another, a plan beyond what the clinic offers,
//! and a name that nobody recognised. A rule set's own rule takes the place of the program's.
//!
//! Any other than a harmless answer to a question whose `ask_when` is settled no (an INR without a
//! vitamin K antagonist), and a plan beyond what the clinic offers, are findings that defer; the
//! rest of the file is screened all the same, that answer included. `answers: ruled-out` is the one
//! condition that looks at whether a question is answered: taking the answer away lifts it, and it
//! is unknown while it is not known whether the question applies. So the promises that a missing
//! answer never goes are about answers that contradict none for certain; where some do, or may, the
//! verdict waits.
//!
//! An unread name is never established, only undetermined: it may turn out to be harmless. A
//! missing list waits likewise, or leaving it out would get somebody through.

use crate::outcome::Outcome;
use crate::rule_set::bibliography::{Basis, Citation};
use crate::rule_set::rule::{Kind, MaySetAside, Piece, Rule, Text};
use crate::rule_set::{Condition, Conflict, RuleSet};

/// The concern of these rules, in their ids. No rule set has one of this name.
pub(crate) const BUILT_IN: &str = "built-in";

/// The program's own rules that no rule of the rule set stands for.
pub(crate) fn holds(rule_set: &RuleSet) -> Vec<Rule> {
    let stands_for = |conflict: Conflict| {
        rule_set
            .rules()
            .any(|it| it.when == Condition::Answers(conflict) && it.outcome > Outcome::Go)
    };
    let wanted = [Conflict::RuledOut, Conflict::NotOffered, Conflict::Unread]
        .into_iter()
        .filter(|it| !stands_for(*it));
    wanted.map(|it| hold(rule_set, it)).collect()
}

fn hold(rule_set: &RuleSet, conflict: Conflict) -> Rule {
    let words = |text: &str| Piece::Words(text.to_owned());
    let (id, title, reason, action, cleared_by) = match conflict {
        Conflict::RuledOut => (
            "detail-ruled-out",
            "A detail that another answer rules out",
            vec![
                words("Answered, although another answer says that it does not apply: "),
                Piece::Conflict(conflict),
                words("."),
            ],
            "Find out which of the answers is wrong, and correct it.",
            "answers that fit one another",
        ),
        Conflict::NotOffered => (
            "plan-not-offered",
            "A plan that the clinic does not offer",
            vec![
                words("The plan holds what the clinic's own file does not list as offered: "),
                Piece::Conflict(conflict),
                words("."),
            ],
            "Choose a plan that the clinic offers, or have its file of offers corrected by whoever keeps it.",
            "a plan within what the clinic offers",
        ),
        Conflict::Unread => (
            "name-not-recognised",
            "Every name of a medicine or an allergy to be recognised",
            vec![words(
                "A list of medicines or allergies is missing, or holds a name that was not recognised.",
            )],
            "Find out what is meant, and write its generic name.",
            "lists of names that are all recognised",
        ),
    };
    Rule {
        id: format!("{BUILT_IN}/{id}"),
        concern: None,
        title: title.to_owned(),
        kind: Kind::Contraindication,
        outcome: Outcome::Defer,
        urgency: None,
        refer_to: None,
        when: Condition::Answers(conflict),
        reason: Text { pieces: reason },
        action: Text {
            pieces: vec![words(action)],
        },
        cleared_by: Some(Text {
            pieces: vec![words(cleared_by)],
        }),
        tell_patient_before: None,
        tell_patient_after: None,
        set_aside: MaySetAside::One,
        citations: vec![Citation {
            basis: Basis::CommonPractice("built in, for every rule set".to_owned()),
            at: None,
        }],
        in_force_from: rule_set.in_force_from,
        last_reviewed: rule_set.in_force_from,
        review_by: rule_set.review_by,
        local: false,
    }
}
