// Package truth makes plants of which the truth is known and counts how often
// the engine was right about them.
//
// A thermometer passes a check, goes wrong at a moment that nobody knows,
// suddenly or by drifting, and fails the next check. Between the two it reads
// lots whose true temperatures are known here and nowhere else. The engine sees
// the noisy checks and the readings only. What it says of each lot is compared
// with what was so.
//
// Everything is invented, and nothing is drawn from a clock: the same seed makes
// the same plants.
package truth
