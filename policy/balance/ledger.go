package balance

import (
	"slices"
	"time"

	"lastgood/policy/unit"
)

// Ledger is what is written down of the quantities of one lot.
type Ledger struct {
	Lot         string
	Unit        string // that the lot is balanced in: kg, case, each
	Conversions []Conversion
	Entries     []Entry
	InDoubt     *unit.Quantity // nil: the whole lot
	Portions    []Portion      // of the quantity in doubt
}

// Conversion is a recorded one: one case is 12.5 kg net.
type Conversion struct {
	Unit   string
	Is     unit.Quantity
	Source string // where it is written: the label, the specification
}

// Kind is where an entry stands in the first sum.
type Kind string

// What the lot came from.
const (
	Made      Kind = "made"
	Received  Kind = "received"
	BroughtIn Kind = "rework_in" // by rework of another lot
)

// Where it is, as counted before any disposition was carried out.
const (
	InControl   Kind = "in_control" // where the plant can stop it
	Shipped     Kind = "shipped"
	ReworkedOut Kind = "rework_out" // into another lot
	Sampled     Kind = "samples"
	Lost        Kind = "process_loss"
)

// Entry is one quantity of the first sum. Entries of a kind add up.
type Entry struct {
	Kind     Kind
	Ref      string // the order, the shipment
	Quantity unit.Quantity
	Source   string  // whose figure this is: planner, scale, warehouse
	Also     []Count // what other sources say of the same
}

// Count is what one more source says.
type Count struct {
	Source   string
	Quantity unit.Quantity
}

// Mark tells a portion apart on the floor. Whatever is given counts; with
// nothing given, the portion is a quantity of what no other portion names.
type Mark struct {
	Pallet string // its SSCC, eighteen digits, or the plant's own number
	Tag    string // of the hold
	// From and Until bound the time of production; Until is no longer in it.
	From, Until time.Time
}

// Portion is a stated quantity of the lot, the unit of disposition.
type Portion struct {
	ID        string
	Mark      Mark
	Quantity  unit.Quantity
	Source    string
	Also      []Count
	Decisions []Decision
}

// Fate is what becomes of product.
type Fate string

// The fates, in the order in which a statement lists them.
const (
	Released      Fate = "released"
	Reworked      Fate = "reworked" // into other product
	Reprocessed   Fate = "reprocessed"
	Diverted      Fate = "diverted"
	Destroyed     Fate = "destroyed"
	Retrieved     Fate = "retrieved"
	Unrecoverable Fate = "accounted_unrecoverable" // eaten, lost, wasted at retail: with the reason
	Samples       Fate = "samples"
	ProcessLoss   Fate = "process_loss"
)

var fates = []Fate{Released, Reworked, Reprocessed, Diverted, Destroyed, Retrieved, Unrecoverable, Samples, ProcessLoss}

// Fates returns all that may become of product.
func Fates() []Fate { return slices.Clone(fates) }

// Decision is what is to become of a part of a portion, or of all of it.
type Decision struct {
	Fate     Fate
	Quantity unit.Quantity  // as decided
	Done     *unit.Quantity // as carried out; nil: not yet
	Reason   string         // of what is unrecoverable
	Into     *Receiving     // of what is reworked
	Then     []Decision     // of what is retrieved: its second disposition
}

// Receiving is the lot that took reworked product in.
type Receiving struct {
	Lot     string
	Input   *unit.Quantity // as that lot's own record has it; nil: it has none
	Because Because
}

// Because says why reworked product leaves no doubt untraced.
type Because string

// The reasons. Dilution is one that is written down and never counts: product
// that may be adulterated does not become fit by being spread.
const (
	InDoubtToo Because = "in_doubt_too" // the receiving lot is in the affected set
	KillStep   Because = "kill_step"    // a signed argument: a validated step follows that controls the hazard
	LimitMet   Because = "limit_met"    // the portion met its limit after correction
	Dilution   Because = "dilution"
)
