package api

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/exchange"
	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/key"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// InstrumentBody is a thermometer as it stands.
type InstrumentBody struct {
	InstrumentFact
	State   string `json:"state" enum:"in_use,suspended" doc:"suspended: a deviation took it out of trust"`
	Version int    `json:"version"`
}

func instrumentBody(r instrument.Registered) InstrumentBody {
	return InstrumentBody{instrumentFact(r.Instrument), r.State, r.Version}
}

// registerFacts registers what is known of instruments and product.
func (s *server) registerFacts(api huma.API) {
	registerFact[instrument.Instrument, InstrumentFact](s, api, fact[instrument.Instrument]{"instruments", "Register thermometers", exchange.Instruments, s.svc.AddInstruments, instrumentsWrite})
	registerFact[instrument.Certificate, CertificateFact](s, api, fact[instrument.Certificate]{"certificates", "Record certificates of references", exchange.Certificates, s.svc.AddCertificates, instrumentsWrite})
	registerFact[instrument.Mounting, MountingFact](s, api, fact[instrument.Mounting]{"mountings", "Record where instruments hung", exchange.Mountings, s.svc.AddMountings, key.FactsWrite})
	registerFact[instrument.ClockOffset, ClockOffsetFact](s, api, fact[instrument.ClockOffset]{"clock_offsets", "Record by how much recorders' clocks were wrong: their readings are judged at the true time", exchange.ClockOffsets, s.svc.AddClockOffsets, key.FactsWrite})
	registerFact[instrument.Event, EventFact](s, api, fact[instrument.Event]{"events", "Record what happened to instruments; an adjustment without as-found opens a deviation", exchange.Events, s.addEvents, key.FactsWrite})
	registerFact[lot.Product, ProductFact](s, api, fact[lot.Product]{"products", "Register products, or bring them up to date", exchange.Products, s.svc.AddProducts, key.FactsWrite})
	registerFact[lot.Lot, LotFact](s, api, fact[lot.Lot]{"lots", "Register lots", exchange.Lots, s.svc.AddLots, key.FactsWrite})
	registerFact[lot.Place, PlaceFact](s, api, fact[lot.Place]{"locations", "Say what locations are, or bring it up to date", exchange.Places, s.svc.AddPlaces, key.FactsWrite})
	registerFact[lot.Cleanout, CleanoutFact](s, api, fact[lot.Cleanout]{"cleanouts", "Record clean-outs of lines and vessels; a hold is not lifted by one", exchange.Cleanouts, s.svc.AddCleanouts, key.FactsWrite})
	registerFact[lot.Stay, StayFact](s, api, fact[lot.Stay]{"stays", "Record where lots were", exchange.Stays, s.svc.AddStays, key.FactsWrite})
	registerFact[lot.Transformation, TransformationFact](s, api, fact[lot.Transformation]{"transformations", "Record what was made of what; a row that would close a cycle is put into quarantine and its lots are held", exchange.Transformations, s.svc.AddTransformations, key.FactsWrite})
	registerFact[lot.Shipment, ShipmentFact](s, api, fact[lot.Shipment]{"shipments", "Record what has gone, and to whom", exchange.Shipments, s.svc.AddShipments, key.FactsWrite})

	registerList(s, api, "instruments", "Thermometers", s.listInstruments)
	registerList(s, api, "certificates", "Certificates of references", numbered(s.svc.Certificates, certificateFact))
	registerList(s, api, "mountings", "Where instruments hung", numbered(s.svc.Mountings, mountingFact))
	registerList(s, api, "clock_offsets", "By how much recorders' clocks were wrong", numbered(s.svc.ClockOffsets, clockOffsetFact))
	registerList(s, api, "events", "What happened to instruments", numbered(s.svc.Events, eventFact))
	registerList(s, api, "products", "Products", s.listProducts)
	registerList(s, api, "lots", "Lots", s.listLots)
	registerList(s, api, "locations", "Locations", s.listPlaces)
	registerList(s, api, "cleanouts", "Clean-outs of lines and vessels", s.listCleanouts)
	registerList(s, api, "stays", "Where lots were", s.listStays)
	registerList(s, api, "transformations", "What was made of what", s.listTransformations)
	registerList(s, api, "shipments", "What has gone, and to whom", s.listShipments)

	s.registerGenealogy(api)

	read := needs(key.FactsRead)
	huma.Register(api, huma.Operation{OperationID: "get-instrument", Method: http.MethodGet, Path: "/v1/instruments/{instrument}",
		Summary: "A thermometer", Security: read}, handle(s, s.getInstrument))
	huma.Register(api, huma.Operation{OperationID: "get-lot", Method: http.MethodGet, Path: "/v1/lots/{lot}",
		Summary: "A lot, where it is and where it went", Security: read}, handle(s, s.getLot))
}

// addEvents records events as happenings, since one may open a deviation.
func (s *server) addEvents(ctx context.Context, sc pg.Scope, list []instrument.Event) (workflow.Counts, error) {
	a, err := s.svc.RecordCounted(ctx, sc, workflow.Happenings{Events: list})
	var bad *workflow.HappeningFaults
	if errors.As(err, &bad) {
		return workflow.Counts{}, bad.Events
	}
	return a.Events, err
}

func (s *server) listInstruments(ctx context.Context, sc pg.Scope, in AllOf, limit int) ([]placed[InstrumentBody], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	list, err := s.svc.Instruments(ctx, sc, instrument.ID(after), limit)
	if err != nil {
		return nil, err
	}
	var out []placed[InstrumentBody]
	for _, r := range list {
		out = append(out, placed[InstrumentBody]{number(int64(r.ID)), instrumentBody(r)})
	}
	return out, nil
}

func number(n int64) string { return strconv.FormatInt(n, 10) }

// numbered lists what is recorded of instruments in order of number.
func numbered[T, W any](list func(context.Context, pg.Scope, string, int64, int) ([]instrument.Numbered[T], error),
	body func(T) W) func(context.Context, pg.Scope, OfInstrument, int) ([]placed[W], error) {
	return func(ctx context.Context, sc pg.Scope, in OfInstrument, limit int) ([]placed[W], error) {
		after, err := in.afterNumber()
		if err != nil {
			return nil, err
		}
		rows, err := list(ctx, sc, in.of(), after, limit)
		if err != nil {
			return nil, err
		}
		var out []placed[W]
		for _, r := range rows {
			out = append(out, placed[W]{number(r.ID), body(r.Value)})
		}
		return out, nil
	}
}

func (s *server) listProducts(ctx context.Context, sc pg.Scope, in AllOf, limit int) ([]placed[ProductFact], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	return numberedLots(productFact)(s.svc.Products(ctx, sc, after, limit))
}

func (s *server) listLots(ctx context.Context, sc pg.Scope, in AllOf, limit int) ([]placed[LotBody], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	return numberedLots(func(r lot.Registered) LotBody { return LotBody{lotFact(r.Lot), r.Registered} })(s.svc.Lots(ctx, sc, after, limit))
}

func (s *server) listStays(ctx context.Context, sc pg.Scope, in OfLot, limit int) ([]placed[StayFact], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	return numberedLots(stayFact)(s.svc.Stays(ctx, sc, in.of(), after, limit))
}

func numberedLots[T, W any](body func(T) W) func([]lot.Numbered[T], error) ([]placed[W], error) {
	return func(rows []lot.Numbered[T], err error) ([]placed[W], error) {
		var out []placed[W]
		for _, r := range rows {
			out = append(out, placed[W]{number(r.ID), body(r.Value)})
		}
		return out, err
	}
}

func (s *server) listTransformations(ctx context.Context, sc pg.Scope, in OfLot, limit int) ([]placed[TransformationFact], error) {
	after, err := in.parts(3)
	if err != nil {
		return nil, err
	}
	list, err := s.svc.Transformations(ctx, sc, in.of(), [3]string(after), limit)
	var out []placed[TransformationFact]
	for _, t := range list {
		out = append(out, placed[TransformationFact]{joined(t.Input, t.Output, t.Event), transformationFact(t)})
	}
	return out, err
}

func (s *server) listShipments(ctx context.Context, sc pg.Scope, in OfLot, limit int) ([]placed[ShipmentFact], error) {
	after, err := in.parts(2)
	if err != nil {
		return nil, err
	}
	list, err := s.svc.Shipments(ctx, sc, in.of(), [2]string(after), limit)
	var out []placed[ShipmentFact]
	for _, sh := range list {
		out = append(out, placed[ShipmentFact]{joined(sh.Lot, sh.Shipment), shipmentFact(sh)})
	}
	return out, err
}

// between parts of a cursor stands what no name of a thing may hold.
const between = "\n"

func joined(parts ...string) string { return strings.Join(parts, between) }

// parts returns the n parts of the cursor; empty ones on the first page.
func (p Paging) parts(n int) ([]string, error) {
	s, err := p.after()
	if err != nil || s == "" {
		return make([]string, n), err
	}
	list := strings.Split(s, between)
	if len(list) != n {
		return nil, fault.New(fault.Invalid, "bad-cursor", "this is no cursor of ours").In("query.cursor")
	}
	return list, nil
}

// InstrumentPath names an instrument.
type InstrumentPath struct {
	Instrument string `path:"instrument" maxLength:"100"`
}

type instrumentAnswer struct {
	ETag string `header:"ETag"`
	Body InstrumentBody
}

func (s *server) getInstrument(ctx context.Context, in *InstrumentPath) (*instrumentAnswer, error) {
	r, err := s.svc.Instrument(ctx, scope(ctx, ""), in.Instrument)
	if err != nil {
		return nil, err
	}
	return &instrumentAnswer{etag(r.Version), instrumentBody(r)}, nil
}
