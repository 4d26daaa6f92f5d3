// Package instrument owns the thermometers: what they are, the certificates of
// those that others are compared with, what happened to them, where they hung,
// and every accuracy check.
//
// The types here are what comes in, by file or over the API, with the plant's
// own names for things. Quantities are exact, as they were written.
package instrument

import (
	"time"

	"lastgood/policy/unit"
)

// ID is the database's number of an instrument, within its plant.
type ID int32

// Kind is the sort of thermometer.
type Kind string

// Kinds are the sorts that the exchange format knows.
var Kinds = []Kind{"bimetal", "liquid_in_glass", "thermistor", "thermocouple", "rtd", "infrared", "logger", "recorder"}

// Role says whether product is measured with an instrument or other
// instruments are. Any instrument that a check names as its reference is
// treated as one, whatever its role says.
type Role string

// The roles.
const (
	Working   Role = "working"
	Reference Role = "reference"
)

// Use says what hangs on an instrument.
type Use string

// The uses.
const (
	FoodSafety Use = "food_safety"
	Quality    Use = "quality"
)

// Instrument is a thermometer as the plant describes it. Nil means unknown.
type Instrument struct {
	Code           string // the inventory number
	Description    string
	Kind           Kind
	Role           Role       // Working if empty
	Use            Use        // FoodSafety if empty
	Unit           unit.Scale // of the display
	Resolution     *unit.Micro
	Tolerance      unit.Micro // largest allowed error, degrees of Unit
	RangeLow       *unit.Micro
	RangeHigh      *unit.Micro
	Adjustable     bool
	CheckEveryDays *int
	InServiceFrom  *time.Time
}

// Certificate is a calibration certificate of a reference.
type Certificate struct {
	Instrument string
	Number     string
	IssuedAt   time.Time
	ValidUntil time.Time
	Unit       unit.Scale
	Fit        Fit
	Points     []CertificatePoint // ascending by At
}

// Fit says what a certificate states between its points.
type Fit string

// The fits. Empty is PointByPoint.
const (
	PointByPoint Fit = "points" // linear from one point to the next
	StraightLine Fit = "line"   // one line for all of them
)

// CertificatePoint is one line of a certificate, in the certificate's unit.
type CertificatePoint struct {
	At                  unit.Micro // indication
	Correction          unit.Micro // added to the indication; a difference
	ExpandedUncertainty unit.Micro // k = 2; a difference
}

// EventKind is something that happened to an instrument.
type EventKind string

// The kinds of event.
const (
	RemovedFromUse EventKind = "removed_from_use"
	ReturnedToUse  EventKind = "returned_to_use"
	Adjusted       EventKind = "adjusted"
	Repaired       EventKind = "repaired"
	Dropped        EventKind = "dropped"
	BatteryChanged EventKind = "battery_changed"
	Moved          EventKind = "moved"
	Reranged       EventKind = "reranged"
	Intermittent   EventKind = "intermittent"
	OtherEvent     EventKind = "other"
)

// EventKinds are all of them.
var EventKinds = []EventKind{RemovedFromUse, ReturnedToUse, Adjusted, Repaired, Dropped,
	BatteryChanged, Moved, Reranged, Intermittent, OtherEvent}

// Event is one thing that happened to an instrument.
type Event struct {
	Instrument string
	At         time.Time
	Kind       EventKind
	Note       string
}

// Mounting says where an instrument hung. A nil To: it still hangs there.
type Mounting struct {
	Instrument string
	Location   string
	From       time.Time
	To         *time.Time
}

// PointKind is what the instrument was compared with at a check point.
type PointKind string

// The kinds of check point.
const (
	Ice        PointKind = "ice"
	Boiling    PointKind = "boiling"
	Comparison PointKind = "comparison"
)

// Check is one accuracy check as it was done. Its verdict is computed, never
// imported.
type Check struct {
	Instrument  string
	PerformedAt time.Time
	PerformedBy string
	VerifiedBy  string
	// Unusable says that there is no as-found value: the instrument was lost or
	// broken.
	Unusable bool
	// Confirmed says that somebody looked again at an error of more than ten
	// tolerances and stands by it.
	Confirmed bool
	Points    []CheckPoint // empty when Unusable
}

// CheckPoint is one point of a check. All temperatures are in Unit; nil means
// not recorded.
type CheckPoint struct {
	Kind                 PointKind
	Unit                 unit.Scale
	Nominal              *unit.Micro
	Reference            string      // the reference standard's inventory number
	ReferenceReading     *unit.Micro // what the reference showed
	ReferenceUncertainty *unit.Micro // expanded, k = 2; a difference
	PressureKPa          *float64    // station pressure, for a boiling point
	Found                *unit.Micro // as found
	Left                 *unit.Micro // as left; nil: not adjusted
	// Repeats is how often Found was read, if more than once; it is then their
	// mean, and Spread their experimental standard deviation, a difference. What
	// was not recorded is left out of the check's digest, as it was before anyone
	// could record it.
	Repeats *int        `json:",omitzero"`
	Spread  *unit.Micro `json:",omitzero"`
}
