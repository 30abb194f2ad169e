// Package outside is what benchmarks share that are held beside outside programs or
// against bounds: the files that both are given, named in the environment, the
// clock, and the memory of the process.
package outside
