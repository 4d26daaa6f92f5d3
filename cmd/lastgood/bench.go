package main

// benchCmd measures us against plain PostgreSQL on the same data in one run.
type benchCmd struct{}

// Run runs the benchmarks.
func (c *benchCmd) Run(g *globals) error { return nil }
