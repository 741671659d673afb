//! Screenings as text and as JSON: whole reports as snapshots, and what must hold for any report.
#![expect(clippy::expect_used, reason = "a slip in a test ought to stop it")]

use std::path::Path;

use preblock::inner::document::diagnostic::{Code, Diagnostic};
use preblock::inner::outcome::{Outcome, OutcomeSpan, Standing, State, Urgency};
use preblock::inner::questionnaire::facts::Why;
use preblock::inner::report::list::{Batch, List, Row, worst_first};
use preblock::inner::report::{Style, chase, html, json, markdown, steers, text};
use preblock::inner::rule_set::catalogue::Who;
use preblock::inner::rule_set::{Kind, LocalChange, LocalKind, Loosens, SiteWords, Status};
use preblock::inner::screening::result::{
    AgentDose, Alternative, Anaesthetic, Applies, Asked, Because, Change, Cited, DateSpan, Finding,
    Firing, Lift, LocalShown, LocalStamp, Next, NextKind, NoteShown, Prospect, ReducedLimit,
    Refusal, RuleSetStamp, Screening, SourceStamp, ToAsk, Turn, Undetermined, Unrecognised,
    WhyAsked,
};
use rstest::rstest;
use serde_json::Value;

use crate::support::{embedded_once, facts, screening};

// --- Three patients --------------------------------------------------------------------------------------------

fn day(text: &str) -> chrono::NaiveDate {
    text.parse().expect("a test writes its dates well")
}

/// Nothing known, nothing missing: go.
pub fn nothing(reference: &str) -> Screening {
    Screening {
        notices: vec![],
        local_policy: None,
        rule_set: RuleSetStamp {
            id: "nail-surgery".into(),
            edition: "2026.1".into(),
            status: Status::Approved,
            digest: "0123456789abcdef".repeat(4),
            concerns: vec!["Bleeding".into(), "Circulation".into()],
        },
        reference: reference.into(),
        source: SourceStamp {
            path: format!("{reference}.yaml"),
            digest: "fedcba9876543210".repeat(4),
        },
        clinic: None,
        completed_on: Some(day("2026-11-20")),
        as_of: day("2026-11-25"),
        procedure_on: Some("2026-12-03".into()),
        span: OutcomeSpan {
            best_case: Standing::GO,
            worst_case: Standing::GO,
        },
        findings: vec![],
        undetermined: vec![],
        to_ask: vec![],
        anaesthetic: None,
        notes: vec![],
        set_aside: Vec::new(),
        unrecognised: vec![],
        next: None,
        lifts: vec![],
        alternatives: None,
        dates: None,
        cut_short: false,
    }
}

/// The same patient with the verdict that these findings and undetermined rules come to.
fn judged(mut it: Screening) -> Screening {
    let fires = it.findings.iter().map(|finding| Standing {
        outcome: finding.outcome,
        urgency: finding.urgency,
    });
    let open = it.undetermined.iter().map(|rule| Standing {
        outcome: rule.outcome_if_fires,
        urgency: rule.urgency,
    });
    it.span = OutcomeSpan::of(fires, open);
    it
}

fn finding(rule: &str, title: &str, outcome: Outcome, urgency: Option<Urgency>) -> Finding {
    Finding {
        rule: rule.into(),
        concern: rule.split('/').next().unwrap_or_default().into(),
        title: title.into(),
        kind: if outcome == Outcome::Go {
            Kind::Caution
        } else {
            Kind::Contraindication
        },
        outcome,
        urgency,
        reason: "An invented reason.".into(),
        action: "Do an invented thing.".into(),
        refer_to: (outcome == Outcome::Refer).then(|| "the vascular service".into()),
        cleared_by: None,
        because: vec![],
        citations: vec![Cited::CommonPractice("an invented practice".into())],
        local_policy: false,
    }
}

fn answered(fact: &str, value: &str, path: &str, line: usize) -> Because {
    Because {
        fact: fact.into(),
        ask: format!("What about {fact}?"),
        value: value.into(),
        path: Some(path.into()),
        line: Some(line),
        column: Some(10),
        from: vec![],
    }
}

fn published(title: &str, year: Option<i32>, at: Option<&str>, read: bool) -> Cited {
    Cited::Published {
        source: "invented-2024".into(),
        title: title.into(),
        by: "Invented Guideline Group".into(),
        year,
        at: at.map(Into::into),
        read,
    }
}

fn open(
    rule: &str,
    outcome: Outcome,
    urgency: Option<Urgency>,
    waits_for: &[&str],
) -> Undetermined {
    Undetermined {
        rule: rule.into(),
        concern: rule.split('/').next().unwrap_or_default().into(),
        title: "An invented hazard".into(),
        outcome_if_fires: outcome,
        urgency,
        waits_for: waits_for.iter().map(|it| (*it).into()).collect(),
        for_a_name: false,
    }
}

/// A name of the list of medicines that nobody recognised.
pub fn stranger(text: &str, nearest: Option<&str>, path: &str, line: usize) -> Unrecognised {
    Unrecognised {
        fact: "medicines.current".into(),
        ask: "Which medicines are taken now?".into(),
        from: Who::Patient,
        text: text.into(),
        nearest: nearest.map(Into::into),
        path: path.into(),
        line,
    }
}

pub fn ask(fact: &str, from: Who, outcome: Outcome, rules: &[&str], depends: bool) -> ToAsk {
    ToAsk {
        fact: fact.into(),
        ask: format!("What about {fact}, in the words of the question?"),
        to_patient: None,
        from,
        why: WhyAsked::Missing(Why::NotAsked),
        options: Vec::new(),
        several: false,
        entry: format!("{fact}: yes | no"),
        could_lead_to: outcome,
        urgency: (outcome == Outcome::Refer).then_some(Urgency::Routine),
        rules: rules.iter().map(|it| (*it).into()).collect(),
        depends,
        for_a_name: false,
    }
}

/// Nothing to do but what a test adds.
fn to_do(kind: NextKind) -> Next {
    Next {
        kind,
        plan: vec![],
        is_offered: true,
        read: vec![],
        clear_up: 0,
        ask: vec![],
        wait_for: vec![],
        refer_to: vec![],
        urgency: None,
    }
}

/// Go with a precaution and the arithmetic.
pub fn go() -> Screening {
    let mut it = nothing("SM-101");
    it.next = Some(to_do(NextKind::Book));
    it.findings = vec![Finding {
        reason: "Because of clopidogrel the toe bleeds for longer.".into(),
        action: "Book early in the day. What is prescribed goes on as prescribed; only the prescriber decides about it.".into(),
        because: vec![answered("medicines.current", "clopidogrel", "SM-101.yaml", 14)],
        citations: vec![published("Bleeding in minor surgery", Some(2024), Some("section 2"), true)],
        ..finding("bleeding/antiplatelet-taken", "Blood-thinning medicine taken", Outcome::Go, None)
    }];
    it.anaesthetic = Some(Anaesthetic {
        load: Some(0.234_7),
        per_agent: vec![
            AgentDose {
                agent: "lidocaine".into(),
                percent: Some(2.0),
                volume_ml: Some(1.5),
                dose_mg: Some(30.0),
                limit_mg: Some(159.87),
                limit_from: Some("3 mg/kg, at most 200 mg".into()),
                share: Some(0.187_652),
            },
            AgentDose {
                agent: "bupivacaine".into(),
                percent: Some(0.25),
                volume_ml: Some(2.0),
                dose_mg: Some(5.0),
                limit_mg: Some(106.58),
                limit_from: Some("2 mg/kg, at most 150 mg".into()),
                share: Some(0.1 + 0.2 - 0.253_087),
            },
        ],
        earlier_share: None,
        largest_volume_same_mix: Some(14.97),
        reductions: vec![],
        site: Some(SiteWords {
            one: "toe".into(),
            several: "toes".into(),
        }),
        volume_per_site: Some(3.5),
        basis: vec![
            "dosing weight: 53.3 kg".into(),
            "age: 68 years".into(),
            "adrenaline: no".into(),
        ],
    });
    it
}

/// A local policy with a change that loosens, one that may and is overdue, and one that does not.
fn local() -> LocalStamp {
    let change = |kind, about: &str, what: &str, loosens, how: Option<&str>| LocalChange {
        kind,
        about: about.into(),
        what: what.into(),
        reason: "An invented reason.".into(),
        agreed_by: "clinical lead".into(),
        agreed_on: day("2026-11-20"),
        review_by: day("2027-05-31"),
        loosens,
        how: how.map(Into::into),
    };
    let fewer = Some("fewer patients may come under bleeding/inr-too-old");
    let changes = [
        (
            change(
                LocalKind::Limit,
                "inr-age",
                "limit inr-age: 96 hours instead of 72 hours",
                Loosens::Yes,
                fewer,
            ),
            false,
        ),
        (
            change(
                LocalKind::Limit,
                "dosing",
                "limit dosing: 75 kg instead of 70 kg",
                Loosens::Perhaps,
                Some("it is part of a computation"),
            ),
            true,
        ),
        (
            change(
                LocalKind::Raise,
                "bleeding/nsaid",
                "rule bleeding/nsaid raised from go to defer",
                Loosens::No,
                None,
            ),
            false,
        ),
    ];
    LocalStamp {
        clinic: "Saltmarsh Foot Clinic".into(),
        source: SourceStamp {
            path: "local.yaml".into(),
            digest: "0f1e2d3c4b5a6978".repeat(4),
        },
        changes: changes
            .into_iter()
            .map(|(change, overdue)| LocalShown { change, overdue })
            .collect(),
    }
}

/// Defer: one thing to clear, and answers missing that could make it refer.
pub fn defer() -> Screening {
    let mut it = nothing("SM-107");
    it.next = Some(Next {
        read: vec!["warfrin".into(), "the small white ones".into()],
        ask: vec![
            Asked {
                from: Who::Patient,
                n: 1,
            },
            Asked {
                from: Who::Nurse,
                n: 1,
            },
            Asked {
                from: Who::Record,
                n: 1,
            },
        ],
        wait_for: vec!["an INR below 4.0, no older than 24 hours".into()],
        ..to_do(NextKind::Ask)
    });
    it.rule_set.status = Status::Draft;
    it.findings = vec![Finding {
        reason: "The INR of 4.6 is not below 4.0.".into(),
        action: "Tell the service that manages the anticoagulant today and rebook. The dose is its business alone.".into(),
        cleared_by: Some("an INR below 4.0, no older than 24 hours".into()),
        because: vec![
            answered("medicines.current", "warfarin", "referrals/SM-107.yaml", 14),
            answered("bleeding.inr", "4.6", "referrals/SM-107.yaml", 21),
        ],
        ..finding("bleeding/inr-above-ceiling", "INR at or above the ceiling", Outcome::Defer, None)
    }];
    it.undetermined = vec![
        open(
            "circulation/rest-pain",
            Outcome::Refer,
            Some(Urgency::SameDay),
            &["circulation.symptoms"],
        ),
        open(
            "circulation/tissue-loss",
            Outcome::Refer,
            Some(Urgency::SameDay),
            &["circulation.symptoms"],
        ),
        open(
            "circulation/ankle-index-low",
            Outcome::Refer,
            Some(Urgency::Routine),
            &[
                "circulation.ankle_measured",
                "circulation.arm_left",
                "circulation.ankle_left",
            ],
        ),
        open(
            "bleeding/inr-too-old",
            Outcome::Defer,
            None,
            &["bleeding.inr.taken_on"],
        ),
        open(
            "circulation/smoking",
            Outcome::Go,
            None,
            &["circulation.smoker"],
        ),
    ];
    it.to_ask = vec![
        ask(
            "circulation.symptoms",
            Who::Patient,
            Outcome::Refer,
            &["circulation/rest-pain", "circulation/tissue-loss"],
            false,
        ),
        ask(
            "circulation.ankle_measured",
            Who::Nurse,
            Outcome::Refer,
            &["circulation/ankle-index-low"],
            false,
        ),
        ToAsk {
            why: WhyAsked::Missing(Why::Unknown),
            ..ask(
                "bleeding.inr.taken_on",
                Who::Record,
                Outcome::Defer,
                &["bleeding/inr-too-old"],
                false,
            )
        },
        ask(
            "circulation.smoker",
            Who::Patient,
            Outcome::Go,
            &["circulation/smoking"],
            false,
        ),
        ask(
            "circulation.arm_left",
            Who::Nurse,
            Outcome::Refer,
            &["circulation/ankle-index-low"],
            true,
        ),
        ask(
            "circulation.ankle_left",
            Who::Nurse,
            Outcome::Refer,
            &["circulation/ankle-index-low"],
            true,
        ),
    ];
    it.unrecognised = vec![
        stranger("warfrin", Some("warfarin"), "referrals/SM-107.yaml", 14),
        stranger("the small white ones", None, "referrals/SM-107.yaml", 15),
    ];
    judged(it)
}

/// Refer, with something in every part of the report.
pub fn refer() -> Screening {
    let mut it = defer();
    it.reference = "SM-113".into();
    it.next = None;
    it.source.path = "SM-113.yaml".into();
    it.rule_set.status = Status::Withdrawn;
    it.clinic = Some(SourceStamp {
        path: "clinic.yaml".into(),
        digest: "00ff".repeat(16),
    });
    it.procedure_on = None;
    let derived = Because {
        fact: "derived.ankle_index".into(),
        ask: "Ankle index of the leg to be operated on".into(),
        value: "0.48".into(),
        path: None,
        line: None,
        column: None,
        from: vec![
            "circulation.ankle_left".into(),
            "circulation.arm_left".into(),
        ],
    };
    let index = Finding {
        reason: "The ankle index of the leg to be operated on is 0.48.".into(),
        action: "Refer to the vascular service and say that the toe waits.".into(),
        cleared_by: Some("written advice from the vascular service".into()),
        because: vec![
            derived,
            answered("circulation.ankle_left", "64 mmHg", "SM-113.yaml", 31),
            answered("circulation.arm_left", "133 mmHg", "SM-113.yaml", 30),
        ],
        citations: vec![
            published(
                "Blood flow in the foot, a long title that needs more than one line to be read",
                None,
                Some("table 3"),
                false,
            ),
            Cited::CommonPractice("pressures are taken lying down".into()),
            Cited::LocalProposal("the figure of 0.5".into()),
        ],
        ..finding(
            "circulation/ankle-index-severe",
            "Severely reduced flow at the ankle",
            Outcome::Refer,
            Some(Urgency::Urgent),
        )
    };
    let frail = Finding {
        kind: Kind::Caution,
        ..finding(
            "diabetes/foot-several-risks",
            "Several risks in one foot",
            Outcome::Defer,
            None,
        )
    };
    it.findings.insert(0, index);
    it.findings.push(frail);
    it.findings.extend(go().findings);
    it.anaesthetic = Some(Anaesthetic {
        load: None,
        per_agent: vec![AgentDose {
            agent: "mepivacaine".into(),
            percent: Some(3.0),
            volume_ml: None,
            dose_mg: None,
            limit_mg: None,
            limit_from: None,
            share: None,
        }],
        earlier_share: None,
        largest_volume_same_mix: None,
        reductions: vec![],
        site: Some(SiteWords {
            one: "toe".into(),
            several: "toes".into(),
        }),
        volume_per_site: None,
        basis: vec!["dosing weight: not known".into()],
    });
    it.notes = vec![
        NoteShown { section: String::new(), text: "Referred by letter.\nWife will drive.".into(), path: "SM-113.yaml".into(), line: 4 },
        NoteShown {
            section: "medicines".into(),
            text: "takes something herbal for sleep and has for some years, will bring the packet to the next appointment".into(),
            path: "SM-113.yaml".into(),
            line: 22,
        },
    ];
    judged(it)
}

fn change(fact: &str, ask: &str, now: &str, then: &str) -> Change {
    Change {
        fact: fact.into(),
        ask: ask.into(),
        now: now.into(),
        then: then.into(),
    }
}

fn firing(rule: &str, title: &str, outcome: Outcome, action: &str) -> Firing {
    Firing {
        rule: rule.into(),
        title: title.into(),
        outcome,
        urgency: None,
        action: action.into(),
    }
}

/// What it comes to if these rules fire and everything else is decided.
fn prospect(fires: Vec<Firing>) -> Prospect {
    let standings = fires.iter().map(|it| Standing {
        outcome: it.outcome,
        urgency: it.urgency,
    });
    Prospect {
        span: OutcomeSpan::of(standings, std::iter::empty()),
        fires,
        waits_for: vec![],
    }
}

/// Defer, with ways to lift it, other plans and other days, asked for and found.
pub fn bookable() -> Screening {
    let mut it = go();
    it.reference = "SM-115".into();
    it.next = Some(Next {
        plan: vec![change(
            "plan.ablation",
            "How is the matrix destroyed?",
            "phenol",
            "electrosurgery",
        )],
        is_offered: false,
        ask: vec![Asked {
            from: Who::Record,
            n: 2,
        }],
        ..to_do(NextKind::ChangePlan)
    });
    it.source.path = "SM-115.yaml".into();
    it.findings.insert(
        0,
        Finding {
            reason: "The INR of 4.6 is not below 4.0.".into(),
            cleared_by: Some("an INR below 4.0".into()),
            because: vec![answered("bleeding.inr", "4.6", "SM-115.yaml", 21)],
            citations: vec![published(
                "Bleeding in minor surgery",
                Some(2024),
                Some("section 4"),
                true,
            )],
            ..finding(
                "bleeding/inr-above-ceiling",
                "INR at or above the ceiling",
                Outcome::Defer,
                None,
            )
        },
    );
    let thinner = || {
        firing(
            "bleeding/antiplatelet-taken",
            "Blood-thinning medicine taken",
            Outcome::Go,
            "Book early in the day.",
        )
    };
    let older = || {
        firing(
            "anaesthetic/older-patient",
            "Older patient",
            Outcome::Go,
            "Use the lowest dose that works.",
        )
    };
    let too_old = || {
        firing(
            "bleeding/inr-too-old",
            "INR too old",
            Outcome::Defer,
            "Arrange an INR shortly before surgery.",
        )
    };
    let inr = change(
        "bleeding.inr",
        "What was the latest INR?",
        "4.6",
        "below 4.0, taken on or after 2 Dec 2026",
    );
    let decided = prospect(vec![too_old(), older()]);
    let waiting = Prospect {
        span: OutcomeSpan {
            worst_case: Standing {
                outcome: Outcome::Refer,
                urgency: Some(Urgency::Routine),
            },
            ..decided.span
        },
        waits_for: [
            "circulation.symptoms",
            "circulation.ankle_left",
            "circulation.arm_left",
            "diabetes.kind",
            "diabetes.hba1c",
            "person.sex",
        ]
        .map(str::to_owned)
        .into(),
        ..decided
    };
    it.lifts = vec![
        Lift {
            changes: vec![inr.clone()],
            prospect: prospect(vec![thinner(), older()]),
        },
        Lift {
            changes: vec![
                inr,
                change(
                    "plan.adrenaline",
                    "Does any planned solution contain adrenaline?",
                    "not known",
                    "no",
                ),
            ],
            prospect: waiting,
        },
    ];
    let ablation = change(
        "plan.ablation",
        "How is the nail matrix to be destroyed?",
        "phenol",
        "electrosurgery",
    );
    let adrenaline = change(
        "plan.adrenaline",
        "Does any planned solution contain adrenaline?",
        "yes",
        "no",
    );
    it.alternatives = Some(vec![
        Alternative {
            changes: vec![ablation.clone()],
            prospect: prospect(vec![thinner(), older()]),
            anaesthetic: None,
        },
        Alternative {
            changes: vec![ablation, adrenaline],
            prospect: prospect(vec![]),
            anaesthetic: go().anaesthetic,
        },
    ]);
    let turn = |rule: &str, title: &str, before, after| Turn {
        rule: rule.into(),
        title: title.into(),
        outcome: Outcome::Defer,
        before,
        after,
    };
    let rest_pain = Firing {
        urgency: Some(Urgency::SameDay),
        ..firing(
            "circulation/rest-pain",
            "Rest pain",
            Outcome::Refer,
            "Call the vascular team today.",
        )
    };
    it.dates = Some(vec![
        DateSpan {
            from: day("2026-12-03"),
            to: day("2026-12-09"),
            n_days: 3,
            prospect: prospect(vec![thinner()]),
            ended_by: vec![turn(
                "bleeding/inr-too-old",
                "INR too old",
                State::StaysQuiet,
                State::Fires,
            )],
        },
        DateSpan {
            from: day("2026-12-10"),
            to: day("2026-12-10"),
            n_days: 1,
            prospect: prospect(vec![too_old(), thinner()]),
            ended_by: vec![
                turn(
                    "bleeding/inr-too-old",
                    "INR too old",
                    State::Fires,
                    State::StaysQuiet,
                ),
                turn(
                    "pregnancy/phenol",
                    "Phenol in pregnancy",
                    State::Undetermined,
                    State::StaysQuiet,
                ),
                turn(
                    "diabetes/hba1c-old",
                    "HbA1c too old",
                    State::Fires,
                    State::Undetermined,
                ),
            ],
        },
        DateSpan {
            from: day("2026-12-14"),
            to: day("2026-12-21"),
            n_days: 4,
            prospect: prospect(vec![rest_pain]),
            ended_by: vec![],
        },
    ]);
    judged(it)
}

/// Go, by a draft under a local policy.
pub fn governed() -> Screening {
    let mut it = go();
    it.rule_set.status = Status::Draft;
    it.notices = vec!["This rule set is a draft: nobody has approved it for use.".into()];
    it.local_policy = Some(local());
    it.findings.iter_mut().for_each(|it| it.local_policy = true);
    it
}

pub fn all() -> [Screening; 3] {
    [go(), defer(), refer()]
}

/// A value of the JSON; there must be one.
fn at(screening: &Screening, pointer: &str) -> Value {
    json::value(screening)
        .pointer(pointer)
        .cloned()
        .expect("the report has this key")
}

// --- Whole reports ---------------------------------------------------------------------------------------------

/// Compares with a file in `tests/snapshots`, whatever the version of the program.
pub fn pinned(name: &str, actual: &str) {
    let name_and = |between: &str| format!("preblock{between}{}", env!("CARGO_PKG_VERSION"));
    let actual = actual
        .replace(&name_and(" "), "preblock [version]")
        .replace(
            &format!("\"version\": \"{}\"", env!("CARGO_PKG_VERSION")),
            "\"version\": \"[version]\"",
        );
    insta::with_settings!({ snapshot_path => "../snapshots", prepend_module_to_snapshot => false, omit_expression => true }, {
        insta::assert_snapshot!(name, actual);
    });
}

#[test]
fn text_of_go_with_a_precaution() {
    let actual = text::full(&go(), &Style::plain());
    assert!(actual.starts_with("GO  SM-101, "), "{actual}");
    assert!(actual.contains("bleeding/antiplatelet-taken"), "{actual}");
    pinned("report-text-go", &actual);
}

#[test]
fn text_of_defer_with_missing_answers() {
    let actual = text::full(&defer(), &Style::plain());
    assert!(actual.starts_with("DEFER  SM-107, "), "{actual}");
    assert!(actual.contains("could be refer, same-day"), "{actual}");
    assert!(actual.contains("did you mean \"warfarin\"?"), "{actual}");
    pinned("report-text-defer", &actual);
}

#[test]
fn text_of_refer_with_everything() {
    let actual = text::full(&refer(), &Style::plain());
    assert!(actual.starts_with("REFER, urgent  SM-113, "), "{actual}");
    pinned("report-text-refer", &actual);
}

#[test]
fn text_of_a_draft_under_a_local_policy() {
    let actual = text::full(&governed(), &Style::plain());
    assert!(
        actual.starts_with(
            "! This rule set is a draft: nobody has approved it for use.\n\nGO  SM-101, "
        ),
        "{actual}"
    );
    pinned("report-text-governed", &actual);
    pinned(
        "report-text-list-governed",
        &listed(&[governed(), go(), governed()], &[], &Style::plain()),
    );
}

#[test]
fn a_search_that_was_cut_short_is_told_everywhere() {
    let whole = bookable();
    let short = Screening {
        cut_short: true,
        ..whole.clone()
    };
    let words = "there may be more than stand here";
    let flat = |text: String| text.split_whitespace().collect::<Vec<_>>().join(" ");
    for (shown, said) in [(&whole, false), (&short, true)] {
        assert_eq!(
            flat(text::full(shown, &Style::plain())).contains(words),
            said
        );
        assert_eq!(
            flat(preblock::inner::report::markdown::one(shown, true)).contains(words),
            said
        );
        assert_eq!(json::one(shown).contains("\"cut_short\": true"), said);
    }
}

#[test]
fn text_with_what_would_lift_it_other_plans_and_other_days() {
    let actual = text::full(&bookable(), &Style::plain());
    let words = actual.split_whitespace().collect::<Vec<_>>().join(" ");
    for expected in [
        "Below: 1 finding against surgery, 2 ways to lift it, 1 precaution, 2 other plans.",
        "1. if What was the latest INR? below 4.0, taken on or after 2 Dec 2026 (now 4.6) then go, 2 precautions 2. if",
        "and if Does any planned solution contain adrenaline? no (now not known) then defer; against it then: INR too old (defer); \
         still waits for circulation.symptoms, circulation.ankle_left, circulation.arm_left, diabetes.kind and 2 more, could still be refer",
        "GO, 2 precautions with electrosurgery instead of phenol take care Blood-thinning medicine taken: Book early in the day. Older patient: Use",
        "GO, no precaution with electrosurgery instead of phenol, and adrenaline: no instead of yes dose lidocaine 2 %, 1.5 mL; bupivacaine",
        "GO, 1 precaution 3 Dec 2026 to 9 Dec 2026 (3 procedure days) then defer: INR too old (bleeding/inr-too-old) starts to fire",
        "DEFER 10 Dec 2026 (1 procedure day) against it: INR too old (defer) then refer, same-day: INR too old \
         (bleeding/inr-too-old) no longer fires; Phenol in pregnancy (pregnancy/phenol) is settled and stays quiet; \
         HbA1c too old (diabetes/hba1c-old) can no longer be decided",
        "REFER, same-day 14 Dec 2026 to 21 Dec 2026 (4 procedure days)",
    ] {
        assert!(words.contains(expected), "{expected}\nis not in\n{actual}");
    }
    pinned("report-text-bookable", &actual);
}

#[test]
fn plans_and_days_that_were_asked_for_and_not_found_are_told() {
    let mut it = defer();
    assert!(
        !text::full(&it, &Style::plain()).contains("Other "),
        "nobody asked"
    );
    (it.alternatives, it.dates) = (Some(vec![]), Some(vec![]));
    for actual in [text::full(&it, &Style::plain()), markdown::one(&it, true)] {
        assert!(
            actual.contains("No other plan that this clinic offers gives a better verdict."),
            "{actual}"
        );
        assert!(
            actual.contains("There was no procedure day to try."),
            "{actual}"
        );
    }
}

#[test]
fn chase_lists_of_each() {
    let mut asked = refer();
    if let Some(it) = asked.to_ask.first_mut() {
        it.options = vec!["Pain at night".into(), "Pain when walking".into()];
    }
    let lists = [go(), defer(), asked];
    let rows: Vec<String> = lists
        .iter()
        .enumerate()
        .map(|(at, it)| chase::in_a_row(it, at == 0))
        .collect();
    pinned("report-chase", &rows.concat());
}

#[test]
fn json_of_each() {
    pinned("report-json-bookable", &json::one(&bookable()));
    pinned("report-json-go", &json::one(&go()));
    pinned("report-json-defer", &json::one(&defer()));
    pinned("report-json-refer", &json::one(&refer()));
    pinned("report-json-governed", &json::one(&governed()));
}

/// What came of these, as the command line prints them.
pub fn batch<'a>(screenings: &'a [Screening], refused: &'a [Refusal]) -> Batch<'a> {
    Batch {
        screenings: worst_first(screenings),
        refused,
        n_left: 0,
    }
}

fn listed(screenings: &[Screening], refused: &[Refusal], style: &Style) -> String {
    text::list(&List::of(&batch(screenings, refused)), style)
}

/// A file that was refused for two things, and one whose reference could not be read.
pub fn refused() -> [Refusal; 2] {
    let problem = |title: &str| Diagnostic {
        code: Code::NotADate,
        title: title.into(),
        source: None,
        labels: vec![],
        help: "Write another one.".into(),
    };
    [
        Refusal {
            reference: Some("SM-201".into()),
            path: "inbox/a.yaml".into(),
            notices: vec![],
            problems: vec![problem("`1958-02-31` is not a date"), problem("another")],
        },
        Refusal {
            reference: None,
            path: "inbox/b.yaml".into(),
            notices: vec![],
            problems: vec![problem("`soon` is not a date")],
        },
    ]
}

#[test]
fn a_list_has_a_row_for_each_patient_and_each_refused_file() {
    let mut pressing = nothing("SM-120");
    pressing.findings = vec![finding(
        "circulation/rest-pain",
        "Rest pain",
        Outcome::Refer,
        Some(Urgency::SameDay),
    )];
    let pressing = judged(pressing);
    let screenings = [
        go(),
        nothing("SM-100"),
        defer(),
        refer(),
        pressing,
        bookable(),
    ];
    let actual = listed(&screenings, &refused(), &Style::plain());
    let order: Vec<&str> = actual
        .lines()
        .filter_map(|line| line.split(' ').next())
        .filter(|it| it.starts_with("SM-") || it.ends_with(".yaml"))
        .collect();
    assert_eq!(
        order,
        [
            "SM-120", "SM-113", "SM-107", "SM-115", "SM-100", "SM-101", "SM-201", "b.yaml"
        ],
        "worst first, then by reference\n{actual}"
    );
    let words = actual.split_whitespace().collect::<Vec<_>>().join(" ");
    for told in [
        "6 screened: 2 refer (1 same-day, 1 urgent), 2 defer, 2 go. 2 files were refused and NOT screened.",
        "SM-120 2026-12-03 REFER, same-day Rest pain",
        "go with another plan, go on another day",
        "SM-201 - NOT SCREENED `1958-02-31` is not a date; 1 more next mend the file and screen it",
        "SM-100 2026-12-03 GO nothing against it",
    ] {
        assert!(words.contains(told), "{told} is not in\n{actual}");
    }
    pinned("report-text-list", &actual);
}

/// The row of somebody for whom nothing is known to be against it says what is missing, and what could come of it.
#[test]
fn a_row_says_what_is_missing_and_what_could_come_of_it() {
    let mut it = defer();
    it.findings.clear();
    let it = judged(it);
    assert_eq!(
        Row::of(&it).reason,
        "2 names not recognised; could be refer, same-day"
    );
    let mut one = it.clone();
    one.unrecognised.truncate(1);
    assert_eq!(
        Row::of(&one).reason,
        "name not recognised: \"warfrin\" (warfarin?); could be refer, same-day"
    );
    let mut none = it;
    none.unrecognised.clear();
    assert_eq!(
        Row::of(&none).reason,
        "3 answers missing; could be refer, same-day",
        "one more could only add a precaution"
    );
    assert_eq!(Row::of(&go()).reason, "1 precaution");
    assert_eq!(Row::of(&go()).next.as_deref(), Some("book"));
}

// --- The verdict and what it could become ----------------------------------------------------------------------

#[test]
fn a_go_cannot_become_worse() {
    assert_eq!(go().verdict().words(), "go");
    assert_eq!(go().span.could_be(), None);
}

#[test]
fn a_defer_says_how_pressing_a_referral_could_be() {
    assert_eq!(defer().verdict().words(), "defer");
    assert_eq!(
        defer().span.could_be().map(|it| it.words()).as_deref(),
        Some("refer, same-day")
    );
}

#[test]
fn a_referral_that_could_be_more_pressing_says_so_and_one_that_could_not_does_not() {
    let mut it = refer();
    assert_eq!(it.verdict().words(), "refer, urgent");
    assert_eq!(
        it.span.could_be().map(|it| it.words()).as_deref(),
        Some("refer, same-day")
    );
    it.undetermined
        .retain(|it| it.urgency != Some(Urgency::SameDay));
    assert_eq!(
        judged(it).span.could_be(),
        None,
        "routine is less than urgent"
    );
}

#[test]
fn a_missing_answer_that_could_only_defer_does_not_read_as_a_referral() {
    let mut it = nothing("SM-102");
    it.undetermined = vec![open(
        "bleeding/inr-too-old",
        Outcome::Defer,
        None,
        &["bleeding.inr"],
    )];
    let it = judged(it);
    assert_eq!(it.span.could_be(), None);
    let actual = text::full(&it, &Style::plain());
    assert!(actual.starts_with("DEFER  "), "{actual}");
    assert!(!actual.contains("could be"), "{actual}");
}

#[test]
fn questions_are_grouped_by_whom_to_ask_and_the_later_ones_are_only_named() {
    let actual = text::full(&defer(), &Style::plain());
    let at = |wanted: &str| {
        actual
            .find(wanted)
            .unwrap_or_else(|| unreachable!("{wanted} is not in\n{actual}"))
    };
    assert!(at("Ask the patient") < at("circulation.symptoms: not asked"));
    assert!(at("circulation.smoker: not asked") < at("For the nurse to"));
    assert!(at("For the nurse to") < at("Look up in the record"));
    assert!(at("Look up in the record") < at("... and 2 more, only if"));
    assert!(
        !actual.contains("What about circulation.arm_left"),
        "{actual}"
    );
}

#[test]
fn with_nothing_to_ask_first_the_later_questions_are_asked() {
    let mut it = defer();
    it.to_ask.retain(|it| it.depends);
    let actual = text::full(&it, &Style::plain());
    assert!(
        actual.contains("What about circulation.arm_left"),
        "{actual}"
    );
    assert!(!actual.contains("only if those answers"), "{actual}");
}

/// Worst first, whatever order the answers come in; those that others may make needless last; nobody without a question.
#[test]
fn the_chase_list_asks_the_worst_first() {
    let mut it = nothing("SM-107");
    it.to_ask = vec![
        ask("a.smoker", Who::Patient, Outcome::Go, &["a/x"], false),
        ask("a.details", Who::Patient, Outcome::Refer, &["a/x"], true),
        ToAsk {
            urgency: Some(Urgency::SameDay),
            ..ask("a.tissue", Who::Patient, Outcome::Refer, &["a/x"], false)
        },
        ask("a.clearance", Who::Record, Outcome::Defer, &["a/x"], false),
        ask("a.pain", Who::Patient, Outcome::Refer, &["a/x"], false),
        ask("a.letter", Who::Referrer, Outcome::Defer, &["a/x"], false),
        ask("a.mark", Who::Clinician, Outcome::Defer, &["a/x"], false),
    ];
    let groups: Vec<(Who, Vec<&str>)> = chase::groups(&it)
        .into_iter()
        .map(|it| (it.from, it.asks.iter().map(|it| it.fact.as_str()).collect()))
        .collect();
    let expected: [(Who, &[&str]); 4] = [
        (
            Who::Patient,
            &["a.tissue", "a.pain", "a.smoker", "a.details"],
        ),
        (Who::Referrer, &["a.letter"]),
        (Who::Clinician, &["a.mark"]),
        (Who::Record, &["a.clearance"]),
    ];
    assert_eq!(groups, expected.map(|(from, facts)| (from, facts.to_vec())));
}

/// Each part can be pasted alone, and holds nothing of the patient but the reference, the day and the questions.
#[test]
fn the_chase_list_holds_the_questions_and_nothing_else_of_the_patient() {
    let it = defer();
    let actual = chase::one(&it);
    let parts: Vec<&str> = actual.split("\n----").collect();
    assert_eq!(parts.len(), 3, "patient, nurse, record\n{actual}");
    for part in parts {
        assert!(
            part.contains("SM-107, surgery planned for 3 Dec 2026\nFor the ")
                || part.contains("3 Dec 2026\nTo look up"),
            "{part}"
        );
    }
    let words = actual.split_whitespace().collect::<Vec<_>>().join(" ");
    for asked in &it.to_ask {
        assert_eq!(
            words.matches(&asked.ask).count(),
            1,
            "{}\n{actual}",
            asked.ask
        );
    }
    let told = it
        .findings
        .iter()
        .flat_map(|it| [&it.rule, &it.title, &it.reason, &it.action]);
    for told in told.chain(it.undetermined.iter().map(|it| &it.rule)) {
        assert!(!words.contains(told.as_str()), "{told}\n{actual}");
    }
    for word in ["defer", "refer,", "DEFER", "could"] {
        assert!(!actual.contains(word), "{word}\n{actual}");
    }
    assert!(
        actual.lines().all(|it| it.chars().count() <= 64),
        "{actual}"
    );
}

#[test]
fn a_chase_list_without_questions_says_so() {
    assert_eq!(
        chase::one(&go()),
        "SM-101, surgery planned for 3 Dec 2026\nNothing to ask: no missing answer could change anything.\n"
    );
}

#[test]
fn with_nothing_to_ask_first_the_chase_list_asks_the_later_questions() {
    let mut it = defer();
    it.to_ask.retain(|it| it.depends);
    it.unrecognised.clear();
    let actual = chase::one(&it);
    assert!(
        actual.contains("1.  What about circulation.arm_left"),
        "{actual}"
    );
    assert!(!actual.contains("Only needed"), "{actual}");
}

// --- Figures ---------------------------------------------------------------------------------------------------

#[test]
fn figures_are_never_rounded_across_a_limit() {
    let mut it = go();
    it.anaesthetic = Some(Anaesthetic {
        load: Some(1.000_04),
        per_agent: vec![AgentDose {
            agent: "lidocaine".into(),
            percent: Some(2.0),
            volume_ml: Some(10.002),
            dose_mg: Some(200.04),
            limit_mg: Some(200.0),
            limit_from: Some("at most 200 mg".into()),
            share: Some(0.999_96),
        }],
        earlier_share: None,
        largest_volume_same_mix: Some(9.999),
        reductions: vec![],
        site: Some(SiteWords {
            one: "toe".into(),
            several: "toes".into(),
        }),
        volume_per_site: None,
        basis: vec![],
    });
    let actual = text::full(&it, &Style::plain());
    assert!(actual.contains("1.00004; ABOVE the limit"), "{actual}");
    assert!(
        actual.contains("200.04 mg"),
        "a dose above its limit shows as above it\n{actual}"
    );
    assert!(
        actual.contains("0.99996"),
        "a share below the limit shows as below it\n{actual}"
    );
    assert!(
        actual.contains("reached at 9.9 mL"),
        "the most that may be given is rounded down\n{actual}"
    );
    assert_eq!(at(&it, "/anaesthetic/largest_volume_same_mix"), "9.9 mL");
}

/// Smaller limits stand on lines of their own: the age and pregnancy of published examples, and what is not known yet.
#[rstest]
#[case(
    "2001-05-14, sex: female, height: 170 cm, weight: 60 kg",
    "pregnant",
    &["less for pregnancy: 0.667 of the usual limit, lidocaine at most 120.0 mg; reached at 12.0 mL of this mixture"]
)]
#[case(
    "1950-05-14, sex: male, height: 180 cm, weight: 70 kg",
    "not-pregnant",
    &["less for age: 0.8 of the usual limit, lidocaine at most 160.0 mg; reached at 16.0 mL of this mixture"]
)]
#[case("1950-05-14, sex: male, height: 180 cm, weight: 70 kg", "unknown", &[
    "less for age: 0.8 of the usual limit, lidocaine at most 160.0 mg; reached at 16.0 mL of this mixture",
])]
#[case("1966-12-03, sex: male, height: 180 cm, weight: 70 kg", "not-pregnant", &[
    "less for age: 0.8 of the usual limit, lidocaine at most 160.0 mg; reached at 16.0 mL of this mixture",
])]
#[case("1966-12-04, sex: male, height: 180 cm, weight: 70 kg", "not-pregnant", &[])]
fn smaller_limits_stand_on_lines_of_their_own(
    #[case] person: &str,
    #[case] status: &str,
    #[case] expected: &[&str],
) {
    let (rules, _) = embedded_once();
    let answers = format!(
        "plan: {{ procedure_on: 2026-12-03, toes: [left-great], adrenaline: no, anaesthetic: [{{ agent: lidocaine, strength: 1 %, volume: 10 mL }}] }}\n\
         person: {{ date_of_birth: {person} }}\npregnancy: {{ status: {status} }}\nanaesthesia: {{ block_within_day: no }}"
    );
    let it = screening(rules, &facts(rules, &answers));
    let said = it
        .anaesthetic
        .as_ref()
        .map(preblock::inner::report::text::anaesthetic::sentences)
        .unwrap_or_default();
    let less: Vec<&String> = said
        .iter()
        .filter(|it| it.contains("less ") && !it.contains("far less"))
        .collect();
    assert_eq!(less, expected);
    let page = text::full(&it, &Style::plain())
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    for line in expected {
        assert!(page.contains(line), "{page}");
    }
    assert_eq!(
        at(&it, "/anaesthetic/reductions").as_array().map(Vec::len),
        Some(expected.len())
    );
    if let Some(first) = expected.first() {
        assert_eq!(
            at(&it, "/anaesthetic/reductions/0/applies"),
            "yes",
            "{first}"
        );
    }
}

/// What was given before is said, and taken off what is left: 40 of 200 mg, so 16 mL of 1 % and not 20.
#[rstest]
#[case("no", "unknown", "unknown", None, Some("20.0 mL"))]
#[case(
    "yes",
    "[{ agent: lidocaine, strength: 2 %, volume: 2 mL }]",
    "no",
    Some("0.200 of the limit"),
    Some("16.0 mL")
)]
#[case(
    "yes",
    "[{ agent: lidocaine, strength: 2 %, volume: 2 mL }]",
    "yes",
    Some("0.100 of the limit"),
    Some("18.0 mL")
)]
#[case(
    "yes",
    "[{ agent: lidocaine, strength: 2 %, volume: 2 mL }]",
    "unknown",
    None,
    None
)]
#[case(
    "yes",
    "[{ agent: lidocaine, strength: 2 %, volume: 10 mL }]",
    "no",
    Some("1.000 of the limit nothing is left of the limit"),
    None
)]
#[case("yes", "unknown", "no", None, None)]
#[case("unknown", "unknown", "no", None, None)]
fn what_was_given_before_is_taken_off(
    #[case] given: &str,
    #[case] earlier: &str,
    #[case] adrenaline: &str,
    #[case] said: Option<&str>,
    #[case] largest: Option<&str>,
) {
    let (rules, _) = embedded_once();
    let answers = format!(
        "plan: {{ procedure_on: 2026-12-03, toes: [left-great], adrenaline: no, anaesthetic: [{{ agent: lidocaine, strength: 1 %, volume: 5 mL }}] }}\n\
         person: {{ date_of_birth: 1980-05-14, sex: male, height: 180 cm, weight: 70 kg }}\n\
         anaesthesia: {{ block_within_day: {given}, earlier: {earlier}, earlier_adrenaline: {adrenaline} }}"
    );
    let it = screening(rules, &facts(rules, &answers));
    let page = text::full(&it, &Style::plain())
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    match said {
        Some(said) => assert!(
            page.contains(&format!("given before and still counting: {said}")),
            "{page}"
        ),
        None => assert!(!page.contains("given before"), "{page}"),
    }
    assert_eq!(
        at(&it, "/anaesthetic/largest_volume_same_mix").as_str(),
        largest
    );
    if let Some(largest) = largest {
        assert!(page.contains(&format!("reached at {largest}")), "{page}");
    }
}

/// A plan above the smaller limit, and below the usual one, says so on that line.
#[test]
fn a_plan_above_a_smaller_limit_says_so() {
    let mut it = go();
    if let Some(anaesthetic) = &mut it.anaesthetic {
        let of = |share| ReducedLimit {
            about: "age".into(),
            share,
            largest_volume_same_mix: Some(3.0),
            applies: Applies::Yes,
        };
        anaesthetic.reductions = vec![of(0.2), of(0.3)];
    }
    let said = text::full(&it, &Style::plain());
    assert_eq!(said.matches("the plan is ABOVE that").count(), 1, "{said}");
    assert_eq!(
        at(&it, "/anaesthetic/reductions/0"),
        serde_json::json!({
            "about": "age", "share": 0.2, "largest_volume_same_mix": "3.0 mL", "applies": "yes"
        })
    );
}

#[test]
fn a_load_that_is_not_known_is_said_to_be_unknown() {
    let actual = text::full(&refer(), &Style::plain());
    assert!(actual.contains("cannot be worked out yet"), "{actual}");
    assert_eq!(at(&refer(), "/anaesthetic/load"), Value::Null);
}

// --- Drawing ---------------------------------------------------------------------------------------------------

#[test]
fn colour_only_adds() {
    for it in all() {
        let plain = text::full(
            &it,
            &Style {
                width: 80,
                colour: false,
            },
        );
        let coloured = text::full(
            &it,
            &Style {
                width: 80,
                colour: true,
            },
        );
        assert_ne!(coloured, plain);
        assert_eq!(anstream::adapter::strip_str(&coloured).to_string(), plain);
    }
    let coloured = listed(
        &all(),
        &refused(),
        &Style {
            width: 80,
            colour: true,
        },
    );
    assert_eq!(
        anstream::adapter::strip_str(&coloured).to_string(),
        listed(&all(), &refused(), &Style::plain())
    );
}

#[test]
fn lines_keep_to_the_width_and_ids_stay_whole() {
    for width in [0, 64, 71, 80, 100] {
        let style = Style {
            width,
            colour: false,
        };
        for it in all() {
            let actual = text::full(&it, &style);
            for line in actual.lines() {
                let words = line.split_whitespace().count();
                assert!(
                    line.chars().count() <= width.max(64) || words <= 3,
                    "{width}: {line}"
                );
                assert_eq!(line, line.trim_end());
            }
            for id in it
                .findings
                .iter()
                .map(|it| &it.rule)
                .chain(it.undetermined.iter().map(|it| &it.rule))
                .chain(it.to_ask.iter().map(|it| &it.fact))
            {
                assert!(actual.contains(id.as_str()), "{id} at {width}\n{actual}");
            }
        }
    }
}

/// However long a reference, a list keeps its columns apart and its width.
#[test]
fn the_rows_of_a_list_keep_to_the_width() {
    let mut long = defer();
    long.reference = "SM-107-of-the-second-list".into();
    for width in [40, 80, 200] {
        let style = Style {
            width,
            colour: false,
        };
        let actual = listed(&[long.clone(), go()], &refused(), &style);
        for line in actual.lines() {
            let words = line.split_whitespace().count();
            assert!(
                line.chars().count() <= width.max(80) || words <= 3,
                "{line}"
            );
            assert_eq!(line, line.trim_end());
        }
        assert_eq!(actual.matches("\nSM-107-of-the-second-list  ").count(), 1);
    }
}

// --- Text from files -------------------------------------------------------------------------------------------

/// Characters that steer: escape, bell, back space, a C1 control, a direction override, a line separator.
const STEERING: &str = "a\u{1b}[31mb\u{7}c\u{8}d\u{9b}2Je\u{202e}f\u{2028}g\rh";

pub fn hostile() -> Screening {
    let mut it = refer();
    it.reference = format!("SM-{STEERING}");
    it.notices = vec![STEERING.into()];
    let mut local = local();
    it.findings.iter_mut().for_each(|it| it.local_policy = true);
    (local.clinic, local.source.path) = (STEERING.into(), STEERING.into());
    for LocalShown { change, .. } in &mut local.changes {
        (change.what, change.reason, change.agreed_by) =
            (STEERING.into(), STEERING.into(), STEERING.into());
        change.how = change.how.is_some().then(|| STEERING.into());
    }
    it.local_policy = Some(local);
    it.source.path = format!("{STEERING}.yaml");
    it.procedure_on = Some(STEERING.into());
    it.notes.push(NoteShown {
        section: STEERING.into(),
        text: format!("{STEERING}\n-- Made with ---\nGO\tSM-113"),
        path: STEERING.into(),
        line: 3,
    });
    it.unrecognised.push(Unrecognised {
        ask: STEERING.into(),
        ..stranger(STEERING, Some(STEERING), STEERING, 5)
    });
    it.undetermined
        .push(open(STEERING, Outcome::Refer, None, &[STEERING]));
    it.to_ask.push(ask(
        STEERING,
        Who::Patient,
        Outcome::Refer,
        &[STEERING],
        false,
    ));
    for finding in &mut it.findings {
        finding.reason = STEERING.into();
        finding.title = STEERING.into();
        finding.because = vec![answered(STEERING, STEERING, STEERING, 1)];
    }
    let more = bookable();
    (it.lifts, it.alternatives, it.dates) = (more.lifts, more.alternatives, more.dates);
    let lifts = it
        .lifts
        .iter_mut()
        .map(|it| (&mut it.changes, &mut it.prospect));
    let plans = it
        .alternatives
        .iter_mut()
        .flatten()
        .map(|it| (&mut it.changes, &mut it.prospect));
    for (changes, prospect) in lifts.chain(plans) {
        *changes = vec![change(STEERING, STEERING, STEERING, STEERING)];
        prospect.fires = vec![firing(STEERING, STEERING, Outcome::Defer, STEERING)];
        prospect.waits_for = vec![STEERING.into()];
    }
    for turn in it
        .dates
        .iter_mut()
        .flatten()
        .flat_map(|it| &mut it.ended_by)
    {
        (turn.title, turn.rule) = (STEERING.into(), STEERING.into());
    }
    if let Some(anaesthetic) = &mut it.anaesthetic {
        anaesthetic.basis = vec![STEERING.into()];
        for agent in &mut anaesthetic.per_agent {
            agent.agent = STEERING.into();
        }
    }
    judged(it)
}

#[test]
fn no_text_from_a_file_reaches_the_terminal_as_a_control() {
    let written = [
        text::full(&hostile(), &Style::plain()),
        listed(&[hostile()], &[], &Style::plain()),
        text::one(&hostile(), false, &Style::plain()),
        markdown::one(&hostile(), false),
        html::one_page(&hostile(), true).replace('\t', " "),
        html::several(&batch(&[hostile()], &[]), false).replace('\t', " "),
        chase::one(&hostile()),
        markdown::several(&batch(&[hostile()], &[]), true),
    ];
    for actual in written {
        let steering: Vec<char> = actual
            .chars()
            .filter(|it| *it != '\n' && steers(*it))
            .collect();
        assert!(steering.is_empty(), "{steering:?} in\n{actual:?}");
        let actual = actual.replace("\\[", "[");
        assert!(
            actual.contains("a\u{fffd}[31mb\u{fffd}c"),
            "what was left out leaves a mark\n{actual}"
        );
    }
}

#[test]
fn a_note_keeps_its_words_and_cannot_pass_for_the_report() {
    let actual = text::full(&hostile(), &Style::plain());
    assert!(
        actual.contains("\n    | -- Made with ---\n    | GO    SM-113\n"),
        "{actual}"
    );
    assert_eq!(
        actual
            .lines()
            .filter(|it| it.starts_with("-- Made with"))
            .count(),
        1,
        "{actual}"
    );
}

#[test]
fn json_holds_every_character_and_shows_none_that_steers() {
    let it = hostile();
    let line = json::line(&it);
    assert_eq!(line.lines().count(), 1);
    for written in [json::one(&it), json::element(&it, true) + "]\n", line] {
        assert!(
            !written.chars().any(|it| it != '\n' && steers(it)),
            "{written:?}"
        );
    }
    assert_eq!(at(&it, "/reference"), it.reference);
    let read: Value = serde_json::from_str(&json::one(&it)).expect("JSON is written");
    assert_eq!(read, json::value(&it));
}

// --- JSON ------------------------------------------------------------------------------------------------------

#[test]
fn the_three_forms_of_json_hold_the_same() {
    let values: Vec<Value> = all().iter().map(json::value).collect();
    let elements: String = all()
        .iter()
        .enumerate()
        .map(|(at, it)| json::element(it, at == 0))
        .collect();
    assert_eq!(
        serde_json::from_str::<Value>(&format!("{elements}]\n")).expect("JSON is written"),
        Value::Array(values.clone())
    );
    for (screening, value) in all().iter().zip(&values) {
        assert_eq!(
            &serde_json::from_str::<Value>(&json::one(screening)).expect("JSON is written"),
            value
        );
        assert_eq!(
            &serde_json::from_str::<Value>(&json::line(screening)).expect("JSON is written"),
            value
        );
        assert_eq!(json::line(screening).lines().count(), 1);
    }
}

#[test]
fn json_keys_stand_in_their_order_whatever_is_known() {
    let expected = [
        "screening",
        "tool",
        "notices",
        "rule_set",
        "local_policy",
        "reference",
        "source",
        "clinic",
        "completed_on",
        "as_of",
        "procedure_on",
        "verdict",
        "urgency",
        "best_case",
        "worst_case",
        "next",
        "findings",
        "undetermined",
        "to_ask",
        "chase",
        "anaesthetic",
        "notes",
        "unrecognised",
        "set_aside",
        "lifts",
        "alternatives",
        "dates",
        "cut_short",
        "safety",
    ];
    for it in [nothing("SM-100"), go(), defer(), refer()] {
        let value = json::value(&it);
        let keys: Vec<&String> = value
            .as_object()
            .map(|it| it.keys().collect())
            .unwrap_or_default();
        assert_eq!(keys, expected);
    }
}

#[test]
fn json_figures_are_without_noise() {
    assert_eq!(
        at(&go(), "/anaesthetic/per_agent/1/share").to_string(),
        "0.046913"
    );
}

fn schema() -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("schemas/screening.schema.json");
    let text = std::fs::read_to_string(path).expect("the schema is there");
    serde_json::from_str(&text).expect("the schema is JSON")
}

#[test]
fn json_keeps_its_schema() {
    let schema = schema();
    assert!(jsonschema::meta::validate(&schema).is_ok());
    let validator = jsonschema::draft7::new(&schema).expect("the schema is a schema");
    for it in [
        nothing("SM-100"),
        go(),
        defer(),
        refer(),
        bookable(),
        governed(),
    ] {
        let value = json::value(&it);
        let problems: Vec<String> = validator
            .iter_errors(&value)
            .map(|it| format!("{}: {it}", it.instance_path()))
            .collect();
        assert!(problems.is_empty(), "{problems:#?}");
    }
}

/// Each change must make a sound screening unsound, or the schema promises less than it says.
#[test]
fn the_schema_refuses_what_it_does_not_promise() {
    let validator = jsonschema::draft7::new(&schema()).expect("the schema is a schema");
    let mut full = refer();
    let more = bookable();
    (full.lifts, full.alternatives, full.dates) = (more.lifts, more.alternatives, more.dates);
    let sound = json::value(&full);
    assert!(validator.is_valid(&sound));
    let changes: [(&str, Value); 21] = [
        ("/screening", 2.into()),
        ("/verdict", "maybe".into()),
        ("/clinic", "clinic.yaml".into()),
        ("/as_of", "25 November".into()),
        ("/procedure_on", "2026-12-03T10:30".into()),
        ("/rule_set/digest", "0123".into()),
        ("/rule_set/status", "old".into()),
        ("/findings/0/urgency", "soon".into()),
        ("/findings/0/citations", Value::Array(vec![])),
        ("/findings/0/citations/0/checked", "perhaps".into()),
        ("/findings/0/because/1/line", 0.into()),
        ("/to_ask/0/from", "nobody".into()),
        ("/undetermined/0/waits_for", Value::Array(vec![])),
        ("/dates", Value::Array(vec![Value::Null])),
        ("/dates/0/n_days", 0.into()),
        ("/dates/0/from", "3 Dec 2026".into()),
        ("/dates/0/ended_by/0/after", "rests".into()),
        ("/lifts/0/changes", Value::Array(vec![])),
        ("/alternatives/0/prospect/verdict", "perhaps".into()),
        ("/chase/0/from", "nobody".into()),
        ("/chase/0/names/0/from", "nobody".into()),
    ];
    for (at, value) in changes {
        let mut changed = sound.clone();
        *changed.pointer_mut(at).expect("the change meets something") = value;
        assert!(!validator.is_valid(&changed), "{at}");
    }
    for at in [
        "",
        "/tool",
        "/rule_set",
        "/source",
        "/findings/0",
        "/findings/0/because/0",
        "/undetermined/0",
        "/to_ask/0",
        "/chase/0",
        "/chase/0/items/0",
        "/lifts/0",
        "/lifts/0/changes/0",
        "/lifts/0/prospect",
        "/lifts/0/prospect/fires/0",
        "/alternatives/0",
        "/dates/0",
        "/dates/0/ended_by/0",
        "/anaesthetic",
        "/anaesthetic/per_agent/0",
        "/notes/0",
        "/unrecognised/0",
    ] {
        let keys: Vec<String> = sound
            .pointer(at)
            .and_then(Value::as_object)
            .map(|it| it.keys().cloned().collect())
            .unwrap_or_default();
        assert!(!keys.is_empty(), "{at}");
        for key in keys {
            let mut changed = sound.clone();
            let object = changed
                .pointer_mut(at)
                .and_then(Value::as_object_mut)
                .expect("an object stands here");
            object.shift_remove(&key);
            assert!(!validator.is_valid(&changed), "{at} without {key}");
        }
        let mut changed = sound.clone();
        let object = changed
            .pointer_mut(at)
            .and_then(Value::as_object_mut)
            .expect("an object stands here");
        object.insert("extra".into(), 1.into());
        assert!(!validator.is_valid(&changed), "{at} with an extra key");
    }
}

#[test]
fn the_schema_describes_every_key() {
    fn look(at: &str, schema: &Value, n_seen: &mut usize) {
        let Some(object) = schema.as_object() else {
            return;
        };
        if let Some(properties) = object.get("properties").and_then(Value::as_object) {
            assert_eq!(
                object.get("additionalProperties"),
                Some(&Value::Bool(false)),
                "{at}"
            );
            for (key, it) in properties {
                assert!(
                    it.get("description")
                        .and_then(Value::as_str)
                        .is_some_and(|it| it.ends_with('.')),
                    "{at}/{key} has no description"
                );
                *n_seen += 1;
            }
        }
        for (key, it) in object {
            look(&format!("{at}/{key}"), it, n_seen);
        }
    }
    let mut n_seen = 0;
    look("", &schema(), &mut n_seen);
    assert!(n_seen > 115, "{n_seen}");
}
