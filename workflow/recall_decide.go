package workflow

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"github.com/go-json-experiment/json"

	"lastgood/policy/disposition"
	"lastgood/workflow/decision"
	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/recall"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// signedRecall is what those who decide sign: the pack, with what has left.
type signedRecall struct {
	Deviation int64       `json:"deviation"`
	Pack      RecallPack  `json:"pack"` // without its text
	Text      string      `json:"text_sha256,omitzero"`
	Lots      []packedLot `json:"lots"`
	Left      []Left      `json:"distributed"`
	Basis     string      `json:"distributed_sha256"`
	Class     string      `json:"class"`
	Caution   string      `json:"caution"`
}

// packedLot is a lot of which something has left: how much was made, and how much
// is still in control.
type packedLot struct {
	Lot       string  `json:"lot"`
	Product   *string `json:"product"`
	Made      *string `json:"made"`
	InControl *string `json:"in_control"`
	Unit      *string `json:"quantity_unit"`
}

// DrawUpRecall draws up the pack and puts it up for signing: yes, by what name and
// how far, or no. The agency gives the class, and nobody else.
func (s *Service) DrawUpRecall(ctx context.Context, sc pg.Scope, id DeviationID, p RecallPack) (signoff.Record, error) {
	request := map[string]any{"deviation": id, "pack": p}
	return do(ctx, s, sc, "draw up recall", request, statusCreated, func(tx *pg.Tx) (r signoff.Record, err error) {
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return r, err
		}
		if err := asA(ctx, tx, disposition.RegulatoryLiaison, disposition.QALead, disposition.PlantManager); err != nil {
			return r, err
		}
		if d.State == Closed || d.State == CancelledInError {
			return r, fault.New(fault.Refused, "transition-not-allowed", "deviation %d is %s: reopen it first", d.ID, d.State)
		}
		if err := nameShipped(ctx, tx, d); err != nil {
			return r, err
		}
		c, err := docketOf(ctx, tx, d)
		if err != nil {
			return r, err
		}
		if err := p.check(c.left()); err != nil {
			return r, err
		}
		k, err := recallOf(ctx, tx, c)
		if k == nil && err == nil {
			k = &desk{c: c}
			k.r, err = recall.Open(ctx, tx, int64(d.ID))
		}
		if err != nil {
			return r, err
		}
		if r, err = k.drawUp(ctx, tx, p); err != nil {
			return r, err
		}
		return r, advance(ctx, tx, &d)
	})
}

func (k *desk) drawUp(ctx context.Context, tx *pg.Tx, p RecallPack) (r signoff.Record, err error) {
	k.pack = p
	if k.r.Pack, err = json.Marshal(p, json.Deterministic(true)); err != nil {
		return r, fmt.Errorf("pack: %w", err)
	}
	k.r.Basis = k.c.leftDigest()
	if p.Text != "" {
		if err := k.keepText(ctx, tx, p.Text); err != nil {
			return r, err
		}
	}
	draft, err := k.draft(ctx, tx)
	if err != nil {
		return r, err
	}
	if r, err = signoff.Put(ctx, tx, draft); err != nil {
		return r, err
	}
	if r.Complete() {
		return r, fault.New(fault.Conflict, "already-decided", "everyone has signed this pack already")
	}
	if State(k.r.State) == RecallDeciding {
		if err := recall.Put(ctx, tx, k.r); err != nil {
			return r, err
		}
		k.r.Version++
	} else if err := k.move(ctx, tx, DrawUp, k.facts(), nil, p.Reason); err != nil {
		return r, err
	}
	return r, trail.Append(ctx, tx, trail.Entry{Stream: k.c.d.stream(), Action: "recall.proposed", Subject: fmt.Sprint(k.r.ID), Version: r.Version,
		After: map[string]any{"retrieve": p.Retrieve, "kind": p.Kind, "record_sha256": r.Digest}, Reason: p.Reason})
}

// keepText keeps what consignees are told, as a new version if it differs from the
// last.
func (k *desk) keepText(ctx context.Context, tx *pg.Tx, text string) error {
	digest, err := decision.Keep(ctx, tx, "text/plain; charset=utf-8", []byte(text))
	if err != nil {
		return err
	}
	n := len(k.Texts)
	if n > 0 && bytes.Equal(k.Texts[n-1].Digest, digest) {
		return nil
	}
	t := recall.Text{Version: n + 1, Digest: digest}
	k.Texts = append(k.Texts, t)
	return recall.AddText(ctx, tx, k.r.ID, t)
}

// draft is the record of the decision. Its subjects are the portions that left, so
// that who proposed something for another portion may decide on these.
func (k *desk) draft(ctx context.Context, tx *pg.Tx) (signoff.Draft, error) {
	w := signedRecall{Deviation: int64(k.c.d.ID), Pack: k.pack, Left: k.c.left(), Basis: hex.EncodeToString(k.r.Basis),
		Class: "given by the agency, not by this plant", Caution: caution}
	if k.pack.Text != "" {
		d := sha256.Sum256([]byte(k.pack.Text))
		w.Pack.Text, w.Text = "", hex.EncodeToString(d[:])
	}
	var err error
	if w.Lots, err = k.packedLots(ctx, tx); err != nil {
		return signoff.Draft{}, err
	}
	var subjects []string
	for _, l := range w.Left {
		subjects = append(subjects, l.named())
	}
	word := "decides that what has left is retrieved"
	if !k.pack.Retrieve {
		word = "decides that what has left is not retrieved"
	}
	return signoff.Draft{Kind: signoff.Recall, ID: int64(k.r.ID), Deviation: int64(k.c.d.ID), Stream: k.c.d.stream(), Subjects: subjects, What: w,
		Run: k.c.run, Policy: k.c.policy.version, Reason: "the pack was drawn up anew",
		Seats: []signoff.Seat{
			{Role: disposition.PlantManager, Deed: disposition.Approved, Meaning: word + ", for the plant"},
			{Role: disposition.RegulatoryLiaison, Deed: disposition.Judged, Meaning: word + ", and what must be reported of it"},
			{Role: disposition.QALead, Deed: disposition.Approved, Meaning: word},
		}}, nil
}

func (k *desk) packedLots(ctx context.Context, tx *pg.Tx) ([]packedLot, error) {
	var ids []lot.ID
	for _, l := range k.c.left() {
		if len(ids) == 0 || ids[len(ids)-1] != l.lot {
			ids = append(ids, l.lot)
		}
	}
	products, err := productsOf(ctx, tx, ids)
	if err != nil {
		return nil, err
	}
	out := []packedLot{}
	for _, id := range ids {
		a := k.c.amounts[id]
		p := packedLot{Lot: k.c.finding(id).Lot, Product: products[id]}
		if a.made != nil {
			p.Made, p.Unit = &a.made.Amount, &a.made.Unit
		}
		if a.inControl != nil {
			p.InControl = &a.inControl.Amount
		}
		out = append(out, p)
	}
	return out, nil
}

func init() {
	then[signoff.Recall] = recallDecided
}

// recallDecided lets the recall begin, or not, when everyone has signed.
func recallDecided(ctx context.Context, tx *pg.Tx, d *Deviation, r signoff.Record) error {
	c, err := docketOf(ctx, tx, *d)
	if err != nil {
		return err
	}
	k, err := deskOf(ctx, tx, c)
	if err != nil {
		return err
	}
	if !bytes.Equal(k.r.Basis, c.leftDigest()) {
		return fault.New(fault.Conflict, "record-changed", "more is known of what has left than the pack says: draw it up anew")
	}
	e, f := DeclineRecall, k.facts()
	f.Yes, f.No = k.pack.Retrieve, !k.pack.Retrieve
	if k.pack.Retrieve {
		e = DecideRecall
		if k.r.DecidedAt == nil {
			k.r.DecidedAt = &tx.Now
		}
	}
	if err := k.move(ctx, tx, e, f, map[string]any{"record_sha256": r.Digest, "kind": k.pack.Kind}, k.pack.Reason); err != nil {
		return err
	}
	return k.goOn(ctx, tx)
}
