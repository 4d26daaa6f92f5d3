package workflow

import (
	"context"
	"fmt"
	"slices"

	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// reconsiderAll looks again at instruments of which something new is known, and
// at those that were checked against one whose suspect windows moved: their
// checks may have lost or regained their worth. It goes down to any depth. A
// window that reaches further back never makes another reach less far, so the
// rounds have an end even where instruments were checked against each other; no
// chain is longer than there are instruments.
func reconsiderAll(ctx context.Context, tx *pg.Tx, codes []string, p sitePolicy) ([]Deviation, error) {
	known, err := instrument.Known(ctx, tx)
	if err != nil {
		return nil, err
	}
	var opened []Deviation
	visits := map[string]int{}
	for len(codes) > 0 {
		in := known[codes[0]]
		codes = codes[1:]
		if visits[in.Code]++; visits[in.Code] > len(known) {
			continue
		}
		before, err := windowsOf(ctx, tx, in.ID)
		if err != nil {
			return nil, err
		}
		d, err := reconsider(ctx, tx, in, p)
		if err != nil {
			return nil, err
		}
		opened = append(opened, d...)
		after, err := windowsOf(ctx, tx, in.ID)
		if err != nil {
			return nil, err
		}
		if slices.Equal(before, after) {
			continue
		}
		below, err := checkedAgainst(ctx, tx, in.ID)
		if err != nil {
			return nil, err
		}
		codes = append(codes, below...)
	}
	for i := range opened { // as they stand after everything
		if opened[i], err = getDeviation(ctx, tx, opened[i].ID, ""); err != nil {
			return nil, err
		}
	}
	return opened, nil
}

func windowsOf(ctx context.Context, tx *pg.Tx, id instrument.ID) ([]string, error) {
	var spans []string
	const q = `select deviation_id || ' ' || span from deviation_window where plant_id = $1 and instrument_id = $2 order by 1`
	return spans, tx.SelectContext(ctx, &spans, q, tx.Plant, id)
}

// checkedAgainst returns the instruments of which a check was made against the
// given one.
func checkedAgainst(ctx context.Context, tx *pg.Tx, id instrument.ID) ([]string, error) {
	var codes []string
	const q = `select distinct i.code from check_point p join accuracy_check c using (plant_id, check_id)
		join instrument i using (plant_id, instrument_id)
		where p.plant_id = $1 and p.reference_id = $2 order by 1`
	return codes, tx.SelectContext(ctx, &codes, q, tx.Plant, id)
}

// reconsider looks at the whole history of an instrument: opens the deviations
// that it lacks, and brings the containment of all of them up to date.
func reconsider(ctx context.Context, tx *pg.Tx, in instrument.Stored, p sitePolicy) ([]Deviation, error) {
	h, err := instrument.LoadHistory(ctx, tx, in)
	if err != nil {
		return nil, err
	}
	have, err := deviationsOf(ctx, tx, in.ID)
	if err != nil {
		return nil, err
	}
	var opened []Deviation
	for _, o := range openings(h) {
		i := slices.IndexFunc(have, func(d Deviation) bool { return d.isOf(o) })
		if i < 0 {
			d, err := insertDeviation(ctx, tx, in, o, p.version)
			if err != nil {
				return nil, err
			}
			have, opened, i = append(have, d), append(opened, d), len(have)
		}
		doubt, err := doubtOf(in, h, o, p)
		if err != nil {
			return nil, fmt.Errorf("error model of %s: %w", in.Code, err)
		}
		if err := contain(ctx, tx, &have[i], doubt, p); err != nil {
			return nil, err
		}
	}
	if len(have) > len(opened) {
		return opened, touchInstruments(ctx, tx, []string{in.Code})
	}
	return opened, nil
}
