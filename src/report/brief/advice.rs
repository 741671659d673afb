//! What findings ask for, each sentence once: where it first stands, with the numbers of the others that ask for it, too.

/// Sentences that the same findings ask for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Advice {
    /// The sentences.
    pub text: String,
    /// The numbers of the later findings that ask for the same.
    pub also_for: Vec<usize>,
}

impl Advice {
    /// The sentences, and behind them who else asks for them: "Keep it dry. (For 2 and 3, too.)".
    pub fn in_words(&self) -> String {
        let numbers: Vec<String> = self.also_for.iter().map(ToString::to_string).collect();
        match numbers.split_last() {
            None => self.text.clone(),
            Some((last, [])) => format!("{} (For {last}, too.)", self.text),
            Some((last, rest)) => {
                format!("{} (For {} and {last}, too.)", self.text, rest.join(", "))
            }
        }
    }
}

/// The advice of each finding, numbered from 1, without the sentences that stand under an earlier one.
pub fn said_once<'a>(actions: impl Iterator<Item = &'a str>) -> Vec<Vec<Advice>> {
    let actions: Vec<Vec<&str>> = actions.map(sentences).collect();
    let asking = |wanted: &str| -> Vec<usize> {
        (1..)
            .zip(&actions)
            .filter(|(_, sentences)| sentences.contains(&wanted))
            .map(|(number, _)| number)
            .collect()
    };
    let of = |(number, sentences): (usize, &Vec<&str>)| {
        let mut found: Vec<Advice> = Vec::new();
        for sentence in sentences {
            let mut asking = asking(sentence);
            if asking.first() != Some(&number) {
                continue;
            }
            asking.remove(0);
            match found.last_mut().filter(|last| last.also_for == asking) {
                Some(last) => {
                    last.text.push(' ');
                    last.text.push_str(sentence);
                }
                None => found.push(Advice {
                    text: (*sentence).to_owned(),
                    also_for: asking,
                }),
            }
        }
        found
    };
    (1..).zip(&actions).map(of).collect()
}

/// The sentences of an action. One that is cut in the wrong place is still said in whole: only what stands word by word in
/// two actions is said once.
fn sentences(action: &str) -> Vec<&str> {
    let mut found = Vec::new();
    let mut rest = action.trim();
    while let Some((at, _)) = rest.match_indices(". ").find(|(at, _)| {
        rest.get(at + 2..)
            .is_some_and(|it| it.starts_with(char::is_uppercase))
    }) {
        let (sentence, after) = rest.split_at(at + 1);
        found.push(sentence);
        rest = after.trim_start();
    }
    found.push(rest);
    found
}
