package workflow

import (
	"fmt"
	"slices"
	"testing"

	"lastgood/workflow/actor"
)

func TestTrackDiagrams(t *testing.T) {
	t.Parallel()
	drawn(t, portionTrack)
	drawn(t, holdTrack)
	drawn(t, retestTrack)
	drawn(t, instrumentTrack)
	drawn(t, lineTrack)
	drawn(t, planTrack)
	drawn(t, notificationTrack)
	drawn(t, recallTrack)
}

// The schema takes the steps of the written procedure, and no other.
func TestSchemaHoldsThePortionsSteps(t *testing.T) {
	t.Parallel()
	svc, dsn := openService(t)
	s := siteOn(t, svc)
	s.makes("A")
	db := superuser(t, dsn)
	for _, before := range portionTrack.States {
		for _, after := range portionTrack.States {
			if before == after {
				continue
			}
			tx, err := db.Begin()
			s.must(err)
			_, err = tx.Exec(`insert into portion (plant_id, lot_id, label, state) select plant_id, lot_id, 'tried', $1 from lot where code = 'A'`, before)
			s.must(err)
			_, err = tx.Exec(`update portion set state = $1 where label = 'tried'`, after)
			s.must(tx.Rollback())
			step := slices.ContainsFunc(portionTrack.Steps, func(st Step[PortionFacts]) bool { return slices.Contains(st.From, before) && st.To == after })
			if (err == nil) != step {
				t.Errorf("from %s to %s: the procedure says %v, the schema %v", before, after, step, err)
			}
		}
	}
}

// Nothing leaves hold before everyone has signed and all of it was reported, and
// nothing is decided by the engine.
func TestNoPortionGetsPastAGuard(t *testing.T) {
	t.Parallel()
	for i := range 16 {
		f := PortionFacts{Held: i&1 > 0, Shipped: i&2 > 0, Signed: i&4 > 0, Done: i&8 > 0}
		for _, e := range portionTrack.events() {
			for _, s := range portionTrack.States {
				for _, by := range anyone {
					to, err := portionTrack.Next(t.Context(), s, e, by, f)
					if err != nil {
						continue
					}
					name := fmt.Sprintf("%s from %s with %+v by %s", to, s, f, by)
					if s == Decided && to != OnHold && to != UnderTest && to != Free && !(f.Signed && f.Done) {
						t.Errorf("%s: left without signatures or a report", name)
					}
					if to == Free && f.Held {
						t.Errorf("%s: free under a hold", name)
					}
					if to == Decided && s != UnderTest && by != actor.Person {
						t.Errorf("%s: decided by no person", name)
					}
				}
			}
		}
	}
}
