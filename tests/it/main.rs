//! One test program; each `mod` line says what belongs where.

// The program from outside, and the README.
mod cli;
// Published arithmetic against published tables and worked examples.
mod formulas;
// Screenings as text and as JSON; the schema of the JSON.
mod report;
// Units, conversions, spans of time and dates.
mod units;
