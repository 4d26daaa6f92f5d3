package exchange

import (
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
)

// Problem is one thing wrong with what came in.
type Problem struct {
	File   string `json:"file"`            // as it is called in the folder
	Line   int    `json:"line,omitzero"`   // 0: the file as a whole
	Column string `json:"column,omitzero"` // empty: the row as a whole
	Rule   string `json:"rule"`            // stable: "unknown-unit"
	Detail string `json:"detail"`          // one sentence for the person
}

// Error returns the problem on one line, as compilers print theirs.
func (p *Problem) Error() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		b.WriteString(":" + strconv.Itoa(p.Line))
	}
	b.WriteString(": ")
	if p.Column != "" {
		b.WriteString(p.Column + ": ")
	}
	b.WriteString(p.Detail + " [" + p.Rule + "]")
	return b.String()
}

// Row is a value and where it was read, so that later faults can still name the
// row.
type Row[T any] struct {
	File  string
	Line  int
	Value T
}

// CheckRow is a check, at the line of its first point, with the line of each of
// its points.
type CheckRow struct {
	Row[instrument.Check]
	PointLines []int // as long as Value.Points
}

// Site is the plant. A nil AltitudeM: unknown.
type Site struct {
	Name      string
	TimeZone  string // IANA
	Location  *time.Location
	AltitudeM *float64
}

// Folder is what a case folder says. The policy is only carried; it is parsed
// by those who know its words.
type Folder struct {
	Dir        string
	Site       Site
	PolicyFile string // its name in the folder
	PolicyText []byte

	Instruments     []Row[instrument.Instrument]
	Certificates    []Row[instrument.Certificate]
	ClockOffsets    []Row[instrument.ClockOffset]
	Events          []Row[instrument.Event]
	Mountings       []Row[instrument.Mounting]
	Checks          []CheckRow
	Products        []Row[lot.Product]
	Lots            []Row[lot.Lot]
	Places          []Row[lot.Place]
	Stays           []Row[lot.Stay]
	Cleanouts       []Row[lot.Cleanout]
	Transformations []Row[lot.Transformation]
	Shipments       []Row[lot.Shipment]

	Warnings []string // files left alone

	readings source
	progress atomic.Int64
}

// ReadingsFile returns the name of the readings file.
func (f *Folder) ReadingsFile() string { return f.readings.name }

// ReadingsSize returns the bytes that the readings file takes on disk.
func (f *Folder) ReadingsSize() int64 { return f.readings.size }

// Progress returns how many of those bytes the present pass of Readings has
// read. It may be called while the pass runs.
func (f *Folder) Progress() int64 { return f.progress.Load() }
