// Package quantity says how well a value is known: a measured value with its
// standard uncertainty, the budget that uncertainty comes from, and how both
// are rounded and printed.
//
// It follows the Guide to the Expression of Uncertainty in Measurement, JCGM
// 100:2008 (called GUM here): contributions are added in quadrature, effective
// degrees of freedom come from the Welch–Satterthwaite formula, the coverage
// factor from Student's t. Lengths are millimetres, areas mm², volumes mm³,
// shares have unit "1".
//
// Not supported: correlated inputs (state one term for what they share) and
// the propagation of distributions of JCGM 101.
package quantity
