package exchange

// Read reads the case folder, all but its readings, and returns everything that
// is wrong with it. The folder is never nil; with a problem in it, it must not
// be used but for further problems.
func Read(dir string) (*Folder, []Problem) {
	l := find(dir)
	f := &Folder{Dir: dir, PolicyFile: policyFile, Warnings: l.warnings}
	bad := l.bad
	add := func(p []Problem) { bad = append(bad, p...) }

	var p []Problem
	f.Site, p = readSite(l.sources[siteFile])
	add(p)
	l.in(f.Site.Location)
	f.readings = l.sources[readingTable.name]
	add(f.readPolicy(l.sources[policyFile]))
	f.Instruments, p = readInstruments(l.sources[instrumentTable.name])
	add(p)
	f.Certificates, p = readCertificates(l.sources[certificateTable.name])
	add(p)
	f.ClockOffsets, p = readTable(l.sources[clockOffsetTable.name], clockOffsetTable, decodeClockOffset)
	add(p)
	f.Events, p = readTable(l.sources[eventTable.name], eventTable, decodeEvent)
	add(p)
	f.Mountings, p = readTable(l.sources[mountingTable.name], mountingTable, decodeMounting)
	add(p)
	f.Checks, p = readChecks(l.sources[checkTable.name])
	add(p)
	add(f.readLots(l))
	return f, bad
}

func (f *Folder) readLots(l listing) (bad []Problem) {
	var p [7][]Problem
	f.Products, p[0] = readTable(l.sources[productTable.name], productTable, decodeProduct)
	f.Lots, p[1] = readTable(l.sources[lotTable.name], lotTable, decodeLot)
	f.Places, p[2] = readTable(l.sources[placeTable.name], placeTable, decodePlace)
	f.Stays, p[3] = readTable(l.sources[stayTable.name], stayTable, decodeStay)
	f.Cleanouts, p[4] = readTable(l.sources[cleanoutTable.name], cleanoutTable, decodeCleanout)
	f.Transformations, p[5] = readTable(l.sources[transformationTable.name], transformationTable, decodeTransformation)
	f.Shipments, p[6] = readTable(l.sources[shipmentTable.name], shipmentTable, decodeShipment)
	for _, list := range p {
		bad = append(bad, list...)
	}
	return bad
}

func (f *Folder) readPolicy(s source) []Problem {
	if s.name == "" {
		return nil
	}
	text, wrong := s.readYAML()
	if wrong != nil {
		return []Problem{{File: s.name, Rule: wrong.rule, Detail: wrong.detail}}
	}
	f.PolicyText = text
	return nil
}
