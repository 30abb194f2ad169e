// Package outside is what benchmarks share that are held beside outside programs:
// the files that both are given, named in the environment, and the clock.
package outside
