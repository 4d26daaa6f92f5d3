package sampling

import (
	"fmt"
	"strings"
)

// reason says in one sentence why the decision is what it is, and in further
// ones what whoever signs has to know.
func (out *Outcome) reason(p Plan) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s.", out.Decision, out.why(p))
	if out.Allows != nil {
		fmt.Fprintf(&b, " At %.4g %% confidence up to %.3g %% of the units may still be above m.",
			100*out.Confidence, 100**out.Allows)
	}
	if out.VoidedAbove > 0 {
		fmt.Fprintf(&b, " Of %d voided results %d were above m.", out.Voided, out.VoidedAbove)
	}
	if out.LimitedTo != "" {
		fmt.Fprintf(&b, " The samples cannot speak for the lot: limited to %s.", out.LimitedTo)
	}
	return b.String()
}

func (out *Outcome) why(p Plan) string {
	switch {
	case out.AboveReject > 0:
		return fmt.Sprintf("%d of %d results above M, and none may be", out.AboveReject, out.Valid)
	case out.Decision == Reject:
		return fmt.Sprintf("%d of %d results above m, and %d may be", out.AboveLimit, out.Valid, p.C)
	case out.Missing > 0:
		return fmt.Sprintf("%d valid results of %d, %d to come", out.Valid, p.N, out.Missing)
	case out.Decision == Undecided:
		return fmt.Sprintf("%d results are bounds that leave open whether they are above a limit", out.Unclear)
	}
	return fmt.Sprintf("%d of %d results above m, and %d may be", out.AboveLimit, out.Valid, p.C)
}
