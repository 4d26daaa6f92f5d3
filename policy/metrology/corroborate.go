package metrology

import (
	"fmt"
	"slices"

	"lastgood/policy/unit"
)

// Witness is a second instrument that can vouch for readings of its own.
type Witness struct {
	// Before and After are indices into Facts.Checks: the checks that it clearly
	// passed on either side.
	Before, After int

	from, until int64 // of the two checks
	band        Band
}

// At is the bounds of the error of the witness's own reading x at a time: Known
// between its two checks, at temperatures at which both were clearly good.
func (w *Witness) At(at int64, x unit.Celsius) (Bounds, Standing) {
	if at < w.from || at > w.until {
		return Bounds{}, Unknown
	}
	if b, ok := w.band.at(x); ok {
		return b, Known
	}
	return Bounds{}, Unknown
}

// Reason says in a sentence why the error of a reading is unknown; empty where At
// does not say so.
func (w *Witness) Reason(at int64, x unit.Celsius) string {
	if _, s := w.At(at, x); s != Unknown {
		return ""
	}
	if at < w.from || at > w.until {
		return "no check that the second instrument passed stands on both sides"
	}
	return fmt.Sprintf("the second instrument was not checked at %.1f °C", float64(x))
}

// Vouch says whether a second instrument can vouch for readings between two
// times from lo to hi [°C, indicated], and with what bounds, there and as far
// around as both its checks were clearly good; else, in a sentence, why not. F is
// its own history; Failed is not looked at. SuspectReferences are the reference
// standards on which the checks of the instrument in doubt hang; an empty name is
// a comparison with a reference that nobody named.
//
// It needs a clear pass as left before and one as found after, at checks that
// cover the temperatures with references that are trusted and that the suspect's
// checks do not share; no check in between that it did not pass; and nothing in
// between that may have changed it. That is more than the bracket of a failed
// instrument asks: a drop from which it recovered would leave no trace in either
// check, and its word is to clear product.
func Vouch(f Facts, suspectReferences []string, from, until int64, lo, hi unit.Celsius) (*Witness, string) {
	if len(f.Checks) == 0 {
		return nil, "it was never checked"
	}
	f.Failed = 0
	if err := f.verify(); err != nil {
		return nil, err.Error()
	}
	if !(from <= until) || !(lo <= hi) {
		return nil, "the times or the temperatures to vouch for are turned round"
	}
	d := newDossier(f)
	over := span{float64(lo), float64(hi)}
	w := &Witness{}
	var why string
	if w.Before, why = d.passBefore(from, over); why != "" {
		return nil, why
	}
	if w.After, why = d.passAfter(until, over); why != "" {
		return nil, why
	}
	if why := d.unfit(w, suspectReferences); why != "" {
		return nil, why
	}
	w.from, w.until = f.Checks[w.Before].At, f.Checks[w.After].At
	e := evidence{old: d.sides[w.Before].left, found: d.sides[w.After].found}
	for i := w.Before + 1; i < w.After; i++ {
		e.inside = slices.Concat(e.inside, d.sides[i].found, d.sides[i].left)
	}
	// Wherever both checks were clearly good around there, its bracket is known.
	for _, s := range d.sides[w.Before].leftOK.and(d.sides[w.After].foundOK) {
		if s.lo <= over.lo && over.hi <= s.hi {
			w.band = d.bracket(e, s)
		}
	}
	return w, ""
}

// passBefore is the latest check not after from that was clearly good as left
// over the temperatures. A check of other temperatures is passed over; one that
// was not passed is not.
func (d *dossier) passBefore(from int64, over span) (int, string) {
	for i := len(d.Checks) - 1; i >= 0; i-- {
		c, s := d.Checks[i], d.sides[i]
		switch {
		case c.At > from || c.Untrusted != "":
		case d.good(i) && s.leftOK.cover(over):
			return i, ""
		case s.judged.Left != Pass:
			return 0, fmt.Sprintf("it did not clearly pass its check of %s", day(c.At))
		}
	}
	return 0, "it has no check before that it clearly passed at these temperatures"
}

// passAfter is the earliest check not before until that was clearly good as
// found over the temperatures.
func (d *dossier) passAfter(until int64, over span) (int, string) {
	for i, c := range d.Checks {
		s := d.sides[i]
		switch {
		case c.At < until || c.Untrusted != "":
		case s.found != nil && s.foundOK.cover(over):
			return i, ""
		case s.judged.Found != Pass:
			return 0, fmt.Sprintf("it did not clearly pass its check of %s", day(c.At))
		}
	}
	return 0, "it has no check after that it clearly passed at these temperatures"
}

// unfit says what between or at its two checks makes a witness worthless.
func (d *dossier) unfit(w *Witness, suspect []string) string {
	before, after := d.Checks[w.Before], d.Checks[w.After]
	if w.Before >= w.After {
		return "one and the same check cannot stand on both sides"
	}
	for _, c := range []Check{before, after} {
		if c.unnamed() {
			return fmt.Sprintf("nobody knows with which reference its check of %s was made", day(c.At))
		}
	}
	switch ref, ok := Independent(append(before.References(), after.References()...), suspect); {
	case ok:
	case ref == "":
		return "nobody knows with which reference the instrument in doubt was compared: it may be the same one"
	default:
		return "its checks hang on the reference " + ref + ", as those of the instrument in doubt do"
	}
	for i := w.Before + 1; i < w.After; i++ {
		if j := d.sides[i].judged; d.Checks[i].Untrusted == "" && (j.Found != Pass || j.Left != Pass) {
			return fmt.Sprintf("it did not clearly pass its check of %s", day(d.Checks[i].At))
		}
	}
	for _, e := range d.Events {
		if e.At > before.At && e.At <= after.At && (e.Kind == Dropped || e.Kind == Moved || e.Kind == Intermittent) {
			return fmt.Sprintf("%s on %s: what it read then is in doubt too", e.Kind.words(), day(e.At))
		}
	}
	d.Failed = w.After
	return d.disturbed(before.At, after.At)
}

// References are the reference standards that a check was made with, by name.
func (c Check) References() []string {
	var out []string
	for _, p := range c.Points {
		if p.ReferenceID != "" && !slices.Contains(out, p.ReferenceID) {
			out = append(out, p.ReferenceID)
		}
	}
	return out
}

// unnamed reports whether some point was compared with a reference standard that
// nobody named: it may be the suspect's.
func (c Check) unnamed() bool {
	return slices.ContainsFunc(c.Points, func(p Point) bool {
		return p.ReferenceID == "" && p.Kind != icePoint && p.Kind != boilingPoint
	})
}

// Independent reports whether two instruments' checks are known to hang on
// different reference standards, and else which one they share. Ice and boiling
// water have no name and are shared by nobody: each is made anew. An empty name is
// a comparison with a reference that nobody named: it may be any that the other
// was compared with, and then what they share is empty.
func Independent(a, b []string) (shared string, ok bool) {
	for _, r := range a {
		if r != "" && slices.Contains(b, r) {
			return r, false
		}
	}
	unnamed := slices.Contains(a, "") || slices.Contains(b, "")
	return "", len(a) == 0 || len(b) == 0 || !unnamed
}
