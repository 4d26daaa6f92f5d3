package api

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"lastgood/api/sheet"
)

// printing is how a table stands on paper, where the one of its file has more
// columns, or others, than people read.
type printing struct {
	keep  []string // what is printed, in order; nil: whatever says something
	heads int      // how many of them name a row
	units []unitOf
}

// unitOf is a column with a unit, which is printed behind the values of others.
// Of measure and diffs the file has degrees Celsius and kelvins; they are printed
// in the degrees of the limit.
type unitOf struct {
	column         string
	values, scaled []string
}

var quantities = unitOf{"quantity_unit", []string{"quantity", "input_quantity", "output_quantity", "counted_quantity", "on_hand", "returned", "destroyed", "sold_on",
	"retrieved", "unrecoverable"}, nil}

var printings = map[string]printing{
	"summary":  {keep: []string{"field", "value"}},
	"readings": {[]string{"taken_at", "lot", "limit", "value", "error_found", "corrected", "worst"}, 1, []unitOf{{"unit", []string{"value"}, nil}, {"limit_unit", []string{"corrected", "worst"}, []string{"error_found"}}}},
	"assessments": {[]string{"lot", "limit", "limit_text", "verdict", "missed_as_recorded", "measure", "required", "recorded", "corrected", "worst", "headroom", "worst_error",
		"probability_missed", "readings", "corroborated_by", "kill_step", "quality_note", "level_reason", "route", "route_reason", "signers", "reasons"}, 2,
		[]unitOf{{"measure_unit", []string{"required", "recorded", "corrected", "worst"}, nil}, {"limit_unit", nil, []string{"headroom", "worst_error"}}}},
	"checks": {[]string{"performed_at", "point", "true_temperature", "found", "as_left", "reference_u", "found_verdict", "left_verdict", "unusable", "basis", "performed_by", "verified_by"}, 2,
		[]unitOf{{"unit", []string{"true_temperature", "found", "as_left"}, nil}}},
	"clock":       {nil, 1, []unitOf{{"", []string{"ahead_s", "bound_s"}, nil}}},
	"results":     {nil, 2, []unitOf{{"unit", []string{"value"}, nil}}},
	"quarantined": {[]string{"taken_at", "value", "lot", "limit_name", "rule", "reason"}, 1, []unitOf{{"unit", []string{"value"}, nil}}},
	"signatures":  {[]string{"signed_at", "printed_name", "title", "role", "meaning", "record", "version", "record_sha256", "acts_for", "qualification", "note"}, 2, nil},
	"trail":       {[]string{"recorded_at", "late", "done_by", "action", "subject", "reason", "leaf"}, 1, nil},
	"changes":     {[]string{"recorded_at", "done_by", "action", "subject", "before", "after", "reason"}, 4, nil},
	"holds":       {nil, 3, nil}, "dispositions": {nil, 3, nil}, "executions": {nil, 3, nil}, "retests": {nil, 2, nil},
	"recall_answers": {nil, 3, nil}, "recall_ledger": {nil, 3, nil}, "recall_pack": {nil, 1, nil},
}

// headings are the trade's words for columns whose names do not say it.
var headings = map[string]string{"taken_at": "read at", "error_found": "error", "worst": "at worst", "limit_text": "limit says", "own_verdict": "by itself",
	"missed_as_recorded": "missed as recorded", "probability_missed": "probability of a miss", "kill_step": "later step that cleared it", "level_reason": "level, because",
	"signers": "to be signed by", "true_temperature": "reference read", "found": "found", "as_left": "left", "reference_u": "uncertainty of the reference [K]",
	"found_verdict": "as found", "left_verdict": "as left", "ahead_s": "ahead", "bound_s": "known within", "printed_name": "name", "record_sha256": "digest of the record",
	"input_lot": "from lot", "output_lot": "into lot", "input_quantity": "took", "output_quantity": "made", "because_of": "in doubt because of", "limit_name": "limit",
	"tested_at": "tested", "ended_because": "ended because", "leaf": "place in the log", "done_by": "by", "late": "late entry", "counted_quantity": "counted",
	"clock_from": "clock runs from", "who": "whom", "wording": "says", "next_days": "next in days", "sold_on": "sold on", "unrecoverable": "not to be recovered",
	"shown_from": "shown from", "shown_to": "shown to", "sha256": "digest", "text_sha256": "digest of the text", "passed": "passed", "drawn_list": "drawn", "consignee_list": "drawn from",
	"reading_at": "reading of", "missing": "missing", "field": "what", "step": "step"}

func heading(column string) string {
	if h := headings[column]; h != "" {
		return h
	}
	return strings.TrimSpace(strings.ReplaceAll(strings.TrimSuffix(strings.TrimSuffix(column, "_utc"), "_at"), "_", " "))
}

// printed returns the columns and the cells that are printed of rows of a table,
// each row of which has a cell for each column.
func printed(table string, columns []string, rows [][]sheet.Cell) ([]string, [][]string) {
	how := printings[table]
	units := append([]unitOf{quantities}, how.units...)
	keep := how.keep
	if keep == nil {
		for _, c := range columns {
			if !strings.HasSuffix(c, "_utc") && !slices.ContainsFunc(units, func(u unitOf) bool { return u.column == c }) {
				keep = append(keep, c)
			}
		}
	}
	out := make([][]string, len(rows))
	for i, row := range rows {
		out[i] = printedRow(columns, row, keep, units)
	}
	names := make([]string, len(keep))
	for i, c := range keep {
		names[i] = heading(c)
	}
	return names, out
}

func printedRow(columns []string, row []sheet.Cell, keep []string, units []unitOf) []string {
	get := func(name string) sheet.Cell {
		if i := slices.Index(columns, name); i >= 0 {
			return row[i]
		}
		return nil
	}
	out := make([]string, len(keep))
	for i, name := range keep {
		out[i] = cellText(get(name))
		for _, u := range units {
			behind := slices.Contains(u.values, name)
			if out[i] == "" || !behind && !slices.Contains(u.scaled, name) {
				continue
			}
			in := cellText(get(u.column))
			if u.column == "" {
				in = "s"
			}
			out[i] = withUnit(get(name), in, cellText(get("limit_unit")), !behind, cellText(get("measure_unit")))
		}
		if word.MatchString(out[i]) {
			out[i] = strings.ReplaceAll(out[i], "_", " ")
		}
	}
	return out
}

// withUnit writes a value with its unit. A measure in °C and a difference in
// kelvins are written in the degrees of the limit; a difference of what is no
// temperature is left as it is.
func withUnit(c sheet.Cell, in, limit string, difference bool, measure string) string {
	v, number := c.(float64)
	if number && limit == "F" && (measure == "" || measure == "C" || difference) {
		switch {
		case difference:
			v *= 9. / 5
		case in == "C":
			v, in = v*9/5+32, "F"
		}
		c = v
	}
	if in == "C" || in == "F" {
		in = "°" + in
	}
	return strings.TrimSpace(cellText(c) + " " + in)
}

var (
	word   = regexp.MustCompile(`^[a-z]+(_[a-z]+)+$`) // of a list of words
	digest = regexp.MustCompile(`\b[0-9a-f]{64}\b`)   // the files have it whole
	inText = regexp.MustCompile(`\d{4}-\d\d-\d\dT[0-9:.]+(Z|[+-]\d\d:\d\d)`)
)

// plain rewrites what a file needs and a reader does not: digests are cut to
// their first twelve digits, and times have a space in place of the T.
func plain(s string, zone *time.Location) string {
	s = digest.ReplaceAllStringFunc(s, func(d string) string { return d[:12] + "…" })
	return inText.ReplaceAllStringFunc(s, func(m string) string {
		t, err := time.Parse(time.RFC3339Nano, m)
		if err != nil {
			return m
		}
		return t.In(zone).Format("2006-01-02 15:04:05 -07:00")
	})
}

func cellText(c sheet.Cell) string {
	switch v := c.(type) {
	case nil:
		return ""
	case bool:
		if v {
			return "yes"
		}
		return "no"
	case float64:
		if a := math.Abs(v); a >= 0.001 || a == 0 {
			return strconv.FormatFloat(math.Round(v*1000)/1000, 'f', -1, 64)
		}
		return strconv.FormatFloat(v, 'g', 3, 64)
	case string:
		return v
	}
	return fmt.Sprint(c)
}
