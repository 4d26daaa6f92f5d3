package api

import (
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
)

// The bodies of facts, with the names of the exchange format. What is unknown is
// left out.

// Degrees is a temperature, or a difference of temperatures, in the unit that
// stands beside it, with the digits that were written.
type Degrees unit.Micro

// MarshalJSON writes the number without loss.
func (d Degrees) MarshalJSON() ([]byte, error) { return []byte(unit.Micro(d).String()), nil }

// UnmarshalJSON reads it back, as a number or as its digits.
func (d *Degrees) UnmarshalJSON(b []byte) error {
	digits := string(b)
	if s := strings.TrimSuffix(strings.TrimPrefix(digits, `"`), `"`); len(s) == len(digits)-2 {
		digits = s
	}
	m, err := unit.ParseMicro(digits)
	*d = Degrees(m)
	return err
}

// Schema documents what is taken: a number, or its digits as a string.
func (Degrees) Schema(huma.Registry) *huma.Schema { return numberOrDigits("at most six decimals") }

// Amount is a quantity of product, as digits.
type Amount string

// Schema documents what is taken: a number, or its digits as a string.
func (Amount) Schema(huma.Registry) *huma.Schema { return numberOrDigits("at most six decimals") }

func numberOrDigits(doc string) *huma.Schema {
	return &huma.Schema{Description: doc, OneOf: []*huma.Schema{{Type: huma.TypeNumber}, {Type: huma.TypeString}}}
}

// Moment is a time with its offset.
type Moment string

// Schema documents RFC 3339.
func (Moment) Schema(huma.Registry) *huma.Schema {
	return &huma.Schema{Type: huma.TypeString, Format: "date-time", Description: "RFC 3339 with an offset"}
}

// InstrumentFact is a thermometer.
type InstrumentFact struct {
	Instrument     string   `json:"instrument" maxLength:"100" doc:"Inventory number"`
	Description    string   `json:"description,omitzero"`
	Kind           string   `json:"kind,omitzero" enum:"bimetal,liquid_in_glass,thermistor,thermocouple,rtd,infrared,logger,recorder"`
	Role           string   `json:"role,omitzero" enum:"working,reference"`
	Use            string   `json:"use,omitzero" enum:"food_safety,quality"`
	Unit           string   `json:"unit" enum:"C,F,K,CEL,FAH,KEL"`
	Resolution     *Degrees `json:"resolution,omitzero"`
	Tolerance      Degrees  `json:"tolerance" doc:"Largest allowed error, a difference in unit"`
	RangeLow       *Degrees `json:"range_low,omitzero"`
	RangeHigh      *Degrees `json:"range_high,omitzero"`
	Adjustable     *bool    `json:"adjustable,omitzero"`
	CheckEveryDays *int     `json:"check_every_days,omitzero" minimum:"1"`
	InServiceFrom  *Moment  `json:"in_service_from,omitzero"`
}

func instrumentFact(in instrument.Instrument) InstrumentFact {
	return InstrumentFact{Instrument: in.Code, Description: in.Description, Kind: string(in.Kind), Role: string(in.Role), Use: string(in.Use),
		Unit: in.Unit.String(), Resolution: exact(in.Resolution), Tolerance: Degrees(in.Tolerance), RangeLow: exact(in.RangeLow),
		RangeHigh: exact(in.RangeHigh), Adjustable: &in.Adjustable, CheckEveryDays: in.CheckEveryDays, InServiceFrom: momentOr(in.InServiceFrom)}
}

func exact(m *unit.Micro) *Degrees { return (*Degrees)(m) }

func moment(t time.Time) Moment { return Moment(clock(t)) }

func momentOr(t *time.Time) *Moment { return (*Moment)(clockOr(t)) }

// CertificateFact is a calibration certificate of a reference.
type CertificateFact struct {
	Instrument  string                 `json:"instrument" maxLength:"100"`
	Certificate string                 `json:"certificate" maxLength:"100"`
	IssuedAt    Moment                 `json:"issued_at"`
	ValidUntil  Moment                 `json:"valid_until"`
	Unit        string                 `json:"unit" enum:"C,F,K,CEL,FAH,KEL"`
	Fit         string                 `json:"fit,omitzero" enum:"points,line" doc:"What it states between its points: linear from one to the next (points, the default), or one line for all"`
	Points      []CertificatePointFact `json:"points" minItems:"1"`
}

// CertificatePointFact is one line of a certificate.
type CertificatePointFact struct {
	At                  Degrees `json:"at"`
	Correction          Degrees `json:"correction" doc:"Added to the indication"`
	ExpandedUncertainty Degrees `json:"expanded_uncertainty" doc:"k = 2"`
}

func certificateFact(c instrument.Certificate) CertificateFact {
	f := CertificateFact{Instrument: c.Instrument, Certificate: c.Number, IssuedAt: moment(c.IssuedAt), ValidUntil: moment(c.ValidUntil),
		Unit: c.Unit.String(), Fit: string(c.Fit), Points: []CertificatePointFact{}}
	for _, p := range c.Points {
		f.Points = append(f.Points, CertificatePointFact{Degrees(p.At), Degrees(p.Correction), Degrees(p.ExpandedUncertainty)})
	}
	return f
}

// EventFact is something that happened to an instrument.
type EventFact struct {
	Instrument string `json:"instrument" maxLength:"100"`
	At         Moment `json:"at"`
	Event      string `json:"event" enum:"removed_from_use,returned_to_use,adjusted,repaired,dropped,battery_changed,moved,reranged,intermittent,other"`
	Note       string `json:"note,omitzero"`
}

func eventFact(e instrument.Event) EventFact {
	return EventFact{e.Instrument, moment(e.At), string(e.Kind), e.Note}
}

// MountingFact says where an instrument hung.
type MountingFact struct {
	Instrument string  `json:"instrument" maxLength:"100"`
	Location   string  `json:"location" maxLength:"100"`
	From       Moment  `json:"from"`
	To         *Moment `json:"to,omitzero" doc:"Left out: it still hangs there"`
}

func mountingFact(m instrument.Mounting) MountingFact {
	return MountingFact{m.Instrument, m.Location, moment(m.From), momentOr(m.To)}
}

// ClockOffsetFact says by how much a recorder's clock was wrong.
type ClockOffsetFact struct {
	Instrument string   `json:"instrument" maxLength:"100"`
	From       Moment   `json:"from" doc:"By the recorder's own time; included"`
	To         *Moment  `json:"to,omitzero" doc:"By the recorder's own time; not included. Left out: its clock is wrong still"`
	OffsetS    *Seconds `json:"offset_s,omitzero" doc:"Recorder minus true. Left out: unknown, within the bound"`
	BoundS     *Seconds `json:"bound_s,omitzero" doc:"How far off it may have been besides"`
	Note       string   `json:"note,omitzero"`
}

// Seconds is a time with the digits that were written.
type Seconds int64 // µs

// MarshalJSON writes the number without loss.
func (d Seconds) MarshalJSON() ([]byte, error) {
	return strconv.AppendFloat(nil, float64(d)/1e6, 'f', -1, 64), nil
}

// Schema documents what is taken: a number, or its digits as a string.
func (Seconds) Schema(huma.Registry) *huma.Schema { return numberOrDigits("s, at most six decimals") }

func clockOffsetFact(o instrument.ClockOffset) ClockOffsetFact {
	f := ClockOffsetFact{Instrument: o.Instrument, From: moment(o.From), To: momentOr(o.To), OffsetS: (*Seconds)(o.Ahead), Note: o.Note}
	if o.Bound != 0 {
		f.BoundS = (*Seconds)(&o.Bound)
	}
	return f
}

// ProductFact is what a lot is a lot of.
type ProductFact struct {
	Product        string `json:"product" maxLength:"100"`
	Name           string `json:"name,omitzero"`
	ReadyToEat     *bool  `json:"ready_to_eat,omitzero"`
	SupportsGrowth *bool  `json:"supports_growth,omitzero"`
	Consumers      string `json:"consumers,omitzero" enum:"general,vulnerable"`
	ShelfLifeDays  *int   `json:"shelf_life_days,omitzero" minimum:"0"`
}

func productFact(p lot.Product) ProductFact {
	return ProductFact{p.Code, p.Name, p.ReadyToEat, p.SupportsGrowth, string(p.Consumers), p.ShelfLifeDays}
}

// LotFact is product with one traceability lot code.
type LotFact struct {
	Lot          string  `json:"lot" maxLength:"100"`
	Product      string  `json:"product,omitzero" maxLength:"100"`
	MadeAt       *Moment `json:"made_at,omitzero"`
	MadeFrom     *Moment `json:"made_from,omitzero"`
	MadeUntil    *Moment `json:"made_until,omitzero"`
	Quantity     *Amount `json:"quantity,omitzero"`
	QuantityUnit *string `json:"quantity_unit,omitzero"`
}

func lotFact(l lot.Lot) LotFact {
	f := LotFact{Lot: l.Code, Product: l.Product, MadeAt: momentOr(l.MadeAt), MadeFrom: momentOr(l.MadeFrom), MadeUntil: momentOr(l.MadeUntil)}
	f.Quantity, f.QuantityUnit = amount(l.Quantity)
	return f
}

func amount(q *unit.Quantity) (*Amount, *string) {
	if q == nil {
		return nil, nil
	}
	return (*Amount)(&q.Amount), &q.Unit
}

// StayFact says that a lot was in a location.
type StayFact struct {
	Lot      string  `json:"lot" maxLength:"100"`
	Location string  `json:"location" maxLength:"100"`
	From     Moment  `json:"from"`
	To       *Moment `json:"to,omitzero" doc:"Left out: it is still there"`
}

func stayFact(st lot.Stay) StayFact {
	return StayFact{st.Lot, st.Location, moment(st.From), momentOr(st.To)}
}

// TransformationFact is one input and output of an event in which lots became
// other lots.
type TransformationFact struct {
	Event          string  `json:"event" maxLength:"100"`
	At             Moment  `json:"at"`
	InputLot       string  `json:"input_lot" maxLength:"100"`
	InputQuantity  *Amount `json:"input_quantity,omitzero"`
	OutputLot      string  `json:"output_lot" maxLength:"100"`
	OutputQuantity *Amount `json:"output_quantity,omitzero"`
	QuantityUnit   *string `json:"quantity_unit,omitzero"`
}

func transformationFact(t lot.Transformation) TransformationFact {
	f := TransformationFact{Event: t.Event, At: moment(t.At), InputLot: t.Input, OutputLot: t.Output}
	f.OutputQuantity, f.QuantityUnit = amount(t.OutputQuantity)
	if t.InputQuantity != nil {
		f.InputQuantity, f.QuantityUnit = amount(t.InputQuantity)
	}
	return f
}

// ShipmentFact is some of a lot, gone to a consignee.
type ShipmentFact struct {
	Shipment     string  `json:"shipment" maxLength:"100"`
	Lot          string  `json:"lot" maxLength:"100"`
	Quantity     *Amount `json:"quantity,omitzero"`
	QuantityUnit *string `json:"quantity_unit,omitzero"`
	ShippedAt    Moment  `json:"shipped_at"`
	Consignee    string  `json:"consignee,omitzero" maxLength:"100"`
}

func shipmentFact(sh lot.Shipment) ShipmentFact {
	f := ShipmentFact{Shipment: sh.Shipment, Lot: sh.Lot, ShippedAt: moment(sh.ShippedAt), Consignee: sh.Consignee}
	f.Quantity, f.QuantityUnit = amount(sh.Quantity)
	return f
}

// PlaceFact says what a location is.
type PlaceFact struct {
	Location string `json:"location" maxLength:"100"`
	Vessel   *bool  `json:"vessel,omitzero" doc:"true: product in it mixes with what was in it, until it is cleaned out"`
	Note     string `json:"note,omitzero"`
}

func placeFact(p lot.Place) PlaceFact { return PlaceFact{p.Code, p.Vessel, p.Note} }

// CleanoutFact is a documented clean-out of a line or a vessel.
type CleanoutFact struct {
	Location  string  `json:"location" maxLength:"100"`
	At        Moment  `json:"at" doc:"When it was over"`
	From      *Moment `json:"from,omitzero" doc:"When it began; left out: not said"`
	Note      string  `json:"note,omitzero"`
	Withdrawn bool    `json:"withdrawn,omitzero" doc:"It was recorded and did not take place, or not then. Send it as it was, under its own time"`
}

func cleanoutFact(c lot.Cleanout) CleanoutFact {
	return CleanoutFact{c.Location, moment(c.At), momentOr(c.From), c.Note, c.Withdrawn}
}
