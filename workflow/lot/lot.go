// Package lot owns the product: lots and their portions, where they stayed,
// what was made of them and to whom they went.
//
// The types here are what comes in, by file or over the API, with the plant's
// own names for things.
package lot

import (
	"time"

	"lastgood/policy/unit"
)

// ID is the database's number of a lot, within its plant.
type ID int64

// Consumers says who eats it.
type Consumers string

// The groups of consumers. Empty means unknown.
const (
	General    Consumers = "general"
	Vulnerable Consumers = "vulnerable"
)

// Product is what a lot is a lot of. Nil means unknown.
type Product struct {
	Code           string
	Name           string
	ReadyToEat     *bool
	SupportsGrowth *bool
	Consumers      Consumers
	ShelfLifeDays  *int
}

// Lot is product with one traceability lot code. Empty or nil means unknown.
type Lot struct {
	Code      string
	Product   string
	MadeAt    *time.Time
	MadeFrom  *time.Time
	MadeUntil *time.Time
	Quantity  *unit.Quantity
}

// Stay says that a lot was in a location. A nil To: it is still there.
type Stay struct {
	Lot      string
	Location string
	From     time.Time
	To       *time.Time
}

// Transformation is one input–output pair of an event in which lots became
// other lots: batching, rework, repacking.
type Transformation struct {
	Event  string
	At     time.Time
	Input  string // lot
	Output string // lot
	// Quantities; nil means unknown.
	InputQuantity  *unit.Quantity
	OutputQuantity *unit.Quantity
}

// Shipment is some of a lot, gone to a consignee.
type Shipment struct {
	Shipment  string
	Lot       string
	Quantity  *unit.Quantity
	ShippedAt time.Time
	Consignee string
}
