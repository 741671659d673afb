//! The clinician's page, read back by a CommonMark parser that is not ours (pulldown-cmark).
#![expect(clippy::expect_used, reason = "a slip in a test ought to stop it")]

use preblock::inner::report::markdown;
use preblock::inner::screening::result::{Cited, NoteShown, Screening, WhyAsked};
use pulldown_cmark::{Event, HeadingLevel, Options, Parser, Tag, TagEnd};
use rstest::rstest;

use crate::report::{
    all, batch, bookable, defer, go, governed, hostile, nothing, pinned, refer, refused, stranger,
};

/// What a reader makes of a page.
#[derive(Debug, Default)]
struct Page {
    /// Depth and words.
    headings: Vec<(usize, String)>,
    n_tables: usize,
    /// The cells of the tables, row by row.
    rows: Vec<Vec<String>>,
    quotations: Vec<String>,
    /// Links, images, HTML, footnotes, formulas, code blocks, things struck out: what a page never has.
    strange: Vec<String>,
    /// Number of entries of the numbered list under "Sources".
    n_sources: usize,
    /// Everything a reader sees.
    text: String,
}

/// Reads CommonMark with every extension on, so that none of them finds anything to take hold of.
fn read(markdown: &str) -> Page {
    // Smart punctuation would change letters, and wiki links only add to what links are.
    let options = Options::all() - Options::ENABLE_SMART_PUNCTUATION;
    let mut page = Page::default();
    let mut at = Vec::new();
    for event in Parser::new_ext(markdown, options) {
        match event {
            Event::Start(tag) => {
                match &tag {
                    Tag::Heading { level, .. } => {
                        page.headings.push((*level as usize, String::new()))
                    }
                    Tag::Table(_) => page.n_tables += 1,
                    Tag::TableHead | Tag::TableRow => page.rows.push(Vec::new()),
                    Tag::TableCell => page
                        .rows
                        .last_mut()
                        .expect("a cell is in a row")
                        .push(String::new()),
                    Tag::BlockQuote(None) => page.quotations.push(String::new()),
                    Tag::Item if page.headings.last().is_some_and(|it| it.1 == "Sources") => {
                        page.n_sources += 1
                    }
                    Tag::Paragraph | Tag::List(_) | Tag::Item | Tag::Strong => {}
                    other => page.strange.push(format!("{other:?}")),
                }
                at.push(tag.to_end());
            }
            Event::End(end) => {
                at.pop();
                page.text
                    .push_str(if end == TagEnd::Strong { "" } else { "\n" });
            }
            Event::Text(words) | Event::Code(words) => show(&mut page, &at, &words),
            Event::HardBreak => show(&mut page, &at, "\n"),
            Event::TaskListMarker(false) => {}
            other => page.strange.push(format!("{other:?}")),
        }
    }
    page
}

fn show(page: &mut Page, at: &[TagEnd], words: &str) {
    page.text.push_str(words);
    if at.iter().any(|it| matches!(it, TagEnd::Heading(_))) {
        page.headings
            .last_mut()
            .expect("inside a heading")
            .1
            .push_str(words);
    }
    if at.contains(&TagEnd::TableCell) {
        page.rows
            .last_mut()
            .and_then(|it| it.last_mut())
            .expect("inside a cell")
            .push_str(words);
    }
    if at.iter().any(|it| matches!(it, TagEnd::BlockQuote(_))) {
        page.quotations
            .last_mut()
            .expect("inside a quotation")
            .push_str(words);
    }
}

/// The heading and the sections of a page, each with its count in brackets left out.
fn sections(page: &Page, depth: usize) -> Vec<&str> {
    let of = |it: &'_ (usize, String)| it.0 == depth;
    page.headings
        .iter()
        .filter(|it| of(it))
        .map(|it| it.1.split(" (").next().unwrap_or_default())
        .collect()
}

// --- Whole pages -----------------------------------------------------------------------------------------------

#[test]
fn pages_of_each() {
    pinned("report-markdown-go", &markdown::one(&go(), true));
    pinned("report-markdown-refer", &markdown::one(&refer(), true));
    pinned(
        "report-markdown-bookable",
        &markdown::one(&bookable(), true),
    );
    let short = [nothing("SM-100"), defer()];
    pinned(
        "report-markdown-several",
        &markdown::several(&batch(&short, &refused()), false),
    );
    pinned(
        "report-markdown-governed",
        &markdown::one(&governed(), true),
    );
}

#[test]
fn a_page_has_its_sections_in_their_order() {
    let mut it = refer();
    let more = bookable();
    (it.lifts, it.alternatives, it.dates) = (more.lifts, more.alternatives, more.dates);
    let page = read(&markdown::one(&it, true));
    assert_eq!(
        page.headings.first(),
        Some(&(1, "REFER, urgent: SM-113".into()))
    );
    let expected = [
        "Against surgery as planned",
        "What would lift it",
        "To ask first: names not recognised",
        "For the clinician to read",
        "Precautions, if it goes ahead",
        "Anaesthetic arithmetic",
        "Other plans",
        "Other days",
        "To ask",
        "Not decided yet",
        "Sources",
        "Made with",
    ];
    assert_eq!(sections(&page, 2), expected);
    assert_eq!((page.n_tables, page.strange.as_slice()), (1, &[][..]));
    assert_eq!(
        page.quotations,
        [
            "Referred by letter.\nWife will drive.",
            it.notes[1].text.as_str()
        ]
    );
}

/// Everything the screening holds is on the page.
#[test]
fn a_page_leaves_nothing_out() {
    for it in [go(), defer(), refer(), bookable()] {
        let page = read(&markdown::one(&it, true));
        let mut expected: Vec<&String> = vec![&it.reference, &it.rule_set.edition];
        for finding in &it.findings {
            expected.extend([
                &finding.rule,
                &finding.title,
                &finding.reason,
                &finding.action,
            ]);
            expected.extend(finding.cleared_by.iter());
            expected.extend(finding.because.iter().flat_map(|it| [&it.fact, &it.value]));
        }
        expected.extend(
            it.undetermined
                .iter()
                .flat_map(|it| it.waits_for.iter().chain([&it.rule])),
        );
        expected.extend(
            it.to_ask
                .iter()
                .map(|it| if it.depends { &it.fact } else { &it.ask }),
        );
        expected.extend(it.unrecognised.iter().map(|it| &it.text));
        expected.extend(it.anaesthetic.iter().flat_map(|it| &it.basis));
        for changes in it
            .lifts
            .iter()
            .map(|it| &it.changes)
            .chain(it.alternatives.iter().flatten().map(|it| &it.changes))
        {
            expected.extend(changes.iter().flat_map(|it| [&it.now, &it.then]));
        }
        expected.extend(
            it.alternatives
                .iter()
                .flatten()
                .flat_map(|it| &it.prospect.fires)
                .flat_map(|it| [&it.title, &it.action]),
        );
        for expected in expected {
            assert!(
                page.text.contains(expected.as_str()),
                "{}: {expected}\n{}",
                it.reference,
                page.text
            );
        }
        for digest in [&it.source.digest, &it.rule_set.digest] {
            assert!(
                page.text.contains(digest.get(..12).unwrap_or("none")),
                "{digest}"
            );
        }
        let worst = format!(
            "best case {}, worst case {}",
            it.span.best_case.outcome.word(),
            it.span.worst_case.outcome.word()
        );
        assert!(page.text.contains(&worst), "{worst}\n{}", page.text);
        assert!(
            page.text
                .trim_end()
                .ends_with(preblock::inner::report::SAFETY),
            "{}",
            page.text
        );
    }
}

/// A source that two findings cite is listed once, under the number that both name, with the place beside the number.
#[test]
fn each_source_stands_once_with_how_it_was_checked() {
    let page = read(&markdown::one(&bookable(), true));
    assert_eq!(page.n_sources, 1);
    assert!(
        page.text
            .contains("(contraindication), source 1 (section 4)"),
        "{}",
        page.text
    );
    assert!(
        page.text
            .contains("antiplatelet-taken, source 1 (section 2)"),
        "{}",
        page.text
    );
    assert!(
        page.text
            .contains("Invented Guideline Group: Bleeding in minor surgery, 2024; opened and read"),
        "{}",
        page.text
    );
    let page = read(&markdown::one(&refer(), true));
    assert_eq!(
        page.n_sources, 5,
        "two publications, two practices, one proposal"
    );
    assert!(
        page.text.contains("sources 1 (table 3), 2, 3"),
        "{}",
        page.text
    );
    assert!(
        page.text
            .contains("needs more than one line to be read; not yet opened, cited from memory"),
        "{}",
        page.text
    );
    assert!(
        page.text
            .contains("Local proposal, for governance to confirm: the figure of 0.5"),
        "{}",
        page.text
    );
}

#[test]
fn several_patients_have_a_table_the_most_pressing_first_and_then_a_page_each() {
    let page = read(&markdown::several(&batch(&all(), &refused()), true));
    assert_eq!(page.headings.first(), Some(&(1, "Screenings".into())));
    assert_eq!(
        sections(&page, 2),
        ["REFER, urgent: SM-113", "DEFER: SM-107", "GO: SM-101"]
    );
    let table: Vec<Vec<&str>> = page
        .rows
        .iter()
        .take(4)
        .map(|row| row.iter().map(String::as_str).collect())
        .collect();
    assert_eq!(
        table,
        [
            ["reference", "surgery", "verdict", "first reason", "next"],
            [
                "SM-113",
                "not known",
                "REFER, urgent",
                "Severely reduced flow at the ankle; 2 more; could be refer, same-day",
                "not known"
            ],
            [
                "SM-107",
                "2026-12-03",
                "DEFER",
                "INR at or above the ceiling; could be refer, same-day",
                "find out what 2 unrecognised names are; ask 3 answers (patient 1, nurse 1, record 1); \
                 then wait for an INR below 4.0, no older than 24 hours"
            ],
            ["SM-101", "2026-12-03", "GO", "1 precaution", "book"],
        ]
    );
    assert_eq!(
        page.rows[4],
        [
            "SM-201",
            "-",
            "NOT SCREENED",
            "`1958-02-31` is not a date; 1 more",
            "mend the file and screen it"
        ]
    );
    assert!(
        page.text.contains("2 files were refused and NOT screened"),
        "{}",
        page.text
    );
    assert_eq!(
        page.n_tables, 3,
        "of all patients, and two of anaesthetic arithmetic"
    );
}

// --- Text from files -------------------------------------------------------------------------------------------

fn noted(text: &str) -> Screening {
    let mut it = go();
    it.notes = vec![NoteShown {
        section: "medicines".into(),
        text: text.into(),
        path: format!("{text}.yaml"),
        line: 22,
    }];
    it
}

/// Each of these means something to a reader of Markdown, or to one of its extensions.
#[rstest]
#[case::script("<script>alert(1)</script>")]
#[case::comment("<!-- gone -->")]
#[case::entity("&lt;b&gt; &amp; &#60; &copy;")]
#[case::link("[x](y) [x][y] [x] [[x]] [x]: y")]
#[case::reference("[x]: http://example.org \"y\"")]
#[case::image("![x](y)")]
#[case::address(
    "<http://example.org> http://example.org https://example.org/a_b_c www.example.org mailto:a@example.org"
)]
#[case::post("a@example.org, @someone, @@ and a`@`b")]
#[case::table("| | |\n|---|---|\n| a | b |")]
#[case::thin_table("a\n:-\nb")]
#[case::code("`a` ``b`` ```\ncode\n``` ~~~\n~~~")]
#[case::indented("    indented\n\tby a tab\n        far")]
#[case::heading("# heading\n## second\nfirst\n===\nsecond\n---")]
#[case::lists("- one\n* two\n+ three\n1. four\n2) five\n- [ ] six\n: seven")]
#[case::lines("---\n***\n___\n- - -")]
#[case::quotation("> quoted\n>> twice\n> [!NOTE]\n> alert")]
#[case::emphasis("*a* **b** _c_ __d__ ~e~ ~~f~~ ^g^ ==h== ++i++ ***")]
#[case::formula("$a$ $$b$$ \\(c\\) \\[d\\]")]
#[case::footnote("[^1]\n\n[^1]: note")]
#[case::attribute("# a {#id .class}\n{: .class}")]
#[case::front("---\ntitle: x\n---\n+++\nx\n+++")]
#[case::backslash("a\\\nb \\* \\\\ C:\\new\\")]
#[case::breaks("a  \nb   \n\n\n  c\n \nd")]
#[case::first_line_empty("\n\n a")]
#[case::marks("!@#$%^&*()_+-={}[]|\\:;\"'<>,.?/~`")]
#[case::only_marks("*\n-\n+\n#\n>\n=\n|\n:\n1.\n2)")]
#[case::letters("Schmerz auf Druck; \u{e9}t\u{e9}; \u{65e5}\u{672c}; \u{1f9b6}")]
fn a_note_comes_back_whole_and_means_nothing(#[case] text: &str) {
    let plain = read(&markdown::one(&noted("plain"), true));
    let page = read(&markdown::one(&noted(text), true));
    assert_eq!(page.quotations, [text]);
    assert_eq!(page.headings, plain.headings);
    assert_eq!(
        (page.n_tables, page.strange.as_slice()),
        (1, &[][..]),
        "{page:#?}"
    );
    let name = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let name = name.rsplit(['/', '\\']).next().unwrap_or_default();
    assert!(
        page.text.contains(&format!("({name}.yaml:22)")),
        "{name}\n{}",
        page.text
    );
}

/// The same in every other place that text from a file can reach.
#[rstest]
#[case("<b>x</b> [x](y) | a@example.org `z` http://example.org # 1. *a*")]
#[case("# x")]
#[case("1. x")]
#[case("- x")]
#[case("> x")]
#[case("|")]
#[case("```")]
fn no_name_or_value_means_anything(#[case] text: &str) {
    let mut it = bookable();
    it.reference = text.into();
    it.source.path = text.into();
    it.procedure_on = Some(text.into());
    it.rule_set.edition = text.into();
    it.rule_set.concerns = vec![text.into()];
    it.unrecognised = vec![stranger(text, Some(text), text, 1)];
    it.to_ask = defer().to_ask;
    it.undetermined = defer().undetermined;
    for it in &mut it.to_ask {
        (it.ask, it.why, it.fact, it.options) = (
            text.into(),
            WhyAsked::Unsettled(text.into()),
            text.into(),
            vec![text.into()],
        );
    }
    for it in &mut it.undetermined {
        (it.rule, it.waits_for) = (text.into(), vec![text.into()]);
    }
    for it in &mut it.findings {
        (it.title, it.reason, it.action, it.rule) =
            (text.into(), text.into(), text.into(), text.into());
        it.cleared_by = Some(text.into());
        it.citations = vec![
            Cited::CommonPractice(text.into()),
            Cited::LocalProposal(text.into()),
        ];
        for it in &mut it.because {
            (it.fact, it.value, it.path) = (text.into(), text.into(), Some(text.into()));
        }
    }
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
        for it in changes {
            (it.fact, it.ask, it.now, it.then) =
                (text.into(), text.into(), text.into(), text.into());
        }
        for it in &mut prospect.fires {
            (it.title, it.action) = (text.into(), text.into());
        }
        prospect.waits_for = vec![text.into()];
    }
    for it in it
        .dates
        .iter_mut()
        .flatten()
        .flat_map(|it| &mut it.ended_by)
    {
        (it.rule, it.title) = (text.into(), text.into());
    }
    if let Some(it) = &mut it.anaesthetic {
        it.basis = vec![text.into()];
        for it in &mut it.per_agent {
            (it.agent, it.limit_from) = (text.into(), Some(text.into()));
        }
    }
    let page = read(&markdown::several(&batch(&[it], &[]), true));
    assert_eq!(page.strange, [""; 0], "{page:#?}");
    assert_eq!(page.headings[1], (2, format!("DEFER: {text}")));
    let plain = [{
        let mut it = bookable();
        it.unrecognised = defer().unrecognised;
        it.to_ask = defer().to_ask;
        it.undetermined = defer().undetermined;
        it
    }];
    let expected = read(&markdown::several(&batch(&plain, &[]), true));
    assert_eq!(sections(&page, 3), sections(&expected, 3));
    assert_eq!(
        (page.n_tables, page.rows.len()),
        (2, 5),
        "a row for the patient and one for each agent"
    );
    assert!(
        page.rows.iter().all(|row| row.len() == 5 || row.len() == 6),
        "{:?}",
        page.rows
    );
    assert_eq!(
        (page.rows[1][0].as_str(), page.rows[3][0].as_str()),
        (text, text)
    );
}

#[test]
fn characters_that_steer_change_nothing_on_a_page() {
    let page = read(&markdown::one(&hostile(), true));
    assert_eq!(page.strange, [""; 0]);
    assert_eq!(page.headings.iter().filter(|it| it.0 == 1).count(), 1);
}

// --- The examples ----------------------------------------------------------------------------------------------

/// `preblock screen --format markdown` on the invented clinic's referrals, short or full.
fn printed(files: &[&str], full: &[&str]) -> String {
    let output = crate::support::program()
        .arg("screen")
        .args(files)
        .args(full)
        .args([
            "--clinic",
            "examples/clinic.yaml",
            "--as-of",
            "2026-11-25",
            "--format",
            "markdown",
        ])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("the program starts");
    String::from_utf8(output.stdout).expect("a page is text")
}

#[test]
fn every_example_makes_a_sound_page() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/referrals");
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .expect("there are examples")
        .flatten()
        .map(|it| it.file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    assert_eq!(names.len(), 25);
    for name in &names {
        let path = format!("examples/referrals/{name}");
        let short = read(&printed(&[&path], &[]));
        assert_eq!((short.strange, short.n_tables), (vec![], 0), "{name}");
        let page = read(&printed(&[&path], &["--full"]));
        assert_eq!(page.strange, [""; 0], "{name}");
        assert_eq!(
            page.headings.iter().filter(|it| it.0 == 1).count(),
            1,
            "{name}"
        );
        assert!(
            page.headings[0]
                .1
                .ends_with(name.split('.').next().unwrap_or_default()),
            "{name}: {:?}",
            page.headings[0]
        );
        assert!(page.n_tables <= 1, "{name}");
        assert_eq!(sections(&page, 2).last(), Some(&"Made with"), "{name}");
    }
    let page = read(&printed(&["examples/referrals"], &[]));
    assert_eq!(page.strange, [""; 0]);
    assert_eq!(
        page.rows.iter().filter(|row| row.len() == 5).count(),
        26,
        "headings and 25 patients"
    );
    assert_eq!(page.headings.iter().filter(|it| it.0 == 2).count(), 25);
}

/// A sheet of A4 takes some fifty lines of ninety characters, with a margin to write in.
#[test]
fn a_healthy_patient_who_can_go_fits_one_printed_page() {
    let markdown = printed(&["examples/referrals/SM-101.yaml"], &["--full"]);
    assert!(markdown.starts_with("# GO: SM-101\n"), "{markdown}");
    let n_lines: usize = markdown
        .lines()
        .map(|it| it.chars().count().div_ceil(90).max(1))
        .sum();
    assert!((10..=50).contains(&n_lines), "{n_lines}\n{markdown}");
}

#[test]
fn levels_stand_for_depths() {
    assert_eq!(
        (HeadingLevel::H1 as usize, HeadingLevel::H3 as usize),
        (1, 3)
    );
}

/// Readers beyond the parser above make links of bare addresses, some after they have taken backslashes away. The form
/// pinned here was rendered without a link by cmark-gfm, with its extensions, and by markdown-it with its linkifier on.
#[test]
fn bare_addresses_are_broken_up() {
    let address = "http://example.org www.example.org mailto:a@example.org //example.org/a@@b";
    let written = markdown::one(&noted(address), true);
    let expected = r"> http\:/\/example\.org www\.example\.org mailto\:a`@`example\.org /\/example\.org/a`@@`b";
    assert!(written.lines().any(|it| it == expected), "{written}");
    assert!(
        !written.contains("//") && !written.contains("www."),
        "{written}"
    );
}
