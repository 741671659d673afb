//! A letter as a page to print on A4.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::report::letter::{Letter, LetterBlock, LetterSheet, SlipQuestion};

/// How a letter looks, on a screen and on A4. It asks for nothing from elsewhere.
pub const STYLE: &str = include_str!("letter.css");

impl Letter {
    /// What belongs into a page that has [`STYLE`].
    pub fn markup(&self) -> Markup {
        html! {
            @for sheet in &self.sheets { (self.sheet_as_markup(sheet)) }
        }
    }

    /// A page of its own.
    pub fn page(&self) -> String {
        let page = html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'";
                    title { (self.title) }
                    style { (PreEscaped(STYLE)) }
                }
                body { main { (self.markup()) } }
            }
        };
        page.into_string()
    }

    fn sheet_as_markup(&self, sheet: &LetterSheet) -> Markup {
        html! {
            article.letter {
                h1 { (self.title) }
                @for block in &sheet.blocks { (block_as_markup(block)) }
                footer { @for it in &self.footer { p { (it) } } }
            }
        }
    }
}

fn block_as_markup(block: &LetterBlock) -> Markup {
    html! {
        @match block {
            LetterBlock::Heading(it) => { h2 { (it) } }
            LetterBlock::Paragraph(it) => { p { (it) } }
            LetterBlock::List(entries) => {
                ul {
                    @for entry in entries {
                        li {
                            (entry.text)
                            @for it in &entry.below { p.below { (it) } }
                        }
                    }
                }
            }
            LetterBlock::Question(it) => { (asked(it)) }
        }
    }
}

fn asked(asked: &SlipQuestion) -> Markup {
    html! {
        div.asked {
            p.ask { (asked.number) ". " (asked.ask) }
            @for it in &asked.notes { p.note { (it) } }
            @if let Some(room) = &asked.room { p.room { (room) ":" } }
            ul.boxes { @for it in &asked.boxes { li { (it) } } }
        }
    }
}
