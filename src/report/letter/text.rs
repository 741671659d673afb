//! A letter as plain text.

use crate::report::letter::{Letter, LetterBlock, LetterSheet, SlipQuestion};
use crate::report::page::{Indent, Page, Paint, Style};

/// Room to write on.
const ROOM: &str = "_______________________________________";

impl Letter {
    /// As text of eighty columns; several sheets stand under one another.
    pub fn text(&self) -> String {
        let mut page = Page::new(&Style::plain());
        for (at, sheet) in self.sheets.iter().enumerate() {
            if at > 0 {
                page.blank();
                page.line(&"=".repeat(page.columns()));
                page.blank();
            }
            self.sheet_as_text(&mut page, sheet);
        }
        page.finish()
    }

    fn sheet_as_text(&self, page: &mut Page, sheet: &LetterSheet) {
        page.paragraph(0, &self.title);
        for block in &sheet.blocks {
            page.blank();
            match block {
                LetterBlock::Heading(it) => {
                    page.paragraph(0, it);
                    page.line(&"-".repeat(it.chars().count().min(page.columns())));
                }
                LetterBlock::Paragraph(it) => page.paragraph(0, it),
                LetterBlock::List(entries) => {
                    for entry in entries {
                        page.entry("-", Paint::Plain, ITEM, &entry.text);
                        entry.below.iter().for_each(|it| page.paragraph(4, it));
                    }
                }
                LetterBlock::Question(it) => asked(page, it),
            }
        }
        page.blank();
        page.line(&"-".repeat(page.columns()));
        self.footer.iter().for_each(|it| page.paragraph(0, it));
    }
}

const ITEM: Indent = Indent::at(0, 2);

const NUMBERED: Indent = Indent::at(0, 4);

const BOX: Indent = Indent::at(4, 8);

fn asked(page: &mut Page, asked: &SlipQuestion) {
    page.entry(
        &format!("{}.", asked.number),
        Paint::Plain,
        NUMBERED,
        &asked.ask,
    );
    asked.notes.iter().for_each(|it| page.paragraph(4, it));
    if let Some(room) = &asked.room {
        page.paragraph(4, &format!("{room}: {ROOM}"));
    }
    for it in &asked.boxes {
        page.entry("[ ]", Paint::Plain, BOX, it);
    }
}
