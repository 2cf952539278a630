// Package bench measures the work that counts on a night beside a named
// baseline, in the same run on the same machine: what stands is the ratio. It is
// a module of its own, so that no baseline is a dependency of passbell.
// `make bench` prints the table; `make bench ONLY=name` one line of it.
package bench
