package workflow

import (
	"slices"
	"time"

	"lastgood/workflow/instrument"
)

// Foreseen is the tree that falls with a reference, as it is shown before it is
// done: reference, checks, instruments, windows, lots.
type Foreseen struct {
	Reference string               `json:"reference"`
	Below     []ForeseenInstrument `json:"below"`
	// How many of each there are in the whole tree; a lot counts once.
	Checks      int `json:"checks"`
	Instruments int `json:"instruments"`
	Windows     int `json:"windows"`
	Lots        int `json:"lots"`
}

// ForeseenInstrument is an instrument that was checked against one that falls.
// It stands under the first by which the tree reaches it.
type ForeseenInstrument struct {
	Instrument string               `json:"instrument"`
	Checks     []ForeseenCheck      `json:"checks"`
	Windows    []ForeseenWindow     `json:"windows"`
	Below      []ForeseenInstrument `json:"below"`
}

// ForeseenCheck is a check that loses its worth, or regains it.
type ForeseenCheck struct {
	ID          int64     `json:"id"`
	PerformedAt time.Time `json:"performed_at"`
	Against     []string  `json:"against"` // the references in doubt; of one that regains its worth, those that were
	Change      string    `json:"change"`  // falls or regains
	Why         string    `json:"why"`
}

// What becomes of a check.
const (
	changeFalls   = "falls"
	changeRegains = "regains"
)

// ForeseenWindow is the suspect window of a deviation that opens, or that
// changes. A nil time: nothing bounds it.
type ForeseenWindow struct {
	Deviation *DeviationID  `json:"deviation"` // nil: it opens
	FailedAt  time.Time     `json:"failed_at"`
	OpenedBy  string        `json:"opened_by"`
	Becomes   string        `json:"becomes"`
	Reopens   bool          `json:"reopens"` // its evaluation had begun, and starts again
	Before    *ForeseenSpan `json:"before"`  // nil: it opens
	After     ForeseenSpan  `json:"after"`
	Lots      []ForeseenLot `json:"lots"` // that come into doubt
}

// What becomes of a deviation.
const (
	becomesOpen     = "opens"
	becomesWider    = "widens"
	becomesNarrower = "narrows"
	becomesMoved    = "moves"
	becomesFuller   = "same window, more lots"
)

// ForeseenSpan is a suspect window.
type ForeseenSpan struct {
	After *time.Time `json:"after"`
	Until *time.Time `json:"until"`
}

// ForeseenLot is a lot that comes into doubt. What is in control is held at once.
type ForeseenLot struct {
	Lot       string  `json:"lot"`
	BecauseOf string  `json:"because_of"`
	InControl bool    `json:"in_control"`
	Quantity  *string `json:"quantity"` // nil: nobody knows
	Unit      *string `json:"quantity_unit"`
	Location  *string `json:"location"`
}

// becomes says what changes of a window.
func (s ForeseenSpan) becomes(before *ForeseenSpan, lots int) string {
	if before == nil {
		return becomesOpen
	}
	start, end := compareBound(s.After, before.After, -1), compareBound(s.Until, before.Until, 1)
	switch {
	case start == 0 && end == 0 && lots == 0:
		return ""
	case start == 0 && end == 0:
		return becomesFuller
	case start <= 0 && end >= 0:
		return becomesWider
	case start >= 0 && end <= 0:
		return becomesNarrower
	}
	return becomesMoved
}

// compareBound compares two ends of windows; nil lies beyond all times on the
// given side.
func compareBound(a, b *time.Time, beyond int) int {
	switch {
	case a == nil && b == nil:
		return 0
	case a == nil:
		return beyond
	case b == nil:
		return -beyond
	}
	return a.Compare(*b)
}

// node is where an instrument stands in the tree.
type node struct {
	instrument.Stored
	under string // code of the one that it was checked against
}

// tree puts instruments that change under those they were checked against. One
// that does not change has nothing below it.
func tree(reference string, order []node, changed map[string]ForeseenInstrument) Foreseen {
	f := Foreseen{Reference: reference}
	lots := map[string]bool{}
	var below func(code string) []ForeseenInstrument
	below = func(code string) []ForeseenInstrument {
		list := []ForeseenInstrument{}
		for _, p := range order {
			n, ok := changed[p.Code]
			if !ok || p.under != code {
				continue
			}
			f.Instruments, f.Checks, f.Windows = f.Instruments+1, f.Checks+len(n.Checks), f.Windows+len(n.Windows)
			for _, w := range n.Windows {
				for _, l := range w.Lots {
					lots[l.Lot] = true
				}
			}
			if n.Below = []ForeseenInstrument{}; p.Code != reference { // which a ring of checks leads back to
				n.Below = below(p.Code)
			}
			list = append(list, n)
		}
		return slices.Clip(list)
	}
	f.Below = below(reference)
	f.Lots = len(lots)
	return f
}
