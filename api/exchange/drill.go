package exchange

import (
	"time"

	"lastgood/policy/limit"
	"lastgood/workflow"
)

// DrillResult is what a supposed failure would set off. Its deviations are those
// that would be opened, or widened, in the form of real ones; their holds are
// those that would be placed.
type DrillResult struct {
	Drill      string            `json:"drill"`
	Caution    string            `json:"caution"`
	Totals     DrillTotals       `json:"totals"`
	Deviations []DeviationResult `json:"deviations"`
}

// DrillNotice stands on every drill, so that no print-out of one is taken for
// the thing itself.
const DrillNotice = "DRILL: nothing was recorded, held or routed"

// DrillTotals counts each lot once.
type DrillTotals struct {
	Instruments int           `json:"instruments"` // whose readings would be in doubt
	Readings    int64         `json:"readings"`    // looked at
	Lots        int           `json:"lots"`        // in doubt, with what was made of them
	Verdicts    VerdictCounts `json:"verdicts"`
	InControl   StockResult   `json:"in_control"` // what would be held
	Shipped     StockResult   `json:"shipped"`
	Shipments   int           `json:"shipments"`
	Consignees  []string      `json:"consignees"`
	TookSeconds float64       `json:"took_seconds"`
}

// VerdictCounts counts lots by their gravest verdict.
type VerdictCounts struct {
	Missed        int `json:"missed"`
	Unknown       int `json:"unknown"`
	Indeterminate int `json:"indeterminate"`
	Met           int `json:"met"`
	None          int `json:"none"` // no reading of them is in doubt: they would be held wide
}

// StockResult is an amount of product.
type StockResult struct {
	Lots       int              `json:"lots"`
	Quantities []QuantityResult `json:"quantities"`
	Unknown    int              `json:"unknown_quantities"` // amounts that nobody knows
}

// QuantityResult is the sum of one unit.
type QuantityResult struct {
	Quantity     string `json:"quantity"`
	QuantityUnit string `json:"quantity_unit"`
}

// NewDrill puts a drill into the exchange format, with times in the plant's zone.
func NewDrill(zone *time.Location, d workflow.Drill) DrillResult {
	t, v := d.Totals, d.Totals.Verdicts
	return DrillResult{Drill: DrillNotice, Caution: Caution, Deviations: NewResult("", zone, d.Reports).Deviations,
		Totals: DrillTotals{Instruments: t.Instruments, Readings: t.Readings, Lots: t.Lots,
			Verdicts:  VerdictCounts{v[limit.Missed], v[limit.Unknown], v[limit.Indeterminate], v[limit.Met], t.NotJudged},
			InControl: stockResult(t.Held), Shipped: stockResult(t.Shipped), Shipments: t.Shipments,
			Consignees: append([]string{}, t.Consignees...), TookSeconds: t.Took.Round(time.Millisecond).Seconds()}}
}

func stockResult(s workflow.Stock) StockResult {
	out := StockResult{Lots: s.Lots, Quantities: []QuantityResult{}, Unknown: s.Unknown}
	for _, q := range s.Quantities {
		out.Quantities = append(out.Quantities, QuantityResult{q.Amount, q.Unit})
	}
	return out
}
