// Package demo writes the case folder of a made-up plant: five weeks of work,
// some 290,000 readings, and four thermometers that go wrong in four ways. The
// story is told in README.md beside this file.
//
// Nothing in it is real: the plant, its customers and every number are
// invented. The same bytes are written every time.
package demo

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
)

// Write makes the folder dir, if need be, and writes the case into it.
func Write(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("make the folder of the demonstration plant: %w", err)
	}
	p := newPlant()
	for _, f := range p.files() {
		if err := os.WriteFile(filepath.Join(dir, f.name), f.bytes(), 0o644); err != nil {
			return fmt.Errorf("write %s: %w", f.name, err)
		}
	}
	return p.writeReadings(filepath.Join(dir, "readings.csv"))
}

// plant is all that goes into the small files. Readings are made while they are
// written, each stream from a seed of its own, so that a change to one room
// leaves the others as they were.
type plant struct {
	lots            []*batch
	checks          [][]string
	events          [][]string
	transformations [][]string
	shipments       [][]string
}

func newPlant() *plant {
	p := &plant{}
	p.cook()
	p.rework()
	p.pasteurise()
	p.retort()
	p.ship()
	p.checkProbes()
	p.checkLine()
	p.checkLoggers()
	p.checkReference()
	p.disturb()
	return p
}

// The seeds of the streams of random numbers.
const (
	seedCook = iota + 1
	seedPasteuriser
	seedRetort
	seedChecks
	seedRooms // and one more for each room
)

func random(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(2026, seed)) }
