package workflow

import "lastgood/workflow/recall"

// recallTodo is what is to be done next in each state of a recall.
var recallTodo = map[State]string{
	RecallDeciding:        "the pack waits for the signatures of those who decide on it",
	RecallDecided:         "the regulatory liaison tells every consignee who has not been told, and records it",
	RecallDecidedNot:      "nothing, unless more is found to have left: then it is decided anew",
	RecallNotified:        "consignees answer what they have on hand, returned, destroyed or sold on",
	Retrieving:            "draw whose answer is checked, at the level that was decided",
	EffectivenessChecking: "check those who were drawn, carry out what was decided, then ask the agency to end it",
	TerminationRequested:  "record the agency's reply",
	RecallTerminated:      "nothing: it has ended",
}

// beforeRecall is the recall while nobody has drawn up a pack.
func (c *docket) beforeRecall() RecallDesk {
	k := &desk{c: c, r: recall.Recall{Deviation: int64(c.d.ID)}}
	out := RecallDesk{Ledger: k.consignments(), ToNotify: k.toNotify()}
	switch route := c.routed(); {
	case route != "":
		k.r.State = string(RecallDeciding)
		out.Todo = "lot " + route + " has left and its route is a recall review: draw up a pack, to retrieve or not, and have it signed"
	case len(c.left()) > 0:
		k.r.State = string(RecallNotNeeded)
		out.Todo = "product in doubt has left, and no rule sends it to a recall review: draw up a pack if it is to be retrieved after all"
	default:
		k.r.State = string(RecallNotNeeded)
		out.Todo = "nothing in doubt is known to have left"
	}
	out.Recall = k.r
	return out
}
