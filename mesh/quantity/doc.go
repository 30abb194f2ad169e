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
// A Budget is of independent inputs and gives k from their degrees of freedom; a
// Joint carries correlated ones to one or several results; Simulate draws the
// inputs from their distributions (JCGM 101:2008) where a model is far from
// linear or an input far from normal.
//
// Not supported: degrees of freedom of correlated inputs, and drawing them.
package quantity
