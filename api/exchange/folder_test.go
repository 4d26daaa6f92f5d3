package exchange

import (
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/reading"
)

// plant is a small case folder with nothing wrong in it. The names and numbers
// are made up.
func plant() map[string]string {
	return map[string]string{
		"site.yaml":   "name: Example plant\ntime_zone: Europe/Dublin\naltitude_m: 120.5\n",
		"policy.yaml": "limits: []\n",
		"instruments.csv": `instrument,description,kind,role,use,unit,resolution,tolerance,range_low,range_high,adjustable,check_every_days,in_service_from
T-114,cook probe,thermocouple,working,food_safety,F,0.1,2,-40,300,true,7,2025-01-07T08:00:00Z
R-1,,rtd,reference,,C,,0.05,,,,,
`,
		"certificates.csv": `instrument,certificate,issued_at,valid_until,at,correction,expanded_uncertainty,unit
R-1,K-77,2025-06-01T00:00:00Z,2026-06-01T00:00:00Z,100,-0.02,0.03,C
R-1,K-77,2025-06-01T00:00:00Z,2026-06-01T00:00:00Z,0,0.01,0.02,C
`,
		"events.csv":    "instrument,at,event,note\nT-114,2026-03-02T07:05:00+00:00,removed_from_use,\"on the bench,\nred tag\"\n",
		"mountings.csv": "instrument,location,from,to\nT-114,oven 2,2025-01-07T08:00:00Z,\n",
		"checks.csv": `instrument,performed_at,point,nominal,reference,reference_reading,reference_uncertainty,pressure_kpa,found,left,unit,performed_by,verified_by,outcome,confirmed
T-114,2026-02-23T07:00:00Z,ice,,,,,,32.1,,F,A. Sample,B. Sample,,
T-114,2026-03-02T07:00:00Z,comparison,165,R-1,164.9,0.1,,167.9,165.0,F,A. Sample,B. Sample,,
T-115,2026-03-02T07:30:00Z,,,,,,,,,,A. Sample,,unusable,
T-114,2026-03-02T07:00:00Z,boiling,,,,,99.2,213.8,,F,A. Sample,B. Sample,,true
`,
		"products.csv":        "product,name,ready_to_eat,supports_growth,consumers,shelf_life_days\nP-1,Sliced example,true,false,vulnerable,21\nP-2,,,,,\n",
		"lots.csv":            "lot,product,made_at,made_from,made_until,quantity,quantity_unit\nL-0412,P-1,2026-03-01T10:00:00Z,,,500.50,kg\nL-0413,,,2026-03-01T10:00:00Z,2026-03-01T11:00:00Z,,\n",
		"stays.csv":           "lot,location,from,to\nL-0412,chill 1,2026-03-01T12:00:00Z,2026-03-01T12:00:00Z\n",
		"transformations.csv": "event,at,input_lot,input_quantity,output_lot,output_quantity,quantity_unit\nrework 9,2026-03-01T13:00:00Z,L-0412,20,L-0413,,kg\n",
		"shipments.csv":       "shipment,lot,quantity,quantity_unit,shipped_at,consignee\nS-1,L-0412,100,kg,2026-03-01T18:00:00Z,\n",
		"readings.csv": `instrument,taken_at,value,unit,lot,limit,location,taken_by,source_id
T-114,2026-03-01T10:00:00.25+01:00,165.50,FAH,L-0412,cook-core,,C. Sample,h-1
T-114,2026-03-01T10:05:00Z,-0.5,C,,,oven 2,,
`,
	}
}

// with returns the plant with files changed; empty text takes one away.
func with(changes map[string]string) map[string]string {
	p := plant()
	maps.Copy(p, changes)
	maps.DeleteFunc(p, func(_, text string) bool { return text == "" })
	return p
}

func writeFolder(t testing.TB, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// readAll reads a folder and its readings.
func readAll(dir string) (*Folder, []Row[reading.Reading], []Problem) {
	f, bad := Read(dir)
	var list []Row[reading.Reading]
	for row, p := range f.Readings() {
		if p != nil {
			bad = append(bad, *p)
			continue
		}
		list = append(list, row)
	}
	return f, list, bad
}

func utc(s string) time.Time {
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		panic(err)
	}
	return t.UTC()
}

// sameZone compares time zones by name.
var sameZone = cmp.Comparer(func(a, b *time.Location) bool { return a.String() == b.String() })

func ptr[T any](v T) *T { return &v }

const (
	celsius    = unit.CelsiusScale
	fahrenheit = unit.FahrenheitScale
)

// TestPlant goes through every column of every file.
func TestPlant(t *testing.T) {
	t.Parallel()
	dir := writeFolder(t, plant())
	f, readings, bad := readAll(dir)
	if len(bad) > 0 || len(f.Warnings) > 0 {
		t.Fatalf("problems %v, warnings %v", bad, f.Warnings)
	}
	dublin, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	want := &Folder{
		Dir:        dir,
		Site:       Site{Name: "Example plant", TimeZone: "Europe/Dublin", Location: dublin, AltitudeM: ptr(120.5)},
		PolicyFile: "policy.yaml", PolicyText: []byte("limits: []\n"),
		Instruments: []Row[instrument.Instrument]{
			{"instruments.csv", 2, instrument.Instrument{Code: "T-114", Description: "cook probe", Kind: "thermocouple",
				Role: instrument.Working, Use: instrument.FoodSafety, Unit: fahrenheit, Resolution: ptr(unit.Micro(100_000)),
				Tolerance: 2_000_000, RangeLow: ptr(unit.Micro(-40_000_000)), RangeHigh: ptr(unit.Micro(300_000_000)),
				Adjustable: true, CheckEveryDays: ptr(7), InServiceFrom: ptr(utc("2025-01-07T08:00:00Z"))}},
			{"instruments.csv", 3, instrument.Instrument{Code: "R-1", Kind: "rtd", Role: instrument.Reference,
				Unit: celsius, Tolerance: 50_000}},
		},
		Certificates: []Row[instrument.Certificate]{{"certificates.csv", 2, instrument.Certificate{Instrument: "R-1", Number: "K-77",
			IssuedAt: utc("2025-06-01T00:00:00Z"), ValidUntil: utc("2026-06-01T00:00:00Z"), Unit: celsius,
			Points: []instrument.CertificatePoint{{At: 0, Correction: 10_000, ExpandedUncertainty: 20_000},
				{At: 100_000_000, Correction: -20_000, ExpandedUncertainty: 30_000}}}}},
		Events: []Row[instrument.Event]{{"events.csv", 2, instrument.Event{Instrument: "T-114", At: utc("2026-03-02T07:05:00Z"),
			Kind: instrument.RemovedFromUse, Note: "on the bench,\nred tag"}}},
		Mountings: []Row[instrument.Mounting]{{"mountings.csv", 2, instrument.Mounting{Instrument: "T-114", Location: "oven 2",
			From: utc("2025-01-07T08:00:00Z")}}},
		Checks: plantChecks(),
		Products: []Row[lot.Product]{
			{"products.csv", 2, lot.Product{Code: "P-1", Name: "Sliced example", ReadyToEat: ptr(true), SupportsGrowth: ptr(false),
				Consumers: lot.Vulnerable, ShelfLifeDays: ptr(21)}},
			{"products.csv", 3, lot.Product{Code: "P-2"}},
		},
		Lots: []Row[lot.Lot]{
			{"lots.csv", 2, lot.Lot{Code: "L-0412", Product: "P-1", MadeAt: ptr(utc("2026-03-01T10:00:00Z")),
				Quantity: &unit.Quantity{Amount: "500.50", Unit: "kg"}}},
			{"lots.csv", 3, lot.Lot{Code: "L-0413", MadeFrom: ptr(utc("2026-03-01T10:00:00Z")), MadeUntil: ptr(utc("2026-03-01T11:00:00Z"))}},
		},
		Stays: []Row[lot.Stay]{{"stays.csv", 2, lot.Stay{Lot: "L-0412", Location: "chill 1",
			From: utc("2026-03-01T12:00:00Z"), To: ptr(utc("2026-03-01T12:00:00Z"))}}},
		Transformations: []Row[lot.Transformation]{{"transformations.csv", 2, lot.Transformation{Event: "rework 9",
			At: utc("2026-03-01T13:00:00Z"), Input: "L-0412", Output: "L-0413", InputQuantity: &unit.Quantity{Amount: "20", Unit: "kg"}}}},
		Shipments: []Row[lot.Shipment]{{"shipments.csv", 2, lot.Shipment{Shipment: "S-1", Lot: "L-0412",
			Quantity: &unit.Quantity{Amount: "100", Unit: "kg"}, ShippedAt: utc("2026-03-01T18:00:00Z")}}},
	}
	if d := cmp.Diff(want, f, cmpopts.IgnoreUnexported(Folder{}), sameZone); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(plantReadings(), readings); d != "" {
		t.Error(d)
	}
}

func plantChecks() []CheckRow {
	second := utc("2026-03-02T07:00:00Z")
	return []CheckRow{
		{Row[instrument.Check]{"checks.csv", 2, instrument.Check{Instrument: "T-114", PerformedAt: utc("2026-02-23T07:00:00Z"),
			PerformedBy: "A. Sample", VerifiedBy: "B. Sample",
			Points: []instrument.CheckPoint{{Kind: instrument.Ice, Unit: fahrenheit, Found: ptr(unit.Micro(32_100_000))}}}}, []int{2}},
		{Row[instrument.Check]{"checks.csv", 3, instrument.Check{Instrument: "T-114", PerformedAt: second,
			PerformedBy: "A. Sample", VerifiedBy: "B. Sample", Confirmed: true,
			Points: []instrument.CheckPoint{
				{Kind: instrument.Comparison, Unit: fahrenheit, Nominal: ptr(unit.Micro(165_000_000)), Reference: "R-1",
					ReferenceReading: ptr(unit.Micro(164_900_000)), ReferenceUncertainty: ptr(unit.Micro(100_000)),
					Found: ptr(unit.Micro(167_900_000)), Left: ptr(unit.Micro(165_000_000))},
				{Kind: instrument.Boiling, Unit: fahrenheit, PressureKPa: ptr(99.2), Found: ptr(unit.Micro(213_800_000))},
			}}}, []int{3, 5}},
		{Row[instrument.Check]{"checks.csv", 4, instrument.Check{Instrument: "T-115", PerformedAt: utc("2026-03-02T07:30:00Z"),
			PerformedBy: "A. Sample", Unusable: true}}, nil},
	}
}

func plantReadings() []Row[reading.Reading] {
	return []Row[reading.Reading]{
		{"readings.csv", 2, reading.Reading{Instrument: "T-114", TakenAt: utc("2026-03-01T09:00:00.25Z"), Value: 165.5, Decimals: 2,
			Unit: fahrenheit, Lot: "L-0412", Limit: "cook-core", TakenBy: "C. Sample", SourceID: "h-1"}},
		{"readings.csv", 3, reading.Reading{Instrument: "T-114", TakenAt: utc("2026-03-01T10:05:00Z"), Value: -0.5, Decimals: 1,
			Unit: celsius, Location: "oven 2"}},
	}
}

// TestForms: the same rows mean the same in every form of file. Only the names
// of the files and the lines differ.
func TestForms(t *testing.T) {
	t.Parallel()
	same := cmp.Options{sameZone, cmpopts.IgnoreUnexported(Folder{}), cmpopts.IgnoreFields(Folder{}, "Dir"),
		cmpopts.IgnoreFields(CheckRow{}, "PointLines"),
		cmp.FilterPath(func(p cmp.Path) bool { n := p.Last().String(); return n == ".File" || n == ".Line" }, cmp.Ignore())}
	want, wantReadings, _ := readAll(writeFolder(t, plant()))
	for _, ending := range endings {
		t.Run(ending, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			for name, text := range plant() {
				if stem, ok := strings.CutSuffix(name, ".csv"); ok {
					writeForm(t, dir, stem+ending, text)
				} else {
					writeForm(t, dir, name, text)
				}
			}
			got, readings, bad := readAll(dir)
			if len(bad) > 0 {
				t.Fatal(bad)
			}
			if d := cmp.Diff(want, got, same); d != "" {
				t.Error(d)
			}
			if d := cmp.Diff(wantReadings, readings, same); d != "" {
				t.Error(d)
			}
			if readings[0].File != "readings"+ending {
				t.Errorf("a row of %s says that it is of %s", ending, readings[0].File)
			}
			info, err := os.Stat(filepath.Join(dir, "readings"+ending))
			if err != nil {
				t.Fatal(err)
			}
			if got.ReadingsSize() != info.Size() || got.Progress() != info.Size() {
				t.Errorf("size %d, progress %d; the file has %d bytes", got.ReadingsSize(), got.Progress(), info.Size())
			}
		})
	}
}
