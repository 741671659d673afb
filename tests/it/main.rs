//! One test program; each `mod` line says what belongs where.

#![expect(
    clippy::indexing_slicing,
    reason = "a wrong index fails the test, as it should"
)]

// Approval, withdrawal and the dates of a rule set, and that every report says them first.
mod approval;
// Other ways of writing the same thing.
mod accepts;
// The interview in a terminal.
mod ask;
// What is asked, of whom and how.
mod asks;
// A questionnaire on each line to an answer on each line.
mod batch;
// The whole rule set as one document.
mod book;
// One patient on one screen: as text, as Markdown and as a page to sign.
mod brief;
// What changed between two screenings of one patient.
mod changed;
// The program from outside, and the README.
mod cli;
// Two rule sets beside one another.
mod compare;
// Which answers count, and what holds the verdict in every rule set.
mod applies;
// The desk over plain TCP.
mod desk;
// Every possible questionnaire at once: the space of answers, and what is proved over it.
mod decide;
// Checks of a rule set: each fires where it should, and stays quiet where it should.
mod lints;
// Derived facts whose formulas count, and what leaves them missing.
mod derived;
// New rules as drafts.
mod drafts;
// The embedded rule set and the tapes it is read from.
mod embedded;
// The fast way of `batch` against the reader of trees.
mod fast;
// FHIR: the questions as a form, answers as responses, and back.
mod fhir;
// The folder of a rule set, and what commands say of it.
mod folders;
// Every formula against what it says of itself.
mod descriptors;
// Published arithmetic against published tables and worked examples.
mod formulas;
// The clinician's page, read back by a Markdown parser.
mod markdown;
// Letters: made or refused, easy to read, and with nothing that they should not say.
mod letters;
// Standard input, the environment, completions, a manual.
mod manners;
// Local policy: what it changes, what of it loosens, and that every report says so.
mod local;
// A questionnaire changed by one answer.
mod edit;
// What is still to ask, and when asking may stop.
mod interview;
// What conditions mean, against every kind of missing answer.
mod logic;
// The registers of names against the UNII list.
mod medicines;
// Every rule taken out, and who is missed.
mod missed;
// A committee's morning, line by line.
#[cfg(unix)]
mod morning;
// Lists of local names of medicines.
mod names;
// What is to be done next.
mod next;
// Small changes of a rule set, and whether the cases notice them.
mod mutants;
// An outside judge of the logic.
mod oracle;
// Readers that are not ours.
mod outside;
// The paper on a proposal.
mod paper;
// What is due, the calendar and the cases for other programs.
mod papers;
// What must hold for everything, on generated rule sets and patients.
mod properties;
// The rule sets of this project, each with its clinic and its referrals.
mod shipped;
// What a rule set guarantees: proved, or broken by a questionnaire that is screened.
mod prove;
// Other plans, other days, and what would lift a verdict, each screened anew from changed answers.
mod prospects;
// What `rules check` finds, as SARIF.
mod sarif;
// Documents that quote the program.
mod quoted;
// Files made to hold up the program, to fill the screen, or to steer it.
mod hostile;
// The slow, obvious second evaluator.
mod reference;
// Bad input: one slip a file, told at its place.
mod rejects;
// What a desk keeps: entries that nobody can change unseen, and nothing confirmed that is lost.
mod register;
// One test for each bug that was mended.
mod regressions;
// Every mistake of an editor, and the tool that notices it.
mod seeds;
// Results in open standards.
mod results;
// Sheets of other programs, and the mapping files that say what they mean.
mod sheets;
// Screenings as text and as JSON; the schema of the JSON.
mod report;
// A tiny rule set and the calls that every module uses.
mod support;
// What must hold for every text that is read.
mod texts;
// The house in order: layers, the rule set, the schemas.
mod tidy;
// Past one machine: a real Spark cluster, and file by file.
#[cfg(target_os = "linux")]
mod spark;
// Units, conversions, spans of time and dates.
mod units;
// A rule set from nothing.
mod start;
// Registers of one rule set that another uses.
mod uses;
// Results are written as they are made, or said not to have been; nothing of a run is passed over.
mod written;
