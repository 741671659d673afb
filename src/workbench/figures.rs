//! What a desk's decisions say of single rules, as plain figures that whoever keeps them hands in.

/// A rule in the decisions of a desk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RuleFigures {
    /// Full id.
    pub rule: String,
    /// Its heading when it was last seen.
    pub title: String,
    /// About how many referrals it fired, in the last screening of each.
    pub n_fired: usize,
    /// How many decisions were made while it stood against surgery, firing or not decided.
    pub n_decided: usize,
    /// How many of these went against it.
    pub n_set_aside: usize,
    /// For which reasons, most frequent first: ids of the rule set's list, and how often.
    pub reasons: Vec<(String, usize)>,
}

impl RuleFigures {
    /// Whether it is set aside in more than half of at least ten decisions: then it is to be looked at.
    pub fn is_mostly_set_aside(&self) -> bool {
        self.n_decided >= 10 && 2 * self.n_set_aside > self.n_decided
    }

    /// "set aside in 7 of 12 decisions (does-not-fit 5, cleared-up 2)".
    pub fn in_words(&self) -> String {
        let reasons: Vec<String> = self
            .reasons
            .iter()
            .map(|(reason, n)| format!("{reason} {n}"))
            .collect();
        let reasons = if reasons.is_empty() {
            String::new()
        } else {
            format!(" ({})", reasons.join(", "))
        };
        format!(
            "set aside in {} of {} decisions{reasons}",
            self.n_set_aside, self.n_decided
        )
    }
}
