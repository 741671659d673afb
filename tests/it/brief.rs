//! The report of one patient on one screen: what is in it, how long it is, and that its three forms say the same.

use preblock::inner::outcome::Outcome;
use preblock::inner::report::brief::{Advice, Brief, DoseBrief};
use preblock::inner::report::{Style, html, markdown, text};
use preblock::inner::screening::result::{Applies, NextKind, ReducedLimit, Screening};
use rstest::rstest;
use serde_json::Value;

use crate::report::{
    all, batch, bookable, defer, go, governed, hostile, nothing, pinned, refer, refused,
};
use crate::support::{run, said};

/// A screen of the terminal that a report is meant for, twice over less its margins.
const SCREENFUL: usize = 40;

/// `preblock screen` on one of the invented clinic's referrals.
fn screened(file: &str, more: &[&str]) -> String {
    let path = format!("examples/referrals/{file}");
    let usual = [
        "screen",
        &path,
        "--clinic",
        "examples/clinic.yaml",
        "--as-of",
        "2026-11-25",
    ];
    said(&run(&[&usual[..], more].concat()).stdout)
}

fn files() -> Vec<String> {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/referrals");
    let found = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<String> = found
        .map(|it| it.file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    assert_eq!(names.len(), 25);
    names
}

/// White space as single spaces, and of Markdown and HTML the words alone.
fn flat(text: &str) -> String {
    let text = text
        .replace(['\\', '*', '`', '|'], "")
        .replace("&quot;", "\"")
        .replace("&amp;", "&");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The three forms of a short report.
fn forms(screening: &Screening) -> [String; 3] {
    [
        text::one(screening, false, &Style::plain()),
        markdown::one(screening, false),
        html::one_page(screening, false),
    ]
}

// --- Whole reports ---------------------------------------------------------------------------------------------

#[test]
fn short_reports_of_each() {
    for (name, screening) in [
        ("refer", refer()),
        ("bookable", bookable()),
        ("governed", governed()),
    ] {
        let [text, markdown, page] = forms(&screening);
        pinned(&format!("brief-text-{name}"), &text);
        pinned(&format!("brief-markdown-{name}"), &markdown);
        let (_, body) = page.split_once("</style>").unwrap_or_default();
        pinned(&format!("brief-html-{name}"), &body.replace("><", ">\n<"));
    }
}

// --- How long --------------------------------------------------------------------------------------------------

/// Of a settled patient nothing is still to be asked.
#[test]
fn a_settled_referral_with_few_findings_fits_a_screen() {
    let mut n_settled = 0;
    for file in files() {
        let found: Value =
            serde_json::from_str(&screened(&file, &["--format", "json"])).unwrap_or_default();
        let count = |key: &str| found[key].as_array().map_or(usize::MAX, Vec::len);
        let short = screened(&file, &[]);
        let full = screened(&file, &["--full"]);
        assert!(
            short.lines().count() * 2 <= full.lines().count() * 3 / 2,
            "{file}: {} of {} lines",
            short.lines().count(),
            full.lines().count()
        );
        if count("to_ask") == 0 && count("unrecognised") == 0 && count("findings") <= 3 {
            n_settled += 1;
            assert!(
                short.lines().count() <= SCREENFUL,
                "{file}: {}\n{short}",
                short.lines().count()
            );
        }
    }
    assert!(n_settled >= 10, "{n_settled}");
}

// --- What is in it ---------------------------------------------------------------------------------------------

/// Every finding with its reason and what lifts it, each question to ask, each note, each name: in all three forms.
#[test]
fn nothing_that_matters_is_left_out() {
    let mut noted = refer();
    noted.unrecognised = defer().unrecognised;
    for it in [noted, defer(), bookable(), governed()] {
        for form in forms(&it) {
            let form = flat(&form);
            let mut wanted: Vec<String> = it.notices.clone();
            let goes_elsewhere = it
                .next
                .as_ref()
                .is_some_and(|it| it.kind == NextKind::Refer);
            for finding in &it.findings {
                if finding.outcome != Outcome::Go || !goes_elsewhere {
                    wanted.extend([finding.title.clone(), finding.reason.clone()]);
                }
                wanted.extend(finding.cleared_by.clone());
            }
            wanted.extend(
                it.to_ask
                    .iter()
                    .filter(|it| !it.depends)
                    .map(|it| it.ask.clone()),
            );
            wanted.extend(it.notes.iter().flat_map(|it| it.text.lines()).map(flat));
            wanted.extend(it.unrecognised.iter().map(|it| it.text.clone()));
            for wanted in wanted {
                assert!(form.contains(&flat(&wanted)), "{wanted} is not in\n{form}");
            }
        }
    }
}

/// What decided a finding is told in the words of its question, not by a key and a line of a file.
#[test]
fn answers_are_told_in_the_words_of_their_questions() {
    for more in [&[][..], &["--format", "markdown"], &["--format", "html"]] {
        let short = flat(&screened("SM-103.yaml", more));
        assert!(short.contains("What was the latest INR? 4.0"), "{short}");
        for key in ["bleeding.inr", "SM-103.yaml", "bleeding/inr-above-ceiling"] {
            assert!(!short.contains(key), "{key} is in\n{short}");
        }
        let full = flat(&screened("SM-103.yaml", &[more, &["--full"]].concat()));
        for kept in [
            "bleeding.inr = 4.0 (SM-103.yaml:32)",
            "bleeding/inr-above-ceiling",
            "Management of Dental Patients Taking Anticoagulants or Antiplatelet Drugs",
            "Right patient, right toe",
        ] {
            assert!(full.contains(kept), "{kept} is not in\n{full}");
        }
    }
}

/// An answer that decided two findings, and advice that two ask for, stand once.
#[test]
fn what_two_findings_share_is_said_once() {
    let short = flat(&screened("SM-118.yaml", &[]));
    for shared in [
        "No block and no nail surgery now.",
        "How far does infection reach in a toe to be operated on? Beyond",
    ] {
        assert_eq!(short.matches(shared).count(), 1, "{short}");
    }
    assert!(
        short.contains("No block and no nail surgery now. (For 2, too.)"),
        "{short}"
    );
    assert!(short.contains("as above"), "{short}");
}

#[rstest]
#[case::nothing_shared("Rest. Wait.", "Wait long.", "Rest. Wait.", "Wait long.")]
#[case::a_sentence_shared("Rest. Wait.", "Wait.", "Rest. | Wait. (For 2, too.)", "")]
#[case::all_shared("Rest. Wait.", "Rest. Wait.", "Rest. Wait. (For 2, too.)", "")]
#[case::in_another_order("Rest. Wait.", "Wait. Look.", "Rest. | Wait. (For 2, too.)", "Look.")]
#[case::not_a_sentence("At 2 p.m. rest. Wait.", "rest.", "At 2 p.m. rest. Wait.", "rest.")]
fn advice_is_said_once(
    #[case] first: &str,
    #[case] second: &str,
    #[case] of_first: &str,
    #[case] of_second: &str,
) {
    let mut it = bookable();
    it.findings.truncate(2);
    for (finding, action) in it.findings.iter_mut().zip([first, second]) {
        finding.action = action.into();
    }
    let brief = Brief::of(&it);
    let advice: Vec<String> = brief
        .against
        .iter()
        .chain(&brief.precautions)
        .map(|it| {
            let said: Vec<String> = it.advice.iter().map(Advice::in_words).collect();
            said.join(" | ")
        })
        .collect();
    assert_eq!(advice, [of_first, of_second]);
}

/// On a referral that stands whatever the plan, the precautions of an operation that is not to happen are counted alone.
#[test]
fn precautions_of_no_operation_are_left_out_and_counted() {
    for more in [&[][..], &["--format", "markdown"], &["--format", "html"]] {
        let short = flat(&screened("SM-111.yaml", more));
        assert!(
            short.contains("Left out: 3 precautions of an operation that is not to happen here."),
            "{short}"
        );
        assert!(!short.contains("Precautions, if it goes ahead"), "{short}");
    }
}

// --- The dose --------------------------------------------------------------------------------------------------

/// The row that a hurried eye reads is by the strictest limit: 160 mg for age, not 200.
#[test]
fn the_dose_is_told_against_its_strictest_limit() {
    for more in [&[][..], &["--format", "markdown"], &["--format", "html"]] {
        let short = flat(&screened("SM-103.yaml", more));
        assert!(
            short.contains("60.0 mg of at most 160.0 mg (limit for age: 0.8 of the usual); 0.375 of it; reached at 8.0 mL"),
            "{short}"
        );
        assert!(!short.contains("200"), "{short}");
    }
    let full = flat(&screened("SM-103.yaml", &["--full"]));
    assert!(
        full.contains("lidocaine 2 % 3 mL 60.0 mg 160.0 mg 0.375"),
        "{full}"
    );
}

/// Of two smaller limits the lower one counts, one that may be for the patient like one that is.
#[test]
fn a_limit_that_may_apply_counts_like_one_that_does() {
    let mut it = go();
    let of = |about: &str, share, applies| ReducedLimit {
        about: about.into(),
        share,
        largest_volume_same_mix: Some(3.0),
        applies,
    };
    let Some(anaesthetic) = &mut it.anaesthetic else {
        unreachable!("a plan is known")
    };
    let usual = DoseBrief::of(anaesthetic);
    assert_eq!(
        (usual.limit.as_str(), usual.is_above),
        ("usual limit", false)
    );
    anaesthetic.reductions = vec![
        of("age", 0.8, Applies::Yes),
        of("pregnancy", 0.2, Applies::NotKnownYet),
    ];
    let strict = DoseBrief::of(anaesthetic);
    assert_eq!(
        strict.limit,
        "limit if it is for pregnancy: 0.2 of the usual"
    );
    assert!(
        strict.is_above && strict.in_words().contains("1.173 of it, ABOVE the limit"),
        "{strict:?}"
    );
}

#[test]
fn a_dose_that_is_not_known_has_no_bar_and_says_so() {
    let [text, _, page] = forms(&refer());
    assert!(flat(&text).contains("cannot be worked out yet"), "{text}");
    assert!(!page.contains("<svg class=\"bar\""), "{page}");
}

// --- The page --------------------------------------------------------------------------------------------------

/// Nothing that a file holds becomes markup, and nothing is loaded from anywhere.
#[test]
fn a_page_is_inert_and_stands_alone() {
    let mut it = hostile();
    let planted = "<script>alert(1)</script><img onerror=y>\"'&";
    it.reference = planted.into();
    it.findings.iter_mut().for_each(|it| {
        (it.title, it.reason, it.action) = (planted.into(), planted.into(), planted.into());
        it.because
            .iter_mut()
            .for_each(|it| (it.ask, it.value) = (planted.into(), planted.into()));
    });
    it.notes.iter_mut().for_each(|it| it.text = planted.into());
    let several = html::several(&batch(&[it.clone(), go()], &refused()), true);
    for page in [
        html::one_page(&it, true),
        html::one_page(&bookable(), false),
        several,
    ] {
        assert!(page.starts_with("<!DOCTYPE html>") && page.ends_with("</html>"));
        for foreign in [
            "<script", "<link", "<img", "<iframe", " src=", "href=", "@import", "url(", " style=",
        ] {
            assert!(!page.contains(foreign), "{foreign} in\n{page}");
        }
    }
}

/// Each patient has a sheet with a box to sign, which bears the reference: paper gets apart.
#[test]
fn each_patient_has_a_sheet_and_a_box_to_sign() {
    let screenings = all();
    let page = html::several(&batch(&screenings, &refused()), false);
    assert_eq!(
        page.matches("<article class=\"report").count(),
        4,
        "a list and three patients"
    );
    for it in &screenings {
        let title = format!(
            "Decision on {}, screened as {}",
            it.reference,
            it.verdict().words()
        );
        assert_eq!(page.matches(&title).count(), 1, "{title}");
    }
    for line in ["Reason", "Who", "When"] {
        assert_eq!(page.matches(&format!("<dt>{line}</dt>")).count(), 3);
    }
    for (n, it) in (1..).zip(["SM\\2d 113", "SM\\2d 107", "SM\\2d 101"]) {
        let page_of = format!("@page sheet-{n} {{ @bottom-left {{ content: \"{it}\"; }} }}");
        assert!(page.contains(&page_of), "{page_of}");
    }
    for rule in [
        "@page { size: A4",
        "break-before: page",
        "break-inside: avoid",
    ] {
        assert!(page.contains(rule), "{rule}");
    }
}

/// What is drawn stands beside it in words, and no picture is told apart by colour.
#[test]
fn pictures_have_their_words_beside_them_and_one_ink() {
    let page = html::one_page(&bookable(), false);
    let drawn: String = page
        .split("<svg")
        .skip(1)
        .filter_map(|it| it.split("</svg>").next())
        .collect();
    for ink in ["fill=", "stroke="] {
        for it in drawn.split(ink).skip(1) {
            assert!(
                it.starts_with("\"none\"") || it.starts_with("\"currentColor\""),
                "{it}"
            );
        }
    }
    assert_eq!(page.matches("<svg").count(), 2);
    assert_eq!(page.matches("aria-hidden=\"true\"").count(), 2);
    // A strip of eight days: three, one, four.
    for field in [
        "x=\"0\" y=\"20\" width=\"48\" height=\"0\"",
        "x=\"48\" y=\"10\" width=\"16\" height=\"10\"",
        "x=\"64\" y=\"0\" width=\"64\" height=\"20\"",
    ] {
        assert!(drawn.contains(field), "{field} is not in\n{drawn}");
    }
    for verdict in ["GO", "DEFER", "REFER, same-day"] {
        assert!(drawn.contains(&format!(">{verdict}</text>")), "{drawn}");
        assert!(page.contains(&format!("<b>{verdict}</b>")), "{page}");
    }
    // 0.2347 of the limit, which is 300 long.
    assert!(drawn.contains("width=\"70.4\""), "{drawn}");
    assert!(flat(&page).contains("0.235 of it"), "{page}");
}

/// A dose above what the drawing holds is cut there; the words say how much it is.
#[test]
fn a_bar_keeps_to_its_frame() {
    let mut it = go();
    if let Some(anaesthetic) = &mut it.anaesthetic {
        anaesthetic.load = Some(7.5);
    }
    let page = html::one_page(&it, false);
    assert!(
        page.contains("width=\"400.0\"") && page.contains("7.500 of it, ABOVE the limit"),
        "{page}"
    );
}

#[test]
fn somebody_of_whom_nothing_is_known_against_it_has_a_page_too() {
    for form in forms(&nothing("SM-100")) {
        assert!(
            flat(&form)
                .contains("Nothing that these rules look at stands against surgery as planned"),
            "{form}"
        );
    }
}
