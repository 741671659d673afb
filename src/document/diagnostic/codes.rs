//! The one list of all codes, each with its page for `preblock explain`.

/// Whether something wrong must be mended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// It must be mended, or allowed: the check of a rule set does not end clean.
    Problem,
    /// It is told, and somebody should look.
    Notice,
}

macro_rules! severity {
    () => {
        Severity::Problem
    };
    (notice) => {
        Severity::Notice
    };
}

macro_rules! codes {
    ($($variant:ident = $name:literal $($notice:ident)?: $what:literal, $why:literal, $mend:literal;)*) => {
        /// A kind of thing that can be wrong with a file.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Code { $(#[doc = $what] $variant,)* }

        impl Code {
            /// Every code, in the order of the list.
            pub const ALL: &'static [Code] = &[$(Code::$variant,)*];

            /// The stable name, `stage/what-is-wrong`.
            pub fn name(self) -> &'static str {
                match self { $(Code::$variant => $name,)* }
            }

            /// What the code means.
            pub fn what(self) -> &'static str {
                match self { $(Code::$variant => $what,)* }
            }

            /// Why it matters here.
            pub fn why(self) -> &'static str {
                match self { $(Code::$variant => $why,)* }
            }

            /// How to mend the file.
            pub fn mend(self) -> &'static str {
                match self { $(Code::$variant => $mend,)* }
            }

            /// Whether it must be mended.
            pub(crate) fn severity(self) -> Severity {
                match self { $(Code::$variant => severity!($($notice)?),)* }
            }
        }
    };
}

impl Code {
    /// The code of a name; `None` if there is none.
    pub fn from_name(name: &str) -> Option<Code> {
        Self::ALL.iter().copied().find(|code| code.name() == name)
    }

    /// Whether it comes from a check of a rule set that could be loaded.
    pub fn is_lint(self) -> bool {
        self.name().starts_with("lint/")
    }
}

codes! {
    NotFound = "text/not-found":
        "The file or folder does not exist, or is not an ordinary file.",
        "A referral that was not read has not been screened; the other files still are.",
        "Check the spelling of the path.";
    Unreadable = "text/unreadable":
        "The file exists but could not be read.",
        "A referral that was not read has not been screened.",
        "Check that you may read the file, and that no other program has it locked.";
    EmptyFolder = "text/empty-folder":
        "The folder holds no questionnaire.",
        "A run that screened nobody must not look like a run that found nothing.",
        "Name the folder that holds the .yaml, .yml or .json files.";
    TooLarge = "text/too-large":
        "The file is larger than any file of its kind can sensibly be.",
        "Input is bounded, so that no file can exhaust the machine.",
        "Check that it is the right file. One questionnaire is one file.";
    NotUtf8 = "text/not-utf8":
        "The file is not UTF-8 text.",
        "Letters read in the wrong encoding change names of medicines.",
        "Save the file again as UTF-8.";
    OddCharacter = "text/odd-character":
        "The file holds a character that cannot be seen or that programs read in different ways.",
        "An invisible character can make a second, different key, or hide part of a line.",
        "Delete the character and type the line again.";
    Empty = "text/empty":
        "The file says nothing.",
        "An empty file would be a patient about whom nothing is known.",
        "Start from `preblock blank`.";
    NotYaml = "text/not-yaml":
        "The text is not YAML.",
        "Nothing can be read from it safely.",
        "Look at the marked place: most often the indentation, a missing colon, or an open quote or bracket.";
    NotJson = "text/not-json":
        "The text is not JSON.",
        "Nothing can be read from it safely.",
        "Look at the marked place: most often a missing comma or quote.";
    TooDeep = "text/too-deep":
        "Values are nested deeper than any file of this kind needs.",
        "Input is bounded, so that no file can exhaust the machine.",
        "Flatten the marked part.";
    TooManyKeys = "text/too-many-keys":
        "A mapping has more keys than any questionnaire or rule has.",
        "Input is bounded, so that no file can hold up the program.",
        "Check that it is the right file.";
    DuplicateKey = "text/duplicate-key":
        "A key is written twice in one mapping.",
        "Only one of the two answers could be used, and nobody could tell which was meant.",
        "Delete one of the two.";
    Alias = "text/alias":
        "The file uses an anchor (&), an alias (*) or a merge key (<<).",
        "What stands in the file must be what is read, in the place where it is read.",
        "Write the value out.";
    Tag = "text/tag":
        "The file uses a YAML tag (!) or directive (%).",
        "Tags change how values are read.",
        "Delete the tag.";
    SeveralDocuments = "text/several-documents":
        "The file holds more than one YAML document.",
        "One questionnaire is one file; a second document would be overlooked.",
        "Split the file at the `---` line.";
    KeyNotText = "text/key-not-text":
        "A key is not a plain text.",
        "Keys are names of questions and settings.",
        "Quote the key, or correct it.";
    Ambiguous = "text/ambiguous":
        "The value is read differently by different YAML programs.",
        "A number such as 010 is ten for one program and eight for another.",
        "Quote it if it is a text, or write the number plainly.";
    NotFinite = "text/not-finite":
        "The number is not finite (.nan or .inf).",
        "Every comparison with it is false, so it would slip through each rule.",
        "Write the number, or `unknown`.";

    UnknownKey = "shape/unknown-key":
        "The key is not one that is known here.",
        "An answer under a misspelt key would be lost. Keys that hold identity (names, addresses, record numbers) are refused on purpose.",
        "Correct the key, or delete it.";
    MissingKey = "shape/missing-key":
        "A key that must be there is missing.",
        "The entry cannot be understood, or not governed, without it.",
        "Add the key.";
    WrongType = "shape/wrong-type":
        "The value is of the wrong kind, for instance a text where a list must stand.",
        "Nothing is guessed.",
        "Write the value in the form that the message asks for.";
    NotAnOption = "shape/not-an-option":
        "The word is not one of those that may stand here.",
        "Nothing is guessed.",
        "Take one of the words listed.";
    WrongForm = "shape/wrong-form":
        "The value has the right kind but not the right form, for instance an id with a capital letter.",
        "Ids, dates and the like are compared letter by letter.",
        "Write it in the form that the message asks for.";
    NotTogether = "shape/not-together":
        "Keys stand together that exclude one another, or one of several is needed and none is there.",
        "It would not be clear which of them counts.",
        "Keep exactly one.";

    Circle = "rules/circle":
        "Whether a question is asked hangs, perhaps by way of others, on the answer to that very question.",
        "Nobody could say which of them to ask first, nor which answers count.",
        "Take one of the facts on the way round out of the `ask_when`.";
    MissingFile = "rules/missing-file":
        "The rule set lacks one of its files.",
        "A rule set is only used whole.",
        "Add the file; `preblock schema` prints the schema of its kind.";
    UnexpectedFile = "rules/unexpected-file":
        "The folder of the rule set holds a file that no part of it names.",
        "A concern that is not listed would never be evaluated.",
        "List the concern in ruleset.yaml, or move the file away.";
    UsedChanged = "rules/used-changed":
        "The registers that a rule set uses of another are not the ones its digest means.",
        "A change made for one procedure would decide about another before anybody has looked at it.",
        "Look at what has changed, write the digest that the message gives, and run the cases; `preblock rules compare` with the two folders as they were says for whom.";
    UnknownConcern = "rules/unknown-concern":
        "The file is for a concern that ruleset.yaml does not list, or not the one its name says.",
        "Rules of an unlisted concern would never be evaluated.",
        "Make the `concern:` line, the file name and ruleset.yaml agree.";
    DuplicateId = "rules/duplicate-id":
        "Two entries have the same id.",
        "Findings, cases and citations could not say which is meant.",
        "Give one of them another id.";
    RetiredId = "rules/retired-id":
        "The id belonged to a rule that was retired.",
        "Old reports name that id; it must never mean something else.",
        "Choose a new id.";
    UnknownFact = "rules/unknown-fact":
        "No question or derived fact has this id.",
        "The condition could never be decided.",
        "Correct the id; questions.yaml lists them.";
    UnknownOption = "rules/unknown-option":
        "The question has no such option.",
        "The test could never hold.",
        "Correct the option; the question lists them.";
    UnknownMedicine = "rules/unknown-medicine":
        "No medicine and no class has this name.",
        "The condition could never hold.",
        "Correct the name, or add it to medicines.yaml.";
    UnknownSubstance = "rules/unknown-substance":
        "No substance, group or reaction has this name.",
        "The condition could never hold.",
        "Correct the name, or add it to allergens.yaml.";
    UnknownLimit = "rules/unknown-limit":
        "limits.yaml has no limit of this name.",
        "The comparison would have nothing to compare with.",
        "Correct the name, or add the limit with its source.";
    UnknownSource = "rules/unknown-source":
        "sources.yaml has no source of this name.",
        "A citation that points nowhere is no citation.",
        "Correct the name, or add the source.";
    UnknownFormula = "rules/unknown-formula":
        "There is no such formula, or it does not take what it is given.",
        "The derived fact could not be computed.",
        "Take a formula and inputs from the list in the help line.";
    WrongTest = "rules/wrong-test":
        "The test does not fit the kind of fact.",
        "A comparison of a date with a number would never be decided.",
        "Use a test that fits; `rules show` prints a condition in words.";
    WrongUnit = "rules/wrong-unit":
        "The literal or limit has no unit, or one of another kind of quantity.",
        "A number without its unit can be wrong by a factor of ten or a hundred.",
        "Write the unit that the question uses.";
    UnknownPlaceholder = "rules/unknown-placeholder":
        "The text names something in braces that is neither a fact nor a limit.",
        "A report would print the braces to a clinician.",
        "Correct the name, or write the words out.";
    CyclicClasses = "rules/cyclic-classes":
        "Classes contain one another in a circle.",
        "Every medicine of one would silently be in all.",
        "Take one of them out of the other.";
    NameTwice = "rules/name-twice":
        "One name stands for two entries of a register.",
        "An answer with that name could mean either.",
        "Delete the name from one of the two.";
    NameSwallowed = "rules/name-swallowed":
        "A name of medicines.yaml consists of words for doses and salts alone.",
        "An entry that begins with another medicine would be taken for that one, and this one passed over without a word. \
         Only a salt that nothing looks at as a medicine may be both, such as potassium in losartan potassium.",
        "Take the word out of `dose_words` or `salt_words`, and add the names that need it as synonyms (`also:`).";
    BadRange = "rules/bad-range":
        "The range is empty or upside down.",
        "No value could lie in it.",
        "Write the lower bound first.";
    UnknownPerson = "rules/unknown-person":
        "No person of people.yaml has this id.",
        "The case could not be run.",
        "Correct the id, or add the person.";
    UnknownRule = "rules/unknown-rule":
        "No rule has this id.",
        "The case expects something that can never happen.",
        "Correct the id: concern, slash, rule.";
    NeverStanding = "rules/never-standing":
        "A question that only one patient can answer is marked as one that a clinic's file answers for all.",
        "One patient's day, sites, results or medicines would be taken for everybody's.",
        "Delete the line `standing: true`.";
    ToBeWritten = "rules/to-be-written":
        "A text of a rule, or the first rule of a concern, is still to be written: it is a draft.",
        "A clinician would read the reminder instead of a reason, or think that a concern was looked at. A draft may be worked on, but a \
         rule set with one cannot be approved, and one without any rule cannot be used.",
        "Write the text or the rule, and cite what it rests on.";

    UnknownLint = "rules/unknown-lint":
        "No check of `rules check` has this name.",
        "The allowance would allow nothing.",
        "Correct the name; `preblock explain` lists the checks under lint/.";
    UnknownName = "rules/unknown-name":
        "The rule set has no rule, limit, fact, source or entry of a register of this name.",
        "The allowance would allow nothing.",
        "Correct the name: it is the one that the remark is about.";

    ReviewOverdue = "lint/review-overdue":
        "The day by which something had to be looked at again has passed.",
        "Sources are replaced and practice moves; a rule that nobody has looked at may be wrong by now.",
        "Review it, then write the new `last_reviewed` and `review_by`.";
    ReviewDue = "lint/review-due" notice:
        "The day by which something must be looked at again is near.",
        "A review takes its time: people have to meet, and sources have to be read.",
        "Review it, then write the new `last_reviewed` and `review_by`.";
    SameEdition = "lint/same-edition" notice:
        "The rule set has the edition of the one within the program, and another content.",
        "Two contents would go by one name in every report, and nobody could tell by which of them a patient was screened.",
        "Write a new `edition` into ruleset.yaml before the draft is approved.";
    ApprovalAhead = "lint/approval-ahead":
        "The approval is dated after the day of the check.",
        "Nobody has approved a rule set on a day that has not come; until then every report calls it unapproved.",
        "Correct the day under `approval:`, or wait for it.";
    NoGuarantees = "lint/no-guarantees":
        "The rule set has no guarantees.yaml, or one that states nothing.",
        "A rule that is lost would then be noticed by its own cases alone, which are often lost with it.",
        "State what must never come out, from the danger and with its own numbers, in guarantees.yaml.";
    DuplicateCondition = "lint/duplicate-condition":
        "Two rules have the same condition.",
        "They always fire together. A change of one and not of the other would go unseen.",
        "Make one rule of them, or write down in allowances.yaml why there are two.";
    NeverFires = "lint/never-fires":
        "No possible questionnaire makes the rule fire, or only one whose answers rule one another out.",
        "A rule that cannot fire protects nobody, and everybody believes that it does.",
        "Look for two tests that cannot both hold, a limit on the wrong side of another, or a detail whose gate says no.          Every questionnaire was looked at, not a sample.";
    AlwaysFires = "lint/always-fires":
        "Every possible questionnaire makes the rule fire.",
        "A finding that everybody has is read by nobody.",
        "Add what the rule is really about, or take it out.";
    Subsumed = "lint/subsumed" notice:
        "The rule never fires but beside another one, whose outcome is the same or worse. Contradictory answers aside; and a \
         precaution beside a precaution is told only if both are for just the same patients.",
        "It changes no verdict, and whoever edits the other rule may not know of it.",
        "Take it out, narrow the other rule, or allow it where its action says something of its own.";
    PlanRefers = "lint/plan-refers":
        "The rule refers, although some answer to a question about the plan would quiet it for everybody in whom it fires, all \
         else as it is.",
        "The patient is sent away for a danger that lies in the plan, where another plan would do.",
        "Let it defer, cleared by a changed plan; or allow it with the reason why the danger is in the patient.";
    BandGap = "lint/band-gap":
        "Between two rules for neighbouring bands of one number lie values that neither covers, and a patient can have them.",
        "The value in the gap gets no finding, although values on both sides do.",
        "Let one rule begin where the other ends: name the same limit in both, once with `below` and once with `at_least`.";
    BandOverlap = "lint/band-overlap":
        "Two rules for neighbouring bands of one number share values, and a patient can have them.",
        "The patient gets two findings that say different things of one value.",
        "Let one rule begin where the other ends.";
    Unasked = "lint/unasked":
        "The rule can be kept open by a question that is not asked in that situation.",
        "The verdict waits for an answer that nobody will give.",
        "Name the gate first in the rule's condition, so that it settles the rule, or widen the question's `ask_when`.";
    Loosens = "lint/loosens" notice:
        "A change of the local policy makes the rule set less cautious, or may.",
        "Every report says so, too: whoever reads a verdict must know what it was not held to.",
        "Look at the reason and the role that agreed; `rules prove --local FILE` says whether a guarantee breaks, and \
         `rules compare` who gets a less cautious verdict.";
    Undecided = "lint/undecided" notice:
        "A check that looks at every possible questionnaire came to no answer, and says so.",
        "Silence would look like a clean check.",
        "Look at the fact that is named; the worked cases are the only witnesses here.";
    SourceNeverOpened = "lint/source-never-opened" notice:
        "A rule that defers or refers, or a limit by which one decides, rests on a source from memory alone.",
        "Patients wait because of it, and memory is often wrong about a figure or an edition.",
        "Open the source and write `checked: read`, or cite an opened one beside it.";
    SourceSuperseded = "lint/source-superseded":
        "A rule or limit cites a source that another one of sources.yaml has replaced.",
        "The newer edition may say something else.",
        "See what the newer source says, and cite it.";
    LimitUnused = "lint/limit-unused":
        "No condition, formula or sentence names the limit.",
        "Somebody may change it and believe that a rule follows.",
        "Delete it, or write the rule that needs it.";
    QuestionUnused = "lint/question-unused":
        "No rule, derived fact, `ask_when`, reduction or sentence looks at the answer.",
        "People are asked for nothing, and may believe that the answer counts.",
        "Delete the question, or write the rule that needs it.";
    DerivedUnused = "lint/derived-unused":
        "No rule, other derived fact, reduction or sentence looks at the derived fact.",
        "It is computed for nothing, and a reader may believe that it counts.",
        "Delete it, or write the rule that needs it.";
    SourceUncited = "lint/source-uncited":
        "Nothing cites the source.",
        "A bibliography shows what the rules rest on, and nothing else.",
        "Delete it, or cite it where it is used.";
    NameCollision = "lint/name-collision":
        "Two names of a register differ only in spaces, hyphens or the like, and mean different things.",
        "Whoever writes the one may mean the other.",
        "Rename one of them, or make both names of the same entry.";
    NamesConfusable = "lint/names-confusable" notice:
        "The names of two medicines are one letter apart, and a rule counts only one of them.",
        "A slip of the pen makes the one the other. It is understood, so that nobody is asked.",
        "See whether both names are needed; if they are, say so in allowances.yaml.";
    UnrelatedClasses = "lint/unrelated-classes" notice:
        "A medicine that rules count lies in two classes that have no other medicine in common.",
        "A class that was mistyped makes rules miss the medicine, or count it wrongly.",
        "Correct its `in:`; if it belongs to both, say so in allowances.yaml.";
    NumberUntested = "lint/number-untested":
        "A sentence of a rule states a number that its condition does not test.",
        "It goes stale when a limit is changed, and a reader takes it for what the rule decides by.",
        "Show the limit by its placeholder, as in `{limit.inr-ceiling}`, or say it without the number.";
    StopsMedicine = "lint/stops-medicine":
        "A sentence of a rule tells somebody to stop, pause, skip, hold or reduce a medicine.",
        "Only whoever prescribes a medicine weighs what it is taken for; a clot or a seizure is worse than surgery put off.",
        "Say who is to be asked or told instead.";
    HardToRead = "lint/hard-to-read" notice:
        "The wording of a question for patients is hard to read.",
        "A question that is not understood is answered all the same.",
        "Use shorter sentences and everyday words.";
    Untested = "lint/untested":
        "No worked case reaches a state of a rule, a side of one of its numbers, or one of its members alone.",
        "A slip there would go unnoticed.",
        "Write the case; `preblock rules test --coverage` shows what the others reach.";
    AllowanceUnused = "lint/allowance-unused":
        "An allowance fits no remark.",
        "It would silently allow the same thing when it comes back, long after anybody decided so.",
        "Delete it from allowances.yaml.";
    Withdrawn = "rules/withdrawn":
        "The rule set was withdrawn: nobody may use it for patients any more.",
        "A screening with it would look like any other, and what it was withdrawn for would reach a patient.",
        "Use an edition that is approved; `rules check`, `show` and `test` still read this one.";

    LocalOther = "local/another-rule-set":
        "The local policy was written for another rule set, or for another edition of it.",
        "Its changes were agreed with other rules in view; here they may loosen what nobody looked at.",
        "Go through every change with the new edition, agree it anew, then name the edition.";
    LocalTwice = "local/changed-twice":
        "The local policy changes one thing twice, or raises a rule that it retires.",
        "Only one of the two could count, and nobody could tell which was agreed.",
        "Delete one of the two.";
    LocalNothing = "local/changes-nothing":
        "The change leaves everything as it is.",
        "A policy that seems to differ and does not hides which of its changes matter.",
        "Delete the change, or write what was meant.";
    LocalRaise = "local/not-more-cautious":
        "The outcome under `raise` is not more cautious than the rule's own.",
        "A local policy may make a rule stricter; a milder outcome would loosen it without being said.",
        "Write a more cautious outcome or urgency, or delete the change.";

    AnotherKind = "answers/another-kind":
        "The file is of another kind than the one that belongs here, for instance a clinic's file among the questionnaires.",
        "It was not screened, and nothing in it says anything about a patient.",
        "Give the file to the option that reads it, or take it out of the folder.";
    AnotherRuleSet = "answers/another-rule-set":
        "The file says `for:` a rule set that is not the one in use.",
        "Answers for one procedure, judged by the rules of another one, would look like a screening and be none.",
        "Use the rule set that the file is for (`--rules DIR`), or correct the line.";
    NotToBeUsed = "answers/not-to-be-used":
        "The record says itself that it is not to be used as it stands: entered in error, stopped, or with an element that may change what all others mean.",
        "A program that passes over such an element may read the opposite of what was meant.",
        "Send the record that counts, or enter the answers by hand.";
    HiddenText = "answers/hidden-text":
        "A `#` after a note, a medicine or an allergy begins a comment, so what follows is not read.",
        "Of `tablet #2, and another one` all but the first word would be lost without a word said.",
        "Put the whole text in quotes, or the remark on a line of its own.";
    UnknownQuestion = "answers/unknown-question":
        "There is no such section or question.",
        "The answer would be lost. Keys that hold identity (names, addresses, record numbers) are refused on purpose.",
        "Correct the name; `preblock blank` prints all questions.";
    AnswerType = "answers/wrong-kind":
        "The answer is of the wrong kind, for instance a text where yes or no must stand.",
        "Nothing is guessed.",
        "Write the answer in the form that the message asks for, or `unknown`.";
    AnswerOption = "answers/not-an-option":
        "The answer is not one of the options of the question.",
        "Nothing is guessed.",
        "Take one of the options, or write `unknown`.";
    NeedsUnit = "answers/needs-unit":
        "The number has no unit.",
        "8.2 is an ordinary HbA1c in per cent and an impossible one in mmol/mol; nobody may guess.",
        "Write the unit after the number.";
    AnswerUnit = "answers/wrong-unit":
        "The unit is not one that this question accepts.",
        "A unit of another kind of quantity means that the wrong result was copied.",
        "Use one of the units listed.";
    SeveralQuantities = "answers/several-quantities":
        "Several numbers with units stand where one quantity is asked for.",
        "35 kg 77 lb is one weight written twice; added up it would be double the weight, and so would the dose be.",
        "Write one number with one unit; or a larger and a smaller unit that belong together, such as 11 st 4 lb.";
    NotANumber = "answers/not-a-number":
        "The text cannot be read as a number.",
        "A decimal comma is read differently by different programs.",
        "Write digits with a decimal point, and nothing else.";
    Implausible = "answers/implausible":
        "The value lies outside anything that can be true of a person.",
        "It is a typing slip until somebody has looked: ten times too much is a common one.",
        "Correct the value or its unit.";
    DosesDisagree = "answers/doses-disagree":
        "A medicine says twice how much of it is taken, or for how long, and not the same.",
        "One of the two is a slip, and a rule may hang on it.",
        "Write dose and duration once, as they are: `{ name: NAME, daily: 10 mg, for: 3 months }`.";
    NotADate = "answers/not-a-date":
        "The text is not a date of the calendar in the form year-month-day.",
        "Day and month are easily swapped.",
        "Write the date as YYYY-MM-DD.";
    FutureDate = "answers/future-date":
        "A result or event is dated after the day on which the screening is run.",
        "Its age would be negative, so it would always look fresh.",
        "Correct the date; to run a screening as of another day, use --as-of.";
    DatesDisagree = "answers/dates-disagree":
        "Two dates cannot both be right, for instance a birth after the surgery or a surgery in the past.",
        "Ages and intervals would be nonsense.",
        "Correct one of the two; to run an old screening again, use --as-of.";
    NeedsDate = "answers/needs-date":
        "The result has no date.",
        "Whether a result is fresh enough is part of the question.",
        "Write `{ value: ..., taken_on: YYYY-MM-DD }`; taken_on may be `unknown`.";
    NotStanding = "answers/not-standing":
        "The clinic's file answers a question about a patient.",
        "It would be taken for every patient.",
        "Move the answer to the patient's own questionnaire.";
    UnknownAgent = "answers/unknown-agent":
        "The local anaesthetic is not one of the rule set's.",
        "Without its limit no dose can be checked.",
        "Correct the name, or have the agent added to anaesthetics.yaml with its source.";
    TooMany = "answers/too-many":
        "A list is longer than any patient's can be.",
        "Input is bounded, so that no file can exhaust the machine.",
        "Check that it is the right file.";
    NeedsMapping = "sheet/no-mapping":
        "The file is a sheet (its name ends in .csv, .tsv or .txt), and nobody said what its columns mean.",
        "What a column means, how it writes numbers and dates, is never guessed.",
        "Give the mapping file of whoever sent it: `--mapping FILE`. `preblock schema mapping` says what one holds.";
    Quotes = "sheet/quotes":
        "A quote stands in a cell where programs disagree about what it means, or opens a cell and never closes it.",
        "Whatever stands behind an open quote is one cell to a program, and further patients to a person.",
        "Put the whole cell in quotes and double each quote inside, or let a spreadsheet program save the sheet again.";
    RaggedRow = "sheet/ragged-row":
        "A row has more or fewer cells than the sheet has columns.",
        "An answer may have slipped under the heading of another question.",
        "Add the empty cell that is missing, or put a cell that holds the separator in quotes.";
    ColumnTwice = "sheet/column-twice":
        "Two columns of the sheet have the same heading, or one has none.",
        "Nobody could tell which of the two holds the answer.",
        "Give each column a heading of its own.";
    ReferenceTwice = "sheet/reference-twice":
        "Two rows of the sheet have the same reference.",
        "Only one of the two could be used, and nobody could tell which was meant.",
        "Delete one of the rows, or give each patient a reference.";
    NotMapped = "mapping/not-mapped":
        "The mapping file does not say what a column or an item of the other program means.",
        "What is not understood is never passed over without a word: it may be what speaks against surgery.",
        "Add it to `answers` of the mapping file, or to `ignore` if it is not to be read.";
    MappedTwice = "mapping/mapped-twice":
        "The mapping file says twice what a column means, or leads two columns to one question that takes one answer.",
        "Only one of the two could be used, and nobody could tell which was meant.",
        "Delete one of the two entries. A list may have several columns.";

    NoRegister = "register/not-a-register":
        "The file is not a register of this program.",
        "Nothing is read from, or written into, a file that somebody else made for something else.",
        "Check the path. `preblock register new` makes a register.";
    RegisterThere = "register/exists":
        "There is a file where a register was to be made.",
        "A register is never written over.",
        "Name another place, or use the register that is there.";
    RegisterVersion = "register/version":
        "The register was made by another version of the program.",
        "An older program would overlook what a newer one wrote.",
        "Use the newest version of the program that ever opened this register.";
    RegisterLayout = "register/layout":
        "Tables or triggers of the register are not as they were made.",
        "A trigger that is gone no longer keeps entries from being changed.",
        "Restore a backup, and find out who changed the file with another program.";
    RegisterInUse = "register/in-use":
        "Another program writes into the register.",
        "There is one writer at a time, so that nobody's entries get lost.",
        "Close the other program, or do it at the desk that is open.";
    RegisterOnNetwork = "register/network-drive":
        "The register is on a network drive.",
        "Locks and logs do not hold there: two writers could destroy the file.",
        "Keep it on a disk of the computer on which the desk runs, and put backups onto the network drive.";
    RegisterUnwritable = "register/not-written":
        "The register could not be read or written.",
        "What was not confirmed is not in the register.",
        "Look after the disk and the folder's permissions, then read the last entry before entering anything again.";
    RegisterDamaged = "register/damaged":
        "The register holds something that no register has.",
        "Somebody changed it with another program, or the disk damaged it.",
        "`preblock register check` lists what is wrong. Restore the last backup.";
    RegisterRefused = "register/refused":
        "Something does not fit what the register says.",
        "What is written is never changed, so it is looked at before.",
        "Look at the referral as it stands now.";
    RegisterEntryChanged = "register/entry":
        "An entry of the register was changed, added, left out or put elsewhere.",
        "What happened is no longer what the register says.",
        "Restore the last backup that checks clean, and find out who had the file.";
    RegisterBody = "register/body":
        "What an entry said was changed, added or taken away.",
        "Only an entry may remove it, which says who and why.",
        "Restore the last backup that checks clean, and find out who had the file.";
    RegisterHead = "register/head":
        "The register does not hold the entry whose digest was noted.",
        "Its end was cut off, or it was written anew: that is what a noted digest is for.",
        "Compare with the backups; `preblock register head` says where each ends.";
    RegisterTables = "register/tables":
        "What pages show does not follow from the entries.",
        "Somebody would look at a pile that is not so.",
        "Find out who changed the file. `preblock register check --rebuild` works the pages out anew from the entries.";
    RegisterScreening = "register/screening":
        "A decided screening does not come to the same again.",
        "The same answers, the same rules and the same day give the same screening.",
        "Look at the entry: what was signed may not be what the rules said.";
    RegisterClock = "register/clock" notice:
        "The clock was put back between two entries.",
        "The order of entries is that of their numbers; their times are what the computer said.",
        "Look whether the computer's clock is right.";
    RegisterOpenToOthers = "register/open-to-others" notice:
        "Others on this computer may open the register.",
        "It holds answers of patients.",
        "Let only its owner read and write it (mode 0600).";
}
