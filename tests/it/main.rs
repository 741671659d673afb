//! One test program; each `mod` line says what belongs where.

// Published arithmetic against published tables and worked examples.
mod formulas;
// Units, conversions, spans of time and dates.
mod units;
