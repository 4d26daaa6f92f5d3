package metrology

import "fmt"

// notes is what must be said loudly about a doubt, each in one sentence.
func (d *dossier) notes(doubt *Doubt) []string {
	var out []string
	add := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	after, _, lastGood := doubt.Window()
	if lastGood < 0 && after < doubt.Until {
		add("no last good check%s: every reading until the failed check is in doubt", d.since())
	}
	if d.sides[d.Failed].found == nil {
		add("%s: the error is unknown over the whole window", d.noAsFound())
	} else if d.sides[d.Failed].judged.Found == Inconclusive {
		add("the check is inconclusive and is treated as failed: %s", d.sides[d.Failed].judged.Reason)
	}
	if why := d.disturbed(after, doubt.FailedAt); why != "" {
		add("%s: the error is unknown from the last good check to the next", why)
	}
	for _, c := range d.Checks {
		if c.Untrusted != "" && c.At > after && c.At <= doubt.FailedAt {
			add("the check of %s does not count: %s", day(c.At), c.Untrusted)
		}
	}
	for _, e := range d.Events {
		if e.Kind == ReturnedToUse && e.At >= doubt.FailedAt && e.At < doubt.Until {
			add("it came back into use on %s without a check that it clearly passed", day(e.At))
		}
	}
	if doubt.Until == open {
		add("the window is open: it was neither taken out of use nor found good since")
	}
	return out
}
