package workflow

import (
	"time"

	"lastgood/policy/sampling"
	"lastgood/workflow/correct"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/retest"
)

// fillCorrections lets something stand of re-tests and corrective actions, as the
// commands write it.
func fillCorrections(s *site) {
	s.Helper()
	var about struct {
		Deviation  int64         `db:"deviation_id"`
		Check      int64         `db:"check_id"`
		Instrument instrument.ID `db:"instrument_id"`
	}
	s.must(s.db.InTx(s.ctx, s.sc, func(tx *pg.Tx) error {
		const q = `select deviation_id, check_id, instrument_id from deviation where plant_id = $1 and check_id is not null order by deviation_id limit 1`
		if err := tx.GetContext(s.ctx, &about, q, tx.Plant); err != nil {
			return err
		}
		papers, err := keepPapers(s.ctx, tx, paper("a report"))
		if err != nil {
			return err
		}
		at := tx.Now.Add(-time.Hour)
		w, err := correct.Write(s.ctx, tx, correct.Written{Deviation: about.Deviation, Part: correct.Prevention, Text: "x", Papers: papers})
		if err != nil {
			return err
		}
		if _, err := correct.AddEffect(s.ctx, tx, correct.Effect{Part: w.ID, Effective: true, Text: "x", LookedAt: at}); err != nil {
			return err
		}
		if _, err := correct.AddLine(s.ctx, tx, correct.LineEvent{Deviation: about.Deviation, Event: "stop", At: at, Note: "x"}); err != nil {
			return err
		}
		if _, err := correct.AddReanalysis(s.ctx, tx, correct.Reanalysis{Deviation: about.Deviation, Outcome: "x"}); err != nil {
			return err
		}
		if _, err := correct.AskReturn(s.ctx, tx, correct.Return{Instrument: about.Instrument, Deviation: about.Deviation, Check: about.Check, Reason: "x"}); err != nil {
			return err
		}
		if err := correct.AddOutcome(s.ctx, tx, about.Instrument, correct.Outcome{Outcome: "retired", Reason: "x"}, "retired"); err != nil {
			return err
		}
		return fillRetest(s, tx, about.Deviation)
	}))
}

func fillRetest(s *site, tx *pg.Tx, deviation int64) error {
	o := retest.Ordered{Deviation: deviation, State: string(TestOrdered), Terms: listeria("A").Terms}
	o.Plan = sampling.Plan{N: 1, Classes: 2, Unit: "cfu/g", Limit: new(float64)}
	if err := tx.GetContext(s.ctx, &o.Portion, `select min(portion_id) from portion where plant_id = $1`, tx.Plant); err != nil {
		return err
	}
	o, err := retest.Add(s.ctx, tx, o)
	if err != nil {
		return err
	}
	if err := retest.AddSample(s.ctx, tx, retest.Sample{Retest: o.ID, Name: "S-1", At: tx.Now, By: "x", From: "x"}); err != nil {
		return err
	}
	if err := retest.AddCustody(s.ctx, tx, retest.Custody{Retest: o.ID, Kind: retest.Received, At: tx.Now, Who: "x", Condition: "x"}); err != nil {
		return err
	}
	id, err := retest.AddResult(s.ctx, tx, retest.Result{Retest: o.ID, Sample: "S-1", Unit: "cfu/g", TestedAt: tx.Now})
	if err != nil {
		return err
	}
	_, err = retest.AskVoid(s.ctx, tx, retest.Void{Retest: o.ID, Result: &id, Reason: "x"})
	return err
}
