package exchange

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
)

const (
	siteFile   = "site.yaml"
	policyFile = "policy.yaml"
)

// tables are the data files in the order in which problems are told.
var tables = []table{instrumentTable, certificateTable, clockOffsetTable, eventTable, mountingTable, checkTable,
	productTable, lotTable, placeTable, stayTable, cleanoutTable, transformationTable, shipmentTable, readingTable}

// needed are the data files that a folder must have.
var needed = map[string]bool{instrumentTable.name: true, checkTable.name: true, readingTable.name: true}

// endings are how the name of a data file may end.
var endings = []string{".csv", ".csv.gz", ".csv.zst", ".ndjson", ".ndjson.gz", ".ndjson.zst"}

// tableOf returns the table whose data file is called name, "" if it is none.
func tableOf(name string) string {
	stem, ending, _ := strings.Cut(name, ".")
	for _, e := range endings {
		if "."+ending != e {
			continue
		}
		for _, t := range tables {
			if t.name == stem {
				return stem
			}
		}
	}
	return ""
}

// listing is what lies in a folder.
type listing struct {
	sources  map[string]source // by table; a yaml file under its own name
	warnings []string
	bad      []Problem
}

// find looks through the folder without opening a file.
func find(dir string) listing {
	l := listing{sources: map[string]source{}}
	entries, err := os.ReadDir(dir)
	if err != nil {
		f := unreadable(err)
		l.bad = append(l.bad, Problem{File: dir, Rule: f.rule, Detail: "the folder: " + f.detail})
		return l
	}
	names := map[string][]string{}
	for _, e := range entries {
		key := tableOf(e.Name())
		if e.Name() == siteFile || e.Name() == policyFile {
			key = e.Name()
		}
		if key == "" {
			l.warnings = append(l.warnings, fmt.Sprintf("%s is not a file of a case folder and was left alone", e.Name()))
			continue
		}
		names[key] = append(names[key], e.Name())
	}
	for _, key := range append([]string{siteFile, policyFile}, tableNames()...) {
		l.add(dir, key, names[key])
	}
	return l
}

func tableNames() []string {
	list := make([]string, len(tables))
	for i, t := range tables {
		list[i] = t.name
	}
	return list
}

// add notes the one file of a kind, or what is wrong with there being none, two
// or an empty one.
func (l *listing) add(dir, key string, names []string) {
	fail := func(file string, f *flaw) {
		l.bad = append(l.bad, Problem{File: file, Rule: f.rule, Detail: f.detail})
	}
	switch {
	case len(names) == 0 && needed[key]:
		fail(key+".csv", flawf("missing-file", "a case folder needs a file %s.csv (or .ndjson; .gz and .zst are welcome)", key))
	case len(names) == 0 && strings.HasSuffix(key, ".yaml"):
		fail(key, flawf("missing-file", "a case folder needs a file %s", key))
	case len(names) == 0:
	case len(names) > 1:
		fail(names[1], flawf("two-files", "there are %s: which one counts?", strings.Join(names, " and ")))
	default:
		s := source{dir: dir, name: names[0]}
		if f := s.stat(); f != nil {
			fail(names[0], f)
			return
		}
		l.sources[key] = s
	}
}

// in tells the files in which zone the site's clocks are.
func (l *listing) in(zone *time.Location) {
	for key, s := range l.sources {
		s.zone = zone
		l.sources[key] = s
	}
}

// stat notes the size of the file and refuses what cannot be read as one.
func (s *source) stat() *flaw {
	info, err := os.Stat(filepath.Join(s.dir, s.name))
	if err != nil {
		return unreadable(err)
	}
	s.size = info.Size()
	switch {
	case !info.Mode().IsRegular():
		return flawf("unreadable", "this is not a file")
	case s.size == 0:
		return emptyFile()
	}
	return nil
}
