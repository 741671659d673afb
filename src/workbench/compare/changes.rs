//! What differs between two rule sets as they are read: order, line breaks and comments do not count.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Display;

use crate::formulas::given::Side;
use crate::rule_set::letter::{
    Insert, LetterContent, LetterPart, LetterPiece, LetterSentence, LetterText, Shown,
};
use crate::rule_set::words;
use crate::rule_set::{
    Answer, Approval, Basis, Changeable, Choice, Citation, Concern, Condition, Drawing, Ellipse,
    Idx, LocalChange, Medicine, Piece, Question, ReasonToSetAside, Retired, Rule, RuleSet, Section,
    Substance, Test, Text, Then, Withdrawal,
};

/// One thing that is in only one of two rule sets, or otherwise in the other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RuleSetChange {
    /// What kind of thing.
    pub kind: ThingKind,
    /// Its name.
    pub name: String,
    /// What became of it.
    pub what: ChangeKind,
}

/// What became of a thing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ChangeKind {
    /// It is new.
    In,
    /// It is gone.
    Out,
    /// Some of its parts differ.
    Otherwise(Vec<ChangedPart>),
}

impl ChangeKind {
    /// In words that follow the thing's name.
    pub(crate) fn words(&self) -> &'static str {
        match self {
            Self::In => "new",
            Self::Out => "taken out",
            Self::Otherwise(_) => "changed",
        }
    }
}

/// One part that differs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChangedPart {
    /// Which part: "outcome", "reason", "value".
    pub of: &'static str,
    /// As it was.
    pub old: String,
    /// As it is.
    pub new: String,
    /// Whether this by itself is less cautious than it was, or more, whatever becomes of verdicts; `None` where they alone say so.
    pub is_less_cautious: Option<bool>,
}

/// The part of a rule that says whether a decision may go against it: no verdict shows it.
const SET_ASIDE: &str = "may be set aside";

/// A thing laid out: each part with its words.
type LaidOut = Vec<(&'static str, String)>;

/// A kind of thing that is compared by its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ThingKind {
    /// The rule set itself.
    RuleSet,
    /// A rule.
    Rule,
    /// A change of a local policy.
    LocalChange,
    /// A limit.
    Limit,
    /// A guarantee.
    Guarantee,
    /// A letter.
    Letter,
    /// A question.
    Question,
    /// A derived fact.
    Derived,
    /// A local anaesthetic.
    Anaesthetic,
    /// A smaller share of the limits of anaesthetics.
    Reduction,
    /// A medicine.
    Medicine,
    /// A class of medicines.
    MedicineClass,
    /// A substance that people react to.
    Substance,
    /// A group of substances.
    SubstanceGroup,
    /// What may happen to somebody who reacts.
    Reaction,
    /// A publication.
    Source,
}

impl ThingKind {
    /// Every kind, in the order of reports: rules first, then what they rest on, then the rest.
    const ALL: [Self; 16] = [
        Self::RuleSet,
        Self::Rule,
        Self::LocalChange,
        Self::Limit,
        Self::Guarantee,
        Self::Letter,
        Self::Question,
        Self::Derived,
        Self::Anaesthetic,
        Self::Reduction,
        Self::Medicine,
        Self::MedicineClass,
        Self::Substance,
        Self::SubstanceGroup,
        Self::Reaction,
        Self::Source,
    ];

    /// The word used in reports.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::RuleSet => "rule set",
            Self::Rule => "rule",
            Self::LocalChange => "local policy",
            Self::Limit => "limit",
            Self::Guarantee => "guarantee",
            Self::Letter => "letter",
            Self::Question => "question",
            Self::Derived => "derived fact",
            Self::Anaesthetic => "anaesthetic",
            Self::Reduction => "reduction",
            Self::Medicine => "medicine",
            Self::MedicineClass => "class of medicines",
            Self::Substance => "substance",
            Self::SubstanceGroup => "group of substances",
            Self::Reaction => "reaction",
            Self::Source => "source",
        }
    }

    /// The things of this kind in a rule set.
    fn things(self, rule_set: &RuleSet) -> Vec<(String, LaidOut)> {
        let about = |text: &String| vec![("about", text.clone())];
        match self {
            Self::RuleSet => vec![(rule_set.id.clone(), head(rule_set))],
            Self::Rule => each(rule_set.rules(), |it| (&it.id, of_rule(rule_set, it))),
            Self::LocalChange => of_local(rule_set),
            Self::Limit => each(&rule_set.limits, |it| (&it.id, of_limit(rule_set, it))),
            Self::Guarantee => each(&rule_set.guarantees, |it| {
                (&it.id, of_guarantee(rule_set, it))
            }),
            Self::Letter => {
                let one = |it: &LetterText| (it.kind.word().to_owned(), of_letter(rule_set, it));
                rule_set.letters.iter().map(one).collect()
            }
            Self::Question => each(&rule_set.catalogue.questions, |it| {
                (&it.id, of_question(rule_set, it))
            }),
            Self::Derived => each(&rule_set.catalogue.derived, |it| {
                (&it.id, of_derived(rule_set, it))
            }),
            Self::Anaesthetic => each(&rule_set.agents, |it| (&it.id, of_agent(rule_set, it))),
            Self::Reduction => each(&rule_set.reductions, |it| {
                (&it.id, of_reduction(rule_set, it))
            }),
            Self::Medicine => of_medicines(rule_set),
            Self::MedicineClass => {
                each(&rule_set.medicines.classes, |it| (&it.id, about(&it.about)))
            }
            Self::Substance => of_substances(rule_set),
            Self::SubstanceGroup => {
                each(&rule_set.allergens.groups, |it| (&it.id, about(&it.about)))
            }
            Self::Reaction => each(&rule_set.allergens.reactions, |it| {
                (&it.id, about(&it.text))
            }),
            Self::Source => each(&rule_set.publications, |it| {
                (&it.id, of_source(rule_set, it))
            }),
        }
    }
}

/// Every difference, by kind.
pub fn changes(old: &RuleSet, new: &RuleSet) -> Vec<RuleSetChange> {
    let of = |kind: ThingKind| differing(kind, kind.things(old), kind.things(new));
    let mut changes: Vec<RuleSetChange> = ThingKind::ALL.into_iter().flat_map(of).collect();
    for change in &mut changes {
        if let (ChangeKind::Otherwise(parts), Some(before), Some(after)) = (
            &mut change.what,
            old.rule(&change.name),
            new.rule(&change.name),
        ) {
            for part in parts.iter_mut().filter(|it| it.of == SET_ASIDE) {
                part.is_less_cautious = Some(after.set_aside < before.set_aside);
            }
        }
    }
    changes
}

/// Each of some things, laid out with its name.
fn each<'a, Thing: 'a>(
    things: impl IntoIterator<Item = &'a Thing>,
    lay: impl Fn(&'a Thing) -> (&'a String, LaidOut),
) -> Vec<(String, LaidOut)> {
    let laid = things.into_iter().map(lay);
    laid.map(|(name, parts)| (name.clone(), parts)).collect()
}

fn differing(
    kind: ThingKind,
    old: Vec<(String, LaidOut)>,
    new: Vec<(String, LaidOut)>,
) -> Vec<RuleSetChange> {
    let before: BTreeMap<&String, &LaidOut> =
        old.iter().map(|(name, parts)| (name, parts)).collect();
    let after: BTreeSet<&String> = new.iter().map(|(name, _)| name).collect();
    let gone = old.iter().filter(|(name, _)| !after.contains(name));
    let gone = gone.map(|(name, _)| (name, ChangeKind::Out));
    let here = new.iter().map(|(name, parts)| match before.get(name) {
        None => (name, ChangeKind::In),
        Some(was) => (name, ChangeKind::Otherwise(changed_parts(was, parts))),
    });
    gone.chain(here)
        .filter(|(_, what)| *what != ChangeKind::Otherwise(Vec::new()))
        .map(|(name, what)| RuleSetChange {
            kind,
            name: name.clone(),
            what,
        })
        .collect()
}

/// The parts that differ. INVARIANT: things of one kind are laid out in the same parts.
fn changed_parts(was: &LaidOut, is: &LaidOut) -> Vec<ChangedPart> {
    let pairs = was.iter().zip(is);
    pairs
        .map(|((of, old), (_, new))| ChangedPart {
            of,
            old: on_one_line(old),
            new: on_one_line(new),
            is_less_cautious: None,
        })
        .filter(|it| it.old != it.new)
        .collect()
}

/// Where lines break does not count.
fn on_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A list whose order does not count.
fn sorted<T: AsRef<str>>(parts: impl IntoIterator<Item = T>, between: &str) -> String {
    let mut parts: Vec<T> = parts.into_iter().collect();
    parts.sort_by(|a, b| a.as_ref().cmp(b.as_ref()));
    parts
        .iter()
        .map(AsRef::as_ref)
        .collect::<Vec<_>>()
        .join(between)
}

/// What a rule set says of itself, and what no thing in it says.
///
/// Every field is named here: a new one does not compile before it is said who lists its changes.
fn head(rule_set: &RuleSet) -> LaidOut {
    let RuleSet {
        title,
        edition,
        status,
        in_force_from,
        review_by,
        owner,
        canonical,
        approval,
        withdrawn,
        site,
        volumes_ml,
        concerns,
        retired,
        reasons,
        catalogue,
        medicines,
        // What changes the digest is listed itself; all else has kinds of its own.
        id: _,
        digest: _,
        local: _,
        limits: _,
        publications: _,
        allergens: _,
        agents: _,
        reductions: _,
        judging: _,
        guarantees: _,
        letters: _,
    } = rule_set;
    let concern = |concern: &Concern| {
        let owner = concern.owner.as_ref();
        let owner = optional(owner.map(|it| format!(" ({it})")));
        format!("{}{owner}", concern.title)
    };
    let section = |it: &Section| it.title.clone();
    let reason = |it: &ReasonToSetAside| format!("{}: {}", it.id, it.text);
    let gone = |it: &Retired| format!("{} on {}: {}", it.rule, it.on, it.because);
    let approved = |it: &Approval| format!("on {} by {}", it.on, it.by.join(", "));
    let withdrew =
        |it: &Withdrawal| format!("on {} by {}: {}", it.on, it.by.join(", "), it.because);
    vec![
        ("title", title.clone()),
        ("edition", edition.clone()),
        ("status", status.word().to_owned()),
        ("in force from", in_force_from.to_string()),
        ("review by", review_by.to_string()),
        ("owner", owner.clone()),
        ("canonical address", optional(canonical.as_ref())),
        ("site", format!("{}, {}", site.one, site.several)),
        ("concerns", sorted(concerns.iter().map(concern), "; ")),
        (
            "sections",
            sorted(catalogue.sections.iter().map(section), "; "),
        ),
        ("retired", sorted(retired.iter().map(gone), "; ")),
        ("reasons", sorted(reasons.iter().map(reason), "; ")),
        ("approved", optional(approval.as_ref().map(approved))),
        ("withdrawn", optional(withdrawn.as_ref().map(withdrew))),
        ("words of doses", sorted(&medicines.dose_words, ", ")),
        ("words of salts", sorted(&medicines.salt_words, ", ")),
        (
            "volume of a line of an anaesthetic plan",
            format!("{} to {} mL", volumes_ml.0, volumes_ml.1),
        ),
    ]
}

fn of_local(it: &RuleSet) -> Vec<(String, LaidOut)> {
    let change = |change: &LocalChange| {
        (
            format!("{} {}", change.kind.word(), change.about),
            vec![
                ("change", change.what.clone()),
                ("reason", change.reason.clone()),
            ],
        )
    };
    it.local
        .iter()
        .flat_map(|it| &it.changes)
        .map(change)
        .collect()
}

fn of_rule(rule_set: &RuleSet, rule: &Rule) -> LaidOut {
    let told = |sentence: &Option<Text>| optional(sentence.as_ref().map(|it| text(rule_set, it)));
    vec![
        ("outcome", rule.outcome.word().to_owned()),
        ("urgency", optional(rule.urgency.map(|it| it.word()))),
        ("condition", condition(rule_set, &rule.when)),
        ("kind", rule.kind.word().to_owned()),
        ("title", rule.title.clone()),
        ("reason", text(rule_set, &rule.reason)),
        ("action", text(rule_set, &rule.action)),
        ("refer to", told(&rule.refer_to)),
        ("cleared by", told(&rule.cleared_by)),
        ("to the patient, before", told(&rule.tell_patient_before)),
        ("to the patient, afterwards", told(&rule.tell_patient_after)),
        (SET_ASIDE, rule.set_aside.words().to_owned()),
        ("citations", citations(rule_set, &rule.citations)),
        ("in force from", rule.in_force_from.to_string()),
        ("last reviewed", rule.last_reviewed.to_string()),
        ("review by", rule.review_by.to_string()),
    ]
}

/// A condition by its structure and names: two that differ only in order are the same.
fn condition(rule_set: &RuleSet, it: &Condition) -> String {
    let several = |word: &str, parts: &[Condition]| {
        let parts = parts.iter().map(|it| condition(rule_set, it));
        format!("{word} ({})", sorted(parts, "; "))
    };
    match it {
        Condition::All(parts) => several("all of", parts),
        Condition::Any(parts) => several("any of", parts),
        Condition::Not(part) => format!("not ({})", condition(rule_set, part)),
        // The shorter words leave out which side an end belongs to.
        Condition::Fact {
            fact,
            test: Test::Compare(how, with),
        } => {
            let (id, how) = (rule_set.catalogue.id(*fact), how.word().replace('_', " "));
            let limit = with.limit.map(|at| &rule_set.limits[at].id);
            format!("{id} {how} {}", limit.unwrap_or(&with.written))
        }
        leaf => words::brief(rule_set, &in_order(rule_set, leaf)),
    }
}

/// A test with its alternatives in the order of their names.
fn in_order(rule_set: &RuleSet, leaf: &Condition) -> Condition {
    let mut leaf = leaf.clone();
    match &mut leaf {
        Condition::Taking { named, .. } | Condition::AllergicTo { named, .. } => named.sort(),
        Condition::Fact {
            fact,
            test: Test::OneOf(options) | Test::NoneOf(options) | Test::Includes(options),
        } => {
            options.sort_by_cached_key(|it| {
                words::option_ids(rule_set, *fact, std::slice::from_ref(it))
            });
        }
        _ => {}
    }
    leaf
}

fn text(rule_set: &RuleSet, text: &Text) -> String {
    let pieces: Vec<String> = text.pieces.iter().map(|it| piece(rule_set, it)).collect();
    pieces.join(" ")
}

fn piece(rule_set: &RuleSet, piece: &Piece) -> String {
    match piece {
        Piece::Words(words) => on_one_line(words),
        Piece::Fact(slot) => format!("{{{}}}", rule_set.catalogue.id(*slot)),
        Piece::Age(slot) => format!("{{age of {}}}", rule_set.catalogue.id(*slot)),
        Piece::Limit(at) => format!("{{limit.{}}}", rule_set.limits[*at].id),
        Piece::Medicines => "{medicines}".into(),
        Piece::Allergies => "{allergies}".into(),
        Piece::Conflict(conflict) => format!("{{{}}}", conflict.word()),
    }
}

/// A letter laid out: its title, and each part under its number.
fn of_letter(rule_set: &RuleSet, letter: &LetterText) -> LaidOut {
    let sentence = |it: &LetterSentence| {
        let said = |it: &LetterPiece| match it {
            LetterPiece::Shared(it) => piece(rule_set, it),
            LetterPiece::Own(it) => format!("{{{}}}", it.word()),
        };
        it.pieces.iter().map(said).collect::<Vec<_>>().join(" ")
    };
    let perhaps = |it: &Option<LetterSentence>| optional(it.as_ref().map(sentence));
    let part = |it: &LetterPart| {
        let what = match &it.what {
            LetterContent::Heading(said) => format!("heading: {}", sentence(said)),
            LetterContent::Text(said) => format!("text: {}", sentence(said)),
            LetterContent::Item(said) => format!("item: {}", sentence(said)),
            LetterContent::Insert {
                insert,
                heading,
                lead,
            } => {
                let words = match insert {
                    Insert::Questions(words) => words
                        .entries()
                        .map(|(key, words)| format!(" {key}: {words};"))
                        .concat(),
                    _ => String::new(),
                };
                format!(
                    "insert: {}; {}; {};{words}",
                    insert.word(),
                    perhaps(heading),
                    perhaps(lead)
                )
            }
        };
        let verdict = it.verdict.map_or("", |it| it.word());
        let shown = match &it.shown {
            Shown::Always => String::new(),
            Shown::When(when) => format!("when {}", condition(rule_set, when)),
            Shown::MayHold(when) => format!("may hold {}", condition(rule_set, when)),
        };
        let parts = [
            what,
            verdict.to_owned(),
            shown,
            citations(rule_set, &it.citations),
        ];
        parts.join(" | ")
    };
    let parts: Vec<String> = letter.parts.iter().map(part).collect();
    vec![("title", letter.title.clone()), ("parts", parts.join("\n"))]
}

fn citations(rule_set: &RuleSet, citations: &[Citation]) -> String {
    let words = citations.iter().map(|citation| {
        let what = match &citation.basis {
            Basis::Published(at) => rule_set.publications[*at].id.clone(),
            Basis::CommonPractice(text) => format!("common practice: {text}"),
            Basis::LocalProposal(text) => format!("local proposal: {text}"),
        };
        let at = citation.at.as_ref().map(|at| format!(", {at}"));
        what + &optional(at)
    });
    sorted(words, "; ")
}

/// A part that need not be there; nothing is shown as empty.
fn optional<Part: Display>(part: Option<Part>) -> String {
    part.map_or_else(String::new, |it| it.to_string())
}

fn of_limit(rule_set: &RuleSet, limit: &crate::rule_set::Limit) -> LaidOut {
    vec![
        ("value", limit.written.clone()),
        ("about", limit.about.clone()),
        ("other figures", optional(limit.other_figures.as_ref())),
        ("citations", citations(rule_set, &limit.citations)),
    ]
}

fn of_guarantee(rule_set: &RuleSet, it: &crate::rule_set::Guarantee) -> LaidOut {
    let wheres = it.wheres.iter();
    let wheres =
        wheres.map(|(sense, when)| format!("{} {}", sense.word(), condition(rule_set, when)));
    vec![
        ("title", it.title.clone()),
        ("where", sorted(wheres, "; ")),
        ("then", then(rule_set, &it.then)),
        ("because", it.because.clone()),
    ]
}

fn then(rule_set: &RuleSet, then: &Then) -> String {
    match then {
        Then::Never(outcomes) => {
            let words: Vec<&str> = outcomes.iter().map(|it| it.word()).collect();
            format!("never {}", words.join(" or "))
        }
        Then::Fires(rules) => {
            let ids = rules.iter().map(|at| rule_set.judging[*at].id.as_str());
            format!("fires {}", ids.collect::<Vec<_>>().join(" or "))
        }
        Then::UrgencyAtLeast(urgency) => format!("refer, at least {}", urgency.word()),
        Then::Promise(promise) => promise.word().to_owned(),
    }
}

fn changeable(rule_set: &RuleSet, question: &Question) -> String {
    match &question.changeable {
        Changeable::No => "no".to_owned(),
        Changeable::Any => "yes".to_owned(),
        Changeable::To(options) => format!(
            "to {}",
            words::option_ids(rule_set, question.slot, options).join(", ")
        ),
        Changeable::Fewer => "fewer".to_owned(),
        Changeable::More => "more".to_owned(),
    }
}

fn of_question(rule_set: &RuleSet, question: &Question) -> LaidOut {
    let kind = match &question.answer {
        Answer::YesNo => "yes or no",
        Answer::OneOf(_) => "one of",
        Answer::SeveralOf(_) => "several of",
        Answer::Number { whole: true } => "a whole number",
        Answer::Number { whole: false } => "a number",
        Answer::Quantity { unit, units, .. } => {
            &format!("a number in {unit}, also {}", sorted(units, ", "))
        }
        Answer::Date => "a date",
        Answer::Text => "a text",
        Answer::Medicines => "medicines",
        Answer::Allergies => "allergies",
        Answer::Anaesthetic => "an anaesthetic plan",
    };
    let option = |it: &Choice| {
        let patient = it.text_patient.as_ref();
        let patient = optional(patient.map(|text| format!(" (to the patient: {text})")));
        let counts = optional(it.counts.map(|n| format!(" (counts {n})")));
        let side = it.side.map_or("", Side::in_brackets);
        let nothing = if it.nothing { " (nothing)" } else { "" };
        format!("{}: {}{patient}{counts}{side}{nothing}", it.id, it.text)
    };
    let plausible = question
        .plausible
        .map(|(low, high)| format!("{low} to {high}"));
    let asked_when = question.ask_when.as_ref();
    let asked_when = asked_when.map_or_else(|| "always".to_owned(), |it| condition(rule_set, it));
    let otherwise = question.otherwise.map(|it| question.option_in_words(it));
    let drawn = question
        .drawing
        .map(|at| drawing(&rule_set.catalogue.drawings[at]));
    vec![
        ("wording", question.ask.clone()),
        (
            "wording for the patient",
            optional(question.ask_patient.as_ref()),
        ),
        ("help", optional(question.help.as_ref())),
        ("answer", kind.to_owned()),
        (
            "options",
            sorted(question.options().iter().map(option), "; "),
        ),
        ("plausible", optional(plausible)),
        ("dated", question.dated.to_string()),
        ("in the past", question.past.to_string()),
        ("no longer ago than", optional(question.oldest)),
        (
            "written for unknown",
            sorted(question.stand_ins.iter().map(ToString::to_string), ", "),
        ),
        ("asked when", asked_when),
        ("harmless alone", question.harmless_alone.to_string()),
        ("otherwise", optional(otherwise)),
        ("from", question.from.word().to_owned()),
        ("decision", question.decision.to_string()),
        (
            "a clinic's file may answer it",
            question.standing.to_string(),
        ),
        ("changeable", changeable(rule_set, question)),
        ("drawing", optional(drawn)),
    ]
}

fn drawing(it: &Drawing) -> String {
    let Drawing {
        id,
        size: (width, height),
        outline,
        words,
        places,
    } = it;
    let words = words.iter().map(|(text, x, y)| format!("{text} {x} {y}"));
    let places = places
        .iter()
        .map(|(id, Ellipse { x, y, rx, ry })| format!("{id} {x} {y} {rx} {ry}"));
    format!(
        "{id}, {width} by {height}: {}; {}; {}",
        sorted(outline, ", "),
        sorted(words, ", "),
        sorted(places, ", ")
    )
}

fn of_derived(rule_set: &RuleSet, derived: &crate::rule_set::Derived) -> LaidOut {
    use crate::rule_set::Input;
    let inputs: Vec<String> = derived
        .given()
        .map(|(role, input)| {
            let given = match input {
                Input::Fact(slot) => rule_set.catalogue.id(slot).to_owned(),
                Input::Limit(at, number) => format!("{} ({number})", rule_set.limits[at].id),
            };
            format!("{}: {given}", role.name)
        })
        .collect();
    vec![
        ("about", derived.about.clone()),
        ("formula", derived.formula.name.to_owned()),
        ("given", inputs.join("; ")),
        ("unit", optional(derived.unit.as_ref())),
        ("decimals", derived.decimals.to_string()),
    ]
}

fn of_agent(rule_set: &RuleSet, agent: &crate::rule_set::Agent) -> LaidOut {
    let limits: Vec<String> = agent
        .limits
        .iter()
        .map(|limit| {
            let with = if limit.adrenaline {
                "with adrenaline"
            } else {
                "plain"
            };
            let age = |word: &str, age: Option<f64>| {
                optional(age.map(|it| format!(", {word} {it} years")))
            };
            let most = optional(limit.at_most.map(|it| format!(", at most {it} mg")));
            let cited = citations(rule_set, &limit.citations);
            let others = limit.other_figures.as_ref();
            let others = optional(others.map(|it| format!("; {it}")));
            format!(
                "{with}{}{}: {} mg/kg{most} ({cited}{others})",
                age("from", limit.from_age),
                age("below", limit.below_age),
                limit.per_kg
            )
        })
        .collect();
    let (least, most) = agent.strengths;
    let per_site = agent.per_site.map(|it| format!("{it} mg"));
    vec![
        ("names", sorted(&agent.also, ", ")),
        ("family", agent.family.clone()),
        ("strengths", format!("{least} to {most} %")),
        ("most in one site", optional(per_site)),
        ("limits", limits.join("; ")),
    ]
}

fn of_reduction(rule_set: &RuleSet, it: &crate::rule_set::Reduction) -> LaidOut {
    vec![
        ("share", it.share.to_string()),
        ("about", it.about.clone()),
        ("condition", condition(rule_set, &it.when)),
        ("citations", citations(rule_set, &it.citations)),
    ]
}

fn of_medicines(it: &RuleSet) -> Vec<(String, LaidOut)> {
    let register = &it.medicines;
    let classes = |at: Idx<Medicine>| {
        let classes = register.classes.iter();
        let own = classes.filter(|it| it.members.contains(at));
        sorted(own.map(|it| &it.id), ", ")
    };
    let one = |(at, it): (Idx<Medicine>, &Medicine)| {
        let plausible = it.plausible_daily;
        let plausible = plausible.map(|(low, high)| format!("{low} to {high} mg"));
        let parts = vec![
            ("also", sorted(&it.also, ", ")),
            ("classes", classes(at)),
            ("as_prednisolone", optional(it.as_prednisolone)),
            (
                "adrenal_as_prednisolone",
                optional(it.adrenal_as_prednisolone),
            ),
            ("plausible_daily", optional(plausible)),
        ];
        (it.name.clone(), parts)
    };
    register.medicines.entries().map(one).collect()
}

fn of_substances(it: &RuleSet) -> Vec<(String, LaidOut)> {
    let register = &it.allergens;
    // The names that mean just one substance.
    let mut names: BTreeMap<Idx<Substance>, Vec<&str>> = BTreeMap::new();
    for (name, bits) in &register.names {
        let mut meant = bits.iter();
        if let (Some(at), None) = (meant.next(), meant.next()) {
            names.entry(at).or_default().push(name);
        }
    }
    let one = |(at, substance): (Idx<Substance>, &Substance)| {
        let groups: Vec<&str> = register
            .groups
            .iter()
            .filter(|it| it.members.contains(at))
            .map(|it| it.id.as_str())
            .collect();
        let crosses: Vec<&str> = substance
            .crosses
            .iter()
            .map(|at| register.substances[at].name.as_str())
            .collect();
        let also = names.get(&at).into_iter().flatten();
        (
            substance.name.clone(),
            vec![
                ("names", sorted(also, ", ")),
                ("groups", groups.join(", ")),
                ("crosses with", crosses.join(", ")),
            ],
        )
    };
    register.substances.entries().map(one).collect()
}

fn of_source(rule_set: &RuleSet, it: &crate::rule_set::Publication) -> LaidOut {
    let newer = it.superseded_by.map(|at| &rule_set.publications[at].id);
    vec![
        ("superseded by", optional(newer)),
        ("by", it.by.clone()),
        ("title", it.title.clone()),
        ("year", optional(it.year)),
        ("link", optional(it.link.as_ref())),
        ("checked", it.checked.word().to_owned()),
        ("checked on", optional(it.checked_on)),
        ("note", optional(it.note.as_ref())),
    ]
}
