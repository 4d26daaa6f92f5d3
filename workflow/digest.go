package workflow

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash"
	"math"

	"github.com/go-json-experiment/json"

	"lastgood/workflow/reading"
)

// digester hashes everything that a trace run looked at, so that two runs of
// the same evidence can be told from two of different evidence.
type digester struct{ h hash.Hash }

func newDigester() *digester { return &digester{sha256.New()} }

func (d *digester) add(values ...any) error {
	for _, v := range values {
		if err := json.MarshalWrite(d.h, v, json.Deterministic(true)); err != nil {
			return fmt.Errorf("input digest: %w", err)
		}
	}
	return nil
}

func (d *digester) reading(r reading.Taken) {
	var b [28]byte
	binary.BigEndian.PutUint64(b[0:], uint64(r.At))
	binary.BigEndian.PutUint64(b[8:], math.Float64bits(r.Value))
	binary.BigEndian.PutUint64(b[16:], uint64(r.Lot))
	binary.BigEndian.PutUint32(b[24:], uint32(r.Context))
	d.h.Write(b[:])
}

func (d *digester) sum() []byte { return d.h.Sum(nil) }
