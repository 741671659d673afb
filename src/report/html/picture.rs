//! Drawings beside the same facts in words, for whom a picture is quicker. Length, shape and words carry the meaning, in one
//! ink; a reader aloud passes over them.
//!
//! Made of attributes alone: a page may forbid styles that stand within it.

use maud::{Markup, html};

use crate::outcome::Outcome;
use crate::report::brief::{DaysAhead, DoseBrief};

/// Length of the strictest limit on the bar.
const LIMIT: f64 = 300.0;

/// Length of the whole bar: a third above the limit. A dose beyond it is cut there; the words say how much it is.
const BAR: f64 = 400.0;

/// The dose as a bar against its strictest limit; nothing while the dose cannot be worked out.
pub fn dose_bar(dose: &DoseBrief) -> Markup {
    let Some(share) = dose.share else {
        return html! {};
    };
    let length = format!("{:.1}", (share * LIMIT).clamp(0.0, BAR));
    html! {
        svg.bar viewBox="0 0 402 36" width="402" height="36" aria-hidden="true" {
            rect x="1" y="1" width=(BAR) height="14" fill="none" stroke="currentColor" {}
            rect x="1" y="1" width=(length) height="14" fill="currentColor" {}
            line x1=(LIMIT) x2=(LIMIT) y1="0" y2="22" stroke="currentColor" stroke-width="3" {}
            text x=(LIMIT) y="34" text-anchor="middle" font-size="12" fill="currentColor" { "limit" }
        }
    }
}

/// Least width of a day on the strip: what a word on its side needs.
const DAY: usize = 16;

/// Height of the band above the words.
const BAND: usize = 20;

/// The days ahead as a strip: for each span a field as wide as it has days, its verdict written below it, and a band that is
/// empty for go, half full for defer and full for refer.
pub fn days_strip(ahead: &[DaysAhead]) -> Markup {
    let n_days: usize = ahead.iter().map(|it| it.n_days).sum();
    let width = n_days * DAY;
    let starts = ahead.iter().scan(0, |next, it| {
        let start = *next;
        *next += it.n_days * DAY;
        Some(start)
    });
    html! {
        svg.strip viewBox=(format!("-1 -1 {} 130", width + 2)) width=(width + 2) height="130" aria-hidden="true" {
            @for (start, it) in starts.zip(ahead) {
                @let (filled, wide) = (filled(it.foreseen.standing.outcome), it.n_days * DAY);
                rect x=(start) y="0" width=(wide) height=(BAND) fill="none" stroke="currentColor" {}
                rect x=(start) y=(BAND - filled) width=(wide) height=(filled) fill="currentColor" {}
                text transform=(format!("translate({} 26) rotate(90)", start + wide / 2 - 4)) font-size="12" fill="currentColor" {
                    (it.foreseen.standing.verdict_words())
                }
            }
        }
    }
}

fn filled(outcome: Outcome) -> usize {
    match outcome {
        Outcome::Go => 0,
        Outcome::Defer => BAND / 2,
        Outcome::Refer => BAND,
    }
}
