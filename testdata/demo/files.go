package demo

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"sort"
	"strings"
)

//go:embed policy.yaml
var policy string

const site = `name: Fennick Vale Kitchens
time_zone: America/Chicago
altitude_m: 690
`

var productRows = [][]string{
	{"roast-pieces", "roast pieces, chilled", "true", "true", "general", "12"},
	{"pie-filling", "pie filling", "true", "true", "general", "10"},
	{"school-trays", "trays for school kitchens", "true", "true", "vulnerable", "7"},
	{"deli-trays", "trays for deli counters", "true", "true", "general", "7"},
	{"custard-base", "custard base", "true", "true", "general", "14"},
	{"bean-cans", "beans in brine, canned", "true", "true", "general", "720"},
}

// file is one of the small files of the case folder.
type file struct {
	name string
	text string     // for a file that is no table
	head string     // the columns of a table
	rows [][]string // and its rows
}

func (f file) bytes() []byte {
	if f.head == "" {
		return []byte(f.text)
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.Write(strings.Split(f.head, ",")) // a bytes.Buffer takes all
	_ = w.WriteAll(f.rows)
	return b.Bytes()
}

func (p *plant) files() []file {
	var lots, stays [][]string
	for _, b := range p.lots {
		lots = append(lots, b.row())
		stays = append(stays, b.stays...)
	}
	sort.SliceStable(p.checks, func(i, j int) bool { return p.checks[i][1] < p.checks[j][1] })
	sort.SliceStable(p.shipments, func(i, j int) bool { return p.shipments[i][4] < p.shipments[j][4] })
	return []file{
		{name: "site.yaml", text: site},
		{name: "policy.yaml", text: policy},
		{name: "instruments.csv", head: "instrument,description,kind,role,use,unit,resolution,tolerance,range_low,range_high,adjustable,check_every_days,in_service_from", rows: instrumentRows},
		{name: "certificates.csv", head: "instrument,certificate,issued_at,valid_until,at,correction,expanded_uncertainty,unit", rows: certificateRows},
		{name: "events.csv", head: "instrument,at,event,note", rows: p.events},
		{name: "mountings.csv", head: "instrument,location,from,to", rows: mountingRows()},
		{name: "checks.csv", head: "instrument,performed_at,point,nominal,reference,reference_reading,reference_uncertainty,pressure_kpa,found,left,unit,performed_by,verified_by,outcome", rows: p.checks},
		{name: "products.csv", head: "product,name,ready_to_eat,supports_growth,consumers,shelf_life_days", rows: productRows},
		{name: "lots.csv", head: "lot,product,made_at,made_from,made_until,quantity,quantity_unit", rows: lots},
		{name: "stays.csv", head: "lot,location,from,to", rows: stays},
		{name: "transformations.csv", head: "event,at,input_lot,input_quantity,output_lot,output_quantity,quantity_unit", rows: p.transformations},
		{name: "shipments.csv", head: "shipment,lot,quantity,quantity_unit,shipped_at,consignee", rows: p.shipments},
	}
}
