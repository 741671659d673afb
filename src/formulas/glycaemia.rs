//! The two scales of HbA1c: per cent (NGSP) and mmol/mol (IFCC).
//!
//! The scales do not share a zero, so no factor joins them: general unit arithmetic would make 7.0 % into 70 mmol/mol.
//! Two published roundings of the same equation differ by some hundredths of a mmol/mol, which would decide cases
//! that lie on a limit; whole mmol/mol and tenths of a per cent, as the published tables print them, do not differ.

use crate::formulas::settled;

/// HbA1c in mmol/mol from per cent, unrounded: (per cent - 2.15) x 10.929.
///
/// # Returns
/// `None` if the input is not finite. Below 2.15 % the result is below zero; the question's plausible range refuses it.
///
/// # Source
/// IFCC HbA1c network, Master Equation (no year shown; read), in the form with 10.929 and 2.15 (from memory). The
/// network's page prints 10.93 x per cent - 23.5.
pub fn ngsp_to_ifcc_unrounded(percent: f64) -> Option<f64> {
    settled((percent - 2.15) * 10.929)
}

/// HbA1c in whole mmol/mol from per cent.
///
/// # Returns
/// As [`ngsp_to_ifcc_unrounded`].
///
/// # Source
/// As [`ngsp_to_ifcc_unrounded`], rounded as in Diabetes UK, Changes to HbA1c values (no year shown; read).
pub fn ngsp_to_ifcc(percent: f64) -> Option<f64> {
    ngsp_to_ifcc_unrounded(percent).map(f64::round)
}

/// HbA1c in per cent from mmol/mol, unrounded: 0.0915 x mmol/mol + 2.15.
///
/// # Returns
/// `None` if the input is not finite.
///
/// # Source
/// IFCC HbA1c network, Master Equation; coefficients to this number of digits from memory. The NGSP site prints 0.09148
/// and 2.152.
pub fn ifcc_to_ngsp_unrounded(mmol_mol: f64) -> Option<f64> {
    settled(0.0915 * mmol_mol + 2.15)
}

/// HbA1c in per cent, to one decimal, from mmol/mol. To show beside a result; rules compare in mmol/mol.
///
/// Going there and back need not return the same number: 47 mmol/mol shows as 6.5 %, which is 48 mmol/mol.
///
/// # Returns
/// `None` if the input is not finite.
///
/// # Source
/// As [`ifcc_to_ngsp_unrounded`].
pub fn ifcc_to_ngsp(mmol_mol: f64) -> Option<f64> {
    ifcc_to_ngsp_unrounded(mmol_mol)
        .and_then(|percent| settled(percent * 10.0))
        .map(|tenths| tenths.round() / 10.0)
}
