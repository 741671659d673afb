//! Documents that quote the program: what stands under each command is made anew and held against what is written.

use std::path::Path;

/// What a document wants to have shown.
pub enum Asked<'a> {
    /// What a command prints: a line that begins with `$ ` in a block of `console`.
    Command(&'a str),
    /// The lines of an edit: a block of `diff` with a name behind it.
    Edit(&'a str),
}

/// The document with everything that it quotes made anew. A line `[... 12 lines ...]` stands for lines that are left
/// out, and is counted anew: as many lines as before are quoted from the start, from the end, and, between two of these,
/// from where the first line between them is found.
pub fn anew(document: &str, mut show: impl FnMut(Asked<'_>) -> String) -> String {
    let mut fresh = String::new();
    let mut lines = document.lines().peekable();
    while let Some(line) = lines.next() {
        fresh.push_str(&format!("{line}\n"));
        let mut asked = line.strip_prefix("```diff ").map(Asked::Edit);
        if line != "```console" && asked.is_none() {
            continue;
        }
        loop {
            if asked.is_none() {
                let Some(line) = lines.next_if(|it| it.starts_with("$ ")) else {
                    break;
                };
                fresh.push_str(&format!("{line}\n"));
                asked = line.strip_prefix("$ ").map(Asked::Command);
            }
            let quoted: Vec<&str> =
                std::iter::from_fn(|| lines.next_if(|it| *it != "```" && !it.starts_with("$ ")))
                    .collect();
            let Some(asked) = asked.take() else { break };
            shortened(show(asked).trim_end(), &quoted)
                .iter()
                .for_each(|it| fresh.push_str(&format!("{it}\n")));
        }
    }
    fresh
}

/// A text as a quotation shows it.
fn shortened(text: &str, quoted: &[&str]) -> Vec<String> {
    let all: Vec<String> = text.lines().map(str::to_owned).collect();
    let parts: Vec<&[&str]> = quoted
        .split(|it| it.starts_with("[... ") && it.ends_with(" ...]"))
        .collect();
    if parts.len() == 1 {
        return all;
    }
    let (mut shown, mut at) = (Vec::new(), 0);
    for (n, part) in parts.iter().enumerate() {
        let start = match part.first() {
            _ if n == 0 => Some(0),
            _ if n + 1 == parts.len() => Some(all.len().saturating_sub(part.len()).max(at)),
            first => all[at..]
                .iter()
                .position(|it| first.is_some_and(|first| it == first))
                .map(|it| at + it),
        };
        let Some(start) = start else { continue };
        match start - at {
            0 => {}
            1 => shown.push("[... 1 line ...]".into()),
            n => shown.push(format!("[... {n} lines ...]")),
        }
        at = (start + part.len()).min(all.len());
        shown.extend_from_slice(&all[start..at]);
    }
    shown
}

/// Fails unless the document is fresh. PREBLOCK_BLESS=1 writes it anew.
pub fn hold(path: &Path, document: &str, fresh: &str) {
    if std::env::var_os("PREBLOCK_BLESS").is_some() {
        assert!(std::fs::write(path, fresh).is_ok());
    }
    let other = document
        .lines()
        .zip(fresh.lines())
        .find(|(old, new)| old != new);
    assert!(
        document == fresh,
        "{} quotes old output; PREBLOCK_BLESS=1 cargo test readme writes it anew: {other:?}",
        path.display()
    );
}

#[test]
fn what_is_left_out_is_counted() {
    let with = |quoted: &str, text: &str| {
        anew(&format!("```console\n$ say\n{quoted}```\n"), |_| {
            text.to_owned()
        })
    };
    assert_eq!(with("old\n", "a\nb"), "```console\n$ say\na\nb\n```\n");
    assert_eq!(
        with("x\n[... 9 lines ...]\ny\n", "a\nb\nc\nd"),
        "```console\n$ say\na\n[... 2 lines ...]\nd\n```\n"
    );
    assert_eq!(
        with("[... 9 lines ...]\nb\nx\n[... 1 line ...]\n", "a\nb\nc\nd"),
        "```console\n$ say\n[... 1 line ...]\nb\nc\n[... 1 line ...]\n```\n"
    );
    assert_eq!(
        with("x\n[... 9 lines ...]\ny\n", "a\nb"),
        "```console\n$ say\na\nb\n```\n",
        "a mark for nothing is taken out"
    );
    let two = anew(
        "```console\n$ one\n$ two\nold\n```\n```diff it\n```\n```diff\n-kept\n```\n",
        |asked| match asked {
            Asked::Command(it) => it.to_uppercase(),
            Asked::Edit(it) => format!("+{it}"),
        },
    );
    assert_eq!(
        two,
        "```console\n$ one\nONE\n$ two\nTWO\n```\n```diff it\n+it\n```\n```diff\n-kept\n```\n"
    );
}
