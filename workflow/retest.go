package workflow

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/policy/sampling"
	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/retest"
)

// Retest is a re-test with all that became of it.
type Retest struct {
	retest.Ordered
	Lot, Label string // of the portion; an empty label: what no other names
	Samples    []retest.Sample
	Custody    []retest.Custody
	Results    []retest.Result // those that were replaced too
	Cancelled  bool
	Outcome    sampling.Outcome
}

// outcomesOf returns what the re-tests of a deviation say, by portion; one that
// was taken back says nothing.
func outcomesOf(ctx context.Context, tx *pg.Tx, id DeviationID) (map[lot.PortionID][]sampling.Outcome, error) {
	list, err := retestsOf(ctx, tx, id)
	if err != nil {
		return nil, err
	}
	out := map[lot.PortionID][]sampling.Outcome{}
	for _, t := range list {
		if !t.Cancelled {
			out[t.Portion] = append(out[t.Portion], t.Outcome)
		}
	}
	return out, nil
}

// retestsOf reads the re-tests of a deviation with what they say.
func retestsOf(ctx context.Context, tx *pg.Tx, id DeviationID) ([]Retest, error) {
	orders, err := retest.Of(ctx, tx, int64(id))
	if err != nil || len(orders) == 0 {
		return nil, err
	}
	return withStory(ctx, tx, orders)
}

// withStory reads what became of orders.
func withStory(ctx context.Context, tx *pg.Tx, orders []retest.Ordered) ([]Retest, error) {
	ids := make([]retest.ID, len(orders))
	at := map[retest.ID]int{}
	out := make([]Retest, len(orders))
	for i, o := range orders {
		ids[i], at[o.ID], out[i].Ordered = o.ID, i, o
	}
	samples, err := retest.Samples(ctx, tx, ids...)
	if err != nil {
		return nil, err
	}
	chain, err := retest.Chain(ctx, tx, ids...)
	if err != nil {
		return nil, err
	}
	results, err := retest.Results(ctx, tx, ids...)
	if err != nil {
		return nil, err
	}
	cancelled, err := retest.Cancelled(ctx, tx, ids...)
	if err != nil {
		return nil, err
	}
	for _, s := range samples {
		out[at[s.Retest]].Samples = append(out[at[s.Retest]].Samples, s)
	}
	for _, c := range chain {
		out[at[c.Retest]].Custody = append(out[at[c.Retest]].Custody, c)
	}
	for _, r := range results {
		out[at[r.Retest]].Results = append(out[at[r.Retest]].Results, r)
	}
	for i := range out {
		out[i].Cancelled = slices.Contains(cancelled, out[i].ID)
		if err := out[i].named(ctx, tx); err != nil {
			return nil, err
		}
		if out[i].Outcome, err = out[i].judge(); err != nil {
			return nil, fmt.Errorf("re-test %d: %w", out[i].ID, err)
		}
	}
	return out, nil
}

func (t *Retest) named(ctx context.Context, tx *pg.Tx) error {
	const q = `select l.code, p.label from portion p join lot l using (plant_id, lot_id) where p.plant_id = $1 and p.portion_id = $2`
	return tx.QueryRowContext(ctx, q, tx.Plant, t.Portion).Scan(&t.Lot, &t.Label)
}

// name is the portion as people call it.
func (t Retest) name() string { return portionName(lot.Portion{LotCode: t.Lot, Label: t.Label}) }

// judge lets the plan decide, and binds what it says to the order and to every
// result that counts or was voided: whoever signs on it signs for those.
func (t Retest) judge() (sampling.Outcome, error) {
	type said struct {
		Result  retest.ResultID
		Sample  string
		Value   float64
		Bound   sampling.Bound
		Unit    string
		Voided  string
		Replace *retest.ResultID
	}
	results := []sampling.Result{}
	bound := []said{}
	for _, r := range t.Results {
		if r.Stands() {
			results = append(results, r.Judged())
			bound = append(bound, said{r.ID, r.Sample, r.Value, r.Bound, r.Unit, r.VoidedFor, r.Replaces})
		}
	}
	out, err := sampling.Judge(t.Order(), results)
	if err != nil {
		return out, err
	}
	text, err := json.Marshal(struct {
		Terms   retest.Terms
		Results []said
	}{t.Terms, bound}, json.Deterministic(true))
	if err != nil {
		return out, err
	}
	digest := sha256.Sum256(text)
	out.Reason += fmt.Sprintf(" (Re-test %d for %s; its results: SHA-256 %s.)", t.ID, t.Analyte, hex.EncodeToString(digest[:]))
	return out, nil
}

// pending says whether it was ordered, and has not decided.
func (t Retest) pending() bool {
	return !t.Cancelled && t.Outcome.Decision != sampling.Accept && t.Outcome.Decision != sampling.Reject
}

// testsPending counts the portions of which a re-test has not decided yet.
func (c *docket) testsPending() (n int) {
	for _, p := range c.portions {
		if len(c.tests[p.ID]) > 0 && !c.testsDecided(p) {
			n++
		}
	}
	return n
}

// testsDecided says whether every re-test of a portion, if there is any, has decided.
func (c *docket) testsDecided(p lot.Portion) bool {
	for _, o := range c.tests[p.ID] {
		if o.Decision != sampling.Accept && o.Decision != sampling.Reject {
			return false
		}
	}
	return len(c.tests[p.ID]) > 0
}

func init() {
	ways = append(ways, testsInTheWay)
}

func testsInTheWay(ctx context.Context, tx *pg.Tx, c *docket) (out []Reason, _ error) {
	list, err := retestsOf(ctx, tx, c.d.ID)
	for _, t := range list {
		if t.pending() {
			out = append(out, Reason{"lab_result_pending", fmt.Sprintf("the re-test of %s for %s is %s, and has not decided", t.name(), t.Analyte, t.State), fmt.Sprintf("/v1/retests/%d", t.ID)})
		}
	}
	return out, err
}

// Retests returns the re-tests of a deviation.
func (s *Service) Retests(ctx context.Context, sc pg.Scope, id DeviationID) ([]Retest, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]Retest, error) {
		if _, err := getDeviation(ctx, tx, id, ""); err != nil {
			return nil, err
		}
		return retestsOf(ctx, tx, id)
	})
}

// Retest returns one re-test. fault.NotFound: there is none.
func (s *Service) Retest(ctx context.Context, sc pg.Scope, id retest.ID) (Retest, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (Retest, error) { return getRetest(ctx, tx, id) })
}

func getRetest(ctx context.Context, tx *pg.Tx, id retest.ID) (Retest, error) {
	o, err := retest.Get(ctx, tx, id)
	if err != nil {
		return Retest{}, err
	}
	list, err := withStory(ctx, tx, []retest.Ordered{o})
	if err != nil {
		return Retest{}, err
	}
	return list[0], nil
}

// ofRetest runs a command on one re-test under the lock of its deviation, lets
// follow what follows from it, and returns the re-test as it is then.
func (s *Service) ofRetest(ctx context.Context, sc pg.Scope, what string, id retest.ID, request any, f func(*pg.Tx, *Deviation, Retest) error) (Retest, error) {
	wrapped := map[string]any{"retest": id, "request": request}
	return do(ctx, s, sc, what, wrapped, statusCreated, func(tx *pg.Tx) (t Retest, err error) {
		if err := tx.OwnPlant(ctx); err != nil { // a result may place holds again, which the ship gate sees before or after
			return t, err
		}
		o, err := retest.Get(ctx, tx, id)
		if err != nil {
			return t, err
		}
		d, err := lockDeviation(ctx, tx, DeviationID(o.Deviation))
		if err != nil {
			return t, err
		}
		if t, err = getRetest(ctx, tx, id); err != nil {
			return t, err
		}
		if err := f(tx, &d, t); err != nil {
			return t, err
		}
		if err := followTests(ctx, tx, &d, "re-test "+fmt.Sprint(id)+": "+what); err != nil {
			return t, err
		}
		return getRetest(ctx, tx, id)
	})
}

// inTheFuture refuses a time that has not come, or that nobody said.
func inTheFuture(at, now time.Time, field string) error {
	if at.IsZero() {
		return fault.New(fault.Invalid, "time-missing", "say when").In(field)
	}
	if at.After(now.Add(10 * time.Minute)) {
		return fault.New(fault.Invalid, "in-the-future", "it has not happened yet").In(field)
	}
	return nil
}

// said refuses what has to be said and is not.
func said(text, field, what string) error {
	if strings.TrimSpace(text) == "" {
		return fault.New(fault.Invalid, "text-missing", "say %s", what).In(field)
	}
	return nil
}
