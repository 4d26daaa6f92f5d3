package workflow

import (
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

// killStep looks for a step that the policy lets clear the hazard and that all
// of the lot went through after the readings in doubt: the lot itself, or, if
// nothing of it is left and none has left the plant as it was, everything made
// of it.
func (e *evidence) killStep(a *Assessment, where map[lot.ID]lot.Position, shipped map[lot.ID][]string) (*KillStep, error) {
	if a.Result.Verdict == limit.Met || a.Hazard == "" {
		return nil, nil
	}
	after := a.LastAt
	if after == 0 { // nothing was read: the step in doubt was over when the lot was made
		_, after = e.madeWhen(lot.ID(a.LotID))
	}
	for _, name := range e.policy.ClearedBy(a.Hazard) {
		k := &KillStep{Limit: name}
		gone := func(id lot.ID) bool { return !where[id].InControl && len(shipped[id]) == 0 }
		switch all, err := e.through(lot.ID(a.LotID), k, after, gone); {
		case err != nil:
			return nil, err
		case all:
			slices.Sort(k.By)
			k.By = slices.Compact(k.By)
			return k, nil
		}
	}
	return nil, nil
}

// through says whether all of a lot met the step's limit after a time.
func (e *evidence) through(id lot.ID, k *KillStep, after int64, gone func(lot.ID) bool) (bool, error) {
	by, err := e.proven(id, k.Limit, after)
	if err != nil {
		return false, err
	}
	if by != "" {
		k.Lots, k.By = append(k.Lots, e.lots[id].Code), append(k.By, by)
		return true, nil
	}
	if len(e.edges[id]) == 0 || !gone(id) {
		return false, nil
	}
	for _, made := range e.edges[id] {
		if all, err := e.through(made, k, after, gone); err != nil || !all {
			return false, err
		}
	}
	return true, nil
}

// proven returns the instrument by which a lot met a limit after a time; empty
// if none shows it.
func (e *evidence) proven(id lot.ID, limitName string, after int64) (string, error) {
	for _, s := range e.seconds {
		theirs := s.itemFor(e, item{lot: id, via: "reading"}, limitName)
		if theirs.count() == 0 {
			continue
		}
		if from, _ := theirs.extent(); from <= after {
			continue
		}
		l, ok := e.policy.InForce(limitName, e.producedAt(theirs))
		if !ok {
			continue
		}
		word, err := e.testimony(s, theirs, l, nil)
		if err != nil {
			return "", err
		}
		if word.Refused == "" && word.Verdict == limit.Met {
			return s.in.Code, nil
		}
	}
	return "", nil
}
