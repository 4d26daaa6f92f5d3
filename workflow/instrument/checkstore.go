package instrument

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

const addChecks = `
with c as (
  insert into accuracy_check (plant_id, instrument_id, performed_at, performed_by, verified_by, unusable, confirmed,
    left_unknown, digest, found_verdict, left_verdict, policy_version, recorded_at, recorded_by)
  select $1, instrument_id, performed_at, performed_by, verified_by, unusable, confirmed, left_unknown,
    decode(digest, 'base64'), found_verdict, left_verdict, policy_version, $3, recorded_by
  from json_to_recordset($2) as r(instrument_id int, performed_at timestamptz, performed_by text, verified_by text,
    unusable boolean, confirmed boolean, left_unknown boolean, digest text, found_verdict text, left_verdict text,
    policy_version int, recorded_by text)
  returning check_id, instrument_id, performed_at),
p as (
  insert into check_point (plant_id, check_id, ordinal, kind, unit, nominal, reference_id, reference_reading,
    reference_uncertainty, pressure_kpa, found, as_left, true_temperature, reference_u, basis, reference_dof, repeats, spread)
  select $1, c.check_id, p.ordinal, p.kind, p.unit, p.nominal, p.reference_id, p.reference_reading,
    p.reference_uncertainty, p.pressure_kpa, p.found, p.as_left, p.true_temperature, p.reference_u, p.basis,
    nullif(p.reference_dof, 0), p.repeats, p.spread
  from json_to_recordset($2) as r(instrument_id int, performed_at timestamptz, points json)
  join c using (instrument_id, performed_at),
  json_to_recordset(r.points) as p(ordinal int, kind text, unit text, nominal bigint, reference_id int,
    reference_reading bigint, reference_uncertainty bigint, pressure_kpa float8, found bigint, as_left bigint,
    true_temperature bigint, reference_u float8, basis text, reference_dof float8, repeats int, spread bigint)
  returning 1)
select count(*) from c where (select count(*) from p) >= 0`

type checkRow struct {
	Instrument    ID         `json:"instrument_id"`
	PerformedAt   time.Time  `json:"performed_at"`
	PerformedBy   string     `json:"performed_by"`
	VerifiedBy    string     `json:"verified_by"`
	Unusable      bool       `json:"unusable"`
	Confirmed     bool       `json:"confirmed"`
	LeftUnknown   bool       `json:"left_unknown"`
	Digest        []byte     `json:"digest"`
	FoundVerdict  string     `json:"found_verdict"`
	LeftVerdict   string     `json:"left_verdict"`
	PolicyVersion int        `json:"policy_version"`
	By            string     `json:"recorded_by"`
	Points        []pointRow `json:"points"`
}

type pointRow struct {
	Ordinal     int         `json:"ordinal"`
	Kind        PointKind   `json:"kind"`
	Unit        string      `json:"unit"`
	Nominal     *unit.Micro `json:"nominal"`
	Reference   *ID         `json:"reference_id"`
	RefReading  *unit.Micro `json:"reference_reading"`
	RefExpanded *unit.Micro `json:"reference_uncertainty"`
	PressureKPa *float64    `json:"pressure_kpa"`
	Found       *unit.Micro `json:"found"`
	Left        *unit.Micro `json:"as_left"`
	True        unit.Micro  `json:"true_temperature"`
	RefU        float64     `json:"reference_u"`
	Basis       string      `json:"basis"`
	RefDoF      float64     `json:"reference_dof"` // 0: infinitely many
	Repeats     *int        `json:"repeats"`
	Spread      *unit.Micro `json:"spread"`
}

// AddChecks stores judged checks and returns those that are new. The same check
// again is no new check; another check of the same instrument and time is
// refused.
func AddChecks(ctx context.Context, tx *pg.Tx, list []Judged, policyVersion int) ([]Judged, error) {
	have, err := checksBefore(ctx, tx, list)
	if err != nil {
		return nil, err
	}
	var bad fault.Rows
	var fresh []Judged
	var rows []checkRow
	for i, d := range list {
		r, err := toCheckRow(d, policyVersion, tx.By.ID)
		if err != nil {
			return nil, err
		}
		k := checkKey{d.Instrument.ID, d.PerformedAt.UnixMicro()}
		switch stored, dup := have[k]; {
		case dup && bytes.Equal(stored.digest, r.Digest):
			continue
		case dup:
			bad.Add(i, stored.conflict(d))
		}
		have[k] = checkBefore{r.Digest, asFound(d.Check)}
		rows, fresh = append(rows, r), append(fresh, d)
	}
	if len(bad) > 0 {
		return nil, bad
	}
	if _, err := tx.InsertCount(ctx, addChecks, rows); err != nil {
		return nil, fmt.Errorf("add checks: %w", err)
	}
	return fresh, nil
}

// checkBefore is a check that is recorded: its digest and its as-found values.
type checkBefore struct {
	digest []byte
	found  string
}

// conflict says how another check of the same instrument and time differs. The
// as-found values are locked once they are saved: they were written down before
// anyone saw which product hangs on them.
func (b checkBefore) conflict(d Judged) *fault.Error {
	at := d.PerformedAt.Format(time.RFC3339)
	if b.found != asFound(d.Check) {
		return fault.New(fault.Conflict, "as-found-locked", "the as-found values of %s at %s are recorded already and differ: once saved they stay, and a repeat is a check of its own",
			d.Instrument.Code, at).In("found")
	}
	return fault.New(fault.Conflict, "conflict", "another check of %s at %s is recorded already", d.Instrument.Code, at).In("performed_at")
}

// asFound is the as-found values of a check as text, in the order of its points.
func asFound(c Check) string {
	var b strings.Builder
	for _, p := range c.Points {
		if p.Found != nil {
			fmt.Fprint(&b, int64(*p.Found))
		}
		b.WriteString(p.Unit.String() + ",")
	}
	return b.String()
}

type checkKey struct {
	instrument ID
	at         int64
}

func checksBefore(ctx context.Context, tx *pg.Tx, list []Judged) (map[checkKey]checkBefore, error) {
	var rows []struct {
		ID     ID        `db:"instrument_id"`
		At     time.Time `db:"performed_at"`
		Digest []byte    `db:"digest"`
		Found  string    `db:"found"`
	}
	type key struct {
		ID ID        `json:"instrument_id"`
		At time.Time `json:"performed_at"`
	}
	keys := make([]key, len(list))
	for i, d := range list {
		keys[i] = key{d.Instrument.ID, d.PerformedAt}
	}
	text, err := json.Marshal(keys)
	if err != nil {
		return nil, err
	}
	const q = `select instrument_id, performed_at, digest,
		coalesce((select string_agg(coalesce(p.found::text, '') || p.unit || ',', '' order by p.ordinal) from check_point p
			where p.plant_id = c.plant_id and p.check_id = c.check_id), '') as found from accuracy_check c
		join json_to_recordset($2) as r(instrument_id int, performed_at timestamptz) using (instrument_id, performed_at)
		where plant_id = $1`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, string(text)); err != nil {
		return nil, fmt.Errorf("checks: %w", err)
	}
	m := map[checkKey]checkBefore{}
	for _, r := range rows {
		m[checkKey{r.ID, r.At.UnixMicro()}] = checkBefore{r.Digest, r.Found}
	}
	return m, nil
}

func toCheckRow(d Judged, policyVersion int, by string) (checkRow, error) {
	c := d.Check
	c.PerformedAt = c.PerformedAt.UTC() // the same check, whatever offset it was sent with
	text, err := json.Marshal(c, json.Deterministic(true))
	if err != nil {
		return checkRow{}, err
	}
	digest := sha256.Sum256(text)
	r := checkRow{Instrument: d.Instrument.ID, PerformedAt: d.PerformedAt, PerformedBy: d.PerformedBy, VerifiedBy: d.VerifiedBy,
		Unusable: d.Unusable, Confirmed: d.Confirmed, LeftUnknown: d.LeftUnknown, Digest: digest[:],
		FoundVerdict: string(d.Judgement.Found), LeftVerdict: string(d.Judgement.Left), PolicyVersion: policyVersion, By: by,
		Points: []pointRow{}}
	for i, p := range d.Check.Points {
		m := d.Points[i]
		r.Points = append(r.Points, pointRow{i, p.Kind, p.Unit.String(), p.Nominal, d.References[i], p.ReferenceReading,
			p.ReferenceUncertainty, p.PressureKPa, p.Found, p.Left, m.Reference.True, float64(m.Reference.U), m.Reference.Basis,
			m.Reference.DoF, p.Repeats, p.Spread})
	}
	return r, nil
}
