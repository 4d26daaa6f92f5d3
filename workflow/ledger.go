package workflow

import (
	"context"
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"

	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/job"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
	"lastgood/workflow/trail/checkpoint"
)

// LogRegressed is the rule by which every write is refused while the log of the
// trail is not what an outside witness saw of it.
const LogRegressed = "log-regressed"

// SignWith lets checkpoints and packets be signed with a key. It is said once,
// before anything is served.
func (s *Service) SignWith(k *checkpoint.Key) { s.key = k }

// SignNote signs a text with the plant's key. fault.Refused: it has none.
func (s *Service) SignNote(text string) ([]byte, error) {
	if s.key == nil {
		return nil, fault.New(fault.Refused, "no-key", "this server has no checkpoint key, and signs nothing")
	}
	return checkpoint.SignText(text, s.key)
}

func (s *Service) logsToExtend(ctx context.Context) (list []job.Args, err error) {
	due, err := s.db.DueLogs(ctx)
	for _, d := range due {
		if d.Waiting || s.key != nil {
			list = append(list, logJob{d.Plant})
		}
	}
	return list, err
}

// extendLog puts what stands in line into the plant's log, signs a checkpoint of
// it, and tells the witness.
func (s *Service) extendLog(ctx context.Context, plant pg.PlantID) error {
	sc := pg.Scope{Plant: plant, By: actor.Engine, Cause: "log"}
	for more := 1; more > 0; {
		if err := s.db.InTx(ctx, sc, func(tx *pg.Tx) (err error) {
			more, err = trail.Sequence(ctx, tx)
			return err
		}); err != nil {
			return err
		}
	}
	if s.key == nil {
		return nil
	}
	var signed []byte
	err := s.db.InTx(ctx, sc, func(tx *pg.Tx) (err error) {
		signed, err = trail.Sign(ctx, tx, s.key)
		return err
	})
	if err != nil || signed == nil || s.witness == nil {
		return err
	}
	if err := s.witness(signed); err != nil {
		return fmt.Errorf("witness: %w", err)
	}
	return nil
}

// Checkpoint returns the newest checkpoint of the log.
func (s *Service) Checkpoint(ctx context.Context, sc pg.Scope) (trail.Signed, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (trail.Signed, error) { return trail.Latest(ctx, tx) })
}

// EntryProof is an entry with the proof that it is in the log at a checkpoint.
type EntryProof struct {
	trail.Proof
	At trail.Signed
}

// ProveEntry proves that an entry, by its number in the plant, is in the log at
// the newest checkpoint.
func (s *Service) ProveEntry(ctx context.Context, sc pg.Scope, entry int64) (EntryProof, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (p EntryProof, err error) {
		p.Proof, p.At, err = trail.Prove(ctx, tx, entry)
		return p, err
	})
}

// LogExtension is the proof that the log at one size begins with what it was at a
// smaller.
type LogExtension struct {
	From, To         int64
	FromRoot, ToRoot tlog.Hash
	Proof            tlog.TreeProof
}

// ProveExtension proves that the log was only added to between two sizes; to 0:
// that of the newest checkpoint.
func (s *Service) ProveExtension(ctx context.Context, sc pg.Scope, from, to int64) (LogExtension, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (x LogExtension, err error) {
		if to == 0 {
			last, err := trail.Latest(ctx, tx)
			if err != nil {
				return x, err
			}
			to = last.Size
		}
		size, err := trail.LogSize(ctx, tx)
		if err != nil {
			return x, err
		}
		if from < 1 || from > to || to > size {
			return x, fault.New(fault.Invalid, "out-of-range", "the log has %d entries: ask from 1 or more to no more than that", size).In("from")
		}
		x.From, x.To = from, to
		if x.FromRoot, err = trail.Root(ctx, tx, from); err != nil {
			return x, err
		}
		if x.ToRoot, err = trail.Root(ctx, tx, to); err != nil {
			return x, err
		}
		x.Proof, err = trail.Extension(ctx, tx, from, to)
		return x, err
	})
}

// CompareLog compares the log that a signed checkpoint is of with the checkpoint,
// which a witness outside has kept, and says in words how the log has gone back;
// empty: it has not. A checkpoint that the server's key did not sign says that
// too: whoever can change the database must not choose the witness.
func (s *Service) CompareLog(ctx context.Context, signed []byte) (string, error) {
	if s.key == nil {
		return "", errors.New("no checkpoint key to check the witness with")
	}
	seen, err := checkpoint.Open(signed, s.key.Verifier())
	if err != nil {
		return fmt.Sprintf("the last witnessed checkpoint is not signed by this server's key (%v)", err), nil
	}
	name, _, ok := checkpoint.PlantOf(seen.Origin)
	if !ok {
		return fmt.Sprintf("%s is no log of a plant", seen.Origin), nil
	}
	plant, there, err := s.db.PlantNamed(ctx, name)
	if err != nil {
		return "", err
	}
	if !there {
		return fmt.Sprintf("plant %s is gone: its log had %d entries", name, seen.Size), nil
	}
	sc := pg.Scope{Plant: plant, By: actor.Engine}
	wrong, err := ask(ctx, s, sc, func(tx *pg.Tx) (string, error) { return trail.Witnessed(ctx, tx, seen) })
	if wrong != "" {
		wrong = fmt.Sprintf("plant %s: %s", name, wrong)
	}
	return wrong, err
}

// OnlyRead refuses every write from now on, because the log has gone back.
func (s *Service) OnlyRead(why string) {
	s.db.OnlyRead(fault.New(fault.Busy, LogRegressed,
		"nothing is written: %s. The database is older than what was witnessed of it, or was changed; an operator restores the right one, or accepts this one with lastgood checkpoint accept", why))
}

// AcceptLog lets the plant's log go on from where it is, although a witness saw
// more of it, for a reason that is kept. The log has another name from then on.
func (s *Service) AcceptLog(ctx context.Context, sc pg.Scope, witnessed []byte, reason string) error {
	if reason == "" {
		return fault.New(fault.Invalid, "reason-missing", "say why the log may go on from an older state").In("reason")
	}
	return s.db.InTx(ctx, sc, func(tx *pg.Tx) error { return trail.AcceptRestored(ctx, tx, witnessed, reason) })
}
