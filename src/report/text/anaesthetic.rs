//! The anaesthetic arithmetic as a small table with the figures it rests on.

use crate::formulas::anaesthetic::reduced_mg;
use crate::quantity::{tidy, tidy_beside, tidy_down};
use crate::report::page::{Indent, Page, Paint, one_line};
use crate::report::words::{DECIMALS, dose_beside};
use crate::screening::result::{AgentDose, Anaesthetic, Applies, ReducedLimit};
use textwrap::core::display_width;

/// The load at which the planned anaesthetic reaches its limit.
const FULL: f64 = 1.0;

/// What the arithmetic rests on.
const BASIS: Indent = Indent::at(4, 14).hanging(2);

/// Stands where a figure cannot be worked out yet.
const MISSING: &str = "?";

/// The table, the load, the volumes and what they rest on.
///
/// # Missing data
/// A figure that cannot be worked out is a question mark, and a missing load says so in words.
pub fn show(page: &mut Page, anaesthetic: &Anaesthetic) {
    page.heading("Anaesthetic arithmetic");
    table(page, &rows(anaesthetic));
    for it in sentences(anaesthetic) {
        page.paragraph(4, &it);
    }
    page.entries("rests on", Paint::Faint, BASIS, &anaesthetic.basis);
}

/// The table: its headings, then a row for each agent, against the strictest limit that is for this patient, or may be.
pub fn rows(anaesthetic: &Anaesthetic) -> Vec<[String; 6]> {
    let mut rows =
        vec![["agent", "strength", "volume", "dose", "limit", "share"].map(str::to_owned)];
    let left = anaesthetic.strictest().map_or(FULL, |it| it.share);
    rows.extend(anaesthetic.per_agent.iter().map(|it| row(it, left)));
    rows
}

/// What stands under the table: where the limits come from, the load, the volumes.
pub fn sentences(anaesthetic: &Anaesthetic) -> Vec<String> {
    let mut said: Vec<String> = Vec::new();
    for it in &anaesthetic.per_agent {
        let from = it
            .limit_from
            .as_deref()
            .unwrap_or("no limit known for these answers yet");
        said.push(format!("limit of {}: {from}", it.agent));
    }
    if let Some(strictest) = anaesthetic.strictest() {
        said.push(format!(
            "the table is by {} of that, the strictest here; what follows by all of it",
            tidy(strictest.share, None)
        ));
    }
    said.push(load(anaesthetic.load));
    if let Some(share) = anaesthetic.earlier_share {
        said.push(format!(
            "of this, given before and still counting: {} of the limit",
            tidy_beside(share, DECIMALS, FULL)
        ));
        if anaesthetic.load.is_some() && anaesthetic.largest_volume_same_mix.is_none() {
            said.push("nothing is left of the limit".to_owned());
        }
    }
    if let Some(volume) = anaesthetic.largest_volume_same_mix {
        let most = tidy_down(volume, 1);
        let shared = anaesthetic.site.as_ref().map_or(String::new(), |site| {
            format!(
                ", all {} together; a {} holds far less",
                one_line(&site.several),
                one_line(&site.one)
            )
        });
        said.push(format!(
            "the limit is reached at {most} mL of this mixture{shared}"
        ));
    }
    said.extend(
        anaesthetic
            .reductions
            .iter()
            .map(|it| reduction(it, anaesthetic)),
    );
    if let (Some(volume), Some(site)) = (anaesthetic.volume_per_site, &anaesthetic.site) {
        said.push(format!(
            "planned for each {}: {} mL",
            one_line(&site.one),
            tidy(volume, Some(2))
        ));
    }
    said
}

/// A plan in a line or two: "lidocaine 2 %, 3 mL; load (shares added up): 0.300; the limit is 1".
pub fn brief(anaesthetic: &Anaesthetic) -> String {
    let agents = anaesthetic
        .per_agent
        .iter()
        .map(|it| row(it, FULL))
        .map(|[agent, percent, volume, ..]| format!("{agent} {percent}, {volume}"));
    let mut said: Vec<String> = agents.collect();
    said.push(load(anaesthetic.load));
    if let Some(volume) = anaesthetic.largest_volume_same_mix {
        said.push(format!("reached at {} mL", tidy_down(volume, 1)));
    }
    said.join("; ")
}

/// "less for pregnancy: 0.667 of the usual limit, lidocaine at most 120 mg; reached at 12 mL of this mixture".
fn reduction(it: &ReducedLimit, anaesthetic: &Anaesthetic) -> String {
    let mut said = match it.applies {
        Applies::Yes => format!(
            "less for {}: {} of the usual limit",
            it.about,
            tidy(it.share, None)
        ),
        Applies::NotKnownYet => {
            format!(
                "not known yet whether less is allowed for {}: {} of the usual limit then",
                it.about,
                tidy(it.share, None)
            )
        }
    };
    for agent in &anaesthetic.per_agent {
        if let Some(most) = agent.limit_mg.and_then(|limit| reduced_mg(limit, it.share)) {
            said.push_str(&format!(
                ", {} at most {} mg",
                agent.agent,
                tidy_down(most, 1)
            ));
        }
    }
    if let Some(volume) = it.largest_volume_same_mix {
        let above = if anaesthetic.load.is_some_and(|load| load > it.share) {
            "; the plan is ABOVE that"
        } else {
            ""
        };
        said.push_str(&format!(
            "; reached at {} mL of this mixture{above}",
            tidy_down(volume, 1)
        ));
    }
    said
}

/// The load in words; never rounded across the limit.
fn load(load: Option<f64>) -> String {
    match load {
        None => "load (shares added up): cannot be worked out yet".to_owned(),
        Some(load) => {
            let side = if load > FULL {
                "ABOVE the limit, which is 1"
            } else {
                "the limit is 1"
            };
            format!(
                "load (shares added up): {}; {side}",
                tidy_beside(load, DECIMALS, FULL)
            )
        }
    }
}

/// One agent against so much of its limit. A dose is never rounded across its limit, and a limit is never rounded up.
fn row(it: &AgentDose, left: f64) -> [String; 6] {
    let with = |value: Option<String>, unit: &str| {
        value.map_or(MISSING.to_owned(), |it| format!("{it} {unit}"))
    };
    let limit_mg = it.limit_mg.and_then(|limit| reduced_mg(limit, left));
    let dose = it.dose_mg.map(|dose| dose_beside(dose, limit_mg));
    [
        one_line(&it.agent).into_owned(),
        with(it.percent.map(|it| tidy(it, None)), "%"),
        with(it.volume_ml.map(|it| tidy(it, None)), "mL"),
        with(dose, "mg"),
        with(limit_mg.map(|it| tidy_down(it, 1)), "mg"),
        it.share.map_or(MISSING.to_owned(), |share| {
            tidy_beside(share / left, DECIMALS, FULL)
        }),
    ]
}

/// Names to the left, figures to the right, the first row as its heading.
fn table(page: &mut Page, rows: &[[String; 6]]) {
    let mut widths = [0; 6];
    for row in rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = display_width(cell).max(*width);
        }
    }
    for (at, row) in rows.iter().enumerate() {
        let mut line = "  ".to_owned();
        for (column, (cell, width)) in row.iter().zip(widths).enumerate() {
            let pad = " ".repeat(width.saturating_sub(display_width(cell)));
            line.push_str("  ");
            line.push_str(&if column == 0 {
                format!("{cell}{pad}")
            } else {
                format!("{pad}{cell}")
            });
        }
        let line = page.painted(&line, if at == 0 { Paint::Faint } else { Paint::Plain });
        page.line(&line);
    }
}
