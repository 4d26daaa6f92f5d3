package workflow

import (
	"math"
	"slices"

	"lastgood/policy/limit"
	"lastgood/workflow/lot"
)

// KillStep is a later step that cleared the hazard of an assessment: the step's
// limit, and the lots that met it by an instrument that is not in doubt.
type KillStep struct {
	Limit string   `json:"limit"`
	Lots  []string `json:"lots"`
	By    []string `json:"by"`
}

// departed is when product left lots: by shipment, and into other lots [µs].
type departed struct {
	shipped map[lot.ID]int64
	used    map[[2]lot.ID]int64
}

// killStep looks for a step that the policy lets clear the hazard and that all
// of the lot went through once the step in doubt was over: the lot itself, before
// anything of it left; or, if nothing of it is left and none has left the plant
// as it was, everything made of it.
func (e *evidence) killStep(a *Assessment, list []Assessment, where map[lot.ID]lot.Position, d departed) (*KillStep, error) {
	if a.Result.Verdict == limit.Met || a.Hazard == "" {
		return nil, nil
	}
	for _, name := range e.policy.ClearedBy(a.Hazard) {
		w := &walk{e: e, KillStep: KillStep{Limit: name}, after: a.OverAt, where: where, departed: d, doubted: map[lot.ID]bool{}, asked: map[lot.ID]bool{}}
		for _, other := range list { // what the instrument in doubt says of the step itself
			if other.Limit == name && other.Result.Verdict != limit.Met {
				w.doubted[lot.ID(other.LotID)] = true
			}
		}
		switch all, err := w.through(lot.ID(a.LotID)); {
		case err != nil:
			return nil, err
		case all:
			slices.Sort(w.By)
			w.By = slices.Compact(w.By)
			return &w.KillStep, nil
		}
	}
	return nil, nil
}

// walk follows a lot through a kill step.
type walk struct {
	e *evidence
	KillStep
	departed
	after   int64 // when the step in doubt was over
	where   map[lot.ID]lot.Position
	doubted map[lot.ID]bool // lots of which the step is itself in doubt
	asked   map[lot.ID]bool // lots that are looked at already: mixed lots go back to each other
}

// through says whether all of a lot met the step's limit.
func (w *walk) through(id lot.ID) (bool, error) {
	if w.asked[id] {
		return true, nil // or the answer is no for its own sake, and so for all
	}
	w.asked[id] = true
	by, from, err := w.proven(id)
	if err != nil || w.doubted[id] {
		return false, err
	}
	shipped, left := w.shipped[id]
	if by == "" {
		from = math.MaxInt64
		if len(w.e.edges[id]) == 0 || w.where[id].InControl || left {
			return false, nil
		}
	}
	if left && shipped < from {
		return false, nil // some left as it was
	}
	for _, made := range w.e.edges[id] {
		if w.used[[2]lot.ID{id, made}] >= from {
			continue
		}
		if all, err := w.through(made); err != nil || !all {
			return false, err
		}
	}
	if by != "" {
		w.Lots, w.By = append(w.Lots, w.e.lots[id].Code), append(w.By, by)
	}
	return true, nil
}

// proven returns the instrument by which a lot met the step's limit and since
// when it was read; empty if none shows it, or one that counts shows otherwise.
func (w *walk) proven(id lot.ID) (by string, from int64, err error) {
	for _, s := range w.e.seconds {
		theirs := s.itemFor(w.e, item{lot: id, via: "reading"}, w.Limit)
		if theirs.count() == 0 {
			continue
		}
		l, ok := w.e.policy.InForce(w.Limit, w.e.producedAt(theirs))
		if !ok || l.Monitoring == limit.OnException {
			continue
		}
		word, err := w.e.testimony(s, theirs, l, nil)
		if err != nil {
			return "", 0, err
		}
		if word.Refused != "" {
			continue
		}
		first, _ := theirs.extent()
		if word.Verdict != limit.Met || first <= w.after {
			return "", 0, nil
		}
		by, from = s.in.Code, max(from, first)
	}
	return by, from, nil
}
