package main

import (
	"fmt"
	"net/url"

	"lastgood/api"
)

// dueCmd lists what is to be checked next.
type dueCmd struct {
	JSON bool `name:"json" help:"Print JSON."`
	remote
}

// Run lists the checks that are due, those that have waited longest first.
func (c *dueCmd) Run(g *globals) error {
	client, err := c.client()
	if err != nil {
		return err
	}
	return show(g, c.JSON, printDue, func(v any) error {
		all := v.(*api.Page[api.DueBody])
		for path := "/v1/checks/due?limit=1000"; ; {
			var one api.Page[api.DueBody]
			if err := client.get(g.ctx, path, &one); err != nil {
				return err
			}
			all.Items = append(all.Items, one.Items...)
			if one.NextCursor == nil {
				return nil
			}
			path = "/v1/checks/due?limit=1000&cursor=" + url.QueryEscape(*one.NextCursor)
		}
	})
}

func printDue(g *globals, list api.Page[api.DueBody]) error {
	p := &printer{w: g.out}
	if len(list.Items) == 0 {
		p.line("No food-safety instrument in service is to be checked at intervals.")
		return p.err
	}
	late := 0
	var rows [][]string
	for _, d := range list.Items {
		if d.Overdue {
			late++
		}
		rows = append(rows, []string{d.Instrument, dueWords(d), orWords(d.LastGoodAt, "none"), lastWords(d), fmt.Sprintf("every %d days", d.CheckEveryDays)})
	}
	p.line("%d instruments to check, %d of them overdue.\n", len(rows), late)
	p.table("instrument|due|last good check|latest check|interval", rows)
	return p.err
}

func dueWords(d api.DueBody) string {
	switch {
	case d.DueOn == nil:
		return "NOW: never found good"
	case d.Overdue:
		return fmt.Sprintf("%s, OVERDUE by %d days", *d.DueOn, d.OverdueDays)
	}
	return *d.DueOn
}

func lastWords(d api.DueBody) string {
	if d.LastCheckAt == nil {
		return "never checked"
	}
	return short(*d.LastCheckAt) + ", " + *d.LastFound
}
