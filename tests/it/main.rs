//! One test program; each `mod` line says what belongs where.

// The program from outside, and the README.
mod cli;
// The embedded rule set and the tapes it is read from.
mod embedded;
// Published arithmetic against published tables and worked examples.
mod formulas;
// Screenings as text and as JSON; the schema of the JSON.
mod report;
// Units, conversions, spans of time and dates.
mod units;
